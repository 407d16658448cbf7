"""A phrase that comes again is fingered the same, and in the same shape when it is moved.

**What repeats.**  Phrases with the same pitches and lengths; where the text marks no phrases, or
outside the phrases that repeat, bars.  A phrase of one or two notes is no shape and is left free.

**How.**  Each fingering that some occurrence got in the free search is a candidate, and so is the
best one of the phrase by itself from each place and finger it can begin with.  All
occurrences are held to it, the rest is solved exactly, and the cheapest candidate stays, unless it
costs more than :data:`TOLERANCE` of the free optimum on top; then a remark says so.  Then
a phrase that is moved by an interval gets one shape, each occurrence's being tried, within the same
tolerance; no remark is made where it does not fit.  So the answer
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
MOST_ACROSS = 2
"""Strings by which a moved shape may go across the neck."""
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
    for spans in moved_spans(melody):
        cost, path, line = _one_shape(planner, line, spans, (cost, path), most, best_path)
    return cost, path, tuple(remarks)


def _one_shape(
    planner: Planner,
    line: Line,
    spans: Sequence[range],
    found: tuple[int, Ints],
    most: int,
    best_path: BestPath,
) -> tuple[int, Ints, Line]:
    """Cost, path and line with a phrase that is moved in the shape that it has at first.

    The shape of each occurrence is tried; all stays as it is where none of them fits in *most*.
    """
    best = None
    for model in _occurrences(found[1], spans):
        limits = _moved_shape(planner, line, model, spans)
        if limits is None:
            continue
        held = line.holding(limits)
        cost, path = best_path(planner, held)
        if path is not None and cost <= most and (best is None or cost < best[0]):
            best = cost, path, held
    return best or (*found, line)


def _moved_shape(
    planner: Planner, line: Line, model: Fingered, spans: Sequence[range]
) -> dict[int, NoteLimit] | None:
    """Every occurrence held to the shape of one; None where it does not lie on the neck."""
    shape = [_exactly(planner.states, at) for at in model]
    limits: dict[int, NoteLimit] = {}
    for span in spans:
        midi = line.midi[span.start : span.stop]
        moves = (
            _move(planner, shape, midi, across) for across in range(-MOST_ACROSS, MOST_ACROSS + 1)
        )
        fits = [move for move in moves if move is not None]
        if not fits:
            return None
        nearest = min(
            fits, key=lambda move: abs((move[0].position or 0) - (shape[0].position or 0))
        )
        limits.update(zip(span, nearest, strict=True))
    return limits


def _move(
    planner: Planner, shape: Sequence[NoteLimit], midi: Sequence[int], across: int
) -> list[NoteLimit] | None:
    """A shape so many strings further on, at the fret where it sounds *midi*; None if nowhere.

    A shape with an open string stays where it is.
    """
    neck, first = planner.setup.instrument, shape[0]
    strings = [(note.string or 0) + across for note in shape]
    if not all(1 <= string <= len(neck.strings) for string in strings):
        return None
    up = midi[0] - neck.open_pitches[strings[0] - 1].midi - (first.fret or 0)
    moved = [
        NoteLimit(string, (note.fret or 0) + up, (note.position or 0) + up, note.finger)
        for string, note in zip(strings, shape, strict=True)
    ]
    if (across or up) and not all(note.fret for note in shape):
        return None
    sounds = all(
        (note.fret or 0) >= 0 and neck.midi_at(note.string or 0, note.fret or 0) == sound
        for note, sound in zip(moved, midi, strict=True)
    )
    return moved if sounds and (moved[0].position or 0) >= 1 else None


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


def moved_spans(melody: Melody) -> list[list[range]]:
    """For each phrase or bar that comes again at another pitch, its occurrences."""
    spans = _cut(melody, melody.phrases) or _cut(melody, melody.bars)
    groups = _groups(melody, spans, moved=True)
    pitches = melody.pitches
    return [group for group in groups if len({pitches[span.start].midi for span in group}) > 1]


def _cut(melody: Melody, events: Sequence[int]) -> list[range]:
    """The struck notes cut at events; empty where there is no cut."""
    if not events:
        return []
    struck = melody.struck
    cuts = sorted({0, *(int(np.searchsorted(struck, event)) for event in events), len(struck)})
    return [range(*ends) for ends in pairwise(cuts)]


def _groups(melody: Melody, spans: Sequence[range], *, moved: bool = False) -> list[list[range]]:
    """Spans that sound and last the same (but for an interval, if *moved*), the longest first."""
    lengths, places = melody.lengths, [melody.notes[event].placement for event in melody.struck]
    groups: dict[Hashable, list[range]] = {}
    for span in spans:
        if len(span) >= LEAST_NOTES and not any(places[note] for note in span):
            low = melody.pitches[span.start].midi if moved else 0
            key = tuple((melody.pitches[note].midi - low, lengths[note]) for note in span)
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
