"""Spelling of sounds that come without letters: MIDI numbers, and frets of a tab.

A key spells them by its scale (:meth:`fretpath.music.key.Key.spell`); here is what to do where
there is no key.
"""

from __future__ import annotations

from collections.abc import Iterable

from fretpath.music.key import Key
from fretpath.music.pitch import C0, Interval, Pitch


def usual_interval(semitones: int) -> Interval:
    """An interval of that many semitones (negative: down) as it is usually spelled.

    >>> [str(usual_interval(semitones)) for semitones in (3, 6, -1)]
    ['+m3', '+A4', '-m2']
    """
    return Pitch.from_midi(C0.midi + semitones) - C0


def likeliest_signature(midi: Iterable[int]) -> Key:
    """The major key under whose signature most of the sounds are natural; fewest signs win ties.

    >>> str(likeliest_signature([62, 64, 66, 67, 69, 71, 73]))
    'D major'
    """
    sounds = list(midi)
    signatures = sorted(range(-5, 7), key=lambda signs: (abs(signs), -signs))
    keys = [Key.of_signature(signs) for signs in signatures]
    return max(keys, key=lambda key: sum(_natural(sound, key) for sound in sounds))


def _natural(midi: int, key: Key) -> bool:
    return (midi - key.tonic_pitch(0).midi) % 12 in key.scale.semitones
