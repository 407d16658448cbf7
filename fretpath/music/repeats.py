"""Repeats: which part of a written melody is played again, and in which order its events sound.

**Conventions.**  A repeat is written once and played ``times`` times.  Its signs stand at bar
lines; repeats follow one another and never nest or overlap.  A repeat sign may stand inside a
bar: the two pieces make one whole bar, as a pickup and the short last bar do.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from fretpath.errors import RequestError
from fretpath.values import Value, check_fields

MOST_TIMES = 99
MOST_EVENTS = 20_000
"""Events of a melody at the most, its repeats written out."""


@dataclass(frozen=True, slots=True)
class Repeat(Value):
    """Events ``start`` to ``stop`` are played ``times`` times, perhaps with endings of their own.

    >>> [list(part) for part in Repeat(0, 6, endings=(3, 5)).passes()]
    [[0, 1, 2, 3, 4], [0, 1, 2, 5]]
    """

    start: int
    """First event that is played again."""
    stop: int
    """The event behind the last one."""
    times: int = 2
    """How often it is played, 2 to 99."""
    endings: tuple[int, ...] = ()
    """Events where the first, second, ... ending begins; the last one runs to ``stop``.  As many
    as ``times``, or none."""

    def __post_init__(self) -> None:
        check_fields(self)
        rising = (self.start, *self.endings, self.stop)
        if self.start < 0 or any(a >= b for a, b in pairwise(rising)):
            raise RequestError("a repeat holds at least one event, and its endings follow in order")
        if not 2 <= self.times <= MOST_TIMES:
            raise RequestError(f"a repeat is played 2 to {MOST_TIMES} times, not {self.times}")
        if self.endings and len(self.endings) != self.times:
            raise RequestError("a repeat with endings has one for each time")

    @property
    def signs(self) -> tuple[int, ...]:
        """Events before which its signs stand; ``stop`` may lie behind the last event."""
        return (self.start, *self.endings, self.stop)

    def passes(self) -> Iterator[tuple[int, ...]]:
        """The events of each time it is played."""
        common = range(self.start, self.endings[0] if self.endings else self.stop)
        endings = [range(a, b) for a, b in pairwise((*self.endings, self.stop))] or [range(0)]
        for time in range(self.times):
            yield (*common, *endings[time if self.endings else 0])


def check_repeats(repeats: Sequence[Repeat], bars: Sequence[int], count: int) -> None:
    """Raise :class:`RequestError` unless the repeats fit a melody of ``count`` events."""
    if any(a.stop > b.start for a, b in pairwise(repeats)):
        raise RequestError("repeats follow one another and do not overlap")
    if not {0, count, *bars}.issuperset(sign for repeat in repeats for sign in repeat.signs):
        raise RequestError("a repeat sign stands at a bar line")
    if sum(map(len, played(repeats, count))) > MOST_EVENTS:
        raise RequestError(f"written out, the repeats make more than {MOST_EVENTS} notes")


def played(repeats: Sequence[Repeat], count: int) -> Iterator[tuple[int, ...]]:
    """The events of a melody in the order in which they sound, in parts.

    >>> list(played([Repeat(1, 3)], 4))
    [(0,), (1, 2), (1, 2), (3,)]
    """
    done = 0
    for repeat in repeats:
        yield tuple(range(done, repeat.start))
        yield from repeat.passes()
        done = repeat.stop
    yield tuple(range(done, count))
