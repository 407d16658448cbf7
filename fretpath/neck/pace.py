"""The pace of a shift: how much time it has, and what that does to its price.

**Theory.**  The hand can travel once the last stopped note may be let go.  After a stopped note it
has only the silence before the next one; while an open string sounds the hand is free.  So each
step has a *pace*, a factor on the timed terms (:mod:`fretpath.neck.terms`): above 1 when the notes
follow each other fast, below 1 after an open string, over a bar line or between two phrases (that
shifts belong there: Radicioni, Anselma & Lombardo, CIM04), and the lower the longer the rest is.

Without a tempo only rests are known to give time; a beat then counts as half a second.  The data
on which other weights were learned neither ask for these factors nor speak against them.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from fretpath.music.melody import Melody
from fretpath.neck.terms import Weights

Pace = tuple[int, int]
"""What the timed terms are multiplied by, in 64ths: (after a stopped note, after an open
string)."""
PACE_UNIT = 64
PLAIN: Pace = (PACE_UNIT, PACE_UNIT)
"""The pace of a shift at its plain price."""
LEAST_FACTOR = 0.05
SECONDS_A_BEAT = 0.5
"""Taken for a rest where no tempo is known."""


def paces_of(melody: Melody, weights: Weights) -> tuple[Pace, ...] | None:
    """The pace of each step from struck note to struck note; None where nothing is known."""
    if melody.tempo is None:
        if all(note.struck or note.tied for note in melody.notes):
            return None
        return tuple(
            (factor, factor)
            for _, silence, _ in _steps(melody)
            for factor in [_factor(False, False, silence * SECONDS_A_BEAT, weights)]
        )
    second = float(melody.tempo) / 60
    return tuple(
        _pace(onset / second, silence / second, edge, weights)
        for onset, silence, edge in _steps(melody.clock)
    )


def _steps(melody: Melody) -> Iterator[tuple[float, float, bool]]:
    """Beats from onset to onset, beats of silence between, and whether a bar line is crossed."""
    onsets, bars = melody.onsets, melody.bar_numbers
    phrase_starts = set(melody.phrases)
    for (before, after), length in zip(pairwise(melody.struck), melody.lengths, strict=False):
        apart = onsets[after] - onsets[before]
        edge = bars[before] != bars[after] or after in phrase_starts
        yield float(apart), float(apart - length), edge


def _pace(apart: float, silence: float, edge: bool, weights: Weights) -> Pace:
    """*apart* is from onset to onset, *silence* from release to onset, both in seconds."""
    fast = apart < weights.hurried_below
    return (
        _factor(fast, edge, silence, weights),
        _factor(fast, edge or apart > weights.rested_from, silence, weights),
    )


def _factor(fast: bool, free: bool, silence: float, weights: Weights) -> int:
    """*free* is a hand that may travel though nothing is silent."""
    if fast:
        return round(PACE_UNIT * weights.hurried)
    rests = silence > weights.rested_from
    if not rests:
        return round(PACE_UNIT * weights.rested) if free else PACE_UNIT
    factor = weights.rested / (1 + silence / max(weights.rest_halves, 1e-9))
    return round(PACE_UNIT * max(factor, min(LEAST_FACTOR, weights.rested)))
