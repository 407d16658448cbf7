"""The tolerant reader of melody text: what people jot is read where only one reading is likely.

**Method.**  Text in the notation of :mod:`fretpath.music.text` is read as it stands.  Anything else
is put into that notation line by line (:mod:`fretpath.music.scribbles`), with a remark for whatever
was taken in an unusual way or left out, and then read by the strict reader.  Where two readings
are likely, :class:`~fretpath.errors.AmbiguousTextError` shows both and how to write each.

**The notation is trusted** where the text is exactly what :func:`format_melody` writes, or uses
its lengths (``:1/2``), places (``@``), ``octave:`` or ``degrees:``: whoever writes those knows it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial
from itertools import pairwise
from unicodedata import category, normalize

from fretpath.errors import AmbiguousTextError, FretpathError, MelodySyntaxError, nearest
from fretpath.music.heads import key_words, read_head
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody, Meter
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.scribbles import (
    SYLLABLES,
    Habits,
    habits_of,
    looks_like_music,
    rewritten,
    spaced,
)
from fretpath.music.signs import checked
from fretpath.music.text import EVENT, HEADERS, TYPED, UNDER, Spot, refuse_tab, rows, unknown_header
from fretpath.remarks import Remark, RemarkKind

LONGEST_LINE = 10_000
"""Characters in a line at the most."""
MOST_LINES, MOST_CHARACTERS = 1_000, 60_000
"""A text beyond these is no message any more: it is read strictly, as it stands."""
_TRUSTED = re.compile(r"[1-9A-Gr)-][,'\d]*:[1-9]|@|^\s*(?:octave|degrees)\s*:", re.MULTILINE)
_ODD = str.maketrans(
    "\u2b06\u2b07\u0307\u0323\u02d9\u00d7\u00a0\u201c\u201d\u201e"
    "\u2010\u2011\u2012\u2015\u02bc\u00b4\u201a\u2502",
    "\u2191\u2193',\u2191x \"\"\"----'',|",
)
"""Arrows, dots over and under a number, quotes, dashes and bars of other keyboards."""
_CHORD = re.compile(
    r"\(?(?:[A-H](?:#|b)?(?:maj|min|dim|aug|sus|add|m|M|\+|°|-)?\d{0,2}(?:sus\d?|b5|maj7|add\d)?"
    r"(?:/[A-G][#b]?)?|N\.?C\.?|%)\)?"
)
_BRACKETED_CHORD = re.compile(
    r"[(\[][A-G](?:#|b)?(?:maj|min|dim|aug|sus|m)?\d{0,2}(?:/[A-G][#b]?)?[)\]]"
)
_ASIDE = re.compile(
    r"\*[^*]{3,80}\*|\([^()]{3,80}\)|\[[^\[\]]{3,80}\]|\{[^{}]{3,80}\}|\"[^\"]{3,80}\""
)
"""Words in brackets, stars or quotes."""
_REPEAT_WORDS = re.compile(r"(?i)\brepeat|\bD\.? ?[CS]\b|\bda capo|\bal (?:fine|coda)")
_SECTION = re.compile(
    r"(?i)((?:verse|chorus|refrain|bridge|intro|outro|part|section|coda|ending|line)\b[ \w]{0,4}"
    r"|[A-D](?: part)?(?=\s*:))\s*[:.)-]?\s*(.*)"
)
_AGAIN = re.compile(
    r"(?i)[\s|]*[(\[]?\s*(?:repeat |play |all )?(?:[x×]\s*(?P<a>[2-9])|(?P<b>[2-9])\s*[x×]"
    r"|(?P<c>[2-9]) times|(?P<three>three times)|twice|two times|bis"
    r"|repeat(?:ed)?(?: (?:this|that|line|once|it))*)\s*[)\]|]*[.!]?$"
)
_MUSICAL_WORD = re.compile(
    r"(?i)\b(?:high|low|upper|lower|up|down|half|quarter|eighth|whole|beats?|sharp|flat|rests?|"
    r"one|two|three|four|five|six|seven|eight)\b"
)
"""Words that belong to the notes beside them."""
_GREETING = re.compile(
    r"(?i)(?:hi|hello|hey|dear|please|it'?s|this|can|could|thanks|thank|cheers|here|best|love"
    r"|see you|see ya|regards)\b"
)


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of the text that says something, cleaned of decoration."""

    number: int
    """Line of the text, from 1."""
    kind: str
    """``music``, ``text``, ``head``, ``under`` or ``chords``."""
    text: str
    """What it says."""
    gap: bool = False
    """Whether an empty line stands before it."""
    times: int = 1
    """How often a line of music is played."""
    words: tuple[str, ...] = ()
    """Music in the words of melody text."""


@dataclass
class _Draft:
    """What has been read so far, and what must be told about it."""

    source: str
    heads: dict[str, str] = field(default_factory=dict)
    rows: list[_Row] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)
    german: bool = False
    places: dict[str, int] = field(default_factory=dict)
    started: bool = False
    """Whether a line of music has been read."""
    labels: int = 0
    """Lines that begin with a letter and a colon."""

    def tell(self, kind: RemarkKind, text: str, number: int) -> None:
        remark = Remark(kind, text, f"line {number}")
        if all((other.kind, other.text) != (kind, text) for other in self.remarks):
            self.remarks.append(remark)

    def music(self) -> list[_Row]:
        return [row for row in self.rows if row.kind == "music"]

    def ask(self, question: str, number: int, *readings: tuple[str, str]) -> AmbiguousTextError:
        return AmbiguousTextError(question, readings=readings, source=self.source, line=number)

    def beats(self) -> Fraction | None:
        meter = self.heads.get("meter", "")
        return Fraction(Meter.parse(meter).beats) if re.fullmatch(r"\d+/\d+", meter) else None


def read_loosely(
    text: str, *, key: str | Key | None = None, source: str = "melody"
) -> tuple[Melody, tuple[Remark, ...]]:
    """The melody that people mean by a text, and how it was taken.

    >>> melody, remarks = read_loosely("in G, 3/4\\n1, 2, 3, 5")
    >>> print(format_melody(melody), end="")
    key: G major
    meter: 3/4
    <BLANKLINE>
    1 2 3 5
    >>> [str(remark) for remark in remarks]
    ['line 2: read: the commas separate the notes, they are no octave down']

    *key* replaces the key of the text, as in :func:`parse_melody`.  Raises
    :class:`AmbiguousTextError` where two readings are likely, and :class:`MelodySyntaxError` where
    there is none.
    """
    refuse_tab(text, source)
    lines = list(rows(text, source))
    for number, line in lines:
        if len(line) > LONGEST_LINE:
            spot = Spot(source, number, LONGEST_LINE, 1, line)
            raise spot.error(f"a line has at most {LONGEST_LINE} characters; break it")
    wanted = key_words(key) if isinstance(key, str) else key
    long = len(lines) > MOST_LINES or len(text) > MOST_CHARACTERS
    if long or _is_notation(text, wanted, source):
        return parse_melody(text, key=wanted, source=source), ()
    draft = _draft(text, source)
    _take_counts(draft)
    _rewrite(draft)
    if not any(EVENT.fullmatch(word) and word[0] != "r" for r in draft.rows for word in r.words):
        return parse_melody(text, key=wanted, source=source), ()
    _check_octaves(draft)
    if wanted is None:
        _check_minor(draft)
    melody = _parsed(draft, wanted)
    _tell_afterwards(draft, melody, wanted)
    return melody, tuple(draft.remarks)


def _is_notation(text: str, key: str | Key | None, source: str) -> bool:
    """Whether the text is in the notation, beyond doubt."""
    try:
        parse_melody(text, key=key, source=source)
        return bool(_TRUSTED.search(text)) or format_melody(parse_melody(text)) == text
    except FretpathError:
        return False


# -- lines ---------------------------------------------------------------------------------------


def _draft(text: str, source: str) -> _Draft:
    draft = _Draft(source)
    lines = _undecorated(text, draft)
    draft.labels = sum(bool(re.match(r"\s*[A-G]\s*:", line)) for _, line, _ in lines)
    for at, (number, line, gap) in enumerate(lines):
        following = lines[at + 1][1] if at + 1 < len(lines) else ""
        row = _row(number, line, following, draft)
        if row:
            draft.rows.append(replace(row, gap=gap))
            draft.started = draft.started or row.kind == "music"
    _name_texts(draft)
    if not draft.music():
        raise _no_music(text, source)
    return draft


def _no_music(text: str, source: str) -> FretpathError:
    """What to say where no line is music: what the strict reader says of it."""
    if re.fullmatch(r"[\sIViv7°+|-]*[IViv][\sIViv7°+|-]*", text):
        spot = Spot(source, 1, 1, 1, text.split("\n", 1)[0])
        return spot.error("these are chords in Roman numerals; write the melody: degrees 1 to 7")
    try:
        parse_melody(text, source=source)
    except FretpathError as fault:
        return fault
    raise AssertionError("the strict reader finds music where the tolerant one does not")


def _undecorated(text: str, draft: _Draft) -> list[tuple[int, str, bool]]:
    """(number, line, whether a gap stands before it) without emoji, bullets and line numbers."""
    found: list[tuple[int, str, bool]] = []
    gap = False
    for number, raw in enumerate(re.split(r"\r\n|\r|\n", text.removeprefix("\ufeff")), start=1):
        wide = "".join(normalize("NFKC", c) if "\uff00" < c < "\uffef" else c for c in raw)
        line = "".join(filter(_shown, wide.translate(_ODD))).rstrip()
        line = re.sub(r"^\s*(?:```.*|>\s?|#{1,6}\s+)", "", line)
        line = re.sub(r"\*\*|__(?=\S*[A-Za-z])|`", "", line)
        if line.lstrip().startswith((";", "//")):
            continue
        if line.strip():
            found.append((number, line, gap))
        gap = not line.strip()
    return _unnumbered(_unbulleted(found), draft)


def _shown(char: str) -> bool:
    """Whether a character says something; emoji and invisible ones do not."""
    return category(char) not in ("So", "Cf", "Mn", "Sk", "Cn", "Co") or char in "♭♯^`°"


def _unbulleted(lines: list[tuple[int, str, bool]]) -> list[tuple[int, str, bool]]:
    """Without bullets, where each line from the first one on has one (a dash alone is a hold)."""
    bullet = re.compile(r"\s*[-*•]\s+")
    first = next((at for at, (_, line, _) in enumerate(lines) if bullet.match(line)), None)
    if first is None or not all(bullet.match(line) for _, line, _ in lines[first:]):
        return lines
    cut = [(n, bullet.sub("", line, count=1), gap) for n, line, gap in lines[first:]]
    return [*lines[:first], *cut]


def _unnumbered(lines: list[tuple[int, str, bool]], draft: _Draft) -> list[tuple[int, str, bool]]:
    """Without line numbers such as ``1)``, where two lines or more count on from 1."""
    numbered = re.compile(r"\s*\(?(?:(\d{1,2})(?:[).:]|\s-)|([a-i])\))\)?\s+(?=\S)")
    matches = [(at, m) for at, (_, line, _) in enumerate(lines) if (m := numbered.match(line))]
    found = [(at, int(m[1]) if m[1] else " abcdefghi".index(m[2])) for at, m in matches]
    counts = [count for _, count in found]
    if len(counts) < 2 or counts != list(range(1, len(counts) + 1)):
        return lines
    draft.tell("left out", "the line numbers 1) 2) ...", lines[found[0][0]][0])
    places = {at for at, _ in found}
    return [
        (n, numbered.sub("", line, count=1) if at in places else line, gap)
        for at, (n, line, gap) in enumerate(lines)
    ]


def _row(number: int, line: str, following: str, draft: _Draft) -> _Row | None:
    """One line, with the headers it holds taken off."""
    name = line.partition(":")[0].strip().lower()
    if name == "chords" and not draft.started:
        return _Row(number, "chords", line.partition(":")[2])
    if ":" in line and name in UNDER:
        return _Row(number, "under", line.strip())
    if _is_chords(line, following):
        return _Row(number, "chords", line)
    if ":" in line and name.isalpha() and len(name) > 3 and not _is_music(line):
        _refuse_misspelt(name, number, line, draft)
    head = read_head(line)
    started = draft.started
    late = dict(head.values).get("key")
    if started and late and "key" not in draft.heads and len(head.rest.split()) < 3:
        draft.heads["key"] = late
        draft.tell("read", f"the key told behind the music: {late}", number)
        return None
    if head.values and (not head.rest or not started):
        _take_head(head.values, number, draft)
        for told in head.told:
            draft.tell("read", told, number)
        draft.german = draft.german or bool(
            re.search(r"(?i)\b(?:tonart|dur|moll)\b|-dur|-moll", line)
        )
        line = head.rest
        if started and not line:
            changed = "\n".join(f"{n}: {v}" for n, v in head.values)
            return _Row(number, "head", changed)
    line = _without_label(line, number, draft)
    return _sorted_row(number, line, draft) if line.strip() else None


def _refuse_misspelt(name: str, number: int, line: str, draft: _Draft) -> None:
    """Refuse a header whose name is nearly one that is known."""
    known = name in HEADERS or dict(read_head(line).values)
    if not known and nearest(name, HEADERS):
        spot = Spot(draft.source, number, 1, len(line.partition(":")[0]) + 1, line)
        raise spot.error(unknown_header(name))


def _take_head(values: Sequence[tuple[str, str]], number: int, draft: _Draft) -> None:
    for name, value in values:
        if not draft.started:
            if name in draft.heads and draft.heads[name] != value:
                spot = Spot(draft.source, number, 1, 1, f"{name}: {value}")
                raise spot.error(f"the header {name} stands twice")
            draft.heads[name] = value
            draft.places[name] = number
        elif name not in ("key", "meter"):
            raise _two_tunes(draft, number, value)


def _two_tunes(draft: _Draft, number: int, title: str) -> AmbiguousTextError:
    return draft.ask(
        f'two tunes in one text? the second tune seems to begin with "{title[:40]}"',
        number,
        ("two tunes", "each in a text or a file of its own"),
        ("one tune", f"; {title[:40]}"),
    )


def _without_label(line: str, number: int, draft: _Draft) -> str:
    """A line without the name of a part, or the words, that stand before its music."""
    line = line.strip()
    key = re.fullmatch(r"([A-G][#b]?)\s*:\s*(.+)", line)
    if key and draft.labels < 2 and "key" not in draft.heads and _is_music(key[2]):
        draft.heads["key"] = key[1]
        draft.tell("read", f"{key[1]}: is the key", number)
        return key[2]
    part = _SECTION.fullmatch(line)
    if part and (not part[2] or _is_music(part[2])):
        draft.tell("left out", f'the name of a part: "{part[1].strip()}"', number)
        return part[2]
    words, colon, music = line.rpartition(": ")
    plain = re.search(r"[A-Za-z]", words) and not re.search(r"\d", words) and not _is_music(words)
    if colon and music and _is_music(music) and plain:
        draft.tell("left out", f"words before the music: {words.strip(' ,')[:60]}", number)
        return music
    quoted = line.strip('"')
    return quoted if quoted != line and _is_music(quoted) else line


def _sorted_row(number: int, line: str, draft: _Draft) -> _Row:
    """A line of music or of words, with what is sung, said or repeated taken off it."""
    first = re.match(r"\s*\(?([2-9])\s*[x×]\)?\s*:?\s+", line)
    if first and _is_music(line[first.end() :]):
        line = f"{line[first.end() :]} x{first[1]}"
    line = _groups_written_out(line, number, draft)
    again = None if ":|x" in line else _AGAIN.search(line, max(0, len(line) - 60))
    times = 1
    if again and (_is_music(line[: again.start()]) or not line[: again.start()].strip(" |(")):
        times = int(again["a"] or again["b"] or again["c"] or (3 if again["three"] else 2))
        draft.tell("read", f"the line is played {times} times, as the repeat mark asks", number)
        kept = line[: again.start()]
        line = kept + (" |" if "|" in line[again.start() : again.end()] else "")
        if not kept.strip():
            return _repeat_last(number, times, draft)
    if not _is_music(line) and not re.fullmatch(
        r"(?:[1-9&+ ]|\band\b)*[1-9](?:[1-9&+ ]|\band\b)*", line
    ):
        return _Row(number, "text", line.strip())
    line = _without_remarks(line, number, draft)
    return _Row(number, "music", line.translate(TYPED), times=times)


def _groups_written_out(line: str, number: int, draft: _Draft) -> str:
    """Notes in brackets with x2 behind them, as often as they are played."""
    group = re.compile(r"\(([^()]+)\)\s*[x×]\s*([2-9])(?=\s+\S)")
    written = group.sub(lambda m: " ".join([m[1]] * int(m[2])), line)
    if written != line:
        draft.tell("read", "notes in brackets with x2 are played twice", number)
    return written


def _repeat_last(number: int, times: int, draft: _Draft) -> _Row:
    """A repeat mark on a line of its own belongs to the line before."""
    music = [at for at, row in enumerate(draft.rows) if row.kind == "music"]
    if music:
        draft.rows[music[-1]] = replace(draft.rows[music[-1]], times=times)
    return _Row(number, "nothing", "")


def _without_remarks(line: str, number: int, draft: _Draft) -> str:
    """Music without words in brackets, in quotes or at its end."""

    def drop(match: re.Match[str]) -> str:
        if not re.search(r"[A-Za-z]{3}", match[0]) or _is_music(match[0].strip('()[]{}"')):
            return match[0]
        if re.search(
            r"(?i)\b(?:high|low|upper|lower|half|quarter|eighth|whole|beats?|sharp|flat)\b",
            match[0],
        ):
            return match[0]
        draft.tell("left out", f"a remark: {match[0]}", number)
        return " "

    remark = re.search(r"\s(?://|#)\s.*$", line)
    if remark:
        draft.tell("left out", f"a remark: {remark[0].strip()}", number)
        line = line[: remark.start()]
    if re.search(r"(?<!\S)[#b]?\d", line) and _BRACKETED_CHORD.search(line):
        draft.tell("left out", "chord names in brackets among the notes", number)
        line = _BRACKETED_CHORD.sub(" ", line)
    line = re.sub(
        r"\*[^*]{3,80}\*|\([^()]{3,80}\)|\[[^\[\]]{3,80}\]|\{[^{}]{3,80}\}|\"[^\"]{3,80}\"",
        drop,
        line,
    )
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
    quiet: list[tuple[str, str]] = []
    words = spaced(line.translate(TYPED), lambda kind, text: quiet.append((kind, text))).split()
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


def _name_texts(draft: _Draft) -> None:
    """Find the title, the words sung and what is left out among the lines of words."""
    titled = "title" in draft.heads
    kept: list[_Row] = []
    texts = list(draft.rows)
    started = False
    for at, row in enumerate(texts):
        if row.kind == "nothing":
            continue
        if row.kind == "music" and kept and _is_syllables(row, kept[-1], started):
            row = replace(row, kind="text")
        started = started or row.kind == "music"
        if row.kind != "text":
            kept.append(row)
        elif not started and not titled and _is_title(row.text):
            draft.heads["title"] = _bare_title(row.text)
            titled = True
        elif started and _REPEAT_WORDS.search(row.text):
            raise draft.ask(
                f'"{row.text[:40]}": which lines are played again?',
                row.number,
                ("a part again", "|: before it and :| behind it, or write the lines out"),
                ("nothing again", f"; {row.text[:40]}"),
            )
        elif started and re.match(r"(?i)(?:tune|song|melody)\b", row.text):
            raise _two_tunes(draft, row.number, row.text)
        elif started and kept[-1].kind == "music" and not row.gap and _is_sung(row, kept[-1]):
            draft.tell("read", f"words under the notes (lyrics): {row.text[:60]}", row.number)
            kept.append(replace(row, kind="sung"))
        elif started and row.gap and _is_title(row.text) and _music_later(texts[at + 1 :]):
            raise _two_tunes(draft, row.number, row.text)
        else:
            draft.tell("left out", f"words that are no music: {row.text[:60]}", row.number)
    draft.rows = kept


def _is_syllables(row: _Row, above: _Row, started: bool) -> bool:
    """A line of la la under a line of degrees is sung, not solfege."""
    words = re.findall(r"[A-Za-z]+", row.text)
    sung = (
        words
        and all(word.lower() in SYLLABLES for word in words)
        and not re.search(r"\d", row.text)
    )
    return bool(sung and started and re.search(r"\d", above.text) and above.kind == "music")


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


def _music_later(rest: Sequence[_Row]) -> bool:
    return any(row.kind in ("music", "head") for row in rest)


def _is_sung(row: _Row, above: _Row) -> bool:
    notes = [word for word in above.text.split() if re.search(r"[\dA-Ha-h]", word)]
    count = len(_syllables(row.text))
    return count >= 2 and len(notes) / 2 <= count <= len(notes)


def _syllables(text: str) -> list[str]:
    return re.sub(r"(?<=\w)-(?=\w)", "- ", text).split()


# -- counts under the notes ----------------------------------------------------------------------


def _take_counts(draft: _Draft) -> None:
    """Take lines of counts off the melody; ask where they may be music."""
    pairs = [
        (above, row)
        for above, row in pairwise(draft.rows)
        if above.kind == row.kind == "music"
        and above.text.split() != row.text.split()
        and _is_count(row.text, draft)
    ]
    counted = [row for _, row in pairs if re.search(r"[&+]|\band\b", row.text)]
    plain = [(above, row) for above, row in pairs if row not in counted]
    music = [row for row in draft.music() if row not in [count for _, count in pairs]]
    if len(plain) > 1 and len(plain) == len(music):
        counted += [row for _, row in plain]
    elif plain:
        _ask_counts(draft, *plain[0])
    for above, row in pairs:
        if row in counted:
            draft.tell("read", f"a line of counts, no notes: {row.text.strip()[:40]}", row.number)
            timed = replace(above, text=_timed(above.text, row.text, draft))
            draft.rows[draft.rows.index(above)] = timed
    draft.rows = [row for row in draft.rows if row not in counted]


def _is_count(text: str, draft: _Draft) -> bool:
    """Whether a line counts 1 2 3 4, perhaps with ``&`` between, and holds nothing else."""
    words = text.split()
    numbers = [int(word) for word in words if re.fullmatch(r"[1-9]", word)]
    others = {word for word in words if not re.fullmatch(r"[1-9]", word)}
    if not others.issubset({"&", "+", "and", "e", "a"}) or len(numbers) < 2 or numbers[0] != 1:
        return False
    ands = bool(others & {"&", "+", "and"})
    top = max(numbers)
    usual = top in (3, 4, 6) if draft.beats() is None else top == draft.beats()
    steps = list(pairwise(numbers))
    cycle = all(b == a + 1 or (b == 1 and a == top) for a, b in steps)
    rising = all(b > a or b == 1 for a, b in steps)
    return (ands and rising) or (usual and cycle and numbers[-1] == top and not others)


def _ask_counts(draft: _Draft, above: _Row, row: _Row) -> None:
    notes = [word for word in above.text.split() if word != "|"]
    if len(notes) != len(row.text.split()):
        return
    raise draft.ask(
        f'"{row.text.strip()[:40]}": counts under the notes, or a second line of the tune?',
        row.number,
        ("counts", f"{above.text.strip()}\n; {row.text.strip()}"),
        ("a second line", f"{above.text.strip()} |\n{row.text.strip()} |"),
    )


def _timed(text: str, counts: str, draft: _Draft) -> str:
    """A line of notes with the lengths that the counts under them give."""
    words, beats = text.split(), draft.beats()
    notes = [word for word in words if word != "|"]
    places = _count_places(counts.split(), beats)
    if beats is None or len(places) != len(notes) or not all(map(EVENT.fullmatch, notes)):
        return text
    places.append(-(-(places[-1] + Fraction(1, 4)) // beats) * beats)
    lengths = iter([b - a for a, b in pairwise(places)])
    return " ".join(w if w == "|" else f"{w}:{next(lengths)}".removesuffix(":1") for w in words)


def _count_places(counts: Sequence[str], beats: Fraction | None) -> list[Fraction]:
    parts = {"&": Fraction(1, 2), "+": Fraction(1, 2), "and": Fraction(1, 2)}
    parts |= {"e": Fraction(1, 4), "a": Fraction(3, 4)}
    places: list[Fraction] = []
    bar, number = Fraction(0), 0
    for word in counts:
        if word.isdigit():
            if int(word) <= number and beats:
                bar += beats
            number = int(word)
        places.append(bar + number - 1 + parts.get(word, 0))
    return places


# -- music into the words of the notation --------------------------------------------------------


def _rewrite(draft: _Draft) -> None:
    """Put each line of music into the words of melody text."""
    quiet: list[str] = []
    plain = [spaced(row.text, lambda _, text: quiet.append(text)) for row in draft.music()]
    unit = int(draft.heads.get("meter", "4/4").partition("/")[2] or 4)
    habits = habits_of(plain, german=draft.german, unit=unit if unit in (2, 4, 8, 16) else 4)
    habits = _sure_of_commas(draft, plain, habits)
    _put_words(draft, habits)
    held = any(re.search(r"\d[,']*\.+(?:\s|$)", row.text) for row in draft.music())
    if held and not habits.dots:
        _choose_dots(draft, habits)


def _words(row: _Row, habits: Habits, draft: _Draft) -> Iterator[str]:
    def tell(kind: str, text: str) -> None:
        draft.tell("read" if kind == "read" else "left out", text, row.number)

    line = spaced(row.text, tell)
    if "(" in line and not re.search(r"\):[1-9]", line):
        line = line.replace("(", " ").replace(")", " ")
        tell("left out", "brackets around notes")
    for word in re.findall(
        r"\|:|:\|(?:x\d{1,2})?|\||\[\d{1,2}(?!\S)|\]|\(|\)\S*|(?:(?!:\|)[^\s|()\]])+", line
    ):
        if re.fullmatch(r"\|:?|:\|.*|\[\d+|\]|\(|\).*|r(?::.*)?|-(?::.*)?", word):
            yield word
        elif re.fullmatch(r"[,;]", word):
            continue
        else:
            yield from rewritten(word.rstrip(";"), habits, tell)


def _put_words(draft: _Draft, habits: Habits) -> None:
    """Give each line of music its words; a bar line at its start goes to the line before."""
    last: int | None = None
    for at, row in enumerate(draft.rows):
        if row.kind != "music":
            continue
        words = _without_stray_bars(tuple(_words(row, habits, draft)))
        if words[:1] == ("|",):
            words = words[1:]
            before = draft.rows[last].words if last is not None else ("|",)
            if last is not None and before[-1] not in ("|", ":|", "]"):
                draft.rows[last] = replace(draft.rows[last], words=(*before, "|"))
        draft.rows[at] = replace(row, words=words)
        last = at if words else last


def _without_stray_bars(words: Sequence[str]) -> tuple[str, ...]:
    """Without doubled bar lines."""
    kept: list[str] = []
    for word in words:
        if word == "|" and kept and kept[-1] in ("|", "|:", ":|", "]"):
            continue
        kept.append(word)
    return tuple(kept)


def _choose_dots(draft: _Draft, habits: Habits) -> None:
    """Take dots for half a note's length more where the bars only add up that way."""
    if not draft.heads.get("meter") or _fits(draft):
        return
    other = replace(draft, remarks=list(draft.remarks), rows=list(draft.rows))
    dotted = replace(habits, dotted=True)
    _put_words(other, dotted)
    if _fits(other):
        draft.rows = other.rows
        draft.remarks = [r for r in other.remarks if "each . behind" not in r.text]


def _fits(draft: _Draft) -> bool:
    try:
        melody = parse_melody(_clean(draft))
    except FretpathError:
        return False
    meter = melody.meter
    spans = list(melody.spans(melody.whole_bars))
    return meter is not None and all(
        sum(melody.notes[event].beats for event in span) == meter.beats for span in spans
    )


def _sure_of_commas(draft: _Draft, lines: Sequence[str], habits: Habits) -> Habits:
    """Ask where commas behind the numbers make the smoother line as octaves down."""
    words = [word for line in lines for word in line.split() if re.fullmatch(r"[#b]*\d[,]?", word)]
    if not any(word.endswith(",") for word in words):
        return habits
    low = [Degree.parse(word).steps for word in words if word[-1] != "0"]
    plain = [Degree.parse(word.rstrip(",")).steps for word in words if word[-1] != "0"]
    number = draft.music()[0].number
    separate = " ".join(word.rstrip(",") for word in words)
    if habits.commas and _widest(low) < _widest(plain) - 2:
        raise draft.ask(
            "do the commas separate the notes, or mean the octave below?",
            number,
            ("the commas separate", separate),
            ("an octave down", f"octave: 3 free\n\n{' '.join(words)}"),
        )
    several = sum(word.endswith(",") for word in words[:-1]) > 1 and words[-1][-1] != ","
    if not habits.commas and several and _widest(low) > 7 and _widest(plain) < 7:
        raise draft.ask(
            "do the commas separate the phrases, or mean the octave below?",
            number,
            ("the commas separate", separate),
            ("an octave down", f"octave: 3 free\n\n{' '.join(words)}"),
        )
    return habits


def _widest(steps: Sequence[int]) -> int:
    return max((abs(b - a) for a, b in pairwise(steps)), default=0)


# -- degrees that may mean others ----------------------------------------------------------------


def _degrees(draft: _Draft) -> list[tuple[int, int, str]]:
    """(row, word, degree) of every degree in the text."""
    return [
        (at, place, match["degree"])
        for at, row in enumerate(draft.rows)
        for place, word in enumerate(row.words)
        if (match := EVENT.fullmatch(word)) and match["degree"]
    ]


def _check_octaves(draft: _Draft) -> None:
    """A line that rises over 7 goes on to the octave; one that falls below 1 must say so."""
    degrees = _degrees(draft)
    if any(re.search(r"[,']|[89]|\d\d", degree) for _, _, degree in degrees):
        return
    numbers = [int(degree.strip("#b")) for _, _, degree in degrees]
    up = False
    for at, (row, place, degree) in enumerate(degrees):
        number = numbers[at]
        before = numbers[at - 1] if at else 0
        if number == 7 and before == 1 and not up and (at < 2 or numbers[at - 2] != 7):
            _ask_leading_note(draft, row, place)
        rising = number == 1 and before == 7 and at > 1 and numbers[at - 2] in (4, 5, 6)
        up = rising or (up and number <= 4 and abs(number - before) <= 1)
        if up:
            _lift(draft, row, place, degree)


def _lift(draft: _Draft, row: int, place: int, degree: str) -> None:
    words = list(draft.rows[row].words)
    words[place] = words[place].replace(degree, degree + "'", 1)
    draft.rows[row] = replace(draft.rows[row], words=tuple(words))
    number = draft.rows[row].number
    draft.tell("read", "the 1 after 7 is the octave above, 8 (or 1')", number)


def _ask_leading_note(draft: _Draft, row: int, place: int) -> None:
    words = list(draft.rows[row].words)
    below = [*words[:place], words[place].replace("7", "7,", 1), *words[place + 1 :]]
    raise draft.ask(
        "the 7 after 1: the note just below, or a seventh up?",
        draft.rows[row].number,
        ("the note below (an octave down)", " ".join(below)),
        ("a seventh up", f"degrees: major\n\n{' '.join(words)}"),
    )


def _check_minor(draft: _Draft) -> None:
    """Degrees in a key with lowered degrees: those of the key, or of the major scale?"""
    key = _key_of(draft)
    if key is None:
        return
    lowered = {d.number: str(d) for d in key.scale.degrees if d.alter}
    degrees = [Degree.parse(degree) for _, _, degree in _degrees(draft)]
    doubtful = sorted({d.number for d in degrees if d.alter == 0 and d.number in lowered})
    if not doubtful or any(d.alter for d in degrees):
        return
    number = doubtful[0]
    body = "\n".join(" ".join(row.words) for row in draft.music())
    flat = lowered[number]
    own = key.tonic_pitch(4) + Degree.parse(flat).interval
    major = key.tonic_pitch(4) + Degree.parse(str(number)).interval
    raise draft.ask(
        f"{number} in {key}: {own.name}, the degree {flat} of the key, or {major.name}, counted "
        "against the major scale?",
        draft.music()[0].number,
        (f"{own.name}, degrees of the key ({flat})", f"key: {key}\ndegrees: key\n\n{body}"),
        (f"{major.name}, degrees of the major scale", f"key: {key}\ndegrees: major\n\n{body}"),
    )


def _key_of(draft: _Draft) -> Key | None:
    try:
        return Key.parse(draft.heads["key"]) if "key" in draft.heads else None
    except FretpathError:
        return None


# -- the clean text ------------------------------------------------------------------------------


def _stated_key(text: str) -> Key:
    return Key.parse(key_words(text))


def _parsed(draft: _Draft, wanted: str | Key | None) -> Melody:
    """The melody of the clean text; a fault is shown at its line of the text as typed."""
    if "key" in draft.heads and _key_of(draft) is None:
        line = f"key: {draft.heads['key']}"
        spot = Spot(draft.source, draft.places.get("key", 1), 6, len(line) - 5, line)
        draft.heads["key"] = str(checked(spot, partial(_stated_key, draft.heads["key"])))
    try:
        return parse_melody(_clean(draft), key=wanted, source=draft.source)
    except MelodySyntaxError as fault:
        number = _line_numbers(draft)[min(fault.line, len(_line_numbers(draft))) - 1]
        raise MelodySyntaxError(
            fault.problem,
            source=fault.source,
            line=number,
            column=fault.column,
            span=fault.span,
            text=fault.text,
        ) from None


def _clean(draft: _Draft) -> str:
    return "\n".join(line for _, line in _clean_lines(draft))


def _line_numbers(draft: _Draft) -> list[int]:
    return [number for number, _ in _clean_lines(draft)]


def _clean_lines(draft: _Draft) -> list[tuple[int, str]]:
    """(line of the text as typed, clean line)."""
    lines = [
        (draft.places.get(name, 1), f"{name}: {draft.heads[name]}")
        for name in HEADERS
        if name in draft.heads and name not in UNDER
    ]
    chords: _Row | None = None
    signs = "meter" not in draft.heads or any("|" in row.words for row in draft.music())
    beats = draft.beats()
    running = Fraction(0)
    for row in draft.rows:
        if row.kind == "chords":
            chords = row
        elif row.kind == "sung":
            lines.append((row.number, f"words: {' '.join(_singable(row.text))}"))
        elif row.kind != "music":
            lines.extend((row.number, part) for part in row.text.split("\n"))
            beats = _beats_after(row.text, beats)
        else:
            words, running = _closed(row.words, beats if signs else None, running)
            lines.extend((row.number, line) for line in _played(words, row.times, signs))
            if chords:
                lines.extend((chords.number, line) for line in _chord_line(chords, row, draft))
                chords = None
    return lines


def _beats_after(text: str, beats: Fraction | None) -> Fraction | None:
    match = re.search(r"meter: (\d+)/\d+", text)
    return Fraction(int(match[1])) if match else beats


def _singable(text: str) -> list[str]:
    return [word.replace("~", "-") for word in _syllables(text) if word not in ("|", "_")]


def _closed(
    words: Sequence[str], beats: Fraction | None, running: Fraction
) -> tuple[list[str], Fraction]:
    """The words of a line, with a bar line behind a bar that is full at its end."""
    closed = list(words)
    for word in _measured(words):
        running = Fraction(0) if word is None else running + word
    if closed and beats and running == beats and closed[-1] not in ("|", ":|", "]"):
        closed.append("|")
        running = Fraction(0)
    return closed, running


def _measured(words: Sequence[str]) -> Iterator[Fraction | None]:
    """The beats of each event, None for a bar line; a group's events take its length."""
    group: list[str] | None = None
    for word in words:
        match = EVENT.fullmatch(word)
        if word == "(":
            group = []
        elif word.startswith(")") and group is not None:
            ratio = re.fullmatch(r"\):(\d+)(?:/(\d+))?", word)
            each = Fraction(int(ratio[1]), int(ratio[2] or 1)) if ratio else Fraction(1)
            for inside in group:
                yield None if "|" in inside else each
            group = None
        elif group is not None:
            group.append(word)
        elif "|" in word or word == "]":
            yield None
        elif match:
            yield Fraction(int(match["beats"] or 1), int(match["unit"] or 1))


def _played(words: Sequence[str], times: int, signs: bool) -> Iterator[str]:
    """A line as often as it is played: between repeat signs, or written out where no bars are."""
    line = " ".join(words)
    if times == 1 or ":|" in words:
        yield line
    elif signs:
        inside = words[:-1] if words[-1] == "|" else words
        yield f"|: {' '.join(inside)} :|{'' if times == 2 else f'x{times}'}"
    else:
        yield from [line] * times


def _chord_line(chords: _Row, row: _Row, draft: _Draft) -> Iterator[str]:
    """Chord names at the notes they stand over, where their columns tell."""
    bars = [bar.split() for bar in chords.text.strip(" |").split("|")]
    count = " ".join(row.words).strip(" |").count("|") + 1
    if 1 < len(bars) == count and all(len(bar) <= 1 for bar in bars):
        draft.tell("read", f"a line of chords, no notes: {chords.text.strip()}", chords.number)
        yield "chords: " + " | ".join(bar[0] if bar else "_" for bar in bars)
        return
    names = [(m.start(), m[0].strip("()")) for m in re.finditer(r"[^\s|]+", chords.text)]
    shown = " ".join(name for _, name in names)
    columns = [m.start() for m in re.finditer(r"[^\s|]+", row.text)]
    events = [word for word in row.words if "|" not in word]
    nearest = [_nearest(columns, column) for column, _ in names]
    near = all(abs(columns[i] - c) <= 1 for i, (c, _) in zip(nearest, names, strict=True))
    aligned = "  " in chords.text.strip() and nearest == sorted(set(nearest)) and near
    if not aligned or len(columns) != len(events) or row.times > 1:
        told = f"a line of chords, no notes, over the music, {shown}: their notes are not told"
        draft.tell("left out", told, chords.number)
        return
    draft.tell("read", f"a line of chords, no notes: {shown}", chords.number)
    cells = ["_"] * len(events)
    for place, (_, name) in zip(nearest, names, strict=True):
        cells[place] = name
    yield f"chords: {' '.join(cells).rstrip(' _')}"


def _nearest(columns: Sequence[int], column: int) -> int:
    """The place of the column nearest to a column; the first of two."""
    return min(range(len(columns)), key=lambda place: abs(columns[place] - column))


# -- what is told of the whole -------------------------------------------------------------------


def _tell_afterwards(draft: _Draft, melody: Melody, wanted: str | Key | None) -> None:
    degrees = _degrees(draft)
    first = draft.music()[0].number
    letters = any(
        (match := EVENT.fullmatch(word)) and match["letter"]
        for row in draft.music()
        for word in row.words
    )
    if degrees and "key" not in draft.heads and wanted is None:
        draft.tell("guessed", "no key is given: the degrees are read in C major", first)
    if degrees and letters:
        draft.tell("read", "degrees and note names are mixed", first)
    if melody.repeats and all("played" not in remark.text for remark in draft.remarks):
        draft.tell("read", "the part between the repeat signs is played twice", first)
    meter = melody.meter
    if meter and melody.has_pickup:
        bars = list(melody.spans(melody.whole_bars))
        short, last = (sum(melody.notes[i].beats for i in bars[at]) for at in (0, -1))
        if short + last != meter.beats:
            told = f"the first bar has {short} of {meter.beats} beats and is read as a pickup"
            draft.tell("doubt", told, first)
