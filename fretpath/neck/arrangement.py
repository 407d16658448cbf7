"""The result: a melody with a place, a position and a finger for every note; checked.

An :class:`Arrangement` checks itself when it is made: every place must sound its pitch.

**Figures**, in physical units.  The hand stands at its position, the fret under the index finger;
it travels when the position changes, in mm along the neck, and open strings let it wait.  A
stretch is measured between fretted notes of one stay in a position.  Times are seconds from onset
to onset.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from math import ceil

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import ArrangementError
from fretpath.music.melody import Melody
from fretpath.neck.hand import Fingering, Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import Setup
from fretpath.neck.terms import UNIT
from fretpath.remarks import Remark
from fretpath.values import Value, check_fields


@dataclass(frozen=True)
class Figures(Value):
    """The figures of one fingering."""

    travel: float
    """Hand travel along the neck in mm, all shifts together."""
    shifts: int
    """Changes of position, under an open string as well."""
    longest_shift: float
    """The longest single shift in mm."""
    fastest_shift: float | None
    """The most mm/s that the hand travels from the onset of one fretted note to the onset of the
    next fretted one, open strings between them left out; None without a tempo, or where it stands
    at one position under all fretted notes."""
    widest_stretch: float
    """Largest distance in mm along the neck between two fretted notes, next to each other or not,
    of one stay in a position; 0 where no stay has two."""
    strings_crossed: int
    """Strings crossed from note to note, open ones as well, all together."""
    open_strings: int
    """Notes played on an open string."""
    positions: tuple[int, ...]
    """Positions in the order in which the hand takes them."""


def figures_of(
    instrument: Instrument,
    string: Sequence[int],
    fret: Sequence[int],
    position: Sequence[int],
    seconds: Sequence[float] | None = None,
) -> Figures:
    """Figures of a path in columns, one entry a struck note.

    *seconds* are the onsets; None when no tempo is known.
    """
    strings, frets, hands = np.array(string), np.array(fret), np.array(position)
    hand_mm = instrument.distances(hands)
    moves = np.abs(np.diff(hand_mm))
    moved = np.flatnonzero(np.diff(hands))
    stays = np.concatenate(([0], moved + 1))
    return Figures(
        travel=float(moves.sum()),
        shifts=len(moved),
        longest_shift=float(moves.max(initial=0.0)),
        fastest_shift=_fastest(hand_mm, frets, seconds),
        widest_stretch=_widest(instrument.distances(frets), frets > 0, stays),
        strings_crossed=int(np.abs(np.diff(strings)).sum()),
        open_strings=int((frets == 0).sum()),
        positions=tuple(hands[stays].tolist()),
    )


def roman(number: int) -> str:
    """A position (1 to 39) in Roman numerals.

    >>> roman(9), roman(24)
    ('IX', 'XXIV')
    """
    tens, units = divmod(number, 10)
    return "X" * tens + ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX")[units]


_ORDINALS = (
    "half", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth",
    "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth",
)  # fmt: skip
_DOUBLE_BASS = ("half", "I", "II", "II-III", "III", "III-IV", "IV", "V", "V-VI", "VI", "VI-VII",
                "VII")  # fmt: skip
"""Positions of the double bass by the semitone of the index finger, from 1 on; from memory, as
its methods have them (F. Simandl, New Method for the Double Bass)."""

_WORD_OF = {roman(number): word for number, word in enumerate(_ORDINALS) if number}


def position_sign(instrument: Instrument, position: int) -> str:
    """A position as a page writes it: the fret in Roman numerals, or the number it has by letters.

    On instruments in fifths positions count the letters from the open string to the index finger,
    on the double bass they have numbers of their own (common practice).

    >>> from fretpath.neck.catalogue import instrument_named
    >>> [position_sign(instrument_named(name), 5) for name in ("bass", "violin", "double-bass")]
    ['V', 'III', 'III']
    """
    if not _has_numbers(instrument):
        return roman(position)
    if _gaps(instrument) == {7}:
        return roman(ceil(7 * position / 12 - 0.5)) if position > 1 else "half"
    return _DOUBLE_BASS[position - 1] if position <= len(_DOUBLE_BASS) else "thumb"


def _gaps(instrument: Instrument) -> set[int]:
    """Semitones from string to string."""
    return {high.midi - low.midi for high, low in pairwise(instrument.open_pitches)}


def _has_numbers(instrument: Instrument) -> bool:
    """Whether positions have numbers that are no frets."""
    gaps = _gaps(instrument)
    return gaps == {7} or (gaps == {5} and instrument.fretless)


def position_words(instrument: Instrument, position: int) -> str:
    """A position in words: ``position 5``, ``third position``, ``half position``.

    >>> from fretpath.neck.catalogue import instrument_named
    >>> position_words(instrument_named("mandolin"), 2), position_words(instrument_named("bass"), 2)
    ('first position', 'position 2')
    """
    if not _has_numbers(instrument):
        return f"position {position}"
    sign = position_sign(instrument, position)
    words = [_WORD_OF.get(part, part) for part in sign.split("-")]
    return f"{words[0]} position" if len(words) == 1 else f"between {' and '.join(words)} position"


def _widest(
    fret_mm: NDArray[np.float64], fretted: NDArray[np.bool_], stays: NDArray[np.int64]
) -> float:
    high = np.maximum.reduceat(np.where(fretted, fret_mm, -np.inf), stays)
    low = np.minimum.reduceat(np.where(fretted, fret_mm, np.inf), stays)
    return float(np.maximum(high - low, 0.0).max(initial=0.0))


def _fastest(
    hand_mm: NDArray[np.float64], frets: NDArray[np.int64], seconds: Sequence[float] | None
) -> float | None:
    """From fretted note to fretted note, so that open strings between them give time."""
    fretted = np.flatnonzero(frets > 0)
    if seconds is None or len(fretted) < 2:
        return None
    speeds = np.abs(np.diff(hand_mm[fretted])) / np.diff(np.array(seconds)[fretted])
    fastest = float(speeds.max())
    return fastest if fastest > 0 else None


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
    """Remarks on what the tab does not show, such as a phrase that is fingered anew."""

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
        """The instrument it is played on."""
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
