"""Staff notation on the sheet: engraved by verovio, looked at note by note."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import arrange, parse_melody
from fretpath.commands import main
from fretpath.exchange.scores import score_bytes
from fretpath.page.staff import staff_height, staff_svg

pytest.importorskip("verovio", reason="verovio is not installed")

# Code points of SMuFL, the standard of music fonts: what the drawing refers to.
SIGNS = {"E260": "b", "E261": "natural", "E262": "#"}


def drawn(text: str, key: str, on: str = "bass") -> str:
    return staff_svg(score_bytes(arrange(parse_melody(text, key=key), on), ".musicxml"))


def signs(svg: str) -> list[str]:
    """The accidentals before notes, in the order of the drawing."""
    groups = re.findall(r'<g[^>]*class="accid[^"]*"[^>]*>(.*?)</g>', svg, flags=re.S)
    codes = [re.search(r"#(E26[0-2])", group) for group in groups]
    return [SIGNS[code[1]] for code in codes if code]


@pytest.mark.parametrize(
    ("text", "key", "wanted"),
    [
        ("1 2 3 4 | 5 6 7 8", "Eb", []),
        ("3 4 #4 5 | 4:4", "C", ["#"]),
        ("#4 #4 4 #4 | #4 4 5:2", "C", ["#", "natural", "#", "#", "natural"]),
        ("b7:4 | -:2 b7:2", "C", ["b", "b"]),
    ],
)
def test_accidentals_stand_where_the_key_and_the_bar_do_not_tell(
    text: str, key: str, wanted: list[str]
) -> None:
    assert signs(drawn(f"meter: 4/4\n\n{text}", key)) == wanted


@given(st.lists(st.sampled_from(["1", "2", "b3", "4", "#4", "5", "r"]), min_size=4, max_size=12))
@settings(max_examples=15, deadline=None)
def test_every_note_is_drawn_once_on_one_staff(words: list[str]) -> None:
    words[0] = "1"
    svg = drawn("meter: 4/4\n\n" + " ".join(words), "C")
    notes = len(re.findall(r'class="note"', svg))
    assert notes == sum(word != "r" for word in words)
    assert "2147483647" not in svg
    assert len(re.findall(r'class="staff"', svg)) == len(re.findall(r'class="measure"', svg))
    ElementTree.fromstring(svg)
    assert 10 < staff_height(svg, 180) < 100


def test_the_clef_is_that_of_the_instrument() -> None:
    """F clefs are U+E062 to E065 in SMuFL, G clefs U+E050 to E053, with or without an 8."""
    assert re.search("#E06[2-5]", drawn("1 2 3", "C", "bass"))
    assert re.search("#E05[0-3]", drawn("1 2 3", "C", "guitar"))


def test_the_same_tune_gives_the_same_drawing_and_others_other_names() -> None:
    tunes = ("1 2 3", "1 4 5", "3 4 5", "5 6 7")
    drawings = [drawn(tune, "C") for tune in tunes]
    assert drawings == [drawn(tune, "C") for tune in tunes]
    names = [name for each in drawings for name in set(re.findall(r' id="([^"]+)"', each))]
    assert len(set(names)) == len(names)


def test_a_sheet_with_staff_notation(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sheet", "1 2 3", "--key", "C", "--staff", "--no-sound"]) == 0
    page = capsys.readouterr().out
    assert page.count('class="staff"') >= 1
    assert main(["sheet", "1 2 3", "--key", "C", "--staff", "--for", "student"]) == 1
    assert "drop --staff" in capsys.readouterr().err
