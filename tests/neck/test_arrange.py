"""Limits, contradictions, many melodies at once, and the work shared out."""

from __future__ import annotations

from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    Arrangement,
    Hand,
    Limits,
    Melody,
    NoPathError,
    OutOfRangeError,
    RequestError,
    Start,
    UnplayableError,
    Weights,
    arrange,
    arrange_many,
    hand_named,
    instrument_named,
    parse_melody,
)
from fretpath.neck.setup import Setup
from tests.neck.test_physics import tunes

SCALE = parse_melody("key: C\noctave: 2\n\n1 2 3 4 5 6 7 8")
BASS = instrument_named("bass")


class TestLimits:
    def test_hold_a_position(self) -> None:
        assert set(arrange(SCALE, Setup.of(limits=Limits(position=7))).positions) == {7}

    def test_range_of_frets(self) -> None:
        found = arrange(
            SCALE, Setup.of(limits=Limits(lowest_fret=5, highest_fret=10, open_strings="forbid"))
        )
        assert min(found.frets) >= 5
        assert max(found.frets) <= 10

    def test_only_these_strings(self) -> None:
        assert set(arrange(SCALE, Setup.of(limits=Limits(strings=(3, 4)))).strings) <= {3, 4}

    def test_one_string_takes_the_one_on_which_it_lies_lowest(self) -> None:
        found = arrange(SCALE, Setup.of(limits=Limits(one_string=True)))
        assert len(set(found.strings)) == 1
        alone = [arrange(SCALE, Setup.of(limits=Limits(strings=(s,)))) for s in (3, 4)]
        lowest = min(alone, key=lambda one: max(one.frets))
        assert (found.frets, found.cost) == (lowest.frets, lowest.cost)

    def test_start_with_a_finger(self) -> None:
        found = arrange(SCALE, Setup.of(limits=Limits(start=Start.parse("4-8-4"))))
        first = found.fingerings[0]
        assert (first.string, first.fret, first.finger, first.position) == (4, 8, 4, 5)

    @pytest.mark.parametrize(
        ("policy", "opens"), [("forbid", 0), ("avoid", 0), ("allow", None), ("prefer", 2)]
    )
    def test_open_strings(self, policy: str, opens: int | None) -> None:
        found = arrange(SCALE, Setup.of(limits=Limits(open_strings=policy)))
        if opens is not None:
            assert found.figures.open_strings == opens

    def test_a_small_hand(self) -> None:
        small = replace(hand_named("one-finger-per-fret"), largest_span=80.0)
        found = arrange(SCALE, Setup.of(hand=small, limits=Limits(open_strings="forbid")))
        for f in found.fingerings:
            assert BASS.distance(f.fret) - BASS.distance(f.position) <= 80

    @pytest.mark.parametrize(
        ("limits", "message"),
        [
            (Limits(highest_fret=99), "highest fret is 0 to 24"),
            (Limits(lowest_fret=7, highest_fret=5), "drop one of the two"),
            (Limits(position=0), "position is 1 to 24"),
            (Limits(strings=(5,)), "no string 5"),
            (Limits(start=Start(9, 1)), "no string 9"),
        ],
    )
    def test_limits_that_make_no_sense(self, limits: Limits, message: str) -> None:
        with pytest.raises(RequestError, match=message):
            arrange(SCALE, Setup.of(limits=limits))


class TestContradictions:
    """The error says which single limit to drop."""

    @pytest.mark.parametrize(
        ("limits", "drop"),
        [
            (Limits(position=7, start=Start(3, 3)), ["--position 7", "--start 3-3"]),
            (Limits(no_shift=True, highest_fret=12, strings=(3,)), ["--no-shift", "--strings 3"]),
            (Limits(highest_fret=2, open_strings="forbid"), ["--highest-fret 2"]),
        ],
    )
    def test_names_the_limit(self, limits: Limits, drop: list[str]) -> None:
        with pytest.raises(UnplayableError) as refused:
            arrange(SCALE, Setup.of(limits=limits))
        assert any(f"Drop {limit}:" in str(refused.value) for limit in drop)

    def test_a_placement_and_a_limit(self) -> None:
        with pytest.raises(UnplayableError, match="drop the placement or the limit"):
            arrange(parse_melody("1@4-8", key="C"), Setup.of(limits=Limits(highest_fret=5)))

    def test_a_placement_and_another_start(self) -> None:
        with pytest.raises(RequestError, match="placed at @4-8 and the start asked for is 3-3"):
            arrange(parse_melody("1@4-8", key="C"), Setup.of(limits=Limits(start=Start(3, 3))))

    def test_the_step_that_cannot_be_taken(self) -> None:
        with pytest.raises(NoPathError, match=r"from note 1 \(1, C2\) to note 2 \(13, A3\)"):
            arrange(
                parse_melody("key: C\noctave: 2\n\n1 13"),
                Setup.of(limits=Limits(no_shift=True, open_strings="forbid", highest_fret=16)),
            )


class TestMany:
    @given(st.lists(tunes(most=9), min_size=1, max_size=6), st.booleans())
    def test_the_same_as_one_by_one(self, melodies: list[Melody], octave_free: bool) -> None:
        melodies = [replace(tune, octave_free=octave_free) for tune in melodies]
        assert arrange_many(melodies, "bass-5") == [arrange(tune, "bass-5") for tune in melodies]

    def test_an_instrument_for_each(self) -> None:
        names = ["bass", "ukulele", "bass", "mandolin"]
        tune = replace(SCALE, octave_free=True)
        found = arrange_many([tune] * 4, names)
        assert [a.instrument.name for a in found if isinstance(a, Arrangement)] == names
        assert found == [arrange(tune, name) for name in names]

    def test_the_first_error_is_named(self) -> None:
        low = parse_melody("octave: 0\n\n1")
        with pytest.raises(OutOfRangeError, match="melody 2 of 3: 1 note has no place"):
            arrange_many([SCALE, low, low])

    def test_errors_can_stand_in_their_place(self) -> None:
        low = parse_melody("octave: 0\n\n1")
        found = arrange_many([SCALE, low, SCALE], unplayable="return")
        assert [type(answer) for answer in found] == [Arrangement, OutOfRangeError, Arrangement]

    def test_as_many_instruments_as_melodies(self) -> None:
        with pytest.raises(RequestError, match="3 melodies but 2 instruments"):
            arrange_many([SCALE] * 3, ["bass", "guitar"])

    def test_hardest_step_first(self) -> None:
        found = arrange_many([SCALE, SCALE], Setup.of(objective="hardest"))
        assert found == [arrange(SCALE, Setup.of(objective="hardest"))] * 2

    @pytest.mark.parametrize("pool", [ThreadPoolExecutor, ProcessPoolExecutor])
    def test_shared_out(self, pool: type[Executor]) -> None:
        many = [_walk(n) for n in range(1, 90)]
        with pool(2) as executor:  # type: ignore[call-arg]
            assert arrange_many(many, executor=executor) == arrange_many(many)

    @pytest.mark.filterwarnings("ignore")
    def test_shared_out_beyond_one_machine(self) -> None:
        """A Dask client on a local cluster stands for a cluster of machines."""
        distributed = pytest.importorskip(
            "distributed", reason="dask[distributed] is not installed"
        )
        many = [_walk(n) for n in range(1, 40)]
        with (
            distributed.LocalCluster(
                n_workers=1, threads_per_worker=2, processes=False, dashboard_address=None
            ) as cluster,
            distributed.Client(cluster) as client,
        ):
            assert arrange_many(many, executor=client.get_executor()) == arrange_many(many)


def _walk(n: int) -> Melody:
    """A tune of n notes up and down the scale."""
    words = [str(1 + abs((i * n) % 14 - 7)) for i in range(n)]
    return parse_melody("key: G\n\n" + " ".join(words))


class TestHands:
    def test_one_two_four_below_the_change_over(self) -> None:
        found = arrange(SCALE, Setup.of(hand="one-two-four", limits=Limits(open_strings="forbid")))
        low = [f for f in found.fingerings if f.position < 6]
        assert 3 not in {f.finger for f in low}

    def test_a_change_over_of_ones_own(self) -> None:
        assert hand_named("one-two-four:3").change_over == 3
        with pytest.raises(RequestError, match="no change-over"):
            hand_named("extended:3")

    def test_a_hand_of_ones_own(self) -> None:
        mine = hand_named("12.4")
        assert isinstance(mine, Hand)
        found = arrange(SCALE, Setup.of(hand=mine, limits=Limits(open_strings="forbid")))
        assert {f.finger for f in found.fingerings} <= {1, 2, 4}

    def test_unknown(self) -> None:
        with pytest.raises(RequestError, match='did you mean "one-two-four"'):
            hand_named("one-two-for")

    def test_weights_have_names(self) -> None:
        assert Weights().set("shift=2,open=0").shift == 2
        with pytest.raises(RequestError, match='did you mean "shift"'):
            Weights().set("shfit=2")
        with pytest.raises(RequestError, match="needs a number"):
            Weights().set("shift=far")


def test_a_melody_wider_than_the_neck_is_measured_from_the_middle_of_the_neck() -> None:
    """Five octaves on E1 to G4: from C0, 16 + 5 semitones stick out; from C1 it would be 4 + 17."""
    with pytest.raises(OutOfRangeError) as caught:
        arrange(parse_melody("1 36", key="C"))
    assert "note 1 (1, C0): 16 semitones below the lowest string" in str(caught.value)
    assert "note 2 (36, C5): 5 semitones above the last fret" in str(caught.value)
    assert "spans 60 semitones" in str(caught.value)
