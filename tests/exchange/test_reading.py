"""What is taken out of a score file, what is left out, and that this is said."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import mido
import pytest

from fretpath import Key, RequestError, instrument_named, parse_melody
from fretpath.commands import main
from fretpath.exchange.melody_of_voice import Reading
from fretpath.exchange.scores import Book, move_to, open_book

ABC = """\
X:1
T:Harbour Lane
M:3/4
L:1/4
Q:1/4=96
K:Dmix
A,/D/ | D2 {F}E | [FAd]2 z | "G"G3- | G2 E | D3 |]

X:7
T:The Other One
M:6/8
L:1/8
K:Am
A2B c2d | e3 e3 |]
"""


def abc(number: str = "1", **wishes: object) -> Reading:
    return open_book(ABC.encode(), "book.abc").tune(number).read(**wishes)  # type: ignore[arg-type]


def said(found: Reading) -> list[str]:
    return [str(remark) for remark in found.remarks]


def test_ties_rests_pickup_meter_key_and_tempo_survive() -> None:
    melody = abc().melody
    assert str(melody.key) == "D mixolydian"
    assert [str(meter) for _, meter in melody.meters] == ["3/4"]
    assert melody.has_pickup
    assert melody.tempo == 96
    assert melody.title == "Harbour Lane"
    assert " ".join(map(str, melody.pitches)) == "A3 D4 D4 E4 D5 G4 E4 D4"
    assert [note.tied for note in melody.notes].count(True) == 1
    assert [note.pitch is None for note in melody.notes].count(True) == 1
    assert str(melody.tonic) == "D4"


def test_what_is_left_out_is_counted_and_said() -> None:
    found = abc()
    assert said(found) == ["left out: 1 grace note", "left out: 2 lower chord notes"]
    assert found.melody.chords == ((6, "G"),)
    lowest = abc(lowest=True)
    assert [str(pitch) for pitch in lowest.melody.pitches][4] == "F#4"
    assert "left out: 2 upper chord notes" in said(lowest)


def test_a_tune_is_picked_by_number_or_title() -> None:
    book = open_book(ABC.encode(), "book.abc")
    assert book.tune("7").title == book.tune("the other one").title == "The Other One"
    with pytest.raises(RequestError, match=r"holds 2 tunes[^$]*1  Harbour Lane\n +7  The"):
        book.tune(None)
    with pytest.raises(RequestError, match='did you mean "the other one"'):
        book.tune("the other won")


PART = """<part id="{id}"><measure number="1"><attributes><divisions>2</divisions>
<key><fifths>{fifths}</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time>
{transpose}</attributes>{notes}</measure></part>"""
NOTE = "<note><pitch><step>{0}</step><octave>{1}</octave></pitch><duration>2</duration>{2}</note>"


def score(*parts: str) -> Book:
    listed = "".join(
        f'<score-part id="P{n}"><part-name>Part {n}</part-name></score-part>'
        for n in range(1, len(parts) + 1)
    )
    text = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{"".join(parts)}'
    return open_book((text + "</score-partwise>").encode(), "s.musicxml")


def part(number: int, notes: str, *, fifths: int = 0, transpose: str = "") -> str:
    return PART.format(id=f"P{number}", notes=notes, fifths=fifths, transpose=transpose)


def test_a_part_is_chosen_by_number_or_name_and_the_choice_is_said() -> None:
    book = score(
        part(1, NOTE.format("C", 5, "") * 2), part(2, NOTE.format("E", 3, "") * 2, fifths=1)
    )
    first = book.tune(None).read()
    assert str(first.melody.pitches[0]) == "C5"
    assert any("1 Part 1, 2 Part 2; part 1 is read" in remark for remark in said(first))
    assert "guessed: a key signature without a mode is read as major" in said(first)
    for wanted in ("2", "part 2"):
        assert str(book.tune(None).read(part=wanted).melody.pitches[0]) == "E3"
    with pytest.raises(RequestError, match="no part"):
        book.tune(None).read(part="3")


def test_a_second_voice_is_chosen_by_its_number() -> None:
    notes = NOTE.format("C", 5, "<voice>1</voice>") * 2
    notes += "<backup><duration>4</duration></backup>" + NOTE.format("E", 4, "<voice>2</voice>") * 2
    book = score(part(1, notes))
    assert [str(p) for p in book.tune(None).read().melody.pitches] == ["C5", "C5"]
    assert [str(p) for p in book.tune(None).read(part="1.2").melody.pitches] == ["E4", "E4"]
    with pytest.raises(RequestError, match="voices 1 to 2"):
        book.tune(None).read(part="1.3")


def test_a_transposing_instrument_is_read_as_it_sounds() -> None:
    """A clarinet in B flat sounds a major second lower than written (common practice)."""
    transpose = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic></transpose>"
    book = score(part(1, NOTE.format("D", 5, "") + NOTE.format("C", 5, ""), transpose=transpose))
    assert [str(p) for p in book.tune(None).read().melody.pitches] == ["C5", "Bb4"]


def test_percussion_is_left_out_and_said() -> None:
    drum = "<note><unpitched/><duration>2</duration></note>"
    found = score(part(1, NOTE.format("C", 5, "") + drum)).tune(None).read()
    assert "left out: 1 percussion note" in said(found)
    assert [note.pitch is None for note in found.melody.notes] == [False, True]


def midi(*messages: mido.Message, ticks: int = 480) -> Reading:
    file = mido.MidiFile(ticks_per_beat=ticks)
    file.tracks.append(mido.MidiTrack(messages))
    import io

    data = io.BytesIO()
    file.save(file=data)
    return open_book(data.getvalue(), "m.mid").tune(None).read()


def struck(midi_number: int, before: int, length: int) -> list[mido.Message]:
    return [
        mido.Message("note_on", note=midi_number, time=before),
        mido.Message("note_off", note=midi_number, time=length),
    ]


def test_played_midi_is_rounded_to_the_grid() -> None:
    found = midi(*struck(60, 3, 230), *struck(62, 12, 231), *struck(64, 2, 470), ticks=480)
    assert [str(note.beats) for note in found.melody.notes] == ["1/2", "1/2", "1"]
    assert any("rounded" in remark for remark in said(found))


def test_a_phrase_of_our_own_begins_with_its_note_when_the_timing_is_played() -> None:
    mark = mido.MetaMessage("text", text="fretpath-phrase", time=29)
    found = midi(*struck(60, 3, 470), *struck(62, 12, 448), mark, *struck(64, 0, 470))
    assert any("played timing" in remark for remark in said(found))
    assert found.melody.phrases == (2,)


def test_midi_pitches_are_spelled_by_the_signature() -> None:
    flat = [mido.MetaMessage("key_signature", key="Ab")]
    found = midi(*flat, *struck(68, 0, 480), *struck(61, 0, 480), *struck(66, 0, 480))
    assert [str(pitch) for pitch in found.melody.pitches] == ["Ab4", "Db4", "Gb4"]
    sharp = [mido.MetaMessage("key_signature", key="E")]
    found = midi(*sharp, *struck(68, 0, 480), *struck(61, 0, 480))
    assert [str(pitch) for pitch in found.melody.pitches] == ["G#4", "C#4"]


def test_midi_notes_over_a_bar_line_are_tied_and_chords_reduced() -> None:
    both = [
        mido.MetaMessage("time_signature", numerator=2, denominator=4),
        mido.Message("note_on", note=48, time=0),
        mido.Message("note_on", note=60, time=0),
        mido.Message("note_off", note=48, time=480 * 3),
        mido.Message("note_off", note=60, time=0),
    ]
    found = midi(*both)
    assert [(str(note.pitch), note.beats, note.tied) for note in found.melody.notes] == [
        ("C4", 2, False),
        ("C4", 1, True),
    ]
    assert found.melody.bars == (1,)
    assert "left out: 1 lower chord note" in said(found)


def test_bars_cut_by_a_repeat_are_joined_and_odd_bars_get_their_own_meter() -> None:
    text = "X:1\nM:4/4\nL:1/4\nK:C\nE | CDEF | GFE :| D | CDEF | CDE | C4 | C4 |]\n"
    found = open_book(text.encode(), "a.abc").tune(None).read()
    melody = found.melody
    sums = [sum(melody.notes[i].beats for i in span) for span in melody.spans(melody.whole_bars)]
    assert sums == [1, 4, 4, 4, 3, 4, 4]
    assert [(at, str(meter)) for at, meter in melody.meters] == [
        (0, "4/4"),
        (13, "3/4"),
        (16, "4/4"),
    ]
    assert any("own meter" in remark for remark in said(found))
    assert [(r.start, r.stop, r.times) for r in melody.repeats] == [(0, 8, 2)]


def test_a_new_key_moves_the_melody_by_the_smaller_way() -> None:
    melody = abc().melody
    assert str(move_to(melody, "C mixolydian").tonic) == "C4"
    assert str(move_to(melody, "E").tonic) == "E4"
    moved = move_to(melody, "E mixolydian")
    assert moved.degrees == melody.degrees


# -- the command line ----------------------------------------------------------------------------


@pytest.fixture
def book(tmp_path: Path) -> Path:
    path = tmp_path / "book.abc"
    path.write_text(ABC)
    return path


def test_tab_reads_a_tune_of_a_book(book: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tab", str(book), "--tune", "1", "--instrument", "guitar"]) == 0
    printed = capsys.readouterr()
    assert printed.out.startswith("Harbour Lane\nkey D Mixolydian; meter 3/4; tempo 96")
    assert "fretpath: note: book.abc: left out: 1 grace note" in printed.err
    assert main(["tab", str(book)]) == 1
    assert "--tune NUMBER" in capsys.readouterr().err


def test_tab_and_sheet_read_and_write_scores(
    book: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "out.musicxml"
    words = [str(book), "--instrument", "guitar", "--tune", "7"]
    assert main(["tab", *words, "-o", str(out)]) == 0
    assert open_book(out.read_bytes(), "out.musicxml").tune(None).title == "The Other One"
    assert main(["sheet", *words, "-o", str(tmp_path / "sheet.html")]) == 0
    assert "The Other One" in (tmp_path / "sheet.html").read_text()
    assert main(["sheet", *words[:-1], "1", "-o", str(tmp_path / "sheet.html")]) == 0
    assert "book.abc: left out" in capsys.readouterr().err


def test_folders_and_marking_take_scores_too(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tunes = tmp_path / "tunes"
    tunes.mkdir()
    for name, text in (("a.mid", "1 2 3 1"), ("b.musicxml", "1 3 5 8"), ("c.txt", "1 2 3 #4")):
        text = f"title: {name}\nkey: G\n\n{text}"
        assert main(["convert", text, "-o", str(tunes / name)]) == 0
    (tunes / "other.xml").write_text("<notes/>")
    capsys.readouterr()
    assert main(["order", str(tunes)]) == 0
    listed = capsys.readouterr().out
    assert all(name in listed for name in ("a.mid", "b.musicxml", "c.txt"))
    assert main(["mark", str(tunes / "a.mid"), "G1 A1 B1 G1"]) == 0
    assert "a.mid" in capsys.readouterr().out


@pytest.mark.parametrize("ending", [".musicxml", ".mxl", ".mid", ".abc", ".txt", ".xml", ".midi"])
def test_convert_writes_what_tab_reads(
    ending: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / f"tune{ending}"
    text = "title: Tune\nmeter: 4/4\noctave: 2\nkey: G\n\n1 2 3 5 | 8:4"
    assert main(["convert", text, "-o", str(path)]) == 0
    assert "5 notes" in capsys.readouterr().out
    assert main(["tab", str(path), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [note["note"] for note in data["notes"]] == ["G2", "A2", "B2", "D3", "G3"]
    assert [path.name for path in tmp_path.iterdir()] == [f"tune{ending}"]


def test_convert_keeps_the_places_when_asked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = str(tmp_path / "a.musicxml")
    assert main(["convert", "E2@4-12 A2@3-12", "-o", path]) == 0
    capsys.readouterr()
    assert main(["convert", path, "--to", "txt", "--places"]) == 0
    assert "E2@4-12 A2@3-12" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["1 2 3"], "say where to"),
        (["1 2 3", "--to", "mid"], "is not text"),
        (["1 2 3", "--to", "doc"], "names no format"),
        (["1 2 3", "-o", "tune"], "names no format"),
        (["no-such.mid", "--to", "txt"], "there is no file"),
    ],
)
def test_convert_says_what_is_wrong(
    words: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["convert", *words]) == 1
    printed = capsys.readouterr()
    assert said in printed.err
    assert not printed.out


def test_melody_text_of_a_tab_tells_what_it_leaves_out(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tab.txt"
    path.write_text("Low Water\n\n4/4\nG|-----------------|\nD|-0h2p0-0h4-2/4~-|\n")
    assert main(["read", str(path), "--melody"]) == 0
    printed = capsys.readouterr()
    told = re.findall(r"left out: (\d [a-z-]+|the meter 4/4)", printed.err)
    assert told == ["2 hammer-ons", "1 pull-off", "1 slide", "1 vibrato", "the meter 4/4"]
    assert "; with lengths, write meter: 4/4\ntitle: Low Water\n" in printed.out
    assert parse_melody(printed.out).title == "Low Water"
    assert main(["read", str(path), "--melody", "--by-spacing"]) == 0
    assert "the meter" not in capsys.readouterr().err
    assert main(["read", str(path)]) == 0
    assert "left out" not in capsys.readouterr().err


def test_read_and_check_print_places_and_faults(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tab.txt"
    path.write_text("G|--------|\nD|-----4--|\nA|--5-----|\nE|--------|\n")
    assert main(["read", str(path), "--key", "D"]) == 0
    printed = capsys.readouterr()
    assert "3 (A)      5  D2     1" in printed.out
    assert "2 (D)      4  F#2    3" in printed.out
    assert main(["read", str(path), "--melody", "--key", "D"]) == 0
    melody = parse_melody(capsys.readouterr().out)
    assert [str(note.placement) for note in melody.notes] == ["@3-5", "@2-4"]
    assert main(["check", str(path), "--against", "key: D\n\n1 b3", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [fault["kind"] for fault in data["faults"]] == ["wrong"]
    assert data["faults"][0]["line"] == 2
    assert main(["check", str(path), "--against", "key: D\n\n1 3"]) == 0
    assert capsys.readouterr().out.startswith("no fault found\n")


def test_read_takes_the_instrument_it_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "tab.txt"
    path.write_text("--0--2--\n--------\n--------\n--------\n")
    assert main(["read", str(path), "--instrument", "ukulele", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [note["note"] for note in data["notes"]] == ["A4", "B4"]
    assert data["tuning"] == [str(s.open) for s in reversed(instrument_named("ukulele").strings)]
    assert main(["read", str(path), "--instrument", "guitar"]) == 1
    assert "the tab has 4 strings, the guitar has 6" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("music", "pitches"),
    [
        ("^D D D/D/ | D2 d", "D#4 D#4 D#4 D#4 D4 D5"),
        ("^D d =D D | d", "D#4 D#5 D4 D4 D5"),
        ("_B4- | B B", "Bb4 B4"),
        ("HC uD vE TF ~G .A", "C4 D4 E4 F4 G4 A4"),
        ("!trill!C +fermata+D [EG] [1 F :|2 G", "C4 D4 G4 F4 G4"),
        ("C D E F::G A B c:|", "C4 D4 E4 F4 G4 A4 B4 C5"),
        ("+EG+ +fermata+C +c3A3+ | D", "G4 C4 C5 D4"),
        ("(3CDE {g}F (GA) B", "C4 D4 E4 F4 G4 A4 B4"),
    ],
)
def test_abc_means_what_the_standard_says(music: str, pitches: str) -> None:
    """ABC 2.1: accidentals hold to the bar line for their letter in every octave (4.2, default of
    propagate-accidentals), through a tie too; H to W and h to w are decorations (4.16)."""
    text = f"X:1\nM:4/4\nL:1/4\nK:C\n{music} |]\n"
    melody = open_book(text.encode(), "a.abc").tune(None).read().melody
    assert " ".join(map(str, melody.pitches)) == pitches


@pytest.mark.parametrize("tonic", ["A", "E", "D", "G", "C", "F#", "Bb"])
@pytest.mark.parametrize("signature", [True, False])
def test_the_leading_note_of_minor_out_of_midi(tonic: str, signature: bool, tmp_path: Path) -> None:
    """With the signature of the relative major, or none, and the key told afterwards."""
    from fretpath.exchange.scores import read_score, score_bytes

    minor = Key(tonic, "natural minor")
    tune = parse_melody("1 b3 5 7, 5, 7, 1 2 7, 2 1", key=minor).in_octave(4)
    relative = Key.of_signature(minor.signature)
    file = tmp_path / "minor.mid"
    file.write_bytes(score_bytes(replace(tune, keys=((0, relative),) * signature), ".mid"))
    found = move_to(read_score(file).melody, str(minor), lettered=False)
    assert found.degrees == tune.degrees
    assert [pitch.name for pitch in found.pitches] == [pitch.name for pitch in tune.pitches]


def test_convert_puts_many_files_into_a_folder(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = []
    for name, text in (("a", "1 3 5"), ("b", "|: 1 2 | 3 4 :|")):
        (tmp_path / f"{name}.txt").write_text(f"key: G\nmeter: 2/4\n\n{text}\n")
        files.append(str(tmp_path / f"{name}.txt"))
    (tmp_path / "c.abc").write_text("no tune\n")
    files.append(str(tmp_path / "c.abc"))
    out = tmp_path / "out"
    assert main(["convert", *files, "--to", "mid", "-o", f"{out}/"]) == 1
    printed = capsys.readouterr()
    assert "a.mid: 3 notes" in printed.out
    assert "1 of 3 files were left out" in printed.err
    assert sorted(path.name for path in out.iterdir()) == ["a.mid", "b.mid"]
    assert len(open_book((out / "b.mid").read_bytes(), "b.mid").tune().read().melody) == 8
    assert main(["convert", *files[:2], "--to", "mid", "-o", f"{out}/"]) == 0
    assert "repeats are played" in capsys.readouterr().err
