"""A melody back to text: the other half of :mod:`fretpath.music.notation`.

``parse_melody(format_melody(m)) == m`` for every melody.
"""

from __future__ import annotations

from fretpath.music.key import Degree
from fretpath.music.melody import Melody

__all__ = ["format_melody"]

MOST_ACCIDENTALS = 3
"""How many accidentals a degree may have in melody text."""


def format_melody(melody: Melody) -> str:
    """The text of a melody, such that ``parse_melody`` gives the melody back.

    >>> from fretpath.music.notation import parse_melody
    >>> print(format_melody(parse_melody("1 (2 3):1/2 | 5 -", key="G")), end="")
    key: G major
    <BLANKLINE>
    1 2:1/2 3:1/2 | 5 -

    Notes are written as degrees; without a key, or with more than three accidentals before the
    degree, as letters with their octave.  One phrase stands on one line, and a bar line at its end
    ends the line.  The text ends with a newline.
    """
    keys, meters = dict(melody.keys), dict(melody.meters)
    head = [
        ("title", melody.title),
        ("key", str(keys.pop(0, ""))),
        ("meter", str(meters.pop(0, ""))),
        ("tempo", "" if melody.tempo is None else f"{float(melody.tempo):g}"),
        ("octave", _octave(melody)),
    ]
    lines = [f"{name}: {value}" for name, value in (*head, *melody.headers) if value]
    lines.append("")
    words = _words(melody)
    bars = set(melody.bars)
    for span in melody.spans(melody.phrases):
        for name, changes in (("key", keys), ("meter", meters)):
            if span.start in changes:
                lines.append(f"{name}: {changes[span.start]}")
        row = " ".join(f"| {words[i]}" if i in bars and i != span.start else words[i] for i in span)
        lines.append(row + " |" * (span.stop in bars))
    return "\n".join(lines) + "\n"


def _octave(melody: Melody) -> str:
    """The octave of the tonic; of a free one only where letters with octaves hang on it."""
    if not melody.octave_free:
        return str(melody.octave)
    return "" if all(map(_writable, melody.degrees)) else f"{melody.octave} free"


def _writable(degree: Degree | None) -> bool:
    return degree is not None and abs(degree.alter) <= MOST_ACCIDENTALS


def _words(melody: Melody) -> list[str]:
    degrees = iter(melody.degrees)
    words = []
    for note in melody.notes:
        if note.struck:
            degree = next(degrees)
            word = str(degree if _writable(degree) else note.pitch)
        else:
            word = "r" if note.pitch is None else "-"
        length = "" if note.beats == 1 else f":{note.beats}"
        words.append(f"{word}{length}{note.placement or ''}")
    return words
