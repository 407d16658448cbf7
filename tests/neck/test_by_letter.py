"""Fingers that follow letters, and positions that have numbers: violin family, mandolin, basses.

The search is held against every path, with the fingers told by a rule written down once more here:
letters from the open string to the note, less the letters below the index finger.
"""

from __future__ import annotations

import itertools

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    Arrangement,
    Instrument,
    Limits,
    Melody,
    Note,
    Pitch,
    RequestError,
    Setup,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.neck.arrangement import position_sign, position_words
from fretpath.neck.hand import LETTER_FRETS, States
from fretpath.neck.lattice import lattice
from fretpath.neck.terms import note_parts, step_parts
from fretpath.neck.ways import reasons
from fretpath.neck.ways import ways as ways_to_play
from fretpath.page.rows import render_spoken

BY_LETTER = ("violin", "viola", "mandolin", "octave-mandolin", "mandola", "banjo-tenor-irish")
MAJOR = "G D A C F Bb Eb Ab E B Db Gb F#".split()
Way = tuple[int, int, int, int, bool]
"""Fret, position, string, finger, extended: in this order ties are settled."""


def first_position(found: Arrangement) -> list[str]:
    """String-fret.finger of each note."""
    assert set(found.positions) == {2}
    return [f"{f.string}-{f.fret}.{f.finger}" for f in found.fingerings]


def letters_up(neck: Instrument, string: int, pitch: Pitch) -> int:
    """Letters from an open string up to a pitch."""
    return pitch.staff - neck.open_pitches[string - 1].staff


@pytest.mark.parametrize("name", BY_LETTER)
@pytest.mark.parametrize("key", MAJOR)
def test_scales_in_first_position_have_a_finger_for_each_letter(name: str, key: str) -> None:
    limits = Limits(position=2)
    neck = instrument_named(name)
    octave = 4 if neck.open_pitches[-1].midi >= 55 else 3
    melody = parse_melody("1 2 3 4 5 6 7 8", key=key).in_octave(octave)
    found = arrange(melody, Setup.of(name, limits=limits))
    for pitch, one in zip(melody.pitches, found.fingerings, strict=True):
        up = letters_up(neck, one.string, pitch)
        assert one.finger == (0 if one.fret == 0 else min(up, 4) or 1)


# Common practice: first position on the violin, open strings where they lie in the scale.
@pytest.mark.parametrize(
    ("key", "fingers"),
    [
        ("G", "0 1 2 3 0 1 2 3"),
        ("D", "0 1 2 3 0 1 2 3"),
        ("A", "1 2 3 0 1 2 3 0"),
        ("Bb", "2 3 0 1 2 3 0 1"),
        ("C", "3 0 1 2 3 0 1 2"),
        ("F", "2 3 0 1 2 3 0 1"),
    ],
)
@pytest.mark.parametrize("name", ["violin", "mandolin"])
def test_scales_as_beginners_learn_them(name: str, key: str, fingers: str) -> None:
    found = arrange(parse_melody("1 2 3 4 5 6 7 8", key=key), name)
    assert " ".join(map(str, found.fingers)) == fingers
    assert set(found.positions) == {2}


def test_one_fret_has_two_fingers() -> None:
    sharp, flat = (arrange(parse_melody(f"D4 {note} D4"), "violin") for note in ("D#4", "Eb4"))
    assert (sharp.frets[1], sharp.fingers[1]) == (flat.frets[1], flat.fingers[1]) == (1, 1)
    sharp, flat = (arrange(parse_melody(f"D4 {note} D4"), "violin") for note in ("F#4", "Gb4"))
    assert (sharp.frets[1], sharp.fingers[1]) == (4, 2)
    assert (flat.frets[1], flat.fingers[1]) == (4, 3)


def ways(setup: Setup, pitch: Pitch) -> list[Way]:
    """Every way to play a note, by the rule of letters."""
    neck = setup.instrument
    found: list[Way] = []
    for string, fret in neck.places_of(pitch.midi):
        up = letters_up(neck, string, pitch)
        for index, position in enumerate(LETTER_FRETS, start=1):
            if position > neck.frets_free:
                continue
            if fret == 0:
                found.append((0, position, string, 0, False))
                continue
            finger = up - index + 1
            far = finger == 5
            finger = 1 if index == 1 and up == 0 else min(finger, 4 if finger <= 5 else 9)
            off = abs(fret - 12 * up / 7)
            if 1 <= finger <= 4 and off < 3:
                found.append((fret, position, string, finger, far or off > 1.8))
    return sorted(found)


def column(way: Way, pitch: Pitch) -> States:
    """One state by itself."""
    fret, position, string, finger, extended = way
    whole = (np.array([number]) for number in (string, fret, position, finger))
    return States(*whole, np.array([extended]), np.array([pitch.midi]))


def cost(setup: Setup, path: tuple[Way, ...], pitches: tuple[Pitch, ...]) -> int:
    """The prices of a path, added up."""
    neck, prices = setup.instrument, setup.prices
    states = [column(way, pitch) for way, pitch in zip(path, pitches, strict=True)]
    parts = [note_parts(neck, state, prices) for state in states]
    parts += [step_parts(neck, *pair, prices) for pair in itertools.pairwise(states)]
    return sum(int(amount[0]) for part in parts for amount in part.values())


def tunes() -> st.SearchStrategy[Melody]:
    """Two to four notes, G3 to A5, sharps and flats among them."""
    pitch = st.builds(
        Pitch.spelled, st.sampled_from("CDEFGAB"), st.integers(-1, 1), st.integers(4, 5)
    )
    return st.lists(pitch, min_size=2, max_size=4).map(
        lambda pitches: Melody(tuple(Note(pitch) for pitch in pitches))
    )


@pytest.mark.parametrize("name", ["violin", "mandolin"])
def test_the_path_is_the_best_of_all(name: str) -> None:
    setup = Setup.of(instrument_named(name).with_changes(frets=9), repeats="free")

    @given(tunes().filter(lambda tune: all(ways(setup, pitch) for pitch in tune.pitches)))
    def check(tune: Melody) -> None:
        layers = [ways(setup, pitch) for pitch in tune.pitches]
        best, path = min(
            (cost(setup, path, tune.pitches), path) for path in itertools.product(*layers)
        )
        found = arrange(tune, setup)
        assert found.cost == best
        assert [(f.fret, f.position, f.string, f.finger) for f in found.fingerings] == [
            way[:4] for way in path
        ]
        graph = lattice(tune, setup)
        assert nx.shortest_path_length(graph, "start", "end", weight="total") == best

    check()


@given(st.sampled_from(BY_LETTER), st.data())
def test_every_note_on_the_neck_can_be_played(name: str, data: st.DataObject) -> None:
    neck = instrument_named(name)
    low, high = neck.range
    pitch = data.draw(
        st.builds(
            Pitch.spelled,
            st.sampled_from("CDEFGAB"),
            st.integers(-2, 2),
            st.integers(low // 12 - 1, high // 12 - 1),
        ).filter(lambda pitch: low <= pitch.midi <= high)
    )
    found = arrange(Melody((Note(pitch),)), name)
    assert neck.midi_at(found.strings[0], found.frets[0]) == pitch.midi


class TestPositions:
    """Numbers of positions: common practice of the violin family and of the double bass."""

    @pytest.mark.parametrize(
        ("name", "signs"),
        [
            ("violin", "half I II II III III IV V V VI VI VII"),
            ("mandolin", "half I II II III III IV V V VI VI VII"),
            ("double-bass", "half I II II-III III III-IV IV V V-VI VI VI-VII VII"),
            ("bass", "I II III IV V VI VII VIII IX X XI XII"),
        ],
    )
    def test_signs(self, name: str, signs: str) -> None:
        neck = instrument_named(name)
        assert " ".join(position_sign(neck, fret) for fret in range(1, 13)) == signs

    def test_every_position_has_a_sign_and_words(self) -> None:
        for name in (*BY_LETTER, "cello", "double-bass", "bass"):
            neck = instrument_named(name)
            for fret in range(1, neck.frets + 1):
                assert position_sign(neck, fret)
                assert "position" in position_words(neck, fret)
        assert position_words(instrument_named("double-bass"), 4) == (
            "between second and third position"
        )

    def test_letters_count_on_from_the_first(self) -> None:
        violin = instrument_named("violin")
        signs = [position_sign(violin, fret) for fret in LETTER_FRETS[:7]]
        assert signs == "I II III IV V VI VII".split()

    def test_the_page_says_first_position(self) -> None:
        found = arrange(parse_melody("1 2 3 4 5", key="D"), "violin")
        assert "first position" in render_spoken(found)


@given(tunes())
def test_reasons_add_up_to_the_effort(tune: Melody) -> None:
    found = arrange(tune, Setup.of("violin", repeats="free"))
    told = sum(sum(reason.parts.values()) for reason in reasons(found))
    assert told == pytest.approx(found.effort, abs=1e-6)
    assert len(ways_to_play(tune, "violin", 2)) >= 1


def test_a_position_that_no_letter_has_is_refused() -> None:
    with pytest.raises(RequestError, match=r"position 4: .* 5 \(third\)"):
        Setup.of("violin", limits=Limits(position=4))
    found = arrange(parse_melody("G4 A4 B4"), Setup.of("violin", limits=Limits(position=5)))
    assert found.fingers == (1, 2, 3)
