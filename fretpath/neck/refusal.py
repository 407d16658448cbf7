"""Why a melody cannot be played here: the notes without a place, or the step no hand can take.

Notes without a place are told first (:mod:`fretpath.neck.advice`), then the step at which every
path ends; and if dropping one single limit would help, that limit is named.
"""

from __future__ import annotations

from dataclasses import replace

from fretpath.errors import NoPathError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.neck.advice import note_label, off_the_neck, placement_fault, titled
from fretpath.neck.planner import Line, Planner, planner_for
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.tries import found_in

__all__ = ["advised", "no_way", "problem_of"]


def problem_of(planner: Planner, melody: Melody, line: Line) -> UnplayableError:
    """Why a melody has no path: notes without a place, or a step that cannot be taken."""
    missing = planner.missing(line)
    events = [melody.struck[note] for note in missing]
    for event in events:
        if melody.notes[event].placement:
            return placement_fault(melody, event, planner.setup.instrument)
    if events:
        return off_the_neck(melody, events, planner.setup.instrument)
    return no_way(melody, planner.layers(line))


def no_way(melody: Melody, layers: Layers) -> NoPathError:
    """Every note can be played alone; name the step that no path survives."""
    reached = layers.first
    for t, k in enumerate(layers.table, start=1):
        reached = (layers.tables[k] + reached).min(axis=1)
        if int(reached.min()) >= FORBIDDEN:
            before, after = (note_label(melody, melody.struck[note]) for note in (t - 1, t))
            return NoPathError(
                f"{titled(melody)}the hand cannot get from {before} to {after} within the limits"
            )
    raise AssertionError("a path was lost")


def advised(planner: Planner, melody: Melody, problem: UnplayableError) -> UnplayableError:
    """The error, with the single limit that would help if it were dropped."""
    for option, limits in planner.setup.limits.without_one():
        freed = planner_for(replace(planner.setup, limits=limits, objective="total"))
        if any(found.numbers is not None for found in found_in(freed, [melody])):
            return type(problem)(f"{problem}\nDrop {option}: without it the melody can be played.")
    return problem
