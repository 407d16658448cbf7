"""Files that are broken, hostile, or not what they claim: a clear error each, and no traceback."""

from __future__ import annotations

import contextlib
import io
import struct
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from fretpath import FretpathError, ScoreFileError, arrange, parse_melody
from fretpath.commands import main
from fretpath.exchange.scores import open_book, score_bytes

TEXT = "title: Good\nmeter: 4/4\noctave: 1\n\n1 2 3 4 | 5:4"
GOOD = arrange(parse_melody(TEXT, key="G"), "bass")
XML = score_bytes(GOOD, ".musicxml")
MXL = score_bytes(GOOD, ".mxl")
MIDI = score_bytes(GOOD, ".mid")
ABC = score_bytes(GOOD, ".abc")


def pack(members: dict[str, bytes]) -> bytes:
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return file.getvalue()


def entities(body: str) -> bytes:
    return XML.replace(b"<score-partwise", f"<!DOCTYPE s [{body}]>\n<score-partwise".encode(), 1)


LAUGHS = '<!ENTITY a "ha">' + "".join(
    f'<!ENTITY {b} "{("&" + a + ";") * 10}">' for a, b in zip("abcdefgh", "bcdefghi", strict=True)
)


def track(body: bytes, ticks: int = 480) -> bytes:
    head = b"MThd" + struct.pack(">IHHH", 6, 0, 1, ticks)
    return head + b"MTrk" + struct.pack(">I", len(body)) + body


def swapped(old: bytes, new: bytes) -> bytes:
    assert old in XML
    return XML.replace(old, new)


STRANGE: dict[str, tuple[str, bytes, str]] = {
    "empty xml": ("a.musicxml", b"", "empty"),
    "empty midi": ("a.mid", b"", "empty"),
    "only spaces": ("a.abc", b" \n \n", "empty"),
    "empty mxl": ("a.mxl", b"", "empty"),
    "truncated xml": ("a.musicxml", XML[: len(XML) // 2], "broken XML"),
    "truncated mxl": ("a.mxl", MXL[: len(MXL) // 2], "unpacked"),
    "truncated midi head": ("a.mid", MIDI[:9], "cannot be read"),
    "midi without a track": ("a.mid", MIDI[:14], "no pitched note|cannot be read"),
    "midi that is xml": ("a.mid", XML, "named as MIDI but holds MusicXML"),
    "xml that is midi": ("a.musicxml", MIDI, "named as MusicXML but holds MIDI"),
    "mxl that is xml": ("a.mxl", XML, "holds MusicXML"),
    "xml that is mxl": ("a.xml", MXL, "holds compressed MusicXML"),
    "abc that is midi": ("a.abc", MIDI, "holds MIDI"),
    "abc that is words": ("a.abc", b"Dear teacher,\nno tune today.\n", "is not ABC"),
    "xml that is a page": ("a.xml", b"<html><body>hello</body></html>", "is not MusicXML"),
    "xml that is words": ("a.musicxml", b"1 2 3 4 5", "is not MusicXML"),
    "random bytes": ("a.mid", bytes(range(256)) * 4, "is not MIDI"),
    "a billion laughs": ("a.musicxml", entities(LAUGHS), "declares XML entities"),
    "an outside entity": (
        "a.musicxml",
        entities('<!ENTITY x SYSTEM "file:///etc/hostname">').replace(b"Good", b"&x;"),
        "declares XML entities",
    ),
    "a parameter entity": (
        "a.xml",
        entities('<!ENTITY % x SYSTEM "http://127.0.0.1/x.dtd"> %x;'),
        "declares XML entities",
    ),
    "laughs inside mxl": (
        "a.mxl",
        pack({"score.musicxml": entities(LAUGHS)}),
        "declares XML entities",
    ),
    "a zip bomb": (
        "a.mxl",
        pack({"score.musicxml": b"<score-partwise>" + b" " * (40 * 2**20)}),
        "unpacks to more than",
    ),
    "a bomb for a container": (
        "a.mxl",
        pack({"META-INF/container.xml": b"<container>" + b" " * (40 * 2**20)}),
        "unpacks to more than",
    ),
    "very many members": (
        "a.mxl",
        pack({f"{n}.xml": b"<score-partwise/>" for n in range(400)}),
        "400 files",
    ),
    "mxl without a score": ("a.mxl", pack({"readme.txt": b"hello"}), "packs no MusicXML"),
    "a damaged member": (
        "a.mxl",
        MXL.replace(MXL[120:140], b"\0" * 20, 1),
        "unpacked|broken|packs no",
    ),
    "deep nesting": (
        "a.musicxml",
        b"<score-partwise>" + b"<a>" * 5000 + b"</a>" * 5000 + b"</score-partwise>",
        "nests",
    ),
    "very many notes": (
        "a.musicxml",
        b"<score-partwise>" + b"<note/>" * 30_000 + b"</score-partwise>",
        "30000 notes",
    ),
    "very many parts": (
        "a.musicxml",
        b"<score-partwise>" + b"<score-part/>" * 300 + b"</score-partwise>",
        "300 parts",
    ),
    "a huge duration": (
        "a.musicxml",
        swapped(b"<duration>1</duration>", b"<duration>99999999999999999999</duration>"),
        "the duration .* is beyond all music",
    ),
    "an infinite duration": (
        "a.musicxml",
        swapped(b"<duration>1</duration>", b"<duration>1e308</duration>"),
        "the duration .* is beyond all music",
    ),
    "a huge octave": (
        "a.musicxml",
        swapped(b"<octave>2</octave>", b"<octave>4000000000</octave>"),
        "the octave .* is beyond all music",
    ),
    "no divisions": (
        "a.musicxml",
        swapped(b"<divisions>1</divisions>", b"<divisions>0</divisions>"),
        "cannot be read|no pitched|beyond",
    ),
    "a pitch that is none": (
        "a.musicxml",
        swapped(b"<step>G</step>", b"<step>H</step>"),
        "cannot be read",
    ),
    "no notes": (
        "a.musicxml",
        b'<score-partwise version="4.0"><part-list/></score-partwise>',
        "no pitched note|cannot be read",
    ),
    "an unknown encoding": (
        "a.musicxml",
        XML.replace(b'encoding="UTF-8"', b'encoding="no-such-code"'),
        "is not XML that can be read|broken XML",
    ),
    "abc without notes": ("a.abc", b"X:1\nT:none\nK:C\n\n", "no pitched note|cannot be read"),
    "abc with a huge length": ("a.abc", b"X:1\nK:C\nC99999999999 D|\n", "is not a length"),
    "abc with a note of no length": ("a.abc", b"X:1\nK:C\nC0 D|\n", "no length"),
    "abc with control characters": ("a.abc", b"X:1\nK:C\nC\x00D|\n", "line 3: control"),
    "abc with too many tunes": ("a.abc", b"X:1\nK:C\nC|\n\n" * 6000, "6000 tunes"),
    "abc with a line without end": ("a.abc", b"X:1\nK:C\n" + b"C|" * 6000, "characters in a line"),
    "a meter of a million beats": (
        "a.musicxml",
        swapped(b"<beats>4</beats>", b"<beats>9999999</beats>"),
        "as its beats",
    ),
    "midi counted in frames": ("a.mid", track(b"\0\xff\x2f\0", 0xE728), "frames|cannot be read"),
    "midi with drums only": (
        "a.mid",
        track(b"\0\x99\x24\x40\x60\x89\x24\x40\0\xff\x2f\0"),
        "no pitched note",
    ),
    "midi with a huge silence": (
        "a.mid",
        track(
            b"\0\xff\x58\4\1\5\x18\x08\xff\xff\xff\x7f\x90\x40\x40\x60\x80\x40\x40\0\xff\x2f\0",
            1,
        ),
        "beyond what is read|bars",
    ),
    "too large": ("a.abc", b"X:1\nK:C\n" + b"C" * (9 * 2**20), "larger than"),
}  # fmt: skip


def test_there_are_forty_of_them() -> None:
    assert len(STRANGE) >= 40


def test_the_good_ones_are_read() -> None:
    """The same files unharmed, so that each fault above is the reason for its error."""
    for name, data in (("a.musicxml", XML), ("a.mxl", MXL), ("a.mid", MIDI), ("a.abc", ABC)):
        melody = open_book(data, name).tune(None).read().melody
        assert [str(pitch) for pitch in melody.pitches] == ["G1", "A1", "B1", "C2", "D2"], name


@pytest.mark.parametrize("case", STRANGE)
def test_a_strange_file_is_refused_with_a_reason(
    case: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    name, data, reason = STRANGE[case]
    with pytest.raises(ScoreFileError, match=reason):
        open_book(data, name).tune(None).read()
    path = tmp_path / name
    path.write_bytes(data)
    assert main(["tab", str(path)]) == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    assert printed.err.startswith("fretpath: ")
    assert "Traceback" not in printed.err


def test_a_name_in_an_archive_is_no_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The member is read in memory whatever it is called, and nothing is written anywhere."""
    monkeypatch.chdir(tmp_path)
    data = pack({"../../evil.musicxml": XML, "/etc/evil.xml": XML})
    assert len(open_book(data, "a.mxl").tune(None).read().melody.pitches) == 5
    assert not list(tmp_path.iterdir())


def test_a_document_type_alone_is_no_harm() -> None:
    """Files of earlier MusicXML versions carry one; nothing is fetched for it."""
    doctype = (
        b'<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 3.1 Partwise//EN" '
        b'"http://127.0.0.1:9/partwise.dtd">\n<score-partwise'
    )
    data = XML.replace(b"<score-partwise", doctype, 1)
    assert len(open_book(data, "a.musicxml").tune(None).read().melody.pitches) == 5


def test_nothing_is_kept_in_a_shared_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """music21 can pickle parsed scores into its scratch folder and read them from there."""
    from music21 import environment, freezeThaw

    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("a pickled score was written or read")

    scratch = tmp_path / "scratch"
    scratch.mkdir()
    monkeypatch.setattr(environment.Environment, "getRootTempDir", lambda _: scratch)
    monkeypatch.setattr(environment.Environment, "getDefaultRootTempDir", lambda _: scratch)
    for kind in (freezeThaw.StreamFreezer, freezeThaw.StreamThawer):
        monkeypatch.setattr(kind, "__init__", refuse)
    for name, data in (("a.musicxml", XML), ("a.mxl", MXL), ("a.mid", MIDI), ("a.abc", ABC)):
        path = tmp_path / name
        path.write_bytes(data)
        assert main(["convert", str(path), "-o", str(tmp_path / "out.musicxml")]) == 0
    assert not list(scratch.iterdir())


def cut(data: bytes, at: int) -> bytes:
    return data[:at]


def flipped(data: bytes, at: int) -> bytes:
    return data[:at] + bytes((data[at] ^ 0x55,)) + data[at + 1 :]


@pytest.mark.parametrize("harm", [cut, flipped])
@pytest.mark.parametrize(("name", "data"), [("a.mid", MIDI), ("a.abc", ABC), ("a.mxl", MXL)])
def test_no_harm_to_a_file_makes_a_crash(
    name: str, data: bytes, harm: Callable[[bytes, int], bytes]
) -> None:
    """Every seventh byte cut off or turned over: read, or refused with a message."""
    for at in range(1, len(data), 7):
        with contextlib.suppress(FretpathError):
            open_book(harm(data, at), name).tune(None).read()


@pytest.mark.parametrize("sign", ["|", "["])
def test_an_ending_with_a_number_of_thousands_of_digits_is_none(sign: str) -> None:
    text = f"X:1\nL:1/4\nK:C\nCDE{sign}{'1' * 5000} FGA|\n"
    melody = open_book(text.encode(), "tune.abc").tune().read().melody
    assert [pitch.name for pitch in melody.pitches] == list("CDEFGA")
    assert not melody.repeats
