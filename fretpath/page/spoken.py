"""The tab as sentences, one a note: to be read aloud by a screen reader or a partner.

**Conventions.**  The string is named by its open note (the higher of two of one name is called
high), the finger by its place from the index, intervals by number and quality, accidentals as
words.  The first note and every shift name the position; a note says its length when it is not
one beat, and its beat where the melody has a rhythm.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.page.blanks import NOTHING_HIDDEN, Blanks
from fretpath.page.counting import beat_in_bar, beat_name, has_rhythm
from fretpath.page.heading import degree_labels

__all__ = ["interval_words", "render_spoken"]

_FINGERS = ("open", "first finger", "second finger", "third finger", "fourth finger")
_NUMBERS = (
    "unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth",
    "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "double octave",
)  # fmt: skip
_PARTS = {"&": "and", "e": "e", "a": "a", "t": "trip", "l": "let", ".": "between beats"}


def render_spoken(
    arrangement: Arrangement, *, degrees: str = "major", hide: Blanks = NOTHING_HIDDEN
) -> str:
    """One line a note, ``string A, fret 3, first finger, degree 1, down a fourth``.

    *degrees* counts against the ``major`` scale or the ``key`` signature; what *hide* hides is
    left out.  Ends with a newline.
    """
    melody = arrangement.melody
    lines = [melody.title] if melody.title else []
    lines += [f"key {_spelled(str(melody.key))}"] if melody.key else []
    labels = degree_labels(melody, degrees=degrees)
    note, bar = 0, None
    counted = has_rhythm(melody)
    for event, held in enumerate(melody.notes):
        number = melody.bar_numbers[event]
        if melody.bars and number != bar:
            bar = number
            lines.append(f"bar {bar}" if bar else "pickup")
        when = _when(melody, event) if counted else ""
        if held.struck:
            words = [when, *_note(arrangement, note, labels[note], hide)]
            words.append(_length(melody.lengths[note]))
            note += 1
        elif held.pitch is None:
            words = [when, "rest", _length(held.beats)]
        else:
            continue
        lines.append(", ".join(word for word in words if word))
    return "\n".join(lines) + "\n"


def _when(melody: Melody, event: int) -> str:
    beat = beat_in_bar(melody, event)
    part = "" if beat % 1 == 0 else f" {_PARTS[beat_name(beat)]}"
    return f"beat {beat.numerator // beat.denominator}{part}"


def _length(beats: Fraction) -> str:
    if beats == 1:
        return ""
    whole, part = divmod(beats, 1)
    if part == 0:
        return f"{whole} beats"
    if part != Fraction(1, 2):
        return f"{beats} beats" if beats > 1 else f"{beats} of a beat"
    return f"{whole} and a half beats" if whole else "half a beat"


def _note(arrangement: Arrangement, note: int, degree: str, hide: Blanks) -> Iterator[str]:
    if hide.hides_note(note):
        yield "a note for you to find"
        return
    place, pitches = arrangement.fingerings[note], arrangement.melody.pitches
    if not hide.hides("string", note):
        yield f"string {_string_name(arrangement.instrument, place.string)}"
        yield f"fret {place.fret}" if place.fret else "open"
        if place.finger:
            yield _FINGERS[place.finger]
        if note == 0 or place.position != arrangement.positions[note - 1]:
            yield f"position {place.position}"
    if degree and not hide.hides("degree", note):
        yield f"degree {_degree_words(degree)}"
    if note and not hide.hides("interval", note):
        yield interval_words(pitches[note] - pitches[note - 1])


def _string_name(instrument: Instrument, string: int) -> str:
    name = instrument.string_names[string - 1]
    return f"high {_spelled(name.capitalize())}" if name[0].islower() else _spelled(name)


def _spelled(name: str) -> str:
    """A note or key name with its accidental as a word: ``B flat major``."""
    letter, rest = name[0], name[1:]
    alters = len(rest) - len(rest.lstrip("#b"))
    words = {"#": " sharp", "b": " flat"}
    return letter + "".join(words[sign] for sign in rest[:alters]) + rest[alters:]


def _degree_words(label: str) -> str:
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
