"""A fixed sample of 300 of the tune books in music21's corpus, from the file to four necks.

The whole of it is ``python tests/benchmarks/every_tune.py``; the files are read where music21 is
installed and never copied.
"""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest

SAMPLE = 300
PLACE = Path(__file__).parents[1] / "benchmarks" / "every_tune.py"


@pytest.fixture(scope="module")
def bench() -> ModuleType:
    spec = importlib.util.spec_from_file_location("every_tune", PLACE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["every_tune"] = module
    spec.loader.exec_module(module)
    return module


def test_a_sample_of_the_tune_books_reaches_the_neck(bench: ModuleType) -> None:
    """No note is lost, every note sounds its pitch, and what is out of range is told what fits.

    The counter of the benchmark works on the ABC text alone.  It differs where a tie in the source
    joins two pitches or a note and a rest, which the reader takes as what sounds.
    """
    tunes = bench.corpus_tunes()
    assert len(tunes) > 11_000
    report = bench.Report()
    for tune in tunes[:: len(tunes) // SAMPLE][:SAMPLE]:
        bench.take(tune, report)
    counts = report.counts
    assert counts["tunes"] == SAMPLE
    for name in bench.INSTRUMENTS:
        refused = counts[f"{name}: out of range, with what fits"]
        assert counts[f"{name}: arranged"] + refused == SAMPLE
    lost = [problem for problem in report.problems if not problem.startswith("counted:")]
    assert not lost
    assert counts["tunes where the counters differ"] <= 6
    assert counts["tunes where notes are fewer than in the text"] == 0
