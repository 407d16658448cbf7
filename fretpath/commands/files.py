"""Where files are opened: melodies read, results written to one side and renamed into place."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fretpath.errors import RequestError, ScoreFileError, nearest
from fretpath.exchange.kinds import ending_of, is_score_name

__all__ = ["file_text", "melody_files", "melody_text", "whole_folder", "write_file"]

LARGEST_TEXT = 4 * 1024 * 1024
_LENGTH = re.compile(r":\d+/\d+")


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
    if not path.is_dir():
        raise ScoreFileError(f"{folder} is no folder; name a folder of melody files (*.txt)")
    try:
        found = sorted(file for file in path.iterdir() if _holds_a_melody(file.name))
    except OSError as problem:
        raise ScoreFileError(f"cannot read {folder}: {problem.strerror}") from None
    if not found:
        raise ScoreFileError(f"there is no melody file (*.txt) in {folder}")
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
        raise ScoreFileError(f"there is no file {path}{_like(path)}") from None
    except IsADirectoryError:
        raise ScoreFileError(
            f"{path} is a folder; name one file in it (order, find and sheet take folders)"
        ) from None
    except OSError as problem:
        raise ScoreFileError(f"cannot read {path}: {problem.strerror}") from None


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
    try:
        if os.path.exists(path) and not os.path.isfile(path):
            Path(path).write_bytes(data)
        else:
            _replace_file(Path(os.path.realpath(path)), data)
    except OSError as problem:
        raise RequestError(f"cannot write {path}: {problem.strerror}") from None


def _replace_file(path: Path, data: bytes) -> None:
    import tempfile

    handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
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

    target = Path(os.path.realpath(path))
    try:
        fresh = Path(tempfile.mkdtemp(prefix=f".{target.name}.", dir=target.parent))
    except OSError as problem:
        raise RequestError(f"cannot write {path}: {problem.strerror}") from None
    try:
        yield fresh
        _settle(fresh, target)
    except OSError as problem:
        raise RequestError(f"cannot write {path}: {problem.strerror}") from None
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _settle(fresh: Path, target: Path) -> None:
    for file in sorted(file for file in fresh.rglob("*") if file.is_file()):
        place = target / file.relative_to(fresh)
        place.parent.mkdir(parents=True, exist_ok=True)
        os.replace(file, place)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
