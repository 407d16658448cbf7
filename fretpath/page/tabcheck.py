"""Checking a tab that someone wrote: what cannot be played, and what is not the tune.

**What is looked for.**  Numbers that have no fret; notes struck together that no hand spans; leaps
of the hand; bars whose count does not run through the meter; and, against a tune, wrong, missing
and added notes.  Tune and tab are aligned by the fewest edits (Levenshtein), any number of octaves
apart.  The limits ``LONGEST_LEAP`` and ``WIDEST_CHORD`` are chosen by trial: a leap of an octave
on one string of a 34 in bass is 432 mm, four frets in its first position are 97 mm.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from fretpath.errors import UnplayableError
from fretpath.music.melody import Melody, Meter
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.arranging import arrange
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import Setup
from fretpath.page.tabmelody import PlayedTab, without_places
from fretpath.page.tabtext import TabNote

__all__ = ["Fault", "TabCheck", "check_tab", "count_faults"]

LONGEST_LEAP = 200.0
"""mm of hand travel between two notes that is pointed at."""
WIDEST_CHORD = 130.0
"""mm between the lowest and highest fret of notes struck together that is pointed at."""


@dataclass(frozen=True, slots=True)
class Fault:
    """Something to look at in a tab."""

    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the text, from 1."""
    kind: str
    """off-the-neck, stretch, leap, wrong, missing, added, bar, or unplayable."""
    text: str
    """One sentence."""

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.text}"


@dataclass(frozen=True)
class TabCheck:
    """The result of checking a tab."""

    faults: tuple[Fault, ...]
    """In the order of the text."""
    theirs: Arrangement | None
    """The tab as it stands, with the easiest hand for it; None if no hand plays it."""
    ours: Arrangement | None
    """Our fingering of the tune (or of the tab's own notes); None if out of range."""
    octaves: int
    """Octaves that the tab lies above the tune (below: negative)."""
    octave_free: bool = False
    """Whether the tune leaves its octave open."""


def check_tab(
    tab: PlayedTab, against: Melody | None = None, *, hand: str | None = None
) -> TabCheck:
    """Check a tab, against a tune if one is given; *hand* is the name of a hand model."""
    faults = [*_off(tab), *_chords(tab)]
    octaves, tune = 0, against
    if against is not None:
        octaves = _octaves_apart(tab.melody, against)
        tune = against.in_octave(against.octave + octaves)
        faults += _compared(tab, tune)
    theirs, problem = _arranged(tab.melody, tab.instrument, hand)
    if theirs is None:
        first = tab.notes[0]
        faults.append(Fault(first.line, first.column, "unplayable", problem))
    else:
        faults += _leaps(tab, theirs)
    ours, _ = _arranged(without_places(tune or tab.melody), tab.instrument, hand)
    faults.sort(key=lambda fault: (fault.line, fault.column, fault.kind))
    free = against is not None and against.octave_free
    return TabCheck(tuple(faults), theirs, ours, octaves, free)


def _arranged(
    melody: Melody, instrument: Instrument, hand: str | None
) -> tuple[Arrangement | None, str]:
    try:
        return arrange(replace(melody, octave_free=False), Setup.of(instrument, hand=hand)), ""
    except UnplayableError as problem:
        return None, " ".join(str(problem).split())


# -- the neck ------------------------------------------------------------------------------------


def _off(tab: PlayedTab) -> Iterator[Fault]:
    made = tab.instrument
    for note in tab.off_the_neck:
        text = f"string {note.string} of the {made.name} has no fret {note.fret}"
        if note.fret > made.frets_free:
            text += f" (the last one is {made.frets_free})"
            first, second = divmod(note.fret, 10)
            if first > 0 and max(first, second) <= made.frets_free:
                text += f"; are it {first} and {second} without a dash between them?"
        yield Fault(note.line, note.column, "off-the-neck", text.replace("are it", "is it"))


def _chords(tab: PlayedTab) -> Iterator[Fault]:
    for chord in tab.tab.chords:
        fretted = [note.fret for note in chord if note.fret and note not in tab.off_the_neck]
        if len(fretted) < 2:
            continue
        span = tab.instrument.distance(max(fretted)) - tab.instrument.distance(min(fretted))
        if span > WIDEST_CHORD:
            yield Fault(
                chord[0].line,
                chord[0].column,
                "stretch",
                f"frets {min(fretted)} and {max(fretted)} together are a stretch of {span:.0f} mm",
            )


def _leaps(tab: PlayedTab, theirs: Arrangement) -> Iterator[Fault]:
    made = tab.instrument
    for i in range(1, len(theirs)):
        before, after = theirs.positions[i - 1], theirs.positions[i]
        leap = abs(made.distance(after) - made.distance(before))
        if leap > LONGEST_LEAP:
            note = tab.notes[i]
            text = f"the hand leaps from position {before} to {after}, {leap:.0f} mm"
            yield Fault(note.line, note.column, "leap", text)


# -- the tune ------------------------------------------------------------------------------------


def _octaves_apart(theirs: Melody, tune: Melody) -> int:
    """Octaves that bring the tune nearest to the tab; the fewest among equals."""
    from rapidfuzz.distance import Levenshtein

    heard = [pitch.midi for pitch in theirs.pitches]
    wanted = [pitch.midi for pitch in tune.pitches]
    return min(
        range(-5, 6),
        key=lambda n: (
            Levenshtein.distance(heard, [midi + 12 * n for midi in wanted]),
            abs(n),
            n,
        ),
    )


def _compared(tab: PlayedTab, tune: Melody) -> Iterator[Fault]:
    from rapidfuzz.distance import Levenshtein

    heard = [pitch.midi for pitch in tab.melody.pitches]
    wanted = [pitch.midi for pitch in tune.pitches]
    for edit in Levenshtein.editops(heard, wanted):
        note = tab.notes[min(edit.src_pos, len(tab.notes) - 1)]
        if edit.tag == "delete":
            sound = tab.melody.pitches[edit.src_pos]
            text = f"fret {note.fret} ({sound}) is not in the tune"
            yield Fault(note.line, note.column, "added", text)
            continue
        pitch, where = tune.pitches[edit.dest_pos], tune.place_of(tune.struck[edit.dest_pos])
        if edit.tag == "insert":
            behind = "after the last note" if edit.src_pos >= len(tab.notes) else "before this"
            text = f"{behind}, {pitch} of the tune is missing ({where})"
            yield Fault(note.line, note.column, "missing", text)
        else:
            sound = tab.melody.pitches[edit.src_pos]
            text = f"fret {note.fret} sounds {sound}, the tune has {pitch} ({where})"
            yield Fault(note.line, note.column, "wrong", text + _instead(tab, note, pitch.midi))


def _instead(tab: PlayedTab, note: TabNote, midi: int) -> str:
    places = [fret for string, fret in tab.instrument.places_of(midi) if string == note.string]
    if places:
        return f": fret {places[0]} on this string"
    others = [f"string {s} fret {f}" for s, f in tab.instrument.places_of(midi)]
    return f": {' or '.join(others[:2])}" if others else ": not on this instrument"


# -- bars ----------------------------------------------------------------------------------------


def count_faults(text: str, meter: Meter | None) -> Iterator[Fault]:
    """Bars whose row of counts does not run from 1 to the beats of the meter.

    The row is a line that begins with the word count; its bars are the bar lines of the string
    line above it.  A first bar may begin late (a pickup) and the last one may end early.
    """
    lines = re.split(r"\r\n|\r|\n", text.expandtabs(8))
    rows = [n for n, line in enumerate(lines) if re.match(r"\s*count\b(?!:)", line)]
    for order, number in enumerate(rows):
        if meter is None or number == 0:
            return
        edges = (order == 0, order == len(rows) - 1)
        yield from _row_faults(lines, number, meter, edges)


def _row_faults(
    lines: Sequence[str], number: int, meter: Meter, edges: tuple[bool, bool]
) -> Iterator[Fault]:
    above, row = lines[number - 1], lines[number]
    stops = [match.start() for match in re.finditer(r"\|", above)] or [0]
    spans = list(zip(stops, [*stops[1:-1], max(len(row), stops[-1])], strict=False))
    for at, (start, stop) in enumerate(spans):
        counts = [int(word) for word in re.findall(r"\d+", row[start:stop])]
        if not counts:
            continue
        first, last = edges[0] and at == 0, edges[1] and at == len(spans) - 1
        low = counts[0] if first else 1
        high = counts[-1] if last and counts[-1] <= meter.beats else meter.beats
        if sorted(set(counts)) != list(range(low, high + 1)):
            said = " ".join(map(str, counts))
            text = f'this bar counts "{said}", the meter {meter} asks for 1 to {meter.beats}'
            yield Fault(number + 1, start + 1, "bar", text)
