"""Setting a password, and how often one may be tried."""

from datetime import UTC, datetime, timedelta

import pytest
from django.contrib.auth import hashers
from django.test import Client
from django.urls import reverse

from inventory.people import guarding
from inventory.people.guarding import TooMany, address_of, begin_attempt
from inventory.people.links import sign_in_path
from inventory.people.models import Person, SignInTally
from tests.factories import make_person

pytestmark = pytest.mark.django_db
GOOD, OTHER = "brass-valve-gear", "walschaerts-gear"
NOON = datetime(2026, 11, 25, 12, tzinfo=UTC)
SIGN_IN = "/sign-in/"


@pytest.fixture(autouse=True)
def quick_digests(settings):
    """Most of these sign in dozens of times; what a digest costs is looked at in one of them."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]


@pytest.fixture
def ida(db):
    return make_person("ida", password=GOOD, role="inspector")


def try_in(name="ida", password="wrong", address="10.0.0.9", client=None):
    client = client or Client()
    return client.post(SIGN_IN, {"username": name, "password": password}, REMOTE_ADDR=address)


def is_in(answer) -> bool:
    return answer.status_code == 302


def later(monkeypatch, minutes: float) -> None:
    now = guarding.timezone.now() + timedelta(minutes=minutes)
    monkeypatch.setattr(guarding.timezone, "now", lambda: now)


# --- Setting one ------------------------------------------------------------------------------


def test_password_when_set_signs_in_by_name(client, owner):
    client.force_login(owner)
    page = reverse("people:set-password")
    form = client.get(reverse("people:preferences")).content.decode()
    # What keeps passwords for people goes by this, and would not know whose it is.
    assert 'value="owner" autocomplete="username"' in form
    weak = client.post(page, {"new_password1": "short", "new_password2": "short"})
    assert "too short" in weak.content.decode()
    client.post(page, {"new_password1": GOOD, "new_password2": GOOD})
    assert client.get(reverse("bench:start")).status_code == 200  # still signed in
    client.logout()
    assert is_in(try_in("owner", GOOD, client=client))
    assert client.get(reverse("bench:start")).status_code == 200


@pytest.mark.parametrize("old", [{}, {"old_password": ""}, {"old_password": "wrong"}])
def test_password_when_there_is_one_is_asked_for(client, ida, old):
    client.force_login(ida)
    new = {"new_password1": OTHER, "new_password2": OTHER}
    client.post(reverse("people:set-password"), {**new, **old})
    ida.refresh_from_db()
    assert ida.check_password(GOOD)
    client.post(reverse("people:set-password"), {**new, "old_password": GOOD})
    ida.refresh_from_db()
    assert ida.check_password(OTHER)


def test_password_when_guessed_at_somebodys_phone_is_refused_after_five(client, ida):
    client.force_login(ida)
    page = reverse("people:set-password")
    new = {"new_password1": OTHER, "new_password2": OTHER}
    for _ in range(5):
        client.post(page, {**new, "old_password": "wrong"})
    said = client.post(page, {**new, "old_password": GOOD}).content.decode()
    assert "Too many sign-ins failed" in said
    ida.refresh_from_db()
    assert ida.check_password(GOOD)


def test_password_when_set_ends_all_other_devices_and_links(client, ida):
    phone = Client()
    phone.force_login(ida)
    client.force_login(ida)
    link = sign_in_path(ida)
    client.post(
        reverse("people:set-password"),
        {"old_password": GOOD, "new_password1": OTHER, "new_password2": OTHER},
    )
    assert client.get(reverse("bench:start")).status_code == 200
    assert phone.get(reverse("bench:start")).status_code == 302
    assert Client().post(link).status_code == 410
    assert [each.session_key for each in ida.devices.all()] == [client.session.session_key]


# --- Trying one -------------------------------------------------------------------------------


def test_name_is_refused_after_five_failures_for_a_quarter_of_an_hour(ida, monkeypatch):
    for n in range(5):
        answer = try_in(address=f"10.0.0.{n}")
        assert answer.status_code == 200
        assert "do not go together" in answer.content.decode()
    refused = try_in(password=GOOD, address="10.0.0.77")
    assert refused.status_code == 429
    assert "Too many sign-ins failed. Wait 15 minutes" in refused.content.decode()
    assert 0 < int(refused["Retry-After"]) <= 900
    later(monkeypatch, 14.9)
    assert try_in(password=GOOD).status_code == 429
    later(monkeypatch, 0.2)
    assert is_in(try_in(password=GOOD))


def test_four_failures_are_forgiven_by_a_success_and_by_time(ida, monkeypatch):
    for _ in range(4):
        try_in()
    assert is_in(try_in(password=GOOD))
    for _ in range(4):
        try_in()
    later(monkeypatch, 15.1)
    for _ in range(4):
        try_in()
    assert is_in(try_in(password=GOOD))


def test_failures_are_counted_in_a_window_that_moves():
    """Four and four about any border are eight: the fifth within a quarter of an hour refuses."""
    for minute in (0, 12, 13, 14):
        begin_attempt(name="ida", address="a", moment=NOON + timedelta(minutes=minute))
    begin_attempt(name="ida", address="a", moment=NOON + timedelta(minutes=15.5))
    begin_attempt(name="ida", address="a", moment=NOON + timedelta(minutes=16))
    with pytest.raises(TooMany):
        begin_attempt(name="ida", address="a", moment=NOON + timedelta(minutes=16.5))


def test_knocking_on_does_not_keep_the_door_shut(ida, monkeypatch):
    for _ in range(5):
        try_in()
    for _ in range(30):
        assert try_in().status_code == 429
    later(monkeypatch, 15.1)
    assert is_in(try_in(password=GOOD))


def test_refusal_is_the_same_whether_the_name_exists(ida):
    for name in ("ida", "nobody"):
        for _ in range(5):
            try_in(name)
    known, unknown = (try_in(name).content.decode() for name in ("ida", "nobody"))
    both = [page.split("<main")[1].split("csrf")[0] for page in (known, unknown)]
    assert both[0] == both[1]
    assert "ida" not in both[0]


def test_spellings_of_a_name_are_one_name(ida):
    for name in ("ida", "IDA", " ida ", "Ida", "ｉda"):
        try_in(name)
    assert try_in(password=GOOD).status_code == 429


def test_address_is_refused_after_twenty_failures_of_any_name(ida):
    for n in range(20):
        assert try_in(f"guess{n}").status_code == 200
    assert try_in("ida", GOOD).status_code == 429
    assert is_in(try_in("ida", GOOD, address="10.0.0.10"))


def test_address_is_not_cleared_by_signing_in_as_oneself(ida):
    """Or whoever may come in as one could try the passwords of all the others."""
    for n in range(19):
        try_in(f"guess{n}")
    assert is_in(try_in("ida", GOOD))
    try_in("guess20")
    assert try_in("ida", GOOD).status_code == 429


def test_owner_who_is_locked_out_comes_in_by_a_link(owner):
    owner.set_password(GOOD)
    owner.save()
    for n in range(25):
        try_in("owner" if n % 2 else f"guess{n}", address="10.0.0.9")
    assert try_in("owner", GOOD).status_code == 429
    path = sign_in_path(owner)
    assert Client().get(path, REMOTE_ADDR="10.0.0.9").status_code == 200
    assert Client().post(path, REMOTE_ADDR="10.0.0.9").status_code == 302


def test_wrong_links_are_refused_after_twenty_and_count_with_passwords(owner, ida):
    client = Client(REMOTE_ADDR="10.0.0.9")
    for n in range(20):
        assert client.get(f"/arrive/guess{n}/").status_code == 410
    refused = client.get("/arrive/guess/")
    assert refused.status_code == 429
    assert "Too many sign-ins failed" in refused.content.decode()
    assert try_in("ida", GOOD, address="10.0.0.9").status_code == 429
    assert SignInTally.objects.count() == 1


def test_links_that_are_used_up_are_no_guesses(owner):
    path = sign_in_path(owner)
    Client().post(path)
    for _ in range(25):
        assert Client().get(path).status_code == 410
    assert not SignInTally.objects.exists()


def test_hundred_attempts_at_once_are_counted_before_any_is_looked_at():
    """Each is counted when it begins, so that none of them needs to have failed yet."""
    for _ in range(5):
        begin_attempt(name="ida", address="a", moment=NOON)
    with pytest.raises(TooMany):
        begin_attempt(name="ida", address="b", moment=NOON)


def test_names_are_not_kept_in_the_open(ida):
    """Somebody will type a password into the box of the name."""
    try_in("my-secret-password")
    keys = "".join(SignInTally.objects.values_list("key", flat=True))
    assert "secret" not in keys
    assert "address:10.0.0.9" in keys


def test_old_tallies_are_removed(ida, monkeypatch):
    try_in("a", address="10.0.0.1")
    later(monkeypatch, 30.1)
    try_in("b", address="10.0.0.2")
    assert SignInTally.objects.count() == 2
    assert not SignInTally.objects.filter(key="address:10.0.0.1").exists()


@pytest.mark.parametrize(
    ("given", "counted"),
    [
        ("192.168.1.20", "192.168.1.20"),
        ("::ffff:192.168.1.20", "192.168.1.20"),
        ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"),
        ("", "unknown"),
        ("nonsense", "unknown"),
    ],
)
def test_address_is_counted_as_one_machine_may_vary_it(rf, given, counted):
    """The /64 that RFC 4291, 2.5.4, leaves to a machine; 2001:db8::/32 is RFC 3849's."""
    assert address_of(rf.get("/", REMOTE_ADDR=given)) == counted


@pytest.mark.parametrize("name", ["ida", "nobody", "out", "unset"])
def test_unknown_name_costs_as_much_as_a_known_one(settings, db, monkeypatch, name):
    """The slow digest is worked out once, whoever is asked for."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.PBKDF2PasswordHasher"]
    make_person("ida", password=GOOD)
    make_person("out", password=GOOD, is_active=False)
    make_person("unset")
    counted = []
    encode = hashers.PBKDF2PasswordHasher.encode
    monkeypatch.setattr(
        hashers.PBKDF2PasswordHasher,
        "encode",
        lambda self, *a, **k: counted.append(1) or encode(self, *a, **k),
    )
    page = try_in(name).content.decode()
    assert len(counted) == 1
    assert "do not go together" in page


def test_someone_put_out_is_told_no_more_than_anybody(ida):
    Person.objects.filter(pk=ida.pk).update(is_active=False)
    assert "do not go together" in try_in("ida", GOOD).content.decode()
