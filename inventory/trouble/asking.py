"""Pages that answer: who is to blame, for a railway, a vehicle or a piece of trackwork."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import chain
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from inventory.stock.facts import Judged
from inventory.stock.models import Vehicle, Verdict
from inventory.track.fitting import SAME_GAUGE_MM
from inventory.track.models import Railway
from inventory.trackwork.models import TrackVerdict, Trackwork
from inventory.trackwork.standing import unmeasured, verdicts_of
from inventory.trouble.counting import Counted, count, spot_key
from inventory.trouble.evidence import CONFIDENCE, Suspect, failure_rate
from inventory.trouble.forms import RoutineForm
from inventory.trouble.models import Incident, Involved
from inventory.trouble.routine import (
    LAPS,
    LOOKED_THROUGH,
    MONTHS,
    due,
    evening,
    moving,
    often_inspected,
)
from inventory.trouble.spots import key_of
from inventory.trouble.weighing import (
    Clue,
    in_a_sentence,
    never_measured,
    of_margins,
    of_margins_of,
    of_neighbours,
    of_statistics,
    of_verdicts,
)
from standards.causes import Cause, Happening, causes_of
from standards.conformity import Outcome, Rule
from standards.judging import label
from standards.quantities import QUANTITIES, Place
from standards.remedies import mends


@dataclass(frozen=True)
class Figures:
    """A suspect with its rate per hundred passages and the interval of it."""

    suspect: Suspect

    @property
    def rate(self) -> float:
        return 100 * self.suspect.figures.observed / self.suspect.figures.passages

    @property
    def interval(self) -> tuple[float, float]:
        known = self.suspect.figures
        found = failure_rate(known.observed, known.passages).garwood
        return 100 * found.low, 100 * found.high


def _shown(counted: Counted) -> dict[str, object]:
    """What every page shows of the statistics of a railway."""
    findings = counted.findings
    return {
        "counted": counted,
        "findings": findings,
        "figures": [Figures(each) for each in findings.suspects] if findings else [],
        "confidence": f"{CONFIDENCE:.0%}",
    }


def railway(request: HttpRequest, pk: int) -> HttpResponse:
    """The whole railway: a sentence, the suspects, the run that would tell, the figures."""
    shown = get_object_or_404(Railway, pk=pk)
    return render(request, "trouble/railway.html", {"railway": shown, **_shown(count(shown))})


#: So many that are due stand on one page.
DUE_A_PAGE = 100


def routine(request: HttpRequest) -> HttpResponse:
    """What is due, what the next work evening needs, and what moves towards a limit."""
    usual = {"months": MONTHS, "laps": LAPS}
    form = RoutineForm({**usual, **request.GET.dict()})
    often = form.cleaned_data if form.is_valid() else usual
    found = due(months=often["months"], laps=often["laps"]) if form.is_valid() else []
    page = Paginator(found, DUE_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request,
        "trouble/routine.html",
        {
            "form": form,
            "evening": evening(),
            "due": page.object_list,
            "page": page,
            "often": urlencode({"months": often["months"], "laps": often["laps"]}),
            **_moving("moving" in request.GET),
        },
        status=422 if form.errors else 200,
    )


def _moving(is_asked: bool) -> dict[str, object]:
    """What moves towards a limit; of a large stock only when it is asked for."""
    n = 0 if is_asked else often_inspected().count()
    return {"n_moving": n, "moving": moving() if is_asked or n <= LOOKED_THROUGH else None}


def _incidents_of(vehicle: Vehicle) -> list[Incident]:
    return list(
        Incident.objects.filter(
            involved__vehicle=vehicle,
            involved__part__in=(Involved.Part.FIRST, Involved.Part.ALSO),
            withdrawn_at__isnull=True,
        ).select_related("railway", "trackwork")
    )


def vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """The evidence on one vehicle: measured, met, counted; and what would tell more."""
    shown = get_object_or_404(Vehicle.everyone.of_the_house().for_page(), pk=pk)
    incidents = _incidents_of(shown)
    railways = {each.railway_id: each.railway for each in incidents if each.railway}
    standing = getattr(shown, "standing", None)
    if standing:
        on = standing.track.place.railway
        railways.setdefault(on.pk, on)
    counted = {each: count(each) for each in railways.values()}
    verdicts = Verdict.objects.standing_for(shown)
    pieces = _pieces_at(shown, incidents)
    on_track = verdicts_of(pieces)
    clues = of_verdicts(verdicts, "vehicle", shown.get_absolute_url())
    clues += of_margins(shown, pieces, Rule(request.user.rule))
    clues += of_neighbours(shown, incidents)
    for each in counted.values():
        clues += of_statistics(each.vehicle(shown.pk), "vehicle")
        for key in {spot_key(incident) for incident in incidents}:
            clues += of_statistics(each.spot(key), "track")
    clues += _of_track(pieces, on_track)
    clues.sort(key=lambda clue: clue.weight)
    lacking = never_measured(shown, verdicts, _wanted(shown))
    return render(
        request,
        "trouble/vehicle.html",
        {
            "vehicle": shown,
            "sentence": in_a_sentence(clues, len(incidents), len(lacking)),
            "clues": clues,
            "lacking": [] if shown.is_retired else lacking,
            "incidents": incidents,
            "causes": _causes(incidents, [*verdicts, *chain(*on_track.values())]),
            "counted": [(on, _shown(each)) for on, each in counted.items()],
            "mends": mends(verdict.as_finding() for verdict in verdicts),
            "hold": shown.holds.filter(released_at__isnull=True).first(),
        },
    )


def _causes(incidents: list[Incident], verdicts: Iterable[Judged]) -> list[tuple[Cause, bool]]:
    """What may cause what happened to it, with whether measuring has confirmed it, those first."""
    outside: dict[str, set[str]] = {}
    for verdict in verdicts:
        if verdict.outcome == Outcome.OUTSIDE.value:
            too = {-1: "small", 1: "large"}.get(verdict.as_finding().direction, "")
            outside.setdefault(verdict.quantity, set()).add(too)
    happened = dict.fromkeys(Happening(each.happened) for each in incidents)
    likely = dict.fromkeys(cause for each in happened for cause in causes_of(each))
    return sorted(
        ((cause, cause.is_confirmed_by(outside)) for cause in likely), key=lambda pair: not pair[1]
    )


def _pieces_at(vehicle: Vehicle, incidents: list[Incident]) -> list[Trackwork]:
    """The measured trackwork where it went off, and that it can stand on."""
    pieces = Trackwork.objects.filter(
        turnout__in=[each.turnout_id for each in incidents if each.turnout_id]
    ) | Trackwork.objects.filter(pk__in=[e.trackwork_id for e in incidents if e.trackwork_id])
    gauge = vehicle.standard.gauge_mm
    return [
        piece
        for piece in pieces.select_related("place__railway", "turnout", "track")
        if abs(piece.standard.gauge_mm - gauge) <= SAME_GAUGE_MM
    ]


def _of_track(pieces: list[Trackwork], standing: Mapping[int, list[TrackVerdict]]) -> list[Clue]:
    return [
        replace(clue, title=f"{piece.title}: {clue.title}")
        for piece in pieces
        for clue in of_verdicts(standing.get(piece.pk, ()), "track", piece.get_absolute_url())
    ]


def _wanted(vehicle: Vehicle) -> list[tuple[str, str]]:
    """All that could be measured of a vehicle at each place of it."""
    places = {
        Place.AXLE: [str(axle) for axle in range(1, vehicle.axles + 1)],
        Place.END: ["A", "B"],
        Place.VEHICLE: [""],
    }
    return [
        (quantity.code, at)
        for quantity in QUANTITIES.values()
        if not quantity.is_computed
        and (vehicle.has_buffers or quantity.code not in ("buffer_height", "buffer_spacing"))
        for at in places.get(quantity.place, ())
    ]


def trackwork(request: HttpRequest, pk: int) -> HttpResponse:
    """The evidence on one turnout or other piece: measured, met, counted."""
    pieces = Trackwork.objects.select_related("place__railway", "turnout", "track")
    shown = get_object_or_404(pieces, pk=pk)
    counted = count(shown.place.railway)
    key = key_of(shown)
    standing = verdicts_of([shown]).get(shown.pk, [])
    on_railway = shown.place.railway.incidents.select_related("trackwork").prefetch_related(
        "involved__vehicle"
    )
    incidents = [
        each for each in on_railway.filter(withdrawn_at__isnull=True) if spot_key(each) == key
    ]
    clues = of_verdicts(standing, "track", shown.get_absolute_url())
    clues += of_statistics(counted.spot(key), "track")
    clues += _of_those_that_fell(shown, incidents, request)
    clues.sort(key=lambda clue: clue.weight)
    lacking = [label(*each) for each in unmeasured(shown, standing)]
    return render(
        request,
        "trouble/trackwork.html",
        {
            "piece": shown,
            "railway": shown.place.railway,
            "sentence": in_a_sentence(clues, len(incidents), len(lacking)),
            "clues": clues,
            "lacking": lacking,
            "incidents": incidents,
            "mends": mends(verdict.as_finding() for verdict in standing),
            "hold": shown.holds.filter(released_at__isnull=True).first(),
            **_shown(counted),
        },
    )


def _of_those_that_fell(
    piece: Trackwork, incidents: list[Incident], request: HttpRequest
) -> list[Clue]:
    """The margins there of the vehicles that went off there."""
    fell = {
        involved.vehicle_id: involved.vehicle
        for incident in incidents
        for involved in incident.involved.all()
        if involved.part == Involved.Part.FIRST
    }
    return of_margins_of(list(fell.values()), [piece], Rule(request.user.rule))
