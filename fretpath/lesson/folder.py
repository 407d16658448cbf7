"""A tune of a folder, boiled down to what ordering needs, so that folders may be large.

Nothing here opens a file: a melody comes in, a small :class:`Tune` comes out, and the melody itself
is let go.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction

from fretpath.errors import RequestError, UnplayableError
from fretpath.lesson.material import Topic, material_of
from fretpath.lesson.measures import EarMeasures, HandMeasures, ear_measures, hand_measures
from fretpath.music.melody import Melody
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.setup import On
from fretpath.page import sound
from fretpath.values import Value

USUAL_TEMPO = Fraction(sound.USUAL_TEMPO)
"""Beats a minute reckoned with where a tune gives no tempo: that of its sound."""


def arrange_in_best_key(melody: Melody, on: On, *, any_key: bool) -> Arrangement:
    """The melody fingered; with *any_key* in the key and octave that suit the hand best.

    Raises :class:`UnplayableError` when it cannot be played here.
    """
    if not any_key:
        return arrange(melody, on)
    from fretpath.neck.keychoice import rank_keys

    return rank_keys(melody, on)[0].arrangement


@dataclass(frozen=True, slots=True)
class Tune(Value):
    """One tune of a folder, measured."""

    name: str
    """Its file name."""
    title: str
    """What it is called; the file name when it has no title."""
    ear: EarMeasures
    """How hard it is for the ear."""
    material: frozenset[Topic]
    """What it brings."""
    key: str
    """Its key; the one chosen for the hand where that was asked for."""
    starts: str
    """The degree of its first note, without octave."""
    ends: str
    """The degree of its last note."""
    hand: HandMeasures | None = None
    """How hard it is for the hand; None when it was not asked for or cannot be played."""
    unplayable: str = ""
    """Why the instrument cannot play it: the first line of the message."""
    level: float | None = None
    """The teacher's own place for it in the order, counted from 1."""


def check_tune(melody: Melody, name: str) -> None:
    """Raise :class:`RequestError` unless the melody has a key and a note."""
    if melody.key is None:
        raise RequestError(
            f"{name}: no key is given, so no note has a degree; add a line such as key: G major"
        )
    if not melody.pitches:
        raise RequestError(f"{name}: it has no note, only rests")


def tune_of(melody: Melody, name: str, on: On | None = None, *, any_key: bool = False) -> Tune:
    """The tune measured; for the hand too where something to play it *on* is given.

    *name* is its file name; with *any_key* it may move to the key that suits the hand best.  Raises
    :class:`RequestError` for a melody without a key, without a note, or with a ``level:`` that is
    no number from 1 up; what cannot be played is no error and stands in ``unplayable``.
    """
    check_tune(melody, name)
    first, last = melody.degrees[0], melody.degrees[-1]
    assert first is not None
    assert last is not None
    tune = Tune(
        name=name,
        title=melody.title or name,
        ear=ear_measures(melody),
        material=material_of(melody),
        key=str(melody.key),
        starts=first.plain,
        ends=last.plain,
        level=_level(melody, name),
    )
    return tune if on is None else _with_hand(tune, melody, on, any_key=any_key)


def _with_hand(tune: Tune, melody: Melody, on: On, *, any_key: bool) -> Tune:
    try:
        found = arrange_in_best_key(melody, on, any_key=any_key)
    except UnplayableError as problem:
        return replace(tune, unplayable=str(problem).splitlines()[0].rstrip(":"))
    timed = found if melody.tempo else _at_usual_tempo(found)
    return replace(tune, hand=hand_measures(timed.figures), key=str(found.melody.key))


def _at_usual_tempo(found: Arrangement) -> Arrangement:
    return replace(found, melody=replace(found.melody, tempo=USUAL_TEMPO))


def _level(melody: Melody, name: str) -> float | None:
    text = melody.header("level")
    if not text:
        return None
    try:
        level = float(text)
    except ValueError:
        level = math.nan
    if not 1 <= level < math.inf:
        raise RequestError(
            f'{name}: level: "{text[:20]}" is not a place in the order; write a number from 1 up'
        )
    return level
