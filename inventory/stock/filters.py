"""What the stock list can be narrowed by."""

import django_filters
from django import forms
from django.db.models import Q

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
        choices=lambda: [
            (scale, scale)
            for scale in Vehicle.objects.order_by("scale")
            .values_list("scale", flat=True)
            .distinct()
        ],
        empty_label="any",
    )

    class Meta:
        model = Vehicle
        fields = []

    def search(self, queryset, name, value):
        """Every word has to stand somewhere: marks and number are found typed together."""
        for word in value.split()[:8]:
            queryset = queryset.filter(
                Q(reporting_mark__icontains=word)
                | Q(number__icontains=word)
                | Q(name__icontains=word)
                | Q(kind__icontains=word)
                | Q(maker__icontains=word)
                | Q(catalogue_number__icontains=word)
                | Q(storage_box__icontains=word)
                | Q(aar_designation__iexact=word)
            )
        return queryset


class FormerFilter(VehicleFilter):
    """What has left the stock: the same search, by how it left."""

    service, category, scale = None, None, None
    retired_as = django_filters.ChoiceFilter(
        label="How", choices=Vehicle.Retired.choices, empty_label="any"
    )
