"""What the words around a text tab say: instrument, tuning, capo, key, meter, tempo, title.

**Obeyed** is a clause that says one thing and nothing else: ``Capo on 2nd fret``, ``tuned down a
half step (D G C F)``, ``Key of G``.  Small words (the, guitar, please) may stand in it.  A clause
that speaks of capo, tuning, step, drop or key and says more, such as a title ``Capo 3 blues``, is
not obeyed, and that is told.

**Our own page** says all this in fixed lines, folded to its width; they are read first, and the
title above them is a title whatever it says.

Names of tunings are common practice, from memory; the string pitches of a tuning that is given in
letters are those nearest to the usual ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TypeVar

from fretpath.errors import FretpathError, printable
from fretpath.music.key import Key
from fretpath.music.melody import Meter
from fretpath.music.pitch import Pitch
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.page.tab_lines import WordLine
from fretpath.remarks import Remark

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class TuningWords:
    """A tuning as words give it: letters, or a change of the usual tuning."""

    said: str
    """The words."""
    names: tuple[str, ...] = ()
    """Open strings in the order of the text, with or without octaves; empty if not given."""
    lowest: str = ""
    """What the lowest string is called, as in ``D standard`` and ``drop C``."""
    steps: int = 0
    """Semitones that all strings are moved."""
    one: tuple[str, str] | None = None
    """A string that is tuned to another note, both in letters, the others staying."""
    drop: bool = False
    """Whether the lowest string lies a whole step under its usual place beside the others."""


@dataclass(frozen=True, slots=True)
class TabWords:
    """The words around a tab; None and empty where nothing is said."""

    own: bool = False
    """Whether this is a page that ``tab`` printed."""
    title: str = ""
    """What the tune is called."""
    instrument: str = ""
    """Name of an instrument in the catalogue."""
    tuning: TuningWords | None = None
    """How it is tuned."""
    capo: int | None = None
    """Fret under the capo."""
    key: Key | None = None
    """The key."""
    tonic: Pitch | None = None
    """The tonic in its octave, as our own page has it."""
    meter: Meter | None = None
    """The meter."""
    tempo: Fraction | None = None
    """Beats a minute."""
    upside_down: bool = False
    """Whether it says that the low string is on top."""
    remarks: tuple[Remark, ...] = ()
    """What was obeyed and what was not."""


@dataclass(slots=True)
class _Gathered:
    """The words while they are read, first come first served."""

    values: dict[str, object] = field(default_factory=dict)
    remarks: list[Remark] = field(default_factory=list)

    def take(self, name: str, value: object, line: WordLine, said: str) -> None:
        """Keep a value and tell; a second one that differs is a doubt."""
        place, words = f"line {line.number}", f'"{_short(said)}"'
        if name not in self.values:
            self.values[name] = value
            if name in ("capo", "tuning", "upside_down"):
                self.remarks.append(Remark("read", f"{_TOLD[name]} from the words {words}", place))
        elif not _alike(self.values[name], value):
            self.remarks.append(
                Remark("doubt", f"{words} is another {name} than before; the first counts", place)
            )

    def doubt(self, line: WordLine, said: str, option: str) -> None:
        """Tell of words that were not obeyed."""
        text = f'"{_short(said)}" speaks of {option} and is not obeyed; say it with --{option}'
        self.remarks.append(Remark("doubt", text, f"line {line.number}"))


def _alike(value: object, other: object) -> bool:
    """Whether two values say the same; two ways to name a tuning do unless one drops a string."""
    if isinstance(value, TuningWords) and isinstance(other, TuningWords):
        same = value.drop == other.drop and not (value.names and other.names)
        return same or value == other
    return value == other


_TOLD = {"capo": "capo", "tuning": "tuning", "upside_down": "the low string is on top:"}


def words_around(words: Sequence[WordLine], header: int) -> TabWords:
    """Read the lines of words; *header* is the number of the first string line.

    >>> found = words_around([WordLine(1, "Tuning: D A D G"), WordLine(2, "Capo III")], 4)
    >>> found.tuning.names, found.capo
    (('D', 'A', 'D', 'G'), 3)
    """
    own = _own_page([word for word in words if word.number < header])
    if own:
        return own
    gathered = _Gathered()
    for line in words:
        _read_line(line, gathered, head=line.number < header)
    return TabWords(**gathered.values, remarks=tuple(gathered.remarks))  # type: ignore[arg-type]


def _short(text: str) -> str:
    return printable(" ".join(text.split())[:60])


# -- our own page --------------------------------------------------------------------------------

_OWN_KEY = re.compile(r"key (?=\S)")
_OWN_INSTRUMENT = re.compile(
    r"([a-z0-9-]+): strings? \d+ to 1 ((?:[A-G][#b]*-?\d )*[A-G][#b]*-?\d)(?![^\s,;])"
    r"(?:, scale [0-9.]+ mm)?(?:, capo at fret (\d+))?"
)
_OWN_MUSIC = re.compile(
    r"key [^;]+(?:; meter \d+/\d+(?:, \d+/\d+)*)?(?:; tempo [0-9.e+]+)?"
    r"(?:; tonic [A-G][#b]*-?\d(?: \(octave [a-z ]+\))?)?"
)


def _own_page(lines: Sequence[WordLine]) -> TabWords | None:
    """The fixed lines of our own page, unfolded; None if they are not there."""
    starts = [n for n, line in enumerate(lines) if _OWN_KEY.match(line.text)]
    for start in reversed(starts):
        first = lines[start].number - start
        block = [
            line.text for n, line in enumerate(lines) if n >= start and line.number - n == first
        ]
        words = " ".join(" ".join(block).split())
        made = _OWN_INSTRUMENT.search(words)
        music = words[: made.start()].strip() if made else words
        key = _key(re.split(r"; |, then ", music[4:])[0])
        if not _OWN_MUSIC.fullmatch(music) or not (made or key or music[4:13] == "not given"):
            continue
        tonic = re.search(r"; tonic ([A-G][#b]*-?\d)\b", music)
        meter = re.search(r"; meter (\d+/\d+)", music)
        tempo = re.search(r"; tempo ([0-9.e+]+)", music)
        return TabWords(
            own=True,
            title=" ".join(" ".join(line.text for line in lines[:start]).split()),
            instrument=made[1] if made and made[1] in INSTRUMENTS else "",
            tuning=TuningWords("", tuple(made[2].split())) if made else None,
            capo=int(made[3] or 0) if made else None,
            key=key,
            tonic=Pitch.parse(tonic[1]) if tonic else None,
            meter=_meter(meter[1]) if meter else None,
            tempo=Fraction(tempo[1]) if tempo else None,
        )
    return None


def parsed(parse: Callable[[str], T], text: str) -> T | None:
    """The value a parser makes of a text; None where it refuses it.

    >>> parsed(Meter.parse, "three quarters") is None
    True
    """
    try:
        return parse(text)
    except FretpathError:
        return None


def _key(text: str) -> Key | None:
    return parsed(Key.parse, text)


def _meter(text: str) -> Meter | None:
    return parsed(Meter.parse, text)


# -- what people write ---------------------------------------------------------------------------

_SMALL = frozenset(
    re.findall(
        r"[a-z]+",
        """a all an and are at based be bass basses banjo by capo capoed chords count counted
        counting each every everything flat for fr fret frets from guitar guitars here i in is
        it itself key low lower
        mandolin me my need needed no note notes numbers nut of off on one only original our
        out play played playing please position put recorded relative sharp song sounds standard
        string strings tab tabs that the them then this through throughout to tone tune tuned tuning
        tunings ukulele us use used uses using w was way we whole with without written you your""",
    )
)
"""Words that ask for nothing of their own."""

_CLAUSES = re.compile(r"[;()\[\]{}|*]|,(?=\s)|\.(?=\s|$)| [-/] |(?:=|-){2,}")
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6, "vii": 7, "viii": 8, "ix": 9}
_ROMAN |= {"x": 10, "xi": 11, "xii": 12}
_WORDS_OF_NUMBER = (
    *(("first", 1), ("second", 2), ("third", 3), ("fourth", 4), ("fifth", 5), ("sixth", 6)),
    *(("seventh", 7), ("eighth", 8), ("ninth", 9), ("tenth", 10), ("eleventh", 11)),
    *(("one", 1), ("two", 2), ("three", 3), ("four", 4), ("five", 5), ("six", 6), ("seven", 7)),
    *(("eight", 8), ("nine", 9), ("ten", 10), ("eleven", 11), ("twelve", 12), ("twelfth", 12)),
)
_NUMBERS = dict(_WORDS_OF_NUMBER) | _ROMAN
_COUNT = rf"(\d{{1,2}}|{'|'.join(word for word, _ in _WORDS_OF_NUMBER)}|[ivx]{{1,4}})"
_CAPO = re.compile(
    rf"\bcapo(?:ed|'d)?(?: is| goes)?(?: ?[:=@#-])?(?: (?:at|on|in|up))?(?: the)?(?: fret)?:? ?"
    rf"{_COUNT}(?:st|nd|rd|th)?\b|\b{_COUNT}(?:st|nd|rd|th)? fret capo\b"
)
_NO_CAPO = re.compile(
    r"\bno capo\b|\bwithout (?:a )?capo\b|\bcapo(?: ?[:=-])? ?(?:none|no|off|0)\b"
)
_MANY = {"": 1, "a": 1, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5}
_MANY |= {"1": 1, "2": 2, "3": 3, "4": 4, "5": 5}
_AMOUNT = re.compile(
    r"(?P<and>(?:one|1) and (?:a )?(?:half|1/2)|1 1/2|1\.5|one and a half) (?:steps?|tones?)"
    r"|(?:(?P<halves>a|one|two|three|four|five|[1-5]) )?(?:1/2|half)(?: a)?[ -](?:steps?|tones?)"
    r"|(?:(?P<whole>a|one|two|three|[1-3])[ -])?(?:whole|full)[ -](?:steps?|tones?)"
    r"|(?P<steps>a|one|two|three|[1-3])[ -](?:steps?|tones?)"
    r"|(?:(?P<semi>a|one|two|three|four|five|[1-5]) )?semitones?|a (?P<third>minor|major) third"
)
_DOWN = re.compile(r"\b(?:down|lower|flat|below)\b|\bdetuned?\b")
_UP = re.compile(r"\b(?:up|higher|sharp|above)\b")
_LETTER = r"[A-G](?:#|b| flat| sharp|-flat|-sharp)?"
_STANDARD = re.compile(rf"\b({_LETTER})[ -](?:standard|tuning)\b", re.IGNORECASE)
_TUNED_TO = re.compile(rf"\btune[ds]?(?: down| up)?(?: to|:)? ({_LETTER})$", re.IGNORECASE)
_ONE_STRING = re.compile(
    rf"(?:the )?(?:low )?({_LETTER})[ -]?(?:string )?(?:is )?tuned?(?: down| up)? to ({_LETTER})"
    rf"|tune (?:the |your )?(?:low )?({_LETTER})(?:[ -]string)?(?: down| up)? to ({_LETTER})",
    re.IGNORECASE,
)
_DROP = re.compile(rf"\b(double[ -])?drop(?:ped)?[ -]({_LETTER})(?![A-Za-z])", re.IGNORECASE)
_OPEN = re.compile(r"\bopen[ -]([A-G])( minor|m)?\b", re.IGNORECASE)
_LIST = re.compile(
    r"(?<![A-Za-z0-9#])(?:[A-Ga-g](?:#|b)?\d?[ ,/-]+){3,11}[A-Ga-g](?:#|b)?\d?(?![A-Za-z#])"
)
_RUN = re.compile(r"(?<![A-Za-z0-9])(?:[A-G](?:#|b)?){4,12}e?(?![A-Za-z])")
_OPEN_TUNINGS = {
    "A": "E2 A2 E3 A3 C#4 E4", "C": "C2 G2 C3 G3 C4 E4", "D": "D2 A2 D3 F#3 A3 D4",
    "E": "E2 B2 E3 G#3 B3 E4", "G": "D2 G2 D3 G3 B3 D4",
}  # fmt: skip
_KEY = re.compile(
    r"^(?:in )?(?:the )?key(?: is| of|:| =| -)+ ?([A-G](?:#|b)?(?:m(?:in|aj)?\b)?)"
    r"((?: [a-z]+){0,2})$", re.IGNORECASE,
)  # fmt: skip
_TEMPO = re.compile(
    r"\b(?:tempo|bpm|speed)\b ?[:=]? ?(?:about |around |ca\.? |~ ?)?(\d{2,3}(?:\.\d{1,2})?)\b"
    r"|(?<![\d/])(\d{2,3}(?:\.\d{1,2})?) ?(?:bpm|beats (?:a|per) minute)\b"
    r"|(?:\u2669|\bq|\bquarter) ?= ?(\d{2,3})\b"
)
_METER = re.compile(
    r"^(?:time|meter|time signature|sig|in)?(?: is|:| =)* ?(\d{1,2}/\d{1,2})(?: time)?$"
)
_TITLE = re.compile(r"^(?:title|song|tune|piece)\s*:\s*(\S.*)$", re.IGNORECASE)
_UPSIDE = re.compile(
    r"\b(?:low(?:est)?|thick(?:est)?|bass|fat)\b[^,.;]{0,12}\bstrings?\b[^,.;]{0,12}\btop\b"
    r"|\bupside[ -]down\b|\blow (?:e|b|one) (?:is )?(?:on|at) (?:the )?top\b"
)
_TRIGGERS = (
    ("capo", re.compile(r"\bcapo")),
    ("tuning", re.compile(r"\btun(?:e[ds]?\b|ing)|\bsteps?\b|\bdrop|\bdetune")),
    ("key", re.compile(r"\bkey\b")),
)


_COLON = re.compile(r"\b(capo|tuning|key|tempo|time|meter) (?:-|=) ", re.IGNORECASE)


def _read_line(line: WordLine, gathered: _Gathered, *, head: bool) -> None:
    text = _COLON.sub(r"\1: ", " ".join(line.text.split()))
    if title := _TITLE.match(text) if head else None:
        gathered.values.setdefault("title", title[1])
        return
    lower = text.lower()
    if _UPSIDE.search(lower):
        gathered.take("upside_down", True, line, text)
    if (found := _TEMPO.search(lower)) and head:
        number = found[1] or found[2] or found[3]
        gathered.take("tempo", Fraction(number), line, text)
    if named := _instrument(lower):
        gathered.values.setdefault("instrument", named)
    clauses = [part.strip() for part in _CLAUSES.split(text)]
    whole = _tuning(text, line.text)
    for clause in clauses:
        tuned = whole or _tuning(clause, clause)
        if tuned:
            gathered.take("tuning", tuned, line, tuned.said)
        _read_clause(clause, line, gathered, tuned=tuned is not None)


def _read_clause(clause: str, line: WordLine, gathered: _Gathered, *, tuned: bool) -> None:
    lower = clause.lower().strip(" .:!,")
    if key := _KEY.match(clause.strip(" .!")):
        found = _key((key[1] + key[2]).strip()) or _key(key[1])
        if found:
            gathered.take("key", found, line, clause)
            return
    if (meter := _METER.match(lower)) and (value := _meter(meter[1])):
        gathered.take("meter", value, line, clause)
        return
    capo = _capo(lower)
    if capo is not None:
        gathered.take("capo", capo, line, clause)
    obeyed = {"capo": capo is not None, "tuning": tuned}
    for option, trigger in _TRIGGERS:
        if trigger.search(lower) and not obeyed.get(option) and not _HARMLESS.fullmatch(lower):
            gathered.doubt(line, clause, option)


_HARMLESS = re.compile(
    r"(?:in )?(?:standard|normal|usual|regular)(?: [a-z]+)? tuning"
    r"|tuning:? (?:standard|normal|regular)|tune: .*|(?:[a-z]+ ){0,2}(?:numbers|frets)\b.*capo.*"
)
"""Clauses with a telling word that ask for nothing."""


def _rest_is_small(text: str, *spans: tuple[int, int]) -> bool:
    for start, stop in sorted(spans, reverse=True):
        text = f"{text[:start]} {text[stop:]}"
    return all(word in _SMALL for word in re.findall(r"[^\W\d_]+|\d+", text.lower()))


def _capo(clause: str) -> int | None:
    if none := _NO_CAPO.search(clause):
        return 0 if _rest_is_small(clause, none.span()) else None
    found = _CAPO.search(clause)
    if found is None or not _rest_is_small(clause, found.span()):
        return None
    return _number(found[1] or found[2])


def _number(word: str) -> int | None:
    return int(word) if word.isdigit() else _NUMBERS.get(word)


def _instrument(lower: str) -> str:
    """The instrument a heading names; its parts come with the tab itself."""
    for word, name in (
        ("baritone ukulele", "ukulele-baritone"), ("tenor banjo", "banjo-tenor"),
        ("ukulele", "ukulele"), ("uke", "ukulele"), ("mandolin", "mandolin"), ("banjo", "banjo"),
        ("double bass", "double-bass"), ("bass", "bass"), ("guitar", "guitar"), ("gtr", "guitar"),
    ):  # fmt: skip
        if re.search(rf"\b{word}\b", lower) and len(lower) < 80:
            return name
    return ""


def _tuning(text: str, raw: str) -> TuningWords | None:
    """The tuning a line gives, in letters, by name, or as a change of the usual one."""
    lower = text.lower()
    speaks = re.search(r"\btun(?:e[ds]?\b|ing)|\bstandard\b", lower) is not None
    names = _names(text, speaks or "  " not in raw.strip())
    if names and (speaks or _rest_is_small(text, names[1]) or _amount(lower)):
        return TuningWords(text, names[0])
    if (found := _DROP.search(text)) and _rest_is_small(text, found.span()):
        low = _letter(found[2])
        if found[1]:
            return TuningWords(text, ("D", "A", "D", "G", "B", "D")) if low == "D" else None
        return TuningWords(text, lowest=low, drop=True)
    if (found := _OPEN.search(text)) and speaks | (found.span() == (0, len(text))):
        tuning = _OPEN_TUNINGS.get(found[1].upper())
        return TuningWords(text, tuple(tuning.split())) if tuning and not found[2] else None
    if changed := _amount(lower):
        return TuningWords(text, steps=changed)
    if one := _ONE_STRING.fullmatch(text.strip(" .!")):
        return TuningWords(text, one=(_letter(one[1] or one[3]), _letter(one[2] or one[4])))
    for pattern in (_STANDARD, _TUNED_TO):
        if (found := pattern.search(text)) and _rest_is_small(text, found.span()):
            return TuningWords(text, lowest=_letter(found[1]))
    return None


def _names(text: str, spaced: bool) -> tuple[tuple[str, ...], tuple[int, int]] | None:
    """Letters of open strings in a row, spaced out or run together, and where they stand.

    Letters far apart are no tuning but a row of chords; *spaced* says that these are not.
    """
    found = _LIST.search(text)
    if found and (spaced or f"({found[0]})" in text):
        return tuple(re.findall(r"[A-Ga-g](?:#|b)?\d?", found[0])), found.span()
    for run in _RUN.finditer(text):
        names = re.findall(r"[A-G](?:#|b)?", run[0][:-1] if run[0][-1] == "e" else run[0])
        if run[0][-1] == "e":
            names.append("e")
        return tuple(names), run.span()
    return None


def _amount(lower: str) -> int:
    """Semitones that the words move all strings, down is negative; 0 if they do not."""
    text = re.sub(r"\([^()]*\)", " ", lower.replace("\u00bd", "1/2"))
    found, down, up = _AMOUNT.search(text), _DOWN.search(text), _UP.search(text)
    way = down or up
    if found is None or way is None or not _rest_is_small(text, found.span(), way.span()):
        return 0
    return _semitones(found) * (-1 if down else 1)


def _semitones(amount: re.Match[str]) -> int:
    said = amount.groupdict()
    if said["and"] or said["third"] == "minor":
        return 3
    if said["third"]:
        return 4
    if said["steps"]:
        return 2 * _MANY[said["steps"]]
    if "whole" in amount[0] or "full" in amount[0]:
        return 2 * _MANY[said["whole"] or ""]
    return _MANY[said["halves"] or said["semi"] or ""]


def _letter(word: str) -> str:
    word = word.replace("-", " ").lower()
    sign = "b" if word.endswith(" flat") or word[1:] == "b" else ""
    sign = "#" if word.endswith(" sharp") or word[1:] == "#" else sign
    return word[0].upper() + sign
