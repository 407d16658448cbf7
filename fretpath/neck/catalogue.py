"""The instruments a lesson may ask for by name.

Tunings are common practice unless a source is named.  Scale lengths, frets and string spacings
vary from maker to maker: the figures are usual ones, each can be set, and the column *basis*
says where they come from.  General MIDI programs: General MIDI Level 1 sound set.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from types import MappingProxyType

from fretpath.errors import RequestError, nearest
from fretpath.neck.instrument import (
    MM_PER_INCH,
    Instrument,
    String,
    parse_tuning,
)

_MEMORY = "tuning: common practice; frets and spacing: usual figures, from memory"
_BASS = f"34 in: long scale, as in published bass scale-length columns; {_MEMORY}"
_GUITAR = f"25.5 in: a usual electric and steel-string scale; {_MEMORY}"
_UKE = "scale: usual figure, makers vary; tuning g c e a: common practice; frets: from memory"


def _make(
    name: str,
    tuning: str,
    inches: float,
    frets: int,
    spacing: tuple[float, float],
    program: int,
    basis: str,
    *,
    written: int = 0,
    hand: str = "one-finger-per-fret",
    fretless: bool = False,
    short_string: int = 0,
    open_position: bool = False,
) -> Instrument:
    pitches = parse_tuning(tuning)
    nuts = [0] * len(pitches)
    if short_string:
        nuts[-1] = short_string
    length = round(inches * MM_PER_INCH, 3)
    return Instrument(
        name=name,
        strings=tuple(String(p, nut) for p, nut in zip(pitches, nuts, strict=True)),
        scale_length=length,
        playing="open-position" if open_position else "in-position",
        frets=frets,
        spacing=spacing,
        hand=hand,
        fretless=fretless,
        written=written,
        program=program,
        basis=basis,
    )


def _basses() -> Iterator[Instrument]:
    for name, tuning in (
        ("bass", "E1 A1 D2 G2"),
        ("bass-drop-d", "D1 A1 D2 G2"),
        ("bass-e-flat", "Eb1 Ab1 Db2 Gb2"),
        ("bass-bead", "B0 E1 A1 D2"),
        ("bass-tenor", "A1 D2 G2 C3"),
        ("bass-piccolo", "E2 A2 D3 G3"),
        ("bass-5", "B0 E1 A1 D2 G2"),
        ("bass-5-high-c", "E1 A1 D2 G2 C3"),
        ("bass-6", "B0 E1 A1 D2 G2 C3"),
    ):
        yield _make(name, tuning, 34, 24, (10, 19), 34, _BASS, written=1)
    basis = f"30 in: short scale, as in published bass scale-length columns; {_MEMORY}"
    yield _make("bass-short", "E1 A1 D2 G2", 30, 20, (10, 19), 34, basis, written=1)


def _guitars() -> Iterator[Instrument]:
    for name, tuning in (
        ("guitar", "E2 A2 D3 G3 B3 E4"),
        ("guitar-drop-d", "D2 A2 D3 G3 B3 E4"),
        ("guitar-dadgad", "D2 A2 D3 G3 A3 D4"),
        ("guitar-open-g", "D2 G2 D3 G3 B3 D4"),
        ("guitar-open-d", "D2 A2 D3 F#3 A3 D4"),
        ("guitar-open-e", "E2 B2 E3 G#3 B3 E4"),
        ("guitar-fourths", "E2 A2 D3 G3 C4 F4"),
        ("guitar-7", "B1 E2 A2 D3 G3 B3 E4"),
        ("guitar-high-strung", "E3 A3 D4 G4 B3 E4"),
    ):
        yield _make(name, tuning, 25.5, 21, (7, 10.5), 26, _GUITAR, written=1)
    basis = f"650 mm: the usual classical scale; {_MEMORY}"
    yield _make(
        "guitar-classical", "E2 A2 D3 G3 B3 E4", 650 / 25.4, 19, (8.5, 11.5), 25, basis, written=1
    )
    basis = f"27 in: a usual baritone scale, from memory; {_MEMORY}"
    yield _make("guitar-baritone", "B1 E2 A2 D3 F#3 B3", 27, 22, (7, 10.5), 26, basis, written=1)


def _ukuleles() -> Iterator[Instrument]:
    spacing = (9, 13)
    for name, tuning, inches, frets in (
        ("ukulele", "G4 C4 E4 A4", 13.875, 12),
        ("ukulele-concert", "G4 C4 E4 A4", 15, 15),
        ("ukulele-tenor", "G4 C4 E4 A4", 17, 18),
        ("ukulele-low-g", "G3 C4 E4 A4", 17, 18),
        ("ukulele-d", "A4 D4 F#4 B4", 13.875, 12),
        ("ukulele-baritone", "D3 G3 B3 E4", 20, 18),
    ):
        yield _make(name, tuning, inches, frets, spacing, 25, _UKE, open_position=True)


def _mandolins() -> Iterator[Instrument]:
    basis = f"scale from memory; {_MEMORY}"
    for name, tuning, inches in (
        ("mandolin", "G3 D4 A4 E5", 13.875),
        ("mandola", "C3 G3 D4 A4", 16.5),
        ("octave-mandolin", "G2 D3 A3 E4", 21),
    ):
        yield _make(
            name, tuning, inches, 20, (7.5, 11), 26, basis, hand="by-letter", open_position=True
        )
    yield _make("mandocello", "C2 G2 D3 A3", 26, 20, (9, 13), 26, basis, open_position=True)


def _banjos() -> Iterator[Instrument]:
    basis = f"26.25 in: a usual banjo scale, from memory; {_MEMORY}; short string at fret 5"
    for name, tuning in (
        ("banjo", "G4 D3 G3 B3 D4"),
        ("banjo-c", "G4 C3 G3 B3 D4"),
        ("banjo-double-c", "G4 C3 G3 C4 D4"),
        ("banjo-sawmill", "G4 D3 G3 C4 D4"),
    ):
        yield _make(
            name, tuning, 26.25, 22, (8, 11), 106, basis, short_string=5, open_position=True
        )
    basis = f"scale from memory; {_MEMORY}"
    yield _make("banjo-plectrum", "C3 G3 B3 D4", 26.25, 22, (8, 11), 106, basis, open_position=True)
    yield _make("banjo-tenor", "C3 G3 D4 A4", 22.75, 19, (8, 11), 106, basis, open_position=True)
    yield _make(
        "banjo-tenor-irish",
        "G2 D3 A3 E4",
        20.75,
        17,
        (8, 11),
        106,
        basis,
        hand="by-letter",
        open_position=True,
    )


def _violins() -> Iterator[Instrument]:
    basis = "string length: usual figure; semitones instead of frets, in fifths (bass in fourths)"
    for name, tuning, mm, spacing, program, hand in (
        ("violin", "G3 D4 A4 E5", 328, (5.5, 11.5), 41, "by-letter"),
        ("viola", "C3 G3 D4 A4", 370, (6, 12.5), 42, "by-letter"),
        ("cello", "C2 G2 D3 A3", 690, (7.5, 16), 43, "one-finger-per-fret"),
    ):
        yield _make(
            name,
            tuning,
            mm / 25.4,
            24,
            spacing,
            program,
            basis,
            hand=hand,
            fretless=True,
            open_position=True,
        )
    yield _make(
        "double-bass", "E1 A1 D2 G2", 1050 / 25.4, 24, (11, 29), 44, basis,
        hand="one-two-four", fretless=True, written=1, open_position=True,
    )  # fmt: skip


def _small() -> Iterator[Instrument]:
    basis = f"scale from memory; {_MEMORY}"
    yield _make("cavaquinho", "D4 G4 B4 D5", 13.5, 17, (8, 11), 25, basis, open_position=True)
    yield _make("cuatro", "A3 D4 F#4 B3", 21.5, 14, (10, 14), 25, basis, open_position=True)
    yield _make("charango", "G4 C5 E5 A4 E5", 14.5, 15, (8, 11), 25, basis, open_position=True)


INSTRUMENTS: Mapping[str, Instrument] = MappingProxyType(
    {
        made.name: made
        for family in (_basses, _guitars, _ukuleles, _mandolins, _banjos, _violins, _small)
        for made in family()
    }
)
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
