"""A recording as a melody: what was heard, put down as notes in order or in time.

Sound files are opened by ``soundfile`` (libsndfile).  Without a tempo every note lasts a beat:
how fast a student plays is not known.  With one, the time to the next note becomes the usual
length that is nearest in proportion, and half a beat or more of silence in it a rest.
"""

from __future__ import annotations

import io
import math
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, ScoreFileError
from fretpath.exchange.door import RECORDINGS
from fretpath.exchange.hearing import Heard, Pluck, hear
from fretpath.music.key import Key
from fretpath.music.keyfinding import in_key, likeliest_signature, spell_line
from fretpath.music.melody import Melody, Note
from fretpath.remarks import Remark

LONGEST_SECONDS = 600
LARGEST_BYTES = 128 * 1024 * 1024
_LENGTHS = tuple(
    map(Fraction, ("1/4", "1/3", "1/2", "3/4", "1", "3/2", "2", "5/2", "3", "7/2", "4"))
)


def read_samples(data: bytes, name: str) -> tuple[NDArray[np.float64], int]:
    """The samples of a sound file, shape (n, channels) in -1..1, and how many a second.

    Raises :class:`ScoreFileError` for what is no sound, is longer than ten minutes, or needs a
    library that is not installed.
    """
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
        with soundfile.SoundFile(io.BytesIO(data)) as file:
            if file.frames > LONGEST_SECONDS * file.samplerate:
                raise ScoreFileError(f"{name} lasts longer than ten minutes; cut it to one tune")
            return file.read(dtype="float64", always_2d=True), int(file.samplerate)
    except soundfile.SoundFileError:
        kinds = ", ".join(RECORDINGS)
        raise ScoreFileError(f"{name} is not a sound that can be read ({kinds})") from None


def hear_recording(data: bytes, name: str, lowest: int = 28, highest: int = 84) -> Heard:
    """Hear a sound file; *lowest* and *highest* as in :func:`hear`."""
    samples, rate = read_samples(data, name)
    return hear(samples, rate, lowest, highest)


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
