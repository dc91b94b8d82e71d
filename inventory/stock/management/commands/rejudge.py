"""Judge every stored reading again by the sheets and house limits as they are now."""

from __future__ import annotations

from argparse import ArgumentParser

from django.core.management.base import BaseCommand

from inventory.stock.models import Vehicle
from inventory.stock.verdicts import rejudge_vehicle


class Command(BaseCommand):
    help = (
        "Judge all readings again. Readings never change; verdicts that come out differently "
        "are superseded and listed. With --check nothing is written, and the exit status is 1 "
        "if anything would change."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="only say what would change")

    def handle(self, *args, **options) -> None:
        n_vehicles = n_changes = 0
        # By key, so that no cursor stays open: a reading at the bench may come in between.
        for pk in list(Vehicle.objects.order_by("pk").values_list("pk", flat=True)):
            vehicle = Vehicle.objects.get(pk=pk)
            n_vehicles += 1
            for change in rejudge_vehicle(vehicle, is_dry=options["check"]):
                n_changes += 1
                self.stdout.write(
                    f"{change.of}: {change.label}: {change.before} → {change.after} ({change.why})"
                )
        verb = "would change" if options["check"] else "changed"
        self.stdout.write(f"{n_vehicles} vehicles judged again; {n_changes} verdicts {verb}.")
        if options["check"] and n_changes:
            raise SystemExit(1)
