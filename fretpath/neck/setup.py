"""A setup: everything a fingering depends on beside the music itself.

**Conventions.**  Whatever fingers music takes it first and then ``on``: the name of an instrument,
an :class:`~fretpath.neck.instrument.Instrument`, or a :class:`Setup`.  A name or an instrument
stands for its usual hand and prices and for no limits.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from fretpath.errors import RequestError
from fretpath.neck.card import Card
from fretpath.neck.catalogue import instrument_named
from fretpath.neck.hand import LETTER_FRETS, Hand, hand_named
from fretpath.neck.instrument import Instrument, Playing
from fretpath.neck.limits import AVOIDED, PREFERRED, Limits
from fretpath.neck.terms import Weights, usual_weights
from fretpath.values import Value, check_fields

Objective = Literal["total", "hardest"]
"""What is made least, see :attr:`Setup.objective`."""
RepeatFingering = Literal["same", "free"]
"""How a phrase that comes again is fingered, see :attr:`Setup.repeats`."""
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
    """What is played."""
    hand: Hand
    """Which finger reaches which fret."""
    weights: Weights
    """Prices of shifts, crossings, open strings and the like."""
    limits: Limits = field(default_factory=Limits)
    """What is never played."""
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
        before = on if isinstance(on, Setup) else None
        if isinstance(on, Setup):
            instrument = on.instrument
        else:
            instrument = instrument_named(on) if isinstance(on, str) else on
        if hand is None and before:
            hand = before.hand
        if weights is None:
            weights = (
                before.weights if before and playing is None else usual_weights(instrument, playing)
            )
        return cls(
            instrument,
            hand if isinstance(hand, Hand) else hand_named(hand or instrument.hand),
            weights,
            limits or (before.limits if before else Limits()),
            objective or (before.objective if before else "total"),
            repeats or (before.repeats if before else "same"),
        )

    @classmethod
    def from_card(cls, card: Card | str) -> Setup:
        """The setup of a student's card, or of the text of one.

        A card in a file is read with :func:`~fretpath.exchange.door.read_card`.
        """
        if isinstance(card, str):
            card = Card.parse(card)
        return cls(card.neck, card.fingers, card.prices, card.limits)


On = str | Instrument | Setup
"""What music can be fingered on."""
