"""The text tab as a page: columns, systems, repeats, blanks, spacing."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Arrangement, RequestError, arrange, parse_melody, render_tab
from fretpath.page.captions import LEGENDS
from fretpath.page.rows import ALL_ROWS, HIDES, NOTHING_HIDDEN, Blanks, Subject, arrangement_data
from fretpath.page.spelling import SPELLING_ROWS
from fretpath.page.tab import ROWS, TAB_ROWS, Tab
from tests.page.melodies import barred_melodies


def tab_of(arrangement: Arrangement, *, hide: Blanks = NOTHING_HIDDEN, **looks: Any) -> Tab:
    return Tab(Subject(arrangement, hide=hide), **looks)


def numbers_read_back(arrangement: Arrangement, systems: list[str]) -> list[tuple[int, int]]:
    """(string, fret) of every number on the lines, read by eye: column by column."""
    places = []
    count = len(arrangement.instrument.strings)
    for system in systems:
        lines = [line for line in system.split("\n") if " |-" in line]
        assert len(lines) == count
        assert len({len(line) for line in lines}) == 1
        found = [
            (match.start(), string, int(match.group()))
            for string, line in enumerate(lines, start=1)
            for match in re.finditer(r"\d+", line)
        ]
        places += [(string, fret) for _, string, fret in sorted(found)]
    return places


@given(barred_melodies(), st.integers(40, 100), st.sampled_from(["even", "time"]))
@settings(max_examples=60, deadline=None)
def test_the_lines_hold_exactly_the_fingering(melody, width: int, spacing: str) -> None:
    arrangement = arrange(melody, "bass")
    tab = tab_of(arrangement, width=width, spacing=spacing)
    assert numbers_read_back(arrangement, tab.systems) == list(
        zip(arrangement.strings, arrangement.frets, strict=True)
    )


@given(barred_melodies(), st.integers(40, 100), st.sampled_from(["even", "time"]))
@settings(max_examples=60, deadline=None)
def test_no_line_is_wider_than_the_page(melody, width: int, spacing: str) -> None:
    page = render_tab(arrange(melody, "guitar"), width=width, spacing=spacing)
    assert max(len(line) for line in page.split("\n")) <= width
    assert all(line == line.rstrip() for line in page.split("\n"))


def test_every_width_is_kept_and_the_line_is_filled() -> None:
    """Bars of one width, so that each page width is met exactly by some number of them."""
    text = "meter: 4/4\n\n" + " | ".join(["(1 2 3 4):1/2 5:2"] * 12)
    arrangement = arrange(parse_melody(text), "bass")
    longest = []
    for width in range(40, 161):
        lines = "\n".join(tab_of(arrangement, rows=("degree",), width=width).systems).split("\n")
        longest.append(max(len(line) for line in lines))
        assert longest[-1] <= width
        assert not any("continued" in line for line in lines), "a bar fits, so it is not broken"
    assert len(set(longest)) > 3


@given(barred_melodies(), st.integers(40, 90))
@settings(max_examples=40, deadline=None)
def test_no_note_is_parted_from_its_degree(melody, width: int) -> None:
    """Every degree stands in the column of its fret."""
    arrangement = arrange(melody, "bass")
    degrees = iter([str(degree) for degree in melody.degrees])
    for system in tab_of(arrangement, width=width).systems:
        lines = system.split("\n")
        frets = {
            match.start() for line in lines if " |-" in line for match in re.finditer(r"\d+", line)
        }
        row = next(line for line in lines if line.startswith("degree"))
        words = [(m.start(), m.group()) for m in re.finditer(r"\S+", row)][1:]
        struck = [(at, word) for at, word in words if word not in ("r", "-")]
        assert {at for at, _ in struck} == frets
        assert [word for _, word in struck] == [next(degrees) for _ in struck]


@given(barred_melodies(most_bars=4))
@settings(max_examples=40, deadline=None)
def test_columns_in_proportion_to_time(melody) -> None:
    """With spacing in time, columns from onset to onset stand to each other as the lengths do."""
    arrangement = arrange(melody, "bass")
    tab = tab_of(arrangement, rows=("degree",), width=400, spacing="time")
    event = 0
    for system in tab.systems:
        lines = system.split("\n")
        row = next(line for line in lines if line.startswith("degree"))
        bars = [m.start() for m in re.finditer(r"\|", lines[0])][1:]
        columns = [m.start() for m in re.finditer(r"\S+", row)][1:]
        for here, there in pairwise(columns):
            crossed = sum(here < bar < there for bar in bars)
            ratio = Fraction(there - here - 2 * crossed) / melody.notes[event].beats
            assert ratio == per_beat(tab)
            event += 1
        event += 1


def per_beat(tab: Tab) -> Fraction:
    """Columns a beat: the narrowest that holds two signs and a space for the shortest note."""
    melody = tab.arrangement.melody
    block = tab._phrases[0][0]
    return Fraction(block.least) / melody.notes[0].beats


def test_bars_are_numbered_and_a_pickup_is_bar_nought() -> None:
    page = render_tab(arrange(parse_melody("meter: 3/4\n\n5 | 1 2 3 | 4 5 6 |\n1 2 3 | 1:2")))
    rows = [line.split()[1:] for line in page.split("\n") if line.startswith("bar ")]
    assert rows == [["0", "1", "2"], ["3", "4"]]


def test_a_repeated_system_says_so() -> None:
    text = "meter: 4/4\n\n1 1 1 2 | 3:4 |\n2 2 2 2 | 1:4 |\n1 1 1 2 | 3:4"
    systems = tab_of(arrange(parse_melody(text), "bass")).systems
    headings = [system.split("\n")[0] for system in systems]
    assert headings[2] == "the same as bars 1 to 2"
    assert not any("same" in heading for heading in headings[:2])


def test_a_change_of_key_or_meter_is_announced() -> None:
    text = "key: G\nmeter: 4/4\n\n1 2 3:2 |\nkey: G minor\nmeter: 3/4\n1 2 b3 |\n1 2 b3"
    headings = [s.split("\n")[0] for s in tab_of(arrange(parse_melody(text), "bass")).systems]
    assert headings[1] == "now G natural minor, now 3/4"
    assert headings[2] == "the same as bar 2"


@pytest.mark.parametrize("other", ["1 1 1 2 | 3:3 r", "1 1 1 2 | 3:2 -:2", "1 1 1 b2 | 3:4"])
def test_a_system_that_differs_is_no_repeat(other: str) -> None:
    text = f"meter: 4/4\n\n1 1 1 2 | 3:4 |\n{other}"
    assert not any("same" in s for s in tab_of(arrange(parse_melody(text), "bass")).systems)


def test_a_bar_too_wide_for_the_line_goes_on_under_a_heading() -> None:
    text = "meter: 4/4\n\n" + " ".join(["(1 2 3 4):1/4"] * 4) + " | 1:4"
    systems = tab_of(arrange(parse_melody(text), "bass"), width=60).systems
    assert any(system.startswith("bar 1, continued") for system in systems[1:])


@pytest.mark.parametrize("rows", [(), ("position",), ("note",), ("finger",), ROWS])
def test_rests_and_holds_stay_visible_whatever_rows_are_shown(rows: tuple[str, ...]) -> None:
    page = render_tab(arrange(parse_melody("1 r 3 -"), "bass"), rows=rows)
    assert re.search(r"^\w+ .*\br\b.* -$", page, re.M), page
    assert "r is a rest; - holds the note before" in page


def test_a_melody_without_rhythm_stays_compact() -> None:
    page = render_tab(arrange(parse_melody("1 5 8 9 10", key="B"), "bass"))
    assert "\ncount" not in page
    assert "\nbar" not in page


def test_long_lines_of_the_header_are_folded() -> None:
    text = "title: " + "Down to the harbour and back " * 6 + "\nmeter: 4/4\ntempo: 100\n\n1 2"
    page = render_tab(arrange(parse_melody(text), "guitar-7"), width=50)
    assert max(len(line) for line in page.split("\n")) <= 50


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"rows": ("degre",)}, 'unknown row "degre"; did you mean "degree"?'),
        ({"width": 20}, "at least 40 characters"),
        ({"spacing": "tight"}, 'spacing is "even" or "time"'),
        ({"degrees": "minor"}, 'against "major" or "key"'),
    ],
)
def test_wrong_wishes_are_named(change: dict[str, object], message: str) -> None:
    with pytest.raises(RequestError, match=re.escape(message)):
        render_tab(arrange(parse_melody("1"), "bass"), **change)


def test_unknown_blanks_are_named() -> None:
    with pytest.raises(RequestError, match=r'cannot hide "degree"; did you mean "degrees"\?'):
        Blanks.parse("degree")


@given(barred_melodies(), st.sampled_from(HIDES))
@settings(max_examples=60, deadline=None)
def test_a_hidden_note_leaves_a_blank_in_its_column(melody, name: str) -> None:
    arrangement = arrange(melody, "bass")
    hide = Blanks.parse(name)
    systems = tab_of(arrangement, hide=hide).systems
    rows = [line.split()[1:] for s in systems for line in s.split("\n") if line[:6] == "degree"]
    words = [word for row in rows for word in row if word not in ("r", "-")]
    expected = [
        "__" if "degree" in hide.kinds or hide.hides_note(note) else str(degree)
        for note, degree in enumerate(melody.degrees)
    ]
    assert words == expected
    shown = [
        (string, fret)
        for note, (string, fret) in enumerate(
            zip(arrangement.strings, arrangement.frets, strict=True)
        )
        if not ("place" in hide.kinds or hide.hides_note(note))
    ]
    assert numbers_read_back(arrangement, systems) == shown


def test_every_third_note_is_the_third_the_sixth_and_so_on() -> None:
    page = tab_of(arrange(parse_melody("1 2 3 4 5 6 7"), "bass"), hide=Blanks.parse("every-3rd"))
    row = next(line for line in page.systems[0].split("\n") if line.startswith("degree"))
    assert row.split()[1:] == ["1", "2", "__", "4", "5", "__", "7"]


REPEATED = """title: Twice
key: G
meter: 4/4

|: 1 2 3 4 | [1 5 4 3 2 :| [2 5:4 ] 1 2 3:2 |
chords: G | D7 | G | C _ D7
words: Slow goes the riv- | er home to- night | sea | and home now
|: 1 2 3 4 :|x3"""


def repeated(**options: object) -> list[str]:
    return tab_of(arrange(parse_melody(REPEATED), "bass"), **options).systems


def test_repeats_have_their_signs_and_endings_their_numbers() -> None:
    text = "\n".join(repeated(width=120))
    string = [line for line in text.split("\n") if line.startswith("G ")]
    signs = [re.findall(r":?\|+:?", line) for line in string]
    assert signs == [["|:", "|", ":|", "|", "|"], ["|:", ":|"]]
    endings = [line.split()[1:] for line in text.split("\n") if line.startswith("ending")]
    assert endings == [["1.", "2."], ["3", "times"]]


def test_a_sign_at_the_end_of_a_line_stands_where_it_belongs() -> None:
    """Broken at any bar, a system ends with ``:|`` and the next begins with ``|:``."""
    melody = parse_melody("meter: 4/4\n\n1 2 3 4 | |: 5 4 3 2 :| |: 1 2 3 4 :| 1:4", key="G")
    for width in range(40, 130, 3):
        systems = tab_of(arrange(melody, "bass"), width=width).systems
        lines = [line for s in systems for line in s.split("\n") if line.startswith("G ")]
        joined = "".join(line[line.index("|") :] for line in lines)
        assert joined.count("|:") == joined.count(":|") == 2
        assert not any(line.endswith("|:") for line in lines)
        assert joined.endswith("||")
        assert max(len(line) for line in lines) <= width


def test_words_and_chords_stand_under_and_over_their_notes_unasked_where_there_are_any() -> None:
    system = repeated(width=120)[0].split("\n")
    [chords] = [line for line in system if line.startswith("chord")]
    [lyric] = [line for line in system if line.startswith("lyric")]
    frets = [m.start() for line in system for m in re.finditer(r"\d+", line) if " |" in line]
    assert chords.split() == ["chord", "G", "D7", "G", "C", "D7"]
    assert lyric.split()[1:5] == ["Slow", "goes", "the", "riv-"]
    starts = [m.start() for m in re.finditer(r"\S+", lyric)][1:]
    assert sorted(frets) == starts
    assert not any("lyric" in line or "chord" in line for line in repeated(rows=("degree",)))


@pytest.mark.parametrize("width", [float("nan"), 60.0, "60", None, -1])
def test_a_width_is_a_whole_number_of_characters(width: object) -> None:
    with pytest.raises(RequestError, match="at least 40 characters"):
        render_tab(arrange(parse_melody("1"), "bass"), width=width)


@given(
    st.lists(st.integers(1, 40).map(lambda n: Fraction(n, 2)), min_size=1, max_size=6),
    st.sampled_from(["even", "time"]),
)
@settings(max_examples=40, deadline=None)
def test_long_notes_and_counts_keep_the_width(lengths: list[Fraction], spacing: str) -> None:
    text = "meter: 64/8\n\n" + " ".join(f"{n % 3 + 1}:{b}" for n, b in enumerate(lengths))
    page = render_tab(arrange(parse_melody(text), "guitar"), width=40, spacing=spacing)
    assert max(len(line) for line in page.split("\n")) <= 40


def test_each_system_has_as_many_bars_where_they_fit() -> None:
    text = "meter: 4/4\n\n" + " | ".join(["1 2 3 4"] * 8)
    for width in range(60, 200, 7):
        systems = tab_of(arrange(parse_melody(text), "bass"), width=width).systems
        counts = [len(re.findall(r"\|", s.split("\n")[2])) for s in systems]
        assert max(counts[:-1], default=0) - min(counts[:-1], default=0) == 0
        assert counts[-1] <= max(counts) + 1


def test_a_legend_is_none_short_or_full() -> None:
    arrangement = arrange(parse_melody("meter: 4/4\n\n1 2 3 4", key="C"), "bass")
    pages = [render_tab(arrangement, legend=name).split("\n\n")[0] for name in LEGENDS]
    assert [page.count("\n") + 1 for page in pages] == [1, 2, 5]
    assert "count:" not in pages[1], "nothing rings on and nothing is silent here"
    held = arrange(parse_melody("meter: 4/4\n\n1:2 r 3", key="C"), "bass")
    assert "let (2) ring on" in render_tab(held)
    with pytest.raises(RequestError, match="none, short, full"):
        render_tab(arrangement, legend="long")


def test_several_every_nth_are_all_hidden() -> None:
    hide = Blanks.parse("every-2nd,every-3rd")
    page = tab_of(arrange(parse_melody("1 2 3 4 5 6 7"), "bass"), hide=hide)
    row = next(line for line in page.systems[0].split("\n") if line.startswith("degree"))
    assert row.split()[1:] == ["1", "__", "__", "__", "5", "__", "7"]


KIND_OF = {row.name: row.reveals for row in ALL_ROWS}


def test_every_row_is_known_everywhere_by_one_name() -> None:
    assert set(KIND_OF) == {*TAB_ROWS, *SPELLING_ROWS, "fret"}
    arrangement = arrange(parse_melody(REPEATED), "bass")
    for note in arrangement_data(arrangement)["notes"]:
        assert set(KIND_OF) <= set(note)


@given(barred_melodies(), st.sampled_from(sorted(set(KIND_OF.values()) - {""})))
@settings(max_examples=30, deadline=None)
def test_what_a_row_reveals_decides_whether_it_is_hidden(melody, kind: str) -> None:
    subject = Subject(arrange(melody, "bass"), hide=Blanks(frozenset([kind])))
    open_subject = Subject(subject.tune)
    for row in ALL_ROWS:
        for event in range(len(melody)):
            shown, plain = subject.token(row, event), open_subject.token(row, event)
            hidden = row.reveals == kind and plain and row.name != "position"
            assert shown == (
                "__" if hidden else "" if row.name == "position" and kind == "place" else plain
            )


def test_a_hidden_note_tells_nothing_of_the_position() -> None:
    """The shift is told at the next note that is shown, and not at the hidden one."""
    melody = parse_melody("1@4-3 2@4-5 8@4-15 7@4-14", key="G").in_octave(1)
    arrangement = arrange(melody, "bass")
    moved = next(n for n, p in enumerate(arrangement.positions) if p != arrangement.positions[0])
    hide = Blanks.parse("every-3rd" if moved == 2 else "every-2nd")
    assert hide.hides_note(moved)
    subject = Subject(arrangement, hide=hide)
    position = next(row for row in ALL_ROWS if row.name == "position")
    told = [subject.token(position, event) for event in range(len(melody))]
    assert told[moved] == ""
    assert told[moved + 1] != ""
