"""The sign-in address works once, and a look does not use it up."""

import pytest
from django.urls import reverse

from inventory.people.links import person_for, sign_in_path
from inventory.people.models import Person
from tests.factories import make_person

pytestmark = pytest.mark.django_db


def test_address_when_looked_at_shows_a_button_and_stays_good(client, owner):
    path = sign_in_path(owner)
    for _ in range(3):
        page = client.get(path)
        assert page.status_code == 200
        assert "Sign in as owner" in page.content.decode()
    assert "_auth_user_id" not in client.session


def test_address_when_used_signs_in_once(client, owner):
    path = sign_in_path(owner)
    assert client.post(path).url == reverse("bench:start")
    assert client.session["_auth_user_id"] == str(owner.pk)
    client.logout()
    again = client.post(path)
    assert again.status_code == 410
    assert "used up" in again.content.decode()
    assert "_auth_user_id" not in client.session


def test_every_address_dies_when_one_is_used(client, owner):
    first, second = sign_in_path(owner), sign_in_path(owner)
    client.post(first)
    client.logout()
    assert client.post(second).status_code == 410


def test_address_when_too_old_is_refused(client, owner, settings):
    path = sign_in_path(owner)
    settings.PASSWORD_RESET_TIMEOUT = -1
    assert client.get(path).status_code == 410


@pytest.mark.parametrize(
    ("who", "token"),
    [("MQ", "x-y"), ("!!", "a"), ("OTk5OTk5", "a-b"), ("ZZZZZZZZZZZZZZZZZZ", "-")],
)
def test_address_when_made_up_is_refused(client, owner, who, token):
    assert person_for(who, token) is None
    assert client.get(reverse("people:arrive", args=[who, token])).status_code == 410


def test_address_of_someone_put_out_is_refused(client, owner):
    path = sign_in_path(owner)
    Person.objects.update(is_active=False)
    assert client.post(path).status_code == 410


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


def test_password_when_set_signs_in_by_name(client, owner):
    client.force_login(owner)
    weak = client.post(
        reverse("people:set-password"), {"new_password1": "short", "new_password2": "short"}
    )
    assert "too short" in weak.content.decode()
    good = {"new_password1": "brass-valve-gear", "new_password2": "brass-valve-gear"}
    client.post(reverse("people:set-password"), good)
    assert client.get(reverse("bench:start")).status_code == 200  # still signed in
    client.logout()
    client.post(reverse("people:sign-in"), {"username": "owner", "password": "brass-valve-gear"})
    assert client.get(reverse("bench:start")).status_code == 200


def test_visitor_reads_but_does_not_write(client):
    client.force_login(make_person("guest", role=Person.Role.VISITOR))
    assert client.get(reverse("stock:vehicle-list")).status_code == 200
    refused = client.get(reverse("bench:log"))
    assert refused.status_code == 403
    assert "Visitors read" in refused.content.decode()
