"""Recordings on the command line: read as melody text, marked as answers, refused in words."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import soundfile

from fretpath import SoundPlan, melody_wav, parse_melody
from fretpath.commands import main

TUNE = "key: G major\nmeter: 4/4\ntempo: 90\noctave: 2\n\n1 2 3:2 | 5 #4 5:2 | 3 2 1:2"
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def call(*words: object) -> tuple[int, str, str]:
        status = main([str(word) for word in words])
        told = capsys.readouterr()
        return status, told.out, told.err

    return call


def recording(folder: Path, text: str, name: str = "ana.wav", cents: float = 0) -> Path:
    """A file with the sound of a melody, *cents* sharp (and as much faster)."""
    samples, rate = soundfile.read(io.BytesIO(melody_wav(parse_melody(text), SoundPlan())))
    at = np.arange(0, len(samples), 2 ** (cents / 1200))
    path = folder / name
    soundfile.write(path, np.interp(at, np.arange(len(samples)), samples), rate)
    return path


def test_a_recording_becomes_melody_text(run: Run, tmp_path: Path) -> None:
    sound, text = recording(tmp_path, TUNE), tmp_path / "heard.txt"
    assert run("read", sound, "--key", "G", "--tempo", "90", "-o", text)[0] == 0
    heard, tune = parse_melody(text.read_text(encoding="utf-8")), parse_melody(TUNE)
    assert heard.pitches == tune.pitches
    assert heard.lengths == tune.lengths


def test_without_a_tempo_it_says_that_lengths_are_not_known(run: Run, tmp_path: Path) -> None:
    status, out, _ = run("read", recording(tmp_path, TUNE), "--key", "G")
    assert status == 0
    assert "lengths are not known without --tempo" in out
    assert "1 2 3 5 #4 5 3 2 1" in out
    assert "degree" in out


def test_a_flat_instrument_is_marked_right_and_told_once(run: Run, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(TUNE, encoding="utf-8")
    status, out, err = run("mark", tune, recording(tmp_path, TUNE, cents=-30))
    assert status == 0
    assert "(100%)" in out
    assert "from a recording" in out
    assert err.count("cents flat") == 1


def test_a_wrong_note_is_heard_and_not_answered(run: Run, tmp_path: Path) -> None:
    tune = tmp_path / "tune.txt"
    tune.write_text(TUNE, encoding="utf-8")
    wrong = recording(tmp_path, TUNE.replace("#4", "4"), "tom.flac")
    status, out, _ = run("mark", tune, wrong)
    assert status == 0
    assert "expected #4 but heard 4" in out
    assert "answered" not in out.split("tom:")[1].split("to drill")[0]


@pytest.mark.parametrize(
    ("name", "data", "message"),
    [
        ("a.m4a", b"x", "convert the recording as .wav"),
        ("a.wav", b"no sound", "not a sound that can be read"),
        ("gone.wav", None, "there is no file"),
    ],
)
def test_what_cannot_be_heard_says_why(
    run: Run, tmp_path: Path, name: str, data: bytes | None, message: str
) -> None:
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    status, out, err = run("read", path)
    assert (status, out) == (1, "")
    assert message in err


def test_silence_holds_no_note(run: Run, tmp_path: Path) -> None:
    path = tmp_path / "quiet.wav"
    soundfile.write(path, np.zeros(22050), 22050)
    status, _, err = run("read", path)
    assert status == 1
    assert "no note was heard" in err


def test_options_of_a_tab_are_refused_for_a_recording(run: Run, tmp_path: Path) -> None:
    assert "go with a text tab" in run("read", recording(tmp_path, TUNE), "--meter", "3/4")[2]
    tab = tmp_path / "tab.txt"
    tab.write_text("G|--0--|\nD|--2--|\nA|-----|\nE|-----|\n", encoding="utf-8")
    assert "--tempo goes with a recording" in run("read", tab, "--tempo", "90")[2]


def test_the_decoder_says_nothing_of_its_own(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    samples, rate = soundfile.read(io.BytesIO(melody_wav(parse_melody(TUNE), SoundPlan())))
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format="MP3")
    data = file.getvalue()
    path = tmp_path / "ana.mp3"
    path.write_bytes(data[:600] + b"\0" * 90 + data[650:])
    main(["read", str(path)])
    assert "MPEG" not in capfd.readouterr().err
