"""Print views: each shows the sheets as they come out, and is printed from the browser."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone

from inventory.paper.address import HostRefused, House, house_of
from inventory.paper.bench_sheets import bench_leaves
from inventory.paper.filling import (
    bench_sheets_of,
    blank_sheet,
    day,
    entry_of,
    label_of,
    place_entries,
    slip_of,
    tag_of,
)
from inventory.paper.forms import BlankForm, LabelForm, RegisterForm, WallForm, paper_of
from inventory.paper.labels import label_leaves
from inventory.paper.layouts import LayoutRefused
from inventory.paper.leaf import PAPERS, Leaf, Paper
from inventory.paper.registers import fleet_leaves, track_leaves
from inventory.paper.slips import slip_leaves
from inventory.paper.tags import tag_leaves
from inventory.paper.wall import wall_leaves
from inventory.people.models import Person
from inventory.stock import history
from inventory.stock.filters import VehicleFilter
from inventory.stock.models import Inspection, Vehicle, VehiclePhoto
from inventory.track.drawn import places_drawn
from inventory.track.fit import stood
from inventory.track.models import Railway
from inventory.trouble.models import Hold
from standards.units import brief

MOST_BENCH_SHEETS = 500
MOST_LABELS = 1000
MOST_TICKED = 1000
#: Filters of the stock list that an address may carry.
FILTERS = ("q", "service", "category", "scale")


# --- What is chosen -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Chosen:
    """The vehicles of a paper, and how they were chosen: in words, and for an address."""

    vehicles: QuerySet[Vehicle]
    narrowed: str
    query: str

    @classmethod
    def by(cls, data: QueryDict) -> Chosen:
        """Those ticked one by one, or those the filters of the stock list leave."""
        keys = [int(key) for key in data.getlist("vehicle") if _is_key(key)]
        kept = QueryDict(mutable=True)
        if "vehicle" in data:
            kept.setlist("vehicle", [str(key) for key in keys])
            ours = Vehicle.everyone.of_the_house().filter(pk__in=keys[:MOST_TICKED])
            ordered = ours.order_by("reporting_mark", "number_key", "pk")
            return cls(ordered, "only those that were ticked", kept.urlencode())
        for name in FILTERS:
            if data.get(name):
                kept[name] = data[name]
        fleet = Vehicle.objects.for_list()
        if not kept:
            return cls(fleet, "", "")
        found = VehicleFilter(kept, fleet)
        vehicles = found.qs if found.is_valid() else fleet.none()
        said = ", ".join(f"“{kept[name]}”" for name in FILTERS if name in kept)
        return cls(vehicles, f"only what {said} finds", kept.urlencode())

    @property
    def hidden(self) -> list[tuple[str, str]]:
        """Name and value pairs that keep the choice in a form."""
        known = QueryDict(self.query)
        return [(name, value) for name, values in known.lists() for value in values]


def _is_key(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) < 12


def _house(request: HttpRequest) -> tuple[House, str]:
    """The host that the address names, or ours with what is wrong with that one, in words."""
    try:
        return house_of(request, request.GET.get("host", "")), ""
    except HostRefused as refused:
        return house_of(request), str(refused)


def _shown(
    request: HttpRequest,
    leaves: Sequence[Leaf],
    paper: Paper,
    *,
    title: str,
    template: str = "paper/sheets.html",
    status: int = 200,
    **more: object,
) -> HttpResponse:
    """A paper on its page, with the other sizes it comes in."""
    return render(
        request,
        template,
        {
            "title": title,
            "leaves": leaves,
            "paper": paper,
            "papers": [(each, _on(request, each)) for each in PAPERS.values()],
            "is_on": paper.code.split("-")[0],
            **more,
        },
        status=status,
    )


def _on(request: HttpRequest, paper: Paper) -> str:
    """The same address on another paper. A sheet of labels belongs to its paper."""
    data = request.GET.copy()
    data.pop("layout_code", None)
    data["paper"] = paper.code
    return f"?{data.urlencode()}"


# --- The pages ----------------------------------------------------------------------------------


def index(request: HttpRequest) -> HttpResponse:
    """Everything that can be printed, and from where."""
    return render(
        request,
        "paper/index.html",
        {
            "railways": Railway.objects.all(),
            "n_fleet": Vehicle.objects.count(),
            "n_awaiting": Vehicle.objects.awaiting_inspection().count(),
            "n_held": Hold.objects.filter(released_at__isnull=True).count(),
            "n_visitors": Vehicle.everyone.exclude(visitor="").count(),
        },
    )


def labels(request: HttpRequest) -> HttpResponse:
    """Box labels for the vehicles chosen, each with the code that opens its page."""
    paper = paper_of(request.GET, request.user)
    chosen = Chosen.by(request.GET)
    form = LabelForm(request.GET, paper=paper, person=request.user)
    house, _ = _house(request)  # what is wrong with it the form says
    leaves = _labels(form, chosen, house)
    return _shown(
        request,
        leaves,
        paper,
        title="Box labels",
        template="paper/labels.html",
        status=422 if form.errors else 200,
        form=form,
        house=house,
        chosen=chosen,
        most=MOST_LABELS,
        left_out=max(0, len(chosen.vehicles) - MOST_LABELS),
        **_ticks(request, chosen),
    )


def _labels(form: LabelForm, chosen: Chosen, house: House) -> list[Leaf]:
    """The sheets of labels, none where the form has something to mend."""
    if not form.is_valid() or form.layout is None:
        return []
    told = [label_of(vehicle, house) for vehicle in list(chosen.vehicles)[:MOST_LABELS]]
    start, marks = form.cleaned_data["start"], form.cleaned_data["marks"]
    try:
        return label_leaves(told, form.layout, start=start, marks=marks)
    except LayoutRefused as refused:
        form.add_error("layout_code", str(refused))
        return []


def _ticks(request: HttpRequest, chosen: Chosen) -> dict[str, object]:
    """The fleet to tick single vehicles from, with those ticked that are chosen."""
    fleet = Vehicle.objects.for_list()[:MOST_TICKED]
    keys = set(chosen.vehicles.values_list("pk", flat=True)) if chosen.query else set()
    return {
        "fleet": [(vehicle, vehicle.pk in keys) for vehicle in fleet],
        "is_ticked": "vehicle" in request.GET,
    }


def bench(request: HttpRequest) -> HttpResponse:
    """Bench sheets for the vehicles chosen, or for those that await inspection."""
    paper = paper_of(request.GET, request.user)
    chosen = Chosen.by(request.GET)
    vehicles = chosen.vehicles.prefetch_related("wheelsets", "couplers")
    if not chosen.query:
        vehicles = vehicles.filter(service="awaiting inspection")
    count = vehicles.count()
    house, problem = _house(request)
    sheets = bench_sheets_of(list(vehicles[:MOST_BENCH_SHEETS]), request.user, house)
    leaves = bench_leaves(sheets, paper, foot=f"Printed on {day()} by {request.user}")
    return _shown(
        request,
        leaves,
        paper,
        title="Bench sheets",
        template="paper/bench.html",
        chosen=chosen,
        status=422 if problem else 200,
        house=house,
        host_problem=problem,
        left_out=max(0, count - MOST_BENCH_SHEETS),
        count=count,
        **_ticks(request, chosen),
    )


def blank(request: HttpRequest) -> HttpResponse:
    """A bench sheet for a vehicle that is not logged yet."""
    paper = paper_of(request.GET, request.user)
    form = BlankForm(request.GET, used=history.scales_in_use())
    leaves: list[Leaf] = []
    if form.is_valid():
        told = form.cleaned_data
        sheet = blank_sheet(form.vehicle, told["axles"], told["buffers"], request.user)
        foot = f"Printed on {day()} by {request.user}"
        leaves = bench_leaves([sheet] * told["copies"], paper, foot=foot)
    return _shown(
        request,
        leaves,
        paper,
        title="Bench sheet to fill in",
        template="paper/blank.html",
        status=422 if form.errors else 200,
        form=form,
    )


def _holds() -> QuerySet[Hold]:
    return Hold.objects.filter(released_at__isnull=True).select_related(
        "vehicle", "trackwork__place__railway", "trackwork__turnout", "held_by"
    )


def tags(request: HttpRequest) -> HttpResponse:
    """The tags of everything that is out of service."""
    return _tags(request, list(_holds()), "Tags of the board")


def tag(request: HttpRequest, pk: int) -> HttpResponse:
    """The tag of one hold; of one that was released there is none to print any more."""
    hold = get_object_or_404(Hold.objects.select_related("vehicle", "trackwork"), pk=pk)
    title = f"Tag of {hold.subject}"
    return _tags(request, list(_holds().filter(pk=pk)), title, hold=hold)


def _tags(
    request: HttpRequest, holds: Sequence[Hold], title: str, hold: Hold | None = None
) -> HttpResponse:
    paper = paper_of(request.GET, request.user)
    house, problem = _house(request)
    leaves = tag_leaves([tag_of(each, house) for each in holds], paper)
    return _shown(
        request,
        leaves,
        paper,
        title=title,
        template="paper/tags.html",
        status=422 if problem else 200,
        house=house,
        host_problem=problem,
        hold=hold,
    )


def fleet(request: HttpRequest) -> HttpResponse:
    """The fleet register with values, as an insurer asks for it."""
    paper = paper_of(request.GET, request.user)
    chosen = Chosen.by(request.GET)
    form = RegisterForm(request.GET, owner=_owner())
    return _shown(
        request,
        _register(form, chosen, paper),
        paper,
        title="Fleet register",
        template="paper/fleet.html",
        status=422 if form.errors else 200,
        form=form,
        chosen=chosen,
    )


def _register(form: RegisterForm, chosen: Chosen, paper: Paper) -> list[Leaf]:
    if not form.is_valid():
        return []
    vehicles = list(chosen.vehicles)
    photos = form.cleaned_data["photos"]
    pictures = _photos(vehicles) if photos else {}
    return fleet_leaves(
        [entry_of(vehicle, pictures.get(vehicle.pk)) for vehicle in vehicles],
        paper,
        owner=form.cleaned_data["name"] or _owner(),
        day=day(),
        narrowed=chosen.narrowed,
        with_photos=photos,
    )


def _owner() -> str:
    """The owner of the record by name: the first that there is."""
    first = Person.objects.filter(role=Person.Role.OWNER, is_active=True).order_by("pk").first()
    name = str(first)[:120] if first else "owner"
    return "the owner" if name == "owner" else name  # as the first start calls them


def _photos(vehicles: Sequence[Vehicle]) -> dict[int, VehiclePhoto]:
    """By vehicle, its first photo."""
    shown = VehiclePhoto.objects.filter(vehicle__in=[vehicle.pk for vehicle in vehicles])
    found: dict[int, VehiclePhoto] = {}
    for photo in shown.order_by("position", "pk"):
        found.setdefault(photo.vehicle_id, photo)
    return found


def tracks(request: HttpRequest, pk: int) -> HttpResponse:
    """The register of a railway's tracks."""
    railway = get_object_or_404(Railway, pk=pk)
    paper = paper_of(request.GET, request.user)
    unit = request.user.unit
    about = (
        f"{railway.standard.label}. Lengths in {unit}; a clear length is what vehicles may take "
        f"up, with {brief(railway.clearance_gap, unit)} between passing ones."
    )
    leaves = track_leaves(
        place_entries(railway, stood(railway), request.user),
        paper,
        railway=railway.name,
        about=about,
        day=day(),
    )
    return _shown(
        request,
        leaves,
        paper,
        title=f"Tracks of {railway}",
        template="paper/tracks.html",
        railway=railway,
    )


def wall(request: HttpRequest, pk: int) -> HttpResponse:
    """The line of a railway for the wall, on lying sheets."""
    railway = get_object_or_404(Railway, pk=pk)
    paper = paper_of(request.GET, request.user).turned
    form = WallForm(request.GET, auto_id="wall_%s")
    here = stood(railway)
    places = [
        (place, [each for each in here if each.track.place_id == place.pk])
        for place in railway.places.all()
    ]
    leaves: list[Leaf] = []
    if places and form.is_valid():
        leaves = wall_leaves(
            places_drawn(places),
            paper,
            title=railway.name,
            foot=f"{railway.standard.label}; clear lengths and what stands there on {day()}",
            unit=request.user.unit,
            sheets=form.cleaned_data["sheets"],
        )
    return _shown(
        request,
        leaves,
        paper,
        title=f"The line of {railway}",
        template="paper/wall.html",
        status=422 if form.errors else 200,
        railway=railway,
        form=form,
    )


def slips(request: HttpRequest) -> HttpResponse:
    """Slips of visitors' vehicles: those named, or all that were checked on the latest day."""
    paper = paper_of(request.GET, request.user)
    brought = Vehicle.everyone.exclude(visitor="").prefetch_related("wheelsets", "couplers")
    keys = [int(key) for key in request.GET.getlist("vehicle") if _is_key(key)]
    if keys:
        chosen = list(brought.filter(pk__in=keys).order_by("visitor", "pk"))
    else:
        chosen = list(brought.filter(pk__in=_latest_checked()).order_by("visitor", "pk"))
    leaves = slip_leaves([slip_of(vehicle, request.user) for vehicle in chosen], paper)
    return _shown(
        request, leaves, paper, title="Visitors’ slips", template="paper/slips.html", chosen=chosen
    )


def _latest_checked() -> list[int]:
    """Keys of the visitors' vehicles whose check began on the day of the latest one."""
    checks = Inspection.objects.exclude(vehicle__visitor="").order_by("-started_at", "-pk")
    started = list(checks.values_list("vehicle_id", "started_at")[:200])
    if not started:
        return []
    last = timezone.localdate(started[0][1])
    return [pk for pk, moment in started if timezone.localdate(moment) == last]


# --- The code on a label ------------------------------------------------------------------------


def by_uid(request: HttpRequest, uid: uuid.UUID) -> HttpResponse:
    """Where the code of a label leads: the page of its vehicle, be it retired or a visitor's."""
    vehicle = Vehicle.everyone.filter(uid=uid).first()
    if vehicle is None:
        return render(request, "paper/no_vehicle.html", status=404)
    return redirect(vehicle)


def old_tag(request: HttpRequest, pk: int) -> HttpResponse:
    """Where the tag was printed before."""
    return redirect(reverse("paper:tag", args=[pk]), permanent=True)
