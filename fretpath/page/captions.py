"""The words around a tab: header, legend and figures; ways to play it, and the reasons of one.

**Conventions.**  Lines of header and legend come unfolded; the page folds them to its width.
Positions are Roman numerals, note names sound as they say (C4 is middle C).  Ways stand side by
side: effort and its parts have no unit, lengths are in mm; a place is string-fret with the finger
in round brackets, ``4-7 (2)``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from itertools import groupby
from typing import TYPE_CHECKING, Any

from fretpath.music.melody import Melody
from fretpath.music.words import counted, plural
from fretpath.neck.arrangement import Arrangement, Figures, position_sign
from fretpath.neck.hand import Fingering
from fretpath.neck.instrument import Instrument
from fretpath.neck.terms import TERMS
from fretpath.page.aloud import count_marks, with_capitals
from fretpath.page.rows import BLANK
from fretpath.page.tables import table, wrap

if TYPE_CHECKING:
    from fretpath.neck.ways import Reason

_MOST_POSITIONS = 6

LEGENDS = ("none", "short", "full")
"""How much of what a page means is explained on it."""


def header_lines(
    arrangement: Arrangement, degrees: str = "major", legend: str = "full"
) -> list[str]:
    """Title and key, then as *legend* asks the instrument and what the names mean."""
    melody = arrangement.melody
    lines = [melody.title] if melody.title else []
    music = [f"key {keys_line(melody)}"]
    if melody.meter:
        music.append(f"meter {', '.join(str(m) for _, m in melody.meters)}")
    if melody.tempo:
        music.append(f"tempo {float(melody.tempo):g}")
    if melody.tonic:
        chosen = "octave chosen for the hand" if arrangement.octave_chosen else "octave as given"
        music.append(f"tonic {melody.tonic}" + f" ({chosen})" * (legend == "full"))
    lines.append("; ".join(music))
    if legend == "none":
        return lines
    lines.append(instrument_line(arrangement.instrument, scale=legend == "full"))
    if melody.key and (legend == "full" or degrees != "major"):
        lines.append(counted_against(degrees))
    if legend == "full":
        written = " (music for it is written an octave higher)" * bool(
            arrangement.instrument.written
        )
        lines.append(f"note names as they sound{written}")
    return lines


def legend_lines(
    melody: Melody, rows: Sequence[str], *, hidden: bool = False, legend: str = "full"
) -> list[str]:
    """The meaning of the signs, as far as the melody and the rows need them."""
    if legend == "none":
        return []
    lines: list[str] = []
    if legend == "full":
        fingers = "; fingers 1 (index) to 4" * ("finger" in rows)
        lines.append(f"numbers are frets, 0 is open; top line is string 1{fingers}")
    if "count" in rows and (counts := _count_signs(melody)):
        lines.append(f"count: {counts}")
    signs = ["r is a rest"] * any(note.pitch is None for note in melody.notes)
    signs += ["- holds the note before"] * any(note.tied for note in melody.notes)
    signs += [f"{BLANK} is for you to fill in"] * hidden
    return lines + ["; ".join(signs)] * bool(signs)


def _count_signs(melody: Melody) -> str:
    """The signs of the count that this melody needs."""
    if not melody.has_rhythm:
        return ""
    counts = " ".join(w for n in range(len(melody)) for _, w in count_marks(melody, n))
    held = ["let (2) ring on"] * ("(" in counts)
    silent = ["keep silent through [3]"] * ("[" in counts)
    return ", ".join(["play on plain beats", *held, *silent]) if held or silent else ""


def counted_against(degrees: str) -> str:
    """The scale that degrees count against, in words; *degrees* is ``major`` or ``key``."""
    against = "the major scale of the tonic" if degrees == "major" else "the key signature"
    return f"degrees count against {against}"


def keys_line(melody: Melody) -> str:
    """The keys of a melody in words, in order."""
    names = (name for name, _ in groupby(with_capitals(str(key)) for _, key in melody.keys))
    return ", then ".join(names) or "not given"


def instrument_line(instrument: Instrument, *, scale: bool = True) -> str:
    """Instrument, tuning, scale length (unless it is not asked for) and capo in one line."""
    length = f", scale {instrument.scale_length:g} mm" if scale else ""
    capo = f", capo at fret {instrument.capo} (frets count from it)" if instrument.capo else ""
    neck = ", fretless (numbers are semitones)" if instrument.fretless else ""
    count = len(instrument.strings)
    return f"{instrument.name}: strings {count} to 1 {instrument.tuning}{length}{capo}{neck}"


def figures_column(figures: Figures) -> dict[str, str]:
    """Each figure of a fingering by name, to stand beside those of another one."""
    return {
        "hand travel": f"{figures.travel:.0f} mm",
        "shifts": str(figures.shifts),
        "longest shift": f"{figures.longest_shift:.0f} mm",
        "widest stretch": f"{figures.widest_stretch:.0f} mm",
        "strings crossed": str(figures.strings_crossed),
        "open strings": str(figures.open_strings),
    }


def figures_line(arrangement: Arrangement) -> str:
    """The figures of a fingering in words a player uses, in two lines."""
    figures = arrangement.figures
    if figures.shifts:
        travel = f"hand travel {figures.travel:.0f} mm in {counted(figures.shifts, 'shift')}"
        travel += f", longest {figures.longest_shift:.0f} mm"
        if figures.fastest_shift:
            travel += f", fastest {figures.fastest_shift:.0f} mm/s"
    else:
        travel = "the hand keeps still (no shift)"
    rest = (
        f"widest stretch {figures.widest_stretch:.0f} mm; "
        f"strings crossed {figures.strings_crossed}; open strings {figures.open_strings}"
    )
    hand = f"{travel}; {plural(1 + figures.shifts, 'position')} {positions_line(arrangement)}"
    return "\n".join([*wrap(hand), rest])


def positions_line(arrangement: Arrangement) -> str:
    """The positions of the hand in order, the first six of them: ``II V II``."""
    signs = [position_sign(arrangement.instrument, at) for at in arrangement.figures.positions]
    return " ".join([*signs[:_MOST_POSITIONS], *["..."] * (len(signs) > _MOST_POSITIONS)])


# -- ways, and the reasons of one -----------------------------------------------------------------


def render_ways(ways: Sequence[Arrangement]) -> str:
    """A table of ways with their figures, best first; the unit stands under each name."""
    from fretpath.neck.ways import set_apart

    head = ("way", "effort", "travel", "shifts", "longest", "stretch", "crossed", "open")
    units = ("", "", "mm", "", "mm", "mm", "strings", "notes")
    rows = [_figures(number, way) for number, way in enumerate(ways, start=1)]
    lines = table([units, *rows], head=head, align=8 * "r")
    told = [f"{number}. {text}" for number, text in enumerate(set_apart(ways), start=1)]
    return "\n".join([*lines, "effort has no unit; less is easier", "", *told]) + "\n"


def _figures(number: int, way: Arrangement) -> list[object]:
    figures = way.figures
    lengths = (way.effort, figures.travel, figures.longest_shift, figures.widest_stretch)
    effort, travel, longest, stretch = (f"{length:.0f}" for length in lengths)
    moves = [effort, travel, figures.shifts, longest, stretch]
    return [f"{number}.", *moves, figures.strings_crossed, figures.open_strings]


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
    return ["", *wrap(text)] if told else []


def _place(fingering: Fingering) -> str:
    """A place as it is written everywhere, string-fret, and its finger: ``4-7 (2)``."""
    return f"{fingering.string}-{fingering.fret} ({fingering.finger})"


def reasons_data(reasons: Sequence[Reason]) -> list[dict[str, Any]]:
    """The reasons as plain data."""
    return [{**asdict(reason), "total": reason.total} for reason in reasons]
