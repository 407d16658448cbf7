"""The rhythm of a text tab: from its count, from letters above it, or from its spacing.

**Count.**  A row of beats (``1 & 2 &``, ``1 e & a``) tells the time of its columns; a column
between two counts lies between their times.  A row a column beside all its notes is read as if over
them, a 1 where no bar line is drawn begins a bar, and in a system without a count every note is a
beat.  On our own page every count stands over its event,
so lengths are exact, and the first row of words shows rests (``r``) and held notes (``-``).

**Letters** ``w h q e s t`` (whole to thirty-second, a dot behind adds a half; common practice)
stand over their notes.

**Spacing** is trusted only when asked: a bar is as long as its meter, a column a share of it.

Each way gives every event its time; one place makes lengths of times.  Times are in beats of the
meter, from the first event.  A note lasts until the next event: what is a rest in a text tab
cannot be told from a note that rings on, and bar lines cut it in two tied.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate, groupby, pairwise
from typing import Literal

from fretpath.music.melody import Meter
from fretpath.page.tab_lines import TabSystem, WordLine
from fretpath.remarks import Remark

Kind = Literal["note", "rest", "hold"]
Words = Sequence[tuple[int, str]]
"""The words of a row with their columns."""


@dataclass(frozen=True, slots=True)
class TabEvent:
    """Something that begins: a moment of the tab, a rest or a held note of our own tab."""

    place: tuple[int, int]
    """System, and bar lines passed in it."""
    column: int
    """Column at which it stands."""
    kind: Kind
    """The notes among all events are the moments of the tab in order."""
    bar: bool
    """Whether a bar line stands before it."""
    beats: Fraction = Fraction(0)
    """How long it lasts."""


@dataclass(frozen=True, slots=True)
class Rhythm:
    """The events of a tab and their lengths."""

    events: tuple[TabEvent, ...]
    """In time, cut in two where a bar line falls inside."""
    source: str
    """``count``, ``letters``, ``spacing``, or ``""`` where every event is one beat."""
    remarks: tuple[Remark, ...] = ()
    """What was rounded or guessed."""
    rows: tuple[WordLine | None, ...] = ()
    """The row of each system that was read for it."""


def rhythm_of(
    systems: Sequence[TabSystem],
    meters: Sequence[Meter | None],
    *,
    own: bool = False,
    spacing: bool = False,
) -> Rhythm:
    """The rhythm of systems in the meters in force; *spacing* to trust their columns.

    *own* for a page that ``tab`` printed.
    """
    tab = _Untimed(systems, meters, own, list(_events(systems, own=own)))
    if spacing:
        return _by_spacing(tab)
    counts = [_count_row(system, own=own) for system in systems]
    if any(counts):
        return _by_count(tab, counts)
    letters = [_letter_row(system) for system in systems]
    if all(letters):
        return _by_letters(tab, letters)
    doubt = Remark("doubt", "letters above some systems and not above others: no lengths read")
    return _beat_each(tab, (doubt,) if any(letters) else ())


# -- events and their columns --------------------------------------------------------------------

_OTHER_ROWS = ("count", "bar", "position", "lyric", "chord")
_SIGNS: dict[str, Kind] = {"r": "rest", "-": "hold"}


def _events(systems: Sequence[TabSystem], *, own: bool) -> Iterator[TabEvent]:
    """The events of all systems in order of their columns."""
    going_on = _going_on(systems) if own else [False] * len(systems)
    for number, (system, goes_on) in enumerate(zip(systems, going_on, strict=True)):
        rows = [row for row in system.below if own and row.label not in _OTHER_ROWS]
        signs = {at: _SIGNS[word] for row in rows for at, word in row.words if word in _SIGNS}
        kinds: dict[int, Kind] = signs | dict.fromkeys(system.columns, "note")
        before = 0 if goes_on or not number else -1
        for column in sorted(kinds):
            passed = bisect_left(system.bars, column)
            yield TabEvent((number, passed), column, kinds[column], passed != before)
            before = passed


def _going_on(systems: Sequence[TabSystem]) -> list[bool]:
    """Whether each system of our own page goes on in the bar of the one before it.

    A heading tells it; a melody without bar lines has no double line at its end.
    """
    closed = systems[-1].lines[0].body.endswith(("||", ":|"))
    if not closed and not any(row.label == "bar" for system in systems for row in system.rows):
        return [True] * len(systems)
    return [any(row.text.endswith(", continued") for row in system.above) for system in systems]


@dataclass(frozen=True, slots=True)
class _Untimed:
    """A tab before its rhythm is known."""

    systems: Sequence[TabSystem]
    meters: Sequence[Meter | None]
    """The meter in force in each system."""
    own: bool
    events: Sequence[TabEvent]

    def rhythm(
        self,
        source: str,
        times: Sequence[Fraction],
        end: Fraction,
        bars: Sequence[Fraction] | None = None,
        remarks: Sequence[Remark] = (),
        rows: Sequence[WordLine | None] = (),
    ) -> Rhythm:
        """The events at these times; *bars* are the times of bar lines if not those of events.

        Where the first event comes later than the music a rest stands before it.
        """
        events = list(zip(times, self.events, strict=True))
        if bars is None:
            bars = [time for time, event in events if event.bar]
        if times[0] > 0:
            events.insert(0, (Fraction(0), TabEvent((0, 0), 0, "rest", bar=False)))
        return Rhythm(tuple(_in_lengths(events, bars, end)), source, tuple(remarks), tuple(rows))


def _in_lengths(
    events: Sequence[tuple[Fraction, TabEvent]], bars: Sequence[Fraction], end: Fraction
) -> Iterator[TabEvent]:
    """Events with their lengths, cut in two where a bar line falls inside."""
    cuts = {time for time in bars if 0 < time < end}
    marks = sorted(cuts)
    ends = [time for time, _ in events[1:]] + [end]
    for (start, event), stop in zip(events, ends, strict=True):
        system, passed = event.place
        inside = marks[bisect_right(marks, start) : bisect_left(marks, stop)]
        for piece, (since, until) in enumerate(pairwise([start, *inside, stop])):
            kind = "hold" if piece and event.kind == "note" else event.kind
            place = (system, passed + piece)
            yield TabEvent(place, event.column, kind, since in cuts, until - since)


def _beat_each(
    tab: _Untimed, remarks: Sequence[Remark] = (), rows: Sequence[WordLine | None] = ()
) -> Rhythm:
    times = list(map(Fraction, range(len(tab.events))))
    return tab.rhythm("", times, Fraction(len(times)), remarks=remarks, rows=rows)


# -- the count -----------------------------------------------------------------------------------

_PARTS = {"&": Fraction(1, 2), "e": Fraction(1, 4), "a": Fraction(3, 4)}
_PARTS |= {"t": Fraction(1, 3), "l": Fraction(2, 3)}
_SPOKEN = {"+": "&", "and": "&", "n": "&", "u": "&", "trip": "t", "let": "l", "la": "t", "li": "l"}
_THIRDS = {"&": Fraction(1, 3), "a": Fraction(2, 3)}
_HALFWAY = ".."
_NOTE = "note"
"""Stands for each note of a system without a count: a beat each."""
_Row = tuple[WordLine, Words]
"""A row that was read, and its words in plain signs."""
_Clock = Sequence[tuple[int, Fraction]]
"""The columns of a count in one system and their times, both rising."""


def _count_row(system: TabSystem, *, own: bool) -> _Row | None:
    for row in system.rows:
        words = [(at, _bare(word)) for at, word in row.words]
        if own and row.label == "count":
            return row, words[1:]
        if not own and (count := _count_in(words)):
            slip = _slip(count, system.columns)
            return row, [(at + slip, word) for at, word in count]
    return None


def _slip(count: Words, columns: Sequence[int]) -> int:
    """1 or -1 for a count that stands beside its notes by that column, all of them; else 0.

    Where it may have slipped either way, its first count is that of the first note.
    """
    counted, notes = [at for at, _ in count], set(columns)
    if not notes or not notes.isdisjoint(counted):
        return 0
    ways = [way for way in (1, -1) if notes <= {at + way for at in counted}]
    return min(ways, key=lambda way: counted[0] + way != columns[0], default=0)


def counted_bars(system: TabSystem) -> list[int]:
    """Columns of the bars that a count begins, at 1 again, where no bar line is drawn."""
    row = _count_row(system, own=False)
    return [
        max(before + 1, at - 2)
        for (before, _), (at, word) in pairwise(row[1] if row else ())
        if word == "1" and not any(before <= bar <= at + 1 for bar in system.bars)
    ]


def _bare(word: str) -> str:
    word = word.strip("()[]").lower()
    return _SPOKEN.get(word, word)


def _is_number(word: str) -> bool:
    return word.isdecimal() and len(word) < 3


def _count_in(words: Words) -> Words:
    """The words of a row if they are a count; none if they are not."""
    named = bool(words) and words[0][1].strip(":.") in ("count", "counts", "beat", "beats")
    found = [(at, word) for at, word in words[named:] if word]
    numbers = [int(word) for _, word in found if _is_number(word)]
    strange = any(word not in _PARTS and not _is_number(word) for _, word in found)
    if strange or len(numbers) < 2:
        return ()
    rising = all(after in (before + 1, 1) for before, after in pairwise(numbers))
    skipping = len(numbers) < len(found) and all(a > b or a == 1 for b, a in pairwise(numbers))
    return found if named or (rising and max(numbers) > 1) or skipping else ()


def _by_count(tab: _Untimed, rows: Sequence[_Row | None]) -> Rhythm:
    clocks, end, remarks = _clocks(tab, rows)
    remarks += [] if tab.own else _slipped(rows)
    read = [row and row[0] for row in rows]
    times: list[Fraction] = []
    rounded = 0
    for event in tab.events:
        time, exact = _time_at(clocks[event.place[0]], event.column)
        rounded += not exact
        times.append(time)
    if rounded:
        told = f"{rounded} notes stand between counts; their times are rounded to the column"
        remarks.append(Remark("rounded", told))
    if any(after <= before for before, after in pairwise(times)):
        doubt = Remark("doubt", "the count does not run through the notes: no lengths read")
        return _beat_each(tab, [doubt], read)
    end = max(end, times[-1] + Fraction(1, 4))
    bars = None if tab.own else list(_counted_bars(tab.systems, clocks))
    rhythm = tab.rhythm("count", times, end, bars, remarks, read)
    if not tab.own or _fills_bar(rhythm.events, tab.meters[-1]):
        return rhythm
    text = "the last note of a bar that no meter fills is taken to last to the next beat"
    return replace(rhythm, remarks=(*remarks, Remark("guessed", text)))


def _slipped(rows: Sequence[_Row | None]) -> Iterator[Remark]:
    """Remarks on counts that stand a column beside their notes."""
    for row in rows:
        if row and row[1][0][0] not in dict(row[0].words):
            text = "the count stands a column beside all its notes: read as if over them"
            yield Remark("read", text, f"line {row[0].number}")


def _fills_bar(events: Sequence[TabEvent], meter: Meter | None) -> bool:
    """Whether the last bar is behind a bar line and as long as its meter."""
    start = max((n for n, event in enumerate(events) if event.bar), default=None)
    return bool(start and meter and sum(e.beats for e in events[start:]) == meter.beats)


def _counted_bars(systems: Sequence[TabSystem], clocks: Sequence[_Clock]) -> Iterator[Fraction]:
    """When the bars begin: with each system, and at the first count behind each bar line."""
    for system, clock in zip(systems, clocks, strict=True):
        for bar in (0, *system.bars):
            behind = bisect_left(clock, bar, key=_column)
            yield from (time for _, time in clock[behind : behind + 1])


def _column(count: tuple[int, object]) -> int:
    return count[0]


def _time_at(clock: _Clock, column: int) -> tuple[Fraction, bool]:
    """The time of a column, and whether a count stands there."""
    behind = bisect_right(clock, column, key=_column)
    near = clock[max(behind - 1, 0) : behind + 1]
    for at, time in near:
        if abs(at - column) <= 1:
            return time, True
    if len(near) == 1:
        return (_simple(near[0][1] + Fraction(1, 2)) if behind else near[0][1]), False
    (left, early), (right, late) = near
    return _simple(early + (late - early) * Fraction(column - left, right - left)), False


def _simple(time: Fraction) -> Fraction:
    """The nearest time in halves, thirds or quarters of a beat; the simplest of near ones."""
    tries = [Fraction(round(time * parts), parts) for parts in (1, 2, 4, 3)]
    return min(tries, key=lambda near: (round(abs(near - time) * 12), near.denominator))


@dataclass(slots=True)
class _Count:
    """One count on its way to a time: its beat from the start, and its part of the beat."""

    system: int
    column: int
    beat: int
    part: Fraction | None


def _clocks(
    tab: _Untimed, rows: Sequence[_Row | None]
) -> tuple[list[_Clock], Fraction, list[Remark]]:
    """The times of counts that run on over all systems, the beat behind the last, and doubts."""
    counts, wound = _beats(tab, rows)
    unknown = any(count.part is None for count in counts)
    _even_out(counts)
    times = [count.beat + (count.part or Fraction(0)) for count in counts]
    clocks: list[list[tuple[int, Fraction]]] = [[] for _ in rows]
    for count, time in zip(counts, times, strict=True):
        clocks[count.system].append((count.column, time - times[0]))
    remarks = []
    if unknown or wound:
        text = "the count has parts of a beat it cannot name, or leaves some out: lengths guessed"
        remarks.append(Remark("guessed", text))
    if lacking := sum(row is None for row in rows):
        text = f"{lacking} of {len(rows)} systems have no count: a beat a note there"
        remarks.append(Remark("doubt", text))
    return (
        list(map(tuple, clocks)),
        counts[-1].beat + 1 - times[0] if counts else Fraction(0),
        remarks,
    )


def _beats(tab: _Untimed, rows: Sequence[_Row | None]) -> tuple[list[_Count], bool]:
    """Every count with its beat, and whether a count left out might have wound on."""
    said = [word for row in rows if row for _, word in row[1]]
    names = _PARTS | _THIRDS if _counts_thirds(said) else _PARTS
    highest = max((int(word) for word in said if _is_number(word)), default=4)
    found: list[_Count] = []
    beat, number, wound = -1, 0, False
    reached = Fraction(-1)
    for at, (row, meter) in enumerate(zip(rows, tab.meters, strict=True)):
        top = meter.beats if meter else 0 if tab.own else highest
        for column, word in row[1] if row else _beat_a_note(tab, at):
            if word == _HALFWAY:
                wound |= top > 0 and not tab.systems[at].bars
                continue
            part = Fraction(0) if word == _NOTE or _is_number(word) else names.get(word)
            if part == 0:
                named = 1 if word == _NOTE else int(word)
                beat += _ahead(named, number, top) if number else 1
                number = 0 if word == _NOTE else named
            elif part is not None:
                beat += part <= reached
            reached = Fraction(1) if word == _NOTE else reached if part is None else part
            found.append(_Count(at, column, beat, part))
    return found, wound


def _beat_a_note(tab: _Untimed, system: int) -> Words:
    return [(event.column, _NOTE) for event in tab.events if event.place[0] == system]


def _ahead(number: int, before: int, top: int) -> int:
    """Beats from one number of a count to the next, which may begin again behind the top."""
    ahead = number - before
    return ahead if ahead > 0 else max(1, ahead + top)


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


def _counts_thirds(said: Sequence[str]) -> bool:
    """Whether a count says ``1 & a 2 & a`` throughout, as triplets are counted."""
    words = " ".join("#" if _is_number(word) else word for word in said)
    return re.fullmatch(r"# & a(?: # & a)+(?: #)?", words) is not None


# -- letters -------------------------------------------------------------------------------------

_LETTERS = {name: Fraction(4, 2**power) for power, name in enumerate("whqest")}
_LETTER = re.compile(r"([whqest])(\.?)", re.IGNORECASE)


def _letter_row(system: TabSystem) -> tuple[WordLine, list[Fraction]] | None:
    """The row of length letters at a system, one for each moment at its column; in quarters."""
    for row in system.rows:
        found = [_LETTER.fullmatch(word) for _, word in row.words]
        lengths = [
            _LETTERS[one[1].lower()] * Fraction(3 if one[2] else 2, 2) for one in found if one
        ]
        if len(lengths) == len(found) == len(system.columns) and all(
            abs(at - moment) <= 1 for (at, _), moment in zip(row.words, system.columns, strict=True)
        ):
            return row, lengths
    return None


def _by_letters(tab: _Untimed, rows: Sequence[tuple[WordLine, list[Fraction]] | None]) -> Rhythm:
    meter = tab.meters[0]
    unit = Fraction(meter.unit if meter else 4, 4)
    lengths = [length * unit for row in rows if row for length in row[1]]
    *times, end = accumulate(lengths, initial=Fraction(0))
    return tab.rhythm("letters", times, end, rows=[row and row[0] for row in rows])


# -- spacing -------------------------------------------------------------------------------------


def _by_spacing(tab: _Untimed) -> Rhythm:
    meter = tab.meters[0]
    remarks = [Remark("rounded", "lengths from the spacing, to quarters of a beat")]
    if meter is None:
        remarks.append(Remark("guessed", "no meter is given: 4/4"))
    beats = meter.beats if meter else 4
    places = groupby(tab.events, key=lambda event: event.place)
    columns = {place: [event.column for event in run] for place, run in places}
    times: list[Fraction] = []
    bars: list[Fraction] = []
    start = least = Fraction(0)
    for number, system in enumerate(tab.systems):
        edges = [system.span[0], *system.bars, system.span[1]]
        for passed, (left, right) in enumerate(pairwise(edges)):
            inside = columns.get((number, passed), [])
            first = min([left + 2, *inside])
            bars.append(start)
            for column in inside:
                share = Fraction(column - first, max(1, right - first)) * beats
                times.append(max(start + Fraction(round(share * 4), 4), least))
                least = times[-1] + Fraction(1, 4)
            start = max(start + beats, least)
    return tab.rhythm("spacing", times, start, bars, remarks)
