"""Arranging: pitches, places, path, checked :class:`Arrangement`.

The pipeline reads aloud here: melodies are tried (:mod:`fretpath.neck.tries`), and what has no
path becomes an error that says why (:mod:`fretpath.neck.refusal`).  Many melodies are shared out
by setup and length, so that one batched search answers those that are alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.neck.advice import note_label, titled
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.neck.planner import FREE, NoteLimit, Planner, planner_for
from fretpath.neck.refusal import advised, no_way, problem_of
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import On, Setup
from fretpath.neck.tries import Found, best_found, best_paths, line_of, made

if TYPE_CHECKING:
    from concurrent.futures import Executor

__all__ = ["Answer", "arrange", "arrange_many", "replan"]

Answer = Arrangement | UnplayableError
"""What became of one melody."""

_BATCH = 256


def arrange(
    melody: Melody,
    on: On = "bass",
) -> Arrangement:
    """The fingering of ``melody`` that moves the hand least.

    >>> from fretpath.music.notation import parse_melody
    >>> found = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    >>> found.frets, found.fingers, str(found.melody.tonic)
    ((7, 9, 9, 6, 8), (2, 4, 4, 1, 3), 'B1')

    *on* is the name of an instrument, an instrument, or a
    :class:`~fretpath.neck.setup.Setup` with a hand, prices and limits of its own.  If the text
    leaves the octave free, the one that costs the hand least is taken, the lower of two equal ones.

    Raises :class:`OutOfRangeError` with all notes that have no place on the neck,
    :class:`NoPathError` when the limits leave no way from one note to the next, and
    :class:`RequestError` for unknown names and impossible limits.
    """
    return _or_raise(_answers(planner_for(Setup.of(on)), [melody])[0])


def arrange_many(
    melodies: Sequence[Melody],
    on: On | Sequence[On] = "bass",
    *,
    executor: Executor | None = None,
    unplayable: str = "raise",
) -> list[Answer]:
    """:func:`arrange` for many melodies at once, in the order given.

    >>> from fretpath.music.notation import parse_melody
    >>> tunes = [parse_melody("1 3 5 8", key=key) for key in ("G", "Ab")]
    >>> [arrangement.frets for arrangement in arrange_many(tunes)]
    [(3, 2, 5, 5), (4, 3, 6, 6)]

    *on* is one for all, or one for each melody.  All melodies on one setup go through one batched
    search.  *executor* is any ``concurrent.futures.Executor`` and shares the
    work out.  *unplayable* is ``raise`` (the error of the first melody that cannot be played,
    named) or ``return`` (the error stands in the list in its place).
    """
    if unplayable not in ("raise", "return"):
        raise RequestError(f'unplayable is "raise" or "return", not "{unplayable[:40]}"')
    if isinstance(on, str | Instrument | Setup):
        setups = [Setup.of(on)] * len(melodies)
    else:
        setups = [Setup.of(each) for each in on]
    if len(setups) != len(melodies):
        raise RequestError(f"{len(melodies)} melodies but {len(setups)} instruments")
    jobs = list(_jobs(melodies, setups, executor is not None))
    tasks = [(planner_for(job.setup), [melodies[i] for i in job.indices]) for job in jobs]
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
    planner = planner_for(arrangement.setup)
    line = line_of(planner, melody)
    limits = dict(line.limits)
    for earlier, kept in enumerate(arrangement.fingerings[: note - 1]):
        limits[earlier] = NoteLimit(kept.string, kept.fret, kept.position, kept.finger)
    if without:
        at = arrangement.fingerings[note - 1]
        limit = limits.get(note - 1, FREE)
        limits[note - 1] = replace(limit, without=((at.string, at.fret),))
    line = replace(line, limits=limits)
    if note - 1 in planner.missing(line):
        event = melody.struck[note - 1]
        raise UnplayableError(
            f"{titled(melody)}{note_label(melody, event)}: there is no other place for this note "
            "within the limits"
        )
    cost, numbers = next(best_paths(planner, [line]))
    if cost >= FORBIDDEN:
        raise no_way(melody, planner.layers(line))
    found = made(planner, melody, numbers, cost)
    return replace(found, octave_chosen=arrangement.octave_chosen)


def planned(arrangement: Arrangement) -> tuple[Planner, Layers]:
    """The planner and the layered graph that an arrangement was found in."""
    setup = arrangement.setup
    if setup.limits.one_string:
        alone = replace(setup.limits, strings=(arrangement.strings[0],), one_string=False)
        setup = replace(setup, limits=alone)
    planner = planner_for(setup)
    return planner, planner.layers(line_of(planner, arrangement.melody))


# -- one batch -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Share:
    """Melodies that one call of the search answers."""

    setup: Setup
    indices: tuple[int, ...]


def _jobs(
    melodies: Sequence[Melody], setups: Sequence[Setup], shared_out: bool
) -> Iterator[_Share]:
    """Melodies by setup, those of like length together."""
    groups: dict[Setup, list[int]] = {}
    for i, setup in enumerate(setups):
        groups.setdefault(setup, []).append(i)
    size = 32 if shared_out else _BATCH
    for setup, indices in groups.items():
        indices.sort(key=lambda i: len(melodies[i].pitches))
        for begin in range(0, len(indices), size):
            yield _Share(setup, tuple(indices[begin : begin + size]))


def _or_raise(answer: Answer) -> Arrangement:
    if isinstance(answer, UnplayableError):
        raise answer
    return answer


def _answers(planner: Planner, melodies: Sequence[Melody]) -> list[Answer]:
    """What becomes of each melody, all octaves that fit tried where the octave is free."""
    return [_answer(planner, found) for found in best_found(planner, melodies)]


def _answer(planner: Planner, found: Found) -> Answer:
    """The arrangement that was found, or the error that says why there is none."""
    melody = found.tried.melody
    moved = melody.in_octave(melody.octave + found.tried.octaves) if melody.octave_free else melody
    if found.numbers is None:
        return advised(planner, melody, problem_of(found.planner, moved, found.tried.line))
    made_of = made(planner, moved, found.numbers, found.cost, states=found.planner)
    return replace(made_of, octave_chosen=True) if melody.octave_free else made_of
