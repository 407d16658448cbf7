"""The questions a lesson asks about a tune, with their answers.

**Conventions.**  Places are named as in messages (``bar 2, note 3``).  A note leaves the scale
when its degree is not in the scale of the key in force; where the key itself changes, that is
told.  The widest leap is the largest interval in semitones between neighbours, the first of equals.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from fretpath.music.departures import read_scales
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.figures import roman
from fretpath.page.aloud import interval_words
from fretpath.page.rows import degree_labels


@dataclass(frozen=True, slots=True)
class Question:
    """One question and its answer."""

    text: str
    """What is asked."""
    answer: str
    """What the teacher's copy says."""


def questions_about(arrangement: Arrangement, *, degrees: str = "major") -> list[Question]:
    """Questions for the ear first, then for the hand."""
    melody = arrangement.melody
    questions = []
    if melody.key:
        labels = degree_labels(melody, degrees=degrees)
        first, last = melody.pitches[0], melody.pitches[-1]
        questions += [
            Question("Which degree starts it?", f"{labels[0]} ({first})"),
            Question("Which degree ends it?", f"{labels[-1]} ({last})"),
            Question("Where does it leave the scale?", _departures(melody, labels)),
        ]
    if len(melody.pitches) > 1:
        questions.append(Question("Where is the widest leap, and how wide is it?", _leap(melody)))
    questions.append(Question("Where does the hand change position?", _shifts(arrangement)))
    return questions


def _departures(melody: Melody, labels: tuple[str, ...]) -> str:
    places = []
    found = [departure for reading in read_scales(melody) for departure in reading.departures]
    for departure in found:
        event, pitch = melody.struck[departure.note], melody.pitches[departure.note]
        label = labels[departure.note]
        places.append(f"{melody.place_of(event)}: {label} ({pitch}), {departure.name}")
    places += [f"{melody.place_of(event)}: now {key}" for event, key in melody.keys[1:]]
    return "; ".join(places) or "nowhere"


def _leap(melody: Melody) -> str:
    leaps = [upper - lower for lower, upper in pairwise(melody.pitches)]
    at = max(range(len(leaps)), key=lambda n: abs(leaps[n].semitones))
    start, end = (melody.place_of(event) for event in melody.struck[at : at + 2])
    bar, _, number = start.rpartition("note ")
    same_bar, _, next_number = end.rpartition("note ")
    way = f"{bar}notes {number} and {next_number}" if bar == same_bar else f"{start} to {end}"
    return f"{way}: {interval_words(leaps[at])}"


def _shifts(arrangement: Arrangement) -> str:
    moves = list(_moves(arrangement))
    return "; ".join(moves) or f"nowhere: position {roman(arrangement.positions[0])}"


def _moves(arrangement: Arrangement) -> Iterator[str]:
    melody, positions = arrangement.melody, arrangement.positions
    for note, (before, after) in enumerate(pairwise(positions), start=1):
        if before != after:
            yield f"{melody.place_of(melody.struck[note])}: {roman(before)} to {roman(after)}"
