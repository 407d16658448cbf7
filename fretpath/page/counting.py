"""The count under the beat: what a beginner says aloud while playing.

**Conventions.**  Beats are numbered in each bar, the halves between them are ``&``, quarters
``e`` and ``a`` (1 e & a), thirds ``t`` and ``l`` (trip-let), anything finer ``.`` (common
practice of the trade, from memory).  Plain: strike the note here.  In round brackets: the note
rings on.  In square brackets: silence.  A pickup is counted as the end of its bar, so that the
first full bar begins on 1.  Without a meter the count begins anew in each bar, or in each phrase
where there are no bars.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from fretpath.music.melody import Melody

Marks = tuple[tuple[Fraction, str], ...]
"""(beats after the event begins, what is counted there)."""

_PARTS = {
    Fraction(1, 2): "&",
    Fraction(1, 4): "e",
    Fraction(3, 4): "a",
    Fraction(1, 3): "t",
    Fraction(2, 3): "l",
}
_MOST_HELD = 8
_LONGEST = 20
"""Characters that the counts of one event may take."""


def has_rhythm(melody: Melody) -> bool:
    """Whether there is anything to count: a meter, or notes of different lengths."""
    return bool(melody.meters) or any(note.beats != 1 or note.tied for note in melody.notes)


def beat_in_bar(melody: Melody, event: int) -> Fraction:
    """Where an event begins, in beats from 1 at the start of its bar."""
    marks = melody.bars or melody.phrases
    bar = bisect_right(marks, event)
    start = marks[bar - 1] if bar else 0
    beat = 1 + melody.onsets[event] - melody.onsets[start]
    meter = melody.meter
    if bar == 0 and meter and melody.has_pickup:
        beat += meter.beats - melody.onsets[melody.bars[0]]
    return _in_meter(melody, event, beat)


def _in_meter(melody: Melody, event: int, beat: Fraction) -> Fraction:
    """Back to 1 after each bar's worth where a meter is given and bar lines are not."""
    meter = melody.meter_at(event)
    return (beat - 1) % meter.beats + 1 if meter and not melody.bars else beat


def beat_name(beat: Fraction) -> str:
    """How a moment is counted: its beat, or the part of a beat.

    >>> beat_name(Fraction(3)), beat_name(Fraction(7, 2)), beat_name(Fraction(5, 4))
    ('3', '&', 'e')
    """
    part = beat % 1
    return str(beat) if part == 0 else _PARTS.get(part, ".")


def count_marks(melody: Melody, event: int) -> Marks:
    """The counts an event covers, the first at 0: its own, then every whole beat it lasts over."""
    beat, length = beat_in_bar(melody, event), melody.notes[event].beats
    marks = [(Fraction(0), beat_name(beat))]
    over: Sequence[int] = range(math.floor(beat) + 1, math.ceil(beat + length))
    if len(over) > _MOST_HELD:
        over = [*over[: _MOST_HELD + 1], over[-1]]
    marks += [(whole - beat, str(_in_meter(melody, event, Fraction(whole)))) for whole in over]
    note = melody.notes[event]
    if note.pitch is None:
        return _bracketed(marks, "[", "]")
    return (
        _bracketed(marks, "(", ")") if note.tied else (marks[0], *_bracketed(marks[1:], "(", ")"))
    )


def _bracketed(marks: list[tuple[Fraction, str]], left: str, right: str) -> Marks:
    if not marks:
        return ()
    if len(marks) > _MOST_HELD or len(joined(tuple(marks))) > _LONGEST:
        marks = [marks[0], (marks[1][0], ".."), marks[-1]]
    words = [word for _, word in marks]
    words[0] = left + words[0]
    words[-1] += right
    return tuple((at, word) for (at, _), word in zip(marks, words, strict=True))


def joined(marks: Marks) -> str:
    """The counts of one event in one token: ``1 (2 3)``."""
    return " ".join(word for _, word in marks)


def in_columns(marks: Marks, per_beat: int, room: int) -> str:
    """The counts of one event, each as many columns along as its time asks, if there is room."""
    if marks and int(marks[-1][0] * per_beat) + len(marks[-1][1]) > room:
        return joined(marks)
    line = ""
    for at, word in marks:
        line = line.ljust(max(int(at * per_beat), len(line) + bool(line))) + word
    return line
