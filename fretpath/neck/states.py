"""Every way to play every pitch: the states the hand can be in.

A state is (string, fret, position), and with the hand model that names the finger.  An open
string can be played from any position, so it has one state for each: the hand stays where it is.

States are kept as columns in the order of what they sound, and those of one pitch in the order
that settles ties: by fret, then position, then string.  Of two paths that cost the same, the one
wins whose first differing note comes first in it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument

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
    def _by_pitch(self) -> dict[int, Ints]:
        if not len(self):
            return {}
        pitches, starts = np.unique(self.midi, return_index=True)
        groups = np.split(np.arange(len(self)), starts[1:])
        return {int(pitch): group for pitch, group in zip(pitches, groups, strict=True)}

    def sounding(self, midi: int) -> Ints:
        """Numbers of the states that sound ``midi``: a run of whole numbers, or none."""
        return self._by_pitch.get(midi, _NONE)

    def only(self, which: NDArray[Any]) -> States:
        """The states that are marked, or those of the numbers given."""
        return States(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


_NONE = np.empty(0, dtype=np.int64)


@lru_cache(maxsize=64)
def all_states(instrument: Instrument, hand: Hand) -> States:
    """Every state of an instrument and a hand, in the order given above."""
    rows = sorted(_rows(instrument, hand))
    midi, fret, position, string, finger, extended = np.array(rows, dtype=np.int64).T
    return States(string, fret, position, finger, extended.astype(bool), midi)


def _rows(instrument: Instrument, hand: Hand) -> Iterator[tuple[int, int, int, int, int, int]]:
    for string in range(1, len(instrument.strings) + 1):
        for position in range(1, instrument.frets_free + 1):
            midi = instrument.midi_at(string, 0)
            assert midi is not None
            yield midi, 0, position, string, 0, 0
            for reach in hand.reaches(position):
                fret = position + reach.offset
                sound = instrument.midi_at(string, fret) if fret > 0 else None
                if sound is not None and _in_reach(instrument, hand, position, fret):
                    yield sound, fret, position, string, reach.finger, int(reach.extended)


def _in_reach(instrument: Instrument, hand: Hand, position: int, fret: int) -> bool:
    """Whether the hand is large enough for a finger this far from the index finger."""
    span = abs(instrument.distance(fret) - instrument.distance(position))
    return hand.largest_span is None or span <= hand.largest_span
