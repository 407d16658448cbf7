"""The prices against what docs/hand_model.md says they are."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from fretpath import HANDS, Weights, instrument_named
from fretpath.neck.hand import all_states
from fretpath.neck.terms import PLAYING, TERMS, note_parts, step_parts, usual_weights

PAGE = Path(__file__).parents[2] / "docs" / "hand_model.md"


def table() -> str:
    """The table of terms and of the settings beside them, as docs/hand_model.md holds it."""
    guitar = instrument_named("guitar")
    usual, low = (usual_weights(guitar, playing) for playing in PLAYING)
    lines = [
        "| term | in-position | open-position | unit | what it is | evidence |",
        "|---|---|---|---|---|---|",
    ]
    for term in TERMS:
        prices = f"{getattr(usual, term.name):g} | {getattr(low, term.name):g}"
        lines.append(f"| `{term.name}` | {prices} | {term.unit} | {term.words} | {term.evidence} |")
    lines += ["", "| setting | in-position | open-position on a guitar |", "|---|---|---|"]
    for field in fields(Weights):
        if field.name not in {term.name for term in TERMS}:
            prices = f"{getattr(usual, field.name):g} | {getattr(low, field.name):g}"
            lines.append(f"| `{field.name}` | {prices} |")
    return "\n".join(lines) + "\n"


def test_the_page_holds_the_table_of_terms() -> None:
    assert table() in PAGE.read_text(encoding="utf-8"), "run: python -m tests.neck.test_terms"


def test_every_term_has_a_price_and_words() -> None:
    names = [term.name for term in TERMS]
    assert len(set(names)) == len(names)
    for term in TERMS:
        assert hasattr(Weights(), term.name)
        assert term.words
        assert term.evidence
        assert term.step or not term.timed


@pytest.mark.parametrize(
    ("name", "strings_out"), [("bass", [1, 0, 0, 1]), ("guitar", [2, 1, 0, 0, 1, 2])]
)
def test_each_string_beyond_the_middle_two_pays(name: str, strings_out: list[int]) -> None:
    instrument = instrument_named(name)
    states = all_states(instrument, HANDS["one-finger-per-fret"])
    outer = note_parts(instrument, states, Weights(outer=7.0))["outer"]
    paid = dict(zip(states.string.tolist(), outer.tolist(), strict=True))
    assert [paid[string] for string in sorted(paid)] == [7000 * out for out in strings_out]


def test_against_the_order_of_the_strings_only_where_they_are_in_order() -> None:
    """``contrary`` by arithmetic: an open string, and string and pitch go opposite ways."""
    paid = {}
    for name in ("guitar", "ukulele"):
        instrument = instrument_named(name)
        states = all_states(instrument, HANDS["one-finger-per-fret"])
        low = states.only((states.position <= 2) & (states.fret <= 5))
        first, then = (grid.ravel() for grid in np.indices((len(low), len(low))))
        steps = low.only(first), low.only(then)
        found = step_parts(instrument, *steps, Weights(contrary=1.0))["contrary"] > 0
        rows = zip(*((at.string, at.midi, at.finger) for at in steps), strict=True)
        (string, lower), (midi, higher), (finger, other) = (tuple(row) for row in rows)
        ordered = (string != 4) & (lower != 4) if name == "ukulele" else True
        opposite = ((higher > midi) & (lower > string)) | ((higher < midi) & (lower < string))
        assert (found == (opposite & ((finger == 0) | (other == 0)) & ordered)).all()
        paid[name] = found.any()
    assert paid == {"guitar": True, "ukulele": True}


if __name__ == "__main__":
    print(table(), end="")
