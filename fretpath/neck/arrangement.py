"""The result: a melody with a place, a position and a finger for every note; checked.

An :class:`Arrangement` checks itself when it is made: every place must sound its pitch.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from fretpath.music.melody import Melody
from fretpath.neck.costs import UNIT, Weights
from fretpath.neck.figures import Figures, figures_of
from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.wishes import Wishes

__all__ = ["Arrangement", "Fingering"]


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
    """Sum of all its notes and steps, in micrometre-equivalents (``docs/hand_model.md``)."""
    octave_chosen: bool = False
    """Whether the octave was left free and chosen for the instrument."""
    objective: str = "total"
    """What was made least: ``total`` effort, or first the ``hardest`` step."""

    def __post_init__(self) -> None:
        columns = (self.strings, self.frets, self.positions, self.fingers)
        assert all(len(column) == len(self.melody.pitches) for column in columns)
        sounding = {
            place: self.instrument.midi_at(*place)
            for place in set(zip(self.strings, self.frets, strict=True))
        }
        for pitch, place in zip(
            self.melody.pitches, zip(self.strings, self.frets, strict=True), strict=True
        ):
            assert sounding[place] == pitch.midi, f"{pitch} does not lie at {place}"

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
        onsets = self.melody.clock.onsets
        return [float(onsets[event] * 60 / tempo) for event in self.melody.struck]

    @property
    def effort(self) -> float:
        """The cost in millimetre-equivalents of hand travel."""
        return self.cost / UNIT

    @property
    def shifted(self) -> Iterator[bool]:
        """For each struck note, whether the hand takes a new position there (first: True)."""
        yield True
        for before, after in pairwise(self.positions):
            yield before != after
