"""Every page that a person can come to by links, before axe-core in a real Chromium.

WCAG 2.2 AA by the rules of axe-core (whose script the package axe-playwright-python carries; the
browser is driven by Selenium), reflow at 320 CSS pixels (success criterion 1.4.10: a window of
1280 at 400 %), and no motion where a person asked for none (2.3.3).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from importlib.resources import files
from urllib.parse import urljoin, urlsplit

import pytest
from django.urls import Resolver404, resolve
from selenium import webdriver
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.journeys.conftest import opened_at
from tests.servers import Server, Visitor

pytestmark = pytest.mark.browser

AXE = files("axe_playwright_python").joinpath("axe.min.js").read_text(encoding="utf-8")
RUN = """
const done = arguments[arguments.length - 1];
const rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
axe.run({resultTypes: ["violations"], runOnly: rules})
  .then(found => done(found.violations.map(
    each => each.id + ": " + each.nodes.map(node => node.html.slice(0, 160)).slice(0, 3).join("; ")
  )));
"""
#: Of one kind of page so many are looked at, on different vehicles, tracks and so on.
MOST_OF_A_KIND = 2
#: A page that is longer, such as the sheets of a whole fleet, takes the engine minutes.
MOST_LETTERS = 150_000


class House:
    """A server, somebody who is signed in to it, and the paths of all kinds of its pages."""

    def __init__(self, server: Server) -> None:
        self.server, self.person = server, Visitor()
        self.person.press(server.address)
        self.pages = found_by_links(self.person, server.base)
        self.one_of_each = list(
            {kind_of(*each.partition("?")[::2]): each for each in self.pages}.values()
        )

    def sign_in(self, browser: webdriver.Chrome) -> None:
        """Take the sign-in over into a browser."""
        browser.get(f"{self.server.base}/sign-in/")
        for cookie in self.person.cookies:
            browser.add_cookie({"name": cookie.name, "value": cookie.value, "path": "/"})


@pytest.fixture(scope="module", params=["--demo", ""], ids=["demo", "empty"])
def house(request, tmp_path_factory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("accessible") / "record"
    server = Server(folder, *filter(None, [request.param]))
    yield House(server)
    server.stop()


def found_by_links(person: Visitor, base: str) -> list[str]:
    kinds: Counter[str] = Counter()
    waiting, seen, found = ["/"], {"/"}, []
    while waiting:
        path = waiting.pop(0)
        words = person.get(base + path)
        if person.status != 200 or not words.lstrip().lower().startswith("<!doctype html"):
            continue
        if len(words) > MOST_LETTERS:  # another of its kind is looked at instead
            kinds[kind_of(*path.partition("?")[::2])] -= 1
            continue
        found.append(path)
        for link in links_in(words):
            whole = urlsplit(urljoin(base + path, link))
            if f"{whole.scheme}://{whole.netloc}" != base:
                continue
            kind = kind_of(whole.path, whole.query)
            wanted = whole.path + (f"?{whole.query}" if whole.query else "")
            if kind and wanted not in seen and kinds[kind] < MOST_OF_A_KIND:
                kinds[kind] += 1
                seen.add(wanted)
                waiting.append(wanted)
    return found


def links_in(words: str) -> list[str]:
    from html.parser import HTMLParser

    class Links(HTMLParser):
        def __init__(self) -> None:
            super().__init__()
            self.found: list[str] = []

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            if tag == "a":
                self.found += [value for name, value in attrs if name == "href" and value]

    parser = Links()
    parser.feed(words)
    return parser.found


def kind_of(path: str, query: str) -> str:
    """The view that answers, and whether it is asked anything."""
    try:
        answered = resolve(path)
    except Resolver404:
        return ""
    # Sheets of paper are long and alike; one filled sheet of each is enough.
    return answered.view_name + ("?" if query and answered.namespace != "paper" else "")


def problems_of(browser: webdriver.Chrome, path: str, room: int) -> list[str]:
    browser.execute_script(AXE)
    problems = [f"{path} {each}" for each in browser.execute_async_script(RUN)]
    width = browser.execute_script("return document.documentElement.scrollWidth")
    if width > room:
        problems.append(f"{path} is {width} wide in {room}")
    return problems


#: Sends the n-th form that needs something with nothing in it, past the browser's own checks.
SEND_EMPTY = """
const forms = [...document.forms].filter(each => each.method === "post"
  && each.querySelector("input[required]:not([type=radio]), textarea[required]"));
if (arguments[0] >= forms.length) return false;
const form = forms[arguments[0]];
form.querySelectorAll("[required]").forEach(each => { each.value = ""; });
form.noValidate = true;
(form.querySelector("button:not([formaction])") || form).click();
return true;
"""


def test_engine_finds_a_box_without_a_label_and_a_page_that_is_too_wide(tmp_path, house):
    spoil = (
        "const box = document.createElement('input'); box.style.minWidth = '900px';"
        "document.querySelector('main').append(box);"
    )
    with opened_at(tmp_path, (390, 844)) as browser:
        house.sign_in(browser)
        browser.get(house.server.base + "/bench/")
        browser.execute_script(spoil)
        problems = problems_of(browser, "/bench/", 390)
    assert any("label:" in each for each in problems)
    assert any("wide in" in each for each in problems)


@pytest.mark.parametrize(
    ("size", "is_dark"), [((390, 844), False), ((1280, 800), True)], ids=["phone", "desk, dark"]
)
def test_every_page_that_links_lead_to_has_no_violation(tmp_path, house, size, is_dark):
    assert len(house.one_of_each) > 20
    problems = []
    with opened_at(tmp_path, size, is_dark=is_dark) as browser:
        house.sign_in(browser)
        # What stands in a page differs from vehicle to vehicle, but not with the window.
        for path in house.one_of_each if is_dark else house.pages:
            browser.get(house.server.base + path)
            problems += problems_of(browser, path, size[0])
    assert problems == []


def test_every_form_sent_empty_says_so_without_a_violation(tmp_path, house):
    problems, sent = [], 0
    with opened_at(tmp_path, (390, 844), is_dark=True) as browser:
        house.sign_in(browser)
        for path in house.one_of_each:
            for n in range(4):
                browser.get(house.server.base + path)
                if not browser.execute_script(SEND_EMPTY, n):
                    break
                sent += 1
                problems += problems_of(browser, f"{path}, form {n} sent empty:", 390)
    assert sent > 3
    assert problems == []


def test_every_page_at_400_percent_needs_no_scrolling_sideways(tmp_path, house):
    problems = []
    with opened_at(tmp_path, (320, 256), is_still=True) as browser:
        house.sign_in(browser)
        for path in house.pages:
            browser.get(house.server.base + path)
            width = browser.execute_script("return document.documentElement.scrollWidth")
            if width > 320:
                problems.append(f"{path} is {width} wide in 320")
            moving = browser.execute_script("return document.getAnimations().length")
            if moving:
                problems.append(f"{path} moves although no motion was asked for")
    assert problems == []


#: Notes every element that gets the focus and whether that is to be seen; gives how many can.
WATCH = """
window.stops = [];
window.known = new Set();
const canStop = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]";
const shown = [...document.querySelectorAll(canStop)].filter(each => each.tabIndex >= 0
  && !each.disabled && each.checkVisibility({visibilityProperty: true}));
const groups = new Set();
const wanted = shown.filter(each => {
  if (each.type !== "radio") return true;
  if (groups.has(each.name)) return false;
  groups.add(each.name);
  return true;
});
document.addEventListener("focusin", event => {
  const style = getComputedStyle(event.target);
  const near = event.target.closest("label") || event.target.parentElement;
  const around = near ? getComputedStyle(near) : style;
  const isSeen = [style, around].some(each =>
    each.outlineStyle !== "none" && parseFloat(each.outlineWidth) >= 1);
  if (!window.known.has(event.target)) {
    window.known.add(event.target);
    window.stops.push([event.target.outerHTML.slice(0, 120), isSeen]);
  }
});
document.body.tabIndex = -1;
document.body.focus();
return wanted.length;
"""


def test_every_link_field_and_button_is_come_to_by_tab_and_shows_it(tmp_path, house):
    problems = []
    with opened_at(tmp_path, (1280, 800)) as browser:
        house.sign_in(browser)
        for path in house.one_of_each:
            browser.get(house.server.base + path)
            wanted = browser.execute_script(WATCH)
            ActionChains(browser).send_keys(Keys.TAB * (wanted + 2)).perform()
            stops = browser.execute_script("return window.stops")
            if len(stops) < wanted:
                problems.append(f"{path}: {len(stops)} of {wanted} come to")
            problems += [f"{path}: not seen on {html}" for html, seen in stops if not seen][:3]
    assert problems == []
