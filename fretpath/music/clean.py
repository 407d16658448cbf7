"""The clean text of a draft: lines in the words of melody text, full bars closed."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from fretpath.errors import FretpathError
from fretpath.music.doubts import sure_of_commas
from fretpath.music.draft import Draft, JottedLine
from fretpath.music.jottings import syllables_of
from fretpath.music.notation import parse_melody
from fretpath.music.scribbles import Habits, habits_of, melody_words, space_out
from fretpath.music.text import EVENT, GROUP_END, HEADERS, UNDER, beats_of

_FEW_BARS = 3


def rewrite(draft: Draft) -> None:
    """Put each line of music into the words of melody text."""
    plain = [space_out(row.text)[0] for row in draft.music()]
    unit = int(draft.heads.get("meter", "4/4").partition("/")[2] or 4)
    habits = habits_of(plain, german=draft.german, unit=unit if unit in (2, 4, 8, 16) else 4)
    habits = sure_of_commas(draft, plain, habits)
    _put_words(draft, habits)
    held = any(re.search(r"\d[,']*\.+(?:\s|$)", row.text) for row in draft.music())
    if held and not habits.dots:
        _choose_dots(draft, habits)


def _words(row: JottedLine, habits: Habits, draft: Draft) -> Iterator[str]:
    def tell(text: str) -> None:
        draft.tell("read", text, row.number)

    line, told = space_out(row.text)
    for text in told:
        tell(text)
    if "(" in line and not re.search(r"\):[1-9]", line):
        line = line.replace("(", " ").replace(")", " ")
        draft.tell("left out", "brackets around notes", row.number)
    for word in re.findall(
        r"\|:|:\|(?:x\d{1,2})?|\||\[\d{1,2}(?!\S)|\]|\(|\)\S*|(?:(?!:\|)[^\s|()\]])+", line
    ):
        if re.fullmatch(r"\|:?|:\|.*|\[\d+|\]|\(|\).*|r(?::.*)?|-(?::.*)?", word):
            yield word
        elif re.fullmatch(r"[,;]", word):
            continue
        else:
            yield from melody_words(word.rstrip(";"), habits, tell)


def _put_words(draft: Draft, habits: Habits) -> None:
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


def _choose_dots(draft: Draft, habits: Habits) -> None:
    """Take dots for half a note's length more where the bars only add up that way.

    Where eighths are counted in threes, a dot most likely makes a dotted quarter.
    """
    top, _, unit = draft.heads.get("meter", "").partition("/")
    compound = unit == "8" and top in ("6", "9", "12")
    if not top or (_fits(draft) and not compound):
        return
    for other in (replace(habits, threes=True),) * compound + (replace(habits, dotted=True),):
        tried = replace(draft, remarks=list(draft.remarks), rows=list(draft.rows))
        _put_words(tried, other)
        if _fits(tried):
            draft.rows = tried.rows
            draft.remarks = [r for r in tried.remarks if "each . behind" not in r.text]
            return
        if compound and other.threes:
            dotted = " ".join(word for row in tried.music() for word in row.words)
    if compound and not _fits(draft):
        held = " ".join(word for row in draft.music() for word in row.words)
        raise draft.ask(
            "the bars are not full: how long is a note with a dot?",
            draft.music()[0].number,
            ("a dotted quarter, three eighths", f"meter: {top}/{unit}\n\n{dotted}"),
            ("an eighth longer", f"meter: {top}/{unit}\n\n{held}"),
        )


def _fits(draft: Draft) -> bool:
    try:
        melody = parse_melody(clean_text(draft))
    except FretpathError:
        return False
    meter = melody.meter
    spans = list(melody.spans(melody.whole_bars))
    return meter is not None and all(
        sum(melody.notes[event].beats for event in span) == meter.beats for span in spans
    )


# -- the text ------------------------------------------------------------------------------------


def clean_text(draft: Draft) -> str:
    return "\n".join(line for _, line in clean_lines(draft))


def clean_lines(draft: Draft) -> list[tuple[int, str]]:
    """(line of the text as typed, clean line)."""
    lines = [
        (draft.places.get(name, 1), f"{name}: {draft.heads[name]}")
        for name in HEADERS
        if name in draft.heads and name not in UNDER
    ]
    chords: JottedLine | None = None
    signs = "meter" not in draft.heads or any("|" in row.words for row in draft.music())
    beats = draft.beats() or _beats_of_all_bars(draft)
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
            if not draft.beats() and len(words) > len(row.words) and row is not draft.music()[-1]:
                draft.tell("read", "the end of a line is a bar line too", row.number)
            lines.extend((row.number, line) for line in _played(words, row.times, signs))
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
        for beats in _measured(row.words):
            if beats is None:
                bars.append(Fraction(0))
            else:
                bars[-1] += beats
    bars = [beats for beats in bars if beats]
    drawn = any("|" in word for row in draft.music() for word in row.words)
    alike = set(bars[1:-1])
    fits = len(alike) == 1 and all(0 < end <= max(alike) for end in (bars[0], bars[-1]))
    return bars[1] if drawn and len(bars) > _FEW_BARS and fits else None


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
            length = GROUP_END.fullmatch(word)
            each = beats_of(length) if length else Fraction(1)
            for inside in group:
                yield None if "|" in inside else each
            group = None
        elif group is not None:
            group.append(word)
        elif "|" in word or word == "]":
            yield None
        elif match:
            yield beats_of(match)


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


def _chord_line(chords: JottedLine, row: JottedLine, draft: Draft) -> Iterator[str]:
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
