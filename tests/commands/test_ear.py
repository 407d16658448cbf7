"""The commands spell, transpose, keys and scales as a teacher meets them."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from fretpath.commands import main

TUNES = Path(__file__).parents[2] / "demo_melodies"
LANTERN = str(TUNES / "lantern_in_the_fog.txt")
STAIR = str(TUNES / "lighthouse_stair.txt")
LETTERS = "G2 B2 D3 G3 F#3 E3 D3 C3 B2 A2 G2 F2 E2 D2 F#2 G2"
Said = pytest.CaptureFixture[str]


def say(capsys: Said, *words: str) -> str:
    assert main(words) == 0
    return capsys.readouterr().out


def data(capsys: Said, *words: str) -> Any:
    return json.loads(say(capsys, *words, "--json"))


def refusal(capsys: Said, *words: str) -> str:
    assert main(words) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "Traceback" not in said.err
    return said.err


PAGES = [
    ("spell", LANTERN),
    ("spell", LETTERS),
    ("spell", STAIR, "--key", "F", "--syllables", "la"),
    ("transpose", LANTERN, "--to", "A"),
    ("transpose", STAIR, "--to", "minor"),
    ("transpose", STAIR, "--by", "-m3", "--onto", "guitar"),
    ("keys", LANTERN),
    ("keys", STAIR, "--instrument", "guitar-7"),
    ("scales",),
    ("scales", "--from", "1,2,3,#4"),
    ("scales", "--folder", str(TUNES)),
]


@pytest.mark.parametrize("words", PAGES, ids=lambda words: " ".join(words[::2])[:40])
def test_pages_are_plain_narrow_and_the_same_every_time(
    capsys: Said, words: tuple[str, ...]
) -> None:
    page = say(capsys, *words)
    assert page == say(capsys, *words)
    assert page.isascii()
    assert page.endswith("\n")
    assert all(len(line) <= 80 and line == line.rstrip() for line in page.splitlines())


class TestSpell:
    def test_the_rows_share_their_columns(self, capsys: Said) -> None:
        page = say(capsys, "spell", "5, 1 b3 | #4 10", "--key", "Eb", "--syllables", "do")
        assert page.split("\n\n")[1].splitlines() == [
            "bar        1                2",
            "degree     5,   1    b3     #4   10",
            "from 1     -P4  P1   m3     A4   M10",
            "interval        +P4  +m3    +A2  +m7",
            "syllable   so   do   me     fi   mi",
            "note       Bb   Eb   Gb     A    G",
        ]

    def test_both_conventions_of_degrees(self, capsys: Said) -> None:
        page = say(capsys, "spell", "1 b3 5 b7 7", "--key", "A minor", "--degrees", "key")
        assert "degree     1   3    5    7    #7" in page
        assert "degrees count against the key signature" in page

    def test_phrase_by_phrase(self, capsys: Said) -> None:
        assert say(capsys, "spell", LANTERN).count("degree     5 ") == 4

    def test_departures_are_under_it(self, capsys: Said) -> None:
        page = say(capsys, "spell", STAIR, "--key", "F major")
        assert "  Lydian: #4 six times (bars 2, 3, 6, 7, 10, 11), 4 never" in page
        assert "brighter" not in page

    def test_one_line_a_degree_role_by_role(self, capsys: Said) -> None:
        page = say(capsys, "spell", "4 #4 5 3 | 5 #4 5 1 | 4 #4 5 1", "--key", "C")
        assert "  #4 raised fourth: passing twice (bars 1, 3), lower neighbor once (bar 2)" in page

    def test_a_doubt_is_told_with_what_would_decide_it(self, capsys: Said) -> None:
        page = " ".join(say(capsys, "spell", "1 3 5 #4 5 3 1", "--key", "C").split())
        assert "lower neighbor once (note 4); or Lydian: a plain 4 would decide" in page

    def test_as_data(self, capsys: Said) -> None:
        found = data(capsys, "spell", "1 3 #4 5", "--key", "C")
        assert [note["degree"] for note in found["notes"]] == ["1", "3", "#4", "5"]
        assert found["notes"][2]["tonic"] == "A4"
        [scale] = found["scales"]
        assert scale["departures"][0]["name"] == "raised fourth"
        assert scale["accounts"][0]["kind"] == "mode"

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (("--width", "10"), "at least 40 characters wide"),
            (("--rows", "nope"), 'unknown row "nope"'),
            (("--against", "dorien"), 'did you mean "dorian"'),
        ],
    )
    def test_what_cannot_be(self, capsys: Said, words: tuple[str, ...], says: str) -> None:
        assert says in refusal(capsys, "spell", "1 3 5", *words)

    def test_rests_alone_have_nothing_to_spell(self, capsys: Said) -> None:
        assert say(capsys, "spell", "r r") == "degree     r  r\n"

    def test_measured_against_another_scale(self, capsys: Said) -> None:
        page = say(capsys, "spell", STAIR, "--against", "major")
        assert "F Lydian, against major" in page
        assert "outside major:" in page
        assert "outside Lydian: nothing" in say(capsys, "spell", STAIR)


class TestKeyDenied:
    """A stated key that the tune denies is said by every command that prints it."""

    @pytest.mark.parametrize("command", ["spell", "tab", "keys"])
    @pytest.mark.parametrize(
        ("key", "melody", "says"),
        [
            ("A minor", "1 2 3 5", "for degrees of the key write degrees: key"),
            ("C", "1 b3 5 b6 5 b3 1", "write key: C minor"),
            ("C", "5 7 9 7 8 6 #4 5 #4 5", "but the tune is in G major"),
            ("D", "1 3 4 b7 6 b7 5 4", "but the tune is in G major"),
        ],
    )
    def test_said(self, capsys: Said, command: str, key: str, melody: str, says: str) -> None:
        assert main([command, melody, "--key", key]) == 0
        assert says in capsys.readouterr().err

    @pytest.mark.parametrize(
        ("key", "melody"),
        [("A minor", "1 2 b3 5 7, 1"), ("C", "1 3 #4 5 #4 3 1"), ("C", "1 3 5"), ("C", "5 #4 4 5")],
    )
    def test_not_said(self, capsys: Said, key: str, melody: str) -> None:
        assert main(["spell", melody, "--key", key]) == 0
        assert capsys.readouterr().err == ""


class TestKeyFound:
    def test_enough_notes_are_used_and_said(self, capsys: Said) -> None:
        for command in ("spell", "tab", "keys"):
            page = say(capsys, command, LETTERS)
            assert page.startswith("no key given: 16 notes say G major (confidence 0.8")
            assert "next G mixolydian" in page
        assert data(capsys, "tab", LETTERS)["key_found"]["used"] is True
        assert "degree     1   3" in say(capsys, "tab", LETTERS)

    def test_a_phrase_is_asked_about_and_not_decided(self, capsys: Said) -> None:
        for command in ("spell", "tab"):
            page = say(capsys, command, "G2 B2 D3")
            assert "no key given, and 3 notes are too few to decide unasked" in page
            assert 'say --key "G major"' in page
            assert "degree" not in page
        assert data(capsys, "spell", "G2 B2 D3")["key_found"]["used"] is False

    def test_what_needs_a_key_asks_for_it(self, capsys: Said) -> None:
        for words in (("keys", "G2 B2 D3"), ("transpose", "G2 B2 D3", "--to", "A")):
            assert 'say --key "G major"' in refusal(capsys, *words).replace("\n", " ")

    def test_an_interval_needs_none(self, capsys: Said) -> None:
        assert "up M2 (2 semitones)" in say(capsys, "transpose", "G2 B2 D3", "--by", "M2")


class TestTranspose:
    def test_the_shape_moves(self, capsys: Said) -> None:
        words = ("transpose", "1 5 8 9 10", "--key", "B", "--open-strings", "forbid")
        page = say(capsys, *words, "--by", "-2frets")
        assert "from B major to A major: down M2 (2 semitones)" in page
        assert "the row of degrees is unchanged" in page
        assert "the whole shape moves 2 frets down the neck, on the same strings" in page
        assert re.search(r"^positions +VI +IV$", page, re.M)
        assert say(capsys, *words, "--by", "-M2") == page

    def test_fingered_anew(self, capsys: Said) -> None:
        words = ("transpose", "1@4-7 5@3-9", "--key", "B", "--onto", "ukulele")
        assert "fingered anew" in say(capsys, *words)

    def test_changed_degrees_are_marked(self, capsys: Said) -> None:
        page = say(capsys, "transpose", str(TUNES / "ferry_bell.txt"), "--to", "natural minor")
        assert "changed degrees: 3 is now b3 (bars 1, 2, 3, 5, 6, 7)" in page

    def test_as_data(self, capsys: Said) -> None:
        found = data(capsys, "transpose", "1 3 5", "--key", "G", "--to", "A minor")
        assert found["changed_notes"] == [2]
        assert found["after"]["key"] == "A natural minor"
        assert set(found["before"]["figures"]) == set(found["after"]["figures"])

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            ((), "say where to"),
            (("--to", "H"), "unknown mode or scale"),
            (("--by", "M5"), "there is no interval"),
            (("--by", "99frets"), "at most 36 frets"),
            (("--to", "A", "--by", "M2"), "say one of"),
            (("--onto", "bas"), 'did you mean "bass"'),
            (("--by", "-P15"), "no place on the bass"),
        ],
    )
    def test_what_cannot_be(self, capsys: Said, words: tuple[str, ...], says: str) -> None:
        assert says in refusal(capsys, "transpose", "1 3 5", "--key", "G", *words)

    def test_a_tune_off_the_neck_is_shown_where_it_is_moved_to(self, capsys: Said) -> None:
        words = ["transpose", "1 3 10", "--key", "G", "--octave", "4", "--instrument", "ukulele"]
        assert main([*words, "--to", "F"]) == 0
        said = capsys.readouterr()
        assert "the tune as written has no place on this neck" in said.err
        assert "from G major to F major: down M2 (2 semitones)" in said.out
        assert "before" not in said.out
        assert data(capsys, *words, "--to", "F")["before"]["figures"] is None


class TestKeys:
    def test_reasons_for_the_first_three_and_a_row_for_each(self, capsys: Said) -> None:
        page = say(capsys, "keys", LANTERN, "--top", "5")
        lines = page.splitlines()
        assert [line[:2] for line in lines if line[:3] in ("1. ", "2. ", "3. ")] == [
            "1.",
            "2.",
            "3.",
        ]
        assert sum(bool(re.match(r" *\d+ [A-G]", line)) for line in lines) == 5

    def test_wishes(self, capsys: Said) -> None:
        words = ("keys", LANTERN, "--no-shift", "--max-fret", "7", "--open-strings", "forbid")
        for choice in data(capsys, *words)["keys"]:
            assert choice["figures"]["shifts"] == 0
            assert 0 < min(choice["frets"]) <= max(choice["frets"]) <= 7

    @pytest.mark.parametrize(
        ("words", "says"),
        [
            (("--top", "0"), "--top is 1 or more"),
            (("--octave", "12"), "an octave is -1 to 9"),
            (("--max-fret", "1", "--no-shift"), "no key can be played here; in G major: "),
        ],
    )
    def test_what_cannot_be(self, capsys: Said, words: tuple[str, ...], says: str) -> None:
        assert says in refusal(capsys, "keys", LANTERN, *words)


class TestScales:
    def test_every_scale_from_bright_to_dark(self, capsys: Said) -> None:
        found = data(capsys, "scales")
        assert [entry["brightness"] for entry in found[:7]] == [1, 0, -1, -2, -3, -4, -5]
        assert len(found) == 19
        assert all(entry["mood"] for entry in found)

    def test_moods_are_called_common_practice(self, capsys: Said) -> None:
        assert "no source" in say(capsys, "scales", "dorian")

    def test_tunes_of_a_folder(self, capsys: Said, tmp_path: Path) -> None:
        (tmp_path / "one.txt").write_text("title: Quay\nkey: F lydian\n\n1 2 3 #4 5 6 7 8")
        (tmp_path / "two.txt").write_text("this is no tune")
        assert main(["scales", "lydian", "--folder", str(tmp_path)]) == 1
        said = capsys.readouterr()
        assert "tunes      Quay" in said.out
        assert "1 file left out" in said.err
        assert "two.txt" in said.err
        assert "is not a folder" in refusal(capsys, "scales", "--folder", str(tmp_path / "no"))

    def test_which_scales_hold_these(self, capsys: Said) -> None:
        found = data(capsys, "scales", "--from", "1,2,3,#4,5")
        assert [entry["scale"] for entry in found] == ["lydian"]
        said = say(capsys, "scales", "--from", "1 b2 2 b3")
        assert said.startswith("no known scale holds 1 b2 2 b3; the nearest is")

    def test_what_cannot_be(self, capsys: Said) -> None:
        assert "is not a degree" in refusal(capsys, "scales", "--from", "1,x")
        assert 'did you mean "dorian"' in refusal(capsys, "scales", "dorien")
