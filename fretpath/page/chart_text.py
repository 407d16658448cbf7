"""The neck chart as plain text.

**Conventions.**  One line a string, string 1 on top; a cell a fret, its line (``|``, the nut
``||``) on the side away from the nut.  The tonic stands in square brackets, an empty mark is
``o``.  A chart too wide for the page goes on in another panel.
"""

from __future__ import annotations

from collections.abc import Iterator

from fretpath.neck.figures import roman
from fretpath.page.marks import Mark, MarkedNeck, check_spacing
from fretpath.page.tables import wrapped


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
            words.append(f"({roman(moves[step])})")
        words.append(f"{places[step].string}-{places[step].fret}")
    return ["\n".join(wrapped(" ".join(words), width))]
