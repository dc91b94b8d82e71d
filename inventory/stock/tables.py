"""The lists of the stock pages."""

import django_tables2 as tables
from django.utils import dateformat
from django.utils.html import format_html
from django.utils.timezone import localtime

from inventory.stock.models import HouseLimit, Instrument, Vehicle
from inventory.stock.templatetags.measures import word


class VehicleTable(tables.Table):
    caption = "Vehicles"
    identity = tables.Column(
        verbose_name="Vehicle",
        order_by=("reporting_mark", "number_key", "pk"),
    )
    kind = tables.Column(order_by=("kind", "pk"))
    scale = tables.Column(order_by=("scale", "family", "pk"))
    maker = tables.Column(order_by=("maker", "catalogue_number", "pk"))
    storage_box = tables.Column(verbose_name="Box", order_by=("storage_box", "pk"))
    last_inspected_at = tables.Column(
        verbose_name="Inspected",
        attrs={"td": {"class": "nowrap"}},
        order_by=("last_inspected_at", "pk"),
    )
    service = tables.Column(verbose_name="Service", order_by=("service", "pk"))

    class Meta:
        model = Vehicle
        fields = ()
        sequence = (
            "identity",
            "service",
            "kind",
            "scale",
            "maker",
            "storage_box",
            "last_inspected_at",
        )
        empty_text = (
            "No vehicle answers to this. Clear the filters, or log a new one at the bench."
        )

    def cells_of(self, vehicle: Vehicle) -> dict[str, object]:
        """What stands in a row, by column. Written at once and here: column by column, the table
        looks up and compiles a template for every cell, which is most of the time of the page."""
        name = format_html(' <span class="soft">{}</span>', vehicle.name) if vehicle.name else ""
        last = vehicle.last_inspected_at
        return {
            "identity": format_html(
                '<a href="{}">{}</a>{}', vehicle.get_absolute_url(), vehicle.identity, name
            ),
            "service": word(vehicle.service),
            "kind": vehicle.kind,
            "scale": vehicle.scale,
            "maker": vehicle.maker,
            "storage_box": vehicle.storage_box,
            "last_inspected_at": last and dateformat.format(localtime(last), "j M Y"),
        }


class InstrumentTable(tables.Table):
    caption = "Instruments"
    name = tables.Column(linkify=("stock:instrument", {"pk": tables.A("pk")}))
    kind = tables.Column(order_by=("kind", "name", "pk"))
    error = tables.TemplateColumn(
        template_name="stock/_instrument_error_cell.html",
        verbose_name="Greatest error and step",
        orderable=False,
    )
    note = tables.Column(orderable=False)
    is_retired = tables.TemplateColumn(
        "{% if value %}no longer used{% else %}in use{% endif %}", verbose_name="State"
    )

    class Meta:
        model = Instrument
        fields = ("name", "kind", "error", "note", "is_retired")
        order_by = ("kind",)


class HouseLimitTable(tables.Table):
    caption = "House limits"
    quantity = tables.Column(order_by=("quantity", "pk"))
    scale = tables.TemplateColumn(
        "{{ record.get_family_display }}, {{ record.scale }}", order_by=("family", "scale", "pk")
    )
    limits = tables.TemplateColumn(
        template_name="stock/_house_limits_cell.html", orderable=False, verbose_name="Limits"
    )
    reason = tables.Column(orderable=False)
    set_at = tables.DateColumn(format="j M Y", verbose_name="Since", order_by=("set_at", "pk"))
    state = tables.TemplateColumn(
        template_name="stock/_house_limit_state_cell.html", orderable=False, verbose_name="State"
    )

    class Meta:
        model = HouseLimit
        fields = ("quantity", "scale", "limits", "reason", "set_at", "state")
        empty_text = "None is in force: everything is judged by the published sheets alone."
