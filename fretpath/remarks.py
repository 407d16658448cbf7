"""Remarks: what was read, guessed, rounded or left out, each with its place; nothing is silent.

A reader returns its remarks beside its value.  Commands print them in one way, one line a remark
on standard error; a script gets them as values.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from fretpath.values import Value

RemarkKind = Literal["read", "guessed", "rounded", "left out", "doubt", "fingered"]
"""``read``: an unusual way of writing, and how it was taken; ``guessed``: something the text does
not tell; ``rounded``: a length or an onset moved to the nearest that can be written; ``left out``:
what the melody cannot hold; ``doubt``: a place that may mean something else and wants a look;
``fingered``: something about the fingering that the tab does not show."""


@dataclass(frozen=True, slots=True)
class Remark(Value):
    """One thing a reader has to say about what it read.

    >>> print(Remark("left out", "2 fermatas", "bars 3, 7"))
    bars 3, 7: left out: 2 fermatas
    """

    kind: RemarkKind
    """What happened."""
    text: str
    """What was done, in trade words, without its place."""
    place: str = ""
    """Where, such as ``bar 3`` or ``line 2``; empty for the whole."""

    def __str__(self) -> str:
        return ": ".join(part for part in (self.place, self.kind, self.text) if part)
