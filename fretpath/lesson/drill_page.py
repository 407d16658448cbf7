"""Drills as a page that sounds, as text, and as data.

The page is one HTML file without anything from elsewhere: the sounds lie in it, a tick is told
right or wrong at once, and printed it is a paper with its answer key on a page of its own.  As
text the key is a page of its own too: the student's page never holds which choice is right.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from fretpath.lesson.drill import Question
from fretpath.music.melody import Melody, Note
from fretpath.page.html import fill_template, with_signs
from fretpath.page.sound import melody_mp3
from fretpath.page.tables import wrapped

LETTERS = "ABCDEFGHIJKLM"
_TONIC = Fraction(2)
_SILENCE = Fraction(1)


@dataclass(frozen=True)
class Drill:
    """Questions with the words above them."""

    questions: tuple[Question, ...]
    """In the order of the page."""
    title: str
    """The tune they come from; empty for phrases of our own."""
    draw: int
    """The number of the set."""

    @property
    def kinds(self) -> list[str]:
        """The kinds of question asked, each once."""
        return list(dict.fromkeys(question.ask for question in self.questions))


def sounding(question: Question) -> Melody:
    """The sounds of a question: the tonic, a beat of silence, then its phrase."""
    return _after_tonic(question.first or question.sound)


def _after_tonic(melody: Melody) -> Melody:
    tonic = melody.tonic
    assert tonic is not None
    before = (Note(tonic, _TONIC), Note(None, _SILENCE))
    return Melody(
        (*before, *melody.clock.notes),
        keys=((0, melody.keys[0][1]),),
        octave=melody.octave,
        tempo=melody.tempo,
    )


# -- text ------------------------------------------------------------------------------------------


def drill_text(drill: Drill) -> str:
    """The questions as a student sees them."""
    lines = [
        f"LISTEN  {drill.title}".rstrip(),
        f"(set {drill.draw}; degrees count against the major scale; answers on their own page)",
        "Name: ____________________  Date: ____________",
    ]
    for number, question in enumerate(drill.questions, start=1):
        lines += ["", *wrapped(f"{number}. {question.ask}", hanging="   ")]
        if question.shown:
            lines += wrapped(question.shown, indent="   ")
        for letter, choice in zip(LETTERS, question.choices, strict=False):
            lines += wrapped(f"{letter}   {choice}", indent="   ", hanging="    ")
    return "\n".join(lines) + "\n"


def drill_key(drill: Drill) -> str:
    """A key for the teacher: what to play for each question, and which choice is right."""
    lines = [
        f"ANSWER KEY  {drill.title}".rstrip(),
        f"(set {drill.draw}; play the tonic first, then the line)",
    ]
    for number, question in enumerate(drill.questions, start=1):
        place = f"   ({question.place})" if question.place else ""
        lines += ["", f"{number}. {answer(question)}{place}"]
        lines += wrapped(" ".join(map(str, question.sound.pitches)), indent="   ")
    return "\n".join(lines) + "\n"


def answer(question: Question) -> str:
    """The right answer in words: its letter, and what was heard."""
    return f"{LETTERS[question.right]}: {question.told}" if question.choices else question.told


def drill_data(drill: Drill) -> dict[str, Any]:
    """The questions with their answers as plain data."""
    return {
        "draw": drill.draw,
        "questions": [
            {
                "kind": question.kind,
                "ask": question.ask,
                "place": question.place,
                "shown": question.shown,
                "choices": list(question.choices),
                "right": LETTERS[question.right] if question.choices else None,
                "told": question.told,
                "play": [str(pitch) for pitch in question.sound.pitches],
            }
            for question in drill.questions
        ],
    }


# -- the page --------------------------------------------------------------------------------------


def drill_html(drill: Drill) -> str:
    """The questions as one HTML file that sounds."""
    return fill_template(
        "fretpath.lesson",
        "drill.html",
        drill=drill,
        questions=[_shown(question) for question in drill.questions],
        letters=LETTERS,
    )


def _shown(question: Question) -> dict[str, Any]:
    whole = _embedded(_after_tonic(question.sound)) if not question.choices else ""
    return {
        "ask": question.ask,
        "sound": _embedded(sounding(question)) if question.kind != "sing" else _tonic(question),
        "whole": whole,
        "shown": with_signs(question.shown),
        "choices": [with_signs(choice) for choice in question.choices],
        "right": question.right,
        "told": with_signs(question.told),
        "place": question.place,
        "play": with_signs(" ".join(map(str, question.sound.pitches))),
    }


def _tonic(question: Question) -> str:
    """Only the tonic, for a student who is to sing first."""
    alone = _after_tonic(question.sound)
    return _embedded(replace(alone, notes=alone.notes[:1]))


def _embedded(melody: Melody) -> str:
    data = base64.b64encode(melody_mp3(melody)).decode("ascii")
    return f"data:audio/mpeg;base64,{data}"
