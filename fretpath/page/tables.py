"""Plain text in columns and lines: the one table and the one way to fold under every page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence

from fretpath.errors import printable

WIDTH = 80
"""Characters in a line at the most."""
INDENT = " " * 5
"""In front of what belongs to a head at the margin."""


def table(
    rows: Iterable[Sequence[object]],
    *,
    head: Sequence[str] = (),
    align: str = "",
    gap: int = 2,
    indent: str = "",
) -> list[str]:
    """Rows of cells as lines, each column as wide as its widest cell; no space at line ends.

    *head* stands above; *align* has a letter a column, ``r`` for numbers, ``l`` (also where the
    letters end) for words; *gap* is the number of spaces between columns.

    >>> table([("A", 9), ("Bb", 12)], head=("key", "effort"), align="lr")
    ['key  effort', 'A         9', 'Bb       12']
    """
    cells = [[str(cell) for cell in row] for row in ([head] if head else []) + list(rows)]
    count = max(map(len, cells), default=0)
    widths = [max(len(row[n]) for row in cells if n < len(row)) for n in range(count)]
    letters = align.ljust(count, "l")

    def line(row: list[str]) -> str:
        parts = [
            word.rjust(width) if letter == "r" else word.ljust(width)
            for word, width, letter in zip(row, widths, letters, strict=False)
        ]
        return (indent + (" " * gap).join(parts)).rstrip()

    return [line(row) for row in cells]


def wrap(text: str, width: int = WIDTH, *, indent: str = "", hanging: str = "") -> list[str]:
    """The lines of a text, each folded at spaces to a width; empty lines are kept.

    *indent* stands before every line, *hanging* after it before those that go on.

    >>> wrap("one two three", 9, hanging="  ")
    ['one two', '  three']
    """
    return [
        part
        for line in text.splitlines()
        for part in textwrap.wrap(
            line,
            width,
            initial_indent=indent,
            subsequent_indent=indent + hanging,
            break_on_hyphens=False,
        )
        or [""]
    ]


def indent_lines(text: str) -> list[str]:
    """Lines of at most 80 characters that belong to a head, without control characters."""
    return wrap(printable(text), WIDTH, indent=INDENT, hanging="  ")


def shorten(text: str, width: int) -> str:
    """A text without control characters, cut with dots when it is longer than a width."""
    text = printable(text)
    return text if len(text) <= width else text[: width - 3].rstrip() + "..."
