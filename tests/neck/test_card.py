"""A student's card: what is written is read back, and what is wrong is told with its line."""

from __future__ import annotations

import argparse
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    INSTRUMENTS,
    Card,
    FretpathError,
    RequestError,
    ScoreFileError,
    Setup,
    arrange,
    parse_melody,
)
from fretpath import format_card as written
from fretpath.neck.hand import HANDS
from fretpath.neck.setup import LARGEST
from fretpath.neck.terms import PLAYING


def cards() -> st.SearchStrategy[Card]:
    """Cards of every instrument, any entry left out."""
    maybe = st.none
    return st.builds(
        Card,
        student=maybe() | st.text(st.characters(exclude_categories=("Cs",)), max_size=20),
        instrument=maybe() | st.sampled_from(sorted(INSTRUMENTS)),
        capo=maybe() | st.integers(0, 3),
        scale_length=maybe() | st.sampled_from(("30in", "762mm")),
        left_handed=st.booleans(),
        hand=maybe() | st.sampled_from(sorted(HANDS)),
        reach=maybe() | st.sampled_from(("80mm", "3.5in")),
        highest_fret=maybe() | st.integers(0, 8),
        accidentals=maybe() | st.integers(0, 7),
        playing=maybe() | st.sampled_from(PLAYING),
        known_degrees=maybe() | st.sampled_from(("1 2 3", "1 b3 5")),
        weights=st.dictionaries(
            st.sampled_from(("shift", "region_at", "outer")), st.floats(0, 500), max_size=3
        ).map(lambda prices: tuple(prices.items())),
    )


@given(cards())
def test_a_card_is_read_back_as_it_was_written(card: Card) -> None:
    assert Card.parse(written(card)) == card


@given(cards())
def test_a_card_is_toml_for_any_reader(card: Card) -> None:
    entries = tomllib.loads(written(card))
    assert entries.pop("weights", {}) == dict(card.weights)
    assert entries == {k: v for k, v in card.entries.items() if k != "weights"}


@given(st.text(max_size=80))
def test_any_text_is_a_card_or_an_error_that_says_why(text: str) -> None:
    known: Card | str
    try:
        known = Card.parse(text, "wren.toml")
    except FretpathError as problem:
        known = str(problem)
    assert isinstance(known, Card) or "wren.toml" in known


FULL = """\
student = "Wren"
instrument = "ukulele"
tuning = "G4 C4 E4 A4"
hand = "extended"
reach = "80mm"
highest_fret = 5
playing = "in-position"
known_degrees = "1 2 3 5"

[weights]
region_at = 110
"""


def test_the_setup_of_a_card() -> None:
    setup = Setup.from_card(FULL)
    assert setup.instrument.name == "ukulele"
    assert setup.hand.name == "extended"
    assert setup.hand.largest_span == 80.0
    assert setup.limits.highest_fret == 5
    assert setup.weights == Setup.of("ukulele", playing="in-position").weights.set("region_at=110")
    assert max(arrange(parse_melody("1 2 3 5 8 9"), setup).frets) <= 5


def test_an_empty_card_is_the_usual_bass() -> None:
    assert Setup.from_card("") == Setup.of("bass")


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ("reach", "raech", 'wren.toml, line 5: unknown entry "raech"; did you mean "reach"?'),
        ('"ukulele"', '"ukuele"', 'line 2: unknown instrument "ukuele"; did you mean "ukulele"?'),
        ("region_at", "region_ta", 'line 11: unknown weight "region_ta"; did you mean'),
        ("80mm", "8000mm", 'line 5: "8000mm" is not a reach'),
        ("fret = 5", "fret = 50", "line 6: the highest fret is 0 to 12 here, not 50"),
        ("fret = 5", 'fret = "5"', "line 6: highest_fret is a whole number, not 5"),
        ("fret = 5", "fret = true", "line 6: highest_fret is a whole number, not True"),
        ("1 2 3 5", "1 2 H", 'line 8: "H" is not a degree'),
        ("extended", "extend", 'line 4: unknown hand "extend"; did you mean "extended"?'),
        ("in-position", "in position", 'line 7: unknown way of playing "in position"'),
        ("G4 C4 E4 A4", "G4 C4 X4", "line 3: "),
        ("= 110", "= nan", "wren.toml, line 11: the weight region_at is"),
        ("= 110", '= "110"', "line 11: the weight region_at needs a number"),
    ],
)
def test_what_is_wrong_is_told_with_its_line(before: str, after: str, says: str) -> None:
    with pytest.raises(RequestError) as problem:
        Card.parse(FULL.replace(before, after, 1), "wren.toml")
    assert says in str(problem.value)


@pytest.mark.parametrize(
    "text",
    ["student = Wren", "a" * (LARGEST + 1), "x = " + "[" * 5000, "capo = " + "9" * 5000, "\0"],
)
def test_what_is_no_card_is_refused(text: str) -> None:
    with pytest.raises(ScoreFileError):
        Card.parse(text)


def test_the_command_line_and_python_have_the_same_setup() -> None:
    from fretpath.commands import options

    parser = argparse.ArgumentParser()
    options.add_instrument_options(parser)
    options.add_hand_options(parser)
    words = (
        "--instrument ukulele --hand extended --reach 80mm --highest-fret 5 "
        "--playing in-position --weights region_at=110 --tuning"
    )
    asked = parser.parse_args([*words.split(), "G4 C4 E4 A4"])
    assert options.setup_from(asked) == Setup.from_card(FULL)
