"""The prices against what docs/hand_model.md says they are."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from fretpath import HANDS, Weights, instrument_named
from fretpath.neck.costs import note_parts
from fretpath.neck.states import all_states

PAGE = Path(__file__).parents[2] / "docs" / "hand_model.md"


def test_every_price_is_the_one_in_the_table() -> None:
    rows = re.findall(r"^\| `(\w+)` \| ([\d.]+) \|", PAGE.read_text(), re.MULTILINE)
    told = {name: float(price) for name, price in rows}
    told |= {"hurried_below": 0.16, "rested_from": 0.06}  # told in the rows of hurried and rested
    assert told == vars(Weights())


@pytest.mark.parametrize(
    ("name", "strings_out"), [("bass", [1, 0, 0, 1]), ("guitar", [2, 1, 0, 0, 1, 2])]
)
def test_each_string_beyond_the_middle_two_pays(name: str, strings_out: list[int]) -> None:
    instrument = instrument_named(name)
    states = all_states(instrument, HANDS["one-finger-per-fret"])
    outer = note_parts(instrument, states, Weights(outer=7.0))["outer"]
    paid = dict(zip(states.string.tolist(), outer.tolist(), strict=True))
    assert [paid[string] for string in sorted(paid)] == [7000 * out for out in strings_out]
