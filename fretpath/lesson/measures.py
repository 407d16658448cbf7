"""Measures of how hard a tune is: for the ear, and apart from that for the hand; kinds of leaps.

**Theory.**  No single number says how hard a tune is.  The measures of the ear follow what
tracked the order of two sight-singing books best: how varied the pitches are, how much leaves the
key, how wide the tune reaches, how far it leaps, and whether its leaps stay inside the tonic
triad.  Sources: D. J. Baker, dissertation, Louisiana State University 2019, chapter 3 (40 teachers
rated 20 melodies: pitch entropy correlated .84 with their mean, interval entropy .85, mean size of
interval .87); T. Eerola, Empirical Musicology Review 11 (2016) 2-17 (models of expectation explain
46 to 74 % of rated complexity); B. Crowell, Eyes and Ears (2004-2017), which puts the function of
a leap before its size.

**Conventions.**  Only struck notes count; a rest or a tie is no note.  Entropies are in bits
(Shannon 1948, log to base 2), distances in semitones, shares from 0 to 1.  Everything is computed
from degrees and distances, so a tune measures the same in every key and octave.

The hand has an axis of its own, never mixed with the ear's: the three things that make playing
hard according to Heijink and Meulenbroek, Journal of Motor Behavior 34 (2002) 339-351, are the
distance the hand travels, where it is on the neck and how far the fingers spread.

**Leaps.**  A leap is learned by its role in the key sooner than by its size: the fifth from 1
to 5 is easy, the same fifth from 2 to 6 is not.  So every leap gets the easiest account that fits
it, in the order in which B. Crowell's anthology Eyes and Ears (2004-2017) brings them: to the
tonic, back to a note just heard, inside the tonic triad (third, fourth or octave; fifth; sixth),
inside the dominant (thirds; wider), between tonic and dominant, inside the subdominant, sevenths,
and the rest.  Only the order is taken from there; the exact limits below are ours.  Chords by
degree number in the key in force: tonic 1 3 5, dominant 5 7 2 4 (with its seventh), subdominant
4 6 1.  In minor, 6 and 7 belong to the key in both their forms.  A leap is anything wider than a
whole tone.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval, Pitch
from fretpath.neck.arrangement import Figures
from fretpath.values import Value

LEAPS = (
    "leap to 1",
    "leap back to a note just heard",
    "3rd, 4th or 8ve in the tonic triad",
    "5th in the tonic triad",
    "6th in the tonic triad",
    "3rd in the dominant",
    "wider leap in the dominant",
    "leap between tonic and dominant",
    "leap in the subdominant",
    "leap of a 7th",
    "leap outside the main chords",
    "augmented 2nd",
    "leap with a note off the key",
)
"""Kinds of leap, from easy to hard for the ear."""

_BOTH_FORMS = frozenset({"b6", "6", "b7", "7"})
_MINOR = frozenset({"natural minor", "harmonic minor", "melodic minor"})
_JUST_HEARD = 4
"""How many notes back a note still counts as just heard (our choice)."""

TONIC, DOMINANT, SUBDOMINANT = frozenset({1, 3, 5}), frozenset({5, 7, 2, 4}), frozenset({4, 6, 1})


def belongs(key: Key | None, degree: Degree | None) -> bool:
    """Whether the key holds the degree; in minor, 6 and 7 are at home raised and not.

    >>> belongs(Key.parse("A minor"), Degree.parse("7")), belongs(Key.parse("A"), Degree(6, -1))
    (True, False)
    """
    if key is None or degree is None:
        return False
    return key.holds(degree) or (key.mode in _MINOR and degree.plain in _BOTH_FORMS)


def is_leap(interval: Interval) -> bool:
    """Wider than a whole tone, whatever its letters."""
    return abs(interval.semitones) > 2


def is_triad_leap(key: Key | None, before: Degree | None, after: Degree | None) -> bool:
    """Whether both notes stand in the tonic triad of the key."""
    return _in(TONIC, key, before, after)


def leaps_of(melody: Melody) -> list[str]:
    """The kind of each leap, in order of the tune; see :data:`LEAPS`.

    >>> from fretpath.music.notation import parse_melody
    >>> leaps_of(parse_melody("1 5 4 1 2 6"))
    ['5th in the tonic triad', 'leap to 1', 'leap outside the main chords']
    """
    pitches, degrees, struck = melody.pitches, melody.degrees, melody.struck
    return [
        leap_kind(melody.key_at(struck[at + 1]), degrees[at : at + 2], pitches[: at + 2])
        for at, (low, high) in enumerate(pairwise(pitches))
        if is_leap(high - low)
    ]


def leap_kind(key: Key | None, degrees: Sequence[Degree | None], heard: Sequence[Pitch]) -> str:
    """The easiest account of one leap.

    *degrees* are the two degrees of the leap, *heard* all pitches of the tune up to and with the
    note leapt to.
    """
    before, after = degrees
    leap = heard[-1] - heard[-2]
    size = abs(leap.steps) + 1
    if before is None or after is None or not (belongs(key, before) and belongs(key, after)):
        return "leap with a note off the key"
    if abs(leap.steps) == 1:
        return "augmented 2nd"
    if after.number == 1 and size in (3, 4, 5, 6, 8):
        return "leap to 1"
    if heard[-1] in heard[-2 - _JUST_HEARD : -2]:
        return "leap back to a note just heard"
    return _by_chord(key, before, after, size)


def _by_chord(key: Key | None, before: Degree, after: Degree, size: int) -> str:
    if _in(TONIC, key, before, after):
        if size in (3, 4, 8):
            return "3rd, 4th or 8ve in the tonic triad"
        if size in (5, 6):
            return f"{size}th in the tonic triad"
    if size == 7:
        return "leap of a 7th"
    if size > 8:
        return "leap outside the main chords"
    if _in(DOMINANT, key, before, after):
        return "3rd in the dominant" if size == 3 else "wider leap in the dominant"
    if {before.number, after.number} & {7, 2} and {before.number, after.number} & {1, 3}:
        return "leap between tonic and dominant"
    if _in(SUBDOMINANT, key, before, after):
        return "leap in the subdominant"
    return "leap outside the main chords"


def _in(
    chord: frozenset[int], key: Key | None, before: Degree | None, after: Degree | None
) -> bool:
    return all(
        degree is not None and degree.number in chord and belongs(key, degree)
        for degree in (before, after)
    )


EAR_RANKED = ("pitch_entropy", "out_of_key", "range", "largest_interval")
"""The measures whose ranks are averaged, each with the same weight.

On 540 tonal melodies of one sight-singing textbook this mean followed the order of the book with
Spearman's rho .75, put 84 % of pairs from different sections in the book's order and 73 % from
neighboring sections (measured once for this project; not published figures).
"""

HAND_RANKED = ("travel", "shifts", "fastest_shift", "widest_stretch")
"""The measures of the hand whose ranks are averaged, each with the same weight (our choice)."""


@dataclass(frozen=True, slots=True)
class EarMeasures(Value):
    """How hard a tune is for the ear, measure by measure."""

    pitch_entropy: float
    """Bits: how varied the pitches are; see :func:`pitch_entropy`."""
    out_of_key: float
    """Share of the notes that leave the key, 0 to 1; see :func:`out_of_key`."""
    range: int
    """Semitones from the lowest note to the highest."""
    largest_interval: int
    """Semitones of the largest step or leap from note to note."""
    interval_entropy: float
    """Bits: how varied the intervals are, with their direction; shown, not ranked."""
    leaps_off_triad: float
    """Share of the leaps that do not stay inside the tonic triad, 0 to 1; shown, not ranked."""
    notes: int
    """Struck notes; shown, not ranked."""
    notes_per_beat: float
    """Struck notes for each beat of the whole length, rests included; shown, not ranked."""


@dataclass(frozen=True, slots=True)
class HandMeasures:
    """How hard a tune is for the hand, in the octave and fingering chosen for it."""

    travel: float
    """Hand travel along the neck in mm."""
    shifts: int
    """Changes of position."""
    fastest_shift: float
    """mm/s of the fastest shift; 0 without a shift."""
    widest_stretch: float
    """mm between the outermost fretted notes of one position."""


def ear_measures(melody: Melody) -> EarMeasures:
    """All measures of the ear; the melody has a key and at least one note."""
    return EarMeasures(
        pitch_entropy=pitch_entropy(melody),
        out_of_key=out_of_key(melody),
        range=pitch_range(melody),
        largest_interval=largest_interval(melody),
        interval_entropy=interval_entropy(melody),
        leaps_off_triad=leaps_off_triad(melody),
        notes=len(melody.pitches),
        notes_per_beat=notes_per_beat(melody),
    )


def hand_measures(figures: Figures) -> HandMeasures:
    """The measures of the hand from the figures of a fingering."""
    return HandMeasures(
        travel=figures.travel,
        shifts=figures.shifts,
        fastest_shift=figures.fastest_shift or 0.0,
        widest_stretch=figures.widest_stretch,
    )


def entropy(things: Iterable[Hashable]) -> float:
    """Shannon entropy in bits of how often each thing occurs; 0 for one thing or none.

    >>> entropy("AABB"), entropy("AAAA")
    (1.0, 0.0)
    """
    counts = Counter(things).values()
    total = sum(counts)
    if len(counts) < 2:
        return 0.0
    return math.fsum(count / total * math.log2(total / count) for count in counts)


def pitch_entropy(melody: Melody) -> float:
    """Bits: entropy of the sounding pitches, octaves told apart.  Source: Baker 2019, ch. 3."""
    return entropy(pitch.midi for pitch in melody.pitches)


def out_of_key(melody: Melody) -> float:
    """Share of the notes outside the key in force; 6 and 7 in both forms belong to minor.

    Source: the number of notes off the scale is among the oldest ratings of difficulty (Larson,
    Journal of Research in Music Education 25, 1977: diatonic before chromatic melodies).
    """
    pairs = zip(melody.struck, melody.degrees, strict=True)
    outside = sum(not belongs(melody.key_at(event), degree) for event, degree in pairs)
    return outside / len(melody.pitches)


def pitch_range(melody: Melody) -> int:
    """Semitones from the lowest note to the highest."""
    sounds = [pitch.midi for pitch in melody.pitches]
    return max(sounds) - min(sounds)


def largest_interval(melody: Melody) -> int:
    """Semitones of the largest melodic interval; 0 for a single note."""
    return max((abs(b.midi - a.midi) for a, b in pairwise(melody.pitches)), default=0)


def interval_entropy(melody: Melody) -> float:
    """Bits: entropy of the melodic intervals in semitones, up and down apart (Baker 2019)."""
    return entropy(b.midi - a.midi for a, b in pairwise(melody.pitches))


def leaps_off_triad(melody: Melody) -> float:
    """Share of the leaps with a note outside the tonic triad; 0 without a leap.

    Source: the order of the major chapter of Crowell's anthology, which this share followed with
    Spearman's rho .68 over 98 melodies (measured once for this project), far better than size.
    """
    steps = list(pairwise(zip(melody.struck, melody.degrees, melody.pitches, strict=True)))
    inside = [
        is_triad_leap(melody.key_at(event), before, after)
        for (_, before, low), (event, after, high) in steps
        if is_leap(high - low)
    ]
    return inside.count(False) / len(inside) if inside else 0.0


def notes_per_beat(melody: Melody) -> float:
    """Struck notes for each beat of the whole tune (note density, Baker 2019 ch. 6)."""
    return len(melody.pitches) / float(sum(note.beats for note in melody.notes))


def rank_means(values: Sequence[Sequence[float]]) -> NDArray[np.float64]:
    """Equal-weight mean of ranks, 0 (easiest in every measure) to 1 (hardest in every one).

    >>> rank_means([[2.0, 7.0], [1.0, 5.0], [3.0, 5.0]]).tolist()
    [0.75, 0.125, 0.625]

    *values* has one row a tune and one column a measure; equal values share their mean rank.
    The result has one number a row and depends on the company: it compares the tunes of a folder
    and means nothing by itself.
    """
    table = np.array(values, dtype=np.float64)
    if len(table) < 2:
        return np.zeros(len(table))
    ranks = np.column_stack([_mean_ranks(column) for column in table.T])
    means: NDArray[np.float64] = ranks.mean(axis=1) / (len(table) - 1)
    return means


def _mean_ranks(column: NDArray[np.float64]) -> NDArray[np.float64]:
    """Rank of each entry counted from 0; entries that are equal get the mean of their ranks."""
    _, group, count = np.unique(column, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    middle: NDArray[np.float64] = last - (count + 1) / 2
    return middle[group]
