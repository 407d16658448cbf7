"""Measures of the ear against sums by hand, scipy and music21; none of them hears the key."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import numpy as np
import pytest
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from fretpath import Interval, Key
from fretpath.lesson.material import material_of
from fretpath.lesson.order import rank_means
from fretpath.lesson.tune import ear_measures, tune_of
from fretpath.neck.arrange import arrange
from tests.lesson.tunes import KEYS, degree_words, melody, timed_words

music21 = pytest.importorskip("music21")


# Worked by hand: entropies from the definition, H = sum p log2(1/p).
@pytest.mark.parametrize(
    ("text", "expected"),
    [
        # one pitch: nothing varies
        ("1 1 1 1", (0.0, 0.0, 0, 0, 0.0)),
        # two pitches, half and half: 1 bit; intervals +2 -2 +2: H(2/3, 1/3)
        ("1 2 1 2", (1.0, 0.0, 2, 2, 0.9182958340544896)),
        # four pitches: 2 bits; #4 is one note of four; 2 3 1 up: intervals all different
        ("1 2 #4 5", (2.0, 0.25, 7, 4, 1.584962500721156)),
        # 1/2, 1/4, 1/4: 1.5 bits; an octave down and up counts as 12
        ("1 1, 1 5", (1.5, 0.0, 19, 12, 1.584962500721156)),
    ],
)
def test_measures_worked_by_hand(text: str, expected: tuple[float, ...]) -> None:
    ear = ear_measures(melody(text))
    found = (ear.pitch_entropy, ear.out_of_key, ear.range, ear.largest_interval)
    assert (*found, ear.interval_entropy) == pytest.approx(expected, abs=1e-12)


def test_leaps_off_the_triad_worked_by_hand() -> None:
    # leaps: 1-5 inside, 5-2 outside, 2-6 outside, 6-3 outside; 3-2 and 2-1 are steps
    assert ear_measures(melody("1 5 2 6 3 2 1")).leaps_off_triad == 0.75
    assert ear_measures(melody("1 2 3 2 1")).leaps_off_triad == 0.0


def test_notes_per_beat_counts_rests_as_time_and_ties_as_one_note() -> None:
    assert ear_measures(melody("1:2 - r 5")).notes_per_beat == 2 / 5


def test_raised_6_and_7_belong_to_minor_and_not_to_dorian() -> None:
    # common practice: harmonic and melodic minor are no departure
    assert ear_measures(melody("1 6 7 8 b7 b6", "A minor")).out_of_key == 0
    assert ear_measures(melody("1 7", "A dorian")).out_of_key == 0.5


@given(degree_words(least=2))
@settings(deadline=None, max_examples=60)
def test_entropies_agree_with_scipy(words: list[str]) -> None:
    tune = melody(" ".join(words))
    sounds = [pitch.midi for pitch in tune.pitches]
    ear = ear_measures(tune)
    for ours, things in (
        (ear.pitch_entropy, sounds),
        (ear.interval_entropy, [b - a for a, b in pairwise(sounds)]),
    ):
        theirs = scipy.stats.entropy(list(Counter(things).values()), base=2)
        assert ours == pytest.approx(theirs, abs=1e-9)


@given(degree_words(least=2), st.sampled_from(KEYS))
@settings(deadline=None, max_examples=30)
def test_range_intervals_and_key_agree_with_music21(words: list[str], key: str) -> None:
    tune = melody(" ".join(words), key)
    ear = ear_measures(tune)
    stream = music21.stream.Stream([music21.note.Note(pitch.midi) for pitch in tune.pitches])
    ambitus = music21.analysis.discrete.Ambitus().getSolution(stream)  # None for one pitch
    assert ear.range == (0 if ambitus is None else ambitus.semitones)
    # music21 leaves the interval out between notes that repeat
    steps = [abs(step.semitones) for step in stream.melodicIntervals()]
    assert ear.largest_interval == max(steps, default=0)
    tonic, _, mode = key.partition(" ")
    if mode in ("major", "phrygian", "mixolydian"):
        theirs = music21.key.Key(tonic.replace("b", "-"), mode)
        names = {theirs.pitchFromDegree(n).name.replace("-", "b") for n in range(1, 8)}
        outside = sum(pitch.name not in names for pitch in tune.pitches)
        assert ear.out_of_key == outside / len(tune.pitches)


@given(timed_words(), st.sampled_from(KEYS), st.integers(-3, 3), st.integers(-2, 2))
@settings(deadline=None, max_examples=60)
def test_transposing_changes_nothing_for_the_ear(
    words: list[str], key: str, fifths: int, octaves: int
) -> None:
    tune = melody(" ".join(words), key)
    way = Interval.parse("P5").times(fifths) + Interval.parse("P8").times(octaves)
    assume(len((Key.parse(key).tonic_pitch(4) + way).name) < 3)
    moved = tune.transposed(way)
    assert ear_measures(moved) == ear_measures(tune)
    assert material_of(moved) == material_of(tune)


@given(st.lists(st.tuples(*[st.integers(0, 5).map(float)] * 3), min_size=2, max_size=12))
@settings(deadline=None, max_examples=60)
def test_rank_means_agree_with_scipy(rows: list[tuple[float, ...]]) -> None:
    columns = [scipy.stats.rankdata(column) - 1 for column in zip(*rows, strict=True)]
    assert np.allclose(rank_means(rows), np.mean(columns, axis=0) / (len(rows) - 1))


def test_rank_means_of_one_tune_or_none() -> None:
    assert rank_means([]).tolist() == []
    assert rank_means([(3.0, 4.0)]).tolist() == [0.0]


def test_the_hand_is_measured_by_the_figures_of_the_fingering_at_a_usual_tempo() -> None:
    still = tune_of(melody("1 2 3 4 5"), "still", "bass").hand
    assert still is not None
    assert (still.travel, still.shifts, still.fastest_shift) == (0.0, 0, None)
    leaping = melody("C2 D4 C2 D4", "C major")
    far, own = tune_of(leaping, "far", "bass").hand, arrange(leaping, "bass").figures
    assert far is not None
    assert far.shifts == own.shifts > 0
    assert own.fastest_shift is None  # the tune itself gives no tempo
    assert far.fastest_shift is not None
    slow = tune_of(replace(leaping, tempo=Fraction(40)), "slow", "bass").hand
    assert slow is not None
    assert slow.fastest_shift == pytest.approx(far.fastest_shift / 2)


def test_an_ending_is_measured_from_the_note_that_it_follows() -> None:
    measured = ear_measures(melody("|: 1 3 | [1 3 5 :| [2 1, 1 ]"))
    assert measured.largest_interval == 16  # from 3 to the low 1, not from 5
    assert "leap between tonic and dominant" not in map(
        str, material_of(melody("|: 1 2 | [1 3 2 :| [2 7, 1 ]"))
    )
