"""Make a lesson sheet of one or many tunes: a single HTML file with tab, chart and sound.

Each MELODY is one tune: a file, or melody text in quotes.  The sheet is the teacher's copy, with
the answers under each tune; --for student makes the copy to hand out, on which everything is to
be found by ear, and --hide one that leaves out less.

A FOLDER of melodies becomes a packet in a folder of its own (-o): contents page, student and
teacher copies in teaching order, and the measures of every tune.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from fretpath.commands.files import melody_files, whole_folder, write_file
from fretpath.commands.folder import (
    add_jobs_option,
    each_melody,
    finish,
    order_file_from,
    playable_tune,
)
from fretpath.commands.options import (
    add_hand_options,
    add_hide_option,
    add_instrument_options,
    add_melody_options,
    add_output_file,
    add_sound_options,
    arrangement_from,
    deliver,
    key_told,
    setup_from,
    sound_plan_from,
)
from fretpath.errors import RequestError
from fretpath.lesson.order import by_ear
from fretpath.lesson.packet import (
    Style,
    contents_page,
    measures_csv,
    sheet_name,
    tune_sheets,
    whole_print,
)
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.neck.arrangement import Arrangement
from fretpath.page.rows import EVERYTHING, Blanks
from fretpath.page.sheet import SHEET_ROWS, Look, Sheet, render_sheet, sound_for
from fretpath.page.tab import TAB_ROWS


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    parser.add_argument("--title", default="", help="title of the lesson")
    parser.add_argument(
        "--rows", default=",".join(SHEET_ROWS), help=f"rows to show, of {','.join(TAB_ROWS)}"
    )
    add_hide_option(parser)
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
    add_output_file(parser, "the file, such as lesson.html")
    _add_packet_options(parser)
    add_sound_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The sheet as HTML; the packet of a folder in one line."""
    folder = _folder(arguments)
    if folder:
        return _packet(arguments, folder)
    _refuse_packet_options(arguments)
    reader = arguments.reader or ("student" if arguments.hide else "teacher")
    if reader == "teacher" and (arguments.hints or arguments.name_tonic):
        raise RequestError("--hints and --name-tonic are for a student's copy: add --for student")
    arrangements = tuple(_arrangement(arguments, melody) for melody in arguments.melody)
    plan = sound_plan_from(arguments)
    sounds = () if arguments.no_sound else (sound_for(a.melody, plan) for a in arrangements)
    sheet = Sheet(
        arrangements,
        student=reader == "student",
        look=_look(arguments),
        sounds=tuple(sounds),
        staves=_staves(arrangements) if arguments.staff else (),
    )
    return deliver(arguments, render_sheet(sheet))


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


def _look(arguments: argparse.Namespace, *, cautions: bool = True) -> Look:
    """How the arguments want their sheets to look."""
    return Look(
        title=arguments.title,
        hide=Blanks.parse(arguments.hide) if arguments.hide else EVERYTHING,
        degrees=arguments.degrees,
        rows=tuple(row for row in arguments.rows.split(",") if row),
        name_tonic=arguments.name_tonic,
        hints=arguments.hints,
        left_handed=arguments.left_handed,
        cautions=cautions,
    )


def _add_packet_options(parser: argparse.ArgumentParser) -> None:
    """Declare the options of a packet that a sheet has not."""
    group = parser.add_argument_group("when MELODY is a folder (a packet, -o FOLDER)")
    group.add_argument("--order-file", metavar="FILE", help="files that come first, one a line")
    group.add_argument(
        "--choose-key", action="store_true", help="each tune in the key that suits the hand best"
    )
    add_jobs_option(group)


def _folder(arguments: argparse.Namespace) -> Path | None:
    """The folder a packet is asked for; None for single melodies."""
    named = arguments.melody
    return Path(named[0]) if len(named) == 1 and os.path.isdir(named[0]) else None


def _packet(arguments: argparse.Namespace, folder: Path) -> str:
    """Write the packet; one line that says where it is."""
    for option, given in _for_one_melody(arguments):
        if given is not None:
            raise RequestError(f"{option} is for single melodies, not for a folder of them")
    if arguments.output is None:
        raise RequestError("a packet is a folder of its own: name it with -o FOLDER")
    style = _style(arguments)
    front = order_file_from(arguments)
    measure = partial(playable_tune, setup=style.setup, any_key=style.any_key)
    files = melody_files(folder)
    found, faults = each_melody(files, measure, arguments.remarks, jobs=arguments.jobs)
    tunes = [tune for tune, _ in found]
    melodies = {tune.name: melody for tune, melody in found}
    lessons = list(enumerate(by_ear(tunes, order=front), start=1))
    places = {lesson.tune.name: place for place, lesson in lessons}
    measured = [file for file in files if file.name in places]
    with whole_folder(arguments.output) as packet:
        write = partial(_write_sheets, packet=packet, places=places, style=style)
        written, more = each_melody(measured, write, [], jobs=arguments.jobs)
        kept = [(place, lesson) for place, lesson in lessons if lesson.tune.name in set(written)]
        write_file(packet / "contents.html", contents_page(kept, style))
        write_file(packet / "measures.csv", measures_csv(kept))
        music = [melodies[lesson.tune.name] for _, lesson in kept]
        for copy in ("student", "teacher") if music else ():
            page = whole_print(music, style, student=copy == "student")
            write_file(packet / f"{copy}.html", page)
    report = _report(arguments.output, written)
    if faults and not arguments.choose_key:
        report += "--choose-key would move tunes to keys in which they fit\n"
    return finish(report, [*faults, *more])


def _refuse_packet_options(arguments: argparse.Namespace) -> None:
    """Raise :class:`RequestError` when single melodies come with an option of packets."""
    if arguments.order_file or arguments.choose_key or arguments.jobs != 1:
        raise RequestError("--order-file, --choose-key and --jobs need a folder of melodies")


def _for_one_melody(arguments: argparse.Namespace) -> list[tuple[str, object]]:
    """Options that mean nothing for a folder, with what was given."""
    return [
        ("--key", arguments.key),
        ("--octave", arguments.octave),
        ("--tune", arguments.tune),
        ("--part", arguments.part),
        ("--places", arguments.places or None),
        ("--for", arguments.reader),
        ("--staff", arguments.staff or None),
    ]


def _style(arguments: argparse.Namespace) -> Style:
    return Style(
        setup=setup_from(arguments),
        any_key=arguments.choose_key,
        look=_look(arguments, cautions=False),
        sound=None if arguments.no_sound else sound_plan_from(arguments),
    )


def _write_sheets(
    melody: Melody, name: str, packet: Path, places: dict[str, int], style: Style
) -> str:
    student, teacher = tune_sheets(melody, style)
    for copy, page in (("student", student), ("teacher", teacher)):
        (packet / copy).mkdir(exist_ok=True)
        write_file(packet / copy / sheet_name(places[name], name), page)
    return name


def _report(output: str, written: Sequence[str]) -> str:
    count = counted(len(written), "tune")
    return (
        f"{output}: {count}; contents.html, measures.csv, student and teacher copies;\n"
        "to print all of them: student.html, teacher.html\n"
    )
