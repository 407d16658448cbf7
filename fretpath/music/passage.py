"""A stretch of melody under one key, as the degrees it sounds and where: what departures ask.

Places are named by bar where the text has bar lines (0 is the pickup), else by note.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import groupby

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import alter_of
from fretpath.music.spelling import spell
from fretpath.music.words import listed

__all__ = ["Passage", "Tone", "named_degree", "passages"]

_MOST_PLACES = 6


@dataclass(frozen=True, slots=True)
class Tone:
    """One struck note, seen from its tonic."""

    note: int
    """Index among the struck notes of the whole melody."""
    bar: int
    """Bar number; 0 is a pickup."""
    phrase: int
    """Phrase number, from 1."""
    degree: Degree
    """Its degree, with its octave."""
    name: str
    """The simple degree, such as ``#4``."""
    beats: Fraction
    """How long it sounds."""


@dataclass(frozen=True)
class Passage:
    """Consecutive notes that stand under one key."""

    key: Key
    """The key the text gives them."""
    tones: tuple[Tone, ...]
    """Their degrees in order, at least one."""
    barred: bool
    """Whether the melody has bar lines."""

    @cached_property
    def names(self) -> frozenset[str]:
        """The simple degrees that sound."""
        return frozenset(tone.name for tone in self.tones)

    @cached_property
    def _index(self) -> dict[int, int]:
        return {tone.note: at for at, tone in enumerate(self.tones)}

    def named(self, *names: str) -> list[Tone]:
        """The tones on these degrees."""
        return [tone for tone in self.tones if tone.name in names]

    def without(self, notes: Collection[int]) -> Passage:
        """The passage with some notes left out."""
        kept = tuple(tone for tone in self.tones if tone.note not in notes)
        return Passage(self.key, kept, self.barred)

    def units(self) -> list[list[Tone]]:
        """The tones bar by bar (and not across a phrase); note by note without bar lines."""
        if not self.barred:
            return [[tone] for tone in self.tones]
        groups = groupby(self.tones, key=lambda tone: (tone.phrase, tone.bar))
        return [list(group) for _, group in groups]

    def around(self, tone: Tone) -> tuple[Tone | None, Tone | None]:
        """The tones before and after one; None at an end."""
        at = self._index[tone.note]
        before = self.tones[at - 1] if at else None
        after = self.tones[at + 1] if at + 1 < len(self.tones) else None
        return before, after

    @cached_property
    def _unlike(self) -> dict[int, tuple[Tone | None, Tone | None]]:
        runs = [list(run) for _, run in groupby(self.tones, key=lambda tone: tone.degree)]
        edges = [None, *runs, None]
        return {
            tone.note: (before[-1] if before else None, after[0] if after else None)
            for before, run, after in zip(edges, runs, edges[2:], strict=False)
            for tone in run
        }

    def approach(self, tone: Tone) -> tuple[Tone | None, Tone | None]:
        """The last other tone before one and the first other one after it, repeats passed over."""
        return self._unlike[tone.note]

    def place(self, tone: Tone) -> str:
        """``bar 3``, ``pickup`` or ``note 7``."""
        if not self.barred:
            return f"note {tone.note + 1}"
        return f"bar {tone.bar}" if tone.bar else "pickup"

    def places(self, tones: Sequence[Tone]) -> str:
        """``bars 2, 4``: where these tones stand, each bar once, the first six."""
        return listed([self.place(tone) for tone in tones], most=_MOST_PLACES)

    def stretch(self, tones: Sequence[Tone]) -> str:
        """``bars 9 to 12``: the first and the last place of a section."""
        first, last = self.place(tones[0]), self.place(tones[-1])
        if first == last:
            return first
        if first == "pickup":
            return f"pickup to {last}"
        return f"{first.split()[0]}s {first.split()[-1]} to {last.split()[-1]}"


def named_degree(name: str) -> Degree:
    """The degree of a simple name; unlike :meth:`Degree.parse` any number of accidentals.

    >>> named_degree("bbbb3")
    Degree(steps=2, alter=-4)
    """
    number = name.lstrip("#b")
    return Degree(int(number) - 1, alter_of(name.removesuffix(number)))


def passages(melody: Melody) -> tuple[Passage, ...]:
    """The passages of a melody, one for each key it gives; those without a note left out.

    Raises :class:`RequestError` when no key is known.
    """
    if not melody.keys:
        raise RequestError(
            "no key is given, so no note can leave it: add a key (--key G, or key: in the text)"
        )
    starts = [start for start, _ in melody.keys]
    found: list[Passage] = []
    spelled = list(enumerate(spell(melody)))
    for (start, key), stop in zip(melody.keys, [*starts[1:], len(melody.notes)], strict=True):
        tones = tuple(
            Tone(note, told.bar, told.phrase, told.degree, told.degree.plain, told.beats)
            for note, told in spelled
            if start <= told.event < stop and told.degree
        )
        if tones:
            found.append(Passage(key, tones, bool(melody.bars)))
    return tuple(found)
