"""Arranging: pitches, places, path, checked :class:`Arrangement`.

The pipeline reads aloud here: melodies are tried (:mod:`fretpath.neck.tries`), and what has no
path becomes an error that says why (:mod:`fretpath.neck.refusal`).  Many melodies are shared out
by instrument and length, so that one batched search answers those that are alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.neck.advice import note_label, titled
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.costs import Weights, usual_weights
from fretpath.neck.hand import Hand, hand_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.planner import FREE, Limit, Planner, planner_for
from fretpath.neck.refusal import advised, no_way, problem_of
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.tries import Found, best_found, best_paths, line_of, made
from fretpath.neck.wishes import Wishes

if TYPE_CHECKING:
    from concurrent.futures import Executor

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
    two equal ones.  *hand* and *weights* are the instrument's usual ones unless given (see
    :mod:`fretpath.neck.hand` and :func:`~fretpath.neck.costs.usual_weights`), *wishes* none.
    *objective* is ``total`` (least effort in all) or ``hardest`` (the hardest step as easy as
    possible, then least effort); both are exact.

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
    >>> tunes = [parse_melody("1 3 5 8", key=key) for key in ("G", "Ab")]
    >>> [arrangement.frets for arrangement in arrange_many(tunes)]
    [(3, 2, 5, 5), (4, 3, 6, 6)]

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
    planner = planner_for(
        arrangement.instrument, arrangement.hand, arrangement.weights, arrangement.wishes
    )
    line = line_of(planner, melody)
    limits = dict(line.limits)
    for earlier, kept in enumerate(arrangement.fingerings[: note - 1]):
        limits[earlier] = Limit(kept.string, kept.fret, kept.position, kept.finger)
    if without:
        at = arrangement.fingerings[note - 1]
        limit = limits.get(note - 1, FREE)
        limits[note - 1] = replace(limit, without=((at.string, at.fret),))
    line = replace(line, limits=limits)
    if note - 1 in planner.missing(line):
        event = melody.struck[note - 1]
        raise UnplayableError(
            f"{titled(melody)}{note_label(melody, event)}: there is no other place for this note "
            "within the wishes"
        )
    cost, numbers = next(best_paths(planner, [line], arrangement.objective))
    if cost >= FORBIDDEN:
        raise no_way(melody, planner.layers(line))
    found = made(planner, melody, numbers, cost, arrangement.objective)
    return replace(found, octave_chosen=arrangement.octave_chosen)


def planned(arrangement: Arrangement) -> tuple[Planner, Layers]:
    """The planner and the layered graph that an arrangement was found in."""
    wishes = arrangement.wishes
    if wishes.one_string:
        wishes = replace(wishes, strings=(arrangement.strings[0],), one_string=False)
    planner = planner_for(arrangement.instrument, arrangement.hand, arrangement.weights, wishes)
    return planner, planner.layers(line_of(planner, arrangement.melody))


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
        played_on = instrument_named(name) if isinstance(name, str) else name
        groups.setdefault(played_on, []).append(i)
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
    return planner_for(instrument, hand, weights or usual_weights(instrument), wishes)


def _or_raise(answer: Answer) -> Arrangement:
    if isinstance(answer, UnplayableError):
        raise answer
    return answer


def _answers(planner: Planner, melodies: Sequence[Melody], objective: str) -> list[Answer]:
    """What becomes of each melody, all octaves that fit tried where the octave is free."""
    if objective not in OBJECTIVES:
        raise RequestError(f'the objective is total or hardest, not "{objective[:40]}"')
    found = best_found(planner, melodies, objective)
    return [_answer(planner, one, objective) for one in found]


def _answer(planner: Planner, found: Found, objective: str) -> Answer:
    """The arrangement that was found, or the error that says why there is none."""
    melody = found.tried.melody
    moved = melody.in_octave(melody.octave + found.tried.octaves) if melody.octave_free else melody
    if found.numbers is None:
        return advised(planner, melody, problem_of(found.planner, moved, found.tried.line))
    made_of = made(planner, moved, found.numbers, found.cost, objective, states=found.planner)
    return replace(made_of, octave_chosen=True) if melody.octave_free else made_of
