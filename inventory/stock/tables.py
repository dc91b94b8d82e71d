"""The lists of the stock pages."""

import django_tables2 as tables
from django.utils.html import format_html
from django.utils.safestring import SafeString

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
    last_inspected_at = tables.DateColumn(
        format="j M Y",
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

    # Written here and not in templates of their own, which would be looked up for every row.
    def render_identity(self, record: Vehicle) -> SafeString:
        name = format_html(' <span class="soft">{}</span>', record.name) if record.name else ""
        return format_html(
            '<a href="{}">{}</a>{}', record.get_absolute_url(), record.identity, name
        )

    def render_service(self, value: str) -> SafeString:
        return word(value)


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
