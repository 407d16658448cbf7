"""Rank every key and octave of a tune for this instrument and hand."""

from __future__ import annotations

import argparse

from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    as_json,
    deliver,
    melody_from,
    setup_from,
    with_found_key,
)
from fretpath.errors import RequestError
from fretpath.neck.keychoice import rank_keys
from fretpath.page.keys import keys_data, render_keys
from fretpath.page.spelling import guess_data, guess_lines, under_guess


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--top", type=int, metavar="N", help="show only the first N")
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The table, or the same as JSON."""
    if arguments.top is not None and arguments.top < 1:
        raise RequestError(f"--top is 1 or more, not {arguments.top}")
    melody, guess = with_found_key(melody_from(arguments))
    if guess and not guess.enough:
        raise RequestError(guess_lines(guess).strip())
    octave = melody.octave if arguments.octave not in (None, "free") else None
    choices = rank_keys(melody, setup_from(arguments), octave=octave)
    if arguments.json:
        data = {
            "key_found": guess_data(guess),
            "keys": keys_data(choices[: arguments.top]),
        }
        return deliver(arguments, as_json(data))
    page = render_keys(choices, top=arguments.top)
    return deliver(arguments, under_guess(guess, page))
