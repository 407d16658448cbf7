"""Print the speed of the search against its floor and against two general libraries, in one run.

    python tests/benchmarks/search_table.py [--quick]

Every figure is the best of several repeats on one core.  The lattice is the same for all: the
states of a random melody in C on a 4-string bass, full state (string, fret, position).
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable
from dataclasses import replace
from itertools import accumulate

import networkx as nx
import numpy as np
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import dijkstra

from fretpath import Key, Melody, arrange, arrange_many, parse_melody, ways
from fretpath.neck.arrange import layers_of
from fretpath.neck.planner import clear_caches
from fretpath.neck.search import FORBIDDEN, Layers, cheapest_path


def random_melody(notes: int, *, draw: int = 1) -> Melody:
    """Degrees 1 to 15 of C major, tonic C2, evenly drawn."""
    lot = random.Random(draw)
    scale = parse_melody("key: C\noctave: 2\n\n" + " ".join(map(str, range(1, 16))))
    return replace(scale, notes=tuple(lot.choice(scale.notes) for _ in range(notes)))


def best_of(
    repeats: int, work: Callable[[], object], *, clock: Callable[[], float] = time.process_time
) -> float:
    """Seconds of the processor in the fastest of several runs; other work does not count."""
    times = []
    for _ in range(repeats):
        begin = clock()
        work()
        times.append(clock() - begin)
    return min(times)


def children() -> float:
    """Seconds of the processor that the processes started here have taken."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def edges(layers: Layers) -> tuple[list[int], list[int], list[int]]:
    """The layered graph as edge lists; node 0 is the start, the last one the end."""
    widths = [len(numbers) for numbers in layers.states]
    begin = [1, *(1 + n for n in accumulate(widths))]
    sources = [0] * widths[0]
    targets = list(range(1, begin[1]))
    costs = layers.first.tolist()
    for t, step in enumerate(layers.steps):
        goal, source = np.nonzero(step < FORBIDDEN)
        sources.extend((begin[t] + source).tolist())
        targets.extend((begin[t + 1] + goal).tolist())
        costs.extend(step[goal, source].tolist())
    sources.extend(range(begin[-2], begin[-1]))
    targets.extend([begin[-1]] * widths[-1])
    costs.extend([0] * widths[-1])
    return sources, targets, costs


def with_networkx(melody: Melody) -> int:
    """Build the lattice and solve it with networkx dijkstra_path; the cost."""
    _, layers = layers_of(arrange(melody))
    sources, targets, costs = edges(layers)
    graph = nx.DiGraph()
    graph.add_weighted_edges_from(zip(sources, targets, costs, strict=True))
    path = nx.dijkstra_path(graph, 0, targets[-1])
    return int(nx.path_weight(graph, path, "weight"))


def with_scipy(melody: Melody) -> int:
    """Build the lattice and solve it with scipy.sparse.csgraph.dijkstra; the cost."""
    _, layers = layers_of(arrange(melody))
    sources, targets, costs = edges(layers)
    size = targets[-1] + 1
    graph = csr_matrix((np.array(costs, dtype=float) + 1e-9, (sources, targets)), (size, size))
    return round(float(dijkstra(graph, indices=0)[-1]))


def timed(work: Callable[[], object], fresh: bool) -> float:
    """Seconds of the fastest of ten runs, with the tables of the instrument kept or made anew."""

    def from_nothing() -> object:
        clear_caches()
        return work()

    return best_of(10, from_nothing if fresh else work)


def speed(notes: int, repeats: int) -> float:
    """Microseconds a note, from pitches to a checked arrangement."""
    melody = random_melody(notes)
    _ = melody.pitches, melody.struck, melody.degrees
    return best_of(repeats, lambda: arrange(melody)) / notes * 1e6


def peak_memory(notes: int) -> float:
    """MB that one search adds at its peak."""
    melody = random_melody(notes)
    _ = melody.pitches
    tracemalloc.start()
    arrange(melody)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def floor(notes: int) -> float:
    """Microseconds a layer for the bare addition and minimum, without anything around them."""
    _, layers = layers_of(arrange(random_melody(notes)))
    return best_of(5, lambda: cheapest_path(layers)) / notes * 1e6


def cold(command: list[str]) -> float:
    """Seconds of the processor in the fastest of ten fresh processes, bytecode kept."""
    kept = {**os.environ, "PYTHONDONTWRITEBYTECODE": ""}
    run = lambda: subprocess.run(command, check=True, capture_output=True, env=kept)  # noqa: E731
    return best_of(10, run, clock=children)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="leave out the long rows")
    quick = parser.parse_args().quick
    at_10k = speed(10_000, 5)
    print(f"one search, 10,000 notes                   {at_10k:8.2f} us/note")
    print(f"  of it the two passes of the search       {floor(10_000):8.2f} us/note")
    if not quick:
        growth = speed(100_000, 2) * 100_000 / (at_10k * 10_000)
        print(f"time(100,000) / time(10,000)               {growth:8.2f}")
        print(f"peak memory, 100,000 notes                 {peak_memory(100_000):8.1f} MB")
    small = random_melody(1_000)
    ours = best_of(5, lambda: arrange(small))
    theirs = best_of(1, lambda: with_networkx(small))
    assert with_networkx(small) == arrange(small).cost == with_scipy(small)
    print(f"networkx dijkstra_path, 1,000 notes        {theirs / ours:8.1f} times slower")
    other = best_of(2, lambda: with_scipy(small))
    print(f"scipy csgraph.dijkstra, 1,000 notes        {other / ours:8.1f} times slower")
    if not quick:
        large = random_melody(10_000)
        ours = best_of(3, lambda: arrange(large))
        print(
            "networkx dijkstra_path, 10,000 notes       "
            f"{best_of(1, lambda: with_networkx(large)) / ours:8.1f} times slower"
        )
    tune = random_melody(64)
    names = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    low = Key("C", "major").tonic_pitch(2)
    keys = [Key(name, "major").tonic_pitch(2) - low for name in names]
    moved = [replace(tune.transposed(up), octave_free=True) for up in keys]
    for state, fresh in (("tables kept", False), ("tables made anew", True)):
        one = timed(lambda: arrange(tune), fresh)
        many = timed(lambda: arrange_many(moved, unplayable="return"), fresh)
        several = timed(lambda: ways(tune, "bass", 5), fresh)
        print(f"64 notes, {state:<16} one search       {one * 1e3:8.2f} ms")
        print(f"  12 keys x all octaves                    {many / one:8.2f} times one search")
        print(f"  five ways                                {several / one:8.2f} times one search")
    ours = cold([sys.executable, "-m", "fretpath", "tab", "1 5 8"])
    base = cold([sys.executable, "-c", "import numpy"])
    print(f'fretpath tab "1 5 8" from cold             {ours / base:8.2f} times import numpy')


if __name__ == "__main__":
    main()
