"""Spelling of sounds that come without letters: MIDI numbers, and frets of a tab.

A key spells each by its scale (:meth:`fretpath.music.key.Key.spell`), within twelve names around
the tonic; in a line the direction decides between #1 and b2, #2 and b3, #5 and b6: raised where
the line goes on up a half step into the scale (common practice).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from fretpath.music.key import Key
from fretpath.music.pitch import C0, Interval, Pitch

_TURNED = range(-5, -2)  # b2 b6 b3, in fifths from the tonic; twelve further up #1 #5 #2


def spell_line(midi: Sequence[int], key: Key) -> tuple[Pitch, ...]:
    """The MIDI numbers of a line as the key spells them and as the line goes.

    >>> line = spell_line([60, 61, 62, 61, 60], Key("C", "major"))
    >>> [pitch.name for pitch in line]
    ['C', 'C#', 'D', 'Db', 'C']
    """
    runs = [(sound, len(list(run))) for sound, run in groupby(midi)]
    after = [sound for sound, _ in runs[1:]] + [-1]
    spelled = []
    for (sound, count), goal in zip(runs, after, strict=True):
        spelled += [_spelled(sound, goal, key)] * count
    return tuple(spelled)


def _spelled(sound: int, goal: int, key: Key) -> Pitch:
    """One sound that goes on to another one."""
    pitch = key.spell(sound)
    turned = pitch.fifths - key.fifths in _TURNED and not _natural(sound, key)
    if turned and goal == sound + 1 and _natural(goal, key):
        return Pitch.from_midi(sound, pitch.fifths + 12)
    return pitch


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
