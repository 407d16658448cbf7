"""The packet of a whole folder: what ``fretpath sheet FOLDER -o FOLDER`` makes."""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from fretpath.commands.files import file_text, melody_files, whole_folder, write_file
from fretpath.commands.folder import add_jobs_option, each_melody, finished, playable_tune
from fretpath.commands.options import setup_from, sound_plan_from
from fretpath.errors import RequestError
from fretpath.lesson.order import by_ear, parse_order
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
from fretpath.page.blanks import EVERYTHING, Blanks
from fretpath.page.sheet import Look


def look_from(arguments: argparse.Namespace, *, cautions: bool = True) -> Look:
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


def add_packet_options(parser: argparse.ArgumentParser) -> None:
    """What a packet needs beside the options of a sheet."""
    group = parser.add_argument_group("when MELODY is a folder (a packet, -o FOLDER)")
    group.add_argument("--order-file", metavar="FILE", help="files that come first, one a line")
    group.add_argument(
        "--choose-key", action="store_true", help="each tune in the key that suits the hand best"
    )
    add_jobs_option(group)


def asked_folder(arguments: argparse.Namespace) -> Path | None:
    """The folder a packet is asked for; None for single melodies."""
    named = arguments.melody
    return Path(named[0]) if len(named) == 1 and os.path.isdir(named[0]) else None


def run_packet(arguments: argparse.Namespace, folder: Path) -> str:
    """Write the packet; one line that says where it is."""
    for option, given in _for_one_melody(arguments):
        if given is not None:
            raise RequestError(f"{option} is for single melodies, not for a folder of them")
    if arguments.output is None:
        raise RequestError("a packet is a folder of its own: name it with -o FOLDER")
    style = _style(arguments)
    front = parse_order(file_text(Path(arguments.order_file))) if arguments.order_file else []
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
    return finished(report, [*faults, *more])


def refuse_packet_options(arguments: argparse.Namespace) -> None:
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
        look=look_from(arguments, cautions=False),
        sound=None if arguments.no_sound else sound_plan_from(arguments),
    )


def _write_sheets(
    name: str, melody: Melody, packet: Path, places: dict[str, int], style: Style
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
