"""Scales and modes: degrees, brightness, moods, patterns, and tunes that use them."""

from __future__ import annotations

import argparse
from collections.abc import Mapping, Sequence
from typing import Any

from fretpath.commands.folder import each_melody, finish
from fretpath.commands.options import (
    add_instrument_options,
    add_output_options,
    as_json,
    deliver,
    instrument_from,
)
from fretpath.music.departures import read_scales
from fretpath.music.key import MODES, SCALES, Scale
from fretpath.music.melody import Melody
from fretpath.music.scales import (
    MOODS,
    Holding,
    apart_from,
    brightness,
    nearest_scales,
    neighbors,
    scales_holding,
)
from fretpath.neck.patterns import Pattern, patterns_of
from fretpath.neck.setup import Setup
from fretpath.page.aloud import with_capitals
from fretpath.page.tables import table, wrap


def add_options(parser: argparse.ArgumentParser) -> None:
    """Declare the arguments of the command."""
    parser.add_argument("scale", metavar="SCALE", nargs="*", help="only this one, such as dorian")
    parser.add_argument(
        "--from", dest="degrees", metavar="DEGREES", help="scales that hold these: 1,2,3,#4"
    )
    parser.add_argument("--folder", help="name the tunes of a folder (*.txt) that use each scale")
    parser.add_argument("--hand", help="hand model of the patterns")
    add_output_options(parser)
    add_instrument_options(parser)
    parser.set_defaults(remarks=[])


def run(arguments: argparse.Namespace) -> str:
    """The list of scales, or the scales that hold some degrees; or the same as JSON."""
    if arguments.degrees is not None:
        degrees = arguments.degrees.replace(",", " ").split()
        holdings = scales_holding(degrees)
        if arguments.json:
            return deliver(arguments, as_json([_holding_data(held) for held in holdings]))
        return deliver(arguments, _holdings_page(degrees, holdings))
    named = " ".join(arguments.scale)
    scales = [Scale.parse(named)] if named else sorted(SCALES.values(), key=_darkness)
    instrument = instrument_from(arguments)
    patterns = patterns_of(scales, Setup.of(instrument, hand=arguments.hand))
    tunes, faults = _tunes(arguments.folder, arguments.remarks) if arguments.folder else (None, [])
    if arguments.json:
        text = as_json([_scale_data(scale, patterns, tunes) for scale in scales])
    else:
        text = _page(scales, patterns, instrument.name, tunes)
    return finish(deliver(arguments, text), faults)


def _darkness(scale: Scale) -> tuple[bool, int]:
    """The modes come first, then each kind from bright to dark."""
    return scale.name not in MODES, -brightness(scale)


def _tunes(folder: str, remarks: list[Any]) -> tuple[dict[str, list[str]], list[str]]:
    """Titles by scale, and the faults of files that are no melody."""
    used, faults = each_melody(folder, _use, remarks)
    tunes: dict[str, list[str]] = {}
    for title, names in used:
        for name in names:
            tunes.setdefault(name, []).append(title)
    return tunes, faults


def _use(melody: Melody, _: str) -> tuple[str, list[str]]:
    """The title of a tune and the scales it uses."""
    return melody.title, _scales_of(melody)


def _scales_of(melody: Melody) -> list[str]:
    """The scales a tune uses: the smallest that hold each of its passages."""
    if not melody.keys or not melody.pitches:
        return []
    found = [reading.smallest or reading.stated for reading in read_scales(melody)]
    return list(dict.fromkeys(scale.name for scale in found))


# -- the list of scales, as text and as data -------------------------------------------------------

_MOOD_NOTE = "mood: words teachers commonly use (no source); a tune may feel otherwise"


def _page(
    scales: Sequence[Scale],
    patterns: Mapping[str, Sequence[Pattern]],
    instrument: str,
    tunes: Mapping[str, Sequence[str]] | None,
) -> str:
    """A block for each scale; *patterns* and *tunes* go by its name, None leaves tunes out."""
    blocks = [
        "\n".join(_block(scale, patterns.get(scale.name, ()), instrument, tunes))
        for scale in scales
    ]
    return "\n\n".join([*blocks, "\n".join(wrap(_MOOD_NOTE))]) + "\n"


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
        lines += wrap(f"{name:<11}{text}", indent="  ", hanging=" " * 11)
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


def _scale_data(
    scale: Scale,
    patterns: Mapping[str, Sequence[Pattern]],
    tunes: Mapping[str, Sequence[str]] | None,
) -> dict[str, Any]:
    return {
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


# -- the scales that hold some degrees -------------------------------------------------------------


def _holdings_page(degrees: Sequence[str], holdings: Sequence[Holding]) -> str:
    """The scales that hold some degrees, smallest first."""
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


def _holding_data(held: Holding) -> dict[str, Any]:
    return {
        "scale": held.scale.name,
        "degrees": list(held.scale.names),
        "as_spelled": held.as_spelled,
        "spare": list(map(str, held.spare)),
    }
