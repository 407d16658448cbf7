"""From the notes of melodies to layered graphs, and from paths back to the hand.

A :class:`Planner` knows one setup and serves any
number of melodies: equal notes share their layers, and equal steps their tables.

**Theory.**  A note is a layer that holds the states of its sound; the price of a step from one
layer to the next is a block of one matrix over all states.  In a hurry only the shift grows
dearer, so there is one matrix for each haste.

**Conventions.**  States are numbered from 0 in the order of their sound.  Matrices and tables have
targets as rows and sources as columns, in micrometre-equivalents; what may not be is FORBIDDEN.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Melody, Placement
from fretpath.neck.costs import note_costs, step_parts
from fretpath.neck.pace import PLAIN, PLAIN_HASTE, Haste, haste_of
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import Setup
from fretpath.neck.states import States, all_states

__all__ = ["FREE", "Line", "NoteLimit", "Planner", "planner_for"]

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class NoteLimit:
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


FREE = NoteLimit()


@dataclass(frozen=True)
class Line:
    """What the hand needs to know of a melody: its struck notes."""

    midi: tuple[int, ...]
    """MIDI number of each note."""
    limits: Mapping[int, NoteLimit]
    """What single notes are held to, by their place in ``midi``."""
    haste: tuple[Haste, ...] | None = None
    """The haste of each step; None when nothing is known of the time."""


@dataclass(frozen=True)
class Planner:
    """The steps of the hand on one setup.

    The cost of every step between any two states is one table, the *matrix*, computed once; the
    states lie in the order of their sound, so the steps from one pitch to another are a block of
    it and need no copying.
    """

    setup: Setup

    def __reduce__(self) -> tuple[object, tuple[Setup]]:
        """Travel to another process without the tables, which are made anew there."""
        return planner_for, (self.setup,)

    @cached_property
    def states(self) -> States:
        """Every state of the hand on the instrument that the limits leave."""
        states = all_states(self.setup.instrument, self.setup.hand)
        return states.only(self.setup.limits.allowed(states))

    @cached_property
    def costs(self) -> Ints:
        """What each state costs by itself."""
        return note_costs(
            self.setup.instrument, self.states, self.setup.weights, self.setup.limits.open_strings
        )

    @cached_property
    def _step_costs(self) -> tuple[Ints, Ints]:
        """The price of the shift, and of everything else, from every state to every other."""
        states = self.states
        shift = self._spread("shift", states.position)
        place = states.string * (self.setup.instrument.frets_free + 1) + states.fret
        rest = self._spread("across", place) + self.costs[:, None]
        if self.setup.hand.spans or self.setup.limits.no_shift:
            rest[self._impossible()] = FORBIDDEN
        return shift, rest

    def _spread(self, part: str, by: Ints) -> Ints:
        """A part of the step costs that depends on one property of the two states alone.

        It is worked out once for each value of the property, and spread over all the states.
        """
        _, first, place = np.unique(by, return_index=True, return_inverse=True)
        parts = step_parts(
            self.setup.instrument, self.states, self.setup.weights, first[None, :], first[:, None]
        )
        return parts[part][np.ix_(place, place)]

    @cached_property
    def _matrices(self) -> dict[Haste, Ints]:
        return {}

    def matrix(self, haste: Haste) -> Ints:
        """Step costs, the target's own cost in them; shape (states + 1, states + 1).

        Rows are targets, columns sources; the last of each is a state that cannot be reached.
        """
        if haste not in self._matrices:
            shift, rest = self._step_costs
            after_fretted, after_open = haste
            hurry = np.where(self.states.finger > 0, after_fretted, after_open)
            size = len(self.states) + 1
            table = np.full((size, size), FORBIDDEN, dtype=np.int64)
            table[:-1, :-1] = (shift if haste == PLAIN else shift * hurry // PLAIN_HASTE) + rest
            self._matrices[haste] = table
        return self._matrices[haste]

    def _impossible(self) -> NDArray[np.bool_]:
        """Steps that the hand or the limits forbid, from every state to every other."""
        states = self.states
        number = np.arange(len(states))
        source, target = number[None, :], number[:, None]
        stays = states.position[source] == states.position[target]
        barred: NDArray[np.bool_] = ~stays if self.setup.limits.no_shift else np.zeros_like(stays)
        fret_mm = self.setup.instrument.distances(states.fret)
        apart = np.abs(fret_mm[source] - fret_mm[target])
        one_finger, other_finger = states.finger[source], states.finger[target]
        for one, other, most in self.setup.hand.spans:
            pair = ((one_finger == one) & (other_finger == other)) | (
                (one_finger == other) & (other_finger == one)
            )
            barred |= stays & pair & (apart > most)
        return barred

    def haste(self, melody: Melody) -> tuple[Haste, ...] | None:
        """How much dearer or cheaper each shift of a melody is; see :mod:`fretpath.neck.pace`."""
        return haste_of(melody, self.setup.weights)

    def choices(self, midi: int, limit: NoteLimit = FREE) -> Ints:
        """Numbers of the states that sound ``midi`` within the limit, ascending."""
        numbers = self.states.sounding(midi)
        return numbers if limit is FREE else numbers[limit.holds(self.states, numbers)]

    def missing(self, line: Line) -> list[int]:
        """The notes of a line that have no state at all."""
        empty = {midi for midi in set(line.midi) if len(self.choices(midi)) == 0}
        missing = {note for note, midi in enumerate(line.midi) if midi in empty} if empty else set()
        for note, limit in line.limits.items():
            if len(self.choices(line.midi[note], limit)) == 0:
                missing.add(note)
        return sorted(missing)

    def kinds(self, lines: Sequence[Line]) -> tuple[list[Ints], list[list[int]]]:
        """The choices of each kind of layer, and the kind of each note of each line."""
        numbers: dict[int | tuple[int, NoteLimit], int] = {}
        kinds = [[numbers.setdefault(midi, len(numbers)) for midi in line.midi] for line in lines]
        for line, kind in zip(lines, kinds, strict=True):
            for note, limit in line.limits.items():
                kind[note] = numbers.setdefault((line.midi[note], limit), len(numbers))
        found = [
            self.choices(kind) if isinstance(kind, int) else self.choices(*kind) for kind in numbers
        ]
        return found, kinds

    def layers(self, line: Line) -> Layers:
        """The layered graph of a line; no note may be missing."""
        found, (kind,) = self.kinds([line])
        hastes = line.haste or (PLAIN,) * (len(kind) - 1)
        numbers: dict[tuple[int, int, Haste], int] = {}
        table = [
            numbers.setdefault((before, after, haste), len(numbers))
            for (before, after), haste in zip(pairwise(kind), hastes, strict=True)
        ]
        tables = [self._block(found[a], found[b], haste) for a, b, haste in numbers]
        return Layers(found, kind, self.costs[found[kind[0]]], tables, table)

    def _block(self, source: Ints, target: Ints, haste: Haste) -> Ints:
        """The steps between two kinds of layer: a view where their states lie side by side."""
        matrix = self.matrix(haste)
        if _together(source) and _together(target):
            return matrix[target[0] : target[-1] + 1, source[0] : source[-1] + 1]
        return matrix[np.ix_(target, source)]

    def batch(self, lines: Sequence[Line]) -> tuple[Ints, list[int], Ints, Ints, Ints]:
        """Many lines in the form that :func:`cheapest_paths` takes."""
        found, kinds = self.kinds(lines)
        lengths = [len(kind) for kind in kinds]
        unreachable = len(self.states)
        padded = np.full((len(found), max(map(len, found))), unreachable, dtype=np.int64)
        for row, choice in zip(padded, found, strict=True):
            row[: len(choice)] = choice
        kind = np.array([k + [k[-1]] * (max(lengths) - len(k)) for k in kinds]).T
        hastes: dict[Haste, int] = {}
        matrix = np.zeros((max(lengths) - 1, len(lines)), dtype=np.int64)
        for i, line in enumerate(lines):
            steps = line.haste or (PLAIN,) * (lengths[i] - 1)
            matrix[: len(steps), i] = [hastes.setdefault(step, len(hastes)) for step in steps]
        matrices = np.stack([self.matrix(haste) for haste in hastes or [PLAIN]])
        first = np.append(self.costs, FORBIDDEN)
        return padded[kind], lengths, matrices, matrix, first


@lru_cache(maxsize=16)
def planner_for(setup: Setup) -> Planner:
    """The planner of a setup; the last few are kept."""
    return Planner(setup)


def _together(numbers: Ints) -> bool:
    return len(numbers) > 0 and int(numbers[-1] - numbers[0]) == len(numbers) - 1


def limits_of(placements: Sequence[Placement | None]) -> dict[int, NoteLimit]:
    """The limits that a teacher's placements set, by note."""
    return {
        note: NoteLimit(placement.string, placement.fret)
        for note, placement in enumerate(placements)
        if placement is not None
    }
