"""A turnout measured where it lies, and the car that has trouble on it, on a phone."""

from __future__ import annotations

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.track.models import Place, Railway, Turnout
from inventory.trackwork.models import TrackInspection, TrackReading
from tests.factories import make_vehicle, measure
from tests.journeys.conftest import Keyboard

# The usual instruments come with the migrations, and a transactional test would empty them away.
pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]


def test_turnout_from_the_first_reading_to_the_car_that_picks_its_frog(phone, live_server):
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER)
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    Turnout.objects.create(place=place, name="East turnout", frog_number=6)
    car = make_vehicle(owner, axles=2)
    sizes = {"flange_thickness": "0.77", "flange_depth": "0.63", "tyre_width": "2.79"}
    measure(
        car,
        owner,
        {("back_to_back", axle): "14.48" for axle in "12"}
        | {(code, axle): typed for code, typed in sizes.items() for axle in "12"},
    )
    walk = Keyboard(phone, live_server.url)
    phone.get(live_server.url + sign_in_path(owner))
    walk.wait(lambda: walk.focused.text == "Sign in as owner", "the button has the focus")
    walk.press(Keys.ENTER)
    walk.wait(lambda: walk.is_at("/bench/"), "signed in")

    phone.get(f"{live_server.url}/trackwork/railways/{railway.pk}/")
    assert "not inspected" in walk.words
    walk.tab_to_words("Measure East turnout")
    walk.press(Keys.ENTER)
    walk.wait(lambda: walk.is_at("/points/"), "the points come first")
    walk.caliper("track_gauge", "16.60")
    walk.caliper("point_spread", "14.80")
    walk.wait(lambda: walk.is_at("/straight-leg/"), "the straight leg is next")

    # S-3.2, HO: check gauge .605 in at least, that is 15.367 mm; 16.60 less 1.53 is 15.07.
    walk.caliper("track_gauge", "16.60")
    walk.wait(lambda: walk.focused.get_attribute("id") == "typed-check_gauge", "check gauge")
    walk.tab_to("typed-flangeway")
    walk.caliper("flangeway", "1.20")
    walk.caliper("flangeway_guard", "1.53")
    walk.stored("flangeway_guard", "straight leg", TrackReading)
    walk.caliper("flangeway_depth", "0,90")
    kept = walk.stored("flangeway_depth", "straight leg", TrackReading)
    assert kept.typed == "0,90"
    walk.wait(lambda: walk.is_at("/diverging-leg/"), "the diverging leg is next")

    phone.get(phone.current_url.replace("diverging-leg", "finish"))
    walk.wait(lambda: "to mend" in walk.words, "what the readings say")
    assert "Narrow the guard flangeway of the straight leg" in walk.words
    phone.find_element(By.CSS_SELECTOR, "main form button").send_keys(Keys.ENTER)
    walk.wait(lambda: not TrackInspection.objects.get().is_open, "it is finished")
    walk.wait(lambda: "Follows from the track gauge" in walk.words, "the page of the turnout")

    # The car: 15.07 - (14.48 + 0.77) = -0.18, so its flange meets the point.
    walk.tab_to_words(car.identity)
    walk.press(Keys.ENTER)
    walk.wait(lambda: "Every margin, the worst first" in walk.words, "the car through it")
    assert "Frog-point protection" in walk.words
    assert "-0.180" in walk.words
    assert phone.find_elements(By.CSS_SELECTOR, "svg.d-frog")
