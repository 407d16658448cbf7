"""The tolerant reader of melody text: what people jot is read where only one reading is likely.

**Method.**  Text in the notation of :mod:`fretpath.music.text` is read as it stands.  Anything else
goes one way: its lines are sorted (:mod:`fretpath.music.jottings`), headers and key taken off
(:mod:`fretpath.music.heads`), each line of music is put into the words of the notation
(:mod:`fretpath.music.scribbles`), full bars are closed, and the strict reader reads the clean text;
a remark tells whatever was taken in an unusual way or left out.  Where two readings are likely,
:class:`~fretpath.errors.AmbiguousTextError` shows both and how to write each; where one is far
likelier it is taken, and that is told.

**The notation is trusted** where the text is exactly what :func:`format_melody` writes, or uses
its lengths (``:1/2``), places (``@``), ``octave:`` or ``degrees:``: whoever writes those knows it.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from fretpath.errors import FretpathError, MelodySyntaxError
from fretpath.music.heads import key_words
from fretpath.music.jottings import Draft, JottedLine, draft_of, syllables_of
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.scribbles import Habits, habits_of, melody_words, space_out
from fretpath.music.text import (
    EVENT,
    HEADERS,
    TOKEN,
    UNDER,
    TextSpot,
    music_line,
    refuse_tab,
    rows,
    split,
)
from fretpath.remarks import Remark

LONGEST_LINE = 10_000
"""Characters in a line at the most."""
MOST_LINES, MOST_CHARACTERS = 1_000, 60_000
"""A text beyond these is no message any more: it is read strictly, as it stands."""
_TRUSTED = re.compile(r"[1-9A-Gr)-][,'\d]*:[1-9]|@|^\s*(?:octave|degrees)\s*:", re.MULTILINE)
_FEW_BARS = 3
_HIGHEST = 29
"""A number above it is no degree: four octaves."""


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

    *key* replaces the key of the text, as in :func:`parse_melody`: degrees move along, letters stay
    and are only counted in it, which a remark tells.  *source* names the melody in messages.
    Raises :class:`AmbiguousTextError` where two readings are likely, and
    :class:`MelodySyntaxError` where there is none.
    """
    refuse_tab(text, source)
    lines = list(rows(text, source))
    for number, line in lines:
        if len(line) > LONGEST_LINE:
            spot = TextSpot(source, number, LONGEST_LINE, 1, line)
            raise spot.error(f"a line has at most {LONGEST_LINE} characters; break it")
    wanted = key_words(key) if isinstance(key, str) else key
    long = len(lines) > MOST_LINES or len(text) > MOST_CHARACTERS
    draft = None if long or _is_notation(text, wanted, source) else _draft(text, wanted, source)
    if draft is None:  # the strict reader says what is wrong, or reads what looks like none
        melody = parse_melody(text, key=wanted, source=source)
        stay = _letters_stay(*_key_and_events(text, source), melody, wanted) if wanted else ()
        return melody, tuple(stay)
    melody = _parse(draft, wanted)
    _tell_afterwards(draft, melody, wanted)
    return melody, tuple(sorted(draft.remarks, key=_line_of))


def _key_and_events(text: str, source: str) -> tuple[Key | None, list[re.Match[str]]]:
    """The key and the events of a text in the notation, as they are written."""
    headers, lines = split(text, source)
    key = Key.parse(headers["key"][0]) if "key" in headers else None
    return key, [event.match for line in lines for event in line.events]


def _letters_stay(
    own: Key | None, events: Sequence[re.Match[str]], melody: Melody, wanted: str | Key | None
) -> Iterator[Remark]:
    """The remark on a text in letters that has another key than the one asked for."""
    if own and own != melody.key and any(match["letter"] for match in events):
        to = f'"{wanted}"' if " " in str(wanted) else wanted
        told = f"letters are not moved by --key: their degrees are told in {melody.key}, not {own}"
        yield Remark("read", f"{told}; to move them: fretpath transpose FILE --to {to}")


def _line_of(remark: Remark) -> int:
    """The line a remark is about, so that they are told in the order of the text."""
    return int(remark.place.rpartition(" ")[2] or 0)


def _is_notation(text: str, key: str | Key | None, source: str) -> bool:
    """Whether the text is in the notation, beyond doubt."""
    try:
        parse_melody(text, key=key, source=source)
        return (
            bool(_TRUSTED.search(text)) or format_melody(parse_melody(text)).strip() == text.strip()
        )
    except FretpathError:
        return False


def _draft(text: str, wanted: str | Key | None, source: str) -> Draft | None:
    """The lines of a text, its music in the words of the notation; None if there is no music."""
    draft = draft_of(text, source)
    if not draft.music():
        return None
    _take_counts(draft)
    _ask_brackets(draft)
    _rewrite(draft)
    if all(match["rest"] for _, _, match in draft.events()):
        return None
    if all(EVENT.fullmatch(w) or w[:1] in "|:[]()" for row in draft.music() for w in row.words):
        _ask_numbers(draft)
        _ask_letters(draft)
    _check_octaves(draft)
    if wanted is None:
        _check_minor(draft)
    return draft


def _parse(draft: Draft, wanted: str | Key | None) -> Melody:
    """The melody of the clean text; a fault is shown at its line of the text as typed."""
    if "key" in draft.heads and draft.key is None:
        value, number = draft.heads["key"]
        line = f"key: {value}"
        spot = TextSpot(draft.source, number, 6, len(value), line)
        draft.heads["key"] = str(spot.build(lambda: Key.parse(key_words(value)))), number
    clean = _clean_lines(draft)
    try:
        return _parse_lines(clean, wanted, draft.source)
    except MelodySyntaxError as fault:
        number = clean[min(fault.line, len(clean)) - 1][0]
        spot = TextSpot(fault.source, number, fault.column, fault.span, fault.text)
        raise spot.error(fault.problem) from None


def _parse_lines(lines: Sequence[tuple[int, str]], wanted: str | Key | None, source: str) -> Melody:
    return parse_melody("\n".join(line for _, line in lines), key=wanted, source=source)


def _tell_afterwards(draft: Draft, melody: Melody, wanted: str | Key | None) -> None:
    events = [match for _, _, match in draft.events()]
    degrees = any(match["degree"] for match in events)
    first = draft.music()[0].number
    draft.remarks.extend(_letters_stay(draft.key, events, melody, wanted))
    if degrees and "key" not in draft.heads and wanted is None:
        draft.tell("guessed", "no key is given: the degrees are read in C major", first)
    if degrees and any(match["letter"] for match in events):
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


# -- music in the words of the notation ----------------------------------------------------------


def _rewrite(draft: Draft) -> None:
    """Put each line of music into the words of melody text."""
    plain = [space_out(row.text)[0] for row in draft.music()]
    habits = habits_of(plain, german=draft.german, unit=draft.meter.unit if draft.meter else 4)
    _ask_commas(draft, plain, habits)
    _put_words(draft, habits)
    held = any(re.search(r"\d[,']*\.+(?:\s|$)", row.text) for row in draft.music())
    if held and not habits.dots:
        _choose_dots(draft, habits)


def _put_words(draft: Draft, habits: Habits) -> None:
    """Give each line of music its words; a bar line at its start goes to the line before."""
    before: JottedLine | None = None
    for row in draft.music():
        words = _without_stray_bars(_words(row, habits, draft))
        if words[:1] == ["|"]:
            words = words[1:]
            if before and before.words[-1] not in ("|", ":|", "]"):
                before.words.append("|")
        row.words = words
        before = row if words else before


def _words(row: JottedLine, habits: Habits, draft: Draft) -> Iterator[str]:
    def tell(text: str) -> None:
        draft.tell("read", text, row.number)

    line, told = space_out(row.text)
    for text in told:
        tell(text)
    if "(" in line and not re.search(r"\):[1-9]", line):
        line = line.replace("(", " ").replace(")", " ")
        draft.tell("left out", "brackets around notes", row.number)
    for token in TOKEN.finditer(line):
        word = token[0]
        if token["bar"] or word[0] in "()" or re.fullmatch(r"[r-](?::.*)?", word):
            yield word
        elif word not in (",", ";"):
            yield from melody_words(word.rstrip(";"), habits, tell)


def _without_stray_bars(words: Iterator[str]) -> list[str]:
    """Without doubled bar lines."""
    kept: list[str] = []
    for word in words:
        if word != "|" or not kept or kept[-1] not in ("|", "|:", ":|", "]"):
            kept.append(word)
    return kept


def _choose_dots(draft: Draft, habits: Habits) -> None:
    """Take dots for half a note's length more where the bars only add up that way.

    Where eighths are counted in threes, a dot most likely makes a dotted quarter.
    """
    meter = draft.meter
    compound = meter is not None and meter.unit == 8 and meter.beats in (6, 9, 12)
    if meter is None or (_fits(draft) and not compound):
        return
    threes = [replace(habits, threes=True)] if compound else []
    tried = [_with_habits(draft, other) for other in (*threes, replace(habits, dotted=True))]
    found = next(filter(_fits, tried), None)
    if found:
        draft.rows = found.rows
        draft.remarks = [r for r in found.remarks if "each . behind" not in r.text]
    elif compound and not _fits(draft):
        raise draft.ask(
            "the bars are not full: how long is a note with a dot?",
            draft.music()[0].number,
            (
                "a dotted quarter, three eighths",
                f"meter: {meter}\n\n{tried[0].body(' ')}",
            ),
            ("an eighth longer", f"meter: {meter}\n\n{draft.body(' ')}"),
        )


def _with_habits(draft: Draft, habits: Habits) -> Draft:
    """The draft as another habit has it."""
    rows = [replace(row) for row in draft.rows]
    tried = replace(draft, remarks=[*draft.remarks], rows=rows)
    _put_words(tried, habits)
    return tried


def _fits(draft: Draft) -> bool:
    """Whether every bar of the draft is full."""
    try:
        melody = _parse_lines(_clean_lines(draft), None, draft.source)
    except FretpathError:
        return False
    meter = melody.meter
    return meter is not None and all(
        sum(melody.notes[event].beats for event in span) == meter.beats
        for span in melody.spans(melody.whole_bars)
    )


# -- the clean text ------------------------------------------------------------------------------


def _clean_lines(draft: Draft) -> list[tuple[int, str]]:
    """(line of the text as typed, clean line)."""
    lines = [
        (draft.heads[name][1], f"{name}: {draft.head(name)}")
        for name in HEADERS
        if name in draft.heads and name not in UNDER
    ]
    chords: JottedLine | None = None
    signs = "meter" not in draft.heads or any("|" in row.words for row in draft.music())
    beats = Fraction(draft.meter.beats) if draft.meter else _beats_of_all_bars(draft)
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
            words, running = _close(row.words, beats if signs else None, running)
            added = len(words) > len(row.words) and row is not draft.music()[-1]
            if added and not draft.meter:
                draft.tell("read", "the end of a line is a bar line too", row.number)
            lines.extend((row.number, line) for line in _as_often(words, row.times, signs))
            if chords:
                lines.extend((chords.number, line) for line in _chord_line(chords, row, draft))
                chords = None
    return lines


def _beats_after(text: str, beats: Fraction | None) -> Fraction | None:
    match = re.search(r"meter: (\d+)/\d+", text)
    return Fraction(int(match[1])) if match else beats


def _singable(text: str) -> list[str]:
    return [word.replace("~", "-") for word in syllables_of(text) if word not in ("|", "_")]


def _beats_of_all_bars(draft: Draft) -> Fraction | None:
    """The beats of every bar where all are alike, a pickup and the last one aside.

    The end of a line counts as a bar line here; None where no meter shows in that way.
    """
    bars: list[Fraction] = []
    for row in draft.music():
        bars.append(Fraction(0))
        for beats in _measure(row.words):
            if beats is None:
                bars.append(Fraction(0))
            else:
                bars[-1] += beats
    bars = [beats for beats in bars if beats]
    drawn = any("|" in word for row in draft.music() for word in row.words)
    alike = set(bars[1:-1])
    fits = len(alike) == 1 and all(0 < end <= max(alike) for end in (bars[0], bars[-1]))
    return bars[1] if drawn and len(bars) > _FEW_BARS and fits else None


def _close(
    words: Sequence[str], beats: Fraction | None, running: Fraction
) -> tuple[list[str], Fraction]:
    """The words of a line, with a bar line behind a bar that is full at its end."""
    for length in _measure(words):
        running = Fraction(0) if length is None else running + length
    if words and beats and running == beats and words[-1] not in ("|", ":|", "]"):
        return [*words, "|"], Fraction(0)
    return [*words], running


def _measure(words: Sequence[str]) -> Iterator[Fraction | None]:
    """The beats of each event, None for a bar line; nothing of a line with a fault in it."""
    try:
        line = music_line(" ".join(words), "", 1)
    except MelodySyntaxError:
        return
    signs = Counter(at for at, sign, _ in line.signs if sign[0] != "[")
    for at, event in enumerate(line.events):
        yield from [None] * signs[at]
        yield event.beats
    yield from [None] * signs[len(line.events)]


def _as_often(words: Sequence[str], times: int, signs: bool) -> Iterator[str]:
    """A line as often as it is played: between repeat signs, or written out where no bars are."""
    line = " ".join(words)
    if times == 1 or ":|" in words:
        yield line
    elif signs:
        inside = words[:-1] if words[-1] == "|" else words
        yield f"|: {' '.join(inside)} :|{'' if times == 2 else f'x{times}'}"
    else:
        yield from [line] * times


def _chord_line(chords: JottedLine, row: JottedLine, draft: Draft) -> Iterator[str]:
    """Chord names at the bars or the notes they stand over, where their places tell."""
    names = [(m.start(), m[0].strip("()")) for m in re.finditer(r"[^\s|]+", chords.text)]
    shown = " ".join(name for _, name in names)
    bars = _chords_of_bars(chords.text, row)
    if bars:
        draft.tell("read", f"a line of chords, no notes: {' | '.join(bars)}", chords.number)
        yield "chords: " + " | ".join(bars)
        return
    starts = _starts(row)
    places = [place for column, _ in names for place in _place_under(column, starts)]
    sure = len(places) == len(names) and places == sorted(set(places))
    if not sure or "  " not in chords.text.strip() or row.times > 1:
        told = (
            f"the chord names {shown}: it does not show which note each is for; put each right "
            'over its note, or write them below, such as "chords: C _ G _"'
        )
        draft.tell("left out", told, chords.number)
        return
    draft.tell("read", f"a line of chords, no notes: {shown}", chords.number)
    cells = ["_"] * (places[-1] + 1)
    for place, (_, name) in zip(places, names, strict=True):
        cells[place] = name
    yield f"chords: {' '.join(cells)}"


def _chords_of_bars(text: str, row: JottedLine) -> list[str]:
    """The chord of each bar where a line names one for each; empty where it does not.

    Without bar lines it does if it has as many names as the music has bars, and they do not stand
    right over notes.
    """
    bars = [bar.split() for bar in text.strip(" |").split("|")]
    count = " ".join(row.words).strip(" |").count("|") + 1
    typed = {m.start() for m in re.finditer(r"\S+", row.text)}
    if len(bars) == 1 and not typed.issuperset(m.start() for m in re.finditer(r"\S+", text)):
        bars = [[name] for name in bars[0]]
    if not 1 < len(bars) == count or any(len(bar) > 1 for bar in bars):
        return []
    return [bar[0] if bar else "_" for bar in bars]


def _starts(row: JottedLine) -> list[tuple[int, int]]:
    """(column, event) of each word as typed, a bar line for the event after it; empty if unknown.

    Where holds are written on to their notes, as in ``5--``, only what is struck counts.

    >>> _starts(JottedLine(1, "1 2 | 3-- 5", words=["1", "2", "|", "3", "-", "-", "5"]))
    [(0, 0), (2, 1), (4, 2), (6, 2), (10, 5)]
    """
    typed = [*re.finditer(r"\|+|[^\s|]+", row.text)]
    events = [word for word in row.words if "|" not in word]
    places = [*range(len(events))]
    if sum(word[0][0] != "|" for word in typed) != len(events):
        typed = [word for word in typed if set(word[0]) != {"-"}]
        places = [place for place in places if events[place][0] != "-"]
    found: list[tuple[int, int]] = []
    count = 0
    for word in typed:
        found += [(word.start(), place) for place in places[count : count + 1]]
        count += word[0][0] != "|"
    return found if count == len(places) else []


def _place_under(column: int, starts: Sequence[tuple[int, int]]) -> list[int]:
    """The event that begins under a column or one beside it, if any."""
    near = [(abs(start - column), place) for start, place in starts if abs(start - column) <= 1]
    return [min(near)[1]] if near else []


# -- two readings: lines of counts ---------------------------------------------------------------

_PARTS = {
    "&": Fraction(1, 2), "+": Fraction(1, 2), "and": Fraction(1, 2),
    "e": Fraction(1, 4), "a": Fraction(3, 4),
}  # fmt: skip
"""Beats behind the number that each word of counting stands at."""


def _take_counts(draft: Draft) -> None:
    """Take lines of counts off the melody; ask where they may be music."""
    pairs = [
        (above, row)
        for above, row in pairwise(draft.rows)
        if above.kind == row.kind == "music"
        and above.text.split() != row.text.split()
        and _is_count(row.text, draft)
    ]
    sure = [row for _, row in pairs if re.search(r"[&+]|\band\b", row.text)]
    plain = [(above, row) for above, row in pairs if row not in sure]
    music = [row for row in draft.music() if row not in [count for _, count in pairs]]
    if len(plain) > 1 and len(plain) == len(music):
        sure += [row for _, row in plain]
    elif plain:
        _ask_counts(draft, *plain[0])
    draft.rows = [row for row in draft.rows if row not in sure]
    for above, row in pairs:
        if row in sure:
            draft.tell("read", f"a line of counts, no notes: {row.text.strip()[:40]}", row.number)
            above.text = _with_lengths(above.text, row.text, draft)


def _is_count(text: str, draft: Draft) -> bool:
    """Whether a line counts 1 2 3 4, perhaps with ``&`` between, and holds nothing else."""
    words = text.split()
    numbers = [int(word) for word in words if re.fullmatch(r"[1-9]", word)]
    others = {word for word in words if not re.fullmatch(r"[1-9]", word)}
    if not others.issubset(_PARTS) or len(numbers) < 2 or numbers[0] != 1:
        return False
    ands = bool(others & {"&", "+", "and"})
    top = max(numbers)
    usual = top == draft.meter.beats if draft.meter else top in (3, 4, 6)
    steps = list(pairwise(numbers))
    cycle = all(b == a + 1 or (b == 1 and a == top) for a, b in steps)
    rising = all(b > a or b == 1 for a, b in steps)
    return (ands and rising) or (usual and cycle and numbers[-1] == top and not others)


def _ask_counts(draft: Draft, above: JottedLine, row: JottedLine) -> None:
    notes = [word for word in above.text.split() if word != "|"]
    if len(notes) == len(row.text.split()):
        raise draft.ask(
            f'"{row.text.strip()[:40]}": counts under the notes, or a second line of the tune?',
            row.number,
            ("counts", f"{above.text.strip()}\n; {row.text.strip()}"),
            ("a second line", f"{above.text.strip()} |\n{row.text.strip()} |"),
        )


def _with_lengths(text: str, counts: str, draft: Draft) -> str:
    """A line of notes with the lengths that the counts under them give."""
    words = text.split()
    notes = [word for word in words if word != "|"]
    beats = draft.meter.beats if draft.meter else 0
    places = _count_places(counts.split(), beats)
    if not beats or len(places) != len(notes) or not all(map(EVENT.fullmatch, notes)):
        return text
    places.append(-(-(places[-1] + Fraction(1, 4)) // beats) * Fraction(beats))
    lengths = iter([b - a for a, b in pairwise(places)])
    return " ".join(w if w == "|" else f"{w}:{next(lengths)}".removesuffix(":1") for w in words)


def _count_places(counts: Sequence[str], beats: int) -> list[Fraction]:
    """When each word of a line of counts is said, in beats from the first bar line."""
    places: list[Fraction] = []
    bar = number = 0
    for word in counts:
        if word.isdigit():
            bar += beats if int(word) <= number else 0
            number = int(word)
        places.append(bar + number - 1 + _PARTS.get(word, Fraction(0)))
    return places


# -- two readings: numbers and letters that may be something else --------------------------------


def _ask_brackets(draft: Draft) -> None:
    """Numbers in brackets behind notes: lengths where each note has one, else ask."""
    pattern = re.compile(r"(?<=[\w#,'])\s+\((\d(?:/\d)?)\)")
    for row in draft.music():
        found = pattern.findall(row.text)
        timed = pattern.sub(r":\1", row.text)
        notes = [word for word in pattern.sub("", row.text).split() if word != "|"]
        if found and len(found) < len(notes):
            raise draft.ask(
                f'"({found[0]})": a note in brackets, or the length of the note before it?',
                row.number,
                ("a note", pattern.sub(r" \1", row.text).strip()),
                ("beats", timed.strip()),
            )
        if found:
            draft.tell("read", "numbers in brackets are beats", row.number)
            row.text = timed


def _ask_numbers(draft: Draft) -> None:
    """Numbers that jump: two degrees run together, or one high degree; and numbers too high."""
    degrees = draft.degrees()
    numbers = [int(re.sub(r"\D", "", degree)) for _, _, degree in degrees]
    lone = len(numbers) > 2 and not {8, 9, 10} & set(numbers)
    for at, (row, _, degree) in enumerate(degrees):
        if numbers[at] > _HIGHEST:
            _ask_tempo(draft, row, degree)
        beside = [numbers[i] for i in (at - 1, at + 1) if 0 <= i < len(numbers)]
        jumps = any(numbers[at] - number > 7 for number in beside)
        if re.fullmatch(r"1[1-5]", degree) and lone and jumps:
            body = draft.body()
            raise draft.ask(
                f"{degree}: the degrees {degree[0]} and {degree[1]}, or degree {degree} in the "
                "octave above?",
                row.number,
                (
                    f"{degree[0]} and {degree[1]}",
                    re.sub(r"(?<!\S)(1)([1-5])(?!\S)", r"\1 \2", body),
                ),
                (f"degree {degree}", f"degrees: major\n\n{body}"),
            )


def _ask_tempo(draft: Draft, row: JottedLine, degree: str) -> None:
    rest = " ".join(word for r in draft.music() for word in r.words if word != degree)
    raise draft.ask(
        f"{degree} is too high for a degree: is it the tempo?",
        row.number,
        ("the tempo", f"tempo: {degree}\n\n{rest}"),
        ("something else", f"; {degree}\n{rest}"),
    )


def _ask_letters(draft: Draft) -> None:
    """Capital letters among degrees: a key, chords, a flat sign, or notes."""
    letters = [
        (row, place)
        for row in draft.music()
        for place, word in enumerate(row.words)
        if re.fullmatch(r"[A-G][#b]?(?::.*)?|B[2-7]", word)
    ]
    if len(draft.degrees()) < 2 or not letters:
        return
    row, place = letters[0]
    first = row.words[place]
    flats_meant = all(re.fullmatch("B[2-7]", row.words[place]) for row, place in letters)
    together = any(a is b and j == i + 1 for (a, i), (b, j) in pairwise(letters))
    if not flats_meant and (place or together):
        return
    inside = {at for other, at in letters if other is row}
    plain = " ".join(word for at, word in enumerate(row.words) if at not in inside)
    plain = re.sub(r"\|(?: \|)+", "|", plain).removeprefix("| ")
    notes = " ".join(f"{w}4" if re.fullmatch(r"[A-G][#b]?", w) else w for w in row.words)
    if flats_meant:
        flats = " ".join(f"b{w[1:]}" if re.fullmatch("B[2-7]", w) else w for w in row.words)
        readings = (f"the degree b{first[1:]}", flats), ("the note", f"degrees: major\n\n{notes}")
    elif len(letters) == 1 and "key" not in draft.heads:
        readings = ("the key", f"key: {first}\n\n{plain}"), ("a note", notes)
    else:
        readings = ("chord names, left out", plain), ("notes", notes)
    kinds = " or ".join(name.removesuffix(", left out") for name, _ in readings)
    raise draft.ask(f"{first} among degrees: {kinds}?", row.number, *readings)


# -- two readings: commas, octaves and degrees of a minor key ------------------------------------


def _ask_commas(draft: Draft, lines: Sequence[str], habits: Habits) -> None:
    """Ask where commas behind the numbers make the smoother line as octaves down."""
    words = [word for line in lines for word in line.split() if re.fullmatch(r"[#b]*\d[,]?", word)]
    if not any(word.endswith(",") for word in words):
        return
    low = _widest(words)
    plain = _widest([word.rstrip(",") for word in words])
    several = sum(word.endswith(",") for word in words[:-1]) > 1 and words[-1][-1] != ","
    if habits.commas and low < plain - 2:
        what = "notes"
    elif not habits.commas and several and low > 7 > plain:
        what = "phrases"
    else:
        return
    raise draft.ask(
        f"do the commas separate the {what}, or mean the octave below?",
        draft.music()[0].number,
        ("the commas separate", " ".join(word.rstrip(",") for word in words)),
        ("an octave down", f"octave: 3 free\n\n{' '.join(words)}"),
    )


def _widest(words: Sequence[str]) -> int:
    """The widest step between degrees that follow each other, in letters."""
    steps = [Degree.parse(word).steps for word in words if word[-1] != "0"]
    return max((abs(b - a) for a, b in pairwise(steps)), default=0)


def _check_octaves(draft: Draft) -> None:
    """A line that rises over 7 goes on to the octave; one that falls below 1 must say so."""
    degrees = draft.degrees()
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
            row.words[place] = row.words[place].replace(degree, degree + "'", 1)
            draft.tell("read", "the 1 after 7 is the octave above, 8 (or 1')", row.number)


def _ask_leading_note(draft: Draft, row: JottedLine, place: int) -> None:
    words = row.words
    below = [*words[:place], words[place].replace("7", "7,", 1), *words[place + 1 :]]
    raise draft.ask(
        "the 7 after 1: the note just below, or a seventh up?",
        row.number,
        ("the note below (an octave down)", " ".join(below)),
        ("a seventh up", f"degrees: major\n\n{' '.join(words)}"),
    )


def _check_minor(draft: Draft) -> None:
    """Degrees in a key with lowered degrees: those of the key, or of the major scale?"""
    key = draft.key
    if key is None:
        return
    lowered = {d.number: d for d in key.scale.degrees if d.alter}
    degrees = [Degree.parse(degree) for _, _, degree in draft.degrees()]
    doubtful = sorted({d.number for d in degrees if d.number in lowered})
    if not doubtful or any(d.alter for d in degrees):
        return
    number = doubtful[0]
    flat = lowered[number]
    own, major = (
        (key.tonic_pitch(4) + degree.interval).name for degree in (flat, Degree(number - 1, 0))
    )
    raise draft.ask(
        f"{number} in {key}: {own}, the degree {flat} of the key, or {major}, counted "
        "against the major scale?",
        draft.music()[0].number,
        (f"{own}, degrees of the key ({flat})", f"key: {key}\ndegrees: key\n\n{draft.body()}"),
        (f"{major}, degrees of the major scale", f"key: {key}\ndegrees: major\n\n{draft.body()}"),
    )
