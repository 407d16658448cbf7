"""The command line: arguments in, text out.

One module a command; only the one that is asked for is imported.  Each has ``add_options(parser)``
and ``run(arguments) -> str``: the text to print.  What is wrong with the input comes as a
:class:`FretpathError` and is printed on standard error with exit status 1; a wrong call of the
command itself is status 2.
"""

from __future__ import annotations

import argparse
import importlib
import os
import re
import signal
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from fretpath.commands.files import outputs_together
from fretpath.errors import FretpathError, IncompleteError, nearest, printable

COMMANDS = {
    "tab": "a melody as tab, fingered, with its spelling",
    "spell": "every note by degree; where the tune leaves its scale",
    "transpose": "the same tune in another key or mode, or on another instrument",
    "keys": "all keys ranked for this instrument and hand",
    "scales": "scales and modes, their moods and patterns",
    "neck": "where a key, a chord or a melody lies on the neck",
    "sheet": "a lesson sheet for student or teacher, in one HTML file",
    "read": "a plain-text tab as positions, pitches and degrees",
    "check": "a plain-text tab against the neck and the tune",
    "convert": "a melody as MusicXML with tab, MIDI, ABC or melody text",
    "instruments": "the instruments known by name",
    "order": "a folder of melodies from easy to hard, for ear and hand",
    "term": "a folder of melodies over some weeks, each week in one file",
    "find": "melodies of a folder by what is in them, in any key",
    "mark": "students' answers marked against a melody",
    "record": "what each student confuses, week by week, and what comes next",
    "drill": "exercises from a melody or from what a student confused",
}
"""Name of each command and what it does, in the order of the help."""

EXAMPLES = {
    "tab": "fretpath tab tune.txt --key D --highest-fret 5 -o tune.wav",
    "spell": "fretpath spell tune.txt --syllables do",
    "transpose": "fretpath transpose tune.txt --to G --instrument ukulele",
    "keys": "fretpath keys tune.txt --highest-fret 5 --top 5",
    "scales": "fretpath scales dorian",
    "neck": 'fretpath neck --key "C major" --instrument ukulele --range 0-5 -o chart.svg',
    "sheet": "fretpath sheet tune.txt --for student -o student.html",
    "read": "fretpath read tab.txt --instrument guitar --capo 2",
    "check": "fretpath check tab.txt --against tune.txt",
    "convert": "fretpath convert tune.txt --instrument guitar -o tune.musicxml",
    "instruments": "fretpath instruments",
    "order": "fretpath order demo_melodies --instrument ukulele",
    "term": "fretpath term demo_melodies --weeks 4 --highest-fret 5 -o term",
    "find": 'fretpath find demo_melodies --has "#4"',
    "mark": 'fretpath mark tune.txt "1 5 8 9 b10" --next demo_melodies',
    "record": "fretpath record class.csv --next demo_melodies -o record.html",
    "drill": 'fretpath drill tune.txt --confused "3=b3"',
}
"""A call of each command as a teacher would type it, for the end of its help."""

_HELP = """\
fretpath: from a melody in degrees to spelled notes, the shortest path on the
neck, and tab

usage: fretpath COMMAND ...

{commands}

Examples (a melody is text in quotes, or a file):

  fretpath tab "1 5 8 9 10" --key B --instrument bass
  fretpath sheet demo_melodies/night_crane.txt --for student -o student.html

fretpath COMMAND --help tells the rest.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status and never raises for bad input."""
    words = list(sys.argv[1:] if argv is None else argv)
    if not words or words[0] in ("-h", "--help", "help"):
        rows = "\n".join(f"  {name:<12} {about}" for name, about in COMMANDS.items())
        return _print(_HELP.format(commands=rows))
    if words[0] == "--version":
        from fretpath import __version__

        return _print(f"fretpath {__version__}\n")
    if words[0] not in COMMANDS:
        _complain(_unknown_command(words[0]))
        return 2
    command = importlib.import_module(f"fretpath.commands.{words[0]}")
    parser = _Parser(prog=f"fretpath {words[0]}", description=command.__doc__, allow_abbrev=False)
    parser.epilog = f"example: {EXAMPLES[words[0]]}"
    command.add_options(parser)
    try:
        arguments = parser.parse_args(_joined(words[1:]))
        with outputs_together():
            text = command.run(arguments)
        _tell(arguments)
        return _print(text)
    except _UsageError as stop:
        return stop.status
    except IncompleteError as partly:
        _tell(arguments)
        _print(partly.result)
        _complain(str(partly))
        return 1
    except FretpathError as problem:
        _complain(str(problem))
        return 1


def _tell(arguments: argparse.Namespace) -> None:
    """The remarks of a run, one line each."""
    for remark in getattr(arguments, "remarks", ()):
        _complain(f"note: {remark}")


def _unknown_command(word: str) -> str:
    if any(char.isdigit() for char in word):
        return f'a command comes first, such as: fretpath tab "{word[:40]}"'
    hint = nearest(word, COMMANDS)
    return f'unknown command "{word[:40]}"{hint or "; fretpath alone lists the commands"}'


def _joined(words: Sequence[str]) -> list[str]:
    """``--by -m3`` as ``--by=-m3``, since an interval downwards is no option.

    >>> _joined(["1 2", "--by", "-m3", "--json"])
    ['1 2', '--by=-m3', '--json']
    """
    joined: list[str] = []
    for word in words:
        if joined and joined[-1] == "--by":
            word = f"{joined.pop()}={word}"
        joined.append(word)
    return joined


def run() -> NoReturn:
    """Entry point of the installed program; 130 when it is interrupted, as shells have it.

    When the terminal goes away or the run is ended, it clears away what it has not finished.
    """
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), _end)
    try:
        status = main()
    except KeyboardInterrupt:
        status = 130
    raise SystemExit(status)


def _end(number: int, _: object) -> NoReturn:
    raise SystemExit(128 + number)


class _UsageError(Exception):
    def __init__(self, status: int) -> None:
        self.status = status


class _Parser(argparse.ArgumentParser):
    def format_usage(self) -> str:
        """What must be given; the options follow in the help."""
        return f"usage: {self._called()}\n"

    def format_help(self) -> str:
        self.usage = self._called()
        return super().format_help()

    def error(self, message: str) -> NoReturn:
        self.exit(
            2, f"{self.prog}: {message}\n{self.format_usage()}({self.prog} --help tells more)\n"
        )

    def _called(self) -> str:
        given = [action for action in self._actions if not action.option_strings]
        words = []
        for action in given:
            name = str(action.metavar or action.dest)
            more = " ..." if action.nargs in ("*", "+") else ""
            words.append(f"[{name}{more}]" if action.nargs == "*" else f"{name}{more}")
        return " ".join([self.prog, *words, "[options]"])

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As argparse has it, but ``--jobs=--`` has no value and not an empty list."""
        arguments, rest = super().parse_known_args(args, namespace)
        for action in self._actions:
            if (
                action.nargs is None
                and action.default != []
                and vars(arguments).get(action.dest) == []
            ):
                self.error(f"argument {'/'.join(action.option_strings)}: expected one argument")
        return arguments, rest

    def print_help(self, file: Any = None) -> None:
        """As everything is printed, so that a full disk is noticed."""
        status = _print(self.format_help())
        if status:
            self.exit(status)

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        if message:
            _say(message)
        raise _UsageError(status)


def _print(text: str) -> int:
    """Write to standard output; a reader that has gone away is no error of ours."""
    if sys.stdout is None:
        _complain("standard output is closed, there is nowhere to write")
        return 1
    if text.startswith("<!DOCTYPE html>") and sys.stdout.isatty():
        _complain("a sheet is a page for the browser: write it with -o lesson.html")
        return 1
    try:
        sys.stdout.write(_encodable(text))
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    except OSError as problem:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        _complain(f"cannot write the output: {problem.strerror}")
        return 1
    return 0


_STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)
"""What a terminal obeys and does not show: control characters, and those that turn the text."""


def _encodable(text: str) -> str:
    """The text with question marks for whatever steers a terminal or cannot be written there."""
    text = _STEERING.sub("?", text)
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    return text.encode(encoding, errors="replace").decode(encoding)


def _complain(problem: str) -> None:
    _say(f"fretpath: {problem}\n")


def _say(message: str) -> None:
    """Write to standard error; what could steer a terminal is shown as a question mark."""
    if sys.stderr is None:
        return
    safe = "\n".join(printable(line) for line in message.split("\n"))
    encoding = getattr(sys.stderr, "encoding", None) or "utf-8"
    sys.stderr.write(safe.encode(encoding, errors="backslashreplace").decode(encoding))
