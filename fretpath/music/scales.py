"""The list of scales and modes: how they differ, how bright they are, what holds what.

**Theory.**  The seven modes stand in one row from bright to dark, Lydian to Locrian, and each
differs from the next in one degree: #4, b7, b3, b6, b2, b5 in turn (common practice).  So a
scale's *brightness* is the number of its raised degrees less the number of its lowered ones,
against the major scale: Lydian 1, major 0, Mixolydian -1 ... Locrian -5.

**Moods** are words teachers commonly attach to a scale: common practice, no source, and no law.
A slow tune in major can be sad.  Use them to start talking, not to mark an answer.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from fretpath.music.key import MODES, SCALES, Degree, Scale

MOODS = {
    "lydian": "bright, floating, as if about to rise",
    "major": "settled, open, cheerful",
    "mixolydian": "cheerful and relaxed, as in much folk and rock",
    "dorian": "sad but hopeful, cool, as in old songs and funk",
    "natural minor": "sad, serious",
    "phrygian": "dark and tense",
    "locrian": "restless, no feeling of rest on the tonic",
    "harmonic minor": "dramatic, strongly drawn to the tonic",
    "melodic minor": "minor that brightens as it climbs",
    "harmonic major": "major with a sad turn",
    "major pentatonic": "plain and sunny, as in country songs and lullabies",
    "minor pentatonic": "earthy, as in rock and blues",
    "blues": "bluesy, between major and minor",
    "major blues": "warm, as in gospel and country",
    "phrygian dominant": "fiery, solemn",
    "double harmonic": "ornate, intense",
    "hungarian minor": "dark and ornate",
    "whole tone": "floating, no note feels like home",
    "octatonic": "eerie, suspense",
}
"""Moods commonly attached to each scale (common practice, no source)."""

# The scale a teacher would set beside it to hear what is special; common practice.
_BESIDE = {
    "lydian": "major",
    "major": "mixolydian",
    "mixolydian": "major",
    "dorian": "natural minor",
    "natural minor": "dorian",
    "phrygian": "natural minor",
    "locrian": "phrygian",
    "harmonic minor": "natural minor",
    "melodic minor": "harmonic minor",
    "harmonic major": "major",
    "major pentatonic": "major",
    "minor pentatonic": "natural minor",
    "blues": "minor pentatonic",
    "major blues": "major pentatonic",
    "phrygian dominant": "phrygian",
    "double harmonic": "phrygian dominant",
    "hungarian minor": "harmonic minor",
    "whole tone": "lydian",
    "octatonic": "phrygian dominant",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """How one scale differs from another on the same tonic."""

    other: Scale
    """The scale it is set beside."""
    has: tuple[Degree, ...]
    """Degrees it has and the other has not."""
    lacks: tuple[Degree, ...]
    """Degrees the other has and it has not."""

    def __str__(self) -> str:
        """Such as ``#4 where major has 4``."""
        has, lacks = (" ".join(map(str, degrees)) for degrees in (self.has, self.lacks))
        if not self.has:
            return f"{self.other.name} without {lacks}"
        if not self.lacks:
            return f"{self.other.name} and {has}"
        return f"{has} where {self.other.name} has {lacks}"


@dataclass(frozen=True, slots=True)
class Holding:
    """A scale that holds a set of degrees."""

    scale: Scale
    """The scale."""
    as_spelled: bool
    """True when it holds them by name, False when only by sound (b5 where #4 was asked)."""
    spare: tuple[Degree, ...]
    """Its degrees that were not asked for."""


def brightness(scale: Scale) -> int:
    """Raised degrees less lowered ones against the major scale: 1 for Lydian, -5 for Locrian.

    >>> [brightness(SCALES[name]) for name in MODES]
    [1, 0, -1, -2, -3, -4, -5]
    """
    return sum(degree.alter for degree in scale.degrees)


def difference(scale: Scale, other: Scale) -> Difference:
    """Degrees that ``scale`` has and ``other`` has not, and the other way round."""
    return Difference(
        other,
        tuple(d for d in scale.degrees if d not in other.degrees),
        tuple(d for d in other.degrees if d not in scale.degrees),
    )


def apart_from(scale: Scale) -> Difference:
    """The degrees that set a scale apart from the one a teacher would set beside it.

    >>> str(apart_from(SCALES["lydian"])), str(apart_from(SCALES["blues"]))
    ('#4 where major has 4', 'minor pentatonic and b5')
    """
    return difference(scale, SCALES[_BESIDE[scale.name]])


def neighbors(scale: Scale) -> tuple[Difference, ...]:
    """Scales of the same size that differ in exactly one degree, brightest first.

    >>> [str(found) for found in neighbors(SCALES["phrygian"])][:2]
    ['b2 where natural minor has 2', '5 where locrian has b5']
    """
    found = [difference(scale, other) for other in SCALES.values() if other is not scale]
    single = [d for d in found if len(d.has) == len(d.lacks) == 1 and _same_number(d)]
    return tuple(sorted(single, key=lambda d: (d.other.name not in MODES, -brightness(d.other))))


def _same_number(difference: Difference) -> bool:
    return difference.has[0].number == difference.lacks[0].number


def scales_holding(degrees: Iterable[str]) -> tuple[Holding, ...]:
    """Every scale that holds all of these degrees, smallest first, then the brightest.

    >>> [found.scale.name for found in scales_holding(["1", "2", "3", "#4"])][:2]
    ['whole tone', 'lydian']

    Degrees are read as :meth:`Degree.parse` does and their octave is dropped.  Scales that hold
    them only by sound come after all those that hold them as spelled.
    """
    wanted = {Degree.parse(degree).base for degree in degrees}
    sounds = {degree.interval.semitones % 12 for degree in wanted}
    held = []
    for scale in SCALES.values():
        spelled = wanted.issubset(scale.degrees)
        if spelled or sounds.issubset(scale.semitones):
            semitones = zip(scale.degrees, scale.semitones, strict=True)
            spare = tuple(d for d, sound in semitones if sound not in sounds)
            held.append(Holding(scale, spelled, spare))
    return tuple(sorted(held, key=_smallest_first))


def _smallest_first(held: Holding) -> tuple[bool, int, int]:
    return not held.as_spelled, len(held.scale.degrees), -brightness(held.scale)


def nearest_scales(degrees: Iterable[str]) -> tuple[tuple[Scale, tuple[Degree, ...]], ...]:
    """Every scale with the degrees it lacks (by sound), fewest missing first, then the smallest.

    >>> [str(degree) for degree in nearest_scales(["1", "b2", "2", "3"])[0][1]]
    ['b2']
    """
    wanted = [Degree.parse(degree).base for degree in degrees]
    lacking = [
        (scale, tuple(d for d in wanted if d.interval.semitones % 12 not in scale.semitones))
        for scale in SCALES.values()
    ]
    return tuple(sorted(lacking, key=lambda found: (len(found[1]), len(found[0].degrees))))
