"""Arranging: a melody, an instrument and a hand make a checked fingering.

The pipeline reads: pitches, places, path, checked :class:`Arrangement`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from fretpath.errors import NoPathError, RequestError, UnplayableError
from fretpath.music.melody import Melody, Placement
from fretpath.neck.advice import off_the_neck, placement_fault
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.costs import UNIT, Weights, note_costs
from fretpath.neck.figures import Figures, figures_of
from fretpath.neck.hand import Hand, hand_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.layers import build_layers, choices
from fretpath.neck.search import FORBIDDEN, cheapest_path
from fretpath.neck.states import all_states
from fretpath.neck.wishes import Wishes

__all__ = ["Arrangement", "Fingering", "arrange"]


@dataclass(frozen=True, slots=True)
class Fingering:
    """How one note is played."""

    string: int
    """String number, 1 is the top line of the tab."""
    fret: int
    """Fret, 0 is open (counted from the capo)."""
    position: int
    """Fret under the index finger."""
    finger: int
    """1 index to 4 little; 0 for an open string."""


@dataclass(frozen=True)
class Arrangement:
    """A melody with a place, a position and a finger for every struck note; checked."""

    melody: Melody
    """The melody in the octave in which it is played."""
    instrument: Instrument
    """What it is played on."""
    hand: Hand
    """The hand model."""
    weights: Weights
    """The prices that made this the best path."""
    wishes: Wishes
    """The limits it keeps."""
    strings: tuple[int, ...]
    """String of each struck note."""
    frets: tuple[int, ...]
    """Fret of each struck note."""
    positions: tuple[int, ...]
    """Position of the hand at each struck note."""
    fingers: tuple[int, ...]
    """Finger of each struck note, 0 for an open string."""
    cost: int
    """What the search minimised, in micrometre-equivalents (see ``docs/hand_model.md``)."""
    octave_chosen: bool = field(default=False)
    """Whether the octave was left free and chosen for the instrument."""

    def __post_init__(self) -> None:
        columns = (self.strings, self.frets, self.positions, self.fingers)
        assert all(len(column) == len(self.melody.pitches) for column in columns)
        table = self._sounding
        for pitch, string, fret in zip(self.melody.pitches, self.strings, self.frets, strict=True):
            assert table.get((string, fret)) == pitch.midi, f"{pitch} is not at {string}-{fret}"

    @property
    def _sounding(self) -> dict[tuple[int, int], int | None]:
        return {
            (string, fret): self.instrument.midi_at(string, fret)
            for string, fret in set(zip(self.strings, self.frets, strict=True))
        }

    def __len__(self) -> int:
        return len(self.strings)

    @cached_property
    def fingerings(self) -> tuple[Fingering, ...]:
        """One :class:`Fingering` for each struck note, in order."""
        columns = (self.strings, self.frets, self.positions, self.fingers)
        return tuple(Fingering(*row) for row in zip(*columns, strict=True))

    @cached_property
    def figures(self) -> Figures:
        """Hand travel, shifts, stretches ... in physical units."""
        return figures_of(
            self.instrument, self.strings, self.frets, self.positions, self.onset_seconds
        )

    @property
    def onset_seconds(self) -> list[float] | None:
        """When each struck note begins; None without a tempo."""
        tempo = self.melody.tempo
        if tempo is None:
            return None
        onsets = self.melody.onsets
        return [float(onsets[event] * 60 / tempo) for event in self.melody.struck]

    @property
    def effort(self) -> float:
        """The cost in millimetre-equivalents of hand travel."""
        return self.cost / UNIT


def arrange(
    melody: Melody,
    instrument: str | Instrument = "bass",
    *,
    hand: str | Hand | None = None,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
    octave: int | None = None,
) -> Arrangement:
    """The fingering of ``melody`` that moves the hand least.

    >>> from fretpath.music.notation import parse_melody
    >>> found = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    >>> found.frets, found.fingers, str(found.melody.tonic)
    ((7, 9, 9, 6, 8), (2, 4, 4, 1, 3), 'B1')

    *octave* puts the tonic there; otherwise, if the text leaves it free, the octave that costs
    the hand least is taken, the lower of two equal ones.  *hand*, *weights* and *wishes* have
    defaults in :mod:`fretpath.neck.hand`, :class:`Weights` and :class:`Wishes`.

    Raises :class:`OutOfRangeError` with all notes that have no place on the neck,
    :class:`NoPathError` when the limits leave no way from one note to the next, and
    :class:`RequestError` for unknown names and impossible limits.
    """
    if isinstance(instrument, str):
        instrument = instrument_named(instrument)
    if not isinstance(hand, Hand):
        hand = hand_named(hand or instrument.hand)
    job = _Job(instrument, hand, weights or Weights(), wishes or Wishes())
    job.wishes.check(instrument)
    if not melody.pitches:
        raise RequestError("there is no note to play in this melody, only rests")
    if octave is not None:
        return job.arranged(melody.in_octave(octave))
    if not melody.octave_free:
        return job.arranged(melody)
    return job.in_best_octave(melody)


@dataclass(frozen=True)
class _Job:
    """Everything that does not change from octave to octave."""

    instrument: Instrument
    hand: Hand
    weights: Weights
    wishes: Wishes

    def in_best_octave(self, melody: Melody) -> Arrangement:
        low, high = self.instrument.range
        pitches = [pitch.midi for pitch in melody.pitches]
        lowest = -((min(pitches) - low) // 12)
        highest = (high - max(pitches)) // 12
        best: Arrangement | None = None
        problem: UnplayableError | None = None
        for octaves in range(lowest, highest + 1):
            moved = melody.in_octave(melody.octave + octaves)
            try:
                found = self.arranged(moved, octave_chosen=True)
            except UnplayableError as refused:
                problem = problem or refused
                continue
            if best is None or found.cost < best.cost:
                best = found
        if best:
            return best
        if problem:
            raise problem
        return self.arranged(melody.in_octave(self._nearest_octave(melody)))

    def _nearest_octave(self, melody: Melody) -> int:
        low, high = self.instrument.range
        pitches = [pitch.midi for pitch in melody.pitches]
        middle = (min(pitches) + max(pitches)) // 2
        return melody.octave + round(((low + high) // 2 - middle) / 12)

    def arranged(self, melody: Melody, *, octave_chosen: bool = False) -> Arrangement:
        states = all_states(self.instrument, self.hand)
        midi = [pitch.midi for pitch in melody.pitches]
        kinds, kind = choices(states, self.wishes.allowed(states), midi, _placements(melody))
        if any(len(numbers) == 0 for numbers in kinds):
            raise self._no_place(melody, [len(kinds[k]) > 0 for k in kind])
        costs = note_costs(self.instrument, states, self.weights, self.wishes.open_strings)
        layers = build_layers(self.instrument, states, self.weights, costs, kinds, kind)
        cost, path = cheapest_path(layers)
        if cost >= FORBIDDEN:
            raise NoPathError("the limits leave no way for the hand from one note to the next")
        return Arrangement(
            melody=melody,
            instrument=self.instrument,
            hand=self.hand,
            weights=self.weights,
            wishes=self.wishes,
            strings=tuple(states.string[path].tolist()),
            frets=tuple(states.fret[path].tolist()),
            positions=tuple(states.position[path].tolist()),
            fingers=tuple(states.finger[path].tolist()),
            cost=cost,
            octave_chosen=octave_chosen,
        )

    def _no_place(self, melody: Melody, found: Sequence[bool]) -> UnplayableError:
        missing = [event for event, ok in zip(melody.struck, found, strict=True) if not ok]
        for event in missing:
            if melody.notes[event].placement:
                return placement_fault(melody, event, self.instrument)
        return off_the_neck(melody, missing, self.instrument)


def _placements(melody: Melody) -> list[Placement | None]:
    return [melody.notes[event].placement for event in melody.struck]
