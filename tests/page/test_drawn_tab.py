"""The drawn tab: every note once, in its place and inside the paper, and nothing on another."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Melody, arrange, parse_melody
from fretpath.page.drawn_tab import LINE, DrawnTab
from fretpath.page.rows import EVERYTHING, NOTHING_HIDDEN, Blanks, Subject
from fretpath.page.sheet import SHEET_ROWS
from tests.page.melodies import barred_melodies

HIDES = st.sampled_from([NOTHING_HIDDEN, EVERYTHING, Blanks.parse("every-2nd")])
WIDTHS = st.sampled_from([92.0, 180.0])


def drawn(
    melody: Melody, hide: Blanks = NOTHING_HIDDEN, width: float = 180.0, on: str = "bass"
) -> DrawnTab:
    return DrawnTab(Subject(arrange(melody, on), hide=hide), SHEET_ROWS, width)


@given(barred_melodies(), HIDES, WIDTHS)
@settings(max_examples=60, deadline=None)
def test_every_event_is_drawn_once_in_order_and_inside(melody, hide, width) -> None:
    tab = drawn(melody, hide, width)
    events = [e for s in tab.systems for bar in s.bars for e in bar]
    assert events == list(range(len(melody)))
    assert all(system.bars and all(map(len, system.bars)) for system in tab.systems)
    for system in tab.systems:
        root = ElementTree.fromstring(system.svg)
        wide, high = map(float, root.get("viewBox").split()[2:])
        assert wide == width + 1
        assert high == pytest.approx(system.height, abs=0.1)
        for part in root.iter():
            for name, most in (("x", wide), ("x1", wide), ("x2", wide), ("y", high), ("y2", high)):
                assert -0.1 <= float(part.get(name, 0)) <= most + 0.1


@given(barred_melodies(), WIDTHS)
@settings(max_examples=60, deadline=None)
def test_frets_stand_on_their_strings_over_their_degrees(melody, width) -> None:
    """Read back by eye: (string by height, number) in the order of the line."""
    tab = drawn(melody, width=width)
    arrangement = tab.subject.arrangement
    places, degrees = [], []
    for system in tab.systems:
        root = ElementTree.fromstring(system.svg)
        texts = [(float(t.get("x")), float(t.get("y")), t) for t in root if t.tag.endswith("text")]
        frets = sorted((x, y, t.text) for x, y, t in texts if t.get("class") == "fret")
        bold = sorted(
            (x, t.text) for x, _, t in texts if t.get("font-weight") and not t.get("class")
        )
        lines = sorted({float(t.get("y1")) for t in root.iter() if t.get("stroke") == LINE})
        for x, y, number in frets:
            string = min(range(4), key=lambda n: abs(lines[n] - (y - 0.35 * 3.9))) + 1
            places.append((string, int(number)))
            assert any(abs(x - at) < 0.01 for at, _ in bold)
        degrees += [word for _, word in bold]
        assert [x for x, _, _ in frets] == [at for at, _ in bold]
    assert places == list(zip(arrangement.strings, arrangement.frets, strict=True))
    signs = {"#": "\u266f", "b": "\u266d"}
    wanted = ["".join(signs.get(c, c) for c in str(degree)) for degree in melody.degrees]
    assert degrees == wanted


@given(barred_melodies(), WIDTHS)
@settings(max_examples=60, deadline=None)
def test_longer_notes_have_at_least_as_much_room(melody, width) -> None:
    tab = drawn(melody, EVERYTHING, width)
    for system in tab.systems:
        for bar in system.bars:
            spaces = tab.spaces(bar, system.scale)
            for event, space in zip(bar, spaces, strict=True):
                assert space >= system.scale * float(melody.notes[event].beats) - 1e-9


@given(st.integers(1, 12), st.booleans())
def test_systems_hold_as_many_bars_where_they_fit(bars: int, hidden: bool) -> None:
    melody = parse_melody("meter: 4/4\n\n" + " | ".join(["1 2 3 4"] * bars), key="C")
    counts = [len(s.bars) for s in drawn(melody, EVERYTHING if hidden else NOTHING_HIDDEN).systems]
    assert len(set(counts[:-1])) <= 1
    assert counts[-1] <= counts[0] <= 4


def test_a_pickup_does_not_count_as_a_bar() -> None:
    melody = parse_melody("meter: 4/4\n\n5 | " + " | ".join(["1 2 3 4"] * 8), key="C")
    assert [len(system.bars) for system in drawn(melody).systems] == [5, 4]


def test_without_a_key_names_are_written() -> None:
    melody = parse_melody("meter: 4/4\n\nC2 D2 E2 F2")
    tab = drawn(melody, EVERYTHING)
    assert tab.boxes == "note"
    assert tab.systems[0].svg.count('class="box"') == 4


def test_repeat_signs_and_the_last_bar_line() -> None:
    melody = parse_melody("meter: 4/4\n\n|: 1 2 3 4 :| 5 4 3 2 | 1:4", key="C")
    svg = drawn(melody).systems[0].svg
    dots = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', svg)]
    assert len(dots) == 4
    thick = sorted(float(x) for x in re.findall(r'x1="([\d.]+)"[^>]*stroke-width="0.9"', svg))
    assert len(thick) == 3
    assert dots[0] > thick[0]
    assert dots[2] < thick[1]


def test_a_change_of_key_is_told_unless_it_would_tell_what_is_hidden() -> None:
    text = "key: G\nmeter: 4/4\n\n1 2 3:2 |\nkey: G minor\nmeter: 3/4\n1 2 b3"
    melody = parse_melody(text)
    shown, hidden = (
        "".join(s.svg for s in drawn(melody, hide).systems) for hide in (NOTHING_HIDDEN, EVERYTHING)
    )
    assert "G natural minor" in shown
    assert "minor" not in hidden
    assert "3/4" in shown
    assert "3/4" in hidden


def test_boxes_of_a_dense_bar_go_on_in_another_line() -> None:
    melody = parse_melody("meter: 4/4\n\n" + "(1 2 3 4):1/8 " * 8, key="C")
    tab = drawn(melody, EVERYTHING)
    assert len(tab.systems) > 1
    for system in tab.systems:
        found = re.findall(r'class="box" x="([\d.]+)"', system.svg)
        assert all(b - a >= 8.6 for a, b in pairwise(map(float, found)))


def test_the_count_names_the_beat_on_which_a_note_or_a_rest_begins() -> None:
    tab = drawn(parse_melody("meter: 4/4\n\n1 r:2 (2 3):1/2 | 3:3 r | - 4:3", key="C"))
    (count,) = (row for row in tab.shown if row.name == "count")
    told = [tab.token(count, event) for event in range(len(tab.subject.melody))]
    assert told == ["1", "[2]", "4", "&", "1", "[4]", "[1]", "2"]


@pytest.mark.parametrize(("pickup", "bars"), [("5:2", [2, 1]), ("5:3", [1, 1, 1])])
def test_a_pickup_of_half_a_bar_at_the_most_stands_beside_the_first(
    pickup: str, bars: list[int]
) -> None:
    tab = drawn(parse_melody(f"meter: 4/4\n\n{pickup} | 1 2 3 4 | 1:4", key="C"))
    assert [len(system.bars) for system in replace(tab, most=1).systems] == bars


def test_phrases_that_begin_with_a_bar_have_no_empty_bar_before_it() -> None:
    tab = drawn(parse_melody("meter: 4/4\n\n1 2 3 4 |\n5 4 3 2 |\n1:4", key="C"))
    assert [list(map(len, system.bars)) for system in tab.systems] == [[4], [4], [1]]


def test_a_note_wider_than_the_paper_stands_alone() -> None:
    text = f"meter: 4/4\n\n1:2 2:2\nwords: {20 * 'a'} {20 * 'b'}"
    tab = drawn(parse_melody(text, key="C"), width=20.0)
    assert [list(map(len, system.bars)) for system in tab.systems] == [[1], [1]]
