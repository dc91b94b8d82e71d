"""The demo railway: that it loads, that it is whole, and that its faults are really faults.

Limits are typed here from the publications by hand, in the unit in which each is printed:
NMRA S-4.2, row HO: back-to-back at least .566 in, check gauge at most .605 in, tire width at
    least .108 in, flange depth at most .028 in.
NMRA RP-4, row HO Fine: back-to-back at least .581 in, check gauge at most .613 in.
NMRA RP-25: flange .030 in for code 110, .025 in for code 88.
NMRA RP-20.1, HO: 1 oz and 1/2 oz for each inch of the body. S-2, HO: coupler at .391 in.
NEM 310:2009, 9 mm: flange depth at most 0.9 mm. NEM 302: 0.17 g a mm in N, 0.4 g a mm in H0.
The distances of 1/2 oz and .010 in are the club's in the demo's house limits.
"""

import tomllib
from collections import Counter
from decimal import Decimal as D
from pathlib import Path

import pytest
from django.conf import settings as project

from inventory.bench.demo import DemoRefused, load_demo
from inventory.people.models import Person
from inventory.stock.models import (
    Change,
    Coupler,
    HouseLimit,
    Inspection,
    Reading,
    Vehicle,
    VehiclePhoto,
    Verdict,
    Wheelset,
)
from inventory.stock.recording import Running, log_vehicle
from inventory.stock.verdicts import standing_proposal
from inventory.track.fit import Stood, answers, pool_for, stood
from inventory.track.models import (
    Home,
    HomeTrack,
    Industry,
    Place,
    Railway,
    Standing,
    Track,
    Traffic,
    Turnout,
)
from inventory.track.needs import needs_of
from inventory.track.standing import candidates
from inventory.trackwork.models import TrackworkPhoto
from inventory.trouble.models import Incident, IncidentPhoto
from standards.conformity import Outcome
from standards.judging import Service

MM = D("25.4")  # in an inch, by definition
OUNCE = D("28.349523125")  # grams in an ounce avoirdupois, by definition

pytestmark = pytest.mark.django_db


def clear() -> None:
    for model in (Incident, Verdict, Reading, Inspection, Track, Railway, Vehicle, HouseLimit):
        model._base_manager.all().delete()  # what has left the stock too


@pytest.fixture(scope="module")
def demo(django_db_setup, django_db_blocker):
    """The demo, loaded once for the tests that only look at it."""
    with django_db_blocker.unblock():
        person = Person.objects.create_user("bench", role=Person.Role.OWNER)
        loaded = load_demo(by=person)
    yield loaded
    with django_db_blocker.unblock():
        clear()
        person.delete()


@pytest.fixture
def newcomer(owner):
    """Somebody with an empty record, for the tests that load it themselves."""
    clear()
    return owner


def vehicle(lettered: str) -> Vehicle:
    return next(each for each in Vehicle.objects.all() if each.identity == lettered)


def inspection(lettered: str, day: str) -> Inspection:
    return next(
        each
        for each in vehicle(lettered).inspections.all()
        if f"{each.started_at:%Y-%m-%d}" == day
    )


def verdict(lettered: str, day: str, quantity: str, at: str = "") -> Verdict:
    return inspection(lettered, day).verdicts.current().get(quantity=quantity, at=at)


def faults(lettered: str, day: str) -> set[tuple[str, str, str]]:
    """Every verdict of an inspection that is not plainly good: (quantity, at, outcome)."""
    found = (
        inspection(lettered, day)
        .verdicts.current()
        .filter(outcome__in=[Outcome.OUTSIDE.value, Outcome.UNDECIDED.value])
    )
    return set(found.values_list("quantity", "at", "outcome"))


def facts() -> list[tuple]:
    """All that a load made, without keys and without the moment of judging."""
    return [
        *Vehicle.everyone.order_by("pk").values_list(
            "retired_as", "retired_on", "retired_price", "retired_note",
            "reporting_mark", "number", "name", "category", "kind", "aar_designation",
            "uic_letter", "family", "scale", "axles", "has_buffers", "maker", "catalogue_number",
            "era", "acquired_on", "price", "value", "currency", "storage_box", "notes", "service",
            "revision", "logged_at", "logged_by__username",
        ),
        *Wheelset.objects.order_by("pk").values_list(
            "vehicle__number", "axle", "profile_code", "material", "tread_diameter"
        ),
        *Coupler.objects.order_by("pk").values_list(
            "vehicle__number", "end", "kind", "mounting"
        ),
        *HouseLimit.objects.order_by("pk").values_list(
            "quantity", "family", "scale", "is_about_sheet", "low", "high", "reason", "set_at"
        ),
        *Inspection.objects.order_by("pk").values_list(
            "vehicle__number", "reason", "rule", "uses_gauge", "started_at", "finished_at",
            "proposed", "service", "statement",
        ),
        *Reading.objects.order_by("pk").values_list(
            "inspection__started_at", "quantity", "at", "typed", "gauge", "value", "u", "dof",
            "instrument__name", "max_error", "resolution", "taken_at", "is_current",
        ),
        *Verdict.objects.order_by("pk").values_list(
            "inspection__started_at", "quantity", "at", "outcome", "value", "expanded", "gauge",
            "probability", "low", "low_basis", "high", "high_basis", "nominal", "is_derived",
            "is_second_hand", "is_by_house", "note", "rule", "cause", "is_current",
        ),
        *VehiclePhoto.objects.order_by("pk").values_list(
            "vehicle__number", "digest", "caption", "taken_on", "position", "added_at"
        ),
        *Railway.objects.values_list("name", "family", "scale", "clearance_gap", "notes"),
        *Place.objects.values_list("name", "position"),
        *Turnout.objects.order_by("pk").values_list(
            "place__name", "name", "hand", "frog_number", "diverging_radius", "points_to_frog"
        ),
        *Track.objects.order_by("pk").values_list(
            "place__name", "name", "duty", "position", "measured", "a_reference",
            "a_turnout__name", "a_leg", "b_reference", "b_turnout__name", "b_leg",
            "final_centres", "radius", "door_height", "grade_percent", "most_vehicles",
        ),
        *Standing.objects.order_by("pk").values_list("track__name", "vehicle__number", "position"),
        *Industry.objects.order_by("pk").values_list("place__name", "name", "tracks__name"),
        *Traffic.objects.order_by("pk").values_list(
            "industry__name", "direction", "goods", "kinds", "cars_per_session", "sessions_away"
        ),
        *Home.objects.order_by("pk").values_list("industry__name", "vehicle__number"),
        *HomeTrack.objects.order_by("pk").values_list("track__name", "vehicle__number"),
        *Change.objects.order_by("pk").values_list(
            "vehicle__number", "what", "before", "after", "note", "by__username", "at"
        ),
    ]  # fmt: skip


# --- Loading ----------------------------------------------------------------------------------


def test_load_demo_into_an_empty_record_then_everything_of_the_file_is_there(demo):
    assert demo == 49
    assert Counter(Vehicle.objects.values_list("family", "scale")) == {
        ("nmra", "HO"): 39,
        ("nmra-rp-4", "HO Fine"): 2,
        ("nem", "H0"): 2,
        ("nem", "N"): 6,
    }
    assert Vehicle.objects.filter(category="locomotive", scale="HO").count() == 5
    in_stock = Inspection.objects.filter(vehicle__retired_as="")
    assert in_stock.count() == 61
    assert Inspection.objects.count() == 63
    assert Inspection.objects.filter(finished_at__isnull=True).count() == 2
    assert Reading.objects.filter(inspection__in=in_stock).count() == 1109
    assert Reading.objects.count() == 1136
    assert HouseLimit.objects.count() == 2
    assert Vehicle.objects.filter(inspections__isnull=True).count() == 3


def test_load_demo_then_four_have_left_and_one_came_back(demo):
    assert {each.identity: each.retired_as for each in Vehicle.everyone.former()} == {
        "KVPW 5521": "sold",
        "DUXL 77": "scrapped",
        "OZN 377": "given",
        "HFQ 1114": "mistaken",
    }
    assert not Home.objects.filter(vehicle__retired_as__gt="").exists()
    assert [each.what for each in vehicle("HFQ X9").changes.all()] == ["retired", "brought back"]
    changed = vehicle("HFQ 12").changes.exclude(what="photo")
    assert [(each.what, each.before, each.after) for each in changed] == [
        ("value", "360", "395"),
        ("value", "395", "420"),
        ("storage_box", "Box E1", "Drawer 1"),
    ]
    assert HomeTrack.objects.count() == 4


def test_load_demo_then_services_stand_in_the_expected_proportion(demo):
    assert Counter(Vehicle.objects.values_list("service", flat=True)) == {
        Service.FIT.value: 26,
        Service.ADVICE.value: 11,
        Service.BAD_ORDER.value: 7,
        Service.AWAITING.value: 5,
    }


def test_load_demo_then_every_outcome_and_reason_occurs(demo):
    outcomes = Counter(Verdict.objects.current().values_list("outcome", flat=True))
    assert set(outcomes) == {each.value for each in Outcome}
    assert outcomes[Outcome.OUTSIDE.value] == 23
    assert outcomes[Outcome.UNDECIDED.value] == 14
    assert set(Inspection.objects.values_list("reason", flat=True)) == set(
        Inspection.Reason.values
    )


def test_every_photo_of_the_demo_is_small_and_is_on_a_page(demo):
    files = list((project.HOME / "fixtures" / "photos").iterdir())
    kept = [
        *VehiclePhoto.objects.all(), *TrackworkPhoto.objects.all(), *IncidentPhoto.objects.all()
    ]  # fmt: skip

    assert all(each.suffix == ".jpg" and each.stat().st_size < 60_000 for each in files)
    assert len(files) == len({each.digest for each in kept}) == len(kept)
    assert VehiclePhoto.objects.values("vehicle").distinct().count() >= 6
    assert TrackworkPhoto.objects.count() == IncidentPhoto.objects.count() == 1
    assert all(each.added_at.date() == each.taken_on for each in kept)


def test_load_demo_twice_then_the_same_record_comes_out(newcomer):
    load_demo(by=newcomer)
    once = facts()
    clear()
    load_demo(by=newcomer)
    assert facts() == once


def test_load_demo_for_a_person_of_inches_and_the_simple_rule_then_it_comes_out_the_same(newcomer):
    load_demo(by=newcomer)
    once = facts()
    clear()
    Person.objects.filter(pk=newcomer.pk).update(unit="in", rule="simple")
    newcomer.refresh_from_db()
    load_demo(by=newcomer)
    assert facts() == once
    newcomer.refresh_from_db()
    assert (newcomer.unit, newcomer.rule) == ("in", "simple")


def test_load_demo_when_a_house_limit_stands_then_it_is_left_in_force(newcomer):
    HouseLimit.objects.create(
        quantity="mass", family="nmra", scale="HO", low=D(60), high=D(200), reason="our own"
    )
    load_demo(by=newcomer)
    assert HouseLimit.objects.get(quantity="mass").reason == "our own"


def test_load_demo_into_a_record_with_vehicles_then_it_is_refused_in_words(newcomer):
    log_vehicle(
        vehicle=Vehicle(reporting_mark="HFQ", kind="boxcar", family="nmra", scale="HO"),
        running=Running(),
        by=newcomer,
    )
    with pytest.raises(DemoRefused, match="already holds 1 vehicle"):
        load_demo(by=newcomer)
    assert Vehicle.objects.count() == 1
    assert not HouseLimit.objects.exists()


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ('back_to_back = ["about 14"]', "HFQ 1, 2024-02-17: .*about"),
        ('back_to_back = ["566"]', "HFQ 1, 2024-02-17: .*far from plausible"),
        ('back_to_back = ["14.4", "14.4", "14.4"]', "list of at most 2 texts"),
        ('mass = ["100"]', "one text"),
        ('width_of_the_owner = "1"', "width_of_the_owner"),
        ('outcome = "splendid"', "splendid"),
        ('with = { back_to_back = "Ruler" }\nback_to_back = ["14.4"]', "Ruler"),
        ("back_to_back = [14.4", "cannot be read"),
    ],
)
def test_load_demo_when_the_file_has_a_slip_then_it_is_refused_naming_the_place(
    newcomer, settings, tmp_path, line, words
):
    settings.HOME = tmp_path
    (tmp_path / "fixtures").mkdir()
    (tmp_path / "fixtures" / "demo.toml").write_text(
        '[[vehicle]]\nlettered = ["HFQ", "1"]\nwhat = { kind = "boxcar", axles = 2 }\n'
        f'[[vehicle.inspection]]\nat = 2024-02-17T19:30:00Z\nreason = "new"\n{line}\n',
        encoding="utf-8",
    )
    with pytest.raises(DemoRefused, match=words):
        load_demo(by=newcomer)
    assert not Vehicle.objects.exists()


# --- The file ---------------------------------------------------------------------------------


def test_the_file_dates_are_in_sequence_and_only_a_last_inspection_is_open():
    text = (Path(project.HOME) / "fixtures" / "demo.toml").read_text(encoding="utf-8")
    for entry in tomllib.loads(text)["vehicle"]:
        inspections = entry.get("inspection", [])
        dates = [each["at"] for each in inspections]
        assert dates == sorted(set(dates)), entry["lettered"]
        assert all("2024-02" <= f"{at:%Y-%m}" <= "2026-10" for at in dates), entry["lettered"]
        assert not any(each.get("open") for each in inspections[:-1]), entry["lettered"]
        assert all(entry["bought"]["acquired_on"] <= at.date() for at in dates), entry["lettered"]
        stated = [each for each in inspections if "outcome" in each]
        assert all(each["statement"] for each in stated), entry["lettered"]


def test_what_is_loaded_is_valid_by_the_models_own_rules(demo):
    for each in Vehicle.objects.all():
        each.full_clean(exclude=["logged_by"])
    for each in HouseLimit.objects.all():
        each.full_clean(exclude=["set_by", "withdrawn_at"])


def test_a_vehicle_is_logged_as_its_first_inspection_begins(demo):
    assert f"{vehicle('HFQ 1104').logged_at:%Y-%m-%d %H:%M}" == "2024-02-17 20:10"
    assert f"{vehicle('BQT 190').logged_at:%Y-%m-%d}" == "2026-10-03"


# --- Faults, checked by hand ------------------------------------------------------------------


def test_narrow_axle_is_outside_and_its_neighbours_are_not(demo):
    assert faults("OZN 27118", "2025-03-16") == {("back_to_back", "2", "outside")}
    found = verdict("OZN 27118", "2025-03-16", "back_to_back", "2")
    assert found.value == D("14.20")
    assert found.low == D(".566") * MM == D("14.3764")
    assert vehicle("OZN 27118").service == Service.BAD_ORDER.value


def test_narrow_axle_spread_after_repair_is_fit_again(demo):
    assert faults("HFQ 1112", "2024-04-07") == {("back_to_back", "2", "outside")}
    assert faults("HFQ 1112", "2024-04-13") == set()
    assert inspection("HFQ 1112", "2024-04-07").service == Service.BAD_ORDER.value
    assert vehicle("HFQ 1112").service == Service.FIT.value


def test_wide_axle_is_above_the_check_gauge_less_the_flange_of_its_code(demo):
    assert faults("OZN 604", "2025-01-25") == {("back_to_back", "3", "outside")}
    found = verdict("OZN 604", "2025-01-25", "back_to_back", "3")
    assert found.high == (D(".605") - D(".030")) * MM == D("14.605")
    assert found.is_derived
    # Repeats 14.72 14.73 14.72.
    assert found.value.quantize(D("0.0001")) == D("14.7233")


def test_engine_axle_near_the_upper_limit_is_undecided(demo):
    assert faults("HFQ 12", "2024-03-02") == {
        ("back_to_back", "5", "undecided"),
        ("wheel_check", "5", "undecided"),
    }
    check = verdict("HFQ 12", "2024-03-02", "wheel_check", "5")
    assert check.high == D(".605") * MM == D("15.367")
    # 14.56 14.57 14.56 and a flange of 0.76: 0.044 mm inside the limit, less than the guard.
    assert check.value.quantize(D("0.0001")) == D("15.3233")


def test_heavy_brass_engine_is_not_judged_by_a_rule_for_hauled_stock(demo):
    found = verdict("HFQ 12", "2024-03-02", "mass")
    assert (found.value, found.outcome) == (D(642), Outcome.NOT_JUDGED.value)


def test_old_plastic_wheels_are_too_deep(demo):
    for at in "1234":
        found = verdict("KVPW 70418", "2024-12-27", "flange_depth", at)
        assert found.outcome == Outcome.OUTSIDE.value
        assert found.high == D(".028") * MM == D("0.7112")
    assert vehicle("KVPW 70418").service == Service.BAD_ORDER.value


def test_old_wheels_replaced_then_the_car_is_fit(demo):
    assert {quantity for quantity, _, _ in faults("OZN 44812", "2024-12-27")} == {
        "back_to_back",
        "flange_depth",
        "mass",
    }
    assert faults("OZN 44812", "2025-01-04") == set()
    fitted = vehicle("OZN 44812").fitted_wheelsets
    assert {(each.profile_code, each.material) for each in fitted} == {(110, "metal")}
    assert vehicle("OZN 44812").wheelsets.filter(removed_at__isnull=False).count() == len(fitted)


def test_drooping_coupler_is_low_and_its_pin_caught_by_the_gauge(demo):
    assert faults("JZCX 75", "2024-05-05") == {
        ("coupler_height", "B", "outside"),
        ("trip_pin_clearance", "B", "outside"),
    }
    found = verdict("JZCX 75", "2024-05-05", "coupler_height", "B")
    assert found.nominal == D(".391") * MM == D("9.9314")
    assert found.low == D(".381") * MM
    assert found.nominal - found.value.quantize(D("0.01")) == D("0.6014")
    assert found.is_by_house
    assert verdict("JZCX 75", "2024-05-05", "trip_pin_clearance", "B").gauge == "too small"


@pytest.mark.parametrize(
    ("lettered", "day", "body_mm", "mass_g", "miss"),
    [("HFQ 601", "2024-04-28", "142", "48", -1), ("UQTX 2210", "2024-06-09", "128", "141", 1)],
)
def test_mass_more_than_half_an_ounce_off_is_advice(demo, lettered, day, body_mm, mass_g, miss):
    optimum = (1 + D("0.5") * D(body_mm) / MM) * OUNCE
    assert (D(mass_g) - optimum) * miss > OUNCE / 2
    found = verdict(lettered, day, "mass")
    assert found.value == D(mass_g)
    assert abs(found.nominal - optimum) < D("1e-20")
    assert faults(lettered, day) == {("mass", "", "outside")}
    assert vehicle(lettered).service == Service.ADVICE.value


def test_flat_car_weighted_after_advice_is_fit(demo):
    assert faults("WDJU 950", "2025-07-20") == {("mass", "", "outside")}
    assert faults("WDJU 950", "2025-08-02") == set()
    # Its body was measured only the first time; the optimum still goes by those 186 mm.
    again = verdict("WDJU 950", "2025-08-02", "mass")
    assert again.nominal.quantize(D("0.1")) == D("132.1")


def test_vernier_near_a_limit_cannot_tell(demo):
    assert faults("VYSO 5540", "2025-02-09") == {("back_to_back", "2", "undecided")}
    found = verdict("VYSO 5540", "2025-02-09", "back_to_back", "2")
    assert found.reading.instrument.name == "Vernier caliper"
    assert found.low == D(".581") * MM == D("14.7574")
    assert found.high == (D(".613") - D(".025")) * MM
    assert not found.is_undecidable


def test_worn_axle_drifts_from_within_through_undecided_to_outside(demo):
    days = ("2024-03-10", "2025-04-19", "2026-05-16")
    found = [verdict("HFQ 304", day, "back_to_back", "4") for day in days]
    assert [each.outcome for each in found] == ["within", "undecided", "outside"]
    assert [each.value.quantize(D("0.01")) for each in found] == [
        D("14.46"),
        D("14.40"),
        D("14.31"),
    ]
    assert [inspection("HFQ 304", day).service for day in days] == [
        Service.FIT.value,
        Service.ADVICE.value,
        Service.BAD_ORDER.value,
    ]


def test_unknown_flange_leaves_the_upper_limit_open(demo):
    assert faults("KVPW 90077", "2025-09-07") == {
        ("back_to_back", at, "undecided") for at in "1234"
    }
    assert verdict("KVPW 90077", "2025-09-07", "back_to_back", "1").high is None


def test_n_wagon_with_deep_old_flanges_is_bad_order(demo):
    assert faults("Tannmark 13 882", "2025-02-22") == {
        ("flange_depth", "1", "outside"),
        ("flange_depth", "2", "outside"),
    }
    assert verdict("Tannmark 13 882", "2025-02-22", "flange_depth", "1").high == D("0.9")
    assert vehicle("Tannmark 13 882").service == Service.BAD_ORDER.value


@pytest.mark.parametrize(
    ("lettered", "day", "mass_g", "least_g"),
    [
        ("Tannmark 51 204", "2025-02-22", "6.4", "9.69"),  # 0.17 g x 57 mm
        ("Tannmark 21 306", "2025-12-28", "78", "89.2"),  # 0.4 g x 223 mm
    ],
)
def test_light_by_nem_is_advice(demo, lettered, day, mass_g, least_g):
    found = verdict(lettered, day, "mass")
    assert (found.value, found.low, found.outcome) == (D(mass_g), D(least_g), "outside")
    assert vehicle(lettered).service == Service.ADVICE.value


def test_axle_left_out_keeps_the_vehicle_awaiting(demo):
    assert inspection("OZN 908", "2026-06-14").service == Service.AWAITING.value
    assert standing_proposal(vehicle("OZN 908")).missing == (("back_to_back", "3"),)


def test_stated_outcome_stands_beside_what_the_readings_propose(demo):
    stated = inspection("HFQ X5", "2026-08-29")
    assert (stated.proposed, stated.service) == ("fit to run", "bad order")
    assert stated.statement
    assert vehicle("HFQ X5").service == Service.BAD_ORDER.value


def test_open_inspections_have_readings_and_leave_the_service_as_it_was(demo):
    for lettered, service in (("HFQ C3", Service.FIT), ("VYSO 7712", Service.AWAITING)):
        assert vehicle(lettered).service == service.value
        under_way = vehicle(lettered).inspections.get(finished_at__isnull=True)
        assert under_way.readings.exists()


def test_cars_by_gauge_alone_are_full_citizens(demo):
    for lettered in ("HFQ 15", "OZN 60233"):
        readings = Reading.objects.filter(inspection__vehicle=vehicle(lettered))
        assert set(readings.values_list("gauge", flat=True)) == {"go"}
        assert vehicle(lettered).service == Service.FIT.value


@pytest.mark.parametrize(
    ("lettered", "day", "quantity", "at", "typed", "value"),
    [
        ("KVPW 41530", "2024-09-14", "body_length", "", "5 1/2 in", "139.7"),
        ("KVPW 41530", "2024-09-14", "mass", "", "3 3/4 oz", "106.31071171875"),
        ("KVPW 41530", "2024-09-14", "coupler_height", "B", "25/64 in", "9.921875"),
        ("DUXL 8807", "2024-11-03", "body_length", "", "140,5", "140.5"),
        ("DUXL 12090", "2025-05-11", "tyre_width", "1", "110 thou", "2.794"),
        ("KVPW 15220", "2025-04-06", "back_to_back", "1", "569 571 570 thou", "14.478"),
        ("JZCX 72", "2024-05-05", "mass", "", "3.8 oz", "107.728187875"),
    ],
)
def test_readings_typed_in_other_units_are_kept_as_typed_and_exact(
    demo, lettered, day, quantity, at, typed, value
):
    kept = inspection(lettered, day).readings.get(quantity=quantity, at=at)
    assert (kept.typed, kept.value) == (typed, D(value))


# --- The branch as it is laid -----------------------------------------------------------------


def branch() -> Railway:
    return Railway.objects.get()


def on_track(name: str, place: str) -> Stood:
    return next(
        each
        for each in stood(branch())
        if (each.track.name, each.track.place.name) == (name, place)
    )


def needs() -> dict[str, tuple[int, int, int]]:
    """Lack, surplus and how many may not run, by the industry and its goods."""
    tracks = stood(branch())
    return {
        f"{industry.name}: {need.traffic.goods}": (need.lacks, need.surplus, need.unable)
        for industry in Industry.objects.all()
        for need in needs_of(
            industry,
            candidates(home.vehicle for home in industry.homes.select_related("vehicle")),
            [each for each in tracks if each.track in industry.tracks.all()],
        )
    }


def test_load_demo_then_the_branch_is_laid_from_the_junction_to_the_mill_town(demo):
    assert (branch().family, branch().scale) == ("nmra", "HO")
    assert [place.name for place in branch().places.all()] == [
        "Harrowfen Junction",
        "Ostley",
        "Sedgeway",
        "Tarrowby",
        "Quessel",
    ]
    assert Turnout.objects.count() == 16
    assert Track.objects.count() == 19
    assert Counter(Track.objects.values_list("duty", flat=True)) == {
        "removable": 2,
        "running": 2,
        "loop": 2,
        "lead": 1,
        "class": 3,
        "arrival": 1,
        "storage": 3,
        "loading": 4,
        "team": 1,
    }
    assert Industry.objects.count() == 5
    assert Home.objects.count() == 10


def test_what_is_laid_is_valid_by_the_models_own_rules(demo):
    for model in (Railway, Place, Turnout, Track, Standing, Industry, Traffic, Home):
        for each in model.objects.all():
            each.full_clean()
    for each in Turnout.objects.all():
        assert each.frog_number is not None or each.diverging_radius is not None, each
    kinds = set(Vehicle.objects.values_list("kind", flat=True))
    for each in Traffic.objects.all():
        assert set(each.kind_words) <= kinds, each


def test_every_track_has_a_clear_length_above_zero_and_none_a_problem(demo):
    for each in stood(branch()):
        assert each.clearing.problem == "", each.track
        assert each.clearing.warning == "", each.track
        assert 0 < each.clearing.clear_mm <= each.track.measured, each.track


def test_clear_length_behind_a_no_4_frog_is_that_worked_by_hand(demo):
    # The widest is DUXL 330 with 34.8 mm; 3 mm of gap make 37.8 mm between centres. Along the
    # diverging leg C (4 N^2 + 1) / 4 N - G N = 37.8 x 65 / 16 - .649 in x 4, or 153.5625 -
    # 65.9384 = 87.6241 mm, off the 650 mm that were measured: 562.3759, rounded down.
    shown = on_track("Brickworks track", "Quessel")
    assert shown.clearing.clear_mm == D("562.3")


def test_one_spur_is_too_short_for_a_forty_foot_car_but_not_for_every_vehicle(demo):
    shown = on_track("Section house spur", "Ostley")
    assert 0 < shown.clearing.clear_mm < D("152.5")
    found = answers(shown, pool_for(branch()))
    boxcars = [each for each in found if each.candidate.kind == "boxcar"]
    assert boxcars
    assert not any(each.fits for each in boxcars)


def test_vehicles_stand_where_the_file_has_them_in_its_order(demo):
    text = (Path(project.HOME) / "fixtures" / "demo.toml").read_text(encoding="utf-8")
    written = {
        (place["name"], track["name"]): [" ".join(each) for each in track.get("standing", ())]
        for place in tomllib.loads(text)["railway"]["place"]
        for track in place["track"]
    }
    found = {
        (each.track.place.name, each.track.name): [stands.name for stands in each.standing]
        for each in stood(branch())
    }
    assert found == written
    assert Standing.objects.count() == 13


def test_vehicles_that_stand_are_clear_and_of_a_kind_and_height_for_their_track(demo):
    for each in stood(branch()):
        assert each.unmeasured or each.room_mm >= 0, each.track
        assert each.free_spots is None or each.free_spots > 0, each.track
        for stands in each.standing:
            assert not each.kinds or stands.kind in each.kinds, stands.name
            door = each.track.door_height
            assert door is None or stands.height_mm <= door, stands.name


def test_one_that_stands_was_never_measured_and_one_may_not_run(demo):
    standing = [(each, stands) for each in stood(branch()) for stands in each.standing]
    assert [stands.name for _, stands in standing if stands.length_mm is None] == ["OZN 60233"]
    assert on_track("Track 2", "Sedgeway").room_mm is None
    runs = {Service.FIT.value, Service.ADVICE.value}
    assert [stands.name for _, stands in standing if stands.service not in runs] == ["OZN 27118"]


def test_needs_lack_and_surplus_both_occur(demo):
    assert needs() == {
        # 1 a session, 2 sessions: two reefers, and one of the two at home is in bad order.
        "Creamery: Butter": (1, 0, 1),
        "Seed merchant: Molasses": (0, 0, 0),
        # 0.5 x 3 = 1.5, so two boxcars, and none at home.
        "Seed merchant: Seed in sacks": (2, 0, 0),
        "Flour mill: Wheat": (0, 0, 0),
        "Flour mill: Sacked flour": (1, 0, 0),
        # 0.5 x 2 = 1 hopper, and two at home.
        "Brickworks: Coal for the kilns": (0, 1, 0),
        "Brickworks: Clay": (0, 0, 0),
        "Cannery: Retorts": (0, 0, 0),
        "Cannery: Tinned fruit": (1, 0, 0),
    }


def test_load_demo_beside_a_railway_of_its_name_then_it_is_refused_in_words(newcomer):
    Railway.objects.create(name="Harrowfen & Quessel branch", family="nmra", scale="HO")
    with pytest.raises(DemoRefused, match="already holds a railway called Harrowfen"):
        load_demo(by=newcomer)


def test_load_demo_when_a_track_names_a_turnout_that_is_none_then_it_is_refused(
    newcomer, settings, tmp_path
):
    settings.HOME = tmp_path
    (tmp_path / "fixtures").mkdir()
    (tmp_path / "fixtures" / "demo.toml").write_text(
        'vehicle = []\n[railway]\nname = "A"\nfamily = "nmra"\nscale = "HO"\n'
        '[[railway.place]]\nname = "B"\n[[railway.place.track]]\nname = "C"\nmeasured = 500\n'
        'from = ["frog", "Nowhere", "main"]\nto = "joint"\n',
        encoding="utf-8",
    )
    with pytest.raises(DemoRefused, match="C, B: 'Nowhere' is missing"):
        load_demo(by=newcomer)
    assert not Railway.objects.exists()
