"""Movable patterns of scales, against an exhaustive walk over one hand.

The table is common bass-method practice (2-4 / 1-2-4 / 1-3-4 for major) and can be derived: with
one finger per fret on strings in fourths, these are all one-octave patterns inside one hand.
"""

from __future__ import annotations

import pytest

from fretpath import SCALES, instrument_named
from fretpath.neck.patterns import patterns_of
from fretpath.neck.setup import Setup

ON_FOURTHS = {
    "major": [(2, "2-4 / 1-2-4 / 1-3-4")],
    "dorian": [(4, "4 / 1-2-4 / 1-3-4 / 1")],
    "phrygian": [(1, "1-2-4 / 1-3-4 / 1-3")],
    "lydian": [(2, "2-4 / 1-3-4 / 1-3-4")],
    "mixolydian": [(2, "2-4 / 1-2-4 / 1-2-4"), (4, "4 / 1-3-4 / 1-3-4 / 1")],
    "natural minor": [(1, "1-3-4 / 1-3-4 / 1-3"), (4, "4 / 1-2-4 / 1-2-4 / 1")],
    "locrian": [(1, "1-2-4 / 1-2-4 / 1-3")],
    "harmonic minor": [(1, "1-3-4 / 1-3-4 / 2-3")],
    "melodic minor": [],
    "major pentatonic": [(2, "2-4 / 1-4 / 1-4"), (4, "4 / 1-3 / 1-3 / 1")],
    "minor pentatonic": [(1, "1-4 / 1-3 / 1-3"), (4, "4 / 2-4 / 1-4 / 1")],
    "blues": [(1, "1-4 / 1-2-3 / 1-3")],
}


@pytest.mark.parametrize("name", ON_FOURTHS)
def test_on_a_bass(name: str) -> None:
    found = patterns_of([SCALES[name]], Setup.of("bass", hand="one-finger-per-fret"))[name]
    assert [(pattern.root_finger, str(pattern)) for pattern in found] == ON_FOURTHS[name]


@pytest.mark.parametrize("name", SCALES)
@pytest.mark.parametrize("opens", ["bass", "guitar", "mandolin"])
def test_against_a_walk_over_four_frets(name: str, opens: str) -> None:
    """Fret by fret and string by string, with no search: every note inside four frets."""
    instrument = instrument_named(opens)
    sounds = [*SCALES[name].semitones, 12]
    base = instrument.open_pitches[-1].midi
    walked = set()
    for finger in (1, 2, 3, 4):
        first = 1 - finger
        frets = []
        for sound in sounds:
            places = [
                (string, base + sound - pitch.midi)
                for string, pitch in enumerate(instrument.open_pitches)
                if first <= base + sound - pitch.midi <= first + 3
            ]
            frets.append(places[0] if places else None)
        if None not in frets and frets[0] == (len(instrument.strings) - 1, 0):
            walked.add((finger, tuple(fret for _, fret in filter(None, frets))))
    found = patterns_of([SCALES[name]], Setup.of(instrument, hand="one-finger-per-fret"))[name]
    assert {(pattern.root_finger, pattern.frets) for pattern in found} == walked


def test_other_instruments_have_patterns_too() -> None:
    for name in ("ukulele", "banjo", "bass-6", "violin"):
        found = patterns_of(list(SCALES.values()), name)
        assert set(found) == set(SCALES)
        assert any(found.values())


def test_a_wide_hand_on_a_short_neck() -> None:
    """The root at fret 5 would be five frets above position 0, which does not exist."""
    found = patterns_of([SCALES["major"]], Setup.of("ukulele", hand="diatonic"))["major"]
    assert [pattern.root_finger for pattern in found] == [1, 1, 2, 2]
