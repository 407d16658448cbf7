"""Melody text: the notation a teacher types, both ways.

The text is taken apart by :mod:`fretpath.music.text`; here its headers, bars and events get their
meaning.

**Repeats.**  ``|: 1 2 :|`` is played twice, ``:|x3`` three times; a ``:|`` without ``|:`` goes back
to the beginning, or to where the last repeat ended.  Endings are ``|: 1 2 | [1 3 4 :| [2 5 1 ]``.

**Octaves.**  A note without an octave is the nearest in sound to the note before (the upper one
when two are as near); the first one counts from the tonic.  If nothing fixes the octave (no
``octave:`` header and no note with an octave), or the header says ``free``, the register is left
to the instrument.

:func:`parse_melody` and :func:`format_melody` are a pair: ``parse_melody(format_melody(m)) == m``.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from functools import partial
from typing import TypeVar

from fretpath.errors import RequestError
from fretpath.music.key import Degree, Key, key_asked
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement, Repeat
from fretpath.music.pitch import OCTAVE, Pitch, alter_of
from fretpath.music.text import BAR, KEPT, Event, Headers, MusicLine, TextSpot, refuse_tab, split
from fretpath.music.words import counted

MOST_ACCIDENTALS = 3
"""How many accidentals a degree may have in melody text."""
T = TypeVar("T")


def parse_melody(text: str, *, key: str | Key | None = None, source: str = "melody") -> Melody:
    """The melody a text describes.

    >>> melody = parse_melody("key: B major\\n\\n1 5 8 9 10")
    >>> [str(pitch) for pitch in melody.in_octave(1).pitches]
    ['B1', 'F#2', 'B2', 'C#3', 'D#3']

    *key* replaces the key of the text: degrees are read in the new key, and later key lines move
    along; a tonic alone keeps the mode of the text.  A text of degrees without any key is read in
    C major.

    >>> str(parse_melody("1 3 5", key="Eb").pitches[2].name)
    'Bb'

    *source* names the melody in error messages.  Raises :class:`MelodySyntaxError`, with line,
    column and a caret under the fault.
    """
    refuse_tab(text, source)
    headers, lines = split(text, source)
    events = [event for line in lines for event in line.events]
    if not events:
        whole = TextSpot(source, 1, 1, 1, text.split("\n", 1)[0])
        raise whole.error("there is no note in this melody: write degrees such as 1 5 8")
    keys, meters = _changes(headers, lines, key)
    if not keys and any(event.match["degree"] for event in events):
        keys = [(0, Key("C", "major"))]
    octave, octave_free = _register(headers, events, keys)
    by_signature = _header_value(headers, "degrees", _convention) or False
    signs = _Signs()
    for start, line in _placed_lines(lines):
        for at, sign, spot in line.signs:
            signs.take(start + at, sign, spot)
    melody = Melody(
        notes=tuple(_resolve(events, keys, octave, by_signature)),
        keys=tuple(keys),
        meters=tuple(meters),
        bars=signs.bars(len(events)),
        phrases=tuple(start for start, line in _placed_lines(lines) if start and line.events),
        octave=octave,
        octave_free=octave_free,
        title=headers["title"][0] if "title" in headers else "",
        tempo=_header_value(headers, "tempo", _tempo),
        headers=tuple((n, v) for n, (v, _) in headers.items() if n in KEPT),
    )
    repeats = signs.repeats(len(events))
    spot = signs.spot or events[-1].spot
    melody = spot.build(lambda: replace(melody, repeats=repeats))
    _check_bars(melody, events)
    return _with_words(melody, lines)


# -- writing ---------------------------------------------------------------------------------------


def format_melody(melody: Melody) -> str:
    """The text of a melody, such that ``parse_melody`` gives the melody back.

    >>> print(format_melody(parse_melody("1 (2 3):1/2 | 5 -", key="G")), end="")
    key: G major
    <BLANKLINE>
    1 2:1/2 3:1/2 | 5 -

    Notes are written as degrees; without a key, or with more than three accidentals before the
    degree, as letters with their octave.  One phrase stands on one line, and a bar line at its end
    ends the line; its chords and words follow on lines of their own.  The text ends with a newline.
    """
    keys, meters = dict(melody.keys), dict(melody.meters)
    head = [
        ("title", melody.title),
        ("key", str(keys.pop(0, ""))),
        ("meter", str(meters.pop(0, ""))),
        ("tempo", "" if melody.tempo is None else f"{float(melody.tempo):g}"),
        ("octave", _octave_line(melody)),
    ]
    lines = [f"{name}: {value}" for name, value in (*head, *melody.headers) if value]
    lines.append("")
    words = _words(melody)
    opening, closing = _bar_signs(melody)
    for span in melody.spans(melody.phrases):
        for name, changes in (("key", keys), ("meter", meters)):
            if span.start in changes:
                lines.append(f"{name}: {changes[span.start]}")
        row: list[str] = []
        for event in span:
            row.extend(closing.get(event, []) if event > span.start else [])
            row.extend([*opening.get(event, []), words[event]])
        lines.append(" ".join([*row, *closing.get(span.stop, [])]))
        lines.extend(_under(melody, span))
    return "\n".join(lines) + "\n"


def _bar_signs(melody: Melody) -> tuple[dict[int, list[str]], dict[int, list[str]]]:
    """Signs that open a part before an event, and those that close the one before it."""
    opening: dict[int, list[str]] = {}
    closing = {event: ["|"] for event in melody.bars}
    for repeat in melody.repeats:
        times = "" if repeat.times == 2 else f"x{repeat.times}"
        if closing.get(repeat.start) == ["|"]:
            del closing[repeat.start]
        opening[repeat.start] = ["|:"]
        closing[repeat.stop] = ["]" if repeat.endings else f":|{times}"]
        for number, event in enumerate(repeat.endings, start=1):
            opening[event] = [f"[{number}"]
            closing[event] = ["|" if number == 1 else ":|"]
    return opening, closing


def _under(melody: Melody, span: range) -> Iterator[str]:
    """The lines of words and chords that stand under a line of music."""
    struck = [event for event in span if melody.notes[event].struck]
    for name, places, words in (
        ("chords", list(span), dict(melody.chords)),
        ("words", struck, dict(melody.lyrics)),
    ):
        row = [words.get(event, "_").replace(" ", "~") for event in places]
        while row and row[-1] == "_":
            row.pop()
        if row:
            yield f"{name}: {' '.join(row)}"


def _octave_line(melody: Melody) -> str:
    """The octave of the tonic; of a free one only where letters with octaves hang on it."""
    if not melody.octave_free:
        return str(melody.octave)
    usual = melody.octave == WORKING_OCTAVE and all(map(_writable, melody.degrees))
    return "" if usual else f"{melody.octave} free"


def _writable(degree: Degree | None) -> bool:
    return degree is not None and abs(degree.alter) <= MOST_ACCIDENTALS


def _words(melody: Melody) -> list[str]:
    degrees = iter(melody.degrees)
    words = []
    for note in melody.notes:
        if note.struck:
            degree = next(degrees)
            word = str(degree if _writable(degree) else note.pitch)
        else:
            word = "r" if note.pitch is None else "-"
        length = "" if note.beats == 1 else f":{note.beats}"
        words.append(f"{word}{length}{note.placement or ''}")
    return words


# -- headers and marks ---------------------------------------------------------------------------


def _header_value(headers: Headers, name: str, read: Callable[[str], T]) -> T | None:
    if name not in headers:
        return None
    value, spot = headers[name]
    return spot.build(partial(read, value))


def _convention(value: str) -> bool:
    if value not in ("major", "key"):
        raise RequestError("degrees are counted against the major scale or the key: major or key")
    return value == "key"


def _tempo(value: str) -> Fraction:
    match = re.fullmatch(r"\d{1,3}(?:\.\d{1,3})?", value)
    if match is None or not 10 <= Fraction(value) <= 400:
        raise RequestError("a tempo is a number of beats a minute from 10 to 400")
    return Fraction(value)


def _octave(value: str) -> tuple[int, bool]:
    """The octave of the tonic, and whether the instrument may choose another."""
    match = re.fullmatch(r"(-1|\d)(\s+free)?", value)
    if match is None:
        raise RequestError("an octave is a whole number from -1 to 9; C4 is middle C")
    return int(match[1]), match[2] is not None


def _changes(
    headers: Headers, lines: list[MusicLine], wanted: str | Key | None
) -> tuple[list[tuple[int, Key]], list[tuple[int, Meter]]]:
    """Keys and meters in force, by event index; ``wanted`` replaces the first key."""
    keys: list[tuple[int, Key]] = []
    meters: list[tuple[int, Meter]] = []
    written = _header_value(headers, "key", Key.parse)
    meter = _header_value(headers, "meter", Meter.parse)
    first = key_asked(wanted, written) if isinstance(wanted, str) else wanted or written
    if first:
        keys.append((0, first))
    if meter:
        meters.append((0, meter))
    old = (written or Key("C", "major")).tonic_pitch(WORKING_OCTAVE)
    moved = first.tonic_pitch(WORKING_OCTAVE) - old if first else None
    start = 0
    for line in lines:
        for name, value, spot in line.changes:
            if name == "meter":
                _append_change(meters, (start, spot.build(partial(Meter.parse, value))), spot)
                continue
            key = spot.build(partial(Key.parse, value))
            if moved is None:
                raise spot.error("the key changes here, but the first key is not given: add key:")
            tonic = (key.tonic_pitch(WORKING_OCTAVE) + moved).name
            _append_change(keys, (start, Key(tonic, key.mode)), spot)
        start += len(line.events)
    return keys, meters


def _append_change(changes: list[tuple[int, T]], change: tuple[int, T], spot: TextSpot) -> None:
    if changes and changes[-1][0] == change[0]:
        raise spot.error("two changes of the same kind at one place; keep one")
    if not changes:
        raise spot.error("the meter changes here, but the first meter is not given: add meter:")
    changes.append(change)


def _placed_lines(lines: list[MusicLine]) -> Iterator[tuple[int, MusicLine]]:
    """Each line with the index of its first event."""
    start = 0
    for line in lines:
        yield start, line
        start += len(line.events)


# -- bar lines and repeat signs ------------------------------------------------------------------


class _Signs:
    """Bar lines and repeat signs, taken one after the other."""

    def __init__(self) -> None:
        self._marks: list[int] = []
        self._repeats: list[Repeat] = []
        self._opened: tuple[int, TextSpot] | None = None
        self._endings: list[int] = []
        self._closed: tuple[int, TextSpot] | None = None
        """Where an ending ended and the next must begin."""
        self.spot: TextSpot | None = None
        """Where the last sign stands."""

    def take(self, at: int, sign: str, spot: TextSpot) -> None:
        """The next sign, before the event ``at``."""
        self.spot = spot
        match = BAR.fullmatch(sign)
        assert match is not None
        number = match["ending"]
        if self._closed and not number:
            raise spot.error(f"an ending follows here: write [{len(self._endings) + 1} before this")
        if number:
            self._end(at, int(number), spot)
            return
        last = self._marks[-1] if self._marks else 0
        if sign != "|:" and at == last:
            raise spot.error('stray "|": there is no note between it and the bar line before')
        if at != last:
            self._marks.append(at)
        if sign == "|:":
            self._open(at, spot)
        elif sign != "|":
            self._close(at, sign, int(match["times"] or 0), spot)

    def _open(self, at: int, spot: TextSpot) -> None:
        if self._opened:
            raise spot.error("a repeat inside a repeat: close the first one with :|")
        self._opened = (at, spot)

    def _start(self) -> int:
        if self._opened:
            return self._opened[0]
        return self._repeats[-1].stop if self._repeats else 0

    def _close(self, at: int, sign: str, times: int, spot: TextSpot) -> None:
        if sign == "]" and len(self._endings) < 2:
            raise spot.error("this ] closes no ending: endings begin with [1 and [2")
        if sign != "]" and self._endings:
            if times:
                raise spot.error("the endings say how often the repeat is played; drop the x")
            self._closed = (at, spot)
            return
        self._add(at, len(self._endings) or times or 2, spot)

    def _add(self, at: int, times: int, spot: TextSpot) -> None:
        endings = tuple(self._endings)
        self._repeats.append(spot.build(lambda: Repeat(self._start(), at, times, endings)))
        self._opened, self._endings = None, []

    def _end(self, at: int, number: int, spot: TextSpot) -> None:
        """The beginning of an ending."""
        bar = self._marks[-1] if self._marks else 0
        if number != len(self._endings) + 1:
            raise spot.error(f"expected [{len(self._endings) + 1}: endings count from 1")
        if at != bar or at <= self._start() or (number > 1 and not self._closed):
            before = ":|" if number > 1 else "| after the part that both endings share"
            raise spot.error(f"[{number} stands right behind a {before}")
        self._endings.append(at)
        self._closed = None
        self._opened = self._opened or (self._start(), spot)

    def bars(self, count: int) -> tuple[int, ...]:
        """Events behind a bar line."""
        return tuple(mark for mark in self._marks if mark < count)

    def repeats(self, count: int) -> tuple[Repeat, ...]:
        """The repeats; one with endings may end with the melody."""
        if self._closed or len(self._endings) == 1:
            spot = (self._closed or self._opened or (0, None))[1]
            assert spot is not None
            raise spot.error(
                "a repeat with a first ending has a second one: write [2 behind its :|"
            )
        if self._opened and not self._endings:
            raise self._opened[1].error("this repeat has no end: write :| where it goes back")
        if self._opened:
            self._add(count, len(self._endings), self._opened[1])
        return tuple(self._repeats)


def _check_bars(melody: Melody, events: list[Event]) -> None:
    """Bars add up to their meter; a pickup, the last, and those at a repeat sign may be short."""
    if not melody.bars or not melody.meters:
        return
    spans = list(melody.spans(melody.whole_bars))
    cuts = {sign for repeat in melody.repeats for sign in repeat.signs}
    for number, span in enumerate(spans):
        meter = melody.meter_at(span.start)
        beats = sum(melody.notes[i].beats for i in span)
        edge = number in (0, len(spans) - 1) or not cuts.isdisjoint((span.start, span.stop))
        if meter and (beats > meter.beats or (beats < meter.beats and not edge)):
            spot = events[span.stop - 1].spot
            over = events[span.start].spot.line != spot.line and beats > meter.beats
            hint = "; a bar goes on over the end of a line, unless a | stands there"
            raise spot.error(
                f"bar {melody.bar_numbers[span.start]} has {counted(beats, 'beat')} up to here, "
                f"the meter {meter} asks for {meter.beats}{hint if over else ''}"
            )


# -- words and chords ----------------------------------------------------------------------------


def _with_words(melody: Melody, lines: list[MusicLine]) -> Melody:
    """The melody with the syllables and chord names that stand under its lines."""
    for start, line in _placed_lines(lines):
        for name, value, spot in line.under:
            events = range(start, start + len(line.events))
            words = tuple(_words_under(melody, events, name, value, spot))
            melody = spot.build(partial(_add_words, melody, name, words))
    return melody


def _add_words(melody: Melody, name: str, words: tuple[tuple[int, str], ...]) -> Melody:
    if name == "words":
        return replace(melody, lyrics=melody.lyrics + words)
    return replace(melody, chords=melody.chords + words)


def _words_under(
    melody: Melody, events: range, name: str, value: str, spot: TextSpot
) -> Iterator[tuple[int, str]]:
    """(event, word) of a line of words or chords under a line of music."""
    bars = sorted({events.start, *melody.bars, *melody.phrases, len(melody.notes)})
    places = [e for e in events if name == "chords" or melody.notes[e].struck]
    what = "notes to sing" if name == "words" else "notes, rests and holds"
    since = at = 0
    for word in value.split():
        if word == "|":
            reached = places[at - 1] if at else events.start
            bar = next(bar for bar in bars if bar > reached)
            since = at = sum(place < bar for place in places)
            continue
        if at >= len(places):
            where = "behind the last | in" if since else "in"
            has = f"{what} {where} the line above: {at - since}"
            raise spot.error(f'"{word[:20]}" is one too many ({has})')
        if word != "_":
            yield places[at], word.replace("~", " ")
        at += 1


# -- pitches -------------------------------------------------------------------------------------


def _register(
    headers: Headers, events: list[Event], keys: list[tuple[int, Key]]
) -> tuple[int, bool]:
    """Octave of the tonic, and whether the instrument may choose another."""
    given = _header_value(headers, "octave", _octave)
    if given is not None:
        return given
    sounding = [_scientific(event.match) for event in events if event.match["octave"]]
    if not sounding:
        return WORKING_OCTAVE, True
    if not keys:
        return WORKING_OCTAVE, False
    return keys[0][1].octave_of(sounding), False


def _scientific(match: re.Match[str]) -> Pitch:
    alter = alter_of(match["accidentals"] or "")
    return Pitch.spelled(match["letter"], alter, int(match["octave"]))


def _resolve(
    events: list[Event], keys: list[tuple[int, Key]], octave: int, by_signature: bool
) -> Iterator[Note]:
    first = (keys[0][1] if keys else Key("C", "major")).tonic_pitch(octave)
    changes = dict(keys)
    key, tonic = None, first
    before = Note(None)
    last_pitch = first
    for index, event in enumerate(events):
        if index in changes:
            key = changes[index]
            tonic = key.tonic_near(first)
        match = event.match
        if match["rest"] or (match["hold"] and before.pitch is None):
            if match["hold"] and index == 0:
                raise event.spot.error("nothing to hold: a melody cannot begin with -")
            before = Note(None, event.beats)
        elif match["hold"]:
            before = Note(before.pitch, event.beats, tied=True)
        else:
            last_pitch = _pitch(match, key, tonic, last_pitch, by_signature)
            before = Note(last_pitch, event.beats, placement=_placement(match))
        yield before


def _pitch(
    match: re.Match[str], key: Key | None, tonic: Pitch, last: Pitch, by_signature: bool
) -> Pitch:
    if match["degree"]:
        degree = Degree.parse(match["degree"])
        if by_signature and key:
            degree = replace(degree, alter=degree.alter + key.signature_alters[degree.number - 1])
        return tonic + degree.interval
    if match["octave"]:
        return _scientific(match)
    name = Pitch.spelled(match["letter"], alter_of(match["accidentals"] or ""), 0)
    return name + OCTAVE.times((last.midi - name.midi + 6) // 12)


def _placement(match: re.Match[str]) -> Placement | None:
    if not match["place"]:
        return None
    string, fret = match["string"], match["fret"]
    return Placement(int(string) if string else None, int(fret) if fret else None)
