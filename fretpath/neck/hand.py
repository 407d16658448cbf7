"""The hand: which finger reaches which fret from a position, and every state it can be in.

**Conventions.**  The *position* is the fret under the index finger, 1 or higher.  A hand model
says which frets the four fingers cover from there: a finger for each offset in frets from the
position.  Each (position, fret) has at most one finger, so a place and a position name the
finger too.  0 stands for no finger (an open string).

**Models.**

- ``one-finger-per-fret``: offsets 0 1 2 3, fingers 1 2 3 4; the closed hand of guitar and bass
  methods (common practice).
- ``one-two-four``: offsets 0 1 2, fingers 1 2 4 below a change-over fret, one finger per fret
  from there.  From fret 6 on, four frets of a 34 in bass span 97.2 mm, what a first-position hand
  spans on a 25.5 in guitar (97.3 mm, closed form); so 6 is the default.  Published bass teaching:
  E. Friedland, Bass Emporium Newsletter, August 2008, uses both systems.
- ``extended``: one finger per fret, and at a price one fret more for index and little finger.
- ``diatonic``: two frets a finger, offsets -1..5, whatever the notes are called.
- ``by-letter``: fingers follow letters, as on mandolin and violin (common practice).  In first
  position the index finger plays the letter above the open string, sharp or flat, the next finger
  the next letter; in the second position the index finger begins a letter higher, and so on.  The
  little finger may reach one letter more, at the price of an extension, and a raised open letter is
  the index finger's.  The *position* is the fret at which the letter of the index finger lies on
  the average, 2 for the first (:data:`LETTER_FRETS`).

**States.**  A state is (string, fret, position), and with the hand model that names the finger.  An
open string can be played from any position, so it has one state for each: the hand stays where it
is.  States are kept as columns in the order of what they sound, and those of one pitch in the order
that settles ties: by fret, then position, then string.  Of two paths that cost the same, the one
wins whose first differing note comes first in it.

Where fingers follow letters, what a state sounds has a letter too: C sharp and D flat are two
*sounds* at one fret, with fingers of their own.  :func:`sound_of` numbers them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import ArrangementError, RequestError, nearest
from fretpath.neck.instrument import Instrument, length_in_mm
from fretpath.values import Value, check_fields

Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Reach(Value):
    """One fret a hand covers from its position."""

    offset: int
    """Frets above the position; -1 is one below it."""
    finger: int
    """1 index, 2 middle, 3 ring, 4 little."""
    extended: bool = False
    """True where the finger leaves its own fret and pays for it."""


def _reaches(fingers: str, *, extended: tuple[int, ...] = (), first: int = 0) -> tuple[Reach, ...]:
    """From a finger for each offset, ``.`` for none: ``"12.4"``."""
    return tuple(
        Reach(offset, int(finger), offset in extended)
        for offset, finger in enumerate(fingers, start=first)
        if finger != "."
    )


@dataclass(frozen=True)
class Hand(Value):
    """A hand model.

    >>> [reach.finger for reach in hand_named("one-two-four").reaches(3)]
    [1, 2, 4]
    """

    name: str
    """Its name."""
    low: tuple[Reach, ...]
    """Frets covered below the change-over fret."""
    high: tuple[Reach, ...]
    """Frets covered in positions from the change-over fret on."""
    change_over: int = 1
    """First position that uses ``high``; 1 when there is one pattern for the whole neck."""
    largest_span: float | None = None
    """Distance in mm no finger may be from the index finger; None for no limit."""
    by_letter: bool = False
    """Whether fingers follow the letters of spelled notes, and the reaches are only the usual
    ones."""

    def reaches(self, position: int) -> tuple[Reach, ...]:
        """The frets covered from a position (1 or higher), lowest first."""
        return self.high if position >= self.change_over else self.low

    def positions(self, highest: int) -> Sequence[int]:
        """Where the index finger can be, up to a fret."""
        if self.by_letter:
            return [fret for fret in LETTER_FRETS if fret <= highest]
        return range(1, highest + 1)


LETTER_FRETS = tuple(round(12 * letters / 7) for letters in range(1, 22))
"""The fret of each letter above an open string on the average: 2 3 5 7 9 10 12 ..."""
_CLOSED = _reaches("1234")
_EXTENDED = _reaches("112344", extended=(-1, 4), first=-1)
_DIATONIC = _reaches("1122334", extended=(-1,), first=-1)
HANDS: Mapping[str, Hand] = MappingProxyType(
    {
        hand.name: hand
        for hand in (
            Hand("one-finger-per-fret", _CLOSED, _CLOSED),
            Hand("one-two-four", _reaches("124"), _CLOSED, change_over=6),
            Hand("extended", _EXTENDED, _EXTENDED),
            Hand("diatonic", _DIATONIC, _DIATONIC),
            Hand("by-letter", _DIATONIC, _DIATONIC, by_letter=True),
        )
    }
)
"""Every hand model by name."""


def hand_named(name: str) -> Hand:
    """A hand model by name, a change-over fret after a colon: ``one-two-four:5``.

    Or a hand of one's own: a finger for each fret from the position on, ``.`` for none.

    >>> [(reach.offset, reach.finger) for reach in hand_named("12.4").reaches(1)]
    [(0, 1), (1, 2), (3, 4)]
    """
    if re.fullmatch(r"[1-4.]{1,8}", name.strip()) and name.strip()[0] != ".":
        fingers = _reaches(name.strip())
        return Hand(name.strip(), fingers, fingers)
    match = re.fullmatch(r"([a-z-]+)(?::(\d{1,2}))?", name.strip().lower())
    if match is None or match[1] not in HANDS:
        raise RequestError(
            f'unknown hand "{name[:40]}"{nearest(name, HANDS)} (known: {", ".join(HANDS)})'
        )
    hand = HANDS[match[1]]
    if match[2] is None:
        return hand
    if not int(match[2]):
        raise RequestError(f"the change-over of {hand.name} is fret 1 or higher")
    if hand.change_over == 1:
        raise RequestError(f"the hand {hand.name} has no change-over fret to set")
    return replace(hand, change_over=int(match[2]))


def with_reach(hand: Hand, reach: str | None) -> Hand:
    """A hand with a widest span from the index finger, ``80mm`` or ``3.5in``; None leaves it.

    >>> with_reach(hand_named("extended"), "3.5in").largest_span
    88.9
    """
    if reach is None:
        return hand
    span = length_in_mm(reach)
    if span is None or not 20 <= span <= 300:
        raise RequestError(f'"{reach[:40]}" is not a reach: write 80mm or 3.5in, 20 to 300 mm')
    return replace(hand, largest_span=span)


# -- states ---------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Fingering(Value):
    """A way to play one note."""

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


@dataclass(frozen=True, eq=False)
class States:
    """Columns of equal length, one entry a state."""

    string: Ints
    """String number, 1 is the top line of the tab."""
    fret: Ints
    """Fret, 0 is open."""
    position: Ints
    """Fret under the index finger."""
    finger: Ints
    """1 to 4; 0 for an open string."""
    extended: NDArray[np.bool_]
    """Whether the finger leaves its own fret."""
    sound: Ints
    """The sound, numbered by :func:`sound_of`."""

    def __len__(self) -> int:
        return len(self.string)

    @property
    def midi(self) -> Ints:
        """MIDI number of what sounds."""
        return self.sound % MIDI_NUMBERS

    @cached_property
    def _by_sound(self) -> dict[int, Ints]:
        if not len(self):
            return {}
        sounds, starts = np.unique(self.sound, return_index=True)
        groups = np.split(np.arange(len(self)), starts[1:])
        return {int(sound): group for sound, group in zip(sounds, groups, strict=True)}

    def sounding(self, sound: int) -> Ints:
        """Numbers of the states of a sound: a run of whole numbers, or none."""
        return self._by_sound.get(sound, _NONE)

    def fingering(self, number: int) -> Fingering:
        """The state of that number."""
        columns = (self.string, self.fret, self.position, self.finger)
        return Fingering(*(int(column[number]) for column in columns))

    def only(self, which: NDArray[Any]) -> States:
        """The states that are marked, or those of the numbers given."""
        return States(**{field.name: getattr(self, field.name)[which] for field in fields(self)})


_NONE = np.empty(0, dtype=np.int64)
_Row = tuple[int, int, int, int, int, int]
"""Sound, fret, position, string, finger, extended."""
MIDI_NUMBERS = 128
_ALTERED, _FARTHEST = 1.8, 3.0
"""Semitones from the average of a letter at which a finger leaves its own place, and the most."""


@lru_cache(maxsize=64)
def all_states(instrument: Instrument, hand: Hand) -> States:
    """Every state of an instrument and a hand, in the order given above."""
    rows = np.array(sorted(_rows(instrument, hand)), dtype=np.int64).reshape(-1, 6)
    sound, fret, position, string, finger, extended = rows.T
    return States(string, fret, position, finger, extended.astype(bool), sound)


def sound_of(hand: Hand, midi: int, staff: int) -> int:
    """The number of a sound: MIDI, and where fingers follow letters the staff position with it.

    >>> sound_of(hand_named("extended"), 61, 28), sound_of(hand_named("by-letter"), 61, 28) % 128
    (61, 61)
    """
    return midi + MIDI_NUMBERS * staff if hand.by_letter else midi


def _rows(instrument: Instrument, hand: Hand) -> Iterator[_Row]:
    for string, at_open in enumerate(instrument.open_pitches, start=1):
        for position, covered in _positions(instrument, hand):
            for letters in (-1, 0, 1) if hand.by_letter else (0,):
                sound = sound_of(hand, at_open.midi, at_open.staff + letters)
                yield sound, 0, position, string, 0, 0
            for letters, finger, fret, extended in covered:
                midi = instrument.midi_at(string, fret)
                if midi is not None and _in_reach(instrument, hand, position, fret):
                    sound = sound_of(hand, midi, at_open.staff + letters)
                    yield sound, fret, position, string, finger, int(extended)


_Covered = tuple[int, int, int, bool]
"""Letters above the open string (0 where they do not count), finger, fret, extended."""


def _positions(instrument: Instrument, hand: Hand) -> Iterator[tuple[int, list[_Covered]]]:
    """Every position, and what the fingers cover there."""
    top = instrument.frets_free
    for index, position in enumerate(hand.positions(top), start=1):
        if hand.by_letter:
            yield position, [*_by_letter(index, top)]
        else:
            reaches = [(reach, position + reach.offset) for reach in hand.reaches(position)]
            yield position, [(0, r.finger, fret, r.extended) for r, fret in reaches if fret > 0]


def _by_letter(index: int, highest: int) -> Iterator[_Covered]:
    """Frets that the fingers cover with the index finger on a letter."""
    fingers = [(index + finger - 1, finger, False) for finger in (1, 2, 3, 4)]
    fingers.append((index + 4, 4, True))
    if index == 1:
        fingers.append((0, 1, False))
    for letters, finger, extended in fingers:
        usual = 12 * letters / 7
        for fret in range(1, highest + 1):
            if abs(fret - usual) < _FARTHEST:
                altered = abs(fret - usual) > _ALTERED
                yield letters, finger, fret, extended or altered


def _in_reach(instrument: Instrument, hand: Hand, position: int, fret: int) -> bool:
    """Whether the hand is large enough for a finger this far from the index finger."""
    span = abs(instrument.distance(fret) - instrument.distance(position))
    return hand.largest_span is None or span <= hand.largest_span
