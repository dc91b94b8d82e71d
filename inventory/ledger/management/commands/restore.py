"""Put a backup in the place of the record."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.ledger import record
from inventory.ledger.backup import BackupRefused, check, restore


class Command(BaseCommand):
    help = "Put a backup in the place of the record; what it replaces is backed up first."
    requires_migrations_checks = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="only say whether it is whole")

    def handle(self, *args, **options) -> None:
        file, known = options["file"], record.known_migrations()
        try:
            if options["check"]:
                self.stdout.write(f"{file} is whole, made {check(file, known).made_at}.")
                return
            moment = timezone.localtime()
            replaced = restore(file, record.database(), record.folder(), moment, known)
        except BackupRefused as refused:
            raise CommandError(str(refused)) from refused
        if replaced is not None:
            self.stdout.write(f"What it replaced is kept in {replaced}")
        record.settle()
        self.stdout.write(f"Restored from {file}")
