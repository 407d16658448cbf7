"""Order a folder of melodies from easy to hard: for the ear, and separately for the hand.

Your own order goes first: a line "level: 3" in a melody file puts it in third place, and an order
file (--order-file; --save-order writes one to begin with) puts its tunes in front as they stand.
"""

from __future__ import annotations

import argparse
from functools import partial

from fretpath.commands.files import write_file
from fretpath.commands.folder import add_folder_options, each_melody, finish, order_file_from
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_output_options,
    as_json,
    deliver,
    setup_from,
)
from fretpath.lesson.order import by_ear, format_order, order_data, order_page
from fretpath.lesson.tune import tune_of


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_folder_options(parser)
    parser.add_argument("--measures", action="store_true", help="show every measure of each tune")
    parser.add_argument(
        "--order-file",
        metavar="FILE",
        help="files that come first, one name a line, in your own order",
    )
    parser.add_argument(
        "--save-order", metavar="FILE", help="write this order as an order file, to be edited"
    )
    parser.add_argument("--ear-only", action="store_true", help="leave the hand out (faster)")
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """Both orders with their reasons, or the same as JSON."""
    setup = None if arguments.ear_only else setup_from(arguments)
    name = setup.instrument.name if setup else ""
    front = order_file_from(arguments)
    measure = partial(tune_of, on=setup)
    tunes, faults = each_melody(arguments.folder, measure, arguments.remarks, jobs=arguments.jobs)
    lessons = by_ear(tunes, order=front)
    if arguments.save_order:
        write_file(arguments.save_order, format_order(lesson.tune.name for lesson in lessons))
    if arguments.json:
        text = as_json(order_data(lessons, name))
    else:
        text = order_page(lessons, name, measures=arguments.measures)
    return finish(deliver(arguments, text), faults)
