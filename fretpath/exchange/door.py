"""The door for files: names and kinds, how much is read, and the checks that come before that.

**Rules.**  A file is read whole and once, up to a limit; what it is follows from its bytes, and a
name that says something else is refused.  A compressed MusicXML file is unpacked in memory, one
member only, up to a limit that is checked while unpacking and not believed from the archive; the
names in it are keys and never paths.  XML may carry a document type, but no entity of its own
and nothing from outside.  Every count of :data:`LIMITS` is checked before anything is built from
what is counted.
"""

from __future__ import annotations

import io
import re
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from fretpath.errors import ScoreFileError, nearest
from fretpath.neck.setup import LARGEST, Card

if TYPE_CHECKING:
    import zipfile
    from xml.etree.ElementTree import Element

KINDS = {
    ".musicxml": "MusicXML",
    ".xml": "MusicXML",
    ".mxl": "compressed MusicXML",
    ".mid": "MIDI",
    ".midi": "MIDI",
    ".abc": "ABC",
}
"""Endings of score files, and what each promises."""

RECORDINGS = (".wav", ".flac", ".ogg", ".mp3")
"""Endings of sound files that can be heard."""


def is_recording_name(name: str) -> bool:
    """Whether a file name ends as a recording does; one that cannot be read is refused.

    >>> is_recording_name("ana.wav"), is_recording_name("ana.txt")
    (True, False)
    """
    ending = ending_of(name)
    if ending in (".m4a", ".aac", ".wma", ".opus", ".3gp", ".amr"):
        raise ScoreFileError(
            f"{ending} cannot be read; save or convert the recording as .wav, .flac or .mp3"
        )
    return ending in RECORDINGS


LIMITS = {
    "bytes": 8 * 2**20,
    "bytes unpacked": 16 * 2**20,
    "XML tags": 1_000_000,
    "levels of XML": 60,
    "files in an archive": 200,
    "parts": 200,
    "bars": 5_000,
    "notes": 20_000,
    "signs": 100_000,
    "signs of repeats and jumps": 1_000,
    "MIDI events": 1_000_000,
    "tunes": 5_000,
    "characters in a line": 10_000,
}
"""The most that is read of each; ``signs`` are keys, meters, chord names and the like of a part."""

_MISSING = {
    "MusicXML": "there is no score-partwise or score-timewise in it",
    "compressed MusicXML": "it is not a zip archive",
    "MIDI": "it does not begin with MThd",
    "ABC": "it has no K: line (X: begins a tune, K: ends its header)",
}


def ending_of(name: str) -> str:
    """The ending of a file name in small letters, with its dot."""
    return PurePath(name).suffix.lower()


def is_score_name(name: str) -> bool:
    """Whether a file name ends as a score file does.

    >>> is_score_name("tune.MXL"), is_score_name("1 5 8"), is_score_name("tune.txt")
    (True, False, False)
    """
    return ending_of(name) in KINDS


def one_line(text: str) -> str:
    """Words of a file in one line, without characters that a terminal or a parser would obey.

    >>> one_line(" The\\n Ferry\\x1b Bell ")
    'The Ferry Bell'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def check_count(count: int, what: str, name: str) -> None:
    """Refuse more of a thing than :data:`LIMITS` allows."""
    most = LIMITS[what]
    if count > most:
        raise ScoreFileError(f"{name} has {count} {what}; {most} is the most that is read")


def kind_of(data: bytes, name: str) -> str:
    """The kind of a score file; :class:`ScoreFileError` if its bytes are not what its name says."""
    if not data.strip():
        raise ScoreFileError(f"{name} is empty")
    if len(data) > LIMITS["bytes"]:
        raise ScoreFileError(f"{name} is larger than {LIMITS['bytes'] // 2**20} MB; split it")
    promised, found = KINDS.get(ending_of(name), ""), _kind_by_bytes(data)
    if promised and found and promised != found:
        raise ScoreFileError(
            f"{name} is named as {promised} but holds {found}; rename it to "
            f"{', '.join(end for end, kind in KINDS.items() if kind == found)}"
        )
    if not found:
        what = f"{promised}: {_MISSING[promised]}" if promised else "MusicXML, MIDI or ABC"
        raise ScoreFileError(f"{name} is not {what}")
    return found


def _kind_by_bytes(data: bytes) -> str:
    if data.startswith(b"PK\x03\x04"):
        return "compressed MusicXML"
    if data.startswith(b"MThd"):
        return "MIDI"
    head = data[:4096].replace(b"\0", b"")
    if b"<score-partwise" in head or b"<score-timewise" in head:
        return "MusicXML"
    if head.lstrip(b"\xef\xbb\xbf \r\n\t\xff\xfe").startswith((b"<?xml", b"<!", b"<")):
        return "MusicXML" if b"<score-" in data.replace(b"\0", b"") else ""
    if re.search(rb"(?m)^K:", data.replace(b"\r", b"\n")):
        return "ABC"
    return ""


def unpack(data: bytes, name: str) -> bytes:
    """The score inside a compressed MusicXML file, unpacked in memory."""
    import zipfile
    import zlib

    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            check_count(len(members), "files in an archive", name)
            return _member(archive, _root_file(archive, members, name), name)
    except ScoreFileError:
        raise
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        OSError,
    ):
        raise ScoreFileError(
            f"{name} cannot be unpacked: it is damaged or locked; save it again as .musicxml"
        ) from None


def _root_file(
    archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], name: str
) -> zipfile.ZipInfo:
    """The member that META-INF/container.xml names, or else the only score there is."""
    by_name = {member.filename: member for member in members}
    container = by_name.get("META-INF/container.xml")
    if container is not None:
        for element in parse_xml(_member(archive, container, name), name).iter("rootfile"):
            wanted = element.get("full-path")
            if wanted in by_name:
                return by_name[wanted]
    for member in members:
        if member.filename.lower().endswith((".musicxml", ".xml")) and member is not container:
            return member
    raise ScoreFileError(f"{name} packs no MusicXML score")


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> bytes:
    most = LIMITS["bytes unpacked"]
    with archive.open(member) as file:
        data = file.read(most + 1)
    if len(data) > most:
        raise ScoreFileError(
            f"{name} unpacks to more than {most // 2**20} MB, which no score needs"
        )
    return data


def parse_xml(data: bytes, name: str) -> Element:
    """The tree of an XML file that is safe to walk, its tags without name spaces."""
    from xml.etree.ElementTree import ParseError

    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    check_count(data.count(b"<"), "XML tags", name)
    try:
        root: Element = fromstring(data, forbid_dtd=False)
    except DefusedXmlException:
        raise ScoreFileError(
            f"{name} declares XML entities or points outside itself, which no score needs: refused"
        ) from None
    except ParseError as problem:
        line, column = problem.position
        raise ScoreFileError(
            f"{name} is broken XML at line {line}, column {column + 1}; save it again from the "
            "program that wrote it"
        ) from None
    except (LookupError, ValueError, RecursionError):
        raise ScoreFileError(f"{name} is not XML that can be read; save it as UTF-8") from None
    _check_tree(root, name)
    return root


def _check_tree(root: Element, name: str) -> None:
    """Depth and counts of a tree; its tags lose their name space."""
    counts = dict.fromkeys(("note", "score-part", "measure"), 0)
    level, depth = [root], 1
    while level:
        if depth > LIMITS["levels of XML"]:
            raise ScoreFileError(
                f"{name} nests its XML deeper than {LIMITS['levels of XML']} levels: refused"
            )
        for element in level:
            tag: Any = element.tag
            element.tag = tag.rpartition("}")[2] if isinstance(tag, str) else ""
            if element.tag in counts:
                counts[element.tag] += 1
        level = [child for element in level for child in element]
        depth += 1
    check_count(counts["note"], "notes", name)
    check_count(counts["score-part"], "parts", name)
    if counts["measure"] > LIMITS["bars"] * max(1, counts["score-part"]):
        check_count(counts["measure"], "bars", name)


def text_of(data: bytes) -> str:
    """Text of a file that does not say how it is written: UTF-8, or else Latin-1."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def abc_text(data: bytes, name: str) -> str:
    """Text of an ABC file, without control characters and with plain ends of lines."""
    text = text_of(data)
    odd = re.search(r"[\x00-\x08\x0e-\x1f\x7f]", text)
    if odd:
        line = text.count("\n", 0, odd.start()) + 1
        raise ScoreFileError(f"{name}, line {line}: control character in the text; is it ABC?")
    text = re.sub(r"\r\n?", "\n", text)
    check_count(max(map(len, text.split("\n"))), "characters in a line", name)
    return text


def file_bytes(path: Path, most: int) -> bytes:
    """The bytes of a file, one more than *most* at the most; :class:`ScoreFileError` for none."""
    try:
        with path.open("rb") as file:
            return file.read(most + 1)
    except FileNotFoundError:
        raise ScoreFileError(f"there is no file {file_label(path)}{_like(path)}") from None
    except IsADirectoryError:
        raise ScoreFileError(
            f"{file_label(path)} is a folder; name one file in it "
            "(order, find and sheet take folders)"
        ) from None
    except OSError as problem:
        raise ScoreFileError(f"cannot read {file_label(path)}: {problem.strerror}") from None
    except ValueError:
        raise ScoreFileError(f"{file_label(path)} is not the name of a file") from None


def file_label(path: str | Path) -> str:
    """A file name for a message; a very long one is cut short."""
    name = re.sub(r"\.([^/]{0,50})\.[a-z0-9_]{8}\.unfinished", r"\1", str(path))
    return name if len(name) <= 120 else f"{name[:120]}..."


def _like(path: Path) -> str:
    """The file of the same folder that was most likely meant."""
    try:
        return nearest(path.name, (file.name for file in path.parent.iterdir() if file.is_file()))
    except OSError:
        return ""


def read_card(path: str | Path) -> Card:
    """The card in a file, its text in UTF-8.

    Raises :class:`ScoreFileError` where there is no such file or no card in it, and
    :class:`RequestError` with file and line for an entry that is unknown or wrong.
    """
    place = Path(path)
    try:
        text = file_bytes(place, LARGEST).decode("utf-8")
    except UnicodeDecodeError:
        raise ScoreFileError(f"{place.name} is not a card: it is not text in UTF-8") from None
    return Card.parse(text, place.name)
