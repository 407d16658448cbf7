"""Does the shape move?  The claim is true exactly when all frets differ by one constant."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    Instrument,
    Interval,
    Limits,
    RequestError,
    UnplayableError,
    arrange,
    instrument_named,
)
from fretpath import parse_melody as parse
from fretpath.neck.instrument import String
from fretpath.neck.keychoice import shape_move, transpose
from fretpath.neck.setup import Setup

SHORT = st.lists(st.sampled_from("1 2 b3 3 4 5 6 b7 7 8 9 10".split()), min_size=1, max_size=8)
FRETTED = Limits(open_strings="forbid")


@given(SHORT, st.sampled_from(["m2", "M2", "m3", "M3", "P4", "-m2", "-M2", "-m3"]))
def test_tune_and_open_strings_moved_together_keep_every_fret(degrees: list[str], by: str) -> None:
    interval = Interval.parse(by)
    bass = instrument_named("bass")
    tune = parse(" ".join(degrees), key="G")
    here = arrange(tune, bass)
    there = arrange(here.melody.transposed(interval), retuned(bass, interval))
    assert (there.frets, there.strings, there.fingers) == (here.frets, here.strings, here.fingers)


def retuned(instrument: Instrument, interval: Interval) -> Instrument:
    strings = tuple(String(s.open + interval, s.nut) for s in instrument.strings)
    return replace(instrument, strings=strings)


@given(SHORT, st.integers(-7, 7), st.sampled_from(["bass", "guitar", "ukulele"]))
def test_the_claim_is_true_exactly_when_the_frets_say_so(
    degrees: list[str], frets: int, name: str
) -> None:
    tune = parse(" ".join(degrees), key="A")
    try:
        moved = transpose(tune, name, by=frets)
    except UnplayableError:
        return
    if moved.before is None:  # off the neck as it is
        assert moved.shape_frets is None
        return
    pairs = zip(moved.before.fingerings, moved.after.fingerings, strict=True)
    steps = {(b.string - a.string, b.fret - a.fret) for a, b in pairs}
    constant = len(steps) == 1 and steps <= {(0, frets)}
    assert (moved.shape_frets is not None) == constant
    if constant:
        assert moved.shape_frets == frets
    assert moved.after.melody.degrees == moved.written.degrees


def test_a_fretted_shape_moves_with_the_key() -> None:
    """1 5 8 9 10 in B lies at E7 A9 D9 G6 G8 on bass; in A the same shape two frets lower."""
    tune = parse("1 5 8 9 10", key="B")
    moved = transpose(tune, Setup.of("bass", limits=FRETTED), to="A")
    assert moved.shape_frets == -2
    assert moved.after.frets == (5, 7, 7, 4, 6)
    assert str(moved.interval) == "-M2"


def test_two_strings_swapped_are_no_moved_shape() -> None:
    here = arrange(parse("1@4-5 8@2-7", key="A"), "bass")
    there = arrange(parse("1@4-7 8@3-14", key="B"), "bass")
    assert shape_move(here, there) is None
    assert shape_move(here, arrange(parse("1@4-7 8@2-9", key="B"), "bass")) == 2


def test_another_instrument_and_its_own_hand() -> None:
    moved = transpose(parse("1@4-3 3 5 8", key="G"), "bass", onto="guitar")
    assert moved.after.instrument.name == "guitar"
    assert moved.after.hand.name == instrument_named("guitar").hand
    assert moved.after.melody.degrees == moved.written.degrees


def test_another_mode_marks_what_changed() -> None:
    moved = transpose(parse("1 3 5 6 8", key="G"), "bass", to="minor")
    assert moved.changed == (1, 3)
    assert str(moved.after.melody.key) == "G natural minor"


def test_by_moves_from_the_octave_it_is_played_in() -> None:
    tune = parse("1 3 5 8", key="G")
    moved = transpose(tune, "bass", by="P5")
    assert moved.written.tonic
    assert moved.after.melody.tonic == moved.written.tonic + Interval.parse("P5")


def test_off_the_neck_says_what_would_fit() -> None:
    with pytest.raises(UnplayableError, match="no place on the bass"):
        transpose(parse("1 5 8", key="G"), "bass", by="-P15")


@pytest.mark.parametrize("move", [{"to": "F"}, {"by": "-M2"}, {"onto": "guitar"}])
@pytest.mark.parametrize("octave", ["", "4"])
def test_a_tune_off_the_neck_moves_all_the_same(move: dict[str, str], octave: str) -> None:
    """A ukulele goes to A5; 10 is B5 in G and A5 in F."""
    tune = parse("1 3 5 10", key="G") if not octave else parse("1 10 3", key="G").in_octave(4)
    with pytest.raises(UnplayableError):
        arrange(tune, "ukulele")
    moved = transpose(tune, "ukulele", **move)  # type: ignore[arg-type]
    assert (moved.before, moved.shape_frets) == (None, None)
    assert moved.written == tune
    assert moved.after.melody.degrees == tune.degrees
    assert str(moved.interval) == ("P1" if "onto" in move else "-M2")
    with pytest.raises(UnplayableError, match="a shape is kept only"):
        transpose(tune, "ukulele", **move, shape="keep")  # type: ignore[arg-type]


def test_limits_hold_for_the_new_key_only() -> None:
    """E1 lies only on the open string; a key without open strings is asked for."""
    tune = parse("1 2 3 5", key="E").in_octave(1)
    moved = transpose(tune, Setup.of("bass", limits=FRETTED), to="G")
    assert moved.before
    assert moved.before.frets[0] == 0
    assert 0 not in moved.after.frets


class TestShape:
    """Whether the shape moves along the neck as it is."""

    @given(st.integers(-7, 12))
    def test_kept_means_the_same_strings_and_frets_moved_alike(self, by: int) -> None:
        tune = parse("1 5 8 9 10", key="B")
        frets = arrange(tune, "bass").frets
        if min(frets) + by < 0:
            with pytest.raises(UnplayableError, match="meets the nut"):
                transpose(tune, "bass", by=by, shape="keep")
            assert transpose(tune, "bass", by=by, shape="either").after.frets
            return
        moved = transpose(tune, "bass", by=by, shape="keep")
        assert moved.shape_frets == by
        assert [pitch.midi for pitch in moved.after.melody.pitches] == [
            pitch.midi + by for pitch in moved.written.pitches
        ]
        assert transpose(tune, "bass", by=by, shape="either") == moved

    def test_a_word_that_is_none(self) -> None:
        with pytest.raises(RequestError, match="a shape is keep, refinger, either"):
            transpose(parse("1 5"), "bass", by=1, shape="hold")  # type: ignore[arg-type]
