"""What the bench needs to know of whatever is inspected, a vehicle or a piece of trackwork."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from django.shortcuts import get_object_or_404
from django.urls import reverse

from inventory.bench.steps import speaks, steps_for
from inventory.people.models import Person
from inventory.stock import recording as stock_recording
from inventory.stock.facts import Taken
from inventory.stock.models import Inspection, Vehicle
from inventory.stock.places import Step
from inventory.stock.taking import Entry
from inventory.trackwork import recording as track_recording
from inventory.trackwork.models import TrackInspection, Trackwork
from inventory.trackwork.steps import steps_for as track_steps_for
from standards.sheets import Scale, limits_for


class Job(Protocol):
    """One open inspection at the bench, with the pages that belong to it."""

    inspection: Inspection | TrackInspection
    subject: Vehicle | Trackwork
    steps: tuple[Step, ...]

    @property
    def standard(self) -> Scale: ...
    @property
    def is_open(self) -> bool: ...
    def speaks(self, quantity: str) -> bool: ...
    def record(self, entries: Iterable[Entry], by: Person) -> list[Taken]: ...
    def withdraw(self, quantity: str, at: str, seen: int | None) -> None: ...
    def address(self, step: Step | None) -> str: ...


@dataclass(frozen=True)
class VehicleJob:
    """A vehicle at the bench."""

    inspection: Inspection

    @classmethod
    def of(cls, pk: int) -> VehicleJob:
        """The inspection of that key; a missing one is not found."""
        inspections = Inspection.objects.select_related("vehicle", "inspector")
        prefetched = inspections.prefetch_related("vehicle__couplers", "vehicle__wheelsets")
        return cls(get_object_or_404(prefetched, pk=pk))

    @property
    def subject(self) -> Vehicle:
        return self.inspection.vehicle

    @property
    def standard(self) -> Scale:
        return self.subject.standard

    @property
    def is_open(self) -> bool:
        """Whether something can still be measured: not once the vehicle has left the stock."""
        return self.inspection.is_open and not self.subject.is_retired

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        kinds = {coupler.end: coupler.kind for coupler in self.subject.couplers.all()}
        return steps_for(self.subject, kinds, uses_gauge=self.inspection.uses_gauge)

    def speaks(self, quantity: str) -> bool:
        """Whether a sheet limits it, so that it comes with a verdict."""
        return speaks(self.subject, quantity)

    def record(self, entries: Iterable[Entry], by: Person) -> list[Taken]:
        return stock_recording.record(inspection=self.inspection, entries=entries, by=by)

    def withdraw(self, quantity: str, at: str, seen: int | None) -> None:
        stock_recording.withdraw_reading(
            inspection=self.inspection, quantity=quantity, at=at, seen=seen
        )

    def address(self, step: Step | None) -> str:
        """The page of a step, or the page that finishes the inspection."""
        if step is None:
            return reverse("bench:finish", args=[self.inspection.pk])
        return reverse("bench:measure", args=[self.inspection.pk, step.slug])


@dataclass(frozen=True)
class TrackJob:
    """A piece of trackwork, measured where it lies."""

    inspection: TrackInspection

    @classmethod
    def of(cls, pk: int) -> TrackJob:
        """The inspection of that key; a missing one is not found."""
        inspections = TrackInspection.objects.select_related(
            "trackwork__place__railway", "trackwork__turnout", "inspector"
        )
        return cls(get_object_or_404(inspections, pk=pk))

    @property
    def subject(self) -> Trackwork:
        return self.inspection.trackwork

    @property
    def standard(self) -> Scale:
        return self.subject.standard

    @property
    def is_open(self) -> bool:
        return self.inspection.is_open

    @cached_property
    def steps(self) -> tuple[Step, ...]:
        return track_steps_for(self.subject, uses_gauge=self.inspection.uses_gauge)

    def speaks(self, quantity: str) -> bool:
        """Whether a sheet limits it, so that it comes with a verdict."""
        return quantity in limits_for(self.standard)

    def record(self, entries: Iterable[Entry], by: Person) -> list[Taken]:
        return track_recording.record(inspection=self.inspection, entries=entries, by=by)

    def withdraw(self, quantity: str, at: str, seen: int | None) -> None:
        track_recording.withdraw_reading(
            inspection=self.inspection, quantity=quantity, at=at, seen=seen
        )

    def address(self, step: Step | None) -> str:
        """The page of a step, or the page that finishes the inspection."""
        if step is None:
            return reverse("bench:finish-track", args=[self.inspection.pk])
        return reverse("bench:measure-track", args=[self.inspection.pk, step.slug])
