"""Check a plain-text tab, against the tune it is meant to be if that is given."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from typing import Any

from fretpath.commands.hand import playing_line
from fretpath.commands.options import (
    add_hand_options,
    add_output_options,
    add_score_options,
    as_json,
    deliver,
    melody_from,
    setup_from,
    with_found_key,
)
from fretpath.commands.read import add_tab_options, reading_from
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.learning import better_playing
from fretpath.page.captions import figures_column
from fretpath.page.spelling import guess_lines
from fretpath.page.tab import render_tab
from fretpath.page.tab_check import TabCheck, check_tab
from fretpath.page.tab_reading import TabReading
from fretpath.page.tables import table, wrap


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.set_defaults(octave=None)
    add_score_options(parser)
    add_tab_options(parser)
    parser.add_argument("--against", metavar="MELODY", help="the tune: melody text, or a file")
    parser.add_argument(
        "--ours", action="store_true", help="show the easiest way to play it beside the figures"
    )
    add_hand_options(parser)
    add_output_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The faults and the doubts, figures side by side, our way if asked; or the same as JSON."""
    reading = reading_from(arguments)
    melody, guess = with_found_key(reading.melody)
    reading = replace(reading, melody=melody)
    against = None
    if arguments.against is not None:
        arguments.melody = [arguments.against]
        against = melody_from(arguments)
    setup = setup_from(arguments, reading.instrument)
    found = check_tab(reading, against, setup=setup)
    other = None if arguments.playing else better_playing([reading.melody], setup)
    if arguments.json:
        arguments.remarks.extend(reading.doubts)
        data = _data(found, reading) | {"better_playing": other and other[0]}
        return deliver(arguments, as_json(data))
    key_found = [guess_lines(guess)] if guess and against is None else []
    page = [*key_found, *_faults(found, reading, against), "", *_side_by_side(found)]
    if other:
        page += ["", *wrap(playing_line(other, len(reading.melody.pitches)))]
    if arguments.ours:
        page += ["", *_our_way(found, tune=against is not None)]
    return deliver(arguments, "\n".join(page) + "\n")


def _faults(found: TabCheck, reading: TabReading, against: Melody | None) -> list[str]:
    lines = [f"  {fault}" for fault in found.faults]
    doubts = [f"  {remark}" for remark in reading.doubts]
    if lines:
        head = counted(len(lines), "fault")
    elif doubts:
        head = f"no fault in what was read; {counted(len(doubts), 'thing')} to look at first"
    else:
        head = "no fault found"
    page = [head, *lines]
    if doubts:
        page += ["", "not read with certainty:", *doubts]
    if reading.lower:
        page += ["", "figures count the top note of each chord; a tune is looked for in every note"]
    if found.octaves and against and not against.octave_free:
        way = "above" if found.octaves > 0 else "below"
        octaves = "an octave" if abs(found.octaves) == 1 else f"{abs(found.octaves)} octaves"
        page += ["", f"the tab lies {octaves} {way} the tune"]
    return page


def _side_by_side(found: TabCheck) -> list[str]:
    theirs = _figures(found.theirs) if found.theirs else {}
    ours = _figures(found.ours) if found.ours else {}
    if not theirs and not ours:
        return ["no hand plays this tab as it stands"]
    rows = [(name, theirs.get(name, "-"), ours.get(name, "-")) for name in theirs or ours]
    lines = table(rows, head=("the same notes", "this tab", "easiest way"), align="lrr", gap=4)
    if found.theirs and found.ours and _places(found.theirs) == _places(found.ours):
        lines += ["", "this tab lies where the notes cost least"]
    return lines


def _places(arrangement: Arrangement) -> tuple[object, object]:
    return arrangement.strings, arrangement.frets


def _our_way(found: TabCheck, *, tune: bool) -> list[str]:
    ours = found.tune if tune else found.ours
    what = "the tune" if tune else "these notes"
    if ours is None:
        return [f"within the limits {what} cannot be played"]
    return [f"the easiest way to play {what}:", "", render_tab(ours).rstrip("\n")]


def _figures(arrangement: Arrangement) -> dict[str, str]:
    effort = {"effort (less is easier)": f"{arrangement.effort:.0f}"}
    return effort | figures_column(arrangement.figures)


def _data(found: TabCheck, reading: TabReading) -> dict[str, Any]:
    best = found.tune or found.ours
    return {
        "faults": [asdict(fault) for fault in found.faults],
        "doubts": [asdict(remark) for remark in reading.doubts],
        "octaves_from_tune": found.octaves,
        "this_tab": asdict(found.theirs.figures) if found.theirs else None,
        "easiest_way": asdict(found.ours.figures) if found.ours else None,
        "easiest_positions": [asdict(f) for f in best.fingerings] if best else None,
    }
