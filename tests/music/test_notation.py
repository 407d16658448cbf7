"""Melody text, read and written: what a teacher types and what it means."""

from __future__ import annotations

import contextlib
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fretpath import (
    Key,
    Melody,
    MelodySyntaxError,
    Meter,
    Note,
    Pitch,
    Placement,
    format_melody,
    parse_melody,
)
from fretpath.music.melody import Repeat
from tests.strategies import melodies


def note(pitch: str, beats: str = "1", place: Placement | None = None) -> Note:
    """A struck note, its length as text."""
    return Note(Pitch.parse(pitch), Fraction(beats), placement=place)


def hold(pitch: str, beats: str = "1") -> Note:
    """The note before, held on."""
    return Note(Pitch.parse(pitch), Fraction(beats), tied=True)


def rest(beats: str = "1") -> Note:
    """A rest."""
    return Note(None, Fraction(beats))


# (what it shows, text, melody).  Each text is written exactly as format_melody writes it, so that
# the table holds in both directions.
BOTH_WAYS = [
    (
        "degrees in a key, the octave left to the instrument",
        "key: B major\n\n1 5 8 9 10\n",
        Melody(
            notes=tuple(note(p) for p in ("B4", "F#5", "B5", "C#6", "D#6")),
            keys=((0, Key("B", "major")),),
            octave_free=True,
        ),
    ),
    (
        "an octave of the tonic, degrees below it, accidentals",
        "key: Eb natural minor\noctave: 2\n\n1 b3 5, #4 b7,, 15\n",
        Melody(
            notes=tuple(note(p) for p in ("Eb2", "Gb2", "Bb1", "A2", "Db1", "Eb4")),
            keys=((0, Key("Eb", "natural minor")),),
            octave=2,
        ),
    ),
    (
        "lengths, a rest, a note held over the bar line",
        "key: C major\nmeter: 4/4\noctave: 3\n\n1:3/2 2:1/2 3 r | 4:4 | - 5:3\n",
        Melody(
            notes=(
                note("C3", "3/2"),
                note("D3", "1/2"),
                note("E3"),
                rest(),
                note("F3", "4"),
                hold("F3"),
                note("G3", "3"),
            ),
            keys=((0, Key("C", "major")),),
            meters=((0, Meter(4, 4)),),
            bars=(4, 5),
            octave=3,
        ),
    ),
    (
        "a pickup, two phrases, the parallel minor in the second",
        "key: G major\nmeter: 3/4\noctave: 2\n\n5, | 1 2 3 |\nkey: G natural minor\n1 2 b3\n",
        Melody(
            notes=tuple(note(p) for p in ("D2", "G2", "A2", "B2", "G2", "A2", "Bb2")),
            keys=((0, Key("G", "major")), (4, Key("G", "natural minor"))),
            meters=((0, Meter(3, 4)),),
            bars=(1, 4),
            phrases=(4,),
            octave=2,
        ),
    ),
    (
        "the meter changes with a phrase",
        "key: C major\nmeter: 2/4\noctave: 4\n\n1 2 |\nmeter: 3/4\n3 4 5 | 1:3\n",
        Melody(
            notes=(*(note(p) for p in ("C4", "D4", "E4", "F4", "G4")), note("C4", "3")),
            keys=((0, Key("C", "major")),),
            meters=((0, Meter(2, 4)), (2, Meter(3, 4))),
            bars=(2, 5),
            phrases=(2,),
        ),
    ),
    (
        "the teacher's placements",
        "key: C major\noctave: 2\n\n1@4-8 2@3 3@-2 4:1/2@3-8\n",
        Melody(
            notes=(
                note("C2", place=Placement(4, 8)),
                note("D2", place=Placement(string=3)),
                note("E2", place=Placement(fret=2)),
                note("F2", "1/2", Placement(3, 8)),
            ),
            keys=((0, Key("C", "major")),),
            octave=2,
        ),
    ),
    (
        "notes by letter, no key known",
        "octave: 4\n\nC4 Bb2 F#3 Cb4\n",
        Melody(notes=tuple(note(p) for p in ("C4", "Bb2", "F#3", "Cb4"))),
    ),
    (
        "notes by letter, no key known, the octave left to the instrument",
        "octave: 4 free\n\nC4 G2 Bb2 A2 C4 E6\n",
        Melody(
            notes=tuple(note(p) for p in ("C4", "G2", "Bb2", "A2", "C4", "E6")),
            octave_free=True,
        ),
    ),
    (
        "title, tempo and the other headers",
        "title: Étude in 4ths: no. 2 → 日本\nkey: F lydian\ntempo: 92.5\nsource: us; by ear\n"
        "teaches: the #4\nlevel: 3\n\n1\n",
        Melody(
            notes=(note("F4"),),
            keys=((0, Key("F", "lydian")),),
            octave_free=True,
            title="Étude in 4ths: no. 2 → 日本",
            tempo=Fraction(185, 2),
            headers=(("source", "us; by ear"), ("teaches", "the #4"), ("level", "3")),
        ),
    ),
    (
        "rests and their lengths at the start of a line",
        "key: C major\noctave: 4\n\nr r:2 1\n",
        Melody(notes=(rest(), rest("2"), note("C4")), keys=((0, Key("C", "major")),)),
    ),
    (
        "and the first of them counts from the tonic",
        "key: B# major\noctave: 4 free\n\nBbbb4 1\n",
        Melody(
            notes=(note("Bbbb4"), note("B#4")),
            keys=((0, Key("B#", "major")),),
            octave_free=True,
        ),
    ),
    (
        "more flats than a degree can carry are written as letters",
        "key: C# major\noctave: 4\n\nCbbb4 1\n",
        Melody(notes=(note("Cbbb4"), note("C#4")), keys=((0, Key("C#", "major")),)),
    ),
    (
        "a repeat, one of three times, and endings",
        "octave: 4\n\n|: C4 | D4 :| E4 |: F4 :|x3\n|: G4 | [1 A4 :| [2 B4 ] C4\n",
        Melody(
            notes=tuple(note(f"{letter}4") for letter in "CDEFGABC"),
            bars=(1, 2, 3, 4, 5, 6, 7),
            phrases=(4,),
            repeats=(Repeat(0, 2), Repeat(3, 4, 3), Repeat(4, 7, endings=(5, 6))),
        ),
    ),
    (
        "words and chords under their lines",
        "octave: 4\n\nC4 - D4\nchords: G7 _ F/C\nwords: riv- er~and\nE4 F4\nwords: _ sea\n",
        Melody(
            notes=(note("C4"), hold("C4"), note("D4"), note("E4"), note("F4")),
            phrases=(3,),
            lyrics=((0, "riv-"), (2, "er and"), (4, "sea")),
            chords=((0, "G7"), (2, "F/C")),
        ),
    ),
    (
        "a free tune in an octave of its own",
        "key: C major\noctave: 2 free\n\n1\n",
        Melody(notes=(note("C2"),), keys=((0, Key("C", "major")),), octave=2, octave_free=True),
    ),
]
IDS = [what for what, _, _ in BOTH_WAYS]

# (what it shows, text, the way format_melody writes the same): read only.
READ_ALIKE = [
    ("no key is C major", "1 3 5", "key: C major\n\n1 3 5"),
    ("headers in capitals", "Title: A: b\nKEY: D\n\n1", "title: A: b\nkey: D\n\n1"),
    ("what a word processor types", "\u266d3 \u266f4 \u2013 1\u2019", "b3 #4 - 1'"),
    ("a group shares its length", "(1 2 3):1/2 5", "1:1/2 2:1/2 3:1/2 5"),
    ("a bar line inside a group", "(1 2 | 3):1/2 5", "1:1/2 2:1/2 | 3:1/2 5"),
    ("compound and marked degrees", "8 9 b10 15", "1' 2' b3' 1''"),
    ("lengths are fractions", "1:2/4 2:4/2", "1:1/2 2:2"),
    ("a hold after a rest is a rest", "1 r - 2", "1 r r 2"),
    ("the last bar line says nothing", "1 2 | 3 |", "1 2 | 3"),
    ("a bar line before or after the line's end", "1 2\n| 3", "1 2 |\n3"),
    ("comments and empty lines", "; hello\n1 2\n\n  ; more\n3\n", "1 2\n3"),
    (
        "degrees against the key",
        "key: A minor\ndegrees: key\n\n1 3 6 7 #7",
        "key: Am\n\n1 b3 b6 b7 7",
    ),
    ("letters in a key become degrees", "key: D\n\nD2 F#2 A2 D3", "key: D\noctave: 2\n\n1 3 5 8"),
    ("the octave is the tonic's below the lowest", "key: C\n\nG2 E3", "key: C\noctave: 2\n\n5 10"),
    ("letters alone go the nearest way", "key: C\n\nC E G B C A F", "key: C\n\n1 3 5 7 8 6 4"),
    (
        "a nearest letter may cross the octave",
        "key: C\n\nC4 B C D",
        "key: C\noctave: 4\n\n1 7, 1 2",
    ),
    ("header names take spaces", "  key  :  C major  \n\n1", "key: C\n\n1"),
    ("a tab between notes", "1\t2", "1 2"),
    ("a repeat from the beginning", "1 2 :| 3", "|: 1 2 :| 3"),
    ("a repeat from the last one", "1 2 :| 3 :|", "|: 1 2 :| |: 3 :|"),
    ("endings to the end", "1 | [1 2 :| [2 3", "|: 1 | [1 2 :| [2 3 ]"),
    ("signs without spaces", "|:1 2:|3", "|: 1 2 :| 3"),
    ("a bar line before a repeat", "1 |\n|: 2 :|", "1\n|: 2 :|"),
    (
        "chords by the bar",
        "1 2 | 3 4 | 5\nchords: G | D7 | _\n",
        "1 2 | 3 4 | 5\nchords: G _ D7\n",
    ),
    (
        "words by the bar",
        "1 - | 3 4\nwords: so | _ far\n",
        "1 - | 3 4\nwords: so _ far\n",
    ),
    ("line ends of other systems", "key: D\r\n\r\n1 2\r3\n", "key: D\n\n1 2\n3\n"),
    ("a byte order mark", "\ufeffkey: D\n\n1 2", "key: D\n\n1 2"),
]

# (what is wrong, text, line, column, columns marked, what the message says)
FAULTS = [
    ("no note at all", "", 1, 1, 1, "there is no note in this melody: write degrees such as 1 5 8"),
    ("headers only", "title: X\nkey: C\n", 1, 1, 1, "there is no note in this melody"),
    ("bar lines only", "| |", 1, 1, 1, "there is no note in this melody"),
    ("degree zero", "1 0 2", 1, 3, 1, '"0": degrees count from 1 (the octave below is 1,)'),
    ("flat degree zero", "b0", 1, 1, 2, '"b0": degrees count from 1'),
    ("the note H", "C4 H4 D4", 1, 4, 2, '"H4": H is the German name of B; write B'),
    ("a small letter", "c#4", 1, 1, 3, '"c#4": note letters are capitals; write C#4'),
    ("an accidental behind", "1 3b", 1, 3, 2, "the accidental stands before the number"),
    (
        "an unknown word",
        "1 five 2",
        1,
        3,
        4,
        '"five" is not a note: expected a degree (5, b3, #4, 10)',
    ),
    ("a degree too high", "1 100", 1, 3, 3, '"100" is not a note'),
    ("both octave marks", "1,'", 1, 1, 3, '"1,\'" is not a note'),
    ("an octave mark behind a letter", "C4 G,", 1, 4, 2, "such as G2 or G5"),
    ("an octave that is half free", "octave: free\n\n1", 1, 1, 12, "whole number from -1 to 9"),
    ("no length after the colon", "1: 2", 1, 1, 2, '"1:" is not a note'),
    ("a length of nothing", "1:0", 1, 1, 3, '"1:0" is not a note'),
    ("a length divided by nothing", "1:1/0", 1, 1, 5, '"1:1/0" is not a note'),
    (
        "an unknown header",
        "titel: X\n\n1",
        1,
        1,
        8,
        'unknown header "titel"; did you mean "title"?',
    ),
    ("a header in the music", "1 2 meter: 3/4", 1, 5, 6, "meter: stands on a line of its own"),
    ("a header by another name", "Time: 4/4\n\n1", 1, 1, 5, 'did you mean "meter"?'),
    ("a remark in the music", "Cara\n1 2", 1, 1, 4, "a remark stands on a line that begins with ;"),
    ("a syllable", "do re", 1, 1, 2, "for syllables write do 1, re 2, mi 3"),
    ("an octave mark before", "-5 1", 1, 1, 2, "an octave down is written 5, (with a comma)"),
    ("a dot for the octave", "5. 1", 1, 1, 2, "an octave down is written 5, (with a comma)"),
    ("a length in decimals", "5:0.5", 1, 1, 5, "write half a beat 5:1/2"),
    ("a length without its colon", "5/2", 1, 1, 3, "write half a beat 5:1/2"),
    ("a length that stands alone", "1 :2", 1, 3, 2, "right behind its note, without a space"),
    (
        "a bar that goes on over the line's end",
        "meter: 2/4\n1 2 | 3 4 | 5\n1 2 | 1 2",
        3,
        3,
        1,
        "a bar goes on over the end of a line, unless a | stands there",
    ),
    (
        "a text tab",
        "by hand\nA|-0-|\nE|---|\nC|---|\ng|-2-|".replace("-|", "--|"),
        2,
        1,
        7,
        '"fretpath read TAB --melody -o tune.txt" makes one of it',
    ),
    ("a header without value", "key:\n\n1", 1, 1, 4, "the header key has no value"),
    ("a header twice", "key: C\nkey: D\n\n1", 2, 1, 6, "the header key stands twice"),
    (
        "a header too late",
        "1 2\ntitle: X\n3",
        2,
        1,
        8,
        "words: and chords: may stand between",
    ),
    ("an unknown key", "key: H major\n\n1", 1, 1, 12, 'unknown key "H major"'),
    ("an unknown mode", "key: C dorain\n\n1", 1, 1, 13, 'did you mean "dorian"?'),
    ("a key that may be minor", "key: e\n\n1", 1, 1, 6, 'can be read two ways: "E major" or "Em"'),
    ("an unknown meter", "meter: 4/5\n\n1", 1, 1, 10, '"4/5" is not a meter: write beats/unit'),
    ("an impossible tempo", "tempo: 9\n\n1", 1, 1, 8, "beats a minute from 10 to 400"),
    ("an impossible octave", "octave: 12\n\n1", 1, 1, 10, "a whole number from -1 to 9"),
    ("an unknown degree habit", "degrees: x\n\n1", 1, 1, 10, "major or key"),
    ("a key change to an unknown key", "key: C\n\n1\nkey: X\n2", 4, 1, 6, 'unknown key "X"'),
    ("a key change without a first key", "C4\nkey: D\nE4", 2, 1, 6, "the first key is not given"),
    (
        "a meter change without a first",
        "1\nmeter: 3/4\n2",
        2,
        1,
        10,
        "the first meter is not given",
    ),
    (
        "a key change that changes nothing",
        "key: C\n\n1\nkey: D\n",
        4,
        1,
        6,
        "at the end changes nothing",
    ),
    ("two key changes at one place", "key: C\n\n1\nkey: D\nkey: E\n2", 5, 1, 6, "keep one"),
    ("a bar line at the start", "| 1 2", 1, 1, 1, 'stray "|": there is no note between it'),
    ("two bar lines", "1 | | 2", 1, 5, 1, 'stray "|": there is no note between it'),
    ("two bar lines over a line end", "1 |\n| 2", 2, 1, 1, 'stray "|"'),
    (
        "a bar too long",
        "meter: 3/4\n\n1 2 3 | 4 5 6 7 | 1",
        3,
        15,
        1,
        "bar 2 has 4 beats up to here",
    ),
    ("a bar too short", "meter: 3/4\n\n1 2 3 | 4:2 | 1", 3, 9, 3, "bar 2 has 2 beats up to here"),
    ("a pickup too long", "meter: 2/4\n\n1 2 3 | 4 5 | 1", 3, 5, 1, "the meter 2/4 asks for 2"),
    ("a last bar too long", "meter: 2/4\n\n1 2 | 4 5 6:1/2", 3, 11, 5, "bar 2 has 5/2 beats"),
    ("a bar short behind a pickup", "meter: 2/4\n\n1 | 2 | 3 4", 3, 5, 1, "bar 1 has 1 beat up"),
    ("nothing to hold", "- 1", 1, 1, 1, "nothing to hold: a melody cannot begin with -"),
    ("a group in a group", "(1 (2 3):1/2", 1, 4, 1, "a group inside a group"),
    ("a group without an end", "(1 2 3", 1, 1, 1, "expected a ) and a length, such as ):1/2"),
    ("a group without a length", "(1 2 3) 4", 1, 7, 1, "expected the length of the group after )"),
    ("a group end alone", "1 2):1/2", 1, 4, 5, "expected a ( before this )"),
    ("a length inside a group", "(1 2:2):1/2", 1, 4, 3, "takes the group's length; drop its own"),
    ("a placement with nothing", "1@ 2", 1, 1, 2, "expected a string, a fret or both after @"),
    ("a placed rest", "r@4-3", 1, 1, 5, "a rest or a hold has none"),
    ("a length behind the place", "5@4-8:2", 1, 1, 7, "the length comes before the place"),
    ("a control character", "1 \x07 2", 1, 3, 1, "control character U+0007 in the text; delete it"),
    ("a terminal sequence", "1\x1b[31m", 1, 2, 1, "control character U+001B"),
    ("a terminal sequence of one byte", "title: \x9b31m\n\n1", 1, 8, 1, "control character U+009B"),
    ("a zero byte", "1 2\n3\0", 2, 2, 1, "control character U+0000"),
    ("a repeat without an end", "|: 1 2", 1, 1, 2, "write :| where it goes back"),
    ("a repeat in a repeat", "|: 1 |: 2 :|", 1, 6, 2, "close the first one with :|"),
    ("a repeat of nothing", "|: :| 1", 1, 4, 2, "there is no note between it"),
    ("a repeat of one time", "1 :|x1", 1, 3, 4, "a repeat is played 2 to 99 times"),
    ("endings and a number", "1 | [1 2 :|x3 [2 3 ]", 1, 10, 4, "drop the x"),
    ("one ending", "1 | [1 2 :| 3", 1, 10, 2, "write [2 behind its :|"),
    ("one ending, then a bar", "1 | [1 2 :| 3 | 4", 1, 15, 1, "write [2 before this"),
    ("one open ending", "1 | [1 2", 1, 5, 2, "write [2 behind its :|"),
    ("an ending inside a bar", "1 | 2 [1 3 :| [2 4", 1, 7, 2, "[1 stands right behind a |"),
    ("endings out of order", "1 | [2 3 :| [1 4", 1, 5, 2, "expected [1"),
    ("an end of no ending", "1 2 ] 3", 1, 5, 1, "endings begin with [1 and [2"),
    (
        "too many notes in all",
        ("1 " * 30 + "\n") * 10 + "1 :|x99",
        11,
        3,
        5,
        "written out, the repeats make more than 20000 notes",
    ),
    ("words above", "words: so\n1", 1, 1, 9, "under the line of music it belongs to"),
    ("words twice", "1\nwords: so\nwords: far", 3, 1, 10, "put both in one"),
    (
        "a word too many",
        "1 2\nwords: so ve ry",
        2,
        1,
        15,
        '"ry" is one too many (notes to sing in the line',
    ),
    ("a byte that is no text", "title: \udcff\n\n1", 1, 8, 1, "broken character U+DCFF"),
]
FAULT_IDS = [what for what, *_ in FAULTS]


class TestBothWays:
    @pytest.mark.parametrize(("_what", "text", "melody"), BOTH_WAYS, ids=IDS)
    def test_reading(self, _what: str, text: str, melody: Melody) -> None:
        assert parse_melody(text) == melody

    @pytest.mark.parametrize(("_what", "text", "melody"), BOTH_WAYS, ids=IDS)
    def test_writing(self, _what: str, text: str, melody: Melody) -> None:
        assert format_melody(melody) == text

    @given(melodies())
    def test_any_melody_is_written_and_read_back(self, melody: Melody) -> None:
        text = format_melody(melody)
        assert parse_melody(text) == melody
        assert format_melody(parse_melody(text)) == text

    @given(melodies(), st.integers(0, 6))
    def test_in_any_octave(self, melody: Melody, octave: int) -> None:
        moved = melody.in_octave(octave)
        assert parse_melody(format_melody(moved)) == moved
        assert [p.name for p in moved.pitches] == [p.name for p in melody.pitches]
        assert moved.degrees == melody.degrees


class TestReading:
    @pytest.mark.parametrize(
        ("_what", "text", "plain"), READ_ALIKE, ids=[what for what, _, _ in READ_ALIKE]
    )
    def test_two_ways_to_write_one_melody(self, _what: str, text: str, plain: str) -> None:
        assert parse_melody(text) == parse_melody(plain)

    def test_the_key_asked_for_moves_degrees_and_later_keys(self) -> None:
        text = "key: G major\n\n1 3 |\nkey: E natural minor\n1 b3\n"
        moved = parse_melody(text, key="Bb")
        assert [str(key) for _, key in moved.keys] == ["Bb major", "G natural minor"]
        assert [p.name for p in moved.pitches] == ["Bb", "D", "G", "Bb"]

    def test_letters_stay_when_the_key_is_asked_for(self) -> None:
        assert [str(p) for p in parse_melody("C4 E4", key="D").pitches] == ["C4", "E4"]

    def test_the_source_is_named_in_messages(self) -> None:
        with pytest.raises(MelodySyntaxError, match=r"^quay\.txt, line 1, column 1: "):
            parse_melody("0", source="quay.txt")


class TestFaults:
    @pytest.mark.parametrize(
        ("_what", "text", "line", "column", "span", "says"), FAULTS, ids=FAULT_IDS
    )
    def test_says_what_and_where(
        self, _what: str, text: str, line: int, column: int, span: int, says: str
    ) -> None:
        with pytest.raises(MelodySyntaxError) as caught:
            parse_melody(text)
        fault = caught.value
        assert says in fault.problem
        assert (fault.line, fault.column, fault.span) == (line, column, span)
        first, shown, marks = str(fault).split("\n")
        assert first == f"melody, line {line}, column {column}: {fault.problem}"
        assert shown.startswith("    ")
        assert marks == " " * (3 + column) + "^" * span
        assert all(char.isprintable() for char in shown)

    def test_a_long_line_is_shown_around_the_fault(self) -> None:
        with pytest.raises(MelodySyntaxError) as caught:
            parse_melody("1 " * 500 + "five " + "2 " * 500)
        _, shown, marks = str(caught.value).split("\n")
        assert len(shown) <= 76
        at = marks.index("^")
        assert shown[at : at + 4] == "five"
        assert marks.strip() == "^^^^"

    @pytest.mark.parametrize(
        "text",
        [
            "x" * 1_000_000,
            "x " * 500_000,
            "(" * 1_000_000,
            "a" + " " * 1_000_000,
            "key" + " " * 1_000_000,
            "1@" * 500_000,
            "b" * 1_000_000,
            "1" * 1_000_000,
            "|" * 100_000 + " " * 900_000,
            "\n" * 1_000_000,
        ],
        ids=lambda text: repr(text[:4]),
    )
    def test_a_megabyte_of_garbage_has_a_short_message(self, text: str) -> None:
        with pytest.raises(MelodySyntaxError) as caught:
            parse_melody(text)
        assert len(str(caught.value)) < 500

    @given(st.text(max_size=60))
    def test_any_text_is_a_melody_or_a_named_fault(self, text: str) -> None:
        with contextlib.suppress(MelodySyntaxError):
            melody = parse_melody(text)
            assert parse_melody(format_melody(melody)) == melody

    @given(st.text(alphabet="1b#5,'|()-r:/@ CGk\n", max_size=40))
    def test_any_shuffle_of_the_signs_is_a_melody_or_a_named_fault(self, text: str) -> None:
        with contextlib.suppress(MelodySyntaxError):
            melody = parse_melody(text)
            assert parse_melody(format_melody(melody)) == melody


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("A" + "," * 30, '"A' + "," * 19 + '": a note has its octave as a number'),
        ("1 abcdefghijklmnopqrstuvwxyz:", 'unknown header "abcdefghijklmnopqrst" (known'),
    ],
)
def test_a_message_quotes_twenty_characters(text: str, says: str) -> None:
    with pytest.raises(MelodySyntaxError) as caught:
        parse_melody(text)
    assert says in str(caught.value)
