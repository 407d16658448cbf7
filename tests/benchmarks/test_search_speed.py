"""Speed of the search under pytest-benchmark; never a pass or a fail.

python -m pytest --override-ini=addopts= tests/benchmarks/test_search_speed.py --benchmark-only
"""

from __future__ import annotations

from typing import Any

import pytest

from fretpath import arrange, arrange_many, ways
from tests.benchmarks.search_table import random_melody


@pytest.mark.parametrize("notes", [64, 1_000, 10_000])
@pytest.mark.parametrize("instrument", ["bass", "guitar", "mandolin"])
def test_one_search(benchmark: Any, notes: int, instrument: str) -> None:
    melody = random_melody(notes) if instrument == "bass" else random_melody(notes).in_octave(4)
    melody = melody if instrument != "guitar" else melody.in_octave(3)
    benchmark(arrange, melody, instrument)


def test_a_hundred_tunes_at_once(benchmark: Any) -> None:
    tunes = [random_melody(64, draw=n) for n in range(100)]
    benchmark(arrange_many, tunes)


def test_five_ways(benchmark: Any) -> None:
    benchmark(ways, random_melody(64), "bass", 5)
