"""Entering railways, turnouts and tracks: slips that are asked about, two people at one form."""

import math
from decimal import Decimal

import pytest
from django.urls import reverse

from inventory.track.clearing import Widest, clearing_of
from inventory.track.laying import Overtaken, lay
from inventory.track.models import Industry, Place, Railway, Track, Traffic, Turnout
from inventory.track.standing import put
from standards.units import Sentence
from tests.factories import exact_instrument, make_vehicle, measure
from tests.track.test_track_pages import (
    TRACK,
    TRAFFIC,
    TURNOUT,
    make_car,
    make_place,
    make_railway,
    make_track,
    words_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def place(db) -> Place:
    return make_place(make_railway())


@pytest.fixture
def signed_in(client, owner):
    client.force_login(owner)
    return client


@pytest.fixture
def in_inches(client, owner):
    owner.unit = "in"
    owner.save()
    client.force_login(owner)
    return client


def track_typed(client, place, **facts):
    return client.post(reverse("track:new-track", args=[place.pk]), {**TRACK, **facts})


def turnout_typed(client, place, **facts):
    return client.post(reverse("track:new-turnout", args=[place.pk]), {**TURNOUT, **facts})


# --- The frog ---------------------------------------------------------------------------------


@pytest.mark.parametrize("typed", ["6", "No. 6", "#6", "1:6", "1/6", "1 in 6", "no 6,0"])
def test_frog_when_its_number_is_typed_then_is_kept_beside_what_was_typed(signed_in, place, typed):
    assert turnout_typed(signed_in, place, frog_number=typed).status_code == 302
    made = Turnout.objects.get()
    assert (made.frog_number, made.frog_typed) == (Decimal(6), typed)
    page = signed_in.get(reverse("track:turnout", args=[made.pk])).content.decode()
    assert f'value="{typed}"' in page


@pytest.mark.parametrize("typed", ["9.5°", "9.5 deg", "9 30'", "9°30'", "9,5 degrees"])
def test_frog_when_its_angle_is_typed_then_its_number_is_by_the_centre_line(
    signed_in, place, typed
):
    assert turnout_typed(signed_in, place, frog_number=typed).status_code == 302
    # 1 / (2 tan(9.5 degrees / 2)), the centre-line method, with the maths library.
    expected = 1 / (2 * math.tan(math.radians(9.5) / 2))
    assert float(Turnout.objects.get().frog_number) == pytest.approx(expected, abs=1e-6)


@pytest.mark.parametrize(
    ("answer", "number", "typed"), [("number", 15.0, "15"), ("angle", 3.797877, "15°")]
)
def test_frog_when_a_bare_number_may_be_an_angle_then_it_is_asked(
    signed_in, place, answer, number, typed
):
    asked = turnout_typed(signed_in, place, frog_number="15")
    assert asked.status_code == 422
    assert "Is 15 the number of the frog or its angle?" in words_of(asked)
    reply = {"frog_number": "15", "answer-frog_number-1": f"{answer}|15"}
    assert turnout_typed(signed_in, place, **reply).status_code == 302
    made = Turnout.objects.get()
    # 15 degrees: 1 / (2 tan 7.5 degrees) = 3.797877.
    assert (round(float(made.frog_number), 6), made.frog_typed) == (number, typed)


def test_answer_when_given_for_another_text_then_does_not_count(signed_in, place):
    reply = {"frog_number": "16", "answer-frog_number-1": "number|15"}
    assert turnout_typed(signed_in, place, **reply).status_code == 422


@pytest.mark.parametrize(
    ("answer", "number", "radius"),
    [("frog", "6", None), ("radius", None, "600"), ("both", "6", "600")],
)
def test_turnout_when_number_and_radius_contradict_then_it_asks_which_holds(
    signed_in, place, answer, number, radius
):
    both = {"frog_number": "6", "diverging_radius": "600"}
    asked = turnout_typed(signed_in, place, **both)
    assert asked.status_code == 422
    # sqrt(600 / 33) is 4.26: the circle crosses the straight there.
    assert "has a frog of about No. 4.3, and you typed 6. Which one holds?" in words_of(asked)
    about = "6 600 False"
    reply = {**both, "answer-diverging_radius-1": f"{answer}|{about}"}
    assert turnout_typed(signed_in, place, **reply).status_code == 302
    made = Turnout.objects.get()
    assert made.frog_number == (None if number is None else Decimal(number))
    assert made.diverging_radius == (None if radius is None else Decimal(radius))


def test_turnout_when_number_and_radius_agree_then_nothing_is_asked(signed_in, place):
    # 2 G N^2 = 1188 mm is the radius of a No. 6 that is one curve.
    both = {"frog_number": "6", "diverging_radius": "1188"}
    assert turnout_typed(signed_in, place, **both).status_code == 302


def test_turnout_when_its_frog_cannot_be_read_then_is_told_once(signed_in, place):
    words = words_of(turnout_typed(signed_in, place, frog_number="six"))
    assert "“six” is no frog" in words
    assert "or the radius of a leg that is one curve" not in words


# --- What comes off ---------------------------------------------------------------------------


def cleared(place, owner, *, width="36.5", **facts):
    vehicle = make_vehicle(owner, family="nem", scale="H0", reporting_mark="Gw", number="9")
    measure(vehicle, owner, {("body_width", ""): f"{width} mm"}, exact_instrument())
    chosen = {"name": "1", "frog_number": Decimal(6), **facts}
    turnout = Turnout.objects.create(place=place, **chosen)
    track = make_track(place, a_reference="frog", a_turnout=turnout)
    return clearing_of(track, place.railway, Widest.of(place.railway))


def test_deduction_when_number_and_radius_contradict_then_the_larger_counts(owner, place):
    found = cleared(place, owner, diverging_radius=Decimal(600))
    # C(4N^2+1)/(4N) - GN with N = 6, G = 16.5, C = 39.5 is 139.646; by the curve 78.86.
    assert found.deductions[0].amount_mm == 139.7
    assert "do not agree; the one that takes more off counts" in found.warning


def test_deduction_when_found_then_names_whose_width_and_which_gap(owner, place):
    why = cleared(place, owner).deductions[0].why
    assert "39.5 mm between centres: the widest body, 36.5 mm of Gw 9" in why
    assert "a gap of 3 mm" in why
    assert "End throw" not in why


def test_deduction_when_on_a_curve_without_pivots_then_says_end_throw_is_not_known(owner, place):
    found = cleared(place, owner, frog_number=None, diverging_radius=Decimal(600))
    assert "End throw is not known and not counted" in found.deductions[0].why


def test_deduction_when_shown_with_the_clear_length_then_they_add_up(owner, place):
    found = cleared(place, owner)
    taken = sum(Decimal(str(each.amount_mm)) for each in found.deductions)
    assert found.clear_mm + taken == Decimal(500)


def test_wye_when_symmetric_then_either_leg_loses_as_much(owner, place):
    found = cleared(place, owner, hand="wye")
    # Coordinates: legs at +-theta/2 are 39.5 mm apart at 19.75 / sin(theta/2) from where they
    # cross, and abreast of the frog at (16.5 / 2) / tan(theta/2).
    half = math.atan(1 / 12)
    expected = 19.75 / math.sin(half) - 8.25 / math.tan(half)
    assert found.deductions[0].amount_mm == math.ceil(expected * 10) / 10
    assert found.warning == ""


def test_curved_turnout_when_worked_out_as_straight_then_says_so(owner, place):
    assert "as if its main leg were straight" in cleared(place, owner, hand="curved").warning


def test_why_when_the_reader_has_inches_then_is_in_inches(in_inches, owner, place):
    cleared(place, owner)
    words = words_of(in_inches.get(Track.objects.get().get_absolute_url()))
    # 36.5 / 25.4 and 3 / 25.4.
    assert "the widest body, 1.437 in of Gw 9" in words
    assert "a gap of 0.118 in" in words


def test_sentence_when_made_of_sentences_then_keeps_their_lengths():
    made = Sentence("A ", Sentence(Decimal("25.4"), " wide"), " thing")
    assert (made, made.in_unit("in")) == ("A 25.4 mm wide thing", "A 1 in wide thing")


# --- Slips of the unit ------------------------------------------------------------------------


def test_track_when_500_inches_are_typed_then_500_mm_are_asked_about(in_inches, place):
    asked = track_typed(in_inches, place, measured="500")
    assert asked.status_code == 422
    assert "Did you mean 500 mm" in words_of(asked)
    reply = {"measured": "500", "answer-measured-1": "500 mm|500"}
    assert track_typed(in_inches, place, **reply).status_code == 302
    assert Track.objects.get().measured == Decimal(500)


@pytest.mark.parametrize(("answer", "kept"), [("48 cm", "480"), ("keep", "48")])
def test_track_when_48_mm_are_typed_then_it_is_asked_and_may_be_so(signed_in, place, answer, kept):
    assert track_typed(signed_in, place, measured="48").status_code == 422
    reply = {"measured": "48", "answer-measured-1": f"{answer}|48"}
    assert track_typed(signed_in, place, **reply).status_code == 302
    assert Track.objects.get().measured == Decimal(kept)


def test_track_when_typed_in_inches_then_is_shown_in_inches_again(in_inches, place):
    track_typed(in_inches, place, measured="48 1/2")
    track = Track.objects.get()
    assert track.measured == Decimal("1231.9")
    page = in_inches.get(reverse("track:edit-track", args=[track.pk])).content.decode()
    assert 'value="48.5 in"' in page


def test_length_when_it_has_no_exact_inches_then_saving_it_again_keeps_it(in_inches, place):
    track = make_track(place, measured="500")
    page = in_inches.get(reverse("track:edit-track", args=[track.pk])).content.decode()
    assert 'value="500 mm"' in page


def test_traffic_when_typed_with_commas_then_is_read(signed_in, place):
    industry = Industry.objects.create(place=place, name="Mill")
    address = reverse("track:new-traffic", args=[industry.pk])
    typed = {**TRAFFIC, "cars_per_session": "1,5", "sessions_away": "2,5"}
    assert signed_in.post(address, typed).status_code == 302
    made = Traffic.objects.get()
    assert (made.cars_per_session, made.sessions_away) == (Decimal("1.5"), Decimal("2.5"))
    words = words_of(signed_in.post(address, {**typed, "cars_per_session": "often"}))
    assert "type a number such as 1.5 or 1,5" in words


# --- Ends -------------------------------------------------------------------------------------


def test_track_when_both_ends_are_one_leg_of_one_turnout_then_is_refused(signed_in, place):
    one = Turnout.objects.create(place=place, name="West", frog_number=Decimal(6))
    both = {"a_reference": "frog", "a_turnout": one.pk, "b_reference": "frog", "b_turnout": one.pk}
    asked = track_typed(signed_in, place, **both)
    assert asked.status_code == 422
    assert "Both ends are on the diverging leg of West" in words_of(asked)
    assert track_typed(signed_in, place, **both, b_leg="main").status_code == 302


def test_track_when_it_ends_at_a_buffer_stop_then_no_turnout_is_kept(signed_in, place):
    one = Turnout.objects.create(place=place, name="West", frog_number=Decimal(6))
    track_typed(signed_in, place, b_turnout=one.pk)
    assert Track.objects.get().b_turnout is None
    signed_in.post(reverse("track:remove", args=["turnout", one.pk]))
    assert not Turnout.objects.exists()


def test_track_when_its_turnout_is_places_away_then_it_is_asked(signed_in, place):
    places = [make_place(place.railway, name, n) for n, name in enumerate("BCD", start=2)]
    far = Turnout.objects.create(place=places[1], name="Far", frog_number=Decimal(6))
    near = Turnout.objects.create(place=places[0], name="Near", frog_number=Decimal(6))
    end = {"a_reference": "frog", "a_turnout": far.pk}
    asked = track_typed(signed_in, place, **end)
    assert asked.status_code == 422
    assert "Far is at C, which is not next to Tarn" in words_of(asked)
    reply = {**end, "answer-a_turnout-1": f"keep|{far.pk}"}
    assert track_typed(signed_in, place, **reply).status_code == 302
    next_to_it = {"name": "Other", "a_reference": "frog", "a_turnout": near.pk}
    assert track_typed(signed_in, place, **next_to_it).status_code == 302


# --- Two people -------------------------------------------------------------------------------


def test_track_when_saved_from_an_older_form_then_nothing_is_overwritten(signed_in, place):
    track = make_track(place, b_reference="buffer stop")
    address = reverse("track:edit-track", args=[track.pk])
    signed_in.post(address, {**TRACK, "revision": "1", "measured": "600"})
    stale = {**TRACK, "revision": "1", "measured": "700", "duty": "loop"}
    answer = signed_in.post(address, stale)
    assert answer.status_code == 409
    words = words_of(answer)
    assert "Measured length : now “600 mm”, you typed “700 mm”" in words
    assert "Duty : now “storage”, you typed “passing loop”" in words
    track.refresh_from_db()
    assert (track.measured, track.duty, track.revision) == (Decimal(600), "storage", 2)
    assert 'name="revision" value="2"' in answer.content.decode()
    assert signed_in.post(address, {**stale, "revision": "2"}).status_code == 302
    track.refresh_from_db()
    assert (track.measured, track.revision) == (Decimal(700), 3)


def test_every_part_when_saved_from_an_older_form_then_is_told(signed_in, place):
    turnout = Turnout.objects.create(place=place, name="1", frog_number=Decimal(6))
    industry = Industry.objects.create(place=place, name="Mill")
    traffic = Traffic.objects.create(
        industry=industry,
        goods="flour",
        kinds="boxcar",
        cars_per_session=Decimal(1),
        sessions_away=Decimal(2),
    )
    railway = {"name": "Fen", "standard": "nem/H0", "clearance_gap": "3"}
    for name, part, typed in (
        ("edit-railway", place.railway, railway),
        ("place", place, {"name": "Fen", "after": ""}),
        ("turnout", turnout, {**TURNOUT, "name": "Fen"}),
        ("edit-industry", industry, {"name": "Fen"}),
        ("traffic", traffic, {**TRAFFIC, "goods": "Fen"}),
    ):
        type(part).objects.filter(pk=part.pk).update(revision=2)
        answer = signed_in.post(
            reverse(f"track:{name}", args=[part.pk]), {**typed, "revision": "1"}
        )
        assert answer.status_code == 409, name
        assert "you typed “Fen”" in words_of(answer), name
        part.refresh_from_db()
        assert "Fen" not in str(part)


def test_lay_when_somebody_saved_meanwhile_then_raises_and_writes_nothing(place):
    track = make_track(place)
    Track.objects.filter(pk=track.pk).update(revision=5)
    track.name = "Other"
    with pytest.raises(Overtaken):
        lay(part=track, seen_revision=1)
    track.refresh_from_db()
    assert (track.name, track.revision) == ("Siding", 5)


# --- The railway, and removing ----------------------------------------------------------------


def test_railway_when_its_scale_changes_under_its_stock_then_it_is_asked(signed_in, owner, place):
    put(vehicles=[make_car(owner, "7")], track=make_track(place))
    address = reverse("track:edit-railway", args=[place.railway.pk])
    typed = {"name": "Fen", "standard": "nem/N", "clearance_gap": "3", "revision": "1"}
    asked = signed_in.post(address, typed)
    assert asked.status_code == 422
    assert "Alb 7 stands on its tracks and would be of another size" in words_of(asked)
    assert Railway.objects.get().scale == "H0"
    reply = {**typed, "answer-standard-1": "keep|nem/N"}
    assert signed_in.post(address, reply).status_code == 302
    assert Railway.objects.get().scale == "N"


def test_railway_when_called_like_another_then_is_refused_in_plain_words(signed_in, place):
    typed = {"name": "ALDER BRANCH", "standard": "nem/H0", "clearance_gap": "3"}
    words = words_of(signed_in.post(reverse("track:new-railway"), typed))
    assert "A railway of that name is there already; type another." in words


def test_remove_when_asked_then_counts_what_goes_with_it(signed_in, owner, place):
    track = make_track(place)
    put(vehicles=[make_car(owner, "7")], track=track)
    mill = Industry.objects.create(place=place, name="Mill")
    mill.tracks.set([track])
    page = words_of(signed_in.get(reverse("track:remove", args=["track", track.pk])))
    assert "Mill, Tarn then loads there no longer." in page
    assert "Alb 7 then stands nowhere." in page
    page = words_of(signed_in.get(reverse("track:remove", args=["place", place.pk])))
    assert "With it go: 1 track 1 industry" in page


def test_remove_when_many_tracks_end_there_then_names_some_and_counts_the_rest(signed_in, place):
    one = Turnout.objects.create(place=place, name="West", frog_number=Decimal(6))
    for n in range(9):
        make_track(place, f"T{n}", a_reference="frog", a_turnout=one, position=n + 1)
    address = reverse("track:remove", args=["turnout", one.pk])
    assert "since 9 tracks end there. Edit them first" in words_of(signed_in.get(address))
    assert "T0, T1, T2, T3 and 5 more end there" in words_of(signed_in.post(address, follow=True))
