"""The result: a melody with a place, a position and a finger for every note; checked.

An :class:`Arrangement` checks itself when it is made: every place must sound its pitch.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from fretpath.errors import ArrangementError
from fretpath.music.melody import Melody
from fretpath.neck.figures import Figures, figures_of
from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import Setup
from fretpath.neck.terms import UNIT
from fretpath.remarks import Remark
from fretpath.values import Value, check_fields


@dataclass(frozen=True, slots=True)
class Fingering(Value):
    """How one note is played."""

    string: int
    """String number, 1 is the top line of the tab."""
    fret: int
    """Fret, 0 is open (counted from the capo)."""
    position: int
    """Fret under the index finger."""
    finger: int
    """1 index to 4 little; 0 for an open string."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.string < 1 or self.fret < 0 or self.position < 1 or not 0 <= self.finger <= 4:
            raise ArrangementError("strings and positions count from 1, frets and fingers from 0")


@dataclass(frozen=True)
class Arrangement(Value):
    """A melody with a place, a position and a finger for every struck note; checked."""

    melody: Melody
    """The melody in the octave in which it is played."""
    setup: Setup
    """Instrument, hand, prices and limits, and what was made least."""
    strings: tuple[int, ...]
    """String of each struck note."""
    frets: tuple[int, ...]
    """Fret of each struck note."""
    positions: tuple[int, ...]
    """Position of the hand at each struck note."""
    fingers: tuple[int, ...]
    """Finger of each struck note, 0 for an open string."""
    cost: int
    """Sum of all its notes and steps, in thousandths of effort (``docs/hand_model.md``)."""
    octave_chosen: bool = False
    """Whether the octave was left free and chosen for the instrument."""
    remarks: tuple[Remark, ...] = ()
    """What the tab does not show, such as a phrase that is fingered anew."""

    def __post_init__(self) -> None:
        check_fields(self)
        columns = (self.strings, self.frets, self.positions, self.fingers)
        if any(len(column) != len(self.melody.pitches) for column in columns):
            raise ArrangementError("every struck note has one string, fret, position and finger")
        sounding = {
            place: self.instrument.midi_at(*place)
            for place in set(zip(self.strings, self.frets, strict=True))
        }
        for pitch, place in zip(
            self.melody.pitches, zip(self.strings, self.frets, strict=True), strict=True
        ):
            if sounding[place] != pitch.midi:
                string, fret = place
                raise ArrangementError(f"{pitch} does not lie on string {string}, fret {fret}")

    @property
    def instrument(self) -> Instrument:
        """What it is played on."""
        return self.setup.instrument

    @property
    def hand(self) -> Hand:
        """The hand model."""
        return self.setup.hand

    def __repr__(self) -> str:
        """One line: title, instrument, effort, and the first frets."""
        shown = " ".join(map(str, self.frets[:12])) + (" ..." if len(self.frets) > 12 else "")
        title = repr(self.melody.title[:40]) if self.melody.title else "a melody"
        return (
            f"<Arrangement of {title} on {self.instrument.name}: {len(self)} notes, "
            f"effort {self.effort:.1f}, frets {shown}>"
        )

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
        """The cost as people read it: a number without a unit, less is easier."""
        return self.cost / UNIT
