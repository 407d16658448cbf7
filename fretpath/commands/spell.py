"""Spell a melody aloud: degree, interval, syllable, note; and where it leaves its scale."""

from __future__ import annotations

import argparse

from fretpath.commands.options import (
    add_melody_options,
    add_output_options,
    add_width_option,
    as_json,
    deliver,
    melody_from,
    with_found_key,
)
from fretpath.errors import RequestError
from fretpath.music.departures import read_scales
from fretpath.music.key import Scale
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.music.spelling import SYLLABLES
from fretpath.page.aloud import with_capitals
from fretpath.page.captions import counted_against
from fretpath.page.departures import render_readings
from fretpath.page.spelling import (
    SPELLING_ROWS,
    USUAL_ROWS,
    guess_data,
    guess_lines,
    render_spelling,
    spelling_data,
)
from fretpath.page.tables import wrap
from fretpath.values import to_dict


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument(
        "--syllables",
        choices=SYLLABLES,
        help="add movable-do syllables; a minor tonic is do or la",
    )
    parser.add_argument(
        "--rows", default=",".join(USUAL_ROWS), help=f"rows to show, of {','.join(SPELLING_ROWS)}"
    )
    parser.add_argument(
        "--against", metavar="SCALE", help="look for departures from this scale instead"
    )
    parser.add_argument(
        "--write", action="store_true", help="print the melody as clean text instead, to keep"
    )
    add_width_option(parser)
    add_output_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The spelling and the departures, or the same as JSON."""
    if arguments.write:
        return _clean_text(arguments)
    melody, guess = with_found_key(melody_from(arguments))
    against = Scale.parse(arguments.against) if arguments.against else None
    readings = read_scales(melody, against=against) if melody.keys and melody.pitches else ()
    minor = arguments.syllables or "do"
    if arguments.json:
        data = {
            "title": melody.title,
            "key": str(melody.key) if melody.key else None,
            "key_found": guess_data(guess),
            "notes": spelling_data(melody, minor=minor),
            "scales": [to_dict(reading) for reading in readings],
        }
        return deliver(arguments, as_json(data))
    rows = [row for row in arguments.rows.split(",") if row]
    rows += ["syllable"] * bool(arguments.syllables)
    spelled = render_spelling(
        melody, rows=rows, minor=minor, degrees=arguments.degrees, width=arguments.width
    )
    parts = [
        guess_lines(guess) if guess else "",
        _head(melody, arguments.degrees),
        spelled,
        render_readings(readings),
    ]
    return deliver(arguments, "\n".join(part for part in parts if part))


def _clean_text(arguments: argparse.Namespace) -> str:
    """The melody as it was read, in the notation."""
    useless = [name for name in ("json", "syllables", "against") if getattr(arguments, name)]
    if useless:
        raise RequestError(f"--write and --{useless[0]} do not go together: choose one")
    return deliver(arguments, format_melody(melody_from(arguments)))


def _head(melody: Melody, degrees: str) -> str:
    lines = [melody.title] if melody.title else []
    if melody.key:
        names = dict.fromkeys(with_capitals(str(key)) for _, key in melody.keys)
        told = f"key {', then '.join(names)}; {counted_against(degrees)}"
        lines += wrap(told)
    return "\n".join(lines) + "\n" if lines else ""
