"""What hypothesis draws for hard use: melody text, tab text, command lines, damaged files.

Everything follows its grammar most of the way, since plain noise is refused at the first letter
and never reaches the code behind it.  The options come from the parsers themselves, so that a new
command or option is tried without a word here.
"""

from __future__ import annotations

import argparse
import functools
import importlib
from dataclasses import dataclass

from hypothesis import strategies as st

from fretpath import score_bytes
from fretpath.commands import COMMANDS
from fretpath.exchange.scores import FORMATS, pack
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.hand import HANDS
from fretpath.neck.terms import PLAYING
from tests.hard.running import BASES, HEARD, WORDS_TO_REPLACE

KEYS = ["C", "B", "Bb minor", "F# dorian", "G major", "Cb locrian", "C## lydian", "Am", "E blues"]
JUNK = [
    "", " ", "-", "--", "-1", "0", "1e9", "nan", "inf", "-inf", "9" * 40, "9" * 5000, "1_0", "+3",
    "\N{FULLWIDTH DIGIT THREE}", "\N{ARABIC-INDIC DIGIT THREE}", "0x10", "1/0", "1,1", ",", "1-",
    "\N{RIGHT-TO-LEFT OVERRIDE}1 3 5", "\x1b[31m", "a\nb", "\udcff", "\N{SUPERSCRIPT TWO}",
    "é" * 300, "None", "{}", "%s", "%(prog)s", "{0.__class__}", "$HOME", "~", "*", "\\", "'", '"',
    "1 2 3",
]  # fmt: skip
"""Values that no option means."""
OUTPUTS = [
    "out.txt", "out", "out.html", "out.svg", "out.mid", "out.musicxml", "out.mxl", "out.abc",
    "tune.txt", "tunes", ".", "", "missing/out.txt", "tune.txt/out", "/dev/null", "/dev/full",
    "o" * 250, "o" * 300, "out.wav", "new", "a b.txt", "\N{LATIN SMALL LETTER E WITH ACUTE}.txt",
    "tune.abc", "tune.mid", "tab.txt", "class.csv", "card.toml", "link.txt", "tunes/one.txt",
    "./", "tunes/", "-", "./tune.txt", "answer.wav",
]  # fmt: skip
"""Where a result may go: never outside the folder."""
VALUES: dict[str, list[str]] = {
    "key": KEYS,
    "answer_key": KEYS,
    "to": [*KEYS, "dorian", *FORMATS, "txt", "abc", "musicxml"],
    "by": ["M2", "-m3", "P8", "5frets", "-2 frets", "d5", "A99"],
    "onto": list(INSTRUMENTS),
    "instrument": list(INSTRUMENTS),
    "tuning": ["D1 A1 D2 G2", "E1", "C-1 C9", "G9 A0", "E1 A1 D2 G2 C3 F3 A3 D4 G4 C5 F5 B5 E6"],
    "scale_length": ["30in", "762mm", "0mm", "99999mm"],
    "hand": [*HANDS, "one-two-four:5", "12.4", "1234", "....", "one-two-four:99"],
    "reach": ["80mm", "3.5in", "20mm", "300mm"],
    "weights": ["shift=2,open=0", "shift=10000", "open=", "=", "shift=1,shift=2"],
    "strings": ["1,2", "1", "4", "99", "1,1,1"],
    "start": ["4-8", "4-8-2", "1-0", "1-0-1", "9-99-9"],
    "rows": ["degree", "degree,note", "count,finger", "", ",,,", "bar,bar"],
    "hide": ["degrees", "tab", "all", "degrees,tab", "every"],
    "tune": ["1", "2", "Low Tide"],
    "part": ["1", "1.2", "guitar", "0", "9.9"],
    "confused": ["3=b3", "3=b3 4=#4", "3=3", "=", "1=2=3"],
    "points": ["degree=2,octave=1", "added=-1", "degree=99999999999999999999"],
    "chord": ["Am7", "C", "Gsus4", "H7", "C" * 50],
    "range": ["5-9", "9-5", "0-99", "1-1"],
    "order_file": ["tune.txt", "tab.txt", "tune.mid", "missing", "tunes", "/dev/null"],
    "next": ["tunes", "missing", "tune.txt"],
    "folder": ["tunes", "tunes", "missing", "tune.txt", ".", "/dev/null"],
    "answers": OUTPUTS,
    "save_order": OUTPUTS,
    "output": OUTPUTS,
    "degrees": ["1,2,3,#4", "1 2", "0", "b" * 40 + "3"],
    "scale": ["dorian", "major", "harmonic minor", "doran"],
    "only": ["1 2 3 5", "0"],
    "has": ["#4", "b3 5"],
    "contour": ["up up down same", "sideways"],
    "intervals": ["+M2 m3", "-m3", "P99"],
    "meter": ["3/4", "6/8", "0/0", "99/99"],
    "title": ["A lesson", "<b>", "x" * 500],
    "record": ["class.csv", "class.csv", "new.csv", "tune.txt", "missing/class.csv", "tunes"],
    "sounds": OUTPUTS,
    "card": ["card.toml", "card.toml", "missing.toml", "tune.txt", "tunes", "/dev/null"],
    "student": ["Ana", "Tom", "", "<b>", "\x1b[2J"],
    "date": ["2026-11-25", "2026-13-45", "today", "0000-00-00"],
    "known_degrees": ["1 2 3 5", "H", "1,2"],
    "call": ["1", "2", "0", "99", "1-2"],
    "against": ["dorian", "1 3 5", "tune.txt", "tab.txt"],
    "cannot_reach": ["1-5", "1", "3=80mm", "note 3"],
    "jobs": ["1", "2"],
    "starts": ["1 2", "5,"],
    "ends": ["1", "r"],
    "met": ["1 2 3", ""],
    "tempo": ["90", "66.5", "0", "400", "401"],
}
_OUTPUT_NAMES = ("answers", "save_order", "output", "sounds")
_LETTERS = st.characters(codec="utf-8")
words = st.text(_LETTERS, max_size=12).filter(lambda word: not word.startswith(("-", "/", ".")))


# -- melody text ---------------------------------------------------------------------------------

_degree = st.builds(
    "{}{}{}".format,
    st.sampled_from(["", "", "", "", "b", "#", "bb"]),
    st.integers(1, 10),
    st.sampled_from(["", "", "", "", ",", "'"]),
)
_name = st.builds(
    "{}{}{}".format,
    st.sampled_from("CDEFGAB"),
    st.sampled_from(["", "", "#", "b"]),
    st.sampled_from(["", "2", "3", "'", ","]),
)
_length = st.sampled_from(["", "", "", "", ":2", ":1/2", ":3/2", ":1/3", ":5/7", ":40"])
_event = st.builds("{}{}".format, _degree | _degree | _name | st.sampled_from(["r", "-"]), _length)
_group = st.builds(
    "({}){}".format,
    st.lists(_degree, min_size=1, max_size=4).map(" ".join),
    st.sampled_from([":1/2", ":2", ":1/3"]),
)
_music = st.builds(
    "{} {}".format,
    _degree,
    st.lists(st.one_of(_event, _event, _event, _group), max_size=14).map(" ".join),
)
_head = st.fixed_dictionaries(
    {},
    optional={
        "key": st.sampled_from(KEYS),
        "tempo": st.sampled_from(["90", "10", "400", "66.5"]),
        "octave": st.sampled_from(["1", "2", "2", "-1", "9"]),
        "degrees": st.sampled_from(["key", "major"]),
        "title": st.sampled_from(
            ["Low Tide", "<b> & %s", "x" * 300, "\N{HEBREW LETTER ALEF}\u200f"]
        ),
        "level": st.sampled_from(["3", "0.5", "nan", "1e999"]),
    },
)
_SPOILS = [
    "|", "(", ")", "):", "()", ";", "@", "@4-8", "5@4-8", "5@4", "5@-8", "5@99-99", "r@1", "0",
    "-", "b", "#4#", "####5", "24", "99", "1,,,,,,,,,", "1''''''''''", "C-9", "C9", "B#-1", "H4",
    "c4", "1:0", "1:1/0", "1:9999", "1:1/9999", "1:99999", "key: H", "\nkey: A minor\n",
    "\nmeter: 5/8\n", "\nmeter: 0/0\n", "\ntitle: twice\n", "\ntitle:\n", "\nkeys: C\n", "\n",
    "\r", "\r\n", "\n\n\n", "\t", "\ufeff", "\0", "\x1b[2J", "\u2028", "\x85",
    "\N{RIGHT-TO-LEFT OVERRIDE}", "\N{FULLWIDTH DIGIT FIVE}", "\N{MUSIC SHARP SIGN}5",
    "\N{EN DASH}", "\N{NO-BREAK SPACE}", "e\u0301", "--4--", "G|--2--|", "\n; remark\n",
    " " * 500, "1 " * 60,
]  # fmt: skip
"""What a melody text holds at a place where it should not, or where it rarely does."""


@st.composite
def melody_texts(draw: st.DrawFn) -> str:
    """Melody text as teachers write it, left whole or spoiled in one or two places."""
    if draw(st.integers(0, 15)) == 0:
        return draw(st.text(_LETTERS, max_size=60))
    head = draw(_head)
    rows = draw(st.lists(_music, min_size=1, max_size=3))
    text = "\n".join([*(f"{name}: {value}" for name, value in head.items()), "", *rows])
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 1, 2]))):
        at = draw(st.integers(0, len(text)))
        spoil = draw(st.sampled_from(_SPOILS) | words)
        text = text[:at] + spoil + text[at + draw(st.integers(0, 2)) :]
    return text


# -- tab text ------------------------------------------------------------------------------------

_NAMES = ["GDAE", "GDAE", "GDAE", "eBGDAE", "EBGDAE", "GDAEB", "AECG", ["", "", "", ""], "|||||"]
_ASIDES = [
    "", "", "", "count 1 & 2", "count 1 2 3 4", "Tuning: D1 A1 D2 G2", "Capo 2", "Capo 99",
    "key: D", "Key: H", "key: Bb minor", "meter: 3/4", "meter: 0/0", "tempo: 0", "tempo: 100",
    "finger 1 2", "bass: strings 4 to 1 E1 A1 D2 G2, scale 863.6 mm", "instrument: ukulele",
    "\ufeff", "words",
]  # fmt: skip
_CELLS = [
    "|", "|", "||", ":|", "2", "3", "5", "7", "9", "0", "12", "10", "5h7", "7p5", "/9", "7b9",
    "9r7", "x", "(7)", "<12>", "7~", "24", "36", "99", "123", "3 ", "*", "=", "",
]  # fmt: skip
_TAB_SPOILS = [
    "-", "|", "--", "||", "\n", "\n\n", " ", "\t", "3", "12345", "x2", "h", ":", "\0", "\x1b[2J",
    "\r", "\N{EN DASH}", "\N{BOX DRAWINGS LIGHT HORIZONTAL}", "G|--2--|\n",
    "\N{FULLWIDTH DIGIT FIVE}", "\N{SUPERSCRIPT TWO}", "\N{ARABIC-INDIC DIGIT THREE}", "-" * 400,
    "Capo 3\n", "\ud7ff", "\u2028",
]  # fmt: skip


@st.composite
def tab_texts(draw: st.DrawFn) -> str:
    """Text tab as people write it, left whole or spoiled in one or two places."""
    names = draw(st.sampled_from(_NAMES))
    lines = [draw(st.sampled_from(_ASIDES)) for _ in range(draw(st.integers(0, 2)))]
    for _ in range(draw(st.sampled_from([1, 1, 2]))):
        lines += [*_system(draw, names), draw(st.sampled_from(_ASIDES))]
    text = "\n".join(lines)
    for _ in range(draw(st.sampled_from([0, 0, 0, 1, 1, 2]))):
        at = draw(st.integers(0, len(text)))
        spoil = draw(st.sampled_from(_TAB_SPOILS) | words)
        text = text[:at] + spoil + text[at + draw(st.integers(0, 2)) :]
    return text


def _system(draw: st.DrawFn, names: str | list[str]) -> list[str]:
    """One line a string; a column holds a bar line on all of them or something on one."""
    rows = [f"{name}|-" for name in names]
    for cell in draw(st.lists(st.sampled_from(_CELLS), max_size=12)):
        string = draw(st.integers(0, len(rows) - 1))
        for at in range(len(rows)):
            shared = "|" in cell or at == string
            rows[at] += (cell if shared else "-" * len(cell)) + "--"
    return [f"{row}|" for row in rows]


# -- command lines -------------------------------------------------------------------------------


@dataclass(frozen=True)
class CommandLine:
    """One call, with what stands on standard input."""

    words: tuple[str, ...]
    """The arguments, the command first."""
    stdin: bytes
    """What ``-`` reads."""


@functools.cache
def options_of(command: str) -> tuple[argparse.Action, ...]:
    """Every argument a command declares."""
    parser = argparse.ArgumentParser(prog=command)
    importlib.import_module(f"fretpath.commands.{command}").add_options(parser)
    return tuple(action for action in parser._actions if action.dest != "help")


_number = st.integers(-2, 30).map(str) | st.sampled_from(["1", "4", "80", "120", "0.5", "60.0"])
_tune = st.sampled_from(
    ["1 3 5 8", "Ana: 1 3 5 8", "answer.wav", "tune.txt", "tune.musicxml", "tune.mxl",
     "tune.mid", "tune.abc", "-", "tunes", "tab.txt", "C4 D4 E4", "missing.txt",
     "missing.mid", ".", "/dev/null", "1 b3 4@4-8 5:2"]
)  # fmt: skip


def _values(action: argparse.Action) -> st.SearchStrategy[str]:
    """What an argument may be given, sensible mostly."""
    if action.dest in _OUTPUT_NAMES and action.option_strings:
        return st.sampled_from(OUTPUTS)
    junk = st.sampled_from(JUNK) | words
    if action.dest in ("melody", "tab", "expected", "answers", "against"):
        return st.one_of(_tune, _tune, _tune, melody_texts(), tab_texts(), junk)
    usual: st.SearchStrategy[str] = _number
    if action.choices:
        usual = st.sampled_from([str(choice) for choice in action.choices])
    elif action.dest in VALUES:
        usual = st.sampled_from(VALUES[action.dest])
    return st.one_of(usual, usual, usual, usual, junk)


@st.composite
def command_lines(draw: st.DrawFn) -> CommandLine:
    """A command with what it needs and a few of its options, each with some value."""
    command = draw(st.sampled_from(list(COMMANDS)))
    actions = options_of(command)
    given = [command]
    for action in actions:
        if not action.option_strings and (action.nargs != "*" or draw(st.booleans())):
            value = draw(_values(action))
            given.append(value if not value.startswith("-o") else "1 2")
    optional = [action for action in actions if action.option_strings]
    for action in draw(st.lists(st.sampled_from(optional), max_size=5)):
        name = draw(st.sampled_from(action.option_strings))
        if action.nargs == 0:
            given.append(name)
        elif draw(st.booleans()) and name.startswith("--"):
            given.append(f"{name}={draw(_values(action))}")
        else:
            given += [name, draw(_values(action))]
    if draw(st.integers(0, 19)) == 0:
        given.append(draw(st.sampled_from(["--help", "--unknown", "--", "-h", "--ke", "-x"])))
    stdin = draw(melody_texts() | tab_texts()).encode("utf-8")
    return CommandLine(tuple(given), stdin + draw(st.sampled_from([b"", b"", b"", b"\xff", b"\0"])))


# -- options in conflict -------------------------------------------------------------------------

_CONFLICTS: dict[str, list[str]] = {
    "--open-strings": ["forbid", "avoid", "prefer", "allow"],
    "--highest-fret": ["0", "1", "3", "5", "12"],
    "--lowest-fret": ["0", "1", "4", "12", "36"],
    "--strings": ["1", "2", "4", "1,2", "1,4", "6", "1,1"],
    "--position": ["0", "1", "2", "7", "30"],
    "--frets": ["1", "3", "12", "36"],
    "--capo": ["0", "1", "5", "11", "12"],
    "--reach": ["20mm", "45mm", "300mm"],
    "--hand": [*HANDS, "12.4", "1..."],
    "--playing": list(PLAYING),
    "--start": ["1-0", "4-8", "2-3-1", "1-12-4"],
    "--octave": ["0", "1", "2", "4", "8"],
    "--instrument": list(INSTRUMENTS),
    "--tuning": ["E1", "C2 G2", "G4 C4 E4 A4", "A1 A1", "E1 A1 D2 G2"],
    "--objective": ["total", "minimax"],
    "--repeats": ["same", "free"],
    "--weights": ["open=0", "shift=10000,open=10000", "stretch=0,shift=0", "shift=1,shift=2"],
    "--accidentals": ["0", "7"],
    "--key": KEYS,
    "--one-string": [],
    "--no-shift": [],
}
"""Options that narrow each other, and values that do; an option without values is a switch."""
_CONFLICT_CALLS = [
    ("tab",), ("tab", "--why"), ("tab", "--ways=5"), ("tab", "--spoken"), ("tab", "--json"),
    ("keys",), ("neck",), ("neck", "-o", "out.svg"), ("transpose", "--to", "D"),
    ("transpose", "--by=-5frets"), ("drill", "--kind=shift"), ("drill", "--kind=tempo"),
    ("drill",), ("convert", "--to=abc"), ("convert", "-o", "out.musicxml"),
    ("sheet", "--no-sound", "-o", "out.html"), ("sheet", "--no-sound", "--choose-key"),
    ("order",), ("term", "--no-sound", "-o", "new"), ("check", "--ours"),
]  # fmt: skip
_CONFLICT_TUNES = [
    "1 2 3", "1 5 8 9 10", "C2 E2 G2", "E1 G4 E1", "1 15", "5, 1 b3 #4 8", "1@4-8 3@1-0", "r 1",
    "1 1 1 1", "C9 C0", "1:1/3 2:1/3 3:1/3 8''",
]  # fmt: skip


@st.composite
def conflicts(draw: st.DrawFn) -> CommandLine:
    """A command with two to eight options that leave each other little or nothing."""
    call = draw(st.sampled_from(_CONFLICT_CALLS))
    known = {name for action in options_of(call[0]) for name in action.option_strings}
    names = st.sampled_from([name for name in _CONFLICTS if name in known])
    given = [call[0]]
    if call[0] in ("order", "term"):
        given.append("tunes")
    else:
        given.append("tab.txt" if call[0] == "check" else draw(st.sampled_from(_CONFLICT_TUNES)))
    for name in draw(st.lists(names, min_size=2, max_size=8, unique=True)):
        values = _CONFLICTS[name]
        given.append(f"{name}={draw(st.sampled_from(values))}" if values else name)
    return CommandLine((*given, *call[1:]), b"1 3 5")


# -- long runs of one sign -----------------------------------------------------------------------

_SIGNS = [
    " ", "\t", "\n", "-", "|", "(", ")", "[", "]", "{", '"', "!", ":", ";", ",", "'", "b", "#",
    "1", "9", "r", "@", "/", "~", "h", "x", "<", "\\", "=", "^", "_", "*", "&", "%", ".", "\u0301",
    "\u00a0", "1 ", "- ", "| ", "|:", ":|", "[1", "[M:", "[K:C]", "( ", "(3", "--:", "-3-", "1-",
    "1:", "1,", "r ", "key: C\n", "title: x\n", "1\n", "G|--3--|\n", "w:", "; ", "bb", "1@1-1 ",
]  # fmt: skip
_AROUND = [
    ("", ""), ("", "1 3 5"), ("1 3 5", ""), ("1 3 5 ", " 8"), ("", "--:"), ("title: ", "\n\n1 3 5"),
    ("key: ", "\n1"), ("meter: ", "\n1"), ("1:", ""), ("G|", "|\nD|--2--|"), ("G|--", "--|"),
    ("Tuning: ", "\nG|--3--|\nD|-----|\nA|-----|\nE|-----|"), ("Ana: ", " 1 3 5"),
    ("Capo ", "\nG|--3--|\nD|-----|\nA|-----|\nE|-----|"),
]  # fmt: skip
_RUN_CALLS = [
    ("tab", "-"), ("spell", "-"), ("read", "-"), ("check", "-"), ("mark", "tune.txt", "-"),
    ("mark", "1 3 5", "-", "--record", "new.csv"), ("convert", "-", "--to", "musicxml"),
    ("drill", "-"), ("keys", "-"), ("record", "run.csv"), ("tab", "run.abc"), ("tab", "run.xml"),
    ("order", "tunes", "--order-file", "run.txt"), ("tab", "1 3", "--key", "TEXT"),
    ("tab", "TEXT"), ("mark", "1 3 5", "TEXT"), ("tab", "1 3", "--hide", "TEXT"),
    ("find", "tunes", "--has", "TEXT"), ("tab", "1 3", "--weights", "TEXT"),
    ("tab", "1 3", "--tuning", "TEXT"), ("drill", "1 3 5", "--confused", "TEXT"),
]  # fmt: skip


@dataclass(frozen=True)
class LongRun:
    """Some thousand times the same sign, with little around it."""

    text: str
    """What is read."""
    command: tuple[str, ...]
    """What is asked; ``TEXT`` stands for the text itself, ``run.*`` for a file that holds it."""


@st.composite
def long_runs(draw: st.DrawFn) -> LongRun:
    """A sign, or a few after each other, 500 to 9,500 times."""
    sign = "".join(draw(st.lists(st.sampled_from(_SIGNS), min_size=1, max_size=2)))
    before, after = draw(st.sampled_from(_AROUND))
    command = draw(st.sampled_from(_RUN_CALLS))
    if command[-1].endswith(".abc"):
        before = draw(st.sampled_from(["X:1\nK:C\nC", "X:1\nM:4/4\nL:1/4\nK:C\n"])) + before
    count = draw(st.integers(500, 9_500)) // len(sign)
    return LongRun(before + sign * count + after, command)


# -- headers -------------------------------------------------------------------------------------

_HEADER = st.text(
    st.sampled_from(
        "ab1 :|;%@-#,'\t\n\x0b\x0c\r\x85\u2028\u202e\u2066\u0301\x1b\x9b\ufeff<&\"\\{["
    ),
    max_size=24,
)
_HEADER_CALLS = [
    ("convert", "FILE", "--to", "txt", "--no-tab"),
    ("convert", "FILE", "--to", "abc", "--no-tab"),
    ("order", "."),
    ("find", ".", "--has", "3"),
    ("spell", "FILE", "--json"),
    ("sheet", "FILE", "--no-sound"),
    ("mark", "FILE", "1 3 5", "--record", "new.csv"),
]


@dataclass(frozen=True)
class HeaderFile:
    """A file whose titles and other words were chosen to be taken for music or for commands."""

    name: str
    """Its name, with an ending."""
    data: bytes
    """What it holds."""
    command: tuple[str, ...]
    """What is asked of it; ``FILE`` stands for its name."""


@st.composite
def header_files(draw: st.DrawFn) -> HeaderFile:
    """One of our own small files, in any format, with other words in its headers."""
    ending = draw(st.sampled_from([".musicxml", ".abc", ".mid", ".txt", ".mxl"]))
    text = "title: AAAA\nkey: D\nsource: BBBB\nteaches: CCCC\n\n1 3 5"
    data = text.encode() if ending == ".txt" else score_bytes(WORDS_TO_REPLACE, ending)
    if ending == ".mxl":
        data = score_bytes(WORDS_TO_REPLACE, ".musicxml")
    for word in (b"AAAA", b"BBBB", b"CCCC"):
        said = draw(_HEADER)
        if ending in (".musicxml", ".mxl"):
            said = "".join(c if c.isalnum() else f"&#{ord(c)};" for c in said)
        new = said.encode()
        if ending == ".mid":
            new = new[:4].ljust(4)
        data = data.replace(word, new)
    if ending == ".mxl":
        data = pack(data)
    return HeaderFile(f"tune{ending}", data, draw(st.sampled_from(_HEADER_CALLS)))


# -- recordings ----------------------------------------------------------------------------------

_HEARING = [
    ("read", "FILE"),
    ("read", "FILE", "--tempo", "90", "--key", "G"),
    ("read", "FILE", "-o", "out.txt", "--instrument", "bass"),
    ("mark", "tune.txt", "FILE"),
    ("mark", "tune.txt", "FILE", "--record", "class.csv"),
    ("mark", "FILE", "1 3 5"),
    ("tab", "FILE"),
]


@st.composite
def damaged_recordings(draw: st.DrawFn) -> DamagedScore:
    """A short recording of our own, harmed in one to four places, or no recording at all."""
    data = draw(st.sampled_from(HEARD))
    for _ in range(draw(st.sampled_from([0, 1, 1, 2, 4]))):
        at = draw(st.integers(0, 60) | st.integers(0, len(data)))
        kind = draw(st.sampled_from(["put", "cut", "twice", "flip", "end", "over"]))
        piece = draw(st.sampled_from(_CHUNKS) | st.binary(max_size=8))
        data = _harmed(data, kind, at, draw(st.integers(0, 400)), piece)
    name = draw(
        st.sampled_from(["ana.wav", "ana.wav", "ana.flac", "ana.ogg", "ana.mp3", "ana.m4a"])
    )
    return DamagedScore(name, data, draw(st.sampled_from(_HEARING)))


_CHUNKS = [
    b"RIFF", b"RIFX", b"data", b"fmt ", b"fLaC", b"OggS", b"\xff\xfb\x90\x00",
    b"ID3\4\0\0\x7f\x7f\x7f\x7f",
    b"\0\0\0\0", b"\xff\xff\xff\xff", b"\xff\xff\xff\x7f", b"\1\0", b"\3\0", b"\0\0\xc0\x7f" * 50,
    b"\0\0\x80\x7f" * 50, b"\x7f" * 500, b"\0" * 900,
]  # fmt: skip


# -- score files ---------------------------------------------------------------------------------

PIECES: tuple[bytes, ...] = (
    b"", b"\0", b"\xff", b"\xff\xfe", b"<", b">", b"&", b"-1", b"0", b"99999999", b"1e99",
    b"\n\n", b"<note/>", b"<chord/>", b"<rest/>", b"<measure>", b"</measure>", b"<part id='P1'>",
    b"<grace/>", b"<duration>0</duration>", b"<voice>2</voice>", b"<tie type='start'/>",
    b"<backup/>", b"<forward><duration>9</duration></forward>", b"<alter>0.5</alter>",
    b"<transpose/>", b"<time-modification><actual-notes>0</actual-notes></time-modification>",
    b"<key/>", b"<time/>", b"<repeat direction='forward'/>", b"<unpitched/>",
    b"<octave>99</octave>", b"<!DOCTYPE a>", b"MTrk", b"MThd", b"\x00\x00\x00\x00",
    b"\x7f\xff\xff\xff", b"\x80\x80\x80\x80\x80", b"\xff\x58\x04\x00\x00\x00\x00",
    b"\xff\x59\x02\x07\x01", b"\xff\x51\x03\x00\x00\x00", b"\xff\x2f\x00", b"\x90\x40\x40",
    b"\x80\x40\x40", b"\xf0\x7f", b"\xc0\x80", b"X:1", b"\nX:2\nK:C\nabc\n", b"K:", b"K:H",
    b"M:0/0", b"M:C|", b"L:1/0", b"L:0", b"Q:0", b"|:", b":|", b"::", b"[1", b"[CEG]", b"(3abc",
    b"(99:0:0a", b"{g}", b"z99", b"Z4", b"^^^c", b"c/////////", b"\nV:1\n", b"\nV:2\n", b"[K:Bb]",
    b"[M:7/8]", b'"Am"', b"!trill!", b"-", b"\\", b"\nw: la la\n", b"\n%%MIDI program 1\n",
    b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06",
)  # fmt: skip
"""What is put into a file: things its format gives a meaning to, at places where it has none."""


@dataclass(frozen=True)
class DamagedScore:
    """A score file after some harm."""

    name: str
    """Its name, with an ending."""
    data: bytes
    """What it holds."""
    command: tuple[str, ...]
    """What is asked of it; ``FILE`` stands for its name."""


_ASKED = [
    ("tab", "FILE"),
    ("tab", "FILE", "--places", "--instrument", "guitar"),
    ("spell", "FILE", "--json"),
    ("convert", "FILE", "--to", "txt", "--no-tab"),
    ("convert", "FILE", "-o", "out.musicxml", "--no-tab"),
    ("convert", "FILE", "-o", "out.mid", "--no-tab"),
    ("convert", "FILE", "--to", "abc", "--no-tab"),
    ("tab", "FILE", "--part", "1.2", "--voice", "lowest"),
    ("tab", "FILE", "--tune", "1", "--key", "D"),
]


@st.composite
def damaged_scores(draw: st.DrawFn) -> DamagedScore:
    """One of our own small score files, harmed in one to four places."""
    name, data = draw(st.sampled_from(BASES))
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 2, 4]))):
        at = draw(st.integers(0, len(data)))
        size = draw(st.integers(0, 12) | st.integers(0, 200))
        kind = draw(st.sampled_from(["put", "put", "cut", "twice", "flip", "end", "over"]))
        piece = draw(st.sampled_from(PIECES) | st.binary(max_size=6))
        data = _harmed(data, kind, at, size, piece)
    if draw(st.integers(0, 29)) == 0:
        name = draw(st.sampled_from([base for base, _ in BASES]))
    return DamagedScore(name, data, draw(st.sampled_from(_ASKED)))


def _harmed(data: bytes, kind: str, at: int, size: int, piece: bytes) -> bytes:
    head, tail = data[:at], data[at:]
    if kind == "put":
        return head + piece + tail
    if kind == "over":
        return head + piece + tail[len(piece) :]
    if kind == "cut":
        return head + tail[size:]
    if kind == "twice":
        return head + tail[:size] + tail
    if kind == "flip":
        return head + bytes(byte ^ (1 << size % 8) for byte in tail[:1]) + tail[1:]
    return head
