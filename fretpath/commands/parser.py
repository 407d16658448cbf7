"""The parser of one command: its help, short or whole, and its complaints in plain English."""

from __future__ import annotations

import argparse
import re
from typing import Any, NoReturn

from fretpath.errors import nearest

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
    "for_",
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
        return f"usage: {self._called()}\n"

    def format_help(self, *, whole: bool = True) -> str:
        """Every option, or the common ones."""
        self.usage = self._called()
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

    def _called(self) -> str:
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
