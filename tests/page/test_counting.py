"""The count under the beat."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings

from fretpath import parse_melody
from fretpath.page.aloud import count_marks, in_columns, join_marks
from tests.page.melodies import barred_melodies


@pytest.mark.parametrize(
    ("text", "counts"),
    [
        # Common practice of the trade, from memory: 1 & 2 &, 1 e & a, trip-let.
        ("meter: 4/4\n\n1 2 3 4", "1|2|3|4"),
        ("meter: 4/4\n\n(1 2 3 4):1/2 5:2", "1|&|2|&|3 (4)"),
        ("meter: 4/4\n\n(1 2 3 4):1/4 5:3", "1|e|&|a|2 (3 4)"),
        ("meter: 4/4\n\n(1 2 3):1/3 5:3", "1|t|l|2 (3 4)"),
        ("meter: 4/4\n\n1:3/2 2:1/2 r:2", "1 (2)|&|[3 4]"),
        ("meter: 4/4\n\n1:1/2 2 3:1/2 4:2", "1|& (2)|&|3 (4)"),
        ("meter: 4/4\n\n1:4 | - 2:3", "1 (2 3 4)|(1)|2 (3 4)"),
        # A pickup is the end of a bar, so that the first full bar begins on 1.
        ("meter: 4/4\n\n(5 4):1/2 | 3:4", "4|&|1 (2 3 4)"),
        ("meter: 3/4\n\n5 | 1 2 3 | 1:2", "3|1|2|3|1 (2)"),
        ("meter: 6/8\n\n1 2 3 4 5 6", "1|2|3|4|5|6"),
        # With a meter and no bar lines the count still comes round.
        ("meter: 2/4\n\n1 2 3 4 5:2", "1|2|1|2|1 (2)"),
        # Without a meter it begins anew in each bar.
        ("1 2:2 | 3 4", "1|2 (3)|1|2"),
        # A long note is counted out up to eight beats more or twenty characters.
        ("1:9", "1 (2 3 4 5 6 7 8 9)"),
        ("1:10", "1 (2 .. 10)"),
        ("1:8 2:8", "1 (2 3 4 5 6 7 8)|9 (10 11 12 13 14 15 16)"),
        ("1:8 2:9", "1 (2 3 4 5 6 7 8)|9 (10 .. 17)"),
    ],
)
def test_counts_as_they_are_said(text: str, counts: str) -> None:
    melody = parse_melody(text)
    said = "|".join(join_marks(count_marks(melody, event)) for event in range(len(melody)))
    assert said == counts


@given(barred_melodies())
@settings(max_examples=60, deadline=None)
def test_every_beat_of_every_bar_is_counted_once(melody) -> None:
    for bar in melody.spans(melody.bars):
        said = " ".join(join_marks(count_marks(melody, event)) for event in bar)
        assert [int(n) for n in re.findall(r"\d+", said)] == list(range(1, melody.meter.beats + 1))


def test_in_columns_puts_each_count_where_its_time_is() -> None:
    marks = count_marks(parse_melody("meter: 4/4\n\n1:3/2 2:5/2"), 1)
    assert in_columns(marks, 8, 40) == "&   (3      4)"
    assert in_columns(marks, 8, 14) == "&   (3      4)"
    assert in_columns(marks, 8, 13) == "& (3 4)"


def test_rhythm_needs_a_meter_or_lengths() -> None:
    assert not parse_melody("1 5 8 9 10").has_rhythm
    assert parse_melody("1 5:2").has_rhythm
    assert parse_melody("1 5 -").has_rhythm
    assert parse_melody("meter: 4/4\n\n1 5").has_rhythm
