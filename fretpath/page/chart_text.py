"""A stretch of the neck with marks on it, and the same as plain text.

**Conventions.**  One line a string, string 1 on top; a cell a fret, its line (``|``, the nut
``||``) on the side away from the nut.  The tonic stands in square brackets, an empty mark is
``o``.  A chart too wide for the page goes on in another panel.  String 1 is the top line; frets
count from the capo, 0 is open.  A melody numbers its notes from 1; a place that is played more
than once carries all its numbers.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Self

from fretpath.errors import RequestError
from fretpath.neck.arrangement import position_sign
from fretpath.neck.instrument import Instrument
from fretpath.page.tables import wrapped
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
    """What it carries; empty for a blank to fill in."""
    tonic: bool = False
    """Whether it is the tonic (or the root), drawn in a square."""
    steps: tuple[int, ...] = ()
    """Numbers (from 1) of the melody's notes played here."""


@dataclass(frozen=True)
class MarkedNeck(Value):
    """A stretch of the neck with its marks."""

    title: str
    """What the chart shows, in words."""
    instrument: Instrument
    """The neck."""
    marks: tuple[Mark, ...]
    """Every place on the neck, by string, then fret; also those beyond the frets shown."""
    first: int
    """Lowest fret shown; 0 shows the open strings."""
    last: int
    """Highest fret shown."""
    label: str = "degree"
    """What the marks carry: ``degree``, ``note`` or ``finger``."""
    positions: tuple[tuple[int, int], ...] = ()
    """(note number from 1, position of the hand from there) for a melody."""
    scale: str = ""
    """The scale of a melody's notes, as far as it is told; empty where the title names it."""
    home: str = "tonic"
    """What a square marks: the ``tonic``, or the ``root`` of a chord."""
    description: str = ""
    """The text that stands for the drawing: a melody's tab; empty for the chart as text."""

    @property
    def shown(self) -> tuple[Mark, ...]:
        """The marks on the frets shown."""
        return tuple(mark for mark in self.marks if self.first <= mark.fret <= self.last)

    def between(self, first: int, last: int) -> Self:
        """The same over other frets."""
        top = self.instrument.frets_free
        if not 0 <= first < last <= top:
            raise RequestError(
                f"the neck has frets 0 to {top} here; a range such as 0-{min(top, 5)} is meant, "
                f"not {first}-{last}"
            )
        return replace(self, first=first, last=last)


def check_spacing(spacing: str) -> None:
    """Raise :class:`RequestError` unless it is one of :data:`SPACINGS`."""
    if spacing not in SPACINGS:
        raise RequestError(f'frets are spaced "even" or "neck", not "{spacing[:40]}"')


def render_chart(
    chart: MarkedNeck, *, width: int = 80, spacing: str = "even", left_handed: bool = False
) -> str:
    """The chart as plain text, in panels where the page is too narrow; ends with a newline.

    *spacing* is ``even`` or ``neck``; *left_handed* puts the nut on the right.
    """
    check_spacing(spacing)
    names = chart.instrument.string_names
    margin = max(len(name) for name in names)
    columns = _columns(chart, spacing)
    panels = []
    for frets in _panels(chart, columns, width - margin - 4):
        panels.append("\n".join(_panel(chart, frets, columns, margin, left_handed)))
    head = [*wrapped(chart.title, width), *wrapped(_explained(chart), width)]
    return "\n\n".join(["\n".join(head), *panels, *_path(chart, width)]) + "\n"


def _explained(chart: MarkedNeck) -> str:
    tuning = f"top line is string 1; marks show the {chart.label}"
    square = f"; [ ] is the {chart.home}" if any(mark.tonic for mark in chart.shown) else ""
    capo = f"; capo at fret {chart.instrument.capo}" if chart.instrument.capo else ""
    return tuning + square + capo


def _columns(chart: MarkedNeck, spacing: str) -> dict[int, int]:
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


def _panels(chart: MarkedNeck, columns: dict[int, int], room: int) -> Iterator[list[int]]:
    panel: list[int] = []
    for fret in range(chart.first, chart.last + 1):
        if panel and sum(columns[f] for f in [*panel, fret]) > room:
            yield panel
            panel = []
        panel.append(fret)
    yield panel


def _panel(
    chart: MarkedNeck, frets: list[int], columns: dict[int, int], margin: int, left_handed: bool
) -> Iterator[str]:
    cells = {(mark.string, mark.fret): _cell(mark) for mark in chart.shown}
    order = frets[::-1] if left_handed else frets
    blank = " " * margin

    def row(parts: list[str], name: str) -> str:
        line = "".join(parts)
        edge = " " if frets[0] == 0 else "|" if name != blank else " "
        return f"{line}{edge} {name}" if left_handed else f"{name.ljust(margin)} {edge}{line}"

    yield row([str(fret).center(columns[fret]) for fret in order], blank).rstrip()
    for string, name in enumerate(chart.instrument.string_names, start=1):
        parts = []
        for fret in order:
            fill = " " if _absent(chart, string, fret) or fret == 0 else "-"
            line = "|" if fret else "||"
            inside = cells.get((string, fret), "").center(columns[fret] - len(line), fill)
            parts.append(line + inside if left_handed else inside + line)
        yield row(parts, name)


def _absent(chart: MarkedNeck, string: int, fret: int) -> bool:
    return chart.instrument.midi_at(string, fret) is None


def _cell(mark: Mark) -> str:
    word = mark.label or "o"
    return f"[{word}]" if mark.tonic else word


def _path(chart: MarkedNeck, width: int) -> list[str]:
    """The melody's path: string-fret, with the positions in round brackets."""
    places = {step: mark for mark in chart.marks for step in mark.steps}
    if not places:
        return []
    moves = dict(chart.positions)
    words = ["path:"]
    for step in sorted(places):
        if step in moves:
            words.append(f"({position_sign(chart.instrument, moves[step])})")
        words.append(f"{places[step].string}-{places[step].fret}")
    return ["\n".join(wrapped(" ".join(words), width))]
