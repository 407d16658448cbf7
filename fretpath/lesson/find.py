"""Finding tunes by what is in them, in any key.

**Conventions.**  Degrees in a search count without their octave: ``5`` finds the fifth above and
below the tonic.  Patterns run from struck note to struck note; rests, ties, lengths and phrase
ends do not interrupt them, and repeats are written out.  An interval without a sign is found in
both directions.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from operator import contains

from fretpath.errors import RequestError, nearest
from fretpath.lesson.tune import check_tune, ear_measures, named, plain_degrees
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.values import Value

CONTOUR = {1: "up", -1: "down", 0: "same"}
"""Directions from note to note by their sign."""
Words = tuple[str, ...]


@dataclass(frozen=True)
class Wanted(Value):
    """Wishes for a tune; everything that is given must hold.

    >>> Wanted.read(starts="5", largest_leap="P4").largest_leap
    Interval(steps=3, semitones=5)
    """

    only: frozenset[str] | None = None
    """No degrees but these."""
    has: tuple[str, ...] = ()
    """Each of these degrees somewhere."""
    starts: str | None = None
    """The first note is this degree."""
    ends: str | None = None
    """The last note is this degree."""
    largest_leap: Interval | None = None
    """No melodic interval wider than this."""
    degrees: tuple[str, ...] = ()
    """These degrees one after the other."""
    intervals: tuple[str, ...] = ()
    """These intervals one after the other, such as ``+M2`` or ``m3``."""
    contour: tuple[str, ...] = ()
    """These directions one after the other: ``up``, ``down`` or ``same``."""
    met: frozenset[str] | None = None
    """The degrees a student has met: the tune may bring few others."""
    at_most_new: int = 1
    """How many degrees beside ``met`` it may bring, 0 or more."""

    @classmethod
    def read(
        cls,
        *,
        only: str | None = None,
        has: str | None = None,
        starts: str | None = None,
        ends: str | None = None,
        largest_leap: str | None = None,
        degrees: str | None = None,
        intervals: str | None = None,
        contour: str | None = None,
        met: str | None = None,
        at_most_new: int = 1,
    ) -> Wanted:
        """From text as a teacher types it; :class:`RequestError` for what cannot be read."""
        if at_most_new < 0:
            raise RequestError(f"a tune cannot bring {at_most_new} new degrees; write 0 or more")
        return cls(
            only=None if only is None else frozenset(_plain(only)),
            has=_plain(has),
            starts=_one(starts),
            ends=_one(ends),
            largest_leap=None if largest_leap is None else Interval.parse(largest_leap),
            degrees=_plain(degrees),
            intervals=tuple(_interval(word) for word in (intervals or "").split()),
            contour=tuple(_contour_word(word) for word in (contour or "").split()),
            met=None if met is None else frozenset(_plain(met)),
            at_most_new=at_most_new,
        )


@dataclass(frozen=True)
class Match:
    """A tune that has what was wanted."""

    name: str
    """Its file name."""
    title: str
    """Its title, or the name of its file."""
    reasons: tuple[str, ...]
    """Where it has it, and what it brings; one sentence each."""


def find_in(melody: Melody, name: str, wanted: Wanted) -> Match | None:
    """Where the melody has what is wanted, or None.

    Raises :class:`RequestError` for a melody without a key.
    """
    check_tune(melody, name)
    if not (_edges_fit(melody, wanted) and _degrees_fit(melody, wanted)):
        return None
    reasons = list(_degree_reasons(melody, wanted))
    for pattern, line in _patterns(melody, wanted):
        at = _first(pattern, line)
        if at is None:
            return None
        if pattern:
            reasons.append(f"{' '.join(pattern)}: from {_place(melody, melody.played[at])}")
    return Match(name, named(melody, name).title, tuple(reasons))


def _edges_fit(melody: Melody, wanted: Wanted) -> bool:
    degrees = plain_degrees(melody)
    leap = wanted.largest_leap
    return (
        wanted.starts in (None, degrees[0])
        and wanted.ends in (None, degrees[-1])
        and (leap is None or ear_measures(melody).largest_interval <= abs(leap.semitones))
    )


def _degrees_fit(melody: Melody, wanted: Wanted) -> bool:
    used = {*plain_degrees(melody)}
    return (
        (wanted.only is None or used <= wanted.only)
        and used.issuperset(wanted.has)
        and (wanted.met is None or len(used - wanted.met) <= wanted.at_most_new)
    )


def _degree_reasons(melody: Melody, wanted: Wanted) -> Iterator[str]:
    degrees = plain_degrees(melody)
    yield from (f"{d}: {_place(melody, degrees.index(d))}" for d in wanted.has)
    if wanted.met is not None:
        new = sorted({*degrees} - wanted.met, key=Degree.parse)
        yield f"new to the student: {' '.join(new) or 'nothing'}"


def _patterns(melody: Melody, wanted: Wanted) -> Iterator[tuple[Words, list[Words]]]:
    """Each pattern wanted, and the line to look in: the words for each place of it."""
    degrees, pitches = plain_degrees(melody), melody.pitches
    steps = [pitches[after] - pitches[before] for before, after in pairwise(melody.played)]
    yield wanted.degrees, [(degrees[note],) for note in melody.played]
    yield wanted.intervals, [(str(step), str(step).lstrip("+-")) for step in steps]
    yield wanted.contour, [(_direction(step),) for step in steps]


def _first(pattern: Words, line: Sequence[Words]) -> int | None:
    """Where a pattern first stands in a line; 0 for an empty one, None where it does not."""
    starts = range(len(line) - len(pattern) + 1)
    return next((at for at in starts if all(map(contains, line[at:], pattern))), None)


def _place(melody: Melody, note: int) -> str:
    return melody.place_of(melody.struck[note])


def _direction(step: Interval) -> str:
    return CONTOUR[(step.semitones > 0) - (step.semitones < 0)]


# -- reading ---------------------------------------------------------------------------------------


def _plain(text: str | None) -> tuple[str, ...]:
    return tuple(Degree.parse(word).plain for word in (text or "").split())


def _one(text: str | None) -> str | None:
    if text is None:
        return None
    words = _plain(text)
    if len(words) != 1:
        raise RequestError(f'a tune starts and ends on one degree, not on "{text[:40]}"')
    return words[0]


def _interval(word: str) -> str:
    sign = word[:1] if word[:1] in "+-" else ""
    return (sign if word.lstrip("+-") != "P1" else "") + Interval.parse(word).name


def _contour_word(word: str) -> str:
    known = list(CONTOUR.values())
    if word not in known:
        more = f"{nearest(word, known)} (known: {', '.join(known)})"
        raise RequestError(f'"{word[:20]}" is not a direction{more}')
    return word
