"""The neck chart: a stretch of the neck with marks on it, as plain text and as a drawing.

**Theory.**  Fret n stands at d(n) = L * (1 - 2 ** (-n / 12)) from the nut.  The drawing keeps that
proportion, scaled so that the narrowest fret shown has room for a mark.

**Conventions.**  String 1 is the top line, the nut is on the left (a left-handed view puts it on
the right; the strings keep their order).  Frets count from the capo, 0 is open.  The tonic stands
in square brackets, in the drawing in a filled square.  A melody numbers its notes from 1; a place
that is played more than once carries all its numbers.

As text: one line a string; a cell a fret, its line (``|``, the nut ``||``) on the side away from
the nut; an empty mark is ``o``.  A chart too wide for the page goes on in another panel.

As a drawing: black on white, nothing told by color alone.  Lengths in user units of SVG 1.1, y
downwards; five frets stay legible when 300 pixels show them, twelve at 600.  A mark is an open
circle; a thin line with arrows follows a melody, and small numbers under the marks count a short
one.  Dots under the neck are those of its frets (3, 5, 7, 9, 12 and an octave up).  A short string
begins at its fret.  Title and description (the same in text) come first, for those who listen to
the page.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

from fretpath.errors import RequestError
from fretpath.neck.arrangement import position_sign
from fretpath.neck.instrument import Instrument
from fretpath.page.html import with_signs, xml
from fretpath.page.tables import wrap
from fretpath.values import Value

SPACINGS = ("neck", "even")
"""Frets as on the instrument, or all of one width."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One place on the neck."""

    string: int
    """String number, 1 is the top line."""
    fret: int
    """Fret, 0 is open."""
    label: str
    """Its word; empty for a blank to fill in."""
    tonic: bool = False
    """Whether it is the tonic (or the root), drawn in a square."""
    steps: tuple[int, ...] = ()
    """Numbers (from 1) of the melody's notes played here."""


@dataclass(frozen=True)
class Chart(Value):
    """A stretch of the neck that shows itself: as text (``str(chart)``) and as a drawing."""

    title: str
    """The subject of the chart, in words."""
    instrument: Instrument
    """The neck."""
    marks: tuple[Mark, ...]
    """Every place on the neck, by string, then fret; also those beyond the frets shown."""
    first: int
    """Lowest fret shown; 0 shows the open strings."""
    last: int
    """Highest fret shown."""
    label: str = "degree"
    """The word on the marks: ``degree``, ``note`` or ``finger``."""
    positions: tuple[tuple[int, int], ...] = ()
    """(note number from 1, position of the hand from there) for a melody."""
    scale: str = ""
    """The scale of a melody's notes, as far as it is told; empty where the title names it."""
    home: str = "tonic"
    """The meaning of a square: the ``tonic``, or the ``root`` of a chord."""
    description: str = ""
    """The text that stands for the drawing: a melody's tab; empty for the chart as text."""
    left_handed: bool = False
    """Whether the nut is on the right; the writing stays as it is."""

    @property
    def shown(self) -> tuple[Mark, ...]:
        """The marks on the frets shown."""
        return tuple(mark for mark in self.marks if self.first <= mark.fret <= self.last)

    @property
    def shows_home(self) -> bool:
        """Whether the tonic (or the root) is among them."""
        return any(mark.tonic for mark in self.shown)

    @property
    def path(self) -> dict[int, Mark]:
        """Number of each of the melody's notes to its mark, shown or not, in order."""
        return dict(sorted((step, mark) for mark in self.marks for step in mark.steps))

    def between(self, first: int, last: int) -> Self:
        """The same over other frets."""
        top = self.instrument.frets_free
        if not 0 <= first < last <= top:
            raise RequestError(
                f"the neck has frets 0 to {top} here; a range such as 0-{min(top, 5)} is meant, "
                f"not {first}-{last}"
            )
        return replace(self, first=first, last=last)

    def __str__(self) -> str:
        return render_chart(self)

    @property
    def svg(self) -> str:
        """The chart as a drawing, frets spaced as on the neck."""
        return chart_svg(self)

    def _repr_svg_(self) -> str:
        return self.svg


def check_spacing(spacing: str) -> None:
    """Raise :class:`RequestError` unless it is one of :data:`SPACINGS`."""
    if spacing not in SPACINGS:
        raise RequestError(f'frets are spaced "even" or "neck", not "{spacing[:40]}"')


# -- as text ---------------------------------------------------------------------------------------


def render_chart(chart: Chart, *, width: int = 80, spacing: str = "even") -> str:
    """The chart as plain text, in panels where the page is too narrow; ends with a newline.

    *spacing* is ``even`` or ``neck``.
    """
    check_spacing(spacing)
    names = chart.instrument.string_names
    margin = max(len(name) for name in names)
    columns = _columns(chart, spacing)
    panels = []
    for frets in _panels(chart, columns, width - margin - 4):
        panels.append("\n".join(_panel(chart, frets, columns, margin)))
    head = [*wrap(chart.title, width), *wrap(_legend(chart), width)]
    return "\n\n".join(["\n".join(head), *panels, *_path(chart, width)]) + "\n"


def _legend(chart: Chart) -> str:
    tuning = f"top line is string 1; marks show the {chart.label}"
    square = f"; [ ] is the {chart.home}" if chart.shows_home else ""
    capo = f"; capo at fret {chart.instrument.capo}" if chart.instrument.capo else ""
    return tuning + square + capo


def _columns(chart: Chart, spacing: str) -> dict[int, int]:
    """Characters for each fret, its line included."""
    words = dict.fromkeys(range(chart.first, chart.last + 1), 3)
    for mark in chart.shown:
        words[mark.fret] = max(words[mark.fret], len(_cell(mark)) + 1)
    if spacing == "even":
        widest = max(words.values()) + 1
        return {fret: widest if fret else widest + 1 for fret in words}
    reach = [2.0 ** (-(fret - 1) / 12) - 2.0 ** (-fret / 12) for fret in words]
    scale = max(words[fret] / size for fret, size in zip(words, reach, strict=True) if fret)
    return {
        fret: round(scale * size) + 1 if fret else words[fret] + 2
        for fret, size in zip(words, reach, strict=True)
    }


def _panels(chart: Chart, columns: dict[int, int], room: int) -> Iterator[list[int]]:
    panel: list[int] = []
    for fret in range(chart.first, chart.last + 1):
        if panel and sum(columns[f] for f in [*panel, fret]) > room:
            yield panel
            panel = []
        panel.append(fret)
    yield panel


def _panel(chart: Chart, frets: list[int], columns: dict[int, int], margin: int) -> Iterator[str]:
    cells = {(mark.string, mark.fret): _cell(mark) for mark in chart.shown}
    order = frets[::-1] if chart.left_handed else frets
    blank = " " * margin

    def row(parts: list[str], name: str) -> str:
        line = "".join(parts)
        edge = " " if frets[0] == 0 else "|" if name != blank else " "
        return f"{line}{edge} {name}" if chart.left_handed else f"{name.ljust(margin)} {edge}{line}"

    yield row([str(fret).center(columns[fret]) for fret in order], blank).rstrip()
    for string, name in enumerate(chart.instrument.string_names, start=1):
        parts = []
        for fret in order:
            fill = " " if _absent(chart, string, fret) or fret == 0 else "-"
            line = "|" if fret else "||"
            inside = cells.get((string, fret), "").center(columns[fret] - len(line), fill)
            parts.append(line + inside if chart.left_handed else inside + line)
        yield row(parts, name)


def _absent(chart: Chart, string: int, fret: int) -> bool:
    return chart.instrument.midi_at(string, fret) is None


def _cell(mark: Mark) -> str:
    word = mark.label or "o"
    return f"[{word}]" if mark.tonic else word


def _path(chart: Chart, width: int) -> list[str]:
    """The melody's path: string-fret, with the positions in round brackets."""
    if not chart.path:
        return []
    moves = dict(chart.positions)
    words = ["path:"]
    for step, mark in chart.path.items():
        if step in moves:
            words.append(f"({position_sign(chart.instrument, moves[step])})")
        words.append(f"{mark.string}-{mark.fret}")
    return ["\n".join(wrap(" ".join(words), width))]


# -- as a drawing ----------------------------------------------------------------------------------

DOTS = (3, 5, 7, 9, 12, 15, 17, 19, 21, 24)
"""Frets that a neck marks with a dot, counted from the nut."""

_RADIUS = 11.0
_NARROWEST = 2 * _RADIUS + 2
_LEAST_NECK, _A_FRET = 240.0, 40.0
_OPEN, _SIDE, _END = 34.0, 30.0, 14.0
_GAP, _STEP_ROW = 26.0, 10.0
_LINE = 17.0
_MOST_STEPS, _COUNTED = 6, 12


def chart_svg(chart: Chart, *, spacing: str = "neck", titled: bool = True) -> str:
    """The chart as one SVG element.

    *spacing* is ``neck`` (as on the instrument) or ``even``; *titled* writes the title into the
    picture.
    """
    check_spacing(spacing)
    drawing = ChartDrawing(chart, spacing == "neck", titled)
    return "\n".join(drawing.elements()) + "\n"


@dataclass(frozen=True)
class ChartDrawing:
    """A chart with its measures in user units."""

    chart: Chart
    """The chart to draw."""
    by_length: bool = True
    """Whether frets stand as on the neck, or evenly."""
    titled: bool = True
    """Whether the picture carries the title."""

    def elements(self) -> Iterator[str]:
        """The drawing, element by element."""
        chart = self.chart
        width, height = f"{self.width:.0f}", f"{self.height:.0f}"
        yield (
            f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width} {height}" '
            f'width="{width}" height="{height}" font-family="sans-serif" font-size="14">'
        )
        yield f"<title>{xml(chart.title)}</title>"
        yield f"<desc>{xml(chart.description or render_chart(chart))}</desc>"
        yield f'<rect width="{width}" height="{height}" fill="white"/>'
        yield from self._words()
        yield from self._strings()
        yield from self._fret_lines()
        yield from self._dots()
        yield from self._path()
        for mark in chart.shown:
            yield from self._mark(mark)
        yield "</svg>"

    # -- measures --------------------------------------------------------------------------------

    @property
    def edge(self) -> int:
        """The fret line at the left end of the neck shown."""
        return max(self.chart.first - 1, 0)

    @cached_property
    def _unit(self) -> float:
        """User units a mm of the neck."""
        place, last = self.chart.instrument.distance, self.chart.last
        length = place(last) - place(self.edge)
        wanted = max(_LEAST_NECK, _A_FRET * (last - self.edge))
        return max(wanted / length, _NARROWEST / (place(last) - place(last - 1)))

    def distance(self, fret: int) -> float:
        """Units from the left end of the neck shown to a fret line."""
        if not self.by_length:
            even = max(_A_FRET, _LEAST_NECK / (self.chart.last - self.edge))
            return even * (fret - self.edge)
        place = self.chart.instrument.distance
        return self._unit * (place(fret) - place(self.edge))

    @property
    def _start(self) -> float:
        return _SIDE + (_OPEN if self.chart.first == 0 else 0.0)

    @property
    def width(self) -> float:
        """Of the whole picture."""
        return self._start + self.distance(self.chart.last) + _END

    @property
    def height(self) -> float:
        """Of the whole picture."""
        return self._below + 34

    @property
    def _below(self) -> float:
        """Under the marks of the last string and their numbers."""
        return self._low + _RADIUS + (self._gap - _GAP) + 4

    @property
    def _low(self) -> float:
        return self.y(len(self.chart.instrument.strings))

    def x(self, fret: int) -> float:
        """Where a fret line stands."""
        return self._mirror(self._start + self.distance(fret))

    def middle(self, string: int, fret: int) -> float:
        """Where a mark stands; an open string before the fret at which it begins."""
        nut = self.chart.instrument.strings[string - 1].nut
        if fret == 0:
            edge = self._start + (self.distance(nut) if 0 < nut < self.chart.last else 0.0)
            return self._mirror(edge - _OPEN / 2 - 1)
        return (self.x(fret - 1) + self.x(fret)) / 2

    def _mirror(self, x: float) -> float:
        return self.width - x if self.chart.left_handed else x

    @cached_property
    def _counted(self) -> bool:
        """Whether marks carry the numbers of the notes: in a short melody only."""
        return sum(len(mark.steps) for mark in self.chart.marks) <= _COUNTED

    @cached_property
    def _gap(self) -> float:
        """Units from string to string: more where marks carry several rows of numbers."""
        return _GAP + _STEP_ROW * max((len(self._steps(m)) for m in self.chart.shown), default=0)

    def y(self, string: int) -> float:
        """Where a string lies."""
        return 8 + _LINE * len(self._lines) + _RADIUS + self._gap * (string - 1)

    # -- parts -----------------------------------------------------------------------------------

    @cached_property
    def _lines(self) -> list[str]:
        """The words in the picture: title, scale, what the marks mean."""
        chart = self.chart
        told = [chart.scale] if chart.scale else []
        if chart.shows_home:
            told.append(f"filled square: the {chart.home}")
        if self._counted and any(mark.steps for mark in chart.shown):
            told.append("small numbers: the order of the notes")
        moves = [
            f"{position_sign(chart.instrument, position)} from note {step}"
            for step, position in chart.positions
        ]
        told += ["position " + ", ".join(moves)] * bool(moves and self._counted)
        text = [chart.title] * self.titled + ["; ".join(told)] * bool(told)
        most = max(24, int(self.width / 6.6))
        return [with_signs(line) for words in text for line in wrap(words, most)]

    def _words(self) -> Iterator[str]:
        for number, words in enumerate(self._lines):
            bold = self.titled and number == 0
            size = 14 if bold else 12
            yield _text(4, _LINE * (number + 1) - 2, words, size=size, bold=bold, anchor="start")

    def _strings(self) -> Iterator[str]:
        instrument, end = self.chart.instrument, self.x(self.chart.last)
        named = zip(instrument.strings, instrument.string_names, strict=True)
        for number, (string, name) in enumerate(named, start=1):
            y, thick = self.y(number), 0.8 + 0.25 * number
            yield _text(self._mirror(12), y + 5, with_signs(name))
            if string.nut < self.chart.last:
                yield _line("string", self.x(max(self.edge, string.nut)), y, end, y, thick)

    def _fret_lines(self) -> Iterator[str]:
        for fret in range(self.edge, self.chart.last + 1):
            thick = 6.0 if fret == 0 else 1.4
            yield _line("fret", self.x(fret), self.y(1), self.x(fret), self._low, thick)

    def _dots(self) -> Iterator[str]:
        """Dots and numbers under the frets that have them, and a number under the first."""
        below, capo = self._below, self.chart.instrument.capo
        for fret in range(max(self.chart.first, 1), self.chart.last + 1):
            x = (self.x(fret - 1) + self.x(fret)) / 2
            if fret + capo in DOTS:
                for side in (-5, 5) if (fret + capo) % 12 == 0 else (0,):
                    yield f'<circle class="dot" cx="{x + side:.2f}" cy="{below + 8:.2f}" r="3"/>'
            if fret + capo in DOTS or fret == self.chart.first:
                yield _text(x, below + 28, str(fret), size=12)

    def _path(self) -> Iterator[str]:
        """A thin line from place to place, its arrow half way; each way is drawn once."""
        shown = set(self.chart.shown)
        path = {step: mark for step, mark in self.chart.path.items() if mark in shown}
        steps = [
            (here, path[step + 1])
            for step, here in path.items()
            if step + 1 in path and path[step + 1] is not here
        ]
        for here, there in dict.fromkeys(steps):
            yield from self._arrow(here, there)

    def _arrow(self, here: Mark, there: Mark) -> Iterator[str]:
        x1, y1 = self.middle(here.string, here.fret), self.y(here.string)
        x2, y2 = self.middle(there.string, there.fret), self.y(there.string)
        yield _line("path", x1, y1, x2, y2, 0.7)
        angle = math.atan2(y2 - y1, x2 - x1)
        length = math.hypot(x2 - x1, y2 - y1)
        tip = max(length / 2 + 4, length - _RADIUS - 3)
        at = [(tip, 0.0), (tip - 7, 3.0), (tip - 7, -3.0)]
        points = " ".join(
            f"{x1 + along * math.cos(angle) - aside * math.sin(angle):.1f},"
            f"{y1 + along * math.sin(angle) + aside * math.cos(angle):.1f}"
            for along, aside in at
        )
        yield f'<polygon class="arrow" points="{points}"/>'

    def _mark(self, mark: Mark) -> Iterator[str]:
        x, y, r = self.middle(mark.string, mark.fret), self.y(mark.string), _RADIUS
        if mark.tonic:
            box = f'x="{x - r:.2f}" y="{y - r:.2f}" width="{2 * r:.0f}" height="{2 * r:.0f}"'
            yield f'<rect class="tonic" {box} fill="black"/>'
        else:
            style = 'fill="white" stroke="black" stroke-width="1.6"'
            yield f'<circle class="mark" cx="{x:.2f}" cy="{y:.2f}" r="{r:.0f}" {style}/>'
        if mark.label:
            size = 13 if len(mark.label) < 3 else 11
            label = with_signs(mark.label)
            yield _text(x, y + 4.5, label, size=size, bold=True, white=mark.tonic)
        for row, words in enumerate(self._steps(mark)):
            yield _text(x, y + r + _STEP_ROW * (row + 1), words, size=10, halo=True)

    def _steps(self, mark: Mark) -> list[str]:
        """The numbers under a mark in rows of at most nine characters."""
        if not self._counted or not mark.steps:
            return []
        more = ["..."] if len(mark.steps) > _MOST_STEPS else []
        words = [str(step) for step in mark.steps[:_MOST_STEPS]] + more
        return wrap(" ".join(words), 9)


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
    white: bool = False,
    anchor: str = "middle",
) -> str:
    weight = ' font-weight="bold"' if bold else ""
    paint = ' paint-order="stroke" stroke="white" stroke-width="3"' if halo else ""
    fill = ' fill="white"' if white else ""
    place = f'x="{x:.2f}" y="{y:.2f}" font-size="{size}" text-anchor="{anchor}"'
    return f"<text {place}{weight}{paint}{fill}>{xml(words)}</text>"
