"""Judge every stored reading again by the sheets and house limits as they are now."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Callable

from django.core.management.base import BaseCommand
from django.db.models import Model

from inventory.stock.models import Vehicle
from inventory.stock.verdicts import Rejudged, rejudge_vehicle
from inventory.trackwork.models import Trackwork
from inventory.trackwork.recording import rejudge_trackwork


class Command(BaseCommand):
    help = (
        "Judge all readings again. Readings never change; verdicts that come out differently "
        "are superseded and listed. With --check nothing is written, and the exit status is 1 "
        "if anything would change."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--check", action="store_true", help="only say what would change")

    def handle(self, *args, **options) -> None:
        is_dry = options["check"]
        vehicles, on_vehicles = self._again(Vehicle, rejudge_vehicle, is_dry)
        pieces, on_track = self._again(Trackwork, rejudge_trackwork, is_dry)
        n_changes = on_vehicles + on_track
        counted = f"{vehicles} vehicle{'' if vehicles == 1 else 's'}"
        if pieces:
            counted += f" and {pieces} piece{'s' if pieces > 1 else ''} of trackwork"
        verb = "would change" if is_dry else "changed"
        self.stdout.write(f"{counted} judged again; {n_changes} verdicts {verb}.")
        if is_dry and n_changes:
            raise SystemExit(1)

    def _again(
        self, kind: type[Model], rejudge: Callable[..., list[Rejudged]], is_dry: bool
    ) -> tuple[int, int]:
        """Judge all of one kind again; how many there are and how many verdicts changed."""
        n_changes = 0
        # By key, so that no cursor stays open: a reading at the bench may come in between.
        keys = list(kind.objects.order_by("pk").values_list("pk", flat=True))
        for pk in keys:
            for change in rejudge(kind.objects.get(pk=pk), is_dry=is_dry):
                n_changes += 1
                self.stdout.write(
                    f"{change.of}: {change.label}: {change.before} → {change.after} ({change.why})"
                )
        return len(keys), n_changes
