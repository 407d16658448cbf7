"""Options that several commands share, and what they make of them."""

from __future__ import annotations

import argparse
import json
from typing import Any

from fretpath.commands.files import melody_text, write_file
from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody
from fretpath.neck.arrangement import Arrangement, arrange
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.costs import Weights
from fretpath.neck.hand import HANDS
from fretpath.neck.instrument import Instrument
from fretpath.neck.wishes import OPEN_STRINGS, Wishes

__all__ = [
    "add_hand_options",
    "add_instrument_options",
    "add_melody_options",
    "add_output_options",
    "arrangement_from",
    "as_json",
    "delivered",
    "instrument_from",
    "melody_from",
]


def add_melody_options(parser: argparse.ArgumentParser) -> None:
    """The melody and its key."""
    parser.add_argument(
        "melody",
        metavar="MELODY",
        nargs="+",
        help='melody text such as "1 5 8 9 10", a file, or - for standard input',
    )
    parser.add_argument("--key", help="tonic and mode, such as B or 'C minor'; moves degrees there")
    parser.add_argument("--octave", type=int, help="octave of the tonic, sounding (C4 is middle C)")
    parser.add_argument(
        "--degrees",
        choices=("major", "key"),
        default="major",
        help="print degrees against the major scale (default) or the key signature",
    )


def melody_from(arguments: argparse.Namespace) -> Melody:
    """The melody the arguments name, in the key and octave they ask for."""
    text, source = melody_text(" ".join(arguments.melody))
    melody = parse_melody(text, key=arguments.key, source=source)
    return melody if arguments.octave is None else melody.in_octave(_octave(arguments.octave))


def _octave(number: int) -> int:
    if not -1 <= number <= 9:
        raise RequestError(f"an octave is -1 to 9, not {number}; C4 is middle C")
    return number


def add_instrument_options(parser: argparse.ArgumentParser) -> None:
    """The instrument and what may be changed about it."""
    group = parser.add_argument_group("instrument")
    group.add_argument("--instrument", default="bass", help='a name from "fretpath instruments"')
    group.add_argument("--tuning", help='open strings, string n first: "D1 A1 D2 G2"')
    group.add_argument("--frets", type=int, help="highest fret of the neck")
    group.add_argument("--scale-length", help="nut to bridge: 30in or 762mm")
    group.add_argument("--capo", type=int, help="fret under the capo; frets count from it")


def instrument_from(arguments: argparse.Namespace) -> Instrument:
    """The instrument the arguments describe."""
    return instrument_named(arguments.instrument).customised(
        tuning=arguments.tuning,
        frets=arguments.frets,
        scale_length=arguments.scale_length,
        capo=arguments.capo,
    )


def add_hand_options(parser: argparse.ArgumentParser) -> None:
    """The hand, its prices, and the teacher's wishes."""
    group = parser.add_argument_group("hand and wishes")
    group.add_argument("--hand", help=f"{', '.join(HANDS)}; a change-over fret after a colon")
    group.add_argument("--weights", default="", help="prices to change, such as shift=2,open=0")
    group.add_argument("--open-strings", choices=OPEN_STRINGS, default="allow")
    group.add_argument("--lowest-fret", type=int, default=0, help="no fretted note below it")
    group.add_argument("--highest-fret", type=int, help="no note above it")
    group.add_argument("--strings", help="only these strings: 1,2 (1 is the top line)")
    group.add_argument("--position", type=int, help="hold the index finger at this fret")


def wishes_from(arguments: argparse.Namespace) -> Wishes:
    """The wishes the arguments express."""
    return Wishes(
        lowest_fret=arguments.lowest_fret,
        highest_fret=arguments.highest_fret,
        strings=_numbers(arguments.strings, "--strings"),
        position=arguments.position,
        open_strings=arguments.open_strings,
    )


def _numbers(text: str | None, option: str) -> tuple[int, ...] | None:
    if text is None:
        return None
    try:
        return tuple(int(word) for word in text.split(","))
    except ValueError:
        raise RequestError(f'{option} takes numbers such as 1,2, not "{text[:40]}"') from None


def arrangement_from(arguments: argparse.Namespace) -> Arrangement:
    """The melody of the arguments on their instrument, with their hand and wishes."""
    weights = Weights().set(arguments.weights) if arguments.weights else Weights()
    return arrange(
        melody_from(arguments),
        instrument_from(arguments),
        hand=arguments.hand,
        weights=weights,
        wishes=wishes_from(arguments),
    )


def add_output_options(parser: argparse.ArgumentParser) -> None:
    """Where the result goes and in which form."""
    parser.add_argument("--json", action="store_true", help="the same as data")
    parser.add_argument("-o", "--output", metavar="FILE", help="write to a file instead")


def delivered(arguments: argparse.Namespace, text: str) -> str:
    """The text to print: all of it, or nothing once it is written to the file asked for."""
    if arguments.output is None:
        return text
    write_file(arguments.output, text)
    return ""


def as_json(data: Any) -> str:
    """Data as JSON text that reads the same on every run."""
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"
