"""Answers: what a student handed in, read as a melody with a name.

**Conventions.**  The name stands in a header (``name: Tom``), in front of the notes with a colon
(``Tom: 5 6 5 3``), or is that of the file.  An answer without a key is read in the key of the
tune; one whose first note is a letter counts as an answer in letters.
"""

from __future__ import annotations

import re
from contextlib import suppress
from dataclasses import dataclass

from fretpath.errors import AmbiguousTextError, FretpathError, printable
from fretpath.music.heads import read_head
from fretpath.music.key import Key
from fretpath.music.loose import read_loosely
from fretpath.music.melody import Melody
from fretpath.music.notation import parse_melody
from fretpath.remarks import Remark
from fretpath.values import Value

_NAME = re.compile(r"\s*(?:name|student)\s*:\s*(.*?)\s*", re.IGNORECASE)
_SPOKEN_FOR = re.compile(r"\s*([^\W\d_][^:|\d]{0,60}?)\s*:\s+(?=[^\s:])(.*)")
_DASHED = re.compile(r"\s*(?!(?:sol|Sol|SOL)\b)([^\W\d_]{3}[^:|\d-]{0,60}?) [-–] (?=[^\s:-])(.*)")
_HEADERS = frozenset(
    {"title", "key", "meter", "time", "tempo", "octave", "level", "source", "date"}
)
_LETTER = re.compile(r"[A-Ga-g](?:#{1,2}|b{1,2})?\d?(?=[\s:@|(),]|$)")
_DEGREE = re.compile(r"[#b]*\d")
_ALONE = re.compile(r"(?<![\w:])[A-Ha-h](?:[#b]*|is|es|s)(?=[\s:|,]|$)")


@dataclass(frozen=True)
class Answer(Value):
    """An answer that was read."""

    student: str
    """Who handed it in; empty when the text does not say."""
    melody: Melody
    """What was written."""
    letters: bool
    """Whether it is written in letters."""
    octaves: bool
    """Whether its notes tell their octave: degrees do, letters only with a number."""
    remarks: tuple[Remark, ...] = ()
    """What had to be guessed."""


def read_answer(text: str, key: str | Key | None, source: str = "answer") -> tuple[Answer, ...]:
    """The answer in a text, in each way it may be meant; *key* is that of answers without one.

    As it stands, where it is in the notation, and as people write; the tune tells which is nearer.

    >>> [answer] = read_answer("Tom: 5,6,5,3", "C major")
    >>> answer.student, [str(degree) for degree in answer.melody.degrees]
    ('Tom', ['5', '6', '5', '3'])

    Raises :class:`MelodySyntaxError` for what cannot be read.
    """
    student, music = split_name(text)
    wanted = None if gives_a_key(music) else key
    letters = in_letters(music)
    octaves = not (letters and _ALONE.search(_without_heads(music)))
    found: list[Answer] = []
    with suppress(FretpathError):
        plain = parse_melody(music, key=wanted, source=source)
        found.append(Answer(student, plain, letters, octaves))
    try:
        melody, remarks = read_loosely(music, key=wanted, source=source)
    except AmbiguousTextError:
        if not found:
            raise
        return tuple(found)
    if not found or melody.pitches != found[0].melody.pitches:
        found.append(Answer(student, melody, letters, octaves, remarks))
    return tuple(found)


def split_name(text: str) -> tuple[str, str]:
    """The name in a text, or the empty string, and the text without it.

    >>> split_name("Name: Ana B.\\n1 2 3"), split_name("key: C\\n\\n1 2")
    (('Ana B.', '1 2 3'), ('', 'key: C\\n\\n1 2'))
    """
    lines = text.removeprefix("\ufeff").splitlines()
    for at, line in enumerate(lines):
        header = _NAME.fullmatch(line)
        if header:
            return printable(header[1]), "\n".join([*lines[:at], *lines[at + 1 :]])
        spoken = _SPOKEN_FOR.fullmatch(line) or _DASHED.fullmatch(line)
        if spoken and spoken[1].strip().lower() not in _HEADERS and _is_music(spoken[2]):
            return printable(spoken[1]), "\n".join([*lines[:at], spoken[2], *lines[at + 1 :]])
    return "", text


def _is_music(text: str) -> bool:
    first = text.split()[0] if text.split() else ""
    return bool(_DEGREE.match(first) or _LETTER.match(first))


def gives_a_key(text: str) -> bool:
    """Whether a line of the text says in which key it is."""
    return any("key" in dict(read_head(line).values) for line in text.splitlines())


def _without_heads(text: str) -> str:
    """The lines of a text without what they say of key, meter and the like."""
    lines = (read_head(line).rest for line in text.splitlines())
    return "\n".join(line for line in lines if line.partition(":")[0].lower() not in _HEADERS)


def in_letters(text: str) -> bool:
    """Whether the first note of the music is a letter."""
    for line in _without_heads(text).splitlines():
        for word in line.replace("|", " ").replace("(", " ").split():
            if _DEGREE.match(word) or _LETTER.match(word):
                return not _DEGREE.match(word)
    return False
