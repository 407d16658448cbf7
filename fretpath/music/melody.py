"""Melody: notes in time, with their bars, phrases and keys; a frozen value.

**Conventions.**  A melody is one voice.  Its events lie in one flat tuple; bar lines, phrase
starts and changes of key or meter are marks between events, given as the index of the event they
stand before.  Lengths are exact fractions of a beat; a beat is the lower number of the meter.

A melody always carries concrete pitches.  When its text leaves the octave free,
``octave_free`` is true and the pitches stand in a working octave that an instrument may change.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, pairwise
from operator import itemgetter
from typing import TypeVar

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key, degree_between
from fretpath.music.pitch import OCTAVE, Interval, Pitch

__all__ = ["Melody", "Meter", "Note", "Placement"]

WORKING_OCTAVE = 4
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Meter:
    """A time signature: ``beats`` beats of one ``unit``-th note each.

    >>> str(Meter.parse("6/8"))
    '6/8'
    """

    beats: int
    """Beats in a bar, 1 to 64."""
    unit: int
    """What gets one beat: 1, 2, 4, 8, 16 or 32."""

    @classmethod
    def parse(cls, text: str) -> Meter:
        """Read ``3/4``; raise :class:`RequestError` for anything else."""
        match = re.fullmatch(r"(\d{1,2})/(1|2|4|8|16|32)", text.strip())
        if match is None or not 1 <= int(match[1]) <= 64:
            raise RequestError(f'"{text[:40]}" is no meter: write beats/unit, such as 4/4 or 6/8')
        return cls(int(match[1]), int(match[2]))

    def __str__(self) -> str:
        return f"{self.beats}/{self.unit}"


@dataclass(frozen=True, slots=True)
class Placement:
    """Where the teacher wants a note: a string, a fret, or both.

    >>> str(Placement(4, 8)), str(Placement(string=4)), str(Placement(fret=8))
    ('@4-8', '@4', '@-8')
    """

    string: int | None = None
    """String number, 1 is the top line of the tab; None leaves it open."""
    fret: int | None = None
    """Fret number, 0 is open; None leaves it open."""

    def __str__(self) -> str:
        string = "" if self.string is None else str(self.string)
        fret = "" if self.fret is None else f"-{self.fret}"
        return f"@{string}{fret}"


@dataclass(frozen=True, slots=True)
class Note:
    """A note, a rest (``pitch`` is None), or the tied continuation of the note before."""

    pitch: Pitch | None
    """What sounds; None is a rest."""
    beats: Fraction = Fraction(1)
    """Length in beats, above 0."""
    tied: bool = False
    """True when the note is held over from the one before and not struck."""
    placement: Placement | None = None
    """The teacher's will for this note."""

    @property
    def struck(self) -> bool:
        """Whether a finger (or an open string) begins to sound here."""
        return self.pitch is not None and not self.tied


@dataclass(frozen=True)
class Melody:
    """A single line of notes with its key, bars and phrases."""

    notes: tuple[Note, ...]
    """Every event in order."""
    keys: tuple[tuple[int, Key], ...] = ()
    """(event index, key in force from there); empty when no key is known."""
    meters: tuple[tuple[int, Meter], ...] = ()
    """(event index, meter in force from there); empty when none is given."""
    bars: tuple[int, ...] = ()
    """Events that follow a bar line."""
    phrases: tuple[int, ...] = ()
    """Events that begin a new phrase (a new line of the text), the first event left out."""
    octave: int = WORKING_OCTAVE
    """Octave of the first key's tonic (scientific pitch notation, sounding)."""
    octave_free: bool = False
    """True when nothing in the text fixes the octave, so that an instrument may choose it."""
    title: str = ""
    """What the tune is called."""
    tempo: Fraction | None = None
    """Beats a minute, if given."""
    headers: tuple[tuple[str, str], ...] = field(default=())
    """Other headers, such as source and teaches, in the order of the text."""

    def __post_init__(self) -> None:
        count = len(self.notes)
        for marks in (self.bars, self.phrases):
            if any(a >= b for a, b in pairwise((0, *marks, count))):
                raise ValueError("bar and phrase marks must rise and lie inside the melody")
        starts = {0, *self.phrases}
        for changes in (self.keys, self.meters):
            places = [at for at, _ in changes]
            if places and (places[0] != 0 or places != sorted(set(places))):
                raise ValueError("the first key or meter must stand at event 0, later ones behind")
            if not starts.issuperset(places):
                raise ValueError("a change of key or meter must begin a phrase")
        for before, note in pairwise((Note(None), *self.notes)):
            tied_to_rest = note.tied and note.pitch is None
            wrong_tie = tied_to_rest or (note.tied and note.pitch != before.pitch)
            if note.beats.numerator <= 0 or wrong_tie:
                raise ValueError("lengths must be above 0, and a tie continues the note before")

    def __len__(self) -> int:
        return len(self.notes)

    def header(self, name: str) -> str:
        """The value of a header, or the empty string."""
        return dict(self.headers).get(name, "")

    @property
    def key(self) -> Key | None:
        """The first key, or None when none is known."""
        return self.keys[0][1] if self.keys else None

    @property
    def meter(self) -> Meter | None:
        """The first meter, or None when none is given."""
        return self.meters[0][1] if self.meters else None

    @property
    def tonic(self) -> Pitch | None:
        """The tonic of the first key, in its octave; None when no key is known."""
        return self.key.tonic_pitch(self.octave) if self.key else None

    @cached_property
    def struck(self) -> tuple[int, ...]:
        """Indices of the events at which a note begins; rests and ties left out."""
        return tuple(i for i, note in enumerate(self.notes) if note.struck)

    @cached_property
    def pitches(self) -> tuple[Pitch, ...]:
        """Pitches of the struck notes, in order."""
        return tuple(n.pitch for n in self.notes if n.pitch is not None and not n.tied)

    @cached_property
    def onsets(self) -> tuple[Fraction, ...]:
        """When each event begins, in beats from the start."""
        return tuple(accumulate((n.beats for n in self.notes), initial=Fraction(0)))[:-1]

    @cached_property
    def lengths(self) -> tuple[Fraction, ...]:
        """Sounding length of each struck note in beats, its ties included."""
        totals: list[Fraction] = []
        for note in self.notes:
            if note.struck:
                totals.append(note.beats)
            elif note.tied and note.pitch is not None:
                totals[-1] += note.beats
        return tuple(totals)

    @cached_property
    def clock(self) -> Melody:
        """The same melody with every length in beats of its first meter, which the tempo counts.

        Itself unless a change of meter changes the unit: an eighth of 6/8 after 4/4 is half a beat.
        """
        if len({meter.unit for _, meter in self.meters}) < 2:
            return self
        first = self.meters[0][1].unit
        units = (self.meter_at(event) for event in range(len(self.notes)))
        notes = tuple(
            replace(note, beats=note.beats * first / (meter.unit if meter else first))
            for note, meter in zip(self.notes, units, strict=True)
        )
        return replace(self, notes=notes, meters=self.meters[:1])

    def key_at(self, event: int) -> Key | None:
        """The key in force at an event."""
        return _in_force(self.keys, event)

    def meter_at(self, event: int) -> Meter | None:
        """The meter in force at an event."""
        return _in_force(self.meters, event)

    def tonic_at(self, event: int) -> Pitch | None:
        """The tonic in force at an event: a later key's tonic lies next to the first one."""
        tonic, key = self.tonic, self.key_at(event)
        return key.tonic_near(tonic) if key and tonic else None

    @cached_property
    def degrees(self) -> tuple[Degree | None, ...]:
        """Degree of each struck note in the key in force; all None when no key is known."""
        tonics = [(start, self.tonic_at(start)) for start, _ in self.keys]
        return tuple(
            degree_between(tonic, pitch) if (tonic := _in_force(tonics, event)) else None
            for event, pitch in zip(self.struck, self.pitches, strict=True)
        )

    @cached_property
    def bar_numbers(self) -> tuple[int, ...]:
        """Bar number of each event: from 1, and 0 for a pickup."""
        first = 0 if self.has_pickup else 1
        marks = set(self.bars)
        numbers = accumulate(int(i in marks) for i in range(len(self.notes)))
        return tuple(first + n for n in numbers)

    @cached_property
    def has_pickup(self) -> bool:
        """Whether the first bar is shorter than the meter asks."""
        meter = self.meter
        if meter is None or not self.bars:
            return False
        return sum(n.beats for n in self.notes[: self.bars[0]]) < meter.beats

    def spans(self, marks: tuple[int, ...]) -> Iterator[range]:
        """Ranges of event indices between marks: ``spans(melody.bars)`` gives the bars."""
        for start, stop in pairwise((0, *marks, len(self.notes))):
            yield range(start, stop)

    def transposed(self, interval: Interval) -> Melody:
        """The same melody an interval higher (or lower), keys and spelling moved with it."""
        notes = tuple(
            note
            if note.pitch is None
            else Note(note.pitch + interval, note.beats, note.tied, note.placement)
            for note in self.notes
        )
        first = self.tonic
        if first is None:
            return replace(self, notes=notes)
        keys = tuple(
            (start, Key((key.tonic_pitch(WORKING_OCTAVE) + interval).name, key.mode))
            for start, key in self.keys
        )
        return replace(self, notes=notes, keys=keys, octave=(first + interval).octave)

    def in_octave(self, octave: int) -> Melody:
        """The same melody with the tonic of its first key in another octave, and fixed there."""
        moved = self.transposed(OCTAVE.times(octave - self.octave))
        return replace(moved, octave=octave, octave_free=False)

    def place_of(self, event: int) -> str:
        """Where an event stands, for messages: ``bar 2, note 3`` (notes counted in the bar)."""
        bars = self.bar_numbers
        first = bisect_left(bars, bars[event])
        struck = bisect_right(self.struck, event) - bisect_left(self.struck, first)
        if not self.bars:
            return f"note {struck}"
        return f"bar {bars[event]}, note {struck}" if bars[event] else f"pickup, note {struck}"


def _in_force(changes: Sequence[tuple[int, T]], event: int) -> T | None:
    behind = bisect_right(changes, event, key=itemgetter(0))
    return changes[behind - 1][1] if behind else None
