"""Finding by content: each wish against a plain reading of the tune, in any key."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Interval, RequestError
from fretpath.commands import main
from fretpath.lesson.find import Wanted, find_in
from tests.lesson.tunes import IN_KEY, OFF_KEY, degree_words, melody

TUNE = "5, 1 2 3 | 1 #4 5:2 | 3 2 1:2"


def found(text: str, **wishes: str | int | None) -> bool:
    return find_in(melody(text), "tune", Wanted.read(**wishes)) is not None  # type: ignore[arg-type]


def bare(word: str) -> str:
    """The degree without its octave, by its letters alone."""
    return {"8": "1", "9": "2", "10": "3"}.get(word, word.rstrip(","))


@pytest.mark.parametrize(
    ("wish", "value", "expected"),
    [
        ("only", "1 2 3 #4 5", True),
        ("only", "1 2 3 4 5", False),
        ("has", "#4", True),
        ("has", "#4 6", False),
        ("starts", "5", True),  # the low one: octaves do not count
        ("starts", "1", False),
        ("ends", "1", True),
        ("ends", "5", False),
        ("largest_leap", "A4", True),
        ("largest_leap", "P4", False),
        ("degrees", "5 1 2", True),
        ("degrees", "1 2 1", False),
        ("intervals", "+A4 +m2", True),
        ("intervals", "A4 m2 m3", True),
        ("intervals", "-A4", False),
        ("contour", "down up up down", True),
        ("contour", "same", False),
        ("met", "1 2 3 5", True),
        ("met", "1 2 5", False),
    ],
)
def test_each_wish(wish: str, value: str, expected: bool) -> None:
    assert found(TUNE, **{wish: value}) is expected


def test_ready_allows_as_many_new_degrees_as_asked() -> None:
    assert found(TUNE, met="1 2 5", at_most_new=2)
    assert not found(TUNE, met="1 2 3 5", at_most_new=0)
    assert found(TUNE, met="1 2 3 #4 5 6", at_most_new=0)


def test_reasons_say_where() -> None:
    wanted = Wanted.read(
        has="#4", degrees="3 2", intervals="+M2 +M2", contour="up up", met="1 2 3 5"
    )
    one = find_in(melody(TUNE), "tune", wanted)
    assert one is not None
    assert one.reasons == (
        "#4: bar 2, note 2",
        "new to the student: #4",
        "3 2: from bar 3, note 1",
        "+M2 +M2: from bar 1, note 2",
        "up up: from bar 1, note 1",
    )


@given(degree_words(), degree_words(most=3))
@settings(deadline=None, max_examples=80)
def test_degree_patterns_agree_with_searching_text(words: list[str], pattern: list[str]) -> None:
    plain, sought = [bare(word) for word in words], [bare(word) for word in pattern]
    expected = f" {' '.join(sought)} " in f" {' '.join(plain)} "
    assert found(" ".join(words), degrees=" ".join(pattern)) is expected


@given(degree_words(), st.frozensets(st.sampled_from(IN_KEY + OFF_KEY), min_size=1))
@settings(deadline=None, max_examples=60)
def test_only_and_has_agree_with_sets(words: list[str], degrees: frozenset[str]) -> None:
    used, asked = {bare(word) for word in words}, {bare(word) for word in degrees}
    assert found(" ".join(words), only=" ".join(degrees)) is (used <= asked)
    assert found(" ".join(words), has=" ".join(degrees)) is (asked <= used)


@given(degree_words(), degree_words(most=3), st.integers(-3, 3))
@settings(deadline=None, max_examples=40)
def test_a_search_does_not_depend_on_the_key(
    words: list[str], pattern: list[str], fifths: int
) -> None:
    tune = melody(" ".join(words), "D major")
    wanted = Wanted.read(degrees=" ".join(pattern), largest_leap="P5")
    moved = tune.transposed(Interval.parse("P5").times(fifths))
    assert find_in(moved, "tune", wanted) == find_in(tune, "tune", wanted)


@pytest.mark.parametrize(
    ("wish", "value", "message"),
    [
        ("contour", "upp", 'did you mean "up"'),
        ("starts", "1 5", "one degree"),
        ("largest_leap", "fourth", "not an interval"),
        ("only", "do re", "not a degree"),
        ("at_most_new", -1, "0 or more"),
    ],
)
def test_wishes_that_cannot_be_read(wish: str, value: str | int, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        found("1 2", **{wish: value})


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ((), "say what to look for"),
        (("--has", "2", "--at-most-new", "2"), "--at-most-new goes with --met"),
        (("--has", ""), "say what to look for"),
    ],
)
def test_a_search_for_nothing_is_refused(
    words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "a.txt").write_text("key: C\n\n1 2 3", encoding="utf-8")
    assert main(["find", str(tmp_path), *words]) == 1
    assert message in capsys.readouterr().err


def test_pages_hold_nothing_that_steers_a_terminal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for name in ("a.txt", "b.txt"):
        (tmp_path / name).write_text("title: Bell\x1b[2J\x07\nkey: C\n\n1 2 3", encoding="utf-8")
    tune = str(tmp_path / "a.txt")
    for words in (
        ("find", str(tmp_path), "--has", "2"),
        ("order", str(tmp_path), "--ear-only"),
        ("mark", tune, "A\x1b[1m: 1 2 4", "B: 1 2 3", "--next", str(tmp_path)),
    ):
        main(words)
        shown = capsys.readouterr()
        assert all(c.isprintable() or c == "\n" for c in shown.out + shown.err)


def test_repeats_are_read_as_they_are_played() -> None:
    text = "|: 1 2 | 3 2 | [1 3 4 :| [2 1 7, ]"
    assert found(text, largest_leap="P4")  # 4 to 1 going back, and no 4 to the 1 of the second
    assert not found(text, largest_leap="M3")
    assert not found("|: 1 2 | 3 5 :|", largest_leap="P4")
    assert found(text, degrees="3 2 1 7")
    assert not found(text, degrees="3 4 1 7")
    match = find_in(melody(text), "tune", Wanted.read(degrees="2 1 7"))
    assert match is not None
    assert match.reasons == ("2 1 7: from bar 2, note 2",)
