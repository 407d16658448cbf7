"""A melody as sound: plucked strings computed in numpy, written as WAV.

**Theory.**  A string plucked at a fraction p of its length starts with harmonics n of strength
sin(n pi p) / n**2 (the ideal string: Fourier, in any text on acoustics), and the higher ones die
away sooner.  A note is the sum of such damped sines at n * f with f = 440 * 2**((m - 69) / 12) Hz
(ISO 16, equal temperament), m the MIDI number.  A damped sine is a power of one complex number, so
blocks of it are products of two small tables, and a whole note is one product of two matrices.

**Conventions.**  Times in seconds, pitches as they sound.  One channel, samples as floats in
-1..1 inside and 16-bit on file.  The loudest sample is 6.5 dB below full scale, whatever is
played; still, turn the volume down first.  Each note fades in and out, so that no edge clicks.
"""

from __future__ import annotations

import io
import math
import wave
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.melody import Melody

__all__ = ["Sound", "SoundPlan", "drone_wav", "frequency", "melody_wav", "render", "wav_bytes"]

Samples: TypeAlias = NDArray[np.floating]

RATE = 44100
"""Samples a second."""
PEAK_DB = -6.5
"""Level of the loudest sample in dB relative to full scale."""
USUAL_TEMPO = 80
"""Beats a minute for a melody that names none."""
LONGEST_SECONDS = 1800

_PLUCK = 0.18  # of the string's length from the bridge; chosen by trial
_HARMONICS = 40
_HIGHEST_HZ = 7000.0
_BLOCK = 512
_FADE_IN = 0.004
_FADE_OUT = 0.030


def frequency(midi: float) -> float:
    """Hz of a MIDI number, A4 = 69 = 440 Hz.

    >>> round(frequency(28), 3)
    41.203
    """
    return float(440.0 * 2.0 ** ((midi - 69) / 12))


@dataclass(frozen=True, slots=True)
class Sound:
    """One sound in time."""

    start: float
    """Seconds from the beginning."""
    length: float
    """Seconds."""
    midi: int
    """Pitch; below 0 for a click of the count-in."""
    level: float = 1.0
    """Strength relative to a note of the melody."""
    held: bool = False
    """True for a steady tone, False for a plucked one."""


@dataclass(frozen=True)
class SoundPlan:
    """How a melody is to sound."""

    tempo: float | None = None
    """Beats a minute; None takes the melody's own, or 80."""
    count_in: bool = False
    """Clicks for one bar (and what a pickup leaves of its bar) before the first note."""
    drone: bool = False
    """The tonic sounding softly under the melody."""
    call_and_answer: bool = False
    """After each phrase a silence as long as the phrase."""

    def __post_init__(self) -> None:
        if self.tempo is not None and not 20 <= self.tempo <= 400:
            raise RequestError(f"a tempo is 20 to 400 beats a minute, not {self.tempo:g}")

    def sounds(self, melody: Melody) -> tuple[tuple[Sound, ...], float]:
        """Every sound of the melody, and how long it all lasts in seconds."""
        beat = self._beat(melody)
        clicks = _clicks(melody, beat) if self.count_in else []
        start = beat * len(clicks)
        notes, end = self._notes(melody, beat, start)
        if end > LONGEST_SECONDS:
            raise RequestError(
                f"this would sound for {end / 60:.0f} minutes; "
                f"the most is {LONGEST_SECONDS // 60}: split the melody or raise the tempo"
            )
        drone = list(_drone(melody, start, end)) if self.drone else []
        return (*clicks, *notes, *drone), end

    def seconds(self, melody: Melody) -> float:
        """How long it lasts."""
        return self.sounds(melody)[1]

    def _beat(self, melody: Melody) -> float:
        tempo = self.tempo or melody.tempo or USUAL_TEMPO
        return 60.0 / float(tempo)

    def _notes(self, melody: Melody, beat: float, start: float) -> tuple[list[Sound], float]:
        melody = melody.clock
        lengths = dict(zip(melody.struck, melody.lengths, strict=True))
        sounds: list[Sound] = []
        clock = start
        for span in melody.spans(melody.phrases):
            first = melody.onsets[span.start]
            for event in span:
                note = melody.notes[event]
                if note.struck and note.pitch:
                    at = clock + beat * float(melody.onsets[event] - first)
                    sounds.append(Sound(at, beat * float(lengths[event]), note.pitch.midi))
            length = beat * float(sum(melody.notes[event].beats for event in span))
            clock += 2 * length if self.call_and_answer else length
        return sounds, clock


def _clicks(melody: Melody, beat: float) -> list[Sound]:
    meter = melody.meter
    count = meter.beats if meter else 4
    if meter and melody.has_pickup:
        count += meter.beats - math.ceil(melody.onsets[melody.bars[0]])
    return [Sound(n * beat, 0.06, -1) for n in range(count)]


def _drone(melody: Melody, start: float, end: float) -> Iterator[Sound]:
    tonic = melody.tonic
    if tonic is None:
        raise RequestError("a drone sounds the tonic, and this melody has no key: add key:")
    yield Sound(start, end - start, tonic.midi, 0.35, held=True)


def melody_wav(melody: Melody, plan: SoundPlan | None = None, *, rate: int = RATE) -> bytes:
    """The melody as the bytes of a WAV file (16-bit, one channel); the same on every run.

    *rate* is in samples a second.  The loudest sample is 6.5 dB below full scale; turn the volume
    down before it is played.  Raises :class:`RequestError` for a melody that lasts too long.
    """
    sounds, seconds = (plan or SoundPlan()).sounds(melody)
    return wav_bytes(render(sounds, seconds, rate), rate)


def drone_wav(midi: int, seconds: float, *, rate: int = RATE) -> bytes:
    """A steady tone to sing and play against, as a WAV file."""
    return wav_bytes(render([Sound(0.0, seconds, midi, held=True)], seconds, rate), rate)


def render(sounds: Sequence[Sound], seconds: float, rate: int = RATE) -> Samples:
    """All sounds mixed, the loudest sample at :data:`PEAK_DB`; shape (round(seconds * rate),)."""
    mix = np.zeros(round(seconds * rate))
    for sound in sounds:
        start = round(sound.start * rate)
        count = min(round((sound.start + sound.length) * rate), len(mix)) - start
        if count > 0:
            mix[start : start + count] += sound.level * _wave(sound, count, rate)
    peak = _peak(mix)
    if peak > 0:
        mix *= 10 ** (PEAK_DB / 20) / peak
    return mix


def _peak(samples: Samples) -> float:
    """The largest distance from 0, found without another array of that size."""
    return max(float(samples.max(initial=0.0)), -float(samples.min(initial=0.0)))


def _wave(sound: Sound, count: int, rate: int) -> Samples:
    if sound.midi < 0:
        return _click(count, rate)
    if sound.held:
        return _sustained(sound.midi, count, rate)
    return _pluck(sound.midi, count, rate)


@lru_cache(maxsize=64)
def _pluck(midi: int, count: int, rate: int) -> Samples:
    """A plucked note of ``count`` samples with faded edges."""
    hertz = frequency(midi)
    n = np.arange(1, _partials(hertz, rate) + 1)
    strength = np.sin(np.pi * n * _PLUCK) / n**1.5
    # Fading: seconds until a harmonic is down to 1/e; higher notes and harmonics fade sooner.
    fading = 1.6 * (110.0 / max(hertz, 40.0)) ** 0.35 / (1 + 0.12 * (n - 1))
    tone = _damped_sines(strength, n * hertz, 1 / fading, count, rate)
    tone /= _peak(tone)
    return _faded(tone, rate)


def _sustained(midi: int, count: int, rate: int) -> Samples:
    hertz = frequency(midi)
    n = np.arange(1, min(_partials(hertz, rate), 12) + 1)
    tone = _damped_sines(1.0 / n**1.3, n * hertz, np.zeros(len(n)), count, rate)
    tone /= _peak(tone)
    return _faded(tone, rate, slow=min(0.4, count / rate / 4))


def _click(count: int, rate: int) -> Samples:
    """A dry tick of two high, short sines."""
    hertz = np.array([1600.0, 2400.0])
    tone = _damped_sines(np.array([0.5, 0.25]), hertz, np.array([90.0, 120.0]), count, rate)
    return _faded(tone, rate, slow=0.002)


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
    whole: Samples = blocks.real @ inside.imag
    whole += blocks.imag @ inside.real
    return whole.ravel()[:count]


def _faded(tone: Samples, rate: int, *, slow: float | None = None) -> Samples:
    """The tone with raised-cosine edges: 4 ms in, 30 ms out, or ``slow`` seconds at both."""
    shaped = tone.copy()
    for seconds, edge in ((slow or _FADE_IN, 1), (slow or _FADE_OUT, -1)):
        count = min(round(seconds * rate), len(tone) // 2)
        ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count, 1))
        shaped[::edge][:count] *= ramp
    return shaped


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
