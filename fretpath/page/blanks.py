"""What a student's copy leaves out, the same in every part of the page.

**Conventions.**  Each row says what it reveals (:mod:`fretpath.page.rows`): the ``degree`` of a
note, its ``pitch``, its ``place`` on the neck, or nothing.  Blanks hide kinds of these, or single
notes with all that belongs to them.  A blank is always written ``__``, whatever it stands for, so
that its width tells nothing.  A hidden note keeps its column and its count: the rhythm is given.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from fretpath.errors import RequestError, nearest
from fretpath.values import Value

Kind = Literal["", "degree", "pitch", "place"]
"""What a row reveals of a note; empty for nothing."""

BLANK = "__"
_KINDS: dict[str, Kind] = {"degrees": "degree", "notes": "pitch", "tab": "place"}
HIDES = (*_KINDS, "every-2nd", "every-3rd", "every-4th", "all-but-first")
"""What can be hidden, by name."""


@dataclass(frozen=True, slots=True)
class Blanks(Value):
    """The rows and notes that are hidden.

    >>> [Blanks.parse("every-2nd,every-3rd").hides_note(n) for n in range(6)]
    [False, True, True, True, False, True]
    """

    kinds: frozenset[Kind] = frozenset()
    """Of every note: its ``degree``, its ``pitch`` (with its interval), its ``place``."""
    every: tuple[int, ...] = ()
    """Every so many notes one is hidden, for each number."""
    all_but_first: bool = False
    """Whether only the first note is shown."""

    @classmethod
    def parse(cls, text: str) -> Blanks:
        """Read names from :data:`HIDES` with commas between them; RequestError otherwise."""
        words = [word.strip() for word in text.split(",") if word.strip()]
        for word in words:
            if word not in HIDES:
                raise RequestError(
                    f'cannot hide "{word[:40]}"{nearest(word, HIDES)} (known: {", ".join(HIDES)})'
                )
        every = [int(match[1]) for w in words if (match := re.fullmatch(r"every-(\d)\w\w", w))]
        kinds = frozenset(_KINDS[word] for word in words if word in _KINDS)
        return cls(kinds, tuple(sorted(set(every))), "all-but-first" in words)

    @property
    def any(self) -> bool:
        """Whether anything is hidden."""
        return self != NOTHING_HIDDEN

    @property
    def some_notes(self) -> bool:
        """Whether single notes are hidden with all that belongs to them."""
        return bool(self.every) or self.all_but_first

    def hides_note(self, note: int) -> bool:
        """Whether a struck note (from 0) is hidden as a whole."""
        if self.all_but_first and note > 0:
            return True
        return any(note % count == count - 1 for count in self.every)

    def hides(self, kind: Kind, note: int) -> bool:
        """Whether what a row reveals of a struck note (from 0) is hidden."""
        return bool(kind) and (kind in self.kinds or self.hides_note(note))


NOTHING_HIDDEN = Blanks()
EVERYTHING = Blanks(frozenset(_KINDS.values()))
"""A copy to be filled in by ear: no degree, no pitch and no place is shown."""
