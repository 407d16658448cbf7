"""The spelling of a melody as text: rows that share their columns, phrase by phrase.

Rows (:mod:`fretpath.page.rows`): bar, degree, interval from the tonic, interval from the note
before, syllable (on request), note.
A rest is ``r`` and a note held over is ``-`` in the row of degrees.  Where nothing fixes the
octave, notes are named without one.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import Any

from fretpath.music.keyfinding import ENOUGH, KeyGuess
from fretpath.music.melody import Melody
from fretpath.page.grid import Block, GridLine, lay_out
from fretpath.page.rows import ALL_ROWS, Row, Subject, degree_labels, notes_data, rows_named
from fretpath.page.tab import check_width
from fretpath.page.tables import wrap

SPELLING_ROWS = tuple(
    row.name for row in ALL_ROWS if row.reveals != "place" and row.name not in ("ending", "count")
)
"""Rows that a spelling can show, in their order; *tonic* is the interval from the tonic."""

USUAL_ROWS = tuple(row.name for row in ALL_ROWS if row.usual and row.name in SPELLING_ROWS)
"""Rows that it shows unless others are asked for."""


def render_spelling(
    melody: Melody,
    *,
    rows: Sequence[str] = (*USUAL_ROWS, "syllable"),
    minor: str = "do",
    degrees: str = "major",
    width: int = 80,
) -> str:
    """The rows of a melody, one system or more for each phrase; ends with a newline.

    *rows* are names from :data:`SPELLING_ROWS`, *minor* is the syllable of a minor tonic (do or
    la), *degrees* counts against the ``major`` scale or the ``key`` signature.
    """
    check_width(width)
    subject = Subject(melody, degrees=degrees, minor=minor)
    shown = rows_named(rows, SPELLING_ROWS) or rows_named(["note"], SPELLING_ROWS)
    lines = [GridLine(row.name, row.label or row.name) for row in shown]
    systems = lay_out(lines, _phrases(subject, shown), width=width)
    return "\n\n".join("\n".join(system.lines) for system in systems) + "\n"


def _phrases(subject: Subject, shown: Sequence[Row]) -> list[list[Block]]:
    melody = subject.melody
    bars = set(melody.bars)
    phrases = []
    for span in melody.spans(melody.phrases):
        blocks: list[Block] = []
        for event in span:
            if event in bars and event != span.start:
                blocks.append(Block(line="|"))
            tokens = {row.name: subject.token(row, event) for row in shown}
            if not melody.notes[event].struck:
                tokens["degree"] = "-" if melody.notes[event].tied else "r"
            blocks.append(Block(tokens))
        phrases.append(blocks)
    return phrases


def spelling_data(melody: Melody, *, minor: str = "do") -> list[dict[str, Any]]:
    """The same as plain data: one dict a struck note, both degree conventions in it."""
    by_key = degree_labels(melody, degrees="key")
    found = notes_data(Subject(melody, minor=minor))
    phrases = [bisect_right(melody.phrases, event) + 1 for event in melody.struck]
    return [
        {**note, "degree_in_key": label or None, "phrase": phrase}
        for note, label, phrase in zip(found, by_key, phrases, strict=True)
    ]


def guess_lines(guess: KeyGuess) -> str:
    """The key found for notes without one, with its runner-up; ends with a newline."""
    best, second = guess.best, guess.runner_up
    found = f"{best.key} (confidence {best.confidence:.2f})"
    other = f"{second.key} ({second.confidence:.2f}; {guess.deciding})"
    if guess.enough:
        text = f"no key given: {guess.notes} notes say {found}, next {other}; used here, "
        text += "--key says otherwise"
    else:
        count = "1 note is" if guess.notes == 1 else f"{guess.notes} notes are"
        text = f"no key given, and {count} too few to decide unasked (unless they are sure, "
        text += f'{ENOUGH} or more): perhaps {found}, or {other}; say --key "{guess.key}"'
    return "\n".join(wrap(text)) + "\n"


def under_guess(guess: KeyGuess | None, page: str) -> str:
    """The page, under what was found for notes without a key."""
    return f"{guess_lines(guess)}\n{page}" if guess else page


def guess_data(guess: KeyGuess | None, *, most: int = 5) -> dict[str, Any] | None:
    """A guess as plain data, the likeliest ``most`` candidates; None where none was needed."""
    if guess is None:
        return None
    return {
        "key": str(guess.key),
        "confidence_in_tonic": round(guess.confidence, 4),
        "deciding": guess.deciding,
        "used": guess.enough,
        "notes": guess.notes,
        "candidates": [
            {
                "key": str(candidate.key),
                "score": round(candidate.score, 4),
                "confidence": round(candidate.confidence, 4),
            }
            for candidate in guess.candidates[:most]
        ],
    }
