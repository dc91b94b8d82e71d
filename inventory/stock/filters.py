"""What the stock list can be narrowed by."""

import django_filters
from django import forms

from inventory.stock import history
from inventory.stock.models import Vehicle
from standards.judging import Service


def _search_box() -> django_filters.CharFilter:
    return django_filters.CharFilter(
        method="search",
        label="Search",
        widget=forms.TextInput(
            attrs={"type": "search", "placeholder": "Marks, number, kind, maker, box"}
        ),
    )


class VehicleFilter(django_filters.FilterSet):
    q = _search_box()
    service = django_filters.ChoiceFilter(
        choices=[(each.value, each.value) for each in Service], empty_label="any"
    )
    category = django_filters.ChoiceFilter(choices=Vehicle.Category.choices, empty_label="any")
    scale = django_filters.ChoiceFilter(
        choices=lambda: [(scale, scale) for scale in history.each_of("scale")],
        empty_label="any",
    )

    class Meta:
        model = Vehicle
        fields = []

    def search(self, queryset, name, value):
        """Every word has to stand somewhere: marks and number are found typed together."""
        return queryset.searched(value)


class FormerFilter(VehicleFilter):
    """What has left the stock: the same search, by how it left."""

    service, category, scale = None, None, None
    retired_as = django_filters.ChoiceFilter(
        label="How", choices=Vehicle.Retired.choices, empty_label="any"
    )
