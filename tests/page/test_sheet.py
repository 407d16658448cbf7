"""The lesson sheet: whole, self-contained, and without the answers where they are to be found."""

from __future__ import annotations

import base64
import io
import re
from html.parser import HTMLParser
from itertools import pairwise

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Arrangement, Limits, RequestError, arrange, parse_melody
from fretpath.neck.setup import Setup
from fretpath.page.html import with_signs
from fretpath.page.questions import hints_about, questions_about
from fretpath.page.rows import HIDES, Blanks
from fretpath.page.sheet import (
    SIDE_HEIGHT,
    Look,
    Setting,
    Sheet,
    TuneSound,
    render_sheet,
    sound_for,
)
from fretpath.page.sound import SoundPlan

VOID = {"meta", "link", "br", "line", "rect", "circle", "polygon"}


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
    return render_sheet(Sheet((arrangement,), True, Look(hide=Blanks.parse(hide))))


def test_everything_is_inside_the_file() -> None:
    sound = sound_for(parse_melody("1 5", key="B"), SoundPlan())
    page = Page(render_sheet(Sheet((tune(),), sounds=(sound,))))
    for tag, attributes in page.tags:
        assert tag not in ("script", "iframe", "object", "embed", "img")
        assert not any(name.startswith("on") for name in attributes)
        for name in ("src", "href"):
            assert (attributes.get(name) or "data:").startswith("data:")
    assert page.comments == []


def test_the_sounds_are_whole() -> None:
    arrangement = tune()
    plan = SoundPlan(tempo=120)
    sound = sound_for(arrangement.melody, plan)
    html = render_sheet(Sheet((arrangement,), sounds=(sound,)))
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
    for sheet in (Sheet((arrangement,)), Sheet((arrangement,), True, Look(title=title))):
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
    low, high = tune(text, key="C", position=2), tune(text, key="C", lowest_fret=7)
    assert low.frets != high.frets
    assert student(low, "tab") == student(high, "tab")
    assert student(low, "degrees") != student(high, "degrees")


RHYTHM = "meter: 4/4\nteaches: the octave leap\n\n"
TUNES = st.lists(
    st.sampled_from(["1", "2", "b3", "#4", "5", "6", "b7", "8", "7,"]), min_size=8, max_size=8
)


def without_questions(html: str) -> str:
    """A page without what it asks, which depends on the tune as it should."""
    return re.sub(r'<ol class="questions">.*?</ol>', "", html, flags=re.S)


def barred(degrees: list[str]) -> str:
    return RHYTHM + " ".join(degrees[:4]) + " | " + " ".join(degrees[4:])


@given(TUNES, TUNES, st.sampled_from(["C", "F#", "D dorian"]), st.sampled_from(["bass", "guitar"]))
@settings(max_examples=30, deadline=None)
def test_a_student_can_fill_the_page_in_by_ear_only(
    one: list[str], other: list[str], key: str, on: str
) -> None:
    """Tunes of one rhythm, in any key, give one page: text, drawings, words and attributes."""
    pages = {
        without_questions(
            render_sheet(Sheet((arrange(parse_melody(barred(tune), key=k), on),), student=True))
        )
        for tune, k in ((one, "C"), (other, key))
    }
    assert len(pages) == 1


@given(TUNES)
@settings(max_examples=30, deadline=None)
def test_no_answer_stands_on_the_student_page_and_each_on_the_teacher_page(
    degrees: list[str],
) -> None:
    arrangement = arrange(parse_melody(barred(degrees), key="C"), "bass")
    copies = [Page(render_sheet(Sheet((arrangement,), student=who))) for who in (True, False)]
    hidden, told = (
        " ".join([*page.words, *(v or "" for _, attrs in page.tags for v in attrs.values())])
        for page in copies
    )
    for question in questions_about(arrangement.melody):
        assert with_signs(question.text) in hidden
        if "(" in question.answer:  # a mere "bar 2" is the number of a bar
            assert with_signs(question.answer) not in hidden
        assert with_signs(question.answer) in told
    assert "the octave leap" in told
    assert "the octave leap" not in hidden


def test_the_name_of_the_tonic_is_told_when_asked() -> None:
    plain = render_sheet(Sheet((tune(),), student=True))
    named = render_sheet(Sheet((tune(),), True, Look(name_tonic=True)))
    assert "the tonic is B1" in named
    assert named.replace("the tonic is B1; ", "") == plain


@given(TUNES)
@settings(max_examples=10, deadline=None)
def test_hints_stand_in_their_own_part_and_only_when_asked(degrees: list[str]) -> None:
    arrangement = arrange(parse_melody(barred(degrees), key="C"), "bass")
    html = render_sheet(Sheet((arrangement,), True, Look(hints=True)))
    section = re.search(r'<section class="hints".*?</section>\n', html, flags=re.S)
    assert section
    assert html.replace(section[0], "") == render_sheet(Sheet((arrangement,), student=True))
    assert "<details open" not in html
    for hint in hints_about(arrangement.melody):
        for line in hint.lines:
            assert with_signs(line) in section[0]


def test_boxes_have_room_for_a_hand() -> None:
    html = render_sheet(Sheet((tune("1 b7, #4 | 5:1/2 4:1/2 3 2", key="C"),), student=True))
    some = student(tune("1 2 3 4 5 6", key="C"), "every-3rd")
    boxes = [
        attrs
        for page in (html, some)
        for tag, attrs in Page(page).tags
        if attrs.get("class") == "box"
    ]
    assert [page.count('class="box"') for page in (html, some)] == [14, 4]
    assert all(float(box["height"]) >= 8 and float(box["width"]) >= 8 for box in boxes)


def test_boxes_do_not_touch() -> None:
    arrangement = tune("meter: 4/4\n\n(1 2 3 4):1/4 (5 4 3 2):1/4 1 2 | 1:4", key="C")
    for system in (
        Sheet((arrangement,), student=True).tunes[0].wide(Setting(4, 3.6, 5.0, 9.0)).systems
    ):
        found = re.findall(r'class="box" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', system.svg)
        spans = sorted((float(x), float(x) + float(width)) for x, width in found)
        assert all(end + 1 < start for (_, end), (start, _) in pairwise(spans))
        assert all(end <= 180 for _, end in spans)


def test_the_teacher_sees_everything_whatever_is_hidden() -> None:
    assert render_sheet(Sheet((tune(),), look=Look(hide=Blanks.parse("degrees,tab")))) == (
        render_sheet(Sheet((tune(),)))
    )


def test_a_question_is_asked_only_where_the_copy_hides_its_answer() -> None:
    for hide in HIDES:
        assert "Then listen again" not in student(tune(), hide)
    assert "Then listen again" in student(tune(), "degrees,notes")


def test_cautions_stand_on_the_teacher_copy_only() -> None:
    assert "Stop if it hurts" in render_sheet(Sheet((tune(),)))
    assert "Stop if it hurts" not in render_sheet(Sheet((tune(),), student=True))
    assert "Stop if it hurts" not in render_sheet(Sheet((tune(),), look=Look(cautions=False)))


def test_a_long_tune_goes_on_on_another_side_which_names_it() -> None:
    text = "title: Long Way\nmeter: 4/4\n\n" + "(1 2 3 4 5 4 3 2):1/2 |\n" * 30 + "1:4"
    arrangement = arrange(parse_melody(text, key="C"), "bass")
    sheet = Sheet((arrangement,), student=True)
    sides = sheet.tunes[0].sides.systems
    assert len(sides) > 1
    for systems in sides:
        assert sum(system.height for system in systems) < SIDE_HEIGHT
    html = render_sheet(sheet)
    assert "Long Way, page 2" in html
    assert html.count("<span>Name</span>") == len(sides) + sheet.tunes[0].sides.apart


@pytest.mark.parametrize(
    "change", [{"sounds": (TuneSound(b"1"), TuneSound(b"2"))}, {"staves": ("", "")}]
)
def test_a_sheet_has_a_sound_for_each_tune(change: dict[str, object]) -> None:
    with pytest.raises(RequestError, match="for each tune"):
        Sheet((tune(),), **change)


@pytest.mark.parametrize("hide", ["notes", "every-3rd", "all-but-first"])
def test_staff_notation_is_not_for_those_who_seek_the_notes(hide: str) -> None:
    look = Look(hide=Blanks.parse(hide))
    with pytest.raises(RequestError, match="drop --staff"):
        Sheet((tune(),), student=True, look=look, staves=("<svg/>",))
    assert Sheet((tune(),), student=True, look=Look(hide=Blanks.parse("tab")), staves=("<svg/>",))


def test_accidentals_are_signs_in_the_drawing_and_letters_in_text() -> None:
    html = render_sheet(Sheet((tune("1 b7, #4 b3", key="Bb"),)))
    drawn = re.sub(
        r"<(desc|details).*?</\1>|<style.*?</style>|#[0-9a-f]{3,6}\b", "", html, flags=re.S
    )
    assert "\u266d7," in drawn
    assert not re.search(r"(?<![\w&])[b#][1-7]", drawn)
    assert not re.search(r">[A-G][b#]", drawn)


def test_a_sheet_needs_a_tune() -> None:
    with pytest.raises(RequestError, match="at least one tune"):
        Sheet(())


def test_words_and_chords_stand_on_the_sheet_unasked() -> None:
    """The words give no degree away, chord names do."""
    text = "key: G\nmeter: 3/4\n\n1 2 3 | 1:3 |\nchords: G | D7\nwords: One gray gull | up"
    found = arrange(parse_melody(text), "bass")
    pupil, teacher = (render_sheet(Sheet((found,), student=copy)) for copy in (True, False))
    assert "gull" in teacher
    assert "D7" in teacher
    assert "gull" in pupil
    assert "D7" not in pupil
