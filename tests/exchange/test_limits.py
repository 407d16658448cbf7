"""Every file within the limits is read or refused soon, and in our own words; from any thread."""

from __future__ import annotations

import random
import re
import resource
import struct
import subprocess
import sys
import warnings
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import (
    FretpathError,
    MelodySyntaxError,
    format_melody,
    parse_melody,
    read_score,
    score_bytes,
)
from fretpath.exchange.scores import FORMATS, open_book, pack

NOTE = "<note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note>"
DIVISIONS = "<attributes><divisions>1</divisions></attributes>"


def score(body: str) -> bytes:
    head = '<score-part id="P1"><part-name>x</part-name></score-part>'
    part = f'<part id="P1">{body}</part>'
    return f"<score-partwise><part-list>{head}</part-list>{part}</score-partwise>".encode()


def keys(count: int) -> str:
    one = "<attributes><key><fifths>{0}</fifths></key></attributes>" + NOTE
    return "".join(one.format(n % 5) for n in range(count))


def measures(body: str, count: int) -> str:
    return "".join(f"<measure number='{n}'>{body}</measure>" for n in range(count))


REPEAT = (
    "<barline location='left'><repeat direction='forward'/></barline>"
    f"{NOTE}<barline location='right'><repeat direction='backward'/></barline>"
)


def track(body: bytes) -> bytes:
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96)
    return head + b"MTrk" + struct.pack(">I", len(body)) + body


STRUCK = b"\0\x90\x40\x40\x60\x80\x40\0"
END = b"\0\xff\x2f\0"
ABC = b"X:1\nM:4/4\nL:1/4\nK:C\n"

# What was slow or large once, and the largest of each kind that the limits allow.
HEAVY: dict[str, tuple[str, bytes]] = {
    "400,000 empty measures": ("a.mxl", pack(score("<measure number='1'/>" * 400_000))),
    "3,000 meters in a line": ("a.abc", ABC + b"[M:3/4]" * 3000 + b"C"),
    "200,000 brackets": ("a.abc", ABC + b"(" * 200_000 + b"C"),
    "brackets in lines": ("a.abc", ABC + (b"(" * 9_999 + b"\n") * 20 + b"C"),
    "2 MB of controllers": ("a.mid", track(b"\0\xb0\7\x40" * 500_000 + STRUCK + END)),
    "6,000 keys": ("a.xml", score(f"<measure>{DIVISIONS}{keys(6000)}</measure>")),
    "all notes, MusicXML": ("a.xml", score(measures(NOTE * 4, 4_999))),
    "all notes, ABC": ("a.abc", ABC + (b"CDEF|" * 20 + b"\n") * 249),
    "all notes, MIDI": ("a.mid", track(b"\0\xff\x58\4\4\2\x18\x08" + STRUCK * 19_900 + END)),
    "tags": ("a.mxl", pack(score("<a/>" * 999_000))),
    "repeats": ("a.abc", ABC + (b"|:C:|" * 450 + b"\n")),
    "endings": ("a.abc", ABC + b"[1C:|[2D:|" * 240),
    "too many repeats": ("a.xml", score(measures(REPEAT, 4_900))),
    "words": ("a.abc", ABC + b"C|" * 4_500 + b"\nw: " + b"|" * 9_000),
    "broken rhythm": ("a.abc", ABC + b"C" + b">>>" * 3_000 + b"D"),
    "open quotes": ("a.abc", ABC + b'"' * 9_999 + b"\n" + b"!" * 9_999 + b"\n" + b"{" * 9_999),
    "spaces": ("a.abc", ABC + (b"C" + b" " * 9_000 + b"-\n") * 90),
    "a back and forth": (
        "a.xml",
        score(f"<measure>{(NOTE + '<backup><duration>1</duration></backup>') * 19_000}</measure>"),
    ),
}

CHILD = """
import sys
from fretpath import FretpathError
from fretpath.exchange.scores import open_book
try:
    open_book(sys.stdin.buffer.read(), sys.argv[1]).tune().read()
except FretpathError as problem:
    print(problem)
"""


def limited() -> None:
    """Ten seconds of processor and 500 MB, by the operating system."""
    resource.setrlimit(resource.RLIMIT_CPU, (10, 10))
    resource.setrlimit(resource.RLIMIT_DATA, (500 * 2**20, 500 * 2**20))


@pytest.mark.parametrize("name", HEAVY)
def test_a_heavy_file_ends_within_ten_seconds_and_500_megabytes(name: str) -> None:
    file, data = HEAVY[name]
    done = subprocess.run(
        [sys.executable, "-c", CHILD, file],
        input=data,
        capture_output=True,
        preexec_fn=limited,
        check=False,
    )
    assert done.returncode == 0, done.stderr.decode()[-500:]
    assert not done.stderr


TUNE = """title: Many
key: Eb
meter: 4/4
source: x

5,:1/2 7, | |: 1 2 (3 4 5):1/3 5 | (5 4 3):2/3 2:2 | [1 5 - - r :| [2 1 2 3 4 ]
key: C harmonic minor
meter: 3/4
1 2 3 | 4 5 -"""


def harmed(data: bytes, draw: random.Random) -> bytes:
    """The bytes with one to four of them cut, turned over, doubled or made another number."""
    content = bytearray(data)
    for _ in range(draw.randint(1, 4)):
        at, kind = draw.randrange(len(content)), draw.randrange(4)
        if kind == 0:
            del content[at : at + draw.randint(1, 40)]
        elif kind == 1:
            content[at] ^= draw.randint(1, 255)
        elif kind == 2:
            content[at:at] = content[at : at + draw.randint(1, 40)]
        else:
            content[at : at + 1] = draw.choice([b"0", b"-9", b"999999", b"1.5"])
    return bytes(content)


@pytest.mark.parametrize("ending", [".musicxml", ".mxl", ".mid", ".abc"])
def test_a_harmed_file_is_read_or_refused_in_our_own_words(ending: str) -> None:
    """What is read can be written as melody text; no other library speaks in what is said."""
    data = score_bytes(parse_melody(TUNE), ending)
    draw = random.Random(ending)
    read = refused = 0
    for _ in range(120):
        try:
            found = open_book(harmed(data, draw), f"tune{ending}").tune().read()
        except FretpathError as problem:
            said = str(problem)
            assert said.startswith("tune"), said
            assert not re.search(r"object|NoneType|Error|music21|0x[0-9a-f]{4}", said), said
            refused += 1
            continue
        assert parse_melody(format_melody(found.melody)) == found.melody
        read += 1
    assert refused
    assert read or ending == ".mxl"


HOSTILE = st.text(st.sampled_from("ab1:|;%\t\x0b\x85\u2028\u202e\u0301 '"), max_size=20)


@settings(max_examples=30, deadline=None)
@given(HOSTILE, HOSTILE, st.sampled_from([".musicxml", ".abc"]))
def test_headers_are_one_line_whatever_a_file_says(title: str, source: str, ending: str) -> None:
    """What a reader shows and what another command sees is the same melody."""
    data = score_bytes(parse_melody("title: AAAA\nsource: BBBB\nteaches: CCCC\n\n1 3 5"), ending)
    for word, text in (("AAAA", title), ("BBBB", source), ("CCCC", title)):
        text = text if ending == ".musicxml" else text.replace("\x0b", "")
        data = data.replace(word.encode(), text.replace("\x0b", "&#10;").encode())
    found = open_book(data, f"a{ending}").tune().read().melody
    for text in (found.title, *(value for _, value in found.headers)):
        assert text.isprintable()
        assert text == " ".join(text.split())
    assert parse_melody(format_melody(found)) == found


def test_eight_threads_read_at_once_and_nothing_of_the_process_changes() -> None:
    melody = parse_melody("title: Many\nmeter: 4/4\n\n1 2 3 4 | (5 4 3):2/3 2:2", key="G")
    files = [(score_bytes(melody, ending), f"a{ending}") for ending in FORMATS] * 40
    wanted = {name: open_book(data, name).tune().read() for data, name in files}
    before = (sys.stderr, sys.stdout, list(warnings.filters), warnings.showwarning)
    with ThreadPoolExecutor(8) as pool:
        found = list(pool.map(lambda file: open_book(*file).tune().read(), files))
    assert (sys.stderr, sys.stdout, list(warnings.filters), warnings.showwarning) == before
    assert found == [wanted[name] for _, name in files]


def test_bytes_open_files_and_melody_text_are_read(tmp_path: Path) -> None:
    melody = parse_melody("title: One Door\n\n1 3 5 8", key="D")
    for ending in FORMATS:
        path = tmp_path / f"tune{ending}"
        path.write_bytes(score_bytes(melody, ending))
        with path.open("rb") as file:
            from_file = read_score(file)
        assert read_score(path) == read_score(str(path)) == from_file
        assert read_score(path.read_bytes()).melody == from_file.melody
        assert from_file.melody.pitches == melody.pitches
        assert from_file.melody.title == "One Door"
    with (tmp_path / "tune.txt").open() as text, pytest.raises(FretpathError, match="'rb'"):
        read_score(text)  # type: ignore[arg-type]


def test_jotted_text_is_refused_with_the_name_of_its_reader() -> None:
    with pytest.raises(MelodySyntaxError, match=r"is read by fretpath\.read_loosely") as caught:
        read_score(b"title: Rainy Tuesday\n\n1 2 zig")
    assert (caught.value.line, caught.value.column) == (3, 5)


def test_a_music21_stream_becomes_a_melody() -> None:
    from music21 import converter, stream

    from fretpath import ScoreFileError, melody_from_music21

    part = converter.parse("tinynotation: 3/4 c4 d8 f# g4 trip{a8 b c'} d'2")
    found = melody_from_music21(part).melody
    assert [str(pitch) for pitch in found.pitches] == "C4 D4 F#4 G4 A4 B4 C5 D5".split()
    assert str(found.meter) == "3/4"
    with pytest.raises(ScoreFileError, match=r"no pitched note|cannot be written"):
        melody_from_music21(stream.Score())


@pytest.mark.parametrize(
    ("text", "lengths"),
    [
        ("X:1\nK:C\nC2 D", "1 1/2"),  # L: is 1/8 (ABC 2.1, 3.1.7)
        ("X:1\nM:2/4\nK:C\nC2 D", "1/2 1/4"),  # below 3/4: 1/16
        ("X:1\nM:6/8\nK:C\nC2 D", "2 1"),  # an eighth is a beat
        ("X:1\nL:1/4\nK:C\nC2 D", "2 1"),
    ],
)
def test_abc_without_meter_or_length_has_the_usual_ones(text: str, lengths: str) -> None:
    found = open_book(text.encode(), "a.abc").tune().read()
    assert " ".join(str(note.beats) for note in found.melody.notes) == lengths
    assert not any("0x" in str(remark) for remark in found.remarks)


def test_triplets_that_were_rounded_are_read_as_written() -> None:
    """171/512 of a quarter note is what some programs make of a third of one."""
    triplet = (
        "<note><pitch><step>{0}</step><octave>4</octave></pitch><duration>{1}</duration>"
        "<type>eighth</type><time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification></note>"
    )
    notes = "".join(triplet.format(*pair) for pair in (("C", 171), ("D", 170), ("E", 171)))
    body = f"<measure><attributes><divisions>512</divisions></attributes>{notes}</measure>"
    found = open_book(score(body), "a.xml").tune().read()
    assert " ".join(str(note.beats) for note in found.melody.notes) == "1/3 1/3 1/3"
    assert [str(r) for r in found.remarks] == ["rounded: lengths to the notes that are written"]


@pytest.mark.parametrize(
    ("signs", "played"),
    [
        ("C |: D :| E", "C D D E"),
        ("C :| D :: E :|", "C C D D E E"),
        ("|: C |1 D :|2 E | F", "C D C E F"),
        ("C !segno! | D | E !D.S.! |", "C D E D E"),
        ("C !fine! | D !D.C.! |", "C D C"),
        ("C !dacoda! | D !D.C.! | !coda! E", "C D C E"),
        ("|: C |1,2 D :|3 E |", "C D C D C E"),
    ],
)
def test_the_order_of_playing(signs: str, played: str) -> None:
    """Repeats, endings, da capo, dal segno, fine and coda (common practice)."""
    found = open_book(f"X:1\nL:1/4\nK:C\n{signs}\n".encode(), "a.abc").tune().read()
    assert " ".join(pitch.letter for pitch in found.melody.expanded().pitches) == played


def test_the_first_tempo_holds_where_a_jump_is_written_out() -> None:
    music = "X:1\nL:1/4\nQ:1/4=100\nK:C\nC !fine! |[Q:1/4=60] D !D.C.! |\n"
    found = open_book(music.encode(), "a.abc").tune().read()
    assert found.melody.tempo == 100
    assert "left out: 1 later tempo" in map(str, found.remarks)
