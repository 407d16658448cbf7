"""Melody text taken apart: headers, music lines, events; what they mean comes later.

Pure syntax: nothing here knows a pitch.  Everything keeps the spot it stands at, so that whatever
turns out to be wrong can be pointed at.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass, replace
from fractions import Fraction

from fretpath.errors import MelodySyntaxError
from fretpath.music.grammar import (
    EVENT,
    GROUP_END,
    HEADER,
    HEADERS,
    STRING_OF_TAB,
    TOKEN,
    TYPED,
)
from fretpath.music.slips import unknown_header, why_not

__all__ = ["MOST_NOTES", "Event", "Line", "Spot", "refuse_tab", "split"]

MOST_NOTES = 20_000
"""Events in a melody at the most."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Where in the text something stands, to point at it."""

    source: str
    """Name of the melody."""
    line: int
    """Line of the text, from 1."""
    column: int
    """Column of the line, from 1."""
    span: int
    """How many columns it covers."""
    text: str
    """The whole line."""

    def error(self, problem: str) -> MelodySyntaxError:
        """What is wrong here, with the line and a caret under the place."""
        return MelodySyntaxError(
            problem,
            source=self.source,
            line=self.line,
            column=self.column,
            span=self.span,
            text=self.text,
        )


@dataclass(frozen=True, slots=True)
class Event:
    """One event as written, before pitches are known."""

    match: re.Match[str]
    """Its parts, as named in :data:`~fretpath.music.grammar.EVENT`."""
    beats: Fraction
    """Length in beats."""
    spot: Spot
    """Where it stands."""


@dataclass(frozen=True, slots=True)
class Line:
    """One music line: its events, the bar lines before which of them, and what changes here."""

    events: tuple[Event, ...]
    """In the order of the text."""
    bars: tuple[tuple[int, Spot], ...]
    """(number of events before it in the line, where it stands) of each bar line."""
    changes: tuple[tuple[str, str, Spot], ...] = ()
    """(``key`` or ``meter``, value, where it stands) in force from this line on."""


def refuse_tab(text: str, source: str) -> None:
    """A text tab given for a melody: say which command reads it."""
    rows = [(number, row) for number, row in enumerate(text.splitlines(), 1) if "--" in row]
    strings = [(number, row) for number, row in rows if STRING_OF_TAB.fullmatch(row)]
    if len(strings) >= 3 and any(re.search(r"\d", row) for _, row in strings):
        number, row = strings[0]
        raise Spot(source, number, 1, len(row.rstrip()), row).error(
            "this is a text tab, no melody: "
            '"fretpath read TAB --melody -o tune.txt" makes one of it'
        )


def split(text: str, source: str) -> tuple[dict[str, tuple[str, Spot]], list[Line]]:
    """The headers with where they stand, and the music lines; comments and empty lines left out."""
    headers: dict[str, tuple[str, Spot]] = {}
    lines: list[Line] = []
    changes: list[tuple[str, str, Spot]] = []
    count = 0
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff")), start=1):
        _refuse_control(raw, source, number)
        if not raw.strip() or raw.lstrip().startswith(";"):
            continue
        match = HEADER.fullmatch(_small_name(raw))
        if match is None:
            line = _music_line(raw.translate(TYPED), source, number, room=MOST_NOTES - count)
            count += len(line.events)
            lines.append(replace(line, changes=tuple(changes) if line.events else ()))
            if line.events:
                changes.clear()
            continue
        name, value, spot = _header(match, source, number, raw)
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


def _header(match: re.Match[str], source: str, number: int, raw: str) -> tuple[str, str, Spot]:
    """Name and value of a header, and where it stands."""
    name, value = match[1], match[2].strip()
    start = match.start(1)
    spot = Spot(source, number, start + 1, len(raw.rstrip()) - start, raw)
    if name not in HEADERS:
        raise spot.error(unknown_header(name))
    if not value:
        raise spot.error(f"the header {name} has no value ({HEADERS[name]})")
    return name, value, spot


def _small_name(raw: str) -> str:
    """The line with the name of its header in small letters, should it begin with one."""
    name, colon, value = raw.partition(":")
    return f"{name.lower()}:{value}" if colon and name.strip().lower() in HEADERS else raw


def _refuse_control(raw: str, source: str, number: int) -> None:
    for column, char in enumerate(raw, start=1):
        if char != "\t" and unicodedata.category(char) in ("Cc", "Cs"):
            spot = Spot(source, number, column, 1, raw)
            kind = "control character" if unicodedata.category(char) == "Cc" else "broken character"
            raise spot.error(f"{kind} U+{ord(char):04X} in the text; delete it")


def _music_line(raw: str, source: str, number: int, *, room: int) -> Line:
    """One line of music with at most ``room`` events."""
    events: list[Event] = []
    bars: list[tuple[int, Spot]] = []
    group: tuple[int, Spot] | None = None
    for token in TOKEN.finditer(raw):
        word = token.group()
        spot = Spot(source, number, token.start() + 1, len(word), raw)
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
            raise spot.error(f"a melody has at most {MOST_NOTES} notes; split it")
        else:
            events.append(_event(word, spot))
    if group:
        raise group[1].error("expected a ) and a length, such as ):1/2, before the line ends")
    return Line(tuple(events), tuple(bars))


def _event(word: str, spot: Spot) -> Event:
    match = EVENT.fullmatch(word)
    if match is None or match["place"] == "@":
        raise spot.error(why_not(word))
    if match["place"] and (match["rest"] or match["hold"]):
        raise spot.error("only a note has a place on the neck, a rest or a hold has none")
    return Event(match, _beats(match), spot)


def _beats(match: re.Match[str]) -> Fraction:
    return Fraction(int(match["beats"] or 1), int(match["unit"] or 1))


def _group_length(word: str, spot: Spot) -> Fraction:
    match = GROUP_END.fullmatch(word)
    if match is None or match["beats"] is None:
        raise spot.error("expected the length of the group after ), such as ):1/2")
    return _beats(match)


def _in_group(event: Event, beats: Fraction) -> Event:
    if event.match["beats"]:
        raise event.spot.error("a note in a group takes the group's length; drop its own")
    return replace(event, beats=beats)
