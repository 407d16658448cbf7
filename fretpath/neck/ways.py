"""Other ways to play it, and why this one was chosen.

**Truly different.**  The first way is the best.  Each further way is the cheapest that, in every
stretch of :data:`STRETCH` notes, plays at least half of the notes that have a choice at another
place (string, fret) than every better way does.  A note with one place only is not counted.  So a
way is never the best one with a single note moved; and each is found exactly, by a search that
counts the shared notes of the stretch as it goes.  A way of more than :data:`MOST_EFFORT` times the
best effort (and :data:`SLACK` more) is no choice, so there may be fewer than asked for.

**Open and closed.**  Where all ways use open strings or none does, the last one asked for is the
cheapest of the other kind, if there is one within that effort.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrange import arrange, build_arrangement, layers_of
from fretpath.neck.arrangement import Arrangement, position_sign
from fretpath.neck.hand import Fingering, Ints
from fretpath.neck.line import PACE_UNIT, NoteLimit, paces_of
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_apart, cost_through
from fretpath.neck.setup import On, OpenStrings
from fretpath.neck.terms import TIMED, UNIT, note_parts
from fretpath.values import Value

STRETCH = 16
MOST_EFFORT = 2
SLACK = 50
"""Effort beyond that, so that the ways of a short easy tune are not all ruled out."""
MOST_WAYS = 20


def ways(melody: Melody, on: On = "bass", count: int = 3) -> tuple[Arrangement, ...]:
    """Up to *count* (1 to 20) truly different ways to play a melody, the best first.

    >>> from fretpath.music.notation import parse_melody
    >>> from fretpath.neck.setup import Limits, Setup
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
    found = ways_apart(best, count)
    if count > 1:
        other = _of_other_kind(best, found)
        if other is not None:
            found = [*found[: count - 1], other]
    return (best, *sorted(found[1:], key=lambda way: way.cost))


def ways_apart(best: Arrangement, count: int) -> list[Arrangement]:
    """The best way, and up to *count* - 1 that differ from all cheaper ones, the cheapest first."""
    found = [best]
    planner, layers = layers_of(best)
    shared = _Shared(planner, layers)
    while len(found) < count and shared.choice:
        shared.add(found[-1])
        cost, path = cheapest_apart(layers, shared.marks, shared.most, STRETCH)
        if cost >= FORBIDDEN or cost > _most(best):
            break
        numbers, chosen = layers.numbers(path), best.octave_chosen
        found.append(
            build_arrangement(planner, best.setup, best.melody, cost, numbers, octave_chosen=chosen)
        )
    return found


def _most(best: Arrangement) -> int:
    """The most that a further way may cost."""
    return MOST_EFFORT * best.cost + SLACK * UNIT


def _of_other_kind(best: Arrangement, found: Sequence[Arrangement]) -> Arrangement | None:
    """The best way without open strings where all have some, or with some where none has any."""
    kinds = {way.figures.open_strings > 0 for way in found}
    if len(kinds) > 1 or best.setup.limits.open_strings != "allow":
        return None
    wanted: OpenStrings = "forbid" if True in kinds else "prefer"
    planner, _ = layers_of(best)  # its limits name the string of a melody on one string
    setup = replace(planner.setup, limits=replace(planner.setup.limits, open_strings=wanted))
    try:
        way = arrange(replace(best.melody, octave_free=False), setup)
    except UnplayableError:
        return None
    cost = planner.cost_of(_state_numbers(planner, way), planner.line(way.melody).paces)
    if (way.figures.open_strings > 0) in kinds or cost > _most(best):
        return None
    return replace(way, setup=best.setup, cost=cost, octave_chosen=best.octave_chosen)


def _places_in(planner: Planner, layers: Layers, way: Arrangement) -> list[int]:
    """Where each note of a fingering stands in its layer."""
    numbers = _state_numbers(planner, way)
    return [
        int(np.searchsorted(row, number))
        for row, number in zip(layers.states, numbers, strict=True)
    ]


class _Shared:
    """Which states lie at a place that an earlier way uses; notes with one place never count."""

    def __init__(self, planner: Planner, layers: Layers) -> None:
        self._frets = planner.setup.instrument.frets_free + 1
        place = planner.states.string * self._frets + planner.states.fret
        self._places = [place[numbers] for numbers in layers.states]
        self._counts = [int(places.min()) < int(places.max()) for places in self._places]
        self.marks = [np.zeros(len(numbers), dtype=bool) for numbers in layers.states]
        """For each layer, the states that count as shared."""
        stretches = [self._counts[t : t + STRETCH] for t in range(0, len(layers), STRETCH)]
        self.most = [sum(counts) // 2 for counts in stretches]
        """The number of notes of each stretch that may be shared."""

    @property
    def choice(self) -> bool:
        """Whether any note has more than one place."""
        return any(self._counts)

    def add(self, way: Arrangement) -> None:
        """Let a way count as an earlier one."""
        rows = zip(self.marks, self._places, self._counts, way.strings, way.frets, strict=True)
        for marks, places, counts, string, fret in rows:
            if counts:
                marks |= places == string * self._frets + fret


def describe(arrangement: Arrangement) -> str:
    """A way to play in the words a teacher uses, such as ``position II, no shift``."""
    figures = arrangement.figures
    used = sorted(set(arrangement.strings))
    if len(used) == 1:
        name = arrangement.instrument.string_names[used[0] - 1]
        where = f"all on the {name} string (string {used[0]})"
    elif figures.shifts == 0:
        where = f"position {position_sign(arrangement.instrument, figures.positions[0])}"
    else:
        low, high = min(figures.positions), max(figures.positions)
        signs = [position_sign(arrangement.instrument, position) for position in (low, high)]
        where = f"positions {' to '.join(signs)}"
    if len(used) > 1 and figures.open_strings:
        where += " with open strings"
    moves = counted(figures.shifts, "shift") if figures.shifts else "no shift"
    return f"{where}, {moves}"


def set_apart(ways: Sequence[Arrangement]) -> list[str]:
    """Each way in words that tell it from the others.

    >>> from fretpath.music.notation import parse_melody
    >>> found = ways(parse_melody("C2 D2 E2 F2 G2"), "bass", 3)
    >>> len(set(set_apart(found))) == len(found)
    True
    """
    told = [describe(way) for way in ways]
    for add in (_open_words, _place_words, _end_words):
        told = [
            f"{text}, {add(way)}" if told.count(text) > 1 else text
            for text, way in zip(told, ways, strict=True)
        ]
    return told


def _open_words(way: Arrangement) -> str:
    count = way.figures.open_strings
    return counted(count, "open string") if count else "no open string"


def _place_words(way: Arrangement) -> str:
    first = way.fingerings[0]
    finger = f", finger {first.finger}" if first.finger else ""
    return f"from {first.string}-{first.fret}{finger}"


def _end_words(way: Arrangement) -> str:
    last = way.fingerings[-1]
    return f"to {last.string}-{last.fret}"


@dataclass(frozen=True)
class Reason(Value):
    """Why one note is played where it is."""

    note: int
    """The struck note, counted from 1."""
    here: Fingering
    """The place and finger it has."""
    parts: dict[str, float] = field(hash=False)
    """Costs of the step to it and of the note itself, part by part; parts that cost nothing are
    left out."""
    instead: Fingering | None
    """The next best other place for this note; None when there is no other."""
    extra: float | None
    """Effort that the whole melody would cost more that way."""
    held: bool = False
    """Whether all other notes stay where they are in that comparison."""

    @property
    def total(self) -> float:
        """The sum of the parts."""
        return sum(self.parts.values())


def reasons(arrangement: Arrangement) -> tuple[Reason, ...]:
    """For each struck note: what it cost, and what the next best choice would have cost.

    The next best choice puts this note on another (string, fret) and everything else where it is
    then best.  Where the arrangement is not the cheapest of all (a further way, a phrase held to
    one fingering, the objective ``hardest``), all other notes stay where they are instead; a
    negative extra then says that this note alone would be easier elsewhere.
    """
    planner, layers = layers_of(arrangement)
    through = cost_through(layers)
    held = arrangement.cost > int(through[0].min())
    if held:
        through = _cost_beside(layers, _places_in(planner, layers, arrangement), arrangement.cost)
    parts = _parts(planner, arrangement)
    return tuple(
        Reason(
            note=i + 1,
            here=here,
            parts={name: part[i] / UNIT for name, part in parts.items() if part[i]},
            instead=instead,
            extra=extra,
            held=held,
        )
        for i, here in enumerate(arrangement.fingerings)
        for instead, extra in [_instead(planner, layers.states[i], here, through[i], arrangement)]
    )


def _instead(
    planner: Planner,
    numbers: Ints,
    here: Fingering,
    through: Ints,
    arrangement: Arrangement,
) -> tuple[Fingering | None, float | None]:
    """The next best place of a note and what it costs more; None and None without one."""
    states = planner.states
    same = (states.string[numbers] == here.string) & (states.fret[numbers] == here.fret)
    through = np.where(same, FORBIDDEN, through)
    at = int(through.argmin())
    if int(through[at]) >= FORBIDDEN:
        return None, None
    return states.fingering(int(numbers[at])), (int(through[at]) - arrangement.cost) / UNIT


def _cost_beside(layers: Layers, places: Sequence[int], total: int) -> list[Ints]:
    """For each note, the cost of the path with that note in each of its states, the rest held."""
    steps, found = layers.steps, []
    for t, place in enumerate(places):
        onto = layers.first if t == 0 else steps[t - 1][:, places[t - 1]]
        own = onto.copy()
        if t < len(steps):
            own += steps[t][places[t + 1], :]
        found.append(np.minimum(total + own - own[place], FORBIDDEN))
    return found


def _state_numbers(planner: Planner, arrangement: Arrangement) -> Ints:
    """The state of each note of an arrangement."""
    limits = map(NoteLimit.exactly, arrangement.fingerings)
    sounds = planner.line(arrangement.melody).sounds
    pairs = zip(sounds, limits, strict=True)
    return np.concatenate([planner.choices(sound, limit) for sound, limit in pairs])


def _parts(planner: Planner, arrangement: Arrangement) -> dict[str, list[int]]:
    """Every part of the cost, note by note; the step parts belong to the note they lead to."""
    path = _state_numbers(planner, arrangement)
    steps = planner.step_parts(path[:-1], path[1:])
    factors = planner.factors(path[:-1], paces_of(arrangement.melody, planner.weights))
    timed = [name for name in steps if name in TIMED]
    if timed:  # their sum is rounded once
        whole = sum(steps[name] for name in timed) * factors // PACE_UNIT
        for name in timed:
            steps[name] = steps[name] * factors // PACE_UNIT
        steps[timed[0]] += whole - sum(steps[name] for name in timed)
    at = planner.states.only(path)
    notes = note_parts(planner.setup.instrument, at, planner.weights)
    parts = {name: [0, *part.tolist()] for name, part in steps.items()}
    return parts | {name: part.tolist() for name, part in notes.items()}
