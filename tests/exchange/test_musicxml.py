"""The MusicXML that is written: against the standard's schema, and as others read it."""

from __future__ import annotations

import importlib.metadata
from functools import cache
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from lxml import etree

from fretpath import (
    Arrangement,
    Melody,
    RequestError,
    UnplayableError,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.exchange.scores import open_book, score_bytes
from tests.exchange.tunes import MODES, OTHER_SCALES, melodies

TUNE = "title: Up & <down>\ntempo: 90\nmeter: 4/4\n\n5,:1/2 b7, | 1 (2 b3 #4):1/3 5 r | 8 - - 10"

# The schema imports these two names spaces by address; the attributes it uses are given here, from
# XLink 1.1 and XML 1.0 (W3C), so that nothing is fetched.
XLINK = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
 targetNamespace="http://www.w3.org/1999/xlink">
<xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
<xs:attribute name="role" type="xs:string"/><xs:attribute name="title" type="xs:string"/>
<xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
XML = """<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
 targetNamespace="http://www.w3.org/XML/1998/namespace">
<xs:attribute name="lang" type="xs:language"/><xs:attribute name="space" type="xs:string"/>
</xs:schema>"""


class _Local(etree.Resolver):
    """Answers the two addresses and nothing else."""

    def resolve(self, url: str, public_id: str, context: Any) -> Any:
        return self.resolve_string(XLINK if "xlink" in url else XML, context)


@cache
def schema() -> etree.XMLSchema:
    """MusicXML 4.0 of the W3C Community Group, as the Python package musicxml carries it."""
    files = importlib.metadata.files("musicxml") or []
    (path,) = (file for file in files if file.name == "musicxml_4_0.xsd")
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    return etree.XMLSchema(etree.fromstring(Path(str(path.locate())).read_bytes(), parser))


def validate(data: bytes) -> None:
    schema().assertValid(etree.fromstring(data))


def music21_notes(data: bytes) -> list[tuple[int, dict[str, int]]]:
    """(MIDI number, string, fret and finger) of the notes of the tab staff, as music21 has them."""
    from music21 import converter

    score = converter.parseData(data.decode(), format="musicxml").toSoundingPitch()
    part = score.parts[-1]
    found = []
    for note in part.recurse().notes:
        if "Harmony" not in note.classes and (note.tie is None or note.tie.type == "start"):
            marks: dict[str, int] = {}
            for mark in note.articulations:
                number = getattr(mark, "fingerNumber", None) or getattr(mark, "number", None)
                marks[mark.name.split()[0]] = 0 if number is None else int(number)
            found.append((note.pitch.midi, marks))
    return found


def test_the_schema_refuses_what_is_wrong() -> None:
    """The check can fail: two elements of a note in the wrong order."""
    text = score_bytes(parse_melody(TUNE, key="C"), ".musicxml").decode()
    validate(text.encode())
    wrong = text.replace("<voice>1</voice>\n    <type>eighth</type>", "<type>eighth</type>", 1)
    wrong = wrong.replace("<type>eighth</type>", "<type>eighth</type><voice>1</voice>", 1)
    with pytest.raises(etree.DocumentInvalid, match="voice"):
        validate(wrong.encode())


@settings(max_examples=20, deadline=None)
@given(melodies(places=True, scales=MODES + OTHER_SCALES, words=True))
def test_every_melody_is_valid(melody: Melody) -> None:
    validate(score_bytes(melody, ".musicxml"))


@pytest.mark.parametrize("name", ["bass", "guitar", "ukulele-concert", "mandolin", "banjo"])
def test_an_arrangement_is_valid_and_keeps_strings_frets_and_fingers(name: str) -> None:
    key = "F#" if name == "ukulele-concert" else "C"
    found = arrange(parse_melody(TUNE, key=key), instrument_named(name).with_changes(capo=1))
    data = score_bytes(found, ".musicxml")
    validate(data)
    _compare(found, data)


def _compare(found: Arrangement, data: bytes) -> None:
    notes = music21_notes(data)
    assert [midi for midi, _ in notes] == [pitch.midi for pitch in found.melody.pitches]
    assert [marks["string"] for _, marks in notes] == list(found.strings)
    assert [marks["fret"] for _, marks in notes] == list(found.frets)
    assert [marks.get("fingering", 0) for _, marks in notes] == list(found.fingers)
    again = open_book(data, "a.musicxml").tune(None).read(places=True).melody
    placed = [again.notes[event].placement for event in again.struck]
    assert [place.string for place in placed if place] == list(found.strings)
    assert [place.fret for place in placed if place] == list(found.frets)
    assert again.pitches == found.melody.pitches


@settings(max_examples=15, deadline=None)
@given(melodies(words=True))
def test_any_arrangement_keeps_strings_frets_and_fingers(melody: Melody) -> None:
    try:
        found = arrange(melody, "guitar-7")
    except UnplayableError:
        return
    _compare(found, score_bytes(found, ".musicxml"))


def _root(data: bytes) -> Any:
    return ElementTree.fromstring(data)


def test_lines_count_from_the_bottom_and_strings_from_the_top() -> None:
    """MusicXML 4.0: staff-tuning lines from bottom to top; string 1 is the highest string."""
    root = _root(score_bytes(arrange(parse_melody("E1 G2"), "bass"), ".musicxml"))
    tunings = {
        int(line.get("line")): line.findtext("tuning-step") + line.findtext("tuning-octave")
        for line in root.iter("staff-tuning")
    }
    assert tunings == {1: "E1", 2: "A1", 3: "D2", 4: "G2"}
    played = [
        (note.findtext("pitch/step"), note.findtext("notations/technical/string"))
        for note in root.iter("note")
        if note.findtext("staff") == "2"
    ]
    assert played[0] == ("E", "4")


def test_an_octave_above_its_sound_is_drawn_by_the_clef() -> None:
    """MusicXML 4.0, clef-octave-change: -1 for the small 8 under a clef; pitches stay sounding."""
    root = _root(score_bytes(arrange(parse_melody("E1 F1 G1"), "bass"), ".musicxml"))
    assert root.findtext(".//pitch/octave") == "1"
    assert root.find(".//transpose") is None
    assert [clef.findtext("clef-octave-change") for clef in root.iter("clef")] == ["-1", None]
    assert [clef.findtext("sign") for clef in root.iter("clef")] == ["F", "TAB"]
    guitar = _root(score_bytes(arrange(parse_melody("E3 G3 B3"), "guitar"), ".musicxml"))
    assert [clef.findtext("sign") for clef in guitar.iter("clef")] == ["G", "TAB"]


def test_the_tuning_is_given_without_the_capo() -> None:
    made = instrument_named("guitar").with_changes(capo=3)
    root = _root(score_bytes(arrange(parse_melody("G2"), made), ".musicxml"))
    assert root.findtext(".//staff-details/capo") == "3"
    assert root.findtext(".//staff-tuning[@line='1']/tuning-step") == "E"
    assert [note.findtext(".//fret") for note in root.iter("note")][-1] == "0"


def test_a_note_below_the_octaves_of_musicxml_is_refused_in_words() -> None:
    with pytest.raises(RequestError, match="C-1 is outside MusicXML"):
        score_bytes(parse_melody("C4 C-1 D4"), ".musicxml")
