"""The instruments a lesson may ask for by name.

Tunings are common practice unless a source is named.  Scale lengths, frets and string spacings
vary from maker to maker: the figures are usual ones, each can be set, and the column *basis*
says where they come from.  General MIDI programs: General MIDI Level 1 sound set.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from types import MappingProxyType
from typing import Any

from fretpath.errors import RequestError, nearest
from fretpath.neck.instrument import Instrument, String, parse_scale_length, parse_tuning


def _make(
    name: str,
    tuning: str,
    *,
    length: str,
    frets: int,
    spacing: tuple[float, float],
    program: int,
    basis: str,
    short_string: int = 0,
    **more: Any,
) -> Instrument:
    strings = [String(pitch) for pitch in parse_tuning(tuning)]
    strings[-1] = String(strings[-1].open, short_string)
    return Instrument(
        name,
        tuple(strings),
        parse_scale_length(length),
        frets,
        spacing,
        program=program,
        basis=basis,
        **more,
    )


_MEMORY = "tuning: common practice; frets and spacing: usual figures, from memory"
_SCALE = f"scale from memory; {_MEMORY}"

_bass = partial(
    _make,
    length="34in",
    frets=24,
    spacing=(10, 19),
    program=34,
    basis=f"34 in: long scale, as in published bass scale-length columns; {_MEMORY}",
    written=1,
)
_guitar = partial(
    _make,
    length="25.5in",
    frets=21,
    spacing=(7, 10.5),
    program=26,
    basis=f"25.5 in: a usual electric and steel-string scale; {_MEMORY}",
    written=1,
)
_ukulele = partial(
    _make,
    spacing=(9, 13),
    program=25,
    basis="scale: usual figure, makers vary; tuning g c e a: common practice; frets: from memory",
    playing="open-position",
)
_mandolin = partial(
    _make,
    frets=20,
    spacing=(7.5, 11),
    program=26,
    basis=_SCALE,
    hand="by-letter",
    playing="open-position",
)
_banjo = partial(
    _make,
    length="26.25in",
    frets=22,
    spacing=(8, 11),
    program=106,
    basis=f"26.25 in: a usual banjo scale, from memory; {_MEMORY}; short string at fret 5",
    short_string=5,
    playing="open-position",
)
_banjo_4 = partial(_make, spacing=(8, 11), program=106, basis=_SCALE, playing="open-position")
_violin = partial(
    _make,
    frets=24,
    basis="string length: usual figure; semitones instead of frets, in fifths (bass in fourths)",
    fretless=True,
    playing="open-position",
)
_small = partial(_make, program=25, basis=_SCALE, playing="open-position")

_ALL = (
    _bass("bass", "E1 A1 D2 G2"),
    _bass("bass-drop-d", "D1 A1 D2 G2"),
    _bass("bass-e-flat", "Eb1 Ab1 Db2 Gb2"),
    _bass("bass-bead", "B0 E1 A1 D2"),
    _bass("bass-tenor", "A1 D2 G2 C3"),
    _bass("bass-piccolo", "E2 A2 D3 G3"),
    _bass("bass-5", "B0 E1 A1 D2 G2"),
    _bass("bass-5-high-c", "E1 A1 D2 G2 C3"),
    _bass("bass-6", "B0 E1 A1 D2 G2 C3"),
    _bass(
        "bass-short",
        "E1 A1 D2 G2",
        length="30in",
        frets=20,
        basis=f"30 in: short scale, as in published bass scale-length columns; {_MEMORY}",
    ),
    _guitar("guitar", "E2 A2 D3 G3 B3 E4"),
    _guitar("guitar-drop-d", "D2 A2 D3 G3 B3 E4"),
    _guitar("guitar-dadgad", "D2 A2 D3 G3 A3 D4"),
    _guitar("guitar-open-g", "D2 G2 D3 G3 B3 D4"),
    _guitar("guitar-open-d", "D2 A2 D3 F#3 A3 D4"),
    _guitar("guitar-open-e", "E2 B2 E3 G#3 B3 E4"),
    _guitar("guitar-fourths", "E2 A2 D3 G3 C4 F4"),
    _guitar("guitar-7", "B1 E2 A2 D3 G3 B3 E4"),
    _guitar("guitar-high-strung", "E3 A3 D4 G4 B3 E4"),
    _guitar(
        "guitar-classical",
        "E2 A2 D3 G3 B3 E4",
        length="650mm",
        frets=19,
        spacing=(8.5, 11.5),
        program=25,
        basis=f"650 mm: the usual classical scale; {_MEMORY}",
    ),
    _guitar(
        "guitar-baritone",
        "B1 E2 A2 D3 F#3 B3",
        length="27in",
        frets=22,
        basis=f"27 in: a usual baritone scale, from memory; {_MEMORY}",
    ),
    _ukulele("ukulele", "G4 C4 E4 A4", length="13.875in", frets=12),
    _ukulele("ukulele-concert", "G4 C4 E4 A4", length="15in", frets=15),
    _ukulele("ukulele-tenor", "G4 C4 E4 A4", length="17in", frets=18),
    _ukulele("ukulele-low-g", "G3 C4 E4 A4", length="17in", frets=18),
    _ukulele("ukulele-d", "A4 D4 F#4 B4", length="13.875in", frets=12),
    _ukulele("ukulele-baritone", "D3 G3 B3 E4", length="20in", frets=18),
    _mandolin("mandolin", "G3 D4 A4 E5", length="13.875in"),
    _mandolin("mandola", "C3 G3 D4 A4", length="16.5in"),
    _mandolin("octave-mandolin", "G2 D3 A3 E4", length="21in"),
    _mandolin(
        "mandocello", "C2 G2 D3 A3", length="26in", spacing=(9, 13), hand="one-finger-per-fret"
    ),
    _banjo("banjo", "G4 D3 G3 B3 D4"),
    _banjo("banjo-c", "G4 C3 G3 B3 D4"),
    _banjo("banjo-double-c", "G4 C3 G3 C4 D4"),
    _banjo("banjo-sawmill", "G4 D3 G3 C4 D4"),
    _banjo_4("banjo-plectrum", "C3 G3 B3 D4", length="26.25in", frets=22),
    _banjo_4("banjo-tenor", "C3 G3 D4 A4", length="22.75in", frets=19),
    _banjo_4("banjo-tenor-irish", "G2 D3 A3 E4", length="20.75in", frets=17, hand="by-letter"),
    _violin(
        "violin", "G3 D4 A4 E5", length="328mm", spacing=(5.5, 11.5), program=41, hand="by-letter"
    ),
    _violin(
        "viola", "C3 G3 D4 A4", length="370mm", spacing=(6, 12.5), program=42, hand="by-letter"
    ),
    _violin("cello", "C2 G2 D3 A3", length="690mm", spacing=(7.5, 16), program=43),
    _violin(
        "double-bass",
        "E1 A1 D2 G2",
        length="1050mm",
        spacing=(11, 29),
        program=44,
        hand="one-two-four",
        written=1,
    ),
    _small("cavaquinho", "D4 G4 B4 D5", length="13.5in", frets=17, spacing=(8, 11)),
    _small("cuatro", "A3 D4 F#4 B3", length="21.5in", frets=14, spacing=(10, 14)),
    _small("charango", "G4 C5 E5 A4 E5", length="14.5in", frets=15, spacing=(8, 11)),
)
INSTRUMENTS: Mapping[str, Instrument] = MappingProxyType({one.name: one for one in _ALL})
"""Every instrument by name, family by family."""


def instrument_tuned(tuning: str) -> Instrument | None:
    """The first instrument with exactly this tuning; its octaves may be left out.

    >>> found = instrument_tuned("g C E A")
    >>> found.name if found else None
    'ukulele'
    """
    words = tuning.replace(",", " ").upper().split()
    for made in INSTRUMENTS.values():
        pitches = [str(string.open) for string in reversed(made.strings)]
        letters = [string.open.name for string in reversed(made.strings)]
        if words in ([name.upper() for name in names] for names in (pitches, letters)):
            return made
    return None


def instrument_named(name: str) -> Instrument:
    """The instrument of that name; :class:`RequestError` with the nearest name otherwise."""
    wanted = "-".join(name.lower().replace("_", " ").split())
    if wanted not in INSTRUMENTS:
        family = wanted.split("-")[0]
        hint = nearest(family if family in INSTRUMENTS else wanted, INSTRUMENTS)
        raise RequestError(
            f'unknown instrument "{name[:40]}"{hint} '
            '("fretpath instruments" lists them; --tuning makes your own)'
        )
    return INSTRUMENTS[wanted]
