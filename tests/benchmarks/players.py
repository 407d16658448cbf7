"""How often the path agrees with where real players put the notes.

    python tests/benchmarks/players.py FILE.csv [--weights shift=2,open=17] [--learn N]

FILE has one note a line, with columns track, player, passage, index, onset_s, duration_s, midi,
string (1 is the highest), fret: monophonic passages on a guitar in standard tuning.  The project
does not contain such a file; the figures in docs/hand_model.md were made from GuitarSet (Xi et
al., ISMIR 2018, annotations CC BY 4.0).

Measures, in shares of notes whose string and fret are the player's:
- free: the whole passage is chosen;
- start: the place of the first note is given, and not counted;
- every 16th: the places of notes 0, 16, 32 ... are given, and not counted.

--learn N chooses weights by N random trials on all players but one and scores them on that one,
each in turn: the figures for players that the weights have not seen.

--own N does that and then learns the hand of the player left out from every other of his tracks
(fretpath.neck.learning), to score the rest before and after; then the same from one track, for
three of them.
"""

from __future__ import annotations

import argparse
import csv
import random
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from fretpath import Weights, hand_named, instrument_named
from fretpath.neck.learning import PlacedLine, learn_prices
from fretpath.neck.line import PLAIN, Line, NoteLimit
from fretpath.neck.planner import Planner, planner_for
from fretpath.neck.setup import Limits, Setup

MEASURES = ("start", "free", "every 16th")
SEARCHED = {
    "shift": (1.5, 3.3),
    "open": (12.0, 32.0),
    "little": (3.0, 14.0),
    "region": (0.05, 0.14),
    "region_at": (115.0, 170.0),
    "outer": (3.0, 11.0),
}
"""Weights that --learn draws, and from where; across is 1 and sets the scale."""
KEPT = 15
"""How many of the best trials are averaged."""


@dataclass(frozen=True)
class Passage:
    """Notes that one player played in a row."""

    player: str
    track: str
    midi: tuple[int, ...]
    places: tuple[tuple[int, int], ...]


def passages(path: str) -> list[Passage]:
    """Every passage of a file, in its order."""
    rows: defaultdict[tuple[str, str, str], list[dict[str, str]]] = defaultdict(list)
    with open(path, newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["track"], row["player"], row["passage"]].append(row)
    return [
        Passage(
            player,
            track,
            tuple(int(row["midi"]) for row in notes),
            tuple((int(row["string"]), int(row["fret"])) for row in notes),
        )
        for (track, player, _), notes in rows.items()
    ]


def playable(found: Sequence[Passage]) -> list[Passage]:
    """The passages whose every place is on the neck; says how many are left out."""
    guitar = instrument_named("guitar")
    kept = [
        passage
        for passage in found
        if all(
            guitar.midi_at(*place) == midi
            for midi, place in zip(passage.midi, passage.places, strict=True)
        )
    ]
    if len(kept) < len(found):
        print(f"left out: {len(found) - len(kept)} passages with a note off the neck or its pitch")
    return kept


def given(passage: Passage, measure: str) -> range:
    """The notes whose place is given."""
    ends = {"free": 0, "start": 1, "every 16th": len(passage.midi)}
    return range(0, ends[measure], 16)


def agreement(
    found: Sequence[Passage], weights: Weights, measure: str
) -> dict[str, tuple[int, int]]:
    """For each player, notes that agree and notes that count."""
    guitar, hand = instrument_named("guitar"), hand_named("one-finger-per-fret")
    planner = planner_for(Setup(guitar, hand, weights, Limits()))
    counts: defaultdict[str, Counter[str]] = defaultdict(Counter)
    for passage, places in zip(found, paths(planner, found, measure), strict=True):
        told = set(given(passage, measure))
        for note, (here, there) in enumerate(zip(places, passage.places, strict=True)):
            if note not in told:
                counts[passage.player]["agree"] += here == there
                counts[passage.player]["all"] += 1
    return {player: (n["agree"], n["all"]) for player, n in sorted(counts.items())}


def paths(
    planner: Planner, found: Sequence[Passage], measure: str
) -> Iterator[list[tuple[int, int]]]:
    """(string, fret) of every note of every passage."""
    states = planner.states
    for passage in found:
        held = {i: NoteLimit(*passage.places[i]) for i in given(passage, measure)}
        line = Line(passage.midi, held, (PLAIN,) * (len(passage.midi) - 1))
        best = planner.solve(line)
        assert best is not None
        numbers = best.path
        yield list(zip(states.string[numbers].tolist(), states.fret[numbers].tolist(), strict=True))


def share(counts: dict[str, tuple[int, int]]) -> float:
    """All players together."""
    return sum(a for a, _ in counts.values()) / sum(n for _, n in counts.values())


def table(found: Sequence[Passage], weights: Weights) -> None:
    """Print the measures of one set of weights, player by player."""
    for measure in MEASURES:
        counts = agreement(found, weights, measure)
        each = "  ".join(f"{player} {a / n:.3f}" for player, (a, n) in counts.items())
        print(f"{measure:<12} {each}  all {share(counts):.3f}")


def learn(found: Sequence[Passage], trials: int, draw: int) -> dict[str, Weights]:
    """Choose weights on all players but one, and score them on that one."""
    chosen = {}
    lot = random.Random(draw)
    tried = [
        replace(Weights(), **{name: lot.uniform(*ends) for name, ends in SEARCHED.items()})
        for _ in range(trials)
    ]
    results = [{m: agreement(found, weights, m) for m in MEASURES} for weights in tried]
    totals: dict[str, dict[str, tuple[int, int]]] = {m: {} for m in MEASURES}
    for left_out in sorted({passage.player for passage in found}):
        best = sorted(range(trials), key=lambda i: -_merit(results[i], left_out))[:KEPT]
        weights = replace(
            Weights(),
            **{n: float(np.mean([getattr(tried[i], n) for i in best])) for n in SEARCHED},
        )
        chosen[left_out] = weights
        unseen = [passage for passage in found if passage.player == left_out]
        print(f"left out {left_out}: {', '.join(_shown(weights))}")
        for measure in MEASURES:
            totals[measure].update(agreement(unseen, weights, measure))
    for measure, counts in totals.items():
        each = "  ".join(f"{player} {a / n:.3f}" for player, (a, n) in counts.items())
        print(f"{measure:<12} {each}  all {share(counts):.3f}")
    return chosen


def own(found: Sequence[Passage], strangers: dict[str, Weights]) -> None:
    """Learn each player's hand from his own tracks, and score the others before and after."""
    for name, learned_from in (("every other track", None), ("one track", 3)):
        totals = {(m, when): [0, 0] for m in MEASURES for when in ("before", "after")}
        for player in sorted({passage.player for passage in found}):
            mine = [passage for passage in found if passage.player == player]
            for seen in _shares(sorted({passage.track for passage in mine}), learned_from):
                _score_own(mine, set(seen), strangers[player], totals)
        print(f"learned from {name}:")
        for measure in MEASURES:
            before, after = (totals[measure, when] for when in ("before", "after"))
            print(
                f"{measure:<12} before {before[0] / before[1]:.3f} after {after[0] / after[1]:.3f}"
            )


def _shares(tracks: Sequence[str], single: int | None) -> list[Sequence[str]]:
    """The tracks to learn from: two halves in turn, or so many single ones."""
    if single is None:
        return [tracks[::2], tracks[1::2]]
    return [[track] for track in tracks[:: max(1, len(tracks) // single)]]


def _score_own(
    mine: Sequence[Passage],
    seen: set[str],
    stranger: Weights,
    totals: dict[tuple[str, str], list[int]],
) -> None:
    guitar, hand = instrument_named("guitar"), hand_named("one-finger-per-fret")
    setup = Setup(guitar, hand, stranger, Limits())
    tabs = [
        [
            PlacedLine(Line(p.midi, {}, (PLAIN,) * (len(p.midi) - 1)), p.places)
            for p in mine
            if p.track == track
        ]
        for track in sorted(seen)
    ]
    fit = learn_prices(tabs, setup)
    print(f"  {mine[0].player}: {fit.notes} notes, {fit.changes or 'as before'}")
    unseen = [passage for passage in mine if passage.track not in seen]
    for measure in MEASURES:
        for when, weights in (("before", stranger), ("after", fit.setup.weights)):
            for agree, count in agreement(unseen, weights, measure).values():
                totals[measure, when][0] += agree
                totals[measure, when][1] += count


def _merit(result: dict[str, dict[str, tuple[int, int]]], left_out: str) -> float:
    """The three measures added up, over the players that are not left out."""
    return sum(
        share({p: n for p, n in counts.items() if p != left_out}) for counts in result.values()
    )


def _shown(weights: Weights) -> Iterator[str]:
    for name in SEARCHED:
        yield f"{name} {getattr(weights, name):.3g}"


def main() -> None:
    """Print the table, or learn."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("file")
    parser.add_argument("--weights", default="")
    parser.add_argument("--learn", type=int, metavar="N")
    parser.add_argument("--own", type=int, metavar="N")
    parser.add_argument("--draw", type=int, default=1)
    arguments = parser.parse_args()
    found = playable(passages(arguments.file))
    if arguments.own:
        own(found, learn(found, arguments.own, arguments.draw))
    elif arguments.learn:
        learn(found, arguments.learn, arguments.draw)
    else:
        table(found, Weights().set(arguments.weights) if arguments.weights else Weights())


if __name__ == "__main__":
    main()
