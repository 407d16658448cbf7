"""A melody before and after it moves: did the whole shape move along the neck?

**Theory.**  A shape moves when every note keeps its string and all frets change by the same
number.  The best fingering in the new key may be that shape or another one; both are found by the
same search, so the claim is read off the two fingerings and never assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fretpath.music.key import Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.music.transposing import Transposed, transpose_melody
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.arranging import arrange
from fretpath.neck.costs import Weights
from fretpath.neck.hand import Hand
from fretpath.neck.instrument import Instrument
from fretpath.neck.wishes import Wishes

__all__ = ["Transposition", "shape_move", "transpose"]


@dataclass(frozen=True)
class Transposition:
    """A melody fingered before and after a move."""

    before: Arrangement
    """As it was."""
    after: Arrangement
    """In its new key, mode or on its new instrument."""
    interval: Interval
    """From the sounding tonic before to the one after (octave and all)."""
    changed: tuple[int, ...]
    """Struck notes whose degree changed with the mode."""

    @property
    def shape_frets(self) -> int | None:
        """By how many frets the whole shape moved up the neck; None if it is fingered anew."""
        return shape_move(self.before, self.after)


def shape_move(before: Arrangement, after: Arrangement) -> int | None:
    """The constant by which all frets differ on the same strings; None if there is none."""
    if before.strings != after.strings:
        return None
    moves = {b - a for a, b in zip(before.frets, after.frets, strict=True)}
    return moves.pop() if len(moves) == 1 else None


def transpose(
    melody: Melody,
    instrument: str | Instrument = "bass",
    *,
    to: str | Key | None = None,
    by: str | Interval | None = None,
    frets: int | None = None,
    onto: str | Instrument | None = None,
    hand: str | Hand | None = None,
    weights: Weights | None = None,
    wishes: Wishes | None = None,
    objective: str = "total",
) -> Transposition:
    """A melody fingered as it is and again after its move.

    >>> from fretpath.music.notation import parse_melody
    >>> tune, fretted = parse_melody("1 5 8 9 10", key="B"), Wishes(open_strings="forbid")
    >>> moved = transpose(tune, "bass", to="A", wishes=fretted)
    >>> moved.shape_frets, str(moved.after.melody.key)
    (-2, 'A major')

    *to*, *by* and *frets* are those of :func:`fretpath.music.transposing.transpose_melody`; without
    any, the melody stays and only the instrument changes.  *onto* is the instrument after the
    move, played with its own usual hand and weights; *hand*, *weights*, *wishes* and *objective*
    are those of :func:`arrange`.  A melody whose octave is free moves from the octave it is played
    in by *by* and *frets*, and to the best octave by *to* and *onto*.
    """
    before = arrange(
        melody, instrument, hand=hand, weights=weights, wishes=wishes, objective=objective
    )
    if onto is not None:
        hand = weights = None
    exact = onto is None and (by is not None or frets is not None)
    moved = _moved(before.melody if exact else melody, to, by, frets)
    if onto is not None:
        moved = replace(moved, melody=_unplaced(moved.melody))
    after = arrange(
        moved.melody,
        instrument if onto is None else onto,
        hand=hand,
        weights=weights,
        wishes=wishes,
        objective=objective,
    )
    return Transposition(before, after, _distance(before, after), moved.changed)


def _moved(
    melody: Melody, to: str | Key | None, by: str | Interval | None, frets: int | None
) -> Transposed:
    if to is None and by is None and frets is None:
        return Transposed(melody, Interval(0, 0), ())
    return transpose_melody(melody, to=to, by=by if frets is None else frets)


def _unplaced(melody: Melody) -> Melody:
    """Without the places the teacher asked for, which belong to the first instrument."""
    return replace(melody, notes=tuple(replace(note, placement=None) for note in melody.notes))


def _distance(before: Arrangement, after: Arrangement) -> Interval:
    old, new = before.melody.tonic, after.melody.tonic
    if old is None or new is None:
        return after.melody.pitches[0] - before.melody.pitches[0]
    return new - old
