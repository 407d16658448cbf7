"""Where a melody leaves its scale: for each of its keys, what holds the notes and what does not.

For each key: the smallest scale that holds everything, the mode (or modes) of the seven that hold
most of it, each note outside the stated scale, and the account of each
(:mod:`fretpath.music.accounts`).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from fretpath.music.accounts import COMMON_FIRST, Account, accounts_of, departure_name
from fretpath.music.key import SCALES, Degree, Key, Scale
from fretpath.music.melody import Melody
from fretpath.music.roles import Passage, base_scale, named_degree, passages
from fretpath.music.scales import difference
from fretpath.values import Value


@dataclass(frozen=True, slots=True)
class Departure(Value):
    """One note outside the stated scale."""

    note: int
    """Index among the struck notes of the melody."""
    bar: int
    """Bar number, 0 for a pickup."""
    place: str
    """``bar 3``, ``pickup``, or ``note 7`` where the text has no bar lines."""
    degree: Degree
    """The degree, with its octave."""
    name: str
    """The degree in words, such as ``raised fourth``."""
    kind: str
    """The kind of its account, one of :data:`KINDS`."""


@dataclass(frozen=True)
class ScaleReading(Value):
    """One passage (the notes under one key) against its scale."""

    key: Key
    """The key as stated."""
    stated: Scale
    """The scale its notes are measured against."""
    place: str
    """Where it stands: ``bars 1 to 8`` or ``notes 1 to 12``."""
    smallest: Scale | None
    """The smallest known scale that holds every note; None if there is none."""
    modes: tuple[Scale, ...]
    """Of the seven modes, those that hold most of the passage; the commonest first."""
    share: Fraction
    """Part of the sounding time that these modes hold, 0 to 1."""
    undecided: tuple[str, ...]
    """Degrees that would decide between several modes, where no form of them sounds."""
    color: str
    """What sets a mode apart from plain major or minor (or a later key on the same tonic from the
    first one), and where it sounds; empty if nothing does."""
    departures: tuple[Departure, ...]
    """Every note outside the stated scale, in order."""
    accounts: tuple[Account, ...]
    """The smallest account of them: each note outside the scale in one, and no others."""


def read_scales(melody: Melody, *, against: Scale | None = None) -> tuple[ScaleReading, ...]:
    """A reading for each key of the melody.

    >>> from fretpath.music.notation import parse_melody
    >>> reading = read_scales(parse_melody("1 2 3 #4 5 6 7 8", key="F"))[0]
    >>> reading.smallest.name, reading.departures[0].name, reading.accounts[0].title
    ('lydian', 'raised fourth', 'lydian')

    *against* measures every note against that scale instead of the stated one.  Raises
    :class:`RequestError` when the melody has no key.
    """
    found = passages(melody)
    return tuple(_reading(passage, against or passage.key.scale, found[0].key) for passage in found)


def _reading(passage: Passage, stated: Scale, first: Key) -> ScaleReading:
    accounts = accounts_of(passage, stated)
    modes, share = best_modes(passage, stated)
    return ScaleReading(
        key=passage.key,
        stated=stated,
        place=passage.stretch(passage.notes),
        smallest=smallest_scale(passage.names, stated),
        modes=modes,
        share=share,
        undecided=_undecided(passage, modes),
        color=_color(passage, stated, first),
        departures=_departures(passage, stated, accounts),
        accounts=accounts,
    )


def _departures(
    passage: Passage, stated: Scale, accounts: tuple[Account, ...]
) -> tuple[Departure, ...]:
    kinds = {note: account.kind for account in accounts for note in account.notes}
    return tuple(
        Departure(
            note=note.index,
            bar=note.bar,
            place=passage.place(note),
            degree=note.degree,
            name=departure_name(note.name, stated),
            kind=kinds[note.index],
        )
        for note in passage.notes
        if note.degree and note.name not in stated.names
    )


def smallest_scale(names: frozenset[str], stated: Scale) -> Scale | None:
    """The smallest scale holding these simple degrees as spelled; None if no scale does.

    Scales with a perfect fifth, and with no other third than the tune's, come first; of equal
    ones the nearest to the stated scale.
    """
    held = [scale for scale in SCALES.values() if names.issubset(scale.names)]
    thirds = names & {"3", "b3"}

    def order(scale: Scale) -> tuple[bool, bool, int, int]:
        foreign = len(set(scale.names) - set(stated.names))
        other_third = bool(thirds) and not {"3", "b3"} & set(scale.names) <= thirds
        return "5" not in scale.names, other_third, len(scale.names), foreign

    return min(held, key=order, default=None)


def best_modes(passage: Passage, stated: Scale) -> tuple[tuple[Scale, ...], Fraction]:
    """The modes that hold most of the sounding time, and the part of it that they hold.

    Of equal ones the nearest to the stated scale comes first, then the commoner one.
    """
    total = sum((note.beats for note in passage.notes), Fraction(0))
    inside = {name: passage.held(SCALES[name]) for name in COMMON_FIRST}
    most = max(inside.values())
    best = [SCALES[name] for name in COMMON_FIRST if inside[name] == most]
    best.sort(key=lambda mode: len(set(mode.names) ^ set(base_scale(stated).names)))
    return tuple(best), most / total


def _undecided(passage: Passage, modes: tuple[Scale, ...]) -> tuple[str, ...]:
    shared = set.intersection(*(set(mode.names) for mode in modes))
    sounding = {named_degree(name).number for name in passage.names}
    loose = {name for mode in modes for name in mode.names if name not in shared}
    silent = [name for name in loose if named_degree(name).number not in sounding]
    return tuple(sorted(silent, key=lambda name: (named_degree(name).number, name)))


def _color(passage: Passage, stated: Scale, first: Key) -> str:
    """Degrees a mode has that plain major or minor (or the tune's first key) has not, and where."""
    base = base_scale(stated)
    plain = SCALES["natural minor" if "b3" in base.names else "major"]
    if passage.key.tonic == first.tonic and passage.key != first:
        plain = base_scale(first.scale)
    own = difference(base, plain)
    if not own.has:
        return ""
    notes = passage.named(*map(str, own.has))
    return f"{own}: {passage.places(notes) if notes else 'but it never sounds here'}"
