"""Counts and places in words, for messages and pages.

**Conventions.**  Regular plurals only: what is counted takes an s from two on, and at nought.
A place is ``bar 3``, ``note 7`` or ``pickup``.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction


def counted(count: int | Fraction, what: str) -> str:
    """A number of things.

    >>> counted(1, "semitone"), counted(0, "shift"), counted(Fraction(3, 2), "beat")
    ('1 semitone', '0 shifts', '3/2 beats')
    """
    return f"{count} {plural(count, what)}"


def plural(count: int | Fraction, what: str) -> str:
    """The word for so many of a thing, without the number.

    >>> plural(1, "degree"), plural(2, "degree")
    ('degree', 'degrees')
    """
    return what if count == 1 else f"{what}s"


_NUMBERS = ("three", "four", "five", "six", "seven", "eight", "nine")
_TIMES = ("never", "once", "twice", *(f"{number} times" for number in _NUMBERS))


def times(count: int) -> str:
    """How often, in words: never, once, twice, three times; figures from ten on.

    >>> [times(count) for count in range(4)]
    ['never', 'once', 'twice', 'three times']
    """
    return _TIMES[count] if count < len(_TIMES) else f"{count} times"


def listed(places: Sequence[str], *, most: int | None = None) -> str:
    """Places in one phrase, each once.

    >>> listed(["pickup", "bar 2", "bar 2", "bar 4"]), listed(["note 3"])
    ('pickup, bars 2, 4', 'note 3')
    """
    spots = list(dict.fromkeys(places))
    shown = spots[:most]
    numbers = [spot.split()[-1] for spot in shown if spot != "pickup"]
    words = ["pickup"] if "pickup" in shown else []
    if numbers:
        unit = next(spot.split()[0] for spot in shown if spot != "pickup")
        words.append(f"{plural(len(numbers), unit)} {', '.join(numbers)}")
    return ", ".join(words) + (" ..." if len(spots) > len(shown) else "")
