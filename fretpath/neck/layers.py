"""From a melody to the layered graph that the search walks."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Placement
from fretpath.neck.costs import Weights, step_costs
from fretpath.neck.instrument import Instrument
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.states import States

__all__ = ["build_layers", "choices"]

Ints = NDArray[np.int64]


def choices(
    states: States,
    allowed: NDArray[np.bool_],
    midi: Sequence[int],
    placements: Sequence[Placement | None],
) -> tuple[list[Ints], list[int]]:
    """The kinds of layer (state numbers of each) and the kind of each note.

    A note's kind is what it sounds together with the teacher's placement; a kind may be empty.
    """
    kinds: dict[tuple[int, Placement | None], int] = {}
    kind = [kinds.setdefault(pair, len(kinds)) for pair in zip(midi, placements, strict=True)]
    none = np.empty(0, dtype=np.int64)
    found = []
    for pitch, placement in kinds:
        numbers = states.by_pitch.get(pitch, none)
        numbers = numbers[allowed[numbers]]
        found.append(numbers if placement is None else _placed(states, numbers, placement))
    return found, kind


def _placed(states: States, numbers: Ints, placement: Placement) -> Ints:
    keep = np.ones(len(numbers), dtype=bool)
    if placement.string is not None:
        keep &= states.string[numbers] == placement.string
    if placement.fret is not None:
        keep &= states.fret[numbers] == placement.fret
    return numbers[keep]


def build_layers(
    instrument: Instrument,
    states: States,
    weights: Weights,
    costs: Ints,
    kinds: Sequence[Ints],
    kind: Sequence[int],
) -> Layers:
    """The layered graph of a melody whose every kind of layer has at least one state.

    *costs* are the costs of the states by themselves; *kinds* and *kind* come from
    :func:`choices`.
    """
    width = max(len(numbers) for numbers in kinds)
    numbers = np.full((len(kinds), width), -1, dtype=np.int64)
    for row, found in zip(numbers, kinds, strict=True):
        row[: len(found)] = found
    at = np.array(kind)
    pairs, table = np.unique(at[:-1] * len(kinds) + at[1:], return_inverse=True)
    source, target = numbers[pairs // len(kinds)], numbers[pairs % len(kinds)]
    shift, rest = step_costs(instrument, states, weights, source[:, None, :], target[:, :, None])
    tables = shift + rest + costs[target][:, :, None]
    tables[np.broadcast_to((source < 0)[:, None, :], tables.shape)] = FORBIDDEN
    tables[np.broadcast_to((target < 0)[:, :, None], tables.shape)] = FORBIDDEN
    first = np.where(numbers[at[0]] < 0, FORBIDDEN, costs[numbers[at[0]]])
    return Layers(numbers, at, first, tables, table)
