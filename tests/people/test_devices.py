"""Where somebody is signed in: kept rarely, shown in words, ended at once.

User agents are from memory of what these browsers send; the order of their parts is that of
RFC 9110, 10.1.5 (the most significant first is no rule that browsers keep).
"""

import time
from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from inventory.people import devices
from inventory.people.devices import described, roughly
from inventory.people.links import sign_in_path
from inventory.people.models import Device
from tests.factories import make_person

pytestmark = pytest.mark.django_db

AGENTS = {
    "Safari on an iPhone": "Mozilla/5.0 (iPhone; CPU iPhone OS 18_5 like Mac OS X) "
    "AppleWebKit/605.1.15 (KHTML, like Gecko) Version/18.5 Mobile/15E148 Safari/604.1",
    "Chrome on an iPhone": "Mozilla/5.0 (iPhone; CPU iPhone OS 17_7 like Mac OS X) "
    "AppleWebKit/605.1.15 (KHTML, like Gecko) CriOS/138.0.7204.119 Mobile/15E148 Safari/604.1",
    "Firefox on an iPad": "Mozilla/5.0 (iPad; CPU OS 14_7 like Mac OS X) AppleWebKit/605.1.15 "
    "(KHTML, like Gecko) FxiOS/140.0 Mobile/15E148 Safari/605.1.15",
    "Chrome on an Android phone": "Mozilla/5.0 (Linux; Android 10; K) AppleWebKit/537.36 "
    "(KHTML, like Gecko) Chrome/138.0.0.0 Mobile Safari/537.36",
    "Chrome on an Android tablet": "Mozilla/5.0 (Linux; Android 13; SM-X700) "
    "AppleWebKit/537.36 (KHTML, like Gecko) Chrome/138.0.0.0 Safari/537.36",
    "Samsung Internet on an Android phone": "Mozilla/5.0 (Linux; Android 10; K) "
    "AppleWebKit/537.36 (KHTML, like Gecko) SamsungBrowser/28.0 Chrome/130.0.0.0 Mobile "
    "Safari/537.36",
    "Firefox on an Android phone": "Mozilla/5.0 (Android 15; Mobile; rv:140.0) Gecko/140.0 "
    "Firefox/140.0",
    "Edge on Windows": "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 "
    "(KHTML, like Gecko) Chrome/138.0.0.0 Safari/537.36 Edg/138.0.0.0",
    "Firefox on Windows": "Mozilla/5.0 (Windows NT 10.0; Win64; x64; rv:140.0) Gecko/20100101 "
    "Firefox/140.0",
    "Safari on a Mac": "Mozilla/5.0 (Macintosh; Intel Mac OS X 10_15_7) AppleWebKit/605.1.15 "
    "(KHTML, like Gecko) Version/18.5 Safari/605.1.15",
    "Opera on Linux": "Mozilla/5.0 (X11; Linux x86_64) AppleWebKit/537.36 (KHTML, like Gecko) "
    "Chrome/137.0.0.0 Safari/537.36 OPR/122.0.0.0",
    "Chrome on a Chromebook": "Mozilla/5.0 (X11; CrOS x86_64 14541.0.0) AppleWebKit/537.36 "
    "(KHTML, like Gecko) Chrome/138.0.0.0 Safari/537.36",
    "A browser on some device": "curl/8.14.1",
}
IPHONE = AGENTS["Safari on an iPhone"]


def writes(queries) -> list[str]:
    return [
        each["sql"]
        for each in queries
        if each["sql"].lstrip().upper().startswith(("INSERT", "UPDATE", "DELETE"))
    ]


def age(client: Client, seconds: float) -> None:
    """Let it be so long since this device was last kept as seen."""
    session = client.session
    session["seen"] = int(time.time() - seconds)
    session.save()


@pytest.mark.parametrize(("words", "agent"), AGENTS.items())
def test_device_is_told_in_plain_words(words, agent):
    assert described(agent) == words


def test_agent_that_is_hostile_comes_to_the_same_few_words(client, owner):
    path = sign_in_path(owner)
    client.post(path, HTTP_USER_AGENT="<script>alert(1)</script>" * 1000)
    assert Device.objects.get().words == "A browser on some device"


@pytest.mark.parametrize(
    ("ago", "words"),
    [
        (timedelta(0), "just now"),
        (timedelta(minutes=10, seconds=-1), "just now"),
        (timedelta(minutes=10), "within the hour"),
        (timedelta(hours=1), "within a day"),
        (timedelta(hours=24, seconds=-1), "within a day"),
        (timedelta(days=1), "1 day ago"),
        (timedelta(days=9, hours=23), "9 days ago"),
    ],
)
def test_seen_is_told_no_finer_than_it_is_kept(ago, words):
    now = datetime(2026, 11, 25, 12, tzinfo=UTC)
    assert roughly(now - ago, now) == words


def test_sign_in_keeps_a_device_and_how_it_came(client, owner):
    ida = make_person("ida", role="inspector")
    client.post(sign_in_path(ida, made_by=owner), HTTP_USER_AGENT=IPHONE)
    device = ida.devices.get()
    assert (device.words, device.by_link, device.link_by) == ("Safari on an iPhone", True, owner)
    assert device.session_key == client.session.session_key
    page = client.get(reverse("people:preferences")).content.decode()
    assert "by a link that owner made" in page
    assert page.count("this one") == 1


def test_sign_out_removes_the_device(client, owner):
    client.post(sign_in_path(owner))
    client.post(reverse("people:sign-out"))
    assert not Device.objects.exists()
    assert not Session.objects.exists()


def test_pages_when_read_write_nothing(client, owner):
    client.post(sign_in_path(owner))
    with CaptureQueriesContext(
        connection,
    ) as asked:
        for _ in range(3):
            client.get(reverse("bench:start"))
    assert asked.captured_queries
    assert writes(asked.captured_queries) == []


def test_seen_is_written_once_in_five_minutes_and_renews_the_session(client, owner):
    client.post(sign_in_path(owner))
    long_ago = datetime(2026, 1, 1, tzinfo=UTC)
    Device.objects.update(seen_at=long_ago)
    age(client, 299)
    client.get(reverse("bench:start"))
    assert Device.objects.get().seen_at == long_ago
    age(client, 301)
    before = Session.objects.get().expire_date
    with CaptureQueriesContext(connection) as asked:
        client.get(reverse("bench:start"))
    assert Device.objects.get().seen_at > long_ago
    assert len(writes(asked.captured_queries)) == 2  # the device and its session
    assert Session.objects.get().expire_date > before
    with CaptureQueriesContext(connection) as asked:
        client.get(reverse("bench:start"))
    assert writes(asked.captured_queries) == []


def test_session_from_before_devices_were_kept_gets_one(client, owner):
    client.force_login(owner)
    Device.objects.all().delete()
    session = client.session
    del session["device"], session["seen"]
    session.save()
    client.get(reverse("bench:start"), HTTP_USER_AGENT=IPHONE)
    assert Device.objects.get().words == "Safari on an iPhone"


def test_device_when_ended_is_out_at_once_and_stays_out(client, owner):
    phone = Client()
    phone.post(sign_in_path(owner), HTTP_USER_AGENT=IPHONE)
    client.force_login(owner)
    assert len(owner.devices.all()) == 2
    device = owner.devices.get(words="Safari on an iPhone")
    age(phone, 400)
    answer = client.post(reverse("people:end-device", args=[device.pk]), follow=True)
    assert "Safari on an iPhone is signed out." in answer.content.decode()
    assert phone.get(reverse("bench:start")).status_code == 302
    assert owner.devices.count() == 1
    assert client.get(reverse("bench:start")).status_code == 200


def test_device_when_one_ends_this_one_is_signed_out_here(client, owner):
    client.force_login(owner)
    device = owner.devices.get()
    answer = client.post(reverse("people:end-device", args=[device.pk]))
    assert answer.url == reverse("people:sign-in")
    assert client.get(reverse("bench:start")).status_code == 302
    assert not Session.objects.exists()


def test_device_of_somebody_else_is_none_of_ones_business(client, owner):
    Client().force_login(owner)
    theirs = owner.devices.get()
    client.force_login(make_person("guest", role="visitor"))
    assert client.post(reverse("people:end-device", args=[theirs.pk])).status_code == 404
    assert Device.objects.filter(pk=theirs.pk).exists()


def test_others_when_ended_are_all_but_this_one_even_unkept_ones(client, owner):
    others = [Client() for _ in range(3)]
    for each in others:
        each.force_login(owner)
    Device.objects.filter(session_key=others[0].session.session_key).delete()
    someone = Client()
    someone.force_login(make_person("someone"))
    client.force_login(owner)
    said = client.post(reverse("people:end-others"), follow=True).content.decode()
    assert "signed out" in said
    assert [each.get(reverse("bench:start")).status_code for each in others] == [302] * 3
    assert client.get(reverse("bench:start")).status_code == 200
    assert someone.get(reverse("bench:start")).status_code == 200


def test_sign_in_removes_what_is_over(client, owner):
    old = Client()
    old.force_login(owner)
    Session.objects.update(expire_date=datetime(2026, 1, 1, tzinfo=UTC))
    client.force_login(owner)
    assert [each.session_key for each in Device.objects.all()] == [client.session.session_key]
    assert Session.objects.count() == 1


def test_page_when_the_record_is_locked_is_read_all_the_same(client, owner, monkeypatch):
    """What a lock held for longer than the wait raises, raised here where it would be."""
    from django.db import OperationalError

    client.force_login(owner)
    age(client, 400)

    def locked(request):
        raise OperationalError("database is locked")

    monkeypatch.setattr(devices, "note_seen", locked)
    assert client.get(reverse("bench:start")).status_code == 200
