"""A hand learned from tabs: the prices of a player are found again, and few tabs change little."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from fretpath import Melody, Placement, RequestError, Setup, arrange, learn_hand, parse_melody
from fretpath.neck.learning import _line_with_places as placed_line
from fretpath.neck.learning import agreement, learn_prices


def tune(number: int, notes: int = 30) -> Melody:
    """A random walk on the C major scale, in the same way on every run."""
    lot = random.Random(number)
    at, words = 5, []
    for _ in range(notes):
        at = min(12, max(1, at + lot.choice((-3, -2, -1, 1, 2, 3))))
        words.append(str(at))
    return parse_melody(" ".join(words), key="C").in_octave(3)


def as_played(melody: Melody, setup: Setup) -> Melody:
    """The melody with the places that a player of that setup chooses."""
    found = arrange(melody, setup)
    notes = list(found.melody.notes)
    for event, one in zip(found.melody.struck, found.fingerings, strict=True):
        notes[event] = replace(notes[event], placement=Placement(one.string, one.fret))
    return replace(found.melody, notes=tuple(notes))


GUITAR = Setup.of("guitar", repeats="free")


@pytest.fixture(scope="module")
def high() -> list[Melody]:
    """Tabs of a player who is at home at fret 9."""
    weights = replace(GUITAR.weights, region_at=GUITAR.instrument.distance(9))
    setup = Setup.of(GUITAR, weights=weights)
    return [as_played(tune(number), setup) for number in range(9)]


def test_a_home_up_the_neck_is_found_again(high: list[Melody]) -> None:
    fit = learn_hand(high[:8], GUITAR)
    assert fit.setup.weights.region_at > GUITAR.weights.region_at
    assert fit.notes == 240
    assert fit.unseen is not None
    assert fit.before < fit.unseen[1] <= fit.notes
    assert fit.after > fit.before
    last = [[placed_line(high[8], GUITAR)]]
    [(before, _)], [(after, _)] = (
        agreement(weights, last, GUITAR) for weights in (GUITAR.weights, fit.setup.weights)
    )
    assert after >= before


def test_a_player_like_the_usual_one_changes_nothing() -> None:
    usual = [as_played(tune(number), GUITAR) for number in range(3)]
    fit = learn_hand(usual, GUITAR)
    assert (fit.before, fit.after, fit.unseen) == (90, 90, (90, 90))
    assert fit.changes == {}
    assert fit.setup == GUITAR


def test_counts_are_what_the_arrangement_says(high: list[Melody]) -> None:
    fit = learn_hand(high[:1], GUITAR)
    assert fit.unseen is None
    bare = replace(high[0], notes=tuple(replace(note, placement=None) for note in high[0].notes))
    for setup, count in ((GUITAR, fit.before), (fit.setup, fit.after)):
        found = arrange(bare, setup)
        theirs = [high[0].notes[event].placement for event in high[0].struck]
        same = [
            at is not None and (at.string, at.fret) == (one.string, one.fret)
            for at, one in zip(theirs, found.fingerings, strict=True)
        ]
        assert sum(same) == count


def test_a_few_notes_do_not_move_the_hand(high: list[Melody]) -> None:
    short = parse_melody("G3@4-5", key="C")
    assert learn_hand([short], GUITAR).changes == {}


def test_it_needs_places() -> None:
    with pytest.raises(RequestError, match="no note of these tabs has a string"):
        learn_hand([tune(1)], GUITAR)
    with pytest.raises(RequestError, match="no note of these tabs has a string"):
        learn_prices([], GUITAR)
