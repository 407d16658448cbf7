"""The long run of hard use: ``python -m tests.hard.fuzz --minutes 60 --seed 1``.

One process of low priority, for so many minutes of processor time.  The trials take turns of 300
examples; each turn draws them from a number of its own, so that a run can be repeated, and prints
what it has tried so far.  ``--turns 17 --only conflict`` counts turns instead.  A finding
is printed once, with the smallest example; turns that end in the same place are only counted.
``--guided`` lets atheris steer one trial by the lines of fretpath that it reaches (needs
``pip install atheris``; findings end the run).
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import time
import traceback
from collections import Counter

from hypothesis import HealthCheck, Phase, seed, settings

MEMORY = 4 * 2**30
"""Bytes of address space one run may have."""
_TURN = 300
_FINDINGS: Counter[str] = Counter()


def main() -> int:
    """Run for the minutes asked for; status 1 when there were findings."""
    parser = argparse.ArgumentParser(prog="python -m tests.hard.fuzz", description=__doc__)
    parser.add_argument("--minutes", type=float, default=60, help="of processor time")
    parser.add_argument("--turns", type=int, help="so many turns and no more")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", help="one trial, such as 'score file'")
    parser.add_argument("--guided", action="store_true", help="steered by coverage (atheris)")
    arguments = parser.parse_args()
    os.nice(19 - os.nice(0))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    if arguments.guided:
        return _guided(arguments)
    from tests.hard.trials import SEEN, TRIALS

    trials = [name for name in TRIALS if arguments.only in (None, name)]
    start = time.monotonic()
    turn = 0
    while _worked() < arguments.minutes and turn != arguments.turns:
        turn += 1
        for name in trials:
            _take(name, arguments.seed * 1_000_000 + turn)
        _report(start, turn, SEEN)
    return 1 if _FINDINGS else 0


def _worked() -> float:
    """Minutes of processor time, with that of workers."""
    spent = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in spent) / 60


def _take(name: str, number: int) -> None:
    """One turn of one trial; what it finds is printed."""
    from tests.hard.trials import property_of

    drawn = settings(
        max_examples=_TURN,
        deadline=None,
        database=None,
        derandomize=False,
        report_multiple_bugs=False,
        suppress_health_check=list(HealthCheck),
        phases=(Phase.generate, Phase.shrink),
    )
    try:
        seed(number)(drawn(property_of(name)))()
    except KeyboardInterrupt:
        raise
    except BaseException as problem:  # a finding, whatever it is
        place = _place(problem)
        _FINDINGS[place] += 1
        if _FINDINGS[place] == 1:
            print(f"FOUND in {name}, turn {number}: {place}", flush=True)
            print("".join(traceback.format_exception(problem))[-4000:], flush=True)


def _place(problem: BaseException) -> str:
    """What was raised, and where: the last line of fretpath's own, or of the rules."""
    frames = traceback.extract_tb(problem.__traceback__)
    ours = [frame for frame in frames if "/fretpath/" in frame.filename] or frames
    return f"{type(problem).__name__} at {os.path.basename(ours[-1].filename)}:{ours[-1].lineno}"


def _report(start: float, turn: int, seen: Counter[tuple[str, int]]) -> None:
    minutes = (time.monotonic() - start) / 60
    parts = []
    for name in dict.fromkeys(name for name, _ in sorted(seen)):
        counts = [seen[name, status] for status in (0, 1, 2)]
        parts.append(f"{name} {sum(counts)} ({counts[0]} read)")
    found = f"{len(_FINDINGS)} findings" if _FINDINGS else "nothing found"
    worked = f"{minutes:.1f} min ({_worked():.1f} of processor time)"
    print(f"{worked}, turn {turn}: {'; '.join(parts)}; {found}", flush=True)


def _guided(arguments: argparse.Namespace) -> int:
    """The same trials with atheris choosing the bytes that hypothesis draws from."""
    import atheris

    with atheris.instrument_imports(include=["fretpath"]):
        from tests.hard.trials import property_of
    trial = property_of(arguments.only or "melody text")
    seconds = int(60 * arguments.minutes)
    atheris.Setup(
        [sys.argv[0], f"-max_total_time={seconds}", f"-seed={arguments.seed}", "-timeout=60"],
        trial.hypothesis.fuzz_one_input,
    )
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
