"""Melody text taken apart: its grammar, its headers and music lines, and its commonest slips.

Pure syntax: nothing here knows a pitch.  Everything keeps the spot it stands at, so that whatever
turns out to be wrong can be pointed at.

**Grammar.**  ::

    text      = header* music-line*         a line that begins with ; is a comment
    header    = name ":" value              title, key, meter, tempo, octave, degrees, source ...
    music     = (bar | group | event)*      one line is one phrase; between lines, key: or meter:,
                                            and under a line its chords: and words:
    group     = "(" (bar | event)* ")" length
    event     = (degree | note | "r" | "-") length? placement?
    degree    = ("b"+ | "#"+)? number (","+ | "'"+)?
    note      = A-G ("b"+ | "#"+)? octave?
    length    = ":" whole ("/" whole)?      beats; 1 when left out
    placement = "@" string? ("-" fret)?
    bar       = "|" | "|:" | ":|" ("x" times)? | "[" ending | "]"
    chords    = ("_" | name | "|")*         one for each event; | goes on to the next bar
    words     = ("_" | syllable | "|")*     one for each struck note

**Where the signs come from.**  Accidentals before the degree are common practice; a comma or an
apostrophe behind it stands for the dot below or above in numbered notation, and the dash that
holds a note is that notation's own; a note is a letter and the number of its octave (scientific
pitch notation); ``|`` is the bar line, and the dots of a printed repeat make ``|:`` and ``:|``.  An
ending opens with its number as the bracket over it does, ``[1``, and ``]`` closes the last one.
Lengths are plain fractions of a beat, and ``@`` says "at".
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TypeVar

from fretpath.errors import MelodySyntaxError, RequestError, nearest
from fretpath.music.melody import MOST_EVENTS

T = TypeVar("T")

HEADERS = {
    "title": "what the tune is called",
    "key": "tonic and mode, such as B major; also between music lines",
    "meter": "beats/unit, such as 3/4; also between music lines",
    "words": "under a line of music: a syllable for each note, _ for none",
    "chords": "under a line of music: a chord name for each note, rest or hold, _ for none",
    "tempo": "beats a minute",
    "octave": "octave of the tonic, sounding; left out, or free behind it, the instrument decides",
    "degrees": "major (counted against the major scale) or key (against the key signature)",
    "source": "where the tune comes from",
    "teaches": "what the tune is for",
    "level": "the teacher's own place for it in the order, a number",
}
"""Name of each header, and what it says."""

OTHER_NAMES = {
    "time": "meter", "time signature": "meter", "metre": "meter", "takt": "meter",
    "bpm": "tempo", "speed": "tempo", "name": "title", "titel": "title", "tune": "title",
    "song": "title", "tonart": "key", "key signature": "key", "tonality": "key", "scale": "key",
    "from": "source", "composer": "source", "by": "source", "k": "key", "q": "tempo",
    "oct": "octave", "quarter": "tempo", "crotchet": "tempo", "piece": "title",
}  # fmt: skip
"""Other names of the headers, as people write them."""

UNDER = ("words", "chords")
"""Headers that stand under a line of music."""
KEPT = ("source", "teaches", "level")
"""Headers that only go along with the tune."""

_LENGTH = r"(?::(?P<beats>[1-9]\d{0,3})(?:/(?P<unit>[1-9]\d{0,3}))?)?"
_PLACE = r"(?P<place>@(?P<string>\d{1,2})?(?:-(?P<fret>\d{1,2}))?)?"
_DEGREE = r"(?P<degree>(?:#{1,3}|b{1,3})?[1-9]\d?(?:,{1,9}|'{1,9})?)"
_NOTE = (
    r"(?P<letter>[A-G])(?P<accidentals>#{1,3}|b{1,3})?"
    r"(?P<octave>-?\d)?"
)
EVENT = re.compile(rf"(?:{_DEGREE}|{_NOTE}|(?P<rest>r)|(?P<hold>-)){_LENGTH}{_PLACE}")
_GROUP_END = re.compile(rf"\){_LENGTH}")
BAR = re.compile(r"\|:?|:\|(?:x(?P<times>\d{1,2}))?|\[(?P<ending>\d{1,2})|\]")
_WORD = r"(?:(?!:\|)[^\s()|\]])"
TOKEN = re.compile(
    rf"(?P<bar>\|:?|:\|(?:x\d{{1,2}})?|\[\d{{1,2}}(?![^\s|])|\])|\(|\){_WORD}*|{_WORD}+"
)
TYPED = str.maketrans("\u266d\u266f\u2018\u2019\u2032\u2013\u2014\u2212", "b#'''---")
"""Signs that a word processor makes of b, #, the apostrophe and the hyphen, back to those."""


@dataclass(frozen=True, slots=True)
class TextSpot:
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
        """An error that tells what is wrong here, with the line and a caret under the place."""
        return MelodySyntaxError(
            problem,
            source=self.source,
            line=self.line,
            column=self.column,
            span=self.span,
            text=self.text,
        )

    def build(self, value: Callable[[], T]) -> T:
        """Build a value of the text here; its complaints point at this place."""
        try:
            return value()
        except RequestError as problem:
            raise self.error(str(problem)) from None


@dataclass(frozen=True, slots=True)
class Event:
    """One event as written, before pitches are known."""

    match: re.Match[str]
    """Its parts, as named in :data:`EVENT`."""
    beats: Fraction
    """Length in beats."""
    spot: TextSpot
    """Where it stands."""


@dataclass(frozen=True, slots=True)
class MusicLine:
    """One music line: its events, its bar signs, what changes here and what stands under it."""

    events: tuple[Event, ...]
    """In the order of the text."""
    signs: tuple[tuple[int, str, TextSpot], ...]
    """(number of events before it in the line, the sign, where it stands) of each bar sign."""
    changes: tuple[tuple[str, str, TextSpot], ...] = ()
    """(``key`` or ``meter``, value, where it stands) in force from this line on."""
    under: tuple[tuple[str, str, TextSpot], ...] = ()
    """(``words`` or ``chords``, value, where it stands) of the lines below."""


Headers = dict[str, tuple[str, TextSpot]]
"""Value of each header, and where it stands."""


def refuse_tab(text: str, source: str) -> None:
    """Say of a text tab given for a melody which command reads it."""
    strings = [(n, row) for n, row in enumerate(text.splitlines(), 1) if _is_string_of_tab(row)]
    if len(strings) >= 3 and any(re.search(r"\d", row) for _, row in strings):
        number, row = strings[0]
        raise TextSpot(source, number, 1, len(row.rstrip()), row).error(
            "this is a text tab, not a melody: "
            '"fretpath read TAB --melody -o tune.txt" makes one of it'
        )


def _is_string_of_tab(row: str) -> bool:
    start = re.match(r"[A-Ga-g]?[#b]?\d?\s*[|:]?", row.lstrip())
    body = row.lstrip()[start.end() :] if start else ""
    return "--" in body and not {":", ";"}.intersection(body)


def split(text: str, source: str) -> tuple[Headers, list[MusicLine]]:
    """The headers with where they stand, and the music lines; comments and empty lines left out."""
    headers: Headers = {}
    lines: list[MusicLine] = []
    changes: list[tuple[str, str, TextSpot]] = []
    count = 0
    for number, raw in rows(text, source):
        name, colon, _ = raw.partition(":")
        if not (colon and _is_header_name(name)):
            line = music_line(raw.translate(TYPED), source, number, room=MOST_EVENTS - count)
            count += len(line.events)
            lines.append(replace(line, changes=tuple(changes) if line.events else ()))
            if line.events:
                changes.clear()
            continue
        name, value, spot = _header(source, number, raw)
        if name in UNDER:
            _put_under(lines, changes, name, value, spot)
        elif lines:
            if name not in ("key", "meter"):
                raise spot.error(
                    "only key:, meter:, words: and chords: may stand between music lines"
                )
            changes.append((name, value, spot))
        elif name in headers:
            raise spot.error(f"the header {name} stands twice")
        else:
            headers[name] = (value, spot)
    if changes:
        raise changes[-1][2].error("a change of key or meter at the end changes nothing")
    return headers, lines


def numbered_lines(text: str) -> Iterator[tuple[int, str]]:
    """Each line of a text with its number, however the lines end."""
    return enumerate(re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff")), start=1)


def rows(text: str, source: str) -> Iterator[tuple[int, str]]:
    """Number and text of each line that says something; control characters are refused."""
    for number, raw in numbered_lines(text):
        _refuse_control(raw, source, number)
        if raw.strip() and not raw.lstrip().startswith(";"):
            yield number, raw


def _is_header_name(text: str) -> bool:
    """Whether what stands before a colon is the name of a header, known or not."""
    name = text.strip()
    if name.lower() in HEADERS:
        return True
    # A line of rests and holds such as "r r:2" is music and no header.
    return re.fullmatch(r"[a-z][a-z -]{2,20}", name) is not None and bool(set(name) - set("r -"))


def _header(source: str, number: int, raw: str) -> tuple[str, str, TextSpot]:
    """Name and value of a header, and where it stands."""
    before, _, after = raw.partition(":")
    name, value = before.strip().lower(), after.strip()
    start = len(raw) - len(raw.lstrip())
    spot = TextSpot(source, number, start + 1, len(raw.rstrip()) - start, raw)
    if name not in HEADERS:
        raise spot.error(unknown_header(name))
    if not value:
        raise spot.error(f"the header {name} has no value ({HEADERS[name]})")
    return name, value, spot


def _put_under(
    lines: list[MusicLine],
    changes: list[tuple[str, str, TextSpot]],
    name: str,
    value: str,
    spot: TextSpot,
) -> None:
    """Give the words or chords to the music line they stand under."""
    if not lines or changes:
        raise spot.error(f"{name}: stands under the line of music it belongs to")
    if any(other == name for other, _, _ in lines[-1].under):
        raise spot.error(f"a line of music has one line of {name}; put both in one")
    lines[-1] = replace(lines[-1], under=(*lines[-1].under, (name, value, spot)))


def _refuse_control(raw: str, source: str, number: int) -> None:
    for column, char in enumerate(raw, start=1):
        if char != "\t" and unicodedata.category(char) in ("Cc", "Cs"):
            spot = TextSpot(source, number, column, 1, raw)
            kind = "control character" if unicodedata.category(char) == "Cc" else "broken character"
            raise spot.error(f"{kind} U+{ord(char):04X} in the text; delete it")


def music_line(raw: str, source: str, number: int, *, room: int = MOST_EVENTS) -> MusicLine:
    """One line of music with at most ``room`` events."""
    events: list[Event] = []
    signs: list[tuple[int, str, TextSpot]] = []
    group: tuple[int, TextSpot] | None = None
    for token in TOKEN.finditer(raw):
        word = token.group()
        spot = TextSpot(source, number, token.start() + 1, len(word), raw)
        if token["bar"]:
            signs.append((len(events), word, spot))
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
            raise spot.error(f"a melody has at most {MOST_EVENTS} notes; split it")
        else:
            events.append(_event(word, spot))
    if group:
        raise group[1].error("expected a ) and a length, such as ):1/2, before the line ends")
    return MusicLine(tuple(events), tuple(signs))


def _event(word: str, spot: TextSpot) -> Event:
    match = EVENT.fullmatch(word)
    if match is None or match["place"] == "@":
        raise spot.error(why_not(word))
    if match["place"] and (match["rest"] or match["hold"]):
        raise spot.error("only a note has a place on the neck, a rest or a hold has none")
    return Event(match, _beats(match), spot)


def _beats(match: re.Match[str]) -> Fraction:
    return Fraction(int(match["beats"] or 1), int(match["unit"] or 1))


def _group_length(word: str, spot: TextSpot) -> Fraction:
    match = _GROUP_END.fullmatch(word)
    if match is None or match["beats"] is None:
        raise spot.error("expected the length of the group after ), such as ):1/2")
    return _beats(match)


def _in_group(event: Event, beats: Fraction) -> Event:
    if event.match["beats"]:
        raise event.spot.error("a note in a group takes the group's length; drop its own")
    return replace(event, beats=beats)


# -- slips ----------------------------------------------------------------------------------------

_SYLLABLES = "do|re|mi|fa|sol?|la|ti|si"
_SLIPS = (
    (r"[#b]*0.*", "degrees count from 1 (the octave below is 1,)"),
    (
        r"[hH](?:#|b|is)?-?\d?(?:[:@].*)?",
        "H is the German name of B; write B (and Bb for the German B)",
    ),
    (r"[a-g][#b]*-?\d.*", "note letters are capitals; write {capital}"),
    (
        r"[A-G][#b]{0,3}[,']+",
        "a note has its octave as a number, such as {bare}2 or {bare}5",
    ),
    (r"[1-9]\d?[#b].*", "the accidental stands before the number, such as b3 or #4"),
    (r"[^@:]+@[\d-]*:.*", "the length comes before the place, such as 5:2@4-8"),
)
"""A word that is no event, and what is told instead."""
_HINTS = (
    (rf"(?i:{_SYLLABLES})", "for syllables write do 1, re 2, mi 3, fa 4, so 5, la 6, ti 7"),
    (
        r"[-_.][#b]*\d+|[#b]*\d+\.",
        "an octave down is written {bare}, (with a comma), an octave up {bare}'",
    ),
    (r"\+[#b]*\d+", "a raised degree is written #{bare}, an octave up {bare}'"),
    (r":\d.*", "a length stands right behind its note, without a space"),
    (
        r"[^:]+:\d*\.\d+|[^:/]+/\d+",
        "write half a beat {note}:1/2, one and a half :3/2",
    ),
    (r"[A-Za-z]{3,20}", "a remark stands on a line that begins with ;"),
)
"""A word that is no event, and what ends the sentence about it."""


def why_not(word: str) -> str:
    """Tell what was expected where ``word`` stands; the commonest slips by name."""
    if slip := _told(_SLIPS, word):
        return f'"{word[:20]}": {slip}'
    if re.fullmatch(r"[A-Za-z]{3,}:", word):
        name = word[:20].rstrip(":").lower()
        own = f"{name}: stands on a line of its own"
        return own if name in HEADERS else unknown_header(name)
    if word.endswith("@"):
        return "expected a string, a fret or both after @, such as @4-8, @4 or @-8"
    hint = _told(_HINTS, word)
    return (
        f'"{word[:20]}" is not a note: expected a degree (5, b3, #4, 10), a note (Bb2), '
        f"r, - or |, with a length such as :1/2 behind it{'; ' if hint else ''}{hint}"
    )


def _told(table: tuple[tuple[str, str], ...], word: str) -> str:
    """The sentence that a table of slips has for a word; the empty string if it has none."""
    told = next((told for pattern, told in table if re.fullmatch(pattern, word)), "")
    note = re.split("[:/]", word)[0][:20]
    capital = f"{word[:1].upper()}{word[1:20]}"
    return told.format(capital=capital, bare=word.strip("-_.+,'"), note=note)


def header_named(name: str) -> str:
    """The header that a word names, in any of the usual words; empty for none.

    >>> header_named("Time signature"), header_named("words"), header_named("verse")
    ('meter', 'words', '')
    """
    known = OTHER_NAMES.get(name.strip().lower(), name.strip().lower())
    return known if known in HEADERS else ""


def unknown_header(name: str) -> str:
    """A header nobody knows, with the one that was most likely meant."""
    other = OTHER_NAMES.get(name) or OTHER_NAMES.get(name.split()[0])
    hint = f'; did you mean "{other}"?' if other else nearest(name, HEADERS)
    return f'unknown header "{name}"{hint} (known: {", ".join(HEADERS)})'
