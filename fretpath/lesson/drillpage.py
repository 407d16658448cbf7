"""Drills as pages of text, and as data for ``--json``.

The answer key is a page of its own: what a student is handed never holds which choice is right.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

from fretpath.lesson.drill import Question
from fretpath.lesson.indented import wrapped
from fretpath.lesson.practice import Ladder, Loop
from fretpath.music.melody import Melody
from fretpath.music.notation import format_melody
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.limits import Limits
from fretpath.page.tab import render_tab

HAND_CAUTION = (
    "Stop if it hurts; use 1-2-4 or a higher position where a stretch is too wide,\n"
    "and ask a teacher or a clinician.  A faster tempo can wait.\n"
)
LETTERS = "ABCDEF"


def music_of(melody: Melody) -> str:
    """The music lines of a melody without its headers, one line a phrase."""
    return format_melody(melody).split("\n\n", 1)[1].rstrip("\n")


def degree_line(melody: Melody) -> str:
    """The degrees of the struck notes with the bar lines between them, lengths left out.

    >>> from fretpath.music.notation import parse_melody
    >>> degree_line(parse_melody("1:1/2 r #4 | - 5"))
    '1 #4 | 5'
    """
    words: list[str] = []
    bars = iter((*melody.bars, len(melody)))
    bar = next(bars)
    for event, degree in zip(melody.struck, melody.degrees, strict=True):
        while event >= bar:
            bar = next(bars)
            words.append("|")
        words.append(str(degree))
    return " ".join(words)


def look_alike_page(questions: Sequence[Question], title: str, draw: int) -> str:
    """The questions as a student sees them."""
    lines = [
        f"WHICH ONE DO YOU HEAR?  {title}".rstrip(),
        f"(draw {draw}; degrees count against the major scale; answers on a page of their own)",
        "Name: ____________________  Date: ____________",
    ]
    for number, question in enumerate(questions, start=1):
        lines.extend(["", f"{number}."])
        for letter, choice in zip(LETTERS, question.choices, strict=False):
            lines.append(f"   {letter}   {degree_line(choice)}")
    return "\n".join(lines) + "\n"


def look_alike_key(questions: Sequence[Question], title: str, draw: int) -> str:
    """What the teacher plays for each question, and which choice it is."""
    lines = [f"ANSWER KEY  {title}".rstrip(), f"(draw {draw}; play the tonic first, then the line)"]
    for number, question in enumerate(questions, start=1):
        lines.extend(["", f"{number}. {LETTERS[question.right]}   ({question.place})"])
        lines.extend(wrapped(" ".join(str(pitch) for pitch in question.sound.pitches)))
        for choice in _others(question):
            lines.extend(wrapped(_difference(question.sound, choice)))
    return "\n".join(lines) + "\n"


def _others(question: Question) -> Iterator[tuple[str, Melody]]:
    for at, choice in enumerate(question.choices):
        if at != question.right:
            yield LETTERS[at], choice


def _difference(sound: Melody, other: tuple[str, Melody]) -> str:
    letter, choice = other
    pairs = zip(sound.degrees, choice.degrees, strict=True)
    at, (ours, theirs) = next((i, pair) for i, pair in enumerate(pairs) if pair[0] != pair[1])
    return f"{letter} has {theirs} for {ours} ({sound.place_of(sound.struck[at])} of the line)"


def look_alike_data(questions: Sequence[Question], draw: int) -> dict[str, Any]:
    """The questions with their answers as plain data."""
    return {
        "draw": draw,
        "questions": [
            {
                "place": question.place,
                "choices": [degree_line(choice) for choice in question.choices],
                "right": LETTERS[question.right],
                "play": [str(pitch) for pitch in question.sound.pitches],
            }
            for question in questions
        ],
    }


def loop_page(loop: Loop | None, arrangement: Arrangement) -> str:
    """The hardest shift as tab to be played round and round."""
    head = "THE HARDEST SHIFT, as a loop"
    if loop is None:
        return f"{head}\nThe hand never shifts in this fingering: nothing to drill.\n"
    around = arrange(loop.melody, replace(arrangement.setup, limits=Limits(), objective="total"))
    return (
        f"{head}\n"
        f"the shift to {loop.place}: {loop.distance:.0f} mm along the neck, "
        f"{loop.speed:.0f} mm/s at tempo {float(loop.tempo):g}\n"
        "Play it round and round, slowly first; look at the fret you go to.\n"
        f"{HAND_CAUTION}\n"
        f"{render_tab(around)}\n"
        "As melody text (the places keep the fingering):\n\n"
        f"{music_of(loop.melody)}\n"
    )


def ladder_page(ladder: Ladder, own: float) -> str:
    """The tempos with the speed of the fastest shift at each."""
    lines = [
        "TEMPO LADDER",
        f"up to where the fastest shift reaches {ladder.limit:g} mm/s, or twice the tune's tempo"
        if any(ladder.speeds)
        else "the hand never shifts: up to the tempo of the tune",
        f"(tempo of the tune {own:g}; climb one rung when three rounds in a row are clean)",
        "",
        "    tempo   fastest shift",
    ]
    for tempo, speed in zip(ladder.tempos, ladder.speeds, strict=True):
        lines.append(f"    {tempo:>5}   {f'{speed:.0f} mm/s' if speed else 'no shift'}")
    return "\n".join(lines) + f"\n\n{HAND_CAUTION}"
