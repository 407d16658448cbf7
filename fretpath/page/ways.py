"""Ways to play a melody side by side, and the reasons for one of them, as text and data.

**Conventions.**  Effort and its parts are in mm-equivalents, lengths in mm.  A place is the name of
the string and the fret, with the finger in round brackets: ``E7 (2)``.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from fretpath.neck.alternatives import Reason, describe
from fretpath.neck.arrangement import Arrangement, Fingering
from fretpath.neck.figures import Figures

__all__ = ["reasons_data", "render_reasons", "render_ways"]


def render_ways(ways: Sequence[Arrangement]) -> str:
    """A table of ways with their figures, best first; distances in mm, effort in mm-equivalents."""
    lines = ["  effort  travel  shifts  longest  stretch  crossed  open"]
    for number, way in enumerate(ways, start=1):
        lines.append(f"{number}. {describe(way)}")
        lines.append(_figures(way.figures, way.effort))
    return "\n".join(lines) + "\n"


def _figures(figures: Figures, effort: float) -> str:
    return (
        f"{effort:8.0f}{figures.travel:8.0f}{figures.shifts:8d}{figures.longest_shift:9.0f}"
        f"{figures.widest_stretch:9.0f}{figures.strings_crossed:9d}{figures.open_strings:6d}"
    )


def render_reasons(arrangement: Arrangement, reasons: Sequence[Reason]) -> str:
    """A line for each note: what it costs here, and what the next best place would cost more."""
    names = arrangement.instrument.string_names
    lines = [
        "each note with its place (finger), the next best place and what it would add,",
        "and what this place costs (effort, counted as --weights does)",
    ]
    for reason, pitch in zip(reasons, arrangement.melody.pitches, strict=True):
        here = _place(reason.here, names)
        parts = ", ".join(f"{name} {value:.1f}" for name, value in reason.parts.items())
        other = (
            f"{_place(reason.instead, names)} {reason.extra:+.1f}"
            if reason.instead and reason.extra is not None
            else "no other place"
        )
        lines.append(f"{reason.note:>4} {pitch!s:<4} {here:<9} {other:<17} {parts or 'free'}")
    return "\n".join([*lines, *_meanings(reasons)]) + "\n"


_MEANINGS = {
    "shift": "the hand along the neck",
    "across": "from string to string",
    "open": "an open string",
    "extension": "a finger off its fret",
    "little": "the little finger",
    "reach": "a wide span",
    "region": "far from the middle of the neck",
    "outer": "an outermost string",
}


def _meanings(reasons: Sequence[Reason]) -> list[str]:
    """The words of the costs that occur, explained."""
    told = [name for name in _MEANINGS if any(name in reason.parts for reason in reasons)]
    text = "; ".join(f"{name}: {_MEANINGS[name]}" for name in told)
    return ["", *textwrap.wrap(text, 80)] if told else []


def _place(fingering: Fingering, names: Sequence[str]) -> str:
    """A place as a player says it: string, fret and finger, such as ``A9 (4)``."""
    return f"{names[fingering.string - 1]}{fingering.fret} ({fingering.finger})"


def reasons_data(reasons: Sequence[Reason]) -> list[dict[str, Any]]:
    """The reasons as plain data."""
    return [{**asdict(reason), "total": reason.total} for reason in reasons]
