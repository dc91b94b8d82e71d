"""A real Chromium at phone size, driven by keyboard."""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager

import pytest
from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.common.keys import Keys

from inventory.stock.facts import Taken
from inventory.stock.models import Reading

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


class Reader:
    """Somebody who looks at the pages."""

    def __init__(self, browser, base: str) -> None:
        self.browser, self.base = browser, base

    @property
    def words(self) -> str:
        return self.browser.find_element("css selector", "main").text

    def wait(self, condition, what: str, seconds: float = 10):
        until = time.monotonic() + seconds
        while time.monotonic() < until:
            try:
                found = condition()
            except Exception:  # the page is being exchanged under our hands
                found = None
            if found:
                return found
            time.sleep(0.05)
        raise AssertionError(f"{what}: did not happen. The page says:\n{self.words}")


class Keyboard(Reader):
    """Somebody at the bench with a keyboard, who looks at the page between keys."""

    @property
    def focused(self):
        return self.browser.switch_to.active_element

    def press(self, *keys: str) -> None:
        self.focused.send_keys(*keys)

    def tab_to(self, name: str) -> None:
        """Press Tab until the element of that name or id has the focus."""
        for _ in range(60):
            if name in (self.focused.get_attribute("name"), self.focused.get_attribute("id")):
                return
            self.press(Keys.TAB)
        raise AssertionError(f"Tab never came to {name}")

    def tab_to_words(self, words: str) -> None:
        for _ in range(60):
            if " ".join(self.focused.get_attribute("textContent").split()) == words:
                return
            self.press(Keys.TAB)
        raise AssertionError(f"Tab never came to “{words}”")

    def fill(self, name: str, text: str) -> None:
        self.tab_to(name)
        self.press(Keys.CONTROL, "a")
        self.press(text)

    def is_at(self, path: str) -> bool:
        return path in self.browser.current_url

    def caliper(self, quantity: str, text: str) -> None:
        """A caliper that types like a keyboard: the number, then Enter."""
        box = f"typed-{quantity}"
        self.wait(lambda: self.focused.get_attribute("id") == box, f"the focus comes to {box}")
        self.press(text)
        self.press(Keys.ENTER)

    def stored(self, quantity: str, at: str, kept_as: type[Taken] = Reading) -> Taken:
        return self.wait(
            lambda: kept_as.objects.filter(quantity=quantity, at=at, is_current=True).first(),
            f"{quantity} at “{at}” is kept",
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


@contextmanager
def opened_at(
    tmp_path, size: tuple[int, int], *, is_dark: bool = False, is_still: bool = False
) -> Iterator[webdriver.Chrome]:
    """A browser whose page has a size in CSS pixels, light or dark, asked for no motion or not."""
    opened = _open(tmp_path, has_script=True)
    opened.execute_cdp_cmd(
        "Emulation.setDeviceMetricsOverride",
        {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": size[0] < 500},
    )
    features = [
        {"name": "prefers-color-scheme", "value": "dark" if is_dark else "light"},
        {"name": "prefers-reduced-motion", "value": "reduce" if is_still else "no-preference"},
    ]
    opened.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    yield opened
    opened.quit()


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
