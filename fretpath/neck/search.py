"""The shortest path through the layers: exact, and at the speed of arithmetic.

**Theory.**  The notes of a melody are layers of a directed graph; the states that sound a note
are the nodes of its layer, and steps lead from each layer to the next only.  Such a graph has no
circle, so one pass from the last layer to the first finds the cheapest rest of the way from every
state: ``rest[t][s] = min over states d of (step cost of s -> d) + rest[t + 1][d]``.

Equal steps have one table, so the pass is one addition and one minimum a layer.  A second pass
walks forward and takes the first best state of each layer: the path is the cheapest, and among
equals the first in the order of the states.  All arithmetic is on whole numbers.

Variants on the same layers: the easiest hardest step (:func:`easiest_layers`), the cheapest path
through every state (:func:`cost_through`), many melodies side by side (:func:`cheapest_paths`),
and the cheapest path that shares few places with earlier ones (:func:`cheapest_apart`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "FORBIDDEN",
    "Layers",
    "cheapest_apart",
    "cheapest_path",
    "cheapest_paths",
    "cheapest_rest",
    "cost_through",
    "easiest_layers",
]

Ints = NDArray[np.int64]

FORBIDDEN = 1 << 42
"""Cost of a step that may not be taken; far above any sum of real ones (in micrometres)."""


@dataclass(frozen=True, eq=False)
class Layers:
    """The layered graph of one melody, in columns.

    ``n`` notes, ``w`` the widest layer, ``k`` distinct step tables.  Layers with fewer than ``w``
    states are padded; what leads to padding is FORBIDDEN.
    """

    states: Ints
    """State numbers of each kind of layer, shape (kinds, w); -1 is padding."""
    kind: Ints
    """Kind of each layer, shape (n,)."""
    first: Ints
    """Cost of each state of the first layer, shape (w,)."""
    tables: Ints
    """Step costs, the cost of the target in them, shape (k, w targets, w sources)."""
    table: Ints
    """Which table leads from layer t to t + 1, shape (n - 1,)."""

    def __len__(self) -> int:
        return len(self.kind)

    @property
    def width(self) -> int:
        """States of the widest layer."""
        return int(self.states.shape[1])

    def numbers(self, path: Ints) -> Ints:
        """State numbers of a path given as places in the layers."""
        return self.states[self.kind, path]


def cheapest_rest(layers: Layers) -> Ints:
    """The cheapest rest of the way from each state; shape (n, w), 0 in the last layer."""
    rest = np.zeros((len(layers), layers.width), dtype=np.int64)
    sums = np.empty((layers.width, layers.width), dtype=np.int64)
    tables, rows, columns = list(layers.tables), list(rest), list(rest[:, :, None])
    add, least = np.add, np.minimum.reduce
    t = len(layers) - 1
    for k in reversed(layers.table.tolist()):
        add(tables[k], columns[t], sums)
        t -= 1
        least(sums, axis=0, out=rows[t])
    return rest


def cheapest_path(layers: Layers) -> tuple[int, Ints]:
    """Total cost and the path as a place in each layer; FORBIDDEN or more if there is none.

    Runtime: proportional to the number of notes times the square of the widest layer.
    """
    rest = cheapest_rest(layers)
    start = layers.first + rest[0]
    at = int(start.argmin())
    total = int(start[at])
    width = layers.width
    from_state = list(layers.tables.transpose(0, 2, 1).reshape(-1, width).copy())
    sums = np.empty(width, dtype=np.int64)
    path = [at]
    for k, onward in zip(layers.table.tolist(), list(rest)[1:], strict=True):
        np.add(from_state[k * width + at], onward, sums)
        at = int(sums.argmin())
        path.append(at)
    return total, np.array(path)


def cheapest_paths(many: Sequence[Layers]) -> list[tuple[int, Ints]]:
    """:func:`cheapest_path` of each, all melodies advancing together.

    The layers must share their tables and states; melodies may differ in length.
    """
    lengths = [len(layers) for layers in many]
    tables, width, longest = many[0].tables, many[0].width, max(lengths)
    stay = np.full((1, width, width), FORBIDDEN, dtype=np.int64)
    stay[0, range(width), range(width)] = 0
    tables = np.concatenate((tables, stay))
    table = np.full((len(many), longest - 1), len(tables) - 1)
    for row, layers in zip(table, many, strict=True):
        row[: len(layers) - 1] = layers.table
    rest = np.zeros((longest, len(many), width), dtype=np.int64)
    for t in range(longest - 2, -1, -1):
        np.min(tables[table[:, t]] + rest[t + 1][:, :, None], axis=1, out=rest[t])
    start = np.stack([layers.first for layers in many]) + rest[0]
    at = start.argmin(axis=1)
    totals = start[np.arange(len(many)), at].tolist()
    paths = [at]
    for t in range(longest - 1):
        at = (tables[table[:, t], :, at] + rest[t + 1]).argmin(axis=1)
        paths.append(at)
    columns = np.stack(paths, axis=1)
    return [
        (total, path[:length]) for total, path, length in zip(totals, columns, lengths, strict=True)
    ]


def cost_through(layers: Layers) -> Ints:
    """Cost of the cheapest path through each state of each layer, shape (n, w)."""
    rest = cheapest_rest(layers)
    through = np.empty_like(rest)
    reached = layers.first
    through[0] = reached + rest[0]
    for t, k in enumerate(layers.table.tolist(), start=1):
        reached = (layers.tables[k] + reached[None, :]).min(axis=1)
        through[t] = reached + rest[t]
    return through


def easiest_layers(layers: Layers) -> Layers:
    """The same layers with every step forbidden that is harder than it need be.

    What is left holds the paths whose hardest step is as easy as possible, so the cheapest of
    them is the minimax answer: the least hardest step first, the least sum second.  The cost of a
    step includes its target note; the first note, which no step leads to, does not count.
    """
    rest = np.where(layers.states[layers.kind[-1]] < 0, FORBIDDEN, 0)
    for k in layers.table[::-1].tolist():
        rest = np.maximum(layers.tables[k], rest[:, None]).min(axis=0)
    hardest = int(np.where(layers.first < FORBIDDEN, rest, FORBIDDEN).min())
    tables = np.where(layers.tables > hardest, FORBIDDEN, layers.tables)
    return replace(layers, tables=tables)


def cheapest_apart(
    layers: Layers, shared: NDArray[np.bool_], most: Sequence[int]
) -> tuple[int, Ints]:
    """The cheapest path with few shared notes in every stretch of the melody.

    *shared* marks the states that count, shape (n, w).  *most* has one entry for each stretch of
    equal length: how many of its notes may be shared.  Cost FORBIDDEN or more if there is no way.

    The state of the search is (state, shared notes left in this stretch).
    """
    count, width = len(layers), layers.width
    stretch = -(-count // len(most))
    room = max(most) + 1
    rest = np.zeros((count, room, width), dtype=np.int64)
    """rest[t][h]: the rest of the way when h more shared notes may follow *after* note t."""
    for t in range(count - 2, -1, -1):
        onward = _onward(rest[t + 1], shared[t + 1], _left(t + 1, stretch, most))
        rest[t] = (layers.tables[layers.table[t]] + onward[:, :, None]).min(axis=1)
    start = layers.first + _onward(rest[0], shared[0], _left(0, stretch, most))[most[0]]
    at = int(start.argmin())
    total = int(start[at])
    left = most[0] - int(shared[0, at])
    path = [at]
    for t in range(1, count):
        limit = _left(t, stretch, most)
        onward = _onward(rest[t], shared[t], limit)[left]
        at = int((layers.tables[layers.table[t - 1]][:, at] + onward).argmin())
        left = (left if limit is None else limit) - int(shared[t, at])
        path.append(at)
    return total, np.array(path)


def _left(t: int, stretch: int, most: Sequence[int]) -> int | None:
    """The allowance that begins at note t, or None inside a stretch."""
    return None if t % stretch else most[t // stretch]


def _onward(rest: Ints, shared: NDArray[np.bool_], limit: int | None) -> Ints:
    """Cost from a note on, by the allowance that the note before has left; shape (room, w)."""
    dearer = np.full_like(rest, FORBIDDEN)
    dearer[1:] = rest[:-1]
    after = np.where(shared, dearer, rest)
    return after if limit is None else np.broadcast_to(after[limit], rest.shape)
