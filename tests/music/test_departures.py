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

from fretpath import SCALES, Interval, Key, Melody, RequestError, parse_melody
from fretpath.music.departures import KINDS, Account, ScaleReading, read_scales
from fretpath.music.roles import CROSSING, PARALLEL_MINOR, cheapest, passages
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
        {"#4": "neighbor"},
    ),
    (
        "Kevin Barry (Irish, traditional)",
        "C",
        "E F G G F# G A G E",
        "3 4 5 5 #4 5 6 5 3",
        {"#4": "neighbor"},
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
        {"b6": "neighbor"},
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
        assert account.title == "passing"
        assert account.evidence.endswith(", going to 5; 4 four times")

    def test_a_raised_fourth_that_always_leads_is_said_both_ways(self) -> None:
        account = only(reading("1 3 5 #4 5 3 1", "G"))
        assert (account.kind, account.argument) == ("neighbor", "lower")
        [doubt] = account.doubts
        assert (doubt.kind, doubt.argument) == ("mode", "lydian")
        assert doubt.decides == "a plain 4 would decide"

    def test_mixolydian_against_the_seventh_of_the_dominant_of_four(self) -> None:
        assert only(reading("1 3 5 b7 5 b7 8 b7 6 5 1", "D")).title == "mixolydian"
        seventh = only(reading("1 3 5 8 b7 6 5 | 4 3 2 7, 1", "D"))
        assert (seventh.kind, seventh.argument) == ("applied7", "4")
        assert seventh.evidence == "b7 once (bar 1), falling to 6"

    @pytest.mark.parametrize(
        ("stated", "degrees", "title"),
        [
            ("C", "1 3 #4 5 | 6 #4 3 2 | #4 6 5 4 | 2 1", "lydian, with one plain 4 (bar 3)"),
            ("C", "1 3 b7 5 | 1' b7 5 4 | b7 5 3 2 | 7, 1", "mixolydian, with one plain 7 (bar 4)"),
            ("C minor", "1 b3 5 6 b7 | 5 6 4 6 b3 | b6 5 1", "dorian, with one plain b6 (bar 3)"),
            ("C minor", "1 b2 b3 4 | b3 b2 b7, b2 | 5 2 1", "phrygian, with one plain 2 (bar 3)"),
        ],
    )
    def test_one_plain_form_does_not_end_a_mode(
        self, stated: str, degrees: str, title: str
    ) -> None:
        account = only(reading(degrees, stated))
        assert (account.kind, account.title) == ("mode", title)
        [plain] = [d for d in SCALES[Key.parse(stated).mode].names if f"plain {d} " in title]
        twice = reading(f"{degrees} {plain} 1", stated)
        assert "mode" not in {found.kind for found in twice.accounts}

    def test_a_mode_gives_way_where_every_note_has_a_chromatic_role(self) -> None:
        accounts = reading("1 4 #4 5 | 5 #4 5 6 | 6 5 #4 5 | 3 1", "C").accounts
        assert {account.kind for account in accounts} == {"passing", "neighbor"}

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
    def test_what_sets_a_stated_mode_apart(self, name: str) -> None:
        found = reading(" ".join(SCALES[name].names), f"C {name}")
        assert found.departures == found.accounts == ()
        assert found.color.split(" where ")[0] in ("#4", "b7", "6", "b2")


# Key, melody, and for each degree outside its account: kind and argument.  Common practice.
ACCOUNTS = [
    ("D", "1 3 5 b7 | 6 4 5 7 | 1'", {"b7": ("applied7", "4")}),
    ("C", "3 5 1' 7 | 6 4 6 b7 | 6 5 4 2 | 1", {"b7": ("neighbor", "upper")}),
    ("C", "1 3 4 5 | 6 5 7 6 | 4 b6 1' - | 5 - 7, 2 | 1", {"b6": ("borrowed", "minor")}),
    ("C", "1 3 4 5 | 6 5 7 6 | 5 - b7 - | 1' - 7 2' | 1'", {"b7": ("borrowed", "minor")}),
    ("A minor", "1 b3 4 5 | b7 5 b5 4 | b3 4 b5 4 | b3 1 b7, 1", {"b5": ("blue", "")}),
    ("A minor", "1 b3 5 b6 | 4 b2 1 - | 2 b7, 1 - | 1", {"b2": ("neapolitan", "")}),
    ("C", "1 3 5 3 | 3 b2 7, 1 | 1 3 2 - | 1", {"b2": ("enclosure", "")}),
    ("C", "1 3 5 3 | 6 #1' 3' 2' | 1' 6 4 5 | 2 7, 1", {"#1": ("leading", "2")}),
    ("C", "1 3 5 3 | 3 #5 7 - | 6 4 5 7, | 1", {"#5": ("leading", "6")}),
    ("C", "1 3 5 #4 | 6 1' 5 3 | 4 2 7, 1", {"#4": ("leading", "5")}),
    ("C", "1 3 5 3 | 1' 6 #4 5 | 4 2 7, 1", {"#4": ("enclosure", "")}),
    ("C minor", "1 3 5 - | 4 b3 2 4 | b3 2 1", {"3": ("leading", "4")}),
    (
        "C",
        "1 b2 3 4 | 5 b6 7 1' | 7 b6 5 4 | 3 b2 1",
        dict.fromkeys(("b2", "b6"), ("mode", "double harmonic")),
    ),
    ("C", "1 3 5 - | 5 b6 7 1' | 7 b6 5 4 | 3 2 1", {"b6": ("mode", "harmonic major")}),
    (
        "A minor",
        "1 b3 #4 5 | b6 7 1' 7 | b6 5 #4 b3 | 2 1",
        dict.fromkeys(("#4", "7"), ("mode", "hungarian minor")),
    ),
    (
        "C",
        "1 2 3 #4 | 5 6 b7 1' | b7 6 5 #4 | 3 2 1",
        dict.fromkeys(("#4", "b7"), ("mode", "lydian")),
    ),
    ("D dorian", "1 b3 2 1 | 5 6 b7 6 | 5 4 b3 2 | 1 7, 1", {"7": ("raised_minor", "")}),
    ("F", "1 3 1 b7, | 6, 1 4 6 | b7 6 5 4 | 5 1 4", {"b7": ("wrong_key", "4 major")}),
    ("C", "5 7 2' 7 | 1' 6 #4 6 | 5 6 #4 5", {"#4": ("wrong_key", "5 major")}),
    (
        "C",
        "2 #4 6 2' | #1' 7 6 #4 | 5 3 #1 3 | 2",
        dict.fromkeys(("#4", "#1"), ("wrong_key", "2 major")),
    ),
    ("C", "6 1' 7 6 | 5 4 3 - | 1' 2' 3' 1' | 7 #5 6 #5 | 6", {"#5": ("wrong_key", "6 minor")}),
    (
        "C",
        "1 2 #2 3 | 5 4 b3 2 | 3 b3 2 - | 1 #1 2 7, | 1",
        dict.fromkeys(("#2", "#1"), ("passing", "")) | {"b3": ("passing", "")},
    ),
]


@pytest.mark.parametrize(
    ("key", "text", "expected"), ACCOUNTS, ids=[row[1][:22] for row in ACCOUNTS]
)
def test_accounts(key: str, text: str, expected: dict[str, tuple[str, str]]) -> None:
    accounts = reading(text, key).accounts
    found = {name: (one.kind, one.argument) for one in accounts for name in one.degrees}
    assert found == expected


def test_a_whole_step_away_and_back_is_a_degree_of_a_mode() -> None:
    """Only a half step makes a neighbor chromatic: b7 beside one plain 7 stays Mixolydian."""
    account = only(reading("1 b7, 1 3 | 1 b7, 1 5 | 8 b7 8 5 | 4 7, 1 -", "C"))
    assert (account.kind, account.argument) == ("mode", "mixolydian")


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
        assert "Neapolitan flat second" in [account.title for account in accounts]

    def test_a_flat_second_with_a_leading_note_is_not_phrygian(self) -> None:
        accounts = reading("1 b3 4 b2 7, 1 b2 7, 1", "A minor").accounts
        assert [account.kind for account in accounts] == ["raised_minor", "neapolitan"]
        assert only(reading("1 b3 4 b2 b7, 1", "A minor")).title == "phrygian"

    def test_a_major_third_at_the_end(self) -> None:
        assert only(reading("1 b3 5 4 b3 2 1 3", "A minor")).kind == "picardy"

    def test_blue_notes(self) -> None:
        account = only(reading("1 b3 3 5 6 b7 5 b3 3 1 7, 1", "G"))
        assert (account.kind, account.degrees) == ("blue", ("b3", "b7"))

    def test_a_small_scale_and_what_it_leaves_out(self) -> None:
        account = only(reading("1 b3 4 2 1", "A minor pentatonic"))
        assert account.kind == "added"
        assert account.title == "natural minor rather than minor pentatonic"

    def test_a_minor_tune_called_major(self) -> None:
        account = only(reading("1 2 b3 4 5 b3 1", "C major"))
        assert (account.kind, account.title) == ("mode", "natural minor")


class TestSections:
    def test_the_parallel_minor_is_found_without_being_told(self) -> None:
        told = parse_melody((TUNES / "lantern_in_the_fog.txt").read_text())
        melody = Melody(told.notes, told.keys[:1], told.meters, told.bars, told.phrases)
        account = only(read_scales(melody)[0])
        assert account.kind == "parallel"
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
        account = next(a for a in reading(" | ".join(bars), "D").accounts if a.kind == "parallel")
        assert account.bars == (before + 1, before + 2)

    def test_a_section_in_the_parallel_major(self) -> None:
        text = "1 2 b3 5 | b3 2 b7, 1 |\n3 5 3 1 | 3 4 3 2 |\n1 b3 5 b3 | 2 b3 1 1"
        account = only(reading(text, "A minor"))
        assert account.title == "parallel major, bars 3 to 4"

    def test_the_sixth_of_the_parallel_major_belongs_to_its_section(self) -> None:
        text = "1 2 b3 5 | b3 2 b7, 1 |\n3 5 3 6 | 3 4 3 2 |\n1 b3 5 b3 | 2 b3 1 1"
        account = only(reading(text, "A minor"))
        assert (account.kind, account.degrees) == ("parallel", ("3", "6"))

    def test_no_section_leaves_a_key_that_sounds_nowhere_else(self) -> None:
        text = "1 3 5 3 | 3 2 1 1 | 5 #4 3 #4 | 4 7 #4 5 | 6 #4 7 5 | 5 3 2 1 | 3 2 1 1"
        assert only(reading(text, "C")).title == "lydian, with one plain 4 (bar 4)"

    def test_blue_thirds_beside_major_ones_are_no_section(self) -> None:
        found = reading("1 b3 3 5 | 5 3 b3 3 | 1 b3 3 5 | 3 2 1 1", "G")
        assert [account.kind for account in found.accounts] == ["blue"]

    def test_a_modulation_to_the_dominant_is_suspected(self) -> None:
        text = "1 3 5 4 | 3 4 2 1 | 5 #4 3 #4 | 6 7 #4 5 | 5 4 3 4 | 3 2 1 1"
        account = only(reading(text, "C"))
        assert account.kind == "modulation"
        assert account.bars == (3, 4)
        assert account.evidence == "#4 three times; no 4 there, and it closes on 5"

    def test_a_phrase_is_filled_up_to_where_the_key_of_home_sounds(self) -> None:
        """The 3 in the first bar of the phrase stays at home."""
        text = "1 2 3 5 | 3 2 1 1 |\n3 5 3 1 | b3 2 b7, 1 | b6 5 b3 1 |\n3 2 3 5 | 3 2 1 1"
        account = only(reading(text, "C"))
        assert (account.kind, account.bars) == ("parallel", (4, 5))

    def test_two_leaving_notes_with_a_returning_one_between_are_no_section(self) -> None:
        text = "1 3 5 3 | 3 2 1 1 | b3 2 1 1 | 5 4 2 1 | 5 3 1 1 | b6 5 2 1"
        found = reading(text, "C")
        assert "parallel" not in [account.kind for account in found.accounts]

    def test_two_leading_notes_are_no_modulation(self) -> None:
        found = reading("1 3 5 4 | 3 #4 5 1 | 6 #4 5 4 | 3 2 1 1", "C")
        assert [account.kind for account in found.accounts] == ["passing", "enclosure"]

    def test_two_flat_thirds_at_the_end_are_no_section(self) -> None:
        found = reading("1 3 5 3 | 3 2 1 1 | b3 2 b3 1 2 5 1", "G")
        assert [account.kind for account in found.accounts] == ["blue"]

    def test_a_bar_of_leading_notes_to_the_fifth_is_no_modulation(self) -> None:
        found = reading("1 3 5 4 | 3 4 2 1 | 5 #4 5 3 | #4 5 #4 5 | 4 3 2 1", "C")
        assert [account.kind for account in found.accounts] == ["neighbor", "passing"]

    def test_each_key_of_the_text_has_its_own_reading(self) -> None:
        melody = parse_melody((TUNES / "lantern_in_the_fog.txt").read_text())
        found = read_scales(melody)
        assert [(r.place, r.smallest and r.smallest.name) for r in found] == [
            ("bars 1 to 8", "major"),
            ("bars 9 to 12", "natural minor"),
            ("bars 13 to 16", "major"),
        ]
        assert found[1].color.startswith("b3 b6 b7 where major has 3 6 7")


class TestEveryMelody:
    @given(melodies(placed=False))
    def test_every_note_outside_has_one_account(self, melody: Melody) -> None:
        if not melody.keys or not melody.pitches:
            return
        for found in read_scales(melody):
            outside = [departure.note for departure in found.departures]
            notes = [note for account in found.accounts for note in account.notes]
            assert sorted(notes) == outside
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
        assert sorted(n for account in found.accounts for n in account.notes) == held
        if found.smallest:
            assert set(degrees) <= set(found.smallest.names)

    @given(melodies(placed=False), st.integers(-5, 5), st.integers(2, 5))
    def test_neither_key_nor_octave_makes_a_difference(
        self, melody: Melody, fifths: int, octave: int
    ) -> None:
        if not melody.keys or not melody.pitches:
            return
        accounts = [found.accounts for found in read_scales(melody)]
        try:
            moved = melody.transposed(Interval.of_fifths(fifths))
        except RequestError:  # a tonic with three sharps
            return
        assert [found.accounts for found in read_scales(moved)] == accounts
        assert [found.accounts for found in read_scales(melody.in_octave(octave))] == accounts

    def test_a_melody_without_a_key_is_refused(self) -> None:
        with pytest.raises(RequestError, match="no key is given"):
            read_scales(parse_melody("C4 E4 G4"))

    def test_another_scale_to_measure_against(self) -> None:
        melody = parse_melody("1 2 3 #4 5", key=Key("F", "lydian"))
        assert read_scales(melody)[0].departures == ()
        [departure] = read_scales(melody, against=SCALES["major"])[0].departures
        assert departure.name == "raised fourth"
        assert read_scales(melody, against="Ionian") == read_scales(melody, against=SCALES["major"])
        with pytest.raises(
            RequestError, match='unknown mode or scale "majr"; did you mean "major"'
        ):
            read_scales(melody, against="majr")


@given(st.lists(st.sampled_from("1 2 3 b3 b6 b7".split()), min_size=1, max_size=9))
def test_a_section_is_the_cheapest_of_all_readings(degrees: list[str]) -> None:
    """Every choice of home (False) or away (True) for each note, priced one by one."""
    units = passages(parse_melody(" ".join(degrees), key="C"))[0].units()

    def price(reading: tuple[bool, ...]) -> float:
        crossings = sum(a != b for a, b in itertools.pairwise((False, *reading)))
        wrong = [PARALLEL_MINOR.returns if away else PARALLEL_MINOR.leaves for away in reading]
        return CROSSING * crossings + sum(d in w for d, w in zip(degrees, wrong, strict=True))

    readings = itertools.product([False, True], repeat=len(degrees))
    assert price(tuple(cheapest(units, PARALLEL_MINOR))) == min(map(price, readings))


class TestPlaces:
    def test_from_the_first_to_the_last(self) -> None:
        [passage] = passages(parse_melody("key: G\nmeter: 2/4\n\n5 | 1 2 | 3 4 | 5 1"))
        notes = passage.notes
        assert passage.stretch(notes) == "pickup to bar 3"
        assert passage.stretch(notes[1:5]) == "bars 1 to 2"
        assert passage.stretch(notes[1:3]) == "bar 1"
        [unbarred] = passages(parse_melody("5 1 2", key="G"))
        assert unbarred.stretch(unbarred.notes) == "notes 1 to 3"
        [longer] = passages(parse_melody(" ".join("1234567"), key="G"))
        assert longer.places(longer.notes[:6]) == "notes 1, 2, 3, 4, 5, 6"
        assert longer.places(longer.notes) == "notes 1, 2, 3, 4, 5, 6 ..."


def test_blue_notes_with_no_degree_of_the_scale_beside_them() -> None:
    """A b5 in a frame of b3, where the plain fifth never sounds."""
    melody = parse_melody("10 1 1 1 r 1 4 Gb\nb10", key="C")
    titles = [account.title for reading in read_scales(melody) for account in reading.accounts]
    assert "blue note: b5" in titles


def test_major_blues_is_a_major_scale_with_a_blue_third() -> None:
    """Its b6 is that of the parallel minor; its own b3 makes no section there."""
    text = "1 3 6 5 | 3 1 b6 3 | 1 3 b3 1 | 2 1 6 1"
    assert kinds(reading(text, "D major blues")) == {"b6": "borrowed"}
