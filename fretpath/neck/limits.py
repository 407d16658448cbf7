"""What the teacher (or the student's hand) will not have otherwise.

**Conventions.**  What a limit rules out is never played, and if nothing is
left, that is said.  Only ``avoid`` and ``prefer`` for open strings are prices.  Frets count from
the capo, strings from 1 (top line), positions from 1.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.neck.instrument import Instrument
from fretpath.neck.states import States
from fretpath.values import Value, check_fields

OpenStrings = Literal["allow", "avoid", "forbid", "prefer"]
"""What is thought of open strings, see :attr:`Limits.open_strings`."""
OPEN_STRINGS = get_args(OpenStrings)
MOST_ACCIDENTALS = 7
AVOIDED = 75.0
"""Effort that ``avoid`` adds to an open string."""
PREFERRED = 50.0
"""Effort that ``prefer`` adds to a stopped note."""


@dataclass(frozen=True, slots=True)
class Start(Value):
    """Where the first note is played."""

    string: int
    """String number, 1 is the top line of the tab."""
    fret: int
    """Fret, 0 is open."""
    finger: int | None = None
    """1 to 4, 0 for an open string; None leaves it open."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.string < 1 or self.fret < 0 or self.finger not in (None, 0, 1, 2, 3, 4):
            raise RequestError("a start is a string from 1, a fret from 0, and a finger 0 to 4")

    @classmethod
    def parse(cls, text: str) -> Start:
        """Read ``4-7`` (string and fret) or ``4-7-2`` (and finger)."""
        match = re.fullmatch(r"(\d{1,2})-(\d{1,2})(?:-([0-4]))?", text.strip())
        if match is None:
            raise RequestError(
                f'"{text[:40]}" is not a place to start: write string-fret or string-fret-finger, '
                "such as 4-7 or 4-7-2"
            )
        return cls(int(match[1]), int(match[2]), int(match[3]) if match[3] else None)

    def __str__(self) -> str:
        finger = "" if self.finger is None else f"-{self.finger}"
        return f"{self.string}-{self.fret}{finger}"


@dataclass(frozen=True)
class Limits(Value):
    """Limits on where and how the melody is played; the default allows everything."""

    lowest_fret: int = 0
    """No fretted note below this fret (open strings are a limit of their own)."""
    highest_fret: int | None = None
    """No note above this fret; None is the end of the neck."""
    strings: tuple[int, ...] | None = None
    """Only these strings; None is all of them."""
    one_string: bool = False
    """The whole melody on one string, whichever costs least."""
    position: int | None = None
    """Hold the hand in this position; None lets it move."""
    no_shift: bool = False
    """Hold the hand in one position, whichever costs least."""
    open_strings: OpenStrings = "allow"
    """allow, avoid (an open string costs 75 more), forbid, or prefer (a stopped note costs 50
    more)."""
    start: Start | None = None
    """Where the first note is played; None leaves it open."""
    accidentals: int | None = None
    """The most sharps or flats of a key that is chosen for a tune; a key that is given stays."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.strings is not None and not self.strings:
            raise RequestError("no string is left to play on: name one or more, such as 1,2")

    def check(self, instrument: Instrument) -> None:
        """Raise :class:`RequestError` if a limit makes no sense on the instrument."""
        top = instrument.frets_free
        if self.highest_fret is not None and not 0 <= self.highest_fret <= top:
            raise RequestError(f"the highest fret is 0 to {top} here, not {self.highest_fret}")
        if not 0 <= self.lowest_fret <= top:
            raise RequestError(f"the lowest fret is 0 to {top} here, not {self.lowest_fret}")
        if self.highest_fret is not None and self.lowest_fret > self.highest_fret:
            raise RequestError(
                f"the lowest fret {self.lowest_fret} is above the highest, {self.highest_fret}; "
                "drop one of the two"
            )
        if self.position is not None and not 1 <= self.position <= top:
            raise RequestError(f"a position is 1 to {top} here, not {self.position}")
        if self.accidentals is not None and not 0 <= self.accidentals <= MOST_ACCIDENTALS:
            raise RequestError(
                f"a key has 0 to {MOST_ACCIDENTALS} sharps or flats, not {self.accidentals}"
            )
        for string in (*(self.strings or ()), *((self.start.string,) if self.start else ())):
            if not 1 <= string <= len(instrument.strings):
                raise RequestError(
                    f"there is no string {string}: this instrument has strings 1 (top line) "
                    f"to {len(instrument.strings)}"
                )

    def allowed(self, states: States) -> NDArray[np.bool_]:
        """Which states the limits leave; shape (states,)."""
        fretted = states.finger > 0
        keep = ~fretted | (states.fret >= self.lowest_fret)
        if self.highest_fret is not None:
            keep &= states.fret <= self.highest_fret
        if self.strings is not None:
            keep &= np.isin(states.string, self.strings)
        if self.position is not None:
            keep &= states.position == self.position
        if self.open_strings == "forbid":
            keep &= fretted
        return keep

    def without_one(self) -> Iterator[tuple[str, Limits]]:
        """Each limit as the command line writes it, and the limits without it."""
        for field in fields(self):
            value = getattr(self, field.name)
            if value == field.default or (field.name, value) == ("open_strings", "allow"):
                continue
            option = f"--{field.name.replace('_', '-')}"
            shown = ",".join(map(str, value)) if isinstance(value, tuple) else str(value)
            text = option if value is True else f"{option} {shown}"
            dropped: dict[str, Any] = {field.name: field.default}
            yield text, replace(self, **dropped)
