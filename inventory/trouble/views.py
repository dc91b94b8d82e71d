"""Pages that take trouble down: reports, what is out of service, running sessions."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_POST

from inventory.people.access import writers_only
from inventory.stock.album import Album, chosen_with
from inventory.stock.models import Vehicle
from inventory.stock.picturing import set_aside
from inventory.track.models import Railway, Turnout
from inventory.trackwork.models import Trackwork
from inventory.trackwork.recording import trackwork_of
from inventory.trouble.counting import count
from inventory.trouble.forms import HoldForm, ReleaseForm, ReportForm, RunningForm, WithdrawForm
from inventory.trouble.models import Hold, Incident, IncidentPhoto, Involved, RunningSession, Turn
from inventory.trouble.recording import (
    TroubleRefused,
    add_photos,
    describe_photo,
    move_photo,
    note_running,
    release,
    remove_photo,
    standing_verdicts,
    take_out,
    waits_for,
    withdraw_report,
)
from inventory.trouble.recording import report as keep_report
from inventory.trouble.spots import spots_of
from standards.causes import Happening, causes_of
from standards.remedies import mends

ALBUM = Album(
    kind=IncidentPhoto,
    subjects=Incident.objects.all,
    add=add_photos,
    describe=describe_photo,
    move=move_photo,
    remove=remove_photo,
)


def _who_ran() -> Prefetch:
    """The vehicles of a turn, be they still in the stock or not."""
    return Prefetch("vehicles", queryset=Vehicle.everyone.all())


def _holds():
    return Hold.objects.select_related(
        "vehicle",
        "trackwork__place__railway",
        "trackwork__turnout",
        "held_by",
        "released_by",
        "incident",
    )


def _incidents():
    return Incident.objects.select_related("railway", "reported_by").prefetch_related(
        "involved__vehicle"
    )


def board(request: HttpRequest) -> HttpResponse:
    """What is out of service, the oldest first, with what each waits for."""
    held = [(each, waits_for(each)) for each in _holds().filter(released_at__isnull=True)]
    return render(
        request,
        "trouble/board.html",
        {
            "held": held,
            "recent": _incidents()[:8],
            "released": _holds().filter(released_at__isnull=False).order_by("-released_at")[:5],
            "railways": Railway.objects.all(),
        },
    )


# --- Reports ----------------------------------------------------------------------------------


@writers_only
def report(request: HttpRequest) -> HttpResponse:
    """On which railway? Asked only where there are several, and the vehicle stands on none."""
    railways = list(Railway.objects.all())
    key = request.GET.get("vehicle", "")
    vehicle = Vehicle.objects.filter(pk=int(key) if _is_key(key) else 0).first()
    if vehicle is not None:
        standing = getattr(vehicle, "standing", None)
        suited = [each for each in railways if vehicle.scale in each.scales]
        railways = [standing.track.place.railway] if standing else suited or railways
    if len(railways) == 1:
        answer = redirect("trouble:report-on", pk=railways[0].pk)
        if request.GET:
            answer["Location"] += f"?{request.GET.urlencode()}"
        return answer
    return render(
        request,
        "trouble/pick_railway.html",
        {"railways": railways, "page": "trouble:report-on", "query": request.GET.urlencode()},
    )


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 18


@writers_only
def report_on(request: HttpRequest, pk: int) -> HttpResponse:
    """One report, in under a minute on a phone."""
    railway = get_object_or_404(Railway, pk=pk)
    asked = {"first": request.GET.get("vehicle", ""), "where": request.GET.get("where", "")}
    chosen = chosen_with(request)
    form = ReportForm(
        request.POST or None, railway=railway, spots=spots_of(railway), initial=asked
    )
    if request.method == "POST" and form.is_valid() and not chosen.refused:
        try:
            incident = keep_report(seen=form.seen(chosen.photos), by=request.user)
        except TroubleRefused as refused:
            form.add_error(None, str(refused))
        else:
            _hold_reported(request, incident, form)
            return redirect(incident)
    is_faulty = bool(form.errors or chosen.refused)
    if is_faulty:
        set_aside(chosen, request.user)
    return render(
        request,
        "trouble/report.html",
        {"railway": railway, "form": form, "chosen": chosen},
        status=422 if is_faulty else 200,
    )


def _hold_reported(request: HttpRequest, incident: Incident, form: ReportForm) -> None:
    vehicle = form.went_first
    if vehicle.held_because:
        messages.warning(
            request,
            f"{vehicle} was out of service already ({vehicle.held_because}). The report is kept; "
            "find out why it ran.",
        )
    elif form.cleaned_data["is_held"]:
        reason = f"{incident.get_happened_display()}, {incident.where}"
        take_out(subject=vehicle, reason=reason, by=request.user, incident=incident)
        messages.success(request, f"Reported. {vehicle} is bad order until it is released.")
    else:
        messages.success(request, "Reported.")


def reports(request: HttpRequest) -> HttpResponse:
    page = Paginator(_incidents(), 25).get_page(request.GET.get("page"))
    return render(request, "trouble/reports.html", {"page": page})


def incident(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(_incidents(), pk=pk)
    return render(
        request,
        "trouble/incident.html",
        {
            "incident": shown,
            "first": shown.involved.filter(part=Involved.Part.FIRST).first(),
            "holds": _holds().filter(incident=shown),
            "photos": list(shown.photos.all()),
            "form": WithdrawForm(),
            "causes": [(cause, False) for cause in causes_of(Happening(shown.happened))],
        },
    )


@writers_only
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Incident, pk=pk)
    try:
        withdraw_report(incident=shown, because=request.POST.get("because", ""))
    except TroubleRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, "The report is withdrawn; it stays to be read.")
    return redirect(shown)


# --- Out of service ---------------------------------------------------------------------------


@writers_only
def hold_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    return _take_out(request, get_object_or_404(Vehicle, pk=pk))


@writers_only
def hold_trackwork(request: HttpRequest, pk: int) -> HttpResponse:
    pieces = Trackwork.objects.select_related("place", "turnout")
    return _take_out(request, get_object_or_404(pieces, pk=pk))


@writers_only
def hold_turnout(request: HttpRequest, pk: int) -> HttpResponse:
    """One perhaps never measured: its trackwork is made by sending, not by looking."""
    turnout = get_object_or_404(Turnout.objects.select_related("place__railway"), pk=pk)
    form = HoldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        return _take_out(request, trackwork_of(turnout=turnout))
    piece = Trackwork.objects.filter(turnout=turnout).first()
    if piece is not None and request.method != "POST":
        return redirect("trouble:hold-trackwork", pk=piece.pk)
    return _take_out_page(request, piece or turnout, form)


def _take_out(request: HttpRequest, subject: Vehicle | Trackwork) -> HttpResponse:
    standing = subject.holds.filter(released_at__isnull=True).first()
    if standing is not None:
        messages.info(request, f"{subject} is out of service already.")
        return redirect(standing)
    form = HoldForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        held = take_out(subject=subject, reason=form.cleaned_data["reason"], by=request.user)
        messages.success(request, f"{subject} is out of service until it is released.")
        return redirect(held)
    return _take_out_page(request, subject, form)


def _take_out_page(
    request: HttpRequest, subject: Vehicle | Trackwork | Turnout, form: HoldForm
) -> HttpResponse:
    shown_on = subject.place.railway if isinstance(subject, Turnout) else subject
    back = shown_on.get_absolute_url()
    return render(
        request,
        "trouble/take_out.html",
        {"subject": subject, "form": form, "back": back},
        status=422 if form.errors else 200,
    )


def hold(request: HttpRequest, pk: int) -> HttpResponse:
    """One that is or was out of service: why, what it waits for, and its release."""
    shown = get_object_or_404(_holds(), pk=pk)
    form = ReleaseForm(request.POST or None)
    if request.method == "POST":
        return _release(request, shown, form)
    return _hold_page(request, shown, form)


@writers_only
def _release(request: HttpRequest, shown: Hold, form: ReleaseForm) -> HttpResponse:
    if form.is_valid():
        try:
            release(held=shown, done=form.cleaned_data["done"], by=request.user)
        except TroubleRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"{shown.subject} is released.")
            return redirect(shown.subject)
    return _hold_page(request, shown, form)


def _hold_page(request: HttpRequest, shown: Hold, form: ReleaseForm) -> HttpResponse:
    findings = [verdict.as_finding() for verdict in standing_verdicts(shown.subject)]
    return render(
        request,
        "trouble/hold.html",
        {
            "hold": shown,
            "waits": waits_for(shown),
            "mends": mends(findings) if shown.is_open else (),
            "form": form,
        },
        status=422 if form.errors else 200,
    )


# --- Running ----------------------------------------------------------------------------------


def running(request: HttpRequest) -> HttpResponse:
    """The running sessions, the latest first."""
    sessions = RunningSession.objects.select_related("railway").prefetch_related(
        Prefetch("turns", queryset=Turn.objects.prefetch_related(_who_ran()))
    )
    page = Paginator(sessions, 25).get_page(request.GET.get("page"))
    return render(
        request, "trouble/running.html", {"page": page, "railways": Railway.objects.all()}
    )


@writers_only
def run_on(request: HttpRequest, pk: int) -> HttpResponse:
    """Note who ran, about how often and where."""
    railway = get_object_or_404(Railway, pk=pk)
    form = RunningForm(request.POST or None, railway=railway, spots=spots_of(railway))
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        try:
            turn = note_running(
                railway=railway,
                held_on=told["on"],
                passages=told["laps"],
                vehicles=form.ran,
                spots=form.over,
                by=request.user,
                note=told["note"],
            )
        except TroubleRefused as refused:
            form.add_error(None, str(refused))
        else:
            messages.success(request, f"Noted: {len(form.ran)} vehicles, {told['laps']} laps.")
            for words in count(railway).contradictions:
                messages.warning(request, words)
            return redirect(turn.session)
    return render(
        request,
        "trouble/run_on.html",
        {"railway": railway, "form": form},
        status=422 if form.errors else 200,
    )


def session(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(RunningSession.objects.select_related("railway", "noted_by"), pk=pk)
    turns = shown.turns.prefetch_related(_who_ran(), "turnouts", "tracks", "trackwork__turnout")
    return render(request, "trouble/session.html", {"session": shown, "turns": turns})


@writers_only
@require_POST
def remove_turn(request: HttpRequest, pk: int) -> HttpResponse:
    """Take back running that was noted by mistake."""
    turn = get_object_or_404(Turn.objects.select_related("session__railway"), pk=pk)
    session = turn.session
    turn.delete()
    messages.success(request, "Taken back.")
    if session.turns.exists():
        return redirect(session)
    session.delete()
    return redirect("trouble:running")
