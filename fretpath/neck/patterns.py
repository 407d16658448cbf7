"""The movable pattern of a scale: one octave from the lowest string, no open strings, no shift.

A pattern names the fingers string by string, lowest string first: ``2-4 / 1-2-4 / 1-3-4`` is the
major scale with one finger per fret.  It is found by holding the hand in every position from which
a finger reaches the root, so a scale without a pattern is proved to have none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from fretpath.music.key import Key, Scale
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody
from fretpath.music.pitch import Pitch
from fretpath.neck.arrange import arrange_many
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import Limits, On, Setup
from fretpath.values import Value

ROOT_FRET = 7
"""Where the root stands while the patterns are looked for (5 on a short neck)."""


@dataclass(frozen=True, slots=True)
class Pattern(Value):
    """One octave of a scale under one hand."""

    root_finger: int
    """Finger on the lowest note, 1 to 4."""
    fingers: tuple[tuple[int, ...], ...]
    """Fingers in order, one group for each string."""
    strings: tuple[int, ...]
    """The string of each group; 1 is the top line of the tab."""
    frets: tuple[int, ...]
    """Fret of each note against the fret of the root."""

    def __str__(self) -> str:
        return " / ".join("-".join(map(str, group)) for group in self.fingers)


def patterns_of(scales: Sequence[Scale], on: On = "bass") -> dict[str, tuple[Pattern, ...]]:
    """The patterns of each scale by its name, lowest root finger first; empty if it has none.

    >>> from fretpath.music.key import SCALES
    >>> [str(found) for found in patterns_of([SCALES["major"]], "bass")["major"]]
    ['2-4 / 1-2-4 / 1-3-4']
    """
    usual = Setup.of(on)
    instrument, hand, top = usual.instrument, usual.hand, usual.instrument.frets_free
    fret = ROOT_FRET if top >= ROOT_FRET + 6 else min(ROOT_FRET - 2, top)
    still = [
        replace(usual, limits=Limits(position=position, open_strings="forbid"))
        for position in hand.positions(top)
        if any(position + reach.offset == fret for reach in hand.reaches(position))
    ]
    string = _lowest_string(instrument)
    found = {}
    for scale in scales:
        tune = _octave_of(scale, instrument, string, fret)
        answers = arrange_many([tune] * len(still), still, unplayable="return")
        held = [_pattern(answer) for answer in answers if isinstance(answer, Arrangement)]
        patterns = dict.fromkeys(held)
        found[scale.name] = tuple(sorted(patterns, key=lambda pattern: pattern.root_finger))
    return found


def _lowest_string(instrument: Instrument) -> int:
    """The full-length string that sounds lowest."""
    numbers = range(1, len(instrument.strings) + 1)
    full = [n for n in numbers if not instrument.strings[n - 1].nut] or list(numbers)
    return min(full, key=lambda n: instrument.open_pitches[n - 1].midi)


def _octave_of(scale: Scale, instrument: Instrument, string: int, fret: int) -> Melody:
    midi = instrument.midi_at(string, fret)
    assert midi is not None
    first, *others = scale.names
    text = " ".join([f"{first}@{string}-{fret}", *others, "8"])
    melody = parse_melody(text, key=Key(Pitch.from_midi(midi).name, scale.name))
    return melody.in_octave(midi // 12 - 1)


def _pattern(arrangement: Arrangement) -> Pattern:
    groups = [list(group) for _, group in groupby(arrangement.fingerings, lambda f: f.string)]
    root = arrangement.fingerings[0]
    return Pattern(
        root_finger=root.finger,
        fingers=tuple(tuple(f.finger for f in group) for group in groups),
        strings=tuple(group[0].string for group in groups),
        frets=tuple(f.fret - root.fret for f in arrangement.fingerings),
    )
