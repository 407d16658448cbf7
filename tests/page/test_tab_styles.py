"""Tab as forums have it, drawn: any mixture of habits is read to the same places, or told.

The generator writes known places in the habits of the trade: names of strings or none, bar lines
or none, other dashes, quoting, web code, words behind and around, marks between the numbers,
strings left out, the low string on top, several systems.  All habits are common practice.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from hypothesis import given, settings
from hypothesis import strategies as st

from fretpath import FretpathError, format_melody, instrument_named, parse_melody
from fretpath.page.grid import Block, GridLine, lay_out
from fretpath.page.tab_reading import TabReading, read_tab

Chord = tuple[tuple[int, int], ...]
"""(string, fret) of numbers that sound together, by string."""


@dataclass(frozen=True)
class Style:
    """One way to write a tab."""

    labels: str
    """``letters``, ``small``, ``octaves``, ``spaced`` or ``none``."""
    bars: bool
    dash: str
    quote: str
    marks: bool
    behind: str
    above: str
    turned: bool
    web: bool
    newline: str


def styles() -> st.SearchStrategy[Style]:
    return st.builds(
        Style,
        labels=st.sampled_from(["letters", "letters", "small", "octaves", "spaced", "none"]),
        bars=st.booleans(),
        dash=st.sampled_from(["-", "-", "-", "\u2013", "\u2014", "\u2500", "=", "_"]),
        quote=st.sampled_from(["", "", "> ", ">> ", "    "]),
        marks=st.booleans(),
        behind=st.sampled_from(
            ["", "", "  x2", "  (let it ring)", " <- slowly", "  2nd time: 7-5"]
        ),
        above=st.sampled_from(
            ["", "", "Here it comes:\n", "[Verse]\n", "  +------+\n", "Am    G\n"]
        ),
        turned=st.booleans(),
        web=st.booleans(),
        newline=st.sampled_from(["\n", "\n", "\r\n", "\r"]),
    )


@st.composite
def music(draw: st.DrawFn) -> tuple[str, list[list[list[Chord]]]]:
    """An instrument, and systems of bars of chords on it."""
    name = draw(st.sampled_from(["bass", "guitar", "bass-5"]))
    strings = len(instrument_named(name).strings)
    place = st.tuples(st.integers(1, strings), st.integers(0, 15))
    chord = st.lists(place, min_size=1, max_size=2, unique_by=lambda p: p[0])
    bar = st.lists(chord.map(lambda c: tuple(sorted(c))), min_size=1, max_size=5)
    return name, draw(st.lists(st.lists(bar, min_size=1, max_size=3), min_size=1, max_size=3))


def written(name: str, systems: list[list[list[Chord]]], style: Style) -> str:
    """The music in a style."""
    made = instrument_named(name)
    order = list(range(1, len(made.strings) + 1))
    turned = style.turned and style.labels in ("letters", "octaves", "spaced")
    blocks = []
    for bars in systems:
        lines = []
        for string in reversed(order) if turned else order:
            body = [_bar(bar, string, style) for bar in bars]
            drawn = ("|" if style.bars else "-").join(body)
            edge = "|" if style.bars else ""
            lines.append(_label(made.string_names, string, name, style) + f"{edge}{drawn}{edge}")
        if style.bars:
            lines[0] += style.behind
        above = style.above if style.labels != "none" or "-" not in style.above else ""
        blocks.append(above + "\n".join(lines))
    if turned and name == "bass":
        blocks.insert(0, "low string on top")
    text = "\n\n".join(blocks).replace("-", style.dash)
    text = "\n".join(style.quote + line for line in text.split("\n"))
    if style.web:
        text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        return "<pre>" + text.replace("\n", "<br>") + "</pre>"
    return text.replace("\n", style.newline)


def _bar(bar: list[Chord], string: int, style: Style) -> str:
    cells = []
    for number, chord in enumerate(bar):
        fret = dict(chord).get(string)
        mark = "hp/~"[number % 4] if style.marks and fret is not None and number else "-"
        cells.append(f"-{mark if mark != '~' else '-'}{'' if fret is None else fret}".ljust(5, "-"))
    return "".join(cells) + "-"


def _label(names: tuple[str, ...], string: int, name: str, style: Style) -> str:
    letter = names[string - 1]
    octave = str(instrument_named(name).strings[string - 1].open)
    gap = "" if style.bars else " "
    return {
        "letters": letter + gap,
        "small": (letter if letter.islower() else letter.lower()) + gap,
        "octaves": octave + gap,
        "spaced": f"{letter} ",
        "none": "",
    }[style.labels]


def heard(reading: TabReading) -> list[Chord]:
    """What was read, in the form of the drawn music."""
    return [tuple((note.string, note.fret) for note in moment) for moment in reading.moments]


@settings(max_examples=100, deadline=None)
@given(music(), styles())
def test_every_mixture_of_habits_is_read_to_the_same_places(
    drawn: tuple[str, list[list[list[Chord]]]], style: Style
) -> None:
    name, systems = drawn
    text = written(name, systems, style)
    reading = read_tab(text)
    assert heard(reading) == [chord for bars in systems for bar in bars for chord in bar]
    strings = [string.open.midi for string in instrument_named(name).strings]
    assert [string.open.midi for string in reading.instrument.strings] == strings


DAMAGE: dict[str, Callable[[str, int], str]] = {
    "a sign lost": lambda text, at: text[:at] + text[at + 1 :],
    "a sign doubled": lambda text, at: text[:at] + text[at : at + 1] + text[at:],
    "a letter for a dash": lambda text, at: text[:at] + "Q" + text[at + 1 :],
    "a space for a sign": lambda text, at: text[:at] + " " + text[at + 1 :],
    "a line broken": lambda text, at: text[:at] + "\n" + text[at:],
}


@settings(max_examples=100, deadline=None)
@given(music(), styles(), st.sampled_from(sorted(DAMAGE)), st.data())
def test_a_damaged_tab_is_read_rightly_or_told_or_refused(
    drawn: tuple[str, list[list[list[Chord]]]], style: Style, kind: str, data: st.DataObject
) -> None:
    """No string and no number is lost in silence."""
    name, systems = drawn
    text = written(name, systems, style)
    damaged = DAMAGE[kind](text, data.draw(st.integers(0, len(text) - 1)))
    try:
        reading = read_tab(damaged)
    except FretpathError:
        return
    for other in (reading, read_tab(damaged, spacing=True)):
        assert len(other.melody.pitches) == len(other.notes)
        assert parse_melody(format_melody(other.melody)).pitches == other.melody.pitches
    numbers = sum(len(chord) for bars in systems for bar in bars for chord in bar)
    if len([note for moment in reading.moments for note in moment]) < numbers:
        assert reading.remarks


def notes_a_system(lengths: list[int], width: int) -> list[int]:
    """How many notes stand in each system: a note of so many characters in each bar."""
    blocks = [block for n in lengths for block in (Block({"d": n * "x"}), Block(line="|"))]
    systems = lay_out([GridLine("d", "d")], [blocks], width=width)
    return [sum(bool(block.tokens) for block in system.blocks) for system in systems]


def test_bars_stand_as_many_in_each_system_as_fill_the_line_to_its_last_column() -> None:
    # A note takes two columns more than its characters, a bar line between two; the label 5.
    assert notes_a_system([12, 8, 2], width=5 + 14 + 2 + 10) == [2, 1]


def test_bars_that_cannot_be_shared_out_evenly_take_the_narrowest_lines() -> None:
    # As many as fit would be five and one, three and three are too wide.
    assert notes_a_system([2, 2, 2, 2, 2, 17], width=5 + 29) == [4, 2]


def test_a_repeat_before_a_note_wider_than_the_page_stays_with_it() -> None:
    """A sign that begins a repeat is never a system by itself."""
    wide = Block({"degree": "x" * 60})
    blocks = [Block(line="|:"), wide, wide, Block(line=":|")]
    found = lay_out([GridLine("degree", "degree")], [blocks], width=40)
    assert [sum(block is wide for block in system.blocks) for system in found] == [1, 1]
