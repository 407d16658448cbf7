"""Settings all tests share: hypothesis draws the same examples on every run, and has no clock.

Where ``FRETPATH_CI`` is set, as .ci/run does, a test that is skipped has failed.
"""

from __future__ import annotations

import os
from collections.abc import Generator
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "lesson",
    deadline=None,
    derandomize=True,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile("lesson")


def _no_skip(report: Any) -> Any:
    if os.environ.get("FRETPATH_CI") and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, where everything must run: {report.longrepr}"
    return report


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport() -> Generator[None, Any, Any]:
    """Fail a test that is skipped where everything must run."""
    return _no_skip((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report() -> Generator[None, Any, Any]:
    """Fail a file that is skipped where everything must run."""
    return _no_skip((yield))
