"""Check a plain-text tab, against the tune it is meant to be if that is given."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import Any

from fretpath.commands.options import (
    add_output_options,
    add_score_options,
    as_json,
    delivered,
    melody_from,
)
from fretpath.commands.read import add_tab_options, tab_from
from fretpath.errors import RequestError
from fretpath.music.melody import Meter
from fretpath.music.words import counted
from fretpath.page.heading import figures_column
from fretpath.page.tab import render_tab
from fretpath.page.tabcheck import Fault, TabCheck, check_tab, count_faults
from fretpath.page.tabtext import header_hints


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_tab_options(parser)
    parser.add_argument("--against", metavar="MELODY", help="the tune: melody text, or a file")
    parser.add_argument("--hand", help="hand model for both fingerings")
    parser.add_argument("--meter", help="meter the count row must run through, such as 3/4")
    parser.set_defaults(octave=None)
    add_score_options(parser)
    add_output_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The faults, both figures side by side, and our fingering; or the same as JSON."""
    tab, text = tab_from(arguments)
    against = None
    if arguments.against is not None:
        arguments.melody = [arguments.against]
        against = melody_from(arguments)
    found = check_tab(tab, against, hand=arguments.hand)
    meter = against.meter if against and against.meter else _meter(arguments.meter, tab.tab.header)
    faults = [*count_faults(text, meter), *found.faults]
    faults.sort(key=lambda fault: (fault.line, fault.column))
    doubts = [str(doubt) for doubt in tab.tab.doubts]
    if arguments.json:
        return delivered(arguments, as_json(_data(found, faults, doubts)))
    return delivered(arguments, "\n".join(_page(found, faults, doubts)) + "\n")


def _meter(given: str | None, header: str) -> Meter | None:
    words = given or header_hints(header).get("meter")
    try:
        return Meter.parse(words) if words else None
    except RequestError:
        if given:
            raise
        return None


def _page(found: TabCheck, faults: list[Fault], doubts: list[str]) -> list[str]:
    head = counted(len(faults), "fault") if faults else "no fault found"
    lines = [head, *(f"  {fault}" for fault in faults)]
    if doubts:
        lines += ["", "not read with certainty:", *(f"  {doubt}" for doubt in doubts)]
    if found.octaves and not found.octave_free:
        way = "above" if found.octaves > 0 else "below"
        lines += ["", f"the tab lies {_octaves(abs(found.octaves))} {way} the tune"]
    lines += ["", *_side_by_side(found)]
    if found.ours:
        lines += ["", "our fingering:", "", render_tab(found.ours).rstrip("\n")]
    return lines


def _octaves(count: int) -> str:
    return "an octave" if count == 1 else f"{count} octaves"


def _side_by_side(found: TabCheck) -> list[str]:
    theirs = figures_column(found.theirs.figures) if found.theirs else {}
    ours = figures_column(found.ours.figures) if found.ours else {}
    lines = [f"{'':<18} {'this tab':>12} {'fretpath':>12}"]
    for name in theirs or ours:
        lines.append(f"{name:<18} {theirs.get(name, '-'):>12} {ours.get(name, '-'):>12}")
    return lines if theirs or ours else ["no hand plays this tab as it stands"]


def _data(found: TabCheck, faults: list[Fault], doubts: list[str]) -> dict[str, Any]:
    return {
        "faults": [asdict(fault) for fault in faults],
        "doubts": doubts,
        "octaves_from_tune": found.octaves,
        "this_tab": asdict(found.theirs.figures) if found.theirs else None,
        "fretpath": asdict(found.ours.figures) if found.ours else None,
        "fretpath_positions": [asdict(f) for f in found.ours.fingerings] if found.ours else None,
    }
