"""Text tab read back: our own pages at every width, and tab as people write it."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import FretpathError, Limits, Setup, arrange, parse_melody
from fretpath.page.tab import render_tab
from fretpath.page.tab_check import check_tab, count_faults
from fretpath.page.tab_reading import read_tab

Places = list[tuple[int, int]]

RIFF = """\
G|----------------|--------|
D|-----5--7-------|--9-----|
A|--5-------------|----10--|
E|----------3--5--|--------|
"""
RIFF_PLACES: Places = [(3, 5), (2, 5), (2, 7), (4, 3), (4, 5), (2, 9), (3, 10)]


def places(text: str) -> Places:
    return [(note.string, note.fret) for moment in read_tab(text).moments for note in moment]


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
    kept = [(n.fret, n.marks) for n in tab.notes]
    assert kept == [(5, ""), (7, "h"), (5, "p"), (7, ""), (9, "/"), (7, ""), (12, "<>")] * 2
    told = [str(doubt) for doubt in tab.doubts]
    assert told[0].startswith("line 1, column 17; line 3, column 17: left out: x is a muted")
    assert told[1].startswith("line 1, column 21; line 3, column 21: doubt: b9 is a bend")
    assert told[2].startswith("line 1, column 26; line 3, column 26: doubt: 12 in brackets")


def test_a_number_of_three_digits_is_a_doubt_with_its_place() -> None:
    tab = read_tab("G|--123--5--|\nD|----------|\nA|----------|\nE|----------|")
    assert [note.fret for note in tab.notes] == [5]
    assert str(tab.doubts[0]).startswith("line 1, column 5: doubt: 123 is not a fret")


def test_chords_sound_together_even_when_aligned_to_the_right() -> None:
    tab = read_tab("G|--10--|\nD|---9--|\nA|------|\nE|--8---|")
    assert [len(chord) for chord in tab.moments] == [3]
    assert [(note.string, note.fret) for note in tab.lower] == [(2, 9), (4, 8)]


def test_shifted_bar_lines_are_a_doubt_and_each_bar_is_read_for_itself() -> None:
    text = RIFF.replace("A|--5-------------|", "A|--5------------|")
    assert places(text) == RIFF_PLACES
    assert [str(doubt) for doubt in read_tab(text).doubts] == [
        "line 3, column 18: doubt: the bar lines do not stand over each other: each bar is read "
        "for itself"
    ]


def test_bars_that_cannot_be_told_apart_are_refused_with_line_and_column() -> None:
    text = RIFF.replace("A|--5-------------|", "A|--5--|-----------|")
    with pytest.raises(FretpathError, match=r"line 1, column 19: no bar line of line 3"):
        read_tab(text)


def test_a_string_with_signs_nobody_knows_is_read_and_told() -> None:
    """A capital H once made a line no string: the string and its notes were lost in silence."""
    text = "G|-------|\nD|-------|\nA|-------|\nE|-------|\nB|-3H5-Q-|\n"
    tab = read_tab(text)
    assert tab.instrument.name == "bass-5"
    assert [(note.string, note.fret, note.marks) for note in tab.notes] == [(5, 3, ""), (5, 5, "H")]
    assert [doubt.place for doubt in tab.doubts] == ["line 5, column 8"]


def test_a_short_last_system_is_read() -> None:
    text = "G|-2-4-|\nD|-----|\nA|-----|\nE|-----|\n\nG|-5|\nD|--|\nA|--|\nE|--|\n"
    assert places(text) == [(1, 2), (1, 4), (1, 5)]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no tab"),
        ("just words\nand more - or - less", "no tab"),
        ("-" * 10_001, "10000 is the most"),
        ("\n" * 100_001, "100000 is the most"),
        (" " * 9_990 + "--:", "no tab"),
        ("G|------|\nD|------|\nA|------|\nE|------|", "no number"),
        (RIFF + "\n|--5--|\n|--5--|\n", "2 string lines"),
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
    for note in (note for moment in tab.moments for note in moment):
        shown = lines[note.line - 1][note.column - 1 :]
        assert re.match(rf"0?{note.fret}(?!\d)", shown)


@pytest.mark.parametrize(
    ("labels", "name"), [("GDAE", "bass"), ("eBGDAE", "guitar"), ("AECg", "ukulele")]
)
def test_the_instrument_is_told_by_its_string_names(labels: str, name: str) -> None:
    tab = read_tab("\n".join(f"{label}|---2---|" for label in labels))
    assert tab.instrument.name == name


def test_a_dropped_string_is_told_by_its_name() -> None:
    tab = read_tab("\n".join(f"{name}|---2---|" for name in "GDAD"))
    assert tab.instrument.tuning == "D1 A1 D2 G2"
    assert "names" in str(tab.remarks[0])


# -- checking ------------------------------------------------------------------------------------

TUNE = "key: A\noctave: 1\nmeter: 4/4\n\n1 2 3 4 | 5 6 7 8 | 5:2 1:2"


def checked(text: str, against: str | None = TUNE) -> list[tuple[str, str]]:
    melody = parse_melody(against) if against else None
    return [(fault.kind, str(fault)) for fault in check_tab(read_tab(text), melody).faults]


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


def test_only_frets_outside_the_limits_are_pointed_at() -> None:
    reading = read_tab("G|-0-3-5-9-10-|\nD|------------|")
    limits = Limits(lowest_fret=5, highest_fret=9)
    setup = replace(Setup.of(reading.instrument), limits=limits)
    faults = check_tab(reading, setup=setup).faults
    assert [fault.text for fault in faults if fault.kind == "limit"] == [
        "1 note lies below fret 5 (fret 3)",
        "1 note lies above fret 9 (fret 10)",
    ]


def test_the_last_fret_is_no_fault_and_the_next_is_taken_for_two() -> None:
    assert checked("G|-24-|\nD|----|", None) == []
    assert "is it 2 and 5 without a dash" in checked("G|-24-25-|\nD|-------|", None)[0][1]


@pytest.mark.parametrize("missing", [8, 9])
def test_of_many_missing_notes_eight_are_named(missing: int) -> None:
    tune = f"key: A\n\n1 {'2 3 4 ' * 3}"[: 10 + 2 * missing] + "1"
    told = checked("G|-2-2-|\nD|-----|", tune)
    assert [kind for kind, _ in told] == ["missing"]
    assert f"{missing} notes of the tune are missing" in told[0][1]
    assert told[0][1].endswith(" ...") == (missing > 8)


def test_strings_that_fit_two_ways_are_the_first_where_both_move_alike() -> None:
    text = "\n".join(f"{name}|-{'2' * (name == 'E')}--" for name in "EADG").replace("2--", "2-")
    assert read_tab(text).instrument.name == "mandolin"
    assert read_tab(f"low string on top\n\n{text}").instrument.name == "bass"


def counted(text: str) -> list[tuple[str, int, int]]:
    faults = count_faults(read_tab(text).counts, parse_melody(TUNE).meter)
    return [(fault.kind, fault.line, fault.column) for fault in faults]


def test_bars_whose_count_does_not_run_through_the_meter() -> None:
    assert counted("G |-5--5----|-4--4---|\ncount 3  4     1 (2 3 4)\n") == []
    bad = "G |-5--5--5--5--|-4--4--4---|-4--------|\ncount 1  2  3  4   1  2  4     1 (2 3 4)\n"
    assert counted(bad) == [("bar", 2, 17)]
    late = "G |-5--5--5--5--|-4--4--4---|-4--------|\ncount 1  2  3  4   2  3  4     1 (2 3 4)\n"
    assert counted(late) == [("bar", 2, 17)]


def test_a_repeat_in_words_is_pointed_at_and_the_case_of_a_string_name_is_not() -> None:
    line = "{}|-0-1--|\nB|------|\nG|------|\nD|------|\nA|------|\nE|------|\n"
    text = f"play it well\n{line.format('e')}\n(slowly)\n{line.format('E')}(repeat x2)\n"
    assert [str(doubt) for doubt in read_tab(text).doubts] == [
        'line 16: doubt: "(repeat x2)" not read: everything is played once'
    ]


@pytest.mark.parametrize(
    ("text", "melody"),
    [
        ("A|:-0-2-|-3-2-:|-0-|", "|: A2 B2 | C3 B2 :| A2"),
        ("A||*-0-2-*||\nE||---------||", "|: A2 B2 :|"),
        ("A|-0-2-|-3-:|", "|: A2 B2 | C3 :|"),
        ("A|-0-2-| x4\nE|-----|", "|: A2 B2 :|x4"),
        ("A|:-0-2-:|  (play 3 times)\nE|-------|", "|: A2 B2 :|x3"),
        ("         1.   2.\nA|:-0-2-|-3-:|-2-|", "|: A2 B2 | [1 C3 :| [2 B2 ]"),
    ],
)
def test_repeats_are_read(text: str, melody: str) -> None:
    """Signs and numbers of endings: common practice."""
    reading = read_tab(text, "guitar-7")
    expected = parse_melody(melody)
    assert reading.melody.repeats == expected.repeats
    assert reading.melody.expanded().pitches == expected.expanded().pitches
    assert any(str(remark).startswith("read: repeat") for remark in reading.remarks)


GUITAR = "\n".join(f"{name}|-2-" for name in "eBGDAE")
BASS = "\n".join(f"{name}|-2-" for name in "GDAE")


@pytest.mark.parametrize(
    ("words", "tab", "tuning", "capo"),
    [
        ("Capo on 2nd fret", GUITAR, "E2 A2 D3 G3 B3 E4", 2),
        ("capo III", GUITAR, "E2 A2 D3 G3 B3 E4", 3),
        ("Capo - 4", GUITAR, "E2 A2 D3 G3 B3 E4", 4),
        ("w/ capo on the fifth fret", GUITAR, "E2 A2 D3 G3 B3 E4", 5),
        ("no capo", GUITAR, "E2 A2 D3 G3 B3 E4", 0),
        ("half step down", BASS, "Eb1 Ab1 Db2 Gb2", 0),
        ("capo 2, tuned a whole step down", BASS, "D1 G1 C2 F2", 2),
        ("Tuned to D standard (D G C F)", BASS, "D1 G1 C2 F2", 0),
        ("Tuning: D A D G", BASS, "D1 A1 D2 G2", 0),
        ("drop D", BASS, "D1 A1 D2 G2", 0),
        ("low E tuned down to D", BASS, "D1 A1 D2 G2", 0),
        ("drop C", GUITAR, "C2 G2 C3 F3 A3 D4", 0),
        ("C standard", GUITAR, "C2 F2 Bb2 Eb3 G3 C4", 0),
        ("BEAD", BASS, "B0 E1 A1 D2", 0),
        ("DADGAD", GUITAR, "D2 A2 D3 G3 A3 D4", 0),
        ("open G", GUITAR, "D2 G2 D3 G3 B3 D4", 0),
        ("half step down", BASS.replace("|", "b|"), "Eb1 Ab1 Db2 Gb2", 0),
    ],
)
def test_words_around_set_tuning_and_capo_and_are_told(
    words: str, tab: str, tuning: str, capo: int
) -> None:
    """Names of tunings are common practice, from memory."""
    reading = read_tab(f"{words}\n\n{tab}")
    assert (reading.instrument.tuning, reading.instrument.capo) == (tuning, capo)
    assert any(remark.kind == "read" for remark in reading.remarks)
    assert not [doubt for doubt in reading.doubts if doubt.kind == "doubt"]


@pytest.mark.parametrize(
    "words",
    ["Capo 3 blues", "Partial capo at 2", "my two step", "Tuned by ear", "Dropped in Kansas drop",
     "The key is under the mat"],
)  # fmt: skip
def test_words_that_say_more_are_not_obeyed_and_are_a_doubt(words: str) -> None:
    reading = read_tab(f"{words}\n\n{BASS}")
    assert (reading.instrument.tuning, reading.instrument.capo) == ("E1 A1 D2 G2", 0)
    assert any(f'"{words}"' in str(doubt) for doubt in reading.doubts)


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ("key D dorian", "D dorian"),
        ("Harbour Steps (D minor, 90 bpm)", "D natural minor"),
        ("Tonart G-Dur", "G major"),
        ("in G, capo 2", "G major"),
        ("Chords: E minor, G major", None),
        ("the key of the door", None),
    ],
)
def test_the_header_is_read_as_over_a_melody(words: str, key: str | None) -> None:
    melody = read_tab(f"{words}\n\n{BASS}").melody
    assert (str(melody.key) if melody.key else None) == key
    assert melody.tempo == (90 if "bpm" in words else None)


SHAPES = """\
e|-----------0-3-|
B|-----0-1-3-----|
G|-0-2-----------|
D|---------------|
A|---------------|
E|---------------|
"""
"""G A B C D E G where no capo lies."""


@pytest.mark.parametrize(
    ("words", "key", "told"),
    [
        ("Key: G\nCapo on 3", "Bb major", "read: the key G major is that of the shapes"),
        ("Key: Bb\nCapo 3", "Bb major", "read: the key Bb major is taken as it sounds"),
        ("Capo 5\nKey: G", "C major", "read: the key G major is that of the shapes"),
        ("Key: E\nCapo 3", "E major", "doubt: the notes are not in E major, nor in G major"),
        ("Key: Eb", "Eb major", "doubt: the notes are not in Eb major: is"),
        ("Key: G", "G major", ""),
        ("Key: G\nno capo", "G major", ""),
    ],
)
def test_a_key_beside_a_capo_is_that_of_the_shapes_or_the_sounding_one(
    words: str, key: str, told: str
) -> None:
    reading = read_tab(f"{words}\n\n{SHAPES}")
    assert str(reading.melody.key) == key
    remarks = [str(remark) for remark in reading.remarks if " key " in remark.text]
    remarks += [str(doubt) for doubt in reading.doubts if "not in" in doubt.text]
    assert len({*remarks}) == bool(told)
    assert not told or remarks[0].startswith(told)


def test_the_key_a_caller_names_is_the_sounding_one() -> None:
    reading = read_tab(f"Capo 3\n\n{SHAPES}", key="G")
    assert str(reading.melody.key) == "G major"
    assert "the notes are not in G major: is the key right?" in str(reading.doubts[0])


@pytest.mark.parametrize(
    ("line", "title"),
    [
        ("Harbour stairs", "Harbour stairs"),
        ("just the tune", "just the tune"),
        ("Harbour Steps (D minor, 90 bpm)", "Harbour Steps"),
        ("Title: Low Water", "Low Water"),
        ("Tabbed by Wren", ""),
        ("- with a pick", ""),
        ("Guitar 2 (lead)", ""),
        ("Am G Cmaj7", ""),
        ("Capo 3 blues", ""),
        ("Tune down to D", ""),
        ("Key of G", ""),
        ("4/4, 90 bpm", ""),
        ("Here it comes:", ""),
        ("I play this one slowly.", ""),
        ("Standard tuning", ""),
        ("BEAD", ""),
        ("low string on top", ""),
        ("Long " * 13, ""),
    ],
)
def test_a_first_line_in_words_is_the_title_unless_it_asks_for_something(
    line: str, title: str
) -> None:
    reading = read_tab(f"{line}\n\n{BASS}")
    assert reading.melody.title == title
    told = [remark.place for remark in reading.remarks if "title from" in remark.text]
    assert told == ["line 1"] * (bool(title) and "Title" not in line)
    if "Title" not in line:
        assert read_tab(f"{line}\n{BASS}").melody.title == "", "no blank line behind it"


@pytest.mark.parametrize("words", ["just the tune", "a tune in D", "Tunes we play"])
def test_a_tune_speaks_of_no_tuning(words: str) -> None:
    assert not [doubt for doubt in read_tab(f"{words}\n\n{BASS}").doubts if doubt.kind == "doubt"]


def test_a_meter_drawn_on_the_strings_is_no_chord() -> None:
    text = "G|---|--2--|\nD|-3-|-----|\nA|-4-|0----|\nE|---|-----|"
    assert places(text) == [(3, 0), (1, 2)]
    assert "3 over 4" in str(read_tab(text).doubts[0])
    wide = "G|-------|-2-|\nD|-3-----|---|\nA|-4-----|---|\nE|-------|---|"
    assert places(wide) == [(2, 3), (3, 4), (1, 2)]


def test_the_words_and_chords_of_our_own_page_are_told() -> None:
    tune = parse_melody("1 2 3\nchords: C _ G\nwords: row the boat", key="C")
    page = render_tab(arrange(tune, "bass"), rows=("chord", "degree", "lyric"))
    told = [str(doubt) for doubt in read_tab(page).doubts]
    assert [text.split(": ", 1)[1] for text in told] == [
        "left out: the chord row of the page",
        "left out: the lyric row of the page",
    ]


def test_the_title_of_our_own_page_stands_right_over_its_key() -> None:
    page = render_tab(arrange(parse_melody("title: Long Shore\nkey: C\n\n1 2 3"), "bass"))
    assert read_tab(f"tabbed by me\n\n{page}").melody.title == "Long Shore"


@pytest.mark.parametrize("row", ["Am      Cmaj7", "  Gsus4", "D7/F#  (Bm7b5)", "C G"])
def test_chords_above_the_strings_are_told(row: str) -> None:
    told = f'the row "{row.strip()}" above the tab is not read'
    assert told in str(read_tab(f"{row}\n{RIFF}").doubts[0])
    assert read_tab(f"Gentle waves\n{RIFF}").doubts == ()


@pytest.mark.parametrize("name", ["{}", "[{}]", "({})", "{}:", "string {}", "{} "])
def test_string_names_in_many_clothes(name: str) -> None:
    text = "\n".join(f"{name.format(letter)}|-{'2' * (letter == 'G')}--" for letter in "GDAE")
    text = text.replace("2--", "2-")
    assert places(text) == [(1, 2)]
    assert read_tab(text).instrument.name == "bass"


@pytest.mark.parametrize(
    ("row", "lengths"),
    [
        ("  1 & 2 & 3 & 4", "1 1/2 3/2 1"),
        ("  1 e & a 2 e & a", "1/2 1/4 3/4 1/2"),
        ("  q   e h       w", "1 1/2 2 4"),
        ("  Q.  E q       h.", "3/2 1/2 1 3"),
    ],
)
def test_lengths_from_a_count_or_from_letters(row: str, lengths: str) -> None:
    strings = "G|2---4-5-------7-|" if row.strip()[0] in "qQ" else "G|2---4-5-----7---|"
    reading = read_tab(f"{row}\n{strings}\nD|---------------|")
    assert [str(beats) for beats in reading.melody.lengths] == lengths.split()


def test_a_row_with_a_number_that_is_no_count_is_told() -> None:
    """A raised 2 is a digit to Python and no number: it once ended in a traceback."""
    reading = read_tab(f"1 \u00b2 3 4\n{RIFF}")
    assert not reading.lengths
    assert 'the row "1 \u00b2 3 4" above the tab is not read' in str(reading.doubts[0])


@pytest.mark.parametrize(
    "words",
    [
        "1 2 " + "9" * 5000,
        "tempo: 1e999999999",
        "key C major; tempo 1.2.3\nbass: strings 4 to 1 E1 A1 D2 G2",
        "key C major; tempo 0\nbass: strings 4 to 1 E1 A1 D2 G2",
        "key C major\nbass: strings 4 to 1 E1 A1 D2 G2, capo at fret " + "9" * 5000,
        "key C major\nbass: strings 4 to 1 E1 A1 D2 G2\n\ncount 1 " + "9" * 5000,
    ],
)
def test_a_number_beyond_all_measure_is_none(words: str) -> None:
    """Each once ended in a traceback, or never."""
    reading = read_tab(f"{words}\n{RIFF}")
    assert [(note.string, note.fret) for note in reading.notes] == RIFF_PLACES
    assert reading.melody.tempo is None


def test_lengths_from_the_spacing_when_asked() -> None:
    text = "4/4\nG|-2---4-5-7-------|\nD|-----------------|"
    assert [str(b) for b in read_tab(text, spacing=True).melody.lengths] == ["1", "1/2", "1/2", "2"]
    assert not read_tab(text).lengths


# -- tab as people write it ----------------------------------------------------------------------

ITEMS: list[dict[str, Any]] = json.loads(
    (Path(__file__).parents[1] / "data" / "tabs.json").read_text(encoding="utf-8")
)
"""Tab as people write it, and what a musician reads in it; all tunes are invented."""


def mistakes(item: dict[str, Any]) -> list[str]:
    """What a reading of an item misses, in words; empty if it is right."""
    tab = read_tab(item["text"])
    heard = [sorted([note.string, note.fret] for note in moment) for moment in tab.moments]
    ways = [item["notes"], *item["alt"]]
    told = "\n".join(map(str, tab.remarks))
    found = ["notes"] * (heard not in [[sorted(moment) for moment in way] for way in ways])
    tuning = [str(string.open) for string in tab.instrument.strings]
    found += ["tuning"] * (tuning != item["tuning"])
    found += ["capo"] * (tab.instrument.capo != item["capo"])
    if item["durations"]:
        found += ["lengths"] * ([str(n) for n in tab.melody.lengths] != item["durations"])
    if item["key"]:
        found += ["key"] * (str(tab.melody.key) != item["key"])
    if item["tempo"]:
        found += ["tempo"] * (tab.melody.tempo != item["tempo"])
    found += [name for name, said in item["doubts"] if not re.search(said, told, re.IGNORECASE)]
    return found


@pytest.mark.parametrize("item", ITEMS, ids=lambda item: str(item["kind"]))
def test_tab_as_people_write_it(item: dict[str, Any]) -> None:
    assert mistakes(item) == []
