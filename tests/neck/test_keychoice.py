"""Which key suits the hand: the ranking against one search at a time, and the open strings."""

from __future__ import annotations

from dataclasses import fields, replace

import pytest

from fretpath import Key, Limits, RequestError, UnplayableError, Weights, arrange, instrument_named
from fretpath import parse_melody as parse
from fretpath.neck.keychoice import open_strings_in, rank_keys
from fretpath.neck.setup import Setup

TUNE = parse("title: Five Steps\nkey: G major\n\n1 2 3 5 | 8 5 3 1")

# Open strings of a bass that belong to each major key; counted by hand from the scales.
ON_BASS = {
    "C": 4, "G": 4, "D": 4, "F": 4, "A": 3, "Bb": 3, "Eb": 2, "E": 2, "Ab": 1, "B": 1, "Db": 0,
    "Gb": 0,
}  # fmt: skip


@pytest.mark.parametrize(("tonic", "count"), ON_BASS.items())
def test_open_strings_that_belong_to_the_key(tonic: str, count: int) -> None:
    assert len(open_strings_in(Key(tonic, "major"), instrument_named("bass"))) == count


def test_with_a_capo_the_strings_sound_higher() -> None:
    guitar = instrument_named("guitar").with_changes(capo=2)
    assert open_strings_in(Key("D", "major"), guitar) == ("F#", "B", "E", "A", "C#", "F#")


@pytest.mark.parametrize("name", ["bass", "ukulele", "mandolin"])
def test_the_ranking_is_that_of_single_searches(name: str) -> None:
    choices = rank_keys(TUNE, name)
    low, high = instrument_named(name).range
    assert len(choices) == high - 12 - low + 1
    for choice in choices:
        alone = arrange(choice.arrangement.melody, name)
        assert alone.cost == choice.arrangement.cost
        assert alone.frets == choice.arrangement.frets
        assert choice.arrangement.melody.degrees == TUNE.degrees
    eases = [
        choice.arrangement.effort + choice.arrangement.figures.widest_stretch for choice in choices
    ]
    assert eases == sorted(eases)


def test_of_keys_as_easy_the_one_with_fewer_signs_goes_first_sharps_or_flats() -> None:
    """Without prices one note is as easy in every key."""
    free = Weights(**{field.name: 0.0 for field in fields(Weights)})
    choices = rank_keys(parse("1", key="C"), Setup.of("bass", weights=free))
    assert {choice.ease for choice in choices} == {0.0}
    assert {choice.key.signature for choice in choices} >= {-5, -1, 0, 1, 5}
    order = [(abs(choice.key.signature), choice.arrangement.melody.tonic) for choice in choices]
    assert order == sorted(order)


def test_every_octave_that_fits_is_there() -> None:
    low, high = instrument_named("bass").range
    found = {choice.arrangement.melody.pitches[0].midi for choice in rank_keys(TUNE, "bass")}
    assert found == set(range(low, high - 12 + 1))


@pytest.mark.parametrize(("octave", "lowest", "highest"), [(1, 28, 35), (2, 36, 47), (3, 48, 55)])
def test_one_octave_only(octave: int, lowest: int, highest: int) -> None:
    """The tune spans an octave on a neck from 28 (E1) to 67 (G4)."""
    choices = rank_keys(TUNE, "bass", octave=octave)
    assert {choice.arrangement.melody.octave for choice in choices} == {octave}
    tonics = {choice.arrangement.melody.pitches[0].midi for choice in choices}
    assert {lowest, highest} <= tonics <= {*range(lowest - 1, highest + 1)}


def test_wishes_apply() -> None:
    limits = Limits(no_shift=True, highest_fret=5, open_strings="forbid")
    for choice in rank_keys(TUNE, Setup.of("bass", limits=limits)):
        assert choice.arrangement.figures.shifts == 0
        assert 1 <= min(choice.arrangement.frets) <= max(choice.arrangement.frets) <= 5


def test_a_reason_in_words() -> None:
    best = rank_keys(TUNE, Setup.of("bass", limits=Limits(position=2, open_strings="forbid")))
    by_key = {choice.key.tonic: choice.reason for choice in best}
    assert by_key["G"] == (
        "position II, no shift; widest stretch 122 mm; 1 sharp; "
        "every open string belongs to the key"
    )


def test_a_later_key_moves_along() -> None:
    tune = parse("key: G major\n\n1 3 5\nkey: G minor\n1 b3 5")
    for choice in rank_keys(tune, "bass"):
        keys = [key for _, key in choice.arrangement.melody.keys]
        assert keys == [Key(keys[0].tonic, "major"), Key(keys[0].tonic, "natural minor")]


def test_places_asked_for_move_with_the_key() -> None:
    asked = parse("1@4-3 5", key="G")
    for choice in rank_keys(asked, "bass"):
        up = choice.arrangement.melody.pitches[0].midi - instrument_named("bass").range[0]
        if up <= instrument_named("bass").frets:
            assert (choice.arrangement.strings[0], choice.arrangement.frets[0]) == (4, up)


def test_no_key_and_no_place() -> None:
    with pytest.raises(RequestError, match="no key is given"):
        rank_keys(parse("C2 E2"), "bass")
    with pytest.raises(UnplayableError):
        rank_keys(parse("1 22 1", key="C"), Setup.of("ukulele", limits=Limits(position=1)))
    with pytest.raises(UnplayableError):
        rank_keys(parse("1 42", key="C"), "ukulele")


def test_only_keys_of_few_sharps_or_flats() -> None:
    choices = rank_keys(TUNE, Setup.of("bass", limits=Limits(accidentals=1)))
    assert {abs(choice.key.signature) for choice in choices} <= {0, 1}
    everywhere = [choice for choice in rank_keys(TUNE, "bass") if abs(choice.key.signature) <= 1]
    assert list(choices) == [
        replace(choice, arrangement=replace(choice.arrangement, setup=choices[0].arrangement.setup))
        for choice in everywhere
    ]
    with pytest.raises(RequestError, match="0 to 7 sharps or flats, not 8"):
        Setup.of("bass", limits=Limits(accidentals=8))


def test_accidentals_are_named_where_they_leave_out_the_keys() -> None:
    """Below fret 5 of a ukulele (C4 to D5) this lies in F minor only, of four flats."""
    tune = parse("key: G minor\n\n5, 1 b3 5 6 1")
    few = Limits(highest_fret=5, accidentals=2)
    with pytest.raises(UnplayableError) as problem:
        rank_keys(tune, Setup.of("ukulele", limits=few))
    says = "no key within --accidentals 2 can be played here, but F natural minor (4 flats) can; "
    assert str(problem.value).startswith(f"{says}in G natural minor: ")
    assert "fretpath keys" not in str(problem.value)
    [choice] = rank_keys(tune, Setup.of("ukulele", limits=replace(few, accidentals=4)))
    assert str(choice.key) == "F natural minor"
    with pytest.raises(UnplayableError, match=r"^no key can be played here; in G nat"):
        rank_keys(tune, Setup.of("ukulele", limits=replace(few, highest_fret=4)))


def test_a_closed_hand_goes_before_a_saved_open_string() -> None:
    """A key whose hand spans much less wins over one that is a little cheaper."""
    choices = rank_keys(TUNE, Setup.of("bass", limits=Limits(highest_fret=9)))
    cheapest = min(choices, key=lambda choice: choice.arrangement.cost)
    first = choices[0].arrangement
    assert first.figures.widest_stretch <= cheapest.arrangement.figures.widest_stretch
    assert f"widest stretch {first.figures.widest_stretch:.0f} mm" in choices[0].reason


def test_a_reach_leaves_out_the_keys_that_ask_for_more() -> None:
    small = replace(Setup.of("bass").hand, largest_span=80.0)
    for choice in rank_keys(TUNE, Setup.of("bass", hand=small)):
        for f in choice.arrangement.fingerings:
            if f.fret:
                neck = choice.arrangement.instrument
                assert neck.distance(f.fret) - neck.distance(f.position) <= 80.0
