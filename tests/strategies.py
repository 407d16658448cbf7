"""What hypothesis draws from: any pitch, key and melody that melody text can express.

``melodies()`` is the widest one.  Every melody it draws is valid: bars add up to their meter, a
change of key or meter begins a phrase, ties follow a sounding note.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from hypothesis import strategies as st

from fretpath import SCALES, Degree, Key, Melody, Meter, Note, Pitch, Placement
from fretpath.music.melody import Repeat

WORKING_OCTAVE = 4


def pitches(low: int = -1, high: int = 9, most: int = 2) -> st.SearchStrategy[Pitch]:
    """Spelled pitches from octave ``low`` to ``high`` with up to ``most`` sharps or flats."""
    return st.builds(
        Pitch.spelled,
        st.sampled_from("CDEFGAB"),
        st.integers(-most, most),
        st.integers(low, high),
    )


def degrees(low: int = -14, high: int = 21, most: int = 2) -> st.SearchStrategy[Degree]:
    """Degrees from ``low`` to ``high`` letters above the tonic."""
    return st.builds(Degree, st.integers(low, high), st.integers(-most, most))


def keys(most: int = 1) -> st.SearchStrategy[Key]:
    """Keys in every mode, their tonic with up to ``most`` accidentals."""
    tonics = [
        letter + mark * count
        for letter in "CDEFGAB"
        for mark in "#b"
        for count in range(most + 1)
        if count or mark == "#"
    ]
    return st.builds(Key, st.sampled_from(tonics), st.sampled_from(list(SCALES)))


def meters() -> st.SearchStrategy[Meter]:
    """Meters that a bar of a test can fill."""
    return st.builds(Meter, st.integers(1, 7), st.sampled_from([1, 2, 4, 8, 16, 32]))


def beats() -> st.SearchStrategy[Fraction]:
    """Lengths in beats, whole, dotted and uneven."""
    usual = st.sampled_from([Fraction(1), Fraction(1, 2), Fraction(3, 2), Fraction(2)])
    return usual | st.builds(Fraction, st.integers(1, 12), st.integers(1, 12))


def placements() -> st.SearchStrategy[Placement | None]:
    """A string, a fret, both, or (mostly) nothing."""
    string, fret = st.integers(1, 12), st.integers(0, 36)
    return st.none() | st.one_of(
        st.builds(Placement, string=string),
        st.builds(Placement, fret=fret),
        st.builds(Placement, string=string, fret=fret),
    )


def line_texts() -> st.SearchStrategy[str]:
    """One line of printable text in any script, as a title is."""
    characters = st.characters(exclude_categories=("Cc", "Cs", "Zl", "Zp"))
    return st.text(characters, min_size=1, max_size=30).map(str.strip).filter(_shown)


def _shown(text: str) -> bool:
    return bool(text) and not any(unicodedata.category(char) == "Cc" for char in text)


@st.composite
def melodies(draw: st.DrawFn, *, placed: bool = True, marked: bool = True) -> Melody:
    """Any melody that melody text can express, from one event to some fifty.

    ``marked`` ones may have repeats, words and chord names.
    """
    lengths, bars, phrases, meter_changes = draw(_barred() | _unbarred())
    free = draw(st.booleans())
    octave = WORKING_OCTAVE if free else draw(st.integers(0, 6))
    notes = _notes(draw, lengths, octave, placed)
    return Melody(
        notes=tuple(notes),
        keys=tuple(_key_changes(draw, [0, *phrases])),
        meters=tuple(meter_changes),
        bars=tuple(bars),
        phrases=tuple(phrases),
        octave=octave,
        octave_free=free,
        **draw(_heads()),
        **(draw(_marks(bars, notes)) if marked else {}),
    )


@st.composite
def _marks(draw: st.DrawFn, bars: Sequence[int], notes: Sequence[Note]) -> dict[str, Any]:
    """Repeats at bar lines, and words and chord names at some of the notes."""
    if not draw(st.booleans()):
        return {}
    struck = [event for event, note in enumerate(notes) if note.struck]
    sung = _some(draw, struck)
    held = _some(draw, range(len(notes)))
    return {
        "repeats": tuple(draw(_repeats([0, *bars, len(notes)]))),
        "lyrics": tuple((event, draw(syllables())) for event in sung),
        "chords": tuple((event, draw(st.sampled_from(CHORDS))) for event in held),
    }


CHORDS = ("G", "D7", "F#m7", "Bb/D", "Ebmaj7", "A7sus4", "N.C.")


def syllables() -> st.SearchStrategy[str]:
    """A syllable, alone or going on, or two words on one note."""
    words = st.from_regex(r"[a-zA-Z\u00c0-\u017f',.!_-]{1,6}", fullmatch=True)
    pair = st.tuples(words, words).map(" ".join)
    return (words | pair).filter(lambda word: word != "_")


@st.composite
def _repeats(draw: st.DrawFn, marks: Sequence[int]) -> list[Repeat]:
    """Repeats one after the other, with or without endings, whose signs stand at the marks."""
    found = []
    at = 0
    while at < len(marks) - 1:
        stop = draw(st.integers(at + 1, len(marks) - 1))
        if draw(st.booleans()):
            inner = marks[at + 1 : stop]
            endings = tuple(inner[-draw(st.integers(2, 3)) :]) if draw(st.booleans()) else ()
            if len(endings) < 2:
                endings = ()
            times = len(endings) or draw(st.integers(2, 4))
            found.append(Repeat(marks[at], marks[stop], times, endings))
        at = stop
    return found


_Frame = tuple[list[Fraction], list[int], list[int], list[tuple[int, Meter]]]


@st.composite
def _unbarred(draw: st.DrawFn) -> _Frame:
    """Lengths, bar lines anywhere, and phrases, with no meter to obey."""
    lengths = draw(st.lists(beats(), min_size=1, max_size=20))
    inside = range(1, len(lengths))
    return lengths, _some(draw, inside), _some(draw, inside), []


@st.composite
def _barred(draw: st.DrawFn) -> _Frame:
    """Bars that add up, the first and last perhaps short; a phrase may bring another meter."""
    count = draw(st.integers(1, 6))
    meter = draw(meters())
    lengths: list[Fraction] = []
    bars: list[int] = []
    phrases: list[int] = []
    changes = [(0, meter)]
    for number in range(count):
        if number:
            bars.append(len(lengths))
            if draw(st.booleans()):
                phrases.append(len(lengths))
                meter = draw(st.just(meter) | meters())
                if meter != changes[-1][1]:
                    changes.append((len(lengths), meter))
        edge = number in (0, count - 1)
        part = Fraction(draw(st.integers(1, 4)), 4) if edge else Fraction(1)
        lengths.extend(_filled(draw, meter.beats * part))
    return lengths, bars, phrases, changes


def _filled(draw: st.DrawFn, total: Fraction) -> list[Fraction]:
    """Lengths that add up to ``total``."""
    shares = draw(st.lists(st.integers(1, 4), min_size=1, max_size=4))
    return [total * share / sum(shares) for share in shares]


def _some(draw: st.DrawFn, places: Sequence[int]) -> list[int]:
    return [place for place in places if draw(st.integers(0, 3)) == 0]


def _key_changes(draw: st.DrawFn, starts: Sequence[int]) -> list[tuple[int, Key]]:
    if draw(st.booleans()):
        return []
    later = [start for start in starts[1:] if draw(st.integers(0, 2)) == 0]
    return [(start, draw(keys())) for start in (0, *later)]


def _notes(draw: st.DrawFn, lengths: Sequence[Fraction], octave: int, placed: bool) -> list[Note]:
    notes: list[Note] = []
    before: Pitch | None = None
    for length in lengths:
        kind = draw(st.sampled_from(["note", "note", "note", "rest", "hold"]))
        if kind == "hold" and before is not None:
            notes.append(Note(before, length, tied=True))
            continue
        before = None if kind == "rest" else draw(pitches(octave - 1, octave + 2))
        placement = draw(placements()) if placed and before is not None else None
        notes.append(Note(before, length, placement=placement))
    return notes


def _heads() -> st.SearchStrategy[dict[str, Any]]:
    names = st.lists(st.sampled_from(["source", "teaches", "level"]), unique=True, max_size=3)
    tempo = st.integers(10, 400).map(Fraction) | st.builds(
        Fraction, st.integers(1000, 40000), st.just(100)
    )
    return st.fixed_dictionaries(
        {
            "title": st.just("") | line_texts(),
            "tempo": st.none() | tempo,
            "headers": names.flatmap(
                lambda found: st.tuples(*[st.tuples(st.just(n), line_texts()) for n in found])
            ),
        }
    )
