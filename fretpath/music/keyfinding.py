"""Finding the key of notes that come without one.

**Method.**  Every tonic in six modes is a candidate: major, Mixolydian, Lydian, natural minor
(with its raised 6 and 7), Dorian, Phrygian.  The evidence for a candidate is a sum: for each of
the twelve sounds the logarithm of one and of how long it lasts (in notes of the commonest
length), times the weight of its degree (:data:`DEGREES`); the last note on 1 or the third; the
first note on 1, the third or 5; and how common the mode is.  Probabilities are the softmax of
these sums.

The logarithm lets evidence grow with the length of a tune, more and more slowly.  The tonic has
the largest weight of all degrees in every mode, so that more of the tonic never speaks against it.
The weights were fitted on every second tune of some tune books and checked on the others
(``docs/evidence.md``; :mod:`tests.benchmarks.fit_key_finding` fits them again).

The tonic is spelled so that its signature lies nearest to the notes as they are spelled.

**Spelling** of sounds without letters (MIDI numbers, frets of a tab): a key spells each by its
scale (:meth:`fretpath.music.key.Key.spell`), within twelve names around the tonic; in a line the
direction decides between #1 and b2, #2 and b3, #5 and b6: raised where the line goes on up a half
step into the scale (common practice).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import groupby
from math import exp, log1p

from fretpath.errors import RequestError
from fretpath.music.key import SCALES, Key
from fretpath.music.melody import Melody, Note
from fretpath.music.pitch import Pitch
from fretpath.values import Value

ENOUGH = 16
"""Notes from which on a found key may be used without asking."""
FEW = 8
"""Notes that are enough where the tonic and its third are as likely as :data:`SURE`."""
SURE = 0.8

_MAJOR = (0.0, -3.53, -1.98, -3.37, -0.36, -1.53, -3.49, -0.22, -2.53, -1.99, -3.60, -1.45)
_MIXOLYDIAN = (0.0, -3.20, -1.73, -3.37, -0.77, -1.20, -3.91, -0.81, -2.40, -1.51, -1.38, -4.01)
_MINOR = (0.0, -4.12, -1.31, -1.44, -4.02, -1.47, -2.79, -0.03, -1.92, -3.11, -1.63, -2.28)
_DORIAN = (0.0, -3.16, -1.18, -1.63, -3.08, -1.53, -3.06, -0.21, -3.98, -2.02, -1.36, -3.60)


def _exchange(weights: tuple[float, ...], one: int, other: int) -> tuple[float, ...]:
    """The weights of a mode that differs in one degree: the two forms change places."""
    swap = {one: other, other: one}
    return tuple(weights[swap.get(sound, sound)] for sound in range(12))


DEGREES = {
    "major": _MAJOR,
    "mixolydian": _MIXOLYDIAN,
    "lydian": _exchange(_MAJOR, 5, 6),
    "natural minor": _MINOR,
    "dorian": _DORIAN,
    "phrygian": _exchange(_MINOR, 1, 2),
}
"""Weight of each sound, by semitones above the tonic; Lydian and Phrygian are too rare in the
books to be fitted."""
COMMON = {
    "major": 1.52,
    "mixolydian": 0.38,
    "lydian": -1.71,
    "natural minor": 0.32,
    "dorian": -0.17,
    "phrygian": 0.0,
}
"""How common each mode is taken to be; fitted, but for Phrygian (five tunes), set by hand."""
LAST = {"1": 2.25, "3": 0.69}
"""For a last note on the tonic, or on the third of the mode."""
FIRST = {"1": 0.77, "3": 0.34, "5": 1.21}
"""For a first note on the tonic, on the third of the mode, or on the fifth."""


@dataclass(frozen=True, slots=True)
class KeyCandidate:
    """A key the notes may be in."""

    key: Key
    """Tonic and mode."""
    score: float
    """Evidence for it: the logarithm of its odds, up to a constant."""
    confidence: float
    """Its probability among all candidates, 0 to 1."""


@dataclass(frozen=True)
class KeyGuess(Value):
    """The key that notes seem to have, with its rivals."""

    candidates: tuple[KeyCandidate, ...]
    """Every tonic in every mode: first the likeliest mode of the likeliest tonic and third, then
    the likeliest first."""
    notes: int
    """How many notes it rests on."""

    @property
    def best(self) -> KeyCandidate:
        """The likeliest candidate."""
        return self.candidates[0]

    @property
    def runner_up(self) -> KeyCandidate:
        """The next one; always say it beside the best."""
        return self.candidates[1]

    @property
    def key(self) -> Key:
        """The likeliest key."""
        return self.best.key

    @cached_property
    def confidence(self) -> float:
        """Probability of the tonic of the key and of its third, whatever else the mode holds."""
        same = [c.confidence for c in self.candidates if _family(c.key) == _family(self.key)]
        return sum(same)

    @property
    def enough(self) -> bool:
        """Whether it may be used without asking: notes enough, or fewer that are sure."""
        return self.notes >= ENOUGH or (self.notes >= FEW and self.confidence >= SURE)

    @property
    def deciding(self) -> str:
        """The sounds that would decide between the best key and its runner-up, in one phrase.

        >>> from fretpath.music.notation import parse_melody
        >>> find_key(parse_melody("D4 E4 F4 A4 G4 F4 E4 D4")).deciding
        'Bb for D natural minor, B for D dorian'
        """
        best, second = self.best.key, self.runner_up.key
        if best.tonic == second.tonic:
            own, other = _names(best), _names(second)
            here = " ".join(name for name in own if name not in other)
            there = " ".join(name for name in other if name not in own)
            return f"{here} for {best}, {there} for {second}"
        return f"an end on {best.tonic} for {best}, on {second.tonic} for {second}"


def _names(key: Key) -> list[str]:
    tonic = key.tonic_pitch(4)
    return [(tonic + degree.interval).name for degree in key.scale.degrees]


def find_key(melody: Melody) -> KeyGuess:
    """The key of a melody from its notes alone; a key it carries is not looked at.

    >>> from fretpath.music.notation import parse_melody
    >>> guess = find_key(parse_melody("G3 B3 D4 G4 F#4 E4 D4 C4 B3 A3 G3"))
    >>> str(guess.key), guess.enough
    ('G major', True)

    Raises :class:`RequestError` for a melody of rests.
    """
    if not melody.pitches:
        raise RequestError("there is no note in this melody, only rests: it has no key")
    weights = [float(beats) for beats in melody.lengths]
    center = sum(p.fifths * w for p, w in zip(melody.pitches, weights, strict=True)) / sum(weights)
    scores = _scores([pitch.midi % 12 for pitch in melody.pitches], weights)
    most = max(scores.values())
    odds = {at: exp(score - most) for at, score in scores.items()}
    total = sum(odds.values())
    candidates = [
        KeyCandidate(_nearest_key(*at, center), score, odds[at] / total)
        for at, score in scores.items()
    ]
    candidates.sort(key=lambda candidate: -candidate.confidence)
    best = _likeliest(candidates)
    candidates.remove(best)
    return KeyGuess((best, *candidates), len(melody.pitches))


def _scores(sounds: list[int], beats: Sequence[float]) -> dict[tuple[int, str], float]:
    """Evidence for each (pitch class of the tonic, mode)."""
    heard = [0.0] * 12
    usual = _commonest(beats)
    for sound, length in zip(sounds, beats, strict=True):
        heard[sound] += length / usual
    evidence = [log1p(length) for length in heard]
    return {
        (tonic, mode): sum(evidence[(tonic + up) % 12] * weights[up] for up in range(12))
        + COMMON[mode]
        + LAST.get(_place((sounds[-1] - tonic) % 12, mode), 0.0)
        + FIRST.get(_place((sounds[0] - tonic) % 12, mode), 0.0)
        for mode, weights in DEGREES.items()
        for tonic in range(12)
    }


def _commonest(lengths: Sequence[float]) -> float:
    """The length most notes have; of equally common ones the shortest."""
    counts = Counter(lengths)
    return min(counts, key=lambda length: (-counts[length], length))


def _place(semitones: int, mode: str) -> str:
    """``1``, ``3`` (the mode's own) or ``5``; empty for any other sound."""
    third = 3 if SCALES[mode].minor else 4
    return {0: "1", third: "3", 7: "5"}.get(semitones, "")


def _family(key: Key) -> tuple[int, bool]:
    """The sound of the tonic, and whether its third is minor."""
    return key.tonic_pitch(4).midi % 12, key.scale.minor


def _likeliest(candidates: Iterable[KeyCandidate]) -> KeyCandidate:
    """Of the likeliest tonic and third the likeliest mode; the candidates come likeliest first."""
    together: dict[tuple[int, bool], list[KeyCandidate]] = {}
    for candidate in candidates:
        together.setdefault(_family(candidate.key), []).append(candidate)
    return max(together.values(), key=lambda modes: sum(c.confidence for c in modes))[0]


def _nearest_key(sound: int, mode: str, center: float) -> Key:
    """The key of that sound whose scale lies nearest to the notes on the line of fifths."""
    # The seven notes of a scale lie from 1 below to 5 above the tonic of its major key.
    return min(
        Key.of_sound(sound, mode),
        key=lambda key: (abs(key.signature + 2 - center), key.signature),
    )


def in_key(melody: Melody, key: Key) -> Melody:
    """The same notes under a key, their degrees counted from where most are plain.

    Letters stay as they are; see :func:`respell` for notes that came without.
    """
    return replace(melody, keys=((0, key),), octave=key.octave_of(melody.pitches))


def respell(melody: Melody, key: Key) -> Melody:
    """The same sounds under a key, spelled anew by it; for notes that came without letters.

    >>> from fretpath.music.notation import parse_melody
    >>> tune = respell(parse_melody("A4 Ab4 A4 Eb5 E5"), Key.parse("A minor"))
    >>> [pitch.name for pitch in tune.pitches]
    ['A', 'G#', 'A', 'D#', 'E']
    """
    line = iter(spell_line([pitch.midi for pitch in melody.pitches], key))
    notes: list[Note] = []
    for note in melody.notes:
        if note.tied:
            note = replace(note, pitch=notes[-1].pitch)
        elif note.pitch is not None:
            note = replace(note, pitch=next(line))
        notes.append(note)
    return in_key(replace(melody, notes=tuple(notes)), key)


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
        spelled += [_spell_sound(sound, goal, key)] * count
    return tuple(spelled)


def _spell_sound(sound: int, goal: int, key: Key) -> Pitch:
    """One sound that goes on to another one."""
    pitch = key.spell(sound)
    turned = pitch.fifths - key.fifths in _TURNED and not _natural(sound, key)
    if turned and goal == sound + 1 and _natural(goal, key):
        return Pitch.from_midi(sound, pitch.fifths + 12)
    return pitch


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
