"""Visitors' day: a friend's car is checked in a few taps and gets its slip, on a phone."""

from __future__ import annotations

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.stock.models import Vehicle
from tests.journeys.conftest import Keyboard

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def test_friends_car_from_the_form_to_the_slip(phone, live_server):
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    walk = Keyboard(phone, live_server.url)
    phone.get(live_server.url + sign_in_path(owner))
    walk.wait(lambda: walk.focused.text == "Sign in as owner", "the button has the focus")
    walk.press(Keys.ENTER)
    walk.wait(lambda: walk.is_at("/bench/"), "signed in")

    phone.find_element(By.LINK_TEXT, "Visitors’ stock").click()
    walk.wait(lambda: walk.is_at("/visitors/"), "the form")
    for name, text in [
        ("visitor", "Ida"),
        ("reporting_mark", "Qx"),
        ("number", "5"),
        ("kind", "open wagon"),
    ]:
        walk.fill(name, text)
    walk.fill("axles", "2")
    phone.find_element(By.XPATH, "//button[.='Measure']").click()
    walk.wait(lambda: walk.is_at("/axle-1/"), "the first axle")

    # S-4.2, HO: back-to-back at least .566 in, that is 14.376 mm.
    walk.caliper("back_to_back", "14.20")
    guest = Vehicle.everyone.get()
    walk.stored("back_to_back", "1")
    phone.get(f"{live_server.url}/bench/{guest.inspections.get().pk}/finish/")
    assert "bad order" in walk.words
    phone.find_element(By.CSS_SELECTOR, "main form button").click()
    walk.wait(lambda: walk.is_at(f"/visitors/{guest.pk}/"), "the slip")

    assert "Please do not run it yet" in walk.words
    assert "Spread the wheels on axle 1" in walk.words
    assert "of Ida" in walk.words
    assert phone.execute_script("return document.documentElement.scrollWidth") <= 390
    assert not Vehicle.objects.exists()
