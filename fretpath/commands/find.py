"""Find the melodies of a folder that have what you want, in any key."""

from __future__ import annotations

import argparse
from dataclasses import asdict
from functools import partial

from fretpath.commands.folder import add_folder_options, each_melody, finish
from fretpath.commands.options import add_output_options, as_json, deliver
from fretpath.errors import RequestError
from fretpath.lesson.find import Match, Wanted, find_in
from fretpath.page.tables import indent_lines, shorten

_TEXTS = {
    "only": 'no degrees but these: "1 2 3 5"',
    "has": 'each of these degrees: "#4"',
    "starts": "the degree of the first note: 5",
    "ends": "the degree of the last note: 1",
    "largest-leap": "no interval wider than this: P4",
    "degrees": 'these degrees in a row, in any octave: "1 3 5"',
    "intervals": 'these intervals in a row: "+M2 m3" (no sign: both ways; down: --intervals=-m3)',
    "contour": 'these directions in a row: "up up down same"',
    "met": 'ready for a student who has met these degrees: "1 2 3 5"',
}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_folder_options(parser)
    for name, about in _TEXTS.items():
        parser.add_argument(f"--{name}", metavar="TEXT", help=about)
    parser.add_argument(
        "--at-most-new", type=int, help="with --met: new degrees allowed (default 1)"
    )
    add_output_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The melodies found, with the place in each, or the same as JSON."""
    asked = {name.replace("-", "_"): getattr(arguments, name.replace("-", "_")) for name in _TEXTS}
    _check(asked, arguments.at_most_new)
    wanted = Wanted.read(**asked, at_most_new=_fewest(arguments.at_most_new))
    looked, faults = each_melody(
        arguments.folder, partial(find_in, wanted=wanted), arguments.remarks, jobs=arguments.jobs
    )
    found = [one for one in looked if one]
    if arguments.json:
        text = as_json([asdict(one) for one in found])
    else:
        text = "\n".join(_lines(found, len(looked))) + "\n"
    return finish(deliver(arguments, text), faults)


def _check(asked: dict[str, str | None], at_most_new: int | None) -> None:
    """Raise :class:`RequestError` when nothing is asked, or an option does nothing."""
    if not any(asked.values()):
        raise RequestError(
            'say what to look for, such as --has "#4", --starts 5 or --largest-leap P4 '
            "(fretpath find --help tells all)"
        )
    if at_most_new is not None and not asked["met"]:
        raise RequestError('--at-most-new goes with --met, such as --met "1 2 3 5"')


def _fewest(at_most_new: int | None) -> int:
    return 1 if at_most_new is None else at_most_new


def _lines(found: list[Match], looked: int) -> list[str]:
    lines = [f"{len(found)} of {looked} melodies"]
    for one in found:
        lines.append(shorten(f"{one.name}  {one.title}", 80))
        lines.extend(line for reason in one.reasons for line in indent_lines(reason))
    return lines
