"""Necks and strings: where the frets lie, what the strings sound, what a capo does."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import INSTRUMENTS, Instrument, Interval, Key, Pitch, RequestError, instrument_named
from fretpath.music.key import Degree
from fretpath.neck.hand import HANDS, all_states, hand_named
from fretpath.neck.instrument import (
    fret_distance,
    octaves_for,
    parse_scale_length,
    parse_tuning,
)

# Published: stuphi.co.uk, "Guitar bits 'n' bobs", scale 25 in: mm from each fret to the bridge,
# frets 0 to 10.
TO_THE_BRIDGE = (
    635.000, 599.360, 565.721, 533.969, 504.000, 475.712, 449.013, 423.812, 400.025, 377.573,
    356.382,
)  # fmt: skip

# Open strings as MIDI numbers, string n first as they are spoken.  Common practice, from memory
# unless a source is named.
TUNINGS = {
    "bass": "28 33 38 43",
    "bass-short": "28 33 38 43",
    "bass-drop-d": "26 33 38 43",
    "bass-e-flat": "27 32 37 42",
    "bass-bead": "23 28 33 38",
    "bass-tenor": "33 38 43 48",
    "bass-piccolo": "40 45 50 55",
    "bass-5": "23 28 33 38 43",
    "bass-5-high-c": "28 33 38 43 48",
    "bass-6": "23 28 33 38 43 48",
    "guitar": "40 45 50 55 59 64",  # Radicioni and Lombardo, ICMC 2005, figure 1
    "guitar-classical": "40 45 50 55 59 64",
    "guitar-drop-d": "38 45 50 55 59 64",
    "guitar-dadgad": "38 45 50 55 57 62",
    "guitar-open-g": "38 43 50 55 59 62",
    "guitar-open-d": "38 45 50 54 57 62",
    "guitar-open-e": "40 47 52 56 59 64",
    "guitar-fourths": "40 45 50 55 60 65",
    "guitar-7": "35 40 45 50 55 59 64",
    "guitar-high-strung": "52 57 62 67 59 64",
    "guitar-baritone": "35 40 45 50 54 59",
    "ukulele": "67 60 64 69",
    "ukulele-concert": "67 60 64 69",
    "ukulele-tenor": "67 60 64 69",
    "ukulele-low-g": "55 60 64 69",
    "ukulele-d": "69 62 66 71",
    "ukulele-baritone": "50 55 59 64",
    "banjo": "67 50 55 59 62",
    "banjo-c": "67 48 55 59 62",
    "banjo-double-c": "67 48 55 60 62",
    "banjo-sawmill": "67 50 55 60 62",
    "banjo-plectrum": "48 55 59 62",
    "banjo-tenor": "48 55 62 69",
    "banjo-tenor-irish": "43 50 57 64",
    "mandolin": "55 62 69 76",
    "mandola": "48 55 62 69",
    "octave-mandolin": "43 50 57 64",
    "mandocello": "36 43 50 57",
    "violin": "55 62 69 76",
    "viola": "48 55 62 69",
    "cello": "36 43 50 57",
    "double-bass": "28 33 38 43",
    "cavaquinho": "62 67 71 74",
    "cuatro": "57 62 66 59",
    "charango": "67 72 76 69 76",
}

# Major keys and how many of the open strings E A D G belong to them (closed form).
OPEN_STRINGS_IN_KEY = {
    "C": 4, "G": 4, "D": 4, "F": 4, "A": 3, "Bb": 3, "Eb": 2, "E": 2, "Ab": 1, "B": 1, "Db": 0,
    "Gb": 0,
}  # fmt: skip


class TestFretDistances:
    @pytest.mark.parametrize(("fret", "bridge"), list(enumerate(TO_THE_BRIDGE)))
    def test_as_published_for_25_inches(self, fret: int, bridge: float) -> None:
        assert 635 - fret_distance(fret, 635) == pytest.approx(bridge, abs=0.001)

    @given(st.floats(100, 2000))
    def test_exact_anchors(self, scale: float) -> None:
        assert fret_distance(0, scale) == 0
        assert fret_distance(12, scale) == pytest.approx(scale / 2)
        assert fret_distance(24, scale) == pytest.approx(scale * 3 / 4)
        assert 1 - fret_distance(7, scale) / scale == pytest.approx(0.667420, abs=5e-7)
        assert 1 - fret_distance(5, scale) / scale == pytest.approx(0.749154, abs=5e-7)

    def test_the_old_divisor_of_the_trade(self) -> None:
        # Scale over the first fret's distance: 1 / (1 - 2 ** (-1 / 12)), closed form.
        assert 1000 / fret_distance(1, 1000) == pytest.approx(17.817154, abs=1e-6)

    def test_four_frets_of_a_long_and_a_short_bass(self) -> None:
        # Published: blog.starthief.net 2022-01-17, fret 1 to 4: 5.1 in at 34 in, 4.5 in at 30 in.
        for name, inches in (("bass", 5.1), ("bass-short", 4.5)):
            bass = instrument_named(name)
            span = bass.distance(4) - bass.distance(1)
            assert span / 25.4 == pytest.approx(inches, abs=0.05)

    def test_a_first_position_guitar_hand_is_a_sixth_position_bass_hand(self) -> None:
        # 97.3 mm and 97.2 mm, closed form.
        guitar, bass = instrument_named("guitar"), instrument_named("bass")
        assert guitar.distance(4) - guitar.distance(1) == pytest.approx(97.3, abs=0.05)
        assert bass.distance(9) - bass.distance(6) == pytest.approx(97.2, abs=0.05)

    @given(st.sampled_from(sorted(INSTRUMENTS)), st.integers(0, 10))
    def test_a_capo_is_a_new_nut(self, name: str, capo: int) -> None:
        plain = instrument_named(name)
        capoed = plain.with_changes(capo=capo)
        for fret in range(capoed.frets_free + 1):
            apart = plain.distance(fret + capo) - plain.distance(capo)
            assert capoed.distance(fret) == pytest.approx(apart)


class TestTunings:
    @pytest.mark.parametrize(("name", "midi"), TUNINGS.items())
    def test_open_strings(self, name: str, midi: str) -> None:
        strings = reversed(instrument_named(name).strings)
        assert [string.open.midi for string in strings] == [int(m) for m in midi.split()]

    def test_every_instrument_is_in_the_table(self) -> None:
        assert set(TUNINGS) == set(INSTRUMENTS)

    @pytest.mark.parametrize("made", INSTRUMENTS.values(), ids=lambda made: made.name)
    def test_every_instrument_says_where_its_figures_come_from(self, made: Instrument) -> None:
        assert len(made.basis) > 20
        assert made.hand in HANDS
        assert 1 <= made.program <= 128

    @pytest.mark.parametrize("made", INSTRUMENTS.values(), ids=lambda made: made.name)
    def test_a_place_and_its_sound_turn_into_each_other(self, made: Instrument) -> None:
        neck = itertools.product(range(1, len(made.strings) + 1), range(made.frets_free + 1))
        sounds = {place: made.midi_at(*place) for place in neck}
        for midi in range(made.range[0] - 2, made.range[1] + 3):
            places = {place for place, sound in sounds.items() if sound == midi}
            assert set(made.places_of(midi)) == places
            assert bool(places) is (made.range[0] <= midi <= made.range[1])

    def test_names_of_the_strings_in_tab(self) -> None:
        # Small letters: the higher of two of a name, and a string that sounds above its neighbor.
        assert instrument_named("bass").string_names == ("G", "D", "A", "E")
        assert instrument_named("guitar").string_names == ("e", "B", "G", "D", "A", "E")
        assert instrument_named("ukulele").string_names == ("A", "E", "C", "g")
        assert instrument_named("banjo").string_names == ("d", "B", "G", "D", "g")

    @pytest.mark.parametrize(("tonic", "count"), OPEN_STRINGS_IN_KEY.items())
    def test_open_strings_in_each_key(self, tonic: str, count: int) -> None:
        key = Key(tonic, "major")
        opens = instrument_named("bass").open_pitches
        held = [key.holds(Degree.of_interval(pitch - key.tonic_pitch(1))) for pitch in opens]
        assert sum(held) == count

    def test_unknown_names_offer_the_nearest(self) -> None:
        with pytest.raises(
            RequestError, match='unknown instrument "mandolyn"; did you mean "mando'
        ):
            instrument_named("mandolyn")

    @pytest.mark.parametrize("text", ["Bass", " bass ", "BASS"])
    def test_names_may_be_written_large(self, text: str) -> None:
        assert instrument_named(text) is INSTRUMENTS["bass"]


class TestShortString:
    """The fifth string of a banjo begins at fret 5 and is numbered by the neck."""

    def test_its_frets_keep_the_numbers_of_the_neck(self) -> None:
        banjo = instrument_named("banjo")
        assert banjo.midi_at(5, 0) == Pitch.parse("G4").midi
        assert [banjo.midi_at(5, fret) for fret in range(1, 6)] == [None] * 5
        assert banjo.midi_at(5, 7) == Pitch.parse("A4").midi

    def test_the_other_strings_begin_at_the_nut(self) -> None:
        banjo = instrument_named("banjo")
        assert banjo.midi_at(1, 3) == Pitch.parse("F4").midi

    def test_its_notes_are_found_there(self) -> None:
        banjo = instrument_named("banjo")
        assert (5, 0) in banjo.places_of(67)
        assert (5, 7) in banjo.places_of(69)
        assert {string for string, _ in banjo.places_of(68)} == {1, 2, 3, 4, 5}


@given(st.lists(st.integers(20, 110), min_size=1, max_size=5), st.sampled_from(["bass", "ukulele"]))
def test_octaves_that_fit_are_those_and_no_others(midi: list[int], name: str) -> None:
    low, high = instrument_named(name).range
    fits = [up for up in range(-9, 10) if all(low <= m + 12 * up <= high for m in midi)]
    assert list(octaves_for(midi, instrument_named(name))) == fits


class TestCapo:
    @given(st.sampled_from(sorted(INSTRUMENTS)), st.integers(0, 8), st.integers(0, 14))
    def test_raises_every_string_and_counts_frets_from_itself(
        self, name: str, capo: int, fret: int
    ) -> None:
        plain = instrument_named(name)
        capoed = plain.with_changes(capo=capo)
        for string in range(1, len(plain.strings) + 1):
            sound = capoed.midi_at(string, fret)
            if plain.strings[string - 1].nut:
                continue
            assert sound == plain.midi_at(string, fret + capo)

    def test_the_tuning_is_told_without_it(self) -> None:
        capoed = instrument_named("guitar").with_changes(capo=3)
        assert capoed.tuning == "E2 A2 D3 G3 B3 E4"
        assert [str(pitch) for pitch in capoed.open_pitches] == [
            "G4", "D4", "Bb3", "F3", "C3", "G2",
        ]  # fmt: skip

    def test_beyond_the_neck_is_refused(self) -> None:
        with pytest.raises(RequestError, match="the capo is 0 to 23, not 24"):
            instrument_named("bass").with_changes(capo=24)
        with pytest.raises(RequestError, match="a short string with this capo begins beyond"):
            instrument_named("banjo").with_changes(capo=17)


class TestPublishedExamples:
    def test_the_neck_of_a_guitar_and_the_places_of_e4(self) -> None:
        # Published: Radicioni and Lombardo, "Guitar Fingering for Music Performance", ICMC 2005,
        # figure 1.
        guitar = instrument_named("guitar")
        for string, low in ((1, 64), (2, 59), (3, 55), (4, 50), (5, 45), (6, 40)):
            sounds = [guitar.midi_at(string, fret) for fret in range(13)]
            assert sounds == list(range(low, low + 13))
        assert {place for place in guitar.places_of(64) if place[1] <= 14} == {
            (1, 0), (2, 5), (3, 9), (4, 14),
        }  # fmt: skip

    def test_layers_and_edges_of_a_small_fragment(self) -> None:
        # Same paper, figure 2: F2 D4 E3 with any of four fingers on each place make layers of 4,
        # 16 and 12 vertices.  The fret of <3,7> is lost in the print we saw and restored by
        # arithmetic; the number of edges is in closed form.
        guitar = instrument_named("guitar").with_changes(frets=17)
        places = [guitar.places_of(Pitch.parse(name).midi) for name in ("F2", "D4", "E3")]
        assert places == [
            ((6, 1),),
            ((2, 3), (3, 7), (4, 12), (5, 17)),
            ((4, 2), (5, 7), (6, 12)),
        ]
        sizes = [4 * len(layer) for layer in places]
        assert sizes == [4, 16, 12]
        assert sum(a * b for a, b in itertools.pairwise(sizes)) == 256

    def test_our_own_layers_of_that_fragment(self) -> None:
        # Ours are smaller: no position lies below fret 1, so not every finger reaches every place.
        guitar = instrument_named("guitar").with_changes(frets=17)
        states = all_states(guitar, hand_named("one-finger-per-fret"))
        sizes = [len(states.sounding(Pitch.parse(name).midi)) for name in ("F2", "D4", "E3")]
        assert sizes == [1, 3 + 4 + 4 + 4, 2 + 4 + 4]

    def test_position_four_plays_frets_four_to_seven(self) -> None:
        # Published: Bass Level 1, bandwagonmusic.com.au, page 10.
        reaches = hand_named("one-finger-per-fret").reaches(4)
        assert [(4 + reach.offset, reach.finger) for reach in reaches] == [
            (4, 1), (5, 2), (6, 3), (7, 4),
        ]  # fmt: skip


class TestHands:
    """As the hands are described at the top of ``hand.py``: (offset, finger, leaves its fret)."""

    @pytest.mark.parametrize(
        ("name", "reaches"),
        [
            ("extended", [(-1, 1, 1), (0, 1, 0), (1, 2, 0), (2, 3, 0), (3, 4, 0), (4, 4, 1)]),
            (
                "diatonic",
                [(-1, 1, 1), (0, 1, 0), (1, 2, 0), (2, 2, 0), (3, 3, 0), (4, 3, 0), (5, 4, 0)],
            ),
        ],
    )
    def test_frets_outside_the_hand(self, name: str, reaches: list[tuple[int, int, int]]) -> None:
        for position in (1, 9):
            covered = hand_named(name).reaches(position)
            assert [(r.offset, r.finger, int(r.extended)) for r in covered] == reaches


class TestCustom:
    def test_tuning(self) -> None:
        low = instrument_named("bass").with_changes(tuning="D1 A1 D2 G2")
        assert low.tuning == "D1 A1 D2 G2"
        assert low.midi_at(string=4, fret=0) == 26
        assert low.basis == "tuning as given"

    def test_tuning_with_another_number_of_strings(self) -> None:
        three = instrument_named("guitar").with_changes(tuning="G3 D4 G4")
        assert len(three.strings) == 3
        assert three.string_names == ("g", "D", "G")
        assert instrument_named("guitar").with_changes(tuning="D4 D4").string_names == ("D", "D")
        assert [three.midi_at(string, 1) for string in (1, 2, 3)] == [68, 63, 56]

    def test_a_retuned_banjo_keeps_its_short_string(self) -> None:
        assert (
            instrument_named("banjo").with_changes(tuning="A4 E3 A3 C#4 E4").midi_at(5, 3) is None
        )

    @given(st.lists(st.integers(0, 120), min_size=1, max_size=12))
    def test_any_tuning_is_written_and_read_back(self, midi: list[int]) -> None:
        pitches = tuple(Pitch.parse("C-1") + _semitones(number) for number in midi)
        text = " ".join(str(pitch) for pitch in reversed(pitches))
        assert parse_tuning(text) == pitches

    @pytest.mark.parametrize(
        ("text", "mm"), [("34in", 863.6), ("30 in", 762), ("762mm", 762), ("25.5in", 647.7)]
    )
    def test_scale_length(self, text: str, mm: float) -> None:
        assert parse_scale_length(text) == pytest.approx(mm)
        made = instrument_named("bass").with_changes(scale_length=text)
        assert made.distance(12) == pytest.approx(mm / 2)

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"tuning": ""}, "a tuning names 1 to 12 open strings"),
            ({"tuning": "E A D G"}, '"G" is not a pitch'),
            ({"tuning": " ".join(["E1"] * 13)}, "a tuning names 1 to 12 open strings"),
            ({"tuning": "C-2"}, "open string C-2 is outside C-1 to G9"),
            ({"frets": 0}, "the number of frets is 1 to 36, not 0"),
            ({"frets": 37}, "the number of frets is 1 to 36, not 37"),
            ({"scale_length": "34"}, '"34" is not a scale length: write 34in or 864mm'),
            ({"scale_length": "34 feet"}, '"34 feet" is not a scale length'),
            ({"scale_length": "99mm"}, "a scale length is 100 to 2000 mm"),
            ({"scale_length": "99in"}, "a scale length is 100 to 2000 mm"),
            ({"capo": -1}, "the capo is 0 to 23, not -1"),
        ],
    )
    def test_refusals(self, change: dict[str, str | int], says: str) -> None:
        with pytest.raises(RequestError) as caught:
            instrument_named("bass").with_changes(**change)  # type: ignore[arg-type]
        assert says in str(caught.value)


def _semitones(count: int) -> Interval:
    letters = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
    return Interval(letters[count % 12] + 7 * (count // 12), count)
