"""What a file from a stranger must pass before anything reads its music.

**Rules.**  A file is read whole and once, up to a limit; what it is follows from its bytes, and a
name that says something else is refused.  A compressed MusicXML file is unpacked in memory, one
member only, up to a limit that is checked while unpacking and not believed from the archive; the
names in it are keys and never paths.  XML may carry a document type, but no entity of its own
and nothing from outside.  Counts are checked before music21 builds its objects, since it spends
about a kilobyte a note.
"""

from __future__ import annotations

import io
import re
import zipfile
import zlib
from typing import Any
from xml.etree.ElementTree import Element, ParseError

from fretpath.errors import ScoreFileError
from fretpath.exchange.kinds import KINDS, ending_of

__all__ = ["checked_xml", "decoded", "kind_of", "unpacked"]

LARGEST_FILE = 8 * 2**20
LARGEST_XML = 16 * 2**20
MOST_NOTES = 20_000
MOST_PARTS = 200
_DEEPEST = 60
_NUMBER = re.compile(r"[+-]?(\d+)(\.\d{1,9})?|\d{1,2}(\s*\+\s*\d{1,2}){1,8}")


def kind_of(data: bytes, name: str) -> str:
    """What a score file is; :class:`ScoreFileError` if its bytes are not what its name says."""
    if not data.strip():
        raise ScoreFileError(f"{name} is empty")
    if len(data) > LARGEST_FILE:
        raise ScoreFileError(f"{name} is larger than {LARGEST_FILE // 2**20} MB; split it")
    promised, found = KINDS.get(ending_of(name), ""), _found(data)
    if promised and found and promised != found:
        raise ScoreFileError(
            f"{name} is named as {promised} but holds {found}; rename it to "
            f"{', '.join(end for end, kind in KINDS.items() if kind == found)}"
        )
    if not found:
        what = f"{promised}: {_MISSING[promised]}" if promised else "MusicXML, MIDI or ABC"
        raise ScoreFileError(f"{name} is not {what}")
    return found


_MISSING = {
    "MusicXML": "there is no score-partwise or score-timewise in it",
    "compressed MusicXML": "it is no zip archive",
    "MIDI": "it does not begin with MThd",
    "ABC": "it has no K: line (X: begins a tune, K: ends its header)",
    "": "",
}


def _found(data: bytes) -> str:
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


def unpacked(data: bytes, name: str) -> bytes:
    """The score inside a compressed MusicXML file, unpacked in memory."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = [member for member in archive.infolist() if not member.is_dir()]
            if len(members) > MOST_PARTS:
                raise ScoreFileError(f"{name} packs {len(members)} files, which no score needs")
            return _member(archive, _root_file(archive, members, name), name)
    except (
        zipfile.BadZipFile,
        zlib.error,
        EOFError,
        NotImplementedError,
        RuntimeError,
        ValueError,
        OSError,
    ) as problem:
        if isinstance(problem, ScoreFileError):
            raise
        raise ScoreFileError(f"{name} cannot be unpacked ({problem}); pack it again") from None


def _root_file(
    archive: zipfile.ZipFile, members: list[zipfile.ZipInfo], name: str
) -> zipfile.ZipInfo:
    """The member that META-INF/container.xml names, or else the only score there is."""
    by_name = {member.filename: member for member in members}
    container = by_name.get("META-INF/container.xml")
    if container is not None:
        for element in checked_xml(_member(archive, container, name), name).iter():
            wanted = element.get("full-path") if _local(element) == "rootfile" else None
            if wanted in by_name:
                return by_name[wanted]
    for member in members:
        if member.filename.lower().endswith((".musicxml", ".xml")) and member is not container:
            return member
    raise ScoreFileError(f"{name} packs no MusicXML score")


def _member(archive: zipfile.ZipFile, member: zipfile.ZipInfo, name: str) -> bytes:
    with archive.open(member) as file:
        data = file.read(LARGEST_XML + 1)
    if len(data) > LARGEST_XML:
        raise ScoreFileError(
            f"{name} unpacks to more than {LARGEST_XML // 2**20} MB, which no score needs"
        )
    return data


def checked_xml(data: bytes, name: str) -> Element:
    """The tree of an XML file that is safe to hand on; its counts and numbers are checked."""
    from defusedxml.common import DefusedXmlException
    from defusedxml.ElementTree import fromstring

    if len(data) > LARGEST_XML:
        raise ScoreFileError(f"{name} is larger than {LARGEST_XML // 2**20} MB; split it")
    try:
        root: Element = fromstring(data, forbid_dtd=False)
    except DefusedXmlException:
        raise ScoreFileError(
            f"{name} declares XML entities or points outside itself, which no score needs: refused"
        ) from None
    except ParseError as problem:
        raise ScoreFileError(f"{name} is broken XML: {problem}") from None
    except (LookupError, ValueError, RecursionError):
        raise ScoreFileError(f"{name} is no XML that can be read; save it as UTF-8") from None
    _check_counts(root, name)
    return root


# What a number in a score may be at most; music21 hangs on a meter of a million beats.
_DIGITS = {
    "duration": 7,
    "divisions": 6,
    "actual-notes": 3,
    "normal-notes": 3,
    "beat-type": 3,
    "multiple-rest": 3,
    "string": 3,
    "fret": 3,
    "beats": 2,
    "fifths": 2,
    "octave": 2,
    "chromatic": 2,
    "alter": 2,
    "staves": 2,
    "staff": 2,
}


def _check_counts(root: Element, name: str) -> None:
    notes = parts = 0
    level = [(root, 1)]
    while level:
        element, depth = level.pop()
        tag = _local(element)
        notes += tag == "note"
        parts += tag == "score-part"
        text = (element.text or "").strip()
        if depth > _DEEPEST:
            raise ScoreFileError(f"{name} nests its XML deeper than {_DEEPEST} levels: refused")
        if tag in _DIGITS and not _is_music(text, _DIGITS[tag]):
            raise ScoreFileError(f'{name} has "{text[:20]}" as its {tag}, which is no music')
        level.extend((child, depth + 1) for child in element)
    check_count(notes, MOST_NOTES, "notes", name)
    check_count(parts, MOST_PARTS, "parts", name)


def _is_music(text: str, digits: int) -> bool:
    match = _NUMBER.fullmatch(text)
    return match is not None and len(match[1] or "") <= digits


def check_count(count: int, most: int, what: str, name: str) -> None:
    """Refuse more than ``most`` notes, parts or the like."""
    if count > most:
        raise ScoreFileError(f"{name} has {count} {what}; {most} is the most that is read")


def _local(element: Element) -> str:
    tag: Any = element.tag
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def decoded(data: bytes, name: str) -> str:
    """Text of an ABC file: UTF-8, or Latin-1 as older files have it; no control characters."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
    odd = re.search(r"[\x00-\x08\x0e-\x1f\x7f]", text)
    if odd:
        line = text.count("\n", 0, odd.start()) + 1
        raise ScoreFileError(f"{name}, line {line}: control character in the text; is it ABC?")
    return re.sub(r"\r\n?", "\n", text)
