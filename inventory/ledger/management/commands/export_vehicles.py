"""Write the vehicles of the record into a list."""

from __future__ import annotations

import tempfile
from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from inventory.ledger.lists import outgoing, writing
from inventory.stock.models import Vehicle


class Command(BaseCommand):
    help = "Write the vehicles into a CSV file or xlsx workbook, by the ending of its name."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--with-retired", action="store_true", help="also what left the stock")
        parser.add_argument("--measured", action="store_true", help="also what was measured")
        parser.add_argument(
            "--semicolon", action="store_true", help="CSV with semicolons and decimal commas"
        )
        parser.add_argument("--no-mark", action="store_true", help="CSV without the mark of UTF-8")

    def handle(self, *args, **options) -> None:
        target, kind = options["file"], options["file"].suffix.lower()
        if kind not in (".csv", ".xlsx"):
            raise CommandError(f"{target}: end its name in .csv or .xlsx.")
        vehicles = Vehicle.everyone.of_the_house() if options["with_retired"] else Vehicle.objects
        headings = outgoing.headings(is_measured=options["measured"])
        rows = outgoing.rows(vehicles.for_list(), is_measured=options["measured"])
        number = vehicles.count()
        try:
            # Written aside and moved, so that no half a list has the name of a whole one.
            with tempfile.TemporaryDirectory(dir=target.parent, prefix="unfinished-") as aside:
                whole = Path(aside) / "list"
                with whole.open("wb") as file:
                    if kind == ".xlsx":
                        writing.write_workbook(file, headings, rows, title="Vehicles")
                    else:
                        delimiter = ";" if options["semicolon"] else ","
                        for piece in writing.as_csv(
                            headings, rows, delimiter=delimiter, has_mark=not options["no_mark"]
                        ):
                            file.write(piece)
                whole.replace(target)
        except OSError as error:
            raise CommandError(f"{target} could not be written: {error}.") from error
        self.stdout.write(f"{number} vehicles: {target}")
