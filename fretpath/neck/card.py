"""A student's card: the instrument, the hand and what is known so far, in one small text.

**Form.**  A card is TOML (toml.io, version 1.0): one entry a line, all of them optional, and a
table ``[weights]`` with the prices that differ from the usual ones.  Entries have the names of the
options they stand for::

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
from collections.abc import Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from fretpath.errors import RequestError, ScoreFileError, nearest
from fretpath.music.key import Degree
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.hand import Hand, hand_named, reaching
from fretpath.neck.instrument import Instrument
from fretpath.neck.limits import Limits
from fretpath.neck.terms import Weights, usual_weights
from fretpath.values import Value, check_fields

LARGEST = 64 * 1024
"""Characters of a card that are read."""


@dataclass(frozen=True)
class Card(Value):
    """The facts known of a student; whatever is None is as usual.

    >>> card = Card.parse('student = "Wren"\\ninstrument = "ukulele"\\nreach = "80mm"')
    >>> card.student, card.neck.name, card.fingers.largest_span
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
        self.limits.check(self.neck)
        assert self.fingers
        assert self.prices

    @property
    def neck(self) -> Instrument:
        """The instrument as the student has it."""
        return instrument_named(self.instrument or "bass").with_changes(
            tuning=self.tuning, frets=self.frets, scale_length=self.scale_length, capo=self.capo
        )

    @property
    def fingers(self) -> Hand:
        """The hand model, with the student's reach."""
        return reaching(hand_named(self.hand or self.neck.hand), self.reach)

    @property
    def prices(self) -> Weights:
        """The usual prices, with those of the card in their places."""
        return replace(usual_weights(self.neck, self.playing), **dict(self.weights))

    @property
    def limits(self) -> Limits:
        """The limits of what the student is asked to play."""
        return Limits(highest_fret=self.highest_fret, accidentals=self.accidentals)

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
                value = _checked(name, entries[name])
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
"""What an entry holds that is not text in quotes."""


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
    lines = [f"{name} = {_written(value)}" for name, value in entries.items()]
    if card.weights:
        lines += ["", "[weights]", *(f"{name} = {float(price)!r}" for name, price in card.weights)]
    return "\n".join(lines) + "\n"


def _written(value: str | int) -> str:
    """A value as TOML has it; in text, what could end it or steer a terminal is escaped."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value)
    return '"' + "".join(map(_escaped, value)) + '"'


def _escaped(char: str) -> str:
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


def _checked(name: str, value: Any) -> Any:
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
