"""Marking: full score for the tune itself, every single edit named for what it is, in any key."""

from __future__ import annotations

import random
import sys
from collections import Counter
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fretpath import Degree, Interval, RequestError, parse_melody
from fretpath.lesson.marking import KINDS, Marking, Points, mark
from fretpath.lesson.record import AskedNote, confusions, richness
from tests.lesson.tunes import IN_KEY, KEYS, OFF_KEY, melody, timed_words

NOTES = st.lists(
    st.tuples(st.sampled_from(IN_KEY + OFF_KEY), st.sampled_from(("1", "2", "1/2", "3/2"))),
    min_size=1,
    max_size=10,
)


def asked(markings: list[Marking]) -> list[AskedNote]:
    """The rows a record would hold."""
    return [AskedNote("2026-11-25", "Ana", "tune", *pair) for m in markings for pair in m.degrees]


def text(notes: list[tuple[str, str]]) -> str:
    return " ".join(f"{degree}:{length}" for degree, length in notes)


def marked(expected: list[tuple[str, str]], answer: list[tuple[str, str]], **kw: Any) -> Marking:
    return mark(melody(text(expected)), melody(text(answer)), **{"lengths": True, **kw})


def kinds(marking: Marking) -> list[str]:
    return [mistake.kind for mistake in marking.mistakes]


@given(timed_words(), st.sampled_from(KEYS), st.booleans())
@settings(deadline=None, max_examples=40)
def test_an_identical_answer_scores_full(words: list[str], key: str, lengths: bool) -> None:
    tune = melody(" ".join(words), key)
    marking = mark(tune, tune, lengths=lengths)
    assert marking.mistakes == ()
    assert marking.score == marking.full == len(words) * (4 if lengths else 3)
    assert marking.octaves == 0


def height(degree: str) -> int:
    """Semitones above the tonic: in a run of one sound any of its notes may be the one meant."""
    return Degree.parse(degree).interval.semitones


# -- single edits ----------------------------------------------------------------------------------


@given(NOTES, st.data())
@settings(deadline=None, max_examples=80)
def test_a_missed_note_is_named(notes: list[tuple[str, str]], data: st.DataObject) -> None:
    assume(len(notes) > 1)
    at = data.draw(st.integers(0, len(notes) - 1))
    marking = marked(notes, notes[:at] + notes[at + 1 :])
    assert kinds(marking) == ["missed"]
    assert height(marking.mistakes[0].expected) == height(notes[at][0])
    assert marking.score == marking.full - 4


@given(NOTES, st.data())
@settings(deadline=None, max_examples=80)
def test_an_added_note_is_named(notes: list[tuple[str, str]], data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(notes)))
    extra = data.draw(st.sampled_from(IN_KEY + OFF_KEY))
    marking = marked(notes, [*notes[:at], (extra, "1"), *notes[at:]])
    assert kinds(marking) == ["added"]
    assert height(marking.mistakes[0].answered) == height(extra)
    assert marking.score == max(0, marking.full - 2)


@given(NOTES, st.data())
@settings(deadline=None, max_examples=80)
def test_a_wrong_degree_is_named_with_what_it_was_taken_for(
    notes: list[tuple[str, str]], data: st.DataObject
) -> None:
    at = data.draw(st.integers(0, len(notes) - 1))
    wrong = data.draw(st.sampled_from(IN_KEY + OFF_KEY))
    ours, theirs = Degree.parse(notes[at][0]), Degree.parse(wrong)
    assume((ours.interval.semitones - theirs.interval.semitones) % 12)
    marking = marked(notes, [*notes[:at], (wrong, notes[at][1]), *notes[at + 1 :]])
    assert kinds(marking) == ["wrong degree"]
    assert (marking.mistakes[0].expected, marking.mistakes[0].answered) == (str(ours), str(theirs))
    assert confusions(asked([marking])) == Counter({(ours.plain, theirs.plain): 1})
    assert marking.mistakes[0].place == f"note {at + 1}"


@given(NOTES, st.data(), st.sampled_from((-2, -1, 1, 2)))
@settings(deadline=None, max_examples=80)
def test_a_wrong_octave_is_named(
    notes: list[tuple[str, str]], data: st.DataObject, octaves: int
) -> None:
    at = data.draw(st.integers(0, len(notes) - 1))
    right = Degree.parse(notes[at][0])
    moved = Degree(right.steps + 7 * octaves, right.alter)
    marking = marked(notes, [*notes[:at], (str(moved), notes[at][1]), *notes[at + 1 :]])
    assert kinds(marking) == ["wrong octave"]
    assert marking.mistakes[0].place == f"note {at + 1}"
    assert marking.score == marking.full - 1


@given(NOTES, st.data())
@settings(deadline=None, max_examples=80)
def test_a_wrong_length_is_named(notes: list[tuple[str, str]], data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(notes) - 1))
    length = data.draw(st.sampled_from(("1", "2", "3", "1/2", "1/3")))
    assume(Fraction(length) != Fraction(notes[at][1]))
    answer = [*notes[:at], (notes[at][0], length), *notes[at + 1 :]]
    marking = marked(notes, answer)
    assert kinds(marking) == ["wrong length"]
    one = marking.mistakes[0]
    assert [Fraction(beats.split()[0]) for beats in (one.expected, one.answered)] == [
        Fraction(notes[at][1]),
        Fraction(length),
    ]
    assert marked(notes, answer, lengths=False).mistakes == ()


# -- key, register, spelling -----------------------------------------------------------------------


@given(NOTES, NOTES, st.integers(-3, 3), st.integers(-3, 3))
@settings(deadline=None, max_examples=60)
def test_marking_does_not_depend_on_either_key(
    notes: list[tuple[str, str]], answer: list[tuple[str, str]], mine: int, theirs: int
) -> None:
    fifth = Interval.parse("P5")
    plain = marked(notes, answer)
    moved = mark(
        melody(text(notes), "D major").transposed(fifth.times(mine)),
        melody(text(answer), "D major").transposed(fifth.times(theirs)),
        lengths=True,
    )
    assert moved == plain


def test_an_answer_an_octave_off_as_a_whole_is_moved_and_not_wrong() -> None:
    marking = mark(melody("1 2 3 5"), melody("8 9 b10 12"))
    assert (kinds(marking), marking.octaves) == (["wrong degree"], 1)
    # one note of two an octave off is a mistake, not a register
    assert kinds(mark(melody("1 2"), melody("1 9"))) == ["wrong octave"]


def test_letters_are_marked_by_the_degrees_they_are() -> None:
    expected = parse_melody("key: G major\n\n5, 1 2 3")
    answer = parse_melody("G3 C4 D4 Eb4", key="C major")
    assert [str(mistake) for mistake in mark(expected, answer).mistakes] == [
        "note 4: expected 3 but answered b3"
    ]
    # the tonic is missed, so the letters alone would put the register an octave lower
    missed = parse_melody("G3 D4 E4", key="C major")
    assert kinds(mark(expected, missed)) == ["missed"]


def test_another_spelling_of_the_same_sound_costs_nothing_and_is_mentioned() -> None:
    marking = mark(melody("1 #4 5"), melody("1 b5 5"))
    assert marking.mistakes == ()
    assert marking.respelled == ("note 2: b5 written for #4",)


def test_ties_are_one_length_and_rests_are_not_marked() -> None:
    tied = parse_melody("meter: 2/4\n\n1 5 | - 1", key="C")
    assert mark(tied, melody("1 5:2 r 1")).mistakes == ()


# -- scheme ----------------------------------------------------------------------------------------


def test_the_scheme_worked_by_hand() -> None:
    # six notes at 4 points: b3 for 3 loses 3, a wrong length 1, 1 for 8 loses 1, the 4 missed 4
    marking = mark(melody("1 2 3 5:2 8 4"), melody("1 2 b3 5 1"), lengths=True)
    assert marking.counts == {
        "wrong degree": 1,
        "wrong octave": 1,
        "swapped": 0,
        "missed": 1,
        "added": 0,
        "wrong length": 1,
    }
    assert (marking.score, marking.full) == (15, 24)
    dearer = mark(melody("1 2"), melody("1 2 3"), points=Points.read("degree=5,added=1"))
    assert (dearer.score, dearer.full) == (13, 14)


@given(NOTES, NOTES)
@settings(deadline=None, max_examples=60)
def test_the_score_stays_between_nothing_and_full(
    notes: list[tuple[str, str]], answer: list[tuple[str, str]]
) -> None:
    marking = marked(notes, answer)
    assert 0 <= marking.score <= marking.full
    assert (marking.score == marking.full) == (not marking.mistakes)
    assert set(marking.counts) == set(KINDS)
    missed_less_added = marking.counts["missed"] - marking.counts["added"]
    assert missed_less_added == len(notes) - len(answer)


@pytest.mark.parametrize("rule", ["pitch=2", "degree", "degree=-1", "degree=x", "degree=10000"])
def test_points_that_are_no_rule_are_refused(rule: str) -> None:
    with pytest.raises(RequestError, match="not a rule for points"):
        Points.read(rule)


def test_a_tune_without_a_key_cannot_be_marked() -> None:
    with pytest.raises(RequestError, match="no key is given"):
        mark(parse_melody("C4 D4"), melody("1 2"))


# -- many answers ----------------------------------------------------------------------------------


def test_confusions_add_up_and_find_rich_tunes() -> None:
    tune = melody("1 3 5 3")
    found = confusions(asked([mark(tune, melody("1 b3 5 b3")), mark(tune, melody("1 3 4 b3'"))]))
    assert found == Counter({("3", "b3"): 3, ("5", "4"): 1})
    # worked by hand: of 4 notes, 3 and b3 pair off twice (3 of 4 confusions), 5 and 4 never
    assert richness(["3", "b3", "3", "b3"], found) == 3 / 4
    assert richness(["1", "3", "5", "8"], found) == 0
    assert richness(["1"], Counter()) == 0


@pytest.mark.parametrize(
    ("answer", "wrong"),
    [
        ("2 3 4 6 5 4 2 2", ("2", "1")),  # a step high, note 7 not
        ("5, 6, 7, 2 1 7, 5, 5,", ("2", "1")),  # a fourth low
        ("2 3 4 6 5 4 10 2", ("2", "2")),  # a step high, note 7 an octave more: the right degree
        ("2 3 4 6 5 4 #4 3 2", ("", "#3")),  # a note added under the shift
    ],
)
def test_a_mistake_under_a_shift_is_told_with_the_shift_taken_back(
    answer: str, wrong: tuple[str, str]
) -> None:
    asked = ["1", "2", "3", "5", "4", "3", "2", "1"]
    marking = mark(parse_melody("1 2 3 5 4 3 2 1", key="C"), parse_melody(answer, key="C"))
    assert [reason.kind for reason in marking.reasons if reason.kind == "shift"]
    assert [ours for ours, _ in marking.degrees if ours] == asked
    others = [pair for pair in marking.degrees if pair[0] != pair[1]]
    assert others == [pair for pair in [wrong] if pair[0] != pair[1]]


@pytest.mark.parametrize("answer", ["1 3 #4' 5 3 1", "2 #4 #5' 6 #4 2"])  # alone; a second high
def test_the_right_sound_in_another_octave_is_the_degree_asked(answer: str) -> None:
    marking = mark(parse_melody("1 3 b5 5 3 1", key="C"), parse_melody(answer, key="C"))
    assert kinds(marking) == ["wrong octave"]
    assert [ours for ours, _ in marking.degrees] == ["1", "3", "b5", "5", "3", "1"]
    assert all(ours == theirs for ours, theirs in marking.degrees)


def calls(notes: int) -> int:
    """Python calls made while a short answer is marked against a tune of so many notes."""
    draw = random.Random(1)
    tune = melody(" ".join(draw.choice("12345678") for _ in range(notes)))
    made = 0

    def count(_: object, event: str, __: object) -> None:
        nonlocal made
        made += event == "call"

    sys.setprofile(count)
    try:
        mark(tune, melody("1 3 5"))
    finally:
        sys.setprofile(None)
    return made


def test_the_work_grows_with_the_tune_and_not_with_its_square() -> None:
    assert calls(1200) < 2.5 * calls(600)
