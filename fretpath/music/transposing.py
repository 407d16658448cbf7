"""The same melody somewhere else: in another key, an interval away, in another mode.

**Theory.**  Moving every pitch by one spelled interval moves the tonic with them, so the row of
degrees stays as it is and the new names follow from the letters.  Changing the mode keeps the
numbers of the degrees and exchanges their accidentals: from major to natural minor 3 6 7 become
b3 b6 b7; a note outside the old scale stays what it is.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key, Scale, key_asked
from fretpath.music.melody import WORKING_OCTAVE, Melody, Note, Placement
from fretpath.music.pitch import OCTAVE, Interval, Pitch

TRITONE = 6
MOST_FRETS = 36


@dataclass(frozen=True)
class Transposed:
    """A melody moved, and what happened to it."""

    melody: Melody
    """The melody in its new place."""
    interval: Interval
    """How far it moved."""
    changed: tuple[int, ...]
    """Struck notes whose degree is another one now, because the mode changed."""


def transpose_melody(
    melody: Melody, *, to: str | Key | None = None, by: str | int | Interval | None = None
) -> Transposed:
    """A melody in another key, by one of two measures.

    >>> from fretpath.music.notation import parse_melody
    >>> tune = parse_melody("1 b3 5", key="G")
    >>> [pitch.name for pitch in transpose_melody(tune, to="Eb").melody.pitches]
    ['Eb', 'Gb', 'Bb']

    *to* is a tonic (``A``, the mode stays), a key (``A minor``) or a mode (``minor``, the tonic
    stays); the tune goes the shorter way, up by a tritone.  *by* is an interval such as ``-m3``,
    or a number of semitones (frets), spelled in the key with the fewest sharps or flats.
    Frets the teacher asked for move along their strings; one that would leave its string is
    dropped, and the search finds another.

    Raises :class:`RequestError` for none or both of them, and for ``to`` without a key.
    """
    if (to is None) == (by is None):
        raise RequestError("say one of: to which key, or by which interval or how many frets")
    if by is not None:
        interval = _interval(melody, by)
        return Transposed(_move(melody, interval), interval, ())
    if melody.key is None:
        raise RequestError(
            "no key is given, so there is none to leave: add a key (--key G), or move by an "
            "interval (--by M2)"
        )
    key = to if isinstance(to, Key) else key_asked(to or "", melody.key)
    interval = way_to(melody.key, key.tonic)
    moved = _move(melody, interval)
    if key.mode == melody.key.mode:
        return Transposed(moved, interval, ())
    moved, changed = _in_mode(moved, key.scale)
    return Transposed(moved, interval, changed)


def _interval(melody: Melody, by: str | int | Interval) -> Interval:
    if isinstance(by, int):
        return _fewest_signs(melody, by)
    return Interval.parse(by) if isinstance(by, str) else by


def _move(melody: Melody, interval: Interval) -> Melody:
    moved = melody.transposed(interval)
    if not any(note.placement for note in melody.notes):
        return moved
    notes = tuple(
        replace(note, placement=_move_place(note.placement, interval.semitones))
        for note in moved.notes
    )
    return replace(moved, notes=notes)


def _move_place(place: Placement | None, semitones: int) -> Placement | None:
    if place is None or place.fret is None:
        return place
    fret = place.fret + semitones
    return Placement(place.string, fret) if 0 <= fret <= MOST_FRETS else None


def way_to(key: Key, tonic: str) -> Interval:
    """The interval from a key's tonic to the nearest tonic of that name; a tritone goes up."""
    start = key.tonic_pitch(WORKING_OCTAVE)
    above = Key(tonic, key.mode).tonic_near(start)
    interval = above - start
    return interval if interval.semitones != -TRITONE else interval + OCTAVE


def _fewest_signs(melody: Melody, frets: int) -> Interval:
    """So many semitones as an interval whose new key has the fewest sharps or flats."""
    if abs(frets) > MOST_FRETS:
        raise RequestError(f"a move is at most {MOST_FRETS} frets, not {frets}")
    key = melody.key or Key("C", "major")
    start = key.tonic_pitch(WORKING_OCTAVE)
    name = usual_tonic((start.midi + frets) % 12, key)
    near = Key(name, key.mode).tonic_near(Pitch(start.staff, start.midi + frets))
    return near - start


def usual_tonic(sound: int, key: Key) -> str:
    """The name of the tonic with that pitch class (0 to 11) whose key is written most simply.

    Flats go before sharps where the signature is shorter (Db, not C#); of two as short (F# and Gb
    major) the one on the side of ``key``.
    """
    flats = key.signature < 0
    keys = Key.of_sound(sound, key.mode)
    return min(keys, key=lambda k: (abs(k.signature), (k.signature < 0) != flats)).tonic


def _in_mode(melody: Melody, mode: Scale) -> tuple[Melody, tuple[int, ...]]:
    """The melody in another mode on the same tonic, and the struck notes that changed.

    Numbers are kept, accidentals exchanged.  Every passage of the melody takes the new mode;
    notes outside their old scale stay.
    """
    notes: list[Note] = []
    changed = []
    degrees = iter(enumerate(melody.degrees))
    for event, note in enumerate(melody.notes):
        key = melody.key_at(event)
        if note.tied:
            note = replace(note, pitch=notes[-1].pitch)
        elif note.pitch is not None and key is not None:
            number, degree = next(degrees)
            alter = _exchange(degree, key.scale, mode) if degree else 0
            if alter:
                changed.append(number)
                pitch = Pitch(note.pitch.staff, note.pitch.midi + alter)
                note = replace(note, pitch=pitch, placement=None)
        notes.append(note)
    keys = tuple((start, Key(key.tonic, mode.name)) for start, key in melody.keys)
    return replace(melody, notes=tuple(notes), keys=keys), tuple(changed)


def _exchange(degree: Degree, old: Scale, new: Scale) -> int:
    """Semitones to add to a degree of the old scale to have the new scale's own."""
    own = old.own(degree.number).alter
    return new.own(degree.number).alter - own if degree.alter == own else 0
