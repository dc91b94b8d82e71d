"""The bench screens by plain form posts, as they work without JavaScript, and by htmx."""

import re
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.bench.steps import steps_for
from inventory.stock.models import Inspection, Instrument, Reading, Vehicle
from inventory.stock.recording import open_inspection, record
from inventory.stock.taking import Entry
from tests.factories import make_person, make_vehicle, measure

pytestmark = pytest.mark.django_db

NEW = {
    "reporting_mark": "QVR",
    "number": "2041",
    "category": "freight",
    "kind": "boxcar",
    "axles": "2",
    "standard": "nmra/HO",
    "profile_code": "110",
    "coupler": "knuckle",
}


@pytest.fixture
def bench(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def inspection(bench, owner) -> Inspection:
    return open_inspection(vehicle=make_vehicle(owner), reason="new", by=owner)


def at(inspection: Inspection, slug: str) -> str:
    return reverse("bench:measure", args=[inspection.pk, slug])


# --- Logging ----------------------------------------------------------------------------------


def test_vehicle_when_logged_goes_straight_to_the_first_axle(bench):
    answer = bench.post(reverse("bench:log"), NEW)
    inspection = Inspection.objects.get()
    assert answer.url == at(inspection, "axle-1")
    assert inspection.reason == "new"
    vehicle = Vehicle.objects.get()
    assert (vehicle.identity, vehicle.scale, vehicle.axles) == ("QVR 2041", "HO", 2)
    assert {wheelset.profile_code for wheelset in vehicle.wheelsets.all()} == {110}


def test_next_vehicle_starts_from_the_last_one(bench, owner):
    make_vehicle(owner, family="nem", scale="N", axles=2, maker="Alder & Finch", has_buffers=True)
    page = bench.get(reverse("bench:log")).content.decode()
    assert "Filled in from BRV 88" in page
    assert '<option value="nem/N" selected>' in page
    assert 'value="Alder &amp; Finch"' in page
    assert "In use here" in page


def test_twin_is_told_with_a_link_and_can_be_logged_all_the_same(bench, owner):
    twin = make_vehicle(owner, reporting_mark="qvr", number="2041")
    answer = bench.post(reverse("bench:log"), NEW)
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "qvr 2041 is logged already" in page
    assert f'href="{twin.get_absolute_url()}"' in page
    assert 'value="2041"' in page
    assert Vehicle.objects.count() == 1
    bench.post(reverse("bench:log"), {**NEW, "is_another": "on"})
    assert Vehicle.objects.count() == 2


def test_same_marks_at_another_scale_are_no_twin(bench, owner):
    make_vehicle(owner, reporting_mark="QVR", number="2041", family="nmra", scale="N")
    bench.post(reverse("bench:log"), NEW)
    assert Vehicle.objects.count() == 2


# --- Measuring --------------------------------------------------------------------------------


def test_steps_go_axle_by_axle_end_by_end_then_the_whole(owner):
    vehicle = make_vehicle(owner, axles=2)
    steps = steps_for(vehicle, {"A": "knuckle", "B": "none"}, uses_gauge=False)
    assert [step.slug for step in steps] == ["axle-1", "axle-2", "end-A", "end-B", "whole"]
    assert "trip_pin_clearance" in steps[2].quantities
    assert "trip_pin_clearance" not in steps[3].quantities


def test_enter_after_a_reading_goes_to_the_next_empty_box(bench, inspection):
    address = at(inspection, "axle-1")
    answer = bench.post(address, {"typed-back_to_back": "14.47", "go": "on"})
    assert answer.url == f"{address}?at=flange_thickness"
    page = bench.get(answer.url).content.decode()
    assert 'id="typed-flange_thickness"' in page.split("autofocus")[0][-900:]
    assert "within" in page


def test_enter_with_nothing_new_goes_to_the_next_place(bench, inspection):
    assert bench.post(at(inspection, "axle-1"), {"go": "on"}).url == at(inspection, "axle-2")
    finish = reverse("bench:finish", args=[inspection.pk])
    assert bench.post(at(inspection, "whole"), {"go": "on"}).url == finish


def test_bad_reading_keeps_the_good_ones_and_says_what_is_wrong(bench, inspection):
    answer = bench.post(
        at(inspection, "axle-1"),
        {"typed-back_to_back": "14.47", "typed-flange_depth": "deep", "typed-tyre_width": "2.8"},
    )
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "“deep” is not a unit known here" in page
    assert 'value="deep"' in page
    assert {r.quantity for r in Reading.objects.all()} == {"back_to_back", "tyre_width"}


@pytest.mark.parametrize(
    ("typed", "message"),
    [
        ("narrow", "is not a unit known here"),
        ("113 g", "g measures a mass, and this is a length"),
        ("14.38 mm 0.566 in", "Two units stand in one field: in and mm"),
        ("-14.38", "below zero"),
        ("0", "cannot be the length of anything"),
        ("1,234.5", "thousands separators"),
        ("14.3.8", "more than one decimal mark"),
        ("🚂", "is not part of a number"),
        ("9" * 300, "300 characters long"),
        ("99999999999999", "more than 12 digits"),
        ("14.4 99", "no repeats of one reading"),
        ("<b>14</b>", "is not part of a number"),
        ("1/3 in", "has no exact decimal"),
        ("40 ft prototype", "far from plausible"),
        ("5000", "far from plausible"),
        ("0.001", "far from plausible"),
    ],
)
def test_bad_text_in_a_box_is_answered_beside_it(bench, inspection, typed, message):
    answer = bench.post(at(inspection, "axle-1"), {"typed-back_to_back": typed})
    assert answer.status_code == 422
    assert message in answer.content.decode()
    assert not Reading.objects.exists()


@pytest.mark.parametrize("typed", ["14,38", "14.38mm", ".566 in", "9/16 in", "14.38 14.40 14.39"])
def test_good_text_in_a_box_is_kept_as_typed(bench, inspection, typed):
    bench.post(at(inspection, "axle-1"), {"typed-back_to_back": typed})
    assert Reading.objects.get().typed == typed


def test_slip_of_the_unit_is_asked_about_and_answered(bench, inspection):
    address = at(inspection, "axle-1")
    asked = bench.post(address, {"typed-back_to_back": ".566"}).content.decode()
    assert "Did you mean <b>0.566 in</b>?" in asked
    bench.post(address, {"typed-back_to_back": ".566", "use-back_to_back": "0.566 in"})
    assert Reading.objects.get().value == Decimal("14.3764")


def test_implausible_value_can_be_kept_on_purpose(bench, inspection):
    bench.post(at(inspection, "axle-1"), {"typed-back_to_back": "17", "keep-back_to_back": "1"})
    assert Reading.objects.get().value == Decimal(17)


def test_emptied_box_takes_its_reading_back(bench, inspection):
    address = at(inspection, "axle-1")
    bench.post(address, {"typed-back_to_back": "14.47"})
    seen = Reading.objects.get().pk
    bench.post(address, {"typed-back_to_back": "", "seen-back_to_back": seen})
    assert Reading.objects.get().is_current is False


def test_reading_of_a_second_phone_is_not_overwritten(bench, inspection, owner):
    measure(inspection.vehicle, make_person("other"), {("back_to_back", "1"): "14.40"})
    answer = bench.post(
        at(inspection, "axle-1"), {"typed-back_to_back": "14.47", "seen-back_to_back": ""}
    )
    assert answer.status_code == 422
    assert "other has entered 14.40 here" in answer.content.decode()
    assert Reading.objects.get().typed == "14.40"


def test_reading_of_a_second_phone_is_replaced_when_saved_again(bench, inspection):
    """The answer beside the box brings along what stands now, so that the second try goes."""
    measure(inspection.vehicle, make_person("other"), {("back_to_back", "1"): "14.40"})
    address = reverse("bench:reading", args=[inspection.pk, "axle-1", "back_to_back"])
    page, htmx = as_shown(), {"HX-Request": "true"}
    page["typed-back_to_back"] = "14.47"
    said = bench.post(address, page, headers=htmx).content.decode()
    assert "save again to replace it" in said
    for name in ("seen", "was", "waswith"):
        found = re.search(rf'name="{name}-back_to_back" value="([^"]*)"', said)
        page[f"{name}-back_to_back"] = found[1]
    assert "within" in bench.post(address, page, headers=htmx).content.decode()
    assert [(each.typed, each.is_current) for each in Reading.objects.order_by("pk")] == [
        ("14.40", False),
        ("14.47", True),
    ]


def as_shown(typed="", seen="", instrument=None, quantity="back_to_back") -> dict[str, object]:
    """One box as a page showed it: what was in it, what stood, and what it was measured with."""
    chosen = "" if instrument is None else instrument.pk
    return {
        f"typed-{quantity}": typed,
        f"was-{quantity}": typed,
        f"seen-{quantity}": seen,
        f"with-{quantity}": chosen,
        f"waswith-{quantity}": chosen,
    }


def test_box_left_empty_does_not_take_back_what_a_second_phone_entered(bench, inspection):
    measure(inspection.vehicle, make_person("other"), {("back_to_back", "1"): "14.40"})
    # Even when an answer meant for another box has told this page of the newer reading.
    page = {**as_shown(seen=Reading.objects.get().pk), "typed-flange_depth": "0.6"}
    assert bench.post(at(inspection, "axle-1"), page).status_code == 302
    assert Reading.objects.get(quantity="back_to_back").is_current


def test_old_page_sent_again_takes_nothing_back(bench, inspection):
    address = at(inspection, "axle-1")
    bench.post(address, {**as_shown(), "typed-back_to_back": "14.47"})
    for _ in range(2):  # the browser's Back button, then Next, then Next again
        assert bench.post(address, {**as_shown(), "go": "next"}).status_code == 302
    assert Reading.objects.get().is_current


def test_old_text_left_alone_does_not_put_back_what_was_replaced(bench, inspection, owner):
    measure(inspection.vehicle, owner, {("back_to_back", "1"): "14.20"})
    first = Reading.objects.get()
    entry = Entry("back_to_back", "1", first.instrument, typed="14.40", seen=first.pk)
    record(inspection=inspection, entries=[entry], by=make_person("other"))
    page = as_shown("14.20", seen=first.pk, instrument=first.instrument)
    bench.post(at(inspection, "axle-1"), {**page, "go": "next"})
    assert Reading.objects.get(is_current=True).typed == "14.40"


def test_answer_for_one_box_leaves_the_state_of_the_others_alone(bench, inspection, owner):
    measure(inspection.vehicle, owner, {("back_to_back", "1"): "14.40"})
    address = reverse("bench:reading", args=[inspection.pk, "axle-1", "flange_depth"])
    said = bench.post(address, {"typed-flange_depth": "0.6"}).content.decode()
    assert 'name="seen-flange_depth"' in said
    assert 'name="seen-back_to_back"' not in said


def test_reading_with_a_retired_instrument_is_left_as_it_was_taken(bench, inspection, owner):
    measure(inspection.vehicle, owner, {("back_to_back", "1"): "14.47"})
    Instrument.objects.filter(name="Digital caliper").update(is_retired=True)
    retired = Instrument.objects.get(name="Digital caliper")
    page = bench.get(at(inspection, "axle-1")).content.decode()
    assert f'<option value="{retired.pk}" selected>Digital caliper</option>' in page
    shown = as_shown("14.47", seen=Reading.objects.get().pk, instrument=retired)
    bench.post(at(inspection, "axle-1"), {**shown, "go": "next"})
    assert Reading.objects.get().instrument == retired


def test_instrument_that_is_not_on_offer_is_refused_and_nothing_is_kept(bench, inspection):
    scale = Instrument.objects.get(name="Scale, 1 g")
    answer = bench.post(
        at(inspection, "axle-1"), {"typed-back_to_back": "14.47", "with-back_to_back": scale.pk}
    )
    assert "no longer in use for this; pick another" in answer.content.decode()
    assert not Reading.objects.exists()


@pytest.mark.parametrize("seen", ["²", "١", "-1", "9" * 30, "x"])
def test_tampered_state_is_no_error(bench, inspection, seen):
    page = {"typed-back_to_back": "14.47", "seen-back_to_back": seen}
    assert bench.post(at(inspection, "axle-1"), page).status_code in (302, 422)


def test_gauge_answer_can_be_taken_back(bench, inspection):
    address = at(inspection, "axle-1")
    bench.post(address, {"gauge": "back_to_back:go"})
    seen = {"seen-back_to_back": Reading.objects.get().pk}
    bench.post(address, {"gauge": "back_to_back:not tried", **seen})
    assert not Reading.objects.filter(is_current=True).exists()


def test_gauge_answers_only_for_what_it_can(bench, inspection):
    answer = bench.post(at(inspection, "whole"), {"gauge": "mass:go"})
    assert "cannot answer for mass" in answer.content.decode()
    assert not Reading.objects.exists()


def test_signed_out_phone_is_sent_to_sign_in_and_back_to_its_page(client, inspection, owner):
    client.logout()
    address = reverse("bench:reading", args=[inspection.pk, "axle-1", "back_to_back"])
    answer = client.post(
        address,
        {"typed-back_to_back": "14.47"},
        headers={"HX-Request": "true", "HX-Current-URL": "http://testserver/bench/1/axle-1/"},
    )
    assert answer.status_code == 204
    assert answer["HX-Redirect"] == "/sign-in/?next=/bench/1/axle-1/"
    assert client.post(address).url == "/sign-in/?next=/"


def test_reading_with_another_instrument_is_a_new_reading(bench, inspection):
    vernier = Instrument.objects.get(name="Vernier caliper")
    bench.post(
        at(inspection, "axle-1"),
        {"typed-back_to_back": "14.40", "with-back_to_back": vernier.pk},
    )
    assert Reading.objects.get().instrument == vernier
    # And it is offered first from now on.
    page = bench.get(at(inspection, "axle-2")).content.decode()
    assert f'<option value="{vernier.pk}" selected>' in page


def test_instrument_changed_by_someone_with_other_units_keeps_the_value(bench, inspection, owner):
    inch_person = make_person("inch", unit="in")
    measure(inspection.vehicle, inch_person, {("back_to_back", "1"): ".570"})
    vernier = Instrument.objects.get(name="Vernier caliper")
    bench.post(
        at(inspection, "axle-1"),
        {
            "typed-back_to_back": ".570",
            "with-back_to_back": vernier.pk,
            "seen-back_to_back": Reading.objects.get().pk,
        },
    )
    current = Reading.objects.get(is_current=True)
    assert (current.instrument, current.value) == (vernier, Decimal("14.478"))


def test_instrument_that_cannot_decide_is_named(bench, inspection):
    rule = Instrument.objects.get(name="Steel rule")
    bench.post(
        at(inspection, "axle-1"), {"typed-back_to_back": "14.5", "with-back_to_back": rule.pk}
    )
    page = bench.get(at(inspection, "axle-1")).content.decode()
    assert "undecided" in page
    assert "This instrument cannot decide this dimension" in page


def test_htmx_answer_says_the_verdict_and_leaves_the_boxes_alone(bench, inspection):
    address = reverse("bench:reading", args=[inspection.pk, "axle-1", "back_to_back"])
    said = bench.post(
        address, {"typed-back_to_back": "14.22"}, headers={"HX-Request": "true"}
    ).content.decode()
    assert 'name="seen-back_to_back"' in said
    assert "outside" in said
    assert 'class="typed"' not in said
    assert 'id="progress" hx-swap-oob="true"' in said


def test_htmx_flange_reading_also_brings_the_new_verdict_on_the_back_to_back(bench, inspection):
    def post(quantity, typed):
        address = reverse("bench:reading", args=[inspection.pk, "axle-1", quantity])
        return bench.post(address, {f"typed-{quantity}": typed}).content.decode()

    assert "14.376 to 14.605 mm" in post("back_to_back", "14.5")
    said = post("flange_thickness", "0.9")
    # K max .605 in = 15.367 mm less the measured 0.9 mm.
    assert "14.376 to 14.467 mm" in said
    assert "Check gauge of the wheelset" in said


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        # RP-25: code 110 is .110 wide with a flange .030 thick and .025 deep; code 88 is .088,
        # .025 and .023.
        ({"tyre_width": ".110 in", "flange_thickness": ".030 in"}, "is like RP-25 code 110"),
        ({"tyre_width": ".088 in", "flange_depth": ".023 in"}, "<b>code 110 is declared</b>"),
        ({"tyre_width": ".098 in", "flange_thickness": ".030 in"}, "no contour of RP-25"),
    ],
)
def test_bench_tells_which_contour_a_wheel_is(bench, inspection, readings, words):
    typed = {f"typed-{quantity}": text for quantity, text in readings.items()}
    bench.post(at(inspection, "axle-1"), typed)
    assert words in bench.get(at(inspection, "axle-1")).content.decode()


@pytest.mark.parametrize("slug", ["axle-9", "end-C", "roof"])
def test_place_that_the_vehicle_has_not_is_not_found(bench, inspection, slug):
    assert bench.get(at(inspection, slug)).status_code == 404


def test_quantity_of_another_place_is_not_found(bench, inspection):
    address = reverse("bench:reading", args=[inspection.pk, "axle-1", "mass"])
    assert bench.post(address, {"typed-mass": "100"}).status_code == 404


@pytest.mark.parametrize("n_axles", [1, 3])
def test_step_takes_the_same_queries_however_many_axles(
    bench, owner, n_axles, django_assert_num_queries
):
    vehicle = make_vehicle(owner, axles=3)
    inspection = measure(
        vehicle, owner, {("back_to_back", str(n)): "14.47" for n in range(1, n_axles + 1)}
    )
    with django_assert_num_queries(9):
        bench.get(at(inspection, "axle-1"))


# --- By gauge ---------------------------------------------------------------------------------


def test_gauge_alone_leads_from_log_to_outcome(bench):
    bench.post(reverse("bench:log"), {**NEW, "go": "gauge"})
    inspection = Inspection.objects.get()
    address = at(inspection, "axle-1")
    page = bench.get(address).content.decode()
    assert "No go: too small" in page
    assert 'class="typed"' not in page
    answer = bench.post(address, {"gauge": "back_to_back:go"})
    assert answer.url == f"{address}?at=flange_depth"
    for quantity in ("flange_depth", "tyre_width"):
        answer = bench.post(address, {"gauge": f"{quantity}:go"})
    # The last answer is seen before the next place, and nothing is answered by Enter alone.
    assert answer.url == address
    page = bench.get(address).content.decode()
    assert "autofocus" not in page
    assert bench.post(address, {"go": "next"}).url == at(inspection, "axle-2")
    bench.post(at(inspection, "axle-2"), {"gauge": "back_to_back:too small"})
    finish = reverse("bench:finish", args=[inspection.pk])
    page = bench.get(finish).content.decode()
    assert "bad order" in page
    assert "Spread the wheels on axle 2<" in page
    bench.post(finish, {"service": "bad order"})
    assert Vehicle.objects.get().service == "bad order"


def test_gauge_answer_can_be_changed(bench, inspection):
    address = at(inspection, "axle-1")
    bench.post(address, {"gauge": "back_to_back:too small"})
    bench.post(
        address, {"gauge": "back_to_back:go", "seen-back_to_back": Reading.objects.get().pk}
    )
    assert Reading.objects.get(is_current=True).gauge == "go"


@pytest.mark.parametrize("answer", ["back_to_back:perhaps", "back_to_back", ":go", "mass:go"])
def test_gauge_answer_that_is_none_writes_nothing(bench, inspection, answer):
    bench.post(at(inspection, "axle-1"), {"gauge": answer})
    assert not Reading.objects.exists()


# --- Finishing --------------------------------------------------------------------------------


def test_unfinished_inspection_waits_at_the_bench_and_is_taken_up(bench, inspection):
    resume = reverse("bench:resume", args=[inspection.pk])
    bench.post(at(inspection, "axle-1"), {"typed-back_to_back": "14.47"})
    assert "Take up" in bench.get(reverse("bench:start")).content.decode()
    # Half an axle is no axle: S-4.2 limits flange and tyre too.
    assert bench.get(resume).url == at(inspection, "axle-1")
    rest = {"flange_thickness": "0.76", "flange_depth": "0.6", "tyre_width": "2.85"}
    bench.post(at(inspection, "axle-1"), {f"typed-{code}": text for code, text in rest.items()})
    assert bench.get(resume).url == at(inspection, "axle-2")


def test_inspection_after_repair_begins_where_it_was_outside(bench, inspection, owner):
    measure(inspection.vehicle, owner, {("back_to_back", "2"): "14.20"})
    bench.post(reverse("bench:finish", args=[inspection.pk]), {"service": "bad order"})
    bench.post(reverse("bench:begin", args=[inspection.vehicle_id]), {"reason": "after repair"})
    again = Inspection.objects.get(finished_at=None)
    assert bench.get(reverse("bench:resume", args=[again.pk])).url == at(again, "axle-2")


def test_finish_names_what_was_not_measured(bench, inspection):
    page = bench.get(reverse("bench:finish", args=[inspection.pk])).content.decode()
    assert "Back-to-back, axle 1; Back-to-back, axle 2" in page


def test_milder_outcome_than_the_readings_say_needs_a_reason(bench, inspection, owner):
    measure(inspection.vehicle, owner, {("back_to_back", "1"): "14.20"})
    finish = reverse("bench:finish", args=[inspection.pk])
    answer = bench.post(finish, {"service": "fit to run"})
    assert answer.status_code == 422
    assert "The readings say bad order" in answer.content.decode()
    assert Vehicle.objects.get().service == "awaiting inspection"
    bench.post(finish, {"service": "fit with advice", "statement": "display only"})
    finished = Inspection.objects.get()
    assert (finished.proposed, finished.service) == ("bad order", "fit with advice")
    assert finished.statement == "display only"


def test_stricter_outcome_needs_no_reason(bench, inspection, owner):
    both = {("back_to_back", "1"): "14.47", ("back_to_back", "2"): "14.47"}
    measure(inspection.vehicle, owner, both)
    bench.post(reverse("bench:finish", args=[inspection.pk]), {"service": "bad order"})
    assert Vehicle.objects.get().service == "bad order"


def test_finished_inspection_sends_to_the_vehicle(bench, inspection):
    bench.post(reverse("bench:finish", args=[inspection.pk]), {"service": "bad order"})
    for address in (at(inspection, "axle-1"), reverse("bench:finish", args=[inspection.pk])):
        assert bench.get(address).url == inspection.vehicle.get_absolute_url()


def test_vehicle_is_inspected_again_for_a_reason(bench, owner):
    vehicle = make_vehicle(owner)
    bench.post(reverse("bench:begin", args=[vehicle.pk]), {"reason": "after repair"})
    assert Inspection.objects.get().reason == "after repair"
    bench.post(reverse("bench:begin", args=[vehicle.pk]), {"reason": "boredom"})
    assert Inspection.objects.count() == 1


def test_nothing_is_written_by_looking(bench, inspection):
    for name, args in [
        ("bench:start", []),
        ("bench:log", []),
        ("bench:measure", [inspection.pk, "axle-1"]),
        ("bench:finish", [inspection.pk]),
    ]:
        bench.get(reverse(name, args=args))
    assert bench.get(reverse("bench:begin", args=[inspection.vehicle_id])).status_code == 405
    assert not Reading.objects.exists()
    assert Inspection.objects.get().finished_at is None
