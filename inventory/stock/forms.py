"""Forms of vehicles, instruments and house limits."""

from __future__ import annotations

from collections.abc import Iterable

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.stock.models import Coupler, HouseLimit, Instrument, Vehicle, Wheelset
from inventory.stock.recording import Running
from standards import sheets
from standards.quantities import QUANTITIES
from standards.sheets import UnknownStandard
from standards.units import Unreadable, read

#: Offered while typing a kind; any other word is as good. Trade words, common practice.
KINDS = [
    "boxcar",
    "covered hopper",
    "flat car",
    "gondola",
    "hopper",
    "reefer",
    "stock car",
    "tank car",
    "caboose",
    "covered wagon",
    "open wagon",
    "flat wagon",
    "mineral wagon",
    "tank wagon",
    "brake van",
    "coach",
    "baggage car",
    "combine",
    "railcar",
    "steam locomotive",
    "diesel locomotive",
    "electric locomotive",
    "crane",
    "snow plough",
    "track cleaning car",
]


def standard_choices(used: Iterable[tuple[str, str]] = ()) -> list[tuple[str, object]]:
    """Every scale of every family, those already used first."""
    groups: list[tuple[str, object]] = []
    lately = [
        (
            f"{family}/{scale}",
            f"{sheets.scale(family, scale).label} · {sheets.family(family).name}",
        )
        for family, scale in used
    ]
    if lately:
        groups.append(("In use here", lately))
    for family in sheets.families().values():
        options = [(f"{family.code}/{scale.code}", scale.label) for scale in family.scales]
        groups.append((family.name, options))
    return groups


def split_standard(text: str) -> tuple[str, str]:
    """ "nmra/HO" as a family and a scale. Raises ValidationError for one that is not held."""
    family, _, scale = text.partition("/")
    try:
        sheets.scale(family, scale)
    except UnknownStandard as error:
        raise ValidationError(
            f"“{text}” is not a scale of a family held here; pick one from the list."
        ) from error
    return family, scale


class VehicleForm(forms.ModelForm):
    """A vehicle, with its scale and standards as one choice."""

    standard = forms.ChoiceField(
        label="Scale and standards", help_text="What its readings are judged by."
    )

    class Meta:
        model = Vehicle
        fields = [
            "reporting_mark",
            "number",
            "name",
            "category",
            "kind",
            "axles",
            "has_buffers",
            "maker",
            "catalogue_number",
            "aar_designation",
            "uic_letter",
            "era",
            "acquired_on",
            "price",
            "value",
            "currency",
            "storage_box",
            "notes",
        ]
        widgets = {
            "reporting_mark": forms.TextInput(
                attrs={
                    "list": "marks-known",
                    "autocomplete": "off",
                    "autocapitalize": "characters",
                }
            ),
            "kind": forms.TextInput(attrs={"list": "kinds-known", "autocomplete": "off"}),
            "maker": forms.TextInput(attrs={"list": "makers-known", "autocomplete": "off"}),
            "storage_box": forms.TextInput(attrs={"list": "boxes-known", "autocomplete": "off"}),
            "number": forms.TextInput(attrs={"autocomplete": "off"}),
            "acquired_on": forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
            "notes": forms.Textarea(attrs={"rows": 3}),
            "price": forms.TextInput(attrs={"inputmode": "decimal"}),
            "value": forms.TextInput(attrs={"inputmode": "decimal"}),
            "axles": forms.NumberInput(attrs={"min": 1, "max": 16, "inputmode": "numeric"}),
        }

    def __init__(self, *args, used: Iterable[tuple[str, str]] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["standard"].choices = standard_choices(used)
        if self.instance.pk:
            self.initial["standard"] = f"{self.instance.family}/{self.instance.scale}"

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]

    def clean_acquired_on(self):
        day = self.cleaned_data["acquired_on"]
        if day and day > timezone.localdate():
            raise ValidationError(
                f"{day:%Y-%m-%d} is still to come; type the day on which you got it."
            )
        return day

    def clean_currency(self) -> str:
        return self.cleaned_data["currency"].upper()

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if (data.get("price") is not None or data.get("value") is not None) and not data.get(
            "currency"
        ):
            self.add_error("currency", "Name the currency of the price, such as EUR, GBP or USD.")
        return data

    def clean_aar_designation(self) -> str:
        return self.cleaned_data["aar_designation"].upper()

    def clean_uic_letter(self) -> str:
        return self.cleaned_data["uic_letter"].upper()


class NewVehicleForm(VehicleForm):
    """A vehicle to be logged, with what is declared of its wheels and couplers."""

    profile_code = forms.IntegerField(
        label="RP-25 code of its wheels",
        required=False,
        min_value=40,
        max_value=999,
        help_text="As the maker states it: 110, 88... Leave it empty if you do not know.",
        widget=forms.NumberInput(attrs={"inputmode": "numeric"}),
    )
    wheel_material = forms.CharField(label="Wheel material", required=False, max_length=40)
    coupler = forms.ChoiceField(label="Couplers", choices=Coupler.Kind.choices)
    is_another = forms.BooleanField(label="It is another one: log it too.", required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.twins: list[Vehicle] = []

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if data.get("reporting_mark") and self.instance.family and not data.get("is_another"):
            self.twins = list(
                Vehicle.objects.twins_of(
                    reporting_mark=data["reporting_mark"],
                    number=data.get("number", ""),
                    family=self.instance.family,
                    scale=self.instance.scale,
                )[:3]
            )
            if self.twins:
                self.add_error(
                    "number",
                    f"{self.twins[0].identity} is logged already. If you own two that are "
                    "lettered alike, say so below.",
                )
        return data

    @property
    def running(self) -> Running:
        return Running(
            profile_code=self.cleaned_data["profile_code"],
            wheel_material=self.cleaned_data["wheel_material"],
            coupler=self.cleaned_data["coupler"],
        )


class WheelsetForm(forms.ModelForm):
    class Meta:
        model = Wheelset
        fields = ["profile_code", "material", "tread_diameter"]


WheelsetFormSet = forms.modelformset_factory(Wheelset, form=WheelsetForm, extra=0)


class CouplerForm(forms.ModelForm):
    class Meta:
        model = Coupler
        fields = ["kind", "mounting"]


CouplerFormSet = forms.modelformset_factory(Coupler, form=CouplerForm, extra=0)


def _bench_decimal(form: forms.BaseForm, name: str, dimension: str, *, required: bool):
    """A field of bench text as an exact decimal, with the bench's own words for what is wrong."""
    typed = (form.data.get(form.add_prefix(name)) or "").strip()
    if not typed:
        if required:
            form.add_error(name, "Type a number, such as 0.03.")
        return None
    try:
        text = read(typed, dimension, may_be_zero=True)
    except Unreadable as error:
        form.add_error(name, str(error))
        return None
    if len(text.values) > 1:
        form.add_error(name, "Type one number.")
        return None
    return text.values[0]


class InstrumentForm(forms.ModelForm):
    max_error = forms.CharField(
        label="Greatest error",
        required=False,
        max_length=40,
        help_text="What its maker or a standard allows, such as 0.03 mm.",
    )
    resolution = forms.CharField(
        required=False, max_length=40, help_text="The smallest step that it shows: 0.01 mm."
    )
    inside_extra = forms.CharField(
        label="Extra error of inside jaws and depth rod",
        required=False,
        max_length=40,
        help_text="DIN 862 adds 0.02 mm for a caliper.",
    )

    class Meta:
        model = Instrument
        fields = [
            "name",
            "kind",
            "max_error",
            "resolution",
            "inside_extra",
            "note",
            "is_retired",
        ]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        kind = data.get("kind")
        dimension = {"scale": "mass", "incline": "grade"}.get(kind or "", "length")
        is_gauge = kind == Instrument.Kind.GAUGE
        for name in ("max_error", "resolution", "inside_extra"):
            required = not is_gauge and name != "inside_extra"
            data[name] = _bench_decimal(self, name, dimension, required=required)
        data["inside_extra"] = data["inside_extra"] or 0
        return data


class HouseLimitForm(forms.ModelForm):
    standard = forms.ChoiceField(label="Scale and standards")
    low = forms.CharField(label="Lower", required=False, max_length=40)
    high = forms.CharField(label="Upper", required=False, max_length=40)

    class Meta:
        model = HouseLimit
        fields = ["quantity", "is_about_sheet", "low", "high", "reason"]

    def __init__(self, *args, used: Iterable[tuple[str, str]] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["standard"].choices = standard_choices(used)
        self.order_fields(["standard"])

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        quantity = QUANTITIES.get(data.get("quantity") or "")
        if quantity is None:
            return data
        for name in ("low", "high"):
            data[name] = _bench_decimal(self, name, quantity.dimension.value, required=False)
        low, high = data["low"], data["high"]
        if low is None and high is None and not self.errors:
            self.add_error("low", "Give at least one of the two limits.")
        if not data.get("is_about_sheet") and None not in (low, high) and low > high:
            self.add_error(
                "high", f"The upper limit, {high}, is below the lower one, {low}; exchange them."
            )
        standing = HouseLimit.objects.filter(
            quantity=quantity.code,
            family=self.instance.family,
            scale=self.instance.scale,
            withdrawn_at__isnull=True,
        )
        if standing.exists():
            self.add_error(
                "quantity",
                "A house limit is in force for it at this scale; withdraw that one first.",
            )
        return data
