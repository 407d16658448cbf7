"""Melodies tried: in every octave, on every string, many at once, and the best way kept.

**Theory.**  A melody whose octave is free is one try for each octave that fits; a melody that is
to lie on one string is searched once for each string.  All tries that share a planner go through
one batched search, and the cheapest way of each melody is its answer; of two as cheap the earlier
string, then the lower octave.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.neck.advice import titled
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.planner import Line, NoteLimit, Planner, limits_of, planner_for
from fretpath.neck.search import FORBIDDEN, cheapest_path, cheapest_paths, easiest_layers

__all__ = ["Found", "Try", "best_found", "best_paths", "found_in", "line_of", "made"]


MOST_LAYERS = 60_000
"""Layers of one batch, some 600 bytes each."""


@dataclass(frozen=True, slots=True)
class Try:
    """A melody moved by octaves, as the search sees it."""

    melody: Melody
    """The melody as it was given."""
    octaves: int
    """By how many octaves it is moved."""
    line: Line
    """Its struck notes, moved."""


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found: a path and its cost, or FORBIDDEN and no path."""

    tried: Try
    """What was tried."""
    planner: Planner
    """Where: the planner whose states are counted."""
    cost: int
    """The cost of the path in micrometre-equivalents."""
    numbers: NDArray[np.int64] | None
    """State numbers of the path, one a struck note; None when there is none."""


def best_found(planner: Planner, melodies: Sequence[Melody]) -> list[Found]:
    """The cheapest of all tries of each melody; without a path where none can be played."""
    best: dict[int, Found] = {}
    for found in found_in(planner, melodies):
        key = id(found.tried.melody)
        if key not in best or found.cost < best[key].cost:
            best[key] = found
    return [best[id(melody)] for melody in melodies]


def found_in(planner: Planner, melodies: Sequence[Melody]) -> Iterator[Found]:
    """Every try of every melody, string after string."""
    tries = [
        Try(melody, up, line_of(planner, melody, up))
        for melody in melodies
        for up in _octaves(melody, planner.setup.instrument)
    ]
    for each in _on_each_string(planner):
        yield from _found(each, tries)


def _octaves(melody: Melody, instrument: Instrument) -> range:
    """By how many octaves to move a melody; just 0 where the octave is fixed."""
    if not melody.pitches:
        raise RequestError(f"{titled(melody)}there is no note to play in this melody, only rests")
    if not melody.octave_free:
        return range(1)
    midi = [pitch.midi for pitch in melody.pitches]
    octaves = octaves_for(midi, instrument)
    if octaves:
        return octaves
    nearest = round((sum(instrument.range) - min(midi) - max(midi)) / 24)
    return range(nearest, nearest + 1)


def _on_each_string(planner: Planner) -> Iterator[Planner]:
    """The planner itself, or one for each string if all is to lie on one of them."""
    limits = planner.setup.limits
    if not limits.one_string:
        yield planner
        return
    for string in limits.strings or range(1, len(planner.setup.instrument.strings) + 1):
        alone = replace(limits, strings=(string,))
        yield planner_for(replace(planner.setup, limits=alone))


def line_of(planner: Planner, melody: Melody, octaves: int = 0) -> Line:
    """The struck notes of a melody, moved by octaves, with what each is held to."""
    limits = limits_of([melody.notes[event].placement for event in melody.struck])
    start = planner.setup.limits.start
    if start is not None:
        placed = melody.notes[melody.struck[0]].placement
        if placed and not (
            placed.string in (None, start.string) and placed.fret in (None, start.fret)
        ):
            raise RequestError(
                f"{titled(melody)}the first note is placed at {placed} and the start asked for is "
                f"{start}; drop one of the two"
            )
        limits[0] = NoteLimit(start.string, start.fret, finger=start.finger)
    midi = tuple(pitch.midi + 12 * octaves for pitch in melody.pitches)
    return Line(midi, limits, planner.haste(melody))


def _found(planner: Planner, tries: Sequence[Try]) -> Iterator[Found]:
    """The best path of each line that has one, in the order given."""
    playable = [tried for tried in tries if not planner.missing(tried.line)]
    paths = iter(best_paths(planner, [tried.line for tried in playable]))
    kept = {id(tried) for tried in playable}
    for tried in tries:
        cost, numbers = next(paths) if id(tried) in kept else (FORBIDDEN, None)
        yield Found(tried, planner, cost, numbers if cost < FORBIDDEN else None)


def best_paths(planner: Planner, lines: Sequence[Line]) -> Iterator[tuple[int, NDArray[np.int64]]]:
    """Cost and state numbers of the best path of each line."""
    objective = planner.setup.objective
    if objective == "total" and len(lines) > 1:
        for some in _batches(lines):
            batch = planner.batch(some)
            nodes = batch[0]
            for i, (cost, path) in enumerate(cheapest_paths(*batch)):
                yield cost, nodes[range(len(path)), i, path]
        return
    for line in lines:
        layers = planner.layers(line)
        if objective == "hardest":
            layers = easiest_layers(layers)
        cost, path = cheapest_path(layers)
        yield cost, layers.numbers(path)


def _batches(lines: Sequence[Line]) -> Iterator[Sequence[Line]]:
    """As many lines at a time as a batch of :data:`MOST_LAYERS` holds, padding included."""
    begin = 0
    while begin < len(lines):
        longest, end = 0, begin
        while end < len(lines):
            longest = max(longest, len(lines[end].midi))
            if end > begin and longest * (end + 1 - begin) > MOST_LAYERS:
                break
            end += 1
        yield lines[begin:end]
        begin = end


def made(
    planner: Planner,
    melody: Melody,
    numbers: NDArray[np.int64],
    cost: int,
    *,
    states: Planner | None = None,
) -> Arrangement:
    """The arrangement that a path, given as state numbers, stands for.

    *states* is the planner that the numbers belong to, where that is another one.
    """
    columns = (states or planner).states
    return Arrangement(
        melody=melody,
        setup=planner.setup,
        strings=tuple(columns.string[numbers].tolist()),
        frets=tuple(columns.fret[numbers].tolist()),
        positions=tuple(columns.position[numbers].tolist()),
        fingers=tuple(columns.finger[numbers].tolist()),
        cost=cost,
    )
