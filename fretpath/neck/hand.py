"""The hand: which finger reaches which fret from a position.

**Conventions.**  The *position* is the fret under the index finger, 1 or higher.  A hand model
says which frets the four fingers cover from there: a finger for each offset in frets from the
position.  Each (position, fret) has at most one finger, so a place and a position name the
finger too.  0 stands for no finger (an open string).

**Models.**

- ``one-finger-per-fret``: offsets 0 1 2 3, fingers 1 2 3 4; the closed hand of guitar and bass
  methods (common practice).
- ``one-two-four``: offsets 0 1 2, fingers 1 2 4 below a change-over fret, one finger per fret
  from there.  From fret 6 on, four frets of a 34 in bass span 97.2 mm, what a first-position hand
  spans on a 25.5 in guitar (97.3 mm, closed form); so 6 is the default.  Published bass teaching:
  E. Friedland, Bass Emporium Newsletter, August 2008, uses both systems.
- ``extended``: one finger per fret, and at a price one fret more for index and little finger.
- ``diatonic``: two frets a finger, offsets -1..5, whatever the notes are called.
- ``by-letter``: fingers follow letters, as on mandolin and violin (common practice).  In first
  position the index finger plays the letter above the open string, sharp or flat, the next finger
  the next letter; in the second position the index finger begins a letter higher, and so on.  The
  little finger may reach one letter more, at the price of an extension, and a raised open letter is
  the index finger's.  The *position* is the fret at which the letter of the index finger lies on
  the average, 2 for the first (:data:`LETTER_FRETS`).
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from fretpath.errors import RequestError, nearest
from fretpath.neck.instrument import MM_PER_INCH
from fretpath.values import Value


@dataclass(frozen=True, slots=True)
class Reach(Value):
    """One fret a hand covers from its position."""

    offset: int
    """Frets above the position; -1 is one below it."""
    finger: int
    """1 index, 2 middle, 3 ring, 4 little."""
    extended: bool = False
    """True where the finger leaves its own fret and pays for it."""


def _reaches(fingers: str, *, extended: tuple[int, ...] = (), first: int = 0) -> tuple[Reach, ...]:
    """From a finger for each offset, ``.`` for none: ``"12.4"``."""
    return tuple(
        Reach(offset, int(finger), offset in extended)
        for offset, finger in enumerate(fingers, start=first)
        if finger != "."
    )


@dataclass(frozen=True)
class Hand(Value):
    """A hand model.

    >>> [reach.finger for reach in hand_named("one-two-four").reaches(3)]
    [1, 2, 4]
    """

    name: str
    """How it is asked for."""
    low: tuple[Reach, ...]
    """What it covers below the change-over fret."""
    high: tuple[Reach, ...]
    """What it covers in positions from the change-over fret on."""
    change_over: int = 1
    """First position that uses ``high``; 1 when there is one pattern for the whole neck."""
    largest_span: float | None = None
    """Distance in mm no finger may be from the index finger; None for no limit."""
    by_letter: bool = False
    """Whether fingers follow the letters of spelled notes, and the reaches are only the usual
    ones."""

    def reaches(self, position: int) -> tuple[Reach, ...]:
        """The frets covered from a position (1 or higher), lowest first."""
        return self.high if position >= self.change_over else self.low


LETTER_FRETS = tuple(round(12 * letters / 7) for letters in range(1, 22))
"""The fret of each letter above an open string on the average: 2 3 5 7 9 10 12 ..."""
_CLOSED = _reaches("1234")
HANDS: Mapping[str, Hand] = MappingProxyType(
    {
        hand.name: hand
        for hand in (
            Hand("one-finger-per-fret", _CLOSED, _CLOSED),
            Hand("one-two-four", _reaches("124"), _CLOSED, change_over=6),
            Hand(
                "extended",
                _reaches("112344", extended=(-1, 4), first=-1),
                _reaches("112344", extended=(-1, 4), first=-1),
            ),
            Hand(
                "diatonic",
                _reaches("1122334", extended=(-1,), first=-1),
                _reaches("1122334", extended=(-1,), first=-1),
            ),
            Hand(
                "by-letter",
                _reaches("1122334", extended=(-1,), first=-1),
                _reaches("1122334", extended=(-1,), first=-1),
                by_letter=True,
            ),
        )
    }
)
"""Every hand model by name."""


def hand_named(name: str) -> Hand:
    """A hand model by name, a change-over fret after a colon: ``one-two-four:5``.

    Or a hand of one's own: a finger for each fret from the position on, ``.`` for none.

    >>> [(reach.offset, reach.finger) for reach in hand_named("12.4").reaches(1)]
    [(0, 1), (1, 2), (3, 4)]
    """
    if re.fullmatch(r"[1-4.]{1,8}", name.strip()) and name.strip()[0] != ".":
        fingers = _reaches(name.strip())
        return Hand(name.strip(), fingers, fingers)
    match = re.fullmatch(r"([a-z-]+)(?::(\d{1,2}))?", name.strip().lower())
    if match is None or match[1] not in HANDS:
        raise RequestError(
            f'unknown hand "{name[:40]}"{nearest(name, HANDS)} (known: {", ".join(HANDS)})'
        )
    hand = HANDS[match[1]]
    if match[2] is None:
        return hand
    if not int(match[2]):
        raise RequestError(f"the change-over of {hand.name} is fret 1 or higher")
    if hand.change_over == 1:
        raise RequestError(f"the hand {hand.name} has no change-over fret to set")
    return replace(hand, change_over=int(match[2]))


def reaching(hand: Hand, reach: str | None) -> Hand:
    """A hand with a widest span from the index finger, ``80mm`` or ``3.5in``; None leaves it.

    >>> reaching(hand_named("extended"), "3.5in").largest_span
    88.9
    """
    if reach is None:
        return hand
    match = re.fullmatch(r"(\d{1,3}(?:\.\d{1,2})?)\s*(mm|in)", reach.strip())
    span = round(float(match[1]) * (MM_PER_INCH if match[2] == "in" else 1), 3) if match else 0.0
    if not 20 <= span <= 300:
        raise RequestError(f'"{reach[:40]}" is not a reach: write 80mm or 3.5in, 20 to 300 mm')
    return replace(hand, largest_span=span)
