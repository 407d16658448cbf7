"""Text tab, with the count and the spelling in the same columns.

**Conventions.**  String 1 is the top line; each line begins with the name of its string.  Numbers
are frets, 0 is open.  One column holds everything about one note.  Above the tab stand the bar
numbers (a pickup is bar 0) and, in Roman numerals, where the index finger goes when the hand
moves; the count (see :mod:`fretpath.page.counting`) stands right under it.  A rest is ``r`` and a
note held over is ``-`` in the first row of words that is shown.  Bars and counts appear where the
melody has them.  Plain ASCII but for a title that is not.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from fretpath.errors import RequestError, nearest
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.figures import roman
from fretpath.page.blanks import BLANK, NOTHING_HIDDEN, Blanks
from fretpath.page.counting import count_marks, has_rhythm, in_columns, joined
from fretpath.page.grid import BAR_LINE, Block, Row, System, lay_out, room_for
from fretpath.page.heading import (
    degree_labels,
    figures_line,
    header_lines,
    instrument_line,
    legend_lines,
    wrapped,
)

__all__ = ["ROWS", "SPACINGS", "Tab", "degree_labels", "instrument_line", "render_tab"]

ROWS = ("bar", "position", "count", "degree", "interval", "note", "finger")
"""Rows that can stand around the tab, in their order on the page."""
SPACINGS = ("even", "time")
"""How columns are spaced: as narrow as they can be, or in proportion to length."""

_LEAST_WIDTH = 40
_ABOVE = ("bar", "position")
_WORDS = ("degree", "note", "interval", "finger")
_MOST_PER_BEAT = 24


def render_tab(
    arrangement: Arrangement,
    *,
    rows: Sequence[str] = ROWS,
    width: int = 80,
    degrees: str = "major",
    simple: bool = False,
    spacing: str = "even",
    hide: Blanks = NOTHING_HIDDEN,
) -> str:
    """The whole page as text: header, tab with rows, figures; ends with a newline.

    *rows* are names from :data:`ROWS`; *width* is in characters, 40 or more.  *degrees* counts
    them against the ``major`` scale or the ``key`` signature; *simple* prints ``2'`` for 9.
    *spacing* is ``even`` or ``time`` (columns in proportion to length).  *hide* leaves blanks for
    a student, and with them the figures.
    """
    tab = Tab(arrangement, tuple(rows), width, degrees, simple, spacing, hide)
    parts = ["\n".join(tab.header), *tab.systems]
    if not hide.any:
        parts.append("\n".join(tab.figures))
    return "\n\n".join(parts) + "\n"


@dataclass(frozen=True)
class Tab:
    """A tab in its parts, for pages that set them differently."""

    arrangement: Arrangement
    """What is shown."""
    rows: tuple[str, ...] = ROWS
    """Rows around the tab, from :data:`ROWS`."""
    width: int = 80
    """Characters a line, 40 or more."""
    degrees: str = "major"
    """Degrees count against the ``major`` scale or the ``key`` signature."""
    simple: bool = False
    """Whether a ninth is printed ``2'``."""
    spacing: str = "even"
    """One of :data:`SPACINGS`."""
    hide: Blanks = NOTHING_HIDDEN
    """What is left out."""

    def __post_init__(self) -> None:
        unknown = [row for row in self.rows if row not in ROWS]
        if unknown:
            raise RequestError(
                f'unknown row "{unknown[0][:40]}"{nearest(unknown[0], ROWS)} '
                f"(known: {', '.join(ROWS)})"
            )
        if self.width < _LEAST_WIDTH:
            raise RequestError(
                f"a page is at least {_LEAST_WIDTH} characters wide, not {self.width}"
            )
        if self.spacing not in SPACINGS:
            raise RequestError(f'spacing is "even" or "time", not "{self.spacing[:40]}"')

    @property
    def header(self) -> list[str]:
        """Title, key, instrument, conventions and legend, no line wider than the page."""
        lines = header_lines(self.arrangement, self.degrees) + self.legend
        return [part for line in lines for part in wrapped(line, self.width)]

    @property
    def legend(self) -> list[str]:
        """What the signs of this tab mean."""
        return legend_lines(self.arrangement.melody, self._shown, hidden=self.hide.any)

    @property
    def figures(self) -> list[str]:
        """The figures of the fingering, no line wider than the page."""
        return wrapped(figures_line(self.arrangement.figures), self.width)

    @cached_property
    def systems(self) -> list[str]:
        """Each system as lines of text, with a heading where it repeats or continues a bar."""
        systems = lay_out(self._page_rows, self._phrases, width=self.width)
        played: dict[tuple[object, ...], System] = {}
        texts = []
        for system in systems:
            first = played.setdefault(self._music(system), system)
            heading = self._heading(system, first)
            texts.append("\n".join([*heading, *system.lines]))
        return texts

    @cached_property
    def _shown(self) -> list[str]:
        """The rows asked for that this melody can fill."""
        melody = self.arrangement.melody
        absent = set() if melody.bars else {"bar"}
        if not has_rhythm(melody):
            absent.add("count")
        return [row for row in ROWS if row in self.rows and row not in absent]

    @property
    def _rest_row(self) -> str:
        return next((row for row in _WORDS if row in self._shown), "rest")

    @property
    def _page_rows(self) -> list[Row]:
        strings = [
            Row(f"string{number}", name, string=True)
            for number, name in enumerate(self.arrangement.instrument.string_names, start=1)
        ]
        above = [Row(name, name) for name in self._shown if name in _ABOVE]
        below = [Row(name, name) for name in self._shown if name not in _ABOVE]
        rests = [Row("rest", "rest")] if self._rest_row == "rest" else []
        return above + strings + below + rests

    @cached_property
    def _phrases(self) -> list[list[Block]]:
        melody = self.arrangement.melody
        bars = set(melody.bars)
        tokens = list(self._tokens())
        phrases: list[list[Block]] = []
        for span in melody.spans(melody.phrases):
            blocks: list[Block] = []
            for event in span:
                if event in bars and event != span.start:
                    blocks.append(BAR_LINE)
                blocks.append(Block(tokens[event], event))
            phrases.append(blocks)
        return self._in_time(phrases) if self.spacing == "time" else phrases

    def _in_time(self, phrases: list[list[Block]]) -> list[list[Block]]:
        """The same blocks, each as wide as its length asks (as far as the page allows)."""
        melody = self.arrangement.melody
        beats = [note.beats for note in melody.notes]
        room = room_for(self._page_rows, self.width)
        bare = [
            Block({n: t for n, t in (block.tokens or {}).items() if n != "count"}, block.event)
            for phrase in phrases
            for block in phrase
            if block.tokens is not None
        ]
        wanted = max(-int(-(block.needed + 1) // beats[block.event]) for block in bare)
        per_beat = max(4, min(wanted, _MOST_PER_BEAT, int(room // max(beats))))

        def stretched(block: Block) -> Block:
            tokens = dict(block.tokens or {})
            if "count" in tokens:
                tokens["count"] = in_columns(count_marks(melody, block.event), per_beat)
            least = min(round(per_beat * beats[block.event]), room)
            return replace(block, tokens=tokens, least=least)

        return [
            [stretched(block) if block.tokens is not None else block for block in phrase]
            for phrase in phrases
        ]

    def _tokens(self) -> Iterator[dict[str, str]]:
        """What stands in the rows, event by event; only rows that are shown."""
        melody, shown = self.arrangement.melody, set(self._shown)
        labels = degree_labels(melody, degrees=self.degrees, simple=self.simple)
        starts = {0, *melody.bars}
        position = note = 0
        for event, held in enumerate(melody.notes):
            tokens: dict[str, str] = {}
            if held.struck:
                tokens = self._note_tokens(note, labels[note], position)
                if not self.hide.hides("position", note):
                    position = self.arrangement.positions[note]
                note += 1
            else:
                tokens[self._rest_row] = "-" if held.tied else "r"
            if event in starts:
                tokens["bar"] = str(melody.bar_numbers[event])
            tokens["count"] = joined(count_marks(melody, event))
            yield {n: t for n, t in tokens.items() if n in shown or n[:4] in ("stri", "rest")}

    def _note_tokens(self, note: int, degree: str, position: int) -> dict[str, str]:
        fingering, pitches = self.arrangement.fingerings[note], self.arrangement.melody.pitches
        hide = self.hide
        words = {
            "degree": degree,
            "interval": str(pitches[note] - pitches[note - 1]) if note else "",
            "note": str(pitches[note]),
            "finger": str(fingering.finger),
        }
        tokens = {name: BLANK if hide.hides(name, note) else word for name, word in words.items()}
        if not hide.hides("string", note):
            tokens[f"string{fingering.string}"] = str(fingering.fret)
        if not hide.hides("position", note) and fingering.position != position:
            tokens["position"] = roman(fingering.position)
        return tokens

    @cached_property
    def _numbers(self) -> dict[int, int]:
        """Event to number of the struck note, from 0."""
        return {event: note for note, event in enumerate(self.arrangement.melody.struck)}

    def _music(self, system: System) -> tuple[object, ...]:
        """What a system plays, free of how the hand came there: equal for a repeat."""
        arrangement = self.arrangement
        music: list[object] = []
        for block in system.blocks:
            event = block.event
            note = self._numbers.get(event)
            place = None
            if note is not None and not self.hide.tab:
                place = arrangement.fingerings[note]
            melody = arrangement.melody
            key = melody.key_at(max(event, 0))
            music.append((melody.notes[event], place, key) if event >= 0 else None)
        return tuple(music)

    def _heading(self, system: System, first: System) -> list[str]:
        melody = self.arrangement.melody
        start = system.blocks[0].event
        bars = melody.bar_numbers
        lines = [f"now {value}" for value in self._changes.get(start, ())]
        if melody.bars and start and start not in melody.bars and bars[start - 1] == bars[start]:
            lines.append(f"bar {bars[start]}, continued")
        if first is not system and not self.hide.every and not self.hide.all_but_first:
            lines.append(f"the same as {self._name(first)}")
        return [", ".join(lines)] if lines and self._shown else []

    def _name(self, system: System) -> str:
        melody = self.arrangement.melody
        events = [block.event for block in system.blocks if block.tokens is not None]
        if not melody.bars:
            return f"notes {self._count(events[0])} to {self._count(events[-1])}"
        low, high = melody.bar_numbers[events[0]], melody.bar_numbers[events[-1]]
        return f"bar {low}" if low == high else f"bars {low} to {high}"

    def _count(self, event: int) -> int:
        return bisect_right(self.arrangement.melody.struck, event)

    @cached_property
    def _changes(self) -> dict[int, list[str]]:
        """Keys and meters that come into force after the first ones, by event."""
        melody = self.arrangement.melody
        changes: dict[int, list[str]] = {}
        for event, value in (*melody.keys[1:], *melody.meters[1:]):
            changes.setdefault(event, []).append(str(value))
        return changes
