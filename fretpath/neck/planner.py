"""From the notes of melodies to layered graphs, and the best path through them.

A :class:`Planner` knows one setup and serves any number of melodies: equal notes share their
layers, and equal steps their tables.

**Theory.**  A note is a layer that holds the states of its sound; the prices of the steps from one
layer to the next are a table of shape (targets, sources) in thousandths of effort, with the price
of the target in it.  All tables that a melody needs and that are not kept are worked out at once,
over the pairs of states laid side by side.  Where there is more or less time, the timed part of a
table is multiplied by the pace.

**Conventions.**  States are numbered from 0 in the order of their sound; what may not be is
FORBIDDEN.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.neck.hand import Ints, all_states
from fretpath.neck.line import PACE_UNIT, PLAIN, Line, NoteLimit, Pace, line_of
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_path, easiest_layers
from fretpath.neck.setup import Setup
from fretpath.neck.terms import TIMED, note_parts, step_parts

MOST_BYTES = 8 << 20
"""Memory for the tables one planner keeps."""
_Key = tuple[int, int, Pace]
"""A table: from which sound to which, and at what pace."""


@dataclass(frozen=True, eq=False)
class Solution:
    """A line and the best path of the hand through it."""

    line: Line
    """The notes, and what they are held to."""
    cost: int
    """Cost of the path, in thousandths of effort."""
    path: Ints
    """The state of each note, by its number."""


class Planner:
    """The layers and tables of one setup.

    Attributes: ``setup``; ``states``, every state of the hand that the limits leave; ``weights``,
    the prices with what the limit on open strings makes of them; ``costs``, what each state costs
    by itself.
    """

    def __init__(self, setup: Setup) -> None:
        self.setup = setup
        states = all_states(setup.instrument, setup.hand)
        self.states = states.only(setup.limits.allow(states))
        self.weights = setup.prices
        parts = note_parts(setup.instrument, self.states, self.weights)
        self.costs: Ints = sum(parts.values(), np.zeros(len(self.states), dtype=np.int64))
        self._kept: dict[tuple[int, int], tuple[Ints, Ints]] = {}
        self._paced: dict[_Key, Ints] = {}
        self._bytes = 0
        self._dearest = 0

    def line(self, melody: Melody, octaves: int = 0) -> Line:
        """The struck notes of a melody, moved by octaves, with what each is held to."""
        return line_of(self.setup, self.states, melody, octaves)

    def choices(self, sound: int, limit: NoteLimit | None = None) -> Ints:
        """Numbers of the states of a note, ascending."""
        return limit.among(self.states, sound) if limit else self.states.sounding(sound)

    def missing(self, line: Line) -> list[int]:
        """The notes of a line that have no state at all."""
        empty = {note for note in set(line.notes) if not len(self.choices(*note))}
        return [at for at, note in enumerate(line.notes) if note in empty] if empty else []

    def solve(self, line: Line) -> Solution | None:
        """The best path of a line; None if it has none."""
        if self.missing(line):
            return None
        layers = self.layers(line)
        if self.setup.objective == "hardest":
            layers = easiest_layers(layers)
        cost, path = cheapest_path(layers)
        return Solution(line, cost, layers.numbers(path)) if cost < FORBIDDEN else None

    def layers(self, line: Line) -> Layers:
        """The layered graph of a line; no note may be missing."""
        place: dict[tuple[int, NoteLimit | None], int] = {}
        layer_of_note = [place.setdefault(note, len(place)) for note in line.notes]
        choices = [self.choices(*note) for note in place]
        pairs = zip(pairwise(layer_of_note), line.paces, strict=True)
        steps = [(before, after, pace) for (before, after), pace in pairs]
        tables = self._tables(dict.fromkeys(steps), list(place), choices)
        self._refuse_overflow(len(layer_of_note))
        return Layers(
            [choices[layer] for layer in layer_of_note],
            self.costs[choices[layer_of_note[0]]],
            [tables[step] for step in steps],
            self.setup.limits.no_shift,
        )

    def _tables(
        self,
        steps: Collection[tuple[int, int, Pace]],
        notes: Sequence[tuple[int, NoteLimit | None]],
        choices: Sequence[Ints],
    ) -> dict[tuple[int, int, Pace], Ints]:
        """The step costs of each (layer before, layer after, pace)."""
        keys = [(notes[before][0], notes[after][0], pace) for before, after, pace in steps]
        whole, sounding = self._whole_tables(dict.fromkeys(keys)), self.states.sounding
        tables = {}
        for (before, after, pace), key in zip(steps, keys, strict=True):
            table = whole[key]
            if notes[after][1]:
                table = table[choices[after] - sounding(key[1])[0]]
            if notes[before][1]:
                table = table[:, choices[before] - sounding(key[0])[0]]
            tables[before, after, pace] = table
        return tables

    def _whole_tables(self, keys: Iterable[_Key]) -> dict[_Key, Ints]:
        """The tables from sound to sound at a pace: those kept, and the rest worked out at once."""
        tables = {key: self._paced[key] for key in keys if key in self._paced}
        missing = [key for key in keys if key not in tables]
        pairs = dict.fromkeys((before, after) for before, after, _ in missing)
        parts = {pair: self._kept[pair] for pair in pairs if pair in self._kept}
        parts.update(self._price([pair for pair in pairs if pair not in parts]))
        for before, after, pace in missing:
            timed, untimed = parts[before, after]
            table = self._in_time(timed, untimed, pace, self.states.sounding(before))
            tables[before, after, pace] = table
            self._keep((before, after, pace), (timed, untimed), table)
        return tables

    def _price(self, pairs: Sequence[tuple[int, int]]) -> dict[tuple[int, int], tuple[Ints, Ints]]:
        """The timed and the untimed part of tables from sound to sound."""
        if not pairs:
            return {}
        numbers = self.states.sounding
        shapes = [(len(numbers(after)), len(numbers(before))) for before, after in pairs]
        before = np.concatenate([np.tile(numbers(a), len(numbers(b))) for a, b in pairs])
        after = np.concatenate([np.repeat(numbers(b), len(numbers(a))) for a, b in pairs])
        timed, untimed = self.step_costs(before, after)
        ends = np.cumsum([rows * columns for rows, columns in shapes])[:-1]
        cut = zip(np.split(timed, ends), np.split(untimed, ends), shapes, strict=True)
        return {
            pair: (one.reshape(shape), other.reshape(shape))
            for pair, (one, other, shape) in zip(pairs, cut, strict=True)
        }

    def step_parts(self, before: Ints, after: Ints) -> dict[str, Ints]:
        """Costs of steps between states side by side, term by term, at their plain price."""
        sides = self.states.only(before), self.states.only(after)
        return step_parts(self.setup.instrument, *sides, self.weights)

    def step_costs(self, before: Ints, after: Ints) -> tuple[Ints, Ints]:
        """Timed and untimed cost of steps between states side by side, the target's own in it."""
        parts = self.step_parts(before, after)
        timed = np.zeros(len(before), dtype=np.int64)
        untimed = self.costs[after]
        for name, part in parts.items():
            if name in TIMED:
                timed += part
            else:
                untimed += part
        self._dearest = max(self._dearest, int((2 * timed + untimed).max(initial=0)))
        if self.setup.limits.no_shift:
            stays = self.states.position[before] == self.states.position[after]
            untimed = np.where(stays, untimed, FORBIDDEN)
        return timed, untimed

    def cost_of(self, path: Ints, paces: Sequence[Pace]) -> int:
        """The cost of a path, given as state numbers with the pace of each step."""
        timed, untimed = self.step_costs(path[:-1], path[1:])
        timed = timed * self.factors(path[:-1], paces) // PACE_UNIT
        return int(self.costs[path[0]] + timed.sum() + untimed.sum())

    def factors(self, before: Ints, paces: Sequence[Pace] | Pace) -> Ints:
        """Factors on the timed terms of steps from these states, at one pace or each at its own."""
        after_stopped, after_open = np.array(paces, dtype=np.int64).reshape(-1, 2).T
        return np.where(self.states.finger[before] > 0, after_stopped, after_open)

    def _in_time(self, timed: Ints, untimed: Ints, pace: Pace, before: Ints) -> Ints:
        """A table at a pace; sources are columns."""
        if pace == PLAIN:
            return timed + untimed
        return timed * self.factors(before, pace) // PACE_UNIT + untimed

    def _keep(self, key: _Key, parts: tuple[Ints, Ints], table: Ints) -> None:
        """Keep tables, and start anew when they take too much memory."""
        size = 3 * table.nbytes
        if self._bytes + size > MOST_BYTES:
            self._kept.clear()
            self._paced.clear()
            self._bytes = 0
        self._bytes += size
        self._kept[key[:2]] = parts
        self._paced[key] = table

    def _refuse_overflow(self, notes: int) -> None:
        """Make sure that no legal path costs as much as a FORBIDDEN step."""
        factor = max(1, int(max(self.weights.hurried, self.weights.rested)))
        dearest = factor * max(self._dearest, int(self.costs.max(initial=0)))
        if notes * dearest >= FORBIDDEN:
            raise RequestError(
                "these weights are so large that the effort of the melody cannot be added up "
                "exactly; make them smaller (only their proportions matter)"
            )


@lru_cache(maxsize=16)
def planner_for(setup: Setup) -> Planner:
    """The planner of a setup; the last few are kept."""
    return Planner(setup)


def clear_caches() -> None:
    """Let go of every table and state that is kept for speed."""
    planner_for.cache_clear()
    all_states.cache_clear()
