"""The lesson sheet: whole, self-contained, and without the answers where they are to be found."""

from __future__ import annotations

import base64
import io
import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Arrangement, Limits, RequestError, arrange, parse_melody
from fretpath.neck.setup import Setup
from fretpath.page.blanks import HIDES, Blanks
from fretpath.page.questions import questions_about
from fretpath.page.sheet import Sheet, render_sheet
from fretpath.page.sound import SoundPlan, melody_mp3

VOID = {"meta", "link", "br", "line", "rect", "circle"}


class Page(HTMLParser):
    """Tags in order, checked to close as they open, with all text and attributes."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.comments: list[str] = []
        self.feed(html)
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.words.append(data)

    def handle_comment(self, data: str) -> None:
        self.comments.append(data)


HELD = {"key": "C", "position": 2, "open_strings": "forbid"}
"""A hand held in one position, so that every pitch has one place and one finger."""


def tune(text: str = "1 5 8 9 10", *, key: str = "B", **wishes: object) -> Arrangement:
    return arrange(parse_melody(text, key=key), Setup.of("bass", limits=Limits(**wishes)))


def student(arrangement: Arrangement, hide: str) -> str:
    return render_sheet(Sheet((arrangement,), student=True, hide=Blanks.parse(hide)))


def test_everything_is_inside_the_file() -> None:
    sounds = (melody_mp3(parse_melody("1 5", key="B")),)
    page = Page(render_sheet(Sheet((tune(),), sounds=sounds)))
    for tag, attributes in page.tags:
        assert tag not in ("script", "iframe", "object", "embed", "img")
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert page.comments == []


def test_the_sounds_are_whole() -> None:
    arrangement = tune()
    plan = SoundPlan(tempo=120)
    html = render_sheet(Sheet((arrangement,), sounds=(melody_mp3(arrangement.melody, plan),)))
    lengths = []
    for data in re.findall(r"data:audio/mpeg;base64,([A-Za-z0-9+/=]+)", html):
        samples, rate = soundfile.read(io.BytesIO(base64.b64decode(data, validate=True)))
        assert np.abs(samples).max() > 0.1
        lengths.append(len(samples) / rate)
    assert lengths == [pytest.approx(2.5, abs=0.2), pytest.approx(12, abs=0.2)]


@pytest.mark.parametrize(
    "title",
    [
        "<script>alert(1)</script>",
        '"><img src=x onerror=alert(1)>',
        "</title></style><b>",
        "{{ 7 * 7 }} & \u202egniht\u2069 \U0001f3b8 e\u0301",
    ],
)
def test_titles_are_shown_and_not_run(title: str) -> None:
    arrangement = arrange(parse_melody(f"title: {title}\nsource: {title}\n\n1 5", key="C"), "bass")
    for sheet in (Sheet((arrangement,)), Sheet((arrangement,), title=title, student=True)):
        page = Page(render_sheet(sheet))
        assert not any(tag in ("script", "img", "b") for tag, _ in page.tags)
        assert "".join(page.words).count(title) >= 3


# Different tunes of one rhythm and one first note; what is hidden must not tell them apart.
ODD = st.lists(st.sampled_from(["2", "4", "5", "6", "8", "7,"]), min_size=3, max_size=3)


@given(ODD, ODD)
@settings(max_examples=25, deadline=None)
def test_all_but_first_tells_nothing_of_the_rest(one: list[str], other: list[str]) -> None:
    pages = {
        student(tune("octave: 2\nmeter: 4/4\n\n1 " + " ".join(rest), **HELD), "all-but-first")
        for rest in (one, other)
    }
    assert len(pages) == 1


@given(ODD, ODD)
@settings(max_examples=25, deadline=None)
def test_every_other_note_tells_nothing_of_the_hidden_ones(
    one: list[str], other: list[str]
) -> None:
    pages = {
        student(
            tune(f"octave: 2\nmeter: 4/4\n\n1 {rest[0]} 3 {rest[1]} 1 {rest[2]}", **HELD),
            "every-2nd",
        )
        for rest in (one, other)
    }
    assert len(pages) == 1


def test_a_hidden_tab_tells_nothing_of_the_fingering() -> None:
    text = "octave: 2\nmeter: 4/4\n\n1 2 3 4 | 5 4 3:2 |\n1 2 3 4 | 5 4 3:2"
    low, high = tune(text, key="C", highest_fret=5), tune(text, key="C", lowest_fret=7)
    assert low.frets != high.frets
    assert student(low, "tab") == student(high, "tab")
    assert student(low, "degrees") != student(high, "degrees")


def test_hidden_degrees_are_nowhere() -> None:
    """The same notes named in another key: only the key itself and its tonic may differ."""
    notes = "B1 F#2 B2 C#3 D#3"
    pages, degrees = set(), set()
    for key, said in (("B", "B major"), ("F#", "F sharp major")):
        melody = parse_melody(notes, key=key)
        html = student(arrange(melody, "bass"), "degrees")
        html = html.replace(f"<dd>{melody.key}</dd>", "").replace(f"key {said}", "")
        pages.add(html.replace(f"<dd>{melody.tonic}</dd>", ""))
        degrees.add(tuple(str(degree) for degree in melody.degrees))
    assert len(degrees) == 2
    assert len(pages) == 1


def test_the_student_gets_no_answer_and_no_hint() -> None:
    melody = parse_melody("teaches: the octave leap\n\n1 5 8 9 10", key="B")
    arrangement = arrange(melody, "bass")
    teacher = render_sheet(Sheet((arrangement,)))
    assert "the octave leap" in teacher
    assert "hand keeps still" in teacher
    for hide in HIDES:
        html = student(arrangement, hide)
        assert "the octave leap" not in html
        assert "hand keeps still" not in html
        assert 'class="answers"' not in html
        assert "Which degree starts it?" in html


def test_the_teacher_sees_everything_whatever_is_hidden() -> None:
    plain = Sheet((tune(),))
    hiding = replace(plain, hide=Blanks.parse("degrees,tab"))
    assert "__" not in render_sheet(hiding)
    for question in questions_about(tune()):
        assert question.answer in render_sheet(hiding)


def test_questions_and_answers() -> None:
    melody = parse_melody("meter: 4/4\n\n3 4 #4 5 | 8:2 b7 1", key="C")
    answers = {q.text: q.answer for q in questions_about(arrange(melody.in_octave(2), "bass"))}
    assert answers["Which degree starts it?"] == "3 (E2)"
    assert answers["Which degree ends it?"] == "1 (C2)"
    assert answers["Where does it leave the scale?"] == (
        "bar 1, note 3: #4 (F#2), raised fourth; bar 2, note 2: b7 (Bb2), flat seventh"
    )
    leap = answers["Where is the widest leap, and how wide is it?"]
    assert leap == "bar 2, notes 2 and 3: down a minor seventh"


def test_shifts_are_named_where_they_happen() -> None:
    melody = parse_melody("meter: 4/4\n\n1:4@4-3 | 8:2@4-15", key="G").in_octave(1)
    arrangement = arrange(melody, "bass")
    assert arrangement.figures.shifts == 1
    answer = questions_about(arrangement)[-1].answer
    assert answer.startswith("bar 2, note 1: ")


def test_a_melody_without_a_key_has_no_degree_questions() -> None:
    texts = [q.text for q in questions_about(arrange(parse_melody("C2 D2 E2"), "bass"))]
    assert not any("degree" in text for text in texts)


def test_a_sheet_needs_a_tune() -> None:
    with pytest.raises(RequestError, match="at least one tune"):
        Sheet(())
