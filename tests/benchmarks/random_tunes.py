"""Shifts and slides in random tunes, ten instruments, sixty tunes each.

python tests/benchmarks/random_tunes.py

A tune is 32 notes of a random walk in a random key, four phrases of eight, the octave left to the
instrument.  Counted: shifts (changes of position) and slides (shifts that take finger 2, 3 or 4
along to another fret), and open strings with the hand at position V or above.
"""

from __future__ import annotations

import random
from itertools import pairwise
from typing import Any

from fretpath import UnplayableError, arrange, parse_melody

NAMES = (
    "bass", "bass-5", "guitar", "guitar-7", "ukulele", "mandolin", "banjo", "violin", "cello",
    "double-bass",
)  # fmt: skip
TUNES = 60


def tune(lot: random.Random) -> Any:
    """One random tune."""
    at, lines = lot.randint(1, 8), []
    for _ in range(4):
        degrees = []
        for _ in range(8):
            degrees.append(str(at))
            at = max(1, min(12, at + lot.choice([-4, -3, -2, -1, -1, 0, 1, 1, 2, 3, 4])))
        lines.append(" ".join(degrees))
    return parse_melody("\n".join(lines), key=lot.choice("C D E F G A Bb Eb".split()))


def main() -> None:
    """Print a line for each instrument."""
    print(f"{'':<12} {'tunes':>6} {'shifts':>7} {'slides':>7} {'open at V+':>10}")
    for name in NAMES:
        lot, tunes, shifts, slides, high = random.Random(7), 0, 0, 0, 0
        for _ in range(TUNES):
            try:
                found = arrange(tune(lot), name)
            except UnplayableError:
                continue
            tunes += 1
            for before, after in pairwise(found.fingerings):
                shifts += before.position != after.position
                slides += before.position != after.position and before.finger == after.finger >= 2
            high += sum(f.finger == 0 and f.position >= 5 for f in found.fingerings)
        print(f"{name:<12} {tunes:>6} {shifts:>7} {slides:>7} {high:>10}")


if __name__ == "__main__":
    main()
