"""Work on every melody of a folder: several at a time, past a bad file, in the same order."""

from __future__ import annotations

import argparse
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from multiprocessing.pool import Pool
from pathlib import Path
from typing import Any, TypeVar

from fretpath.commands.files import file_text, melody_files
from fretpath.commands.options import key_told
from fretpath.errors import FretpathError, IncompleteError, RequestError, UnplayableError
from fretpath.lesson.order import parse_order
from fretpath.lesson.tune import Tune, named, tune_of
from fretpath.music.loose import read_loosely
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.setup import Setup

_CHUNK = 32
_FEW = 8
MOST_JOBS = 64
_MOST_FAULTS = 20
_ERROR_OUTPUT = 2
T = TypeVar("T")


def add_folder_options(parser: argparse.ArgumentParser) -> None:
    """The folder, and how many files are worked on at a time."""
    parser.add_argument("folder", metavar="FOLDER", help="a folder of melody files (*.txt)")
    add_jobs_option(parser)


def add_jobs_option(parser: argparse._ActionsContainer) -> None:
    """How many files are worked on at a time."""
    parser.add_argument("--jobs", type=int, default=1, help="files at a time (default 1)")


def order_file_from(arguments: argparse.Namespace) -> list[str]:
    """The file names that the order file asked for puts first; none without one."""
    return parse_order(file_text(Path(arguments.order_file))) if arguments.order_file else []


def each_melody(
    folder: str | Path | Sequence[Path],
    work: Callable[[Melody, str], T],
    remarks: list[Any],
    *,
    jobs: int = 1,
) -> tuple[list[T], list[str]]:
    """``work(melody, file name)`` for every melody file, as :func:`each_file` does.

    *folder* is a folder, or the files themselves; a melody without a title has that of its file.
    How a file was taken that is not in the notation is added to *remarks*.
    """
    files = melody_files(folder) if isinstance(folder, str | Path) else folder
    found, faults = each_file(files, partial(_read, work), jobs=jobs)
    remarks.extend(remark for _, told in found for remark in told)
    return [result for result, _ in found], faults


def _read(work: Callable[[Melody, str], T], name: str, text: str) -> tuple[T, list[str]]:
    melody, remarks = read_loosely(text, source=name)
    melody, told = key_told(named(melody, name))
    return work(melody, name), [f"{name}: {remark}" for remark in (*remarks, *told)]


def playable_tune(melody: Melody, name: str, setup: Setup, *, any_key: bool) -> tuple[Tune, Melody]:
    """The tune measured, and its melody; :class:`UnplayableError` where the hand cannot play it."""
    tune = tune_of(melody, name, setup, any_key=any_key)
    if tune.unplayable:
        raise UnplayableError(tune.unplayable)
    return tune, melody


def each_file(
    files: Sequence[Path], work: Callable[[str, str], T], *, jobs: int = 1
) -> tuple[list[T], list[str]]:
    """``work(file name, text)`` for every file: the results in their order, and the faults.

    A file that raises :class:`FretpathError` becomes a fault and the rest goes on.  *work* is
    called in other processes when *jobs* is above 1, so it must be a function of a module (or a
    ``partial`` of one).  A progress bar shows on a terminal only.
    """
    if not 1 <= jobs <= MOST_JOBS:
        raise RequestError(f"--jobs is 1 to {MOST_JOBS}, not {jobs}")
    results: list[T] = []
    faults: list[str] = []
    attempts = _attempts(files, partial(_attempt, work), jobs)
    for result, fault in _with_progress_bar(attempts, len(files)):
        if fault is None:
            results.extend(result)
        else:
            faults.append(fault)
    return results, faults


def finish(text: str, faults: Sequence[str]) -> str:
    """``text``; :class:`IncompleteError`, which still prints it, when there were faults."""
    if not faults:
        return text
    count = counted(len(faults), "file")
    lines = [f"{count} left out:", *faults[:_MOST_FAULTS]]
    if len(faults) > _MOST_FAULTS:
        lines.append(f"and {len(faults) - _MOST_FAULTS} more")
    raise IncompleteError("\n".join(lines), result=text)


def _attempt(work: Callable[[str, str], T], path: Path) -> tuple[list[T], str | None]:
    try:
        return [work(path.name, file_text(path))], None
    except FretpathError as problem:
        message = str(problem)
        if path.name not in message:
            message = f"{path.name}: {message.removeprefix(f'{path.stem}: ')}"
        return [], message


def _attempts(files: Sequence[Path], attempt: Callable[[Path], T], jobs: int) -> Iterator[T]:
    """In other processes when there is enough to do for each of them."""
    chunk = min(_CHUNK, -(-len(files) // (4 * jobs)))
    if jobs == 1 or len(files) < _FEW:
        yield from map(attempt, files)
        return
    with _pool(jobs) as pool:
        yield from pool.imap(attempt, files, chunksize=chunk)


def _pool(jobs: int) -> Pool:
    """Workers that leave an interrupt to the run that started them."""
    try:
        usual = signal.signal(signal.SIGINT, signal.SIG_IGN)
    except ValueError:  # not the main thread, which alone may say so
        return multiprocessing.get_context("spawn").Pool(jobs)
    try:
        return multiprocessing.get_context("spawn").Pool(jobs)
    finally:
        signal.signal(signal.SIGINT, usual)


def _with_progress_bar(attempts: Iterable[T], total: int) -> Iterable[T]:
    if not os.isatty(_ERROR_OUTPUT):
        return attempts
    from tqdm import tqdm

    return tqdm(attempts, total=total, unit="tune", leave=False)
