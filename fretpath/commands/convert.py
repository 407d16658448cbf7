"""Write a melody in an open format: MusicXML with tab, MIDI, ABC, or melody text."""

from __future__ import annotations

import argparse
import os
from pathlib import PurePath

from fretpath.commands.files import whole_folder, write_file
from fretpath.commands.options import (
    add_hand_options,
    add_instrument_options,
    add_melody_options,
    add_output_file,
    arrangement_from,
    as_json,
    melody_from,
)
from fretpath.errors import FretpathError, IncompleteError, RequestError, UnplayableError
from fretpath.exchange.door import ending_of
from fretpath.exchange.scores import FORMATS, score_bytes
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_melody_options(parser)
    add_output_file(parser, f"ending {', '.join(FORMATS)}")
    parser.add_argument(
        "--to",
        metavar="ENDING",
        help="format on standard output: abc, txt ...; with -o FOLDER/, of every file named",
    )
    parser.add_argument("--no-tab", action="store_true", help="the melody alone, not fingered")
    parser.add_argument("--json", action="store_true", help="say as data what was written")
    add_instrument_options(parser)
    add_hand_options(parser)


def run(arguments: argparse.Namespace) -> str:
    """The file as text, or a line that says what was written."""
    if arguments.output and arguments.to and arguments.output.endswith(("/", os.sep)):
        return _many(arguments)
    if (arguments.output is None) == (arguments.to is None):
        raise RequestError("say where to: -o FILE, or --to ENDING for standard output")
    ending = _ending(_file_name(arguments.to) if arguments.output is None else arguments.output)
    if arguments.output is None and not FORMATS[ending].is_text:
        raise RequestError(f"{ending} is not text: write it to a file with -o FILE")
    music, data = _converted(arguments, ending)
    if arguments.output is None:
        return data.decode("utf-8")
    write_file(arguments.output, data)
    return _report(arguments, music, len(data))


def _converted(arguments: argparse.Namespace, ending: str) -> tuple[Melody | Arrangement, bytes]:
    """The music and its file; what the format cannot hold becomes a remark."""
    music = _music(arguments, ending)
    melody = music.melody if isinstance(music, Arrangement) else music
    arguments.remarks.extend(FORMATS[ending].lost(melody))
    return music, score_bytes(music, ending)


def _many(arguments: argparse.Namespace) -> str:
    """Each file of the command line into a folder, under its own name; one line for each."""
    ending = _ending(_file_name(arguments.to))
    names = [PurePath(word).stem + ending for word in arguments.melody]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise RequestError(f"two of the files would become {twice[0]}; convert them one by one")
    lines: list[str] = []
    problems: list[str] = []
    with whole_folder(arguments.output) as folder:
        for word, name in zip(list(arguments.melody), names, strict=True):
            one = argparse.Namespace(**{**vars(arguments), "melody": [word], "output": name})
            try:
                music, data = _converted(one, ending)
                (folder / name).write_bytes(data)
                lines.append(_report(one, music, len(data)))
            except FretpathError as problem:
                problems.append(f"{word}: {problem}")
        if not lines:
            raise RequestError("no file could be converted:\n" + "\n".join(problems))
    if problems:
        text = f"{len(problems)} of {len(names)} files were left out:\n" + "\n".join(problems)
        raise IncompleteError(text, result="".join(lines))
    return "".join(lines)


def _file_name(ending: str) -> str:
    """A file name with an ending that is given with or without its dot."""
    return f"x.{ending.lstrip('.')}"


def _ending(name: str) -> str:
    """The ending of a file name, one of those that are written."""
    ending = ending_of(name)
    if ending not in FORMATS:
        raise RequestError(f'"{ending or "no ending"}" names no format; use {", ".join(FORMATS)}')
    return ending


def _music(arguments: argparse.Namespace, ending: str) -> Melody | Arrangement:
    """Fingered where the format or the octave asks for an instrument."""
    if arguments.no_tab or not FORMATS[ending].has_instrument:
        return melody_from(arguments)
    try:
        return arrangement_from(arguments)
    except UnplayableError as problem:
        advice = "--no-tab writes the melody alone."
        raise type(problem)(f"{str(problem).rstrip('.')}. {advice}") from None


def _report(arguments: argparse.Namespace, music: Melody | Arrangement, size: int) -> str:
    melody = music.melody if isinstance(music, Arrangement) else music
    made = music.instrument.name if isinstance(music, Arrangement) else None
    data = {
        "file": arguments.output,
        "bytes": size,
        "notes": len(melody.pitches),
        "instrument": made,
    }
    if arguments.json:
        return as_json(data)
    where = f" for {made}" if made else ""
    return f"{arguments.output}: {len(melody.pitches)} notes{where}, {size} bytes\n"
