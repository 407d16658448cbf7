"""Spelling aloud: degrees, intervals and syllables, with music21 as the second opinion."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import SCALES, Degree, Key, Pitch, RequestError, parse_melody
from fretpath.music.spelling import spell, syllable
from tests.strategies import melodies

# Movable do (common practice; i for raised, e for lowered, ra: as in Crowell, Eyes and Ears).
DO_BASED = dict(
    zip(
        "1 #1 b2 2 #2 b3 3 4 #4 b5 5 #5 b6 6 #6 b7 7".split(),
        "do di ra re ri me mi fa fi se so si le la li te ti".split(),
        strict=True,
    )
)


def told(text: str, key: str, **options: str) -> list[tuple[str, ...]]:
    return [
        (str(n.degree), str(n.from_tonic), str(n.step or ""), n.syllable, n.pitch.name)
        for n in spell(parse_melody(text, key=key), **options)
    ]


class TestSpell:
    def test_a_row_read_aloud(self) -> None:
        assert told("5, 1 b3 | 10", "Eb") == [
            ("5,", "-P4", "", "so", "Bb"),
            ("1", "P1", "+P4", "do", "Eb"),
            ("b3", "+m3", "+m3", "me", "Gb"),
            ("10", "+M10", "+A8", "mi", "G"),
        ]

    def test_phrases_bars_and_lengths(self) -> None:
        notes = spell(parse_melody("meter: 2/4\n\n1 - | 2 3 |\n5:2", key="C"))
        assert [(n.phrase, n.bar, n.beats) for n in notes] == [
            (1, 1, 2),
            (1, 2, 1),
            (1, 2, 1),
            (2, 3, 2),
        ]

    def test_without_a_key_only_the_steps_are_known(self) -> None:
        notes = spell(parse_melody("C4 E4"))
        assert [(n.degree, n.from_tonic, n.syllable) for n in notes] == [(None, None, "")] * 2
        assert str(notes[1].step) == "+M3"

    @given(melodies())
    def test_steps_lead_from_note_to_note(self, melody) -> None:  # type: ignore[no-untyped-def]
        notes = spell(melody)
        assert [n.pitch for n in notes] == list(melody.pitches)
        for before, after in pairwise(notes):
            assert after.step is not None
            assert before.pitch + after.step == after.pitch
        for note in notes:
            tonic = melody.tonic_at(note.event)
            assert (tonic is None) == (note.degree is None)
            if tonic and note.from_tonic:
                assert tonic + note.from_tonic == note.pitch


class TestAgainstMusic21:
    @pytest.mark.parametrize("mode", ["major", "natural minor", "dorian", "phrygian", "lydian"])
    def test_degrees_and_accidentals_in_every_key(self, mode: str) -> None:
        """music21's getScaleDegreeAndAccidentalFromPitch counts against the mode's own scale."""
        from music21 import pitch as m21_pitch
        from music21 import scale as m21_scale

        names = {"natural minor": "MinorScale"}
        scale_type = getattr(m21_scale, names.get(mode, f"{mode.title()}Scale"))
        for tonic in "C G D A E B F# Db Ab Eb Bb F".split():
            key = Key(tonic, mode)
            theirs = scale_type(tonic.replace("b", "-"))
            for letter in "CDEFGAB":
                for alter, sign in ((-1, "-"), (0, ""), (1, "#")):
                    note = Pitch.spelled(letter, alter, 4)
                    found = spell(parse_melody(str(note), key=key))[0].degree
                    assert found is not None
                    number, accidental = theirs.getScaleDegreeAndAccidentalFromPitch(
                        m21_pitch.Pitch(f"{letter}{sign}")
                    )
                    by_key = found.alter - key.signature_alters[found.number - 1]
                    assert (found.number, by_key) == (
                        number,
                        int(accidental.alter) if accidental else 0,
                    )

    @given(st.lists(st.sampled_from([p + o for p in "CDEFGAB" for o in "345"]), min_size=2))
    def test_steps(self, names: list[str]) -> None:
        from music21 import interval as m21_interval
        from music21 import pitch as m21_pitch

        for before, after in pairwise(spell(parse_melody(" ".join(names)))):
            theirs = m21_interval.Interval(
                m21_pitch.Pitch(str(before.pitch)), m21_pitch.Pitch(str(after.pitch))
            )
            assert after.step is not None
            assert after.step.name == theirs.name
            assert after.step.semitones == theirs.semitones


class TestSyllables:
    @pytest.mark.parametrize(("degree", "name"), DO_BASED.items())
    def test_do_based(self, degree: str, name: str) -> None:
        for key in ("C major", "C minor", "F# dorian"):
            assert syllable(Degree.parse(degree), Key.parse(key)) == name

    def test_la_based_minor_sings_the_relative_major(self) -> None:
        key = Key.parse("A minor")
        row = [syllable(Degree.parse(d), key, minor="la") for d in key.scale.names]
        assert row == "la ti do re mi fa so".split()
        assert syllable(Degree.parse("6"), key, minor="la") == "fi"
        assert syllable(Degree.parse("7"), key, minor="la") == "si"

    @pytest.mark.parametrize(
        ("mode", "first"),
        [
            ("major", "do"),
            ("dorian", "re"),
            ("phrygian", "mi"),
            ("lydian", "fa"),
            ("mixolydian", "so"),
            ("natural minor", "la"),
            ("locrian", "ti"),
        ],
    )
    def test_la_based_modes_use_the_seven_plain_syllables(self, mode: str, first: str) -> None:
        key = Key("D", mode)
        row = [syllable(Degree.parse(d), key, minor="la") for d in key.scale.names]
        assert row[0] == first
        assert set(row) == set("do re mi fa so la ti".split())

    @pytest.mark.parametrize("name", SCALES)
    def test_every_scale_can_be_sung(self, name: str) -> None:
        key = Key("C", name)
        for minor in ("do", "la"):
            row = [syllable(Degree.parse(d), key, minor=minor) for d in key.scale.names]
            assert len(set(row)) == len(row)

    def test_a_third_habit_is_refused(self) -> None:
        with pytest.raises(RequestError, match="do-based or la-based"):
            syllable(Degree.parse("1"), Key.parse("C major"), minor="fa")
