"""What a tune brings: degrees, leaps by function, ranges, rhythm."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import parse_melody
from fretpath.lesson.material import LEAPS, RUNGS, degree_names, leaps_of, material_of
from tests.lesson.tunes import IN_KEY, OFF_KEY, melody, timed_words

# One leap each, named as a teacher of functional hearing would (limits are this project's own).
LEAP_CASES = [
    ("4 1", "C major", "leap to 1"),
    ("6 8", "C major", "leap to 1"),
    ("2 8", "C major", "leap of a 7th"),  # to the tonic, but too far to be easy
    ("2 3 4 2", "C major", "leap back to a note just heard"),
    ("1 3", "C major", "3rd, 4th or 8ve in the tonic triad"),
    ("1 b3", "C minor", "3rd, 4th or 8ve in the tonic triad"),
    ("5, 3", "C major", "6th in the tonic triad"),
    ("1 5", "C major", "5th in the tonic triad"),
    ("5 7", "C major", "3rd in the dominant"),
    ("7 9", "C major", "3rd in the dominant"),
    ("2 4", "C major", "3rd in the dominant"),
    ("2 5", "C major", "wider leap in the dominant"),
    ("7, 4", "C major", "wider leap in the dominant"),  # the diminished fifth of the seventh
    ("7, 3", "C major", "leap between tonic and dominant"),
    ("7, b3", "C minor", "leap between tonic and dominant"),  # the diminished fourth
    ("1 6", "C major", "leap in the subdominant"),
    ("4 6", "C major", "leap in the subdominant"),
    ("5, 4", "C major", "leap of a 7th"),
    ("2 6", "C major", "leap outside the main chords"),
    ("1 10", "C major", "leap outside the main chords"),
    ("b6 7", "C harmonic minor", "augmented 2nd"),
    ("2 #4", "C major", "leap with a note off the key"),
    ("2 #4", "C lydian", "3rd in the dominant"),
]


@pytest.mark.parametrize(("text", "key", "kind"), LEAP_CASES)
def test_leaps_by_function(text: str, key: str, kind: str) -> None:
    assert leaps_of(melody(text, key)) == [kind]


def test_every_kind_of_leap_has_a_case_and_a_rung() -> None:
    assert {kind for _, _, kind in LEAP_CASES} == set(LEAPS)
    rungs = [RUNGS[kind] for kind in LEAPS]
    assert rungs == sorted(rungs)


def test_steps_and_repeated_notes_are_no_leaps() -> None:
    assert leaps_of(melody("1 2 2 b3 4 #4 5 5 4 3 2 1 7, b7, 7, 1")) == []


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("1 2", set()),
        ("(1 2):1/2", {"half beats"}),
        ("1:3/2 2:1/2", {"half beats", "dotted lengths"}),
        ("(1 2 3):1/3", {"thirds of a beat"}),
        ("(1 2):1/4 3:1/2", {"quarter beats", "half beats"}),
        ("1 r 2", {"rests"}),
        ("1:1/2 2 3:1/2", {"half beats", "off-beat notes held through a beat"}),
        ("meter: 3/4\n\n1 2 3 | 4 3 2", {"three in a bar"}),
        ("meter: 6/8\n\n1 2 3 3 2 1", {"two or more pulses of three"}),
        ("meter: 5/4\n\n1 2 3 3 2", {"five or more beats in a bar"}),
        ("meter: 4/4\n\n5:2 | 1 1 1 3 | - 2 2 1", {"pickup", "ties over the bar line"}),
        # a pickup of half a beat: the beat is counted from the bar line
        ("meter: 4/4\n\n1:1/2 | 1 2 3 4", {"pickup", "half beats"}),
        ("meter: 4/4\n\n1 2 3 4 |\nmeter: 3/4\n1 2 3", {"another meter", "three in a bar"}),
    ],
)
def test_rhythm_figures(text: str, names: set[str]) -> None:
    found = {str(topic) for topic in material_of(parse_melody(text, key="C"))}
    rhythm = {n for n in found if not n.startswith(("degree", "range", "5th", "leap", "3rd"))}
    assert rhythm == names


def test_notes_off_the_key_are_named_and_notes_of_the_mode_are_not() -> None:
    assert degree_names(material_of(melody("1 3 #4 5"))) == ["1", "3", "5", "#4"]
    names = {str(topic) for topic in material_of(melody("1 3 #4 5", "F lydian"))}
    assert "degree #4" in names
    assert "#4 off the key" not in names


# Openings as printed in Crowell's anthology (melodies in the public domain: Luther; Scottish,
# Irish and American songs before 1918), as degree facts.
@pytest.mark.parametrize(
    ("degrees", "off_key"),
    [
        ("5 3 3 4 2 2 1 2 3 4 5 5 5", []),  # Lightly Row
        ("5 6 5 #4 5 1", ["#4"]),  # A Mighty Fortress
        ("3 5 3 4 3 2 1 3 4 5 3 4 3 5 6 b7 6 6 5 3", ["b7"]),  # The Graveyard, 1867
        ("5 3 b3 3 5 3 b3 3 2 1", ["b3"]),  # 'Tis Me, O Lord
        ("7 6 b6 6 7 6 5", ["b6"]),  # Alice, Where Art Thou?
    ],
)
def test_where_printed_tunes_leave_the_key(degrees: str, off_key: list[str]) -> None:
    names = [str(topic) for topic in sorted(material_of(melody(degrees)))]
    assert [n.split()[0] for n in names if n.endswith("off the key")] == off_key


def test_a_change_of_key_is_material() -> None:
    text = "key: G major\n\n1 2 3 |\nkey: G natural minor\n1 2 b3"
    assert "a change of key" in {str(topic) for topic in material_of(parse_melody(text))}


@given(timed_words(most=8), st.sampled_from(IN_KEY + OFF_KEY))
@settings(deadline=None, max_examples=100)
def test_a_longer_tune_never_has_less_material(words: list[str], more: str) -> None:
    before = material_of(melody(" ".join(words)))
    assert before <= material_of(melody(" ".join([*words, more])))
