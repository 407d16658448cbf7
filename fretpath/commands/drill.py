"""Make drills from a melody, or from the degrees a student confuses.

Kinds that sound: phrase (which of these do you hear?), degree, interval, third, scale, lydian,
difference, sing, finish.  Others: call (phrases in call and answer, as melody text), shift (the
hardest shift as a loop), tempo (a ladder of tempos).  Written to a file ending in .html a drill
sounds and tells right or wrong at once; as text it is a paper with its answer key.
"""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import Any

from fretpath.commands.files import file_text, whole_folder, write_file
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    arrangement_from,
    as_json,
    deliver,
    melody_from,
    setup_from,
)
from fretpath.errors import RequestError, UnplayableError
from fretpath.exchange.door import ending_of
from fretpath.lesson.drill import (
    KINDS,
    Drill,
    call_and_answer,
    cue_of,
    drill_data,
    drill_html,
    drill_key,
    drill_text,
    parse_confused,
    phrases_for,
    questions_of,
)
from fretpath.lesson.practice import (
    USUAL_SPEED,
    hardest_shift,
    ladder_page,
    loop_page,
    tempo_ladder,
)
from fretpath.lesson.record import confusions, drill_pairs, parse_record, rows_of
from fretpath.lesson.tune import USUAL_TEMPO
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.values import to_dict

_SILENT_KINDS = ("call", "shift", "tempo")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser, needed=False)
    kinds = (*KINDS, *_SILENT_KINDS)
    parser.add_argument(
        "--kind",
        metavar="KIND",
        choices=kinds,
        default="phrase",
        help=f"{', '.join(kinds)} (default: phrase)",
    )
    parser.add_argument("--confused", default="", help='degrees confused: "3=b3 4=#4"')
    parser.add_argument(
        "--from",
        dest="record",
        metavar="RECORD",
        help="take what was confused from this record of the class (see mark --record)",
    )
    parser.add_argument("--student", help="whose confusions, with --from (default: everybody's)")
    parser.add_argument("--draw", type=int, default=1, help="number of the set")
    parser.add_argument("--choices", type=int, default=4, help="choices a question (default 4)")
    parser.add_argument("--answers", metavar="FILE", help="write the answer key there instead")
    parser.add_argument("--sounds", metavar="FOLDER", help="write every question as a WAV file too")
    parser.add_argument("--run-up", type=int, default=4, help="notes before the shift (default 4)")
    parser.add_argument(
        "--fastest", type=float, default=USUAL_SPEED, help="mm/s a shift may reach (default 400)"
    )
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The drill asked for, or the same as JSON."""
    _refuse_what_does_not_fit(arguments)
    if arguments.kind in KINDS:
        return _questions(arguments)
    make = {"call": _call, "shift": _shift, "tempo": _tempo}
    text, data = make[arguments.kind](arguments)
    return deliver(arguments, as_json(data) if arguments.json else text)


def _refuse_what_does_not_fit(arguments: argparse.Namespace) -> None:
    ending = ending_of(arguments.output or "")
    if ending not in ("", ".html", ".htm", ".txt", ".json"):
        raise RequestError(
            f"a drill is written as .html (it sounds) or .txt, not {ending}; "
            "--sounds FOLDER writes its sounds"
        )
    for option in ("answers", "sounds"):
        if getattr(arguments, option) and arguments.kind not in KINDS:
            raise RequestError(f"--{option} does not go with --kind {arguments.kind}; drop it")
    if arguments.student and not arguments.record and arguments.card is None:
        raise RequestError("--student goes with --from RECORD")
    if ending in (".html", ".htm"):
        if arguments.kind not in KINDS:
            raise RequestError(f"--kind {arguments.kind} is text: write it to a .txt file")
        if arguments.json or arguments.answers:
            raise RequestError("a page holds its answers: drop --json and --answers, or -o")


# -- questions that sound --------------------------------------------------------------------------


def _questions(arguments: argparse.Namespace) -> str:
    confused = _confusions(arguments)
    melody = _on_the_instrument(arguments, confused)
    questions = questions_of(
        melody,
        arguments.kind,
        draw=arguments.draw,
        choices=arguments.choices,
        confused=confused,
    )
    drill = Drill(tuple(questions), melody.title, arguments.draw)
    if arguments.sounds:
        _write_sounds(drill, arguments.sounds)
    if arguments.json:
        return deliver(arguments, as_json(drill_data(drill)))
    if ending_of(arguments.output or "") in (".html", ".htm"):
        return deliver(arguments, drill_html(drill))
    if arguments.answers:
        write_file(arguments.answers, drill_key(drill))
        return deliver(arguments, drill_text(drill))
    return deliver(arguments, f"{drill_text(drill)}\f\n{drill_key(drill)}")


def _confusions(arguments: argparse.Namespace) -> list[tuple[str, str]]:
    given = parse_confused(arguments.confused)
    if not arguments.record:
        return given
    record, remarks = parse_record(file_text(Path(arguments.record)), arguments.record)
    arguments.remarks.extend(remarks)
    rows = rows_of(record, arguments.student) if arguments.student else record
    found = drill_pairs(confusions(rows))
    if not found and not given:
        raise RequestError("nothing was confused in this record: there is nothing to drill")
    return [*given, *found]


def _on_the_instrument(arguments: argparse.Namespace, confused: list[tuple[str, str]]) -> Melody:
    """The melody in the octave in which the student plays it."""
    if arguments.melody:
        melody = melody_from(arguments)
    else:
        melody = phrases_for(confused, arguments.key)
    if not melody.octave_free:
        return melody
    try:
        return replace(arrange(melody, setup_from(arguments)).melody, title=melody.title)
    except UnplayableError:
        return melody.in_octave(3)


def _write_sounds(drill: Drill, folder: str) -> None:
    from fretpath.page.sound import melody_wav

    with whole_folder(folder) as place:
        for number, question in enumerate(drill.questions, start=1):
            write_file(place / f"{number:02}.wav", melody_wav(cue_of(question)))


# -- the others ------------------------------------------------------------------------------------


def _arrangement(arguments: argparse.Namespace) -> Arrangement:
    if not arguments.melody:
        raise RequestError(f"--kind {arguments.kind} needs a melody to be fingered")
    return arrangement_from(arguments)


def _call(arguments: argparse.Namespace) -> tuple[str, Any]:
    confused = _confusions(arguments)
    melody = melody_from(arguments) if arguments.melody else phrases_for(confused, arguments.key)
    text = format_melody(call_and_answer(melody))
    return text, {"melody": text}


def _shift(arguments: argparse.Namespace) -> tuple[str, Any]:
    arrangement = _arrangement(arguments)
    loop = hardest_shift(arrangement, run_up=arguments.run_up)
    data = to_dict(loop) if loop else None
    return loop_page(loop, arrangement), data


def _tempo(arguments: argparse.Namespace) -> tuple[str, Any]:
    arrangement = _arrangement(arguments)
    ladder = tempo_ladder(arrangement, limit=arguments.fastest)
    own = float(arrangement.melody.tempo or USUAL_TEMPO)
    return ladder_page(ladder, own), to_dict(ladder)
