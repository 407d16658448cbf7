"""Check a plain-text tab, against the tune it is meant to be if that is given."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from typing import Any

from fretpath.commands.found_key import with_found_key
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
from fretpath.neck.arrangement import Arrangement
from fretpath.page.heading import figures_column
from fretpath.page.spelling import guess_lines
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
    melody, guess = with_found_key(tab.melody)
    tab = replace(tab, melody=melody)
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
    key_found = [guess_lines(guess)] if guess and against is None else []
    return delivered(arguments, "\n".join([*key_found, *_page(found, faults, doubts)]) + "\n")


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
        if found.theirs and _same_places(found.theirs, found.ours):
            return [*lines, "", "this tab lies where fretpath would put it"]
        lines += ["", "the fingering of fretpath:", "", render_tab(found.ours).rstrip("\n")]
    return lines


def _same_places(theirs: Arrangement, ours: Arrangement) -> bool:
    return (theirs.strings, theirs.frets) == (ours.strings, ours.frets)


def _octaves(count: int) -> str:
    return "an octave" if count == 1 else f"{count} octaves"


def _side_by_side(found: TabCheck) -> list[str]:
    theirs = _figures(found.theirs) if found.theirs else {}
    ours = _figures(found.ours) if found.ours else {}
    lines = [f"{'':<24} {'this tab':>12} {'fretpath':>12}"]
    for name in theirs or ours:
        lines.append(f"{name:<24} {theirs.get(name, '-'):>12} {ours.get(name, '-'):>12}")
    return lines if theirs or ours else ["no hand plays this tab as it stands"]


def _figures(arrangement: Arrangement) -> dict[str, str]:
    effort = {"effort (less is easier)": f"{arrangement.effort:.0f}"}
    return effort | figures_column(arrangement.figures)


def _data(found: TabCheck, faults: list[Fault], doubts: list[str]) -> dict[str, Any]:
    return {
        "faults": [asdict(fault) for fault in faults],
        "doubts": doubts,
        "octaves_from_tune": found.octaves,
        "this_tab": asdict(found.theirs.figures) if found.theirs else None,
        "fretpath": asdict(found.ours.figures) if found.ours else None,
        "fretpath_positions": [asdict(f) for f in found.ours.fingerings] if found.ours else None,
    }
