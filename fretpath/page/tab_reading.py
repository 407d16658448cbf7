"""A plain-text tab read: our own pages and what people write, as notes and as a melody.

**The way.**  Text, lines and systems, words around them, strings of an instrument, numbers, rhythm,
melody.  Whatever was guessed, undone, rounded or left out comes as a remark beside the melody; a
tab whose notes have no sure order is refused.

**The melody** has one note a moment, the highest of a chord, and each keeps its place as the
teacher's will.  Where nothing tells lengths every note is one beat and the meter is left open.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise

from fretpath.errors import ScoreFileError
from fretpath.music.key import Key
from fretpath.music.melody import Melody, Meter
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import On, Setup
from fretpath.page.tab_lines import SystemLines, TabLines, WordLine, tab_lines
from fretpath.page.tab_melody import (
    Changes,
    RepeatSign,
    Spelling,
    changes_of,
    ending_signs,
    melody_of,
    meters_of,
    tells_endings,
    times_said,
    tokens_under,
)
from fretpath.page.tab_notes import Findings, SystemNotes, TabNote, notes_of
from fretpath.page.tab_rhythm import Rhythm, TabSystem, rhythm_of
from fretpath.page.tab_strings import (
    Given,
    Part,
    Strung,
    is_heading,
    names_among,
    part_named,
    parts_of,
    string_names,
    strung,
)
from fretpath.page.tab_words import TabWords, words_around
from fretpath.remarks import Remark
from fretpath.values import Value

LARGEST = 20_000
"""Notes of a tab that are read."""


@dataclass(frozen=True, slots=True)
class CountRow:
    """A row of counts beside a system."""

    line: int
    """Line of the text, from 1."""
    text: str
    """The row as it stands."""
    start: int
    """Column at which the strings begin, from 0."""
    bars: tuple[int, ...]
    """Columns of the bar lines, from 0."""


@dataclass(frozen=True)
class TabReading(Value):
    """A text tab as it was read."""

    instrument: Instrument
    """What it is played on, tuning and capo as the tab has them."""
    melody: Melody
    """One note a moment (the highest of a chord), placed."""
    notes: tuple[TabNote, ...]
    """The numbers behind the struck notes of the melody, in order."""
    moments: tuple[tuple[TabNote, ...], ...]
    """Every number, by the moment it sounds at; string 1 first."""
    meter: Meter | None
    """The meter the tab tells, also where its lengths are not known."""
    lengths: str
    """What the lengths come from: ``count``, ``letters``, ``spacing``, or empty if unknown."""
    counts: tuple[CountRow, ...]
    """The rows of counts."""
    remarks: tuple[Remark, ...]
    """What was guessed, undone, left out, and what is in doubt."""

    @property
    def off_the_neck(self) -> tuple[TabNote, ...]:
        """Numbers that the instrument has no fret for."""
        return tuple(
            note
            for moment in self.moments
            for note in moment
            if self.instrument.midi_at(note.string, note.fret) is None
        )

    @property
    def lower(self) -> tuple[TabNote, ...]:
        """Notes that sound under another one at the same moment."""
        kept = {*self.notes, *self.off_the_neck}
        return tuple(note for moment in self.moments for note in moment if note not in kept)

    @property
    def doubts(self) -> tuple[Remark, ...]:
        """The remarks that a reader should look at: doubts, and what was left out."""
        return tuple(r for r in self.remarks if r.kind in ("doubt", "left out"))


def read_tab(
    text: str,
    on: On | None = None,
    *,
    tuning: str | None = None,
    frets: int | None = None,
    scale_length: str | None = None,
    capo: int | None = None,
    key: Key | str | None = None,
    meter: Meter | None = None,
    part: str | None = None,
    spacing: bool = False,
    source: str = "tab",
) -> TabReading:
    """Read a text tab.

    *on*, *tuning*, *frets*, *scale_length*, *capo*, *key* and *meter* count before what the tab
    says; *part* is the number or the name of a part where there are several; *spacing* takes the
    lengths from the columns.  *source* names the tab in messages.

    >>> reading = read_tab("G|--2-4-|\\nD|2-----|\\nA|------|\\nE|------|")
    >>> [(note.string, note.fret) for note in reading.notes]
    [(2, 2), (1, 2), (1, 4)]
    >>> reading.instrument.name, str(reading.melody.pitches[0])
    ('bass', 'E2')

    Raises :class:`ScoreFileError` where there is no tab or its columns do not line up, and
    :class:`RequestError` where nothing tells whose strings these are.
    """
    given = _given(on, tuning, capo)
    known = len(given.instrument.strings) if given.instrument else None
    page = tab_lines(text, source=source, strings=known)
    found = _taken(page, given, part, source)
    words, systems = found.words, found.part.systems
    instrument = found.strings.instrument.with_changes(frets=frets, scale_length=scale_length)
    meter = meter or words.meter
    changes = changes_of(systems) if words.own else {}
    frames = list(_frames(found, changes, meter))
    rhythm = rhythm_of(frames, meter, spacing=spacing)
    _tell_words(found.part, words, rhythm, found.findings)
    moments = _moments(found.notes)
    top = _top_notes(instrument, moments, source, found.findings)
    key = Key.parse(key) if isinstance(key, str) else key
    spelling = Spelling(key or words.key, instrument, words, changes, list(_shown(found)))
    signs = _signs(found.part, found.notes)
    melody, more = melody_of(top, rhythm, spelling, words, meter, signs)
    told = [*found.remarks, *rhythm.remarks, *more, *_unmeasured(words, rhythm)]
    return TabReading(
        instrument,
        melody,
        tuple(note for note in top if note),
        tuple(moments),
        meter,
        rhythm.source,
        tuple(_counts(frames, rhythm)),
        (*told, *found.findings.remarks),
    )


@dataclass(frozen=True, slots=True)
class _Taken:
    """A part of a page on its strings."""

    part: Part
    words: TabWords
    strings: Strung
    notes: list[SystemNotes]
    findings: Findings
    remarks: list[Remark]


def _taken(page: TabLines, given: Given, part: str | None, source: str) -> _Taken:
    """The part asked for, its words, strings and numbers."""
    parts = parts_of(page.systems, page.words)
    chosen, told = part_named(parts, part, source)
    words = words_around(_words_of(page, parts, chosen), page.systems[0].lines[0].number)
    strings = strung(chosen.widest, words, given)
    findings = Findings({})
    notes = _notes(chosen, strings, source, findings)
    if strings.instead and not words.own:
        turned = strung(chosen.widest, replace(words, instrument=strings.instead), given)
        others = _notes(chosen, turned, source, Findings({}))
        if words.upside_down or _motion(others, turned) < _motion(notes, strings):
            strings, notes = turned, others
    remarks = [*page.remarks, *told, *words.remarks, *strings.remarks]
    return _Taken(chosen, words, strings, notes, findings, remarks)


def _frames(found: _Taken, changes: Changes, meter: Meter | None) -> Iterator[TabSystem]:
    """The columns of each system for its rhythm."""
    systems = found.part.systems
    going_on = _going_on(systems, found.words)
    meters = meters_of(len(systems), changes, meter)
    for system, notes, goes_on, inside in zip(systems, found.notes, going_on, meters, strict=True):
        columns = (notes.columns, notes.bars, notes.span)
        rows = (system.above, system.below)
        yield TabSystem(*columns, *rows, goes_on=goes_on, meter=inside, own=found.words.own)


def _shown(found: _Taken) -> Iterator[dict[str, str]]:
    """The words of our own rows under each moment."""
    for system, notes in zip(found.part.systems, found.notes, strict=True):
        yield from tokens_under(system, notes.columns if found.words.own else ())


def _unmeasured(words: TabWords, rhythm: Rhythm) -> Iterator[Remark]:
    if words.own and not rhythm.source:
        text = "nothing tells the lengths: every note is one beat"
        yield Remark("guessed", f"{text} (--by-spacing takes them from the columns)")


def _counts(frames: Sequence[TabSystem], rhythm: Rhythm) -> Iterator[CountRow]:
    """The rows of counts that were read."""
    for frame in frames if rhythm.source != "letters" else ():
        for row in (*frame.above, *frame.below):
            if row.number in rhythm.rows:
                yield CountRow(row.number, row.text, frame.span[0], frame.bars)


def without_places(melody: Melody) -> Melody:
    """The melody with every note free to lie anywhere on the neck."""
    return replace(melody, notes=tuple(replace(note, placement=None) for note in melody.notes))


def _given(on: On | None, tuning: str | None, capo: int | None) -> Given:
    """The caller's words on the instrument; a name alone leaves tuning and capo to the tab."""
    if on is None and tuning is None:
        return Given(capo=capo)
    if on is None or isinstance(on, str):
        instrument = instrument_named(on or "bass").with_changes(tuning=tuning)
        return Given(instrument, tuning is not None, capo)
    instrument = (on.instrument if isinstance(on, Setup) else on).with_changes(tuning=tuning)
    return Given(instrument, tuned=True, capo=instrument.capo if capo is None else capo)


def _words_of(page: TabLines, parts: Sequence[Part], chosen: Part) -> list[WordLine]:
    """The words that count for a part: all, or where there are several the general and its own."""
    if len(parts) == 1:
        return list(page.words)
    ends = [0, *(system.lines[-1].number for system in page.systems)]
    own = [
        (before, system.lines[0].number)
        for before, system in zip(ends, page.systems, strict=False)
        if system in chosen.systems
    ]
    first = page.systems[0].lines[0].number
    general = [word for word in page.words if word.number < first]
    while general and not is_heading(general[-1].text):
        general.pop()
    numbers = {word.number for word in general[:-1]}
    return [
        word
        for word in page.words
        if word.number in numbers or any(low < word.number < high for low, high in own)
    ]


# -- notes ---------------------------------------------------------------------------------------


def _notes(part: Part, strings: Strung, source: str, findings: Findings) -> list[SystemNotes]:
    widest = part.widest
    result: list[SystemNotes] = []
    bar = total = 0
    for system in part.systems:
        lines = _strings_of(system, widest, strings, source, findings)
        found = notes_of(system, lines, bar, source, findings)
        result.append(found)
        bar += len(found.bars) + 1
        total += len(found.notes)
    if total > LARGEST:
        raise ScoreFileError(f"{source} has {total} notes; {LARGEST} is the most that is read")
    if not total:
        raise ScoreFileError(f"{source}: there is tab, but no number on any string")
    return result


def _motion(systems: Sequence[SystemNotes], strings: Strung) -> int:
    """Semitones that the top notes move in all: of two readings the smoother is the likelier."""
    sounds = [
        [strings.instrument.midi_at(note.string, note.fret) or 0 for note in moment]
        for moment in _moments(systems)
    ]
    return sum(abs(max(a) - max(b)) for a, b in pairwise(sounds))


def _strings_of(
    system: SystemLines, widest: SystemLines, strings: Strung, source: str, findings: Findings
) -> tuple[int, ...]:
    """The string number of each line of a system."""
    names = [name.upper() for name in string_names(system.labels)]
    known = [name.upper() for name in string_names(widest.labels)]
    first = system.lines[0].number
    if len(names) == len(known):
        if any(known) and not any(names):
            text = "no string names here: taken as the same strings as in the other systems"
            findings.add("guessed", text, first)
        for line, name, usual in zip(system.lines, names, known, strict=True):
            if name and usual and name != usual:
                text = f'this string is called "{line.label}" here and "{usual}" elsewhere'
                findings.add("doubt", f"{text}; its place counts", line.number, 1)
            elif any(names) and not name:
                text = "this line of a system has no string name: its place counts"
                findings.add("doubt", text, line.number, 1)
        return strings.strings
    some = names_among(names, known) if all(names) else None
    if some is None:
        raise ScoreFileError(
            f"{source}, line {first}: this system has {len(names)} string lines, another one "
            f"has {len(known)}; every system needs all strings (an unused one as dashes)"
        )
    findings.add("guessed", "only some strings are shown here: told by their names", first)
    return tuple(strings.strings[index] for index in some)


def _moments(systems: Sequence[SystemNotes]) -> list[tuple[TabNote, ...]]:
    """The notes by moment, moments counted over all systems."""
    moments: list[tuple[TabNote, ...]] = []
    for system in systems:
        for _, group in groupby(system.notes, key=lambda note: note.moment):
            number = len(moments)
            notes = (replace(note, moment=number) for note in group)
            moments.append(tuple(sorted(notes, key=lambda note: note.string)))
    return moments


def _top_notes(
    instrument: Instrument,
    moments: Sequence[Sequence[TabNote]],
    source: str,
    findings: Findings,
) -> list[TabNote | None]:
    """The highest note of each moment; None where none lies on the neck."""
    top: list[TabNote | None] = []
    for moment in moments:
        heard = {note: instrument.midi_at(note.string, note.fret) for note in moment}
        sounds = [note for note in moment if heard[note] is not None]
        highest = max(sounds, key=lambda note: heard[note] or 0, default=None)
        top.append(highest)
        for note in moment:
            if heard[note] is None:
                text = f"string {note.string} of the {instrument.name} has no fret {note.fret}"
                findings.add("left out", text, note.line, note.column)
            elif note is not highest:
                text = "sounds under a higher note; the melody has the top notes"
                findings.add("left out", text, note.line, note.column)
    if not any(top):
        raise ScoreFileError(f"{source}: no number of this tab lies on the {instrument.name}")
    return top


# -- words that are not read ---------------------------------------------------------------------

_MOST_WORDS = 40
_PASSED_OVER = re.compile(r"[0-9]{1,2}/[0-9]{1,2}|\[.*\]")
"""Meters, which are read elsewhere, and headings in brackets."""


def _tell_words(part: Part, words: TabWords, rhythm: Rhythm, findings: Findings) -> None:
    """Remarks on words behind strings, rows beside them, and repeats in words."""
    for system in part.systems:
        for line in system.lines:
            if line.behind and not times_said(line.behind):
                text = f'"{line.behind[:_MOST_WORDS]}" behind the line not read'
                findings.add("doubt", text, line.number, line.start + len(line.body) + 1)
        if words.own:
            _tell_own_rows(system, findings)
        else:
            for row in system.above:
                _tell_row(row, rhythm, findings)
            for row in system.below:
                _tell_row(row, rhythm, findings, below=True)


def _tell_own_rows(system: SystemLines, findings: Findings) -> None:
    for row in (*system.above, *system.below):
        label = row.text.split(" ", 1)[0]
        if label in ("lyric", "chord"):
            findings.add("left out", f"the {label} row of the page", row.number)


def _tell_row(row: WordLine, rhythm: Rhythm, findings: Findings, *, below: bool = False) -> None:
    if row.number in rhythm.rows:
        return
    text = row.text.strip()
    short = text if len(text) <= _MOST_WORDS else f"{text[:_MOST_WORDS]}..."
    tokens = text.split()
    if re.match(r"[A-Ga-g](?:#|b)?\d?\s*[|:]|[|]", text) or text.count("-") * 2 > len(text) > 5:
        if any(char.isalnum() for char in text):
            findings.add("doubt", f'"{short}" looks like a string and is not read', row.number)
    elif re.search(
        r"\b(?:repeat|x ?\d{1,2}|\d{1,2} ?x|(?:play|times) .*\d)\b", text, re.IGNORECASE
    ):
        findings.add("doubt", f'"{short}" not read: everything is played once', row.number)
    elif (
        re.fullmatch(r"[0-9]{1,2}/[0-9]{1,2}", text)
        or tells_endings(text)
        or is_heading(text)
        or re.fullmatch(r"\[.*\]", text)
    ):
        return
    elif re.search(r"\w", text) and (below or all(len(token) <= 3 for token in tokens)):
        where = "under" if below else "above"
        findings.add("left out", f'the row "{short}" {where} the tab is not read', row.number)


def _signs(part: Part, found: Sequence[SystemNotes]) -> list[RepeatSign]:
    """Everything that speaks of repeats in a part."""
    signs: list[RepeatSign] = []
    for number, (system, notes) in enumerate(zip(part.systems, found, strict=True)):
        own = [RepeatSign((number, place), kind) for place, kind in notes.repeats]
        own += ending_signs(system, number, notes.bars)
        times = max((times_said(line.behind) for line in system.lines), default=0)
        if times > 1:
            end = len(notes.bars) + 1
            behind = RepeatSign((number, end), "behind", times)
            own.append(behind if own else RepeatSign((number, 0), "line", times))
        signs += own
    return signs


def _going_on(systems: Sequence[SystemLines], words: TabWords) -> list[bool]:
    """Whether each system goes on in the bar of the one before it.

    On our own page a heading tells it; a melody without bar lines has no double line at its end.
    """
    if not words.own:
        return [False] * len(systems)
    if not systems[-1].lines[0].body.endswith(("||", ":|")) and not _row(systems, "bar"):
        return [True] * len(systems)
    return [any(row.text.endswith(", continued") for row in system.above) for system in systems]


def _row(systems: Sequence[SystemLines], label: str) -> bool:
    """Whether our own page shows a row."""
    rows = (row for system in systems for row in (*system.above, *system.below))
    return any(row.text.split(" ", 1)[0] == label for row in rows)
