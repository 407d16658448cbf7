"""The tolerant reader: what people jot, and what is asked where two readings are likely."""

from __future__ import annotations

import contextlib
import copy
import pickle
import re
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fretpath import FretpathError, Melody, MelodySyntaxError, format_melody, parse_melody
from fretpath.errors import AmbiguousTextError
from fretpath.music.heads import key_words, read_head
from fretpath.music.loose import LONGEST_LINE, read_loosely
from tests.music.scribbles import heard, labelled, score
from tests.strategies import melodies

SCRIBBLES = labelled("scribbles.json")
TRAPS = labelled("scribble_traps.json")


def ident(item: dict[str, Any]) -> str:
    """A name for an item of a labelled set."""
    return f"{item['id']} {item['kind']}"


class TestLabelled:
    """Melodies as people jot them, labelled before anything was run."""

    @pytest.mark.parametrize("item", [*SCRIBBLES, *TRAPS], ids=ident)
    def test_is_read_as_a_musician_reads_it(self, item: dict[str, Any]) -> None:
        found, why = score(item)
        assert found == "right", why

    @pytest.mark.parametrize("item", [*SCRIBBLES, *TRAPS], ids=ident)
    def test_the_clean_text_of_what_was_read_is_read_in_silence(self, item: dict[str, Any]) -> None:
        with contextlib.suppress(FretpathError):
            melody, _ = read_loosely(item["text"])
            assert read_loosely(format_melody(melody)) == (melody, ())


# (what is typed, the same in the notation, a word of each remark).
READ = [
    (
        "Harbour Light, in D minor, 3/4\n1 2 b3 | 1 - -",
        "title: Harbour Light\nkey: Dm\nmeter: 3/4\n\n1 2 b3 | 1 - -",
        (),
    ),
    ("It's in F: 1 3 5", "key: F\n\n1 3 5", ("left out",)),
    ("key: C\n1,2,3,1", "key: C\n\n1 2 3 1", ("commas",)),
    ("key: C\n5, 6, 7, 1 2 3", "key: C\n\n5, 6, 7, 1 2 3", ()),
    ("key: C\n1.2.3.1", "key: C\n\n1 2 3 1", ("dots",)),
    ("key: C\n3/4\n1. 2:1/2 3 | 3 2 1", "key: C\nmeter: 3/4\n\n1:3/2 2:1/2 3 | 3 2 1", ("half",)),
    ("key: C\n3/4\n|1 2 3|4 5 6|\n|5 3 1|", "key: C\nmeter: 3/4\n\n1 2 3 | 4 5 6 |\n5 3 1", ()),
    ("key: C\n2x: 1 2 3\n5", "key: C\n\n1 2 3 |\n1 2 3 |\n5", ("2 times",)),
    ("key: C\n1 2 3\nrepeat\n5", "key: C\n\n1 2 3 |\n1 2 3 |\n5", ("2 times",)),
    ("key: C\n(1 2) x2 5", "key: C\n\n1 2 1 2 5", ("twice",)),
    ("key: C\n1 5(low) 1 1(high)", "key: C\n\n1 5, 1 8", ("high", "low")),
    ("key: C\n5 6 7 1 2 1 7", "key: C\n\n5 6 7 8 9 8 7", ("octave",)),
    ("key: C\n0 1 2 rest 3", "key: C\n\nr 1 2 r 3", ("rest",)),
    ("key: C\nquarter 1 quarter 2 half 3", "key: C\n\n1 2 3:2", ("lengths",)),
    ("key: Bb\nBflat D F", "key: Bb\n\nBb D F", ()),
    ("E Es D Cis D H", "E Eb D C# D B", ("Fis", "H is")),
    ("g a b c' d'", "G3 A3 B3 C4 D4", ("middle C",)),
    ("do mi so do'", "1 3 5 8", ("do", "no key")),
    ("A: 1 2 3\nB: 5 4 3", "1 2 3\n5 4 3", ('"A"', '"B"', "no key")),
    ("1 2 3\nin A please", "key: A\n\n1 2 3", ("behind the music",)),
    ("key: C\n1 / 2 / 3", "key: C\n\n1 2 3", ("slashes",)),
    ("key: C\n1 3 :|: 5 1 :|", "key: C\n\n|: 1 3 :| |: 5 1 :|", ("twice",)),
    ("key: D\n3/4\n1 2 3\n1 & 2", "key: D\nmeter: 3/4\n\n1:1/2 2:1/2 3:2", ("counts",)),
    ("key: G\n(G) 1 3 5 (D7) 2", "key: G\n\n1 3 5 2", ("chord names",)),
    ("key-G\n1 2 3 5", "key: G\n\n1 2 3 5", ()),
    ("Key -> Bb\n1 2 3", "key: Bb\n\n1 2 3", ()),
    ("Gmaj\n1 2 3 5", "key: G\n\n1 2 3 5", ("on the first line is the key",)),
    ("Am\n1 2 b3", "key: A minor\n\n1 2 b3", ("on the first line is the key",)),
    ("can you learn 1 2 3 5 3 for Friday? in D", "key: D\n\n1 2 3 5 3", ("learn for Friday",)),
    ("Hi Tom! 5 6 5 3 for next week, key of D", "key: D\n\n5 6 5 3", ("for next week",)),
    ("in D: 1 2 3 then 5 5 3", "key: D\n\n1 2 3 5 5 3", ("then",)),
    ("key: C\n1 2 3!", "key: C\n\n1 2 3", ()),
    ("key: C\n6/8\n1. 2. | 3 4 5 6.", "key: C\nmeter: 6/8\n\n1:3 2:3 | 3 4 5 6:3", ("dot",)),
    ("key: C\n3/4: 1 2 3 | 1 - -", "key: C\nmeter: 3/4\n\n1 2 3 | 1 - -", ()),
    ("key: C\n1 (2) 3 (4)", "key: C\n\n1:2 3:4", ("beats",)),
    ("key: C\n1 # 4 5", "key: C\n\n1 #4 5", ()),
    ("Verse:\n1 2 3\nChorus:\n5 4", "1 2 3\n5 4", ('"Verse"', '"Chorus"', "no key")),
    ("key: C\n1 2 3\nMiddle eight:\n5 4", "key: C\n\n1 2 3\n5 4", ('"Middle eight"',)),
    ("key: C\nSolo:\n1 2 3", "key: C\n\n1 2 3", ('part: "Solo"',)),
    ("key: C\nDear Tom:\n1 2 3", "key: C\n\n1 2 3", ("words that are no music: Dear Tom",)),
    ("key: C\nLesson 4: 1 2 3", "key: C\n\n1 2 3", ('"Lesson 4"',)),
    ("key: C\n1 3 5 1high 5low", "key: C\n\n1 3 5 8 5,", ("high", "low")),
    ("key: C\nroot 3rd 5th 8th", "key: C\n\n1 3 5 8", ("root", "degrees")),
    ("key: C\ncapo: 2\n1 2 3", "key: C\n\n1 2 3", ("--capo",)),
    ("key: C\nfingers 1 2 4\n1 2 3", "key: C\n\n1 2 3", ("not a note",)),
    ("in G\n1 2 3 at 90", "key: G\ntempo: 90\n\n1 2 3", ()),
    ("key: C\n\uff11\u00a02 3", "key: C\n\n1 2 3", ()),
]

ASKED = [
    ("5, 6, 7, 1", "commas"),
    ("1 7 1", "the 7 after 1"),
    ("key: D dorian\n1 2 3", "3 in D dorian"),
    ("key: D\n3/4\n5 5 3\n1 2 3", "counts"),
    ("12 3 12 3", "the degrees 1 and 2"),
    ("1 2 3 (4) 5", "a note in brackets"),
    ("G 1 2 3 5", "the key or a note"),
    ("G 1 3 5 C 1 3 5", "chord names or notes"),
    ("5 6 B7 8", "the degree b7 or the note"),
    ("1 2 3 5 (90)", "is it the tempo"),
    ("12/5\n1 2 3 5", "a day, or the notes"),
    ("Line 1 1 2 3", "the number of the line"),
    ("key: C\n6/8\n1. 2 3", "how long is a note with a dot"),
    ("1 2 3 1\n5 4 3 2\nrepeat first line", "which lines are played again"),
    ("Gull\n1 2 3\n\nTern\n5 4 3", "two tunes"),
]


class TestReading:
    @pytest.mark.parametrize(("text", "plain", "told"), READ, ids=[t for t, *_ in READ])
    def test_one_likely_reading_is_taken_and_told(
        self, text: str, plain: str, told: tuple[str, ...]
    ) -> None:
        melody, remarks = read_loosely(text)
        expected = parse_melody(plain)
        assert heard(melody) == heard(expected)
        assert (melody.title, melody.key) == (expected.title, expected.key)
        assert len(remarks) == len(told), remarks
        for word in told:
            assert any(word in str(remark) for remark in remarks), remarks

    @pytest.mark.parametrize(("text", "about"), ASKED, ids=[text for text, _ in ASKED])
    def test_two_likely_readings_are_asked_for(self, text: str, about: str) -> None:
        with pytest.raises(AmbiguousTextError) as caught:
            read_loosely(text)
        question = caught.value
        assert about in question.question
        assert len(question.readings) == 2
        for error in (copy.copy(question), pickle.loads(pickle.dumps(question))):
            assert (str(error), error.readings, error.line) == (
                str(question),
                question.readings,
                question.line,
            )

    @pytest.mark.parametrize("text", [text for text, _ in ASKED[:10]])
    def test_what_a_question_says_to_write_is_read_without_another(self, text: str) -> None:
        with pytest.raises(AmbiguousTextError) as caught:
            read_loosely(text)
        heads = re.match(r"(?:key: .*\n)?(?:\d/\d\n)?", text)
        found = set()
        for _, written in caught.value.readings:
            whole = (
                written
                if written.startswith(("key", "octave", "degrees"))
                else ((heads[0] if heads else "") + written)
            )
            found.add(format_melody(read_loosely(whole)[0]))
        assert len(found) == 2

    @given(melodies())
    def test_the_notation_is_read_as_it_stands(self, melody: Melody) -> None:
        assert read_loosely(format_melody(melody)) == (melody, ())

    @given(st.text(max_size=60) | st.text(alphabet="1357b#5,'|().-r:/@ CGkxeq&^\n", max_size=60))
    @example("1 (2")
    def test_any_text_is_read_or_refused_by_name(self, text: str) -> None:
        with contextlib.suppress(FretpathError):
            melody, _ = read_loosely(text)
            assert read_loosely(format_melody(melody)) == (melody, ())

    @pytest.mark.parametrize(
        "line",
        [" " * 9000 + "--:", "a " * 4000, "1," * 4000, "1-" * 4000, "(" * 9000, ":" * 9000,
         "in " * 3000, "1 (" * 3000, "-" * 9000, "1/" * 4000, "|:" * 4000, "b" * 9000],
        ids=lambda line: repr(line[:4]),
    )  # fmt: skip
    def test_a_long_line_is_no_trouble(self, line: str) -> None:
        with contextlib.suppress(FretpathError):
            read_loosely(f"{line} 1 2 3\n1 2 3")

    def test_a_line_has_a_longest_length(self) -> None:
        with pytest.raises(MelodySyntaxError, match="a line has at most 10000 characters"):
            read_loosely("1 " * LONGEST_LINE)

    def test_a_fault_is_shown_at_the_line_typed(self) -> None:
        with pytest.raises(MelodySyntaxError) as caught:
            read_loosely("Harbour Light\n\nin G, 3/4\n; by heart\n1 2 3 | x9 3 2")
        assert (caught.value.line, caught.value.column) == (5, 9)

    @pytest.mark.parametrize("meter", ["3/x", "three/four", "4/5"])
    def test_what_is_no_meter_is_shown_at_its_line(self, meter: str) -> None:
        with pytest.raises(MelodySyntaxError, match="is not a meter: write beats/unit") as caught:
            read_loosely(f"Harbour Light\nmeter: {meter}\n1, 2, 3, 5")
        assert caught.value.line == 2

    def test_a_key_told_behind_the_music_is_shown_at_its_line(self) -> None:
        with pytest.raises(MelodySyntaxError, match='"E major" or "Em"') as caught:
            read_loosely("1 5 8 9 10\nkey: e\nD1")
        assert caught.value.line == 2

    def test_the_key_asked_for_replaces_that_of_the_text(self) -> None:
        melody, _ = read_loosely("in G\n1, 2, 3", key="B flat")
        assert [pitch.name for pitch in melody.pitches] == ["Bb", "C", "D"]

    @pytest.mark.parametrize(
        "text", ["title: Quay\nkey: D minor\nD F A D", "Quay, in D minor\nD, F, A, D"]
    )
    @pytest.mark.parametrize(
        ("key", "told", "command"),
        [("G", "G natural minor", "--to G"), ("G major", "G major", '--to "G major"')],
    )
    def test_letters_that_another_key_does_not_move_are_told(
        self, text: str, key: str, told: str, command: str
    ) -> None:
        melody, remarks = read_loosely(text, key=key)
        assert [pitch.name for pitch in melody.pitches] == ["D", "F", "A", "D"]
        [remark] = [str(remark) for remark in remarks if "letters are not moved" in remark.text]
        assert f"degrees are told in {told}, not D natural minor" in remark
        assert remark.endswith(f"fretpath transpose FILE {command}")

    @pytest.mark.parametrize(
        ("text", "key"),
        [
            ("key: D minor\nD F A D", "D"),
            ("key: D minor\nD F A D", None),
            ("D F A D", "G"),
            ("key: D minor\n1 b3 5 8", "G"),
        ],
    )
    def test_letters_in_their_key_and_degrees_in_any_go_without_that(
        self, text: str, key: str | None
    ) -> None:
        assert "--key" not in str(read_loosely(text, key=key)[1])

    @pytest.mark.parametrize(
        ("names", "under"),
        [
            ("F       Bb", {0: "F", 4: "Bb"}),
            ("F   Bb  C   F", {0: "F", 2: "Bb", 4: "C", 5: "F"}),
            ("C7        F", {0: "C7", 4: "F"}),
            ("  F   C", {1: "F", 3: "C"}),
        ],
    )
    def test_chord_names_stand_at_the_notes_under_them(
        self, names: str, under: dict[int, str]
    ) -> None:
        melody, remarks = read_loosely(f"key: F\n{names}\n1 2 3 5 | 4 3 2 1")
        assert dict(melody.chords) == under
        assert "a line of chords, no notes" in str(remarks[0])

    @pytest.mark.parametrize(
        ("line", "under"),
        [
            ("1 2 3 5 | 4- 2- | 7, 1 2 3 | 1---", {0: "F", 4: "Bb", 8: "C", 12: "F"}),
            ("1 2 3 5 | 4 3 2 1 | 5 5 5 5 | 1 1 1 1", {0: "F", 4: "Bb", 8: "C", 12: "F"}),
            ("1- 3- | 1- 5-", {0: "F", 2: "Bb", 4: "C", 6: "F"}),
            ("1- 3- | 5 5 5 5", {0: "F", 2: "Bb", 4: "C", 5: "F"}),
        ],
    )
    def test_triads_stand_at_bars_or_at_notes_that_are_held(
        self, line: str, under: dict[int, str]
    ) -> None:
        melody, remarks = read_loosely(f"key: F\nF  Bb  C  F\n{line}")
        assert dict(melody.chords) == under
        assert "a line of chords, no notes" in str(remarks[0])

    @pytest.mark.parametrize("names", ["F Bb C", "F   Bb           C                 F"])
    def test_chord_names_without_a_place_are_left_out_in_plain_words(self, names: str) -> None:
        melody, remarks = read_loosely(f"key: F\n{names}\n1 2 3 5 | 4 3 2 1")
        assert not melody.chords
        told = f"the chord names {' '.join(names.split())}: it does not show which note"
        assert told in str(remarks[0])


class TestHeads:
    @pytest.mark.parametrize(
        ("line", "values", "rest"),
        [
            ("in G, 3/4", {"key": "G major", "meter": "3/4"}, ""),
            ("Key = Am", {"key": "A natural minor"}, ""),
            ("key of F sharp minor, 90 bpm", {"key": "F# natural minor", "tempo": "90"}, ""),
            ("common time", {"meter": "4/4"}, ""),
            ("Tonart B-Dur", {"key": "Bb major"}, ""),
            ("time: 6/8", {"meter": "6/8"}, ""),
            ("Harbour Steps (D dorian, 6/8)", {"key": "D dorian", "meter": "6/8"}, "Harbour Steps"),
            ("Title: Ferry in G", {"title": "Ferry in G"}, ""),
            ("octave  -  3", {"octave": "3"}, ""),
            ("octave   3", {"octave": "3"}, ""),
            ("key  >  g", {"key": "g"}, ""),
            ("1 2 3 5", {}, "1 2 3 5"),
            ("1/2/3/5", {}, "1/2/3/5"),
            ("a minor thing", {"key": "A natural minor"}, "thing"),
            ("G D7 G", {}, "G D7 G"),
            ("in a boat", {}, "in a boat"),
        ],
    )
    def test_a_line_of_words(self, line: str, values: dict[str, str], rest: str) -> None:
        head = read_head(line)
        assert (dict(head.values), head.rest) == (values, rest)

    @pytest.mark.parametrize("text", ["H", "h minor", "H#", "H-Dur"])
    def test_german_h_is_explained(self, text: str) -> None:
        with pytest.raises(FretpathError, match="H is the German name of B"):
            key_words(text)


@pytest.mark.parametrize(
    ("jotted", "clean"),
    [
        ("1 1 2 3 | 5 5 3 -\n4 3 2 1 | 1 - - -", "1 1 2 3 | 5 5 3 - |\n4 3 2 1 | 1 - - -"),
        ("5 | 1 1 2 | 5 3 -\n4 3 2 | 1 -", "5 | 1 1 2 | 5 3 - |\n4 3 2 | 1 -"),
        ("1 1 2 3 | 5 5\n3 3 | 4 3 2 1 | 1 - - -", "1 1 2 3 | 5 5\n3 3 | 4 3 2 1 | 1 - - -"),
        ("1 1 2 3\n5 5 3 2\n4 3 2 1\n1 3 5 1", "1 1 2 3\n5 5 3 2\n4 3 2 1\n1 3 5 1"),
    ],
)
def test_a_line_that_ends_where_a_bar_is_full_ends_the_bar(jotted: str, clean: str) -> None:
    melody, remarks = read_loosely(f"Buttons in C\n{jotted}")
    assert format_melody(melody).split("\n\n")[1].strip() == clean
    told = any("the end of a line is a bar line" in remark.text for remark in remarks)
    assert told == (jotted != clean)


def test_what_only_the_strict_reader_takes_for_music_is_read() -> None:
    """Commas behind degrees and nothing else between bar lines."""
    text = "1,|" * 100
    assert read_loosely(text, key="C")[0].pitches == parse_melody(text, key="C").pitches


def test_remarks_come_in_the_order_of_the_lines() -> None:
    text = "hello all\nPorridge in C\n1 3 5- | 4 2- 1\nPor-ridge in the morn-ing pot"
    lines = [int(remark.place.split()[1]) for remark in read_loosely(text)[1]]
    assert len(lines) > 1
    assert lines == sorted(lines)
