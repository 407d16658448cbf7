"""The tab in sentences."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings

from fretpath import Interval, arrange, parse_melody
from fretpath.page.aloud import interval_words
from fretpath.page.rows import Blanks, Subject, notes_data, render_spoken
from tests.page.melodies import barred_melodies


def test_a_line_a_note() -> None:
    spoken = render_spoken(arrange(parse_melody("1 5 8 9 10", key="Bb"), "bass"))
    lines = spoken.splitlines()
    assert lines[0] == "key B flat major"
    assert len(lines) == 6
    assert lines[1].startswith("position 5, string ")
    assert lines[2].startswith("string ")
    assert lines[2].endswith("degree 5, up a fifth")


def test_beats_bars_rests_and_lengths() -> None:
    text = "title: Tune\nmeter: 4/4\n\n(5 4):1/2 | 3:3/2 b3:1/2 r:2 | 1:4"
    lines = render_spoken(arrange(parse_melody(text, key="C"), "bass")).splitlines()
    starts = [line.split(",")[0] for line in lines]
    assert starts == [
        "Tune", "key C major", "pickup", "beat 4", "beat 4 and", "bar 1", "beat 1", "beat 2 and",
        "beat 3", "bar 2", "beat 1",
    ]  # fmt: skip
    assert "half a beat" in lines[3]
    assert "degree flat 3, down an augmented unison, half a beat" in lines[7]
    assert lines[8] == "beat 3, rest, 2 beats"


def test_strings_of_one_name_are_told_apart() -> None:
    lines = render_spoken(arrange(parse_melody("E4@1 E2@6"), "guitar")).splitlines()
    assert lines[0].startswith("position 4, string high E, open")
    assert lines[1].startswith("string E, open")


@pytest.mark.parametrize(
    ("interval", "words"),
    [
        ("P1", "the same note"),
        ("+M2", "up a major second"),
        ("-m3", "down a minor third"),
        ("+P4", "up a fourth"),
        ("-P8", "down an octave"),
        ("+M10", "up a major tenth"),
        ("-d5", "down a diminished fifth"),
        ("+AA4", "up a doubly augmented fourth"),
        ("+P15", "up a double octave"),
        ("+M17", "up a major interval of 17"),
    ],
)
def test_intervals_as_they_are_said(interval: str, words: str) -> None:
    assert interval_words(Interval.parse(interval)) == words


@given(barred_melodies())
@settings(max_examples=40, deadline=None)
def test_every_struck_note_is_said_once(melody) -> None:
    arrangement = arrange(melody, "bass")
    lines = [line for line in render_spoken(arrangement).splitlines() if "string" in line]
    assert len(lines) == len(arrangement)
    for line, fret in zip(lines, arrangement.frets, strict=True):
        assert (f"fret {fret}," in line) if fret else (", open" in line)


def test_an_ending_is_as_far_as_from_the_note_before_the_first() -> None:
    tune = parse_melody("|: 1 2 | 3 2 | [1 3 6 :| [2 7, 1 ] 3", key="C")
    lines = render_spoken(arrange(tune, "guitar")).splitlines()
    told = [line.partition("degree ")[2] for line in lines if "degree" in line]
    assert told[5:] == [
        "6, up a fourth",
        "7 below, down a minor third",
        "1, up a minor second",
        "3, up a major third",
    ]


def test_what_a_hidden_note_would_tell_is_left_out_of_the_second_ending() -> None:
    """An interval tells of both its notes: here the fourth note, which is hidden."""
    tune = parse_melody("|: 1 2 | 3 2 | [1 3 6 :| [2 7, 1 ]", key="C")
    arrangement = arrange(tune, "guitar")
    last = render_spoken(arrangement, hide=Blanks.parse("every-4th")).splitlines()[-2:]
    assert last[0].endswith("degree 7 below")
    intervals = [spot["interval"] for spot in notes_data(Subject(arrangement))]
    assert intervals[-2:] == ["-m3", "+m2"]


def test_a_second_ending_names_the_position_that_the_hand_comes_to() -> None:
    tune = parse_melody("|: 1@4-3 | [1 8@4-15 :| [2 8@4-15 ]", key="G")
    assert [*Subject(arrange(tune, "bass")).moves] == [0, 1, 2]


SUNG = """key: G
meter: 2/4
octave: 3

|: 1 2 | r 3 | [1 3 5 :| [2 1 3, ] |: 1 | - r :|x3
chords: G D7 Bb C#m7
words: Slow goes the riv- er down
"""


def test_repeats_words_and_chords_are_said() -> None:
    lines = render_spoken(arrange(parse_melody(SUNG), "guitar")).splitlines()
    starts = [re.split(",? ?(?:beat|sung)", line)[0] for line in lines[1:]]
    assert starts == [
        "bar 1", "repeat from here, chord G", "chord D7", "bar 2", "chord B flat",
        "chord C sharp m7", "bar 3", "ending 1", "",
        "go back to where the repeat begins, then ending 2",
        "bar 4", "ending 2", "",
        "bar 5", "repeat from here, played 3 times", "bar 6", "",
        "go back to where the repeat begins",
    ]  # fmt: skip


def test_each_syllable_is_said_at_its_note_and_chords_where_they_are_not_hidden() -> None:
    arrangement = arrange(parse_melody(SUNG), "guitar")
    words = re.findall(r"(?:sung|chord) ([^,]+)", render_spoken(arrangement))
    assert words == [
        "G", "Slow", "D7", "goes", "B flat", "C sharp m7", "the", "riv", "er", "down",
    ]  # fmt: skip
    hidden = render_spoken(arrangement, hide=Blanks.parse("notes"))
    assert "chord" not in hidden
    assert "sung Slow" in hidden
