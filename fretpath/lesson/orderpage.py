"""The order of a folder as a page of text, and as data for ``--json``.

**Conventions.**  The ear and the hand are told apart.  A mean rank is 0 for the easiest of the
folder and 1 for the hardest; entropies are in bits, hand figures in mm and mm/s.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict
from typing import Any

from fretpath.lesson.folder import USUAL_TEMPO, Tune
from fretpath.lesson.indented import INDENT, WIDTH, clipped, wrapped
from fretpath.lesson.material import Thing
from fretpath.lesson.order import ACCURACY, Lesson, by_hand, gaps
from fretpath.music.words import plural

__all__ = ["order_data", "order_page"]

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


def in_short(things: Iterable[Thing]) -> str:
    """Things by name, degrees drawn together and only the widest of the ranges named."""
    names = [thing.name for thing in sorted(things)]
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
    for line in gaps(tunes) or ["none of the things a first course would cover"]:
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
        "new": [str(thing) for thing in lesson.new],
        "repeats": [str(thing) for thing in lesson.repeats],
        "starts_on": tune.starts,
        "ends_on": tune.ends,
        "ear_measures": _rounded(asdict(tune.ear)),
        "hand_measures": _rounded(asdict(tune.hand)) if tune.hand else None,
        "unplayable": tune.unplayable or None,
    }


def _rounded(figures: dict[str, float]) -> dict[str, float]:
    return {name: round(value, 4) for name, value in figures.items()}
