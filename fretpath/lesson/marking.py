"""Marking: a student's answer laid beside the tune.

**Theory.**  The answer is aligned with the tune by edit distance (RapidFuzz), first with notes
compared in everything that is marked, then without their lengths, then without their octaves.
Of these alignments the one that costs the student least is used.  Notes are compared as they
sound above the tonic, so an answer may be in any key, in degrees or in letters, and b5 written
for #4 is the right sound (it is mentioned and costs nothing).

**Scheme.**  Each note of the tune is worth the points of its degree, its octave and, where
lengths are marked, its length.  A wrong degree loses degree and octave, a missed note everything,
and each note added takes points off, but never below 0.  The default points are our choice.

**Register.**  An answer that lies one or more octaves off as a whole is not wrong: when moving it
by octaves puts two notes more right than it does wrong, it is moved, and the marking says so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

from fretpath.errors import RequestError
from fretpath.lesson.folder import check_tune
from fretpath.lesson.indented import clipped, wrapped
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.music.words import counted

KINDS = ("wrong degree", "wrong octave", "missed", "added", "wrong length")
"""What can be wrong with a note."""

_OCTAVES = (0, 1, -1, 2, -2)


@dataclass(frozen=True)
class Points:
    """What everything is worth; whole points, 0 or more."""

    degree: int = 2
    """The right degree of a note."""
    octave: int = 1
    """Its right octave."""
    length: int = 1
    """Its right length, where lengths are marked."""
    added: int = 2
    """Taken off for a note that is not in the tune."""

    @classmethod
    def read(cls, text: str) -> Points:
        """From text such as ``degree=3,added=0``; what is not named keeps its default."""
        points: dict[str, int] = {}
        for word in text.split(","):
            name, sign, number = word.strip().partition("=")
            known = name in cls.__dataclass_fields__
            if not (known and sign and number.isdecimal() and len(number) < 4):
                raise RequestError(
                    f'"{word[:40]}" is no rule for points; write degree=2, octave=1, length=1 '
                    "or added=2, separated by commas"
                )
            points[name] = int(number)
        return cls(**points)


@dataclass(frozen=True)
class Sound:
    """A struck note as it is compared."""

    degree: Degree
    """Its degree."""
    length: Fraction
    """Its sounding length in beats."""
    octaves: int = 0
    """Octaves it was moved before comparing."""

    @property
    def height(self) -> int:
        """Semitones above the tonic."""
        return self.degree.interval.semitones + 12 * self.octaves

    @property
    def view(self) -> tuple[int, int, Fraction]:
        """Degree as it sounds, octave, length."""
        octave, degree = divmod(self.height, 12)
        return degree, octave, self.length


@dataclass(frozen=True)
class Mistake:
    """One thing that is wrong."""

    kind: str
    """One of :data:`KINDS`."""
    place: str
    """Where in the tune: ``bar 2, note 1``; for an added note, what it comes after."""
    expected: str
    """Degree (or length in beats) of the tune; empty for an added note."""
    answered: str
    """Degree (or length in beats) of the answer; empty for a missed note."""

    def __str__(self) -> str:
        if self.kind == "missed":
            return f"{self.place}: {self.expected} is missed"
        if self.kind == "added":
            return f"{self.place}: {self.answered} is added"
        if self.kind == "wrong degree":
            return f"{self.place}: {self.expected} was taken for {self.answered}"
        if self.kind == "wrong octave":
            return f"{self.place}: {self.expected} in the wrong octave ({self.answered})"
        return f"{self.place}: length {self.answered} instead of {self.expected}"


@dataclass(frozen=True)
class Marking:
    """An answer marked."""

    mistakes: tuple[Mistake, ...]
    """Everything that is wrong, in order of the tune."""
    score: int
    """Points, 0 to ``full``."""
    full: int
    """Points of an answer without a mistake."""
    octaves: int
    """Octaves the whole answer was moved up before marking."""
    lengths: bool
    """Whether lengths were marked."""
    respelled: tuple[str, ...]
    """Right sounds written by other letters: ``bar 1, note 3: b5 written for #4``."""

    @cached_property
    def counts(self) -> dict[str, int]:
        """How many mistakes of each kind, all kinds named."""
        found = Counter(mistake.kind for mistake in self.mistakes)
        return {kind: found[kind] for kind in KINDS}


def mark(
    expected: Melody, answer: Melody, *, points: Points | None = None, lengths: bool = True
) -> Marking:
    """Mark an answer against the tune.

    >>> from fretpath.music.notation import parse_melody
    >>> marking = mark(parse_melody("1 3 5 8"), parse_melody("1 b3 5 8"))
    >>> [str(mistake) for mistake in marking.mistakes], marking.score, marking.full
    (['note 2: 3 was taken for b3'], 13, 16)

    *lengths* False leaves lengths out.  Both melodies need a key, and may be in different ones;
    :class:`RequestError` otherwise.
    """
    check_tune(expected, expected.title or "the tune")
    check_tune(answer, answer.title or "the answer")
    scheme = points or Points()
    tune = _sounds(expected)
    found = [
        _Marked(expected, scheme, lengths, tune, _sounds(answer, octaves), octaves, pairs)
        for octaves in _OCTAVES
        for pairs in _alignments(tune, _sounds(answer, octaves), lengths)
    ]
    here = min((one for one in found if one.octaves == 0), key=_loss)
    moved = min((one for one in found if one.octaves != 0), key=_loss)
    settled = moved if len(moved.mistakes) + 2 <= len(here.mistakes) else here
    return settled.marking


def _loss(marked: _Marked) -> tuple[int, int]:
    return marked.lost, len(marked.mistakes)


def _sounds(melody: Melody, octaves: int = 0) -> list[Sound]:
    pairs = zip(melody.degrees, melody.lengths, strict=True)
    return [Sound(degree, length, octaves) for degree, length in pairs if degree]


Pairs = Sequence[tuple[int | None, int | None]]


def _alignments(tune: list[Sound], answer: list[Sound], lengths: bool) -> Iterator[Pairs]:
    """Pairs (note of the tune, note of the answer), one of them None where a note has no fellow."""
    from rapidfuzz.distance import Levenshtein

    for kept in (3, 2, 1) if lengths else (2, 1):
        codes = Levenshtein.opcodes(
            [sound.view[:kept] for sound in tune], [sound.view[:kept] for sound in answer]
        )
        pairs: list[tuple[int | None, int | None]] = []
        for code in codes:
            mine, theirs = (
                range(code.src_start, code.src_end),
                range(code.dest_start, code.dest_end),
            )
            if code.tag == "delete":
                pairs.extend((i, None) for i in mine)
            elif code.tag == "insert":
                pairs.extend((None, j) for j in theirs)
            else:
                pairs.extend(zip(mine, theirs, strict=True))
        yield pairs


@dataclass(frozen=True)
class _Marked:
    """One alignment, judged."""

    melody: Melody
    points: Points
    lengths: bool
    tune: list[Sound]
    answer: list[Sound]
    octaves: int
    pairs: Pairs

    @cached_property
    def mistakes(self) -> tuple[Mistake, ...]:
        return tuple(mistake for pair in self.pairs for mistake in self._judged(*pair))

    @cached_property
    def lost(self) -> int:
        """Points taken off, before stopping at 0."""
        points = self.points
        whole = points.degree + points.octave + points.length * self.lengths
        worth = {
            "wrong degree": points.degree + points.octave,
            "wrong octave": points.octave,
            "missed": whole,
            "added": points.added,
            "wrong length": points.length,
        }
        return sum(worth[mistake.kind] for mistake in self.mistakes)

    @property
    def marking(self) -> Marking:
        points = self.points
        full = (points.degree + points.octave + points.length * self.lengths) * len(self.tune)
        return Marking(
            mistakes=self.mistakes,
            score=max(0, full - self.lost),
            full=full,
            octaves=self.octaves,
            lengths=self.lengths,
            respelled=tuple(self._respelled()),
        )

    def _judged(self, mine: int | None, theirs: int | None) -> Iterator[Mistake]:
        if theirs is None:
            assert mine is not None
            yield Mistake("missed", self._place(mine), str(self.tune[mine].degree), "")
        elif mine is None:
            yield Mistake("added", self._gap(theirs), "", str(self.answer[theirs].degree))
        else:
            yield from self._compared(self._place(mine), self.tune[mine], self.answer[theirs])

    def _compared(self, place: str, ours: Sound, theirs: Sound) -> Iterator[Mistake]:
        if ours.view[0] != theirs.view[0]:
            yield Mistake("wrong degree", place, str(ours.degree), str(theirs.degree))
        elif ours.view[1] != theirs.view[1]:
            yield Mistake("wrong octave", place, str(ours.degree), str(theirs.degree))
        if self.lengths and ours.length != theirs.length:
            yield Mistake("wrong length", place, str(ours.length), str(theirs.length))

    def _respelled(self) -> Iterator[str]:
        for mine, theirs in self.pairs:
            if mine is None or theirs is None:
                continue
            ours, written = self.tune[mine], self.answer[theirs]
            if ours.height == written.height and ours.degree.plain != written.degree.plain:
                yield f"{self._place(mine)}: {written.degree.plain} written for {ours.degree.plain}"

    def _place(self, note: int) -> str:
        return self.melody.place_of(self.melody.struck[note])

    def _gap(self, theirs: int) -> str:
        before = self._before[theirs]
        return "before the first note" if before is None else f"after {self._place(before)}"

    @cached_property
    def _before(self) -> dict[int, int | None]:
        """For each note of the answer, the last note of the tune in front of it."""
        last: int | None = None
        before: dict[int, int | None] = {}
        for mine, theirs in self.pairs:
            if theirs is not None:
                before[theirs] = last
            last = last if mine is None else mine
        return before


# -- many answers ----------------------------------------------------------------------------------


def confusions(markings: Iterable[Marking]) -> Counter[tuple[str, str]]:
    """How often each degree (first) was taken for which (second), octaves left out."""
    return Counter(
        (Degree.parse(mistake.expected).plain, Degree.parse(mistake.answered).plain)
        for marking in markings
        for mistake in marking.mistakes
        if mistake.kind == "wrong degree"
    )


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


# -- page ----------------------------------------------------------------------------------------

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
    """Each answer with its mistakes; for several, the confusions of all and the next tunes.

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
    if not marking.mistakes:
        yield "     every note is right"
    for mistake in marking.mistakes:
        yield from wrapped(str(mistake))
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
