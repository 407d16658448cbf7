"""A stretch of melody under one key, and what each of its notes does between its neighbors.

**Theory.**  A note has a role: where it comes from and where it goes, notes struck again passed
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

Places are named by bar where the text has bar lines (0 is the pickup), else by note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import groupby

from fretpath.errors import RequestError
from fretpath.music.key import SCALES, Degree, Key, Scale
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, alter_of
from fretpath.music.spelling import SpelledNote, spell
from fretpath.music.words import listed

_MOST_PLACES = 6
_WHOLE_STEP = 2  # semitones

Neighbors = tuple[SpelledNote | None, SpelledNote | None]


@dataclass(frozen=True)
class Passage:
    """Consecutive notes that stand under one key."""

    key: Key
    """The key the text gives them."""
    notes: tuple[SpelledNote, ...]
    """The notes in order, at least one, each with its degree."""
    barred: bool
    """Whether the melody has bar lines."""

    @cached_property
    def names(self) -> frozenset[str]:
        """The simple degrees that sound."""
        return frozenset(note.name for note in self.notes)

    def named(self, *names: str) -> list[SpelledNote]:
        """The notes on these degrees."""
        return [note for note in self.notes if note.name in names]

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

    def places(self, notes: Sequence[SpelledNote]) -> str:
        """``bars 2, 4``: where these notes stand, each bar once, the first six."""
        return listed([self.place(note) for note in notes], most=_MOST_PLACES)

    def stretch(self, notes: Sequence[SpelledNote]) -> str:
        """``bars 9 to 12``: the first and the last place of a section."""
        first, last = self.place(notes[0]), self.place(notes[-1])
        if first == last:
            return first
        if first == "pickup":
            return f"pickup to {last}"
        return f"{first.split()[0]}s {first.split()[-1]} to {last.split()[-1]}"


def passages(melody: Melody) -> tuple[Passage, ...]:
    """The passages of a melody, one for each key it gives; those without a note left out.

    Raises :class:`RequestError` when no key is known.
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
            found.append(Passage(key, notes, bool(melody.bars)))
    return tuple(found)


def named_degree(name: str) -> Degree:
    """The degree of a simple name; unlike :meth:`Degree.parse` any number of accidentals.

    >>> named_degree("bbbb3")
    Degree(steps=2, alter=-4)
    """
    number = name.lstrip("#b")
    return Degree(int(number) - 1, alter_of(name.removesuffix(number)))


def base_scale(scale: Scale) -> Scale:
    """The seven degrees a scale is counted from: itself, or the scale of its signature."""
    whole = len({degree.number for degree in scale.degrees}) == 7
    return scale if whole else SCALES[scale.parent]


def plain_degree(base: Scale, name: str) -> str:
    """The base scale's own degree of that number.

    >>> plain_degree(SCALES["natural minor"], "#3")
    'b3'
    """
    number = named_degree(name).number
    return next(str(degree) for degree in base.degrees if degree.number == number)


def raised(base: Scale, name: str) -> bool:
    """Whether a degree lies above the base scale's own of that number (or is that one)."""
    return named_degree(name).alter >= named_degree(plain_degree(base, name)).alter


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
