"""A vehicle's line of time: everything that was, by whom, the latest first."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from django.urls import reverse
from django.utils import timezone

from inventory.ledger.timeline import Event, Kind, by_day, by_kind, events_of
from inventory.people.models import Person
from inventory.stock.models import Change, HouseLimit, Vehicle, Verdict
from inventory.stock.recording import (
    Departure,
    add_photos,
    amend_running_gear,
    amend_vehicle,
    bring_back,
    describe_photo,
    finish_inspection,
    note_changes,
    remove_photo,
    retire,
    set_house_limit,
    withdraw_house_limit,
    withdraw_reading,
)
from inventory.track.homes import give_homes, set_home_track
from inventory.track.models import Industry, Place, Railway, Track, Turnout
from inventory.trouble.models import Incident
from inventory.trouble.recording import Seen, note_running, release, take_out, withdraw_report
from inventory.trouble.recording import report as keep_report
from inventory.trouble.spots import spots_of
from standards.judging import Service
from tests.factories import make_person, make_vehicle, measure, photographs, sound

pytestmark = pytest.mark.django_db

NOON = datetime(2026, 3, 1, 12, tzinfo=timezone.get_default_timezone())


@pytest.fixture
def railway(db) -> Railway:
    made = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=made, name="Tarn", position=1)
    Turnout.objects.create(place=place, name="East", frog_number=6)
    ends = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    Track.objects.create(place=place, name="Siding", measured=900, **ends)
    Industry.objects.create(place=place, name="Mill")
    return made


def now(car: Vehicle) -> Vehicle:
    return Vehicle.everyone.get(pk=car.pk)


def told(car: Vehicle, kind: Kind | None = None) -> list[Event]:
    return [event for event in events_of(now(car)) if kind in (None, event.kind)]


def change(car: Vehicle, by: Person, moment: datetime | None = None, **facts) -> None:
    fresh = now(car)
    for name, value in facts.items():
        setattr(fresh, name, value)
    amend_vehicle(vehicle=fresh, seen_revision=fresh.revision, by=by, moment=moment)


def lines(event: Event) -> list[tuple[str, str, str]]:
    return [(line.label, line.before, line.after) for line in event.lines]


# --- Each kind --------------------------------------------------------------------------------


def test_beginning_says_when_it_was_acquired_and_who_logged_it(owner):
    car = make_vehicle(
        owner,
        acquired_on=date(2024, 2, 10),
        price=Decimal("21.50"),
        currency="EUR",
        maker="Alder",
        catalogue_number="7",
    )
    logged, acquired = told(car)
    assert (logged.title, logged.by, logged.has_time) == ("Logged", "owner", True)
    assert (acquired.title, acquired.words) == ("Acquired", "for 21.50 EUR, Alder 7")
    assert timezone.localdate(acquired.at) == date(2024, 2, 10)
    assert not acquired.has_time


def test_beginning_when_it_was_corrected_since_then_stays_as_it_was_stated_first(owner):
    car = make_vehicle(
        owner, acquired_on=date(2024, 2, 10), price=Decimal(12), currency="EUR", maker="Alder"
    )
    change(car, owner, kind="hopper", price=Decimal("21.50"), maker="Finch")
    change(car, owner, kind="gondola", price=None)
    logged, acquired = told(car, Kind.CAME)
    assert acquired.words == "for 12.00 EUR, Alder"
    assert logged.words.startswith("boxcar, ")


def test_inspection_keeps_how_it_came_out_at_the_bench_although_it_is_judged_again(owner):
    car = make_vehicle(owner)
    readings = {("back_to_back", "1"): "14.45", ("back_to_back", "2"): "14.20", **sound(1, 2)}
    inspection = measure(car, owner, readings)
    finish_inspection(
        inspection=inspection, service=Service.FIT, statement="by eye", by=make_person("second")
    )
    (event,) = told(car, Kind.INSPECTED)
    assert (event.title, event.state, event.by) == ("Inspected", "fit to run", "second")
    # 14.20 is below 14.376 mm (.566 in of S-4.2); six others are within, and so is the sum of
    # axle 1, 14.45 + 0.762 below 15.367 mm.
    before = event.words
    assert "1 outside" in before
    assert "the readings said bad order. by eye" in before
    limit = HouseLimit(
        quantity="back_to_back", family="nmra", scale="HO", low=Decimal("14.6"), reason="ours"
    )
    set_house_limit(limit=limit, by=owner)
    assert Verdict.objects.current().filter(outcome="outside").count() == 2
    (event,) = told(car, Kind.INSPECTED)
    assert event.words == before


def test_inspection_when_a_reading_was_taken_back_then_does_not_count_it(owner):
    car = make_vehicle(owner)
    inspection = measure(car, owner, {("mass", ""): "100", ("back_to_back", "1"): "14.20"})
    taken = inspection.readings.get(quantity="back_to_back")
    withdraw_reading(inspection=inspection, quantity="back_to_back", at="1", seen=taken.pk)
    (event,) = told(car, Kind.INSPECTED)
    assert event.title == "Inspection begun, not finished"
    assert "0 outside" in event.words


def test_judged_again_says_which_verdict_turned_and_by_which_limits(owner):
    car = make_vehicle(owner)
    measure(car, owner, {("back_to_back", "1"): "14.45", **sound(1)})
    assert told(car, Kind.JUDGED) == []
    limit = HouseLimit(
        quantity="back_to_back", family="nmra", scale="HO", low=Decimal("14.6"), reason="ours"
    )
    set_house_limit(limit=limit, by=owner)
    (event,) = told(car, Kind.JUDGED)
    assert lines(event) == [("Back-to-back, axle 1", "within", "outside")]
    assert event.words == "1 came out otherwise"
    assert (event.lines[0].was[0], event.lines[0].now[0]) == (Decimal("14.3764"), Decimal("14.6"))
    # Much later it is judged again: that is another event, and the first one stays.
    Verdict.objects.filter(cause="rejudged").update(judged_at=timezone.now() - timedelta(days=9))
    withdraw_house_limit(limit=limit, at=timezone.now())
    later, earlier = told(car, Kind.JUDGED)
    assert lines(later) == [("Back-to-back, axle 1", "outside", "within")]
    assert lines(earlier) == lines(event)


def test_trouble_says_its_part_and_stays_when_withdrawn(owner, railway):
    first, other, ahead = (make_vehicle(owner, number=n) for n in "123")
    spot = spots_of(railway)[0]
    seen = Seen(
        spot, "frog-climb", timezone.now(), first, also=[other], ahead=ahead, note="wobbled."
    )
    incident = keep_report(seen=seen, by=owner)
    (event,) = told(first, Kind.TROUBLE)
    assert event.title.endswith("East, Tarn")
    assert event.words == "It was the first to go. wobbled"
    assert event.address == incident.get_absolute_url()
    assert "It went with BRV 1" in told(other, Kind.TROUBLE)[0].words
    assert "It was coupled ahead of BRV 1, which went" in told(ahead, Kind.TROUBLE)[0].words
    withdraw_report(incident=incident, because="entered twice")
    assert "Withdrawn: entered twice; it counts no more" in told(first, Kind.TROUBLE)[0].words


def test_hold_is_two_events_with_why_and_what_was_done(owner):
    car = make_vehicle(owner)
    held = take_out(subject=car, reason="wobbles", by=owner, moment=NOON)
    release(
        held=held,
        done="bogie screwed tight",
        by=make_person("second"),
        moment=NOON + timedelta(hours=2),
    )
    after, before = told(car, Kind.HELD)
    assert (before.title, before.words, before.by) == ("Out of service", "wobbles", "owner")
    assert (after.title, after.words, after.by) == (
        "Mended and released",
        "bogie screwed tight",
        "second",
    )


def test_running_of_one_day_is_one_event(owner, railway):
    car = make_vehicle(owner)
    spots = [each for each in spots_of(railway) if each.kind != "place"]
    for laps in (10, 2):
        note_running(
            railway=railway,
            held_on=date(2026, 3, 1),
            passages=laps,
            vehicles=[car],
            spots=spots,
            by=owner,
        )
    (event,) = told(car, Kind.RAN)
    assert (event.title, event.words, event.has_time) == (
        "Ran about 12 laps",
        "Alder Branch",
        False,
    )


def test_wheelset_when_exchanged_and_when_corrected_then_says_which(owner):
    car = make_vehicle(owner)
    wheels = car.wheelsets.get(axle=1)
    for exchanged, code, moment in (((), 88, NOON), ({1}, 64, NOON + timedelta(days=1))):
        wheels.profile_code = code
        amend_running_gear(
            vehicle=car,
            wheelsets=[wheels],
            couplers=(),
            exchanged=exchanged,
            seen_revision=now(car).revision,
            by=owner,
            moment=moment,
        )
    later, earlier = told(car, Kind.GEAR)
    assert (later.title, later.words) == ("Wheelset exchanged", "another wheelset fitted")
    assert earlier.title == "Wheels and couplers declared otherwise"
    assert lines(earlier) == [
        ("Wheelset", "axle 1: RP-25 code 110", "axle 1: RP-25 code 88"),
    ]


def test_homes_are_moved_from_and_to(owner, railway):
    car = make_vehicle(owner)
    give_homes(industry=Industry.objects.get(), vehicles=[car], by=owner, moment=NOON)
    set_home_track(vehicle=car, track=Track.objects.get(), by=owner, moment=NOON)
    (event,) = told(car, Kind.HOME)
    assert lines(event) == [
        ("Home", "none", "Mill, Tarn"),
        ("Home track", "none", "Siding, Tarn"),
    ]


def test_value_when_the_currency_changes_too_then_each_amount_keeps_its_own(owner):
    car = make_vehicle(owner, value=Decimal(20), currency="DEM")
    change(car, owner, NOON, value=Decimal(24))
    change(car, owner, NOON + timedelta(days=1), value=Decimal("12.27"), currency="EUR")
    change(car, owner, NOON + timedelta(days=2), value=None)
    third, second, first = told(car, Kind.WORTH)
    assert lines(first) == [("Present value", "20.00 DEM", "24.00 DEM")]
    assert lines(second) == [
        ("Present value", "24.00 DEM", "12.27 EUR"),
        ("Currency", "DEM", "EUR"),
    ]
    assert lines(third) == [("Present value", "12.27 EUR", "not stated")]


def test_value_when_it_is_zero_then_is_not_missing(owner):
    car = make_vehicle(owner, value=Decimal(0), currency="EUR")
    change(car, owner, NOON, value=Decimal(5))
    (event,) = told(car, Kind.WORTH)
    assert lines(event) == [("Present value", "0.00 EUR", "5.00 EUR")]


def test_other_facts_are_in_the_words_of_the_forms(owner):
    car = make_vehicle(owner)
    change(
        car,
        owner,
        NOON,
        category="service",
        has_buffers=True,
        minimum_radius=Decimal("457.2"),
        storage_box="3",
    )
    (event,) = told(car, Kind.DECLARED)
    assert lines(event) == [
        ("Category", "freight car or wagon", "service stock"),
        ("Side buffers", "no", "yes"),
        ("Smallest radius", "not stated", "457.2 mm"),
        ("Storage box", "not stated", "3"),
    ]


def test_photos_are_told_as_they_were_noted(owner):
    car = make_vehicle(owner)
    (photo,) = add_photos(vehicle=car, photos=photographs("red"), by=owner, moment=NOON)
    remove_photo(photo=photo, by=owner, moment=NOON + timedelta(hours=1))
    gone, added = told(car, Kind.PHOTO)
    assert (added.title, added.words, added.lines) == ("Photos", "A photo added", ())
    assert gone.title == "Photo removed"
    assert gone.words == f"A photo taken {written(photo.taken_on)}, removed for good"


def test_photo_described_otherwise_is_told_without_its_caption(owner):
    car = make_vehicle(owner)
    (photo,) = add_photos(vehicle=car, photos=photographs("red"), by=owner, moment=NOON)
    said = {"photo": photo, "by": owner}
    describe_photo(
        **said, caption="At the club", taken_on=photo.taken_on, moment=NOON + timedelta(hours=1)
    )
    describe_photo(
        **said, caption="At the club", taken_on=photo.taken_on, moment=NOON + timedelta(hours=2)
    )
    describe_photo(
        **said, caption="At home", taken_on=date(2025, 5, 3), moment=NOON + timedelta(hours=3)
    )
    both, caption, _ = told(car, Kind.PHOTO)  # saving without a change is no event
    assert (caption.title, caption.words, caption.by) == (
        "Photos",
        "The caption of a photo changed",
        str(owner),
    )
    assert both.words == (
        "The caption of a photo changed, the day of a photo changed from "
        f"{written(photo.taken_on)} to 3 May 2025"
    )
    assert "At " not in caption.words + both.words


def written(day: date) -> str:
    return f"{day.day} {day:%b %Y}"


def test_deeds_that_are_not_known_are_told_as_they_were_noted(owner):
    car = make_vehicle(owner)
    note_changes(
        [Change(vehicle=car, what="weathering", before="", after="heavy", by=owner, at=NOON)]
    )
    (other,) = told(car, Kind.DECLARED)
    assert lines(other) == [("Weathering", "none", "heavy")]


def test_leaving_and_coming_back_say_how_and_why(owner):
    car = make_vehicle(owner, currency="EUR")
    take_out(subject=car, reason="wobbles", by=owner)
    departure = Departure("sold", date(2026, 3, 1), Decimal(30), "to a friend")
    retire(vehicle=car, departure=departure, by=owner, seen_revision=1, moment=timezone.now())
    bring_back(vehicle=car, because="came back", by=owner, seen_revision=2)
    back, left, *_ = told(car, Kind.CAME)
    assert (left.title, left.words) == (
        "Left the stock",
        "Sold, 1 Mar 2026, for 30.00 EUR: to a friend",
    )
    assert (back.title, back.words) == ("Brought back", "It had been sold. came back")
    released = told(car, Kind.HELD)[0]
    assert (released.title, released.words) == ("Held no longer", "retired: sold")


# --- In order ---------------------------------------------------------------------------------


def test_events_come_latest_first_and_of_one_moment_the_last_first(owner):
    car = make_vehicle(owner)
    inspection = measure(car, owner, {("back_to_back", "1"): "14.20"})
    finish_inspection(
        inspection=inspection, service=Service.BAD_ORDER, statement="", by=owner, moment=NOON
    )
    events = told(car)
    assert [event.at for event in events] == sorted((e.at for e in events), reverse=True)
    # The inspection that stated bad order came before the hold that it caused.
    assert [event.title for event in events if event.at == NOON] == ["Out of service", "Inspected"]


def test_days_hold_all_events_in_their_order(owner):
    car = make_vehicle(owner, value=Decimal(1))
    for hours in (0, 5, 30):
        change(car, owner, NOON + timedelta(hours=hours), value=Decimal(2 + hours))
    events = told(car, Kind.WORTH)
    days = by_day(events)
    assert [(day.on, len(day.events)) for day in days] == [
        (date(2026, 3, 2), 1),
        (date(2026, 3, 1), 2),
    ]
    assert [event for day in days for event in day.events] == events
    assert by_kind(told(car)) == [(Kind.CAME, 1), (Kind.WORTH, 3)]


# --- The page ---------------------------------------------------------------------------------


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


def page(client, car: Vehicle, **query) -> str:
    answer = client.get(reverse("ledger:history", args=[car.pk]), query)
    assert answer.status_code == 200
    return answer.content.decode()


def eventful(owner: Person, railway: Railway, times: int) -> Vehicle:
    """A vehicle to which everything happened so many times."""
    car = make_vehicle(owner, value=Decimal(1), currency="EUR")
    spots = [each for each in spots_of(railway) if each.kind != "place"]
    for n in range(times):
        inspection = measure(car, owner, {("back_to_back", "1"): "14.45"})
        finish_inspection(
            inspection=inspection, service=Service.AWAITING, statement="look", by=owner
        )
        keep_report(seen=Seen(spots[0], "frog-climb", timezone.now(), car), by=owner)
        held = take_out(subject=car, reason="wobbles", by=owner)
        release(held=held, done="mended", by=owner)
        note_running(
            railway=railway,
            held_on=date(2026, 1, 1 + n),
            passages=5,
            vehicles=[car],
            spots=spots,
            by=owner,
        )
        change(car, owner, value=Decimal(2 + n), storage_box=str(n))
    limit = HouseLimit(
        quantity="back_to_back", family="nmra", scale="HO", low=Decimal("14.6"), reason="ours"
    )
    set_house_limit(limit=limit, by=owner)
    return car


@pytest.mark.parametrize("times", [1, 3])
def test_history_takes_the_same_queries_however_much_happened(
    client, owner, railway, times, django_assert_num_queries
):
    car = eventful(owner, railway, times)
    client.force_login(owner)
    # Session, person, vehicle; verdicts, inspections; parts in incidents, those involved, their
    # vehicles; holds, turns, changes.
    with django_assert_num_queries(11):
        page(client, car)


def test_history_page_can_be_narrowed_to_one_kind(signed_in, owner, railway):
    car = eventful(owner, railway, 2)
    everything = page(signed_in, car)
    for words in ("Mended and released", "Judged again", "Ran about 5 laps", "Storage box"):
        assert words in everything, words
    only = page(signed_in, car, kind="price-and-value")
    assert "1.00 EUR" in only
    for words in ("Mended and released", "Judged again", "Ran about", "Storage box"):
        assert words not in only, words
    assert "price and value <b>2</b>" in only
    assert page(signed_in, car, kind="nonsense").count('class="events"') == everything.count(
        'class="events"'
    )


def test_history_page_when_there_are_many_events_then_is_paged(signed_in, owner):
    car = make_vehicle(owner, value=Decimal(1))
    note_changes(
        Change(
            vehicle=car,
            what="value",
            before=str(n),
            after=str(n + 1),
            by=owner,
            at=NOON + timedelta(hours=n),
        )
        for n in range(200)
    )
    first, last = page(signed_in, car), page(signed_in, car, page=5)
    assert "1 of 5" in first
    assert first.count("Price and value changed") == 49  # and the log of it, which is the latest
    assert last.count("Price and value changed") == 1
    assert "0.00" in last
    assert '<a rel="next" href="?kind=price-and-value&amp;page=2">' in page(
        signed_in, car, kind="price-and-value"
    )
    assert "1 of 5" in page(signed_in, car, page="minus one")


def test_history_page_of_what_has_left_says_so(signed_in, owner):
    car = make_vehicle(owner)
    departure = Departure("given", date(2026, 3, 1))
    retire(vehicle=car, departure=departure, by=owner, seen_revision=1)
    words = page(signed_in, car)
    assert "No longer in the stock. Given away on 1 Mar 2026." in words


def test_history_page_of_nobody_and_of_a_visitors_vehicle_is_not_found(signed_in, owner):
    theirs = make_vehicle(owner, visitor="a friend")
    for pk in (theirs.pk, 987654):
        assert signed_in.get(reverse("ledger:history", args=[pk])).status_code == 404


def test_history_page_shows_hostile_words_as_they_were_typed(signed_in, owner):
    car = make_vehicle(owner)
    change(car, owner, notes="<script>alert(1)</script>" * 9)
    words = page(signed_in, car)
    assert "<script>alert(1)" not in words
    assert "&lt;script&gt;alert(1)" in words


def test_vehicle_page_leads_to_its_history(signed_in, owner):
    car = make_vehicle(owner)
    assert (
        reverse("ledger:history", args=[car.pk])
        in signed_in.get(car.get_absolute_url()).content.decode()
    )
    assert not Incident.objects.exists()
