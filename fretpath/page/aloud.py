"""The count, and the names of notes, degrees and intervals, as they are said aloud.

**Conventions.**  Beats are numbered in each bar, the halves between them are ``&``, quarters
``e`` and ``a`` (1 e & a), thirds ``t`` and ``l`` (trip-let), anything finer ``.`` (common
practice of the trade, from memory).  Plain: strike the note here.  In round brackets: the note
rings on.  In square brackets: silence.  A pickup is counted as the end of its bar, so that the
first full bar begins on 1.  Without a meter the count begins anew in each bar, or in each phrase
where there are no bars.

A string is named by its open note (the higher of two of one name is called high), a finger by its
place from the index, an interval by number and quality; accidentals are words.
"""

from __future__ import annotations

import math
import re
from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.neck.instrument import Instrument

Marks = tuple[tuple[Fraction, str], ...]
"""(beats after the event begins, what is counted there)."""

_PARTS = {
    Fraction(1, 2): ("&", "and"),
    Fraction(1, 4): ("e", "e"),
    Fraction(3, 4): ("a", "a"),
    Fraction(1, 3): ("t", "trip"),
    Fraction(2, 3): ("l", "let"),
}
"""Parts of a beat as they are written under the tab, and as they are said."""
_FINER = (".", "between beats")
_MOST_HELD = 8
_LONGEST = 20
"""Characters that the counts of one event may take."""


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
    return str(beat) if part == 0 else _PARTS.get(part, _FINER)[0]


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
        return _bracket(marks, "[", "]")
    return _bracket(marks, "(", ")") if note.tied else (marks[0], *_bracket(marks[1:], "(", ")"))


def _bracket(marks: list[tuple[Fraction, str]], left: str, right: str) -> Marks:
    if not marks:
        return ()
    if len(marks) > _MOST_HELD or len(join_marks(tuple(marks))) > _LONGEST:
        marks = [marks[0], (marks[1][0], ".."), marks[-1]]
    words = [word for _, word in marks]
    words[0] = left + words[0]
    words[-1] += right
    return tuple((at, word) for (at, _), word in zip(marks, words, strict=True))


def join_marks(marks: Marks) -> str:
    """The counts of one event in one token: ``1 (2 3)``."""
    return " ".join(word for _, word in marks)


def in_columns(marks: Marks, per_beat: int, room: int) -> str:
    """The counts of one event, each as many columns along as its time asks, if there is room."""
    if marks and int(marks[-1][0] * per_beat) + len(marks[-1][1]) > room:
        return join_marks(marks)
    line = ""
    for at, word in marks:
        line = line.ljust(max(int(at * per_beat), len(line) + bool(line))) + word
    return line


# -- names --------------------------------------------------------------------------------------

_COUNTS = (
    "no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
    "twelve",
)  # fmt: skip
_FINGERS = ("open", "first finger", "second finger", "third finger", "fourth finger")
_NUMBERS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth",
    "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "double octave",
)  # fmt: skip
_MODE_NAME = re.compile(r"\b(lydian|mixolydian|dorian|phrygian|locrian|hungarian)\b")


def beat_words(melody: Melody, event: int) -> str:
    """When an event begins: ``beat 2 and``."""
    beat = beat_in_bar(melody, event)
    words = f"beat {math.floor(beat)}"
    return words if beat % 1 == 0 else f"{words} {_PARTS.get(beat % 1, _FINER)[1]}"


def length_words(beats: Fraction) -> str:
    """How long a note lasts; empty for one beat.

    >>> length_words(Fraction(3, 2)), length_words(Fraction(1, 2)), length_words(Fraction(4))
    ('1 and a half beats', 'half a beat', '4 beats')
    """
    if beats == 1:
        return ""
    whole, part = divmod(beats, 1)
    if part == 0:
        return f"{whole} beats"
    if part != Fraction(1, 2):
        return f"{beats} beats" if beats > 1 else f"{beats} of a beat"
    return f"{whole} and a half beats" if whole else "half a beat"


def number_words(number: int) -> str:
    """A number to twelve in words, a larger one in figures.

    >>> number_words(4), number_words(12), number_words(13)
    ('four', 'twelve', '13')
    """
    return _COUNTS[number] if number < len(_COUNTS) else str(number)


def finger_words(finger: int) -> str:
    """A finger, 1 to 4, by its place from the index; ``open`` for 0."""
    return _FINGERS[finger]


def string_words(instrument: Instrument, string: int) -> str:
    """A string (from 1) by its open note."""
    name = instrument.string_names[string - 1]
    if name[0].islower():
        return f"high {name_words(name.capitalize())}"
    return name_words(name)


def with_capitals(name: str) -> str:
    """A name with the capitals that the names of modes have: ``D Dorian``.

    >>> with_capitals("dorian"), with_capitals("natural minor")
    ('Dorian', 'natural minor')
    """
    return _MODE_NAME.sub(lambda match: match[0].capitalize(), name)


def name_words(name: str) -> str:
    """A note or key name with its accidental as a word: ``B flat major``."""
    letter, rest = name[0], name[1:]
    alters = len(rest) - len(rest.lstrip("#b"))
    words = {"#": " sharp", "b": " flat"}
    return letter + "".join(words[sign] for sign in rest[:alters]) + rest[alters:]


def degree_words(label: str) -> str:
    """A degree as words: ``flat 3``, ``5 below``, ``sharp 2 above``."""
    plain = label.rstrip(",'")
    marks = label[len(plain) :]
    alters = len(plain) - len(plain.lstrip("#b"))
    words = ["sharp" if sign == "#" else "flat" for sign in plain[:alters]]
    words.append(plain[alters:])
    if marks:
        octaves = "" if len(marks) == 1 else f" {len(marks)} octaves"
        words.append(("above" if marks[0] == "'" else "below") + octaves)
    return " ".join(words)


def interval_words(interval: Interval) -> str:
    """An interval as it is said: ``down a fourth``, ``up a minor third``.

    >>> interval_words(Interval.parse("-P4")), interval_words(Interval.parse("+A4"))
    ('down a fourth', 'up an augmented fourth')
    """
    if interval == Interval(0, 0):
        return "the same note"
    quality = interval.name.rstrip("0123456789")
    number = int(interval.name[len(quality) :])
    size = _NUMBERS[number - 1] if number <= len(_NUMBERS) else f"interval of {number}"
    kind = {"P": "", "M": "major ", "m": "minor ", "A": "augmented ", "d": "diminished "}
    words = ("doubly " if len(quality) > 1 else "") + kind[quality[0]] + size
    article = "an" if words[0] in "aeo" else "a"
    return f"{'down' if interval.descending else 'up'} {article} {words}"
