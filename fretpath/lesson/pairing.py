"""Pairing: which note of an answer stands for which note of the tune.

**Theory.**  The cheapest account of an answer is found by dynamic programming, as edit distance
is (R. A. Wagner and M. J. Fischer, Journal of the ACM 21, 1974, 168-173), with three things
beside missed, added and wrong notes: two neighbors in each other's place (F. J. Damerau,
Communications of the ACM 7, 1964, 171-176), a change of octave from some note on, and a *shift*
from some note on: everything so many scale steps, or so many semitones, too high or too low.  A
student who counts from the wrong note makes one mistake, not twenty; entering a shift costs as
much as two and a half wrong notes, so three in a row are the least that are called one.

**Conventions.**  Notes are compared as they sound above the tonic; lengths break ties.  Prices
are whole numbers and a matter of choice.  Of equal accounts the one with less shift wins,
and then the one whose missed and added notes stand latest.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody

WRONG, MISPLACED, GAP, SWAP, LENGTH = 5, 3, 4, 6, 1
"""Prices: a wrong degree, a wrong octave, a note missed or added, two swapped, a wrong length."""
ENTER, _RETURN, _OCTAVE = 12, 8, 5
"""Prices: a shift begins, a shift ends, another octave from here on."""
_MOST_CELLS = 12_000_000

Grid = NDArray[np.int32]
Note = Callable[["Pair"], int | None]


@dataclass(frozen=True, slots=True)
class HeardNote:
    """A struck note as it is compared."""

    degree: Degree
    """Its degree in the key in force."""
    length: Fraction
    """Its sounding length in beats."""
    name: str
    """Its letter without octave, such as ``F#``."""
    scale: tuple[int, ...]
    """What the scale of the key in force adds to each degree of the major scale, 1 to 7."""

    @property
    def height(self) -> int:
        """Semitones above the tonic."""
        return self.degree.interval.semitones


def heard_notes(melody: Melody) -> tuple[HeardNote, ...]:
    """The struck notes of a melody that has a key."""
    rows = zip(melody.struck, melody.degrees, melody.lengths, melody.pitches, strict=True)
    return tuple(
        HeardNote(degree, length, pitch.name, _alterations(melody.key_at(event)))
        for event, degree, length, pitch in rows
        if degree is not None
    )


def _alterations(key: Key | None) -> tuple[int, ...]:
    """Semitones the scale adds to each degree of the major scale; 0 for one it has not."""
    added = [0] * 7
    for degree in reversed(key.scale.degrees if key else ()):
        known = Degree.parse(str(degree))
        added[known.steps % 7] = known.alter
    return tuple(added)


@dataclass(frozen=True, slots=True)
class Shift:
    """How far an answer lies from the tune, for as long as it does."""

    size: int
    """Scale steps or semitones; positive when the answer is too high."""
    in_steps: bool = False
    """Whether ``size`` counts steps of the scale."""

    @property
    def octaves(self) -> int | None:
        """How many octaves it is; None when it is not a number of octaves."""
        octaves, rest = divmod(self.size, 7 if self.in_steps else 12)
        return None if rest else octaves

    def moved(self, note: HeardNote) -> Degree:
        """The degree that a note of the tune is answered by under this shift."""
        if self.octaves is not None:
            return Degree(note.degree.steps + 7 * self.octaves, note.degree.alter)
        if not self.in_steps:
            return _in_semitones(note, self.size)
        steps = note.degree.steps + self.size
        own = note.degree.alter - note.scale[note.degree.steps % 7]
        return Degree(steps, note.scale[steps % 7] + own)


STAY = Shift(0)
_OCTAVES = (STAY, Shift(12), Shift(-12), Shift(24), Shift(-24))
_SHIFTS = (
    *_OCTAVES,
    *(Shift(sign * size) for size in range(1, 24) if size != 12 for sign in (1, -1)),
    *(Shift(sign * size, True) for size in range(1, 14) if size != 7 for sign in (1, -1)),
)


def _in_semitones(note: HeardNote, semitones: int) -> Degree:
    height = note.height + semitones
    octave, sound = divmod(height, 12)
    step = {0: 0, 1: 1, 2: 1, 3: 2, 4: 2, 5: 3, 6: 3, 7: 4, 8: 5, 9: 5, 10: 6, 11: 6}[sound]
    natural = Degree(step + 7 * octave, 0)
    return Degree(natural.steps, height - natural.interval.semitones)


@dataclass(frozen=True, slots=True)
class Pair:
    """A note of the tune and the note of the answer that stands for it."""

    mine: int | None
    """Note of the tune, from 0; None for a note added."""
    theirs: int | None
    """Note of the answer, from 0; None for a note missed."""
    shift: Shift = STAY
    """How far the answer lies from the tune here."""
    swapped: bool = False
    """Whether it stands in the place of its neighbor."""


@dataclass(frozen=True, slots=True)
class Pairing:
    """The cheapest account of an answer."""

    pairs: tuple[Pair, ...]
    """Every note of the tune and of the answer once, in order."""
    price: int
    """The price of all mistakes and shifts, 0 or more."""


def pair(
    tune: Sequence[HeardNote],
    answer: Sequence[HeardNote],
    *,
    lengths: bool,
    shifts: bool = True,
    gaps: bool = True,
    octaves: bool = True,
) -> Pairing:
    """The cheapest account of the answer; without *shifts* only octaves may change.

    Without *gaps* no note is missed or added; tune and answer then have as many notes.  Without
    *octaves* a right degree is right in any octave.  Where all shifts are too many to try, only
    octaves are tried.  Raises :class:`RequestError` for tunes and answers of more than about
    1,500 notes each.
    """
    cells = (len(tune) + 1) * (len(answer) + 1)
    if cells * len(_OCTAVES) > _MOST_CELLS:
        raise RequestError(
            f"{len(tune)} notes against {len(answer)} are too many to be marked; "
            "mark the tune in parts"
        )
    gap = GAP if gaps else GAP * 1000
    misplaced = MISPLACED if octaves else 0
    found = _Search(tune, answer, _OCTAVES, lengths, gap, misplaced).cheapest()
    if shifts and found.price > ENTER and cells * len(_SHIFTS) <= _MOST_CELLS:
        found = _Search(tune, answer, _SHIFTS, lengths, gap, misplaced).cheapest()
    return replace(found, pairs=_gathered(found.pairs, tune, answer))


def _gathered(
    pairs: Sequence[Pair], tune: Sequence[HeardNote], answer: Sequence[HeardNote]
) -> tuple[Pair, ...]:
    """The same account with what is missed, or added, in one place where it may stand there.

    Paired notes between two stretches of missed notes move behind the second one where the notes
    there are the same, unless both stretches are single notes.
    """
    line = list(pairs)
    for at in range(len(line) - 2, 0, -1):
        for gap, notes in ((_mine, tune), (_theirs, answer)):
            start = at
            while start > 0 and _is_paired(line[start - 1]):
                start -= 1
            after = _stretch(line, at, gap, 1)
            before = _stretch(line, start - 1, gap, -1)
            if start < at and after and before and after + before > 2:
                line = _moved(line, start, at, after, gap, notes) or line
    return tuple(line)


def _mine(pair: Pair) -> int | None:
    return pair.mine


def _theirs(pair: Pair) -> int | None:
    return pair.theirs


def _is_paired(pair: Pair) -> bool:
    return pair.mine is not None and pair.theirs is not None and not pair.swapped


def _stretch(line: Sequence[Pair], at: int, of: Note, way: int) -> int:
    """How many notes of one side stand without a fellow from ``at`` on."""
    count = 0
    while 0 <= at < len(line) and of(line[at]) is not None and not _is_paired(line[at]):
        if line[at].swapped:
            break
        count += 1
        at += way
    return count


def _moved(
    line: Sequence[Pair], start: int, stop: int, by: int, of: Note, notes: Sequence[HeardNote]
) -> list[Pair] | None:
    """The line with some pairs behind the stretch that follows them; None if the notes differ."""
    block = line[start:stop]
    numbers = [number for pair in line[start : stop + by] if (number := of(pair)) is not None]
    places, moved = numbers[:by], numbers[by:]
    own = numbers[: len(block)]
    if any(notes[a].height != notes[b].height for a, b in zip(own, moved, strict=True)):
        return None
    mine = of is _mine
    shift = line[stop].shift
    free = [Pair(n if mine else None, None if mine else n, shift) for n in places]
    shifted = [
        replace(pair, mine=n) if mine else replace(pair, theirs=n)
        for pair, n in zip(block, moved, strict=True)
    ]
    return [*line[:start], *free, *shifted, *line[stop + by :]]


class _Answer:
    """The notes of an answer with what they are compared by."""

    def __init__(self, notes: Sequence[HeardNote]) -> None:
        self.notes = notes
        self.heights = np.array([note.height for note in notes], dtype=np.int32)
        self.steps = np.array([note.degree.steps for note in notes], dtype=np.int32)


class _Search:
    """The table of prices: one row a note of the tune, one layer a shift, one column a note."""

    def __init__(
        self,
        tune: Sequence[HeardNote],
        answer: Sequence[HeardNote],
        shifts: tuple[Shift, ...],
        lengths: bool,
        gap: int,
        misplaced: int,
    ) -> None:
        self.shifts = shifts
        self.gap = gap
        notes = _Answer(answer)
        self.prices = [_prices(note, notes, shifts, lengths, misplaced) for note in tune]
        self.exact = [_exact(note, notes, shifts) for note in tune]
        width = len(answer) + 1
        first = np.array([self._start(shift) for shift in shifts], dtype=np.int32)
        self.rows: list[Grid] = [first[:, None] + gap * np.arange(width, dtype=np.int32)]
        for note in range(len(tune)):
            self.rows.append(self._row(note))

    @staticmethod
    def _start(shift: Shift) -> int:
        if shift == STAY:
            return 0
        return ENTER if shift.octaves is None else _OCTAVE

    def _row(self, note: int) -> Grid:
        before = self.rows[note]
        row = before + self.gap
        paired = self._entered(before[:, :-1]) + self.prices[note]
        row[:, 1:] = np.minimum(row[:, 1:], paired)
        if note:
            swapped = np.where(self._swaps(note), self.rows[note - 1][:, :-2] + SWAP, row[:, 2:])
            row[:, 2:] = np.minimum(row[:, 2:], swapped)
        added = self.gap * np.arange(row.shape[1], dtype=np.int32)
        cheapest: Grid = np.minimum.accumulate(row - added, axis=1) + added
        return cheapest

    def _entered(self, before: Grid) -> Grid:
        """The price of being in each shift when the next note is paired."""
        entered: Grid = np.minimum(before, before.min(axis=0) + ENTER)
        octaves = len(_OCTAVES)
        ended = np.minimum(before.min(axis=0) + _RETURN, before[:octaves].min(axis=0) + _OCTAVE)
        entered[:octaves] = np.minimum(entered[:octaves], ended)
        return entered

    def _swaps(self, note: int) -> NDArray[np.bool_]:
        """Where this note and the one before stand in each other's place."""
        apart = ~self.exact[note][:, 1:] | ~self.exact[note - 1][:, :-1]
        crossed: NDArray[np.bool_] = self.exact[note][:, :-1] & self.exact[note - 1][:, 1:] & apart
        return crossed

    def cheapest(self) -> Pairing:
        layer = int(self.rows[-1][:, -1].argmin())
        price = int(self.rows[-1][layer, -1])
        note, column = len(self.rows) - 1, self.rows[-1].shape[1] - 1
        pairs: list[Pair] = []
        while note or column:
            step, layer = self._step(note, column, layer)
            pairs.extend(step)
            note -= sum(pair.mine is not None for pair in step)
            column -= sum(pair.theirs is not None for pair in step)
        return Pairing(tuple(reversed(pairs)), price)

    def _step(self, note: int, column: int, layer: int) -> tuple[list[Pair], int]:
        """The last pair or two of the cheapest account up to here, and the layer before them."""
        price, shift = self.rows[note][layer, column], self.shifts[layer]
        if note and self.rows[note - 1][layer, column] + self.gap == price:
            return [Pair(note - 1, None, shift)], layer
        if column and self.rows[note][layer, column - 1] + self.gap == price:
            return [Pair(None, column - 1, shift)], layer
        if self._is_swap(note, column, layer):
            later = Pair(note - 1, column - 2, shift, swapped=True)
            return [later, Pair(note - 2, column - 1, shift, swapped=True)], layer
        before = price - self.prices[note - 1][layer, column - 1]
        return [Pair(note - 1, column - 1, shift)], self._layer_before(note, column, layer, before)

    def _is_swap(self, note: int, column: int, layer: int) -> bool:
        if note < 2 or column < 2:
            return False
        before = self.rows[note - 2][layer, column - 2] + SWAP
        crossed = self._swaps(note - 1)[layer, column - 2]
        return bool(crossed and before == self.rows[note][layer, column])

    def _layer_before(self, note: int, column: int, layer: int, price: int) -> int:
        """The layer before a pair: the same, or one from which another begins with the pair."""
        before = self.rows[note - 1][:, column - 1]
        if before[layer] == price:
            return layer
        octaves = len(_OCTAVES)
        if layer < octaves and before[:octaves].min() + _OCTAVE == price:
            return int(before[:octaves].argmin())
        return int(before.argmin())


def _prices(
    note: HeardNote, answer: _Answer, shifts: tuple[Shift, ...], lengths: bool, misplaced: int
) -> Grid:
    """Costs of pairing a note of the tune with each note of the answer, shift by shift."""
    moved = [shift.moved(note) for shift in shifts]
    heights = answer.heights - _column(degree.interval.semitones for degree in moved)
    steps = answer.steps - _column(degree.steps for degree in moved)
    in_steps = _column(shift.in_steps for shift in shifts) > 0
    away = np.where(in_steps, steps, heights)
    table = np.where(away % np.where(in_steps, 7, 12) == 0, misplaced, WRONG)
    table[away == 0] = 0
    table[in_steps & (steps == 0) & (heights != 0)] = LENGTH
    if lengths:
        table = table + LENGTH * np.array([note.length != other.length for other in answer.notes])
    prices: Grid = table.astype(np.int32)
    return prices


def _exact(note: HeardNote, answer: _Answer, shifts: tuple[Shift, ...]) -> NDArray[np.bool_]:
    moved = _column(shift.moved(note).interval.semitones for shift in shifts)
    same: NDArray[np.bool_] = moved == answer.heights
    return same


def _column(numbers: Iterable[int]) -> Grid:
    return np.array(list(numbers), dtype=np.int32)[:, None]
