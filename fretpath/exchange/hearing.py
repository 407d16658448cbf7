"""Hearing: from a recording of one plucked line to its notes, and to a melody.

**Method.**  Hum is fitted and taken away.  Each frame gets the periods it may have, with
probabilities (probabilistic YIN: M. Mauch and S. Dixon, ICASSP 2014, on A. de Cheveigne and
H. Kawahara, JASA 111, 2002), spread over semitones once the tuning of the player is known.  The
likeliest line is found by a hidden Markov model with a state for each semitone and one for silence
(Viterbi); a change of state is cheap where the spectrum brightens (spectral flux) and dear
elsewhere.  A stay on one semitone is cut where the string is struck again, and a note too short to
be one, with no stroke behind it, is the attack of its successor.

**Conventions.**  Samples are floats of shape (n,) in -1..1, times seconds, pitches MIDI numbers
(69 is A4, 440 Hz), deviations cents.  One note at a time: chords are not heard.  The constants
were chosen by trial on sampled instruments (``python -m tests.benchmarks.hearing``); no real takes
were heard.

**In time.**  Without a tempo every note lasts a beat: how fast a student plays is not known.  With
one, the time to the next note becomes the usual length that is nearest in proportion, and half a
beat or more of silence in it a rest.  Sound files are opened by ``soundfile`` (libsndfile).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.door import RECORDINGS
from fretpath.music.key import Key
from fretpath.music.keyfinding import in_key, likeliest_signature, spell_line
from fretpath.music.melody import Melody, Note
from fretpath.remarks import Remark
from fretpath.values import Value

Floats = NDArray[np.float64]

LONGEST_SECONDS = 600
LARGEST_BYTES = 128 * 1024 * 1024

RATE = 22050
"""Samples a second at which strokes are sought; pitches are sought at half of it."""
FRAME = 256 / RATE
"""Seconds from frame to frame."""
DOUBTFUL = 0.6
"""Confidence below which a note is doubtful."""


@dataclass(frozen=True, slots=True)
class Pluck(Value):
    """One note that was heard."""

    onset: float
    """When it is struck, in seconds from the beginning."""
    length: float
    """Seconds until it ends or the next one is struck."""
    midi: int
    """MIDI number, with the tuning of the player allowed for."""
    cents: float
    """How far it lies from that number in the player's own tuning, -50 to 50."""
    confidence: float
    """0 to 1: the share of its sound that speaks for this pitch."""

    @property
    def doubtful(self) -> bool:
        """Whether another pitch may have been meant."""
        return self.confidence < DOUBTFUL


@dataclass(frozen=True)
class Heard(Value):
    """All that was heard in a recording."""

    notes: tuple[Pluck, ...]
    """The notes in the order of their onsets."""
    tuning_cents: float
    """How far the player is tuned from A4 = 440 Hz, -50 to 50."""
    warnings: tuple[str, ...] = ()
    """What may have spoilt the hearing, in plain words."""


def hear(samples: ArrayLike, rate: float, lowest: int = 28, highest: int = 84) -> Heard:
    """The notes of one plucked line.

    *samples* has shape (n,) or (n, channels); *rate* is samples a second, 4,000 or more; *lowest*
    and *highest* are the MIDI numbers between which notes are sought, 24 to 96.  Raises
    :class:`RequestError` for values outside these.

    >>> t = np.arange(22050) / 22050
    >>> pluck = np.exp(-3 * t) * np.sin(2 * np.pi * 110 * t) * np.minimum(200 * t, 1)
    >>> [note.midi for note in hear(pluck, 22050, 40, 64).notes]
    [45]
    """
    sound = np.asarray(samples, dtype=np.float64)
    if not 24 <= lowest <= highest <= 96:
        raise RequestError(f"notes are sought between MIDI 24 and 96, not {lowest} and {highest}")
    if not 4000 <= rate <= 400_000 or sound.ndim not in (1, 2) or not np.isfinite(sound).all():
        raise RequestError("a recording has one or two channels of numbers, 4000 or more a second")
    mono = sound if sound.ndim == 1 else sound.mean(axis=1)
    warnings = _troubles(mono, rate)
    if len(mono) < rate / 4 or np.abs(mono).max() < _SILENT:
        return Heard((), 0.0, tuple(warnings))
    mono, hum = _without_hum(mono - mono.mean(), rate)
    clean = _resample(mono, rate, RATE, 8000.0)
    if hum:
        warnings.append(f"there is a hum at {hum} Hz; it was taken out as far as possible")
    listener = _Listener(clean, lowest, highest)
    return Heard(tuple(listener.notes()), round(100 * listener.tuning, 1), tuple(warnings))


# -- the file --------------------------------------------------------------------------------------


def _samples(data: bytes, name: str) -> tuple[Floats, int]:
    """The samples of a sound file, shape (n, channels) in -1..1, and how many a second.

    Read from a nameless file, since soundfile reads from memory through calls back into Python,
    and Ctrl-C in one of those is lost.  Raises :class:`ScoreFileError` for what is no sound, is
    longer than ten minutes, or needs a library that is not installed.
    """
    import tempfile

    try:
        import soundfile
    except (ImportError, OSError):
        raise ScoreFileError(
            f"{name}: to hear it, install soundfile: pip install soundfile"
        ) from None
    if len(data) > LARGEST_BYTES:
        raise ScoreFileError(
            f"{name} is larger than {LARGEST_BYTES // 2**20} MB; cut it to one tune"
        )
    try:
        with tempfile.TemporaryFile() as laid:
            laid.write(data)
            laid.seek(0)
            with soundfile.SoundFile(laid.fileno(), closefd=False) as file:
                if file.frames > LONGEST_SECONDS * file.samplerate:
                    raise ScoreFileError(
                        f"{name} lasts longer than ten minutes; cut it to one tune"
                    )
                return file.read(dtype="float64", always_2d=True), int(file.samplerate)
    except soundfile.SoundFileError:
        kinds = ", ".join(RECORDINGS)
        raise ScoreFileError(f"{name} is not a sound that can be read ({kinds})") from None


def hear_recording(data: bytes, name: str, lowest: int = 28, highest: int = 84) -> Heard:
    """Hear a sound file; *lowest* and *highest* as in :func:`hear`."""
    samples, rate = _samples(data, name)
    return hear(samples, rate, lowest, highest)


# -- the sound -------------------------------------------------------------------------------------

_SILENT = 1e-3


def _troubles(mono: Floats, rate: float) -> list[str]:
    peak = float(np.abs(mono).max(initial=0.0))
    found = []
    if len(mono) < rate / 4:
        found.append("the recording is shorter than a quarter of a second")
    elif peak < _SILENT:
        found.append("the recording is silent")
    elif float((np.abs(mono) > 0.98 * peak).mean()) > 0.005:
        found.append("the recording is clipped (too loud for the microphone); record it lower")
    return found


def _resample(mono: Floats, rate: float, wanted: float, highest_hz: float) -> Floats:
    """The sound from 25 Hz to *highest_hz*, at *wanted* samples a second."""
    padded = 2 ** (len(mono) - 1).bit_length()
    hz = np.fft.rfftfreq(padded, 1 / rate)
    gain = (hz > 25) / (1 + (hz / highest_hz) ** 8)
    kept = np.fft.irfft(np.fft.rfft(mono, padded) * gain, padded)[: len(mono)]
    at = np.arange(int(len(mono) * wanted / rate)) * (rate / wanted)
    back: Floats = np.interp(at, np.arange(len(mono)), kept)
    return back


def _without_hum(sound: Floats, rate: float) -> tuple[Floats, int]:
    """The sound without a steady 50 or 60 Hz and its overtones; and which of the two it was.

    A played note dies away and a hum does not: only a steady tone has its place in the mean over
    the whole recording (weighted towards its middle, so that no other tone leaks into it).
    """
    t = np.arange(len(sound)) / rate
    weight = np.hanning(len(sound)) / np.hanning(len(sound)).sum()
    power = max(float((sound**2).mean()), 1e-12)
    waves = {mains: np.exp(-2j * np.pi * mains * t) for mains in (50, 60)}
    share = {m: 2 * abs((weight * sound * wave).sum()) ** 2 / power for m, wave in waves.items()}
    mains = max(share, key=share.__getitem__)
    if len(sound) < 2 * rate or share[mains] < 0.02:
        return sound, 0
    for overtone in range(1, 7):
        wave = waves[mains] ** overtone
        sound = sound - 2 * np.real((weight * sound * wave).sum() * np.conj(wave))
    return sound, mains


def _frames(sound: Floats, size: int, hop: int, count: int) -> Floats:
    """*count* overlapping frames around every *hop*-th sample, shape (count, size)."""
    padded = np.pad(sound, (size // 2, size + hop))
    return np.lib.stride_tricks.sliding_window_view(padded, size)[::hop][:count]


# -- what each frame may be ------------------------------------------------------------------------

_HALF = RATE // 2
_WINDOW = 512
_MOST = 6
_THRESHOLDS = np.linspace(0.0, 1.0, 101)
_SHARES = np.cumsum(_THRESHOLDS * (1 - _THRESHOLDS) ** 10)
_SHARES /= _SHARES[-1]
"""How much of the thresholds of YIN lies below each: Beta(2, 11), mean 0.15, as in the paper."""


def _hz(midi: float) -> float:
    return float(440 * 2 ** ((midi - 69) / 12))


def _normal_difference(frames: Floats, longest: int) -> Floats:
    """How unlike itself each frame is after a lag, over the mean up to it; (frames, lags)."""
    size = 2 ** (frames.shape[1] - 1).bit_length()
    head = np.fft.rfft(frames[:, :_WINDOW], size)
    cross = np.fft.irfft(np.conj(head) * np.fft.rfft(frames, size), size)[:, :longest]
    squares = np.cumsum(np.pad(frames**2, ((0, 0), (1, 0))), axis=1)
    energy = squares[:, _WINDOW : _WINDOW + longest] - squares[:, :longest]
    unlike = np.maximum(energy[:, :1] + energy - 2 * cross, 0)
    normal: Floats = unlike * np.arange(longest) / np.maximum(np.cumsum(unlike, axis=1), 1e-12)
    normal[:, 0] = 1.0
    return normal


def _candidates(frames: Floats, longest: int, shortest: int) -> tuple[Floats, Floats]:
    """The likeliest pitches of each frame as MIDI numbers, and their chances; (frames, 6).

    A trough is chosen by every threshold between its depth and that of the deepest one before it.
    """
    normal = _normal_difference(frames, longest)
    middle = normal[:, 1:-1]
    trough = (middle < normal[:, :-2]) & (middle <= normal[:, 2:])
    trough[:, : max(shortest - 1, 1)] = False
    depth = np.where(trough, middle, 1.0)
    before = np.minimum.accumulate(depth, axis=1)
    before = np.pad(before, ((0, 0), (1, 0)), constant_values=1.0)[:, :-1]
    chance = np.interp(before, _THRESHOLDS, _SHARES)
    chance -= np.interp(np.minimum(depth, before), _THRESHOLDS, _SHARES)
    lag = np.argpartition(-chance, _MOST, axis=1)[:, :_MOST]
    left, here, right = (np.take_along_axis(normal, lag + shift, axis=1) for shift in (0, 1, 2))
    bend = np.maximum(left - 2 * here + right, 1e-12)
    period = np.maximum(lag + 1 + np.clip((left - right) / (2 * bend), -1, 1), 1.0)
    return 69 + 12 * np.log2(_HALF / period / 440), np.take_along_axis(chance, lag, axis=1)


_BANDS = np.unique(np.geomspace(2, 400, 33).astype(int))
"""Where the bands begin in which the spectrum may brighten, 43 Hz to 8.6 kHz."""


def _flux(frames: Floats) -> Floats:
    """How much the spectrum brightens at each frame; 1 is a strong stroke of this recording."""
    power = np.abs(np.fft.rfft(frames * np.hanning(frames.shape[1]), axis=1)) ** 2
    bands = np.add.reduceat(power, _BANDS, axis=1)[:, :-1]
    noise = 4 * np.quantile(bands, 0.1, axis=0) + 1e-4 * np.quantile(bands, 0.95) + 1e-12
    bright = np.log1p(bands / noise)
    rise = np.maximum(bright[2:] - bright[:-2], 0).mean(axis=1)
    flux: Floats = np.pad(rise, (1, 1)) / max(float(np.percentile(rise, 98.5)), 1e-9)
    return flux


# -- the line --------------------------------------------------------------------------------------

_CHANGE = 9.0
_STROKE = 8.0
_QUIET = -38.0
_SOFT = -18.0
_ATTACK = 14
_SHORTEST = 5
Piece = tuple[int, int, int]
"""First frame, the frame behind the last, and the semitone above the lowest; -1 is silence."""


class _Listener:
    """One recording, frame by frame."""

    def __init__(self, sound: Floats, lowest: int, highest: int) -> None:
        self._lowest = lowest
        numbers = np.arange(lowest, highest + 1)
        low = _resample(sound, RATE, _HALF, min(4 * _hz(highest), 0.4 * _HALF))
        count = len(sound) // 256 + 1
        longest = int(_HALF / _hz(lowest - 1)) + 3
        found = [
            _candidates(block, longest, int(_HALF / _hz(highest + 1)))
            for block in np.array_split(
                _frames(low, _WINDOW + longest, 128, count), count // 500 + 1
            )
        ]
        midi, self._chance = (np.concatenate(part) for part in zip(*found, strict=True))
        turns = (self._chance**2 * np.exp(2j * np.pi * midi)).sum()
        self.tuning = float(np.angle(turns)) / (2 * np.pi)
        """How far the player is tuned from A4 = 440 Hz, in semitones."""
        self._midi = midi - self.tuning
        self._likely = np.zeros((count, len(numbers)))
        """Probability of each semitone in each frame."""
        for column, chance in zip(self._midi.T, self._chance.T, strict=True):
            away = column[:, None] - numbers
            self._likely += chance[:, None] * np.exp(-0.5 * (away / 0.25) ** 2)
        power = (_frames(low, _WINDOW, 128, count) ** 2).mean(axis=1)
        self._level = 10 * np.log10(np.maximum(power / max(float(power.max()), 1e-12), 1e-12))
        self._flux = _flux(_frames(sound, 1024, 256, count))

    @cached_property
    def _line(self) -> NDArray[np.int64]:
        """The semitone of each frame, counted from the lowest; -1 is silence."""
        silence = np.where(self._level < _QUIET, 0.9, 0.03)
        score = np.log(np.column_stack([self._likely + 0.01, silence]))
        near = np.maximum.reduce([np.roll(self._flux, shift) for shift in range(-2, 5)])
        price = _CHANGE - _STROKE * np.minimum(2 * near, 1.0)
        best, stay = score[0], np.arange(score.shape[1])
        came = [stay]
        for here, cost in zip(score[1:], price[1:], strict=True):
            top = int(best.argmax())
            change = best < best[top] - cost
            came.append(np.where(change, top, stay))
            best = np.maximum(best, best[top] - cost) + here
        path = [int(best.argmax())]
        for back in reversed(came[1:]):
            path.append(int(back[path[-1]]))
        line = np.array(path[::-1])
        return np.where(line == len(stay) - 1, -1, line)

    @cached_property
    def _strokes(self) -> list[int]:
        """Frames at which a string is struck: peaks of the flux at which the level rises."""
        found: list[int] = []
        for t in np.flatnonzero(self._flux > 0.25).tolist():
            later = self._level[t : t + 8].max()
            rise = later - self._level[max(0, t - 6) : max(1, t - 1)].min()
            peak = self._flux[t] >= self._flux[max(0, t - 4) : t + 5].max()
            if peak and rise > 1.0 and later > _QUIET and (not found or t - found[-1] > 5):
                found.append(t)
        return found

    def _pieces(self) -> list[Piece]:
        """Stays on one semitone, cut where it is struck again."""
        edges = [0, *(np.flatnonzero(np.diff(self._line)) + 1).tolist(), len(self._line)]
        pieces = []
        for start, stop in pairwise(edges):
            note = int(self._line[start])
            again = [s for s in self._strokes if note >= 0 and start + 6 < s < stop - 3]
            pieces += [(a, b, note) for a, b in pairwise([start, *again, stop])]
        return pieces

    def notes(self) -> list[Pluck]:
        """The notes: what is too short, with no stroke behind it, belongs to its successor."""
        pieces = self._pieces()
        found: list[Pluck] = []
        earlier: int | None = None
        for (begin, stop, note), after in pairwise([*pieces, (0, 0, -1)]):
            start = begin if earlier is None else earlier
            earlier = None
            if note < 0 or self._only_rings(start, stop):
                continue
            if stop - start < _SHORTEST or self._attacks(start, stop, after):
                earlier = start
            else:
                found.append(self._note(start, stop, note))
        return found

    def _only_rings(self, start: int, stop: int) -> bool:
        """Whether a piece is what is left of a hum or a room: soft, and never struck."""
        struck = any(-8 <= s - start <= 3 for s in self._strokes)
        return not struck and float(self._level[start:stop].max()) < _SOFT

    def _attacks(self, start: int, stop: int, after: Piece) -> bool:
        """Whether a piece is only the attack of the next one."""
        own_stroke = any(-8 <= s - stop <= 2 and s - start > 4 for s in self._strokes)
        return stop - start < _ATTACK and after[2] >= 0 and not own_stroke

    def _note(self, start: int, stop: int, note: int) -> Pluck:
        near = [s for s in self._strokes if -8 <= s - start <= 3]
        at = max(near, key=lambda s: float(self._flux[s]), default=start)
        away = self._midi[start:stop] - (note + self._lowest)
        weight = np.where(np.abs(away) < 0.5, self._chance[start:stop], 0)
        return Pluck(
            onset=round(at * FRAME, 4),
            length=round((stop - at) * FRAME, 4),
            midi=note + self._lowest,
            cents=round(100 * float((weight * away).sum() / max(float(weight.sum()), 1e-9)), 1),
            confidence=round(min(float(self._likely[start:stop, note].mean()), 1.0), 3),
        )


# -- the melody ------------------------------------------------------------------------------------

_LENGTHS = tuple(
    map(Fraction, ("1/4", "1/3", "1/2", "3/4", "1", "3/2", "2", "5/2", "3", "7/2", "4"))
)


def melody_heard(
    heard: Heard, *, key: Key | None = None, tempo: Fraction | None = None, title: str = ""
) -> Melody:
    """The melody that was heard, spelled by *key*, in time if the *tempo* is known.

    Raises :class:`RequestError` when no note was heard.
    """
    if not heard.notes:
        raise RequestError("no note was heard in the recording")
    sounds = [note.midi for note in heard.notes]
    spelling = key or likeliest_signature(sounds)
    pitches = spell_line(sounds, spelling)
    notes: list[Note] = []
    if tempo is None:
        notes = [Note(pitch) for pitch in pitches]
    else:
        for pitch, (sounding, silent) in zip(pitches, _beats(heard.notes, tempo), strict=True):
            notes += [Note(pitch, sounding)] + ([Note(None, silent)] if silent > 0 else [])
    melody = Melody(tuple(notes), title=title, tempo=tempo)
    return in_key(melody, key) if key else melody


def _beats(notes: tuple[Pluck, ...], tempo: Fraction) -> Iterator[tuple[Fraction, Fraction]]:
    """For each note, beats that sound and beats of silence behind it."""
    beat = 60 / float(tempo)
    last = notes[-1].onset + notes[-1].length
    onsets = [*(note.onset for note in notes), last]
    for note, (start, following) in zip(notes, pairwise(onsets), strict=True):
        whole = _usual_length((following - start) / beat)
        sounding = min(whole, _usual_length(note.length / beat))
        rest = whole - sounding
        yield (sounding, rest) if rest >= Fraction(1, 2) else (whole, Fraction(0))


def _usual_length(beats: float) -> Fraction:
    """The length in use that is nearest in proportion; whole beats from four on."""
    if beats >= 4:
        return Fraction(round(beats))
    return min(_LENGTHS, key=lambda length: abs(math.log(max(beats, 0.01) / length)))


def remarks_heard(heard: Heard) -> list[Remark]:
    """Remarks about a hearing: its tuning, what spoilt it, and the doubtful notes."""
    found = [Remark("doubt", warning) for warning in heard.warnings]
    if abs(heard.tuning_cents) >= 10:
        way = "flat" if heard.tuning_cents < 0 else "sharp"
        cents = abs(round(heard.tuning_cents))
        found.append(Remark("read", f"the instrument is {cents} cents {way}; allowed for"))
    found += [
        Remark("doubt", "heard unclearly", f"note {number}")
        for number, note in enumerate(heard.notes, start=1)
        if note.doubtful
    ]
    return found
