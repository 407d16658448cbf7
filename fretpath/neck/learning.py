"""A hand learned from what its player wrote: the few prices that explain where the notes lie.

**Theory.**  Players of one instrument differ in where their hand is at home, in how much they use
the outer strings, and in how readily they shift; the other prices are left as they are.  Each
combination of a few values of the three is tried: the tool chooses the places of the player's
tabs, once all of them and once with every 16th given, and the combination wins under which most
notes lie where the player put them.  A step away from the usual value of a price has to earn
:data:`PULL` times the square root of the number of notes, about the size of chance, so that few
tabs change little; of two as good the one nearer to the usual prices wins.

**Agreement on tabs left out.**  With two or more tabs each is left out in turn, the prices are
learned from the others, and the notes of the one left out are counted under them.  That is the
agreement to expect of the next tab.  Where it is no better than before, the usual prices stay.

**The way of playing** comes before the prices: the instrument's usual one, unless the usual prices
of the other one explain so many more notes that the step is earned in the same measure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.neck.instrument import Playing
from fretpath.neck.line import Line, NoteLimit, without_places
from fretpath.neck.planner import Planner
from fretpath.neck.setup import On, Setup
from fretpath.neck.terms import PLAYING, Weights, usual_weights
from fretpath.values import Value

Place = tuple[int, int]
PULL = 0.3
"""Notes that a step away from a usual price must explain, in square roots of their number."""
GIVEN = 16
"""Every so many notes one is given."""
HOMES = (1, 3, 5, 7, 9)
"""Frets at which the hand may be at home, beside the usual home."""
OUTER = (0.0, 3.5, 7.0, 14.0)
SHIFT = (0.7, 1.0, 1.5)
"""Factors on the usual price of a shift."""
LEARNED = ("region_at", "outer", "shift")
"""The prices that are learned."""


@dataclass(frozen=True)
class PlacedLine:
    """A line of notes, and where its player put them."""

    line: Line
    """The notes, none of them held."""
    places: tuple[Place | None, ...]
    """(string, fret) of each; None where the player left it open."""

    @property
    def count(self) -> int:
        """The number of notes with a place."""
        return sum(place is not None for place in self.places)

    @property
    def held(self) -> Line:
        """The line with every 16th place given."""
        given = list(enumerate(self.places))[::GIVEN]
        return self.line.holding({note: NoteLimit(*place) for note, place in given if place})


@dataclass(frozen=True)
class HandFit(Value):
    """A hand learned from tabs, and how well it explains them; counts are notes."""

    setup: Setup
    """The setup with the prices learned, or as before where nothing was gained."""
    changes: dict[str, float] = field(hash=False)
    """The prices that differ from before, by name."""
    notes: int
    """Notes with a place, all tabs together."""
    before: int
    """Notes that lie where the tool put them with the prices as before."""
    after: int
    """The same with the prices learned, on the tabs they were learned from."""
    unseen: tuple[int, int] | None
    """Before and after on the tabs left out, each in turn; None for a single tab."""


def learn_hand(tabs: Sequence[Melody], on: On = "bass") -> HandFit:
    """The prices that explain best where a player put the notes of some tabs.

    Each melody has its notes placed, as :func:`~fretpath.page.tab_reading.read_tab` gives them.
    Raises :class:`RequestError` where no note has a place.
    """
    setup = Setup.of(on)
    return learn_prices([[_line_with_places(tab, setup)] for tab in tabs], setup)


def learn_prices(tabs: Sequence[Sequence[PlacedLine]], setup: Setup) -> HandFit:
    """As :func:`learn_hand`, for tabs of several lines each."""
    sizes = [sum(line.count for line in tab) for tab in tabs]
    if not sum(sizes):
        raise RequestError("no note of these tabs has a string and a fret to learn from")
    tried = list(_combinations(setup))
    counts = np.array([agreement(weights, tabs, setup) for weights, _ in tried])
    agree, merit = counts[:, :, 0], counts.mean(axis=2)
    steps = np.array([steps for _, steps in tried])
    pulls = [PULL * np.sqrt(sum(sizes) - size) * steps for size in (*sizes, 0)]
    best = _best(merit.sum(axis=1), pulls.pop())
    unseen = None
    if len(tabs) > 1:
        others = merit.sum(axis=1, keepdims=True) - merit
        chosen = [_best(others[:, tab], pull) for tab, pull in enumerate(pulls)]
        after = sum(int(agree[number, tab]) for tab, number in enumerate(chosen))
        unseen = int(agree[0].sum()), after
        if after <= unseen[0]:
            best = 0
    weights = tried[best][0]
    changes = {
        name: getattr(weights, name)
        for name in LEARNED
        if getattr(weights, name) != getattr(setup.weights, name)
    }
    return HandFit(
        replace(setup, weights=weights),
        changes,
        sum(sizes),
        int(agree[0].sum()),
        int(agree[best].sum()),
        unseen,
    )


def agreement(
    weights: Weights, tabs: Sequence[Sequence[PlacedLine]], setup: Setup
) -> list[tuple[int, int]]:
    """In each tab, the notes that lie where the tool puts them: all free, and every 16th given."""
    planner = Planner(replace(setup, weights=weights))
    return [
        (
            sum(_count_agreement(planner, placed, placed.line) for placed in tab),
            sum(_count_agreement(planner, placed, placed.held) for placed in tab),
        )
        for tab in tabs
    ]


def better_playing(tabs: Sequence[Melody], setup: Setup) -> tuple[Playing, int, int] | None:
    """Another way of playing that explains tabs better, and the notes it explains; then those now.

    None where the usual way does as well, or where the prices are not the instrument's usual ones.
    """
    neck = setup.instrument
    if setup.weights != usual_weights(neck):
        return None
    lines = [[_line_with_places(tab, setup)] for tab in tabs]
    found = {way: _agreed(usual_weights(neck, way), lines, setup) for way in PLAYING}
    best, usual = max(PLAYING, key=lambda way: found[way]), found[neck.playing]
    notes = sum(line.count for [line] in lines)
    if found[best] - usual <= PULL * np.sqrt(notes):
        return None
    return best, found[best], usual


def _agreed(weights: Weights, tabs: Sequence[Sequence[PlacedLine]], setup: Setup) -> int:
    return sum(free for free, _ in agreement(weights, tabs, setup))


def _count_agreement(planner: Planner, placed: PlacedLine, line: Line) -> int:
    best = planner.solve(line)
    if best is None:
        return 0
    states, numbers = planner.states, best.path
    found = zip(states.string[numbers].tolist(), states.fret[numbers].tolist(), strict=True)
    return sum(ours == theirs for ours, theirs in zip(found, placed.places, strict=True))


def _combinations(setup: Setup) -> Iterator[tuple[Weights, int]]:
    """The prices to try, and how many steps each is away from the usual ones; those first."""
    usual, neck = setup.weights, setup.instrument
    yield usual, 0
    homes = [round(neck.distance(fret), 1) for fret in HOMES if fret < neck.frets_free]
    shifts = [round(usual.shift * factor, 3) for factor in SHIFT]
    before = [getattr(usual, name) for name in LEARNED]
    axes = [sorted({at, *more}) for at, more in zip(before, (homes, OUTER, shifts), strict=True)]
    for prices in product(*axes):
        rows = zip(axes, prices, before, strict=True)
        steps = sum(abs(axis.index(new) - axis.index(old)) for axis, new, old in rows)
        if steps:
            yield replace(usual, **dict(zip(LEARNED, prices, strict=True))), steps


def _best(agree: NDArray[np.float64], pull: NDArray[np.float64]) -> int:
    """The combination with most notes less its pull; of equal ones the nearest to the usual."""
    merit = agree - pull
    return int(min(np.flatnonzero(merit == merit.max()), key=lambda number: pull[number]))


def _line_with_places(tab: Melody, setup: Setup) -> PlacedLine:
    placements = [tab.notes[event].placement for event in tab.struck]
    places = tuple(
        (at.string, at.fret) if at and at.string is not None and at.fret is not None else None
        for at in placements
    )
    return PlacedLine(Planner(setup).line(without_places(tab)), places)
