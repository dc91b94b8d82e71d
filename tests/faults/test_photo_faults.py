"""Photos on the real server: two people at once, a line that breaks, removal that is one, backup.

The multipart body is written by hand after RFC 7578, so that it can be broken off anywhere.
"""

from __future__ import annotations

import io
import json
import os
import re
import socket
import sqlite3
import subprocess
import sys
import threading
import time
import urllib.request
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from PIL import Image

from inventory.ledger.backup import back_up, restore
from tests.servers import A_HOPPER, ROOT, Server, Visitor

EDGE = "----edge-of-a-part"


class Photographer(Visitor):
    """A browser without a screen that sends files."""

    def __init__(self) -> None:
        super().__init__()
        self.cookies = CookieJar()
        self.open = urllib.request.build_opener(
            urllib.request.HTTPCookieProcessor(self.cookies)
        ).open

    def body(self, page: str, files: list[bytes], **fields: str) -> bytes:
        """A form of a page with photos, as a browser would send it."""
        token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', self.get(page)).group(1)
        parts = [
            f'--{EDGE}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{text}\r\n'.encode()
            for name, text in {"csrfmiddlewaretoken": token, **fields}.items()
        ]
        parts += [
            f'--{EDGE}\r\nContent-Disposition: form-data; name="photos"; filename="{n}.jpg"\r\n'
            "Content-Type: image/jpeg\r\n\r\n".encode()
            + raw
            + b"\r\n"
            for n, raw in enumerate(files)
        ]
        return b"".join(parts) + f"--{EDGE}--\r\n".encode()

    def send(self, page: str, files: list[bytes], **fields: str) -> str:
        request = urllib.request.Request(page, data=self.body(page, files, **fields))
        request.add_header("Content-Type", f"multipart/form-data; boundary={EDGE}")
        return self._words(request)

    def head(self, page: str, length: int) -> bytes:
        """The head of a request that announces so many bytes."""
        held = "; ".join(f"{each.name}={each.value}" for each in self.cookies)
        where = urlsplit(page)
        return (
            f"POST {where.path} HTTP/1.1\r\nHost: {where.netloc}\r\nCookie: {held}\r\n"
            f"Content-Type: multipart/form-data; boundary={EDGE}\r\n"
            f"Content-Length: {length}\r\n\r\n"
        ).encode()


def noise(seed: int, size: int = 600) -> bytes:
    """A photo that does not shrink to nothing, and another for every seed."""
    file = io.BytesIO()
    Image.effect_noise((size, size + seed), 90).convert("RGB").save(file, "JPEG", quality=90)
    return file.getvalue()


def rows(folder: Path, query: str) -> list[tuple]:
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        return opened.execute(query).fetchall()


@pytest.fixture(scope="module")
def server(tmp_path_factory) -> Iterator[Server]:
    started = Server(tmp_path_factory.mktemp("photos") / "record")
    started.person = Photographer()
    started.person.press(started.address)
    yield started
    started.stop()


@pytest.fixture
def page(server) -> str:
    """The photos' page of a new vehicle."""
    number = rows(server.folder, "SELECT count(*) FROM stock_vehicle")[0][0] + 1
    server.person.press(
        f"{server.base}/bench/log/", reporting_mark="QVR", number=str(number), **A_HOPPER
    )
    (pk,) = rows(server.folder, f"SELECT id FROM stock_vehicle WHERE number = '{number}'")[0]
    return f"{server.base}/stock/{pk}/photos/"


def of(page: str) -> str:
    return re.search(r"/stock/(\d+)/", page)[1]


def test_two_people_add_at_once_then_all_are_kept_in_places_of_their_own(server, page):
    def add(seed: int) -> None:
        request = urllib.request.Request(page, data=bodies[seed])
        request.add_header("Content-Type", f"multipart/form-data; boundary={EDGE}")
        answers.append(server.person.open(request, timeout=60).status)

    bodies = [
        server.person.body(page, [noise(seed), noise(seed + 10)], caption=f"by {seed}")
        for seed in range(6)
    ]
    answers: list[int] = []
    together = [threading.Thread(target=add, args=(seed,)) for seed in range(6)]
    for each in together:
        each.start()
    for each in together:
        each.join(60)

    assert answers == [200] * 6
    kept = rows(
        server.folder,
        f"SELECT position, caption FROM stock_vehiclephoto WHERE vehicle_id = {of(page)} "
        "ORDER BY position",
    )
    assert len(kept) == 12
    assert len({position for position, _ in kept}) == 12
    assert sorted(caption for _, caption in kept) == sorted([f"by {n}" for n in range(6)] * 2)
    captions = [caption for _, caption in kept]
    assert all(captions[n] == captions[n + 1] for n in range(0, 12, 2))  # each one's together


@pytest.mark.parametrize("part", [0.02, 0.5, 0.999])
def test_line_that_breaks_while_photos_are_sent_then_none_is_kept_and_the_server_goes_on(
    server, page, part
):
    body = server.person.body(page, [noise(1), noise(2)], caption="broken off")
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        line.sendall(server.person.head(page, len(body)))
        line.sendall(body[: int(len(body) * part)])
        time.sleep(0.2)
    time.sleep(0.3)

    count = f"SELECT count(*) FROM stock_vehiclephoto WHERE vehicle_id = {of(page)}"
    assert rows(server.folder, count) == [(0,)]
    assert rows(server.folder, "SELECT count(*) FROM stock_setaside") == [(0,)]
    assert "1 photo kept" in server.person.send(page, [noise(3)])
    assert rows(server.folder, count) == [(1,)]
    assert "Traceback" not in server.said


def test_body_that_ends_within_a_photo_though_it_is_announced_so_then_is_refused_in_words(
    server, page
):
    """The announced length is what was sent, but the form within stops short."""
    body = server.person.body(page, [noise(1)], caption="cut")
    cut = body[: len(body) // 2]
    with socket.create_connection(("127.0.0.1", server.port), timeout=20) as line:
        line.sendall(server.person.head(page, len(cut)) + cut)
        answer = line.recv(1_000_000).decode(errors="replace")

    assert " 422 " in answer.split("\r\n")[0] or " 400 " in answer.split("\r\n")[0]
    count = f"SELECT count(*) FROM stock_vehiclephoto WHERE vehicle_id = {of(page)}"
    assert rows(server.folder, count) == [(0,)]


def test_photo_when_removed_then_no_trace_of_it_is_in_the_record_or_in_a_later_backup(
    server, page, tmp_path
):
    server.person.send(page, [noise(1)], caption="my daughter at the bench")
    pk, jpeg = rows(
        server.folder,
        f"SELECT id, jpeg FROM stock_vehiclephoto WHERE vehicle_id = {of(page)}",
    )[0]
    trace = jpeg[len(jpeg) // 2 :][:48]

    def copied(name: str) -> bytes:
        with (
            closing(sqlite3.connect(server.folder / "record.sqlite3")) as one,
            closing(sqlite3.connect(tmp_path / name)) as other,
        ):
            one.backup(other)
        return (tmp_path / name).read_bytes()

    before = copied("before")
    assert trace in before
    assert b"my daughter" in before

    address = f"{server.base}/stock/photos/{pk}/remove/"
    server.person.press(address)
    assert server.person.status == 200

    after = copied("after")
    assert trace not in after
    assert b"my daughter" not in after


def test_photos_then_are_in_a_backup_and_come_back_with_it(server, page, tmp_path):
    server.person.send(page, [noise(1)], caption="kept")
    moment = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
    file = back_up(server.folder / "record.sqlite3", tmp_path / "backups", moment)
    known = {f"{app}.{name}" for app, name in rows(server.folder, MIGRATIONS)}
    there = tmp_path / "elsewhere"
    restore(file, there / "record.sqlite3", tmp_path / "replaced", moment, known)

    query = "SELECT id, caption, position, jpeg, thumbnail FROM stock_vehiclephoto ORDER BY id"
    assert rows(there, query) == rows(server.folder, query)
    assert len(rows(there, query)) > 0


#: A person at the same record whose database may not grow: SQLITE_FULL, as the engine says it
#: (sqlite.org, PRAGMA max_page_count, which holds for one connection).
NO_ROOM = """
import json, re, sys, django
django.setup()
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from inventory.people.models import Person
person = Client(headers={"host": "127.0.0.1"})
person.force_login(Person.objects.get(username="owner"))
photos, raw = sys.argv[1], open(sys.argv[2], "rb").read()
def send(to, n, **fields):
    files = [SimpleUploadedFile("a.jpg", raw) for _ in range(n)]
    answer = person.post(to, {**fields, "photos": files}, follow=True)
    return answer.status_code, re.sub("<[^>]+>", " ", answer.content.decode())
def limit(pages):
    with connection.cursor() as cursor:
        cursor.execute(f"PRAGMA max_page_count = {pages}")
with connection.cursor() as cursor:
    cursor.execute("PRAGMA page_count")
    pages = cursor.fetchone()[0]
limit(pages + 5)
told = [send(photos, 3, caption="no room"), send("/bench/log/", 3, **json.loads(sys.argv[3]))]
limit(1073741823)
told.append(send(photos, 1, caption="room again"))
print(json.dumps(told))
"""


def test_disk_that_is_full_then_it_is_said_and_nothing_is_kept_by_half(server, page, tmp_path):
    server.person.send(page, [noise(1)], caption="kept")
    (tmp_path / "a.jpg").write_bytes(noise(2))
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    environment |= {
        "CARKNOCKER_DATA": str(server.folder),
        "DJANGO_SETTINGS_MODULE": "inventory.settings",
        "PYTHONIOENCODING": "utf-8",
    }
    new = {"reporting_mark": "FULL", "number": "1", **A_HOPPER}

    found = subprocess.run(
        [
            *(sys.executable, "-c", NO_ROOM, urlsplit(page).path),
            *(str(tmp_path / "a.jpg"), json.dumps(new)),
        ],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )

    assert found.returncode == 0, found.stderr
    (added, said), (logged, said_of_the_vehicle), (after, _) = json.loads(found.stdout)
    assert (added, logged, after) == (507, 507, 200)
    for words in (said, said_of_the_vehicle):
        assert "There is no room" in words
        assert "nothing of this was kept" in words
    kept = rows(
        server.folder,
        f"SELECT caption FROM stock_vehiclephoto WHERE vehicle_id = {of(page)} ORDER BY position",
    )
    assert kept == [("kept",), ("room again",)]
    # Nor is the vehicle there without its photos.
    full = "SELECT count(*) FROM stock_vehicle WHERE reporting_mark = 'FULL'"
    assert rows(server.folder, full) == [(0,)]
    assert rows(server.folder, "PRAGMA integrity_check") == [("ok",)]


MIGRATIONS = "SELECT app, name FROM django_migrations"
