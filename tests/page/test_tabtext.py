"""Text tab read back: our own pages at every width, and tab as people write it."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import FretpathError, UnplayableError, arrange, instrument_named, parse_melody
from fretpath.page.tab import render_tab
from fretpath.page.tabcheck import check_tab, count_faults
from fretpath.page.tabmelody import PlayedTab, instrument_of, key_of, played
from fretpath.page.tabtext import header_hints, read_tab
from tests.exchange.tunes import melodies

Places = list[tuple[int, int]]

RIFF = """\
G|----------------|--------|
D|-----5--7-------|--9-----|
A|--5-------------|----10--|
E|----------3--5--|--------|
"""
RIFF_PLACES: Places = [(3, 5), (2, 5), (2, 7), (4, 3), (4, 5), (2, 9), (3, 10)]


def places(text: str) -> Places:
    return [(note.string, note.fret) for note in read_tab(text).notes]


@settings(max_examples=60, deadline=None)
@given(melodies(), st.integers(40, 200), st.sampled_from(["bass-5", "guitar-7", "banjo"]))
def test_a_rendered_tab_is_read_back_at_every_width(melody: object, width: int, name: str) -> None:
    try:
        found = arrange(melody, name)  # type: ignore[arg-type]
    except UnplayableError:
        return
    page = render_tab(found, width=width)
    tab = read_tab(page)
    expected = list(zip(found.strings, found.frets, strict=True))
    assert [(note.string, note.fret) for note in tab.notes] == expected
    assert not tab.doubts
    made, _ = instrument_of(tab)
    assert made.strings == found.instrument.strings
    again = played(tab, made, found.melody.key, source="tab")
    assert [p.midi for p in again.melody.pitches] == [p.midi for p in found.melody.pitches]
    if found.melody.key:
        assert key_of(tab) == found.melody.key


def test_the_page_itself_says_key_capo_and_tuning() -> None:
    made = instrument_named("guitar").customised(capo=2, tuning="D2 A2 D3 G3 B3 E4")
    page = render_tab(arrange(parse_melody("meter: 3/4\n\n1 b3 5", key="F# minor"), made))
    read, _ = instrument_of(read_tab(page))
    assert (read.tuning, read.capo) == (made.tuning, 2)
    assert header_hints(read_tab(page).header)["meter"] == "3/4"


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t,
        lambda t: t.replace("\n", "\r\n"),
        lambda t: t.replace("G|", "g|").replace("E|", "e|"),
        lambda t: "".join(line[1:] + "\n" for line in t.splitlines()),
        lambda t: "".join(line[2:].strip("|").replace("|", "-") + "\n" for line in t.splitlines()),
        lambda t: t.replace("|\n", "|   play it twice\n", 1),
        lambda t: t.replace("|\n", "| x2\n", 1),
        lambda t: "Intro (slowly)\n1 & 2 &\n\n" + t + "\nlet it ring - really\n",
        lambda t: t.replace("|", " |"),
        lambda t: "".join(
            name + line[1:] + "\n"
            for name, line in zip(("G2", "D2", "A1", "E1"), t.splitlines(), strict=True)
        ),
        lambda t: t.replace("|\n", "||\n"),
        lambda t: t.replace("-5--7-", "-5h-7~"),
        lambda t: t.replace("-9-", "/9-"),
        lambda t: t.replace("--10--", "(10)--").replace("----(10", "---(10"),
        lambda t: t.replace("|\n", "\n"),
        lambda t: "    " + t.replace("\n", "\n    ").rstrip(" "),
    ],
)
def test_other_habits_give_the_same_places(change: object) -> None:
    """Common practice: names, none, capitals or small, no bars, remarks, repeats, marks."""
    assert places(change(RIFF)) == RIFF_PLACES  # type: ignore[operator]


def test_systems_and_bars_go_on() -> None:
    tab = read_tab(RIFF + "\n" + RIFF)
    assert [(note.string, note.fret) for note in tab.notes] == RIFF_PLACES * 2
    assert [note.bar for note in tab.notes] == [0, 0, 0, 0, 0, 1, 1, 2, 2, 2, 2, 2, 3, 3]
    assert places(RIFF + RIFF) == RIFF_PLACES * 2, "systems without a gap, told by their names"


def test_marks_are_kept_and_muted_strings_reported() -> None:
    tab = read_tab("G|--5h7p5--7/9--x--7b9--<12>--|\nD|----------------------------|\n" * 2)
    kept = [(n.fret, n.marks) for n in tab.notes if n.string == 1]
    assert kept == [(5, ""), (7, "h"), (5, "p"), (7, ""), (9, "/"), (7, ""), (12, "<>")]
    assert [str(doubt)[:18] for doubt in tab.doubts[:3]] == [
        "line 1, column 17:", "line 1, column 21:", "line 1, column 25:",
    ]  # fmt: skip


def test_a_number_of_three_digits_is_a_doubt_with_its_place() -> None:
    tab = read_tab("G|--123--5--|\nD|----------|\nA|----------|\nE|----------|")
    assert [note.fret for note in tab.notes] == [5]
    assert str(tab.doubts[0]).startswith("line 1, column 5: 123 is no fret")


def test_chords_sound_together_even_when_aligned_to_the_right() -> None:
    tab = read_tab("G|--10--|\nD|---9--|\nA|------|\nE|--8---|")
    assert [len(chord) for chord in tab.chords] == [3]


def test_shifted_bar_lines_are_refused_with_line_and_column() -> None:
    text = RIFF.replace("A|--5-------------|", "A|--5------------|")
    with pytest.raises(FretpathError, match=r"line 3, column 18.*line 1"):
        read_tab(text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no tab"),
        ("just words\nand more - or - less", "no tab"),
        ("G|------|\nD|------|\nA|------|\nE|------|", "no number"),
        (RIFF + "\n" + "\n".join(RIFF.splitlines()[:3]), "3 string lines"),
    ],
)
def test_what_is_no_tab_is_said(text: str, message: str) -> None:
    with pytest.raises(FretpathError, match=message):
        read_tab(text)


@given(st.text(alphabet="GDAEgdae|-0123456789hp/x~ \n", max_size=400))
@settings(max_examples=150, deadline=None)
def test_garbage_is_read_or_refused_and_never_crashes(text: str) -> None:
    try:
        tab = read_tab(text)
    except FretpathError:
        return
    lines = text.expandtabs(8).split("\n")
    for note in tab.notes:
        assert lines[note.line - 1][note.column - 1 :].startswith(str(note.fret)[:1]) or (
            lines[note.line - 1][note.column - 1] == "0"
        )


@pytest.mark.parametrize(
    ("labels", "name"), [("GDAE", "bass"), ("eBGDAE", "guitar"), ("AECg", "ukulele")]
)
def test_the_instrument_is_told_by_its_string_names(labels: str, name: str) -> None:
    tab = read_tab("\n".join(f"{label}|---2---|" for label in labels))
    assert instrument_of(tab)[0].name == name


def test_a_dropped_string_is_told_by_its_name() -> None:
    made, reason = instrument_of(read_tab("\n".join(f"{name}|---2---|" for name in "GDAD")))
    assert made.tuning == "D1 A1 D2 G2"
    assert "names" in reason


# -- checking ------------------------------------------------------------------------------------

TUNE = "key: A\noctave: 1\nmeter: 4/4\n\n1 2 3 4 | 5 6 7 8 | 5:2 1:2"


def checked(text: str, against: str | None = TUNE) -> list[tuple[str, str]]:
    tab = read_tab(text)
    made, _ = instrument_of(tab)
    heard: PlayedTab = played(tab, made, None, source="tab")
    melody = parse_melody(against) if against else None
    return [(fault.kind, str(fault)) for fault in check_tab(heard, melody).faults]


def own_page() -> str:
    return render_tab(arrange(parse_melody(TUNE), "bass"), rows=("degree",))


def test_our_own_tab_has_no_fault() -> None:
    assert checked(own_page()) == []


def _numbers(page: str) -> list[tuple[int, int, int]]:
    return [(note.line, note.column, note.fret) for note in read_tab(page).notes]


@pytest.mark.parametrize("number", range(10))
def test_every_single_wrong_fret_is_found_and_corrected(number: int) -> None:
    page = own_page()
    line, column, fret = _numbers(page)[number]
    lines = page.split("\n")
    text, wrong = lines[line - 1], 9 if fret != 9 else 8
    lines[line - 1] = text[: column - 1] + str(wrong) + text[column:]
    found = checked("\n".join(lines))
    assert [kind for kind, _ in found] == ["wrong"]
    assert f"line {line}, column {column}: fret {wrong} sounds" in found[0][1]
    assert f"fret {fret} on this string" in found[0][1]


@pytest.mark.parametrize("number", range(10))
def test_every_missing_note_is_found(number: int) -> None:
    page = own_page()
    line, column, _ = _numbers(page)[number]
    lines = page.split("\n")
    text = lines[line - 1]
    lines[line - 1] = text[: column - 1] + "-" + text[column:]
    assert [kind for kind, _ in checked("\n".join(lines))] == ["missing"]


def test_an_added_note_is_found() -> None:
    page = own_page()
    lines = page.split("\n")
    line, column, _ = _numbers(page)[-1]
    lines[line - 1] = lines[line - 1][: column + 1] + "3" + lines[line - 1][column + 2 :]
    assert [kind for kind, _ in checked("\n".join(lines))] == ["added"]


def test_an_octave_is_no_wrong_note() -> None:
    assert checked(own_page(), TUNE.replace("octave: 1", "octave: 3")) == []


def test_what_no_hand_can_do_is_pointed_at() -> None:
    """Frets 1 and 12 together on a 34 in bass are 383 mm apart, d(12) - d(1)."""
    wide = "G|--12--|\nD|------|\nA|------|\nE|--1---|"
    assert [kind for kind, _ in checked(wide, None)] == ["stretch"]
    leap = "G|--1--15--|\nD|---------|\nA|---------|\nE|---------|"
    assert [kind for kind, _ in checked(leap, None)] == ["leap"]
    off = "G|--2--25--|\nD|---------|\nA|---------|\nE|---------|"
    said = "line 1, column 8: string 1 of the bass has no fret 25 (the last one is 24)"
    assert checked(off, None)[0][1].startswith(said)


def test_bars_whose_count_does_not_run_through_the_meter() -> None:
    meter = parse_melody(TUNE).meter
    good = "G |-5--5----|-4--4---|\ncount 3  4     1 (2 3 4)\n"
    assert [fault.kind for fault in count_faults(good, meter)] == []
    bad = "G |-5--5--5--5--|-4--4--4---|-4--------|\ncount 1  2  3  4   1  2  4     1 (2 3 4)\n"
    faults = list(count_faults(bad, meter))
    assert [(fault.kind, fault.line, fault.column) for fault in faults] == [("bar", 2, 17)]
    late = "G |-5--5--5--5--|-4--4--4---|-4--------|\ncount 1  2  3  4   2  3  4     1 (2 3 4)\n"
    assert [fault.column for fault in count_faults(late, meter)] == [17]


def test_a_repeat_in_words_is_pointed_at_and_the_case_of_a_string_name_is_not() -> None:
    line = "{}|-0-1--|\nB|------|\nG|------|\nD|------|\nA|------|\nE|------|\n"
    text = f"play x2\n{line.format('e')}\n(repeat x2)\n\nx marks the spot\n{line.format('E')}"
    assert [str(doubt) for doubt in read_tab(text).doubts] == [
        'line 9, column 2: "(repeat x2)" not read: everything is played once'
    ]
