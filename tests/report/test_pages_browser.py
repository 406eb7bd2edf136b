"""The season's index and an episode page in a real Chromium: empty console, filter and sort, 320 pixels, no scripts."""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fake_season import make_options, make_season

from toolbench.report.season_run import run_season

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("pages")
    options = make_options(root)
    shared = Path(__file__).parents[2] / "templates" / "toolbench-shared"
    (root / "templates" / "toolbench-shared").symlink_to(shared)
    run_season(make_season(root, {"a": "ok -3.5", "b": "raise", "c": "ok 2.0"}), root / "out", options)
    return root / "out"


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    chromium, driver = shutil.which("chromium") or shutil.which("google-chrome"), shutil.which("chromedriver")
    if not chromium or not driver:
        missing = "no Chromium with its driver on this machine"
        pytest.fail(missing) if os.environ.get("CI") else pytest.skip(missing)
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    found = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield found
    found.quit()


@pytest.mark.parametrize("name", ["index.html", "one/index.html"])
def test_nothing_leaves_the_page_and_its_console_is_empty(browser: Any, out: Path, name: str) -> None:
    browser.get_log("performance")
    browser.get((out / name).as_uri())
    assert browser.get_log("browser") == []
    events = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    asked = [event["params"]["request"]["url"] for event in events if event["method"] == "Network.requestWillBeSent"]
    assert asked == [(out / name).as_uri()]
    # the policy let our style through: without it the body would keep the browser's margin of 8 px
    assert browser.execute_script("return getComputedStyle(document.body).marginTop") == "0px"


@pytest.mark.parametrize("name", ["index.html", "one/index.html"])
def test_320_pixels_are_enough(browser: Any, out: Path, name: str) -> None:
    metrics = {"width": 320, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    browser.get((out / name).as_uri())
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 320
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def _shown(browser: Any) -> list[str]:
    rows = "return [...document.querySelectorAll('#table tbody tr')].filter(r => !r.hidden).map(r => r.cells[1].textContent.trim()[5])"
    return list(browser.execute_script(rows))


def test_rows_filter_and_sort_without_network(browser: Any, out: Path) -> None:
    browser.get((out / "index.html").as_uri())
    assert _shown(browser) == ["b", "a", "c"]  # failures first
    browser.find_element("css selector", "#table thead th:nth-child(2) button").click()
    assert _shown(browser) == ["a", "b", "c"]
    browser.find_element("css selector", "#table thead th:nth-child(2) button").click()
    assert _shown(browser) == ["c", "b", "a"]
    browser.find_element("css selector", ".tb-filter input").send_keys("up to date")
    assert _shown(browser) == ["c", "a"]


def test_every_row_is_readable_with_scripts_off(browser: Any, out: Path) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get((out / "index.html").as_uri())
        assert len([row for row in browser.find_elements("css selector", "#table tbody tr") if row.is_displayed()]) == 3
        assert not browser.find_elements("css selector", ".tb-filter")
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
