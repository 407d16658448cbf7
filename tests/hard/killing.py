"""Kill commands while they write, at many moments, and look at what lies there afterwards.

Run as a program of its own, since it forks: ``python -m tests.hard.killing FOLDER``.  Each round
starts a command in a child that is killed (SIGKILL, which no program can answer): in turns after a
moment drawn at random, at its n-th call of the file system, and at its n-th call of any builtin
function after writing began, rather near the end, where files are renamed.  Then every visible
file must be whole, the old one or the new one, and whatever else lies there must be hidden and
called unfinished.

With ``signals`` as a third word the commands run with two processes and are told to end (SIGINT,
SIGTERM, SIGHUP; to all of them or to the first alone): they leave nothing hidden and no worker,
say no traceback, and end with the status of the signal.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from fretpath.commands import main
from tests.hard.running import MINOR, SHORT, TUNE

ROOT = Path(__file__).parents[2]
ROUNDS = 6
"""Times each job is killed."""
UNFINISHED = re.compile(r"\.[^/]+\.[a-z0-9_]{8}\.unfinished(/.*)?")
CALLS = ("open", "os.", "tempfile.", "shutil.")
"""Beginnings of the audit events that count as calls of the file system."""
OLD = b"what the teacher had here before\n"


@dataclass(frozen=True)
class Job:
    """A command that writes, and what lies in its place before."""

    name: str
    words: tuple[str, ...]
    old: dict[str, bytes]
    """Files before the run; all of them below ``out``."""


_SHEETS = ("contents.html", "measures.csv", "student/01_one.html", "own notes.txt")
JOBS = (
    Job(
        "a sheet",
        ("sheet", "tunes/one.txt", "--no-sound", "--force", "-o", "out/sheet.html"),
        {"out/sheet.html": OLD},
    ),
    Job(
        "a score",
        ("convert", "tunes/one.txt", "--force", "-o", "out/one.mid"),
        {"out/one.mid": OLD},
    ),
    Job("a packet", ("sheet", "tunes", "--no-sound", "-o", "out/packet"), {"out/x.txt": OLD}),
    Job(
        "a packet again",
        ("sheet", "tunes", "--no-sound", "-o", "out/packet"),
        {f"out/packet/{name}": OLD for name in _SHEETS},
    ),
    Job(
        "a drill",
        ("drill", "tunes/one.txt", "--answers", "out/key.txt", "--force", "-o", "out/drill.txt"),
        {"out/drill.txt": OLD, "out/key.txt": OLD},
    ),
    Job(
        "a record",
        (
            *("mark", "tunes/one.txt", "Ana: 1 3 5 1", "--record", "out/class.csv"),
            *("--date", "2026-11-25", "--force", "-o", "out/mark.txt"),
        ),
        {"out/mark.txt": OLD},
    ),
    Job("a term", ("term", "tunes", "--weeks", "2", "-o", "out/term"), {"out/x.txt": OLD}),
)
JOBS_OF_TWO = tuple(job for job in JOBS if job.name in ("a packet", "a packet again", "a term"))
"""Those that can be shared out to two processes."""


def tried(job: Job, folder: Path, rounds: int, draw: random.Random) -> dict[str, int]:
    """Kill one job ``rounds`` times; how often it was still at work, and left something hidden."""
    new = _undisturbed(job, folder)
    file_calls, any_calls, seconds = _measured(job, folder)
    counts = {"killed": 0, "left hidden": 0, "new already": 0}
    for number in range(rounds):
        _lay_out(job, folder)
        if number % 3 == 0:
            killed = _killed_after(job, folder, draw.uniform(0, seconds))
        elif number % 3 == 1:
            killed = _killed(job, folder, file_call=draw.randint(1, file_calls))
        else:
            from_end = int(any_calls ** draw.random())
            killed = _killed(job, folder, any_call=any_calls + 1 - from_end)
        found = _files(folder / "out")
        counts["killed"] += killed
        counts["left hidden"] += any(UNFINISHED.fullmatch(name) for name in found)
        counts["new already"] += _whole(job, found, new)
        _cleared_by_the_next_run(job, folder, new)
    return counts


def _whole(job: Job, found: dict[str, bytes], new: dict[str, bytes]) -> bool:
    """Check every file; whether all of them are the new ones already."""
    old = {name.removeprefix("out/"): data for name, data in job.old.items()}
    visible = {name: data for name, data in found.items() if not UNFINISHED.fullmatch(name)}
    for name, data in visible.items():
        assert not name.startswith("."), f"{name} is hidden and not called unfinished"
        assert data in (old.get(name), new.get(name)), f"{name} is neither the old nor the new one"
    assert set(visible) >= set(old), f"lost: {set(old) - set(visible)}"
    if job.name == "a packet":
        assert set(visible) in (set(old), set(new)), "half a packet"
    return visible == new


def _cleared_by_the_next_run(job: Job, folder: Path, new: dict[str, bytes]) -> None:
    """A run right after leaves young remains alone; one a day later clears them away."""
    out = folder / "out"
    left = [path for path in out.iterdir() if path.name.startswith(".")]
    assert _call(job, folder) == 0
    assert all(path.exists() for path in left), "what may still be in use was cleared away"
    for path in left:
        os.utime(path, (time.time() - 90_000,) * 2)
    assert _call(job, folder) == 0
    assert _files(out) == new, "not the same as an undisturbed run, or not cleared away"


def told_to_end(job: Job, folder: Path, rounds: int, draw: random.Random) -> dict[str, int]:
    """Send a job with two processes a signal ``rounds`` times; how often it came in time."""
    new = _undisturbed(job, folder)
    counts = {"ended": 0, "done before": 0}
    done = _told(job, folder, None, 0)[2]
    for number in range(rounds):
        _lay_out(job, folder)
        sent = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)[number % 3]
        status, said, _ = _told(job, folder, sent, draw.uniform(0.05, done), number % 2 == 0)
        assert "Traceback" not in said, said
        assert status in (0, 128 + sent, -sent), f"status {status} after {sent.name}: {said}"
        found = _files(folder / "out")
        _whole(job, found, new)
        hidden = [name for name in found if UNFINISHED.fullmatch(name)]
        assert status < 0 or not hidden, f"left behind after {sent.name}: {hidden}"
        counts["ended" if status else "done before"] += 1
    return counts


_PROGRAM = "from fretpath.commands import run\nprint('ready', flush=True)\nrun()\n"
"""The command, which says when it has been loaded: before, Python itself ends it."""


def _told(
    job: Job, folder: Path, sent: signal.Signals | None, seconds: float, everybody: bool = False
) -> tuple[int, str, float]:
    """Exit status, standard error and seconds of a job that gets a signal; none of it stays."""
    with subprocess.Popen(
        [sys.executable, "-c", _PROGRAM, *job.words, "--jobs", "2"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "ready\n"
        start = time.monotonic()
        time.sleep(seconds)
        with contextlib.suppress(ProcessLookupError):
            if sent:
                (os.killpg if everybody else os.kill)(running.pid, sent)
        said = running.communicate(timeout=60)[1]
        taken = time.monotonic() - start
    for _ in range(100):
        try:
            os.killpg(running.pid, 0)
        except ProcessLookupError:
            return running.returncode, said, taken
        time.sleep(0.1)
    raise AssertionError("a worker stays")


def _undisturbed(job: Job, folder: Path) -> dict[str, bytes]:
    _lay_out(job, folder)
    assert _call(job, folder) == 0
    found = _files(folder / "out")
    assert not any(name.startswith(".") for name in found)
    return found


class _Counter:
    """Counts what a process does, and kills it when a number is reached."""

    def __init__(self, *, file_call: int = 0, any_call: int = 0) -> None:
        self.file_calls = self.any_calls = 0
        self.ends = (file_call, any_call)
        self.listening = True
        sys.addaudithook(self.hear)

    def hear(self, event: str, _: object) -> None:
        """An audit event."""
        if self.listening and event.startswith(CALLS):
            self.file_calls += 1
            if event.startswith("tempfile."):
                sys.setprofile(self.see)
            self._die_if_done()

    def see(self, _frame: object, event: str, _: object) -> None:
        """A call of any function, once writing has begun."""
        if self.listening and event == "c_call":
            self.any_calls += 1
            self._die_if_done()

    def _die_if_done(self) -> None:
        if self.file_calls == self.ends[0] or self.any_calls == self.ends[1]:
            self.listening = False  # the kill is a call too
            os.kill(os.getpid(), signal.SIGKILL)


def _measured(job: Job, folder: Path) -> tuple[int, int, float]:
    """How many calls of the file system, and others while writing; how many seconds."""
    _lay_out(job, folder)

    def work() -> None:
        counter = _Counter(file_call=-1, any_call=-1)
        status = _call(job, folder)
        counter.listening = False
        sys.setprofile(None)
        found = (counter.file_calls, counter.any_calls)
        (folder / "measured").write_text(json.dumps(found))
        os._exit(status)

    assert _wait(_fork(work)) == 0
    file_calls, any_calls = json.loads((folder / "measured").read_text())
    start = time.monotonic()
    assert _wait(_fork(lambda: os._exit(_call(job, folder)))) == 0
    return file_calls, any_calls, time.monotonic() - start


def _killed(job: Job, folder: Path, *, file_call: int = -1, any_call: int = -1) -> bool:
    """Run the job in a child that kills itself at a call; whether it did."""

    def work() -> None:
        _Counter(file_call=file_call, any_call=any_call)
        os._exit(_call(job, folder))

    return _wait(_fork(work)) == -signal.SIGKILL


def _killed_after(job: Job, folder: Path, seconds: float) -> bool:
    """Run the job in a child that is killed after some time; whether it was still alive."""
    child = _fork(lambda: os._exit(_call(job, folder)))
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    return _wait(child) == -signal.SIGKILL


def _fork(work: Callable[[], None]) -> int:
    child = os.fork()
    if child == 0:
        try:
            work()
        finally:
            os._exit(99)
    return child


def _wait(child: int) -> int:
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _call(job: Job, folder: Path) -> int:
    os.chdir(folder)
    with (
        open(os.devnull, "w") as nowhere,
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(nowhere),
    ):
        return main(job.words)


def _lay_out(job: Job, folder: Path) -> None:
    shutil.rmtree(folder / "out", ignore_errors=True)
    (folder / "tunes").mkdir(exist_ok=True)
    (folder / "out").mkdir()
    for name, text in (("one", TUNE), ("two", SHORT), ("three", MINOR)):
        (folder / "tunes" / f"{name}.txt").write_text(text)
    for name, data in job.old.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def _files(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else b""
        for path in folder.rglob("*")
        if path.is_file() or path.name.startswith(".")
    }


def run() -> None:
    """Every job, and its counts as JSON, one line each."""
    folder = Path(sys.argv[1])
    rounds = int(sys.argv[2]) if len(sys.argv) > 2 else ROUNDS
    draw = random.Random(5)
    signals = sys.argv[3:] == ["signals"]
    for job in JOBS_OF_TWO if signals else JOBS:
        counts = (told_to_end if signals else tried)(job, folder, rounds, draw)
        print(json.dumps({"job": job.name, **counts}), flush=True)


if __name__ == "__main__":
    run()
