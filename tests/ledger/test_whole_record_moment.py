"""The commands themselves, on a record in a file, while somebody else is writing to it."""

from __future__ import annotations

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

HOME = Path(__file__).resolve().parents[2]


@pytest.fixture
def manage(tmp_path):
    env = {**os.environ, "CARKNOCKER_DATA": str(tmp_path / "data")}
    env.pop("CARKNOCKER_DATABASE", None)

    def run(*words: str) -> subprocess.CompletedProcess:
        command = [sys.executable, str(HOME / "manage.py"), *words]
        return subprocess.run(command, env=env, capture_output=True, text=True, check=False)

    return run


def test_export_while_somebody_holds_the_writers_lock_then_waits_for_nobody(manage, tmp_path):
    """Transactions of ours take SQLite's lock as they begin; one that only reads must not."""
    file = tmp_path / "mine.json"
    assert manage("migrate", "-v0").returncode == 0
    with closing(sqlite3.connect(tmp_path / "data" / "record.sqlite3")) as writer:
        writer.isolation_level = None
        writer.execute("BEGIN IMMEDIATE")
        writer.execute("UPDATE stock_instrument SET note = 'not committed'")

        done = manage("export", str(file))

        writer.execute("COMMIT")
    assert done.returncode == 0, done.stderr
    said = json.loads(file.read_text(encoding="utf-8"))
    assert len(said["instruments"]) == 7
    assert "not committed" not in {each["note"] for each in said["instruments"]}


def test_import_of_what_is_none_then_ends_in_words_without_a_trace(manage, tmp_path):
    file = tmp_path / "mine.json"
    file.write_text('{"carknocker": {"format": 9}}', encoding="utf-8")
    assert manage("migrate", "-v0").returncode == 0

    done = manage("import", str(file))

    assert done.returncode != 0
    assert (
        "written by a newer one. Update first, then import.\nNothing was written." in done.stderr
    )
    assert "Traceback" not in done.stderr
