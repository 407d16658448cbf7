"""How a labelled scribble is scored: right, acceptable or wrong.

``right``: read as a musician reads it, and told where it should be, or asked where it should be.
``acceptable``: refused or asked with a way shown, or a reading one can defend that is told.
``wrong``: anything else; a silent other reading is the worst of them.
"""

from __future__ import annotations

import json
import re
from itertools import pairwise
from pathlib import Path
from typing import Any

from fretpath import FretpathError, Melody, parse_melody
from fretpath.errors import AmbiguousTextError
from fretpath.music.loose import read_loosely

DATA = Path(__file__).parent.parent / "data"


def labelled(name: str) -> list[dict[str, Any]]:
    """The items of a labelled set."""
    items: list[dict[str, Any]] = json.loads((DATA / name).read_text(encoding="utf-8"))
    return items


def heard(melody: Melody) -> tuple[Any, ...]:
    """What is compared: steps, lengths, onsets, letters, meter and tempo; not the octave."""
    melody = melody.expanded()
    steps = [(b - a).steps for a, b in pairwise(melody.pitches)]
    sounds = [(b - a).semitones for a, b in pairwise(melody.pitches)]
    onsets = [melody.onsets[event] for event in melody.struck]
    names = [pitch.name for pitch in melody.pitches]
    return steps, sounds, onsets, melody.lengths, names, melody.meter, melody.tempo


def score(item: dict[str, Any]) -> tuple[str, str]:
    """``right``, ``acceptable`` or ``wrong``, and why."""
    try:
        melody, remarks = read_loosely(item["text"])
    except FretpathError as problem:
        message = str(problem)
        shown = any(re.search(word, message) for word in item["ask"])
        if item["verdict"] == "ask" and shown:
            return "right", "asked"
        kind = "asked" if isinstance(problem, AmbiguousTextError) else "refused"
        return ("acceptable" if shown else "wrong"), f"{kind}: {message}"
    told = "\n".join(map(str, remarks))
    said = not item["say"] or any(re.search(word, told) for word in item["say"])
    if item["reading"] and heard(melody) == heard(parse_melody(item["reading"])):
        if item["title"] is not None and melody.title != item["title"]:
            return "acceptable", f"the title is {melody.title!r}"
        stated = parse_melody(item["reading"]).key
        if melody.key is not None and stated != melody.key:
            return "wrong", f"the key is {melody.key}"
        return ("right" if said else "wrong"), f"told: {told}"
    if any(heard(melody) == heard(parse_melody(other)) for other in item["alt"]):
        return ("acceptable" if said and told else "wrong"), f"another reading, told: {told}"
    return "wrong", f"read as {melody.expanded().degrees}: {told}"
