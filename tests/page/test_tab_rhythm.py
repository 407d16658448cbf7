"""Lengths from a count: what just is one, and where a note just stands under it."""

from __future__ import annotations

import re

import pytest

from fretpath.page.tab_reading import TabReading, read_tab


def under(row: str, string: str) -> TabReading:
    return read_tab(f"{row}\nG|{string}|\nD|{'-' * len(string)}|")


@pytest.mark.parametrize(
    ("row", "string", "lengths"),
    [
        ("  1 2 3 4", "2-4-5-7-", "1 1 1 1"),
        ("  1 3 4", "2-4-5-", ""),
        ("  1 & 3 4", "2---5-7-", "2 1 1"),
        ("  1 & & 2", "2-4-5-7-", "1/2 1 1/2 1"),
        ("  1 & 2 2", "2-4-5-7-", ""),
        ("  1 1 1", "2-4-5-", ""),
        ("  q q h", "2-4-5-", "1 1 2"),
        ("   q q h", "2-4-5--", "1 1 2"),
        ("    q q h", "2-4-5---", ""),
        ("beat: 1 4", "----2-4-", "3 1"),
        ("count 1 1 2", "----2-4-5-", "2 1 1"),
        ("count 1 2 99", "----2-4-5-", "1 97 1"),
        ("count 1 2 100", "----2-4-5--", ""),
        ("  4 1 2", "2-4-5-", "1 1 1"),
        ("  1   2   3   4", "2-4-5---7---2-", "1/2 1/2 1 1 1"),
    ],
)
def test_a_row_of_counts_gives_lengths(row: str, string: str, lengths: str) -> None:
    reading = under(row, string)
    beats = [str(length) for length in reading.melody.lengths]
    assert beats == (lengths.split() or ["1"] * len(beats))
    assert bool(reading.lengths) == bool(lengths)


@pytest.mark.parametrize(
    ("string", "lengths", "rounded"),
    [
        ("2---4---5---", "1 1 1", 0),
        ("-2--4---5---", "1 1 1", 0),
        ("2-4-5---7---", "1/2 1/2 1 1", 1),
    ],
)
def test_a_note_beside_its_count_is_at_it_and_one_between_counts_is_rounded(
    string: str, lengths: str, rounded: int
) -> None:
    reading = under("  1   2   3", string)
    assert [str(length) for length in reading.melody.lengths] == lengths.split()
    assert sum(remark.kind == "rounded" for remark in reading.remarks) == rounded


COUNT = "1 & 2 & 3 & 4 &"
COUNTED = f"G|-----------------|\nD|-0---2---4---2---|\n   {COUNT}\n"
BARE = "G|---------|\nD|-2-2-4-2-|\n"


@pytest.mark.parametrize(
    "systems", [[COUNTED, BARE], [BARE, COUNTED], [COUNTED, BARE, COUNTED, BARE]]
)
def test_in_a_system_without_a_count_every_note_is_a_beat_the_last_one_too(
    systems: list[str],
) -> None:
    reading = read_tab("4/4\n\n" + "\n".join(systems))
    assert [str(beats) for beats in reading.melody.lengths] == ["1"] * 4 * len(systems)
    assert reading.melody.bars == tuple(range(4, 4 * len(systems), 4))
    assert str(reading.melody.meter) == "4/4"
    assert f"{len(systems) // 2} of {len(systems)} systems have no count" in str(reading.doubts)


def test_a_count_that_ends_early_leaves_its_bar_before_a_system_without_one() -> None:
    reading = read_tab(f"4/4\n\n{COUNTED.replace('4 &', '   ').replace('4---2', '4----')}\n{BARE}")
    assert [str(beats) for beats in reading.melody.lengths] == "1 1 2 1 1 1 1".split()


@pytest.mark.parametrize("bar", ["-", "|"])
def test_a_count_that_begins_again_begins_a_bar(bar: str) -> None:
    high = f"G|----------------{bar}----------------|"
    low = f"D|-0---2---4---2--{bar}0---2---4---0---|"
    reading = read_tab(f"4/4\n   {COUNT} {COUNT}\n{high}\n{low}", "bass", tuning="D2 G2")
    assert [note.bar for note in reading.notes] == [0] * 4 + [1] * 4
    assert reading.melody.bars == (4,)
    assert str(reading.melody.meter) == "4/4"
    assert not reading.doubts


def test_bars_of_a_count_stand_among_drawn_ones_and_repeats_keep_their_place() -> None:
    reading = read_tab("A|:-0-2-3-5-:|-7-|-5-|\nE|---------:|---|---|\n   1 2 1 2    1   1", "bass")
    assert [note.bar for note in reading.notes] == [0, 0, 1, 1, 2, 3]
    assert [(repeat.start, repeat.stop) for repeat in reading.melody.repeats] == [(0, 4)]


@pytest.mark.parametrize("slip", [-1, 0, 1])
def test_a_count_a_column_beside_all_its_notes_is_read_and_told(slip: int) -> None:
    reading = under(" " * (3 + slip) + COUNT, "-0-2-4-----5---2-")
    assert [str(beats) for beats in reading.melody.lengths] == ["1/2", "1/2", "3/2", "1", "1/2"]
    told = [remark.place for remark in reading.remarks if "beside all its notes" in remark.text]
    assert told == ["line 1"] * (slip != 0)


def test_a_count_that_may_have_slipped_either_way_begins_with_the_first_note() -> None:
    for slip in (-1, 1):
        reading = under(" " * (3 + slip) + "1 & 2 &", "-0-2-4---")
        assert [str(beats) for beats in reading.melody.lengths] == ["1/2", "1/2", "1"]
        assert reading.melody.notes[0].struck


def test_a_count_under_a_system_without_notes_is_read() -> None:
    strings, count = COUNTED.split("   ")
    silent = re.sub("[0-9]", "-", strings) + "   " + count
    reading = read_tab(f"{silent}\n{COUNTED}")
    assert [str(note.beats) for note in reading.melody.notes] == "4 1 1 1 1".split()
    assert not reading.melody.notes[0].struck


def test_a_count_that_begins_before_the_first_bar_line_is_all_in_the_first_bar() -> None:
    strings = "G---|------------|-------|\nD---|-2-4-5-7----|-2-4---|"
    reading = read_tab(f"  1 & 2 & 3 & 4    1 & 2\n{strings}")
    assert reading.melody.bars == (5,)
    beats = [str(note.beats) for note in reading.melody.notes]
    assert beats == ["1", "1/2", "1/2", "1/2", "3/2", "1/2", "3/2"]
