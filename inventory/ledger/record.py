"""Where this installation keeps its record, for the commands that copy it."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.db.migrations.loader import MigrationLoader

from inventory.ledger.backup import BackupRefused
from inventory.people.models import SignInLink


def is_in_a_file() -> bool:
    """Whether the record is one file here, and not kept by a database server."""
    return str(settings.DATABASES["default"]["ENGINE"]).endswith("sqlite3")


def database() -> Path:
    """The file of the record. Raises BackupRefused where a database server keeps it."""
    held = settings.DATABASES["default"]
    if not is_in_a_file():
        raise BackupRefused(
            "The record is kept by PostgreSQL, which has its own backup: pg_dump and pg_restore."
        )
    return Path(held["NAME"])


def folder() -> Path:
    """Where backups go unless somebody names another place."""
    return Path(settings.DATA) / "backups"


def known_migrations() -> set[str]:
    """The changes of the tables that this version knows."""
    loader = MigrationLoader(None)
    return {f"{app}.{name}" for app, name in loader.disk_migrations}


def why_not_ready() -> str | None:
    """Why a command cannot work on the record, with the remedy; None where the record is as this
    version wants it."""
    try:
        executor = MigrationExecutor(connection)
    except DatabaseError as problem:
        return f"The record cannot be reached: {problem}\n{_place()}"
    applied = executor.loader.applied_migrations
    if {f"{app}.{name}" for app, name in applied} - known_migrations():
        return (
            "The record was written by a newer Carknocker, and nothing was touched. Use that one."
            f"\n{_place()}"
        )
    if not applied:
        return (
            f"There is no record yet; manage.py start makes one, and nothing was done.\n{_place()}"
        )
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        return (
            "The record is of an older version, and nothing was done. manage.py start backs it up "
            f"and brings it up to this one.\n{_place()}"
        )
    return None


def _place() -> str:
    """Where the record was looked for: a variable that was forgotten is the usual cause."""
    if is_in_a_file():
        return (
            f"It was looked for in {settings.DATA}; the environment variable CARKNOCKER_DATA "
            "names another folder."
        )
    held = settings.DATABASES["default"]
    return (
        f"It was looked for in the database {held['NAME']} on {held['HOST'] or 'this machine'}, "
        f"port {held['PORT'] or 5432}, as CARKNOCKER_DATABASE says."
    )


def settle() -> None:
    """After a restore: bring the tables up to this version, and let everybody sign in anew."""
    connection.close()
    call_command("migrate", interactive=False, verbosity=0)
    Session.objects.all().delete()
    SignInLink.objects.all().delete()  # one that is used up now was not when the backup was made
