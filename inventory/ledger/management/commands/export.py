"""Write the whole record into a file that other programs read."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.ledger.shape import schema_text
from inventory.ledger.writing import ExportRefused, export


class Command(BaseCommand):
    help = (
        "Write the whole record into a file: a document (.json), a zip of CSV files (.zip) or a "
        "workbook (.xlsx), as its suffix says."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, help="ends in .json, .zip or .xlsx")
        parser.add_argument(
            "--without-photos", action="store_true", help="leave the photos out, and say so"
        )
        parser.add_argument(
            "--schema", action="store_true", help="write the JSON Schema of the document instead"
        )

    def handle(self, *args, **options) -> None:
        file = options["file"]
        try:
            if options["schema"]:
                file.write_text(schema_text(), encoding="utf-8", newline="\n")
                self.stdout.write(f"Written: {file}")
                return
            counts = export(file, timezone.now(), with_photos=not options["without_photos"])
        except ExportRefused as refused:
            raise CommandError(str(refused)) from refused
        except OSError as error:
            raise CommandError(f"{file} cannot be written: {error}.") from error
        rows = sum(counts.values())
        self.stdout.write(
            f"Written: {file}, {counts['vehicles']:,} vehicles, {rows:,} rows in all."
        )
