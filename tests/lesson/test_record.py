"""The record of a class: what is written is read back, nothing is lost, and progress adds up."""

from __future__ import annotations

import csv
import io
import json
import threading
import xml.etree.ElementTree as ET
from collections import Counter
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import FretpathError, RequestError
from fretpath.commands import main
from fretpath.commands.files import append_file
from fretpath.lesson.record import (
    COLUMNS,
    AskedNote,
    Candidate,
    added_text,
    class_progress,
    confusions,
    drill_pairs,
    format_record,
    parse_record,
    progress_of,
    record_html,
)

DEMO = Path(__file__).parent.parent.parent / "demo_melodies"
DEGREES = st.sampled_from(("1", "2", "b3", "3", "#4", "4", "5", ""))
NAMES = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=12
).filter(lambda name: name.strip() == name and "  " not in name and name.isprintable())
ROWS = st.lists(
    st.builds(
        AskedNote,
        st.dates(date(2020, 1, 1)).map(date.isoformat),
        NAMES,
        NAMES,
        st.sampled_from(("1", "b3", "#4")),
        DEGREES,
    ),
    max_size=8,
)


@given(ROWS)
@settings(deadline=None, max_examples=80)
def test_a_record_is_read_back(rows: list[AskedNote]) -> None:
    text = format_record(rows)
    assert parse_record(text) == (rows, [])
    # the standard reader agrees, and no cell is a formula to a spreadsheet
    cells = list(csv.reader(io.StringIO(text)))
    assert cells[0] == list(COLUMNS)
    assert len(cells) == len(rows) + 1
    assert not any(cell[:1] in "=+-@" and cell for line in cells for cell in line)


@given(ROWS, ROWS)
@settings(deadline=None, max_examples=60)
def test_rows_are_added_behind_what_is_there_and_never_twice(
    first: list[AskedNote], second: list[AskedNote]
) -> None:
    start, _ = added_text("", first, "r")
    more, _ = added_text(start, second, "r")
    rows, remarks = parse_record(start + more)
    assert remarks == []
    assert rows[: len(first)] == parse_record(start)[0]
    assert set(rows) == {*first, *second}
    again, told = added_text(start + more, second, "r")
    assert again == ""
    assert len(told) == bool(second) * len(told)


def test_lines_that_are_no_rows_are_left_out_and_told() -> None:
    text = ",".join(COLUMNS) + "\n2026-11-25,Ana,Bell,4,#4\n2026-13-01,Ana,Bell,4,4\nAna,x\n"
    rows, remarks = parse_record(text + "2026-11-25,Ana,Bell,H,4\n2026-11-25,Ana,Bell,,\n", "c.csv")
    assert [row.answered for row in rows] == ["#4"]
    assert [remark.place for remark in remarks] == [f"c.csv, line {n}" for n in (3, 4, 5, 6)]
    with pytest.raises(FretpathError, match="is not a record"):
        parse_record("name,score\nAna,3\n")


def row(day: str, answered: str, asked: str = "4", tune: str = "Bell") -> AskedNote:
    return AskedNote(day, "Ana", tune, asked, answered)


def test_confusions_and_the_drill_for_them() -> None:
    rows = [row("2026-11-25", a) for a in ("#4", "#4", "4", "3", "")]
    rows.append(AskedNote("2026-11-25", "Tom", "Bell", "#4", "4"))
    assert confusions(rows, "ana") == Counter({("4", "#4"): 2, ("4", "3"): 1})
    assert confusions(rows)["#4", "4"] == 1
    assert drill_pairs(confusions(rows)) == [("#4", "4"), ("4", "3")]
    assert drill_pairs(Counter({("#4", "b5"): 3})) == []  # they sound the same
    with pytest.raises(RequestError, match='did you mean "tom"'):
        confusions(rows, "Tim")


def test_weeks_begin_on_monday() -> None:
    # 2026-11-22 is a Sunday, 2026-11-23 a Monday (ISO calendar)
    rows = [row("2026-11-23", "4"), row("2026-11-22", "#4"), row("2026-11-29", "#4")]
    progress = progress_of(rows, "Ana")
    assert [week.monday for week in progress.weeks] == ["2026-11-16", "2026-11-23"]
    assert [week.percent for week in progress.weeks] == [0, 50]
    assert progress.weeks[1].confused("4", "#4") == (1, 2)
    assert class_progress(rows) == [progress]


def test_the_next_tune_is_rich_in_what_was_confused_and_not_the_one_just_failed() -> None:
    rich = Candidate("bell.txt", "Bell", ("4", "#4", "1", "1", "1"))
    richer = Candidate("tide.txt", "Tide", ("4", "#4", "4", "#4"))
    plain = Candidate("plain.txt", "Plain", ("1", "2"))
    rows = [row("2026-11-25", "#4"), row("2026-11-25", "4")]
    assert progress_of(rows, "Ana").failed == "Bell"

    def next_tune(rows: list[AskedNote], candidates: list[Candidate]) -> Candidate | None:
        return progress_of(rows, "Ana", candidates).next_tune

    assert next_tune(rows, [plain, rich, richer]) == richer
    # the one just failed only where it is richer than all others
    assert next_tune(rows, [plain, rich]) == rich
    small = Candidate("tide.txt", "Tide", ("4", "#4", "1", "1", "1"))
    assert next_tune(rows, [rich, small]) == small
    clean = [row("2026-11-25", "4")]
    assert next_tune(clean, [rich, plain]) == plain  # the next one that is not in the record
    assert next_tune(clean, [rich]) is None


def test_many_writers_lose_nothing(tmp_path: Path) -> None:
    file = tmp_path / "class.csv"

    def write(number: int) -> None:
        rows = [AskedNote("2026-11-25", f"S{number}", "Bell", "4", "#4") for _ in range(20)]
        append_file(file, lambda text: added_text(text, rows, "class.csv")[0])

    writers = [threading.Thread(target=write, args=(number,)) for number in range(8)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    rows, remarks = parse_record(file.read_text(encoding="utf-8"))
    assert remarks == []
    assert Counter(row.student for row in rows) == {f"S{number}": 20 for number in range(8)}


def test_a_record_that_is_none_is_left_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "marks.csv"
    file.write_text("name,mark\nAna,3", encoding="utf-8")
    assert main(["mark", "1 2 3", "Ana: 1 2 3", "--record", str(file)]) == 1
    assert "is not a record" in capsys.readouterr().err
    assert file.read_text(encoding="utf-8") == "name,mark\nAna,3"


def test_a_class_is_marked_recorded_and_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = tmp_path / "answers"
    answers.mkdir()
    (answers / "ana.txt").write_text("1 2 3 #4 5 6", encoding="utf-8")
    (answers / "x.txt").write_text("Name: Tom\n1 2 3 4 5 6", encoding="utf-8")
    (answers / "bad.txt").write_text("no answer", encoding="utf-8")
    record = str(tmp_path / "class.csv")
    words = ["mark", "title: Bell\nkey: C\n\n1 2 3 4 5 6", str(answers)]
    words += ["--record", record, "--date", "2026-11-25"]
    assert main(words) == 1  # one answer could not be read, and is named
    shown = capsys.readouterr()
    assert "bad.txt" in shown.err
    assert "class.csv: 12 notes added" in shown.err  # and the names of the columns
    assert "ana: 21 of 24 points" in shown.out
    assert "THE CLASS: 2 answers" in shown.out
    assert main(words) == 1
    assert "Tom: recorded already" in capsys.readouterr().err
    page = tmp_path / "record.html"
    assert main(["record", record, "--next", str(DEMO), "-o", str(page)]) == 0
    assert main(["record", record, "--next", str(DEMO), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)["students"]
    assert [(one["student"], one["asked"], one["right"]) for one in data] == [
        ("ana", 6, 5),
        ("Tom", 6, 6),
    ]
    assert data[0]["drill"] == [["4", "#4"]]
    assert (DEMO / data[0]["next_tune"]).exists()


def test_the_page_is_whole_and_its_plots_are_told_in_words() -> None:
    rows = [
        row("2026-11-16", "#4"),
        row("2026-11-25", "4"),
        AskedNote("2026-11-25", "<b>", "x", "1", "1"),
    ]
    page = record_html(class_progress(rows), "class.csv")
    assert "<b>" not in page.replace("<body>", "")
    tree = ET.fromstring(page.partition("<body>")[2].join(("<body>", "")).partition("</html>")[0])
    plots = list(tree.iter("svg"))
    assert "2026-11-16 0 percent; 2026-11-23 100 percent" in plots[-2].attrib["aria-label"]
    assert all(plot.attrib["role"] == "img" for plot in plots)
    assert "http" not in page.replace("http-equiv", "")


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("mark", "1 2", "1 2", "--record", "/tmp/x.csv"), "has no name"),
        (("mark", "1 2", "Ana: 1 2", "--date", "yesterday"), "--date is a day"),
        (("record", "/nowhere/class.csv"), "there is no file"),
    ],
)
def test_wrong_calls_say_what_would_help(
    words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(words) == 1
    assert message in capsys.readouterr().err


def test_a_mistake_beside_a_shift_is_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    record = tmp_path / "class.csv"
    words = ["mark", "key: F\n1 2 3 5 6 5 4 2 1", "Lia: C D E G A G F E C"]
    assert main([*words, "--record", str(record)]) == 0
    shown = capsys.readouterr()
    assert "note 8: expected D but answered E" in shown.out
    assert "class.csv: 9 notes added" in shown.err
    rows, _ = parse_record(record.read_text(encoding="utf-8"))
    assert [(row.asked, row.answered) for row in rows if not row.right] == [("2", "3")]
    record.write_text(record.read_text(encoding="utf-8").rstrip("\n"), encoding="utf-8")
    assert main(["mark", "1 2", "Tom Ray: 1 2", "--key", "C", "--record", str(record)]) == 0
    assert "class.csv: 2 notes added" in capsys.readouterr().err
