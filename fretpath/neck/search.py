"""The shortest path through the layers: exact, and at the speed of arithmetic.

**Theory.**  The notes of a melody are layers of a directed graph; the states that sound a note
are the nodes of its layer, and steps lead from each layer to the next only.  Such a graph has no
circle, so one pass from the last layer to the first finds the cheapest rest of the way from every
state: ``rest[t][s] = min over next states d of (step cost of s -> d) + rest[t + 1][d]``.

Equal steps share one table, so the pass is one addition and one minimum a layer.  A second pass
walks forward and takes the first best state of each layer: the path is the cheapest, and among
equals the first in the order of the states.  All arithmetic is on whole numbers.

Variants on the same layers: no step far harder than need be (:func:`easiest_layers`), the cheapest
path through every state (:func:`cost_through`), and the cheapest path that shares few places with
earlier ones (:func:`cheapest_apart`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

Ints = NDArray[np.int64]

FORBIDDEN = 1 << 60
"""Cost of a step that may not be taken.  The planner refuses prices whose sum over a melody could
reach it, and rows of costs are cut down to it, so that no sum runs over 64 bits."""

MARGIN = 2
"""Times as hard as need be that the hardest step may be (chosen by trial)."""


@dataclass(frozen=True, eq=False)
class Layers:
    """The layered graph of one melody of ``n`` notes."""

    states: Sequence[Ints]
    """State numbers of each layer, ascending; equal notes share an array."""
    first: Ints
    """Cost of each state of the first layer."""
    steps: Sequence[Ints]
    """Step costs from each layer to the next with the cost of the target in them, each of shape
    (targets, sources); equal steps share an array."""
    forbids: bool = False
    """Whether any step is FORBIDDEN."""

    def __len__(self) -> int:
        return len(self.states)

    def numbers(self, path: Sequence[int]) -> Ints:
        """State numbers of a path given as places in the layers."""
        return np.array([row[at] for row, at in zip(self.states, path, strict=True)])


def cheapest_rest(layers: Layers) -> list[Ints]:
    """The cheapest rest of the way from each state of each layer, 0 in the last one."""
    least = np.minimum.reduce
    row = np.zeros(len(layers.states[-1]), dtype=np.int64)
    rest = [row]
    for step in reversed(layers.steps):
        row = least(step + row[:, None], axis=0)
        if layers.forbids:
            np.minimum(row, FORBIDDEN, out=row)
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
    path = [at]
    for step, onward in zip(layers.steps, rest[1:], strict=True):
        at = int((step[:, at] + onward).argmin())
        path.append(at)
    return total, path


def cost_through(layers: Layers) -> list[Ints]:
    """Cost of the cheapest path through each state of each layer."""
    rest = cheapest_rest(layers)
    reached = layers.first
    through = [reached + rest[0]]
    for step, onward in zip(layers.steps, rest[1:], strict=True):
        reached = np.minimum((step + reached).min(axis=1), FORBIDDEN)
        through.append(reached + onward)
    return through


def easiest_layers(layers: Layers) -> Layers:
    """The same layers with every step forbidden that is far harder than any need be.

    The least hardest step is what the hardest step of the easiest path costs (minimax).  What is
    left holds the paths none of whose steps costs more than :data:`MARGIN` times that; the cheapest
    of them is the answer.  Without the margin the hand would creep: of two paths the one with seven
    shifts of a fret would beat the one with four of two frets.  The cost of a step includes its
    target note; the first note, which no step leads to, does not count.
    """
    rest = np.zeros(len(layers.states[-1]), dtype=np.int64)
    for step in reversed(layers.steps):
        rest = np.maximum(step, rest[:, None]).min(axis=0)
    most = MARGIN * int(rest[layers.first < FORBIDDEN].min(initial=FORBIDDEN))
    different = {id(step): step for step in layers.steps}
    eased = {key: np.where(step > most, FORBIDDEN, step) for key, step in different.items()}
    return replace(layers, steps=[eased[id(step)] for step in layers.steps], forbids=True)


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
    row = np.zeros((max(most) + 1, len(layers.states[-1])), dtype=np.int64)
    onward = [_onward(row, shared[-1], limit[-1])]
    for t in range(count - 2, -1, -1):
        row = least(layers.steps[t] + onward[-1][:, :, None], axis=1)
        row = np.minimum(row, FORBIDDEN)
        onward.append(_onward(row, shared[t], limit[t]))
    onward.reverse()
    left = most[0]
    start = layers.first + onward[0][left]
    at = int(start.argmin())
    total = int(start[at])
    path = [at]
    for t in range(1, count):
        left -= int(shared[t - 1][at])
        at = int((layers.steps[t - 1][:, at] + onward[t][left]).argmin())
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
