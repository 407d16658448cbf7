"""Prepare a whole term from a folder of melodies.

    python docs/prepare_a_term.py demo_melodies term --weeks 6

Reads every melody, puts them in order for the ear, moves each to the key that lies best on the
first five frets, and writes one folder a week: a contents page for the teacher, sheets for student
and teacher, the measures, and a listening test with its answers on a page of their own.  A file
that cannot be used is named at the end, and the rest goes on.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from fretpath import FretpathError, Limits, Setup, parse_melody
from fretpath.commands.files import whole_folder, write_file
from fretpath.lesson.drill import look_alikes
from fretpath.lesson.drillpage import look_alike_key, look_alike_page
from fretpath.lesson.folder import Tune, tune_from_text
from fretpath.lesson.order import Lesson, by_ear
from fretpath.lesson.packet import Style, contents_page, measures_csv, sheet_name, tune_sheets
from fretpath.page.sheet import Look

FIVE_FRETS = Setup.of("bass", limits=Limits(highest_fret=5))


def read(folder: Path) -> tuple[list[Tune], list[str]]:
    """The tunes that lie on the first five frets in some key, and what is wrong with the others."""
    tunes, faults = [], []
    for file in sorted(folder.glob("*.txt")):
        try:
            text = file.read_text(encoding="utf-8")
            tune = tune_from_text(file.name, text, FIVE_FRETS, any_key=True)
        except (FretpathError, UnicodeDecodeError) as problem:
            faults.append(f"{file.name}: {problem}")
            continue
        if tune.unplayable:
            faults.append(f"{file.name}: {tune.unplayable}")
        else:
            tunes.append(tune)
    return tunes, faults


def write_week(folder: Path, week: Path, title: str, lessons: list[tuple[int, Lesson]]) -> None:
    """The packet of one week; the folder appears when everything in it is there."""
    style = Style(FIVE_FRETS, any_key=True, look=Look(title=title, cautions=False))
    with whole_folder(week) as packet:
        for copy in ("student", "teacher"):
            (packet / copy).mkdir()
        for place, lesson in lessons:
            name = lesson.tune.name
            text = (folder / name).read_text(encoding="utf-8")
            student, teacher = tune_sheets(name, text, style)
            write_file(packet / "student" / sheet_name(place, name), student)
            write_file(packet / "teacher" / sheet_name(place, name), teacher)
            questions = look_alikes(parse_melody(text), draw=place)
            listening = f"{place:02}_{Path(name).stem}_listening.txt"
            page = look_alike_page(questions, lesson.tune.title, place)
            write_file(packet / "student" / listening, page)
            key = look_alike_key(questions, lesson.tune.title, place)
            write_file(packet / "teacher" / listening, key)
        write_file(packet / "contents.html", contents_page(lessons, style))
        write_file(packet / "measures.csv", measures_csv(lessons))


def main() -> int:
    """Write the term; 1 when a melody had to be left out."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("folder", type=Path, help="the melodies")
    parser.add_argument("term", type=Path, help="where the weeks go")
    parser.add_argument("--weeks", type=int, default=6)
    arguments = parser.parse_args()
    tunes, faults = read(arguments.folder)
    lessons = list(enumerate(by_ear(tunes), start=1))
    arguments.term.mkdir(exist_ok=True)
    each = -(-len(lessons) // arguments.weeks)
    for number, start in enumerate(range(0, len(lessons), each), start=1):
        part = lessons[start : start + each]
        write_week(arguments.folder, arguments.term / f"week_{number}", f"Week {number}", part)
        titles = ", ".join(f"{lesson.tune.title} ({lesson.tune.key})" for _, lesson in part)
        print(f"week {number}: {titles}")
    for fault in faults:
        print(f"left out: {fault}", file=sys.stderr)
    return 1 if faults else 0


if __name__ == "__main__":
    raise SystemExit(main())
