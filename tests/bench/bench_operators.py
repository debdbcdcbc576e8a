"""Breaks single operators at random and asks whether any test turns red.

    python tests/bench/bench_operators.py [--mutants 60] [--seed 1] [--rooms optics intake evidence advice]

A copy of the project is made, one operator of one module changed in it (``+`` to ``-``, ``<`` to ``<=``),
and the tests of its room are run until one fails; what lives through them meets those of the command line and
of the demo. At most one of twenty may survive, and each survivor is named. Annotations, texts and guards for
type checkers are passed over, since no test could tell. The unbroken copy must be green first. About a minute
a survivor, a few seconds for each of the others.
"""

from __future__ import annotations

import argparse
import ast
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ALLOWED = 1 / 20
SLOWEST_S = 240.0  # a change that makes a test run for ever is noticed as well
BROKEN: dict[type[ast.AST], list[type[ast.AST]]] = {
    ast.Add: [ast.Sub], ast.Sub: [ast.Add], ast.Mult: [ast.Div], ast.Div: [ast.Mult], ast.Pow: [ast.Mult],
    ast.FloorDiv: [ast.Div], ast.Mod: [ast.Mult], ast.BitAnd: [ast.BitOr], ast.BitOr: [ast.BitAnd],
    ast.Lt: [ast.LtE, ast.Gt], ast.LtE: [ast.Lt, ast.GtE],
    ast.Gt: [ast.GtE, ast.Lt], ast.GtE: [ast.Gt, ast.LtE],
    ast.Eq: [ast.NotEq], ast.NotEq: [ast.Eq], ast.Is: [ast.IsNot], ast.IsNot: [ast.Is],
    ast.In: [ast.NotIn], ast.NotIn: [ast.In], ast.And: [ast.Or], ast.Or: [ast.And],
}  # fmt: skip


@dataclass(frozen=True)
class Mutant:
    """One operator of one module, and what it becomes."""

    module: Path
    line: int
    number: int  # which operator of the module, in the order of the walk
    becomes: type[ast.AST]
    text: str

    def __str__(self) -> str:
        return f"{self.module}:{self.line}: {self.text} -> {self.becomes.__name__}"


def operators(tree: ast.Module) -> Iterator[tuple[ast.AST, int]]:
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


def draw(modules: list[Path], count: int, seed: int) -> list[Mutant]:
    """Draw operators by chance, each operator of all modules alike."""
    chance = random.Random(seed)
    everywhere = []
    for module in modules:
        tree = ast.parse((ROOT / module).read_text("utf-8"))
        for number, (node, place) in enumerate(operators(tree)):
            op = node.ops[place] if isinstance(node, ast.Compare) else node.op  # type: ignore[attr-defined]
            text = ast.unparse(node)
            everywhere.append((module, node.lineno, number, type(op), text))  # type: ignore[attr-defined]
    drawn = chance.sample(everywhere, min(count, len(everywhere)))
    return [Mutant(m, line, number, chance.choice(BROKEN[op]), text) for m, line, number, op, text in drawn]


def broken_source(mutant: Mutant) -> str:
    """The module's source with that one operator changed."""
    tree = ast.parse((ROOT / mutant.module).read_text("utf-8"))
    node, place = list(operators(tree))[mutant.number]
    if isinstance(node, ast.Compare):
        node.ops[place] = mutant.becomes()  # type: ignore[call-overload]
    else:
        node.op = mutant.becomes()  # type: ignore[attr-defined]
    return ast.unparse(tree)


def survives(mutant: Mutant, copy: Path) -> bool:
    """Whether all tests that could notice it stay green."""
    target = copy / mutant.module
    kept = target.read_text("utf-8")
    target.write_text(broken_source(mutant), "utf-8")
    parts = mutant.module.parts[1:]
    room = Path("tests", *parts[:-1])
    while not (ROOT / room).is_dir():
        room = room.parent
    nearest = [str(p.relative_to(ROOT)) for p in (ROOT / "tests" / parts[0]).rglob(f"test_{parts[-1]}")]
    rounds = [
        [str(mutant.module), *nearest],
        [str(room)],
        [str(Path("tests", parts[0]))],
        ["tests/cli", "tests/test_demo.py", "tests/test_simulate.py", "tests/show"],
    ]
    try:
        return all(_green(tests, copy) for tests in rounds)
    finally:
        target.write_text(kept, "utf-8")


def _green(tests: list[str], copy: Path) -> bool:
    """Whether no test fails; a run that takes for ever counts as failed, one without tests as green."""
    words = [
        sys.executable,
        "-m",
        "pytest",
        "-x",
        "-q",
        "-n",
        "0",
        "-p",
        "no:cacheprovider",
        "-m",
        "not slow",
        *tests,
    ]
    try:
        run = subprocess.run(
            words,
            cwd=copy,
            env={**os.environ, "PYTHONPATH": str(copy), "PYTHONDONTWRITEBYTECODE": "1"},
            capture_output=True,
            timeout=SLOWEST_S,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return False
    return run.returncode in (0, 5)


def main() -> int:
    """Draw, break, count; 1 where more survive than may."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--mutants", type=int, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--rooms", nargs="+", default=["optics", "intake", "evidence", "advice"])
    asked = parser.parse_args()
    modules = [
        path.relative_to(ROOT)
        for room in asked.rooms
        for path in sorted((ROOT / "auditor" / room).rglob("*.py"))
    ]
    survivors = []
    mutants = draw(modules, asked.mutants, asked.seed)
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "project"
        shutil.copytree(
            ROOT,
            copy,
            ignore=shutil.ignore_patterns(".git", ".venv*", "*_cache", "__pycache__", "*.egg-info"),
        )
        if not _green([f"tests/{room}" for room in asked.rooms], copy):
            print("The tests fail before anything is broken.")
            return 1
        for done, mutant in enumerate(mutants, start=1):
            lived = survives(mutant, copy)
            survivors += [mutant] if lived else []
            print(f"{done:4} {'SURVIVED' if lived else 'noticed '} {mutant}", flush=True)
    share = len(survivors) / max(len(mutants), 1)
    print(f"{len(survivors)} of {len(mutants)} survived ({share:.1%}; {ALLOWED:.0%} allowed)")
    for mutant in survivors:
        print(f"  {mutant}")
    return int(share > ALLOWED)


if __name__ == "__main__":
    raise SystemExit(main())
