"""A packet: everything for a folder of tunes, in teaching order.

**What is in it.**  A contents page for the teacher (``contents.html``), a sheet of every tune for
the student and for the teacher (``student/01_name.html``, ``teacher/01_name.html``), and the
measures of all tunes (``measures.csv``); and each kind of copy once more as one silent page, to
print (``student.html``, ``teacher.html``).  Files are numbered by their place in the order for the
ear.  The contents page names what is new in each tune, so it is not for handing out.

Nothing here opens a file: melodies come in, names and texts come out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import PurePath

from fretpath.lesson.order import ACCURACY, HAND_RANKED, Lesson, by_hand, news
from fretpath.lesson.record import csv_text
from fretpath.lesson.tune import arrange_in_best_key
from fretpath.music.melody import Melody
from fretpath.neck.arrangement import Arrangement, Figures
from fretpath.neck.setup import Setup
from fretpath.page.aloud import with_capitals
from fretpath.page.html import fill_template
from fretpath.page.sheet import Look, Sheet, render_sheet, sound_for
from fretpath.page.sound import SoundPlan


@dataclass(frozen=True)
class Style:
    """How every sheet of a packet looks and sounds."""

    setup: Setup
    """What it is played on."""
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
    return fill_template(
        "fretpath.lesson",
        "contents.html",
        title=style.look.title or "Contents",
        instrument=style.setup.instrument.name,
        accuracy=" ".join(ACCURACY.split()),
        rows=[
            {
                "place": place,
                "title": lesson.tune.title,
                "key": with_capitals(lesson.tune.key),
                "news": news(lesson),
                "placed": lesson.placed,
                "sheet": sheet_name(place, lesson.tune.name),
            }
            for place, lesson in lessons
        ],
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
