"""Breaks single operators at random and asks whether any test turns red.

    python tests/bench/bench_operators.py [--rooms optics intake evidence advice] [--count 40] [--seed 1]

A room is any part of the package: ``optics``, ``intake/statements``, ``advice/gate.py``. In a copy of the
project the quick tests run once under coverage, which says which test runs which line. Then one operator at a
time becomes another (``+`` a ``-``, ``<`` a ``<=``), and the tests that run its line go over it, those of its
own room and the short ones first, until one fails; what lives through them meets the slow tests of its room.
Annotations, texts, errors raised and guards for type checkers are passed over, since no test could tell. At
most one of twenty may survive in each room, and each survivor is named. A change that no input can show
stands in ``equivalent_operators.toml`` with its reason; it is drawn like any other, and told but not counted.
Needs a system that can fork. Some seconds for each change, minutes for the coverage; ``--known`` keeps that
for another run.
"""

from __future__ import annotations

import argparse
import ast
import compileall
import json
import multiprocessing
import os
import random
import re
import shutil
import signal
import sys
import tempfile
import tomllib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from py_compile import PycInvalidationMode
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[2]
ROOMS = ("optics", "intake", "evidence", "advice")
OTHERS = ("tests/cli", "tests/test_demo.py", "tests/test_shares.py", "tests/test_simulate.py", "auditor")
ALLOWED = 1 / 20
PATIENCE_S, PATIENCE = 90.0, 8.0  # a change that makes a test run for ever is noticed as well
LOADED_BEFORE = ["numpy", "pandas", "scipy.optimize", "scipy.stats", "PIL.Image", "typer.testing"]
BROKEN: dict[type[ast.AST], list[type[ast.AST]]] = {
    ast.Add: [ast.Sub], ast.Sub: [ast.Add], ast.Mult: [ast.Div], ast.Div: [ast.Mult], ast.Pow: [ast.Mult],
    ast.FloorDiv: [ast.Div], ast.Mod: [ast.Mult], ast.BitAnd: [ast.BitOr], ast.BitOr: [ast.BitAnd],
    ast.Lt: [ast.LtE, ast.Gt], ast.LtE: [ast.Lt, ast.GtE],
    ast.Gt: [ast.GtE, ast.Lt], ast.GtE: [ast.Gt, ast.LtE],
    ast.Eq: [ast.NotEq], ast.NotEq: [ast.Eq], ast.Is: [ast.IsNot], ast.IsNot: [ast.Is],
    ast.In: [ast.NotIn], ast.NotIn: [ast.In], ast.And: [ast.Or], ast.Or: [ast.And],
}  # fmt: skip
# By module and change as they are printed: why no input can show it.
EQUIVALENT = {
    (module, change): why
    for module, changes in tomllib.loads(
        Path(__file__).with_name("equivalent_operators.toml").read_text("utf-8")
    ).items()
    for change, why in changes.items()
}


@dataclass(frozen=True)
class Change:
    """One operator of one module, and what it becomes."""

    module: str
    lines: range
    number: int  # which operator of the module, in the order of the walk
    becomes: type[ast.AST]
    text: str
    place: int  # of the expressions of the module with this text, from 1

    @property
    def told(self) -> str:
        """The expression and the new operator."""
        return f"{self.text} -> {self.becomes.__name__}"

    @property
    def no_input_shows_it(self) -> str:
        """The reason, where there is one."""
        keys = ((self.module, self.told), (self.module, f"{self.told} #{self.place}"))
        return next((EQUIVALENT[key] for key in keys if key in EQUIVALENT), "")


# --- what can be broken ------------------------------------------------------------------------------------


def operators(tree: ast.Module) -> Iterator[tuple[Any, int]]:
    """Every operator that a test could notice, as its node and its place in it (for chained comparisons)."""
    hidden: set[ast.AST] = set()
    for node in ast.walk(tree):
        for name in ("annotation", "returns"):
            if (annotation := getattr(node, name, None)) is not None:
                hidden.update(ast.walk(annotation))
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            hidden.update(ast.walk(node))
        if isinstance(node, (ast.Assert, ast.JoinedStr, ast.Raise)):
            hidden.update(ast.walk(node))
    for node in ast.walk(tree):
        if node in hidden:
            continue
        if isinstance(node, (ast.BinOp, ast.AugAssign)) and not _joins_texts(node):
            if type(node.op) in BROKEN:
                yield node, 0
        elif isinstance(node, ast.BoolOp):
            yield node, 0
        elif isinstance(node, ast.Compare):
            for place, op in enumerate(node.ops):
                if type(op) in BROKEN:
                    yield node, place


def _joins_texts(node: ast.BinOp | ast.AugAssign) -> bool:
    sides = [node.left, node.right] if isinstance(node, ast.BinOp) else [node.value]
    return any(
        isinstance(side, ast.JoinedStr) or (isinstance(side, ast.Constant) and isinstance(side.value, str))
        for side in sides
    )


def draw(room: str, count: int, seed: int, top: Path) -> list[Change]:
    """Draw operators of a room by chance, each operator of all its modules alike."""
    chance = random.Random(f"{seed} {room}")
    place = top / "auditor" / room
    everywhere: list[tuple[Any, ...]] = []
    for path in [place] if place.is_file() else sorted(place.rglob("*.py")):
        texts: Counter[tuple[str, int]] = Counter()
        for number, (node, which) in enumerate(operators(ast.parse(path.read_text("utf-8")))):
            op = node.ops[which] if isinstance(node, ast.Compare) else node.op
            lines, text = range(node.lineno, node.end_lineno + 1), ast.unparse(node)
            texts[text, which] += 1
            module = path.relative_to(top).as_posix()
            everywhere.append((module, lines, number, type(op), text, texts[text, which]))
    drawn = chance.sample(everywhere, min(count, len(everywhere)))
    return [Change(module, lines, number, chance.choice(BROKEN[op]), text, place)
            for module, lines, number, op, text, place in drawn]  # fmt: skip


def broken_source(change: Change, source: str) -> str:
    """The module's source with that one operator changed."""
    tree = ast.parse(source)
    node, place = list(operators(tree))[change.number]
    if isinstance(node, ast.Compare):
        node.ops[place] = change.becomes()
    else:
        node.op = change.becomes()
    return ast.unparse(tree)


# --- which test runs which line ----------------------------------------------------------------------------


class Coverage:
    """Notes what each test runs and how long it takes; a shared fixture counts for all who use it."""

    def __init__(self, copy: Path) -> None:
        import coverage

        self.tracer = coverage.Coverage(data_file=None, source=[str(copy / "auditor")], config_file=False)
        self.copy, self.now = copy, ""
        self.seconds: dict[str, float] = {}
        self.shared: dict[str, list[str]] = {}  # the shared fixtures of each test
        self.failed: list[str] = []
        self.slow: list[str] = []
        self.tracer.start()

    def pytest_deselected(self, items: list[pytest.Item]) -> None:
        """Note which tests are slow."""
        self.slow += [item.nodeid for item in items]

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Run one test in its own name."""
        made = getattr(item, "_fixtureinfo", None)
        fixtures = [one for each in made.name2fixturedefs.values() for one in each] if made else []
        self.shared[item.nodeid] = [_name(one) for one in fixtures if one.scope != "function"]
        self._switch(item.nodeid)
        result = yield
        self._switch("")
        return result

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any, request: Any) -> Iterator[None]:
        """Make a fixture that several tests share in its own name."""
        if fixturedef.scope == "function":
            return (yield)
        before = self.now
        self._switch(_name(fixturedef))
        try:
            return (yield)
        finally:
            self._switch(before)

    def _switch(self, name: str) -> None:
        self.now = name
        self.tracer.switch_context(name)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add up the time."""
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration
        self.failed += [report.nodeid] if report.failed else []

    def found(self) -> dict[str, Any]:
        """Seconds by test, and by module and line the tests that run it ('' where it runs on import)."""
        self.tracer.stop()
        data = self.tracer.get_data()
        users: dict[str, list[str]] = {}
        for test, names in self.shared.items():
            for name in names:
                users.setdefault(name, []).append(test)
        lines: dict[str, dict[str, list[str]]] = {}
        for path in data.measured_files():
            module = Path(path).resolve().relative_to(self.copy.resolve()).as_posix()
            lines[module] = {
                str(line): sorted({test for name in names for test in users.get(name, [name])})
                for line, names in data.contexts_by_lineno(path).items()
            }
        return {"seconds": self.seconds, "lines": lines, "failed": self.failed, "slow": self.slow}


def _name(fixture: Any) -> str:
    return f"fixture {fixture.baseid} {fixture.argname}"


class Chosen:
    """Keeps the chosen tests, in their order, and the name of the first that fails."""

    def __init__(self, tests: list[str]) -> None:
        self.place = {test: place for place, test in enumerate(tests)}
        self.failed = ""

    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        """Leave out and sort."""
        items[:] = sorted((one for one in items if one.nodeid in self.place),
                          key=lambda one: self.place[one.nodeid])  # fmt: skip

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Remember a failure."""
        if report.failed:
            self.failed = self.failed or report.nodeid

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Remember a file that cannot even be loaded."""
        if report.failed:
            self.failed = self.failed or report.nodeid


def run_tests(copy: Path, words: list[str], chosen: list[str] | None, told: Connection) -> None:
    """Run pytest in this process, which ends with it; tell what was found."""
    os.setsid()
    os.chdir(copy)
    os.environ["PYTHONPATH"] = str(copy)
    sys.path.insert(0, str(copy))
    silent = os.open(os.devnull, os.O_RDWR)
    for stream in (0, 1, 2):
        os.dup2(silent, stream)
    plugin: Any = Coverage(copy) if chosen is None else Chosen(chosen)
    code = int(pytest.main(["-q", "-n", "0", "-p", "no:cacheprovider", *words], plugins=[plugin]))
    told.send(
        plugin.found() if chosen is None else plugin.failed or ("" if code in (0, 5) else f"end {code}")
    )
    told.close()
    os._exit(0)


def in_a_process(copy: Path, words: list[str], chosen: list[str] | None, most_s: float) -> Any:
    """What `run_tests` tells; a run that takes for ever, or tells nothing, says so."""
    context = multiprocessing.get_context("forkserver")
    context.set_forkserver_preload(LOADED_BEFORE)
    ours, theirs = context.Pipe(duplex=False)
    child = context.Process(target=run_tests, args=(copy, words, chosen, theirs))
    child.start()
    theirs.close()
    try:
        return ours.recv() if ours.poll(most_s) else f"it takes longer than {most_s:.0f} s"
    except EOFError:
        return "the end of the process"
    finally:
        if child.is_alive() and child.pid:
            child.join(2)
            try:
                os.killpg(child.pid, signal.SIGKILL)
            except ProcessLookupError:
                child.kill()
        child.join()


# --- breaking ----------------------------------------------------------------------------------------------


def tests_for(change: Change, source: str, known: dict[str, Any]) -> list[str]:
    """The tests that run the line; all of the module where it runs on import or is remembered.

    All there are for a module of values alone, which no test runs.
    """
    lines: dict[str, list[str]] = known["lines"].get(change.module, {})
    wanted = {test for line in change.lines for test in lines.get(str(line), [])}
    if "" in wanted or not wanted or re.search(r"@(functools\.)?(lru_)?cache", source):
        wanted |= {test for tests in lines.values() for test in tests}
    own = f"tests/{change.module.split('/')[1]}"
    seconds = known["seconds"]
    chosen = wanted & seconds.keys() or seconds.keys()
    return sorted(chosen, key=lambda one: seconds[one] + 1.0 * (not one.startswith(own)))


def noticed_by(change: Change, copy: Path, known: dict[str, Any]) -> str:
    """The first test that fails over it; empty where all stay green."""
    target = copy / change.module
    whole = target.read_text("utf-8")
    target.write_text(broken_source(change, whole), "utf-8")
    try:
        chosen = tests_for(change, whole, known)
        files = list(dict.fromkeys(test.split("::")[0] for test in chosen))
        longest = PATIENCE_S + PATIENCE * sum(known["seconds"][one] for one in chosen)
        found = in_a_process(copy, ["-x", *files], chosen, longest) if chosen else ""
        if not found:
            slow = [one for one in known["slow"] if one.startswith(f"tests/{change.module.split('/')[1]}")]
            files = list(dict.fromkeys(test.split("::")[0] for test in slow))
            found = in_a_process(copy, ["-x", "-m", "slow", *files], slow, 900) if slow else ""
        return str(found)
    finally:
        target.write_text(whole, "utf-8")


def break_room(room: str, changes: list[Change], copy: Path, known: dict[str, Any]) -> bool:
    """Break one after another and tell; whether few enough survive."""
    counted, survivors = 0, []
    for change in changes:
        where = f"{change.module}:{change.lines[0]}: {change.told}"
        if reason := change.no_input_shows_it:
            print(f"equivalent {where} ({reason})", flush=True)
            continue
        found = noticed_by(change, copy, known)
        counted += 1
        survivors += [] if found else [where]
        print(f"{'noticed   ' if found else 'SURVIVED  '} {where}{found and f' by {found}'}", flush=True)
    print(f"{room}: {len(survivors)} of {counted} survived ({ALLOWED:.0%} allowed)")
    for where in survivors:
        print(f"  {where}", flush=True)
    return len(survivors) <= ALLOWED * counted


def main() -> int:
    """Draw, break, count; 1 where more survive than may."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--rooms", nargs="+", default=ROOMS, metavar="ROOM")
    parser.add_argument("--count", type=int, default=40, help="changes in each room")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--known", type=Path, help="keeps which test runs which line, for the next run")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        left_out = shutil.ignore_patterns(".git", ".venv*", "*_cache", "__pycache__", "*.egg-info")
        shutil.copytree(ROOT, copy, ignore=left_out)
        compileall.compile_dir(copy / "auditor", quiet=2, invalidation_mode=PycInvalidationMode.CHECKED_HASH)
        if asked.known and asked.known.is_file():
            known = json.loads(asked.known.read_text("utf-8"))
        else:
            folders = sorted({f"tests/{room.split('/')[0]}" for room in asked.rooms})
            known = in_a_process(copy, ["-m", "not slow", *folders, *OTHERS], None, 7200)
            if isinstance(known, str) or known["failed"]:
                told = known if isinstance(known, str) else known["failed"]
                print(f"Not green before anything is broken: {told}")
                return 2
            if asked.known:
                asked.known.write_text(json.dumps(known), "utf-8")
        for room in asked.rooms:  # a run that ends of itself must not look like one that notices
            own = [one for one in known["seconds"] if one.startswith(f"tests/{room.split('/')[0]}/")]
            first = min(own, key=lambda one: known["seconds"][one])
            if found := in_a_process(copy, [first.split("::")[0]], [first], PATIENCE_S):
                print(f"It is noticed that nothing was broken: {first}, {found}")
                return 2
        enough = [
            break_room(room, draw(room, asked.count, asked.seed, copy), copy, known) for room in asked.rooms
        ]
    return int(not all(enough))


if __name__ == "__main__":
    raise SystemExit(main())
