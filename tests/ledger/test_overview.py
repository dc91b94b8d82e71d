"""What the collection comes to. Sums are held against Python's own fractions over what was typed,
and against the same column read past the models."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import connection
from django.urls import reverse
from django.utils import timezone
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.ledger.worth import (
    MOST_GROUPS,
    Holding,
    Sum,
    band_width,
    breakdowns,
    holdings,
    left_in,
    money,
    services,
    waiting,
)
from inventory.people.models import Person
from inventory.stock.models import Inspection, Vehicle
from inventory.stock.recording import (
    Departure,
    finish_inspection,
    note_last_inspected,
    retire,
)
from inventory.track.homes import give_homes, set_home_track
from inventory.track.models import Industry, Place, Railway, Track
from inventory.trouble.recording import take_out
from standards.judging import Service
from tests.factories import make_vehicle, measure, sound


def held(**facts) -> Holding:
    chosen = {
        "category": "freight",
        "kind": "boxcar",
        "year": None,
        "era": "",
        "maker": "",
        "home": "",
        "box": "",
        "price": None,
        "value": None,
        "currency": "",
        "service": "fit to run",
    }
    return Holding(**{**chosen, **facts})


def leave(vehicle: Vehicle, by: Person, how: str, on: date, price: str | None = None) -> None:
    departure = Departure(how, on, None if price is None else Decimal(price))
    retire(vehicle=vehicle, departure=departure, by=by, seen_revision=vehicle.revision)


# --- Sums -------------------------------------------------------------------------------------

AMOUNTS = st.none() | st.decimals(min_value=0, max_value=10**8 - 1, places=2)
HOLDINGS = st.lists(
    st.builds(
        held,
        price=AMOUNTS,
        value=AMOUNTS,
        currency=st.sampled_from(["USD", "EUR", "GBP", ""]),
        kind=st.sampled_from(["boxcar", "Boxcar", "hopper", ""]),
        year=st.none() | st.integers(min_value=1900, max_value=2026),
    ),
    max_size=60,
)


@settings(deadline=None)
@given(HOLDINGS)
def test_sums_are_those_of_exact_fractions_and_currencies_stay_apart(listed):
    found = Sum.of(listed)
    for name, amounts in (("value", found.worth), ("price", found.paid)):
        expected: dict[str, Fraction] = {}
        for each in listed:
            amount = getattr(each, name)
            if amount is not None:
                key = each.currency or "no currency"
                expected[key] = expected.get(key, Fraction(0)) + Fraction(str(amount))
        assert {each.currency: Fraction(each.total) for each in amounts} == expected
    for gain in found.gains:
        apart = sum(
            Fraction(str(each.value)) - Fraction(str(each.price))
            for each in listed
            if (each.currency or "no currency") == gain.currency
            and each.value is not None
            and each.price is not None
        )
        assert Fraction(gain.difference) == apart


@settings(deadline=None)
@given(HOLDINGS)
def test_groups_hold_every_vehicle_once_and_their_sums_are_the_whole(listed):
    whole = Sum.of(listed)
    for breakdown in breakdowns(listed):
        assert sum(group.sum.n for group in breakdown.groups) == whole.n
        assert sum(group.sum.n_unvalued for group in breakdown.groups) == whole.n_unvalued
        assert len(breakdown.groups) <= MOST_GROUPS + 1
        for total in whole.worth:
            parts = [group.sum.worth_in(total.currency) for group in breakdown.groups]
            assert sum(part.total for part in parts if part) == total.total


def test_ten_cents_ten_thousand_times_is_a_thousand_and_not_nearly():
    found = Sum.of([held(value=Decimal("0.10"), currency="EUR")] * 10_000)
    assert sum([0.10] * 10_000) != 1000.0  # which is why
    assert found.worth[0].total == Decimal("1000.00")


def test_missing_is_counted_and_zero_is_a_value():
    found = Sum.of(
        [held(value=Decimal(0), currency="EUR"), held(currency="EUR"), held(price=Decimal(3))]
    )
    assert (found.n, found.n_unvalued, found.n_unpriced) == (3, 2, 2)
    assert [(each.shown, each.n) for each in found.worth] == [("0.00 EUR", 1)]
    assert [(each.shown, each.n) for each in found.paid] == [("3.00 no currency", 1)]
    assert found.gains == ()


def test_gain_counts_only_those_that_state_both():
    found = Sum.of(
        [
            held(price=Decimal(10), value=Decimal("12.50"), currency="USD"),
            held(price=Decimal(90), currency="USD"),
            held(value=Decimal(70), currency="USD"),
            held(price=Decimal(8), value=Decimal(5), currency="GBP"),
            held(price=Decimal(8), value=Decimal(8), currency="EUR"),
        ]
    )
    assert [(each.n, each.words) for each in found.gains] == [
        (1, "as much"),
        (1, "3.00 GBP less"),
        (1, "2.50 USD more"),
    ]


def test_money_keeps_its_thousands_apart():
    assert money(Decimal("1234567.5")) == "1\u202f234\u202f567.50"
    assert money(Decimal("999.99")) == "999.99"


def test_words_that_differ_in_capitals_are_one_group_called_as_most_call_it():
    listed = [held(kind=kind) for kind in ("boxcar", "Boxcar", "boxcar", "  boxcar ")]
    by_kind = next(each for each in breakdowns(listed) if each.slug == "kind")
    assert [(group.label, group.sum.n) for group in by_kind.groups] == [("boxcar", 4)]


def test_many_groups_then_the_fewest_are_one_and_what_is_not_stated_stays_apart():
    listed = [held(maker=f"maker {n:02}") for n in range(30) for _ in range(40 - n)]
    listed += [held()]
    by_maker = next(each for each in breakdowns(listed) if each.slug == "maker")
    assert [group.label for group in by_maker.groups] == [
        *(f"maker {n:02}" for n in range(10)),
        "20 others",
        "not stated",
    ]


@pytest.mark.parametrize(
    ("years", "width"),
    [
        (range(2015, 2026), 1),
        ([1978, 1986, 2024], 1),
        (range(2000, 2026), 5),
        (range(1930, 2026), 10),
        (range(1850, 2026), 25),
        ([], 1),
    ],
)
def test_years_make_bands_as_narrow_as_there_is_room_for(years, width):
    assert band_width(list(years)) == width


def test_bands_come_in_their_order_and_name_their_years():
    listed = [held(year=year) for year in [*range(2000, 2026), None]]
    by_year = next(each for each in breakdowns(listed) if each.slug == "year")
    assert [(group.label, group.sum.n) for group in by_year.groups] == [
        ("2000–2004", 5),
        ("2005–2009", 5),
        ("2010–2014", 5),
        ("2015–2019", 5),
        ("2020–2024", 5),
        ("2025–2029", 1),
        ("not stated", 1),
    ]


def test_charts_are_one_a_currency_and_the_longest_bar_first():
    listed = [
        held(kind="boxcar", value=Decimal(5), currency="USD"),
        held(kind="hopper", value=Decimal(9), currency="USD"),
        held(kind="hopper"),
        held(kind="wagon", value=Decimal(70), currency="EUR"),
        held(kind="crane"),
    ]
    by_kind = next(each for each in breakdowns(listed) if each.slug == "kind")
    usd, eur = by_kind.charts
    assert (usd.currency, eur.currency) == ("USD", "EUR")
    assert [(row.label, row.shown, row.beside) for row in usd.rows] == [
        ("hopper", "9.00", "1 of 2"),
        ("boxcar", "5.00", "1 of 1"),
    ]
    assert [row.label for row in eur.rows] == ["wagon"]
    assert [group.label for group in by_kind.unvalued] == ["crane"]


# --- The record -------------------------------------------------------------------------------


@pytest.fixture
def railway(db) -> Railway:
    made = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    place = Place.objects.create(railway=made, name="Tarn", position=1)
    ends = {"a_reference": "clearance mark", "b_reference": "clearance mark"}
    Track.objects.create(place=place, name="Siding", measured=900, **ends)
    for name in ("Mill", "Dairy"):
        Industry.objects.create(place=place, name=name)
    return made


def test_holdings_are_the_stock_and_neither_visitors_nor_what_has_left(owner, railway):
    make_vehicle(owner, number="1", value=Decimal("0.10"), currency="EUR")
    make_vehicle(owner, number="2", value=Decimal(5), currency="EUR", visitor="a friend")
    for number, how in (("3", "sold"), ("4", "mistaken")):
        car = make_vehicle(owner, number=number, value=Decimal(7), currency="EUR")
        leave(car, owner, how, date(2026, 1, 2))
    assert [each.value for each in holdings()] == [Decimal("0.10")]


@pytest.mark.django_db
def test_holdings_keep_every_cent_through_the_database(owner):
    typed = [f"{n}.{n % 100:02}" for n in range(0, 99_999_999, 1_234_567)]
    Vehicle.objects.bulk_create(
        Vehicle(
            reporting_mark="BRV",
            number=str(n),
            kind="boxcar",
            family="nmra",
            scale="HO",
            value=Decimal(text),
            currency="EUR",
        )
        for n, text in enumerate(typed)
    )
    (worth,) = Sum.of(holdings()).worth
    assert Fraction(worth.total) == sum(Fraction(text) for text in typed)


@pytest.mark.django_db
def test_sums_agree_with_whole_cents_read_past_the_models(owner):
    """The values as the database's own driver gives them, each rounded to whole cents."""
    for number, text in enumerate(["0.10", "0.20", "19.99", "8.01", "1234.56", "0.70"]):
        make_vehicle(owner, number=str(number), value=Decimal(text), currency="EUR")
    with connection.cursor() as cursor:
        cursor.execute("SELECT value FROM stock_vehicle WHERE value IS NOT NULL")
        cents = sum(round(float(value) * 100) for (value,) in cursor.fetchall())
    (worth,) = Sum.of(holdings()).worth
    assert worth.total == Decimal(cents) / 100
    assert worth.total == Decimal("1263.56")


def test_home_is_one_word_a_vehicle_so_that_it_is_counted_once(owner, railway):
    mill, dairy = Industry.objects.order_by("-name")
    cars = [make_vehicle(owner, number=str(n)) for n in range(4)]
    give_homes(industry=mill, vehicles=cars[:2], by=owner)
    give_homes(industry=dairy, vehicles=cars[1:2], by=owner)
    set_home_track(vehicle=cars[0], track=Track.objects.get(), by=owner)
    set_home_track(vehicle=cars[2], track=Track.objects.get(), by=owner)
    assert [each.home for each in holdings()] == [
        "Mill",
        "several industries",
        "only a home track",
        "",
    ]
    other = Railway.objects.create(name="Other", family="nmra", scale="HO")
    place = Place.objects.create(railway=other, name="Moor", position=1)
    give_homes(
        industry=Industry.objects.create(place=place, name="Pit"), vehicles=cars[3:], by=owner
    )
    assert [each.home for each in holdings()] == [
        "Mill, Alder Branch",
        "several industries, Alder Branch",
        "only a home track, Alder Branch",
        "Pit, Other",
    ]


def test_services_name_every_state_and_what_waits_is_counted(owner, railway):
    fit, held_car, fresh = (make_vehicle(owner, number=str(n)) for n in range(3))
    measured = {("back_to_back", "1"): "14.45", ("back_to_back", "2"): "14.45", **sound(1, 2)}
    for car in (fit, held_car):
        inspection = measure(car, owner, measured)
        finish_inspection(inspection=inspection, service=Service.FIT, statement="ok", by=owner)
    long_ago = timezone.now() - timedelta(days=700)
    Inspection.objects.filter(vehicle=fit).update(finished_at=long_ago)
    note_last_inspected()
    take_out(subject=held_car, reason="wobbles", by=owner)
    listed = holdings()
    assert {each.name: each.number for each in services(listed)} == {
        "fit to run": 1,
        "fit with advice": 0,
        "bad order": 1,
        "awaiting inspection": 1,
    }
    found = waiting(listed)
    assert (found.awaiting, found.bad_order, found.never_measured, found.overdue) == (1, 1, 1, 1)
    assert found.oldest.vehicle == held_car
    leave(fresh, owner, "sold", date(2026, 1, 2))
    assert waiting(holdings()).never_measured == 0


def test_left_counts_one_year_and_never_what_was_entered_by_mistake(owner):
    def car(number: str, **facts) -> Vehicle:
        return make_vehicle(owner, number=number, **{"currency": "EUR", **facts})

    leave(car("1", price=Decimal(20)), owner, "sold", date(2026, 1, 1), "32.50")
    leave(car("2"), owner, "sold", date(2026, 12, 31), "0.10")
    leave(car("3"), owner, "sold", date(2026, 5, 3))
    leave(car("4", currency="USD"), owner, "sold", date(2026, 5, 3), "7")
    leave(car("5"), owner, "sold", date(2025, 12, 31), "1000")
    leave(car("6"), owner, "given", date(2026, 5, 3))
    leave(car("7", price=Decimal(9)), owner, "mistaken", date(2026, 5, 3))
    found = left_in(2026)
    assert found.by_how == (("sold", 4), ("given away", 1))
    assert [(each.shown, each.n) for each in found.sold] == [("32.60 EUR", 2), ("7.00 USD", 1)]
    assert found.n_unpriced == 1
    assert [(each.n, each.words) for each in found.gains] == [(1, "12.50 EUR more")]


# --- The page ---------------------------------------------------------------------------------


@pytest.fixture
def page(client, owner):
    client.force_login(owner)

    def get() -> str:
        answer = client.get(reverse("ledger:overview"))
        assert answer.status_code == 200
        return answer.content.decode()

    return get


def test_overview_of_an_empty_stock_says_what_to_do(page):
    assert "Nothing is in the stock yet." in page()


def test_overview_shows_pictures_with_their_numbers_and_says_what_is_missing(page, owner):
    make_vehicle(owner, number="1", value=Decimal(1200), price=Decimal(900), currency="USD")
    make_vehicle(owner, number="2", value=Decimal(30), currency="EUR", kind="wagon")
    make_vehicle(owner, number="3", kind="crane")
    words = page()
    assert "1\u202f200.00 USD" in words
    assert "1 vehicle states no value and is in no sum; that is not the same as nothing." in words
    assert "Currencies are never added together." in words
    assert "300.00 USD more" in words
    assert "By kind, worth in USD: boxcar 1\u202f200.00 (1 of 1)." in words
    assert "By kind, worth in EUR: wagon 30.00 (1 of 1)." in words
    assert "No value stated: crane (1)." in words
    assert "The stock by service: fit to run 0, 0 %" in words
    assert "1\u202f230" not in words


@pytest.mark.parametrize("n", [1, 3])
def test_overview_takes_the_same_queries_however_much_there_is(
    client, owner, railway, n, django_assert_num_queries
):
    for number in range(n):
        car = make_vehicle(
            owner, number=str(number), value=Decimal(5), currency="EUR", maker=f"maker {number}"
        )
        give_homes(industry=Industry.objects.first(), vehicles=[car], by=owner)
        measure(car, owner, {("mass", ""): "100"})
        take_out(subject=car, reason="wobbles", by=owner)
        leave(make_vehicle(owner, number=f"9{number}"), owner, "sold", timezone.localdate())
    client.force_login(owner)
    # Session, person; homes, home tracks, stock; oldest hold, never measured, inspections and
    # running of the routine; what left.
    with django_assert_num_queries(11):
        client.get(reverse("ledger:overview"))


def test_overview_tells_the_oldest_bad_order(page, owner):
    for number, day in (("1", 5), ("2", 2)):
        take_out(
            subject=make_vehicle(owner, number=number),
            reason="wobbles",
            by=owner,
            moment=datetime(2026, 3, day, tzinfo=timezone.get_default_timezone()),
        )
    assert ">BRV 2</a>, since 2 Mar 2026" in page()
