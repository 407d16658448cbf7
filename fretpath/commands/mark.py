"""Mark students' answers against a melody, and name the tunes that train what was confused.

An answer is degrees, notes or a text tab.  Lengths are marked only where an answer gives them; a
tab has none.
"""

from __future__ import annotations

import argparse
import re
from collections import Counter
from functools import partial

from fretpath.commands.files import melody_text
from fretpath.commands.folder import add_jobs_option, each_melody, finished
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    delivered,
)
from fretpath.lesson.find import plain_degrees
from fretpath.lesson.folder import check_tune
from fretpath.lesson.marking import (
    Marking,
    NextTune,
    Points,
    confusions,
    mark,
    mark_data,
    mark_page,
    richness,
)
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument(
        "expected", metavar="EXPECTED", help="the tune: a file, or melody text in quotes"
    )
    parser.add_argument(
        "answers",
        metavar="ANSWER",
        nargs="+",
        help="what a student wrote: degrees, notes or a text tab; a file, or text in quotes",
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
        "--next", metavar="FOLDER", help="look here for tunes rich in what was confused"
    )
    add_jobs_option(parser)
    add_output_options(parser)
    add_instrument_options(parser)
    parser.set_defaults(instrument=None, remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """Every answer with its faults and points, or the same as JSON."""
    points = Points.read(arguments.points) if arguments.points else Points()
    text, source = melody_text(arguments.expected)
    expected = parse_melody(text, key=arguments.key, source=source)
    marked = [
        _marked(expected, answer, number, points, arguments)
        for number, answer in enumerate(arguments.answers, start=1)
    ]
    following: list[NextTune] | None = None
    faults: list[str] = []
    if arguments.next:
        found = confusions(marking for _, marking in marked)
        following, faults = _following(arguments.next, found, arguments.jobs)
    title = expected.title or source
    if arguments.json:
        page = as_json(mark_data(title, marked, points, following))
    else:
        page = mark_page(title, marked, points, following)
    return finished(delivered(arguments, page), faults)


def _marked(
    expected: Melody, argument: str, number: int, points: Points, arguments: argparse.Namespace
) -> tuple[str, Marking]:
    text, name = melody_text(argument)
    name = f"answer {number}" if name == "melody" else name
    if _is_tab(text):
        answer = _played(expected, text if argument == "-" else argument, arguments)
        return name, mark(expected, answer, points=points, lengths=False)
    key = None if _gives_a_key(text) else arguments.answer_key or expected.key
    answer = parse_melody(text, key=key, source=name)
    lengths = _with_lengths(expected, answer, arguments.lengths)
    marking = mark(expected, answer, points=points, lengths=lengths)
    if marking.counts["wrong octave"] and _LETTER_ALONE.search(text):
        arguments.remarks.append(
            f"{name}: letters without an octave are read as the nearest to the note before; "
            "--points octave=0 leaves octaves unmarked"
        )
    return name, marking


_LETTER_ALONE = re.compile(r"(?<![\w:])[A-G][#b]*(?=[\s:|]|$)")


def _is_tab(text: str) -> bool:
    """Whether some line is a string of a text tab; no line of music has two hyphens together."""
    return any("--" in line and ":" not in line for line in text.splitlines())


def _played(expected: Melody, tab: str, arguments: argparse.Namespace) -> Melody:
    """What a text tab plays, in the key asked for, its own, or that of the tune."""
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


def _gives_a_key(text: str) -> bool:
    return any(line.lstrip().startswith("key:") for line in text.splitlines())


def _with_lengths(expected: Melody, answer: Melody, wanted: str) -> bool:
    if wanted != "auto":
        return wanted == "mark"
    return any(beats != 1 for beats in answer.lengths) or all(b == 1 for b in expected.lengths)


def _following(
    folder: str, confused: Counter[tuple[str, str]], jobs: int
) -> tuple[list[NextTune], list[str]]:
    tunes, faults = each_melody(folder, partial(_next_tune, confused), jobs=jobs)
    rich = [tune for tune in tunes if tune.richness > 0]
    return sorted(rich, key=lambda tune: (-tune.richness, tune.name)), faults


def _next_tune(confused: Counter[tuple[str, str]], name: str, text: str) -> NextTune:
    melody = parse_melody(text, source=name)
    check_tune(melody, name)
    return NextTune(name, melody.title or name, richness(plain_degrees(melody), confused))
