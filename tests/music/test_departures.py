"""Where tunes leave their scale: worked examples with their printed source, and plain facts.

The spellings come from melodies in B. Crowell's anthology *Eyes and Ears* (2004-2017, CC BY-SA),
whose printed sources are named beside them; all of these tunes are in the public domain.  They are
entered as note letters and spelled by us.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import SCALES, Key, Melody, RequestError, parse_melody
from fretpath.music.departures import ScaleReading, read_scales
from fretpath.music.outside import KINDS, Account
from fretpath.music.passage import passages
from fretpath.music.sections import _PARALLEL_MINOR, CROSSING, _cheapest
from tests.strategies import melodies

TUNES = Path(__file__).parents[2] / "demo_melodies"

# Name, key, note letters, the degrees they spell, the degrees outside and the kind of account.
SPELLED = [
    (
        "Ash Grove (Welsh, traditional)",
        "F",
        "C F A C Bb A F F G Bb A G F E C C F A G F E D Bb D C F E F",
        "5 1 3 5 4 3 1 1 2 4 3 2 1 7 5 5 1 3 2 1 7 6 4 6 5 1 7 1",
        {},
    ),
    (
        "Aura Lee (Poulton, 1861)",
        "F#",
        "C# F# E# F# G# D# G# F# E# D# E# F#",
        "5 1 7 1 2 6 2 1 7 6 7 1",
        {},
    ),
    (
        "Lightly Row (German, traditional)",
        "F",
        "C A A Bb G G F G A Bb C C C",
        "5 3 3 4 2 2 1 2 3 4 5 5 5",
        {},
    ),
    (
        "Old Folks at Home (Foster, 1851)",
        "D",
        "F# E D F# E D D B D D A F# D E",
        "3 2 1 3 2 1 1 6 1 1 5 3 1 2",
        {},
    ),
    (
        "A Mighty Fortress (Luther, 1529), with its natural fourth from the line before",
        "C",
        "C C C G A C B A G | F E D C | G A G F# G C",
        "1 1 1 5 6 1 7 6 5 4 3 2 1 5 6 5 #4 5 1",
        {"#4": "passing"},
    ),
    (
        "Kevin Barry (Irish, traditional)",
        "C",
        "E F G G F# G A G E",
        "3 4 5 5 #4 5 6 5 3",
        {"#4": "passing"},
    ),
    (
        "The Graveyard (Slave Songs of the United States, 1867)",
        "F",
        "A C A Bb A G F A Bb C Bb A C A C D Eb D D C A",
        "3 5 3 4 3 2 1 3 4 5 4 3 5 3 5 6 b7 6 6 5 3",
        {"b7": "mode"},
    ),
    (
        "The Cruel Mother (traditional)",
        "G",
        "G C E F E D",
        "1 4 6 b7 6 5",
        {"b7": "mode"},
    ),
    (
        "'Tis Me, O Lord (arr. Burleigh, 1917)",
        "F",
        "C A Ab A C A Ab A A G F",
        "5 3 b3 3 5 3 b3 3 3 2 1",
        {"b3": "blue"},
    ),
    (
        "Alice, Where Art Thou? (Ascher, 1861)",
        "Bb",
        "A G Gb G G A G F",
        "7 6 b6 6 6 7 6 5",
        {"b6": "neighbour"},
    ),
]


def reading(text: str, key: str) -> ScaleReading:
    return read_scales(parse_melody(text, key=key))[0]


def kinds(found: ScaleReading) -> dict[str, str]:
    return {departure.degree.plain: departure.kind for departure in found.departures}


def only(found: ScaleReading) -> Account:
    [account] = found.accounts
    return account


@pytest.mark.parametrize(
    ("key", "letters", "degrees", "outside"),
    [row[1:] for row in SPELLED],
    ids=[row[0].split(" (")[0] for row in SPELLED],
)
def test_worked_spellings(key: str, letters: str, degrees: str, outside: dict[str, str]) -> None:
    melody = parse_melody(letters, key=key)
    assert [d.plain for d in melody.degrees if d] == degrees.split()
    assert kinds(read_scales(melody)[0]) == outside


class TestModeOrPassing:
    def test_lydian_has_no_natural_fourth(self) -> None:
        found = reading((TUNES / "lighthouse_stair.txt").read_text(), "F major")
        account = only(found)
        assert (account.kind, account.title, account.degrees) == ("mode", "lydian", ("#4",))
        assert account.evidence == "#4 six times (bars 2, 3, 6, 7, 10, 11), 4 never"
        assert found.smallest == found.modes[0] == SCALES["lydian"]
        assert {d.name for d in found.departures} == {"raised fourth"}
        assert [d.bar for d in found.departures] == [2, 3, 6, 7, 10, 11]

    def test_passing_raised_fourth_beside_the_plain_one(self) -> None:
        found = reading((TUNES / "over_the_harbour_bar.txt").read_text(), "C major")
        account = only(found)
        assert account.kind == "passing"
        assert account.title == "passing raised fourth"
        assert "it goes up to 5 each time; 4 sounds four times" in account.evidence

    def test_a_raised_fourth_that_always_leads_is_said_both_ways(self) -> None:
        account = only(reading("1 3 5 #4 5 3 1", "G"))
        assert account.title == "lydian"
        assert account.evidence.endswith("or a passing raised fourth, since it goes on to 5")

    def test_mixolydian_against_a_passing_flat_seventh(self) -> None:
        assert only(reading("1 3 5 b7 5 b7 8 b7 6 5 1", "D")).title == "mixolydian"
        passing = only(reading("1 3 5 8 b7 6 5 | 4 3 2 7, 1", "D"))
        assert (passing.kind, passing.title) == ("passing", "passing flat seventh")
        assert passing.evidence == "b7 once (bar 1), it goes down to 6; 7 sounds once"

    @pytest.mark.parametrize(
        ("stated", "degrees", "title"),
        [
            ("C major", "1 2 b3 4 5 6 b7 8", "dorian"),
            ("C major", "1 2 b3 4 5 b6 b7 8", "natural minor"),
            ("C major", "1 b2 b3 4 5 b6 b7 8", "phrygian"),
            ("C minor", "1 2 b3 4 5 6 b7 8", "dorian"),
            ("C minor", "1 b2 b3 4 5 b6 b7 8", "phrygian"),
            ("C minor", "1 2 3 4 5 6 b7 8", "mixolydian"),
            ("C minor", "1 b2 b3 4 b5 b6 b7 8", "locrian"),
            ("C phrygian", "1 b2 3 4 5 b6 b7 8", "phrygian dominant"),
        ],
    )
    def test_one_mode_for_everything(self, stated: str, degrees: str, title: str) -> None:
        found = reading(degrees, stated)
        assert only(found).title == title
        assert found.smallest == SCALES[title]

    @pytest.mark.parametrize("name", ["lydian", "mixolydian", "dorian", "phrygian"])
    def test_the_neighbouring_modes_are_named(self, name: str) -> None:
        found = reading(" ".join(SCALES[name].names), f"C {name}")
        assert found.departures == ()
        for gap in (found.brighter, found.darker):
            assert gap is None or len(gap.has) == len(gap.lacks) == 1
        assert found.colour.split(" where ")[0] in ("#4", "b7", "6", "b2")


class TestSmallestScaleAndEqualModes:
    def test_the_smallest_scale_has_no_third_the_tune_avoids(self) -> None:
        assert reading("1 2 b3 5", "A minor").smallest == SCALES["natural minor"]
        assert reading("1 2 3 5 6", "A").smallest == SCALES["major pentatonic"]

    @pytest.mark.parametrize("stated", ["dorian", "natural minor", "mixolydian"])
    def test_of_equal_modes_the_stated_one_comes_first(self, stated: str) -> None:
        found = reading("1 2 4 5 b7 8", f"D {stated}")
        assert found.modes[0] == SCALES[stated]
        assert len(found.modes) == 3
        assert set(found.undecided) == {"3", "b3", "6", "b6"}

    def test_without_a_fifth_only_as_a_last_resort(self) -> None:
        assert reading("1 2 3 #4", "C").smallest == SCALES["lydian"]
        assert reading("1 2 3 #4 #5 b7", "C").smallest == SCALES["whole tone"]


class TestMinor:
    def test_raised_six_and_seven_are_normal(self) -> None:
        found = reading("1 2 b3 4 5 b6 7 8 | b7 b6 5 6 7 8", "A minor")
        account = only(found)
        assert account.normal
        assert account.title == "melodic minor: raised sixth and seventh"
        assert account.degrees == ("7", "6")

    def test_raised_seventh_alone_is_harmonic_minor(self) -> None:
        assert only(reading("1 b3 5 7 8", "A minor")).title == "harmonic minor: raised seventh"

    def test_the_descending_form_is_normal_in_harmonic_minor(self) -> None:
        assert only(reading("8 b7 b6 5 7, 1", "A harmonic minor")).normal

    def test_a_raised_sixth_without_the_seventh_is_dorian(self) -> None:
        account = only(reading("1 b3 5 6 5 b7 8", "A minor"))
        assert (account.kind, account.title) == ("mode", "dorian")

    def test_neapolitan_like_flat_second(self) -> None:
        accounts = reading("1 2 b3 4 5 b2 1 | 4 b2 7, 1", "A minor").accounts
        assert "Neapolitan-like flat second" in [account.title for account in accounts]

    def test_a_flat_second_with_a_leading_note_is_not_phrygian(self) -> None:
        accounts = reading("1 b3 4 b2 7, 1 b2 7, 1", "A minor").accounts
        assert [account.kind for account in accounts] == ["minor", "neapolitan"]
        assert only(reading("1 b3 4 b2 b7, 1", "A minor")).title == "phrygian"

    def test_a_major_third_at_the_end(self) -> None:
        assert only(reading("1 b3 5 4 b3 2 1 3", "A minor")).kind == "final"

    def test_blue_notes(self) -> None:
        account = only(reading("1 b3 3 5 6 b7 5 b3 3 1 7, 1", "G"))
        assert (account.kind, account.degrees) == ("blue", ("b3", "b7"))

    def test_a_small_scale_and_what_it_leaves_out(self) -> None:
        account = only(reading("1 b3 4 2 1", "A minor pentatonic"))
        assert account.kind == "added"
        assert account.title == "natural minor rather than minor pentatonic"

    def test_a_minor_tune_called_major(self) -> None:
        account = only(reading("1 2 b3 4 5 b3 1", "C major"))
        assert (account.kind, account.title) == ("third", "minor, not major")


class TestSections:
    def test_the_parallel_minor_is_found_without_being_told(self) -> None:
        told = parse_melody((TUNES / "lantern_in_the_fog.txt").read_text())
        melody = Melody(told.notes, told.keys[:1], told.meters, told.bars, told.phrases)
        account = only(read_scales(melody)[0])
        assert account.kind == "section"
        assert account.bars == (9, 12)
        assert account.title == "parallel minor, bars 9 to 12"

    @given(
        st.lists(st.sampled_from("1 2 3 4 5 6 7".split()), min_size=4, max_size=4),
        st.lists(st.sampled_from("1 2 b3 4 5 b6 b7".split()), min_size=4, max_size=4),
        st.integers(1, 4),
        st.integers(1, 4),
    )
    def test_a_planted_section_keeps_its_bars(
        self, major: list[str], minor: list[str], before: int, after: int
    ) -> None:
        """Bars around it hold the major third, bars inside the minor third and one flat more."""
        home, away = " ".join([*major, "3", "1"]), " ".join([*minor, "b3", "b6"])
        bars = [home] * before + [away, away] + [home] * after
        account = next(a for a in reading(" | ".join(bars), "D").accounts if a.kind == "section")
        assert account.bars == (before + 1, before + 2)

    def test_a_section_in_the_parallel_major(self) -> None:
        text = "1 2 b3 5 | b3 2 b7, 1 |\n3 5 3 1 | 3 4 3 2 |\n1 b3 5 b3 | 2 b3 1 1"
        account = only(reading(text, "A minor"))
        assert account.title == "parallel major, bars 3 to 4"

    def test_blue_thirds_beside_major_ones_are_no_section(self) -> None:
        found = reading("1 b3 3 5 | 5 3 b3 3 | 1 b3 3 5 | 3 2 1 1", "G")
        assert [account.kind for account in found.accounts] == ["blue"]

    def test_a_modulation_to_the_dominant_is_suspected(self) -> None:
        text = "1 3 5 4 | 3 4 2 1 | 5 #4 3 #4 | 6 7 #4 5 | 5 4 3 4 | 3 2 1 1"
        account = only(reading(text, "C"))
        assert account.kind == "modulation"
        assert account.bars == (3, 4)
        assert account.evidence == "#4 three times; no 4 there, and it ends on 5"

    def test_two_leading_notes_are_no_modulation(self) -> None:
        found = reading("1 3 5 4 | 3 #4 5 1 | 6 #4 5 4 | 3 2 1 1", "C")
        assert [account.kind for account in found.accounts] == ["passing"]

    def test_two_flat_thirds_at_the_end_are_no_section(self) -> None:
        found = reading("1 3 5 3 | 3 2 1 1 | b3 2 b3 1 2 5 1", "G")
        assert [account.kind for account in found.accounts] == ["blue"]

    def test_a_bar_of_leading_notes_to_the_fifth_is_no_modulation(self) -> None:
        found = reading("1 3 5 4 | 3 4 2 1 | 5 #4 5 3 | #4 5 #4 5 | 4 3 2 1", "C")
        assert [account.kind for account in found.accounts] == ["passing"]

    def test_each_key_of_the_text_has_its_own_reading(self) -> None:
        melody = parse_melody((TUNES / "lantern_in_the_fog.txt").read_text())
        found = read_scales(melody)
        assert [(r.place, r.smallest and r.smallest.name) for r in found] == [
            ("bars 1 to 8", "major"),
            ("bars 9 to 12", "natural minor"),
            ("bars 13 to 16", "major"),
        ]
        assert found[1].colour.startswith("b3 b6 b7 where major has 3 6 7")


class TestEveryMelody:
    @given(melodies(placed=False))
    def test_every_note_outside_has_one_account(self, melody: Melody) -> None:
        if not melody.keys or not melody.pitches:
            return
        for found in read_scales(melody):
            outside = {departure.note for departure in found.departures}
            notes = [note for account in found.accounts for note in account.notes]
            assert len(notes) == len(set(notes))
            assert outside <= set(notes)
            for account in found.accounts:
                assert account.kind in KINDS
                assert "\n" not in account.evidence

    @given(
        st.lists(st.sampled_from("1 b2 2 b3 3 4 #4 5 b6 6 b7 7".split()), min_size=1),
        st.sampled_from(list(SCALES)),
    )
    def test_departures_are_the_notes_the_scale_does_not_hold(
        self, degrees: list[str], mode: str
    ) -> None:
        found = reading(" ".join(degrees), f"C {mode}")
        held = [i for i, d in enumerate(degrees) if d not in SCALES[mode].names]
        assert [departure.note for departure in found.departures] == held
        notes = sorted(n for account in found.accounts for n in account.notes)
        assert len(notes) == len(set(notes))
        if found.smallest:
            assert set(degrees) <= set(found.smallest.names)

    @given(
        st.lists(st.sampled_from("1 2 b3 3 4 #4 5 6 b7 7".split()), min_size=1, max_size=12),
        st.sampled_from("C Eb F# A".split()),
    )
    def test_the_key_makes_no_difference(self, degrees: list[str], tonic: str) -> None:
        text = " ".join(degrees)
        assert reading(text, f"{tonic} major").accounts == reading(text, "G major").accounts

    def test_a_melody_without_a_key_is_refused(self) -> None:
        with pytest.raises(RequestError, match="no key is given"):
            read_scales(parse_melody("C4 E4 G4"))

    def test_another_scale_to_measure_against(self) -> None:
        melody = parse_melody("1 2 3 #4 5", key=Key("F", "lydian"))
        assert read_scales(melody)[0].departures == ()
        [departure] = read_scales(melody, against=SCALES["major"])[0].departures
        assert departure.name == "raised fourth"


@given(st.lists(st.sampled_from("1 2 3 b3 b6 b7".split()), min_size=1, max_size=9))
def test_a_section_is_the_cheapest_of_all_readings(degrees: list[str]) -> None:
    """Every choice of home (False) or away (True) for each note, priced one by one."""
    units = passages(parse_melody(" ".join(degrees), key="C"))[0].units()

    def price(reading: tuple[bool, ...]) -> float:
        crossings = sum(a != b for a, b in itertools.pairwise((False, *reading)))
        wrong = [_PARALLEL_MINOR.returns if away else _PARALLEL_MINOR.leaves for away in reading]
        return CROSSING * crossings + sum(d in w for d, w in zip(degrees, wrong, strict=True))

    readings = itertools.product([False, True], repeat=len(degrees))
    assert price(tuple(_cheapest(units, _PARALLEL_MINOR))) == min(map(price, readings))


class TestPlaces:
    def test_from_the_first_to_the_last(self) -> None:
        [passage] = passages(parse_melody("key: G\nmeter: 2/4\n\n5 | 1 2 | 3 4 | 5 1"))
        tones = passage.tones
        assert passage.stretch(tones) == "pickup to bar 3"
        assert passage.stretch(tones[1:5]) == "bars 1 to 2"
        assert passage.stretch(tones[1:3]) == "bar 1"
        [unbarred] = passages(parse_melody("5 1 2", key="G"))
        assert unbarred.stretch(unbarred.tones) == "notes 1 to 3"
        [longer] = passages(parse_melody(" ".join("1234567"), key="G"))
        assert longer.places(longer.tones[:6]) == "notes 1, 2, 3, 4, 5, 6"
        assert longer.places(longer.tones) == "notes 1, 2, 3, 4, 5, 6 ..."
