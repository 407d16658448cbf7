"""The numbers of a text tab: which fret on which line, in which bar, and what sounds together.

**Columns** count from the first bar line of each line.  Bar lines stand over each other, a string
may leave some out; where every string has as many but not at the same columns, each bar is read
for itself and that is a doubt; anything else is refused.  Numbers that overlap sound together.

**Marks.**  ``h p / \\ s t`` before a number and ``~ v`` after it are kept with their note; ``x``
is a muted string and sounds no pitch; ``7b9`` and ``9r7`` are bends and releases, whose target is
no new note; ``<12>`` is a harmonic and ``(7)`` a ghost note or a note held over, read as fret 7.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from fretpath.errors import ScoreFileError, clip, printable
from fretpath.page.tab_lines import StringLine, SystemLines
from fretpath.remarks import Remark, RemarkKind
from fretpath.values import Value


@dataclass(frozen=True, slots=True)
class TabNote(Value):
    """One number on one string."""

    string: int
    """String number, 1 is the highest full string."""
    fret: int
    """Fret as written, 0 is open."""
    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the text, from 1."""
    bar: int
    """Bar lines passed before it, from 0, over all systems."""
    moment: int
    """Notes with the same number sound together; from 0, in time."""
    marks: str = ""
    """Playing marks beside it, such as ``h`` or ``/``."""


@dataclass(slots=True)
class Findings:
    """Remarks of one text while it is read: the same one at several places is told once."""

    places: dict[tuple[RemarkKind, str], list[tuple[int, int]]]

    def add(self, kind: RemarkKind, text: str, line: int, column: int = 0) -> None:
        """Note a remark at a line and a column, both from 1; column 0 for the whole line."""
        self.places.setdefault((kind, text), []).append((line, column))

    @property
    def remarks(self) -> list[Remark]:
        """The remarks by place."""
        ordered = sorted(self.places.items(), key=lambda item: item[1][0])
        return [Remark(kind, text, _named(places)) for (kind, text), places in ordered]


_MOST_PLACES = 4


def _named(places: Sequence[tuple[int, int]]) -> str:
    words = [
        f"line {line}, column {column}" if column else f"line {line}" for line, column in places
    ]
    more = [f"{len(words) - _MOST_PLACES} more places"] * (len(words) > _MOST_PLACES)
    return "; ".join([*words[:_MOST_PLACES], *more])


# -- bars ----------------------------------------------------------------------------------------

_BAR = re.compile(r"\|+")
_DOTS = re.compile(r"(?<=\|)[:*oO]+|(?<![0-9*])[:*oO]+(?=\|)")
_SIGNED_BAR = re.compile(r"(?P<close>(?<![0-9*])[:*oO]+)?\|[|:*oO]*")


@dataclass(frozen=True, slots=True)
class _Bars:
    """A string line behind its first bar line."""

    line: StringLine
    inner: str
    start: int
    """Index of the inner part in the text line."""
    columns: tuple[int, ...]
    """Columns of the bar lines inside, counted in the inner part."""
    closed: bool
    """Whether a bar line ends it."""


def _bars(line: StringLine) -> _Bars:
    body = _DOTS.sub(lambda match: "-" * len(match[0]), line.body)
    opening = re.match(r"\s*\|+|", body)
    skip = opening.end() if opening else 0
    inner = body[skip:]
    found = list(_BAR.finditer(inner))
    closed = bool(found) and found[-1].end() == len(inner.rstrip())
    inside = found[:-1] if closed else found
    return _Bars(line, inner.rstrip(), line.start + skip, tuple(m.start() for m in inside), closed)


def _frame(
    system: SystemLines, source: str, findings: Findings
) -> tuple[list[_Bars], list[int], bool]:
    """The lines of a system, the columns of its bar lines, and whether each bar is read alone."""
    lines = [_bars(line) for line in system.lines]
    full = max(lines, key=lambda line: len(line.columns))
    strange = [
        (line, column) for line in lines for column in line.columns if column not in full.columns
    ]
    ends = {len(line.inner) for line in lines}
    if not strange:
        if len(ends) > 1:
            short = min(lines, key=lambda line: len(line.inner)).line
            text = "the lines of this system are not equally long: its columns may have slipped"
            findings.add("doubt", text, short.number, short.start + len(short.body) + 1)
        return lines, list(full.columns), False
    line, column = strange[0]
    if any(not _alike(one.columns, full.columns) for one in lines):
        _refuse(line, full, column, source)
    text = "the bar lines do not stand over each other: each bar is read for itself"
    findings.add("doubt", text, line.line.number, line.start + column + 1)
    return lines, list(full.columns), True


_SLIP = 4
"""Columns by which a bar may be wider on one string than on another and still be the same bar."""


def _alike(columns: Sequence[int], others: Sequence[int]) -> bool:
    """Whether two strings have as many bars of about the same widths."""
    return len(columns) == len(others) and all(
        abs((b - a) - (d - c)) <= _SLIP
        for (a, b), (c, d) in zip(pairwise([0, *columns]), pairwise([0, *others]), strict=True)
    )


def _refuse(line: _Bars, top: _Bars, at: int, source: str) -> None:
    column = line.start + at + 1
    text = " " * line.line.start + line.line.body
    window, place = clip(text, column)
    raise ScoreFileError(
        f"{source}, line {line.line.number}, column {column}: no bar line of line "
        f"{top.line.number} stands over this one, so the order of the notes is in doubt; pad every "
        f"string where a fret has two digits\n    {window}\n    {' ' * (place - 1)}^"
    )


# -- notes ---------------------------------------------------------------------------------------

_NUMBER = re.compile(r"(?P<before>[hHpPsStT/\\(<\[{*g]*)(?P<fret>[0-9]+)(?P<after>[)>\]}~vV*']*)")
_TARGET = re.compile(
    r"(?<=[0-9)>~])[bBrR^](?:[0-9]/[0-9]|\(?[0-9]{1,2}\)?|full|f)?|(?<=[0-9)])[bBrR](?=[0-9])"
)
_KNOWN = frozenset("-| 0123456789hHpPsStTbBrRxXvVgw/\\~^()<>[]{}*.:'+=_!,@o")


_Found = tuple[int, int, int, TabNote]
"""Bar (0 unless each is read alone), first column, column behind, note."""


@dataclass(frozen=True, slots=True)
class SystemNotes:
    """The numbers of one system."""

    notes: tuple[TabNote, ...]
    """By moment, string 1 first; moments count from 0 in this system."""
    columns: tuple[int, ...]
    """Column of each moment in the text, from 0."""
    bars: tuple[int, ...]
    """Columns of the bar lines inside, from 0."""
    span: tuple[int, int]
    """Columns of the first and the last sign, from 0."""
    repeats: tuple[tuple[int, str], ...] = ()
    """Repeat signs, ``open`` or ``close``, by the bar lines passed, the end one more than all."""


def notes_of(
    system: SystemLines, strings: Sequence[int], bar: int, source: str, findings: Findings
) -> SystemNotes:
    """The numbers of a system whose lines are the given strings; *bar* lines stand before it."""
    lines, bars, alone = _frame(system, source, findings)
    found: list[_Found] = []
    for string, line in zip(strings, lines, strict=True):
        own = list(line.columns) if alone else bars
        for start, fret, length, marks in _frets(line, findings):
            passed = bisect_right(own, start)
            column = start - (own[passed - 1] if alone and passed else 0)
            place = line.start + start + 1
            note = TabNote(string, fret, line.line.number, place, bar + passed, 0, marks)
            found.append((passed if alone else 0, column, column + length, note))
    if bar == 0 and bars:
        found = _without_meter(found, bars[0], findings)
    notes = _together(found)
    columns = _columns(notes)
    top = lines[0]
    full = max(lines, key=lambda line: len(line.columns))
    edges = tuple(full.start + column for column in bars)
    span = (top.start - 1, full.start + len(full.inner) - 1)
    return SystemNotes(notes, columns, edges, span, tuple(_repeats(full)))


_METERS = {(2, 2), (2, 4), (3, 4), (4, 4), (5, 4), (3, 8), (6, 8), (7, 8), (9, 8), (12, 8)}
_NARROW = 5


def _without_meter(found: list[_Found], first_bar: int, findings: Findings) -> list[_Found]:
    """The numbers without two that stand over each other in a narrow bar, as a meter does."""
    first = sorted((item for item in found if item[3].bar == 0), key=lambda item: item[3].line)
    if len(first) != 2 or first_bar > _NARROW or first[0][1] != first[1][1]:
        return found
    upper, lower = first[0][3], first[1][3]
    if lower.line - upper.line != 1 or (upper.fret, lower.fret) not in _METERS:
        return found
    text = f"{upper.fret} over {lower.fret} in a bar of its own is taken for a meter, not for frets"
    findings.add("doubt", text, upper.line, upper.column)
    return [item for item in found if item not in first]


def _repeats(line: _Bars) -> Iterator[tuple[int, str]]:
    """The repeat signs of the string that has all bar lines."""
    skip = line.start - line.line.start
    for match in _SIGNED_BAR.finditer(line.line.body):
        bar = match[0].index("|") + match.start() - skip
        place = 0 if bar < 0 else bisect_left(line.columns, bar) + 1
        if match["close"] and place:
            yield place, "close"
        if match[0][-1] != "|":
            yield place, "open"


def _columns(notes: Sequence[TabNote]) -> tuple[int, ...]:
    """The column of each moment in the text, from 0, rising also where lines are shifted."""
    found: dict[int, int] = defaultdict(lambda: 1 << 30)
    for note in notes:
        found[note.moment] = min(found[note.moment], note.column - 1)
    columns: list[int] = []
    for moment in sorted(found):
        columns.append(max(found[moment], columns[-1] + 1 if columns else 0))
    return tuple(columns)


def _frets(line: _Bars, findings: Findings) -> list[tuple[int, int, int, str]]:
    """(column, fret, digits, marks) of each number; what is no note is told."""
    number = line.line.number
    plain = _TARGET.sub(lambda match: "-" * len(match[0]), line.inner)
    for match in _TARGET.finditer(line.inner):
        kind = "a release" if match[0][0] in "rR" else "a bend"
        text = f"{match[0]} is {kind}: it leads to no new note"
        findings.add("doubt", text, number, line.start + match.start() + 1)
    frets = []
    for match in _NUMBER.finditer(plain):
        start, digits = match.start("fret"), match["fret"]
        column = line.start + start + 1
        if len(digits) > 2:
            text = f"{digits[:12]} is not a fret; put a dash between the notes"
            findings.add("doubt", text, number, column)
            continue
        marks = match["before"] + match["after"]
        _tell_marks(marks, digits, findings, number, column)
        frets.append((start, int(digits), len(digits), marks))
    _tell_signs(line, plain, findings)
    return frets


def _tell_marks(marks: str, digits: str, findings: Findings, line: int, column: int) -> None:
    if "(" in marks:
        text = f"({digits}) is a ghost note or a note held over: read as fret {digits}, struck"
        findings.add("doubt", text, line, column)
    elif any(sign in marks for sign in "<[{*"):
        text = f"{digits} in brackets is a harmonic: read as its fret, it sounds higher"
        findings.add("doubt", text, line, column)


def _tell_signs(line: _Bars, plain: str, findings: Findings) -> None:
    """Muted strings, and signs nobody can be sure of."""
    for match in re.finditer(r"[xX]", plain):
        text = "x is a muted string (a dead note): no pitch, left out"
        findings.add("left out", text, line.line.number, line.start + match.start() + 1)
    for match in re.finditer(r"[A-Za-z]{3,}|[^\s]", plain):
        if len(match[0]) > 1 or match[0] not in _KNOWN:
            word = f'"{printable(match[0][:20])}"'
            text = f"{word} on a string not understood; the frets around it are read"
            findings.add("doubt", text, line.line.number, line.start + match.start() + 1)


def _together(found: list[_Found]) -> tuple[TabNote, ...]:
    """Notes in the order of their columns; numbers that overlap sound together."""
    found.sort(key=lambda item: (item[0], item[1], item[3].string))
    notes: list[TabNote] = []
    moment, where, reach = -1, (0, 0), -1
    strings: set[int] = set()
    for part, start, end, note in found:
        if moment < 0 or part != where[0] or start >= reach or note.string in strings:
            moment, where, reach, strings = moment + 1, (part, start), end, set()
        strings.add(note.string)
        if start == where[1]:
            reach = max(reach, end)
        notes.append(replace(note, moment=moment))
    notes.sort(key=lambda note: (note.moment, note.string))
    return tuple(notes)
