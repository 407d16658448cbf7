"""The words around a tab: header, legend and figures.

**Conventions.**  Lines come unfolded; the page folds them to its width.
Positions are Roman numerals, note names sound as they say (C4 is middle C).
"""

from __future__ import annotations

from collections.abc import Sequence

from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrangement import Arrangement, Figures, position_sign
from fretpath.neck.instrument import Instrument
from fretpath.page.aloud import with_capitals
from fretpath.page.blanks import BLANK
from fretpath.page.counting import count_marks, has_rhythm
from fretpath.page.tables import wrapped

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
    if not has_rhythm(melody):
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
    names: list[str] = []
    for _, key in melody.keys:
        name = with_capitals(str(key))
        if not names or names[-1] != name:
            names.append(name)
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
    positions = [position_sign(arrangement.instrument, position) for position in figures.positions]
    if len(positions) > 6:
        positions = [*positions[:6], "..."]
    rest = (
        f"widest stretch {figures.widest_stretch:.0f} mm; "
        f"strings crossed {figures.strings_crossed}; open strings {figures.open_strings}"
    )
    plural = "s" if figures.shifts else ""
    hand = f"{travel}; position{plural} {' '.join(positions)}"
    return "\n".join([*wrapped(hand), rest])
