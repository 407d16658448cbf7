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
import shutil
import signal
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from fretpath.commands.files import outputs_together
from fretpath.errors import (
    STEERING,
    FretpathError,
    IncompleteError,
    RequestError,
    nearest,
    printable,
)

COMMANDS = {
    "tab": "a melody as tab, fingered, with its spelling",
    "spell": "every note by degree; where the tune leaves its scale",
    "transpose": "the same tune in another key or mode, or on another instrument",
    "keys": "all keys ranked for this instrument and hand",
    "scales": "scales and modes, their moods and patterns",
    "neck": "where a key, a chord or a melody lies on the neck",
    "sheet": "a lesson sheet for student or teacher, in one HTML file",
    "read": "a plain-text tab, or a recording, as pitches and degrees",
    "check": "a plain-text tab against the neck and the tune",
    "convert": "a melody as MusicXML with tab, MIDI, ABC or melody text",
    "instruments": "the instruments known by name",
    "order": "a folder of melodies from easy to hard, for ear and hand",
    "term": "a folder of melodies over some weeks, each week in one file",
    "find": "melodies of a folder by what is in them, in any key",
    "mark": "students' answers, written or played, against a melody",
    "record": "what each student confuses, week by week, and what comes next",
    "hand": "a student's hand learned from tabs, as a card for every command",
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
    "hand": "fretpath hand tab1.txt tab2.txt --student Wren -o wren.toml",
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
    if "_ARGCOMPLETE" in os.environ and argv is None:
        _complete()
    if not words or words[0] in ("-h", "--help", "help"):
        rows = "\n".join(f"  {name:<12} {about}" for name, about in COMMANDS.items())
        return _print(_HELP.format(commands=rows))
    if words[0] == "--version":
        from fretpath import __version__

        return _print(f"fretpath {__version__}\n")
    if words[0] not in COMMANDS:
        _complain(_unknown_command(words[0]))
        return 2
    return _run_command(words)


def _run_command(words: Sequence[str]) -> int:
    """Run a known command; the remarks and whatever is wrong go to standard error."""
    command = importlib.import_module(f"fretpath.commands.{words[0]}")
    parser = Parser(prog=f"fretpath {words[0]}", description=command.__doc__)
    parser.epilog = f"example: {EXAMPLES[words[0]]}"
    command.add_options(parser)
    arguments = argparse.Namespace()
    try:
        parser.parse_args(_join_interval(words[1:]), arguments)
        _refuse_conflicts(arguments)
        _fit_the_screen(arguments, words)
        with outputs_together(force=getattr(arguments, "force", False)):
            if getattr(arguments, "card", None) is not None:
                importlib.import_module("fretpath.commands.options").use_card(arguments)
            text = command.run(arguments)
        _tell(arguments)
        return _print(text)
    except UsageError as stop:
        if stop.problem:
            _say(stop.problem)
        return _print(stop.text) if stop.text else stop.status
    except IncompleteError as partly:
        _tell(arguments)
        _print(partly.result)
        _complain(str(partly))
        return 1
    except FretpathError as problem:
        _complain(str(problem))
        return 1


_CONFLICTS = (
    ("spoken", "json", "sentences are no data"),
    ("spoken", "why", "the reasons are a page of their own"),
    ("one_string", "no_shift", "a melody on one string needs the hand to move"),
)
"""Two options that cannot both be had, and why."""


def _complete() -> None:
    """Answer the shell that completes a command line, where argcomplete is installed."""
    import argcomplete

    whole = argparse.ArgumentParser(prog="fretpath")
    commands = whole.add_subparsers()
    for name in COMMANDS:
        command = importlib.import_module(f"fretpath.commands.{name}")
        command.add_options(commands.add_parser(name))
    argcomplete.autocomplete(whole)


def _refuse_conflicts(arguments: argparse.Namespace) -> None:
    given = vars(arguments)
    for first, second, why in _CONFLICTS:
        if given.get(first) and given.get(second):
            names = [f"--{name.replace('_', '-')}" for name in (first, second)]
            raise RequestError(f"{names[0]} and {names[1]} do not go together: {why}; drop one")


def _fit_the_screen(arguments: argparse.Namespace, words: Sequence[str]) -> None:
    """Pages as wide as the terminal, on a terminal only."""
    asked = any(word.split("=")[0] == "--width" for word in words)
    if hasattr(arguments, "width") and _is_terminal() and not asked:
        arguments.width = min(max(shutil.get_terminal_size().columns, 40), 160)


def _is_terminal() -> bool:
    return sys.stdout is not None and sys.stdout.isatty()


def _tell(arguments: argparse.Namespace) -> None:
    """The remarks of a run, one line each."""
    for remark in getattr(arguments, "remarks", ()):
        _complain(f"note: {remark}")


def _unknown_command(word: str) -> str:
    if any(char.isdigit() for char in word):
        return f'a command comes first, such as: fretpath tab "{word[:40]}"'
    hint = nearest(word, COMMANDS)
    return f'unknown command "{word[:40]}"{hint or "; fretpath alone lists the commands"}'


def _join_interval(words: Sequence[str]) -> list[str]:
    """``--by -m3`` as ``--by=-m3``, since an interval downwards is no option.

    >>> _join_interval(["1 2", "--by", "-m3", "--json"])
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


def _print(text: str) -> int:
    """Write to standard output; a reader that has gone away is no error of ours."""
    if sys.stdout is None:
        _complain("standard output is closed, there is nowhere to write")
        return 1
    if text.startswith("<!DOCTYPE html>") and sys.stdout.isatty():
        _complain("a sheet is a page for the browser: write it with -o lesson.html")
        return 1
    try:
        sys.stdout.write(_dress(_encodable(text)))
        sys.stdout.flush()
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
    except OSError as problem:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        _complain(f"cannot write the output: {problem.strerror}")
        return 1
    return 0


def _encodable(text: str) -> str:
    """The text with question marks for whatever steers a terminal or cannot be written there."""
    text = STEERING.sub("?", text)
    encoding = getattr(sys.stdout, "encoding", None) or "utf-8"
    return text.encode(encoding, errors="replace").decode(encoding)


def _dress(text: str) -> str:
    """Titles and degrees in bold and strings dim, on a terminal that is not told ``NO_COLOR``.

    The meaning is in the text alone.
    """
    if not _is_terminal() or os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return text
    lines = text.split("\n")
    if len(lines) > 1 and lines[1].startswith("key "):
        lines[0] = f"\x1b[1m{lines[0]}\x1b[0m"
    return "\n".join(map(_dress_line, lines))


def _dress_line(line: str) -> str:
    if re.match(r"\s*degree\s", line):
        return f"\x1b[1m{line}\x1b[0m"
    if re.match(r"\s*[A-G]?[#b]?\s*[|+]-", line):
        return re.sub(r"-{2,}", lambda run: f"\x1b[2m{run[0]}\x1b[22m", line)
    return line


def _complain(problem: str) -> None:
    _say(f"fretpath: {problem}\n")


def _say(message: str) -> None:
    """Write to standard error; what could steer a terminal is shown as a question mark."""
    if sys.stderr is None:
        return
    safe = "\n".join(printable(line) for line in message.split("\n"))
    encoding = getattr(sys.stderr, "encoding", None) or "utf-8"
    sys.stderr.write(safe.encode(encoding, errors="backslashreplace").decode(encoding))


# -- the parser of one command ---------------------------------------------------------------------

COMMON = [
    "help",
    "key",
    "octave",
    "instrument",
    "tuning",
    "capo",
    "highest_fret",
    "hand",
    "tempo",
    "rows",
    "hide",
    "legend",
    "spoken",
    "ways",
    "why",
    "title",
    "reader",
    "student",
    "json",
    "output",
]
"""Options that the short help shows."""
FEW = 16
"""Options that a command may have before its help is cut short."""

_PLAIN = (
    (r"argument (\S+): invalid int value: '(.*)'", r'\1 needs a whole number, not "\2"'),
    (r"argument (\S+): invalid float value: '(.*)'", r'\1 needs a number, not "\2"'),
    (r"argument (\S+): expected (?:one|at least one) argument", r"\1 needs a value"),
    (r"argument (\S+): ignored explicit argument '(.*)'", r"\1 takes no value"),
    (r"argument (\S+): not allowed with argument (\S+)", r"\1 and \2 do not go together"),
    (r"the following arguments are required: (.*)", r"\1 is missing"),
)
"""What argparse says, and the same in plain English."""


class UsageError(Exception):
    """The command was called wrongly, or its help was asked for.

    Attributes: ``status`` (of the exit), ``text`` (help, for standard output), ``problem``.
    """

    def __init__(self, status: int, *, text: str = "", problem: str = "") -> None:
        self.status = status
        self.text = text
        self.problem = problem
        super().__init__(problem)


class Parser(argparse.ArgumentParser):
    """An argparse parser that never prints and never exits: it raises :class:`UsageError`."""

    def __init__(self, **given: Any) -> None:
        super().__init__(**given, allow_abbrev=False, add_help=False)
        self.add_argument(
            "-h", "--help", nargs="?", const="short", metavar="all", action=_Help,
            help="this help, or with all every option",
        )  # fmt: skip

    def format_usage(self) -> str:
        """The arguments that must be given; the options follow in the help."""
        return f"usage: {self._usage()}\n"

    def format_help(self, *, whole: bool = True) -> str:
        """Every option, or the common ones."""
        self.usage = self._usage()
        hidden = [] if whole else self._uncommon()
        helps = [action.help for action in hidden]
        for action in self._actions:
            _shorten(action)
        for action in hidden:
            action.help = argparse.SUPPRESS
        text = super().format_help()
        for action, old in zip(hidden, helps, strict=True):
            action.help = old
        more = f"\n{len(hidden)} more options: {self.prog} --help all\n" if hidden else ""
        return text + more

    def _uncommon(self) -> list[argparse.Action]:
        options = [action for action in self._actions if action.option_strings]
        if len(options) <= FEW:
            return []
        return [action for action in options if action.dest not in COMMON]

    def error(self, message: str) -> NoReturn:
        problem = f"{self.prog}: {self._plain(message)}\n{self.format_usage()}"
        raise UsageError(2, problem=f"{problem}({self.prog} --help tells more)\n")

    def _plain(self, message: str) -> str:
        for pattern, plain in _PLAIN:
            if re.fullmatch(pattern, message, re.DOTALL):
                return re.sub(pattern, plain, message, flags=re.DOTALL)
        if choice := re.fullmatch(
            r"argument (\S+): invalid choice: '(.*)' \(.*", message, re.DOTALL
        ):
            return self._no_choice(choice[1], choice[2])
        if unknown := re.fullmatch(r"unrecognized arguments: (.*)", message, re.DOTALL):
            word = unknown[1].split("=")[0].split()[0] if unknown[1].split() else ""
            names = [name for action in self._actions for name in action.option_strings]
            kind = "option" if word.startswith("-") else "place for"
            return f"there is no {kind} {word[:40]}{nearest(word, names, likeness=0.72)}"
        return message

    def _no_choice(self, option: str, value: str) -> str:
        action = next(a for a in self._actions if option in ("/".join(a.option_strings), a.dest))
        choices = [str(choice) for choice in action.choices or ()]
        listed = ", ".join(choices[:-1]) + f" or {choices[-1]}" if len(choices) > 1 else choices[0]
        return f'{option} is {listed}, not "{value[:40]}"{nearest(value, choices)}'

    def _usage(self) -> str:
        words = []
        for action in self._actions:
            if not action.option_strings:
                name = str(action.metavar or action.dest)
                more = " ..." if action.nargs in ("*", "+") else ""
                words.append(f"[{name}{more}]" if action.nargs == "*" else f"{name}{more}")
        return " ".join([self.prog, *words, "[options]"])

    def parse_known_args(self, args: Any = None, namespace: Any = None) -> Any:
        """As argparse has it, but ``--jobs=--`` has no value and not an empty list."""
        arguments, rest = super().parse_known_args(args, namespace)
        for action in self._actions:
            value = vars(arguments).get(action.dest)
            if action.nargs is None and action.default != [] and value == []:
                self.error(f"argument {'/'.join(action.option_strings)}: expected one argument")
        return arguments, rest

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        raise UsageError(status, problem=message or "")


def _shorten(action: argparse.Action) -> None:
    """Give an option a short word for its value; longer choices stand in the help."""
    if action.metavar is not None or action.nargs == 0 or not action.option_strings:
        return
    choices = [str(choice) for choice in action.choices or ()]
    if choices and len(",".join(choices)) > _LONGEST_CHOICES:
        action.metavar = "CHOICE"
        if not all(choice in (action.help or "") for choice in choices):
            action.help = f"{action.help or ''} ({', '.join(choices)})".lstrip()
    elif not choices:
        action.metavar = "N" if action.type is int else action.dest.split("_")[-1].upper()


_LONGEST_CHOICES = 10
"""Characters of choices that may stand beside the name of an option."""


class _Help(argparse.Action):
    def __call__(self, parser: Any, _: Any, values: Any, __: Any = None) -> None:
        raise UsageError(0, text=parser.format_help(whole=values == "all"))
