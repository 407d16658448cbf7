"""Score files to melodies and back: MusicXML, MIDI, ABC 2.1 and melody text.

**How.**  The bytes are read once, checked (:mod:`~fretpath.exchange.door`) and taken apart in
memory by the module of their format, which gives the sounds and signs of one voice;
:mod:`~fretpath.exchange.voices` makes the melody.  A tune book is split at its ``X:`` lines, and
only the tune that is asked for is read.  Nothing outside the call is touched, so that any number
of threads may read at a time.  A format that is written is one line of :data:`FORMATS`.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

from fretpath.errors import MelodySyntaxError, RequestError, ScoreFileError, nearest
from fretpath.exchange.door import (
    KINDS,
    LIMITS,
    abc_text,
    check_count,
    ending_of,
    file_bytes,
    kind_of,
    one_line,
    parse_xml,
    unpack,
)
from fretpath.exchange.melody_of_voice import Reading, melody_of
from fretpath.exchange.voices import Voice
from fretpath.music.key import key_asked
from fretpath.music.keyfinding import in_key, respell
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.text import TextSpot
from fretpath.music.transposing import transpose_melody, way_to
from fretpath.neck.arrangement import Arrangement
from fretpath.remarks import Remark
from fretpath.values import Value

Source = str | Path | bytes | BinaryIO
"""A file name, the bytes of a file, or a file that is open for reading bytes."""


@dataclass(frozen=True)
class ScoreTune:
    """One tune of a file, not yet read."""

    number: int
    """Its number in the book (X: of an ABC file), or 1."""
    title: str
    """What the file calls it, or the empty string."""
    content: Any
    """Text of an ABC tune or of a melody, bytes of a MIDI file, tree of a MusicXML file."""
    kind: str
    """MusicXML, MIDI, ABC or text."""
    source: str
    """Name of the file, for messages."""

    @property
    def name(self) -> str:
        """The file, and the tune in it when there can be several."""
        return f"{self.source}, tune {self.number}" if self.kind == "ABC" else self.source

    def read(
        self, *, part: str | None = None, lowest: bool = False, places: bool = False
    ) -> Reading:
        """The melody of one part or voice, and what must be said about it.

        *part* is a number, a name or number.voice; *lowest* takes the lowest note of a chord;
        *places* keeps the strings and frets that the file gives.  Raises
        :class:`ScoreFileError` for what cannot be read and :class:`RequestError` for a part
        that is not there.
        """
        if self.kind == "text":
            return Reading(_strictly(self.content, self.source))
        return melody_of(self.voice(part=part, lowest=lowest, places=places), self.name)

    def voice(
        self, *, part: str | None = None, lowest: bool = False, places: bool = False
    ) -> Voice:
        """The sounds and signs of one part or voice, as the file has them."""
        if self.kind == "ABC":
            from fretpath.exchange.abc import read_abc

            return read_abc(self.content, part, lowest=lowest, name=self.name)
        if self.kind == "MIDI":
            from fretpath.exchange.midi import read_midi

            return read_midi(self.content, part, lowest=lowest, name=self.name)
        from fretpath.exchange.musicxml import read_musicxml

        return read_musicxml(self.content, part, lowest=lowest, places=places, name=self.name)


def _strictly(text: str, source: str) -> Melody:
    """The melody of a text in the notation; the error names the reader of any other text."""
    try:
        return parse_melody(text, source=source)
    except MelodySyntaxError as fault:
        spot = TextSpot(fault.source, fault.line, fault.column, fault.span, fault.text)
        raise spot.error(
            f"{fault.problem} (text as people jot it is read by fretpath.read_loosely)"
        ) from None


@dataclass(frozen=True)
class Book(Value):
    """The tunes of one file."""

    name: str
    """Name of the file."""
    tunes: tuple[ScoreTune, ...]
    """At least one."""

    def tune(self, wanted: str | int | None = None) -> ScoreTune:
        """The tune of that number or title; the only one if there is no wish."""
        if wanted is None:
            if len(self.tunes) == 1:
                return self.tunes[0]
            raise RequestError(
                f"{self.name} holds {len(self.tunes)} tunes; pick one with --tune NUMBER or "
                f"--tune TITLE:\n{self.listing()}"
            )
        asked = str(wanted).strip().lower()
        found = [tune for tune in self.tunes if asked == tune.title.lower()]
        if not found and asked.isdecimal():
            found = [tune for tune in self.tunes if int(asked[:9]) == tune.number]
        if len(found) > 1:
            numbers = ", ".join(str(tune.number) for tune in found[:8])
            raise RequestError(f'{self.name} has {len(found)} tunes "{asked[:40]}": {numbers}')
        if not found:
            titles = [tune.title.lower() for tune in self.tunes]
            raise RequestError(
                f'{self.name} has no tune "{asked[:40]}"{nearest(asked, titles)} '
                f"(it has {len(self.tunes)}, number {self.tunes[0].number} to "
                f"{self.tunes[-1].number})"
            )
        return found[0]

    def listing(self, most: int = 30) -> str:
        """Numbers and titles, one line each."""
        lines = [f"  {tune.number:>4}  {tune.title[:70]}".rstrip() for tune in self.tunes[:most]]
        if len(self.tunes) > most:
            lines.append(f"        ... and {len(self.tunes) - most} more")
        return "\n".join(lines)


def read_score(
    source: Source,
    *,
    tune: str | int | None = None,
    part: str | None = None,
    lowest: bool = False,
    places: bool = False,
) -> Reading:
    """The melody of a score or of melody text, and what must be said about it.

    Melody text must be in the notation; :func:`~fretpath.music.loose.read_loosely` reads others.
    *source* is a file name, bytes, or a file open for reading bytes; *tune* is the number or the
    title of a tune of a tune book (:func:`open_book` lists them), *part* the number or the name of
    a part (``1.2`` is its second voice), *lowest* takes the lowest note of a chord and not the
    highest, *places* keeps the strings and frets of the file.  Raises :class:`ScoreFileError` for
    a file that cannot be read or is not what it claims, :class:`RequestError` for a tune or a
    part that is not there.

    >>> melody, remarks = read_score(b"title: Ferry Bell\\n\\n1 3 5")
    >>> melody.title, len(melody)
    ('Ferry Bell', 3)
    """
    return open_book(source).tune(tune).read(part=part, lowest=lowest, places=places)


def open_book(source: Source, name: str | None = None) -> Book:
    """The tunes in a score file, each with its number and title, not yet read.

    *name* is what messages call it, with the ending that it should have; the name of the file by
    default.
    """
    data, name = _bytes_of(source, name)
    if ending_of(name) not in KINDS and _is_text(data):
        return Book(name, (ScoreTune(1, "", _melody_text(data, name), "text", name),))
    kind = kind_of(data, name)
    if kind == "ABC":
        return Book(name, tuple(_abc_tunes(abc_text(data, name), name)))
    if kind == "MIDI":
        return Book(name, (ScoreTune(1, "", data, "MIDI", name),))
    if kind == "compressed MusicXML":
        data = unpack(data, name)
    from fretpath.exchange.musicxml import title_of

    root = parse_xml(data, name)
    return Book(name, (ScoreTune(1, title_of(root), root, "MusicXML", name),))


def _bytes_of(source: Source, name: str | None) -> tuple[bytes, str]:
    if isinstance(source, bytes):
        return source, name or "the file"
    if isinstance(source, str | Path):
        return file_bytes(Path(source), LIMITS["bytes"]), name or Path(source).name
    label = getattr(source, "name", None)
    data = source.read(LIMITS["bytes"] + 1)
    if not isinstance(data, bytes):
        raise RequestError("open the file for reading bytes: open(name, 'rb')")
    return data, name or (Path(label).name if isinstance(label, str) else "the file")


def _is_text(data: bytes) -> bool:
    return not data.startswith((b"PK\x03\x04", b"MThd", b"<", b"\xef\xbb\xbf<")) and not re.search(
        rb"(?m)^K:", data
    )


def _melody_text(data: bytes, name: str) -> str:
    check_count(len(data), "bytes", name)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise ScoreFileError(f"{name} is neither a score nor text in UTF-8") from None


def _abc_tunes(text: str, name: str) -> list[ScoreTune]:
    """Tunes begin at X: lines; what stands before the first one belongs to no tune."""
    pieces = re.split(r"(?m)^(?=X:)", text)
    if len(pieces) > 1:
        pieces = pieces[1:]
    check_count(len(pieces), "tunes", name)
    tunes = []
    for order, piece in enumerate(pieces, start=1):
        number = re.match(r"X:\s*(\d{1,6})", piece)
        title = re.search(r"(?m)^T:(.*)", piece)
        body = piece.strip().split("\n\n", 1)[0]
        body = body if re.search(r"(?m)^K:", body) else piece
        tunes.append(
            ScoreTune(
                int(number[1]) if number else order,
                one_line(title[1].replace(r"\%", "%")) if title else "",
                body.rstrip() + "\n",
                "ABC",
                name,
            )
        )
    return tunes


def melody_from_music21(stream: Any, *, part: str | None = None) -> Reading:
    """The melody of a music21 score, part or stream, and what must be said about it.

    The stream is written as MusicXML by music21 and read as any file is.  Raises
    :class:`ScoreFileError` for what music21 cannot write.
    """
    from music21.musicxml.m21ToXml import GeneralObjectExporter

    try:
        data = GeneralObjectExporter(stream).parse()
    except Exception:  # music21 raises classes of its own by the hundred, and builtin ones
        raise ScoreFileError(
            "the stream cannot be written as MusicXML by music21, which is how it is read; try "
            "stream.makeNotation() first"
        ) from None
    return open_book(data, "the stream").tune().read(part=part)


# -- writing ---------------------------------------------------------------------------------------


def _musicxml(music: Melody | Arrangement) -> bytes:
    from fretpath.exchange.musicxml import write_musicxml

    return write_musicxml(music).encode("utf-8")


def _mxl(music: Melody | Arrangement) -> bytes:
    return pack(_musicxml(music))


def _midi(music: Melody | Arrangement) -> bytes:
    from fretpath.exchange.midi import write_midi

    program = music.instrument.program if isinstance(music, Arrangement) else 25
    return write_midi(_melody(music), program=program)


def _abc(music: Melody | Arrangement) -> bytes:
    from fretpath.exchange.abc import write_abc

    return write_abc(_melody(music)).encode("utf-8")


def _text(music: Melody | Arrangement) -> bytes:
    return format_melody(_melody(music)).encode("utf-8")


def _melody(music: Melody | Arrangement) -> Melody:
    return music.melody if isinstance(music, Arrangement) else music


def _lost_in_midi(melody: Melody) -> Iterator[Remark]:
    if melody.chords:
        yield Remark("left out", "the names of the chords, which MIDI has no word for")
    if melody.repeats:
        yield Remark("read", "the repeats are played, as MIDI has no sign for them")
    yield from _lost_places(melody)


def _lost_in_abc(melody: Melody) -> Iterator[Remark]:
    from fretpath.exchange.abc import repeats_fit

    if not repeats_fit(melody):
        text = "the repeats are written out, as readers of ABC differ on signs like these"
        yield Remark("read", text)
    yield from _lost_places(melody)


def _lost_places(melody: Melody) -> Iterator[Remark]:
    if any(note.placement for note in melody.notes):
        yield Remark("left out", "the strings and frets that the melody asks for")


@dataclass(frozen=True)
class Format:
    """A format that is written."""

    write: Callable[[Melody | Arrangement], bytes]
    """From music to the whole file."""
    is_text: bool
    """Whether the file can stand on a page of text."""
    has_instrument: bool
    """Whether it tells an instrument, so that music is fingered first."""
    lost: Callable[[Melody], Iterable[Remark]] = lambda _: ()
    """What of a melody the file cannot hold."""


_MUSICXML = Format(_musicxml, is_text=True, has_instrument=True)
_MIDI = Format(_midi, is_text=False, has_instrument=True, lost=_lost_in_midi)
FORMATS = {
    ".musicxml": _MUSICXML,
    ".xml": _MUSICXML,
    ".mxl": Format(_mxl, is_text=False, has_instrument=True),
    ".mid": _MIDI,
    ".midi": _MIDI,
    ".abc": Format(_abc, is_text=True, has_instrument=False, lost=_lost_in_abc),
    ".txt": Format(_text, is_text=True, has_instrument=False),
}
"""The format of each ending that is written; ``.txt`` is melody text."""


def score_bytes(music: Melody | Arrangement, ending: str) -> bytes:
    """The file: MusicXML (with a tab staff for an arrangement), MIDI, ABC or melody text.

    *ending* is one of :data:`FORMATS`.  The same music gives the same bytes.  Raises
    :class:`RequestError` for an unknown ending and for what the format cannot hold.
    """
    if ending not in FORMATS:
        raise RequestError(f'no format is known for "{ending[:20]}" (known: {", ".join(FORMATS)})')
    return FORMATS[ending].write(music)


_CONTAINER = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles>'
    '<rootfile full-path="score.musicxml" media-type="application/vnd.recordare.musicxml+xml"/>'
    "</rootfiles></container>\n"
)
_MIMETYPE = "application/vnd.recordare.musicxml"
_SAME_DAY = (1980, 1, 1, 0, 0, 0)


def pack(data: bytes) -> bytes:
    """Compressed MusicXML 4.0: its type first and not compressed, then where the score is."""
    import zipfile

    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo("mimetype", _SAME_DAY), _MIMETYPE, zipfile.ZIP_STORED)
        for name, content in (
            ("META-INF/container.xml", _CONTAINER.encode()),
            ("score.musicxml", data),
        ):
            archive.writestr(zipfile.ZipInfo(name, _SAME_DAY), content, zipfile.ZIP_DEFLATED)
    return file.getvalue()


# -- another key -----------------------------------------------------------------------------------


def move_to(melody: Melody, asked: str, *, lettered: bool = True) -> Melody:
    """The melody moved to the tonic asked for by the smaller way, and called by its mode.

    A melody without a key, or with the signature of the key asked for, stays where it is and is
    given this one; notes that came without letters (not *lettered*) are spelled anew by it.
    """
    key = key_asked(asked, melody.key)
    if melody.key is None or melody.key.signature == key.signature:
        named = in_key(melody, key) if lettered else respell(melody, key)
        return replace(named, keys=((0, key), *melody.keys[1:]))
    moved = transpose_melody(melody, by=way_to(melody.key, key.tonic)).melody
    return replace(moved, keys=((0, key), *moved.keys[1:]))
