"""Whose fault it is.

Every error a user can cause is a :class:`FretpathError` whose text is complete: it says what is
wrong, where, and the nearest fix.  The command line prints that text and exits with status 1.
A failed check of our own work is an ``AssertionError`` and keeps its traceback.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any


class FretpathError(ValueError):
    """The input cannot be used; the message says why and what would help.

    Every kind can be copied and pickled with all its fields.  Where it is about one of many
    melodies, ``index`` tells which, counted from 0.
    """

    index: int | None = None

    def __reduce__(self) -> tuple[Any, ...]:
        return _rebuild, (type(self), self.args, self.__dict__.copy())


def _rebuild(
    kind: type[FretpathError], args: tuple[Any, ...], fields: dict[str, Any]
) -> FretpathError:
    error = kind.__new__(kind, *args)
    error.__dict__.update(fields)
    return error


class RequestError(FretpathError):
    """An option is wrong: an unknown name, an impossible limit, two limits that clash."""


class MelodySyntaxError(FretpathError):
    """The text of a melody cannot be read.

    Attributes: ``problem`` (one sentence), ``source`` (name of the melody), ``line`` and
    ``column`` (both from 1), ``span`` (columns the fault covers), ``text`` (the faulty line).
    """

    def __init__(
        self, problem: str, *, source: str, line: int, column: int, span: int, text: str
    ) -> None:
        self.problem = problem
        self.source = source
        self.line = line
        self.column = column
        self.span = max(span, 1)
        self.text = text
        super().__init__(self._sentence())

    def _sentence(self) -> str:
        window, column = clip(self.text, self.column)
        carets = "^" * max(1, min(self.span, len(window) - column + 1))
        return (
            f"{self.source}, line {self.line}, column {self.column}: {self.problem}\n"
            f"    {window}\n"
            f"    {' ' * (column - 1)}{carets}"
        )


class AmbiguousTextError(FretpathError):
    """A text that a musician could take in two ways.

    Attributes: ``question`` (one sentence), ``readings`` (what each would mean, and how to write
    it), ``source`` (name of the melody), ``line`` (from 1).
    """

    def __init__(
        self, question: str, *, readings: Sequence[tuple[str, str]], source: str, line: int
    ) -> None:
        self.question = question
        self.readings = tuple(readings)
        self.source = source
        self.line = line
        ways = "".join(f"\n  {what}: write\n{_indent(text)}" for what, text in self.readings)
        super().__init__(f"{source}, line {line}: {question}{ways}")


def _indent(text: str) -> str:
    """The first lines of a text, each printable and set in."""
    lines = [line for line in text.split("\n") if line.strip()]
    shown = [f"    {printable(line[:200])}" for line in lines[:12]]
    return "\n".join([*shown, *(["    ..."] if len(lines) > 12 else [])])


class UnplayableError(FretpathError):
    """The music is well formed but cannot be played on this instrument with these limits."""


class OutOfRangeError(UnplayableError):
    """Some notes lie below or above the neck; the message lists all of them and what would fit.

    Attributes: ``notes`` (indices of the events without a place), ``lowest`` and ``highest`` (MIDI
    numbers of the neck; None where they are not told).
    """

    def __init__(
        self,
        problem: str,
        *,
        notes: Sequence[int] = (),
        lowest: int | None = None,
        highest: int | None = None,
    ) -> None:
        self.notes = tuple(notes)
        self.lowest = lowest
        self.highest = highest
        super().__init__(problem)


class NoPathError(UnplayableError):
    """Every note can be played alone, but the hand cannot get from one note to the next."""


class ArrangementError(FretpathError):
    """A fingering that does not sound its melody; :class:`Arrangement` checks itself."""


class ScoreFileError(FretpathError):
    """A file is not what it claims to be, or cannot be read or written."""


class IncompleteError(FretpathError):
    """Some files of many could not be used; the rest was done and is in ``result``."""

    def __init__(self, problem: str, *, result: str) -> None:
        self.result = result
        super().__init__(problem)


def clip(text: str, column: int, *, width: int = 72) -> tuple[str, int]:
    """A printable window of ``text`` around ``column`` (from 1), and the column inside it.

    >>> clip("1 2 3", 3)
    ('1 2 3', 3)
    """
    start = max(0, column - 1 - width // 2)
    window = text[start : start + width]
    return printable(window), column - start


STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)
"""Characters that a terminal obeys and does not show: control characters, and those that turn the
text."""


def printable(text: str) -> str:
    """The text with question marks for whatever a terminal would obey and not show.

    >>> printable("1 3\\x1b[2J 5")
    '1 3?[2J 5'
    """
    return "".join(c if c.isprintable() else "?" for c in text)


def nearest(word: str, known: Iterable[str], *, likeness: float = 0.6) -> str:
    """A hint ending a message: the known word nearest to ``word``, or the empty string.

    *likeness* is the least share of letters in common, 0 to 1.

    >>> nearest("bas", ["bass", "guitar"])
    '; did you mean "bass"?'
    >>> nearest("xylophone", ["bass", "guitar"])
    ''
    """
    import difflib

    found = difflib.get_close_matches(word[:80].lower(), list(known), n=1, cutoff=likeness)
    return f'; did you mean "{found[0]}"?' if found else ""
