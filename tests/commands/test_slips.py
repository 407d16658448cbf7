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
RECORD = "date,student,tune,degree asked,degree answered\n2026-11-25,Ana,Bell,4,#4\n"
SLIPS = [
    ('"5, 1 1 2"', 'a command comes first, such as: fretpath tab "5, 1 1 2"'),
    ("sound tune.txt", 'unknown command "sound"; fretpath alone lists the commands'),
    ('neck "C major"', 'for the chart of a key write --key "C major"'),
    ("neck --key C -o chart.png", "nothing here writes .png: write the chart as .svg"),
    ("sheet tune.txt --no-sound -o tune.pdf", "nothing here writes .pdf: write the lesson sheet"),
    ("read tab.txt -o tab.musicxml", "fretpath convert writes scores"),
    ('convert "1@3-0 5" --key A --octave 3 -o x.mid', "--no-tab writes the melody alone"),
    ('tab tune.txt --instrument "bass gutar"', 'did you mean "bass'),
    ('tab 1 --tuning "g C E A"', "such as G4 C4 E4 A4; that is --instrument ukulele"),
    ("tab tune_.txt", 'there is no file tune_.txt; did you mean "tune.txt"?'),
    ("tab demo_melodies", "is a folder; name one file in it (order, find and sheet take folders)"),
    ("tab 1@1-1 --key D", "(is it for another --instrument, --tuning or --capo?)"),
    ("convert D6 -o high.mid", "--no-tab writes the melody alone."),
    ("read tab.txt --no-places", "--no-places goes with --melody"),
    ("tab tab.txt", '"fretpath read TAB --melody -o tune.txt" makes one of it'),
]


@pytest.fixture(autouse=True)
def _desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tune.txt").write_text(TUNE)
    (tmp_path / "tab.txt").write_text(TAB)
    (tmp_path / "tab1.txt").write_text(TAB)
    (tmp_path / "tab2.txt").write_text(TAB)
    (tmp_path / "class.csv").write_text(RECORD)
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
    assert main(["tab", "1", "--quux"]) == 2
    assert capsys.readouterr().err.splitlines() == [
        "fretpath tab: there is no option --quux",
        "usage: fretpath tab MELODY ... [options]",
        "(fretpath tab --help tells more)",
    ]


def test_a_sheet_is_not_poured_into_a_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    assert main(["sheet", "tune.txt"]) == 1
    assert "write it with -o lesson.html" in capsys.readouterr().err


def test_the_copy_for_a_student_is_one_of_its_own() -> None:
    for words in ("--for student", "--for student --hide tab", ""):
        assert main(["sheet", "tune.txt", "--no-sound", *words.split(), "-o", f"{words}.html"]) == 0
    student, tab, teacher = (
        Path(f"{words}.html").read_text()
        for words in ("--for student", "--for student --hide tab", "")
    )
    assert len({student, tab, teacher}) == 3
    assert "D major" not in student
    assert "D major" in teacher


def printed(words: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(shlex.split(words)) == 0
    return capsys.readouterr().out


def test_a_tuning_alone_names_the_instrument_that_has_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert "ukulele: strings 4 to 1 G4 C4 E4 A4" in printed('tab 1 --tuning "G4 C4 E4 A4"', capsys)
    asked = 'tab 1 --instrument bass --tuning "G4 C4 E4 A4"'
    assert "bass: strings 4 to 1 G4 C4 E4 A4\n" in printed(asked, capsys)
    assert "bass: strings 4 to 1 C1 A1 D2 G2" in printed('tab 1 --tuning "C1 A1 D2 G2"', capsys)


def test_a_tab_becomes_a_melody_for_the_other_commands(
    capsys: pytest.CaptureFixture[str],
) -> None:
    Path("placed.txt").write_text(printed("read tab.txt --melody --key C", capsys))
    Path("free.txt").write_text(printed("read tab.txt --melody --no-places --key C", capsys))
    assert "--instrument guitar --capo 2" in Path("placed.txt").read_text()
    assert "@" not in Path("free.txt").read_text()
    wanted = "--instrument guitar --capo 2 --ways 2"
    assert "the text gives every note its place" in printed(f"tab placed.txt {wanted}", capsys)
    assert "\nway 2\n" in printed(f"tab free.txt {wanted}", capsys)


def test_one_answer_is_told_its_drill_too(capsys: pytest.CaptureFixture[str]) -> None:
    page = printed('mark tune.txt "1 2 3 5 3 2 1"', capsys)
    drill = page.strip().splitlines()[-1].removeprefix("     to drill them: fretpath ")
    assert drill == 'drill --confused "b3=3"'
    assert printed(drill, capsys).startswith("LISTEN")
    assert "to drill" not in printed("mark tune.txt tune.txt", capsys)


def test_whole_octaves_are_called_octaves(capsys: pytest.CaptureFixture[str]) -> None:
    page = printed('transpose "key: D\noctave: 2\n\n1 2" --by P15', capsys)
    assert page.startswith("D major: up 2 octaves (24 semitones)\n")
    page = printed('transpose "key: D\noctave: 2\n\n1 2" --by M10', capsys)
    assert "up M10 (16 semitones)" in page


def test_every_cost_is_explained(capsys: pytest.CaptureFixture[str]) -> None:
    page = printed('tab "1 5 b10 1 b3 r:4 8" --why --instrument guitar', capsys)
    costs, words = page.split("(effort, counted as --weights does)\n")[1].split("\n\n")
    told = {name.strip() for name in words.replace("\n", " ").replace(";", ":").split(":")[::2]}
    used = {word for line in costs.splitlines() for word in line.split() if word.isalpha()}
    assert used <= told | {"no", "other", "place", "free"}


def test_a_check_says_which_key_it_heard_and_when_nothing_is_better(
    capsys: pytest.CaptureFixture[str],
) -> None:
    page = printed("check tab.txt --key C", capsys)
    assert "effort (less is easier)" in page
    best = printed('tab "1 2 3 5" --key D --rows degree', capsys)
    Path("best.txt").write_text(best)
    assert "this tab lies where the notes cost least" in printed("check best.txt", capsys)


def test_letters_that_tell_no_octave_are_not_marked_for_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = "octaves are not marked: the letters do not tell them"
    assert main(["mark", "1 5 1 5, 1", "C G C G C"]) == 0
    shown = capsys.readouterr().out
    assert said in shown
    assert "every note is right" in shown
    for answer in ("C4 G4 C4 G4 C4", "1 5 1 5 1"):
        assert main(["mark", "1 5 1 5, 1", answer]) == 0
        shown = capsys.readouterr().out
        assert said not in shown
        assert "(the octave)" in shown


def test_two_files_are_not_read_as_notes(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [tmp_path / "lantern.txt", tmp_path / "rain.txt"]
    for file in files:
        file.write_text("key: C\n\n1 3 5")
    assert main(["tab", *map(str, files)]) == 1
    assert "takes one at a time" in capsys.readouterr().err


def test_a_syllable_too_many_is_told_for_its_bar(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tab", "key: C\n\n1 2 | 3:2\nwords: up the | lane side"]) == 1
    assert "notes to sing behind the last | in the line above: 1" in capsys.readouterr().err
