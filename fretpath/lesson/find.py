"""Finding tunes by what is in them, in any key.

**Conventions.**  Degrees in a search count without their octave: ``5`` finds the fifth above and
below the tonic.  Patterns run from struck note to struck note; rests, ties, lengths and phrase
ends do not interrupt them.  An interval without a sign is found in both directions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeVar

from fretpath.errors import RequestError, nearest
from fretpath.lesson.folder import check_tune
from fretpath.lesson.measures import largest_interval
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.values import Value

CONTOUR = {"up": 1, "down": -1, "same": 0}
T = TypeVar("T")


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
    contour: tuple[int, ...] = ()
    """These directions one after the other: 1 up, 0 same, -1 down."""
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
            contour=tuple(_direction(word) for word in (contour or "").split()),
            met=None if met is None else frozenset(_plain(met)),
            at_most_new=at_most_new,
        )


@dataclass(frozen=True)
class Match:
    """A tune that has what was wanted."""

    name: str
    """Its file name."""
    title: str
    """What it is called."""
    reasons: tuple[str, ...]
    """Where it has it, and what it brings; one sentence each."""


def find_in(melody: Melody, name: str, wanted: Wanted) -> Match | None:
    """Where the melody has what is wanted, or None.

    Raises :class:`RequestError` for a melody without a key.
    """
    check_tune(melody, name)
    reasons: list[str] = []
    if not (_edges_fit(melody, wanted) and _degrees_fit(melody, wanted, reasons)):
        return None
    if not _patterns_fit(melody, wanted, reasons):
        return None
    return Match(name, melody.title or name, tuple(reasons))


def plain_degrees(melody: Melody) -> list[str]:
    """The degree of each struck note without octave; the melody has a key."""
    return [degree.plain for degree in melody.degrees if degree is not None]


def _edges_fit(melody: Melody, wanted: Wanted) -> bool:
    degrees = plain_degrees(melody)
    leap = wanted.largest_leap
    return (
        wanted.starts in (None, degrees[0])
        and wanted.ends in (None, degrees[-1])
        and (leap is None or largest_interval(melody) <= abs(leap.semitones))
    )


def _degrees_fit(melody: Melody, wanted: Wanted, reasons: list[str]) -> bool:
    degrees = plain_degrees(melody)
    used = set(degrees)
    if wanted.only is not None and not used <= wanted.only:
        return False
    if not used.issuperset(wanted.has):
        return False
    reasons.extend(f"{d}: {_place(melody, degrees.index(d))}" for d in wanted.has)
    if wanted.met is None:
        return True
    new = sorted(used - wanted.met, key=Degree.parse)
    reasons.append(f"new to the student: {' '.join(new) or 'nothing'}")
    return len(new) <= wanted.at_most_new


def _patterns_fit(melody: Melody, wanted: Wanted, reasons: list[str]) -> bool:
    steps = [after - before for before, after in pairwise(melody.pitches)]
    signed = [str(step) for step in steps]
    turns = [(step.semitones > 0) - (step.semitones < 0) for step in steps]
    names = {turn: word for word, turn in CONTOUR.items()}
    both_ways = [word.lstrip("+-") for word in signed]
    places = (
        (_first(wanted.degrees, plain_degrees(melody)), " ".join(wanted.degrees)),
        (_first_interval(wanted.intervals, signed, both_ways), " ".join(wanted.intervals)),
        (_first(wanted.contour, turns), " ".join(names[turn] for turn in wanted.contour)),
    )
    for place, pattern in places:
        if place is None:
            return False
        if pattern:
            reasons.append(f"{pattern}: from {_place(melody, place)}")
    return True


def _first(pattern: Sequence[T], line: Sequence[T]) -> int | None:
    """Where ``pattern`` first stands in ``line``; 0 for an empty pattern."""
    length = len(pattern)
    starts = range(len(line) - length + 1)
    return next((at for at in starts if tuple(line[at : at + length]) == tuple(pattern)), None)


def _first_interval(
    pattern: Sequence[str], signed: Sequence[str], both_ways: Sequence[str]
) -> int | None:
    """As :func:`_first`, where a word without a sign stands for both directions."""
    either = list(zip(signed, both_ways, strict=True))
    starts = range(len(either) - len(pattern) + 1)
    fits = (at for at in starts if all(map(_one_of, pattern, either[at:])))
    return next(fits, None)


def _one_of(word: str, names: tuple[str, str]) -> bool:
    return word in names


def _place(melody: Melody, note: int) -> str:
    return melody.place_of(melody.struck[note])


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


def _direction(word: str) -> int:
    if word not in CONTOUR:
        raise RequestError(
            f'"{word[:20]}" is not a direction{nearest(word, CONTOUR)} '
            f"(known: {', '.join(CONTOUR)})"
        )
    return CONTOUR[word]
