"""Answers: what a student handed in, read as a melody, and its notes paired with those of the tune.

**Reading.**  The name stands in a header (``name: Tom``), in front of the notes with a colon
(``Tom: 5 6 5 3``), or is that of the file.  An answer without a key is read in the key of the
tune; one whose first note is a letter counts as an answer in letters.

**Pairing.**  The cheapest account of an answer is found by dynamic programming, as edit distance
is (R. A. Wagner and M. J. Fischer, Journal of the ACM 21, 1974, 168-173), with three things
beside missed, added and wrong notes: two neighbors in each other's place (F. J. Damerau,
Communications of the ACM 7, 1964, 171-176), a change of octave from some note on, and a *shift*
from some note on: everything so many scale steps, or so many semitones, too high or too low.  A
student who counts from the wrong note makes one mistake, not twenty; entering a shift costs as
much as two and a half wrong notes, so three in a row are the least that are called one.

Notes are compared as they sound above the tonic; lengths break ties.  Prices
are whole numbers and a matter of choice.  Of equal accounts the one with less shift wins,
and then the one whose missed and added notes stand latest.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import takewhile
from operator import ne

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import AmbiguousTextError, FretpathError, RequestError, printable
from fretpath.music.heads import read_head
from fretpath.music.key import Degree, Key
from fretpath.music.loose import read_loosely
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody
from fretpath.remarks import Remark
from fretpath.values import Value

_NAME = re.compile(r"\s*(?:name|student)\s*:\s*(.*?)\s*", re.IGNORECASE)
_SPOKEN_FOR = re.compile(r"\s*([^\W\d_][^:|\d]{0,60}?)\s*:\s+(?=[^\s:])(.*)")
_DASHED = re.compile(r"\s*(?!(?:sol|Sol|SOL)\b)([^\W\d_]{3}[^:|\d-]{0,60}?) [-–] (?=[^\s:-])(.*)")
_LETTER = re.compile(r"[A-Ga-g](?:#{1,2}|b{1,2})?\d?(?=[\s:@|(),]|$)")
_DEGREE = re.compile(r"[#b]*\d")
_ALONE = re.compile(r"(?<![\w:])[A-Ha-h](?:[#b]*|is|es|s)(?=[\s:|,]|$)")


@dataclass(frozen=True)
class Answer(Value):
    """An answer that was read."""

    student: str
    """Who handed it in; empty when the text does not say."""
    melody: Melody
    """The notes as they were read."""
    letters: bool
    """Whether it is written in letters."""
    octaves: bool
    """Whether its notes tell their octave: degrees do, letters only with a number."""
    remarks: tuple[Remark, ...] = ()
    """Everything that had to be guessed."""


def read_answer(text: str, key: str | Key | None, source: str = "answer") -> tuple[Answer, ...]:
    """The answer in a text, in each way it may be meant; *key* is that of answers without one.

    As it stands, where it is in the notation, and as people write; the tune tells which is nearer.

    >>> [answer] = read_answer("Tom: 5,6,5,3", "C major")
    >>> answer.student, [str(degree) for degree in answer.melody.degrees]
    ('Tom', ['5', '6', '5', '3'])

    Raises :class:`MelodySyntaxError` for what cannot be read.
    """
    student, music = split_name(text)
    wanted = None if gives_a_key(music) else key
    letters = in_letters(music)
    octaves = not (letters and _ALONE.search(_without_heads(music)))
    found: list[Answer] = []
    with suppress(FretpathError):
        plain = parse_melody(music, key=wanted, source=source)
        found.append(Answer(student, plain, letters, octaves))
    try:
        melody, remarks = read_loosely(music, key=wanted, source=source)
    except AmbiguousTextError:
        if not found:
            raise
        return tuple(found)
    if not found or melody.pitches != found[0].melody.pitches:
        found.append(Answer(student, melody, letters, octaves, remarks))
    return tuple(found)


def split_name(text: str) -> tuple[str, str]:
    """The name in a text, or the empty string, and the text without it.

    >>> split_name("Name: Ana B.\\n1 2 3"), split_name("key: C\\n\\n1 2")
    (('Ana B.', '1 2 3'), ('', 'key: C\\n\\n1 2'))
    """
    lines = text.removeprefix("\ufeff").splitlines()
    for at, line in enumerate(lines):
        header = _NAME.fullmatch(line)
        if header:
            return printable(header[1]), "\n".join([*lines[:at], *lines[at + 1 :]])
        spoken = _SPOKEN_FOR.fullmatch(line) or _DASHED.fullmatch(line)
        if spoken and not _is_header(spoken[1]) and _first_note(spoken[2].split()[:1]):
            return printable(spoken[1]), "\n".join([*lines[:at], spoken[2], *lines[at + 1 :]])
    return "", text


def _is_header(name: str) -> bool:
    """Whether a word in front of a colon names a header of the tune, or a date."""
    name = name.strip().lower()
    return name == "date" or (len(name) > 1 and bool(read_head(f"{name}: 1").values))


def gives_a_key(text: str) -> bool:
    """Whether a line of the text says in which key it is."""
    return any("key" in dict(read_head(line).values) for line in text.splitlines())


def _without_heads(text: str) -> str:
    """The lines of a text without what they say of key, meter and the like."""
    lines = (read_head(line).rest for line in text.splitlines())
    return "\n".join(
        line for line in lines if ":" not in line or not _is_header(line.partition(":")[0])
    )


def in_letters(text: str) -> bool:
    """Whether the first note of the music is a letter."""
    first = _first_note(re.split(r"[\s|(]+", _without_heads(text)))
    return bool(first) and not _DEGREE.match(first)


def _first_note(words: Iterable[str]) -> str:
    """The first word that begins with a degree or a letter; empty when none does."""
    return next((word for word in words if _DEGREE.match(word) or _LETTER.match(word)), "")


# -- what is compared ------------------------------------------------------------------------------

WRONG, MISPLACED, GAP, SWAP, LENGTH = 5, 3, 4, 6, 1
"""Prices: a wrong degree, a wrong octave, a note missed or added, two swapped, a wrong length."""
ENTER, _RETURN, _OCTAVE = 12, 8, 5
"""Prices: a shift begins, a shift ends, another octave from here on."""
_MOST_CELLS = 12_000_000

Grid = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class HeardNote:
    """A struck note as it is compared."""

    degree: Degree
    """Its degree in the key in force."""
    length: Fraction
    """Its sounding length in beats."""
    scale: tuple[int, ...]
    """Semitones the scale of the key in force adds to each degree of the major scale, 1 to 7."""

    @property
    def height(self) -> int:
        """Semitones above the tonic."""
        return self.degree.interval.semitones


def heard_notes(melody: Melody) -> tuple[HeardNote, ...]:
    """The struck notes of a melody that has a key."""
    rows = zip(melody.struck, melody.degrees, melody.lengths, strict=True)
    return tuple(
        HeardNote(degree, length, _alterations(melody.key_at(event)))
        for event, degree, length in rows
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

    def degree_for(self, note: HeardNote) -> Degree:
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
    step = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)[sound]
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

    @property
    def lone(self) -> str:
        """The side that has a note where the other has none; empty where both have one."""
        return "theirs" if self.mine is None else "mine" if self.theirs is None else ""


@dataclass(frozen=True, slots=True)
class Pairing:
    """The cheapest account of an answer."""

    pairs: tuple[Pair, ...]
    """Every note of the tune and of the answer once, in order."""
    price: int
    """The price of all mistakes and shifts, 0 or more."""


# -- the cheapest account -----------------------------------------------------------------------


def cheapest_pairing(
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
    return replace(found, pairs=_gather(found.pairs, {"mine": tune, "theirs": answer}))


def _gather(pairs: Sequence[Pair], notes: dict[str, Sequence[HeardNote]]) -> tuple[Pair, ...]:
    """The same account with what is missed, or added, in one place where it may stand there.

    Paired notes between two stretches of missed notes, unless both are single notes, move behind
    the second stretch where the notes there are the same; in front of the first one where the
    second ends the line and all notes but one are: half a tune with a wrong note is one stretch
    missed, and a wrong note.
    """
    line = list(pairs)
    for at in range(len(line) - 2, 0, -1):
        side = line[at].lone
        if not side or line[at - 1].lone:
            continue
        heard = notes[side]
        after = _run(line[at:], side)
        between = _run(reversed(line[:at]), "")
        before = _run(reversed(line[: at - between]), side) if between else 0
        if not before or before + after < 3:
            continue
        middle, start, stop = at - between, at - between - before, at + after
        numbers = [getattr(pair, side) for pair in line[start:stop]]
        heights = [heard[number].height for number in numbers]
        own = heights[before : before + between]
        gaps = [*line[start:middle], *line[at:stop]]
        if own == heights[-between:]:
            turned = [*gaps, *line[middle:at]]
        elif stop == len(line) and sum(map(ne, own, heights)) < 2:
            turned = [*line[middle:at], *gaps]
        else:
            continue
        line[start:stop] = [
            replace(pair, **{side: number}) for pair, number in zip(turned, numbers, strict=True)
        ]
    return tuple(line)


def _run(pairs: Iterable[Pair], side: str) -> int:
    """How many pairs from the first on have a note on that side alone, or on both for none."""
    return sum(1 for _ in takewhile(lambda pair: pair.lone == side and not pair.swapped, pairs))


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
        self.answer = answer
        self.heights = np.array([note.height for note in answer], dtype=np.int32)
        self.steps = np.array([note.degree.steps for note in answer], dtype=np.int32)
        self.lengths = lengths
        self.misplaced = misplaced
        compared = {note: self._compare(note) for note in set(tune)}
        self.prices, self.exact = zip(*(compared[note] for note in tune), strict=True)
        width = len(answer) + 1
        first = np.array([self._start(shift) for shift in shifts], dtype=np.int32)
        self.rows: list[Grid] = [first[:, None] + gap * np.arange(width, dtype=np.int32)]
        for note in range(len(tune)):
            self.rows.append(self._row(note))

    def _compare(self, note: HeardNote) -> tuple[Grid, NDArray[np.bool_]]:
        """Prices of pairing a note of the tune with each of the answer, shift by shift.

        Beside them where the two sound the same.
        """
        moved = [shift.degree_for(note) for shift in self.shifts]
        heights = self.heights - _column(degree.interval.semitones for degree in moved)
        steps = self.steps - _column(degree.steps for degree in moved)
        in_steps = _column(shift.in_steps for shift in self.shifts) > 0
        away = np.where(in_steps, steps, heights)
        prices = np.where(away % np.where(in_steps, 7, 12) == 0, self.misplaced, WRONG)
        prices[away == 0] = 0
        prices[in_steps & (steps == 0) & (heights != 0)] = LENGTH
        if self.lengths:
            prices += LENGTH * np.array([note.length != other.length for other in self.answer])
        return prices.astype(np.int32), heights == 0

    @staticmethod
    def _start(shift: Shift) -> int:
        if shift == STAY:
            return 0
        return ENTER if shift.octaves is None else _OCTAVE

    def _row(self, note: int) -> Grid:
        before = self.rows[note]
        row = before + self.gap
        paired = self._enter(before[:, :-1]) + self.prices[note]
        row[:, 1:] = np.minimum(row[:, 1:], paired)
        if note:
            swapped = np.where(self._swaps(note), self.rows[note - 1][:, :-2] + SWAP, row[:, 2:])
            row[:, 2:] = np.minimum(row[:, 2:], swapped)
        added = self.gap * np.arange(row.shape[1], dtype=np.int32)
        cheapest: Grid = np.minimum.accumulate(row - added, axis=1) + added
        return cheapest

    def _enter(self, before: Grid) -> Grid:
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


def _column(numbers: Iterable[int]) -> Grid:
    return np.array(list(numbers), dtype=np.int32)[:, None]
