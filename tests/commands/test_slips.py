"""The slips of teachers who were new to the commands, and what each is told."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import pytest

from fretpath.commands import EXAMPLES, main

ROOT = Path(__file__).parent.parent.parent
TUNE = "title: Kettle on the Hob\nkey: D\nmeter: 4/4\ntempo: 90\n\n1 2 b3 5 | 3 2 1 -\n"
TAB = "capo 2\n\ne|---0----|\nB|-1---1--|\nG|--------|\nD|--------|\nA|--------|\nE|--------|\n"
SLIPS = [
    ('"5, 1 1 2"', 'a command comes first, such as: fretpath tab "5, 1 1 2"'),
    ("sound tune.txt", 'unknown command "sound"; fretpath alone lists the commands'),
    ('neck "C major"', 'for the chart of a key write --key "C major"'),
    ("neck --key C -o chart.png", "nothing here writes .png: write the chart as .svg"),
    ("tab tune.txt -o tune.mp3", "nothing here writes .mp3: write the sound as .wav"),
    ("sheet tune.txt --no-sound -o tune.pdf", "nothing here writes .pdf: write the lesson sheet"),
    ('tab tune.txt --instrument "bass guitar"', 'did you mean "bass"?'),
    ("tab tab.txt", '"fretpath read TAB --melody -o tune.txt" makes one of it'),
]


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tune.txt").write_text(TUNE)
    (tmp_path / "tab.txt").write_text(TAB)
    (tmp_path / "demo_melodies").symlink_to(ROOT / "demo_melodies")


@pytest.mark.parametrize(("words", "told"), SLIPS, ids=[words for words, _ in SLIPS])
def test_a_slip_is_told(words: str, told: str, capsys: pytest.CaptureFixture[str]) -> None:
    files = set(Path().iterdir())
    assert main(shlex.split(words)) != 0
    out, err = capsys.readouterr()
    assert out == ""
    assert told in err
    assert set(Path().iterdir()) == files


@pytest.mark.parametrize("command", EXAMPLES)
def test_the_example_of_the_help_works(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    program, *words = shlex.split(EXAMPLES[command])
    assert (program, words[0]) == ("fretpath", command)
    assert main(words) == 0
    assert "Traceback" not in capsys.readouterr().err


def test_a_wrong_call_is_short(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tab", "1", "--wav"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "fretpath tab: unrecognized arguments: --wav",
        "usage: fretpath tab MELODY ... [options]",
        "(fretpath tab --help tells more)",
    ]


def test_a_sheet_is_not_poured_into_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert main(["sheet", "tune.txt"]) == 1
    assert "write it with -o lesson.html" in capsys.readouterr().err


def test_the_copy_for_a_student_leaves_the_degrees_blank() -> None:
    for words in ("--for student", "--hide degrees", "--for student --hide tab", ""):
        assert main(["sheet", "tune.txt", "--no-sound", *words.split(), "-o", f"{words}.html"]) == 0
    student, hidden, tab, teacher = (
        Path(f"{words}.html").read_text()
        for words in ("--for student", "--hide degrees", "--for student --hide tab", "")
    )
    assert student == hidden
    assert len({student, tab, teacher}) == 3
