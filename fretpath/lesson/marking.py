"""Marking: a student's answer laid beside the tune.

**Theory.**  The answer is paired with the tune (:mod:`fretpath.lesson.pairing`), then one simple
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
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Any

from fretpath.errors import RequestError
from fretpath.lesson.answers import Answer
from fretpath.lesson.diagnosis import (
    KINDS,
    Comparison,
    Diagnosis,
    Mistake,
    in_contour,
    known_by_stretches,
    mistakes_of,
    reasons_for,
)
from fretpath.lesson.pairing import ENTER, WRONG, Pairing, heard_notes, pair
from fretpath.lesson.record import drill_pairs
from fretpath.lesson.tune import check_tune
from fretpath.music.key import Degree
from fretpath.music.melody import Melody, Note
from fretpath.music.pitch import OCTAVE
from fretpath.music.words import counted
from fretpath.page.tables import WIDTH, clipped, indented
from fretpath.values import Value, check_fields

_POOR = 0.6
"""The share of the points from which an answer is taken for this tune without another look."""
_KNOWN = 0.25
"""The share of the notes (of the shorter) that must be right three or more in a row.  Chosen by
trial: of unrelated melodies with 8 to 24 notes five of six have less, of answers with a random
third of the notes wrong one of a hundred (together with the share above)."""
_HOPELESS = 0.2
"""The share of the points up to which twice as many notes must be right in a row."""
_LEAST_NOTES = 6
"""Notes that an answer must have, and half of those of the tune, to be called another tune."""
_ALWAYS = 8
"""The price of hearing one degree as another throughout, beside those of the pairing."""
_MOST_LEFT = 1.5
"""What may be left to explain beside a shift: the price a note of the tune, on the average."""
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
    either may be empty.  Where a whole stretch is shifted, what was meant."""
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
    if not octaves:
        scheme = replace(scheme, octave=0)
        answer = _near(expected, answer, lengths)
    compared = _compared(expected, answer, lengths, letters)
    heard = unclear is not None
    marked = _Marked(compared, scheme, lengths, frozenset(unclear or ()), heard).marking
    return replace(marked, octaves_marked=octaves)


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


def _near(expected: Melody, answer: Melody, lengths: bool) -> Melody:
    """The answer with each note in the octave nearest to the note of the tune it stands for."""
    tune, heard = heard_notes(expected), heard_notes(answer)
    notes = list(answer.notes)
    for one in pair(tune, heard, lengths=lengths, octaves=False).pairs:
        if one.mine is not None and one.theirs is not None:
            away = one.shift.moved(tune[one.mine]).interval.semitones - heard[one.theirs].height
            event = answer.struck[one.theirs]
            stop = [*answer.struck, len(notes)][one.theirs + 1]
            for at in range(event, stop):
                notes[at] = _raised(notes[at], round(away / 12))
    return replace(answer, notes=tuple(notes))


def _raised(note: Note, octaves: int) -> Note:
    return note if note.pitch is None else replace(note, pitch=note.pitch + OCTAVE.times(octaves))


def gives_lengths(melody: Melody) -> bool:
    """Whether any note is longer or shorter than a beat."""
    return any(beats != 1 for beats in melody.lengths)


def _compared(expected: Melody, answer: Melody, lengths: bool, letters: bool) -> Comparison:
    """Tune and answer paired in the simplest way: with shifts only where they explain more."""
    shifted = _paired(expected, answer, lengths, shifts=True)
    compared = Comparison(expected, answer, shifted.pairs, letters=letters)
    entered = sum(shift.octaves is None for shift, _ in compared.runs())
    if not entered:
        return compared
    plain = _paired(expected, answer, lengths, shifts=False)
    alone = Comparison(expected, answer, plain.pairs, letters=letters)
    saved = sum(
        WRONG * reason.notes - _ALWAYS
        for reason in reasons_for(alone, mistakes_of(alone, lengths=False), 0, 0)
        if reason.kind == "always"
    )
    left = shifted.price - entered * ENTER
    if plain.price - saved <= shifted.price or left > _MOST_LEFT * len(compared.tune):
        return alone
    return compared if compared.sound else alone


def _paired(expected: Melody, answer: Melody, lengths: bool, shifts: bool) -> Pairing:
    """The cheapest account; note for note when both have as many notes in every bar.

    An answer in the bars of the tune, or in its rhythm, is kept so unless that is much dearer.
    """
    tune, notes = heard_notes(expected), heard_notes(answer)
    found = pair(tune, notes, lengths=lengths, shifts=shifts)
    in_bars = expected.bars and _notes_in_bars(expected) == _notes_in_bars(answer)
    in_rhythm = gives_lengths(expected) and expected.lengths == answer.lengths
    if not in_bars and not in_rhythm:
        return found
    straight = pair(tune, notes, lengths=lengths, shifts=shifts, gaps=False)
    return straight if 4 * straight.price <= 7 * found.price else found


def _notes_in_bars(melody: Melody) -> list[int]:
    """How many notes are struck in each bar."""
    counts = Counter(melody.bar_numbers[event] for event in melody.struck)
    return [counts[bar] for bar in sorted(counts)]


@dataclass(frozen=True)
class _Marked:
    """A comparison, judged."""

    compared: Comparison
    points: Points
    lengths: bool
    unclear: frozenset[int] = frozenset()
    heard: bool = False

    @property
    def marking(self) -> Marking:
        points, compared = self.points, self.compared
        worth = points.degree + points.octave
        full = (worth + points.length * self.lengths) * len(compared.tune)
        mistakes = mistakes_of(compared, lengths=self.lengths)
        reasons = tuple(reasons_for(compared, mistakes, worth, points.octave))
        lost = sum(map(self._loss, mistakes)) + sum(reason.cost for reason in reasons)
        marking = Marking(
            mistakes=mistakes,
            reasons=reasons,
            score=max(0, full - lost),
            full=full,
            notes=len(compared.tune),
            octaves=self._octaves,
            lengths=self.lengths,
            respelled=tuple(self._respelled()),
            degrees=tuple(_degrees(compared)),
            heard=self.heard,
        )
        return self._far_off(marking, worth)

    def _loss(self, mistake: Mistake) -> int:
        """Points taken off for one mistake."""
        if mistake.theirs in self.unclear:
            return 0
        points = self.points
        worth = {
            "wrong degree": points.degree + points.octave,
            "wrong octave": points.octave,
            "swapped": points.degree,
            "missed": points.degree + points.octave + points.length * self.lengths,
            "added": points.added,
            "wrong length": points.length,
        }
        return worth[mistake.kind]

    @property
    def _octaves(self) -> int:
        octaves = {shift.octaves for shift, _ in self.compared.runs()}
        return next(iter(octaves)) or 0 if len(octaves) == 1 else 0

    def _respelled(self) -> Iterator[str]:
        compared = self.compared
        for one in compared.pairs:
            if one.mine is None or one.theirs is None or not compared.fits(one):
                continue
            wanted, written = compared.moved(one), compared.answer[one.theirs].degree
            if one.shift.octaves is not None and wanted.plain != written.plain:
                ours, theirs = (
                    compared.shown(degree, one.theirs, octave=False) for degree in (wanted, written)
                )
                yield f"{compared.place(one.mine)}: {theirs} written for {ours}"

    def _far_off(self, marking: Marking, worth: int) -> Marking:
        """The marking of an answer in the right contour only, or of another tune."""
        if marking.score > _POOR * marking.full or _has_shift(marking):
            return marking
        contour = in_contour(self.compared)
        if contour is not None:
            return replace(self, compared=contour)._in_contour(worth)
        known = known_by_stretches(self.compared)
        answered = len(self.compared.answer)
        shorter = min(marking.notes, answered)
        enough = shorter >= _LEAST_NOTES and 2 * answered >= marking.notes
        hopeless = marking.score <= _HOPELESS * marking.full
        least = (2 * _KNOWN if hopeless else _KNOWN) * shorter
        if not enough or len(known) >= least or _one_reason(marking):
            return marking
        text = (
            f"this is hardly this tune: {len(known)} of {marking.notes} notes are known again; "
            "another tune, or the wrong exercise?"
        )
        score = min(marking.score, worth * len(known))
        other = Diagnosis("another tune", text, marking.notes, mistakes=marking.mistakes)
        asked = tuple((note.degree.plain, "") for note in self.compared.tune)
        return replace(marking, reasons=(other,), score=score, respelled=(), degrees=asked)

    def _in_contour(self, worth: int) -> Marking:
        compared = self.compared
        mistakes = mistakes_of(compared, lengths=self.lengths)
        wrong = tuple(m for m in mistakes if m.kind in ("wrong degree", "wrong octave"))
        full = (worth + self.points.length * self.lengths) * len(compared.tune)
        first = (compared.tune[0].degree, compared.answer[0].degree)
        ours, theirs = (compared.shown(degree, 0) for degree in first)
        start = "" if ours == theirs else f"started on {theirs} instead of {ours}; "
        text = f"{start}the contour is right, up and down where the tune goes; the degrees are not"
        cost = -(-len(wrong) * worth // 2)
        lengths = sum(self._loss(m) for m in mistakes if m.kind == "wrong length")
        return Marking(
            mistakes=mistakes,
            reasons=(Diagnosis("contour", text, len(wrong), cost, wrong),),
            score=max(0, full - cost - lengths),
            full=full,
            notes=len(compared.tune),
            octaves=0,
            lengths=self.lengths,
            respelled=(),
            degrees=tuple((note.degree.plain, "") for note in compared.tune),
            heard=self.heard,
        )


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
        elif compared.fits(one):
            yield ours, ours
        elif one.shift.octaves is not None:
            yield ours, compared.answer[one.theirs].degree.plain


# -- page ------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class NextTune:
    """A tune that trains what was confused."""

    name: str
    """Its file name."""
    title: str
    """What it is called."""
    richness: float
    """0 to 1; see :func:`fretpath.lesson.record.richness`."""


def mark_page(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    confused: Counter[tuple[str, str]],
    following: Sequence[NextTune] | None = None,
) -> str:
    """Each answer with its reasons and mistakes; for several, a table of the class.

    *marked* pairs the name of each student with the marking; *confused* counts the degrees
    answered for others; *following* are tunes rich in them, None when no folder was asked about.
    """
    blocks = [[clipped(f"MARKED AGAINST: {title}", WIDTH), *indented(scheme_line(points))]]
    blocks.extend(list(_answer_lines(name, marking)) for name, marking in marked)
    if len(marked) > 1:
        blocks.append(list(_class_lines(marked)))
        blocks.append(list(confusion_lines(confused)))
    elif confused:
        blocks.append([drill_line(confused)])
    if following is not None:
        blocks.append(list(next_lines(following)))
    return "\n\n".join("\n".join(block) for block in blocks) + "\n"


def scheme_line(points: Points) -> str:
    """The scheme in one line."""
    return (
        f"each note: {counted(points.degree, 'point')} for its degree, {points.octave} for its "
        f"octave, {points.length} for its length where lengths are marked; "
        f"{points.added} off for each note added"
    )


def _answer_lines(name: str, marking: Marking) -> Iterator[str]:
    yield clipped(f"{name}: {marking.score} of {marking.full} points ({marking.percent}%)", WIDTH)
    if not _has_shift(marking) or marking.mistakes:
        yield from indented(summary(marking))
    for reason in marking.reasons:
        yield from indented(_said(reason, marking))
    for mistake in marking.unexplained:
        yield from indented(_said(mistake, marking))
    yield from _notes(marking)


def _said(what: Diagnosis | Mistake, marking: Marking) -> str:
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
        yield from indented(
            f"(written {counted(count, 'octave')} {way} throughout; no points lost)"
        )
    if not marking.octaves_marked:
        yield from indented("(octaves are not marked: the letters do not tell them)")
    if marking.heard:
        yield from indented("(from a recording: what was heard; unclear notes cost nothing)")
    if not marking.lengths:
        yield from indented("(lengths are not marked)")
    for line in marking.respelled:
        yield from indented(f"({line}: the same sound, no points lost)")


def _class_lines(marked: Sequence[tuple[str, Marking]]) -> Iterator[str]:
    wide = min(24, max(len(name) for name, _ in marked))
    yield f"THE CLASS: {counted(len(marked), 'answer')}"
    yield f"     {'name':<{wide}}  points    %  what is wrong"
    for name, marking in marked:
        points = f"{marking.score}/{marking.full}"
        line = f"     {clipped(name, wide):<{wide}} {points:>7} {marking.percent:>4}  "
        yield clipped(line + _in_short(marking), WIDTH)


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
    across = sorted({theirs for _, theirs in found}, key=Degree.parse)
    yield "     expected  answered " + "".join(f"{theirs:>5}" for theirs in across)
    for ours in sorted({ours for ours, _ in found}, key=Degree.parse):
        counts = "".join(f"{found[ours, theirs] or '.':>5}" for theirs in across)
        yield f"     {ours:>8}           " + counts
    yield drill_line(found)


def drill_line(found: Counter[tuple[str, str]]) -> str:
    """The command that drills what was confused most."""
    words = " ".join(f"{ours}={theirs}" for ours, theirs in drill_pairs(found))
    return f'     to drill them: fretpath drill --confused "{words}"'


def next_lines(following: Sequence[NextTune]) -> Iterator[str]:
    """The tunes to go on with."""
    yield "NEXT TUNES, rich in what was confused (share of their notes)"
    for tune in following[:_MOST_NEXT]:
        yield clipped(f"     {tune.richness:>4.0%}  {tune.name}  {tune.title}", WIDTH)
    if not following:
        yield "     none: no degree was confused, or no tune has both degrees of a confused pair"


def mark_data(
    title: str,
    marked: Sequence[tuple[str, Marking]],
    points: Points,
    confused: Counter[tuple[str, str]],
    following: Sequence[NextTune] | None = None,
) -> dict[str, Any]:
    """The same as plain data."""
    rows = sorted(confused.items(), key=lambda row: (-row[1], row[0]))
    return {
        "tune": title,
        "points": asdict(points),
        "answers": [{"answer": name, **_marking_data(marking)} for name, marking in marked],
        "confusions": [{"expected": a, "answered": b, "times": n} for (a, b), n in rows],
        "next": None if following is None else [asdict(tune) for tune in following],
    }


def _marking_data(marking: Marking) -> dict[str, Any]:
    return {
        "score": marking.score,
        "full": marking.full,
        "percent": marking.percent,
        "wrong": marking.wrong,
        "counts": marking.counts,
        "octaves": marking.octaves,
        "lengths": marking.lengths,
        "octaves_marked": marking.octaves_marked,
        "heard": marking.heard,
        "reasons": [
            {"kind": r.kind, "text": r.text, "notes": r.notes, "cost": r.cost}
            for r in marking.reasons
        ],
        "mistakes": [
            {"kind": m.kind, "place": m.place, "expected": m.expected, "answered": m.answered}
            for m in marking.mistakes
        ],
        "respelled": list(marking.respelled),
    }
