"""Run a part of the hostile corpus in a process of its own: ``python -m tests.hard.batch 0 250``.

The process may have so much memory and processor time and no more; its number is printed before
each input is tried, so that the one that brings the process down is known.  A third number is the
seconds of processor time that an input may take; then the longest, and the memory of the process
at its height, are printed at the end.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

from tests.hard.hostile import Hostile, corpus
from tests.hard.running import Desk

MEMORY = 1536 * 2**20
"""Bytes of address space."""
SECONDS = 40
"""Processor time of one input."""
ALL_SECONDS = 600
"""Processor time of a batch."""


def main() -> int:
    """Try the inputs from the first number to the second; status 1 if one broke a rule."""
    first, last = int(sys.argv[1]), int(sys.argv[2])
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (ALL_SECONDS, ALL_SECONDS + 5))
    seconds = float(sys.argv[3]) if len(sys.argv) > 3 else SECONDS
    broken, slowest = 0, (0.0, "")
    with tempfile.TemporaryDirectory(prefix="hostile-") as name:
        folder = Path(name)
        desk = Desk(folder, seconds=seconds)
        for one in corpus()[first:last]:
            print(one.name.encode("ascii", "replace").decode(), flush=True)
            start = time.process_time()
            broken += not tried(one, desk)
            slowest = max(slowest, (time.process_time() - start, one.name))
    if len(sys.argv) > 3:
        most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        print(f"slowest: {slowest[0]:.1f} s, {slowest[1]}\n{most:.0f} MB at the height")
    return 1 if broken else 0


def tried(one: Hostile, desk: Desk) -> bool:
    """Whether the rules held; what broke them is printed."""
    content = one.content
    _lay_snares(desk.folder)
    text = content[:100_000].decode("utf-8", "surrogateescape")
    words = [{"FILE": one.file, "TEXT": text}.get(word, word) for word in one.words]
    files = {one.file.replace(".", "__"): content} if one.file else {}
    try:
        desk.try_out(words, stdin=content, **files)
    except BaseException as problem:
        if isinstance(problem, KeyboardInterrupt):
            raise
        said = " ".join(str(problem).split())[:300].encode("ascii", "replace").decode()
        print(f"BROKEN {type(problem).__name__}: {said}", flush=True)
        return False
    return True


def _lay_snares(folder: Path) -> None:
    """Links that lead nowhere or to themselves."""
    for name, target in (
        ("loop.txt", "loop.txt"),
        ("loop.mid", "loop.mid"),
        ("nowhere.txt", "missing/x.txt"),
    ):
        if not (folder / name).is_symlink():
            (folder / name).symlink_to(target)


if __name__ == "__main__":
    raise SystemExit(main())
