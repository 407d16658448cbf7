"""A melody as sound: plucked strings computed in numpy, written as WAV or MP3.

**Theory.**  A string plucked at a fraction p of its length starts with harmonics n of strength
sin(n pi p) / n**k (k is 2 on the ideal string, Fourier; nearer 1 behind a bright pickup), and the
higher ones die away sooner, so the tone darkens.  A note is the sum of such damped sines at n * f
with f = 440 * 2**((m - 69) / 12) Hz (ISO 16, equal temperament), m the MIDI number, and of the
short noise of the finger.  A damped sine is a power of one complex number, so blocks of it are
products of two small tables, and a whole note is one product of two matrices.

A telephone sounds nothing below about 350 Hz, where a low E has its first eight harmonics; so the
harmonics up to 2 kHz are strong, and every note has the same level above 350 Hz.  Chosen by trial.

**Conventions.**  Times in seconds, pitches as they sound.  One channel, samples as floats in
-1..1 inside and 16-bit on file.  The loudest sample is 6.5 dB below full scale, whatever is
played; still, turn the volume down first.  Each note fades in and out, so that no edge clicks.
Repeats are played.
"""

from __future__ import annotations

import io
import math
import wave
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.calls import with_answers
from fretpath.music.melody import Melody
from fretpath.values import Value, check_fields

Samples: TypeAlias = NDArray[np.floating]
Voice: TypeAlias = Literal["pluck", "steady", "click", "accent"]

RATE = 44100
"""Samples a second of a WAV file."""
SMALL_RATE = 12000
"""Samples a second of an MP3 file: 1 kB a second, for the inside of a page."""
PEAK_DB = -6.5
"""Level of the loudest sample in dB relative to full scale."""
USUAL_TEMPO = 80
"""Beats a minute for a melody that names none."""
LONGEST_SECONDS = 600
_LOWEST_DRONE = 48  # C3: the drone lies in the octave from here on, where most voices can sing it

_PLUCK = 0.13  # of the string's length from the bridge; chosen by trial
_HARMONICS = 60
_HIGHEST_HZ = 5000.0
_HEARD_FROM_HZ = 350.0
_BLOCK = 512
_RINGS = 20
"""Seconds after which a plucked string is silent."""
_FADE_IN = 0.004
_FADE_OUT = 0.030


def frequency(midi: float) -> float:
    """Hz of a MIDI number, A4 = 69 = 440 Hz.

    >>> round(frequency(28), 3)
    41.203
    """
    return float(440.0 * 2.0 ** ((midi - 69) / 12))


@dataclass(frozen=True, slots=True)
class Tone:
    """One tone or click in time."""

    start: float
    """Seconds from the beginning."""
    length: float
    """Seconds."""
    midi: int = 0
    """Pitch; of no meaning for clicks."""
    level: float = 1.0
    """Strength relative to a note of the melody."""
    voice: Voice = "pluck"
    """A plucked string, a steady tone, a click, or the accented click on the first beat."""


@dataclass(frozen=True)
class SoundPlan(Value):
    """How a melody is to sound."""

    tempo: float | None = None
    """Beats a minute; None takes the melody's own, or 80."""
    count_in: bool = False
    """Clicks for one bar (and what a pickup leaves of its bar) before the first note."""
    drone: bool = False
    """The tonic sounding softly under the melody, between C3 and B3."""
    call_and_answer: bool = False
    """After each phrase a silence as long as the phrase."""
    call: int | None = None
    """After every so many bars (1 or more) a silence as long; in place of ``call_and_answer``."""
    clicks: bool = False
    """Clicks on the beats under the melody and in its silences, the first of a bar accented."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.tempo is not None and not 10 <= self.tempo <= 400:
            raise RequestError(f"a tempo is 10 to 400 beats a minute, not {self.tempo:g}")

    def tones(self, melody: Melody) -> tuple[tuple[Tone, ...], float]:
        """Every tone of the melody, and how long it all lasts in seconds."""
        beat = 60.0 / float(self.tempo or melody.tempo or USUAL_TEMPO)
        sounding = self._written_out(melody)
        counted = _beats_before(sounding) if self.count_in else 0
        beats = sum(note.beats for note in sounding.notes)
        start = beat * counted
        end = start + beat * float(beats)
        if end > LONGEST_SECONDS:
            raise RequestError(
                f"this would sound for {end / 60:.0f} minutes; "
                f"the most is {LONGEST_SECONDS // 60}: split the melody or raise the tempo"
            )
        clicked = range(-counted, math.ceil(beats) if self.clicks else 0)
        drone = _drone(melody, start, end) if self.drone else ()
        return (
            *_clicks(sounding, clicked, beat, start),
            *_notes(sounding, beat, start),
            *drone,
        ), end

    def seconds(self, melody: Melody) -> float:
        """How long it lasts."""
        return self.tones(melody)[1]

    def _written_out(self, melody: Melody) -> Melody:
        """The melody with its repeats and silences written out, in beats of its first meter."""
        played = melody.expanded()
        if self.call_and_answer or self.call is not None:
            played = with_answers(played, self.call)
        return played.clock


def _notes(melody: Melody, beat: float, start: float) -> Iterator[Tone]:
    columns = zip(melody.struck, melody.pitches, melody.lengths, strict=True)
    for event, pitch, length in columns:
        at = start + beat * float(melody.onsets[event])
        yield Tone(at, beat * float(length), pitch.midi)


def _clicks(melody: Melody, beats: range, beat: float, start: float) -> Iterator[Tone]:
    """A click on each of some beats (0 is that of the first note), accented where a bar begins."""
    bar = _beats_in_bar(melody)
    for at in beats:
        first = (at - _pickup(melody)) % bar == 0
        voice: Voice = "accent" if first else "click"
        yield Tone(start + beat * at, 0.06, level=1.0 if first else 0.6, voice=voice)


def _beats_before(melody: Melody) -> int:
    """The beats of a count-in: a bar, and what a pickup leaves of its own."""
    bar, pickup = _beats_in_bar(melody), _pickup(melody)
    return 2 * bar - pickup if pickup else bar


def _beats_in_bar(melody: Melody) -> int:
    return melody.meter.beats if melody.meter else 4


def _pickup(melody: Melody) -> int:
    """Beats of a pickup, begun ones too; 0 without one."""
    return math.ceil(melody.onsets[melody.whole_bars[0]]) if melody.has_pickup else 0


def _drone(melody: Melody, start: float, end: float) -> Iterator[Tone]:
    tonic = melody.tonic
    if tonic is None:
        raise RequestError("a drone sounds the tonic, and this melody has no key: add key:")
    yield Tone(start, end - start, singable(tonic.midi), 0.3, voice="steady")


def singable(midi: int) -> int:
    """The same note name between C3 and B3, where most voices can sing it.

    >>> singable(26), singable(50), singable(72)
    (50, 50, 48)
    """
    return _LOWEST_DRONE + (midi - _LOWEST_DRONE) % 12


def melody_mp3(melody: Melody, plan: SoundPlan | None = None) -> bytes:
    """The melody as the bytes of an MP3 file, about 1 kB a second; the same on every run.

    For the inside of a page; :func:`melody_wav` sounds better.  Errors as there, and
    :class:`RequestError` where soundfile (libsndfile 1.1 or newer) cannot be loaded.
    """
    tones, seconds = (plan or SoundPlan()).tones(melody)
    return mp3_bytes(render(tones, seconds, SMALL_RATE))


def tonic_mp3(midi: int, seconds: float) -> bytes:
    """A steady tone to sing and play against, as an MP3 file."""
    tone = Tone(0.0, seconds, midi, voice="steady")
    return mp3_bytes(render([tone], seconds, SMALL_RATE))


def mp3_bytes(samples: Samples) -> bytes:
    """Samples at :data:`SMALL_RATE` in -1..1 as the bytes of an MP3 file of 8 kbit a second.

    Written to a nameless file, since soundfile writes to memory through calls back into Python,
    and Ctrl-C in one of those is lost.
    """
    import tempfile

    import soundfile

    with tempfile.TemporaryFile() as file:
        soundfile.write(
            file.fileno(),
            samples,
            SMALL_RATE,
            format="MP3",
            subtype="MPEG_LAYER_III",
            bitrate_mode="CONSTANT",
            compression_level=0.99,
            closefd=False,
        )
        file.seek(0)
        return file.read()


def melody_wav(melody: Melody, plan: SoundPlan | None = None, *, rate: int = RATE) -> bytes:
    """The melody as the bytes of a WAV file (16-bit, one channel); the same on every run.

    *rate* is in samples a second.  The loudest sample is 6.5 dB below full scale; turn the volume
    down before it is played.  Raises :class:`RequestError` for a melody that lasts too long.
    """
    tones, seconds = (plan or SoundPlan()).tones(melody)
    return wav_bytes(render(tones, seconds, rate), rate)


def render(tones: Sequence[Tone], seconds: float, rate: int = RATE) -> Samples:
    """All tones mixed, the loudest sample at :data:`PEAK_DB`; shape (round(seconds * rate),)."""
    mix = np.zeros(round(seconds * rate))
    for tone in tones:
        start = round(tone.start * rate)
        count = min(round((tone.start + tone.length) * rate), len(mix)) - start
        if count > 0:
            samples = _wave(tone, count, rate)
            for at in range(0, len(samples), rate):
                part = samples[at : at + rate]
                mix[start + at : start + at + len(part)] += tone.level * part
    peak = _peak(mix)
    if peak > 0:
        mix *= 10 ** (PEAK_DB / 20) / peak
    return mix


def _peak(samples: Samples) -> float:
    """The largest distance from 0, found without another array of that size."""
    return max(float(samples.max(initial=0.0)), -float(samples.min(initial=0.0)))


def _wave(tone: Tone, count: int, rate: int) -> Samples:
    if tone.voice == "steady":
        return _steady(tone.midi, count, rate)
    if tone.voice == "pluck":
        return _pluck(tone.midi, min(count, _RINGS * rate), rate)
    return _click(count, rate, 1.5 if tone.voice == "accent" else 1.0)


@lru_cache(maxsize=64)
def _pluck(midi: int, count: int, rate: int) -> Samples:
    """A plucked note of ``count`` samples with faded edges."""
    hertz = frequency(midi)
    n = np.arange(1, _partials(hertz, rate) + 1)
    bright = 1 / (1 + (n * hertz / 1800.0) ** 2)
    strength = np.sin(np.pi * n * _PLUCK) / n**0.8 * bright
    # Fading: seconds until a harmonic is down to 1/e; higher notes and harmonics fade sooner.
    fading = 1.6 * (110.0 / max(hertz, 40.0)) ** 0.35 / (1 + (n - 1) * hertz / 450.0)
    strength /= _loudness(strength, n * hertz)
    tone = _damped_sines(strength, n * hertz, 1 / fading, count, rate)
    noise = _finger(min(count, round(0.02 * rate)), rate)
    tone[: len(noise)] += 0.1 * noise
    return _fade(tone, rate)


def _loudness(strength: Samples, hertz: Samples) -> float:
    """Level of the harmonics that a telephone lets through, and a little of the others."""
    heard = np.where(hertz >= _HEARD_FROM_HZ, 1.0, 0.8)
    return 2.5 * float(np.sqrt(((strength * heard) ** 2).sum()))


@lru_cache(maxsize=4)
def _finger(count: int, rate: int) -> Samples:
    """The finger that leaves the string: noise that is over in a fiftieth of a second."""
    noise = np.random.default_rng(1).standard_normal(count)
    smooth = np.convolve(noise, np.ones(3) / 3, mode="same")
    return smooth * np.exp(-np.arange(count) / (0.004 * rate))


def _steady(midi: int, count: int, rate: int) -> Samples:
    hertz = frequency(midi)
    n = np.arange(1, min(_partials(hertz, rate), 12) + 1)
    tone = _damped_sines(1.0 / n**1.1, n * hertz, np.zeros(len(n)), count, rate)
    tone /= _peak(tone)
    return _fade(tone, rate, slow=min(0.4, count / rate / 4))


def _click(count: int, rate: int, height: float) -> Samples:
    """A dry tick of two high, short sines, *height* times as high as the plain one."""
    hertz = height * np.array([1600.0, 2400.0])
    tone = _damped_sines(np.array([0.7, 0.35]), hertz, np.array([90.0, 120.0]), count, rate)
    return _fade(tone, rate, slow=0.002)


def _partials(hertz: float, rate: int) -> int:
    return max(1, min(_HARMONICS, int(min(_HIGHEST_HZ, 0.45 * rate) / hertz)))


def _damped_sines(
    strength: Samples, hertz: Samples, damping: Samples, count: int, rate: int
) -> Samples:
    """Sum of strength * exp(-damping t) * sin(2 pi hertz t) for ``count`` samples.

    With z = exp((-damping + 2 pi i hertz) / rate), sample b * _BLOCK + k is the imaginary part of
    z**(b * _BLOCK) * z**k summed over the sines: two small tables and one matrix product.
    """
    step = (-damping + 2j * np.pi * hertz) / rate
    blocks = np.exp(np.outer(np.arange(-(-count // _BLOCK)) * _BLOCK, step)) * strength
    inside = np.exp(np.outer(step, np.arange(_BLOCK)))
    whole: Samples = np.hstack((blocks.real, blocks.imag)) @ np.vstack((inside.imag, inside.real))
    return whole.ravel()[:count]


def _fade(tone: Samples, rate: int, *, slow: float | None = None) -> Samples:
    """Give a tone raised-cosine edges: 4 ms in, 30 ms out, or ``slow`` seconds at both."""
    for seconds, edge in ((slow or _FADE_IN, 1), (slow or _FADE_OUT, -1)):
        count = min(round(seconds * rate), len(tone) // 2)
        ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count, 1))
        tone[::edge][:count] *= ramp
    return tone


def wav_bytes(samples: Samples, rate: int = RATE) -> bytes:
    """Samples in -1..1 as the bytes of a WAV file, 16-bit, one channel."""
    parts = (samples[at : at + rate] for at in range(0, len(samples), rate))
    data = b"".join(np.round(part * 32767).astype("<i2").tobytes() for part in parts)
    file = io.BytesIO()
    with wave.open(file, "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(rate)
        out.writeframes(data)
    return file.getvalue()
