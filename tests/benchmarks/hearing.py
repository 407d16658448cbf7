"""How well a recording is heard: notes found in melodies played by sampled instruments.

    python -m tests.benchmarks.hearing                 61 melodies, all there is
    python -m tests.benchmarks.hearing --melodies 10   a quick look

The melodies are the demo tunes and random ones drawn by number.  They are played by the sampled
instruments of a free General MIDI sound font through ``fluidsynth`` (Debian: ``fluidsynth``,
``fluid-soundfont-gm``), spoilt in the ways named in :data:`CONDITIONS`, and heard.  Scores are
F1 of notes as is usual where music is written down by machine: a note is right when its
onset is within 80 ms and its pitch within 50 cents; offsets do not count.

No real takes are in it: sampled instruments are struck evenly and are never out of tune by
themselves, so a room, a telephone and a student will score lower.
"""

from __future__ import annotations

import argparse
import io
import random
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import mido
import numpy as np
import soundfile
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching

from fretpath import Melody, mark, parse_melody
from fretpath.exchange.hearing import Heard, Pluck, hear, melody_heard
from fretpath.music.pitch import Pitch

DEMO = Path(__file__).parents[2] / "demo_melodies"
SOUND_FONT = Path("/usr/share/sounds/sf2/FluidR3_GM.sf2")
RATE = 44100

Samples = NDArray[np.float64]
Listener = Callable[[Samples, int, int, int], Heard]
Score = tuple[list[float], list[int]]
"""Onsets in seconds (and the end of the last note), and MIDI numbers."""

# General MIDI program (from 0), and the tonic that suits the instrument; lowest and highest note.
INSTRUMENTS = {
    "fingered bass": (33, 33, 26, 67),
    "picked bass": (34, 33, 26, 67),
    "acoustic bass": (32, 33, 26, 67),
    "nylon guitar": (24, 50, 40, 83),
}


def melodies(count: int) -> Iterator[list[tuple[int, float]]]:
    """Melodies as (semitones above the tonic, seconds): the demo tunes, then random ones."""
    paths = sorted(DEMO.glob("*.txt"))
    for path in paths[:count]:
        melody = parse_melody(path.read_text(encoding="utf-8"))
        assert melody.tonic is not None
        beat = 60 / float(melody.tempo or 90)
        yield [
            (pitch.midi - melody.tonic.midi, float(length) * beat)
            for pitch, length in zip(melody.pitches, melody.lengths, strict=True)
        ]
    for number in range(max(0, count - len(paths))):
        draw = random.Random(number)
        beat = 60 / draw.randint(70, 130)
        scale = [-5, -3, -1, 0, 2, 4, 5, 7, 9, 11, 12]
        at, notes = 3, []
        for _ in range(20):
            at = min(max(at + draw.choice([-3, -2, -1, -1, 0, 0, 1, 1, 2, 4]), 0), len(scale) - 1)
            pitch = scale[at] + draw.choice([0] * 9 + [1])
            notes.append((pitch, beat * draw.choice([0.5, 0.5, 1, 1, 1, 2])))
        yield notes


def play(notes: Sequence[tuple[int, float]], program: int, tonic: int) -> tuple[Samples, Score]:
    """The sound of a melody, and what is to be heard in it."""
    file = mido.MidiFile(ticks_per_beat=1000)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.append(mido.MetaMessage("set_tempo", tempo=1_000_000))
    track.append(mido.Message("program_change", program=program))
    track.append(mido.Message("control_change", control=91, value=0))
    track.append(mido.Message("control_change", control=93, value=0))
    onsets, clock, wait = [], 0.3, 300
    for semitones, seconds in notes:
        velocity = 70 + hash((semitones, round(clock, 3))) % 40
        ticks = round(seconds * 1000)
        track.append(mido.Message("note_on", note=tonic + semitones, velocity=velocity, time=wait))
        held = max(ticks - 30, 20)
        track.append(mido.Message("note_off", note=tonic + semitones, time=held))
        wait = ticks - held
        onsets.append(clock)
        clock += ticks / 1000
    with tempfile.TemporaryDirectory() as folder:
        midi, sound = Path(folder) / "a.mid", Path(folder) / "a.wav"
        file.save(midi)
        command = ["fluidsynth", "-ni", "-q", "-R", "0", "-C", "0", "-r", str(RATE)]
        subprocess.run([*command, "-F", sound, SOUND_FONT, midi], check=True, capture_output=True)
        samples = soundfile.read(io.BytesIO(sound.read_bytes()))[0].mean(axis=1)
    samples /= max(1e-9, float(np.abs(samples).max())) * 2
    return samples, ([*onsets, clock], [tonic + semitones for semitones, _ in notes])


def reverberant(samples: Samples) -> Samples:
    """In a room: noise that dies away by 60 dB in 0.7 s, 12 dB below the sound itself."""
    draw = np.random.default_rng(1)
    t = np.arange(int(0.7 * RATE)) / RATE
    tail = draw.standard_normal(len(t)) * 10 ** (-3 * t / 0.7)
    tail *= 0.5 / np.sqrt((tail**2).sum())
    size = len(samples) + len(tail)
    wet = np.fft.irfft(np.fft.rfft(samples, size) * np.fft.rfft(tail, size), size)
    return samples + wet[: len(samples)]


def hissing(samples: Samples) -> Samples:
    """White noise 20 dB below the mean level."""
    draw = np.random.default_rng(2)
    level = np.sqrt((samples**2).mean()) * 10 ** (-20 / 20)
    return samples + level * draw.standard_normal(len(samples))


def thin(samples: Samples) -> Samples:
    """Through a telephone's ear: a high-pass of second order at 300 Hz."""
    f = np.fft.rfftfreq(len(samples), 1 / RATE)
    s = 1j * f / 300
    return np.fft.irfft(np.fft.rfft(samples) * s**2 / (s**2 + np.sqrt(2) * s + 1), len(samples))


def flat(samples: Samples) -> Samples:
    """30 cents flat, and as much slower."""
    ratio = 2 ** (-30 / 1200)
    at = np.arange(int(len(samples) / ratio)) * ratio
    return np.interp(at, np.arange(len(samples)), samples)


def humming(samples: Samples) -> Samples:
    """Mains hum at 50 Hz and its octave, 10 dB below the mean level."""
    t = np.arange(len(samples)) / RATE
    level = np.sqrt(2 * (samples**2).mean()) * 10 ** (-10 / 20)
    return samples + level * (np.sin(2 * np.pi * 50 * t) + 0.5 * np.sin(2 * np.pi * 100 * t))


def clipped(samples: Samples) -> Samples:
    """Recorded 12 dB too loud."""
    return np.clip(samples * 8, -1, 1)


def everything(samples: Samples) -> Samples:
    """All the usual troubles together."""
    return hissing(thin(reverberant(flat(samples))))


CONDITIONS: dict[str, Callable[[Samples], Samples]] = {
    "dry": lambda samples: samples,
    "reverberation": reverberant,
    "hiss 20 dB": hissing,
    "300 Hz high-pass": thin,
    "30 cents flat": flat,
    "all together": everything,
    "hum -10 dB": humming,
    "clipped": clipped,
}


def slowed(condition: str) -> float:
    """How much longer everything lasts."""
    return 2 ** (30 / 1200) if condition in ("30 cents flat", "all together") else 1.0


def f1_of(want: Samples, want_hz: Samples, found: Samples, found_hz: Samples) -> float:
    """F1 of notes by onset and pitch: the largest number of pairs, each note used once."""
    if not len(want) or not len(found):
        return float(len(want) == len(found))
    close = np.abs(want[:, None] - found) <= 0.08
    cents = 1200 * np.abs(np.log2(want_hz[:, None] / found_hz))
    pairs = maximum_bipartite_matching(csr_array(close & (cents <= 50)), perm_type="column")
    return 2 * int((pairs >= 0).sum()) / (len(want) + len(found))


def librosa_hears(sound: Samples, rate: int, lowest: int, highest: int) -> Heard:
    """The same question asked of librosa: probabilistic YIN, and onsets between them.

    A note is the median of the voiced pitches from one onset to the next (B. McFee and others,
    SciPy 2015); installed only for this comparison.
    """
    import librosa

    low = librosa.resample(sound, orig_sr=rate, target_sr=22050)
    bounds = [440 * 2 ** ((midi - 69) / 12) for midi in (lowest, highest)]
    hz, voiced, chance = librosa.pyin(low, fmin=bounds[0], fmax=bounds[1], sr=22050)
    onsets = librosa.onset.onset_detect(y=low, sr=22050, backtrack=False)
    notes = []
    for start, stop in zip(onsets, [*onsets[1:], len(hz)], strict=True):
        sounding = hz[start:stop][voiced[start:stop]]
        if len(sounding) > 3:
            midi = float(69 + 12 * np.log2(np.median(sounding) / 440))
            times = librosa.frames_to_time([start, stop], sr=22050)
            cents = 100 * (midi - round(midi))
            sure = float(chance[start:stop].mean())
            notes.append(Pluck(times[0], times[1] - times[0], round(midi), cents, sure))
    return Heard(tuple(notes), 0.0)


def score(
    listener: Listener, samples: Samples, told: Score, condition: str, lowest: int, highest: int
):
    """F1, repeated notes told apart (found, all), and seconds of work."""
    began = time.perf_counter()
    heard = listener(CONDITIONS[condition](samples), RATE, lowest, highest)
    spent = time.perf_counter() - began
    stretch = slowed(condition)
    want = np.array(told[0]) * stretch
    cents_off = -30 if stretch > 1 else 0
    hz = 440 * 2 ** ((np.array(told[1]) + cents_off / 100 - 69) / 12)
    onsets = np.array([note.onset for note in heard.notes])
    found_hz = np.array(
        [
            440 * 2 ** ((n.midi + (n.cents + heard.tuning_cents) / 100 - 69) / 12)
            for n in heard.notes
        ]
    )
    f1 = f1_of(want[:-1], hz, onsets, found_hz)
    again = [i for i in range(1, len(told[1])) if told[1][i] == told[1][i - 1]]
    told_apart = sum(
        any(abs(n.onset - want[i]) < 0.08 and n.midi == told[1][i] for n in heard.notes)
        for i in again
    )
    return f1, told_apart, len(again), spent, heard


def marks_agree(answers: int) -> tuple[int, float]:
    """Of that many answers on bass, all troubles together: how many are marked as if written.

    An answer is a demo tune with none, one or two notes moved by a step, left out or played twice.
    Also the largest difference in percent.
    """
    program, tonic, lowest, highest = INSTRUMENTS["fingered bass"]
    paths = sorted(DEMO.glob("*.txt"))
    same, worst = 0, 0.0
    for number in range(answers):
        tune = parse_melody(paths[number % len(paths)].read_text(encoding="utf-8"))
        answer = _changed(tune, random.Random(number), number % 3)
        low = answer.transposed(Pitch.from_midi(tonic) - tune.tonic)
        beat = 60 / float(tune.tempo or 90)
        notes = [
            (pitch.midi - tonic, float(length) * beat)
            for pitch, length in zip(low.pitches, low.lengths, strict=True)
        ]
        samples, _ = play(notes, program, tonic)
        heard = hear(everything(samples), RATE, lowest, highest)
        unclear = [at for at, note in enumerate(heard.notes) if note.doubtful]
        moved = tune.transposed(Pitch.from_midi(tonic) - tune.tonic)
        melody = melody_heard(heard, key=moved.key)
        by_ear = mark(moved, melody, lengths=False, unclear=unclear)
        written = mark(moved, low, lengths=False)
        same += by_ear.percent == written.percent
        worst = max(worst, abs(by_ear.percent - written.percent))
    return same, worst


def _changed(melody: Melody, draw: random.Random, faults: int) -> Melody:
    notes = list(melody.notes)
    for _ in range(faults):
        at = draw.choice([n for n, note in enumerate(notes) if note.struck])
        kind = draw.choice(["moved", "left out", "twice"])
        if kind == "twice":
            notes.insert(at, notes[at])
        elif kind == "left out" and not any(n.tied for n in notes[at + 1 : at + 2]):
            del notes[at]
        else:
            near = melody.key.spell(notes[at].pitch.midi + draw.choice([-2, -1, 1, 2]))
            notes[at] = replace(notes[at], pitch=near)
    plain = [replace(note, tied=False) for note in notes]
    return Melody(tuple(plain), keys=melody.keys[:1], octave=melody.octave, tempo=melody.tempo)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--melodies", type=int, default=61)
    parser.add_argument("--conditions", default=",".join(CONDITIONS))
    parser.add_argument("--instruments", default=",".join(INSTRUMENTS))
    parser.add_argument("--librosa", action="store_true", help="let librosa hear, to compare")
    parser.add_argument("--marks", type=int, metavar="N", help="only compare N marks by ear")
    arguments = parser.parse_args()
    if arguments.marks:
        same, worst = marks_agree(arguments.marks)
        print(f"{same} of {arguments.marks} recordings marked as the written answer", end="; ")
        print(f"the largest difference is {worst} percent")
        return
    listener = librosa_hears if arguments.librosa else hear
    conditions = arguments.conditions.split(",")
    print(f"{'F1 of notes, percent':<22}" + "".join(f"{c[:13]:>15}" for c in conditions))
    spent = sounding = 0.0
    for name in arguments.instruments.split(","):
        program, tonic, lowest, highest = INSTRUMENTS[name]
        sums = dict.fromkeys(conditions, 0.0)
        again = dict.fromkeys(conditions, (0, 0))
        for notes in melodies(arguments.melodies):
            samples, told = play(notes, program, tonic)
            for condition in conditions:
                f1, apart, repeated, took, _ = score(
                    listener, samples, told, condition, lowest, highest
                )
                sums[condition] += f1
                again[condition] = (again[condition][0] + apart, again[condition][1] + repeated)
                spent += took
                sounding += len(samples) / RATE
        cells = "".join(f"{100 * sums[c] / arguments.melodies:>15.1f}" for c in conditions)
        print(f"{name:<22}{cells}", flush=True)
        cells = "".join(f"{100 * a / max(n, 1):>15.1f}" for a, n in again.values())
        print(f"{'  repeated notes':<22}{cells}", flush=True)
    print(f"work for a minute of sound: {60 * spent / sounding:.2f} s")


if __name__ == "__main__":
    main()
