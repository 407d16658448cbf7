"""The list of scales as text and as data.

**Conventions.**  The seven modes first, from bright to dark, then the other scales likewise.
Patterns name fingers string by string, lowest string first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fretpath.music.key import MODES, Scale
from fretpath.music.scales import (
    MOODS,
    Holding,
    apart_from,
    brightness,
    nearest_scales,
    neighbors,
)
from fretpath.neck.patterns import Pattern
from fretpath.page.aloud import with_capitals
from fretpath.page.tables import table, wrapped

_MOOD_NOTE = "mood: words teachers commonly use (no source); a tune may feel otherwise"


def bright_to_dark(scales: Sequence[Scale]) -> list[Scale]:
    """The modes from bright to dark, then the other scales likewise."""
    return sorted(scales, key=lambda scale: (scale.name not in MODES, -brightness(scale)))


def render_scales(
    scales: Sequence[Scale],
    patterns: Mapping[str, Sequence[Pattern]],
    *,
    instrument: str,
    tunes: Mapping[str, Sequence[str]] | None = None,
) -> str:
    """A block for each scale, from bright to dark; ends with a newline.

    *patterns* and *tunes* go by the name of the scale; *tunes* is left out when it is None.
    """
    blocks = [
        "\n".join(_block(scale, patterns.get(scale.name, ()), instrument, tunes))
        for scale in bright_to_dark(scales)
    ]
    return "\n\n".join([*blocks, "\n".join(wrapped(_MOOD_NOTE))]) + "\n"


def _block(
    scale: Scale,
    patterns: Sequence[Pattern],
    instrument: str,
    tunes: Mapping[str, Sequence[str]] | None,
) -> list[str]:
    beside = "; ".join(with_capitals(str(gap)) for gap in neighbors(scale)) or "none in one degree"
    rows = [
        ("brightness", _brightness(scale)),
        ("set apart", with_capitals(str(apart_from(scale)))),
        ("neighbors", beside),
        ("mood", MOODS[scale.name]),
        (instrument, _patterns(patterns)),
    ]
    if tunes is not None:
        rows.append(("tunes", "; ".join(tunes.get(scale.name, ())) or "none here"))
    lines = [f"{_capital(with_capitals(scale.name))}: {' '.join(scale.names)}"]
    for name, text in rows:
        lines += wrapped(f"{name:<11}{text}", indent="  ", hanging=" " * 11)
    return lines


def _capital(name: str) -> str:
    return name[0].upper() + name[1:]


def _brightness(scale: Scale) -> str:
    level = f"{brightness(scale):+d}" if brightness(scale) else "0"
    if scale.name in MODES:
        return f"{level} ({MODES.index(scale.name) + 1} of 7 from bright to dark)"
    return f"{level} (raised degrees less lowered ones)"


def _patterns(patterns: Sequence[Pattern]) -> str:
    if not patterns:
        return "no pattern without a shift or a stretch"
    return "; or ".join(str(pattern) for pattern in patterns) + " (low string first)"


def scales_data(
    scales: Sequence[Scale],
    patterns: Mapping[str, Sequence[Pattern]],
    tunes: Mapping[str, Sequence[str]] | None = None,
) -> list[dict[str, Any]]:
    """The list as plain data."""
    return [
        {
            "scale": scale.name,
            "degrees": list(scale.names),
            "semitones": list(scale.semitones),
            "brightness": brightness(scale),
            "set_apart": str(apart_from(scale)),
            "neighbors": [gap.other.name for gap in neighbors(scale)],
            "mood": MOODS[scale.name],
            "patterns": [
                {"fingers": str(pattern), "strings": list(pattern.strings)}
                for pattern in patterns.get(scale.name, ())
            ],
            "tunes": None if tunes is None else list(tunes.get(scale.name, ())),
        }
        for scale in bright_to_dark(scales)
    ]


def render_holdings(degrees: Sequence[str], holdings: Sequence[Holding]) -> str:
    """The scales that hold some degrees, smallest first; ends with a newline."""
    asked = " ".join(degrees)
    if not holdings:
        scale, missing = nearest_scales(degrees)[0]
        return (
            f"no known scale holds {asked}; the nearest is {with_capitals(scale.name)}, "
            f"without {' '.join(map(str, missing))}\n"
        )
    rows = []
    for held in holdings:
        note = [] if held.as_spelled else ["(by sound, spelled otherwise)"]
        spare = [f"also {' '.join(map(str, held.spare))}"] if held.spare else []
        name = with_capitals(held.scale.name)
        rows.append((name, " ".join(held.scale.names), " ".join(spare + note)))
    head = f"scales that hold {asked}, the smallest first:"
    return "\n".join([head, *table(rows, indent="  ")]) + "\n"


def holdings_data(holdings: Sequence[Holding]) -> list[dict[str, Any]]:
    """The same as plain data."""
    return [
        {
            "scale": held.scale.name,
            "degrees": list(held.scale.names),
            "as_spelled": held.as_spelled,
            "spare": list(map(str, held.spare)),
        }
        for held in holdings
    ]
