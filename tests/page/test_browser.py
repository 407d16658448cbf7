"""The sheet in a real browser: Debian's chromium, headless; skipped where it is not installed."""

from __future__ import annotations

import base64
import io
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from fretpath import Arrangement, arrange, parse_melody
from fretpath.page.blanks import Blanks
from fretpath.page.questions import questions_about
from fretpath.page.sheet import Sheet, render_sheet
from fretpath.page.sound import SoundPlan, melody_mp3

webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
pypdf = pytest.importorskip("pypdf", reason="pypdf is not installed")

CHROMIUM = shutil.which("chromium")
DRIVER = shutil.which("chromedriver")
MELODIES = Path(__file__).parent.parent.parent / "demo_melodies"
OPTIONS = (
    "--headless=new --no-sandbox --disable-gpu --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync --hide-scrollbars"
)
A4, LETTER = (210, 297), (215.9, 279.4)
PHONE, PAGE = 375, 794

pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="chromium and chromedriver are not installed (see .ci/run)"
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for option in OPTIONS.split():
        options.add_argument(option)
    options.add_argument(f"--user-data-dir={tmp_path_factory.mktemp('browser')}")
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(DRIVER))
    yield driver
    driver.quit()


def tunes(*names: str) -> tuple[Arrangement, ...]:
    texts = [(MELODIES / f"{name}.txt").read_text(encoding="utf-8") for name in names]
    return tuple(arrange(parse_melody(text), "bass") for text in texts)


TUNES = ("rope_and_tar", "waiting_for_the_tide")
PLAN = SoundPlan(count_in=True)


def sheet(**changes: object) -> Sheet:
    arrangements = tunes(*TUNES)
    sounds = tuple(melody_mp3(a.melody, PLAN) for a in arrangements)
    return Sheet(arrangements, sounds=sounds, **changes)


SHEETS = {
    "teacher": sheet(title="Lesson <3>"),
    "degrees": sheet(student=True, hide=Blanks.parse("degrees")),
    "tab": sheet(student=True, hide=Blanks.parse("tab")),
    "every-3rd": sheet(student=True, hide=Blanks.parse("every-3rd")),
}


def shown(browser: Any, tmp_path: Path, made: Sheet, width: int = PAGE) -> Any:
    path = tmp_path / "lesson.html"
    path.write_text(render_sheet(made), encoding="utf-8")
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": width == PHONE},
    )
    for kind in ("browser", "performance"):
        browser.get_log(kind)
    browser.get(path.as_uri())
    return browser


@pytest.mark.parametrize("name", SHEETS)
def test_no_complaint_and_no_request(browser: Any, tmp_path: Path, name: str) -> None:
    shown(browser, tmp_path, SHEETS[name])
    assert browser.get_log("browser") == []
    sent = [
        message["params"]["request"]["url"]
        for entry in browser.get_log("performance")
        if (message := json.loads(entry["message"])["message"])["method"]
        == "Network.requestWillBeSent"
    ]
    assert sent, "the log holds at least the page itself"
    assert [url for url in sent if not url.startswith(("data:", "file:///"))] == []
    assert sum(url.startswith("file:") for url in sent) == 1


def test_the_sounds_are_there_and_as_long_as_the_music(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["teacher"])
    lengths = browser.execute_async_script(
        """
        const done = arguments[0], sounds = [...document.querySelectorAll('audio')];
        const ready = sound => sound.readyState > 0 ? Promise.resolve() :
            new Promise(open => sound.addEventListener('loadedmetadata', open));
        Promise.all(sounds.map(ready)).then(() =>
            done(sounds.map(sound => [sound.className, sound.duration])));
        """
    )
    tunes_heard = [seconds for kind, seconds in lengths if kind == "tune"]
    # 4/4 at 108: 12 bars and a bar of count-in; 4/4 at 80: 8 bars and a bar of count-in.
    assert tunes_heard == [pytest.approx(52 * 60 / 108, abs=0.02), pytest.approx(27, abs=0.02)]
    assert [seconds for kind, seconds in lengths if kind == "drone"] == [12.0, 12.0]


OVERFLOWING = """
const boxes = [...document.querySelectorAll('body *')].filter(part => part.checkVisibility());
const edge = document.documentElement.clientWidth;
const outside = part => {
    const inside = part.getBoundingClientRect();
    return inside.width > 0 && (inside.left < -0.5 || inside.right > edge + 0.5);
};
const scrolled = part => part.closest('.chart, pre');
const spilling = part => part.scrollWidth > part.clientWidth + 1 && part.clientWidth > 0 &&
    !part.closest('svg, audio') && !part.matches('.chart, span, a, b, strong, em');
return boxes.filter(part => (outside(part) && !(scrolled(part) && !part.matches('.chart, pre')))
    || spilling(part)).map(part => part.outerHTML.slice(0, 120));
"""


@pytest.mark.parametrize("width", [PHONE, 500, PAGE, 1200])
@pytest.mark.parametrize("name", SHEETS)
def test_text_is_inside_its_boxes(browser: Any, tmp_path: Path, name: str, width: int) -> None:
    shown(browser, tmp_path, SHEETS[name], width)
    assert browser.execute_script("return window.innerWidth") == width
    assert browser.execute_script(OVERFLOWING) == []
    systems = browser.execute_script(
        "return [...document.querySelectorAll('pre')].filter(p => p.checkVisibility()).length"
    )
    assert systems >= 5


def test_the_measure_sees_a_box_that_is_too_narrow(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["teacher"], PHONE)
    browser.execute_script("document.querySelector('.narrow pre').textContent = 'x'.repeat(90)")
    assert len(browser.execute_script(OVERFLOWING)) == 1


def test_words_in_the_drawing_stay_in_it(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["teacher"])
    outside = browser.execute_script(
        """
        return [...document.querySelectorAll('svg')].flatMap(drawing => {
            const frame = drawing.getBoundingClientRect();
            return [...drawing.querySelectorAll('text, circle, rect')].filter(part => {
                const box = part.getBoundingClientRect();
                return box.left < frame.left - 1 || box.right > frame.right + 1
                    || box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
            }).map(part => part.outerHTML);
        });
        """
    )
    assert outside == []


def printed(browser: Any, paper: tuple[float, float]) -> list[str]:
    """The text of each page as printed on paper of that size in mm."""
    width, height = (side / 25.4 for side in paper)
    made = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": width, "paperHeight": height})
    document = pypdf.PdfReader(io.BytesIO(base64.b64decode(made["data"])))
    for leaf in document.pages:
        assert float(leaf.mediabox.width) == pytest.approx(paper[0] / 25.4 * 72, abs=1)
    return [leaf.extract_text() for leaf in document.pages]


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "letter"])
@pytest.mark.parametrize("name", ["teacher", "degrees"])
def test_no_system_is_split_in_print(
    browser: Any, tmp_path: Path, name: str, paper: tuple[float, float]
) -> None:
    shown(browser, tmp_path, SHEETS[name])
    pages = ["".join(page.split()) for page in printed(browser, paper)]
    for tune in SHEETS[name].tunes:
        for system in tune.wide.systems:
            whole = "".join(system.split())
            assert sum(whole in page for page in pages) >= 1, system
    titles = [
        next(n for n, p in enumerate(pages) if "".join(t.title.split()) in p)
        for t in SHEETS[name].tunes
    ]
    assert titles[0] == 0
    assert titles[1] > 0, "each tune begins a page"
    if name == "teacher":
        assert pages[-1].startswith("Answers")
        assert sum("Answers" in page for page in pages) == 1
        assert len(pages) == 5
    else:
        assert len(pages) == 4


@pytest.mark.parametrize("hide", ["degrees", "tab", "every-3rd", "all-but-first"])
def test_the_student_sees_none_of_the_answers(browser: Any, tmp_path: Path, hide: str) -> None:
    """Of the whole document as the browser holds it: text, attributes and comments."""
    arrangement = arrange(parse_melody("octave: 2\n\n1 2 #4 b7 9 8", key="D"), "bass")
    made = Sheet((arrangement,), student=True, hide=Blanks.parse(hide))
    shown(browser, tmp_path, made)
    everything = browser.execute_script("return document.documentElement.outerHTML")
    for question in questions_about(arrangement):
        assert question.answer not in everything
    secrets = {
        "degrees": ["#4", "b7", "sharp 4", "flat 7"],
        "tab": ["fret 1", "fret 2", "finger,"],
        "every-3rd": ["#4", "sharp 4", "G#2"],
        "all-but-first": ["#4", "b7", "sharp 4", "flat 7", "E2", "G#2", "C3", "+M2", "up a"],
    }[hide]
    assert [secret for secret in secrets if secret in everything] == []
    teacher = render_sheet(Sheet((arrangement,)))
    assert any(secret in teacher for secret in secrets)
