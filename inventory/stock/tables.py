"""The lists of the stock pages."""

import django_tables2 as tables
from django.urls import reverse
from django.utils import dateformat
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.timezone import localtime

from inventory.drawing.marks import worded_mark
from inventory.stock.models import HouseLimit, Instrument, Vehicle


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
                '{}<span><a href="{}">{}</a>{}</span>',
                _shot(vehicle),
                vehicle.get_absolute_url(),
                vehicle.identity,
                name,
            ),
            "service": worded_mark(vehicle.service),
            "kind": vehicle.kind,
            "scale": vehicle.scale,
            "maker": vehicle.maker,
            "storage_box": vehicle.storage_box,
            "last_inspected_at": last and dateformat.format(localtime(last), "j M Y"),
        }


def _shot(vehicle: Vehicle) -> SafeString:
    """Its first photo, which leads to its page as the words beside it do, or the room for one."""
    for photo in vehicle.first_photos:
        return format_html(
            '<a class="shot" href="{}" tabindex="-1" aria-hidden="true"><img src="{}" width="{}" '
            'height="{}" alt="{}" loading="lazy"></a>',
            vehicle.get_absolute_url(),
            photo.thumbnail_address,
            photo.width,
            photo.height,
            photo,
        )
    return SafeString('<span class="shot"></span>')


class FormerTable(tables.Table):
    caption = "Vehicles that have left the stock"
    identity = tables.TemplateColumn(
        template_name="stock/_identity_cell.html",
        verbose_name="Vehicle",
        order_by=("reporting_mark", "number_key", "pk"),
    )
    retired_as = tables.TemplateColumn(
        template_name="stock/_retired_cell.html",
        verbose_name="How",
        order_by=("retired_as", "-retired_on", "pk"),
    )
    kind = tables.Column(order_by=("kind", "pk"))
    retired_on = tables.TemplateColumn(
        '<span class="nowrap">{{ value|date:"j M Y" }}</span>',
        verbose_name="When",
        order_by=("retired_on", "pk"),
    )
    price = tables.TemplateColumn(
        template_name="stock/_fetched_cell.html", verbose_name="Price", orderable=False
    )
    paid = tables.TemplateColumn(
        template_name="stock/_paid_cell.html", verbose_name="Had cost", orderable=False
    )
    retired_note = tables.Column(verbose_name="To whom, or what became of it", orderable=False)

    class Meta:
        model = Vehicle
        fields = ()
        sequence = (
            "identity",
            "retired_as",
            "kind",
            "retired_on",
            "price",
            "paid",
            "retired_note",
        )
        empty_text = "Nothing has left the stock."


def _where_it_is_changed(record: Instrument, table: tables.Table) -> str | None:
    """Nowhere for a visitor, who reads the list and no more."""
    may_write = table.request.user.may_write
    return reverse("stock:instrument", args=[record.pk]) if may_write else None


class InstrumentTable(tables.Table):
    caption = "Instruments"
    name = tables.Column(linkify=_where_it_is_changed)
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
