"""What is written, as players and readers that share no code with us have it.

``abc2midi`` (Debian's package abcmidi) plays ABC, ``partitura`` reads MusicXML.  The scores are 64
files of music21's corpus, at most six of a collection, read from the installed package.
"""

from __future__ import annotations

import random
import shutil
import subprocess
from collections import Counter
from fractions import Fraction
from functools import cache
from pathlib import Path

import mido
import pytest

from fretpath import open_book, parse_melody, score_bytes
from fretpath.exchange.scores import ScoreTune
from tests.exchange.test_round_trips import sounds

SAMPLE = 64
Sounds = list[tuple[int, Fraction, Fraction]]
needs_abc2midi = pytest.mark.skipif(
    shutil.which("abc2midi") is None, reason="abc2midi (Debian's abcmidi) is not installed"
)


@cache
def corpus_sample() -> list[ScoreTune]:
    """One tune of each of 64 files, the same on every run."""
    import music21

    root = Path(music21.__file__).parent / "corpus"
    endings = (".xml", ".mxl", ".musicxml", ".abc")
    files = sorted(path for path in root.rglob("*") if path.suffix in endings)
    draw = random.Random(1)
    draw.shuffle(files)
    taken: Counter[str] = Counter()
    found: list[ScoreTune] = []
    for path in files:
        taken[path.parent.name] += 1
        if taken[path.parent.name] <= 6 and len(found) < SAMPLE:
            tunes = open_book(path).tunes
            found.append(draw.choice(tunes))
    return found


def played(text: bytes, folder: Path) -> Sounds:
    """The notes that abc2midi plays, without the chords that it makes up to chord names."""
    (folder / "t.abc").write_bytes(text)
    out = folder / "t.mid"
    words = ["abc2midi", str(folder / "t.abc"), "1", "-o", str(out)]
    subprocess.run(words, capture_output=True, check=False, timeout=60)
    file = mido.MidiFile(out)
    found: Sounds = []
    for track in file.tracks:
        now, begun = 0, {}
        for message in track:
            now += message.time
            if message.type not in ("note_on", "note_off") or message.channel:
                continue
            if message.type == "note_on" and message.velocity:
                begun[message.note] = now
            elif message.note in begun:
                start = begun.pop(message.note)
                ticks = file.ticks_per_beat
                found.append((message.note, Fraction(start, ticks), Fraction(now - start, ticks)))
    return sorted(found, key=lambda sound: sound[1])


def assert_same(found: Sounds, wanted: Sounds, name: str) -> None:
    """The same notes, to a few ticks: players round, and let go a little early."""
    assert [midi for midi, _, _ in found] == [midi for midi, _, _ in wanted], name
    for (_, start, length), (_, begin, long) in zip(found, wanted, strict=True):
        assert abs(start - begin) < Fraction(1, 20), name
        assert abs(length - long) < Fraction(1, 12), name


@needs_abc2midi
def test_a_player_that_follows_the_standard_plays_our_abc(tmp_path: Path) -> None:
    tunes = corpus_sample()
    assert len(tunes) == SAMPLE
    for tune in tunes:
        melody = tune.read().melody
        assert_same(
            played(score_bytes(melody, ".abc"), tmp_path), sounds(melody.expanded()), tune.name
        )


TEXTS = {
    "triplets": "meter: 4/4\n\n(1 2 3):1/3 (5 6 5):1/3 8 - | (1 2 3):2/3 5:2",
    "uneven triplets": "meter: 4/4\n\n1:2/3 2:1/3 3:1/6 4:1/6 5:2/3 6 7",
    "quintuplets": "meter: 2/4\n\n(1 2 3 4 5):1/5 8 | (1 2 3 4 5 6 7):1/7 8",
    "repeats": "meter: 2/4\n\n5, | |: 1 2 | 3 5 :| |: 8 7 | [1 5 1 :| [2 1 r ]",
    "three times": "meter: 2/4\n\n|: 1 2 | 3 5 :|x3 1:2",
    "a tie over a sign": "meter: 2/4\n\n|: 1 2 | 3 5 :| - 1",
    "changes": (
        "key: G\nmeter: 4/4\n\n1 2 3 4 | 5 - - - |\nkey: Eb\nmeter: 6/8\n1 2 3 4 5 6 | b7:3 8:3"
    ),
}


@needs_abc2midi
@pytest.mark.parametrize("name", TEXTS)
def test_a_player_plays_what_melody_text_says(name: str, tmp_path: Path) -> None:
    melody = parse_melody(TEXTS[name])
    found = played(score_bytes(melody, ".abc"), tmp_path)
    assert_same(found, sounds(melody.expanded()), name)


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", TEXTS)
def test_another_reader_of_musicxml_has_the_same(name: str, tmp_path: Path) -> None:
    """partitura, the notes as they are written; it counts quarters from the first whole bar."""
    partitura = pytest.importorskip("partitura")
    melody = parse_melody(TEXTS[name])
    path = tmp_path / "t.musicxml"
    path.write_bytes(score_bytes(melody, ".musicxml"))
    notes = partitura.load_musicxml(str(path)).parts[0].note_array()
    order = notes[notes["onset_quarter"].argsort(kind="stable")]
    wanted = sounds(melody)
    assert order["pitch"].tolist() == [midi for midi, _, _ in wanted]
    for row, (_, start, length) in zip(order, wanted, strict=True):
        onset = row["onset_quarter"] - order["onset_quarter"][0]
        assert abs(onset - float(start - wanted[0][1])) < 0.01
        assert abs(row["duration_quarter"] - float(length)) < 0.01


@pytest.mark.filterwarnings("ignore")
@pytest.mark.parametrize("name", ["repeats", "three times", "changes"])
def test_music21_plays_the_repeats_of_our_musicxml(name: str) -> None:
    from music21 import converter

    melody = parse_melody(TEXTS[name])
    score = converter.parseData(score_bytes(melody, ".musicxml").decode(), format="musicxml")
    notes = score.parts[0].expandRepeats().flatten().notes
    struck = [n for n in notes if n.tie is None or n.tie.type == "start"]
    assert [n.pitch.midi for n in struck] == [midi for midi, _, _ in sounds(melody.expanded())]


def test_the_sample_has_repeats_and_all_are_kept_or_said() -> None:
    """A sign that goes back, in the text of the tune or the tree of the score."""
    with_signs = 0
    for tune in corpus_sample():
        text = tune.content if isinstance(tune.content, str) else ""
        signs = ":|" in text or "::" in text
        if not isinstance(tune.content, str):
            signs = any(r.get("direction") == "backward" for r in tune.content.iter("repeat"))
        if signs:
            with_signs += 1
            melody, remarks = tune.read()
            assert melody.repeats or any("written out" in str(r) for r in remarks), tune.name
    assert with_signs >= 13
