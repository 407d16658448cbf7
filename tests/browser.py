"""A real browser for tests of pages: Debian's chromium, headless; skipped where it is missing."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from typing import Any

import pytest

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")

CHROMIUM = shutil.which("chromium")
DRIVER = shutil.which("chromedriver")
OPTIONS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync --hide-scrollbars"
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A browser for the tests of one module, which keeps a log of what it loads."""
    if not (CHROMIUM and DRIVER):
        pytest.skip("chromium and chromedriver are not installed (see .ci/run)")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for option in OPTIONS.split():
        options.add_argument(option)
    options.add_argument(f"--user-data-dir={tmp_path_factory.mktemp('browser')}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()
