"""Recordings heard: plucked lines made here, spoilt, and put down again.

The strings are those of the tool's own sound and a plucked string after K. Karplus and A. Strong
(Computer Music Journal 7, 1983), which knows nothing of it.  Sampled instruments are heard in
``tests/benchmarks/hearing.py``.
"""

from __future__ import annotations

import io
from fractions import Fraction

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from fretpath import parse_melody
from fretpath.errors import FretpathError
from fretpath.exchange.door import is_recording_name
from fretpath.exchange.hearing import (
    Heard,
    Pluck,
    hear,
    hear_recording,
    melody_heard,
    remarks_heard,
)
from fretpath.music.key import Key
from fretpath.page.sound import melody_wav

RATE = 22050
Samples = NDArray[np.float64]


def pluck(midi: float, seconds: float, seed: int = 1) -> Samples:
    """A string of noise that runs round and loses its highs, tuned by a fraction of a sample."""
    period = RATE / (440 * 2 ** ((midi - 69) / 12)) - 0.5
    size = int(period)
    part = period - size
    string = np.random.default_rng(seed).uniform(-1, 1, size)
    out = np.zeros(int(seconds * RATE))
    before = 0.0
    for start in range(0, len(out), size):
        out[start : start + size] = string[: len(out) - start]
        shifted = np.concatenate([[before], string[:-1]])
        before = string[-1]
        string = 0.996 * ((1 - part) * string + part * shifted + shifted) / 2
    return out * np.minimum(1, np.arange(len(out))[::-1] / 200)


def line(notes: list[tuple[float, float]]) -> Samples:
    """Plucks one after the other, with a little silence around."""
    quiet = np.zeros(RATE // 4)
    plucks = [pluck(midi, seconds, n) for n, (midi, seconds) in enumerate(notes)]
    return 0.4 * np.concatenate([quiet, *plucks, quiet])


def own_sound(text: str, key: str) -> tuple[Samples, list[int]]:
    """The tool's own sound of a melody, and its MIDI numbers."""
    melody = parse_melody(text, key=key).in_octave(2)
    samples, rate = soundfile.read(io.BytesIO(melody_wav(melody)))
    return np.interp(np.arange(0, len(samples), rate / RATE), np.arange(len(samples)), samples), [
        pitch.midi for pitch in melody.pitches
    ]


def midi_of(heard: Heard) -> list[int]:
    return [note.midi for note in heard.notes]


@settings(max_examples=15, deadline=None)
@given(st.lists(st.tuples(st.integers(33, 64), st.sampled_from([0.3, 0.4, 0.6])), max_size=8))
def test_a_line_of_plucks_is_heard_as_it_was_played(notes: list[tuple[int, float]]) -> None:
    heard = hear(line([(float(midi), seconds) for midi, seconds in notes]), RATE, 28, 72)
    assert midi_of(heard) == [midi for midi, _ in notes]
    onsets = np.cumsum([0.25, *(seconds for _, seconds in notes)])[:-1]
    assert np.allclose([note.onset for note in heard.notes], onsets, atol=0.08)


def test_our_own_sound_is_heard() -> None:
    samples, played = own_sound("1 1 2 3 5 5 8 7 6 5 #4 5 3 1:2", "A")
    assert midi_of(hear(samples, RATE, 28, 72)) == played


@pytest.mark.parametrize("cents", [-45, -30, 20, 40])
def test_another_tuning_is_allowed_for_and_told(cents: int) -> None:
    played = [45, 47, 48, 52, 45]
    heard = hear(line([(midi + cents / 100, 0.5) for midi in played]), RATE, 28, 72)
    assert midi_of(heard) == played
    assert heard.tuning_cents == pytest.approx(cents, abs=12)
    told = [str(remark) for remark in remarks_heard(heard)]
    assert any("flat" in text if cents < 0 else "sharp" in text for text in told)


@pytest.mark.parametrize("mains", [50, 60])
def test_hum_is_taken_out_and_told(mains: int) -> None:
    played = [40, 45, 47, 52, 50, 45]
    clean = line([(midi, 0.5) for midi in played])
    t = np.arange(len(clean)) / RATE
    heard = hear(clean + 0.05 * np.sin(2 * np.pi * mains * t), RATE, 28, 72)
    assert midi_of(heard) == played
    assert any(f"{mains} Hz" in warning for warning in heard.warnings)
    assert not hear(clean, RATE, 28, 72).warnings


def test_a_clipped_recording_says_so() -> None:
    loud = np.clip(20 * line([(45, 0.5), (52, 0.5)]), -1, 1)
    assert any("clipped" in warning for warning in hear(loud, RATE).warnings)


@pytest.mark.parametrize(
    ("samples", "word"),
    [(np.zeros(RATE), "silent"), (np.zeros(10), "shorter"), (np.zeros(0), "shorter")],
)
def test_what_holds_no_note_says_why(samples: Samples, word: str) -> None:
    heard = hear(samples, RATE)
    assert not heard.notes
    assert any(word in warning for warning in heard.warnings)


@pytest.mark.parametrize(
    ("samples", "rate", "lowest", "highest"),
    [
        ([0.0, float("nan")], RATE, 28, 60),
        ([0.0], 10, 28, 60),
        ([0.0], RATE, 60, 28),
        ([0.0], RATE, 0, 60),
        (np.zeros((2, 2, 2)), RATE, 28, 60),
    ],
)
def test_what_is_no_recording_is_refused(
    samples: object, rate: float, lowest: int, highest: int
) -> None:
    with pytest.raises(FretpathError):
        hear(samples, rate, lowest, highest)  # type: ignore[arg-type]


@pytest.mark.parametrize("kind", ["WAV", "FLAC", "OGG", "MP3"])
def test_every_kind_of_file_is_heard(kind: str) -> None:
    file = io.BytesIO()
    soundfile.write(file, line([(45, 0.5), (47, 0.5), (49, 0.6)]), RATE, format=kind)
    heard = hear_recording(file.getvalue(), f"ana.{kind.lower()}", 28, 72)
    assert midi_of(heard) == [45, 47, 49]


def test_files_that_are_no_sound_say_so() -> None:
    with pytest.raises(FretpathError, match="is not a sound"):
        hear_recording(b"no sound at all", "ana.wav")
    with pytest.raises(FretpathError, match=r"convert the recording as \.wav"):
        is_recording_name("ana.m4a")


def test_a_long_file_is_refused_before_it_is_read() -> None:
    file = io.BytesIO()
    soundfile.write(file, np.zeros(601 * 8000), 8000, format="FLAC")
    with pytest.raises(FretpathError, match="ten minutes"):
        hear_recording(file.getvalue(), "long.flac")


class TestAsAMelody:
    HEARD = Heard(
        tuple(
            Pluck(onset, length, midi, 0.0, confidence)
            for onset, length, midi, confidence in [
                (1.0, 0.48, 45, 0.9),
                (1.52, 0.24, 47, 0.9),
                (1.75, 0.25, 49, 0.3),
                (2.0, 0.5, 52, 0.9),
                (3.0, 1.0, 45, 0.9),
            ]
        ),
        0.0,
    )

    def test_without_a_tempo_only_the_order_is_told(self) -> None:
        melody = melody_heard(self.HEARD, key=Key.parse("A major"))
        assert [str(degree) for degree in melody.degrees] == ["1", "2", "3", "5", "1"]
        assert {note.beats for note in melody.notes} == {Fraction(1)}

    def test_with_a_tempo_lengths_and_rests_are_told(self) -> None:
        melody = melody_heard(self.HEARD, key=Key.parse("A major"), tempo=Fraction(120))
        assert [str(note.beats) for note in melody.notes] == ["1", "1/2", "1/2", "1", "1", "2"]
        assert melody.notes[4].pitch is None

    def test_doubtful_notes_are_named(self) -> None:
        assert [r.place for r in remarks_heard(self.HEARD) if r.kind == "doubt"] == ["note 3"]

    def test_letters_follow_the_key(self) -> None:
        melody = melody_heard(self.HEARD, key=Key.parse("Gb major"))
        assert [str(pitch.name) for pitch in melody.pitches][2] == "Db"

    def test_nothing_heard_is_no_melody(self) -> None:
        with pytest.raises(FretpathError, match="no note was heard"):
            melody_heard(Heard((), 0.0))
