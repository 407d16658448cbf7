"""A melody as the hand meets it: what sounds, what notes are held to, and the time for each step.

**Pace.**  The hand can travel once the last stopped note may be let go.  After a stopped note it
has only the silence before the next one; while an open string sounds the hand is free.  So each
step has a *pace*, a factor on the timed terms (:mod:`fretpath.neck.terms`): above 1 when the notes
follow each other fast, below 1 after an open string, over a bar line or between two phrases (that
shifts belong there: Radicioni, Anselma & Lombardo, CIM04), and the lower the longer the rest is.

Without a tempo only rests are known to give time; a beat then counts as half a second.  The data
on which other weights were learned neither ask for these factors nor speak against them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.neck.hand import MIDI_NUMBERS, Fingering, Ints, States, sound_of
from fretpath.neck.setup import Setup
from fretpath.neck.terms import Weights

Pace = tuple[int, int]
"""Factor on the timed terms, in 64ths: (after a stopped note, after an open string)."""
PACE_UNIT = 64
PLAIN: Pace = (PACE_UNIT, PACE_UNIT)
"""The pace of a shift at its plain price."""
LEAST_FACTOR = 0.05
SECONDS_A_BEAT = 0.5
"""Taken for a rest where no tempo is known."""


@dataclass(frozen=True, slots=True)
class NoteLimit:
    """The limits of one note; None leaves a thing open."""

    string: int | None = None
    """String number."""
    fret: int | None = None
    """Fret."""
    position: int | None = None
    """Fret under the index finger."""
    finger: int | None = None
    """1 to 4, or 0 for an open string."""
    without: tuple[tuple[int, int], ...] = ()
    """Places (string, fret) that are ruled out."""

    @classmethod
    def exactly(cls, at: Fingering) -> NoteLimit:
        """A note held to one fingering."""
        return cls(at.string, at.fret, at.position, at.finger)

    def allows(self, string: int, fret: int) -> bool:
        """Whether the place keeps to it."""
        asked = self.string in (None, string) and self.fret in (None, fret)
        return asked and (string, fret) not in self.without

    def among(self, states: States, sound: int) -> Ints:
        """Numbers of the states of a sound that keep to it."""
        numbers = states.sounding(sound)
        keep = np.ones(len(numbers), dtype=bool)
        for column, wanted in (
            (states.string, self.string),
            (states.fret, self.fret),
            (states.position, self.position),
            (states.finger, self.finger),
        ):
            if wanted is not None:
                keep &= column[numbers] == wanted
        for string, fret in self.without:
            keep &= (states.string[numbers] != string) | (states.fret[numbers] != fret)
        return numbers[keep]


OPEN = NoteLimit(fret=0)
"""A pedal is played on an open string where there is one (common practice)."""
LEAST_PEDAL = 4
LEAST_LINE = 3


@dataclass(frozen=True)
class Line:
    """The struck notes of a melody, as far as the hand needs them."""

    sounds: tuple[int, ...]
    """The sound of each note, numbered by :func:`~fretpath.neck.hand.sound_of`."""
    limits: Mapping[int, NoteLimit]
    """Limits of single notes, by their place in ``sounds``."""
    paces: tuple[Pace, ...]
    """The pace of each step."""

    @property
    def notes(self) -> list[tuple[int, NoteLimit | None]]:
        """The sound of each note, and what it is held to: both decide its states."""
        return [(sound, self.limits.get(note)) for note, sound in enumerate(self.sounds)]

    def holding(self, limits: Mapping[int, NoteLimit]) -> Line:
        """The same line with more notes held."""
        return replace(self, limits={**self.limits, **limits})

    def part(self, start: int, stop: int) -> Line:
        """The notes from *start* up to but not including *stop*."""
        limits = {n - start: self.limits[n] for n in range(start, stop) if n in self.limits}
        return Line(self.sounds[start:stop], limits, self.paces[start : stop - 1])


def line_of(setup: Setup, states: States, melody: Melody, octaves: int) -> Line:
    """The struck notes of a melody, moved by octaves; *states* are those the limits leave."""
    placements = [melody.notes[event].placement for event in melody.struck]
    limits = {
        note: NoteLimit(placed.string, placed.fret)
        for note, placed in enumerate(placements)
        if placed is not None
    }
    start = setup.limits.start
    if start is not None:
        if 0 in limits and not limits[0].allows(start.string, start.fret):
            raise RequestError(
                f"{title_of(melody)}the first note is placed at {placements[0]} and the start "
                f"asked for is {start}; drop one of the two"
            )
        limits[0] = NoteLimit(start.string, start.fret, finger=start.finger)
    sounds = tuple(
        sound_of(setup.hand, pitch.midi + 12 * octaves, pitch.staff + 7 * octaves)
        for pitch in melody.pitches
    )
    if setup.limits.open_strings != "avoid":
        phrase = np.searchsorted(melody.phrases, melody.struck, side="right")
        limits = _pedal_limits(setup, states, sounds, phrase) | limits
    return Line(sounds, limits, paces_of(melody, setup.weights))


def _pedal_limits(
    setup: Setup, states: States, sounds: Sequence[int], phrase: Ints
) -> dict[int, NoteLimit]:
    """The limits that pedals set to notes: the pedal to an open string, the line off that string.

    Under a hand that may not shift the line is left free.
    """
    limits: dict[int, NoteLimit] = {}
    neck = setup.instrument
    midi = np.array(sounds) % MIDI_NUMBERS
    for pitch, staff in sorted({one.midi: one.staff for one in neck.open_pitches}.items()):
        at_open = sound_of(setup.hand, pitch, staff)
        opened = states.string[OPEN.among(states, at_open)].tolist()
        for run in _pedals(pitch, midi, phrase) if opened else ():
            limits.update(dict.fromkeys(run, OPEN))
            nut = neck.strings[opened[0] - 1].nut
            for note in set(range(run[0], run[-1])).difference(run):
                off = NoteLimit(without=((opened[0], int(midi[note]) - pitch + nut),))
                if not setup.limits.no_shift and len(off.among(states, sounds[note])):
                    limits[note] = off
    return limits


def _pedals(pitch: int, midi: Ints, phrase: Ints) -> Iterator[list[int]]:
    """The notes of each pedal: one pitch, struck again and again below or above a line.

    A pedal is struck at least :data:`LEAST_PEDAL` times in one phrase, never with more than one
    note between, and the notes between are all above it, or all below, and at least
    :data:`LEAST_LINE` different ones.  *phrase* numbers the phrase of each note.
    """
    struck = np.flatnonzero(midi == pitch)
    cuts = np.flatnonzero((np.diff(struck) > 2) | (np.diff(phrase[struck]) > 0)) + 1
    for first, last in pairwise([0, *cuts.tolist(), len(struck)]):
        if last - first < LEAST_PEDAL:
            continue
        run = struck[first:last]
        line = set(midi[run[:-1] + 1].tolist()) - {pitch}
        one_side = pitch < min(line, default=0) or pitch > max(line, default=pitch)
        if len(line) >= LEAST_LINE and one_side:
            yield run.tolist()


def title_of(melody: Melody) -> str:
    """The title and a colon to begin a message with, or nothing."""
    return f"{melody.title}: " if melody.title else ""


def without_places(melody: Melody) -> Melody:
    """The melody with every note free to lie anywhere on the neck."""
    return replace(melody, notes=tuple(replace(note, placement=None) for note in melody.notes))


# -- the pace of each step -------------------------------------------------------------------------


def paces_of(melody: Melody, weights: Weights) -> tuple[Pace, ...]:
    """The pace of each step from struck note to struck note."""
    if melody.tempo is None:
        if all(note.struck or note.tied for note in melody.notes):
            return (PLAIN,) * max(0, len(melody.struck) - 1)
        return tuple(
            (factor, factor)
            for _, silence, _ in _steps(melody)
            for factor in [_factor(False, False, silence * SECONDS_A_BEAT, weights)]
        )
    second = float(melody.tempo) / 60
    return tuple(
        _pace(onset / second, silence / second, edge, weights)
        for onset, silence, edge in _steps(melody.clock)
    )


def _steps(melody: Melody) -> Iterator[tuple[float, float, bool]]:
    """Beats from onset to onset, beats of silence between, and whether a bar line is crossed."""
    onsets, bars = melody.onsets, melody.bar_numbers
    phrase_starts = set(melody.phrases)
    for (before, after), length in zip(pairwise(melody.struck), melody.lengths, strict=False):
        apart = onsets[after] - onsets[before]
        edge = bars[before] != bars[after] or after in phrase_starts
        yield float(apart), float(apart - length), edge


def _pace(apart: float, silence: float, edge: bool, weights: Weights) -> Pace:
    """*apart* is from onset to onset, *silence* from release to onset, both in seconds."""
    fast = apart < weights.hurried_below
    return (
        _factor(fast, edge, silence, weights),
        _factor(fast, edge or apart > weights.rested_from, silence, weights),
    )


def _factor(fast: bool, free: bool, silence: float, weights: Weights) -> int:
    """*free* is a hand that may travel though nothing is silent."""
    if fast:
        return round(PACE_UNIT * weights.hurried)
    rests = silence > weights.rested_from
    if not rests:
        return round(PACE_UNIT * weights.rested) if free else PACE_UNIT
    factor = weights.rested / (1 + silence / max(weights.rest_halves, 1e-9))
    return round(PACE_UNIT * max(factor, min(LEAST_FACTOR, weights.rested)))
