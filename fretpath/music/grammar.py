"""The grammar of melody text: what a teacher may type, and the expressions that match it.

**Grammar.**  ::

    text      = header* music-line*         a line that begins with ; is a comment
    header    = name ":" value              title, key, meter, tempo, octave, degrees, source ...
    music     = (bar | group | event)*      one line is one phrase; between lines, key: or meter:
    group     = "(" (bar | event)* ")" length
    event     = (degree | note | "r" | "-") length? placement?
    degree    = ("b"+ | "#"+)? number (","+ | "'"+)?
    note      = A-G ("b"+ | "#"+)? octave?
    length    = ":" whole ("/" whole)?      beats; 1 when left out
    placement = "@" string? ("-" fret)?
    bar       = "|"

**Where the signs come from.**  Accidentals before the degree are common practice; a comma or an
apostrophe behind it stands for the dot below or above in numbered notation, and the dash that
holds a note is that notation's own; a note is a letter and the number of its octave (scientific
pitch notation); ``|`` is the bar line.  Lengths are plain fractions of a beat, and ``@`` says "at".
"""

from __future__ import annotations

import re

__all__ = ["EVENT", "GROUP_END", "HEADER", "HEADERS", "KEPT", "STRING_OF_TAB", "TOKEN", "TYPED"]

HEADERS = {
    "title": "what the tune is called",
    "key": "tonic and mode, such as B major; also between music lines",
    "meter": "beats/unit, such as 3/4; also between music lines",
    "tempo": "beats a minute",
    "octave": "octave of the tonic, sounding; left out, or free behind it, the instrument decides",
    "degrees": "major (counted against the major scale) or key (against the key signature)",
    "source": "where the tune comes from",
    "teaches": "what the tune is for",
    "level": "the teacher's own place for it in the order, a number",
}
"""Name of each header, and what it says."""

KEPT = ("source", "teaches", "level")
"""Headers that only go along with the tune."""

# A line of rests and holds such as "r r:2" is music and no header.
HEADER = re.compile(r"\s*(?![r -]+:)([a-z][a-z -]{2,20}?)\s*:(.*)")
_LENGTH = r"(?::(?P<beats>[1-9]\d{0,3})(?:/(?P<unit>[1-9]\d{0,3}))?)?"
_PLACE = r"(?P<place>@(?P<string>\d{1,2})?(?:-(?P<fret>\d{1,2}))?)?"
_DEGREE = r"(?P<degree>(?:#{1,3}|b{1,3})?[1-9]\d?(?:,{1,9}|'{1,9})?)"
_NOTE = (
    r"(?P<letter>[A-G])(?P<accidentals>#{1,3}|b{1,3})?"
    r"(?P<octave>-?\d)?"
)
EVENT = re.compile(rf"(?:{_DEGREE}|{_NOTE}|(?P<rest>r)|(?P<hold>-)){_LENGTH}{_PLACE}")
GROUP_END = re.compile(rf"\){_LENGTH}")
TOKEN = re.compile(r"\||\(|\)[^\s()|]*|[^\s()|]+")
STRING_OF_TAB = re.compile(r"\s*[A-Ga-g]?[#b]?\d?\s*[|:]?[^:;]*--[^:;]*")
"""A line that looks like a string of a text tab, which is no melody."""
TYPED = str.maketrans("\u266d\u266f\u2018\u2019\u2032\u2013\u2014\u2212", "b#'''---")
"""What a word processor makes of b, #, the apostrophe and the hyphen, back to what was typed."""
