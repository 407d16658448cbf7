"""Move a tune to another key, by an interval, to another mode, or onto another instrument."""

from __future__ import annotations

import argparse
import re

from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    add_width_option,
    as_json,
    deliver,
    melody_from,
    setup_from,
    with_found_key,
)
from fretpath.errors import RequestError
from fretpath.neck.keychoice import transpose
from fretpath.page.keys import render_transposition, transposition_data
from fretpath.page.spelling import guess_data, guess_lines, under_guess


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--to", metavar="KEY", help="A, 'A minor', or a mode such as dorian")
    parser.add_argument("--by", metavar="STEP", help="an interval such as M2 or -m3, or 5frets")
    parser.add_argument("--onto", metavar="INSTRUMENT", help="the instrument after the move")
    add_width_option(parser)
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The move, the figures on both sides, and the tab; or the same as JSON."""
    if not (arguments.to or arguments.by or arguments.onto):
        raise RequestError(
            'say where to: --to A, --to "A minor", --by -m3, --by 5frets or --onto guitar'
        )
    melody, guess = with_found_key(melody_from(arguments))
    if guess and not guess.enough and arguments.to:
        raise RequestError(guess_lines(guess).strip())
    moved = transpose(
        melody,
        setup_from(arguments),
        to=arguments.to,
        by=_by(arguments.by),
        onto=arguments.onto,
    )
    if moved.before is None:
        arguments.remarks.append(
            "the tune as written has no place on this neck, so only the moved one is shown"
        )
    if arguments.json:
        data = transposition_data(moved, degrees=arguments.degrees)
        data["key_found"] = guess_data(guess)
        return deliver(arguments, as_json(data))
    page = render_transposition(moved, degrees=arguments.degrees, width=arguments.width)
    return deliver(arguments, under_guess(guess, page))


def _by(text: str | None) -> str | int | None:
    """The number in ``5frets``, ``-2 frets`` or ``1fret``; anything else as it is."""
    match = re.fullmatch(r"([+-]?\d{1,2})\s*frets?", text.strip()) if text else None
    return int(match[1]) if match else text
