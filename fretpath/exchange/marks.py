"""What a Melody knows and MusicXML has no word for, in the file's own miscellaneous fields.

MusicXML 4.0 keeps ``<miscellaneous-field name="...">`` for such things.  Ours are the phrase
starts, the octave of the tonic and whether it is free, keys whose scale has no MusicXML mode, and
the headers.  They count events, so they hold only while the number of events is what it was
when they were written; otherwise they are passed over.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from xml.etree.ElementTree import Element

from fretpath.exchange.assemble import Imported
from fretpath.music.key import Key
from fretpath.music.melody import Melody
from fretpath.music.text import KEPT

__all__ = ["marks_in", "marks_of", "with_marks"]

_PREFIX = "fretpath-"


def marks_of(melody: Melody) -> Iterator[tuple[str, str]]:
    """Field names and values for a melody; the inverse of :func:`with_marks`."""
    yield f"{_PREFIX}events", str(len(melody.notes))
    yield f"{_PREFIX}octave", f"{melody.octave}{' free' * melody.octave_free}"
    yield f"{_PREFIX}phrases", " ".join(map(str, melody.phrases)) or "none"
    if melody.keys:
        yield f"{_PREFIX}keys", "; ".join(f"{at} {key}" for at, key in melody.keys)
    for name, value in melody.headers:
        yield f"{_PREFIX}{name}", value


def marks_in(root: Element) -> dict[str, str]:
    """Our fields in the tree of a MusicXML file, without their prefix."""
    return {
        name.removeprefix(_PREFIX): (field.text or "").strip()
        for field in root.iter("miscellaneous-field")
        if (name := field.get("name", "")).startswith(_PREFIX)
    }


def with_marks(imported: Imported, marks: Mapping[str, str]) -> Imported:
    """The melody with the marks put back, if they still belong to it."""
    melody = imported.melody
    if marks.get("events") != str(len(melody.notes)):
        return imported
    try:
        marked = _marked(melody, marks)
    except ValueError:  # a field was edited by hand
        return imported
    return replace(imported, melody=marked)


def _marked(melody: Melody, marks: Mapping[str, str]) -> Melody:
    octave, _, free = marks.get("octave", str(melody.octave)).partition(" ")
    keys = tuple(
        (int(match[1]), Key.parse(match[2]))
        for match in re.finditer(r"(\d+) ([^;]+)", marks.get("keys", ""))
    )
    signatures = [(at, key.signature) for at, key in keys]
    if signatures != [(at, key.signature) for at, key in melody.keys]:
        keys = melody.keys
    return replace(
        melody,
        phrases=tuple(int(word) for word in re.findall(r"\d+", marks.get("phrases", ""))),
        keys=keys,
        octave=int(octave),
        octave_free=free == "free",
        headers=tuple((name, marks[name]) for name in marks if name in KEPT),
    )
