"""Questions about a tune: asked where there is something to find, with every right answer."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise

import pytest
from hypothesis import given, settings

from fretpath import Melody, parse_melody
from fretpath.page.questions import hints_about, questions_about
from tests.page.melodies import barred_melodies


def asked(text: str, key: str = "C") -> dict[str, str]:
    found = questions_about(parse_melody(text, key=key), most=20)
    return {question.text: question.answer for question in found}


def note_at(melody: Melody, place: str) -> int:
    """The struck note that stands at ``bar 2, note 3``."""
    return [melody.place_of(event) for event in melody.struck].index(place)


@given(barred_melodies())
@settings(max_examples=80, deadline=None)
def test_extremes_are_all_named_and_are_extremes(melody: Melody) -> None:
    for question in questions_about(melody, most=20):
        match = re.match(r"Where is the (highest|lowest) note", question.text)
        if match:
            midi = [pitch.midi for pitch in melody.pitches]
            wanted = max(midi) if match[1] == "highest" else min(midi)
            places = question.answer.partition("): ")[2].split("; ")
            assert {midi[note_at(melody, place)] for place in places} == {wanted}
            assert len(places) == Counter(midi)[wanted]


@given(barred_melodies())
@settings(max_examples=80, deadline=None)
def test_bars_said_to_come_again_do(melody: Melody) -> None:
    bars = [
        [(note.pitch, note.beats) for note in melody.notes[span.start : span.stop]]
        for span in melody.spans(melody.bars)
    ]
    for question in questions_about(melody, most=20):
        if "again. Where?" in question.text:
            first = list(map(int, re.findall(r"\d+", question.text)))
            for place in question.answer.split("; "):
                there = list(map(int, re.findall(r"\d+", place)))
                assert bars[first[0] - 1 : first[-1]] == bars[there[0] - 1 : there[-1]]
                assert there[0] > first[-1]


@given(barred_melodies())
@settings(max_examples=80, deadline=None)
def test_every_widest_leap_is_named(melody: Melody) -> None:
    sizes = [abs(b.midi - a.midi) for a, b in pairwise(melody.pitches)]
    told = [q for q in questions_about(melody, most=20) if "widest" in q.text]
    wanted = sizes.count(max(sizes, default=0))
    assert bool(told) == (max(sizes, default=0) >= 3 and wanted <= 3)
    for question in told:
        places = re.findall(r"((?:bar \d+, )?note \d+):", question.answer)
        assert len(places) == wanted
        assert {sizes[note_at(melody, place)] for place in places} == {max(sizes)}


def test_a_leap_is_between_notes_that_follow_each_other_as_played() -> None:
    text = "Where is the widest leap, up or down, and to which degree?"
    ending = asked("meter: 2/4\n\n|: 1 2 | 3 2 | [1 3 6 :| [2 1 7, ]", key="G")
    assert ending[text] == "bar 3, note 2: down a major sixth, 6 (E5) to 1 (G4)"
    back = asked("|: 1 3 | 5 8 :|")
    assert back[text] == "bar 2, note 2: down an octave, 8 (C5) to 1 (C4)"


def test_three_equal_leaps_are_three_right_answers() -> None:
    questions = asked("meter: 4/4\n\n1 5 4 3 | 2 6 5 4 | 3 7 6 5")
    text = "Three leaps are the widest. Where, and to which degree?"
    assert questions[text].count("up a fifth") == 3


@pytest.mark.parametrize(
    ("text", "question", "answer"),
    [
        ("meter: 4/4\n\n1 2 3 4 | 5 4 3 2 | 1 2 3 4 | 1:4", "Bar 1 comes again. Where?", "bar 3"),
        ("1 2 3 5 6 8 6 5 3 2 1 2", "Two degrees of the seven never sound. Which ones?", "4 and 7"),
        ("1 2 4 5 6 7 8 7 6 5 4 2 1", "One degree of the seven never sounds. Which one?", "3"),
        ("meter: 4/4\n\n1 2 3:2 |\nkey: C minor\n1 2 b3:2", "From where is it minor?",
         "bar 2: C natural minor"),
    ],
)  # fmt: skip
def test_what_is_asked_and_answered(text: str, question: str, answer: str) -> None:
    assert asked(text)[question] == answer


def test_a_passing_note_is_asked_for_and_told() -> None:
    found = questions_about(parse_melody("meter: 4/4\n\n3 4 #4 5 | 4 3 2 1", key="C"))
    assert found[0].text == "One note is outside major. Where, and what does it do there?"
    assert found[0].answer.startswith("passing")
    assert "bar 1" in found[0].evidence


def test_a_mode_is_asked_for() -> None:
    found = questions_about(parse_melody("1 2 b3 4 5 6 b7 8 6 5 4 b3 2 1", key="D dorian"))
    assert found[0].text == "Which degree makes it other than plain minor, and where does it sound?"
    assert found[0].answer == "Dorian"


def test_nothing_is_asked_where_there_is_nothing_to_find() -> None:
    assert questions_about(parse_melody("r r", key="C")) == ()
    assert questions_about(parse_melody("C2 C2")) == ()


def test_hints_begin_with_a_count_and_end_with_the_tab() -> None:
    hints = hints_about(parse_melody("meter: 4/4\n\n1 1 5 3 | 2:4", key="C"))
    assert hints[0].lines == ("4 different notes",)
    assert hints[1].lines == ("bar 1: start same up down", "bar 2: down")
    assert hints[2].lines == ("1 (C4)",)
    assert hints[4].lines == ("bar 1: 1 1 5 3", "bar 2: 2")
    assert hints[-1].lines == ()
