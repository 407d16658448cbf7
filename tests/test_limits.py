"""The table of docs/limits.md says what the code obeys, row by row."""

from __future__ import annotations

import importlib
import re
from pathlib import Path

import pytest

from fretpath.exchange.door import LIMITS

PAGE = (Path(__file__).parent.parent / "docs" / "limits.md").read_text(encoding="utf-8")
ROWS = re.findall(r"^\| (.+?) \| ([\d,]+)( MB| KB| s)? \| `([\w.]+)\.(\w+)(.*?)` \|$", PAGE, re.M)
UNITS = {"": 1, " s": 1, " KB": 2**10, " MB": 2**20}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row[0])
def test_a_row_is_what_the_code_obeys(row: tuple[str, ...]) -> None:
    _, number, unit, module, name, key = row
    value = getattr(importlib.import_module(f"fretpath.{module}"), name)
    if key:
        value = value[key[2:-2]]
    assert value == int(number.replace(",", "")) * UNITS[unit]


def test_every_line_of_the_table_is_read() -> None:
    lines = [line for line in PAGE.split("\n") if line.startswith("| ")]
    assert len(ROWS) == len(lines) - 1 > 25


def test_every_limit_of_score_files_stands_there() -> None:
    assert {key[2:-2] for *_, name, key in ROWS if name == "LIMITS"} == set(LIMITS)
