"""Rows: everything that can be told of a note or a moment, each in one place.

A row has one name in every command and on every page; it knows what it prints, what it says
aloud, what it is as data, and what it gives away.  Tab, spelling, sentences, JSON and blanks ask
this registry, so a row is added here and nowhere else.

**Conventions.**  A token is plain ASCII and empty where there is nothing to tell.  Rows that
reveal something are blank where :class:`~fretpath.page.blanks.Blanks` hide it.  Notes count from
0, bars from 1 (0 is a pickup).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from fretpath.errors import RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.music.spelling import syllable
from fretpath.neck.arrangement import Arrangement, Fingering, position_sign, position_words
from fretpath.page.aloud import (
    beat_words,
    degree_words,
    finger_words,
    interval_words,
    string_words,
)
from fretpath.page.blanks import BLANK, NOTHING_HIDDEN, Blanks, Kind
from fretpath.page.counting import count_marks, has_rhythm, joined

_LONGEST = 20


@dataclass(frozen=True)
class Subject:
    """A tune as the rows see it: what is told, and how."""

    melody: Melody
    """What is played."""
    arrangement: Arrangement | None = None
    """Where it is played; None where only the music is told."""
    degrees: str = "major"
    """Degrees count against the ``major`` scale or the ``key`` signature."""
    simple: bool = False
    """Whether a ninth is printed ``2'``."""
    minor: str = "do"
    """The syllable of a minor tonic, ``do`` or ``la``."""
    hide: Blanks = NOTHING_HIDDEN
    """What is left blank."""

    @cached_property
    def number(self) -> dict[int, int]:
        """Event to number of the struck note, from 0."""
        return {event: note for note, event in enumerate(self.melody.struck)}

    @cached_property
    def labels(self) -> tuple[str, ...]:
        """The degree of each struck note as text."""
        return degree_labels(self.melody, degrees=self.degrees, simple=self.simple)

    @cached_property
    def moves(self) -> dict[int, int]:
        """Struck note to the position that the hand takes there, as far as it is shown."""
        moves: dict[int, int] = {}
        before = 0
        for note, position in enumerate(self.arrangement.positions if self.arrangement else ()):
            if not self.hide.hides("place", note):
                moves |= {note: position} if position != before else {}
                before = position
        return moves

    def spot(self, event: int) -> Spot:
        """One event of the tune."""
        return Spot(self, event, self.number.get(event, -1))

    def token(self, row: Row, event: int) -> str:
        """The words of a row at an event, blank where it is hidden."""
        spot = self.spot(event)
        if row.of_notes and spot.note < 0:
            return ""
        token = row.token(spot)
        return BLANK if token and row.hidden(spot) else token

    def fills(self, row: Row) -> bool:
        """Whether a row has anything to tell of this tune."""
        return any(row.token(self.spot(event)) for event in self.events(row))

    def events(self, row: Row) -> Iterable[int]:
        """The events that a row tells of."""
        return self.melody.struck if row.of_notes else range(len(self.melody))


@dataclass(frozen=True, slots=True)
class Spot:
    """One event of a tune."""

    subject: Subject
    """The tune."""
    event: int
    """Index of the event."""
    note: int
    """Number of the note struck there, from 0; -1 for a rest or a note held over."""

    @property
    def melody(self) -> Melody:
        """What is played."""
        return self.subject.melody

    @property
    def pitch(self) -> Pitch:
        """What sounds."""
        return self.melody.pitches[self.note]

    @property
    def degree(self) -> Degree | None:
        """The degree against the major scale; None without a key."""
        return self.melody.degrees[self.note]

    @property
    def interval(self) -> Interval | None:
        """From the note before; None for the first."""
        return self.pitch - self.melody.pitches[self.note - 1] if self.note else None

    @property
    def fingering(self) -> Fingering | None:
        """How it is played; None where no instrument is told."""
        arrangement = self.subject.arrangement
        return arrangement.fingerings[self.note] if arrangement else None


Teller = Callable[[Spot], str]


def _silent(spot: Spot) -> str:
    return ""


@dataclass(frozen=True, slots=True)
class Row:
    """One thing to tell of every note, or of every event."""

    name: str
    """What it is called everywhere."""
    token: Teller
    """What it prints in a column; empty for nothing."""
    reveals: Kind = ""
    """What it gives away of a note."""
    of_notes: bool = True
    """Whether it tells of struck notes only, or of rests and holds too."""
    above: bool = False
    """Whether it stands above the strings."""
    usual: bool = True
    """Whether pages show it unasked."""
    label: str = ""
    """What stands before it where that is not its name."""
    words: Teller = _silent
    """What is said of it aloud; empty for nothing."""
    datum: Callable[[Spot], Any] | None = None
    """What it is as data, where that is not its token."""
    of_pairs: bool = False
    """Whether it also tells of the note before, so that it is hidden with it."""

    def hidden(self, spot: Spot) -> bool:
        """Whether the blanks of the tune hide it there."""
        hide, note = spot.subject.hide, spot.note
        if note < 0:
            return self.reveals in hide.kinds
        return hide.hides(self.reveals, note) or (
            self.of_pairs and note > 0 and hide.hides_note(note - 1)
        )

    def told(self, spot: Spot) -> Any:
        """The row as data: the datum or the token, None where there is nothing."""
        found = self.datum(spot) if self.datum else self.token(spot)
        return None if found == "" else found


def degree_labels(
    melody: Melody, *, degrees: str = "major", simple: bool = False
) -> tuple[str, ...]:
    """The degree of each struck note as text; empty strings when no key is known."""
    if degrees not in ("major", "key"):
        raise RequestError(f'degrees count against "major" or "key", not "{degrees[:40]}"')
    return tuple(
        _degree_label(degree, melody.key_at(event) if degrees == "key" else None, simple)
        for degree, event in zip(melody.degrees, melody.struck, strict=True)
    )


def _degree_label(degree: Degree | None, key: Key | None, simple: bool) -> str:
    if degree is None:
        return ""
    if key:
        degree = Degree(degree.steps, degree.alter - key.signature_alters[degree.number - 1])
    return degree.simple if simple else str(degree)


def _of_event(marks: Iterable[tuple[int, str]], event: int) -> str:
    words = " ".join(dict(marks).get(event, "").split())
    return words if len(words) <= _LONGEST else f"{words[: _LONGEST - 2]}.."


def _bar(spot: Spot) -> str:
    bars = spot.melody.bars
    first = bool(bars) and spot.event in (0, *bars)
    return str(spot.melody.bar_numbers[spot.event]) if first else ""


def _bar_words(spot: Spot) -> str:
    number = _bar(spot)
    return number and ("pickup" if number == "0" else f"bar {number}")


def _ending(spot: Spot) -> str:
    """``1.`` where the first ending begins; ``3 times`` where a repeat is played so often."""
    for repeat in spot.melody.repeats:
        if spot.event in repeat.endings:
            return f"{repeat.endings.index(spot.event) + 1}."
        if spot.event == repeat.start and repeat.times > 2 and not repeat.endings:
            return f"{repeat.times} times"
    return ""


def _ending_words(spot: Spot) -> str:
    found = _ending(spot)
    return f"ending {found[:-1]}" if found.endswith(".") else found and f"played {found}"


def _chord(spot: Spot) -> str:
    return _of_event(spot.melody.chords, spot.event)


def _lyric(spot: Spot) -> str:
    return _of_event(spot.melody.lyrics, spot.event)


def _position(spot: Spot) -> str:
    found, position = spot.subject.arrangement, spot.subject.moves.get(spot.note)
    return position_sign(found.instrument, position) if found and position else ""


def _position_words(spot: Spot) -> str:
    found, position = spot.subject.arrangement, spot.subject.moves.get(spot.note)
    return position_words(found.instrument, position) if found and position else ""


def _count(spot: Spot) -> str:
    return joined(count_marks(spot.melody, spot.event)) if has_rhythm(spot.melody) else ""


def _count_words(spot: Spot) -> str:
    return beat_words(spot.melody, spot.event) if has_rhythm(spot.melody) else ""


def _fret(spot: Spot) -> str:
    return str(spot.fingering.fret) if spot.fingering else ""


def _fret_words(spot: Spot) -> str:
    arrangement, place = spot.subject.arrangement, spot.fingering
    if arrangement is None or place is None:
        return ""
    string = f"string {string_words(arrangement.instrument, place.string)}"
    if not place.finger:
        return f"{string}, {f'fret {place.fret}' if place.fret else 'open'}"
    return f"{string}, fret {place.fret}, {finger_words(place.finger)}"


def _degree(spot: Spot) -> str:
    return spot.subject.labels[spot.note]


def _degree_spoken(spot: Spot) -> str:
    label = _degree(spot)
    return f"degree {degree_words(label)}" if label else ""


def _from_tonic(spot: Spot) -> str:
    """``M10`` above the tonic, ``-P4`` below it."""
    if spot.degree is None:
        return ""
    interval = spot.degree.interval
    return f"-{interval.name}" if interval.descending else interval.name


def _syllable(spot: Spot) -> str:
    key = spot.melody.key_at(spot.event)
    degree = spot.degree
    return syllable(degree, key, minor=spot.subject.minor) if degree and key else ""


def _note(spot: Spot) -> str:
    free = spot.subject.arrangement is None and spot.melody.octave_free
    return spot.pitch.name if free else str(spot.pitch)


ALL_ROWS = (
    Row("bar", _bar, of_notes=False, above=True, words=_bar_words,
        datum=lambda spot: spot.melody.bar_numbers[spot.event]),
    Row("ending", _ending, of_notes=False, above=True,
        words=_ending_words),
    Row("position", _position, "place", above=True, words=_position_words,
        datum=lambda spot: spot.fingering and spot.fingering.position),
    Row("chord", _chord, "pitch", of_notes=False,
        above=True),
    Row("count", _count, of_notes=False, words=_count_words),
    Row("fret", _fret, "place", words=_fret_words,
        datum=lambda spot: spot.fingering and spot.fingering.fret),
    Row("degree", _degree, "degree", words=_degree_spoken),
    Row("tonic", _from_tonic, "degree", label="from 1"),
    Row("interval", lambda spot: "" if spot.interval is None else str(spot.interval), "pitch",
        words=lambda spot: "" if spot.interval is None else interval_words(spot.interval),
        of_pairs=True),
    Row("syllable", _syllable, "degree", usual=False),
    Row("note", _note, "pitch"),
    Row("finger", lambda spot: str(spot.fingering.finger) if spot.fingering else "", "place",
        datum=lambda spot: spot.fingering and spot.fingering.finger),
    Row("lyric", _lyric, of_notes=False),
)  # fmt: skip
"""Every row, in its order on the page."""

_BY_NAME = {row.name: row for row in ALL_ROWS}


def rows_named(names: Iterable[str], known: Iterable[str]) -> tuple[Row, ...]:
    """The rows of those names in the order of the page; RequestError for one not *known*."""
    asked, known = list(names), list(known)
    for name in asked:
        if name not in known:
            raise RequestError(
                f'unknown row "{name[:40]}"{nearest(name, known)} (known: {", ".join(known)})'
            )
    return tuple(row for row in ALL_ROWS if row.name in asked)
