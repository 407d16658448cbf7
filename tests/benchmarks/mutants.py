"""Plant small faults in fretpath, one at a time, and count those the tests of its room find.

    python -m tests.benchmarks.mutants [--draw 1] [--most 190] [--only ROOM/MODULE]

The faults are the mutations of cosmic-ray (``pip install cosmic-ray``; only this needs it).  Each
module gives a share of the sample by its number of possible mutations, at least three, evenly drawn
without repeats.  Left out: annotations, ``raise`` statements (message texts), ``__all__``, imports,
decorators, and what is no Python any more; docstrings are never changed.  A fault is planted in a
copy of the tree and meets the test files of :data:`TESTS` and the doctests of its module; a run
over 60 seconds counts as found.  Needs a system that forks.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import importlib
import os
import random
import shutil
import signal
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

from cosmic_ray import plugins
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from parso.tree import NodeOrLeaf

ROOT = Path(__file__).parents[2]
LIMIT = 60
"""Seconds a run of the tests may take."""
FEWEST = 3
"""Faults drawn from each module at least."""
TESTS = {
    "music/departures": "music/departures music/accounts",
    "music/roles": "music/departures music/accounts music/roles",
    "music/key": "music/key music/spelling music/scales",
    "music/keyfinding": "music/keyfinding music/transposing",
    "music/melody": "music/melody music/notation music/spelling",
    "music/notation": "music/notation",
    "music/text": "music/notation commands/slips",
    "music/heads": "music/loose",
    "music/scribbles": "music/loose",
    "music/jottings": "music/loose",
    "music/loose": "music/loose",
    "music/calls": "music/calls",
    "music/pitch": "music/pitch music/key",
    "music/scales": "music/scales music/departures",
    "music/spelling": "music/spelling music/keyfinding music/transposing",
    "music/transposing": "music/transposing neck/transposition",
    "music/words": "music/departures",
    "neck/arrangement": "neck/arrangement neck/physics neck/ways",
    "neck/catalogue": "neck/instrument neck/patterns",
    "neck/arrange": "neck/arrange neck/arrangement neck/ways",
    "neck/explain_failure": "neck/arrange neck/keychoice commands neck/transposition",
    "neck/line": "neck/pace neck/planner neck/fingerings neck/arrange",
    "neck/repeats": "neck/fingerings",
    "neck/terms": "neck/terms neck/patterns neck/physics neck/search neck/pace",
    "neck/ways": "neck/ways neck/keychoice",
    "neck/hand": "neck/instrument neck/patterns neck/physics neck/search",
    "neck/instrument": "neck/instrument neck/physics neck/arrange",
    "neck/keychoice": "neck/keychoice neck/transposition",
    "neck/lattice": "neck/search",
    "neck/patterns": "neck/scale_patterns",
    "neck/planner": "neck/planner neck/arrange neck/search neck/patterns neck/pace",
    "neck/search": "neck/search neck/physics neck/ways",
    "neck/learning": "neck/learning",
    "neck/setup": "neck/setup neck/card neck/limits neck/arrange neck/search neck/patterns",
    "page/aloud": "page/spoken page/counting page/golden",
    "page/captions": "page/tab_page page/tab_styles page/golden",
    "page/chart": "page/chart",
    "page/departures": "page/golden page/page_commands",
    "page/drawn_tab": "page/drawn_tab page/sheet",
    "page/grid": "page/tab_page page/tab_styles page/golden",
    "page/keys": "page/page_commands page/golden",
    "page/neck_charts": "page/chart page/page_commands page/golden",
    "page/questions": "page/questions page/sheet",
    "page/rows": "page/tab_page page/tab_styles page/spoken page/drawn_tab page/golden",
    "page/sheet": "page/sheet page/drawn_tab",
    "page/sound": "page/sound",
    "page/spelling": "page/page_commands page/golden",
    "page/staff": "page/staff",
    "page/tab": "page/tab_page page/tab_styles page/golden",
    "page/tables": "page/tables",
    "page/tab_check": "page/tab_reading",
    "page/tab_lines": "page/tab_lines page/tab_reading page/tab_round_trip",
    "page/tab_reading": "page/tab_reading page/tab_rhythm page/tab_round_trip",
    "page/tab_rhythm": "page/tab_rhythm page/tab_reading page/tab_round_trip",
    "page/tab_strings": "page/tab_reading page/tab_round_trip",
    "page/tab_words": "page/tab_reading page/tab_round_trip",
    "lesson/answers": "lesson/marking lesson/diagnosis",
    "lesson/diagnosis": "lesson/diagnosis lesson/marking",
    "lesson/drill": "lesson/drill lesson/lesson_commands",
    "lesson/find": "lesson/find",
    "lesson/marking": "lesson/marking lesson/diagnosis lesson/lesson_commands",
    "lesson/material": "lesson/material lesson/order",
    "lesson/order": "lesson/order lesson/measures lesson/lesson_commands",
    "lesson/packet": "lesson/packet lesson/term",
    "lesson/practice": "lesson/drill lesson/lesson_commands",
    "lesson/record": "lesson/record lesson/lesson_commands",
    "lesson/tune": "lesson/measures lesson/order",
    "exchange/abc": "exchange/reading exchange/round_trips exchange/strange_files",
    "exchange/door": "exchange/limits exchange/reading exchange/strange_files",
    "exchange/hearing": "exchange/hearing",
    "exchange/melody_of_voice": "exchange/reading exchange/round_trips",
    "exchange/midi": "exchange/reading exchange/round_trips exchange/strange_files",
    "exchange/musicxml": "exchange/musicxml exchange/reading exchange/round_trips",
    "exchange/note_values": "exchange/musicxml exchange/round_trips",
    "exchange/scores": "exchange/reading exchange/round_trips exchange/musicxml",
    "exchange/voices": "exchange/reading exchange/round_trips exchange/strange_files",
    "commands/__init__": "commands commands/parser commands/files",
    "commands/files": "commands/files commands",
    "commands/folder": "commands/files commands",
    "commands/options": "commands commands/cards commands/slips",
}
"""The test files of its own room that look at each module: ``music/key`` is
tests/music/test_key.py.  Of the commands those that all share are in it."""
_COSTLY = ("hypothesis", "music21", "networkx", "numpy", "pytest")
_PASSED_OVER = {"import_name", "import_from", "raise_stmt", "annassign", "decorator"}
_NEEDS_NAMES = ("Variable", "NoOp", "RemoveDecorator")


@dataclass(frozen=True)
class Fault:
    """One mutation of one module."""

    module: str
    """Such as ``music/pitch``."""
    operator: str
    """Its name in cosmic-ray."""
    occurrence: int
    """Which of the places the operator fits, counted from 0."""

    @property
    def path(self) -> str:
        """Where the module is, from the root of the tree."""
        return f"fretpath/{self.module}.py"

    @property
    def code(self) -> str:
        """The module as it is."""
        return (ROOT / self.path).read_text(encoding="utf-8")

    @property
    def planted(self) -> str:
        """The module with the fault."""
        operator = plugins.get_operator(self.operator)()
        return str(mutate_code(self.code, operator, self.occurrence))

    @property
    def change(self) -> str:
        """The line that changes, before and after."""
        before, after = self.code.splitlines(), self.planted.splitlines()
        lines = list(difflib.unified_diff(before, after, n=0, lineterm=""))
        return "\n".join(lines[2:])


# -- the sample ----------------------------------------------------------------------------------


def sample(draw: int, most: int, only: str = "") -> list[Fault]:
    """About *most* faults, from each module by its share; the same for the same *draw*."""
    lot = random.Random(draw)
    possible = {module: faults_of(module) for module in TESTS if module.startswith(only)}
    total = sum(map(len, possible.values()))
    drawn: list[Fault] = []
    for _module, faults in possible.items():
        share = max(FEWEST, round(most * len(faults) / total))
        mixed = lot.sample(faults, len(faults))
        drawn += islice(filter(_is_python, mixed), share)
    lot.shuffle(drawn)
    return [fault for fault in drawn if _bare(fault.planted) != _bare(fault.code)]


def faults_of(module: str) -> list[Fault]:
    """Every fault that can be planted in a module."""
    tree = get_ast((ROOT / f"fretpath/{module}.py").read_text(encoding="utf-8"))
    found = []
    for name in plugins.operator_names():
        if not any(word in name for word in _NEEDS_NAMES):
            operator = plugins.get_operator(name)()
            nodes = [node for node in ast_nodes(tree) for _ in operator.mutation_positions(node)]
            found += [Fault(module, name, i) for i, node in enumerate(nodes) if _counts(node)]
    return found


def _counts(node: NodeOrLeaf) -> bool:
    """Whether a place is code that does something: no annotation, message or ``__all__``."""
    below, above = node, node.parent
    while above is not None:
        if above.type in _PASSED_OVER and below is not _value(above):
            return False
        if above.type == "funcdef" and below is above.annotation:
            return False
        if above.type == "expr_stmt" and above.get_first_leaf().value == "__all__":
            return False
        below, above = above, above.parent
    return node.type not in _PASSED_OVER


def _value(statement: NodeOrLeaf) -> NodeOrLeaf | None:
    """What an annotated name is set to."""
    if statement.type != "annassign" or len(statement.children) < 4:
        return None
    return statement.children[3]


def _is_python(fault: Fault) -> bool:
    try:
        ast.parse(fault.planted)
    except SyntaxError:
        return False
    return True


def _bare(code: str) -> str:
    """The code without the annotations of its parameters."""
    tree = ast.parse(code)
    for node in ast.walk(tree):
        if isinstance(node, ast.arg):
            node.annotation = None
    return ast.dump(tree)


# -- the tests -----------------------------------------------------------------------------------


def found(copy: Path, fault: Fault) -> bool:
    """Whether the tests fail on a copy of the tree with the fault."""
    target = copy / fault.path
    target.write_text(fault.planted, encoding="utf-8")
    try:
        return not passes(copy, fault.module)
    finally:
        shutil.copy2(ROOT / fault.path, target)


def passes(copy: Path, module: str) -> bool:
    """Whether the tests of a module pass in time; in a process of their own."""
    child = os.fork()
    if child == 0:
        _test_and_leave(copy, module)
    until = time.monotonic() + LIMIT
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status) == 0
        time.sleep(0.02)
    os.killpg(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return False


def _test_and_leave(copy: Path, module: str) -> None:
    code = 70
    try:
        os.setsid()
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        os.chdir(copy)
        for name in [name for name in sys.modules if name.split(".")[0] in ("tests", "fretpath")]:
            del sys.modules[name]
        sys.path[0] = os.environ["PYTHONPATH"] = str(copy)
        code = importlib.import_module("pytest").main(_arguments(module))
    finally:
        os._exit(code)


def _arguments(module: str) -> list[str]:
    places = [name.rpartition("/") for name in TESTS[module].split()]
    files = [f"tests/{room}{slash}test_{name}.py" for room, slash, name in places]
    plain = ["-x", "-q", "--assert=plain", "-p", "no:cacheprovider", "-p", "no:benchmark"]
    return [*plain, "-o", "addopts=--doctest-modules", *files, f"fretpath/{module}.py"]


def main() -> None:
    """Print each fault that was not found, then planted and found for each module."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--draw", type=int, default=1, help="number of the draw")
    parser.add_argument("--most", type=int, default=190, help="about how many faults")
    parser.add_argument("--only", default="", help="one room or module, such as neck/terms")
    arguments = parser.parse_args()
    drawn = sample(arguments.draw, arguments.most, arguments.only)
    for name in _COSTLY:  # loaded once here, not in every child
        importlib.import_module(name)
    planted, killed = Counter(fault.module for fault in drawn), Counter[str]()
    with tempfile.TemporaryDirectory() as folder:
        copy = Path(folder) / "tree"
        shutil.copytree(ROOT, copy, ignore=shutil.ignore_patterns("__pycache__", ".*"))
        for module in planted:
            if not passes(copy, module):
                sys.exit(f"the tests of {module} fail before any fault is planted")
        for fault in drawn:
            if found(copy, fault):
                killed[fault.module] += 1
                continue
            print(f"not found: {fault.module} {fault.operator} {fault.occurrence}")
            print(fault.change, flush=True)
    for module in sorted(planted):
        print(f"{module:20} {planted[module]:4} {killed[module]:4}")
    print(f"{'all':20} {planted.total():4} {killed.total():4}")


if __name__ == "__main__":
    main()
