"""The words around a text tab: instrument, tuning, capo, key, meter, tempo, title.

**Obeyed** is a clause that says one thing and nothing else: ``Capo on 2nd fret``, ``tuned down a
half step (D G C F)``, ``Key of G``.  Small words (the, guitar, please) may stand in it.  A clause
that speaks of capo, tuning, step, drop or key and says more, such as a title ``Capo 3 blues``, is
not obeyed, and that is told.

**A title** is a first line in words with a blank line behind it that asks for nothing, greets
nobody and names no player or section.

**Our own page** says all this in fixed lines, folded to its width; they are read first, and the
title above them is a title whatever it says.

Names of tunings are common practice, from memory; the string pitches of a tuning that is given in
letters are those nearest to the usual ones.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import TypeVar

from fretpath.errors import FretpathError, printable
from fretpath.music.heads import read_head
from fretpath.music.key import Key
from fretpath.music.melody import Meter
from fretpath.music.pitch import Pitch
from fretpath.neck.catalogue import INSTRUMENTS
from fretpath.page.tab_lines import WordLine
from fretpath.remarks import Remark
from fretpath.values import number_of

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
    if title := _first_title(words, header):
        place, told = f"line {words[0].number}", f'title from the first line "{_short(title)}"'
        gathered.values.setdefault("title", title)
        if gathered.values["title"] == title:
            gathered.remarks.append(Remark("guessed", told, place))
    return TabWords(**gathered.values, remarks=tuple(gathered.remarks))  # type: ignore[arg-type]


def _short(text: str) -> str:
    return printable(" ".join(text.split())[:60])


# -- our own page --------------------------------------------------------------------------------

_OWN_INSTRUMENT = re.compile(
    r"(?<![a-z0-9-])(?P<name>[a-z0-9-]+): strings? \d+ to 1 "
    r"(?P<strings>(?:[A-G][#b]*-?\d )*[A-G][#b]*-?\d)(?![^\s,;])"
    r"(?:, scale [0-9.]+ mm)?(?:, capo at fret (?P<capo>\d{1,2}))?"
)
_OWN_MUSIC = re.compile(
    r"key (?P<key>[^;]+)(?:; meter (?P<meter>\d+/\d+)(?:, \d+/\d+)*)?"
    r"(?:; tempo (?P<tempo>[0-9.e+]+))?"
    r"(?:; tonic (?P<tonic>[A-G][#b]*-?\d)(?: \(octave [a-z ]+\))?)?"
)
_LONGEST_HEADER = 100
"""Lines that a title, and what stands under it, may be folded to on our own page."""


def _own_page(lines: Sequence[WordLine]) -> TabWords | None:
    """The fixed lines of our own page, unfolded; None if they are not there."""
    starts = [n for n, line in enumerate(lines) if line.text.startswith("key ")]
    for start in reversed(starts):
        title, words = _around(lines, start)
        strings = _OWN_INSTRUMENT.search(words)
        music = _OWN_MUSIC.fullmatch(words[: strings.start()].strip() if strings else words)
        if not music:
            continue
        key = parse_or_none(Key.parse, music["key"].split(", then ")[0])
        if strings or key or music["key"].startswith("not given"):
            return TabWords(
                own=True,
                title=title,
                instrument=strings["name"] if strings and strings["name"] in INSTRUMENTS else "",
                tuning=TuningWords("", tuple(strings["strings"].split())) if strings else None,
                capo=int(strings["capo"] or 0) if strings else None,
                key=key,
                tonic=Pitch.parse(music["tonic"]) if music["tonic"] else None,
                meter=parse_or_none(Meter.parse, music["meter"] or ""),
                tempo=_tempo(music["tempo"] or ""),
            )
    return None


def _around(lines: Sequence[WordLine], at: int) -> tuple[str, str]:
    """The text before a line and from it on, as far as no gap stands between the lines."""
    first = lines[at].number - at
    near = range(max(at - _LONGEST_HEADER, 0), min(at + _LONGEST_HEADER, len(lines)))
    joined = [n for n in near if lines[n].number - n == first]
    before = " ".join(lines[n].text for n in joined if n < at)
    behind = " ".join(lines[n].text for n in joined if n >= at)
    return " ".join(before.split()), " ".join(behind.split())


def parse_or_none(parse: Callable[[str], T], text: str) -> T | None:
    """The value a parser makes of a text; None where it refuses it.

    >>> parse_or_none(Meter.parse, "three quarters") is None
    True
    """
    try:
        return parse(text)
    except FretpathError:
        return None


def _tempo(text: str) -> Fraction | None:
    """Beats a minute as ``tab`` or a header prints them; None for any other text."""
    known = re.fullmatch(r"[0-9.]{1,12}(?:e\+0[0-9])?", text)
    return (parse_or_none(number_of, text) or None) if known else None


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
_CARDINALS = "one two three four five six seven eight nine ten eleven twelve"
_ORDINALS = "first second third fourth fifth sixth seventh eighth ninth tenth eleventh twelfth"
_ROMAN = "i ii iii iv v vi vii viii ix x xi xii"
_NUMBERS = {
    word: number
    for words in (_CARDINALS, _ORDINALS, _ROMAN)
    for number, word in enumerate(words.split(), start=1)
}
_NUMBER = rf"(\d{{1,2}}|{'|'.join(sorted(_NUMBERS, key=len, reverse=True))})"
_CAPO = re.compile(
    rf"\bcapo(?:ed|'d)?(?: is| goes)?(?: ?[:=@#-])?(?: (?:at|on|in|up))?(?: the)?(?: fret)?:? ?"
    rf"{_NUMBER}(?:st|nd|rd|th)?\b|\b{_NUMBER}(?:st|nd|rd|th)? fret capo\b"
)
_NO_CAPO = re.compile(
    r"\bno capo\b|\bwithout (?:a )?capo\b|\bcapo(?: ?[:=-])? ?(?:none|no|off|0)\b"
)
_MORE = r"(?:one|1) and (?:a )?(?:half|1/2)|1 1/2|1\.5"
_AMOUNT = re.compile(
    rf"(?:(?P<many>{_MORE}|a|one|two|three|four|five|[1-5])[ -])?"
    r"(?P<size>(?:(?:(?:half|1/2)(?: a)?|whole|full)[ -])?(?:step|tone)|semitone"
    r"|(?:minor|major) third)s?\b"
)
_SEMITONES = {"half": 1, "1/2": 1, "semitone": 1, "minor": 3, "major": 4}
"""By the first word of a size; a step is two."""
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
_UPSIDE = re.compile(
    r"\b(?:low(?:est)?|thick(?:est)?|bass|fat)\b[^,.;]{0,12}\bstrings?\b[^,.;]{0,12}\btop\b"
    r"|\bupside[ -]down\b|\blow (?:e|b|one) (?:is )?(?:on|at) (?:the )?top\b"
)
_SPEAKS_OF_TUNING = (
    r"\btun(?:ed\b|ing)|(?<!\bthe )(?<!\ba )"
    r"\btune:? (?:down|up|to|the|your|my|all|each|every|it|them|both|low|high|(?:[a-h][#b]?\d?)\b)"
)
"""A tune is none; to tune strings, or to their letters, is."""
_TRIGGERS = (
    ("capo", re.compile(r"\bcapo")),
    ("tuning", re.compile(rf"{_SPEAKS_OF_TUNING}|\bsteps?\b|\bdrop|\bdetune")),
    ("key", re.compile(r"\bkey\b")),
)
_ABOUT = re.compile(r"(?:\b(?:about|around|ca\.?) |~ ?)(?=\d)", re.IGNORECASE)
_SIGN = re.compile(r"\b(capo|tuning|key|tempo|time|meter) [-=] ", re.IGNORECASE)


def _read_line(line: WordLine, gathered: _Gathered, *, head: bool) -> None:
    text = _SIGN.sub(r"\1: ", " ".join(line.text.split()))
    said = dict(read_head(_ABOUT.sub("", text)).values) if head else {}
    if "title" in said:
        gathered.values.setdefault("title", said["title"])
        return
    if tempo := _tempo(said.get("tempo", "")):
        gathered.take("tempo", tempo, line, text)
    lower = text.lower()
    if _UPSIDE.search(lower):
        gathered.take("upside_down", True, line, text)
    if named := _instrument(lower):
        gathered.values.setdefault("instrument", named)
    clauses = [clause.strip() for clause in _CLAUSES.split(text)]
    keyed = _read_heads(clauses, line, gathered)
    whole = _tuning(text, line.text)
    for clause in clauses:
        tuned = whole or _tuning(clause, clause)
        if tuned:
            gathered.take("tuning", tuned, line, tuned.said)
        capo = _capo(clause.lower().strip(" .:!,"))
        if capo is not None:
            gathered.take("capo", capo, line, clause)
        obeyed = {"capo": capo is not None, "tuning": bool(tuned), "key": keyed}
        _doubt_clause(clause, line, gathered, obeyed)


def _read_heads(clauses: Sequence[str], line: WordLine, gathered: _Gathered) -> bool:
    """Take the key and the meter of clauses that say nothing else; whether a key was taken.

    Several keys in a line are chords, and none of them is the key.
    """
    heads = [read_head(clause.strip(" .:!,")) for clause in clauses]
    keys = {value for head in heads for name, value in head.values if name == "key"}
    keyed = False
    for clause, head in zip(clauses, heads, strict=True):
        said = {} if head.rest else dict(head.values)
        if len(keys) == 1 and (key := parse_or_none(Key.parse, said.get("key", ""))):
            gathered.take("key", key, line, clause)
            keyed = True
        if meter := parse_or_none(Meter.parse, said.get("meter", "")):
            gathered.take("meter", meter, line, clause)
    return keyed


def _doubt_clause(
    clause: str, line: WordLine, gathered: _Gathered, obeyed: Mapping[str, bool]
) -> None:
    """Tell of a clause that speaks of something and was not obeyed."""
    lower = clause.lower().strip(" .:!,")
    for option, trigger in _TRIGGERS:
        if trigger.search(lower) and not obeyed[option] and not _HARMLESS.fullmatch(lower):
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
    return int(word) if word.isdecimal() else _NUMBERS.get(word)


_LONGEST_TITLE = 60
_NO_TITLE = re.compile(
    r"\W|.*(?:[:@=|]|//)|.*[.,;]$|(?:tabb?(?:ed|s)?|arranged|transposed|by|hi|hello|hey"
    r"|here|this is|these|i|i'm|intro|verse|chorus|bridge|outro|solo|riff|part|lead|rhythm"
    r"|copyright|legend"
    r"|slow|slowly|fast|moderately|moderato|allegro|andante|lento|freely|repeat|play|count|let"
    r"|guitar|gtr|bass|banjo|mandolin|uke|ukulele)\b",
    re.IGNORECASE,
)
"""First lines that greet, ask for something, or name a player or a section."""
_ASKS = re.compile(
    rf"\bcapo|\bkey\b|\bdrop|{_SPEAKS_OF_TUNING}|{_UPSIDE.pattern}"
    r"|\b(?:half|whole|full)[ -]step|\bsteps? (?:up|down)\b"
)
"""Words of an instruction, obeyed or not; other steps are danced or climbed."""


def _first_title(words: Sequence[WordLine], header: int) -> str:
    """The first line in words above the tab, with a blank line behind it; empty if it is none."""
    numbers = [word.number for word in words[:2]] + [header]
    if not words or min(numbers[1:]) <= numbers[0] + 1:
        return ""
    text = " ".join(words[0].text.split())
    head = read_head(text)
    text = head.rest if head.values else text
    asks = _ASKS.search(text.lower()) or _NO_TITLE.match(text) or _tuning(text, words[0].text)
    named = re.search(r"(?<!\S)[^\W\d_]{3,}(?!\S)", text) and not _rest_is_small(text)
    return text if named and not asks and len(text) <= _LONGEST_TITLE else ""


_INSTRUMENTS = {
    "baritone ukulele": "ukulele-baritone", "tenor banjo": "banjo-tenor", "ukulele": "ukulele",
    "uke": "ukulele", "mandolin": "mandolin", "banjo": "banjo", "double bass": "double-bass",
    "bass": "bass", "guitar": "guitar", "gtr": "guitar",
}  # fmt: skip
"""Words for instruments, those that say more first."""
_LONGEST_HEADING = 80


def _instrument(lower: str) -> str:
    """The instrument a heading names; its parts come with the tab itself."""
    if len(lower) >= _LONGEST_HEADING:
        return ""
    return next(
        (name for word, name in _INSTRUMENTS.items() if re.search(rf"\b{word}\b", lower)), ""
    )


def _tuning(text: str, raw: str) -> TuningWords | None:
    """The tuning a line gives, in letters, by name, or as a change of the usual one."""
    lower = text.lower()
    speaks = re.search(rf"{_SPEAKS_OF_TUNING}|\bstandard\b", lower) is not None
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
    run = _RUN.search(text)
    return (tuple(re.findall(r"[A-G](?:#|b)?|e", run[0])), run.span()) if run else None


def _amount(lower: str) -> int:
    """Semitones that the words move all strings, down is negative; 0 if they do not."""
    text = re.sub(r"\([^()]*\)", " ", lower.replace("\u00bd", " 1/2"))
    found, down, up = _AMOUNT.search(text), _DOWN.search(text), _UP.search(text)
    way = down or up
    if found is None or way is None or not _rest_is_small(text, found.span(), way.span()):
        return 0
    many, size = found["many"], found["size"]
    if many is None and size in ("step", "tone"):
        return 0
    number = 1 if many in (None, "a") else _number(many) or Fraction(3, 2)
    return int(number * _SEMITONES.get(re.split("[ -]", size)[0], 2)) * (-1 if down else 1)


def _letter(word: str) -> str:
    """A note in letters and signs, such as ``Eb`` for ``e-flat``."""
    sign = word[1:].strip(" -").lower()
    return word[0].upper() + {"flat": "b", "sharp": "#"}.get(sign, sign)
