"""Print a melody as fingered tab with its spelling under it."""

from __future__ import annotations

import argparse

from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    arrangement_from,
    as_json,
    delivered,
)
from fretpath.page.data import arrangement_data
from fretpath.page.tab import ROWS, render_tab


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--rows", default=",".join(ROWS), help=f"rows to show, of {','.join(ROWS)}")
    parser.add_argument("--width", type=int, default=80, help="characters a line (default 80)")
    parser.add_argument("--simple", action="store_true", help="print 2' for a ninth")
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The tab, or the same as JSON."""
    arrangement = arrangement_from(arguments)
    if arguments.json:
        return delivered(
            arguments, as_json(arrangement_data(arrangement, degrees=arguments.degrees))
        )
    rows = [row for row in arguments.rows.split(",") if row]
    page = render_tab(
        arrangement,
        rows=rows,
        width=arguments.width,
        degrees=arguments.degrees,
        simple=arguments.simple,
    )
    return delivered(arguments, page)
