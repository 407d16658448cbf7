"""The tab as a drawing for print: light lines, strong numbers, a row of degrees, or boxes.

**Conventions.**  Lengths are mm; each system is an SVG element of its own, so that paper never
parts one.  Notes stand in proportion to their time, as far as what stands under them has room.  A
row that is hidden as a whole is left out; the first of degree and note that is hidden becomes a
row of boxes to write in.  A line after a box is a note that sounds on.  Black and one gray.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import TypeAlias

from fretpath.page.aloud import beat_in_bar, beat_name
from fretpath.page.html import with_signs, xml
from fretpath.page.rows import BLANK, Row, Subject, rows_named
from fretpath.page.tab import TAB_ROWS, bar_lines, changes_of

BOX = (8.6, 9.6)
"""Width and height of a box to write a degree such as ``b7,`` in, by hand."""
GRAY, LINE = "#555", "#707070"

_LEAD, _TAIL = 5.5, 1.5
_WIDEST_BEAT = 24.0
_ROOMY_GAP = 8.0
_HEIGHTS = {"bar": 3.8, "chord": 4.6, "count": 3.8, "degree": 6.2, "lyric": 4.6}
_SIZES = {"degree": 5.0, "chord": 3.6, "lyric": 3.4, "fret": 3.9}
_SMALL = 2.9
_STRONG = ("degree", "fret", "chord")
_TOP_LINE = ("bar", "ending", "position")

Bar: TypeAlias = range
"""The events of a bar, or of the part of one that stands in a phrase or a line."""


@dataclass(frozen=True)
class DrawnTab:
    """A tune as drawn systems of one width."""

    subject: Subject
    """The tune, and what of it is hidden."""
    rows: tuple[str, ...]
    """Names of the rows around it."""
    width: float = 180.0
    """Of a system, in mm."""
    most: int = 4
    """Bars a system at the most."""
    string_space: float = 3.6
    """From string to string."""

    @cached_property
    def systems(self) -> list[DrawnSystem]:
        """The systems, top to bottom; every phrase begins a new one."""
        melody = self.subject.melody
        found: list[DrawnSystem] = []
        for span in melody.spans(melody.phrases):
            shared = self._share_out(self._bars(span))
            scales = [self._scale(system) for system in shared]
            full = max(map(len, shared))
            usual = min(s for s, system in zip(scales, shared, strict=True) if len(system) == full)
            found += [
                DrawnSystem(self, system, min(scale, usual))
                for system, scale in zip(shared, scales, strict=True)
            ]
        return found

    # -- which rows ------------------------------------------------------------------------------

    @cached_property
    def shown(self) -> list[Row]:
        """The rows that have something to show, top to bottom."""
        rows = rows_named(self.rows, TAB_ROWS)
        return [row for row in rows if self.subject.fills(row) and not self.gone(row)]

    def gone(self, row: Row) -> bool:
        """Whether a row is hidden as a whole and not written in either."""
        return row.reveals in self.subject.hide.kinds and row.name != self.boxes

    @cached_property
    def boxes(self) -> str:
        """The row to write in: degree or note where it is hidden as a whole; empty for none."""
        hidden = self.subject.hide.kinds
        if "degree" in hidden and self.subject.melody.key:
            return "degree"
        return "note" if "pitch" in hidden else ""

    @cached_property
    def box_row(self) -> str:
        """The row whose blanks are boxes of full size: the one to write in, or the first under the
        tab where single notes are to be found."""
        if self.boxes or not self.subject.hide.some_notes:
            return self.boxes
        return next((row.name for row in self.shown if row.reveals and not row.above), "")

    @cached_property
    def strings(self) -> int:
        """Strings drawn: none where everything is to be found by ear."""
        arrangement = self.subject.arrangement
        if arrangement is None or ("place" in self.subject.hide.kinds and self.boxes):
            return 0
        return len(arrangement.instrument.strings)

    @property
    def string_gap(self) -> float:
        """From string to string; wide enough to write frets where they are hidden."""
        return _ROOMY_GAP if "place" in self.subject.hide.kinds else self.string_space

    @cached_property
    def starts(self) -> set[int]:
        """Events that begin a bar."""
        return {0, *self.subject.melody.bars}

    @cached_property
    def changes(self) -> dict[int, list[str]]:
        """Event to the key and meter that begin there; keys only where they tell nothing hidden."""
        told = not {"degree", "pitch"} & self.subject.hide.kinds
        return changes_of(self.subject.melody, keys=told)

    # -- widths ----------------------------------------------------------------------------------

    @cached_property
    def least(self) -> list[float]:
        """The least width of each event."""
        return [self._least(event) for event in range(len(self.subject.melody))]

    def _least(self, event: int) -> float:
        if not self.subject.melody.notes[event].struck:
            return 6.0
        widths = [text_width(row.name, self.token(row, event)) for row in self.shown]
        blank = self.boxes or self.subject.hide.hides_note(self.subject.number[event])
        return max(*widths, BOX[0] if blank else 5.0) + 1.6

    def token(self, row: Row, event: int) -> str:
        """The words of a row at an event; of the count only the beat it begins on."""
        if row.name == "count":
            return self._beat(event) if self.subject.melody.has_rhythm else ""
        return self.subject.token(row, event)

    def _beat(self, event: int) -> str:
        note = self.subject.melody.notes[event]
        beat = beat_name(beat_in_bar(self.subject.melody, event))
        return f"[{beat}]" if note.pitch is None else "" if note.tied else beat

    def _bars(self, span: range) -> list[Bar]:
        marks = [mark for mark in self.subject.melody.bars if span.start < mark < span.stop]
        bars = [range(a, b) for a, b in pairwise([span.start, *marks, span.stop])]
        return [part for bar in bars for part in self._parts(bar)]

    def _parts(self, bar: Bar) -> Iterator[Bar]:
        """A bar that is wider than a line, in parts."""
        start, used = bar.start, _LEAD + _TAIL
        for event in bar:
            if event > start and used + self.least[event] > self.width:
                yield range(start, event)
                start, used = event, _LEAD + _TAIL
            used += self.least[event]
        yield range(start, bar.stop)

    def _share_out(self, bars: list[Bar]) -> list[list[Bar]]:
        """As many bars in each system, as few systems as have room."""
        lead = self._upbeat(bars[0])
        fewest = max(1, -(-(len(bars) - lead) // self.most))
        for count in range(fewest, len(bars) + 1):
            each = max(1, -(-(len(bars) - lead) // count))
            stops = [0, *range(each + lead, len(bars), each), len(bars)]
            systems = [bars[a:b] for a, b in pairwise(stops)]
            if all(self._fits(system) for system in systems):
                return systems
        return [[bar] for bar in bars]

    def _upbeat(self, bar: Bar) -> int:
        """1 for a bar that only leads into the next, which no system counts."""
        melody = self.subject.melody
        meter = melody.meter_at(bar.start)
        beats = sum(melody.notes[event].beats for event in bar)
        return int(bool(melody.bars) and meter is not None and 2 * beats <= meter.beats)

    def _fits(self, system: Sequence[Bar]) -> bool:
        full = len(system) - self._upbeat(system[0])
        return full <= self.most and self.wide(system, 0.0) <= self.width

    def wide(self, system: Sequence[Bar], scale: float) -> float:
        """The width of bars at so many mm a beat."""
        return sum(_LEAD + _TAIL + sum(self.spaces(bar, scale)) for bar in system)

    def spaces(self, bar: Bar, scale: float) -> list[float]:
        """The width of each event of a bar at so many mm a beat."""
        notes = self.subject.melody.notes
        return [max(self.least[event], scale * float(notes[event].beats)) for event in bar]

    def _scale(self, system: Sequence[Bar]) -> float:
        """The largest number of mm a beat at which bars have room in a line."""
        low, high = 0.0, _WIDEST_BEAT
        for _ in range(30):
            middle = (low + high) / 2
            low, high = (middle, high) if self.wide(system, middle) <= self.width else (low, middle)
        return low


@dataclass(frozen=True)
class DrawnSystem:
    """One line of music as a drawing."""

    tab: DrawnTab
    """The tab of which it is a line."""
    bars: list[Bar] = field(hash=False)
    """Its bars, left to right."""
    scale: float
    """Mm a beat."""

    @cached_property
    def height(self) -> float:
        """In mm."""
        return self._levels["end"]

    @cached_property
    def _levels(self) -> dict[str, float]:
        """Row to the middle of its line, in mm from the top; ``string`` and ``end`` too."""
        names = [row.name for row in self.tab.shown]
        levels, y = {}, 0.5
        above = ["bar"] if any(name in _TOP_LINE for name in names) else []
        above += [name for name in ("chord", "count") if name in names]
        for name in above:
            levels[name] = y + _HEIGHTS[name] / 2
            y += _HEIGHTS[name]
        if self.tab.strings:
            levels["string"] = y + 1.8
            y += 4.6 + self.tab.string_gap * (self.tab.strings - 1)
        for name in names:
            if name not in (*_TOP_LINE, "chord", "count"):
                height = BOX[1] + 1 if name == self.tab.box_row else _HEIGHTS.get(name, 3.8)
                levels[name] = y + height / 2
                y += height
        return levels | {"end": y + 0.6}

    @cached_property
    def _places(self) -> tuple[dict[int, tuple[float, float]], list[tuple[float, int]], float]:
        """Event to middle and end of its column; (x, event) of each bar line; the right end."""
        x = 0.4
        columns: dict[int, tuple[float, float]] = {}
        lines: list[tuple[float, int]] = []
        for bar in self.bars:
            lines.append((x, bar.start))
            x += _LEAD
            for event, space in zip(bar, self.tab.spaces(bar, self.scale), strict=True):
                columns[event] = x + self.tab.least[event] / 2 - 0.8, x + space
                x += space
            x += _TAIL
        return columns, lines, x

    @property
    def svg(self) -> str:
        """The drawing, hidden from screen readers: the words say the same."""
        width, height = f"{self.tab.width + 1:g}", f"{self.height:.1f}"
        parts = [
            f'<svg class="system" aria-hidden="true" xmlns="http://www.w3.org/2000/svg" '
            f'viewBox="0 0 {width} {height}" width="{width}mm" height="{height}mm" '
            f'font-family="Charter, Georgia, serif" font-size="{_SMALL:g}" fill="{GRAY}" '
            f'text-anchor="middle">',
            *self._strings(),
            *self._bar_lines(),
            *(part for row in self.tab.shown for part in self._row(row)),
            *self._numbers(),
            "</svg>",
        ]
        return "\n".join(parts)

    def _strings(self) -> Iterator[str]:
        if not self.tab.strings:
            return
        right = self._places[2]
        for number in range(self.tab.strings):
            y = self._levels["string"] + number * self.tab.string_gap
            yield _line(0.4, y, right, y, 0.18, LINE)

    def _bar_lines(self) -> Iterator[str]:
        _, lines, right = self._places
        signs = {len(self.tab.subject.melody): "||", **bar_lines(self.tab.subject.melody)}
        top, low = self._span()
        for number, (x, event) in enumerate(lines):
            sign = signs.get(event, "|")
            if number == 0:
                sign = "|:" if sign.endswith(":") else "|"
            yield from _bar_line(x, top, low, sign)
        sign = signs.get(self.bars[-1].stop, "|").removesuffix(":")
        yield from _bar_line(right, top, low, sign)

    def _span(self) -> tuple[float, float]:
        """Top and bottom of the bar lines."""
        if self.tab.strings:
            top = self._levels["string"]
            return top, top + (self.tab.strings - 1) * self.tab.string_gap
        middle = self._levels.get(self.tab.boxes or "degree", self.height / 2)
        return middle - BOX[1] / 2, middle + BOX[1] / 2

    def _row(self, row: Row) -> Iterator[str]:
        columns, lines, _ = self._places
        level = self._levels["bar" if row.name in _TOP_LINE else row.name]
        if row.name == "bar":
            numbers = self.tab.subject.melody.bar_numbers
            for x, event in lines:
                words = [str(numbers[event])] if event in self.tab.starts else []
                told = "  ".join([*words, *self.tab.changes.get(event, ())])
                yield _text(x - 0.3, level, with_signs(told), _SMALL, gray=True, start=True)
            return
        for event, (x, end) in columns.items():
            token = self.tab.token(row, event)
            if row.name == self.tab.boxes:
                yield from self._box_and_line(event, x, end, level)
            elif token == BLANK:
                yield from _box(x, level) if row.name == self.tab.box_row else ()
            elif token:
                strong = row.name in _STRONG
                size = _SIZES.get(row.name, _SMALL)
                yield _text(x, level, with_signs(token), size, bold=strong, gray=not strong)
            elif row.name == "degree" and not self.tab.subject.melody.notes[event].struck:
                held = self.tab.subject.melody.notes[event].tied
                yield _text(x, level, "\u2013" if held else "r", 3.2, gray=True)

    def _box_and_line(self, event: int, x: float, end: float, level: float) -> Iterator[str]:
        """A box, and a line as long as the note sounds on."""
        note = self.tab.subject.melody.notes[event]
        if note.pitch is None:
            return
        begin = x + BOX[0] / 2 if note.struck else x - 2.2
        if note.struck:
            yield from _box(x, level)
        if end - begin > 2.5:
            yield _line(begin + 0.6, level, end - 0.8, level, 0.18, LINE)

    def _numbers(self) -> Iterator[str]:
        """The frets on their strings."""
        subject = self.tab.subject
        if not self.tab.strings or subject.arrangement is None:
            return
        for event, (x, _) in self._places[0].items():
            note = subject.number.get(event)
            if note is None or subject.hide.hides("place", note):
                continue
            fingering = subject.arrangement.fingerings[note]
            y = self._levels["string"] + (fingering.string - 1) * self.tab.string_gap
            wide = 2.9 * len(str(fingering.fret))
            yield (
                f'<rect x="{x - wide / 2:.2f}" y="{y - 1.6:.2f}" width="{wide:.2f}" '
                f'height="3.2" fill="white"/>'
            )
            number = _text(x, y, str(fingering.fret), _SIZES["fret"], bold=True)
            yield number.replace("<text", '<text font-family="sans-serif" class="fret"')


def text_width(row: str, token: str) -> float:
    """About how wide a token is in its row, in mm."""
    return 0.58 * _SIZES.get(row, _SMALL) * len(token)


def _box(x: float, y: float) -> Iterator[str]:
    yield (
        f'<rect class="box" x="{x - BOX[0] / 2:.2f}" y="{y - BOX[1] / 2:.2f}" width="{BOX[0]:g}" '
        f'height="{BOX[1]:g}" fill="none" stroke="black" stroke-width="0.25"/>'
    )


def _bar_line(x: float, top: float, low: float, sign: str) -> Iterator[str]:
    """A bar line, a double bar at the end, or a repeat sign."""
    begins, ends = sign.endswith(":"), sign.startswith(":")
    if sign == "||" or ends:
        yield _line(x - 1.6, top, x - 1.6, low, 0.25)
        yield _line(x - 0.3, top, x - 0.3, low, 0.9)
    elif begins:
        yield _line(x + 0.3, top, x + 0.3, low, 0.9)
        yield _line(x + 1.6, top, x + 1.6, low, 0.25)
    else:
        yield _line(x, top, x, low, 0.25)
    middle = (top + low) / 2
    for at in [x - 2.6] * ends + [x + 2.6] * begins:
        for y in (middle - 1.6, middle + 1.6):
            yield f'<circle cx="{at:.2f}" cy="{y:.2f}" r="0.5" fill="black"/>'


def _line(x1: float, y1: float, x2: float, y2: float, thick: float, color: str = "black") -> str:
    ends = f'x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}"'
    return f'<line {ends} stroke="{color}" stroke-width="{thick:g}"/>'


def _text(
    x: float,
    y: float,
    words: str,
    size: float,
    *,
    bold: bool = False,
    gray: bool = False,
    start: bool = False,
) -> str:
    """Writing; small, gray and in the middle is what the drawing has unless told."""
    style = "" if size == _SMALL else f' font-size="{size:g}"'
    style += ' font-weight="bold"' if bold else ""
    style += "" if gray else ' fill="black"'
    style += ' text-anchor="start"' if start else ""
    return f'<text x="{x:.2f}" y="{y + 0.35 * size:.2f}"{style}>{xml(words)}</text>'
