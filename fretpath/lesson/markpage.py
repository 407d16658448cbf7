"""Marked answers as a page of text, and as data for ``--json``.

**Conventions.**  Points are whole numbers.  In the table of confusions the degrees of the tune
stand down the side, what they were taken for across.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fretpath.lesson.indented import clipped, wrapped
from fretpath.lesson.marking import KINDS, Marking, Points, confusions
from fretpath.music.key import Degree
from fretpath.music.words import counted

__all__ = ["NextTune", "mark_data", "mark_page"]

_MOST_NEXT = 5


@dataclass(frozen=True)
class NextTune:
    """A tune that trains what was confused."""

    name: str
    """Its file name."""
    title: str
    """What it is called."""
    richness: float
    """0 to 1; see :func:`fretpath.lesson.marking.richness`."""


def mark_page(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    following: Sequence[NextTune] | None = None,
) -> str:
    """Each answer with its faults; for several, the confusions of all and the next tunes.

    *marked* pairs the name of each answer with its marking; *following* are tunes rich in what
    was confused, None when no folder was asked about.
    """
    blocks = [[f"MARKED AGAINST: {title}", scheme_line(points)]]
    blocks.extend(list(_answer_lines(name, marking)) for name, marking in marked)
    markings = [marking for _, marking in marked]
    if len(marked) > 1:
        blocks.append(list(_class_lines(markings)))
    elif confusions(markings):
        blocks.append([_drill_line(confusions(markings))])
    if following is not None:
        blocks.append(list(_next_lines(following)))
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def scheme_line(points: Points) -> str:
    """The scheme in one line."""
    return (
        f"points a note: degree {points.degree}, octave {points.octave}, "
        f"length {points.length}; taken off for a note added: {points.added}"
    )


def _answer_lines(name: str, marking: Marking) -> Iterator[str]:
    percent = round(100 * marking.score / marking.full) if marking.full else 100
    yield clipped(f"{name}: {marking.score} of {marking.full} points ({percent}%)", 80)
    if not marking.faults:
        yield "     every note is right"
    for fault in marking.faults:
        yield from wrapped(str(fault))
    yield from _remarks(marking)


def _remarks(marking: Marking) -> Iterator[str]:
    if marking.octaves:
        count = abs(marking.octaves)
        way = "higher" if marking.octaves > 0 else "lower"
        yield from wrapped(f"(read {counted(count, 'octave')} {way} as a whole; no points lost)")
    if not marking.lengths:
        yield from wrapped("(lengths are not marked)")
    for line in marking.respelled:
        yield from wrapped(f"({line}: the same sound, no points lost)")


def _class_lines(markings: Sequence[Marking]) -> Iterator[str]:
    yield f"ALL {len(markings)} ANSWERS"
    totals = {kind: sum(marking.counts[kind] for marking in markings) for kind in KINDS}
    yield "     " + "; ".join(f"{kind} {count}" for kind, count in totals.items())
    yield ""
    yield from _table(markings)


def _table(markings: Sequence[Marking]) -> Iterator[str]:
    """Degrees of the tune down, what they were taken for across."""
    found = confusions(markings)
    if not found:
        yield "     no degree was taken for another"
        return
    across = sorted({theirs for _, theirs in found}, key=Degree.parse)
    yield "     taken for:" + "".join(f"{theirs:>5}" for theirs in across)
    for ours in sorted({ours for ours, _ in found}, key=Degree.parse):
        counts = "".join(f"{found[ours, theirs] or '.':>5}" for theirs in across)
        yield f"     {ours:>9} " + counts
    yield _drill_line(found)


def _drill_line(found: Counter[tuple[str, str]]) -> str:
    pairs = sorted(found, key=lambda pair: (-found[pair], pair))[:4]
    words = " ".join(f"{ours}={theirs}" for ours, theirs in pairs)
    return f'     to drill them: fretpath drill --confused "{words}"'


def _next_lines(following: Sequence[NextTune]) -> Iterator[str]:
    yield "NEXT TUNES, rich in what was confused (share of their notes)"
    for tune in following[:_MOST_NEXT]:
        yield clipped(f"     {tune.richness:>4.0%}  {tune.name}  {tune.title}", 80)
    if not following:
        yield "     none: no degree was confused, or no tune has both degrees of a confused pair"


def mark_data(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    following: Sequence[NextTune] | None = None,
) -> dict[str, Any]:
    """The same as plain data."""
    found = confusions(marking for _, marking in marked)
    rows = sorted(found.items(), key=lambda row: (-row[1], row[0]))
    return {
        "tune": title,
        "points": asdict(points),
        "answers": [
            {"answer": name, **asdict(marking), "counts": marking.counts}
            for name, marking in marked
        ],
        "confusions": [{"degree": a, "taken_for": b, "times": n} for (a, b), n in rows],
        "next": None if following is None else [asdict(tune) for tune in following],
    }
