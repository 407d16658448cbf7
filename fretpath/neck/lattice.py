"""The layered graph of a melody as a networkx graph, to look at and to check the search with.

Every node is one way to play one note and speaks in trade words; every edge is one step of the
hand and says what it costs and why.  ``start`` leads to every way to play the first note, and
every way to play the last one leads to ``end``.

To look at it::

    from fretpath import parse_melody
    from fretpath.neck.lattice import lattice

    graph = lattice(parse_melody("1 5 8", key="B"), "bass")
    graph.nodes(data=True)                # every way to play every note
    graph.edges(data=True)                # every step, with its parts

All attributes are text and numbers, so ``networkx.write_graphml(graph, "tune.graphml")`` writes a
file that graph viewers read.  The shortest path from ``start`` to ``end`` by ``total`` costs what
the search found; among equals networkx names any one, the search the first in ``order``.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Melody
from fretpath.neck.arrange import arrange, layers_of
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import On
from fretpath.neck.terms import TERMS, UNIT, step_parts

if TYPE_CHECKING:
    import networkx as nx

Ints = NDArray[np.int64]
Edge = tuple[str, str, dict[str, float]]


def lattice(
    melody: Melody,
    on: On = "bass",
) -> nx.DiGraph:
    """Every way to play ``melody``, in the octave in which it is played, as a ``networkx.DiGraph``.

    Nodes are named ``note 2: string 3 fret 9 position 6`` and carry ``note`` (from 1),
    ``string``, ``fret``, ``position``, ``finger``, ``pitch``, ``degree`` (empty without a key) and
    ``order`` (the smaller one wins a tie).  Edges carry, in effort, every step term by its name
    (at its plain price), ``note`` (what the note they lead to costs by itself) and ``pace`` (what
    more or less time adds or takes off), and ``total``, their sum in whole thousandths.  Steps
    that the hand or the limits forbid are left out.

    >>> from fretpath.music.notation import parse_melody
    >>> graph = lattice(parse_melody("E1 A1"), "bass")
    >>> graph.nodes["note 2: string 4 fret 5 position 3"]["finger"]
    3

    Arguments and errors are those of :func:`~fretpath.neck.arrange.arrange`.
    """
    import networkx as nx

    found = arrange(melody, on)
    ways = _Ways(found.melody, *layers_of(found))
    graph = nx.DiGraph(title=melody.title, instrument=found.instrument.name)
    graph.add_node("start")
    graph.add_nodes_from(ways.nodes())
    graph.add_node("end")
    graph.add_edges_from(ways.edges())
    return graph


@dataclass(frozen=True, eq=False)
class _Ways:
    """Every way to play every note, and what the steps between them cost."""

    melody: Melody
    planner: Planner
    layers: Layers

    @cached_property
    def rows(self) -> list[Ints]:
        """State numbers of each note."""
        return [self.layers.layer(note) for note in range(len(self.layers))]

    def name(self, note: int, state: int) -> str:
        states = self.planner.states
        place = f"string {states.string[state]} fret {states.fret[state]}"
        return f"note {note + 1}: {place} position {states.position[state]}"

    def nodes(self) -> Iterator[tuple[str, dict[str, str | int]]]:
        states, degrees = self.planner.states, self.melody.degrees
        for note, row in enumerate(self.rows):
            for state in row.tolist():
                words: dict[str, str | int] = {
                    "note": note + 1,
                    "string": int(states.string[state]),
                    "fret": int(states.fret[state]),
                    "position": int(states.position[state]),
                    "finger": int(states.finger[state]),
                    "pitch": str(self.melody.pitches[note]),
                    "degree": str(degrees[note] or ""),
                    "order": state,
                }
                yield self.name(note, state), words

    def edges(self) -> Iterator[Edge]:
        last = len(self.rows) - 1
        for target in self.rows[0].tolist():
            own = int(self.planner.costs[target])
            yield "start", self.name(0, target), _priced({"note": own}, own)
        for note in range(last):
            yield from self._steps(note)
        for source in self.rows[last].tolist():
            yield self.name(last, source), "end", _priced({}, 0)

    def _steps(self, note: int) -> Iterator[Edge]:
        planner, sources, targets = self.planner, self.rows[note], self.rows[note + 1]
        totals = self.layers.tables[self.layers.table_of_step[note]]
        before, after = np.repeat(sources, len(targets)), np.tile(targets, len(sources))
        states, neck = planner.states, planner.setup.instrument
        parts = step_parts(neck, states.only(before), states.only(after), planner.weights)
        parts["note"] = planner.costs[after]
        parts = {name: part.reshape(len(sources), -1) for name, part in parts.items()}
        for i, source in enumerate(sources.tolist()):
            for j, target in enumerate(targets.tolist()):
                total = int(totals[j, i])
                if total < FORBIDDEN:
                    priced = _priced({name: int(part[i, j]) for name, part in parts.items()}, total)
                    yield self.name(note, source), self.name(note + 1, target), priced


def _priced(parts: dict[str, int], total: int) -> dict[str, float]:
    """The values of an edge: its parts, what the time adds, and the sum in thousandths."""
    names = (*(term.name for term in TERMS if term.step), "note")
    plain = {name: parts.get(name, 0) for name in names}
    plain["pace"] = total - sum(parts.values())
    return {**{name: part / UNIT for name, part in plain.items()}, "total": total}
