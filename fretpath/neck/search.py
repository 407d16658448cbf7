"""The shortest path through the layers: exact, and at the speed of arithmetic.

**Theory.**  The notes of a melody are layers of a directed graph; the states that sound a note
are the nodes of its layer, and steps lead from each layer to the next only.  Such a graph has no
circle, so one pass from the last layer to the first finds the cheapest rest of the way from every
state: ``rest[t][s] = min over next states d of (step cost of s -> d) + rest[t + 1][d]``.

Steps between the same two pitches cost the same wherever they occur, so each distinct pair has
one table, and the pass is one addition and one minimum a layer.  All arithmetic is on whole
numbers.  A second pass walks forward and takes the first best state of each layer: the path is
the cheapest, and among equals the first in the order of the states.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["FORBIDDEN", "Layers", "cheapest_path", "cheapest_rest"]

Ints = NDArray[np.int64]

FORBIDDEN = 1 << 42
"""Cost of a step that may not be taken; far above any sum of real ones (in micrometres)."""

_CHUNK = 2048


@dataclass(frozen=True, eq=False)
class Layers:
    """A layered graph in columns.

    ``n`` notes, ``w`` the widest layer, ``k`` distinct step tables.  Layers with fewer than ``w``
    states are padded; what leads to padding is FORBIDDEN.
    """

    states: Ints
    """State numbers of each layer, shape (kinds of layer, w); -1 is padding."""
    kind: Ints
    """Kind of each layer, shape (n,)."""
    first: Ints
    """Cost of each state of the first layer, shape (w,)."""
    tables: Ints
    """Step costs with the cost of the target in them, shape (k, w targets, w sources)."""
    table: Ints
    """Which table leads from layer t to t + 1, shape (n - 1,)."""


def cheapest_rest(layers: Layers) -> Ints:
    """The cheapest rest of the way from each state; shape (n, w), 0 in the last layer."""
    count, width = len(layers.kind), layers.states.shape[1]
    rest = np.zeros((count, width), dtype=np.int64)
    if count == 1:
        return rest
    sums = np.empty((width, width), dtype=np.int64)
    columns = rest[:, :, None]
    add, least, tables = np.add, np.minimum.reduce, layers.tables
    for t, k in zip(range(count - 2, -1, -1), layers.table[::-1].tolist(), strict=True):
        add(tables[k], columns[t + 1], sums)
        least(sums, 0, None, rest[t])
    return rest


def cheapest_path(layers: Layers) -> tuple[int, list[int]]:
    """Total cost and the state number of each note; the cost is FORBIDDEN or more if none exists.

    Runtime: proportional to the number of notes times the square of the widest layer.
    """
    rest = cheapest_rest(layers)
    start = layers.first + rest[0]
    at = int(start.argmin())
    total = int(start[at])
    path = [at]
    for begin in range(0, len(layers.kind) - 1, _CHUNK):
        table = layers.table[begin : begin + _CHUNK]
        sums = layers.tables[table] + rest[begin + 1 : begin + 1 + len(table), :, None]
        for best in sums.argmin(axis=1).tolist():
            at = best[at]
            path.append(at)
    return total, layers.states[layers.kind, np.array(path)].tolist()
