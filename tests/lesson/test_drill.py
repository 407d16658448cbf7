"""Drills can be solved, are the same for the same draw, and keep their answers apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import Degree, Melody, RequestError, arrange, parse_melody
from fretpath.lesson.drill import (
    KINDS,
    Drill,
    Question,
    call_and_answer,
    cue_of,
    drill_key,
    drill_text,
    excerpt,
    parse_confused,
    phrases_for,
    pieces,
    questions_of,
)
from fretpath.lesson.practice import hardest_shift, tempo_ladder
from tests.lesson.tunes import KEYS, OFF_KEY, melody, timed_words

CONFUSED = st.lists(
    st.sampled_from([("3", "b3"), ("4", "#4"), ("5", "4"), ("7", "b7"), ("1", "5")]), max_size=2
)
SUNG = {"sing", "finish"}
WITH_CHOICES = sorted(set(KINDS) - SUNG)


def heights(phrase: Melody) -> list[int]:
    """What is heard, in semitones."""
    return [pitch.midi for pitch in phrase.pitches]


def asked(tune: Melody, kind: str, **more: Any) -> list[Question]:
    """The questions of a kind; none where the tune has nothing to ask about."""
    try:
        return questions_of(tune, kind, **more)
    except RequestError as problem:
        if "nothing to ask" not in str(problem):
            raise
        return []


def from_degrees(line: str, like: Melody) -> list[int]:
    """The heights of a line of degrees in the key and octave of a melody, read anew."""
    words = line.replace("|", " ")
    return heights(parse_melody(words, key=like.key).in_octave(like.octave))


@given(timed_words(), st.sampled_from(KEYS), st.integers(0, 99), st.integers(2, 6), CONFUSED)
@settings(deadline=None, max_examples=60)
def test_exactly_one_phrase_is_the_one_that_sounds(
    words: list[str], key: str, draw: int, choices: int, confused: list[tuple[str, str]]
) -> None:
    tune = melody(" ".join(words), key)
    for question in asked(tune, "phrase", draw=draw, choices=choices, confused=confused):
        heard = [from_degrees(choice, question.sound) for choice in question.choices]
        assert [n for n, one in enumerate(heard) if one == heights(question.sound)] == [
            question.right
        ]
        assert 2 <= len(question.choices) <= choices
        assert len({tuple(one) for one in heard}) == len(heard)
        differing = [len(set(column)) > 1 for column in zip(*heard, strict=True)]
        assert sum(differing) == 1


@given(timed_words(), st.sampled_from(KEYS), st.integers(0, 99), st.sampled_from(WITH_CHOICES))
@settings(deadline=None, max_examples=150)
def test_the_right_choice_is_true_of_the_sound_and_no_other_is(
    words: list[str], key: str, draw: int, kind: str
) -> None:
    """Each kind is answered here from the sound alone, by semitones above the tonic."""
    tune = melody(" ".join(words), key)
    for question in asked(tune, kind, draw=draw):
        sound, tonic = question.sound, question.sound.tonic
        assert tonic is not None
        above = [(height - tonic.midi) % 12 for height in heights(sound)]
        true = [TRUE_OF[kind](choice, question, above) for choice in question.choices]
        assert true.count(True) == 1
        assert true.index(True) == question.right


def _outside(question: Question, above: list[int]) -> bool:
    key = question.sound.key
    assert key is not None
    return not set(above) <= {degree.interval.semitones % 12 for degree in key.scale.degrees}


def _differing(question: Question) -> list[int]:
    written = from_degrees(question.shown, question.sound)
    pairs = zip(written, heights(question.sound), strict=True)
    return [note for note, (a, b) in enumerate(pairs, start=1) if a != b]


def _lydian(question: Question) -> bool:
    """Free of a half step to the fifth, and of the plain fourth beside it."""
    line = " ".join(str(degree) for degree in question.sound.degrees)
    return "#4 5" not in line and "4 #4" not in line and "#4 4" not in line


TRUE_OF: dict[str, Callable[[str, Question, list[int]], bool]] = {
    "phrase": lambda choice, q, _: from_degrees(choice, q.sound) == heights(q.sound),
    "degree": lambda choice, _, above: Degree.parse(choice).interval.semitones % 12 == above[-1],
    "interval": lambda choice, q, _: choice == str(q.sound.pitches[1] - q.sound.pitches[0]),
    "third": lambda choice, _, above: (
        {"major": 4, "minor": 3}[choice] in above and {"major": 3, "minor": 4}[choice] not in above
    ),
    "scale": lambda choice, q, above: (choice == "one outside") == _outside(q, above),
    "lydian": lambda choice, q, _: (choice == "Lydian") == _lydian(q),
    "difference": lambda choice, q, _: (
        choice in ([f"note {n}" for n in _differing(q)] or ["none: it is as written"])
    ),
}


@pytest.mark.parametrize("kind", WITH_CHOICES)
def test_the_tune_itself_is_right_no_more_often_than_chance(kind: str) -> None:
    """Knowing the tune must not help: over many draws every choice is right about as often."""
    tune = melody("1 2 3 4 5 3 2 1")
    questions = [q for draw in range(300) for q in asked(tune, kind, draw=draw, choices=2)]
    own = heights(tune)
    shares = Counter(question.right for question in questions)
    assert min(shares.values()) > 0.4 * len(questions) / len(questions[0].choices)
    as_written = sum(heights(question.sound) == own for question in questions)
    assert as_written < 0.65 * len(questions)


@given(timed_words(), st.integers(0, 5), st.sampled_from(sorted(KINDS)))
@settings(deadline=None, max_examples=30)
def test_the_same_draw_gives_the_same_drill(words: list[str], draw: int, kind: str) -> None:
    tune = melody(" ".join(words))
    assert asked(tune, kind, draw=draw) == asked(tune, kind, draw=draw)


def test_confused_degrees_come_first_among_the_choices() -> None:
    for draw in range(10):
        (question,) = questions_of(melody("1 3 2"), draw=draw, choices=2, confused=[("3", "b3")])
        assert sorted(question.choices) == ["1 3 2", "1 b3 2"]


def test_degrees_stay_close_to_the_note_they_replace() -> None:
    (question,) = questions_of(melody("10 8"), choices=2, confused=[("3", "b3")])
    assert sorted(question.choices) == ["10 8", "b10 8"]


def test_wrong_choices_leap_little_where_the_tune_steps() -> None:
    def widest(line: str) -> int:
        steps = [Degree.parse(word).steps for word in line.split()]
        return max(abs(b - a) for a, b in pairwise(steps))

    tunes = ("1 2 3 4 5 4 3 2 1", "3 2 1 2 3 3 3", "1 2 3 1", "5 6 5 4 3 4 5")
    choices = [
        widest(choice) - widest(tune)
        for tune in tunes
        for draw in range(40)
        for question in questions_of(melody(tune), draw=draw)
        for choice in question.choices
    ]
    # inside a run of steps any other note makes a third; chance brings wider leaps in 140 of 640
    assert sum(farther > 1 for farther in choices) < 0.12 * len(choices)
    assert choices.count(0) > len(choices) / 4  # the tune itself, and others no wider


def test_a_student_who_sings_is_given_no_choice() -> None:
    (sing,) = questions_of(melody("1 2 3 5"), "sing")
    (finish,) = questions_of(melody("1 2 3 5 1"), "finish")
    assert sing.choices == finish.choices == ()
    assert sing.shown == "1 2 3 5"
    assert finish.first is not None
    assert heights(finish.sound)[:3] == heights(finish.first)


@pytest.mark.parametrize(
    ("kind", "text", "message"),
    [("third", "1 2 5", "nothing to ask"), ("chord", "1", "not a kind"), ("interval", "1 1", "no")],
)
def test_what_cannot_be_asked_is_refused(kind: str, text: str, message: str) -> None:
    with pytest.raises(RequestError, match=message):
        questions_of(melody(text), kind)


def test_the_students_page_does_not_tell_and_the_key_does() -> None:
    questions = questions_of(melody("1 2 3 4 5"), draw=3)
    drill = Drill(tuple(questions), "Tune", 3)
    page, key = drill_text(drill), drill_key(drill)
    assert "set 3" in page
    assert "set 3" in key
    moved = replace(drill, questions=tuple(replace(q, right=(q.right + 1) % 4) for q in questions))
    assert drill_text(moved) == page  # nothing on it depends on the answer
    assert f"1. {'ABCD'[questions[0].right]}" in key


def test_the_tonic_sounds_before_every_question() -> None:
    (question,) = questions_of(melody("5 6 5"), draw=2)
    first, silence, *rest = cue_of(question).notes
    assert first.pitch == question.sound.tonic
    assert silence.pitch is None
    assert [note.pitch for note in rest] == list(question.sound.pitches)


@given(st.lists(st.sampled_from((*OFF_KEY, "1", "2", "6")), min_size=1, max_size=3))
@settings(deadline=None, max_examples=20)
def test_phrases_for_confused_degrees_have_them(degrees: list[str]) -> None:
    pairs = [(degree, "5") for degree in degrees]
    found = {degree.plain for degree in phrases_for(pairs, "G minor").degrees if degree}
    assert found >= {*degrees, "5"}


@pytest.mark.parametrize("text", ["3", "3=", "x=y", "#4=b5"])
def test_pairs_that_cannot_be_drilled(text: str) -> None:
    with pytest.raises(RequestError):
        parse_confused(text)


# -- parts of a melody -----------------------------------------------------------------------------


@given(timed_words(most=30), st.lists(st.integers(1, 29), max_size=6))
@settings(deadline=None, max_examples=40)
def test_pieces_cover_the_tune_once(words: list[str], bars: list[int]) -> None:
    marked = [f"| {word}" if n in bars else word for n, word in enumerate(words)]
    tune = melody(" ".join(marked))
    covered = [event for piece in pieces(tune) for event in piece]
    assert covered == list(range(len(tune)))
    for piece in pieces(tune):
        inner = [bar for bar in tune.bars if piece.start < bar < piece.stop]
        assert len(piece) <= 8 or not inner


def test_pieces_hold_eight_notes_and_no_more() -> None:
    assert len(list(pieces(melody("1 2 3 4 | 5 4 3 2")))) == 1
    assert len(list(pieces(melody("1 2 3 4 | 5 4 3 2 1")))) == 2


def test_an_excerpt_keeps_the_key_in_force() -> None:
    tune = parse_melody("key: G major\n\n1 2 3 |\nkey: G natural minor\n1 2 b3 | b6 5")
    part = excerpt(tune, range(3, 8))
    assert [str(degree) for degree in part.degrees] == ["1", "2", "b3", "b6", "5"]
    assert str(part.key) == "G natural minor"
    assert part.bars == (3,)


@given(timed_words(most=8), timed_words(most=8), st.sampled_from(KEYS), st.data())
@settings(deadline=None, max_examples=60)
def test_an_excerpt_keeps_every_note_and_degree_with_its_octave_behind_a_change_of_key(
    words: list[str], more: list[str], key: str, data: st.DataObject
) -> None:
    tune = parse_melody(f"key: G major\n\n{' '.join(words)} |\nkey: {key}\n{' '.join(more)}")
    start = data.draw(st.integers(0, len(tune) - 1))
    stop = data.draw(st.integers(start + 1, len(tune)))
    part = excerpt(tune, range(start, stop))
    inside = [n for n, event in enumerate(tune.struck) if start <= event < stop]
    assert part.pitches == tuple(tune.pitches[n] for n in inside)
    assert part.degrees == tuple(tune.degrees[n] for n in inside)
    assert part.key == tune.key_at(start)


@given(timed_words(most=20), st.lists(st.integers(1, 19), max_size=4))
@settings(deadline=None, max_examples=40)
def test_call_and_answer_leaves_each_call_its_own_length(words: list[str], bars: list[int]) -> None:
    marked = [f"| {word}" if n in bars else word for n, word in enumerate(words)]
    tune = melody(" ".join(marked))
    both = call_and_answer(tune)
    spans = list(both.spans(both.phrases))
    assert both.pitches == tune.pitches
    for span in spans:
        called = [both.notes[i].beats for i in span if both.notes[i].pitch]
        silent = [both.notes[i].beats for i in span if not both.notes[i].pitch]
        assert sum(called) == sum(silent)


# -- the hand --------------------------------------------------------------------------------------

WIDE = "tempo: 120\n\n1 2 3 5 8 10 12 15 17 15 12 10 8 5 3 1"


def test_the_loop_holds_the_fastest_shift_and_its_fingering() -> None:
    arrangement = arrange(parse_melody(WIDE, key="F"), "bass")
    loop = hardest_shift(arrangement)
    assert loop is not None
    assert loop.speed == pytest.approx(arrangement.figures.fastest_shift)
    again = arrange(loop.melody, "bass")
    pairs = list(zip(arrangement.strings, arrangement.frets, strict=True))
    inside = list(zip(again.strings, again.frets, strict=True))
    assert any(pairs[n : n + len(inside)] == inside for n in range(len(pairs)))
    assert 2 <= len(inside) <= 6


def test_no_shift_no_loop() -> None:
    assert hardest_shift(arrange(melody("1 2 3"), "bass")) is None


@given(st.floats(50, 2000), st.integers(1, 12))
@settings(deadline=None, max_examples=30)
def test_the_ladder_stops_where_the_fastest_shift_reaches_the_limit(
    limit: float, rungs: int
) -> None:
    arrangement = arrange(parse_melody(WIDE, key="F"), "bass")
    ladder = tempo_ladder(arrangement, limit=limit, rungs=rungs)
    assert list(ladder.tempos) == sorted(set(ladder.tempos))
    assert ladder.speeds[-1] <= limit
    speed = arrangement.figures.fastest_shift
    assert speed is not None
    next_tempo = ladder.tempos[-1] + 1
    assert speed * next_tempo / 120 > limit or next_tempo > 240
    # each speed is that of the same fingering played at that tempo
    for tempo, expected in zip(ladder.tempos, ladder.speeds, strict=True):
        melody_then = replace(arrangement.melody, tempo=Fraction(tempo))
        figures = replace(arrangement, melody=melody_then).figures
        assert figures.fastest_shift == pytest.approx(expected)


@pytest.mark.parametrize("limit", [0, -1, float("nan"), float("inf")])
def test_a_limit_that_is_no_speed(limit: float) -> None:
    with pytest.raises(RequestError, match="above 0"):
        tempo_ladder(arrange(melody("1 2")), limit=limit)


def test_no_phrase_runs_from_the_first_ending_into_the_second() -> None:
    tune = melody("|: 1 2 | 3 2 | [1 3 6 :| [2 3, 1, ]")
    assert [list(piece) for piece in pieces(tune)] == [[0, 1, 2, 3, 4, 5], [6, 7]]
