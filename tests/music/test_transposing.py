"""Moving melodies: by intervals, to keys, by frets, and into other modes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import SCALES, Interval, Key, Melody, Placement, RequestError, parse_melody
from fretpath.music.transposing import transpose_melody, usual_tonic, way_to
from tests.strategies import keys, melodies

INTERVALS = [
    Interval.parse(sign + name)
    for name in "P1 m2 M2 A2 m3 M3 P4 A4 d5 P5 m6 M6 d7 m7 M7 P8 m9 M10".split()
    for sign in ("", "-")
]


class TestByInterval:
    @given(melodies(placed=False), st.sampled_from(INTERVALS))
    def test_there_and_back(self, melody: Melody, interval: Interval) -> None:
        try:
            moved = melody.transposed(interval)
        except RequestError:
            return  # a tonic with three accidentals has no key
        assert moved.degrees == melody.degrees
        assert moved.transposed(-interval) == melody

    @pytest.mark.parametrize("interval", INTERVALS, ids=str)
    def test_every_interval_against_music21(self, interval: Interval) -> None:
        from music21 import interval as m21_interval
        from music21 import pitch as m21_pitch

        melody = parse_melody("G4 A4 Bb4 C5 D5 Eb5 F#5", key="G harmonic minor")
        theirs = m21_interval.Interval(interval.name)
        if interval.descending:
            theirs = m21_interval.Interval(f"{interval.name[0]}-{interval.name[1:]}")
        for before, after in zip(
            melody.pitches, transpose_melody(melody, by=interval).melody.pitches, strict=True
        ):
            expected = m21_pitch.Pitch(str(before).replace("b", "-")).transpose(theirs)
            assert (after.letter, after.alter, after.octave) == (
                expected.step,
                expected.alter,
                expected.octave,
            )

    def test_asked_for_places_move_along_their_string(self) -> None:
        melody = parse_melody("1@4-3 5@3-5 8@3", key="G")
        moved = transpose_melody(melody, by="M2").melody
        assert [note.placement for note in moved.notes] == [
            Placement(4, 5),
            Placement(3, 7),
            Placement(3),
        ]
        down = transpose_melody(melody, by="-P4").melody
        assert [note.placement for note in down.notes] == [None, Placement(3, 0), Placement(3)]


class TestToKey:
    @given(st.sampled_from("C G D A E B F# Db Ab Eb Bb F".split()), keys(most=1))
    def test_the_shorter_way(self, tonic: str, key: Key) -> None:
        way = way_to(key, tonic)
        assert -6 < way.semitones <= 6
        assert (key.tonic_pitch(4) + way).name == tonic

    @given(melodies(placed=False), st.sampled_from("C Db D Eb F# Bb".split()))
    def test_degrees_stay(self, melody: Melody, tonic: str) -> None:
        if melody.key is None:
            with pytest.raises(RequestError, match="no key is given"):
                transpose_melody(melody, to=tonic)
            return
        try:
            moved = transpose_melody(melody, to=tonic).melody
        except RequestError:
            return  # a later key would need three accidentals
        assert moved.key
        assert (moved.key.tonic, moved.key.mode) == (tonic, melody.key.mode)
        assert moved.degrees == melody.degrees

    def test_respelled_by_letters(self) -> None:
        tune = parse_melody("1 b3 #4 5", key="G")
        names = [p.name for p in transpose_melody(tune, to="Db").melody.pitches]
        assert names == ["Db", "Fb", "G", "Ab"]

    def test_key_and_mode_at_once(self) -> None:
        moved = transpose_melody(parse_melody("1 3 5 7", key="C"), to="A minor")
        assert [str(d) for d in moved.melody.degrees] == ["1", "b3", "5", "b7"]
        assert moved.changed == (1, 3)
        assert str(moved.interval) == "-m3"

    @pytest.mark.parametrize("to", ["H", "A superb", "Z minor", "loud"])
    def test_nonsense_is_refused(self, to: str) -> None:
        with pytest.raises(RequestError, match="unknown"):
            transpose_melody(parse_melody("1 3 5", key="C"), to=to)

    def test_exactly_one_measure(self) -> None:
        tune = parse_melody("1", key="C")
        for measures in ({}, {"to": "A", "by": 2}):
            with pytest.raises(RequestError, match="say one of"):
                transpose_melody(tune, **measures)  # type: ignore[arg-type]


class TestByFrets:
    @given(keys(most=1), st.integers(-24, 24))
    def test_so_many_semitones_in_the_simplest_key(self, key: Key, frets: int) -> None:
        tune = parse_melody("1", key=key)
        moved = transpose_melody(tune, by=frets).melody
        assert moved.pitches[0].midi - tune.pitches[0].midi == frets
        assert moved.key
        rivals = [
            abs(Key(letter + mark, key.mode).signature)
            for letter in "CDEFGAB"
            for mark in ("", "#", "b")
            if Key(letter + mark, key.mode).tonic_pitch(0).midi % 12
            == moved.key.tonic_pitch(0).midi % 12
        ]
        assert abs(moved.key.signature) == min(rivals)

    @pytest.mark.parametrize(("key", "name"), [("G major", "F#"), ("F major", "Gb")])
    def test_six_sharps_or_six_flats_by_the_side_one_comes_from(self, key: str, name: str) -> None:
        assert usual_tonic(6, Key.parse(key)) == name

    def test_too_far(self) -> None:
        with pytest.raises(RequestError, match="at most 36 frets"):
            transpose_melody(parse_melody("1", key="C"), by=40)


class TestMode:
    def test_major_to_its_parallel_minor(self) -> None:
        moved = transpose_melody(parse_melody("1 2 3 #4 5 6 7 8 - 3", key="D"), to="natural minor")
        degrees = [str(d) for d in moved.melody.degrees]
        assert degrees == ["1", "2", "b3", "#4", "5", "b6", "b7", "8", "b3"]
        assert moved.changed == (2, 5, 6, 8)
        assert str(moved.melody.key) == "D natural minor"

    def test_a_note_held_on_changes_with_its_beginning(self) -> None:
        moved = transpose_melody(parse_melody("1 3 - | - 5", key="G"), to="minor pentatonic").melody
        assert [str(note.pitch) for note in moved.notes] == ["G4", "Bb4", "Bb4", "Bb4", "D5"]

    @pytest.mark.parametrize("there", ["natural minor", "dorian", "phrygian", "lydian", "locrian"])
    @pytest.mark.parametrize("here", ["major", "mixolydian", "harmonic minor"])
    def test_there_and_back_on_the_scale(self, here: str, there: str) -> None:
        tune = parse_melody(" ".join(SCALES[here].names), key=Key("Eb", here))
        moved = transpose_melody(tune, to=there)
        assert tuple(str(d) for d in moved.melody.degrees) == SCALES[there].names
        assert transpose_melody(moved.melody, to=here).melody == tune

    @given(melodies(placed=False), st.sampled_from(list(SCALES)))
    def test_numbers_and_lengths_stay(self, melody: Melody, mode: str) -> None:
        if melody.key is None:
            return
        moved = transpose_melody(melody, to=mode)
        assert moved.melody.lengths == melody.lengths
        for number, (old, new) in enumerate(zip(melody.degrees, moved.melody.degrees, strict=True)):
            assert old is not None
            assert new is not None
            assert old.steps == new.steps
            assert (old != new) == (number in moved.changed)


@given(keys(most=1), st.sampled_from("C G D A E B F# Db Ab Eb Bb F".split()))
def test_a_bare_tonic_keeps_the_mode_wherever_it_is_asked_for(key: Key, tonic: str) -> None:
    text = f"key: {key}\n\n{' '.join(key.scale.names)}"
    asked, moved = parse_melody(text, key=tonic), transpose_melody(parse_melody(text), to=tonic)
    assert asked.key == moved.melody.key == Key(tonic, key.mode)
    assert asked.degrees == moved.melody.degrees
    assert moved.changed == ()
