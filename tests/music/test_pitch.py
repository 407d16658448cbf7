"""Spelled pitches and the intervals between them, as they are spoken and written."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Interval, Pitch, RequestError
from tests.strategies import pitches

# The usual name of each size from the unison to the double octave (common practice; the table
# is in any theory text, for example Open Music Theory, "Intervals").
USUAL_NAMES = (
    "P1 m2 M2 m3 M3 P4 A4 P5 m6 M6 m7 M7 P8 m9 M9 m10 M10 P11 A11 P12 m13 M13 m14 M14 P15"
).split()

# (interval, semitones): the other spellings of the same sizes, common practice.
OTHER_SPELLINGS = [
    ("d2", 0),
    ("A1", 1),
    ("d3", 2),
    ("A2", 3),
    ("d4", 4),
    ("A3", 5),
    ("d5", 6),
    ("d6", 7),
    ("A5", 8),
    ("d7", 9),
    ("A6", 10),
    ("d8", 11),
    ("A9", 15),
    ("d12", 18),
    ("AA4", 7),
    ("dd7", 8),
]

# (name, MIDI number, hertz).  A4 = 440 Hz is ISO 16; the rest is 440 * 2 ** ((midi - 69) / 12)
# in closed form, rounded to a thousandth.
FREQUENCIES = [
    ("B0", 23, 30.868),
    ("E1", 28, 41.203),
    ("A1", 33, 55.000),
    ("D2", 38, 73.416),
    ("G2", 43, 97.999),
    ("C3", 48, 130.813),
    ("E2", 40, 82.407),
    ("A2", 45, 110.000),
    ("D3", 50, 146.832),
    ("G3", 55, 195.998),
    ("B3", 59, 246.942),
    ("E4", 64, 329.628),
    ("C4", 60, 261.626),
    ("G4", 67, 391.995),
    ("A4", 69, 440.000),
]


class TestPitch:
    @given(pitches(low=-1, high=9, most=3))
    def test_is_written_and_read_back(self, pitch: Pitch) -> None:
        assert Pitch.parse(str(pitch)) == pitch

    @given(pitches())
    def test_is_its_letter_accidental_and_octave(self, pitch: Pitch) -> None:
        assert Pitch.spelled(pitch.letter, pitch.alter, pitch.octave) == pitch

    @pytest.mark.parametrize(("name", "midi", "hertz"), FREQUENCIES)
    def test_midi_number_and_frequency(self, name: str, midi: int, hertz: float) -> None:
        assert Pitch.parse(name).midi == midi
        assert 440 * 2 ** ((Pitch.parse(name).midi - 69) / 12) == pytest.approx(hertz, abs=6e-4)

    def test_the_octave_belongs_to_the_letter(self) -> None:
        assert Pitch.parse("Cb4").midi == Pitch.parse("B3").midi
        assert Pitch.parse("B#3").midi == Pitch.parse("C4").midi
        assert Pitch.parse("C-1").midi == 0

    def test_small_letters_are_read_too(self) -> None:
        assert Pitch.parse("bb2") == Pitch.parse("Bb2")

    @pytest.mark.parametrize(
        "text", ["", "H4", "C", "4", "C#b4", "Cx4", "C####4", "C4 ", " C4", "C4.5", "C100", "B-4-"]
    )
    def test_anything_else_is_refused_by_name(self, text: str) -> None:
        with pytest.raises(RequestError) as caught:
            Pitch.parse(text)
        assert f'"{text}" is not a pitch' in str(caught.value)
        assert "such as C4 or Bb2" in str(caught.value)


class TestInterval:
    @pytest.mark.parametrize(("semitones", "name"), list(enumerate(USUAL_NAMES)))
    def test_usual_names(self, semitones: int, name: str) -> None:
        interval = Interval.parse(name)
        assert interval.semitones == semitones
        assert interval.name == name
        assert str(interval) == ("P1" if semitones == 0 else f"+{name}")

    @pytest.mark.parametrize(("name", "semitones"), OTHER_SPELLINGS)
    def test_other_spellings(self, name: str, semitones: int) -> None:
        assert Interval.parse(name).semitones == semitones
        assert Interval.parse(name).name == name

    @pytest.mark.parametrize("name", USUAL_NAMES[:13])
    def test_inversion_adds_to_nine_and_swaps_the_quality(self, name: str) -> None:
        turned = Interval.parse("P8") + -Interval.parse(name)
        swapped = {"M": "m", "m": "M", "A": "d", "d": "A", "P": "P"}
        assert turned.name == f"{swapped[name[0]]}{9 - int(name[1:])}"
        assert turned.semitones + Interval.parse(name).semitones == 12

    @given(pitches(), pitches())
    def test_leads_from_one_pitch_to_the_other_and_back(self, low: Pitch, high: Pitch) -> None:
        assert low + (high - low) == high
        assert high + -(high - low) == low

    @given(pitches(), pitches(), pitches())
    def test_two_in_a_row_add_up(self, first: Pitch, second: Pitch, third: Pitch) -> None:
        assert (second - first) + (third - second) == third - first

    @given(pitches(0, 8), st.integers(-9, 9))
    def test_octaves_keep_the_name(self, pitch: Pitch, count: int) -> None:
        moved = pitch + Interval.parse("P8").times(count)
        assert (moved.name, moved.octave) == (pitch.name, pitch.octave + count)
        assert moved.midi == pitch.midi + 12 * count

    @given(pitches(2, 5, most=1), pitches(2, 5, most=1))
    def test_is_written_and_read_back(self, low: Pitch, high: Pitch) -> None:
        interval = high - low
        assert Interval.parse(str(interval)) == interval

    @pytest.mark.parametrize(
        ("low", "high", "text"),
        [("C4", "F#4", "+A4"), ("C4", "Gb4", "+d5"), ("B1", "D#3", "+M10"), ("E4", "C4", "-M3")],
    )
    def test_spelling_follows_the_letters(self, low: str, high: str, text: str) -> None:
        assert str(Pitch.parse(high) - Pitch.parse(low)) == text

    @pytest.mark.parametrize(
        "text", ["", "3", "m", "P3", "M5", "m0", "AAAAA4", "P 5", "+-M2", "p5"]
    )
    def test_anything_else_is_refused_by_name(self, text: str) -> None:
        with pytest.raises(RequestError) as caught:
            Interval.parse(text)
        assert f'"{text}"' in str(caught.value)

    def test_an_impossible_quality_says_which_are_possible(self) -> None:
        with pytest.raises(RequestError, match="a 5 is P, A or d"):
            Interval.parse("M5")
        with pytest.raises(RequestError, match="a 3 is M, m, A or d"):
            Interval.parse("P3")


class TestAgainstMusic21:
    """music21 as the oracle, for every spelled pair within two octaves and a half.

    We differ from it in one family only, the descending chromatic unisons: from C4 to Cb4 music21
    calls the interval a diminished unison, we call it an augmented unison downwards, so that the
    way back has the same name.
    """

    def test_every_pair_of_spelled_pitches(self) -> None:
        from music21 import interval as m21_interval
        from music21 import pitch as m21_pitch

        ours = [
            Pitch.spelled(letter, alter, octave)
            for octave in (2, 3, 4)
            for letter in "CDEFGAB"
            for alter in (-1, 0, 1)
        ]
        ours = [p for p in ours if p.staff <= Pitch.parse("F4").staff]
        theirs = {p: m21_pitch.Pitch(f"{p.name.replace('b', '-')}{p.octave}") for p in ours}
        assert all(theirs[p].midi == p.midi for p in ours)
        differing = set()
        for low, high in itertools.product(ours, repeat=2):
            interval = m21_interval.Interval(theirs[low], theirs[high])
            if _directed(high - low) != interval.directedName:
                differing.add((low, high))
        assert differing == {
            (low, high)
            for low, high in itertools.product(ours, repeat=2)
            if low.staff == high.staff and high.midi < low.midi
        }
        assert len(ours) == 54
        assert len(differing) == 54

    def test_transposing(self) -> None:
        from music21 import interval as m21_interval
        from music21 import pitch as m21_pitch

        for letter, name in itertools.product("CDEFGAB", USUAL_NAMES):
            theirs = m21_interval.Interval(name).transposePitch(m21_pitch.Pitch(f"{letter}3"))
            ours = Pitch.parse(f"{letter}3") + Interval.parse(name)
            assert str(ours) == theirs.nameWithOctave.replace("-", "b")


def _directed(interval: Interval) -> str:
    """Our name in music21's hand: the sign between quality and number, none upwards."""
    quality = interval.name.rstrip("0123456789")
    number = interval.name[len(quality) :]
    return f"{quality}{'-' if interval.descending else ''}{number}"
