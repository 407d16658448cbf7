"""Drills for the ear, made from a tune or from the degrees a student takes for one another.

**Theory.**  A look-alike question plays one short phrase and shows several; each wrong one
differs from the right one in a single degree, at the same note, so that this degree must be heard
and no comparing of the choices gives the answer away.  Call and answer
gives each phrase and leaves its own length free for the student.

**Conventions.**  Whatever is drawn by lot depends on a number alone, the *draw*, which stands on
the page: the same draw gives the same drill.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from fretpath.errors import RequestError
from fretpath.lesson.excerpt import excerpt, pieces
from fretpath.lesson.folder import check_tune
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody, Note
from fretpath.music.notation import parse_melody

Confused = Sequence[tuple[str, str]]


# -- look-alikes -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Question:
    """One phrase to be heard, and several to choose from."""

    place: str
    """Where in the tune the phrase begins."""
    choices: tuple[Melody, ...]
    """What the student sees; no two sound alike."""
    right: int
    """Index of the choice that is played."""

    @property
    def sound(self) -> Melody:
        """What is played."""
        return self.choices[self.right]


def look_alikes(
    melody: Melody, *, draw: int = 1, choices: int = 4, confused: Confused = ()
) -> list[Question]:
    """A question for each short phrase of the melody; see :class:`Question`.

    *choices* is 2 to 6.  *confused* pairs of degrees are used first: where the phrase has one of
    them, a wrong choice has the other.
    """
    check_tune(melody, melody.title or "the melody")
    if not 2 <= choices <= 6:
        raise RequestError(f"a question has 2 to 6 choices, not {choices}")
    lot = random.Random(draw)
    questions = []
    for events in pieces(melody):
        phrase = excerpt(melody, events)
        wrong = _wrong_phrases(phrase, lot, choices - 1, confused)
        right = lot.randrange(len(wrong) + 1)
        shown = (*wrong[:right], phrase, *wrong[right:])
        questions.append(Question(melody.place_of(events.start), shown, right))
    return questions


def _wrong_phrases(
    phrase: Melody, lot: random.Random, count: int, confused: Confused
) -> list[Melody]:
    """Phrases that differ from ``phrase`` in one note, each sounding unlike all others.

    It is the same note in all of them, so that comparing the choices does not give the right one
    away.
    """
    likely = _confusing(phrase, confused)
    note = lot.choice(sorted(likely) or range(len(phrase.pitches)))
    near = list(_neighbours(phrase, note))
    lot.shuffle(near)
    near.sort(key=lambda degree: _letters_between(degree, phrase.degrees[note]) > 2)
    heard = {_heard(phrase)}
    found: list[Melody] = []
    for degree in [*likely.get(note, []), *near]:
        other = _with_degree(phrase, note, degree)
        if len(found) < count and _heard(other) not in heard:
            heard.add(_heard(other))
            found.append(other)
    lot.shuffle(found)
    return found


def _letters_between(one: Degree, other: Degree | None) -> int:
    return abs(one.steps - other.steps) if other else 0


def _heard(phrase: Melody) -> tuple[int, ...]:
    return tuple(pitch.midi for pitch in phrase.pitches)


def _confusing(phrase: Melody, confused: Confused) -> dict[int, list[Degree]]:
    """For each note of a confused degree, the degrees it is taken for, as near as they lie."""
    both_ways = sorted({*confused, *((b, a) for a, b in confused)})
    found: dict[int, list[Degree]] = {}
    for note, degree in enumerate(phrase.degrees):
        for ours, theirs in both_ways:
            if degree and degree.plain == ours:
                wanted = Degree.parse(theirs)
                way = (wanted.steps - degree.steps + 3) % 7 - 3
                found.setdefault(note, []).append(Degree(degree.steps + way, wanted.alter))
    return found


def _neighbours(phrase: Melody, note: int) -> Iterator[Degree]:
    """The degrees of the key up to a fourth above and below a note, its own number included."""
    degree, key = phrase.degrees[note], phrase.key_at(phrase.struck[note])
    assert degree is not None
    assert key is not None
    for steps in range(degree.steps - 3, degree.steps + 4):
        for own in key.scale.degrees:
            if own.steps == steps % 7:
                yield Degree(steps, own.alter)


def _with_degree(phrase: Melody, note: int, degree: Degree) -> Melody:
    event = phrase.struck[note]
    tonic = phrase.tonic_at(event)
    assert tonic is not None
    notes = list(phrase.notes)
    for at in range(event, len(notes)):
        if at > event and not notes[at].tied:
            break
        notes[at] = replace(notes[at], pitch=tonic + degree.interval, placement=None)
    return replace(phrase, notes=tuple(notes))


# -- from confusions -------------------------------------------------------------------------------


def parse_confused(text: str) -> list[tuple[str, str]]:
    """Pairs of degrees taken for one another, such as ``3=b3 4=#4``.

    >>> parse_confused("3=b3 4=#4")
    [('3', 'b3'), ('4', '#4')]
    """
    pairs = []
    for word in text.replace(",", " ").split():
        ours, sign, theirs = word.partition("=")
        if not sign:
            raise RequestError(f'"{word[:20]}" is no pair; write two degrees such as 3=b3')
        pair = (Degree.parse(ours).plain, Degree.parse(theirs).plain)
        if Degree.parse(pair[0]).interval.semitones == Degree.parse(pair[1]).interval.semitones:
            raise RequestError(f'"{word[:20]}": the two degrees sound the same')
        pairs.append(pair)
    return pairs


def phrases_for(confused: Confused, key: str | Key | None = None) -> Melody:
    """Short phrases of our own around each confused degree: by steps, then by leap."""
    if not confused:
        raise RequestError("no melody and no confused degrees: give one of them")
    lines = []
    for degree in dict.fromkeys(degree for pair in confused for degree in pair):
        below = range(1, Degree.parse(degree).number)
        climb = " ".join(map(str, below))
        back = " ".join(map(str, reversed(below)))
        lines.append(f"{climb} {degree} {back}".strip() if climb else "1 2 1 7, 1")
        lines.append(f"1 {degree} 1 5 {degree} 1")
    return parse_melody("\n".join(lines), key=key or "C major")


# -- call and answer -------------------------------------------------------------------------------


def call_and_answer(melody: Melody) -> Melody:
    """Each short phrase followed by rests of its length, bar for bar, as one melody."""
    check_tune(melody, melody.title or "the melody")
    notes: list[Note] = []
    bars: list[int] = []
    phrases: list[int] = []
    keys: list[tuple[int, Key]] = []
    for events in pieces(melody):
        call = excerpt(melody, events)
        silence = [
            Note(None, sum((call.notes[i].beats for i in span), Fraction(0)))
            for span in call.spans(call.bars)
        ]
        start, answer = len(notes), len(notes) + len(call)
        if call.key and (not keys or keys[-1][1] != call.key):
            keys.append((start, call.key))
        phrases.extend((start, answer))
        bars.extend((start, *(start + mark for mark in call.bars)))
        bars.extend(range(answer, answer + len(silence)))
        notes.extend((*call.notes, *silence))
    return replace(
        melody,
        notes=tuple(notes),
        keys=tuple(keys),
        meters=(),
        bars=tuple(bars[1:]) if melody.bars else (),
        phrases=tuple(phrases[1:]),
        title=f"{melody.title}: call and answer" if melody.title else "Call and answer",
        headers=(),
    )
