"""Pages of the tracks: the railway, one track, and where one vehicle fits."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

from django.contrib import messages
from django.db import IntegrityError
from django.db.models import Model, RestrictedError
from django.forms import ModelForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_POST

from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.models import Vehicle
from inventory.track.assigning import LeftOver, OpenTrack, assign
from inventory.track.drawn import line_of, siding_of
from inventory.track.fit import HEADINGS, Stood, answers, pool_for, stood, where_fits
from inventory.track.fitting import SAME_GAUGE_MM, CutImpossible, best_cut
from inventory.track.forms import (
    ArrangeForm,
    CutForm,
    IndustryForm,
    PlaceForm,
    RailwayForm,
    TrackForm,
    TrafficForm,
    TrainForm,
    TurnoutForm,
    differences,
    named,
)
from inventory.track.laying import (
    Overtaken,
    ending_at,
    going_with,
    lay,
    lay_place,
    unsettled_by,
)
from inventory.track.models import (
    Home,
    HomeTrack,
    Industry,
    Place,
    Railway,
    Track,
    Traffic,
    Turnout,
)
from inventory.track.needs import Need, needs_of
from inventory.track.planning import report
from inventory.track.standing import (
    Weights,
    candidates,
    home_tracks,
    put,
    stands_on,
    take_off,
)
from inventory.track.trains import TrainImpossible
from standards import sheets
from standards.units import plain

#: What a person may remove from a railway, by the word for it in the address.
REMOVABLE: dict[str, type[Model]] = {
    "railway": Railway,
    "place": Place,
    "turnout": Turnout,
    "track": Track,
    "industry": Industry,
    "traffic": Traffic,
}


def railways(request: HttpRequest) -> HttpResponse:
    return render(request, "track/railways.html", {"railways": Railway.objects.all()})


def railway(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Railway, pk=pk)
    tracks = stood(shown)
    places = [
        (place, [each for each in tracks if each.track.place_id == place.pk])
        for place in shown.places.prefetch_related("turnouts")
    ]
    return render(
        request,
        "track/railway.html",
        {"railway": shown, "places": places, "line": line_of(places, unit=request.user.unit)},
    )


def track(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(
        Track.objects.select_related("place__railway", "a_turnout", "b_turnout"), pk=pk
    )
    on_railway = shown.place.railway
    here = stood(on_railway, [shown])[0]
    asked = answers(here, pool_for(on_railway, [each.key for each in here.standing]))
    fitting = [answer for answer in asked if answer.fits]
    form = CutForm(
        request.GET or None,
        names=[(str(answer.candidate.key), answer.candidate.name) for answer in fitting],
        unit=request.user.unit,
    )
    cut, problem = None, ""
    if fitting and here.room_mm is not None and (not form.is_bound or form.is_valid()):
        chosen = form.cleaned_data if form.is_bound else {}
        try:
            cut = best_cut(
                [answer.candidate for answer in fitting],
                here.room_mm,
                slack_mm=chosen.get("slack") or Decimal(0),
                must_include=frozenset(int(key) for key in chosen.get("must", [])),
                most=here.free_spots,
                by=chosen.get("by") or "length",
            )
        except CutImpossible as impossible:
            problem = str(impossible)
    elif form.is_bound and not form.is_valid():
        problem = (
            form.errors.get("slack", [""])[0]
            or "That cannot be asked: not all that has to be in it fits the room left."
        )
    return render(
        request,
        "track/track.html",
        {
            "track": shown,
            "here": here,
            "fitting": fitting,
            "refused": [answer for answer in asked if not answer.fits],
            "form": form,
            "cut": cut,
            "elsewhere": stands_on(answer.candidate.key for answer in fitting),
            "problem": problem,
            "drawing": siding_of(here, cut, unit=request.user.unit),
            "wide_drawing": siding_of(here, cut, unit=request.user.unit, wide=True),
            "others": Track.objects.filter(place__railway=on_railway)
            .exclude(pk=pk)
            .select_related("place")
            .order_by("place__position", "position", "pk"),
        },
    )


def for_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """Where one vehicle fits now, on every railway of its scale."""
    shown = get_object_or_404(Vehicle, pk=pk)
    asked = candidates([shown])
    alike = sheets.sized_like(shown.standard)
    railways_of_scale = Railway.objects.filter(scale__in=alike)
    rows = [
        where_fits(here, asked[0])
        for each in railways_of_scale
        for here in stood(each)
        if shown.pk not in {standing.key for standing in here.standing}
    ]
    rows.sort(key=lambda row: HEADINGS.index(row.heading))
    return render(
        request,
        "track/for_vehicle.html",
        {
            "vehicle": shown,
            "candidate": asked[0],
            "rows": rows,
            "home": HomeTrack.objects.filter(vehicle=shown).select_related("track__place").first(),
            "tracks": Track.objects.filter(place__railway__scale__in=alike).select_related(
                "place"
            ),
        },
    )


# --- Industries -------------------------------------------------------------------------------


def industries(request: HttpRequest, pk: int) -> HttpResponse:
    """Every industry of a railway with what it lacks."""
    shown = get_object_or_404(Railway, pk=pk)
    tracks = {here.track.pk: here for here in stood(shown)}
    listed = Industry.objects.filter(place__railway=shown).prefetch_related(
        "traffic", "tracks", "homes__vehicle"
    )
    rows = _needs(list(listed.select_related("place")), tracks)
    return render(request, "track/industries.html", {"railway": shown, "rows": rows})


def _needs(listed: list[Industry], tracks: dict[int, Stood]) -> list[tuple[Industry, list[Need]]]:
    """Industries with what each needs, the readings of all their vehicles in one query."""
    vehicles = {home.vehicle_id: home.vehicle for each in listed for home in each.homes.all()}
    known = {each.key: each for each in candidates(vehicles.values())}
    return [
        (
            each,
            needs_of(
                each,
                [known[home.vehicle_id] for home in each.homes.all()],
                [tracks[track.pk] for track in each.tracks.all()],
            ),
        )
        for each in listed
    ]


def industry(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(
        Industry.objects.select_related("place__railway").prefetch_related(
            "traffic", "tracks", "homes__vehicle"
        ),
        pk=pk,
    )
    on_railway = shown.place.railway
    tracks = {here.track.pk: here for here in stood(on_railway)}
    at_home = {home.vehicle_id for home in shown.homes.all()}
    kinds = {word.casefold() for each in shown.traffic.all() for word in each.kind_words}
    suited = [
        each
        for each in pool_for(on_railway, list(at_home))
        if each.kind.strip().casefold() in kinds
    ]
    return render(
        request,
        "track/industry.html",
        {
            "industry": shown,
            "needs": _needs([shown], tracks)[0][1],
            "homes": [home.vehicle for home in shown.homes.all()],
            "suited": suited,
        },
    )


@writers_only
@require_POST
def assign_home(request: HttpRequest, pk: int) -> HttpResponse:
    """Give the ticked vehicles a home at an industry, or take it from them."""
    shown = get_object_or_404(Industry, pk=pk)
    chosen = _chosen(request)
    if request.POST.get("do") == "leave":
        Home.objects.filter(industry=shown, vehicle__in=chosen).delete()
    else:
        Home.objects.bulk_create(
            [Home(industry=shown, vehicle=vehicle) for vehicle in chosen], ignore_conflicts=True
        )
    if not chosen:
        messages.error(request, "No vehicle was chosen: tick one first.")
    return redirect(shown)


# --- Trains and the report --------------------------------------------------------------------


def trains(request: HttpRequest, pk: int) -> HttpResponse:
    """Whether a train fits the tracks that it must use."""
    shown = get_object_or_404(Railway, pk=pk)
    tracks = [here for here in stood(shown) if here.limits is not None]
    fleet = Vehicle.objects.filter(scale__in=shown.scales).order_by(
        "reporting_mark", "number_key", "pk"
    )
    engines = candidates(fleet.filter(category=Vehicle.Category.LOCOMOTIVE))
    cars = candidates(fleet.exclude(category=Vehicle.Category.LOCOMOTIVE))
    form = TrainForm(
        request.GET or None,
        tracks=tracks,
        engines=engines,
        cars=cars,
        weights=Weights.of(fleet),
    )
    asked, problem = None, ""
    if form.is_bound and form.is_valid():
        try:
            asked = form.asked()
        except TrainImpossible as impossible:
            problem = str(impossible)
    return render(
        request,
        "track/trains.html",
        {"railway": shown, "form": form, "run": asked, "problem": problem},
    )


def planner(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Railway, pk=pk)
    fleet = Vehicle.objects.filter(scale__in=shown.scales)
    made = report(
        stood(shown),
        candidates(fleet.exclude(category=Vehicle.Category.LOCOMOTIVE)),
        candidates(fleet.filter(category=Vehicle.Category.LOCOMOTIVE)),
    )
    return render(request, "track/report.html", {"railway": shown, "report": made})


def arrange(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a set of vehicles on a set of tracks: as many as can be, then at home."""
    shown = get_object_or_404(Railway, pk=pk)
    everywhere = stood(shown)
    on = {each.key for here in everywhere for each in here.standing}
    tracks = [here for here in everywhere if here.limits is not None and here.room_mm is not None]
    pool = pool_for(shown, list(on))
    form = ArrangeForm(request.GET or None, tracks=tracks, vehicles=pool)
    found, rows = None, []
    if form.is_bound and form.is_valid():
        chosen = [each for each in pool if str(each.key) in form.cleaned_data["vehicles"]]
        open_tracks = [
            OpenTrack(here.track.pk, here.limits, here.room_mm, here.free_spots)
            for here in tracks
            if str(here.track.pk) in form.cleaned_data["tracks"]
        ]
        homes = home_tracks(each.key for each in chosen)
        found = assign(open_tracks, chosen, homes, time_limit_s=5.0)
        names = {each.key: each for each in chosen}
        rows = [
            (here, [names[key] for key in found.on(here.track.pk)])
            for here in tracks
            if str(here.track.pk) in form.cleaned_data["tracks"]
        ]
        left = [(names[each.vehicle], _reasons(each)) for each in found.left_over]
        return render(
            request,
            "track/arrange.html",
            {"railway": shown, "form": form, "found": found, "rows": rows, "left": left},
        )
    return render(request, "track/arrange.html", {"railway": shown, "form": form})


def _reasons(left: LeftOver) -> str:
    words = dict.fromkeys(each.words for reasons in left.reasons.values() for each in reasons)
    return "; ".join(list(words)[:3])


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
        chosen = get_object_or_404(tracks, pk=text if is_key else 0)
        HomeTrack.objects.update_or_create(vehicle=vehicle, defaults={"track": chosen})
    else:
        HomeTrack.objects.filter(vehicle=vehicle).delete()
    messages.success(request, f"The home track of {vehicle} is saved.")
    return redirect("track:for-vehicle", pk=pk)


# --- Moving -----------------------------------------------------------------------------------


@writers_only
@require_POST
def move(request: HttpRequest, pk: int) -> HttpResponse:
    """Put the chosen vehicles onto this track, take them off, or move them to another track."""
    shown = get_object_or_404(Track.objects.select_related("place__railway"), pk=pk)
    chosen = _chosen(request)
    if not chosen:
        messages.error(request, "No vehicle was chosen: tick one first.")
        return redirect(shown)
    target = request.POST.get("to", "here")
    if target == "off":
        take_off(vehicles=chosen)
        messages.success(request, f"{_named(chosen)} taken off the railway.")
    elif target == "here":
        if _is_on_gauge(request, chosen, shown):
            put(vehicles=chosen, track=shown)
            messages.success(request, f"{_named(chosen)} put onto {shown.name}.")
    else:
        others = Track.objects.filter(place__railway=shown.place.railway)
        is_key = target.isascii() and target.isdigit() and len(target) < 18
        other = get_object_or_404(others, pk=target if is_key else 0)
        if _is_on_gauge(request, chosen, shown):
            put(vehicles=chosen, track=other)
            messages.success(request, f"{_named(chosen)} moved to {other.name}.")
    return redirect(shown)


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


def _chosen(request: HttpRequest) -> list[Vehicle]:
    """The vehicles ticked on a page, in their order there."""
    keys = [
        int(key)
        for key in request.POST.getlist("vehicle")[:500]
        if key.isascii() and key.isdigit() and len(key) < 18
    ]
    by_key = Vehicle.objects.in_bulk(keys)
    return [by_key[key] for key in dict.fromkeys(keys) if key in by_key]


def _named(vehicles: list[Vehicle]) -> str:
    if len(vehicles) <= 3:
        return ", ".join(vehicle.identity for vehicle in vehicles)
    return f"{len(vehicles)} vehicles"


# --- Removing ---------------------------------------------------------------------------------


@writers_only
def remove(request: HttpRequest, what: str, pk: int) -> HttpResponse:
    """Ask first, then remove a part of a railway; the vehicles stay in the record."""
    if what not in REMOVABLE:
        raise Http404
    shown = get_object_or_404(REMOVABLE[what], pk=pk)
    ends = _ends_at(shown)
    if request.method != "POST":
        standing, industries = unsettled_by(shown)
        return render(
            request,
            "track/remove.html",
            {
                "shown": shown,
                "what": what,
                "back": _above(shown),
                "going": going_with(shown),
                "standing": named(each.identity for each in standing),
                "n_standing": len(standing),
                "industries": named(str(each) for each in industries),
                "n_industries": len(industries),
                "ends": ends,
            },
        )
    words, back = f"{shown} is removed.", _above(shown)
    try:
        shown.delete()
    except RestrictedError:
        messages.error(request, f"{shown} was not removed: {_words_of(ends)}")
    else:
        messages.success(request, words)
    return redirect(back)


def _ends_at(shown: Model) -> list[Track]:
    """Tracks that stay but end at a turnout that would go, so that it cannot."""
    if isinstance(shown, Turnout):
        return ending_at([shown])
    if isinstance(shown, Place):
        return [each for each in ending_at(shown.turnouts.all()) if each.place_id != shown.pk]
    return []


def _words_of(ends: list[Track]) -> str:
    names = named(each.name for each in ends)
    return f"{names} {'ends' if len(ends) == 1 else 'end'} there. Edit the track first."


def _above(shown: Model) -> str:
    """The page to be on once it is gone."""
    if isinstance(shown, Railway):
        return reverse("track:railways")
    if isinstance(shown, Traffic):
        return shown.industry.get_absolute_url()
    place = shown if isinstance(shown, Place) else shown.place
    return place.railway.get_absolute_url()


# --- Forms ------------------------------------------------------------------------------------


def _edit(
    request: HttpRequest,
    form: ModelForm,
    title: str,
    back: str,
    done: str,
    *,
    write: Callable[[int], Model] | None = None,
) -> HttpResponse:
    """Show a form, or save what was typed unless somebody saved the same part meanwhile.

    write: saves it, given the revision that was seen; without it the form's own part is laid.
    """
    part, overtaken = form.instance, None
    shown = {"form": form, "title": title, "back": back, "revision": part.revision}
    if part.pk:
        shown["remove"] = reverse("track:remove", args=[part._meta.model_name, part.pk])
    if request.method == "POST":
        seen = shown["revision"] = _revision(request)
        if form.is_valid():
            try:
                write(seen) if write else lay(part=part, seen_revision=seen)
            except Overtaken as error:
                overtaken = error.now
            except IntegrityError:
                form.add_error("name", "One of that name was added a moment ago; type another.")
            except type(part).DoesNotExist as error:
                raise Http404 from error
            else:
                messages.success(request, f"{part} is saved.")
                return redirect(done or part.get_absolute_url())
    if overtaken is not None:
        shown |= {
            "overtaken": overtaken,
            "differences": differences(form, overtaken),
            "revision": overtaken.revision,
        }
    status = 409 if overtaken is not None else 422 if form.errors else 200
    return render(request, "track/form.html", shown, status=status)


def _revision(request: HttpRequest) -> int:
    text = request.POST.get("revision", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


@writers_only
def edit_railway(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    shown = None if pk is None else get_object_or_404(Railway, pk=pk)
    form = RailwayForm(
        request.POST or None,
        instance=shown,
        unit=request.user.unit,
        used=history.scales_in_use(),
    )
    back = shown.get_absolute_url() if shown else "/tracks/"
    return _edit(request, form, f"Edit {shown}" if shown else "A railway", back, "")


@writers_only
def edit_place(
    request: HttpRequest, railway_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    if pk is None:
        on_railway = get_object_or_404(Railway, pk=railway_pk)
        shown = Place(railway=on_railway, position=1)
    else:
        shown = get_object_or_404(Place.objects.select_related("railway"), pk=pk)
    form = PlaceForm(request.POST or None, instance=shown)
    back = shown.railway.get_absolute_url()

    def write(seen: int) -> Place:
        return lay_place(place=shown, after=form.place_before, seen_revision=seen)

    title = f"Edit {shown}" if pk else "A place"
    return _edit(request, form, title, back, back, write=write)


@writers_only
def edit_turnout(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Turnout(place=get_object_or_404(Place.objects.select_related("railway"), pk=place_pk))
        if pk is None
        else get_object_or_404(Turnout.objects.select_related("place__railway"), pk=pk)
    )
    form = TurnoutForm(request.POST or None, instance=shown, unit=request.user.unit)
    back = shown.place.railway.get_absolute_url()
    return _edit(request, form, f"Edit {shown}" if pk else "A turnout", back, back)


@writers_only
def edit_track(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    if pk is None:
        place = get_object_or_404(Place.objects.select_related("railway"), pk=place_pk)
        shown = Track(place=place, position=place.tracks.count() + 1)
    else:
        shown = get_object_or_404(Track.objects.select_related("place__railway"), pk=pk)
    form = TrackForm(request.POST or None, instance=shown, unit=request.user.unit)
    back = shown.get_absolute_url() if pk else shown.place.railway.get_absolute_url()
    title = f"Edit {shown}" if pk else f"A track at {shown.place.name}"
    return _edit(request, form, title, back, "")


@writers_only
def edit_industry(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Industry(place=get_object_or_404(Place.objects.select_related("railway"), pk=place_pk))
        if pk is None
        else get_object_or_404(Industry.objects.select_related("place__railway"), pk=pk)
    )
    form = IndustryForm(request.POST or None, instance=shown)
    back = shown.get_absolute_url() if pk else shown.place.railway.get_absolute_url()

    def write(seen: int) -> Industry:
        return lay(part=shown, seen_revision=seen, tracks=form.cleaned_data["tracks"])

    title = f"Edit {shown}" if pk else "An industry"
    return _edit(request, form, title, back, "", write=write)


@writers_only
def edit_traffic(
    request: HttpRequest, industry_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Traffic(industry=get_object_or_404(Industry, pk=industry_pk))
        if pk is None
        else get_object_or_404(Traffic.objects.select_related("industry"), pk=pk)
    )
    form = TrafficForm(request.POST or None, instance=shown)
    back = shown.industry.get_absolute_url()
    return _edit(request, form, f"Edit {shown}" if pk else "Traffic", back, back)
