"""Properties that follow from the geometry of the neck and the form of the cost.

All of them are closed form: nothing here depends on what the default prices are.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fretpath import (
    HANDS,
    Arrangement,
    Hand,
    Instrument,
    Limits,
    Melody,
    NoPathError,
    OutOfRangeError,
    UnplayableError,
    Weights,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.neck.arrangement import figures_of
from fretpath.neck.instrument import String
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_path, easiest_layers
from fretpath.neck.setup import Setup
from fretpath.neck.terms import TERMS, step_parts
from tests.neck.test_search import Task, best_of_all

ONE_PER_FRET = HANDS["one-finger-per-fret"]
SEMITONES = sorted(name for name, hand in HANDS.items() if not hand.by_letter)
"""Hands whose fingers go by semitones."""
BASS = instrument_named("bass")
GUITAR = instrument_named("guitar")


def tunes(low: int = 1, high: int = 12, most: int = 12) -> st.SearchStrategy[Melody]:
    """Degrees of C major from ``low`` to ``high``, the tonic on C2."""
    words = st.lists(st.integers(low, high).map(str), min_size=2, max_size=most)
    return words.map(lambda w: parse_melody("key: C\noctave: 2\n\n" + " ".join(w)))


class TestScale:
    @given(tunes(), st.sampled_from([0.5, 0.75, 1.25]))
    def test_mm_terms_scale_with_the_neck(self, tune: Melody, factor: float) -> None:
        only_mm = replace(Weights(), **dict.fromkeys(_not_in_mm(), 0.0))
        smaller = replace(
            BASS,
            scale_length=BASS.scale_length * factor,
            spacing=(BASS.spacing[0] * factor, BASS.spacing[1] * factor),
        )
        one = arrange(tune, Setup.of(BASS, weights=only_mm))
        other = arrange(tune, Setup.of(smaller, weights=only_mm))
        # Whole thousandths are rounded term by term: two terms a note may differ by half each.
        assert other.cost == pytest.approx(one.cost * factor, abs=2 * len(one) + 2)
        along = figures_of(smaller, one.strings, one.frets, one.positions)
        assert along.travel == pytest.approx(one.figures.travel * factor)

    @pytest.mark.parametrize("position", [1, 3, 5, 7])
    def test_bass_hand_five_frets_up_is_a_guitar_hand(self, position: int) -> None:
        # 34 in / 25.5 in = 4/3 = 2 ** (4.98 / 12): five frets up, to 0.2 per cent.
        def span(instrument: Instrument, at: int) -> float:
            return instrument.distance(at + 3) - instrument.distance(at)

        assert span(BASS, position + 5) == pytest.approx(span(GUITAR, position), rel=0.002)


def _not_in_mm() -> list[str]:
    """The weights that are prices of an event and not of a distance."""
    return [name for name in vars(Weights()) if name not in ("shift", "across", "region_at")]


@given(
    st.lists(st.tuples(st.integers(1, 4), st.integers(1, 9), st.integers(0, 3)), min_size=2),
    st.integers(1, 10),
)
def test_moving_a_fretted_path_up(path: list[tuple[int, int, int]], up: int) -> None:
    """Up k frets, every distance along the neck is multiplied by 2 ** (-k / 12)."""
    string = [s for s, _, _ in path]
    position = [p for _, p, _ in path]
    fret = [p + offset for _, p, offset in path]
    here = figures_of(BASS, string, fret, position)
    there = figures_of(BASS, string, [f + up for f in fret], [p + up for p in position])
    factor = 2 ** (-up / 12)
    assert there.travel == pytest.approx(here.travel * factor)
    assert there.longest_shift == pytest.approx(here.longest_shift * factor)
    assert there.widest_stretch == pytest.approx(here.widest_stretch * factor)
    assert there.shifts == here.shifts
    assert there.strings_crossed == here.strings_crossed


@given(tunes(high=10), st.integers(1, 5))
def test_a_capo_is_a_shorter_neck_tuned_higher(tune: Melody, capo: int) -> None:
    shorter = replace(
        BASS,
        strings=tuple(String(pitch) for pitch in replace(BASS, capo=capo).open_pitches),
        scale_length=BASS.scale_length * 2 ** (-capo / 12),
        frets=BASS.frets - capo,
        spacing=(replace(BASS, capo=capo).string_spacings[0], BASS.spacing[1]),
    )
    one = arrange(tune, replace(BASS, capo=capo))
    other = arrange(tune, shorter)
    assert (one.strings, one.frets, one.fingers) == (other.strings, other.frets, other.fingers)
    assert one.figures.travel == pytest.approx(other.figures.travel)


class TestMoreRoom:
    """The optimum never rises when something is added to the instrument or the hand."""

    @given(tunes())
    def test_a_string(self, tune: Melody) -> None:
        # Which strings are the outer ones changes with their number, so that term is left out.
        price = replace(Weights(), outer=0.0)
        five = replace(BASS, strings=(*BASS.strings, *instrument_named("bass-5").strings[-1:]))
        above = replace(BASS, strings=(*instrument_named("bass-6").strings[:1], *BASS.strings))
        least = arrange(tune, Setup.of(BASS, weights=price)).cost
        assert arrange(tune, Setup.of(five, weights=price)).cost <= least
        assert arrange(tune, Setup.of(above, weights=price)).cost <= least

    @given(tunes(high=8))
    def test_a_fret(self, tune: Melody) -> None:
        costs = [arrange(tune, replace(BASS, frets=frets)).cost for frets in (10, 14, 19, 24)]
        assert costs == sorted(costs, reverse=True)

    @given(tunes())
    def test_a_reach(self, tune: Melody) -> None:
        closed = arrange(tune, Setup.of(BASS, hand="one-finger-per-fret"))
        assert arrange(tune, Setup.of(BASS, hand="extended")).cost <= closed.cost

    @given(tunes())
    def test_a_wish_never_helps(self, tune: Melody) -> None:
        free = arrange(tune, BASS)
        for limits in (
            Limits(highest_fret=12),
            Limits(open_strings="forbid"),
            Limits(no_shift=True),
            Limits(one_string=True),
        ):
            try:
                assert arrange(tune, Setup.of(BASS, limits=limits)).cost >= free.cost
            except UnplayableError:
                continue


class TestReversal:
    @given(tunes())
    def test_backwards_costs_the_same(self, tune: Melody) -> None:
        """Where landing, the one term that knows up from down, is free."""
        backwards = replace(tune, notes=tune.notes[::-1])
        both_ways = Setup.of(BASS, weights=replace(Weights(), landing=0.0))
        assert arrange(tune, both_ways).cost == arrange(backwards, both_ways).cost


class TestRepeats:
    @pytest.mark.parametrize("name", ["bass", "guitar", "ukulele", "banjo"])
    def test_no_step_to_the_same_place_costs_anything(self, name: str) -> None:
        instrument = instrument_named(name)
        planner = Planner(Setup(instrument, ONE_PER_FRET, Weights(), Limits()))
        states = planner.states
        same = planner.choices(int(states.sound[len(states) // 2]))
        parts = step_parts(instrument, states.only(same), states.only(same), Weights())
        assert all((part == 0).all() for part in parts.values())

    @given(tunes(most=6), st.integers(2, 3))
    def test_repeating_every_note_adds_nothing(self, tune: Melody, times: int) -> None:
        repeated = replace(tune, notes=tuple(n for n in tune.notes for _ in range(times)))
        notes = [term.name for term in TERMS if not term.step]
        price = replace(Weights(), **dict.fromkeys(notes, 0.0))
        assert (
            arrange(repeated, Setup.of(BASS, weights=price)).cost
            <= arrange(tune, Setup.of(BASS, weights=price)).cost
        )


class TestMinimax:
    def test_a_start_that_is_forbidden_sets_no_standard(self) -> None:
        numbers = [np.array([0, 1]), np.array([2])]
        first, table = np.array([FORBIDDEN, 0]), np.array([[1, 9]])
        layers = easiest_layers(Layers(numbers, first, [table]))
        assert cheapest_path(layers) == (9, [1, 0])

    @given(tunes(high=8, most=6), st.sampled_from(["forbid", "allow"]))
    def test_equals_every_path_tried(self, tune: Melody, open_strings: str) -> None:
        short = replace(BASS, frets=8)
        task = Task(tune, short, ONE_PER_FRET, Weights(), Limits(open_strings=open_strings))
        assume(_paths(task) <= 20_000)
        found = arrange(tune, Setup.of(short, limits=task.limits, objective="hardest"))
        total, path = best_of_all(task, hardest_first=True)
        assert (found.cost, found.frets) == (total, tuple(fret for fret, _, _ in path))

    @given(tunes())
    def test_bounds(self, tune: Melody) -> None:
        least, easiest = arrange(tune, BASS), arrange(tune, Setup.of(BASS, objective="hardest"))
        assert least.cost <= easiest.cost
        assert _hardest(tune, easiest, BASS) <= _hardest(tune, least, BASS)


def _paths(task: Task) -> int:
    product = 1
    for ways in task.ways():
        product *= len(ways)
    return product


def _hardest(tune: Melody, found: Arrangement, instrument: Instrument) -> int:
    """The dearest step of an arrangement, its target's own cost included."""
    planner = Planner(replace(found.setup, instrument=instrument))
    states = planner.states
    number = {
        row: i
        for i, row in enumerate(
            zip(states.string.tolist(), states.fret.tolist(), states.position.tolist(), strict=True)
        )
    }
    path = [number[row] for row in zip(found.strings, found.frets, found.positions, strict=True)]
    timed, untimed = planner.step_costs(np.array(path[:-1]), np.array(path[1:]))
    steps = (timed + untimed).tolist()
    return max(steps)


class TestHoldingStill:
    """A path without a shift exists exactly if one position covers every note."""

    @given(tunes(high=15), st.sampled_from(SEMITONES), st.sampled_from(["allow", "forbid"]))
    def test_no_shift(self, tune: Melody, hand: str, open_strings: str) -> None:
        covered = [
            position
            for position in range(1, BASS.frets + 1)
            if all(
                _reached(pitch.midi, HANDS[hand], position, open_strings) for pitch in tune.pitches
            )
        ]
        limits = Limits(no_shift=True, open_strings=open_strings)
        if covered:
            found = arrange(tune, Setup.of(BASS, hand=hand, limits=limits))
            assert found.figures.shifts == 0
            assert found.positions[0] in covered
        else:
            with pytest.raises((NoPathError, OutOfRangeError)):
                arrange(tune, Setup.of(BASS, hand=hand, limits=limits))


def _reached(midi: int, hand: Hand, position: int, open_strings: str) -> bool:
    frets = {position + reach.offset for reach in hand.reaches(position)}
    return any(
        (fret in frets and fret > 0) or (fret == 0 and open_strings == "allow")
        for _, fret in BASS.places_of(midi)
    )
