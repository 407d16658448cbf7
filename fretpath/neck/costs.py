"""What a step of the hand costs: every term, its unit and its default.

**Theory.**  The hand moves along the neck (in millimetres, which the hand feels, and not in
frets), the fingers reach apart, and the hand crosses strings.  Every term is turned into whole
micrometre-equivalents (1000 is one millimetre of hand travel), rounded once, so that sums are exact
and ties are real ties.  A path costs the sum of its notes and its steps.

- A **note** costs by itself: finger, reach, open string, region, extension.
- A **step** from one note to the next costs shift, across and roll.

The tests hold the answers the trade agrees on; ``docs/hand_model.md`` gives the evidence for
each default, or says that it was chosen by trial.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, nearest
from fretpath.neck.instrument import Instrument
from fretpath.neck.states import States

__all__ = ["Weights", "note_costs", "step_costs"]

UNIT = 1000
AVOID = 4
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Weights:
    """Named prices, each 0 or more, in millimetres of hand travel unless it says otherwise."""

    shift: float = 1.0
    """For each mm the hand moves along the neck."""
    reach: float = 0.5
    """For each mm beyond ``reach_from`` between index and little finger, when the little finger
    is used."""
    reach_from: float = 95.0
    """Span in mm that costs nothing."""
    across: float = 0.35
    """For each mm across the strings between two notes."""
    roll: float = 8.0
    """For one finger that must jump to another string at once."""
    open: float = 6.0
    """For an open string (its sound differs and the shape does not move to other keys)."""
    region: float = 0.02
    """For each mm between the hand and its preferred place."""
    region_at: float = 180.0
    """The preferred place of the index finger, in mm from the nut."""
    little: float = 1.6
    """For using the little finger."""
    extension: float = 20.0
    """For a finger that leaves its own fret."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if not 0 <= value <= 10_000:
                raise RequestError(f"the weight {field.name} is 0 to 10000, not {value}")

    def set(self, settings: str) -> Weights:
        """These weights with some replaced: ``Weights().set("shift=2,open=0")``."""
        changed: dict[str, float] = {}
        names = [field.name for field in fields(self)]
        for part in settings.split(","):
            name, _, value = part.partition("=")
            name = name.strip().replace("-", "_")
            if name not in names:
                raise RequestError(
                    f'unknown weight "{name[:40]}"{nearest(name, names)} '
                    f"(known: {', '.join(names)})"
                )
            try:
                changed[name] = float(value)
            except ValueError:
                raise RequestError(f"the weight {name} needs a number: {name}=1.5") from None
        return replace(self, **changed)


def note_costs(
    instrument: Instrument, states: States, weights: Weights, open_strings: str = "allow"
) -> Ints:
    """Cost of each state by itself; shape (states,), whole micrometre-equivalents.

    *open_strings* is the wish: ``avoid`` makes an open string four times as dear, ``prefer``
    lets the fretted notes pay its price instead.
    """
    hand_mm = _distances(instrument, states.position)
    fretted = states.finger > 0
    span = _distances(instrument, states.fret) - hand_mm
    cost = weights.region * np.abs(hand_mm - weights.region_at)
    open_price = {"avoid": AVOID * weights.open, "prefer": 0.0}.get(open_strings, weights.open)
    fretted_price = weights.open if open_strings == "prefer" else 0.0
    cost += np.where(fretted, fretted_price, open_price)
    little = states.finger == 4
    cost += np.where(little, weights.little, 0.0)
    cost += np.where(little, weights.reach * np.maximum(span - weights.reach_from, 0.0), 0.0)
    cost += np.where(states.extended, weights.extension, 0.0)
    return _whole(cost)


def step_costs(
    instrument: Instrument, states: States, weights: Weights, source: Ints, target: Ints
) -> tuple[Ints, Ints]:
    """Cost of stepping from states ``source`` to states ``target`` (broadcast together).

    The first array is the shift, which more or less time makes cheaper or dearer; the second is
    everything else.  Whole micrometre-equivalents, the cost of the notes themselves left out.
    """
    hand_mm = _distances(instrument, states.position)
    shift = weights.shift * np.abs(hand_mm[source] - hand_mm[target])
    spacing = _spacings(instrument, states.fret)
    strings = np.abs(states.string[source] - states.string[target])
    across = weights.across * strings * (spacing[source] + spacing[target]) / 2
    finger = states.finger
    same_finger = (finger[source] == finger[target]) & (finger[source] > 0)
    stays = states.position[source] == states.position[target]
    rolled = same_finger & stays & (strings > 0)
    return _whole(shift), _whole(across + np.where(rolled, weights.roll, 0.0))


def _distances(instrument: Instrument, frets: Ints) -> NDArray[np.float64]:
    return instrument.free_length * (1 - 2.0 ** (-frets / 12))


def _spacings(instrument: Instrument, frets: Ints) -> NDArray[np.float64]:
    table = np.array([instrument.string_spacing(f) for f in range(instrument.frets_free + 1)])
    return table[frets]


def _whole(millimetres: NDArray[np.float64]) -> Ints:
    return np.rint(millimetres * UNIT).astype(np.int64)
