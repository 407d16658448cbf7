"""The neck chart as a drawing: black on white, nothing told by colour alone.

**Theory.**  Fret n stands at d(n) = L * (1 - 2 ** (-n / 12)) from the nut.  The drawing keeps that
proportion, scaled so that the narrowest fret shown has room for a mark.

**Conventions.**  Lengths in user units of SVG 1.1, y downwards.  A mark is a circle, the tonic a
square; the small numbers under a mark are the melody's notes in order.  Title and description
(the same in text) come first, for those who listen to the page.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape

from fretpath.neck.figures import roman
from fretpath.page.chart_text import render_chart
from fretpath.page.marks import Mark, MarkedNeck, check_spacing

_NARROWEST = 42.0
_WITH_STEPS = 54.0
_EVEN = 54.0
_OPEN = 40.0
_GAP = 44.0
_TOP = 26.0
_SIDE = 34.0
_RADIUS = 13.0
_STEP_ROW = 10.0
_MOST_STEPS = 6


def chart_svg(chart: MarkedNeck, *, spacing: str = "neck", left_handed: bool = False) -> str:
    """The chart as one SVG element.

    *spacing* is ``neck`` (as on the instrument) or ``even``; *left_handed* mirrors the neck and
    leaves the writing as it is.
    """
    check_spacing(spacing)
    return "\n".join(_Drawing(chart, spacing == "neck", left_handed).elements()) + "\n"


@dataclass(frozen=True)
class _Drawing:
    chart: MarkedNeck
    by_length: bool
    left_handed: bool

    def elements(self) -> Iterator[str]:
        chart = self.chart
        width, height = f"{self.width:.0f}", f"{self.height:.0f}"
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width} {height}" '
            f'width="{width}" height="{height}" font-family="sans-serif" font-size="14">'
        )
        yield f"<title>{_xml(chart.title)}</title>"
        yield f"<desc>{_xml(chart.description or render_chart(chart))}</desc>"
        yield f'<rect width="{width}" height="{height}" fill="white"/>'
        yield from self.strings()
        yield from self.fret_lines()
        yield from self.numbers()
        for mark in chart.shown:
            yield from self.mark(mark)
        yield from self.hand()
        yield "</svg>"

    # -- places ----------------------------------------------------------------------------------

    @property
    def edge(self) -> int:
        """The fret line at the left end of the neck shown."""
        return max(self.chart.first - 1, 0)

    def distance(self, fret: int) -> float:
        """Units from the left end of the neck shown to a fret line."""
        if not self.by_length:
            return _EVEN * (fret - self.edge)
        place = self.chart.instrument.distance
        last = self.chart.last
        narrowest = _WITH_STEPS if any(mark.steps for mark in self.chart.shown) else _NARROWEST
        scale = narrowest / (place(last) - place(last - 1))
        return scale * (place(fret) - place(self.edge))

    @property
    def start(self) -> float:
        return _SIDE + (_OPEN if self.chart.first == 0 else 0.0)

    @property
    def width(self) -> float:
        return self.start + self.distance(self.chart.last) + 14

    @property
    def height(self) -> float:
        return self.low + self.gap + 8 + 18 * len(self.caption)

    @property
    def low(self) -> float:
        return self.y(len(self.chart.instrument.strings))

    def x(self, fret: int) -> float:
        """Where a fret line stands."""
        return self.mirrored(self.start + self.distance(fret))

    def middle(self, fret: int) -> float:
        """Where a mark for a fret stands."""
        if fret == 0:
            return self.mirrored(self.start - _OPEN / 2 - 2)
        return (self.x(fret - 1) + self.x(fret)) / 2

    def mirrored(self, x: float) -> float:
        return self.width - x if self.left_handed else x

    @property
    def gap(self) -> float:
        """Units from string to string: more where marks carry several rows of numbers."""
        return _GAP + _STEP_ROW * max((len(_steps(mark)) for mark in self.chart.shown), default=0)

    def y(self, string: int) -> float:
        return _TOP + self.gap * (string - 1)

    # -- parts -----------------------------------------------------------------------------------

    def strings(self) -> Iterator[str]:
        instrument, end = self.chart.instrument, self.x(self.chart.last)
        named = zip(instrument.strings, instrument.string_names, strict=True)
        for number, (string, name) in enumerate(named, start=1):
            y, thick = self.y(number), 0.8 + 0.25 * number
            begin = self.x(max(self.edge, string.nut if string.nut <= self.chart.last else 0))
            yield _line("string", begin, y, end, y, thick)
            yield _text(self.mirrored(14), y + 5, name)

    def fret_lines(self) -> Iterator[str]:
        top, low = self.y(1), self.low
        for fret in range(self.edge, self.chart.last + 1):
            thick = 6.0 if fret == 0 else 1.4
            yield _line("fret", self.x(fret), top, self.x(fret), low, thick)

    def numbers(self) -> Iterator[str]:
        for fret in range(self.chart.first, self.chart.last + 1):
            yield _text(self.middle(fret), self.low + self.gap - 2, str(fret), size=12)

    def mark(self, mark: Mark) -> Iterator[str]:
        x, y, r = self.middle(mark.fret), self.y(mark.string), _RADIUS
        style = 'fill="white" stroke="black" stroke-width="1.6"'
        if mark.tonic:
            box = f'x="{x - r:.2f}" y="{y - r:.2f}" width="{2 * r:.0f}" height="{2 * r:.0f}"'
            yield f'<rect class="tonic" {box} {style}/>'
        else:
            yield f'<circle class="mark" cx="{x:.2f}" cy="{y:.2f}" r="{r:.0f}" {style}/>'
        if mark.label:
            yield _text(x, y + 5, mark.label, size=14 if len(mark.label) < 3 else 12, bold=True)
        for row, words in enumerate(_steps(mark)):
            yield _text(x, y + r + _STEP_ROW * (row + 1), words, size=9, halo=True)

    @property
    def caption(self) -> list[str]:
        moves = [f"{roman(position)} from note {step}" for step, position in self.chart.positions]
        if not moves:
            return []
        return textwrap.wrap("position " + ", ".join(moves), max(20, int(self.width / 6.4)))

    def hand(self) -> Iterator[str]:
        for row, words in enumerate(self.caption):
            yield _text(12, self.low + self.gap + 20 + 18 * row, words, size=12, anchor="start")


def _steps(mark: Mark) -> list[str]:
    """The numbers under a mark in rows of at most nine characters."""
    more = ["..."] if len(mark.steps) > _MOST_STEPS else []
    words = [str(step) for step in mark.steps[:_MOST_STEPS]] + more
    return textwrap.wrap(" ".join(words), 9)


def _xml(text: str) -> str:
    """Text as XML 1.0 may carry it (production Char): the few signs it forbids are replaced."""
    return escape(re.sub(r"[^\t\n\r\x20-\uD7FF\uE000-\uFFFD\U00010000-\U0010FFFF]", "\ufffd", text))


def _line(kind: str, x1: float, y1: float, x2: float, y2: float, thick: float) -> str:
    ends = f'x1="{x1:.3f}" y1="{y1:.2f}" x2="{x2:.3f}" y2="{y2:.2f}"'
    return f'<line class="{kind}" {ends} stroke="black" stroke-width="{thick:.2f}"/>'


def _text(
    x: float,
    y: float,
    words: str,
    *,
    size: int = 14,
    bold: bool = False,
    halo: bool = False,
    anchor: str = "middle",
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    paint = ' paint-order="stroke" stroke="white" stroke-width="3"' if halo else ""
    place = f'x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}"'
    return f"<text {place}{weight}{paint}>{_xml(words)}</text>"
