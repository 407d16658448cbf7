"""Progress: what a student confuses, how that changes from week to week, and what comes next.

**Conventions.**  A week begins on Monday and is named by that day (ISO 8601).  A share is of the
notes that were asked, added notes left out.  The next drill has the degrees confused most in the
last four weeks with an answer; the next tune is the one richest in them, never the one just failed
(less than four notes of five right) unless it is richer than all others; where nothing is confused
it is the first in the order for the ear that is not in the record.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Any

from fretpath.lesson.record import AskedNote, Record, confusions, drill_pairs, richness, rows_of
from fretpath.music.words import counted
from fretpath.page.html import fill_template
from fretpath.page.tables import INDENT, clipped, indented, table

_LATELY = 4
_FAILED = 0.8
_MOST_PAIRS = 4


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
        return sorted(self.confused, key=lambda pair: (-self.confused[pair], pair))[:_MOST_PAIRS]

    @cached_property
    def failed(self) -> str:
        """The tune answered last when less than four notes of five were right; empty otherwise."""
        day, tune = self.answers[-1]
        last = Week(day, tuple(row for row in self.rows if (row.day, row.tune) == (day, tune)))
        return tune if last.right < _FAILED * last.asked else ""


def progress_of(record: Record, student: str) -> Progress:
    """The progress of one student; :class:`RequestError` when the record does not have the name."""
    rows = sorted(rows_of(record, student), key=lambda row: row.day)
    return Progress(rows[0].student, tuple(rows))


def class_progress(record: Record) -> list[Progress]:
    """Everybody in the record, by name."""
    names = {row.student.casefold(): row.student for row in record}
    return [progress_of(record, names[name]) for name in sorted(names)]


def _monday(day: str) -> str:
    when = date.fromisoformat(day)
    return (when - timedelta(days=when.weekday())).isoformat()


# -- what comes next -------------------------------------------------------------------------------


@dataclass(frozen=True)
class Candidate:
    """A tune that may come next."""

    name: str
    """Its file name."""
    title: str
    """What it is called."""
    degrees: tuple[str, ...]
    """The plain degree of each note."""


def next_tune(progress: Progress, candidates: Sequence[Candidate]) -> Candidate | None:
    """The tune to go on with; *candidates* in the order for the ear.

    None when there is no candidate, or nothing is confused and all are in the record.
    """
    known = {tune for _, tune in progress.answers}
    found = progress.lately
    rich = [tune for tune in candidates if richness(tune.degrees, found) > 0]
    others = [tune for tune in rich if tune.title != progress.failed]
    best = max((richness(tune.degrees, found) for tune in others), default=0.0)
    rich = [t for t in rich if t.title != progress.failed or richness(t.degrees, found) > best]
    if rich:
        return max(rich, key=lambda tune: richness(tune.degrees, found))
    return next((tune for tune in candidates if tune.title not in known), None)


# -- page ------------------------------------------------------------------------------------------


def record_page(
    students: Sequence[Progress], source: str, following: dict[str, Candidate | None] | None = None
) -> str:
    """The record as text: the class, then each student; *following* has the next tunes by name."""
    days = [row.day for progress in students for row in progress.rows]
    head = f"THE RECORD {source}: {min(days)} to {max(days)}"
    blocks = [[head, *_class_table(students)]]
    blocks.extend(list(_student_lines(progress, following)) for progress in students)
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def _class_table(students: Sequence[Progress]) -> list[str]:
    rows = [
        (
            clipped(p.student, 24),
            len(p.answers),
            f"{p.whole.percent}%",
            f"{p.weeks[-1].percent}%",
            ", ".join(f"{ours} answered {theirs}" for ours, theirs in p.most[:2]) or "nothing",
        )
        for p in students
    ]
    head = ("name", "answers", "right", "last week", "confused most")
    return table(rows, head=head, align="lrrrl", indent=INDENT)


def _student_lines(
    progress: Progress, following: dict[str, Candidate | None] | None
) -> Iterator[str]:
    whole = progress.whole
    yield (
        f"{clipped(progress.student, 40)}: {whole.right} of {counted(whole.asked, 'note')} right "
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
    yield from indented(f"next drill: {drill_words(progress)}")
    if following is not None:
        tune = following[progress.student]
        words = f"{tune.title} ({tune.name})" if tune else "none in the folder"
        yield from indented(f"next tune: {words}")


def _times(counts: tuple[int, int]) -> str:
    wrong, asked = counts
    return f"{wrong}/{asked}" if asked else "-"


def drill_words(progress: Progress) -> str:
    """The command of the next drill, or that none is needed."""
    pairs = drill_pairs(progress.lately)
    if not pairs:
        return "none; no degree was answered for another lately"
    words = " ".join(f"{ours}={theirs}" for ours, theirs in pairs)
    return f'fretpath drill --confused "{words}"'


def record_data(
    students: Sequence[Progress], following: dict[str, Candidate | None] | None = None
) -> dict[str, Any]:
    """The same as plain data; shares 0 to 1."""
    return {"students": [_student_data(progress, following) for progress in students]}


def _student_data(
    progress: Progress, following: dict[str, Candidate | None] | None
) -> dict[str, Any]:
    tune = following[progress.student] if following else None
    return {
        "student": progress.student,
        "answers": len(progress.answers),
        "asked": progress.whole.asked,
        "right": progress.whole.right,
        "weeks": [
            {"monday": week.monday, "asked": week.asked, "right": week.right}
            for week in progress.weeks
        ],
        "confusions": [
            {"expected": ours, "answered": theirs, "times": count}
            for (ours, theirs), count in sorted(
                progress.confused.items(), key=lambda row: (-row[1], row[0])
            )
        ],
        "drill": [list(pair) for pair in drill_pairs(progress.lately)],
        "next_tune": tune.name if tune else None,
    }


# -- page in HTML ----------------------------------------------------------------------------------

_WIDE, _HIGH = 320, 110
_LEFT, _TOP, _LOW = 34, 8, 84


def record_html(
    students: Sequence[Progress], source: str, following: dict[str, Candidate | None] | None = None
) -> str:
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
        students=[_drawn(progress, following) for progress in students],
    )


def _height(percent: int) -> float:
    return round(_LOW - (_LOW - _TOP) * percent / 100, 1)


def _drawn(progress: Progress, following: dict[str, Candidate | None] | None) -> dict[str, Any]:
    weeks = progress.weeks
    step = (_WIDE - _LEFT - 30) / max(1, len(weeks) - 1)
    dots = [
        {"x": round(_LEFT + 12 + at * step, 1), "y": _height(w.percent), "week": w}
        for at, w in enumerate(weeks)
    ]
    most = max(progress.confused.values(), default=1)
    return {
        "progress": progress,
        "dots": dots,
        "line": " ".join(f"{dot['x']},{dot['y']}" for dot in dots),
        "pairs": [
            {
                "ours": ours,
                "theirs": theirs,
                "times": progress.confused[ours, theirs],
                "wide": round(150 * progress.confused[ours, theirs] / most, 1),
                "weeks": [_times(week.confused(ours, theirs)) for week in weeks],
            }
            for ours, theirs in progress.most
        ],
        "to_drill": bool(drill_pairs(progress.lately)),
        "drill": drill_words(progress),
        "tune": following[progress.student] if following else None,
        "asked_tune": following is not None,
    }
