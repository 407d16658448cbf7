"""Learn a student's hand from tabs: how many notes lie where the tool would put them, and why.

Text tabs, or MusicXML with strings and frets.  The way of playing and the few prices that explain
them best (where the hand is at home, how dear the outer strings and a shift are) go into a card
for --card; how well they explain tabs that they were not learned from is told.
"""

from __future__ import annotations

import argparse
from pathlib import PurePath

from fretpath.commands.files import note_input, write_file
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_output_options,
    as_json,
    card_from,
    instrument_from,
    setup_from,
)
from fretpath.commands.read import reading_from
from fretpath.errors import FretpathError, RequestError
from fretpath.exchange.door import is_score_name
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.instrument import Instrument, Playing
from fretpath.neck.learning import HandFit, better_playing, learn_hand
from fretpath.neck.setup import Setup, format_card
from fretpath.page.tables import table


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "tabs", metavar="TAB", nargs="+", help="a text tab, or MusicXML with strings and frets"
    )
    parser.add_argument("--student", metavar="NAME", help="name of the student, for the card")
    parser.add_argument("--left-handed", action="store_true", help="a left-handed student")
    add_output_options(parser, "write the card: student.toml")
    add_instrument_options(parser)
    add_hand_options(parser)
    parser.set_defaults(instrument=None, key=None, tempo=None, remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The agreement before and after, the prices, and the card where it is asked for."""
    melodies, instrument = _tabs(arguments)
    arguments.instrument = arguments.instrument or instrument.name
    setup = setup_from(arguments, instrument)
    other = None if arguments.playing else better_playing(melodies, setup)
    if other:
        arguments.playing = other[0]
        setup = Setup.of(setup, playing=other[0])
    fit = learn_hand(melodies, setup)
    if arguments.output:
        write_file(arguments.output, format_card(card_from(arguments, fit.setup)))
    if arguments.json:
        return as_json({"playing": arguments.playing} | _data(fit))
    told = [playing_line(other, fit.notes)] if other else []
    return "\n".join([*told, *_page(fit, len(melodies))]) + "\n"


def _tabs(arguments: argparse.Namespace) -> tuple[list[Melody], Instrument]:
    """The melodies of the tabs with their places, and the instrument they are all for."""
    melodies, instruments = [], []
    for name in arguments.tabs:
        file = PurePath(name).name
        try:
            melody, instrument = (_score if is_score_name(name) else _text_tab)(arguments, name)
        except FretpathError as problem:
            if file in str(problem):
                raise
            raise RequestError(f"{file}: {problem}") from None
        melodies.append(melody)
        instruments.append(instrument)
    first = instruments[0]
    for name, other in zip(arguments.tabs, instruments, strict=True):
        if other.open_pitches != first.open_pitches:
            raise RequestError(
                f"{PurePath(name).name} is for {other.name} ({other.tuning}) and "
                f"{PurePath(arguments.tabs[0]).name} for {first.name} ({first.tuning}); a hand is "
                "learned on one instrument: leave one out, or say --instrument"
            )
    return melodies, first


def playing_line(other: tuple[Playing, int, int], notes: int) -> str:
    """The line that tells of another way of playing which explains the notes better."""
    way, agree, usual = other
    return (
        f"played in {way.removeprefix('in-').replace('-', ' ')} (--playing {way}): "
        f"{_share(agree, notes)} lie where they cost least, {_share(usual, notes)} in the usual way"
    )


def _text_tab(arguments: argparse.Namespace, name: str) -> tuple[Melody, Instrument]:
    before = list(arguments.remarks)
    arguments.tab = name
    reading = reading_from(arguments)
    found = (*arguments.remarks[len(before) :], *reading.doubts)
    arguments.remarks = [*before, *(f"{PurePath(name).name}: {remark}" for remark in found)]
    return reading.melody, reading.instrument


def _score(arguments: argparse.Namespace, name: str) -> tuple[Melody, Instrument]:
    from fretpath.exchange.scores import read_score

    note_input(name)
    found = read_score(name, places=True)
    arguments.remarks.extend(f"{PurePath(name).name}: {remark}" for remark in found.remarks)
    return found.melody, instrument_from(arguments)


_WORDS = {
    "region_at": "home of the hand, mm from the nut",
    "outer": "an outermost string",
    "shift": "a shift, a mm",
}
"""Words for the prices that are learned."""


def _page(fit: HandFit, tabs: int) -> list[str]:
    lines = [
        f"{counted(tabs, 'tab')}, {counted(fit.notes, 'note')} with string and fret",
        f"where the tool would put them: {_share(fit.before, fit.notes)}",
    ]
    if fit.unseen is None:
        lines.append("on tabs left out: not known from a single tab; bring more than one")
    else:
        before, after = fit.unseen
        lines.append(
            f"on tabs left out, each in turn: {_share(before, fit.notes)} before, "
            f"{_share(after, fit.notes)} after learning"
        )
    if not fit.changes:
        return [*lines, "", "no other price explains them better: the usual ones stay"]
    lines += [f"with the prices learned from all: {_share(fit.after, fit.notes)}", ""]
    rows = [(name, f"{value:g}", _WORDS[name]) for name, value in fit.changes.items()]
    return [*lines, *table(rows, head=("price", "learned", "what it is"), align="lrl", gap=2)]


def _share(agree: int, notes: int) -> str:
    return f"{agree} of {notes} ({agree / notes:.0%})"


def _data(fit: HandFit) -> dict[str, object]:
    return {
        "notes": fit.notes,
        "agree_before": fit.before,
        "agree_after": fit.after,
        "agree_on_tabs_left_out": None
        if fit.unseen is None
        else dict(zip(("before", "after"), fit.unseen, strict=True)),
        "weights": fit.changes,
    }
