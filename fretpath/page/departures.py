"""Where a melody leaves its scale, as text and as data.

**Conventions.**  One paragraph a key.  Names of modes have a capital (Dorian), other scales have
none; shares are of the sounding time.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any

from fretpath.music.departures import Departure, ScaleReading
from fretpath.music.outside import Account
from fretpath.music.words import listed
from fretpath.page.aloud import with_capitals
from fretpath.page.tables import wrapped

__all__ = ["readings_data", "render_readings"]


def render_readings(readings: Sequence[ScaleReading], *, width: int = 80) -> str:
    """One paragraph for each key of the melody; ends with a newline."""
    return "\n".join("\n".join(_lines(reading, width)) + "\n" for reading in readings)


def _lines(reading: ScaleReading, width: int) -> Iterator[str]:
    for text in (*_scale_lines(reading), *_outside_lines(reading)):
        indent = " " * (len(text) - len(text.lstrip()))
        yield from wrapped(text.lstrip(), width, indent=indent, hanging="  ")


def _scale_lines(reading: ScaleReading) -> Iterator[str]:
    stated = with_capitals(str(reading.key))
    if reading.stated is not reading.key.scale:
        stated += f", against {with_capitals(reading.stated.name)}"
    smallest = f"smallest scale {with_capitals(reading.smallest.name)}" if reading.smallest else ""
    yield f"{reading.place}: {stated}; {smallest or 'no one scale holds every note'}"
    yield f"  {_mode(reading)}"
    if reading.colour:
        yield f"  colour: {with_capitals(reading.colour)}"
    beside = [
        f"{word} {with_capitals(gap.other.name)} ({gap.lacks[0]} for {gap.has[0]})"
        for word, gap in (("brighter", reading.brighter), ("darker", reading.darker))
        if gap
    ]
    yield f"  next to it: {', '.join(beside)}"


def _mode(reading: ScaleReading) -> str:
    percent = f"{float(reading.share) * 100:.3g}".rstrip(".")
    if reading.share == 1:
        percent = "100"
    names = [with_capitals(mode.name) for mode in reading.modes]
    if len(names) == 1:
        return f"mode: {names[0]} holds {percent} % of the sounding time"
    by_number = groupby(reading.undecided, key=lambda name: name.strip("#b"))
    missing = ", and ".join(" or ".join(sorted(forms, key=len)) for _, forms in by_number)
    return (
        f"mode: {', '.join(names[:-1])} and {names[-1]} hold {percent} % alike; "
        f"{missing} would decide"
    )


def _outside_lines(reading: ScaleReading) -> Iterator[str]:
    if not reading.departures:
        yield f"  outside {with_capitals(reading.stated.name)}: nothing"
        return
    yield f"  outside {with_capitals(reading.stated.name)}:"
    for group in _by_degree(reading.departures):
        first = group[0]
        yield f"    {first.degree.plain:<3} {first.name}: {listed([d.place for d in group])}"
    yield "  why:"
    for account in reading.accounts:
        yield f"    {_titled(account)}: {account.evidence}"


def _titled(account: Account) -> str:
    title = with_capitals(account.title)
    return f"{title[0].upper()}{title[1:]}"


def _by_degree(departures: Sequence[Departure]) -> list[list[Departure]]:
    groups: dict[str, list[Departure]] = {}
    for departure in departures:
        groups.setdefault(departure.degree.plain, []).append(departure)
    return list(groups.values())


def readings_data(readings: Sequence[ScaleReading]) -> list[dict[str, Any]]:
    """The readings as plain data."""
    return [
        {
            "key": str(reading.key),
            "measured_against": reading.stated.name,
            "where": reading.place,
            "smallest_scale": reading.smallest.name if reading.smallest else None,
            "modes": [mode.name for mode in reading.modes],
            "share": round(float(reading.share), 4),
            "undecided": list(reading.undecided),
            "brighter": reading.brighter.other.name if reading.brighter else None,
            "darker": reading.darker.other.name if reading.darker else None,
            "colour": reading.colour or None,
            "departures": [_departure_data(departure) for departure in reading.departures],
            "accounts": [_account_data(account) for account in reading.accounts],
        }
        for reading in readings
    ]


def _departure_data(departure: Departure) -> dict[str, Any]:
    return {
        "note": departure.note + 1,
        "bar": departure.bar,
        "degree": str(departure.degree),
        "name": departure.name,
        "kind": departure.kind,
    }


def _account_data(account: Account) -> dict[str, Any]:
    return {
        "kind": account.kind,
        "title": account.title,
        "degrees": list(account.degrees),
        "notes": [note + 1 for note in account.notes],
        "bars": list(account.bars) if account.bars else None,
        "normal": account.normal,
        "evidence": account.evidence,
    }
