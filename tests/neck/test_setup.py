"""A setup: its ways in, its checks, and that every function takes the same three things."""

from __future__ import annotations

import pickle

import pytest

from fretpath import (
    Limits,
    RequestError,
    Setup,
    Weights,
    arrange,
    hand_named,
    instrument_named,
    parse_melody,
    rank_keys,
    ways,
)
from fretpath.neck.terms import usual_weights

TUNE = parse_melody("1 2 3 5 8", key="G")


def test_a_name_an_instrument_and_a_setup_are_the_same() -> None:
    ons = ("guitar", instrument_named("guitar"), Setup.of("guitar"))
    assert len({Setup.of(on) for on in ons}) == 1
    assert len({arrange(TUNE, on) for on in ons}) == 1
    assert len({ways(TUNE, on, 2) for on in ons}) == 1
    assert len({rank_keys(TUNE, on) for on in ons}) == 1


def test_changes_leave_the_rest_of_a_setup() -> None:
    first = Setup.of("bass", hand="extended", limits=Limits(highest_fret=5), objective="hardest")
    second = Setup.of(first, weights=Weights(shift=3.0))
    assert second.hand == hand_named("extended")
    assert second.limits == Limits(highest_fret=5)
    assert second.objective == "hardest"
    assert second.weights.shift == 3.0
    guitar = instrument_named("guitar")
    assert Setup.of(guitar, playing="open-position").weights == usual_weights(
        guitar, "open-position"
    )
    assert Setup.of(first, playing="open-position").weights.open == 0.0


def test_an_arrangement_knows_its_setup() -> None:
    setup = Setup.of("ukulele", limits=Limits(no_shift=True))
    found = arrange(TUNE, setup)
    assert found.setup == setup
    assert found.instrument == setup.instrument
    assert pickle.loads(pickle.dumps(found)) == found


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"objective": "least"}, "Setup.objective: 'total' or 'hardest' is needed"),
        ({"repeats": "fre"}, 'did you mean "free"'),
        ({"hand": "closed"}, "unknown hand"),
        ({"playing": "seated"}, "unknown way of playing"),
        ({"limits": Limits(highest_fret=99)}, "the highest fret is 0 to 24 here, not 99"),
        ({"limits": Limits(strings=(5,))}, "there is no string 5"),
    ],
)
def test_what_a_setup_refuses(changes: dict[str, object], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        Setup.of("bass", **changes)  # type: ignore[arg-type]
