"""The commands of the page: tab with sound and sentences, neck, sheet."""

from __future__ import annotations

import json
import wave
from pathlib import Path
from xml.etree import ElementTree

import pytest

from fretpath import Limits, arrange, parse_melody
from fretpath.commands import main
from fretpath.neck.setup import Setup

BASS = ["--key", "B", "--instrument", "bass"]


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    status = main(list(words))
    printed = capsys.readouterr()
    return status, printed.out, printed.err


def test_a_tune_as_sound(capsys, tmp_path: Path) -> None:
    path = tmp_path / "tune.wav"
    words = ["1 5 8 9 10", *BASS, "--tempo", "60", "--count-in", "-o", str(path)]
    assert run(capsys, "tab", *words) == (0, "", "")
    with wave.open(str(path)) as sound:
        assert (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) == (1, 2, 44100)
        assert sound.getnframes() == 9 * 44100


def test_a_tune_as_midi(capsys, tmp_path: Path) -> None:
    """Read back by mido, which shares no code with the writer."""
    mido = pytest.importorskip("mido")
    path = tmp_path / "tune.mid"
    assert run(capsys, "tab", "1 5 8:2", *BASS, "-o", str(path)) == (0, "", "")
    messages = [message for track in mido.MidiFile(path).tracks for message in track]
    struck = [m.note for m in messages if m.type == "note_on" and m.velocity > 0]
    assert struck == [35, 42, 47]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["tab", "1", "--drone"], "--drone changes the sound: add -o tune.wav"),
        (["tab", "1", "--tempo", "0", "-o", "x.wav"], "a tempo is 10 to 400"),
        (["tab", "1", "-o", "x.svg"], '"fretpath neck" writes .svg'),
        (["tab", "1", "--drone", "-o", "x.mid"], "--drone changes the sound"),
        (["tab", "1", "--hide", "tabs"], 'cannot hide "tabs"; did you mean "tab"?'),
        (["tab", "1", "--hide", "tab", "--json"], "drop one of the two"),
        (["tab", "1", "--rows", "fingers"], 'did you mean "finger"?'),
        (["neck"], "say what to show"),
        (["neck", "--key", "C", "--chord", "C"], "say what to show"),
        (["neck", "1 5", "--chord", "C"], "a melody or a chord"),
        (["neck", "--key", "C", "--range", "5"], "written 5-9"),
        (["neck", "--key", "C", "--range", "7-5"], "not 7-5"),
        (["neck", "--key", "C", "--label", "finger"], "degree or note"),
        (["neck", "--key", "C", "--hide", "tab"], "give one"),
        (["neck", "--key", "C", "--width", "10"], "at least 40"),
        (["neck", "--key", "C", "--highest-fret", "5"], "--range 0-5"),
        (["sheet", "1 5", "--hints"], "add --for student"),
        (["sheet", "1 5", "--name-tonic", "--for", "teacher"], "add --for student"),
        (["sheet", "1 5", "--hide", "all"], "cannot hide"),
        (["sheet", "no_such_file.txt"], "there is no file"),
    ],
)
def test_wrong_wishes_end_with_one_message(capsys, tmp_path, monkeypatch, words, message) -> None:
    monkeypatch.chdir(tmp_path)
    status, out, err = run(capsys, *words)
    assert (status, out) == (1, "")
    assert message in err
    assert err.startswith("fretpath: ")
    assert list(tmp_path.iterdir()) == []


def test_a_chart_as_data_and_as_drawing(capsys, tmp_path: Path) -> None:
    _, out, _ = run(capsys, "neck", "1 5 8 9 10", *BASS, "--json")
    data = json.loads(out)
    steps = {step: (m["string"], m["fret"]) for m in data["marks"] for step in m["steps"]}
    found = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    assert steps == dict(enumerate(zip(found.strings, found.frets, strict=True), start=1))
    path = tmp_path / "chart.svg"
    run(capsys, "neck", "1 5 8 9 10", *BASS, "-o", str(path))
    assert ElementTree.parse(path).getroot().tag.endswith("svg")


def test_many_tunes_on_one_sheet(capsys, tmp_path: Path) -> None:
    path = tmp_path / "lesson.html"
    words = [
        "title: One\nkey: C\n\n1 5",
        "title: Two\nkey: C\n\n1 3",
        "--title",
        "Lesson",
        "--no-sound",
    ]
    assert run(capsys, "sheet", *words, "-o", str(path)) == (0, "", "")
    html = path.read_text(encoding="utf-8")
    assert [f"<h2>{title}</h2>" in html for title in ("One", "Two")] == [True] * 2
    assert html.count("<h3>Answers</h3>") == 2
    assert "<audio" not in html


@pytest.mark.parametrize(
    ("words", "student"),
    [([], False), (["--hide", "tab"], True), (["--for", "student"], True),
     (["--hide", "tab", "--for", "teacher"], False)],
)  # fmt: skip
def test_whose_copy_it_is(capsys, words: list[str], student: bool) -> None:
    _, html, _ = run(capsys, "sheet", "1 5 8", "--no-sound", *words)
    assert ("<h3>Answers</h3>" not in html) == student
    assert ("<span>Name</span>" in html) == student


def test_in_a_notebook_an_arrangement_shows_tab_and_chart() -> None:
    arrangement = arrange(
        parse_melody("title: <i>\n\n1@4-7 5 8", key="B"),
        Setup.of("bass", limits=Limits(position=6)),
    )
    html = arrangement._repr_html_()
    assert "&lt;i&gt;" in html
    assert "<i>" not in html
    assert "E        |-7" in html
    assert html.count("<svg") == 1
