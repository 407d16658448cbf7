"""A setup: everything a fingering depends on beside the music itself, and a card that holds it.

**Conventions.**  Whatever fingers music takes it first and then ``on``: the name of an instrument,
an :class:`~fretpath.neck.instrument.Instrument`, or a :class:`Setup`.  A name or an instrument
stands for its usual hand and prices and for no limits.

**Limits** are what the teacher (or the student's hand) will not have otherwise.  What a limit rules
out is never played, and if nothing is left, that is said.  Only ``avoid`` and ``prefer`` for open
strings are prices.  Frets count from the capo, strings from 1 (top line), positions from 1.

**A card** is what is known of a student, in TOML (toml.io, version 1.0): one entry a line, all of
them optional, and a table ``[weights]`` with the prices that differ from the usual ones.  Entries
have the names of the options they stand for::

    student = "Wren"
    instrument = "ukulele"
    left_handed = true
    reach = "80mm"
    known_degrees = "1 2 3 5"

    [weights]
    region_at = 110.0

What is wrong is an error with the line it stands in.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from typing import Any, Literal, get_args

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, ScoreFileError, nearest
from fretpath.music.key import Degree
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.hand import LETTER_FRETS, Hand, States, hand_named, with_reach
from fretpath.neck.instrument import Instrument, Playing
from fretpath.neck.terms import Weights, usual_weights
from fretpath.values import Value, check_fields

# -- limits ---------------------------------------------------------------------------------------

OpenStrings = Literal["allow", "avoid", "forbid", "prefer"]
"""The words for open strings, see :attr:`Limits.open_strings`."""
OPEN_STRINGS = get_args(OpenStrings)
MOST_ACCIDENTALS = 7
AVOIDED = 75.0
"""Effort that ``avoid`` adds to an open string."""
PREFERRED = 50.0
"""Effort that ``prefer`` adds to a stopped note."""


@dataclass(frozen=True, slots=True)
class Start(Value):
    """Where the first note is played."""

    string: int
    """String number, 1 is the top line of the tab."""
    fret: int
    """Fret, 0 is open."""
    finger: int | None = None
    """1 to 4, 0 for an open string; None leaves it open."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.string < 1 or self.fret < 0 or self.finger not in (None, 0, 1, 2, 3, 4):
            raise RequestError("a start is a string from 1, a fret from 0, and a finger 0 to 4")

    @classmethod
    def parse(cls, text: str) -> Start:
        """Read ``4-7`` (string and fret) or ``4-7-2`` (and finger)."""
        match = re.fullmatch(r"(\d{1,2})-(\d{1,2})(?:-([0-4]))?", text.strip())
        if match is None:
            raise RequestError(
                f'"{text[:40]}" is not a place to start: write string-fret or string-fret-finger, '
                "such as 4-7 or 4-7-2"
            )
        return cls(int(match[1]), int(match[2]), int(match[3]) if match[3] else None)

    def __str__(self) -> str:
        finger = "" if self.finger is None else f"-{self.finger}"
        return f"{self.string}-{self.fret}{finger}"


@dataclass(frozen=True)
class Limits(Value):
    """Limits on where and how the melody is played; the default allows everything."""

    lowest_fret: int = 0
    """No fretted note below this fret (open strings are a limit of their own)."""
    highest_fret: int | None = None
    """No note above this fret; None is the end of the neck."""
    strings: tuple[int, ...] | None = None
    """Only these strings; None is all of them."""
    one_string: bool = False
    """The whole melody on one string, whichever costs least."""
    position: int | None = None
    """Hold the hand in this position; None lets it move."""
    no_shift: bool = False
    """Hold the hand in one position, whichever costs least."""
    open_strings: OpenStrings = "allow"
    """allow, avoid (an open string costs 75 more), forbid, or prefer (a stopped note costs 50
    more)."""
    start: Start | None = None
    """Where the first note is played; None leaves it open."""
    accidentals: int | None = None
    """The most sharps or flats of a key that is chosen for a tune; a key that is given stays."""

    def __post_init__(self) -> None:
        check_fields(self)
        if self.strings is not None and not self.strings:
            raise RequestError("no string is left to play on: name one or more, such as 1,2")

    def check(self, instrument: Instrument) -> None:
        """Raise :class:`RequestError` if a limit makes no sense on the instrument."""
        top = instrument.frets_free
        if self.highest_fret is not None and not 0 <= self.highest_fret <= top:
            raise RequestError(f"the highest fret is 0 to {top} here, not {self.highest_fret}")
        if not 0 <= self.lowest_fret <= top:
            raise RequestError(f"the lowest fret is 0 to {top} here, not {self.lowest_fret}")
        if self.highest_fret is not None and self.lowest_fret > self.highest_fret:
            raise RequestError(
                f"the lowest fret {self.lowest_fret} is above the highest, {self.highest_fret}; "
                "drop one of the two"
            )
        if self.position is not None and not 1 <= self.position <= top:
            raise RequestError(f"a position is 1 to {top} here, not {self.position}")
        if self.accidentals is not None and not 0 <= self.accidentals <= MOST_ACCIDENTALS:
            raise RequestError(
                f"a key has 0 to {MOST_ACCIDENTALS} sharps or flats, not {self.accidentals}"
            )
        for string in (*(self.strings or ()), *((self.start.string,) if self.start else ())):
            if not 1 <= string <= len(instrument.strings):
                raise RequestError(
                    f"there is no string {string}: this instrument has strings 1 (top line) "
                    f"to {len(instrument.strings)}"
                )

    def allow(self, states: States) -> NDArray[np.bool_]:
        """Which states the limits leave; shape (states,)."""
        fretted = states.finger > 0
        keep = ~fretted | (states.fret >= self.lowest_fret)
        if self.highest_fret is not None:
            keep &= states.fret <= self.highest_fret
        if self.strings is not None:
            keep &= np.isin(states.string, self.strings)
        if self.position is not None:
            keep &= states.position == self.position
        if self.open_strings == "forbid":
            keep &= fretted
        return keep

    def without_one(self) -> Iterator[tuple[str, Limits]]:
        """Each limit as the command line writes it, and the limits without it."""
        for limit in fields(self):
            value = getattr(self, limit.name)
            if value == limit.default:
                continue
            option = f"--{limit.name.replace('_', '-')}"
            shown = ",".join(map(str, value)) if isinstance(value, tuple) else str(value)
            text = option if value is True else f"{option} {shown}"
            dropped: dict[str, Any] = {limit.name: limit.default}
            yield text, replace(self, **dropped)


# -- a setup --------------------------------------------------------------------------------------

Objective = Literal["total", "hardest"]
"""The measure that is made least, see :attr:`Setup.objective`."""
RepeatFingering = Literal["same", "free"]
"""The fingering of a phrase that comes again, see :attr:`Setup.repeats`."""
OBJECTIVES = get_args(Objective)
REPEATS = get_args(RepeatFingering)


@dataclass(frozen=True)
class Setup(Value):
    """An instrument, a hand, its prices, its limits, and what is made least.

    >>> Setup.of("bass").hand.name
    'one-finger-per-fret'
    >>> Setup.of("guitar", playing="open-position", limits=Limits(highest_fret=5)).weights.open
    0.0
    """

    instrument: Instrument
    """The instrument played."""
    hand: Hand
    """Which finger reaches which fret."""
    weights: Weights
    """Prices of shifts, crossings, open strings and the like."""
    limits: Limits = field(default_factory=Limits)
    """Limits on what is played."""
    objective: Objective = "total"
    """``total`` (least effort in all) or ``hardest`` (least effort among the fingerings without a
    step more than twice as hard as it must be)."""
    repeats: RepeatFingering = "same"
    """``same``: a phrase that comes again is fingered the same; ``free``: each for itself."""

    def __post_init__(self) -> None:
        check_fields(self)
        self.limits.check(self.instrument)
        position = self.limits.position
        if self.hand.by_letter and position is not None and position not in LETTER_FRETS:
            raise RequestError(
                f"position {position}: fingers follow letters here, and positions are named by "
                "their fret: 2 (the first), 3 (second), 5 (third), 7 (fourth), 9, 10, 12 ..."
            )

    @property
    def prices(self) -> Weights:
        """The weights, with what the limit on open strings adds: avoided or preferred."""
        weights, wanted = self.weights, self.limits.open_strings
        if wanted == "avoid":
            return replace(weights, open=weights.open + AVOIDED)
        if wanted == "prefer":
            return replace(weights, stopped=weights.stopped + PREFERRED)
        return weights

    @classmethod
    def of(
        cls,
        on: On = "bass",
        *,
        hand: str | Hand | None = None,
        playing: Playing | None = None,
        weights: Weights | None = None,
        limits: Limits | None = None,
        objective: Objective | None = None,
        repeats: RepeatFingering | None = None,
    ) -> Setup:
        """A setup from the name of an instrument, an instrument or a setup, with changes.

        *playing* (``in-position`` or ``open-position``) picks a set of prices unless *weights* are
        given.  Raises :class:`RequestError` for unknown names and limits the instrument has not.
        """
        if isinstance(on, str):
            on = instrument_named(on)
        if isinstance(hand, str):
            hand = hand_named(hand)
        if isinstance(on, Instrument):
            on = cls(on, hand or hand_named(on.hand), usual_weights(on))
        if weights is None and playing is not None:
            weights = usual_weights(on.instrument, playing)
        given: dict[str, Any] = {
            "hand": hand,
            "weights": weights,
            "limits": limits,
            "objective": objective,
            "repeats": repeats,
        }
        changes = {name: new for name, new in given.items() if new is not None}
        return replace(on, **changes) if changes else on

    @classmethod
    def from_card(cls, card: Card | str) -> Setup:
        """The setup of a student's card, or of the text of one.

        A card in a file is read with :func:`~fretpath.exchange.door.read_card`.
        """
        return (Card.parse(card) if isinstance(card, str) else card).setup


On = str | Instrument | Setup
"""Whatever music can be fingered on."""


# -- a student's card ------------------------------------------------------------------------------

LARGEST = 64 * 1024
"""Characters of a card that are read."""


@dataclass(frozen=True)
class Card(Value):
    """The facts known of a student; whatever is None is as usual.

    >>> card = Card.parse('student = "Wren"\\ninstrument = "ukulele"\\nreach = "80mm"')
    >>> card.student, card.neck.name, card.setup.hand.largest_span
    ('Wren', 'ukulele', 80.0)
    """

    student: str | None = None
    """Name of the student."""
    instrument: str | None = None
    """Name of the instrument; None is the bass."""
    tuning: str | None = None
    """Open strings, string n first: ``D1 A1 D2 G2``."""
    frets: int | None = None
    """Highest fret of the neck."""
    scale_length: str | None = None
    """Nut to bridge: ``30in`` or ``762mm``."""
    capo: int | None = None
    """Fret under the capo."""
    left_handed: bool = False
    """Whether charts have the nut on the right."""
    hand: str | None = None
    """Name of the hand model."""
    reach: str | None = None
    """Widest span from the index finger: ``80mm`` or ``3.5in``."""
    highest_fret: int | None = None
    """No note above this fret."""
    accidentals: int | None = None
    """The most sharps or flats of a key that is chosen for the student."""
    playing: str | None = None
    """Way of playing, ``in-position`` or ``open-position``."""
    known_degrees: str | None = None
    """Degrees that the student knows: ``1 2 3 5``."""
    weights: tuple[tuple[str, float], ...] = ()
    """Prices that differ from the usual ones, by name."""

    def __post_init__(self) -> None:
        check_fields(self)
        for degree in (self.known_degrees or "").split():
            Degree.parse(degree)
        _ = self.setup  # raises what does not fit together

    @property
    def neck(self) -> Instrument:
        """The instrument as the student has it."""
        return instrument_named(self.instrument or "bass").with_changes(
            tuning=self.tuning, frets=self.frets, scale_length=self.scale_length, capo=self.capo
        )

    @property
    def setup(self) -> Setup:
        """The instrument, the hand with the student's reach, prices and limits."""
        neck = self.neck
        return Setup(
            neck,
            with_reach(hand_named(self.hand or neck.hand), self.reach),
            replace(usual_weights(neck, self.playing), **dict(self.weights)),
            Limits(highest_fret=self.highest_fret, accidentals=self.accidentals),
        )

    @property
    def entries(self) -> dict[str, Any]:
        """Whatever is not as usual, by name."""
        usual = {field.name: field.default for field in fields(self)}
        return {name: getattr(self, name) for name in usual if getattr(self, name) != usual[name]}

    @classmethod
    def parse(cls, text: str, source: str = "card") -> Card:
        """Read a card; *source* names it in messages.

        Raises :class:`ScoreFileError` for what is no TOML and :class:`RequestError` with the line
        for an entry that is unknown or wrong.
        """
        card = cls()
        entries = _entries(text, source)
        for name in sorted(entries, key=_ORDER.index):
            try:
                value = _check_entry(name, entries[name])
                card = replace(card, **{name: value})
            except RequestError as problem:
                prices = entries[name] if name == "weights" else ()
                at = next((price for price in prices if price in str(problem)), name)
                raise RequestError(f"{source}{_line_of(at, text)}: {problem}") from None
        return card


_ORDER = [field.name for field in fields(Card)]
_KINDS: Mapping[str, tuple[type[Any], str]] = {
    "frets": (int, "a whole number"),
    "capo": (int, "a whole number"),
    "highest_fret": (int, "a whole number"),
    "accidentals": (int, "a whole number"),
    "left_handed": (bool, "true or false"),
    "weights": (dict, "a table of its own: [weights], and the prices under it"),
}
"""Kinds of the entries that are not text in quotes."""


def format_card(card: Card) -> str:
    """A card as text; :meth:`Card.parse` reads it back.

    >>> print(format_card(Card(student="Wren", capo=2, weights=(("open", 5.0),))), end="")
    student = "Wren"
    capo = 2
    <BLANKLINE>
    [weights]
    open = 5.0
    """
    entries = card.entries
    entries.pop("weights", None)
    lines = [f"{name} = {_toml(value)}" for name, value in entries.items()]
    if card.weights:
        lines += ["", "[weights]", *(f"{name} = {float(price)!r}" for name, price in card.weights)]
    return "\n".join(lines) + "\n"


def _toml(value: str | int) -> str:
    """A value as TOML has it; in text, what could end it or steer a terminal is escaped."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    return '"' + "".join(map(_escape, value)) + '"'


def _escape(char: str) -> str:
    return char if char.isprintable() and char not in '"\\' else f"\\U{ord(char):08x}"


def _entries(text: str, source: str) -> dict[str, Any]:
    """The entries of a card, each of a known name."""
    import tomllib

    if len(text) > LARGEST:
        raise ScoreFileError(f"{source} is too long for a card ({LARGEST // 1024} KB at most)")
    try:
        entries = tomllib.loads(text)
    except (ValueError, RecursionError) as problem:
        raise ScoreFileError(
            f"{source} is not a card: {str(problem)[:200]}; a card has lines such as "
            'instrument = "ukulele"'
        ) from None
    for name in entries:
        if name not in _ORDER:
            raise RequestError(
                f'{source}{_line_of(name, text)}: unknown entry "{name[:40]}"'
                f"{nearest(name, _ORDER)} (known: {', '.join(_ORDER)})"
            )
    return entries


def _check_entry(name: str, value: Any) -> Any:
    """The value of an entry; :class:`RequestError` if it is of another kind."""
    kind, words = _KINDS.get(name, (str, 'text in quotes, such as "..."'))
    if type(value) is not kind:
        raise RequestError(f"{name} is {words}, not {str(value)[:40]}")
    if name != "weights":
        return value
    for price, number in value.items():
        if type(number) not in (int, float):
            raise RequestError(f"the weight {price[:40]} needs a number: {price[:40]} = 1.5")
        Weights().set(f"{price}={number}")
    return tuple((price, float(number)) for price, number in value.items())


def _line_of(name: str, text: str) -> str:
    """Where an entry or a table begins, for a message."""
    pattern = re.compile(rf"\s*(?:\[\s*)?[\"']?{re.escape(name)}[\"']?\s*[]=.]")
    lines = text.split("\n")
    found = [number for number, line in enumerate(lines, start=1) if pattern.match(line)]
    return f", line {found[0]}" if found else ""
