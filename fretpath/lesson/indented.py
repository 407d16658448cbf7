"""Lines of the lesson's text pages: heads at the margin, what belongs to them indented."""

from __future__ import annotations

from fretpath.errors import printable
from fretpath.page import tables

WIDTH = 80
"""Characters in a line at the most."""
INDENT = " " * 5
"""In front of what belongs to a head."""


def clipped(text: str, width: int) -> str:
    """``text`` without control characters, cut with dots when it is longer than ``width``."""
    text = printable(text)
    return text if len(text) <= width else text[: width - 3].rstrip() + "..."


def wrapped(text: str) -> list[str]:
    """``text`` in indented lines of at most 80 characters."""
    return tables.wrapped(printable(text), WIDTH, indent=INDENT, hanging="  ")
