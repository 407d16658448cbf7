"""Finding keys: the profiles, the spelling of the tonic, the modes, and when to keep quiet."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import Interval, Key, RequestError, parse_melody
from fretpath.music.keyfinding import _PROFILES, ENOUGH, KeyGuess, _with_mode, find_key, in_key
from tests.strategies import melodies

TUNES = sorted((Path(__file__).parents[2] / "demo_melodies").glob("*.txt"))


def guess(letters: str) -> KeyGuess:
    return find_key(parse_melody(letters))


def test_profiles_are_those_of_music21() -> None:
    """D. Temperley's Kostka-Payne profiles, as music21.analysis.discrete carries them."""
    from music21.analysis import discrete

    theirs = discrete.TemperleyKostkaPayne()
    assert list(_PROFILES["major"]) == theirs.getWeights("major")
    assert list(_PROFILES["natural minor"]) == theirs.getWeights("minor")


def test_scores_are_correlations_and_a_bonus_for_the_last_note() -> None:
    """Against numpy's correlation."""
    import numpy as np

    melody = parse_melody("D4 G4:2 A4 B4:3/2 C5 D5 E5:1/2 F#5 G5")
    heard = np.zeros(12)
    for pitch, beats in zip(melody.pitches, melody.lengths, strict=True):
        heard[pitch.midi % 12] += float(beats)
    for found in find_key(melody).candidates:
        tonic = found.key.tonic_pitch(4).midi % 12
        profile = _PROFILES[found.key.mode]
        expected = np.corrcoef(np.roll(heard, -tonic), profile)[0, 1]
        expected += 0.15 if found.key.tonic == "G" else 0.0
        assert found.score == pytest.approx(expected)


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
        assert str(guess(dorian).best.key) == "D natural minor"

    def test_not_named_when_the_sixth_never_sounds(self) -> None:
        assert guess("D4:2 E4 F4 G4 A4:2 C5 D5:2 A4 F4 D4:2").key.mode == "natural minor"

    def test_not_named_when_no_third_sounds(self) -> None:
        melody = parse_melody("D4:2 E4 G4 A4 B4 C5 A4 G4 E4 D4:2")
        minor = Key("D", "natural minor")
        assert _with_mode(melody, minor) == minor
        assert _with_mode(parse_melody("D4:2 F4 G4 A4 B4 C5 A4 D4:2"), minor) == Key("D", "dorian")


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
        assert find_key(melody).best.key == key

    @pytest.mark.parametrize("tonic", "Cb Gb Db F# C#".split())
    def test_is_the_same_however_long_a_beat_is(self, tonic: str) -> None:
        slow = parse_melody("1:8 2:8 3:8 4:8 5:8 6:8 7:8 8:8", key=tonic)
        quick = parse_melody("1:1/8 2:1/8 3:1/8 4:1/8 5:1/8 6:1/8 7:1/8 8:1/8", key=tonic)
        assert find_key(slow).candidates == find_key(quick).candidates
        assert find_key(slow).best.key == Key(tonic, "major")


class TestHowSure:
    def test_short_phrases_are_offered_and_not_decided(self) -> None:
        fifteen = guess("C4 E4 G4 " * 5)
        sixteen = guess("C4 E4 G4 " * 5 + "C4")
        assert (fifteen.notes, fifteen.enough) == (ENOUGH - 1, False)
        assert (sixteen.notes, sixteen.enough) == (ENOUGH, True)

    def test_a_melody_of_rests_has_no_key(self) -> None:
        with pytest.raises(RequestError, match="only rests"):
            guess("r r")

    @given(melodies(placed=False))
    def test_beliefs_are_shares_in_order(self, melody) -> None:  # type: ignore[no-untyped-def]
        if not melody.pitches:
            return
        found = find_key(melody)
        assert len(found.candidates) == 24
        assert sum(c.confidence for c in found.candidates) == pytest.approx(1)
        scores = [c.score for c in found.candidates]
        assert scores == sorted(scores, reverse=True)
        assert found.runner_up.confidence <= found.best.confidence

    @given(
        st.lists(st.sampled_from("C4 D4 E4 F4 G4 A4 B4 C5".split()), min_size=4, max_size=20),
        st.sampled_from(["m2", "M2", "m3", "M3", "P4", "P5", "-M2", "-P4"]),
    )
    def test_moving_the_notes_moves_the_key(self, names: list[str], by: str) -> None:
        melody = parse_melody(" ".join(names))
        moved = melody.transposed(Interval.parse(by))
        here, there = find_key(melody).best, find_key(moved).best
        same_mode = here.key.mode == there.key.mode
        rivals = [c for c in find_key(melody).candidates if c.score > here.score - 1e-9]
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
