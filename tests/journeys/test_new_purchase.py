"""Journey 1: a new purchase, from sign-in to outcome, on a phone and by keyboard alone."""

from __future__ import annotations

import pytest
from PIL import Image
from selenium.webdriver import ActionChains
from selenium.webdriver.common.keys import Keys

from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.stock.models import Inspection, Reading, Vehicle
from inventory.stock.recording import open_inspection
from tests.factories import make_vehicle
from tests.journeys.conftest import Keyboard

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def test_new_purchase_from_sign_in_to_outcome(phone, live_server, tmp_path):
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    bench = Keyboard(phone, live_server.url)

    phone.get(live_server.url + sign_in_path(owner))
    bench.wait(lambda: bench.focused.text == "Sign in as owner", "the button has the focus")
    # The browser's own switch is what makes the second run one without JavaScript.
    assert phone.execute_script("return 'htmx' in window") is phone.has_script
    bench.press(Keys.ENTER)
    bench.wait(lambda: bench.is_at("/bench/"), "signed in")

    bench.tab_to_words("Log a vehicle")
    bench.press(Keys.ENTER)
    bench.wait(lambda: bench.is_at("/bench/log/"), "the form to log a vehicle")
    bench.fill("reporting_mark", "QVR")
    bench.fill("number", "2041")
    bench.fill("kind", "boxcar")
    bench.press(Keys.ESCAPE)
    choose_photos(phone, tmp_path)
    bench.fill("axles", "2")
    bench.fill("profile_code", "110")
    bench.press(Keys.ENTER)
    bench.wait(lambda: bench.is_at("/axle-1/"), "the first axle")

    # Axle 1 is good: .566 to .575 in of S-4.2 with a code 110 flange.
    bench.caliper("back_to_back", "14.47 14.48 14.47")
    bench.stored("back_to_back", "1")
    bench.wait(lambda: "within" in bench.words, "the verdict appears")
    bench.caliper("flange_thickness", ".030 in")
    bench.caliper("flange_depth", "0,63")
    bench.caliper("tyre_width", "2.79")
    bench.stored("tyre_width", "1")
    bench.wait(lambda: "15.2" in bench.words, "the check gauge is computed from both")

    # Leave the inspection halfway, and take it up again.
    phone.get(live_server.url + "/bench/")
    bench.wait(lambda: "Unfinished inspections" in bench.words, "the bench")
    bench.tab_to_words("Take up QVR 2041")
    bench.press(Keys.ENTER)
    bench.wait(lambda: bench.is_at("/axle-2/"), "taken up at the second axle")

    # Axle 2 is narrow; the first attempt forgets the unit and is asked about.
    bench.caliper("back_to_back", ".560")
    bench.wait(lambda: "Did you mean 0.560 in?" in bench.words, "the slip is asked about")
    assert not Reading.objects.filter(at="2").exists()
    bench.tab_to("use-back_to_back")
    bench.press(Keys.ENTER)
    narrow = bench.stored("back_to_back", "2")
    assert str(narrow.value) == "14.224"
    bench.wait(lambda: "outside" in bench.words, "the verdict appears")

    phone.get(live_server.url + f"/bench/{narrow.inspection_id}/whole/")
    bench.wait(lambda: bench.focused.get_attribute("id") == "typed-length_over_couplers", "whole")
    bench.caliper("length_over_couplers", "6 1/2 in")
    bench.caliper("body_length", "152.4 mm")
    bench.caliper("mass", "4 oz")
    assert str(bench.stored("mass", "").value) == "113.398092500"

    phone.get(live_server.url + f"/bench/{narrow.inspection_id}/finish/")
    bench.wait(lambda: "The readings say" in bench.words, "the outcome")
    assert "bad order" in bench.words
    assert "Spread the wheels on axle 2 by 0.16 to 0.38 mm" in bench.words
    assert "Never lever against the flange" in bench.words
    bench.tab_to_words("State the outcome")
    bench.press(Keys.ENTER)
    bench.wait(lambda: bench.is_at("/stock/"), "the vehicle's page")

    vehicle = Vehicle.objects.get()
    assert vehicle.service == "bad order"
    inspection = Inspection.objects.get()
    assert inspection.finished_at is not None
    assert inspection.service == inspection.proposed == "bad order"
    assert "Back-to-back, axle 2" in bench.words
    # The photos are on its page and the first of them in the list, each drawn by the browser.
    assert shown_photos(bench) == [("photo of QVR 2041", 320, 213)] * 2
    phone.find_element("css selector", ".photos a").click()
    bench.wait(lambda: "photo 1 of 2" in bench.words, "the page of the photo")
    assert shown_photos(bench) == [("photo of QVR 2041", 1600, 1067)]
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 390
    phone.get(live_server.url + "/stock/")
    assert shown_photos(bench) == [("photo of QVR 2041", 320, 213)]


def choose_photos(phone, folder) -> None:
    """Two from the phone's album; its camera is offered besides to whoever has no mouse."""
    for name, colour in (("one.jpg", "red"), ("two.jpg", "blue")):
        Image.new("RGB", (3000, 2000), colour).save(folder / name)
    camera, album = phone.find_elements("name", "photos")
    assert camera.get_attribute("capture") == "environment"
    assert camera.get_attribute("accept") == "image/*"
    album.send_keys(f"{folder / 'one.jpg'}\n{folder / 'two.jpg'}")


def shown_photos(bench: Keyboard) -> list[tuple[str, int, int]]:
    """What every photo of the page is called, and its size as the browser has it."""
    found = bench.browser.find_elements("css selector", "main img")
    for each in found:
        bench.wait(lambda each=each: each.get_property("naturalWidth"), "the photo is drawn")
    return [
        (
            each.get_attribute("alt"),
            each.get_property("naturalWidth"),
            each.get_property("naturalHeight"),
        )
        for each in found
    ]


def test_the_page_never_scrolls_sideways_at_phone_width(scripted_phone, live_server):
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    phone = scripted_phone
    phone.get(live_server.url + sign_in_path(owner))
    phone.find_element("css selector", "main button").click()
    for path in ("/bench/", "/bench/log/", "/stock/", "/stock/instruments/", "/standards/"):
        phone.get(live_server.url + path)
        width = phone.execute_script("return document.documentElement.scrollWidth")
        assert width <= 390, path


@pytest.mark.parametrize("way", ["next", "finish"])
def test_reading_without_enter_is_kept_by_the_button(scripted_phone, live_server, way):
    """Leaving the box sends it, and the button sends it again with its page: kept once."""
    phone, owner = scripted_phone, Person.objects.create_user("owner", role=Person.Role.OWNER)
    bench = Keyboard(phone, live_server.url)
    phone.get(live_server.url + sign_in_path(owner))
    phone.find_element("css selector", "main button").click()
    bench.wait(lambda: bench.is_at("/bench/"), "signed in")
    inspection = open_inspection(vehicle=make_vehicle(owner), reason="new", by=owner)
    phone.get(live_server.url + f"/bench/{inspection.pk}/axle-1/")
    bench.wait(lambda: bench.focused.get_attribute("id") == "typed-back_to_back", "the first box")
    bench.press("14.47")
    button = phone.find_element("css selector", f".onward button[value={way}]")
    ActionChains(phone).move_to_element(button).click_and_hold().pause(0.1).release().perform()
    bench.wait(lambda: not bench.is_at("/axle-1/"), "onward")
    assert Reading.objects.get().typed == "14.47"
