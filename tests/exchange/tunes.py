"""Melodies as hypothesis makes them: every bar adds up, keys and meters change at phrases."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from fretpath import Key, Melody, Meter, Note, Pitch, Placement
from fretpath.music.melody import Repeat

LENGTHS = [Fraction(text) for text in ("1", "1/2", "2", "3/2", "1/4", "3/4", "3", "1/3", "1/6")]
TONICS = ("C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db")
MODES = ("major", "natural minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian")
OTHER_SCALES = ("harmonic minor", "minor pentatonic", "blues", "double harmonic", "whole tone")
TEXT = st.text(st.characters(codec="utf-8", categories=("L", "N")), max_size=12)


WORDS = ("la", "Fer-", "ry", "o'er", "\u00e9t\u00e9", "don't", "a b", "x-y", "50%")
CHORDS = ("C", "G7", "F#m7b5", "Bb/D", "N.C.", "Csus4", "Ebmaj7")


@st.composite
def melodies(
    draw: st.DrawFn,
    *,
    places: bool = False,
    scales: tuple[str, ...] = MODES,
    words: bool = False,
) -> Melody:
    """A melody of one to five bars, with rests, ties over bar lines and maybe a pickup.

    The meter may change at a phrase.  *words* adds repeats, endings, lyrics and chord names.
    """
    meter = draw(st.sampled_from([None, Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(2, 2)]))
    meters = [(0, meter)] if meter else []
    notes: list[Note] = []
    bars: list[int] = []
    phrases: list[int] = []
    count = draw(st.integers(1, 5))
    for number in range(count):
        if notes:
            bars.append(len(notes))
            if draw(st.booleans()):
                phrases.append(len(notes))
                other = draw(st.sampled_from([meter, meter, Meter(3, 8), Meter(5, 4)]))
                if meter and other != meter:
                    meter = other
                    meters.append((len(notes), meter))
        unit = meter.unit if meter else 4
        whole = Fraction(meter.beats if meter else draw(st.integers(1, 5)))
        if number == 0 and count > 1 and draw(st.booleans()):
            whole = draw(st.sampled_from([whole / 2, whole]))
        notes.extend(_bar(draw, whole, Fraction(unit, 4), notes[-1:], places))
    if not any(note.struck for note in notes):
        notes[0] = Note(Pitch.parse("C4"), notes[0].beats)
        notes[1:2] = [Note(None, note.beats) for note in notes[1:2]]
        notes[2:] = [note if not note.tied else Note(None, note.beats) for note in notes[2:]]
    keys = _keys(draw, phrases, scales)
    melody = Melody(
        notes=tuple(notes),
        keys=tuple(keys),
        meters=tuple(meters),
        bars=tuple(bars),
        phrases=tuple(phrases),
        octave=draw(st.integers(1, 5)) if keys else 4,
        title=draw(TEXT),
        tempo=draw(st.sampled_from([None, Fraction(60), Fraction(92), Fraction(255, 2)])),
        headers=draw(st.sampled_from([(), (("source", "Harbour Lane"), ("teaches", "a < b"))])),
    )
    return draw(_with_words(melody)) if words else melody


@st.composite
def _with_words(draw: st.DrawFn, melody: Melody) -> Melody:
    edges = [0, *melody.bars, len(melody)]
    size = draw(st.sampled_from([n for n in (0, 2, 4) if n <= len(edges)]))
    chosen = st.lists(st.sampled_from(edges), min_size=size, max_size=size, unique=True)
    at = sorted(draw(chosen))
    repeats: tuple[Repeat, ...] = ()
    if size == 2:
        repeats = (Repeat(at[0], at[1], draw(st.integers(2, 3))),)
    elif size == 4:
        repeats = (Repeat(at[0], at[3], 2, (at[1], at[2])),)
    sung = [event for event in melody.struck if draw(st.booleans())]
    named = [event for event in range(len(melody)) if draw(st.booleans())]
    return replace(
        melody,
        repeats=repeats,
        lyrics=tuple((event, draw(st.sampled_from(WORDS))) for event in sung),
        chords=tuple((event, draw(st.sampled_from(CHORDS))) for event in named),
    )


def _keys(draw: st.DrawFn, phrases: list[int], scales: tuple[str, ...]) -> list[tuple[int, Key]]:
    if not draw(st.booleans()):
        return []
    keys: list[tuple[int, Key]] = []
    for at in [0, *phrases]:
        key = Key(draw(st.sampled_from(TONICS)), draw(st.sampled_from(scales)))
        if abs(key.signature) <= 7 and (not keys or keys[-1][1] != key):
            keys.append((at, key))
    return keys if keys and keys[0][0] == 0 else []


def _bar(
    draw: st.DrawFn, whole: Fraction, scale: Fraction, before: list[Note], places: bool
) -> list[Note]:
    notes: list[Note] = []
    while whole > 0:
        fits = [length * scale for length in LENGTHS if length * scale <= whole]
        length = draw(st.sampled_from(fits)) if fits else whole
        if (whole - length).denominator not in (1, 2, 3, 4, 6, 12):
            length = whole
        last = (before + notes)[-1:]
        kind = draw(st.sampled_from("nnnnrt"))
        if kind == "t" and last and last[0].pitch:
            notes.append(Note(last[0].pitch, length, tied=True))
        elif kind == "r":
            notes.append(Note(None, length))
        else:
            letter, alter = draw(st.sampled_from("CDEFGAB")), draw(st.integers(-2, 2))
            pitch = Pitch.spelled(letter, alter, draw(st.integers(1, 6)))
            place = Placement(draw(st.integers(1, 6)), draw(st.integers(0, 24)))
            with_place = place if places and draw(st.booleans()) else None
            notes.append(Note(pitch, length, placement=with_place))
        whole -= length
    return notes
