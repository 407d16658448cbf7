"""Every tune of the tune books in music21's corpus, from the file to the neck.

Run ``python tests/benchmarks/every_tune.py`` for three fiddle books and the Essen collection, all
tunes on four instruments; ``--books airdsAirs`` or ``--most 300`` for less.  The files are read
from the installed music21 package and never copied (the Essen files are for non-commercial use).

For each tune: notes in = notes out (counted from the ABC text by a counter that shares nothing
with the reader), every note sounds its pitch on the neck, or the tune is reported out of range
together with what would fit.  Prints counts, and the time spent in reading and in arranging.
"""

from __future__ import annotations

import argparse
import re
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

from tqdm import tqdm

from fretpath import (
    FretpathError,
    Melody,
    OutOfRangeError,
    arrange,
    format_melody,
    instrument_named,
    parse_melody,
)
from fretpath.exchange.melody_of_voice import Reading, melody_of, road_signs
from fretpath.exchange.scores import ScoreTune, open_book

BOOKS = ("airdsAirs", "ryansMammoth", "oneills1850", "essenFolksong")
INSTRUMENTS = ("bass", "guitar", "ukulele", "mandolin")


@dataclass
class Report:
    """Counts and seconds of one run."""

    counts: Counter[str] = field(default_factory=Counter)
    problems: list[str] = field(default_factory=list)
    reading: float = 0.0
    arranging: float = 0.0

    def lines(self) -> Iterator[str]:
        """What is printed."""
        for name, count in sorted(self.counts.items()):
            yield f"{count:>9,}  {name}"
        yield f"{self.reading:>9.1f}  s of reading (ABC to Melody)"
        yield f"{self.arranging:>9.1f}  s of arranging (Melody to Arrangement)"


def corpus_tunes(books: tuple[str, ...] = BOOKS) -> list[ScoreTune]:
    """Every tune of the books, unparsed, in the order of file names."""
    import music21

    root = Path(music21.__file__).parent / "corpus"
    files = [path for book in books for path in sorted((root / book).glob("*.abc"))]
    assert files, "music21 has no corpus here"
    return [tune for path in files for tune in open_book(path.read_bytes(), path.name).tunes]


def struck_in_text(text: str) -> int:
    """Notes that are struck in an ABC tune: letters of the music less ties, by the text alone.

    Chords count once, grace notes, words, decorations and chord names not at all.
    """
    music = "\n".join(
        line.split("%")[0]
        for line in _first_voice(text.split("\nK:", 1)[-1].split("\n")[1:])
        if not re.match(r"[A-Za-z+]:", line)
    )
    for gone in (r'"[^"]*"', r"\{[^}]*\}", r"![^!\n]*!", r"\[[A-Za-z]:[^\]]*\]"):
        music = re.sub(gone, "", music)
    music = re.sub(r"\[([^|\]\d][^\]]*)\]", lambda chord: "C", music)
    return len(re.findall(r"[A-Ga-g]", music)) - len(re.findall(r"[\w,'/>]-", music))


def _first_voice(lines: list[str]) -> Iterator[str]:
    """The lines of music of the first voice that has any."""
    first = voice = None
    for line in lines:
        match = re.match(r"\[?V:\s*(\S+?)[\]\s]", line + " ")
        voice = match[1] if match else voice
        first = first or voice
        if voice == first:
            yield line


def take(tune: ScoreTune, report: Report, instruments: tuple[str, ...] = INSTRUMENTS) -> None:
    """One tune: read it, count it, and lay it on every instrument."""
    start = time.perf_counter()
    try:
        imported = tune.read()
    except FretpathError as problem:
        report.counts["tunes refused with a message"] += 1
        report.problems.append(f"refused: {problem}")
        return
    finally:
        report.reading += time.perf_counter() - start
    melody = imported.melody
    report.counts["tunes"] += 1
    report.counts["notes"] += len(melody.pitches)
    for remark in imported.remarks:
        report.counts["said: " + re.sub(r"\d+|[A-Z]\w*:.*", "N", str(remark))[:60]] += 1
    _compare(tune, imported, report)
    start = time.perf_counter()
    for name in instruments:
        _lay(tune, replace(melody, octave_free=True), name, report)
    report.arranging += time.perf_counter() - start


def _compare(tune: ScoreTune, imported: Reading, report: Report) -> None:
    melody = imported.melody
    expected = struck_in_text(tune.content)
    if parse_melody(format_melody(melody)).notes != melody.notes:
        report.problems.append(f"text: {tune.name} changes when written as melody text")
    found = len(_written_once(tune).pitches)
    if found != expected:
        report.counts["tunes where the counters differ"] += 1
        report.counts["tunes where notes are fewer than in the text"] += found < expected
        report.problems.append(f"counted: {tune.name}: {expected} in the text, {found} read")


def _written_once(tune: ScoreTune) -> Melody:
    """The tune with no repeat written out, as its text has it."""
    voice = tune.voice()
    road = road_signs(voice.signs)
    return melody_of(replace(voice, signs=tuple(set(voice.signs) - set(road))), tune.name).melody


def _lay(tune: ScoreTune, melody: Melody, name: str, report: Report) -> None:
    made = instrument_named(name)
    try:
        found = arrange(melody, made)
    except OutOfRangeError as problem:
        report.counts[f"{name}: out of range, with what fits"] += 1
        if "It fits" not in str(problem) and "spans" not in str(problem):
            report.problems.append(f"no advice: {tune.name} on {name}")
        return
    places = zip(found.strings, found.frets, strict=True)
    sounds = [made.midi_at(string, fret) for string, fret in places]
    octaves = {heard - note.midi for heard, note in zip(sounds, melody.pitches, strict=True)}
    assert [move % 12 for move in octaves] == [0], f"{tune.name} on {name} sounds wrong"
    report.counts[f"{name}: arranged"] += 1


def main() -> int:
    """Run and print; the exit status is 1 if a tune was refused or lost a note."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--books", default=",".join(BOOKS))
    parser.add_argument("--most", type=int, help="only so many tunes, spread over all of them")
    parser.add_argument("--problems", type=int, default=20, help="how many to print")
    arguments = parser.parse_args()
    tunes = corpus_tunes(tuple(arguments.books.split(",")))
    if arguments.most:
        tunes = tunes[:: max(1, len(tunes) // arguments.most)][: arguments.most]
    report = Report()
    for tune in tqdm(tunes, disable=not sys.stderr.isatty(), unit="tune"):
        take(tune, report)
    print("\n".join(report.lines()))
    print("\n".join(report.problems[: arguments.problems]))
    return int(bool(report.problems))


if __name__ == "__main__":
    raise SystemExit(main())
