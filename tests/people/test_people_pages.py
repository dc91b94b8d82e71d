"""People: added, named, put out and let in by an owner, of whom one always stays."""

import re

import pytest
from django.test import Client
from django.urls import reverse

from inventory.people.admitting import PeopleRefused, admit, amend_person, put_out
from inventory.people.links import living_link, sign_in_path
from inventory.people.models import Person
from inventory.people.showing import is_loopback
from tests.factories import make_person, make_vehicle
from tests.people.at_once import at_once

pytestmark = pytest.mark.django_db


@pytest.fixture
def office(client, owner):
    """The owner's browser."""
    client.force_login(owner)
    return client


def words(answer) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode().split("<main")[1]).split())


def test_person_when_added_comes_in_by_a_link_and_has_their_role(office):
    answer = office.post(
        reverse("people:new-person"), {"name": "Ida van Berg", "role": "visitor"}, follow=True
    )
    ida = Person.objects.get(username="ida.van.berg")
    assert (str(ida), ida.role, ida.has_usable_password()) == ("Ida van Berg", "visitor", False)
    assert "Ida van Berg is added" in words(answer)
    page = office.post(reverse("people:link", args=[ida.pk])).content.decode()
    address = re.search(r"<code>(http://testserver/arrive/[\w-]+/)</code>", page).group(1)
    phone = Client()
    assert phone.post(address).status_code == 302
    assert phone.get(reverse("stock:vehicle-list")).status_code == 200
    assert phone.get(reverse("bench:log")).status_code == 403
    listed = words(office.get(reverse("people:people")))
    assert "Ida van Berg visitor signed in on 1 device" in listed
    assert "owner owner, you signed in on 1 device" in listed


@pytest.mark.parametrize(
    ("name", "sign_in_name"),
    [
        ("Åsa Öberg", "asa.oberg"),
        ("O'Brien", "o.brien"),
        ("李雷", "person"),
        ("owner!", "owner.2"),
        ("  Ida   Berg ", "ida.berg"),
    ],
)
def test_sign_in_name_is_made_of_the_name(owner, name, sign_in_name):
    assert admit(name=name, role="visitor").username == sign_in_name


@pytest.mark.parametrize("name", ["Ida Berg", "ida  BERG", "OWNER", "ｉda berg", "Ida\u200d Berg"])
def test_person_when_called_like_another_is_refused(office, name):
    put = make_person("x", first_name="Ida", last_name="Berg", is_active=False)
    answer = office.post(reverse("people:new-person"), {"name": name, "role": "visitor"})
    assert answer.status_code == 422
    assert "already, perhaps among those put out" in words(answer)
    assert Person.objects.count() == 2
    assert put.pk


@pytest.mark.parametrize(
    ("data", "said"),
    [
        ({"name": "", "role": "visitor"}, "This field is required"),
        ({"name": "Ida", "role": "king"}, "Select a valid choice"),
        ({"name": "x" * 121, "role": "visitor"}, "at most 120"),
        ({"name": "Ida\u200b Berg", "role": "visitor"}, "nobody sees: ZERO WIDTH SPACE (U+200B)"),
        ({"name": "\u202egreB adI", "role": "visitor"}, "RIGHT-TO-LEFT OVERRIDE (U+202E)"),
        ({"name": "...", "role": "visitor"}, "“...” has no letter in it"),
    ],
)
def test_person_when_badly_filled_in_is_refused(office, data, said):
    answer = office.post(reverse("people:new-person"), data)
    assert answer.status_code == 422
    assert said in words(answer)


@pytest.mark.parametrize("field", ["first_name", "last_name"])
def test_own_name_when_it_has_what_nobody_sees_is_refused(office, owner, field):
    names = {"first_name": "Ida", "last_name": "Berg", field: "Berg\u200b"}
    answer = office.post(reverse("people:preferences"), {**names, "unit": "mm", "rule": "95%"})
    assert "nobody sees: ZERO WIDTH SPACE (U+200B)" in words(answer)
    owner.refresh_from_db()
    assert owner.get_full_name() == ""


def test_person_when_changed_is_kept_and_has_the_new_role_at_once(office):
    ida = make_person("ida", role="visitor")
    phone = Client()
    phone.force_login(ida)
    page = reverse("people:person", args=[ida.pk])
    office.post(page, {"name": "Ida Berg", "username": "iberg", "role": "inspector"})
    ida.refresh_from_db()
    assert (str(ida), ida.username, ida.role) == ("Ida Berg", "iberg", "inspector")
    assert phone.get(reverse("bench:log")).status_code == 200
    taken = office.post(page, {"name": "Ida Berg", "username": "OWNER", "role": "inspector"})
    assert "somebody else's sign-in name" in taken.content.decode().replace("&#x27;", "'")
    odd = office.post(page, {"name": "Ida Berg", "username": "a b", "role": "inspector"})
    assert odd.status_code == 422


def test_person_when_put_out_is_out_everywhere_and_stays_in_the_record(office):
    ida = make_person("ida", role="inspector", password="brass-valve-gear")
    vehicle = make_vehicle(ida)
    phone = Client()
    phone.force_login(ida)
    link = sign_in_path(ida)
    office.post(reverse("people:put-out", args=[ida.pk]))
    assert phone.get(reverse("bench:start")).status_code == 302
    assert Client().post(link).status_code == 410
    tried = Client().post(
        reverse("people:sign-in"), {"username": "ida", "password": "brass-valve-gear"}
    )
    assert tried.status_code == 200
    assert ida.devices.count() == 0
    vehicle.refresh_from_db()
    assert vehicle.logged_by == ida
    assert "ida" in words(office.get(reverse("people:people")))
    assert "has been put out" in words(
        office.post(reverse("people:link", args=[ida.pk]), follow=True)
    )

    office.post(reverse("people:let-in", args=[ida.pk]))
    assert phone.get(reverse("bench:start")).status_code == 302  # the old session stays ended
    again = Client().post(
        reverse("people:sign-in"), {"username": "ida", "password": "brass-valve-gear"}
    )
    assert again.status_code == 302


@pytest.mark.parametrize("page", ["people:put-out", "people:end-device-of"])
def test_owner_when_ending_their_own_device_after_a_while_is_sent_to_sign_in(office, owner, page):
    """After five minutes the same request writes that the device was seen."""
    make_person("ida", role="owner")
    office.get(reverse("people:people"))
    kept = office.session
    kept["seen"] -= 6 * 60
    kept.save()
    wanted = [owner.pk] if page == "people:put-out" else [owner.pk, owner.devices.get().pk]
    answer = office.post(reverse(page, args=wanted))
    assert (answer.status_code, answer.url) == (302, reverse("people:sign-in"))
    assert office.get(reverse("people:people")).status_code == 302
    assert not owner.devices.exists()


def test_last_owner_is_neither_demoted_nor_put_out(office, owner):
    make_person("gone", is_active=False)
    make_person("ida", role="inspector")
    said = words(office.post(reverse("people:put-out", args=[owner.pk]), follow=True))
    assert "owner is the last owner" in said
    answer = office.post(
        reverse("people:person", args=[owner.pk]),
        {"name": "owner", "username": "owner", "role": "inspector"},
    )
    assert answer.status_code == 422
    assert "is the last owner" in words(answer)
    assert reverse("people:put-out", args=[owner.pk]) not in answer.content.decode()
    owner.refresh_from_db()
    assert owner.is_owner
    assert owner.is_active


def test_owner_when_another_stays_may_step_down(office, owner):
    make_person("ida")
    answer = office.post(
        reverse("people:person", args=[owner.pk]),
        {"name": "owner", "username": "owner", "role": "visitor"},
    )
    assert answer.url == reverse("people:preferences")
    assert office.get(reverse("people:people")).status_code == 403


def _refused(doing) -> bool:
    try:
        doing()
    except PeopleRefused:
        return True
    return False


@pytest.mark.django_db(transaction=True, serialized_rollback=True)
def test_two_owners_who_put_each_other_out_at_once_leave_one():
    for n in range(4):
        first, second = make_person(f"a{n}"), make_person(f"b{n}")
        came = at_once(
            [
                lambda first=first: _refused(lambda: put_out(person=first)),
                lambda second=second: _refused(
                    lambda: amend_person(
                        person=second, name=str(second), username=second.username, role="visitor"
                    )
                ),
            ]
        )
        assert sorted(came) == [False, True]
        assert Person.objects.filter(role="owner", is_active=True).count() == 1
        Person.objects.filter(role="owner").update(role="visitor")


def test_password_when_taken_signs_out_and_a_link_sets_another(office, owner):
    ida = make_person("ida", role="inspector", password="brass-valve-gear")
    phone = Client()
    phone.force_login(ida)
    office.post(reverse("people:take-password", args=[ida.pk]))
    ida.refresh_from_db()
    assert not ida.has_usable_password()
    assert phone.get(reverse("bench:start")).status_code == 302
    phone.post(sign_in_path(ida))
    new = {"new_password1": "walschaerts-gear", "new_password2": "walschaerts-gear"}
    phone.post(reverse("people:set-password"), new)
    ida.refresh_from_db()
    assert ida.check_password("walschaerts-gear")


def test_password_of_ones_own_is_not_taken_but_changed(office, owner):
    owner.set_password("brass-valve-gear")
    owner.save()
    office.force_login(owner)
    assert office.post(reverse("people:take-password", args=[owner.pk])).status_code == 404
    owner.refresh_from_db()
    assert owner.has_usable_password()


def test_owner_ends_one_device_of_somebody_or_all(office):
    ida = make_person("ida", role="visitor")
    phones = [Client() for _ in range(3)]
    for each in phones:
        each.force_login(ida)
    first = ida.devices.get(session_key=phones[0].session.session_key)
    office.post(reverse("people:end-device-of", args=[ida.pk, first.pk]))
    inside = [each.get(reverse("bench:start")).status_code for each in phones]
    assert inside == [302, 200, 200]
    office.post(reverse("people:end-devices", args=[ida.pk]))
    inside = [each.get(reverse("bench:start")).status_code for each in phones]
    assert inside == [302, 302, 302]
    assert office.get(reverse("people:people")).status_code == 200


@pytest.mark.parametrize("role", ["inspector", "visitor"])
def test_others_see_nothing_of_it_but_their_own(client, owner, role):
    client.force_login(make_person("ida", role=role))
    page = client.get(reverse("people:preferences")).content.decode()
    assert f'href="{reverse("people:people")}' not in page
    assert "Sign in on a phone" in page
    refused = client.get(reverse("people:people"))
    assert refused.status_code == 403
    assert "That is for the owner" in words(refused)


def test_link_when_taken_back_by_page_is_gone(office, owner):
    page = office.post(reverse("people:phone"))
    assert page["Cache-Control"].count("no-store") == 1
    assert living_link(owner) is not None
    assert "is still good for" in words(office.get(reverse("people:preferences")))
    office.post(reverse("people:take-phone-back"))
    assert living_link(owner) is None
    office.post(reverse("people:link", args=[owner.pk]))
    office.post(reverse("people:take-link-back", args=[owner.pk]))
    assert living_link(owner) is None


@pytest.mark.parametrize(
    ("host", "is_own"),
    [
        ("localhost:8000", True),
        ("127.0.0.1:8000", True),
        ("127.8.9.1", True),
        ("[::1]:8000", True),
        ("railway.localhost", True),
        ("0.0.0.0:8000", True),
        ("[::ffff:127.0.0.1]", True),
        ("192.168.1.20:8000", False),
        ("10.0.0.5", False),
        ("[fd00::5]:8000", False),
        ("clubhouse.local:8000", False),
        ("localhost.example", False),
    ],
)
def test_loopback_is_told_from_what_a_phone_can_reach(host, is_own):
    """RFC 6761, 6.3; RFC 1122, 3.2.1.3; RFC 4291, 2.5.3; private ranges of RFC 1918 and 4193."""
    assert is_loopback(host) is is_own


def test_link_page_on_loopback_says_that_a_phone_cannot_reach_it(office, settings):
    settings.ALLOWED_HOSTS = ["127.0.0.1"]
    page = office.post(reverse("people:phone"), HTTP_HOST="127.0.0.1:8000")
    assert "A phone cannot reach this." in words(page)
    assert "start --network" in words(page)
    assert "http://127.0.0.1:8000/arrive/" in words(page)
    assert "<svg" not in page.content.decode()


def test_people_page_asks_no_more_for_many(office, django_assert_num_queries):
    for n in range(12):
        phone = Client()
        phone.force_login(make_person(f"p{n}", role="visitor"))
    with django_assert_num_queries(4):
        office.get(reverse("people:people"))
