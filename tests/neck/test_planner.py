"""What the planner keeps: tables within a bound, the same for held notes, gone when asked."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Melody, Setup, arrange, clear_caches, instrument_named, parse_melody
from fretpath.neck import planner as planning
from fretpath.neck.line import PLAIN, Line, NoteLimit
from fretpath.neck.planner import Planner, planner_for
from tests.neck.test_physics import tunes


@given(tunes(high=15), st.data())
def test_tables_of_held_notes_are_cut_from_those_of_free_ones(
    tune: Melody, data: st.DataObject
) -> None:
    planner = planner_for(Setup.of("bass"))
    line = planner.line(tune)
    note = data.draw(st.integers(0, len(line.sounds) - 1))
    at = data.draw(st.sampled_from(planner.choices(line.sounds[note]).tolist()))
    states = planner.states
    held = NoteLimit(int(states.string[at]), int(states.fret[at]), int(states.position[at]))
    layers = planner.layers(line.holding({note: held}))
    for before, after, table in zip(layers.states, layers.states[1:], layers.steps, strict=False):
        timed, untimed = planner.step_costs(
            np.tile(before, len(after)), np.repeat(after, len(before))
        )
        told = (timed + untimed).reshape(len(after), len(before))
        assert (table == told).all()


@given(tunes(high=15))
def test_the_cost_of_a_path_is_what_the_search_says(tune: Melody) -> None:
    planner = planner_for(Setup.of("bass"))
    line = planner.line(replace(tune, tempo=None))
    best = planner.solve(line)
    assert best is not None
    cost, path = best.cost, best.path
    assert line.paces == (PLAIN,) * (len(path) - 1)
    assert planner.cost_of(path, line.paces) == cost


def test_a_part_of_a_line_keeps_its_limits_and_paces() -> None:
    line = Line((40, 41, 42, 43), {1: NoteLimit(4), 3: NoteLimit(3)}, (PLAIN, (1, 2), PLAIN))
    assert line.part(1, 3) == Line((41, 42), {0: NoteLimit(4)}, ((1, 2),))


def test_memory_stays_within_its_bound(monkeypatch: pytest.MonkeyPatch) -> None:
    """A small bound is kept to, and changes no answer."""
    tune = parse_melody(" ".join(map(str, [*range(1, 16), *range(15, 0, -2), 4, 9, 2, 11])))
    wanted = arrange(tune, "guitar")
    monkeypatch.setattr(planning, "MOST_BYTES", 60_000)
    tight = Planner(Setup.of("guitar"))
    best = tight.solve(tight.line(wanted.melody))
    assert best is not None
    assert best.cost == wanted.cost
    kept = [*tight._paced.values(), *(part for parts in tight._kept.values() for part in parts)]
    assert 0 < sum(table.nbytes for table in kept) <= 60_000


def test_caches_can_be_cleared() -> None:
    setup = Setup.of(instrument_named("ukulele"))
    first = planner_for(setup)
    assert planner_for(setup) is first
    clear_caches()
    assert planner_for(setup) is not first
