"""The trials of hard use, each a property hypothesis (or a coverage guide) can drive."""

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
from fretpath.exchange.scores import open_book
from fretpath.page.tab_reading import read_tab
from tests.hard.drawing import (
    CommandLine,
    DamagedScore,
    HeaderFile,
    LongRun,
    command_lines,
    conflicts,
    damaged_recordings,
    damaged_scores,
    header_files,
    long_runs,
    melody_texts,
    tab_texts,
)
from tests.hard.running import Desk
from tests.page.test_tab_round_trip import pages, told

LIMIT = 10
"""Seconds of processor time that a long run of one sign may cost."""
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


def conflict(line: CommandLine) -> None:
    """Options that leave each other nothing are told so; see the rules."""
    _count("conflict", desk().try_out(line.words, stdin=line.stdin).status)


def long_run(run: LongRun) -> None:
    """Thousands of one sign are read or refused within the time."""
    data = run.text.encode("utf-8")
    words = [run.text if word == "TEXT" else word for word in run.command]
    files = {word.replace(".", "__"): data for word in words if word.startswith("run.")}
    place = desk()
    place.seconds = LIMIT
    _count("long run", place.try_out(words, stdin=data, **files).status)


def own_page(drawn: tuple[str, Any, list[tuple[int, int]], bool]) -> None:
    """A page that ``tab`` printed is read to its places and pitches, or a doubt is told."""
    page, melody, places, _ = drawn
    reading = read_tab(page)
    assert [(n.string, n.fret) for moment in reading.moments for n in moment] == places
    same = [p.midi for p in reading.melody.pitches] == [p.midi for p in melody.pitches]
    assert same or told(reading)
    _count("own page", 0)


def header(file: HeaderFile) -> None:
    """What the headers of a file say is never music, and every command sees the same melody."""
    words = [file.name if word == "FILE" else word for word in file.command]
    outcome = desk().try_out(words, **{file.name.replace(".", "__"): file.data})
    _count("header", outcome.status)
    if file.name.endswith(".txt"):
        return
    with contextlib.suppress(FretpathError):
        melody = open_book(file.data, file.name).tune().read().melody
        assert len(melody.pitches) == 3, "a header became music"
        assert parse_melody(format_melody(melody)) == melody


def damaged_file(trial: str, file: DamagedScore) -> None:
    """A damaged file is read, or refused."""
    words = [file.name if word == "FILE" else word for word in file.command]
    given_file = {file.name.replace(".", "__"): file.data}
    _count(trial, desk().try_out(words, **given_file).status)


TRIALS: dict[str, tuple[Callable[..., None], tuple[st.SearchStrategy[Any], ...]]] = {
    "melody text": (melody_text, (melody_texts(), st.sampled_from(_MELODY_CALLS))),
    "tab text": (tab_text, (tab_texts(), st.sampled_from(_TAB_CALLS))),
    "command line": (command_line, (command_lines(),)),
    "score file": (damaged_file, (st.just("score file"), damaged_scores())),
    "recording": (damaged_file, (st.just("recording"), damaged_recordings())),
    "conflict": (conflict, (conflicts(),)),
    "long run": (long_run, (long_runs(),)),
    "own page": (own_page, (pages(usual=False),)),
    "header": (header, (header_files(),)),
}
"""Every trial by name, and what is drawn for it."""


def property_of(name: str) -> Any:
    """The trial as hypothesis runs it, fresh, so that it can be given settings of its own."""
    body, drawn = TRIALS[name]
    return given(*drawn)(body)
