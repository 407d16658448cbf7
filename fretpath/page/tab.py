"""Text tab, with the spelling in the same columns under it.

**Conventions.**  String 1 is the top line; each line begins with the name of its string.  Numbers
are frets, 0 is open.  One column holds everything about one note.  The row *position* stands
above the tab and shows, in Roman numerals, where the index finger goes when the hand moves.  A
rest is ``r`` and a note held over is ``-`` in the row of degrees.  Plain ASCII but for a title
that is not.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from fretpath.errors import RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.figures import Figures
from fretpath.neck.instrument import Instrument
from fretpath.page.grid import BAR_LINE, Block, Row, lay_out

__all__ = ["ROWS", "figures_line", "render_tab"]

ROWS = ("position", "degree", "interval", "note", "finger")
"""Rows that can stand around the tab, in their order on the page."""

_LEAST_WIDTH = 40


def render_tab(
    arrangement: Arrangement,
    *,
    rows: Sequence[str] = ROWS,
    width: int = 80,
    degrees: str = "major",
    simple: bool = False,
) -> str:
    """The whole page as text: header, tab with rows, figures; ends with a newline.

    *rows* are names from :data:`ROWS`; *width* is in characters, 40 or more.  *degrees* counts
    them against the ``major`` scale or the ``key`` signature; *simple* prints ``2'`` for 9.
    """
    unknown = [row for row in rows if row not in ROWS]
    if unknown:
        raise RequestError(
            f'unknown row "{unknown[0][:40]}"{nearest(unknown[0], ROWS)} (known: {", ".join(ROWS)})'
        )
    if width < _LEAST_WIDTH:
        raise RequestError(f"a page is at least {_LEAST_WIDTH} characters wide, not {width}")
    labels = degree_labels(arrangement.melody, degrees=degrees, simple=simple)
    systems = lay_out(_page_rows(arrangement, rows), _phrases(arrangement, labels), width=width)
    head = header_lines(arrangement, degrees)
    body = ["\n".join(system) for system in systems]
    return "\n\n".join(["\n".join(head), *body, figures_line(arrangement.figures)]) + "\n"


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
    music = [f"key {_keys(melody)}"]
    if melody.meter:
        music.append(f"meter {', '.join(str(m) for _, m in melody.meters)}")
    if melody.tempo:
        music.append(f"tempo {float(melody.tempo):g}")
    if melody.tonic:
        chosen = "octave chosen for the hand" if arrangement.octave_chosen else "octave as given"
        music.append(f"tonic {melody.tonic} ({chosen})")
    lines.extend(textwrap.wrap("; ".join(music), 80))
    lines.append(instrument_line(arrangement.instrument))
    sound = "note names as they sound"
    if arrangement.instrument.written:
        sound += " (music for it is written an octave higher)"
    against = "the major scale of the tonic" if degrees == "major" else "the key signature"
    if melody.key:
        lines.append(f"degrees count against {against}")
    lines.append(sound)
    return lines


def _keys(melody: Melody) -> str:
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


def _page_rows(arrangement: Arrangement, rows: Sequence[str]) -> list[Row]:
    strings = [
        Row(f"string{number}", name, string=True)
        for number, name in enumerate(arrangement.instrument.string_names, start=1)
    ]
    above = [Row("position", "position")] if "position" in rows else []
    return above + strings + [Row(name, name) for name in ROWS[1:] if name in rows]


def _phrases(arrangement: Arrangement, labels: Sequence[str]) -> list[list[Block]]:
    melody = arrangement.melody
    bars = set(melody.bars)
    phrases: list[list[Block]] = []
    note = 0
    for span in melody.spans(melody.phrases):
        blocks: list[Block] = []
        for event in span:
            if event in bars and event != span.start:
                blocks.append(BAR_LINE)
            if melody.notes[event].struck:
                blocks.append(Block(_tokens(arrangement, note, labels)))
                note += 1
            else:
                blocks.append(Block({"degree": "-" if melody.notes[event].tied else "r"}))
        phrases.append(blocks)
    return phrases


def _tokens(arrangement: Arrangement, note: int, labels: Sequence[str]) -> dict[str, str]:
    fingering = arrangement.fingerings[note]
    pitches = arrangement.melody.pitches
    moved = note == 0 or arrangement.positions[note - 1] != fingering.position
    return {
        "position": roman(fingering.position) if moved else "",
        f"string{fingering.string}": str(fingering.fret),
        "degree": labels[note],
        "interval": str(pitches[note] - pitches[note - 1]) if note else "",
        "note": str(pitches[note]),
        "finger": str(fingering.finger),
    }


def roman(number: int) -> str:
    """A position (1 to 39) in Roman numerals.

    >>> roman(9), roman(24)
    ('IX', 'XXIV')
    """
    tens, units = divmod(number, 10)
    return "X" * tens + ("", "I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX")[units]


def figures_line(figures: Figures) -> str:
    """The figures of a fingering in words a player uses, lines of at most 80 characters."""
    if figures.shifts:
        count = "1 shift" if figures.shifts == 1 else f"{figures.shifts} shifts"
        travel = f"hand travel {figures.travel:.0f} mm in {count}"
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
