"""Order: the tunes of a folder from easy to hard.

**Theory.**  For the ear a tune is as hard as what it asks for: its *difficulty* is the sum of the
rungs of its material on the ladder (:mod:`fretpath.lesson.material`), what the student has met
left out.  Where two are equal, the one with the lower mean rank of four measures
(:func:`rank_means`) comes first; they share a number.

It follows that a tune which has all the material of another, is at least as hard in every ranked
measure and harder in one, never comes before it, whatever else is in the folder.

For the hand the order is the mean rank alone, on an axis of its own.

The teacher's will goes first: an order file puts its tunes at the front in its own order, and
``level: 3`` in a melody file puts that tune in third place.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fretpath.errors import RequestError, nearest
from fretpath.lesson.material import DEPARTURES, LEAPS, RUNGS, Topic
from fretpath.lesson.tune import USUAL_TEMPO, Tune
from fretpath.music.words import counted, plural
from fretpath.neck.arrangement import Figures
from fretpath.page.tables import INDENT, WIDTH, indent_lines, shorten, table, wrap
from fretpath.values import Value, to_dict

ACCURACY = (
    "How far to trust the order: over the 540 tonal melodies of the MeloSol corpus (D. J. Baker, "
    "2021), in the order of a printed sight-singing course, it put 88 of 100 pairs of tunes from "
    "different sections as the course has them, and 78 of 100 from neighboring sections (measured "
    "once for this project). The ladder follows B. Crowell, Eyes and Ears (2004-2017), where it "
    "says how leaps are learned; the rest is common practice. It is a start: move tunes with "
    "level: in a melody file or with an order file."
)
"""How far the order for the ear agrees with a printed course, and where its ladder comes from."""


EAR_RANKED = ("pitch_entropy", "out_of_key", "range", "largest_interval")
"""The measures whose ranks are averaged, each with the same weight.

On 540 tonal melodies of one sight-singing textbook this mean followed the order of the book with
Spearman's rho .75, put 84 % of pairs from different sections in the book's order and 73 % from
neighboring sections (measured once for this project; not published figures).
"""

HAND_RANKED = ("travel", "shifts", "fastest_shift", "widest_stretch")
"""The measures of the hand whose ranks are averaged, each with the same weight (our choice)."""


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
    """Topics it introduces, low rungs first."""
    repeats: tuple[Topic, ...]
    """Topics it brings back that were met before."""
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
    ranks = _ranks([tune.ear for tune in tunes], EAR_RANKED)
    lessons = {
        tune.name: Lesson(tune, 1, difficulty(tune, known), rank, (), ())
        for tune, rank in zip(tunes, ranks, strict=True)
    }
    front = [lessons.pop(_known_name(tunes, name)) for name in order]
    rest = sorted(lessons.values(), key=lambda one: (one.difficulty, one.rank, one.tune.name))
    sequence = [replace(one, placed=True) for one in front]
    sequence += [one for one in rest if one.tune.level is None]
    levels = [(one.tune.level, one.rank, one.tune.name) for one in rest if one.tune.level]
    for level, _, name in sorted(levels):
        sequence.insert(round(level) - 1, replace(lessons[name], placed=True))
    return in_this_order(sequence, known)


def in_this_order(lessons: Iterable[Lesson], met: Iterable[Topic] = ()) -> list[Lesson]:
    """The lessons with the place, the news and the repeats they have as they stand."""
    known = set(met)
    found: list[Lesson] = []
    for place, lesson in enumerate(lessons, start=1):
        before = found[-1] if found else None
        level = before and before.difficulty == lesson.difficulty
        shared = before and level and not (before.placed or lesson.placed)
        material = lesson.tune.material
        found.append(
            replace(
                lesson,
                place=before.place if before and shared else place,
                new=tuple(sorted(material - known)),
                repeats=tuple(sorted(material & known)),
            )
        )
        known |= material
    return found


def difficulty(tune: Tune, met: Iterable[Topic] = ()) -> int:
    """The sum of the rungs of what a tune asks for, beside what the student has met."""
    return sum(topic.rung for topic in tune.material.difference(met))


def by_hand(tunes: Sequence[Tune]) -> list[tuple[Tune, float]]:
    """The tunes the instrument can play, easiest for the hand first, with their mean ranks.

    A mean rank is 0 for the easiest of these tunes in every measure of the hand, 1 for the hardest.
    Tunes that were measured without a neck, or cannot be played on it, are left out.
    """
    playable = [tune for tune in tunes if tune.hand]
    ranks = _ranks([tune.hand for tune in playable], HAND_RANKED)
    rows = zip(playable, ranks, strict=True)
    return sorted(rows, key=lambda row: (row[1], row[0].name))


def _ranks(measures: Iterable[object], names: Sequence[str]) -> list[float]:
    """The mean rank of each in the measures named; one that is None counts as 0."""
    rows = [[float(getattr(each, name) or 0) for name in names] for each in measures]
    return [float(mean) for mean in rank_means(rows)]


def _known_name(tunes: Iterable[Tune], name: str) -> str:
    """The name of a tune as an order file has it; :class:`RequestError` for another."""
    names = [tune.name for tune in tunes]
    if name not in names:
        raise RequestError(
            f'the order file names "{name[:60]}", which is not in the folder{nearest(name, names)}'
        )
    return name


def rank_means(values: Sequence[Sequence[float]]) -> NDArray[np.float64]:
    """Equal-weight mean of ranks, 0 (easiest in every measure) to 1 (hardest in every one).

    >>> rank_means([[2.0, 7.0], [1.0, 5.0], [3.0, 5.0]]).tolist()
    [0.75, 0.125, 0.625]

    *values* has one row a tune and one column a measure; equal values share their mean rank.
    The result has one number a row and depends on the company: it compares the tunes of a folder
    and means nothing by itself.
    """
    rows = np.array(values, dtype=np.float64)
    if len(rows) < 2:
        return np.zeros(len(rows))
    twice = [np.searchsorted(np.sort(column), column, "left") for column in rows.T]
    twice += [np.searchsorted(np.sort(column), column, "right") - 1 for column in rows.T]
    means: NDArray[np.float64] = np.mean(twice, axis=0) / (len(rows) - 1)
    return means


# -- gaps ----------------------------------------------------------------------------------------


def gaps(tunes: Sequence[Tune]) -> list[str]:
    """Topics that no tune of the folder covers, and what only one of them does; a line each."""
    used = Counter(topic for tune in tunes for topic in tune.material)
    starts = [d for d in ("1", "3", "5") if all(tune.starts != d for tune in tunes)]
    missing = [one for one in map(Topic.parse, _WANTED) if one not in used]
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
"""Topics that a first course would cover (our choice)."""


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
    blocks = ["\n".join(_ear_lines(lessons, measures)), "\n".join(wrap(ACCURACY, WIDTH))]
    if instrument:
        blocks.append("\n".join(_hand_lines(tunes, instrument)))
    blocks.append("\n".join(_gap_lines(tunes)))
    return "\n\n".join(blocks) + "\n"


def _ear_lines(lessons: Sequence[Lesson], measures: bool) -> Iterator[str]:
    yield "FOR THE EAR, easy to hard"
    yield "difficulty: what a tune asks for, added up along the ladder of teaching"
    yield ""
    rows = [
        (
            f"{lesson.place}{'*' if lesson.placed else ' '}",
            shorten(lesson.tune.title, 56) + " ",
            "difficulty",
            lesson.difficulty,
        )
        for lesson in lessons
    ]
    for line, lesson in zip(table(rows, align="rllr", gap=1), lessons, strict=True):
        yield f" {line}"
        yield from indent_lines(f"new: {news(lesson)}")
        if measures:
            yield from indent_lines(f"brings back: {in_short(lesson.repeats) or 'nothing'}")
            yield from indent_lines(_ear_figures(lesson.tune))
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
    order = by_hand(tunes)
    ranks = [rank for _, rank in order]
    rows = [
        (ranks.index(rank) + 1, shorten(tune.title, 34), *_hand_figures(tune.hand), f"{rank:.2f}")
        for tune, rank in order
        if tune.hand
    ]
    head = ("", "", "travel", "shifts", "fastest", "stretch", "rank")
    yield from table(rows, head=head, align="rlrrrrr", indent=" ")
    for tune in tunes:
        if tune.unplayable:
            yield from indent_lines(f"not on this neck: {tune.unplayable}")
    yield ""
    yield _CAUTION


def _hand_figures(hand: Figures) -> tuple[str, int, str, str]:
    fastest = f"{hand.fastest_shift:.0f} mm/s" if hand.fastest_shift else "-"
    return f"{hand.travel:.0f} mm", hand.shifts, fastest, f"{hand.widest_stretch:.0f} mm"


def _gap_lines(tunes: Sequence[Tune]) -> Iterator[str]:
    yield "GAPS in this folder"
    yield ""
    for line in gaps(tunes) or ["none of the topics a first course would cover"]:
        yield from indent_lines(line)


def order_data(lessons: Sequence[Lesson], instrument: str) -> dict[str, Any]:
    """The same as plain data."""
    tunes = [lesson.tune for lesson in lessons]
    return {
        "instrument": instrument or None,
        "ear": [to_dict(lesson) for lesson in lessons],
        "hand": [
            {"place": place, "file": tune.name, "mean_rank": round(rank, 4)}
            for place, (tune, rank) in enumerate(by_hand(tunes), start=1)
        ],
        "gaps": gaps(tunes),
        "accuracy": ACCURACY,
    }
