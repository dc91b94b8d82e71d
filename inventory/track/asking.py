"""Pages that answer: the line, one track, where a vehicle fits, trains, who stands where."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from django.core.paginator import Paginator
from django.db.models import Exists, OuterRef
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from inventory.stock import history
from inventory.stock.models import Vehicle
from inventory.track.assigning import LeftOver, OpenTrack, assign
from inventory.track.drawn import line_of, siding_of
from inventory.track.fit import (
    HEADINGS,
    Answer,
    Stood,
    answers,
    stood,
    stood_on,
    suited_to,
    where_fits,
)
from inventory.track.fitting import Candidate, Cut, CutImpossible, best_cut
from inventory.track.forms import ArrangeForm, CutForm, TrainForm
from inventory.track.models import HomeTrack, Industry, Railway, Standing, Track
from inventory.track.needs import Need, needs_of, turned_on
from inventory.track.offering import RAILWAYS_A_PAGE, Offer, asked_in, offer, words_in
from inventory.track.planning import report
from inventory.track.standing import Spot, Weights, candidates, home_tracks, stands_on
from inventory.track.trains import TrainImpossible
from standards import sheets


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


# --- One track --------------------------------------------------------------------------------


def track(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(
        Track.objects.select_related("place__railway", "a_turnout", "b_turnout"), pk=pk
    )
    on_railway = shown.place.railway
    here = stood(on_railway, [shown])[0]
    pool = offer(
        suited_to(on_railway).exclude(pk__in=[each.key for each in here.standing]),
        words=words_in(request),
        railway=on_railway,
        keep=request.GET.getlist("must"),
    )
    asked = answers(here, candidates(pool.vehicles))
    elsewhere = stands_on(answer.candidate.key for answer in asked)
    fitting = [answer for answer in asked if answer.fits]
    form = CutForm(
        asked_in(request),
        fitting=[answer.candidate for answer in fitting],
        railway=on_railway,
        unit=request.user.unit,
    )
    cut, problem = _cut(here, form, elsewhere)
    return render(
        request,
        "track/track.html",
        {
            "track": shown,
            "offer": pool,
            "railway": on_railway,
            "here": here,
            "fitting": fitting,
            "n_doubtful": sum(bool(answer.doubts) for answer in fitting),
            "refused": [answer for answer in asked if not answer.fits],
            "form": form,
            "cut": cut,
            "in_doubt": _in_doubt(cut, fitting),
            "elsewhere": elsewhere,
            "problem": problem,
            "drawing": siding_of(here, cut, unit=request.user.unit),
            "wide_drawing": siding_of(here, cut, unit=request.user.unit, wide=True),
            "others": Track.objects.filter(place__railway=on_railway)
            .exclude(pk=pk)
            .select_related("place")
            .order_by("place__position", "position", "pk"),
        },
    )


def _cut(here: Stood, form: CutForm, elsewhere: dict[int, Spot]) -> tuple[Cut | None, str]:
    """The best cut as it was asked for, or why there is none."""
    if here.unknown:
        return None, ""
    if form.is_bound and not form.is_valid():
        return None, form.problem
    if not form.pool:
        return None, ""
    try:
        cut = best_cut(
            form.candidates(elsewhere),
            here.room_mm,
            slack_mm=form.slack_mm,
            must_include=form.must_include,
            most=here.free_spots,
            by=form.cleaned_data["by"] or "length" if form.is_bound else "length",
        )
    except CutImpossible as impossible:
        return None, str(impossible)
    return cut, ""


def _in_doubt(cut: Cut | None, fitting: Sequence[Answer]) -> list[Answer]:
    """Those of a cut of whom not everything is known that it takes to tell whether they fit."""
    keys = set(cut.keys if cut else ())
    return [answer for answer in fitting if answer.doubts and answer.candidate.key in keys]


# --- One vehicle ------------------------------------------------------------------------------


def for_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """Where one vehicle stands, and where it fits now, on every railway of its scale."""
    shown = get_object_or_404(Vehicle, pk=pk)
    (asked,) = candidates([shown])
    suited = Railway.objects.filter(scale__in=sheets.sized_like(shown.standard))
    page = Paginator(suited, RAILWAYS_A_PAGE).get_page(request.GET.get("page"))
    everywhere = stood_on(list(page))
    rows = [
        where_fits(here, asked)
        for here in everywhere
        if shown.pk not in {standing.key for standing in here.standing}
    ]
    rows.sort(key=lambda row: HEADINGS.index(row.heading))
    home = HomeTrack.objects.filter(vehicle=shown).select_related("track__place__railway").first()
    tracks = [here.track for here in everywhere]
    return render(
        request,
        "track/for_vehicle.html",
        {
            "vehicle": shown,
            "candidate": asked,
            "stands": Standing.objects.filter(vehicle=shown)
            .select_related("track__place__railway")
            .first(),
            "rows": rows,
            "page": page,
            "has_many_railways": len({row.here.track.place.railway_id for row in rows}) > 1,
            "home": home,
            "tracks": tracks if home is None or home.track in tracks else [home.track, *tracks],
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
    wanted = {word.casefold() for each in shown.traffic.all() for word in each.kind_words}
    kinds = [kind for kind in history.each_of("kind") if kind.strip().casefold() in wanted]
    pool = offer(
        suited_to(on_railway).filter(kind__in=kinds).exclude(pk__in=at_home),
        words=words_in(request),
        railway=on_railway,
    )
    return render(
        request,
        "track/industry.html",
        {
            "industry": shown,
            "railway": on_railway,
            "needs": _needs([shown], tracks)[0][1],
            "turned": turned_on(
                [tracks[each.pk] for each in shown.tracks.all()],
                candidates(home.vehicle for home in shown.homes.all()),
            ),
            "homes": [home.vehicle for home in shown.homes.all()],
            "offer": pool,
            "suited": candidates(pool.vehicles),
        },
    )


# --- Trains and the report --------------------------------------------------------------------


def trains(request: HttpRequest, pk: int) -> HttpResponse:
    """Whether a train fits the tracks that it must use."""
    shown = get_object_or_404(Railway, pk=pk)
    everywhere = stood(shown)
    engines, cars = _engines_and_cars(shown, request)
    form = TrainForm(
        asked_in(request),
        tracks=[here for here in everywhere if here.limits is not None and not here.barred],
        engines=candidates(engines.vehicles),
        cars=candidates(cars.vehicles),
        weights=Weights.of([*engines.vehicles, *cars.vehicles]),
        slack_mm=shown.coupling_slack,
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
        {
            "railway": shown,
            "offer": cars,
            "form": form,
            "run": asked,
            "problem": problem,
            "not_offered": [here for here in everywhere if here.limits is None or here.barred],
        },
    )


def _engines_and_cars(railway: Railway, request: HttpRequest) -> tuple[Offer, Offer]:
    """The locomotives and the other stock that a railway's pages reckon with. Words narrow the
    cars alone, and leave a locomotive to draw them."""
    fleet = suited_to(railway)
    engines = fleet.filter(category=Vehicle.Category.LOCOMOTIVE)
    cars = fleet.exclude(category=Vehicle.Category.LOCOMOTIVE)
    return (
        offer(engines, railway=railway, keep=request.GET.getlist("engine")),
        offer(
            cars,
            words=words_in(request),
            railway=railway,
            keep=request.GET.getlist("vehicles"),
        ),
    )


def planner(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Railway, pk=pk)
    engines, cars = _engines_and_cars(shown, request)
    made = report(stood(shown), candidates(cars.vehicles), candidates(engines.vehicles))
    return render(request, "track/report.html", {"railway": shown, "offer": cars, "report": made})


# --- Arranging --------------------------------------------------------------------------------


def arrange(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a set of vehicles on a set of tracks: as many as can be, then at home."""
    shown = get_object_or_404(Railway, pk=pk)
    everywhere = stood(shown)
    tracks = [here for here in everywhere if not here.unknown and not here.barred]
    anywhere = Standing.objects.filter(vehicle=OuterRef("pk"))
    nowhere = offer(
        suited_to(shown).filter(~Exists(anywhere)),
        words=words_in(request),
        railway=shown,
        keep=request.GET.getlist("vehicles"),
    )
    pool = candidates(nowhere.vehicles)
    form = ArrangeForm(asked_in(request), tracks=tracks, vehicles=pool)
    about = {
        "railway": shown,
        "offer": nowhere,
        "form": form,
        "not_offered": [here for here in everywhere if here.unknown or here.barred],
    }
    if form.is_bound and form.is_valid():
        about |= _arranged(
            [here for here in tracks if str(here.track.pk) in form.cleaned_data["tracks"]],
            [each for each in pool if str(each.key) in form.cleaned_data["vehicles"]],
            shown.coupling_slack,
        )
    return render(request, "track/arrange.html", about)


def _arranged(
    tracks: list[Stood], chosen: list[Candidate], slack_mm: Decimal
) -> dict[str, object]:
    """What the page of an arrangement shows."""
    found = assign(
        [
            OpenTrack(here.track.pk, here.limits, here.room_mm, here.free_spots)
            for here in tracks
            if here.limits is not None and here.room_mm is not None
        ],
        chosen,
        home_tracks(each.key for each in chosen),
        slack_mm=slack_mm,
        time_limit_s=5.0,
    )
    names = {each.key: each for each in chosen}
    return {
        "found": found,
        "rows": [(here, [names[key] for key in found.on(here.track.pk)]) for here in tracks],
        "left": [(names[each.vehicle], _reasons(each)) for each in found.left_over],
    }


def _reasons(left: LeftOver) -> str:
    words = dict.fromkeys(each.words for reasons in left.reasons.values() for each in reasons)
    return "; ".join(list(words)[:3])
