"""Visitors' day: a quick check of vehicles that are not ours, and a slip to hand over."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from inventory.bench.forms import VisitorForm
from inventory.bench.jobs import VehicleJob
from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.forms import KINDS
from inventory.stock.models import Inspection, Vehicle, Verdict
from inventory.stock.recording import Running, log_vehicle, open_inspection
from inventory.stock.verdicts import proposal_from
from standards.judging import label
from standards.remedies import mends

MOST_LISTED = 50


@writers_only
def visitors(request: HttpRequest) -> HttpResponse:
    """Take a visitor's vehicle to the bench; below, those that were checked, the latest first."""
    brought = Vehicle.everyone.filter(visitor__gt="").order_by("-pk")
    last = brought.first()
    initial = {"standard": "nmra/HO", "axles": 4}
    if last is not None:
        initial = {
            "visitor": last.visitor,
            "standard": f"{last.family}/{last.scale}",
            "axles": last.axles,
        }
    form = VisitorForm(request.POST or None, initial=initial, used=history.scales_in_use())
    if request.method == "POST" and form.is_valid():
        vehicle = log_vehicle(vehicle=form.instance, running=Running(), by=request.user)
        inspection = open_inspection(
            vehicle=vehicle,
            reason=Inspection.Reason.VISITING,
            by=request.user,
            uses_gauge=request.POST.get("go") != "caliper",
        )
        job = VehicleJob(inspection)
        return redirect(job.address(job.steps[0]))
    return render(
        request,
        "bench/visitors.html",
        {"form": form, "brought": brought[:MOST_LISTED], "kinds": KINDS},
        status=422 if form.errors else 200,
    )


def visitor(request: HttpRequest, pk: int) -> HttpResponse:
    """The slip of a visitor's vehicle: pass, or what is out and what to do."""
    brought = Vehicle.everyone.exclude(visitor="").prefetch_related("wheelsets", "couplers")
    vehicle = get_object_or_404(brought, pk=pk)
    standing = Verdict.objects.standing_for(vehicle)
    proposal = proposal_from(vehicle, standing)
    limited = sorted((each for each in standing if each.is_limited), key=Verdict.worst_first)
    return render(
        request,
        "bench/visitor.html",
        {
            "vehicle": vehicle,
            "inspection": vehicle.inspections.select_related("inspector").first(),
            "open_verdicts": [each for each in limited if each.outcome != "within"],
            "within": [each for each in limited if each.outcome == "within"],
            "missing": [label(*key) for key in proposal.missing],
            "mends": mends(verdict.as_finding() for verdict in standing),
        },
    )
