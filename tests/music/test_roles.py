"""What a note does between its neighbors, in minimal pairs (common practice)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import SCALES, Degree, Interval, Scale, parse_melody
from fretpath.music.roles import passages, role

ROLES = [
    ("5 #4 5", 1, "neighbor", "lower"),
    ("1 b2 1", 1, "neighbor", "upper"),
    ("5 #4 #4 5", 2, "neighbor", "lower"),
    ("1 b7, 1", 1, "neighbor", "lower"),
    ("4 #4 5", 1, "passing", "up"),
    ("5 #4 4", 1, "passing", "down"),
    ("6 b6 5", 1, "passing", "down"),
    ("2 b2 1", 1, "passing", "down"),
    ("3 #4 5", 1, "scalar", "up"),
    ("8 b7 6", 1, "scalar", "down"),
    ("b2 3 4", 1, "scalar", "up"),
    ("6 #4 5", 1, "enclosure", "up"),
    ("1 #4 6 5", 1, "enclosure", "up"),
    ("4 #2 3", 1, "enclosure", "up"),
    ("1 #4 5", 1, "appoggiatura", "up"),
    ("#4 5 3", 0, "appoggiatura", "up"),
    ("3 b6 5", 1, "appoggiatura", "down"),
    ("5 b6 3", 1, "escape", "down"),
    ("5 #4 8", 1, "escape", "up"),
    ("5 #4", 1, "escape", ""),
    ("8:3/2 b7:1/2 | b7:2 6", 1, "anticipation", ""),
]
NONE = [("2 #4 8", 1), ("3 b7 5", 1), ("#4 #4", 0), ("6 4 5", 1)]


@pytest.mark.parametrize(("text", "note", "kind", "way"), ROLES, ids=lambda value: str(value)[:22])
def test_each_role(text: str, note: int, kind: str, way: str) -> None:
    [passage] = passages(parse_melody(text, key="C"))
    found = role(passage, passage.notes[note])
    assert found is not None
    assert (found.kind, found.way) == (kind, way)


@pytest.mark.parametrize(("text", "note"), NONE)
def test_between_two_leaps_there_is_none(text: str, note: int) -> None:
    [passage] = passages(parse_melody(text, key="C"))
    assert role(passage, passage.notes[note]) is None


def test_a_longer_note_before_the_bar_line_anticipates_nothing() -> None:
    [passage] = passages(parse_melody("8:1/2 b7:3/2 | b7:1 6", key="C"))
    found = role(passage, passage.notes[1])
    assert found is not None
    assert found.kind == "scalar"


@given(
    st.lists(st.builds(Degree, st.integers(-7, 14), st.integers(-1, 1)), min_size=1, max_size=8),
    st.integers(-6, 6),
)
def test_roles_are_the_same_in_every_key(line: list[Degree], fifths: int) -> None:
    melody = parse_melody(" ".join(map(str, line)), key="C")
    moved = melody.transposed(Interval.of_fifths(fifths))
    one, other = passages(melody)[0], passages(moved)[0]
    assert [role(one, note) for note in one.notes] == [role(other, note) for note in other.notes]


@given(st.lists(st.builds(Degree, st.integers(0, 7), st.integers(-1, 1)), min_size=2, max_size=8))
def test_backwards_up_is_down_and_steps_stay_steps(line: list[Degree]) -> None:
    """Neighbors, passing notes and none are the same from behind; where a note leaps is not."""
    forth = passages(parse_melody(" ".join(map(str, line)), key="C"))[0]
    back = passages(parse_melody(" ".join(map(str, line[::-1])), key="C"))[0]
    for note, same in zip(forth.notes, back.notes[::-1], strict=True):
        one, other = role(forth, note), role(back, same)
        if one and one.kind in ("neighbor", "passing"):
            assert other is not None
            assert other.kind == one.kind


@pytest.mark.parametrize("scale", SCALES.values(), ids=lambda scale: scale.name)
def test_every_degree_has_one_plain_form(scale: Scale) -> None:
    assert [scale.base.own(number).number for number in range(1, 8)] == list(range(1, 8))
