"""The lesson sheet: one HTML file that holds everything, for the student or for the teacher.

**Conventions.**  Both copies come from the same arrangement.  The student's copy has a line for
name and date, asks questions that its page does not answer, and carries no answer anywhere: not
in text, attributes, comments, drawings or names (unless hints are asked for, which stand on a
page of their own).  The teacher's copy shows everything, with the answers under the tune.  A tune
takes one side of A4 or Letter; a long one goes on on another, which names it again.  The file
asks for nothing from outside and needs no script; its sounds are embedded.  Text is escaped by
Jinja2; only our own drawings, and staff notation from the library that engraves it, go in as
they are.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

from fretpath.errors import RequestError
from fretpath.music.melody import Melody
from fretpath.music.words import counted, plural
from fretpath.neck.arrangement import Arrangement
from fretpath.page.aloud import number_words
from fretpath.page.captions import counted_against, keys_line, positions_line
from fretpath.page.chart import Chart, ChartDrawing, chart_svg
from fretpath.page.drawn_tab import DrawnSystem, DrawnTab
from fretpath.page.html import fill_template
from fretpath.page.neck_charts import empty_chart, melody_chart
from fretpath.page.questions import Hint, SheetQuestion, account_lines, hints_about, questions_about
from fretpath.page.rows import EVERYTHING, NOTHING_HIDDEN, Blanks, Subject, render_spoken
from fretpath.page.staff import staff_height
from fretpath.page.tab import ROWS
from fretpath.values import Value, check_fields

if TYPE_CHECKING:
    from fretpath.page.sound import SoundPlan

SHEET_ROWS = tuple(name for name in ROWS if name != "interval")
"""Rows around the drawn tab, unless others are asked for."""
DRONE_SECONDS = 12.0
SIDE_WIDTH, SIDE_HEIGHT = 180.0, 249.0
"""Mm of print on one side: what A4 and Letter both have room for."""
_SCREEN_WIDTH = 92.0
_MM_A_UNIT = 0.2646
"""Of a chart on paper: a CSS pixel."""


@dataclass(frozen=True)
class TuneSound(Value):
    """A tune to listen to, as MP3 files to be embedded."""

    tune: bytes
    """The tune."""
    tonic: bytes | None = None
    """Its tonic, to sing against; None where none is known."""


@dataclass(frozen=True)
class Look(Value):
    """How a sheet looks, and what a student's copy tells; the same for a whole packet."""

    title: str = ""
    """Title of the lesson or term; empty for none."""
    hide: Blanks = EVERYTHING
    """Rows and notes that a student's copy leaves out."""
    degrees: str = "major"
    """Degrees count against the ``major`` scale or the ``key`` signature."""
    rows: tuple[str, ...] = SHEET_ROWS
    """Rows around the tab, see :mod:`fretpath.page.rows`."""
    name_tonic: bool = False
    """Whether a student's copy names the tonic."""
    hints: bool = False
    """Whether a student's copy has a ladder of hints on a page of its own."""
    left_handed: bool = False
    """Whether the neck is drawn with the nut on the right."""
    cautions: bool = True
    """Whether a teacher's copy ends with its cautions."""
    paper: bool = False
    """Whether the page is only to be printed: without sentences, and drawn for paper alone."""


@dataclass(frozen=True)
class Sheet(Value):
    """The contents of a sheet, and for whom it is."""

    arrangements: tuple[Arrangement, ...]
    """The tunes, in order."""
    student: bool = False
    """True for the student's copy, False for the teacher's."""
    look: Look = Look()
    """How it looks."""
    sounds: tuple[TuneSound, ...] = ()
    """The sound of each tune; empty for a silent sheet."""
    staves: tuple[str, ...] = ()
    """Staff notation of each tune as SVG, from :mod:`fretpath.page.staff`; empty for none."""

    def __post_init__(self) -> None:
        check_fields(self)
        if not self.arrangements:
            raise RequestError("a sheet needs at least one tune")
        for each in (self.sounds, self.staves):
            if each and len(each) != len(self.arrangements):
                raise RequestError("a sheet has a sound (and a staff) for each tune, or none")
        hide = self.look.hide
        if self.staves and self.student and ("pitch" in hide.kinds or hide.some_notes):
            raise RequestError(
                "staff notation shows the notes that this copy hides; drop --staff, "
                "or make the teacher's copy (--for teacher)"
            )

    @property
    def tunes(self) -> list[SheetTune]:
        """Each tune as the template shows it."""
        return [SheetTune(self, number) for number in range(len(self.arrangements))]


@dataclass(frozen=True)
class SheetTune:
    """One tune: every property is text or a drawing for the template."""

    sheet: Sheet
    """The sheet."""
    index: int
    """Place of the tune on it, from 0."""

    @property
    def arrangement(self) -> Arrangement:
        """The tune with its fingering."""
        return self.sheet.arrangements[self.index]

    @property
    def hide(self) -> Blanks:
        """Rows and notes that this copy leaves out."""
        return self.sheet.look.hide if self.sheet.student else NOTHING_HIDDEN

    @property
    def title(self) -> str:
        """The title, or the tune's number."""
        return self.arrangement.melody.title or f"Tune {self.index + 1}"

    @property
    def source(self) -> str:
        """Where the tune comes from."""
        return self.arrangement.melody.header("source")

    @property
    def teaches(self) -> str:
        """The use of the tune: the teacher's to know."""
        return self.arrangement.melody.header("teaches")

    @property
    def facts(self) -> str:
        """Everything about the tune in one line; for the student only what gives nothing away."""
        told = self._student_facts() if self.sheet.student else self._teacher_facts()
        return "; ".join(told) + (f". {self._task}" if self.sheet.student else "")

    def _student_facts(self) -> Iterator[str]:
        melody, look = self.arrangement.melody, self.sheet.look
        yield from self._time()
        if melody.key and "pitch" not in self.hide.kinds:
            yield f"key {keys_line(melody)}"
        elif look.name_tonic and melody.tonic:
            yield f"the tonic is {melody.tonic}"
        yield self.arrangement.instrument.name

    def _teacher_facts(self) -> Iterator[str]:
        melody, instrument = self.arrangement.melody, self.arrangement.instrument
        key = keys_line(melody) if melody.key else "no key"
        tonic = [f"tonic {melody.tonic}"] if melody.tonic else []
        yield ", ".join([key, *tonic, *self._time()])
        strings = " ".join(reversed(instrument.string_names))
        capo = f", capo at fret {instrument.capo}" if instrument.capo else ""
        yield f"{instrument.name} ({strings}){capo}"
        yield self._hand
        if self.sheet.look.degrees == "key":
            yield counted_against("key")

    @property
    def _task(self) -> str:
        boxes = self.narrow.boxes
        if boxes and not self.hide.some_notes:
            what = "degree" if boxes == "degree" else "name"
            return f"Listen, sing it, then write the {what} of each note in its box."
        return "Listen, sing it, then fill in what is left out."

    def _time(self) -> Iterator[str]:
        melody = self.arrangement.melody
        if len({meter for _, meter in melody.meters}) > 1:
            yield ", then ".join(str(meter) for _, meter in melody.meters)
        elif melody.meter:
            unit = {2: " half notes", 8: " eighths"}.get(melody.meter.unit, " beats")
            yield f"{number_words(melody.meter.beats)}{unit} in a bar"
        if melody.tempo:
            yield f"{float(melody.tempo):g} beats a minute"

    @property
    def _hand(self) -> str:
        shifts = self.arrangement.figures.shifts
        moves = counted(shifts, "shift") if shifts else "no shift"
        return f"{plural(1 + shifts, 'position')} {positions_line(self.arrangement)}, {moves}"

    @property
    def sound(self) -> TuneSound | None:
        """The tune to listen to; None for a silent sheet."""
        return self.sheet.sounds[self.index] if self.sheet.sounds else None

    # -- words -----------------------------------------------------------------------------------

    @cached_property
    def questions(self) -> tuple[SheetQuestion, ...]:
        """The questions asked: nothing that this student's copy answers itself."""
        kinds = self.sheet.look.hide.kinds
        if self.sheet.student and not {"degree", "pitch"} <= kinds:
            return ()
        return questions_about(self.arrangement.melody, degrees=self.sheet.look.degrees)

    @cached_property
    def accounts(self) -> list[str]:
        """The teacher's words about the scale."""
        said = [question.evidence for question in self.questions if question.evidence]
        told = account_lines(self.arrangement.melody)
        return [line for line in told if not any(words in line for words in said)]

    @property
    def spoken(self) -> list[str]:
        """The tune in sentences."""
        text = render_spoken(self.arrangement, degrees=self.sheet.look.degrees, hide=self.hide)
        return text.splitlines()

    @cached_property
    def hints(self) -> tuple[Hint, ...]:
        """The ladder of hints, where it is asked for."""
        if not (self.sheet.look.hints and self.sheet.student):
            return ()
        return hints_about(self.arrangement.melody, degrees=self.sheet.look.degrees)

    # -- drawings --------------------------------------------------------------------------------

    def _drawn(self, width: float, hide: Blanks) -> DrawnTab:
        arrangement = self.arrangement
        subject = Subject(arrangement, self.sheet.look.degrees, hide=hide)
        return DrawnTab(subject, self.sheet.look.rows, width)

    def wide(self, setting: Setting) -> DrawnTab:
        """The tab as wide as a side."""
        drawn = self._drawn(SIDE_WIDTH, self.hide)
        bars = setting.bars if drawn.boxes else max(setting.bars, 4)
        return replace(drawn, most=bars, string_space=setting.strings)

    @cached_property
    def narrow(self) -> DrawnTab:
        """The tab for a small screen."""
        return self._drawn(_SCREEN_WIDTH, self.hide)

    @cached_property
    def whole(self) -> DrawnTab:
        """The tab with nothing hidden, for the last hint."""
        return self._drawn(SIDE_WIDTH, NOTHING_HIDDEN)

    @property
    def staff(self) -> str:
        """Staff notation as SVG; empty unless it is asked for."""
        return self.sheet.staves[self.index] if self.sheet.staves else ""

    @cached_property
    def chart(self) -> Chart:
        """The places of the tune on the neck, or an empty neck to find them on."""
        look, setup = self.sheet.look, self.arrangement.setup
        if self.sheet.student and "place" in self.hide.kinds:
            chart = empty_chart(setup.instrument, setup.limits.highest_fret)
        else:
            chart = melody_chart(self.arrangement, degrees=look.degrees, hide=self.hide)
        return replace(chart, left_handed=look.left_handed)

    @property
    def chart_drawing(self) -> str:
        """The chart as SVG."""
        return chart_svg(self.chart, titled=False)

    @cached_property
    def chart_size(self) -> tuple[float, float]:
        """Width and height of the chart on paper, in mm."""
        drawing = ChartDrawing(self.chart, titled=False)
        wanted = _MM_A_UNIT if self.chart.marks else 0.8 * _MM_A_UNIT
        scale = min(wanted, SIDE_WIDTH / drawing.width)
        return drawing.width * scale, drawing.height * scale

    @property
    def chart_beside(self) -> bool:
        """Whether the chart has room beside the answers."""
        return not self.sheet.student and self.chart_size[0] <= SIDE_WIDTH * 0.54

    # -- sides of paper --------------------------------------------------------------------------

    @cached_property
    def sides(self) -> Sides:
        """How the tune is spread over paper."""
        return _spread(self)


class Setting(NamedTuple):
    """How tightly a side of paper is set."""

    bars: int
    """Bars a system at the most."""
    strings: float
    """Mm from string to string."""
    gap: float
    """Mm between systems."""
    line: float
    """Mm for an answer."""
    chart: bool = True
    """Whether there is room for the chart."""


_SETTINGS = (
    Setting(2, 3.6, 8.0, 12.0),
    Setting(2, 3.6, 5.0, 10.0),
    Setting(4, 3.6, 8.0, 11.0),
    Setting(4, 3.6, 5.0, 9.0),
    Setting(6, 3.2, 3.5, 8.0),
    Setting(6, 3.0, 2.0, 8.0),
    Setting(6, 3.0, 2.0, 8.0, chart=False),
)
"""From roomy to tight."""
_USUAL = _SETTINGS[3]


@dataclass(frozen=True)
class Sides:
    """A tune spread over sides of paper."""

    systems: tuple[tuple[DrawnSystem, ...], ...]
    """The systems of each side."""
    setting: Setting
    """How tightly everything is set."""
    apart: bool = False
    """Whether what follows the systems begins a side of its own."""


def sound_for(melody: Melody, plan: SoundPlan) -> TuneSound:
    """The tune as sound, and its tonic where one is known."""
    from fretpath.page.sound import melody_mp3, singable, tonic_mp3

    tonic = melody.tonic
    drone = tonic_mp3(singable(tonic.midi), DRONE_SECONDS) if tonic else None
    return TuneSound(melody_mp3(melody, plan), drone)


def _spread(tune: SheetTune) -> Sides:
    """One side, as roomy as it goes; where the tightest has no room, as many as it takes."""
    if _one_side(tune, _SETTINGS[-1]):
        return next(side for setting in _SETTINGS if (side := _one_side(tune, setting)))
    sides: list[list[DrawnSystem]] = [[]]
    room = SIDE_HEIGHT - _head_height(tune)
    for system in tune.wide(_USUAL).systems:
        if sides[-1] and system.height + _USUAL.gap > room:
            sides.append([])
            room = SIDE_HEIGHT - 14
        sides[-1].append(system)
        room -= system.height + _USUAL.gap
    apart = _foot_height(tune, _USUAL) > room
    return Sides(tuple(tuple(side) for side in sides), _USUAL, apart)


def _one_side(tune: SheetTune, setting: Setting) -> Sides | None:
    """Everything on one side in a setting; None where it has no room."""
    systems = tuple(tune.wide(setting).systems)
    used = _head_height(tune) + sum(system.height + setting.gap for system in systems)
    return Sides((systems,), setting) if used + _foot_height(tune, setting) <= SIDE_HEIGHT else None


def _head_height(tune: SheetTune) -> float:
    """Mm above the first system."""
    name = 11.0 if tune.sheet.student else 0.0
    named = tune.sheet.look.title or len(tune.sheet.arrangements) > 1
    lesson = 7.0 if named and tune.index == 0 else 0.0
    staff = staff_height(tune.staff, SIDE_WIDTH) + 3.0 if tune.staff else 0.0
    small = tune.source + tune.teaches * (not tune.sheet.student)
    facts = 6.0 * _lines(tune.facts, 105) + 5.0 * _lines(small, 125)
    return name + lesson + 9.0 * _lines(tune.title, 48) + 1.0 + facts + 3.0 + staff


def _foot_height(tune: SheetTune, setting: Setting) -> float:
    """Mm under the last system."""
    drawn = tune.chart_size[1] + 14.0 if setting.chart else 0.0
    if tune.sheet.student:
        asked = sum(6.0 * _lines(question.text, 90) + setting.line for question in tune.questions)
        return (12.0 + asked) * bool(tune.questions) + drawn
    told = [f"{q.text} {q.answer} {q.evidence}" for q in tune.questions]
    width = 46 if tune.chart_beside else 95
    words = sum(5.4 * _lines(text, width) + 1.5 for text in [*told, *tune.accounts])
    words += 12.0 * (1 + bool(tune.accounts))
    last = tune.index + 1 == len(tune.sheet.arrangements)
    cautions = 18.0 if tune.sheet.look.cautions and last else 0.0
    return (max(words, drawn) if tune.chart_beside else words + drawn) + cautions


def _lines(text: str, width: int) -> int:
    return -(-len(text) // width)


def render_sheet(sheet: Sheet) -> str:
    """The sheet as one HTML document, complete in itself.

    The student's copy holds no answer anywhere.  Raises :class:`RequestError` for unknown rows.
    """
    tunes = sheet.tunes
    return fill_template(
        "fretpath.page",
        "sheet.html",
        title=sheet.look.title or tunes[0].title,
        lesson=sheet.look.title,
        tunes=tunes,
        student=sheet.student,
        cautions=sheet.look.cautions and not sheet.student,
        paper=sheet.look.paper,
    )
