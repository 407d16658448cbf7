"""A stretch of melody under one key: the roles of its notes, and its sections in another key.

**Roles.**  A note has a role: where it comes from and where it goes, notes struck again passed
over.  A *step* is a half or whole step, a *leap* anything wider.  In this order (common practice):

| role | how it comes and goes |
|---|---|
| anticipation | short, and struck again longer on the next beat or over the bar line |
| neighbor | a step away from a note and back to it (``5 #4 5``) |
| passing | two steps in one direction, one of them between two forms of a degree (``4 #4 5``) |
| scalar | two steps in one direction through the degrees of a scale (``3 #4 5``) |
| enclosure | a half step from the goal, another note beyond it, neither longer (``6 #4 5``) |
| appoggiatura | a leap (or nothing) before it, a half step after it |
| escape | a step before it, a leap (or nothing) after it |

**Sections.**  A key area has degrees that *leave* for it (b3 b6 b7 for the parallel minor) and
degrees that *return* (3).  Reading bar by bar, every leaving note counts against being at home
and every returning note against being away, and each crossing between the two costs a little
more than one note.  The cheapest reading (shortest path through two states a bar) gives the
sections.  Bars that could be either are left at home at the edges of a section, unless they
belong to a phrase that the section fills otherwise: a section begins where the phrase that turns
begins.  A section in another key closes on that key's tonic.  Where its leading notes only lead
to that tonic, or are fewer than three, it is a section only if it is long and nothing returns.

Places are named by bar where the text has bar lines (0 is the pickup), else by note.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import groupby

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key, Scale
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, alter_of
from fretpath.music.spelling import SpelledNote, spell
from fretpath.music.words import listed

CROSSING = 0.9
"""Price of each crossing between home and away, in notes; chosen by trial.  Two crossings cost less
than two leaving notes, which must then be spread over a long section."""
SHORTEST = 5
"""Notes a section has at least; chosen by trial."""
FEWEST = 3
"""Leaving notes a section has at least, unless it is long; chosen by trial."""
LONG_NOTES, LONG_BARS = 8, 4
"""Notes and bars of a section that two leaving notes are enough for; chosen by trial."""
_MOST_PLACES = 6
_WHOLE_STEP = 2  # semitones

Notes = Sequence[SpelledNote]
Neighbors = tuple[SpelledNote | None, SpelledNote | None]


@dataclass(frozen=True)
class Passage:
    """Consecutive notes that stand under one key."""

    key: Key
    """The key the text gives them."""
    scale: Scale
    """The scale they are measured against, mostly that of the key."""
    notes: tuple[SpelledNote, ...]
    """The notes in order, at least one, each with its degree."""
    barred: bool
    """Whether the melody has bar lines."""

    @cached_property
    def names(self) -> frozenset[str]:
        """The simple degrees that sound."""
        return frozenset(note.name for note in self.notes)

    def sounds(self, name: str) -> bool:
        """Whether any form of a degree sounds, that one or another."""
        number = named_degree(name).number
        return any(named_degree(other).number == number for other in self.names)

    def plain(self, name: str) -> str:
        """The form that a degree has in the scale, or in the scale of its signature."""
        return str(self.scale.base.own(named_degree(name).number))

    def held(self, scale: Scale) -> Fraction:
        """Beats that a scale holds."""
        return sum((note.beats for note in self.notes if note.name in scale.names), Fraction(0))

    def units(self) -> list[list[SpelledNote]]:
        """The notes bar by bar (and not across a phrase); note by note without bar lines."""
        if not self.barred:
            return [[note] for note in self.notes]
        groups = groupby(self.notes, key=lambda note: (note.phrase, note.bar))
        return [list(group) for _, group in groups]

    def after(self, note: SpelledNote, count: int = 1) -> tuple[SpelledNote, ...]:
        """The next notes, fewer at the end."""
        at = note.index - self.notes[0].index
        return self.notes[at + 1 : at + 1 + count]

    @cached_property
    def _unlike(self) -> dict[int, Neighbors]:
        runs = [list(run) for _, run in groupby(self.notes, key=lambda note: note.pitch)]
        edges = [None, *runs, None]
        return {
            note.index: (before[-1] if before else None, after[0] if after else None)
            for before, run, after in zip(edges, runs, edges[2:], strict=False)
            for note in run
        }

    def neighbors(self, note: SpelledNote) -> Neighbors:
        """The last other note before one and the first other one after it, repeats passed over."""
        return self._unlike[note.index]

    def place(self, note: SpelledNote) -> str:
        """``bar 3``, ``pickup`` or ``note 7``."""
        if not self.barred:
            return f"note {note.index + 1}"
        return f"bar {note.bar}" if note.bar else "pickup"

    def places(self, notes: Notes) -> str:
        """``bars 2, 4``: where these notes stand, each bar once, the first six."""
        return listed([self.place(note) for note in notes], most=_MOST_PLACES)

    def stretch(self, notes: Notes) -> str:
        """``bars 9 to 12``: the first and the last place of a section."""
        first, last = self.place(notes[0]), self.place(notes[-1])
        if first == last:
            return first
        if first == "pickup":
            return f"pickup to {last}"
        return f"{first.split()[0]}s {first.split()[-1]} to {last.split()[-1]}"


def passages(melody: Melody, against: Scale | None = None) -> tuple[Passage, ...]:
    """The passages of a melody, one for each key it gives; those without a note left out.

    *against* is the scale to measure them against, else that of each key.  Raises
    :class:`RequestError` when no key is known.
    """
    if not melody.keys:
        raise RequestError(
            "no key is given, so no note can leave it: add a key (--key G, or key: in the text)"
        )
    starts = [start for start, _ in melody.keys]
    spelled = spell(melody)
    found: list[Passage] = []
    for (start, key), stop in zip(melody.keys, [*starts[1:], len(melody.notes)], strict=True):
        notes = tuple(note for note in spelled if start <= note.event < stop)
        if notes:
            found.append(Passage(key, against or key.scale, notes, bool(melody.bars)))
    return tuple(found)


def named_degree(name: str) -> Degree:
    """The degree of a simple name; unlike :meth:`Degree.parse` any number of accidentals.

    >>> named_degree("bbbb3")
    Degree(steps=2, alter=-4)
    """
    number = name.lstrip("#b")
    return Degree(int(number) - 1, alter_of(name.removesuffix(number)))


@dataclass(frozen=True, slots=True)
class Role:
    """The part one note plays between its neighbors."""

    kind: str
    """One of the roles in the table of this module."""
    way: str
    """``lower`` or ``upper`` for a neighbor, ``up`` or ``down`` for the others, where they go."""
    goal: str
    """The simple degree it goes to; empty for none."""
    half: bool
    """Whether it goes there by a half step."""


def role(passage: Passage, note: SpelledNote) -> Role | None:
    """The role of a note; None where it has none, as between two leaps.

    >>> from fretpath.music.notation import parse_melody
    >>> passage = passages(parse_melody("5 #4 5 | 4 #4 5", key="C"))[0]
    >>> role(passage, passage.notes[1]).kind, role(passage, passage.notes[4]).kind
    ('neighbor', 'passing')
    """
    if _anticipates(passage, note):
        return Role("anticipation", "", note.name, half=False)
    before, after = passage.neighbors(note)
    comes = note.pitch - before.pitch if before else None
    goes = after.pitch - note.pitch if after else None
    kind = _kind(passage, note, comes, goes)
    if kind is None:
        return None
    way = "up" if goes and goes.semitones > 0 else "down" if goes else ""
    if kind == "neighbor":
        way = "lower" if way == "up" else "upper"
    return Role(kind, way, after.name if after else "", half=is_half_step(goes))


def _kind(
    passage: Passage, note: SpelledNote, comes: Interval | None, goes: Interval | None
) -> str | None:
    before, after = passage.neighbors(note)
    stepped = is_step(comes) or _is_wide_step(before, note)
    steps = is_step(goes) or _is_wide_step(note, after)
    if comes and goes and stepped and steps:
        if comes == -goes:
            return "neighbor"
        if comes.semitones * goes.semitones > 0:
            return "scalar" if comes.steps and goes.steps else "passing"
    if _encloses(passage, note):
        return "enclosure"
    if not stepped and is_half_step(goes):
        return "appoggiatura"
    return "escape" if stepped and not steps else None


def _is_wide_step(one: SpelledNote | None, other: SpelledNote | None) -> bool:
    """Whether two notes are the wide step of a scale, neither raised: ``b6 7``, ``b2 3``."""
    if not (one and other and one.degree and other.degree):
        return False
    way = other.pitch - one.pitch
    wide = abs(way.steps) == 1 and abs(way.semitones) == _WHOLE_STEP + 1
    return wide and max(one.degree.alter, other.degree.alter) <= 0


def is_step(way: Interval | None) -> bool:
    """Whether an interval is a half or whole step (``4 #4`` too, and not a diminished third)."""
    return way is not None and abs(way.steps) <= 1 and 0 < abs(way.semitones) <= _WHOLE_STEP


def is_half_step(way: Interval | None) -> bool:
    """Whether an interval is a half step."""
    return way is not None and abs(way.steps) <= 1 and abs(way.semitones) == 1


def _anticipates(passage: Passage, note: SpelledNote) -> bool:
    before, after = passage.neighbors(note)[0], passage.after(note)
    if before is None or before.index != note.index - 1 or not after:
        return False
    again = after[0]
    strikes = again.beat.denominator == 1 < note.beat.denominator or again.bar != note.bar
    return again.pitch == note.pitch and again.beats > note.beats and strikes


def _encloses(passage: Passage, note: SpelledNote) -> bool:
    """Whether it lies a half step from a goal and the note before or after beyond it, by step."""
    before, after = passage.neighbors(note)
    beyond = passage.neighbors(after)[1] if after else None
    return _surround(note, before, after) or _surround(note, after, beyond)


def _surround(note: SpelledNote, other: SpelledNote | None, goal: SpelledNote | None) -> bool:
    if not (other and goal):
        return False
    way, back = goal.pitch - note.pitch, goal.pitch - other.pitch
    surrounds = way.semitones * back.semitones < 0 and is_half_step(way) and is_step(back)
    return surrounds and max(note, other, key=lambda one: one.index).beats <= goal.beats


# -- sections in another key ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class KeyArea:
    """A key that a section may stand in."""

    kind: str
    """``parallel`` or ``modulation``."""
    key: str
    """``minor`` or ``major`` for the parallel key, else the degree that is its tonic."""
    name: str
    """Its name."""
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


def parallel_sections(passage: Passage) -> Iterator[tuple[KeyArea, Notes]]:
    """Sections of a passage that stand in the parallel key."""
    scale = passage.scale
    area = PARALLEL_MAJOR if scale.minor else PARALLEL_MINOR
    area = replace(area, leaves=area.leaves - set(scale.names))
    for notes in _sections(passage, area):
        enough = _count(notes, area.leaves) >= FEWEST or _is_long(notes, area)
        thirds = [note for note in notes if note.name in area.leaves & {"3", "b3"}]
        colored = len(thirds) > 1 or bool(thirds and any(note.name == "b6" for note in notes))
        slides = any(_slides(passage, note) for note in thirds)
        if enough and colored and not slides and len(notes) < len(passage.notes):
            yield area, notes


def _slides(passage: Passage, third: SpelledNote) -> bool:
    """Whether the other third stands beside one of home: a blue or chromatic third."""
    beside = [note for note in passage.neighbors(third) if note]
    return any(note.name.strip("#b") == "3" for note in beside)


def modulations(passage: Passage) -> Iterator[tuple[KeyArea, Notes]]:
    """Sections in another key: its own degree at least twice, and a close on its tonic."""
    for area in _FROM_MINOR if passage.scale.minor else _FROM_MAJOR:
        if area.leaves & set(passage.scale.names):
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
    for away, run in groupby(range(len(units)), key=states.__getitem__):
        if away:
            found = [*run]
            first, last = _edges(units, found[0], found[-1], area)
            notes = [note for unit in units[first : last + 1] for note in unit]
            if len(notes) >= SHORTEST:
                yield notes


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
    leaving = [at for at in range(first, last + 1) if _count(units[at], area.leaves)]
    first, last = leaving[0], leaving[-1]
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
