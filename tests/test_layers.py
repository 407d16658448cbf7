"""The rooms of the house: imports go downwards only, and each outside thing has one door."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import fretpath

PACKAGE = Path(fretpath.__file__).parent
ROOMS = ("errors", "values", "remarks", "music", "neck", "page", "lesson", "exchange", "commands")
"""Bottom first; a room may import from itself and from below."""
APART = ({"page", "exchange"}, {"lesson", "exchange"})
"""Rooms that stand side by side: neither may import the other."""

# What only one place may import.
DOORS = {
    "music21": "exchange",
    "networkx": "neck/lattice.py",
    "verovio": "page/staff.py",
}
PRINTING = "commands/__init__.py"
OPENING = ("commands/files.py", "exchange")
"""Where files may be opened."""

# Calls that open or change a file.
FILE_CALLS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "mkstemp", "fdopen", "unlink",
    "mkdir", "makedirs", "rename", "replace", "NamedTemporaryFile",
}  # fmt: skip
FILE_OWNERS = {"os", "path", "Path", "tempfile", "shutil", "io"}

MODULES = sorted(path.relative_to(PACKAGE).as_posix() for path in PACKAGE.rglob("*.py"))


def tree_of(module: str) -> ast.Module:
    """The syntax tree of a module of the package."""
    return ast.parse((PACKAGE / module).read_text(encoding="utf-8"))


def room_of(module: str) -> str:
    """The room a module stands in: the first part of its path."""
    return module.split("/")[0].removesuffix(".py")


def imports_of(tree: ast.Module) -> Iterator[tuple[str, bool]]:
    """Every module imported, and whether that happens as soon as the file is imported."""
    inside = {
        id(node)
        for function in ast.walk(tree)
        if isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef)
        for node in ast.walk(function)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written in full"
            names = [node.module or "", *(f"{node.module}.{alias.name}" for alias in node.names)]
        else:
            continue
        for name in names:
            yield name, id(node) not in inside


def guarded(tree: ast.Module) -> set[str]:
    """What is imported for the type checker only."""
    return {
        name
        for block in ast.walk(tree)
        if isinstance(block, ast.If) and "TYPE_CHECKING" in ast.unparse(block.test)
        for name, _ in imports_of(ast.Module(body=block.body, type_ignores=[]))
    }


def test_the_package_is_found() -> None:
    assert "music/pitch.py" in MODULES
    assert len(MODULES) > 20


def test_imports_go_downwards_only() -> None:
    for module in MODULES:
        if module in ("__init__.py", "__main__.py"):
            continue
        mine = ROOMS.index(room_of(module))
        for name, _ in imports_of(tree_of(module)):
            parts = name.split(".")
            if parts[0] == "fretpath" and len(parts) > 1 and parts[1] in ROOMS:
                assert ROOMS.index(parts[1]) <= mine, f"{module} imports {name} from above"


def own_imports(module: str) -> set[str]:
    """The modules of the package that a module imports anywhere, as paths."""
    found = set()
    for name, _ in imports_of(tree_of(module)):
        path = name.removeprefix("fretpath.").replace(".", "/") + ".py"
        if name.startswith("fretpath.") and path in MODULES:
            found.add(path)
    return found


def test_rooms_side_by_side_do_not_know_each_other() -> None:
    for module in MODULES:
        for name in own_imports(module):
            assert {room_of(module), room_of(name)} not in APART, f"{module} imports {name}"


def test_no_circle_of_imports() -> None:
    order = TopologicalSorter({module: own_imports(module) for module in MODULES})
    assert len(list(order.static_order())) == len(MODULES)


def reading_path(room: str) -> list[str]:
    """The modules of a room in the order in which DEVELOPERS.md names them."""
    page = (PACKAGE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    told = page.partition(f"- **{room}**: ")[2].partition("\n- **")[0].partition("\n\n")[0]
    return re.findall(r"`(\w+)`", told)


@pytest.mark.parametrize("room", ROOMS[3:])
class TestTheReadingPath:
    """DEVELOPERS.md tells a reader of each room where to begin."""

    def test_it_names_every_module_once(self, room: str) -> None:
        modules = [m.split("/")[1].removesuffix(".py") for m in MODULES if room_of(m) == room]
        assert sorted([*reading_path(room), "__init__"]) == sorted(modules)

    def test_a_module_comes_after_those_it_uses(self, room: str) -> None:
        path = [f"{room}/{name}.py" for name in reading_path(room)]
        for at, module in enumerate(path):
            later = own_imports(module).intersection(path[at + 1 :])
            assert not later, f"{module} is read before {sorted(later)}"


def test_outside_libraries_have_one_door() -> None:
    for module in MODULES:
        for name, _ in imports_of(tree_of(module)):
            door = DOORS.get(name.split(".")[0])
            assert door is None or module.startswith(door), f"{module} imports {name}"


def test_costly_libraries_are_imported_when_needed() -> None:
    for module in MODULES:
        tree = tree_of(module)
        for name, at_once in imports_of(tree):
            costly = name.split(".")[0] in (*DOORS, "jinja2", "rapidfuzz", "scipy", "tqdm")
            assert not (costly and at_once and name not in guarded(tree)), f"{module}: {name}"


def test_only_the_command_line_prints() -> None:
    for module in MODULES:
        if module == PRINTING:
            continue
        for node in ast.walk(tree_of(module)):
            if isinstance(node, ast.Name) and node.id == "print":
                raise AssertionError(f"{module}, line {node.lineno}: print")
            if isinstance(node, ast.Attribute) and ast.unparse(node) in (
                "sys.stdout",
                "sys.stderr",
            ):
                raise AssertionError(f"{module}, line {node.lineno}: {ast.unparse(node)}")


def test_files_are_opened_behind_one_door() -> None:
    for module in MODULES:
        if module.startswith(OPENING):
            continue
        for node in ast.walk(tree_of(module)):
            if not isinstance(node, ast.Call):
                continue
            call = node.func
            plain = isinstance(call, ast.Name) and call.id == "open"
            owned = (
                isinstance(call, ast.Attribute)
                and call.attr in FILE_CALLS
                and ast.unparse(call.value).split("(")[0].split(".")[-1] in FILE_OWNERS
            )
            if (plain or owned) and ast.unparse(node) != "os.open(os.devnull, os.O_WRONLY)":
                raise AssertionError(f"{module}, line {node.lineno}: {ast.unparse(node)}")


def test_every_module_says_what_it_knows() -> None:
    for module in MODULES:
        assert ast.get_docstring(tree_of(module)), f"{module} has no docstring"


def test_a_class_has_a_name_of_its_own() -> None:
    owners: dict[str, str] = {}
    for module in MODULES:
        for node in ast.walk(tree_of(module)):
            if isinstance(node, ast.ClassDef):
                other = owners.setdefault(node.name, module)
                assert other == module, f"{node.name} names a class in {other} and in {module}"


def test_a_tab_starts_without_the_costly_libraries() -> None:
    import subprocess
    import sys

    program = (
        "import sys; from fretpath.commands import main; main(['tab', '1 5 8', '--key', 'B']); "
        "print([name for name in ('music21', 'networkx', 'jinja2', 'tqdm') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.endswith("\n[]\n")
