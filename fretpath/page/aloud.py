"""Names of notes, degrees, intervals and moments as they are said aloud.

**Conventions.**  The string is named by its open note (the higher of two of one name is called
high), the finger by its place from the index, intervals by number and quality, accidentals as
words.
"""

from __future__ import annotations

import re
from fractions import Fraction

from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.neck.instrument import Instrument
from fretpath.page.counting import beat_in_bar, beat_name

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
_PARTS = {"&": "and", "e": "e", "a": "a", "t": "trip", "l": "let", ".": "between beats"}


def beat_words(melody: Melody, event: int) -> str:
    """When an event begins: ``beat 2 and``."""
    beat = beat_in_bar(melody, event)
    part = "" if beat % 1 == 0 else f" {_PARTS[beat_name(beat)]}"
    return f"beat {beat.numerator // beat.denominator}{part}"


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

    >>> number_words(4), number_words(15)
    ('four', '15')
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
