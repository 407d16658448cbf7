"""What the teacher (or the student's hand) will not have otherwise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.neck.instrument import Instrument
from fretpath.neck.states import States

__all__ = ["OPEN_STRINGS", "Wishes"]

OPEN_STRINGS = ("allow", "avoid", "forbid", "prefer")


@dataclass(frozen=True)
class Wishes:
    """Limits on where and how the melody is played; the default allows everything."""

    lowest_fret: int = 0
    """No fretted note below this fret (open strings are a wish of their own)."""
    highest_fret: int | None = None
    """No note above this fret; None is the end of the neck."""
    strings: tuple[int, ...] | None = None
    """Only these strings; None is all of them."""
    position: int | None = None
    """Hold the hand in this position; None lets it move."""
    open_strings: str = "allow"
    """allow, avoid (four times the price), forbid, or prefer (fretted notes pay instead)."""

    def __post_init__(self) -> None:
        if self.open_strings not in OPEN_STRINGS:
            raise RequestError(
                f'open strings are {", ".join(OPEN_STRINGS)}, not "{self.open_strings[:40]}"'
            )

    def check(self, instrument: Instrument) -> None:
        """Raise :class:`RequestError` if a limit makes no sense on the instrument."""
        top = instrument.frets_free
        if self.highest_fret is not None and not 0 <= self.highest_fret <= top:
            raise RequestError(f"the highest fret is 0 to {top} here, not {self.highest_fret}")
        if not 0 <= self.lowest_fret <= (top if self.highest_fret is None else self.highest_fret):
            raise RequestError(
                f"the lowest fret {self.lowest_fret} is above the highest; drop one of the two"
            )
        if self.position is not None and not 1 <= self.position <= top:
            raise RequestError(f"a position is 1 to {top} here, not {self.position}")
        for string in self.strings or ():
            if not 1 <= string <= len(instrument.strings):
                raise RequestError(
                    f"there is no string {string}: this instrument has strings 1 (top line) "
                    f"to {len(instrument.strings)}"
                )

    def allowed(self, states: States) -> NDArray[np.bool_]:
        """Which states the wishes leave; shape (states,)."""
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
