"""How much faster two processes finger many tunes than one; also Dask with two workers.

Run: ``python -m tests.benchmarks.many_tunes [TUNES]`` (5,000 tunes of 32 notes unless said).
The wall clock tells only on a machine with two free cores, so the processor time of the parent is
printed beside it: the work that cannot be shared out.
"""

from __future__ import annotations

import random
import resource
import sys
import time
from concurrent.futures import Executor, ProcessPoolExecutor

from fretpath import Arrangement, Melody, iter_arrange

NOTES = 32


def tunes(count: int) -> list[Melody]:
    """Random tunes in G major that walk by steps and small leaps, one phrase a bar."""
    draw = random.Random(16)
    found = []
    for _ in range(count):
        at, walk = 7, []
        for _ in range(NOTES):
            at = min(max(at + draw.choice((-3, -2, -1, -1, 1, 1, 2, 3)), 0), 14)
            walk.append((31 + (0, 2, 4, 5, 7, 9, 11)[at % 7] + 12 * (at // 7), 1))
        found.append(Melody.from_notes(walk, "G major", "4/4"))
    return found


def seconds(melodies: list[Melody], executor: Executor | None) -> tuple[float, float]:
    """Seconds by the clock, and of this process alone."""
    clock, own = time.perf_counter(), time.process_time()
    answers = [answer for _, answer in iter_arrange(melodies, executor=executor)]
    assert all(isinstance(answer, Arrangement) for answer in answers)
    return time.perf_counter() - clock, time.process_time() - own


def main(count: int) -> None:
    """Print the table."""
    melodies = tunes(count)
    seconds(melodies[:50], None)
    alone = seconds(melodies, None)
    print(f"one process: {alone[0]:.1f} s, processor {alone[1]:.1f} s")
    with ProcessPoolExecutor(2) as pool:
        seconds(melodies[:64], pool)
        shared = seconds(melodies, pool)
    tell("two processes", alone, shared)
    workers = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(f"processor of both workers, their start included: {workers.ru_utime:.1f} s")
    try:
        import distributed
    except ImportError:
        return
    cluster = distributed.LocalCluster(n_workers=2, threads_per_worker=1, dashboard_address=None)
    with cluster, distributed.Client(cluster) as client:
        seconds(melodies[:64], client.get_executor())
        tell("dask, two workers", alone, seconds(melodies, client.get_executor()))


def tell(name: str, alone: tuple[float, float], shared: tuple[float, float]) -> None:
    """One line, with how many times as fast it was."""
    print(
        f"{name}: {shared[0]:.1f} s ({alone[0] / shared[0]:.2f} times), "
        f"processor of the parent {shared[1]:.1f} s ({shared[1] / alone[1]:.2f} of one process)"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
