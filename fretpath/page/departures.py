"""Where a melody leaves its scale, as text.

**Conventions.**  One paragraph a key.  Notes on one degree stand in one line, role by role.  Names
of modes have a capital (Dorian), other scales have none.  Accounts hold degrees; the page names
the keys they stand for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from fretpath.music.departures import Account, Doubt, ScaleReading, departure_name
from fretpath.music.key import Degree, Key
from fretpath.music.words import listed, times
from fretpath.page.aloud import with_capitals
from fretpath.page.tables import wrap
from fretpath.remarks import Remark

_WHOLE = ("added", "wrong_key", "mode", "parallel", "modulation", "raised_minor", "picardy", "blue")
"""Kinds that stand in a line of their own; the others are told degree by degree."""


def render_readings(readings: Sequence[ScaleReading], *, width: int = 80) -> str:
    """One paragraph for each key of the melody; ends with a newline."""
    return "\n".join("\n".join(_lines(reading, width)) + "\n" for reading in readings)


def _key_name(key: Key, degree: str, mode: str) -> str:
    """The key on a degree of another one.

    >>> _key_name(Key.parse("C"), "5", "major")
    'G major'
    """
    tonic = key.tonic_pitch(4) + Degree.parse(degree).interval
    return with_capitals(f"{tonic.name} {mode}")


def _lines(reading: ScaleReading, width: int) -> Iterator[str]:
    for text in (*_scale_lines(reading), *_outside_lines(reading)):
        indent = " " * (len(text) - len(text.lstrip()))
        yield from wrap(text.lstrip(), width, indent=indent, hanging="  ")


def _scale_lines(reading: ScaleReading) -> Iterator[str]:
    stated = with_capitals(str(reading.key))
    if reading.stated is not reading.key.scale:
        stated += f", against {with_capitals(reading.stated.name)}"
    smaller = reading.smallest and len(reading.smallest.degrees) < len(reading.stated.degrees)
    if smaller and reading.smallest and not reading.departures:
        stated += f"; {with_capitals(reading.smallest.name)} holds every note"
    yield f"{reading.place}: {stated}"
    if reading.undecided and not reading.departures:
        yield f"  {_open_modes(reading)}"
    if reading.color:
        yield f"  color: {with_capitals(reading.color)}"


def _open_modes(reading: ScaleReading) -> str:
    names = [with_capitals(mode.name) for mode in reading.modes]
    by_number = groupby(reading.undecided, key=lambda name: name.strip("#b"))
    missing = ", and ".join(" or ".join(sorted(forms, key=len)) for _, forms in by_number)
    return f"mode open: {', '.join(names[:-1])} or {names[-1]}; {missing} would decide"


def _outside_lines(reading: ScaleReading) -> Iterator[str]:
    name = with_capitals(reading.stated.name)
    if not reading.departures:
        yield f"  outside {name}: nothing"
        return
    yield f"  outside {name}:"
    whole = [account for account in reading.accounts if account.kind in _WHOLE]
    for account in whole:
        yield f"    {_capital(_title(account, reading.key))}: {account.evidence}{_or(account)}"
    single = [account for account in reading.accounts if account not in whole]
    for degree in dict.fromkeys(name for account in single for name in account.degrees):
        told = [_role(account, degree, reading) for account in single if degree in account.degrees]
        yield f"    {degree} {departure_name(degree, reading.stated)}: {', '.join(told)}"


def _title(account: Account, key: Key) -> str:
    """The name of an account, with the letters of the keys it names."""
    if account.kind == "wrong_key":
        return f"the tune is in {_key_name(key, *account.argument.split())}"
    return with_capitals(account.title)


def _role(account: Account, degree: str, reading: ScaleReading) -> str:
    """``passing twice (bars 1, 7)``."""
    notes = [d for d in reading.departures if d.note in account.notes and d.degree.plain == degree]
    where = listed([departure.place for departure in notes], most=6)
    return f"{_title(account, reading.key)} {times(len(notes))} ({where}){_or(account)}"


def _or(account: Account) -> str:
    return "".join(f"; or {_doubt(doubt)}" for doubt in account.doubts)


def _doubt(doubt: Doubt) -> str:
    return f"{with_capitals(doubt.title)}: {doubt.decides}"


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"


def key_remarks(readings: Sequence[ScaleReading]) -> list[Remark]:
    """Remarks of a page that prints the key, when the tune denies it; mostly nothing.

    The other third throughout means that the degrees were counted from another scale than meant,
    or that the key is wrong; a tune in the key a fifth up or down has the wrong key.
    """
    return [
        Remark("doubt", text, reading.place if len(readings) > 1 else "")
        for reading in readings
        for account in reading.accounts
        if (text := _denial(account, reading))
    ]


def _denial(account: Account, reading: ScaleReading) -> str:
    key = reading.key
    says = f"the key says {with_capitals(str(key))}, but"
    if account.kind == "wrong_key":
        return f"{says} {_title(account, key)}: {account.evidence}"
    own, other = ("b3", "3") if key.scale.minor else ("3", "b3")
    if account.kind != "mode" or other not in account.degrees:
        return ""
    heard = sum(d.degree.plain == other for d in reading.departures)
    mode = "major" if other == "3" else "minor"
    text = (
        f"{says} {other} sounds {times(heard)} and {own} never: read "
        f"against the major scale these are the degrees of {key.tonic} {mode}"
    )
    advice = "for degrees of the key write degrees: key" if mode == "major" else ""
    return f"{text}; {advice or f'write key: {key.tonic} {mode}'}"
