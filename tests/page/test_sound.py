"""Sound: pitch, level, edges, length; measured by methods that do not share the code."""

from __future__ import annotations

import io
import math

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from scipy.io import wavfile
from scipy.signal import butter, sosfilt

from fretpath import RequestError, parse_melody
from fretpath.music.pitch import Pitch
from fretpath.page.sound import (
    RATE,
    SMALL_RATE,
    SoundPlan,
    Tone,
    melody_mp3,
    melody_wav,
    render,
    tonic_mp3,
)
from tests.page.melodies import barred_melodies, beats_of

CLICKS = ("click", "accent")
C4 = Pitch.from_midi(60)

# ISO 16: A4 = 440 Hz; equal temperament (closed form).
ISO_16 = {"E1": 41.203, "A1": 55.0, "D2": 73.416, "G2": 97.999, "C4": 261.626, "A4": 440.0}


def read(wav: bytes) -> tuple[int, np.ndarray]:
    """Rate and samples in -1..1, by scipy's reader."""
    rate, data = wavfile.read(io.BytesIO(wav))
    assert data.dtype == np.int16
    assert data.ndim == 1
    return rate, data / 32768


def measured_hertz(samples: np.ndarray, rate: int, guess: float) -> float:
    """The period by autocorrelation: its highest peak near a whole number of periods.

    Four to sixteen periods are taken: enough to be exact, few enough that a note up to 40 cents
    off still has its own peak there.  A parabola through three points finds it between samples.
    """
    part = samples[int(0.05 * rate) : int(0.95 * len(samples))]
    size = 1 << (2 * len(part)).bit_length()
    spectrum = np.fft.rfft(part, size)
    correlation = np.fft.irfft(np.abs(spectrum) ** 2, size)
    periods = min(16, max(4, round(0.2 * guess)))
    middle = periods * rate / guess
    reach = 0.4 * rate / guess
    lags = np.arange(math.ceil(middle - reach), math.floor(middle + reach) + 1)
    best = lags[np.argmax(correlation[lags])]
    left, top, right = correlation[best - 1 : best + 2]
    return periods * rate / (best + 0.5 * (left - right) / (left - 2 * top + right))


@pytest.mark.parametrize("midi", range(28, 89))
def test_every_pitch_from_e1_to_e6_is_within_half_a_cent(midi: int) -> None:
    samples = render([Tone(0, 1.5, midi)], 1.5)
    wanted = 440 * 2 ** ((midi - 69) / 12)
    for wrong in (0.99, 1.01):  # the guess may be 17 cents off on either side: the peak decides
        cents = 1200 * math.log2(measured_hertz(samples, RATE, wrong * wanted) / wanted)
        assert abs(cents) < 0.5, f"{cents:.2f} cents"


def test_the_measure_itself_sees_a_note_ten_cents_off() -> None:
    seconds = np.arange(int(1.5 * RATE)) / RATE
    for hertz in (41.203, 440.0, 1318.5):
        off = np.sin(2 * np.pi * hertz * 2 ** (10 / 1200) * seconds)
        cents = 1200 * math.log2(measured_hertz(off, RATE, hertz) / hertz)
        assert cents == pytest.approx(10, abs=1)


@pytest.mark.parametrize(("name", "hertz"), ISO_16.items())
def test_note_names_sound_as_the_standard_says(name: str, hertz: float) -> None:
    rate, samples = read(melody_wav(parse_melody(f"tempo: 40\n\n{name}")))
    assert measured_hertz(samples, rate, hertz) == pytest.approx(hertz, rel=0.003)


@given(barred_melodies(most_bars=3))
@settings(max_examples=15, deadline=None)
def test_the_loudest_sample_is_6_db_below_full_scale(melody) -> None:
    for plan in (SoundPlan(), SoundPlan(count_in=True, drone=True)):
        _, samples = read(melody_wav(melody, plan, rate=8000))
        level = 20 * math.log10(np.abs(samples).max())
        assert -7 < level <= -6


@pytest.mark.parametrize("midi", [28, 40, 52, 64, 76, 88])
@pytest.mark.parametrize("seconds", [0.1, 0.5, 2.0])
def test_notes_begin_and_end_without_a_click(midi: int, seconds: float) -> None:
    """Both ends are silence, and no step between samples is larger than inside the note."""
    samples = render([Tone(0.1, seconds, midi)], seconds + 0.2)
    steps = np.abs(np.diff(samples))
    start, end = int(0.1 * RATE), int((0.1 + seconds) * RATE)
    edges = np.concatenate((steps[: start + 20], steps[end - 20 :]))
    assert edges.max() < 0.02 * np.abs(samples).max()
    assert np.abs(samples[end + 2 :]).max() == 0


@given(barred_melodies(most_bars=4))
@settings(max_examples=15, deadline=None)
def test_it_lasts_as_long_as_the_music(melody) -> None:
    beat = 60 / 100
    length = float(beats_of(melody)) * beat
    for plan, wanted in (
        (SoundPlan(tempo=100), length),
        (SoundPlan(tempo=100, call_and_answer=True), 2 * length),
        (SoundPlan(tempo=100, count_in=True), length + melody.meter.beats * beat),
    ):
        rate, samples = read(melody_wav(melody, plan, rate=8000))
        assert len(samples) / rate == pytest.approx(wanted, abs=2 / rate)
        assert plan.seconds(melody) == pytest.approx(wanted)


def test_call_and_answer_leaves_as_long_a_silence_after_each_phrase() -> None:
    melody = parse_melody("tempo: 60\n\n1 2\n3 4 5")
    rate, samples = read(melody_wav(melody, SoundPlan(call_and_answer=True)))
    loud = [
        bool(np.abs(samples[n * rate + 50 : (n + 1) * rate - 50]).max() > 0.01) for n in range(10)
    ]
    assert loud == [True] * 2 + [False] * 2 + [True] * 3 + [False] * 3


def test_rests_are_silent_and_ties_ring_on() -> None:
    rate, samples = read(melody_wav(parse_melody("tempo: 60\n\n1 r 3 - r")))
    loud = [bool(np.abs(samples[n * rate + 50 : (n + 1) * rate]).max() > 0.01) for n in range(5)]
    assert loud == [True, False, True, True, False]
    middle = samples[3 * rate - 400 : 3 * rate + 400]
    assert np.abs(middle).max() > 0.01


def test_the_count_in_of_a_pickup_completes_its_bar() -> None:
    """4/4 with one beat before the bar: a bar of clicks and three more."""
    melody = parse_melody("meter: 4/4\ntempo: 60\n\n5 | 1 2 3 4 | 1:3")
    tones, _ = SoundPlan(count_in=True).tones(melody)
    assert [tone.start for tone in tones if tone.voice in CLICKS] == [0, 1, 2, 3, 4, 5, 6]
    assert [tone.start for tone in tones if tone.voice == "accent"] == [0, 4]
    assert min(tone.start for tone in tones if tone.voice == "pluck") == 7


def test_clicks_sound_on_the_beats_and_in_the_silences() -> None:
    melody = parse_melody("meter: 3/4\ntempo: 60\n\n5 | 1 2 3 |\n1:2")
    tones, end = SoundPlan(clicks=True, call_and_answer=True).tones(melody)
    assert (
        [tone.start for tone in tones if tone.voice in CLICKS]
        == list(range(12))
        == [*range(round(end))]
    )
    assert [tone.start for tone in tones if tone.voice == "accent"][:2] == [1, 4]


def test_calls_by_bars_leave_the_silence_of_their_bars() -> None:
    melody = parse_melody("meter: 2/4\ntempo: 60\n\n1 2 | 3 4 | 5 6 | 7 8 | 5 5")
    tones, end = SoundPlan(call=2).tones(melody)
    assert [tone.start for tone in tones] == [0, 1, 2, 3, 8, 9, 10, 11, 16, 17]
    assert end == 20


def test_repeats_are_played() -> None:
    tones, _ = SoundPlan().tones(parse_melody("|: 1 3 :| 5"))
    assert [tone.midi - tones[0].midi for tone in tones] == [0, 4, 0, 4, 7]


@pytest.mark.parametrize("tonic", [26, 35, 45, 57, 74])
def test_the_drone_is_the_tonic_where_it_can_be_sung(tonic: int) -> None:
    melody = parse_melody("1 3 5", key="C").transposed(Pitch.from_midi(tonic) - C4)
    tones, _ = SoundPlan(drone=True).tones(melody)
    (drone,) = [tone for tone in tones if tone.voice == "steady"]
    assert drone.midi % 12 == tonic % 12
    assert 48 <= drone.midi < 60


def test_a_steady_tone_has_its_pitch() -> None:
    samples, rate = soundfile.read(io.BytesIO(tonic_mp3(57, 4.0)))
    assert rate == SMALL_RATE
    assert measured_hertz(samples, rate, 220.0) == pytest.approx(220.0, rel=0.001)


def high_passed(samples: np.ndarray) -> np.ndarray:
    """As through the loudspeaker of a telephone: fourth order at 350 Hz."""
    return sosfilt(butter(4, 350, "high", fs=RATE, output="sos"), samples)


@pytest.mark.parametrize("low", range(28, 55, 3))
def test_low_notes_are_heard_on_a_telephone(low: int) -> None:
    """Behind a high-pass at 350 Hz, E1 and what lies above it is at most 12 dB below G3."""
    both = render([Tone(0, 1.0, low), Tone(1.5, 1.0, 55)], 2.5)
    first, second = high_passed(both)[:RATE], high_passed(both)[int(1.5 * RATE) :]
    assert 10 * math.log10((second**2).mean() / (first**2).mean()) < 12


def test_a_note_darkens_as_it_dies_away() -> None:
    samples = render([Tone(0, 2.0, 40)], 2.0)
    early, late = samples[1000 : RATE // 5], samples[RATE : RATE * 3 // 2]
    assert center(late) < 0.75 * center(early)


def center(samples: np.ndarray) -> float:
    """Mean frequency of the energy in Hz."""
    power = np.abs(np.fft.rfft(samples)) ** 2
    return float((np.fft.rfftfreq(len(samples), 1 / RATE) * power).sum() / power.sum())


def test_a_small_file_has_a_kilobyte_a_second_and_the_same_notes() -> None:
    melody = parse_melody("tempo: 60\nkey: E major\noctave: 2\n\n1 3 5 8 5 3 1:4")
    data = melody_mp3(melody, SoundPlan(count_in=True))
    samples, rate = soundfile.read(io.BytesIO(data))
    assert len(data) < 1100 * (len(samples) / rate) + 1000
    assert 20 * math.log10(np.abs(samples).max()) < -5
    assert data == melody_mp3(melody, SoundPlan(count_in=True))


def test_the_same_bytes_every_time() -> None:
    melody = parse_melody("1 5 8", key="B")
    plan = SoundPlan(count_in=True, drone=True)
    assert melody_wav(melody, plan) == melody_wav(melody, plan)


@pytest.mark.parametrize(
    ("text", "plan", "message"),
    [
        ("C4 D4", {"drone": True}, "no key"),
        ("1 2", {"tempo": 5}, "10 to 400"),
        ("1:9999 2:9999", {}, "minutes"),
    ],
)
def test_what_cannot_sound_is_refused(text: str, plan: dict[str, object], message: str) -> None:
    with pytest.raises(RequestError, match=message):
        melody_wav(parse_melody(text), SoundPlan(**plan))
