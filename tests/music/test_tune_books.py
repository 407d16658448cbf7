"""Modes and keys that editors gave to printed tunes, against what we find.

A small part of ``tests/benchmarks/mode_labels.py`` and ``key_finding.py``, read from the corpus
inside the installed music21 package.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.key_finding import Result, result
from tests.benchmarks.mode_labels import CHARACTERISTIC, Answer, answer
from tests.benchmarks.tune_books import labels

EVERY = 100
"""One tune in so many of the 4,245: enough to notice a method that went wrong."""


@pytest.fixture(scope="module")
def modal() -> list[Answer]:
    """Every tune labelled Lydian or Phrygian."""
    return [answer(label) for label in labels(lambda label: label.mode in ("lydian", "phrygian"))]


@pytest.fixture(scope="module")
def sample() -> list[Result]:
    """A fixed sample of all tunes."""
    return [found for found in map(result, list(labels())[::EVERY]) if found]


@pytest.mark.parametrize(("mode", "count"), [("lydian", 9), ("phrygian", 5)])
def test_every_one_shows_its_own_degree(modal: list[Answer], mode: str, count: int) -> None:
    tunes = [found for found in modal if found.label.mode == mode]
    assert len(tunes) == count
    assert all(found.shown for found in tunes)
    notes = sum(sum(found.degrees.values()) for found in tunes)
    assert sum(found.inside for found in tunes) >= 0.98 * notes


def test_only_a_plain_degree_that_sounds_more_hides_the_mode(modal: list[Answer]) -> None:
    missed = {found.label.title: found for found in modal if not found.agrees}
    assert set(missed) == {"Trip to the Cottage -- Jig", "The Fenian Stronghold"}
    for found in missed.values():
        mark = CHARACTERISTIC[found.label.mode]
        assert found.degrees[mark.strip("#b")] > found.degrees[mark] > 0


def test_the_smallest_account_is_the_mode_where_nothing_else_sounds(modal: list[Answer]) -> None:
    pure = [found for found in modal if found.inside == sum(found.degrees.values())]
    assert len(pure) >= 9
    for found in pure:
        [account] = found.reading.accounts
        read = [(account.kind, account.argument)]
        if account.kind == "wrong_key":  # one tune begins and ends on 5
            read = [(doubt.kind, doubt.argument) for doubt in account.doubts]
        assert read == [("mode", found.label.mode)]


def test_keys_are_found_more_often_than_music21_finds_them(sample: list[Result]) -> None:
    assert len(sample) >= 40
    ours = sum(found.right["ours"] for found in sample)
    theirs = sum(found.right["music21 analyze('key')"] for found in sample)
    assert ours > theirs
    assert ours >= 0.85 * len(sample)
