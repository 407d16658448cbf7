"""The shortest path through the layers: exact, and at the speed of arithmetic.

**Theory.**  The notes of a melody are layers of a directed graph; the states that sound a note
are the nodes of its layer, and steps lead from each layer to the next only.  Such a graph has no
circle, so one pass from the last layer to the first finds the cheapest rest of the way from every
state: ``rest[t][s] = min over next states d of (step cost of s -> d) + rest[t + 1][d]``.

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
    """The layered graph of one melody of ``n`` notes."""

    states: Sequence[Ints]
    """State numbers of each kind of layer, ascending."""
    kind: Sequence[int]
    """Kind of each layer; length n."""
    first: Ints
    """Cost of each state of the first layer."""
    tables: Sequence[Ints]
    """Step costs with the cost of the target in them, each of shape (targets, sources)."""
    table: Sequence[int]
    """Which table leads from layer t to t + 1; length n - 1."""

    def __len__(self) -> int:
        return len(self.kind)

    def numbers(self, path: Sequence[int]) -> Ints:
        """State numbers of a path given as places in the layers."""
        states = self.states
        return np.array([states[k][at] for k, at in zip(self.kind, path, strict=True)])

    def layer(self, t: int) -> Ints:
        """State numbers of a layer."""
        return self.states[self.kind[t]]


def cheapest_rest(layers: Layers) -> list[Ints]:
    """The cheapest rest of the way from each state of each layer, 0 in the last one."""
    tables, least = layers.tables, np.minimum.reduce
    row = np.zeros(len(layers.layer(-1)), dtype=np.int64)
    rest = [row]
    for k in reversed(layers.table):
        row = least(tables[k] + row[:, None], axis=0)
        rest.append(row)
    rest.reverse()
    return rest


def cheapest_path(layers: Layers) -> tuple[int, list[int]]:
    """Total cost and the path as a place in each layer; FORBIDDEN or more if there is none.

    Runtime: proportional to the number of notes times the square of the widest layer.
    """
    rest = cheapest_rest(layers)
    start = layers.first + rest[0]
    at = int(start.argmin())
    total = int(start[at])
    tables = layers.tables
    path = [at]
    for k, onward in zip(layers.table, rest[1:], strict=True):
        at = int((tables[k][:, at] + onward).argmin())
        path.append(at)
    return total, path


def cheapest_paths(
    nodes: Ints, lengths: Sequence[int], matrices: Ints, matrix: Ints, first: Ints
) -> list[tuple[int, list[int]]]:
    """:func:`cheapest_path` for ``m`` melodies at once, all advancing together.

    *nodes* holds the state numbers of each layer, shape (n, m, w), padded with the number of a
    state to which and from which every step is FORBIDDEN; *lengths* the notes of each melody
    (layers behind its end do not count).  *matrices* are tables over all states, shape (h,
    targets, sources), and *matrix* says which of them leads from layer t to t + 1, shape
    (n - 1, m).  *first* is what each state costs as the first of a path.
    """
    count, many, _ = nodes.shape
    size = matrices.shape[-1]
    flat = matrices.reshape(-1)
    base = matrix[:, :, None] * size * size
    rest = np.zeros(nodes.shape, dtype=np.int64)
    ends = np.array(lengths)
    for t in range(count - 2, -1, -1):
        rows = nodes[t + 1] * size + base[t]
        costs = flat.take(rows[:, :, None] + nodes[t][:, None, :])
        costs += rest[t + 1][:, :, None]
        np.min(costs, axis=1, out=rest[t])
        rest[t, ends <= t + 1] = 0
    each = np.arange(many)
    start = first[nodes[0]] + rest[0]
    at = start.argmin(axis=1)
    totals = start[each, at].tolist()
    paths = [at]
    for t in range(count - 1):
        rows = nodes[t + 1] * size + base[t]
        at = (flat.take(rows + nodes[t][each, at][:, None]) + rest[t + 1]).argmin(axis=1)
        paths.append(at)
    columns = np.stack(paths, axis=1).tolist()
    return [(total, path[:n]) for total, path, n in zip(totals, columns, lengths, strict=True)]


def cost_through(layers: Layers) -> list[Ints]:
    """Cost of the cheapest path through each state of each layer."""
    rest = cheapest_rest(layers)
    reached = layers.first
    through = [reached + rest[0]]
    for k, onward in zip(layers.table, rest[1:], strict=True):
        reached = (layers.tables[k] + reached).min(axis=1)
        through.append(reached + onward)
    return through


def easiest_layers(layers: Layers) -> Layers:
    """The same layers with every step forbidden that is harder than it need be.

    What is left holds the paths whose hardest step is as easy as possible, so the cheapest of
    them is the minimax answer: the least hardest step first, the least sum second.  The cost of a
    step includes its target note; the first note, which no step leads to, does not count.
    """
    rest = np.zeros(len(layers.layer(-1)), dtype=np.int64)
    for k in reversed(layers.table):
        rest = np.maximum(layers.tables[k], rest[:, None]).min(axis=0)
    hardest = int(rest[layers.first < FORBIDDEN].min(initial=FORBIDDEN))
    tables = [np.where(table > hardest, FORBIDDEN, table) for table in layers.tables]
    return replace(layers, tables=tables)


def cheapest_apart(
    layers: Layers, shared: Sequence[NDArray[np.bool_]], most: Sequence[int], stretch: int
) -> tuple[int, list[int]]:
    """The cheapest path with few shared notes in every stretch of the melody.

    *shared* marks the states of each layer that count.  *most* says for each stretch of *stretch*
    notes how many of them may be shared.  Cost FORBIDDEN or more if there is no way.

    The state of this search is (state, shared notes that may still follow in the stretch).
    """
    count, least = len(layers), np.minimum.reduce
    limit = [None if t % stretch else most[t // stretch] for t in range(count)]
    row = np.zeros((max(most) + 1, len(layers.layer(-1))), dtype=np.int64)
    onward = [_onward(row, shared[-1], limit[-1])]
    for t in range(count - 2, -1, -1):
        row = least(layers.tables[layers.table[t]] + onward[-1][:, :, None], axis=1)
        onward.append(_onward(row, shared[t], limit[t]))
    onward.reverse()
    left = most[0]
    start = layers.first + onward[0][left]
    at = int(start.argmin())
    total = int(start[at])
    path = [at]
    for t in range(1, count):
        left -= int(shared[t - 1][at])
        at = int((layers.tables[layers.table[t - 1]][:, at] + onward[t][left]).argmin())
        path.append(at)
        allowance = limit[t]
        left = left if allowance is None else allowance
    return total, path


def _onward(rest: Ints, shared: NDArray[np.bool_], limit: int | None) -> Ints:
    """Cost of going on from a note, by the allowance left before it; shape (allowances, states).

    *limit* is the new allowance where a stretch begins at this note, None inside a stretch.
    """
    after = rest
    if shared.any():
        after = rest.copy()
        after[1:, shared] = rest[:-1, shared]
        after[0, shared] = FORBIDDEN
    return after if limit is None else np.broadcast_to(after[limit], rest.shape)
