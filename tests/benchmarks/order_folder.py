"""How long it takes to order a large folder, and how much memory.

    python tests/benchmarks/order_folder.py --tunes 1000 --jobs 2
    python tests/benchmarks/order_folder.py --tunes 100000 --jobs 2 --ear-only

Writes generated tunes (the same ones on every run) to a temporary folder, orders them with the
command line, and prints the time and the memory of the largest process.
"""

from __future__ import annotations

import argparse
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

KEYS = ("C major", "G major", "F major", "D minor", "A minor", "Bb major", "E phrygian")
LENGTHS = ("", "", "", ":2", ":1/2", ":3/2")


def tune(lot: random.Random, number: int) -> str:
    """A random walk over the degrees of a key, 12 to 40 notes, now and then off the key."""
    at, words = 1, []
    for _ in range(lot.randint(12, 40)):
        at = min(12, max(1, at + lot.choice((-4, -2, -1, -1, 0, 1, 1, 2, 4))))
        accidental = lot.choice(("", "", "", "", "", "", "", "", "", "#", "b"))
        words.append(f"{accidental if at % 7 in (2, 4, 6) else ''}{at}{lot.choice(LENGTHS)}")
    return f"title: Tune {number}\nkey: {lot.choice(KEYS)}\ntempo: 90\n\n{' '.join(words)}\n"


def write_folder(folder: Path, count: int) -> None:
    """``count`` tunes as files."""
    lot = random.Random(1)
    for number in range(count):
        (folder / f"tune_{number:06}.txt").write_text(tune(lot, number), encoding="utf-8")


def main() -> None:
    """Write, order, report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--tunes", type=int, default=1000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--ear-only", action="store_true")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        write_folder(Path(name), arguments.tunes)
        words = [sys.executable, "-m", "fretpath", "order", name, "--jobs", str(arguments.jobs)]
        words += ["--ear-only"] if arguments.ear_only else []
        start = time.perf_counter()
        done = subprocess.run(words, capture_output=True, text=True, check=True)
        seconds = time.perf_counter() - start
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(
        f"{arguments.tunes} tunes, {arguments.jobs} jobs: {seconds:.1f} s on the clock, "
        f"{used.ru_utime + used.ru_stime:.1f} s of processor time, "
        f"largest process {used.ru_maxrss / 1024:.0f} MB, {len(done.stdout.splitlines())} lines"
    )


if __name__ == "__main__":
    main()
