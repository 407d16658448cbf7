"""Mark students' answers against a melody, and name the tunes that train what was confused.

An answer is degrees, notes, a text tab or a recording of one plucked line (.wav, .flac, .ogg,
.mp3), or a folder of such files.  A name stands in it as
"name: Tom", or in front of the notes as "Tom: 1 3 5", or is that of the file.  Lengths are marked
only where an answer gives them; a tab has none.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path, PurePath

from fretpath.commands.files import append_file, melody_files, melody_text
from fretpath.commands.folder import add_jobs_option, each_melody, finish
from fretpath.commands.heard import melody_from_recording
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    deliver,
)
from fretpath.errors import FretpathError, RequestError
from fretpath.exchange.door import is_recording_name
from fretpath.lesson.answers import read_answer, split_name
from fretpath.lesson.marking import Marking, Points, mark, mark_best, mark_data, mark_page
from fretpath.lesson.record import (
    AskedNote,
    Candidate,
    added_text,
    confusions,
    format_record,
    richest,
)
from fretpath.lesson.tune import named
from fretpath.music.key import Key
from fretpath.music.loose import read_loosely
from fretpath.music.melody import Melody
from fretpath.music.words import counted


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "expected", metavar="EXPECTED", help="the tune: a file, or melody text in quotes"
    )
    parser.add_argument(
        "answers",
        metavar="ANSWER",
        nargs="+",
        help="what a student wrote: degrees, notes or a text tab; a file, text in quotes, or a "
        "folder of files",
    )
    parser.add_argument("--key", help="key of the tune when its text gives none")
    parser.add_argument(
        "--answer-key", help="key of answers whose text gives none (default: that of the tune)"
    )
    parser.add_argument("--points", default="", help="such as degree=2,octave=1,length=1,added=2")
    parser.add_argument(
        "--lengths",
        choices=("auto", "mark", "ignore"),
        default="auto",
        help="mark lengths; auto leaves them out when an answer gives none",
    )
    parser.add_argument(
        "--record", metavar="FILE", help="add the answers to this record of the class (CSV)"
    )
    parser.add_argument("--date", help="day of the answers for the record (default: today)")
    parser.add_argument(
        "--next", metavar="FOLDER", help="look here for tunes rich in what was confused"
    )
    add_jobs_option(parser)
    add_output_options(parser)
    add_instrument_options(parser)
    parser.set_defaults(instrument=None, remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """Every answer with its reasons, mistakes and points, or the same as JSON."""
    points = Points.read(arguments.points) if arguments.points else Points()
    day = _day(arguments.date)
    text, source = melody_text(arguments.expected)
    expected, remarks = read_loosely(text, key=arguments.key, source=source)
    arguments.remarks.extend(remarks)
    title = named(expected, source).title
    marked, faults = _mark_all(expected, points, arguments)
    rows = _rows(day, title, marked)
    if arguments.record:
        _record(arguments, rows)
    found = confusions(rows)
    following: list[Candidate] | None = None
    if arguments.next:
        tunes, more = each_melody(
            arguments.next, Candidate.of, arguments.remarks, jobs=arguments.jobs
        )
        following = richest(tunes, found, title)
        faults += more
    make = mark_data if arguments.json else mark_page
    page = make(title, marked, points, found, following)
    text = page if isinstance(page, str) else as_json(page)
    return finish(deliver(arguments, text), faults)


def _day(text: str | None) -> str:
    if text is None:
        return date.today().isoformat()
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise RequestError(f'--date is a day such as 2026-11-25, not "{text[:20]}"') from None


def _mark_all(
    expected: Melody, points: Points, arguments: argparse.Namespace
) -> tuple[list[tuple[str, Marking]], list[str]]:
    """The answers with their names, and what is wrong with those that cannot be read.

    A single answer that cannot be read is an error.
    """
    marked: list[tuple[str, Marking]] = []
    faults: list[str] = []
    answers = list(_answers(arguments.answers))
    for number, answer in enumerate(answers, start=1):
        try:
            marked.append(_mark_one(expected, answer, number, points, arguments))
        except FretpathError as problem:
            if len(answers) == 1:
                raise
            name = PurePath(answer).name if _is_file(answer) else f"answer {number}"
            message = str(problem)
            faults.append(message if name in message else f"{name}: {message}")
    if not marked:
        raise FretpathError("\n".join(faults))
    return marked, faults


def _answers(arguments: Sequence[str]) -> Iterator[str]:
    """The answers named, with the files of every folder in place of it."""
    for argument in arguments:
        if "\n" not in argument and os.path.isdir(argument):
            yield from (str(file) for file in melody_files(argument))
        else:
            yield argument


def _is_file(answer: str) -> bool:
    return "\n" not in answer and len(answer) < 4096 and os.path.isfile(answer)


def _mark_one(
    expected: Melody, argument: str, number: int, points: Points, arguments: argparse.Namespace
) -> tuple[str, Marking]:
    if _is_file(argument) and is_recording_name(argument):
        return _mark_recording(expected, argument, points, arguments)
    text, source = melody_text(argument)
    typed = source == "melody"
    source = f"answer {number}" if typed else source
    wanted = {"auto": None, "mark": True, "ignore": False}[arguments.lengths]
    if _is_tab(text):
        answer = _melody_of_tab(expected, text if argument == "-" else argument, arguments)
        name = split_name(text)[0] or PurePath(source).stem
        return name, mark(expected, answer, points=points, lengths=False)
    answers = read_answer(text, arguments.answer_key or expected.key, source)
    read, marking = mark_best(expected, answers, points=points, lengths=wanted)
    name = read.student or (source if typed else PurePath(source).stem)
    arguments.remarks.extend(f"{source}: {remark}" for remark in read.remarks)
    return name, marking


def _mark_recording(
    expected: Melody, recording: str, points: Points, arguments: argparse.Namespace
) -> tuple[str, Marking]:
    """The marking of a recording; its lengths are not marked, its octave is free."""
    key = Key.parse(arguments.answer_key) if arguments.answer_key else expected.key
    heard, melody = melody_from_recording(arguments, recording, key)
    unclear = [number for number, note in enumerate(heard.notes) if note.doubtful]
    marking = mark(expected, melody, points=points, lengths=False, unclear=unclear)
    return PurePath(recording).stem, marking


def _is_tab(text: str) -> bool:
    """Whether some line is a string of a text tab; no line of music has two hyphens together."""
    return any("--" in line and ":" not in line for line in text.splitlines())


def _melody_of_tab(expected: Melody, tab: str, arguments: argparse.Namespace) -> Melody:
    """The tune a text tab plays, in the key asked for, its own, or that of the tune."""
    from fretpath.commands.read import reading_from

    said: list[str] = []
    asked = argparse.Namespace(
        **{**vars(arguments), "tab": tab, "key": arguments.answer_key, "remarks": said}
    )
    found = reading_from(asked).melody
    if found.key is None:
        asked.key = str(expected.key)
        found = reading_from(asked).melody
    arguments.remarks = list(dict.fromkeys([*arguments.remarks, *said]))
    return found


# -- the record ------------------------------------------------------------------------------------


def _rows(day: str, title: str, marked: Sequence[tuple[str, Marking]]) -> list[AskedNote]:
    return [
        AskedNote(day, name, title, asked, answered)
        for name, marking in marked
        for asked, answered in marking.degrees
    ]


def _record(arguments: argparse.Namespace, rows: Sequence[AskedNote]) -> None:
    """Add the rows to the record; what it holds already is not added twice."""
    nameless = next((row.student for row in rows if row.student.startswith("answer ")), None)
    if nameless:
        raise RequestError(f'{nameless} has no name, and a record needs one: begin it with "Tom: "')
    path = Path(arguments.record)
    before = len(arguments.remarks)

    def more(text: str) -> str:
        added, remarks = added_text(text, rows, path.name)
        arguments.remarks.extend(str(remark) for remark in remarks)
        return added

    added = append_file(path, more)
    if len(arguments.remarks) == before:
        notes = added.removeprefix(format_record([])).strip().splitlines()
        arguments.remarks.append(f"{path.name}: {counted(len(notes), 'note')} added")
