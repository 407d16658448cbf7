"""The tune books in music21's corpus whose editors wrote down key and mode.

Three books in ABC come with music21: *Aird's Airs* (1180 tunes), *Ryan's Mammoth Collection* (1059)
and *O'Neill's Music of Ireland* (1850; 2009 entries here).  Their K: fields name the mode where it
is not major (``A Dorian``, ``Gmix``; ABC 2.1, section 3.1.14: a tonic alone is major), and
remarks such as "Aird has two sharps, this must be a typo" show that an editor decided.  The files
are read from the installed package and never copied.  music21's Essen files are left out: their
K: fields are signatures without a mode.

What an editor calls the tonic of a fiddle tune that ends elsewhere is an opinion, so no method
can reach 100 %.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from fretpath import Melody, Note, Pitch

BOOKS = ("airdsAirs", "ryansMammoth", "oneills1850")
_MODES = {
    "": "major",
    "maj": "major",
    "m": "natural minor",
    "min": "natural minor",
    "dor": "dorian",
    "mix": "mixolydian",
    "lyd": "lydian",
    "phr": "phrygian",
}
_KEY = re.compile(r"([A-G][#b]?)\s*([A-Za-z]*)\s*(?:%.*)?")


@dataclass(frozen=True)
class Label:
    """A tune as text, with the key its editor gave it."""

    book: str
    title: str
    tonic: str
    mode: str
    text: str

    @property
    def minor(self) -> bool:
        """Whether the mode has a minor third."""
        return self.mode in ("natural minor", "dorian", "phrygian")


def labels(wanted: Callable[[Label], bool] = lambda label: True) -> Iterator[Label]:
    """Every tune with a readable K: field, in the order of the books."""
    from music21 import corpus

    for book in BOOKS:
        paths = sorted(str(path) for path in corpus.getCorePaths() if path.parent.name == book)
        for path in paths:
            with open(path, encoding="utf-8", errors="replace") as file:
                tunes = re.split(r"(?m)^(?=X:)", file.read())[1:]
            for label in filter(None, (_label(book, tune) for tune in tunes)):
                if wanted(label):
                    yield label


def _label(book: str, text: str) -> Label | None:
    field = re.search(r"(?m)^K:\s*(.*?)\s*$", text)
    title = re.search(r"(?m)^T:\s*(.*?)\s*$", text)
    match = _KEY.fullmatch(field[1]) if field else None
    if match is None:
        return None
    word = "min" if match[2] == "m" else match[2].lower()[:3]
    mode = _MODES.get("" if match[2] == "M" else word)
    return Label(book, title[1] if title else "", match[1], mode, text) if mode else None


def parsed(label: Label) -> Any:
    """The tune as a music21 stream."""
    from music21 import converter

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return converter.parse(label.text, format="abc", forceSource=True)


def melody_of(stream: Any) -> Melody:
    """The notes of a stream as a melody without a key; grace notes and rests left out."""
    notes = [
        Note(
            Pitch.spelled(n.pitch.step, int(n.pitch.alter), n.pitch.octave),
            Fraction(n.quarterLength).limit_denominator(96),
        )
        for n in stream.flatten().notes
        if n.isNote and n.quarterLength > 0 and n.pitch.octave is not None
    ]
    return Melody(tuple(notes))
