"""Every way to play every pitch: the states the hand can be in.

A state is (string, fret, position), and with the hand model that names the finger.  An open
string can be played from any position, so it has one state for each: the hand stays where it is.

States are kept as columns in the order of what they sound, and those of one pitch in the order
that settles ties: by fret, then position, then string.  Of two paths that cost the same, the one
wins whose first differing note comes first in it.

Where fingers follow letters, what a state sounds has a letter too: C sharp and D flat are two
*sounds* at one fret, with fingers of their own.  :func:`sound_of` numbers them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields
from functools import cached_property, lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretpath.neck.hand import LETTER_FRETS, Hand
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
    sound: Ints
    """What sounds, numbered by :func:`sound_of`."""

    def __len__(self) -> int:
        return len(self.string)

    @property
    def midi(self) -> Ints:
        """MIDI number of what sounds."""
        return self.sound % MIDI_NUMBERS

    @cached_property
    def _by_sound(self) -> dict[int, Ints]:
        if not len(self):
            return {}
        sounds, starts = np.unique(self.sound, return_index=True)
        groups = np.split(np.arange(len(self)), starts[1:])
        return {int(sound): group for sound, group in zip(sounds, groups, strict=True)}

    def sounding(self, sound: int) -> Ints:
        """Numbers of the states of a sound: a run of whole numbers, or none."""
        return self._by_sound.get(sound, _NONE)

    def only(self, which: NDArray[Any]) -> States:
        """The states that are marked, or those of the numbers given."""
        return States(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


_NONE = np.empty(0, dtype=np.int64)
_Row = tuple[int, int, int, int, int, int]
"""Sound, fret, position, string, finger, extended."""
MIDI_NUMBERS = 128
_ALTERED, _FARTHEST = 1.8, 3.0
"""Semitones from the average of a letter at which a finger leaves its own place, and the most."""


@lru_cache(maxsize=64)
def all_states(instrument: Instrument, hand: Hand) -> States:
    """Every state of an instrument and a hand, in the order given above."""
    rows = sorted((_rows_by_letter if hand.by_letter else _rows)(instrument, hand))
    sound, fret, position, string, finger, extended = np.array(rows, dtype=np.int64).T
    return States(string, fret, position, finger, extended.astype(bool), sound)


def sound_of(hand: Hand, midi: int, staff: int) -> int:
    """The number of a sound: MIDI, and where fingers follow letters the staff position with it.

    >>> from fretpath.neck.hand import hand_named
    >>> sound_of(hand_named("extended"), 61, 28), sound_of(hand_named("by-letter"), 61, 28) % 128
    (61, 61)
    """
    return midi + MIDI_NUMBERS * staff if hand.by_letter else midi


def _rows_by_letter(instrument: Instrument, hand: Hand) -> Iterator[_Row]:
    for string, at_open in enumerate(instrument.open_pitches, start=1):
        for index, position in enumerate(LETTER_FRETS, start=1):
            if position > instrument.frets_free:
                break
            for near in (-1, 0, 1):
                yield sound_of(hand, at_open.midi, at_open.staff + near), 0, position, string, 0, 0
            for letters, finger, fret, extended in _stopped(index, instrument.frets_free):
                midi = instrument.midi_at(string, fret)
                if midi is not None and _in_reach(instrument, hand, position, fret):
                    sound = sound_of(hand, midi, at_open.staff + letters)
                    yield sound, fret, position, string, finger, int(extended)


def _stopped(index: int, highest: int) -> Iterator[tuple[int, int, int, bool]]:
    """(letters above the open string, finger, fret, extended) with the index on a letter."""
    fingers = [(index + finger - 1, finger, False) for finger in (1, 2, 3, 4)]
    fingers.append((index + 4, 4, True))
    if index == 1:
        fingers.append((0, 1, False))
    for letters, finger, extended in fingers:
        usual = 12 * letters / 7
        for fret in range(1, highest + 1):
            if abs(fret - usual) < _FARTHEST:
                altered = abs(fret - usual) > _ALTERED
                yield letters, finger, fret, extended or altered


def _rows(instrument: Instrument, hand: Hand) -> Iterator[_Row]:
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
