"""A phrase that comes again is fingered the same, and in the same shape when it is moved.

**What repeats.**  Phrases with the same pitches and lengths; where the text marks no phrases, or
outside the phrases that repeat, bars.  A phrase of one or two notes is no shape and is left free.

**How.**  Each fingering that some occurrence got in the free search is a candidate, and where
none of them comes near that optimum, so is the best one of the phrase by itself from each place and
finger it can begin with.  All
occurrences are held to it, the rest is solved exactly, and the cheapest candidate stays, unless it
costs more than :data:`TOLERANCE` of the free optimum on top; then a remark says so.  Then
a phrase that is moved by an interval gets one shape, each occurrence's being tried, within the same
tolerance; no remark is made where it does not fit.  So the answer
is exact for the candidates that were tried, and at most that much above the free optimum.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

from fretpath.music.melody import Melody
from fretpath.neck.hand import MIDI_NUMBERS, Fingering, Ints
from fretpath.neck.instrument import Instrument
from fretpath.neck.line import PLAIN, Line, NoteLimit
from fretpath.neck.planner import Planner, Solution
from fretpath.remarks import Remark

TOLERANCE = 0.1
"""Share of the free optimum that one fingering for a phrase may cost on top."""
LEAST_NOTES = 3
MOST_ACROSS = 2
"""Strings by which a moved shape may go across the neck."""
MOST_NOTES = 2000
"""Notes of a melody whose phrases are held; in a longer one they are left free."""
NEAR = 0.04
"""Share of the free optimum up to which an occurrence's own fingering is near enough."""


Fingered = tuple[int, ...]
"""State numbers of the notes of a phrase."""


def hold_repeats(
    planner: Planner, melody: Melody, free: Solution
) -> tuple[Solution, tuple[Remark, ...]]:
    """A melody solved with every phrase that repeats fingered the same, and what must be said.

    *free* is the solution with no phrase held; it stays where the setup leaves phrases free.
    """
    if planner.setup.repeats == "free":
        return free, ()
    if len(melody.pitches) > MOST_NOTES:
        text = f"phrases that come again may be fingered anew beyond {MOST_NOTES:,} notes"
        return free, (Remark("fingered", text),)
    most, near = free.cost + int(TOLERANCE * free.cost), free.cost + int(NEAR * free.cost)
    now, remarks = free, []
    for spans in repeated_spans(melody):
        models = list(dict.fromkeys(_occurrences(now.path, spans)))
        if len(models) == 1:
            now = replace(now, line=now.line.holding(_holds(planner, models[0], spans)))
            continue
        best = _cheapest(planner, now, [_holds(planner, m, spans) for m in models])
        if best is None or best.cost > max(near, now.cost):
            models = _models_alone(planner, now.line, spans[-1])
            more = _cheapest(planner, now, [_holds(planner, m, spans) for m in models])
            best = _least((best, more))
        if best is None or best.cost > most:
            remarks.append(_remark(melody, spans))
        else:
            now = best
    for spans in moved_spans(melody):
        shapes = [_move_shape(planner, free.line, m, spans) for m in _occurrences(now.path, spans)]
        best = _cheapest(planner, now, shapes)
        now = best if best is not None and best.cost <= most else now
    return now, tuple(remarks)


def _cheapest(
    planner: Planner, now: Solution, holds: Sequence[dict[int, NoteLimit] | None]
) -> Solution | None:
    """The cheapest with more notes held in one of several ways; None where none has a path."""
    return _least(_solve(planner, now, limits) for limits in holds if limits)


def _least(tried: Iterable[Solution | None]) -> Solution | None:
    return min(filter(None, tried), key=lambda one: one.cost, default=None)


def _solve(planner: Planner, now: Solution, limits: dict[int, NoteLimit]) -> Solution | None:
    """More notes held, and the path found anew between the notes that are held already."""
    line = now.line.holding(limits)
    if planner.setup.objective != "total":
        return planner.solve(line)
    total, path = now.cost, now.path.copy()
    for first, last in _stretches(now.line, sorted(limits)):
        part = line.part(first, last + 1)
        best = planner.solve(part)
        if best is None:
            return None
        total += best.cost - planner.cost_of(path[first : last + 1], part.paces)
        path[first : last + 1] = best.path
    return Solution(line, total, path)


def _stretches(line: Line, notes: Sequence[int]) -> list[tuple[int, int]]:
    """First and last note of each stretch that depends on the notes given: up to notes held."""
    changed = set(notes)
    fixed = [n for n, held in line.limits.items() if held.position and n not in changed]
    cuts = sorted({0, *fixed, len(line.sounds) - 1})
    stretches: list[tuple[int, int]] = []
    for note in notes:
        first = cuts[max(0, bisect_left(cuts, note) - 1)]
        last = cuts[min(len(cuts) - 1, bisect_right(cuts, note))]
        if not stretches or first >= stretches[-1][1]:
            stretches.append((first, last))
        else:
            stretches[-1] = (stretches[-1][0], max(last, stretches[-1][1]))
    return stretches


def _occurrences(path: Ints, spans: Sequence[range]) -> list[Fingered]:
    """The fingering of each occurrence."""
    return [tuple(path[span.start : span.stop].tolist()) for span in spans]


def _models_alone(planner: Planner, line: Line, span: range) -> list[Fingered]:
    """The best fingering of a phrase by itself from each state it can begin with."""
    alone = replace(line.part(span.start, span.stop), paces=(PLAIN,) * (len(span) - 1))
    starts = planner.choices(*alone.notes[0]).tolist()
    limits = [NoteLimit.exactly(planner.states.fingering(at)) for at in starts]
    found = [planner.solve(alone.holding({0: limit})) for limit in limits]
    return [tuple(best.path.tolist()) for best in found if best]


def _move_shape(
    planner: Planner, line: Line, model: Fingered, spans: Sequence[range]
) -> dict[int, NoteLimit] | None:
    """Every occurrence held to the shape of one; None where it does not lie on the neck."""
    shape = [planner.states.fingering(at) for at in model]
    limits: dict[int, NoteLimit] = {}
    for span in spans:
        midi = [sound % MIDI_NUMBERS for sound in line.sounds[span.start : span.stop]]
        strings = range(-MOST_ACROSS, MOST_ACROSS + 1)
        moves = [_move(planner.setup.instrument, shape, midi, across) for across in strings]
        fits = [move for move in moves if move]
        if not fits:
            return None
        nearest = min(fits, key=lambda move: abs(move[0].position - shape[0].position))
        limits.update(zip(span, map(NoteLimit.exactly, nearest), strict=True))
    return limits


def _move(
    neck: Instrument, shape: Sequence[Fingering], midi: Sequence[int], across: int
) -> list[Fingering] | None:
    """A shape so many strings further on, at the fret where it sounds *midi*; None if nowhere.

    A shape with an open string stays where it is.
    """
    if not all(1 <= note.string + across <= len(neck.strings) for note in shape):
        return None
    up = midi[0] - neck.open_pitches[shape[0].string + across - 1].midi - shape[0].fret
    if (across or up) and not all(note.fret for note in shape):
        return None
    if any(note.position + up < 1 or note.fret + up < 0 for note in shape):
        return None
    moved = [
        Fingering(note.string + across, note.fret + up, note.position + up, note.finger)
        for note in shape
    ]
    sounds = [neck.midi_at(note.string, note.fret) for note in moved]
    return moved if sounds == list(midi) else None


def _holds(planner: Planner, model: Fingered, spans: Sequence[range]) -> dict[int, NoteLimit]:
    """Every occurrence held to one fingering."""
    limits = [NoteLimit.exactly(planner.states.fingering(at)) for at in model]
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
    cuts = sorted({0, *(bisect_left(struck, event) for event in events), len(struck)})
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


def _remark(melody: Melody, spans: Sequence[range]) -> Remark:
    """Where the phrase is, and that it is fingered anew."""
    first, *again = (melody.place_of(melody.struck[span.start]) for span in spans)
    return Remark(
        "fingered",
        f"the phrase from {first} comes again from {', '.join(again)} and is fingered anew there: "
        "one fingering for all would cost a tenth more effort or beyond",
        first,
    )
