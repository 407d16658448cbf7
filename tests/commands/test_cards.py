"""``--card``: every command that takes an instrument takes it, and options count before it."""

from __future__ import annotations

import argparse
import importlib
from pathlib import Path

import pytest

from fretpath.commands import COMMANDS, main

CARD = """\
student = "Wren"
instrument = "ukulele"
left_handed = true
highest_fret = 3
known_degrees = "1 2 3 4"

[weights]
shift = 3.5
"""


@pytest.fixture(autouse=True)
def _a_card(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("wren.toml").write_text(CARD, encoding="utf-8")


def said(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[str, str]:
    """Standard output and standard error of a run that succeeds."""
    assert main(words) == 0
    out, err = capsys.readouterr()
    return out, err


def test_every_command_with_an_instrument_takes_a_card() -> None:
    for name in COMMANDS:
        parser = argparse.ArgumentParser()
        importlib.import_module(f"fretpath.commands.{name}").add_options(parser)
        options = {option for action in parser._actions for option in action.option_strings}
        assert ("--instrument" in options) == ("--card" in options), name


def test_a_card_is_the_same_as_its_options(capsys: pytest.CaptureFixture[str]) -> None:
    tune = ("1 2 3 5", "--key", "C")
    options = ("--instrument", "ukulele", "--highest-fret", "3", "--weights", "shift=3.5")
    for command in ("tab", "keys", "transpose"):
        more = ("--to", "Db") if command == "transpose" else ()
        by_card = said(capsys, command, *tune, *more, "--card", "wren.toml", "--json")
        assert by_card == said(capsys, command, *tune, *more, *options, "--json")


def test_options_count_before_the_card(capsys: pytest.CaptureFixture[str]) -> None:
    tune = ("tab", "E4 A4 C5 E5", "--card", "wren.toml", "--json")
    low, _ = said(capsys, *tune, "--highest-fret", "7")
    assert '"fret": 7' in low
    dear, _ = said(capsys, *tune, "--highest-fret", "7", "--weights", "shift=0")
    assert dear != low


def test_another_instrument_leaves_what_belongs_to_it(capsys: pytest.CaptureFixture[str]) -> None:
    tune = ("tab", "1 2 3 5 8", "--key", "G", "--instrument", "bass")
    out, err = said(capsys, *tune, "--card", "wren.toml")
    assert out == said(capsys, *tune)[0]
    assert "wren.toml: highest_fret, weights not used, meant for the ukulele" in err


def test_charts_are_left_handed(capsys: pytest.CaptureFixture[str]) -> None:
    asked = ("neck", "--key", "C", "--range", "0-5")
    by_card = said(capsys, *asked, "--card", "wren.toml")
    assert by_card == said(capsys, *asked, "--instrument", "ukulele", "--left-handed")
    assert by_card != said(capsys, *asked, "--instrument", "ukulele")


def test_a_term_knows_the_degrees(capsys: pytest.CaptureFixture[str]) -> None:
    Path("tunes").mkdir()
    for name, degrees in (("one", "1 2 3 4"), ("two", "1 2 b3 #4 5 6 b7 7")):
        Path(f"tunes/{name}.txt").write_text(f"title: {name}\n\n{degrees}\n", encoding="utf-8")
    term = ("term", "tunes", "--no-sound", "--weeks", "1", "--instrument", "ukulele")
    plain, _ = said(capsys, *term, "-o", "a")
    known, _ = said(capsys, *term, "-o", "b", "--known", "1 2 3 4")
    by_card, _ = said(capsys, *term, "-o", "c", "--card", "wren.toml")
    assert by_card.replace("c:", "b:") == known
    assert plain.replace("a:", "b:") != known


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('instrument = "ukuele"', 'wren.toml, line 1: unknown instrument "ukuele"; did you mean'),
        ("reech = 3", 'wren.toml, line 1: unknown entry "reech"; did you mean "reach"?'),
        ("reach 3", "wren.toml is not a card"),
    ],
)
def test_a_wrong_card_is_refused(text: str, says: str, capsys: pytest.CaptureFixture[str]) -> None:
    Path("wren.toml").write_text(text, encoding="utf-8")
    assert main(["tab", "1 2 3", "--card", "wren.toml"]) == 1
    out, err = capsys.readouterr()
    assert not out
    assert says in err


def test_a_card_is_never_written_over(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tab", "1 2 3", "--card", "wren.toml", "-o", "wren.toml"]) == 1
    assert Path("wren.toml").read_text(encoding="utf-8") == CARD
    assert main(["tab", "1 2 3", "--card", "no.toml"]) == 1
    assert "there is no file no.toml" in capsys.readouterr().err


class TestTheHand:
    """``fretpath hand``: tabs in, a card out."""

    @pytest.fixture(autouse=True)
    def _tabs(self, capsys: pytest.CaptureFixture[str]) -> None:
        scale = "1 2 3 4 5 6 7 8 9 10 8 6 4 2 7 5 3 1 3 5 8 10 9 8 7 6 5 4 3 2 1"
        for number, key in enumerate(("A", "B", "C", "D")):
            words = ("--instrument", "guitar", "--weights", "region_at=300,region=1")
            tune = ("tab", scale, "--key", key, "--octave", "3")
            said(capsys, *tune, *words, "-o", f"tab{number}.txt")

    def test_it_writes_a_card_that_explains_the_tabs_better(
        self, capsys: pytest.CaptureFixture[str]
    ) -> None:
        tabs = [f"tab{number}.txt" for number in range(4)]
        page, _ = said(capsys, "hand", *tabs, "--student", "Wren", "-o", "new.toml")
        assert "4 tabs, 124 notes with string and fret" in page
        assert "home of the hand, mm from the nut" in page
        card = Path("new.toml").read_text(encoding="utf-8")
        assert card.startswith('student = "Wren"\ninstrument = "guitar"\n')
        assert "region_at = " in card
        again, _ = said(capsys, "hand", *tabs, "--card", "new.toml", "-o", "newer.toml")
        better = page.split("learned from all: ")[1].split("\n")[0]
        assert f"where the tool would put them: {better}" in again

    def test_a_score_with_places_is_the_same(self, capsys: pytest.CaptureFixture[str]) -> None:
        said(capsys, "read", "tab0.txt", "--melody", "-o", "tune.txt")
        convert = ("convert", "tune.txt", "--instrument", "guitar", "-o", "tab0.musicxml")
        said(capsys, *convert)
        by_tab, _ = said(capsys, "hand", "tab0.txt", "--json")
        by_score, _ = said(capsys, "hand", "tab0.musicxml", "--instrument", "guitar", "--json")
        assert by_tab == by_score

    def test_a_way_of_playing_that_explains_more_is_taken_and_told(
        self, capsys: pytest.CaptureFixture[str]
    ) -> None:
        tune, hand = "1 2 3 5 3 2 1 5, 6, 1 2 3 4 2 1", ("--instrument", "guitar")
        for key in "CGD":
            words = ("tab", tune, "--key", key, "--octave", "3", *hand, "-o", f"porch{key}.txt")
            said(capsys, *words, "--playing", "open-position")
        tabs = [f"porch{key}.txt" for key in "CGD"]
        page, _ = said(capsys, "hand", *tabs, "-o", "porch.toml")
        assert page.startswith("played in open position (--playing open-position): 45 of 45 (100%)")
        assert "where the tool would put them: 45 of 45 (100%)" in page
        assert 'playing = "open-position"' in Path("porch.toml").read_text(encoding="utf-8")
        asked, _ = said(capsys, "hand", *tabs, "--playing", "in-position")
        assert "played in" not in asked
        checked, _ = said(capsys, "check", "porchC.txt")
        assert "played in open position (--playing open-position): 15 of 15" in checked
        as_played, _ = said(capsys, "check", "porchC.txt", "--playing", "open-position")
        assert "played in" not in as_played
        assert "this tab lies where the notes cost least" in as_played
        found, _ = said(capsys, "check", "porchC.txt", "--json")
        assert '"better_playing": "open-position"' in found
        found, _ = said(capsys, "check", "tab0.txt", "--json")
        assert '"better_playing": null' in found

    def test_the_file_that_is_no_tab_is_named(self, capsys: pytest.CaptureFixture[str]) -> None:
        Path("two.txt").write_text("--1--\n--2--\n", encoding="utf-8")
        assert main(["hand", "tab0.txt", "two.txt"]) == 1
        assert "two.txt: a tab of 2 strings" in capsys.readouterr().err

    def test_tabs_of_two_instruments_are_refused(self, capsys: pytest.CaptureFixture[str]) -> None:
        said(capsys, "tab", "1 2 3", "-o", "bass.txt")
        assert main(["hand", "tab0.txt", "bass.txt", "-o", "new.toml"]) == 1
        assert "bass.txt is for bass (E1 A1 D2 G2) and tab0.txt for guitar" in (
            capsys.readouterr().err
        )
        assert not Path("new.toml").exists()


def test_what_is_no_name_of_a_file_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tab", "1 3", "--card", "a\0b"]) == 1
    assert "is not the name of a file" in capsys.readouterr().err
