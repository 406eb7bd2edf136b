"""Make the pictures of the README from the demo season: `python tests/pictures/make_pictures.py REPORTS`.

REPORTS is where `toolbench season data_demo -o REPORTS` wrote. Needs selenium, Chromium and its driver.
"""

from __future__ import annotations

import base64
import shutil
import sys
from pathlib import Path

from selenium import webdriver
from selenium.webdriver.chrome.service import Service

HERE = Path(__file__).resolve().parent
PICTURES = {"report.png": ("far-end/tool-quernel-1--static/report.html", 1180, 1640)}


def main(reports: Path) -> None:
    """Photograph the top of each page."""
    options = webdriver.ChromeOptions()
    options.binary_location = shutil.which("chromium") or ""
    for word in ("--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars"):
        options.add_argument(word)
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    try:
        for name, (page, width, height) in PICTURES.items():
            size = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": False}
            driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
            driver.get((reports / page).resolve().as_uri())
            shot = driver.execute_cdp_cmd("Page.captureScreenshot", {"format": "png"})
            (HERE / name).write_bytes(base64.b64decode(shot["data"]))
    finally:
        driver.quit()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
