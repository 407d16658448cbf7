"""Time: a shift costs more in a hurry and less where the hand is free; no tempo, no difference."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Arrangement, Melody, Weights, arrange, parse_melody, reasons
from fretpath.neck.hand import all_states
from fretpath.neck.line import LEAST_FACTOR, PACE_UNIT, PLAIN, paces_of
from fretpath.neck.setup import Setup
from fretpath.neck.terms import TIMED, note_parts, step_parts
from tests.neck.test_physics import tunes

HURRIED = round(PACE_UNIT * Weights().hurried)
RESTED = round(PACE_UNIT * Weights().rested)


def paces(text: str) -> tuple[tuple[int, int], ...]:
    """Pace of each step of a melody text at 120 beats a minute: half a second a beat."""
    return paces_of(parse_melody(f"tempo: 120\n\n{text}"), Weights())


class TestPaces:
    @pytest.mark.parametrize(
        ("text", "after_fretted", "after_open"),
        [
            ("1 2", PACE_UNIT, RESTED),  # joined: the hand waits for the note to end
            ("1:1/4 2", HURRIED, HURRIED),  # an eighth of a second
            ("1 r 2", RESTED // 3, RESTED // 3),  # half a second: the price halved twice
            ("1 - 2", PACE_UNIT, RESTED),  # held: the finger must stay
            ("1 | 2", RESTED, RESTED),  # over a bar line
            ("1\n2", RESTED, RESTED),  # between two phrases
            ("1:1/8 r:1/16 2", HURRIED, HURRIED),  # a short rest in a fast figure
        ],
    )
    def test_by_what_lies_between(self, text: str, after_fretted: int, after_open: int) -> None:
        assert paces(text) == ((after_fretted, after_open),)

    def test_one_for_each_step(self) -> None:
        rest = round(PACE_UNIT * Weights().rested / 3)
        assert paces("1 2 r 3 - 4") == (
            (PACE_UNIT, RESTED), (rest, rest), (PACE_UNIT, RESTED),
        )  # fmt: skip

    def test_a_rest_too_short_to_move_in(self) -> None:
        """At 400 beats a minute a quarter of a beat lasts 0.0375 seconds."""
        quick = parse_melody("tempo: 400\n\n1 r:1/4 2")
        assert paces_of(quick, Weights()) == ((PACE_UNIT, RESTED),)

    def test_just_as_far_apart_as_the_limit_is_not_fast(self) -> None:
        quarter_seconds = parse_melody("tempo: 240\n\n1 2")
        assert paces_of(quarter_seconds, Weights(hurried_below=0.25)) == ((PACE_UNIT, RESTED),)

    def test_nothing_is_known_without_a_tempo(self) -> None:
        assert paces_of(parse_melody("1 2:1/4 | 3"), Weights()) == (PLAIN, PLAIN)

    def test_a_rest_gives_time_without_a_tempo_too(self) -> None:
        """A beat of rest then counts as half a second, which halves the price twice."""
        factor = round(PACE_UNIT * Weights().rested / 3)
        assert paces_of(parse_melody("1 2 r 3"), Weights()) == (PLAIN, (factor, factor))

    def test_the_longer_the_rest_the_cheaper_the_shift_down_to_a_floor(self) -> None:
        rests = [paces_of(parse_melody(f"1 r:{n} 3"), Weights()) for n in (1, 2, 4, 60, 90)]
        factors = [found[0][0] for found in rests if found]
        assert factors == sorted(factors, reverse=True)
        assert len(set(factors[:4])) == 4
        assert factors[-1] == round(PACE_UNIT * LEAST_FACTOR)


def added_up(found: Arrangement) -> int:
    """The cost of a fingering from its notes, its steps and their pace, one by one."""
    states = all_states(found.instrument, found.hand)
    columns = (states.string.tolist(), states.fret.tolist(), states.position.tolist())
    number = {row: i for i, row in enumerate(zip(*columns, strict=True))}
    path = [number[f.string, f.fret, f.position] for f in found.fingerings]
    weights = found.setup.prices
    total = sum(
        int(part[path].sum()) for part in note_parts(found.instrument, states, weights).values()
    )
    paces = paces_of(found.melody, weights)
    before, after = states.only(np.array(path[:-1])), states.only(np.array(path[1:]))
    parts = step_parts(found.instrument, before, after, weights)
    for step, (fret, pace) in enumerate(zip(found.frets[:-1], paces, strict=True)):
        timed = sum(int(part[step]) for name, part in parts.items() if name in TIMED)
        rest = sum(int(part[step]) for name, part in parts.items() if name not in TIMED)
        total += rest + timed * pace[fret == 0] // PACE_UNIT
    return total


class TestPrices:
    @given(tunes(), st.sampled_from([60, 240, 400]), st.sampled_from([0.0, 25.0]))
    def test_add_up_and_are_explained(self, tune: Melody, tempo: int, opened: float) -> None:
        notes = tuple(replace(n, beats=Fraction(1 + i % 3, 2)) for i, n in enumerate(tune.notes))
        timed = replace(tune, notes=notes, tempo=Fraction(tempo))
        found = arrange(timed, Setup.of(weights=Weights(open=opened)))
        assert found.cost == added_up(found)
        assert found.cost == sum(round(1000 * reason.total) for reason in reasons(found))

    @pytest.mark.parametrize("first", ["A1@3-0", "A1@4-5"])
    def test_the_hand_is_free_while_an_open_string_sounds(self, first: str) -> None:
        timed = arrange(parse_melody(f"tempo: 120\n\nG1@4-3 {first} C3@2-10 B1@4-7"))
        assert timed.cost == added_up(timed)

    @given(tunes())
    def test_no_tempo_no_difference(self, tune: Melody) -> None:
        uneven = replace(
            tune,
            notes=tuple(replace(n, beats=Fraction(1 + i % 3, 2)) for i, n in enumerate(tune.notes)),
        )
        assert arrange(uneven).fingerings == arrange(tune).fingerings
        assert arrange(uneven).cost == arrange(tune).cost

    @given(tunes(), st.integers(40, 399))
    def test_faster_is_never_easier(self, tune: Melody, tempo: int) -> None:
        slow = replace(tune, tempo=Fraction(tempo))
        fast = replace(tune, tempo=Fraction(400))
        assert arrange(slow).cost <= arrange(fast).cost

    @pytest.mark.parametrize(
        ("text", "shift_at"),
        [("1:1/4@4-8 r 2:1/4@4-10 3@4-12", 0), ("1:1/4@4-8 2:1/4@4-10 r 3@4-12", 1)],
    )
    def test_the_shift_moves_to_the_rest(self, text: str, shift_at: int) -> None:
        """Frets 8, 10 and 12 need one shift, and the rest decides before which note."""
        melody = parse_melody(f"key: C\noctave: 2\ntempo: 240\n\n{text}")
        positions = arrange(melody).positions
        moved = [before != after for before, after in pairwise(positions)]
        assert moved == [shift_at == 0, shift_at == 1]

    def test_neutral_factors_change_nothing(self) -> None:
        melody = parse_melody("tempo: 200\n\n1 5:1/4 8:1/4 | r 9 10")
        neutral = Weights(hurried=1.0, rested=1.0, rest_halves=10_000.0)
        assert set(paces_of(melody, neutral)) == {PLAIN}
