"""Commands before anything was started: on a new machine, or on a record of an older version."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest
from django.core.management import call_command

from inventory.stock.models import Vehicle
from tests.factories import make_vehicle

HOME = Path(__file__).resolve().parents[2]
Manage = Callable[..., subprocess.CompletedProcess]


@pytest.fixture
def data(tmp_path) -> Path:
    return tmp_path / "a new machine"


@pytest.fixture
def manage(data) -> Manage:
    """The command in a process of its own, as at a terminal."""
    env = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    env |= {"CARKNOCKER_DATA": str(data), "PYTHONUTF8": "1"}

    def run(*words: str) -> subprocess.CompletedProcess:
        command = [sys.executable, str(HOME / "manage.py"), *words]
        return subprocess.run(
            command, env=env, capture_output=True, text=True, encoding="utf-8", check=False
        )

    return run


@pytest.fixture
def exported(owner, tmp_path) -> Path:
    make_vehicle(owner, number="7")
    file = tmp_path / "everything.json"
    call_command("export", str(file), verbosity=0)
    return file


@pytest.mark.parametrize(
    "words",
    [
        ("rejudge", "--check"),
        ("backup",),
        ("export", "{tmp}/out.json"),
        ("export_vehicles", "{tmp}/out.csv"),
        ("import_vehicles", "{tmp}/list.csv"),
    ],
    ids=lambda words: words[0],
)
def test_command_where_no_record_is_then_says_so_and_the_remedy(manage, data, tmp_path, words):
    (tmp_path / "list.csv").write_text("Marks,Number,Kind\nBRV,1,boxcar\n")

    done = manage(*(word.replace("{tmp}", str(tmp_path)) for word in words))

    assert done.returncode in (1, 2)
    assert "There is no record yet; manage.py start makes one" in done.stderr
    assert f"It was looked for in {data}" in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.django_db
def test_import_where_no_record_is_then_the_record_begins_with_the_file(
    manage, tmp_path, exported
):
    looked = manage("import", str(exported), "--check")
    assert looked.returncode == 0, looked.stderr
    done = manage("import", str(exported))
    assert done.returncode == 0, done.stderr
    assert "vehicles: 1 added" in done.stdout

    again = tmp_path / "again.json"
    assert manage("export", str(again)).returncode == 0
    before, after = (json.loads(each.read_text("utf-8")) for each in (exported, again))
    before.pop("carknocker"), after.pop("carknocker")  # says when it was written
    assert after == before
    assert before["vehicles"][0]["uid"] == str(Vehicle.objects.get().uid)


@pytest.mark.django_db
def test_record_of_an_older_version_then_only_import_changes_it_after_a_backup(
    manage, data, exported
):
    assert manage("migrate", "-v0").returncode == 0
    assert manage("migrate", "stock", "0001", "-v0").returncode == 0
    older = _applied(data)

    for words in (("rejudge", "--check"), ("import", str(exported), "--check")):
        done = manage(*words)
        assert done.returncode in (1, 2)
        assert "The record is of an older version, and nothing was done." in done.stderr
        assert "Traceback" not in done.stderr
    assert _applied(data) == older
    assert not list((data / "backups").glob("*.zip"))

    done = manage("import", str(exported))

    assert done.returncode == 0, done.stderr
    assert "The record is of an older version and is brought up to this one." in done.stdout
    assert len(list((data / "backups").glob("*before-upgrade-*"))) == 1
    assert len(_applied(data)) > len(older)


def _applied(data: Path) -> set[tuple[str, str]]:
    with closing(sqlite3.connect(data / "record.sqlite3")) as opened:
        return set(opened.execute("SELECT app, name FROM django_migrations"))
