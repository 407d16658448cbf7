"""A text tab as it is drawn: string lines, systems, bar lines, and the numbers on the strings.

**A string line** is drawn: dashes (or what people use for them: ``=``, ``_``, dots, the long
dashes of word processors, box-drawing signs), bar lines and numbers, with or without the name of
a string in front and words behind.  Neighboring string lines make a system.  All other lines are
word lines; those that touch a system are its rows.

**What mail and web do to a tab** is undone first and told: signs of quoting, web code, a dash made
of two, lines broken in two, a blank line after each line.

**Columns** count from the first bar line of each line.  Bar lines stand over each other, a string
may leave some out; where every string has as many but not at the same columns, each bar is read
for itself and that is a doubt; anything else is refused.  Numbers that overlap sound together.

**Marks.**  ``h p / \\ s t`` before a number and ``~ v`` after it are kept with their note; ``x``
is a muted string and sounds no pitch; ``7b9`` and ``9r7`` are bends and releases, whose target is
no new note; ``<12>`` is a harmonic and ``(7)`` a ghost note or a note held over, read as fret 7.

Nothing here knows pitches or instruments.  Every search is one pass over a line, and a line has at
most ``LONGEST_LINE`` characters.
"""

from __future__ import annotations

import html
import quopri
import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import accumulate, count, groupby, pairwise
from typing import Literal

from fretpath.errors import ScoreFileError, clip, printable
from fretpath.remarks import Remark, RemarkKind
from fretpath.values import Value

LONGEST_LINE = 10_000
"""Characters in a line that are read."""

MOST_LINES = 100_000
"""Lines that are read."""

_WORD = re.compile(r"[^\s|]+")
_NEWLINE = re.compile(r"\r\n|\r|\n")
_BREAK = re.compile(r"<(?:br|/p|/div|/li|/tr|/pre|pre)\b[^<>]{0,200}>", re.IGNORECASE)
_TAG = re.compile(r"</?[a-z][^<>]{0,200}>", re.IGNORECASE)
_QUOTE = re.compile(
    r"[ \t]*>[ \t>]*"
    r"|[ \t]*(?:[|#*%;/]{1,3}|[0-9]{1,4}[:.)]?)[ \t]+(?=[A-Ha-h][#b]?[0-9]?[ \t]{0,3}[|:])"
)
_LONG_DASHES = "\u2013\u2014"
_SAME_WIDTH = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212\u2500\u2501\u254c\u2508\uff0d", "-")
    | dict.fromkeys("\u2502\u2503\u2551\u2223\uff5c\u00a6\u250a\u2506\u251c\u2524\u253c", "|")
    | dict.fromkeys("\u250c\u2510\u2514\u2518", "+")
    | {"\u00a0": " ", "\u266f": "#", "\u266d": "b", "\u00b7": ".", "\u2026": "."}
    | dict.fromkeys("\u200b\u200c\u200d\u2060\ufeff\u00ad")
)


@dataclass(frozen=True, slots=True)
class StringLine:
    """One string line of a system."""

    number: int
    """Line of the text, from 1."""
    label: str
    """What stands in front of it; empty if nothing does."""
    body: str
    """The drawn part; dashes and bar lines in plain signs."""
    start: int
    """Index of the body in the line."""
    behind: str = ""
    """Words behind it."""


@dataclass(frozen=True, slots=True)
class WordLine:
    """A line that is no string."""

    number: int
    """Line of the text, from 1."""
    text: str
    """The line as it stands."""

    @property
    def words(self) -> tuple[tuple[int, str], ...]:
        """Its words with their columns, bar lines left out."""
        return tuple((match.start(), match[0]) for match in _WORD.finditer(self.text))

    @property
    def label(self) -> str:
        """The word that begins the line; empty if it begins with a space."""
        return self.text.split(" ", 1)[0]


@dataclass(frozen=True, slots=True)
class SystemLines:
    """String lines that sound together, and the rows that touch them."""

    lines: tuple[StringLine, ...]
    """From top to bottom."""
    above: tuple[WordLine, ...]
    """Word lines that touch it from above, from top to bottom."""
    below: tuple[WordLine, ...]
    """Word lines that touch it from below, from top to bottom."""

    @property
    def rows(self) -> tuple[WordLine, ...]:
        """The word lines that touch it, nearest first, those above before those below."""
        return (*self.above[::-1], *self.below)

    @property
    def labels(self) -> tuple[str, ...]:
        """The label in front of each line."""
        return tuple(line.label for line in self.lines)


@dataclass(frozen=True, slots=True)
class TabLines:
    """A text tab as systems and words."""

    systems: tuple[SystemLines, ...]
    """In the order of the text; at least one."""
    words: tuple[WordLine, ...]
    """Every line that is no string and not blank."""
    remarks: tuple[Remark, ...]
    """What was undone or passed over."""


def tab_lines(text: str, *, source: str = "tab", strings: int | None = None) -> TabLines:
    """The systems of a text tab and the words around them.

    *strings* is the number of strings if it is known.  Raises :class:`ScoreFileError` where there
    is no tab or a line is too long.

    >>> [system.labels for system in tab_lines("G|--2-4-|\\nD|2-----|").systems]
    [('G', 'D')]
    """
    lines, remarks = _plain_lines(text, source)
    read = [_string_line(number, line) for number, line in enumerate(lines, start=1)]
    blocks = _join(_blocks(read), lines, remarks)
    blocks = [part for block in blocks for part in _split(block, strings)]
    blocks = [_without_rulers(block) for block in blocks]
    if not blocks:
        raise ScoreFileError(f"{source}: there is no tab in it (lines of dashes and numbers)")
    drawn = {line.number for block in blocks for line in block}
    words = [
        WordLine(number, line)
        for number, line in enumerate(lines, start=1)
        if number not in drawn and line.strip()
    ]
    rows = {word.number: word for word in words}
    systems = tuple(_with_rows(block, rows) for block in blocks)
    return TabLines(systems, tuple(words), tuple(remarks))


# -- what mail and web have done -----------------------------------------------------------------


def _plain_lines(text: str, source: str) -> tuple[list[str], list[Remark]]:
    remarks: list[Remark] = []
    if re.search(r"=(?:3D|20\r?\n)", text):
        text = quopri.decodestring(text.encode()).decode("utf-8", errors="replace")
        remarks.append(Remark("read", "mail code (such as =20) taken off"))
    if _TAG.search(text) or re.search(r"&(?:#\d{1,6}|#x[0-9a-fA-F]{1,5}|[a-z]{2,8});", text):
        text = html.unescape(_TAG.sub("", _BREAK.sub("\n", text)))
        remarks.append(Remark("read", "web code taken off; lines are counted without it"))
    lines = _NEWLINE.split(text.removeprefix("\ufeff"))
    if len(lines) > MOST_LINES:
        raise ScoreFileError(f"{source} has {len(lines)} lines; {MOST_LINES} is the most")
    for number, line in enumerate(lines, start=1):
        if len(line) > LONGEST_LINE:
            raise ScoreFileError(
                f"{source}, line {number}: a line of {len(line)} characters; {LONGEST_LINE} is "
                "the most that is read"
            )
    lines = [line[quote.end() :] if (quote := _QUOTE.match(line)) else line for line in lines]
    lines = _with_even_dashes([line.expandtabs(8) for line in lines])
    apart = [part for line in lines for part in _apart(line)]
    if len(apart) > len(lines):
        lines = apart
        text = "strings one behind the other in a line: set under each other; lines count as set"
        remarks.append(Remark("read", text))
    return [line.translate(_SAME_WIDTH).rstrip() for line in lines], remarks


def _apart(line: str) -> list[str]:
    """The strings of a line that holds three or more of them, one behind the other."""
    parts = _ON_ONE_LINE.split(line)
    return parts if len(parts) > 2 else [line]


def _with_even_dashes(lines: list[str]) -> list[str]:
    """Long dashes as one dash or as the two they were made of, whichever makes lines even."""
    result: list[str] = []
    for marked, run in groupby(
        lines, key=lambda line: sum(line.count(d) for d in "-\u2013\u2014") > 2
    ):
        block = list(run)
        if marked and any(dash in line for line in block for dash in _LONG_DASHES):
            tries = [block, [line.replace("\u2014", "--") for line in block]]
            tries.append([line.replace("\u2013", "--") for line in tries[1]])
            even = (t for t in tries if len({len(line.rstrip()) for line in t}) == 1)
            block = next(even, block)
        result += block
    return result


# -- string lines --------------------------------------------------------------------------------

_HEAD = re.compile(r"\s*([^|:=_\-]*)")
_NOTE = r"[A-Ha-h](?:#|b)?"
_NAME = re.compile(rf"[(\[]?({_NOTE}\d?)[)\]]?")
_NAME_THEN_FRET = re.compile(rf"[(\[]?({_NOTE})(?:[)\]]\s*|\s+)([0-9hpxX(<].*)")
_DRAWN_BEHIND = re.compile(r":[: ]{0,3}(?:-|[0-9]{1,2}-[-0-9])")
_OTHER_BARS = re.compile(r"\s*[A-Ga-g](?:#|b)?[0-9]? ?[I!\[\]](?=[-0-9])")
_ON_ONE_LINE = re.compile(r"(?<=\|)\s+(?=[A-Ga-g](?:#|b)?[0-9]?\|[-0-9])")
_PLAYED = re.compile(r"[0-9hpHPsStTbrxX/\\~^*()<>+.]+")
_LONGEST_LABEL = 12
_LEAST_DASHES = 3


def _string_line(number: int, text: str) -> StringLine | None:
    """The line as a string, if it is drawn like one."""
    if "|" not in text and _OTHER_BARS.match(text) and text.count("-") >= _LEAST_DASHES:
        text = re.sub(r"[I!\[\]]", "|", text)
    head = _HEAD.match(text)
    found = _label(text, head) if head else None
    if found is None:
        return None
    label, start = found
    start += bool(label) and text[start : start + 2] == ":|"
    raw = _with_dashes(text[start:], bool(label))
    body, behind = _cut(raw)
    dashes, bars = body.count("-"), body.count("|")
    inked = len(body) - body.count(" ")
    if bars == 0 and ":" in body and label:
        body = body.replace(":", "|")
        bars = body.count("|")
    if not dashes and not (label and bars):
        return None
    if behind and not label and dashes < _LEAST_DASHES:
        return None
    if 4 * (dashes + bars) < inked and not (label and bars > 1):
        return None
    return StringLine(number, label, body, start, behind)


def _label(text: str, head: re.Match[str]) -> tuple[str, int] | None:
    """The name in front of a string and where the string begins; None if it is no string."""
    word, end = head[1].rstrip(), head.end()
    begin = head.start(1)
    sign = text[end : end + 1]
    if not word:
        return "", end
    if name := _NAME.fullmatch(word):
        return name[1], end
    if sign != "|" and (split := _NAME_THEN_FRET.fullmatch(word)):
        return split[1], begin + split.start(2)
    drawn = sign == ":" and _DRAWN_BEHIND.match(text, end) is not None
    if len(word) <= _LONGEST_LABEL and (sign == "|" or drawn):
        return word, end
    if sign and _PLAYED.fullmatch(word.replace(" ", "")):
        return "", begin
    return None


def _with_dashes(body: str, labeled: bool) -> str:
    """The body with plain dashes where another sign fills the string."""
    for sign in "=_.~":
        runs = body.count(sign * 2)
        sure = labeled or "|" in body or (sign in "=_" and not body.strip(f"{sign}0123456789 "))
        if runs and sure and (sign != "~" or "-" not in body):
            body = body.replace(sign, "-")
    return body


def _cut(body: str) -> tuple[str, str]:
    """The drawn part, and the words behind it."""
    end = 0
    for token in re.finditer(r"\S+", body):
        if _is_word(token[0]) and not _goes_on(body[token.start() :]):
            break
        if "-" in token[0] or "|" in token[0] or ":" in token[0]:
            end = token.end()
    if "-" not in body and body.count("|") > 1:
        end = body.rfind("|") + 1
    drawn, behind = body[:end], body[end:]
    bar = drawn.rfind("|")
    if bar >= 0 and "-" not in drawn[bar:] and "-" in drawn:
        tail = drawn[bar + 1 :].strip(" :|*")
        if tail:
            drawn, behind = drawn[: bar + 1], drawn[bar + 1 :] + behind
    return drawn, behind.strip()


def _is_word(token: str) -> bool:
    if re.fullmatch(r"[<>]*-{1,3}[<>]+|<+-{1,3}", token):
        return True
    return not ("-" in token or "|" in token) and re.search(r"[A-Za-z]", token) is not None


def _goes_on(rest: str) -> bool:
    """Whether the string is drawn on behind a word inside it."""
    return rest.count("-") >= _LEAST_DASHES and rest.rstrip().endswith(("|", "--"))


# -- systems -------------------------------------------------------------------------------------

Block = list[StringLine]


def _blocks(lines: Sequence[StringLine | None]) -> list[Block]:
    blocks = [
        [line for line in run if line]
        for drawn, run in groupby(lines, key=lambda line: line is not None)
        if drawn
    ]
    return [block for block in blocks if _is_tab(block)]


def _is_tab(block: Block) -> bool:
    """Whether lines that look drawn are tab and not rulers or words with dashes."""
    strong = [line for line in block if line.body.count("-") >= _LEAST_DASHES]
    named = [line for line in block if line.label and "|" in line.body]
    numbers = any(char.isdigit() for line in block for char in line.body)
    if len(block) == 1:
        drawn = bool(block[0].label) or "|" in block[0].body
        return bool(strong) and (bool(named) or (numbers and drawn))
    return bool(strong) or len(named) > 1


def _join(blocks: list[Block], lines: Sequence[str], remarks: list[Remark]) -> list[Block]:
    """Systems whole again where mail has put a blank line after each line or broken each in two."""
    if blocks and all(len(block) == 1 for block in blocks):
        whole: list[Block] = [blocks[0]]
        for before, block in pairwise(blocks):
            between = lines[before[0].number : block[0].number - 1]
            if len(between) == 1 and not between[0].strip():
                whole[-1] = whole[-1] + block
            else:
                whole.append(block)
        if len(whole) < len(blocks):
            remarks.append(Remark("read", "a blank line after each string: taken as one system"))
        blocks = whole
    if any(_is_broken(block) for block in blocks):
        remarks.append(
            Remark(
                "doubt", "each string line is broken in two: joined, so columns may have slipped"
            )
        )
    return [_mend(block) if _is_broken(block) else block for block in blocks]


def _is_broken(block: Block) -> bool:
    firsts, seconds = block[::2], block[1::2]
    return (
        len(block) >= 4
        and len(firsts) == len(seconds)
        and all(line.label and not line.body.endswith("|") for line in firsts)
        and not any(line.label for line in seconds)
    )


def _mend(block: Block) -> Block:
    pairs = zip(block[::2], block[1::2], strict=True)
    return [replace(one, body=one.body + two.body, behind=two.behind) for one, two in pairs]


def _split(block: Block, strings: int | None) -> Iterator[Block]:
    """A block of string lines without a gap may be several systems."""
    block = _with_octaves_apart(block)
    size = strings if strings and len(block) % strings == 0 else _period(block)
    for at in range(0, len(block), size):
        yield block[at : at + size]


def _with_octaves_apart(block: Block) -> Block:
    """``G2--`` is string G and fret 2 unless every string has an octave behind its name."""
    glued = [
        bool(line.label) and line.label[-1].isdigit() and line.body[:1] == "-" for line in block
    ]
    if all(glued):
        return block
    return [
        replace(line, label=line.label[:-1], body=line.label[-1] + line.body, start=line.start - 1)
        if apart and len(line.label) > 1
        else line
        for line, apart in zip(block, glued, strict=True)
    ]


def _period(block: Block) -> int:
    """Lines after which the string names begin again; all of them if they do not."""
    labels = [line.label for line in block]
    for size in range(2, len(labels) // 2 + 1):
        whole = len(labels) % size == 0 and all(labels)
        if whole and labels == labels[:size] * (len(labels) // size):
            return size
    return len(block)


def _without_rulers(block: Block) -> Block:
    """The block without unnamed lines of mere dashes at its edges, where strings are named."""
    strings = [at for at, line in enumerate(block) if not _is_ruler(line)]
    if not any(line.label for line in block):
        return block
    return block[strings[0] : strings[-1] + 1]


def _is_ruler(line: StringLine) -> bool:
    return not line.label and not line.body.strip("-+ ")


def _with_rows(block: Block, rows: Mapping[int, WordLine]) -> SystemLines:
    above = list(_touching(rows, count(block[0].number - 1, -1)))
    below = _touching(rows, count(block[-1].number + 1))
    return SystemLines(tuple(block), tuple(above[::-1]), tuple(below))


def _touching(rows: Mapping[int, WordLine], numbers: Iterable[int]) -> Iterator[WordLine]:
    """The word lines of these numbers as far as none is missing."""
    for number in numbers:
        if number not in rows:
            return
        yield rows[number]


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

    source: str
    """What messages call the text."""
    places: dict[tuple[RemarkKind, str], list[tuple[int, int]]] = field(default_factory=dict)

    def add(self, kind: RemarkKind, text: str, line: int, column: int = 0) -> None:
        """Note a remark at a line and a column, both from 1; column 0 for the whole line."""
        self.places.setdefault((kind, text), []).append((line, column))

    @property
    def remarks(self) -> list[Remark]:
        """The remarks by place."""
        ordered = sorted(self.places.items(), key=lambda item: item[1][0])
        return [Remark(kind, text, _place_words(places)) for (kind, text), places in ordered]


_MOST_PLACES = 4


def _place_words(places: Sequence[tuple[int, int]]) -> str:
    words = [
        f"line {line}, column {column}" if column else f"line {line}" for line, column in places
    ]
    more = [f"{len(words) - _MOST_PLACES} more places"] * (len(words) > _MOST_PLACES)
    return "; ".join([*words[:_MOST_PLACES], *more])


@dataclass(frozen=True, slots=True)
class TabSystem(SystemLines):
    """A system with its numbers."""

    moments: tuple[tuple[TabNote, ...], ...]
    """Its notes by moment, string 1 first."""
    columns: tuple[int, ...]
    """Column of each moment in the text, from 0."""
    bars: tuple[int, ...]
    """Columns of the bar lines inside, from 0."""
    span: tuple[int, int]
    """Columns of the first and the last sign, from 0."""
    repeats: tuple[tuple[int, Literal["open", "close"]], ...]
    """Repeat signs, ``open`` or ``close``, by the bar lines passed, the end one more than all."""

    def with_bars(self, more: Sequence[int]) -> TabSystem:
        """The same with more bar lines, at these columns, where none is drawn."""
        before = [0, *(bisect_left(more, bar) for bar in self.bars), len(more)]
        moments = [
            tuple(replace(note, bar=note.bar + bisect_left(more, column)) for note in moment)
            for moment, column in zip(self.moments, self.columns, strict=True)
        ]
        return replace(
            self,
            moments=tuple(moments),
            bars=tuple(sorted([*self.bars, *more])),
            repeats=tuple((bar + before[bar], kind) for bar, kind in self.repeats),
        )


# -- bars ----------------------------------------------------------------------------------------

_SIGN = re.compile(r"[|:*oO]+")
"""Bar lines and the dots of repeats."""


@dataclass(frozen=True, slots=True)
class _Bars:
    """A string line behind its first bar line."""

    line: StringLine
    inner: str
    start: int
    """Index of the inner part in the text line."""
    columns: tuple[int, ...]
    """Columns of the bar lines inside, counted in the inner part."""

    def place(self, at: int) -> tuple[int, int]:
        """Line and column in the text, from 1, of a column of the inner part."""
        return self.line.number, self.start + at + 1


def _dots(sign: re.Match[str]) -> int:
    """Signs before the first bar line that are dots; those right behind a number are its own."""
    return 0 if sign.string[: sign.start()][-1:].isdecimal() else sign[0].index("|")


_LABEL_DASHES = re.compile(r"-[-: ]{0,4}\|+")
"""A bar line at the beginning, behind no more dashes than belong to the name of the string."""


def _bars(line: StringLine, opening: re.Pattern[str]) -> _Bars:
    body = _SIGN.sub(_without_dots, line.body)
    opened = opening.match(body)
    skip = opened.end() if opened else 0
    inner = body[skip:].rstrip()
    columns = [match.start() for match in re.finditer(r"\|+", inner.rstrip("|"))]
    return _Bars(line, inner, line.start + skip, tuple(columns))


def _without_dots(sign: re.Match[str]) -> str:
    if "|" not in sign[0]:
        return sign[0]
    kept = sign[0].index("|") - _dots(sign)
    return sign[0][:kept] + re.sub(r"[^|]", "-", sign[0][kept:])


def _repeats(line: _Bars) -> Iterator[tuple[int, Literal["open", "close"]]]:
    """The repeat signs of the string that has all bar lines."""
    skip = line.start - line.line.start
    for sign in _SIGN.finditer(line.line.body):
        if "|" in sign[0]:
            bar = sign.start() + sign[0].index("|") - skip
            place = 0 if bar < 0 else bisect_left(line.columns, bar) + 1
            if _dots(sign) and place:
                yield place, "close"
            if sign[0][-1] != "|":
                yield place, "open"


def _frame(system: SystemLines, findings: Findings) -> tuple[list[_Bars], _Bars, bool]:
    """The lines of a system, the one with all bar lines, and whether each bar is read alone."""
    dashed = all(_LABEL_DASHES.match(line.body) for line in system.lines)
    opening = _LABEL_DASHES if dashed else re.compile(r"\s*\|+")
    lines = [_bars(line, opening) for line in system.lines]
    full = max(lines, key=lambda line: len(line.columns))
    usual = set(full.columns)
    strange = [(line, column) for line in lines for column in line.columns if column not in usual]
    if not strange:
        if len({len(line.inner) for line in lines}) > 1:
            short = min(lines, key=lambda line: len(line.inner)).line
            text = "the lines of this system are not equally long: its columns may have slipped"
            findings.add("doubt", text, short.number, short.start + len(short.body) + 1)
        return lines, full, False
    line, column = strange[0]
    if any(not _have_like_bars(one.columns, full.columns) for one in lines):
        raise _unlike(line, full, column, findings.source)
    text = "the bar lines do not stand over each other: each bar is read for itself"
    findings.add("doubt", text, *line.place(column))
    return lines, full, True


_SLIP = 4
"""Columns by which a bar may be wider on one string than on another and still be the same bar."""


def _have_like_bars(columns: Sequence[int], others: Sequence[int]) -> bool:
    """Whether two strings have as many bars of about the same widths."""
    return len(columns) == len(others) and all(
        abs((b - a) - (d - c)) <= _SLIP
        for (a, b), (c, d) in zip(pairwise([0, *columns]), pairwise([0, *others]), strict=True)
    )


def _unlike(line: _Bars, top: _Bars, at: int, source: str) -> ScoreFileError:
    number, column = line.place(at)
    window, place = clip(" " * line.line.start + line.line.body, column)
    return ScoreFileError(
        f"{source}, line {number}, column {column}: no bar line of line "
        f"{top.line.number} stands over this one, so the order of the notes is in doubt; pad every "
        f"string where a fret has two digits\n    {window}\n    {' ' * (place - 1)}^"
    )


# -- notes ---------------------------------------------------------------------------------------

_BEFORE = r"hHpPsStT/\\(<\[{*g"
_NUMBER = re.compile(
    rf"[{_BEFORE}]++(?![0-9])|(?P<before>[{_BEFORE}]*)(?P<fret>[0-9]+)(?P<after>[)>\]}}~vV*']*)"
)
"""A number with its marks; marks without a number are passed over at once."""
_TARGET = re.compile(
    r"(?<=[0-9)>~])[bBrR^](?:[0-9]/[0-9]|\(?[0-9]{1,2}\)?|full|f)?|(?<=[0-9)])[bBrR](?=[0-9])"
)
_KNOWN = frozenset("-| 0123456789hHpPsStTbBrRxXvVgw/\\~^()<>[]{}*.:'+=_!,@o")


_LONGEST_FRET = 2
"""Digits of a fret."""
_Found = tuple[int, int, int, TabNote]
"""Bar (0 unless each is read alone), first column, column behind, note."""


def read_numbers(
    system: SystemLines, strings: Sequence[int], passed: tuple[int, int], findings: Findings
) -> TabSystem:
    """The numbers of a system whose lines are the given strings, *passed* bars and moments."""
    lines, full, alone = _frame(system, findings)
    found: list[_Found] = []
    for string, line in zip(strings, lines, strict=True):
        own = line.columns if alone else full.columns
        for start, end, fret, marks in _frets(line, findings):
            bar = bisect_right(own, start)
            edge = own[bar - 1] if alone and bar else 0
            note = TabNote(string, fret, *line.place(start), passed[0] + bar, 0, marks)
            found.append((bar if alone else 0, start - edge, end - edge, note))
    if passed[0] == 0 and full.columns:
        found = _without_meter(found, full.columns[0], findings)
    moments = _together(found, passed[1])
    first = (min(note.column for note in moment) - 1 for moment in moments)
    columns = accumulate(first, lambda before, column: max(column, before + 1))
    bars = tuple(full.start + column for column in full.columns)
    span = (lines[0].start - 1, full.start + len(full.inner) - 1)
    drawn = (system.lines, system.above, system.below)
    return TabSystem(*drawn, moments, tuple(columns), bars, span, tuple(_repeats(full)))


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


def _frets(line: _Bars, findings: Findings) -> Iterator[tuple[int, int, int, str]]:
    """Column, column behind, fret and marks of each number; what is no note is told."""
    plain = _TARGET.sub(lambda match: "-" * len(match[0]), line.inner)
    for match in _TARGET.finditer(line.inner):
        kind = "a release" if match[0][0] in "rR" else "a bend"
        text = f"{match[0]} is {kind}: it leads to no new note"
        findings.add("doubt", text, *line.place(match.start()))
    for match in _NUMBER.finditer(plain):
        digits = match["fret"]
        if digits is None:
            continue
        start, end = match.span("fret")
        marks = match["before"] + match["after"]
        if text := _doubt_number(digits, marks):
            findings.add("doubt", text, *line.place(start))
        if len(digits) <= _LONGEST_FRET:
            yield start, end, int(digits), marks
    for match in re.finditer(r"[xX]|[A-Za-z]{3,}|\S", plain):
        sign = match[0]
        if sign in ("x", "X"):
            text = "x is a muted string (a dead note): no pitch, left out"
            findings.add("left out", text, *line.place(match.start()))
        elif sign not in _KNOWN:
            text = (
                f'"{printable(sign[:20])}" on a string not understood; the frets around it are read'
            )
            findings.add("doubt", text, *line.place(match.start()))


def _doubt_number(digits: str, marks: str) -> str:
    """The doubt about a number; empty if nothing is."""
    if len(digits) > _LONGEST_FRET:
        return f"{digits[:12]} is not a fret; put a dash between the notes"
    if "(" in marks:
        return f"({digits}) is a ghost note or a note held over: read as fret {digits}, struck"
    if any(sign in marks for sign in "<[{*"):
        return f"{digits} in brackets is a harmonic: read as its fret, it sounds higher"
    return ""


def _together(found: list[_Found], first: int) -> tuple[tuple[TabNote, ...], ...]:
    """Notes in the order of their columns from moment *first*; what overlaps sounds together."""
    found.sort(key=lambda item: (item[0], item[1], item[3].string))
    moments: list[list[TabNote]] = []
    where, reach = (0, 0), 0
    for part, start, end, note in found:
        on_own = part != where[0] or start >= reach
        if not moments or on_own or note.string in (other.string for other in moments[-1]):
            where, reach = (part, start), end
            moments.append([])
        if start == where[1]:
            reach = max(reach, end)
        moments[-1].append(replace(note, moment=first + len(moments) - 1))
    return tuple(tuple(sorted(moment, key=lambda note: note.string)) for moment in moments)
