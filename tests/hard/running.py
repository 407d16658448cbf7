"""Run one command line in this process and hold it to the rules of hard use.

**The rules.**  The status is 0, 1 or 2 and nothing is raised.  Status 1 and 2 say why on standard
error and print nothing, except that a folder of which some files were left out still prints the
rest.  What is printed holds no character that steers a terminal, and messages no words of Python
or of a library.  A refused command changes no file, no command changes a file that it read but
for adding to its end, and none leaves a hidden file behind.  Processor time and output are bounded.
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
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

from fretpath import SoundPlan, arrange, melody_wav, parse_melody
from fretpath.commands import files, main
from fretpath.exchange.scores import score_bytes

LONGEST_MESSAGE = 20_000
"""Characters on standard error."""
MOST_OUTPUT = 32 * 2**20
"""Characters on standard output."""
_CONTROL = re.compile(
    r"[\x00-\x08\x0b\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069]"
)
_FOREIGN = re.compile(
    r"object at 0x|NoneType|has no attribute|music21|\[Errno|Traceback|libsndfile|unpack \(expected"
)
"""Words of Python or of a library, which no message may have."""

TUNE = "title: Low Tide\nkey: G major\nmeter: 4/4\ntempo: 90\n\n1 3 5 8 | 7:2 r - |\n4 b3 1:2 |\n"
SHORT = "key: F\nmeter: 3/4\noctave: 3\n\n1 | (2 3 #4):1/2 5:3/2 |\nkey: C minor\n1 b3 5 | r 8:2"
TAB = "key D\n\nG|-----2--4-|\nD|--4------5|\nA|-5----7---|\nE|----------|\n"
RECORD = (
    "date,student,tune,degree asked,degree answered\n"
    "2026-11-20,Ana,Low Tide,3,b3\n2026-11-20,Tom,Low Tide,4,4\n2026-11-21,Ana,Quay,4,#4\n"
)
MINOR = "title: Harbour <Lane> & co\nkey: D dorian\n\n1 2 b3 4 5 6 b7 8"
BASES: tuple[tuple[str, bytes], ...] = tuple(
    (f"tune{ending}", score_bytes(arrange(parse_melody(text), "guitar"), ending))
    for text in (TUNE, SHORT, MINOR)
    for ending in (".musicxml", ".mxl", ".mid", ".abc")
)
"""Small score files of our own making, with their names."""
WORDS_TO_REPLACE = parse_melody("title: AAAA\nkey: D\nsource: BBBB\nteaches: CCCC\n\n1 3 5")
"""A tune whose headers are put in the place of these words."""


def _heard() -> tuple[bytes, ...]:
    import soundfile

    sound = melody_wav(parse_melody("key: G\ntempo: 180\noctave: 2\n\n1 2 3"), SoundPlan())
    samples, rate = soundfile.read(io.BytesIO(sound))
    files = [sound]
    for kind in ("FLAC", "OGG", "MP3"):
        file = io.BytesIO()
        soundfile.write(file, samples, rate, format=kind)
        files.append(file.getvalue())
    return tuple(files)


HEARD = _heard()
"""A short recording in every format that is read."""


class _Readings:
    """The files Python opens to read, by an audit hook, which can be switched off only."""

    def __init__(self) -> None:
        self.listening = False
        self.paths: set[str] = set()
        sys.addaudithook(self._hear)

    def _hear(self, event: str, given: Sequence[object]) -> None:
        if not self.listening or event != "open":
            return
        path, _, flags = given
        reads = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR) == 0
        if reads and isinstance(path, str | os.PathLike):
            with contextlib.suppress(OSError, ValueError):
                self.paths.add(os.path.realpath(path))


_READINGS = _Readings()


def _unheard(work: Callable[..., None]) -> Callable[..., None]:
    """A function whose readings do not count: a look at what lies in the place of an output."""

    def look(*given: object) -> None:
        _READINGS.listening = False
        try:
            work(*given)
        finally:
            _READINGS.listening = True

    return look


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
            "class.csv": RECORD.encode(),
            "answer.wav": HEARD[0],
            "card.toml": b'student = "Ana"\ninstrument = "ukulele"\nhighest_fret = 7\n',
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
        (self.folder / "link.txt").symlink_to("tune.txt")

    def _found(self) -> dict[str, bytes]:
        return {
            path.relative_to(self.folder).as_posix(): path.read_bytes()
            for path in self.folder.rglob("*")
            if path.is_file() and not path.is_symlink()
        }

    def _run(self, words: Sequence[str], stdin: bytes) -> Outcome:
        out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
        given = io.TextIOWrapper(io.BytesIO(stdin), encoding="utf-8")
        with (
            _nothing_past_us(),
            contextlib.chdir(self.folder),
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            mock.patch.object(sys, "stdin", given),
            mock.patch.object(files, "_refuse_other_kind", _unheard(files._refuse_other_kind)),
            bounded(self.seconds),
        ):
            _READINGS.paths.clear()
            _READINGS.listening = True
            try:
                status = main(words)
            finally:
                _READINGS.listening = False
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
        own = re.sub(r"(?m)^     .*\n", "", err)  # without the line of the input that is shown
        assert not _FOREIGN.search(own), f"a message in the words of a library: {err[-300:]!r}"
        if status:
            assert err.strip(), "no message"
            assert partly or not out, f"status {status} and output {out[:200]!r}"
        found = self._found()
        hidden = [name for name in found if any(part[0] == "." for part in name.split("/"))]
        hidden += [path.name for path in self.folder.iterdir() if path.name.startswith(".")]
        assert not hidden, f"left behind: {hidden}"
        changed = {name for name, data in before.items() if found.get(name) != data}
        added_to = {name for name in changed if found.get(name, b"").startswith(before[name])}
        root = os.path.realpath(self.folder)
        read = {os.path.relpath(path, root) for path in _READINGS.paths}
        over = (changed & read) - added_to
        assert not over, f"written over what was read: {over}"
        if status and not partly:
            assert found == before, "a refused command changed a file"
        if status == 0 and out and "--json" in words and "--help" not in words:
            assert out.startswith(("[", "{", "null", '"', "usage")), "no JSON"
            if not out.startswith("usage"):
                json.loads(out)


@contextlib.contextmanager
def _nothing_past_us() -> Iterator[None]:
    """Check that no library and no worker writes to standard error behind our back."""
    usual = os.dup(2)
    with tempfile.TemporaryFile() as file:
        os.dup2(file.fileno(), 2)
        try:
            yield
        finally:
            os.dup2(usual, 2)
            os.close(usual)
        file.seek(0)
        said = file.read(2000)
    assert not said, f"written past us: {said!r}"


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
