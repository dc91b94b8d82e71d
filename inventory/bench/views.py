"""The bench: log a vehicle, measure it place by place, finish with a stated outcome."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from inventory.bench.entry import Field, Instruments, contour_of, fields_of, sums_of, take
from inventory.bench.forms import BeginForm, FinishForm, defaults_from
from inventory.bench.steps import Step, steps_for, wanted
from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.forms import KINDS, NewVehicleForm
from inventory.stock.models import Inspection, Vehicle, Verdict
from inventory.stock.recording import (
    NeedsReason,
    TwinExists,
    finish_inspection,
    log_vehicle,
    open_inspection,
)
from inventory.stock.taking import Closed
from inventory.stock.verdicts import standing_proposal
from standards.conformity import Outcome
from standards.judging import Service, label
from standards.remedies import mends


def start(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "bench/start.html",
        {
            "unfinished": Inspection.objects.filter(finished_at__isnull=True).select_related(
                "vehicle", "inspector"
            )[:12],
            "awaiting": Vehicle.objects.awaiting_inspection()
            .exclude(inspections__finished_at__isnull=True, inspections__isnull=False)
            .order_by("-logged_at", "pk")[:12],
            "counts": history.service_counts(),
        },
    )


@writers_only
def log(request: HttpRequest) -> HttpResponse:
    last = Vehicle.objects.order_by("-pk").first()
    form = NewVehicleForm(
        request.POST or None,
        initial=defaults_from(last),
        unit=request.user.unit,
        used=history.scales_in_use(),
    )
    if request.method == "POST" and form.is_valid():
        try:
            vehicle = log_vehicle(
                vehicle=form.instance,
                running=form.running,
                by=request.user,
                is_another=form.cleaned_data["is_another"],
            )
        except TwinExists as twin:
            form.add_twins(twin)
        else:
            inspection = open_inspection(
                vehicle=vehicle,
                reason=Inspection.Reason.NEW,
                by=request.user,
                uses_gauge=request.POST.get("go") == "gauge",
            )
            return redirect(_step_address(inspection, _steps(inspection)[0]))
    return render(
        request,
        "bench/log.html",
        {"form": form, "last": last, "kinds": KINDS, "known": history.words_in_use()},
        status=422 if form.errors else 200,
    )


@writers_only
@require_POST
def begin(request: HttpRequest, pk: int) -> HttpResponse:
    vehicle = get_object_or_404(Vehicle, pk=pk)
    form = BeginForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Pick a reason for the inspection from the list.")
        return redirect(vehicle)
    inspection = open_inspection(vehicle=vehicle, by=request.user, **form.cleaned_data)
    return redirect("bench:resume", pk=inspection.pk)


@writers_only
def resume(request: HttpRequest, pk: int) -> HttpResponse:
    """Take up an inspection where something that the sheets limit is still to measure, beginning
    with what was outside before."""
    inspection = _inspection(pk)
    steps = _steps(inspection)
    done = set(inspection.readings.filter(is_current=True).values_list("at", "quantity"))
    if not done:
        for verdict in Verdict.objects.standing_for(inspection.vehicle):
            for step in steps:
                if verdict.outcome == Outcome.OUTSIDE.value and verdict.key in step.keys:
                    return redirect(_step_address(inspection, step))
    for step in steps:
        if any(key not in done for key in wanted(inspection.vehicle, step)):
            return redirect(_step_address(inspection, step))
    return redirect("bench:finish", pk=inspection.pk)


@writers_only
@never_cache
def measure(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    inspection = _inspection(pk)
    if not inspection.is_open:
        messages.info(request, "That inspection is finished; begin another one to measure again.")
        return redirect(inspection.vehicle)
    steps = _steps(inspection)
    step = _step(steps, slug)
    instruments = Instruments.of(request.user)
    fields = fields_of(inspection, step, instruments)
    if request.method == "POST":
        written = [
            field
            for field in fields
            if take(field, request.POST, inspection, instruments, request.user)
        ]
        if all(field.is_settled for field in fields):
            return redirect(_onward(request, inspection, steps, step, fields, written))
        _refresh_verdicts(fields, inspection, step)
    focus = request.GET.get("at", "")
    return render(
        request,
        "bench/measure.html",
        {
            **_around(inspection, steps, step),
            "fields": fields,
            "focus": focus if focus in step.quantities else _first_open(fields),
            "sums": sums_of(inspection, step),
            "contour": contour_of(inspection, step, fields),
        },
        status=422 if not all(field.is_settled for field in fields) else 200,
    )


@writers_only
@require_POST
def reading(request: HttpRequest, pk: int, slug: str, quantity: str) -> HttpResponse:
    """Take one field while the person types on; answer with what is to be said beside it."""
    inspection = _inspection(pk)
    steps = _steps(inspection)
    step = _step(steps, slug)
    if quantity not in step.quantities:
        raise Http404(f"{quantity} is not measured at this place.")
    instruments = Instruments.of(request.user)
    fields = fields_of(inspection, step, instruments)
    shown = next(field for field in fields if field.code == quantity)
    take(shown, request.POST, inspection, instruments, request.user)
    _refresh_verdicts(fields, inspection, step)
    return render(
        request,
        "bench/_said.html",
        {
            **_around(inspection, steps, step),
            "fields": fields,
            "said": shown,
            "sums": sums_of(inspection, step),
            "contour": contour_of(inspection, step, fields),
        },
    )


@writers_only
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    inspection = _inspection(pk)
    if not inspection.is_open:
        return redirect(inspection.vehicle)
    vehicle = inspection.vehicle
    proposal = standing_proposal(vehicle)
    form = FinishForm(request.POST or None, proposed=proposal.service)
    if request.method == "POST" and form.is_valid():
        try:
            finish_inspection(
                inspection=inspection,
                service=Service(form.cleaned_data["service"]),
                statement=form.cleaned_data["statement"].strip(),
                by=request.user,
            )
        except NeedsReason as needed:
            form.add_error("statement", str(needed))
            form.fields["statement"].is_asked = True
        except Closed as closed:
            messages.error(request, str(closed))
            return redirect(vehicle)
        else:
            return redirect(vehicle)
    standing = Verdict.objects.standing_for(vehicle)
    return render(
        request,
        "bench/finish.html",
        {
            **_around(inspection, _steps(inspection), None),
            "form": form,
            "proposal": proposal,
            "missing": [label(*key) for key in proposal.missing],
            "unjudged": [label(*key) for key in proposal.unjudged],
            "unmeasured": [label(*key) for key in proposal.unmeasured],
            "verdicts": sorted(
                (verdict for verdict in standing if verdict.is_limited), key=Verdict.worst_first
            ),
            "mends": mends(verdict.as_finding() for verdict in standing),
        },
        status=422 if form.errors else 200,
    )


# --- Small steps ------------------------------------------------------------------------------


def _inspection(pk: int) -> Inspection:
    return get_object_or_404(
        Inspection.objects.select_related("vehicle", "inspector").prefetch_related(
            "vehicle__couplers", "vehicle__wheelsets"
        ),
        pk=pk,
    )


def _steps(inspection: Inspection) -> tuple[Step, ...]:
    kinds = {coupler.end: coupler.kind for coupler in inspection.vehicle.couplers.all()}
    return steps_for(inspection.vehicle, kinds, uses_gauge=inspection.uses_gauge)


def _step(steps: tuple[Step, ...], slug: str) -> Step:
    for step in steps:
        if step.slug == slug:
            return step
    raise Http404(f"This vehicle has no place called {slug}.")


def _step_address(inspection: Inspection, step: Step) -> str:
    return reverse("bench:measure", args=[inspection.pk, step.slug])


def _onward(
    request: HttpRequest,
    inspection: Inspection,
    steps: tuple[Step, ...],
    step: Step,
    fields: list[Field],
    written: list[Field],
) -> str:
    """Where to go once a step is taken in.

    Enter after a new reading goes to the next empty field here; Enter with nothing new, or the
    button, goes on to the next place.
    """
    if request.POST.get("go") == "finish":
        return reverse("bench:finish", args=[inspection.pk])
    here = _step_address(inspection, step)
    if written and request.POST.get("go") != "next":
        after = fields[fields.index(written[-1]) + 1 :]
        for field in after:
            if field.reading is None:
                return f"{here}?at={field.code}"
        if "gauge" in request.POST:
            return here  # so that the last answer is seen before the next place
    following = steps[steps.index(step) + 1 :]
    if following:
        return _step_address(inspection, following[0])
    return reverse("bench:finish", args=[inspection.pk])


def _first_open(fields: list[Field]) -> str:
    for field in fields:
        if not field.is_settled:
            return field.code
    for field in fields:
        if field.reading is None:
            return field.code
    return fields[0].code


def _refresh_verdicts(fields: list[Field], inspection: Inspection, step: Step) -> None:
    """One reading can change the verdict on another of the same axle."""
    current: QuerySet[Verdict] = inspection.verdicts.current().filter(at=step.at)
    verdicts = {verdict.quantity: verdict for verdict in current}
    for field in fields:
        field.verdict = verdicts.get(field.code)


def _around(
    inspection: Inspection, steps: tuple[Step, ...], step: Step | None
) -> dict[str, object]:
    """What every page of an inspection shows around its middle."""
    worst: dict[str, str] = {}
    order = ("outside", "undecided", "within", "not judged")
    for at, outcome in inspection.verdicts.current().values_list("at", "outcome"):
        standing = worst.get(at, "not judged")
        worst[at] = min(standing, outcome, key=order.index)
    index = steps.index(step) if step else len(steps)
    return {
        "inspection": inspection,
        "vehicle": inspection.vehicle,
        "step": step,
        "before": steps[index - 1] if index else None,
        "after": steps[index + 1] if index + 1 < len(steps) else None,
        "progress": [(each, worst.get(each.at, "")) for each in steps],
        "now": timezone.now(),
    }
