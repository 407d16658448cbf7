"""The costs of a fingering: one table of terms, each with its price, its unit and its reason.

**Theory.**  A path of the hand costs the sum of its notes and its steps.  A *note term* looks at
one state of the hand (string, fret, position, finger), a *step term* at two that follow each other.
Each term is an amount times a price of :class:`Weights`, turned into whole thousandths of effort
and rounded once, so that sums are exact and ties are real ties.  Effort has no unit: 1 is what one
millimeter across the strings costs, and 0.42 mm of hand travel along the neck.

The search, ``--why``, the graph and the documents read :data:`TERMS` and nothing else, so a new
term is a field of :class:`Weights` and a function here.  A shift has more or less time; the
terms that this makes cheaper or dearer are ``timed``.

The prices that a player's own notes can teach were learned from 7,960 notes of three guitarists;
the rest are common practice, chosen by trial.  ``docs/hand_model.md`` tells which, and how.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from functools import partial
from itertools import pairwise
from typing import Any, get_args

import numpy as np

from fretpath.errors import RequestError, nearest
from fretpath.neck.hand import Ints, States
from fretpath.neck.instrument import Instrument, Playing
from fretpath.values import Value, check_fields

UNIT = 1000
"""Whole numbers a unit of effort."""
WIDE = 3
OCTAVE_FRET = 12
INDEX_SLIDE = 0.2
"""Share of the price of a slide that the index finger pays: it leads the hand, and is the finger
to take along where one must be (common practice; chosen by trial)."""
Amounts = Any
"""Shares of a price that states or steps pay, an array: numbers, or true for all of it."""


@dataclass(frozen=True)
class Weights(Value):
    """Named prices, and the limits they count from; each 0 or more."""

    shift: float = 2.4
    """For each mm the hand moves along the neck."""
    each_shift: float = 20.0
    """For each shift, however small."""
    slide: float = 30.0
    """For a shift that takes a finger along to another fret (the index finger pays a fifth), or
    that changes the finger on a note struck again."""
    landing: float = 10.0
    """For a shift up the neck that lands on finger 3 or 4."""
    across: float = 1.0
    """For each mm across the strings between two stopped notes."""
    across_open: float = 1.0
    """For each mm across the strings to or from an open string."""
    roll: float = 4.0
    """For finger 2, 3 or 4 on the same fret of another string."""
    contrary: float = 40.0
    """For a step to or from an open string that goes to a lower string for a higher note, or to a
    higher string for a lower one."""
    open: float = 25.0
    """For an open string (its sound differs, and a shape with open strings does not move to other
    keys)."""
    open_far: float = 1.5
    """For each mm of the hand beyond ``open_far_from`` while an open string sounds."""
    open_far_from: float = 140.0
    """Distance in mm from the nut up to which an open string lies near."""
    stopped: float = 0.0
    """For a stopped note."""
    extension: float = 60.0
    """For a finger that leaves its own fret."""
    little: float = 9.0
    """For the little finger three frets or more from the index finger."""
    region: float = 0.092
    """For each mm between the hand and its home; nearer than ``region_round``, rounded off to
    nothing."""
    region_at: float = 143.0
    """Home of the index finger in mm from the nut."""
    region_round: float = 150.0
    """Distance in mm within which the pull home fades away."""
    region_level: float = 2000.0
    """Distance in mm from home beyond which the pull grows no more."""
    high: float = 0.1
    """For each mm of the hand beyond the octave of the open strings, fret 12."""
    outer: float = 7.0
    """For each string between a string and the middle of the neck, less half a one: on four strings
    the outer two cost this once, on six the outer four once or twice."""
    reentrant: float = 3.0
    """For an open string that sounds above its upper neighbor, as the g of a ukulele does."""
    reentrant_stopped: float = 12.0
    """For stopping such a string."""
    short_string: float = 200.0
    """For stopping a string that begins above the nut, as the fifth of a banjo does."""
    hurried: float = 1.2
    """Factor on a shift when the notes follow each other fast."""
    hurried_below: float = 0.16
    """Seconds from onset to onset that are fast."""
    rested: float = 0.85
    """Factor on a shift after an open string, over a bar line, or over a rest."""
    rested_from: float = 0.06
    """Seconds between two notes that count as a rest."""
    rest_halves: float = 0.25
    """Seconds of rest that halve the price of a shift once more."""

    def __post_init__(self) -> None:
        for field in fields(self):
            value = getattr(self, field.name)
            if isinstance(value, int | float) and not 0 <= value <= 10_000:
                raise RequestError(f"the weight {field.name} is 0 to 10000, not {value}")
        check_fields(self)

    def set(self, settings: str) -> Weights:
        """These weights with some replaced: ``Weights().set("shift=2,open=0")``."""
        changed: dict[str, float] = {}
        names = [field.name for field in fields(self)]
        for part in settings.split(","):
            name, _, value = part.partition("=")
            name = name.strip().replace("-", "_")
            if name not in names:
                raise RequestError(
                    f'unknown weight "{name[:40]}"{nearest(name, names)} '
                    f"(known: {', '.join(names)})"
                )
            try:
                changed[name] = float(value)
            except ValueError:
                raise RequestError(f"the weight {name} needs a number: {name}=1.5") from None
        return replace(self, **changed)


IN_POSITION = Weights()
"""Stop most notes, near the middle of the low neck: what is usual on bass and guitar."""
OPEN_POSITION = Weights(
    shift=2.0,
    across=0.4,
    across_open=0.0,
    open=0.0,
    little=5.0,
    outer=0.0,
    region=0.5,
    region_at=60.0,
    region_round=40.0,
)
"""Stay low on the neck, where open strings and all strings are at hand: what is usual on ukulele,
banjo, mandolin and the violin family, and where guitarists begin (common practice; chosen by
trial).  ``region_at`` is set to fret 1 of the instrument, or 2 where fingers are two frets or a
letter apart, ``region_level`` to fret 4, and ``open_far_from`` to fret 4 where that is nearer."""
PLAYING = get_args(Playing)
"""The ways of playing, each with a set of prices."""


def usual_weights(instrument: Instrument, playing: str | None = None) -> Weights:
    """The prices for a way of playing, one of :data:`PLAYING`; None is the instrument's usual one.

    >>> from fretpath.neck.catalogue import instrument_named
    >>> usual_weights(instrument_named("guitar"), "open-position").open
    0.0
    """
    playing = playing or instrument.playing
    if playing not in PLAYING:
        raise RequestError(
            f'unknown way of playing "{playing[:40]}"{nearest(playing, PLAYING)} '
            f"(known: {', '.join(PLAYING)})"
        )
    if playing == "in-position":
        return IN_POSITION
    home = instrument.distance(2 if instrument.hand in ("diatonic", "by-letter") else 1)
    level = instrument.distance(4) - home
    far = min(OPEN_POSITION.open_far_from, instrument.distance(4))
    changes = {"region_at": home, "region_level": level, "open_far_from": far}
    return replace(OPEN_POSITION, **{name: round(mm, 1) for name, mm in changes.items()})


# -- the table ------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Term:
    """One thing that costs effort."""

    name: str
    """The field of :class:`Weights` that holds its price."""
    unit: str
    """Unit of the price."""
    words: str
    """Words for a reader of ``--why``."""
    evidence: str
    """Where the price comes from."""
    amount: Callable[..., Amounts]
    """Shares of its price that states pay, or steps between states laid side by side."""
    step: bool
    """Whether steps pay it and not notes."""
    timed: bool
    """Whether more time makes it cheaper, and less time dearer."""


_TABLE: list[Term] = []


def _term(
    unit: str, words: str, evidence: str, *, step: bool, timed: bool = False
) -> Callable[[Callable[..., Amounts]], Callable[..., Amounts]]:
    """Enter an amount in the table, under the name of its function."""

    def enter(amount: Callable[..., Amounts]) -> Callable[..., Amounts]:
        name = amount.__name__.removeprefix("_")
        _TABLE.append(Term(name, unit, words, evidence, amount, step, timed))
        return amount

    return enter


_note_term, _step_term = partial(_term, step=False), partial(_term, step=True)


# -- step terms: how much of its price a step pays ------------------------------------------------


@_step_term(
    "per mm",
    "the hand along the neck",
    "the dominant axis: Radicioni & Lombardo 2005; travel in mm chose places slightly better "
    "than travel in frets: Rau 2016; value learned",
    timed=True,
)
def _shift(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    return np.abs(neck.distances(before.position) - neck.distances(after.position))


@_step_term(
    "each",
    "a shift at all",
    "common practice: one long shift before many small ones; chosen by trial",
    timed=True,
)
def _each_shift(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    return before.position != after.position


@_step_term(
    "each",
    "a finger taken along, or changed on one note",
    "common practice: a shift is a change of finger; chosen by trial",
)
def _slide(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    """A shift, so the finger comes to another fret; or another finger at the same place."""
    shifts = (before.position != after.position) & (before.finger > 0)
    kept = shifts & (before.finger == after.finger)
    same = (before.string == after.string) & (before.fret == after.fret) & (before.finger > 0)
    changed = same & (before.finger != after.finger)
    return changed + kept * np.where(before.finger == 1, INDEX_SLIDE, 1.0)


@_step_term(
    "each",
    "a shift up onto finger 3 or 4",
    "common practice: shift up onto the index or middle finger; chosen by trial",
)
def _landing(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    return (after.position > before.position) & (after.finger >= 3)


def _crossing(neck: Instrument, before: States, after: States) -> Amounts:
    """Millimeters across the strings, at the spacing midway between the two frets' own."""
    table = neck.string_spacings
    spacing = (table[before.fret] + table[after.fret]) / 2
    return np.abs(before.string - after.string) * spacing


@_step_term(
    "per mm",
    "from string to string",
    "the cheap axis: Radicioni & Lombardo 2005; sets the scale",
)
def _across(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    stopped = (before.finger > 0) & (after.finger > 0)
    return np.where(stopped, _crossing(neck, before, after), 0.0)


@_step_term(
    "per mm",
    "to or from an open string",
    "as `across`, and 0 in open position: the left hand does not cross (common practice)",
)
def _across_open(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    stopped = (before.finger > 0) & (after.finger > 0)
    return np.where(stopped, 0.0, _crossing(neck, before, after))


@_step_term(
    "each",
    "one finger at one fret of two strings",
    "common practice: another finger, or the index finger laid flat; chosen by trial",
)
def _roll(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    same = (before.fret == after.fret) & (before.finger == after.finger) & (before.finger >= 2)
    return same & (before.string != after.string)


def _out_of_order(neck: Instrument, at: States) -> Amounts:
    """Whether each state is on a string that sounds above its upper neighbor."""
    midi = [pitch.midi for pitch in neck.open_pitches]
    higher = [False, False, *(low > high for high, low in pairwise(midi))]
    return np.array(higher)[at.string]


@_step_term(
    "each",
    "to or from an open string against the order of the strings",
    "common practice: a line does not go to a lower string for a higher note; chosen by trial",
)
def _contrary(neck: Instrument, before: States, after: States, weights: Weights) -> Amounts:
    """Not on a string that is out of the order of pitch: there it is the way to play."""
    opened = (before.finger == 0) | (after.finger == 0)
    against = (after.midi - before.midi) * (after.string - before.string) > 0
    ordered = ~(_out_of_order(neck, before) | _out_of_order(neck, after))
    return opened & against & ordered


# -- note terms: how much of its price a state pays -----------------------------------------------


@_note_term(
    "each",
    "an open string",
    "learned: the players fret almost every note; a limit can avoid, forbid or prefer it",
)
def _open(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return at.finger == 0


@_note_term(
    "per mm",
    "an open string while the hand is far up",
    "common practice: no lone open string in high positions; chosen by trial",
)
def _open_far(neck: Instrument, at: States, weights: Weights) -> Amounts:
    beyond = np.maximum(neck.distances(at.position) - weights.open_far_from, 0.0)
    return np.where(at.finger == 0, beyond, 0.0)


@_note_term("each", "a stopped note", "only where open strings are preferred")
def _stopped(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return at.finger > 0


@_note_term("each", "a finger off its fret", "learned, and nearly without influence")
def _extension(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return at.extended


@_note_term(
    "each",
    "the little finger",
    "learned: the players keep shapes of three frets and move a fret rather than stretch over "
    "four; the one addition that helped for a player left out",
)
def _little(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return (at.finger > 0) & (at.fret - at.position >= WIDE)


@_note_term(
    "per mm",
    "the hand away from home",
    "joints like the middle of their range: Heijink & Meulenbroek 2002; value learned",
)
def _region(neck: Instrument, at: States, weights: Weights) -> Amounts:
    """The pull home, rounded off near home so that it has no corner, and level far from it."""
    away = np.abs(neck.distances(at.position) - weights.region_at)
    away = np.minimum(away, weights.region_level)
    curve = max(weights.region_round, 1e-9)
    return np.where(away < curve, away**2 / (2 * curve), away - curve / 2)


@_note_term(
    "per mm",
    "the hand beyond fret 12",
    "common practice: the neck meets the body there, and the thumb leaves it; chosen by trial",
)
def _high(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return np.maximum(neck.distances(at.position) - neck.distance(OCTAVE_FRET), 0.0)


@_note_term("per string", "an outermost string", "learned; without it the agreement falls most")
def _outer(neck: Instrument, at: States, weights: Weights) -> Amounts:
    middle = (len(neck.strings) + 1) / 2
    return np.maximum(np.abs(at.string - middle) - 0.5, 0.0)


@_note_term("each", "a string out of the order of pitch", "common practice; chosen by trial")
def _reentrant(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return _out_of_order(neck, at) & (at.finger == 0)


@_note_term(
    "each",
    "a stopped string out of the order of pitch",
    "common practice; chosen by trial",
)
def _reentrant_stopped(neck: Instrument, at: States, weights: Weights) -> Amounts:
    return _out_of_order(neck, at) & (at.finger > 0)


@_note_term(
    "each",
    "a short string stopped",
    "common practice: the fifth string of a banjo is played open; chosen by trial",
)
def _short_string(neck: Instrument, at: States, weights: Weights) -> Amounts:
    short = np.array([False, *(string.nut > 0 for string in neck.strings)])
    return short[at.string] & (at.finger > 0)


TERMS = tuple(_TABLE)
"""Every term, in the order in which ``--why`` names them."""
TIMED = frozenset(term.name for term in TERMS if term.timed)
"""Names of the terms that time makes cheaper or dearer."""


def note_parts(neck: Instrument, at: States, weights: Weights) -> dict[str, Ints]:
    """Costs of states by themselves, term by term; each of shape (states,), thousandths."""
    return _parts(neck, weights, at, step=False)


def step_parts(
    neck: Instrument, before: States, after: States, weights: Weights
) -> dict[str, Ints]:
    """Costs of steps between states laid side by side, term by term, at their plain price.

    The cost of the notes themselves is not in it.  Each of shape (states,), thousandths.
    """
    return _parts(neck, weights, before, after, step=True)


def _parts(neck: Instrument, weights: Weights, *states: States, step: bool) -> dict[str, Ints]:
    prices = {term: getattr(weights, term.name) for term in TERMS if term.step == step}
    return {
        term.name: np.rint(price * term.amount(neck, *states, weights) * UNIT).astype(np.int64)
        for term, price in prices.items()
        if price
    }
