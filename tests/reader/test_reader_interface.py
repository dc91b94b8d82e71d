"""The interface for reading: what it answers, by whom it is asked, and how it is described.

Outside: openapi-spec-validator for the description (OpenAPI 3.1), jsonschema for every answer
against it. Status codes and headers by RFC 9110, problems by RFC 9457, tokens by RFC 6750.
"""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from urllib.parse import parse_qsl, urlsplit

import jsonschema
import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

from inventory.bench.demo import load_demo
from inventory.ledger.sections import SECTIONS
from inventory.people.models import Person
from inventory.reader.answers import ENDPOINTS
from inventory.reader.models import ReadingToken
from inventory.reader.openapi import description
from inventory.reader.tokens import TokenRefused, end_token, make_token, reader_by
from inventory.stock.models import Instrument, Vehicle, Verdict
from inventory.track.fit import answers, pool_for, stood
from inventory.track.models import Railway, Track
from inventory.trouble.models import Hold
from inventory.trouble.recording import take_out, waits_for
from tests.factories import make_person, make_vehicle

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def loaded(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        usual = list(Instrument.objects.order_by("pk").values())
        owner = make_person("bench")
        load_demo(by=owner)
        for vehicle in Vehicle.objects.filter(held_because="").order_by("-pk")[:3]:
            take_out(subject=vehicle, reason="looked at", by=owner)
    yield
    with django_db_blocker.unblock():
        for section in reversed(SECTIONS):
            section.model._base_manager.all().delete()
        Instrument.objects.bulk_create(Instrument(**each) for each in usual)


@pytest.fixture
def demo(loaded, db) -> Person:
    return Person.objects.get(username="bench")


@pytest.fixture
def signed_in(client, demo):
    client.force_login(demo)
    return client


def every_address() -> dict[str, str]:
    """By endpoint, an address that has an answer."""
    vehicle = Vehicle.objects.filter(inspections__isnull=False).order_by("pk").first()
    track = Track.objects.filter(standing__isnull=False).order_by("pk").first()
    of = {"vehicle": vehicle.uid, "track": track.pk, "fit": track.pk}
    of["tracks"] = track.place.railway_id
    return {
        each.name: reverse(f"reader:{each.name}", args=[of[each.name]] if each.name in of else [])
        for each in ENDPOINTS
    }


def walk(client, address: str) -> list[dict]:
    """All pages of a list."""
    items = []
    while address:
        said = client.get(address).json()
        items += said["items"]
        address = said["next"]
    return items


# --- Described, and as described --------------------------------------------------------------


def test_description_then_is_openapi_by_its_own_validator(signed_in):
    said = signed_in.get(reverse("reader:openapi")).json()

    assert said["openapi"] == "3.1.0"
    validate(said, cls=OpenAPIV31SpecValidator)
    assert said == description("http://testserver/api")
    assert set(said["paths"]) == {
        "/vehicles/", "/vehicles/{uid}/", "/verdicts/", "/railways/", "/railways/{pk}/tracks/",
        "/tracks/{pk}/", "/tracks/{pk}/fit/", "/trouble/", "/reports/",
    }  # fmt: skip


def checker(reference: dict) -> jsonschema.Draft202012Validator:
    said = description("http://testserver/api")
    return jsonschema.Draft202012Validator(
        {**reference, "components": said["components"]},
        format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER,
    )


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_answer_then_is_as_described(signed_in, endpoint):
    answer = signed_in.get(every_address()[endpoint.name])

    assert answer.status_code == 200
    assert answer["Content-Type"] == "application/json"
    said = answer.json()
    assert list(checker(endpoint.answer.reference).iter_errors(said)) == []
    assert said.get("items", [1]), "the answer under test is empty"


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_example_then_answers_what_its_address_asks_for(endpoint):
    asked = dict(parse_qsl(urlsplit(endpoint.example).query))
    for item in endpoint.answer.example.get("items", []):
        for name, value in asked.items():
            told = {True: "yes", False: "no"}.get(item[name], item[name])
            assert told == value


@pytest.mark.parametrize("endpoint", ENDPOINTS, ids=lambda endpoint: endpoint.name)
def test_example_then_is_as_described(endpoint):
    assert list(checker(endpoint.answer.reference).iter_errors(endpoint.answer.example)) == []


def test_answer_when_it_is_not_as_described_then_the_checker_says_so(signed_in):
    said = signed_in.get(every_address()["vehicles"]).json()
    said["items"][0]["axles"] = "four"

    assert list(checker({"$ref": "#/components/schemas/PageOfVehicle"}).iter_errors(said))


# --- What is answered -------------------------------------------------------------------------


def test_vehicles_when_walked_then_every_one_of_the_fleet_comes_once(signed_in):
    items = walk(signed_in, reverse("reader:vehicles") + "?limit=7")

    uids = [each["uid"] for each in items]
    assert len(uids) == len(set(uids)) == Vehicle.objects.count()
    assert set(uids) == {str(uid) for uid in Vehicle.objects.values_list("uid", flat=True)}


def test_pages_when_somebody_logs_a_vehicle_meanwhile_then_nothing_moves(signed_in, demo):
    first = signed_in.get(reverse("reader:vehicles") + "?limit=20").json()
    make_vehicle(demo, reporting_mark="AAA", number="1")
    rest = walk(signed_in, first["next"])

    seen = [each["uid"] for each in first["items"] + rest]
    assert len(seen) == len(set(seen)) == Vehicle.objects.count()


@pytest.mark.parametrize(
    ("query", "is_meant"),
    [
        ("service=bad+order", lambda v: v.service == "bad order"),
        ("category=locomotive", lambda v: v.category == "locomotive"),
        ("scale=N", lambda v: v.scale == "N"),
        ("q=hopper", lambda v: "hopper" in v.kind or "hopper" in v.name.lower()),
    ],
)
def test_vehicles_when_narrowed_then_are_those(signed_in, query, is_meant):
    items = walk(signed_in, f"{reverse('reader:vehicles')}?limit=9&{query}")

    meant = {str(each.uid) for each in Vehicle.objects.all() if is_meant(each)}
    assert meant
    assert {each["uid"] for each in items} == meant


def test_vehicles_when_retired_or_visiting_then_come_only_where_asked(signed_in, demo):
    gone = make_vehicle(demo, number="901")
    Vehicle.everyone.filter(pk=gone.pk).update(
        retired_as="sold", retired_on=datetime(2026, 1, 1, tzinfo=UTC)
    )
    guest = make_vehicle(demo, number="902", visitor="Mette")
    address = reverse("reader:vehicles")

    def asked(query: str) -> set[str]:
        return {each["uid"] for each in walk(signed_in, f"{address}?{query}")}

    assert str(gone.uid) in asked("retired=only")
    retired = Vehicle.everyone.filter(visitor="").exclude(retired_as="")
    assert asked("retired=only") == {str(uid) for uid in retired.values_list("uid", flat=True)}
    visiting = Vehicle.everyone.filter(retired_as="").exclude(visitor="")
    assert asked("visitors=only") == {str(uid) for uid in visiting.values_list("uid", flat=True)}
    assert {str(gone.uid), str(guest.uid)} & asked("") == set()
    assert len(asked("retired=all&visitors=all")) == Vehicle.everyone.count()


def test_vehicle_then_its_readings_and_standing_verdicts_are_those_of_the_record(signed_in):
    vehicle = Vehicle.objects.filter(inspections__isnull=False).order_by("pk").first()

    said = signed_in.get(reverse("reader:vehicle", args=[vehicle.uid])).json()

    standing = Verdict.objects.standing_for(vehicle)
    assert [(each["quantity"], each["at"], each["outcome"]) for each in said["verdicts"]] == [
        (each.quantity, each.at, each.outcome) for each in standing
    ]
    for each, verdict in zip(said["verdicts"], standing, strict=True):
        if verdict.value is None:
            assert each["value"] is None
        else:
            assert each["value"]["value"] == f"{verdict.value:f}"
            assert Decimal(each["value"]["value"]) == verdict.value
            assert each["value"]["unit"] in ("mm", "g", "%")
    assert len(said["wheelsets"]) == vehicle.axles
    assert said["stands_on"]["track"] == vehicle.standing.track.name


def test_verdicts_then_are_those_that_stand_vehicle_by_vehicle(signed_in):
    items = walk(signed_in, reverse("reader:verdicts") + "?limit=5&outcome=outside")

    meant = {
        (str(vehicle.uid), each.quantity, each.at)
        for vehicle in Vehicle.objects.all()
        for each in Verdict.objects.standing_for(vehicle)
        if each.outcome == "outside"
    }
    assert meant
    assert {(i["vehicle"]["uid"], i["quantity"], i["at"]) for i in items} == meant


def test_tracks_then_are_as_the_pages_have_them(signed_in):
    railway = Railway.objects.order_by("pk").first()

    items = walk(signed_in, reverse("reader:tracks", args=[railway.pk]) + "?limit=4")

    by_pk = {here.track.pk: here for here in stood(railway)}
    assert {each["id"] for each in items} == set(by_pk)
    for each in items:
        here = by_pk[each["id"]]
        if each["clear_length"] is not None:
            assert Decimal(each["clear_length"]["value"]) == here.clearing.clear_mm
        assert [one["identity"] for one in each["standing"]] == [v.name for v in here.standing]
        assert signed_in.get(each["href"]).json() == each


def test_fit_then_says_of_every_vehicle_what_the_page_says(signed_in):
    railway = Railway.objects.order_by("pk").first()
    here = next(each for each in stood(railway) if each.standing and each.room_mm is not None)

    items = walk(signed_in, reverse("reader:fit", args=[here.track.pk]) + "?limit=6")

    besides = [each.key for each in here.standing]
    meant = {each.candidate.name: each for each in answers(here, pool_for(railway, besides))}
    assert {each["vehicle"]["identity"] for each in items} == set(meant)
    assert {each["fits"] for each in items} == {True, False}
    for each in items:
        answer = meant[each["vehicle"]["identity"]]
        assert each["fits"] == answer.fits
        assert [why["words"] for why in each["why_not"]] == [str(r.words) for r in answer.refusals]
    only = walk(signed_in, reverse("reader:fit", args=[here.track.pk]) + "?fits=yes")
    assert {o["vehicle"]["uid"] for o in only} == {
        each["vehicle"]["uid"] for each in items if each["fits"]
    }


def test_trouble_then_says_what_each_waits_for_as_the_board_does(signed_in):
    items = walk(signed_in, reverse("reader:trouble") + "?limit=2")

    meant = {each.pk: waits_for(each) for each in Hold.objects.filter(released_at__isnull=True)}
    assert {each["id"]: each["waits_for"] for each in items} == meant
    assert any(meant.values()) and len(meant) >= 3


@pytest.mark.parametrize(
    "name", ["vehicles", "verdicts", "railways", "tracks", "fit", "trouble", "reports"]
)
def test_page_when_it_holds_one_or_three_then_costs_the_same_queries(signed_in, demo, name):
    for number in ("A", "B"):
        Railway.objects.create(name=number, family="nmra", scale="HO")
    address = every_address()[name]

    def cost(limit: int) -> tuple[int, int]:
        with CaptureQueriesContext(
            connection,
        ) as seen:
            said = signed_in.get(f"{address}?limit={limit}").json()
        return len(said["items"]), len(seen)

    (_, one), (n_three, three) = cost(1), cost(3)
    assert n_three >= 3
    assert one == three


# --- Tags and methods -------------------------------------------------------------------------


@pytest.mark.parametrize("name", [each.name for each in ENDPOINTS] + ["openapi"])
def test_answer_when_it_is_known_already_then_is_not_sent_again(signed_in, name):
    address = {**every_address(), "openapi": reverse("reader:openapi")}[name]
    first = signed_in.get(address)
    assert first["ETag"].startswith('"')
    assert "Last-Modified" not in first
    assert "private" in first["Cache-Control"]
    assert {"Authorization", "Cookie"} <= {each.strip() for each in first["Vary"].split(",")}

    for tag in (first["ETag"], f'"other", W/{first["ETag"]}', "*"):
        again = signed_in.get(address, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
        assert again["ETag"] == first["ETag"]
    assert signed_in.get(address, headers={"If-None-Match": '"other"'}).status_code == 200
    head = signed_in.head(address)
    assert (head.status_code, head.content, head["ETag"]) == (200, b"", first["ETag"])


def test_tag_when_a_fact_changes_then_is_another(signed_in):
    vehicle = Vehicle.objects.order_by("pk").first()
    address = reverse("reader:vehicle", args=[vehicle.uid])
    before = signed_in.get(address)["ETag"]
    Vehicle.everyone.filter(pk=vehicle.pk).update(storage_box="elsewhere")

    assert signed_in.get(address, headers={"If-None-Match": before}).status_code == 200


@pytest.mark.parametrize("method", ["post", "put", "patch", "delete", "options"])
def test_interface_when_written_to_then_refuses_in_words(signed_in, method):
    own = Client(enforce_csrf_checks=True)
    own.cookies = signed_in.cookies
    for address in (reverse("reader:vehicles"), "/api/nowhere/"):
        answer = getattr(own, method)(address)

        assert answer.status_code == 405
        assert answer["Allow"] == "GET, HEAD"
        is_problem(answer, 405, "this interface only reads")


@pytest.mark.parametrize("role", [*Person.Role.values, None])
def test_interface_then_reads_for_everybody_who_is_known_and_writes_for_nobody(client, demo, role):
    if role is not None:
        client.force_login(make_person("other", role=role))
    for address in [*every_address().values(), reverse("reader:openapi")]:
        with CaptureQueriesContext(connection) as seen:
            answer = client.get(address)
            assert client.post(address).status_code == 405
        assert answer.status_code == (401 if role is None else 200)
        begun = {each["sql"].split()[0].upper() for each in seen.captured_queries}
        assert begun <= {"SELECT"}


def is_problem(answer, status: int, words: str) -> None:
    assert answer.status_code == status
    assert answer["Content-Type"] == "application/problem+json"
    said = json.loads(answer.content)
    assert list(checker({"$ref": "#/components/schemas/Problem"}).iter_errors(said)) == []
    assert said["status"] == status
    assert words in said["detail"], said["detail"]


@pytest.mark.parametrize(
    ("query", "words"),
    [
        ("colour=red", "“colour” is no parameter here; there are: q, service"),
        ("service=fine", "service: “fine” is none of fit to run"),
        ("limit=0", "limit: “0” does not do. How many a page, from 1 to 100."),
        ("limit=101", "How many a page, from 1 to 100."),
        ("limit=x", "limit: “x” does not do"),
        ("after=-1", "after: “-1” does not do"),
        ("after=" + "9" * 40, "does not do"),
        ("limit=5&limit=6", "limit: it stands twice"),
        ("q=%00", "q: "),
    ],
)
def test_parameter_when_it_cannot_be_understood_then_is_named(signed_in, query, words):
    is_problem(signed_in.get(f"{reverse('reader:vehicles')}?{query}"), 400, words)


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("vehicles/7855e4f9-485e-4802-9dd7-a17bbdfee4f1/", "There is no vehicle of that uid."),
        ("vehicles/88/", "There is nothing at “vehicles/88/”."),
        ("vehicles", "There is nothing at “vehicles”. Addresses end with a slash."),
        ("railways/999999/tracks/", "There is no railway of that number."),
        (f"tracks/{10**30}/", "There is no track of that number."),
        ("tracks/999999/fit/", "There is no track of that number."),
    ],
)
def test_address_when_nothing_is_there_then_says_so(signed_in, path, words):
    is_problem(signed_in.get(f"/api/{path}"), 404, words)


# --- Tokens -----------------------------------------------------------------------------------


def with_token(token: str, address: str = "/api/vehicles/"):
    return Client().get(address, headers={"Authorization": f"Bearer {token}"})


def test_script_with_a_token_then_reads(demo):
    token = make_token(person=demo, name="signal box")

    answer = with_token(token)

    assert answer.status_code == 200
    assert len(answer.json()["items"]) > 40
    assert token not in json.dumps(list(ReadingToken.objects.values()), default=str)
    assert "sessionid" not in answer.cookies


def test_script_without_a_token_then_is_told_how(db):
    answer = Client().get("/api/vehicles/")

    is_problem(answer, 401, "send “Authorization: Bearer” with a reading token")
    assert answer["WWW-Authenticate"].startswith("Bearer ")


@pytest.mark.parametrize(
    "given", ["Bearer nonsense", "Bearer", "Bearer \x80", "Basic b3duZXI6eA=="]
)
def test_script_with_a_wrong_token_then_is_refused_in_words(signed_in, given):
    """Even beside a session: whoever sends a token means it."""
    answer = signed_in.get("/api/vehicles/", headers={"Authorization": given})

    is_problem(answer, 401, "This reading token opens nothing")
    # RFC 6750, section 3.1.
    assert 'error="invalid_token"' in answer["WWW-Authenticate"]


def test_token_when_ended_or_its_person_gone_then_opens_nothing(demo):
    ended, left = make_token(person=demo, name="a"), make_token(person=demo, name="b")
    end_token(token=ReadingToken.objects.get(name="a"))

    is_problem(with_token(ended), 401, "it was mistyped, ended")
    assert with_token(left).status_code == 200
    Person.objects.filter(pk=demo.pk).update(is_active=False)
    is_problem(with_token(left), 401, "may sign in no more")


def test_token_then_opens_no_page_and_writes_nothing(demo):
    token = make_token(person=demo, name="a")
    headers = {"Authorization": f"Bearer {token}"}

    assert Client().get("/stock/", headers=headers).status_code == 302
    assert Client().get(reverse("reader:tokens"), headers=headers).status_code == 302
    assert Client().post("/api/vehicles/", headers=headers).status_code == 405


def test_token_when_used_then_is_noted_but_not_at_every_read(demo):
    token, noon = make_token(person=demo, name="a"), datetime(2026, 3, 1, 12, tzinfo=UTC)

    def noted_after(minutes: int) -> datetime:
        assert reader_by(token, noon + timedelta(minutes=minutes)) == demo
        return ReadingToken.objects.get().last_used_at

    assert noted_after(0) == noon
    assert noted_after(4) == noon
    assert noted_after(6) == noon + timedelta(minutes=6)


def test_token_when_its_name_is_in_use_then_is_refused(demo):
    make_token(person=demo, name="a")
    with pytest.raises(TokenRefused, match="you have a token “a” already"):
        make_token(person=demo, name=" a ")
    with pytest.raises(TokenRefused, match="say in at most 60 letters"):
        make_token(person=demo, name="  ")


def test_page_of_tokens_then_makes_shows_once_and_ends(signed_in):
    page = reverse("reader:tokens")
    made = signed_in.post(page, {"name": "signal box"}).content.decode()
    token = made.split('<input id="token" value="')[1].split('"')[0]
    assert with_token(token).status_code == 200

    again = signed_in.get(page).content.decode()
    assert token not in again and "signal box" in again
    twice = signed_in.post(page, {"name": "signal box"})
    assert twice.status_code == 422 and "already" in twice.content.decode()
    signed_in.post(reverse("reader:end-token", args=[ReadingToken.objects.get().pk]))

    assert with_token(token).status_code == 401


def test_tokens_of_others_then_cannot_be_ended_and_visitors_make_none(client, demo):
    make_token(person=demo, name="a")
    client.force_login(make_person("other", role=Person.Role.INSPECTOR))
    address = reverse("reader:end-token", args=[ReadingToken.objects.get().pk])
    assert client.post(address).status_code == 404
    client.force_login(make_person("guest", role=Person.Role.VISITOR))

    assert client.post(reverse("reader:tokens"), {"name": "b"}).status_code == 403
    assert client.get("/api/vehicles/").status_code == 200
    assert ReadingToken.objects.get().ended_at is None


# --- The page ---------------------------------------------------------------------------------


def test_page_of_the_interface_then_describes_every_address_and_its_links_answer(signed_in):
    page = signed_in.get(reverse("reader:index")).content.decode()

    for endpoint in ENDPOINTS:
        assert endpoint.summary in page
        for parameter in endpoint.parameters:
            assert f"<code>{parameter.name}</code>" in page
        if not endpoint.parts:
            example = urlsplit(f"/api/{endpoint.example}")
            assert f"/api/{endpoint.example}" in page
            assert signed_in.get(example.geturl()).status_code == 200
