"""Headers as people write them over a tune: key, meter, tempo and title in words.

One tolerant reader of headers for melodies, answers and tabs: ``in G, 3/4``, ``Key = Am``,
``time: 6/8``, ``Tonart G-Dur``, ``Harbour Steps (D minor, 90 bpm)``.  What is left of the line once
the headers are taken off is for the caller to read.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from fretpath.errors import RequestError
from fretpath.music.key import SCALES_BY_NAME, Key
from fretpath.music.text import TYPED, UNDER, header_named

_MODES = {alias: scale.name for alias, scale in SCALES_BY_NAME.items()}
_MODES |= {"dur": "major", "moll": "natural minor"}
_MODE = "|".join(sorted(map(re.escape, _MODES), key=len, reverse=True))
ACCIDENTALS = {"sharp": "#", "is": "#", "flat": "b", "es": "b", "s": "b"}
"""Words, and German endings of the letter, for an accidental."""
_ALTER = r"#{1,2}|b{1,2}|[ -]?sharp\b|[ -]?flat\b|is\b|es\b|s(?=[- ]?(?:dur|moll))"
_KEY = rf"(?P<letter>[A-Ha-h])(?P<alter>{_ALTER})?(?:[ -]?(?P<mode>(?:{_MODE})(?![a-z])))?"
_SAID = (
    r"(?:(?P<said>\b(?:the )?(?:key|tonart|tonality)(?:'s| of| is| in)?\b ?(?:->|[:=(>→–-])?"
    r"|\bin(?: the key of)?\b)\s*)?"
)
_KEY_WORDS = re.compile(rf"{_SAID}(?<![A-Za-z#]){_KEY}(?![A-Za-z#'\d])", re.IGNORECASE)
_METER = re.compile(
    r"(?:\b(?:time(?: signature)?|meter|metre|takt|in)\b ?[:=–-]?\s*)?"
    r"(?<![\d/:])(?<!\d\()(?P<meter>(?:1\d|[2-9]\d?)/(?:1|2|4|8|16|32))(?![\d/])(?: ?time\b)?",
    re.IGNORECASE,
)
_NAMED_METER = {"common time": "4/4", "cut time": "2/2", "waltz time": "3/4", "alla breve": "2/2"}
_METER_WORDS = re.compile("|".join(_NAMED_METER), re.IGNORECASE)
_TEMPO = re.compile(
    r"\b(?:tempo|bpm|speed)\b ?[:=–-]?\s*(\d{2,3})\b(?: ?bpm\b)?"
    r"|(?:\bat |@ ?)?\b(\d{2,3}) ?(?:bpm|beats (?:per|a) minute)\b|(?<!\S)=\s?(\d{2,3})\b"
    r"|\bat ([4-9]\d|[12]\d\d)(?=[.!]?$)",
    re.IGNORECASE,
)
_LONGEST = 300
"""Characters of a line that may hold headers."""
_NAMED = re.compile(
    r"\s*((?i:[kq])|[A-Za-z]{2,9}(?: [A-Za-z]{2,9})?)\s*[:=]\s*(.*)"
    r"|\s*(?i:(title))\s*-\s*(.*)|\s*(?i:(octave))(?:\s+|\s*-\s*)(\d)"
    r"|\s*(?i:(in|key))(?:\s+|\s*[-–>→]\s*)([a-g][#b]?)"
)
_TAKEN = "\ufffc"
"""Stands where a header was taken off a line."""


@dataclass(frozen=True, slots=True)
class Head:
    """One line over a tune: the headers in it, and the rest."""

    values: tuple[tuple[str, str], ...]
    """(header, clean value), in the order key, meter, tempo or as named."""
    rest: str
    """The line without them."""
    told: tuple[str, ...] = ()
    """Unusual words and how they were taken."""


def read_head(line: str) -> Head:
    """The headers a line holds, in words or signs.

    >>> read_head("in G, 3/4").values
    (('key', 'G major'), ('meter', '3/4'))
    >>> read_head("Harbour Steps (D minor)")
    Head(values=(('key', 'D natural minor'),), rest='Harbour Steps', told=())
    >>> read_head("time: 6/8").values, read_head("1 2 3").values
    ((('meter', '6/8'),), ())
    """
    if len(line) > _LONGEST:
        return Head((), line)
    line = line.strip()
    named = _NAMED.fullmatch(line)
    if named:
        name, value = (text.strip() for text in named.groups() if text is not None)
        name = "key" if name.lower() == "in" and not named[1] else name.lower()
        name = header_named(name)
        if name and name not in UNDER:
            return _by_name(name, value)
    return _peel(line)


def _by_name(name: str, value: str) -> Head:
    """A header by name; behind a key or a meter others may follow."""
    if name in ("key", "meter"):
        found = _peel(f"key {value}" if name == "key" else value)
        return found if found.values else Head(((name, value),), "")
    if name == "tempo":
        match = re.match(r"\d{2,3}(?:\.\d+)?", value)
        value = match[0] if match else value
    if name == "title":
        value = value.strip(" \"'*_“”„")
    return Head(((name, value),), "")


def _peel(line: str) -> Head:
    """Take meter, tempo and key off a line."""
    values: dict[str, str] = {}
    told: list[str] = []
    rest = line
    if tempo := _TEMPO.search(rest):
        rest = _cut(rest, tempo)
    if meter := _METER.search(rest) or _METER_WORDS.search(rest):
        values["meter"] = _NAMED_METER.get(meter[0].lower()) or meter["meter"]
        rest = _cut(rest, meter)
    if found := _key_in(rest, alone=bool(values or tempo)):
        match, key, told = found
        values = {"key": str(key), **values}
        rest = _cut(rest, match)
    if tempo:
        values["tempo"] = next(filter(None, tempo.groups()))
    return Head(tuple(values.items()), _tidy(rest) if values else line, tuple(told))


def _cut(line: str, match: re.Match[str]) -> str:
    return line[: match.start()] + _TAKEN + line[match.end() :]


def _tidy(rest: str) -> str:
    """The rest of a line, without the signs around what was taken off; holds stay.

    >>> _tidy(f"{_TAKEN}: 1 - -"), _tidy(f"1 3 - {_TAKEN}"), _tidy(f"1 3 {_TAKEN} please")
    ('1 - -', '1 3', '1 3 please')
    """
    rest = re.sub(rf"[(\[][\s,;]*{_TAKEN}[\s,;{_TAKEN}]*[)\]]", _TAKEN, rest)
    rest = re.sub(rf"^([^(]*{_TAKEN}\s*)\)", r"\1", rest)
    rest = re.sub(rf"[\s,;]*{_TAKEN}[\s,;{_TAKEN}]*", _TAKEN, rest)
    rest = re.sub(rf"^{_TAKEN}[\s,;:.–-]*", "", rest)
    if not re.search(rf" -(?= .*-{_TAKEN}$)|-\s+-", rest):
        rest = re.sub(rf"[\s–-]+{_TAKEN}$", "", rest)
    rest = rest.replace(_TAKEN, ", " if re.search(rf"[A-Za-z]{{3}}{_TAKEN}[A-Za-z]", rest) else " ")
    return rest.strip(" ,;:\t")


def _key_in(line: str, *, alone: bool) -> tuple[re.Match[str], Key, list[str]] | None:
    """The first key that a line names: where, which, and what must be told about its name.

    A letter alone is a key only where ``key`` or ``in`` says so, or beside another header.
    """
    for match in _KEY_WORDS.finditer(line.translate(TYPED)):
        letter, mode = match["letter"], match["mode"]
        said = match["said"] is not None
        if not mode and not (letter.isupper() and (said or (alone and _by_itself(match, line)))):
            continue
        if (mode == "m" and not (said or alone)) or mode == "M":
            continue
        try:
            key, told = _key(match)
        except RequestError:
            continue
        return match, key, told
    return None


def _by_itself(match: re.Match[str], line: str) -> bool:
    """Whether only commas and spaces stand around a match."""
    around = line[: match.start()].strip()[-1:] + line[match.end() :].strip()[:1]
    return not around.strip(f",;()-–{_TAKEN}")


def _key(match: re.Match[str]) -> tuple[Key, list[str]]:
    letter, mode = match["letter"].upper(), (match["mode"] or "major").lower()
    alter = (match["alter"] or "").strip(" -").lower()
    told: list[str] = []
    german = mode in ("dur", "moll")
    if letter == "H":
        if alter not in ("", "is"):
            raise RequestError(_GERMAN)
        told.append("H is the German name of B")
        letter = "B"
    elif german and letter == "B" and not alter:
        told.append("B is the German name of Bb")
        alter = "b"
    return Key(letter + ACCIDENTALS.get(alter, alter), _MODES[mode]), told


_GERMAN = "H is the German name of B: write B major or B minor (the German B is Bb)"


def key_words(text: str) -> str:
    """A key in words put into signs; a tonic alone stays one, and what is no key stays as it is.

    >>> key_words("B flat"), key_words("fis-moll"), key_words("dorian")
    ('Bb', 'F# natural minor', 'dorian')

    Raises :class:`RequestError` for the German H, which it explains.
    """
    match = _KEY_WORDS.fullmatch(text.strip().translate(TYPED))
    if re.match(r"\s*[Hh](?![a-z])", text):
        raise RequestError(f'"{text[:20]}" is not a key here: {_GERMAN}')
    if match is None or not (match["mode"] or match["letter"].isupper()):
        return text
    key, _ = _key(match)
    return str(key) if match["mode"] else key.tonic
