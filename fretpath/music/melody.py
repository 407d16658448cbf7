"""Melody: notes in time, with their bars, phrases and keys; a frozen value.

**Conventions.**  A melody is one voice.  Its events lie in one flat tuple; bar lines, phrase
starts and changes of key or meter are marks between events, given as the index of the event they
stand before.  Lengths are exact fractions of a beat; a beat is the lower number of the meter.
Repeats are marks too: the events stand once, and :meth:`Melody.expanded` writes them out.  Their
signs stand at bar lines; repeats follow one another and never nest or overlap.  A sign may stand
inside a bar: the two pieces make one whole bar, as a pickup and the short last bar do.

A melody always carries concrete pitches.  When its text leaves the octave free,
``octave_free`` is true and the pitches stand in a working octave that an instrument may change.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import accumulate, pairwise
from operator import itemgetter
from typing import TypeVar, overload

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.pitch import OCTAVE, Interval, Pitch, alter_of
from fretpath.values import Value, check_fields, number_of

WORKING_OCTAVE = 4
FROM_NOTES = -100
"""No octave: the default of a melody, which takes that of its notes."""
MOST_TIMES = 99
"""How often a part is played, at the most."""
MOST_EVENTS = 20_000
"""Events of a melody at the most, its repeats written out."""
_ROOT = re.compile(r"(?:^|(?<=/))[A-G](?:#+|b+)?")
"""Root of a chord name, and its bass behind a slash."""
T = TypeVar("T")
Named = Pitch | str | int | None
"""A pitch, its name (``F#2``), its MIDI number, or None for a rest."""
Length = Fraction | int | float | str
"""A number of beats: 1, 0.5, ``"3/2"``."""


@dataclass(frozen=True, slots=True)
class Meter(Value):
    """A time signature: ``beats`` beats of one ``unit``-th note each.

    >>> str(Meter.parse("6/8"))
    '6/8'
    """

    beats: int
    """Beats in a bar, 1 to 64."""
    unit: int
    """The note that gets one beat: 1, 2, 4, 8, 16 or 32."""

    def __post_init__(self) -> None:
        check_fields(self)
        if not 1 <= self.beats <= 64 or self.unit not in (1, 2, 4, 8, 16, 32):
            raise RequestError(
                f"{self.beats}/{self.unit} is not a meter: 1 to 64 beats of a 1st, 2nd, 4th, 8th, "
                "16th or 32nd note"
            )

    @classmethod
    def parse(cls, text: str) -> Meter:
        """Read ``3/4``; raise :class:`RequestError` for anything else."""
        match = re.fullmatch(r"(\d{1,2})/(1|2|4|8|16|32)", text.strip())
        if match is None or not 1 <= int(match[1]) <= 64:
            raise RequestError(
                f'"{text[:40]}" is not a meter: write beats/unit, such as 4/4 or 6/8'
            )
        return cls(int(match[1]), int(match[2]))

    def __str__(self) -> str:
        return f"{self.beats}/{self.unit}"


@dataclass(frozen=True, slots=True)
class Placement(Value):
    """Where the teacher wants a note: a string, a fret, or both.

    >>> str(Placement(4, 8)), str(Placement(string=4)), str(Placement(fret=8))
    ('@4-8', '@4', '@-8')
    """

    string: int | None = None
    """String number, 1 is the top line of the tab; None leaves it open."""
    fret: int | None = None
    """Fret number, 0 is open; None leaves it open."""

    def __post_init__(self) -> None:
        check_fields(self)
        if (self.string is not None and self.string < 1) or (self.fret or 0) < 0:
            raise RequestError("strings count from 1 and frets from 0")

    def __str__(self) -> str:
        string = "" if self.string is None else str(self.string)
        fret = "" if self.fret is None else f"-{self.fret}"
        return f"@{string}{fret}"


@dataclass(frozen=True, slots=True)
class Note(Value):
    """A note, a rest (``pitch`` is None), or the tied continuation of the note before."""

    pitch: Pitch | None
    """The sound; None is a rest."""
    beats: Fraction = Fraction(1)
    """Length in beats, above 0."""
    tied: bool = False
    """True when the note is held over from the one before and not struck."""
    placement: Placement | None = None
    """The teacher's will for this note."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.beats.numerator <= 0:
            raise RequestError(f"the length of a note is above 0 beats, not {self.beats}")
        if self.tied and self.pitch is None:
            raise RequestError("a rest is not tied")

    @property
    def struck(self) -> bool:
        """Whether a finger (or an open string) begins to sound here."""
        return self.pitch is not None and not self.tied


@dataclass(frozen=True, slots=True)
class Repeat(Value):
    """Events ``start`` to ``stop`` are played ``times`` times, perhaps with endings of their own.

    >>> [list(part) for part in Repeat(0, 6, endings=(3, 5)).passes()]
    [[0, 1, 2, 3, 4], [0, 1, 2, 5]]
    """

    start: int
    """First event that is played again."""
    stop: int
    """The event behind the last one."""
    times: int = 2
    """How often it is played, 2 to 99."""
    endings: tuple[int, ...] = ()
    """Events where the first, second, ... ending begins; the last one runs to ``stop``.  As many
    as ``times``, or none."""

    def __post_init__(self) -> None:
        check_fields(self)
        rising = (self.start, *self.endings, self.stop)
        if self.start < 0 or any(a >= b for a, b in pairwise(rising)):
            raise RequestError("a repeat holds at least one event, and its endings follow in order")
        if not 2 <= self.times <= MOST_TIMES:
            raise RequestError(f"a repeat is played 2 to {MOST_TIMES} times, not {self.times}")
        if self.endings and len(self.endings) != self.times:
            raise RequestError("a repeat with endings has one for each time")

    @property
    def signs(self) -> tuple[int, ...]:
        """Events before which its signs stand; ``stop`` may lie behind the last event."""
        return (self.start, *self.endings, self.stop)

    def passes(self) -> Iterator[tuple[int, ...]]:
        """The events of each time it is played."""
        common = range(self.start, self.endings[0] if self.endings else self.stop)
        endings = [range(a, b) for a, b in pairwise((*self.endings, self.stop))] or [range(0)]
        for time in range(self.times):
            yield (*common, *endings[time if self.endings else 0])


@dataclass(frozen=True)
class Melody(Value):
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
    octave: int = FROM_NOTES
    """Octave of the first key's tonic (scientific pitch notation, sounding); left out, it follows
    the notes (:meth:`Key.octave_of`)."""
    octave_free: bool = False
    """True when nothing in the text fixes the octave, so that an instrument may choose it."""
    title: str = ""
    """The name of the tune."""
    tempo: Fraction | None = None
    """Beats a minute, if given."""
    headers: tuple[tuple[str, str], ...] = ()
    """Other headers, such as source and teaches, in the order of the text."""
    repeats: tuple[Repeat, ...] = ()
    """Parts that are played again, in order; every sign stands at a bar line."""
    lyrics: tuple[tuple[int, str], ...] = ()
    """(event index of a struck note, its syllable); one that goes on in the next ends in ``-``."""
    chords: tuple[tuple[int, str], ...] = ()
    """(event index, name of the chord from there), such as ``G7``."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.octave == FROM_NOTES:
            found = self.key.octave_of(self.pitches) if self.key and self.pitches else None
            object.__setattr__(self, "octave", WORKING_OCTAVE if found is None else found)
        count = len(self.notes)
        for marks in (self.bars, self.phrases):
            if any(a >= b for a, b in pairwise((0, *marks, count))):
                raise RequestError("bar and phrase marks must rise and lie inside the melody")
        self._check_changes()
        lines = (self.title, *(text for header in self.headers for text in header))
        if any(char in "\n\r" for text in lines for char in text):
            raise RequestError("a title and other headers are one line each")
        if self.tempo is not None and self.tempo <= 0:
            raise RequestError("a tempo is a number of beats a minute above 0")
        for before, note in pairwise((Note(None), *self.notes)):
            if note.tied and note.pitch != before.pitch:
                raise RequestError("a tie continues the note before")
        if self.repeats:
            _check_repeats(self.repeats, self.bars, count)
        _check_words("chord", self.chords, frozenset(range(count)))
        if self.lyrics:
            _check_words("syllable", self.lyrics, frozenset(self.struck))

    def _check_changes(self) -> None:
        starts = {0, *self.phrases}
        for changes in (self.keys, self.meters):
            places = [at for at, _ in changes]
            if places and (places[0] != 0 or places != sorted(set(places))):
                raise RequestError(
                    "the first key or meter must stand at event 0, later ones behind"
                )
            if not starts.issuperset(places):
                raise RequestError("a change of key or meter must begin a phrase")

    @classmethod
    def from_notes(
        cls,
        notes: Iterable[Note | Named | tuple[Named, Length]],
        key: str | Key | None = None,
        meter: str | Meter | None = None,
        *,
        pickup: Length = 0,
        title: str = "",
        tempo: Length | None = None,
    ) -> Melody:
        """A melody from (pitch, beats) pairs, its bars worked out.

        >>> tune = Melody.from_notes([("G3", 1), (59, 3), (None, 2), "D4"], "G major", "3/4")
        >>> [str(note.pitch) for note in tune], tune.bars
        (['G3', 'B3', 'B3', 'None', 'D4'], (2, 4))

        A pitch is a :class:`Pitch`, its name, a MIDI number (spelled by the key) or None for a
        rest; alone, or as a :class:`Note`, it is one beat or what the note says.  A note over a
        bar line is written as two, tied; *pickup* is the beats before the first bar line.
        Raises :class:`RequestError` for what is none of these.
        """
        home = Key.parse(key) if isinstance(key, str) else key
        time = Meter.parse(meter) if isinstance(meter, str) else meter
        events = [_note_of(each, home) for each in notes]
        if pickup and time is None:
            raise RequestError("a pickup needs a meter")
        split = _in_bars(events, time.beats, number_of(pickup)) if time else [(events, 0)]
        bars = accumulate(len(bar) for bar, _ in split)
        written = tuple(note for bar, _ in split for note in bar)
        return cls(
            written,
            keys=((0, home),) if home else (),
            meters=((0, time),) if time else (),
            bars=tuple(bar for bar in bars if bar < len(written)),
            title=title,
            tempo=None if tempo is None else number_of(tempo),
        )

    def with_key(self, key: str | Key, *, respell: bool = False) -> Melody:
        """The same notes in another key for the whole; *respell* names them anew as it does.

        >>> tune = Melody.from_notes(["Gb3", "Db4"]).with_key("D major", respell=True)
        >>> [str(pitch) for pitch in tune.pitches], [str(degree) for degree in tune.degrees]
        (['F#3', 'C#4'], ['3', '7'])
        """
        home = Key.parse(key) if isinstance(key, str) else key
        notes = tuple(
            replace(note, pitch=home.spell(note.pitch.midi)) if respell and note.pitch else note
            for note in self.notes
        )
        return replace(self, notes=notes, keys=((0, home),), octave=FROM_NOTES)

    def __len__(self) -> int:
        return len(self.notes)

    def __iter__(self) -> Iterator[Note]:
        """Every event in order."""
        return iter(self.notes)

    @overload
    def __getitem__(self, events: int) -> Note: ...
    @overload
    def __getitem__(self, events: slice) -> Melody: ...
    def __getitem__(self, events: int | slice) -> Note | Melody:
        """An event, or the :meth:`part` of a slice."""
        if not isinstance(events, slice):
            return self.notes[events]
        found = range(*events.indices(len(self.notes)))
        if not found or found.step != 1:
            raise RequestError("a part of a melody is one or more events that follow each other")
        return self.part(found)

    def __add__(self, other: Melody) -> Melody:
        """This melody and then another, which begins a phrase; title and tempo are of the first.

        A short last bar and a pickup that make a whole bar together become one; otherwise a bar
        line stands between.  Without a key or a meter the other takes over the one in force.
        """
        if not isinstance(other, Melody):
            return NotImplemented
        return _join(self, other)

    def take_bars(self, start: int, stop: int | None = None) -> Melody:
        """Bars *start* to before *stop* (the end if None), counted from 0, a pickup as one."""
        return self._take("bars", [*self.spans(self.whole_bars)], start, stop)

    def take_phrases(self, start: int, stop: int | None = None) -> Melody:
        """Phrases *start* to before *stop* (the end if None), counted from 0."""
        return self._take("phrases", [*self.spans(self.phrases)], start, stop)

    def _take(self, what: str, spans: list[range], start: int, stop: int | None) -> Melody:
        chosen = spans[start:stop] if start >= 0 and (stop is None or stop >= 0) else []
        if not chosen:
            raise RequestError(
                f"there are {len(spans)} {what} here, counted from 0, and none from {start} to "
                f"before {len(spans) if stop is None else stop}"
            )
        return self.part(range(chosen[0].start, chosen[-1].stop))

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
    def played(self) -> tuple[int, ...]:
        """Numbers of the struck notes, from 0, in the order in which they sound, repeats and all.

        >>> Melody.from_notes(["G3", "A3"]).played
        (0, 1)
        """
        number = {event: note for note, event in enumerate(self.struck)}
        parts = order_of_play(self.repeats, len(self.notes))
        return tuple(number[event] for part in parts for event in part if event in number)

    @cached_property
    def moves(self) -> tuple[tuple[int, int], ...]:
        """Each struck note with one that follows it as played, every pair once.

        A second ending follows the notes before the first; going back to repeat is a move too.
        """
        return tuple(dict.fromkeys(pairwise(self.played)))

    @cached_property
    def before(self) -> tuple[int | None, ...]:
        """The struck note heard before each struck note as it first sounds; None for the first."""
        first = {after: before for before, after in reversed(self.moves)}
        return (None, *(first[note] for note in range(1, len(self.struck))))[: len(self.struck)]

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
            Degree.of_interval(pitch - tonic) if (tonic := _in_force(tonics, event)) else None
            for event, pitch in zip(self.struck, self.pitches, strict=True)
        )

    @cached_property
    def bar_numbers(self) -> tuple[int, ...]:
        """Bar number of each event: from 1, and 0 for a pickup."""
        first = 0 if self.has_pickup else 1
        marks = set(self.whole_bars)
        numbers = accumulate(int(i in marks) for i in range(len(self.notes)))
        return tuple(first + n for n in numbers)

    @cached_property
    def has_pickup(self) -> bool:
        """Whether the first bar is shorter than the meter asks."""
        meter = self.meter
        if meter is None or not self.whole_bars:
            return False
        return sum(n.beats for n in self.notes[: self.whole_bars[0]]) < meter.beats

    @cached_property
    def has_rhythm(self) -> bool:
        """Whether there is anything to count: a meter, or notes of different lengths."""
        return bool(self.meters) or any(note.beats != 1 or note.tied for note in self.notes)

    @cached_property
    def whole_bars(self) -> tuple[int, ...]:
        """The bar marks without those where a repeat sign cuts a whole bar in two."""
        cuts = {sign for repeat in self.repeats for sign in repeat.signs}
        return _without_cuts(self, cuts) if cuts else self.bars

    def expanded(self) -> Melody:
        """The melody as it is played, with its repeats written out; itself if it has none.

        Where going back changes the key or the meter, a phrase begins.
        """
        if not self.repeats:
            return self
        parts = list(order_of_play(self.repeats, len(self.notes)))
        order = [event for part in parts for event in part]
        joins = set(accumulate(map(len, parts))) - {0, len(order)}
        keys = _changes([self.key_at(event) for event in order])
        meters = _changes([self.meter_at(event) for event in order])
        starts, ends = {0, *self.phrases}, {*self.bars}
        signs = {sign for repeat in self.repeats for sign in repeat.signs}
        bars = {at for at, event in enumerate(order) if at and event in ends}
        phrases = {at for at, event in enumerate(order) if event in starts}
        phrases |= {at for at, _ in (*keys, *meters)}
        lyrics, chords = dict(self.lyrics), dict(self.chords)
        written = replace(
            self,
            notes=tuple(_untie([self.notes[event] for event in order])),
            keys=keys,
            meters=meters,
            bars=tuple(sorted(bars | joins)),
            phrases=tuple(sorted(phrases - {0})),
            repeats=(),
            lyrics=tuple((at, lyrics[event]) for at, event in enumerate(order) if event in lyrics),
            chords=tuple((at, chords[event]) for at, event in enumerate(order) if event in chords),
        )
        cuts = joins | {at for at, event in enumerate(order) if event in signs}
        return replace(written, bars=_without_cuts(written, cuts))

    def part(self, events: range) -> Melody:
        """The events of a range as a melody of its own, with all marks that lie inside.

        A tie at its start becomes a struck note; a repeat is kept where all of it lies inside.
        """
        start, stop = events.start, events.stop
        tonic = self.tonic_at(start)
        inside = [r for r in self.repeats if start <= r.start and r.stop <= stop]
        return replace(
            self,
            notes=(replace(self.notes[start], tied=False), *self.notes[start + 1 : stop]),
            keys=_part_of(self.keys, events),
            meters=_part_of(self.meters, events),
            bars=tuple(mark - start for mark in self.bars if start < mark < stop),
            phrases=tuple(mark - start for mark in self.phrases if start < mark < stop),
            octave=tonic.octave if tonic else self.octave,
            repeats=tuple(_move(repeat, -start) for repeat in inside),
            lyrics=tuple((at - start, word) for at, word in self.lyrics if at in events),
            chords=tuple((at - start, name) for at, name in self.chords if at in events),
        )

    def spans(self, marks: tuple[int, ...]) -> Iterator[range]:
        """Ranges of event indices between marks: ``spans(melody.bars)`` gives the bars."""
        for start, stop in pairwise((0, *marks, len(self.notes))):
            yield range(start, stop)

    def transposed(self, interval: Interval) -> Melody:
        """The same melody an interval higher (or lower); keys, chords and spelling move with it."""
        notes = tuple(
            note
            if note.pitch is None
            else Note(note.pitch + interval, note.beats, note.tied, note.placement)
            for note in self.notes
        )
        chords = tuple((at, _move_chord(name, interval)) for at, name in self.chords)
        first = self.tonic
        if first is None:
            return replace(self, notes=notes, chords=chords)
        keys = tuple(
            (start, Key((key.tonic_pitch(WORKING_OCTAVE) + interval).name, key.mode))
            for start, key in self.keys
        )
        octave = (first + interval).octave
        return replace(self, notes=notes, keys=keys, chords=chords, octave=octave)

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


def _note_of(given: Note | Named | tuple[Named, Length], key: Key | None) -> Note:
    """A note from one given by name or number, alone or with its length in beats."""
    if isinstance(given, Note):
        return given
    named, beats = given if isinstance(given, tuple | list) and len(given) == 2 else (given, 1)
    if named is None or isinstance(named, Pitch):
        return Note(named, number_of(beats))
    if isinstance(named, str):
        return Note(Pitch.parse(named), number_of(beats))
    midi = Pitch(0, named).midi  # held to be a whole number
    return Note(key.spell(midi) if key else Pitch.from_midi(midi), number_of(beats))


def _in_bars(
    notes: Sequence[Note], beats: int, pickup: Fraction
) -> list[tuple[list[Note], Fraction]]:
    """The notes bar by bar, those over a bar line cut and tied; each with what is left of it."""
    if not 0 <= pickup < beats:
        raise RequestError(f"a pickup is 0 to less than {beats} beats, not {pickup}")
    bars: list[tuple[list[Note], Fraction]] = [([], pickup or Fraction(beats))]
    for note in notes:
        length, tied = note.beats, note.tied
        while length:
            bar, left = bars[-1]
            if not left:
                bar, left = [], Fraction(beats)
                bars.append((bar, left))
            here = min(length, left)
            bar.append(replace(note, beats=here, tied=tied))
            bars[-1] = bar, left - here
            length, tied = length - here, note.pitch is not None
    return bars


def _join(first: Melody, second: Melody) -> Melody:
    """One melody after another."""
    if second.keys and not first.keys:
        raise RequestError("the first melody has no key and the second has: give it one (with_key)")
    if second.meters and not first.meters:
        raise RequestError("the first melody has no meter and the second has")
    at = len(first)
    last = sum(note.beats for note in first.notes[([0, *first.bars])[-1] :])
    begin = sum(note.beats for note in second.notes[: ([*second.bars, len(second)])[0]])
    meter = first.meter_at(at - 1)
    same = meter is not None and second.meter in (None, meter)
    touching = any(at in repeat.signs for repeat in first.repeats)
    touching |= any(0 in repeat.signs for repeat in second.repeats)
    whole = same and meter is not None and last < meter.beats and last + begin == meter.beats
    barred = meter is not None or bool(first.bars or second.bars)
    line = (at,) if touching or (barred and not whole) else ()

    def later(marks: Iterable[tuple[int, T]]) -> tuple[tuple[int, T], ...]:
        return tuple((event + at, mark) for event, mark in marks)

    def change(before: T | None, marks: tuple[tuple[int, T], ...]) -> tuple[tuple[int, T], ...]:
        return later(marks[1:] if marks and marks[0][1] == before else marks)

    return replace(
        first,
        notes=first.notes + second.notes,
        keys=first.keys + change(first.key_at(at - 1), second.keys),
        meters=first.meters + change(meter, second.meters),
        bars=(*first.bars, *line, *(bar + at for bar in second.bars)),
        phrases=(*first.phrases, at, *(phrase + at for phrase in second.phrases)),
        octave_free=first.octave_free and second.octave_free,
        repeats=first.repeats + tuple(_move(repeat, at) for repeat in second.repeats),
        lyrics=first.lyrics + later(second.lyrics),
        chords=first.chords + later(second.chords),
    )


def _check_repeats(repeats: Sequence[Repeat], bars: Sequence[int], count: int) -> None:
    """Raise :class:`RequestError` unless the repeats fit a melody of ``count`` events."""
    if any(a.stop > b.start for a, b in pairwise(repeats)):
        raise RequestError("repeats follow one another and do not overlap")
    if not {0, count, *bars}.issuperset(sign for repeat in repeats for sign in repeat.signs):
        raise RequestError("a repeat sign stands at a bar line")
    if sum(map(len, order_of_play(repeats, count))) > MOST_EVENTS:
        raise RequestError(f"written out, the repeats make more than {MOST_EVENTS} notes")


def order_of_play(repeats: Sequence[Repeat], count: int) -> Iterator[tuple[int, ...]]:
    """The events of a melody in the order in which they sound, in parts.

    >>> list(order_of_play([Repeat(1, 3)], 4))
    [(0,), (1, 2), (1, 2), (3,)]
    """
    done = 0
    for repeat in repeats:
        yield tuple(range(done, repeat.start))
        yield from repeat.passes()
        done = repeat.stop
    yield tuple(range(done, count))


def _check_words(what: str, words: tuple[tuple[int, str], ...], places: frozenset[int]) -> None:
    """Syllables or chord names stand in order, each at one of the places, and can be written."""
    events = [at for at, _ in words]
    if events != sorted(set(events)) or not places.issuperset(events):
        raise RequestError(f"each {what} stands at a note of its own, in order")
    for _, word in words:
        plain = word.strip() == word != "" and word.isprintable() and "  " not in word
        if not plain or word in ("|", "_") or "~" in word:
            raise RequestError(f'"{word[:20]}" is not a {what} that can be written')


def _without_cuts(melody: Melody, cuts: Collection[int]) -> tuple[int, ...]:
    """Bar marks without the cuts whose two sides add up to one bar."""
    edges = (0, *melody.bars, len(melody.notes))
    kept = []
    for before, mark, after in zip(edges, edges[1:], edges[2:], strict=False):
        meter = melody.meter_at(before)
        beats = sum(note.beats for note in melody.notes[before:after]) if mark in cuts else 0
        if not (meter and meter == melody.meter_at(mark) and beats == meter.beats):
            kept.append(mark)
    return tuple(kept)


def _untie(notes: Sequence[Note]) -> Iterator[Note]:
    """The notes, those struck whose tie has lost the note before."""
    before = Note(None)
    for note in notes:
        before = replace(note, tied=note.tied and note.pitch == before.pitch)
        yield before


def _changes(values: Sequence[T | None]) -> tuple[tuple[int, T], ...]:
    """(event index, value) wherever a value is not that of the event before."""
    pairs = enumerate(pairwise((None, *values)))
    return tuple((at, new) for at, (old, new) in pairs if new is not None and new != old)


def _part_of(changes: tuple[tuple[int, T], ...], events: range) -> tuple[tuple[int, T], ...]:
    first = _in_force(changes, events.start)
    later = [(at - events.start, v) for at, v in changes if events.start < at < events.stop]
    return ((0, first), *later) if first is not None else ()


def _move(repeat: Repeat, by: int) -> Repeat:
    endings = tuple(event + by for event in repeat.endings)
    return Repeat(repeat.start + by, repeat.stop + by, repeat.times, endings)


def _move_chord(name: str, interval: Interval) -> str:
    """A chord name with its root and its bass moved; what is no letter stays."""
    return _ROOT.sub(lambda root: _move_name(root[0], interval), name)


def _move_name(name: str, interval: Interval) -> str:
    return (Pitch.spelled(name[0], alter_of(name[1:]), WORKING_OCTAVE) + interval).name


def _in_force(changes: Sequence[tuple[int, T]], event: int) -> T | None:
    behind = bisect_right(changes, event, key=itemgetter(0))
    return changes[behind - 1][1] if behind else None
