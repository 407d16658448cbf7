"""Checking a tab that someone wrote: what cannot be played, and what is not the tune.

**What is looked for.**  Numbers that have no fret or lie beyond the limits of a hand; notes struck
together that no hand spans; leaps of the hand; bars whose count does not run through the meter;
and, against a tune, wrong, missing and added notes.  Tune and tab are aligned by the fewest edits
(Levenshtein) of their top notes, any number of octaves apart; a chord is right where any of its
notes is the tune's.  The limits ``LONGEST_LEAP`` and ``WIDEST_CHORD`` are chosen by trial: a leap
of an octave on one string of a 34 in bass is 432 mm, four frets in its first position are 97 mm.

**Like with like.**  The tab's own notes are fingered twice, where they stand and where they cost
least; the tune has no part in that comparison.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from fretpath.errors import UnplayableError
from fretpath.music.melody import Melody, Meter
from fretpath.music.words import counted
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.line import without_places
from fretpath.neck.setup import Limits, Setup
from fretpath.page.tab_lines import TabNote
from fretpath.page.tab_reading import CountRow, TabReading
from fretpath.values import Value

LONGEST_LEAP = 200.0
"""mm of hand travel between two notes that is pointed at."""
WIDEST_CHORD = 130.0
"""mm between the lowest and highest fret of notes struck together that is pointed at."""


@dataclass(frozen=True, slots=True)
class TabFault(Value):
    """Something wrong in a tab, or out of a hand's reach."""

    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the text, from 1."""
    kind: str
    """off-the-neck, limit, stretch, leap, wrong, missing, added, bar, or unplayable."""
    text: str
    """One sentence."""

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.text}"


@dataclass(frozen=True)
class TabCheck(Value):
    """The result of checking a tab."""

    faults: tuple[TabFault, ...]
    """In the order of the text."""
    theirs: Arrangement | None
    """The tab as it stands, with the easiest hand for it; None if no hand plays it."""
    ours: Arrangement | None
    """The same notes where they cost least within the limits; None if that cannot be played."""
    tune: Arrangement | None
    """The tune where it costs least within the limits; None without a tune or if out of reach."""
    octaves: int
    """Octaves that the tab lies above the tune (below: negative)."""


def check_tab(
    reading: TabReading, against: Melody | None = None, *, setup: Setup | None = None
) -> TabCheck:
    """Check a tab, against a tune if one is given.

    *setup* has the hand and the limits; its instrument is that of the reading.  Rows of counts run
    through the meter of the tune, or else of the tab.

    >>> from fretpath.page.tab_reading import read_tab
    >>> reading = read_tab("G|--2-25|\\nD|2-----|\\nA|------|\\nE|------|")
    >>> [fault.kind for fault in check_tab(reading).faults]
    ['off-the-neck']
    """
    setup = replace(Setup.of(setup or reading.instrument), instrument=reading.instrument)
    faults = [*_off(reading), *_beyond(reading, setup.limits), *_chords(reading, setup)]
    octaves, tune = 0, against
    if against is not None:
        octaves = _octaves_apart(reading.melody, against)
        tune = against.in_octave(against.octave + octaves)
        faults += _differences(reading, tune)
    faults += count_faults(reading.counts, (against and against.meter) or reading.meter)
    theirs, problem = _arrange_or_why(reading.melody, replace(setup, limits=Limits()))
    faults += (
        _leaps(reading, theirs) if theirs else [_fault(reading.notes[0], "unplayable", problem)]
    )
    faults.sort(key=lambda fault: (fault.line, fault.column, fault.kind))
    ours, _ = _arrange_or_why(without_places(reading.melody), setup)
    easiest = _arrange_or_why(without_places(tune), setup)[0] if tune else None
    return TabCheck(tuple(faults), theirs, ours, easiest, octaves)


def _fault(note: TabNote, kind: str, text: str) -> TabFault:
    return TabFault(note.line, note.column, kind, text)


def _arrange_or_why(melody: Melody, setup: Setup) -> tuple[Arrangement | None, str]:
    try:
        return arrange(replace(melody, octave_free=False), setup), ""
    except UnplayableError as problem:
        return None, " ".join(str(problem).split())


# -- the neck ------------------------------------------------------------------------------------


def _off(reading: TabReading) -> Iterator[TabFault]:
    made = reading.instrument
    for note in reading.off_the_neck:
        text = f"string {note.string} of the {made.name} has no fret {note.fret}"
        if note.fret > made.frets_free:
            text += f" (the last one is {made.frets_free})"
            first, second = divmod(note.fret, 10)
            if first > 0 and max(first, second) <= made.frets_free:
                text += f"; is it {first} and {second} without a dash between them?"
        yield _fault(note, "off-the-neck", text)


def _beyond(reading: TabReading, limits: Limits) -> Iterator[TabFault]:
    """Numbers outside the frets a teacher allows, in one fault."""
    low, high = limits.lowest_fret, limits.highest_fret
    notes = [note for moment in reading.moments for note in moment]
    above = [note for note in notes if high is not None and note.fret > high]
    below = [note for note in notes if 0 < note.fret < low]
    for found, way, fret in ((above, "above", high), (below, "below", low)):
        if found:
            frets = ", ".join(map(str, sorted({note.fret for note in found})))
            lie = "lies" if len(found) == 1 else "lie"
            text = f"{counted(len(found), 'note')} {lie} {way} fret {fret} (fret {frets})"
            yield _fault(found[0], "limit", text)


def _chords(reading: TabReading, setup: Setup) -> Iterator[TabFault]:
    widest = min(WIDEST_CHORD, setup.hand.largest_span or WIDEST_CHORD)
    distance = reading.instrument.distance
    off = set(reading.off_the_neck)
    for chord in reading.moments:
        frets = [note.fret for note in chord if note.fret and note not in off]
        low, high = min(frets, default=0), max(frets, default=0)
        span = distance(high) - distance(low)
        if span > widest:
            text = f"frets {low} and {high} together are a stretch of {span:.0f} mm"
            yield _fault(chord[0], "stretch", text)


def _leaps(reading: TabReading, theirs: Arrangement) -> Iterator[TabFault]:
    made = reading.instrument
    for note, (before, after) in zip(reading.notes[1:], pairwise(theirs.positions), strict=True):
        leap = abs(made.distance(after) - made.distance(before))
        if leap > LONGEST_LEAP:
            text = f"the hand leaps from position {before} to {after}, {leap:.0f} mm"
            yield _fault(note, "leap", text)


# -- the tune ------------------------------------------------------------------------------------


def _octaves_apart(theirs: Melody, tune: Melody) -> int:
    """Octaves that bring the tune nearest to the tab; the fewest among equals."""
    from rapidfuzz.distance import Levenshtein

    heard = [pitch.midi for pitch in theirs.pitches]
    wanted = [pitch.midi for pitch in tune.pitches]
    edits = {n: Levenshtein.distance(heard, [m + 12 * n for m in wanted]) for n in range(-5, 6)}
    return min(edits, key=lambda n: (edits[n], abs(n), n))


def _differences(reading: TabReading, tune: Melody) -> Iterator[TabFault]:
    """Wrong, missing and added notes, by the fewest edits that make the tab the tune."""
    from rapidfuzz.distance import Levenshtein

    heard = [pitch.midi for pitch in reading.melody.pitches]
    wanted = [pitch.midi for pitch in tune.pitches]
    edits = Levenshtein.editops(heard, wanted)
    for (tag, at), group in groupby(edits, key=lambda edit: (edit.tag, edit.src_pos)):
        places = [edit.dest_pos for edit in group]
        if tag == "insert":
            behind = at >= len(reading.notes)
            where = "after the last note" if behind else "before this"
            yield _fault(
                reading.notes[at - behind], "missing", f"{where}, {_missing(tune, places)}"
            )
            continue
        note, sound = reading.notes[at], reading.melody.pitches[at]
        if tag == "delete":
            yield _fault(note, "added", f"fret {note.fret} ({sound}) is not in the tune")
            continue
        pitch, where = tune.pitches[places[0]], tune.place_of(tune.struck[places[0]])
        chord = reading.moments[note.moment]
        if pitch.midi not in (reading.instrument.midi_at(n.string, n.fret) for n in chord):
            text = f"fret {note.fret} sounds {sound}, the tune has {pitch} ({where})"
            yield _fault(note, "wrong", text + _instead(reading, note, pitch.midi))


_MOST_NAMED = 8


def _missing(tune: Melody, places: Sequence[int]) -> str:
    """Notes of the tune that follow each other and are not in the tab, in one phrase."""
    where = [tune.place_of(tune.struck[place]) for place in places]
    pitches = [str(tune.pitches[place]) for place in places]
    if len(places) == 1:
        return f"{pitches[0]} of the tune is missing ({where[0]})"
    named = " ".join(pitches[:_MOST_NAMED]) + " ..." * (len(pitches) > _MOST_NAMED)
    return f"{len(places)} notes of the tune are missing, {where[0]} to {where[-1]}: {named}"


def _instead(reading: TabReading, note: TabNote, midi: int) -> str:
    places = [fret for string, fret in reading.instrument.places_of(midi) if string == note.string]
    if places:
        return f": fret {places[0]} on this string"
    others = [f"string {s} fret {f}" for s, f in reading.instrument.places_of(midi)]
    return f": {' or '.join(others[:2])}" if others else ": not on this instrument"


# -- bars ----------------------------------------------------------------------------------------


def count_faults(rows: Sequence[CountRow], meter: Meter | None) -> Iterator[TabFault]:
    """Bars whose row of counts does not run from 1 to the beats of the meter.

    A first bar may begin late (a pickup) and the last one may end early.
    """
    bars = [(row, *edges) for row in rows if meter for edges in _bars(row)]
    for number, (row, start, stop) in enumerate(bars):
        counts = [int(word) for word in re.findall(r"[0-9]{1,3}", row.text[start:stop])]
        if not (counts and meter):
            continue
        low = 1 if number else counts[0]
        ends_early = number == len(bars) - 1 and counts[-1] <= meter.beats
        high = counts[-1] if ends_early else meter.beats
        if sorted(set(counts)) != list(range(low, high + 1)):
            said = " ".join(map(str, counts))
            text = f'this bar counts "{said}", the meter {meter} asks for 1 to {meter.beats}'
            yield TabFault(row.line, start + 1, "bar", text)


def _bars(row: CountRow) -> Iterator[tuple[int, int]]:
    """The columns at which each bar of a row begins and ends."""
    return pairwise([row.start, *row.bars, max(len(row.text), row.start)])
