"""Melody text: the notation a teacher types, both ways.

**Grammar.**  ::

    text      = header* music-line*         a line that begins with ; is a comment
    header    = name ":" value              title, key, meter, tempo, octave, degrees, source ...
    music     = (bar | group | event)*      one line is one phrase; between lines, key: or meter:
    group     = "(" (bar | event)* ")" length
    event     = (degree | note | "r" | "-") length? placement?
    degree    = ("b"+ | "#"+)? number (","+ | "'"+)?
    note      = A-G ("b"+ | "#"+)? (octave | ","+ | "'"+)?
    length    = ":" whole ("/" whole)?      beats; 1 when left out
    placement = "@" string? ("-" fret)?
    bar       = "|"

A note without an octave is the nearest in sound to the note before (the upper one when two are
as near), moved by its marks; the first one counts from the tonic.  If nothing fixes the octave
(no ``octave:`` header and no note with an octave) the register is left to the instrument.

:func:`parse_melody` and :func:`format_melody` are a pair: ``parse_melody(format_melody(m)) == m``.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from fretpath.errors import FretpathError, MelodySyntaxError, RequestError, nearest
from fretpath.music.key import Degree, Key
from fretpath.music.melody import WORKING_OCTAVE, Melody, Meter, Note, Placement
from fretpath.music.pitch import OCTAVE, Pitch, alter_of
from fretpath.music.words import counted

__all__ = ["format_melody", "parse_melody"]

HEADERS = {
    "title": "what the tune is called",
    "key": "tonic and mode, such as B major; also between music lines",
    "meter": "beats/unit, such as 3/4; also between music lines",
    "tempo": "beats a minute",
    "octave": "octave number of the tonic, sounding; left out, the instrument decides",
    "degrees": "major (counted against the major scale) or key (against the key signature)",
    "source": "where the tune comes from",
    "teaches": "what the tune is for",
    "level": "the teacher's own place for it in the order, a number",
}
_KEPT = ("source", "teaches", "level")
_LEAST_OCTAVE = -1
_MOST_ACCIDENTALS = 3
_MOST_NOTES = 20_000
T = TypeVar("T")

# A line of rests and holds such as "r r:2" is music and no header.
_HEADER = re.compile(r"\s*(?![r -]+:)([a-z][a-z -]{2,20}?)\s*:(.*)")
_LENGTH = r"(?::(?P<beats>[1-9]\d{0,3})(?:/(?P<unit>[1-9]\d{0,3}))?)?"
_PLACE = r"(?P<place>@(?P<string>\d{1,2})?(?:-(?P<fret>\d{1,2}))?)?"
_DEGREE = r"(?P<degree>(?:#{1,3}|b{1,3})?[1-9]\d?(?:,{1,9}|'{1,9})?)"
_NOTE = (
    r"(?P<letter>[A-G])(?P<accidentals>#{1,3}|b{1,3})?"
    r"(?:(?P<octave>-?\d)|(?P<marks>,{1,9}|'{1,9}))?"
)
_EVENT = re.compile(rf"(?:{_DEGREE}|{_NOTE}|(?P<rest>r)|(?P<hold>-)){_LENGTH}{_PLACE}")
_GROUP_END = re.compile(rf"\){_LENGTH}")
_TOKEN = re.compile(r"\||\(|\)[^\s()|]*|[^\s()|]+")
_TYPED = str.maketrans("\u266d\u266f\u2018\u2019\u2032\u2013\u2014\u2212", "b#'''---")
"""What a word processor makes of b, #, the apostrophe and the hyphen, back to what was typed."""
_OTHER_NAMES = {"time": "meter", "bpm": "tempo", "speed": "tempo", "name": "title"}
_SYLLABLES = {"do", "re", "mi", "fa", "so", "sol", "la", "ti", "si"}
_STRING_OF_TAB = re.compile(r"\s*[A-Ga-g]?[#b]?\d?\s*[|:]?[^:;]*--[^:;]*")


@dataclass(frozen=True, slots=True)
class _Spot:
    """Where in the text something stands, to point at it."""

    source: str
    line: int
    column: int
    span: int
    text: str

    def error(self, problem: str) -> MelodySyntaxError:
        return MelodySyntaxError(
            problem,
            source=self.source,
            line=self.line,
            column=self.column,
            span=self.span,
            text=self.text,
        )


@dataclass(frozen=True, slots=True)
class _Event:
    """One event as written, before pitches are known."""

    match: re.Match[str]
    beats: Fraction
    spot: _Spot


@dataclass(frozen=True, slots=True)
class _Line:
    """One music line: its events, the bar lines before which of them, and what changes here."""

    events: tuple[_Event, ...]
    bars: tuple[tuple[int, _Spot], ...]
    changes: tuple[tuple[str, str, _Spot], ...] = ()


def parse_melody(text: str, *, key: str | Key | None = None, source: str = "melody") -> Melody:
    """The melody a text describes.

    >>> melody = parse_melody("key: B major\\n\\n1 5 8 9 10")
    >>> [str(pitch) for pitch in melody.in_octave(1).pitches]
    ['B1', 'F#2', 'B2', 'C#3', 'D#3']

    *key* replaces the key of the text: degrees are read in the new key, and later key lines move
    along.  A text of degrees without any key is read in C major.

    >>> str(parse_melody("1 3 5", key="Eb").pitches[2].name)
    'Bb'

    *source* names the melody in error messages.  Raises :class:`MelodySyntaxError`, with line,
    column and a caret under the fault.
    """
    _refuse_tab(text, source)
    headers, lines = _split(text, source)
    events = [event for line in lines for event in line.events]
    if not events:
        whole = _Spot(source, 1, 1, 1, text.split("\n", 1)[0])
        raise whole.error("there is no note in this melody: write degrees such as 1 5 8")
    keys, meters = _changes(headers, lines, key)
    if not keys and any(event.match["degree"] for event in events):
        keys = [(0, Key("C", "major"))]
    octave, octave_free = _register(headers, events, keys)
    by_signature = _header_value(headers, "degrees", _convention) or False
    melody = Melody(
        notes=tuple(_resolve(events, keys, octave, by_signature)),
        keys=tuple(keys),
        meters=tuple(meters),
        bars=tuple(_bar_marks(lines)),
        phrases=tuple(_phrase_marks(lines)),
        octave=octave,
        octave_free=octave_free,
        title=headers["title"][0] if "title" in headers else "",
        tempo=_header_value(headers, "tempo", _tempo),
        headers=tuple((n, v) for n, (v, _) in headers.items() if n in _KEPT),
    )
    _check_bars(melody, events)
    return melody


# -- lines ---------------------------------------------------------------------------------------


def _refuse_tab(text: str, source: str) -> None:
    """A text tab given for a melody: say which command reads it."""
    rows = [(number, row) for number, row in enumerate(text.splitlines(), 1) if "--" in row]
    strings = [(number, row) for number, row in rows if _STRING_OF_TAB.fullmatch(row)]
    if len(strings) >= 3 and any(re.search(r"\d", row) for _, row in strings):
        number, row = strings[0]
        raise _Spot(source, number, 1, len(row.rstrip()), row).error(
            "this is a text tab, no melody: "
            '"fretpath read TAB --melody -o tune.txt" makes one of it'
        )


def _split(text: str, source: str) -> tuple[dict[str, tuple[str, _Spot]], list[_Line]]:
    headers: dict[str, tuple[str, _Spot]] = {}
    lines: list[_Line] = []
    changes: list[tuple[str, str, _Spot]] = []
    count = 0
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff")), start=1):
        _refuse_control(raw, source, number)
        if not raw.strip() or raw.lstrip().startswith(";"):
            continue
        match = _HEADER.fullmatch(_small_name(raw))
        if match is None:
            line = _music_line(raw.translate(_TYPED), source, number, room=_MOST_NOTES - count)
            count += len(line.events)
            lines.append(replace(line, changes=tuple(changes) if line.events else ()))
            if line.events:
                changes.clear()
            continue
        name, value = match[1], match[2].strip()
        start = match.start(1)
        spot = _Spot(source, number, start + 1, len(raw.rstrip()) - start, raw)
        if name not in HEADERS:
            raise spot.error(_unknown_header(name))
        if not value:
            raise spot.error(f"the header {name} has no value ({HEADERS[name]})")
        if lines:
            if name not in ("key", "meter"):
                raise spot.error("only key: and meter: may stand between music lines")
            changes.append((name, value, spot))
        elif name in headers:
            raise spot.error(f"the header {name} stands twice")
        else:
            headers[name] = (value, spot)
    if changes:
        raise changes[-1][2].error("a change of key or meter at the end changes nothing")
    return headers, lines


def _small_name(raw: str) -> str:
    """The line with the name of its header in small letters, should it begin with one."""
    name, colon, value = raw.partition(":")
    return f"{name.lower()}:{value}" if colon and name.strip().lower() in HEADERS else raw


def _unknown_header(name: str) -> str:
    other = _OTHER_NAMES.get(name.split()[0])
    hint = f'; did you mean "{other}"?' if other else nearest(name, HEADERS)
    return f'unknown header "{name}"{hint} (known: {", ".join(HEADERS)})'


def _refuse_control(raw: str, source: str, number: int) -> None:
    for column, char in enumerate(raw, start=1):
        if char != "\t" and unicodedata.category(char) in ("Cc", "Cs"):
            spot = _Spot(source, number, column, 1, raw)
            kind = "control character" if unicodedata.category(char) == "Cc" else "broken character"
            raise spot.error(f"{kind} U+{ord(char):04X} in the text; delete it")


def _music_line(raw: str, source: str, number: int, *, room: int) -> _Line:
    """One line of music with at most ``room`` events."""
    events: list[_Event] = []
    bars: list[tuple[int, _Spot]] = []
    group: tuple[int, _Spot] | None = None
    for token in _TOKEN.finditer(raw):
        word = token.group()
        spot = _Spot(source, number, token.start() + 1, len(word), raw)
        if word == "|":
            bars.append((len(events), spot))
        elif word == "(":
            if group:
                raise spot.error("a group inside a group: close the first one with ) and a length")
            group = (len(events), spot)
        elif word.startswith(")"):
            if group is None:
                raise spot.error("expected a ( before this )")
            beats = _group_length(word, spot)
            events[group[0] :] = [_in_group(event, beats) for event in events[group[0] :]]
            group = None
        elif len(events) == room:
            raise spot.error(f"a melody has at most {_MOST_NOTES} notes; split it")
        else:
            events.append(_event(word, spot))
    if group:
        raise group[1].error("expected a ) and a length, such as ):1/2, before the line ends")
    return _Line(tuple(events), tuple(bars))


def _event(word: str, spot: _Spot) -> _Event:
    match = _EVENT.fullmatch(word)
    if match is None or match["place"] == "@":
        raise spot.error(_why_not(word))
    if match["place"] and (match["rest"] or match["hold"]):
        raise spot.error("only a note has a place on the neck, a rest or a hold has none")
    return _Event(match, _beats(match), spot)


def _why_not(word: str) -> str:
    """What was expected where ``word`` stands; the commonest slips by name."""
    if re.match(r"[#b]*0", word):
        return f'"{word[:20]}": degrees count from 1 (the octave below is 1,)'
    if re.match(r"[hH]", word):
        return f'"{word[:20]}": there is no note H here; write B (or Bb)'
    if re.match(r"[a-g][#b]*-?\d", word):
        return f'"{word[:20]}": note letters are capitals; write {word[:1].upper()}{word[1:20]}'
    if re.match(r"[1-9]\d?[#b]", word):
        return f'"{word[:20]}": the accidental stands before the number, such as b3 or #4'
    if re.fullmatch(r"[^@:]+@[\d-]*:.*", word):
        return f'"{word[:20]}": the length comes before the place, such as 5:2@4-8'
    if re.fullmatch(r"[A-Za-z]{3,}:", word):
        return _unknown_header(word[:20].rstrip(":").lower())
    if word.endswith("@"):
        return "expected a string, a fret or both after @, such as @4-8, @4 or @-8"
    remark = "; a remark stands on a line that begins with ;"
    return (
        f'"{word[:20]}" is no note: expected a degree (5, b3, #4, 10), a note (Bb2), '
        "r, - or |, with a length such as :1/2 behind it"
        f"{_slip(word) or (remark if re.fullmatch('[A-Za-z]{3,20}', word) else '')}"
    )


def _slip(word: str) -> str:
    """What a teacher who wrote ``word`` most likely meant, to end the message; or nothing."""
    if word.lower() in _SYLLABLES:
        return "; for syllables write do 1, re 2, mi 3, fa 4, so 5, la 6, ti 7"
    if re.fullmatch(r"[-_.][#b]*\d+|[#b]*\d+\.", word):
        number = word.strip("-_.")
        return f"; an octave down is written {number}, (with a comma), an octave up {number}'"
    if re.match(r":\d", word):
        return "; a length stands right behind its note, without a space"
    if re.fullmatch(r"[^:]+:\d*\.\d+", word) or re.fullmatch(r"[^:/]+/\d+", word):
        return f"; write half a beat {re.split('[:/]', word)[0][:20]}:1/2, one and a half :3/2"
    return ""


def _beats(match: re.Match[str]) -> Fraction:
    return Fraction(int(match["beats"] or 1), int(match["unit"] or 1))


def _group_length(word: str, spot: _Spot) -> Fraction:
    match = _GROUP_END.fullmatch(word)
    if match is None or match["beats"] is None:
        raise spot.error("expected the length of the group after ), such as ):1/2")
    return _beats(match)


def _in_group(event: _Event, beats: Fraction) -> _Event:
    if event.match["beats"]:
        raise event.spot.error("a note in a group takes the group's length; drop its own")
    return replace(event, beats=beats)


# -- headers and marks ---------------------------------------------------------------------------


def _header_value(
    headers: dict[str, tuple[str, _Spot]], name: str, read: Callable[[str], T]
) -> T | None:
    if name not in headers:
        return None
    value, spot = headers[name]
    return _read(value, spot, read)


def _read(value: str, spot: _Spot, read: Callable[[str], T]) -> T:
    """``read(value)``, with the place in the text added to whatever it complains about."""
    try:
        return read(value)
    except FretpathError as problem:
        raise spot.error(str(problem)) from None


def _convention(value: str) -> bool:
    if value not in ("major", "key"):
        raise RequestError("degrees are counted against the major scale or the key: major or key")
    return value == "key"


def _tempo(value: str) -> Fraction:
    match = re.fullmatch(r"\d{1,3}(?:\.\d{1,3})?", value)
    if match is None or not 10 <= Fraction(value) <= 400:
        raise RequestError("a tempo is a number of beats a minute from 10 to 400")
    return Fraction(value)


def _octave(value: str) -> int:
    if re.fullmatch(r"-1|\d", value) is None:
        raise RequestError("an octave is a whole number from -1 to 9; C4 is middle C")
    return int(value)


def _changes(
    headers: dict[str, tuple[str, _Spot]], lines: list[_Line], wanted: str | Key | None
) -> tuple[list[tuple[int, Key]], list[tuple[int, Meter]]]:
    """Keys and meters in force, by event index; ``wanted`` replaces the first key."""
    keys: list[tuple[int, Key]] = []
    meters: list[tuple[int, Meter]] = []
    written = _header_value(headers, "key", Key.parse)
    meter = _header_value(headers, "meter", Meter.parse)
    first = Key.parse(wanted) if isinstance(wanted, str) else wanted or written
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
                _append_change(meters, (start, _read(value, spot, Meter.parse)), spot)
                continue
            key = _read(value, spot, Key.parse)
            if moved is None:
                raise spot.error("the key changes here, but the first key is not given: add key:")
            tonic = (key.tonic_pitch(WORKING_OCTAVE) + moved).name
            _append_change(keys, (start, Key(tonic, key.mode)), spot)
        start += len(line.events)
    return keys, meters


def _append_change(changes: list[tuple[int, T]], change: tuple[int, T], spot: _Spot) -> None:
    if changes and changes[-1][0] == change[0]:
        raise spot.error("two changes of the same kind at one place; keep one")
    if not changes:
        raise spot.error("the meter changes here, but the first meter is not given: add meter:")
    changes.append(change)


def _bar_marks(lines: list[_Line]) -> Iterator[int]:
    total = sum(len(line.events) for line in lines)
    start, last = 0, 0
    for line in lines:
        for at, spot in line.bars:
            mark = start + at
            if mark == last:
                raise spot.error('stray "|": there is no note between it and the bar line before')
            last = mark
            if mark < total:
                yield mark
        start += len(line.events)


def _phrase_marks(lines: list[_Line]) -> Iterator[int]:
    start = 0
    for line in lines:
        if start and line.events:
            yield start
        start += len(line.events)


def _check_bars(melody: Melody, events: list[_Event]) -> None:
    """Every bar but a pickup and the last one must add up to its meter."""
    if not melody.bars or not melody.meters:
        return
    spans = list(melody.spans(melody.bars))
    for number, span in enumerate(spans):
        meter = melody.meter_at(span.start)
        beats = sum(melody.notes[i].beats for i in span)
        edge = number in (0, len(spans) - 1)
        if meter and (beats > meter.beats or (beats < meter.beats and not edge)):
            spot = events[span.stop - 1].spot
            over = events[span.start].spot.line != spot.line and beats > meter.beats
            raise spot.error(
                f"bar {melody.bar_numbers[span.start]} has {counted(beats, 'beat')} up to here, "
                f"the meter {meter} asks for {meter.beats}"
                f"{_LINE_END if over else ''}"
            )


_LINE_END = "; a bar goes on over the end of a line, unless a | stands there"


# -- pitches -------------------------------------------------------------------------------------


def _register(
    headers: dict[str, tuple[str, _Spot]], events: list[_Event], keys: list[tuple[int, Key]]
) -> tuple[int, bool]:
    """Octave of the tonic, and whether the instrument may choose another."""
    given = _header_value(headers, "octave", _octave)
    if given is not None:
        return given, False
    sounding = [_scientific(event.match) for event in events if event.match["octave"]]
    if not sounding:
        return WORKING_OCTAVE, True
    if not keys:
        return WORKING_OCTAVE, False
    key = keys[0][1]
    tonics = [pitch for pitch in sounding if pitch.name == key.tonic]
    return max(_LEAST_OCTAVE, key.tonic_below(min(tonics or sounding)).octave), False


def _scientific(match: re.Match[str]) -> Pitch:
    alter = alter_of(match["accidentals"] or "")
    return Pitch.spelled(match["letter"], alter, int(match["octave"]))


def _resolve(
    events: list[_Event], keys: list[tuple[int, Key]], octave: int, by_signature: bool
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
    marks = match["marks"] or ""
    name = Pitch.spelled(match["letter"], alter_of(match["accidentals"] or ""), 0)
    near = name + OCTAVE.times((last.midi - name.midi + 6) // 12)
    return near + OCTAVE.times(marks.count("'") - marks.count(","))


def _placement(match: re.Match[str]) -> Placement | None:
    if not match["place"]:
        return None
    string, fret = match["string"], match["fret"]
    return Placement(int(string) if string else None, int(fret) if fret else None)


# -- back to text --------------------------------------------------------------------------------


def format_melody(melody: Melody) -> str:
    """The text of a melody, such that :func:`parse_melody` gives the melody back.

    >>> print(format_melody(parse_melody("1 (2 3):1/2 | 5 -", key="G")), end="")
    key: G major
    <BLANKLINE>
    1 2:1/2 3:1/2 | 5 -

    Notes are written as degrees; without a key, or with more than three accidentals before the
    degree, as letters.  One phrase stands on one line, and
    a bar line at the end of a phrase ends its line.  The text ends with a newline.
    """
    keys, meters = dict(melody.keys), dict(melody.meters)
    head = [
        ("title", melody.title),
        ("key", str(keys.pop(0, ""))),
        ("meter", str(meters.pop(0, ""))),
        ("tempo", "" if melody.tempo is None else f"{float(melody.tempo):g}"),
        ("octave", "" if melody.octave_free else str(melody.octave)),
    ]
    lines = [f"{name}: {value}" for name, value in (*head, *melody.headers) if value]
    lines.append("")
    words = _words(melody)
    bars = set(melody.bars)
    for span in melody.spans(melody.phrases):
        for name, changes in (("key", keys), ("meter", meters)):
            if span.start in changes:
                lines.append(f"{name}: {changes[span.start]}")
        row = " ".join(f"| {words[i]}" if i in bars and i != span.start else words[i] for i in span)
        lines.append(row + " |" * (span.stop in bars))
    return "\n".join(lines) + "\n"


def _words(melody: Melody) -> list[str]:
    degrees = iter(melody.degrees)
    last = melody.tonic or Pitch.spelled("C", 0, melody.octave)
    words = []
    for note in melody.notes:
        if note.struck and note.pitch:
            degree = next(degrees)
            plain = degree is not None and abs(degree.alter) <= _MOST_ACCIDENTALS
            word = str(degree) if plain else _letter(note.pitch, last, melody.octave_free)
            last = note.pitch
        else:
            word = "r" if note.pitch is None else "-"
        length = "" if note.beats == 1 else f":{note.beats}"
        words.append(f"{word}{length}{note.placement or ''}")
    return words


def _letter(pitch: Pitch, last: Pitch, octave_free: bool) -> str:
    """A note by its letter: with its octave, or with the marks that lead to it from ``last``."""
    if not octave_free:
        return str(pitch)
    octaves = -((last.midi - pitch.midi + 6) // 12)
    return pitch.name + ("'" * octaves if octaves > 0 else "," * -octaves)
