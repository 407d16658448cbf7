"""A drill in a real browser: it sounds, and a tick is told right or wrong; and on paper."""

from __future__ import annotations

import base64
import io
from pathlib import Path
from typing import Any

import pytest

from fretpath import arrange, parse_melody
from fretpath.lesson.drill import KINDS, Drill, drill_html, questions_of
from tests.browser import browser, pypdf  # noqa: F401

TUNE = arrange(
    parse_melody("key: F lydian\nmeter: 4/4\n\n1 2 3 #4 | 5 #4 3:2 | 5 3 2 7, | 1:4"), "bass"
).melody


@pytest.fixture
def page(browser: Any, tmp_path: Path) -> Any:
    questions = [q for kind in KINDS for q in questions_of(TUNE, kind, draw=4)[:2]]
    path = tmp_path / "drill.html"
    path.write_text(drill_html(Drill(tuple(questions), "Stair", 4)), encoding="utf-8")
    browser.get(path.as_uri())
    return browser


DECODE = """
const done = arguments[0], context = new OfflineAudioContext(1, 44100, 44100);
Promise.all([...document.querySelectorAll('audio')].map(async sound => {
    const bytes = Uint8Array.from(atob(sound.src.split(',')[1]), c => c.charCodeAt(0));
    const heard = await context.decodeAudioData(bytes.buffer);
    const samples = heard.getChannelData(0);
    return [heard.duration, samples.reduce((most, x) => Math.max(most, Math.abs(x)), 0)];
})).then(done);
"""


def test_every_question_sounds(page: Any) -> None:
    sounds = page.execute_async_script(DECODE)
    sung = 2 * len(("sing", "finish"))
    assert len(sounds) >= len(page.find_elements("css selector", "fieldset")) + sung
    assert all(seconds > 1 and 0.2 < loudest < 0.6 for seconds, loudest in sounds)


def test_a_tick_is_told_wrong_and_right_at_once(page: Any) -> None:
    boxes = page.find_elements("css selector", "fieldset:has(input)")
    assert len(boxes) > 8
    for box in boxes:
        right = int(box.get_attribute("data-right"))
        ticks = box.find_elements("css selector", "input")
        told = box.find_element("css selector", ".told")
        assert told.text == ""
        ticks[(right + 1) % len(ticks)].click()
        assert told.text.startswith("No, listen again. You answered ")
        ticks[right].click()
        assert told.text == f"Right. {box.get_attribute('data-told')}"
    total = page.find_element("css selector", "#sum").text
    assert total == f"0 of {len(boxes)} right at the first try"


def test_nothing_is_loaded_and_nothing_overflows_on_a_telephone(page: Any) -> None:
    page.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": 375, "height": 800, "deviceScaleFactor": 1, "mobile": True},
    )
    wide = page.execute_script("return document.documentElement.scrollWidth")
    assert wide <= 375
    loaded = page.execute_script("return performance.getEntriesByType('resource').map(e => e.name)")
    assert [name for name in loaded if not name.startswith("data:")] == []
    assert len(page.find_elements("css selector", "main")) == 1
    assert len(page.find_elements("css selector", "h1")) == 1


def test_on_paper_the_key_has_a_page_of_its_own(page: Any) -> None:
    told = page.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})
    reader = pypdf.PdfReader(io.BytesIO(base64.b64decode(told["data"])))
    texts = [sheet.extract_text() for sheet in reader.pages]
    at = next(n for n, text in enumerate(texts) if "Answer key" in text)
    assert texts[at].strip().startswith("Answer key")
    assert all("Name" not in text for text in texts[at:])
    assert any("Name" in text for text in texts[:at])
    right = {
        box.get_attribute("data-told") for box in page.find_elements("css selector", "fieldset")
    }
    assert not any(told and told in text for told in right if ":" in told for text in texts[:at])
