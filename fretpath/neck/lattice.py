"""The layered graph of a melody as a networkx graph, to look at and to check the search with.

Every node is one way to play one note and speaks in trade words; every edge is one step of the
hand and says what it costs and why.  ``start`` leads to every way to play the first note, and
every way to play the last one leads to ``end``.

To look at it::

    from fretpath import parse_melody
    from fretpath.neck.lattice import lattice

    graph = lattice(parse_melody("octave: 2\\n\\n1 5 8"), "bass")
    graph.nodes(data=True)                # every way to play every note
    graph.in_degree("end")                # in how many ways the last note can be played

All attributes are text and numbers, so ``networkx.write_graphml(graph, "tune.graphml")`` writes a
file that graph viewers read.  The search itself does not use this graph: it is some twenty times
slower than :mod:`fretpath.neck.search` on the same melody.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Melody
from fretpath.neck.advice import off_the_neck
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.costs import UNIT, Weights, note_costs, step_costs
from fretpath.neck.hand import Hand, hand_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.layers import choices
from fretpath.neck.states import States, all_states
from fretpath.neck.wishes import Wishes

if TYPE_CHECKING:
    import networkx as nx

__all__ = ["lattice"]

Ints = NDArray[np.int64]


def lattice(
    melody: Melody,
    instrument: str | Instrument = "bass",
    *,
    hand: str | Hand | None = None,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
) -> nx.DiGraph:
    """Every way to play ``melody`` in its octave, as a ``networkx.DiGraph``.

    Nodes are named ``note 2: string 3 fret 5 position 4`` and carry ``note`` (from 1),
    ``string``, ``fret``, ``position``, ``finger``, ``pitch``, ``degree`` (empty without a key) and
    ``order`` (the smaller one wins a tie).  Edges carry ``shift``, ``across`` (rolls included) and
    ``note`` (what the note they lead to costs by itself) in mm of hand travel, and ``total``, the
    sum in whole micrometres.

    >>> from fretpath.music.notation import parse_melody
    >>> graph = lattice(parse_melody("E1 A1"), "bass")
    >>> graph.nodes["note 2: string 4 fret 5 position 3"]["finger"]
    3

    Raises :class:`OutOfRangeError` with all notes that have no place on the neck.
    """
    import networkx as nx

    if isinstance(instrument, str):
        instrument = instrument_named(instrument)
    if not isinstance(hand, Hand):
        hand = hand_named(hand or instrument.hand)
    wishes = wishes or Wishes()
    wishes.check(instrument)
    ways = _Ways(melody, instrument, hand, weights or Weights(), wishes)
    graph = nx.DiGraph(title=melody.title, instrument=instrument.name)
    graph.add_node("start")
    graph.add_nodes_from(ways.nodes())
    graph.add_node("end")
    graph.add_edges_from(ways.edges())
    return graph


@dataclass(frozen=True)
class _Ways:
    """Every way to play every note, and what the steps between them cost."""

    melody: Melody
    instrument: Instrument
    hand: Hand
    weights: Weights
    wishes: Wishes

    @cached_property
    def states(self) -> States:
        return all_states(self.instrument, self.hand)

    @cached_property
    def costs(self) -> Ints:
        return note_costs(self.instrument, self.states, self.weights, self.wishes.open_strings)

    @cached_property
    def layers(self) -> list[Ints]:
        """State numbers of each note."""
        melody = self.melody
        placements = [melody.notes[event].placement for event in melody.struck]
        midi = [pitch.midi for pitch in melody.pitches]
        found, kind = choices(self.states, self.wishes.allowed(self.states), midi, placements)
        layers = [found[k] for k in kind]
        missing = [
            event for event, layer in zip(melody.struck, layers, strict=True) if not len(layer)
        ]
        if missing:
            raise off_the_neck(melody, missing, self.instrument)
        return layers

    def name(self, note: int, state: int) -> str:
        string, fret = self.states.string[state], self.states.fret[state]
        return (
            f"note {note + 1}: string {string} fret {fret} position {self.states.position[state]}"
        )

    def nodes(self) -> Iterator[tuple[str, dict[str, str | int]]]:
        states, degrees = self.states, self.melody.degrees
        for note, layer in enumerate(self.layers):
            for state in layer.tolist():
                yield (
                    self.name(note, state),
                    {
                        "note": note + 1,
                        "string": int(states.string[state]),
                        "fret": int(states.fret[state]),
                        "position": int(states.position[state]),
                        "finger": int(states.finger[state]),
                        "pitch": str(self.melody.pitches[note]),
                        "degree": str(degrees[note] or ""),
                        "order": state,
                    },
                )

    def edges(self) -> Iterator[tuple[str, str, dict[str, float | int]]]:
        if not self.layers:
            return
        last = len(self.layers) - 1
        for target in self.layers[0].tolist():
            yield "start", self.name(0, target), _priced(0, 0, int(self.costs[target]))
        for note in range(last):
            yield from self._steps(note)
        for source in self.layers[last].tolist():
            yield self.name(last, source), "end", _priced(0, 0, 0)

    def _steps(self, note: int) -> Iterator[tuple[str, str, dict[str, float | int]]]:
        sources, targets = self.layers[note], self.layers[note + 1]
        shift, across = step_costs(
            self.instrument, self.states, self.weights, sources[:, None], targets[None, :]
        )
        for i, source in enumerate(sources.tolist()):
            for j, target in enumerate(targets.tolist()):
                parts = int(shift[i, j]), int(across[i, j]), int(self.costs[target])
                yield self.name(note, source), self.name(note + 1, target), _priced(*parts)


def _priced(shift: int, across: int, note: int) -> dict[str, float | int]:
    """An edge's parts in mm of hand travel, and their sum in whole micrometres."""
    parts: dict[str, float | int] = {
        "shift": shift / UNIT,
        "across": across / UNIT,
        "note": note / UNIT,
    }
    return {**parts, "total": shift + across + note}
