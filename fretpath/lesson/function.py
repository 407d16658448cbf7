"""What a note does in its key, and what a leap does: the functions of the teaching ladder.

**Theory.**  A leap is learned by its role in the key sooner than by its size: the fifth from 1
to 5 is easy, the same fifth from 2 to 6 is not.  So every leap gets the easiest account that fits
it, in the order in which B. Crowell's anthology Eyes and Ears (2004-2017) brings them: to the
tonic, back to a note just heard, inside the tonic triad (third, fourth or octave; fifth; sixth),
inside the dominant (thirds; wider), between tonic and dominant, inside the subdominant, sevenths,
and the rest.  Only the order is taken from there; the exact limits below are ours.

**Conventions.**  Chords by degree number in the key in force: tonic 1 3 5, dominant 5 7 2 4 (with
its seventh), subdominant 4 6 1.  In minor, 6 and 7 belong to the key in both their forms.  A leap
is anything wider than a whole tone.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch

LEAPS = (
    "leap to 1",
    "leap back to a note just heard",
    "3rd, 4th or 8ve in the tonic triad",
    "5th in the tonic triad",
    "6th in the tonic triad",
    "3rd in the dominant",
    "wider leap in the dominant",
    "leap between tonic and dominant",
    "leap in the subdominant",
    "leap of a 7th",
    "leap outside the main chords",
    "augmented 2nd",
    "leap with a note off the key",
)
"""Kinds of leap, from easy to hard for the ear."""

_BOTH_FORMS = frozenset({"b6", "6", "b7", "7"})
_MINOR = frozenset({"natural minor", "harmonic minor", "melodic minor"})
_JUST_HEARD = 4
"""How many notes back a note still counts as just heard (our choice)."""

TONIC, DOMINANT, SUBDOMINANT = frozenset({1, 3, 5}), frozenset({5, 7, 2, 4}), frozenset({4, 6, 1})


def belongs(key: Key | None, degree: Degree | None) -> bool:
    """Whether the key holds the degree; in minor, 6 and 7 are at home raised and not.

    >>> belongs(Key.parse("A minor"), Degree.parse("7")), belongs(Key.parse("A"), Degree(6, -1))
    (True, False)
    """
    if key is None or degree is None:
        return False
    return key.holds(degree) or (key.mode in _MINOR and degree.plain in _BOTH_FORMS)


def is_leap(interval: Interval) -> bool:
    """Wider than a whole tone, whatever its letters."""
    return abs(interval.semitones) > 2


def is_triad_leap(key: Key | None, before: Degree | None, after: Degree | None) -> bool:
    """Whether both notes stand in the tonic triad of the key."""
    return _in(TONIC, key, before, after)


def leaps_of(melody: Melody) -> list[str]:
    """The kind of each leap, in order of the tune; see :data:`LEAPS`.

    >>> from fretpath.music.notation import parse_melody
    >>> leaps_of(parse_melody("1 5 4 1 2 6"))
    ['5th in the tonic triad', 'leap to 1', 'leap outside the main chords']
    """
    pitches, degrees, struck = melody.pitches, melody.degrees, melody.struck
    return [
        leap_kind(melody.key_at(struck[at + 1]), degrees[at : at + 2], pitches[: at + 2])
        for at, (low, high) in enumerate(pairwise(pitches))
        if is_leap(high - low)
    ]


def leap_kind(key: Key | None, degrees: Sequence[Degree | None], heard: Sequence[Pitch]) -> str:
    """The easiest account of one leap.

    *degrees* are the two degrees of the leap, *heard* all pitches of the tune up to and with the
    note leapt to.
    """
    before, after = degrees
    leap = heard[-1] - heard[-2]
    size = abs(leap.steps) + 1
    if before is None or after is None or not (belongs(key, before) and belongs(key, after)):
        return "leap with a note off the key"
    if abs(leap.steps) == 1:
        return "augmented 2nd"
    if after.number == 1 and size in (3, 4, 5, 6, 8):
        return "leap to 1"
    if heard[-1] in heard[-2 - _JUST_HEARD : -2]:
        return "leap back to a note just heard"
    return _by_chord(key, before, after, size)


def _by_chord(key: Key | None, before: Degree, after: Degree, size: int) -> str:
    if _in(TONIC, key, before, after):
        if size in (3, 4, 8):
            return "3rd, 4th or 8ve in the tonic triad"
        if size in (5, 6):
            return f"{size}th in the tonic triad"
    if size == 7:
        return "leap of a 7th"
    if size > 8:
        return "leap outside the main chords"
    if _in(DOMINANT, key, before, after):
        return "3rd in the dominant" if size == 3 else "wider leap in the dominant"
    if {before.number, after.number} & {7, 2} and {before.number, after.number} & {1, 3}:
        return "leap between tonic and dominant"
    if _in(SUBDOMINANT, key, before, after):
        return "leap in the subdominant"
    return "leap outside the main chords"


def _in(
    chord: frozenset[int], key: Key | None, before: Degree | None, after: Degree | None
) -> bool:
    return all(
        degree is not None and degree.number in chord and belongs(key, degree)
        for degree in (before, after)
    )
