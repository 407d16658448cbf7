"""Finding the key of notes that come without one.

**Method.**  The sounding time of each of the twelve notes is correlated with a profile of each of
the 24 major and minor keys (Krumhansl and Schmuckler's method), with D. Temperley's profiles from
the Kostka-Payne corpus (the values as music21 carries them).  A key whose tonic is the last note
gets :data:`LAST_NOTE` on top.  ``docs/evidence.md`` has the accuracy measured.

**Confidence** turns scores into shares of 1 (a softmax whose sharpness was fitted on half of some
tune books, see ``docs/evidence.md``).  It weighs the candidates against each other; it is no
promise.

Short phrases decide little: below :data:`ENOUGH` notes the guess is offered and never used
unasked.  The tonic is spelled so that its signature lies nearest to the notes as they are spelled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from math import exp, sqrt

from fretpath.errors import RequestError
from fretpath.music.departures import best_modes
from fretpath.music.key import SCALES, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Pitch
from fretpath.music.roles import passages

ENOUGH = 16
"""Notes from which on a found key may be used without asking."""
LAST_NOTE = 0.15
"""Added to the correlation of a key whose tonic is the last note."""
SHARPNESS = 13.0
"""How fast confidence falls with the score; :data:`SHORT_SHARPNESS` below :data:`ENOUGH` notes."""
SHORT_SHARPNESS = 10.0

_PROFILES = {
    "major": (0.748, 0.060, 0.488, 0.082, 0.670, 0.460, 0.096, 0.715, 0.104, 0.366, 0.057, 0.400),
    "natural minor": (
        0.712, 0.084, 0.474, 0.618, 0.049, 0.460, 0.105, 0.747, 0.404, 0.067, 0.133, 0.330,
    ),
}  # fmt: skip
_SIGNATURES = range(-7, 8)


@dataclass(frozen=True, slots=True)
class KeyCandidate:
    """A key the notes may be in."""

    key: Key
    """Major or natural minor."""
    score: float
    """Correlation with its profile, -1 to 1, and the bonus for the last note."""
    confidence: float
    """Its share of the belief in all 24 keys, 0 to 1."""


@dataclass(frozen=True)
class KeyGuess:
    """What the notes say about their key."""

    candidates: tuple[KeyCandidate, ...]
    """All 24 keys, the likeliest first."""
    notes: int
    """How many notes it rests on."""
    key: Key
    """The likeliest key, with its mode where the notes decide it (D dorian)."""

    @property
    def best(self) -> KeyCandidate:
        """The likeliest candidate."""
        return self.candidates[0]

    @property
    def runner_up(self) -> KeyCandidate:
        """The next one; always say it beside the best."""
        return self.candidates[1]

    @cached_property
    def enough(self) -> bool:
        """Whether there are notes enough to use it without asking."""
        return self.notes >= ENOUGH


def find_key(melody: Melody) -> KeyGuess:
    """The key of a melody from its notes alone; a key it carries is not looked at.

    >>> from fretpath.music.notation import parse_melody
    >>> guess = find_key(parse_melody("G3 B3 D4 G4 F#4 E4 D4 C4 B3 A3 G3"))
    >>> str(guess.best.key), guess.enough
    ('G major', False)

    Raises :class:`RequestError` for a melody of rests.
    """
    if not melody.pitches:
        raise RequestError("there is no note in this melody, only rests: it has no key")
    weights = [float(beats) for beats in melody.lengths]
    scores = _scores(melody.pitches, weights)
    center = sum(p.fifths * w for p, w in zip(melody.pitches, weights, strict=True))
    center /= sum(weights)
    best = max(scores.values())
    sharpness = SHARPNESS if len(melody.pitches) >= ENOUGH else SHORT_SHARPNESS
    beliefs = {at: exp(sharpness * (score - best)) for at, score in scores.items()}
    total = sum(beliefs.values())
    candidates = tuple(
        KeyCandidate(
            _spelled(sound, mode, center), scores[sound, mode], beliefs[sound, mode] / total
        )
        for sound, mode in sorted(scores, key=lambda at: (-scores[at], at))
    )
    key = _with_mode(melody, candidates[0].key)
    return KeyGuess(candidates, len(melody.pitches), key)


def _scores(pitches: Sequence[Pitch], weights: Sequence[float]) -> dict[tuple[int, str], float]:
    """Score of each (pitch class of the tonic, mode)."""
    heard = [0.0] * 12
    for pitch, weight in zip(pitches, weights, strict=True):
        heard[pitch.midi % 12] += weight
    last = pitches[-1].midi % 12
    return {
        (tonic, mode): _correlation(heard[tonic:] + heard[:tonic], profile)
        + (LAST_NOTE if tonic == last else 0.0)
        for mode, profile in _PROFILES.items()
        for tonic in range(12)
    }


def _correlation(xs: Sequence[float], ys: Sequence[float]) -> float:
    """Pearson's correlation; 0 where every note sounds equally long."""
    x_mean, y_mean = sum(xs) / len(xs), sum(ys) / len(ys)
    both = sum((x - x_mean) * (y - y_mean) for x, y in zip(xs, ys, strict=True))
    spread = sum((x - x_mean) ** 2 for x in xs) * sum((y - y_mean) ** 2 for y in ys)
    return both / sqrt(spread) if spread > 0 else 0.0


def _spelled(sound: int, mode: str, center: float) -> Key:
    """The key of that sound whose scale lies nearest to the notes on the line of fifths."""
    lowest = (7 * sound + SCALES[mode].flattest + 1 + 7) % 12 - 7
    # The seven notes of a scale lie from 1 below to 5 above the tonic of its major key.
    signature = min(
        (signs for signs in (lowest, lowest + 12) if signs in _SIGNATURES),
        key=lambda signs: (abs(signs + 2 - center), signs),
    )
    return Key.of_signature(signature, mode)


def in_key(melody: Melody, key: Key) -> Melody:
    """The same notes under a key: its lowest tonic that sounds is 1 (or the one below them all)."""
    return replace(melody, keys=((0, key),), octave=key.octave_of(melody.pitches))


def _with_mode(melody: Melody, key: Key) -> Key:
    """The key with another mode on its tonic, when only that mode holds more of the notes."""
    passage = passages(in_key(melody, key))[0]
    modes, _ = best_modes(passage, key.scale)
    same_third = ("b3" in modes[0].names) == ("b3" in key.scale.names)
    characteristic = set(modes[0].names) - set(key.scale.names)
    decided = len(modes) == 1 and modes[0] is not key.scale and same_third
    return Key(key.tonic, modes[0].name) if decided and characteristic <= passage.names else key
