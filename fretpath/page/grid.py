"""Rows that share their columns, broken into systems: the layout under every text tab.

A *block* is one column: the tokens it shows in each row, or a bar line.  A block is as wide as
its widest token, so that no token can slide under its neighbour; it may ask for more, so that
columns stand in proportion to time.  Systems break at bar lines; a bar that is wider than a whole
line is broken between two of its blocks, never inside one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

__all__ = ["BAR_LINE", "Block", "Row", "System", "lay_out", "room_for"]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a system."""

    name: str
    """Key of its tokens in the blocks."""
    label: str
    """What stands in front of it."""
    string: bool = False
    """True for a string of the neck, drawn as a line with bar lines; False for plain words."""


@dataclass(frozen=True)
class Block:
    """One column; ``None`` tokens are a bar line."""

    tokens: Mapping[str, str] | None
    """Row name to what is shown there; rows left out stay empty."""
    event: int = -1
    """Index of the melody event it stands for; -1 for a bar line."""
    least: int = 0
    """Columns it takes at least, its separator included; 0 leaves it to the tokens."""

    @cached_property
    def needed(self) -> int:
        """Columns of its widest token."""
        return max((len(token) for token in (self.tokens or {}).values()), default=1)

    @cached_property
    def width(self) -> int:
        """Columns the block takes, its separator included."""
        if self.tokens is None:
            return 2
        return max(self.least, self.needed + (1 if self.least else 2))


BAR_LINE = Block(None)


@dataclass(frozen=True, slots=True)
class System:
    """The rows of one line of music."""

    blocks: tuple[Block, ...]
    """Its columns, left to right."""
    lines: tuple[str, ...]
    """Its rows as text, top to bottom."""


def room_for(rows: Sequence[Row], width: int) -> int:
    """Columns left for blocks in a line of ``width`` characters."""
    return width - max(len(row.label) for row in rows) - 4


def lay_out(rows: Sequence[Row], phrases: Sequence[Sequence[Block]], *, width: int) -> list[System]:
    """Systems of lines, none longer than ``width`` unless a single block is.

    Each phrase begins a new system; one that needs several is shared out evenly.  Lines carry no
    spaces at their end, row labels are repeated in each system, and rows of words that are empty
    in a system are left out there.
    """
    margin = max(len(row.label) for row in rows)
    room = room_for(rows, width)
    return [
        System(tuple(blocks), tuple(_lines(rows, blocks, margin)))
        for phrase in phrases
        for blocks in _shared_out(phrase, room)
    ]


def _lines(rows: Sequence[Row], system: list[Block], margin: int) -> Iterator[str]:
    for row in rows:
        if row.string or _shown(row, system):
            yield _line(row, system, margin)


def _shown(row: Row, system: list[Block]) -> bool:
    return any(block.tokens and block.tokens.get(row.name) for block in system)


def _shared_out(phrase: Sequence[Block], room: int) -> list[list[Block]]:
    """As few systems as the room allows, and among those the narrowest."""
    bars = list(_bars(phrase))
    fewest = len(_systems(bars, room))
    narrow, wide = 1, room
    while narrow < wide:
        middle = (narrow + wide) // 2
        if len(_systems(bars, middle)) <= fewest:
            wide = middle
        else:
            narrow = middle + 1
    return _systems(bars, wide)


def _bars(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    bar: list[Block] = []
    for block in blocks:
        bar.append(block)
        if block.tokens is None:
            yield bar
            bar = []
    if bar:
        yield bar


def _systems(bars: list[list[Block]], room: int) -> list[list[Block]]:
    systems: list[list[Block]] = [[]]
    used = 0
    for bar in bars:
        if systems[-1] and used + _width(bar) > room:
            systems.append([])
            used = 0
        for block in bar:
            if systems[-1] and used + block.width > room and block.tokens:
                systems.append([])
                used = 0
            systems[-1].append(block)
            used += block.width
    return systems


def _width(blocks: list[Block]) -> int:
    return sum(block.width for block in blocks)


def _line(row: Row, system: list[Block], margin: int) -> str:
    fill = "-" if row.string else " "
    cells = [row.label.ljust(margin), " |-" if row.string else "   "]
    if system[-1].tokens is None:
        system = system[:-1]
    for block in system:
        if block.tokens is None:
            cells.append("|-" if row.string else "  ")
        else:
            cells.append(block.tokens.get(row.name, "").ljust(block.width, fill))
    return "".join(cells).rstrip() + ("|" if row.string else "")
