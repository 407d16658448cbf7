"""Many melodies at once, on as many processes or machines as an executor has.

**What travels.**  To a worker: the setup once a share, and of each melody its whole numbers
(pitches, lengths, bars, phrases, tempo, places, repeats).  Back: string, fret, position and finger
of each note as one byte, the octave and the cost.  The arrangement is put together here; a melody
that has no fingering is looked at again here to say why.
"""

from __future__ import annotations

import pickle
from collections.abc import Iterable, Iterator, Sequence
from copy import copy
from fractions import Fraction
from functools import lru_cache
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal, overload

from fretpath.errors import FretpathError, RequestError, UnplayableError
from fretpath.music.melody import Melody, Meter, Note, Placement, Repeat
from fretpath.music.pitch import Pitch
from fretpath.neck.arrange import Answer, answer_of, arrangement_of, in_octaves
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import On, Setup
from fretpath.remarks import Remark

if TYPE_CHECKING:
    from concurrent.futures import Executor, Future

_SHARE = 32
"""Melodies that travel together."""
_UNDER_WAY = 256
"""Shares handed out at a time."""
Packed = tuple[Any, ...]
"""A melody or an answer as numbers."""
Work = tuple[int, Setup, Melody]


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
            raise _named(answer, index, len(answers))
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


def _setups(melodies: Sequence[Melody], on: On | Sequence[On]) -> list[Setup]:
    if isinstance(on, str | Instrument | Setup):
        return [Setup.of(on)] * len(melodies)
    setups = [Setup.of(each) for each in on]
    if len(setups) != len(melodies):
        raise RequestError(f"{len(melodies)} melodies but {len(setups)} instruments")
    return setups


def _named(error: FretpathError, index: int, count: int) -> FretpathError:
    """The error with the place of its melody, and all its fields."""
    named = copy(error)
    named.args = (f"melody {index + 1} of {count}: {error}",)
    named.index = index
    return named


def _each(
    work: Iterable[Work], executor: Executor | None
) -> Iterator[tuple[int, Arrangement | FretpathError]]:
    if executor is None:
        return ((index, _answer_or_error(setup, melody)) for index, setup, melody in work)
    return _shared_out(iter(work), executor)


def _answer_or_error(setup: Setup, melody: Melody) -> Arrangement | FretpathError:
    try:
        return answer_of(setup, melody)
    except FretpathError as problem:
        return problem


def _shared_out(
    work: Iterator[Work], executor: Executor
) -> Iterator[tuple[int, Arrangement | FretpathError]]:
    from concurrent.futures import FIRST_COMPLETED, wait

    under_way: dict[Future[list[Packed | None]], list[Work]] = {}
    while True:
        while len(under_way) < _UNDER_WAY and (share := list(islice(work, _SHARE))):
            packed = [(setup, _packed(melody)) for _, setup, melody in share]
            under_way[executor.submit(_search, pickle.dumps(packed))] = share
        if not under_way:
            return
        for future in wait(under_way, return_when=FIRST_COMPLETED).done:
            share = under_way.pop(future)
            for (index, setup, melody), answer in zip(share, future.result(), strict=True):
                yield index, _put_together(setup, melody, answer)


def _put_together(
    setup: Setup, melody: Melody, answer: Packed | None
) -> Arrangement | FretpathError:
    if answer is None:
        return _answer_or_error(setup, melody)
    octaves, columns, cost, remarks = answer
    strings, frets, positions, fingers = map(tuple, columns)
    return Arrangement(
        in_octaves(melody, octaves),
        setup,
        strings,
        frets,
        positions,
        fingers,
        cost,
        octave_chosen=melody.octave_free,
        remarks=tuple(Remark(*words) for words in remarks),
    )


# -- in the worker --------------------------------------------------------------------------------


def _search(share: bytes) -> list[Packed | None]:
    """The answers to a share as numbers; None where there is none.

    The share is pickled here and not by the executor, since some look through every list.
    """
    return [_found(setup, _unpacked(packed)) for setup, packed in pickle.loads(share)]


def _found(setup: Setup, melody: Melody) -> Packed | None:
    try:
        found = arrangement_of(setup, melody)
    except FretpathError:
        return None
    if found is None:
        return None
    columns = (found.strings, found.frets, found.positions, found.fingers)
    remarks = [(remark.kind, remark.text, remark.place) for remark in found.remarks]
    return found.melody.octave - melody.octave, [*map(bytes, columns)], found.cost, remarks


# -- a melody as numbers --------------------------------------------------------------------------


def _packed(melody: Melody) -> Packed:
    """What the search asks of a melody; no key, and no words but the title."""
    tempo = melody.tempo
    return (
        [_packed_note(note) for note in melody.notes],
        [(at, meter.beats, meter.unit) for at, meter in melody.meters],
        melody.bars,
        melody.phrases,
        melody.octave,
        melody.octave_free,
        melody.title,
        None if tempo is None else (tempo.numerator, tempo.denominator),
        [(r.start, r.stop, r.times, r.endings) for r in melody.repeats],
    )


def _packed_note(note: Note) -> Packed:
    pitch, beats, placement = note.pitch, note.beats, note.placement
    return (
        None if pitch is None else (pitch.staff, pitch.midi),
        beats.numerator,
        beats.denominator,
        note.tied,
        None if placement is None else (placement.string, placement.fret),
    )


@lru_cache(maxsize=4096)
def _unpacked_note(
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


def _unpacked(packed: Packed) -> Melody:
    notes, meters, bars, phrases, octave, octave_free, title, tempo, repeats = packed
    return Melody(
        tuple(_unpacked_note(*note) for note in notes),
        meters=tuple((at, Meter(beats, unit)) for at, beats, unit in meters),
        bars=bars,
        phrases=phrases,
        octave=octave,
        octave_free=octave_free,
        title=title,
        tempo=None if tempo is None else Fraction(*tempo),
        repeats=tuple(Repeat(*repeat) for repeat in repeats),
    )
