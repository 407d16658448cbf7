"""Every example in the documents runs, and prints what the document says.

In README.md, DEVELOPERS.md and docs/*.md:

- ``python`` blocks run one after the other in one namespace per document; blocks with ``>>>``
  run as doctests.
- ``console`` blocks: each line that begins with ``$ `` runs in a shell (lines that begin with
  ``> `` continue it), and what follows is its whole output, compared exactly; standard error
  counts as output.
- ``sh`` blocks: each line must succeed.

``fretpath`` is this copy, and each document has a folder of its own with ``demo_melodies`` in it.
Commands that install packages or run the whole check are skipped, by the list below.
"""

from __future__ import annotations

import contextlib
import doctest
import io
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import get_args

import pytest

import fretpath
from tests.cli_reference import reference
from tests.pictures import FOLDER, pictures

ROOT = Path(__file__).parent.parent
DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(ROOT.glob("docs/*.md"))]
SKIPPED = (
    "python3 -m venv",
    "pip install",
    "git clone",
    "python -m pytest",
    ".ci/run",
    "ruff ",
    "mypy",
)
"""Set-up and check commands: they install packages, or would run this very test again."""

_FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Example:
    """One fenced block."""

    language: str
    text: str
    line: int
    """Line of the document on which its text begins."""


def examples(text: str) -> list[Example]:
    """The fenced blocks of a document that name a language."""
    return [
        Example(found[1], found[2], text.count("\n", 0, found.start(2)) + 1)
        for found in _FENCE.finditer(text)
    ]


def commands(text: str) -> Iterator[tuple[str, str]]:
    """Each command of a console block, and the output shown under it."""
    command, output = "", ""
    for line in text.splitlines():
        if line.startswith("$ "):
            if command:
                yield command, output
            command, output = line[2:], ""
        elif line.startswith("> ") and not output:
            command += "\n" + line[2:]
        else:
            output += line + "\n"
    if command:
        yield command, output


def skipped(command: str) -> bool:
    """Whether a command is set-up, or runs the tests themselves."""
    return any(part in command for part in SKIPPED)


class Desk:
    """A folder to work in, with this copy of fretpath on its path.

    What Python examples start in a shell finds the same programs, wherever the tests run.
    """

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.folder = folder
        shutil.copytree(ROOT / "demo_melodies", folder / "demo_melodies")
        programs = folder / ".programs"
        programs.mkdir()
        for name, call in (("fretpath", "-m fretpath"), ("python", "")):
            program = programs / name
            program.write_text(f'#!/bin/sh\nexec "{sys.executable}" {call} "$@"\n')
            program.chmod(0o755)
        self.environment = {
            **os.environ,
            "PATH": f"{programs}{os.pathsep}{os.environ['PATH']}",
            "PYTHONPATH": str(ROOT),
            "PYTHONIOENCODING": "utf-8",
            "COLUMNS": "80",
        }
        monkeypatch.chdir(folder)
        monkeypatch.setenv("PATH", self.environment["PATH"])
        monkeypatch.setenv("PYTHONPATH", self.environment["PYTHONPATH"])

    def run(self, command: str) -> tuple[int, str]:
        """Exit status and output of a shell command."""
        done = subprocess.run(
            ["sh", "-c", command],
            cwd=self.folder,
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            stdin=subprocess.DEVNULL,
            check=False,
        )
        return done.returncode, done.stdout.decode("utf-8")


def faults(document: str, desk: Desk) -> list[str]:
    """What does not run, or prints something else than the document says."""
    found: list[str] = []
    names: dict[str, object] = {"__name__": "document"}
    for example in examples(document):
        if example.language == "console":
            found += _console_faults(example, desk)
        elif example.language == "sh":
            found += _shell_faults(example, desk)
        elif example.language == "python":
            found += _python_faults(example, names)
    return found


def _console_faults(example: Example, desk: Desk) -> Iterator[str]:
    for command, expected in commands(example.text):
        if not skipped(command):
            _, output = desk.run(command)
            if output.rstrip("\n") != expected.rstrip("\n"):
                yield f"line {example.line}: $ {command}\nprints\n{output}\nand not\n{expected}"


def _shell_faults(example: Example, desk: Desk) -> Iterator[str]:
    for line in example.text.splitlines():
        command = line.partition(" #")[0].strip()
        if command and not command.startswith("#") and not skipped(command):
            status, output = desk.run(command)
            if status:
                yield f"line {example.line}: {command}\nends with status {status}\n{output}"


def _python_faults(example: Example, names: dict[str, object]) -> Iterator[str]:
    if ">>> " in example.text:
        test = doctest.DocTestParser().get_doctest(
            example.text, names, "example", None, example.line
        )
        said: list[str] = []
        result = doctest.DocTestRunner(verbose=False).run(test, out=said.append, clear_globs=False)
        names.update(test.globs)
        if result.failed:
            yield f"line {example.line}:\n{''.join(said)}"
        return
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            exec(compile(example.text, f"line {example.line}", "exec"), names)
    except Exception as problem:
        yield f"line {example.line}: {type(problem).__name__}: {problem}"


def program(text: str) -> str:
    """The Python examples of a document as one program."""
    lines = []
    for example in examples(text):
        if example.language == "python":
            shown = ">>> " in example.text
            for line in example.text.splitlines():
                if not shown or line.startswith((">>> ", "... ")):
                    lines.append(line[4:] if shown else line)
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("name", ["README.md", "docs/api.md", "docs/data.md", "docs/tutorial.md"])
def test_examples_are_typed(name: str, tmp_path: Path) -> None:
    pytest.importorskip("mypy", reason="mypy is not installed")
    file = tmp_path / "examples.py"
    file.write_text(program((ROOT / name).read_text(encoding="utf-8")), encoding="utf-8")
    check = [sys.executable, "-m", "mypy", "--strict", str(file)]
    done = subprocess.run(check, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout


@pytest.mark.parametrize("path", DOCUMENTS, ids=lambda path: path.name)
def test_examples_run(path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    desk = Desk(tmp_path, monkeypatch)
    found = faults(path.read_text(encoding="utf-8"), desk)
    assert not found, f"{path.name}: " + "\n\n".join(found)


def test_the_readme_runs_in_a_folder_of_any_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "Ma le\u00e7on d'\u00e9t\u00e9 \u266f 1"
    folder.mkdir()
    desk = Desk(folder, monkeypatch)
    found = faults(DOCUMENTS[0].read_text(encoding="utf-8"), desk)
    assert not found, "\n\n".join(found)


def test_every_file_and_page_that_a_document_names_is_there() -> None:
    for path in DOCUMENTS:
        text = path.read_text(encoding="utf-8")
        named = re.findall(r"`((?:tests|fretpath|docs)/[\w/]+\.(?:py|md))`", text)
        named += [
            f"tests/{word.replace('.', '/')}.py" for word in re.findall(r"-m tests\.([\w.]+)", text)
        ]
        gone = [name for name in named if not (ROOT / name).exists()]
        links = re.findall(r"\]\(([\w./]+\.\w+)[#)]", text)
        gone += [link for link in links if not (path.parent / link).exists()]
        assert not gone, f"{path.name}: {gone}"


def test_the_readme_has_an_example_of_each_kind() -> None:
    languages = {example.language for example in examples(DOCUMENTS[0].read_text(encoding="utf-8"))}
    assert languages >= {"sh", "console", "python"}


def test_there_are_documents_beside_the_readme() -> None:
    assert len(DOCUMENTS) > 2


class TestTheTestItself:
    """What must be found wanting is."""

    @pytest.mark.parametrize(
        ("document", "says"),
        [
            ("```console\n$ echo one\ntwo\n```\n", "prints\none"),
            ("```console\n$ echo one\n```\n", "prints\none"),
            ("```console\n$ echo one; echo two\none\n```\n", "two"),
            ("```sh\nfalse\n```\n", "ends with status 1"),
            ("```python\nassert 1 == 2\n```\n", "AssertionError"),
            ("```python\n>>> 1 + 1\n3\n```\n", "Got:\n    2"),
            ("```console\n$ fretpath tab '0'\n```\n", "degrees count from 1"),
        ],
    )
    def test_finds_faults(
        self, document: str, says: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        assert says in "\n".join(faults(document, Desk(tmp_path, monkeypatch)))

    @pytest.mark.parametrize(
        "document",
        [
            "```console\n$ echo one\none\n$ echo two\ntwo\n```\n",
            "```console\n$ cat <<END\n> one\n> END\none\n```\n",
            "```console\n$ ls\ndemo_melodies\n```\n",
            "```sh\n# a comment\ntrue  # and why\n.venv/bin/pip install nothing\n```\n",
            "```python\nx = 1\n```\n\n```python\n>>> x\n1\n```\n",
            "```text\n$ false\n```\n",
        ],
    )
    def test_finds_none_where_there_is_none(
        self, document: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        assert faults(document, Desk(tmp_path, monkeypatch)) == []


def test_the_command_reference_is_what_the_parsers_say() -> None:
    written = (ROOT / "docs" / "cli.md").read_text(encoding="utf-8")
    assert written == reference() + "\n", "run: python -m tests.cli_reference > docs/cli.md"


def test_the_pictures_are_what_the_tool_draws() -> None:
    kept = {path.name: path.read_text(encoding="utf-8") for path in FOLDER.iterdir()}
    assert kept == pictures(), "run: python -m tests.pictures"


class TestTheApiPage:
    """docs/api.md names what ``fretpath`` offers, by room, and shows each name at work."""

    ROOMS = ("errors", "values", "music", "neck", "page", "lesson", "exchange")

    def sections(self) -> dict[str, str]:
        page = (ROOT / "docs" / "api.md").read_text(encoding="utf-8")
        return dict(re.findall(r"^## (\w+)\n(.*?)(?=^## |\Z)", page, re.MULTILINE | re.DOTALL))

    def listed(self, text: str) -> list[str]:
        """The names in the first column of a section's table."""
        rows = re.findall(r"^\| (`.*?) \|", text, re.MULTILINE)
        return [name for row in rows for name in re.findall(r"`(\w+)`", row)]

    def test_it_lists_every_name_once(self) -> None:
        names = [name for text in self.sections().values() for name in self.listed(text)]
        assert sorted(names) == sorted(fretpath.__all__)

    @pytest.mark.parametrize("room", ROOMS)
    def test_each_name_stands_in_its_room_and_is_shown(self, room: str) -> None:
        text = self.sections()[room]
        shown = "\n".join(example.text for example in examples(text))
        for name in self.listed(text):
            home = getattr(getattr(fretpath, name), "__module__", f"fretpath.{room}")
            home = home.replace("typing", f"fretpath.{room}").replace(".remarks", ".values")
            assert home.split(".")[1] == room, f"{name} lives in {home}"
            uses = re.sub(r"import .*", "", shown)
            assert re.search(rf"\b{name}\b", uses), f"{name} is not shown"

    def test_every_name_has_a_docstring_of_its_own(self) -> None:
        for name in fretpath.__all__:
            value = getattr(fretpath, name)
            if callable(value) and not get_args(value):
                told = value.__doc__ or ""
                assert told, f"{name} has no docstring"
                assert not told.startswith(f"{name}("), f"{name} has only a generated docstring"
