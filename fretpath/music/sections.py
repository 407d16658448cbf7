"""Sections in another key: the parallel minor or major, the dominant, the relative minor ...

**Method.**  Each key area has degrees that *leave* for it (b3 b6 b7 for the parallel minor) and
degrees that *return* (3).  Reading bar by bar, every leaving note counts against being at home
and every returning note against being away, and each crossing between the two costs a little
more than one note.  The cheapest reading (shortest path through two states a bar) gives the
sections.  Bars that could be either are left at home at the edges of a section, unless they
belong to a phrase that the section fills otherwise: a section begins where the phrase that turns
begins.

A section in another key closes on that key's tonic.  Where its leading notes only lead to that
tonic, or are fewer than three, it is a section only if it is long and nothing in it returns.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fretpath.music.key import Scale
from fretpath.music.roles import Passage, role
from fretpath.music.spelling import SpelledNote

CROSSING = 0.9
"""Price of each crossing between home and away, in notes; chosen by trial.  Two crossings cost less
than two leaving notes, which must then be spread over a long section."""
SHORTEST = 5
"""Notes a section has at least; chosen by trial."""
FEWEST = 3
"""Leaving notes a section has at least, unless it is long; chosen by trial."""
LONG_NOTES, LONG_BARS = 8, 4
"""Notes and bars of a section that two leaving notes are enough for; chosen by trial."""

Notes = Sequence[SpelledNote]


@dataclass(frozen=True, slots=True)
class KeyArea:
    """A key that a section may stand in."""

    kind: str
    """``parallel`` or ``modulation``."""
    key: str
    """``minor`` or ``major`` for the parallel key, else the degree that is its tonic."""
    name: str
    """What it is called."""
    leaves: frozenset[str]
    """Degrees that belong there and not to the home scale."""
    returns: frozenset[str]
    """Degrees that belong to the home scale and not there."""


def _area(kind: str, key: str, name: str, leaves: str, returns: str) -> KeyArea:
    return KeyArea(kind, key, name, frozenset(leaves.split()), frozenset(returns.split()))


# In minor, raised 6 and 7 are normal, so they neither leave nor return.
PARALLEL_MINOR = _area("parallel", "minor", "parallel minor", "b3 b6 b7", "3")
PARALLEL_MAJOR = _area("parallel", "major", "parallel major", "3", "b3 b6 b7")
_FROM_MAJOR = (
    _area("modulation", "5", "modulation to the key of the dominant", "#4", "4"),
    _area("modulation", "4", "modulation to the key of the subdominant", "b7", "7"),
    _area("modulation", "6", "modulation to the relative minor", "#5", "5"),
    _area("modulation", "2", "modulation to the minor key of the second degree", "#1", "1"),
    _area("modulation", "3", "modulation to the minor key of the third degree", "#2", "2"),
)
_FROM_MINOR = (
    _area("modulation", "5", "modulation to the minor key of the dominant", "#4", "4"),
    _area("modulation", "4", "modulation to the minor key of the subdominant", "3", "b3"),
)


def parallel_sections(passage: Passage, scale: Scale) -> Iterator[tuple[KeyArea, Notes]]:
    """Sections of a passage in ``scale`` that stand in the parallel key."""
    minor = "b3" in scale.names
    area = PARALLEL_MAJOR if minor else PARALLEL_MINOR
    area = replace(area, leaves=area.leaves - set(scale.names))
    marker = "3" if minor else "b3"
    for notes in _sections(passage, area):
        leaving = _count(notes, area.leaves)
        enough = leaving >= FEWEST and leaving > _count(notes, area.returns)
        enough = enough or _is_long(notes, area)
        thirds = [note for note in notes if note.name == marker]
        colored = len(thirds) > 1 or bool(thirds and any(note.name == "b6" for note in notes))
        slides = any(_slides(passage, note) for note in thirds)
        if enough and colored and not slides and len(notes) < len(passage.notes):
            yield area, notes


def _slides(passage: Passage, third: SpelledNote) -> bool:
    """Whether the other third stands beside one of home: a blue or chromatic third."""
    beside = [note for note in passage.neighbors(third) if note]
    return any(note.name.strip("#b") == "3" for note in beside)


def modulations(passage: Passage, scale: Scale) -> Iterator[tuple[KeyArea, Notes]]:
    """Sections in another key: its own degree at least twice, and a close on its tonic."""
    for area in _FROM_MINOR if "b3" in scale.names else _FROM_MAJOR:
        if area.leaves & set(scale.names):
            continue
        for notes in _sections(passage, area):
            home = _count(passage.notes, area.returns) > _count(notes, area.returns)
            closes = notes[0] != passage.notes[0] and notes[-1].name == area.key
            if home and closes and _settles(passage, notes, area):
                yield area, notes


def _settles(passage: Passage, notes: Notes, area: KeyArea) -> bool:
    """Whether a section is more than leading notes that go to their goal."""
    leaving = [note for note in notes if note.name in area.leaves]
    after = [passage.after(note)[:1] for note in leaving]
    led = all(not goal or goal[0].name == area.key for goal in after)
    if len(leaving) >= FEWEST and not led:
        return True
    return _is_long(notes, area) and not all(_ornaments(passage, note) for note in leaving)


def _is_long(notes: Notes, area: KeyArea) -> bool:
    """Whether a section is long, its leaving notes stand in two bars, and nothing returns."""
    bars = {note.bar for note in notes}
    leaving = {note.bar for note in notes if note.name in area.leaves}
    long = len(notes) >= LONG_NOTES and len(bars) >= LONG_BARS
    return long and len(leaving) > 1 and not _count(notes, area.returns)


def _ornaments(passage: Passage, note: SpelledNote) -> bool:
    does = role(passage, note)
    return does is not None and does.kind in ("neighbor", "passing")


def _sections(passage: Passage, area: KeyArea) -> Iterator[Notes]:
    units = passage.units()
    states = cheapest(units, area)
    start = 0
    while start < len(units):
        stop = start
        while stop < len(units) and states[stop]:
            stop += 1
        if stop > start:
            first, last = _edges(units, start, stop - 1, area)
            notes = [note for unit in units[first : last + 1] for note in unit]
            if len(notes) >= SHORTEST:
                yield notes
        start = max(stop, start + 1)


def cheapest(units: Sequence[Notes], area: KeyArea) -> list[bool]:
    """For each unit, whether it is away; of equal readings the one that stays at home."""
    home, gone = 0.0, CROSSING
    came_from: list[tuple[bool, bool]] = []
    for unit in units:
        enter, leave = gone > home + CROSSING, home > gone + CROSSING
        came_from.append((leave, not enter))
        home, gone = (
            (gone + CROSSING if leave else home) + _count(unit, area.leaves),
            (home + CROSSING if enter else gone) + _count(unit, area.returns),
        )
    state = gone < home
    states: list[bool] = []
    for from_home, from_gone in reversed(came_from):
        states.append(state)
        state = from_gone if state else from_home
    return states[::-1]


def _count(unit: Notes, names: frozenset[str]) -> int:
    return sum(note.name in names for note in unit)


def _edges(units: Sequence[Notes], first: int, last: int, area: KeyArea) -> tuple[int, int]:
    """Drop undecided bars at the edges, then take in what fills up the outer phrases."""
    while first < last and not _count(units[first], area.leaves):
        first += 1
    while last > first and not _count(units[last], area.leaves):
        last -= 1
    phrases = {note.phrase for unit in units for note in unit}
    if len(phrases) == 1:
        return first, last + _closes(units[last + 1 :], area)
    while first > 0 and _joins(units[first - 1], units[first], area):
        first -= 1
    while last + 1 < len(units) and _joins(units[last + 1], units[last], area):
        last += 1
    return first, last


def _closes(rest: Sequence[Notes], area: KeyArea) -> bool:
    """Whether the next bar is nothing but the other key's tonic."""
    return bool(rest) and all(note.name == area.key for note in rest[0])


def _joins(unit: Notes, inner: Notes, area: KeyArea) -> bool:
    return unit[0].phrase == inner[0].phrase and not _count(unit, area.returns)
