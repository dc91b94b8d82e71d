"""Take a whole record in again."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from inventory.ledger.backup import BackupRefused
from inventory.ledger.keeping import is_begun, make_ready
from inventory.ledger.reading import Unreadable
from inventory.ledger.record import why_not_ready
from inventory.ledger.taking_in import ImportRefused, TakenIn, take_in


class Command(BaseCommand):
    help = (
        "Take a whole record in, from a file that export wrote. All of it or nothing: everything "
        "is checked first, and where the record says otherwise already nothing is written."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path)
        parser.add_argument("--check", action="store_true", help="only say what would be done")

    def handle(self, *args, **options) -> None:
        file = options["file"]
        try:
            self._make_ready(only_looks=options["check"])
            with file.open("rb") as opened:
                done = take_in(opened, file.name, is_dry=options["check"])
        except (Unreadable, ImportRefused, BackupRefused) as refused:
            raise CommandError(f"{refused}\nNothing was written.") from refused
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error}.") from error
        self._say(done)
        if done.is_refused:
            raise CommandError(done.in_words)
        self.stdout.write(done.in_words)

    def _make_ready(self, *, only_looks: bool) -> None:
        """A record on a new machine begins with the file; only looking changes no older one."""
        if only_looks and is_begun():
            if words := why_not_ready():
                raise CommandError(words)
        else:
            make_ready(self.stdout.write)

    def _say(self, done: TakenIn) -> None:
        for section, words in done.lines:
            self.stdout.write(f"{section}: {words}")
        for line in (*done.left, *done.differences):
            self.stdout.write(line)
