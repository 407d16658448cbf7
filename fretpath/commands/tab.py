"""Print a melody as fingered tab with its spelling under it, or write its sound or score."""

from __future__ import annotations

import argparse
from dataclasses import replace
from typing import Any

from fretpath.commands.files import write_file
from fretpath.commands.options import (
    add_hand_options,
    add_hide_option,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    add_sound_options,
    add_width_option,
    arrangement_from,
    as_json,
    deliver,
    sound_plan_from,
    with_found_key,
)
from fretpath.errors import RequestError
from fretpath.exchange.door import KINDS, ending_of
from fretpath.music.calls import with_answers
from fretpath.neck.arrange import replan
from fretpath.neck.arrangement import Arrangement
from fretpath.page.captions import LEGENDS, reasons_data, render_reasons, render_ways
from fretpath.page.rows import Blanks, arrangement_data, render_spoken
from fretpath.page.spelling import guess_data, under_guess
from fretpath.page.tab import ROWS, SPACINGS, TAB_ROWS, render_tab

_SOUNDS = (".wav", ".mp3")
_ELSEWHERE = {
    ".html": "fretpath sheet",
    ".svg": "fretpath neck",
}
"""Endings of files that other commands make."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument(
        "--rows", default=",".join(ROWS), help=f"rows to show, of {','.join(TAB_ROWS)}"
    )
    add_width_option(parser)
    parser.add_argument("--simple", action="store_true", help="print 2' for a ninth")
    _add_looks(parser)
    parser.add_argument(
        "--ways", type=int, metavar="N", default=1, help="truly different ways to play it"
    )
    parser.add_argument(
        "--why", action="store_true", help="what each step costs, and the next best"
    )
    parser.add_argument(
        "--cannot-reach",
        type=int,
        metavar="NOTE",
        help="play this note (counted from 1) elsewhere, and keep what comes before it",
    )
    add_output_options(parser)
    add_sound_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def _add_looks(parser: argparse.ArgumentParser) -> None:
    """How the page looks, and what it leaves out."""
    parser.add_argument(
        "--spacing",
        choices=SPACINGS,
        default="even",
        help="columns as narrow as they go (default), or wide in proportion to time",
    )
    parser.add_argument(
        "--legend",
        choices=LEGENDS,
        default="short",
        help="explain nothing, what this page needs (default), or every sign and convention",
    )
    add_hide_option(parser)
    parser.add_argument("--spoken", action="store_true", help="one sentence a note, to read aloud")


def run(arguments: argparse.Namespace) -> str:
    """The tab, the same as JSON or as sentences, its sound, or its score."""
    arrangement = arrangement_from(arguments)
    if arguments.cannot_reach is not None:
        arrangement = replan(arrangement, arguments.cannot_reach)
    ending = ending_of(arguments.output or "")
    _refuse_what_is_not_written(arguments, ending)
    if ending in _SOUNDS or ending in KINDS:
        write = _sound if ending in _SOUNDS else _score
        write_file(arguments.output, write(arguments, arrangement))
        return ""
    melody, guess = with_found_key(arrangement.melody)
    if guess:
        arrangement = replace(arrangement, melody=melody)
    ways = _ways(arrangement, arguments.ways)
    if arguments.json:
        if arguments.hide:
            raise RequestError("--json shows everything and --hide does not; drop one of the two")
        found = {"key_found": guess_data(guess)} if guess else {}
        data = [_data(way, arguments) | found for way in ways]
        return deliver(arguments, as_json(data[0] if arguments.ways == 1 else data))
    pages = [_page(way, arguments) for way in ways]
    if not (arguments.spoken or arguments.hide):
        under_the_tab = set(map(str, arrangement.remarks))
        arguments.remarks = [one for one in arguments.remarks if one not in under_the_tab]
    page = pages[0] if arguments.ways == 1 else _beside(pages, ways, arguments.ways)
    return deliver(arguments, under_guess(guess, page))


def _beside(pages: list[str], ways: tuple[Arrangement, ...], count: int) -> str:
    """The figures of the ways side by side, what all pages begin with, and the rest of each."""
    head, _, _ = pages[0].partition("\n\n")
    short = [page.removeprefix(f"{head}\n\n") for page in pages]
    titled = [f"way {number}\n{page}" for number, page in enumerate(short, start=1)]
    return "\n".join([render_ways(ways), *_no_more(ways, count), f"{head}\n", *titled])


def _ways(arrangement: Arrangement, count: int) -> tuple[Arrangement, ...]:
    if count == 1:
        return (arrangement,)
    from fretpath.neck.ways import ways_beside

    return ways_beside(arrangement, count)


def _no_more(ways: tuple[Arrangement, ...], count: int) -> list[str]:
    """Why there are fewer ways than asked for."""
    if len(ways) == count:
        return []
    notes = [note for note in ways[0].melody.notes if note.struck]
    if all(note.placement for note in notes):
        return [
            "the text gives every note its place (@): take those out for other ways\n"
            "(a text tab without them: fretpath read TAB --melody --no-places)\n"
        ]
    return ["no further way differs enough from these at less than about twice the effort\n"]


def _page(arrangement: Arrangement, arguments: argparse.Namespace) -> str:
    hide = Blanks.parse(arguments.hide)
    if arguments.spoken:
        return render_spoken(arrangement, degrees=arguments.degrees, hide=hide)
    page = render_tab(
        arrangement,
        rows=[row for row in arguments.rows.split(",") if row],
        width=arguments.width,
        degrees=arguments.degrees,
        simple=arguments.simple,
        spacing=arguments.spacing,
        hide=hide,
        legend=arguments.legend,
    )
    if not arguments.why:
        return page
    from fretpath.neck.ways import reasons

    return f"{page}\n{render_reasons(arrangement, reasons(arrangement))}"


def _data(arrangement: Arrangement, arguments: argparse.Namespace) -> dict[str, Any]:
    data = arrangement_data(arrangement, degrees=arguments.degrees)
    if arguments.why:
        from fretpath.neck.ways import reasons

        data["reasons"] = reasons_data(reasons(arrangement))
    return data


def _refuse_what_is_not_written(arguments: argparse.Namespace, ending: str) -> None:
    """Refuse a file name that promises something else, and options of a sound that is not made."""
    if ending in _ELSEWHERE:
        raise RequestError(
            f"tab writes text, sound (.wav, .mp3) and scores (.mid, .musicxml); "
            f'"{_ELSEWHERE[ending]}" writes {ending}'
        )
    if ending in _SOUNDS:
        return
    given = {
        "--tempo": arguments.tempo,
        "--count-in": arguments.count_in,
        "--drone": arguments.drone,
        "--clicks": arguments.clicks,
    }
    if ending not in (".mid", ".midi"):
        given |= {"--call-and-answer": arguments.call_and_answer, "--call": arguments.call}
    for option, value in given.items():
        if value:
            raise RequestError(f"{option} changes the sound: add -o tune.wav to hear it")


def _sound(arguments: argparse.Namespace, arrangement: Arrangement) -> bytes:
    from fretpath.page.sound import melody_mp3, melody_wav

    small = ending_of(arguments.output) == ".mp3"
    return (melody_mp3 if small else melody_wav)(arrangement.melody, sound_plan_from(arguments))


def _score(arguments: argparse.Namespace, arrangement: Arrangement) -> bytes:
    from fretpath.exchange.scores import score_bytes

    ending = ending_of(arguments.output)
    if arguments.call_and_answer or arguments.call is not None:
        return score_bytes(with_answers(arrangement.melody, arguments.call), ending)
    return score_bytes(arrangement, ending)
