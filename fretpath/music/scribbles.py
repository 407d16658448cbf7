"""A line of music as people jot it, put into the words of melody text.

Each habit is a rule of its own: what separates the notes, how a held note, an octave, an
accidental or a length is marked, and which names the notes have.  A rule tells what it did.

**Where the habits come from.**  Common practice of messages and blackboards, from memory; no
printed source is known.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from fretpath.music.heads import ACCIDENTALS
from fretpath.music.spelling import SOLFEGE
from fretpath.music.text import EVENT

SYLLABLES = {syllable: degree for degree, syllable in SOLFEGE.items()} | {"sol": "5", "si": "7"}
"""Movable do; si is the seventh degree, as where there is no ti."""
_DEGREE = r"[#b]{0,3}[1-9]\d?[,']*"
_LETTER = r"[A-Ha-h](?:#{1,2}|b{1,2}|is|es)?\d?"
_SOL = "|".join(SYLLABLES)
_NOTE = rf"(?:{_DEGREE}|{_LETTER}|(?i:{_SOL})\b'*)"
_LISTED = re.compile(
    rf"{_NOTE}(?:(?P<sign>[/.\-·;>→,+])(?:{_NOTE}))(?:(?P=sign){_NOTE})*(?P<end>[-_]*)"
)
"""Notes with one and the same sign between them and no space."""
_RUN = re.compile(r"(?:[#b]{0,2}[1-9]){2,}[-_]*")
"""One digit a note, without spaces."""
_MOST_DEGREE = 15
"""A number above it is no degree that people write: two octaves."""
_ROMAN = {"I": "1", "II": "2", "III": "3", "IV": "4", "V": "5", "VI": "6", "VII": "7", "VIII": "8"}
NUMBER_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight")
_BEATS: dict[str, int | Fraction] = {
    "whole": 4, "semibreve": 4, "half": 2, "minim": 2, "quarter": 1, "crotchet": 1,
    "eighth": Fraction(1, 2), "quaver": Fraction(1, 2), "sixteenth": Fraction(1, 4),
    "w": 4, "h": 2, "q": 1, "e": Fraction(1, 2), "s": Fraction(1, 4),
}  # fmt: skip
"""Quarter notes of each length, in words and letters."""
_LENGTH_WORD = "|".join(word for word in _BEATS if len(word) > 1)
_FRET = "fret|string|time|finger|line|verse|ending|part|bar|beat|position"
_MARKED = re.compile(
    r"(?P<before>[\^+↑↓_.'`-]*)(?P<acc>[#b]{0,3})(?P<number>[1-9]\d?)(?P<after>[#b]{0,3})"
    r"(?P<octave>[,']*|[\^↑↓+]*)(?P<letter>[qhwes]?)(?P<held>[-_.~]*)"
)
_LETTERED = re.compile(
    r"(?P<name>[A-Ha-h])(?P<acc>#{1,2}|b{1,2}|is|es|s)?(?P<octave>\d?)(?P<marks>'*)"
    r"(?P<letter>[qhw]?)(?P<held>[-_.~]*)"
)


@dataclass(frozen=True, slots=True)
class Habits:
    """How one person writes: the rules that a whole text decides."""

    commas: bool = False
    """A comma behind a number separates and is no octave."""
    dots: bool = False
    """A dot behind a number separates."""
    digits: bool = False
    """Each digit is a note."""
    german: bool = False
    """H is B natural and B is Bb."""
    helmholtz: bool = False
    """Small letters with strokes: c' is middle C."""
    syllables: bool = False
    """do re mi."""
    roman: bool = False
    """I II III."""
    counted: bool = False
    """Lengths stand behind the notes as letters."""
    dotted: bool = False
    """A dot adds half a note's length; else each is a beat more."""
    threes: bool = False
    """A dotted number lasts three beats: a dotted quarter where an eighth gets the beat."""
    unit: int = 4
    """The note that gets one beat."""


Tell = Callable[[str], None]
"""Takes what was read in an unusual way, and how."""


def space_out(line: str) -> tuple[str, list[str]]:
    """Words and unusual signs of a line put into signs that stand by themselves, and what is told.

    >>> space_out("1 / 2 / 3")
    ('1 2 3', ['slashes separate the notes'])
    """
    told: list[str] = []
    if re.match(rf"(?i)\s*(?:{_LENGTH_WORD})\b", line):
        line = re.sub(rf"(?i)\b({_LENGTH_WORD})(?:[ -]?notes?)? ?{_ANY}", r"\2 (\1)", line)
    slashes = line.count(" / ")
    if slashes:
        listed = slashes == len(line.split()) // 2
        line = line.replace(" / ", " " if listed else " | ")
        told.append("slashes separate the notes" if listed else "/ is a bar line")
    for pattern, new, reading in _RULES:
        line, count = re.subn(pattern, new, line)
        told += [reading] * bool(count and reading)
    return " ".join(line.split()), told


def _length(match: re.Match[str]) -> str:
    return f"{match[1]}:{_BEATS[match[2].lower()]}"


def _number(match: re.Match[str]) -> str:
    return str(NUMBER_WORDS.index(match[0].lower()) + 1)


_ANY = rf"({_DEGREE}|[A-G][#b]?)"
_SIGNS_OF_BARS = (
    (r":\|:", ":| |:"),
    (r"\[:", "|:"),
    (r":\]", ":|"),
    (r":\s*\|\|+|:\s*‖", ":|"),
    (r"\|\|+\s*:|‖\s*:", "|:"),
    (r"\|[|\]]+|\[\||‖|¦", "|"),
    (r"(?<![|:])\|(?=[^\s|:])(?!\S*\d-\d)", "| "),
)
_OCTAVES = (("'", r"high|hi|upper|up|top|8va", "up"), (",", r"low|lower|down|bottom|8vb", "down"))
_ACCIDENTALS = (("#", "sharp", "raised|sharpened"), ("b", "flat", "lowered|flattened"))
_Rule = tuple[str, str | Callable[[re.Match[str]], str], str]
_RULES: tuple[_Rule, ...] = (
    *((pattern, new, "") for pattern, new in _SIGNS_OF_BARS),
    (r"(?<!\S)\.{3,}|…|\betc\b\.?", " ", "the dots of a tune that goes on are left out"),
    (rf"(?i)\b(?:{'|'.join(NUMBER_WORDS)})\b", _number, "numbers in words are degrees"),
    (r"(?<!\S)([#b]) (?=[1-9])", r"\1", ""),
    *(
        rule
        for sign, word, others in _ACCIDENTALS
        for rule in (
            (rf"\b([A-Ha-h])[ -]?{word}\b", rf"\1{sign}", ""),
            (rf"(?i)\b(?:{word}|{others})[ -]?([1-9])", rf"{sign}\1", ""),
            (rf"(?i)([1-9])[ -]?{word}\b", rf"{sign}\1", ""),
        )
    ),
    (r"(?<=[#b\w])[!?]+(?!\S)", "", ""),
    (rf"(?i)(?<!\S)([1-9])(?:st|nd|rd|th)\b(?! *(?:{_FRET}))", r"\1", "1st, 3rd are degrees"),
    (r"(?i)(?<!\S)(?:the )?root\b(?! pos)", "1", "the root is degree 1"),
    (r"(?<=[1-9]),? (?:and )?then (?=[#b]?[1-9])", " ", "then says nothing"),
    (r"♮(?=[1-9A-G])|(?<=[1-9A-G])♮", "", ""),
    *(
        (pattern, rf"\1{mark}", f"{words.partition('|')[0]} means an octave {way}")
        for mark, words, way in _OCTAVES
        for pattern in (
            rf"(?i){_ANY} ?\((?:{words})\)",
            rf"(?i)({_DEGREE})(?:{words})\b",
            rf"(?i)({_DEGREE}) (?:{words}),",
            rf"(?i)\b(?:{words})[ -]?({_DEGREE})",
        )
    ),
    (
        rf"(?i){_ANY} ?\(?\b({_LENGTH_WORD})(?:[ -]?notes?)?\b\)?,?",
        _length,
        "words behind the notes are their lengths: quarter 1 beat, half 2, eighth 1/2",
    ),
    *(
        (pattern, r"\1:\2", "numbers in brackets are beats")
        for pattern in (
            rf"(?i){_ANY} ?\((\d(?:/\d)?) ?(?:beats?|counts?)\)",
            rf"{_ANY}\((\d(?:/\d)?)\)",
        )
    ),
    (rf"({_DEGREE}) ([qhw])(?!\S)", r"\1\2", ""),
    (rf"(?<!\S)([qhw])({_DEGREE})(?!\S)", r"\2\1", ""),
    (rf"{_ANY}\(([qhwes])\)", r"\1\2", ""),
    (r"(?<=[IV])-(?=[IV])", " ", ""),
    (r"(?i)\bré\b", "re", ""),
    (r"(?<=\s),(?=[#b]?\d)", " ", "the commas separate the notes"),
    (r"(?i)\brests?\b", "r", ""),
    (r"(?<!\S)0(?!\S)", "r", "0 is a rest"),
    (r"(?<!\S)(?:→|>|->|=>)(?!\S)", " ", "arrows between the notes say nothing"),
    (r"(?<!\S)--(?!\S)", "- -", ""),
    (r"(?<!\S)[.~_](?!\S)", "-", "a sign that stands alone holds the note before"),
)
"""(pattern, what stands for it, what is told) in their order."""


def habits_of(lines: Sequence[str], *, german: bool, unit: int) -> Habits:
    """The habits that the lines of a text have in common."""
    words = [word for line in lines for word in line.replace("|", " ").split() if word != ":"]
    notes = [word for word in words if re.match(_NOTE, word)]
    letters = [word for word in words if re.fullmatch(rf"{_LETTER}'*[-_.~]*,?", word)]
    numbers = [word for word in words if re.search(r"\d", word)]
    small = [word.lower().strip(",") for word in words if re.search("[A-Za-z]", word)]
    sung = [w for w in small if all(part in SYLLABLES for part in re.split(r"[-/,]", w.strip("'")))]
    h = any(word[0] in "Hh" for word in letters)
    return Habits(
        commas=_behind_all(notes, ","),
        dots=_behind_all(numbers, "."),
        digits=_run_together(words),
        german=german or h,
        helmholtz=any(re.fullmatch(r"[a-h](?:#|b|is|es)?'+", word) for word in letters),
        syllables=len(sung) > len(words) / 2,
        roman=len([word for word in words if word.strip(",") in _ROMAN]) > len(words) / 2,
        counted=sum(bool(re.fullmatch(r"[#b]*[1-9][,']*[qhwes]\.?", w)) for w in words) > 1,
        unit=unit,
    )


def _behind_all(notes: Sequence[str], sign: str) -> bool:
    """Whether a sign stands once behind every note but the last, which has none."""
    if len(notes) < 2 or notes[-1].endswith(sign):
        return False
    return all(note.count(sign) == 1 and note.endswith(sign) for note in notes[:-1])


def _run_together(words: Sequence[str]) -> bool:
    runs = [word for word in words if _RUN.fullmatch(word)]
    return any(
        len(number) > 2 or int(number) > _MOST_DEGREE
        for word in runs
        for number in re.findall(r"[1-9]\d+", word)
    )


def melody_words(word: str, habits: Habits, tell: Tell) -> Iterator[str]:
    """The words of melody text that one word of a scribble stands for."""
    if habits.commas and word.endswith(","):
        word = word[:-1]
        tell("the commas separate the notes, they are no octave down")
    if habits.dots and word.endswith("."):
        word = word[:-1]
        tell("the dots separate the notes")
    if EVENT.fullmatch(word) and not (habits.digits or habits.german):
        yield word
    elif habits.digits and _RUN.fullmatch(word):
        tell("numbers run together are one degree a digit: 12 is 1 2")
        yield from re.findall(r"[#b]*[1-9]", word)
        yield from "-" * (len(word) - len(word.rstrip("-_")))
    elif listed := _LISTED.fullmatch(word):
        yield from _take_apart(word, listed, habits, tell)
    elif habits.syllables and (sung := _syllable(word, tell)):
        yield from sung
    elif habits.roman and word.strip(",") in _ROMAN:
        tell("Roman numerals are degrees of the scale, not chords")
        yield _ROMAN[word.strip(",")]
    else:
        yield from _with_marks(word, habits, tell)


def _take_apart(word: str, match: re.Match[str], habits: Habits, tell: Tell) -> Iterator[str]:
    sign, end = match["sign"], match["end"]
    body = word.removesuffix(end) if end else word
    tell(f"the {_SIGNS.get(sign, 'sign ' + sign)} separate the notes: {body[:20]}")
    for part in body.split(sign):
        yield from melody_words(part, habits, tell)
    yield from "-" * len(end)


_SIGNS = {"/": "slashes", ".": "dots", "-": "dashes", ",": "commas"}


def _syllable(word: str, tell: Tell) -> list[str]:
    match = re.fullmatch(rf"(?i)({_SOL})('*|,?)([-_.~]*),?", word)
    if match is None:
        return []
    tell("syllables are movable do: do is 1, re 2, mi 3, fa 4, so 5, la 6, ti 7")
    return [SYLLABLES[match[1].lower()] + match[2], *"-" * len(match[3])]


def _with_marks(word: str, habits: Habits, tell: Tell) -> Iterator[str]:
    """A degree or a letter with marks of octave, accidental or length around it."""
    if match := _MARKED.fullmatch(word):
        yield from _degree(match, habits, tell)
    elif match := _LETTERED.fullmatch(word):
        yield from _letter(match, habits, tell)
    else:
        yield word


def _degree(match: re.Match[str], habits: Habits, tell: Tell) -> Iterator[str]:
    before, octave = match["before"], match["octave"]
    if ("+" in before and int(match["number"]) > 3) or (
        before == "-" and match["number"] not in "56"
    ):
        yield match[0]
        return
    ups = sum(map((before + octave).count, "^+↑'`"))
    downs = sum(map(before.count, "↓_.-")) + sum(map(octave.count, "↓,"))
    if before or set(octave) - set(",'"):
        way = "an octave up, such as 1' (or 8)" if ups else "an octave down, such as 5,"
        tell(f"the sign at {match[0][:12]} means {way}")
    if match["after"]:
        tell(f"{match[0][:12]} is {match['after']}{match['number']}")
    note = match["acc"] + match["after"] + match["number"] + "'" * ups + "," * downs
    length, holds = _beats(match, habits, tell)
    yield note + length
    yield from "-" * holds


def _beats(match: re.Match[str], habits: Habits, tell: Tell) -> tuple[str, int]:
    """The length to write behind a note, and the holds that follow."""
    held, letter = match["held"], match["letter"]
    if letter:
        beats = Fraction(_BEATS[letter]) * habits.unit / 4
        tell("letters behind the notes are lengths: w whole, h half, q quarter, e eighth")
        return f":{beats * (Fraction(3, 2) if held == '.' else 1)}", 0
    if habits.threes and held == ".":
        tell("a dot makes a dotted quarter, three eighths; a bare number is an eighth")
        return ":3", 0
    if habits.dotted and held and set(held) == {"."}:
        tell("a dot behind a note adds half its length")
        return f":{2 - Fraction(1, 2 ** len(held))}", 0
    if held:
        tell(f"each {held[0]} behind a note holds it one beat more")
    return "", len(held)


def _letter(match: re.Match[str], habits: Habits, tell: Tell) -> Iterator[str]:
    name, acc = match["name"].upper(), match["acc"] or ""
    if acc in ("is", "es", "s"):
        tell("Fis is F#, Es is Eb: German names")
    acc = ACCIDENTALS.get(acc, acc)
    if habits.german and name == "B" and not acc:
        tell("B is the German name of Bb")
        acc = "b"
    if name == "H":
        tell("H is the German name of B natural")
        name = "B"
    octave = match["octave"]
    if habits.helmholtz and not octave:
        tell("c' is middle C, c the C below it")
        octave = str((3 if match["name"].islower() else 2) + len(match["marks"]))
    elif match["name"].islower():
        tell("small letters are notes")
    length, holds = _beats(match, habits, tell)
    yield name + acc + octave + length
    yield from "-" * holds


def looks_like_music(word: str) -> bool:
    """Whether a word may be a note, a rest, a hold or a bar line in some habit."""
    if re.fullmatch(r"[|:\[\]\-_~().]+|[rRxX]|\[\d|:\|x\d", word):
        return True
    note = re.fullmatch(rf"[(\"']*{_NOTE}[,;)]*", word) or EVENT.fullmatch(word)
    listed = _LISTED.fullmatch(word.rstrip(",")) or _RUN.fullmatch(word)
    marked = _MARKED.fullmatch(word.strip("(),;")) or _LETTERED.fullmatch(word.strip("(),;"))
    roman = word.strip(",.") in _ROMAN
    return bool(note or listed or marked or roman or re.fullmatch(r"\d{2,}[-_]*", word))
