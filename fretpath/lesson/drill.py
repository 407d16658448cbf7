"""Drills for the ear: questions that sound, made from a tune or from what a student confuses.

**Theory.**  A question sounds one of its choices, drawn evenly, so what the tune has there is
right no more often than any other choice, and knowing the tune does not help.  The choices differ
in one thing, first in what this student confuses.  Exactly one choice is right by its sound:
sounds of the same pitches count as the same.

**Conventions.**  Whatever is drawn by lot depends on a number alone, the *draw*, which stands on
the page: the same draw gives the same drill.  Pitches stand in the octave of the melody given.

**Pages.**  As HTML a drill is one file without anything from elsewhere: the sounds lie in it, a
tick is told right or wrong at once, and printed it is a paper with its answer key on a page of its
own.  As text the key is a page of its own too: the student's page never tells which is right.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from itertools import islice, pairwise
from typing import Any

from fretpath.errors import RequestError
from fretpath.lesson.tune import check_tune
from fretpath.music.calls import with_answers
from fretpath.music.key import Degree, Key
from fretpath.music.melody import Melody, Note
from fretpath.music.notation import parse_melody
from fretpath.music.pitch import Pitch
from fretpath.page.html import fill_template, mp3_link
from fretpath.page.sound import melody_mp3
from fretpath.page.tables import wrap
from fretpath.values import Value, to_dict

Confused = Sequence[tuple[str, str]]

KINDS = {
    "phrase": "Which phrase do you hear?",
    "degree": "Which degree is the last note?",
    "interval": "Which interval do you hear, from the first note to the second?",
    "third": "Is the third major or minor?",
    "scale": "Is every note in the scale, or is one outside?",
    "lydian": "Is the #4 at home (Lydian), or only passing?",
    "difference": "Which note is not as written?",
    "sing": "Sing it from the tonic, then listen.",
    "finish": "Sing or play how it ends, then listen to the whole.",
}
"""Every kind of question about a sound, and what it asks."""
MOST_QUESTIONS = 12
LETTERS = "ABCDEFGHIJKLM"
"""The names of the choices."""


@dataclass(frozen=True)
class Question(Value):
    """Something that sounds, and what may be answered."""

    kind: str
    """One of :data:`KINDS`."""
    place: str
    """Where in the tune it comes from; empty for phrases of our own."""
    sound: Melody
    """The phrase that is played, after the tonic."""
    choices: tuple[str, ...]
    """The answers to choose from; none where the student sings."""
    right: int
    """Index of the right choice; 0 where there are none."""
    told: str
    """The answer in words: what was heard."""
    shown: str = ""
    """Degrees that the student may see while listening; empty for none."""
    first: Melody | None = None
    """The beginning played before the student sings, where that is not just the tonic."""

    @property
    def ask(self) -> str:
        """The question the student is asked."""
        return KINDS[self.kind]


def questions_of(
    melody: Melody,
    kind: str = "phrase",
    *,
    draw: int = 1,
    choices: int = 4,
    confused: Confused = (),
) -> list[Question]:
    """Questions of one kind, 12 at the most, one for each short phrase that allows one.

    *choices* is 2 to 6.  *confused* pairs of degrees are used first: where a phrase has one of
    them, a wrong choice has the other.  Raises :class:`RequestError` for a kind that does not
    exist, and where the melody has nothing to ask for.

    >>> (question,) = questions_of(parse_melody("key: G\\n\\n1 3 5"), "third", draw=2)
    >>> question.choices, question.told
    (('major', 'minor'), 'major: 3')
    """
    check_tune(melody, melody.title or "the melody")
    if kind not in KINDS:
        raise RequestError(f'"{kind[:20]}" is not a kind of drill ({", ".join(KINDS)})')
    if not 2 <= choices <= 6:
        raise RequestError(f"a question has 2 to 6 choices, not {choices}")
    lot = _Lot(random.Random(f"{draw} {kind}"), choices, confused)
    if kind == "lydian":
        return list(_lydian(melody, lot))
    make = _MAKERS[kind]
    each = (
        question
        for events in pieces(melody)
        for question in make(excerpt(melody, events), melody.place_of(events.start), lot)
    )
    asked = list(islice(each, MOST_QUESTIONS))
    if not asked:
        raise RequestError(f"the melody has nothing to ask a question of the kind {kind} about")
    return asked


@dataclass(frozen=True)
class _Lot:
    """All that the drawing of a question depends on."""

    random: random.Random
    choices: int
    confused: Confused

    def one_of(self, answers: Sequence[object]) -> int:
        return self.random.randrange(len(answers))


# -- pieces of a melody ----------------------------------------------------------------------------


def excerpt(melody: Melody, events: range) -> Melody:
    """The events of a range as a melody; a tie at its start becomes a struck note."""
    return replace(melody.part(events), headers=())


def pieces(melody: Melody, *, most: int = 8) -> Iterator[range]:
    """Ranges of events short enough to keep in the ear: whole bars of one phrase.

    A piece holds at most *most* struck notes unless a single bar has more; phrases are cut only
    at bar lines that a struck note follows, and before a second ending, which does not follow the
    first.  Pieces without a note are left out.
    """
    apart = {event for repeat in melody.repeats for event in repeat.endings[1:]}
    for phrase in melody.spans(tuple(sorted({*melody.phrases, *apart}))):
        start = phrase.start
        marks = [*_breaks(melody, phrase), phrase.stop]
        for mark, following in zip(marks, [*marks[1:], None], strict=True):
            if following and _struck(melody, range(start, following)) <= most:
                continue
            if _struck(melody, range(start, mark)):
                yield range(start, mark)
            start = mark


def _breaks(melody: Melody, phrase: range) -> list[int]:
    return [
        at for at in melody.bars if at in phrase and at > phrase.start and melody.notes[at].struck
    ]


def _struck(melody: Melody, events: range) -> int:
    return sum(melody.notes[event].struck for event in events)


def degree_line(melody: Melody) -> str:
    """The degrees of the struck notes with the bar lines between them, lengths left out.

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


# -- what a note may be taken for ------------------------------------------------------------------


def _with_degree(phrase: Melody, note: int, degree: Degree) -> Melody:
    """The phrase with one struck note on another degree."""
    event = phrase.struck[note]
    tonic = phrase.tonic_at(event)
    assert tonic is not None
    notes = list(phrase.notes)
    for at in range(event, len(notes)):
        if at > event and not notes[at].tied:
            break
        notes[at] = replace(notes[at], pitch=tonic + degree.interval, placement=None)
    return replace(phrase, notes=tuple(notes))


def _degrees(phrase: Melody) -> list[Degree]:
    """The degrees of the struck notes; a melody that is asked about has a key."""
    return [degree for degree in phrase.degrees if degree is not None]


def _taken_for(phrase: Melody, note: int, confused: Confused) -> list[Degree]:
    """Notes a student may take a note for, as near as it lies: what is confused comes first."""
    degree = _degrees(phrase)[note]
    both_ways = sorted({*confused, *((b, a) for a, b in confused)})
    found = []
    for ours, theirs in both_ways:
        if degree.plain == ours:
            wanted = Degree.parse(theirs)
            way = (wanted.steps - degree.steps + 3) % 7 - 3
            found.append(Degree(degree.steps + way, wanted.alter))
    return found


def _near(phrase: Melody, note: int) -> list[Degree]:
    """The degrees of the key up to a fourth above and below a note, the nearest first."""
    degree, key = _degrees(phrase)[note], phrase.key_at(phrase.struck[note])
    assert key is not None
    near = [
        Degree(steps, own.alter)
        for steps in range(degree.steps - 3, degree.steps + 4)
        for own in key.scale.degrees
        if own.steps == steps % 7
    ]
    return sorted(near, key=lambda other: abs(other.steps - degree.steps))


def _farther(phrase: Melody, note: int, degree: Degree) -> int:
    """How many steps farther than now the widest move of the phrase would be with a degree."""
    before = [own.steps for own in _degrees(phrase)]
    after = [*before[:note], degree.steps, *before[note + 1 :]]
    widest = (max((abs(b - a) for a, b in pairwise(line)), default=0) for line in (after, before))
    return max(0, next(widest) - next(widest))


def _others(phrase: Melody, note: int, lot: _Lot, count: int) -> list[Degree]:
    """Up to *count* degrees a note may be taken for, all sounding apart from it and each other.

    Those come first with which the phrase leaps no farther than it does.
    """
    farther = partial(_farther, phrase, note)
    near = sorted(_near(phrase, note), key=farther)
    close, far = near[: lot.choices + 1], near[lot.choices + 1 :]
    lot.random.shuffle(close)
    close.sort(key=farther)
    heard = {_degrees(phrase)[note].interval.semitones}
    found: list[Degree] = []
    for degree in [*_taken_for(phrase, note, lot.confused), *close, *far]:
        if len(found) < count and degree.interval.semitones not in heard:
            heard.add(degree.interval.semitones)
            found.append(degree)
    return found


def _note_to_ask(phrase: Melody, lot: _Lot) -> int:
    """A note that this student confuses, or any."""
    count = len(phrase.pitches)
    likely = [note for note in range(count) if _taken_for(phrase, note, lot.confused)]
    return lot.random.choice(likely or range(count))


# -- the kinds -------------------------------------------------------------------------------------


def _phrase(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    note = _note_to_ask(phrase, lot)
    others = [_with_degree(phrase, note, d) for d in _others(phrase, note, lot, lot.choices - 1)]
    shown = [phrase, *others]
    lot.random.shuffle(shown)
    lines = tuple(map(degree_line, shown))
    right = lot.one_of(lines)
    yield Question("phrase", place, shown[right], lines, right, lines[right])


def _degree(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    note = _note_to_ask(phrase, lot)
    heard = excerpt(phrase, range(phrase.struck[note] + 1)) if note else phrase
    note = min(note, len(heard.pitches) - 1)
    degrees = [_degrees(heard)[note], *_others(heard, note, lot, lot.choices - 1)]
    answers = sorted({degree.plain: degree for degree in degrees}.values())
    names = tuple(degree.plain for degree in answers)
    right = lot.one_of(names)
    sound = excerpt(_with_degree(heard, note, answers[right]), range(heard.struck[note] + 1))
    yield Question("degree", place, sound, names, right, degree_line(sound))


def _interval(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    moving = [n for n, (a, b) in enumerate(_steps(phrase)) if a.midi != b.midi]
    if not moving:
        return
    note = lot.random.choice(moving)
    pair = excerpt(phrase, range(phrase.struck[note], phrase.struck[note + 1] + 1))
    degrees = [_degrees(pair)[1], *_others(pair, 1, lot, lot.choices - 1)]
    sounds = [_with_degree(pair, 1, degree) for degree in degrees]
    heard = {str(b - a): s for s in sounds for a, b in _steps(s) if a.midi != b.midi}
    names = tuple(sorted(heard, key=lambda name: heard[name].pitches[1].midi))
    if len(names) > 1:
        right = lot.one_of(names)
        sound = heard[names[right]]
        yield Question(
            "interval", place, sound, names, right, f"{names[right]}: {degree_line(sound)}"
        )


def _steps(phrase: Melody) -> list[tuple[Pitch, Pitch]]:
    return list(pairwise(phrase.pitches))


def _third(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    if not any(degree.plain in ("3", "b3") for degree in _degrees(phrase)):
        return
    names = ("major", "minor")
    right = lot.one_of(names)
    for note, degree in enumerate(_degrees(phrase)):
        if degree.plain in ("3", "b3"):
            phrase = _with_degree(phrase, note, Degree(degree.steps, -right))
    told = f"{names[right]}: {('3', 'b3')[right]}"
    yield Question("third", place, phrase, names, right, told)


def _scale(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    key = phrase.key
    assert key is not None
    inside = {degree.interval.semitones % 12 for degree in key.scale.degrees}
    if any(degree.interval.semitones % 12 not in inside for degree in _degrees(phrase)):
        return
    note = _note_to_ask(phrase, lot)
    degree = _degrees(phrase)[note]
    outside = [
        Degree(degree.steps, degree.alter + by)
        for by in (1, -1)
        if (degree.interval.semitones + by) % 12 not in inside
    ]
    names = ("all in the scale", "one outside")
    right = lot.one_of(names)
    told = f"every note is in the scale: {degree_line(phrase)}"
    if right and outside:
        phrase = _with_degree(phrase, note, lot.random.choice(outside))
        told = f"{_degrees(phrase)[note].plain} is outside: {degree_line(phrase)}"
    elif right:
        return
    yield Question("scale", place, phrase, names, right, told)


def _difference(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    count = len(phrase.pitches)
    if not 2 <= count <= MOST_QUESTIONS:
        return
    names = (*(f"note {n + 1}" for n in range(count)), "none: it is as written")
    right = lot.one_of(names)
    sound, told = phrase, f"as written: {degree_line(phrase)}"
    if right < count:
        others = _taken_for(phrase, right, lot.confused) or _others(phrase, right, lot, 2)
        sound = _with_degree(phrase, right, lot.random.choice(others))
        told = f"{_degrees(sound)[right]} sounds for {_degrees(phrase)[right]}"
    yield Question("difference", place, sound, names, right, told, shown=degree_line(phrase))


def _sing(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    line = degree_line(phrase)
    yield Question("sing", place, phrase, (), 0, line, shown=line)


def _finish(phrase: Melody, place: str, lot: _Lot) -> Iterator[Question]:
    count = len(phrase.pitches)
    if count >= 3:
        left = 2 if count > 4 else 1
        begin = excerpt(phrase, range(phrase.struck[count - left]))
        yield Question("finish", place, phrase, (), 0, degree_line(phrase), first=begin)


_MAKERS: dict[str, Callable[[Melody, str, _Lot], Iterator[Question]]] = {
    "phrase": _phrase,
    "degree": _degree,
    "interval": _interval,
    "third": _third,
    "scale": _scale,
    "difference": _difference,
    "sing": _sing,
    "finish": _finish,
}

_AT_HOME = ("1 3 #4 6 5", "5 3 #4 2 1", "1 2 3 #4 3", "8 7 6 #4 3 1", "1 #4 3 5 1", "3 #4 6 8 5")
_PASSING = ("1 3 4 #4 5", "5 #4 5 3 1", "8 6 5 #4 5 1", "1 5 #4 4 3", "3 4 #4 5 8", "5 #4 4 2 1")


def _lydian(melody: Melody, lot: _Lot) -> Iterator[Question]:
    """Phrases of our own in the key of the melody, with a #4 of either kind."""
    names = ("Lydian", "passing")
    kinds = [lot.one_of(names) for _ in range(6)]
    lines = [list(_AT_HOME), list(_PASSING)]
    for kind in lines:
        lot.random.shuffle(kind)
    for right in kinds:
        line = lines[right].pop()
        sound = _in_key(line, melody)
        yield Question("lydian", "", sound, names, right, f"{names[right]}: {line}")


def _in_key(line: str, melody: Melody) -> Melody:
    assert melody.key is not None
    own = parse_melody(line, key=Key(melody.key.tonic, "major"))
    return replace(own.in_octave(melody.octave), tempo=melody.tempo)


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
            raise RequestError(f'"{word[:20]}" is not a pair; write two degrees such as 3=b3')
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
    starts = [events.start for events in pieces(melody)]
    short = replace(melody, phrases=tuple(sorted({*melody.phrases, *starts[1:]} - {0})))
    title = f"{melody.title}: call and answer" if melody.title else "Call and answer"
    return replace(with_answers(short), title=title, headers=(), meters=())


# -- a whole drill --------------------------------------------------------------------------------

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


def cue_of(question: Question) -> Melody:
    """The sounds of a question: the tonic, a beat of silence, then its phrase."""
    return _after_tonic(question.first or question.sound)


def _after_tonic(melody: Melody) -> Melody:
    before = (Note(melody.tonic, _TONIC), Note(None, _SILENCE))
    return Melody(
        (*before, *melody.clock.notes),
        keys=((0, melody.keys[0][1]),),
        octave=melody.octave,
        tempo=melody.tempo,
    )


# -- on paper and on a page ------------------------------------------------------------------------


def drill_text(drill: Drill) -> str:
    """The questions as a student sees them."""
    lines = [
        f"LISTEN  {drill.title}".rstrip(),
        f"(set {drill.draw}; degrees count against the major scale; answers on their own page)",
        "Name: ____________________  Date: ____________",
    ]
    for number, question in enumerate(drill.questions, start=1):
        lines += ["", *wrap(f"{number}. {question.ask}", hanging="   ")]
        if question.shown:
            lines += wrap(question.shown, indent="   ")
        for letter, choice in zip(LETTERS, question.choices, strict=False):
            lines += wrap(f"{letter}   {choice}", indent="   ", hanging="    ")
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
        lines += wrap(" ".join(map(str, question.sound.pitches)), indent="   ")
    return "\n".join(lines) + "\n"


def answer(question: Question) -> str:
    """The right answer in words: its letter, and what was heard."""
    return f"{LETTERS[question.right]}: {question.told}" if question.choices else question.told


def drill_data(drill: Drill) -> dict[str, Any]:
    """The questions with their answers as plain data."""
    questions = [
        {
            **to_dict(question),
            "ask": question.ask,
            "letter": LETTERS[question.right] if question.choices else None,
            "play": [str(pitch) for pitch in question.sound.pitches],
        }
        for question in drill.questions
    ]
    return {"draw": drill.draw, "questions": questions}


def drill_html(drill: Drill) -> str:
    """The questions as one HTML file that sounds."""
    questions = [(question, *_links(question)) for question in drill.questions]
    return fill_template(
        "fretpath.lesson", "drill.html", drill=drill, questions=questions, letters=LETTERS
    )


def _links(question: Question) -> tuple[str, str]:
    """The sound at first, and the one a student who sings hears at the end; else empty."""
    cue, whole = cue_of(question), _after_tonic(question.sound)
    if question.kind == "sing":
        cue = replace(whole, notes=whole.notes[:1])
    return _link(cue), "" if question.choices else _link(whole)


def _link(melody: Melody) -> str:
    return mp3_link(melody_mp3(melody))
