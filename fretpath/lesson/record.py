"""The record of a class: which degree was asked, which answered, note by note, and what comes next.

**Conventions.**  A record is a plain CSV table with the columns :data:`COLUMNS`, one row a note:
a note that was missed has no degree answered, a note that was added none asked.  Days are ISO
8601, such as 2026-11-25; degrees are plain (``b3``, no octave).  New rows are only ever added at
the end.  Nothing here opens a file: text comes in and goes out.

A week begins on Monday and is named by that day.  A share is of the notes that were asked, added
notes left out.  The next drill has the degrees confused most in the last four weeks with an answer;
the next tune is the one richest in them, never the one just failed (less than four notes of five
right) unless it is richer than all others; where nothing is confused it is the first in the order
for the ear that is not in the record.
"""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from datetime import date, timedelta
from functools import cached_property
from itertools import groupby
from typing import Any

from fretpath.errors import FretpathError, RequestError, nearest, printable
from fretpath.lesson.tune import check_tune, named, plain_degrees
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.page.html import fill_template
from fretpath.page.tables import INDENT, indent_lines, shorten, table
from fretpath.remarks import Remark
from fretpath.values import Value

COLUMNS = ("date", "student", "tune", "degree asked", "degree answered")
"""The first line of a record."""

_FORMULA = ("=", "+", "-", "@", "\t")
_LATELY = 4
_FAILED = 0.8
_MOST_PAIRS = 4


@dataclass(frozen=True, slots=True)
class AskedNote(Value):
    """One note, asked and answered."""

    day: str
    """When, such as ``2026-11-25``."""
    student: str
    """Who answered."""
    tune: str
    """The tune that was asked: its title, or the name of its file without its ending."""
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


def most_confused(found: Counter[tuple[str, str]]) -> list[tuple[tuple[str, str], int]]:
    """Degrees confused, expected and answered, with how often; the most frequent first."""
    return sorted(found.items(), key=lambda row: (-row[1], row[0]))


def confusion_rows(found: Counter[tuple[str, str]]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [{"expected": a, "answered": b, "times": n} for (a, b), n in most_confused(found)]


def drill_pairs(found: Counter[tuple[str, str]]) -> list[tuple[str, str]]:
    """The degrees confused most, as pairs for a drill; each pair once, whichever was asked."""
    both: Counter[tuple[str, str]] = Counter()
    for (asked, answered), count in sorted(found.items()):
        known = (answered, asked) if (answered, asked) in both else (asked, answered)
        both[known] += count
    return [pair for pair, _ in most_confused(both) if _apart(pair)][:_MOST_PAIRS]


def drill_command(found: Counter[tuple[str, str]]) -> str:
    """The command that drills what was confused most."""
    words = " ".join(f"{ours}={theirs}" for ours, theirs in drill_pairs(found))
    return f'fretpath drill --confused "{words}"'


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
    """The text of a record; *head* False leaves out the names of the columns."""
    cells = [[" ".join(word.split()) for word in astuple(row)] for row in rows]
    return csv_text([*([COLUMNS] if head else []), *cells])


def csv_text(rows: Iterable[Sequence[object]]) -> str:
    """Rows as CSV, without control characters.

    Text that a spreadsheet would take for a formula gets an apostrophe in front, as does text that
    has one already; :func:`parse_record` takes it off.
    """
    file = io.StringIO()
    csv.writer(file, lineterminator="\n").writerows([_safe(cell) for cell in row] for row in rows)
    return file.getvalue()


def _safe(cell: object) -> object:
    if not isinstance(cell, str):
        return cell
    text = printable(cell)
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


# -- what comes next -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Candidate(Value):
    """A tune that may come next."""

    name: str
    """Its file name."""
    title: str
    """Its title, or the name of its file without its ending."""
    degrees: tuple[str, ...]
    """The plain degree of each note."""

    @classmethod
    def of(cls, melody: Melody, name: str) -> Candidate:
        """A melody as a candidate; :class:`RequestError` when it has no key or no note."""
        check_tune(melody, name)
        return cls(name, named(melody, name).title, tuple(plain_degrees(melody)))


def richest(
    candidates: Sequence[Candidate], confused: Counter[tuple[str, str]], failed: str
) -> list[Candidate]:
    """The tunes that train what was confused, the richest first.

    The one just *failed*, by its title, is among them only where it is richer than all others.
    """
    rich = [(richness(tune.degrees, confused), tune) for tune in candidates]
    best = max((share for share, tune in rich if tune.title != failed), default=0.0)
    fit = [row for row in rich if row[0] > (best if row[1].title == failed else 0)]
    return [tune for _, tune in sorted(fit, key=lambda row: -row[0])]


# -- progress --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Week:
    """The answers of one week."""

    monday: str
    """Its first day, such as ``2026-11-23``."""
    rows: tuple[AskedNote, ...]
    """The notes of the week."""

    @cached_property
    def asked(self) -> int:
        """Notes asked."""
        return sum(bool(row.asked) for row in self.rows)

    @cached_property
    def right(self) -> int:
        """Notes answered rightly."""
        return sum(bool(row.asked) and row.right for row in self.rows)

    @property
    def percent(self) -> int:
        """Notes right of a hundred."""
        return round(100 * self.right / self.asked) if self.asked else 0

    def confused(self, asked: str, answered: str) -> tuple[int, int]:
        """How often one degree was answered by another, and how often it was asked."""
        rows = [row for row in self.rows if row.asked == asked]
        return sum(row.answered == answered for row in rows), len(rows)


@dataclass(frozen=True)
class Progress:
    """One student in a record."""

    student: str
    """The name as the record has it."""
    rows: tuple[AskedNote, ...]
    """All notes, in order of their days."""
    candidates: tuple[Candidate, ...] | None = None
    """Tunes that may come next, in the order for the ear; None when no folder was asked about."""

    @cached_property
    def weeks(self) -> tuple[Week, ...]:
        """The weeks with an answer, in order."""
        found: dict[str, list[AskedNote]] = {}
        for row in self.rows:
            found.setdefault(_monday(row.day), []).append(row)
        return tuple(Week(monday, tuple(rows)) for monday, rows in sorted(found.items()))

    @cached_property
    def whole(self) -> Week:
        """All weeks as one."""
        return Week(self.weeks[0].monday, self.rows)

    @cached_property
    def answers(self) -> list[tuple[str, str]]:
        """Day and tune of every answer, in order."""
        return list(dict.fromkeys((row.day, row.tune) for row in self.rows))

    @cached_property
    def confused(self) -> Counter[tuple[str, str]]:
        """Answers by what was asked, ever."""
        return confusions(self.rows)

    @cached_property
    def lately(self) -> Counter[tuple[str, str]]:
        """Answers by what was asked in the last four weeks with an answer."""
        return confusions([row for week in self.weeks[-_LATELY:] for row in week.rows])

    @cached_property
    def most(self) -> list[tuple[str, str]]:
        """The degrees confused most, expected and answered, at most four pairs."""
        return [pair for pair, _ in most_confused(self.confused)[:_MOST_PAIRS]]

    @cached_property
    def failed(self) -> str:
        """The tune answered last when less than four notes of five were right; empty otherwise."""
        day, tune = self.answers[-1]
        last = Week(day, tuple(row for row in self.rows if (row.day, row.tune) == (day, tune)))
        return tune if last.right < _FAILED * last.asked else ""

    @cached_property
    def next_drill(self) -> list[tuple[str, str]]:
        """The pairs of degrees to drill next."""
        return drill_pairs(self.lately)

    @cached_property
    def next_tune(self) -> Candidate | None:
        """The tune to go on with.

        None when there is no candidate, or nothing is confused and all are in the record.
        """
        candidates = self.candidates or ()
        known = {tune for _, tune in self.answers}
        new = (tune for tune in candidates if tune.title not in known)
        rich = richest(candidates, self.lately, self.failed)
        return rich[0] if rich else next(new, None)


def progress_of(
    record: Record, student: str, candidates: Sequence[Candidate] | None = None
) -> Progress:
    """The progress of one student; :class:`RequestError` when the record does not have the name.

    *candidates* are the tunes that may come next, in the order for the ear.
    """
    rows = sorted(rows_of(record, student), key=lambda row: row.day)
    asked = None if candidates is None else tuple(candidates)
    return Progress(rows[0].student, tuple(rows), asked)


def class_progress(record: Record, candidates: Sequence[Candidate] | None = None) -> list[Progress]:
    """Everybody in the record, by name; *candidates* as for one student."""
    names = {row.student.casefold(): row.student for row in record}
    return [progress_of(record, names[name], candidates) for name in sorted(names)]


def _monday(day: str) -> str:
    when = date.fromisoformat(day)
    return (when - timedelta(days=when.weekday())).isoformat()


# -- page ------------------------------------------------------------------------------------------


def record_page(students: Sequence[Progress], source: str) -> str:
    """The record as text: the class, then each student."""
    days = [row.day for progress in students for row in progress.rows]
    head = f"THE RECORD {source}: {min(days)} to {max(days)}"
    blocks = [[head, *_class_table(students)]]
    blocks.extend(list(_student_lines(progress)) for progress in students)
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _class_table(students: Sequence[Progress]) -> list[str]:
    rows = [
        (
            shorten(p.student, 24),
            len(p.answers),
            f"{p.whole.percent}%",
            f"{p.weeks[-1].percent}%",
            ", ".join(f"{ours} answered {theirs}" for ours, theirs in p.most[:2]) or "nothing",
        )
        for p in students
    ]
    head = ("name", "answers", "right", "last week", "confused most")
    return table(rows, head=head, align="lrrrl", indent=INDENT)


def _student_lines(progress: Progress) -> Iterator[str]:
    whole = progress.whole
    yield (
        f"{shorten(progress.student, 40)}: {whole.right} of {counted(whole.asked, 'note')} right "
        f"({whole.percent}%)"
    )
    pairs = progress.most
    head = ("week of", "answers", "right", *(f"{ours}: {theirs}" for ours, theirs in pairs))
    rows = [
        (
            week.monday,
            len({(row.day, row.tune) for row in week.rows}),
            f"{week.percent}%",
            *(_times(week.confused(*pair)) for pair in pairs),
        )
        for week in progress.weeks
    ]
    yield from table(rows, head=head, align="lrr" + "r" * len(pairs), indent=INDENT)
    if pairs:
        yield f"{INDENT}4: #4 means that 4 was expected and #4 answered, 1/3 once in three times"
    yield from indent_lines(f"next drill: {drill_words(progress)}")
    if progress.candidates is not None:
        tune = progress.next_tune
        words = f"{tune.title} ({tune.name})" if tune else "none in the folder"
        yield from indent_lines(f"next tune: {words}")


def _times(counts: tuple[int, int]) -> str:
    wrong, asked = counts
    return f"{wrong}/{asked}" if asked else "-"


def drill_words(progress: Progress) -> str:
    """The command of the next drill, or that none is needed."""
    if not progress.next_drill:
        return "none; no degree was answered for another lately"
    return drill_command(progress.lately)


def record_data(students: Sequence[Progress]) -> dict[str, Any]:
    """The same as plain data; shares 0 to 1."""
    return {"students": [_student_data(progress) for progress in students]}


def _student_data(progress: Progress) -> dict[str, Any]:
    weeks = [{"monday": w.monday, "asked": w.asked, "right": w.right} for w in progress.weeks]
    return {
        "student": progress.student,
        "answers": len(progress.answers),
        "asked": progress.whole.asked,
        "right": progress.whole.right,
        "weeks": weeks,
        "confusions": confusion_rows(progress.confused),
        "drill": [list(pair) for pair in progress.next_drill],
        "next_tune": progress.next_tune.name if progress.next_tune else None,
    }


# -- page in HTML ----------------------------------------------------------------------------------

_WIDE, _HIGH = 320, 110
_LEFT, _TOP, _LOW = 34, 8, 84


def record_html(students: Sequence[Progress], source: str) -> str:
    """One page with a small plot of every student, in a file that needs nothing else."""
    return fill_template(
        "fretpath.lesson",
        "record.html",
        source=source,
        wide=_WIDE,
        high=_HIGH,
        left=_LEFT,
        low=_LOW,
        levels=[(percent, _height(percent)) for percent in (0, 50, 100)],
        students=[(progress, _dots(progress.weeks), _bars(progress)) for progress in students],
        times=_times,
        drill_words=drill_words,
    )


def _height(percent: int) -> float:
    return round(_LOW - (_LOW - _TOP) * percent / 100, 1)


def _dots(weeks: Sequence[Week]) -> list[tuple[float, float, Week]]:
    """Each week with its place in the plot."""
    step = (_WIDE - _LEFT - 30) / max(1, len(weeks) - 1)
    return [
        (round(_LEFT + 12 + at * step, 1), _height(week.percent), week)
        for at, week in enumerate(weeks)
    ]


def _bars(progress: Progress) -> list[tuple[str, str, int, float]]:
    """Each of the pairs confused most, how often, and how long its bar is."""
    found = progress.confused
    most = max(found.values(), default=1)
    return [(*pair, found[pair], round(150 * found[pair] / most, 1)) for pair in progress.most]
