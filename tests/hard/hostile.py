"""A thousand hostile inputs, kept as some sixty kinds and what is done to each.

**How.**  :data:`KINDS` names each kind by what is hostile about it and gives one input: a text or
the bytes of a file, and the commands it is given to.  :func:`corpus` turns every kind into
variants by rules of arithmetic alone (cut short, doubled, shifted into the middle of good text,
another line end, another command), so that the same thousand come out on every run and every
machine.  Nothing here is copied from anywhere; score files are our own writers' work, harmed.
"""

from __future__ import annotations

import io
import random
import struct
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import cycle, islice, pairwise, product

from tests.hard.running import BASES, MINOR, TUNE

COUNT = 1000
"""How many inputs the corpus holds."""

Data = bytes | Callable[[], bytes]
"""What a file or standard input holds; a function where it is too large to keep."""

XML, MXL, MIDI, ABC = (data for _, data in BASES[:4])
_BIDI = "\N{RIGHT-TO-LEFT OVERRIDE}1 3 5\N{POP DIRECTIONAL FORMATTING}"


@dataclass(frozen=True)
class Kind:
    """One kind of hostile input."""

    about: str
    """What is hostile about it."""
    data: Data
    """The input."""
    ending: str
    """``.txt`` for text (which is also put on standard input), or the ending of a score file."""


@dataclass(frozen=True)
class Hostile:
    """One input of the corpus: a command line and what it reads."""

    name: str
    """Number, kind and variant."""
    words: tuple[str, ...]
    """The command line; the word FILE stands for the file."""
    file: str
    """Name of the file that holds the data; empty for none."""
    data: Data
    """What the file and standard input hold."""

    @property
    def content(self) -> bytes:
        """The data, made now if it is too large to keep."""
        return self.data if isinstance(self.data, bytes) else self.data()


def _packed(**members: bytes) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name.replace("__", "."), data)
    return file.getvalue()


def _entities(body: bytes, old: bytes = b"", new: bytes = b"") -> bytes:
    head = b"<!DOCTYPE s [" + body + b"]>\n<score-partwise"
    return XML.replace(b"<score-partwise", head, 1).replace(old, new)


def _track(body: bytes, ticks: int = 480) -> bytes:
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, ticks)
    return head + b"MTrk" + struct.pack(">I", len(body)) + body


def _laughs() -> bytes:
    names = "abcdefghij"
    lines = [f'<!ENTITY {b} "{("&" + a + ";") * 10}">' for a, b in pairwise(names)]
    return _entities(("<!ENTITY a 'ha'>" + "".join(lines)).encode(), b"Low Tide", b"&j;")


def _texts() -> Iterator[Kind]:
    texts: dict[str, Data] = {
        "nothing": b"",
        "spaces and line ends only": b" \t \n\r\n \n",
        "NUL bytes": b"1 3\x005 8",
        "a terminal command": b"title: \x1b]0;x\x07\x1b[2J\n1 3 5",
        "C1 control characters": "1 3 \x9b2J 5".encode(),
        "text that runs backwards": f"title: {_BIDI}\nkey: C\n\n{_BIDI}".encode(),
        "invisible letters": "1\u200b 3\u200d 5\ufeff 8\u2060".encode(),
        "digits of other scripts": "\uff11 \u0663 5\u00b2".encode(),
        "letters that only look right, Cyrillic and Greek": "\u04214 \u03914".encode(),
        "combining marks without end": ("1" + "\u0301" * 3000 + " 3 5").encode(),
        "bytes that are no UTF-8": b"title: caf\xe9\n1 3 5",
        "UTF-8 cut in the middle": "1 3 5 \N{MUSICAL SYMBOL G CLEF}".encode()[:-2],
        "surrogates in UTF-8": b"1 \xed\xa0\x80 3",
        "overlong UTF-8": b"1 \xc0\xaf 3",
        "a byte order mark twice": b"\xef\xbb\xbf\xef\xbb\xbf1 3 5",
        "UTF-16": "key: C\n1 3 5".encode("utf-16"),
        "all line ends at once": b"key: C\r\n\r1 3\n\r5\r\r\n8\x0b1\x0c3\xc2\x855",
        "line separators of Unicode": "key: C\u20281 3 5\u20298".encode(),
        "a very large degree": b"1 " + b"9" * 5000 + b" 3",
        "a very large octave": b"C99999999 D-99999999",
        "a very long length": b"1:" + b"9" * 400 + b" 3:1/" + b"9" * 400,
        "lengths without a common measure": b"1:1/9973 3:1/9967 5:1/9949 8:1/9941 7:1/9931",
        "length of nothing": b"1:0 3:0/1 5:1/0 8:-1",
        "very many accidentals": b"#" * 4000 + b"1 3 " + b"b" * 4000 + b"5",
        "very many octave marks": b"1" + b"'" * 5000 + b" 3" + b"," * 5000,
        "brackets in brackets": b"(" * 5000 + b"1" + b"):1/2" * 5000,
        "an open bracket": b"(1 2 3\n(4 5\n(6",
        "bar lines only": b"| " * 3000,
        "a bar that never ends": b"meter: 4/4\n\n1 | " + b"2 " * 3000 + b"| 3",
        "headers only": b"title: x\nkey: C\nmeter: 4/4\ntempo: 90\n",
        "a header a hundred times": b"key: C\n" * 100 + b"1 3 5",
        "an unknown header of many letters": b"a" * 3000 + b": x\n1 3 5",
        "a title without end": b"title: " + b"x" * 60000 + b"\n1 3 5",
        "a title of markup": b"title: <script>alert(1)</script>{{ 7*7 }}{% x %}\nkey: C\n\n1 3 5",
        "a title that is a formula": b'title: =cmd|"/C calc"!A0\nkey: C\n\n1 3 5',
        "a title of format marks": b"title: %s %n %(prog)s {0} {} $HOME `id`\nkey: C\n\n1 3 5",
        "numbers that are none": b"tempo: nan\nlevel: inf\noctave: 1e9\nmeter: 0/0\n\n1",
        "a key change for every note": b"key: C\n\n1\n" + b"key: F# locrian\n1\nkey: Cb\n1\n" * 200,
        "places off every neck": b"1@99-99 3@0-0 5@1-99 8@99",
        "a million notes": lambda: b"1 3 5 8 " * 250_000,
        "as many notes as are allowed, in a line": lambda: b"key: C\n" + b"1 3 5 8 " * 5000,
        "one word of a million letters": lambda: b"a" * 1_000_000,
        "a million lines": lambda: b"1\n" * 1_000_000,
        "a million remarks": lambda: b";\n" * 1_000_000 + b"1 3 5",
        "more text than is read": lambda: b"; much\n" * 700_000,
        "a tab without end": b"G|" + b"-3-" * 5000 + b"|\nD|" + b"---" * 5000 + b"|",
        "a tab of very many strings": b"E|--3--|\n" * 2000,
        "a tab whose strings differ": b"G|--3--|\nD|-----------5|\nA|\nE|--2|--4|--|-|",
        "a tab of very large frets": b"G|--" + b"9" * 3000 + b"--|\nD|--1--|\nA|--1--|\nE|--1--|",
        "a tab of marks": b"G|~~~///\\\\hhhpppbbbrrr<<<>>>((()))--|\nD|xxxXXX---|\n",
        "dashes that are no dashes": "G|\u2014\u20133\u2500|\nD|\u2010\u20105\u2212|".encode(),
        "a pattern that is slow to match": b"G|" + b"-(" * 3000 + b"\n" + b"h" * 6000 + b"3",
        "a degree that is slow to match": b"b" * 3000 + b"#" * 3000 + b"1:" * 3000,
    }
    for about, data in texts.items():
        yield Kind(about, data, ".txt")


def _scores() -> Iterator[Kind]:
    deep = b"<score-partwise>" + b"<a>" * 20_000 + b"</a>" * 20_000 + b"</score-partwise>"
    laughs = _laughs()
    outside = _entities(b'<!ENTITY x SYSTEM "file:///etc/hostname">', b"Low Tide", b"&x;")
    table: list[tuple[str, str, Data]] = [
        ("entities that multiply", ".musicxml", laughs),
        ("an entity from outside", ".xml", outside),
        ("XML a million levels deep", ".musicxml", lambda: b"<score-partwise>" + b"<a>" * 10**6),
        ("XML 20,000 levels deep", ".musicxml", deep),
        ("an attribute without end", ".musicxml", XML.replace(b"P1", b"P" * 200_000)),
        ("numbers of XML out of all bounds", ".musicxml", XML.replace(b">1<", b">9999999<")),
        ("XML called MIDI", ".mid", XML),
        ("a zip bomb", ".mxl", lambda: _packed(score__musicxml=b"<score-partwise>" + b" " * 2**26)),
        ("an archive in an archive", ".mxl", _packed(a__mxl=MXL, b__xml=MXL)),
        ("names that climb out", ".mxl", _packed(**{"../../../tmp/x__xml": XML, "/x__xml": XML})),
        ("an archive that lies about size", ".mxl", MXL.replace(b"PK\x01\x02", b"PK\x01\x03")),
        ("a track that lies about length", ".mid", MIDI[:18] + b"\x7f\xff\xff\xff" + MIDI[22:]),
        ("times of MIDI out of all bounds", ".mid", _track(b"\xff\xff\xff\x7f\x90\x40\x40" * 99)),
        ("very many events", ".mid", lambda: _track(b"\x00\x90\x40\x40\x01\x80\x40\x40" * 60_000)),
        ("a title of control characters", ".mid", _track(b"\x00\xff\x03\x08\x1b[2J\n\0\x9b\x07")),
        ("MIDI without ticks", ".mid", _track(b"\x00\x90\x40\x40\x10\x80\x40\x40", ticks=0)),
        ("lengths of ABC out of all bounds", ".abc", ABC + b"C99999/99999 D" + b"/" * 3000),
        ("a tuplet of everything", ".abc", ABC + b"(999:999:999 CDE" + b"(3" * 2000),
        ("a meter of ABC out of all bounds", ".abc", ABC.replace(b"M:4", b"M:9999")),
        ("very many tunes", ".abc", lambda: b"X:1\nT:a\nK:C\nCDE\n\n" * 6000),
        ("brackets of ABC", ".abc", ABC + b"[" * 5000 + b"{" * 5000 + b'"' * 5001),
    ]
    for about, ending, data in table:
        yield Kind(about, data, ending)


OPTIONS: dict[str, tuple[tuple[str, ...], ...]] = {
    "numbers that are none": tuple(
        ("tab", "1 3 5", f"{option}={value}")
        for option in (
            "--octave",
            "--width",
            "--capo",
            "--frets",
            "--ways",
            "--tempo",
            "--position",
        )
        for value in ("-1", "0", "1e9", "nan", "inf", "", "9" * 5000, "0x1", "1_0", "\u0663")
    ),
    "values of no meaning": tuple(
        ("tab", "1 3 5", f"{option}={value}")
        for option in ("--key", "--tuning", "--hand", "--weights", "--start", "--strings", "--hide")
        for value in ("", " ", ",", "=", "-", "\x1b[2J", "\udcff", _BIDI, "%s%n{0}", "x" * 100_000)
    ),
    "other commands, other numbers": tuple(
        (command, *rest, f"{option}={value}")
        for command, rest, option in (
            ("drill", ("1 3 5",), "--choices"),
            ("drill", ("1 3 5",), "--draw"),
            ("drill", ("1 3 5", "--kind", "shift"), "--run-up"),
            ("drill", ("1 3 5", "--kind", "tempo"), "--fastest"),
            ("keys", ("1 3 5",), "--top"),
            ("find", ("tunes", "--met", "1"), "--at-most-new"),
            ("order", ("tunes",), "--jobs"),
            ("spell", ("1 3 5",), "--width"),
            ("neck", ("1 3 5",), "--range"),
            ("transpose", ("1 3 5",), "--by"),
            ("mark", ("1 3 5", "1 3 6"), "--points"),
            ("sheet", ("1 3 5",), "--tempo"),
        )
        for value in ("-1", "0", "1e9", "nan", "", "9" * 5000)
    ),
    "names that are no files": tuple(
        (command, name)
        for command in ("tab", "read", "order", "sheet")
        for name in (
            "",
            ".",
            "..",
            "/",
            "/dev/null",
            "/dev/zero",
            "/proc/self/mem",
            "tunes",
            "x" * 300 + ".txt",
            "a/" * 3000 + "b.txt",
            "loop.txt",
            "nowhere.txt",
            "locked/x.mid",
            "tune.txt/x",
            "\udcff.txt",
            "a\0b.txt",
            "~root/x.txt",
            "//x/y.txt",
            "-",
            "--",
            "nul.txt",
            "CON.mid",
            "*.txt",
            "loop.mid",
        )
    ),
    "places that cannot be written": tuple(
        (*call, "-o", name)
        for call in (("tab", "1 3 5"), ("sheet", "tunes", "--no-sound"), ("convert", "1 3 5"))
        for name in (
            "",
            ".",
            "/dev/full",
            "/dev/null",
            "tunes",
            "missing/x.txt",
            "tune.txt/x.mid",
            "x" * 300,
            "loop.txt",
            "a\0b.mid",
            "\udcff.txt",
            "\ud800.txt",
            "nowhere.txt",
            "o" * 240 + ".txt",
        )
    ),
}
"""Hostile command lines, by what is hostile about them."""

KINDS: tuple[Kind, ...] = (*_texts(), *_scores())
"""Every kind of hostile content."""

_TEXT_CALLS = (
    ("tab", "-"),
    ("tab", "FILE", "--json"),
    ("spell", "FILE"),
    ("read", "FILE"),
    ("check", "-"),
    ("mark", "tune.txt", "FILE"),
    ("convert", "FILE", "--to", "musicxml"),
    ("drill", "FILE"),
    ("check", "tab.txt", "--against", "FILE"),
    ("order", "tunes", "--order-file", "FILE"),
    ("tab", "1", "--key", "TEXT"),
    ("tab", "TEXT"),
    ("sheet", "FILE", "--no-sound", "-o", "out.html"),
)
_SCORE_CALLS = (
    ("tab", "FILE"),
    ("spell", "FILE", "--json"),
    ("convert", "FILE", "-o", "out.mid", "--no-tab"),
    ("convert", "FILE", "-o", "out.musicxml", "--no-tab"),
    ("tab", "FILE", "--part", "1.2"),
    ("tab", "FILE", "--tune", "1", "--places"),
)
_HARMS: dict[str, Callable[[bytes], bytes]] = {
    "as it is": lambda data: data,
    "first half": lambda data: data[: len(data) // 2],
    "second half": lambda data: data[len(data) // 2 :],
    "behind a tune": lambda data: TUNE.encode() + data,
    "in front of a tune": lambda data: data + b"\n" + MINOR.encode(),
    "twice": lambda data: data + data,
    "other line ends": lambda data: data.replace(b"\n", b"\r\n"),
    "a byte turned over": lambda data: data[:7] + bytes(~n & 255 for n in data[7:8]) + data[8:],
    "small letters": lambda data: data.swapcase(),
    "backwards": lambda data: data[::-1],
}
"""What is done to a kind; the last ones only to small ones."""


_LONG_CALLS = (
    ("tab", "FILE", "--ways", "3"),
    ("tab", "FILE", "--why", "--repeats", "free", "--instrument", "guitar"),
    ("tab", "FILE", "--json", "--spoken"),
    ("tab", "FILE", "--json", "--objective", "hardest"),
    ("spell", "FILE"),
    ("spell", "FILE", "--json"),
    ("keys", "FILE"),
    ("neck", "FILE"),
    ("scales", "FILE"),
    ("transpose", "FILE", "--to", "D"),
    ("mark", "FILE", "FILE"),
    ("mark", "FILE", "1 3 5"),
    ("drill", "FILE"),
    ("drill", "FILE", "--kind", "call"),
    ("sheet", "FILE", "--no-sound", "-o", "out.html"),
    ("sheet", "FILE", "--for", "student", "--hints", "--no-sound", "-o", "out.html"),
    ("convert", "FILE", "--to", "musicxml"),
    ("convert", "FILE", "--to", "abc"),
    ("convert", "FILE", "-o", "out.mid"),
    ("read", "FILE"),
    ("check", "FILE"),
)
"""Each command, for what is as long as the limits allow."""


def _longest() -> Iterator[Hostile]:
    """Melodies and text tabs of 20,000 notes: one line again and again, and lines drawn."""
    draw = random.Random(11)
    alike, drawn = [_line(draw)] * 100, [_line(draw) for _ in range(100)]
    for words in _LONG_CALLS:
        laid_out = _tab if words[0] in ("read", "check") else _tune
        for about, lines in (("one line again and again", alike), ("lines drawn", drawn)):
            name = f"20,000 notes, {about}: {' '.join(words)}"
            yield Hostile(name, words, "hostile.txt", laid_out(lines))


def _line(draw: random.Random) -> list[int]:
    """Two hundred degrees, in steps and small leaps."""
    degree, line = 4, []
    for _ in range(200):
        degree = min(9, max(1, degree + draw.choice((-2, -1, -1, 1, 1, 2))))
        line.append(degree)
    return line


def _tune(lines: list[list[int]]) -> bytes:
    bars = (
        " | ".join(" ".join(map(str, line[at : at + 4])) for at in range(0, 200, 4))
        for line in lines
    )
    return ("key: G\nmeter: 4/4\n\n" + " |\n".join(bars) + " |\n").encode()


def _tab(lines: list[list[int]]) -> bytes:
    systems = []
    for line in lines:
        strings = [["-"] * 400 for _ in range(4)]
        for note, degree in enumerate(line):
            strings[degree % 4][2 * note] = str(degree % 5)
        systems.append(
            "\n".join(f"{name}|{''.join(row)}|" for name, row in zip("GDAE", strings, strict=True))
        )
    return ("\n\n".join(systems) + "\n").encode()


def corpus() -> list[Hostile]:
    """The thousand inputs, in an order that mixes the kinds."""
    lines = [
        Hostile(about, words, "", b"1 3 5") for about, calls in OPTIONS.items() for words in calls
    ]
    lines += _longest()
    harmed = list(islice(_harmed(), COUNT - len(lines)))
    assert len(harmed) == COUNT - len(lines)
    return [
        Hostile(f"{number}: {one.name}", one.words, one.file, one.data)
        for number, one in enumerate([*lines, *harmed], start=1)
    ]


def _harmed() -> Iterator[Hostile]:
    """Every kind with every harm, each time by the next of the commands that suit it."""
    calls = {".txt": cycle(_TEXT_CALLS), "": cycle(_SCORE_CALLS)}
    for again, (harm, change), kind in product((False, True), _HARMS.items(), KINDS):
        if callable(kind.data) and (again or harm != "as it is"):
            continue
        words = next(calls[".txt" if kind.ending == ".txt" else ""])
        data = kind.data if callable(kind.data) else change(kind.data)
        yield Hostile(f"{kind.about}, {harm}", words, f"hostile{kind.ending}", data)
