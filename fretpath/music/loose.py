"""The tolerant reader of melody text: what people jot is read where only one reading is likely.

**Method.**  Text in the notation of :mod:`fretpath.music.text` is read as it stands.  Anything else
is sorted line by line (:mod:`fretpath.music.jottings`), put into that notation
(:mod:`fretpath.music.clean`), with a remark for whatever was taken in an unusual way or left out,
and then read by the strict reader.  Where two readings are likely (:mod:`fretpath.music.doubts`),
:class:`~fretpath.errors.AmbiguousTextError` shows both and how to write each.

**The notation is trusted** where the text is exactly what :func:`format_melody` writes, or uses
its lengths (``:1/2``), places (``@``), ``octave:`` or ``degrees:``: whoever writes those knows it.
"""

from __future__ import annotations

import re
from functools import partial

from fretpath.errors import FretpathError, MelodySyntaxError
from fretpath.music.clean import clean_lines, clean_text, rewrite
from fretpath.music.doubts import (
    ask_brackets,
    ask_letters,
    ask_numbers,
    check_minor,
    check_octaves,
    take_counts,
)
from fretpath.music.draft import Draft, degrees_in, stated_key
from fretpath.music.heads import key_words
from fretpath.music.jottings import draft_of
from fretpath.music.key import Key
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody, parse_melody
from fretpath.music.text import EVENT, TextSpot, refuse_tab, rows
from fretpath.remarks import Remark

LONGEST_LINE = 10_000
"""Characters in a line at the most."""
MOST_LINES, MOST_CHARACTERS = 1_000, 60_000
"""A text beyond these is no message any more: it is read strictly, as it stands."""
_TRUSTED = re.compile(r"[1-9A-Gr)-][,'\d]*:[1-9]|@|^\s*(?:octave|degrees)\s*:", re.MULTILINE)


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
            spot = TextSpot(source, number, LONGEST_LINE, 1, line)
            raise spot.error(f"a line has at most {LONGEST_LINE} characters; break it")
    wanted = key_words(key) if isinstance(key, str) else key
    long = len(lines) > MOST_LINES or len(text) > MOST_CHARACTERS
    if long or _is_notation(text, wanted, source):
        return parse_melody(text, key=wanted, source=source), ()
    draft = draft_of(text, source)
    if not draft.music():  # the strict reader says what is wrong, or reads what looks like none
        return parse_melody(text, key=wanted, source=source), ()
    take_counts(draft)
    ask_brackets(draft)
    rewrite(draft)
    if not any(EVENT.fullmatch(word) and word[0] != "r" for r in draft.rows for word in r.words):
        return parse_melody(text, key=wanted, source=source), ()
    if all(EVENT.fullmatch(w) or w[:1] in "|:[]()" for row in draft.music() for w in row.words):
        ask_numbers(draft)
        ask_letters(draft)
    check_octaves(draft)
    if wanted is None:
        check_minor(draft)
    melody = _parsed(draft, wanted)
    _tell_afterwards(draft, melody, wanted)
    return melody, tuple(sorted(draft.remarks, key=_line_of))


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


def _stated_key(text: str) -> Key:
    return Key.parse(key_words(text))


def _parsed(draft: Draft, wanted: str | Key | None) -> Melody:
    """The melody of the clean text; a fault is shown at its line of the text as typed."""
    if "key" in draft.heads and stated_key(draft) is None:
        line = f"key: {draft.heads['key']}"
        spot = TextSpot(draft.source, draft.places.get("key", 1), 6, len(line) - 5, line)
        draft.heads["key"] = str(spot.build(partial(_stated_key, draft.heads["key"])))
    try:
        return parse_melody(clean_text(draft), key=wanted, source=draft.source)
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


def _line_numbers(draft: Draft) -> list[int]:
    return [number for number, _ in clean_lines(draft)]


def _tell_afterwards(draft: Draft, melody: Melody, wanted: str | Key | None) -> None:
    degrees = degrees_in(draft)
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
