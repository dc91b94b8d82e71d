"""The bench: log a vehicle, measure it place by place, finish with a stated outcome."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from inventory.bench.entry import (
    Field,
    Instruments,
    contour_of,
    fields_of,
    said_of,
    sums_of,
    take,
    verdicts_at,
)
from inventory.bench.forms import BeginForm, FinishForm, RemarksForm, defaults_from
from inventory.bench.jobs import Job, TrackJob, VehicleJob
from inventory.bench.steps import wanted
from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.album import chosen_with
from inventory.stock.facts import Judged
from inventory.stock.forms import KINDS, NewVehicleForm
from inventory.stock.models import Inspection, Vehicle, Verdict
from inventory.stock.picturing import set_aside
from inventory.stock.places import Step
from inventory.stock.recording import (
    LeftTheStock,
    NeedsReason,
    TwinExists,
    finish_inspection,
    log_vehicle,
    open_inspection,
)
from inventory.stock.taking import Closed
from inventory.stock.verdicts import standing_proposal
from inventory.track.models import Turnout
from inventory.trackwork import recording as trackwork_recording
from inventory.trackwork.meeting import doubts_of, legs_of
from inventory.trackwork.models import TrackInspection, Trackwork
from inventory.trackwork.recording import trackwork_of
from inventory.trackwork.rounding import Radius, radius_of
from inventory.trackwork.standing import condition, unmeasured, verdicts_of
from inventory.trouble.models import Hold
from standards.conformity import Outcome
from standards.judging import Service, label
from standards.remedies import mends
from standards.sheets import family


def start(request: HttpRequest) -> HttpResponse:
    return render(
        request,
        "bench/start.html",
        {
            "unfinished": Inspection.objects.filter(
                finished_at__isnull=True, vehicle__retired_as=""
            ).select_related("vehicle", "inspector")[:12],
            "unfinished_track": TrackInspection.objects.filter(
                finished_at__isnull=True
            ).select_related("trackwork__place", "trackwork__turnout", "inspector")[:12],
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
    chosen = chosen_with(request)
    if request.method == "POST" and form.is_valid() and not chosen.refused:
        try:
            vehicle = log_vehicle(
                vehicle=form.instance,
                running=form.running,
                by=request.user,
                is_another=form.cleaned_data["is_another"],
                photos=chosen.photos,
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
            job = VehicleJob(inspection)
            return redirect(job.address(job.steps[0]))
    is_faulty = bool(form.errors or chosen.refused)
    if is_faulty:
        set_aside(chosen, request.user)
    return render(
        request,
        "bench/log.html",
        {
            "form": form,
            "chosen": chosen,
            "last": last,
            "kinds": KINDS,
            "known": history.words_in_use(),
        },
        status=422 if is_faulty else 200,
    )


@writers_only
@require_POST
def begin(request: HttpRequest, pk: int) -> HttpResponse:
    vehicle = get_object_or_404(Vehicle.everyone, pk=pk)
    form = BeginForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Pick a reason for the inspection from the list.")
        return redirect(vehicle)
    try:
        inspection = open_inspection(vehicle=vehicle, by=request.user, **form.cleaned_data)
    except LeftTheStock as left:
        messages.error(request, str(left))
        return redirect(vehicle)
    return redirect("bench:resume", pk=inspection.pk)


@writers_only
def resume(request: HttpRequest, pk: int) -> HttpResponse:
    """Take up an inspection where something that the sheets limit is still to measure, beginning
    with what was outside before."""
    job = VehicleJob.of(pk)
    if job.subject.is_retired:
        messages.error(request, str(LeftTheStock(job.subject)))
        return redirect(job.subject)
    inspection, steps = job.inspection, job.steps
    done = set(inspection.readings.filter(is_current=True).values_list("at", "quantity"))
    if not done:
        for verdict in Verdict.objects.standing_for(inspection.vehicle):
            for step in steps:
                if verdict.outcome == Outcome.OUTSIDE.value and verdict.key in step.keys:
                    return redirect(job.address(step))
    for step in steps:
        if any(key not in done for key in wanted(inspection.vehicle, step)):
            return redirect(job.address(step))
    return redirect(job.address(None))


@writers_only
@never_cache
def measure(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    return _measure(request, VehicleJob.of(pk), slug)


def _measure(request: HttpRequest, job: Job, slug: str) -> HttpResponse:
    """One place of what is inspected: its boxes, their verdicts, and what was typed into them."""
    if not job.is_open:
        messages.info(
            request,
            "That inspection is finished; begin another one to measure again."
            if not job.inspection.is_open
            else str(LeftTheStock(job.subject)),
        )
        return redirect(job.subject)
    step = _step(job, slug)
    instruments = Instruments.of(request.user)
    said = said_of(job)
    fields = fields_of(job, step, instruments, said)
    if request.method == "POST":
        written = [
            field for field in fields if take(field, request.POST, job, instruments, request.user)
        ]
        if all(field.is_settled for field in fields):
            return redirect(_onward(request, job, step, fields, written))
        said = said_of(job)
        _refresh_verdicts(fields, said, step)
    focus = request.GET.get("at", "")
    return render(
        request,
        "bench/measure.html",
        {
            **_around(job, step, said),
            "fields": fields,
            "focus": focus if focus in step.quantities else _first_open(fields),
            "sums": sums_of(said, step),
            "contour": contour_of(job, step, fields),
            "radius": _radius_at(job, step),
        },
        status=422 if not all(field.is_settled for field in fields) else 200,
    )


@writers_only
@require_POST
def reading(request: HttpRequest, pk: int, slug: str, quantity: str) -> HttpResponse:
    """Take one field while the person types on; answer with what is to be said beside it."""
    return _reading(request, VehicleJob.of(pk), slug, quantity)


def _reading(request: HttpRequest, job: Job, slug: str, quantity: str) -> HttpResponse:
    step = _step(job, slug)
    if quantity not in step.quantities:
        raise Http404(f"{quantity} is not measured at this place.")
    instruments = Instruments.of(request.user)
    fields = fields_of(job, step, instruments)
    shown = next(field for field in fields if field.code == quantity)
    take(shown, request.POST, job, instruments, request.user)
    said = said_of(job)
    _refresh_verdicts(fields, said, step)
    return render(
        request,
        "bench/_said.html",
        {
            **_around(job, step, said),
            "fields": fields,
            "said": shown,
            "sums": sums_of(said, step),
            "contour": contour_of(job, step, fields),
            "radius": _radius_at(job, step),
        },
    )


@writers_only
def finish(request: HttpRequest, pk: int) -> HttpResponse:
    job = VehicleJob.of(pk)
    inspection = job.inspection
    if not job.is_open:
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
            lets_run = form.cleaned_data["service"] in (Service.FIT, Service.ADVICE)
            return redirect((lets_run and _held(vehicle)) or vehicle)
    standing = Verdict.objects.standing_for(vehicle)
    return render(
        request,
        "bench/finish.html",
        {
            **_around(job, None, said_of(job)),
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


# --- Trackwork --------------------------------------------------------------------------------


@writers_only
@require_POST
def begin_turnout(request: HttpRequest, pk: int) -> HttpResponse:
    """Measure a turnout of which nothing was measured yet."""
    piece = trackwork_of(turnout=get_object_or_404(Turnout, pk=pk))
    return _begin_track(request, piece)


@writers_only
@require_POST
def begin_track(request: HttpRequest, pk: int) -> HttpResponse:
    return _begin_track(request, get_object_or_404(Trackwork, pk=pk))


def _begin_track(request: HttpRequest, piece: Trackwork) -> HttpResponse:
    form = BeginForm(request.POST)
    if not form.is_valid():
        messages.error(request, "Pick a reason for the inspection from the list.")
        return redirect(piece)
    inspection = trackwork_recording.open_inspection(
        trackwork=piece, by=request.user, **form.cleaned_data
    )
    if inspection.uses_gauge is not form.cleaned_data["uses_gauge"]:
        how = "by go/no-go gauge" if inspection.uses_gauge else "in numbers"
        messages.info(
            request,
            f"An inspection of it {how} is open already: go on with it, or finish it first.",
        )
    return redirect("bench:resume-track", pk=inspection.pk)


@writers_only
def resume_track(request: HttpRequest, pk: int) -> HttpResponse:
    """Take up an inspection of trackwork at the first place where something is to measure."""
    job = TrackJob.of(pk)
    done = set(job.inspection.readings.filter(is_current=True).values_list("quantity", "at"))
    for step in job.steps:
        if not done.issuperset(step.keys):
            return redirect(job.address(step))
    return redirect(job.address(None))


@writers_only
@never_cache
def measure_track(request: HttpRequest, pk: int, slug: str) -> HttpResponse:
    return _measure(request, TrackJob.of(pk), slug)


@writers_only
@require_POST
def reading_track(request: HttpRequest, pk: int, slug: str, quantity: str) -> HttpResponse:
    """The same as `reading`, of trackwork."""
    return _reading(request, TrackJob.of(pk), slug, quantity)


@writers_only
def finish_track(request: HttpRequest, pk: int) -> HttpResponse:
    job = TrackJob.of(pk)
    if not job.inspection.is_open:
        return redirect(job.subject)
    form = RemarksForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            trackwork_recording.finish_inspection(
                inspection=job.inspection,
                statement=form.cleaned_data["statement"].strip(),
                by=request.user,
            )
        except Closed as closed:
            messages.error(request, str(closed))
        return redirect(_held(job.subject) or job.subject)
    standing = verdicts_of([job.subject]).get(job.subject.pk, [])
    return render(
        request,
        "bench/finish_track.html",
        {
            **_around(job, None, said_of(job)),
            "form": form,
            "condition": condition(job.subject, standing),
            "unmeasured": [label(*key) for key in unmeasured(job.subject, standing)],
            "doubts": doubts_of(legs_of([job.subject])[job.subject.pk]),
            "verdicts": sorted(
                (verdict for verdict in standing if verdict.is_limited), key=Judged.worst_first
            ),
            "mends": mends(verdict.as_finding() for verdict in standing),
        },
        status=422 if form.errors else 200,
    )


# --- Small steps ------------------------------------------------------------------------------


def _held(subject: Vehicle | Trackwork) -> Hold | None:
    """Why what was just inspected is out of service; there it is said what still keeps it, and
    there it is released."""
    return subject.holds.filter(released_at__isnull=True).first()


def _step(job: Job, slug: str) -> Step:
    for step in job.steps:
        if step.slug == slug:
            return step
    raise Http404(f"{job.subject} has no place called {slug}.")


def _onward(
    request: HttpRequest, job: Job, step: Step, fields: list[Field], written: list[Field]
) -> str:
    """Where to go once a step is taken in.

    Enter after a new reading goes to the next empty field here; Enter with nothing new, or the
    button, goes on to the next place.
    """
    if request.POST.get("go") == "finish":
        return job.address(None)
    here = job.address(step)
    if written and request.POST.get("go") != "next":
        after = fields[fields.index(written[-1]) + 1 :]
        for field in after:
            if field.reading is None:
                return f"{here}?at={field.code}"
        if "gauge" in request.POST:
            return here  # so that the last answer is seen before the next place
    following = job.steps[job.steps.index(step) + 1 :]
    return job.address(following[0] if following else None)


def _first_open(fields: list[Field]) -> str:
    for field in fields:
        if not field.is_settled:
            return field.code
    for field in fields:
        if field.reading is None:
            return field.code
    return fields[0].code


def _radius_at(job: Job, step: Step) -> Radius | None:
    """The radius of a curve, where its chord and mid-ordinate are taken."""
    if isinstance(job.subject, Trackwork) and "chord" in step.quantities:
        return radius_of(job.subject)
    return None


def _refresh_verdicts(fields: list[Field], said: list[Judged], step: Step) -> None:
    """One reading can change the verdict on another of the same place."""
    verdicts = verdicts_at(said, step)
    for field in fields:
        field.verdict = verdicts.get(field.code)


@dataclass(frozen=True)
class Stop:
    """A place as the row of places shows it."""

    step: Step
    address: str
    outcome: str


def _around(job: Job, step: Step | None, said: list[Judged]) -> dict[str, object]:
    """What every page of an inspection shows around its middle. said: its verdicts."""
    worst: dict[str, str] = {}
    order = ("outside", "undecided", "within", "not judged")
    for verdict in said:
        standing = worst.get(verdict.at, "not judged")
        worst[verdict.at] = min(standing, verdict.outcome, key=order.index)
    stops = [Stop(each, job.address(each), worst.get(each.at, "")) for each in job.steps]
    index = job.steps.index(step) if step else len(stops)
    return {
        "job": job,
        "inspection": job.inspection,
        "subject": job.subject,
        "vehicle": job.subject if isinstance(job.subject, Vehicle) else None,
        "family": family(job.standard.family),
        "step": step,
        "here": job.address(step),
        "before": stops[index - 1] if index else None,
        "after": stops[index + 1] if index + 1 < len(stops) else None,
        "progress": stops,
        "now": timezone.now(),
    }
