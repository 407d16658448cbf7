"""ABC 2.1 (standard of December 2011) made ready for music21, and what music21 leaves out.

music21 10.5 reads ABC with six gaps, which are closed here: it loses a note that has one of the
standard's redefinable symbols (H to W, h to w) in front, and a note right before ``::``; without
a version line it lets an accidental hold for one note only and not to the bar line; it does not
know the Locrian mode; it passes over a change of key in square brackets; and it uses one on a
line of its own (or a change of meter) without telling where.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from fretpath.errors import FretpathError
from fretpath.exchange.assemble import Voice, key_of_signature
from fretpath.music.key import SCALES, Key
from fretpath.music.melody import Meter

__all__ = ["add_changes", "plain_abc"]

_FIELD = re.compile(r"(?:[A-Za-z+]:|%%)")
_OLD_CHORD = re.compile(r"\+((?:[\^_=]*[A-Ga-g][,']*[\d/]*){2,})\+")
_INLINE = re.compile(r"\[([KLM]:[^\]\n]*)\]")
_LOCRIAN = re.compile(r"(?im)^(K:\s*)([A-G][#b]?)\s*loc\w*")
# Kept as they are: chord names, inline fields; taken out: annotations, decorations, single signs.
_KEPT = r'"(?![\^_<>@])[^"\n]*"|\[[A-Za-z]:[^\]\n]*\]'
_ORNAMENT = re.compile(rf'({_KEPT})|"[^"\n]*"|![^!\n|]*!|\+[^+\n|]*\+|[H-Wh-w~.`]|%.*')
_CHANGE = re.compile(r"(?m)^([KM]):(.*)$|\[([KM]):([^\]\n]*)\]")
_NO_NOTE = re.compile(r'(?m)^(?:[A-Za-z+]:|%).*$|"[^"\n]*"|\{[^}]*\}|\[[A-Za-z]:[^\]\n]*\]')
_CHORD = re.compile(r"\[[^|\]\d][^\]]*\]")
_KEY = re.compile(r"\s*([A-G])([#b]?)\s*([A-Za-z]{0,3})")
_SCALES = {scale.name[:3]: scale.name for scale in SCALES.values() if scale.parent == scale.name}
_MODES = {**_SCALES, "": "major", "maj": "major", "ion": "major", "m": "natural minor"} | {
    "min": "natural minor",
    "aeo": "natural minor",
}


def plain_abc(text: str) -> str:
    """An ABC tune without decorations, annotations and remarks; its notes stay as they are.

    >>> plain_abc('K:G\\nHg2 .f "^slow"e | !trill!d\\n')
    '%abc-2.1\\nK:G\\ng2 f e | d\\n'
    """
    text = _INLINE.sub(r"\n\1\n", re.sub(r"%abc.*\n", "", text))
    text = _LOCRIAN.sub(_as_major, text)
    head, music = _cut(text)
    music = [line if _FIELD.match(line) else _in_new_signs(line) for line in music]
    lines = [line if _FIELD.match(line) else _ORNAMENT.sub(r"\1", line) for line in music]
    return "%abc-2.1\n" + head + "\n".join(lines)


def _in_new_signs(line: str) -> str:
    """A line of music with chords of older ABC (``+CEG+``) in brackets, and room around ``::``."""
    return _OLD_CHORD.sub(r"[\1]", line).replace("::", " :: ")


def _cut(text: str) -> tuple[str, list[str]]:
    """The header with its K: line, and the lines of music."""
    end = re.search(r"(?m)^K:.*(?:\n|\Z)", text)
    at = end.end() if end else 0
    return text[:at], text[at:].split("\n")


def _as_major(match: re.Match[str]) -> str:
    key = Key(match[2][0].upper() + match[2][1:], "locrian")
    return match[1] + key_of_signature(key.signature, "major").tonic


def add_changes(text: str, voice: Voice) -> None:
    """Put the keys and meters that change inside a tune into a voice that was read from it."""
    head, music = _cut(text)
    key = _key(head[head.rfind("K:") + 2 :])
    if key and voice.keys:
        voice.keys[:] = [(0, key)]
    del voice.meters[1:]  # music21 makes up meters for bars that do not add up
    lines = "\n".join(music)
    written = _events_in(lines)
    struck = [at for at, sound in enumerate(voice.sounds) if sound.pitch and not sound.tied]
    exact = written[0] == len(voice.sounds)
    for (events, notes), kind, value in _changes(lines):
        if not 0 < notes < len(struck) and not exact:
            continue
        at = events if exact else _bar_between(voice.bars, struck[notes - 1], struck[notes])
        if kind == "K" and (key := _key(value)):
            voice.keys.append((at, key))
        elif kind == "M" and (meter := _meter(value)):
            voice.meters.append((at, meter))


def _changes(music: str) -> Iterator[tuple[tuple[int, int], str, str]]:
    """What stands before each change in the lines of music, K or M, and its value."""
    for match in _CHANGE.finditer(music):
        before = _events_in(music[: match.start()])
        yield before, match[1] or match[3], match[2] or match[4] or ""


def _events_in(music: str) -> tuple[int, int]:
    """(notes and rests, notes struck) in lines of music; a chord counts once."""
    plain = _CHORD.sub("C", _NO_NOTE.sub("", plain_abc("K:C\n" + music)))
    letters = len(re.findall(r"[A-Ga-g]", plain))
    return letters + len(re.findall(r"[xzZ]", plain)), letters - plain.count("-")


def _bar_between(bars: list[int], low: int, high: int) -> int:
    return max((bar for bar in bars if low < bar <= high), default=high)


def _key(value: str) -> Key | None:
    match = _KEY.match(value)
    mode = _MODES.get(match[3].lower()) if match else None
    return Key(match[1] + match[2], mode) if match and mode else None


def _meter(value: str) -> Meter | None:
    named = {"C": "4/4", "C|": "2/2"}
    try:
        return Meter.parse(named.get(value.strip(), value))
    except FretpathError:
        return None
