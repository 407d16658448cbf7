"""What is written comes back: melody -> file -> melody, and the same read by others."""

from __future__ import annotations

import io
from dataclasses import replace
from fractions import Fraction

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Melody, RequestError, arrange, format_melody, parse_melody
from fretpath.exchange.note_values import in_note_values, note_values, quarters
from fretpath.exchange.scores import FORMATS, open_book, score_bytes
from tests.exchange.tunes import MODES, OTHER_SCALES, melodies

SOME = settings(max_examples=25, deadline=None)


def read_back(data: bytes, name: str, **wishes: object) -> Melody:
    return open_book(data, name).tune(None).read(**wishes).melody  # type: ignore[arg-type]


def sounds(melody: Melody) -> list[tuple[int, Fraction, Fraction]]:
    """(MIDI number, onset, length) of every struck note, in quarter notes."""
    lengths = quarters(melody)
    found: list[tuple[int, Fraction, Fraction]] = []
    now = Fraction(0)
    for note, length in zip(melody.notes, lengths, strict=True):
        if note.struck and note.pitch:
            found.append((note.pitch.midi, now, length))
        elif note.tied:
            midi, start, before = found[-1]
            found[-1] = (midi, start, before + length)
        now += length
    return found


@SOME
@given(melodies(places=True, scales=MODES + OTHER_SCALES, words=True))
def test_musicxml_gives_the_melody_back(melody: Melody) -> None:
    written = in_note_values(melody)
    again = read_back(score_bytes(melody, ".musicxml"), "m.musicxml", places=True)
    assert again == written
    assert sounds(written) == sounds(melody)


@SOME
@given(melodies(words=True))
def test_compressed_musicxml_holds_the_same(melody: Melody) -> None:
    plain = read_back(score_bytes(melody, ".musicxml"), "m.musicxml")
    assert read_back(score_bytes(melody, ".mxl"), "m.mxl") == plain


@SOME
@given(melodies(places=True, scales=MODES + OTHER_SCALES, words=True))
def test_melody_text_gives_the_melody_back(melody: Melody) -> None:
    has_octave = bool(melody.keys) or any(note.pitch for note in melody.notes)
    assert has_octave
    again = parse_melody(score_bytes(melody, ".txt").decode())
    assert sounds(again) == sounds(melody)
    assert again.notes == melody.notes
    assert format_melody(again) == format_melody(melody)


@SOME
@given(melodies(scales=MODES + OTHER_SCALES, words=True))
def test_abc_gives_the_melody_back(melody: Melody) -> None:
    """All but the strings and frets, and repeats that ABC writes out, which is said."""
    again = read_back(score_bytes(melody, ".abc"), "m.abc")
    assert sounds(again.expanded()) == sounds(melody.expanded())
    if list(FORMATS[".abc"].lost(melody)):
        melody = melody.expanded()
    written = in_note_values(melody)
    if not melody.phrases:
        assert not again.phrases
    assert replace(again, title="") == replace(written, title="", notes=again.notes)
    assert again.pitches == written.pitches
    assert again.title == (melody.title or "untitled")


@SOME
@given(melodies(words=True))
def test_midi_keeps_pitches_and_lengths_for_another_reader(melody: Melody) -> None:
    """mido, a MIDI library that shares no code with the writer or with music21."""
    file = mido.MidiFile(file=io.BytesIO(score_bytes(melody, ".mid")))
    now, begun = 0, {}
    found: list[tuple[int, Fraction, Fraction]] = []
    for message in file.tracks[0]:
        now += message.time
        if message.type == "note_on":
            begun[message.note] = now
        elif message.type == "note_off":
            start = begun.pop(message.note)
            ticks = file.ticks_per_beat
            found.append((message.note, Fraction(start, ticks), Fraction(now - start, ticks)))
    assert not begun
    assert found == sounds(melody.expanded())


@SOME
@given(melodies(scales=MODES + OTHER_SCALES, words=True))
def test_midi_gives_the_melody_back(melody: Melody) -> None:
    """All but chord names, strings and frets, and the spelling of notes outside the key."""
    again = read_back(score_bytes(melody, ".mid"), "m.mid")
    played = melody.expanded()
    assert sounds(again) == sounds(played)
    assert [key for _, key in again.keys] == [key for _, key in played.keys]
    assert (again.headers, again.octave_free) == (melody.headers, melody.octave_free)
    assert [word for _, word in again.lyrics] == [word for _, word in played.lyrics]
    assert again.title == melody.title
    said = {str(remark) for remark in FORMATS[".mid"].lost(melody)}
    assert any("chords" in text for text in said) == bool(melody.chords)
    assert any("repeats" in text for text in said) == bool(melody.repeats)


def test_midi_has_the_program_and_the_sounding_octave() -> None:
    """General MIDI Level 1: 34 is the electric bass, 33 on the wire; B1 is 35."""
    found = arrange(parse_melody("tempo: 90\n\n1 5 8", key="B"), "bass")
    file = mido.MidiFile(file=io.BytesIO(score_bytes(found, ".mid")))
    messages = {message.type: message for message in reversed(file.tracks[0])}
    assert messages["program_change"].program == 33
    assert messages["note_on"].note == 35
    assert round(mido.tempo2bpm(messages["set_tempo"].tempo)) == 90
    assert messages["key_signature"].key == "B"


def test_a_pickup_survives_musicxml_abc_and_midi() -> None:
    melody = parse_melody("meter: 3/4\noctave: 3\n\n5,:1/2 7,:1/2 | 1 3 5 | 8 5 3 | 1:2", key="G")
    for ending in (".musicxml", ".abc", ".mid"):
        again = read_back(score_bytes(melody, ending), "m" + ending)
        assert again.has_pickup, ending
        assert again.meters == melody.meters
        assert again.bars == melody.bars
        assert again.pitches == melody.pitches


@given(st.fractions(Fraction(1, 32), 64, max_denominator=40))
@settings(deadline=None)
def test_note_values_add_up(length: Fraction) -> None:
    try:
        values = note_values(length)
    except RequestError:
        odd = length.denominator
        while odd % 2 == 0:
            odd //= 2
        assert odd > 15
        return
    assert sum(value.length for value in values) == length
    assert all(value.dots <= 2 for value in values)


@pytest.mark.parametrize(
    ("length", "written"),
    [
        ("1", [("quarter", 0, 1)]),
        ("3/2", [("quarter", 1, 1)]),
        ("7/4", [("quarter", 2, 1)]),
        ("5/4", [("quarter", 0, 1), ("16th", 0, 1)]),
        ("1/3", [("eighth", 0, 3)]),
        ("2/3", [("quarter", 0, 3)]),
        ("4/5", [("quarter", 0, 5)]),
    ],
)
def test_note_values_by_name(length: str, written: list[tuple[str, int, int]]) -> None:
    """Dots and tuplets as any theory text has them (common practice)."""
    found = [(value.name, value.dots, value.actual) for value in note_values(Fraction(length))]
    assert found == written


def test_a_length_without_a_note_value_is_named() -> None:
    melody = parse_melody("1 2:1/17 3")
    with pytest.raises(RequestError, match=r"note 2.*1/17"):
        score_bytes(melody, ".musicxml")


def test_abc_changes_of_key_and_meter_keep_their_place() -> None:
    text = "X:1\nM:4/4\nL:1/4\nK:G\nG A B c | d4 |\nM:3/4\n[K:Gloc]G A B | c3- | c3 |]\n"
    melody = read_back(text.encode(), "m.abc")
    assert [(at, str(key)) for at, key in melody.keys] == [(0, "G major"), (5, "G locrian")]
    assert [(at, str(meter)) for at, meter in melody.meters] == [(0, "4/4"), (5, "3/4")]
    assert " ".join(map(str, melody.pitches)) == "G4 A4 B4 C5 D5 G4 Ab4 Bb4 C5"


def test_the_same_bytes_every_time() -> None:
    melody = replace(parse_melody("1 2 3"), title="Same")
    for ending in (".musicxml", ".mxl", ".mid", ".abc", ".txt"):
        assert score_bytes(melody, ending) == score_bytes(melody, ending)
