"""From one voice as a file has it to a :class:`Melody`.

**Theory.**  A file counts in quarter notes, a Melody in beats of the meter in force; bars of a
file may be cut in two by a repeat sign, and may be longer or shorter than their meter.  A Melody
wants every bar but a pickup and the last to add up, and begins a phrase where key or meter
changes.

**What is done about it.**  Two neighbouring bars that are one bar cut in two become one.  A bar
that still does not add up gets a meter of its own, and this is said; if a third of all bars or
more do not add up, the meter is left out instead.  Four bars make a phrase where the file does
not tell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import TypeVar

from fretpath.errors import RequestError, ScoreFileError
from fretpath.music.key import MODES, SCALES, Key, scale_named
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement
from fretpath.music.pitch import Pitch
from fretpath.music.words import counted

__all__ = ["Imported", "Sound", "Voice", "assembled", "key_of_signature"]

_BARS_A_PHRASE = 4
_LONGEST = 9999
_FLATTEST, _NAMES = -15, 35  # Fbb on the line of fifths, and 35 names up to B##
T = TypeVar("T")


def key_of_signature(fifths: int, mode: str | None) -> Key:
    """The key with so many sharps (negative: flats); an unknown mode is read as major.

    >>> str(key_of_signature(-1, "dorian"))
    'G dorian'
    """
    try:
        scale = scale_named(mode or "major")
    except RequestError:
        scale = SCALES["major"]
    scale = scale if scale.name in MODES else SCALES["major"]
    least = _FLATTEST + scale.flattest + 1
    return Key.of_signature(min(max(fifths, least), least + _NAMES - 1), scale.name)


@dataclass(slots=True)
class Sound:
    """One note, rest or continuation, its length in quarter notes."""

    length: Fraction
    pitch: Pitch | None
    tied: bool = False
    placement: Placement | None = None


@dataclass(slots=True)
class Voice:
    """One voice as the file has it; marks are indices of the sounds they stand before."""

    sounds: list[Sound] = field(default_factory=list)
    bars: list[int] = field(default_factory=list)
    keys: list[tuple[int, Key]] = field(default_factory=list)
    meters: list[tuple[int, Meter]] = field(default_factory=list)
    tempo: Fraction | None = None
    """Quarter notes a minute."""
    title: str = ""
    left_out: Counter[str] = field(default_factory=Counter)
    remarks: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Imported:
    """A melody out of a file, and what must be said about it."""

    melody: Melody
    """The melody, octave as in the file."""
    remarks: tuple[str, ...] = ()
    """What was chosen, reduced or left out; one sentence each."""
    left_out: tuple[tuple[str, int], ...] = ()
    """What was left out and how often: grace notes, lower notes of chords ..."""


def assembled(voice: Voice, name: str) -> Imported:
    """The melody of a voice, with what must be said about it."""
    if not any(sound.pitch for sound in voice.sounds):
        raise ScoreFileError(f"{name} holds no pitched note that could be played")
    _check_lengths(voice)
    count = len(voice.sounds)
    keys = _changes(voice.keys, count)
    meters = _changes(voice.meters, count)
    bars = sorted({at for at in voice.bars if 0 < at < count})
    if meters and bars:
        bars = _joined_bars(voice.sounds, bars, meters)
        meters = _adding_up(voice, bars, meters)
    starts = set(bars[_first_break(voice.sounds, bars, meters) :: _BARS_A_PHRASE])
    starts |= {at for at, _ in (*keys, *meters)}
    melody = Melody(
        notes=tuple(_notes(voice.sounds, meters, name)),
        keys=tuple(keys),
        meters=tuple(meters),
        bars=tuple(bars),
        phrases=tuple(sorted(at for at in starts if 0 < at < count)),
        octave=_octave(keys, voice.sounds),
        title=" ".join("".join(c if c.isprintable() else " " for c in voice.title).split()),
        tempo=_tempo(voice, meters),
    )
    left_out = tuple((what, n) for what, n in sorted(voice.left_out.items()) if n)
    return Imported(melody, tuple(_said(left_out, voice.remarks)), left_out)


def _said(left_out: Iterable[tuple[str, int]], remarks: Sequence[str]) -> list[str]:
    counted = ", ".join(f"{what} ({n})" for what, n in left_out)
    return [*dict.fromkeys(remarks), *([f"left out: {counted}"] if counted else [])]


def _check_lengths(voice: Voice) -> None:
    """Lengths that a melody can hold at all."""
    for sound in voice.sounds:
        if sound.length.denominator > _LONGEST or sound.length > _LONGEST:
            raise ScoreFileError(
                f"a length of {float(sound.length):g} quarter notes is beyond what is read here"
            )


def _changes(marks: Iterable[tuple[int, T]], count: int) -> list[tuple[int, T]]:
    """Real changes only, the first one at the beginning; of two at one place the later holds."""
    last = {at: value for at, value in marks if at < count}
    found: list[tuple[int, T]] = []
    for at, value in sorted(last.items(), key=lambda pair: pair[0]):
        if not found:
            found.append((0, value))
        elif found[-1][1] != value:
            found.append((at, value))
    return found


def _at(changes: Sequence[tuple[int, T]], event: int) -> T:
    return [value for at, value in changes if at <= event][-1]


def _size(meter: Meter) -> Fraction:
    return Fraction(4 * meter.beats, meter.unit)


def _length(sounds: Sequence[Sound], start: int, stop: int) -> Fraction:
    return sum((sound.length for sound in sounds[start:stop]), Fraction(0))


def _joined_bars(
    sounds: Sequence[Sound], bars: Sequence[int], meters: Sequence[tuple[int, Meter]]
) -> list[int]:
    """Bars without the marks that cut one bar in two."""
    spans = list(pairwise((0, *bars, len(sounds))))
    changes = {at for at, _ in meters}
    kept: list[int] = []
    before = Fraction(0)
    for number, (start, stop) in enumerate(spans):
        length = _length(sounds, start, stop)
        whole = _size(_at(meters, start))
        joins = number > 1 and start not in changes and before < whole == before + length
        if number and not joins:
            kept.append(start)
        before = before + length if joins else length
    return kept


def _adding_up(
    voice: Voice, bars: Sequence[int], meters: Sequence[tuple[int, Meter]]
) -> list[tuple[int, Meter]]:
    """The meters, with those of odd bars among them; empty if too many bars are odd."""
    spans = list(pairwise((0, *bars, len(voice.sounds))))
    odd: list[tuple[int, int, Fraction]] = []
    for number, (start, stop) in enumerate(spans):
        length, whole = _length(voice.sounds, start, stop), _size(_at(meters, start))
        edge = number in (0, len(spans) - 1)
        if length > whole or (length < whole and not edge):
            odd.append((start, stop, length))
    if not odd:
        return list(meters)
    places = counted(len(odd), "bar")
    own = [_own_meter(length, _at(meters, start).unit) for start, _, length in odd]
    if 3 * len(odd) >= len(spans) or None in own:
        verb = "does" if len(odd) == 1 else "do"
        voice.remarks.append(f"{places} of {len(spans)} {verb} not add up: the meter is left out")
        return []
    changed = dict(meters)
    for (start, stop, _), meter in zip(odd, own, strict=True):
        back = _at(meters, stop)
        assert meter is not None
        changed[start] = meter
        if stop < len(voice.sounds) and stop not in {s for s, _, _ in odd}:
            changed.setdefault(stop, back)
    voice.remarks.append(f"{places} of {len(spans)} not as long as the meter: given its own meter")
    return sorted(changed.items(), key=lambda pair: pair[0])


def _own_meter(length: Fraction, unit: int) -> Meter | None:
    for finer in (unit, 4, 8, 16, 32):
        beats = length * finer / 4
        if finer >= unit and beats.denominator == 1 and 1 <= beats <= 64:
            return Meter(int(beats), finer)
    return None


def _first_break(
    sounds: Sequence[Sound], bars: Sequence[int], meters: Sequence[tuple[int, Meter]]
) -> int:
    """Which bar mark begins the second phrase: a pickup belongs to the first."""
    pickup = bool(bars and meters) and _length(sounds, 0, bars[0]) < _size(meters[0][1])
    return _BARS_A_PHRASE if pickup else _BARS_A_PHRASE - 1


def _notes(
    sounds: Sequence[Sound], meters: Sequence[tuple[int, Meter]], name: str
) -> Iterable[Note]:
    units = {at: meter.unit for at, meter in meters}
    unit = 4
    before: Pitch | None = None
    for index, sound in enumerate(sounds):
        unit = units.get(index, unit)
        pitch = sound.pitch
        tied = sound.tied and pitch is not None and before is not None
        if tied and pitch and before and pitch.staff == before.staff:
            pitch = before  # an accidental holds through a tie over the bar line
        tied = tied and pitch == before
        yield Note(pitch, sound.length * unit / 4, tied, None if tied else sound.placement)
        before = pitch


def _octave(keys: Sequence[tuple[int, Key]], sounds: Sequence[Sound]) -> int:
    """Octave of the lowest tonic that is played, or of the one below the lowest note."""
    if not keys:
        return WORKING_OCTAVE
    return keys[0][1].octave_of([sound.pitch for sound in sounds if sound.pitch])


def _tempo(voice: Voice, meters: Sequence[tuple[int, Meter]]) -> Fraction | None:
    if voice.tempo is None:
        return None
    unit = meters[0][1].unit if meters else 4
    tempo = Fraction(round(voice.tempo * unit / 4 * 1000), 1000)
    if 10 <= tempo <= 400:
        return tempo
    voice.remarks.append(f"a tempo of {float(tempo):g} beats a minute is left out (10 to 400)")
    return None
