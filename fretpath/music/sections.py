"""Sections that stay away: in the parallel minor (or major), or in another key.

**Method.**  Each kind of section has degrees that *leave* (b3 b6 b7 for the parallel minor) and
degrees that *return* (3).  Reading bar by bar, every leaving note counts against being at home
and every returning note against being away, and each crossing between the two costs a little
more than one note.  The cheapest reading (shortest path through two states a bar) gives the
sections.  Bars that could be either are left at home at the edges of a section, unless they
belong to a phrase that the section fills otherwise.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fretpath.music.key import Scale
from fretpath.music.passage import Passage, Tone

__all__ = ["Away", "modulations", "parallel_sections"]

CROSSING = 1.25
"""Price of each crossing between home and away, in notes; chosen by trial."""
SHORTEST = 5
"""Notes a section has at least; chosen by trial."""
FEWEST = 3
"""Leaving notes a section has at least; chosen by trial."""


@dataclass(frozen=True, slots=True)
class Away:
    """A way to be away from home."""

    name: str
    """What it is called."""
    leaves: frozenset[str]
    """Degrees that belong there and not to the home scale."""
    returns: frozenset[str]
    """Degrees of the home scale that do not belong there."""
    tonic: str
    """The degree that is the tonic there."""


def _away(name: str, leaves: str, returns: str, tonic: str) -> Away:
    return Away(name, frozenset(leaves.split()), frozenset(returns.split()), tonic)


# In minor, raised 6 and 7 are normal, so they neither leave nor return.
_PARALLEL_MINOR = _away("parallel minor", "b3 b6 b7", "3", "1")
_PARALLEL_MAJOR = _away("parallel major", "3", "b3 b6 b7", "1")
_FROM_MAJOR = (
    _away("the key of the dominant", "#4", "4", "5"),
    _away("the key of the subdominant", "b7", "7", "4"),
    _away("the relative minor", "#5", "5", "6"),
    _away("the minor key of the second degree", "#1", "1", "2"),
)
_FROM_MINOR = (
    _away("the minor key of the dominant", "#4", "4", "5"),
    _away("the minor key of the subdominant", "3", "b3", "4"),
)


def parallel_sections(passage: Passage, scale: Scale) -> Iterator[tuple[Away, list[Tone]]]:
    """Sections of a passage in ``scale`` that stand in the parallel key."""
    minor = "b3" in scale.names
    away = _PARALLEL_MAJOR if minor else _PARALLEL_MINOR
    away = replace(away, leaves=away.leaves - set(scale.names))
    marker = "3" if minor else "b3"
    for tones in _sections(passage, away):
        if any(tone.name == marker for tone in tones) and len(tones) < len(passage.tones):
            yield away, tones


def modulations(passage: Passage, scale: Scale) -> Iterator[tuple[Away, list[Tone]]]:
    """Sections that seem to be in another key: its degree at least twice, and a close on its 1."""
    for away in _FROM_MINOR if "b3" in scale.names else _FROM_MAJOR:
        if away.leaves & set(scale.names):
            continue
        returning = _count(passage.tones, away.returns)
        for tones in _sections(passage, away):
            at_home = returning > _count(tones, away.returns)
            if tones[-1].name == away.tonic and at_home and not _only_led(passage, tones, away):
                yield away, tones


def _only_led(passage: Passage, tones: Sequence[Tone], away: Away) -> bool:
    """Whether every leaving note merely steps to the other tonic at once."""
    leaving = [tone for tone in tones if tone.name in away.leaves]
    after = [passage.around(tone)[1] for tone in leaving]
    return len(leaving) < 2 or all(tone is None or tone.name == away.tonic for tone in after)


def _sections(passage: Passage, away: Away) -> Iterator[list[Tone]]:
    units = passage.units()
    states = _cheapest(units, away)
    start = 0
    while start < len(units):
        stop = start
        while stop < len(units) and states[stop]:
            stop += 1
        if stop > start:
            first, last = _edges(units, start, stop - 1, away)
            tones = [tone for unit in units[first : last + 1] for tone in unit]
            if len(tones) >= SHORTEST and _count(tones, away.leaves) >= FEWEST:
                yield tones
        start = max(stop, start + 1)


def _cheapest(units: Sequence[Sequence[Tone]], away: Away) -> list[bool]:
    """For each unit, whether it is away; of equal readings the one that stays at home."""
    home, gone = 0.0, CROSSING
    came_from: list[tuple[bool, bool]] = []
    for unit in units:
        enter, leave = gone > home + CROSSING, home > gone + CROSSING
        came_from.append((leave, not enter))
        home, gone = (
            (gone + CROSSING if leave else home) + _count(unit, away.leaves),
            (home + CROSSING if enter else gone) + _count(unit, away.returns),
        )
    state = gone < home
    states: list[bool] = []
    for from_home, from_gone in reversed(came_from):
        states.append(state)
        state = from_gone if state else from_home
    return states[::-1]


def _count(unit: Sequence[Tone], names: frozenset[str]) -> int:
    return sum(tone.name in names for tone in unit)


def _edges(units: Sequence[Sequence[Tone]], first: int, last: int, away: Away) -> tuple[int, int]:
    """Drop undecided bars at the edges, then take in what fills up the outer phrases."""
    while first < last and not _count(units[first], away.leaves):
        first += 1
    while last > first and not _count(units[last], away.leaves):
        last -= 1
    phrases = {tone.phrase for unit in units for tone in unit}
    if len(phrases) == 1:
        return first, last
    while first > 0 and _joins(units[first - 1], units[first], away):
        first -= 1
    while last + 1 < len(units) and _joins(units[last + 1], units[last], away):
        last += 1
    return first, last


def _joins(unit: Sequence[Tone], inner: Sequence[Tone], away: Away) -> bool:
    return unit[0].phrase == inner[0].phrase and not _count(unit, away.returns)
