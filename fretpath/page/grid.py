"""Rows that share their columns, broken into systems: the layout under every text tab.

A *block* is one column: what each row shows of an event, or a bar line.  A block is as wide as
its widest token, so that no token can slide under its neighbor; it may ask for more, so that
columns stand in proportion to time.  Systems break at bar lines; a bar that is wider than a whole
line is broken between two of its blocks, never inside one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import chain, pairwise


@dataclass(frozen=True, slots=True)
class GridLine:
    """One line of a system."""

    name: str
    """Key of its tokens in the blocks."""
    label: str
    """Words in front of it."""
    string: bool = False
    """True for a string of the neck, drawn as a line with bar lines; False for plain words."""


@dataclass(frozen=True)
class Block:
    """One column: an event with what each row shows of it, or a bar line."""

    tokens: Mapping[str, str] = field(default_factory=dict)
    """Row name to what is shown there; rows left out stay empty."""
    event: int = -1
    """Index of the melody event it stands for; -1 for a bar line."""
    least: int = 0
    """Columns it takes at least, its separator included; 0 leaves it to the tokens."""
    line: str = ""
    """How a bar line is drawn: ``|``, ``||`` at the end, ``|:`` and ``:|`` around a repeat; empty
    for an event."""

    @cached_property
    def width(self) -> int:
        """Columns the block takes, its separator included."""
        if self.line:
            return len(self.line) + 1
        widest = max(map(len, self.tokens.values()), default=1)
        return max(self.least, widest + (1 if self.least else 2))


@dataclass(frozen=True, slots=True)
class System:
    """The rows of one line of music."""

    blocks: tuple[Block, ...]
    """Its columns, left to right."""
    lines: tuple[str, ...]
    """Its rows as text, top to bottom."""


def room_for(rows: Sequence[GridLine], width: int) -> int:
    """Columns left for blocks in a line of ``width`` characters."""
    return width - max(len(row.label) for row in rows) - 4


def lay_out(
    rows: Sequence[GridLine], phrases: Sequence[Sequence[Block]], *, width: int
) -> list[System]:
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
        for blocks in _move_signs(_systems_of(phrase, room))
    ]


def _lines(rows: Sequence[GridLine], system: list[Block], margin: int) -> Iterator[str]:
    for row in rows:
        if row.string or any(block.tokens.get(row.name) for block in system):
            yield _line(row, system, margin)


def _move_signs(systems: list[list[Block]]) -> list[list[Block]]:
    """A repeat that begins where a system does has its sign there, and not at the end before."""
    for system, after in pairwise(systems):
        if system[-1].line.endswith(":"):
            system[-1] = Block(line=system[-1].line.removesuffix(":"))
            after.insert(0, Block(line="|:"))
    return systems


def _systems_of(phrase: Sequence[Block], room: int) -> list[list[Block]]:
    """As few systems as the room allows: of as many bars each, or else the narrowest."""
    bars = list(_bars(phrase))
    fewest = len(_fill(bars, room))
    each = -(-len(bars) // fewest)
    alike = [list(chain.from_iterable(bars[n : n + each])) for n in range(0, len(bars), each)]
    if all(_width(system) <= room for system in alike):
        return alike
    widths = range(1, room)
    enough = bisect_left(widths, True, key=lambda width: len(_fill(bars, width)) <= fewest)
    return _fill(bars, 1 + enough)


def _bars(blocks: Sequence[Block]) -> Iterator[list[Block]]:
    bar: list[Block] = []
    for block in blocks:
        bar.append(block)
        if block.line and len(bar) > 1:
            yield bar
            bar = []
    if bar:
        yield bar


def _fill(bars: list[list[Block]], room: int) -> list[list[Block]]:
    systems: list[list[Block]] = [[]]
    used = 0
    for bar in bars:
        if systems[-1] and used + _width(bar) > room:
            systems.append([])
            used = 0
        for block in bar:
            held = any(other.tokens for other in systems[-1])  # a sign alone is no system
            if held and used + block.width > room and block.tokens:
                systems.append([])
                used = 0
            systems[-1].append(block)
            used += block.width
    return systems


def _width(blocks: list[Block]) -> int:
    """Columns of blocks at the end of a line, beside the bar line that stands there anyway."""
    width = sum(block.width for block in blocks)
    return width - 2 if blocks[-1].line else width


def _line(row: GridLine, system: list[Block], margin: int) -> str:
    fill = "-" if row.string else " "
    begin = end = "|"
    if system[0].line:
        begin, system = system[0].line, system[1:]
    if system[-1].line:
        end, system = system[-1].line, system[:-1]
    cells = [row.label.ljust(margin), " ", _bar_line(begin, row)]
    for block in system:
        if block.line:
            cells.append(_bar_line(block.line, row))
        else:
            cells.append(block.tokens.get(row.name, "").ljust(block.width, fill))
    return "".join(cells).rstrip() + (end if row.string else "")


def _bar_line(line: str, row: GridLine) -> str:
    return f"{line}-" if row.string else " " * (len(line) + 1)
