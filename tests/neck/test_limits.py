"""Limits: what they refuse, and that whatever they leave ends in a fingering or in plain words."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    HANDS,
    INSTRUMENTS,
    FretpathError,
    Limits,
    RequestError,
    Setup,
    UnplayableError,
    Weights,
    arrange,
    hand_named,
    instrument_named,
    parse_melody,
    ways,
)
from fretpath.neck.hand import all_states
from fretpath.neck.setup import OPEN_STRINGS, Start

BASS = instrument_named("bass")


@pytest.mark.parametrize(
    ("limits", "message"),
    [
        ({"strings": ()}, "no string is left"),
        ({"strings": (1.5,)}, "Limits.strings: a list or None is needed"),
        ({"strings": ("1",)}, "Limits.strings: a list or None is needed"),
        ({"position": 2.0}, "Limits.position: a whole number or None is needed, not 2.0"),
        ({"highest_fret": "5"}, "Limits.highest_fret: a whole number or None is needed"),
        ({"lowest_fret": None}, "Limits.lowest_fret: a whole number is needed, not None"),
        ({"open_strings": "never"}, "Limits.open_strings: 'allow' or 'avoid'"),
        ({"open_strings": None}, "Limits.open_strings: 'allow' or 'avoid'"),
    ],
)
def test_values_are_checked_when_they_are_set(limits: dict[str, Any], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        Limits(**limits)


def starts() -> st.SearchStrategy[Start]:
    """A place for the first note, with or without a finger."""
    return st.builds(Start, st.integers(1, 4), st.integers(0, 14), st.none() | st.integers(0, 4))


def some_limits() -> st.SearchStrategy[dict[str, Any]]:
    """Limits that mostly clash."""
    frets = st.none() | st.integers(0, 14)
    return st.fixed_dictionaries(
        {},
        optional={
            "lowest_fret": st.integers(0, 14),
            "highest_fret": frets,
            "strings": st.none() | st.lists(st.integers(1, 4), max_size=3).map(tuple),
            "one_string": st.booleans(),
            "position": st.none() | st.integers(0, 14),
            "no_shift": st.booleans(),
            "open_strings": st.sampled_from(OPEN_STRINGS),
            "start": st.none() | starts(),
        },
    )


@given(
    some_limits(),
    st.sampled_from(["1 2 3", "1 5 8 9 10", "1, 8 15", "1@4 5@-9 8"]),
    st.sampled_from(["total", "hardest"]),
)
def test_no_limits_end_in_a_traceback(values: dict[str, Any], text: str, objective: str) -> None:
    tune = parse_melody(text)
    try:
        limits = Limits(**values)
        setup = Setup.of("bass", limits=limits, objective=objective)
    except RequestError:
        return
    try:
        found = ways(tune, setup, 2)[0]
    except FretpathError:
        return
    assert all(limits.strings is None or string in limits.strings for string in found.strings)
    assert limits.highest_fret is None or max(found.frets) <= limits.highest_fret
    assert not limits.one_string or len(set(found.strings)) == 1
    assert not limits.no_shift or len(set(found.positions)) == 1


def test_where_no_place_at_all_is_left_the_limit_to_drop_is_named() -> None:
    nowhere = Setup.of("bass", limits=Limits(open_strings="forbid", highest_fret=0))
    with pytest.raises(UnplayableError, match="Drop --highest-fret 0"):
        arrange(parse_melody("1 2 3"), nowhere)


@pytest.mark.parametrize("gap", [float("nan"), float("inf"), -1.0, 0.0])
def test_a_string_spacing_is_a_distance(gap: float) -> None:
    with pytest.raises(RequestError, match=r"1 to 100 mm apart|Instrument\.spacing: a number"):
        replace(BASS, spacing=(gap, 14.0))


def test_public_tables_cannot_be_changed() -> None:
    for known in (INSTRUMENTS, HANDS):
        with pytest.raises(TypeError):
            known["mine"] = next(iter(known.values()))  # type: ignore[index]


def test_weights_that_could_reach_a_forbidden_step_are_refused() -> None:
    """Prices stay exact: no legal sum costs as much as a step that may not be taken."""
    heavy = Setup.of("bass", weights=Weights(shift=10_000.0, hurried=10_000.0))
    tune = parse_melody("C2 G3")
    assert arrange(tune, heavy).cost > 0
    with pytest.raises(RequestError, match="make them smaller"):
        arrange(replace(tune, notes=tune.notes * 20_000), heavy)


@pytest.mark.parametrize("hand", HANDS)
def test_a_hand_without_a_place_on_a_short_neck_has_no_states(hand: str) -> None:
    """Advice tries other instruments with the same hand and neck: some have no place at all."""
    short = replace(BASS, frets=1)
    states = all_states(short, hand_named(hand))
    assert states.sound.shape == states.fret.shape
    assert set(states.fret.tolist()) <= {0, 1}
