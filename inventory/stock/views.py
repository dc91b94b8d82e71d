"""Pages of the stock: the list, one vehicle, instruments and house limits."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST
from django_filters.views import FilterView
from django_tables2 import RequestConfig, SingleTableMixin

from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.album import Album
from inventory.stock.filters import FormerFilter, VehicleFilter
from inventory.stock.forms import (
    BringBackForm,
    CouplerFormSet,
    HouseLimitForm,
    InstrumentForm,
    RetireForm,
    VehicleForm,
    WheelsetFormSet,
    changed_of,
    exchanged_axles,
)
from inventory.stock.models import (
    HouseLimit,
    Inspection,
    Instrument,
    Vehicle,
    VehiclePhoto,
    Verdict,
)
from inventory.stock.recording import (
    LeftTheStock,
    Overtaken,
    add_photos,
    amend_running_gear,
    amend_vehicle,
    bring_back,
    describe_photo,
    move_photo,
    remove_photo,
    retire,
    set_house_limit,
    withdraw_house_limit,
)
from inventory.stock.tables import FormerTable, HouseLimitTable, InstrumentTable, VehicleTable
from inventory.stock.verdicts import proposal_from
from standards.remedies import mends

#: Where there is no room for the heads of columns to sort by.
SORTS = (
    ("identity", "marks and number"),
    ("service", "service"),
    ("kind", "kind"),
    ("maker", "maker"),
    ("storage_box", "box"),
    ("-last_inspected_at", "last inspected"),
)


ALBUM = Album(
    kind=VehiclePhoto,
    subjects=Vehicle.everyone.of_the_house,
    add=add_photos,
    describe=describe_photo,
    move=move_photo,
    remove=remove_photo,
)


def without_page_size(request: HttpRequest) -> HttpRequest:
    """How many rows a page has is ours to say: no address asks for all, or for minus five."""
    request.GET = request.GET.copy()
    request.GET.pop("per_page", None)
    return request


class VehicleList(SingleTableMixin, FilterView):
    """The stock list, searched, narrowed, sorted and paged."""

    model = Vehicle
    table_class = VehicleTable
    filterset_class = VehicleFilter
    table_pagination = {"per_page": 25}
    template_name = "stock/vehicle_list.html"

    def dispatch(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        return super().dispatch(without_page_size(request), *args, **kwargs)

    def get_queryset(self) -> QuerySet[Vehicle]:
        return Vehicle.objects.for_list().with_first_photo()

    def get_context_data(self, **kwargs) -> dict[str, object]:
        return super().get_context_data(**kwargs, sorts=SORTS)

    def get_template_names(self) -> list[str]:
        if self.request.htmx and not self.request.htmx.history_restore_request:
            return ["stock/_vehicle_table.html"]
        return [self.template_name]

    def render_to_response(self, context, **kwargs) -> HttpResponse:
        response = super().render_to_response(context, **kwargs)
        response["Vary"] = "HX-Request"
        return response


class FormerList(SingleTableMixin, FilterView):
    """What has left the stock: how, when and for what; the last to leave first."""

    model = Vehicle
    table_class = FormerTable
    filterset_class = FormerFilter
    table_pagination = {"per_page": 25}
    template_name = "stock/former.html"

    def dispatch(self, request: HttpRequest, *args, **kwargs) -> HttpResponse:
        return super().dispatch(without_page_size(request), *args, **kwargs)

    def get_queryset(self) -> QuerySet[Vehicle]:
        return Vehicle.everyone.former()


def vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Vehicle.everyone.of_the_house().for_page(), pk=pk)
    standing = Verdict.objects.standing_for(shown)
    limited = sorted((each for each in standing if each.is_limited), key=Verdict.worst_first)
    return render(
        request,
        "stock/vehicle.html",
        {
            "vehicle": shown,
            "photos": list(shown.photos.all()),
            "proposal": proposal_from(shown, standing),
            "open_verdicts": [each for each in limited if each.outcome != "within"],
            "within": [each for each in limited if each.outcome == "within"],
            "facts": [verdict for verdict in standing if not verdict.is_limited],
            "mends": mends(verdict.as_finding() for verdict in standing),
            "axles": history.wheelsets_to_compare(shown, standing),
            "inspections": list(history.inspections_of(shown)),
            "trends": history.trends_of(shown),
        },
    )


def inspection(request: HttpRequest, pk: int) -> HttpResponse:
    """Every reading of one inspection as it was typed, replaced ones too."""
    shown = get_object_or_404(Inspection.objects.select_related("vehicle", "inspector"), pk=pk)
    readings = shown.readings.select_related("instrument", "taken_by").order_by("taken_at", "pk")
    return render(request, "stock/inspection.html", {"inspection": shown, "readings": readings})


@writers_only
def edit_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Vehicle.everyone.of_the_house(), pk=pk)
    form = VehicleForm(
        request.POST or None,
        instance=shown,
        unit=request.user.unit,
        used=history.scales_in_use(),
    )
    if request.method == "POST" and form.is_valid():
        try:
            amend_vehicle(vehicle=form.instance, seen_revision=_revision(request), by=request.user)
        except Overtaken as overtaken:
            return render(
                request,
                "stock/vehicle_form.html",
                {
                    "vehicle": overtaken.now,
                    "form": form,
                    "differences": _differences(form, overtaken.now),
                    "revision": overtaken.now.revision,
                },
                status=409,
            )
        messages.success(request, f"{shown.identity} is saved.")
        return redirect(shown)
    return render(
        request,
        "stock/vehicle_form.html",
        {"vehicle": shown, "form": form, "revision": request.POST.get("revision", shown.revision)},
        status=422 if form.errors else 200,
    )


def _revision(request: HttpRequest) -> int:
    text = request.POST.get("revision", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


def _differences(form: VehicleForm, now: Vehicle) -> list[tuple[str, object, object]]:
    """What stands now beside what was typed, where they differ."""
    found = []
    for name in form.fields:
        typed = form.cleaned_data.get(name)
        stands = f"{now.family}/{now.scale}" if name == "standard" else getattr(now, name, None)
        if (typed or "") != (stands or ""):
            found.append(
                (form.fields[name].label or name, stands or "nothing", typed or "nothing")
            )
    return found


@writers_only
def running_gear(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Vehicle.everyone.of_the_house(), pk=pk)
    if shown.is_retired:
        messages.error(request, str(LeftTheStock(shown)))
        return redirect(shown)
    wheelsets = WheelsetFormSet(
        request.POST or None,
        queryset=shown.wheelsets.filter(removed_at__isnull=True),
        prefix="wheelsets",
    )
    couplers = CouplerFormSet(
        request.POST or None, queryset=shown.couplers.all(), prefix="couplers"
    )
    told = ""
    if request.method == "POST" and wheelsets.is_valid() and couplers.is_valid():
        try:
            amend_running_gear(
                vehicle=shown,
                wheelsets=changed_of(wheelsets, shown),
                couplers=changed_of(couplers, shown),
                exchanged=exchanged_axles(wheelsets),
                seen_revision=_revision(request),
                by=request.user,
            )
        except Overtaken as overtaken:
            told = f"{overtaken} Nothing was overwritten: look at it as it is now, then change it."
        else:
            messages.success(request, "Wheels and couplers are saved, the verdicts judged again.")
            return redirect(shown)
    return render(
        request,
        "stock/running_gear.html",
        {"vehicle": shown, "wheelsets": wheelsets, "couplers": couplers, "told": told},
        status=409 if told else 200,
    )


# --- Leaving and coming back --------------------------------------------------------------------


@writers_only
def retire_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """Say what happens, then take a vehicle out of the stock."""
    shown = get_object_or_404(Vehicle.everyone.of_the_house(), pk=pk)
    if shown.is_retired:
        messages.info(request, f"{shown} has left the stock already.")
        return redirect(shown)
    form = RetireForm(request.POST or None, vehicle=shown)
    about = {"vehicle": shown, "form": form, "revision": shown.revision}
    if request.method == "POST" and form.is_valid():
        try:
            left = retire(
                vehicle=shown,
                departure=form.departure,
                by=request.user,
                seen_revision=_revision(request),
            )
        except Overtaken as overtaken:
            about |= {"told": str(overtaken), "revision": overtaken.now.revision}
        else:
            messages.success(request, f"{left} has left the stock; all that was stays to be read.")
            return redirect(left)
    elif request.method == "POST":
        about["revision"] = _revision(request)
    about["is_in_hand"] = shown.inspections.filter(finished_at__isnull=True).exists()
    status = 409 if "told" in about else 422 if form.errors else 200
    return render(request, "stock/retire.html", about, status=status)


@writers_only
def bring_back_vehicle(request: HttpRequest, pk: int) -> HttpResponse:
    """Put a retired vehicle into the stock again, with a reason."""
    shown = get_object_or_404(Vehicle.everyone.of_the_house(), pk=pk)
    if not shown.is_retired:
        messages.info(request, f"{shown} is in the stock.")
        return redirect(shown)
    form = BringBackForm(request.POST or None)
    about = {"vehicle": shown, "form": form, "revision": shown.revision}
    if request.method == "POST" and form.is_valid():
        try:
            back = bring_back(
                vehicle=shown,
                because=form.cleaned_data["because"].strip(),
                by=request.user,
                seen_revision=_revision(request),
            )
        except Overtaken as overtaken:
            about |= {"told": str(overtaken), "revision": overtaken.now.revision}
        else:
            messages.success(request, f"{back} is in the stock again and awaits inspection.")
            return redirect(back)
    elif request.method == "POST":
        about["revision"] = _revision(request)
    status = 409 if "told" in about else 422 if form.errors else 200
    return render(request, "stock/bring_back.html", about, status=status)


def instruments(request: HttpRequest) -> HttpResponse:
    table = InstrumentTable(Instrument.objects.all())
    RequestConfig(without_page_size(request), paginate={"per_page": 50}).configure(table)
    return render(request, "stock/instruments.html", {"table": table})


@writers_only
def instrument(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    shown = get_object_or_404(Instrument, pk=pk) if pk else None
    form = InstrumentForm(request.POST or None, instance=shown, unit=request.user.unit)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, f"{form.instance.name} is kept.")
        return redirect("stock:instruments")
    return render(request, "stock/instrument_form.html", {"form": form, "instrument": shown})


def house_limits(request: HttpRequest) -> HttpResponse:
    """What is in force, for everybody to read; set and withdrawn by those who may write."""
    form = HouseLimitForm(
        request.POST or None, unit=request.user.unit, used=history.scales_in_use()
    )
    if request.method == "POST":
        return _set_house_limit(request, form)
    return _house_limits(request, form)


@writers_only
def _set_house_limit(request: HttpRequest, form: HouseLimitForm) -> HttpResponse:
    if not form.is_valid():
        return _house_limits(request, form)
    changes = set_house_limit(limit=form.instance, by=request.user)
    messages.success(request, f"The house limit is in force; {len(changes)} verdicts changed.")
    return redirect("stock:house-limits")


def _house_limits(request: HttpRequest, form: HouseLimitForm) -> HttpResponse:
    table = HouseLimitTable(HouseLimit.objects.all())
    RequestConfig(without_page_size(request), paginate={"per_page": 50}).configure(table)
    return render(request, "stock/house_limits.html", {"form": form, "table": table})


@writers_only
@require_POST
def withdraw_limit(request: HttpRequest, pk: int) -> HttpResponse:
    limit = get_object_or_404(HouseLimit, pk=pk, withdrawn_at__isnull=True)
    changes = withdraw_house_limit(limit=limit, at=timezone.now())
    messages.success(request, f"The house limit is withdrawn; {len(changes)} verdicts changed.")
    return redirect("stock:house-limits")
