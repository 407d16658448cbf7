"""Plain-text tab, read back: our own pages and what people write.

**What is a string line.**  A line that is mostly dashes, bar lines and numbers, with or without
the name of a string in front.  Neighbouring string lines make a system, the top line is string 1.
All other lines (titles, counts, fingers, words) are passed over.  A number is a fret; numbers that
stand over each other sound together; columns count from the first bar line of each line.

**Marks.**  ``h p / \\ s t`` before a number and ``~ v`` after it are kept with their note; ``x``
is a muted string and sounds no pitch; ``7b9`` and ``9r7`` are bends and releases, whose target is
no new note; ``<12>`` is a harmonic and ``(7)`` a ghost note or a note held over, read as fret 7.

**Doubt.**  What can be read two ways is not guessed: every doubt has its line and column, and a
tab whose columns do not stand over each other is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from fretpath.errors import ScoreFileError, clip, printable

__all__ = ["TabDoubt", "TabNote", "TabText", "header_hints", "read_tab"]

_LABEL = r"\s*(?:(?P<label>[A-Ga-g](?:#|b)?-?\d?)\s*(?=[|:\-\d\s]))?"
_BODY = r"(?P<body>[|:]*[-|0-9hpbrstxvX/\\~^*()<>=.: ]*[-|0-9)>~])"
_STRING = re.compile(_LABEL + r"\s*" + _BODY + r"(?P<rest>\s.*|\s*)")
_NUMBER = re.compile(r"(?P<before>[hp/\\st(<]*)(?P<fret>\d+)(?P<after>[)>~v*]*)")
_TARGET = re.compile(r"[br]\d+")
_LINES = re.compile(r"\r\n|\r|\n")
_REPEAT = re.compile(r"\b(?:repeat|x ?\d{1,2}|\d{1,2} ?x)\b", re.IGNORECASE)
_LEAST_DASHES = 3
_LARGEST = 20_000


@dataclass(frozen=True, slots=True)
class TabNote:
    """One number on one string."""

    string: int
    """String number, 1 is the top line."""
    fret: int
    """Fret, 0 is open."""
    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the text, from 1."""
    bar: int
    """Bar lines passed before it, from 0, over all systems."""
    slot: tuple[int, int]
    """System and column inside it; notes with the same slot sound together."""
    marks: str = ""
    """Playing marks beside it, such as ``h`` or ``/``."""


@dataclass(frozen=True, slots=True)
class TabDoubt:
    """Something that was not read, or not with certainty."""

    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the text, from 1."""
    text: str
    """One sentence."""

    def __str__(self) -> str:
        return f"line {self.line}, column {self.column}: {self.text}"


@dataclass(frozen=True)
class TabText:
    """A tab as it was read."""

    strings: int
    """How many strings it has."""
    labels: tuple[str, ...]
    """Name of each string, string 1 first; empty strings where none is written."""
    notes: tuple[TabNote, ...]
    """Every number, from left to right, string 1 first among those that sound together."""
    doubts: tuple[TabDoubt, ...]
    """What a reader should look at."""
    header: str
    """The text above the first system."""

    @property
    def chords(self) -> list[list[TabNote]]:
        """The notes by the moment they sound at."""
        return [list(group) for _, group in groupby(self.notes, key=lambda note: note.slot)]


@dataclass(frozen=True, slots=True)
class _Line:
    """One string line of a system."""

    number: int
    text: str
    label: str
    body: str
    start: int
    """Index of the body in the text."""


def read_tab(text: str, *, source: str = "tab", strings: int | None = None) -> TabText:
    """The positions in a text tab; *strings* is the number of strings if it is known.

    >>> tab = read_tab("G|--2-4-|\\nD|2-----|\\nA|------|\\nE|------|")
    >>> [(note.string, note.fret) for note in tab.notes]
    [(2, 2), (1, 2), (1, 4)]

    Raises :class:`ScoreFileError` where there is no tab or its columns do not line up.
    """
    lines = _LINES.split(text.removeprefix("\ufeff").expandtabs(8))
    doubts: list[TabDoubt] = []
    systems = list(_systems(lines, doubts, strings))
    if not systems:
        raise ScoreFileError(f"{source}: there is no tab in it (lines of dashes and numbers)")
    count = _string_count(systems, source)
    labels = next((labels for system in systems if any(labels := _labels(system))), ("",) * count)
    notes: list[TabNote] = []
    bar = 0
    for number, system in enumerate(systems):
        _check_label(system, labels, doubts)
        bars = _bar_columns(system, source)
        notes.extend(_notes(system, number, bar, bars, doubts))
        bar += len(bars) + 1
    if len(notes) > _LARGEST:
        raise ScoreFileError(
            f"{source} has {len(notes)} notes; {_LARGEST} is the most that is read"
        )
    if not notes:
        raise ScoreFileError(f"{source}: there is tab, but no number on any string")
    doubts.sort(key=lambda doubt: (doubt.line, doubt.column))
    header = "\n".join(lines[: systems[0][0].number - 1])
    return TabText(count, labels, tuple(notes), tuple(doubts), header)


# -- lines and systems ---------------------------------------------------------------------------


def _systems(
    lines: Sequence[str], doubts: list[TabDoubt], strings: int | None
) -> Iterator[list[_Line]]:
    block: list[_Line] = []
    begun = False
    for number, text in enumerate([*lines, ""], start=1):
        line = _string_line(number, text, doubts)
        if line:
            begun = True
            block.append(line)
            continue
        if begun and (said := _REPEAT.search(text)):
            heard = f'"{text.strip()[:40]}" not read: everything is played once'
            doubts.append(TabDoubt(number, said.start() + 1, heard))
        if block:
            yield from _split(block, strings)
            block = []


def _string_line(number: int, text: str, doubts: list[TabDoubt]) -> _Line | None:
    match = _STRING.fullmatch(text)
    if match is None:
        return None
    body = match["body"]
    drawn = sum(char in "-|" for char in body)
    if body.count("-") < _LEAST_DASHES or 3 * drawn < len(body.replace(" ", "")):
        return None
    body, rest = _without_remark(body, match["rest"])
    if rest:
        column = len(text.rstrip()) - len(rest) + 1
        doubts.append(
            TabDoubt(number, column, f'remark "{printable(rest[:40])}" behind the tab not read')
        )
    return _Line(number, text, match["label"] or "", body, match.start("body"))


def _without_remark(body: str, rest: str) -> tuple[str, str]:
    """The body without words that follow its last bar line, such as ``x2``, and those words."""
    inside = re.search(r"\|\s+([^-|]+)$", body)
    if inside is None:
        return body, rest.strip()
    return body[: inside.start() + 1], (inside[1] + rest).strip()


def _split(block: list[_Line], strings: int | None) -> Iterator[list[_Line]]:
    """A block of string lines without a gap may be several systems."""
    size = strings if strings and len(block) % strings == 0 else _period(block)
    for at in range(0, len(block), size):
        yield block[at : at + size]


def _period(block: list[_Line]) -> int:
    """Lines after which the string names begin again; all of them if they do not."""
    labels = [line.label for line in block]
    for size in range(3, len(labels) // 2 + 1):
        if (
            len(labels) % size == 0
            and all(labels)
            and labels == labels[:size] * (len(labels) // size)
        ):
            return size
    return len(block)


def _string_count(systems: Sequence[list[_Line]], source: str) -> int:
    count = len(systems[0])
    for system in systems:
        if len(system) != count:
            line = system[0].number
            raise ScoreFileError(
                f"{source}, line {line}: this system has {len(system)} string lines, the first one "
                f"has {count}; every system needs all strings (an unused one as dashes)"
            )
    return count


def _labels(system: Sequence[_Line]) -> tuple[str, ...]:
    return tuple(line.label for line in system)


def _check_label(system: Sequence[_Line], labels: Sequence[str], doubts: list[TabDoubt]) -> None:
    for line, label in zip(system, labels, strict=True):
        if line.label and line.label.upper() != label.upper():
            text = (
                f'this string is called "{line.label}" here and "{label}" before; its place counts'
            )
            doubts.append(TabDoubt(line.number, 1, text))


# -- columns -------------------------------------------------------------------------------------


def _inner(line: _Line) -> tuple[str, int]:
    """What stands behind the first bar line (or all of it), and its index in the text."""
    opening = re.match(r"\s*[|:*]*", line.body)
    skip = opening.end() if opening else 0
    return line.body[skip:], line.start + skip


def _bar_columns(system: Sequence[_Line], source: str) -> list[int]:
    """Columns of the bar lines inside a system; they must stand over each other.

    A run such as ``||`` or ``:|`` is one bar line; a string may leave some of them out.
    """
    columns = [_bars_of(line) for line in system]
    full = max(columns, key=len)
    top = system[columns.index(full)]
    for line, found in zip(system, columns, strict=True):
        strange = [column for column in found if column not in full]
        if strange:
            _refuse(line, top, strange[0], source)
    return full


def _bars_of(line: _Line) -> list[int]:
    """Columns of the bar lines inside a line, the closing one left out."""
    inner = _inner(line)[0].rstrip()
    spans = [match.span() for match in re.finditer(r"[:*]*\|[|:*]*", inner)]
    return [start for start, end in spans if end < len(inner)]


def _refuse(line: _Line, top: _Line, at: int, source: str) -> None:
    column = _inner(line)[1] + at + 1
    window, place = clip(line.text, column)
    raise ScoreFileError(
        f"{source}, line {line.number}, column {column}: no bar line of line {top.number} "
        f"stands over this one, so the order of the notes is in doubt; pad every string where "
        f"a fret has two digits\n    {window}\n    {' ' * (place - 1)}^"
    )


def _notes(
    system: Sequence[_Line], number: int, bar: int, bars: Sequence[int], doubts: list[TabDoubt]
) -> list[TabNote]:
    found: list[tuple[int, int, TabNote]] = []
    for string, line in enumerate(system, start=1):
        inner, offset = _inner(line)
        _note_marks(line, inner, offset, doubts)
        plain = _TARGET.sub(lambda match: "-" * len(match[0]), inner)
        for match in _NUMBER.finditer(plain):
            start, digits = match.start("fret"), match["fret"]
            column = offset + start + 1
            if len(digits) > 2:
                text = f"{digits[:12]} is no fret; put a dash between the notes"
                doubts.append(TabDoubt(line.number, column, text))
                continue
            passed = bar + sum(at < start for at in bars)
            marks = (match["before"] + match["after"]).strip()
            note = TabNote(string, int(digits), line.number, column, passed, (number, start), marks)
            found.append((start, start + len(digits), note))
    return _together(found)


def _together(found: list[tuple[int, int, TabNote]]) -> list[TabNote]:
    """Notes in the order of their columns; numbers that overlap sound together."""
    found.sort(key=lambda item: (item[0], item[2].string))
    notes: list[TabNote] = []
    slot, reach = 0, -1
    strings: set[int] = set()
    for start, end, note in found:
        if start >= reach or note.string in strings:
            slot, reach, strings = start, end, set()
        strings.add(note.string)
        reach = max(reach, end) if start == slot else reach
        notes.append(
            TabNote(
                note.string,
                note.fret,
                note.line,
                note.column,
                note.bar,
                (note.slot[0], slot),
                note.marks,
            )
        )
    notes.sort(key=lambda note: (note.slot, note.string))
    return notes


def _note_marks(line: _Line, inner: str, offset: int, doubts: list[TabDoubt]) -> None:
    for match in re.finditer(r"[xX]|[br]\d+|<\d+>", inner):
        kind = match[0][0]
        said = {
            "x": "a muted string: no pitch, left out",
            "b": "a bend: its target is no new note",
            "r": "a release: its target is no new note",
            "<": "a harmonic: read as its fret, it sounds higher",
        }[kind.lower()]
        doubts.append(TabDoubt(line.number, offset + match.start() + 1, f"{match[0]} is {said}"))


def header_hints(header: str) -> dict[str, str]:
    """What the lines above a tab say: ``instrument``, ``tuning``, ``capo``, ``key``, ``meter``.

    Both our own header and lines such as ``Tuning: D A D G`` or ``Capo 2`` are understood; what
    is not there is left out.
    """
    pitch = r"[A-G](?:#|b)?-?\d"
    patterns = {
        "instrument": r"(?m)^([a-z][a-z0-9-]+): strings? \d+ to 1",
        "tuning": rf"(?i:tuning:?|to 1) +((?:{pitch}[ ,]*)+)",
        "capo": r"(?i)capo(?: at)?:?(?: fret)? *(\d{1,2})\b",
        "key": r"(?m)(?:^|; *)[Kk]ey:? +([A-G](?:#|b)*m?(?: [A-Za-z]+){0,2})",
        "meter": r"(?m)\bmeter:? +(\d{1,2}/\d{1,2})",
        "tempo": r"(?m)\btempo:? +(\d{1,3}(?:\.\d+)?)",
    }
    found = {name: re.search(pattern, header) for name, pattern in patterns.items()}
    return {name: match[1].strip(" ,") for name, match in found.items() if match}
