"""Call and answer: every call is followed by a silence of its own length, bar for bar."""

from __future__ import annotations

from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import RequestError, parse_melody
from fretpath.music.calls import with_answers
from tests.page.melodies import barred_melodies


@given(barred_melodies(most_bars=6), st.none() | st.integers(1, 4))
@settings(max_examples=60, deadline=None)
def test_notes_stay_and_half_of_the_time_is_silence(melody, bars) -> None:
    bars = bars if melody.bars else None
    played, called = melody.expanded(), with_answers(melody, bars)
    runs = [[pitch for pitch, _ in groupby(one.pitches)] for one in (played, called)]
    assert runs[1] == runs[0]  # a note held over the end of a call is struck again
    beats = [sum(note.beats for note in one.notes) for one in (played, called)]
    assert beats[1] == 2 * beats[0]


def test_calls_of_two_bars() -> None:
    melody = parse_melody("meter: 2/4\n\n1 2 | 3 4 | 5 6 | 7 8 | 5 5")
    rests = [at for at, note in enumerate(with_answers(melody, 2).notes) if note.pitch is None]
    assert rests == [4, 5, 10, 11, 14]


def test_a_pickup_belongs_to_its_bar() -> None:
    melody = parse_melody("meter: 2/4\n\n5 | 1 2 | 3 4 | 1")
    called = with_answers(melody, 1)
    sounding = [str(d) for d in called.degrees]
    assert sounding == ["5", "1", "2", "3", "4", "1"]
    assert [note.beats for note in called.notes][:5] == [1, 1, 1, 1, 2]


@pytest.mark.parametrize("bars", [0, -1])
def test_no_call_without_a_bar(bars: int) -> None:
    with pytest.raises(RequestError, match="one bar or more"):
        with_answers(parse_melody("1 2 | 3 4"), bars)
