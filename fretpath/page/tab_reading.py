"""A plain-text tab read: our own pages and what people write, as notes and as a melody.

**The way.**  Text, systems, words around them, strings of an instrument, numbers, rhythm, melody.
Whatever was guessed, undone, rounded or left out comes as a remark beside the melody; a tab whose
notes have no sure order is refused.

**The melody** has one note a moment, the highest of a chord, and each keeps its place as the
teacher's will.  Where nothing tells lengths every note is one beat and the meter is left open; it
is left out where its bars do not add up to it.

**Spelling.**  Our own page shows the letters of its notes, or their degrees: they count where they
fit the sound.  Else the key spells, or the likeliest signature.  A key that words name beside a
capo is that of the shapes or the sounding one, whichever the notes speak for.

**Repeats** stand between ``|:`` and ``:|`` (dots as colons, ``*`` or ``o``), from the beginning or
the last repeat where no sign opens them.  Endings are numbers with a dot above the tab; a last
ending behind the sign is as long as the one before.  ``x4`` behind a line repeats the line.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from typing import Literal, TypeVar

from fretpath.errors import FretpathError, RequestError, ScoreFileError
from fretpath.music.key import Degree, Key
from fretpath.music.keyfinding import KeyGuess, find_key, likeliest_signature
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement, Repeat
from fretpath.music.pitch import Pitch
from fretpath.music.words import counted
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.instrument import Instrument
from fretpath.neck.setup import On, Setup
from fretpath.page.tab_lines import (
    Findings,
    SystemLines,
    TabLines,
    TabNote,
    TabSystem,
    WordLine,
    read_numbers,
    tab_lines,
)
from fretpath.page.tab_rhythm import Rhythm, TabEvent, counted_bars, rhythm_of
from fretpath.page.tab_strings import (
    Given,
    Part,
    Strings,
    find_part,
    heading_in,
    names_among,
    parts_of,
    string_names,
    strings_of,
)
from fretpath.page.tab_words import TabWords, parse_or_none, words_around
from fretpath.remarks import Remark
from fretpath.values import Value

T = TypeVar("T")

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

    @cached_property
    def off_the_neck(self) -> tuple[TabNote, ...]:
        """Numbers that the instrument has no fret for."""
        return tuple(
            note
            for moment in self.moments
            for note in moment
            if self.instrument.midi_at(note.string, note.fret) is None
        )

    @cached_property
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
    given = _callers_words(on, tuning, capo)
    known = len(given.instrument.strings) if given.instrument else None
    page = tab_lines(text, source=source, strings=known)
    parts = parts_of(page.systems, page.words)
    chosen, told = find_part(parts, part, source)
    words = words_around(_words_of(page, parts, chosen), page.systems[0].lines[0].number)
    findings = Findings(source)
    strings, systems, moments = _on_strings(chosen, words, given, findings)
    instrument = strings.instrument.with_changes(frets=frets, scale_length=scale_length)
    key = Key.parse(key) if isinstance(key, str) else key
    if not words.own and (named := key or words.key):
        tops = _top_sounds(instrument, moments)
        key, told_key = _key_heard(named, tops, capo=0 if key else instrument.capo)
        told += told_key
    tab = _Tab(_as_asked(words, key, meter), instrument, systems, moments)
    rhythm = rhythm_of(systems, tab.meters, own=words.own, spacing=spacing)
    _tell_words(tab, rhythm, findings)
    top = _top_notes(tab, findings)
    melody, more = _melody(tab, rhythm, top)
    told = [*page.remarks, *told, *words.remarks, *strings.remarks, *rhythm.remarks, *more]
    if words.own and not rhythm.source:
        text = "nothing tells the lengths: every note is one beat"
        told.append(Remark("guessed", f"{text} (--by-spacing takes them from the columns)"))
    return TabReading(
        instrument,
        melody,
        tuple(note for note in top if note),
        tuple(moments),
        tab.words.meter,
        rhythm.source,
        tuple(_count_rows(systems, rhythm)),
        (*told, *findings.remarks),
    )


@dataclass(frozen=True)
class _Tab:
    """A part of a page on its strings."""

    words: TabWords
    """What stands around it, the caller's key and meter put in."""
    instrument: Instrument
    """What is played."""
    systems: Sequence[TabSystem]
    """Its systems."""
    moments: Sequence[tuple[TabNote, ...]]
    """The notes by moment, moments counted over all systems."""

    def changes(self, parse: Callable[[str], T]) -> dict[int, T]:
        """Keys or meters that headings of our own page bring (``now 3/4``), by system."""
        changes: dict[int, T] = {}
        for number, system in enumerate(self.systems if self.words.own else ()):
            words = [word for row in system.above for word in row.text.split(", ")]
            now = [word.removeprefix("now ") for word in words if word.startswith("now ")]
            found = [value for word in now if (value := parse_or_none(parse, word))]
            if found:
                changes[number] = found[0]
        return changes

    @property
    def meters(self) -> list[Meter | None]:
        """The meter in force in each system."""
        changes, meter = self.changes(Meter.parse), self.words.meter
        return [meter := changes.get(number, meter) for number in range(len(self.systems))]

    @property
    def shown(self) -> Iterator[dict[str, str]]:
        """The words of the note and degree rows of our own page under each moment."""
        for system in self.systems:
            rows = [row for row in system.below if self.words.own and row.label in _SPELLINGS]
            words = {row.label: dict(row.words) for row in rows}
            for column in system.columns:
                yield {name: row[column] for name, row in words.items() if column in row}

    def midi(self, note: TabNote) -> int | None:
        """The sound of a note; None where the instrument has no such fret."""
        return self.instrument.midi_at(note.string, note.fret)


_SPELLINGS = ("note", "degree")
_AGREE = 0.75
"""Share of its notes in the scale of a key from which on a tab agrees with it; chosen by trial."""


def _key_heard(named: Key, tops: Sequence[int], *, capo: int) -> tuple[Key, list[Remark]]:
    """The key that sounds where words name one: behind a capo that of the shapes, or as named.

    Of the two the one that the top notes speak for (:func:`fretpath.music.keyfinding.find_key`).
    """
    sound = (named.tonic_pitch(0).midi + capo) % 12
    shapes = min(Key.of_sound(sound, named.mode), key=lambda key: abs(key.signature))
    if not tops or capo % 12 == 0:
        shapes = named
    key = named
    if shapes != named:
        guess = find_key(Melody(tuple(Note(named.spell(midi), Fraction(1)) for midi in tops)))
        key = max((named, shapes), key=lambda key: _evidence(guess, key))
    scale = {(key.tonic_pitch(0).midi + up) % 12 for up in key.scale.semitones}
    if sum(midi % 12 in scale for midi in tops) < _AGREE * len(tops):
        beside = f", nor in {shapes} as its shapes behind the capo sound" * (shapes != named)
        text = f"the notes are not in {named}{beside}: is the key right? (say it with --key)"
        return named, [Remark("doubt", text)]
    if shapes == named:
        return named, []
    text = f"the key {named} is that of the shapes: with the capo they sound in {key}"
    if key == named:
        text = f"the key {named} is taken as it sounds, not as that of the shapes behind the capo"
    return key, [Remark("read", f"{text} (--key names the sounding one)")]


def _evidence(guess: KeyGuess, key: Key) -> float:
    """The evidence of notes for a tonic and its third, in the mode that suits them best."""
    sound, minor = key.tonic_pitch(0).midi, key.scale.minor
    same = (c for c in guess.candidates if c.key.scale.minor == minor)
    return max(c.score for c in same if (c.key.tonic_pitch(0).midi - sound) % 12 == 0)


def _top_sounds(instrument: Instrument, moments: Sequence[Sequence[TabNote]]) -> list[int]:
    """The highest sound of each moment, where it lies on the neck."""
    heard = ([instrument.midi_at(n.string, n.fret) for n in notes] for notes in moments)
    on_neck = ([midi for midi in sounds if midi is not None] for sounds in heard)
    return [max(sounds) for sounds in on_neck if sounds]


def _as_asked(words: TabWords, key: Key | None, meter: Meter | None) -> TabWords:
    """The words with the key and the meter of the caller, which count before theirs."""
    tonic = words.tonic if key in (None, words.key) else None
    return replace(words, key=key or words.key, meter=meter or words.meter, tonic=tonic)


def _count_rows(systems: Sequence[TabSystem], rhythm: Rhythm) -> Iterator[CountRow]:
    """The rows of counts that were read."""
    if rhythm.source != "letters":
        for system, row in zip(systems, rhythm.rows, strict=False):
            if row:
                yield CountRow(row.number, row.text, system.span[0], system.bars)


def _callers_words(on: On | None, tuning: str | None, capo: int | None) -> Given:
    """The caller's words on the instrument; a name alone leaves tuning and capo to the tab."""
    if on is None and tuning is None:
        return Given(capo=capo)
    if on is None or isinstance(on, str):
        instrument = instrument_named(on or "bass").with_changes(tuning=tuning)
        return Given(instrument, tuning is not None, capo)
    instrument = (on.instrument if isinstance(on, Setup) else on).with_changes(tuning=tuning)
    return Given(instrument, tuned=True, capo=instrument.capo if capo is None else capo)


def _words_of(page: TabLines, parts: Sequence[Part], chosen: Part) -> Sequence[WordLine]:
    """The words that count for a part: all, or where there are several the general and its own."""
    if len(parts) == 1:
        return page.words
    systems = [system.lines[0].number for system in page.systems]
    mine = {system.lines[0].number for system in chosen.systems}
    general = [word for word in page.words if word.number < systems[0]]
    while general and not heading_in(general[-1].text):
        general.pop()
    general = general[:-1]
    next_system = [*systems, 0]
    own = [
        word
        for word in page.words[len(general) :]
        if next_system[bisect_left(systems, word.number)] in mine
    ]
    return [*general, *own]


# -- notes ---------------------------------------------------------------------------------------


def _on_strings(
    part: Part, words: TabWords, given: Given, findings: Findings
) -> tuple[Strings, list[TabSystem], list[tuple[TabNote, ...]]]:
    """A part on its strings; where their names fit two ways, as its melody moves less."""
    strings = strings_of(part.widest, words, given)
    systems = _read_systems(part, strings, findings, own=words.own)
    moments = [moment for system in systems for moment in system.moments]
    if strings.instead and not words.own:
        turned = strings_of(part.widest, replace(words, instrument=strings.instead), given)
        other = dict(zip(strings.lines, turned.lines, strict=True))
        others = [
            tuple(sorted((replace(n, string=other[n.string]) for n in moment), key=_string))
            for moment in moments
        ]
        motion = _motion(moments, strings.instrument)
        if words.upside_down or _motion(others, turned.instrument) < motion:
            return turned, systems, others
    return strings, systems, moments


def _string(note: TabNote) -> int:
    return note.string


def _read_systems(
    part: Part, strings: Strings, findings: Findings, *, own: bool
) -> list[TabSystem]:
    """The systems of a part with their numbers; those of no *own* page with the bars of a count."""
    systems: list[TabSystem] = []
    bar = moment = total = 0
    for system in part.systems:
        lines = _strings_of(system, part.widest, strings, findings)
        found = read_numbers(system, lines, (bar, moment), findings)
        found = found if own else found.with_bars(counted_bars(found))
        systems.append(found)
        bar += len(found.bars) + 1
        moment += len(found.moments)
        total += sum(map(len, found.moments))
    if total > LARGEST:
        told = f"{findings.source} has {total} notes; {LARGEST} is the most that is read"
        raise ScoreFileError(told)
    if not total:
        raise ScoreFileError(f"{findings.source}: there is tab, but no number on any string")
    return systems


def _motion(moments: Sequence[Sequence[TabNote]], instrument: Instrument) -> int:
    """Semitones that the top notes move in all: of two readings the smoother is the likelier."""
    tops = [max(instrument.midi_at(n.string, n.fret) or 0 for n in notes) for notes in moments]
    return sum(abs(a - b) for a, b in pairwise(tops))


def _strings_of(
    system: SystemLines, widest: SystemLines, strings: Strings, findings: Findings
) -> tuple[int, ...]:
    """The string number of each line of a system."""
    names = [name.upper() for name in string_names(system)]
    known = [name.upper() for name in string_names(widest)]
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
        return strings.lines
    some = names_among(names, known) if all(names) else ()
    if not some:
        raise ScoreFileError(
            f"{findings.source}, line {first}: this system has {len(names)} string lines, another "
            f"one has {len(known)}; every system needs all strings (an unused one as dashes)"
        )
    findings.add("guessed", "only some strings are shown here: told by their names", first)
    return tuple(strings.lines[index] for index in some)


def _top_notes(tab: _Tab, findings: Findings) -> list[TabNote | None]:
    """The highest note of each moment; None where none lies on the neck."""
    name = tab.instrument.name
    top: list[TabNote | None] = []
    for moment in tab.moments:
        heard = {note: tab.midi(note) for note in moment}
        highest = max(
            (note for note in moment if heard[note] is not None),
            key=lambda note: heard[note] or 0,
            default=None,
        )
        top.append(highest)
        for note in moment:
            if heard[note] is None:
                text = f"string {note.string} of the {name} has no fret {note.fret}"
                findings.add("left out", text, note.line, note.column)
            elif note is not highest:
                text = "sounds under a higher note; the melody has the top notes"
                findings.add("left out", text, note.line, note.column)
    if not any(top):
        raise ScoreFileError(f"{findings.source}: no number of this tab lies on the {name}")
    return top


# -- words that are not read ---------------------------------------------------------------------

_MOST_WORDS = 40
_PASSED_OVER = re.compile(r"[0-9]{1,2}/[0-9]{1,2}|\[.*\]")
"""Meters, which are read elsewhere, and headings in brackets."""
_CHORD = re.compile(
    r"\(?[A-G][#b]?(?:maj|min|dim|aug|sus|add|[mM0-9#b+-])*(?:/[A-G][#b]?)?\)?|\S{1,3}"
)
"""A chord, or what is as short as one."""
_LIKE_STRING = re.compile(r"[A-Ga-g](?:#|b)?\d?\s*[|:]|[|]")
_LIKE_REPEAT = re.compile(
    r"\b(?:repeat|x ?\d{1,2}|\d{1,2} ?x|(?:play|times) .{0,40}\d)\b", re.IGNORECASE
)


def _tell_words(tab: _Tab, rhythm: Rhythm, findings: Findings) -> None:
    """Remarks on words behind strings, rows beside them, and repeats in words."""
    read = {row.number for row in rhythm.rows if row}
    for system in tab.systems:
        for line in system.lines:
            if line.behind and not times_in(line.behind):
                text = f'"{line.behind[:_MOST_WORDS]}" behind the line not read'
                findings.add("doubt", text, line.number, line.start + len(line.body) + 1)
        for row in system.rows:
            if tab.words.own and row.label in ("lyric", "chord"):
                findings.add("left out", f"the {row.label} row of the page", row.number)
            elif not tab.words.own and row.number not in read:
                _tell_row(row, findings, below=row in system.below)


def _tell_row(row: WordLine, findings: Findings, *, below: bool) -> None:
    text = row.text.strip()
    short = text if len(text) <= _MOST_WORDS else f"{text[:_MOST_WORDS]}..."
    if _LIKE_STRING.match(text) or text.count("-") * 2 > len(text) > 5:
        if any(char.isalnum() for char in text):
            findings.add("doubt", f'"{short}" looks like a string and is not read', row.number)
    elif _LIKE_REPEAT.search(text):
        findings.add("doubt", f'"{short}" not read: everything is played once', row.number)
    elif _PASSED_OVER.fullmatch(text) or is_endings(text) or heading_in(text):
        return
    elif re.search(r"\w", text) and (below or all(map(_CHORD.fullmatch, text.split()))):
        where = "under" if below else "above"
        findings.add("left out", f'the row "{short}" {where} the tab is not read', row.number)


# -- the melody ----------------------------------------------------------------------------------


def _melody(
    tab: _Tab, rhythm: Rhythm, top: Sequence[TabNote | None]
) -> tuple[Melody, list[Remark]]:
    """The melody of the top notes of all moments, and what must be said about it."""
    events = rhythm.events
    starts = {event.place[0]: index for index, event in reversed(list(enumerate(events)))}
    keys = _by_event(tab.words.key, tab.changes(Key.parse), starts)
    meters = _by_event(tab.words.meter, tab.changes(Meter.parse), starts)
    notes = tuple(_notes(tab, events, top, keys))
    octave = WORKING_OCTAVE
    if keys:
        pitches = [note.pitch for note in notes if note.pitch]
        octave = tab.words.tonic.octave if tab.words.tonic else keys[0][1].octave_of(pitches)
    melody = Melody(
        notes,
        keys=keys,
        meters=meters if rhythm.source else (),
        bars=tuple(index for index, event in enumerate(events) if event.bar and index),
        phrases=tuple(sorted(index for index in starts.values() if index)),
        octave=octave,
        title=tab.words.title,
        tempo=tab.words.tempo,
    )
    melody, told = _in_meter(melody)
    repeated, more = _with_repeats(
        melody, [event.place for event in events], list(_signs(tab.systems))
    )
    return repeated, told + more


Keys = tuple[tuple[int, Key], ...]


def _by_event(
    first: T | None, changes: Mapping[int, T], starts: Mapping[int, int]
) -> tuple[tuple[int, T], ...]:
    """A key or meter and its changes by event; *starts* has the first event of each system."""
    later = ((starts[at], value) for at, value in sorted(changes.items()) if starts.get(at))
    return ((0, first), *later) if first else ()


def _notes(
    tab: _Tab, events: Sequence[TabEvent], top: Sequence[TabNote | None], keys: Keys
) -> Iterator[Note]:
    usual = likeliest_signature([tab.midi(note) or 0 for note in top if note])
    struck = zip(top, tab.shown, strict=True)
    pitch: Pitch | None = None
    for index, event in enumerate(events):
        note, shown = next(struck) if event.kind == "note" else (None, {})
        if note:
            key = keys[bisect_right(keys, index, key=_event) - 1][1] if keys else None
            pitch = _pitch(tab, note, key or usual, shown)
            yield Note(pitch, event.beats, placement=Placement(note.string, note.fret))
        elif event.kind == "hold" and pitch:
            yield Note(pitch, event.beats, tied=True)
        else:
            pitch = None
            yield Note(None, event.beats)


def _event(change: tuple[int, Key]) -> int:
    return change[0]


def _pitch(tab: _Tab, note: TabNote, key: Key, shown: Mapping[str, str]) -> Pitch:
    """The sound of a note in the letters the page shows, or in those of the key."""
    midi = tab.midi(note) or 0
    tonic = key.tonic_near(tab.words.tonic) if tab.words.tonic else None
    for name, word in shown.items():
        pitch = _pitch_in(name, word, tonic)
        if pitch and pitch.midi == midi:
            return pitch
    return key.spell(midi)


def _pitch_in(name: str, word: str, tonic: Pitch | None) -> Pitch | None:
    try:
        if name == "note":
            return Pitch.parse(word)
        return tonic + Degree.parse(word).interval if tonic else None
    except FretpathError:
        return None


def _in_meter(melody: Melody) -> tuple[Melody, list[Remark]]:
    """The melody; without its meter where its bars do not add up to it."""
    if not melody.meters or not melody.bars:
        return melody, []
    wrong = []
    spans = list(melody.spans(melody.bars))
    for number, span in enumerate(spans):
        meter, length = melody.meter_at(span.start), sum(melody.notes[i].beats for i in span)
        edge = number in (0, len(spans) - 1)
        if meter and (length > meter.beats or (length < meter.beats and not edge)):
            wrong.append(melody.bar_numbers[span.start])
    if not wrong:
        return melody, []
    bars = ", ".join(map(str, wrong[:6])) + (", ..." if len(wrong) > 6 else "")
    text = f"the lengths of bar {bars} do not add up to {melody.meter}: the meter is left out"
    return replace(melody, meters=()), [Remark("doubt", text)]


# -- repeats -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RepeatSign:
    """Something that speaks of a repeat."""

    place: tuple[int, float]
    """System, and bar lines passed in it: one more than it has is its end, a half is inside a bar.
    """
    kind: Literal["close", "ending", "open", "times"]
    """At one place they count in this order."""
    times: int = 2
    """How often."""


_TIMES = re.compile(
    r"\(?(?:repeat |play(?:ed)? |all )?"
    r"(?:[xX] ?([0-9]{1,2})|([0-9]{1,2}) ?[xX]|([0-9]{1,2}) times)\)?"
)
_ABOVE = re.compile(r"(?<![^\s\[|])[1-9]\.(?![0-9])|([0-9]{1,2}) times")


def times_in(words: str) -> int:
    """How often words such as ``x4`` or ``(play 3 times)`` repeat something; 0 if they do not.

    >>> times_in("x4"), times_in("(play 3 times)"), times_in("2nd time: 7-5")
    (4, 3, 0)
    """
    found = _TIMES.fullmatch(words.strip(" ."))
    return int(next(number for number in found.groups() if number)) if found else 0


def is_endings(row: str) -> bool:
    """Whether a row has endings of a repeat and nothing else."""
    return not re.sub(r"[1-9]\.|[0-9]{1,2} times|[\s_\[|\]-]", "", row) and not row.isspace()


def _signs_above(system: TabSystem, number: int) -> Iterator[RepeatSign]:
    """Endings (``1.``, ``2.``) and ``3 times`` in the rows above a system."""
    for row in system.above:
        words = re.sub(r"^ending\b", " " * 6, row.text)
        for match in _ABOVE.finditer(words) if is_endings(words) else ():
            bar = bisect_right(system.bars, match.start() + 1)
            if match[1]:
                yield RepeatSign((number, bar + 0.5), "times", int(match[1]))
            else:
                yield RepeatSign((number, bar), "ending")


def _signs(systems: Sequence[TabSystem]) -> Iterator[RepeatSign]:
    """Everything that speaks of repeats; ``x4`` behind a line without signs repeats the line."""
    for number, system in enumerate(systems):
        signs = [RepeatSign((number, bar), kind) for bar, kind in system.repeats]
        signs += _signs_above(system, number)
        times = max((times_in(line.behind) for line in system.lines), default=0)
        last = len(system.bars)
        if times > 1:
            whole = [RepeatSign((number, 0), "open"), RepeatSign((number, last + 1), "close")]
            signs = (signs or whole) + [RepeatSign((number, last + 0.5), "times", times)]
        yield from signs


def _with_repeats(
    melody: Melody, places: Sequence[tuple[int, int]], signs: Sequence[RepeatSign]
) -> tuple[Melody, list[Remark]]:
    """The melody with the repeats that signs tell, where they stand at its bar lines."""
    if not signs:
        return melody, []
    try:
        repeats = tuple(_repeats(melody, places, signs))
        repeated = replace(melody, repeats=repeats)
    except RequestError:
        repeats = ()
    if not repeats:
        text = "repeat signs or endings that do not fit the bars: everything is read once"
        return melody, [Remark("doubt", text)]
    told = [Remark("read", _repeat_words(melody, repeat)) for repeat in repeats]
    return repeated, told


def _repeat_words(melody: Melody, repeat: Repeat) -> str:
    first, last = melody.bar_numbers[repeat.start], melody.bar_numbers[repeat.stop - 1]
    bars = f"bar {first}" if first == last else f"bars {first} to {last}"
    endings = f" with {counted(len(repeat.endings), 'ending')}" if repeat.endings else ""
    return f"repeat: {bars} played {repeat.times} times{endings}"


def _repeats(
    melody: Melody, places: Sequence[tuple[int, int]], signs: Sequence[RepeatSign]
) -> Iterator[Repeat]:
    start, times = 0, 2
    endings: list[int] = []
    last_close = max((sign.place for sign in signs if sign.kind == "close"), default=(-1, 0))
    for sign in sorted(signs, key=lambda sign: (sign.place, sign.kind)):
        event = bisect_left(places, sign.place)
        if sign.kind == "times":
            times = sign.times
            continue
        if sign.kind == "ending":
            endings.append(event)
            if len(endings) < 2 or sign.place < last_close:
                continue
            event = _as_long(melody, endings)
        if sign.kind == "close" and len(endings) == 1:
            continue
        if sign.kind != "open":
            yield Repeat(start, event, len(endings) or times, tuple(endings))
        start, times, endings = event, 2, []


def _as_long(melody: Melody, endings: Sequence[int]) -> int:
    """Where the last ending stops that no sign closes: after as many bars as the one before."""
    marks = [0, *melody.bars, len(melody)]
    length = bisect_left(marks, endings[-1]) - bisect_left(marks, endings[-2])
    return marks[min(bisect_left(marks, endings[-1]) + length, len(marks) - 1)]
