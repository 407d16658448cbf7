"""Ways to play a melody side by side, and the reasons for one of them, as text and data.

**Conventions.**  Effort and its parts have no unit, lengths are in mm.  A place is
string-fret, string 1 is the top line, with the finger in round brackets: ``4-7 (2)``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.terms import TERMS
from fretpath.neck.ways import Reason, set_apart
from fretpath.page.tables import table, wrapped


def render_ways(ways: Sequence[Arrangement]) -> str:
    """A table of ways with their figures, best first; the unit stands under each name."""
    head = ("way", "effort", "travel", "shifts", "longest", "stretch", "crossed", "open")
    units = ("", "", "mm", "", "mm", "mm", "strings", "notes")
    rows = [_figures(number, way) for number, way in enumerate(ways, start=1)]
    lines = table([units, *rows], head=head, align=8 * "r")
    told = [f"{number}. {text}" for number, text in enumerate(set_apart(ways), start=1)]
    return "\n".join([*lines, "effort has no unit; less is easier", "", *told]) + "\n"


def _figures(number: int, way: Arrangement) -> list[str]:
    figures = way.figures
    lengths = (way.effort, figures.travel, figures.longest_shift, figures.widest_stretch)
    effort, travel, longest, stretch = (f"{length:.0f}" for length in lengths)
    counts = (str(figures.shifts), str(figures.strings_crossed), str(figures.open_strings))
    shifts, crossed, opened = counts
    return [f"{number}.", effort, travel, shifts, longest, stretch, crossed, opened]


def render_reasons(arrangement: Arrangement, reasons: Sequence[Reason]) -> str:
    """A line for each note: what it costs here, and what the next best place would cost more."""
    lines = [
        "each note with its place (finger), the next best place and what it would add,",
        "and what this place costs (effort, counted as --weights does)",
    ]
    if any(reason.held for reason in reasons):
        lines[0] = "each note with its place (finger), the next best place and what it would add"
        lines[1] = "with all other notes held, and what this place costs (effort, as in --weights)"
    pitches = arrangement.melody.pitches
    rows = [_row(reason, str(pitch)) for reason, pitch in zip(reasons, pitches, strict=True)]
    return "\n".join([*lines, *table(rows, align="rllrl"), *_meanings(reasons)]) + "\n"


def _row(reason: Reason, pitch: str) -> tuple[str, ...]:
    parts = ", ".join(f"{name} {value:.1f}" for name, value in reason.parts.items())
    other = (
        f"{_place(reason.instead)} {reason.extra:+.1f}"
        if reason.instead and reason.extra is not None
        else "no other place"
    )
    return str(reason.note), pitch, _place(reason.here), other, parts or "free"


def _meanings(reasons: Sequence[Reason]) -> list[str]:
    """The words of the terms that occur, explained."""
    told = [term for term in TERMS if any(term.name in reason.parts for reason in reasons)]
    text = "; ".join(f"{term.name}: {term.words}" for term in told)
    return ["", *wrapped(text)] if told else []


def _place(fingering: Fingering) -> str:
    """A place as it is written everywhere, string-fret, and its finger: ``4-7 (2)``."""
    return f"{fingering.string}-{fingering.fret} ({fingering.finger})"


def reasons_data(reasons: Sequence[Reason]) -> list[dict[str, Any]]:
    """The reasons as plain data."""
    return [{**asdict(reason), "total": reason.total} for reason in reasons]
