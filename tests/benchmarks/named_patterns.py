"""How often one octave of a scale misses a movable pattern that costs hardly more.

python tests/benchmarks/named_patterns.py

Every scale that has a movable pattern, from every root, the octave left free, on bass and guitar.
Counted: answers that are no pattern, though one lies on the neck, sounds the same octave and costs
at most five per cent more.
"""

from __future__ import annotations

from itertools import groupby

from fretpath import SCALES, Arrangement, Limits, Setup, arrange, parse_melody
from fretpath.errors import UnplayableError
from fretpath.neck.patterns import patterns_of

NEAR = 1.05
TONICS = "C Db D Eb E F F# G Ab A Bb B".split()


def shape(found: Arrangement) -> tuple[tuple[int, ...], ...]:
    """The fingers, string by string."""
    groups = groupby(found.fingerings, lambda one: one.string)
    return tuple(tuple(one.finger for one in group) for _, group in groups)


def nearest_pattern(found: Arrangement, shapes: set[tuple[tuple[int, ...], ...]]) -> int | None:
    """The cost of the cheapest pattern at the same pitch; None where none lies on the neck."""
    costs = []
    for position in range(1, 18):
        limits = Limits(open_strings="forbid", position=position)
        try:
            held = arrange(found.melody, Setup.of(found.setup, limits=limits))
        except UnplayableError:
            continue
        if shape(held) in shapes:
            costs.append(held.cost)
    return min(costs, default=None)


def main() -> None:
    """Print what was counted, and each scale that misses its pattern."""
    count, missed = 0, []
    for name in ("bass", "guitar"):
        for scale, patterns in patterns_of(list(SCALES.values()), name).items():
            shapes = {pattern.fingers for pattern in patterns}
            text = " ".join([*SCALES[scale].names, "8"])
            for tonic in TONICS if shapes else ():
                count += 1
                found = arrange(parse_melody(text, key=f"{tonic} {scale}"), name)
                cost = None if shape(found) in shapes else nearest_pattern(found, shapes)
                if cost is not None and cost <= NEAR * found.cost:
                    missed.append((name, found.melody.tonic, scale, shape(found), found.cost, cost))
    print(f"{count} scales with a pattern, {len(missed)} that miss one within five per cent")
    for row in missed:
        print(*row)


if __name__ == "__main__":
    main()
