"""Other ways to play it, and why this one was chosen.

**Truly different.**  The first way is the best.  Each further way is the cheapest that, in every
stretch of :data:`STRETCH` notes, plays at least half of the notes that have a choice at another
place (string, fret) than every better way does.  A note with one place only is not counted.  So a
way is never the best one with a single note moved; and each is found exactly, by a search that
counts the shared notes of the stretch as it goes.  When no path is different enough, there are
fewer ways than asked for.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.arranging import arrange, planned
from fretpath.neck.costs import UNIT, note_parts, step_parts
from fretpath.neck.figures import roman
from fretpath.neck.pace import PLAIN_HASTE
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_apart, cost_through
from fretpath.neck.setup import On
from fretpath.neck.tries import made

__all__ = ["STRETCH", "Reason", "describe", "reasons", "ways", "ways_beside"]

STRETCH = 16
MOST_WAYS = 20


def ways(
    melody: Melody,
    on: On = "bass",
    count: int = 3,
) -> tuple[Arrangement, ...]:
    """Up to *count* (1 to 20) truly different ways to play a melody, the best first.

    >>> from fretpath.music.notation import parse_melody
    >>> from fretpath.neck.limits import Limits
    >>> scale = parse_melody("1 2 3 4 5 6 7 8", key="C").in_octave(2)
    >>> found = ways(scale, Setup.of("bass", limits=Limits(open_strings="forbid")), 2)
    >>> for way in found:
    ...     print(describe(way))
    position II, no shift
    position VII, no shift

    All stand in the octave that suits the best one.  Errors as in :func:`arrange`.
    """
    return ways_beside(arrange(melody, on), count)


def ways_beside(best: Arrangement, count: int) -> tuple[Arrangement, ...]:
    """:func:`ways` for an arrangement that is already there and counts as the first."""
    if not 1 <= count <= MOST_WAYS:
        raise RequestError(f"the number of ways is 1 to {MOST_WAYS}, not {count}")
    found = [best]
    planner, layers = planned(best)
    shared = _Shared(planner, layers)
    while len(found) < count and shared.choice:
        shared.add(found[-1])
        cost, path = cheapest_apart(layers, shared.marks, shared.most, STRETCH)
        if cost >= FORBIDDEN:
            break
        way = made(planner, best.melody, layers.numbers(path), cost)
        found.append(replace(way, octave_chosen=best.octave_chosen))
    return tuple(found)


class _Shared:
    """Which states lie at a place that an earlier way uses; notes with one place never count."""

    def __init__(self, planner: Planner, layers: Layers) -> None:
        self._frets = planner.setup.instrument.frets_free + 1
        place = planner.states.string * self._frets + planner.states.fret
        places = [place[numbers] for numbers in layers.states]
        choice = [int(found.min()) < int(found.max()) for found in places]
        self._places = [places[k] if choice[k] else None for k in layers.kind]
        self.marks = [np.zeros(len(places[k]), dtype=bool) for k in layers.kind]
        """For each layer, the states that count as shared."""
        counted = [choice[k] for k in layers.kind]
        self.choice = any(counted)
        """Whether any note has more than one place."""
        self.most = [sum(counted[t : t + STRETCH]) // 2 for t in range(0, len(layers), STRETCH)]
        """How many notes of each stretch may be shared."""

    def add(self, way: Arrangement) -> None:
        """Let a way count as an earlier one."""
        for marks, places, string, fret in zip(
            self.marks, self._places, way.strings, way.frets, strict=True
        ):
            if places is not None:
                marks |= places == string * self._frets + fret


def describe(arrangement: Arrangement) -> str:
    """A way to play in the words a teacher uses, such as ``open position, no shift``."""
    figures = arrangement.figures
    used = sorted(set(arrangement.strings))
    if len(used) == 1:
        name = arrangement.instrument.string_names[used[0] - 1]
        where = f"all on the {name} string (string {used[0]})"
    elif max(figures.positions) <= 2 and figures.open_strings:
        where = "open position"
    elif figures.shifts == 0:
        where = f"position {roman(figures.positions[0])}"
    else:
        low, high = min(figures.positions), max(figures.positions)
        where = f"positions {roman(low)} to {roman(high)}"
    moves = counted(figures.shifts, "shift") if figures.shifts else "no shift"
    return f"{where}, {moves}"


@dataclass(frozen=True)
class Reason:
    """Why one note is played where it is."""

    note: int
    """The struck note, counted from 1."""
    here: Fingering
    """How it is played."""
    parts: dict[str, float]
    """What the step to it and the note itself cost, part by part, in mm-equivalents; parts that
    cost nothing are left out."""
    instead: Fingering | None
    """The next best other place for this note; None when there is no other."""
    extra: float | None
    """How much more the whole melody would cost that way, in mm-equivalents."""

    @property
    def total(self) -> float:
        """The sum of the parts."""
        return sum(self.parts.values())


def reasons(arrangement: Arrangement) -> tuple[Reason, ...]:
    """For each struck note: what it cost, and what the next best choice would have cost.

    The next best choice puts this note on another (string, fret) and everything else where it is
    then best.  For an arrangement made for the least total effort.
    """
    planner, layers = planned(arrangement)
    parts = _parts(planner, arrangement)
    found = []
    for i, (here, through) in enumerate(
        zip(arrangement.fingerings, cost_through(layers), strict=True)
    ):
        numbers = layers.layer(i)
        here_too = (planner.states.string[numbers] == here.string) & (
            planner.states.fret[numbers] == here.fret
        )
        through = np.where(here_too, FORBIDDEN, through)
        other = int(through.argmin())
        cost = int(through[other])
        possible = cost < FORBIDDEN
        found.append(
            Reason(
                note=i + 1,
                here=here,
                parts={name: part[i] / UNIT for name, part in parts.items() if part[i]},
                instead=_fingering(planner, int(numbers[other])) if possible else None,
                extra=(cost - arrangement.cost) / UNIT if possible else None,
            )
        )
    return tuple(found)


def _fingering(planner: Planner, state: int) -> Fingering:
    states = planner.states
    columns = (states.string, states.fret, states.position, states.finger)
    return Fingering(*(int(column[state]) for column in columns))


def _state_numbers(planner: Planner, arrangement: Arrangement) -> NDArray[np.int64]:
    """The state of each note of an arrangement."""
    states = planner.states
    rows = zip(states.string.tolist(), states.fret.tolist(), states.position.tolist(), strict=True)
    number = {row: i for i, row in enumerate(rows)}
    played = zip(arrangement.strings, arrangement.frets, arrangement.positions, strict=True)
    return np.array([number[row] for row in played])


def _parts(planner: Planner, arrangement: Arrangement) -> dict[str, list[int]]:
    """Every part of the cost, note by note; the step parts belong to the note they lead to."""
    path = _state_numbers(planner, arrangement)
    setup = planner.setup
    notes = note_parts(setup.instrument, planner.states, setup.weights, setup.limits.open_strings)
    parts = {name: part[path].tolist() for name, part in notes.items()}
    steps = step_parts(setup.instrument, planner.states, setup.weights, path[:-1], path[1:])
    steps["shift"] = steps["shift"] * _hurried(planner, arrangement, path) // PLAIN_HASTE
    return {**{name: [0, *part.tolist()] for name, part in steps.items()}, **parts}


def _hurried(
    planner: Planner, arrangement: Arrangement, path: NDArray[np.int64]
) -> NDArray[np.int64]:
    haste = planner.haste(arrangement.melody)
    if haste is None:
        return np.full(len(path) - 1, PLAIN_HASTE)
    after_fretted, after_open = np.array(haste).reshape(-1, 2).T
    return np.where(planner.states.finger[path[:-1]] > 0, after_fretted, after_open)
