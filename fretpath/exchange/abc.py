"""ABC 2.1 (standard of December 2011), written.

**Conventions of the standard.**  Header lines X: T: M: L: Q: in front, K: last.  ``C`` is C4 and
``c`` is C5; each comma is an octave down, each apostrophe one up.  Accidentals ``^ _ =`` stand
against the key signature and hold to the bar line for their letter in every octave; since some
readers keep them to one octave, a sign is written wherever either habit needs it.  ``z`` is a
rest, ``-`` a tie.  Lengths are multiples of L:.  Scales that ABC has no mode for are written
under the signature of their parent mode.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from fretpath.errors import RequestError
from fretpath.exchange.values import quarters
from fretpath.music.key import Key
from fretpath.music.melody import Melody
from fretpath.music.pitch import Pitch, alter_of

__all__ = ["write_abc"]

_MODES = {
    "major": "",
    "natural minor": "m",
    "dorian": "dor",
    "phrygian": "phr",
    "lydian": "lyd",
    "mixolydian": "mix",
    "locrian": "loc",
}
_ORDER = {1: "FCGDAEB", -1: "BEADGCF"}


def write_abc(melody: Melody, *, number: int = 1) -> str:
    """The melody as an ABC tune with reference number ``number``; ends with a newline."""
    unit = melody.meter.unit if melody.meter else 4
    lines = [f"X:{number}", f"T:{_line(melody.title) or 'untitled'}"]
    if melody.header("source"):
        lines.append(f"S:{_line(melody.header('source'))}")
    lines.append(f"M:{melody.meter or 'none'}")
    lines.append(f"L:1/{unit}")
    if melody.tempo is not None:
        lines.append(f"Q:1/{unit}={float(melody.tempo):g}")
    lines.append(f"K:{_key(melody.key)}")
    return "\n".join([*lines, *_music(melody, unit)]) + "\n"


def _music(melody: Melody, unit: int) -> Iterator[str]:
    keys, meters, bars = dict(melody.keys), dict(melody.meters), set(melody.bars)
    words = _words(melody, unit)
    for span in melody.spans(melody.phrases):
        if span.start and span.start in meters:
            yield f"M:{meters[span.start]}"
        if span.start and span.start in keys:
            yield f"K:{_key(keys[span.start])}"
        row = " ".join(f"| {words[i]}" if i in bars and i != span.start else words[i] for i in span)
        last = span.stop == len(melody.notes)
        yield row + (" |]" if last else " |" * (span.stop in bars))


def _words(melody: Melody, unit: int) -> list[str]:
    bars, keys = set(melody.bars), dict(melody.keys)
    notes, lengths = melody.notes, quarters(melody)
    signature = _signature(melody.key)
    held: dict[str, int] = {}
    words = []
    for event, (note, length) in enumerate(zip(notes, lengths, strict=True)):
        if event in keys:
            signature = _signature(keys[event])
        if event in bars or event in keys:
            held = {}
        tie = "-" if event + 1 < len(notes) and notes[event + 1].tied else ""
        tone = "z" if note.pitch is None else _tone(note.pitch, signature, held)
        words.append(tone + _length(length * unit / 4) + (tie if note.pitch else ""))
    return words


def _tone(pitch: Pitch, signature: dict[str, int], held: dict[str, int]) -> str:
    """The note with the accidental it needs here; what it sets is kept in ``held``."""
    if abs(pitch.alter) > 2:
        raise RequestError(f"ABC has no sign for {pitch}: two sharps or flats are the most")
    place = f"{pitch.letter}{pitch.octave}"
    plain = signature.get(pitch.letter, 0)
    sign = ""
    known = {held.get(place, plain), held.get(pitch.letter, plain)}
    if known != {pitch.alter} or abs(pitch.alter) == 2:  # music21 carries on one sign of two
        sign = ("__", "_", "=", "^", "^^")[pitch.alter + 2]
        held[place] = held[pitch.letter] = pitch.alter
    if pitch.octave >= 5:
        return sign + pitch.letter.lower() + "'" * (pitch.octave - 5)
    return sign + pitch.letter + "," * (4 - pitch.octave)


def _length(units: Fraction) -> str:
    if units == 1:
        return ""
    return str(units.numerator) if units.denominator == 1 else str(units)


def _signature(key: Key | None) -> dict[str, int]:
    """What each letter is altered by under the key signature."""
    count = key.signature if key else 0
    sign = 1 if count > 0 else -1
    letters = _ORDER[sign][: abs(count)]
    return dict.fromkeys(letters, sign)


def _key(key: Key | None) -> str:
    if key is None:
        return "C"
    if abs(key.signature) > 7 or abs(alter_of(key.tonic[1:])) > 1:
        raise RequestError(f"{key} has no key signature in ABC; write it enharmonically")
    return key.tonic + _MODES[key.scale.parent]


def _line(text: str) -> str:
    return " ".join(text.replace("%", r"\%").split())
