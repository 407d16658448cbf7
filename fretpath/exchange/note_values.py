"""Lengths as note values: which notes, dots and tuplets a length is written with.

**Theory.**  A note value is a power of two of a quarter note, alone or with one or two dots
(1 + 1/2, 1 + 1/2 + 1/4).  A length whose denominator has an odd factor is written as a tuplet:
three in the time of two, five, six or seven in the time of four, and so on (common practice).
A length that is no single value (five quarters) is written as several, tied; a rest as several
rests.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import groupby

from fretpath.errors import RequestError
from fretpath.music.melody import Melody, Meter, Note, Repeat

NAMES: dict[int | Fraction, str] = {
    32: "maxima",
    16: "long",
    8: "breve",
    4: "whole",
    2: "half",
    1: "quarter",
    Fraction(1, 2): "eighth",
    **{Fraction(1, 2**n): f"{4 * 2**n}{'nd' if n == 3 else 'th'}" for n in range(2, 9)},
}
"""MusicXML 4.0 name of each plain value, by its length in quarter notes."""
_SHORTER = tuple(NAMES.values())
_TUPLETS = (1, 3, 5, 7, 9, 11, 13, 15)


@dataclass(frozen=True, slots=True)
class NoteValue:
    """One written note value."""

    name: str
    """Its MusicXML 4.0 name, such as ``eighth``."""
    dots: int
    """Dots behind it, 0 to 2."""
    actual: int
    """So many ..."""
    normal: int
    """... in the time of so many; both 1 outside a tuplet."""
    length: Fraction
    """What it lasts, in quarter notes."""

    @property
    def flags(self) -> int:
        """Flags of a note of it that stands alone: an eighth has one."""
        return max(0, _SHORTER.index(self.name) - _SHORTER.index("quarter"))


def bar_length(meter: Meter) -> Fraction:
    """The length of a whole bar, in quarter notes."""
    return Fraction(4 * meter.beats, meter.unit)


def quarters(melody: Melody) -> list[Fraction]:
    """Length of each event in quarter notes: a beat is the lower number of its meter."""
    units = {at: meter.unit for at, meter in melody.meters}
    unit = 4
    lengths = []
    for event, note in enumerate(melody.notes):
        unit = units.get(event, unit)
        lengths.append(note.beats * 4 / unit)
    return lengths


@lru_cache(maxsize=4096)
def note_values(length: Fraction) -> tuple[NoteValue, ...]:
    """The values a length in quarter notes is written with, longest first.

    >>> [(v.name, v.dots) for v in note_values(Fraction(5, 2))]
    [('half', 0), ('eighth', 0)]

    Raises :class:`RequestError` for lengths that notes cannot write (1/17, 1/2000).
    """
    odd = length.denominator
    while odd % 2 == 0:
        odd //= 2
    if odd not in _TUPLETS:
        raise RequestError(f"a length of {length} quarter notes has no note value")
    normal = 1 << (odd.bit_length() - 1)
    found = tuple(
        NoteValue(name, dots, odd, normal, written * normal / odd)
        for name, dots, written in _plain_values(length * odd / normal)
    )
    assert sum(value.length for value in found) == length
    return found


def _plain_values(length: Fraction) -> Iterator[tuple[str, int, Fraction]]:
    rest = length
    for plain, name in NAMES.items():
        value = Fraction(plain)
        while rest >= value:
            dots = 0
            if value > Fraction(1, 64) and plain != 32:
                dots = 2 if rest >= value * 7 / 4 else int(rest >= value * 3 / 2)
            written = value * (2 - Fraction(1, 2**dots))
            yield name, dots, written
            rest -= written
    if rest:
        raise RequestError(f"a length of {length} quarter notes is too fine for note values")


def in_note_values(melody: Melody) -> Melody:
    """The same music with every event one note value, ties as few as can be.

    Notes tied inside a bar become one where one value holds them; a length that is no single
    value becomes several, tied (or several rests).  Raises :class:`RequestError` that names the
    note whose length cannot be written.
    """
    melody = _with_few_ties(melody)
    notes: list[Note] = []
    starts: list[int] = []
    for event, (note, length) in enumerate(zip(melody.notes, quarters(melody), strict=True)):
        starts.append(len(notes))
        try:
            values = note_values(length)
        except RequestError as problem:
            raise RequestError(f"{melody.place_of(event)}: {problem}") from None
        beat = note.beats / length
        for number, value in enumerate(values):
            tied = note.tied or (number > 0 and note.pitch is not None)
            placement = note.placement if number == 0 else None
            notes.append(Note(note.pitch, value.length * beat, tied, placement))
    return _move_marks(melody, notes, [*starts, len(notes)])


def _with_few_ties(melody: Melody) -> Melody:
    """Ties inside a bar made one note, where that is one plain value and nothing stands at it."""
    lengths = quarters(melody)
    kept = {0, *melody.bars, *melody.phrases, *(at for at, _ in melody.chords)}
    notes: list[Note] = []
    starts: list[int] = []
    total = Fraction(0)
    for event, (note, length) in enumerate(zip(melody.notes, lengths, strict=True)):
        if note.tied and event not in kept and _is_one_value(total + length):
            notes[-1] = replace(notes[-1], beats=notes[-1].beats + note.beats)
            total += length
            starts.append(len(notes) - 1)
        else:
            starts.append(len(notes))
            notes.append(note)
            total = length
    return _move_marks(melody, notes, [*starts, len(notes)])


def _is_one_value(length: Fraction) -> bool:
    """Whether one plain note, dotted once at most, is as long as this."""
    size = length if length.numerator & (length.numerator - 1) == 0 else length * 2 / 3
    power = size.numerator & (size.numerator - 1) == 0
    return power and size.denominator & (size.denominator - 1) == 0 and size <= 4


def _move_marks(melody: Melody, notes: list[Note], starts: list[int]) -> Melody:
    """The melody with other events; ``starts`` tells where each old one begins now."""
    return replace(
        melody,
        notes=tuple(notes),
        bars=tuple(starts[at] for at in melody.bars),
        phrases=tuple(starts[at] for at in melody.phrases),
        keys=tuple((starts[at], key) for at, key in melody.keys),
        meters=tuple((starts[at], meter) for at, meter in melody.meters),
        lyrics=tuple((starts[at], word) for at, word in melody.lyrics),
        chords=tuple((starts[at], name) for at, name in melody.chords),
        repeats=tuple(
            Repeat(starts[r.start], starts[r.stop], r.times, tuple(starts[e] for e in r.endings))
            for r in melody.repeats
        ),
    )


def is_compound(meter: Meter | None) -> bool:
    """Whether a beat is three notes: 6/8, 9/8, 12/16 ... (common practice)."""
    return meter is not None and meter.unit >= 8 and meter.beats > 3 and meter.beats % 3 == 0


@dataclass(frozen=True)
class Written:
    """A melody as it is written down, and the groups that stand under one sign."""

    melody: Melody
    """The music, every event one note value."""
    values: tuple[NoteValue, ...]
    """The value of each event."""
    tuplets: dict[int, range]
    """The group under one tuplet sign, for each event in it."""
    beams: dict[int, range]
    """The group under one beam, for each event in it."""

    @classmethod
    def of(cls, melody: Melody) -> Written:
        """The same music in note values; :class:`RequestError` where it has none."""
        melody = in_note_values(melody)
        values = tuple(v for length in quarters(melody) for v in note_values(length))
        tuplets = _tuplets(values, {*melody.bars, *melody.phrases})
        beams = _beams(melody, values)
        return cls(melody, values, _by_event(tuplets), _by_event(beams))

    @property
    def unit(self) -> int:
        """The note that gets one beat of the first meter: 4 is a quarter note."""
        return self.melody.meter.unit if self.melody.meter else 4

    def is_held(self, event: int) -> bool:
        """Whether the note goes on in the next event."""
        return any(note.tied for note in self.melody.notes[event + 1 : event + 2])


def _by_event(groups: Iterable[range]) -> dict[int, range]:
    return {event: group for group in groups for event in group}


def _tuplets(values: Sequence[NoteValue], starts: Collection[int]) -> Iterator[range]:
    """The groups of values that stand under one tuplet sign, as ranges of events.

    A group ends where it is full (its length in quarter notes has no odd divisor left), where
    another kind begins, and at *starts*, the first events of bars and phrases.
    """
    begin, total = 0, Fraction(0)
    for at, value in enumerate(values):
        kind, last = (value.actual, value.normal), (values[at - 1].actual, values[at - 1].normal)
        full = total.denominator & (total.denominator - 1) == 0
        if at > begin and (kind != last or at in starts or full):
            if values[begin].actual > 1:
                yield range(begin, at)
            begin, total = at, Fraction(0)
        total += value.length
    if values and values[begin].actual > 1:
        yield range(begin, len(values))


def _beams(melody: Melody, values: Sequence[NoteValue]) -> Iterator[range]:
    """Groups of events that are beamed: flagged notes one behind the other in one beat.

    A beat is a quarter note, or a dotted quarter in meters of three, six, nine ... eighths (common
    practice).
    """
    events = enumerate(zip(melody.notes, values, _beats(melody, values), strict=True))
    for place, group in groupby(
        events, key=lambda each: each[1][2] if each[1][0].pitch and each[1][1].flags else None
    ):
        found = [event for event, _ in group]
        if place is not None and len(found) > 1:
            yield range(found[0], found[-1] + 1)


def _beats(melody: Melody, values: Sequence[NoteValue]) -> Iterator[tuple[int, int]]:
    """For each event the bar and the beat in it; a pickup ends with the last beat of a bar."""
    for bar, span in enumerate(melody.spans(melody.bars)):
        meter = melody.meter_at(span.start)
        beat = Fraction(12, meter.unit) if meter and is_compound(meter) else Fraction(1)
        now = Fraction(0)
        if not bar and melody.has_pickup and meter:
            first = values[: melody.whole_bars[0]]
            now = bar_length(meter) - sum((value.length for value in first), Fraction(0))
        for event in span:
            yield bar, int(now // beat)
            now += values[event].length
