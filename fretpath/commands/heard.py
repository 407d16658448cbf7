"""A recording in a command: hear it, say what was unsure, and print it."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from fractions import Fraction
from pathlib import Path, PurePath
from typing import TYPE_CHECKING

from fretpath.commands.options import deliver, instrument_from, with_found_key
from fretpath.errors import RequestError
from fretpath.exchange.door import file_bytes
from fretpath.music.key import Key
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.neck.arrange import arrange
from fretpath.page.spelling import guess_lines
from fretpath.page.tab import render_tab

if TYPE_CHECKING:
    from fretpath.exchange.hearing import Heard

_LOWEST, _HIGHEST = 28, 84


def melody_from_recording(
    arguments: argparse.Namespace, recording: str, key: Key | None, tempo: Fraction | None = None
) -> tuple[Heard, Melody]:
    """The notes heard in a recording, and their melody; its remarks go with the arguments."""
    from fretpath.exchange.hearing import (
        LARGEST_BYTES,
        hear_recording,
        melody_heard,
        remarks_heard,
    )

    path = Path(recording)
    data, reach = file_bytes(path, LARGEST_BYTES), _range(arguments)
    with _quiet_libraries():
        heard = hear_recording(data, path.name, *reach)
    arguments.remarks.extend(f"{path.name}: {remark}" for remark in remarks_heard(heard))
    if not heard.notes:
        raise RequestError(f"{path.name}: no note was heard; is it one plucked line?")
    return heard, melody_heard(heard, key=key, tempo=tempo, title=path.stem)


@contextmanager
def _quiet_libraries() -> Iterator[None]:
    """Keep what the decoder of MP3 writes to standard error by itself away from the reader."""
    try:
        usual = os.dup(2)
    except OSError:  # standard error is closed
        yield
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 2)
        yield
    finally:
        os.dup2(usual, 2)
        os.close(usual)
        os.close(nowhere)


def _range(arguments: argparse.Namespace) -> tuple[int, int]:
    """Where notes are sought: on the instrument named, or E1 to C6."""
    if not (arguments.instrument or arguments.tuning):
        return _LOWEST, _HIGHEST
    instrument = instrument_from(arguments)
    sounds = [string.open.midi for string in instrument.strings]
    highest = max(sounds) + instrument.frets_free
    return max(min(sounds) - 1, 24), min(highest, 96)


def heard_page(arguments: argparse.Namespace) -> str:
    """A recording as melody text to correct by hand, and as tab; to a file the text alone."""
    if arguments.json or arguments.by_spacing or arguments.meter or arguments.tab_part:
        raise RequestError("--json, --meter, --tab-part and --by-spacing go with a text tab")
    key = Key.parse(arguments.key) if arguments.key else None
    tempo = None if arguments.tempo is None else Fraction(arguments.tempo).limit_denominator(1000)
    if tempo is not None and not 10 <= tempo <= 400:
        raise RequestError(f"a tempo is 10 to 400 beats a minute, not {arguments.tempo:g}")
    heard, melody = melody_from_recording(arguments, arguments.tab, key, tempo)
    melody, guess = with_found_key(melody)
    text = _melody_text(heard, melody, PurePath(arguments.tab).name)
    if arguments.output or arguments.melody:
        return deliver(arguments, text)
    instrument = instrument_from(arguments)
    found = [guess_lines(guess)] if guess else []
    return "\n".join([*found, text, render_tab(arrange(melody, instrument))])


def _melody_text(heard: Heard, melody: Melody, name: str) -> str:
    """The melody with remarks above it: from what it was heard, and which notes to listen to."""
    lines = [f"; heard in {name}; correct it by hand"]
    if melody.tempo is None:
        lines.append("; lengths are not known without --tempo: every note is one beat")
    lines += [
        f"; ? note {number}: {pitch}, heard unclearly at {note.onset:.1f} s"
        for number, (note, pitch) in enumerate(zip(heard.notes, melody.pitches, strict=True), 1)
        if note.doubtful
    ]
    return "\n".join(lines) + "\n" + format_melody(melody)
