"""How much time a shift has, and what that does to its price.

**Theory.**  The hand can travel once the last fretted note may be let go.  After a fretted note it
has only the silence before the next one; while an open string sounds, or a rest lasts, the hand
is free.  So each step has a *haste*, a factor on the price of the shift: above 1 when the notes
follow each other fast, below 1 when the hand has time or the shift falls on a bar line or between
two phrases (that shifts belong there: Radicioni, Anselma & Lombardo, CIM04), and 1 in between.

Without a tempo nothing is known of the time, and every shift has its plain price.  The data on
which the other weights were learnt neither ask for these factors nor speak against them.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from fretpath.music.melody import Melody
from fretpath.neck.costs import Weights

__all__ = ["PLAIN", "PLAIN_HASTE", "Haste", "haste_of"]

Haste = tuple[int, int]
"""What the price of a shift is multiplied by, in 64ths: (after a fretted note, after an open
string)."""
PLAIN_HASTE = 64
PLAIN: Haste = (PLAIN_HASTE, PLAIN_HASTE)
"""The haste of a shift at its plain price."""


def haste_of(melody: Melody, weights: Weights) -> tuple[Haste, ...] | None:
    """The haste of each step from struck note to struck note; None without a tempo."""
    if melody.tempo is None:
        return None
    second = float(melody.tempo) / 60
    steps = _steps(melody.clock)
    return tuple(
        _haste(onset / second, silence / second, edge, weights) for onset, silence, edge in steps
    )


def _steps(melody: Melody) -> Iterator[tuple[float, float, bool]]:
    """Beats from onset to onset, beats of silence between, and whether a bar line is crossed."""
    onsets, bars = melody.onsets, melody.bar_numbers
    phrase_starts = set(melody.phrases)
    for (before, after), length in zip(pairwise(melody.struck), melody.lengths, strict=False):
        apart = onsets[after] - onsets[before]
        edge = bars[before] != bars[after] or after in phrase_starts
        yield float(apart), float(apart - length), edge


def _haste(apart: float, silence: float, edge: bool, weights: Weights) -> Haste:
    """*apart* is from onset to onset, *silence* from release to onset, both in seconds."""
    fast = apart < weights.hurried_below
    return (
        _factor(fast, silence > weights.rested_from or edge, weights),
        _factor(fast, apart > weights.rested_from, weights),
    )


def _factor(fast: bool, rested: bool, weights: Weights) -> int:
    if fast:
        return round(PLAIN_HASTE * weights.hurried)
    return round(PLAIN_HASTE * weights.rested) if rested else PLAIN_HASTE
