"""Read a plain-text tab: its positions, pitches, degrees and lengths, and what is in doubt.

Or a recording of one plucked line (.wav, .flac, .ogg, .mp3): what is heard in it, as melody text
and tab.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import asdict, replace
from fractions import Fraction
from typing import Any

from fretpath.commands.files import melody_text
from fretpath.commands.heard import heard_page
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    deliver,
    with_found_key,
)
from fretpath.errors import RequestError
from fretpath.exchange.door import is_recording_name
from fretpath.music.melody import Meter
from fretpath.music.notation import format_melody
from fretpath.music.pitch import Pitch
from fretpath.music.words import counted
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.neck.instrument import Instrument
from fretpath.neck.line import without_places
from fretpath.page.captions import counted_against, instrument_line
from fretpath.page.rows import degree_labels
from fretpath.page.spelling import guess_data, guess_lines
from fretpath.page.tab_lines import TabNote
from fretpath.page.tab_reading import TabReading, read_tab
from fretpath.page.tables import table
from fretpath.remarks import Remark


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    add_tab_options(parser)
    parser.add_argument(
        "--tempo", type=float, help="of a recording: beats a minute, for its rhythm"
    )
    parser.add_argument("--melody", action="store_true", help="melody text with the places")
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
    parser.add_argument("--meter", help="meter of the tab, such as 3/4")
    parser.add_argument(
        "--tab-part", metavar="NUMBER|NAME", help="which part, where a tab has several"
    )
    parser.add_argument(
        "--by-spacing", action="store_true", help="take the lengths from the columns"
    )
    add_instrument_options(parser)
    parser.set_defaults(instrument=None, remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """A row a note, then the doubts; or melody text; or the same as JSON."""
    if is_recording_name(arguments.tab):
        return heard_page(arguments)
    if arguments.tempo is not None:
        raise RequestError("--tempo goes with a recording; a tab tells its own")
    reading = reading_from(arguments)
    melody, guess = with_found_key(reading.melody)
    reading = replace(reading, melody=melody)
    if arguments.json or arguments.melody:
        arguments.remarks.extend(reading.doubts)
    if arguments.json:
        key_found = {"key_found": guess_data(guess)} if guess else {}
        return deliver(arguments, as_json(_data(reading) | key_found))
    if arguments.melody:
        arguments.remarks.extend(_not_in_melody(reading))
        return deliver(arguments, _melody_text(reading, places=not arguments.no_places))
    if arguments.no_places:
        raise RequestError("--no-places goes with --melody")
    key_line = guess_lines(guess).rstrip() if guess else _key_line(reading)
    return deliver(arguments, "\n".join(_page(reading, key_line)) + "\n")


def reading_from(arguments: argparse.Namespace) -> TabReading:
    """The tab the arguments name, read; remarks that are no doubts go with the arguments."""
    text, source = melody_text(arguments.tab)
    reading = read_tab(
        text,
        arguments.instrument,
        tuning=arguments.tuning,
        frets=arguments.frets,
        scale_length=arguments.scale_length,
        capo=arguments.capo,
        key=arguments.key,
        meter=Meter.parse(arguments.meter) if getattr(arguments, "meter", None) else None,
        part=getattr(arguments, "tab_part", None),
        spacing=getattr(arguments, "by_spacing", False),
        source=source,
    )
    arguments.remarks.extend(r for r in reading.remarks if r not in reading.doubts)
    return reading


_NO_LENGTHS = "; a tab has no lengths: every note is one beat until you write :2, :1/2 behind it\n"


_MARKS = {
    "hammer-on": "hH", "pull-off": "pP", "slide": "/\\sS", "tap": "tT", "vibrato": "~vV",
    "grace note": "g",
}  # fmt: skip
"""Playing marks and their signs; other signs are told where they are read."""


def _not_in_melody(reading: TabReading) -> Iterator[Remark]:
    """The signs that the table shows and melody text does not, one remark a kind."""
    for name, signs in _MARKS.items():
        if found := sum(any(sign in note.marks for sign in signs) for note in reading.notes):
            yield Remark("left out", f"{counted(found, name)}: melody text has no sign for it")
    if reading.meter and not reading.lengths:
        text = f"the meter {reading.meter}: no lengths are known that would fill its bars"
        yield Remark("left out", f"{text} (--by-spacing takes them from the columns)")


def _melody_text(reading: TabReading, *, places: bool) -> str:
    melody = reading.melody if places else without_places(reading.melody)
    remark = _instrument_remark(reading.instrument) if places else ""
    if not reading.lengths:
        remark += _NO_LENGTHS
        remark += f"; with lengths, write meter: {reading.meter}\n" if reading.meter else ""
    return remark + format_melody(melody)


def _instrument_remark(instrument: Instrument) -> str:
    """How the places must be read, as a remark above the melody."""
    capo = f" --capo {instrument.capo}" if instrument.capo else ""
    known = INSTRUMENTS.get(instrument.name)
    usual = known is not None and instrument.tuning == known.tuning
    tuned = "" if usual else f' --tuning "{instrument.tuning}"'
    return f"; the places count with --instrument {instrument.name}{tuned}{capo}\n"


def _struck(reading: TabReading) -> Iterator[tuple[TabNote, Pitch, str, Fraction]]:
    """Each note of the melody with its sound, degree and length."""
    melody = reading.melody
    labels = degree_labels(melody)
    return zip(reading.notes, melody.pitches, labels, melody.lengths, strict=True)


def _page(reading: TabReading, key_line: str) -> list[str]:
    melody = reading.melody
    names = reading.instrument.string_names
    rows = [
        (
            *(note.bar + 1, number, f"{note.string} ({names[note.string - 1]})", note.fret),
            *(pitch, degree, *[beats] * bool(reading.lengths), note.marks),
        )
        for number, (note, pitch, degree, beats) in enumerate(_struck(reading), start=1)
    ]
    head = ["bar", "note", "string", "fret", "pitch", "degree"]
    head += ["beats"] * bool(reading.lengths) + ["marks"]
    music = [f"meter {reading.meter}"] * (reading.meter is not None)
    music += [f"tempo {float(melody.tempo):g}"] if melody.tempo else []
    lines = [melody.title] if melody.title else []
    lines += [instrument_line(reading.instrument), "; ".join([key_line, *music]), ""]
    lines += table(rows, head=head, align="rrlr")
    doubts = [f"  {remark}" for remark in reading.doubts]
    return [*lines, "", "to look at:", *doubts] if doubts else lines


def _key_line(reading: TabReading) -> str:
    return f"key {reading.melody.key}; {counted_against('major')}"


def _data(reading: TabReading) -> dict[str, Any]:
    melody = reading.melody
    return {
        "title": melody.title,
        "instrument": reading.instrument.name,
        "tuning": reading.instrument.tuning.split(),
        "capo": reading.instrument.capo,
        "key": str(melody.key) if melody.key else None,
        "meter": str(reading.meter) if reading.meter else None,
        "tempo": float(melody.tempo) if melody.tempo else None,
        "lengths_from": reading.lengths or None,
        "notes": [
            _place(note)
            | {
                "note": str(pitch),
                "midi": pitch.midi,
                "degree": label or None,
                "beats": str(beats) if reading.lengths else None,
            }
            for note, pitch, label, beats in _struck(reading)
        ],
        "off_the_neck": [_place(note) for note in reading.off_the_neck],
        "lower_notes": [_place(note) for note in reading.lower],
        "doubts": [asdict(remark) for remark in reading.doubts],
        "remarks": [asdict(r) for r in reading.remarks if r not in reading.doubts],
    }


def _place(note: TabNote) -> dict[str, Any]:
    return asdict(note) | {"bar": note.bar + 1}
