"""Fingerings that players accept, two octaves of every scale, and phrases that come again.

``tests/data/fingerings.json`` and ``fingerings_more.json`` hold melodies with the fingerings that
are right, common practice written down before any run.  The lists are not complete: those that come
out otherwise are named here, and docs/hand_model.md says of each whether it is as good or open.
"""

from __future__ import annotations

import argparse
import json
import random
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from fretpath import (
    SCALES,
    Arrangement,
    Fingering,
    Interval,
    Key,
    Limits,
    Melody,
    Setup,
    UnplayableError,
    arrange,
    parse_melody,
    reasons,
    replan,
    ways,
)
from fretpath.commands import tab
from fretpath.commands.options import arrangement_from
from fretpath.neck.line import NoteLimit
from fretpath.neck.planner import planner_for
from fretpath.neck.repeats import moved_spans, repeated_spans

ROOT = Path(__file__).parents[2]
LABELED = json.loads((ROOT / "tests" / "data" / "fingerings.json").read_text(encoding="utf-8"))
OTHERWISE = {"b11", "b13", "b19", "g06", "g14", "g18", "m03", "n03", "x11"}
"""Those that come out otherwise; shorter is better, longer is a step back."""


MORE = json.loads((ROOT / "tests" / "data" / "fingerings_more.json").read_text(encoding="utf-8"))
MORE_OTHERWISE = {"p08", "p10", "p22", "p26"}


def fingered(item: dict[str, Any]) -> Arrangement:
    """The melody of an item as ``fretpath tab`` fingers it."""
    parser = argparse.ArgumentParser()
    tab.add_options(parser)
    words = [item["melody"], "--instrument", item["instrument"], *item["options"]]
    return arrangement_from(parser.parse_args(words))


def is_same(found: Arrangement, told: list[str]) -> bool:
    """Whether every place, and every finger that is told, is the one told."""
    if len(told) != len(found):
        return False
    for fingering, text in zip(found.fingerings, told, strict=True):
        place, _, finger = text.partition(".")
        if f"{fingering.string}-{fingering.fret}" != place:
            return False
        if finger and int(finger) != fingering.finger:
            return False
    return True


@pytest.mark.parametrize(
    ("items", "named", "same"), [(LABELED, OTHERWISE, 33), (MORE, MORE_OTHERWISE, 26)]
)
def test_what_players_accept(items: list[dict[str, Any]], named: set[str], same: int) -> None:
    otherwise = {
        item["id"]
        for item in items
        if not any(is_same(fingered(item), told) for told in item["fingerings"])
    }
    assert otherwise <= named
    assert len(items) - len(named) >= same


def test_each_that_comes_out_otherwise_is_told_in_the_docs() -> None:
    page = (ROOT / "docs" / "hand_model.md").read_text(encoding="utf-8")
    for name in OTHERWISE | MORE_OTHERWISE:
        assert f"| {name} |" in page


# -- two octaves ----------------------------------------------------------------------------------


@cache
def two_octaves() -> tuple[Arrangement, ...]:
    """Two octaves up of fourteen scales from each of twelve roots, E1 to Eb2, on a bass."""
    found = []
    for name in list(SCALES)[:14]:
        for tonic in "E F F# G Ab A Bb B C Db D Eb".split():
            found.append(arrange(_two_octaves(Key(tonic, name)), "bass"))
    return tuple(found)


def _two_octaves(key: Key) -> Melody:
    names = [str(degree) for degree in key.scale.degrees]
    higher = [_up(name) for name in names]
    melody = parse_melody(" ".join([*names, *higher, "15"]), key=key)
    return melody.in_octave(1 if key.tonic_pitch(1).midi >= 28 else 2)


def _up(name: str) -> str:
    """A degree an octave higher: ``b3`` becomes ``b10``."""
    sign = name.rstrip("0123456789")
    return f"{sign}{int(name[len(sign) :]) + 7}"


def shifts(found: Arrangement) -> list[tuple[Fingering, Fingering]]:
    """The notes before and after each shift."""
    return [(a, b) for a, b in pairwise(found.fingerings) if a.position != b.position]


class TestTwoOctavesOnBass:
    def test_there_are_all_of_them(self) -> None:
        assert len(two_octaves()) == 14 * 12

    def test_shifts_are_few(self) -> None:
        assert sum(len(shifts(found)) for found in two_octaves()) <= 360

    def test_no_finger_but_the_index_slides(self) -> None:
        for found in two_octaves():
            assert not [b for a, b in shifts(found) if a.finger == b.finger >= 2]

    def test_few_shifts_up_land_on_the_weak_fingers(self) -> None:
        landings = [
            b
            for found in two_octaves()
            for a, b in shifts(found)
            if b.position > a.position and b.finger >= 3
        ]
        assert len(landings) <= 80

    def test_no_open_string_with_the_hand_at_v_or_above(self) -> None:
        for found in two_octaves():
            assert not [f for f in found.fingerings if f.finger == 0 and f.position >= 5]


# -- phrases that come again ----------------------------------------------------------------------


def aaba(lot: random.Random) -> Melody:
    """A tune of four phrases of eight notes, the first, second and fourth the same."""

    def phrase() -> str:
        at, degrees = lot.randint(1, 8), []
        for _ in range(8):
            degrees.append(str(at))
            at = max(1, min(12, at + lot.choice([-4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4])))
        return " ".join(degrees)

    first, second = phrase(), phrase()
    key = lot.choice("C D E F G A Bb Eb".split())
    return parse_melody("\n".join([first, first, second, first]), key=key)


@pytest.mark.parametrize("name", ["bass", "guitar", "ukulele", "mandolin"])
def test_a_phrase_that_comes_again_is_fingered_the_same(name: str) -> None:
    lot, differ, freely = random.Random(3), 0, 0
    for _ in range(100):
        try:
            free = arrange(aaba(lot), Setup.of(name, repeats="free"))
        except UnplayableError:
            continue
        freely += len(_phrases(free)) > 1
        held = arrange(free.melody, name)
        assert free.cost <= held.cost <= free.cost * 1.1
        if len(_phrases(held)) > 1:
            differ += 1
            assert "fingered anew" in str(held.remarks[0])
            assert all(_cost_held(held, number) > 1.1 * free.cost for number in (0, 1, 3))
        else:
            assert not held.remarks
    assert differ <= 5
    assert freely >= differ


def _phrases(found: Arrangement) -> set[tuple[Fingering, ...]]:
    """The different fingerings of the phrase A."""
    f = found.fingerings
    return {f[:8], f[8:16], f[24:]}


def _cost_held(found: Arrangement, number: int) -> int:
    """What the tune costs with every A held to the fingering of one of them."""
    model = found.fingerings[8 * number : 8 * number + 8]
    planner = planner_for(found.setup)
    held = {
        start + i: NoteLimit(f.string, f.fret, f.position, f.finger)
        for start in (0, 8, 24)
        for i, f in enumerate(model)
    }
    best = planner.solve(planner.line(found.melody).holding(held))
    assert best is not None
    return best.cost


class TestWhatRepeats:
    def spans(self, text: str) -> list[list[tuple[int, int]]]:
        return [[(s.start, s.stop) for s in spans] for spans in repeated_spans(parse_melody(text))]

    def test_phrases_of_the_same_pitches_and_lengths(self) -> None:
        assert self.spans("1 2 3\n4 5 6\n1 2 3") == [[(0, 3), (6, 9)]]
        assert self.spans("1 2 3:2\n4 5 6\n1 2 3") == []
        assert self.spans("1 2\n4 5\n1 2") == []

    def test_bars_outside_the_phrases_that_repeat(self) -> None:
        assert self.spans("meter: 3/4\n\n1 2 3 | 4 5 6 | 1 2 3") == [[(0, 3), (6, 9)]]
        text = "meter: 3/4\n\n1 2 3 | 4 5 6 |\n1 2 3 | 4 5 6 |\n7 6 5 | 7 6 5"
        assert self.spans(text) == [[(0, 6), (6, 12)], [(12, 15), (15, 18)]]

    def test_the_longest_first(self) -> None:
        text = "1 2 3\n5 4 3 2\n1 2 3\n5 4 3 2"
        assert self.spans(text) == [[(3, 7), (10, 14)], [(0, 3), (7, 10)]]

    def test_a_place_that_the_teacher_asks_for_comes_first(self) -> None:
        assert self.spans("1@4-8 2 3\n4 5 6\n1 2 3") == []


class TestMovedPhrases:
    def shape(self, found: Arrangement, start: int, stop: int) -> list[tuple[int, int, int]]:
        """Finger, and string and fret against the first, note by note."""
        part = found.fingerings[start:stop]
        return [(f.finger, f.string - part[0].string, f.fret - part[0].fret) for f in part]

    def test_spans(self) -> None:
        melody = parse_melody("C2 D2 E2\nF2 G2 A2\nC2 D2 Eb2")
        assert moved_spans(melody) == [[range(0, 3), range(3, 6)]]
        assert moved_spans(parse_melody("C2 D2 E2\nG2 F2 G2\nC2 D2 E2")) == []

    @pytest.mark.parametrize(("name", "more"), [("bass", 10), ("guitar", 0)])
    def test_one_shape_where_that_costs_no_more_than_a_tenth(self, name: str, more: int) -> None:
        lot, freely, held = random.Random(9), 0, 0
        for _ in range(60):
            melody = _with_a_phrase_moved(lot, name)
            try:
                free = arrange(melody, Setup.of(name, repeats="free"))
            except UnplayableError:
                continue
            found = arrange(melody, name)
            assert free.cost <= found.cost <= 1.1 * free.cost
            freely += self.shape(free, 0, 4) == self.shape(free, 16, 20)
            held += self.shape(found, 0, 4) == self.shape(found, 16, 20)
        assert held >= freely + more


def _with_a_phrase_moved(lot: random.Random, name: str) -> Melody:
    """A phrase of four notes, one of twelve, and the first one at another pitch."""
    degrees = [lot.randint(1, 6) for _ in range(4)] + [lot.randint(1, 12) for _ in range(12)]
    key = lot.choice("C D F G A Bb".split())
    melody = arrange(parse_melody(" ".join(map(str, degrees)), key=key), name).melody
    pitches = melody.pitches
    up = Interval.parse(lot.choice(["P4", "P5", "M2"]))
    lines = (pitches[:4], pitches[4:], [pitch + up for pitch in pitches[:4]])
    return parse_melody("\n".join(" ".join(map(str, line)) for line in lines))


def test_up_one_string_the_hand_moves_and_the_fingers_do_not_creep() -> None:
    """An octave on one string of a bass begins low, in groups that the index finger leads."""
    alone = Setup.of("bass", limits=Limits(one_string=True))
    found = arrange(parse_melody("1 2 3 4 5 6 7 8", key="A"), alone)
    assert max(found.positions) <= 9
    assert len(shifts(found)) <= 2
    assert all(after.finger <= 2 for _, after in shifts(found))


def test_of_the_strings_it_is_the_one_on_which_the_line_lies_lowest() -> None:
    scale = parse_melody("E4 F4 G4 A4 B4 C5 D5 E5")
    found = arrange(scale, Setup.of("guitar", limits=Limits(one_string=True)))
    assert found.frets == (0, 1, 3, 5, 7, 8, 10, 12)


class TestAPedal:
    LINE = "D3 A3 D3 B3 D3 C4 D3 B3 D3 D4 D3 C4 D3 B3 D3 A3"

    def held(self, text: str, **limits: Any) -> set[tuple[int, int]]:
        """The places of the first pitch."""
        found = arrange(parse_melody(text), Setup.of("guitar", limits=Limits(**limits)))
        first = found.melody.pitches[0]
        return {
            (f.string, f.fret)
            for f, pitch in zip(found.fingerings, found.melody.pitches, strict=True)
            if pitch == first
        }

    def test_rings_on_the_open_string_and_the_line_keeps_off_it(self) -> None:
        found = arrange(parse_melody(self.LINE), "guitar")
        assert {(f.string, f.fret) for f in found.fingerings[::2]} == {(4, 0)}
        assert 4 not in found.strings[1::2]

    def test_on_both_sides_of_the_line_and_struck_twice(self) -> None:
        assert self.held("E4 B3 E4 C4 E4 D4 E4 B3 E4") == {(1, 0)}
        assert self.held("A2 A2 E3 A2 A2 F3 A2 A2 G3 A2 A2") == {(5, 0)}

    def test_is_no_pedal_where_the_line_is_two_notes_or_crosses_it(self) -> None:
        planner = planner_for(Setup.of("guitar"))
        for text in ("D3 A3 D3 B3 D3 A3 D3 B3", "D3 A3 D3 B2 D3 C4 D3 B3", "D3 A3 D3 B3 D3 C4"):
            assert not planner.line(parse_melody(text)).limits

    def test_what_is_asked_for_comes_first(self) -> None:
        assert (4, 0) not in self.held(self.LINE, open_strings="forbid")
        assert (4, 0) not in self.held(self.LINE, open_strings="avoid")
        assert (5, 5) in self.held("D3@5-5" + self.LINE[2:])
        assert self.held(self.LINE, no_shift=True) == {(4, 0)}
        found = arrange(parse_melody(self.LINE), "guitar")
        closed = [way for way in ways(found.melody, "guitar", 3) if not way.figures.open_strings]
        moved = replan(found, 3)
        assert (moved.strings[2], moved.frets[2]) == (5, 5)
        assert len(closed) == 1
        for way in (found, closed[0], moved):
            parts = sum(sum(reason.parts.values()) for reason in reasons(way))
            assert round(1000 * parts) == way.cost
        with pytest.raises(UnplayableError, match="no other place"):
            replan(arrange(parse_melody("D3 A3 D3@-0 B3"), "guitar"), 3)


def test_no_open_string_in_the_middle_of_a_scale_against_the_order_of_the_strings() -> None:
    """Two octaves of a scale on a guitar: no lone open string on the way from string to string."""
    for tonic in "A Bb B C D".split():
        for name in ("major", "natural minor", "dorian"):
            melody = _two_octaves(Key(tonic, name))
            found = arrange(melody.in_octave(2 if tonic in "AB" or tonic == "Bb" else 3), "guitar")
            rows = list(pairwise(zip(found.strings, found.fingers, strict=True)))
            assert not [1 for (a, f), (b, g) in rows if b > a and 0 in (f, g)]


def test_a_free_octave_is_not_taken_high_on_the_neck() -> None:
    for name in ("cello", "violin", "mandolin", "guitar", "bass"):
        for tonic in "C D E F G A Bb".split():
            scale = parse_melody("1 2 3 4 5 6 7 8", key=tonic)
            assert max(arrange(scale, name).positions) <= 9


def test_hardest_moves_are_small_without_creeping(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two octaves of seven scales from eight roots; the figures stand in docs/hand_model.md."""
    tunes = [
        _two_octaves(Key(tonic, name))
        for name in list(SCALES)[:7]
        for tonic in "E F G Ab A Bb C D".split()
    ]

    def figures(objective: str) -> tuple[int, int, float]:
        found = [arrange(tune, Setup.of("bass", objective=objective)).figures for tune in tunes]
        counts = [one.shifts for one in found]
        longest = sum(one.longest_shift for one in found) / len(found)
        return sum(counts), max(counts), round(longest)

    least, now = figures("total"), figures("hardest")
    monkeypatch.setattr("fretpath.neck.search.MARGIN", 1)
    before = figures("hardest")
    page = (ROOT / "docs" / "hand_model.md").read_text(encoding="utf-8")
    for words, (shifts, most, longest) in (
        ("least effort", least),
        ("hardest, at most twice", now),
        ("hardest, at most once", before),
    ):
        assert f"| {words} | {shifts} | {most} | {longest} mm |" in page, (words, shifts)
    assert now[0] < 2 * least[0]
    assert now[2] < least[2]
