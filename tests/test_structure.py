"""The shape of the code: who may import whom, and who owns each outside package."""

from __future__ import annotations

import ast
import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "auditor"
# A room imports only from rooms before it in this list.
ROOMS = [
    "errors", "units", "text", "frames", "settings", "optics", "writing", "intake", "evidence", "advice",
    "simulate", "request", "journey", "show", "notebook", "cli",
]  # fmt: skip
OWNERS = {
    "exifread": "intake/photofile/metadata.py",
    "cv2": "intake/people/facemodel.py",
    "matplotlib": "show/",
    "typer": "cli/",
    "jinja2": "show/",
}
MODULES = sorted(PACKAGE.rglob("*.py"))


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text("utf-8"))


@cache
def imports_of(path: Path) -> frozenset[str]:
    names: set[str] = set()
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports from the top of the package"
            names.add(str(node.module))
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return frozenset(names)


def room_of(path: Path) -> str:
    first = path.relative_to(PACKAGE).parts[0]
    return first.removesuffix(".py")


def test_imports_go_one_way():
    for path in MODULES:
        room = room_of(path)
        if room.startswith("__"):
            continue
        own = ROOMS.index(room)
        for name in imports_of(path):
            parts = name.split(".")
            if parts[0] == "auditor" and len(parts) > 1 and parts[1] in ROOMS:
                assert ROOMS.index(parts[1]) <= own, f"{path} may not import {name}"


# Inside intake: what one file says, what a library says, who is meant, what people say, what pictures say.
INTAKE = ["photofile", "library", "frame_index", "statements", "people"]


def test_inside_intake_imports_go_one_way_too():
    last = len(INTAKE)
    for path in MODULES:
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts[0] != "intake" or path.stem == "__init__":
            continue
        own = INTAKE.index(parts[1]) if parts[1] in INTAKE else last
        for name in imports_of(path):
            other = name.split(".")
            if other[:2] == ["auditor", "intake"] and len(other) > 2:
                rank = INTAKE.index(other[2]) if other[2] in INTAKE else last
                assert rank <= own, f"{path} may not import {name}"


def circles_of(graph: dict[str, set[str]]) -> set[frozenset[str]]:
    """Sets of modules that import each other, directly or over others."""
    reach = {name: set(seen) for name, seen in graph.items()}
    for middle in graph:
        for name in graph:
            if middle in reach[name]:
                reach[name] |= reach[middle]
    return {
        frozenset(other for other in graph if other in reach[name] and name in reach[other])
        for name in graph
        if name in reach[name]
    }


def test_no_module_imports_itself_over_others():
    names = {
        ".".join(("auditor", *path.relative_to(PACKAGE).with_suffix("").parts)): path
        for path in MODULES
        if path.stem != "__init__"
    }
    graph = {name: {other for other in imports_of(path) if other in names} for name, path in names.items()}
    assert circles_of(graph) == set()
    assert circles_of({"a": {"b"}, "b": {"c"}, "c": {"a"}, "d": {"a"}}) == {frozenset("abc")}


def table_writes(path: str, tree: ast.Module) -> list[str]:
    """Writes to frame tables that a module may not make: in place, or of columns that another one writes."""
    from auditor.frames import WRITERS

    found = []
    for function in ast.walk(tree):
        if not isinstance(function, ast.FunctionDef):
            continue
        given = {
            arg.arg
            for arg in (*function.args.args, *function.args.kwonlyargs)
            if arg.annotation is not None and ast.unparse(arg.annotation) == "pd.DataFrame"
        }

        def is_table(node: ast.expr, given: set[str] = given) -> bool:
            named = isinstance(node, ast.Name) and node.id in given
            return named or (isinstance(node, ast.Attribute) and node.attr == "table")

        for node in ast.walk(function):
            stores = getattr(node, "targets", [getattr(node, "target", None)])
            for store in (s for s in stores if isinstance(s, ast.Subscript)):
                base = store.value
                if isinstance(base, ast.Attribute) and base.attr in ("loc", "iloc", "at", "iat"):
                    base = base.value
                if is_table(base):
                    found.append(f"{path}:{node.lineno} writes into {ast.unparse(store)}")
            if (
                isinstance(node, ast.Call)
                and isinstance(node.func, ast.Attribute)
                and is_table(node.func.value)
            ):
                if node.func.attr in ("insert", "update", "pop") or any(
                    keyword.arg == "inplace" for keyword in node.keywords
                ):
                    found.append(f"{path}:{node.lineno} changes {ast.unparse(node.func.value)}")
                if node.func.attr == "assign" and "table" in ast.unparse(node.func.value):
                    found += [
                        f"{path}:{node.lineno} writes {keyword.arg}"
                        for keyword in node.keywords
                        if WRITERS.get(str(keyword.arg), path) != path
                    ]
    return found


def test_each_column_of_the_frame_table_has_one_writer_and_none_is_written_in_place():
    from auditor.frames import COLUMNS, MEASURED_COLUMNS, WRITERS

    assert WRITERS.keys() == {**COLUMNS, **MEASURED_COLUMNS}.keys()
    for writer in set(WRITERS.values()):
        assert (PACKAGE / writer).is_file(), writer
    for path in MODULES:
        if room_of(path) != "simulate":  # makes tables of its own
            own = str(path.relative_to(PACKAGE))
            assert table_writes(own, tree_of(path)) == []


@pytest.mark.parametrize(
    "line",
    [
        'table["f_number"] = 8',
        'table.loc[rows, "f_number"] = 8',
        "archive.table.iloc[rows, 3] = 8",
        "return table.assign(f_number=8)",
        'table.insert(0, "f_number", 8)',
        'table["f_number"] += 1',
    ],
)
def test_a_second_writer_is_refused(line):
    code = f"def f(table: pd.DataFrame, archive):\n    {line}\n"
    assert table_writes("evidence/zones.py", ast.parse(code))


@pytest.mark.parametrize("package", OWNERS)
def test_each_outside_package_has_one_owner(package):
    for path in MODULES:
        if any(name.split(".")[0] == package for name in imports_of(path)):
            assert str(path.relative_to(PACKAGE)).startswith(OWNERS[package]), path


@pytest.mark.parametrize(
    ("module", "heavy"),
    [
        ("auditor", ("pandas", "matplotlib", "scipy", "typer")),
        ("auditor.journey", ("matplotlib", "cv2", "scipy.stats", "scipy.interpolate", "scipy.optimize")),
    ],
)
def test_importing_a_module_loads_nothing_heavy(module, heavy):
    """The package for notebooks; what scan, prepare and measure run, whose answers need none of these."""
    import subprocess
    import sys

    code = f"import {module}, sys; print([m for m in {heavy} if m in sys.modules])"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_no_comparison_in_the_tests_that_asserts_nothing():
    for path in (ROOT / "tests").rglob("*.py"):
        loose = re.findall(
            r"^\s*np\.(?:allclose|isclose|array_equal)\(", path.read_text("utf-8"), re.MULTILINE
        )
        assert not loose, path


def test_every_test_asserts_something():
    asserting = re.compile(r"assert|raises|check|suppress")  # assert_allclose, raises, a helper check_xmp
    for path in (ROOT / "tests").rglob("test_*.py"):
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
                inner = list(ast.walk(node))
                assert any(isinstance(one, ast.Assert) for one in inner) or any(
                    asserting.search(ast.unparse(one.func)) for one in inner if isinstance(one, ast.Call)
                ), f"{path.name}: {node.name}"


def test_the_computing_rooms_do_not_print():
    for path in MODULES:
        if room_of(path) != "cli":
            calls = [n for n in ast.walk(tree_of(path)) if isinstance(n, ast.Call)]
            assert not any(isinstance(c.func, ast.Name) and c.func.id == "print" for c in calls), path


# Whoever opens a file for writing, makes, moves or removes one; the cache's SQLite file is its own affair.
WRITERS = {"writing.py", "intake/library/cache.py"}
WRITING_CALLS = {
    "write_text", "write_bytes", "mkdir", "makedirs", "unlink", "rmdir", "touch",
    "symlink_to", "hardlink_to", "symlink", "link", "truncate", "copyfile", "copy2", "copytree",
    "rmtree", "move",
    "mkstemp", "mkdtemp", "NamedTemporaryFile", "to_csv", "to_feather", "to_excel", "to_pickle",
}  # fmt: skip


def writing_calls(path: Path) -> list[str]:
    found = []
    for node in ast.walk(tree_of(path)):
        if not isinstance(node, ast.Call):
            continue
        function = node.func
        name = function.attr if isinstance(function, ast.Attribute) else getattr(function, "id", "")
        texts = [
            a.value for a in [*node.args, *(k.value for k in node.keywords)] if isinstance(a, ast.Constant)
        ]
        of_os = isinstance(function, ast.Attribute) and getattr(function.value, "id", "") == "os"
        modes = [t for t in texts if isinstance(t, str) and re.fullmatch(r"[rbt]*[wax+][rwxabt+]*", t)]
        moves = of_os and name in ("remove", "replace", "rename")
        if name in WRITING_CALLS or moves or (name == "open" and modes):
            found.append(f"{path.relative_to(PACKAGE)}, line {node.lineno}: {name}")
        if name in ("savefig", "save", "to_parquet") and not (
            node.args and getattr(node.args[0], "id", "") in ("buffer", "out", "sheet")
        ):
            found.append(f"{path.relative_to(PACKAGE)}, line {node.lineno}: {name} to a file")
        if of_os and name == "open" and "O_WRONLY" in ast.dump(node):
            found.append(f"{path.relative_to(PACKAGE)}, line {node.lineno}: os.open for writing")
    return found


def test_one_module_writes():
    assert writing_calls(PACKAGE / "writing.py")
    for path in MODULES:
        if path.relative_to(PACKAGE).as_posix() not in WRITERS:
            assert writing_calls(path) == []


def test_the_glossary_and_every_column_are_documented():
    from auditor.frames import COLUMNS

    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    readme = (ROOT / "README.md").read_text("utf-8")
    for word in ("frame", "keeper", "preset", "focus distance", "subject distance", "burst", "stretch"):
        assert f"| {word} " in text
    for column in COLUMNS:
        assert f"`{column}`" in readme, f"README does not explain {column}"


# Rooms that stand in front of what others compute: a name there is its namesake's in words, as a picture, as
# a command or in a notebook.
IN_FRONT = ("show/words/", "show/charts/", "cli/", "notebook/")
TWICE = {"main": "of each process"}


def names_that_occur_twice(stem_of_module: bool) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for path in MODULES:
        relative = path.relative_to(PACKAGE).as_posix()
        tree = tree_of(path).body
        public = [node.name for node in tree if isinstance(node, ast.FunctionDef | ast.ClassDef)]
        for name in [path.stem] if stem_of_module else public:
            if not name.startswith("_"):
                found.setdefault(name, []).append(relative)
    return {name: places for name, places in found.items() if len(places) > 1}


@pytest.mark.parametrize("modules", [True, False])
def test_no_name_means_two_things(modules):
    for name, places in names_that_occur_twice(modules).items():
        computing = [place for place in places if not place.startswith(IN_FRONT)]
        assert len(computing) < 2 or name in TWICE, f"{name} stands in {' and '.join(places)}"


def test_a_name_that_occurs_twice_is_seen():
    assert "presets" in names_that_occur_twice(True)
    assert "main" in names_that_occur_twice(False)
