"""Key, scale and degree: where a pitch stands in its key.

**Theory.**  A degree is the interval from the tonic in other clothes: the number counts letters
from 1, and the accidental is what must be added to the *major* scale of the same tonic.  So
degree and pitch turn into each other by one addition, in every key and mode.  The seven modes
stand on the line of fifths: each is seven names in a row, Lydian from its tonic up, every darker
one a fifth further down, so that signature, spelling and relative major are a difference each.

**Conventions.**  The accidental stands before the number (``b3``, ``#4``).  Degrees above 7
count on (8 is the octave, 9, 10); each comma after a number is an octave down, each apostrophe
an octave up, so ``5,`` is the fifth below the tonic and ``1'`` is another way to write ``8``.
Natural minor is 1 2 b3 4 5 b6 b7; the other habit of the trade, degrees counted from the key
signature (where natural minor is 1 2 3 4 5 6 7), is a switch of the readers and printers.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from types import MappingProxyType

from fretpath.errors import RequestError, nearest
from fretpath.music.pitch import (
    C0,
    OCTAVE,
    Interval,
    Pitch,
    accidental,
    alter_of,
    match_whole,
    natural_semitones,
)
from fretpath.values import Value, check_fields

_DEGREE = re.compile(r"(#{1,3}|b{1,3})?([1-9]\d?)(,{1,9}|'{1,9})?")
_KEY = re.compile(r"([A-Ga-g])(#{1,2}|b{1,2})?(m?)(?:\s+(.+))?")


@dataclass(frozen=True, slots=True, order=True)
class Degree(Value):
    """A degree of the key, with its octave and its accidental against the major scale.

    >>> Degree.parse("b10")
    Degree(steps=9, alter=-1)
    >>> str(Degree(-3, 0)), Degree(9, -1).simple
    ('5,', "b3'")
    """

    steps: int
    """Letters above the tonic (negative: below); the number of the degree less one."""
    alter: int
    """Semitones added to the major scale: -1 for a flat degree, 1 for a sharp one."""

    @classmethod
    def parse(cls, text: str) -> Degree:
        """Read ``1``, ``b3``, ``#11``, ``5,`` or ``2'``; :class:`RequestError` otherwise."""
        told = (
            "a degree: degrees count from 1, with b or # in front and , or ' behind, such as 5, "
            "b3, #4, 10 or 5,"
        )
        accidentals, number, marks = match_whole(_DEGREE, text, told).groups(default="")
        octaves = marks.count("'") - marks.count(",")
        return cls(int(number) - 1 + 7 * octaves, alter_of(accidentals))

    @classmethod
    def of_interval(cls, up: Interval) -> Degree:
        """The degree that lies an interval above (or below) the tonic.

        >>> str(Degree.of_interval(Pitch.parse("D#3") - Pitch.parse("B1")))
        '10'
        """
        return cls(up.steps, up.semitones - natural_semitones(up.steps))

    @property
    def interval(self) -> Interval:
        """The interval from the tonic."""
        return Interval(self.steps, natural_semitones(self.steps) + self.alter)

    @property
    def base(self) -> Degree:
        """The same degree in the first octave, 1 to 7."""
        return Degree(self.steps % 7, self.alter)

    @property
    def number(self) -> int:
        """The simple number, 1 to 7."""
        return self.steps % 7 + 1

    @property
    def plain(self) -> str:
        """The simple degree without its octave, such as ``b3`` for a flat tenth."""
        return accidental(self.alter) + str(self.number)

    @property
    def simple(self) -> str:
        """The simple degree with octave marks, such as ``b3'``."""
        octave = self.steps // 7
        return self.plain + ("'" * octave if octave >= 0 else "," * -octave)

    def __str__(self) -> str:
        """The compound degree: 8, 9, 10 above the octave, commas below the tonic."""
        if self.steps < 0:
            return self.simple
        return accidental(self.alter) + str(self.steps + 1)


@dataclass(frozen=True)
class Scale(Value):
    """A scale or mode as degrees of the major scale on the same tonic."""

    name: str
    """The name used in text, lower case."""
    degrees: tuple[Degree, ...]
    """Degrees in the first octave, ascending."""
    parent: str
    """The mode whose key signature the scale is written in, one of :data:`MODES`."""
    aliases: tuple[str, ...] = ()
    """Other names understood when reading."""

    @classmethod
    def parse(cls, name: str) -> Scale:
        """The known scale of that name or alias, case and spacing ignored.

        >>> str(Scale.parse("Ionian"))
        'major'

        Raises :class:`RequestError` for an unknown name.
        """
        wanted = " ".join(name.lower().split())
        if wanted not in SCALES_BY_NAME:
            raise RequestError(
                f'unknown mode or scale "{name[:40]}"{nearest(wanted, SCALES_BY_NAME)} '
                f"(known: {', '.join(SCALES)})"
            )
        return SCALES_BY_NAME[wanted]

    def __str__(self) -> str:
        return self.name

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The degrees as text, such as ``("1", "2", "b3")``."""
        return tuple(map(str, self.degrees))

    @cached_property
    def semitones(self) -> tuple[int, ...]:
        """Semitones above the tonic, each 0 to 11."""
        return tuple(degree.interval.semitones for degree in self.degrees)

    @property
    def flattest(self) -> int:
        """Fifths from the tonic to the flattest note of the parent: 0 Lydian ... -6 Locrian."""
        return -MODES.index(self.parent)

    @property
    def minor(self) -> bool:
        """Whether the third of its base is minor."""
        return "b3" in self.base.names

    @property
    def base(self) -> Scale:
        """The seven degrees it is counted from: itself, or the scale of its signature."""
        whole = len({degree.number for degree in self.degrees}) == 7
        return self if whole else SCALES[self.parent]

    def own(self, number: int) -> Degree:
        """Its degree of that number, 1 to 7; the base's where it has none.

        >>> str(SCALES["minor pentatonic"].own(6))
        'b6'
        """
        return next(d for d in (*self.degrees, *self.base.degrees) if d.number == number)


MODES = ("lydian", "major", "mixolydian", "dorian", "natural minor", "phrygian", "locrian")
"""The seven modes, brightest first; each holds one flat (or one sharp less) than the one before."""

_OTHER_NAMES = {"major": ("ionian", "maj"), "natural minor": ("minor", "aeolian", "min", "m")}


def _mode(name: str) -> Scale:
    """Seven names in a row on the line of fifths, from as many below the tonic as it is dark."""
    dark = MODES.index(name)
    row = (Interval.of_fifths(fifths) for fifths in range(-dark, 7 - dark))
    degrees = map(Degree.of_interval, row)
    return Scale(name, tuple(sorted(degrees)), name, _OTHER_NAMES.get(name, ()))


def _scale(name: str, degrees: str, parent: str, *aliases: str) -> Scale:
    return Scale(name, tuple(map(Degree.parse, degrees.split())), parent, aliases)


# Formulas relative to the major scale: common practice, as in any theory text; the tests compare
# them with music21's scales.
SCALES: Mapping[str, Scale] = MappingProxyType(
    {
        scale.name: scale
        for scale in (
            *map(_mode, MODES),
            _scale("harmonic minor", "1 2 b3 4 5 b6 7", "natural minor"),
            _scale("melodic minor", "1 2 b3 4 5 6 7", "natural minor"),
            _scale("harmonic major", "1 2 3 4 5 b6 7", "major"),
            _scale("major pentatonic", "1 2 3 5 6", "major", "pentatonic"),
            _scale("minor pentatonic", "1 b3 4 5 b7", "natural minor"),
            _scale("blues", "1 b3 4 b5 5 b7", "natural minor", "minor blues"),
            _scale("major blues", "1 2 b3 3 5 6", "major"),
            _scale("phrygian dominant", "1 b2 3 4 5 b6 b7", "phrygian"),
            _scale("double harmonic", "1 b2 3 4 5 b6 7", "major"),
            _scale("hungarian minor", "1 2 b3 #4 5 b6 7", "natural minor"),
            _scale("whole tone", "1 2 3 #4 #5 b7", "major"),
            _scale("octatonic", "1 b2 b3 3 #4 5 6 b7", "major", "half-whole", "diminished"),
        )
    }
)
SCALES_BY_NAME = {alias: s for s in SCALES.values() for alias in (s.name, *s.aliases)}
"""Every scale by each of its names, lower case."""
_LOWEST_OCTAVE, _HIGHEST_OCTAVE = -1, 9
_USUAL = -5  # outside its scale a key has b2 b6 b3 b7 below and #4 above (common practice)


@dataclass(frozen=True)
class Key(Value):
    """A tonic and a mode, such as ``B major`` or ``C natural minor``.

    >>> key = Key.parse("Eb")
    >>> key, key.signature
    (Key(tonic='Eb', mode='major'), -3)
    """

    tonic: str
    """Letter and accidental of the tonic, such as ``Bb``."""
    mode: str
    """Name of a scale in :data:`SCALES`."""

    def __post_init__(self) -> None:
        check_fields(self)
        match = re.fullmatch(r"[A-G](#{0,2}|b{0,2})", self.tonic)
        if match is None or self.mode not in SCALES:
            raise RequestError(
                f"no such key: {self.tonic[:40]!r} {self.mode[:40]!r} (a tonic is a letter A to G "
                "with at most two sharps or flats; respell it if it has more)"
            )

    @classmethod
    def parse(cls, text: str) -> Key:
        """Read ``B major``, ``Bb``, ``F#m``, ``C natural minor``, ``D dorian``.

        A small letter alone is refused, since it may mean a minor key.
        """
        match = _KEY.fullmatch(text.strip())
        if match is None:
            raise RequestError(
                f'unknown key "{text[:40]}": write the tonic and the mode, such as "Bb major", '
                '"F# minor" or "D dorian"'
            )
        letter, accidentals, minor, mode = match.groups(default="")
        if minor and mode:
            raise RequestError(f'unknown key "{text[:40]}": write either "m" or the mode\'s name')
        if letter.islower() and not minor and not mode:
            tonic = letter.upper() + accidentals
            raise RequestError(f'key "{text}" can be read two ways: "{tonic} major" or "{tonic}m"?')
        return cls(letter.upper() + accidentals, Scale.parse(mode or minor or "major").name)

    @classmethod
    def of_signature(cls, signature: int, mode: str = "major") -> Key:
        """The key of that mode with so many sharps (negative: flats) in its signature.

        >>> str(Key.of_signature(-1, "dorian"))
        'G dorian'

        Raises :class:`RequestError` where the tonic would need three sharps or flats.
        """
        way = Interval.of_fifths(signature - 1 - Scale.parse(mode).flattest)
        return cls((C0 + way).name, Scale.parse(mode).name)

    @classmethod
    @cache
    def of_sound(cls, sound: int, mode: str) -> tuple[Key, ...]:
        """The keys of a mode on a pitch class (0 to 11) with at most seven sharps or flats.

        >>> [str(key) for key in Key.of_sound(6, "major")]
        ['Gb major', 'F# major']
        """
        lowest = (7 * sound + Scale.parse(mode).flattest + 8) % 12 - 7
        signatures = (signs for signs in (lowest, lowest + 12) if signs <= 7)
        return tuple(cls.of_signature(signs, mode) for signs in signatures)

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"

    @property
    def scale(self) -> Scale:
        """The scale the mode names."""
        return SCALES[self.mode]

    @cached_property
    def fifths(self) -> int:
        """Place of the tonic on the line of fifths: C 0, G 1, F -1."""
        return self.tonic_pitch(0).fifths

    @property
    def signature(self) -> int:
        """Sharps (positive) or flats (negative) of the key signature; may pass 7 in theory."""
        return self.fifths + self.scale.flattest + 1

    @property
    def signature_alters(self) -> tuple[int, ...]:
        """Semitones the key signature adds to the major scale on each degree 1 to 7."""
        return tuple(degree.alter for degree in SCALES[self.scale.parent].degrees)

    def spell(self, midi: int) -> Pitch:
        """A MIDI number as the key spells it: by its scale, else b2 b3 #4 b6 b7, else plain.

        >>> str(Key("D", "major").spell(66)), str(Key("Db", "major").spell(66))
        ('F#4', 'Gb4')
        """
        pitch = Pitch.from_midi(midi, self.fifths + _USUAL)
        own = self._own_fifths.get((pitch.fifths - self.fifths) % 12)
        return pitch if own is None else Pitch.from_midi(midi, self.fifths + own)

    @cached_property
    def _own_fifths(self) -> dict[int, int]:
        """Fifths from the tonic to each degree of the scale, by their rest modulo 12."""
        return {d.interval.fifths % 12: d.interval.fifths for d in self.scale.degrees}

    def tonic_pitch(self, octave: int) -> Pitch:
        """The tonic in that octave (scientific pitch notation, sounding)."""
        return Pitch.spelled(self.tonic[0], alter_of(self.tonic[1:]), octave)

    def tonic_near(self, pitch: Pitch) -> Pitch:
        """The tonic nearest to ``pitch`` in sound; the upper one when two are as near."""
        low = self.tonic_pitch(0)
        return low + OCTAVE.times((pitch.midi - low.midi + 6) // 12)

    def octave_of(self, pitches: Sequence[Pitch]) -> int:
        """The octave to count the degrees of these notes in, -1 to 9.

        That of the lowest tonic among them, or as far below it as keeps every note within an
        octave of it; without a tonic, the octave in which most notes are 1 to 7.

        >>> [Key.parse("C").octave_of(list(map(Pitch.parse, text.split())))
        ...  for text in ("G3 C4 C5", "G2 A2 C4", "D5 D5 Db5 D5 A4 B4")]
        [4, 3, 5]
        """
        start = self.tonic_pitch(0).staff
        octaves = sorted((pitch.staff - start) // 7 for pitch in pitches)
        tonics = [pitch.staff for pitch in pitches if pitch.name == self.tonic]
        if tonics:
            octave = min((min(tonics) - start) // 7, octaves[0] + 1)
        else:
            octave = max(octaves, key=octaves.count)
        return min(max(octave, _LOWEST_OCTAVE), _HIGHEST_OCTAVE)

    def holds(self, degree: Degree) -> bool:
        """Whether the degree belongs to the scale, in any octave."""
        return degree.base in self.scale.degrees


def key_asked(text: str, written: Key | None) -> Key:
    """The key that someone asks for, seen from the one the music is written in.

    >>> minor = Key.parse("A minor pentatonic")
    >>> [str(key_asked(text, minor)) for text in ("G", "Bb major", "dorian")]
    ['G minor pentatonic', 'Bb major', 'A dorian']

    A tonic alone keeps the mode, a mode alone keeps the tonic; without a key written a tonic
    alone is major.  Raises :class:`RequestError` for anything else.
    """
    word = text.strip()
    if written and re.fullmatch(r"[A-G](#{1,2}|b{1,2})?", word):
        return Key(word, written.mode)
    if written is None or re.match(r"[A-Ga-g](#|b|m|\s|$)", word):
        return Key.parse(word)
    return Key(written.tonic, Scale.parse(word).name)
