"""List the instruments known by name, with their figures and where these come from."""

from __future__ import annotations

import argparse
from collections.abc import Iterator

from fretpath.commands.options import add_output_options, as_json, deliver
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.instrument import Instrument
from fretpath.page.tables import table, wrap
from fretpath.values import to_dict


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_output_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """A table, or the same as JSON."""
    if arguments.json:
        return deliver(arguments, as_json([to_dict(made) for made in INSTRUMENTS.values()]))
    return deliver(arguments, "\n".join(_lines()) + "\n")


def _lines() -> Iterator[str]:
    head = ("name", "strings n to 1", "scale", "frets", "hand")
    rows = [_row(made) for made in INSTRUMENTS.values()]
    first, *lines = table(rows, head=head, align="llrrl")
    yield first
    basis = ""
    for made, line in zip(INSTRUMENTS.values(), lines, strict=True):
        if made.basis != basis:
            basis = made.basis
            yield from wrap(f"({basis})", indent="  ", hanging=" ")
        yield line


def _row(made: Instrument) -> tuple[str, ...]:
    frets = "-" if made.fretless else str(made.frets)
    return made.name, made.tuning, f"{made.scale_length:.0f}mm", frets, made.hand
