"""What can go wrong around the program: killed, two at once, no room, locked, a clock set back.

Each on the real server in a process of its own. The promise is that of atomic and durable
transactions (SQLite's documentation, "Atomic Commit In SQLite" and PRAGMA synchronous): what was
answered as kept is there afterwards, and nothing is there by half.
"""

from __future__ import annotations

import os
import random
import sqlite3
import threading
import time
from contextlib import closing
from pathlib import Path
from urllib.error import URLError

import pytest

from tests.servers import A_HOPPER, Server, Visitor


def rows(folder: Path, query: str) -> list[tuple]:
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        return opened.execute(query).fetchall()


def signed_in(server: Server) -> Visitor:
    person = Visitor()
    person.press(server.address)
    assert person.status == 200
    return person


def log(person: Visitor, server: Server, number: int) -> bool:
    """Log a hopper and measure its first axle; whether the server answered that it is kept."""
    person.press(f"{server.base}/bench/log/", reporting_mark="QVR", number=str(number), **A_HOPPER)
    if "/bench/log/" in person.address or person.status != 200:
        return False
    at = person.address
    person.press(at, **{"typed-back_to_back": f"14.{300 + number}", "go": "next"})
    return person.status == 200 and person.address != at


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_killed_while_writing_then_nothing_answered_is_lost_and_nothing_is_there_by_half(
    tmp_path, seed
):
    folder, kept = tmp_path / "record", []
    server = Server(folder)
    person = signed_in(server)
    for number in (1, 2, 3):
        assert log(person, server, number)
        kept.append(number)
    threading.Timer(random.Random(seed).uniform(0, 0.5), server.kill).start()

    with pytest.raises((URLError, OSError, AttributeError)):
        while True:
            number += 1
            if log(person, server, number):
                kept.append(number)

    assert rows(folder, "PRAGMA integrity_check") == [("ok",)]
    assert rows(folder, "PRAGMA foreign_key_check") == []
    by_half = (
        "SELECT v.number FROM stock_vehicle v WHERE 4 != (SELECT count(*) FROM stock_wheelset w "
        "WHERE w.vehicle_id = v.id) OR 2 != (SELECT count(*) FROM stock_coupler c "
        "WHERE c.vehicle_id = v.id)"
    )
    assert rows(folder, by_half) == []
    unjudged = (
        "SELECT r.id FROM stock_reading r WHERE NOT EXISTS "
        "(SELECT 1 FROM stock_verdict j WHERE j.reading_id = r.id)"
    )
    assert rows(folder, unjudged) == []
    read = rows(
        folder,
        "SELECT v.number, r.typed FROM stock_reading r JOIN stock_inspection i ON "
        "i.id = r.inspection_id JOIN stock_vehicle v ON v.id = i.vehicle_id",
    )
    assert {(str(each), f"14.{300 + each}") for each in kept} <= set(read)
    again = Server(folder)
    try:
        assert f"QVR {kept[-1]}" in signed_in(again).get(f"{again.base}/stock/?q=QVR+{kept[-1]}")
    finally:
        again.stop()


def test_synchronous_is_full_so_that_what_is_answered_has_reached_the_disk(tmp_path, monkeypatch):
    # "With synchronous=FULL in WAL mode, ... the WAL file is synced after each commit"; NORMAL
    # may lose the last commits when the power goes (sqlite.org, PRAGMA synchronous).
    from inventory.settings import _database

    monkeypatch.delenv("CARKNOCKER_DATABASE", raising=False)
    command = _database(tmp_path)["OPTIONS"]["init_command"]
    with closing(sqlite3.connect(tmp_path / "x.sqlite3")) as opened:
        opened.executescript(command)
        assert opened.execute("PRAGMA synchronous").fetchone() == (2,)
        assert opened.execute("PRAGMA journal_mode").fetchone() == ("wal",)


def test_torn_end_of_the_log_then_what_was_committed_before_stands(tmp_path):
    """A power cut leaves a log whose last pages were half written."""
    folder = tmp_path / "record"
    server = Server(folder)
    person = signed_in(server)
    assert log(person, server, 1)
    before = (folder / "record.sqlite3-wal").stat().st_size
    assert log(person, server, 2)
    server.kill()
    wal = folder / "record.sqlite3-wal"
    with wal.open("r+b") as file:
        file.seek(before + (wal.stat().st_size - before) // 2)
        file.write(random.Random(5).randbytes(3000))

    assert rows(folder, "PRAGMA integrity_check") == [("ok",)]
    assert ("1",) in rows(folder, "SELECT number FROM stock_vehicle")
    again = Server(folder)
    try:
        assert "QVR 1" in signed_in(again).get(f"{again.base}/stock/")
    finally:
        again.stop()


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    server = Server(tmp_path_factory.mktemp("running") / "record")
    person = signed_in(server)
    assert log(person, server, 1)
    yield server, person
    server.stop()


def test_two_phones_saving_at_once_then_one_is_kept_and_the_other_told(running):
    server, person = running
    for mark in ("RACE", "CHASE", "DASH"):
        person.press(f"{server.base}/bench/log/", reporting_mark=mark, number="1", **A_HOPPER)
        key = rows(
            server.folder,
            f"SELECT id, revision FROM stock_vehicle WHERE reporting_mark = '{mark}'",
        )[0]
        page = f"{server.base}/stock/{key[0]}/edit/"
        both, at_once = ["red box", "blue box"], threading.Barrier(2)
        told: dict[str, tuple[int, str]] = {}

        def save(box: str, page=page, key=key, mark=mark, at_once=at_once, told=told) -> None:
            phone = Visitor()
            phone.open = person.open  # the same sign-in, another connection
            phone.get(page)
            at_once.wait()
            words = phone.press(
                page,
                reporting_mark=mark,
                number="1",
                storage_box=box,
                revision=str(key[1]),
                **{name: text for name, text in A_HOPPER.items() if name != "coupler"},
            )
            told[box] = phone.status, words

        phones = [threading.Thread(target=save, args=(box,)) for box in both]
        for phone in phones:
            phone.start()
        for phone in phones:
            phone.join()

        stands = rows(server.folder, f"SELECT storage_box FROM stock_vehicle WHERE id = {key[0]}")
        winner = stands[0][0]
        loser = next(box for box in both if box != winner)
        assert told[winner][0] == 200
        assert told[loser][0] == 409
        assert loser in told[loser][1]  # what was typed is not lost
        noted = rows(server.folder, f"SELECT after FROM stock_change WHERE vehicle_id = {key[0]}")
        assert noted == [(winner,)]


def test_locked_by_another_then_it_is_told_and_reading_goes_on(running):
    server, person = running
    with closing(sqlite3.connect(server.folder / "record.sqlite3")) as other:
        other.execute("BEGIN IMMEDIATE")
        begun = time.monotonic()
        words: list[str] = []
        writer = threading.Thread(
            target=lambda: words.append(
                person.press(
                    f"{server.base}/bench/log/", reporting_mark="LOCKED", number="1", **A_HOPPER
                )
            )
        )
        writer.start()
        reader = Visitor()
        reader.open = person.open
        assert "QVR 1" in reader.get(f"{server.base}/stock/")
        assert time.monotonic() - begun < 10
        writer.join(60)
        other.rollback()
    assert "The record is busy" in words[0]
    assert rows(server.folder, "SELECT 1 FROM stock_vehicle WHERE reporting_mark = 'LOCKED'") == []
    assert log(person, server, 2)


@pytest.mark.skipif(os.name == "nt", reason="Windows has no limit on the size of a file")
def test_disk_full_then_it_is_told_and_what_was_kept_stands(tmp_path):
    """A limit on the size of files, as of a full disk: writing beyond it fails (setrlimit(2))."""
    import resource

    folder = tmp_path / "record"
    Server(folder).stop()  # the tables are made while there is room
    room = (folder / "record.sqlite3").stat().st_size + 300_000

    server = Server(
        folder, preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
    )
    person, kept, words = signed_in(server), [], ""
    for number in range(1, 400):
        words = person.press(
            f"{server.base}/bench/log/", reporting_mark="QVR", number=str(number), **A_HOPPER
        )
        if person.status != 200:
            break
        kept.append(number)
    assert person.status == 507, words
    assert "There is no room" in words
    assert "QVR 1" in person.get(f"{server.base}/stock/?q=QVR")
    server.stop()

    numbers = {row[0] for row in rows(folder, "SELECT number FROM stock_vehicle")}
    assert {str(each) for each in kept} == numbers
    assert rows(folder, "PRAGMA integrity_check") == [("ok",)]
    again = Server(folder)
    try:
        assert log(signed_in(again), again, 9999)
    finally:
        again.stop()
