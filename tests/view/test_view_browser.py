"""The page in a real Chromium: an empty console under its own policy, reflow, print, dark and light."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import view_pages
import view_records

pytestmark = [pytest.mark.browser, pytest.mark.slow]


@pytest.fixture(scope="module")
def browser(chromium: str) -> Iterator[Any]:
    driver_path = shutil.which("chromedriver")
    if not driver_path:  # under CI the skip is a failure
        (pytest.fail if os.environ.get("CI") else pytest.skip)("chromedriver is not on this machine")
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    for flag in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver_path))
    yield driver
    driver.quit()


def _open(browser: Any, folder: Path, **shape: Any) -> None:
    path = folder / "report.html"
    path.write_text(view_pages.page_of(view_records.make(**shape)), encoding="utf-8")
    browser.get(path.as_uri())


def _emulate(browser: Any, *, width: int = 1280, media: str = "screen", scheme: str = "light") -> None:
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": media, "features": features})
    metrics = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)


@pytest.mark.parametrize("shape", [{"count": 3}, {"count": 6, "long_names": True}, {"count": 3, "failed": True}])
def test_the_console_is_empty_and_320_pixels_are_enough(browser: Any, tmp_path: Path, shape: dict[str, Any]) -> None:
    _emulate(browser, width=320)
    _open(browser, tmp_path, **shape)
    assert browser.get_log("browser") == []
    assert browser.execute_script("return document.documentElement.scrollWidth") <= 320
    # the policy let our style through: without it the body would keep the browser's margin of 8 px
    assert browser.execute_script("return getComputedStyle(document.body).marginTop") == "0px"


def test_folded_parts_are_open_in_print(browser: Any, tmp_path: Path) -> None:
    _emulate(browser)
    _open(browser, tmp_path, count=3)
    height = "return document.querySelector('#runs').getBoundingClientRect().height"
    told = "return document.querySelector('#runs').innerText.includes('far-r01')"
    folded = browser.execute_script(height)
    assert not browser.execute_script(told)
    _emulate(browser, media="print")
    assert browser.execute_script(told)
    assert browser.execute_script(height) > 4 * folded


def test_figures_follow_the_scheme(browser: Any, tmp_path: Path) -> None:
    _emulate(browser)
    _open(browser, tmp_path, count=3)
    colours = "return [...document.querySelectorAll('svg [stroke]')].map(e => getComputedStyle(e).stroke)"
    light = set(browser.execute_script(colours))
    _emulate(browser, scheme="dark")
    dark = set(browser.execute_script(colours))
    assert "rgb(0, 114, 178)" in light  # #0072b2
    assert "rgb(86, 180, 233)" in dark  # #56b4e9
    assert "rgb(0, 114, 178)" not in dark
