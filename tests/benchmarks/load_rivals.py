"""What the load benchmark sets beside the pages: Django's own admin, and views that do nothing.

The address book of the benchmark: the product's, with these beside.
"""

from __future__ import annotations

from django.contrib import admin
from django.db import transaction
from django.db.models import Max, OuterRef, Subquery
from django.http import HttpRequest, HttpResponse
from django.urls import include, path

from inventory.stock.models import Inspection, Instrument, Vehicle


class VehicleAdmin(admin.ModelAdmin):
    """The columns, filters and search of the stock list, as the admin has them."""

    list_display = ("identity", "service", "kind", "scale", "maker", "storage_box", "inspected")
    list_filter = ("service", "category", "scale")
    search_fields = (
        "reporting_mark",
        "number",
        "name",
        "kind",
        "maker",
        "catalogue_number",
        "storage_box",
        "aar_designation__iexact",
    )
    ordering = ("reporting_mark", "number_key", "pk")
    list_per_page = 25
    list_max_show_all = 0

    def get_queryset(self, request: HttpRequest):
        # Only for the rows shown: joined to all of them it would be slower still.
        last = (
            Inspection.objects.filter(vehicle=OuterRef("pk"))
            .order_by()
            .values("vehicle")
            .annotate(last=Max("finished_at"))
            .values("last")
        )
        return super().get_queryset(request).annotate(last=Subquery(last))

    @admin.display(ordering="reporting_mark")
    def identity(self, vehicle: Vehicle) -> str:
        return vehicle.identity

    @admin.display(ordering="last")
    def inspected(self, vehicle: Vehicle):
        return vehicle.last


site = admin.AdminSite(name="admin")
site.register(Vehicle, VehicleAdmin)


def nothing(request: HttpRequest) -> HttpResponse:
    """The least a view can do for somebody who is signed in."""
    return HttpResponse(request.user.username)


@transaction.atomic
def one_write(request: HttpRequest) -> HttpResponse:
    """The least a view can do that keeps something: one row in one transaction."""
    Instrument.objects.filter(name="Digital caliper").update(note=request.POST["note"])
    return HttpResponse(request.user.username)


urlpatterns = [
    path("admin/", site.urls),
    path("nothing/", nothing),
    path("one-write/", one_write),
    path("", include("inventory.urls")),
]
