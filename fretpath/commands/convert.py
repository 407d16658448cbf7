"""Write a melody in an open format: MusicXML with tab, MIDI, ABC, or melody text."""

from __future__ import annotations

import argparse

from fretpath.commands.files import write_file
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    arrangement_from,
    as_json,
    melody_from,
)
from fretpath.errors import OutOfRangeError, RequestError
from fretpath.exchange.door import ending_of
from fretpath.exchange.scores import WRITERS, score_bytes
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement

_TEXTS = (".musicxml", ".xml", ".abc", ".txt")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("-o", "--output", metavar="FILE", help=f"ending {', '.join(WRITERS)}")
    parser.add_argument("--to", metavar="ENDING", help="format on standard output: abc, txt ...")
    parser.add_argument("--no-tab", action="store_true", help="the melody alone, not fingered")
    parser.add_argument("--json", action="store_true", help="say as data what was written")
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The file as text, or a line that says what was written."""
    ending = _ending(arguments)
    music = _music(arguments, ending)
    data = score_bytes(music, ending)
    if arguments.output is None:
        return data.decode("utf-8")
    write_file(arguments.output, data)
    return _report(arguments, music, len(data))


def _ending(arguments: argparse.Namespace) -> str:
    if (arguments.output is None) == (arguments.to is None):
        raise RequestError("say where to: -o FILE, or --to ENDING for standard output")
    ending = ending_of(
        arguments.output if arguments.to is None else f"x.{arguments.to.lstrip('.')}"
    )
    if ending not in WRITERS:
        raise RequestError(f'"{ending or "no ending"}" names no format; use {", ".join(WRITERS)}')
    if arguments.output is None and ending not in _TEXTS:
        raise RequestError(f"{ending} is no text: write it to a file with -o FILE")
    return ending


def _music(arguments: argparse.Namespace, ending: str) -> Melody | Arrangement:
    """Fingered where the format or the octave asks for an instrument."""
    if arguments.no_tab or ending in (".abc", ".txt"):
        return melody_from(arguments)
    try:
        return arrangement_from(arguments)
    except OutOfRangeError as problem:
        raise OutOfRangeError(f"{problem} --no-tab writes the melody alone.") from None


def _report(arguments: argparse.Namespace, music: Melody | Arrangement, size: int) -> str:
    melody = music.melody if isinstance(music, Arrangement) else music
    made = music.instrument.name if isinstance(music, Arrangement) else None
    data = {
        "file": arguments.output,
        "bytes": size,
        "notes": len(melody.pitches),
        "instrument": made,
    }
    if arguments.json:
        return as_json(data)
    where = f" for {made}" if made else ""
    return f"{arguments.output}: {len(melody.pitches)} notes{where}, {size} bytes\n"
