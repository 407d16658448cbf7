"""An instrument: its strings, its frets, and the distances between them.

**Conventions.**  String 1 is the top line of the tab, and strings are numbered in their physical
order whatever they sound (MusicXML 4.0: 1 is the highest full-length string).  Fret 0 is the open
string.  A capo is the new nut: with a capo every fret is counted from it.  A string may begin
above the nut, as the fifth string of a banjo does at fret 5; its frets keep the numbers of the
neck, and 0 is still its open sound.

Fret n lies at ``L * (1 - 2 ** (-n / 12))`` from the nut, in equal temperament.  Distances in mm.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError
from fretpath.music.pitch import Pitch
from fretpath.values import Value, check_fields

MM_PER_INCH = 25.4
MAX_STRINGS = 12
MAX_FRETS = 36
Playing = Literal["in-position", "open-position"]
"""A way of playing: fret most notes, or stay low on the neck among the open strings."""


def fret_distance(fret: float, scale_length: float) -> float:
    """Distance from the nut to a fret, in the unit of ``scale_length``.

    >>> fret_distance(12, 863.6)
    431.8
    """
    return scale_length * (1 - 2 ** (-fret / 12))


@dataclass(frozen=True, slots=True)
class String(Value):
    """One string (or course)."""

    open: Pitch
    """Its open sound, without a capo."""
    nut: int = 0
    """The fret at which it begins: 0, or 5 for the short string of a banjo."""

    def __post_init__(self) -> None:
        check_fields(self)
        if not 0 <= self.nut < MAX_FRETS:
            raise RequestError(f"a string begins at fret 0 to {MAX_FRETS - 1}, not {self.nut}")


@dataclass(frozen=True)
class Instrument(Value):
    """A fretted (or fretless) instrument as the hand meets it."""

    name: str
    """Its name, such as ``bass``."""
    strings: tuple[String, ...]
    """String 1 (top line of the tab) first."""
    scale_length: float
    """Nut to bridge in mm, without a capo."""
    frets: int
    """Highest fret of the neck; on a fretless neck, the highest semitone."""
    spacing: tuple[float, float] = (9.0, 14.0)
    """Distance between neighboring strings in mm: at the nut, at the bridge."""
    capo: int = 0
    """Fret under the capo, 0 for none."""
    playing: Playing = "in-position"
    """Its usual way of playing, which decides the prices used unless others are asked for:
    ``in-position`` (they fret most notes) or ``open-position`` (low on the neck, among the open
    strings)."""
    hand: str = "one-finger-per-fret"
    """Name of the hand model used unless another is asked for."""
    fretless: bool = False
    """True where the numbers in the tab are semitones and not frets."""
    written: int = 0
    """Octaves that music for it is written above its sound."""
    program: int = 25
    """General MIDI Level 1 program, 1 to 128."""
    basis: str = ""
    """Where the figures come from."""

    def __post_init__(self) -> None:
        check_fields(self)
        if not 1 <= len(self.strings) <= MAX_STRINGS:
            raise RequestError(f"an instrument has 1 to {MAX_STRINGS} strings")
        if not 1 <= self.frets <= MAX_FRETS:
            raise RequestError(f"the number of frets is 1 to {MAX_FRETS}, not {self.frets}")
        if not all(1 <= gap <= 100 for gap in self.spacing):
            raise RequestError(
                "neighboring strings lie 1 to 100 mm apart, at the nut and at the bridge, not "
                f"{' and '.join(f'{gap:g}' for gap in self.spacing)} mm"
            )
        if not 100 <= self.scale_length <= 2000:
            raise RequestError(
                f"a scale length is 100 to 2000 mm (4 to 78 in), not {self.scale_length:g} mm"
            )
        if not 0 <= self.capo < self.frets:
            raise RequestError(f"the capo is 0 to {self.frets - 1}, not {self.capo}")
        if any(string.nut + self.capo >= self.frets for string in self.strings):
            raise RequestError("a short string with this capo begins beyond the last fret")

    @property
    def frets_free(self) -> int:
        """Highest fret counted from the capo."""
        return self.frets - self.capo

    @cached_property
    def open_pitches(self) -> tuple[Pitch, ...]:
        """The sound of each string at fret 0, the capo included; string 1 first."""
        return tuple(_raise_pitch(string.open, self.capo) for string in self.strings)

    @cached_property
    def string_names(self) -> tuple[str, ...]:
        """Labels for the tab, string 1 first.

        Letters of the open strings; small for the higher of two strings of the same name and for
        a string that sounds above its upper neighbor (the g of a ukulele).
        """
        pitches = [string.open for string in self.strings]
        names = []
        for i, pitch in enumerate(pitches):
            others = [p for j, p in enumerate(pitches) if j != i and p.name == pitch.name]
            high = any(p.midi < pitch.midi for p in others)
            reentrant = i > 0 and pitch.midi > pitches[i - 1].midi
            names.append(pitch.name.lower() if high or reentrant else pitch.name)
        return tuple(names)

    @property
    def tuning(self) -> str:
        """Open strings as spoken, string n first, without the capo: ``E1 A1 D2 G2``."""
        return " ".join(str(string.open) for string in reversed(self.strings))

    def midi_at(self, string: int, fret: int) -> int | None:
        """MIDI number at (string, fret), or None where the string has no such fret.

        Raises :class:`RequestError` for a string that the instrument has not.

        >>> from fretpath.neck.catalogue import instrument_named
        >>> instrument_named("bass").midi_at(string=4, fret=7)
        35
        """
        if not 1 <= string <= len(self.strings):
            raise RequestError(f"strings are 1 to {len(self.strings)} here, not {string}")
        nut = self.strings[string - 1].nut
        if not (fret == 0 or nut < fret <= self.frets_free):
            return None
        return self.open_pitches[string - 1].midi + max(0, fret - nut)

    def places_of(self, midi: int) -> tuple[tuple[int, int], ...]:
        """Every (string, fret) that sounds ``midi``, string 1 first."""
        places = []
        for number, (string, pitch) in enumerate(
            zip(self.strings, self.open_pitches, strict=True), start=1
        ):
            up = midi - pitch.midi
            fret = up + string.nut if up else 0
            if up >= 0 and fret <= self.frets_free:
                places.append((number, fret))
        return tuple(places)

    @cached_property
    def range(self) -> tuple[int, int]:
        """Lowest and highest MIDI number on the neck."""
        low = min(pitch.midi for pitch in self.open_pitches)
        tops = (
            pitch.midi + self.frets_free - string.nut
            for string, pitch in zip(self.strings, self.open_pitches, strict=True)
        )
        return low, max(tops)

    @property
    def free_length(self) -> float:
        """Sounding length in mm of a full open string: the scale length less what a capo takes."""
        return self.scale_length - fret_distance(self.capo, self.scale_length)

    def distance(self, fret: float) -> float:
        """Distance in mm from the nut (or the capo) to a fret."""
        return fret_distance(fret, self.free_length)

    def distances(self, frets: NDArray[np.int64]) -> NDArray[np.float64]:
        """:meth:`distance` of many frets at once, in an array of the same shape."""
        return self.free_length * (1 - 2.0 ** (-frets / 12))

    @cached_property
    def string_spacings(self) -> NDArray[np.float64]:
        """Distances in mm between neighboring strings at every fret from 0 on."""
        nut, bridge = self.spacing
        under_capo = fret_distance(self.capo, self.scale_length)
        along = under_capo + self.distances(np.arange(self.frets_free + 1))
        return nut + (bridge - nut) * along / self.scale_length

    def with_changes(
        self,
        *,
        tuning: str | None = None,
        frets: int | None = None,
        scale_length: str | float | None = None,
        capo: int | None = None,
        name: str | None = None,
        spacing: tuple[float, float] | None = None,
        hand: str | None = None,
        playing: Playing | None = None,
    ) -> Instrument:
        """The same instrument with changes; whatever is None stays as it is.

        >>> from fretpath.neck.catalogue import instrument_named
        >>> mine = instrument_named("bass").with_changes(tuning="D1 A1 D2 G2", name="my bass")
        >>> mine.name, mine.tuning, mine.spacing
        ('my bass', 'D1 A1 D2 G2', (10.0, 19.0))

        A scale length is in mm, or text such as ``30in``.
        """
        if isinstance(scale_length, str):
            scale_length = parse_scale_length(scale_length)
        changes: dict[str, Any] = {
            "strings": None if tuning is None else self._retune(tuning),
            "basis": None if tuning is None else "tuning as given",
            "frets": frets,
            "scale_length": scale_length,
            "capo": capo,
            "name": name,
            "spacing": spacing,
            "hand": hand,
            "playing": playing,
        }
        return replace(self, **{name: new for name, new in changes.items() if new is not None})

    def _retune(self, tuning: str) -> tuple[String, ...]:
        pitches = parse_tuning(tuning)
        nuts = [string.nut for string in self.strings]
        if len(nuts) != len(pitches):
            nuts = [0] * len(pitches)
        return tuple(String(p, nut) for p, nut in zip(pitches, nuts, strict=True))


def octaves_for(midi: Sequence[int], instrument: Instrument) -> range:
    """By how many octaves sounds can be moved so that all lie between the ends of the neck."""
    low, high = instrument.range
    return range(-((min(midi) - low) // 12), (high - max(midi)) // 12 + 1)


def _raise_pitch(pitch: Pitch, semitones: int) -> Pitch:
    """``pitch`` raised by a capo, spelled as the trade usually spells open strings."""
    return Pitch.from_midi(pitch.midi + semitones, flattest=-4) if semitones else pitch


def parse_tuning(text: str) -> tuple[Pitch, ...]:
    """Open strings from text, string n first as spoken; the result has string 1 first.

    >>> [str(p) for p in parse_tuning("D1 A1 D2 G2")]
    ['G2', 'D2', 'A1', 'D1']
    """
    words = text.replace(",", " ").split()
    if not 1 <= len(words) <= MAX_STRINGS:
        raise RequestError(
            f'a tuning names 1 to {MAX_STRINGS} open strings, lowest-named first: "E1 A1 D2 G2"'
        )
    pitches = tuple(Pitch.parse(word) for word in reversed(words))
    for pitch in pitches:
        if not 0 <= pitch.midi <= 127:
            raise RequestError(f"open string {pitch} is outside C-1 to G9")
    return pitches


def parse_scale_length(text: str) -> float:
    """A scale length in mm from ``34in`` or ``864mm``.

    >>> parse_scale_length("30in")
    762.0
    """
    length = length_in_mm(text)
    if length is None:
        raise RequestError(f'"{text[:40]}" is not a scale length: write 34in or 864mm')
    return length


def length_in_mm(text: str) -> float | None:
    """The length that ``30in`` or ``762mm`` says, in whole micrometers; None for other text."""
    match = re.fullmatch(r"(\d{1,4}(?:\.\d{1,3})?)\s*(in|mm)", text.strip())
    return round(float(match[1]) * (MM_PER_INCH if match[2] == "in" else 1), 3) if match else None
