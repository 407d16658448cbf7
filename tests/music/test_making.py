"""Melodies made, cut and joined in Python, without text."""

from __future__ import annotations

from fractions import Fraction
from functools import reduce
from operator import add
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Key, Melody, Note, Pitch, RequestError, arrange, parse_melody
from tests.strategies import melodies

LENGTHS = st.fractions(Fraction(1, 4), 9, max_denominator=4)
PAIRS = st.lists(st.tuples(st.one_of(st.none(), st.integers(40, 60)), LENGTHS), min_size=1)


class TestFromNotes:
    @given(PAIRS, st.integers(1, 7), st.integers(0, 6))
    def test_bars_hold_what_the_meter_asks(self, pairs: Any, beats: int, pickup: int) -> None:
        first = pickup % beats
        melody = Melody.from_notes(pairs, "D major", f"{beats}/4", pickup=first)
        bars = [sum(melody.notes[i].beats for i in span) for span in melody.spans(melody.bars)]
        if first and len(bars) > 1:
            assert bars.pop(0) == first
        assert all(bar == beats for bar in bars[:-1])
        assert 0 < bars[-1] <= beats

    @given(PAIRS, st.integers(1, 7))
    def test_what_sounds_is_what_was_given(self, pairs: Any, beats: int) -> None:
        melody = Melody.from_notes(pairs, "D major", f"{beats}/4")
        sounding = [(midi, length) for midi, length in pairs if midi is not None]
        assert [
            (p.midi, n) for p, n in zip(melody.pitches, melody.lengths, strict=True)
        ] == sounding
        assert sum(note.beats for note in melody) == sum(length for _, length in pairs)

    def test_every_way_to_name_a_note(self) -> None:
        given_ = ["F#2", 42, np.int64(42), (Pitch.parse("F#2"), 1.0), [42, "1"], Note("F#2")]  # type: ignore[arg-type]
        melody = Melody.from_notes(given_, "D major")  # type: ignore[arg-type]
        assert {*melody} == {Note(Pitch.parse("F#2"))}
        assert melody.key == Key.parse("D")

    def test_it_is_what_the_text_says(self) -> None:
        made = Melody.from_notes([("G3", 1), ("B3", 2), (None, 1), ("D4", 2)], "G", "4/4")
        assert made == parse_melody("key: G\nmeter: 4/4\n\nG3 B3:2 r | D4:2")

    @pytest.mark.parametrize(
        ("notes", "more"),
        [
            (["H2"], {}),
            ([("C4", 0)], {}),
            ([("C4", "long")], {}),
            ([(60.5, 1)], {}),
            (["C4"], {"meter": "4"}),
            (["C4"], {"key": "H"}),
            (["C4"], {"pickup": 1}),
            (["C4"], {"pickup": 4, "meter": "4/4"}),
        ],
    )
    def test_is_refused(self, notes: Any, more: Any) -> None:
        with pytest.raises(RequestError):
            Melody.from_notes(notes, **more)

    def test_can_be_fingered(self) -> None:
        assert arrange(Melody.from_notes(["B1", "F#2", "B2"], "B"), "bass").frets == (2, 4, 4)


def test_a_key_spells_a_midi_number() -> None:
    assert str(Pitch.from_midi(61, Key.parse("D"))) == "C#4"
    assert str(Pitch.from_midi(61, Key.parse("Ab"))) == "Db4"


@given(melodies())
def test_another_key_keeps_the_sounds(melody: Melody) -> None:
    moved = melody.with_key("E major", respell=True)
    assert [p.midi for p in moved.pitches] == [p.midi for p in melody.pitches]
    assert moved.with_key("E major") == moved


class TestParts:
    TUNE = parse_melody("key: G\nmeter: 3/4\n\n5, | 1 2 3 |\n4 5 6 | 7 8 5 | 1 -")

    def test_iteration_and_slices(self) -> None:
        assert [*self.TUNE] == [*self.TUNE.notes]
        assert self.TUNE[0] == self.TUNE.notes[0]
        assert self.TUNE[:] == self.TUNE
        assert self.TUNE[1:4].pitches == self.TUNE.pitches[1:4]

    def test_bars_and_phrases_count_from_0(self) -> None:
        assert self.TUNE.take_bars(1, 2).pitches == self.TUNE.pitches[1:4]
        assert self.TUNE.take_phrases(1).pitches == self.TUNE.pitches[4:]

    @pytest.mark.parametrize("taken", [(5,), (-1,), (2, 2), (3, 1), (1, -1)])
    def test_bars_that_are_not_there(self, taken: tuple[int, ...]) -> None:
        with pytest.raises(RequestError, match="there are 5 bars here"):
            self.TUNE.take_bars(*taken)

    @pytest.mark.parametrize("events", [slice(3, 3), slice(None, None, 2), slice(99, None)])
    def test_no_part_of_a_melody(self, events: slice) -> None:
        with pytest.raises(RequestError, match="one or more events"):
            _ = self.TUNE[events]


class TestJoining:
    def test_a_short_bar_and_a_pickup_are_one_bar(self) -> None:
        first = parse_melody("key: G\nmeter: 3/4\n\n1 2 3 | 1:2")
        second = parse_melody("key: G\nmeter: 3/4\n\n5 | 1 2 3")
        joined = first + second
        assert joined.bars == (3, 5)
        assert joined.phrases == (4,)
        assert joined.bar_numbers == (1, 1, 1, 2, 2, 3, 3, 3)

    def test_another_key_begins_with_the_second(self) -> None:
        joined = parse_melody("key: G\n\n1 2 3") + parse_melody("key: D\n\n1 2 3")
        assert [str(key) for _, key in joined.keys] == ["G major", "D major"]

    @given(melodies())
    def test_phrases_put_together_are_the_melody(self, melody: Melody) -> None:
        count = len(melody.phrases) + 1
        joined = reduce(add, [melody.take_phrases(i, i + 1) for i in range(count)])
        tied = any(melody.notes[at].tied for at in melody.phrases)
        if melody.repeats or tied:
            return
        assert [n.pitch for n in joined] == [n.pitch for n in melody]
        assert joined.phrases == melody.phrases
        events = range(len(melody))
        assert [*map(joined.key_at, events)] == [*map(melody.key_at, events)]
        assert joined.lyrics == melody.lyrics

    @given(melodies(), melodies())
    def test_nothing_is_lost(self, first: Melody, second: Melody) -> None:
        if (second.keys and not first.keys) or (second.meters and not first.meters):
            with pytest.raises(RequestError, match="the first melody has no"):
                _ = first + second
            return
        joined = first + second
        assert joined.notes == first.notes + second.notes
        assert joined.onsets[len(first) :] == tuple(
            sum((n.beats for n in first), Fraction(0)) + onset for onset in second.onsets
        )

    def test_only_melodies_are_joined(self) -> None:
        with pytest.raises(TypeError):
            _ = TestParts.TUNE + "1 2 3"  # type: ignore[operator]
