"""Where files are opened: melodies read, results written to one side and renamed into place.

**All or nothing.**  In :func:`outputs_together`, where every command runs, files, folders and
lines to be added are prepared, and put in their places together once the command has succeeded.
A file that was read is never written over, and two outputs are never one file.

What is being written has a hidden name, ``.lesson.html.`` and eight letters and ``.unfinished``.
A run that is killed cannot clear it away; the next one that writes to the same place does, once
it is a day old.
"""

from __future__ import annotations

import os
import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from contextvars import ContextVar
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from fretpath.errors import FretpathError, IncompleteError, RequestError, ScoreFileError
from fretpath.exchange.door import ending_of, file_bytes, file_label, is_score_name

LARGEST_TEXT = 4 * 1024 * 1024
_LENGTH = re.compile(r":\d+/\d+")
_UNFINISHED = ".unfinished"
_A_DAY = 24 * 60 * 60


@dataclass
class _Batch:
    """The files that one command has read and prepared."""

    read: dict[tuple[int, int], str] = field(default_factory=dict)
    """Name of each input by device and inode."""
    places: set[Path] = field(default_factory=set)
    """Files that will be put in place."""
    steps: list[tuple[str | Path, Callable[[], object]]] = field(default_factory=list)
    """The name each output was given, and what puts it in place."""
    force: bool = False
    """Whether a file of another kind may be replaced."""
    at_once: bool = False
    """Whether files are put in place as they are written, inside a folder that is not."""
    cleanup: ExitStack = field(default_factory=ExitStack)
    """What clears away whatever was prepared and not put in place."""

    def put_in_place(self) -> None:
        """Take every step."""
        for name, step in self.steps:
            with _writing(name):
                step()


_BATCH: ContextVar[_Batch | None] = ContextVar("batch", default=None)


@contextmanager
def outputs_together(*, force: bool = False) -> Iterator[None]:
    """Put all that is written inside in its place at the end, or nothing.

    An :class:`IncompleteError` has a result: what was written goes into its place.
    """
    batch = _Batch(force=force)
    token = _BATCH.set(batch)
    with batch.cleanup:
        try:
            yield
        except IncompleteError:
            batch.put_in_place()
            raise
        finally:
            _BATCH.reset(token)
        batch.put_in_place()


def note_input(path: str | Path) -> None:
    """Remember that a command reads this file, so that no output is put over it."""
    batch = _BATCH.get()
    if batch is not None:
        with suppress(OSError, ValueError):
            found = os.stat(path)
            batch.read[found.st_dev, found.st_ino] = str(path)


def melody_text(argument: str) -> tuple[str, str]:
    """The text an argument stands for, and its name for messages.

    ``-`` is standard input, an existing file is read, and anything else is the melody itself,
    unless it looks like the name of a file that does not exist.
    """
    if argument == "-":
        return _text(_standard_input(), "standard input"), "standard input"
    path = Path(argument)
    if _looks_like_a_file(argument, path):
        return _text_of(path, argument), path.name
    return argument, "melody"


def file_text(path: Path) -> str:
    """The text of a file; :class:`ScoreFileError` when it cannot be read as text."""
    return _text_of(path, path.name)


def _text_of(path: Path, name: str) -> str:
    """The text of a file; a score file is put into melody text."""
    note_input(path)
    if not is_score_name(path.name):
        return _text(file_bytes(path, LARGEST_TEXT), name)
    from fretpath.exchange.scores import read_score
    from fretpath.music.notation import format_melody

    return format_melody(read_score(path).melody)


def melody_files(folder: str | Path) -> list[Path]:
    """The melody files (``*.txt``) and scores that lie in a folder itself, by name; at least one.

    ``*.xml`` is left out: most files of that name are no music.
    """
    path = Path(folder)
    if not os.path.isdir(path):
        raise ScoreFileError(
            f"{file_label(path)} is not a folder; name one with melody files (*.txt)"
        )
    try:
        found = sorted(file for file in path.iterdir() if _holds_a_melody(file.name))
    except OSError as problem:
        raise ScoreFileError(f"cannot read {file_label(path)}: {problem.strerror}") from None
    if not found:
        raise ScoreFileError(f"there is no melody file (*.txt) in {file_label(path)}")
    return found


def _holds_a_melody(name: str) -> bool:
    return name.endswith(".txt") or (is_score_name(name) and ending_of(name) != ".xml")


def _looks_like_a_file(argument: str, path: Path) -> bool:
    if not argument.strip() or "\n" in argument or "\0" in argument:
        return False
    if os.path.exists(argument):
        return True
    return " " not in argument and re.search(r"[./]", _LENGTH.sub("", argument)) is not None


def _standard_input() -> bytes:
    if sys.stdin is None:
        raise ScoreFileError("standard input is closed, and - asks for a melody from it")
    return sys.stdin.buffer.read(LARGEST_TEXT + 1)


def _text(data: bytes, name: str) -> str:
    if len(data) > LARGEST_TEXT:
        raise ScoreFileError(f"{name} is larger than {LARGEST_TEXT // 2**20} MB; split it")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise ScoreFileError(
            f"{name} is not text in UTF-8 (byte {problem.start + 1} cannot be read)"
        ) from None


def write_file(path: str | Path, content: str | bytes) -> None:
    """Write a whole file or nothing: to a temporary file beside it, then renamed.

    What is no plain file, such as a device or a pipe, is written to as it is.  In a command the
    file appears when the command has succeeded.
    """
    data = content.encode("utf-8", errors="replace") if isinstance(content, str) else content
    batch = _BATCH.get()
    with _writing(path):
        place = Path(os.path.realpath(path))
        if place.is_symlink():
            raise RequestError(f"cannot write {file_label(path)}: its links run in a circle")
        if os.path.exists(path) and not os.path.isfile(path):
            if batch is None or batch.at_once or os.path.isdir(path):
                Path(path).write_bytes(data)
            else:
                batch.steps.append((path, partial(Path(path).write_bytes, data)))
            return
        _refuse_clash(path, place, batch)
        _refuse_other_kind(path, place, data, batch)
        ready = _prepare(place, data)
        if batch is not None and not batch.at_once:
            batch.cleanup.callback(ready.unlink, missing_ok=True)
            batch.steps.append((path, partial(os.replace, ready, place)))
            return
        try:
            os.replace(ready, place)
        except BaseException:
            ready.unlink()
            raise


def _refuse_clash(path: str | Path, place: Path, batch: _Batch | None) -> None:
    """Refuse to write over an input or over another output."""
    if batch is None:
        return
    if place in batch.places:
        raise RequestError(
            f"two outputs go to one file, {file_label(path)}; give each its own name"
        )
    batch.places.add(place)
    with suppress(OSError):
        found = os.stat(place)
        if (found.st_dev, found.st_ino) in batch.read:
            raise RequestError(
                f"{file_label(path)} is read by this command and would be written over; "
                "give the output another name"
            )


def _refuse_other_kind(path: str | Path, place: Path, data: bytes, batch: _Batch | None) -> None:
    """Refuse to replace a file that holds something of another kind, such as a melody by a page."""
    if batch is None or batch.force or not place.is_file() or not place.stat().st_size:
        return
    old, new = _kind(file_bytes(place, LARGEST_TEXT)), _kind(data)
    page = new == "a tab" and old == "a page of text"
    if old != new and not page:
        raise RequestError(
            f"{file_label(path)} holds {old} and would be replaced by {new}; "
            "give the output another name, or say --force"
        )


_BEGINNINGS = {
    b"RIFF": "sound", b"ID3": "sound", b"\xff\xfb": "sound", b"MThd": "a MIDI file",
    b"PK": "a compressed score", b"<!doctype html": "an HTML page", b"<html": "an HTML page",
    b"<svg": "a drawing", b"<?xml": "a score", b"<!doctype score": "a score", b"x:": "ABC",
    b"%abc": "ABC", b"{": "JSON", b"[": "JSON",
}  # fmt: skip
"""How the files of each kind begin, in small letters but for the magic numbers."""
_TEXTS = {
    "a card": re.compile(rb"\w+ *= *\S"),
    "a table": re.compile(rb"[^,\n]+(?:,[^,\s][^,\n]*){2,}\n"),
    "a tab": re.compile(rb"(?:.*\n)*?.{0,20}\|[-0-9hpx/~|]{3}"),
}
"""How texts of ours that are no melody begin; a tab has lines of strings."""


def _kind(data: bytes) -> str:
    """The kind of a file, mostly by its first bytes, in words."""
    head = data[:200].lstrip()
    for beginning, kind in _BEGINNINGS.items():
        if head.startswith(beginning) or head.lower().startswith(beginning):
            return kind
    from fretpath.music.notation import parse_melody

    try:
        parse_melody(data.decode("utf-8"))
    except (FretpathError, UnicodeDecodeError):
        texts = (kind for kind, pattern in _TEXTS.items() if pattern.match(data.lstrip()))
        return next(texts, "a page of text")
    return "a melody"


def append_file(path: str | Path, more: Callable[[str], str]) -> str:
    """Add text to the end of a file: what ``more`` makes of the text that is in it, or nothing.

    The file is replaced whole, as :func:`write_file` does, and made when there is none; its folder
    is held against others who add at the same time.  Returns what was added.
    """
    place = Path(os.path.realpath(path))
    batch = _BATCH.get()
    with _writing(path), ExitStack() as held:
        held.enter_context(_hold(place.parent))
        old = file_bytes(place, LARGEST_TEXT) if place.exists() else b""
        added = more(_text(old, Path(path).name))
        if added:
            write_file(path, old + added.encode("utf-8", errors="replace"))
        else:
            _sweep(place)
        if batch is not None and not batch.at_once:
            batch.cleanup.push(held.pop_all())
    return added


@contextmanager
def _hold(folder: Path) -> Iterator[None]:
    """A folder locked against other runs, where the system can (not on Windows)."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


@contextmanager
def _writing(path: str | Path) -> Iterator[None]:
    """Whatever goes wrong with the file system becomes a :class:`RequestError`."""
    if not str(path):
        raise RequestError("the name of the output is empty; -o takes the name of a file")
    if not _is_name(path):
        raise RequestError(f"{file_label(path)} is not the name of a file")
    try:
        yield
    except OSError as problem:
        raise RequestError(f"cannot write {file_label(path)}: {problem.strerror}") from None


def _is_name(path: str | Path) -> bool:
    try:
        return b"\0" not in os.fsencode(path)
    except UnicodeEncodeError:
        return False


def _prepare(place: Path, data: bytes) -> Path:
    """A hidden file beside its place, with the mode of the file that it will replace."""
    import tempfile

    _sweep(place)
    handle, name = tempfile.mkstemp(_UNFINISHED, _hidden_name(place), place.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        mode = place.stat().st_mode & 0o777 if place.exists() else 0o644 & ~_umask()
        os.chmod(name, mode)
    except BaseException:
        os.unlink(name)
        raise
    return Path(name)


@contextmanager
def whole_folder(path: str | Path) -> Iterator[Path]:
    """A new folder to fill, which takes its place under ``path`` once it is complete.

    Where ``path`` exists already, the new files replace those of the same name one by one, whole,
    and other files stay.  When anything goes wrong on the way, nothing is left behind.  In a
    command the folder takes its place when the command has succeeded.
    """
    import shutil
    import tempfile

    with _writing(path), ExitStack() as cleanup:
        target = Path(os.path.realpath(path))
        _sweep(target)
        fresh = Path(tempfile.mkdtemp(_UNFINISHED, _hidden_name(target), target.parent))
        cleanup.callback(shutil.rmtree, fresh, ignore_errors=True)
        batch = _BATCH.get()
        token = _BATCH.set(_Batch(read=batch.read if batch else {}, at_once=True))
        try:
            yield fresh
        finally:
            _BATCH.reset(token)
        for file in _files_below(fresh):
            name = file.relative_to(fresh)
            _refuse_clash(Path(path) / name, target / name, batch)
        if batch is None:
            _settle(fresh, target)
        else:
            batch.steps.append((path, partial(_settle, fresh, target)))
            batch.cleanup.push(cleanup.pop_all())


def _files_below(folder: Path) -> list[Path]:
    return [file for file in folder.rglob("*") if file.is_file()]


def _settle(fresh: Path, target: Path) -> None:
    """Put a filled folder in its place: at once if that is free, else file by file, top last."""
    if not target.exists():
        os.chmod(fresh, 0o777 & ~_umask())
        os.rename(fresh, target)
        return
    for file in sorted(_files_below(fresh), key=lambda file: (-len(file.parts), file)):
        place = target / file.relative_to(fresh)
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(file, place)


def _hidden_name(path: Path) -> str:
    """How the name of what is being written in place of ``path`` begins."""
    return f".{path.name[:50]}."


def _sweep(path: Path) -> None:
    """Clear away what runs that were killed left unfinished here a day ago or earlier.

    Younger ones may still be in the hands of a run at work.
    """
    pattern = re.compile(rf"{re.escape(_hidden_name(path))}[a-z0-9_]{{8}}{re.escape(_UNFINISHED)}")
    long_ago = time.time() - _A_DAY
    with suppress(OSError):
        for entry in os.scandir(path.parent):
            if pattern.fullmatch(entry.name) and entry.stat().st_mtime < long_ago:
                _remove(entry)


def _remove(entry: os.DirEntry[str]) -> None:
    import shutil

    if entry.is_dir(follow_symlinks=False):
        shutil.rmtree(entry, ignore_errors=True)
    else:
        os.unlink(entry)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
