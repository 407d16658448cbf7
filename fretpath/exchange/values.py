"""Lengths as note values: which notes, dots and tuplets a length is written with.

**Theory.**  A note value is a power of two of a quarter note, alone or with one or two dots
(1 + 1/2, 1 + 1/2 + 1/4).  A length whose denominator has an odd factor is written as a tuplet:
three in the time of two, five, six or seven in the time of four, and so on (common practice).
A length that is no single value (five quarters) is written as several, tied; a rest as several
rests.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from fretpath.errors import RequestError
from fretpath.music.melody import Melody, Note

__all__ = ["NoteValue", "in_note_values", "note_values", "quarters"]

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


def quarters(melody: Melody) -> list[Fraction]:
    """Length of each event in quarter notes: a beat is the lower number of its meter."""
    units = {at: meter.unit for at, meter in melody.meters}
    unit = 4
    lengths = []
    for event, note in enumerate(melody.notes):
        unit = units.get(event, unit)
        lengths.append(note.beats * 4 / unit)
    return lengths


def note_values(length: Fraction) -> list[NoteValue]:
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
    found = [
        NoteValue(name, dots, odd, normal, written * normal / odd)
        for name, dots, written in _plain_values(length * odd / normal)
    ]
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
    """The same music with every event one note value: longer ones become ties and rests.

    Raises :class:`RequestError` that names the note whose length cannot be written.
    """
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
    return replace(
        melody,
        notes=tuple(notes),
        bars=tuple(starts[at] for at in melody.bars),
        phrases=tuple(starts[at] for at in melody.phrases),
        keys=tuple((starts[at], key) for at, key in melody.keys),
        meters=tuple((starts[at], meter) for at, meter in melody.meters),
    )
