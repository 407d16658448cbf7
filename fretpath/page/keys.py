"""A melody in other keys: all of them in one table, and one move with what it was before.

**Conventions.**  Effort is a cost without a unit, lengths are in mm, a signature is a number of
sharps (positive) or flats.  The table has the easiest key for the hand first, and explains the
first three in words.  Of a move the way is told first, then the figures before and after it, then
the new tab; frets are counted along the neck, intervals from tonic to tonic.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from fretpath.music.pitch import Interval
from fretpath.music.words import counted, listed
from fretpath.neck.arrangement import Arrangement, position_sign
from fretpath.neck.keychoice import KeyChoice, Transposition
from fretpath.page.aloud import with_capitals
from fretpath.page.captions import figures_column, positions_line
from fretpath.page.rows import arrangement_data
from fretpath.page.tab import render_tab
from fretpath.page.tables import table, wrap

REASONS = 3
"""The number of keys that are explained in words."""


def render_keys(choices: Sequence[KeyChoice], *, top: int | None = None) -> str:
    """A reason for the first three and a table of the first ``top`` (all); ends with a newline."""
    arrangement = choices[0].arrangement
    title = f"{arrangement.melody.title}, " if arrangement.melody.title else ""
    instrument = arrangement.instrument
    lines = wrap(
        f"{title}{with_capitals(choices[0].key.mode)}, on {instrument.name} "
        f"({instrument.tuning}), {arrangement.hand.name}: the easiest keys first",
    )
    for rank, choice in enumerate(choices[: min(REASONS, top or REASONS)], start=1):
        text = f"{rank}. {choice.key.tonic} from {choice.arrangement.melody.tonic}: {choice.reason}"
        lines += wrap(text, hanging="   ")
    rows = [_row(rank, choice) for rank, choice in enumerate(choices[:top], start=1)]
    lines += ["", *table([_UNITS, *rows], head=_HEAD, align="rlrrrrrr", gap=1)]
    lines += [
        "",
        "effort has no unit, less is easier; open: notes on open strings;",
        "in key: open strings that belong to the key; sign.: sharps (#) or flats (b)",
    ]
    return "\n".join(lines) + "\n"


_HEAD = (
    "", "tonic", "effort", "travel", "shifts", "longest", "stretch", "open", "in key", "sign.",
    "position",
)  # fmt: skip
_UNITS = ("", "", "", "mm", "", "mm", "mm", "notes", "", "", "")


def _row(rank: int, choice: KeyChoice) -> list[object]:
    figures = choice.arrangement.figures
    low, high = min(figures.positions), max(figures.positions)
    instrument = choice.arrangement.instrument
    signs = dict.fromkeys(position_sign(instrument, position) for position in (low, high))
    where = "-".join(signs)
    sharps = choice.key.signature
    sign = f"{abs(sharps)}{'#' if sharps > 0 else 'b'}" if sharps else "-"
    lengths = (figures.longest_shift, figures.widest_stretch)
    longest, stretch = (f"{length:.0f}" for length in lengths)
    effort, travel = f"{choice.arrangement.effort:.0f}", f"{figures.travel:.0f}"
    counts = [effort, travel, figures.shifts, longest, stretch, figures.open_strings]
    opens = "".join(choice.open_strings) or "-"
    return [rank, choice.arrangement.melody.tonic, *counts, opens, sign, where]


def keys_data(choices: Sequence[KeyChoice]) -> list[dict[str, Any]]:
    """The ranking as plain data."""
    return [
        {
            "rank": rank,
            "key": str(choice.key),
            "tonic": str(choice.arrangement.melody.tonic),
            "effort": choice.arrangement.effort,
            "signature": choice.key.signature,
            "open_strings_in_key": list(choice.open_strings),
            "reason": choice.reason,
            "figures": asdict(choice.arrangement.figures),
            "strings": list(choice.arrangement.strings),
            "frets": list(choice.arrangement.frets),
        }
        for rank, choice in enumerate(choices, start=1)
    ]


def render_transposition(moved: Transposition, *, degrees: str = "major", width: int = 80) -> str:
    """The move in words, the figures side by side, and the tab; ends with a newline."""
    head = [_move(moved), _degrees(moved), *([_shape(moved)] if moved.before else [])]
    lines = [line for text in head for line in wrap(text, width)]
    page = render_tab(moved.after, degrees=degrees, width=width)
    figures = [*_table(moved.before, moved.after), ""] if moved.before else []
    return "\n".join([*lines, "", *figures, page])


def _move(moved: Transposition) -> str:
    old, new = moved.written, moved.after.melody
    keys = [with_capitals(str(melody.key)) if melody.key else "no key" for melody in (old, new)]
    text = f"from {keys[0]} to {keys[1]}: " if keys[0] != keys[1] else f"{keys[0]}: "
    semitones = abs(moved.interval.semitones)
    if semitones:
        way = "down" if moved.interval.descending else "up"
        text += f"{way} {_far(moved.interval)} ({counted(semitones, 'semitone')})"
    else:
        text += "at the same pitch"
    before, after = moved.before, moved.after.instrument
    if before is None or before.instrument == after:
        return text
    return f"{text}, from {before.instrument.name} to {after.name}"


def _far(interval: Interval) -> str:
    """The interval as it is said: whole octaves by their number."""
    octaves, steps = divmod(abs(interval.steps), 7)
    if steps or abs(interval.semitones) != 12 * octaves or not octaves:
        return interval.name
    return "an octave" if octaves == 1 else f"{octaves} octaves"


def _degrees(moved: Transposition) -> str:
    if not moved.changed:
        return "the row of degrees is unchanged"
    old, new = moved.written, moved.after.melody
    exchanges: dict[str, list[str]] = {}
    for note in moved.changed:
        before, after = old.degrees[note], new.degrees[note]
        assert before is not None
        assert after is not None
        bar = new.bar_numbers[new.struck[note]]
        place = (f"bar {bar}" if bar else "pickup") if new.bars else f"note {note + 1}"
        exchanges.setdefault(f"{before.plain} is now {after.plain}", []).append(place)
    changed = "; ".join(f"{what} ({listed(where)})" for what, where in exchanges.items())
    return f"changed degrees: {changed}"


def _shape(moved: Transposition) -> str:
    frets = moved.shape_frets
    if frets is None:
        return "fingered anew: the old shape, moved, is not the best one there"
    if frets == 0:
        return "the same strings and frets as before"
    way = f"{counted(abs(frets), 'fret')} {'up' if frets > 0 else 'down'} the neck"
    return f"the whole shape moves {way}, on the same strings"


def _table(before: Arrangement, after: Arrangement) -> list[str]:
    columns = [_column(before), _column(after)]
    rows = [(name, columns[0][name], columns[1][name]) for name in columns[0]]
    return table(rows, head=("", "before", "after"))


def _column(arrangement: Arrangement) -> dict[str, str]:
    return {
        "tonic": str(arrangement.melody.tonic or "-"),
        **figures_column(arrangement.figures),
        "positions": positions_line(arrangement),
    }


def transposition_data(moved: Transposition, *, degrees: str = "major") -> dict[str, Any]:
    """The same as plain data; ``shape_frets`` is null where it was fingered anew.

    So are instrument and figures before the move where it had no place on the neck.
    """
    before = moved.before
    return {
        "interval": str(moved.interval),
        "semitones": moved.interval.semitones,
        "shape_frets": moved.shape_frets,
        "changed_notes": [note + 1 for note in moved.changed],
        "before": {
            "key": str(moved.written.key) if moved.written.key else None,
            "instrument": before.instrument.name if before else None,
            "figures": asdict(before.figures) if before else None,
        },
        "after": arrangement_data(moved.after, degrees=degrees),
    }
