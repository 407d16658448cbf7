"""Where files are opened: melodies read, results written to one side and renamed into place.

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
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO

from fretpath.errors import RequestError, ScoreFileError, nearest
from fretpath.exchange.door import ending_of, is_score_name

__all__ = ["append_file", "file_text", "melody_files", "melody_text", "whole_folder", "write_file"]

LARGEST_TEXT = 4 * 1024 * 1024
_LENGTH = re.compile(r":\d+/\d+")
_UNFINISHED = ".unfinished"
_A_DAY = 24 * 60 * 60


def melody_text(argument: str) -> tuple[str, str]:
    """The text an argument stands for, and its name for messages.

    ``-`` is standard input, an existing file is read, and anything else is the melody itself,
    unless it looks like the name of a file that does not exist.
    """
    if argument == "-":
        return _decoded(_standard_input(), "standard input"), "standard input"
    path = Path(argument)
    if _looks_like_a_file(argument, path):
        return _text_of(path, argument), path.name
    return argument, "melody"


def file_text(path: Path) -> str:
    """The text of a file; :class:`ScoreFileError` when it cannot be read as text."""
    return _text_of(path, path.name)


def _text_of(path: Path, name: str) -> str:
    """The text of a file; a score file is put into melody text."""
    if not is_score_name(path.name):
        return _decoded(_bytes(path), name)
    from fretpath.exchange.scores import read_score
    from fretpath.music.notation import format_melody

    return format_melody(read_score(path).melody)


def melody_files(folder: str | Path) -> list[Path]:
    """The melody files (``*.txt``) and scores that lie in a folder itself, by name; at least one.

    ``*.xml`` is left out: most files of that name are no music.
    """
    path = Path(folder)
    if not os.path.isdir(path):
        raise ScoreFileError(f"{_named(path)} is no folder; name a folder of melody files (*.txt)")
    try:
        found = sorted(file for file in path.iterdir() if _holds_a_melody(file.name))
    except OSError as problem:
        raise ScoreFileError(f"cannot read {_named(path)}: {problem.strerror}") from None
    if not found:
        raise ScoreFileError(f"there is no melody file (*.txt) in {_named(path)}")
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


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(LARGEST_TEXT + 1)
    except FileNotFoundError:
        raise ScoreFileError(f"there is no file {_named(path)}{_like(path)}") from None
    except IsADirectoryError:
        raise ScoreFileError(
            f"{_named(path)} is a folder; name one file in it (order, find and sheet take folders)"
        ) from None
    except OSError as problem:
        raise ScoreFileError(f"cannot read {_named(path)}: {problem.strerror}") from None
    except ValueError:
        raise ScoreFileError(f"{_named(path)} is no name of a file") from None


def _named(path: str | Path) -> str:
    """A file name for a message; a very long one is cut short."""
    name = str(path)
    return name if len(name) <= 120 else f"{name[:120]}..."


def _like(path: Path) -> str:
    """The file of the same folder that was most likely meant."""
    try:
        return nearest(path.name, (file.name for file in path.parent.iterdir() if file.is_file()))
    except OSError:
        return ""


def _decoded(data: bytes, name: str) -> str:
    if len(data) > LARGEST_TEXT:
        raise ScoreFileError(f"{name} is larger than {LARGEST_TEXT // 2**20} MB; split it")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as problem:
        raise ScoreFileError(
            f"{name} is no text in UTF-8 (byte {problem.start + 1} cannot be read)"
        ) from None


def write_file(path: str | Path, content: str | bytes) -> None:
    """Write a whole file or nothing: to a temporary file beside it, then renamed.

    What is no plain file, such as a device or a pipe, is written to as it is.
    """
    data = content.encode("utf-8", errors="replace") if isinstance(content, str) else content
    with _writing(path):
        if os.path.exists(path) and not os.path.isfile(path):
            Path(path).write_bytes(data)
        else:
            _replace_file(Path(os.path.realpath(path)), data)


def append_file(path: str | Path, more: Callable[[str], str]) -> str:
    """Add text to the end of a file: what ``more`` makes of the text that is in it, or nothing.

    The file is made when there is none, and held against others who add to it at the same time.
    When writing fails, the file is as long as before.  Returns what was added.
    """
    with _writing(path), open(path, "a+b") as file, _held(file):
        file.seek(0)
        text = _decoded(file.read(LARGEST_TEXT + 1), Path(path).name)
        added = more(text)
        end = file.seek(0, os.SEEK_END)
        try:
            file.write(added.encode("utf-8", errors="replace"))
            file.flush()
            os.fsync(file.fileno())
        except OSError:
            file.truncate(end)
            raise
    return added


@contextmanager
def _held(file: IO[bytes]) -> Iterator[None]:
    """A file locked against other runs, where the system can (not on Windows)."""
    try:
        import fcntl
    except ImportError:
        yield
        return
    fcntl.flock(file, fcntl.LOCK_EX)
    yield


@contextmanager
def _writing(path: str | Path) -> Iterator[None]:
    """Whatever goes wrong with the file system becomes a :class:`RequestError`."""
    if not str(path):
        raise RequestError("the name of the output is empty; -o takes the name of a file")
    if not _is_name(path):
        raise RequestError(f"{_named(path)} is no name of a file")
    try:
        yield
    except OSError as problem:
        raise RequestError(f"cannot write {_named(path)}: {problem.strerror}") from None


def _is_name(path: str | Path) -> bool:
    try:
        return b"\0" not in os.fsencode(path)
    except UnicodeEncodeError:
        return False


def _replace_file(path: Path, data: bytes) -> None:
    import tempfile

    _sweep(path)
    handle, temporary = tempfile.mkstemp(_UNFINISHED, _hidden(path), path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(temporary, 0o644 & ~_umask())
        os.replace(temporary, path)
    except BaseException:
        os.unlink(temporary)
        raise


@contextmanager
def whole_folder(path: str | Path) -> Iterator[Path]:
    """A new folder to fill, which takes its place under ``path`` once it is complete.

    Where ``path`` exists already, the new files replace those of the same name one by one, whole,
    and other files stay.  When anything goes wrong on the way, nothing is left behind.
    """
    import shutil
    import tempfile

    with _writing(path):
        target = Path(os.path.realpath(path))
        _sweep(target)
        fresh = Path(tempfile.mkdtemp(_UNFINISHED, _hidden(target), target.parent))
        try:
            yield fresh
            _settle(fresh, target)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)


def _settle(fresh: Path, target: Path) -> None:
    """Put a filled folder in its place: at once if that is free, else file by file, top last."""
    if not target.exists():
        os.chmod(fresh, 0o777 & ~_umask())
        os.rename(fresh, target)
        return
    files = [file for file in fresh.rglob("*") if file.is_file()]
    for file in sorted(files, key=lambda file: (-len(file.parts), file)):
        place = target / file.relative_to(fresh)
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(file, place)


def _hidden(path: Path) -> str:
    """How the name of what is being written in place of ``path`` begins."""
    return f".{path.name[:50]}."


def _sweep(path: Path) -> None:
    """Clear away what runs that were killed left unfinished here a day ago or earlier.

    Younger ones may still be in the hands of a run at work.
    """
    pattern = re.compile(rf"{re.escape(_hidden(path))}[a-z0-9_]{{8}}{re.escape(_UNFINISHED)}")
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
