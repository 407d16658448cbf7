"""Every way to play every pitch: the states the hand can be in.

A state is (string, fret, position), and with the hand model that names the finger.  An open
string can be played from any position, so it has one state for each: the hand stays where it is.

States are kept as columns, in the order that settles ties: by fret, then position, then string.
Of two paths that cost the same, the one wins whose first differing note comes first in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument

__all__ = ["States", "all_states"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class States:
    """Columns of equal length, one entry a state."""

    string: Ints
    """String number, 1 is the top line of the tab."""
    fret: Ints
    """Fret, 0 is open."""
    position: Ints
    """Fret under the index finger."""
    finger: Ints
    """1 to 4; 0 for an open string."""
    extended: NDArray[np.bool_]
    """Whether the finger leaves its own fret."""
    midi: Ints
    """What sounds."""

    def __len__(self) -> int:
        return len(self.string)

    @cached_property
    def by_pitch(self) -> dict[int, Ints]:
        """State numbers of each MIDI number, ascending."""
        order = np.argsort(self.midi, kind="stable")
        pitches, starts = np.unique(self.midi[order], return_index=True)
        groups = np.split(order, starts[1:])
        return {int(p): group for p, group in zip(pitches, groups, strict=True)}


def all_states(instrument: Instrument, hand: Hand) -> States:
    """Every state of an instrument and a hand, in the order that settles ties."""
    rows = sorted(_rows(instrument, hand))
    if not rows:
        rows = [(0, 1, 1, 0, 0, -1)]
    fret, position, string, finger, extended, midi = np.array(rows, dtype=np.int64).T
    return States(string, fret, position, finger, extended.astype(bool), midi)


def _rows(instrument: Instrument, hand: Hand) -> Iterator[tuple[int, int, int, int, int, int]]:
    for string in range(1, len(instrument.strings) + 1):
        for position in range(1, instrument.frets_free + 1):
            midi = instrument.midi_at(string, 0)
            assert midi is not None
            yield 0, position, string, 0, 0, midi
            for reach in hand.reaches(position):
                fret = position + reach.offset
                sound = instrument.midi_at(string, fret) if fret > 0 else None
                if sound is not None and _in_reach(instrument, hand, position, fret):
                    yield fret, position, string, reach.finger, int(reach.extended), sound


def _in_reach(instrument: Instrument, hand: Hand, position: int, fret: int) -> bool:
    """Whether the hand is large enough for a finger this far from the index finger."""
    span = abs(instrument.distance(fret) - instrument.distance(position))
    return hand.largest_span is None or span <= hand.largest_span
