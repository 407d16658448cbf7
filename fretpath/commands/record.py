"""Read the record of a class: what each student confuses, week by week, and what comes next.

A record is a CSV table that "fretpath mark --record FILE" adds to.  With -o record.html it becomes
one page with small plots.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from fretpath.commands.files import file_text
from fretpath.commands.folder import add_jobs_option, each_melody, finish
from fretpath.commands.options import add_output_options, as_json, deliver
from fretpath.errors import RequestError
from fretpath.lesson.order import by_ear
from fretpath.lesson.record import (
    Candidate,
    class_progress,
    parse_record,
    progress_of,
    record_data,
    record_html,
    record_page,
)
from fretpath.lesson.tune import Tune, tune_of
from fretpath.music.melody import Melody


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("record", metavar="FILE", help="the record of a class (CSV)")
    parser.add_argument("--student", metavar="NAME", help="this student only")
    parser.add_argument("--next", metavar="FOLDER", help="look here for the next tune")
    add_jobs_option(parser)
    add_output_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The class and every student, as text, HTML or JSON."""
    path = Path(arguments.record)
    rows, remarks = parse_record(file_text(path), path.name)
    arguments.remarks.extend(str(remark) for remark in remarks)
    if not rows:
        raise RequestError(f"{path.name} has no answers yet; fretpath mark --record adds them")
    candidates, faults = _candidates(arguments)
    if arguments.student:
        students = [progress_of(rows, arguments.student, candidates)]
    else:
        students = class_progress(rows, candidates)
    if arguments.json:
        text = as_json(record_data(students))
    elif (arguments.output or "").lower().endswith((".html", ".htm")):
        text = record_html(students, path.name)
    else:
        text = record_page(students, path.name)
    return finish(deliver(arguments, text), faults)


def _candidates(arguments: argparse.Namespace) -> tuple[list[Candidate] | None, list[str]]:
    """The tunes of the folder asked about, in the order for the ear, and the files left out."""
    if not arguments.next:
        return None, []
    found, faults = each_melody(arguments.next, _measure, arguments.remarks, jobs=arguments.jobs)
    by_name = {one.name: one for _, one in found}
    lessons = by_ear([tune for tune, _ in found])
    return [by_name[lesson.tune.name] for lesson in lessons], faults


def _measure(melody: Melody, name: str) -> tuple[Tune, Candidate]:
    return tune_of(melody, name), Candidate.of(melody, name)
