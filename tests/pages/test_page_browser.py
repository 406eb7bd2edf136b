"""Every kind of page in a real Chromium: nothing leaves them, an empty console, reflow, both themes, axe-core."""

from __future__ import annotations

import base64
import json
import os
import re
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from on_machine import need

import toolbench as tb
from toolbench.report.line_page import line_page
from toolbench.report.shipped import find_shipped

pytestmark = [pytest.mark.browser, pytest.mark.slow]

KINDS = {
    "report": "far-end/tool-quernel-1--static/report.html",
    "report-with-caveats": "packs/tool-ostrel--battery/report.html",
    "episode": "far-end/index.html",
    "season": "index.html",
    "bench-health": "bench-health.html",
    "standings": "standings.html",
}
QUESTIONS = {
    "line": {"setup": "near", "tool": "quernel-1", "length": "30 m", "want": "6 bar", "loss": "10 %"},
    "packs": {"setup": "one-string", "tool": "ostrel"},
}
MONTE_CARLO = "long-line/tool-wrench-a--held/report.html"
SCHEMES = ("light", "dark")
WIDTHS = (320, 1280)


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    driver = need(shutil.which("chromedriver"), "chromedriver")
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars", "--disable-dev-shm-usage"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    found = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield found
    found.quit()


def _find_axe() -> str | None:
    """axe-core's text file: named by TOOLBENCH_AXE, or in a node_modules above here or among npm's own."""
    named = os.environ.get("TOOLBENCH_AXE")
    if named:
        return named if Path(named).is_file() else None
    homes = [folder / "node_modules" for folder in Path(__file__).resolve().parents]
    npm = shutil.which("npm")
    if npm:
        done = subprocess.run([npm, "root", "-g"], capture_output=True, text=True, check=False)
        homes.append(Path(done.stdout.strip() or "."))
    found = (home / "axe-core" / "axe.min.js" for home in homes)
    return next((str(path) for path in found if path.is_file()), None)


@pytest.fixture(scope="module")
def axe() -> str:
    """The source of axe-core."""
    return Path(need(_find_axe(), "axe-core (npm i axe-core, or name its axe.min.js in TOOLBENCH_AXE)")).read_text(
        "utf-8"
    )


def _show(browser: Any, page: Path, *, width: int = 1280, scheme: str = "light") -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "screen", "features": features})
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get(page.as_uri())


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The pages of questions about a line and about packs."""
    out = tmp_path_factory.mktemp("lines")
    season = tb.open_season(find_shipped("data_demo"))
    for name, question in QUESTIONS.items():
        html = line_page(tb.open_line(season, **question), find_shipped("templates"))
        (out / f"{name}.html").write_text(html, encoding="utf-8")
    return out


@pytest.fixture(params=[*KINDS, "monte-carlo", *QUESTIONS])
def page(request: pytest.FixtureRequest) -> Path:
    if request.param in QUESTIONS:
        return Path(request.getfixturevalue("lines")) / f"{request.param}.html"
    if request.param == "monte-carlo":
        return Path(request.getfixturevalue("checked")) / MONTE_CARLO
    return Path(request.getfixturevalue("reports")) / KINDS[request.param]


def _asked(browser: Any) -> list[str]:
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    return [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]


def test_nothing_leaves_the_page_and_its_console_is_empty(browser: Any, page: Path) -> None:
    browser.get("about:blank")
    browser.get_log("performance"), browser.get_log("browser")
    _show(browser, page)
    browser.execute_script("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert _asked(browser) == [page.as_uri()]
    assert browser.get_log("browser") == []
    # The policy let our style through: without it the body would keep the browser's margin of 8 px.
    assert browser.execute_script("return getComputedStyle(document.body).marginTop") == "0px"


def test_the_policy_is_in_force(browser: Any, page: Path) -> None:
    """A script and a picture put into the page do not run and are not fetched; the console says so."""
    _show(browser, page)
    browser.get_log("performance"), browser.get_log("browser")
    browser.execute_script(
        "const s = document.createElement('script'); s.textContent = 'window.got = 1'; document.body.append(s);"
        "const i = new Image(); i.src = 'http://127.0.0.1:9/x.png'; document.body.append(i);"
    )
    assert browser.execute_script("return window.got === undefined")
    assert len(browser.get_log("browser")) >= 2
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    assert [e["params"].get("blockedReason") for e in events if e["method"] == "Network.loadingFailed"] == ["csp"]
    assert not [e for e in events if e["method"] == "Network.responseReceived"]


def test_markup_from_files_runs_nothing(browser: Any, hostile: Path) -> None:
    for path in sorted(hostile.rglob("*.html")):
        browser.get_log("browser")
        browser.get(path.as_uri())
        assert browser.get_log("browser") == []
        assert browser.execute_script("return document.querySelectorAll('img').length") == 0


@pytest.mark.parametrize("scheme", SCHEMES)
def test_320_pixels_are_enough(browser: Any, page: Path, scheme: str) -> None:
    _show(browser, page, width=320, scheme=scheme)
    browser.execute_script("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 320


def _channels(colour: str) -> tuple[float, float, float]:
    red, green, blue = (float(part) for part in re.findall(r"[\d.]+", colour)[:3])
    return red, green, blue


def _luminance(colour: str) -> float:
    """Relative luminance by WCAG 2.2."""
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in _channels(colour))]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    light, dark = sorted((_luminance(one), _luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_is_worked_out_as_published() -> None:
    """WCAG 2.2: black on white is 21:1; #767676 on white is the well known grey just above 4.5:1 (from memory)."""
    assert _contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21)
    assert _contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.01)


def test_light_and_dark_differ_and_words_in_pictures_are_readable_in_both(browser: Any, reports: Path) -> None:
    """axe-core does not look at text inside SVG, so its contrast against the page's ground is measured here."""
    grounds = []
    for scheme in SCHEMES:
        _show(browser, reports / KINDS["report"], scheme=scheme)
        ground = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
        fills = browser.execute_script(
            "return [...document.querySelectorAll('svg text')].map(one => getComputedStyle(one).fill)"
        )
        assert len(fills) > 10
        assert min(_contrast(fill, ground) for fill in fills) >= 4.5
        grounds.append(_luminance(ground))
    assert grounds[0] > 0.8 > 0.1 > grounds[1]


@pytest.mark.parametrize("scheme", SCHEMES)
def test_dots_of_the_charts_are_filled_in_both_themes(browser: Any, reports: Path, scheme: str) -> None:
    """A dot's face and rim are one colour: black, which matplotlib leaves to SVG's default, follows the theme as well."""
    _show(browser, reports / KINDS["bench-health"], scheme=scheme)
    dots = browser.execute_script(
        "return [...document.querySelectorAll('svg use')].map(one => getComputedStyle(one))"
        ".map(seen => [seen.stroke, seen.fill])"
    )
    ink = "rgb(0, 0, 0)" if scheme == "light" else "rgb(242, 242, 240)"
    faces = [face for rim, face in dots if rim == ink]
    assert len(faces) > 20
    assert set(faces) == {ink}


def test_the_bench_is_printed_from_its_first_page_on(browser: Any, reports: Path, tmp_path: Path) -> None:
    """A chart with its long table does not move to the next page as a whole and leave a page with a title alone."""
    reader = need(shutil.which("pdftotext"), "pdftotext")
    _show(browser, reports / KINDS["bench-health"])
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})
    printed = browser.execute_cdp_cmd("Page.printToPDF", {"paperWidth": 8.27, "paperHeight": 11.69})  # A4
    (tmp_path / "page.pdf").write_bytes(base64.b64decode(printed["data"]))
    done = subprocess.run([reader, tmp_path / "page.pdf", "-"], capture_output=True, text=True, check=True)
    first, *_, last = done.stdout.rstrip("\f").split("\f")
    assert "Block, in order of time" in first
    assert "Last run" in last  # the foot of the page does not stand on a sheet of its own


@pytest.mark.parametrize("scheme", SCHEMES)
@pytest.mark.parametrize("width", WIDTHS)
def test_axe_finds_nothing(browser: Any, axe: str, page: Path, width: int, scheme: str) -> None:
    _show(browser, page, width=width, scheme=scheme)
    browser.execute_script("document.querySelectorAll('details').forEach(one => one.open = true)")
    browser.execute_script(axe + "\nwindow.axe = axe;")
    browser.set_script_timeout(60)
    found = browser.execute_async_script(
        "const done = arguments[0]; axe.run(document, {preload: false, resultTypes: ['violations']})"
        ".then(r => done({passed: r.passes.length, wrong: r.violations.map(v => [v.id, v.nodes.map(n => n.html.slice(0, 200))])}),"
        " e => done({error: String(e)}))"
    )
    assert "error" not in found, found
    assert found["wrong"] == []
    assert found["passed"] > 10
