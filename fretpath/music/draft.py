"""What has been read of a text that people jotted, line by line, and what must be told of it."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction

from fretpath.errors import AmbiguousTextError, FretpathError
from fretpath.music.key import Key
from fretpath.music.melody import Meter
from fretpath.music.text import EVENT
from fretpath.remarks import Remark, RemarkKind


@dataclass(frozen=True, slots=True)
class JottedLine:
    """A line of the text that says something, cleaned of decoration."""

    number: int
    """Line of the text, from 1."""
    kind: str
    """``music``, ``text``, ``head``, ``under`` or ``chords``."""
    text: str
    """What it says."""
    gap: bool = False
    """Whether an empty line stands before it."""
    times: int = 1
    """How often a line of music is played."""
    words: tuple[str, ...] = ()
    """Music in the words of melody text."""


@dataclass
class Draft:
    """The lines read so far, and the remarks on them."""

    source: str
    heads: dict[str, str] = field(default_factory=dict)
    rows: list[JottedLine] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    german: bool = False
    places: dict[str, int] = field(default_factory=dict)
    started: bool = False
    """Whether a line of music has been read."""
    labels: int = 0
    """Lines that begin with a letter and a colon."""

    def tell(self, kind: RemarkKind, text: str, number: int) -> None:
        remark = Remark(kind, text, f"line {number}")
        if all((other.kind, other.text) != (kind, text) for other in self.remarks):
            self.remarks.append(remark)

    def music(self) -> list[JottedLine]:
        return [row for row in self.rows if row.kind == "music"]

    def ask(self, question: str, number: int, *readings: tuple[str, str]) -> AmbiguousTextError:
        return AmbiguousTextError(question, readings=readings, source=self.source, line=number)

    def beats(self) -> Fraction | None:
        meter = self.heads.get("meter", "")
        return Fraction(Meter.parse(meter).beats) if re.fullmatch(r"\d+/\d+", meter) else None


def degrees_in(draft: Draft) -> list[tuple[int, int, str]]:
    """(row, word, degree) of every degree in the text."""
    return [
        (at, place, match["degree"])
        for at, row in enumerate(draft.rows)
        for place, word in enumerate(row.words)
        if (match := EVENT.fullmatch(word)) and match["degree"]
    ]


def stated_key(draft: Draft) -> Key | None:
    try:
        return Key.parse(draft.heads["key"]) if "key" in draft.heads else None
    except FretpathError:
        return None
