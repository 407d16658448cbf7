"""What a step of the hand costs: every term, its unit and its default.

**Theory.**  The hand moves along the neck (in millimetres, which the hand feels, and not in
frets), the fingers reach apart, and the hand crosses strings.  Every term is turned into whole
micrometre-equivalents (1000 is one millimetre), rounded once, so that sums are exact and ties are
real ties.  A path costs the sum of its notes and its steps.

- A **note** costs by itself: open string, extension, little finger, reach, region, outer string.
- A **step** from one note to the next costs shift and across; more or less time makes the shift
  dearer or cheaper (:mod:`fretpath.neck.pace`).

The defaults were learnt from 7,960 notes of three guitarists and hold the answers on which bass
teaching agrees; ``docs/hand_model.md`` tells how, and what changes when a weight changes.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, nearest
from fretpath.neck.instrument import Instrument
from fretpath.neck.states import States

__all__ = [
    "IN_POSITION",
    "OPEN_POSITION",
    "PLAYING",
    "UNIT",
    "Weights",
    "note_costs",
    "note_parts",
    "step_parts",
    "usual_weights",
]

UNIT = 1000
AVOID = 4.0
WIDE = 3
Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Weights:
    """Named prices and the limits they count from; each 0 or more.

    Prices are in millimetre-equivalents: what 1 stands for is 1 mm across the strings, or 0.42 mm
    of hand travel along the neck.
    """

    shift: float = 2.4
    """For each mm the hand moves along the neck."""
    across: float = 1.0
    """For each mm across the strings between two notes."""
    open: float = 25.0
    """For an open string (its sound differs, and a shape with open strings does not move to other
    keys)."""
    extension: float = 60.0
    """For a finger that leaves its own fret."""
    little: float = 9.0
    """For the little finger three frets or more from the index finger."""
    reach: float = 0.1
    """For each mm beyond ``reach_from`` from the index finger to one three or more frets away."""
    reach_from: float = 95.0
    """Span in mm that costs nothing."""
    region: float = 0.092
    """For each mm between the hand and its home; nearer than ``region_round``, rounded off to
    nothing."""
    region_at: float = 143.0
    """Home of the index finger in mm from the nut."""
    region_round: float = 150.0
    """Distance in mm within which the pull home fades away."""
    outer: float = 7.0
    """For each string between a string and the middle of the neck, less half a one: on four strings
    the outer two cost this once, on six the outer four once or twice."""
    hurried: float = 1.2
    """What a shift is multiplied by when the notes follow each other fast."""
    hurried_below: float = 0.16
    """Seconds from onset to onset that are fast."""
    rested: float = 0.85
    """What a shift is multiplied by when the hand has time: after an open string, over a rest, or
    over a bar line."""
    rested_from: float = 0.06
    """Seconds between two notes that count as a rest."""

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


IN_POSITION = Weights()
"""Stop most notes, near the middle of the low neck: what is usual on bass and guitar."""
OPEN_POSITION = Weights(
    shift=2.0,
    across=0.4,
    open=0.0,
    little=5.0,
    outer=0.0,
    region=0.5,
    region_at=60.0,
    region_round=40.0,
)
"""Stay low on the neck, where open strings and all strings are at hand: what is usual on ukulele,
banjo, mandolin and the violin family, and where guitarists begin (common practice; chosen by
trial).  ``region_at`` is set to fret 1 of the instrument, or 2 under a diatonic hand."""
PLAYING = ("in-position", "open-position")
"""How a player goes about it: which of the two sets of prices is used."""


def usual_weights(instrument: Instrument, playing: str | None = None) -> Weights:
    """The prices for a way of playing, one of :data:`PLAYING`; None is the instrument's usual one.

    >>> from fretpath.neck.catalogue import instrument_named
    >>> usual_weights(instrument_named("guitar"), "open-position").open
    0.0
    """
    playing = playing or instrument.playing
    if playing not in PLAYING:
        raise RequestError(
            f'unknown way of playing "{playing[:40]}"{nearest(playing, PLAYING)} '
            f"(known: {', '.join(PLAYING)})"
        )
    if playing == "in-position":
        return IN_POSITION
    first = 2 if instrument.hand == "diatonic" else 1
    return replace(OPEN_POSITION, region_at=round(instrument.distance(first), 1))


def note_parts(
    instrument: Instrument, states: States, weights: Weights, open_strings: str = "allow"
) -> dict[str, Ints]:
    """What each state costs by itself, part by part; shape (states,), whole micrometres.

    *open_strings* is the wish: ``avoid`` makes an open string four times as dear, ``prefer``
    lets the fretted notes pay its price instead.
    """
    fretted = states.finger > 0
    share = {"avoid": AVOID, "prefer": 0.0}.get(open_strings, 1.0)
    fretted_price = weights.open if open_strings == "prefer" else 0.0
    return {
        "open": _whole(np.where(fretted, fretted_price, share * weights.open)),
        "extension": _whole(np.where(states.extended, weights.extension, 0.0)),
        "little": _whole(np.where(_wide(states), weights.little, 0.0)),
        "reach": _whole(_reach(instrument, states, weights)),
        "region": _whole(_region(instrument, states, weights)),
        "outer": _whole(_outer(instrument, states, weights)),
    }


def _reach(instrument: Instrument, states: States, weights: Weights) -> Floats:
    span = instrument.distances(states.fret) - instrument.distances(states.position)
    return np.where(_wide(states), weights.reach * np.maximum(span - weights.reach_from, 0.0), 0.0)


def _wide(states: States) -> NDArray[np.bool_]:
    """Where the finger is three frets or more from the index finger."""
    return (states.finger > 0) & (states.fret - states.position >= WIDE)


def _region(instrument: Instrument, states: States, weights: Weights) -> Floats:
    """The pull home: a price for each mm, rounded off near home so that it has no corner."""
    away = np.abs(instrument.distances(states.position) - weights.region_at)
    curve = max(weights.region_round, 1e-9)
    return weights.region * np.where(away < curve, away**2 / (2 * curve), away - curve / 2)


def _outer(instrument: Instrument, states: States, weights: Weights) -> Floats:
    middle = (len(instrument.strings) + 1) / 2
    away: Floats = np.maximum(np.abs(states.string - middle) - 0.5, 0.0)
    return weights.outer * away


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
    hand_mm = instrument.distances(states.position)
    table = np.array([instrument.string_spacing(f) for f in range(instrument.frets_free + 1)])
    spacing = table[states.fret]
    strings = np.abs(states.string[source] - states.string[target])
    return {
        "shift": _whole(weights.shift * np.abs(hand_mm[source] - hand_mm[target])),
        "across": _whole(weights.across * strings * (spacing[source] + spacing[target]) / 2),
    }


def _whole(millimetres: Floats) -> Ints:
    return np.rint(millimetres * UNIT).astype(np.int64)
