"""The record of a class: which degree was asked, which was answered, note by note, over time.

**Conventions.**  A record is a plain CSV table with the columns :data:`COLUMNS`, one row a note:
a note that was missed has no degree answered, a note that was added none asked.  Days are ISO
8601, such as 2026-11-25; degrees are plain (``b3``, no octave).  New rows are only ever added at
the end.  Nothing here opens a file: text comes in and goes out.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass
from datetime import date
from itertools import groupby

from fretpath.errors import FretpathError, RequestError, nearest, printable
from fretpath.music.key import Degree
from fretpath.remarks import Remark
from fretpath.values import Value

COLUMNS = ("date", "student", "tune", "degree asked", "degree answered")
"""The first line of a record."""

_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True, slots=True)
class AskedNote(Value):
    """One note, asked and answered."""

    day: str
    """When, such as ``2026-11-25``."""
    student: str
    """Who answered."""
    tune: str
    """What was asked: the title, or the name of its file."""
    asked: str
    """The plain degree of the tune; empty for a note that was added."""
    answered: str
    """The plain degree of the answer; empty for a note that was missed."""

    @property
    def right(self) -> bool:
        """Whether the degree asked was answered."""
        return self.asked == self.answered


Record = Sequence[AskedNote]
"""The rows of a record, in the order of the file."""


def confusions(record: Record, student: str | None = None) -> Counter[tuple[str, str]]:
    """How often each degree (first) was answered by which other (second); one student, or all.

    >>> confusions([AskedNote("2026-11-25", "Ana", "Bell", "4", "#4")], "Ana")
    Counter({('4', '#4'): 1})

    Raises :class:`RequestError` for a student the record does not know.
    """
    rows = record if student is None else rows_of(record, student)
    return Counter((r.asked, r.answered) for r in rows if r.asked and r.answered and not r.right)


def rows_of(record: Record, student: str) -> list[AskedNote]:
    """The rows of one student; the name may be written in small letters."""
    rows = [row for row in record if row.student.casefold() == student.strip().casefold()]
    if not rows:
        names = sorted({row.student for row in record})
        known = f" (in it: {', '.join(names[:8])})" if names else "; it is empty"
        hint = nearest(student, [name.lower() for name in names])
        raise RequestError(f'"{student[:40]}" is not in the record{hint or known}')
    return rows


def drill_pairs(found: Counter[tuple[str, str]], most: int = 4) -> list[tuple[str, str]]:
    """The degrees confused most, as pairs for a drill; each pair once, whichever was asked."""
    both: Counter[tuple[str, str]] = Counter()
    for (asked, answered), count in sorted(found.items()):
        known = (answered, asked) if (answered, asked) in both else (asked, answered)
        both[known] += count
    distinct = [pair for pair in sorted(both, key=lambda pair: (-both[pair], pair)) if _apart(pair)]
    return distinct[:most]


def _apart(pair: tuple[str, str]) -> bool:
    """Whether two degrees sound apart, so that they can be told from each other."""
    sounds = [Degree.parse(degree).interval.semitones for degree in pair]
    return (sounds[0] - sounds[1]) % 12 != 0


def richness(degrees: Sequence[str], confused: Counter[tuple[str, str]]) -> float:
    """How much of a tune trains what was confused, 0 to 1.

    *degrees* are the plain degrees of the tune.  A confused pair counts by the rarer of its two
    degrees, since only a tune with both lets them be told apart, and by how often it happened.

    >>> richness(["3", "b3", "1", "3"], Counter({("3", "b3"): 2}))
    0.5
    """
    used = Counter(degrees)
    times = confused.total()
    if not times:
        return 0.0
    met = sum(2 * n * min(used[a], used[b]) for (a, b), n in confused.items())
    return met / (times * len(degrees))


# -- text ------------------------------------------------------------------------------------------


def parse_record(text: str, source: str = "record") -> tuple[list[AskedNote], list[Remark]]:
    """The rows of a record, and a remark for each line that is not one and was left out.

    Raises :class:`FretpathError` when the text does not begin with the names of the columns.
    """
    lines = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    if not lines or tuple(word.strip().lower() for word in lines[0]) != COLUMNS:
        raise FretpathError(
            f"{source} is not a record: its first line is not {','.join(COLUMNS)}; "
            "fretpath mark --record makes a new one under another name"
        )
    rows: list[AskedNote] = []
    remarks: list[Remark] = []
    for number, words in enumerate(lines[1:], start=2):
        problem = _problem(words)
        if problem:
            remarks.append(Remark("left out", problem, f"{source}, line {number}"))
        elif words:
            rows.append(AskedNote(*(_plain(word) for word in words)))
    return rows, remarks


def _problem(words: Sequence[str]) -> str:
    """The fault of a line; empty for a row, and for an empty line."""
    if not words:
        return ""
    if len(words) != len(COLUMNS):
        return f"{len(words)} columns, a record has {len(COLUMNS)}"
    try:
        date.fromisoformat(words[0].strip())
    except ValueError:
        return f'"{words[0][:20]}" is not a date such as 2026-11-25'
    if not any(word.strip() for word in words[3:]):
        return "neither a degree asked nor one answered"
    for word in words[3:]:
        try:
            Degree.parse(word.strip() or "1")
        except RequestError:
            return f'"{word[:20]}" is not a degree'
    return ""


def format_record(rows: Iterable[AskedNote], *, head: bool = True) -> str:
    """The text of a record; *head* False leaves out the names of the columns.

    Text that a spreadsheet would take for a formula gets an apostrophe in front, and
    :func:`parse_record` takes it off.
    """
    file = io.StringIO()
    writer = csv.writer(file, lineterminator="\n")
    if head:
        writer.writerow(COLUMNS)
    writer.writerows([_safe(word) for word in astuple(row)] for row in rows)
    return file.getvalue()


def _safe(text: str) -> str:
    text = printable(" ".join(text.split()))
    return f"'{text}" if text.startswith((*_FORMULA, "'")) else text


def _plain(text: str) -> str:
    text = text.strip()
    return text[1:] if text.startswith("'") else text


def added_text(text: str, rows: Sequence[AskedNote], source: str) -> tuple[str, list[Remark]]:
    """Text to write at the end of a record, whose text so far is ``text``, to add rows to it.

    An answer that the record holds already, of the same day, is not added again, and a remark
    says so.
    """
    if text.strip():
        parse_record(text, source)
    before = "\n" + text.replace("\r\n", "\n") + "\n"
    added: list[str] = []
    remarks = []
    for (_, student, _), block in groupby(rows, key=lambda row: (row.day, row.student, row.tune)):
        lines = format_record(block, head=False)
        if f"\n{lines}" in before:
            remarks.append(Remark("left out", f"{student}: recorded already", source))
        else:
            added.append(lines)
    if not text.strip():
        added.insert(0, format_record([]))
    elif added and not text.endswith("\n"):
        added.insert(0, "\n")
    return "".join(added), remarks
