"""The page in a real browser: what it draws, what it asks for, what it lets run."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundstation.report.page import page
from groundstation.wording import printable
from tests.groundstation.report.browser import Browser, browser, browser_path
from tests.groundstation.report.tellings import HOSTILE, hostile_telling, telling_of

pytestmark = pytest.mark.skipif(browser_path() is None, reason="no browser on this machine")

INKED = """
[...document.querySelectorAll(".plot canvas")].map((canvas) => {
  const { data } = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height);
  let inked = 0;
  for (let at = 3; at < data.length; at += 4) inked += data[at] > 0;
  return inked;
})
"""
"""Inked pixels of each plot."""

PICTURE = 'document.querySelector("#speed-plot canvas").toDataURL()'

SETTLED = "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(done)))"
"""Two frames later."""


@pytest.fixture(scope="module")
def chromium(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    with browser(tmp_path_factory.mktemp("browser")) as running:
        yield running


def opened(chromium: Browser, folder: Path, text: str) -> Path:
    path = folder / "report.html"
    path.write_text(text, encoding="utf-8")
    chromium.requests.clear()
    chromium.complaints.clear()
    chromium.ask("Emulation.setEmulatedMedia", features=[])
    chromium.open(path)
    chromium.value(SETTLED)
    return path


@pytest.mark.parametrize("name", ["crash", "opposite_passes"])
def test_all_plots_are_drawn_and_nothing_is_asked_for(
    chromium: Browser, tmp_path: Path, name: str
) -> None:
    path = opened(chromium, tmp_path, page(telling_of(name)))
    assert chromium.requests == [path.as_uri()]
    assert chromium.complaints == []
    places = chromium.value('document.querySelectorAll(".plot").length')
    assert places > 6
    assert chromium.value("document.documentElement.dataset.drawn") == str(places)
    inked = chromium.value(INKED)
    assert len(inked) == places
    assert min(inked) > 1000


def test_a_hostile_session_harms_nobody(chromium: Browser, tmp_path: Path) -> None:
    path = opened(chromium, tmp_path, page(hostile_telling()))
    assert chromium.value("window.harmed") is None
    assert chromium.value('document.querySelector("h1").textContent') == printable(HOSTILE)
    assert chromium.requests == [path.as_uri()]
    assert chromium.complaints == []
    assert min(chromium.value(INKED)) > 1000


def test_a_script_that_got_past_the_escaping_would_not_run(
    chromium: Browser, tmp_path: Path
) -> None:
    text = page(telling_of("crash")).replace("</h1>", "</h1><script>window.harmed = 1</script>")
    opened(chromium, tmp_path, text)
    assert chromium.value("window.harmed") is None
    assert any("Content Security Policy" in each for each in chromium.complaints)


def test_a_plot_zooms_and_comes_back(chromium: Browser, tmp_path: Path) -> None:
    opened(chromium, tmp_path, page(telling_of("opposite_passes")))
    before = chromium.value(PICTURE)
    left, top, width, height = chromium.value(
        """(() => {
          const over = document.querySelector("#speed-plot .u-over");
          over.scrollIntoView({ block: "center" });
          const box = over.getBoundingClientRect();
          return [box.left, box.top, box.width, box.height];
        })()"""
    )
    middle = top + height / 2
    chromium.drag((left + 0.4 * width, middle), (left + 0.6 * width, middle))
    chromium.value(SETTLED)
    zoomed = chromium.value(PICTURE)
    assert zoomed != before
    chromium.value(
        'document.querySelector("#speed-plot .u-over")'
        '.dispatchEvent(new MouseEvent("dblclick", { bubbles: true }))'
    )
    chromium.value(SETTLED)
    assert chromium.value(PICTURE) == before


def test_dark_and_light_are_both_drawn(chromium: Browser, tmp_path: Path) -> None:
    opened(chromium, tmp_path, page(telling_of("crash")))
    ground = "getComputedStyle(document.documentElement).backgroundColor"
    shown = {}
    for scheme in ("light", "dark"):
        chromium.ask(
            "Emulation.setEmulatedMedia",
            features=[{"name": "prefers-color-scheme", "value": scheme}],
        )
        chromium.value(SETTLED)
        shown[scheme] = chromium.value(ground), chromium.value(PICTURE)
    assert shown["light"][0] == "rgb(253, 253, 251)"
    assert shown["dark"][0] == "rgb(20, 23, 27)"
    assert shown["light"][1] != shown["dark"][1]
    assert chromium.complaints == []


def test_it_prints(chromium: Browser, tmp_path: Path) -> None:
    opened(chromium, tmp_path, page(telling_of("opposite_passes")))
    pdf = b64decode(chromium.ask("Page.printToPDF", preferCSSPageSize=True)["data"])
    assert pdf.startswith(b"%PDF")
    assert chromium.complaints == []
    # Back on the screen it is as it was.
    assert chromium.value("document.documentElement.dataset.printed") is None
    assert min(chromium.value(INKED)) > 1000
