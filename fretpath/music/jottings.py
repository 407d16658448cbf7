"""The lines of a jotted text sorted: headers, music, words under it, titles and what is left out.

Decoration goes first (bullets, line numbers, emoji, quotes), then headers
(:mod:`fretpath.music.heads`), names of parts and words around the music; a line is music when most
of its words may be notes.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from unicodedata import category, normalize

from fretpath.errors import AmbiguousTextError, nearest
from fretpath.music.draft import Draft, JottedLine
from fretpath.music.heads import read_head
from fretpath.music.scribbles import SYLLABLES, looks_like_music, space_out
from fretpath.music.text import HEADERS, TYPED, UNDER, TextSpot, numbered_lines, unknown_header

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
_OPTIONS = {name: name for name in ("capo", "tuning", "instrument", "position")}
_OPTIONS |= {"tuned": "tuning"}
"""The option that says the same."""
_KEY_ALONE = re.compile(r"[A-G][#b]?(?:maj|min|m)?")
_PLAIN_NOTE = re.compile(r"[#b]{0,2}[1-9]\d?[,']*[-_]*|[A-G][#b]?|[|-]")
_AGAIN = re.compile(
    r"(?i)[\s|]*[(\[]?\s*(?:repeat |play |all )?(?:[x×]\s*(?P<a>[2-9])|(?P<b>[2-9])\s*[x×]"
    r"|(?P<c>[2-9]) times|(?P<three>three times)|twice|two times|bis"
    r"|repeat(?:ed)?(?: (?:this|that|line|once|it))*)\s*[)\]|]*[.!]?$"
)
_OF_A_NOTE = re.compile(
    r"(?i)\b(?:high|low|upper|lower|half|quarter|eighth|whole|beats?|sharp|flat)\b"
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


def draft_of(text: str, source: str) -> Draft:
    draft = Draft(source)
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
        _refuse_chords(text, source)
    return draft


def _refuse_chords(text: str, source: str) -> None:
    """Say what Roman numerals alone are."""
    if re.fullmatch(r"[\sIViv7°+|-]*[IViv][\sIViv7°+|-]*", text):
        spot = TextSpot(source, 1, 1, 1, text.split("\n", 1)[0])
        raise spot.error("these are chords in Roman numerals; write the melody: degrees 1 to 7")


def _undecorated(text: str, draft: Draft) -> list[tuple[int, str, bool]]:
    """(number, line, whether a gap stands before it) without emoji, bullets and line numbers."""
    found: list[tuple[int, str, bool]] = []
    gap = False
    for number, raw in numbered_lines(text):
        wide = "".join(normalize("NFKC", c) if "\uff00" < c < "\uffef" else c for c in raw)
        line = "".join(filter(_shown, wide.translate(_ODD))).rstrip()
        line = re.sub(r"^\s*(?:```.*|>\s?|#{1,6}\s+(?!\d))", "", line)
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


def _unnumbered(lines: list[tuple[int, str, bool]], draft: Draft) -> list[tuple[int, str, bool]]:
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


def _row(number: int, line: str, following: str, draft: Draft) -> JottedLine | None:
    """One line; None where it holds no music and no words."""
    name = line.partition(":")[0].strip().lower()
    beside = _BESIDE.fullmatch(line)
    if beside and name not in UNDER:
        option = _OPTIONS.get(beside[1].lower())
        said = f"; it is said with --{option}" if option else ""
        draft.tell("left out", f'"{line.strip()[:60]}" is not a note of the tune{said}', number)
        return None
    _refuse_fraction(number, line, draft)
    if name == "chords" and not draft.started:
        return JottedLine(number, "chords", line.partition(":")[2])
    if ":" in line and name in UNDER:
        return JottedLine(number, "under", line.strip())
    if _is_key_alone(line, following, draft):
        draft.heads["key"], draft.places["key"] = _key_sign(line), number
        draft.tell("read", f"{line.strip()} on the first line is the key", number)
        return None
    if _is_chords(line, following):
        return JottedLine(number, "chords", line)
    if ":" in line and name.isalpha() and len(name) > 2 and not _is_music(line):
        _refuse_misspelt(name, number, line, draft)
    return _row_with_heads(number, line, draft)


def _row_with_heads(number: int, line: str, draft: Draft) -> JottedLine | None:
    """A line with key, meter and the like taken off it."""
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
            return JottedLine(number, "head", changed)
    line = _without_label(line, number, draft)
    return _sorted_row(number, line, draft) if line.strip() else None


def _is_key_alone(line: str, following: str, draft: Draft) -> bool:
    """Whether the first line names a key in one word, and degrees stand below it."""
    below = re.search(r"(?<!\S)[#b]?\d", following) and _is_music(following)
    first = not (draft.started or draft.rows or "key" in draft.heads or line[:1].isspace())
    return bool(first and below and _KEY_ALONE.fullmatch(line.strip()))


def _key_sign(line: str) -> str:
    """``Gmaj``, ``Am`` as the key they are.

    >>> _key_sign("Gmaj"), _key_sign("Bbm"), _key_sign("D")
    ('G major', 'Bb minor', 'D major')
    """
    bare = line.strip()
    tonic = re.match("[A-G][#b]?", bare)
    assert tonic
    mode = "minor" if bare[tonic.end() :] in ("m", "min") else "major"
    return f"{tonic[0]} {mode}"


def _refuse_fraction(number: int, line: str, draft: Draft) -> None:
    """Ask about a line such as ``12/5`` before the music, which is no meter."""
    parts = re.fullmatch(r"\s*(\d{1,2})/(\d{1,2})(?:/\d+)?\s*", line)
    if parts and not draft.started and parts[2] not in ("1", "2", "4", "8", "16", "32"):
        raise draft.ask(
            f'"{line.strip()}": a day, or the notes {parts[1]} and {parts[2]}?',
            number,
            ("a day", f"; {line.strip()}"),
            ("notes", f"{parts[1]} {parts[2]}"),
        )


def _refuse_misspelt(name: str, number: int, line: str, draft: Draft) -> None:
    """Refuse a header whose name is nearly one that is known."""
    head = read_head(line)
    known = name in HEADERS or (head.values and not head.rest)
    if not known and nearest(name, HEADERS):
        spot = TextSpot(draft.source, number, 1, len(line.partition(":")[0]) + 1, line)
        raise spot.error(unknown_header(name))


def _take_head(values: Sequence[tuple[str, str]], number: int, draft: Draft) -> None:
    for name, value in values:
        if not draft.started:
            if name in draft.heads and draft.heads[name] != value:
                spot = TextSpot(draft.source, number, 1, 1, f"{name}: {value}")
                raise spot.error(f"the header {name} stands twice")
            draft.heads[name] = value
            draft.places[name] = number
        elif name not in ("key", "meter"):
            raise _two_tunes(draft, number, value)


def _two_tunes(draft: Draft, number: int, title: str) -> AmbiguousTextError:
    return draft.ask(
        f'two tunes in one text? the second tune seems to begin with "{title[:40]}"',
        number,
        ("two tunes", "each in a text or a file of its own"),
        ("one tune", f"; {title[:40]}"),
    )


def _without_label(line: str, number: int, draft: Draft) -> str:
    """A line without the name of a part, or the words, that stand before its music."""
    line = line.strip()
    key = re.fullmatch(r"([A-G][#b]?)\s*:\s*(.+)", line)
    if key and draft.labels < 2 and "key" not in draft.heads and _is_music(key[2]):
        draft.heads["key"] = key[1]
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
    part = _SECTION.fullmatch(line)
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


def _out_of_prose(line: str, number: int, draft: Draft) -> str:
    """The notes of a sentence such as ``can you learn 1 2 3 5 3 for Friday?``; else the line."""
    words = line.split()
    bare = [word.rstrip(".,;:!?") for word in words]
    notes = [at for at, word in enumerate(bare) if word and _PLAIN_NOTE.fullmatch(word)]
    runs = [run for run in _runs(notes) if len(run) > 2]
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


def _runs(places: Sequence[int]) -> list[list[int]]:
    """Places that follow on each other, together.

    >>> _runs([0, 3, 4, 5])
    [[0], [3, 4, 5]]
    """
    runs: list[list[int]] = []
    for place in places:
        if runs and place == runs[-1][-1] + 1:
            runs[-1].append(place)
        else:
            runs.append([place])
    return runs


def _sorted_row(number: int, line: str, draft: Draft) -> JottedLine:
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
        return JottedLine(number, "text", line.strip())
    line = _without_remarks(line, number, draft)
    return JottedLine(number, "music", line.translate(TYPED), times=times)


def _groups_written_out(line: str, number: int, draft: Draft) -> str:
    """Notes in brackets with x2 behind them, as often as they are played."""
    group = re.compile(r"\(([^()]+)\)\s*[x×]\s*([2-9])(?=\s+\S)")
    written = group.sub(lambda m: " ".join([m[1]] * int(m[2])), line)
    if written != line:
        draft.tell("read", "notes in brackets with x2 are played twice", number)
    return written


def _repeat_last(number: int, times: int, draft: Draft) -> JottedLine:
    """A repeat mark on a line of its own belongs to the line before."""
    music = [at for at, row in enumerate(draft.rows) if row.kind == "music"]
    if music:
        draft.rows[music[-1]] = replace(draft.rows[music[-1]], times=times)
    return JottedLine(number, "nothing", "")


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
    titled = "title" in draft.heads
    kept: list[JottedLine] = []
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


def _is_syllables(row: JottedLine, above: JottedLine, started: bool) -> bool:
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


def _music_later(rest: Sequence[JottedLine]) -> bool:
    return any(row.kind in ("music", "head") for row in rest)


def _is_sung(row: JottedLine, above: JottedLine) -> bool:
    notes = [word for word in above.text.split() if re.search(r"[\dA-Ha-h]", word)]
    count = len(syllables_of(row.text))
    return count >= 2 and len(notes) / 2 <= count <= len(notes)


def syllables_of(text: str) -> list[str]:
    return re.sub(r"(?<=\w)-(?=\w)", "- ", text).split()
