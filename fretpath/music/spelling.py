"""Spelling a melody aloud: degree, syllable, interval from the tonic, step from the note before.

Data only; :mod:`fretpath.page.spelling` writes it as rows under one another.

**Syllables.**  The tonic of a major key is ``do``.  A raised degree takes the vowel i (``fi``
for #4), a lowered one e (``me`` for b3); the lowered second is ``ra``.  A degree that has no
syllable in common use is the plain syllable with its accidental behind (``fab``).  In minor
there are two habits: *do-based* (the tonic is always ``do``, so b3 is ``me``; it compares with the
parallel major) and *la-based* (syllables of the relative major, so a minor tonic is ``la`` and a
Dorian one ``re``).  Common practice; vowels as in B. Crowell's *Eyes and Ears* (2004-2017).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import accumulate

from fretpath.errors import RequestError
from fretpath.music.key import MODES, Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch, accidental
from fretpath.values import Value

SYLLABLES = ("do", "la")
"""The syllable of a minor tonic: do-based or la-based."""

SOLFEGE = {
    "1": "do", "#1": "di", "b2": "ra", "2": "re", "#2": "ri", "b3": "me", "3": "mi",
    "4": "fa", "#4": "fi", "b5": "se", "5": "so", "#5": "si", "b6": "le", "6": "la", "#6": "li",
    "b7": "te", "7": "ti",
}  # fmt: skip
"""The syllable of each simple degree that has one."""


@dataclass(frozen=True)
class SpelledNote(Value):
    """The words of a teacher about one struck note."""

    index: int
    """Its place among the struck notes, from 0."""
    event: int
    """Index of the note among the melody's events."""
    bar: int
    """Bar number, 0 for a pickup; 1 throughout when the text has no bar lines."""
    beat: Fraction
    """When it begins: beats from the bar line before it, or from the start without one."""
    phrase: int
    """Phrase number, from 1."""
    pitch: Pitch
    """The note as it sounds."""
    beats: Fraction
    """How long it sounds, in beats."""
    degree: Degree | None
    """Against the major scale of the tonic in force; None without a key."""
    from_tonic: Interval | None
    """From the tonic up (or down) to the note, compound where it is; None without a key."""
    step: Interval | None
    """From the note before; None for the first note."""
    syllable: str
    """Movable do; empty without a key."""

    @cached_property
    def name(self) -> str:
        """The simple degree, such as ``#4``; empty without a key."""
        return self.degree.plain if self.degree else ""


def spell(melody: Melody, *, minor: str = "do") -> tuple[SpelledNote, ...]:
    """Every struck note of a melody, spelled.

    >>> from fretpath.music.notation import parse_melody
    >>> last = spell(parse_melody("1 5 10", key="B"))[-1]
    >>> str(last.degree), str(last.from_tonic), str(last.step), last.syllable
    ('10', '+M10', '+M6', 'mi')

    *minor* sets what a minor tonic is sung on, ``do`` or ``la``.
    """
    phrase_of = _count_marks(melody, melody.phrases)
    bar_lines = (0, *melody.bars)
    lines_before = _count_marks(melody, melody.bars)
    spelled: list[SpelledNote] = []
    before: Pitch | None = None
    columns = zip(melody.struck, melody.pitches, melody.lengths, melody.degrees, strict=True)
    for event, pitch, beats, degree in columns:
        key = melody.key_at(event)
        spelled.append(
            SpelledNote(
                index=len(spelled),
                event=event,
                bar=melody.bar_numbers[event],
                beat=melody.onsets[event] - melody.onsets[bar_lines[lines_before[event]]],
                phrase=phrase_of[event] + 1,
                pitch=pitch,
                beats=beats,
                degree=degree,
                from_tonic=degree.interval if degree else None,
                step=pitch - before if before else None,
                syllable=syllable(degree, key, minor=minor) if degree and key else "",
            )
        )
        before = pitch
    return tuple(spelled)


def _count_marks(melody: Melody, marks: tuple[int, ...]) -> list[int]:
    """How many marks stand before each event or at it."""
    starts = set(marks)
    return list(accumulate(int(event in starts) for event in range(len(melody.notes))))


def syllable(degree: Degree, key: Key, *, minor: str = "do") -> str:
    """The syllable of a degree; *minor* is ``do`` or ``la`` and counts only where modes differ.

    >>> syllable(Degree.parse("b3"), Key.parse("A minor"))
    'me'
    >>> syllable(Degree.parse("b3"), Key.parse("A minor"), minor="la")
    'do'
    """
    if minor not in SYLLABLES:
        raise RequestError(f'syllables are do-based or la-based: do or la, not "{minor[:40]}"')
    if minor == "la":
        degree = _relative(degree, key)
    plain = SOLFEGE[str(degree.number)]
    return SOLFEGE.get(degree.plain, plain + accidental(degree.alter))


def _relative(degree: Degree, key: Key) -> Degree:
    """The degree counted from the tonic of the relative major."""
    up = degree.interval + Interval.of_fifths(MODES.index(key.scale.parent) - 1)
    return Degree.of_interval(up)
