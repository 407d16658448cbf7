"""Tables and folded text."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from fretpath.page.tables import table, wrap

WORDS = st.text("abc#12", min_size=1, max_size=8)


@given(st.lists(st.lists(WORDS, min_size=3, max_size=3), min_size=1, max_size=6), st.integers(1, 4))
def test_cells_share_their_columns(rows: list[list[str]], gap: int) -> None:
    lines = table(rows, align="lrl", gap=gap)
    widths = [max(len(row[n]) for row in rows) for n in range(3)]
    for row, line in zip(rows, lines, strict=True):
        assert line == line.rstrip()
        assert line.split() == row
        assert line.startswith(row[0])
        end = widths[0] + gap + widths[1]
        assert line[:end].endswith(row[1]), "numbers end in one column"
        assert line[end + gap :] == row[2], "words begin in one"


def test_no_rows_are_no_lines() -> None:
    assert table([]) == []
    assert table([("a",)], head=("long",), indent="  ") == ["  long", "  a"]


@given(st.text("ab -\n", max_size=120), st.integers(12, 40))
def test_no_line_is_too_wide_and_no_word_is_lost(text: str, width: int) -> None:
    lines = wrap(text, width, indent="  ", hanging="  ")
    assert all(len(line) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())
