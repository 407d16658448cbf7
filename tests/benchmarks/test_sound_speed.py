"""How long a minute of music takes: ``python -m pytest tests/benchmarks --benchmark-only``.

The aim is 60 s of music in under 2 s on one core.
"""

from __future__ import annotations

from typing import Any

import pytest

from fretpath import parse_melody
from fretpath.page.sound import SoundPlan, _pluck, melody_wav

EIGHTHS = "tempo: 120\nkey: E major\noctave: 2\n\n" + "(1 2 3 4 5 6 7 8):1/2 " * 30


@pytest.mark.parametrize("drone", [False, True], ids=["tune", "tune and drone"])
def test_a_minute_of_music(benchmark: Any, drone: bool) -> None:
    melody = parse_melody(EIGHTHS)
    plan = SoundPlan(drone=drone)
    assert plan.seconds(melody) == 60

    def rendered() -> int:
        _pluck.cache_clear()
        return len(melody_wav(melody, plan))

    assert benchmark(rendered) > 60 * 44100 * 2
