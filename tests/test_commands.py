"""The command line as its user meets it: what it prints, where, and with which exit status."""

from __future__ import annotations

import io
import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from fretpath.commands import COMMANDS, main

ROOT = Path(__file__).parent.parent
DOCUMENTS = [ROOT / "README.md", *sorted(ROOT.glob("docs/*.md"))]
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")


@pytest.fixture
def fretpath(capsys: pytest.CaptureFixture[str]) -> Run:
    """Run the command line in this process: exit status, standard output, standard error."""

    def run(*words: str) -> tuple[int, str, str]:
        status = main(words)
        said = capsys.readouterr()
        return status, said.out, said.err

    return run


def shell(command: str) -> tuple[int, str, str]:
    """Run a shell command in which ``fretpath`` is this copy."""
    program = f'fretpath() {{ {shlex.quote(sys.executable)} -m fretpath "$@"; }}\n{command}'
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["bash", "-c", program], env=environment, capture_output=True, text=True, check=False
    )
    return done.returncode, done.stdout, done.stderr


# (what is wrong, arguments, what the message says).  Exit status 1, nothing on standard output.
BAD_INPUT = [
    ("an unknown degree", "tab 1 x9 3", '"x9" is not a note: expected a degree (5, b3, #4, 10)'),
    ("degree zero", "tab '0'", '"0": degrees count from 1'),
    ("a note nobody knows", "tab 'C4 K4 D4'", '"K4" is not a note'),
    ("a repeat without an end", "tab '|: 1 2'", "write :| where it goes back"),
    (
        "a bar that does not add up",
        "tab $'meter: 3/4\\n\\n1 2 3 | 4 5 6 7 | 1'",
        "bar 2 has 4 beats up to here, the meter 3/4 asks for 3",
    ),
    ("an unknown key", "tab 1 --key Q", 'unknown key "Q": write the tonic and the mode'),
    ("the German H", "tab 1 --key H", "H is the German name of B: write B major or B minor"),
    ("a key that can be two", "tab 1 --key b", '"B major" or "Bm"?'),
    ("an unknown mode", "tab 1 --key 'C dorain'", 'did you mean "dorian"?'),
    ("an unknown instrument", "tab 1 --instrument bas", 'did you mean "bass"?'),
    ("an unknown hand", "tab 1 --hand one-two-for", 'did you mean "one-two-four"?'),
    ("an unknown weight", "tab 1 --weights shfit=1", 'did you mean "shift"?'),
    ("a weight without a number", "tab 1 --weights shift", "needs a number: shift=1.5"),
    ("a weight below 0", "tab 1 --weights shift=-1", "the weight shift is 0 to 10000, not -1"),
    ("a weight that is no number", "tab 1 --weights shift=nan", "is 0 to 10000, not nan"),
    ("an unknown row", "tab 1 --rows degrees", 'unknown row "degrees"; did you mean "degree"?'),
    ("a page too narrow", "tab 1 --width 5", "at least 40 characters wide, not 5"),
    (
        "a placement off the note",
        "tab '1 5@4-7' --octave 2",
        "note 2 (5, G2): @4-7 does not sound G2 on the bass; it lies at @1-0, @2-5, @3-10, @4-15",
    ),
    ("a placement off the strings", "tab 1@9-1 --octave 2", "strings 1 (top line) to 4"),
    (
        "a limit above the neck",
        "tab 1 --highest-fret 30",
        "the highest fret is 0 to 24 here, not 30",
    ),
    ("limits that cross", "tab 1 --lowest-fret 7 --highest-fret 5", "drop one of the two"),
    ("a position off the neck", "tab 1 --position 0", "a position is 1 to 24 here, not 0"),
    ("no such string", "tab 1 --strings 5", "there is no string 5: this instrument has strings 1"),
    ("strings that are no numbers", "tab 1 --strings E", "--strings takes numbers such as 1,2"),
    (
        "an octave off the piano",
        "tab 1 --octave 12",
        'an octave is -1 to 9 (C4 is middle C), or free, not "12"',
    ),
    ("a tuning of letters", "tab 1 --tuning 'E A D G'", "that is --instrument bass"),
    ("a tuning of no instrument", "tab 1 --tuning 'E A D F'", '"F" is not a pitch'),
    ("a neck without frets", "tab 1 --frets 0", "the number of frets is 1 to 36, not 0"),
    ("a length without a unit", "tab 1 --scale-length 34", "write 34in or 864mm"),
    ("a capo off the neck", "tab 1 --capo 24", "the capo is 0 to 23, not 24"),
    ("an empty melody", "tab ''", "there is no note in this melody: write degrees such as 1 5 8"),
    ("only blanks", "tab '  '", "there is no note in this melody"),
    ("only rests", "tab 'r r'", "there is no note to play in this melody, only rests"),
    ("a file that is not there", "tab tune.txt", "there is no file tune.txt"),
    ("a folder", "tab ./", "is a folder"),
    ("a control character", "tab $'1 \\x07 2'", "control character U+0007 in the text; delete it"),
    ("a folder that is not there", "tab 1 -o nowhere/tune.txt", "cannot write nowhere/tune.txt: "),
    ("a full device", "tab 1 -o /dev/full", "cannot write /dev/full: No space left on device"),
]
IDS = [what for what, _, _ in BAD_INPUT]


def words_of(command: str) -> list[str]:
    """The words of a command as bash splits it, ``$'..'`` included."""
    plain = re.sub(
        r"\$'([^']*)'", lambda m: shlex.quote(m[1].encode().decode("unicode_escape")), command
    )
    return shlex.split(plain)


class TestBadInput:
    @pytest.mark.parametrize(("_what", "command", "says"), BAD_INPUT, ids=IDS)
    def test_says_what_would_help(self, _what: str, command: str, says: str, fretpath: Run) -> None:
        status, out, err = fretpath(*words_of(command))
        assert says in err
        assert (status, out) == (1, "")
        assert err.startswith("fretpath: ")
        assert err.endswith("\n")

    @pytest.mark.parametrize("number", range(0, len(BAD_INPUT), 6))
    def test_as_a_program_too(self, number: int) -> None:
        _, command, says = BAD_INPUT[number]
        status, out, err = shell(f"fretpath {command}")
        assert (status, out) == (1, "")
        assert says in err
        assert "Traceback" not in err

    def test_a_fault_in_the_text_is_pointed_at(self, fretpath: Run) -> None:
        _, _, err = fretpath("tab", "1 5 x9 8")
        assert err.splitlines()[1:] == ["    1 5 x9 8", "        ^^"]

    def test_every_note_off_the_neck_at_once_and_what_would_fit(self, fretpath: Run) -> None:
        status, out, err = fretpath("tab", "1 5 6, 8", "--key", "D", "--octave", "1")
        assert (status, out) == (1, "")
        assert err.splitlines() == [
            "fretpath: 2 notes have no place on the bass (E1 to G4):",
            "  note 1 (1, D1): 2 semitones below the lowest string",
            "  note 3 (6,, B0): 5 semitones below the lowest string",
            "It fits with the tonic in octave 2 (--octave 2), or 5 semitones higher (in G major), "
            "or as it is on the bass-bead (--instrument bass-bead).",
        ]

    def test_every_note_above_the_neck_too(self, fretpath: Run) -> None:
        _, _, err = fretpath("tab", "title: Gull\n\n1 15", "--octave", "3")
        assert "Gull: 1 note has no place on the bass" in err
        assert "note 2 (15, C5): 5 semitones above the last fret" in err
        assert "--octave 2" in err
        assert "5 semitones lower (in G major)" in err
        assert "(--instrument bass-tenor)" in err

    @pytest.mark.parametrize("advice", ["--octave 2", "--key G", "--instrument bass-bead"])
    def test_the_advice_is_good(self, advice: str, fretpath: Run) -> None:
        words = ["tab", "1 5 6, 8", "--key", "D", "--octave", "1", *advice.split()]
        assert fretpath(*words)[0] == 0

    def test_many_notes_off_the_neck_are_counted(self, fretpath: Run) -> None:
        _, _, err = fretpath("tab", "1 " * 100, "--octave", "7")
        assert "100 notes have no place" in err
        assert "  and 92 more\n" in err

    def test_nothing_but_the_limits_forbids_it(self, fretpath: Run) -> None:
        status, _, err = fretpath(
            "tab", "1 5", "--strings", "4", "--highest-fret", "2", "--key", "C"
        )
        assert status == 1
        assert "forbidden by the limits" in err

    def test_the_wish_to_drop_is_named(self, fretpath: Run) -> None:
        status, _, err = fretpath("tab", "1 15", "--octave", "2", "--position", "2")
        assert status == 1
        assert "--position 2" in err

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (["tabb"], 'unknown command "tabb"; did you mean "tab"?'),
            (["tab"], "fretpath tab: MELODY is missing"),
            (["tab", "1", "--bogus"], "there is no option --bogus"),
            (["tab", "1", "--capo", "two"], '--capo needs a whole number, not "two"'),
            (
                ["tab", "1", "--open-strings", "maybe"],
                '--open-strings is allow, avoid, forbid or prefer, not "maybe"',
            ),
            (
                ["tab", "1", "--instr", "bass"],
                'there is no option --instr; did you mean "--instrument"?',
            ),
        ],
    )
    def test_a_wrong_call_is_status_two(self, words: list[str], says: str, fretpath: Run) -> None:
        status, out, err = fretpath(*words)
        assert (status, out) == (2, "")
        assert says in err

    @pytest.mark.parametrize("command", COMMANDS)
    def test_a_wrong_option_of_any_command(self, command: str, fretpath: Run) -> None:
        assert fretpath(command, "--no-such-option")[0] == 2


class TestFiles:
    def test_a_file_is_read(self, fretpath: Run) -> None:
        Path("tune.txt").write_text("title: Quay\nkey: B\n\n1 5 8\n")
        status, out, _ = fretpath("tab", "tune.txt")
        assert status == 0
        assert out.startswith("Quay\nkey B major")

    def test_a_file_with_a_blank_in_its_name(self, fretpath: Run) -> None:
        Path("my tune").write_text("1 5 8\n")
        assert fretpath("tab", "my tune")[0] == 0

    def test_line_ends_and_byte_order_mark_of_other_systems(self, fretpath: Run) -> None:
        Path("tune.txt").write_bytes(b"\xef\xbb\xbftitle: Quay\r\nkey: B\r\n\r\n1 5 8\r\n")
        assert fretpath("tab", "tune.txt")[1].startswith("Quay\nkey B major")

    @pytest.mark.parametrize(
        ("data", "says"),
        [
            (b"\x89PNG\r\n\x1a\n\0\0\0", "tune.txt is not text in UTF-8 (byte 1 cannot be read)"),
            ("title: Étude\n\n1 5".encode("latin-1"), "(byte 8 cannot be read)"),
            (b"MThd\0\0\0\6", "control character U+0000"),
            (b"", "there is no note in this melody"),
            (b"x" * 1_000_000, "a line has at most 10000 characters"),
            (b"x \n" * 300_000, '"x" is not a note'),
            (b"1 " * (2 * 1024 * 1024) + b"1", "tune.txt is larger than 4 MB; split it"),
        ],
        ids=["picture", "Latin-1", "MIDI", "empty", "garbage", "words", "too large"],
    )
    def test_a_file_that_is_no_melody(self, data: bytes, says: str, fretpath: Run) -> None:
        Path("tune.txt").write_bytes(data)
        status, out, err = fretpath("tab", "tune.txt")
        assert (status, out) == (1, "")
        assert says in err
        assert len(err) < 500

    def test_an_unreadable_file(self, fretpath: Run, monkeypatch: pytest.MonkeyPatch) -> None:
        Path("tune.txt").write_text("1")

        def refuse(*_: object, **__: object) -> None:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(Path, "open", refuse)
        assert (
            fretpath("tab", "tune.txt")[2] == "fretpath: cannot read tune.txt: Permission denied\n"
        )

    @pytest.mark.parametrize("melody", ["1:3/2", "5:1/2", "1", "C4", "1 " * 300, "1:3/2 2:1/2"])
    def test_a_melody_is_not_taken_for_a_file(self, melody: str, fretpath: Run) -> None:
        assert fretpath("tab", melody)[0] == 0

    def test_standard_input(self, fretpath: Run, monkeypatch: pytest.MonkeyPatch) -> None:
        text = io.TextIOWrapper(io.BytesIO(b"title: Quay\n\n1 5 8\n"))
        monkeypatch.setattr(sys, "stdin", text)
        assert fretpath("tab", "-")[1].startswith("Quay\n")

    def test_standard_input_is_named_in_messages(self) -> None:
        status, _, err = shell("echo '1 k9' | fretpath tab -")
        assert status == 1
        assert err.startswith("fretpath: standard input, line 1, column 3: ")

    def test_words_need_no_quotes(self, fretpath: Run) -> None:
        assert fretpath("tab", "1", "5", "8") == fretpath("tab", "1 5 8")


class TestOutput:
    def test_the_page(self, fretpath: Run) -> None:
        status, out, err = fretpath("tab", "1 5 8 9 10", "--key", "B")
        assert (status, err) == (0, "")
        assert "E        |-7--" in out
        assert "finger     2   4    4    1    3\n" in out

    @pytest.mark.parametrize("words", [["tab", "1 5 8"], ["instruments"]])
    def test_is_plain_text_the_same_every_time(self, words: list[str], fretpath: Run) -> None:
        first = fretpath(*words)
        assert first == fretpath(*words)
        assert first[1].isascii()
        assert first[1].endswith("\n")
        assert all(line == line.rstrip() and len(line) <= 80 for line in first[1].splitlines())

    def test_a_file_holds_what_would_be_printed(self, fretpath: Run) -> None:
        _, printed, _ = fretpath("tab", "C G C")
        assert fretpath("tab", "C G C", "-o", "tune.tab") == (0, "", "")
        assert Path("tune.tab").read_text() == printed
        assert os.listdir() == ["tune.tab"]

    def test_a_failed_run_leaves_the_old_file_alone(self, fretpath: Run) -> None:
        Path("tune.tab").write_text("mine")
        assert fretpath("tab", "0", "-o", "tune.tab")[0] == 1
        assert Path("tune.tab").read_text() == "mine"

    def test_a_failed_write_leaves_the_old_file_alone(
        self, fretpath: Run, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        Path("tune.tab").write_text("mine")

        def full(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "replace", full)
        status, _, err = fretpath("tab", "C", "-o", "tune.tab")
        assert (status, err) == (1, "fretpath: cannot write tune.tab: No space left on device\n")
        assert Path("tune.tab").read_text() == "mine"
        assert os.listdir() == ["tune.tab"]

    def test_a_folder_is_not_overwritten(self, fretpath: Run) -> None:
        Path("tunes").mkdir()
        status, _, err = fretpath("tab", "1", "-o", "tunes")
        assert status == 1
        assert "cannot write tunes: " in err
        assert os.listdir() == ["tunes"]

    def test_a_link_stays_a_link(self, fretpath: Run) -> None:
        Path("real").write_text("")
        Path("link").symlink_to("real")
        assert fretpath("tab", "1", "-o", "link")[0] == 0
        assert Path("link").is_symlink()
        assert "finger" in Path("real").read_text()

    def test_a_pipe_is_written_to(self) -> None:
        status, out, _ = shell("fretpath tab 1 -o >(cat); wait $!; sleep 0.2")
        assert status == 0
        assert "finger" in out

    def test_a_reader_that_goes_away(self) -> None:
        reading, writing = os.pipe()
        os.close(reading)
        try:
            done = subprocess.run(
                [sys.executable, "-m", "fretpath", "tab", "C"],
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                stdout=writing,
                stderr=subprocess.PIPE,
                check=False,
            )
        finally:
            os.close(writing)
        assert (done.returncode, done.stderr) == (0, b"")

    def test_nowhere_to_write(self) -> None:
        status, _, err = shell("fretpath tab C > /dev/full")
        assert (status, err) == (1, "fretpath: cannot write the output: No space left on device\n")
        status, _, err = shell("fretpath tab C >&-")
        assert (status, err) == (
            1,
            "fretpath: standard output is closed, there is nowhere to write\n",
        )

    def test_nowhere_to_read_from(self) -> None:
        status, _, err = shell("fretpath tab - <&-")
        assert status == 1
        assert err.startswith("fretpath: standard input is closed")

    def test_nowhere_to_complain(self) -> None:
        assert shell("fretpath tab 0 2>&-")[0] == 1

    def test_a_terminal_that_knows_no_accents(self) -> None:
        status, out, err = shell(
            "export PYTHONIOENCODING=ascii; fretpath tab $'title: Étude\\nkey: C\\n\\n1'"
        )
        assert (status, err) == (0, "")
        assert out.startswith("?tude\n")

    def test_a_title_in_another_encoding(self) -> None:
        status, out, err = shell("fretpath tab $'title: \\xc9tude\\n\\n1' -o tune.tab")
        assert (status, out) == (1, "")
        assert "broken character U+DCC9" in err
        assert not Path("tune.tab").exists()

    def test_a_tune_that_lies_high_only_by_its_octave_says_so_under_the_tab(
        self, fretpath: Run
    ) -> None:
        words = ("tab", "1 2 3 4 5", "--key", "A", "--octave", "3")
        _, out, err = fretpath(*words)
        assert "with the tonic in\noctave 2 (--octave 2) the hand goes no higher than VI\n" in out
        assert "octave 2" not in err
        _, out, err = fretpath(*words, "--json")
        assert "lies as high" in json.loads(out)["remarks"][0]["text"]
        assert "lies as high" in err
        _, out, err = fretpath(*words[:-1], "2")
        assert "lies as high" not in out + err

    def test_each_column_of_the_ways_has_its_unit(self, fretpath: Run) -> None:
        _, out, _ = fretpath("tab", "1 2 3 4 5", "--key", "A", "--ways", "2")
        names, units, *_ = out.splitlines()
        for unit, columns in {
            "mm": ("travel", "longest", "stretch"),
            "strings": ("crossed",),
            "notes": ("open",),
        }.items():
            ends = [names.index(column) + len(column) for column in columns]
            assert all(units[:end].endswith(unit) for end in ends)


class TestJson:
    def test_the_notes_of_a_tab(self, fretpath: Run) -> None:
        status, out, _ = fretpath("tab", "1 5:2 8 9 10", "--key", "B", "--json")
        data = json.loads(out)
        assert status == 0
        assert data["key"] == "B major"
        assert data["tuning"] == ["E1", "A1", "D2", "G2"]
        assert [row["degree"] for row in data["notes"]] == ["1", "5", "8", "9", "10"]
        assert [(row["string"], row["fret"], row["finger"]) for row in data["notes"]] == [
            (4, 7, 2), (3, 9, 4), (2, 9, 4), (1, 6, 1), (1, 8, 3),
        ]  # fmt: skip
        assert [(row["onset"], row["length"]) for row in data["notes"]] == [
            ("0", "1"), ("1", "2"), ("3", "1"), ("4", "1"), ("5", "1"),
        ]  # fmt: skip

    def test_says_the_same_as_the_page(self, fretpath: Run) -> None:
        tune = [
            "tab",
            str(ROOT / "demo_melodies" / "gulls_over_the_mast.txt"),
            "--instrument",
            "guitar",
        ]
        data = json.loads(fretpath(*tune, "--json")[1])
        page = fretpath(*tune)[1]
        fingers = " ".join(re.findall(r"^finger +(.*)$", page, re.MULTILINE)).split()
        names = " ".join(re.findall(r"^note  +(.*)$", page, re.MULTILINE)).split()
        assert [str(row["finger"]) for row in data["notes"]] == fingers
        assert [row["note"] for row in data["notes"]] == names
        assert f"{data['figures']['travel']:.0f} mm" in page or data["figures"]["shifts"] == 0

    def test_the_instruments(self, fretpath: Run) -> None:
        data = json.loads(fretpath("instruments", "--json")[1])
        bass = next(made for made in data if made["name"] == "bass")
        assert [string["open"] for string in bass["strings"]] == ["G2", "D2", "A1", "E1"]
        assert bass["basis"]

    def test_into_a_file(self, fretpath: Run) -> None:
        assert fretpath("tab", "C", "--json", "-o", "tune.json") == (0, "", "")
        assert json.loads(Path("tune.json").read_text())["notes"]


class TestHelp:
    def test_alone_shows_an_example_that_works_when_pasted(self, fretpath: Run) -> None:
        status, out, _ = fretpath()
        assert status == 0
        example, _sheet = re.findall(r"^  (fretpath \w+ .*)$", out, re.MULTILINE)
        status, page, err = shell(example)
        assert (status, err) == (0, "")
        assert "finger     2   4    4    1    3" in page

    def test_names_every_command(self, fretpath: Run) -> None:
        out = fretpath()[1]
        for name, about in COMMANDS.items():
            assert re.search(rf"^  {name} +{re.escape(about)}$", out, re.MULTILINE)
        assert all(len(line) <= 80 for line in out.splitlines())

    @pytest.mark.parametrize("word", ["-h", "--help", "help"])
    def test_can_be_asked_for(self, word: str, fretpath: Run) -> None:
        assert fretpath(word) == fretpath()

    def test_version(self, fretpath: Run) -> None:
        import fretpath as package

        assert fretpath("--version") == (0, f"fretpath {package.__version__}\n", "")

    @pytest.mark.parametrize("command", COMMANDS)
    def test_of_every_command(self, command: str, fretpath: Run) -> None:
        status, out, err = fretpath(command, "--help")
        assert (status, err) == (0, "")
        assert out.startswith(f"usage: fretpath {command}")
        assert all(len(line) <= 80 for line in out.splitlines())

    @pytest.mark.parametrize("command", COMMANDS)
    def test_every_option_is_explained(self, command: str) -> None:
        import argparse
        import importlib

        parser = argparse.ArgumentParser()
        module = importlib.import_module(f"fretpath.commands.{command}")
        module.add_options(parser)
        silent = [
            "/".join(action.option_strings) or action.dest
            for action in parser._actions
            if not action.help
        ]
        assert not silent

    @pytest.mark.parametrize("command", COMMANDS)
    def test_every_command_stands_in_the_documents(self, command: str) -> None:
        texts = [path.read_text(encoding="utf-8") for path in DOCUMENTS]
        assert any(f"fretpath {command}" in text for text in texts)

    def test_every_module_of_the_room_is_a_command(self) -> None:
        folder = ROOT / "fretpath" / "commands"
        modules = {
            path.stem
            for path in folder.glob("*.py")
            if re.search(r"^def add_options\(", path.read_text(encoding="utf-8"), re.MULTILINE)
        }
        assert modules == {name.replace("-", "_") for name in COMMANDS}


class TestWrongCalls:
    """Status 2: the command itself is called wrongly."""

    @pytest.mark.parametrize(
        ("words", "option"),
        [
            (("order", "demo_melodies", "--jobs=--"), "--jobs"),
            (("scales", "--from=--"), "--from"),
            (("tab", "1", "-o--"), "-o/--output"),
        ],
    )
    def test_two_dashes_are_no_value(
        self, words: tuple[str, ...], option: str, fretpath: Run
    ) -> None:
        status, out, err = fretpath(*words)
        assert (status, out) == (2, "")
        assert f"{option} needs a value" in err
