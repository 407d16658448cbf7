"""docs/pictures, drawn by the tool itself.

python -m tests.pictures
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from pathlib import Path

from fretpath.commands import main

ROOT = Path(__file__).parent.parent
FOLDER = ROOT / "docs" / "pictures"
TUNE = str(ROOT / "demo_melodies" / "night_crane.txt")

_SYSTEM = re.compile(r'<svg class="system"[^>]*viewBox="0 0 (\S+) (\S+)"[^>]*>(.*?)</svg>', re.S)
_GAP = 6.0


def pictures() -> dict[str, str]:
    """Every picture by the name of its file."""
    return {
        "night_crane_neck.svg": _written("neck", TUNE, ending="svg"),
        "night_crane_sheets.svg": _first_lines(),
    }


def _written(*words: str, ending: str) -> str:
    """What a command writes to a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"written.{ending}"
        assert main([*words, "-o", str(path)]) == 0
        return path.read_text(encoding="utf-8")


def _first_lines() -> str:
    """The first line of music of the student's sheet, and that of the teacher's under it."""
    pages = [_written("sheet", TUNE, "--for", who, ending="html") for who in ("student", "teacher")]
    drawn = [_SYSTEM.search(page) for page in pages]
    parts, width, y = [], 0.0, _GAP
    for system in drawn:
        assert system is not None
        wide, high = float(system[1]), float(system[2])
        parts.append(f'<g transform="translate({_GAP:g} {y:g})">{system[3]}</g>')
        width, y = max(width, wide + 2 * _GAP), y + high + _GAP
    return "\n".join(_frame(parts, width, y)) + "\n"


def _frame(parts: list[str], width: float, height: float) -> Iterator[str]:
    yield (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}mm" height="{height:g}mm" font-family="Charter, Georgia, serif">'
    )
    yield "<title>A line of the student's sheet, and of the teacher's</title>"
    yield f'<rect width="{width:g}" height="{height:g}" fill="white"/>'
    yield from parts
    yield "</svg>"


if __name__ == "__main__":
    for name, text in pictures().items():
        (FOLDER / name).write_text(text, encoding="utf-8")
