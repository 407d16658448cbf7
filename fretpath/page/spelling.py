"""The spelling of a melody as text: rows that share their columns, phrase by phrase.

Rows: bar, degree, interval from the tonic, step from the note before, syllable (on request), note.
A rest is ``r`` and a note held over is ``-`` in the row of degrees.  Where nothing fixes the
octave, notes are named without one.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import Any

from fretpath.errors import RequestError, nearest
from fretpath.music.keyfinding import ENOUGH, KeyGuess
from fretpath.music.melody import Melody
from fretpath.music.pitch import Interval
from fretpath.music.spelling import SpelledNote, spell
from fretpath.page.grid import BAR_LINE, Block, Row, lay_out
from fretpath.page.heading import degree_labels

__all__ = [
    "SPELLING_ROWS",
    "guess_data",
    "guess_lines",
    "render_spelling",
    "spelling_data",
    "under_guess",
]

SPELLING_ROWS = ("bar", "degree", "tonic", "step", "syllable", "note")
"""Rows of the page, in their order; *tonic* is the interval from the tonic."""

LEAST_WIDTH = 40
"""Characters of the narrowest page."""

_LABELS = {"tonic": "from 1"}


def render_spelling(
    melody: Melody,
    *,
    rows: Sequence[str] = SPELLING_ROWS,
    minor: str = "do",
    degrees: str = "major",
    width: int = 80,
) -> str:
    """The rows of a melody, one system or more for each phrase; ends with a newline.

    *rows* are names from :data:`SPELLING_ROWS`, *minor* is the syllable of a minor tonic (do or
    la), *degrees* counts against the ``major`` scale or the ``key`` signature.
    """
    unknown = [row for row in rows if row not in SPELLING_ROWS]
    if unknown:
        raise RequestError(
            f'unknown row "{unknown[0][:40]}"{nearest(unknown[0], SPELLING_ROWS)} '
            f"(known: {', '.join(SPELLING_ROWS)})"
        )
    if width < LEAST_WIDTH:
        raise RequestError(f"a page is at least {LEAST_WIDTH} characters wide, not {width}")
    notes = spell(melody, minor=minor)
    labels = degree_labels(melody, degrees=degrees)
    shown = [Row(name, _LABELS.get(name, name)) for name in SPELLING_ROWS if name in rows]
    shown = shown or [Row("note", "note")]
    systems = lay_out(shown, _phrases(melody, notes, labels), width=width)
    return "\n\n".join("\n".join(system.lines) for system in systems) + "\n"


def _phrases(
    melody: Melody, notes: Sequence[SpelledNote], labels: Sequence[str]
) -> list[list[Block]]:
    told = {note.event: (note, label) for note, label in zip(notes, labels, strict=True)}
    bars = set(melody.bars)
    phrases = []
    for span in melody.spans(melody.phrases):
        blocks: list[Block] = []
        for event in span:
            if event in bars and event != span.start:
                blocks.append(BAR_LINE)
            first = bool(melody.bars) and (event in bars or event == span.start)
            tokens = {"bar": str(melody.bar_numbers[event]) if first else ""}
            if event in told:
                tokens |= _tokens(*told[event], melody.octave_free)
            else:
                tokens["degree"] = "-" if melody.notes[event].tied else "r"
            blocks.append(Block(tokens))
        phrases.append(blocks)
    return phrases


def _tokens(note: SpelledNote, label: str, octave_free: bool) -> dict[str, str]:
    return {
        "degree": label,
        "tonic": _from_tonic(note.from_tonic),
        "step": str(note.step) if note.step else "",
        "syllable": note.syllable,
        "note": note.pitch.name if octave_free else str(note.pitch),
    }


def _from_tonic(interval: Interval | None) -> str:
    """``M10`` above the tonic, ``-P4`` below it."""
    if interval is None:
        return ""
    return f"-{interval.name}" if interval.descending else interval.name


def spelling_data(melody: Melody, *, minor: str = "do") -> list[dict[str, Any]]:
    """The same as plain data: one dict a struck note, both degree conventions in it."""
    by_key = degree_labels(melody, degrees="key")
    return [
        {
            "bar": note.bar,
            "phrase": note.phrase,
            "note": str(note.pitch),
            "beats": str(note.beats),
            "degree": str(note.degree) if note.degree else None,
            "degree_in_key": label or None,
            "from_tonic": _from_tonic(note.from_tonic) or None,
            "step": str(note.step) if note.step else None,
            "syllable": note.syllable or None,
        }
        for note, label in zip(spell(melody, minor=minor), by_key, strict=True)
    ]


def guess_lines(guess: KeyGuess) -> str:
    """What was found for notes without a key, with its runner-up; ends with a newline."""
    best, second = guess.best, guess.runner_up
    found = f"{guess.key} (confidence {best.confidence:.2f})"
    other = f"{second.key} ({second.confidence:.2f})"
    if guess.enough:
        text = f"no key given: {guess.notes} notes say {found}, runner-up {other}; used here, "
        text += "--key says otherwise"
    else:
        count = "1 note is" if guess.notes == 1 else f"{guess.notes} notes are"
        text = f"no key given, and {count} too few to decide unasked ({ENOUGH} or more): "
        text += f'perhaps {found}, or {other}; say --key "{guess.key}"'
    return textwrap.fill(text, 80, break_on_hyphens=False) + "\n"


def under_guess(guess: KeyGuess | None, page: str) -> str:
    """The page, under what was found for notes without a key."""
    return f"{guess_lines(guess)}\n{page}" if guess else page


def guess_data(guess: KeyGuess | None, *, most: int = 5) -> dict[str, Any] | None:
    """A guess as plain data, the likeliest ``most`` candidates; None where none was needed."""
    if guess is None:
        return None
    return {
        "key": str(guess.key),
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
