"""Lengths from a count: what just is one, and where a note just stands under it."""

from __future__ import annotations

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
