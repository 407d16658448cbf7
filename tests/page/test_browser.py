"""The sheet in a real browser: Debian's chromium, headless; skipped where it is not installed."""

from __future__ import annotations

import base64
import io
import json
import re
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

from fretpath import Arrangement, arrange, parse_melody
from fretpath.commands import main
from fretpath.page.html import with_signs
from fretpath.page.questions import questions_about
from fretpath.page.rows import Blanks
from fretpath.page.sheet import Look, Sheet, render_sheet, sound_for
from fretpath.page.sound import SoundPlan
from tests.browser import browser, pypdf  # noqa: F401

MELODIES = Path(__file__).parent.parent.parent / "demo_melodies"
A4, LETTER = (210, 297), (215.9, 279.4)
PHONE, PAGE = 375, 794


def tunes(*names: str) -> tuple[Arrangement, ...]:
    texts = [(MELODIES / f"{name}.txt").read_text(encoding="utf-8") for name in names]
    return tuple(arrange(parse_melody(text), "bass") for text in texts)


TUNES = ("rope_and_tar", "waiting_for_the_tide")
PLAN = SoundPlan(count_in=True)


def sheet(*, student: bool = False, hide: str = "degrees,notes,tab", **look: object) -> Sheet:
    arrangements = tunes(*TUNES)
    sounds = tuple(sound_for(each.melody, PLAN) for each in arrangements)
    return Sheet(arrangements, student, Look(hide=Blanks.parse(hide), **look), sounds)


SHEETS = {
    "teacher": sheet(title="Lesson <3>"),
    "student": sheet(student=True),
    "hints": sheet(student=True, hints=True),
    "tab": sheet(student=True, hide="tab"),
    "every-3rd": sheet(student=True, hide="every-3rd"),
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
    assert tunes_heard == [pytest.approx(52 * 60 / 108, abs=0.2), pytest.approx(27, abs=0.2)]
    drones = [seconds for kind, seconds in lengths if kind == "drone"]
    assert drones == [pytest.approx(12, abs=0.2)] * 2


OVERFLOWING = """
const boxes = [...document.querySelectorAll('body *')].filter(part => part.checkVisibility());
const edge = document.documentElement.clientWidth;
const outside = part => {
    const inside = part.getBoundingClientRect();
    return inside.width > 0 && (inside.left < -0.5 || inside.right > edge + 0.5);
};
const scrolled = part => part.closest('.chart, svg');
const spilling = part => part.scrollWidth > part.clientWidth + 1 && part.clientWidth > 0 &&
    !part.closest('svg, audio') && !part.matches('.chart, span, a, b, strong, em, summary');
return boxes.filter(part => (outside(part) && !(scrolled(part) && !part.matches('.chart, svg')))
    || spilling(part)).map(part => part.outerHTML.slice(0, 120));
"""


@pytest.mark.parametrize("width", [PHONE, 500, PAGE, 1200])
@pytest.mark.parametrize("name", SHEETS)
def test_text_is_inside_its_boxes(browser: Any, tmp_path: Path, name: str, width: int) -> None:
    shown(browser, tmp_path, SHEETS[name], width)
    assert browser.execute_script("return window.innerWidth") == width
    assert browser.execute_script(OVERFLOWING) == []
    systems = browser.execute_script(
        "return [...document.querySelectorAll('svg.system')]"
        ".filter(drawn => drawn.checkVisibility()).length"
    )
    assert systems >= 5


def test_the_measure_sees_a_box_that_is_too_narrow(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["teacher"], PHONE)
    browser.execute_script("document.querySelector('.facts').style.width = '900px'")
    assert len(browser.execute_script(OVERFLOWING)) >= 1


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


def numbers_on_bars(page: str) -> set[int]:
    return {int(word) for word in re.findall(r"\d+", page)}


@pytest.mark.parametrize("paper", [A4, LETTER], ids=["A4", "letter"])
@pytest.mark.parametrize("name", ["teacher", "student"])
def test_a_tune_takes_one_side(
    browser: Any, tmp_path: Path, name: str, paper: tuple[float, float]
) -> None:
    shown(browser, tmp_path, SHEETS[name])
    pages = printed(browser, paper)
    assert len(pages) == len(TUNES)
    for tune, page in zip(SHEETS[name].tunes, pages, strict=True):
        assert tune.title in page
        assert "The tune in words" not in page
        assert ("Then listen again" in page) == (name == "student")
        assert numbers_on_bars(page) >= set(tune.arrangement.melody.bar_numbers)
    assert ("Stop if it hurts" in pages[-1]) == (name == "teacher")


def test_hints_are_printed_on_a_page_of_their_own(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["hints"])
    closed = "return [...document.querySelectorAll('.hints p')].some(p => p.checkVisibility())"
    assert browser.execute_script(closed) is False
    pages = printed(browser, A4)
    hints = [page for page in pages if "hints, one at a time" in page]
    assert len(hints) == len(TUNES)
    assert all("different notes" in page for page in hints)
    assert not any("Then listen again" in page for page in hints)


def test_no_system_is_split_over_a_long_tune(browser: Any, tmp_path: Path) -> None:
    lines = "(1 2 3 4 5 4 3 2):1/2 | 1 2 3 4 |\n" * 14
    melody = parse_melody(f"title: Long Way\nkey: C\nmeter: 4/4\n\n{lines}1:4")
    for student in (True, False):
        made = Sheet((arrange(melody, "bass"),), student)
        sides = made.tunes[0].sides
        assert len(sides.systems) > 1
        shown(browser, tmp_path, made)
        pages = printed(browser, A4)
        assert len(pages) == len(sides.systems) + sides.apart
        for number, (systems, page) in enumerate(zip(sides.systems, pages, strict=False), 1):
            events = [bar.start for system in systems for bar in system.bars]
            assert numbers_on_bars(page) >= {melody.bar_numbers[event] for event in events}
            assert "Long Way" in page
            assert number == 1 or f"page {number}" in page


AXE = """
const done = arguments[0];
axe.run(document, {resultTypes: ['violations']}).then(found =>
    done(found.violations.map(fault => [fault.id, fault.nodes.map(node => node.html)])));
"""


@pytest.fixture(scope="module")
def axe() -> str:
    """The script of axe-core, as a package carries it."""
    try:
        files = metadata.files("axe-playwright-python") or []
    except metadata.PackageNotFoundError:
        pytest.skip("axe-playwright-python, which carries axe-core, is not installed")
    script = next(file for file in files if file.name == "axe.min.js")
    return Path(str(script.locate())).read_text(encoding="utf-8")


@pytest.mark.parametrize("width", [PHONE, 1280])
@pytest.mark.parametrize("name", SHEETS)
def test_axe_finds_nothing(browser: Any, tmp_path: Path, axe: str, name: str, width: int) -> None:
    shown(browser, tmp_path, SHEETS[name], width)
    browser.execute_script(axe)
    assert browser.execute_async_script(AXE) == []


def test_axe_finds_what_is_wrong(browser: Any, tmp_path: Path, axe: str) -> None:
    shown(browser, tmp_path, SHEETS["teacher"])
    browser.execute_script(
        "document.querySelector('audio').insertAdjacentHTML('afterend', "
        '\'<img src="data:,"><p style="color:#ccc">pale</p>\')'
    )
    browser.execute_script(axe)
    found = {fault for fault, _ in browser.execute_async_script(AXE)}
    assert {"image-alt", "color-contrast"} <= found


def test_one_main_and_one_first_heading(browser: Any, tmp_path: Path) -> None:
    for made in SHEETS.values():
        shown(browser, tmp_path, made)
        counts = "return ['main', 'h1'].map(tag => document.querySelectorAll(tag).length)"
        assert browser.execute_script(counts) == [1, 1]


def test_a_dark_screen_is_dark(browser: Any, tmp_path: Path) -> None:
    shown(browser, tmp_path, SHEETS["teacher"])
    ground = "return getComputedStyle(document.body).backgroundColor"
    assert browser.execute_script(ground) == "rgb(255, 255, 255)"
    features = [{"name": "prefers-color-scheme", "value": "dark"}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    try:
        assert browser.execute_script(ground) == "rgb(0, 0, 0)"
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


def test_the_student_sees_none_of_the_answers(browser: Any, tmp_path: Path) -> None:
    """Of the whole document as the browser holds it: text, attributes and comments."""
    arrangement = arrange(parse_melody("octave: 2\n\n1 2 #4 b7 9 8", key="D"), "bass")
    shown(browser, tmp_path, Sheet((arrangement,), student=True))
    everything = browser.execute_script("return document.documentElement.outerHTML")
    for question in questions_about(arrangement.melody):
        assert question.text in everything
        assert with_signs(question.answer) not in everything
    secrets = ["\u266f4", "\u266d7", "#4", "b7", "sharp 4", "flat 7", "fret 1", "finger,", "E2"]
    assert [secret for secret in secrets if secret in everything] == []
    teacher = render_sheet(Sheet((arrangement,)))
    shown_to_teacher = [secret for secret in secrets if secret in teacher]
    assert {"\u266f4", "\u266d7", "sharp 4", "flat 7", "E2"} <= set(shown_to_teacher)


WORDS_CUT = """
const cut = [], words = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
for (let text; text = words.nextNode();) {
    if (!text.parentElement.closest('table')) continue;
    for (const word of text.data.matchAll(/\\S+/g)) {
        const range = document.createRange();
        range.setStart(text, word.index);
        range.setEnd(text, word.index + word[0].length);
        const tops = [...range.getClientRects()].map(rect => Math.round(rect.top));
        if (new Set(tops).size > 1) cut.push(word[0]);
    }
}
return cut;
"""

ABOVE_THE_WEEK = """
const week = document.querySelector('.week'), before = week.previousElementSibling;
return week.getBoundingClientRect().top - before.getBoundingClientRect().bottom;
"""


@pytest.mark.parametrize("width", [375, 600, 1000])
def test_words_of_a_table_are_whole_and_a_week_stands_apart(
    browser: Any, tmp_path: Path, width: int
) -> None:
    tunes = tmp_path / "tunes"
    tunes.mkdir()
    key = "key: Bb mixolydian\nmeter: 4/4\n\n"
    for number, words in enumerate(["1 3 5 3 | 2 4 b7 1", "1:1/2 5:1/2 8 b3 #4 | b6 6 5 1"]):
        title = f"title: The long slow barges of the upper harbor, {'part' * 20 * number}\n"
        (tunes / f"{number}.txt").write_text(title + key + words, encoding="utf-8")
    common = [str(tunes), "--no-sound", "-o"]
    assert main(["sheet", *common, str(tmp_path / "packet")]) == 0
    assert main(["term", *common, str(tmp_path / "term"), "--weeks", "2"]) == 0
    # a phone's width of its own: a window of this browser is never so narrow
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False},
    )
    try:
        for page in [tmp_path / "packet/contents.html", *(tmp_path / "term").glob("*.html")]:
            browser.get(page.as_uri())
            cut = browser.execute_script(WORDS_CUT)
            assert {*cut} <= {"part" * 20}, page.name
            assert browser.execute_script(OVERFLOWING) == [], page.name
            if page.name.startswith("week"):
                assert browser.execute_script(ABOVE_THE_WEEK) >= 30, page.name
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_axe_finds_nothing_in_the_contents_of_a_packet(
    browser: Any, tmp_path: Path, axe: str
) -> None:
    packet = tmp_path / "packet"
    assert main(["sheet", str(MELODIES), "--no-sound", "-o", str(packet)]) == 0
    browser.get((packet / "contents.html").as_uri())
    browser.execute_script(axe)
    assert browser.execute_async_script(AXE) == []
    sheets = browser.execute_script("return document.querySelectorAll('a[href$=html]').length")
    assert sheets == 2 * (len(list(MELODIES.glob("*.txt"))) + 1)
    for copy in ("student", "teacher"):
        for paper in (A4, LETTER):
            browser.get((packet / f"{copy}.html").as_uri())
            pages = printed(browser, paper)
            assert len(pages) == len(list(MELODIES.glob("*.txt")))
            assert not any("Stop if it hurts" in page for page in pages)
    assert "Stop if it hurts" in (packet / "contents.html").read_text(encoding="utf-8")
