"""Where this installation keeps its record, for the commands that copy it."""

from __future__ import annotations

from pathlib import Path

from django.conf import settings
from django.db.migrations.loader import MigrationLoader

from inventory.ledger.backup import BackupRefused


def database() -> Path:
    """The file of the record. Raises BackupRefused where a database server keeps it."""
    held = settings.DATABASES["default"]
    if not held["ENGINE"].endswith("sqlite3"):
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
