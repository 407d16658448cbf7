"""A command that is killed while it writes leaves whole files, and remains that are hidden."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hard.killing import JOBS, ROUNDS

ROOT = Path(__file__).parent.parent.parent


def _counts(*words: str) -> list[dict[str, int | str]]:
    done = subprocess.run(
        [sys.executable, "-m", "tests.hard.killing", *words],
        env={**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    assert done.returncode == 0, done.stderr[-3000:]
    return [json.loads(line) for line in done.stdout.splitlines()]


@pytest.mark.slow
def test_whatever_the_moment_every_file_is_whole(tmp_path: Path) -> None:
    """Kills at calls of the file system and at drawn moments; the rules stand in ``killing``."""
    rows = _counts(str(tmp_path))
    assert [row["job"] for row in rows] == [job.name for job in JOBS]
    killed = sum(int(row["killed"]) for row in rows)
    left = sum(int(row["left hidden"]) for row in rows)
    assert killed > 0.6 * len(JOBS) * ROUNDS, "too few were still at work when they were killed"
    assert 0 < left <= killed, "no moment fell into the writing"


@pytest.mark.slow
def test_told_to_end_with_two_processes(tmp_path: Path) -> None:
    rows = _counts(str(tmp_path), str(ROUNDS), "signals")
    assert sum(int(row["ended"]) for row in rows), "no signal came in time"
