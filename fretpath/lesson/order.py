"""Order: the tunes of a folder from easy to hard.

**Theory.**  For the ear the order is built as a path of lessons.  Beginning with what has been
met, all tunes that bring nothing new come first; then the tune that brings the fewest new topics,
where possible one; then again what it has made ready; and so on.  Between tunes with as many new
topics the one whose new topics stand lower on the ladder (:mod:`fretpath.lesson.material`) comes
first, then the one with the lower mean rank (:func:`fretpath.lesson.measures.rank_means`).

It follows that a tune which has all the material of another, is at least as hard in every ranked
measure and harder in one, never comes before it, whatever else is in the folder.

For the hand the order is the mean rank alone, on an axis of its own.

The teacher's will goes first: an order file puts its tunes at the front in its own order, and
``level: 3`` in a melody file puts that tune in third place.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fretpath.errors import RequestError, nearest
from fretpath.lesson.folder import USUAL_TEMPO, Tune
from fretpath.lesson.function import LEAPS
from fretpath.lesson.indented import INDENT, WIDTH, clipped, wrapped
from fretpath.lesson.material import DEPARTURES, RUNGS, Topic, topic
from fretpath.lesson.measures import EAR_RANKED, HAND_RANKED, rank_means
from fretpath.music.words import plural

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
    new: tuple[Topic, ...]
    """What it introduces, low rungs first."""
    repeats: tuple[Topic, ...]
    """What it brings back that was met before."""
    placed: bool = False
    """Whether the teacher put it here."""


def by_ear(
    tunes: Sequence[Tune], *, order: Sequence[str] = (), met: Iterable[Topic] = ()
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
    tunes: Sequence[Tune], ranks: dict[str, float], known: frozenset[Topic]
) -> Iterator[Tune]:
    """The path of lessons; at most as many rounds as there are topics on the ladder."""
    groups: dict[frozenset[Topic], list[Tune]] = {}
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
    new: frozenset[Topic], tunes: list[Tune], ranks: dict[str, float]
) -> tuple[int, list[int], float, str]:
    rungs = sorted((topic.rung for topic in new), reverse=True)
    return len(new), rungs, ranks[tunes[0].name], tunes[0].name


def _lessons(
    sequence: Iterable[Tune], ranks: dict[str, float], placed: set[str], known: set[Topic]
) -> Iterator[Lesson]:
    for tune in sequence:
        new = tuple(sorted(tune.material - known))
        repeats = tuple(sorted(tune.material & known))
        yield Lesson(tune, ranks[tune.name], new, repeats, tune.name in placed)
        known |= tune.material


# -- gaps ----------------------------------------------------------------------------------------


def gaps(tunes: Sequence[Tune]) -> list[str]:
    """What no tune of the folder covers, and what only one of them does; one sentence each."""
    used: dict[Topic, int] = {}
    for tune in tunes:
        for one in tune.material:
            used[one] = used.get(one, 0) + 1
    lines = [
        f"nothing yet starts on {degree}"
        for degree in ("1", "3", "5")
        if all(tune.starts != degree for tune in tunes)
    ]
    missing = [name for name in _WANTED if topic(name) not in used]
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


# -- page ----------------------------------------------------------------------------------------

_CAUTION = (
    "Hand figures are distances, not advice: stop if it hurts, use 1-2-4 or a higher\n"
    "position, and ask a teacher or a clinician."
)


def order_page(lessons: Sequence[Lesson], instrument: str, *, measures: bool = False) -> str:
    """Both orders, the gaps, and how far to trust them; with *measures*, every measure too.

    *instrument* is its name, or empty to leave the hand out.
    """
    tunes = [lesson.tune for lesson in lessons]
    blocks = ["\n".join(_ear_lines(lessons, measures)), ACCURACY]
    if instrument:
        blocks.append("\n".join(_hand_lines(tunes, instrument)))
    blocks.append("\n".join(_gap_lines(tunes)))
    return "\n\n".join(blocks) + "\n"


def _ear_lines(lessons: Sequence[Lesson], measures: bool) -> Iterator[str]:
    yield "FOR THE EAR, easy to hard"
    yield "what is new first, then the mean rank: 0 easiest, 1 hardest of this folder"
    yield ""
    for place, lesson in enumerate(lessons, start=1):
        star = "*" if lesson.placed else " "
        yield clipped(f"{place:>3}{star} {lesson.tune.title}", WIDTH - 5).ljust(75) + (
            f" {lesson.rank:.2f}"
        )
        yield from wrapped(f"new: {news(lesson)}")
        if measures:
            yield from wrapped(f"brings back: {in_short(lesson.repeats) or 'nothing'}")
            yield from wrapped(_ear_figures(lesson.tune))
    if any(lesson.placed for lesson in lessons):
        yield f"{INDENT}* placed by the teacher"


def news(lesson: Lesson) -> str:
    """What a lesson introduces, in short: ``degrees 1 2 3, half beats, range over an octave``."""
    return in_short(lesson.new) or "nothing"


def in_short(topics: Iterable[Topic]) -> str:
    """Topics by name, degrees drawn together and only the widest of the ranges named."""
    names = [topic.name for topic in sorted(topics)]
    degrees = [name.removeprefix("degree ") for name in names if name.startswith("degree ")]
    ranges = [name for name in names if name.startswith("range ")]
    others = [name for name in names if not name.startswith(("degree ", "range "))]
    if degrees:
        others.insert(0, f"{plural(len(degrees), 'degree')} {' '.join(degrees)}")
    return ", ".join([*others, *ranges[-1:]])


def _ear_figures(tune: Tune) -> str:
    ear = tune.ear
    return (
        f"pitch entropy {ear.pitch_entropy:.2f} bits; off the key {ear.out_of_key:.0%}; "
        f"range {ear.range} and largest interval {ear.largest_interval} semitones; "
        f"interval entropy {ear.interval_entropy:.2f} bits; "
        f"leaps off the tonic triad {ear.leaps_off_triad:.0%}; "
        f"{ear.notes} notes, {ear.notes_per_beat:.2f} a beat"
    )


def _hand_lines(tunes: Sequence[Tune], instrument: str) -> Iterator[str]:
    yield f"FOR THE HAND, easy to hard, on the {instrument} in the octave that suits it"
    yield f"(tempo {USUAL_TEMPO} where a tune gives none)"
    yield ""
    heads = f"{'travel':>7} {'shifts':>6} {'fastest':>9} {'stretch':>7} {'rank':>5}"
    yield f"{'':<41} {heads}"
    for place, (tune, rank) in enumerate(by_hand(tunes), start=1):
        hand = tune.hand
        assert hand is not None
        fastest = f"{hand.fastest_shift:.0f} mm/s" if hand.fastest_shift else "-"
        figures = f"{hand.travel:>4.0f} mm {hand.shifts:>6} {fastest:>9}"
        yield clipped(f"{place:>3}  {tune.title}", 41).ljust(41) + (
            f" {figures} {hand.widest_stretch:>4.0f} mm {rank:>5.2f}"
        )
    for tune in tunes:
        if tune.unplayable:
            yield from wrapped(f"not on this neck: {tune.unplayable}")
    yield ""
    yield _CAUTION


def _gap_lines(tunes: Sequence[Tune]) -> Iterator[str]:
    yield "GAPS in this folder"
    yield ""
    for line in gaps(tunes) or ["none of the topics a first course would cover"]:
        yield from wrapped(line)


def order_data(lessons: Sequence[Lesson], instrument: str) -> dict[str, Any]:
    """The same as plain data; shares 0 to 1, entropies in bits, mm and mm/s for the hand."""
    tunes = [lesson.tune for lesson in lessons]
    return {
        "instrument": instrument or None,
        "ear": [_lesson_data(place, lesson) for place, lesson in enumerate(lessons, start=1)],
        "hand": [
            {"place": place, "file": tune.name, "mean_rank": round(rank, 4)}
            for place, (tune, rank) in enumerate(by_hand(tunes), start=1)
        ],
        "gaps": gaps(tunes),
        "accuracy": " ".join(ACCURACY.split()),
    }


def _lesson_data(place: int, lesson: Lesson) -> dict[str, Any]:
    tune = lesson.tune
    return {
        "place": place,
        "file": tune.name,
        "title": tune.title,
        "placed_by_teacher": lesson.placed,
        "mean_rank": round(lesson.rank, 4),
        "new": [str(topic) for topic in lesson.new],
        "repeats": [str(topic) for topic in lesson.repeats],
        "starts_on": tune.starts,
        "ends_on": tune.ends,
        "ear_measures": _rounded(asdict(tune.ear)),
        "hand_measures": _rounded(asdict(tune.hand)) if tune.hand else None,
        "unplayable": tune.unplayable or None,
    }


def _rounded(figures: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 4) for name, value in figures.items()}
