"""Make drills from a melody, or from the degrees a student takes for one another.

Kinds: look-alike (which of these phrases do you hear?), call (phrases in call and answer, as
melody text), shift (the hardest shift as a loop), tempo (a ladder of tempos).
"""

from __future__ import annotations

import argparse
from dataclasses import asdict
from typing import Any

from fretpath.commands.files import write_file
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_options,
    arrangement_from,
    as_json,
    delivered,
    melody_from,
)
from fretpath.errors import RequestError
from fretpath.lesson.drill import (
    Question,
    call_and_answer,
    look_alikes,
    parse_confused,
    phrases_for,
)
from fretpath.lesson.drillpage import (
    ladder_page,
    look_alike_data,
    look_alike_key,
    look_alike_page,
    loop_page,
    music_of,
)
from fretpath.lesson.folder import USUAL_TEMPO
from fretpath.lesson.practice import USUAL_SPEED, hardest_shift, tempo_ladder
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.neck.arrangement import Arrangement

_KINDS = ("look-alike", "call", "shift", "tempo")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser, needed=False)
    parser.add_argument("--kind", choices=_KINDS, default="look-alike", help="default: look-alike")
    parser.add_argument("--confused", default="", help='degrees taken for one another: "3=b3 4=#4"')
    parser.add_argument("--draw", type=int, default=1, help="another number, another look-alike")
    parser.add_argument("--choices", type=int, default=4, help="choices a question (default 4)")
    parser.add_argument("--answers", metavar="FILE", help="write the answer key there instead")
    parser.add_argument("--run-up", type=int, default=4, help="notes before the shift (default 4)")
    parser.add_argument(
        "--fastest", type=float, default=USUAL_SPEED, help="mm/s a shift may reach (default 400)"
    )
    add_output_options(parser)
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The drill asked for, or the same as JSON."""
    if arguments.answers and arguments.kind != "look-alike":
        raise RequestError(f"a drill of the kind {arguments.kind} has no answers; drop --answers")
    make = {"look-alike": _look_alike, "call": _call, "shift": _shift, "tempo": _tempo}
    text, data = make[arguments.kind](arguments)
    return delivered(arguments, as_json(data) if arguments.json else text)


def _melody(arguments: argparse.Namespace) -> Melody:
    if arguments.melody:
        return melody_from(arguments)
    return phrases_for(parse_confused(arguments.confused), arguments.key)


def _arrangement(arguments: argparse.Namespace) -> Arrangement:
    if not arguments.melody:
        raise RequestError(f"a drill of the kind {arguments.kind} needs a melody to be fingered")
    return arrangement_from(arguments)


def _look_alike(arguments: argparse.Namespace) -> tuple[str, Any]:
    melody = _melody(arguments)
    questions = look_alikes(
        melody,
        draw=arguments.draw,
        choices=arguments.choices,
        confused=parse_confused(arguments.confused),
    )
    return _both_pages(questions, melody.title, arguments), look_alike_data(
        questions, arguments.draw
    )


def _both_pages(questions: list[Question], title: str, arguments: argparse.Namespace) -> str:
    page = look_alike_page(questions, title, arguments.draw)
    key = look_alike_key(questions, title, arguments.draw)
    if arguments.answers:
        write_file(arguments.answers, key)
        return page
    return f"{page}\f\n{key}"


def _call(arguments: argparse.Namespace) -> tuple[str, Any]:
    text = format_melody(call_and_answer(_melody(arguments)))
    return text, {"melody": text}


def _shift(arguments: argparse.Namespace) -> tuple[str, Any]:
    arrangement = _arrangement(arguments)
    loop = hardest_shift(arrangement, run_up=arguments.run_up)
    data = None
    if loop:
        data = {
            "place": loop.place,
            "distance_mm": round(loop.distance, 1),
            "speed_mm_s": round(loop.speed, 1),
            "tempo": float(loop.tempo),
            "melody": music_of(loop.melody),
        }
    return loop_page(loop, arrangement), data


def _tempo(arguments: argparse.Namespace) -> tuple[str, Any]:
    arrangement = _arrangement(arguments)
    ladder = tempo_ladder(arrangement, limit=arguments.fastest)
    own = float(arrangement.melody.tempo or USUAL_TEMPO)
    return ladder_page(ladder, own), asdict(ladder)
