"""The search against a stupid oracle that tries every path, and against networkx on long tunes.

The rule both must keep: the cheapest path; among equals the one whose first differing note comes
first by fret, then position, then string.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from typing import Any

import networkx as nx
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fretpath import (
    HANDS,
    Arrangement,
    Hand,
    Instrument,
    Limits,
    Melody,
    Note,
    OutOfRangeError,
    Pitch,
    Placement,
    Weights,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.neck.lattice import lattice
from fretpath.neck.line import PACE_UNIT, paces_of
from fretpath.neck.planner import Planner
from fretpath.neck.setup import Setup
from fretpath.neck.terms import TERMS, TIMED, step_parts

MOST_PATHS = 40_000
PRICES = {term.name for term in TERMS}
NECKS = {"bass": (4, 7), "guitar": (4, 6), "ukulele": (4, 6), "banjo": (6, 7)}
"""Instruments, each cut down to so few frets that every path can be tried."""
Way = tuple[int, int, int]
"""(fret, position, string): in this order the states settle ties."""


@dataclass(frozen=True)
class Task:
    """What is to be fingered, on what and how."""

    melody: Melody
    instrument: Instrument
    hand: Hand
    weights: Weights
    limits: Limits

    def arranged(self) -> Arrangement:
        """What the library answers."""
        return arrange(
            self.melody,
            Setup(self.instrument, self.hand, self.weights, self.limits, repeats="free"),
        )

    def ways(self) -> list[list[Way]]:
        """Every way to play each note, found by trying every place from every position."""
        return [
            [way for way in self._everywhere(note.pitch.midi) if _kept(way, note.placement)]
            for note in self.melody.notes
            if note.struck and note.pitch
        ]

    def _everywhere(self, midi: int) -> list[Way]:
        neck = range(1, self.instrument.frets_free + 1)
        strings = range(1, len(self.instrument.strings) + 1)
        return sorted(
            (fret, position, string)
            for string, position in itertools.product(strings, neck)
            for fret in {0, *(position + r.offset for r in self.hand.reaches(position))}
            if fret >= 0
            and self.instrument.midi_at(string, fret) == midi
            and (fret > 0 or self.limits.open_strings != "forbid")
        )


def _kept(way: Way, placement: Placement | None) -> bool:
    fret, _, string = way
    if placement is None:
        return True
    return placement.string in (None, string) and placement.fret in (None, fret)


def prices(task: Task) -> tuple[Callable[[Way], int], Callable[[int, Way, Way], int]]:
    """Cost of a note by itself and of the step from note n (from 0) to the next one.

    The one place that asks ``neck/terms.py`` (and ``neck/line.py`` for the pace of each step).
    """
    planner = Planner(Setup(task.instrument, task.hand, task.weights, task.limits))
    states = planner.states
    columns = (states.fret.tolist(), states.position.tolist(), states.string.tolist())
    number = {way: n for n, way in enumerate(zip(*columns, strict=True))}
    costs = planner.costs.tolist()
    paces = paces_of(task.melody, planner.weights)

    def note(way: Way) -> int:
        return int(costs[number[way]])

    def step(n: int, before: Way, after: Way) -> int:
        pair = states.only(np.array([number[before]])), states.only(np.array([number[after]]))
        parts = step_parts(task.instrument, *pair, planner.weights)
        timed = sum(int(part[0]) for name, part in parts.items() if name in TIMED)
        timed = timed * paces[n][before[0] == 0] // PACE_UNIT
        return timed + sum(int(part[0]) for name, part in parts.items() if name not in TIMED)

    return note, step


def best_of_all(task: Task, *, hardest_first: bool = False) -> tuple[Any, ...]:
    """Cost and path of the best path, by adding up every one of them.

    With *hardest_first*, cost and path of the best one that has no step (its target's own cost
    included) more than twice as dear as the dearest of the path whose dearest step is cheapest.
    """
    note, step = prices(task)
    ways = task.ways()
    own = [{way: note(way) for way in layer} for layer in ways]
    between = [
        {pair: step(n, *pair) for pair in itertools.product(*layers)}
        for n, layers in enumerate(itertools.pairwise(ways))
    ]

    def cost(path: tuple[Way, ...]) -> int:
        notes = sum(costs[way] for costs, way in zip(own, path, strict=True))
        return notes + sum(steps(path))

    def steps(path: tuple[Way, ...]) -> list[int]:
        pairs = itertools.pairwise(path)
        return [costs[pair] for costs, pair in zip(between, pairs, strict=True)]

    def hardest(path: tuple[Way, ...]) -> int:
        onto = [costs[way] for costs, way in zip(own, path, strict=True)][1:]
        return max(map(sum, zip(steps(path), onto, strict=True)), default=0)

    paths = list(itertools.product(*ways))
    if hardest_first:
        most = 2 * min(map(hardest, paths))
        paths = [path for path in paths if hardest(path) <= most]
    return min((cost(path), path) for path in paths)


def path_of(arrangement: Arrangement) -> tuple[Way, ...]:
    """The path of an arrangement in the order that settles ties."""
    return tuple((f.fret, f.position, f.string) for f in arrangement.fingerings)


@st.composite
def tasks(draw: st.DrawFn, name: str) -> Task:
    """Up to seven notes on a short neck, so that every path can be tried; prices with many ties."""
    instrument = instrument_named(name).with_changes(frets=draw(st.integers(*NECKS[name])))
    hand = HANDS[draw(st.sampled_from([name for name in HANDS if not HANDS[name].by_letter]))]
    limits = Limits(open_strings=draw(st.sampled_from(["allow", "avoid", "forbid", "prefer"])))
    places = st.tuples(st.integers(1, len(instrument.strings)), st.integers(0, 6))
    count = draw(st.integers(2, 7))
    found = draw(st.lists(places, min_size=count, max_size=count))
    notes = [_note(instrument, place) for place in found]
    task = Task(Melody(tuple(notes)), instrument, hand, draw(all_weights()), limits)
    sizes = [len(layer) for layer in task.ways()]
    while len(sizes) > 1 and math.prod(sizes) > MOST_PATHS:
        sizes.pop()
    assume(all(sizes))
    return Task(Melody(tuple(notes[: len(sizes)])), instrument, hand, task.weights, limits)


def _note(instrument: Instrument, place: tuple[int, int]) -> Note:
    string, fret = place
    midi = instrument.midi_at(string, fret) or instrument.midi_at(string, 0)
    assert midi is not None
    octave, semitone = divmod(midi, 12)
    letter, alter = "CCDEEFFGAABB"[semitone], (0, 1, 0, -1, 0, 0, 1, 0, -1, 0, -1, 0)[semitone]
    return Note(Pitch.spelled(letter, alter, octave - 1))


def all_weights() -> st.SearchStrategy[Weights]:
    """The default prices, or each term free of charge or not."""
    price = st.sampled_from([0.0, 1.0, 8.0])
    return st.just(Weights()) | st.builds(
        Weights, **{field.name: price for field in fields(Weights) if field.name in PRICES}
    )


class TestAgainstEveryPath:
    @pytest.mark.parametrize("name", NECKS)
    def test_cost_and_path(self, name: str) -> None:
        lengths = set()

        @given(tasks(name))
        def check(task: Task) -> None:
            cost, path = best_of_all(task)
            found = task.arranged()
            assert (found.cost, path_of(found)) == (cost, path)
            lengths.add(len(path))

        check()
        assert {2, 4, 6} <= lengths, "the examples have become too short to prove anything"

    def test_placements_are_kept(self) -> None:
        melody = parse_melody("octave: 2\n\n1@4 3@-2 5 8@2-10 5@-10")
        bass = instrument_named("bass").with_changes(frets=12)
        task = Task(melody, bass, HANDS["one-finger-per-fret"], Weights(), Limits())
        found = task.arranged()
        assert (found.cost, path_of(found)) == best_of_all(task)
        assert found.strings[0] == 4
        assert found.frets[1] == 2
        assert (found.strings[3], found.frets[3]) == (2, 10)

    def test_of_two_equal_paths_the_lower_fret_wins_then_position_then_string(self) -> None:
        names = [field.name for field in fields(Weights)]
        free = Weights(**dict.fromkeys(names, 0.0))
        found = arrange(parse_melody("E3 A2 E3"), Setup.of("guitar", weights=free))
        assert found.cost == 0
        assert path_of(found) == ((2, 1, 4), (0, 1, 5), (2, 1, 4))


class TestAgainstNetworkx:
    @pytest.mark.parametrize("name", NECKS)
    def test_cost_and_path_of_a_long_tune(self, name: str) -> None:
        # A wandering tune with leaps, an octave and a fifth wide, of our own making.
        steps = [(7 * i * i + 3 * i) % 12 for i in range(60)]
        melody = parse_melody("key: D major\n\n" + " ".join(str(step + 1) for step in steps))
        found = arrange(melody, name)
        graph = lattice(found.melody, name)
        assert nx.shortest_path_length(graph, "start", "end", weight="total") == found.cost
        assert first_shortest_path(graph) == path_of(found)

    @pytest.mark.parametrize("name", NECKS)
    def test_short_ones_too(self, name: str) -> None:
        @given(tasks(name))
        def check(task: Task) -> None:
            graph = lattice(
                task.melody,
                Setup.of(task.instrument, hand=task.hand, weights=task.weights, limits=task.limits),
            )
            found = task.arranged()
            assert nx.shortest_path_length(graph, "start", "end", weight="total") == found.cost
            assert first_shortest_path(graph) == path_of(found)

        check()


def first_shortest_path(graph: nx.DiGraph) -> tuple[Way, ...]:
    """The shortest path that comes first: networkx names one of the equals, not always this."""
    left = nx.single_source_dijkstra_path_length(graph.reverse(), "end", weight="total")
    at = "start"
    path: list[Way] = []
    while True:
        on = [node for node, edge in graph[at].items() if edge["total"] + left[node] == left[at]]
        if on == ["end"]:
            return tuple(path)
        at = min(on, key=lambda node: way_of(graph, node))
        path.append(way_of(graph, at))


def way_of(graph: nx.DiGraph, node: str) -> Way:
    """(fret, position, string) of a node."""
    data = graph.nodes[node]
    return data["fret"], data["position"], data["string"]


class TestLattice:
    def test_speaks_in_trade_words(self) -> None:
        graph = lattice(parse_melody("key: B\noctave: 1\n\n1 5"), "bass")
        node = graph.nodes["note 2: string 3 fret 9 position 6"]
        assert {name: node[name] for name in ("note", "string", "fret", "position", "finger")} == {
            "note": 2,
            "string": 3,
            "fret": 9,
            "position": 6,
            "finger": 4,
        }
        assert (node["pitch"], node["degree"]) == ("F#2", "5")

    def test_an_edge_says_why_it_costs_what_it_costs(self) -> None:
        graph = lattice(parse_melody("key: B\noctave: 1\n\n1 5"), "bass")
        edge = graph["note 1: string 4 fret 7 position 6"]["note 2: string 4 fret 14 position 11"]
        # 864 mm long scale: fret 6 to fret 11 is 406.12 - 252.94 mm (closed form).
        assert edge["shift"] == pytest.approx(Weights().shift * (406.12 - 252.94), abs=0.02)
        assert edge["across"] == 0
        assert edge["each_shift"] == Weights().each_shift
        assert edge["slide"] == 0  # finger 2 goes, finger 4 comes
        assert edge["total"] == round(1000 * sum(edge.values()) - 1000 * edge["total"])

    def test_has_one_layer_a_note(self) -> None:
        graph = lattice(parse_melody("octave: 2\n\n1 r 5 -"), "bass")
        assert {note for _, note in graph.nodes(data="note") if note} == {1, 2}
        assert nx.is_directed_acyclic_graph(graph)
        ends = [node for node in graph if not (graph.in_degree(node) and graph.out_degree(node))]
        assert ends == ["start", "end"]

    def test_graph_viewers_can_read_it(self) -> None:
        graph = lattice(parse_melody("title: Étude\noctave: 2\n\n1 5"), "bass")
        text = "\n".join(nx.generate_graphml(graph))
        again = nx.parse_graphml(text)
        assert dict(again.nodes(data=True)) == dict(graph.nodes(data=True))
        assert {frozenset(d.items()) for *_, d in again.edges(data=True)} == {
            frozenset(d.items()) for *_, d in graph.edges(data=True)
        }

    def test_names_the_notes_that_have_no_place(self) -> None:
        with pytest.raises(OutOfRangeError, match="1 note has no place on the bass"):
            lattice(parse_melody("C4 C0"), "bass")
