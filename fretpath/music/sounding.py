"""Spelling of sounds that come without letters: MIDI numbers, and frets of a tab.

Inside its key a sound takes the letter of the scale; outside, the usual one against the major
scale of the tonic: #4, and flat for the other four (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from fretpath.music.key import Degree, Key
from fretpath.music.pitch import OCTAVE, Interval, Pitch

__all__ = ["likeliest_signature", "spelled", "usual_interval"]

_USUAL = ("1", "b2", "2", "b3", "3", "4", "#4", "5", "b6", "6", "b7", "7")
_MAJOR_KEYS = ("C", "G", "F", "D", "Bb", "A", "Eb", "E", "Ab", "B", "Db", "F#")


def spelled(midi: int, key: Key) -> Pitch:
    """A MIDI number as the key spells it.

    >>> str(spelled(66, Key("D", "major"))), str(spelled(66, Key("Db", "major")))
    ('F#4', 'Gb4')
    """
    tonic = key.tonic_pitch(0)
    octaves, step = divmod(midi - tonic.midi, 12)
    return tonic + _steps(key)[step] + OCTAVE.times(octaves)


def usual_interval(semitones: int) -> Interval:
    """An interval of that many semitones (negative: down) as it is usually spelled.

    >>> [str(usual_interval(semitones)) for semitones in (3, 6, -1)]
    ['+m3', '+A4', '-m2']
    """
    start = Pitch.spelled("C", 0, 0)
    return spelled(start.midi + semitones, Key("C", "major")) - start


@lru_cache(maxsize=256)
def _steps(key: Key) -> tuple[Interval, ...]:
    """The interval above the tonic for each of the twelve sounds."""
    usual = [Degree.parse(degree).interval for degree in _USUAL]
    own = [Degree.parse(degree).interval for degree in key.scale.degrees]
    return tuple({i.semitones % 12: i for i in (*usual, *own)}[step] for step in range(12))


def likeliest_signature(midi: Iterable[int]) -> Key:
    """The major key under whose signature most of the sounds are natural; fewest signs win ties.

    >>> str(likeliest_signature([62, 64, 66, 67, 69, 71, 73]))
    'D major'
    """
    sounds = list(midi)
    keys = [Key(tonic, "major") for tonic in _MAJOR_KEYS]
    return max(keys, key=lambda key: sum(_natural(sound, key) for sound in sounds))


def _natural(midi: int, key: Key) -> bool:
    return (midi - key.tonic_pitch(0).midi) % 12 in key.scale.semitones
