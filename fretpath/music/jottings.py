"""The lines of a jotted text sorted: headers, music, words under it, titles and what is left out.

Decoration goes first (bullets, line numbers, emoji, quotes), then headers
(:mod:`fretpath.music.heads`), names of parts and words around the music; a line is music when most
of its words may be notes.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import dropwhile, groupby, pairwise
from typing import TypeVar
from unicodedata import category, normalize

from fretpath.errors import AmbiguousTextError, RequestError, nearest
from fretpath.music.heads import key_words, read_head
from fretpath.music.key import Key
from fretpath.music.melody import Meter
from fretpath.music.scribbles import NUMBER_WORDS, SYLLABLES, looks_like_music, space_out
from fretpath.music.text import (
    EVENT,
    HEADERS,
    TYPED,
    UNDER,
    TextSpot,
    numbered_lines,
    unknown_header,
)
from fretpath.remarks import Remark, RemarkKind

T = TypeVar("T")
_ODD = str.maketrans(
    "\u2b06\u2b07\u0307\u0323\u02d9\u00d7\u00a0\u201c\u201d\u201e"
    "\u2010\u2011\u2012\u2015\u02bc\u00b4\u201a\u2502",
    "\u2191\u2193',\u2191x \"\"\"----'',|",
)
"""Arrows, dots over and under a number, quotes, dashes and bars of other keyboards."""
_CHORD_NAME = (
    r"[A-H](?:#|b)?(?:maj|min|dim|aug|sus|add|m|M|\+|°|-)?\d{0,2}(?:sus\d?|b5|maj7|add\d)?"
    r"(?:/[A-G][#b]?)?"
)
_CHORD = re.compile(rf"\(?(?:{_CHORD_NAME}|N\.?C\.?|%)\)?")
_BRACKETED_CHORD = re.compile(rf"[(\[]{_CHORD_NAME}[)\]]")
_ASIDE = re.compile(
    r"\*[^*]{3,80}\*|\([^()]{3,80}\)|\[[^\[\]]{3,80}\]|\{[^{}]{3,80}\}|\"[^\"]{3,80}\""
)
"""Words in brackets, stars or quotes."""
_REPEAT_WORDS = re.compile(r"(?i)\brepeat|\bD\.? ?[CS]\b|\bda capo|\bal (?:fine|coda)")
_SECTION = re.compile(
    r"(?i)((?:verse|chorus|refrain|bridge|intro|outro|part|section|coda|ending|line)"
    r"(?: [\dA-D](?=\s*(?:[:.)-]|$)))?(?![^\W\d])"
    r"|(?:lesson|ex|exercise|no|bar|measure|phrase|riff|lick|tune|song|week|page)[. ]{1,2}"
    r"\d{1,3}(?=\s*:)"
    r"|\d(?:st|nd|rd|th) (?:line|part|phrase|time|verse)|\d(?:st|nd|rd|th)(?=\s*:)"
    r"|[A-D](?: part)?(?=\s*:))\s*[:.)-]?\s*(.*)"
)
_BESIDE = re.compile(
    r"(?i)\s*(capo|tuning|tuned|instrument|fingers?|fingering|strings?|frets?|counts?|position|"
    r"swing|feel|style|date|week|page|tabs?)\b\s*(?:[:=]|(?<!week)(?<!page)(?<!date)\s(?=\d))\s*(.+)"
)
"""Told of the neck or the week beside a melody: no note of it."""
_OPTIONS = {
    "tuned": "tuning",
    **{name: name for name in ("capo", "tuning", "instrument", "position")},
}
"""The option that says the same."""
_KEY_ALONE = re.compile(r"[A-G][#b]?(?:maj|min|m)?")
_PLAIN_NOTE = re.compile(r"[#b]{0,2}[1-9]\d?[,']*[-_]*|[A-G][#b]?|[|-]")
_AGAIN = re.compile(
    r"(?i)[\s|]*[(\[]?\s*(?:repeat |play |all )?(?:[x×]\s*(?P<a>[2-9])|(?P<b>[2-9])\s*[x×]"
    r"|(?P<c>[2-9]) times|(?P<three>three times)|twice|two times|bis"
    r"|repeat(?:ed)?(?: (?:this|that|line|once|it))*)\s*[)\]|]*[.!]?$"
)
_NOTE_WORDS = "high|low|upper|lower|half|quarter|eighth|whole|beats?|sharp|flat"
_OF_A_NOTE = re.compile(rf"(?i)\b(?:{_NOTE_WORDS})\b")
_MUSICAL_WORD = re.compile(rf"(?i)\b(?:{_NOTE_WORDS}|up|down|rests?|{'|'.join(NUMBER_WORDS)})\b")
"""Words that belong to the notes beside them."""
_GREETING = re.compile(
    r"(?i)(?:hi|hello|hey|dear|please|it'?s|this|can|could|thanks|thank|cheers|here|best|love"
    r"|see you|see ya|regards)\b"
)


@dataclass
class JottedLine:
    """A line of the text, as far as it has been read."""

    number: int
    """Line of the text, from 1."""
    text: str
    """The text, cleaned of decoration."""
    gap: bool = False
    """Whether an empty line stands before it."""
    kind: str = "text"
    """``music``, ``text``, ``head``, ``under``, ``chords``, ``sung``, or ``nothing``."""
    times: int = 1
    """How often a line of music is played."""
    words: list[str] = field(default_factory=list)
    """Music in the words of melody text."""


@dataclass
class Draft:
    """The lines read so far, and the remarks on them."""

    source: str
    """Name of the melody."""
    labels: int = 0
    """Lines that begin with a letter and a colon."""
    heads: dict[str, tuple[str, int]] = field(default_factory=dict)
    """Value and line of each header."""
    rows: list[JottedLine] = field(default_factory=list)
    """The lines that say something."""
    remarks: list[Remark] = field(default_factory=list)
    """Whatever must be told."""
    german: bool = False
    """Whether a key has a German name."""

    def tell(self, kind: RemarkKind, text: str, number: int) -> None:
        """Add a remark on a line, once."""
        if all((other.kind, other.text) != (kind, text) for other in self.remarks):
            self.remarks.append(Remark(kind, text, f"line {number}"))

    def ask(self, question: str, number: int, *readings: tuple[str, str]) -> AmbiguousTextError:
        """A question about a line, with each reading and how to write it."""
        return AmbiguousTextError(question, readings=readings, source=self.source, line=number)

    def head(self, name: str) -> str:
        """The value of a header, or the empty string."""
        return self.heads.get(name, ("", 0))[0]

    @property
    def key(self) -> Key | None:
        """The key of the header, if it is one."""
        return _parse(Key.parse, self.head("key"))

    @property
    def meter(self) -> Meter | None:
        """The meter of the header, if it is one."""
        return _parse(Meter.parse, self.head("meter"))

    @property
    def started(self) -> bool:
        """Whether a line of music has been read."""
        return any(row.kind == "music" for row in self.rows)

    def music(self) -> list[JottedLine]:
        """The lines of music."""
        return [row for row in self.rows if row.kind == "music"]

    def body(self, between: str = "\n") -> str:
        """The music in the words of melody text."""
        return between.join(" ".join(row.words) for row in self.music())

    def events(self) -> Iterator[tuple[JottedLine, int, re.Match[str]]]:
        """(line, place among its words, parts of the event) of every event."""
        for row in self.music():
            for place, word in enumerate(row.words):
                if match := EVENT.fullmatch(word):
                    yield row, place, match

    def degrees(self) -> list[tuple[JottedLine, int, str]]:
        """(line, place among its words, degree) of every degree."""
        return [(row, at, match["degree"]) for row, at, match in self.events() if match["degree"]]


def _parse(parse: Callable[[str], T], text: str) -> T | None:
    """The value of a text; None where it is none."""
    try:
        return parse(text)
    except RequestError:
        return None


def draft_of(text: str, source: str) -> Draft:
    """The lines of a text sorted, with what is told of them."""
    draft = Draft(source)
    lines = _undecorate(text, draft)
    draft.labels = sum(bool(re.match(r"\s*[A-G]\s*:", row.text)) for row in lines)
    for row, following in pairwise([*lines, JottedLine(0, "")]):
        _sort(row, following.text, draft)
        if row.kind != "nothing":
            draft.rows.append(row)
    _name_texts(draft)
    if not draft.music():
        _refuse_chords(text, source)
    return draft


def _refuse_chords(text: str, source: str) -> None:
    """Say what Roman numerals alone are."""
    if re.fullmatch(r"[\sIViv7°+|-]*[IViv][\sIViv7°+|-]*", text):
        spot = TextSpot(source, 1, 1, 1, text.split("\n", 1)[0])
        raise spot.error("these are chords in Roman numerals; write the melody: degrees 1 to 7")


# -- decoration ----------------------------------------------------------------------------------


def _undecorate(text: str, draft: Draft) -> list[JottedLine]:
    """The lines that say something, without emoji, bullets and line numbers."""
    found: list[JottedLine] = []
    gap = False
    for number, raw in numbered_lines(text):
        wide = "".join(normalize("NFKC", c) if "\uff00" < c < "\uffef" else c for c in raw)
        line = "".join(filter(_says_something, wide.translate(_ODD))).rstrip()
        line = re.sub(r"^\s*(?:```.*|>\s?|#{1,6}\s+(?!\d))", "", line)
        line = re.sub(r"\*\*|__(?=\S*[A-Za-z])|`", "", line)
        if line.lstrip().startswith((";", "//")):
            continue
        if line.strip():
            found.append(JottedLine(number, line, gap))
        gap = not line.strip()
    _drop_bullets(found)
    _drop_numbers(found, draft)
    return found


def _says_something(char: str) -> bool:
    """Whether a character says something; emoji and invisible ones do not."""
    return category(char) not in ("So", "Cf", "Mn", "Sk", "Cn", "Co") or char in "♭♯^`°"


def _drop_bullets(lines: list[JottedLine]) -> None:
    """Drop bullets where each line from the first one on has one (a dash alone is a hold)."""
    bullet = re.compile(r"\s*[-*•]\s+")
    listed = [*dropwhile(lambda row: not bullet.match(row.text), lines)]
    if all(bullet.match(row.text) for row in listed):
        for row in listed:
            row.text = bullet.sub("", row.text, count=1)


def _drop_numbers(lines: list[JottedLine], draft: Draft) -> None:
    """Drop line numbers such as ``1)``, where two lines or more count on from 1."""
    numbered = re.compile(r"\s*\(?(?:(\d{1,2})(?:[).:]|\s-)|([a-i])\))\)?\s+(?=\S)")
    found = [(row, match) for row in lines if (match := numbered.match(row.text))]
    counts = [int(m[1]) if m[1] else " abcdefghi".index(m[2]) for _, m in found]
    if len(counts) > 1 and counts == list(range(1, len(counts) + 1)):
        draft.tell("left out", "the line numbers 1) 2) ...", found[0][0].number)
        for row, match in found:
            row.text = row.text[match.end() :]


# -- headers -------------------------------------------------------------------------------------


def _sort(row: JottedLine, following: str, draft: Draft) -> None:
    """Find out the kind of a line, ``nothing`` where it holds no music and no words."""
    line = row.text
    name = line.partition(":")[0].strip().lower()
    beside = _BESIDE.fullmatch(line)
    if beside and name not in UNDER:
        option = _OPTIONS.get(beside[1].lower())
        said = f"; it is said with --{option}" if option else ""
        told = f'"{line.strip()[:60]}" is not a note of the tune{said}'
        draft.tell("left out", told, row.number)
        row.kind = "nothing"
        return
    _refuse_fraction(row, draft)
    if name == "chords" and not draft.started:
        row.kind, row.text = "chords", line.partition(":")[2]
    elif ":" in line and name in UNDER:
        row.kind, row.text = "under", line.strip()
    elif _is_key_alone(row, following, draft):
        draft.heads["key"] = key_words(line.strip()), row.number
        draft.tell("read", f"{line.strip()} on the first line is the key", row.number)
        row.kind = "nothing"
    elif _is_chords(line, following):
        row.kind = "chords"
    else:
        valued = name.isalpha() and line.partition(":")[2].strip()
        if valued and len(name) > 2 and not _is_music(line):
            _refuse_misspelt(row, name, draft)
        _take_heads(row, draft)


def _take_heads(row: JottedLine, draft: Draft) -> None:
    """Take key, meter and the like off a line, and sort the rest of it."""
    head = read_head(row.text)
    started = draft.started
    late = dict(head.values).get("key")
    if started and late and "key" not in draft.heads and len(head.rest.split()) < 3:
        draft.heads["key"] = late, row.number
        draft.tell("read", f"the key told behind the music: {late}", row.number)
        row.kind = "nothing"
        return
    if head.values and (not head.rest or not started):
        for name, value in head.values:
            _take_head(name, value, row, draft)
        for told in head.told:
            draft.tell("read", told, row.number)
        german = re.search(r"(?i)\b(?:tonart|dur|moll)\b|-dur|-moll", row.text)
        draft.german = draft.german or bool(german)
        row.text = head.rest
        if started and not row.text:
            row.kind, row.text = "head", "\n".join(f"{n}: {v}" for n, v in head.values)
            return
    row.text = _without_label(row, draft)
    if row.text.strip():
        _sort_music(row, draft)
    else:
        row.kind = "nothing"


def _is_key_alone(row: JottedLine, following: str, draft: Draft) -> bool:
    """Whether the first line names a key in one word, and degrees stand below it."""
    below = re.search(r"(?<!\S)[#b]?\d", following) and _is_music(following)
    first = not (draft.rows or "key" in draft.heads or row.text[:1].isspace())
    return bool(first and below and _KEY_ALONE.fullmatch(row.text.strip()))


def _refuse_fraction(row: JottedLine, draft: Draft) -> None:
    """Ask about a line such as ``12/5`` before the music, which is no meter."""
    parts = re.fullmatch(r"\s*(\d{1,2})/(\d{1,2})(?:/\d+)?\s*", row.text)
    if parts and not draft.started and parts[2] not in ("1", "2", "4", "8", "16", "32"):
        raise draft.ask(
            f'"{row.text.strip()}": a day, or the notes {parts[1]} and {parts[2]}?',
            row.number,
            ("a day", f"; {row.text.strip()}"),
            ("notes", f"{parts[1]} {parts[2]}"),
        )


def _refuse_misspelt(row: JottedLine, name: str, draft: Draft) -> None:
    """Refuse a header whose name is nearly one that is known."""
    head = read_head(row.text)
    known = name in HEADERS or (head.values and not head.rest)
    if not known and nearest(name, HEADERS):
        width = len(row.text.partition(":")[0]) + 1
        raise TextSpot(draft.source, row.number, 1, width, row.text).error(unknown_header(name))


def _take_head(name: str, value: str, row: JottedLine, draft: Draft) -> None:
    if not draft.started:
        if draft.heads.get(name, (value, 0))[0] != value:
            spot = TextSpot(draft.source, row.number, 1, 1, f"{name}: {value}")
            raise spot.error(f"the header {name} stands twice")
        draft.heads[name] = value, row.number
    elif name not in ("key", "meter"):
        raise _two_tunes(draft, row.number, value)


def _two_tunes(draft: Draft, number: int, title: str) -> AmbiguousTextError:
    return draft.ask(
        f'two tunes in one text? the second tune seems to begin with "{title[:40]}"',
        number,
        ("two tunes", "each in a text or a file of its own"),
        ("one tune", f"; {title[:40]}"),
    )


def _without_label(row: JottedLine, draft: Draft) -> str:
    """A line without the name of a part, or the words, that stand before its music."""
    line, number = row.text.strip(), row.number
    key = re.fullmatch(r"([A-G][#b]?)\s*:\s*(.+)", line)
    if key and draft.labels < 2 and "key" not in draft.heads and _is_music(key[2]):
        draft.heads["key"] = key[1], number
        draft.tell("read", f"{key[1]}: is the key", number)
        return key[2]
    unclear = re.fullmatch(
        r"(?i)(verse|line|part|section|ending|bar|measure|lesson|exercise|page|week) (\d\d?) "
        r"((?:[#b]?\d[,']* ?){2,}.*)",
        line,
    )
    if unclear:
        raise draft.ask(
            f'"{line[:40]}": is {unclear[2]} the number of the {unclear[1].lower()}, or a note?',
            number,
            ("its number", f"{unclear[1]} {unclear[2]}: {unclear[3]}"),
            ("a note", f"{unclear[1]}: {unclear[2]} {unclear[3]}"),
        )
    part = _SECTION.fullmatch(line) or _label(line)
    if part and (not part[2] or _is_music(part[2])):
        draft.tell("left out", f'the name of a part: "{part[1].strip()}"', number)
        return part[2]
    words, colon, music = line.rpartition(": ")
    plain = re.search(r"[A-Za-z]", words) and not re.search(r"\d", words) and not _is_music(words)
    if colon and music and _is_music(music) and plain:
        draft.tell("left out", f"words before the music: {words.strip(' ,')[:60]}", number)
        return music
    line = _out_of_prose(line, number, draft)
    quoted = line.strip('"')
    return quoted if quoted != line and _is_music(quoted) else line


def _label(line: str) -> re.Match[str] | None:
    """One word or two and a colon, with nothing behind it, that are no music and no greeting."""
    found = re.fullmatch(r"([^\W\d_]+(?: [^\W\d_]+)?) ?:()", line)
    return None if found and (_is_music(found[1]) or _GREETING.match(line)) else found


def _out_of_prose(line: str, number: int, draft: Draft) -> str:
    """The notes of a sentence such as ``can you learn 1 2 3 5 3 for Friday?``; else the line."""
    words = line.split()
    bare = [word.rstrip(".,;:!?") for word in words]
    places = groupby(range(len(bare)), key=lambda at: bool(_PLAIN_NOTE.fullmatch(bare[at])))
    runs = [run for note, group in places if note and len(run := [*group]) > 2]
    if len(runs) != 1 or len(runs[0]) == len(words) or line.count('"') > 1:
        return line
    first, last = runs[0][0], runs[0][-1]
    around = " ".join([*words[:first], *words[last + 1 :]])
    speaks = re.search(r"[A-Za-z]{3}", around)
    if re.search(r"[\d:|()\[\]]", around) or _MUSICAL_WORD.search(around) or not speaks:
        return line
    if any(re.fullmatch(r"(?i)then|and|up|repeat\w*|twice|times", word) for word in around.split()):
        return line
    draft.tell("left out", f"words around the music: {around[:60]}", number)
    return " ".join(bare[first : last + 1])


# -- music ---------------------------------------------------------------------------------------


def _sort_music(row: JottedLine, draft: Draft) -> None:
    """Tell music from words, and take off it what is sung, said or repeated."""
    line = row.text
    first = re.match(r"\s*\(?([2-9])\s*[x×]\)?\s*:?\s+", line)
    if first and _is_music(line[first.end() :]):
        line = f"{line[first.end() :]} x{first[1]}"
    line = _write_out_groups(line, row.number, draft)
    again = None if ":|x" in line else _AGAIN.search(line, max(0, len(line) - 60))
    if again and (_is_music(line[: again.start()]) or not line[: again.start()].strip(" |(")):
        times = int(again["a"] or again["b"] or again["c"] or (3 if again["three"] else 2))
        told = f"the line is played {times} times, as the repeat mark asks"
        draft.tell("read", told, row.number)
        kept = line[: again.start()]
        if not kept.strip():  # alone on its line: it belongs to the line before
            for before in draft.music()[-1:]:
                before.times = times
            row.kind = "nothing"
            return
        line = kept + (" |" if "|" in line[again.start() : again.end()] else "")
        row.times = times
    if _is_music(line) or re.fullmatch(r"(?:[1-9&+ ]|\band\b)*[1-9](?:[1-9&+ ]|\band\b)*", line):
        row.kind = "music"
        row.text = _without_remarks(line, row.number, draft).translate(TYPED)
    else:
        row.text = line.strip()


def _write_out_groups(line: str, number: int, draft: Draft) -> str:
    """Notes in brackets with x2 behind them, as often as they are played."""
    group = re.compile(r"\(([^()]+)\)\s*[x×]\s*([2-9])(?=\s+\S)")
    written = group.sub(lambda m: " ".join([m[1]] * int(m[2])), line)
    if written != line:
        draft.tell("read", "notes in brackets with x2 are played twice", number)
    return written


def _without_remarks(line: str, number: int, draft: Draft) -> str:
    """Music without words in brackets, in quotes or at its end."""

    def drop(match: re.Match[str]) -> str:
        if not re.search(r"[A-Za-z]{3}", match[0]) or _is_music(match[0].strip('()[]{}"')):
            return match[0]
        if _OF_A_NOTE.search(match[0]):
            return match[0]
        draft.tell("left out", f"a remark: {match[0]}", number)
        return " "

    remark = re.search(r"\s(?://|#)\s.*$", line)
    if remark and not _is_music(remark[0]):
        draft.tell("left out", f"a remark: {remark[0].strip()}", number)
        line = line[: remark.start()]
    if re.search(r"(?<!\S)[#b]?\d", line) and _BRACKETED_CHORD.search(line):
        draft.tell("left out", "chord names in brackets among the notes", number)
        line = _BRACKETED_CHORD.sub(" ", line)
    line = _ASIDE.sub(drop, line)
    words = line.split()
    tail = len(words)
    while (
        tail
        and re.fullmatch(r"[A-Za-z'’]{3,}[.,!?]*", words[tail - 1])
        and not looks_like_music(words[tail - 1])
    ):
        tail -= 1
    if tail < len(words) and not _MUSICAL_WORD.search(" ".join(words[tail:])):
        draft.tell("left out", f"words behind the music: {' '.join(words[tail:])}", number)
        return " ".join(words[:tail]).removesuffix(" --").rstrip() if tail else line
    return line


def _is_music(line: str) -> bool:
    """Whether most words of a line may be notes."""
    if re.fullmatch(r"\s*[A-Za-z]{3,}\s*", line) and line.strip().lower() not in SYLLABLES:
        return False
    words = space_out(line.translate(TYPED))[0].split()
    words = [word for word in words if word not in ("|", "-")]
    notes = sum(looks_like_music(word) for word in words)
    return (
        bool(words)
        and notes * 3 >= len(words) * 2
        and any(
            looks_like_music(word) and re.search(r"[A-Ha-h\d]|[a-z]{2}|[IV]|^r", word)
            for word in words
        )
    )


def _is_chords(line: str, following: str) -> bool:
    """Whether a line names the chords over the line of degrees below it."""
    words = line.replace("|", " ").split()
    below = re.findall(r"(?<!\S)[#b]?\d", following)
    if not words or not below or not _is_music(following):
        return False
    return all(_CHORD.fullmatch(word) for word in words) and any(w[0].isalpha() for w in words)


# -- words that are no music ---------------------------------------------------------------------


def _name_texts(draft: Draft) -> None:
    """Find the title, the words sung and what is left out among the lines of words."""
    rows, draft.rows = draft.rows, []
    for at, row in enumerate(rows):
        above = draft.rows[-1] if draft.rows else None
        if row.kind == "music" and above and _is_syllables(row, above):
            row.kind = "text"
        if row.kind == "text":
            later = any(other.kind in ("music", "head") for other in rows[at + 1 :])
            _name_text(row, above, draft, later=later)
        if row.kind != "text":
            draft.rows.append(row)


def _name_text(row: JottedLine, above: JottedLine | None, draft: Draft, *, later: bool) -> None:
    """One line of words; *above* is the line over it, *later* says that music follows."""
    if not draft.started and "title" not in draft.heads and _is_title(row.text):
        draft.heads["title"] = _bare_title(row.text), row.number
    elif draft.started and _REPEAT_WORDS.search(row.text):
        raise draft.ask(
            f'"{row.text[:40]}": which lines are played again?',
            row.number,
            ("a part again", "|: before it and :| behind it, or write the lines out"),
            ("nothing again", f"; {row.text[:40]}"),
        )
    elif draft.started and re.match(r"(?i)(?:tune|song|melody)\b", row.text):
        raise _two_tunes(draft, row.number, row.text)
    elif above and above.kind == "music" and not row.gap and _is_sung(row, above):
        draft.tell("read", f"words under the notes (lyrics): {row.text[:60]}", row.number)
        row.kind = "sung"
    elif draft.started and row.gap and _is_title(row.text) and later:
        raise _two_tunes(draft, row.number, row.text)
    else:
        draft.tell("left out", f"words that are no music: {row.text[:60]}", row.number)


def _is_syllables(row: JottedLine, above: JottedLine) -> bool:
    """A line of la la under a line of degrees is sung, not solfege."""
    words = re.findall(r"[A-Za-z]+", row.text)
    sung = words and all(word.lower() in SYLLABLES for word in words)
    under = above.kind == "music" and re.search(r"\d", above.text)
    return bool(sung and under and not re.search(r"\d", row.text))


def _is_title(text: str) -> bool:
    bare = _bare_title(text)
    wordy = len(bare.split()) > 8 or len(bare) > 80
    return (
        bool(re.search(r"\w", bare))
        and not wordy
        and not (text.rstrip()[-1:] in ",:?" or _GREETING.match(bare) or re.search(r"[!?]\s", text))
    )


def _bare_title(text: str) -> str:
    return re.sub(r"\s+", " ", text).strip(" \"'*_“”„‘’-=~.")


def _is_sung(row: JottedLine, above: JottedLine) -> bool:
    notes = [word for word in above.text.split() if re.search(r"[\dA-Ha-h]", word)]
    count = len(syllables_of(row.text))
    return count >= 2 and len(notes) / 2 <= count <= len(notes)


def syllables_of(text: str) -> list[str]:
    """The syllables of a line of words, as ``words:`` has them."""
    return re.sub(r"(?<=\w)-(?=\w)", "- ", text).split()
