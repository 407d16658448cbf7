"""Read a plain-text tab: its positions, pitches and degrees, and what is in doubt."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace
from typing import Any

from fretpath.commands.files import melody_text
from fretpath.commands.found_key import with_found_key
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    delivered,
)
from fretpath.errors import RequestError
from fretpath.music.key import Key
from fretpath.music.notation import format_melody
from fretpath.neck.catalogue import INSTRUMENTS, instrument_named
from fretpath.neck.instrument import Instrument
from fretpath.page.heading import counted_against, instrument_line
from fretpath.page.rows import degree_labels
from fretpath.page.spelling import guess_data, guess_lines
from fretpath.page.tabmelody import PlayedTab, instrument_of, key_of, played, without_places
from fretpath.page.tabtext import TabText, read_tab


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_tab_options(parser)
    parser.add_argument(
        "--melody",
        action="store_true",
        help="melody text with the places, each note one beat",
    )
    parser.add_argument(
        "--no-places", action="store_true", help="with --melody: leave strings and frets open"
    )
    add_output_options(parser)


def add_tab_options(parser: argparse.ArgumentParser) -> None:
    """The tab, and what it does not say itself."""
    parser.add_argument(
        "tab", metavar="TAB", help="a file with a text tab, or - for standard input"
    )
    parser.add_argument("--key", help="tonic and mode the degrees count from, such as 'C minor'")
    add_instrument_options(parser)
    parser.set_defaults(instrument=None, remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """A row a note, then the doubts; or melody text; or the same as JSON."""
    found, _ = tab_from(arguments)
    melody, guess = with_found_key(found.melody)
    found = replace(found, melody=melody)
    if arguments.json:
        key_found = {"key_found": guess_data(guess)} if guess else {}
        return delivered(arguments, as_json(_data(found) | key_found))
    if arguments.melody:
        places = () if arguments.no_places else (_instrument_remark(found.instrument),)
        plain = without_places(melody) if arguments.no_places else melody
        return delivered(arguments, "".join([*places, _NO_LENGTHS, format_melody(plain)]))
    if arguments.no_places:
        raise RequestError("--no-places goes with --melody")
    key_line = guess_lines(guess).rstrip() if guess else _key_line(found)
    return delivered(arguments, "\n".join(_page(found, key_line)) + "\n")


def tab_from(arguments: argparse.Namespace) -> tuple[PlayedTab, str]:
    """The tab the arguments name on its instrument, and its text; remarks go with the arguments."""
    text, source = melody_text(arguments.tab)
    named = instrument_named(arguments.instrument) if arguments.instrument else None
    strings = len(named.strings) if named else None
    if named is None and arguments.tuning:
        strings = len(arguments.tuning.replace(",", " ").split())
    tab = read_tab(text, source=source, strings=strings)
    if named is None and arguments.tuning is None:
        named, reason = instrument_of(tab)
        if reason.startswith("read as"):
            arguments.remarks.append(reason)
    made = (named or instrument_named("bass")).customised(
        tuning=arguments.tuning,
        frets=arguments.frets,
        scale_length=arguments.scale_length,
        capo=arguments.capo,
    )
    key = Key.parse(arguments.key) if arguments.key else key_of(tab)
    return played(tab, made, key, source=source), text


_NO_LENGTHS = "; a tab has no lengths: every note is one beat until you write :2, :1/2 behind it\n"


def _instrument_remark(made: Instrument) -> str:
    """How the places must be read, as a remark above the melody."""
    capo = f" --capo {made.capo}" if made.capo else ""
    known = INSTRUMENTS.get(made.name)
    tuned = f' --tuning "{made.tuning}"' if known is None or made.tuning != known.tuning else ""
    return f"; the places count with --instrument {made.name}{tuned}{capo}\n"


def _page(found: PlayedTab, key_line: str) -> list[str]:
    melody = found.melody
    lines = [instrument_line(found.instrument), key_line, ""]
    lines.append(
        f"{'bar':>4} {'note':>4}  {'string':<8} {'fret':>4}  {'pitch':<6} {'degree':<7} marks"
    )
    names = found.instrument.string_names
    labels = degree_labels(melody)
    for number, (note, pitch, degree) in enumerate(
        zip(found.notes, melody.pitches, labels, strict=True), start=1
    ):
        string = f"{note.string} ({names[note.string - 1]})"
        row = f"{note.bar + 1:>4} {number:>4}  {string:<8} {note.fret:>4}  {pitch!s:<6} {degree:<7}"
        lines.append(f"{row} {note.marks}".rstrip())
    doubts = _doubts(found)
    if doubts:
        lines += ["", "to look at:", *(f"  {text}" for text in doubts)]
    return lines


def _key_line(found: PlayedTab) -> str:
    return f"key {found.melody.key}; {counted_against('major')}"


def _doubts(found: PlayedTab) -> list[str]:
    made = found.instrument
    texts = [(d.line, d.column, str(d)) for d in found.tab.doubts]
    for note in found.off_the_neck:
        said = f"string {note.string} of the {made.name} has no fret {note.fret}: left out"
        texts.append((note.line, note.column, f"line {note.line}, column {note.column}: {said}"))
    for note in found.lower:
        said = f"fret {note.fret} on string {note.string} sounds under another note: left out"
        texts.append((note.line, note.column, f"line {note.line}, column {note.column}: {said}"))
    return [text for _, _, text in sorted(texts)]


def _data(found: PlayedTab) -> dict[str, Any]:
    tab: TabText = found.tab
    labels = degree_labels(found.melody)
    return {
        "instrument": found.instrument.name,
        "tuning": found.instrument.tuning.split(),
        "capo": found.instrument.capo,
        "key": str(found.melody.key) if found.melody.key else None,
        "notes": [
            {
                "bar": note.bar + 1,
                "string": note.string,
                "fret": note.fret,
                "note": str(pitch),
                "midi": pitch.midi,
                "degree": label or None,
                "marks": note.marks,
                "line": note.line,
                "column": note.column,
            }
            for note, pitch, label in zip(found.notes, found.melody.pitches, labels, strict=True)
        ],
        "off_the_neck": [asdict(note) for note in found.off_the_neck],
        "lower_notes": [asdict(note) for note in found.lower],
        "doubts": [asdict(doubt) for doubt in tab.doubts],
    }
