"""Arranging: pitches, places, path, checked :class:`Arrangement`.

One melody or many, one octave or all that fit: every question becomes a list of lines that one
batched search answers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import NoPathError, RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.neck.advice import note_label, off_the_neck, placement_fault, titled
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.costs import Weights
from fretpath.neck.hand import Hand, hand_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.planner import FREE, Limit, Line, Planner, limits_of
from fretpath.neck.search import (
    FORBIDDEN,
    Layers,
    cheapest_path,
    cheapest_paths,
    easiest_layers,
)
from fretpath.neck.wishes import Wishes

__all__ = ["OBJECTIVES", "Answer", "arrange", "arrange_many", "replan"]

OBJECTIVES = ("total", "hardest")
Answer = Arrangement | UnplayableError
"""What became of one melody."""

_BATCH = 256


def arrange(
    melody: Melody,
    instrument: str | Instrument = "bass",
    *,
    hand: str | Hand | None = None,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
    objective: str = "total",
) -> Arrangement:
    """The fingering of ``melody`` that moves the hand least.

    >>> from fretpath.music.notation import parse_melody
    >>> found = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    >>> found.frets, found.fingers, str(found.melody.tonic)
    ((7, 9, 9, 6, 8), (2, 4, 4, 1, 3), 'B1')

    If the text leaves the octave free, the one that costs the hand least is taken, the lower of
    two equal ones.  *hand*, *weights* and *wishes* have defaults in :mod:`fretpath.neck.hand`,
    :class:`Weights` and :class:`Wishes`.  *objective* is ``total`` (least effort in all) or
    ``hardest`` (the hardest step as easy as possible, then least effort); both are exact.

    Raises :class:`OutOfRangeError` with all notes that have no place on the neck,
    :class:`NoPathError` when the limits leave no way from one note to the next, and
    :class:`RequestError` for unknown names and impossible limits.
    """
    planner = _planner(instrument, hand, weights, wishes)
    return _or_raise(_answers(planner, [melody], objective)[0])


def arrange_many(
    melodies: Sequence[Melody],
    instruments: str | Instrument | Sequence[str | Instrument] = "bass",
    *,
    hand: str | Hand | None = None,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
    objective: str = "total",
    executor: Executor | None = None,
    unplayable: str = "raise",
) -> list[Answer]:
    """:func:`arrange` for many melodies at once, in the order given.

    >>> from fretpath.music.notation import parse_melody
    >>> tunes = [parse_melody("1 3 5 8", key=key) for key in ("Bb", "B")]
    >>> [arrangement.frets for arrangement in arrange_many(tunes)]
    [(6, 5, 8, 8), (7, 6, 9, 9)]

    *instruments* is one for all, or one for each melody.  All melodies on one instrument go
    through one batched search.  *executor* is any ``concurrent.futures.Executor`` and shares the
    work out.  *unplayable* is ``raise`` (the error of the first melody that cannot be played,
    named) or ``return`` (the error stands in the list in its place).
    """
    if unplayable not in ("raise", "return"):
        raise RequestError(f'unplayable is "raise" or "return", not "{unplayable[:40]}"')
    names = [instruments] if isinstance(instruments, str | Instrument) else list(instruments)
    if len(names) == 1:
        names *= len(melodies)
    if len(names) != len(melodies):
        raise RequestError(f"{len(melodies)} melodies but {len(names)} instruments")
    jobs = list(_jobs(melodies, names, executor is not None))
    planners = {job.instrument: _planner(job.instrument, hand, weights, wishes) for job in jobs}
    tasks = [
        (planners[job.instrument], [melodies[i] for i in job.indices], objective) for job in jobs
    ]
    if executor is None:
        results = [_answers(*task) for task in tasks]
    else:
        results = [future.result() for future in [executor.submit(_answers, *t) for t in tasks]]
    answers: dict[int, Answer] = {}
    for job, result in zip(jobs, results, strict=True):
        answers.update(zip(job.indices, result, strict=True))
    ordered = [answers[i] for i in range(len(melodies))]
    if unplayable == "raise":
        for number, answer in enumerate(ordered, start=1):
            if isinstance(answer, UnplayableError):
                raise type(answer)(f"melody {number} of {len(ordered)}: {answer}")
    return ordered


def replan(arrangement: Arrangement, note: int, *, without: bool = True) -> Arrangement:
    """ "I cannot reach that": another way from a note on, keeping what came before.

    *note* counts struck notes from 1.  The notes before it keep their fingering exactly; the
    note itself moves to another place unless *without* is false (then it may stay where it is).
    """
    count = len(arrangement)
    if not 1 <= note <= count:
        raise RequestError(f"there is no note {note}: the melody has notes 1 to {count}")
    melody = replace(arrangement.melody, octave_free=False)
    planner = Planner(
        arrangement.instrument, arrangement.hand, arrangement.weights, arrangement.wishes
    )
    line = _line(planner, melody)
    limits = dict(line.limits)
    for earlier, kept in enumerate(arrangement.fingerings[: note - 1]):
        limits[earlier] = Limit(kept.string, kept.fret, kept.position, kept.finger)
    if without:
        at = arrangement.fingerings[note - 1]
        limit = limits.get(note - 1, FREE)
        limits[note - 1] = replace(limit, without=((at.string, at.fret),))
    line = replace(line, limits=limits)
    if planner.missing(line):
        event = melody.struck[note - 1]
        raise UnplayableError(
            f"{titled(melody)}{note_label(melody, event)}: there is no other place for this note "
            "within the wishes"
        )
    found = _solved(planner, [melody], [line], arrangement.objective)[0]
    if isinstance(found, Arrangement):
        return replace(found, octave_chosen=arrangement.octave_chosen)
    raise found


def planned(arrangement: Arrangement) -> tuple[Planner, Layers]:
    """The planner and the layered graph that an arrangement was found in."""
    wishes = arrangement.wishes
    if wishes.one_string:
        wishes = replace(wishes, strings=(arrangement.strings[0],), one_string=False)
    planner = Planner(arrangement.instrument, arrangement.hand, arrangement.weights, wishes)
    return planner, planner.layers([_line(planner, arrangement.melody)])[0]


# -- one batch -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Share:
    """Melodies that one call of the search answers."""

    instrument: Instrument
    indices: tuple[int, ...]


def _jobs(
    melodies: Sequence[Melody], names: Sequence[str | Instrument], shared_out: bool
) -> Iterator[_Share]:
    """Melodies by instrument, those of like length together."""
    groups: dict[Instrument, list[int]] = {}
    for i, name in enumerate(names):
        made = instrument_named(name) if isinstance(name, str) else name
        groups.setdefault(made, []).append(i)
    size = 32 if shared_out else _BATCH
    for instrument, indices in groups.items():
        indices.sort(key=lambda i: len(melodies[i].pitches))
        for begin in range(0, len(indices), size):
            yield _Share(instrument, tuple(indices[begin : begin + size]))


def _planner(
    instrument: str | Instrument,
    hand: str | Hand | None,
    weights: Weights | None,
    wishes: Wishes | None,
) -> Planner:
    if isinstance(instrument, str):
        instrument = instrument_named(instrument)
    if not isinstance(hand, Hand):
        hand = hand_named(hand or instrument.hand)
    wishes = wishes or Wishes()
    wishes.check(instrument)
    return Planner(instrument, hand, weights or Weights(), wishes)


def _or_raise(answer: Answer) -> Arrangement:
    if isinstance(answer, UnplayableError):
        raise answer
    return answer


def _answers(planner: Planner, melodies: Sequence[Melody], objective: str) -> list[Answer]:
    """What becomes of each melody, all octaves that fit tried where the octave is free."""
    if objective not in OBJECTIVES:
        raise RequestError(f'the objective is total or hardest, not "{objective[:40]}"')
    octaves = [_octaves(melody, planner.instrument) for melody in melodies]
    flat = [moved for choices in octaves for moved in choices]
    found = iter(_on_strings(planner, flat, objective))
    answers: list[Answer] = []
    for melody, choices in zip(melodies, octaves, strict=True):
        tried = [next(found) for _ in choices]
        answers.append(_best(planner, melody, tried))
    return answers


def _octaves(melody: Melody, instrument: Instrument) -> list[Melody]:
    """The melody in every octave to try; just itself where the octave is fixed."""
    if not melody.pitches:
        raise RequestError(f"{titled(melody)}there is no note to play in this melody, only rests")
    if not melody.octave_free:
        return [melody]
    low, high = instrument.range
    pitches = [pitch.midi for pitch in melody.pitches]
    least, most = -((min(pitches) - low) // 12), (high - max(pitches)) // 12
    if least > most:
        middle = (low + high - min(pitches) - max(pitches)) / 2
        least = most = round(middle / 12)
    return [melody.in_octave(melody.octave + up) for up in range(least, most + 1)]


def _best(planner: Planner, melody: Melody, tried: Sequence[Answer]) -> Answer:
    """The cheapest of the octaves tried; if none can be played, the first one's error."""
    playable = [answer for answer in tried if isinstance(answer, Arrangement)]
    if not playable:
        return _advised(planner, melody, tried[0])
    best = min(playable, key=lambda arrangement: arrangement.cost)
    return replace(best, octave_chosen=melody.octave_free)


def _on_strings(planner: Planner, melodies: Sequence[Melody], objective: str) -> list[Answer]:
    """Answers with the wish for one string resolved: each string is tried."""
    if not planner.wishes.one_string:
        return _placed(planner, melodies, objective)
    strings = planner.wishes.strings or range(1, len(planner.instrument.strings) + 1)
    each = [
        _placed(
            replace(planner, wishes=replace(planner.wishes, strings=(string,))), melodies, objective
        )
        for string in strings
    ]
    return [
        min(tried, key=lambda a: a.cost if isinstance(a, Arrangement) else FORBIDDEN)
        for tried in zip(*each, strict=True)
    ]


def _placed(planner: Planner, melodies: Sequence[Melody], objective: str) -> list[Answer]:
    lines = [_line(planner, melody) for melody in melodies]
    answers: list[Answer | None] = [
        _no_place(planner, melody, missing) if (missing := planner.missing(line)) else None
        for melody, line in zip(melodies, lines, strict=True)
    ]
    open_ones = [i for i, answer in enumerate(answers) if answer is None]
    solved = iter(
        _solved(planner, [melodies[i] for i in open_ones], [lines[i] for i in open_ones], objective)
    )
    return [next(solved) if answer is None else answer for answer in answers]


def _line(planner: Planner, melody: Melody) -> Line:
    limits = limits_of([melody.notes[event].placement for event in melody.struck])
    start = planner.wishes.start
    if start is not None:
        limits[0] = Limit(start.string, start.fret, finger=start.finger)
    midi = tuple(pitch.midi for pitch in melody.pitches)
    return Line(midi, limits, planner.haste(melody))


def _solved(
    planner: Planner, melodies: Sequence[Melody], lines: Sequence[Line], objective: str
) -> list[Answer]:
    if not lines:
        return []
    layers = planner.layers(lines)
    if objective == "hardest":
        layers = [easiest_layers(each) for each in layers]
        paths = [cheapest_path(each) for each in layers]
    elif len(layers) == 1:
        paths = [cheapest_path(layers[0])]
    else:
        paths = cheapest_paths(layers)
    return [
        made(planner, melody, each, cost, path, objective)
        if cost < FORBIDDEN
        else _no_way(planner, melody, each)
        for melody, each, (cost, path) in zip(melodies, layers, paths, strict=True)
    ]


def made(
    planner: Planner,
    melody: Melody,
    layers: Layers,
    cost: int,
    path: NDArray[np.int64],
    objective: str = "total",
) -> Arrangement:
    """The arrangement that a path through the layers of a melody stands for."""
    states, numbers = planner.states, layers.numbers(path)
    return Arrangement(
        melody=melody,
        instrument=planner.instrument,
        hand=planner.hand,
        weights=planner.weights,
        wishes=planner.wishes,
        strings=tuple(states.string[numbers].tolist()),
        frets=tuple(states.fret[numbers].tolist()),
        positions=tuple(states.position[numbers].tolist()),
        fingers=tuple(states.finger[numbers].tolist()),
        cost=cost,
        objective=objective,
    )


# -- what to say when it cannot be played --------------------------------------------------------


def _no_place(planner: Planner, melody: Melody, missing: Sequence[int]) -> UnplayableError:
    events = [melody.struck[note] for note in missing]
    for event in events:
        if melody.notes[event].placement:
            return placement_fault(melody, event, planner.instrument)
    return off_the_neck(melody, events, planner.instrument)


def _no_way(planner: Planner, melody: Melody, layers: Layers) -> NoPathError:
    """Every note can be played alone; name the step that no path survives."""
    reached = layers.first
    for t, k in enumerate(layers.table.tolist(), start=1):
        reached = (layers.tables[k] + reached[None, :]).min(axis=1)
        if int(reached.min()) >= FORBIDDEN:
            before, after = (note_label(melody, melody.struck[note]) for note in (t - 1, t))
            return NoPathError(
                f"{titled(melody)}the hand cannot get from {before} to {after} within the wishes"
            )
    raise AssertionError("a path was lost")


def _advised(planner: Planner, melody: Melody, problem: Answer) -> UnplayableError:
    """The error, with the single wish that would help if it were dropped."""
    assert isinstance(problem, UnplayableError)
    for wish, wishes in planner.wishes.without_one():
        freed = replace(planner, wishes=wishes)
        answers = _on_strings(freed, _octaves(melody, planner.instrument), "total")
        if any(isinstance(answer, Arrangement) for answer in answers):
            return type(problem)(f"{problem}\nDrop {wish}: without it the melody can be played.")
    return problem
