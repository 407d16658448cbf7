"""How scales differ, which hold what, and how bright they are."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import SCALES, Degree
from fretpath.music.key import MODES
from fretpath.music.scales import (
    MOODS,
    apart_from,
    brightness,
    nearest_scales,
    neighbors,
    scales_holding,
)

# The one degree each mode changes against its brighter neighbor (common practice).
CHANGES = ["#4 4", "7 b7", "3 b3", "6 b6", "2 b2", "5 b5"]


def test_the_row_of_modes_changes_one_degree_at_a_time() -> None:
    for (bright, dark), change in zip(pairwise(MODES), CHANGES, strict=True):
        gap = next(g for g in neighbors(SCALES[bright]) if g.other.name == dark)
        assert [*map(str, gap.has), *map(str, gap.lacks)] == change.split()
        assert brightness(SCALES[bright]) == brightness(SCALES[dark]) + 1


@pytest.mark.parametrize("name", SCALES)
def test_neighbors_are_all_the_scales_one_degree_away(name: str) -> None:
    """Against a comparison of note letters and semitones that knows nothing of degrees."""
    own = spelled(name)
    expected = set()
    for other in SCALES:
        theirs = spelled(other)
        if len(own) == len(theirs) and len(own & theirs) == len(own) - 1:
            [(letter, _)], [(other_letter, _)] = own - theirs, theirs - own
            if letter == other_letter:
                expected.add(other)
    assert {gap.other.name for gap in neighbors(SCALES[name])} == expected


def spelled(name: str) -> set[tuple[int, int]]:
    return {(d.steps, d.interval.semitones) for d in SCALES[name].degrees}


def test_every_scale_has_a_mood_and_something_that_sets_it_apart() -> None:
    assert set(MOODS) == set(SCALES)
    for scale in SCALES.values():
        gap = apart_from(scale)
        assert gap.has or gap.lacks
        assert gap.other is not scale


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("lydian", "#4 where major has 4"),
        ("dorian", "6 where natural minor has b6"),
        ("phrygian", "b2 where natural minor has 2"),
        ("mixolydian", "b7 where major has 7"),
        ("major pentatonic", "major without 4 7"),
        ("blues", "minor pentatonic and b5"),
        ("harmonic minor", "7 where natural minor has b7"),
    ],
)
def test_what_sets_it_apart(name: str, says: str) -> None:
    assert str(apart_from(SCALES[name])) == says


@given(st.sets(st.sampled_from(sorted({d for s in SCALES.values() for d in s.names}))))
def test_scales_that_hold_degrees(names: set[str]) -> None:
    held = scales_holding(names)
    spelled_right = [h.scale.name for h in held if h.as_spelled]
    assert set(spelled_right) == {n for n, s in SCALES.items() if names <= set(s.names)}
    sounds = {Degree.parse(n).interval.semitones % 12 for n in names}
    assert {h.scale.name for h in held} == {
        n for n, s in SCALES.items() if sounds <= set(s.semitones)
    }
    for first, second in combinations(held, 2):
        assert first.as_spelled or not second.as_spelled
        if first.as_spelled == second.as_spelled:
            assert len(first.scale.degrees) <= len(second.scale.degrees)
    for holding in held:
        assert len(holding.spare) == len(holding.scale.degrees) - len(sounds)


def test_the_question_of_the_lydian_fourth() -> None:
    held = scales_holding("1 2 3 #4 5".split())
    assert held[0].scale.name == "lydian"
    assert not any(h.scale.name == "major" for h in held)


def test_octaves_do_not_matter() -> None:
    assert scales_holding(["1", "9", "b10"]) == scales_holding(["1", "2", "b3"])


def test_flat_five_and_sharp_four_hold_each_other_only_by_sound() -> None:
    names = {h.scale.name: h.as_spelled for h in scales_holding(["1", "b3", "#4"])}
    assert names["hungarian minor"] is True
    assert names["blues"] is False


def test_the_nearest_scale_when_none_holds_them() -> None:
    chromatic = ["1", "b2", "2", "b3"]
    assert scales_holding(chromatic) == ()
    scale, missing = nearest_scales(chromatic)[0]
    assert len(missing) == 1
    assert set(chromatic) - set(map(str, missing)) <= set(scale.names)
