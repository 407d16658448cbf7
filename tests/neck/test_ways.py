"""Other ways to play it, the reasons for one, and planning again from a note on."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fretpath import (
    HANDS,
    Arrangement,
    Limits,
    Melody,
    RequestError,
    UnplayableError,
    Weights,
    arrange,
    describe,
    instrument_named,
    parse_melody,
    reasons,
    replan,
    ways,
)
from fretpath.neck.setup import Setup
from fretpath.neck.ways import set_apart, ways_apart
from fretpath.page.captions import positions_line
from tests.neck.test_physics import tunes
from tests.neck.test_search import Task, Way, prices

SHORT_BASS = replace(instrument_named("bass"), frets=8)
SHORT_GUITAR = replace(instrument_named("guitar"), frets=6)
MOST_PATHS = 3_000


def places(arrangement: Arrangement) -> list[tuple[int, int]]:
    """(string, fret) of each note."""
    return list(zip(arrangement.strings, arrangement.frets, strict=True))


def ways_by_trying(task: Task, count: int) -> list[int]:
    """Costs of the best ways, each apart from all before it in at least half of its notes.

    Written from the definition, for melodies of one stretch: all paths, sorted, one after another.
    """
    note, step = prices(task)
    layers = task.ways()
    movable = [len({(fret, string) for fret, _, string in layer}) > 1 for layer in layers]

    def cost(path: tuple[Way, ...]) -> int:
        steps = (step(n, *pair) for n, pair in enumerate(itertools.pairwise(path)))
        return sum(map(note, path)) + sum(steps)

    paths = sorted((cost(path), path) for path in itertools.product(*layers))
    taken: list[set[tuple[int, int]]] = [set() for _ in layers]
    found: list[int] = []
    for total, path in paths:
        here = [(fret, string) for fret, _, string in path]
        shared = sum(h in t and m for h, t, m in zip(here, taken, movable, strict=True))
        if not found or shared <= sum(movable) // 2:
            found.append(total)
            for place, there in zip(here, taken, strict=True):
                there.add(place)
            if len(found) == count or not any(movable):
                break
    return found


class TestWays:
    @given(tunes(high=9, most=5), st.sampled_from(["forbid", "allow"]))
    def test_are_the_best_by_trying_every_path(self, tune: Melody, open_strings: str) -> None:
        task = Task(
            tune,
            SHORT_BASS,
            HANDS["one-finger-per-fret"],
            Weights(),
            Limits(open_strings=open_strings),
        )
        sizes = 1
        for layer in task.ways():
            sizes *= len(layer)
        assume(sizes <= MOST_PATHS)
        found = ways_apart(arrange(tune, Setup.of(SHORT_BASS, limits=task.limits)), 4)
        most = 2 * found[0].cost + 50_000
        tried = ways_by_trying(task, 4)
        dear = next((n for n, cost in enumerate(tried) if cost > most), 4)
        assert [way.cost for way in found] == tried[:dear]

    def test_the_scale_lies_twice_on_a_bass(self) -> None:
        # Exhaustive: exactly two fretted paths of C major lie inside a window of four frets.
        scale = parse_melody("key: C\noctave: 2\n\n1 2 3 4 5 6 7 8")
        short = replace(instrument_named("bass"), frets=12)
        found = ways(scale, Setup.of(short, limits=Limits(open_strings="forbid")), 4)
        still = {way.frets for way in found if not way.figures.shifts}
        assert still == {(3, 5, 2, 3, 5, 2, 4, 5), (8, 10, 7, 8, 10, 7, 9, 10)}

    @given(tunes(most=40), st.sampled_from(["bass", "guitar", "banjo"]))
    def test_no_way_is_another_with_a_note_moved(self, tune: Melody, name: str) -> None:
        free = replace(tune, octave_free=True)
        found = ways_apart(arrange(free, name), 4)
        assert sorted(way.cost for way in found) == [way.cost for way in found]
        for later, way in enumerate(found):
            for earlier in found[:later]:
                for start in range(0, len(tune), 16):
                    stretch = slice(start, start + 16)
                    stayed = [
                        a == b
                        for a, b, pitch in zip(
                            places(way)[stretch],
                            places(earlier)[stretch],
                            way.melody.pitches[stretch],
                            strict=True,
                        )
                        if len(way.instrument.places_of(pitch.midi)) > 1
                    ]
                    assert sum(stayed) <= len(stayed) // 2

    def test_the_same_note_on_two_strings_an_octave_apart(self) -> None:
        # 12 frets make up for one string, so counting places on one line would take them for one.
        octaves = instrument_named("bass").with_changes(tuning="E2 E1")
        found = ways(parse_melody("E2"), octaves, 3)
        assert sorted(places(way)[0] for way in found) == [(1, 12), (2, 0)]

    @given(tunes(most=12), st.sampled_from(["bass", "guitar", "ukulele"]), st.integers(2, 4))
    def test_none_is_much_dearer_and_the_best_is_first(
        self, tune: Melody, name: str, count: int
    ) -> None:
        found = ways(replace(tune, octave_free=True), name, count)
        costs = [way.cost for way in found]
        assert len(found) <= count
        assert costs == sorted(costs)
        assert costs[-1] <= 2 * costs[0] + 50_000
        assert len({way.fingerings for way in found}) == len(found)

    def test_the_open_and_the_closed_way_where_both_exist(self) -> None:
        found = ways(parse_melody("G1 A1 B1 C2 D2 E2 F#2 G2", key="G"), "bass", 2)
        assert {way.figures.open_strings > 0 for way in found} == {True, False}
        for way in found:  # at the prices of the setup, and not of the limit it was found with
            free = Setup.of("bass", repeats="free")
            text = " ".join(
                f"{pitch}@{f.string}-{f.fret}"
                for pitch, f in zip(way.melody.pitches, way.fingerings, strict=True)
            )
            assert arrange(parse_melody(text), free).cost <= way.cost
            assert way.setup == found[0].setup

    def test_no_other_kind_where_open_strings_are_ruled_out(self) -> None:
        closed = Setup.of("bass", limits=Limits(open_strings="forbid"))
        found = ways(parse_melody("G1 A1 B1 C2 D2 E2 F#2 G2", key="G"), closed, 2)
        assert not any(way.figures.open_strings for way in found)

    @given(tunes(most=12), st.sampled_from(["bass", "guitar"]))
    def test_the_words_set_them_apart(self, tune: Melody, name: str) -> None:
        found = ways(replace(tune, octave_free=True), name, 3)
        told = set_apart(found)
        for (one, a), (other, b) in itertools.combinations(zip(told, found, strict=True), 2):
            ends = [(way.fingerings[0], way.fingerings[-1]) for way in (a, b)]
            assert one != other or ends[0] == ends[1]

    def test_count_is_checked(self) -> None:
        with pytest.raises(RequestError, match="1 to 20, not 0"):
            ways(parse_melody("1"), "bass", 0)


class TestDescribe:
    @pytest.mark.parametrize(
        ("limits", "words"),
        [
            (Limits(position=7), "position VII, no shift"),
            (Limits(one_string=True, open_strings="forbid"), "all on the"),
            (Limits(position=2, open_strings="prefer"), "position II with open strings, no shift"),
        ],
    )
    def test_in_the_words_of_a_teacher(self, limits: Limits, words: str) -> None:
        scale = parse_melody("key: C\noctave: 2\n\n1 2 3 4 5 6 7 8")
        assert words in describe(arrange(scale, Setup.of("bass", limits=limits)))


class TestReasons:
    @given(tunes(most=10))
    def test_parts_add_up_to_the_cost(self, tune: Melody) -> None:
        found = arrange(tune, "bass")
        assert sum(round(r.total * 1000) for r in reasons(found)) == found.cost

    @given(tunes(most=8), st.data())
    def test_the_next_best_place_is_what_it_says(self, tune: Melody, data: st.DataObject) -> None:
        found = arrange(tune, "bass")
        why = reasons(found)[data.draw(st.integers(0, len(found) - 1))]
        assume(why.instead is not None)
        assert why.instead
        assert why.extra is not None
        assert (why.instead.string, why.instead.fret) != (why.here.string, why.here.fret)
        there = f"@{why.instead.string}-{why.instead.fret}"
        words = [str(d) for d in tune.degrees]
        words[why.note - 1] += there
        forced = arrange(parse_melody("key: C\noctave: 2\n\n" + " ".join(words)), "bass")
        assert forced.cost == found.cost + round(why.extra * 1000)

    def test_of_a_further_way_the_other_notes_are_held(self) -> None:
        """The way with that one note elsewhere, added up by itself, costs what is said."""
        further = ways(parse_melody("1 2 3 4 5 4 3 2 1", key="C"), "bass", 2)[1]
        why = reasons(further)
        assert all(reason.held for reason in why)
        assert sum(round(reason.total * 1000) for reason in why) == further.cost
        for reason in why:
            assert reason.instead
            assert reason.extra is not None
            columns = [list(c) for c in (further.strings, further.frets, further.positions)]
            fingers = list(further.fingers)
            there = reason.instead
            for column, value in zip(
                columns, (there.string, there.fret, there.position), strict=True
            ):
                column[reason.note - 1] = value
            fingers[reason.note - 1] = there.finger
            moved = replace(
                further,
                strings=tuple(columns[0]),
                frets=tuple(columns[1]),
                positions=tuple(columns[2]),
                fingers=tuple(fingers),
            )
            total = sum(round(r.total * 1000) for r in reasons(moved))
            assert total == further.cost + round(reason.extra * 1000)


class TestReplan:
    @given(tunes(most=8), st.data())
    def test_keeps_what_came_before(self, tune: Melody, data: st.DataObject) -> None:
        found = arrange(tune, "bass")
        note = data.draw(st.integers(1, len(found)))
        try:
            again = replan(found, note)
        except UnplayableError:
            assert len(found.instrument.places_of(tune.pitches[note - 1].midi)) == 1
            return
        assert again.fingerings[: note - 1] == found.fingerings[: note - 1]
        assert places(again)[note - 1] != places(found)[note - 1]
        assert again.cost >= found.cost

    @given(tunes(most=8))
    def test_changes_nothing_when_nothing_is_wrong(self, tune: Melody) -> None:
        found = arrange(tune, "bass")
        assert replan(found, 1, without=False) == found

    def test_there_may_be_no_other_place(self) -> None:
        found = arrange(parse_melody("octave: 1\n\n3 5", key="C"), "bass")
        with pytest.raises(UnplayableError, match=r"note 1 \(3, E1\): there is no other place"):
            replan(found, 1)

    def test_notes_are_counted_from_one(self) -> None:
        with pytest.raises(RequestError, match="notes 1 to 2"):
            replan(arrange(parse_melody("1 2")), 3)


def test_other_ways_of_a_melody_on_one_string_stay_on_it() -> None:
    limits = Limits(one_string=True)
    made = instrument_named("bass").with_changes(tuning="G4 C4 E4 A4")
    setup = replace(Setup.of(made), limits=limits)
    found = ways(parse_melody("1 1 1 1", key="A minor"), setup, 5)
    assert all(len(set(way.strings)) == 1 for way in found)


def test_a_way_is_called_by_the_position_of_its_tab() -> None:
    tune = parse_melody("1 2 3 5 3 2 1", key="C").in_octave(2)
    told = [(describe(way), positions_line(way)) for way in ways(tune, "bass", 3)]
    assert ("position II with open strings, no shift", "II") in told
    assert all(f"position {at}" in words for words, at in told if " " not in at)
