"""Journeys 3 and 4: what fits here, and whether a train can run, on a phone and at a desk."""

from __future__ import annotations

from decimal import Decimal

import pytest
from selenium.webdriver.common.by import By

from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.stock.models import Vehicle
from inventory.track.models import Place, Railway, Track, Turnout
from inventory.track.standing import put
from tests.factories import exact_instrument, make_vehicle, measure
from tests.journeys.conftest import DESK, PHONE, Reader

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def make_car(
    by: Person, number: str, length: str | None, service="fit to run", **facts
) -> Vehicle:
    chosen = {"family": "nem", "scale": "H0", "reporting_mark": "Alb", **facts}
    vehicle = make_vehicle(by, number=number, **chosen)
    if length is not None:
        readings = {("length_over_couplers", ""): length, ("body_width", ""): "47 mm"}
        measure(vehicle, by, readings, exact_instrument())
    Vehicle.objects.filter(pk=vehicle.pk).update(service=service)
    return vehicle


def build(by: Person) -> None:
    """A branch of two places: a loop on the line, and a siding behind a No. 6 turnout."""
    railway = Railway.objects.create(name="Alder Branch", family="nem", scale="H0")
    tarn = Place.objects.create(railway=railway, name="Tarn", position=1)
    fen = Place.objects.create(railway=railway, name="Fen", position=2)
    frog = Turnout.objects.create(place=fen, name="Mill turnout", frog_number=Decimal(6))
    marks = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    Track.objects.create(place=tarn, name="Loop", duty="loop", measured=Decimal(620), **marks)
    Track.objects.create(
        place=tarn, name="Main track", duty="running", measured=Decimal(900), **marks
    )
    Track.objects.create(place=fen, name="Lead", duty="lead", measured=Decimal(400), **marks)
    siding = Track.objects.create(
        place=fen, name="Mill siding", measured=Decimal(700), a_reference="frog", a_turnout=frog
    )
    put(vehicles=[make_car(by, "1", "120 mm")], track=siding)
    make_car(by, "2", "150 mm")
    make_car(by, "3", "130 mm")
    make_car(by, "4", "90 mm")
    make_car(by, "5", "400 mm")
    make_car(by, "6", "100 mm", service="bad order")
    make_car(by, "7", None)
    make_car(by, "21", "140 mm", category="locomotive", reporting_mark="Lok", kind="tank engine")


class Visit(Reader):
    """Somebody who looks at the pages at one size of screen."""

    def __init__(self, browser, base: str, size: tuple[int, int]) -> None:
        super().__init__(browser, base)
        self.size = size
        browser.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {
                "width": size[0],
                "height": size[1],
                "deviceScaleFactor": 2,
                "mobile": size == PHONE,
            },
        )

    @property
    def words(self) -> str:
        main = self.browser.find_element(By.CSS_SELECTOR, "main")
        return " ".join(main.text.split())

    def sees(self, words: str) -> None:
        self.wait(lambda: words in self.words, f"“{words}” is on the page")

    def sign_in(self, person: Person) -> None:
        self.browser.get(self.base + sign_in_path(person))
        self.browser.find_element(By.CSS_SELECTOR, "main button").click()
        self.wait(lambda: "/bench/" in self.browser.current_url, "signed in")

    def _click(self, element) -> None:
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", element)
        element.click()

    def follow(self, words: str) -> None:
        self._click(self.wait(lambda: self.browser.find_element(By.LINK_TEXT, words), words))

    def press(self, words: str) -> None:
        path = f"//main//button[normalize-space()='{words}']"
        self._click(self.wait(lambda: self.browser.find_element(By.XPATH, path), words))

    def unfold(self, words: str) -> None:
        path = f"//main//summary[contains(., '{words}')]"
        self._click(self.wait(lambda: self.browser.find_element(By.XPATH, path), words))

    def tick(self, legend: str, words: str) -> None:
        path = f"//fieldset[legend[.='{legend}']]//label[normalize-space()='{words}']"
        self._click(self.wait(lambda: self.browser.find_element(By.XPATH, path), words))

    def fill(self, name: str, text: str) -> None:
        box = self.browser.find_element(By.NAME, name)
        box.clear()
        box.send_keys(text)

    def choose(self, name: str, words: str) -> None:
        option = f"//select[@name='{name}']/option[normalize-space()='{words}']"
        self.browser.find_element(By.XPATH, option).click()

    def never_scrolls_sideways(self) -> None:
        width = self.browser.execute_script("return document.documentElement.scrollWidth")
        assert width <= self.size[0], self.browser.current_url

    def drawing(self) -> str:
        """What the one drawing in sight says to those who cannot see it."""
        shown = [
            each.find_element(By.CSS_SELECTOR, "title").get_attribute("textContent")
            for each in self.browser.find_elements(By.CSS_SELECTOR, "main svg")
            if each.is_displayed()
        ]
        assert len(shown) == 1
        return shown[0]


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def visit(request, phone, live_server) -> Visit:
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    build(owner)
    made = Visit(phone, live_server.url, request.param)
    made.sign_in(owner)
    return made


def test_what_fits_here_from_the_line_to_the_best_cut_on_the_siding(visit):
    visit.follow("Tracks")
    visit.follow("Alder Branch")
    visit.sees("1. Tarn")
    visit.never_scrolls_sideways()
    visit.follow("Mill siding")

    # From the frog, by C(4N^2+1)/(4N) - GN with N = 6, G = 16.5 mm and C = 50 mm, 203.083 mm are
    # not clear: of 700 mm 496.92, of which the car of 120 mm leaves 376.9.
    for words in ("496.9 mm", "376.9 mm", "With a No. 6 frog", "203.08 mm beyond it"):
        visit.sees(words)
    assert "Standing from the buffer stop: 1. Alb 1 120 mm." in visit.drawing()
    visit.never_scrolls_sideways()

    # 150 + 130 + 90 is 370 mm, and nothing else comes closer to 376.9.
    visit.sees("3 vehicles, 370.0 mm")
    visit.sees("4 would fit now, one at a time")
    visit.unfold("do not fit, and why")
    for words in (
        "23.1 mm too long for the room left",
        "bad order",
        "no length over couplers measured: measure it",
    ):
        visit.sees(words)
    visit.never_scrolls_sideways()

    visit.press("Put them here")
    visit.sees("Alb 2, Alb 3, Alb 4 put onto Mill siding.")
    siding = Track.objects.get(name="Mill siding")
    standing = siding.standing.order_by("position").values_list("vehicle__number", flat=True)
    assert list(standing) == ["1", "2", "3", "4"]
    visit.sees("0 would fit now, one at a time")
    visit.sees("6.9 mm")
    visit.never_scrolls_sideways()


def test_can_i_run_this_train_from_the_line_to_the_track_that_stops_it(visit):
    visit.follow("Tracks")
    visit.follow("Alder Branch")
    visit.follow("Trains")
    visit.sees("Can I run this train?")
    visit.choose("engine", "Lok 21")
    visit.fill("n_cars", "3")
    visit.choose("lead", "Lead, Fen")
    visit.tick("Tracks it must fit", "Loop, Tarn")
    visit.tick("Tracks it must fit", "Main track, Tarn")
    visit.press("Ask")

    # Cars of 120, 150, 130, 90, 400 and 100 mm are 165 on average: 140 + 3 x 165 is 635 mm.
    visit.sees("It does not fit")
    visit.sees("The limiting track is Loop: the train is 15.0 mm too long for it.")
    # The lead of 400 mm takes one car beside the locomotive: 140 + 165 is 305 and + 165 too much.
    visit.sees("Over the yard lead it takes 3 pulls: 1 car, then 1 car, then 1 car.")
    visit.never_scrolls_sideways()

    visit.fill("n_cars", "2")
    visit.press("Ask")
    visit.sees("It fits")
    visit.sees("The limiting track is Loop: 150.0 mm")
    visit.never_scrolls_sideways()


def test_long_marks_of_what_stands_here_are_broken_into_few_lines(visit):
    siding = Track.objects.get(name="Mill siding")
    owner = Person.objects.get()
    long = make_car(owner, "31 80 0691 235-2", "80 mm", reporting_mark="Alder & Fen Rly")
    put(vehicles=[long], track=siding)
    visit.browser.get(f"{visit.base}{siding.get_absolute_url()}")

    for name in visit.browser.find_elements(By.CSS_SELECTOR, ".ordered li label > span"):
        height = float(name.value_of_css_property("line-height").removesuffix("px"))
        assert name.size["height"] <= 2.2 * height, name.text
    for button in visit.browser.find_elements(By.CSS_SELECTOR, ".ordered .shifts button"):
        assert button.size["width"] >= 24  # WCAG 2.2, 2.5.8
    visit.never_scrolls_sideways()
    said = [each["message"] for each in visit.browser.get_log("browser")]
    assert not [each for each in said if "Policy" in each]


def test_what_stands_here_is_numbered_once_for_whoever_looks(visit):
    siding = Track.objects.get(name="Mill siding")
    numbered = (
        "return [...document.querySelectorAll('.ordered li')].map(li => [...li.querySelectorAll("
        "'*')].filter(e => getComputedStyle(e, '::before').content.includes('counter')).length)"
    )
    for role in (Person.Role.OWNER, Person.Role.VISITOR):
        Person.objects.update(role=role)
        visit.browser.get(f"{visit.base}{siding.get_absolute_url()}")
        assert visit.browser.execute_script(numbered) == [1]
