"""The four trials of hard use, each a property hypothesis (or a coverage guide) can drive."""

from __future__ import annotations

import contextlib
import tempfile
from collections import Counter
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from fretpath import FretpathError, format_melody, parse_melody
from tests.hard.drawing import (
    CommandLine,
    DamagedScore,
    command_lines,
    damaged_scores,
    melody_texts,
    tab_texts,
)
from tests.hard.running import Desk

__all__ = ["SEEN", "TRIALS", "property_of"]

SEEN: Counter[tuple[str, int]] = Counter()
"""(trial, exit status) of every command that was run."""


@cache
def desk() -> Desk:
    """The folder all trials of this process work in."""
    return Desk(Path(tempfile.mkdtemp(prefix="hard-use-")))


def _count(trial: str, status: int) -> None:
    SEEN[trial, status] += 1


_MELODY_CALLS = [
    ("tab", "-"),
    ("tab", "-", "--json"),
    ("tab", "-", "--spacing", "time", "--why"),
    ("spell", "-"),
    ("spell", "-", "--key", "D dorian", "--json"),
    ("convert", "-", "--to", "musicxml"),
    ("convert", "-", "--to", "abc", "--no-tab"),
    ("neck", "-", "--instrument", "guitar"),
    ("drill", "-"),
    ("drill", "-", "--kind", "call"),
    ("transpose", "-", "--to", "A minor"),
]


def melody_text(text: str, call: tuple[str, ...]) -> None:
    """Melody text is read, or refused; what is read is written and read back the same."""
    outcome = desk().try_out(call, stdin=text.encode("utf-8"))
    _count("melody text", outcome.status)
    with contextlib.suppress(FretpathError):
        melody = parse_melody(text)
        assert parse_melody(format_melody(melody)) == melody


_TAB_CALLS = [
    ("read", "-"),
    ("read", "-", "--json"),
    ("read", "-", "--melody"),
    ("read", "-", "--by-spacing", "--tab-part", "1", "--meter", "3/4"),
    ("read", "-", "--instrument", "guitar", "--key", "E minor"),
    ("check", "-"),
    ("check", "-", "--ours", "--highest-fret", "5", "--reach", "80mm"),
    ("check", "-", "--against", "1 3 5", "--json"),
    ("check", "-", "--against", "tune.txt", "--meter", "3/4"),
    ("mark", "tune.txt", "-"),
]


def tab_text(text: str, call: tuple[str, ...]) -> None:
    """Tab text is read, or refused."""
    _count("tab text", desk().try_out(call, stdin=text.encode("utf-8")).status)


def command_line(line: CommandLine) -> None:
    """A command line of any command with any options keeps the rules."""
    _count("command line", desk().try_out(line.words, stdin=line.stdin).status)


def score_file(score: DamagedScore) -> None:
    """A damaged score file is read, or refused."""
    words = [score.name if word == "FILE" else word for word in score.command]
    given_file = {score.name.replace(".", "__"): score.data}
    _count("score file", desk().try_out(words, **given_file).status)


TRIALS: dict[str, tuple[Callable[..., None], tuple[st.SearchStrategy[Any], ...]]] = {
    "melody text": (melody_text, (melody_texts(), st.sampled_from(_MELODY_CALLS))),
    "tab text": (tab_text, (tab_texts(), st.sampled_from(_TAB_CALLS))),
    "command line": (command_line, (command_lines(),)),
    "score file": (score_file, (damaged_scores(),)),
}
"""Every trial by name, and what is drawn for it."""


def property_of(name: str) -> Any:
    """The trial as hypothesis runs it, fresh, so that it can be given settings of its own."""
    body, drawn = TRIALS[name]
    return given(*drawn)(body)
