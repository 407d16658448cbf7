"""The neck chart, as text and as a drawing."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import INSTRUMENTS, SCALES, Key, RequestError, arrange, instrument_named, parse_melody
from fretpath.page.chart import Chart, chart_svg, render_chart
from fretpath.page.neck_charts import CHORDS, chord_chart, empty_chart, key_chart, melody_chart
from fretpath.page.rows import Blanks
from tests.page.melodies import barred_melodies

SVG = "{http://www.w3.org/2000/svg}"
KEYS = st.builds(Key, st.sampled_from(["C", "F#", "Bb", "E"]), st.sampled_from(sorted(SCALES)))
NECKS = st.sampled_from(sorted(INSTRUMENTS)).map(instrument_named)

# Distances from the nut in mm on a 34 in neck, computed in closed form and rounded (fret: mm);
# checked against a published 25 in table (stuphi.co.uk, "Guitar bits 'n' bobs"), scaled.
BASS_FRETS = {1: 48.47, 2: 94.22, 3: 137.40, 5: 216.63, 7: 287.22, 12: 431.80}


def parsed(svg: str) -> ElementTree.Element:
    return ElementTree.fromstring(svg)


def fret_places(root: ElementTree.Element) -> list[float]:
    return [
        float(line.get("x1")) for line in root.iter(f"{SVG}line") if line.get("class") == "fret"
    ]


@given(KEYS, NECKS, st.data())
@settings(max_examples=60, deadline=None)
def test_a_key_chart_marks_every_place_of_its_scale(key: Key, instrument, data) -> None:
    first = data.draw(st.integers(0, instrument.frets_free - 1))
    last = data.draw(st.integers(first + 1, instrument.frets_free))
    chart = key_chart(key, instrument).between(first, last)
    tonic = key.tonic_pitch(4).midi
    scale = {(tonic + up) % 12 for up in key.scale.semitones}
    wanted = {
        (string, fret): (midi - tonic) % 12 == 0
        for string in range(1, len(instrument.strings) + 1)
        for fret in range(first, last + 1)
        if (midi := instrument.midi_at(string, fret)) is not None and midi % 12 in scale
    }
    assert {(m.string, m.fret): m.tonic for m in chart.shown} == wanted


@given(
    KEYS,
    NECKS,
    st.integers(0, 11),
    st.sampled_from(["even", "neck"]),
    st.booleans(),
    st.integers(40, 120),
)
@settings(max_examples=60, deadline=None)
def test_the_text_shows_every_mark_in_width(key, instrument, first, spacing, left, width) -> None:
    chart = key_chart(key, instrument, left_handed=left).between(first, instrument.frets_free)
    text = render_chart(chart, width=width, spacing=spacing)
    assert max(len(line) for line in text.split("\n")) <= width
    body = text.split("\n\n", 1)[1]
    assert body.count("[1]") == sum(mark.tonic for mark in chart.shown)
    count = len(instrument.strings)
    for string in range(1, count + 1):
        panels = [p.split("\n") for p in body.strip("\n").split("\n\n")]
        row = "".join(re.sub(r"^[A-Ga-g][#b]?|[A-Ga-g][#b]?$", "", p[string]) for p in panels)
        words = re.findall(r"[#b]*\d", row)
        wanted = [mark.label for mark in chart.shown if mark.string == string]
        assert sorted(words) == sorted(wanted)


@given(barred_melodies(), NECKS)
@settings(max_examples=60, deadline=None)
def test_a_melody_chart_numbers_every_note_once(melody, instrument) -> None:
    try:
        arrangement = arrange(melody, instrument)
    except ValueError:
        return
    chart = melody_chart(arrangement)
    steps = {step: (mark.string, mark.fret) for mark in chart.marks for step in mark.steps}
    places = zip(arrangement.strings, arrangement.frets, strict=True)
    assert steps == dict(enumerate(places, start=1))
    moves = [
        p
        for n, p in enumerate(arrangement.positions)
        if n == 0 or p != arrangement.positions[n - 1]
    ]
    assert [position for _, position in chart.positions] == moves
    assert all(chart.first <= mark.fret <= chart.last for mark in chart.marks)


def test_frets_are_spaced_as_on_the_neck() -> None:
    places = fret_places(parsed(key_chart(Key.parse("C"), instrument_named("bass")).svg))
    assert len(places) == 13
    scale = (places[12] - places[0]) / BASS_FRETS[12]
    for fret, distance in BASS_FRETS.items():
        assert (places[fret] - places[0]) / scale == pytest.approx(distance, abs=0.02)


@given(NECKS, st.data())
@settings(max_examples=60, deadline=None)
def test_fret_lines_keep_the_proportion_on_any_stretch(instrument, data) -> None:
    last = data.draw(st.integers(2, instrument.frets_free))
    first = data.draw(st.integers(0, last - 1))
    chart = key_chart(Key.parse("C"), instrument).between(first, last)
    places = fret_places(parsed(chart.svg))
    edge = max(first - 1, 0)
    wanted = [1 - 2 ** (-fret / 12) for fret in range(edge, last + 1)]
    scale = (places[-1] - places[0]) / (wanted[-1] - wanted[0])
    for place, distance in zip(places, wanted, strict=True):
        assert place - places[0] == pytest.approx(scale * (distance - wanted[0]), abs=0.005)


def test_even_spacing_is_even() -> None:
    svg = chart_svg(key_chart(Key.parse("C"), instrument_named("guitar")), spacing="even")
    places = fret_places(parsed(svg))
    gaps = {round(b - a, 3) for a, b in pairwise(places)}
    assert len(gaps) == 1


def test_a_left_handed_drawing_is_the_mirror_image() -> None:
    arrangement = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    charts = melody_chart(arrangement), melody_chart(arrangement, left_handed=True)
    right, left = (parsed(chart.svg) for chart in charts)
    width = float(right.get("width"))
    mirrored = [pytest.approx(width - x, abs=1) for x in fret_places(right)]
    assert fret_places(left) == mirrored
    words = [text.text for text in right.iter(f"{SVG}text")]
    assert [text.text for text in left.iter(f"{SVG}text")] == words


@pytest.mark.parametrize("make", [key_chart, chord_chart])
def test_a_left_handed_chart_from_a_script_shows_itself_so(make: Callable[..., Chart]) -> None:
    right, left = make("G", "bass"), make("G", "bass", left_handed=True)
    frets = str(right).split("\n\n")[1].splitlines()[0]
    assert str(left).split("\n\n")[1].split("\n")[0].split() == frets.split()[::-1]
    assert fret_places(parsed(left.svg)) == sorted(fret_places(parsed(left.svg)), reverse=True)
    assert fret_places(parsed(right.svg)) == sorted(fret_places(parsed(right.svg)))
    assert left.between(0, 5).left_handed


def test_the_drawing_has_title_description_squares_and_circles() -> None:
    melody = parse_melody("title: <b>Bell & Buoy</b> \uffff\n\n1 5 8 9 10", key="B")
    chart = melody_chart(arrange(melody, "bass"))
    root = parsed(chart.svg)
    assert root.find(f"{SVG}title").text == "<b>Bell & Buoy</b> \ufffd on the bass"
    assert "D        |----------9--------------|" in root.find(f"{SVG}desc").text
    kinds = [part.get("class") for part in root.iter() if part.get("class") in ("tonic", "mark")]
    assert sorted(kinds) == ["mark"] * 3 + ["tonic"] * 2
    colors = {part.get(name) for part in root.iter() for name in ("fill", "stroke")}
    assert colors <= {None, "white", "black"}


def test_chord_tones_from_the_root() -> None:
    """Chord formulas are common practice; here as semitones from the root, from memory."""
    semitones = {
        "m7": {0, 3, 7, 10},
        "maj7": {0, 4, 7, 11},
        "dim7": {0, 3, 6, 9},
        "sus4": {0, 5, 7},
    }
    neck = instrument_named("guitar")
    for suffix, tones in semitones.items():
        marks = chord_chart(f"Bb{suffix}", neck).marks
        sounding = {(neck.midi_at(m.string, m.fret) - 10) % 12 for m in marks}
        assert sounding == tones
    assert {mark.label for mark in chord_chart("F#m", neck, label="note").marks} == {
        "F#",
        "A",
        "C#",
    }


def test_without_a_key_marks_carry_notes() -> None:
    chart = melody_chart(arrange(parse_melody("C2 D2 Eb2"), "bass"))
    assert chart.label == "note"
    assert {mark.label for mark in chart.marks} == {"C", "D", "Eb"}


def test_blanks_leave_their_marks_out_or_empty() -> None:
    arrangement = arrange(parse_melody("1 5 8 9 10", key="B"), "bass")
    assert melody_chart(arrangement, hide=Blanks.parse("tab")).marks == ()
    empty = melody_chart(arrangement, hide=Blanks.parse("degrees"))
    assert {(mark.label, mark.tonic) for mark in empty.marks} == {("", False)}
    unnamed = melody_chart(arrangement, label="note", hide=Blanks.parse("notes"))
    assert {mark.label for mark in unnamed.marks} == {""}
    first = melody_chart(arrangement, hide=Blanks.parse("all-but-first"))
    assert [(mark.label, mark.steps) for mark in first.marks] == [("1", (1,))]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda neck: chord_chart("Hm", neck), "unknown chord"),
        (lambda neck: chord_chart("", neck), "unknown chord"),
        (lambda neck: chord_chart("Cmajor7", neck), "did you mean"),
        (lambda neck: key_chart(Key.parse("C"), neck, label="finger"), "degree or note"),
        (lambda neck: key_chart(Key.parse("C"), neck).between(9, 5), "not 9-5"),
        (lambda neck: key_chart(Key.parse("C"), neck).between(0, 60), "frets 0 to 24"),
        (lambda neck: render_chart(key_chart(Key.parse("C"), neck), spacing="odd"), "even"),
    ],
)
def test_wrong_wishes_are_named(make, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        make(instrument_named("bass"))


def test_every_chord_has_a_root() -> None:
    assert all(tones.split()[0] == "1" for tones in CHORDS.values())


def letters(svg: str) -> list[float]:
    """Sizes of all writing, in user units."""
    return [float(text.get("font-size")) for text in parsed(svg).iter(f"{SVG}text")]


@given(NECKS, KEYS)
@settings(max_examples=40, deadline=None)
def test_writing_is_legible_at_300_and_600_pixels(instrument, key) -> None:
    """At least 9 pixels high: five frets shown 300 wide, twelve 600 wide."""
    if instrument.frets_free < 12:
        return
    for last, pixels in ((5, 300), (12, 600)):
        svg = key_chart(key, instrument).between(0, last).svg
        width = float(parsed(svg).get("width"))
        assert min(letters(svg)) * min(pixels / width, 1) >= 9


def test_the_dots_stand_under_their_frets() -> None:
    root = parsed(key_chart(Key.parse("C"), "bass").svg)
    dots = [float(dot.get("cx")) for dot in root.iter() if dot.get("class") == "dot"]
    lines = fret_places(root)
    under = [sum(line < dot for line in lines) for dot in dots]
    assert under == [3, 5, 7, 9, 12, 12]
    with_capo = parsed(
        key_chart(Key.parse("C"), instrument_named("guitar").with_changes(capo=2)).svg
    )
    dots = [float(dot.get("cx")) for dot in with_capo.iter() if dot.get("class") == "dot"]
    under = [sum(line < dot for line in fret_places(with_capo)) for dot in dots]
    assert under == [1, 3, 5, 7, 10, 10]


def test_the_short_string_of_a_banjo_begins_at_its_fifth_fret() -> None:
    root = parsed(key_chart(Key.parse("G"), "banjo").svg)
    strings = [line for line in root.iter(f"{SVG}line") if line.get("class") == "string"]
    starts = [float(line.get("x1")) for line in strings]
    assert starts[:4] == [fret_places(root)[0]] * 4
    assert starts[4] == fret_places(root)[5]
    low = parsed(key_chart(Key.parse("G"), "banjo").between(0, 5).svg)
    assert sum(line.get("class") == "string" for line in low.iter(f"{SVG}line")) == 4


@given(barred_melodies())
@settings(max_examples=40, deadline=None)
def test_a_line_with_an_arrow_follows_the_melody(melody) -> None:
    """Each way from one place to another is drawn once, and nothing else is."""
    arrangement = arrange(melody, "bass")
    places = list(zip(arrangement.strings, arrangement.frets, strict=True))
    ways = {(here, there) for here, there in pairwise(places) if here != there}
    root = parsed(melody_chart(arrangement).svg)
    kinds = [part.get("class") for part in root.iter()]
    assert kinds.count("path") == kinds.count("arrow") == len(ways)


def test_the_picture_says_what_it_shows() -> None:
    chart = melody_chart(arrange(parse_melody("title: Bell\n\n1 5 8", key="D dorian"), "bass"))
    words = " ".join(text.text for text in parsed(chart.svg).iter(f"{SVG}text"))
    assert words.startswith("Bell on the bass D Dorian; filled square: the tonic")
    chord = " ".join(text.text for text in parsed(chord_chart("Am7").svg).iter(f"{SVG}text"))
    assert "filled square: the root" in chord
    hidden = melody_chart(
        arrange(parse_melody("1 5 8", key="D dorian"), "bass"), hide=Blanks.parse("degrees")
    )
    assert "Dorian" not in hidden.svg


def test_an_empty_neck_tells_nothing() -> None:
    chart = empty_chart(instrument_named("bass"))
    assert chart.shown == ()
    assert (chart.first, chart.last) == (0, 12)
    assert "tonic" not in chart.svg


@pytest.mark.parametrize(("highest", "last"), [(None, 12), (3, 5), (5, 5), (7, 7), (20, 12)])
def test_an_empty_neck_ends_where_the_hand_may_play(highest: int | None, last: int) -> None:
    assert empty_chart(instrument_named("bass"), highest).last == last
