"""All keys of a melody in one table, the easiest for the hand first.

**Conventions.**  Effort is in mm-equivalents, lengths are in mm, a signature is a number of sharps
(positive) or flats; the first three are explained in words.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from fretpath.neck.figures import roman
from fretpath.neck.keychoice import KeyChoice
from fretpath.page.departures import spoken

__all__ = ["keys_data", "render_keys"]

REASONS = 3
"""How many of the first are explained in words."""


def render_keys(choices: Sequence[KeyChoice], *, top: int | None = None) -> str:
    """A reason for the first three and a table of the first ``top`` (all); ends with a newline."""
    arrangement = choices[0].arrangement
    title = f"{arrangement.melody.title}, " if arrangement.melody.title else ""
    instrument = arrangement.instrument
    lines = textwrap.wrap(
        f"{title}{spoken(choices[0].key.mode)}, on {instrument.name} "
        f"({instrument.tuning}), {arrangement.hand.name}: the easiest keys first",
        80,
        break_on_hyphens=False,
    )
    for rank, choice in enumerate(choices[: min(REASONS, top or REASONS)], start=1):
        text = f"{rank}. {choice.key.tonic} from {choice.arrangement.melody.tonic}: {choice.reason}"
        lines += textwrap.wrap(text, 80, subsequent_indent="   ", break_on_hyphens=False)
    lines += ["", _HEAD]
    lines += [_row(rank, choice) for rank, choice in enumerate(choices[:top], start=1)]
    lines += [
        "",
        "effort, travel, longest shift and stretch in mm; open: notes on open strings;",
        "in key: open strings that belong to the key; sign.: sharps (#) or flats (b)",
    ]
    return "\n".join(lines) + "\n"


_HEAD = (
    f"{'':>3}  {'tonic':<5} {'effort':>6} {'travel':>6} {'shifts':>6} {'longest':>7} "
    f"{'stretch':>7} {'open':>4}  {'in key':<9} {'sign.':<5} position"
)


def _row(rank: int, choice: KeyChoice) -> str:
    figures = choice.arrangement.figures
    low, high = min(figures.positions), max(figures.positions)
    where = roman(low) if low == high else f"{roman(low)}-{roman(high)}"
    sharps = choice.key.signature
    sign = f"{abs(sharps)}{'#' if sharps > 0 else 'b'}" if sharps else "-"
    opens = "".join(choice.open_strings) or "-"
    return (
        f"{rank:>3}  {choice.arrangement.melody.tonic!s:<5} "
        f"{choice.arrangement.effort:>6.0f} {figures.travel:>6.0f} {figures.shifts:>6} "
        f"{figures.longest_shift:>7.0f} {figures.widest_stretch:>7.0f} "
        f"{figures.open_strings:>4}  {opens:<9} {sign:<5} {where}"
    )


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
