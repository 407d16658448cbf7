"""Why a melody cannot be played here: the notes without a place, or the step no hand can take.

**Conventions.**  Notes without a place are told first and all at once, the first eight by name,
then the step at which every path ends.  What is suggested is the smallest change that fits: another
octave, so many semitones up or down, or the melody as it is on another instrument, of the same
family first.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from fretpath.errors import NoPathError, OutOfRangeError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.music.pitch import C0, Pitch
from fretpath.music.words import counted
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.line import NoteLimit, title_of
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers

COMMON = ("bass", "guitar", "ukulele", "mandolin", "banjo", "cello", "violin")
_MOST_LINES = 8


def explain_failure(planner: Planner, melody: Melody) -> UnplayableError:
    """Why a melody in its octave has no path: notes without a place, or a step no hand can take."""
    line, instrument = planner.line(melody), planner.setup.instrument
    events = [melody.struck[note] for note in planner.missing(line)]
    for event in events:
        if melody.notes[event].placement:
            return _placement_fault(melody, event, instrument)
    if events:
        return _off_the_neck(melody, events, instrument)
    if planner.setup.limits.one_string:
        return NoPathError(f"{title_of(melody)}no single string holds the whole melody")
    return no_way(melody, planner.layers(line))


def no_way(melody: Melody, layers: Layers) -> NoPathError:
    """Every note can be played alone; name the step that no path survives."""
    reached = layers.first
    for t, step in enumerate(layers.steps, start=1):
        reached = np.minimum((step + reached).min(axis=1), FORBIDDEN)
        if int(reached.min()) >= FORBIDDEN:
            before, after = (note_label(melody, melody.struck[note]) for note in (t - 1, t))
            return NoPathError(
                f"{title_of(melody)}the hand cannot get from {before} to {after} within the limits"
            )
    raise AssertionError("a path was lost")


def note_label(melody: Melody, event: int) -> str:
    """The name of a note in a message: ``bar 2, note 3 (b3, Eb2)``."""
    pitch = melody.notes[event].pitch
    degree = melody.degrees[melody.struck.index(event)]
    name = f"{degree}, {pitch}" if degree else str(pitch)
    return f"{melody.place_of(event)} ({name})"


def _placement_fault(melody: Melody, event: int, instrument: Instrument) -> UnplayableError:
    """A placement that does not sound its note, or that the limits forbid."""
    note = melody.notes[event]
    assert note.pitch is not None
    placement = note.placement
    assert placement is not None
    label = f"{title_of(melody)}{note_label(melody, event)}"
    if placement.string is not None and placement.string > len(instrument.strings):
        return UnplayableError(
            f"{label}: {placement} asks for string {placement.string}, "
            f"the {instrument.name} has strings 1 (top line) to {len(instrument.strings)}"
        )
    places = instrument.places_of(note.pitch.midi)
    if not places:
        return _off_the_neck(melody, [event], instrument)
    asked = NoteLimit(placement.string, placement.fret)
    if any(asked.allows(*place) for place in places):
        return UnplayableError(
            f"{label}: {placement} sounds the note, but the limits on strings, frets, position "
            "or open strings forbid it; drop the placement or the limit"
        )
    return UnplayableError(
        f"{label}: {placement} does not sound {note.pitch} on the {instrument.name}; "
        f"it lies at {', '.join(f'@{string}-{fret}' for string, fret in places)} "
        "(is it for another --instrument, --tuning or --capo?)"
    )


def _off_the_neck(melody: Melody, events: Sequence[int], instrument: Instrument) -> OutOfRangeError:
    """All notes without a place at once, and the octave, key or instrument that would fit."""
    low, high = instrument.range
    count = len(events)
    verb = "note has" if count == 1 else "notes have"
    lines = [
        f"{title_of(melody)}{count} {verb} no place on the {instrument.name} "
        f"({_pitch_name(low)} to {_pitch_name(high)}):"
    ]
    for event in events[:_MOST_LINES]:
        pitch = melody.notes[event].pitch
        assert pitch is not None
        lines.append(f"  {note_label(melody, event)}: {_where(pitch.midi, low, high)}")
    if count > _MOST_LINES:
        lines.append(f"  and {count - _MOST_LINES} more")
    lines.append(_suggestion(melody, instrument))
    return OutOfRangeError("\n".join(lines), notes=events, lowest=low, highest=high)


def _pitch_name(midi: int) -> str:
    return str(Pitch.from_midi(midi))


def _where(midi: int, low: int, high: int) -> str:
    if midi < low:
        return f"{counted(low - midi, 'semitone')} below the lowest string"
    if midi > high:
        return f"{counted(midi - high, 'semitone')} above the last fret"
    return "forbidden by the limits on strings, frets, position or open strings"


def _suggestion(melody: Melody, instrument: Instrument) -> str:
    pitches = [pitch.midi for pitch in melody.pitches]
    lowest, highest = min(pitches), max(pitches)
    low, high = instrument.range
    if low <= lowest and highest <= high:
        return (
            "It fits without those limits: widen or drop one of them, or move it "
            '("fretpath keys" with the same limits lists the keys that fit).'
        )
    fits = [
        *_octave(melody, octaves_for(pitches, instrument)),
        *_key(melody, range(low - lowest, high - highest + 1)),
        *_instrument(lowest, highest, instrument),
    ]
    if not fits:
        span = counted(highest - lowest, "semitone")
        return f"The melody spans {span}, more than any neck here: split it."
    return f"It fits {', or '.join(fits)}."


def _octave(melody: Melody, octaves: range) -> Iterator[str]:
    if octaves:
        octave = melody.octave + min(octaves, key=abs)
        yield f"with the tonic in octave {octave} (--octave {octave})"


def _key(melody: Melody, shifts: range) -> Iterator[str]:
    shift = min(shifts, key=abs, default=0)
    if melody.key and shift % 12:
        moved = melody.transposed(Pitch.from_midi(C0.midi + shift) - C0)
        way = "higher" if shift > 0 else "lower"
        yield f"{counted(abs(shift), 'semitone')} {way} (in {moved.key})"


def _instrument(lowest: int, highest: int, asked: Instrument) -> Iterator[str]:
    """Another instrument that holds the melody as it is: of the same family, or a common one."""
    family = asked.name.split("-")[0]
    relatives = [name for name in INSTRUMENTS if name.split("-")[0] == family]
    for name in (*relatives, *COMMON, *INSTRUMENTS):
        low, high = INSTRUMENTS[name].range
        if low <= lowest and highest <= high and name != asked.name:
            yield f"as it is on the {name} (--instrument {name})"
            return
