"""Arranging: a melody and a setup in, a checked :class:`Arrangement` out.

The pipeline reads aloud here.  What is tried is data: one :class:`Attempt` for each octave that
fits where the octave is free, and for each string where the melody is to lie on one.  Each attempt
is searched, the cheapest is the answer (of two as cheap the lower octave); where all is to lie on
one string, it is the string on which it lies lowest, for frets grow narrower up the neck and the
cheapest string would be the one that leads farthest up.  Then phrases that come again are held to
one fingering (:mod:`fretpath.neck.repeats`), and what has no path becomes an error that says why
(:mod:`fretpath.neck.explain_failure`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement, position_sign
from fretpath.neck.explain_failure import explain_failure, named, no_way, note_label
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.planner import OPEN, Line, NoteLimit, Planner, line_of, planner_for
from fretpath.neck.repeats import hold_repeats
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_path, easiest_layers
from fretpath.neck.setup import On, Setup
from fretpath.remarks import Remark

Answer = Arrangement | UnplayableError
"""What became of one melody."""
HIGH, LOW = 10, 7


@dataclass(frozen=True, slots=True)
class Attempt:
    """One way to look for a fingering."""

    octaves: int
    """By how many octaves the melody is moved."""
    planner: Planner
    """The setup, narrowed down to one string where all is to lie on one."""


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
    answer = answer_of(Setup.of(on), melody)
    if isinstance(answer, UnplayableError):
        raise answer
    return answer


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
    line = line_of(planner, melody).holding(
        {
            earlier: NoteLimit(kept.string, kept.fret, kept.position, kept.finger)
            for earlier, kept in enumerate(arrangement.fingerings[: note - 1])
        }
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
            f"{named(melody)}{note_label(melody, event)}: there is no other place for this note "
            "within the limits"
        )
    cost, numbers = best_path(planner, line)
    if numbers is None:
        raise no_way(melody, planner.layers(line))
    found = build_arrangement(planner, melody, numbers, cost)
    return replace(found, octave_chosen=arrangement.octave_chosen)


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
        lower = answer_of(setup, replace(melody.in_octave(melody.octave - down), octave_free=False))
        if isinstance(lower, Arrangement) and max(lower.positions) <= LOW:
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
    line = line_of(planner, arrangement.melody)
    places = list(zip(arrangement.strings, arrangement.frets, strict=True))
    kept = {note: limit for note, limit in line.limits.items() if limit.allows(*places[note])}
    return planner, planner.layers(replace(line, limits=kept))


def best_path(planner: Planner, line: Line) -> tuple[int, NDArray[np.int64] | None]:
    """Cost and state numbers of the best path of a line; FORBIDDEN and None if it has none."""
    if planner.missing(line):
        return FORBIDDEN, None
    layers = planner.layers(line)
    if planner.setup.objective == "hardest":
        layers = easiest_layers(layers)
    cost, path = cheapest_path(layers)
    return (cost, layers.numbers(path)) if cost < FORBIDDEN else (FORBIDDEN, None)


def build_arrangement(
    planner: Planner, melody: Melody, numbers: NDArray[np.int64], cost: int
) -> Arrangement:
    """The arrangement that a path, given as state numbers, stands for."""
    states = planner.states
    return Arrangement(
        melody=melody,
        setup=planner.setup,
        strings=tuple(states.string[numbers].tolist()),
        frets=tuple(states.fret[numbers].tolist()),
        positions=tuple(states.position[numbers].tolist()),
        fingers=tuple(states.finger[numbers].tolist()),
        cost=cost,
    )


# -- one melody -----------------------------------------------------------------------------------


def answer_of(setup: Setup, melody: Melody) -> Answer:
    """The best fingering of a melody, or the error that says why there is none."""
    found = arrangement_of(setup, melody)
    if found is None:
        moved = in_octaves(melody, _attempts(setup, melody)[0].octaves)
        return explain_failure(
            planner_for(setup), moved, lambda other: _best_attempt(other, melody)
        )
    return found


def arrangement_of(setup: Setup, melody: Melody) -> Arrangement | None:
    """The best fingering of a melody; None where there is none."""
    found = _best_attempt(setup, melody)
    if found is None:
        return None
    attempt, cost, numbers = found
    moved = in_octaves(melody, attempt.octaves)
    planner = attempt.planner
    if setup.repeats == "same":
        line = line_of(planner, moved)
        cost, numbers, remarks = hold_repeats(planner, moved, line, cost, numbers, best_path)
    else:
        remarks = ()
    built = build_arrangement(planner, moved, numbers, cost)
    return replace(built, setup=setup, octave_chosen=melody.octave_free, remarks=remarks)


def in_octaves(melody: Melody, octaves: int) -> Melody:
    """The melody so many octaves higher, and fixed there; itself where its octave was fixed."""
    return melody.in_octave(melody.octave + octaves) if melody.octave_free else melody


def _best_attempt(setup: Setup, melody: Melody) -> tuple[Attempt, int, NDArray[np.int64]] | None:
    """The best attempt with its cost and path; None when none of them has a path."""
    best: tuple[Attempt, int, NDArray[np.int64]] | None = None
    least = (FORBIDDEN, FORBIDDEN)
    for attempt in _attempts(setup, melody):
        line = line_of(attempt.planner, melody, attempt.octaves)
        cost, numbers = best_path(attempt.planner, line)
        if numbers is None:
            continue
        top = attempt.planner.states.fret[numbers].max() if setup.limits.one_string else 0
        if (top, cost) < least:
            best, least = (attempt, cost, numbers), (top, cost)
    return best


def _attempts(setup: Setup, melody: Melody) -> list[Attempt]:
    """Every attempt, string after string."""
    octaves = _octaves(melody, setup.instrument)
    return [Attempt(up, planner) for planner in _planners(setup) for up in octaves]


def _octaves(melody: Melody, instrument: Instrument) -> range:
    """By how many octaves to move a melody; just 0 where the octave is fixed."""
    if not melody.pitches:
        raise RequestError(f"{named(melody)}there is no note to play in this melody, only rests")
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
