"""Make a lesson sheet of one or many tunes: a single HTML file with tab, chart and sound.

Each MELODY is one tune: a file, or melody text in quotes.  Without --hide the sheet is the
teacher's copy, with the answers on a page of their own; --hide, or --for student, makes the copy
to hand out.

A FOLDER of melodies becomes a packet in a folder of its own (-o): contents page, student and
teacher copies in teaching order, and the measures of every tune.
"""

from __future__ import annotations

import argparse

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
    refuse_packet_options,
    run_packet,
)
from fretpath.page.blanks import HIDES, Blanks
from fretpath.page.sheet import Sheet, render_sheet
from fretpath.page.sound import melody_mp3
from fretpath.page.tab import ROWS


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--title", default="", help="title of the lesson")
    parser.add_argument("--rows", default=",".join(ROWS), help=f"rows to show, of {','.join(ROWS)}")
    parser.add_argument("--hide", default="", help=f"leave blanks: {', '.join(HIDES)}")
    parser.add_argument(
        "--for",
        dest="reader",
        choices=("student", "teacher"),
        help="whose copy it is; a student's leaves the degrees blank unless --hide says otherwise",
    )
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
    hide = Blanks.parse(arguments.hide or ("degrees" if arguments.reader == "student" else ""))
    reader = arguments.reader or ("student" if hide.any else "teacher")
    arrangements = tuple(
        arrangement_from(argparse.Namespace(**{**vars(arguments), "melody": [melody]}))
        for melody in arguments.melody
    )
    plan = sound_plan_from(arguments)
    sounds = (
        ()
        if arguments.no_sound
        else tuple(melody_mp3(arrangement.melody, plan) for arrangement in arrangements)
    )
    sheet = Sheet(
        arrangements,
        title=arguments.title,
        student=reader == "student",
        hide=hide,
        degrees=arguments.degrees,
        rows=tuple(row for row in arguments.rows.split(",") if row),
        sounds=sounds,
    )
    return delivered(arguments, render_sheet(sheet))
