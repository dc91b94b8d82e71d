"""Posts that put vehicles onto tracks, take them off, order them, and give them homes."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from inventory.people.access import writers_only
from inventory.stock.models import Vehicle
from inventory.track.fit import Stood, stood
from inventory.track.fitting import SAME_GAUGE_MM
from inventory.track.homes import give_homes, take_homes
from inventory.track.homes import set_home_track as keep_home_track
from inventory.track.models import Industry, Railway, Standing, Track
from inventory.track.standing import put, shift, take_off, turn_round
from standards import sheets
from standards.units import plain, spell


@writers_only
@require_POST
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the chosen vehicles onto this track, take them off, or move them to another track."""
    shown = get_object_or_404(Track.objects.select_related("place__railway"), pk=pk)
    chosen = _chosen(request)
    target = request.POST.get("to", "here")
    if not chosen:
        messages.error(request, "No vehicle was chosen: tick one first.")
    elif target == "":
        messages.error(request, "Nothing was moved: pick where to move what is ticked.")
    elif target == "here":
        _put(request, chosen, shown, f"put onto {shown.name}")
    else:
        other = None if target == "off" else _track_of(shown.place.railway, target)
        there = _still_there(request, chosen, shown)
        if other is not None:
            _put(request, there, other, f"moved to {other.name}")
        elif there:
            take_off(vehicles=there)
            messages.success(request, f"{_named(there)} taken off the railway.")
    return redirect(shown)


def _put(request: HttpRequest, vehicles: list[Vehicle], track: Track, done: str) -> None:
    """Put them there and say so, and what is wrong with how the track stands then."""
    if not vehicles or not _is_on_gauge(request, vehicles, track):
        return
    put(vehicles=vehicles, track=track, at_far_end=request.POST.get("end") == "far")
    messages.success(request, f"{_named(vehicles)} {done}.")
    _warn(request, stood(track.place.railway, [track])[0])


def _warn(request: HttpRequest, here: Stood) -> None:
    unit = request.user.unit
    wrong = []
    if here.too_long_mm is not None:
        wrong.append(f"{spell(here.too_long_mm, unit, 1 if unit == 'mm' else 3)} too long")
    if here.beyond_spots:
        wrong.append(f"{here.beyond_spots} beyond its spots")
    if wrong:
        messages.warning(request, f"{here.track.name} is crowded: {', '.join(wrong)}.")
    elif here.never_clears:
        messages.warning(request, f"Nothing stands clear on {here.track.name}. {here.problem}")


def _still_there(request: HttpRequest, vehicles: list[Vehicle], track: Track) -> list[Vehicle]:
    """Those that stand on the track; says who was moved away since the page was made."""
    standing = set(
        Standing.objects.filter(track=track, vehicle__in=vehicles).values_list(
            "vehicle_id", flat=True
        )
    )
    gone = [each for each in vehicles if each.pk not in standing]
    if gone:
        stand, they_are = ("stands", "it is") if len(gone) == 1 else ("stand", "they are")
        messages.error(
            request,
            f"{_named(gone)} no longer {stand} on {track.name} and stayed where {they_are}.",
        )
    return [each for each in vehicles if each.pk in standing]


def _still_nowhere(request: HttpRequest, vehicles: list[Vehicle]) -> list[Vehicle]:
    """Those that stand on no track; says who was put somewhere since the page was made."""
    standing = set(
        Standing.objects.filter(vehicle__in=vehicles).values_list("vehicle_id", flat=True)
    )
    placed = [each for each in vehicles if each.pk in standing]
    if placed:
        stand = "stands" if len(placed) == 1 else "stand"
        messages.error(request, f"{_named(placed)} {stand} somewhere by now and stayed there.")
    return [each for each in vehicles if each.pk not in standing]


def _track_of(railway: Railway, text: str) -> Track:
    others = Track.objects.filter(place__railway=railway).select_related("place__railway")
    is_key = text.isascii() and text.isdigit() and len(text) < 18
    return get_object_or_404(others, pk=text if is_key else 0)


def _is_on_gauge(request: HttpRequest, vehicles: list[Vehicle], track: Track) -> bool:
    """Whether all of them can stand on the railway's rails; says so where they cannot."""
    gauge = track.place.railway.standard.gauge_mm
    strangers = [each for each in vehicles if abs(each.standard.gauge_mm - gauge) > SAME_GAUGE_MM]
    if strangers:
        messages.error(
            request,
            f"Nothing was moved: the track's gauge is {plain(gauge)} mm, and "
            f"{_named(strangers)} cannot stand on it.",
        )
    return not strangers


def _chosen(request: HttpRequest, name: str = "vehicle") -> list[Vehicle]:
    """The vehicles ticked on a page, in their order there."""
    keys = [
        int(key)
        for key in request.POST.getlist(name)
        if key.isascii() and key.isdigit() and len(key) < 18
    ]
    by_key = Vehicle.objects.in_bulk(keys)
    return [by_key[key] for key in dict.fromkeys(keys) if key in by_key]


def _named(vehicles: list[Vehicle]) -> str:
    if len(vehicles) <= 3:
        return ", ".join(vehicle.identity for vehicle in vehicles)
    return f"{len(vehicles)} vehicles"


@writers_only
@require_POST
def order(request: HttpRequest, pk: int) -> HttpResponse:
    """Move a vehicle one place along its track, or turn the whole order round."""
    shown = get_object_or_404(Track, pk=pk)
    if request.POST.get("do") == "turn":
        turn_round(track=shown)
        return redirect(shown)
    for name in ("farther", "nearer"):
        for vehicle in _chosen(request, name):
            if not shift(vehicle=vehicle, track=shown, farther=name == "farther"):
                messages.error(
                    request,
                    f"{vehicle.identity} has no neighbour there on {shown.name}; nothing changed.",
                )
    return redirect(shown)


@writers_only
@require_POST
def put_arranged(request: HttpRequest, pk: int) -> HttpResponse:
    """Put everybody of an arrangement where it says, each track's vehicles posted under its own
    name, "on-" and its key."""
    shown = get_object_or_404(Railway, pk=pk)
    tracks = Track.objects.filter(place__railway=shown).select_related("place__railway")
    is_any = False
    for each in tracks.order_by("place__position", "position", "pk"):
        vehicles = _chosen(request, f"on-{each.pk}")
        if vehicles:
            is_any = True
            _put(request, _still_nowhere(request, vehicles), each, f"put onto {each.name}")
    if not is_any:
        messages.error(request, "No vehicle was chosen: arrange some first.")
    return redirect(shown)


# --- Homes ------------------------------------------------------------------------------------


@writers_only
@require_POST
def assign_home(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the ticked vehicles a home at an industry, or take it from them."""
    shown = get_object_or_404(Industry, pk=pk)
    chosen = _chosen(request)
    if request.POST.get("do") == "leave":
        take_homes(industry=shown, vehicles=chosen, by=request.user)
    else:
        give_homes(industry=shown, vehicles=chosen, by=request.user)
    if not chosen:
        messages.error(request, "No vehicle was chosen: tick one first.")
    return redirect(shown)


@writers_only
@require_POST
def set_home_track(request: HttpRequest, pk: int) -> HttpResponse:
    """Say on which track a vehicle is at home, or that it is on none."""
    vehicle = get_object_or_404(Vehicle, pk=pk)
    text = request.POST.get("track", "")
    if text:
        tracks = Track.objects.filter(
            place__railway__scale__in=sheets.sized_like(vehicle.standard)
        )
        is_key = text.isascii() and text.isdigit() and len(text) < 18
        chosen = get_object_or_404(tracks.select_related("place"), pk=text if is_key else 0)
        keep_home_track(vehicle=vehicle, track=chosen, by=request.user)
    else:
        keep_home_track(vehicle=vehicle, track=None, by=request.user)
    messages.success(request, f"The home track of {vehicle} is saved.")
    return redirect("track:for-vehicle", pk=pk)
