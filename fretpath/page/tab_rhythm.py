"""The rhythm of a text tab: from its count, from letters above it, or from its spacing.

**Count.**  A row of beats (``1 & 2 &``, ``1 e & a``) tells the time of its columns; a column
between two counts lies between their times.  On our own page every count stands over its event,
so lengths are exact, and the first row of words shows rests (``r``) and held notes (``-``).

**Letters** ``w h q e s t`` (whole to thirty-second, a dot behind adds a half; common practice)
stand over their notes.

**Spacing** is trusted only when asked: a bar is as long as its meter, a column a share of it.

Times are in beats of the meter, from the first event.  A note lasts until the next event: what is
a rest in a text tab cannot be told from a note that rings on, and bar lines cut it in two tied.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import groupby, pairwise

from fretpath.music.melody import Meter
from fretpath.page.tab_lines import WordLine
from fretpath.remarks import Remark

Kind = str
"""``note``, ``rest`` or ``hold``."""


@dataclass(frozen=True, slots=True)
class TabSystem:
    """The columns of a system, which its rows share."""

    moments: tuple[int, ...]
    """Columns at which notes stand, rising, from 0."""
    bars: tuple[int, ...]
    """Columns of the bar lines inside it."""
    span: tuple[int, int]
    """Columns of the first and the last sign of the strings."""
    above: tuple[WordLine, ...]
    """Rows that touch it from above."""
    below: tuple[WordLine, ...]
    """Rows that touch it from below."""
    goes_on: bool = False
    """Whether it goes on in the bar of the system before it."""
    meter: Meter | None = None
    """The meter in force."""
    own: bool = False
    """Whether ``tab`` printed it."""


@dataclass(frozen=True, slots=True)
class TabEvent:
    """Something that begins: a moment of the tab, a rest or a held note of our own page."""

    time: Fraction
    """When, in beats."""
    kind: Kind
    """``note``, ``rest`` or ``hold``."""
    system: int
    """In which system, from 0."""
    bar: bool
    """Whether a bar line stands before it."""
    passed: int = 0
    """Bar lines passed in its system."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """When everything begins."""

    events: tuple[TabEvent, ...]
    """In time; the notes among them are the moments of the tab in order."""
    bars: tuple[Fraction, ...]
    """Times of the bar lines, rising; they need not fall on an event."""
    end: Fraction
    """When the last event ends."""
    source: str
    """``count``, ``letters``, ``spacing``, or ``""`` where every event is one beat."""
    remarks: tuple[Remark, ...] = ()
    """What was rounded or guessed."""
    rows: tuple[int, ...] = ()
    """Lines of the text that were read."""


def rhythm_of(
    systems: Sequence[TabSystem], meter: Meter | None, *, spacing: bool = False
) -> Rhythm:
    """The rhythm of a tab in a meter; *spacing* to trust its columns."""
    frames = [_frame(system) for system in systems]
    if spacing:
        return _by_spacing(systems, frames, meter)
    counts = [_count_row(system) for system in systems]
    if any(counts):
        return _by_count(systems, frames, counts, own=systems[0].own)
    letters = [_letter_row(system) for system in systems]
    if systems and all(letters):
        return _by_letters(frames, letters, meter)
    return _beat_each(frames, letters)


# -- events and their columns --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Place:
    """An event before its time is known."""

    column: int
    kind: Kind
    bar: bool
    passed: int


_OTHER_ROWS = ("count", "bar", "position", "lyric", "chord")


def _frame(system: TabSystem) -> list[_Place]:
    """The events of a system in order of their columns."""
    kinds = dict.fromkeys(system.moments, "note")
    if system.own:
        for row in system.below:
            label, words = _labeled(row.text)
            if label not in _OTHER_ROWS:
                signs = {"r": "rest", "-": "hold"}
                kinds |= {
                    at: signs[word] for at, word in words if word in signs and at not in kinds
                }
    columns = sorted(kinds)
    passed = [bisect_left(system.bars, column) for column in columns]
    starts = [0 if system.goes_on else -1, *passed]
    return [
        _Place(column, kinds[column], before != now, now)
        for column, before, now in zip(columns, starts, passed, strict=False)
    ]


def _labeled(row: str) -> tuple[str, list[tuple[int, str]]]:
    """The word in front of a row of our own page, and its other words with their columns."""
    words = [(match.start(), match[0]) for match in re.finditer(r"\S+", row)]
    return (words[0][1], words[1:]) if words and words[0][0] == 0 else ("", words)


def _beat_each(frames: Sequence[Sequence[_Place]], letters: Sequence[object]) -> Rhythm:
    events: list[TabEvent] = []
    bars: list[Fraction] = []
    for number, frame in enumerate(frames):
        for place in frame:
            time = Fraction(len(events))
            bar = place.bar and bool(events)
            bars += [time] * bar
            events.append(TabEvent(time, place.kind, number, bar, place.passed))
    remarks: tuple[Remark, ...] = ()
    if any(letters):
        text = "letters above some systems and not above others: no lengths read"
        remarks = (Remark("doubt", text),)
    return Rhythm(tuple(events), tuple(bars), Fraction(len(events)), "", remarks)


# -- the count -----------------------------------------------------------------------------------

_PARTS = {"&": Fraction(1, 2), "e": Fraction(1, 4), "a": Fraction(3, 4)}
_PARTS |= {"t": Fraction(1, 3), "l": Fraction(2, 3)}
_SPOKEN = {"+": "&", "and": "&", "n": "&", "u": "&", "trip": "t", "let": "l", "la": "t", "li": "l"}
_THIRDS = {"&": Fraction(1, 3), "a": Fraction(2, 3)}
_HALFWAY = ".."
_Row = list[tuple[int, str]]


def _count_row(system: TabSystem) -> tuple[int, _Row] | None:
    for row in (*system.above[::-1], *system.below):
        label, words = _labeled(row.text)
        if system.own:
            if label == "count":
                return row.number, [(at, _bare(word)) for at, word in words]
        elif found := _counts(row.text):
            return row.number, found
    return None


def _bare(word: str) -> str:
    word = word.strip("()[]").lower()
    return _SPOKEN.get(word, word)


def _counts(text: str) -> _Row | None:
    """The words of a row with their columns if they are a count, bar lines left out."""
    words = [(m.start(), m[0]) for m in re.finditer(r"[^\s|]+", text)]
    named = bool(words) and words[0][1].lower().strip(":.") in ("count", "counts", "beat", "beats")
    found = [(at, _bare(word)) for at, word in words[named:]]
    found = [(at, word) for at, word in found if word]
    numbers = [int(word) for _, word in found if word.isdigit() and len(word) < 3]
    strange = any(word not in _PARTS and not word.isdigit() for _, word in found)
    if strange or len(numbers) < 2:
        return None
    if named:
        return found
    rising = all(after == before + 1 or after == 1 for before, after in pairwise(numbers))
    skipping = len(numbers) < len(found) and all(a > b or a == 1 for b, a in pairwise(numbers))
    return found if (rising and max(numbers) > 1) or skipping else None


def _by_count(
    systems: Sequence[TabSystem],
    frames: Sequence[Sequence[_Place]],
    counts: Sequence[tuple[int, _Row] | None],
    *,
    own: bool,
) -> Rhythm:
    clock = _clock(systems, counts)
    events: list[TabEvent] = []
    bars: list[Fraction] = []
    rounded = 0
    for number, (system, frame) in enumerate(zip(systems, frames, strict=True)):
        row = clock.times[number]
        bars += _bar_times(system, frame, row, own)
        for place in frame:
            if row:
                time, exact = _time_at(row, place.column)
                rounded += not exact
            else:
                time = clock.ends[number] if not events else events[-1].time + 1
            bar = place.bar and bool(events)
            events.append(TabEvent(time, place.kind, number, bar, place.passed))
    remarks = list(clock.remarks)
    rows = tuple(row[0] for row in counts if row)
    if rounded:
        told = f"{rounded} notes stand between counts; their times are rounded to the column"
        remarks.append(Remark("rounded", told))
    if any(after.time <= before.time for before, after in pairwise(events)):
        doubt = "the count does not run through the notes: no lengths read"
        plain = _beat_each(frames, ())
        return replace(plain, remarks=(Remark("doubt", doubt),), rows=rows)
    last = max(clock.ends[-1], events[-1].time + Fraction(1, 4))
    if not own and events[0].time > 0:
        events.insert(0, TabEvent(Fraction(0), "rest", 0, False))
    times = sorted({time for time in bars if events[0].time < time < last})
    if own and not (times and _is_full(systems[-1].meter, last - times[-1])):
        text = "the last note of a bar that no meter fills is taken to last to the next beat"
        remarks.append(Remark("guessed", text))
    return Rhythm(tuple(events), tuple(times), last, "count", tuple(remarks), rows)


def _is_full(meter: Meter | None, beats: Fraction) -> bool:
    return meter is not None and beats == meter.beats


def _bar_times(
    system: TabSystem, frame: Sequence[_Place], row: Sequence[tuple[int, Fraction]], own: bool
) -> Iterator[Fraction]:
    """When the bar lines of a system fall: at the first count (on our page: event) behind each."""
    columns = [at for at, _ in row]
    if own:
        for place in frame:
            if place.bar and row:
                yield _time_at(row, place.column)[0]
        return
    starts = [*system.bars] if system.goes_on else [system.span[0], *system.bars]
    for bar in starts:
        behind = bisect_right(columns, bar - 1)
        if behind < len(row):
            yield row[behind][1]


def _time_at(row: Sequence[tuple[int, Fraction]], column: int) -> tuple[Fraction, bool]:
    """The time of a column, and whether a count stands there."""
    at = min(row, key=lambda pair: abs(pair[0] - column))
    if abs(at[0] - column) <= 1:
        return at[1], True
    behind = bisect_right([place for place, _ in row], column)
    if behind == 0:
        return row[0][1], False
    (left, early), (right, late) = row[behind - 1], row[min(behind, len(row) - 1)]
    if right == left:
        return _simple(early + Fraction(1, 2)), False
    return _simple(early + (late - early) * Fraction(column - left, right - left)), False


def _simple(time: Fraction) -> Fraction:
    """The nearest time in halves, thirds or quarters of a beat; the simplest of near ones."""
    tries = [Fraction(round(time * parts), parts) for parts in (1, 2, 4, 3)]
    return min(tries, key=lambda near: (round(abs(near - time) * 12), near.denominator))


@dataclass(frozen=True, slots=True)
class _Clock:
    """Times of the counts, system by system."""

    times: tuple[tuple[tuple[int, Fraction], ...], ...]
    """(column, time) of the counts of each system."""
    ends: tuple[Fraction, ...]
    """The beat after the last count of each system."""
    remarks: tuple[Remark, ...]
    """What the count leaves open."""


@dataclass(slots=True)
class _Count:
    """One count on its way to a time: its beat from the start, and its part of the beat."""

    system: int
    column: int
    beat: int
    part: Fraction | None


def _clock(systems: Sequence[TabSystem], counts: Sequence[tuple[int, _Row] | None]) -> _Clock:
    """The times of counts that run on over all systems."""
    found, wound = _beats(systems, counts)
    unknown = sum(count.part is None for count in found)
    _even_out(found)
    first = found[0].beat + (found[0].part or Fraction(0)) if found else Fraction(0)
    times: list[list[tuple[int, Fraction]]] = [[] for _ in systems]
    last = [0] * len(systems)
    for count in found:
        time = count.beat + (count.part or Fraction(0)) - first
        times[count.system].append((count.column, time))
        last[count.system :] = [count.beat + 1] * (len(systems) - count.system)
    remarks = []
    if unknown or wound:
        text = "the count has parts of a beat it cannot name, or leaves some out: lengths guessed"
        remarks.append(Remark("guessed", text))
    if lacking := sum(row is None for row in counts):
        text = f"{lacking} of {len(systems)} systems have no count: a beat a note there"
        remarks.append(Remark("doubt", text))
    ends = tuple(end - first for end in last)
    return _Clock(tuple(map(tuple, times)), ends, tuple(remarks))


def _beats(
    systems: Sequence[TabSystem], counts: Sequence[tuple[int, _Row] | None]
) -> tuple[list[_Count], int]:
    """Every count with its beat, and how often a count left out might have wound on."""
    names: dict[str, Fraction] = _PARTS | _THIRDS if _counts_thirds(counts) else _PARTS
    highest = max((int(w) for row in counts if row for _, w in row[1] if w.isdigit()), default=4)
    found: list[_Count] = []
    beat, said, wound = 0, 0, 0
    reached: Fraction = Fraction(-1)
    part: Fraction | None
    for number, (system, row) in enumerate(zip(systems, counts, strict=True)):
        top = system.meter.beats if system.meter else 0 if system.own else highest
        for column, word in row[1] if row else ():
            if word == _HALFWAY:
                wound += top > 0 and not system.bars
                continue
            if word.isdigit():
                ahead = int(word) - said
                ahead = max(1, ahead + top if top else 1) if ahead <= 0 else ahead
                beat += ahead if said else int(bool(found))
                said, part = int(word), Fraction(0)
            else:
                part = names.get(word)
                beat += part is not None and part <= reached
            reached = reached if part is None else part
            found.append(_Count(number, column, beat, part))
    return found, wound


def _even_out(counts: Sequence[_Count]) -> None:
    """Give counts without a name even shares between their neighbors in the same beat."""
    for _, group in groupby(counts, key=lambda count: count.beat):
        beat = list(group)
        for nameless, run in groupby(enumerate(beat), key=lambda pair: pair[1].part is None):
            places = [at for at, _ in run]
            if nameless:
                low = (beat[places[0] - 1].part if places[0] else None) or Fraction(0)
                after = beat[places[-1] + 1].part if places[-1] + 1 < len(beat) else None
                share = ((after or Fraction(1)) - low) / (len(places) + 1)
                for step, at in enumerate(places, start=1):
                    beat[at].part = low + share * step


def _counts_thirds(counts: Sequence[tuple[int, _Row] | None]) -> bool:
    """Whether the row says ``1 & a 2 & a`` throughout, as triplets are counted."""
    words = " ".join(
        word if not word.isdigit() else "#" for row in counts if row for _, word in row[1]
    )
    return re.fullmatch(r"# & a(?: # & a)+(?: #)?", words) is not None


# -- letters -------------------------------------------------------------------------------------

_LETTERS = {"w": 4, "h": 2, "q": 1}
_SHORT = {"e": 2, "s": 4, "t": 8}
_LETTER = re.compile(r"([whqestWHQEST])(\.?)")


def _letter_row(system: TabSystem) -> tuple[int, list[tuple[int, Fraction]]] | None:
    """The row of length letters above a system: one for each moment, at its column."""
    for row in (*system.above[::-1], *system.below):
        words = [(m.start(), m[0]) for m in re.finditer(r"[^\s|]+", row.text)]
        found = [(at, _LETTER.fullmatch(word)) for at, word in words]
        if not found or any(match is None for _, match in found):
            continue
        columns = [at for at, _ in found]
        if len(columns) == len(system.moments) and all(
            abs(at - moment) <= 1 for at, moment in zip(columns, system.moments, strict=True)
        ):
            return row.number, [(at, _quarters(m)) for at, m in found if m]
    return None


def _quarters(letter: re.Match[str]) -> Fraction:
    name = letter[1].lower()
    plain = Fraction(_LETTERS[name]) if name in _LETTERS else Fraction(1, _SHORT[name])
    return plain * Fraction(3, 2) if letter[2] else plain


def _by_letters(
    frames: Sequence[Sequence[_Place]],
    letters: Sequence[tuple[int, list[tuple[int, Fraction]]] | None],
    meter: Meter | None,
) -> Rhythm:
    unit = Fraction(meter.unit if meter else 4, 4)
    events: list[TabEvent] = []
    bars: list[Fraction] = []
    time = Fraction(0)
    for number, (frame, row) in enumerate(zip(frames, letters, strict=True)):
        for place, (_, length) in zip(frame, row[1] if row else [], strict=True):
            bar = place.bar and bool(events)
            bars += [time] * bar
            events.append(TabEvent(time, place.kind, number, bar, place.passed))
            time += length * unit
    rows = tuple(row[0] for row in letters if row)
    return Rhythm(tuple(events), tuple(bars), time, "letters", (), rows)


# -- spacing -------------------------------------------------------------------------------------


def _by_spacing(
    systems: Sequence[TabSystem], frames: Sequence[Sequence[_Place]], meter: Meter | None
) -> Rhythm:
    remarks = [Remark("rounded", "lengths from the spacing, to quarters of a beat")]
    if meter is None:
        remarks.append(Remark("guessed", "no meter is given: 4/4"))
    beats = meter.beats if meter else 4
    events: list[TabEvent] = []
    bars: list[Fraction] = []
    start = Fraction(0)
    for number, (system, frame) in enumerate(zip(systems, frames, strict=True)):
        edges = [system.span[0], *system.bars, system.span[1]]
        for passed, (left, right) in enumerate(pairwise(edges)):
            inside = [place for place in frame if place.passed == passed]
            first = min([left + 2, *(place.column for place in inside)])
            width = max(1, right - first)
            bars += [start] * (start > 0)
            for place in inside:
                share = Fraction(round(Fraction(place.column - first, width) * beats * 4), 4)
                least = events[-1].time + Fraction(1, 4) if events else Fraction(0)
                time = max(start + share, least)
                events.append(
                    TabEvent(time, place.kind, number, place.bar and bool(events), place.passed)
                )
            start = max(start + beats, events[-1].time + Fraction(1, 4) if events else start)
    if events and events[0].time > 0:
        events.insert(0, TabEvent(Fraction(0), "rest", 0, False))
    times = tuple(sorted({bar for bar in bars if 0 < bar < start}))
    return Rhythm(tuple(events), times, start, "spacing", tuple(remarks))
