"""Spelling a melody aloud: degree, interval from the tonic, step from the note before.

Data only; :mod:`fretpath.page.spelling` writes it as rows under one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.music.syllables import syllable

__all__ = ["SpelledNote", "spell"]


@dataclass(frozen=True, slots=True)
class SpelledNote:
    """What a teacher says about one struck note."""

    event: int
    """Index of the note among the melody's events."""
    bar: int
    """Bar number, 0 for a pickup; 1 throughout when the text has no bar lines."""
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


def spell(melody: Melody, *, minor: str = "do") -> tuple[SpelledNote, ...]:
    """Every struck note of a melody, spelled.

    >>> from fretpath.music.notation import parse_melody
    >>> last = spell(parse_melody("1 5 10", key="B"))[-1]
    >>> str(last.degree), str(last.from_tonic), str(last.step), last.syllable
    ('10', '+M10', '+M6', 'mi')

    *minor* sets what a minor tonic is sung on, ``do`` or ``la``.
    """
    starts = set(melody.phrases)
    phrase_of = [1]
    for event in range(1, len(melody.notes)):
        phrase_of.append(phrase_of[-1] + (event in starts))
    spelled = []
    before: Pitch | None = None
    columns = zip(melody.struck, melody.pitches, melody.lengths, melody.degrees, strict=True)
    for event, pitch, beats, degree in columns:
        key = melody.key_at(event)
        spelled.append(
            SpelledNote(
                event=event,
                bar=melody.bar_numbers[event],
                phrase=phrase_of[event],
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
