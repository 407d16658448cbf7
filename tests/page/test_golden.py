"""Pages kept as text: what a teacher hands out changes on purpose only.

To change them on purpose, run ``FRETPATH_GOLDEN=write python -m pytest tests/page/test_golden.py``
and read the difference before you commit it.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from fretpath.commands import main

HERE = Path(__file__).parent
GOLDEN = HERE / "golden"
MELODIES = HERE.parent.parent / "demo_melodies"

# The hand is held in one position and off the open strings (--closed stands for the latter), so
# that pages do not change when the model of the hand does.
PAGES = {
    "tab_bass": "tab 1 5 8 9 10 --key B --position 6 --closed",
    "tab_pickup": "tab market_day_quay.txt --position 4 --closed",
    "tab_rests_and_ties": "tab waiting_for_the_tide.txt --instrument guitar --position 7 --closed",
    "tab_repeats": "tab au_clair_de_la_lune.txt --rows bar,count,degree --position 4 --closed",
    "tab_in_time": "tab night_crane.txt --spacing time --instrument ukulele --position 9",
    "tab_narrow": "tab rocking_dinghy.txt --width 48 --instrument guitar --position 5 --closed",
    "tab_key_changes": "tab lantern_in_the_fog.txt --instrument guitar --position 2 --closed",
    "tab_every_third_hidden": "tab rope_and_tar.txt --hide every-3rd --position 7 --closed",
    "spoken": "tab waiting_for_the_tide.txt --spoken --position 7 --closed",
    "neck_key": "neck --key Bb",
    "neck_mode_left_handed": "neck --key Dm --range 0-5 --left-handed",
    "neck_chord": "neck --chord Gmaj7 --label note --instrument banjo",
    "neck_melody": "neck market_day_quay.txt --spacing neck --position 4 --closed",
    "neck_drawing": "neck 1 5 8 9 10 --key B --position 6 --closed -o chart.svg",
}


def page(line: str, capsys: pytest.CaptureFixture[str], folder: Path) -> str:
    """What the command prints, or writes when it is asked for a file."""
    words = line.replace("--closed", "--open-strings forbid").split()
    made = [str(MELODIES / word) if word.endswith(".txt") else word for word in words]
    made = [str(folder / word) if word.endswith(".svg") else word for word in made]
    assert main(made) == 0
    return capsys.readouterr().out or (folder / words[-1]).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", PAGES)
def test_the_page_is_as_it_was(
    name: str, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    text = page(PAGES[name], capsys, tmp_path)
    path = GOLDEN / f"{name}.txt"
    if os.environ.get("FRETPATH_GOLDEN") == "write":
        path.write_text(text, encoding="utf-8")
    assert path.exists(), "no such page yet; see the head of this file"
    assert text == path.read_text(encoding="utf-8")


def test_no_page_is_left_over() -> None:
    kept = {path.stem for path in GOLDEN.glob("*.txt")}
    assert kept == set(PAGES)
