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
from fretpath.neck.arrange import arrange, build_arrangement, layers_of
from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.figures import roman
from fretpath.neck.pace import PACE_UNIT, PLAIN, paces_of
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_apart, cost_through
from fretpath.neck.setup import On
from fretpath.neck.terms import TIMED, UNIT, Weights, note_parts, step_parts

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
    planner, layers = layers_of(best)
    shared = _Shared(planner, layers)
    while len(found) < count and shared.choice:
        shared.add(found[-1])
        cost, path = cheapest_apart(layers, shared.marks, shared.most, STRETCH)
        if cost >= FORBIDDEN:
            break
        way = build_arrangement(planner, best.melody, layers.numbers(path), cost)
        found.append(replace(way, setup=best.setup, octave_chosen=best.octave_chosen))
    return tuple(found)


class _Shared:
    """Which states lie at a place that an earlier way uses; notes with one place never count."""

    def __init__(self, planner: Planner, layers: Layers) -> None:
        self._frets = planner.setup.instrument.frets_free + 1
        place = planner.states.string * self._frets + planner.states.fret
        places = [place[numbers] for numbers in layers.choices]
        choice = [int(found.min()) < int(found.max()) for found in places]
        self._places = [places[k] if choice[k] else None for k in layers.layer_of_note]
        self.marks = [np.zeros(len(places[k]), dtype=bool) for k in layers.layer_of_note]
        """For each layer, the states that count as shared."""
        counted = [choice[k] for k in layers.layer_of_note]
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
    planner, layers = layers_of(arrangement)
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
    path, neck = _state_numbers(planner, arrangement), planner.setup.instrument
    states, weights = planner.states, planner.weights
    parts = {
        name: [0, *part.tolist()]
        for name, part in step_parts(
            neck, states.only(path[:-1]), states.only(path[1:]), weights
        ).items()
    }
    factors = [0, *_factors(arrangement, weights)]
    timed = [name for name in parts if name in TIMED]
    plain = [sum(parts[name][note] for name in timed) for note in range(len(path))]
    for name in timed:
        parts[name] = [
            part * factor // PACE_UNIT for part, factor in zip(parts[name], factors, strict=True)
        ]
    if timed:  # their sum is rounded once
        for note, factor in enumerate(factors):
            rounded = sum(parts[name][note] for name in timed)
            parts[timed[0]][note] += plain[note] * factor // PACE_UNIT - rounded
    notes = note_parts(neck, states.only(path), weights)
    return parts | {name: part.tolist() for name, part in notes.items()}


def _factors(arrangement: Arrangement, weights: Weights) -> list[int]:
    """The pace of each step, after the note before it."""
    paces = paces_of(arrangement.melody, weights) or (PLAIN,) * (len(arrangement) - 1)
    return [pace[finger == 0] for pace, finger in zip(paces, arrangement.fingers, strict=False)]
