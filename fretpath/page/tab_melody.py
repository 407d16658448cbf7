"""A text tab as a melody: its top notes in time, spelled, with keys, meters and repeats.

**Spelling.**  Our own page shows the letters of its notes, or their degrees: they count where they
fit the sound.  Else the key spells, or the likeliest signature.

**Meter.**  The melody has one only where its bars add up to it.

**Repeats** stand between ``|:`` and ``:|`` (dots as colons, ``*`` or ``o``), from the beginning or
the last repeat where no sign opens them.  Endings are numbers with a dot above the tab; a last
ending behind the sign is as long as the one before.  ``x4`` behind a line repeats the line.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from fretpath.errors import FretpathError, RequestError
from fretpath.music.key import Degree, Key
from fretpath.music.keyfinding import likeliest_signature
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement, Repeat
from fretpath.music.pitch import Pitch
from fretpath.music.words import counted
from fretpath.neck.instrument import Instrument
from fretpath.page.tab_lines import SystemLines
from fretpath.page.tab_notes import TabNote
from fretpath.page.tab_rhythm import Rhythm
from fretpath.page.tab_words import TabWords, parsed
from fretpath.remarks import Remark

Changes = Mapping[int, tuple[Key | None, Meter | None]]
"""System to the key and the meter that begin there."""


@dataclass(frozen=True)
class Spelling:
    """How the sounds of a tab get their letters."""

    key: Key | None
    """The first key."""
    instrument: Instrument
    """What is played."""
    words: TabWords
    """What stands around the tab."""
    changes: Changes
    """Keys that come later."""
    shown: Sequence[Mapping[str, str]]
    """Words of the note and degree rows under each moment; empty where there are none."""

    def keys(self, starts: Mapping[int, int]) -> list[tuple[int, Key]]:
        """The keys by event, *starts* giving the first event of each system."""
        if self.key is None:
            return []
        later = ((starts[at], key) for at, (key, _) in self.changes.items() if key and at in starts)
        return [(0, self.key), *(change for change in sorted(later, key=_event) if change[0])]

    def pitch(self, note: TabNote, key: Key, tonic: Pitch | None) -> Pitch:
        """The sound of a note in the letters the page shows, or in those of the key."""
        midi = self.instrument.midi_at(note.string, note.fret) or 0
        shown = self.shown[note.moment] if note.moment < len(self.shown) else {}
        for name, word in shown.items():
            pitch = _shown_pitch(name, word, tonic)
            if pitch and pitch.midi == midi:
                return pitch
        return key.spell(midi)


def _event(change: tuple[int, Key]) -> int:
    return change[0]


def _shown_pitch(name: str, word: str, tonic: Pitch | None) -> Pitch | None:
    try:
        if name == "note":
            return Pitch.parse(word)
        return tonic + Degree.parse(word).interval if tonic else None
    except FretpathError:
        return None


def tokens_under(system: SystemLines, columns: Sequence[int]) -> Iterator[dict[str, str]]:
    """The words of the note and degree rows of our own page at each column."""
    rows = {row.text.split()[0]: row.text for row in system.below}
    for column in columns:
        yield {
            name: rows[name][column:].split(" ", 1)[0]
            for name in ("note", "degree")
            if name in rows
        }


def changes_of(systems: Sequence[SystemLines]) -> dict[int, tuple[Key | None, Meter | None]]:
    """Keys and meters that headings of our own page bring (``now 3/4``), by system."""
    changes: dict[int, tuple[Key | None, Meter | None]] = {}
    for number, system in enumerate(systems):
        words = [word for row in system.above for word in row.text.split(", ")]
        told = [word.removeprefix("now ") for word in words if word.startswith("now ")]
        keys = [key for word in told if (key := parsed(Key.parse, word))]
        meters = [meter for word in told if (meter := parsed(Meter.parse, word))]
        if told:
            changes[number] = (keys[0] if keys else None, meters[0] if meters else None)
    return changes


def meters_of(systems: int, changes: Changes, meter: Meter | None) -> Iterator[Meter | None]:
    """The meter in force in each system."""
    for number in range(systems):
        meter = changes.get(number, (None, None))[1] or meter
        yield meter


# -- the melody ----------------------------------------------------------------------------------


def melody_of(
    top: Sequence[TabNote | None],
    rhythm: Rhythm,
    spelling: Spelling,
    words: TabWords,
    meter: Meter | None,
    signs: Sequence[RepeatSign],
) -> tuple[Melody, list[Remark]]:
    """The melody of the top notes of all moments, and what must be said about it."""
    pieces = list(_pieces(rhythm))
    starts = {piece.place[0]: index for index, piece in reversed(list(enumerate(pieces)))}
    keys = spelling.keys(starts)
    notes = tuple(_notes(pieces, top, spelling, keys))
    pitches = [note.pitch for note in notes if note.pitch]
    octave = keys[0][1].octave_of(pitches) if keys else WORKING_OCTAVE
    if keys and words.tonic and keys[0][1] == words.key:
        octave = words.tonic.octave
    melody = Melody(
        notes,
        keys=tuple(keys),
        meters=tuple(_meters(starts, spelling.changes, meter)) if rhythm.source else (),
        bars=tuple(index for index, piece in enumerate(pieces) if piece.bar and index),
        phrases=tuple(sorted(index for index in starts.values() if index)),
        octave=octave,
        title=words.title,
        tempo=words.tempo,
    )
    melody, told = _in_meter(melody)
    repeated, more = _with_repeats(melody, [piece.place for piece in pieces], signs)
    return repeated, told + more


def _meters(
    starts: Mapping[int, int], changes: Changes, meter: Meter | None
) -> Iterator[tuple[int, Meter]]:
    if meter:
        yield 0, meter
        for at, (_, later) in sorted(changes.items()):
            if later and starts.get(at):
                yield starts[at], later


def _notes(
    pieces: Sequence[_Piece],
    top: Sequence[TabNote | None],
    spelling: Spelling,
    keys: Sequence[tuple[int, Key]],
) -> Iterator[Note]:
    sounds = [spelling.instrument.midi_at(note.string, note.fret) or 0 for note in top if note]
    usual = likeliest_signature(sounds)
    tonic = spelling.words.tonic if spelling.key == spelling.words.key else None
    events = [event for event, _ in keys]
    pitch: Pitch | None = None
    for index, piece in enumerate(pieces):
        place = bisect_right(events, index) - 1
        key = keys[place][1] if keys else usual
        near = key.tonic_near(tonic) if tonic and keys else None
        note = top[piece.moment] if piece.moment is not None else None
        if note:
            pitch = spelling.pitch(note, key, near)
            yield Note(pitch, piece.beats, placement=Placement(note.string, note.fret))
        elif piece.tied and pitch:
            yield Note(pitch, piece.beats, tied=True)
        else:
            pitch = None
            yield Note(None, piece.beats)


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


@dataclass(frozen=True, slots=True)
class _Piece:
    """An event of the melody before it has a pitch."""

    beats: Fraction
    moment: int | None
    tied: bool
    bar: bool
    place: tuple[int, int]
    """System, and bar lines passed in it."""


def _pieces(rhythm: Rhythm) -> Iterator[_Piece]:
    """Events with their lengths, cut in two where a bar line falls inside."""
    ends = [event.time for event in rhythm.events[1:]] + [rhythm.end]
    bars = rhythm.bars
    moment = -1
    for event, end in zip(rhythm.events, ends, strict=True):
        moment += event.kind == "note"
        inside = bars[bisect_right(bars, event.time) : bisect_left(bars, end)]
        for piece, (start, stop) in enumerate(pairwise([event.time, *inside, end])):
            struck = event.kind == "note" and piece == 0
            tied = not struck and event.kind != "rest"
            at = bisect_left(bars, start)
            bar = at < len(bars) and bars[at] == start
            place = (event.system, event.passed + piece)
            yield _Piece(stop - start, moment if struck else None, tied, bar, place)


# -- repeats -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class RepeatSign:
    """Something that speaks of a repeat."""

    place: tuple[int, int]
    """System, and bar lines passed in it; one more than it has is its end."""
    kind: str
    """``open``, ``close``, ``ending``, ``times``, ``behind`` (times behind a line with signs) or
    ``line`` (the whole line is repeated)."""
    times: int = 2
    """How often, or the number of the ending."""


_TIMES = re.compile(
    r"\(?(?:repeat |play(?:ed)? |all )?"
    r"(?:[xX] ?([0-9]{1,2})|([0-9]{1,2}) ?[xX]|([0-9]{1,2}) times)\)?"
)
_ENDING = re.compile(r"(?<![^\s\[|])([1-9])\.(?![0-9])")


def times_said(words: str) -> int:
    """How often words such as ``x4`` or ``(play 3 times)`` repeat something; 0 if they do not.

    >>> times_said("x4"), times_said("(play 3 times)"), times_said("2nd time: 7-5")
    (4, 3, 0)
    """
    found = _TIMES.fullmatch(words.strip(" ."))
    return int(next(number for number in found.groups() if number)) if found else 0


def tells_endings(row: str) -> bool:
    """Whether a row has endings of a repeat and nothing else."""
    return not re.sub(r"[1-9]\.|[0-9]+ times|[\s_\[|\]-]", "", row) and not row.isspace()


def ending_signs(system: SystemLines, number: int, bars: Sequence[int]) -> Iterator[RepeatSign]:
    """Endings (``1.``, ``2.``) and ``3 times`` in the rows above a system; bars by column."""
    for row in system.above:
        words = re.sub(r"^ending\b", " " * 6, row.text)
        if not tells_endings(words):
            continue
        for match in _ENDING.finditer(words):
            place = (number, bisect_right(bars, match.start() + 1))
            yield RepeatSign(place, "ending", int(match[1]))
        for match in re.finditer(r"([0-9]{1,2}) times", words):
            place = (number, bisect_right(bars, match.start() + 1))
            yield RepeatSign(place, "times", int(match[1]))


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
    told = [Remark("read", _told(melody, repeat)) for repeat in repeats]
    return repeated, told


def _told(melody: Melody, repeat: Repeat) -> str:
    first, last = melody.bar_numbers[repeat.start], melody.bar_numbers[repeat.stop - 1]
    bars = f"bar {first}" if first == last else f"bars {first} to {last}"
    endings = f" with {counted(len(repeat.endings), 'ending')}" if repeat.endings else ""
    return f"repeat: {bars} played {repeat.times} times{endings}"


def _repeats(
    melody: Melody, places: Sequence[tuple[int, int]], signs: Sequence[RepeatSign]
) -> Iterator[Repeat]:
    start, times = 0, 2
    endings: list[int] = []
    ordered = sorted(signs, key=lambda sign: (sign.place, _ORDER[sign.kind]))
    closing = [sign for sign in ordered if sign.kind == "close"]
    for sign in ordered:
        event = bisect_left(places, sign.place)
        if sign.kind == "open":
            start, times, endings = event, 2, []
        elif sign.kind in ("times", "behind"):
            times = sign.times
        elif sign.kind == "ending":
            endings.append(event)
            if len(endings) > 1 and not any(other.place > sign.place for other in closing):
                stop = _as_long(melody, endings)
                yield Repeat(start, stop, len(endings), tuple(endings))
                start, times, endings = stop, 2, []
        elif sign.kind == "line":
            stop = bisect_left(places, (sign.place[0] + 1, 0))
            yield Repeat(event, stop, sign.times)
            start = stop
        elif len(endings) != 1:
            yield Repeat(start, event, len(endings) or times, tuple(endings))
            start, times, endings = event, 2, []


_ORDER = {"behind": 0, "close": 1, "ending": 2, "open": 3, "line": 4, "times": 5}


def _as_long(melody: Melody, endings: Sequence[int]) -> int:
    """Where the last ending stops that no sign closes: after as many bars as the one before."""
    marks = [0, *melody.bars, len(melody)]
    length = bisect_left(marks, endings[-1]) - bisect_left(marks, endings[-2])
    return marks[min(bisect_left(marks, endings[-1]) + length, len(marks) - 1)]
