"""The packet of a folder."""

from __future__ import annotations

import csv
import os
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fretpath import Limits, parse_melody
from fretpath.commands import main
from fretpath.commands import sheet as sheet_command
from fretpath.neck.keychoice import rank_keys
from fretpath.neck.setup import Setup
from tests.lesson.tunes import write_tunes

ROOT = Path(__file__).parent.parent.parent
TUNES = {
    "a_steps.txt": "title: =Steps & <b>more</b>\nkey: C major\n\n1 2 3 2 1",
    "b_triad.txt": "title: Triad\nkey: G major\n\n1 3 5 3 1",
    "c_raised.txt": "title: Raised\nkey: D major\ntempo: 90\n\n3 4 #4 5 8",
}


class Links(HTMLParser):
    """Where a page links to, and its text."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.words: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.links += [value for name, value in attrs if tag == "a" and name == "href" and value]

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three melodies."""
    return write_tunes(tmp_path / "tunes", TUNES)


def sheet(folder: Path, out: Path, *words: str) -> int:
    return main(["sheet", str(folder), "-o", str(out), "--no-sound", *words])


def files(folder: Path) -> dict[str, bytes]:
    return {
        str(file.relative_to(folder)): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


def test_a_packet_holds_contents_measures_and_both_copies(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet"
    assert sheet(folder, out, "--title", "Autumn") == 0
    stems = ("01_a_steps", "02_b_triad", "03_c_raised")
    copies = {f"{copy}/{stem}.html" for copy in ("student", "teacher") for stem in stems}
    copies |= {"student.html", "teacher.html"}
    assert set(files(out)) == {"contents.html", "measures.csv", *copies}
    page = Links((out / "contents.html").read_text(encoding="utf-8"))
    assert {*copies, "measures.csv"} == set(page.links)
    assert "=Steps & <b>more</b>" in page.words  # escaped in the page, whole on the screen
    assert "Autumn" in page.words
    assert "\u266f4 off the key" in " ".join(page.words)
    student = (out / "student" / "03_c_raised.html").read_text(encoding="utf-8")
    teacher = (out / "teacher" / "03_c_raised.html").read_text(encoding="utf-8")
    assert "#4" not in student
    assert "#4" in teacher
    whole = (out / "student.html").read_text(encoding="utf-8")
    assert whole.count("<article>") == len(stems)
    assert "<audio" not in whole
    # no tempo was given, so none is made up on the sheet
    assert "beats a minute" not in (out / "teacher" / "02_b_triad.html").read_text("utf-8")
    assert "90 beats a minute" in teacher


def test_the_measures_are_one_line_a_tune_and_no_formula(folder: Path, tmp_path: Path) -> None:
    assert sheet(folder, tmp_path / "packet") == 0
    with (tmp_path / "packet" / "measures.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [row["file"] for row in rows] == list(TUNES)
    assert [row["place"] for row in rows] == ["1", "2", "3"]
    assert rows[0]["title"] == "'=Steps & <b>more</b>"
    assert rows[2]["off the key (share)"] == "0.2"
    assert sorted(row["place for the hand"] for row in rows) == ["1", "2", "3"]


def test_the_same_bytes_on_every_run_and_with_every_number_of_jobs(
    folder: Path, tmp_path: Path
) -> None:
    for number in range(6):  # enough for the work to be shared out
        (folder / f"d_{number}.txt").write_text(f"key: F major\n\n1 {number + 1} 1")
    for name, jobs in (("one", "1"), ("again", "1"), ("two", "2")):
        assert sheet(folder, tmp_path / name, "--jobs", jobs) == 0
    assert len(files(tmp_path / "one")) == 22
    assert files(tmp_path / "one") == files(tmp_path / "again") == files(tmp_path / "two")


def test_a_bad_file_is_reported_and_the_rest_goes_on(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "broken.txt").write_text("key: C major\n\n1 %", encoding="utf-8")
    (folder / "high.txt").write_text("key: C major\n\nC4 C7", encoding="utf-8")
    assert sheet(folder, tmp_path / "packet") == 1
    captured = capsys.readouterr()
    assert "3 tunes" in captured.out
    assert "2 files left out" in captured.err
    assert "broken.txt, line 3" in captured.err
    assert "high.txt: 1 note has no place" in captured.err
    assert not [name for name in files(tmp_path / "packet") if "broken" in name or "high" in name]


def test_nothing_is_left_behind_when_it_goes_wrong(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*_: object) -> str:
        raise KeyboardInterrupt

    monkeypatch.setattr(sheet_command, "measures_csv", fail)
    with pytest.raises(KeyboardInterrupt):
        sheet(folder, tmp_path / "packet")
    assert os.listdir(tmp_path) == ["tunes"]


def test_a_packet_again_keeps_what_the_teacher_put_there(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet"
    assert sheet(folder, out) == 0
    (out / "my notes.txt").write_text("mine")
    (out / "contents.html").write_text("old")
    assert sheet(folder, out) == 0
    assert (out / "my notes.txt").read_text() == "mine"
    assert (out / "contents.html").read_text() != "old"


def test_keys_can_be_chosen_for_five_frets(folder: Path, tmp_path: Path) -> None:
    words = ("--choose-key", "--highest-fret", "5", "--open-strings", "forbid")
    assert sheet(folder, tmp_path / "packet", *words) == 0
    with (tmp_path / "packet" / "measures.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["shifts"] for row in rows} == {"0"}
    wishes = Limits(highest_fret=5, open_strings="forbid")
    best = [
        rank_keys(parse_melody(text), Setup.of(limits=wishes))[0].key for text in TUNES.values()
    ]
    assert [row["key"] for row in rows] == [str(key) for key in best]
    for row in rows:
        page = tmp_path / "packet" / "teacher" / f"0{row['place']}_{row['file'][:-4]}.html"
        assert row["key"] in page.read_text(encoding="utf-8")


def test_a_packet_needs_a_folder_to_go_to(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", str(folder)]) == 1
    assert "name it with -o FOLDER" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [("--key", "B"), ("--octave", "0"), ("--for", "student"), ("--tune", "1")]
)
def test_options_of_single_melodies_are_refused_for_a_folder(
    words: tuple[str, ...], folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert sheet(folder, tmp_path / "packet", *words) == 1
    assert f"{words[0]} is for single melodies" in capsys.readouterr().err
    assert not (tmp_path / "packet").exists()


@pytest.mark.parametrize("words", [("--choose-key",), ("--jobs", "2"), ("--order-file", "x")])
def test_options_of_packets_are_refused_for_a_melody(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sheet", "1 2 3", *words]) == 1
    assert "need a folder" in capsys.readouterr().err


def test_a_packet_reads_jottings_and_finds_keys(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = {
        "boots.txt": "Wet Boots (in F, 3/4)\n1 2 3 | 5 - 3 | 4 3 2 | 1 - - |",
        "buttons.txt": "Buttons\nC D E F | G A B c | G F E D | C - - - |\nC E G E | F D B C |",
    }
    tunes = write_tunes(tmp_path / "tunes", texts)
    assert sheet(tunes, tmp_path / "out") == 0
    told = capsys.readouterr()
    assert "2 tunes" in told.out
    assert "no key given: read in C major" in told.err
    assert "Wet Boots" in (tmp_path / "out" / "teacher.html").read_text()


def test_a_tune_without_a_title_has_one_name_everywhere(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    texts = {"pip.txt": "key: C\n\n1 2 3", "wide.txt": "key: C\n\n1,,, 1 8 15"}
    folder = write_tunes(tmp_path / "tunes", texts)
    assert main(["order", str(folder), "--instrument", "ukulele"]) == 0
    order = capsys.readouterr().out
    assert "pip " in order
    assert "not on this neck: wide: " in order
    assert main(["find", str(folder), "--degrees", "1 2 3"]) == 0
    assert main(
        ["sheet", str(folder), "--instrument", "ukulele", "--no-sound", "-o", str(tmp_path / "p")]
    )
    assert main(
        ["term", str(folder), "--instrument", "ukulele", "--no-sound", "-o", str(tmp_path / "t")]
    )
    pages = [file for out in ("p", "t") for file in (tmp_path / out).rglob("*.html")]
    for page in pages:
        words = page.read_text(encoding="utf-8")
        assert "pip" in words
        assert "Tune 1" not in words
        assert "pip.txt" not in words
    assert len(pages) == 9
