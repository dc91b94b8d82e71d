"""Back the whole record up into one file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.ledger import record
from inventory.ledger.backup import BackupRefused, back_up, thin_out
from inventory.ledger.keeping import is_begun


class Command(BaseCommand):
    help = "Back the record up into one file, while people go on working."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, help="folder; default: backups beside the record")
        parser.add_argument("--keep", type=int, help="remove the oldest beyond so many")

    def handle(self, *args, **options) -> None:
        if options["keep"] is not None and options["keep"] < 1:
            raise CommandError(f"--keep {options['keep']}: keep 1 or more.")
        if not is_begun():
            raise CommandError(record.why_not_ready())
        folder = options["to"] or record.folder()
        try:
            made = back_up(record.database(), folder, timezone.localtime())
        except BackupRefused as refused:
            raise CommandError(str(refused)) from refused
        self.stdout.write(f"Backed up: {made}")
        if options["keep"] is not None:
            for gone in thin_out(folder, options["keep"]):
                self.stdout.write(f"Removed: {gone.name}")
