"""A melody in other keys: every key and octave that fits fingered and ranked, and a move to one.

**Order.**  By the effort that the search makes least, plus :data:`STRETCH` for each mm of the
widest stretch, so that a key in which the hand lies closed goes before one that saves an open
string; then the shorter key signature.  A hand with a reach, a highest fret and a limit on sharps
and flats leave out the keys that a student cannot use yet.  The figures beside it are physical.

**Moving.**  A shape moves when every note keeps its string and all frets change by the same
number.  The best fingering in the new key may be that shape or another one; both are found by the
same search, so the claim is read off the two fingerings and never assumed.
"""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal, get_args

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.key import Key
from fretpath.music.melody import WORKING_OCTAVE, Melody, Placement
from fretpath.music.pitch import OCTAVE, Interval
from fretpath.music.transposing import Transposed, transpose_melody, usual_tonic, way_to
from fretpath.music.words import counted
from fretpath.neck.arrange import Answer, arrange, arrange_many
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.explain_failure import MOVE
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.line import without_places
from fretpath.neck.setup import Limits, On, Setup
from fretpath.neck.ways import describe
from fretpath.values import Value

STRETCH = 1.0
"""Effort that a mm of the widest stretch counts for in the order of keys."""


@dataclass(frozen=True)
class KeyChoice(Value):
    """A melody in one key and octave, fingered."""

    key: Key
    """The first key of the melody there."""
    arrangement: Arrangement
    """Its best fingering."""
    open_strings: tuple[str, ...]
    """Open strings that belong to the key, string n first."""

    @property
    def ease(self) -> float:
        """The figure the order goes by, less is easier: effort and widest stretch."""
        return self.arrangement.effort + STRETCH * self.arrangement.figures.widest_stretch

    @property
    def reason(self) -> str:
        """Why (or why not), in a teacher's words."""
        count = len(self.arrangement.instrument.strings)
        held = len(self.open_strings)
        if held == count:
            strings = "every open string belongs to the key"
        elif held:
            strings = f"open {' '.join(self.open_strings)} of {count} strings in the key"
        else:
            strings = "no open string belongs to the key"
        stretch = f"widest stretch {self.arrangement.figures.widest_stretch:.0f} mm"
        signature = _signature(self.key.signature)
        return f"{describe(self.arrangement)}; {stretch}; {signature}; {strings}"


def _signature(sharps: int) -> str:
    """``2 sharps``, ``1 flat`` or ``no sharps or flats``."""
    if sharps == 0:
        return "no sharps or flats"
    word = "sharp" if sharps > 0 else "flat"
    return counted(abs(sharps), word)


def open_strings_in(key: Key, instrument: Instrument) -> tuple[str, ...]:
    """Names of the open strings whose sound the key's scale holds, string n first.

    >>> from fretpath.neck.catalogue import instrument_named
    >>> open_strings_in(Key.parse("A"), instrument_named("bass"))
    ('E', 'A', 'D')
    """
    tonic = key.tonic_pitch(WORKING_OCTAVE).midi
    scale = {(tonic + semitones) % 12 for semitones in key.scale.semitones}
    opens = reversed(instrument.open_pitches)
    return tuple(pitch.name for pitch in opens if pitch.midi % 12 in scale)


def rank_keys(
    melody: Melody, on: On = "bass", *, octave: int | None = None
) -> tuple[KeyChoice, ...]:
    """The melody in every key and octave that can be played, the easiest first.

    >>> from fretpath.music.notation import parse_melody
    >>> choices = rank_keys(parse_melody("1 2 3 4 5 6 7 8"), "bass")
    >>> choices[0].arrangement.figures.shifts
    0

    *octave* keeps the tonic in that octave.  Raises :class:`RequestError` for a melody without
    a key, and the error of its own key when no key at all can be played.
    """
    if melody.key is None:
        raise RequestError("no key is given, so there are no degrees to move: add --key")
    setup = Setup.of(on)
    if melody.octave_free and any(note.placement for note in melody.notes):
        melody = arrange(melody, replace(setup, limits=Limits())).melody
    neck, most = setup.instrument, setup.limits.accidentals
    tunes = [
        tune
        for sound in range(12)
        for tune in _octaves(melody, sound, neck, octave)
        if tune.key and (most is None or abs(tune.key.signature) <= most)
    ]
    answers = arrange_many(tunes or [melody], setup, unplayable="return")
    choices = [_choice(answer) for answer in answers if isinstance(answer, Arrangement)]
    if not choices:
        problem = _nowhere(melody.key, tunes or [melody], answers)
        raise problem if most is None else _with_more_signs(problem, melody, setup, octave)
    return tuple(sorted(choices, key=_easiest_first))


def _nowhere(
    key: Key | None, tunes: Sequence[Melody], answers: Sequence[Answer]
) -> UnplayableError:
    """Why no key can be played: the error of the melody's own key, or else of the first one."""
    refused = [
        (tune.key, answer)
        for tune, answer in zip(tunes, answers, strict=True)
        if isinstance(answer, UnplayableError)
    ]
    where, problem = next((found for found in refused if found[0] == key), refused[0])
    why = str(problem).replace(MOVE, "")
    return type(problem)(f"no key can be played here; in {where}: {why}")


def _with_more_signs(
    problem: UnplayableError, melody: Melody, setup: Setup, octave: int | None
) -> UnplayableError:
    """The problem, and the key that could be played if it might have more sharps or flats."""
    signs = setup.limits.accidentals
    free = replace(setup, limits=replace(setup.limits, accidentals=None))
    try:
        choices = rank_keys(melody, free, octave=octave)
    except UnplayableError:
        return problem
    fewest = min((choice.key for choice in choices), key=lambda key: abs(key.signature))
    _, _, why = str(problem).partition("; ")
    return type(problem)(
        f"no key within --accidentals {signs} can be played here, but {fewest} "
        f"({_signature(fewest.signature)}) can; {why}"
    )


def _octaves(
    melody: Melody, sound: int, instrument: Instrument, octave: int | None
) -> list[Melody]:
    """The melody in one key, in each octave in which its notes lie between the ends of the neck."""
    assert melody.key is not None
    way = way_to(melody.key, usual_tonic(sound, melody.key))
    if octave is not None:
        moved = transpose_melody(melody, by=way).melody
        ups = range(octave - moved.octave, octave - moved.octave + 1)
    else:
        midi = [pitch.midi + way.semitones for pitch in melody.pitches]
        ups = octaves_for(midi or [instrument.range[0]], instrument)
    tunes = [transpose_melody(melody, by=way + OCTAVE.times(up)).melody for up in ups]
    return [replace(tune, octave_free=False) for tune in tunes]


def _choice(arrangement: Arrangement) -> KeyChoice:
    key = arrangement.melody.key
    assert key is not None
    return KeyChoice(key, arrangement, open_strings_in(key, arrangement.instrument))


def _easiest_first(choice: KeyChoice) -> tuple[float, int, int]:
    tonic = choice.arrangement.melody.tonic
    return choice.ease, abs(choice.key.signature), tonic.midi if tonic else 0


Shape = Literal["keep", "refinger", "either"]
"""The fate of the shape when a melody moves, see :func:`transpose`."""


@dataclass(frozen=True)
class Transposition(Value):
    """A melody fingered before and after a move."""

    written: Melody
    """As it was, in the octave it is played in."""
    before: Arrangement | None
    """The fingering of that; None where it has no place on the neck."""
    after: Arrangement
    """In its new key, mode or on its new instrument."""
    interval: Interval
    """From the sounding tonic before to the one after (octave and all)."""
    changed: tuple[int, ...]
    """Struck notes whose degree changed with the mode."""

    @property
    def shape_frets(self) -> int | None:
        """By how many frets the whole shape moved up the neck; None if it is fingered anew."""
        return shape_move(self.before, self.after) if self.before else None


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
    >>> from fretpath.neck.setup import Limits
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
    shown without them: they hold for the new key.  A melody that is off the neck as it is moves
    all the same.
    """
    if shape not in get_args(Shape):
        raise RequestError(f'a shape is {", ".join(get_args(Shape))}, not "{str(shape)[:40]}"')
    setup = Setup.of(on)
    before = _as_it_is(melody, setup)
    written = before.melody if before else melody
    exact = onto is None and by is not None
    moved = _move(written if exact else melody, to, by)
    if onto is not None:
        moved = replace(moved, melody=without_places(moved.melody))
    after = None
    if shape != "refinger":
        fixed = replace(written, octave_free=False)
        try:
            if before is None or onto is not None:
                raise UnplayableError("a shape is kept only on the instrument it was played on")
            after = _keep_shape(before, _move(fixed, to, by).melody, setup)
        except UnplayableError:
            if shape == "keep":
                raise
    if after is None:
        after = arrange(moved.melody, setup if onto is None else _setup_after(setup, onto))
    off = before is None and melody.octave_free
    interval = moved.interval if off else _distance(written, after.melody)
    return Transposition(written, before, after, interval, moved.changed)


def _keep_shape(before: Arrangement, melody: Melody, setup: Setup) -> Arrangement:
    """A melody with every note on its string as before, and all frets moved alike."""
    frets = melody.pitches[0].midi - before.melody.pitches[0].midi
    if min(before.frets) + frets < 0:
        raise UnplayableError(f"the shape meets the nut before it is {-frets} frets lower")
    notes = list(melody.notes)
    for event, at in zip(melody.struck, before.fingerings, strict=True):
        notes[event] = replace(notes[event], placement=Placement(at.string, at.fret + frets))
    placed = arrange(replace(melody, notes=tuple(notes)), setup)
    return replace(placed, melody=melody, octave_chosen=before.octave_chosen)


def _as_it_is(melody: Melody, setup: Setup) -> Arrangement | None:
    """Before the move: within the limits, or without them where they forbid it; None off neck."""
    for limits in (setup.limits, Limits()):
        with suppress(UnplayableError):
            return arrange(melody, replace(setup, limits=limits))
    return None


def _setup_after(setup: Setup, onto: On) -> Setup:
    """A setup as given; an instrument with its usual hand and prices under the same limits."""
    if isinstance(onto, Setup):
        return onto
    return Setup.of(onto, limits=setup.limits, objective=setup.objective, repeats=setup.repeats)


def _move(melody: Melody, to: str | Key | None, by: str | int | Interval | None) -> Transposed:
    if to is None and by is None:
        return Transposed(melody, Interval(0, 0), ())
    return transpose_melody(melody, to=to, by=by)


def _distance(before: Melody, after: Melody) -> Interval:
    if before.tonic is None or after.tonic is None:
        return after.pitches[0] - before.pitches[0]
    return after.tonic - before.tonic
