"""Spelled pitch and the interval between two.

**Theory.**  A spelled pitch is a pair of whole numbers: its *staff* position (letters counted
up from C0, so C4 is 28) and its *midi* number (semitones, C4 is 60).  An interval is the
difference of two such pairs: steps and semitones.  Transposing is adding two pairs, and the
spelling follows by itself: the letter is the staff position, the accidental is what the
semitones add to the natural letter.  A third number follows from the two: the place on the line
of *fifths* (F -1, C 0, G 1 ... F# 6, Bb -2), seven times the semitones less twelve times the steps.
Twelve names in a row on that line are one for each of the twelve sounds.

**Conventions.**  Scientific pitch notation, sounding octave: C4 is middle C (ISO 16 puts A4 at
440 Hz).  Accidentals are ``#`` and ``b`` after the letter.  Intervals are quality and number
(``m3``, ``P5``, ``A4``); with direction ``+M2`` or ``-m3``; the unison ``P1`` has none.  The
quality of an interval follows its letters: F# above C is ``A4``, Gb above C is ``d5``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Protocol

from fretpath.errors import RequestError
from fretpath.values import Value

LETTERS = "CDEFGAB"
_NATURAL = (0, 2, 4, 5, 7, 9, 11)
_PERFECT = frozenset({0, 3, 4})
_PITCH = re.compile(r"([A-Ga-g])(#{0,3}|b{0,3})(-?\d{1,2})")
_INTERVAL = re.compile(r"([+-]?)(P|M|m|A{1,4}|d{1,4})([1-9]\d?)")


def natural_semitones(steps: int) -> int:
    """Semitones of ``steps`` letters up from C (or the major scale up from its tonic).

    >>> [natural_semitones(s) for s in (0, 2, 4, 7, -1)]
    [0, 4, 7, 12, -1]
    """
    octave, step = divmod(steps, 7)
    return 12 * octave + _NATURAL[step]


def accidental(alter: int) -> str:
    """``alter`` semitones as sharps or flats: 1 is ``#``, -2 is ``bb``, 0 is the empty string."""
    return "#" * alter if alter > 0 else "b" * -alter


def alter_of(accidentals: str) -> int:
    """Semitones of a run of sharps or flats; the inverse of :func:`accidental`."""
    return len(accidentals) if accidentals.startswith("#") else -len(accidentals)


def match_whole(pattern: re.Pattern[str], text: str, what: str) -> re.Match[str]:
    """The parts of a text; :class:`RequestError` tells *what* it should be, and how to write it."""
    match = pattern.fullmatch(text)
    if match is None:
        raise RequestError(f'"{text[:40]}" is not {what}')
    return match


@dataclass(frozen=True, slots=True, order=True)
class Interval(Value):
    """The way from one spelled pitch to another; negative downwards.

    >>> Interval.parse("m3")
    Interval(steps=2, semitones=3)
    >>> str(Interval(-3, -5))
    '-P4'
    """

    steps: int
    """Letters up (negative: down); the number of the interval less one."""
    semitones: int
    """Semitones up (negative: down)."""

    @classmethod
    def parse(cls, text: str) -> Interval:
        """Read ``m3``, ``+P5`` or ``-M2``; raise :class:`RequestError` for anything else."""
        told = "an interval: write quality and number, such as m3, P5, A4, or -M2 for downwards"
        sign, quality, number = match_whole(_INTERVAL, text, told).groups()
        steps = int(number) - 1
        base = natural_semitones(steps)
        perfect = steps % 7 in _PERFECT
        offsets = {_quality(excess, perfect): excess for excess in range(-5, 5)}
        if quality not in offsets:
            wants = "P, A or d" if perfect else "M, m, A or d"
            raise RequestError(f'there is no interval "{text}": a {steps + 1} is {wants}')
        size = cls(steps, base + offsets[quality])
        return -size if sign == "-" else size

    @classmethod
    def of_fifths(cls, fifths: int) -> Interval:
        """So many fifths up (negative: down), brought back into one octave.

        >>> str(Interval.of_fifths(2)), str(Interval.of_fifths(-3))
        ('+M2', '+m3')
        """
        steps = 4 * fifths % 7
        return cls(steps, natural_semitones(steps) + (fifths + 1) // 7)

    @property
    def fifths(self) -> int:
        """Fifths upward that lead to the same name, octaves aside: 2 for a major second."""
        return 7 * self.semitones - 12 * self.steps

    @property
    def descending(self) -> bool:
        """True below the first note; a chromatic unison takes its direction from the sound."""
        return self.steps < 0 or (self.steps == 0 and self.semitones < 0)

    @property
    def name(self) -> str:
        """Quality and number without direction, such as ``m3``; compound numbers count on."""
        up = -self if self.descending else self
        excess = up.semitones - natural_semitones(up.steps)
        return f"{_quality(excess, up.steps % 7 in _PERFECT)}{up.steps + 1}"

    def __str__(self) -> str:
        """The name with its direction: ``+M2``, ``-m3``; ``P1`` for the unison."""
        if self == Interval(0, 0):
            return "P1"
        return ("-" if self.descending else "+") + self.name

    def __neg__(self) -> Interval:
        return Interval(-self.steps, -self.semitones)

    def __add__(self, other: Interval) -> Interval:
        return Interval(self.steps + other.steps, self.semitones + other.semitones)

    def times(self, count: int) -> Interval:
        """The interval taken ``count`` times: ``Interval(7, 12).times(2)`` is two octaves."""
        return Interval(self.steps * count, self.semitones * count)


OCTAVE = Interval(7, 12)


def _quality(excess: int, perfect: bool) -> str:
    if excess > 0:
        return "A" * excess
    if perfect:
        return "d" * -excess or "P"
    return {0: "M", -1: "m"}.get(excess, "d" * (-excess - 1))


class Speller(Protocol):
    """Anything that names a MIDI number, as a key does."""

    def spell(self, midi: int) -> Pitch:
        """The pitch by its name."""
        ...


@dataclass(frozen=True, slots=True, order=True)
class Pitch(Value):
    """A spelled pitch; ordered by staff position, then by sound.

    >>> Pitch.parse("Bb2")
    Pitch(staff=20, midi=46)
    >>> str(Pitch(28, 61))
    'C#4'
    """

    staff: int
    """Staff position: letters counted up from C0 (C4 is 28)."""
    midi: int
    """Semitones, C4 is 60: the MIDI note number (which may run past 0..127)."""

    @classmethod
    def parse(cls, text: str) -> Pitch:
        """Read scientific pitch notation (``C4``, ``Bb2``, ``F#-1``).

        Raise :class:`RequestError` for anything else; there is no H, and the octave is needed.
        """
        told = "a pitch: write a letter A to G, #s or bs, and the octave, such as C4 or Bb2"
        letter, accidentals, octave = match_whole(_PITCH, text, told).groups()
        return cls.spelled(letter, alter_of(accidentals), int(octave))

    @classmethod
    def spelled(cls, letter: str, alter: int, octave: int) -> Pitch:
        """From the letter (A to G), the semitones of its accidental and the octave."""
        staff = LETTERS.index(letter.upper()) + 7 * octave
        return cls(staff, natural_semitones(staff) + 12 + alter)

    @classmethod
    def from_midi(cls, midi: int, flattest: int | Speller = -5) -> Pitch:
        """A MIDI number, named by one of twelve names in a row on the line of fifths.

        >>> str(Pitch.from_midi(61)), str(Pitch.from_midi(61, flattest=-1))
        ('Db4', 'C#4')

        *flattest* is the first of the twelve in fifths from C: -5 is Db, and F# is then the last.
        Or it is the key that spells: ``Pitch.from_midi(61, Key.parse("D"))`` is C#4.
        """
        if not isinstance(flattest, int):
            return flattest.spell(midi)
        semitones = midi - C0.midi
        fifths = flattest + (7 * semitones - flattest) % 12
        return cls((7 * semitones - fifths) // 12, midi)

    @property
    def fifths(self) -> int:
        """Place of the name on the line of fifths: C 0, G 1, F -1, F# 6, Bb -2."""
        return (self - C0).fifths

    @property
    def letter(self) -> str:
        """One of C D E F G A B."""
        return LETTERS[self.staff % 7]

    @property
    def alter(self) -> int:
        """Semitones the accidental adds to the letter: 1 for ``#``, -1 for ``b``."""
        return self.midi - natural_semitones(self.staff) - 12

    @property
    def octave(self) -> int:
        """The octave number, which belongs to the letter: Cb4 sounds as B3."""
        return self.staff // 7

    @property
    def name(self) -> str:
        """Letter and accidental without the octave, such as ``Bb``."""
        return self.letter + accidental(self.alter)

    def __str__(self) -> str:
        return f"{self.name}{self.octave}"

    def __add__(self, interval: Interval) -> Pitch:
        return Pitch(self.staff + interval.steps, self.midi + interval.semitones)

    def __sub__(self, other: Pitch) -> Interval:
        """The interval from ``other`` up (or down) to this pitch."""
        return Interval(self.staff - other.staff, self.midi - other.midi)


C0 = Pitch(0, 12)
