"""Drills for the hand: the hardest shift as a loop, and the tempos to climb.

**Theory.**  The hardest shift of a fingering is the one with the most mm/s from a fretted note to
the next one.  It becomes a loop with a run-up, fingered as in the whole tune.  At another tempo
every speed changes in the same proportion, so the tempo ladder stops where the fastest shift
reaches a stated speed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from fretpath.errors import RequestError
from fretpath.lesson.drill import excerpt
from fretpath.lesson.tune import USUAL_TEMPO
from fretpath.music.melody import Melody, Placement
from fretpath.music.notation import format_melody
from fretpath.neck.arrange import arrange
from fretpath.neck.arrangement import Arrangement
from fretpath.neck.setup import Limits
from fretpath.page.tab import render_tab
from fretpath.page.tables import table
from fretpath.values import Value

USUAL_SPEED = 400.0
"""mm/s a shift may reach on the ladder unless the teacher says otherwise (our choice)."""

_HIGHEST_TEMPO = 400
_AT_MOST_TIMES = 2


@dataclass(frozen=True)
class Loop(Value):
    """The hardest shift of a fingering, with the notes around it."""

    melody: Melody
    """The loop, every note placed as in the whole tune."""
    place: str
    """Where the note is that the hand shifts to."""
    distance: float
    """How far the hand goes in mm."""
    speed: float
    """mm/s from the fretted note before to the fretted note after, at ``tempo``."""
    tempo: Fraction
    """Beats a minute reckoned with."""


def hardest_shift(arrangement: Arrangement, *, run_up: int = 4) -> Loop | None:
    """The fastest shift as a loop; None when the hand never shifts.

    *run_up* is how many notes stand before the shift, 1 or more; one note stands behind it.
    """
    melody = arrangement.melody
    fastest = max(_shifts(arrangement), key=lambda way: way[2], default=None)
    if fastest is None or fastest[1] == 0:
        return None
    after, distance, speed = fastest
    struck = melody.struck
    first = struck[max(0, after - run_up)]
    last = struck[after + 2] if after + 2 < len(struck) else len(melody)
    return Loop(
        melody=_one_line(excerpt(_with_places(arrangement), range(first, last))),
        place=melody.place_of(struck[after]),
        distance=distance,
        speed=speed,
        tempo=melody.tempo or USUAL_TEMPO,
    )


def _one_line(melody: Melody) -> Melody:
    """Without phrase ends, unless a change of key or meter needs them."""
    changes = len(melody.keys) > 1 or len(melody.meters) > 1
    return melody if changes else replace(melody, phrases=())


def _shifts(arrangement: Arrangement) -> Iterator[tuple[int, float, float]]:
    """(note after, mm, mm/s) of the way between each two fretted notes that follow one another."""
    melody = arrangement.melody.clock
    beat = 60 / float(melody.tempo or USUAL_TEMPO)
    onsets = [float(melody.onsets[event]) * beat for event in melody.struck]
    hand = [arrangement.instrument.distance(position) for position in arrangement.positions]
    fretted = [note for note, fret in enumerate(arrangement.frets) if fret > 0]
    for before, after in pairwise(fretted):
        distance = abs(hand[after] - hand[before])
        yield after, distance, distance / (onsets[after] - onsets[before])


def _with_places(arrangement: Arrangement) -> Melody:
    notes = list(arrangement.melody.notes)
    places = zip(arrangement.strings, arrangement.frets, strict=True)
    for event, (string, fret) in zip(arrangement.melody.struck, places, strict=True):
        notes[event] = replace(notes[event], placement=Placement(string, fret))
    return replace(arrangement.melody, notes=tuple(notes))


# -- tempo ladder ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Ladder(Value):
    """Tempos to climb."""

    tempos: tuple[int, ...]
    """Beats a minute, rising."""
    speeds: tuple[float, ...]
    """mm/s of the fastest shift at each of them; all 0 without a shift."""
    limit: float
    """mm/s the fastest shift may reach."""


def tempo_ladder(arrangement: Arrangement, *, limit: float = USUAL_SPEED, rungs: int = 8) -> Ladder:
    """From half speed up to the last whole tempo at which no shift is faster than ``limit``.

    *limit* is in mm/s, above 0; *rungs* 1 to 30.  The ladder never goes beyond twice the tempo of
    the tune or 400 beats a minute; where the hand never shifts, it ends at the tempo of the tune.
    """
    if not 0 < limit < float("inf"):
        raise RequestError(f"the fastest shift allowed is above 0 mm/s, not {limit:g}")
    if not 1 <= rungs <= 30:
        raise RequestError(f"a ladder has 1 to 30 rungs, not {rungs}")
    own = float(arrangement.melody.tempo or USUAL_TEMPO)
    speed = max((speed for _, _, speed in _shifts(arrangement)), default=0.0)
    highest = min(_HIGHEST_TEMPO, _AT_MOST_TIMES * own, own * limit / speed) if speed else own
    top = int(highest)
    if top < 1:
        raise RequestError(f"even 1 beat a minute makes a shift faster than {limit:g} mm/s")
    low = max(1, min(top, int(own)) // 2)
    tempos = sorted({top - (top - low) * step // max(1, rungs - 1) for step in range(rungs)})
    return Ladder(tuple(tempos), tuple(speed * tempo / own for tempo in tempos), limit)


# -- pages -----------------------------------------------------------------------------------------

STILL = "the hand never shifts in this fingering: there is no shift to practice\n"
HAND_CAUTION = (
    "Stop if it hurts; use 1-2-4 or a higher position where a stretch is too wide,\n"
    "and ask a teacher or a clinician.  A faster tempo can wait.\n"
)


def loop_page(loop: Loop | None, arrangement: Arrangement) -> str:
    """The hardest shift as tab to be played round and round."""
    if loop is None:
        return STILL
    music = format_melody(loop.melody).split("\n\n", 1)[1].rstrip("\n")  # without its headers
    around = arrange(loop.melody, replace(arrangement.setup, limits=Limits(), objective="total"))
    return (
        "THE HARDEST SHIFT, as a loop\n"
        f"the shift to {loop.place}: {loop.distance:.0f} mm along the neck, "
        f"{loop.speed:.0f} mm/s at tempo {float(loop.tempo):g}\n"
        "Play it round and round, slowly first; look at the fret you go to.\n"
        f"{HAND_CAUTION}\n"
        f"{render_tab(around)}\n"
        "As melody text (the places keep the fingering):\n\n"
        f"{music}\n"
    )


def ladder_page(ladder: Ladder, own: float) -> str:
    """The tempos with the speed of the fastest shift at each."""
    if not any(ladder.speeds):
        return STILL
    rows = [
        (tempo, f"{speed:.0f} mm/s")
        for tempo, speed in zip(ladder.tempos, ladder.speeds, strict=True)
    ]
    lines = [
        "TEMPO LADDER",
        f"up to where the fastest shift reaches {ladder.limit:g} mm/s, or twice the tune's tempo",
        f"(tempo of the tune {own:g}; climb one rung when three rounds in a row are clean)",
        "",
        *table(rows, head=("tempo", "fastest shift"), align="rr", indent="    "),
    ]
    return "\n".join(lines) + f"\n\n{HAND_CAUTION}"
