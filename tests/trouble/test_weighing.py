"""Clues: what would tell most, how grave each is, and what the neighbours say."""

from __future__ import annotations

import pytest
from django.utils import timezone
from scipy.stats import entropy

from inventory.stock.models import Verdict
from inventory.track.models import Place, Railway, Turnout
from inventory.trouble.asking import _incidents_of, _wanted
from inventory.trouble.recording import Seen, report
from inventory.trouble.spots import spots_of
from inventory.trouble.weighing import (
    Clue,
    Unmeasured,
    Weight,
    in_a_sentence,
    never_measured,
    of_neighbours,
)
from tests.factories import make_vehicle, measure, sound

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(("n_outside", "n"), [(0, 0), (1, 9), (5, 10), (10, 10)])
def test_what_a_reading_would_tell_then_is_the_entropy_of_its_outcome(n_outside, n):
    """scipy.stats.entropy in bits of the share by Jeffreys' prior, (x + 1/2) / (n + 1)."""
    share = (n_outside + 0.5) / (n + 1)

    found = Unmeasured("mass", ("",), n_outside, n)

    assert found.bits == pytest.approx(entropy([share, 1 - share], base=2))


def test_never_measured_then_puts_what_is_often_outside_elsewhere_first(owner):
    for number, back_to_back in [(1, "14.20"), (2, "14.20"), (3, "14.47"), (4, "14.47")]:
        other = make_vehicle(owner, number=str(number))
        measure(other, owner, {("back_to_back", "1"): back_to_back, **sound(1, 2)})
    blank = make_vehicle(owner, number="9")

    found = never_measured(blank, Verdict.objects.standing_for(blank), _wanted(blank))

    by_code = {each.quantity: each for each in found}
    assert (by_code["back_to_back"].n_outside, by_code["back_to_back"].n_judged) == (2, 4)
    assert (by_code["tyre_width"].n_outside, by_code["tyre_width"].n_judged) == (0, 8)
    codes = [each.quantity for each in found]
    assert codes.index("back_to_back") < codes.index("tyre_width")
    assert by_code["tyre_width"].at == ("1", "2")


def test_neighbours_then_tell_who_is_light_beside_them(owner):
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=railway, name="Tarn", position=1)
    Turnout.objects.create(place=place, name="East")
    light, heavy, equal = (make_vehicle(owner, number=str(n)) for n in (1, 2, 3))
    for vehicle, mass in [(light, "60"), (heavy, "140"), (equal, "62")]:
        measure(vehicle, owner, {("mass", ""): mass})
    spot = spots_of(railway)[0]
    report(
        seen=Seen(spot, "pulled-over", timezone.now(), light, ahead=heavy, behind=equal), by=owner
    )

    (clue,) = of_neighbours(light, _incidents_of(light))

    assert "43% of the mass of BRV 2" in clue.words
    assert of_neighbours(heavy, _incidents_of(heavy)) == []


@pytest.mark.parametrize(
    ("clues", "incidents", "unmeasured", "words"),
    [
        ([Clue(Weight.OUTSIDE, "vehicle", "Back-to-back, axle 2")], 1, 3, "Mend what is out"),
        ([Clue(Weight.CULPRIT, "track", "How often: East, Tarn")], 1, 0, "East, Tarn is the lik"),
        ([Clue(Weight.CULPRIT, "vehicle", "How often: BRV 1")], 1, 2, "not everything was"),
        ([Clue(Weight.UNDECIDED, "vehicle", "Mass")], 1, 2, "undecided: measure that again"),
        ([], 1, 2, "not everything was measured"),
        ([], 1, 0, "look at the track"),
        ([], 0, 0, "No trouble is reported"),
    ],
)
def test_sentence_then_says_the_gravest_first(clues, incidents, unmeasured, words):
    assert words in in_a_sentence(clues, incidents, unmeasured)
