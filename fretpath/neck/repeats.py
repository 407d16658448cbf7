"""A phrase that comes again is fingered the same.

**What repeats.**  Phrases with the same pitches and lengths; where the text marks no phrases, or
outside the phrases that repeat, bars.  A phrase of one or two notes is no shape and is left free.

**How.**  Each fingering that some occurrence got in the free search is a candidate, and so is the
best one of the phrase by itself from each place and finger it can begin with.  All
occurrences are held to it, the rest is solved exactly, and the cheapest candidate stays, unless it
costs more than :data:`TOLERANCE` of the free optimum on top; then a remark says so.  So the answer
is exact for the candidates that were tried, and at most that much above the free optimum.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretpath.music.melody import Melody
from fretpath.neck.planner import Line, NoteLimit, Planner
from fretpath.neck.states import States
from fretpath.remarks import Remark

Ints = NDArray[np.int64]
BestPath = Callable[[Planner, Line], tuple[int, Ints | None]]
TOLERANCE = 0.1
"""Share of the free optimum that one fingering for a phrase may cost on top."""
LEAST_NOTES = 3
MOST_NOTES = 2_000
"""Notes of a melody up to which more fingerings than those of the free search are tried."""


def hold_repeats(
    planner: Planner, melody: Melody, line: Line, cost: int, path: Ints, best_path: BestPath
) -> tuple[int, Ints, tuple[Remark, ...]]:
    """Cost and path with every phrase that repeats fingered the same, and what must be said.

    *cost* and *path* are those of the free search for *line*.
    """
    most = cost + int(TOLERANCE * cost)
    remarks = []
    for spans in repeated_spans(melody):
        models = _models(planner, line, path, spans, best_path)
        held = [line.holding(_holds(planner, model, spans)) for model in models]
        if len(set(_occurrences(path, spans))) == 1:
            line = held[0]
            continue
        tried = [best_path(planner, candidate) for candidate in held]
        best = min(range(len(held)), key=lambda number: tried[number][0])
        cost_held, path_held = tried[best]
        if path_held is None or cost_held > most:
            remarks.append(_not_held(melody, spans))
        else:
            cost, path, line = cost_held, path_held, held[best]
    return cost, path, tuple(remarks)


Fingered = tuple[int, ...]
"""State numbers of the notes of a phrase."""


def _occurrences(path: Ints, spans: Sequence[range]) -> list[Fingered]:
    """How each occurrence is fingered."""
    return [tuple(path[span.start : span.stop].tolist()) for span in spans]


def _models(
    planner: Planner, line: Line, path: Ints, spans: Sequence[range], best_path: BestPath
) -> list[Fingered]:
    """Each different fingering of an occurrence, and the best of the phrase from each start."""
    models = dict.fromkeys(_occurrences(path, spans))
    if len(models) == 1 or len(line.midi) > MOST_NOTES:
        return list(models)
    span, states = spans[-1], planner.states
    limits = {note - span.start: line.limits[note] for note in line.limits if note in span}
    alone = Line(line.midi[span.start : span.stop], limits)
    for at in planner.choices((alone.midi[0], limits.get(0, NoteLimit()))).tolist():
        _, found = best_path(planner, alone.holding({0: _exactly(states, at)}))
        if found is not None:
            models[tuple(found.tolist())] = None
    return list(models)


def _exactly(states: States, at: int) -> NoteLimit:
    """A note held to one state."""
    columns = (states.string, states.fret, states.position, states.finger)
    string, fret, position, finger = (int(column[at]) for column in columns)
    return NoteLimit(string, fret, position, finger)


def _holds(planner: Planner, model: Fingered, spans: Sequence[range]) -> dict[int, NoteLimit]:
    """Every occurrence held to one fingering."""
    limits = [_exactly(planner.states, at) for at in model]
    return {span.start + i: limit for span in spans for i, limit in enumerate(limits)}


def repeated_spans(melody: Melody) -> list[list[range]]:
    """For each phrase or bar that comes again, its occurrences as ranges of struck notes."""
    groups = _groups(melody, _cut(melody, melody.phrases))
    taken = {note for spans in groups for span in spans for note in span}
    bars = [span for span in _cut(melody, melody.bars) if taken.isdisjoint(span)]
    return groups + _groups(melody, bars)


def _cut(melody: Melody, events: Sequence[int]) -> list[range]:
    """The struck notes cut at events; empty where there is no cut."""
    if not events:
        return []
    struck = melody.struck
    cuts = sorted({0, *(int(np.searchsorted(struck, event)) for event in events), len(struck)})
    return [range(*ends) for ends in pairwise(cuts)]


def _groups(melody: Melody, spans: Sequence[range]) -> list[list[range]]:
    """Spans that sound and last the same, the longest first."""
    lengths, places = melody.lengths, [melody.notes[event].placement for event in melody.struck]
    groups: dict[Hashable, list[range]] = {}
    for span in spans:
        if len(span) >= LEAST_NOTES and not any(places[note] for note in span):
            key = tuple((melody.pitches[note].midi, lengths[note]) for note in span)
            groups.setdefault(key, []).append(span)
    again = [group for group in groups.values() if len(group) > 1]
    return sorted(again, key=lambda group: -len(group[0]))


def _not_held(melody: Melody, spans: Sequence[range]) -> Remark:
    """Where the phrase is, and that it is fingered anew."""
    first, *again = (melody.place_of(melody.struck[span.start]) for span in spans)
    return Remark(
        "fingered",
        f"the phrase from {first} comes again from {', '.join(again)} and is fingered anew there: "
        "one fingering for all would cost a tenth more effort or beyond",
        first,
    )
