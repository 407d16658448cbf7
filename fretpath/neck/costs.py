"""What a step of the hand costs: every term, its unit and its default.

**Theory.**  The hand moves along the neck (in millimetres, which the hand feels, and not in
frets), the fingers reach apart, and the hand crosses strings.  Every term is turned into whole
micrometre-equivalents (1000 is one millimetre of hand travel), rounded once, so that sums are
exact and ties are real ties.  A path costs the sum of its notes and its steps.

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

__all__ = ["UNIT", "Weights", "note_costs", "note_parts", "step_parts"]

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
    region_at: float = 5.0
    """The preferred place of the index finger, as a fret."""
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


def note_parts(
    instrument: Instrument, states: States, weights: Weights, open_strings: str = "allow"
) -> dict[str, Ints]:
    """What each state costs by itself, part by part; shape (states,), whole micrometres.

    *open_strings* is the wish: ``avoid`` makes an open string four times as dear, ``prefer``
    lets the fretted notes pay its price instead.
    """
    hand_mm = along(instrument, states.position)
    preferred = instrument.distance(weights.region_at)
    fretted, little = states.finger > 0, states.finger == 4
    span = along(instrument, states.fret) - hand_mm
    too_wide = np.where(little, np.maximum(span - weights.reach_from, 0.0), 0.0)
    open_price = {"avoid": AVOID * weights.open, "prefer": 0.0}.get(open_strings, weights.open)
    fretted_price = weights.open if open_strings == "prefer" else 0.0
    return {
        "region": _whole(weights.region * np.abs(hand_mm - preferred)),
        "open": _whole(np.where(fretted, fretted_price, open_price)),
        "little": _whole(np.where(little, weights.little, 0.0)),
        "reach": _whole(weights.reach * too_wide),
        "extension": _whole(np.where(states.extended, weights.extension, 0.0)),
    }


def note_costs(
    instrument: Instrument, states: States, weights: Weights, open_strings: str = "allow"
) -> Ints:
    """What each state costs by itself: the sum of :func:`note_parts`; shape (states,)."""
    parts = note_parts(instrument, states, weights, open_strings)
    total: Ints = np.stack(list(parts.values())).sum(axis=0)
    return total


def step_parts(
    instrument: Instrument, states: States, weights: Weights, source: Ints, target: Ints
) -> dict[str, Ints]:
    """What stepping from states ``source`` to states ``target`` costs, part by part.

    The two are broadcast together.  Whole micrometres, the cost of the notes themselves left out
    and the shift at its plain price, before more or less time makes it cheaper or dearer.
    """
    hand_mm = along(instrument, states.position)
    table = np.array([instrument.string_spacing(f) for f in range(instrument.frets_free + 1)])
    spacing = table[states.fret]
    strings = np.abs(states.string[source] - states.string[target])
    fingers = states.finger
    same_finger = (fingers[source] == fingers[target]) & (fingers[source] > 0)
    stays = states.position[source] == states.position[target]
    rolled = same_finger & stays & (strings > 0)
    return {
        "shift": _whole(weights.shift * np.abs(hand_mm[source] - hand_mm[target])),
        "across": _whole(weights.across * strings * (spacing[source] + spacing[target]) / 2),
        "roll": _whole(np.where(rolled, weights.roll, 0.0)),
    }


def along(instrument: Instrument, frets: Ints) -> NDArray[np.float64]:
    """Distance in mm of each fret from the nut (or the capo)."""
    return instrument.free_length * (1 - 2.0 ** (-frets / 12))


def _whole(millimetres: NDArray[np.float64]) -> Ints:
    return np.rint(millimetres * UNIT).astype(np.int64)
