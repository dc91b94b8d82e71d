"""Every address of the program, asked for by everybody, by GET and by POST.

An address that is not named below is taken for one that writes: visitors are refused it either
way, and this file fails until either its view says so (`writers_only`) or it is named here.
"""

from __future__ import annotations

import html
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from types import SimpleNamespace
from urllib.parse import urljoin, urlsplit, urlunsplit
from uuid import uuid4

import pytest
from django.contrib.auth.middleware import LoginRequiredMiddleware
from django.db import connection, transaction
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import get_resolver, resolve, reverse
from django.utils import timezone

from inventory.bench.demo import load_demo
from inventory.people.access import SignInFirst
from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.reader.answers import ENDPOINTS
from inventory.stock.models import (
    HouseLimit,
    Inspection,
    Instrument,
    SetAside,
    Vehicle,
    VehiclePhoto,
)
from inventory.stock.recording import open_inspection
from inventory.track.models import Industry, Place, Railway, Track, Traffic, Turnout
from inventory.trackwork.models import TrackInspection, Trackwork, TrackworkPhoto
from inventory.trackwork.recording import open_inspection as open_survey
from inventory.trouble.models import Hold, Incident, IncidentPhoto, RunningSession, Turn
from standards.sheets import all_sheets
from tests.factories import make_person, make_vehicle

#: Whoever is not signed in may come here: it is how one signs in.
OPEN = {"people:sign-in", "people:arrive"}

#: What concerns nobody but whoever is signed in; visitors may send these.
OWN = {
    "people:sign-out",
    "people:preferences",
    "people:set-password",
    "people:phone",
    "people:take-phone-back",
    "people:end-others",
    "people:end-device",
}

#: The owner's: people, and what concerns the record as a whole.
OWNERS = {
    "people:people",
    "people:new-person",
    "people:person",
    "people:put-out",
    "people:let-in",
    "people:take-password",
    "people:link",
    "people:take-link-back",
    "people:end-devices",
    "people:end-device-of",
    "ledger:backups",
    "ledger:back-up-now",
    "ledger:restore-now",
    "ledger:download-backup",
    "ledger:check-backup",
    "ledger:import-everything",
}

#: What visitors may read. Some of these also take posts, from inspectors and owners.
READ = {
    "home",
    "vehicle-by-uid",
    "bench:start",
    "bench:visitor",
    "ledger:everything",
    "ledger:shape",
    "ledger:shape-schema",
    "reader:index",
    "stock:vehicle-list",
    "stock:vehicle",
    "stock:former",
    "stock:photos",
    "stock:photo",
    "stock:picture",
    "stock:thumbnail",
    "stock:aside",
    "stock:inspection",
    "stock:instruments",
    "stock:house-limits",
    "track:railways",
    "track:railway",
    "track:track",
    "track:industries",
    "track:industry",
    "track:trains",
    "track:arrange",
    "track:report",
    "track:for-vehicle",
    "trackwork:overview",
    "trackwork:pairs",
    "trackwork:piece",
    "trackwork:inspection",
    "trackwork:meeting",
    "trackwork:for-vehicle",
    "trackwork:curve",
    "trackwork:photos",
    "trackwork:photo",
    "trackwork:picture",
    "trackwork:thumbnail",
    "trouble:board",
    "trouble:reports",
    "trouble:incident",
    "trouble:photos",
    "trouble:photo",
    "trouble:picture",
    "trouble:thumbnail",
    "trouble:hold",
    "/trouble/holds/<int:pk>/tag/",
    "trouble:running",
    "trouble:session",
    "trouble:routine",
    "trouble:railway",
    "trouble:vehicle",
    "trouble:trackwork",
    "ledger:overview",
    "ledger:history",
    "ledger:export",
    "ledger:download-list",
    "paper:index",
    "paper:labels",
    "paper:bench",
    "paper:blank",
    "paper:tags",
    "paper:tag",
    "paper:fleet",
    "paper:tracks",
    "paper:wall",
    "paper:slips",
    "sheets:list",
    "sheets:convert",
    "sheets:meets",
    "sheets:meeting",
    "sheets:curves",
    "sheets:sheet",
}

#: For scripts: they only read, ask themselves who it is, and answer with a status, not a page.
SCRIPTS = {"reader:openapi", "reader:nothing", *(f"reader:{each.name}" for each in ENDPOINTS)}

Made = dict[str, object]


@pytest.fixture(scope="module")
def made(django_db_setup, django_db_blocker) -> Iterator[SimpleNamespace]:
    """The demo railway with somebody of every role, a survey, a photo and what a visitor brought,
    taken back as a whole at the end."""
    with django_db_blocker.unblock(), transaction.atomic():
        people = {role: make_person(f"the {role}", role=role) for role in Person.Role.values}
        owner = people["owner"]
        load_demo(by=owner)
        vehicle = Vehicle.objects.order_by("pk").first()
        survey = open_survey(
            trackwork=Trackwork.objects.exclude(turnout=None).first(), reason="routine", by=owner
        )
        yield SimpleNamespace(
            people=people,
            vehicle=vehicle,
            visiting=make_vehicle(owner, number="visiting", visitor="Otto"),
            inspection=open_inspection(vehicle=vehicle, reason="new", by=owner),
            survey=survey,
            other=make_person("somebody else"),
        )
        transaction.set_rollback(True)


def first(model: type) -> int:
    return model._default_manager.order_by("pk").first().pk


def arguments(name: str, wanted: list[str], made: SimpleNamespace, who: Person) -> Made:
    """What an address may be asked with, so that there is something at it."""
    room, _, page = name.rpartition(":")
    theirs = SPECIAL.get(name)
    given = theirs(made, who) if theirs else {}
    for key in wanted:
        given.setdefault(key, _guess(room, page, key, made))
    return given


#: Where the first of a kind is not what is meant.
SPECIAL: dict[str, Callable[[SimpleNamespace, Person], Made]] = {
    "bench:visitor": lambda made, who: {"pk": made.visiting.pk},
    "bench:measure": lambda made, who: {"slug": "axle-1"},
    "bench:reading": lambda made, who: {"slug": "axle-1", "quantity": "back_to_back"},
    "bench:measure-track": lambda made, who: {"slug": "points"},
    "bench:reading-track": lambda made, who: {"slug": "points", "quantity": "track_gauge"},
    "track:remove": lambda made, who: {"what": "traffic", "pk": first(Traffic)},
    "stock:withdraw-limit": lambda made, who: {"pk": first(HouseLimit)},
    "stock:aside": lambda made, who: {"token": waiting(who)},
    "people:arrive": lambda made, who: {
        "token": sign_in_path(made.other).rstrip("/").rpartition("/")[2]
    },
    "people:end-device": lambda made, who: {"pk": who.devices.get().pk if who else 1},
}


def waiting(who: Person | None) -> object:
    """A photo that waits for its form, of whoever asks."""
    if who is None:
        return uuid4()
    facts = {"width": 1, "height": 1, "called": "a.jpg", "sent_at": timezone.now()}
    return SetAside.objects.create(sent_by=who, jpeg=b"", thumbnail=b"", **facts).pk


#: What a page's pk is of: by its address, else by its room.
OF_PAGE: dict[str, type] = {
    "bench:begin": Vehicle,
    "bench:begin-turnout": Turnout,
    "bench:begin-track": Trackwork,
    "stock:inspection": Inspection,
    "stock:instrument": Instrument,
    "track:place": Place,
    "track:turnout": Turnout,
    "track:track": Track,
    "track:edit-track": Track,
    "track:move": Track,
    "track:order": Track,
    "track:industry": Industry,
    "track:edit-industry": Industry,
    "track:assign-home": Industry,
    "track:traffic": Traffic,
    "track:home-track": Vehicle,
    "track:for-vehicle": Vehicle,
    "trackwork:overview": Railway,
    "trackwork:pairs": Railway,
    "trackwork:inspection": TrackInspection,
    "trackwork:for-vehicle": Vehicle,
    "trackwork:curve": Vehicle,
    "trouble:incident": Incident,
    "trouble:withdraw": Incident,
    "trouble:photos": Incident,
    "/trouble/holds/<int:pk>/tag/": Hold,
    "paper:tag": Hold,
    "paper:tracks": Railway,
    "paper:wall": Railway,
    "reader:tracks": Railway,
    "reader:track": Track,
    "reader:fit": Track,
    "trouble:hold": Hold,
    "trouble:hold-vehicle": Vehicle,
    "trouble:hold-turnout": Turnout,
    "trouble:hold-trackwork": Trackwork,
    "trouble:vehicle": Vehicle,
    "trouble:trackwork": Trackwork,
    "trouble:session": RunningSession,
    "trouble:remove-turn": Turn,
}
OF_ROOM: dict[str, type] = {
    "stock": Vehicle,
    "track": Railway,
    "trackwork": Trackwork,
    "trouble": Railway,
}
PHOTOS: dict[str, type] = {
    "stock": VehiclePhoto,
    "trackwork": TrackworkPhoto,
    "trouble": IncidentPhoto,
}
OF_A_PHOTO = {"photo", "picture", "thumbnail"}
OF_KEY: dict[str, type] = {
    "railway_pk": Railway,
    "place_pk": Place,
    "industry_pk": Industry,
    "vehicle_pk": Vehicle,
}


def _guess(room: str, page: str, key: str, made: SimpleNamespace) -> object:
    if key == "pk" and room == "bench" and f"{room}:{page}" not in OF_PAGE:
        return (made.survey if page.endswith("-track") else made.inspection).pk
    if key == "pk" and room == "people":
        return made.other.pk
    if key in OF_KEY:
        return first(OF_KEY[key])
    if key == "pk" and page.removeprefix("move-").removeprefix("remove-") in OF_A_PHOTO:
        return first(PHOTOS[room])
    if key == "pk":
        return first(OF_PAGE.get(f"{room}:{page}" if room else page) or OF_ROOM.get(room, Vehicle))
    if key == "uid":
        return made.vehicle.uid
    if key == "digest":
        return PHOTOS[room]._default_manager.order_by("pk").first().digest
    words = {"sheet_id": all_sheets()[0].id, "name": "carknocker-20260101-000000.zip"}
    return {**words, "kind": "csv", "suffix": "json", "rest": "nothing"}.get(key, 1)


def addresses(patterns=None, room: str = "", above: str = "/") -> Iterator[tuple[str, View]]:
    """Every address by its name, or by itself where it has none."""
    for each in get_resolver().url_patterns if patterns is None else patterns:
        route = f"{above}{each.pattern}"
        if hasattr(each, "url_patterns"):
            inner = f"{room}{each.namespace}:" if each.namespace else room
            yield from addresses(each.url_patterns, inner, route)
        else:
            yield (f"{room}{each.name}" if each.name else route), View(each.callback, route)


#: A part of an address that is filled in, as a path or as a regular expression names it.
PART = re.compile(r"<(?:\w+:)?(\w+)>|\(\?P<(\w+)>[^)]*\)")


@dataclass(frozen=True)
class View:
    answers: Callable[..., HttpResponse]
    route: str

    @property
    def wanted(self) -> list[str]:
        return [plain or expressed for plain, expressed in PART.findall(self.route)]

    def address(self, given: Made) -> str:
        filled = PART.sub(lambda part: str(given[part[1] or part[2]]), self.route)
        return re.sub(r"[\^$\\]", "", filled)


ALL = dict(addresses())


def writes(asked: CaptureQueriesContext) -> list[str]:
    begun = ("INSERT", "UPDATE", "DELETE")
    said = [each["sql"].lstrip() for each in asked.captured_queries]
    return [sql[:90] for sql in said if sql.upper().startswith(begun)]


def ask(name: str, made, who: Person | None, method: str) -> tuple[HttpResponse, list[str]]:
    """The answer to a request, what it wrote; all of it is taken back."""
    client = Client()
    with transaction.atomic():
        if who is not None:
            client.force_login(who)
        address = ALL[name].address(arguments(name, ALL[name].wanted, made, who))
        with CaptureQueriesContext(connection) as asked:
            answer = getattr(client, method)(address)
            answer.getvalue()  # sent to its end, which closes a file
        transaction.set_rollback(True)
    return answer, writes(asked)


def sends_to_sign_in(answer: HttpResponse) -> bool:
    return answer.status_code == 302 and answer.url.startswith(reverse("people:sign-in"))


@pytest.fixture(autouse=True)
def apart(settings, tmp_path):
    """Backups that an owner asks for stay out of the project."""
    settings.DATA = tmp_path


def test_names_below_when_compared_with_the_addresses_then_are_all_there() -> None:
    assert (OPEN | OWN | OWNERS | READ | SCRIPTS) - set(ALL) == set()
    assert sum(map(len, (OPEN, OWN, OWNERS, READ))) == len(OPEN | OWN | OWNERS | READ)
    assert len(ALL) > 100
    assert len(dict(addresses())) == len(list(addresses()))  # no two of one name


@pytest.mark.django_db
def test_whoever_is_not_signed_in_is_sent_to_sign_in(made) -> None:
    wrong = []
    for name in sorted(set(ALL) - OPEN):
        for method in ("get", "post"):
            answer, wrote = ask(name, made, None, method)
            if name in SCRIPTS and answer.status_code in (401, 405) and not wrote:
                continue
            if not sends_to_sign_in(answer) or wrote:
                wrong.append((name, method, answer.status_code, wrote))
    assert not wrong, "\n".join(map(str, wrong))
    assert ask("people:sign-in", made, None, "get")[0].status_code == 200
    assert ask("people:arrive", made, None, "get")[0].status_code == 200


@pytest.mark.django_db
def test_visitor_reads_what_is_to_be_read_and_sends_nothing_but_their_own(made) -> None:
    guest, wrong = made.people["visitor"], []
    for name in sorted(set(ALL) - OPEN - OWN):
        seen, wrote = ask(name, made, guest, "get")
        may = (200, 301, 302) if name in READ else (403, 405)
        if name in SCRIPTS:
            may = (404,) if name == "reader:nothing" else (200,)
        if seen.status_code not in may or sends_to_sign_in(seen) or wrote:
            wrong.append((name, "get", seen.status_code, wrote))
        sent, wrote = ask(name, made, guest, "post")
        if sent.status_code != (405 if name in SCRIPTS else 403) or wrote:
            wrong.append((name, "post", sent.status_code, wrote))
    for name in sorted(OWN | OPEN):
        for method in ("get", "post"):
            answer, _ = ask(name, made, guest, method)
            if answer.status_code == 403 or answer.status_code >= 500:
                wrong.append((name, method, answer.status_code, []))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.django_db
def test_views_when_not_guarded_from_outside_then_guard_themselves(made, monkeypatch) -> None:
    """Each view that writes refuses visitors by itself, and those that read write nothing."""
    monkeypatch.setattr(SignInFirst, "process_view", LoginRequiredMiddleware.process_view)
    guest, wrong = made.people["visitor"], []
    for name in sorted(set(ALL) - OPEN - OWN):
        answer, wrote = ask(name, made, guest, "post")
        # 405: it takes no posts from anybody.
        if wrote or (name not in READ and answer.status_code not in (403, 405)):
            wrong.append((name, answer.status_code, wrote))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["inspector", "owner"])
def test_those_who_work_are_refused_only_what_is_the_owners(made, role) -> None:
    """And nothing is written by looking, whoever looks."""
    person, wrong = made.people[role], []
    for name in sorted(set(ALL) - OPEN):
        refused = role != "owner" and name in OWNERS
        seen, wrote = ask(name, made, person, "get")
        fits = seen.status_code in (403, 405) if refused else seen.status_code != 403
        if not fits or seen.status_code >= 500 or wrote:
            wrong.append((name, "get", seen.status_code, wrote))
        if name in READ and seen.status_code not in (200, 301, 302):
            wrong.append((name, "get", seen.status_code, "not read"))
        sent, wrote = ask(name, made, person, "post")
        if (sent.status_code == 403) != refused or sent.status_code >= 500 or (refused and wrote):
            wrong.append((name, "post", sent.status_code, wrote))
    assert not wrong, "\n".join(map(str, wrong))


@pytest.mark.django_db
@pytest.mark.parametrize("method", ["put", "patch", "delete"])
def test_other_ways_of_sending_are_refused_to_visitors_too(made, method) -> None:
    for name in ("stock:vehicle", "sheets:list", "trouble:hold", "stock:edit-vehicle"):
        assert ask(name, made, made.people["visitor"], method)[0].status_code in (403, 405)


def test_forms_when_sent_from_another_site_are_refused_everywhere() -> None:
    """But for what never writes."""
    exempt = {name for name, view in ALL.items() if hasattr(view.answers, "csrf_exempt")}
    assert exempt - SCRIPTS == set()


def offered(person: Person, starts: list[str]) -> dict[str, str]:
    """What the pages lead somebody to, from some of them on, each with the page that does: every
    link, and the address of every form that has a button. Two addresses a view are followed."""
    client, found, times = Client(), dict.fromkeys(starts, "typed"), Counter()
    client.force_login(person)
    for page in (waiting := list(starts)):
        answer = client.get(page)
        if not answer.get("Content-Type", "").startswith("text/html"):
            answer.getvalue()  # sent to its end, which closes a file
            continue
        text = answer.content.decode()
        forms = re.findall(r'<form method="post"[^>]*?action="([^"]+)"(.*?)</form>', text, re.S)
        found.update((html.unescape(to), page) for to, inside in forms if "<button" in inside)
        for link in map(html.unescape, re.findall(r'<a [^>]*?href="([^"#]+)', text)):
            to = urlsplit(urljoin(page, link))
            view = resolve(to.path).view_name if to.netloc == "" else None
            if view is None or urlunsplit(to) in found or times[view] == 2:
                continue
            times[view] += 1
            found[urlunsplit(to)] = page
            waiting.append(urlunsplit(to))
    return found


@pytest.mark.django_db
@pytest.mark.parametrize("role", ["visitor", "inspector"])
def test_nobody_is_offered_what_they_are_then_refused(made, role) -> None:
    open_one = reverse("stock:vehicle", args=[made.vehicle.pk])
    found = offered(made.people[role], ["/", open_one, reverse("paper:slips")])
    views = {to: resolve(urlsplit(to).path).view_name for to in found}
    barred = OWNERS if role == "inspector" else set(ALL) - READ - OWN - OPEN - SCRIPTS
    refused = [f"{to} on {page}" for to, page in found.items() if views[to] in barred]
    assert len(set(views.values())) > 60
    assert not refused, "\n".join(refused)
