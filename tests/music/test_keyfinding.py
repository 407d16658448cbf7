"""Finding keys: the profiles, the spelling of the tonic, the modes, and when to keep quiet."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Interval, Key, Melody, Note, Pitch, RequestError, parse_melody
from fretpath.music.keyfinding import (
    COMMON,
    DEGREES,
    ENOUGH,
    FEW,
    FIRST,
    LAST,
    KeyGuess,
    find_key,
    in_key,
    respell,
)
from tests.strategies import melodies

TUNES = sorted((Path(__file__).parents[2] / "demo_melodies").glob("*.txt"))


def guess(letters: str) -> KeyGuess:
    return find_key(parse_melody(letters))


def test_confidence_is_the_softmax_of_the_evidence() -> None:
    """Against numpy, from the tables and by another route."""
    import numpy as np

    melody = parse_melody("D4 G4:2 A4 B4:3 C5 D5 E5 F#5 G5")
    heard = np.zeros(12)
    for pitch, beats in zip(melody.pitches, melody.lengths, strict=True):
        heard[pitch.midi % 12] += float(beats)
    rows = np.log1p(heard)
    found = find_key(melody).candidates
    assert len(found) == 72
    scores = {}
    for candidate in found:
        tonic = candidate.key.tonic_pitch(4).midi % 12
        expected = np.roll(rows, -tonic) @ np.array(DEGREES[candidate.key.mode])
        expected += COMMON[candidate.key.mode]
        expected += {"G": LAST["1"]}.get(candidate.key.tonic, 0.0)
        minor = "b3" in candidate.key.scale.names
        expected += LAST["3"] * ((7 - tonic) % 12 == (3 if minor else 4))
        first = (2 - tonic) % 12
        expected += {0: FIRST["1"], 7: FIRST["5"], 3 if minor else 4: FIRST["3"]}.get(first, 0.0)
        assert candidate.score == pytest.approx(expected)
        scores[candidate.key] = np.exp(expected)
    for candidate in found:
        share = scores[candidate.key] / sum(scores.values())
        assert candidate.confidence == pytest.approx(share)


def test_the_tonic_weighs_most_in_every_mode() -> None:
    """So that more of the tonic never speaks against it."""
    assert {weights[0] for weights in DEGREES.values()} == {0.0}
    assert max(weight for weights in DEGREES.values() for weight in weights) == 0.0
    assert LAST["1"] > 2 * LAST["3"] > 0


@pytest.mark.parametrize("path", TUNES, ids=lambda path: path.stem)
def test_our_own_tunes_without_their_key(path: Path) -> None:
    """Given as letters, every tune of the Music Room gets its tonic and its third back."""
    told = parse_melody(path.read_text(encoding="utf-8"))
    found = find_key(told).key
    assert told.key
    assert found.tonic == told.key.tonic
    assert ("b3" in found.scale.names) == ("b3" in told.key.scale.names)


class TestMode:
    def test_named_when_the_notes_decide_it(self) -> None:
        dorian = "D4:2 E4 F4 G4 A4:2 B4 A4 C5 D5 A4 G4 F4 E4 D4:2 A4 B4 A4 D4:2"
        assert str(guess(dorian).key) == "D dorian"
        assert guess(dorian).confidence > guess(dorian).best.confidence

    def test_not_named_when_the_sixth_never_sounds(self) -> None:
        assert guess("D4:2 E4 F4 G4 A4:2 C5 D5:2 A4 F4 D4:2").key.mode == "natural minor"

    def test_the_raised_seventh_of_minor_is_minor(self) -> None:
        assert str(guess("A4 B4 C5 D5 E5 F5 E5 D5 C5 B4 G#4 A4").key) == "A natural minor"

    @pytest.mark.parametrize(
        ("letters", "deciding"),
        [
            ("D4 E4 F4 A4 G4 F4 E4 D4", "Bb for D natural minor, B for D dorian"),
            ("C4 D4 E4 G4 A4 G4 E4 C4", "Bb for C mixolydian, B for C major"),
        ],
    )
    def test_says_what_would_decide(self, letters: str, deciding: str) -> None:
        said = guess(letters).deciding
        assert set(said.split(", ")) == set(deciding.split(", "))


class TestSpellingOfTheTonic:
    def test_far_keys_are_spelled_on_the_side_of_the_notes(self) -> None:
        flat = find_key(parse_melody("1 2 3 4 5 6 7 8", key="F"))
        sharp = find_key(parse_melody("1 2 3 4 5 6 7 8", key="G"))
        assert "Gb major" in [str(found.key) for found in flat.candidates]
        assert "F# major" in [str(found.key) for found in sharp.candidates]

    @pytest.mark.parametrize("tonic", "Cb Gb Db Ab Eb Bb F C G D A E B F# C#".split())
    @pytest.mark.parametrize("mode", ["major", "natural minor"])
    def test_follows_the_notes(self, tonic: str, mode: str) -> None:
        key = Key(tonic, mode)
        if abs(key.signature) > 7:
            return
        third = "b3" if mode == "natural minor" else "3"
        melody = parse_melody(f"1:2 {third} 5 8:2 5 4 {third} 2 1:3", key=key)
        assert find_key(melody).key == key

    @pytest.mark.parametrize("tonic", "Cb Gb Db F# C#".split())
    def test_is_the_same_however_long_a_beat_is(self, tonic: str) -> None:
        slow = parse_melody("1:8 2:8 3:8 4:8 5:8 6:8 7:8 8:8", key=tonic)
        quick = parse_melody("1:1/8 2:1/8 3:1/8 4:1/8 5:1/8 6:1/8 7:1/8 8:1/8", key=tonic)
        assert find_key(slow).candidates == find_key(quick).candidates
        assert find_key(slow).best.key == Key(tonic, "major")


class TestHowSure:
    def test_short_phrases_are_offered_and_not_decided(self) -> None:
        fifteen = guess("C4 D4 G4 " * 5)
        sixteen = guess("C4 D4 G4 " * 5 + "C4")
        assert (fifteen.notes, fifteen.enough) == (ENOUGH - 1, False)
        assert (sixteen.notes, sixteen.enough) == (ENOUGH, True)

    def test_few_notes_that_are_sure_are_used(self) -> None:
        seven, eight = guess("G4 A4 B4 F#4 A4 B4 G4"), guess("G4 A4 B4 C5 D5 F#4 A4 G4")
        assert (seven.notes, seven.enough) == (FEW - 1, False)
        assert (str(eight.key), eight.enough) == ("G major", True)

    @given(melodies(placed=False), st.integers(1, 4))
    def test_more_of_the_tonic_at_the_end_never_makes_it_less_sure(
        self, melody: Melody, count: int
    ) -> None:
        """Whatever is asked of: the best key and all its rivals on their own tonic.

        The melody ends on that tonic already: a first one may take from the key what a third at
        the end says for it, and give as much to a rival whose third the tonic is.
        """
        if not melody.pitches:
            return
        melody = Melody(melody.notes)
        usual = min(Counter(melody.lengths).items(), key=lambda pair: (-pair[1], pair[0]))[0]
        for key in [c.key for c in find_key(melody).candidates[:6]]:
            tonic = key.tonic_near(melody.pitches[-1])
            before, after = (
                {
                    (c.key.tonic_pitch(4).midi % 12, c.key.mode): c.confidence
                    for c in find_key(
                        replace(melody, notes=(*melody.notes, *[Note(tonic, usual)] * times))
                    ).candidates
                }
                for times in (1, 1 + count)
            )
            name = (tonic.midi % 12, key.mode)
            assert after[name] >= before[name] - 1e-9

    def test_a_melody_of_rests_has_no_key(self) -> None:
        with pytest.raises(RequestError, match="only rests"):
            guess("r r")

    @given(melodies(placed=False))
    def test_beliefs_are_shares_in_order(self, melody: Melody) -> None:
        if not melody.pitches:
            return
        found = find_key(melody)
        assert sum(c.confidence for c in found.candidates) == pytest.approx(1)
        scores = [c.score for c in found.candidates[1:]]
        assert scores == sorted(scores, reverse=True)
        assert found.best.confidence <= found.confidence <= 1 + 1e-9

    @given(
        st.lists(st.sampled_from("C4 D4 E4 F4 G4 A4 B4 C5".split()), min_size=4, max_size=20),
        st.sampled_from(["m2", "M2", "m3", "M3", "P4", "P5", "-M2", "-P4"]),
    )
    def test_moving_the_notes_moves_the_key(self, names: list[str], by: str) -> None:
        melody = parse_melody(" ".join(names))
        moved = melody.transposed(Interval.parse(by))
        here, there = find_key(melody).best, find_key(moved).best
        same_mode = here.key.mode == there.key.mode
        rivals = [c for c in find_key(melody).candidates if c.score > here.score - 0.5]
        if len(rivals) == 1:
            tonic = here.key.tonic_pitch(4).midi + Interval.parse(by).semitones
            assert same_mode
            assert there.key.tonic_pitch(4).midi % 12 == tonic % 12
            assert there.confidence == pytest.approx(here.confidence)


def test_notes_under_a_found_key_keep_their_pitch() -> None:
    melody = parse_melody("D4 G4 B4 G5")
    keyed = in_key(melody, Key("G", "major"))
    assert keyed.pitches == melody.pitches
    assert [str(degree) for degree in keyed.degrees] == ["5,", "1", "3", "8"]


class TestSpellingAgain:
    def test_the_leading_note_of_minor(self) -> None:
        flat = [Note(Pitch.from_midi(sound)) for sound in (69, 68, 69, 76, 68, 64, 69)]
        names = [p.name for p in respell(Melody(tuple(flat)), Key.parse("A minor")).pitches]
        assert names == ["A", "G#", "A", "E", "G#", "E", "A"]

    @given(melodies(placed=False), st.sampled_from(["C", "Am", "F#m", "Bb", "Db", "E dorian"]))
    def test_sounds_stay_and_every_letter_is_within_reach(self, melody: Melody, name: str) -> None:
        if not melody.pitches:
            return
        key = Key.parse(name)
        again = respell(melody, key)
        assert [p.midi for p in again.pitches] == [p.midi for p in melody.pitches]
        assert again.lengths == melody.lengths
        assert all(-6 <= pitch.fifths - key.fifths <= 9 for pitch in again.pitches)

    def test_direction_decides(self) -> None:
        sounds = [60, 61, 62, 61, 60, 68, 69, 68, 67, 63, 64, 70, 71]
        notes = tuple(Note(Pitch.from_midi(sound)) for sound in sounds)
        names = [p.name for p in respell(Melody(notes), Key.parse("C")).pitches]
        assert names == "C C# D Db C G# A Ab G D# E Bb B".split()
