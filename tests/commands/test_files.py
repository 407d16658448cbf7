"""Outputs: all of them or none, never over an input, and nothing printed that steers a terminal."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from fretpath.commands import main
from fretpath.commands.files import outputs_together, whole_folder, write_file
from fretpath.errors import RequestError

ROOT = Path(__file__).parent.parent.parent
TUNE = "title: Quay\nkey: D\nmeter: 4/4\n\n1 2 3 5 | 5 4 3 - |\n2 3 4 2 | 1 - - - |\n"


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, with a tune."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "tune.txt").write_text(TUNE)
    return tmp_path


def write_both(first: str, second: str) -> None:
    """Two outputs of one command."""
    with outputs_together():
        write_file(first, "one")
        write_file(second, "two")


class TestTogether:
    def test_nothing_appears_before_the_end(self, here: Path) -> None:
        with outputs_together():
            write_file("a", "one")
            write_file("b", "two")
            assert not Path("a").exists()
        assert (Path("a").read_text(), Path("b").read_text()) == ("one", "two")
        assert sorted(os.listdir()) == ["a", "b", "tune.txt"]

    def test_a_failure_leaves_nothing(self, here: Path) -> None:
        with pytest.raises(RequestError, match="cannot write nowhere/b"):
            write_both("a", "nowhere/b")
        assert os.listdir() == ["tune.txt"]

    def test_a_folder_inside_is_whole_by_itself(self, here: Path) -> None:
        with outputs_together(), whole_folder("packet") as packet:
            write_file(packet / "a", "one")
        assert Path("packet/a").read_text() == "one"

    def test_two_outputs_are_two_files(self, here: Path) -> None:
        Path("link").symlink_to("a")
        with pytest.raises(RequestError, match="two outputs go to one file"):
            write_both("a", "link")

    @pytest.mark.parametrize(
        "words",
        [
            ["drill", "tune.txt", "--answers", "a.txt", "-o", "/nowhere/x.txt"],
            ["drill", "tune.txt", "--answers", "a.txt", "-o", "a.txt"],
            ["order", ".", "--save-order", "a.txt", "-o", "/nowhere/x"],
        ],
    )
    def test_a_refused_command_changes_no_file(self, words: list[str], here: Path) -> None:
        assert main(words) == 1
        assert os.listdir() == ["tune.txt"]


class TestInputs:
    @pytest.mark.parametrize(
        "words",
        [
            ["tab", "tune.txt", "-o", "tune.txt"],
            ["sheet", "tune.txt", "-o", "link.txt"],
            ["spell", "tune.txt", "-o", "hard.txt"],
            ["keys", "tune.txt", "-o", "./tune.txt"],
        ],
    )
    def test_no_output_goes_over_an_input(
        self, words: list[str], here: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        Path("link.txt").symlink_to("tune.txt")
        os.link("tune.txt", "hard.txt")
        assert main(words) == 1
        assert "give the output another name" in capsys.readouterr().err
        assert Path("tune.txt").read_text() == TUNE

    def test_a_score_is_an_input_too(self, here: Path) -> None:
        assert main(["convert", "tune.txt", "-o", "tune.abc"]) == 0
        before = Path("tune.abc").read_text()
        assert main(["tab", "tune.abc", "-o", "tune.abc"]) == 1
        assert Path("tune.abc").read_text() == before


class TestPlaces:
    def test_a_dash_is_standard_output(
        self, here: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["tab", "tune.txt", "-o", "-"]) == 0
        assert "Quay" in capsys.readouterr().out
        assert os.listdir() == ["tune.txt"]

    def test_the_mode_of_a_file_stays(self, here: Path) -> None:
        Path("tab.txt").write_text("old")
        os.chmod("tab.txt", 0o600)
        assert main(["tab", "tune.txt", "-o", "tab.txt"]) == 0
        assert Path("tab.txt").stat().st_mode & 0o777 == 0o600

    def test_a_circle_of_links_is_no_place(
        self, here: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        Path("a").symlink_to("b")
        Path("b").symlink_to("a")
        assert main(["tab", "tune.txt", "-o", "a"]) == 1
        assert "its links run in a circle" in capsys.readouterr().err
        assert Path("a").is_symlink()

    def test_help_notices_a_full_disk(self) -> None:
        program = f"{sys.executable} -m fretpath tab --help > /dev/full"
        done = subprocess.run(
            ["bash", "-c", program],
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 1
        assert "No space left on device" in done.stderr


class TestPrinted:
    @pytest.mark.parametrize(
        ("command", "more"),
        [
            ("sheet", []),
            *((name, more) for name in ("tab", "spell", "keys") for more in ([], ["--json"])),
        ],
    )
    def test_nothing_steers_the_terminal(
        self, command: str, more: list[str], capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main([command, "title: a\u202eb\u2066c\u2028d\nkey: C\n\n1 2 3 5", *more]) == 0
        printed = capsys.readouterr().out
        assert not set(printed) & set("\u202e\u2066\u2028\x1b\x9b")


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="signals of POSIX systems")
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_a_run_that_is_ended_clears_up(number: int, here: Path) -> None:
    program = (
        "import sys, time, fretpath.commands as c\n"
        "from fretpath.commands import files\n"
        "files._settle = lambda *words: (print('ready', flush=True), time.sleep(30))\n"
        "sys.argv = ['fretpath', 'sheet', '--help']\n"
        "def work(*_):\n"
        "    with files.whole_folder('packet') as place:\n"
        "        files.write_file(place / 'a', 'one')\n"
        "c.main = work\n"
        "c.run()\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        text=True,
    ) as running:
        assert running.stdout is not None
        assert running.stdout.readline() == "ready\n"
        running.send_signal(number)
        assert running.wait(20) == 128 + number
    assert os.listdir() == ["tune.txt"]


def test_an_interrupt_with_jobs_is_quiet(here: Path) -> None:
    for number in range(40):
        Path(f"tune{number}.txt").write_text(TUNE)
    with subprocess.Popen(
        [sys.executable, "-m", "fretpath", "order", ".", "--jobs", "2"],
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    ) as running:
        time.sleep(1.5)
        os.killpg(running.pid, signal.SIGINT)
        _, err = running.communicate(timeout=60)
    assert "Traceback" not in err


class TestFoldersAndRecords:
    """A folder and a record are outputs like any other: put in place at the end, or not at all."""

    @pytest.mark.parametrize(
        "words",
        [
            ["mark", "tune.txt", "Ana: 1 2 4", "--record", "class.csv", "-o", "/nowhere/x"],
            ["drill", "tune.txt", "--sounds", "sounds", "-o", "/nowhere/x.txt"],
            ["drill", "tune.txt", "--sounds", "sounds", "--answers", "/nowhere/x.txt"],
        ],
    )
    def test_a_refused_command_leaves_none(self, words: list[str], here: Path) -> None:
        assert main(words) == 1
        assert os.listdir() == ["tune.txt"]

    def test_a_refused_command_adds_nothing(self, here: Path) -> None:
        words = ["mark", "tune.txt", "Ana: 1 2 4", "--date", "2026-11-25"]
        assert main([*words, "--record", "class.csv"]) == 0
        before = Path("class.csv").read_text()
        assert main([*words[:2], "Tom: 1 3", "--record", "class.csv", "-o", "/nowhere/x"]) == 1
        assert Path("class.csv").read_text() == before

    def test_a_folder_does_not_go_over_its_inputs(
        self, here: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert main(["convert", "tune.txt", "--to", "txt", "-o", "./"]) == 1
        assert "give the output another name" in capsys.readouterr().err
        assert Path("tune.txt").read_text() == TUNE
        assert os.listdir() == ["tune.txt"]

    def test_a_record_is_no_page(self, here: Path, capsys: pytest.CaptureFixture[str]) -> None:
        words = ["mark", "tune.txt", "Ana: 1 2 4", "--record", "class.csv", "-o", "class.csv"]
        assert main(words) == 1
        assert "two outputs go to one file" in capsys.readouterr().err
        assert os.listdir() == ["tune.txt"]

    def test_what_is_left_out_of_a_folder_does_not_stop_the_rest(self, here: Path) -> None:
        Path("bad.txt").write_text("1 2 five and six")
        assert main(["order", ".", "-o", "order.out"]) == 1
        assert "Quay" in Path("order.out").read_text()


def test_a_file_of_another_kind_is_replaced_only_by_force(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tune = tmp_path / "bell.txt"
    tune.write_text("key: D\n\n1 2 3\n")
    assert main(["tab", "1 5", "--key", "C", "-o", str(tune)]) == 1
    assert "holds a melody and would be replaced by a tab" in capsys.readouterr().err
    assert tune.read_text() == "key: D\n\n1 2 3\n"
    assert main(["convert", "1 5", "-o", str(tune)]) == 0
    assert main(["tab", "1 5", "--key", "C", "-o", str(tune), "--force"]) == 0
    assert main(["tab", "1 5", "--key", "D", "-o", str(tune)]) == 0
    assert "key D major" in tune.read_text()


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("a table", "date,student,tune,degree asked,degree answered\n2026-11-25,Ana,Bell,1,1\n"),
        ("a card", 'student = "Ana"\ninstrument = "ukulele"\n'),
        ("a tab", "key D\n\nG|-----2--|\nD|--4-----|\nA|-5----7-|\nE|--------|\n"),
    ],
)
def test_texts_of_a_teacher_are_told_apart(
    kind: str, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "own"
    own.write_text(text)
    assert main(["instruments", "-o", str(own)]) == 1
    assert f"holds {kind} and would be replaced by a page of text" in capsys.readouterr().err
    assert own.read_text() == text
