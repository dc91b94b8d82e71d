"""Where this installation keeps its record, for the commands that copy it."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.contrib.sessions.models import Session
from django.core.management import call_command
from django.db import connection
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


def settle() -> None:
    """After a restore: bring the tables up to this version, and let everybody sign in anew."""
    connection.close()
    call_command("migrate", interactive=False, verbosity=0)
    Session.objects.all().delete()
    SignInLink.objects.all().delete()  # one that is used up now was not when the backup was made
