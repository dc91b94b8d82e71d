"""It keeps derailing: reported, tagged, explained, mended, measured again, released."""

from __future__ import annotations

import pytest
from django.utils import timezone
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys
from selenium.webdriver.support.ui import Select

from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.stock.models import Reading, Vehicle
from inventory.stock.recording import finish_inspection
from inventory.track.models import Place, Railway, Track, Turnout
from inventory.track.standing import put
from inventory.trouble.models import Hold, Incident, Turn
from inventory.trouble.recording import Seen, release, report, take_out
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import make_vehicle, measure, sound
from tests.journeys.conftest import Keyboard

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def test_car_that_keeps_derailing_from_the_report_to_its_release(phone, live_server):
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    turnout = Turnout.objects.create(place=place, name="East turnout", frog_number=6)
    loop = Track.objects.create(
        place=place,
        name="Loop",
        measured=900,
        a_reference="clearance mark",
        b_reference="clearance mark",
    )
    car = make_vehicle(owner, axles=2)
    # S-4.2, HO: back-to-back at least .566 in, that is 14.376 mm; the owner let it run.
    readings = {("back_to_back", "1"): "14.45", ("back_to_back", "2"): "14.20", **sound(1, 2)}
    finish_inspection(
        inspection=measure(car, owner, readings),
        service=Service.ADVICE,
        statement="Let us see.",
        by=owner,
    )
    put(vehicles=[car, make_vehicle(owner, number="89")], track=loop)
    walk = Keyboard(phone, live_server.url)
    phone.get(live_server.url + sign_in_path(owner))
    walk.wait(lambda: walk.focused.text == "Sign in as owner", "the button has the focus")
    walk.press(Keys.ENTER)
    walk.wait(lambda: walk.is_at("/bench/"), "signed in")

    # The evening's running, in a few taps.
    phone.get(f"{live_server.url}/trouble/railways/{railway.pk}/running/")
    walk.fill("laps", "12")
    walk.press(Keys.ENTER)
    walk.wait(lambda: Turn.objects.exists(), "the running is noted")
    assert Turn.objects.get().passages == 12

    # The report: vehicle, spot, what happened, sent.
    phone.get(f"{live_server.url}/trouble/report/?vehicle={car.pk}")
    Select(phone.find_element(By.NAME, "where")).select_by_value(f"turnout-{turnout.pk}")
    phone.find_element(By.CSS_SELECTOR, "[name=happened][value=points]").click()
    phone.find_element(By.CSS_SELECTOR, "main form button").click()
    walk.wait(lambda: walk.is_at("/trouble/reports/"), "reported")
    kept = Incident.objects.get()
    assert (kept.turnout, kept.happened) == (turnout, "points")
    assert Vehicle.objects.get(pk=car.pk).service == "bad order"

    phone.find_element(By.LINK_TEXT, "Print its tag").click()
    walk.wait(lambda: walk.is_at("/tags/"), "the tag")
    assert "Waits for" in walk.words
    assert "Back-to-back, axle 2" in walk.words

    phone.get(f"{live_server.url}/trouble/vehicles/{car.pk}/")
    assert "Mend what is out of tolerance first: Back-to-back, axle 2" in walk.words
    assert "Spread the wheels on axle 2" in walk.words
    width = phone.execute_script("return document.documentElement.scrollWidth")
    assert width <= 390

    # Mended: the wheels are spread, and measured again.
    held = Hold.objects.get()
    phone.get(live_server.url + held.get_absolute_url())
    assert "Release it" not in walk.words
    walk.tab_to_words("Mended: measure it again")
    walk.press(Keys.ENTER)
    walk.wait(lambda: walk.is_at("/axle-2/"), "what was outside comes first")
    walk.caliper("back_to_back", "14.47")
    walk.wait(
        lambda: Reading.objects.filter(typed="14.47", at="2").exists(), "the new reading is kept"
    )
    phone.get(f"{live_server.url}/bench/{car.inspections.first().pk}/finish/")
    phone.find_element(By.CSS_SELECTOR, "main form button").click()
    walk.wait(lambda: walk.is_at("/trouble/holds/"), "on to the release")
    walk.fill("done", "Wheels of axle 2 spread, tried ten times over the turnout.")
    phone.find_element(By.XPATH, "//button[starts-with(., 'Release it')]").click()
    walk.wait(lambda: walk.is_at(f"/stock/{car.pk}/"), "released")

    held.refresh_from_db()
    assert held.released_by == owner
    assert Vehicle.objects.get(pk=car.pk).service in ("fit to run", "fit with advice")


def test_long_names_on_the_pages_of_trouble_never_scroll_a_phone_sideways(phone, live_server):
    owner = Person.objects.create_user(
        "owner", first_name="Friederike", last_name="von Hohenstaufen-Zollern", role="owner"
    )
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    Turnout.objects.create(place=place, name="East turnout", frog_number=6)
    car = make_vehicle(owner, reporting_mark="Alder & Fen Joint Railway of Tarn Valley", axles=2)
    Vehicle.objects.update(number="31 80 0691 235-2", storage_box="Cupboard in the attic, left")
    car.refresh_from_db()
    measure(car, owner, {("back_to_back", "1"): "14.20"})
    spot = next(each for each in spots_of(railway) if each.name == "East turnout, Tarn")
    seen = Seen(spot=spot, first=car, happened="points", happened_at=timezone.now())
    report(seen=seen, by=owner)
    lately = make_vehicle(owner, number="89")
    release(held=take_out(subject=lately, reason="bent", by=owner), done="straight", by=owner)
    phone.get(live_server.url + sign_in_path(owner))
    phone.find_element(By.CSS_SELECTOR, "main button").click()
    walk = Keyboard(phone, live_server.url)
    walk.wait(lambda: walk.is_at("/bench/"), "signed in")

    for page in ("", "reports/", "routine/", f"vehicles/{car.pk}/"):
        phone.get(f"{live_server.url}/trouble/{page}")
        assert str(car.number) in walk.words
        assert phone.execute_script("return document.documentElement.scrollWidth") <= 390, page
