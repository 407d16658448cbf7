"""Where the limits of a drawn tab lie: what just is a string, a system, a moment, and what not."""

from __future__ import annotations

import pytest

from fretpath import FretpathError
from fretpath.page.tab_lines import LONGEST_LINE, MOST_LINES, tab_lines
from fretpath.page.tab_reading import read_tab

BASS = "G|--2-4-|\nD|2-----|\nA|------|\nE|------|\n"


def labels(text: str) -> list[tuple[str, ...]]:
    return [system.labels for system in tab_lines(text).systems]


def moments(text: str) -> list[list[int]]:
    return [[note.fret for note in moment] for moment in read_tab(text).moments]


def test_as_much_as_the_limits_say_is_read() -> None:
    wide = "\n".join(f"{name}|{'-2':-<{LONGEST_LINE - 3}}|" for name in "GDAE")
    assert len(read_tab(wide).moments) == 1
    long = "\n" * (MOST_LINES - 1 - BASS.count("\n")) + BASS
    assert len(read_tab(long).moments) == 3
    with pytest.raises(FretpathError, match="is the most"):
        read_tab("\n" + long)


@pytest.mark.parametrize(
    ("text", "frets"),
    [
        ("G|--10---|\nD|----9--|\nA|------|\nE|------|", [[10], [9]]),
        ("G|--10---|\nD|---9---|\nA|------|\nE|------|", [[10, 9]]),
        ("G|--10---|\nD|---12--|\nA|-----9|\nE|------|", [[10, 12], [9]]),
        ("G|--10---|\nD|---12--|\nA|----9--|\nE|------|", [[10, 12], [9]]),
    ],
)
def test_numbers_that_touch_follow_each_other_and_those_that_overlap_sound_together(
    text: str, frets: list[list[int]]
) -> None:
    assert moments(text) == frets


@pytest.mark.parametrize(("width", "frets"), [(5, [[0]]), (6, [[3, 4], [0]])])
def test_a_meter_stands_in_a_bar_of_five_columns_at_most(
    width: int, frets: list[list[int]]
) -> None:
    upper, lower = f"{'-3':-<{width}}", f"{'-4':-<{width}}"
    empty = "-" * width
    text = f"G|{empty}|---|\nD|{upper}|---|\nA|{lower}|0--|\nE|{empty}|---|"
    assert moments(text) == frets


def test_four_places_are_named_and_five_are_four_and_one_more() -> None:
    for number, told in ((4, "column 16: doubt"), (5, "column 16; 1 more places: doubt")):
        body = "-Q--" * number
        doubts = read_tab(f"G|{body}2|\nD|{'-' * len(body)}-|").doubts
        assert f"{told}: " in str(doubts[0]).replace("line 1, ", "")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("string three|-2-4-|\nD|----|", [("string three", "D")]),
        ("string number|-2-4-|\nD|----|", [("D",)]),
        ("G I-2--I\nD I-2--I", [("G", "D")]),
        ("-2--\n--3-", [("", "")]),
        ("G|--2-\n-4-|\nD|----\n---|", [("G", "D")]),
        ("G|--2-\n-4-|", [("G", "")]),
        ("-----\nG|-2-|\nD|---|\n-----", [("G", "D")]),
        ("G|-2-|\nD|---|\nG|-2-|\nD|---|", [("G", "D"), ("G", "D")]),
        ("G|-2-|  D|-3-|  A|---|", [("G", "D", "A")]),
    ],
)
def test_what_is_a_string_and_what_is_a_system(text: str, expected: list[tuple[str, ...]]) -> None:
    assert labels(text) == expected


def test_strings_of_one_line_each_with_a_wide_gap_are_no_torn_system() -> None:
    torn = "G|-2--|\n\nD|-3--|\n"
    assert len(tab_lines(torn).systems) == 1
    assert "a blank line after each string" in str(tab_lines(torn).remarks[0])
    apart = tab_lines("G|-2--|\n\n\nD|-3--|\n")
    assert (len(apart.systems), apart.remarks) == (2, ())


@pytest.mark.parametrize("filler", "ohx*(1.! ")
def test_a_line_full_of_one_sign_is_read_or_refused_at_once(filler: str) -> None:
    """Runs of signs once took time by the square of their length."""
    for line in (f"G|5{filler * 7000}{'-' * 2500}|", f"{filler * 9000}"):
        reading = read_tab(f"{line}\n{BASS}" if "|" not in line else f"{line}\n{BASS[10:]}")
        assert reading.notes


def places(text: str) -> list[tuple[int, int]]:
    return [(note.string, note.fret) for moment in read_tab(text).moments for note in moment]


@pytest.mark.parametrize(
    "text",
    [
        "G:|-2--4-|\nD:|------|\nA:|------|\nE:|------|",
        "G:-2--4--:\nD:-------:\nA:-------:\nE:-------:",
        "G2---4--\nD-------\nA-------\nE-------",
        "G 2---4--\nD -------\nA -------\nE -------",
        "2---4---\n--------\n--------\n--------",
        "G|-2-hold-4-|\nD|----------|\nA|----------|\nE|----------|",
        "G|\u20142\u20144\u2014|\nD|--------|\nA|--------|\nE|--------|",
        "G|..2..4..|\nD|........|\nA|........|\nE|........|",
        "1|-2--4-|\n2|------|\n3|------|\n4|------|",
        "- a remark with a dash before it\n--2--4--\n--------\n--------\n--------",
    ],
)
def test_habits_of_drawing_that_leave_the_same_two_notes(text: str) -> None:
    assert places(text) == [(1, 2), (1, 4)]
    assert not [doubt for doubt in read_tab(text).doubts if "equally" in str(doubt)]
    assert not [remark for remark in read_tab(text).remarks if "repeat" in str(remark)]


def test_numbered_strings_count_from_either_side() -> None:
    assert places("4|-2--4-|\n3|------|\n2|------|\n1|------|") == [(4, 2), (4, 4)]


def test_a_wave_behind_a_number_is_a_mark_where_the_strings_are_dashes() -> None:
    marks = [note.marks for note in read_tab("G|-2~~-4-|\nD|-------|").notes]
    assert marks == ["~~", ""]


def test_a_line_played_once_is_no_repeat_and_one_played_twice_is() -> None:
    for times, repeats in ((1, 0), (2, 1)):
        assert len(read_tab(f"G|-2-4-| x{times}\nD|-----|").melody.repeats) == repeats


def test_dashes_behind_the_names_before_the_first_bar_line_are_no_bar() -> None:
    system = "e---|---2---|---|-3-|\nB---|-------|---|---|\nG---|-------|---|---|\n"
    tab = read_tab(f"{system}\n{system}", "guitar", tuning="G3 B3 E4")
    assert [note.bar for note in tab.notes] == [0, 2, 3, 5]
    labeled = system.replace("e---|", "e|--|").replace("B---|", "B|--|").replace("G---|", "G|--|")
    empty = read_tab(labeled, "guitar", tuning="G3 B3 E4")
    assert [note.bar for note in empty.notes] == [1, 3]


def test_dashes_before_the_first_bar_line_are_a_bar_where_a_string_is_played_there() -> None:
    tab = read_tab("G---|-2-|\nD-0-|---|\nA---|---|\nE---|---|")
    assert [(note.fret, note.bar) for note in tab.notes] == [(0, 0), (2, 1)]
    wide = read_tab("G------|-2-|\nD------|---|\nA------|---|\nE------|---|")
    assert [note.bar for note in wide.notes] == [1]
