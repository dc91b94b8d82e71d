"""The plug pulled while a newer version changes the tables, and while a backup is made."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from inventory.ledger.backup import back_up, check, dated, thin_out
from tests.servers import ROOT

OLDER = (("stock", "0005"), ("track", "0002"), ("trackwork", "0001"), ("trouble", "0003"))

#: Brings a record up to date and, where a number is given, vanishes at that statement of it.
UPGRADE = """
import os, sys, django
from django.db.backends.sqlite3.base import SQLiteCursorWrapper
django.setup()
from inventory.ledger import keeping
left = int(sys.argv[1])
plain = SQLiteCursorWrapper.execute
def execute(self, query, params=None):
    global left
    if keeping._marker().exists():
        left -= 1
        if left == 0:
            os._exit(9)
    return plain(self, query, params)
SQLiteCursorWrapper.execute = execute
keeping.bring_up_to_date(print)
"""


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    environment |= {
        "CARKNOCKER_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "inventory.settings",
        "PYTHONIOENCODING": "utf-8",
    }
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=ROOT,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        check=False,
    )


@pytest.fixture(scope="module")
def older(tmp_path_factory) -> Path:
    """A record as an earlier version left it, with 300 vehicles."""
    folder = tmp_path_factory.mktemp("older") / "record"
    for app, name in OLDER:
        done = run(folder, "manage.py", "migrate", app, name, "-v0")
        assert done.returncode == 0, done.stderr
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        opened.executemany(
            "INSERT INTO stock_vehicle (reporting_mark, number, name, category, kind, "
            "aar_designation, uic_letter, family, scale, axles, has_buffers, maker, "
            "catalogue_number, era, currency, storage_box, notes, service, number_key, revision, "
            "logged_at, held_because, visitor) VALUES ('QVR', ?, '', 'freight', 'hopper', '', '', "
            "'nmra', 'HO', 4, 0, '', '', '', '', '', '', 'awaiting inspection', ?, 1, "
            "'2026-01-01 00:00:00', '', '')",
            [(str(n), f"{n:08}") for n in range(300)],
        )
        opened.commit()
    return folder


def copy_of(older: Path, folder: Path) -> Path:
    folder.mkdir()
    with (
        closing(sqlite3.connect(older / "record.sqlite3")) as one,
        closing(sqlite3.connect(folder / "record.sqlite3")) as other,
    ):
        one.backup(other)
    return folder


def state(folder: Path) -> tuple[int, int, set[str]]:
    """Vehicles, lasting names, and the changes of the tables that were made."""
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        assert opened.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        vehicles, named = opened.execute(
            "SELECT count(*), count(DISTINCT uid) FROM stock_vehicle"
        ).fetchone()
        made = {f"{a}.{n}" for a, n in opened.execute("SELECT app, name FROM django_migrations")}
    return vehicles, named, made


@pytest.mark.parametrize("at", [1, 2, 5, 9, 14, 20, 27, 40])
def test_upgrade_broken_off_at_any_statement_then_the_next_start_begins_anew(older, tmp_path, at):
    folder = copy_of(older, tmp_path / "record")
    broken = run(folder, "-c", UPGRADE, str(at))
    assert broken.returncode == 9, broken.stdout + broken.stderr
    assert (folder / "upgrading").exists()

    done = run(folder, "-c", UPGRADE, "0")

    assert done.returncode == 0, done.stderr
    assert "broken off" in done.stdout
    vehicles, named, made = state(folder)
    assert (vehicles, named) == (300, 300)
    assert "stock.0006_the_record" in made
    assert not (folder / "upgrading").exists()
    kept = list((folder / "backups").glob("carknocker-before-upgrade-*.zip"))
    assert kept
    for each in kept:
        check(each, made)


@pytest.mark.parametrize("at", [3, 30, 90])
def test_first_start_broken_off_then_the_next_begins_anew(tmp_path, at):
    folder = tmp_path / "record"
    assert run(folder, "-c", UPGRADE, str(at)).returncode == 9

    done = run(folder, "-c", UPGRADE, "0")

    assert done.returncode == 0, done.stderr
    assert state(folder)[0] == 0
    assert len(list(folder.glob("broken-off-*.sqlite3"))) == 1


def test_record_of_a_newer_version_is_refused_untouched(older, tmp_path):
    folder = copy_of(older, tmp_path / "record")
    file = folder / "record.sqlite3"
    with closing(sqlite3.connect(file)) as opened:
        opened.execute(
            "INSERT INTO django_migrations (app, name, applied) "
            "VALUES ('stock', '0999_of_the_future', '2030-01-01')"
        )
        opened.commit()
    before = file.read_bytes()

    said = run(folder, "manage.py", "start", "--port", "8979")

    assert said.returncode == 1
    assert "written by a newer Carknocker: it holds stock.0999_of_the_future" in said.stderr
    assert file.read_bytes() == before


def test_upgrade_without_room_for_a_backup_is_not_begun(older, tmp_path):
    folder = copy_of(older, tmp_path / "record")
    (folder / "backups").write_text("a file where the folder should be")

    said = run(folder, "manage.py", "start", "--port", "8978")

    assert said.returncode == 1
    assert "not begun without a backup" in said.stderr
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        names = opened.execute("SELECT name FROM django_migrations WHERE app = 'stock'").fetchall()
    assert ("0006_the_record",) not in names


@pytest.mark.parametrize("after", [0.6, 0.8, 1.0, 1.2])
def test_backup_killed_then_no_half_one_bears_the_name_of_a_whole(older, tmp_path, after):
    folder = copy_of(older, tmp_path / "record")
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:  # enough to take a while
        opened.execute("CREATE TABLE padding (noise BLOB)")
        opened.executemany(
            "INSERT INTO padding VALUES (?)", [(os.urandom(500_000),) for _ in range(60)]
        )
        opened.commit()
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    process = subprocess.Popen(
        [sys.executable, "manage.py", "backup"],
        cwd=ROOT,
        env={**environment, "CARKNOCKER_DATA": str(folder)},
        stdout=subprocess.DEVNULL,
    )
    time.sleep(after)
    process.kill()
    process.wait(20)

    known = state_names(folder)
    for whole in (folder / "backups").glob("*.zip"):
        check(whole, known)
    made = back_up(folder / "record.sqlite3", folder / "backups", datetime.now(UTC), "again-")
    check(made, known)


def state_names(folder: Path) -> set[str]:
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:
        return {f"{a}.{n}" for a, n in opened.execute("SELECT app, name FROM django_migrations")}


def test_clock_set_back_then_the_backup_just_made_is_not_the_one_removed(older, tmp_path):
    folder = copy_of(older, tmp_path / "record")
    noon = datetime(2026, 5, 1, 12, tzinfo=UTC)
    for days in range(3):
        back_up(folder / "record.sqlite3", folder / "b", noon + timedelta(days=days))
    early = back_up(folder / "record.sqlite3", folder / "b", noon - timedelta(days=400))

    gone = thin_out(folder / "b", 3, sparing=early)

    assert early.exists()
    assert [each.name for each in gone] == ["carknocker-20260501-120000.zip"]
    assert len(dated(folder / "b")) == 3
