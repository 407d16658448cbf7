"""The command line in plain English, and advice that works when it is followed."""

from __future__ import annotations

import importlib
import os
import random
import re
import shlex
from pathlib import Path

import pytest

from fretpath.commands import COMMANDS, COMMON, Parser, main

MISTAKES = [
    "tab 1 --instrument bas", "tab 1 --hand one-two-for", "tab 1 --key 'C dorain'",
    "tab 1 --rows degrees", "tab '1 3 5' --octave 7 --key C", "tab C9", "tab 'E0 G1' ",
    "tab 1 --open-strings forbd", "tab 1 --spacing tme", "tab 1 --octav 3", "tab 1 --jsn",
    "tabb 1", "spel 1", "scales dorain", "tab 1 --weights shfit=1",
    "tab '1 5 9' --tuning 'E A D G'",
    "transpose 1 --to Gx", "tab 'sorce: X\n\n1'", "tab tune.tx", "tab 1 --position 30",
    "tab '1 5' --highest-fret 0 --open-strings forbid --key C", "tab 1 --ways 2 --spokn",
    "keys 1 --top 5 --highst-fret 3", "spell 1 --rows degre", "order . --jbs 2",
    "mark 1 1 --lenghts mark", "sheet 1 --for studnt", "drill 1 --kind scal",
    "transpose 1 --to G --hand one-two-for", "convert 1 --vice top -o x.mid",
    "term . --weks 2 -o term", "scales --from 1,2 --jsn", "tab 'kye: G\n\n1'",
    "tab 'metr: 3/4\n\n1'", "spell tune.tx", "spell 1 --syllables du", "neck --key 'C majr'",
    "find . --has '#4' --jobbs 2",
]  # fmt: skip
"""Calls that are refused, each with advice in its message."""


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("tune.txt").write_text("key: D\n\n1 2 3\n")


def advice_in(message: str, words: list[str]) -> list[list[str]]:
    """The calls that a message advises."""
    calls = []
    for meant in re.findall(r'did you mean "([^"]+)"', message):
        wrong = re.findall(r'"([^"]+)"|(?:option|file) (\S+);', message)[0]
        typed = next(filter(None, wrong))
        calls.append([re.sub(re.escape(typed) + r"(?![\w-])", meant, word) for word in words])
    for option, value in re.findall(r"\((--[\w-]+) ([\w#-]+)\)", message):
        calls.append([*words, option, value])
    for key, octave in re.findall(r"\(in ([^)]+)\)(?: with --octave (\d))?", message):
        calls.append([*words, "--key", key, *(["--octave", octave] if octave else [])])
    for option in re.findall(r"Drop (--[^:]+):", message):
        calls.append(shlex.split(shlex.join(words).replace(option, "")))
    for option, value in re.findall(r"that is (--[\w-]+) ([\w-]+)", message):
        kept = [word for word in words if word != "--tuning" and word != "E A D G"]
        calls.append([*kept, option, value])
    return calls


@pytest.mark.parametrize("call", MISTAKES)
def test_advice_works_when_it_is_followed(call: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = shlex.split(call)
    assert main(words) in (1, 2)
    message = capsys.readouterr().err
    assert "Traceback" not in message
    for better in advice_in(message, words):
        status = main(better)
        said = capsys.readouterr()
        assert status == 0, (better, message, said.err)


LIMITED = [
    shlex.join(["tab", melody, "--key", key, "--instrument", instrument, *limits.split()])
    for melody, octaves in (
        ("1 b3 5 b10", ""), ("1 5 8 15", "--octave 3"), ("1 2 3 5 1,", "--octave 6"),
        ("1 9 b10 5", "--octave 1"),
    )
    for key in ("Gm", "C# minor", "Bbm", "Eb", "D#m", "C")
    for instrument in ("ukulele", "bass", "guitar", "mandolin", "banjo")
    for limits in (
        "--highest-fret 5", "--open-strings forbid --position 2", "--lowest-fret 3 --reach 60mm",
        "--strings 1,2", "--one-string", "--no-shift --highest-fret 7", "--frets 11 --capo 2",
    )
    for limits in (f"{limits} {octaves}",)
]  # fmt: skip


@pytest.mark.parametrize("call", random.Random(4).sample(LIMITED, 60))
def test_advice_keeps_to_the_limits(call: str, capsys: pytest.CaptureFixture[str]) -> None:
    words = shlex.split(call)
    if main(words):
        message = capsys.readouterr().err
        for better in advice_in(message, words):
            assert main(better) == 0, (better, message, capsys.readouterr().err)


def test_a_fret_that_stays_in_force_and_a_key_by_its_usual_name(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A semitone lower (F# minor) lies on the neck, yet above fret 5; nor is B# a usual name."""
    words = shlex.split("tab '1 b3 5 b10' --instrument ukulele --highest-fret 5 --key")
    for key in ("Gm", "C#m", "B#m"):
        main([*words, key])
        message = capsys.readouterr().err
        assert "F#" not in message
        assert not re.search(r"\(in (B#|E#|C# natural)", message)


def test_most_of_them_hold_advice(capsys: pytest.CaptureFixture[str]) -> None:
    advised = 0
    for call in MISTAKES:
        main(shlex.split(call))
        advised += bool(advice_in(capsys.readouterr().err, shlex.split(call)))
    assert advised > len(MISTAKES) / 2


@pytest.mark.parametrize(
    ("call", "says"),
    [
        ("tab C --spoken --json", "--spoken and --json do not go together"),
        ("tab C --tune 4", "--tune chooses from a score file"),
        ("tab C --frets x", '--frets needs a whole number, not "x"'),
        ("tab C --tempo x", '--tempo needs a number, not "x"'),
        ("tab C --capo", "--capo needs a value"),
        ("tab", "MELODY is missing"),
        ("tab C --spacing wide", '--spacing is even or time, not "wide"'),
    ],
)
def test_a_wrong_call_is_told_in_plain_english(
    call: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(shlex.split(call)) in (1, 2)
    assert says in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("5-string bass", "bass-5"),
        ("bass guitar", "bass"),
        ("low g ukulele", "ukulele-low-g"),
        ("six string guitar", "guitar"),
        ("Tenor Ukulele", "ukulele-tenor"),
        ("7-string guitar", "guitar-7"),
    ],
)
def test_an_instrument_is_found_by_its_words(
    words: str, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["tab", "C", "--instrument", words, "--json"]) == 0
    assert f'"{name}"' in capsys.readouterr().out


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_is_short_and_the_whole_of_it_is_there(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, "--help"]) == 0
    short = capsys.readouterr().out
    assert main([command, "--help", "all"]) == 0
    whole = capsys.readouterr().out
    options = set(re.findall(r"^  (--[\w-]+)", short, re.MULTILINE))
    every = set(re.findall(r"^  (--[\w-]+)", whole, re.MULTILINE))
    assert options <= every
    hidden = re.search(r"(\d+) more options", short)
    assert len(every) - len(options) == (int(hidden[1]) if hidden else 0)


def test_a_terminal_shows_weight_and_its_own_width(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    call = ["tab", "key: C\n\n" + "1 2 3 5 " * 10]
    main(call)
    plain = capsys.readouterr().out
    assert "\x1b" not in plain
    monkeypatch.setattr("fretpath.commands._is_terminal", lambda: True)
    monkeypatch.setenv("COLUMNS", "80")
    main(call)
    dressed = capsys.readouterr().out
    assert "\x1b[1m" in dressed
    assert re.sub(r"\x1b\[\d+m", "", dressed) == plain
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setenv("NO_COLOR", "1")
    main(call)
    wide = capsys.readouterr().out
    assert "\x1b" not in wide
    assert 80 < max(map(len, wide.splitlines())) <= 120


def test_a_shell_can_complete_a_call() -> None:
    import subprocess
    import sys

    pytest.importorskip("argcomplete")
    root = Path(__file__).parent.parent.parent
    line = "fretpath tab C --spo"
    environment = {
        **os.environ, "PYTHONPATH": str(root), "_ARGCOMPLETE": "1", "COMP_LINE": line,
        "COMP_POINT": str(len(line)), "_ARGCOMPLETE_STDOUT_FILENAME": "found",
        "_ARGCOMPLETE_IFS": " ",
    }  # fmt: skip
    program = "from fretpath.commands import run; run()"
    subprocess.run([sys.executable, "-c", program], env=environment, check=False)
    assert "--spoken" in Path("found").read_text()


@pytest.mark.parametrize("name", COMMANDS)
def test_the_words_for_values_are_short(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([name, "--help", "all"]) == 0
    options = re.findall(
        r"^  (?:-\w \S+, )?--[\w-]+,? (\S+)", capsys.readouterr().out, re.MULTILINE
    )
    assert all(len(word) <= 13 for word in options if word.isupper() or word[0] == "{"), options


def test_the_short_help_shows_options_that_there_are() -> None:
    known = set()
    for name in COMMANDS:
        parser = Parser(prog=name)
        importlib.import_module(f"fretpath.commands.{name}").add_options(parser)
        known |= {action.dest for action in parser._actions}
    assert not set(COMMON) - known


def test_the_short_help_of_a_sheet_shows_for_whom_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "--help"]) == 0
    assert re.search(r"^  --for ", capsys.readouterr().out, re.M)
