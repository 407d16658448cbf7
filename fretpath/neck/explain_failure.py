"""Why a melody cannot be played here: the notes without a place, or the step no hand can take.

**Conventions.**  Notes without a place are told first and all at once, the first eight by name,
then the step at which every path ends.  What is suggested is the smallest change that fits: another
octave, so many semitones up or down, or the melody as it is on another instrument, of the same
family first.  Each is tried with the same hand and limits before it is said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np

from fretpath.errors import NoPathError, OutOfRangeError, RequestError, UnplayableError
from fretpath.music.melody import Melody
from fretpath.music.pitch import OCTAVE, Pitch
from fretpath.music.transposing import usual_tonic, way_to
from fretpath.music.words import counted
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.hand import hand_named
from fretpath.neck.instrument import octaves_for
from fretpath.neck.line import NoteLimit, title_of
from fretpath.neck.planner import Planner
from fretpath.neck.search import FORBIDDEN, Layers
from fretpath.neck.setup import Setup

Fits = Callable[[Setup, Melody], bool]
"""Whether a melody can be played with a setup."""
MOVE = ', or move it ("fretpath keys" with the same limits lists the keys that fit, if any)'
"""What a message says of other keys; to be left out where they have all been tried."""

COMMON = ("bass", "guitar", "ukulele", "mandolin", "banjo", "cello", "violin")
_MOST_LINES = 8


def explain_failure(planner: Planner, melody: Melody, fits: Fits) -> UnplayableError:
    """Why a melody in its octave has no path: notes without a place, or a step no hand can take.

    *fits* tries what could be advised.
    """
    line, setup = planner.line(melody), planner.setup
    events = [melody.struck[note] for note in planner.missing(line)]
    for event in events:
        if melody.notes[event].placement:
            return _placement_fault(melody, event, setup, fits)
    if events:
        return _off_the_neck(melody, events, setup, fits)
    if setup.limits.one_string:
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


def _placement_fault(melody: Melody, event: int, setup: Setup, fits: Fits) -> UnplayableError:
    """A placement that does not sound its note, or that the limits forbid."""
    note, instrument = melody.notes[event], setup.instrument
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
        return _off_the_neck(melody, [event], setup, fits)
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


def _off_the_neck(
    melody: Melody, events: Sequence[int], setup: Setup, fits: Fits
) -> OutOfRangeError:
    """All notes without a place at once, and the octave, key or instrument that would fit."""
    low, high = setup.instrument.range
    count = len(events)
    verb = "note has" if count == 1 else "notes have"
    lines = [
        f"{title_of(melody)}{count} {verb} no place on the {setup.instrument.name} "
        f"({_pitch_name(low)} to {_pitch_name(high)}):"
    ]
    for event in events[:_MOST_LINES]:
        pitch = melody.notes[event].pitch
        assert pitch is not None
        lines.append(f"  {note_label(melody, event)}: {_where(pitch.midi, low, high)}")
    if count > _MOST_LINES:
        lines.append(f"  and {count - _MOST_LINES} more")
    lines.append(_suggestion(melody, setup, fits))
    return OutOfRangeError("\n".join(lines), notes=events, lowest=low, highest=high)


def _pitch_name(midi: int) -> str:
    return str(Pitch.from_midi(midi))


def _where(midi: int, low: int, high: int) -> str:
    if midi < low:
        return f"{counted(low - midi, 'semitone')} below the lowest string"
    if midi > high:
        return f"{counted(midi - high, 'semitone')} above the last fret"
    return "forbidden by the limits on strings, frets, position or open strings"


def _suggestion(melody: Melody, setup: Setup, fits: Fits) -> str:
    pitches = [pitch.midi for pitch in melody.pitches]
    lowest, highest = min(pitches), max(pitches)
    low, high = setup.instrument.range
    if low <= lowest and highest <= high:
        return f"It fits without those limits: widen or drop one of them{MOVE}."
    found = [
        *_octave(melody, setup, fits),
        *_key(melody, range(low - lowest, high - highest + 1), setup, fits),
        *_instrument(melody, setup, fits),
    ]
    if found:
        return f"It fits {', or '.join(found)}."
    span = counted(highest - lowest, "semitone")
    if all(high - low < highest - lowest for low, high in (i.range for i in INSTRUMENTS.values())):
        return f"The melody spans {span}, more than any neck here: split it."
    return f"It spans {span} and fits nowhere with these options: drop one of them, or split it."


def _octave(melody: Melody, setup: Setup, fits: Fits) -> Iterator[str]:
    octaves = octaves_for([pitch.midi for pitch in melody.pitches], setup.instrument)
    for octave in (melody.octave + up for up in sorted(octaves, key=abs)):
        if fits(setup, melody.in_octave(octave)):
            yield f"with the tonic in octave {octave} (--octave {octave})"
            return


def _key(melody: Melody, shifts: range, setup: Setup, fits: Fits) -> Iterator[str]:
    """The nearest key that fits, and the octave of its tonic where that is not as it was asked."""
    for shift in sorted(shifts, key=abs) if melody.key else ():
        moved = _moved(melody, shift)
        if shift % 12 and fits(setup, moved):
            way = "higher" if shift > 0 else "lower"
            kept = melody.octave_free or moved.octave == melody.octave
            octave = "" if kept else f" with --octave {moved.octave}"
            yield f"{counted(abs(shift), 'semitone')} {way} (in {moved.key}){octave}"
            return


def _moved(melody: Melody, shift: int) -> Melody:
    """The melody so many semitones higher, in the key with the fewest sharps or flats."""
    assert melody.key is not None
    sound = melody.key.tonic_pitch(melody.octave).midi + shift
    way = way_to(melody.key, usual_tonic(sound % 12, melody.key))
    return melody.transposed(way + OCTAVE.times((shift - way.semitones) // 12))


def _instrument(melody: Melody, setup: Setup, fits: Fits) -> Iterator[str]:
    """Another instrument that holds the melody as it is: of the same family, or a common one."""
    asked, midi = setup.instrument.name, [pitch.midi for pitch in melody.pitches]
    family = asked.split("-")[0]
    relatives = [name for name in INSTRUMENTS if name.split("-")[0] == family]
    for name in dict.fromkeys((*relatives, *COMMON, *INSTRUMENTS)):
        low, high = INSTRUMENTS[name].range
        inside = low <= min(midi) and max(midi) <= high and name != asked
        if inside and _fits_on(name, melody, setup, fits):
            as_it_is = "" if melody.octave_free else "as it is "
            yield f"{as_it_is}on the {name} (--instrument {name})"
            return


def _fits_on(name: str, melody: Melody, setup: Setup, fits: Fits) -> bool:
    """Whether it can be played on another instrument with the same changes, reach and limits."""
    asked, made = setup.instrument, INSTRUMENTS[name]
    usual = INSTRUMENTS.get(asked.name, asked)
    names = ("tuning", "frets", "scale_length", "capo")
    now, before = ({name: getattr(neck, name) for name in names} for neck in (asked, usual))
    try:
        neck = made.with_changes(**{key: now[key] for key in names if now[key] != before[key]})
        as_usual = replace(setup.hand, largest_span=None) == hand_named(asked.hand)
        reach = setup.hand.largest_span
        hand = replace(hand_named(neck.hand), largest_span=reach) if as_usual else setup.hand
        return fits(replace(setup, instrument=neck, hand=hand), melody)
    except RequestError:
        return False
