"""What a student's copy leaves out, the same in every part of the page.

**Conventions.**  A blank is always written ``__``, whatever it stands for, so that its width tells
nothing.  A hidden note keeps its column and its count (the rhythm is given) and loses its degree,
name, fret, finger and position.  An interval is hidden when either of its notes is.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from fretpath.errors import RequestError, nearest

__all__ = ["BLANK", "HIDES", "NOTHING_HIDDEN", "Blanks"]

BLANK = "__"
HIDES = ("degrees", "tab", "every-2nd", "every-3rd", "every-4th", "all-but-first")
"""What can be hidden, by name."""

_ON_THE_NECK = ("string", "finger", "position")


@dataclass(frozen=True, slots=True)
class Blanks:
    """What is hidden.

    >>> [Blanks.parse("every-3rd").hides_note(n) for n in range(6)]
    [False, False, True, False, False, True]
    """

    degrees: bool = False
    """No degree is shown."""
    tab: bool = False
    """No fret, finger or position is shown."""
    every: int = 0
    """Every so many notes one is hidden; 0 for none."""
    all_but_first: bool = False
    """Only the first note is shown."""

    @classmethod
    def parse(cls, text: str) -> Blanks:
        """Read names from :data:`HIDES` with commas between them; RequestError otherwise."""
        words = [word.strip() for word in text.split(",") if word.strip()]
        every = 0
        for word in words:
            if word not in HIDES:
                raise RequestError(
                    f'cannot hide "{word[:40]}"{nearest(word, HIDES)} (known: {", ".join(HIDES)})'
                )
            if match := re.fullmatch(r"every-(\d)\w\w", word):
                every = int(match[1])
        return cls("degrees" in words, "tab" in words, every, "all-but-first" in words)

    @property
    def any(self) -> bool:
        """Whether anything is hidden."""
        return self != NOTHING_HIDDEN

    def hides_note(self, note: int) -> bool:
        """Whether a struck note (from 0) is hidden as a whole."""
        if self.all_but_first and note > 0:
            return True
        return self.every > 0 and note % self.every == self.every - 1

    def hides(self, row: str, note: int) -> bool:
        """Whether the token of a struck note (from 0) in a row is hidden.

        *row* is degree, interval, note, finger, position, or string for the fret on its line.
        """
        if self.hides_note(note):
            return True
        if row == "interval":
            return note > 0 and self.hides_note(note - 1)
        return (row == "degree" and self.degrees) or (row in _ON_THE_NECK and self.tab)


NOTHING_HIDDEN = Blanks()
