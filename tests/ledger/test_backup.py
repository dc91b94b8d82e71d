"""The restore drill: backed up, destroyed, restored, compared; and what must be refused."""

from __future__ import annotations

import os
import random
import shutil
import sqlite3
import subprocess
import sys
import zipfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from inventory.ledger.backup import BackupRefused, back_up, check, restore, thin_out

HOME = Path(__file__).resolve().parents[2]
KNOWN = {"stock.0001_initial"}
NOON = datetime(2026, 3, 1, 12, 0, 0, tzinfo=UTC)
LATER = datetime(2026, 3, 1, 12, 0, 9, tzinfo=UTC)


@pytest.fixture
def database(tmp_path) -> Path:
    made = tmp_path / "record.sqlite3"
    with closing(sqlite3.connect(made)) as opened:
        opened.execute("PRAGMA journal_mode=WAL")
        opened.execute("CREATE TABLE django_migrations (app TEXT, name TEXT)")
        opened.execute("INSERT INTO django_migrations VALUES ('stock', '0001_initial')")
        opened.execute("CREATE TABLE reading (typed TEXT)")
        opened.executemany("INSERT INTO reading VALUES (?)", [(f"14.{n:03}",) for n in range(500)])
        opened.commit()
    return made


def dumped(database: Path) -> list[str]:
    """All that a record holds, by sqlite3's own dump."""
    with closing(sqlite3.connect(database)) as opened:
        return list(opened.iterdump())


def test_drill_then_restores_what_was_destroyed_and_keeps_what_it_replaces(database, tmp_path):
    before = dumped(database)
    file = back_up(database, tmp_path / "backups", NOON)
    with closing(sqlite3.connect(database)) as opened:
        opened.execute("DELETE FROM reading")
        opened.commit()
    destroyed = dumped(database)

    replaced = restore(file, database, tmp_path / "backups", LATER, KNOWN)

    assert dumped(database) == before
    assert replaced is not None
    restore(replaced, database, tmp_path / "backups", datetime(2026, 3, 2, tzinfo=UTC), KNOWN)
    assert dumped(database) == destroyed


def test_backups_of_one_second_then_are_all_kept(database, tmp_path):
    files = [back_up(database, tmp_path / "backups", NOON) for _ in range(3)]
    assert len(set(files)) == 3
    assert [check(each, KNOWN).made_at for each in files] == [NOON.isoformat()] * 3


def test_backup_while_somebody_writes_then_holds_what_was_committed(database, tmp_path):
    with closing(sqlite3.connect(database)) as writer:
        writer.execute("INSERT INTO reading VALUES ('not committed')")

        file = back_up(database, tmp_path / "backups", NOON)

        writer.commit()
    with zipfile.ZipFile(file) as packed:
        packed.extract("record.sqlite3", tmp_path / "out")
    assert "not committed" not in "".join(dumped(tmp_path / "out" / "record.sqlite3"))


def test_restore_into_nothing_then_makes_the_record(database, tmp_path):
    file = back_up(database, tmp_path / "backups", NOON)
    new = tmp_path / "new" / "record.sqlite3"

    assert restore(file, new, tmp_path / "new" / "backups", LATER, KNOWN) is None
    assert dumped(new) == dumped(database)


def test_every_flipped_bit_then_is_found_before_anything_is_touched(database, tmp_path):
    file = back_up(database, tmp_path / "backups", NOON)
    whole, before = file.read_bytes(), dumped(database)
    bits = random.Random(3).sample(range(8 * len(whole)), 400)
    # The ends, too: the first header, and the checksum itself.
    for bit in [*bits, *range(64), *range(8 * len(whole) - 64, 8 * len(whole))]:
        broken = bytearray(whole)
        broken[bit // 8] ^= 1 << bit % 8
        file.write_bytes(broken)

        with pytest.raises(BackupRefused):
            restore(file, database, tmp_path / "backups", LATER, KNOWN)

    assert dumped(database) == before
    assert [each.name for each in (tmp_path / "backups").iterdir()] == [file.name]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda whole: whole[:-1], "checksum does not agree"),
        (lambda whole: whole + b"x", "checksum does not agree"),
        (lambda whole: b"", "checksum does not agree"),
        (lambda whole: b"PK" * 900, "checksum does not agree"),
    ],
)
def test_file_that_is_no_whole_backup_then_is_refused_in_words(database, tmp_path, spoil, words):
    file = back_up(database, tmp_path / "backups", NOON)
    file.write_bytes(spoil(file.read_bytes()))

    with pytest.raises(BackupRefused, match=words):
        check(file, KNOWN)


def test_backup_of_a_newer_version_then_is_refused_with_what_to_do(database, tmp_path):
    file = back_up(database, tmp_path / "backups", NOON)

    with pytest.raises(BackupRefused, match=r"holds stock\.0001_initial.*Update first"):
        check(file, set())


def test_backup_without_a_record_or_a_folder_then_says_so(database, tmp_path):
    with pytest.raises(BackupRefused, match="nothing to back up"):
        back_up(tmp_path / "none", tmp_path / "backups", NOON)
    with pytest.raises(BackupRefused, match="is not there"):
        check(tmp_path / "none.zip", KNOWN)
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(BackupRefused, match="name another folder"):
        back_up(database, tmp_path / "file", NOON)


def test_backup_when_the_disk_fills_then_leaves_no_half_a_file(database, tmp_path, monkeypatch):
    folder = tmp_path / "backups"

    def full(*args) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(BackupRefused, match="No space left"):
        back_up(database, folder, NOON)

    assert list(folder.iterdir()) == []


def test_thinning_then_keeps_the_latest_and_whatever_was_replaced(database, tmp_path):
    folder = tmp_path / "backups"
    for day in (1, 2, 3):
        back_up(database, folder, datetime(2026, 3, day, tzinfo=UTC))
    kept = back_up(database, folder, datetime(2026, 1, 1, tzinfo=UTC), "replaced-")

    gone = thin_out(folder, 2)

    assert [each.name for each in gone] == ["carknocker-20260301-000000.zip"]
    assert kept.exists()


def test_commands_then_back_up_and_restore_a_real_record(tmp_path):
    """By the commands themselves, in a folder of their own, as a person would."""
    data = tmp_path / "data"
    env = {**os.environ, "CARKNOCKER_DATA": str(data)}
    env.pop("CARKNOCKER_DATABASE", None)

    def manage(*words: str) -> subprocess.CompletedProcess:
        command = [sys.executable, str(HOME / "manage.py"), *words]
        return subprocess.run(command, env=env, capture_output=True, text=True, check=False)

    assert manage("migrate", "-v0").returncode == 0
    record = data / "record.sqlite3"
    before = dumped(record)
    made = manage("backup", "--keep", "3")
    assert made.returncode == 0, made.stderr
    (file,) = (data / "backups").glob("*.zip")
    assert f"Backed up: {file}" in made.stdout
    assert "is whole" in manage("restore", str(file), "--check").stdout
    shutil.copy(file, tmp_path / "elsewhere.zip")
    shutil.rmtree(data)

    restored = manage("restore", str(tmp_path / "elsewhere.zip"))

    assert restored.returncode == 0, restored.stderr
    assert dumped(record) == before
    refused = manage("restore", str(HOME / "README.md"))
    assert refused.returncode != 0
    assert "checksum does not agree" in refused.stderr
    assert "Traceback" not in refused.stderr
