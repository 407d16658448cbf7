"""Score files to melodies: MusicXML, MIDI and ABC 2.1, read through music21.

**How.**  The bytes are read once, checked (:mod:`~fretpath.exchange.safety`) and parsed in
memory.  music21 gets no file name, so it neither looks for nor leaves a pickled score in a shared
temporary folder.  A tune book is split at its ``X:`` lines, and only the tune that is asked for
is parsed.  Whatever music21 raises becomes one :class:`ScoreFileError`.
"""

from __future__ import annotations

import contextlib
import io
import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, TypeVar
from xml.etree.ElementTree import tostring

from fretpath.errors import FretpathError, RequestError, ScoreFileError, nearest
from fretpath.exchange.abc_reading import add_changes, plain_abc
from fretpath.exchange.assemble import Imported, Voice, assembled
from fretpath.exchange.marks import marks_in, with_marks
from fretpath.exchange.safety import (
    LARGEST_FILE,
    MOST_NOTES,
    check_count,
    checked_xml,
    decoded,
    kind_of,
    unpacked,
)
from fretpath.music.key import key_asked
from fretpath.music.keyfinding import in_key
from fretpath.music.melody import Melody
from fretpath.music.transposing import transpose_melody, way_to

__all__ = ["Book", "Tune", "moved_to", "open_book", "read_score", "without_octave"]

_MOST_TUNES = 5000
_MOST_BARS = 600
T = TypeVar("T")


@dataclass(frozen=True)
class Tune:
    """One tune of a file, not yet parsed."""

    number: int
    """Its number in the book (X: of an ABC file), or 1."""
    title: str
    """What the file calls it, or the empty string."""
    text: str | bytes
    """The ABC text, the MusicXML text or the MIDI bytes."""
    kind: str
    """MusicXML, MIDI or ABC."""
    source: str
    """Name of the file, for messages."""
    marks: tuple[tuple[str, str], ...] = ()
    """What fretpath wrote into a MusicXML file for itself."""

    @property
    def name(self) -> str:
        """The file, and the tune in it when there can be several."""
        return f"{self.source}, tune {self.number}" if self.kind == "ABC" else self.source

    def read(
        self, *, part: str | None = None, lowest: bool = False, places: bool = False
    ) -> Imported:
        """The melody of one part or voice.

        *part* is a number, a name or number.voice; *lowest* takes the lowest note of a chord;
        *places* keeps the strings and frets that the file gives.  Raises
        :class:`ScoreFileError` for what cannot be read and :class:`RequestError` for a part
        that is not there.
        """
        voice = Voice(title=self.title)
        if isinstance(self.text, bytes):
            from fretpath.exchange.midi_reading import read_midi

            data = self.text
            _guarded(lambda: read_midi(data, voice, part, lowest=lowest, name=self.name), self.name)
            return assembled(voice, self.name)
        score = _guarded(self._parsed, self.name)
        _guarded(lambda: self._fill(voice, score, part, lowest, places), self.name)
        if self.kind == "ABC":
            if re.search(r"\|:|:\||::", self.text):
                voice.remarks.append("repeats are written once, not played out")
            add_changes(self.text, voice)
            return assembled(voice, self.name)
        return with_marks(assembled(voice, self.name), dict(self.marks))

    def _fill(self, voice: Voice, score: Any, part: str | None, lowest: bool, places: bool) -> None:
        from fretpath.exchange.voices import chosen_part, read_voice

        chosen, number = chosen_part(score, part, voice, tab=places, name=self.name)
        read_voice(chosen, number, voice, lowest=lowest, places=places, name=self.name)

    def _parsed(self) -> Any:
        from music21 import converter

        if self.kind == "ABC":
            assert isinstance(self.text, str)
            return converter.parseData(plain_abc(self.text), format="abc")
        return converter.parseData(self.text, format="musicxml")


@dataclass(frozen=True)
class Book:
    """The tunes of one file."""

    name: str
    """Name of the file."""
    tunes: tuple[Tune, ...]
    """At least one."""

    def tune(self, wanted: str | None) -> Tune:
        """The tune of that number or title; the only one if there is no wish."""
        if wanted is None:
            if len(self.tunes) == 1:
                return self.tunes[0]
            raise RequestError(
                f"{self.name} holds {len(self.tunes)} tunes; pick one with --tune NUMBER or "
                f"--tune TITLE:\n{self.listing()}"
            )
        found = [
            tune
            for tune in self.tunes
            if wanted.strip().lower() in (str(tune.number), tune.title.lower())
        ]
        if len(found) > 1:
            numbers = ", ".join(str(tune.number) for tune in found[:8])
            raise RequestError(f'{self.name} has {len(found)} tunes "{wanted[:40]}": {numbers}')
        if not found:
            titles = [tune.title.lower() for tune in self.tunes]
            raise RequestError(
                f'{self.name} has no tune "{wanted[:40]}"{nearest(wanted, titles)} '
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
    path: str | Path,
    *,
    tune: str | None = None,
    part: str | None = None,
    lowest: bool = False,
    places: bool = False,
) -> Imported:
    """The melody of a MusicXML, MIDI or ABC file, and what must be said about it.

    *tune* is the number or the title of a tune of a tune book, *part* the number or the name of a
    part (``1.2`` is its second voice), *lowest* takes the lowest note of a chord and not the
    highest, *places* keeps the strings and frets of the file.  Raises :class:`ScoreFileError` for
    a file that cannot be read or is not what it claims, :class:`RequestError` for a tune or a
    part that is not there.
    """
    path = Path(path)
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise ScoreFileError(f"there is no file {path}") from None
    except OSError as problem:
        raise ScoreFileError(f"cannot read {path}: {problem.strerror}") from None
    return open_book(data, path.name).tune(tune).read(part=part, lowest=lowest, places=places)


def open_book(data: bytes, name: str) -> Book:
    """The tunes in the bytes of a score file; *name* is its file name."""
    kind = kind_of(data, name)
    if kind == "ABC":
        return Book(name, tuple(_abc_tunes(decoded(data, name), name)))
    if kind == "MIDI":
        return Book(name, (Tune(1, "", data, "MIDI", name),))
    if kind == "compressed MusicXML":
        data = unpacked(data, name)
    root = checked_xml(data, name)
    title = (root.findtext("work/work-title") or root.findtext("movement-title") or "").strip()
    text = tostring(root, encoding="unicode")
    marks = tuple(marks_in(root).items())
    return Book(name, (Tune(1, title, text, "MusicXML", name, marks),))


_LONGEST = 512
"""The largest number read as the length of an ABC note."""


def _abc_tunes(text: str, name: str) -> list[Tune]:
    """Tunes begin at X: lines; what stands before the first one belongs to no tune."""
    pieces = re.split(r"(?m)^(?=X:)", text)
    if len(pieces) > 1:
        pieces = pieces[1:]
    check_count(len(pieces), _MOST_TUNES, "tunes", name)
    tunes = []
    for order, piece in enumerate(pieces, start=1):
        check_count(len(re.findall(r"[A-Ga-g]", piece)), 4 * MOST_NOTES, "note letters", name)
        # music21's time grows with the square of the bars: 400 of them take about five seconds.
        check_count(piece.count("|"), _MOST_BARS, "bar lines in one tune", name)
        check_count(piece.count('"'), 2 * _MOST_BARS, "quotation marks in one tune", name)
        number = re.match(r"X:\s*(\d{1,6})", piece)
        title = re.search(r"(?m)^T:(.*)", piece)
        body = piece.split("\n\n", 1)[0] if "\n\n" in piece.strip() else piece
        body = body if re.search(r"(?m)^K:", body) else piece
        for match in re.finditer(r"\d{6,}", body.split("\nK:", 1)[-1]):
            raise ScoreFileError(f"{name}: {match[0][:12]}... is no length of a note")
        # music21 counts through the beats of a bar: one of 999 of them takes twenty seconds.
        for match in re.finditer(r"\d{3,}", _music_of(body)):
            if len(match[0]) > 3 or int(match[0]) > _LONGEST:
                raise ScoreFileError(f"{name}: {match[0][:12]} is no length of a note")
        for match in re.finditer(r"(?m)(?:^|\[)M:[^\n\]]*?(\d{3,})", body):
            raise ScoreFileError(f"{name}: {match[1][:12]} in a meter (M:) is more than is read")
        tunes.append(
            Tune(
                int(number[1]) if number else order,
                title[1].strip() if title else "",
                body.rstrip() + "\n",
                "ABC",
                name,
            )
        )
    return tunes


def _music_of(body: str) -> str:
    """The lines of notes of an ABC tune, without fields, remarks and quoted words."""
    lines = body.split("\nK:", 1)[-1].split("\n")[1:]
    notes = (line.split("%")[0] for line in lines if not re.match(r"[A-Za-z]:", line))
    return re.sub(r'"[^"\n]*"|![^!\n]*!|\[[A-Za-z]:[^\]\n]*\]', " ", "\n".join(notes))


def _guarded(call: Callable[[], T], name: str) -> T:
    """What ``call`` gives, music21 kept quiet; its exceptions become one of ours."""
    try:
        with warnings.catch_warnings(), contextlib.redirect_stderr(io.StringIO()):
            warnings.simplefilter("ignore")
            return call()
    except FretpathError:
        raise
    except Exception as problem:  # music21 raises 148 classes of its own, and builtin ones
        reason = " ".join(str(problem).split())[:120] or type(problem).__name__
        raise ScoreFileError(f"{name} cannot be read as music: {reason}") from None


def without_octave(imported: Imported) -> Imported:
    """The same melody, its octave left to the instrument."""
    return replace(imported, melody=replace(imported.melody, octave_free=True))


def moved_to(melody: Melody, asked: str) -> Melody:
    """The melody moved to the tonic asked for by the smaller way, and called by its mode.

    A melody without a key stays where it is and is given this one.
    """
    key = key_asked(asked, melody.key)
    if melody.key is None:
        return in_key(melody, key)
    moved = transpose_melody(melody, by=way_to(melody.key, key.tonic)).melody
    return replace(moved, keys=((0, key), *moved.keys[1:]))
