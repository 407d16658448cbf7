"""A packet: everything for a folder of tunes, in teaching order; a term: the same week by week.

**A packet** has a contents page for the teacher (``contents.html``), a sheet of every tune for
the student and for the teacher (``student/01_name.html``, ``teacher/01_name.html``), and the
measures of all tunes (``measures.csv``); and each kind of copy once more as one silent page, to
print (``student.html``, ``teacher.html``).  Files are numbered by their place in the order for the
ear.  The contents page names what is new in each tune, so it is not for handing out.

**A term.**  The tunes come in the order for the ear, so many a week as were asked for, and what
does not fit into the weeks comes later.  Where the degrees a student knows are given, what is
known counts for nothing, and a tune that would bring more than two new degrees at once waits until
it does not.  A week has a sheet of every tune in the key that suits the hand; each tune as call
and answer; a drill around the degrees that are new in the week (or the first ones of its tunes),
of short phrases of our own, so that it does not print the tunes.  The teacher's copy has the
answers.

Nothing here opens a file: melodies come in, names and texts come out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import PurePath

import numpy as np

from fretpath.errors import RequestError
from fretpath.lesson.drill import LETTERS, Question, cue_of, phrases_for, questions_of
from fretpath.lesson.material import RUNGS, Topic, degree_names
from fretpath.lesson.order import (
    ACCURACY,
    HAND_RANKED,
    Lesson,
    by_ear,
    by_hand,
    in_this_order,
    news,
)
from fretpath.lesson.record import csv_text
from fretpath.lesson.tune import Tune, arrange_in_best_key, named
from fretpath.music.key import Degree
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement, Figures
from fretpath.neck.setup import Setup
from fretpath.page.aloud import with_capitals
from fretpath.page.html import fill_template, mp3_link
from fretpath.page.sheet import Look, Sheet, render_sheet, sound_for
from fretpath.page.sound import SoundPlan, melody_mp3
from fretpath.values import Value

MOST_WEEKS = 52
MOST_TUNES = 12
_NEW_AT_ONCE = 2
_PAIRS = 2


@dataclass(frozen=True)
class Style:
    """How every sheet of a packet looks and sounds."""

    setup: Setup
    """The instrument and hand it is played with."""
    look: Look
    """How its sheets look; their cautions stand once, on the contents page."""
    any_key: bool = False
    """Whether a tune may move to the key and octave that suit the hand best."""
    sound: SoundPlan | None = None
    """How the tunes sound; None for silent sheets."""

    def arrange(self, melodies: Iterable[Melody]) -> tuple[Arrangement, ...]:
        """Each melody fingered in its own key, or in the one that suits the hand best."""
        return tuple(
            arrange_in_best_key(melody, self.setup, any_key=self.any_key) for melody in melodies
        )

    def sheets(self, arrangements: tuple[Arrangement, ...]) -> tuple[str, str]:
        """The student's and the teacher's copy of some tunes, as HTML."""
        sounds = tuple(sound_for(a.melody, self.sound) for a in arrangements if self.sound)
        student, teacher = (
            render_sheet(Sheet(arrangements, copy, self.look, sounds)) for copy in (True, False)
        )
        return student, teacher


def tune_sheets(melody: Melody, style: Style) -> tuple[str, str]:
    """The student's and the teacher's sheet of one tune, as HTML."""
    return style.sheets(style.arrange([melody]))


def whole_print(melodies: Sequence[Melody], style: Style, *, student: bool) -> str:
    """The copies of all tunes as one silent page to be printed."""
    look = replace(style.look, title=style.look.title or "Packet", paper=True)
    return render_sheet(Sheet(style.arrange(melodies), student, look))


_LONGEST_NAME = 200
"""Bytes of a melody's file name that its sheet keeps, so that the system takes it."""


def sheet_name(place: int, name: str) -> str:
    """The file name of a sheet: ``03_ferry_bell.html`` for the third place.

    >>> sheet_name(3, "ferry_bell.txt")
    '03_ferry_bell.html'
    """
    stem = PurePath(name).stem.encode()[:_LONGEST_NAME].decode(errors="ignore")
    return f"{place:02}_{stem}.html"


def contents_page(lessons: Sequence[tuple[int, Lesson]], style: Style) -> str:
    """The contents of a packet as one HTML page; *lessons* with their places."""
    rows = [(place, lesson, sheet_name(place, lesson.tune.name)) for place, lesson in lessons]
    return _page("contents.html", style, "Contents", rows=rows, with_capitals=with_capitals)


def _page(template: str, style: Style, title: str, **words: object) -> str:
    """A page of contents; *title* stands where the packet has none of its own."""
    return fill_template(
        "fretpath.lesson",
        template,
        title=style.look.title or title,
        instrument=style.setup.instrument.name,
        accuracy=ACCURACY,
        news=news,
        **words,
    )


def measures_csv(lessons: Sequence[tuple[int, Lesson]]) -> str:
    """Every measure of every tune: one line a tune, names and units in the first line."""
    tunes = [lesson.tune for _, lesson in lessons]
    hand_places = {tune.name: place for place, (tune, _) in enumerate(by_hand(tunes), start=1)}
    rows: list[Sequence[object]] = [_COLUMNS]
    for place, lesson in lessons:
        tune = lesson.tune
        words = (tune.name, tune.title, tune.key, news(lesson))
        ear = [round(value, 4) for value in asdict(tune.ear).values()]
        hand = _hand_columns(tune.hand)
        rows.append([place, *words, *ear, f"{lesson.rank:.4f}", *hand, hand_places[tune.name]])
    return csv_text(rows)


def _hand_columns(hand: Figures | None) -> list[object]:
    if hand is None:
        return [""] * len(HAND_RANKED)
    figures = (getattr(hand, name) for name in HAND_RANKED)
    return [0.0 if figure is None else round(figure, 1) for figure in figures]


_COLUMNS = (
    "place",
    "file",
    "title",
    "key",
    "new",
    "pitch entropy (bits)",
    "off the key (share)",
    "range (semitones)",
    "largest interval (semitones)",
    "interval entropy (bits)",
    "leaps off the tonic triad (share)",
    "notes",
    "notes a beat",
    "mean rank for the ear",
    "hand travel (mm)",
    "shifts",
    "fastest shift (mm/s)",
    "widest stretch (mm)",
    "place for the hand",
)


# -- a term ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class TermWeek(Value):
    """The plan of one week."""

    number: int
    """From 1."""
    lessons: tuple[Lesson, ...]
    """Its tunes, the easiest first; one or more."""

    @property
    def new_degrees(self) -> list[str]:
        """The plain degrees that the tunes of the week bring, in order of the ladder."""
        return degree_names({topic for lesson in self.lessons for topic in lesson.new})


@dataclass(frozen=True)
class TermPlan(Value):
    """The weeks, and what is in none of them."""

    weeks: tuple[TermWeek, ...]
    """The weeks that have a tune."""
    left_out: tuple[tuple[Tune, str], ...]
    """Each tune that waits, and why."""


def plan_term(
    tunes: Sequence[Tune],
    weeks: int,
    *,
    a_week: int = 3,
    known: Iterable[str] | None = None,
    order: Sequence[str] = (),
) -> TermPlan:
    """The tunes over the weeks.

    *weeks* is 1 to 52, *a_week* (the most tunes in one) 1 to 12; *known* are the plain degrees a
    student knows, None when that does not matter; *order* names files that come first.  Raises
    :class:`RequestError` for numbers out of range and when there is no tune.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise RequestError(f"a term has 1 to {MOST_WEEKS} weeks, not {weeks}")
    if not 1 <= a_week <= MOST_TUNES:
        raise RequestError(f"a week has 1 to {MOST_TUNES} tunes, not {a_week}")
    met = None if known is None else frozenset(map(_known_topic, known))
    lessons = by_ear(tunes, order=order, met=met or ())
    chosen, waiting = _ready(lessons, met)
    later = [
        (lesson.tune, f"comes after these weeks (difficulty {lesson.difficulty})")
        for lesson in chosen[weeks * a_week :]
    ]
    taught = in_this_order(chosen[: weeks * a_week], met or ())
    if not taught:
        first = f": {waiting[0][0].title} {waiting[0][1]}" if waiting else ""
        raise RequestError(f"there is no tune for this term{first}")
    parts = np.array_split(np.arange(len(taught)), min(weeks, len(taught)))
    spread = [
        TermWeek(number, tuple(taught[at] for at in part))
        for number, part in enumerate(parts, start=1)
    ]
    return TermPlan(tuple(spread), (*later, *waiting))


def _known_topic(degree: str) -> Topic:
    plain = Degree.parse(degree).plain
    name = f"degree {plain}"
    return Topic.parse(name if name in RUNGS else "another note off the key")


def _ready(
    lessons: Sequence[Lesson], met: frozenset[Topic] | None
) -> tuple[list[Lesson], list[tuple[Tune, str]]]:
    """The lessons in an order in which none brings too many new degrees, and the tunes that do."""
    if met is None:
        return list(lessons), []
    known, chosen, left = met, [], list(lessons)
    while left:
        fits = (at for at, one in enumerate(left) if len(_brings(one, known)) <= _NEW_AT_ONCE)
        at = next(fits, None)
        if at is None:
            break
        chosen.append(left.pop(at))
        known |= chosen[-1].tune.material
    words = "would bring more than two new degrees at once: "
    return chosen, [(one.tune, words + " ".join(_brings(one, known))) for one in left]


def _brings(lesson: Lesson, known: frozenset[Topic]) -> list[str]:
    return degree_names(lesson.tune.material - known)


# -- a week ----------------------------------------------------------------------------------------


def week_pages(week: TermWeek, melodies: dict[str, Melody], style: Style) -> tuple[str, str]:
    """The student's and the teacher's file of a week, as HTML; *melodies* by file name."""
    names = [lesson.tune.name for lesson in week.lessons]
    arrangements = style.arrange(named(melodies[name], name) for name in names)
    title = f"{style.look.title or 'Lessons'}: week {week.number}"
    sheets = replace(style, look=replace(style.look, title=title)).sheets(arrangements)
    questions = [
        (question, _link(cue_of(question), SoundPlan()) if style.sound else "")
        for question in week_questions(week, arrangements[0])
    ]
    calls = [
        (each.melody.title, _link(each.melody, replace(style.sound, call_and_answer=True)))
        for each in arrangements
        if style.sound
    ]
    student, teacher = (
        _with_drill(
            sheet,
            fill_template(
                "fretpath.lesson",
                "week.html",
                week=week.number,
                student=copy,
                calls=calls,
                questions=questions,
                letters=LETTERS,
            ),
        )
        for sheet, copy in zip(sheets, (True, False), strict=True)
    )
    return student, teacher


def _link(melody: Melody, plan: SoundPlan) -> str:
    return mp3_link(melody_mp3(melody, plan))


def _with_drill(page: str, drill: str) -> str:
    """The drill of the week behind the sheets of a page, its style in the head."""
    style, mark, section = drill.partition("</style>\n")
    page = page.replace("</head>", f"{style}{mark}</head>", 1)
    return page.replace("</main>", f"{section}</main>", 1)


def week_questions(week: TermWeek, arrangement: Arrangement) -> list[Question]:
    """Questions around the degrees that are new in the week, as low as the instrument plays."""
    pairs = week_pairs(week)
    melody = phrases_for(pairs, arrangement.melody.key)
    tonic = arrangement.melody.tonic
    if tonic is not None:
        melody = melody.in_octave(tonic.octave)
    return questions_of(melody, "phrase", draw=week.number, confused=pairs)


def week_pairs(week: TermWeek) -> list[tuple[str, str]]:
    """Two degrees of the week at the most, each with the one it may be heard as.

    A note off the major scale is set against the plain degree, any other against its neighbor.
    """
    used = degree_names({one for lesson in week.lessons for one in lesson.tune.material})
    wanted = [degree for degree in [*week.new_degrees, *used] if degree != "1"]
    ranked = sorted(dict.fromkeys(wanted), key=lambda d: (d not in week.new_degrees, d.isdigit()))
    return [(degree, _like(degree)) for degree in ranked[:_PAIRS]] or [("2", "3")]


def _like(degree: str) -> str:
    plain = Degree.parse(degree)
    return str(plain.number) if plain.alter else str(plain.number + (1 if plain.number < 7 else -1))


# -- contents --------------------------------------------------------------------------------------


def term_contents(
    term: TermPlan,
    style: Style,
    *,
    student: bool,
    named: bool = False,
    unusable: Sequence[str] = (),
) -> str:
    """The contents of a term as one HTML page.

    The teacher's names what is new in each tune and everything left out with its reason;
    *named* says that the title has the student's name already; *unusable* are the files that could
    not be read or played.
    """
    return _page(
        "term.html",
        style,
        "Lessons",
        term=term,
        student=student,
        named=named,
        unusable=unusable,
        week_name=week_name,
    )


def week_name(number: int, *, student: bool) -> str:
    """The file of a week: ``week_2_student.html``."""
    return f"week_{number}_{'student' if student else 'teacher'}.html"
