"""List the instruments known by name, with their figures and where these come from."""

from __future__ import annotations

import argparse
import textwrap
from dataclasses import asdict
from typing import Any

from fretpath.commands.options import add_output_options, as_json, delivered
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.instrument import Instrument


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_output_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """A table, or the same as JSON."""
    if arguments.json:
        return delivered(arguments, as_json([_data(made) for made in INSTRUMENTS.values()]))
    return delivered(arguments, "\n".join(_lines()) + "\n")


def _lines() -> list[str]:
    lines = [f"{'name':<20} {'strings n to 1':<24} {'scale':>7} {'frets':>5}  hand"]
    basis = ""
    for made in INSTRUMENTS.values():
        if made.basis != basis:
            basis = made.basis
            lines += textwrap.wrap(f"({basis})", 80, initial_indent="  ", subsequent_indent="   ")
        frets = f"{made.frets}" if not made.fretless else "-"
        lines.append(
            f"{made.name:<20} {made.tuning:<24} {made.scale_length:>5.0f}mm {frets:>5}  {made.hand}"
        )
    return lines


def _data(made: Instrument) -> dict[str, Any]:
    data = asdict(made)
    data["strings"] = [{"open": str(string.open), "nut": string.nut} for string in made.strings]
    return data
