"""Pages of the trackwork: what was measured of it, and how the stock gets on with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from inventory.people.access import writers_only
from inventory.stock.album import Album
from inventory.stock.models import Vehicle
from inventory.track.fitting import SAME_GAUGE_MM
from inventory.track.models import Place, Railway, Standing, Track, Turnout
from inventory.track.offering import RAILWAYS_A_PAGE, Offer, asked_in, offer, words_in
from inventory.trackwork.forms import CurveForm, PairForm, TrackworkForm, TurnoutPieceForm
from inventory.trackwork.meeting import axles_of, doubts_of, legs_of, meet, sizes_of, trouble
from inventory.trackwork.models import TrackInspection, TrackVerdict, Trackwork, TrackworkPhoto
from inventory.trackwork.recording import add_photos, describe_photo, move_photo, remove_photo
from inventory.trackwork.rounding import (
    Asked,
    HeightPair,
    Together,
    answer,
    coupler_heights,
    height_pair,
    radius_of,
    radius_rules,
    sized,
    together,
)
from inventory.trackwork.standing import NOT_INSPECTED, condition, unmeasured, verdicts_of
from standards.conformity import Outcome, Rule
from standards.curves import ImpossibleGeometry
from standards.judging import label
from standards.radii import RadiusRule
from standards.remedies import mends
from standards.sheets import sized_like

ALBUM = Album(
    kind=TrackworkPhoto,
    subjects=lambda: Trackwork.objects.select_related("place__railway", "turnout", "track"),
    add=add_photos,
    describe=describe_photo,
    move=move_photo,
    remove=remove_photo,
)

#: So many vehicles are shown in the grid; the worst come first.
MOST_ROWS = 60


def _pieces(*railways: Railway) -> list[Trackwork]:
    """Railway by railway along the line, and in a place by name."""
    found = list(
        Trackwork.objects.filter(place__railway__in=railways)
        .select_related("place__railway", "turnout", "track")
        .order_by("place__position", "pk")
    )
    return sorted(
        found,
        key=lambda piece: (piece.place.railway.name, piece.place.position, piece.title),
    )


def _stock(railway: Railway, request: HttpRequest) -> Offer:
    """The vehicles that can stand on its rails, as many as are offered."""
    found = offer(
        Vehicle.objects.filter(scale__in=railway.scales),
        words=words_in(request),
        railway=railway,
        keep=[*request.GET.getlist("first"), *request.GET.getlist("second")],
    )
    gauge = railway.standard.gauge_mm
    able = [
        each for each in found.vehicles if abs(each.standard.gauge_mm - gauge) <= SAME_GAUGE_MM
    ]
    return replace(found, vehicles=able)


# --- The railway ------------------------------------------------------------------------------


@dataclass(frozen=True)
class Line:
    """A piece of trackwork in the list of its place, or a turnout of which nothing is measured."""

    title: str
    kind: str
    piece: Trackwork | None
    turnout: Turnout | None
    condition: str


def overview(request: HttpRequest, pk: int) -> HttpResponse:
    """All trackwork of a railway with its condition, and where vehicles will have trouble."""
    shown = get_object_or_404(Railway, pk=pk)
    pieces = _pieces(shown)
    verdicts, legs = verdicts_of(pieces), legs_of(pieces)
    measured = [(piece, legs[piece.pk]) for piece in pieces if legs[piece.pk]]
    stock = _stock(shown, request) if measured else Offer([])
    rows = trouble(stock.vehicles, measured, Rule(request.user.rule)) if measured else []
    return render(
        request,
        "trackwork/overview.html",
        {
            "railway": shown,
            "offer": stock,
            "places": _places(shown, pieces, verdicts),
            "columns": [piece for piece, _ in measured],
            "rows": rows[:MOST_ROWS],
            "n_more": max(0, len(rows) - MOST_ROWS),
        },
    )


def _places(
    railway: Railway, pieces: list[Trackwork], verdicts: dict[int, list[TrackVerdict]]
) -> list[tuple[Place, list[Line]]]:
    by_turnout = {piece.turnout_id: piece for piece in pieces if piece.turnout_id}
    found = []
    for place in railway.places.prefetch_related("turnouts"):
        lines = []
        for turnout in place.turnouts.all():
            piece = by_turnout.get(turnout.pk)
            state = condition(piece, verdicts.get(piece.pk, [])) if piece else NOT_INSPECTED
            lines.append(Line(turnout.name, "turnout", piece, turnout, state))
        lines += [
            Line(
                piece.name,
                piece.get_kind_display(),
                piece,
                None,
                condition(piece, verdicts.get(piece.pk, [])),
            )
            for piece in pieces
            if piece.place_id == place.pk and piece.turnout_id is None
        ]
        found.append((place, lines))
    return found


# --- One piece --------------------------------------------------------------------------------


def _piece(pk: int) -> Trackwork:
    pieces = Trackwork.objects.select_related("place__railway", "turnout", "track")
    return get_object_or_404(pieces, pk=pk)


def piece(request: HttpRequest, pk: int) -> HttpResponse:
    shown = _piece(pk)
    standing = verdicts_of([shown]).get(shown.pk, [])
    limited = sorted((each for each in standing if each.is_limited), key=TrackVerdict.worst_first)
    legs = legs_of([shown])[shown.pk]
    stock = _stock(shown.place.railway, request) if legs else Offer([])
    rows = []
    if legs:
        rows = trouble(stock.vehicles, [(shown, legs)], Rule(request.user.rule))
    return render(
        request,
        "trackwork/piece.html",
        {
            "piece": shown,
            "photos": list(shown.photos.all()),
            "offer": stock,
            "railway": shown.place.railway,
            "condition": condition(shown, standing),
            "unmeasured": [label(*key) for key in unmeasured(shown, standing)],
            "limited": limited,
            "facts": [each for each in standing if not each.is_limited],
            "mends": mends(verdict.as_finding() for verdict in standing),
            "doubts": doubts_of(legs),
            "problems": {leg.problem for leg in legs if leg.problem},
            "radius": radius_of(shown),
            "rows": rows,
            "inspections": shown.inspections.select_related("inspector"),
        },
    )


def inspection(request: HttpRequest, pk: int) -> HttpResponse:
    """Every reading of one inspection as it was typed, replaced ones too."""
    shown = get_object_or_404(
        TrackInspection.objects.select_related(
            "trackwork__place", "trackwork__turnout", "inspector"
        ),
        pk=pk,
    )
    readings = shown.readings.select_related("instrument", "taken_by").order_by("taken_at", "pk")
    return render(
        request, "trackwork/inspection.html", {"inspection": shown, "readings": readings}
    )


@writers_only
def edit_piece(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    if pk is None:
        place = get_object_or_404(Place.objects.select_related("railway"), pk=place_pk)
        shown = Trackwork(place=place)
    else:
        shown = _piece(pk)
    kind_of_form = TurnoutPieceForm if shown.turnout_id else TrackworkForm
    form = kind_of_form(request.POST or None, instance=shown, unit=request.user.unit)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, f"{shown} is saved.")
        return redirect(shown)
    overview_address = reverse("trackwork:overview", args=[shown.place.railway_id])
    return render(
        request,
        "track/form.html",
        {
            "form": form,
            "title": f"Edit {shown}" if shown.pk else f"Trackwork to measure, {shown.place}",
            "back": shown.get_absolute_url() if shown.pk else overview_address,
            "remove": shown.pk and reverse("trackwork:remove", args=[shown.pk]),
        },
        status=422 if form.errors else 200,
    )


@writers_only
def remove(request: HttpRequest, pk: int) -> HttpResponse:
    """Ask first, then remove a piece of trackwork with its readings."""
    shown = _piece(pk)
    if request.method != "POST":
        counted = shown.inspections.count()
        return render(request, "trackwork/remove.html", {"piece": shown, "counted": counted})
    words, railway = f"{shown} is removed.", shown.place.railway_id
    shown.delete()
    messages.success(request, words)
    return redirect("trackwork:overview", pk=railway)


# --- One vehicle through one piece ------------------------------------------------------------


def meeting(request: HttpRequest, pk: int, vehicle_pk: int) -> HttpResponse:
    """Every axle of a vehicle through every leg of a piece: each margin, the worst first."""
    shown = _piece(pk)
    vehicle = get_object_or_404(Vehicle.everyone.of_the_house(), pk=vehicle_pk)
    gauge, own = shown.standard.gauge_mm, vehicle.standard.gauge_mm
    if abs(gauge - own) > SAME_GAUGE_MM:
        return render(
            request, "trackwork/meeting.html", {"piece": shown, "vehicle": vehicle, "alien": True}
        )
    found = meet(
        axles_of([vehicle])[vehicle.pk], legs_of([shown])[shown.pk], Rule(request.user.rule)
    )
    told = [each for each in found if each.value is not None]
    legs = {each.leg.name: each.leg for each in found}.values()
    worst = told[0] if told else None
    return render(
        request,
        "trackwork/meeting.html",
        {
            "piece": shown,
            "vehicle": vehicle,
            "doubts": doubts_of(legs),
            "open": [each for each in told if each.outcome != Outcome.WITHIN.value],
            "within": [each for each in told if each.outcome == Outcome.WITHIN.value],
            "untold": _untold(found),
            "worst": worst,
            "sizes": sizes_of(worst, request.user.unit),
        },
    )


def _untold(found: list) -> list[tuple[str, str, list[str]]]:
    """What could not be reckoned and why, with the axles that it concerns."""
    axles: dict[tuple[str, str, str], list[str]] = {}
    for each in found:
        if each.value is None:
            key = each.leg.name, each.margin.relation.value, each.margin.note
            axles.setdefault(key, []).append(each.axle.name)
    return [(leg, relation, note, where) for (leg, relation, note), where in axles.items()]


def for_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """A vehicle through all measured trackwork of the railways that it can run on."""
    vehicle = get_object_or_404(Vehicle, pk=pk)
    railways = [
        railway
        for railway in Railway.objects.all()
        if vehicle.scale in railway.scales
        and abs(railway.standard.gauge_mm - vehicle.standard.gauge_mm) <= SAME_GAUGE_MM
    ]
    page = Paginator(railways, RAILWAYS_A_PAGE).get_page(request.GET.get("page"))
    pieces = _pieces(*page)
    legs = legs_of(pieces)
    measured = [(piece, legs[piece.pk]) for piece in pieces if legs[piece.pk]]
    spots: list = []
    if measured:
        (row,) = trouble([vehicle], measured, Rule(request.user.rule))
        spots = sorted(row.spots, key=lambda spot: (spot.rank, spot.piece.title))
    return render(
        request,
        "trackwork/for_vehicle.html",
        {"vehicle": vehicle, "spots": spots, "page": page},
    )


# --- On curves --------------------------------------------------------------------------------


def on_curve(request: HttpRequest, pk: int) -> HttpResponse:
    """A vehicle on a curve, alone and with a neighbour, and the smallest radius that it takes."""
    vehicle = get_object_or_404(Vehicle, pk=pk)
    others = offer(
        Vehicle.objects.filter(scale__in=sized_like(vehicle.standard)).exclude(pk=pk),
        words=words_in(request),
        keep=request.GET.getlist("neighbour"),
    )
    form = CurveForm(
        asked_in(request),
        unit=request.user.unit,
        scale=vehicle.standard,
        neighbours=others.vehicles,
    )
    told = form.cleaned_data if form.is_bound and form.is_valid() else {}
    neighbour = told.get("neighbour")
    sizes = sized([vehicle, neighbour] if neighbour else [vehicle])
    one, asked = sizes[vehicle.pk], form.asked() if told else Asked()
    other = sizes[neighbour.pk] if neighbour else None
    rules = radius_rules(one, asked)
    return render(
        request,
        "trackwork/curve.html",
        {
            "vehicle": vehicle,
            "neighbour": neighbour,
            "offer": others,
            "form": form,
            "asked": asked,
            "found": answer(one, other, asked, request.user.unit),
            "endless": float("inf"),
            "told": sorted(filter(_tells, rules), key=lambda rule: -(rule.radius_mm or 0)),
            "thumb": [
                each for each in rules if each.is_rule_of_thumb and each.radius_mm is not None
            ],
            "untold": [each for each in rules if each.radius_mm is None],
        },
        status=422 if form.errors else 200,
    )


def _tells(rule: RadiusRule) -> bool:
    """Whether it is more than a rule of thumb, and says something."""
    return rule.radius_mm is not None and not rule.is_rule_of_thumb


@dataclass(frozen=True)
class Neighbours:
    """Two vehicles that stand or will stand next to each other."""

    first: Vehicle
    second: Vehicle
    where: str
    heights: HeightPair | None
    swing: Together | None
    problem: str


def pairs(request: HttpRequest, pk: int) -> HttpResponse:
    """Neighbours that do not get on: couplers of other heights, long beside short on a curve."""
    shown = get_object_or_404(Railway, pk=pk)
    stock = _stock(shown, request)
    form = PairForm(
        asked_in(request),
        unit=request.user.unit,
        scale=shown.standard,
        stock=stock.vehicles,
    )
    asked = form.cleaned_data if form.is_bound and form.is_valid() else {}
    standing = list(
        Standing.objects.filter(track__place__railway=shown)
        .select_related("vehicle", "track__place")
        .order_by("track__place__position", "track__position", "track_id", "position", "pk")
    )
    couples = [
        (one.vehicle, other.vehicle, str(one.track))
        for one, other in pairwise(standing)
        if one.track_id == other.track_id
    ]
    if asked.get("first") and asked.get("second"):
        couples.insert(0, (asked["first"], asked["second"], "asked for"))
    vehicles = {each.pk: each for one, other, _ in couples for each in (one, other)}
    heights, sizes = coupler_heights(vehicles), sized(vehicles.values())
    tracks = Track.objects.filter(place__railway=shown, radius__isnull=False)
    sharpest = min((track.radius for track in tracks), default=None)
    radius = asked.get("radius") or (float(sharpest) if sharpest else None)
    rows = []
    for one, other, where in couples:
        found, problem = None, ""
        if radius and asked.get("coupler"):
            try:
                told = Asked(radius=radius, coupler=asked["coupler"])
                found = together(sizes[one.pk], sizes[other.pk], told)
            except ImpossibleGeometry as impossible:
                problem = str(impossible)
        rows.append(
            Neighbours(one, other, where, height_pair(one, other, heights), found, problem)
        )
    return render(
        request,
        "trackwork/pairs.html",
        {
            "railway": shown,
            "offer": stock,
            "form": form,
            "rows": [] if form.errors else rows,
            "radius": radius,
            "coupler": asked.get("coupler"),
        },
        status=422 if form.errors else 200,
    )
