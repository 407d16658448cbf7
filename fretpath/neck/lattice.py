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

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from fretpath.music.melody import Melody
from fretpath.neck.arrange import arrange, layers_of
from fretpath.neck.hand import Ints, States
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import On
from fretpath.neck.terms import TERMS, UNIT

if TYPE_CHECKING:
    import networkx as nx

Edge = tuple[str, str, dict[str, float]]


def lattice(melody: Melody, on: On = "bass") -> nx.DiGraph:
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
    planner, layers = layers_of(found)
    nodes = [
        _nodes(found.melody, planner.states, note, row) for note, row in enumerate(layers.states)
    ]
    graph = nx.DiGraph(title=melody.title, instrument=found.instrument.name)
    graph.add_node("start")
    for layer in nodes:
        graph.add_nodes_from(layer.items())
    graph.add_node("end")
    graph.add_edges_from(_edges(planner, layers, [list(layer) for layer in nodes]))
    return graph


def _nodes(melody: Melody, states: States, note: int, row: Ints) -> dict[str, Any]:
    """The ways to play one note by name, with what is told of each."""
    nodes = {}
    for state in row.tolist():
        at = states.fingering(state)
        nodes[f"note {note + 1}: string {at.string} fret {at.fret} position {at.position}"] = {
            "note": note + 1,
            "string": at.string,
            "fret": at.fret,
            "position": at.position,
            "finger": at.finger,
            "pitch": str(melody.pitches[note]),
            "degree": str(melody.degrees[note] or ""),
            "order": state,
        }
    return nodes


def _edges(planner: Planner, layers: Layers, names: Sequence[Sequence[str]]) -> Iterator[Edge]:
    for name, own in zip(names[0], layers.first.tolist(), strict=True):
        yield "start", name, _price({"note": own}, own)
    for note, step in enumerate(layers.steps):
        totals = step.T
        parts = _step_parts(planner, layers.states[note], layers.states[note + 1])
        for i, j in zip(*np.nonzero(totals < FORBIDDEN), strict=True):
            priced = _price({name: int(part[i, j]) for name, part in parts.items()}, totals[i, j])
            yield names[note][i], names[note + 1][j], priced
    for name in names[-1]:
        yield name, "end", _price({}, 0)


def _step_parts(planner: Planner, sources: Ints, targets: Ints) -> dict[str, Ints]:
    """Every part of the steps between two layers, of shape (sources, targets)."""
    before, after = np.repeat(sources, len(targets)), np.tile(targets, len(sources))
    parts = planner.step_parts(before, after) | {"note": planner.costs[after]}
    return {name: part.reshape(len(sources), -1) for name, part in parts.items()}


def _price(parts: dict[str, int], total: int) -> dict[str, float]:
    """The values of an edge: its parts, what the time adds, and the sum in thousandths."""
    names = (*(term.name for term in TERMS if term.step), "note")
    plain = {name: parts.get(name, 0) for name in names}
    plain["pace"] = int(total) - sum(parts.values())
    return {**{name: part / UNIT for name, part in plain.items()}, "total": int(total)}
