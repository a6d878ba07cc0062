"""The page of a call in a real browser: quiet, inert, readable, printable.

Run by Chromium without a window. A machine without it fails here: what the page does in a browser
can be told by no other means.
"""

from __future__ import annotations

import base64
import io
import json
import re
import shutil
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pypdf
import pytest
from selenium.webdriver import Chrome
from selenium.webdriver.chrome.options import Options
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.by import By

from tests.review.exports import (
    ESCALATED,
    FULL,
    LONG_FULL,
    REFUSED,
    UNLICENSED,
    exported,
    spoken,
    told_all,
)
from triage.review.export.page import page_of

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--disable-dev-shm-usage", "--hide-scrollbars",
)  # fmt: skip

HOSTILE = (
    "<script>document.title='taken'</script>"
    "<img src=http://x.invalid/a.png onerror=\"document.title='taken'\">"
    '"><svg onload="document.title=\'taken\'"></svg>'
    "<style>*{display:none!important}</style></style></details></main><a href=http://x.invalid>x"
    "{{ 7*7 }}{% raw %}&lt;b&gt;"
)

PAGES = {
    "full": lambda: told_all(FULL, "hums at night", "Ana Berg", "GL-0042-771", "as typed"),
    "technician": lambda: spoken(LONG_FULL),
    "hostile": lambda: told_all(FULL, HOSTILE, HOSTILE, HOSTILE, HOSTILE),
    "withheld": lambda: spoken(REFUSED),
    "escalated": lambda: spoken(ESCALATED),
    "unlicensed": lambda: spoken(UNLICENSED),
}

PAPER_IN = {"A4": (210 / 25.4, 297 / 25.4), "US Letter": (8.5, 11.0)}
"""Sizes in inches: ISO 216; ANSI Y14.1 A."""

WCAG_TEXT, WCAG_LARGE_TEXT, WCAG_GRAPHICS = 4.5, 3.0, 3.0
"""Least contrast, WCAG 2.2, 1.4.3 (level AA) and 1.4.11."""

CONTRASTS = """
const rgb = (text) => {
  const parts = text.match(/[\\d.]+/g).map(Number);
  return {color: parts.slice(0, 3), alpha: parts.length > 3 ? parts[3] : 1};
};
const luminance = (color) => {
  const [r, g, b] = color.map((part) => {
    const share = part / 255;
    return share <= 0.04045 ? share / 12.92 : Math.pow((share + 0.055) / 1.055, 2.4);
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const behind = (element) => {
  for (let at = element; at; at = at.parentElement) {
    const found = rgb(getComputedStyle(at).backgroundColor);
    if (found.alpha > 0) return found.color;
  }
  return [255, 255, 255];
};
const found = [];
const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walker.nextNode()) {
  const element = walker.currentNode.parentElement;
  if (!walker.currentNode.data.trim() || !element.checkVisibility()) continue;
  if (element.closest('title, desc')) continue;
  const style = getComputedStyle(element);
  const inDrawing = element.closest('svg') !== null;
  const lights = [rgb(inDrawing ? style.fill : style.color).color, behind(element)]
    .map(luminance).sort((a, b) => b - a);
  const px = parseFloat(style.fontSize);
  const isLarge = px >= 24 || (px >= 18.66 && Number(style.fontWeight) >= 700);
  found.push([(lights[0] + 0.05) / (lights[1] + 0.05), isLarge, walker.currentNode.data.trim()]);
}
return found;
"""
"""Contrast ratio of every text: WCAG 2.2, definitions of contrast ratio and relative luminance."""

GRAPHICS = """
const luminance = (text) => {
  const [r, g, b] = text.match(/[\\d.]+/g).map(Number).slice(0, 3).map((part) => {
    const share = part / 255;
    return share <= 0.04045 ? share / 12.92 : Math.pow((share + 0.055) / 1.055, 2.4);
  });
  return 0.2126 * r + 0.7152 * g + 0.0722 * b;
};
const page = luminance(getComputedStyle(document.body).backgroundColor);
const seen = [];
for (const element of document.querySelectorAll('.mark, .band, .diagram path')) {
  const style = getComputedStyle(element);
  const color = element.matches('.mark') ? style.fill : style.stroke;
  const width = parseFloat(style.strokeWidth);
  if (!color.startsWith('rgb') || (element.matches('path') && width < 1)) continue;
  const lights = [luminance(color), page].sort((a, b) => b - a);
  seen.push((lights[0] + 0.05) / (lights[1] + 0.05));
}
return seen;
"""


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Return the address of each page."""
    folder = tmp_path_factory.mktemp("pages")
    addresses = {}
    for name, lines in PAGES.items():
        path = folder / f"{name}.html"
        path.write_text(page_of(exported(lines(), with_personal_data=True)), encoding="utf-8")
        addresses[name] = path.as_uri()
    loud = folder / "loud.html"
    loud.write_text(
        "<!DOCTYPE html><title>x</title><img src='http://127.0.0.1:9/a.png'>"
        "<script>console.error('loud')</script>"
    )
    return {**addresses, "loud": loud.as_uri()}


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chrome]:
    """Return one browser for all tests here, with a profile of its own."""
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if chromium is None or driver is None:
        pytest.fail(
            "these tests need Chromium and its driver: apt-get install chromium chromium-driver"
        )
    options = Options()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    opened = Chrome(options=options, service=Service(driver))
    yield opened
    opened.quit()


def seen(browser: Chrome, address: str, width: int = 1280, *, is_dark: bool = False) -> None:
    """Open a page at a width in CSS pixels."""
    scheme = [{"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": scheme})
    browser.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False},
    )
    browser.get(address)


def requests_of(browser: Chrome) -> list[str]:
    """Return what was asked of any network since this was last asked."""
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    sent = [
        event["params"]["request"]["url"]
        for event in events
        if event["method"] == "Network.requestWillBeSent"
    ]
    return [address for address in sent if not address.startswith(("file:", "data:"))]


def script(browser: Chrome, code: str) -> Any:
    return browser.execute_script(code)


def test_a_page_that_does_ask_and_does_complain_is_caught(
    browser: Chrome, pages: dict[str, str]
) -> None:
    """So that the test below can fail."""
    browser.get_log("performance")
    browser.get_log("browser")
    seen(browser, pages["loud"])
    assert requests_of(browser) == ["http://127.0.0.1:9/a.png"]
    assert any("loud" in entry["message"] for entry in browser.get_log("browser"))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_asks_nothing_of_any_network_and_has_no_complaint(
    browser: Chrome, pages: dict[str, str], name: str
) -> None:
    browser.get("about:blank")
    browser.get_log("performance")
    browser.get_log("browser")
    seen(browser, pages[name])
    script(browser, "document.querySelector('summary').click()")
    assert requests_of(browser) == []
    assert browser.get_log("browser") == []
    assert script(browser, "return performance.getEntriesByType('resource').length") == 0


def test_hostile_texts_are_inert_and_can_be_read(browser: Chrome, pages: dict[str, str]) -> None:
    seen(browser, pages["hostile"])
    assert browser.title.startswith("Call 20260105-0900-cdfg: Recommendation")
    for tag in ("script", "img", "a", "iframe", "object", "form", "link", "base"):
        assert browser.find_elements(By.TAG_NAME, tag) == [], tag
    assert len(browser.find_elements(By.TAG_NAME, "style")) == 1
    assert script(browser, "return document.querySelectorAll('[onload],[onerror]').length") == 0
    note = browser.find_element(By.CSS_SELECTOR, "[aria-labelledby=notes] li")
    assert note.text.startswith("<script>document.title='taken'</script><img src=http://x.invalid")
    assert "{{ 7*7 }}" in note.text
    assert browser.find_element(By.CSS_SELECTOR, "main > section:last-of-type").is_displayed()


def test_the_policy_stands_before_anything_it_could_stop(
    browser: Chrome, pages: dict[str, str]
) -> None:
    """Content Security Policy Level 3: what is not allowed is refused, inline script too."""
    seen(browser, pages["full"])
    policy = browser.find_element(By.CSS_SELECTOR, "meta[http-equiv=Content-Security-Policy]")
    assert policy.get_attribute("content") == (
        "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
    )
    code = """
    const done = arguments[arguments.length - 1];
    document.addEventListener('securitypolicyviolation',
                              (event) => done(event.violatedDirective));
    const image = document.createElement('img');
    image.src = 'http://127.0.0.1:9/a.png';
    document.body.append(image);
    """
    assert browser.execute_async_script(code) == "img-src"
    browser.get_log("browser")


@pytest.mark.parametrize("width", [360, 1280])
@pytest.mark.parametrize("name", PAGES)
def test_a_page_never_scrolls_sideways(
    browser: Chrome, pages: dict[str, str], name: str, width: int
) -> None:
    seen(browser, pages[name], width)
    assert script(browser, "return document.documentElement.scrollWidth") <= width
    beyond = """
    return [...document.querySelectorAll('body *')]
      .filter((element) => element.checkVisibility() && !element.closest('svg svg, svg *'))
      .filter((element) => element.getBoundingClientRect().right > innerWidth + 0.5)
      .map((element) => element.outerHTML.slice(0, 80));
    """
    assert script(browser, beyond) == []


@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("name", ["full", "withheld", "escalated"])
def test_text_and_graphics_stand_out_enough(
    browser: Chrome, pages: dict[str, str], name: str, is_dark: bool
) -> None:
    seen(browser, pages[name], is_dark=is_dark)
    background = script(browser, "return getComputedStyle(document.body).backgroundColor")
    assert (background == "rgb(255, 255, 255)") is not is_dark
    texts = script(browser, CONTRASTS)
    assert len(texts) > 60
    poor = [
        (round(ratio, 2), text)
        for ratio, is_large, text in texts
        if ratio < (WCAG_LARGE_TEXT if is_large else WCAG_TEXT)
    ]
    assert poor == []
    graphics = script(browser, GRAPHICS)
    assert len(graphics) > 6
    assert min(graphics) >= WCAG_GRAPHICS


@pytest.mark.parametrize("width", [360, 1280])
def test_the_diagram_is_there_and_its_labels_can_be_read(
    browser: Chrome, pages: dict[str, str], width: int
) -> None:
    seen(browser, pages["full"], width)
    diagram = browser.find_element(By.CSS_SELECTOR, "svg.diagram")
    assert diagram.size["width"] >= min(300, width - 40)
    assert diagram.size["height"] >= 200
    sizes = """
    const diagram = document.querySelector('svg.diagram');
    const scale = diagram.getBoundingClientRect().width / diagram.viewBox.baseVal.width;
    return [...diagram.querySelectorAll('text')].map((text) =>
      [text.textContent, scale * parseFloat(getComputedStyle(text).fontSize),
       text.getBoundingClientRect().width]);
    """
    labels = script(browser, sizes)
    assert {"1", "2", "3", "4", "measured", "healthy"} <= {text for text, _, _ in labels}
    assert min(px for _, px, _ in labels) >= 10.5
    assert min(across for _, _, across in labels) > 0
    inside = """
    const frame = document.querySelector('svg.diagram').getBoundingClientRect();
    return [...document.querySelectorAll('svg.diagram text')].every((text) => {
      const box = text.getBoundingClientRect();
      return box.left >= frame.left - 1 && box.right <= frame.right + 1
        && box.top >= frame.top - 1 && box.bottom <= frame.bottom + 1;
    });
    """
    assert script(browser, inside) is True


@pytest.mark.parametrize("name", PAGES)
def test_a_page_is_told_in_words_and_in_order(
    browser: Chrome, pages: dict[str, str], name: str
) -> None:
    """WCAG 2.2: 1.1.1 text for graphics, 1.3.1 headings, 1.4.1 no color alone, 3.1.1 language."""
    seen(browser, pages[name])
    assert script(browser, "return document.documentElement.lang") == "en-US"
    levels = script(
        browser, "return [...document.querySelectorAll('h1,h2,h3')].map((h) => +h.tagName[1])"
    )
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    unnamed = """
    return [...document.querySelectorAll('svg')].filter((svg) => svg.getAttribute('role') !== 'img'
      || !(svg.getAttribute('aria-label') || document.getElementById(
           (svg.getAttribute('aria-labelledby') || '').split(' ')[0]))).length;
    """
    assert script(browser, unnamed) == 0
    wordless = """
    return [...document.querySelectorAll('.gauge')].filter((gauge) =>
      !/^(BELOW|WITHIN|ABOVE)$/.test(gauge.parentElement.querySelector('.verdict b').textContent));
    """
    assert script(browser, wordless) == []
    ids = script(browser, "return [...document.querySelectorAll('[id]')].map((item) => item.id)")
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("paper", PAPER_IN)
@pytest.mark.parametrize("name", ["full", "technician", "withheld"])
def test_a_usual_call_prints_on_one_or_two_sheets(
    browser: Chrome, pages: dict[str, str], name: str, paper: str
) -> None:
    seen(browser, pages[name], is_dark=True)  # paper is white, whatever the screen is
    width, height = PAPER_IN[paper]
    printed = browser.execute_cdp_cmd(
        "Page.printToPDF", {"paperWidth": width, "paperHeight": height, "printBackground": True}
    )
    reader = pypdf.PdfReader(io.BytesIO(base64.b64decode(printed["data"])))
    assert 1 <= len(reader.pages) <= 2
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    assert "leave the machine so" in text
    assert "Suction pressure early in the freeze" in text
    assert "Enthalpy" in text
    if name == "full":
        assert "Verify after the repair" in text
        assert "Brazing with nitrogen" in text
        assert "hums at night" in text


def test_a_page_shows_only_what_the_file_itself_holds(pages: dict[str, str]) -> None:
    for name, address in pages.items():
        if name in ("loud", "hostile"):
            continue
        text = Path(address.removeprefix("file://")).read_text(encoding="utf-8")
        named = set(re.findall(r"https?://[^\s\"'<>]+", text))
        assert named <= {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
        assert "<script" not in text
        assert "@import" not in text
        assert not re.search(r"url\((?!#)", text)
