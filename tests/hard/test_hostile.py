"""The thousand hostile inputs: no traceback, no hang, no half-written file, bounded memory."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.hard.batch import tried
from tests.hard.hostile import COUNT, KINDS, OPTIONS, Hostile, corpus
from tests.hard.running import Desk

ROOT = Path(__file__).parent.parent.parent
BATCH = 500


@pytest.mark.slow
@pytest.mark.parametrize("first", range(0, COUNT, BATCH))
def test_the_rules_hold_for_every_input(first: int) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tests.hard.batch", str(first), str(first + BATCH)],
        env={**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"},
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    lines = done.stdout.splitlines()
    broken = [" / ".join(lines[n - 1 : n + 1]) for n, line in enumerate(lines) if "BROKEN" in line]
    last = lines[-1] if lines else "no input"
    assert done.returncode == 0, f"{broken or last}\n{done.stderr[-1000:]}"
    assert len(lines) == BATCH


def test_the_corpus_is_a_thousand_different_inputs() -> None:
    inputs = {(one.words, one.data) for one in corpus()}
    assert len(inputs) > 0.95 * COUNT
    assert len({kind.about for kind in KINDS} | set(OPTIONS)) >= 60


def test_the_corpus_is_the_same_every_time() -> None:
    plain = [(one.name, one.words, one.file) for one in corpus()]
    assert plain == [(one.name, one.words, one.file) for one in corpus()]


def test_a_broken_rule_is_seen(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fall(_: object) -> int:
        raise RecursionError("too deep")

    monkeypatch.setattr("tests.hard.running.main", fall)
    assert not tried(Hostile("one", ("tab", "1"), "", b""), Desk(tmp_path))
    assert "BROKEN RecursionError: too deep" in capsys.readouterr().out
