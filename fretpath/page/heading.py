"""The words around a tab: header, legend, figures, and the degrees as labels.

**Conventions.**  Lines come unfolded; the page folds them to its width with :func:`wrapped`.
Positions are Roman numerals, note names sound as they say (C4 is middle C).
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.figures import Figures, roman
from fretpath.neck.instrument import Instrument
from fretpath.page.blanks import BLANK
from fretpath.page.counting import has_rhythm

__all__ = [
    "counted_against",
    "degree_labels",
    "figures_column",
    "figures_line",
    "header_lines",
    "instrument_line",
    "keys_line",
    "legend_lines",
    "wrapped",
]


def degree_labels(
    melody: Melody, *, degrees: str = "major", simple: bool = False
) -> tuple[str, ...]:
    """The degree of each struck note as text; empty strings when no key is known."""
    if degrees not in ("major", "key"):
        raise RequestError(f'degrees count against "major" or "key", not "{degrees[:40]}"')
    return tuple(
        _degree_label(degree, melody.key_at(event) if degrees == "key" else None, simple)
        for degree, event in zip(melody.degrees, melody.struck, strict=True)
    )


def _degree_label(degree: Degree | None, key: Key | None, simple: bool) -> str:
    if degree is None:
        return ""
    if key:
        degree = Degree(degree.steps, degree.alter - key.signature_alters[degree.number - 1])
    return degree.simple if simple else str(degree)


def header_lines(arrangement: Arrangement, degrees: str = "major") -> list[str]:
    """Title, key, instrument and conventions, one line each."""
    melody = arrangement.melody
    lines = [melody.title] if melody.title else []
    music = [f"key {keys_line(melody)}"]
    if melody.meter:
        music.append(f"meter {', '.join(str(m) for _, m in melody.meters)}")
    if melody.tempo:
        music.append(f"tempo {float(melody.tempo):g}")
    if melody.tonic:
        chosen = "octave chosen for the hand" if arrangement.octave_chosen else "octave as given"
        music.append(f"tonic {melody.tonic} ({chosen})")
    lines.append("; ".join(music))
    lines.append(instrument_line(arrangement.instrument))
    sound = "note names as they sound"
    if arrangement.instrument.written:
        sound += " (music for it is written an octave higher)"
    if melody.key:
        lines.append(counted_against(degrees))
    lines.append(sound)
    return lines


def legend_lines(melody: Melody, rows: Sequence[str], *, hidden: bool = False) -> list[str]:
    """What the signs mean, as far as the melody and the rows need them."""
    lines = ["numbers are frets, 0 is open; top line is string 1"]
    if "finger" in rows:
        lines[0] += "; fingers 1 (index) to 4"
    if "count" in rows and has_rhythm(melody):
        lines.append("count: play on plain beats, let (2) ring on, keep silent through [3]")
    signs = ["r is a rest"] * any(note.pitch is None for note in melody.notes)
    signs += ["- holds the note before"] * any(note.tied for note in melody.notes)
    signs += [f"{BLANK} is for you to fill in"] * hidden
    return lines + ["; ".join(signs)] * bool(signs)


def wrapped(text: str, width: int) -> list[str]:
    """The lines of a text, each folded at spaces to the width."""
    return [
        part
        for line in text.splitlines()
        for part in textwrap.wrap(line, width, break_on_hyphens=False) or [""]
    ]


def counted_against(degrees: str) -> str:
    """What degrees count against, in words; *degrees* is ``major`` or ``key``."""
    against = "the major scale of the tonic" if degrees == "major" else "the key signature"
    return f"degrees count against {against}"


def keys_line(melody: Melody) -> str:
    """The keys of a melody in words, in order."""
    names: list[str] = []
    for _, key in melody.keys:
        if not names or names[-1] != str(key):
            names.append(str(key))
    return ", then ".join(names) or "not given"


def instrument_line(instrument: Instrument) -> str:
    """Instrument, tuning, scale length and capo in one line."""
    length = f"scale {instrument.scale_length:g} mm"
    capo = f", capo at fret {instrument.capo} (frets count from it)" if instrument.capo else ""
    neck = ", fretless (numbers are semitones)" if instrument.fretless else ""
    count = len(instrument.strings)
    return f"{instrument.name}: strings {count} to 1 {instrument.tuning}, {length}{capo}{neck}"


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


def figures_line(figures: Figures) -> str:
    """The figures of a fingering in words a player uses, in two lines."""
    if figures.shifts:
        travel = f"hand travel {figures.travel:.0f} mm in {counted(figures.shifts, 'shift')}"
        travel += f", longest {figures.longest_shift:.0f} mm"
        if figures.fastest_shift:
            travel += f", fastest {figures.fastest_shift:.0f} mm/s"
    else:
        travel = "the hand keeps still (no shift)"
    positions = [roman(position) for position in figures.positions]
    if len(positions) > 6:
        positions = [*positions[:6], "..."]
    rest = (
        f"widest stretch {figures.widest_stretch:.0f} mm; "
        f"strings crossed {figures.strings_crossed}; open strings {figures.open_strings}"
    )
    plural = "s" if figures.shifts else ""
    hand = f"{travel}; position{plural} {' '.join(positions)}"
    return "\n".join([*textwrap.wrap(hand, 80), rest])
