"""Marking: a student's answer laid beside the tune.

**Theory.**  The answer is paired with the tune (:mod:`fretpath.lesson.answers`), then one simple
reason is looked for (:mod:`fretpath.lesson.diagnosis`), and what no reason explains is told note
by note.  Notes are compared as they sound above the tonic, so an answer may be in any key, in
degrees or in letters, and b5 written for #4 is the right sound (it is mentioned and costs
nothing).

**Scheme.**  Each note of the tune is worth the points of its degree, its octave and, where
lengths are marked, its length.  A wrong degree loses degree and octave, a missed note everything,
each of two notes swapped its degree, and each note added takes points off, but never below 0.
Notes that are right but for one shift (a step high, another tonic), or in the right contour only,
lose half of degree and octave.  Another octave from some note on loses one octave.  A length
counts only where it is clear which note it belongs to.  The default points are our choice.

**Register.**  An answer that lies one or more octaves off as a whole is not wrong; the marking
says so.  An answer of which little more fits than chance would bring is marked as another tune:
only stretches of three right notes or more count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from fretpath.errors import RequestError
from fretpath.lesson.answers import Answer, Shift
from fretpath.lesson.diagnosis import (
    KINDS,
    Comparison,
    Diagnosis,
    Mistake,
    compare,
    gives_lengths,
    in_contour,
    in_nearest_octaves,
    known_by_stretches,
    mistakes_of,
    reasons_for,
)
from fretpath.lesson.record import Candidate, confusion_rows, drill_command, richness
from fretpath.lesson.tune import check_tune
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.words import counted
from fretpath.page.tables import INDENT, WIDTH, indent_lines, shorten, table
from fretpath.values import Value, check_fields, to_dict

_POOR = 0.6
"""The share of the points from which an answer is taken for this tune without another look."""
_KNOWN = 0.3
"""The share of the notes (of the shorter) that must be right three or more in a row.  Chosen by
trial: of 297 pairs of unrelated melodies with 8 to 24 notes 238 have less, of as many answers with
a random third of the notes wrong 6 (together with the share above)."""
_LEAST_NOTES = 6
"""Notes that an answer must have, and half of those of the tune, to be called another tune."""
_MOST_NEXT = 5


@dataclass(frozen=True)
class Points(Value):
    """Worth of each thing marked; whole points, 0 or more."""

    degree: int = 2
    """The right degree of a note."""
    octave: int = 1
    """Its right octave."""
    length: int = 1
    """Its right length, where lengths are marked."""
    added: int = 2
    """Taken off for a note that is not in the tune."""

    def __post_init__(self) -> None:
        check_fields(self)
        if min(self.degree, self.octave, self.length, self.added) < 0:
            raise RequestError("points are 0 or more")

    @classmethod
    def read(cls, text: str) -> Points:
        """From text such as ``degree=3,added=0``; what is not named keeps its default."""
        points: dict[str, int] = {}
        for word in text.split(","):
            name, sign, number = word.strip().partition("=")
            known = name in cls.__dataclass_fields__
            if not (known and sign and number.isdecimal() and len(number) < 4):
                raise RequestError(
                    f'"{word[:40]}" is not a rule for points; write degree=2, octave=1, length=1 '
                    "or added=2, separated by commas"
                )
            points[name] = int(number)
        return cls(**points)

    @property
    def sound(self) -> int:
        """The worth of a note without its length."""
        return self.degree + self.octave

    def loss(self, kind: str) -> int:
        """Taken off for one mistake of a kind."""
        losses = {
            "wrong degree": self.sound,
            "wrong octave": self.octave,
            "swapped": self.degree,
            "missed": self.sound + self.length,
            "added": self.added,
            "wrong length": self.length,
        }
        return losses[kind]


@dataclass(frozen=True)
class Marking(Value):
    """An answer marked."""

    mistakes: tuple[Mistake, ...]
    """Everything that is wrong note by note, in order of the tune."""
    reasons: tuple[Diagnosis, ...]
    """The simple reasons found, the widest first."""
    score: int
    """Points, 0 to ``full``."""
    full: int
    """Points of an answer without a mistake."""
    notes: int
    """Notes of the tune."""
    octaves: int
    """Octaves the whole answer lies above the tune (below: negative), which costs nothing."""
    lengths: bool
    """Whether lengths were marked."""
    respelled: tuple[str, ...]
    """Right sounds written by other letters: ``bar 1, note 3: b5 written for #4``."""
    degrees: tuple[tuple[str, str], ...]
    """For each note of tune and answer in order: the plain degree asked and the one answered;
    empty where a note was added or missed.  The right sound in another octave is the degree asked.
    Under a shift the degree answered has the shift taken back: where everything is one step too
    high, 3 answered counts as 2."""
    octaves_marked: bool = True
    """Whether octaves were marked."""
    heard: bool = False
    """Whether the answer was a recording: heard, and not read."""

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many mistakes of each kind, all kinds named."""
        found = Counter(mistake.kind for mistake in self.mistakes)
        return {kind: found[kind] for kind in KINDS}

    @property
    def wrong(self) -> int:
        """Wrong, swapped, missed and added notes, and one for each shift and change of octave."""
        shifts = sum(reason.kind in ("shift", "octave") for reason in self.reasons)
        return len(self.mistakes) - self.counts["wrong length"] + shifts

    @property
    def unexplained(self) -> tuple[Mistake, ...]:
        """The mistakes that no reason explains."""
        explained = {m for reason in self.reasons for m in reason.mistakes}
        return tuple(mistake for mistake in self.mistakes if mistake not in explained)

    @property
    def percent(self) -> int:
        """The score out of a hundred, 0 to 100."""
        return round(100 * self.score / self.full) if self.full else 100


def mark(
    expected: Melody,
    answer: Melody,
    *,
    points: Points | None = None,
    lengths: bool | None = None,
    letters: bool = False,
    octaves: bool = True,
    unclear: Collection[int] | None = None,
) -> Marking:
    """Mark an answer against the tune.

    >>> from fretpath.music.notation import parse_melody
    >>> marking = mark(parse_melody("1 3 5 8"), parse_melody("1 b3 5 8"))
    >>> [str(mistake) for mistake in marking.mistakes], marking.score, marking.full
    (['note 2: expected 3 but answered b3'], 13, 16)
    >>> print(*mark(parse_melody("1 2 3 5"), parse_melody("2 3 4 6")).reasons)
    started on 2 instead of 1: everything is one step too high; the shape is right (costs 6 points)

    *lengths* None marks them when the answer gives any (or the tune none); *letters* tells the
    mistakes in letters; without *octaves* every note of the answer is taken in the octave nearest
    to the tune, and the octave has no points (for letters that do not tell it).  *unclear*, for a
    recording, are the notes of the answer (from 0) that were heard unclearly: what is wrong with
    them costs nothing.  Both melodies need a key, and may be in different ones;
    :class:`RequestError` otherwise, and for more than about 1,500 notes each.
    """
    check_tune(expected, expected.title or "the tune")
    check_tune(answer, answer.title or "the answer")
    if lengths is None:
        lengths = gives_lengths(answer) or not gives_lengths(expected)
    scheme = points or Points()
    if not lengths:
        scheme = replace(scheme, length=0)
    if not octaves:
        scheme = replace(scheme, octave=0)
        answer = in_nearest_octaves(expected, answer, lengths)
    compared = compare(expected, answer, lengths, letters)
    marking = _marking(compared, scheme, lengths, unclear or ())
    marking = replace(marking, octaves_marked=octaves, heard=unclear is not None)
    if marking.score > _POOR * marking.full or _has_shift(marking):
        return marking
    return _in_contour(compared, marking, scheme) or _another_tune(compared, marking, scheme)


def mark_best(
    expected: Melody,
    answers: Sequence[Answer],
    *,
    points: Points | None = None,
    lengths: bool | None = None,
) -> tuple[Answer, Marking]:
    """The way of reading an answer that is nearest to the tune, the first of equal ones; marked.

    *answers* come from :func:`fretpath.lesson.answers.read_answer`; the rest as in :func:`mark`.
    Repeats, of the tune and of the answer, may be written out or not.
    """
    marked = [
        (
            answer,
            mark(
                tune,
                melody,
                points=points,
                lengths=lengths,
                letters=answer.letters,
                octaves=answer.octaves,
            ),
        )
        for answer in answers
        for tune in _repeats(expected)
        for melody in _repeats(answer.melody)
    ]
    return max(marked, key=lambda pair: pair[1].score / (pair[1].full or 1))


def _repeats(melody: Melody) -> list[Melody]:
    """The melody as it is written, and with its repeats written out where it has any."""
    return [melody, melody.expanded()] if melody.repeats else [melody]


def _marking(
    compared: Comparison, points: Points, lengths: bool, unclear: Collection[int]
) -> Marking:
    """A comparison judged; what is wrong with an unclear note costs nothing."""
    full = (points.sound + points.length) * len(compared.tune)
    mistakes = mistakes_of(compared, lengths=lengths)
    reasons = tuple(reasons_for(compared, mistakes, points.sound, points.octave))
    lost = sum(points.loss(mistake.kind) for mistake in mistakes if mistake.theirs not in unclear)
    lost += sum(reason.cost for reason in reasons)
    registers = {shift.octaves for shift, _ in compared.runs}
    return Marking(
        mistakes=mistakes,
        reasons=reasons,
        score=max(0, full - lost),
        full=full,
        notes=len(compared.tune),
        octaves=(registers.pop() or 0) if len(registers) == 1 else 0,
        lengths=lengths,
        respelled=tuple(_respellings(compared)),
        degrees=tuple(_degrees(compared)),
    )


def _respellings(compared: Comparison) -> Iterator[str]:
    for one in compared.pairs:
        if one.mine is None or one.theirs is None or not compared.fits(one):
            continue
        wanted, written = compared.wanted(one), compared.answer[one.theirs].degree
        if one.shift.octaves is not None and wanted.plain != written.plain:
            ours, theirs = (compared.plain(degree, one.theirs) for degree in (wanted, written))
            yield f"{compared.place(one.mine)}: {theirs} written for {ours}"


def _in_contour(compared: Comparison, marking: Marking, points: Points) -> Marking | None:
    """The marking of an answer that only goes up and down where the tune does."""
    straight = in_contour(compared)
    if straight is None:
        return None
    mistakes = mistakes_of(straight, lengths=marking.lengths)
    wrong = tuple(m for m in mistakes if m.kind in ("wrong degree", "wrong octave"))
    ours, theirs = (
        straight.spell(notes[0].degree, 0) for notes in (straight.tune, straight.answer)
    )
    start = "" if ours == theirs else f"started on {theirs} instead of {ours}; "
    text = f"{start}the contour is right, up and down where the tune goes; the degrees are not"
    cost = -(-len(wrong) * points.sound // 2)
    lost = cost + points.length * (len(mistakes) - len(wrong))
    reason = Diagnosis("contour", text, len(wrong), cost, wrong)
    marking = replace(marking, mistakes=mistakes, octaves=0)
    return _for_one_reason(compared, marking, reason, max(0, marking.full - lost))


def _another_tune(compared: Comparison, marking: Marking, points: Points) -> Marking:
    """The marking of an answer of which little is known again: as another tune, if that is it."""
    known = len(known_by_stretches(compared))
    answered = len(compared.answer)
    shorter = min(marking.notes, answered)
    enough = shorter >= _LEAST_NOTES and 2 * answered >= marking.notes
    if not enough or known >= _KNOWN * shorter or _one_reason(marking):
        return marking
    text = (
        f"this is hardly this tune: {known} of {marking.notes} notes are known again; "
        "another tune, or the wrong exercise?"
    )
    reason = Diagnosis("another tune", text, marking.notes, mistakes=marking.mistakes)
    return _for_one_reason(compared, marking, reason, min(marking.score, points.sound * known))


def _for_one_reason(
    compared: Comparison, marking: Marking, reason: Diagnosis, score: int
) -> Marking:
    """The marking for a reason that leaves open which degree was taken for which."""
    asked = tuple((note.degree.plain, "") for note in compared.tune)
    return replace(marking, reasons=(reason,), score=score, respelled=(), degrees=asked)


def _has_shift(marking: Marking) -> bool:
    return any(reason.kind == "shift" for reason in marking.reasons)


def _one_reason(marking: Marking) -> bool:
    """Whether most of what is wrong is one thing, such as one degree always heard as another."""
    most = max((len(r.mistakes) for r in marking.reasons if r.kind in _THROUGHOUT), default=0)
    return 2 * most > len(marking.mistakes)


_THROUGHOUT = ("always", "repeated", "scale", "copied")


def _degrees(compared: Comparison) -> Iterator[tuple[str, str]]:
    """The degree asked and the one answered, note by note, shifts taken back."""
    for one in compared.pairs:
        ours = "" if one.mine is None else compared.tune[one.mine].degree.plain
        if one.theirs is None:
            yield ours, ""
        elif compared.fits(one) or compared.same_sound(one):
            yield ours, ours
        else:
            back = Shift(-one.shift.size, one.shift.in_steps)
            yield ours, back.degree_for(compared.answer[one.theirs]).plain


# -- page ------------------------------------------------------------------------------------------


def mark_page(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    confused: Counter[tuple[str, str]],
    following: Sequence[Candidate] | None = None,
) -> str:
    """Each answer with its reasons and mistakes; for several, a table of the class.

    *marked* pairs the name of each student with the marking; *confused* counts the degrees
    answered for others; *following* are tunes rich in them, None when no folder was asked about.
    """
    blocks = [[shorten(f"MARKED AGAINST: {title}", WIDTH), *indent_lines(scheme_line(points))]]
    blocks.extend(list(_answer_lines(name, marking)) for name, marking in marked)
    if len(marked) > 1:
        blocks.append(list(_class_lines(marked)))
        blocks.append(list(confusion_lines(confused)))
    elif confused:
        blocks.append([drill_line(confused)])
    if following is not None:
        blocks.append(list(next_lines(following, confused)))
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def scheme_line(points: Points) -> str:
    """The scheme in one line."""
    return (
        f"each note: {counted(points.degree, 'point')} for its degree, {points.octave} for its "
        f"octave, {points.length} for its length where lengths are marked; "
        f"{points.added} off for each note added"
    )


def _answer_lines(name: str, marking: Marking) -> Iterator[str]:
    yield shorten(f"{name}: {marking.score} of {marking.full} points ({marking.percent}%)", WIDTH)
    if not _has_shift(marking) or marking.mistakes:
        yield from indent_lines(summary(marking))
    for reason in marking.reasons:
        yield from indent_lines(_in_words(reason, marking))
    for mistake in marking.unexplained:
        yield from indent_lines(_in_words(mistake, marking))
    yield from _notes(marking)


def _in_words(what: Diagnosis | Mistake, marking: Marking) -> str:
    """In words; a recording does not say what was played, only what was heard."""
    return str(what).replace("answered", "heard") if marking.heard else str(what)


def summary(marking: Marking) -> str:
    """How many mistakes there are, in short."""
    lengths = marking.counts["wrong length"]
    if marking.reasons and marking.reasons[0].kind == "another tune":
        return "not this tune"
    if not marking.wrong:
        return "every note is right" if not lengths else counted(lengths, "wrong length")
    more = f"; {counted(lengths, 'wrong length')}" if lengths else ""
    count = marking.wrong - sum(reason.kind == "shift" for reason in marking.reasons)
    if count == 1 and not lengths:
        more = "; all else is right"
    beside = " beside the shift" if _has_shift(marking) else ""
    return f"{counted(count, 'mistake')} in {counted(marking.notes, 'note')}{beside}{more}"


def _notes(marking: Marking) -> Iterator[str]:
    if marking.octaves and not marking.counts["wrong octave"]:
        count = abs(marking.octaves)
        way = "higher" if marking.octaves > 0 else "lower"
        yield from indent_lines(
            f"(written {counted(count, 'octave')} {way} throughout; no points lost)"
        )
    if not marking.octaves_marked:
        yield from indent_lines("(octaves are not marked: the letters do not tell them)")
    if marking.heard:
        yield from indent_lines("(from a recording: what was heard; unclear notes cost nothing)")
    if not marking.lengths:
        yield from indent_lines("(lengths are not marked)")
    for line in marking.respelled:
        yield from indent_lines(f"({line}: the same sound, no points lost)")


def _class_lines(marked: Sequence[tuple[str, Marking]]) -> Iterator[str]:
    yield f"THE CLASS: {counted(len(marked), 'answer')}"
    rows = [
        (shorten(name, 24), f"{m.score}/{m.full}", m.percent, _in_short(m)) for name, m in marked
    ]
    head = ("name", "points", "%", "what is wrong")
    for line in table(rows, head=head, align="lrrl", indent=INDENT):
        yield shorten(line, WIDTH)


def _in_short(marking: Marking) -> str:
    if marking.reasons:
        return marking.reasons[0].text
    if not marking.mistakes:
        return "nothing"
    more = len(marking.mistakes) - 1
    return str(marking.mistakes[0]) + (f"; and {more} more" if more else "")


def confusion_lines(found: Counter[tuple[str, str]]) -> Iterator[str]:
    """A table: degrees of the tune down, what was answered across; and the drill for them."""
    if not found:
        yield "     no degree was answered by another"
        return
    asked, across = (sorted(set(degrees), key=Degree.parse) for degrees in zip(*found, strict=True))
    rows = [(ours, "", *(found[ours, theirs] or "." for theirs in across)) for ours in asked]
    head = ("expected", "answered", *across)
    yield from table(rows, head=head, align="rl" + "r" * len(across), indent=INDENT)
    yield drill_line(found)


def drill_line(found: Counter[tuple[str, str]]) -> str:
    """The command that drills what was confused most."""
    return f"{INDENT}to drill them: {drill_command(found)}"


def next_lines(following: Sequence[Candidate], confused: Counter[tuple[str, str]]) -> Iterator[str]:
    """The tunes to go on with."""
    yield "NEXT TUNES, rich in what was confused (share of their notes)"
    for tune in following[:_MOST_NEXT]:
        share = richness(tune.degrees, confused)
        yield shorten(f"{INDENT}{share:>4.0%}  {tune.name}  {tune.title}", WIDTH)
    if not following:
        why = "no degree was confused, or no tune has both degrees of a confused pair"
        yield f"{INDENT}none: {why}"


def mark_data(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    confused: Counter[tuple[str, str]],
    following: Sequence[Candidate] | None = None,
) -> dict[str, Any]:
    """The same as plain data."""
    data: dict[str, Any] = {
        "tune": title,
        "points": to_dict(points),
        "answers": [{"answer": name, **_marking_data(marking)} for name, marking in marked],
        "confusions": confusion_rows(confused),
        "next": following,
    }
    if following is not None:
        shares = (richness(tune.degrees, confused) for tune in following)
        data["next"] = [
            {**to_dict(tune), "richness": share}
            for tune, share in zip(following, shares, strict=True)
        ]
    return data


def _marking_data(marking: Marking) -> dict[str, Any]:
    more = {"percent": marking.percent, "wrong": marking.wrong, "counts": marking.counts}
    return {**to_dict(marking), **more}
