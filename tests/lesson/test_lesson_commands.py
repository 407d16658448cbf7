"""Order, find, mark and drill as a teacher calls them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from fretpath.commands import main
from tests.lesson.tunes import write_tunes

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "demo_melodies"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(ROOT)}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three good melodies and one that cannot be read."""
    texts = {
        "a_steps.txt": "title: Steps\nkey: C major\n\n1 2 3 2 1",
        "b_triad.txt": "title: Triad\nkey: G major\n\n1 3 5 3 1",
        "c_raised.txt": "title: Raised\nkey: D major\n\n3 4 #4 5 8",
        "d_broken.txt": "title: Broken\nkey: C major\n\n1 2 zz",
    }
    return write_tunes(tmp_path, texts)


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(words)
    captured = capsys.readouterr()
    return status, captured.out, captured.err


def test_order_goes_on_past_a_bad_file_and_says_so(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, "order", str(folder))
    assert status == 1
    ear = out[: out.index("FOR THE HAND")]
    assert ear.index("Steps") < ear.index("Triad") < ear.index("Raised")
    assert "1 file left out" in err
    assert "d_broken.txt, line 4" in err
    assert "88 of 100 pairs" in " ".join(out.split())
    assert "stop if it hurts" in out


def test_order_of_a_good_folder_is_the_same_on_every_run_and_with_every_number_of_jobs(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    for number in range(40):
        name = f"{number:02}.txt"
        (tmp_path / name).write_text(f"key: C major\n\n1 {1 + number % 5} 2 {1 + number % 4}")
    first = run(capsys, "order", str(tmp_path))
    assert first[0] == 0
    assert first[2] == ""
    assert run(capsys, "order", str(tmp_path)) == first
    assert run(capsys, "order", str(tmp_path), "--jobs", "2") == first


@pytest.mark.parametrize(
    "words",
    [
        ("order", str(DEMO), "--measures"),
        ("find", str(DEMO), "--met", "1 2 3 4 5 6", "--contour", "up down"),
        ("mark", str(DEMO / "ferry_bell.txt"), "1 5 3 1 5 3 3 3", "1 b3 5 1", "--next", str(DEMO)),
        ("drill", str(DEMO / "lantern_in_the_fog.txt"), "--confused", "3=b3"),
        ("drill", str(DEMO / "gulls_over_the_mast.txt"), "--kind", "shift"),
        ("drill", str(DEMO / "gulls_over_the_mast.txt"), "--kind", "tempo"),
    ],
)
def test_pages_are_plain_text_of_80_columns(
    words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, _ = run(capsys, *words)
    assert status == 0
    assert out.isascii()
    assert max(len(line) for line in out.splitlines()) <= 80
    assert not any(line.endswith(" ") for line in out.splitlines())
    status, data, _ = run(capsys, *words, "--json")
    assert status == 0
    json.loads(data)


def test_a_progress_bar_shows_on_a_terminal_only(folder: Path) -> None:
    # that nothing shows elsewhere is part of the tests of whole outputs above
    pty = pytest.importorskip("pty")
    (folder / "d_broken.txt").unlink()
    ours, theirs = pty.openpty()
    pytest.importorskip("termios").tcsetwinsize(theirs, (24, 80))
    os.set_blocking(ours, False)
    words = [sys.executable, "-m", "fretpath", "order", str(folder), "--ear-only"]
    done = subprocess.run(
        words, stdout=subprocess.PIPE, stderr=theirs, env=ENVIRONMENT, check=False
    )
    shown = os.read(ours, 65536).decode()  # before the last writer goes and takes it along
    os.close(theirs)
    os.close(ours)
    assert done.returncode == 0
    assert "0/3" in shown
    assert b"0/3" not in done.stdout


def test_a_saved_order_is_read_back_and_can_be_changed(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (folder / "d_broken.txt").unlink()
    saved = tmp_path / "term.order"
    assert run(capsys, "order", str(folder), "--save-order", str(saved))[0] == 0
    lines = saved.read_text(encoding="utf-8").splitlines()
    assert lines[1:] == ["a_steps.txt", "b_triad.txt", "c_raised.txt"]
    saved.write_text("c_raised.txt\na_steps.txt\n", encoding="utf-8")
    _, out, _ = run(capsys, "order", str(folder), "--order-file", str(saved), "--json")
    data = json.loads(out)
    assert [row["tune"]["name"] for row in data["ear"]] == [
        "c_raised.txt",
        "a_steps.txt",
        "b_triad.txt",
    ]
    assert [row["placed"] for row in data["ear"]] == [True, True, False]


def test_a_tune_that_does_not_fit_the_neck_is_still_ordered_for_the_ear(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "high.txt").write_text("title: High\nkey: C major\n\nC4 C7", encoding="utf-8")
    status, out, _ = run(capsys, "order", str(tmp_path))
    assert status == 0
    assert "not on this neck: High" in out


def test_find_lists_what_has_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    status, out, err = run(capsys, "find", str(folder), "--has", "#4")
    assert status == 1
    assert "d_broken.txt" in err
    assert out.splitlines() == [
        "1 of 3 melodies",
        "c_raised.txt  Raised",
        "     #4: note 3",
    ]


def test_mark_reads_letters_in_the_key_of_the_tune(
    capsys: pytest.CaptureFixture[str],
) -> None:
    status, out, _ = run(capsys, "mark", "1 2 3", "G3 A3 Bb3", "--key", "G major")
    assert status == 0
    assert "note 3: expected B but answered Bb" in out
    assert "9 of 12 points (75%)" in out
    other_key = run(capsys, "mark", "1 2 3", "C4 D4 E4", "--key", "G", "--answer-key", "C")[1]
    assert "every note is right" in other_key


def test_mark_reads_a_tab(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    tune = str(DEMO / "ferry_bell.txt")
    tab = tmp_path / "answer.tab"
    assert run(capsys, "tab", tune, "-o", str(tab))[0] == 0
    status, out, _ = run(capsys, "mark", tune, str(tab))
    assert status == 0
    assert "66 of 66 points (100%)" in out
    # without a key of its own, in the key of the tune: D is 5 in G, C# is #4
    tab.write_text("G|----------|\nD|----------|\nA|----5--4--|\nE|-3--------|\n")
    out = run(capsys, "mark", "1 5 5", str(tab), "--key", "G")[1]
    assert "note 3: expected 5 but answered #4" in out
    assert "lengths are not marked" in out


def test_mark_leaves_lengths_out_when_an_answer_gives_none(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert "lengths are not marked" in run(capsys, "mark", "1:2 2", "1 2")[1]
    assert (
        "expected 2 beats but answered 1 beat"
        in run(capsys, "mark", "1:2 2", "1 2", "--lengths", "mark")[1]
    )
    assert "expected 2 beats but answered 3 beats" in run(capsys, "mark", "1:2 2", "1:3 2")[1]


def test_mark_tables_the_confusions_of_a_class_and_names_tunes(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    (folder / "d_broken.txt").write_text("key: C major\n\n4 #4 4 #4")
    words = ("mark", "1 #4 5", "1 4 5", "1 4 5", "1 #4 5", "--next", str(folder), "--json")
    status, out, _ = run(capsys, *words)
    assert status == 0
    data = json.loads(out)
    assert data["confusions"] == [{"expected": "#4", "answered": "4", "times": 2}]
    assert [tune["name"] for tune in data["next"]] == ["d_broken.txt", "c_raised.txt"]
    assert [tune["richness"] for tune in data["next"]] == [1.0, 0.4]


def test_drill_keeps_the_answers_apart(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    answers = tmp_path / "answers.txt"
    words = ("drill", str(DEMO / "ferry_bell.txt"), "--answers", str(answers), "--draw", "7")
    status, out, _ = run(capsys, *words)
    assert status == 0
    assert "set 7" in out
    assert "ANSWER KEY" not in out
    assert "ANSWER KEY" in answers.read_text(encoding="utf-8")
    assert "ANSWER KEY" in run(capsys, *words[:2])[1]


def test_call_and_answer_is_a_melody_that_other_commands_take(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "call.txt"
    demo = str(DEMO / "market_day_quay.txt")
    assert run(capsys, "drill", demo, "--kind", "call", "-o", str(file))[0] == 0
    status, out, _ = run(capsys, "tab", str(file))
    assert status == 0
    assert "call and answer" in out


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("order", "/nowhere"), "is not a folder"),
        (("find", str(DEMO), "--contour", "upp"), 'did you mean "up"'),
        (("mark", "C4 D4", "1 2"), "no key is given"),
        (("drill",), "no melody and no confused degrees"),
        (("drill", "--kind", "shift", "--confused", "3=b3"), "needs a melody"),
        (("drill", "1 2", "--choices", "9"), "2 to 6 choices"),
        (("drill", "1 2", "--kind", "tempo", "--answers", "x"), "does not go with --kind tempo"),
        (("order", str(DEMO), "--jobs", "0"), "--jobs is 1 to 64"),
    ],
)
def test_wrong_calls_say_what_would_help(
    words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    status, out, err = run(capsys, *words)
    assert (status, out) == (1, "")
    assert message in err


def test_an_empty_folder_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert "no melody file" in run(capsys, "order", str(tmp_path))[2]


def test_a_folder_of_bad_files_only(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "bad.txt").write_text("key: C\n\n1 zz", encoding="utf-8")
    (tmp_path / "none.txt").write_bytes(b"\xff\xfe")
    for command in (("order",), ("find", "--has", "2")):
        status, _, err = run(capsys, command[0], str(tmp_path), *command[1:])
        assert status == 1
        assert "2 files left out" in err
        assert "none.txt is not text in UTF-8" in err
