"""Backup and restore from the page, on the real server and the real file."""

from __future__ import annotations

import re
import sqlite3
import urllib.request
from contextlib import closing
from datetime import UTC, datetime

import pytest

from inventory.ledger.backup import check
from inventory.people.models import Person
from tests.servers import A_HOPPER, Server, Visitor


@pytest.fixture
def running(tmp_path):
    server = Server(tmp_path / "record")
    person = Visitor()
    person.press(server.address)
    yield server, person
    server.stop()


def log(person: Visitor, server: Server, number: str) -> None:
    person.press(f"{server.base}/bench/log/", reporting_mark="QVR", number=number, **A_HOPPER)
    assert person.status == 200


def upload(person: Visitor, server: Server, content: bytes) -> str:
    """A file sent as browsers do it (RFC 7578)."""
    page = f"{server.base}/ledger/backups/"
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', person.get(page)).group(1)
    parts = {"csrfmiddlewaretoken": token, "is_meant": "on"}
    body = b"".join(
        f'--edge\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{text}\r\n'.encode()
        for name, text in parts.items()
    )
    body += b'--edge\r\nContent-Disposition: form-data; name="file"; filename="b.zip"\r\n'
    body += b"Content-Type: application/zip\r\n\r\n" + content + b"\r\n--edge--\r\n"
    kind = {"Content-Type": "multipart/form-data; boundary=edge"}
    return person._words(urllib.request.Request(f"{page}restore/", data=body, headers=kind))


def test_backup_by_page_is_whole_and_its_restore_brings_back_what_was(running):
    server, person = running
    log(person, server, "1")
    page = f"{server.base}/ledger/backups/"
    words = person.press(page, to=f"{page}now/")
    name = re.search(r"carknocker-[0-9-]+\.zip", words).group()
    with closing(sqlite3.connect(server.folder / "record.sqlite3")) as opened:
        known = {f"{a}.{n}" for a, n in opened.execute("SELECT app, name FROM django_migrations")}
    check(server.folder / "backups" / name, known)
    made = f"{datetime.now(UTC).day} {datetime.now(UTC):%b %Y}"  # as the rows of the page
    assert f"{name} is whole, made {made}" in person.press(page, to=f"{page}{name}/check/")
    content = person.open(f"{page}{name}/").read()
    assert content == (server.folder / "backups" / name).read_bytes()
    log(person, server, "2")

    words = person.press(page, to=f"{page}restore/", name=name, is_meant="on")

    assert f"Restored from {name}, made {made}" in words
    assert "What it replaced is kept as carknocker-replaced-" in words
    stock = person.get(f"{server.base}/stock/")  # still signed in
    assert "QVR 1" in stock
    assert "QVR 2" not in stock
    log(person, server, "3")
    assert "QVR 3" in person.get(f"{server.base}/stock/")

    damaged = bytearray(content)
    damaged[len(damaged) // 2] ^= 1
    words = upload(person, server, bytes(damaged))
    assert person.status == 422
    words = words.replace("\n", " ")
    assert "b.zip is no backup of Carknocker, or it was damaged since: its checksum does" in words
    assert "uploaded" not in words  # where it lay on the server meanwhile
    assert "QVR 3" in person.get(f"{server.base}/stock/")
    upload(person, server, content)
    assert person.status == 200
    assert "QVR 3" not in person.get(f"{server.base}/stock/")


def test_restore_that_is_not_meant_or_names_another_place_changes_nothing(running):
    server, person = running
    log(person, server, "1")
    page = f"{server.base}/ledger/backups/"
    words = person.press(page, to=f"{page}now/")
    name = re.search(r"carknocker-[0-9-]+\.zip", words).group()
    log(person, server, "2")

    assert "Tick that you mean it" in person.press(page, to=f"{page}restore/", name=name)
    assert person.status == 422
    for elsewhere in ("../record.sqlite3", "/etc/passwd", "..%2fsecret-key", "missing.zip"):
        person.press(page, to=f"{page}restore/", name=elsewhere, is_meant="on")
        assert person.status == 404
        person.get(f"{page}{elsewhere}/")
        assert person.status == 404
    assert "QVR 2" in person.get(f"{server.base}/stock/")


def test_second_start_backs_up_once_a_day(tmp_path):
    folder = tmp_path / "record"
    for _ in range(3):
        Server(folder).stop()

    made = list((folder / "backups").iterdir())

    assert len(made) == 1
    assert made[0].name.startswith(f"carknocker-{datetime.now(UTC):%Y%m%d}")


@pytest.mark.parametrize("role", ["inspector", "visitor"])
def test_backups_are_the_owners(client, db, role):
    client.force_login(Person.objects.create_user("other", role=role))

    assert client.get("/ledger/backups/").status_code == 403
    assert client.get("/ledger/backups/carknocker-20260101-000000.zip/").status_code == 403
    assert client.post("/ledger/backups/now/").status_code == 403
    assert client.post("/ledger/backups/restore/", {"is_meant": "on"}).status_code == 403
