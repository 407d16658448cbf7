"""Plan a term from a folder of melodies: so many weeks, each in one file to print and to hear.

Every week has a sheet of each tune, in the key that suits the hand (with three sharps or flats at
most, unless --accidentals says otherwise), with its sound, call and answer and a listening drill,
for the student and for the teacher; two pages of contents tell what comes when, and the teacher's
names everything that is left out, with the reason.
"""

from __future__ import annotations

import argparse
from functools import partial

from fretpath.commands.files import whole_folder, write_file
from fretpath.commands.folder import (
    add_folder_options,
    each_melody,
    finish,
    order_file_from,
    playable_tune,
)
from fretpath.commands.options import add_hand_options, add_instrument_options, setup_from
from fretpath.errors import FretpathError, RequestError
from fretpath.lesson.packet import Style, TermPlan, plan_term, term_contents, week_name, week_pages
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.page.sheet import Look
from fretpath.page.sound import SoundPlan

_ACCIDENTALS = 3


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_folder_options(parser)
    parser.add_argument("--weeks", type=int, default=4, help="how many weeks (default 4)")
    parser.add_argument("--tunes", type=int, default=3, help="tunes a week at most (default 3)")
    parser.add_argument(
        "--known",
        dest="known_degrees",
        metavar="DEGREES",
        help='degrees the student knows: "1 2 3 5"; what brings more than two others waits',
    )
    parser.add_argument("--student", metavar="NAME", help="name of the student, for the pages")
    parser.add_argument(
        "--left-handed", action="store_true", help="charts with the nut on the right"
    )
    parser.add_argument("--title", default="", help="title of the term")
    parser.add_argument("--order-file", metavar="FILE", help="files that come first, one a line")
    parser.add_argument("--no-sound", action="store_true", help="pages without sound (small)")
    parser.add_argument("-o", "--output", metavar="FOLDER", help="the folder to write")
    add_instrument_options(parser)
    add_hand_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """Write the term; a line for each week."""
    if arguments.output is None:
        raise RequestError("a term is a folder of its own: name it with -o FOLDER")
    front = order_file_from(arguments)
    if arguments.accidentals is None:
        arguments.accidentals = _ACCIDENTALS
    setup = setup_from(arguments)
    measure = partial(playable_tune, setup=setup, any_key=True)
    found, faults = each_melody(arguments.folder, measure, arguments.remarks, jobs=arguments.jobs)
    if not found:
        raise FretpathError("\n".join(["no melody can be used:", *faults]))
    melodies = {tune.name: melody for tune, melody in found}
    term = plan_term(
        [tune for tune, _ in found],
        arguments.weeks,
        a_week=arguments.tunes,
        known=None if arguments.known_degrees is None else arguments.known_degrees.split(),
        order=front,
    )
    title = ", ".join(filter(None, (arguments.title, arguments.student)))
    look = Look(title=title, cautions=False, left_handed=arguments.left_handed)
    plan = None if arguments.no_sound else SoundPlan(count_in=True)
    style = Style(setup, look, any_key=True, sound=plan)
    _write(arguments, term, melodies, style, faults)
    return finish(_report(arguments.output, term), faults)


def _write(
    arguments: argparse.Namespace,
    term: TermPlan,
    melodies: dict[str, Melody],
    style: Style,
    faults: list[str],
) -> None:
    named = bool(arguments.student)
    with whole_folder(arguments.output) as folder:
        for week in term.weeks:
            for student, page in zip((True, False), week_pages(week, melodies, style), strict=True):
                write_file(folder / week_name(week.number, student=student), page)
        for student, name in ((True, "contents_student.html"), (False, "contents_teacher.html")):
            unusable = () if student else faults
            page = term_contents(term, style, student=student, named=named, unusable=unusable)
            write_file(folder / name, page)


def _report(output: str, term: TermPlan) -> str:
    lines = [f"{output}: {counted(len(term.weeks), 'week')}, begin with contents_teacher.html"]
    for week in term.weeks:
        tunes = ", ".join(f"{one.tune.title} ({one.tune.key})" for one in week.lessons)
        lines.append(f"week {week.number}: {tunes}")
    lines += [f"not in these weeks: {tune.title} ({reason})" for tune, reason in term.left_out]
    return "\n".join(lines) + "\n"
