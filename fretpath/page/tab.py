"""Text tab, with the count and the spelling in the same columns.

**Conventions.**  String 1 is the top line; each line begins with the name of its string.  Numbers
are frets, 0 is open.  One column holds everything about one note.  Above the tab stand the bar
numbers (a pickup is bar 0), endings of repeats and, in Roman numerals, where the index finger
goes when the hand moves; the count (see :mod:`fretpath.page.aloud`) stands right under it.  A
repeat stands between ``|:`` and ``:|``, the end is ``||``.  A rest is ``r`` and a note held over
is ``-`` in the first row of words that is shown.  Bars and counts appear where the melody has
them.  Plain ASCII but for a title that is not.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, SupportsIndex

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement
from fretpath.page.aloud import count_marks, in_columns, with_capitals
from fretpath.page.captions import LEGENDS, figures_line, header_lines, legend_lines
from fretpath.page.grid import Block, GridLine, System, lay_out, room_for
from fretpath.page.rows import ALL_ROWS, NOTHING_HIDDEN, Blanks, Row, Subject, rows_named
from fretpath.page.tables import wrap

if TYPE_CHECKING:
    pass

TAB_ROWS = tuple(row.name for row in ALL_ROWS if row.name not in ("fret", "tonic"))
"""Rows that can stand around the tab, in their order on the page."""
ROWS = tuple(row.name for row in ALL_ROWS if row.usual and row.name in TAB_ROWS)
"""Rows that stand there unless others are asked for."""
SPACINGS = ("even", "time")
"""How columns are spaced: as narrow as they can be, or in proportion to length."""

LEAST_WIDTH = 40
_WORDS = ("degree", "note", "interval", "finger")
_LEAST_PER_BEAT, _MOST_PER_BEAT = 4, 24


def check_width(width: object) -> None:
    """Raise :class:`RequestError` unless it is a whole number of characters, 40 or more."""
    if not isinstance(width, SupportsIndex) or width.__index__() < LEAST_WIDTH:
        raise RequestError(f"a page is at least {LEAST_WIDTH} characters wide, not {width}")


def render_tab(
    arrangement: Arrangement,
    *,
    rows: Sequence[str] = ROWS,
    width: int = 80,
    degrees: str = "major",
    simple: bool = False,
    spacing: str = "even",
    hide: Blanks = NOTHING_HIDDEN,
    legend: str = "short",
) -> str:
    """The whole page as text: header, tab with rows, figures; ends with a newline.

    *rows* are names from :data:`TAB_ROWS`; *width* is in characters, 40 or more.  *degrees* counts
    them against the ``major`` scale or the ``key`` signature; *simple* prints ``2'`` for 9.
    *spacing* is ``even`` or ``time`` (columns in proportion to length).  *hide* leaves blanks for
    a student, and with them the figures.  *legend* is ``none``, ``short`` (what this page needs)
    or ``full``.
    """
    subject = Subject(arrangement, degrees, simple=simple, hide=hide)
    tab = Tab(subject, tuple(rows), width, spacing, legend)
    parts = ["\n".join(tab.header), *tab.systems]
    if not hide.any:
        parts.append("\n".join(tab.figures))
    return "\n\n".join(parts) + "\n"


def bar_lines(melody: Melody) -> dict[int, str]:
    """Event to the bar line before it; the end of the melody stands at its number of events."""
    lines = dict.fromkeys(melody.bars, "|")
    if melody.bars:
        lines[len(melody)] = "||"
    for repeat in melody.repeats:
        lines[repeat.start] = ":|:" if lines.get(repeat.start, "").startswith(":") else "|:"
        for back in repeat.endings[1:] or (repeat.stop,):
            lines[back] = ":|:" if lines.get(back, "").endswith(":") else ":|"
    return lines


def changes_of(melody: Melody, *, keys: bool = True) -> dict[int, list[str]]:
    """Event to the key (unless it must not be told) and meter that begin there, after the first."""
    changes: dict[int, list[str]] = {}
    for event, value in (*(melody.keys[1:] if keys else ()), *melody.meters[1:]):
        changes.setdefault(event, []).append(with_capitals(str(value)))
    return changes


@dataclass(frozen=True)
class Tab:
    """A tab in its parts, for pages that set them differently."""

    subject: Subject
    """The tune and where it is played, and what of it is hidden."""
    rows: tuple[str, ...] = ROWS
    """Rows around the tab, from :data:`TAB_ROWS`."""
    width: int = 80
    """Characters a line, 40 or more."""
    spacing: str = "even"
    """One of :data:`SPACINGS`."""
    legend: str = "short"
    """How much is explained: ``none``, ``short`` (what this page needs) or ``full``."""

    def __post_init__(self) -> None:
        rows_named(self.rows, TAB_ROWS)
        check_width(self.width)
        if self.spacing not in SPACINGS:
            raise RequestError(f'spacing is "even" or "time", not "{self.spacing[:40]}"')
        if self.legend not in LEGENDS:
            raise RequestError(f'a legend is {", ".join(LEGENDS)}, not "{self.legend[:40]}"')

    @property
    def arrangement(self) -> Arrangement:
        """How the tune is played."""
        assert self.subject.arrangement, "a tab shows where a tune is played"
        return self.subject.arrangement

    @property
    def header(self) -> list[str]:
        """Title, key, instrument, conventions and legend, no line wider than the page."""
        names = [row.name for row in self._shown]
        hidden = self.subject.hide.any
        lines = header_lines(self.arrangement, self.subject.degrees, self.legend)
        lines += legend_lines(self.subject.melody, names, hidden=hidden, legend=self.legend)
        return wrap("\n".join(lines), self.width)

    @property
    def figures(self) -> list[str]:
        """The figures of the fingering and the remarks on it, no line wider than the page."""
        told = [remark.text for remark in self.arrangement.remarks]
        return wrap("\n".join([figures_line(self.arrangement), *told]), self.width)

    @cached_property
    def systems(self) -> list[str]:
        """Each system as lines of text, with a heading where it repeats or continues a bar."""
        systems = lay_out(self._lines, self._phrases, width=self.width)
        played: dict[tuple[object, ...], System] = {}
        texts = []
        for system in systems:
            first = played.setdefault(self._music(system), system)
            heading = self._heading(system, first)
            texts.append("\n".join([*heading, *system.lines]))
        return texts

    @cached_property
    def _shown(self) -> list[Row]:
        """The rows asked for that this melody can fill."""
        rows = rows_named(self.rows, TAB_ROWS)
        return [row for row in rows if row.of_notes or self.subject.fills(row)]

    @property
    def _rest_row(self) -> str:
        return next((row.name for row in self._shown if row.name in _WORDS), "rest")

    @property
    def _lines(self) -> list[GridLine]:
        strings = [
            GridLine(f"string{number}", name, string=True)
            for number, name in enumerate(self.arrangement.instrument.string_names, start=1)
        ]
        above = [GridLine(row.name, row.name) for row in self._shown if row.above]
        below = [GridLine(row.name, row.name) for row in self._shown if not row.above]
        rests = [GridLine("rest", "rest")] if self._rest_row == "rest" else []
        return above + strings + below + rests

    @cached_property
    def _phrases(self) -> list[list[Block]]:
        melody = self.subject.melody
        drawn = bar_lines(melody)
        phrases: list[list[Block]] = []
        for span in melody.spans(melody.phrases):
            blocks: list[Block] = []
            for event in span:
                line = drawn.get(event, "")
                if event == span.start:
                    line = "|:" if line.endswith(":") else ""
                blocks += [Block(line=line)] if line else []
                blocks.append(self._block(event))
            blocks.append(Block(line=drawn.get(span.stop, "|").removesuffix(":")))
            phrases.append(blocks)
        return phrases

    def _block(self, event: int) -> Block:
        """The column of an event; in time as wide as its length asks, if the page allows."""
        tokens = self._tokens[event]
        if self.spacing == "even":
            return Block(tokens, event)
        melody, room = self.subject.melody, room_for(self._lines, self.width)
        if "count" in tokens:
            marks = count_marks(melody, event)
            tokens = tokens | {"count": in_columns(marks, self._per_beat, room - 1)}
        wanted = round(self._per_beat * melody.notes[event].beats)
        return Block(tokens, event, least=min(wanted, room))

    @cached_property
    def _per_beat(self) -> int:
        """Columns a beat: so many that no note is wider than its time, if the page allows."""
        beats = [note.beats for note in self.subject.melody.notes]
        widths = [
            max((len(token) for name, token in tokens.items() if name != "count"), default=1)
            for tokens in self._tokens
        ]
        wanted = max(math.ceil((w + 1) / b) for w, b in zip(widths, beats, strict=True))
        most = int(room_for(self._lines, self.width) // max(beats))
        return max(_LEAST_PER_BEAT, min(wanted, _MOST_PER_BEAT, most))

    @cached_property
    def _tokens(self) -> list[dict[str, str]]:
        """For each event the words of the rows that are shown, and the fret on its string."""
        return [self._tokens_at(event) for event in range(len(self.subject.melody))]

    def _tokens_at(self, event: int) -> dict[str, str]:
        subject, held = self.subject, self.subject.melody.notes[event]
        found = [(row.name, subject.token(row, event)) for row in self._shown]
        tokens = {name: token for name, token in found if token}
        if not held.struck:
            tokens[self._rest_row] = "-" if held.tied else "r"
            return tokens
        note = subject.number[event]
        if not self.subject.hide.hides("place", note):
            fingering = self.arrangement.fingerings[note]
            tokens[f"string{fingering.string}"] = str(fingering.fret)
        return tokens

    def _music(self, system: System) -> tuple[object, ...]:
        """The music of a system, free of how the hand came there: equal for a repeat."""
        inner = system.blocks[:-1] if system.blocks[-1].line else system.blocks
        return tuple(None if block.line else self._sound(block.event) for block in inner)

    def _sound(self, event: int) -> tuple[object, ...]:
        """The note of an event, its key, and its place as far as that is shown."""
        melody = self.subject.melody
        told = melody.notes[event].struck and "place" not in self.subject.hide.kinds
        place = self.subject.spot(event).fingering if told else None
        return melody.notes[event], place, melody.key_at(event)

    def _heading(self, system: System, first: System) -> list[str]:
        melody = self.subject.melody
        start = next(block.event for block in system.blocks if not block.line)
        bars = melody.bar_numbers
        lines = [f"now {value}" for value in changes_of(melody).get(start, ())]
        if melody.bars and start and start not in melody.bars and bars[start - 1] == bars[start]:
            lines.append(f"bar {bars[start]}, continued")
        if first is not system and not self.subject.hide.some_notes:
            lines.append(f"the same as {self._name(first)}")
        return [", ".join(lines)] if lines and self._shown else []

    def _name(self, system: System) -> str:
        melody = self.subject.melody
        events = [block.event for block in system.blocks if not block.line]
        if not melody.bars:
            return f"notes {self._count(events[0])} to {self._count(events[-1])}"
        low, high = melody.bar_numbers[events[0]], melody.bar_numbers[events[-1]]
        return f"bar {low}" if low == high else f"bars {low} to {high}"

    def _count(self, event: int) -> int:
        return bisect_right(self.subject.melody.struck, event)
