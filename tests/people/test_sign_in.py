"""Sign-in addresses work once, a look does not use them up, and no other way in is left open."""

import hashlib
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test import Client
from django.urls import reverse

from inventory.people.links import (
    MOST_MADE,
    QUARTER_HOUR,
    LinkRefused,
    living_link,
    look_up,
    sign_in_path,
    take_back,
    use,
)
from inventory.people.models import Person, SignInLink
from tests.factories import make_person
from tests.people.at_once import at_once

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)


def token_of(path: str) -> str:
    return path.rstrip("/").rpartition("/")[2]


def signed_in(client) -> str | None:
    return client.session.get("_auth_user_id")


def test_address_when_looked_at_shows_a_button_and_stays_good(client, owner):
    path = sign_in_path(owner)
    for _ in range(3):
        page = client.get(path)
        assert page.status_code == 200
        assert "Sign in as owner" in page.content.decode()
        assert "no-store" in page["Cache-Control"]
    assert signed_in(client) is None


def test_address_when_used_signs_in_once(client, owner):
    path = sign_in_path(owner)
    assert client.post(path).url == reverse("bench:start")
    assert signed_in(client) == str(owner.pk)
    client.logout()
    again = client.post(path)
    assert again.status_code == 410
    assert "used up" in again.content.decode()
    assert signed_in(client) is None


def test_address_when_a_newer_is_made_is_refused(client, owner):
    first, second = sign_in_path(owner), sign_in_path(owner)
    assert client.post(first).status_code == 410
    assert client.post(second).status_code == 302


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_address_when_four_use_it_at_once_then_one_comes_in():
    person = make_person()
    for _ in range(5):
        token = token_of(sign_in_path(person))
        came = at_once([lambda token=token: use(token) is not None] * 4)
        assert sorted(came) == [False, False, False, True]


def test_address_lives_an_hour_or_as_long_as_said_to_the_second(owner):
    for lives in (timedelta(hours=1), QUARTER_HOUR):
        path = sign_in_path(owner, lives=lives, moment=NOON)
        assert look_up(token_of(path)).is_good(NOON + lives - timedelta(seconds=1))
        assert not look_up(token_of(path)).is_good(NOON + lives)
        assert use(token_of(path), NOON + lives) is None
        assert use(token_of(path), NOON + lives - timedelta(seconds=1)) is not None


def test_address_is_random_and_only_its_digest_is_kept(owner):
    """RFC 6749, 10.10 (from memory): better no more than a chance of 2^-160 to guess one."""
    tokens = [token_of(sign_in_path(owner)) for _ in range(50)]
    assert len(set(tokens)) == 50
    # 27 of base 64 hold 160 bits; they look like what no clock or counter gives.
    assert {len(token) for token in tokens} == {27}
    assert all(len({token[at] for token in tokens}) > 10 for at in range(26))
    kept = SignInLink.objects.latest("pk")
    assert kept.digest == hashlib.sha256(tokens[-1].encode()).hexdigest()
    with connection.cursor() as cursor:
        cursor.execute("SELECT * FROM people_signinlink")
        assert not any(tokens[-1] in str(row) for row in cursor.fetchall())


def test_address_when_taken_back_is_refused(client, owner):
    path = sign_in_path(owner)
    assert living_link(owner) is not None
    assert take_back(owner) == 1
    assert living_link(owner) is None
    assert client.get(path).status_code == 410
    assert client.post(path).status_code == 410


@pytest.mark.parametrize("token", ["x", "..", "a" * 27, "MQ", "'; DROP", "ü", "x" * 3000])
def test_address_when_made_up_is_refused(client, owner, token):
    sign_in_path(owner)
    assert look_up(token) is None
    assert client.get(reverse("people:arrive", args=[token])).status_code == 410
    assert client.post(reverse("people:arrive", args=[token])).status_code == 410
    assert signed_in(client) is None


def test_address_of_someone_put_out_is_refused_and_none_is_made(client, owner):
    path = sign_in_path(owner)
    Person.objects.update(is_active=False)
    assert client.post(path).status_code == 410
    with pytest.raises(LinkRefused, match="has been put out"):
        sign_in_path(owner)


@pytest.mark.parametrize("change", [{"is_active": False}, {"role": "inspector"}])
def test_address_that_an_owner_made_for_another_dies_with_that_owners_rights(
    client, owner, change
):
    other, third = make_person("other"), make_person("third", role="visitor")
    path = sign_in_path(third, made_by=other)
    Person.objects.filter(pk=other.pk).update(**change)
    assert living_link(third) is None
    assert client.post(path).status_code == 410


def test_address_when_an_inspector_makes_it_for_themselves_is_good(client, owner):
    inspector = make_person("inspector", role="inspector")
    assert client.post(sign_in_path(inspector, made_by=inspector)).status_code == 302


def test_addresses_when_made_by_the_dozen_are_refused_for_a_while(owner):
    for _ in range(MOST_MADE):
        sign_in_path(owner, made_by=owner, moment=NOON)
    with pytest.raises(LinkRefused, match="in a quarter of an hour are enough"):
        sign_in_path(owner, made_by=owner, moment=NOON + QUARTER_HOUR - timedelta(seconds=1))
    sign_in_path(owner, moment=NOON)  # the program's own is not counted
    sign_in_path(owner, made_by=owner, moment=NOON + QUARTER_HOUR)


def test_addresses_when_a_day_over_are_removed(owner):
    old = sign_in_path(owner, moment=NOON, lives=QUARTER_HOUR)
    sign_in_path(owner, moment=NOON + QUARTER_HOUR + timedelta(days=1))
    assert look_up(token_of(old)) is not None
    sign_in_path(owner, moment=NOON + QUARTER_HOUR + timedelta(days=1, seconds=1))
    assert look_up(token_of(old)) is None


def test_address_when_somebody_else_is_signed_in_says_so_and_changes_over(client, owner):
    ida = make_person("ida", first_name="Ida", role="inspector")
    client.force_login(owner)
    path = sign_in_path(ida)
    page = client.get(path).content.decode()
    assert "signs owner out on this device, and Ida" in page
    assert signed_in(client) == str(owner.pk)
    client.post(path)
    assert signed_in(client) == str(ida.pk)
    assert owner.devices.count() == 0
    assert ida.devices.count() == 1


def test_address_when_its_person_is_signed_in_says_so(client, owner):
    client.force_login(owner)
    path = sign_in_path(owner)
    assert "on this device already" in client.get(path).content.decode()
    client.post(path)
    assert signed_in(client) == str(owner.pk)
    assert owner.devices.count() == 1


def test_address_when_a_visitor_is_signed_in_lets_another_in(client, owner):
    client.force_login(make_person("guest", role="visitor"))
    client.post(sign_in_path(owner))
    assert signed_in(client) == str(owner.pk)


def test_address_needs_the_form_of_its_page(owner):
    """Another site cannot sign somebody in as somebody else (login CSRF)."""
    strict = Client(enforce_csrf_checks=True)
    path = sign_in_path(owner)
    assert strict.post(path).status_code == 403
    assert living_link(owner) is not None


@pytest.mark.parametrize("name", ["bench:start", "stock:vehicle-list", "people:preferences"])
def test_page_without_sign_in_sends_to_sign_in(client, name):
    answer = client.get(reverse(name))
    assert answer.status_code == 302
    assert answer.url.startswith(reverse("people:sign-in"))


def test_preferences_when_saved_are_kept(client, owner):
    client.force_login(owner)
    client.post(
        reverse("people:preferences"),
        {"first_name": "Ida", "last_name": "", "unit": "in", "rule": "simple"},
    )
    owner.refresh_from_db()
    assert (owner.unit, owner.rule, str(owner)) == ("in", "simple", "Ida")


@pytest.mark.parametrize(("first", "last"), [("ida", "BERG"), ("", "Owner"), ("ｏwner", "")])
def test_preferences_when_they_would_name_two_alike_are_refused(client, owner, first, last):
    make_person("x", first_name="Ida", last_name="Berg")
    other = make_person("other", role="visitor")
    client.force_login(other)
    page = client.post(
        reverse("people:preferences"),
        {"first_name": first, "last_name": last, "unit": "mm", "rule": "simple"},
    ).content.decode()
    assert "could not tell you apart" in page
    other.refresh_from_db()
    assert str(other) == "other"


def test_visitor_reads_but_does_not_write(client):
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    assert client.get(reverse("stock:vehicle-list")).status_code == 200
    refused = client.get(reverse("bench:log"))
    assert refused.status_code == 403
    assert "Visitors read" in refused.content.decode()
