"""A real Chromium at phone size, driven by keyboard."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service

PHONE = (390, 844)
DESK = (1280, 800)
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


def _browser_path() -> str | None:
    named = os.environ.get("CARKNOCKER_CHROMIUM")
    if named:
        return named
    for name in ("chromium", "chromium-browser", "google-chrome", "chrome"):
        found = shutil.which(name)
        if found:
            return found
    return None


def _driver_path() -> str | None:
    return os.environ.get("CARKNOCKER_CHROMEDRIVER") or shutil.which("chromedriver")


def _open(tmp_path, *, has_script: bool) -> webdriver.Chrome:
    browser, driver = _browser_path(), _driver_path()
    if browser is None or driver is None:
        pytest.skip("no Chromium with its driver on this machine")
    options = webdriver.ChromeOptions()
    options.binary_location = browser
    for flag in FLAGS:
        options.add_argument(flag)
    options.add_argument(f"--user-data-dir={tmp_path / 'profile'}")
    options.add_argument("--window-size={},{}".format(*PHONE))
    if not has_script:
        options.add_experimental_option(
            "prefs", {"profile.managed_default_content_settings.javascript": 2}
        )
    opened = webdriver.Chrome(options=options, service=Service(driver))
    # The window of a headless browser has a frame; the page is what has to be phone-sized.
    opened.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": PHONE[0], "height": PHONE[1], "deviceScaleFactor": 2, "mobile": True},
    )
    return opened


@pytest.fixture(params=[True, False], ids=["with script", "without script"])
def phone(request, tmp_path) -> Iterator[webdriver.Chrome]:
    """A browser, once with JavaScript and once without."""
    opened = _open(tmp_path, has_script=request.param)
    opened.has_script = request.param
    yield opened
    opened.quit()


@pytest.fixture
def scripted_phone(tmp_path) -> Iterator[webdriver.Chrome]:
    """A browser with JavaScript."""
    opened = _open(tmp_path, has_script=True)
    yield opened
    opened.quit()
