"""`start --network`: who reaches it and what it refuses; several processes behind one server."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
import uuid

import pytest

from inventory.ledger.network import (
    EVERYWHERE,
    dangers,
    is_loopback,
    is_loose,
    own_addresses,
    own_name,
    reached_by,
)
from tests.asking import Client
from tests.security.conftest import PASSWORD, PEOPLE, signed_in_by_address
from tests.servers import ROOT, Server, free_port

posix_only = pytest.mark.skipif(os.name != "posix", reason="Windows keeps files by other means")


def start(folder, *args: str, **settings: str) -> subprocess.CompletedProcess[str]:
    """A start that is to refuse; one that does not is ended after a while, and fails the test."""
    known = {k: v for k, v in os.environ.items() if not k.startswith("CARKNOCKER_DATABASE")}
    return subprocess.run(
        [sys.executable, "manage.py", "start", "--port", str(free_port()), *args],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        env={**known, "CARKNOCKER_DATA": str(folder), "PYTHONUTF8": "1", **settings},
        check=False,
        timeout=60,
    )


# --- Where it is reached ------------------------------------------------------------------------


def test_own_addresses_are_such_that_this_machine_can_serve_on():
    for each in own_addresses():
        assert not is_loopback(each)
        with socket.socket() as tried:
            tried.bind((each, 0))  # only an address of this machine can be bound


def test_own_name_is_only_given_when_it_leads_here(monkeypatch):
    leads = {"box.local": "192.168.7.2", "else.local": "192.168.7.9"}

    def resolved(name, *_):
        if name not in leads:
            raise socket.gaierror
        return [(2, 1, 6, "", (leads[name], 0))]

    monkeypatch.setattr(socket, "getaddrinfo", resolved)
    for host, expected in (
        ("Box.example.org", "box.local"),
        ("else", None),
        ("unknown", None),
        ("bad_name", None),
    ):
        monkeypatch.setattr(socket, "gethostname", lambda host=host: host)
        assert own_name(["192.168.7.2"]) == expected, host


def test_server_bound_to_one_address_is_reached_by_that_one_only():
    assert reached_by("127.0.0.1") == []
    assert reached_by("::1") == []
    assert reached_by("192.168.77.3") == ["192.168.77.3"]


def test_start_with_network_is_reached_by_the_addresses_it_prints_and_by_no_other_name(tmp_path):
    found = own_addresses()
    if not found:
        refused = start(tmp_path / "record", "--network")
        assert "this machine is in no network" in refused.stderr
        return
    server = Server(tmp_path / "record", "--network")
    try:
        printed = server.said.split("Phones in the house reach it at:")[1]
        for each in found:
            base = f"http://{each}:{server.port}/"
            assert base in printed
            client = Client(server.port, host=each)
            assert client.ask("/sign-in/").status == 200
        assert "not encrypted" in printed
        assert Client(server.port).ask("/sign-in/").status == 200  # at the machine itself
        for name in ("evil.example", "192.168.254.254", "box.local.evil.example"):
            answer = Client(server.port, host=found[0]).ask("/", headers={"Host": name})
            assert answer.status == 400, name
    finally:
        server.stop()


def test_start_without_network_is_not_reached_from_the_house(tmp_path):
    server = Server(tmp_path / "record")
    try:
        for each in own_addresses():
            with pytest.raises(OSError, match=r"."):
                socket.create_connection((each, server.port), timeout=3)
    finally:
        server.stop()


# --- What it refuses ----------------------------------------------------------------------------


@pytest.mark.parametrize("host", [EVERYWHERE, "::", *own_addresses()[:1]])
def test_start_on_an_open_address_without_network_names_the_remedy(tmp_path, host):
    done = start(tmp_path, "--host", host)
    assert done.returncode == 1
    assert "add --network" in done.stderr
    assert not (tmp_path / "record.sqlite3").exists()


@pytest.mark.parametrize("names", ["*", "cars.example.org,*", ".local", ".org", "*.example.org"])
@pytest.mark.parametrize("args", [(), ("--network",)])
def test_start_with_hosts_of_strangers_is_refused(tmp_path, names, args):
    done = start(tmp_path, *args, CARKNOCKER_HOSTS=names)
    assert done.returncode == 1
    assert "names of strangers" in done.stderr


@posix_only
def test_start_with_network_and_everything_unsafe_names_each_with_its_remedy(tmp_path):
    folder = tmp_path / "record"
    folder.mkdir(mode=0o700)
    key = folder / "secret-key"
    key.write_text("k" * 60)
    key.chmod(0o644)
    done = start(
        folder,
        "--network",
        CARKNOCKER_DEBUG="1",
        CARKNOCKER_HTTPS="1",
        CARKNOCKER_HOSTS="cars.example.org",
    )
    assert done.returncode == 1
    for words in ("CARKNOCKER_DEBUG is 1", f"chmod 600 {key}", "CARKNOCKER_TRUSTED_PROXY"):
        assert words in done.stderr
    assert not (folder / "record.sqlite3").exists()


def safe(tmp_path, **changed):
    facts = {"debug": False, "data": tmp_path, "https": False, "trusted_proxy": ""}
    return dangers(**{**facts, "reached": ["box.local", "192.168.1.4"], **changed})


@posix_only
def test_each_danger_alone(tmp_path):
    tmp_path.chmod(0o700)
    assert safe(tmp_path) == []
    assert len(safe(tmp_path, debug=True)) == 1
    assert len(safe(tmp_path, https=True, trusted_proxy="127.0.0.1")) == 1
    assert safe(tmp_path, https=True, trusted_proxy="192.168.1.9") == []
    # 8.8.8.8 is of the whole internet; 100.64.0.1 (RFC 6598) and 10.0.0.1 (RFC 1918) are not.
    assert len(safe(tmp_path, reached=["8.8.8.8"])) == 1
    assert safe(tmp_path, reached=["100.64.0.1", "10.0.0.1", "fd00::1"]) == []
    record = tmp_path / "record.sqlite3"
    record.touch()
    record.chmod(0o664)
    assert safe(tmp_path) == []  # a group of one's own is common
    record.chmod(0o666)
    assert f"chmod 600 {record}" in safe(tmp_path)[0]
    record.chmod(0o600)
    for mode in (0o640, 0o604, 0o620):
        key = tmp_path / "secret-key"
        key.touch()
        key.chmod(mode)
        assert len(safe(tmp_path)) == 1, oct(mode)


@pytest.mark.parametrize(
    ("host", "expected"),
    [("*", True), (".org", True), ("*.x.org", True), (".x.org", False), ("a.b", False)],
)
def test_loose_hosts(host, expected):
    assert is_loose(host) is expected


@posix_only
def test_folder_and_key_are_made_for_one_account_only(tmp_path):
    server = Server(tmp_path / "new")
    server.stop()
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "new" / "secret-key").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("proxy", ["*", "10.0.0.0/8", "proxy.example.org", "127.0.0.1:80"])
def test_web_server_in_front_is_one_address(tmp_path, proxy):
    done = start(tmp_path, CARKNOCKER_TRUSTED_PROXY=proxy)
    assert done.returncode == 2
    assert "the one address of the web server" in done.stderr


def test_https_without_a_name_is_refused(tmp_path):
    done = start(tmp_path, CARKNOCKER_HTTPS="1")
    assert done.returncode == 1
    assert "set CARKNOCKER_HOSTS to it" in done.stderr


# --- Behind a web server ------------------------------------------------------------------------


def test_behind_a_web_server_everything_is_for_https(tmp_path):
    server = Server(
        tmp_path / "record",
        settings={"CARKNOCKER_HTTPS": "1", "CARKNOCKER_HOSTS": "cars.example.org"},
    )
    try:
        server.shell(PEOPLE)
        assert "https://cars.example.org/arrive/" in server.said
        client = Client(server.port)
        front = {"Host": "cars.example.org", "X-Forwarded-Proto": "https"}
        plain = client.ask("/sign-in/", headers={"Host": "cars.example.org"})
        assert plain.status == 301
        assert plain.headers["Location"] == "https://cars.example.org/sign-in/"

        page = client.ask("/sign-in/", headers=front)
        assert page.status == 200
        assert page.headers["Strict-Transport-Security"].startswith("max-age=")
        fields = {**page.page.forms[-1].values, "username": "ida", "password": PASSWORD}
        own = {**front, "Referer": "https://cars.example.org/sign-in/"}
        answer = client.send("/sign-in/", fields, headers=own)
        assert answer.status == 302
        for each in answer.headers.get_all("Set-Cookie"):
            assert "Secure" in each
            assert "HttpOnly" in each
            assert each.strip().startswith("__Host-")
        foreign = {**front, "Origin": "https://evil.example"}
        assert client.send("/preferences/", fields, headers=foreign).status == 403
        assert client.ask("/stock/", headers=front).status == 200
    finally:
        server.stop()


def test_header_of_a_web_server_from_somebody_else_is_dropped(tmp_path):
    server = Server(
        tmp_path / "record",
        settings={
            "CARKNOCKER_HTTPS": "1",
            "CARKNOCKER_HOSTS": "cars.example.org",
            "CARKNOCKER_TRUSTED_PROXY": "192.168.77.9",
        },
    )
    try:
        front = {"Host": "cars.example.org", "X-Forwarded-Proto": "https"}
        answer = Client(server.port).ask("/sign-in/", headers=front)
        assert answer.status == 301
    finally:
        server.stop()


# --- Several processes --------------------------------------------------------------------------


@pytest.fixture
def shared_database():
    """None, and on PostgreSQL a database of this test's own, which goes with it."""
    url = os.environ.get("CARKNOCKER_DATABASE")
    if not url:
        yield None
        return
    import psycopg

    name = f"two_processes_{uuid.uuid4().hex[:8]}"
    with psycopg.connect(url, autocommit=True) as link:
        link.execute(f"CREATE DATABASE {name}")
        yield url.rsplit("/", 1)[0] + f"/{name}"
        link.execute(f"DROP DATABASE {name} WITH (FORCE)")


def test_two_processes_on_one_record_share_sign_in_forms_and_messages(tmp_path, shared_database):
    settings = {"CARKNOCKER_DATABASE": shared_database} if shared_database else {}
    # The link that a later start prints takes the place of the earlier.
    second = Server(tmp_path / "record", settings=settings)
    first = Server(tmp_path / "record", settings=settings)
    try:
        client = signed_in_by_address(first)
        # One process gives the form, the other takes it and leaves a message for the first.
        form = next(f for f in client.ask("/preferences/").page.forms if "first_name" in f.values)
        client.port = second.port
        fields = {**form.values, "first_name": "Ida", "unit": "in", "rule": "simple"}
        assert client.send("/preferences/", fields).status == 302
        client.port = first.port
        page = client.ask("/preferences/")
        assert "Your preferences are kept" in page.text
        assert "Preferences of Ida" in page.text
        # Out of one is out of both.
        client.post("/sign-out/", {}, seen_on="/preferences/")
        client.port = second.port
        assert client.ask("/stock/").status == 302
    finally:
        first.stop()
        second.stop()


def test_starts_at_the_same_moment_agree_on_one_key_and_one_record(tmp_path):
    known = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    folder = tmp_path / "record"
    code = "from django.conf import settings; print(settings.SECRET_KEY)"
    begun = [
        subprocess.Popen(
            [sys.executable, "manage.py", "shell", "--no-imports", "-c", code],
            cwd=ROOT,
            env={**known, "CARKNOCKER_DATA": str(folder), "PYTHONUTF8": "1"},
            stdout=subprocess.PIPE,
            encoding="utf-8",
        )
        for _ in range(4)
    ]
    keys = {each.communicate(timeout=60)[0].strip() for each in begun}
    assert len(keys) == 1
    assert keys == {(folder / "secret-key").read_text()}
    assert sorted(each.name for each in folder.glob("secret-key*")) == ["secret-key"]
