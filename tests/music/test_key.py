"""Keys, scales and degrees: how the trade names them, and that they turn into pitches and back."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    SCALES,
    Degree,
    Interval,
    Key,
    Melody,
    Note,
    Pitch,
    RequestError,
    Scale,
    parse_melody,
)
from tests.strategies import degrees, keys, pitches

# Degrees against the major scale of the same tonic, and semitones: common practice, as in any
# theory text (for example Open Music Theory).
FORMULAS = [
    ("major", "1 2 3 4 5 6 7", "0 2 4 5 7 9 11"),
    ("dorian", "1 2 b3 4 5 6 b7", "0 2 3 5 7 9 10"),
    ("phrygian", "1 b2 b3 4 5 b6 b7", "0 1 3 5 7 8 10"),
    ("lydian", "1 2 3 #4 5 6 7", "0 2 4 6 7 9 11"),
    ("mixolydian", "1 2 3 4 5 6 b7", "0 2 4 5 7 9 10"),
    ("natural minor", "1 2 b3 4 5 b6 b7", "0 2 3 5 7 8 10"),
    ("locrian", "1 b2 b3 4 b5 b6 b7", "0 1 3 5 6 8 10"),
    ("harmonic minor", "1 2 b3 4 5 b6 7", "0 2 3 5 7 8 11"),
    ("melodic minor", "1 2 b3 4 5 6 7", "0 2 3 5 7 9 11"),
    ("harmonic major", "1 2 3 4 5 b6 7", "0 2 4 5 7 8 11"),
    ("major pentatonic", "1 2 3 5 6", "0 2 4 7 9"),
    ("minor pentatonic", "1 b3 4 5 b7", "0 3 5 7 10"),
    ("blues", "1 b3 4 b5 5 b7", "0 3 5 6 7 10"),
    ("major blues", "1 2 b3 3 5 6", "0 2 3 4 7 9"),
    ("phrygian dominant", "1 b2 3 4 5 b6 b7", "0 1 4 5 7 8 10"),
    ("double harmonic", "1 b2 3 4 5 b6 7", "0 1 4 5 7 8 11"),
    ("hungarian minor", "1 2 b3 #4 5 b6 7", "0 2 3 6 7 8 11"),
    ("whole tone", "1 2 3 #4 #5 b7", "0 2 4 6 8 10"),
    ("octatonic", "1 b2 b3 3 #4 5 6 b7", "0 1 3 4 6 7 9 10"),
]

# Sharps (positive) or flats (negative) of the signatures in use: common practice.
MAJOR_SIGNATURES = dict(
    zip("Cb Gb Db Ab Eb Bb F C G D A E B F# C#".split(), range(-7, 8), strict=True)
)
MINOR_SIGNATURES = dict(
    zip("Ab Eb Bb F C G D A E B F# C# G# D# A#".split(), range(-7, 8), strict=True)
)
BRIGHTEST_FIRST = "lydian major mixolydian dorian natural_minor phrygian locrian".split()
MUSIC21_MODES = {"natural minor": "aeolian", "major": "ionian"}
MUSIC21_SCALES = {"natural minor": "MinorScale"}

# What each size above the tonic is called as a degree (common practice).
DEGREE_NAMES = "1 b2 2 b3 3 4 #4 5 b6 6 b7 7 8 b9 9 b10 10 11 #11 12 b13 13 b14 14 15".split()


class TestScales:
    @pytest.mark.parametrize(("name", "formula", "semitones"), FORMULAS)
    def test_formula(self, name: str, formula: str, semitones: str) -> None:
        assert SCALES[name].names == tuple(formula.split())
        assert SCALES[name].semitones == tuple(int(number) for number in semitones.split())

    def test_the_table_holds_every_scale(self) -> None:
        assert {name for name, _, _ in FORMULAS} == set(SCALES)

    def test_each_mode_is_its_brighter_neighbor_with_one_note_lowered(self) -> None:
        modes = [SCALES[name.replace("_", " ")].names for name in BRIGHTEST_FIRST]
        lowered = []
        for bright, dark in itertools.pairwise(modes):
            changes = [(a, b) for a, b in zip(bright, dark, strict=True) if a != b]
            assert len(changes) == 1
            [(before, after)] = changes
            assert Degree.parse(before).interval.semitones - 1 == (
                Degree.parse(after).interval.semitones
            )
            lowered.append(after)
        assert lowered == ["4", "b7", "b3", "b6", "b2", "b5"]

    @pytest.mark.parametrize(
        ("alias", "name"),
        [
            ("Ionian", "major"),
            ("maj", "major"),
            ("minor", "natural minor"),
            ("AEOLIAN", "natural minor"),
            ("  Harmonic   Minor ", "harmonic minor"),
            ("pentatonic", "major pentatonic"),
            ("minor blues", "blues"),
            ("half-whole", "octatonic"),
        ],
    )
    def test_other_names(self, alias: str, name: str) -> None:
        assert Scale.parse(alias).name == name

    def test_an_unknown_name_offers_the_nearest(self) -> None:
        with pytest.raises(RequestError, match='"myxolydian"; did you mean "mixolydian"'):
            Scale.parse("myxolydian")


class TestSignatures:
    @pytest.mark.parametrize(("tonic", "fifths"), MAJOR_SIGNATURES.items())
    def test_major(self, tonic: str, fifths: int) -> None:
        assert Key(tonic, "major").signature == fifths

    @pytest.mark.parametrize(("tonic", "fifths"), MINOR_SIGNATURES.items())
    @pytest.mark.parametrize("mode", ["natural minor", "harmonic minor", "melodic minor"])
    def test_minor(self, tonic: str, fifths: int, mode: str) -> None:
        assert Key(tonic, mode).signature == fifths

    @pytest.mark.parametrize("tonic", MAJOR_SIGNATURES)
    def test_a_darker_mode_has_one_sharp_less_or_one_flat_more(self, tonic: str) -> None:
        found = [Key(tonic, name.replace("_", " ")).signature for name in BRIGHTEST_FIRST]
        assert found == list(range(found[0], found[0] - 7, -1))

    @given(st.integers(-7, 7), st.sampled_from(list(SCALES)))
    def test_a_key_from_its_signature(self, signature: int, mode: str) -> None:
        key = Key.of_signature(signature, mode)
        assert (key.signature, key.mode) == (signature, mode)

    @given(keys())
    def test_the_signature_holds_the_notes_of_its_mode(self, key: Key) -> None:
        parent = Key(key.tonic, key.scale.parent)
        alters = {p.letter: p.alter for p in scale_pitches(parent)}
        assert sum(alters.values()) == key.signature


class TestAgainstMusic21:
    @pytest.mark.parametrize("mode", [name.replace("_", " ") for name in BRIGHTEST_FIRST])
    def test_signature_and_notes(self, mode: str) -> None:
        from music21 import key as m21_key
        from music21 import scale as m21_scale

        their_mode = MUSIC21_MODES.get(mode, mode)
        their_scale = getattr(m21_scale, MUSIC21_SCALES.get(mode, f"{mode.title()}Scale"))
        for tonic in (letter + mark for letter in "CDEFGAB" for mark in ("#", "", "b")):
            key, their_tonic = Key(tonic, mode), tonic.replace("b", "-")
            assert key.signature == m21_key.Key(their_tonic, their_mode).sharps
            names = [p.name.replace("-", "b") for p in their_scale(their_tonic).getPitches()]
            assert [p.name for p in scale_pitches(key)] == names[:7]

    @pytest.mark.parametrize("tonic", MINOR_SIGNATURES)
    def test_harmonic_minor(self, tonic: str) -> None:
        from music21 import scale as m21_scale

        theirs = m21_scale.HarmonicMinorScale(tonic.replace("b", "-")).getPitches()
        names = [p.name.replace("-", "b") for p in theirs]
        assert [p.name for p in scale_pitches(Key(tonic, "harmonic minor"))] == names[:7]


class TestDegree:
    @pytest.mark.parametrize(("semitones", "name"), list(enumerate(DEGREE_NAMES)))
    def test_names_up_to_two_octaves(self, semitones: int, name: str) -> None:
        degree = Degree.parse(name)
        assert degree.interval.semitones == semitones
        assert str(degree) == name

    @given(degrees(most=3))
    def test_is_written_and_read_back(self, degree: Degree) -> None:
        assert Degree.parse(str(degree)) == degree
        assert Degree.parse(degree.simple) == degree

    @given(keys(most=2), degrees(), st.integers(0, 6))
    def test_and_pitch_turn_into_each_other_in_every_key(
        self, key: Key, degree: Degree, octave: int
    ) -> None:
        tonic = key.tonic_pitch(octave)
        assert Degree.of_interval(tonic + degree.interval - tonic) == degree

    @given(keys(most=2), pitches())
    def test_every_pitch_has_a_degree(self, key: Key, pitch: Pitch) -> None:
        tonic = key.tonic_pitch(3)
        assert tonic + Degree.of_interval(pitch - tonic).interval == pitch

    @given(keys())
    def test_a_key_holds_the_degrees_of_its_scale_and_no_others(self, key: Key) -> None:
        tonic = key.tonic_pitch(3)
        sounds = {(tonic + d.interval).midi % 12 for d in key.scale.degrees}
        for octave in ("", "'", ","):
            assert all(key.holds(Degree.parse(d + octave)) for d in key.scale.names)
        for number, alter in itertools.product(range(7), (-1, 0, 1)):
            degree = Degree(number, alter)
            held = degree.plain in key.scale.names
            assert key.holds(degree) is held
            assert not held or (tonic + degree.interval).midi % 12 in sounds

    @pytest.mark.parametrize(
        ("one", "other"), [("8", "1'"), ("9", "2'"), ("b10", "b3'"), ("15", "1''"), ("8,", "1")]
    )
    def test_two_ways_to_write_one_note(self, one: str, other: str) -> None:
        assert Degree.parse(one) == Degree.parse(other)

    @pytest.mark.parametrize(
        ("text", "simple", "plain"),
        [("9", "2'", "2"), ("b10", "b3'", "b3"), ("5,", "5,", "5"), ("#11", "#4'", "#4")],
    )
    def test_simple_and_plain(self, text: str, simple: str, plain: str) -> None:
        degree = Degree.parse(text)
        assert (degree.simple, degree.plain) == (simple, plain)

    def test_the_letter_decides(self) -> None:
        tonic = Pitch.parse("C3")
        assert str(Degree.of_interval(Pitch.parse("F#3") - tonic)) == "#4"
        assert str(Degree.of_interval(Pitch.parse("Gb3") - tonic)) == "b5"

    @pytest.mark.parametrize("text", ["", "0", "b0", "3b", "b", "#b3", "1,'", "100", "1.5", "x1"])
    def test_anything_else_is_refused_by_name(self, text: str) -> None:
        with pytest.raises(RequestError) as caught:
            Degree.parse(text)
        assert f'"{text}" is not a degree: degrees count from 1' in str(caught.value)

    @given(keys(), degrees(0, 13, most=0))
    def test_counted_against_the_key_the_plain_numbers_are_the_scale(
        self, key: Key, degree: Degree
    ) -> None:
        against_key = parse_melody(f"key: {key}\ndegrees: key\n\n{degree}")
        [found] = [d for d in against_key.degrees if d]
        assert found.alter == key.signature_alters[degree.number - 1]
        parent = SCALES[key.scale.parent]
        assert found.plain in parent.names


class TestSpelling:
    @given(keys(), st.integers(0, 127))
    def test_a_sound_of_the_scale_is_spelled_by_it(self, key: Key, midi: int) -> None:
        pitch = key.spell(midi)
        assert pitch.midi == midi
        degree = Degree.of_interval(pitch - key.tonic_pitch(0)).base
        if (midi - key.tonic_pitch(0).midi) % 12 in key.scale.semitones:
            assert key.holds(degree)
        else:
            assert degree.plain in DEGREE_NAMES[:12]


class TestKeyNames:
    @pytest.mark.parametrize(
        ("text", "tonic", "mode"),
        [
            ("C", "C", "major"),
            ("Bb", "Bb", "major"),
            ("B major", "B", "major"),
            ("F#m", "F#", "natural minor"),
            ("f#m", "F#", "natural minor"),
            ("C natural minor", "C", "natural minor"),
            ("c minor", "C", "natural minor"),
            ("D dorian", "D", "dorian"),
            ("E  Phrygian Dominant", "E", "phrygian dominant"),
            (" Abb lydian ", "Abb", "lydian"),
        ],
    )
    def test_reading(self, text: str, tonic: str, mode: str) -> None:
        assert Key.parse(text) == Key(tonic, mode)

    @given(keys(most=2))
    def test_is_written_and_read_back(self, key: Key) -> None:
        assert Key.parse(str(key)) == key

    @pytest.mark.parametrize(
        ("text", "message"),
        [
            ("H", 'unknown key "H": write the tonic and the mode'),
            ("", 'unknown key "": write the tonic and the mode'),
            ("C#b", 'unknown key "C#b"'),
            ("Cmajor", 'unknown key "Cmajor"'),
            ("c", 'key "c" can be read two ways: "C major" or "Cm"'),
            ("eb", 'key "eb" can be read two ways: "Eb major" or "Ebm"'),
            ("Cm dorian", 'write either "m" or the mode\'s name'),
            ("C dorain", 'unknown mode or scale "dorain"; did you mean "dorian"'),
            ("C happy", 'unknown mode or scale "happy" (known: lydian, major'),
        ],
    )
    def test_refusals(self, text: str, message: str) -> None:
        with pytest.raises(RequestError) as caught:
            Key.parse(text)
        assert message in str(caught.value)

    @pytest.mark.parametrize(("tonic", "mode"), [("H", "major"), ("C###", "major"), ("C", "happy")])
    def test_an_impossible_key_cannot_be_made(self, tonic: str, mode: str) -> None:
        with pytest.raises(RequestError, match="no such key"):
            Key(tonic, mode)


class TestTonic:
    @given(keys(), pitches(1, 7))
    def test_nearest_tonic(self, key: Key, pitch: Pitch) -> None:
        near = key.tonic_near(pitch)
        assert near.name == key.tonic
        assert -6 < near.midi - pitch.midi <= 6

    @given(keys(), st.lists(pitches(1, 7), min_size=1))
    def test_degrees_count_from_the_lowest_tonic_or_where_most_are_plain(
        self, key: Key, notes: list[Pitch]
    ) -> None:
        low = key.tonic_pitch(key.octave_of(notes))
        tonics = [pitch for pitch in notes if pitch.name == key.tonic]
        steps = [pitch.staff - low.staff for pitch in notes]
        if tonics:
            assert low <= min(tonics)
            assert min(steps) >= -7
            assert low == min(tonics) or min(steps) < 0
        else:
            plain = [sum(0 <= s - 7 * up < 7 for s in steps) for up in range(-9, 10)]
            assert sum(0 <= s < 7 for s in steps) == max(plain)

    @pytest.mark.parametrize(
        ("letters", "key", "degrees"),
        [
            ("D5 D5 Db5 D5 A4 B4", "C", "2 2 b2 2 6, 7,"),
            ("G4 A4 B4", "C", "5 6 7"),
            ("G2 A2 B2 C4", "C", "5, 6, 7, 8"),
            ("G3 C4 E4 C4", "C", "5, 1 3 1"),
        ],
    )
    def test_rows_of_degrees(self, letters: str, key: str, degrees: str) -> None:
        notes = [Pitch.parse(letter) for letter in letters.split()]
        tonic = Key.parse(key).tonic_pitch(Key.parse(key).octave_of(notes))
        assert " ".join(str(Degree.of_interval(note - tonic)) for note in notes) == degrees


@pytest.mark.parametrize(
    ("letters", "degrees"), [("C2 D2 E2", "1 2 3"), ("G5 C6 E6", "5, 1 3"), ("F4 A4", "4 6")]
)
def test_the_octave_of_a_melody_made_without_text_follows_its_notes(
    letters: str, degrees: str
) -> None:
    notes = tuple(Note(Pitch.parse(letter)) for letter in letters.split())
    melody = Melody(notes, keys=((0, Key.parse("C")),))
    assert " ".join(map(str, melody.degrees)) == degrees


def scale_pitches(key: Key) -> list[Pitch]:
    """One octave of the scale of a key, upwards."""
    tonic = key.tonic_pitch(3)
    steps: list[Interval] = [degree.interval for degree in key.scale.degrees]
    return [tonic + step for step in steps]
