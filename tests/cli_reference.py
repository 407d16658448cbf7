"""docs/cli.md, written from the parsers of the commands.

python -m tests.cli_reference > docs/cli.md
"""

from __future__ import annotations

import argparse
import importlib
from collections.abc import Iterator

from fretpath.commands import COMMANDS, EXAMPLES


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
        yield ""
        yield f"## fretpath {name}"
        yield ""
        yield from _command(name)


def _command(name: str) -> Iterator[str]:
    command = importlib.import_module(f"fretpath.commands.{name}")
    parser = argparse.ArgumentParser(prog=f"fretpath {name}")
    command.add_options(parser)
    yield (command.__doc__ or "").strip()
    yield ""
    yield f"For example: `{EXAMPLES[name]}`"
    yield ""
    yield "| argument | meaning |"
    yield "|---|---|"
    for action in parser._actions:
        if not isinstance(action, argparse._HelpAction):
            yield f"| {_argument(action)} | {_meaning(action)} |"


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
