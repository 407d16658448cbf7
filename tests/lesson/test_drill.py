"""Drills can be solved, are the same for the same draw, and keep their answers apart."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Degree, Melody, RequestError, arrange, parse_melody
from fretpath.lesson.drill import (
    Question,
    call_and_answer,
    look_alikes,
    parse_confused,
    phrases_for,
)
from fretpath.lesson.drillpage import look_alike_key, look_alike_page
from fretpath.lesson.excerpt import excerpt, pieces
from fretpath.lesson.practice import hardest_shift, tempo_ladder
from tests.lesson.tunes import KEYS, OFF_KEY, melody, timed_words

CONFUSED = st.lists(
    st.sampled_from([("3", "b3"), ("4", "#4"), ("5", "4"), ("7", "b7"), ("1", "5")]), max_size=2
)


def sounds(phrase: Melody) -> list[tuple[int, Fraction]]:
    """What is heard: heights and lengths."""
    return [(p.midi, length) for p, length in zip(phrase.pitches, phrase.lengths, strict=True)]


def differing_notes(question: Question) -> list[int]:
    """Notes at which not all choices are the same; more than one would show the right one."""
    columns = zip(*(one.pitches for one in question.choices), strict=True)
    return [note for note, column in enumerate(columns) if len(set(column)) > 1]


def assert_no_two_alike(question: Question) -> None:
    assert len({tuple(sounds(one)) for one in question.choices}) == len(question.choices)


@given(timed_words(), st.sampled_from(KEYS), st.integers(0, 99), st.integers(2, 6), CONFUSED)
@settings(deadline=None, max_examples=60)
def test_exactly_one_choice_matches_the_sound(
    words: list[str], key: str, draw: int, choices: int, confused: list[tuple[str, str]]
) -> None:
    tune = melody(" ".join(words), key)
    questions = look_alikes(tune, draw=draw, choices=choices, confused=confused)
    assert questions
    for question in questions:
        played = sounds(question.sound)
        matching = [n for n, one in enumerate(question.choices) if sounds(one) == played]
        assert matching == [question.right]
        assert 2 <= len(question.choices) <= choices
        assert_no_two_alike(question)
        assert len(differing_notes(question)) == 1
        for n, one in enumerate(question.choices):
            differing = [a != b for a, b in zip(one.pitches, question.sound.pitches, strict=True)]
            assert sum(differing) == (n != question.right)


def test_a_confused_degree_that_is_also_a_neighbour_is_shown_once() -> None:
    for draw in range(5):
        (question,) = look_alikes(
            melody("3", "A minor"), draw=draw, choices=6, confused=[("3", "b3")]
        )
        assert_no_two_alike(question)


@given(timed_words(), st.integers(0, 5))
@settings(deadline=None, max_examples=20)
def test_the_same_draw_gives_the_same_drill(words: list[str], draw: int) -> None:
    tune = melody(" ".join(words))
    assert look_alikes(tune, draw=draw) == look_alikes(tune, draw=draw)


def test_the_right_choice_stands_in_every_place() -> None:
    tune = melody("1 2 3 4 5")
    rights = {look_alikes(tune, draw=draw)[0].right for draw in range(40)}
    assert rights == {0, 1, 2, 3}


def test_confused_degrees_come_first_among_the_wrong_choices() -> None:
    for draw in range(10):
        (question,) = look_alikes(melody("1 3 2"), draw=draw, choices=2, confused=[("3", "b3")])
        wrong = question.choices[1 - question.right]
        assert [str(degree) for degree in wrong.degrees] == ["1", "b3", "2"]


def test_the_students_page_does_not_tell_and_the_key_does() -> None:
    questions = look_alikes(melody("1 2 3 4 5"), draw=3)
    page, key = look_alike_page(questions, "Tune", 3), look_alike_key(questions, "Tune", 3)
    assert "draw 3" in page
    assert "draw 3" in key
    moved = [replace(q, right=(q.right + 1) % 4) for q in questions]
    assert look_alike_page(moved, "Tune", 3) == page  # nothing on it depends on the answer
    assert f"1. {'ABCD'[questions[0].right]}" in key
    assert "C4 D4 E4 F4 G4" in key


@given(st.lists(st.sampled_from((*OFF_KEY, "1", "2", "6")), min_size=1, max_size=3))
@settings(deadline=None, max_examples=20)
def test_phrases_for_confused_degrees_have_them(degrees: list[str]) -> None:
    pairs = [(degree, "5") for degree in degrees]
    found = {degree.plain for degree in phrases_for(pairs, "G minor").degrees if degree}
    assert found >= {*degrees, "5"}


@pytest.mark.parametrize("text", ["3", "3=", "x=y", "#4=b5"])
def test_pairs_that_cannot_be_drilled(text: str) -> None:
    with pytest.raises(RequestError):
        parse_confused(text)


# -- parts of a melody -----------------------------------------------------------------------------


@given(timed_words(most=30), st.lists(st.integers(1, 29), max_size=6))
@settings(deadline=None, max_examples=40)
def test_pieces_cover_the_tune_once(words: list[str], bars: list[int]) -> None:
    marked = [f"| {word}" if n in bars else word for n, word in enumerate(words)]
    tune = melody(" ".join(marked))
    covered = [event for piece in pieces(tune) for event in piece]
    assert covered == list(range(len(tune)))
    for piece in pieces(tune):
        inner = [bar for bar in tune.bars if piece.start < bar < piece.stop]
        assert len(piece) <= 8 or not inner


def test_pieces_hold_eight_notes_and_no_more() -> None:
    assert len(list(pieces(melody("1 2 3 4 | 5 4 3 2")))) == 1
    assert len(list(pieces(melody("1 2 3 4 | 5 4 3 2 1")))) == 2


def test_an_excerpt_keeps_the_key_in_force() -> None:
    tune = parse_melody("key: G major\n\n1 2 3 |\nkey: G natural minor\n1 2 b3 | b6 5")
    part = excerpt(tune, range(3, 8))
    assert [str(degree) for degree in part.degrees] == ["1", "2", "b3", "b6", "5"]
    assert str(part.key) == "G natural minor"
    assert part.bars == (3,)


@given(timed_words(most=20), st.lists(st.integers(1, 19), max_size=4))
@settings(deadline=None, max_examples=40)
def test_call_and_answer_leaves_each_call_its_own_length(words: list[str], bars: list[int]) -> None:
    marked = [f"| {word}" if n in bars else word for n, word in enumerate(words)]
    tune = melody(" ".join(marked))
    both = call_and_answer(tune)
    spans = list(both.spans(both.phrases))
    assert both.pitches == tune.pitches
    for call, answer in zip(spans[::2], spans[1::2], strict=True):
        assert all(both.notes[i].pitch for i in call)
        assert not any(both.notes[i].pitch for i in answer)
        beats = [sum(both.notes[i].beats for i in span) for span in (call, answer)]
        assert beats[0] == beats[1]


# -- the hand --------------------------------------------------------------------------------------

WIDE = "tempo: 120\n\n1 2 3 5 8 10 12 15 17 15 12 10 8 5 3 1"


def test_the_loop_holds_the_fastest_shift_and_its_fingering() -> None:
    arrangement = arrange(parse_melody(WIDE, key="F"), "bass")
    loop = hardest_shift(arrangement)
    assert loop is not None
    assert loop.speed == pytest.approx(arrangement.figures.fastest_shift)
    again = arrange(loop.melody, "bass")
    pairs = list(zip(arrangement.strings, arrangement.frets, strict=True))
    inside = list(zip(again.strings, again.frets, strict=True))
    assert any(pairs[n : n + len(inside)] == inside for n in range(len(pairs)))
    assert 2 <= len(inside) <= 6


def test_no_shift_no_loop() -> None:
    assert hardest_shift(arrange(melody("1 2 3"), "bass")) is None


@given(st.floats(50, 2000), st.integers(1, 12))
@settings(deadline=None, max_examples=30)
def test_the_ladder_stops_where_the_fastest_shift_reaches_the_limit(
    limit: float, rungs: int
) -> None:
    arrangement = arrange(parse_melody(WIDE, key="F"), "bass")
    ladder = tempo_ladder(arrangement, limit=limit, rungs=rungs)
    assert list(ladder.tempos) == sorted(set(ladder.tempos))
    assert ladder.speeds[-1] <= limit
    speed = arrangement.figures.fastest_shift
    assert speed is not None
    next_tempo = ladder.tempos[-1] + 1
    assert speed * next_tempo / 120 > limit or next_tempo > 240
    # each speed is that of the same fingering played at that tempo
    for tempo, expected in zip(ladder.tempos, ladder.speeds, strict=True):
        melody_then = replace(arrangement.melody, tempo=Fraction(tempo))
        figures = replace(arrangement, melody=melody_then).figures
        assert figures.fastest_shift == pytest.approx(expected)


@pytest.mark.parametrize("limit", [0, -1, float("nan"), float("inf")])
def test_a_limit_that_is_no_speed(limit: float) -> None:
    with pytest.raises(RequestError, match="above 0"):
        tempo_ladder(arrange(melody("1 2")), limit=limit)


def test_degrees_stay_close_to_the_note_they_replace() -> None:
    (question,) = look_alikes(melody("10 8"), choices=2, confused=[("3", "b3")])
    wrong = question.choices[1 - question.right]
    assert wrong.degrees[0] == Degree.parse("b10")
