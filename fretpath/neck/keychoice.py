"""Which key suits the hand: every key, and every octave that fits, fingered and ranked.

**Order.**  By the effort that the search makes least, plus :data:`STRETCH` for each mm of the
widest stretch, so that a key in which the hand lies closed goes before one that saves an open
string; then the shorter key signature.  A hand with a reach, a highest fret and a limit on sharps
and flats leave out the keys that a student cannot use yet.  The figures beside it are physical.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fretpath.errors import RequestError, UnplayableError
from fretpath.music.key import Key
from fretpath.music.melody import WORKING_OCTAVE, Melody
from fretpath.music.pitch import OCTAVE
from fretpath.music.transposing import transpose_melody, usual_tonic, way_to
from fretpath.music.words import counted
from fretpath.neck.arrange import Answer, arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.instrument import Instrument, octaves_for
from fretpath.neck.limits import Limits
from fretpath.neck.many import arrange_many
from fretpath.neck.setup import On, Setup
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
        """What the order goes by, less is easier: effort and widest stretch."""
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
    melody: Melody,
    on: On = "bass",
    *,
    octave: int | None = None,
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
        raise _nowhere(melody.key, tunes or [melody], answers)
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
    return type(problem)(f"no key can be played here; in {where}: {problem}")


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
