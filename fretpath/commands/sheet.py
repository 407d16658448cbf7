"""Make a lesson sheet of one or many tunes: a single HTML file with tab, chart and sound.

Each MELODY is one tune: a file, or melody text in quotes.  The sheet is the teacher's copy, with
the answers under each tune; --for student makes the copy to hand out, on which everything is to
be found by ear, and --hide one that leaves out less.

A FOLDER of melodies becomes a packet in a folder of its own (-o): contents page, student and
teacher copies in teaching order, and the measures of every tune.
"""

from __future__ import annotations

import argparse
from dataclasses import replace

from fretpath.commands.found_key import key_told
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_sound_options,
    arrangement_from,
    delivered,
    sound_plan_from,
)
from fretpath.commands.packet import (
    add_packet_options,
    asked_folder,
    look_from,
    refuse_packet_options,
    run_packet,
)
from fretpath.errors import RequestError
from fretpath.neck.arrangement import Arrangement
from fretpath.page.blanks import HIDES
from fretpath.page.sheet import SHEET_ROWS, Sheet, render_sheet, sounds_for
from fretpath.page.tab import TAB_ROWS


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--title", default="", help="title of the lesson")
    parser.add_argument(
        "--rows", default=",".join(SHEET_ROWS), help=f"rows to show, of {','.join(TAB_ROWS)}"
    )
    parser.add_argument("--hide", default="", help=f"leave blanks: {', '.join(HIDES)}")
    parser.add_argument(
        "--for",
        dest="reader",
        choices=("student", "teacher"),
        help="whose copy it is; a student's leaves everything out unless --hide says what",
    )
    parser.add_argument("--name-tonic", action="store_true", help="name the tonic to the student")
    parser.add_argument("--hints", action="store_true", help="a ladder of hints, on its own page")
    parser.add_argument("--staff", action="store_true", help="staff notation above the tab")
    parser.add_argument("--left-handed", action="store_true", help="the nut on the right")
    parser.add_argument("--no-sound", action="store_true", help="a smaller file without sound")
    parser.add_argument("-o", "--output", metavar="FILE", help="the file, such as lesson.html")
    add_packet_options(parser)
    add_sound_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The sheet as HTML; the packet of a folder in one line."""
    folder = asked_folder(arguments)
    if folder:
        return run_packet(arguments, folder)
    refuse_packet_options(arguments)
    reader = arguments.reader or ("student" if arguments.hide else "teacher")
    if reader == "teacher" and (arguments.hints or arguments.name_tonic):
        raise RequestError("--hints and --name-tonic are for a student's copy: add --for student")
    arrangements = tuple(_arrangement(arguments, melody) for melody in arguments.melody)
    plan = sound_plan_from(arguments)
    heard = [] if arguments.no_sound else [sounds_for(a.melody, plan) for a in arrangements]
    sheet = Sheet(
        arrangements,
        student=reader == "student",
        look=look_from(arguments),
        sounds=tuple(tune for tune, _ in heard),
        drones=tuple(drone for _, drone in heard),
        staves=_staves(arrangements) if arguments.staff else (),
    )
    return delivered(arguments, render_sheet(sheet))


def _arrangement(arguments: argparse.Namespace, melody: str) -> Arrangement:
    """One of the melodies, fingered, in the key its notes say where it has none."""
    arrangement = arrangement_from(argparse.Namespace(**{**vars(arguments), "melody": [melody]}))
    keyed, told = key_told(arrangement.melody)
    arguments.remarks.extend(told)
    return replace(arrangement, melody=keyed)


def _staves(arrangements: tuple[Arrangement, ...]) -> tuple[str, ...]:
    """Each tune in staff notation, engraved from our own MusicXML."""
    from fretpath.exchange.scores import score_bytes
    from fretpath.page.staff import staff_svg

    return tuple(staff_svg(score_bytes(each, ".musicxml")) for each in arrangements)
