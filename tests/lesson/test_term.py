"""A term: tunes over weeks, what waits and why, and pages that give nothing away."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import RequestError
from fretpath.commands import main
from fretpath.lesson.packet import TermWeek, plan_term, week_pairs
from fretpath.lesson.tune import Tune
from tests.lesson.tunes import degree_words, tune, write_tunes

TUNES = {
    "a_steps.txt": "title: Steps\nkey: C major\nmeter: 4/4\n\n1 2 3 2 | 1 2 1 -",
    "b_triad.txt": "title: Triad\nkey: G major\nmeter: 4/4\n\n1 3 5 3 | 1 3 1 -",
    "c_raised.txt": "title: Raised\nkey: D major\nmeter: 4/4\n\n3 4 #4 5 | 8 5 3 1",
    "d_broken.txt": "title: Broken\nkey: C major\n\n1 2 zz",
    "e_wide.txt": "title: Wide\nkey: C major\n\nC1 C7",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three melodies, one that cannot be read and one that cannot be played."""
    return write_tunes(tmp_path / "tunes", TUNES)


@given(st.lists(degree_words(most=6), min_size=1, max_size=9), st.integers(1, 6), st.integers(1, 4))
@settings(deadline=None, max_examples=40)
def test_every_tune_is_in_one_week_or_waits(texts: list[list[str]], weeks: int, most: int) -> None:
    tunes = [tune(" ".join(words), f"{n}.txt") for n, words in enumerate(texts)]
    term = plan_term(tunes, weeks, a_week=most)
    sizes = [len(week.lessons) for week in term.weeks]
    taught = [lesson for week in term.weeks for lesson in week.lessons]
    assert len(sizes) <= weeks
    assert max(sizes) <= most
    assert max(sizes) - min(sizes) <= 1
    assert sizes == sorted(sizes, reverse=True)
    waiting = [one for one, _ in term.left_out]
    assert sorted(one.tune.name for one in taught) == sorted(
        one.name for one in tunes if one not in waiting
    )
    hard = [lesson.difficulty for lesson in taught]
    assert hard == sorted(hard)
    assert all(sum(t.rung for t in one.material) >= hard[-1] for one in waiting)


def names(week: TermWeek) -> list[str]:
    return [lesson.tune.name for lesson in week.lessons]


def test_what_a_student_knows_decides_what_comes_and_what_waits() -> None:
    tunes = [
        tune("1 2 3 1", "three"),
        tune("1 2 3 4 5 1", "five"),
        tune("1 2 3 4 5 6 7 8", "all"),
        tune("1 b2 b3 b6 b7 1", "far", "C phrygian"),
    ]
    term = plan_term(tunes, 3, a_week=1, known=["1", "2", "3"])
    assert [names(week) for week in term.weeks] == [["three"], ["five"], ["all"]]
    [(waiting, reason)] = term.left_out
    assert waiting.name == "far"
    assert reason == "would bring more than two new degrees at once: b3 b7 b6 b2" or (
        set(reason.rpartition(": ")[2].split()) == {"b2", "b3", "b6", "b7"}
    )
    with pytest.raises(RequestError, match="no tune for this term"):
        plan_term(tunes[3:], 3, known=["1"])


def test_the_drill_of_a_week_is_about_what_is_new_in_it() -> None:
    def pairs(*tunes: Tune) -> list[tuple[str, str]]:
        return week_pairs(plan_term(tunes, 1).weeks[0])

    assert pairs(tune("1 3 4 #4 5", "a")) == [("#4", "4"), ("3", "4")]
    assert pairs(tune("1 1", "a")) == [("2", "3")]


def term(folder: Path, out: Path, *words: str) -> int:
    return main(["term", str(folder), "-o", str(out), *words])


def test_a_term_holds_weeks_and_contents_and_tells_what_is_left_out(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "term"
    words = ("--weeks", "2", "--tunes", "1", "--no-sound", "--title", "Autumn <b>")
    assert term(folder, out, *words) == 1
    shown = capsys.readouterr()
    weeks = [f"week_{n}_{copy}.html" for n in (1, 2) for copy in ("student", "teacher")]
    contents = ["contents_student.html", "contents_teacher.html"]
    assert sorted(file.name for file in out.iterdir()) == sorted([*weeks, *contents])
    assert "2 files left out" in shown.err
    assert "d_broken.txt" in shown.err
    assert "e_wide.txt" in shown.err
    assert "not in these weeks: Raised (comes after these weeks" in shown.out
    student, teacher = ((out / name).read_text(encoding="utf-8") for name in contents)
    assert "Raised" in teacher
    assert "d_broken.txt" in teacher
    assert "Autumn &lt;b&gt;" in teacher
    for answer in ("Raised", "degree", "broken", "major"):
        assert answer not in student
    for page, copy in ((student, "student"), (teacher, "teacher")):
        assert re.findall(r'href="(week[^"]*)"', page) == [f"week_{n}_{copy}.html" for n in (1, 2)]


def test_a_week_sounds_and_its_student_copy_has_no_answers(folder: Path, tmp_path: Path) -> None:
    for name in ("d_broken.txt", "e_wide.txt", "b_triad.txt"):
        (folder / name).unlink()
    out = tmp_path / "term"
    assert term(folder, out, "--weeks", "1") == 0
    student, teacher = (
        (out / f"week_1_{copy}.html").read_text(encoding="utf-8") for copy in ("student", "teacher")
    )
    drill = student.partition('<section class="week">')[2]
    questions = drill.count("<li>")
    assert questions >= 4
    assert drill.count("data:audio/mpeg;base64,") == questions + 2  # and two calls
    assert "<h3>Answers</h3>" not in drill
    answers = teacher.rpartition("<h3>Answers</h3>")[2].partition("</section>")[0]
    assert len(re.findall(r"\d+ [A-F]", answers)) == questions
    # the phrases are not those of the tunes: the line of a tune is nowhere in the student's copy
    assert "3 4 #4 5 8" not in student


def test_the_same_bytes_on_every_run(folder: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert term(folder, tmp_path / name, "--weeks", "1", "--no-sound") == 1
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--weeks", "0", "-o", "x"), "1 to 52 weeks"),
        (("--tunes", "0", "-o", "x"), "1 to 12 tunes"),
        (("--known", "H", "-o", "x"), '"H" is'),
        ((), "-o FOLDER"),
    ],
)
def test_wrong_calls_say_what_would_help(
    folder: Path, words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["term", str(folder), *words]) == 1
    assert message in capsys.readouterr().err


def test_the_name_of_the_student_stands_on_every_page(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "term"
    assert term(folder, out, "--weeks", "1", "--no-sound", "--student", "Wren") == 1
    assert all("Wren" in file.read_text(encoding="utf-8") for file in out.iterdir())


def test_the_keys_of_a_term_have_three_sharps_or_flats_at_most(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from fretpath import Key

    term(folder, tmp_path / "term", "--weeks", "1", "--no-sound")
    keys = re.findall(r"\(([A-G][#b]? \w+)\)", capsys.readouterr().out)
    assert len(keys) == 3
    assert all(abs(Key.parse(key).fifths) <= 3 for key in keys)
