"""From the notes of melodies to layered graphs, and from paths back to the hand.

A :class:`Planner` knows one instrument, one hand, its prices and the wishes, and serves any
number of melodies: equal notes share their layers, and equal steps their tables.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Melody, Placement
from fretpath.neck.costs import Weights, along, note_costs, step_parts
from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.pace import haste_of
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.states import States, all_states
from fretpath.neck.wishes import Wishes

__all__ = ["FREE", "Limit", "Line", "Planner"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Limit:
    """What one note is held to; None leaves a thing open."""

    string: int | None = None
    """String number."""
    fret: int | None = None
    """Fret."""
    position: int | None = None
    """Fret under the index finger."""
    finger: int | None = None
    """1 to 4, or 0 for an open string."""
    without: tuple[tuple[int, int], ...] = ()
    """Places (string, fret) that are ruled out."""

    def holds(self, states: States, numbers: Ints) -> NDArray[np.bool_]:
        """Which of the states ``numbers`` keep to it."""
        keep = np.ones(len(numbers), dtype=bool)
        for column, wanted in (
            (states.string, self.string),
            (states.fret, self.fret),
            (states.position, self.position),
            (states.finger, self.finger),
        ):
            if wanted is not None:
                keep &= column[numbers] == wanted
        for string, fret in self.without:
            keep &= (states.string[numbers] != string) | (states.fret[numbers] != fret)
        return keep


FREE = Limit()


@dataclass(frozen=True)
class Line:
    """What the hand needs to know of a melody: its struck notes."""

    midi: tuple[int, ...]
    """MIDI number of each note."""
    limits: Mapping[int, Limit]
    """What single notes are held to, by their place in ``midi``."""
    haste: tuple[tuple[int, int], ...] | None = None
    """For each step, what the price of a shift is multiplied by, in 64ths: (after a fretted note,
    after an open string); None when nothing is known of the time."""


@dataclass(frozen=True)
class Planner:
    """One instrument, one hand, its prices and the wishes."""

    instrument: Instrument
    hand: Hand
    weights: Weights
    wishes: Wishes

    @cached_property
    def states(self) -> States:
        """Every state of the hand on the instrument."""
        return all_states(self.instrument, self.hand)

    @cached_property
    def allowed(self) -> NDArray[np.bool_]:
        """Which states the wishes leave."""
        return self.wishes.allowed(self.states)

    @cached_property
    def costs(self) -> Ints:
        """What each state costs by itself."""
        return note_costs(self.instrument, self.states, self.weights, self.wishes.open_strings)

    def haste(self, melody: Melody) -> tuple[tuple[int, int], ...] | None:
        """How much dearer or cheaper each shift of a melody is; see :mod:`fretpath.neck.pace`."""
        return haste_of(melody)

    def choices(self, midi: int, limit: Limit = FREE) -> Ints:
        """Numbers of the states that sound ``midi`` within the limit and the wishes."""
        numbers = self.states.by_pitch.get(midi, np.empty(0, dtype=np.int64))
        numbers = numbers[self.allowed[numbers]]
        return numbers if limit is FREE else numbers[limit.holds(self.states, numbers)]

    def missing(self, line: Line) -> list[int]:
        """The notes of a line that have no state at all."""
        empty = {midi for midi in set(line.midi) if len(self.choices(midi)) == 0}
        missing = {note for note, midi in enumerate(line.midi) if midi in empty} if empty else set()
        for note, limit in line.limits.items():
            if len(self.choices(line.midi[note], limit)) == 0:
                missing.add(note)
        return sorted(missing)

    def layers(self, lines: Sequence[Line]) -> list[Layers]:
        """The layered graph of each line; no note may be missing.  All share their tables."""
        found, kind = self._kinds(lines)
        states = self._padded(found)
        steps = [
            _step_codes(at, line.haste, len(found)) for at, line in zip(kind, lines, strict=True)
        ]
        codes, table = np.unique(np.concatenate(steps), return_inverse=True)
        tables = self._tables(states, codes, len(found))
        ends = np.cumsum([len(step) for step in steps])[:-1]
        first = np.where(states < 0, FORBIDDEN, self.costs[states])
        return [
            Layers(states, at, first[at[0]], tables, row)
            for at, row in zip(kind, np.split(table, ends), strict=True)
        ]

    def _kinds(self, lines: Sequence[Line]) -> tuple[list[Ints], list[Ints]]:
        """The choices of each kind of layer, and the kind of each note of each line."""
        ends = np.cumsum([len(line.midi) for line in lines])[:-1]
        notes = np.concatenate([np.array(line.midi, dtype=np.int64) for line in lines])
        pitches, kinds = np.unique(notes, return_inverse=True)
        found = [self.choices(int(midi)) for midi in pitches]
        each = np.split(kinds, ends)
        extra: dict[tuple[int, Limit], int] = {}
        for line, kind in zip(lines, each, strict=True):
            for note, limit in line.limits.items():
                pair = (line.midi[note], limit)
                if pair not in extra:
                    extra[pair] = len(found)
                    found.append(self.choices(*pair))
                kind[note] = extra[pair]
        return found, each

    def _padded(self, found: Sequence[Ints]) -> Ints:
        width = max(len(numbers) for numbers in found)
        states = np.full((len(found), width), -1, dtype=np.int64)
        for row, numbers in zip(states, found, strict=True):
            row[: len(numbers)] = numbers
        return states

    def _tables(self, padded: Ints, codes: Ints, kinds: int) -> Ints:
        """One table for each code; shape (codes, targets, sources)."""
        pair, haste = codes // _HASTES, codes % _HASTES
        source, target = padded[pair // kinds][:, None, :], padded[pair % kinds][:, :, None]
        parts = step_parts(self.instrument, self.states, self.weights, source, target)
        after_open, after_fretted = np.divmod(haste, _MOST_HASTE)
        hurried = np.where(
            self.states.finger[source] > 0, after_fretted[:, None, None], after_open[:, None, None]
        )
        tables = parts.pop("shift") * hurried // PLAIN_HASTE
        for part in parts.values():
            tables += part
        tables += self.costs[target]
        tables[self._impossible(source, target)] = FORBIDDEN
        return tables

    def _impossible(self, source: Ints, target: Ints) -> NDArray[np.bool_]:
        """Steps that lead from or to padding, or that the hand or the wishes forbid."""
        barred = (source < 0) | (target < 0)
        states = self.states
        stays = states.position[source] == states.position[target]
        if self.wishes.no_shift:
            barred = barred | ~stays
        fret_mm = along(self.instrument, states.fret)
        apart = np.abs(fret_mm[source] - fret_mm[target])
        for one, other, most in self.hand.spans:
            fingers = states.finger[source], states.finger[target]
            pair = ((fingers[0] == one) & (fingers[1] == other)) | (
                (fingers[0] == other) & (fingers[1] == one)
            )
            barred = barred | (stays & pair & (apart > most))
        return barred


PLAIN_HASTE = 64
"""The haste of a shift at its plain price."""
_MOST_HASTE = 1024
_HASTES = _MOST_HASTE * _MOST_HASTE


def _step_codes(kind: Ints, haste: tuple[tuple[int, int], ...] | None, kinds: int) -> Ints:
    """One number for each step: which kinds of layer it joins, and in how much haste."""
    pair = kind[:-1] * kinds + kind[1:]
    if haste is None:
        return pair * _HASTES + PLAIN_HASTE * (_MOST_HASTE + 1)
    fretted, open_string = np.array(haste, dtype=np.int64).reshape(-1, 2).T
    return pair * _HASTES + open_string * _MOST_HASTE + fretted


def limits_of(placements: Sequence[Placement | None]) -> dict[int, Limit]:
    """The limits that a teacher's placements set, by note."""
    return {
        note: Limit(placement.string, placement.fret)
        for note, placement in enumerate(placements)
        if placement is not None
    }
