"""A melody in time: bars and their numbers, ties, keys in force, and moving it elsewhere."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given

from fretpath import Interval, Key, Melody, Meter, Note, Pitch, RequestError, parse_melody
from tests.strategies import melodies, meters, pitches

C4 = Pitch.parse("C4")
PICKUP = """\
key: G major
meter: 3/4
octave: 2

5, | 1 2 3 | - r 4:1/2 5:1/2 |
key: G natural minor
b3 2 | 1:2
"""


class TestTime:
    def test_bars_count_from_one_and_a_pickup_is_bar_nought(self) -> None:
        melody = parse_melody(PICKUP.replace("b3 2 |", "b3:2 2 |"))
        assert melody.has_pickup
        assert melody.bar_numbers == (0, 1, 1, 1, 2, 2, 2, 2, 3, 3, 4)
        assert not parse_melody("meter: 2/4\n\n1 2 | 3 4").has_pickup
        assert parse_melody("1 2 | 3 4").bar_numbers == (1, 1, 2, 2)

    def test_ties_lengthen_the_note_before(self) -> None:
        melody = parse_melody("1 2:3/2 - -:1/2 r - 3")
        assert list(melody.lengths) == [1, 3, 1]
        assert list(melody.onsets) == [0, 1, Fraction(5, 2), Fraction(7, 2), 4, 5, 6]

    @given(melodies())
    def test_sounding_and_silent_time_add_up(self, melody: Melody) -> None:
        silent = sum(note.beats for note in melody.notes if note.pitch is None)
        assert sum(melody.lengths) + silent == sum(note.beats for note in melody.notes)
        assert len(melody.lengths) == len(melody.pitches) == len(melody.struck)

    def test_a_note_is_found_by_its_bar(self) -> None:
        melody = parse_melody(PICKUP.replace("b3 2 |", "b3:2 2 |"))
        found = [melody.place_of(event) for event in melody.struck]
        assert found == [
            "pickup, note 1",
            "bar 1, note 1",
            "bar 1, note 2",
            "bar 1, note 3",
            "bar 2, note 1",
            "bar 2, note 2",
            "bar 3, note 1",
            "bar 3, note 2",
            "bar 4, note 1",
        ]
        assert parse_melody("1 r 2").place_of(2) == "note 2"


class TestKeysInForce:
    def test_degrees_count_from_the_key_of_their_phrase(self) -> None:
        melody = parse_melody("key: C\noctave: 3\n\n1 3\nkey: A minor\n1 b3\nkey: G\n1")
        assert [str(pitch) for pitch in melody.pitches] == ["C3", "E3", "A2", "C3", "G2"]
        assert [str(degree) for degree in melody.degrees] == ["1", "3", "1", "b3", "1"]
        assert [str(melody.tonic_at(event)) for event in range(5)] == ["C3", "C3", "A2", "A2", "G2"]
        assert melody.key_at(2) == Key("A", "natural minor")

    def test_without_a_key_there_are_no_degrees(self) -> None:
        melody = parse_melody("C4 E4")
        assert melody.key is None
        assert melody.tonic is None
        assert melody.degrees == (None, None)

    def test_meters_in_force(self) -> None:
        melody = parse_melody("meter: 2/4\n\n1 2 |\nmeter: 3/4\n3 4 5")
        assert [str(melody.meter_at(event)) for event in range(5)] == ["2/4"] * 2 + ["3/4"] * 3


class TestMoving:
    @given(melodies())
    def test_a_transposed_tune_keeps_its_degrees(self, melody: Melody) -> None:
        third = Interval.parse("m3")
        moved = melody.transposed(third)
        assert moved.pitches == tuple(pitch + third for pitch in melody.pitches)
        assert moved.degrees == melody.degrees
        assert moved.transposed(-third) == melody

    @given(melodies(), pitches(3, 5, most=0))
    def test_steps_from_note_to_note_stay(self, melody: Melody, tonic: Pitch) -> None:
        moved = melody.transposed(tonic - C4)
        for (a, b), (c, d) in zip(
            zip(melody.pitches, melody.pitches[1:], strict=False),
            zip(moved.pitches, moved.pitches[1:], strict=False),
            strict=True,
        ):
            assert b - a == d - c

    def test_there_is_no_key_of_three_sharps_before_a_letter(self) -> None:
        with pytest.raises(RequestError, match="at most two sharps or flats; respell it"):
            parse_melody("1 3", key="B##").transposed(Interval.parse("M3"))

    def test_in_another_octave(self) -> None:
        melody = parse_melody("1 5, 8", key="Eb").in_octave(2)
        assert [str(pitch) for pitch in melody.pitches] == ["Eb2", "Bb1", "Eb3"]
        assert not melody.octave_free


class TestMeter:
    @given(meters())
    def test_is_written_and_read_back(self, meter: Meter) -> None:
        assert Meter.parse(str(meter)) == meter

    @pytest.mark.parametrize("text", ["", "4", "0/4", "65/4", "4/3", "4/0", "4/4/4", "-3/4"])
    def test_anything_else_is_refused(self, text: str) -> None:
        with pytest.raises(RequestError, match="is no meter: write beats/unit, such as 4/4 or 6/8"):
            Meter.parse(text)


class TestImpossible:
    """What no text can say cannot be made either."""

    @pytest.mark.parametrize(
        "parts",
        [
            {"bars": (0,)},
            {"bars": (2,)},
            {"bars": (1, 1)},
            {"phrases": (2,)},
            {"keys": ((1, Key("C", "major")),)},
            {"keys": ((0, Key("C", "major")), (1, Key("D", "major")))},
            {"notes": (Note(C4, Fraction(0)), Note(C4))},
            {"notes": (Note(C4, tied=True), Note(C4))},
            {"notes": (Note(C4), Note(Pitch.parse("D4"), tied=True))},
            {"notes": (Note(None), Note(None, tied=True))},
        ],
        ids=repr,
    )
    def test_is_refused(self, parts: dict[str, Any]) -> None:
        with pytest.raises(ValueError):
            Melody(**{"notes": (Note(C4), Note(C4)), **parts})


class TestClock:
    """The tempo counts beats of the first meter, whatever meter comes later."""

    def test_an_eighth_after_quarters_is_half_a_beat(self) -> None:
        melody = parse_melody("meter: 2/4\n\n1 2 |\nmeter: 6/8\n3 4 5 6 - -")
        assert [str(n.beats) for n in melody.clock.notes] == ["1", "1", *["1/2"] * 6]
        assert melody.clock.onsets[-1] == 2 + Fraction(5, 2)
        assert melody.clock.bar_numbers == melody.bar_numbers

    def test_the_same_unit_changes_nothing(self) -> None:
        melody = parse_melody("meter: 4/4\n\n1 2 3 4 |\nmeter: 3/4\n1 2 3")
        assert melody.clock is melody
