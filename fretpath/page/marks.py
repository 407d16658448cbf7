"""A stretch of the neck with marks on it: what every neck chart shows, text or drawing.

**Conventions.**  String 1 is the top line; frets count from the capo, 0 is open.  A melody numbers
its notes from 1; a place that is played more than once carries all its numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Self

from fretpath.errors import RequestError
from fretpath.neck.instrument import Instrument

SPACINGS = ("neck", "even")
"""Frets as on the instrument, or all of one width."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One place on the neck."""

    string: int
    """String number, 1 is the top line."""
    fret: int
    """Fret, 0 is open."""
    label: str
    """What it carries; empty for a blank to fill in."""
    tonic: bool = False
    """Whether it is the tonic (or the root), drawn in a square."""
    steps: tuple[int, ...] = ()
    """Numbers (from 1) of the melody's notes played here."""


@dataclass(frozen=True)
class MarkedNeck:
    """A stretch of the neck with its marks."""

    title: str
    """What the chart shows, in words."""
    instrument: Instrument
    """The neck."""
    marks: tuple[Mark, ...]
    """Every place on the neck, by string, then fret; also those beyond the frets shown."""
    first: int
    """Lowest fret shown; 0 shows the open strings."""
    last: int
    """Highest fret shown."""
    label: str = "degree"
    """What the marks carry: ``degree``, ``note`` or ``finger``."""
    positions: tuple[tuple[int, int], ...] = ()
    """(note number from 1, position of the hand from there) for a melody."""
    scale: str = ""
    """The scale of a melody's notes, as far as it is told; empty where the title names it."""
    home: str = "tonic"
    """What a square marks: the ``tonic``, or the ``root`` of a chord."""
    description: str = ""
    """The text that stands for the drawing: a melody's tab; empty for the chart as text."""

    @property
    def shown(self) -> tuple[Mark, ...]:
        """The marks on the frets shown."""
        return tuple(mark for mark in self.marks if self.first <= mark.fret <= self.last)

    def between(self, first: int, last: int) -> Self:
        """The same over other frets."""
        top = self.instrument.frets_free
        if not 0 <= first < last <= top:
            raise RequestError(
                f"the neck has frets 0 to {top} here; a range such as 0-{min(top, 5)} is meant, "
                f"not {first}-{last}"
            )
        return replace(self, first=first, last=last)


def check_spacing(spacing: str) -> None:
    """Raise :class:`RequestError` unless it is one of :data:`SPACINGS`."""
    if spacing not in SPACINGS:
        raise RequestError(f'frets are spaced "even" or "neck", not "{spacing[:40]}"')
