"""A melody in time: bars and their numbers, ties, keys in force, and moving it elsewhere."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    Interval,
    Key,
    Melody,
    Meter,
    Note,
    Pitch,
    RequestError,
    format_melody,
    parse_melody,
)
from fretpath.music.melody import Repeat
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
        with pytest.raises(
            RequestError, match="is not a meter: write beats/unit, such as 4/4 or 6/8"
        ):
            Meter.parse(text)


class TestImpossible:
    """What no text can say cannot be made either."""

    @pytest.mark.parametrize(
        "parts",
        [
            {"repeats": (Repeat(0, 1),)},
            {"bars": (1,), "repeats": (Repeat(0, 2), Repeat(1, 2))},
            {"lyrics": ((2, "so"),)},
            {"lyrics": ((0, "so"), (0, "far"))},
            {"lyrics": ((0, "_"),)},
            {"lyrics": ((0, "a\nb"),)},
            {"notes": (Note(None), Note(C4)), "lyrics": ((0, "so"),)},
            {"chords": ((1, "G"), (0, "C"))},
            {"chords": ((0, ""),)},
            {"title": "two\nlines"},
            {"headers": (("source", "two\nlines"),)},
            {"tempo": Fraction(0)},
            {"bars": (0,)},
            {"bars": (2,)},
            {"bars": (1, 1)},
            {"phrases": (2,)},
            {"keys": ((1, Key("C", "major")),)},
            {"keys": ((0, Key("C", "major")), (1, Key("D", "major")))},
            {"notes": (Note(C4, tied=True), Note(C4))},
            {"notes": (Note(C4), Note(Pitch.parse("D4"), tied=True))},
        ],
        ids=repr,
    )
    def test_is_refused(self, parts: dict[str, Any]) -> None:
        with pytest.raises(RequestError):
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


class TestRepeats:
    """A repeat is written once; expanded, the melody is as it is played."""

    @pytest.mark.parametrize(
        ("written", "plain"),
        [
            ("|: 1 2 | 3 :| 4", "1 2 | 3 |\n1 2 | 3 | 4"),
            ("1 | 2 :|x3 | 3", "1 | 2 |\n1 | 2 |\n1 | 2 | 3"),
            ("1 |: 2 | [1 3 :| [2 4 ] 5", "1 | 2 | 3 | 2 | 4 | 5"),
            ("1\n|: 2 :|\n3", "1 |\n2 |\n2 |\n3"),
            (
                "meter: 4/4\n\n|: 5, | 1 2 3 4 | 5 4 3 :| |: 2 | 1 2 3 5 | 1:3 :|",
                "meter: 4/4\n\n5, | 1 2 3 4 | 5 4 3\n5, | 1 2 3 4 | 5 4 3 2 | 1 2 3 5 | "
                "1:3 2 | 1 2 3 5 | 1:3",
            ),
            (
                "key: C\n\n|: 1 |\nkey: D\n2 :|\n3",
                "key: C\n\n1 |\nkey: D\n2 |\nkey: C\n1 |\nkey: D\n2 |\n3",
            ),
            (
                "|: 1 2 :|\nchords: G D7\nwords: so far",
                "1 2 |\nchords: G D7\nwords: so far\n1 2\nchords: G D7\nwords: so far",
            ),
            ("1 - |: - 2 :|", "1 - | - 2 | 1 2"),
        ],
    )
    def test_written_out(self, written: str, plain: str) -> None:
        expanded = parse_melody(written.replace("|x3 |", "|x3")).expanded()
        expected = parse_melody(plain)
        assert format_melody(expanded) == format_melody(expected)

    @given(melodies())
    def test_all_parts_sound_in_their_order(self, melody: Melody) -> None:
        expanded = melody.expanded()
        if not melody.meters:
            assert parse_melody(format_melody(expanded)) == expanded
        assert expanded.repeats == ()
        order = []
        done = 0
        for repeat in melody.repeats:
            order += range(done, repeat.start)
            inner = repeat.endings or (repeat.stop,) * repeat.times
            for first, last in zip(inner, (*inner[1:], repeat.stop), strict=True):
                order += [*range(repeat.start, inner[0]), *range(first, last)]
            done = repeat.stop
        order += range(done, len(melody.notes))
        assert len(order) == len(expanded.notes)
        for at, event in enumerate(order):
            new, old = expanded.notes[at], melody.notes[event]
            assert (new.pitch, new.beats) == (old.pitch, old.beats)
            assert expanded.key_at(at) == melody.key_at(event)
            assert expanded.meter_at(at) == melody.meter_at(event)
            assert dict(expanded.chords).get(at) == dict(melody.chords).get(event)
            assert dict(expanded.lyrics).get(at) == dict(melody.lyrics).get(event)

    def test_a_second_ending_follows_the_notes_before_the_first(self) -> None:
        melody = parse_melody("|: 1 2 | r 3 | [1 6 :| [2 3, 1, ] 5", key="G")
        assert melody.played == (0, 1, 2, 3, 0, 1, 2, 4, 5, 6)
        assert melody.before == (None, 0, 1, 2, 2, 4, 5)
        assert melody.moves[-5:] == ((2, 3), (3, 0), (2, 4), (4, 5), (5, 6))

    @pytest.mark.parametrize(
        "text", ["r r", "r | 1 |: 2 :| 3", "|: r | [1 1 :| [2 2 ] 3", "1:2 | - 2 |: 3 :|x3"]
    )
    def test_the_notes_before_are_those_of_the_melody_written_out(self, text: str) -> None:
        melody = parse_melody(text, key="G")
        written = melody.expanded()
        assert [melody.pitches[note] for note in melody.played] == [*written.pitches]
        assert [*melody.before] == [
            melody.played[at - 1] if at else None
            for at in (melody.played.index(note) for note in range(len(melody.pitches)))
        ]

    def test_a_repeat_sign_inside_a_bar_counts_one_bar(self) -> None:
        melody = parse_melody("meter: 4/4\n\n5, | 1 2 3 4 | 5 4 3 :| |: 2 | 1 2 3 5 | 1:3 :|")
        assert melody.bar_numbers == (0, 1, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3, 3, 4)

    @pytest.mark.parametrize(
        "parts",
        [
            {"start": 1, "stop": 1},
            {"start": -1, "stop": 1},
            {"start": 0, "stop": 2, "times": 1},
            {"start": 0, "stop": 2, "times": 100},
            {"start": 0, "stop": 3, "endings": (1,)},
            {"start": 0, "stop": 3, "endings": (0, 1)},
            {"start": 0, "stop": 3, "endings": (1, 3)},
        ],
        ids=repr,
    )
    def test_impossible_ones_are_refused(self, parts: dict[str, Any]) -> None:
        with pytest.raises(RequestError):
            Repeat(**parts)


class TestMarks:
    """Repeats, words and chord names go where the notes go."""

    @given(melodies(), st.data())
    def test_a_part_keeps_what_lies_inside(self, melody: Melody, data: st.DataObject) -> None:
        start = data.draw(st.integers(0, len(melody.notes) - 1))
        stop = data.draw(st.integers(start + 1, len(melody.notes)))
        part = melody.part(range(start, stop))
        assert part.pitches == tuple(
            note.pitch
            for at, note in enumerate(melody.notes[start:stop])
            if note.pitch and (note.struck or at == 0)
        )
        assert part.chords == tuple(
            (at - start, name) for at, name in melody.chords if start <= at < stop
        )
        assert [word for _, word in part.lyrics] == [
            word for at, word in melody.lyrics if start <= at < stop
        ]
        whole = [r for r in melody.repeats if start <= r.start and r.stop <= stop]
        assert [(r.start + start, r.stop + start, r.times) for r in part.repeats] == [
            (r.start, r.stop, r.times) for r in whole
        ]

    def test_chords_move_with_the_tune(self) -> None:
        melody = parse_melody("key: G\n\n1 5 4 1\nchords: G D7/F# C#m7b5 N.C.")
        moved = melody.transposed(Interval.parse("m3"))
        assert [name for _, name in moved.chords] == ["Bb", "F7/A", "Em7b5", "N.C."]
