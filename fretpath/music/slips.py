"""What to say about a word that is no melody text: the commonest slips by name.

Words are shown clipped, so that a message stays short whatever was typed.
"""

from __future__ import annotations

import re

from fretpath.errors import nearest
from fretpath.music.grammar import HEADERS

__all__ = ["unknown_header", "why_not"]

_OTHER_NAMES = {"time": "meter", "bpm": "tempo", "speed": "tempo", "name": "title"}
_SYLLABLES = {"do", "re", "mi", "fa", "so", "sol", "la", "ti", "si"}


def why_not(word: str) -> str:
    """What was expected where ``word`` stands; the commonest slips by name."""
    if re.match(r"[#b]*0", word):
        return f'"{word[:20]}": degrees count from 1 (the octave below is 1,)'
    if re.match(r"[hH]", word):
        return f'"{word[:20]}": there is no note H here; write B (or Bb)'
    if re.match(r"[a-g][#b]*-?\d", word):
        return f'"{word[:20]}": note letters are capitals; write {word[:1].upper()}{word[1:20]}'
    if re.fullmatch(r"[A-G][#b]{0,3}[,']+", word):
        letter = word.rstrip(",'")
        return f'"{word[:20]}": a note has its octave as a number, such as {letter}2 or {letter}5'
    if re.match(r"[1-9]\d?[#b]", word):
        return f'"{word[:20]}": the accidental stands before the number, such as b3 or #4'
    if re.fullmatch(r"[^@:]+@[\d-]*:.*", word):
        return f'"{word[:20]}": the length comes before the place, such as 5:2@4-8'
    if re.fullmatch(r"[A-Za-z]{3,}:", word):
        return unknown_header(word[:20].rstrip(":").lower())
    if word.endswith("@"):
        return "expected a string, a fret or both after @, such as @4-8, @4 or @-8"
    remark = "; a remark stands on a line that begins with ;"
    return (
        f'"{word[:20]}" is no note: expected a degree (5, b3, #4, 10), a note (Bb2), '
        "r, - or |, with a length such as :1/2 behind it"
        f"{_slip(word) or (remark if re.fullmatch('[A-Za-z]{3,20}', word) else '')}"
    )


def _slip(word: str) -> str:
    """What a teacher who wrote ``word`` most likely meant, to end the message; or nothing."""
    if word.lower() in _SYLLABLES:
        return "; for syllables write do 1, re 2, mi 3, fa 4, so 5, la 6, ti 7"
    if re.fullmatch(r"[-_.][#b]*\d+|[#b]*\d+\.", word):
        number = word.strip("-_.")
        return f"; an octave down is written {number}, (with a comma), an octave up {number}'"
    if re.match(r":\d", word):
        return "; a length stands right behind its note, without a space"
    if re.fullmatch(r"[^:]+:\d*\.\d+", word) or re.fullmatch(r"[^:/]+/\d+", word):
        return f"; write half a beat {re.split('[:/]', word)[0][:20]}:1/2, one and a half :3/2"
    return ""


def unknown_header(name: str) -> str:
    """A header nobody knows, with the one that was most likely meant."""
    other = _OTHER_NAMES.get(name.split()[0])
    hint = f'; did you mean "{other}"?' if other else nearest(name, HEADERS)
    return f'unknown header "{name}"{hint} (known: {", ".join(HEADERS)})'
