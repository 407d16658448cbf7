"""docs/cli.md, written from the parsers of the commands.

python -m tests.cli_reference > docs/cli.md
"""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Callable, Iterable, Iterator

from fretpath.commands import COMMANDS, EXAMPLES, options

SHARED: dict[str, Callable[[argparse.ArgumentParser], None]] = {
    "score file": options.add_score_options,
    "melody": options.add_melody_options,
    "output": options.add_output_options,
    "sound": options.add_sound_options,
    "instrument": options.add_instrument_options,
    "hand and limits": options.add_hand_options,
}
"""Options that several commands have alike, each printed once: by heading, who declares them."""


def reference() -> str:
    """The whole page."""
    return "\n".join(_lines())


def _lines() -> Iterator[str]:
    yield "# Command line"
    yield ""
    yield "Written from the parsers: `python -m tests.cli_reference > docs/cli.md`. A melody is"
    yield "text in quotes, a file, or `-` for standard input. Exit status: 0, 1 when the input"
    yield "cannot be used, 2 when the command is called wrongly."
    yield ""
    for name, about in COMMANDS.items():
        yield f"- `fretpath {name}`: {about}"
    for name in COMMANDS:
        yield from ("", f"## fretpath {name}", "")
        yield from _command(name)
    for heading in SHARED:
        yield from ("", f"## Options: {heading}", "")
        yield from _table(_shared(heading))


def _command(name: str) -> Iterator[str]:
    command = importlib.import_module(f"fretpath.commands.{name}")
    rows = _rows(command.add_options, prog=f"fretpath {name}")
    yield (command.__doc__ or "").strip()
    yield from ("", f"For example: `{EXAMPLES[name]}`", "")
    alike = [heading for heading in SHARED if set(_shared(heading)) <= set(rows)]
    shared = {row for heading in alike for row in _shared(heading)}
    own = [row for row in rows if row not in shared]
    if own:
        yield from _table(own)
    if own and alike:
        yield ""
    if alike:
        links = (f"[{h}](#options-{h.replace(' ', '-')})" for h in alike)
        yield f"Options it shares with other commands: {', '.join(links)}."


def _shared(heading: str) -> list[str]:
    """The rows of a heading, without those of the headings above it."""
    above = list(SHARED)[: list(SHARED).index(heading)]
    known = {row for other in above for row in _rows(SHARED[other])}
    return [row for row in _rows(SHARED[heading]) if row not in known]


def _rows(declare: Callable[[argparse.ArgumentParser], None], prog: str = "") -> list[str]:
    """The arguments that a function declares, a row each."""
    parser = argparse.ArgumentParser(prog=prog)
    declare(parser)
    return [
        f"| {_argument(action)} | {_meaning(action)} |"
        for action in parser._actions
        if not isinstance(action, argparse._HelpAction)
    ]


def _table(rows: Iterable[str]) -> Iterator[str]:
    yield "| argument | meaning |"
    yield "|---|---|"
    yield from rows


def _argument(action: argparse.Action) -> str:
    names = list(action.option_strings) or [str(action.metavar or action.dest)]
    value = ""
    if action.option_strings and action.nargs != 0:
        value = f" {action.metavar or action.dest.upper()}"
    return ", ".join(f"`{name}{value}`" for name in names)


def _meaning(action: argparse.Action) -> str:
    text = " ".join((action.help or "").split()) % {"default": action.default, "prog": "fretpath"}
    choices = f" ({', '.join(map(str, action.choices))})" if action.choices else ""
    return (text + choices).replace("|", "\\|")


if __name__ == "__main__":
    print(reference())
