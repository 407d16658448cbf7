"""The lesson sheet: one HTML file that holds everything, for the student or for the teacher.

**Conventions.**  Both copies come from the same arrangement.  The student's copy has a line for
name and date, leaves out what is to be found (see :mod:`fretpath.page.blanks`), and carries no
answer anywhere: not in text, attributes, comments, drawings or names.  The teacher's copy shows
everything and has its answers on a page of their own.  The file asks for nothing from outside and
needs no script; its sounds are embedded.  Text is escaped by Jinja2; only drawings made by
:mod:`fretpath.page.chart_svg` go in as they are.
"""

from __future__ import annotations

import base64
from dataclasses import dataclass, replace
from functools import cached_property

from fretpath.errors import RequestError
from fretpath.neck.arrangement import Arrangement
from fretpath.page.blanks import NOTHING_HIDDEN, Blanks
from fretpath.page.chart import Chart, melody_chart
from fretpath.page.heading import counted_against, instrument_line, keys_line, legend_lines
from fretpath.page.html import filled
from fretpath.page.questions import Question, questions_about
from fretpath.page.spoken import render_spoken
from fretpath.page.tab import ROWS, Tab

DRONE_SECONDS = 12.0
_NARROW = 44
_WIDE = 92


@dataclass(frozen=True)
class Sheet:
    """What goes on the sheet, and for whom."""

    arrangements: tuple[Arrangement, ...]
    """The tunes, in order."""
    title: str = ""
    """Title of the lesson; empty for none."""
    student: bool = False
    """True for the student's copy, False for the teacher's."""
    hide: Blanks = NOTHING_HIDDEN
    """What the student's copy leaves out."""
    degrees: str = "major"
    """Degrees count against the ``major`` scale or the ``key`` signature."""
    rows: tuple[str, ...] = ROWS
    """Rows around the tab, see :mod:`fretpath.page.tab`."""
    sounds: tuple[bytes, ...] = ()
    """A WAV file for each tune; empty for a silent sheet."""

    def __post_init__(self) -> None:
        if not self.arrangements:
            raise RequestError("a sheet needs at least one tune")
        if self.sounds and len(self.sounds) != len(self.arrangements):
            raise ValueError("one sound for each tune, or none")

    @property
    def tunes(self) -> list[_Tune]:
        """Each tune as the template shows it."""
        hide = self.hide if self.student else NOTHING_HIDDEN
        sounds = self.sounds or (b"",) * len(self.arrangements)
        return [
            _Tune(number, arrangement, hide, self.degrees, self.rows, sound)
            for number, (arrangement, sound) in enumerate(
                zip(self.arrangements, sounds, strict=True), start=1
            )
        ]


@dataclass(frozen=True)
class _Tune:
    """One tune: every property is text for the template."""

    number: int
    arrangement: Arrangement
    hide: Blanks
    degrees: str
    rows: tuple[str, ...]
    mp3: bytes

    @property
    def title(self) -> str:
        return self.arrangement.melody.title or f"Tune {self.number}"

    @property
    def facts(self) -> list[tuple[str, str]]:
        melody = self.arrangement.melody
        facts = [("Key", keys_line(melody))]
        if melody.meters:
            facts.append(("Meter", ", ".join(str(meter) for _, meter in melody.meters)))
        if melody.tempo:
            facts.append(("Tempo", f"{float(melody.tempo):g} beats a minute"))
        if melody.tonic:
            facts.append(("Tonic", str(melody.tonic)))
        facts.append(("Instrument", instrument_line(self.arrangement.instrument)))
        return facts

    @property
    def source(self) -> str:
        return self.arrangement.melody.header("source")

    @property
    def teaches(self) -> str:
        return self.arrangement.melody.header("teaches")

    @property
    def sound(self) -> str:
        return _embedded(self.mp3)

    @property
    def drone(self) -> str:
        tonic = self.arrangement.melody.tonic
        if not self.mp3 or tonic is None:
            return ""
        from fretpath.page.sound import singable, tonic_mp3

        return _embedded(tonic_mp3(singable(tonic.midi), DRONE_SECONDS))

    @property
    def questions(self) -> list[Question]:
        return questions_about(self.arrangement, degrees=self.degrees)

    @cached_property
    def wide(self) -> Tab:
        return Tab(self.arrangement, self.rows, _WIDE, degrees=self.degrees, hide=self.hide)

    @cached_property
    def narrow(self) -> Tab:
        return replace(self.wide, width=_NARROW)

    @property
    def notes_on_reading(self) -> list[str]:
        lines = legend_lines(self.arrangement.melody, self.rows, hidden=self.hide.any)
        if self.arrangement.melody.key:
            lines.append(counted_against(self.degrees))
        sound = "note names as they sound"
        if self.arrangement.instrument.written:
            sound += ", an octave below the written music"
        return [*lines, sound]

    @property
    def spoken(self) -> str:
        return render_spoken(self.arrangement, degrees=self.degrees, hide=self.hide)

    @property
    def chart(self) -> Chart:
        return melody_chart(self.arrangement, degrees=self.degrees, hide=self.hide)

    @property
    def chart_notes(self) -> str:
        marks = self.chart.shown
        if not marks:
            return "Draw where you play it. Frets are spaced as on the neck."
        notes = ["Small numbers are the notes in order.", "Frets are spaced as on the neck."]
        if "degree" in self.hide.kinds:
            notes.insert(0, "Write the degree into each circle.")
        if any(mark.tonic for mark in marks):
            notes.insert(0, "The square is the tonic.")
        return " ".join(notes)


def _embedded(mp3: bytes) -> str:
    return f"data:audio/mpeg;base64,{base64.b64encode(mp3).decode('ascii')}" if mp3 else ""


def render_sheet(sheet: Sheet) -> str:
    """The sheet as one HTML document, complete in itself.

    The student's copy holds no answer anywhere.  Raises :class:`RequestError` for unknown rows.
    """
    from markupsafe import Markup

    tunes = sheet.tunes
    return filled(
        "fretpath.page",
        "sheet.html",
        filters={"drawing": lambda chart: Markup(chart.svg)},
        title=sheet.title or tunes[0].title,
        lesson=sheet.title,
        tunes=tunes,
        student=sheet.student,
        hidden=sheet.hide.any,
    )
