"""How far the order for the ear agrees with an order that somebody else gave.

    python -m tests.benchmarks.order_agreement FOLDER ORDER

FOLDER holds melodies; ORDER names their files in the given order, one a line.  A line that begins
with ``; section`` begins a new section (a chapter, a week); without any, each tune is a section of
its own.  Prints the share of pairs of tunes from different sections that stand as given, and of
pairs from neighboring sections, for the difficulty (the sum of the rungs of the material) and for
the mean rank of the four measures; a pair on which the order does not decide counts as one half.
The figures named on the page of ``fretpath order`` were measured so, over the tonal melodies of
the MeloSol corpus (D. J. Baker, 2021), which is not part of this project.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from itertools import combinations
from pathlib import Path

from fretpath.commands.folder import each_melody
from fretpath.lesson.order import by_ear
from fretpath.lesson.tune import tune_of


def sections(text: str) -> list[list[str]]:
    """The file names of an order, section by section.

    >>> sections("; section 1\\na.txt\\n; section 2\\nb.txt\\nc.txt\\n")
    [['a.txt'], ['b.txt', 'c.txt']]
    """
    found: list[list[str]] = [[]]
    for line in (line.strip() for line in text.splitlines()):
        if line.startswith("; section"):
            found.append([])
        elif line and not line.startswith(";"):
            found[-1].append(line)
    filled = [section for section in found if section]
    return [[name] for name in filled[0]] if len(filled) == 1 else filled


def agreement(given: Sequence[Sequence[str]], values: dict[str, float]) -> tuple[float, float]:
    """Shares of pairs that stand as given: from different sections, from neighboring ones.

    >>> agreement([["a"], ["b"], ["c"]], {"a": 1, "b": 3, "c": 2})
    (0.6666666666666666, 0.5)
    """
    shares: dict[bool, list[float]] = {False: [], True: []}
    for (one, first), (other, second) in combinations(enumerate(given), 2):
        for a in first:
            for b in second:
                right = 0.5 if values[a] == values[b] else float(values[a] < values[b])
                shares[False].append(right)
                if other == one + 1:
                    shares[True].append(right)
    every, near = (sum(found) / len(found) for found in (shares[False], shares[True]))
    return every, near


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("order", type=Path)
    arguments = parser.parse_args()
    tunes, faults = each_melody(arguments.folder, tune_of, [])
    lessons = by_ear(tunes)
    given = sections(arguments.order.read_text(encoding="utf-8"))
    known = {lesson.tune.name for lesson in lessons}
    given = [[name for name in section if name in known] for section in given]
    given = [section for section in given if section]
    orders = {
        "difficulty": {one.tune.name: float(one.difficulty) for one in lessons},
        "mean rank": {one.tune.name: one.rank for one in lessons},
    }
    print(f"{sum(map(len, given))} tunes in {len(given)} sections; left out: {len(faults)}")
    for name, values in orders.items():
        every, near = agreement(given, values)
        print(f"{name:<12} {every:6.1%} of all pairs, {near:6.1%} from neighboring sections")


if __name__ == "__main__":
    main()
