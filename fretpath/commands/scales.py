"""Scales and modes: degrees, brightness, moods, patterns, and tunes that use them."""

from __future__ import annotations

import argparse
from typing import Any

from fretpath.commands.folder import each_melody, finish
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    deliver,
    instrument_from,
)
from fretpath.music.departures import read_scales
from fretpath.music.key import SCALES, scale_named
from fretpath.music.melody import Melody
from fretpath.music.scales import scales_holding
from fretpath.neck.patterns import patterns_of
from fretpath.neck.setup import Setup
from fretpath.page.scales import holdings_data, render_holdings, render_scales, scales_data


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("scale", metavar="SCALE", nargs="*", help="only this one, such as dorian")
    parser.add_argument(
        "--from", dest="degrees", metavar="DEGREES", help="scales that hold these: 1,2,3,#4"
    )
    parser.add_argument("--folder", help="name the tunes of a folder (*.txt) that use each scale")
    parser.add_argument("--hand", help="hand model of the patterns")
    add_output_options(parser)
    add_instrument_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The list of scales, or the scales that hold some degrees; or the same as JSON."""
    if arguments.degrees is not None:
        degrees = arguments.degrees.replace(",", " ").split()
        holdings = scales_holding(degrees)
        if arguments.json:
            return deliver(arguments, as_json(holdings_data(holdings)))
        return deliver(arguments, render_holdings(degrees, holdings))
    named = " ".join(arguments.scale)
    scales = [scale_named(named)] if named else list(SCALES.values())
    instrument = instrument_from(arguments)
    patterns = patterns_of(scales, Setup.of(instrument, hand=arguments.hand))
    tunes, faults = _tunes(arguments.folder, arguments.remarks) if arguments.folder else (None, [])
    if arguments.json:
        text = as_json(scales_data(scales, patterns, tunes))
    else:
        text = render_scales(scales, patterns, instrument=instrument.name, tunes=tunes)
    return finish(deliver(arguments, text), faults)


def _tunes(folder: str, remarks: list[Any]) -> tuple[dict[str, list[str]], list[str]]:
    """Titles by scale, and the faults of files that are no melody."""
    used, faults = each_melody(folder, _use, remarks)
    tunes: dict[str, list[str]] = {}
    for title, names in used:
        for name in names:
            tunes.setdefault(name, []).append(title)
    return tunes, faults


def _use(name: str, melody: Melody) -> tuple[str, list[str]]:
    """The title of a tune (or the name of its file) and the scales it uses."""
    return melody.title or name.removesuffix(".txt"), _scales_of(melody)


def _scales_of(melody: Melody) -> list[str]:
    """The scales a tune uses: the smallest that hold each of its passages."""
    if not melody.keys or not melody.pitches:
        return []
    found = [reading.smallest or reading.stated for reading in read_scales(melody)]
    return list(dict.fromkeys(scale.name for scale in found))
