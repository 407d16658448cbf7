"""Movable-do syllables: how a degree is sung.

**Conventions.**  The tonic of a major key is ``do``.  A raised degree takes the vowel i (``fi``
for #4), a lowered one e (``me`` for b3); the lowered second is ``ra``.  A degree that has no
syllable in common use is the plain syllable with its accidental behind (``fab``).  In minor
there are two habits: *do-based* (the tonic is always ``do``, so b3 is ``me``; it compares with the
parallel major) and *la-based* (syllables of the relative major, so a minor tonic is ``la`` and a
Dorian one ``re``).  Common practice; vowels as in B. Crowell's *Eyes and Ears* (2004-2017).
"""

from __future__ import annotations

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.pitch import Interval, accidental, natural_semitones

__all__ = ["SYLLABLES", "syllable"]

SYLLABLES = ("do", "la")
"""The syllable of a minor tonic: do-based or la-based."""

_PLAIN = ("do", "re", "mi", "fa", "so", "la", "ti")
_RAISED = {1: "di", 2: "ri", 4: "fi", 5: "si", 6: "li"}
_LOWERED = {2: "ra", 3: "me", 5: "se", 6: "le", 7: "te"}
# The degree of the relative major on which each mode begins, and its distance from do.
_ROTATION = {
    "major": 0,
    "dorian": 1,
    "phrygian": 2,
    "lydian": 3,
    "mixolydian": 4,
    "natural minor": 5,
    "locrian": 6,
}


def syllable(degree: Degree, key: Key, *, minor: str = "do") -> str:
    """The syllable of a degree; *minor* is ``do`` or ``la`` and counts only where modes differ.

    >>> syllable(Degree.parse("b3"), Key.parse("A minor"))
    'me'
    >>> syllable(Degree.parse("b3"), Key.parse("A minor"), minor="la")
    'do'
    """
    if minor not in SYLLABLES:
        raise RequestError(f'syllables are do-based or la-based: do or la, not "{minor[:40]}"')
    if minor == "la":
        degree = _relative(degree, key)
    table = {1: _RAISED, -1: _LOWERED, 0: dict(enumerate(_PLAIN, start=1))}.get(degree.alter, {})
    plain = _PLAIN[degree.number - 1]
    return table.get(degree.number, plain + accidental(degree.alter))


def _relative(degree: Degree, key: Key) -> Degree:
    """The degree counted from the tonic of the relative major."""
    steps = _ROTATION[key.scale.parent]
    up = degree.interval + Interval(steps, natural_semitones(steps))
    return Degree(up.steps, up.semitones - natural_semitones(up.steps))
