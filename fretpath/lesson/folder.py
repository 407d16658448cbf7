"""A tune of a folder, boiled down to what ordering needs, so that folders may be large.

Nothing here opens a file: text comes in, a small :class:`Tune` comes out, and the melody itself
is let go.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import TypeVar

from fretpath.errors import RequestError, UnplayableError
from fretpath.lesson.material import Topic, material_of
from fretpath.lesson.measures import EarMeasures, HandMeasures, ear_measures, hand_measures
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.arranging import arrange
from fretpath.neck.costs import Weights
from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.wishes import Wishes
from fretpath.page import sound

T = TypeVar("T")
USUAL_TEMPO = Fraction(sound.USUAL_TEMPO)
"""Beats a minute reckoned with where a tune gives no tempo: that of its sound."""


@dataclass(frozen=True)
class Neck:
    """What the tunes are played on, for the measures of the hand."""

    instrument: Instrument
    """The instrument."""
    hand: Hand | None = None
    """The hand model; None is the one usual on the instrument."""
    weights: Weights | None = None
    """The prices of the path; None is those usual on the instrument."""
    wishes: Wishes = field(default_factory=Wishes)
    """What the teacher will not have otherwise."""
    objective: str = "total"
    """What is kept least, see :func:`fretpath.neck.arranging.arrange`."""
    any_key: bool = False
    """Whether a tune may move to the key and octave that suit the hand best."""

    def fingered(self, melody: Melody) -> Arrangement:
        """The melody on this neck; :class:`UnplayableError` when it cannot be played here."""
        if not self.any_key:
            return self._searched(arrange, melody)
        from fretpath.neck.keychoice import rank_keys

        return self._searched(rank_keys, melody)[0].arrangement

    def _searched(self, search: Callable[..., T], melody: Melody) -> T:
        return search(
            melody,
            self.instrument,
            hand=self.hand,
            weights=self.weights,
            wishes=self.wishes,
            objective=self.objective,
        )


@dataclass(frozen=True, slots=True)
class Tune:
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
        raise RequestError(f"{name}: there is no note in it, only rests")


def tune_of(melody: Melody, name: str, *, neck: Neck | None = None) -> Tune:
    """The tune measured; for the hand too when a *neck* is given.

    *name* is its file name.  Raises :class:`RequestError` for a melody without a key, without a
    note, or with a ``level:`` that is no number from 1 up; what the neck cannot play is no error
    and stands in ``unplayable``.
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
    return tune if neck is None else _with_hand(tune, melody, neck)


def tune_from_text(name: str, text: str, *, neck: Neck | None = None) -> Tune:
    """:func:`tune_of` for the text of a file; errors carry the file's name."""
    return tune_of(parse_melody(text, source=name), name, neck=neck)


def _with_hand(tune: Tune, melody: Melody, neck: Neck) -> Tune:
    try:
        found = neck.fingered(melody)
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
            f'{name}: level: "{text[:20]}" is no place in the order; write a number from 1 up'
        )
    return level
