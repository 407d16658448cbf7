"""Run one command line in this process and hold it to the rules of hard use.

**The rules.**  The status is 0, 1 or 2 and nothing is raised.  Status 1 and 2 say why on standard
error and print nothing, except that a folder of which some files were left out still prints the
rest.  Messages hold no control character.  A refused command changes no file, and no command
leaves a hidden file behind.  Processor time and output are bounded.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import re
import shutil
import signal
import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from fretpath import arrange, parse_melody
from fretpath.commands import main
from fretpath.exchange.scores import score_bytes

__all__ = ["BASES", "Desk", "Hang", "Outcome"]

LONGEST_MESSAGE = 20_000
"""Characters on standard error."""
MOST_OUTPUT = 32 * 2**20
"""Characters on standard output."""
_TWO_OUTPUTS = ("--answers", "--save-order")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f]")

TUNE = "title: Low Tide\nkey: G major\nmeter: 4/4\ntempo: 90\n\n1 3 5 8 | 7:2 r - |\n4 b3 1:2 |\n"
SHORT = "key: F\nmeter: 3/4\noctave: 3\n\n1 | (2 3 #4):1/2 5:3/2 |\nkey: C minor\n1 b3 5 | r 8:2"
TAB = "key D\n\nG|-----2--4-|\nD|--4------5|\nA|-5----7---|\nE|----------|\n"
MINOR = "title: Harbour <Lane> & co\nkey: D dorian\n\n1 2 b3 4 5 6 b7 8"
BASES: tuple[tuple[str, bytes], ...] = tuple(
    (f"tune{ending}", score_bytes(arrange(parse_melody(text), "guitar"), ending))
    for text in (TUNE, SHORT, MINOR)
    for ending in (".musicxml", ".mxl", ".mid", ".abc")
)
"""Small score files of our own making, with their names."""


class Hang(BaseException):
    """A command used more processor time than any input may cost."""


@dataclass(frozen=True)
class Outcome:
    """What a command line did."""

    status: int
    """Exit status."""
    out: str
    """Standard output."""
    err: str
    """Standard error."""


class Desk:
    """A folder to work in, with tunes in every form; put in order again after every command."""

    def __init__(self, folder: Path, *, seconds: float = 20) -> None:
        self.folder = folder
        self.seconds = seconds
        self.files = {
            "tunes/one.txt": TUNE.encode(),
            "tunes/two.txt": SHORT.encode(),
            "tunes/bad.txt": b"1 2 five",
            "tune.txt": TUNE.encode(),
            "tab.txt": TAB.encode(),
            **dict(BASES[:4]),
        }
        self._lay_out()

    def try_out(self, words: Sequence[str], *, stdin: bytes = b"", **files: bytes) -> Outcome:
        """Run a command line; AssertionError, or what it raised, when it breaks a rule.

        *files* lie in the folder too, ``__`` in a name standing for the dot before its ending.
        """
        given = {name.replace("__", "."): data for name, data in files.items()}
        for name, data in given.items():
            (self.folder / name).write_bytes(data)
        before = {**self.files, **given}
        try:
            outcome = self._run(words, stdin)
            self._judge(words, outcome, before)
        finally:
            if self._found() != self.files:
                self._lay_out()
        return outcome

    def _lay_out(self) -> None:
        for path in self.folder.iterdir():
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()
        for name, data in self.files.items():
            path = self.folder / name
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(data)

    def _found(self) -> dict[str, bytes]:
        return {
            path.relative_to(self.folder).as_posix(): path.read_bytes()
            for path in self.folder.rglob("*")
            if path.is_file()
        }

    def _run(self, words: Sequence[str], stdin: bytes) -> Outcome:
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        given = io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8")
        with (
            contextlib.chdir(self.folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            mock.patch.object(sys, "stdin", given),
            bounded(self.seconds),
        ):
            status = main(words)
        texts = []
        for stream in (out, err):
            stream.flush()
            stream.seek(0)
            texts.append(stream.read())
        return Outcome(status, *texts)

    def _judge(self, words: Sequence[str], outcome: Outcome, before: dict[str, bytes]) -> None:
        status, out, err = outcome.status, outcome.out, outcome.err
        partly = status == 1 and " left out:\n" in err
        assert status in (0, 1, 2), f"status {status}"
        assert len(err) <= LONGEST_MESSAGE, f"{len(err)} characters of message"
        assert len(out) <= MOST_OUTPUT, f"{len(out)} characters of output"
        assert not _CONTROL.search(err), f"a control character in the message {err!r}"
        assert not _CONTROL.search(out), "a control character in the output"
        if status:
            assert err.strip(), "no message"
            assert partly or not out, f"status {status} and output {out[:200]!r}"
        found = self._found()
        hidden = [name for name in found if any(part[0] == "." for part in name.split("/"))]
        hidden += [path.name for path in self.folder.iterdir() if path.name.startswith(".")]
        assert not hidden, f"left behind: {hidden}"
        if status and not partly and not any(word.startswith(_TWO_OUTPUTS) for word in words):
            assert found == before, "a refused command changed a file"
        if status == 0 and out and "--json" in words and "--help" not in words:
            assert out.startswith(("[", "{", "null", '"', "usage")), "no JSON"
            if not out.startswith("usage"):
                json.loads(out)


@contextlib.contextmanager
def bounded(seconds: float) -> Iterator[None]:
    """Raise :class:`Hang` when the block uses more processor time than ``seconds``."""

    def stop(*_: object) -> None:
        raise Hang(f"more than {seconds} s of processor time")

    usual = signal.signal(signal.SIGPROF, stop)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, usual)


os.environ.setdefault("COLUMNS", "80")
