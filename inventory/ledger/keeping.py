"""What `start` does so that the record outlives the day: one backup a day, and one before the
tables are changed by a newer version, put back by itself where that was broken off."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

from django.conf import settings
from django.core.files import locks
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from inventory.ledger import record
from inventory.ledger.backup import (
    BackupRefused,
    back_up,
    dated,
    moment_of,
    restore,
    sweep,
    thin_out,
)

Say = Callable[[str], object]
_BEFORE = "before-upgrade-"
EVERY = timedelta(days=1)
_LOOK_AGAIN_SECONDS = 15 * 60


def bring_up_to_date(say: Say) -> None:
    """Change the tables to those of this version, or leave the record as it was.

    Raises BackupRefused for a record of a newer version, and where the record has to be changed
    and cannot be backed up before.
    """
    if not record.is_in_a_file():
        _refuse_newer()
        _migrate()
        return
    _undo_what_was_broken_off(say)
    marker = _marker()
    if not record.database().exists() or not is_begun():
        marker.write_text("", encoding="utf-8")
    else:
        _refuse_newer()
        if not _is_behind():
            return
        try:
            made = back_up(record.database(), record.folder(), timezone.localtime(), _BEFORE)
        except BackupRefused as refused:
            raise BackupRefused(
                "The record is of an older version and has to be changed, which is not begun "
                f"without a backup. {refused}"
            ) from refused
        say(f"The record is of an older version and is brought up to this one. Backed up: {made}")
        marker.write_text(made.name, encoding="utf-8")
    _migrate()
    marker.unlink()


@contextmanager
def in_turn() -> Iterator[None]:
    """Several processes on one record are made ready one after the other."""
    with (Path(settings.DATA) / "starting").open("w") as turn:
        locks.lock(turn, locks.LOCK_EX)
        yield


def make_ready(say: Say) -> None:
    """Make the tables, or bring them up to date, for a command that writes without `start`.

    Raises BackupRefused, as `bring_up_to_date` does.
    """
    if not _marker().exists() and record.why_not_ready() is None:
        return
    with in_turn():
        bring_up_to_date(say)


def _migrate() -> None:
    call_command("migrate", interactive=False, verbosity=0)


def _marker() -> Path:
    """Stands while the tables are changed. It names the backup made before; nothing where they
    are made for the first time."""
    return Path(settings.DATA) / "upgrading"


def _undo_what_was_broken_off(say: Say) -> None:
    marker = _marker()
    if not marker.exists():
        return
    connection.close()
    name = marker.read_text(encoding="utf-8").strip()
    now = timezone.localtime()
    if name:
        # Nobody could write since, so that what stands is that backup, half changed.
        file = record.folder() / Path(name).name
        replaced = restore(
            file, record.database(), record.folder(), now, record.known_migrations()
        )
        say(f"The change to this version was broken off. The record is as before, from {file}")
        say(f"What was half changed is kept in {replaced}")
    elif record.database().exists():
        aside = record.database().with_name(f"broken-off-{now:%Y%m%d-%H%M%S}.sqlite3")
        record.database().replace(aside)
        for left in ("-wal", "-shm"):
            record.database().with_name(f"{record.database().name}{left}").unlink(missing_ok=True)
        say(f"The first start was broken off. What it had made is kept in {aside}")
    marker.unlink()


def _refuse_newer() -> None:
    unknown = sorted(
        f"{app}.{name}"
        for app, name in MigrationExecutor(connection).loader.applied_migrations
        if f"{app}.{name}" not in record.known_migrations()
    )
    if unknown:
        raise BackupRefused(
            f"The record was written by a newer Carknocker: it holds {unknown[0]}, which this one "
            "does not know. Nothing was touched; start that version, or restore an older backup."
        )


def is_begun() -> bool:
    """Whether there are tables, of whatever version."""
    return bool(MigrationExecutor(connection).loader.applied_migrations)


def _is_behind() -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes()))


def back_up_if_due(say: Say, moment: datetime) -> Path | None:
    """A backup if the last is a day old, and the oldest beyond those to keep removed.

    One that cannot be made is told; serving goes on.
    """
    if not settings.BACKUPS_KEPT or not record.is_in_a_file():
        return None
    folder = record.folder()
    try:
        sweep(folder, moment)
        # Nearer than a day on either side: a clock that was set back must not stop them.
        if any(abs(moment - moment_of(each, moment)) < EVERY for each in dated(folder)):
            return None
        made = back_up(record.database(), folder, moment)
        thin_out(folder, settings.BACKUPS_KEPT, sparing=made)
    except (BackupRefused, OSError) as problem:
        say(f"Today's backup was NOT made. {problem}")
        return None
    say(f"Today's backup: {made}")
    return made


def keep_backing_up(say: Say) -> threading.Event:
    """Back up day by day while the server runs; set the event that it gives to stop."""
    is_over = threading.Event()

    def watch() -> None:
        while not is_over.wait(_LOOK_AGAIN_SECONDS):
            back_up_if_due(say, timezone.localtime())

    threading.Thread(target=watch, name="daily backup", daemon=True).start()
    return is_over
