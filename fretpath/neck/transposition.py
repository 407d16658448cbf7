"""A melody before and after it moves: did the whole shape move along the neck?

**Theory.**  A shape moves when every note keeps its string and all frets change by the same
number.  The best fingering in the new key may be that shape or another one; both are found by the
same search, so the claim is read off the two fingerings and never assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.key import Key
from fretpath.music.melody import Melody, Placement
from fretpath.music.pitch import Interval
from fretpath.music.transposing import Transposed, transpose_melody
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.limits import Limits
from fretpath.neck.setup import On, Setup
from fretpath.values import Value

Shape = Literal["keep", "refinger", "either"]
"""What becomes of the shape when a melody moves, see :func:`transpose`."""


@dataclass(frozen=True)
class Transposition(Value):
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
    on: On = "bass",
    *,
    to: str | Key | None = None,
    by: str | int | Interval | None = None,
    onto: On | None = None,
    shape: Shape = "refinger",
) -> Transposition:
    """A melody fingered as it is and again after its move.

    >>> from fretpath.music.notation import parse_melody
    >>> from fretpath.neck.limits import Limits
    >>> fretted = Setup.of("bass", limits=Limits(open_strings="forbid"))
    >>> moved = transpose(parse_melody("1 5 8 9 10", key="B"), fretted, to="A")
    >>> moved.shape_frets, str(moved.after.melody.key)
    (-2, 'A major')

    *to* and *by* are those of :func:`fretpath.music.transposing.transpose_melody`; without any,
    the melody stays and only the instrument changes.  *onto* is what it is played on after the
    move; an instrument has its own usual hand and prices there, and the limits of *on*.  A melody
    whose octave is free moves from the octave it is played in by *by*, and to the best octave by
    *to* and *onto*.  *shape* is ``refinger`` (the least effort where it now lies), ``keep`` (every
    note on its string, all frets moved alike; :class:`UnplayableError` where that cannot be), or
    ``either`` (kept where it can be).  Where the limits of *on* forbid the melody as it is, it is
    shown without them: they hold for the new key.
    """
    if shape not in get_args(Shape):
        raise RequestError(f'a shape is {", ".join(get_args(Shape))}, not "{str(shape)[:40]}"')
    setup = Setup.of(on)
    before = _as_it_is(melody, setup)
    exact = onto is None and by is not None
    moved = _moved(before.melody if exact else melody, to, by)
    if onto is not None:
        moved = replace(moved, melody=_unplaced(moved.melody))
    after = None
    if shape != "refinger":
        after = _shape_kept(before, to, by, setup, onto, must=shape == "keep")
    if after is None:
        after = arrange(moved.melody, setup if onto is None else _setup_after(setup, onto))
    return Transposition(before, after, _distance(before, after), moved.changed)


def _shape_kept(
    before: Arrangement,
    to: str | Key | None,
    by: str | int | Interval | None,
    setup: Setup,
    onto: On | None,
    *,
    must: bool,
) -> Arrangement | None:
    """Every note on its string with all frets moved alike; None or an error where it cannot be."""
    melody = _moved(replace(before.melody, octave_free=False), to, by).melody
    frets = melody.pitches[0].midi - before.melody.pitches[0].midi
    try:
        if onto is not None:
            raise UnplayableError("a shape is kept on one instrument only")
        if min(before.frets) + frets < 0:
            raise UnplayableError(f"the shape meets the nut before it is {-frets} frets lower")
        notes = list(melody.notes)
        for event, at in zip(melody.struck, before.fingerings, strict=True):
            notes[event] = replace(notes[event], placement=Placement(at.string, at.fret + frets))
        placed = arrange(replace(melody, notes=tuple(notes)), setup)
    except UnplayableError:
        if must:
            raise
        return None
    return replace(placed, melody=melody, octave_chosen=before.octave_chosen)


def _as_it_is(melody: Melody, setup: Setup) -> Arrangement:
    """Before the move: within the limits, or without them where they forbid it."""
    try:
        return arrange(melody, setup)
    except UnplayableError:
        return arrange(melody, replace(setup, limits=Limits()))


def _setup_after(setup: Setup, onto: On) -> Setup:
    """A setup as given; an instrument with its usual hand and prices under the same limits."""
    if isinstance(onto, Setup):
        return onto
    return Setup.of(onto, limits=setup.limits, objective=setup.objective, repeats=setup.repeats)


def _moved(melody: Melody, to: str | Key | None, by: str | int | Interval | None) -> Transposed:
    if to is None and by is None:
        return Transposed(melody, Interval(0, 0), ())
    return transpose_melody(melody, to=to, by=by)


def _unplaced(melody: Melody) -> Melody:
    """Without the places the teacher asked for, which belong to the first instrument."""
    return replace(melody, notes=tuple(replace(note, placement=None) for note in melody.notes))


def _distance(before: Arrangement, after: Arrangement) -> Interval:
    old, new = before.melody.tonic, after.melody.tonic
    if old is None or new is None:
        return after.melody.pitches[0] - before.melody.pitches[0]
    return new - old
