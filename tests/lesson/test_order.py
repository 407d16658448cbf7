"""The order of a folder: the ladder, what never makes a tune easier, and the teacher's will."""

from __future__ import annotations

import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fretpath import Degree, RequestError, parse_melody
from fretpath.lesson.material import material_of
from fretpath.lesson.order import (
    EAR_RANKED,
    by_ear,
    by_hand,
    difficulty,
    format_order,
    gaps,
    in_short,
    parse_order,
)
from fretpath.lesson.tune import Tune, tune_of
from tests.benchmarks.order_agreement import agreement, sections
from tests.lesson.tunes import IN_KEY, degree_words, melody, timed_words, tune

# The chapter order of B. Crowell, Eyes and Ears (an anthology ordered by a teacher), with one
# phrase of our own for each chapter.  This shows that the order follows his ladder, not that
# students find the tunes harder in this order.
LADDER = [
    ("steps only", "1 2 3 4 5 6 7 8 7 6 5 4 3 2 1", "C major"),
    ("leaps to the tonic", "1 2 3 4 1 2 1", "C major"),
    ("back to a remembered note", "1 2 3 4 2 3 2 1", "C major"),
    ("easy leaps in the tonic triad", "1 3 4 3 2 1", "C major"),
    ("the fifth", "1 5 4 3 2 1", "C major"),
    ("the sixth", "5, 3 2 1", "C major"),
    ("thirds in the dominant", "1 2 4 3 2 1", "C major"),
    ("wider dominant leaps", "1 2 5 4 3 2 1", "C major"),
    ("tonic and dominant", "1 7, 3 2 1", "C major"),
    ("subdominant leaps", "1 6 5 4 3 2 1", "C major"),
    ("sevenths", "5, 4 3 2 1", "C major"),
    ("other fourths and fifths", "1 2 6 5 4 3 2 1", "C major"),
    ("chromatic passing notes", "3 4 #4 5 4 3 2 1", "C major"),
    ("blue notes", "5 6 b7 6 5 4 3 2 1", "C major"),
]


def test_the_order_follows_the_ladder_of_a_published_anthology() -> None:
    tunes = [tune(text, f"{chapter}.txt", key) for chapter, text, key in LADDER]
    values = {one.tune.name: float(one.difficulty) for one in by_ear(tunes)}
    every, near = agreement([[f"{chapter}.txt"] for chapter, _, _ in LADDER], values)
    assert every >= 0.95
    assert near >= 0.75


def test_a_plain_tune_by_steps_is_not_hard_because_of_a_length() -> None:
    plain = tune("1:3/2 2:1/2 3:2 4:1/2 3:1/2 2 1:3", "plain")
    others = [
        tune("1 4 2 6 3 7 1", "leaps"),
        tune("1 2 #4 5 1", "raised"),
        tune("1 6 2 5 1", "wide"),
    ]
    assert by_ear([*others, plain])[0].tune == plain


def test_the_difficulty_is_the_sum_of_the_rungs_and_ties_share_a_number() -> None:
    # worked by hand from the ladder: half beats 1, rests 1, leap to 1 1, range over a 5th 1
    assert difficulty(tune("1 2 3")) == 0
    assert difficulty(tune("(1 2):1/2 r 3 1")) == 3
    assert difficulty(tune("(1 2):1/2 r 3 1"), material_of(melody("1 r 2"))) == 2
    tunes = [
        tune("1 2 3", "a"),
        tune("2 3 4", "b"),
        tune("1 2 r 3", "c"),
        tune("(1 2):1/2 3 4", "d"),
    ]
    order = by_ear(tunes)
    assert [(one.place, one.difficulty) for one in order] == [(1, 0), (1, 0), (3, 1), (3, 1)]


def test_agreement_with_a_given_order_counts_pairs() -> None:
    given = sections("; section one\na\nb\n; section two\nc\n; a remark\n; section 3\nd\n")
    assert given == [["a", "b"], ["c"], ["d"]]
    rising = {"a": 0.0, "b": 0.0, "c": 1.0, "d": 2.0}
    assert agreement(given, rising) == (1.0, 1.0)
    assert agreement(given, {name: -value for name, value in rising.items()}) == (0.0, 0.0)
    # undecided pairs count one half: a-c, a-d, b-c, b-d, c-d
    assert agreement(given, {**rising, "c": 0.0}) == ((0.5 + 1 + 0.5 + 1 + 1) / 5, 2 / 3)


def ranked(one: Tune) -> list[float]:
    return [getattr(one.ear, name) for name in EAR_RANKED]


def place(tunes: list[Tune], name: str) -> int:
    return [lesson.tune.name for lesson in by_ear(tunes)].index(name)


def assert_never_easier(plain: Tune, more: Tune, company: list[list[str]]) -> None:
    """More material and no measure lower, so that it comes later in any folder."""
    assert plain.material <= more.material
    assert all(a <= b for a, b in zip(ranked(plain), ranked(more), strict=True))
    others = [tune(" ".join(words), f"other {n}") for n, words in enumerate(company)]
    folder = [more, *others, plain]
    assert place(folder, plain.name) < place(folder, more.name)


COMPANY = st.lists(degree_words(), max_size=4)


@given(timed_words(), st.sampled_from(("#4", "b7", "b3", "b6", "b2", "#4'", "b3,")), COMPANY)
@settings(deadline=None, max_examples=60)
def test_a_note_off_the_key_never_makes_a_tune_easier(
    words: list[str], added: str, company: list[list[str]]
) -> None:
    plain, more = tune(" ".join(words), "plain"), tune(" ".join([*words, added]), "more")
    sounds = melody(" ".join([*words, added])).pitches
    assume(sounds[-1].midi not in {pitch.midi for pitch in sounds[:-1]})
    assert_never_easier(plain, more, company)


@given(degree_words(), st.booleans(), COMPANY)
@settings(deadline=None, max_examples=60)
def test_a_wider_range_never_makes_a_tune_easier(
    words: list[str], upwards: bool, company: list[list[str]]
) -> None:
    """The last note once more, against the last note in an octave outside the range."""
    steps = [Degree.parse(word).steps for word in words]
    last = Degree.parse(words[-1])
    octaves = range(1, 6) if upwards else range(-1, -6, -1)
    outside = (Degree(last.steps + 7 * n, last.alter) for n in octaves)
    far = next(d for d in outside if not min(steps) <= d.steps <= max(steps))
    plain = tune(" ".join([*words, words[-1]]), "plain")
    more = tune(" ".join([*words, str(far)]), "more")
    assume(more.ear.range > plain.ear.range)
    assert_never_easier(plain, more, company)


@given(degree_words(words=IN_KEY), st.sampled_from(IN_KEY), st.frozensets(st.sampled_from(IN_KEY)))
@settings(deadline=None, max_examples=60)
def test_a_new_kind_of_leap_never_makes_a_tune_easier(
    words: list[str], added: str, met: frozenset[str]
) -> None:
    """The last note once more, against a leap of a kind the tune did not have."""
    plain = tune(" ".join([*words, words[-1]]), "plain")
    more = tune(" ".join([*words, added]), "more")
    assume(any("leap" in t.name or " in the " in t.name for t in more.material - plain.material))
    assert plain.material < more.material
    known = material_of(melody(" ".join(met))) if met else frozenset()
    assert len(plain.material - known) <= len(more.material - known)
    assert place([more, plain], "plain") == 0


@given(st.lists(timed_words(), min_size=1, max_size=6), st.randoms())
@settings(deadline=None, max_examples=40)
def test_the_order_does_not_depend_on_how_the_folder_is_listed(
    texts: list[list[str]], shuffle: random.Random
) -> None:
    tunes = [tune(" ".join(words), f"{n}.txt") for n, words in enumerate(texts)]
    order = by_ear(tunes)
    assert sorted(lesson.tune.name for lesson in order) == [t.name for t in tunes]
    shuffle.shuffle(tunes)
    assert by_ear(tunes) == order


@given(st.lists(timed_words(most=6), min_size=2, max_size=6))
@settings(deadline=None, max_examples=40)
def test_the_numbers_shown_rise_with_the_order(texts: list[list[str]]) -> None:
    order = by_ear([tune(" ".join(words), f"{n}.txt") for n, words in enumerate(texts)])
    known: set[object] = set()
    for at, lesson in enumerate(order):
        assert lesson.difficulty == sum(topic.rung for topic in lesson.tune.material)
        harder = sum(other.difficulty < lesson.difficulty for other in order)
        assert lesson.place == harder + 1
        assert [one.difficulty for one in order[:at]] == sorted(o.difficulty for o in order[:at])
        assert set(lesson.new) == lesson.tune.material - known
        assert set(lesson.new) | set(lesson.repeats) == lesson.tune.material
        known |= lesson.tune.material


def test_news_and_repeats_stand_in_the_order_of_the_ladder() -> None:
    first, second = by_ear([tune("1 2 3 (5 1):1/2", "first"), tune("3 #4 5 r (1 6):1/2 1", "more")])
    assert [str(topic) for topic in first.new] == [
        *(f"degree {number}" for number in (1, 2, 3, 5)),
        "half beats",
        "leap to 1",
        "3rd, 4th or 8ve in the tonic triad",
    ]
    for topics in (first.new, second.new, second.repeats):
        assert len(topics) > 1
        assert [topic.rung for topic in topics] == sorted(topic.rung for topic in topics)
    assert second.new[-1].name == "#4 off the key"
    assert in_short(reversed(second.new)) == in_short(second.new)
    told = "degree 6, rests, leap in the subdominant, #4 off the key, range over a 5th"
    assert in_short(second.new) == told


def test_the_easier_tune_comes_first() -> None:
    hard, easy = tune("1 2 #4 b2", "a"), tune("1 2 3 4", "b")
    assert [lesson.tune.name for lesson in by_ear([hard, easy])] == ["b", "a"]
    assert [lesson.place for lesson in by_ear([hard, easy])] == [1, 2]


def test_with_nothing_new_the_mean_rank_decides() -> None:
    easy, hard = tune("1 2 1 2 1", "hard name"), tune("1 2 3 2 1 2 3", "easy name")
    met = material_of(melody("1 2 3"))
    assert [lesson.tune for lesson in by_ear([hard, easy], met=met)] == [easy, hard]


# -- the teacher's will ----------------------------------------------------------------------------


def levelled(text: str, name: str, level: str) -> Tune:
    return tune(f"level: {level}\n\n{text}", name)


def test_level_puts_a_tune_in_its_place() -> None:
    tunes = [tune("1 2", "a"), tune("1 2 3", "b"), levelled("1 b2 6 #4", "hard", "1")]
    order = by_ear(tunes)
    assert [lesson.tune.name for lesson in order] == ["hard", "a", "b"]
    assert [lesson.placed for lesson in order] == [True, False, False]
    last = levelled("1", "easy", "99")
    assert by_ear([*tunes, last])[-1].tune.name == "easy"


@pytest.mark.parametrize("level", ["0", "-1", "soon", "nan", "inf"])
def test_a_level_that_is_no_place_is_refused(level: str) -> None:
    with pytest.raises(RequestError, match="not a place in the order"):
        levelled("1 2", "a", level)


def test_an_order_file_goes_first_as_it_is_written() -> None:
    tunes = [tune("1 2", "a"), tune("1 2 3", "b"), tune("1 b2 6 #4", "c")]
    order = by_ear(tunes, order=["c", "b"])
    assert [lesson.tune.name for lesson in order] == ["c", "b", "a"]
    assert [str(topic) for topic in order[1].new] == ["degree 2", "degree 3"]


def test_an_order_file_with_a_wrong_name_offers_the_nearest() -> None:
    with pytest.raises(RequestError, match=r'did you mean "ferry\.txt"'):
        by_ear([tune("1", "ferry.txt")], order=["fery.txt"])


@given(st.lists(st.from_regex(r"[a-z_]{1,8}\.txt", fullmatch=True), unique=True))
@settings(deadline=None, max_examples=30)
def test_order_files_read_back(names: list[str]) -> None:
    assert parse_order(format_order(names)) == names


def test_an_order_file_names_a_tune_once() -> None:
    with pytest.raises(RequestError, match="twice"):
        parse_order("a.txt\nb.txt\na.txt\n")


# -- the hand and the gaps -------------------------------------------------------------------------


def test_the_hand_has_its_own_order() -> None:
    texts = {"still": "1 b2 2 b3", "moving": "1 3 5 8 10 12 15 17 15 1"}
    tunes = [tune_of(melody(text), name, "bass") for name, text in texts.items()]
    order = by_hand(tunes)
    assert [one.name for one, _ in order] == ["still", "moving"]
    # harder in travel, shifts and speed, easier in stretch: 3/4 against 1/4
    assert [rank for _, rank in order] == [0.25, 0.75]
    too_wide = tune_of(melody("1 30"), "too wide", "bass")
    assert "no place" in too_wide.unplayable
    assert by_hand([too_wide]) == []


def test_gaps_say_what_is_not_covered() -> None:
    found = gaps([tune("1 2 3 1", "a"), tune("5 4 3", "b")])
    assert found[0] == "no tune starts on 3"
    assert found[1].startswith("in no tune: degrees 6 7, half beats, pickup, rests, leap back")
    assert found[2:] == ["in one tune only: degrees 1 2 4 5, leap to 1"]


def test_a_tune_without_a_key_is_refused_with_the_cure() -> None:
    with pytest.raises(RequestError, match="add a line such as key: G major"):
        tune_of(parse_melody("C4 D4"), "letters.txt")
