"""Settings all tests share: hypothesis draws the same examples on every run, and has no clock."""

from __future__ import annotations

from hypothesis import HealthCheck, settings

settings.register_profile(
    "lesson",
    deadline=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("lesson")
