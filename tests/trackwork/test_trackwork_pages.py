"""Trackwork measured at the bench, and the pages that show how the stock gets on with it."""

from __future__ import annotations

import re
from decimal import Decimal
from html import unescape

import pytest
from django.core.management import call_command
from django.urls import reverse

from inventory.people.models import Person
from inventory.stock.models import HouseLimit, Vehicle
from inventory.stock.recording import set_house_limit
from inventory.stock.taking import Closed, Entry, ReadingOvertaken
from inventory.track.models import Place, Railway, Turnout
from inventory.trackwork import recording, views
from inventory.trackwork.models import TrackInspection, TrackReading, TrackVerdict, Trackwork
from tests.factories import exact_instrument, make_person, make_vehicle, measure

#: Lawful by S-3.2 for HO, and agreeing with itself: C = G - 1.16, S = C - 1.19.
SOUND = {
    "track_gauge": "16.60",
    "check_gauge": "15.44",
    "span": "14.25",
    "flangeway": "1.19",
    "flangeway_guard": "1.16",
    "flangeway_depth": "0.90",
}
#: RP-25 code 110, inside S-4.2.
WHEELS = {
    "back_to_back": "14.48",
    "flange_thickness": "0.77",
    "flange_depth": "0.63",
    "tyre_width": "2.79",
}


def words_of(answer) -> str:
    """What a page says, without its markup."""
    main = answer.content.decode().partition("<main")[2]
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", main)).split())


@pytest.fixture
def place(db) -> Place:
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    return Place.objects.create(railway=railway, name="Tarn", position=1)


@pytest.fixture
def turnout(place) -> Turnout:
    return Turnout.objects.create(place=place, name="East turnout", frog_number=Decimal(6))


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def says(signed_in):
    """The words of a page."""

    def get(name: str, *args, **query) -> str:
        answer = signed_in.get(reverse(name, args=args), query)
        assert answer.status_code == 200
        return words_of(answer)

    return get


def survey(piece: Trackwork, by: Person, legs: dict[str, dict[str, str]], **facts):
    inspection = recording.open_inspection(trackwork=piece, reason="routine", by=by, **facts)
    recording.record(
        inspection=inspection,
        entries=[
            Entry(code, at, exact_instrument(), typed=typed)
            for at, sizes in legs.items()
            for code, typed in sizes.items()
        ],
        by=by,
    )
    return inspection


def measured_turnout(turnout: Turnout, by: Person, **changes: str) -> Trackwork:
    piece = recording.trackwork_of(turnout=turnout)
    sizes = {**SOUND, **changes}
    survey(
        piece,
        by,
        {
            "points": {"track_gauge": "16.60", "point_spread": "14.80"},
            "straight leg": sizes,
            "diverging leg": SOUND,
        },
    )
    return piece


def full_car(by: Person, **facts) -> Vehicle:
    car = make_vehicle(by, axles=2, **facts)
    measure(
        car,
        by,
        {(code, axle): typed for code, typed in WHEELS.items() for axle in "12"},
        exact_instrument(),
    )
    return car


# --- Measuring --------------------------------------------------------------------------------


def test_turnout_when_measured_all_over_then_is_in_order(says, owner, turnout):
    piece = measured_turnout(turnout, owner)
    assert "East turnout turnout, Tarn in order" in says("trackwork:piece", piece.pk)
    assert "East turnout turnout in order" in says("trackwork:overview", turnout.place.railway_id)


def test_turnout_when_only_one_reading_was_taken_then_is_not_in_order(says, owner, turnout):
    piece = recording.trackwork_of(turnout=turnout)
    survey(piece, owner, {"points": {"track_gauge": "16.60"}})
    words = says("trackwork:piece", piece.pk)
    assert "measured in part" in words
    assert "in order" not in words
    assert "Check gauge, straight leg" in words


@pytest.mark.parametrize(
    ("code", "typed", "advice"),
    [
        # S-3.2, HO, inches: G .649 to .672, C .605 least, S .564 greatest, H .028 least.
        ("track_gauge", "16.40", "Ease the gauge at the straight leg out"),
        ("check_gauge", "15.30", "Narrow the guard flangeway of the straight leg"),
        ("span", "14.40", "Bring guard rail and wing rail of the straight leg"),
        ("flangeway_depth", "0.60", "Deepen the flangeway of the straight leg"),
    ],
)
def test_turnout_when_one_dimension_is_out_then_is_to_mend(
    says, owner, turnout, code, typed, advice
):
    piece = measured_turnout(turnout, owner, **{code: typed})
    words = says("trackwork:piece", piece.pk)
    assert "to mend" in words
    assert advice in words


def test_readings_when_they_contradict_then_it_is_said_wherever_they_count(says, owner, turnout):
    # C 15.44 less F 1.19 is 14.25, not 14.60.
    piece = measured_turnout(turnout, owner, span="14.60")
    car = full_car(owner)
    for words in (
        says("trackwork:piece", piece.pk),
        says("trackwork:meeting", piece.pk, car.pk),
        says("bench:finish-track", piece.inspections.get().pk),
    ):
        assert "14.250 mm" in words or "14.25" in words
        assert "0.350 mm apart" in words or "0.35" in words


def test_bench_when_a_box_is_posted_by_itself_then_answers_beside_it(signed_in, owner, turnout):
    signed_in.post(reverse("bench:begin-turnout", args=[turnout.pk]), {"reason": "new"})
    inspection = TrackInspection.objects.get()
    assert inspection.get_reason_display() == "newly laid"
    address = reverse("bench:reading-track", args=[inspection.pk, "straight-leg", "track_gauge"])
    answer = signed_in.post(
        address, {"typed-track_gauge": "16,60"}, headers={"HX-Request": "true"}
    )
    assert "within" in answer.content.decode()
    assert TrackReading.objects.get().typed == "16,60"
    asked = signed_in.post(
        address.replace("track_gauge", "flangeway"),
        {"typed-flangeway": "0.047"},
        headers={"HX-Request": "true"},
    )
    assert "Did you mean <b>0.047 in</b>" in asked.content.decode()
    assert TrackReading.objects.count() == 1
    wrong = signed_in.post(address.replace("track_gauge", "mass"), {"typed-mass": "3"})
    assert wrong.status_code == 404


def test_bench_when_a_whole_place_is_posted_then_goes_on_and_finishes(signed_in, owner, turnout):
    signed_in.post(reverse("bench:begin-turnout", args=[turnout.pk]), {"reason": "routine"})
    inspection = TrackInspection.objects.get()
    resume = signed_in.get(reverse("bench:resume-track", args=[inspection.pk]))
    assert resume.url.endswith("/points/")
    posted = {f"typed-{code}": typed for code, typed in SOUND.items()}
    page = reverse("bench:measure-track", args=[inspection.pk, "straight-leg"])
    answer = signed_in.post(page, {**posted, "go": "next"})
    assert answer.url.endswith("/diverging-leg/")
    assert TrackReading.objects.count() == len(SOUND)
    finish = reverse("bench:finish-track", args=[inspection.pk])
    assert "Not measured, and not a pass: Track gauge, points" in words_of(signed_in.get(finish))
    assert "Creamery" not in words_of(signed_in.get(finish))
    signed_in.post(finish, {"statement": "Stiff throw bar."})
    assert not TrackInspection.objects.get().is_open
    assert signed_in.get(page).url == reverse("trackwork:piece", args=[inspection.trackwork_id])


def test_inspection_when_nothing_was_read_then_leaves_no_trace(signed_in, turnout):
    signed_in.post(reverse("bench:begin-turnout", args=[turnout.pk]), {"reason": "routine"})
    finish = reverse("bench:finish-track", args=[TrackInspection.objects.get().pk])
    signed_in.post(finish, {"statement": ""})
    assert not TrackInspection.objects.exists()


def test_inspection_when_unfinished_then_waits_on_the_bench(says, owner, turnout):
    survey(recording.trackwork_of(turnout=turnout), owner, {"points": {"track_gauge": "16.60"}})
    assert "East turnout, Tarn turnout; routine" in says("bench:start")


def test_gauge_when_it_says_no_then_the_turnout_is_to_mend(signed_in, owner, turnout):
    signed_in.post(
        reverse("bench:begin-turnout", args=[turnout.pk]),
        {"reason": "routine", "uses_gauge": "on"},
    )
    inspection = TrackInspection.objects.get()
    page = reverse("bench:measure-track", args=[inspection.pk, "straight-leg"])
    assert "Flangeway at the guard rail" not in words_of(signed_in.get(page))
    signed_in.post(page, {"gauge": "check_gauge:too small"})
    verdict = TrackVerdict.objects.get(is_current=True)
    assert (verdict.quantity, verdict.outcome) == ("check_gauge", "outside")
    again = signed_in.post(
        reverse("bench:begin-turnout", args=[turnout.pk]), {"reason": "routine"}, follow=True
    )
    assert "by go/no-go gauge is open already" in again.content.decode()


def test_record_when_the_place_or_instrument_is_wrong_then_nothing_is_kept(owner, turnout):
    piece = recording.trackwork_of(turnout=turnout)
    inspection = recording.open_inspection(trackwork=piece, reason="routine", by=owner)
    for code, at in (("track_gauge", "spot 1"), ("chord", ""), ("mass", ""), ("span", "points")):
        with pytest.raises(ValueError, match="to measure at"):
            recording.record(
                inspection=inspection,
                entries=[
                    Entry("track_gauge", "points", exact_instrument(), typed="16.6"),
                    Entry(code, at, exact_instrument(), typed="16.6"),
                ],
                by=owner,
            )
    assert not TrackReading.objects.exists()


def test_record_when_somebody_else_was_there_first_then_nothing_is_overwritten(owner, turnout):
    piece = recording.trackwork_of(turnout=turnout)
    inspection = survey(piece, owner, {"points": {"track_gauge": "16.60"}})
    other = make_person("other")
    late = Entry("track_gauge", "points", exact_instrument(), typed="16.70")
    with pytest.raises(ReadingOvertaken):
        recording.record(inspection=inspection, entries=[late], by=other)
    assert TrackReading.objects.get(is_current=True).typed == "16.60"
    recording.finish_inspection(inspection=inspection, statement="", by=owner)
    with pytest.raises(Closed):
        recording.record(inspection=inspection, entries=[late], by=other)


def test_reading_when_taken_back_then_its_verdict_goes_with_it(owner, turnout):
    piece = recording.trackwork_of(turnout=turnout)
    inspection = survey(piece, owner, {"points": {"track_gauge": "16.60"}})
    seen = TrackReading.objects.get().pk
    recording.withdraw_reading(
        inspection=inspection, quantity="track_gauge", at="points", seen=seen
    )
    assert not TrackVerdict.objects.filter(is_current=True).exists()
    assert TrackReading.objects.count() == 1


def test_house_limit_when_set_for_track_then_its_verdicts_follow(owner, turnout, capsys):
    piece = measured_turnout(turnout, owner)
    limit = HouseLimit(
        quantity="track_gauge", family="nmra", scale="HO", high=Decimal("16.55"), reason="Narrow"
    )
    changes = set_house_limit(limit=limit, by=owner)
    assert {each.label for each in changes} == {
        "Track gauge, points",
        "Track gauge, straight leg",
        "Track gauge, diverging leg",
    }
    outside = TrackVerdict.objects.filter(is_current=True, outcome="outside")
    assert outside.count() == 3
    assert piece.pk
    call_command("rejudge", "--check")
    assert "1 piece of trackwork judged again; 0 verdicts would change" in capsys.readouterr().out
    HouseLimit.objects.update(high=Decimal("17.00"))
    with pytest.raises(SystemExit):
        call_command("rejudge", "--check")
    assert outside.count() == 3
    call_command("rejudge")
    assert outside.count() == 0


def test_curve_when_chord_and_rise_are_measured_then_its_radius_is_to_the_middle(
    says, owner, place
):
    piece = Trackwork.objects.create(place=place, kind="curve", name="Mill curve")
    survey(
        piece,
        owner,
        {
            "spot 1": {"track_gauge": "16.60"},
            "": {"chord": "300", "mid_ordinate": "24.6"},
        },
    )
    # 300^2 / (8 x 24.6) + 24.6 / 2 = 469.617; less half of 16.60.
    assert "461.3" in says("trackwork:piece", piece.pk)
    inspection = piece.inspections.get()
    assert "Radius to the middle of the track" in says(
        "bench:measure-track", inspection.pk, "curve"
    )


# --- How the stock gets on with it ------------------------------------------------------------


def test_meeting_when_all_is_measured_then_every_margin_is_the_sum_by_hand(says, owner, turnout):
    piece = measured_turnout(turnout, owner)
    words = says("trackwork:meeting", piece.pk, full_car(owner).pk)
    for relation, margin in [
        ("Play", "0.580"),  # 16.60 - 14.48 - 2 x 0.77
        ("Frog-point protection", "0.190"),  # 15.44 - 14.48 - 0.77
        ("Span", "0.230"),  # 14.48 - 14.25
        ("Flangeway depth", "0.270"),  # 0.90 - 0.63
        ("No drop-in", "1.440"),  # 14.48 + 2.79 + 0.77 - 16.60
    ]:
        assert f"{relation} axle 1, straight leg {margin} mm" in words
    assert "All that could be reckoned is within." in words
    assert "Fastenings , straight leg, axles 1, 2: Not measured: height of the rail" in words


def test_meeting_when_a_wheel_was_not_measured_then_its_declared_code_is_said(
    says, owner, turnout
):
    piece = measured_turnout(turnout, owner)
    car = make_vehicle(owner, axles=1, profile_code=110)
    measure(car, owner, {("back_to_back", "1"): "14.48"}, exact_instrument())
    words = says("trackwork:meeting", piece.pk, car.pk)
    # RP-25: the flange of code 110 is .030 in, .762 mm; 15.44 - 14.48 - .762 = .198.
    assert "Frog-point protection axle 1, straight leg 0.198 mm" in words
    assert "Not measured: flange thickness, taken as RP-25 code 110" in words
    assert "BRV 88 *" in says("trackwork:overview", piece.place.railway_id)
    bare = make_vehicle(owner, axles=1, profile_code=None, number="89")
    measure(bare, owner, {("back_to_back", "1"): "14.48"}, exact_instrument())
    words = says("trackwork:meeting", piece.pk, bare.pk)
    assert "Frog-point protection , straight leg, axle 1: Not measured: flange thickness" in words


def test_meeting_when_the_gauge_is_another_then_says_so(says, owner, turnout):
    piece = measured_turnout(turnout, owner)
    narrow = make_vehicle(owner, family="nmra", scale="N", number="9")
    assert "It cannot come there: its gauge is" in says("trackwork:meeting", piece.pk, narrow.pk)


@pytest.mark.parametrize("n", [1, 3])
def test_overview_takes_the_same_queries_however_many_there_are(
    signed_in, owner, place, n, django_assert_num_queries
):
    for number in range(n):
        frog = Turnout.objects.create(place=place, name=f"No {number}", frog_number=Decimal(6))
        measured_turnout(frog, owner)
        full_car(owner, number=str(number))
    with django_assert_num_queries(11):
        signed_in.get(reverse("trackwork:overview", args=[place.railway_id]))


def test_overview_when_another_gauge_is_in_the_fleet_then_leaves_it_out(says, owner, turnout):
    measured_turnout(turnout, owner)
    full_car(owner)
    make_vehicle(owner, family="nmra", scale="N", number="9", reporting_mark="NAR")
    words = says("trackwork:overview", turnout.place.railway_id)
    assert "BRV 88" in words
    assert "NAR 9" not in words


def test_turnout_when_nothing_was_read_then_is_no_column(says, owner, turnout):
    recording.trackwork_of(turnout=turnout)
    full_car(owner)
    assert "Where vehicles will have trouble" not in says(
        "trackwork:overview", turnout.place.railway_id
    )


def test_vehicle_page_when_a_frog_is_bad_then_names_it_first(says, owner, place, turnout):
    measured_turnout(turnout, owner, check_gauge="15.00", span="13.81")
    other = Turnout.objects.create(place=place, name="A turnout", frog_number=Decimal(6))
    measured_turnout(other, owner)
    words = says("trackwork:for-vehicle", full_car(owner).pk)
    assert words.index("East turnout, Tarn") < words.index("A turnout, Tarn")
    assert "frog-point protection, -0.25 mm" in words  # 15.00 - 14.48 - 0.77


def test_vehicle_page_when_there_are_many_railways_then_some_stand_on_each_page(
    monkeypatch, signed_in, owner, turnout
):
    measured_turnout(turnout, owner)
    other = Railway.objects.create(name="Zinc line", family="nmra", scale="HO")
    there = Place.objects.create(railway=other, name="Ore", position=1)
    measured_turnout(Turnout.objects.create(place=there, name="Far turnout"), owner)
    monkeypatch.setattr(views, "RAILWAYS_A_PAGE", 1)
    address = reverse("trackwork:for-vehicle", args=[full_car(owner).pk])

    first, second = (words_of(signed_in.get(address, {"page": n})) for n in (1, 2))

    assert "East turnout, Tarn" in first
    assert "Far turnout, Ore" not in first
    assert "Other railways" in first
    assert "Far turnout, Ore" in second
    assert "East turnout, Tarn" not in second


# --- On curves --------------------------------------------------------------------------------


def sized_car(by: Person, number: str = "1", **changes: str | None) -> Vehicle:
    """The 40 ft car of the worked example in HO: throws of 3.1257 and 2.2382 on 457.2 mm."""
    car = make_vehicle(by, axles=4, number=number)
    sizes = {
        "body_length": "140",
        "body_width": "37",
        "pivot_distance": "105",
        "bogie_wheelbase": "19.2",
        "length_over_couplers": "155",
        **changes,
    }
    readings = {(code, ""): typed for code, typed in sizes.items() if typed is not None}
    measure(car, by, readings, exact_instrument())
    return car


def test_curve_page_when_all_is_measured_then_its_throws_are_those_worked_by_hand(says, owner):
    words = says("trackwork:curve", sized_car(owner).pk, radius="457.2")
    # Computed independently: 3.1257, 2.2382, face at R - 21.6257, corner at R + 20.5305.
    for figure in ("3.1 mm 0.123 in", "2.2 mm 0.088 in", "21.6 mm 0.851 in", "20.5 mm 0.808 in"):
        assert figure in words


def test_curve_page_when_a_size_is_missing_then_names_it_and_guesses_nothing(says, owner):
    car = sized_car(owner, pivot_distance=None, bogie_wheelbase=None)
    words = says("trackwork:curve", car.pk, radius="457.2")
    assert "not measured, and not guessed" in words
    assert "distance between bogie pivots" in words
    assert "Inner throw" not in words


def test_curve_page_when_a_neighbour_is_alike_then_couplers_meet_on_the_curve(says, owner):
    one, other = sized_car(owner), sized_car(owner, "2")
    words = says(
        "trackwork:curve", one.pk, radius="457.2", neighbour=other.pk, coupler="9", centres="50"
    )
    assert "Couplers apart on the curve, if they stood straight 0.0 mm" in words
    assert "Passing BRV 2 on the next track" in words
    assert "Gap on straight track 13.0 mm" in words  # 50 - 37
    assert "How long a coupler is was not told" in says(
        "trackwork:curve", one.pk, radius="457.2", neighbour=other.pk
    )


def test_curve_page_when_the_radius_is_below_half_the_car_then_says_it_cannot_go(says, owner):
    words = says("trackwork:curve", sized_car(owner).pk, radius="40")
    assert "does not go round a radius of 40" in words


@pytest.mark.parametrize("name", ["radius", "coupler", "straight", "centres", "head_width"])
@pytest.mark.parametrize("typed", ["-3", "abc", "<b>", "1 2 3 4", "9" * 400, "0.0.1", "\x00"])
def test_curve_page_when_a_length_is_nonsense_then_is_told_at_its_field(
    signed_in, owner, name, typed
):
    address = reverse("trackwork:curve", args=[sized_car(owner).pk])
    answer = signed_in.get(address, {"radius": "457", name: typed, "neighbour": "x"})
    assert answer.status_code == 422
    assert "problem" in answer.content.decode()


def test_pairs_page_when_heights_differ_by_more_than_the_house_allows_then_says_so(
    signed_in, says, owner
):
    HouseLimit.objects.create(
        quantity="coupler_height",
        family="nmra",
        scale="HO",
        is_about_sheet=True,
        low=Decimal("0.25"),
        high=Decimal("0.25"),
        reason="They part",
    )
    railway = Railway.objects.create(name="Alder Branch", family="nmra", scale="HO")
    cars = [sized_car(owner), sized_car(owner, "2")]
    for car, height in zip(cars, ("9.70", "10.30"), strict=True):
        measure(car, owner, {("coupler_height", "A"): height}, exact_instrument())
    words = says("trackwork:pairs", railway.pk, first=cars[0].pk, second=cars[1].pk)
    assert "coupler heights up to 0.60 mm" in words
    assert "0.50 mm 0.0197 in allowed outside" in words
    same = reverse("trackwork:pairs", args=[railway.pk])
    assert "That is the same vehicle" in words_of(
        signed_in.get(same, {"first": cars[0].pk, "second": cars[0].pk})
    )


@pytest.mark.parametrize("n", [1, 3])
def test_pages_take_the_same_queries_however_many_railways_and_places_there_are(
    signed_in, owner, n, django_assert_num_queries
):
    car = sized_car(owner)
    for name in range(n):
        railway = Railway.objects.create(name=f"Line {name}", family="nmra", scale="HO")
        for position in range(n):
            here = Place.objects.create(railway=railway, name=str(position), position=position)
            frog = Turnout.objects.create(place=here, name="Frog", frog_number=Decimal(6))
            measured_turnout(frog, owner)
    with django_assert_num_queries(8):
        signed_in.get(reverse("trackwork:for-vehicle", args=[car.pk]))
    with django_assert_num_queries(6):
        signed_in.get(reverse("trackwork:pairs", args=[railway.pk]))


# --- Declaring and removing -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"name": ""}, "Name is needed"),
        ({"frog_number": "0"}, "is no frog"),
        ({"frog_number": "four"}, "is no frog"),
        ({"kind": "curve", "frog_number": "4"}, "Only a crossing has frogs"),
        ({"rail_code": "9999"}, "400"),
        ({"kind": "turnout"}, "not on the list"),
    ],
)
def test_piece_when_declared_badly_then_is_refused_in_words(signed_in, place, facts, words):
    good = {"name": "Diamond", "kind": "crossing", "frog_number": "4", "rail_code": "83"}
    answer = signed_in.post(reverse("trackwork:new-piece", args=[place.pk]), {**good, **facts})
    assert answer.status_code == 422
    assert words in words_of(answer)
    assert not Trackwork.objects.exists()


def test_piece_when_declared_edited_and_removed_then_goes_with_its_readings(
    signed_in, owner, place
):
    new = reverse("trackwork:new-piece", args=[place.pk])
    signed_in.post(new, {"name": "<b>Diamond</b>", "kind": "crossing", "frog_number": "28.07°"})
    piece = Trackwork.objects.get()
    assert round(piece.frog_number, 2) == Decimal("2.00")
    assert "<b>Diamond</b>" not in signed_in.get(piece.get_absolute_url()).content.decode()
    survey(piece, owner, {"first leg": {"track_gauge": "16.60"}})
    remove = reverse("trackwork:remove", args=[piece.pk])
    assert "1 inspection with every reading" in words_of(signed_in.get(remove))
    signed_in.post(remove)
    assert not Trackwork.objects.exists()
    assert not TrackReading.objects.exists()


def test_railway_when_removed_then_its_trackwork_goes_too(signed_in, owner, turnout):
    measured_turnout(turnout, owner)
    address = reverse("track:remove", args=["railway", turnout.place.railway_id])
    signed_in.post(address)
    assert not Railway.objects.exists()
    assert not TrackVerdict.objects.exists()


def test_visitor_when_writing_then_is_refused_but_may_read(client, owner, turnout):
    piece = measured_turnout(turnout, owner)
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    assert client.get(piece.get_absolute_url()).status_code == 200
    inspection = piece.inspections.get().pk
    for address in (
        reverse("bench:begin-turnout", args=[turnout.pk]),
        reverse("bench:begin-track", args=[piece.pk]),
        reverse("bench:measure-track", args=[inspection, "points"]),
        reverse("trackwork:remove", args=[piece.pk]),
        reverse("trackwork:new-piece", args=[turnout.place_id]),
    ):
        assert client.post(address, {"reason": "new"}).status_code == 403
    assert Trackwork.objects.count() == 1
