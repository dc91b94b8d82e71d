"""What an industry can turn, the longest train, and the planner's report, asked of the modules."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from inventory.track.fit import stood
from inventory.track.fitting import Candidate
from inventory.track.models import Industry, Place, Railway, Track
from inventory.track.needs import turned_a_session, turned_on
from inventory.track.planning import longest, report
from inventory.track.standing import candidates, put
from tests.factories import exact_instrument, make_vehicle, measure


@pytest.fixture
def place(db) -> Place:
    railway = Railway.objects.create(name="Alder Branch", family="nem", scale="H0")
    return Place.objects.create(railway=railway, name="Tarn", position=1)


def track(place: Place, name: str, mm: int, **facts) -> Track:
    marks = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    return Track.objects.create(place=place, name=name, measured=D(mm), **marks, **facts)


def car(by, number: str, length: str | None, **facts):
    vehicle = make_vehicle(by, number=number, family="nem", scale="H0", **facts)
    if length is not None:
        measure(vehicle, by, {("length_over_couplers", ""): length}, exact_instrument())
    return vehicle


# --- What an industry can turn ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("spots", "beside", "total"), [(3, 0, 3), (3, 3, 6), (3, 2, 5), (3, 9, 6), (0, 4, 0)]
)
def test_in_and_out_track_when_as_long_as_the_loading_track_then_doubles_its_spots(
    spots, beside, total
) -> None:
    """A loading track and a separate in-and-out track: common practice, no source."""
    assert turned_a_session(spots, beside).total == total


def test_industry_when_it_has_both_tracks_then_its_spots_serve_twice(owner, place) -> None:
    """The same on tracks that were measured; common practice, no source."""
    home = candidates([car(owner, "1", "120"), car(owner, "2", "130")])
    doors = track(place, "Mill track", 500, duty="loading")
    mill = Industry.objects.create(place=place, name="Mill")
    mill.tracks.set([doors])
    # Four cars of 125 mm on average stand in 500 mm.
    alone = turned_on(stood(place.railway), home)
    assert (alone.spots, alone.waiting, alone.total) == (4, 0, 4)
    track(place, "In and out", 520, duty="storage")
    assert turned_on(stood(place.railway), home).total == 8


def test_industry_when_no_length_is_known_then_nothing_is_told(owner, place) -> None:
    track(place, "Mill track", 500, duty="loading")
    assert turned_on(stood(place.railway), candidates([car(owner, "1", None)])) is None
    assert turned_on([], []) is None


# --- The longest train ------------------------------------------------------------------------


@pytest.mark.parametrize("clear", range(0, 1200, 37))
def test_longest_train_when_counted_car_by_car_then_is_that(clear) -> None:
    counted = -1
    while D("140.5") + (counted + 1) * (D("121.3") + D("0.7")) + D("0.7") <= clear:
        counted += 1
    assert longest(D("140.5"), D("121.3"), D(clear), D("0.7")) == counted


def test_report_when_one_track_is_weakest_then_100_mm_more_buy_what_a_recount_says(
    owner, place
) -> None:
    track(place, "Main", 1200, duty="running")
    track(place, "Loop", 620, duty="loop")
    cars = candidates([car(owner, "1", "120"), car(owner, "2", "130")])
    engines = candidates([car(owner, "9", "140", category="locomotive", kind="tank engine")])
    made = report(stood(place.railway), cars, engines)

    def fits_everywhere(loop: int) -> int:
        return max(n for n in range(20) if 140 + n * 125 <= min(1200, loop))

    assert made.weakest.track.name == "Loop"
    assert made.n_cars == fits_everywhere(620) == 3
    assert made.n_more == fits_everywhere(720) - fits_everywhere(620) == 1


def test_report_when_a_yard_track_cannot_be_told_then_it_is_named_and_not_counted(
    owner, place
) -> None:
    full = track(place, "Track 1", 600, duty="class")
    unknown = track(place, "Track 2", 600, duty="class")
    put(vehicles=[car(owner, "1", "150")], track=full)
    put(vehicles=[car(owner, "2", None)], track=unknown)
    (yard,) = report(stood(place.railway), [], []).yards
    assert yard.fullness.percent == D(25)  # 150 of the 600 that can be told
    assert "Track 2" in " ".join(str(here.track) for here, _ in yard.not_counted)


def test_average_when_nothing_is_measured_then_no_train_is_told(place) -> None:
    track(place, "Main", 1200, duty="running")
    unknown = Candidate(1, "A", None, "boxcar", "fit to run", D("16.5"))
    made = report(stood(place.railway), [unknown], [unknown])
    assert (made.n_cars, made.weakest) == (None, None)
