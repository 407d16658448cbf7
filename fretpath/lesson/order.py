"""Order: the tunes of a folder from easy to hard.

**Theory.**  For the ear the order is built as a path of lessons.  Beginning with what has been
met, all tunes that bring nothing new come first; then the tune that brings the fewest new things,
where possible one; then again what it has made ready; and so on.  Between tunes with as many new
things the one whose new things stand lower on the ladder (:mod:`fretpath.lesson.material`) comes
first, then the one with the lower mean rank (:func:`fretpath.lesson.measures.rank_means`).

It follows that a tune which has all the material of another, is at least as hard in every ranked
measure and harder in one, never comes before it, whatever else is in the folder.

For the hand the order is the mean rank alone, on an axis of its own.

The teacher's will goes first: an order file puts its tunes at the front in its own order, and
``level: 3`` in a melody file puts that tune in third place.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from fretpath.errors import RequestError, nearest
from fretpath.lesson.folder import Tune
from fretpath.lesson.function import LEAPS
from fretpath.lesson.material import DEPARTURES, RUNGS, Thing, thing
from fretpath.lesson.measures import EAR_RANKED, HAND_RANKED, rank_means

__all__ = ["ACCURACY", "Lesson", "by_ear", "by_hand", "format_order", "gaps", "parse_order"]

ACCURACY = (
    "How far to trust the order: against one sight-singing textbook, the ranking used\n"
    "here put 84 of 100 pairs of tunes from different sections in the book's order,\n"
    "and 73 of 100 from neighbouring sections.  It is a start: move tunes as you see\n"
    "fit, with level: in a melody file or with an order file."
)
"""What the order by ear can claim (the ranking's own test; the gate by material was not in it)."""


@dataclass(frozen=True, slots=True)
class Lesson:
    """One place in the order by ear."""

    tune: Tune
    """The tune taught here."""
    rank: float
    """Its mean rank in this folder, 0 easiest to 1 hardest."""
    new: tuple[Thing, ...]
    """What it introduces, low rungs first."""
    repeats: tuple[Thing, ...]
    """What it brings back that was met before."""
    placed: bool = False
    """Whether the teacher put it here."""


def by_ear(
    tunes: Sequence[Tune], *, order: Sequence[str] = (), met: Iterable[Thing] = ()
) -> list[Lesson]:
    """The tunes in teaching order, each with what it introduces.

    *order* names files that come first, as they are written; *met* is what the student brings
    along.  Raises :class:`RequestError` for a name that is not among the tunes.
    """
    ranks = _ranks(tunes, [_picked(tune.ear, EAR_RANKED) for tune in tunes])
    by_name = {tune.name: tune for tune in tunes}
    front = [_named(by_name, name) for name in order]
    placed = {tune.name for tune in front}
    levelled = [tune for tune in tunes if tune.level is not None and tune.name not in placed]
    placed |= {tune.name for tune in levelled}
    known = frozenset(met).union(*(tune.material for tune in front))
    rest = [tune for tune in tunes if tune.name not in placed]
    sequence = [*front, *_path(rest, ranks, known)]
    for tune in sorted(levelled, key=lambda tune: (tune.level, ranks[tune.name], tune.name)):
        assert tune.level is not None
        sequence.insert(round(tune.level) - 1, tune)
    return list(_lessons(sequence, ranks, placed, set(met)))


def by_hand(tunes: Sequence[Tune]) -> list[tuple[Tune, float]]:
    """The tunes the instrument can play, easiest for the hand first, with their mean ranks.

    A mean rank is 0 for the easiest of these tunes in every measure of the hand, 1 for the hardest.
    Tunes that were measured without a neck, or cannot be played on it, are left out.
    """
    playable = [tune for tune in tunes if tune.hand]
    ranks = _ranks(playable, [_picked(tune.hand, HAND_RANKED) for tune in playable])
    order = sorted(playable, key=lambda tune: (ranks[tune.name], tune.name))
    return [(tune, ranks[tune.name]) for tune in order]


def _ranks(tunes: Sequence[Tune], values: Sequence[Sequence[float]]) -> dict[str, float]:
    means = rank_means(values).tolist()
    return {tune.name: mean for tune, mean in zip(tunes, means, strict=True)}


def _picked(measures: object, names: Iterable[str]) -> list[float]:
    return [float(getattr(measures, name)) for name in names]


def _named(by_name: dict[str, Tune], name: str) -> Tune:
    if name not in by_name:
        raise RequestError(
            f'the order file names "{name[:60]}", which is not in the folder'
            f"{nearest(name, by_name)}"
        )
    return by_name[name]


def _path(
    tunes: Sequence[Tune], ranks: dict[str, float], known: frozenset[Thing]
) -> Iterator[Tune]:
    """The path of lessons; at most as many rounds as there are things on the ladder."""
    groups: dict[frozenset[Thing], list[Tune]] = {}
    for tune in sorted(tunes, key=lambda tune: (ranks[tune.name], tune.name)):
        groups.setdefault(tune.material, []).append(tune)
    while groups:
        ready = [material for material in groups if material <= known]
        if not ready:
            following = min(
                groups, key=lambda group: _distance(group - known, groups[group], ranks)
            )
            known |= following
            yield groups[following].pop(0)
            continue
        found = [tune for material in ready for tune in groups.pop(material)]
        yield from sorted(found, key=lambda tune: (ranks[tune.name], tune.name))


def _distance(
    new: frozenset[Thing], tunes: list[Tune], ranks: dict[str, float]
) -> tuple[int, list[int], float, str]:
    rungs = sorted((thing.rung for thing in new), reverse=True)
    return len(new), rungs, ranks[tunes[0].name], tunes[0].name


def _lessons(
    sequence: Iterable[Tune], ranks: dict[str, float], placed: set[str], known: set[Thing]
) -> Iterator[Lesson]:
    for tune in sequence:
        new = tuple(sorted(tune.material - known))
        repeats = tuple(sorted(tune.material & known))
        yield Lesson(tune, ranks[tune.name], new, repeats, tune.name in placed)
        known |= tune.material


# -- gaps ----------------------------------------------------------------------------------------


def gaps(tunes: Sequence[Tune]) -> list[str]:
    """What no tune of the folder covers, and what only one of them does; one sentence each."""
    used: dict[Thing, int] = {}
    for tune in tunes:
        for one in tune.material:
            used[one] = used.get(one, 0) + 1
    lines = [
        f"nothing yet starts on {degree}"
        for degree in ("1", "3", "5")
        if all(tune.starts != degree for tune in tunes)
    ]
    missing = [name for name in _WANTED if thing(name) not in used]
    lines.extend(f"nothing yet has: {name}" for name in missing)
    once = sorted(one for one, count in used.items() if count == 1)
    lines.extend(f"met once and never again: {one}" for one in once if len(tunes) > 1)
    return lines


_WANTED = sorted(
    {f"degree {number}" for number in range(1, 8)}
    | {f"{degree} off the key" for degree in DEPARTURES}
    | set(LEAPS[:-2])
    | {"half beats", "rests", "dotted lengths", "three in a bar", "pickup"},
    key=lambda name: (RUNGS[name], name),
)
"""What a first course would cover (our choice)."""


# -- order files ---------------------------------------------------------------------------------


def parse_order(text: str) -> list[str]:
    """The file names of an order file: one a line; empty lines and lines with ; are skipped.

    >>> parse_order("; week 1\\nferry_bell.txt\\n\\nnight_crane.txt\\n")
    ['ferry_bell.txt', 'night_crane.txt']

    Raises :class:`RequestError` when a name stands twice.
    """
    lines = [line.strip() for line in text.removeprefix("\ufeff").splitlines()]
    names = [line for line in lines if line and not line.startswith(";")]
    twice = [name for at, name in enumerate(names) if name in names[:at]]
    if twice:
        raise RequestError(f'the order file names "{twice[0][:60]}" twice; keep one')
    return names


def format_order(names: Iterable[str]) -> str:
    """The text of an order file; :func:`parse_order` reads it back."""
    return "".join(f"{name}\n" for name in ("; one file a line, easy to hard", *names))
