"""Pages that ``tab`` prints, read back: places always, the whole melody or a word about it."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fretpath import (
    FretpathError,
    Melody,
    arrange,
    format_melody,
    instrument_named,
    parse_melody,
)
from fretpath.neck.line import without_places
from fretpath.page.captions import LEGENDS
from fretpath.page.tab import SPACINGS, TAB_ROWS, render_tab
from fretpath.page.tab_reading import TabReading, read_tab
from tests import strategies
from tests.exchange import tunes

NAMES = ("guitar-7", "guitar", "bass-6", "bass", "banjo", "ukulele", "mandolin", "violin")


@st.composite
def pages(draw: st.DrawFn, *, usual: bool) -> tuple[str, Melody, list[tuple[int, int]], bool]:
    """A page as ``tab`` prints it: the text, the melody, its places, and if tuning is shown."""
    melody = draw(tunes.melodies() | strategies.melodies(placed=False))
    made = instrument_named(draw(st.sampled_from(NAMES)))
    made = made.with_changes(capo=draw(st.integers(0, 5)))
    if draw(st.booleans()):
        made = made.with_changes(tuning=" ".join(map(str, reversed(made.open_pitches))), capo=0)
    try:
        found = arrange(replace(melody, octave_free=True), made)
    except FretpathError:
        found = arrange(parse_melody("1 2 3:1/2 4:1/2 5", key="D"), made)
    rows = st.lists(st.sampled_from(TAB_ROWS), unique=True)
    options = {} if usual else {"rows": draw(rows), "legend": draw(st.sampled_from(LEGENDS))}
    width, spacing = draw(st.integers(40, 160)), draw(st.sampled_from(SPACINGS))
    page = render_tab(found, width=width, spacing=spacing, **options)  # type: ignore[arg-type]
    places = list(zip(found.strings, found.frets, strict=True))
    return page, found.melody, places, options.get("legend") != "none"


def told(reading: TabReading) -> bool:
    """Whether the reader says that something is not known."""
    return any(remark.kind in ("guessed", "rounded", "doubt") for remark in reading.remarks)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(pages(usual=False))
def test_every_page_is_read_to_the_same_places_and_pitches(
    drawn: tuple[str, Melody, list[tuple[int, int]], bool],
) -> None:
    page, melody, places, tuned = drawn
    reading = read_tab(page)
    assert [(n.string, n.fret) for moment in reading.moments for n in moment] == places
    if [p.midi for p in reading.melody.pitches] != [p.midi for p in melody.pitches]:
        assert not tuned
        assert told(reading)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(pages(usual=True))
def test_a_usual_page_gives_its_melody_back_or_says_what_it_does_not_tell(
    drawn: tuple[str, Melody, list[tuple[int, int]], bool],
) -> None:
    page, melody, places, _ = drawn
    reading = read_tab(page)
    assert [(n.string, n.fret) for moment in reading.moments for n in moment] == places
    again = reading.melody
    assert [str(pitch) for pitch in again.pitches] == [str(pitch) for pitch in melody.pitches]
    assert (again.title, again.tempo) == (" ".join(melody.title.split()), melody.tempo)
    assert (again.key, again.key and again.octave) == (melody.key, melody.key and melody.octave)
    assert told(reading) or _music(again) == _music(melody)


def _music(melody: Melody) -> list[object]:
    """All that a page tells; where a last bar could be full nothing tells that it is not."""
    notes = [(note.pitch, note.beats, note.tied) for note in melody.notes]
    last = melody.bars[-1] if melody.bars else 0
    meter = melody.meter_at(len(melody) - 1)
    if meter and sum(note.beats for note in melody.notes[last:]) <= meter.beats:
        pitch, _, tied = notes[-1]
        notes[-1] = (pitch, meter.beats - sum(beats for _, beats, _ in notes[last:-1]), tied)
    return [notes, melody.bars, melody.keys, melody.meters, melody.repeats]


def test_a_tune_of_the_music_room_comes_back_whole_and_without_a_doubt() -> None:
    head = "title: Capo 3 blues\nkey: D dorian\nmeter: 3/4\ntempo: 92\n\n"
    tune = parse_melody(head + "5, | 1:3/2 2:1/2 b3 | r 4:3/2 b7:1/2 | 1:3")
    page = render_tab(arrange(tune, instrument_named("guitar").with_changes(capo=2)), width=44)
    reading = read_tab(page)
    assert reading.remarks == ()
    assert reading.instrument.capo == 2
    again = without_places(reading.melody).in_octave(tune.octave)
    again = replace(again, phrases=(), octave_free=True)
    assert format_melody(again) == format_melody(tune)
