"""Order: the tunes of a folder from easy to hard.

**Theory.**  For the ear a tune is as hard as what it asks for: its *difficulty* is the sum of the
rungs of its material on the ladder (:mod:`fretpath.lesson.material`), what the student has met
left out.  Where two are equal, the one with the lower mean rank of four measures
(:func:`fretpath.lesson.measures.rank_means`) comes first; they share a number.

It follows that a tune which has all the material of another, is at least as hard in every ranked
measure and harder in one, never comes before it, whatever else is in the folder.

For the hand the order is the mean rank alone, on an axis of its own.

The teacher's will goes first: an order file puts its tunes at the front in its own order, and
``level: 3`` in a melody file puts that tune in third place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from fretpath.errors import RequestError, nearest
from fretpath.lesson.folder import USUAL_TEMPO, Tune
from fretpath.lesson.material import DEPARTURES, RUNGS, Topic, topic
from fretpath.lesson.measures import EAR_RANKED, HAND_RANKED, LEAPS, rank_means
from fretpath.music.words import counted, plural
from fretpath.page.tables import INDENT, WIDTH, clipped, indented, wrapped
from fretpath.values import Value

ACCURACY = (
    "How far to trust the order: over the 540 tonal melodies of the MeloSol corpus (D. J. Baker, "
    "2021), in the order of a printed sight-singing course, it put 88 of 100 pairs of tunes from "
    "different sections as the course has them, and 78 of 100 from neighboring sections (measured "
    "once for this project). The ladder follows B. Crowell, Eyes and Ears (2004-2017), where it "
    "says how leaps are learned; the rest is common practice. It is a start: move tunes with "
    "level: in a melody file or with an order file."
)
"""How far the order for the ear agrees with a printed course, and where its ladder comes from."""


@dataclass(frozen=True, slots=True)
class Lesson(Value):
    """One place in the order for the ear."""

    tune: Tune
    """The tune taught here."""
    place: int
    """Its number in the order, from 1; tunes as hard as each other share one."""
    difficulty: int
    """The sum of the rungs of its material, 0 or more."""
    rank: float
    """Its mean rank in this folder, 0 easiest to 1 hardest, which parts equal difficulties."""
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
    known = frozenset(met)
    ranks = _ranks(tunes, [_picked(tune.ear, EAR_RANKED) for tune in tunes])
    by_name = {tune.name: tune for tune in tunes}
    front = [_named(by_name, name) for name in order]
    placed = {tune.name for tune in front}
    levelled = [tune for tune in tunes if tune.level is not None and tune.name not in placed]
    placed |= {tune.name for tune in levelled}
    rest = [tune for tune in tunes if tune.name not in placed]
    rest.sort(key=lambda tune: (difficulty(tune, known), ranks[tune.name], tune.name))
    sequence = [*front, *rest]
    for tune in sorted(levelled, key=lambda tune: (tune.level, ranks[tune.name], tune.name)):
        assert tune.level is not None
        sequence.insert(round(tune.level) - 1, tune)
    return list(_lessons(sequence, ranks, placed, known))


def difficulty(tune: Tune, met: Iterable[Topic] = ()) -> int:
    """The sum of the rungs of what a tune asks for, beside what the student has met."""
    return sum(topic.rung for topic in tune.material.difference(met))


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


def _lessons(
    sequence: Iterable[Tune], ranks: dict[str, float], placed: set[str], met: frozenset[Topic]
) -> Iterator[Lesson]:
    known = set(met)
    before: Lesson | None = None
    for place, tune in enumerate(sequence, start=1):
        hard, free = difficulty(tune, met), tune.name not in placed
        shared = before and free and not before.placed and before.difficulty == hard
        before = Lesson(
            tune=tune,
            place=before.place if before and shared else place,
            difficulty=hard,
            rank=ranks[tune.name],
            new=tuple(sorted(tune.material - known)),
            repeats=tuple(sorted(tune.material & known)),
            placed=not free,
        )
        yield before
        known |= tune.material


# -- gaps ----------------------------------------------------------------------------------------


def gaps(tunes: Sequence[Tune]) -> list[str]:
    """Topics that no tune of the folder covers, and what only one of them does; a line each."""
    used = Counter(topic for tune in tunes for topic in tune.material)
    starts = [d for d in ("1", "3", "5") if all(tune.starts != d for tune in tunes)]
    missing = [topic(name) for name in _WANTED if topic(name) not in used]
    once = [one for one, count in used.items() if count == 1] if len(tunes) > 1 else []
    lines = [f"no tune starts on {', '.join(starts)}"] if starts else []
    lines += [f"in no tune: {in_short(missing, ranges=True)}"] if missing else []
    return lines + ([f"in one tune only: {in_short(once, ranges=True)}"] if once else [])


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
    blocks = ["\n".join(_ear_lines(lessons, measures)), "\n".join(wrapped(ACCURACY, WIDTH))]
    if instrument:
        blocks.append("\n".join(_hand_lines(tunes, instrument)))
    blocks.append("\n".join(_gap_lines(tunes)))
    return "\n\n".join(blocks) + "\n"


def _ear_lines(lessons: Sequence[Lesson], measures: bool) -> Iterator[str]:
    yield "FOR THE EAR, easy to hard"
    yield "difficulty: what a tune asks for, added up along the ladder of teaching"
    yield ""
    for lesson in lessons:
        star = "*" if lesson.placed else " "
        yield clipped(f"{lesson.place:>3}{star} {lesson.tune.title}", WIDTH - 17).ljust(64) + (
            f" difficulty {lesson.difficulty:>4}"
        )
        yield from indented(f"new: {news(lesson)}")
        if measures:
            yield from indented(f"brings back: {in_short(lesson.repeats) or 'nothing'}")
            yield from indented(_ear_figures(lesson.tune))
    if any(lesson.placed for lesson in lessons):
        yield f"{INDENT}* placed by the teacher"


def news(lesson: Lesson) -> str:
    """The news of a lesson, in short: ``degrees 1 2 3, half beats, range over an octave``."""
    return in_short(lesson.new) or "nothing"


def in_short(topics: Iterable[Topic], *, ranges: bool = False) -> str:
    """Topics by name, degrees drawn together; of the ranges only the widest, or all of them."""
    names = [topic.name for topic in sorted(topics)]
    degrees = [name.removeprefix("degree ") for name in names if name.startswith("degree ")]
    wide = [name for name in names if name.startswith("range ")]
    others = [name for name in names if not name.startswith(("degree ", "range "))]
    if degrees:
        others.insert(0, f"{plural(len(degrees), 'degree')} {' '.join(degrees)}")
    return ", ".join([*others, *(wide if ranges else wide[-1:])])


def _ear_figures(tune: Tune) -> str:
    """The measures in a teacher's words."""
    ear = tune.ear
    return (
        f"{counted(ear.notes, 'note')}, {ear.notes_per_beat:.2f} to a beat; "
        f"range {semitone_words(ear.range)}, largest interval "
        f"{semitone_words(ear.largest_interval)}; outside the key {ear.out_of_key:.0%} of the "
        f"notes; outside the tonic triad {ear.leaps_off_triad:.0%} of the leaps; variety of "
        f"pitches {ear.pitch_entropy:.1f}, of intervals {ear.interval_entropy:.1f} (bits)"
    )


_INTERVALS = (
    "unison", "minor 2nd", "major 2nd", "minor 3rd", "major 3rd", "4th", "tritone", "5th",
    "minor 6th", "major 6th", "minor 7th", "major 7th",
)  # fmt: skip


def semitone_words(semitones: int) -> str:
    """A distance as a teacher says it.

    >>> semitone_words(9), semitone_words(12), semitone_words(16)
    ('major 6th', 'octave', 'octave and major 3rd')
    """
    octaves, rest = divmod(semitones, 12)
    if not octaves:
        return _INTERVALS[rest]
    whole = "octave" if octaves == 1 else f"{octaves} octaves"
    return f"{whole} and {_INTERVALS[rest]}" if rest else whole


def _hand_lines(tunes: Sequence[Tune], instrument: str) -> Iterator[str]:
    yield f"FOR THE HAND, easy to hard, on the {instrument} in the octave that suits it"
    yield f"(tempo {USUAL_TEMPO} where a tune gives none)"
    yield ""
    heads = f"{'travel':>7} {'shifts':>6} {'fastest':>9} {'stretch':>7} {'rank':>5}"
    yield f"{'':<41} {heads}"
    order = by_hand(tunes)
    ranks = [rank for _, rank in order]
    for tune, rank in order:
        place, hand = ranks.index(rank) + 1, tune.hand
        assert hand is not None
        fastest = f"{hand.fastest_shift:.0f} mm/s" if hand.fastest_shift else "-"
        figures = f"{hand.travel:>4.0f} mm {hand.shifts:>6} {fastest:>9}"
        yield clipped(f"{place:>3}  {tune.title}", 41).ljust(41) + (
            f" {figures} {hand.widest_stretch:>4.0f} mm {rank:>5.2f}"
        )
    for tune in tunes:
        if tune.unplayable:
            yield from indented(f"not on this neck: {tune.unplayable}")
    yield ""
    yield _CAUTION


def _gap_lines(tunes: Sequence[Tune]) -> Iterator[str]:
    yield "GAPS in this folder"
    yield ""
    for line in gaps(tunes) or ["none of the topics a first course would cover"]:
        yield from indented(line)


def order_data(lessons: Sequence[Lesson], instrument: str) -> dict[str, Any]:
    """The same as plain data; shares 0 to 1, entropies in bits, mm and mm/s for the hand."""
    tunes = [lesson.tune for lesson in lessons]
    return {
        "instrument": instrument or None,
        "ear": [_lesson_data(lesson) for lesson in lessons],
        "hand": [
            {"place": place, "file": tune.name, "mean_rank": round(rank, 4)}
            for place, (tune, rank) in enumerate(by_hand(tunes), start=1)
        ],
        "gaps": gaps(tunes),
        "accuracy": ACCURACY,
    }


def _lesson_data(lesson: Lesson) -> dict[str, Any]:
    tune = lesson.tune
    return {
        "place": lesson.place,
        "difficulty": lesson.difficulty,
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
