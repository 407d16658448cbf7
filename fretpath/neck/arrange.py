"""Arranging: a melody and a setup in, a checked :class:`Arrangement` out.

The pipeline reads aloud here.  What is tried is each octave that fits where the octave is free, and
each string where the melody is to lie on one.  The cheapest is the answer (of two as cheap the
lower octave); where all is to lie on one string, it is the string on which it lies lowest, for
frets grow narrower up the neck and the cheapest string would be the one that leads farthest up.
Then phrases that come again are held to one fingering (:mod:`fretpath.neck.repeats`), and what has
no path becomes an error that says why (:mod:`fretpath.neck.explain_failure`).

**Many melodies** are shared out over as many processes or machines as an executor has.  To a worker
travel the setup once a share, and of each melody its whole numbers; back come the octave and what
was found.  The arrangement is put together here; a melody that has no fingering is looked at again
here to say why.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from dataclasses import fields, replace
from fractions import Fraction
from functools import lru_cache
from itertools import islice, product
from typing import TYPE_CHECKING, Any, Literal, overload

from fretpath.errors import FretpathError, RequestError, UnplayableError
from fretpath.music.melody import Melody, Note, Placement
from fretpath.music.pitch import Pitch
from fretpath.neck.arrangement import Arrangement, position_sign
from fretpath.neck.explain_failure import explain_failure, no_way, note_label
from fretpath.neck.hand import Ints
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.line import OPEN, NoteLimit, title_of
from fretpath.neck.planner import Planner, Solution, planner_for
from fretpath.neck.repeats import hold_repeats
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import On, Setup
from fretpath.remarks import Remark

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

Answer = Arrangement | UnplayableError
"""The outcome for one melody."""
HIGH, LOW = 10, 7
_SHARE = 32
"""Melodies that travel together to another process."""
_UNDER_WAY = 256
"""Shares handed out at a time."""
_Work = tuple[int, Setup, Melody]
_Packed = tuple[Any, ...]
"""A melody or an answer as numbers."""


def arrange(melody: Melody, on: On = "bass") -> Arrangement:
    """The fingering of ``melody`` that costs the hand least.

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
    setup = Setup.of(on)
    found = _best_arrangement(setup, melody)
    if found is None:
        raise _why_not(setup, melody)
    return found


@overload
def arrange_many(
    melodies: Sequence[Melody],
    on: On | Sequence[On] = "bass",
    *,
    executor: Executor | None = None,
    unplayable: Literal["raise"] = "raise",
) -> list[Arrangement]: ...
@overload
def arrange_many(
    melodies: Sequence[Melody],
    on: On | Sequence[On] = "bass",
    *,
    executor: Executor | None = None,
    unplayable: Literal["return"],
) -> list[Answer]: ...
def arrange_many(
    melodies: Sequence[Melody],
    on: On | Sequence[On] = "bass",
    *,
    executor: Executor | None = None,
    unplayable: Literal["raise", "return"] = "raise",
) -> list[Answer] | list[Arrangement]:
    """:func:`arrange` for many melodies, in the order given.

    >>> from fretpath.music.notation import parse_melody
    >>> tunes = [parse_melody("1 3 5 8", key=key) for key in ("G", "Ab")]
    >>> [arrangement.frets for arrangement in arrange_many(tunes)]
    [(3, 2, 5, 5), (4, 3, 6, 6)]

    *on* is one for all, or one for each melody.  *executor* is any ``concurrent.futures.Executor``
    and shares the work out.  *unplayable* is ``raise`` (the error of the first melody that cannot
    be played, named; its ``index`` counts from 0) or ``return`` (the error stands in the list in
    its place).
    """
    if unplayable not in ("raise", "return"):
        raise RequestError(f'unplayable is "raise" or "return", not "{unplayable[:40]}"')
    setups = _setups(melodies, on)
    answers: list[Any] = [None] * len(melodies)
    for index, answer in _each(zip(range(len(melodies)), setups, melodies, strict=True), executor):
        answers[index] = answer
    for index, answer in enumerate(answers):
        if isinstance(answer, FretpathError) and (
            unplayable == "raise" or not isinstance(answer, UnplayableError)
        ):
            raise _name_melody(answer, index, len(answers))
    return answers


def iter_arrange(
    melodies: Iterable[Melody], on: On = "bass", *, executor: Executor | None = None
) -> Iterator[tuple[int, Arrangement | FretpathError]]:
    """(index, answer) of each melody as soon as it is found, in any order; index counts from 0.

    >>> from fretpath.music.notation import parse_melody
    >>> tunes = (parse_melody("1 3 5 8", key=key) for key in ("G", "Ab"))
    >>> [(index, answer.frets) for index, answer in iter_arrange(tunes)]
    [(0, (3, 2, 5, 5)), (1, (4, 3, 6, 6))]

    An answer is the arrangement, or the error of a melody that cannot be played.  The melodies
    may come from a generator: they are taken as the work goes on.  *executor* is any
    ``concurrent.futures.Executor``.
    """
    setup = Setup.of(on)
    work = ((index, setup, melody) for index, melody in enumerate(melodies))
    return _each(work, executor)


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
    line = planner.line(melody).holding(
        dict(enumerate(map(NoteLimit.exactly, arrangement.fingerings[: note - 1])))
    )
    if without:
        at = arrangement.fingerings[note - 1]
        limit = line.limits.get(note - 1, NoteLimit())
        if limit == OPEN and melody.notes[melody.struck[note - 1]].placement is None:
            limit = NoteLimit()  # a pedal, which the teacher did not ask for
        line = line.holding({note - 1: replace(limit, without=((at.string, at.fret),))})
    if note - 1 in planner.missing(line):
        event = melody.struck[note - 1]
        raise UnplayableError(
            f"{title_of(melody)}{note_label(melody, event)}: there is no other place for this note "
            "within the limits"
        )
    best = planner.solve(line)
    if best is None:
        raise no_way(melody, planner.layers(line))
    setup, chosen = arrangement.setup, arrangement.octave_chosen
    return build_arrangement(planner, setup, melody, best.cost, best.path, octave_chosen=chosen)


def lower_octave(arrangement: Arrangement) -> tuple[Remark, ...]:
    """A remark where a tune lies high on the neck only because its octave was written so.

    >>> from fretpath.music.notation import parse_melody
    >>> high = arrange(parse_melody("1 2 3 4 5", key="A").in_octave(3))
    >>> lower_octave(high)[0].text.split("; ")[0]
    'lies as high as position XVIII only because of its octave'
    """
    melody, setup = arrangement.melody, arrangement.setup
    high = max(arrangement.positions)
    placed = any(note.placement for note in melody.notes)
    if arrangement.octave_chosen or placed or high < HIGH or setup.limits.lowest_fret >= HIGH:
        return ()
    for down in range(1, melody.octave + 2):
        lower = _best_arrangement(setup, melody.in_octave(melody.octave - down))
        if lower and max(lower.positions) <= LOW:
            octave = melody.octave - down
            top, low = (
                position_sign(setup.instrument, max(found.positions))
                for found in (arrangement, lower)
            )
            return (
                Remark(
                    "fingered",
                    f"lies as high as position {top} only because of its octave; with the "
                    f"tonic in octave {octave} (--octave {octave}) the hand goes no higher than "
                    f"{low}",
                    melody.title,
                ),
            )
    return ()


def layers_of(arrangement: Arrangement) -> tuple[Planner, Layers]:
    """The planner and the layered graph that an arrangement was found in.

    A pedal that it does not play on the open string is held to nothing.
    """
    setup = arrangement.setup
    if setup.limits.one_string:
        setup = _on_one_string(setup, arrangement.strings[0])
    planner = planner_for(setup)
    line = planner.line(arrangement.melody)
    places = list(zip(arrangement.strings, arrangement.frets, strict=True))
    kept = {note: limit for note, limit in line.limits.items() if limit.allows(*places[note])}
    return planner, planner.layers(replace(line, limits=kept))


def build_arrangement(
    planner: Planner,
    setup: Setup,
    melody: Melody,
    cost: int,
    path: Ints,
    *,
    octave_chosen: bool = False,
    remarks: tuple[Remark, ...] = (),
) -> Arrangement:
    """The arrangement that a path, given as state numbers, stands for."""
    states = planner.states
    return Arrangement(
        melody,
        setup,
        strings=tuple(states.string[path].tolist()),
        frets=tuple(states.fret[path].tolist()),
        positions=tuple(states.position[path].tolist()),
        fingers=tuple(states.finger[path].tolist()),
        cost=cost,
        octave_chosen=octave_chosen,
        remarks=remarks,
    )


# -- one melody -----------------------------------------------------------------------------------


def _best_arrangement(setup: Setup, melody: Melody) -> Arrangement | None:
    """The best fingering of a melody; None where there is none."""
    found = _best_attempt(setup, melody)
    if found is None:
        return None
    octaves, planner, best = found
    moved = _in_octaves(melody, octaves)
    best, remarks = hold_repeats(planner, moved, best)
    return build_arrangement(
        planner,
        setup,
        moved,
        best.cost,
        best.path,
        octave_chosen=melody.octave_free,
        remarks=remarks,
    )


def _why_not(setup: Setup, melody: Melody) -> UnplayableError:
    """Why a melody has no fingering, with the single limit whose end would help."""
    moved = _in_octaves(melody, _octaves(melody, setup.instrument)[0])
    moved = replace(moved, octave_free=melody.octave_free)
    problem = explain_failure(planner_for(setup), moved, _fits)
    for option, limits in setup.limits.without_one():
        if _fits(replace(setup, limits=limits), melody):
            return type(problem)(f"{problem}\nDrop {option}: without it the melody can be played.")
    return problem


def _fits(setup: Setup, melody: Melody) -> bool:
    """Whether a melody can be played."""
    return _best_attempt(replace(setup, objective="total"), melody) is not None


def _in_octaves(melody: Melody, octaves: int) -> Melody:
    """The melody so many octaves higher, and fixed there; itself where its octave was fixed."""
    return melody.in_octave(melody.octave + octaves) if melody.octave_free else melody


def _best_attempt(setup: Setup, melody: Melody) -> tuple[int, Planner, Solution] | None:
    """The octaves it is moved by, the planner and the path that cost least; None without one."""
    best: tuple[int, Planner, Solution] | None = None
    least = (FORBIDDEN, FORBIDDEN)
    octaves = _octaves(melody, setup.instrument)
    for planner, up in product(_planners(setup), octaves):
        found = planner.solve(planner.line(melody, up))
        if found is None:
            continue
        top = planner.states.fret[found.path].max() if setup.limits.one_string else 0
        if (top, found.cost) < least:
            best, least = (up, planner, found), (top, found.cost)
    return best


def _octaves(melody: Melody, instrument: Instrument) -> range:
    """By how many octaves to move a melody; just 0 where the octave is fixed."""
    if not melody.pitches:
        raise RequestError(f"{title_of(melody)}there is no note to play in this melody, only rests")
    if not melody.octave_free:
        return range(1)
    midi = [pitch.midi for pitch in melody.pitches]
    octaves = octaves_for(midi, instrument)
    if octaves:
        return octaves
    nearest = round((sum(instrument.range) - min(midi) - max(midi)) / 24)
    return range(nearest, nearest + 1)


def _planners(setup: Setup) -> Iterator[Planner]:
    """The planner of the setup, or one for each string if all is to lie on one of them."""
    if not setup.limits.one_string:
        yield planner_for(setup)
        return
    for string in setup.limits.strings or range(1, len(setup.instrument.strings) + 1):
        yield planner_for(_on_one_string(setup, string))


def _on_one_string(setup: Setup, string: int) -> Setup:
    return replace(setup, limits=replace(setup.limits, strings=(string,), one_string=False))


# -- many melodies ---------------------------------------------------------------------------------


def _setups(melodies: Sequence[Melody], on: On | Sequence[On]) -> list[Setup]:
    if isinstance(on, str | Instrument | Setup):
        return [Setup.of(on)] * len(melodies)
    setups = [Setup.of(each) for each in on]
    if len(setups) != len(melodies):
        raise RequestError(f"{len(melodies)} melodies but {len(setups)} instruments")
    return setups


def _name_melody(error: FretpathError, index: int, count: int) -> FretpathError:
    """The error with the place of its melody, and all its fields."""
    told = copy(error)
    told.args = (f"melody {index + 1} of {count}: {error}",)
    told.index = index
    return told


def _each(
    work: Iterable[_Work], executor: Executor | None
) -> Iterator[tuple[int, Arrangement | FretpathError]]:
    if executor is None:
        return ((index, _answer_or_error(setup, melody)) for index, setup, melody in work)
    return _share_out(iter(work), executor)


def _answer_or_error(setup: Setup, melody: Melody) -> Arrangement | FretpathError:
    try:
        return arrange(melody, setup)
    except FretpathError as problem:
        return problem


def _share_out(
    work: Iterator[_Work], executor: Executor
) -> Iterator[tuple[int, Arrangement | FretpathError]]:
    from concurrent.futures import FIRST_COMPLETED, wait

    under_way: dict[Future[bytes], list[_Work]] = {}
    while True:
        while len(under_way) < _UNDER_WAY and (share := list(islice(work, _SHARE))):
            packed = [(setup, _pack(melody)) for _, setup, melody in share]
            under_way[executor.submit(_search, pickle.dumps(packed))] = share
        if not under_way:
            return
        for future in wait(under_way, return_when=FIRST_COMPLETED).done:
            share, answers = under_way.pop(future), pickle.loads(future.result())
            for (index, setup, melody), answer in zip(share, answers, strict=True):
                yield index, _put_together(setup, melody, answer)


def _put_together(
    setup: Setup, melody: Melody, answer: _Packed | None
) -> Arrangement | FretpathError:
    if answer is None:
        return _answer_or_error(setup, melody)
    octaves, told = answer
    return Arrangement(_in_octaves(melody, octaves), setup, **told)


# -- in the worker --------------------------------------------------------------------------------


def _search(share: bytes) -> bytes:
    """The answers to a share; None where there is none.

    Both are pickled here and not by the executor, since some look through every list.
    """
    return pickle.dumps(
        [_pack_answer(setup, _unpack(melody)) for setup, melody in pickle.loads(share)]
    )


def _pack_answer(setup: Setup, melody: Melody) -> _Packed | None:
    """By how many octaves a melody was moved, and the fields that were found."""
    try:
        found = _best_arrangement(setup, melody)
    except FretpathError:
        return None
    if found is None:
        return None
    told = {
        field.name: getattr(found, field.name)
        for field in fields(found)
        if field.name not in ("melody", "setup")
    }
    return found.melody.octave - melody.octave, told


def _pack(melody: Melody) -> _Packed:
    """A melody with its notes as numbers; no key, and no words but the title."""
    rows = [_pack_note(note) for note in melody.notes]
    others = {field.name: getattr(melody, field.name) for field in fields(melody)}
    return rows, others | {"notes": (), "keys": (), "headers": (), "lyrics": (), "chords": ()}


def _pack_note(note: Note) -> _Packed:
    pitch, beats, placement = note.pitch, note.beats, note.placement
    return (
        None if pitch is None else (pitch.staff, pitch.midi),
        beats.numerator,
        beats.denominator,
        note.tied,
        None if placement is None else (placement.string, placement.fret),
    )


def _unpack(packed: _Packed) -> Melody:
    rows, others = packed
    return Melody(**others | {"notes": tuple(_unpack_note(*row) for row in rows)})


@lru_cache(maxsize=4096)
def _unpack_note(
    pitch: tuple[int, int] | None,
    above: int,
    below: int,
    tied: bool,
    placement: tuple[int | None, int | None] | None,
) -> Note:
    return Note(
        None if pitch is None else Pitch(*pitch),
        Fraction(above, below),
        tied,
        None if placement is None else Placement(*placement),
    )
