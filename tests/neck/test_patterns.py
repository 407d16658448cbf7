"""The shapes every bass teacher draws: one octave of a scale under one still hand.

One finger per fret, tuned in fourths, no open strings, the lowest note on the lowest string.
That these fingers are right is common practice; that no others fit is proved here by trying all.
"""

from __future__ import annotations

import itertools
from dataclasses import fields, replace

import pytest

from fretpath import (
    SCALES,
    Arrangement,
    Degree,
    Limits,
    UnplayableError,
    Weights,
    arrange,
    instrument_named,
    parse_melody,
)
from fretpath.neck.setup import Setup
from fretpath.neck.terms import usual_weights

# Fingers string by string, lowest first; a scale may have two such shapes.
PATTERNS = {
    "major": ["2-4 / 1-2-4 / 1-3-4"],
    "dorian": ["4 / 1-2-4 / 1-3-4 / 1"],
    "phrygian": ["1-2-4 / 1-3-4 / 1-3"],
    "lydian": ["2-4 / 1-3-4 / 1-3-4"],
    "mixolydian": ["2-4 / 1-2-4 / 1-2-4", "4 / 1-3-4 / 1-3-4 / 1"],
    "natural minor": ["1-3-4 / 1-3-4 / 1-3", "4 / 1-2-4 / 1-2-4 / 1"],
    "locrian": ["1-2-4 / 1-2-4 / 1-3"],
    "harmonic minor": ["1-3-4 / 1-3-4 / 2-3"],
    "major pentatonic": ["2-4 / 1-4 / 1-4", "4 / 1-3 / 1-3 / 1"],
    "minor pentatonic": ["1-4 / 1-3 / 1-3", "4 / 2-4 / 1-4 / 1"],
    "blues": ["1-4 / 1-2-3 / 1-3"],
}
SHAPES = [(name, shape) for name, shapes in PATTERNS.items() for shape in shapes]
# C2 to C3 on four strings in fourths.
SHAPES_WITHIN_FOUR_FRETS = {"A3 A5 D2 D3 D5 G2 G4 G5", "E8 E10 A7 A8 A10 D7 D9 D10"}
ROOT = 8
"""Fret of the root on the lowest string: C, in the middle of the neck."""
FRETTED = Limits(open_strings="forbid")


def scale_text(name: str) -> str:
    """One octave of a scale upwards, the root placed on the lowest string."""
    root, *others = SCALES[name].names
    return f"key: C {name}\noctave: 2\n\n{root}@4-{ROOT} {' '.join(others)} 8"


def fingers_by_string(arrangement: Arrangement) -> str:
    """``2-4 / 1-2-4 / 1-3-4``: the fingers, a slash where the hand goes to another string."""
    notes = zip(arrangement.strings, arrangement.fingers, strict=True)
    return " / ".join(
        "-".join(str(finger) for _, finger in group)
        for _, group in itertools.groupby(notes, key=lambda note: note[0])
    )


def shapes_that_fit(name: str) -> list[str]:
    """Every way to play one octave inside four frets of a neck in fourths, by arithmetic alone."""
    semitones = [*SCALES[name].semitones, 12]
    found = []
    for finger in (1, 2, 3, 4):
        ways = [
            [(string, up - 5 * string) for string in range(4) if 1 <= finger + up - 5 * string <= 4]
            for up in semitones
        ]
        for path in itertools.product(*ways):
            if path[0] == (0, 0):
                groups = itertools.groupby(path, key=lambda place: place[0])
                found.append(" / ".join("-".join(str(finger + f) for _, f in g) for _, g in groups))
    return found


class TestMovablePatterns:
    @pytest.mark.parametrize("name", PATTERNS)
    def test_these_shapes_fit_and_no_others(self, name: str) -> None:
        assert sorted(shapes_that_fit(name)) == sorted(PATTERNS[name])

    @pytest.mark.parametrize("name", PATTERNS)
    def test_are_what_the_hand_chooses(self, name: str) -> None:
        found = arrange(parse_melody(scale_text(name)), Setup.of("bass", limits=FRETTED))
        assert fingers_by_string(found) in PATTERNS[name]
        assert found.figures.shifts == 0

    @pytest.mark.parametrize(("name", "shape"), SHAPES)
    def test_each_is_found_from_its_position(self, name: str, shape: str) -> None:
        position = ROOT - int(shape[0]) + 1
        limits = Limits(open_strings="forbid", position=position)
        found = arrange(parse_melody(scale_text(name)), Setup.of("bass", limits=limits))
        assert fingers_by_string(found) == shape
        assert found.positions == (position,) * len(found)

    @pytest.mark.parametrize(("name", "shape"), SHAPES)
    def test_each_fits_from_no_position_of_another_shape(self, name: str, shape: str) -> None:
        firsts = {int(other[0]) for other in PATTERNS[name]}
        for finger in {1, 2, 3, 4} - firsts:
            limits = Limits(open_strings="forbid", position=ROOT - finger + 1)
            with pytest.raises(UnplayableError):
                arrange(parse_melody(scale_text(name)), Setup.of("bass", limits=limits))
        assert int(shape[0]) in firsts

    def test_on_a_guitar_the_two_high_strings_lie_a_fret_higher(self) -> None:
        # Between G and B lies a major third, so each shape is drawn a fret higher there (common
        # practice).
        text = "key: Bb major\noctave: 3\n\n1@4-8 2 3 4 5 6 7 8"
        fourths = arrange(parse_melody(text), Setup.of("guitar-fourths", limits=FRETTED))
        assert fingers_by_string(fourths) == "2-4 / 1-2-4 / 1-3-4"
        guitar = instrument_named("guitar")
        for pitch, string, fret in zip(
            fourths.melody.pitches, fourths.strings, fourths.frets, strict=True
        ):
            assert guitar.midi_at(string, fret + (string <= 2)) == pitch.midi


PRICES = [field.name for field in fields(Weights) if getattr(Weights(), field.name) is not None]


class TestSmallChangesOfAPrice:
    """A tenth more or less of any price does not flip the answers on which teachers agree."""

    @pytest.fixture(
        params=itertools.product(PRICES, (0.9, 1.1)), ids=lambda change: f"{change[0]} {change[1]}"
    )
    def weights(self, request: pytest.FixtureRequest) -> Weights:
        name, factor = request.param
        return replace(Weights(), **{name: factor * getattr(Weights(), name)})

    def test_one_five_octave_ninth_tenth(self, weights: Weights) -> None:
        found = arrange(
            parse_melody("key: B major\n\n1 5 8 9 10"), Setup.of("bass", weights=weights)
        )
        assert (found.frets, found.fingers) == ((7, 9, 9, 6, 8), (2, 4, 4, 1, 3))

    def test_movable_patterns(self, weights: Weights) -> None:
        for name, shapes in PATTERNS.items():
            found = arrange(
                parse_melody(scale_text(name)), Setup.of("bass", limits=FRETTED, weights=weights)
            )
            assert fingers_by_string(found) in shapes

    @pytest.mark.parametrize("key", ["A", "Bb", "B", "C", "Db"])
    def test_an_octave_of_a_major_scale(self, weights: Weights, key: str) -> None:
        scale = parse_melody(f"key: {key}\n\n1 2 3 4 5 6 7 8")
        found = arrange(scale, Setup.of("bass", limits=FRETTED, weights=weights))
        assert fingers_by_string(found) == "2-4 / 1-2-4 / 1-3-4"


class TestOpenPosition:
    """The first scale of every beginner's book, among the open strings (common practice)."""

    @pytest.mark.parametrize(
        ("name", "key", "places", "fingers"),
        [
            ("guitar", "C", "A3 D0 D2 D3 G0 G2 B0 B1", "30230201"),
            ("ukulele", "C", "C0 C2 E0 E1 E3 A0 A2 A3", "02013023"),
            ("mandolin", "G", "G0 G2 G4 G5 D0 D2 D4 D5", "01230123"),
            ("violin", "D", "D0 D2 D4 D5 A0 A2 A4 A5", "01230123"),
            ("bass", "G", "E3 A0 A2 A3 D0 D2 D4 G0", "30230240"),
        ],
    )
    def test_an_octave_of_a_major_scale(
        self, name: str, key: str, places: str, fingers: str
    ) -> None:
        instrument = instrument_named(name)
        scale = parse_melody("1 2 3 4 5 6 7 8", key=key)
        found = arrange(scale, Setup.of(name, weights=usual_weights(instrument, "open-position")))
        names = [instrument.string_names[string - 1] for string in found.strings]
        played = " ".join(f"{n}{fret}" for n, fret in zip(names, found.frets, strict=True))
        assert played == places
        assert "".join(map(str, found.fingers)) == fingers
        assert found.figures.shifts == 0


class TestMelodicMinor:
    """Upwards it has no shape under one still hand."""

    def test_no_shape_fits(self) -> None:
        assert shapes_that_fit("melodic minor") == []

    def test_the_hand_must_shift(self) -> None:
        found = arrange(parse_melody(scale_text("melodic minor")), Setup.of("bass", limits=FRETTED))
        assert found.figures.shifts >= 1

    def test_no_position_holds_it(self) -> None:
        for position in range(1, 25):
            limits = Limits(open_strings="forbid", position=position)
            with pytest.raises(UnplayableError) as caught:
                arrange(parse_melody(scale_text("melodic minor")), Setup.of("bass", limits=limits))
            assert "limits" in str(caught.value)


class TestOneFiveOctaveNinthTenth:
    """Degrees 1 5 8 9 10: the root with the middle finger, the tenth with the ring finger."""

    def test_in_b(self) -> None:
        found = arrange(parse_melody("key: B major\n\n1 5 8 9 10"), "bass")
        assert (found.strings, found.frets) == ((4, 3, 2, 1, 1), (7, 9, 9, 6, 8))
        assert found.fingers == (2, 4, 4, 1, 3)
        assert found.figures.shifts == 0

    @pytest.mark.parametrize(
        ("key", "root"),
        list(zip(2 * "F# G Ab A Bb B C Db D Eb E F".split(), range(2, 23), strict=False)),
    )
    def test_in_every_key_where_the_frets_allow(self, key: str, root: int) -> None:
        octave = 1 + (root >= 8) + (root >= 20)
        melody = parse_melody(f"key: {key} major\noctave: {octave}\n\n1@4-{root} 5 8 9 10")
        found = arrange(melody, Setup.of("bass", limits=FRETTED))
        assert found.frets == (root, root + 2, root + 2, root - 1, root + 1)
        assert found.fingers == (2, 4, 4, 1, 3)
        assert found.figures.shifts == 0

    @pytest.mark.parametrize("key", "F# G Ab A Bb B C Db D Eb E".split())
    def test_even_where_nobody_says_where_to_begin(self, key: str) -> None:
        found = arrange(
            parse_melody(f"key: {key} major\n\n1 5 8 9 10"), Setup.of("bass", limits=FRETTED)
        )
        root = found.frets[0]
        assert found.frets == (root, root + 2, root + 2, root - 1, root + 1)
        assert found.fingers == (2, 4, 4, 1, 3)


class TestAnOctaveOfCMajorOnABass:
    """All 1,296 ways to play C2 to C3 within twelve frets, tried (closed form)."""

    def all_ways(self) -> list[tuple[tuple[int, int], ...]]:
        bass = instrument_named("bass").with_changes(frets=12)
        midi = [36 + Degree.parse(d).interval.semitones for d in "1 2 3 4 5 6 7 8".split()]
        places = [bass.places_of(number) for number in midi]
        assert [len(found) for found in places] == [2, 3, 3, 2, 3, 3, 2, 2]
        ways = list(itertools.product(*places))
        assert len(ways) == 1296
        return ways

    def named(self, way: tuple[tuple[int, int], ...]) -> str:
        return " ".join(f"{'GDAE'[string - 1]}{fret}" for string, fret in way)

    def test_two_fretted_ways_lie_within_four_frets(self) -> None:
        ways = [way for way in self.all_ways() if all(fret for _, fret in way)]
        still = {self.named(way) for way in ways if _window(way) < 4}
        assert still == SHAPES_WITHIN_FOUR_FRETS

    def test_six_more_do_if_open_strings_are_free(self) -> None:
        still = {self.named(way) for way in self.all_ways() if _window(way) < 4}
        assert len(still) == 8
        assert "A3 D0 D2 D3 G0 G2 G4 G5" in still
        assert still > SHAPES_WITHIN_FOUR_FRETS

    def test_the_hand_that_keeps_still_plays_one_of_the_two(self) -> None:
        limits = Limits(open_strings="forbid", highest_fret=12)
        melody = parse_melody("key: C major\noctave: 2\n\n1 2 3 4 5 6 7 8")
        found = arrange(melody, Setup.of("bass", limits=limits))
        assert found.figures.shifts == 0
        way = tuple(zip(found.strings, found.frets, strict=True))
        assert self.named(way) in SHAPES_WITHIN_FOUR_FRETS


def _window(way: tuple[tuple[int, int], ...]) -> int:
    """Frets between the lowest and the highest fretted note."""
    frets = [fret for _, fret in way if fret]
    return max(frets) - min(frets)
