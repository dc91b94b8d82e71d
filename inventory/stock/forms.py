"""Forms of vehicles, instruments and house limits."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import date, timedelta
from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from inventory.stock import rules
from inventory.stock.models import Coupler, HouseLimit, Instrument, Vehicle, Wheelset
from inventory.stock.recording import Departure, Running, TwinExists
from standards import sheets
from standards.quantities import QUANTITIES, Quantity
from standards.sheets import UnknownStandard
from standards.units import plain, spell

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
        options = [
            (f"{family.code}/{scale.code}", f"{scale.label} · {family.name}")
            for scale in family.scales
        ]
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


class MoneyField(forms.DecimalField):
    """An amount of money, with a decimal point or comma."""

    def to_python(self, value):
        if isinstance(value, str) and value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        return super().to_python(value)


def in_plain_words(form: forms.BaseForm) -> None:
    """Give every field messages that name it, the value and the remedy."""
    examples = {
        forms.DecimalField: "an amount, such as 24.50",
        forms.IntegerField: "a whole number, such as 4",
        forms.DateField: "a day, such as 2026-11-25",
    }
    for name, field in form.fields.items():
        named = field.label or name.replace("_", " ")
        example = next((words for kind, words in examples.items() if isinstance(field, kind)), "")
        field.error_messages |= {
            "required": f"{named[0].upper()}{named[1:]} is needed: type it.",
            "invalid_choice": "“%(value)s” is not on the list; pick one that is.",
            "max_value": "That is more than the most allowed here, %(limit_value)s.",
            "min_value": "That is less than the least allowed here, %(limit_value)s.",
            "max_length": "That is %(show_value)s characters long; "
            "at most %(limit_value)s are kept.",
            "max_decimal_places": "An amount has %(max)s decimal places at most.",
        }
        if example:
            field.error_messages["invalid"] = f"That cannot be read; type {example}."


class VehicleForm(forms.ModelForm):
    """A vehicle, with its scale and standards as one choice."""

    standard = forms.ChoiceField(
        label="Scale and standards", help_text="What its readings are judged by."
    )
    minimum_radius = forms.CharField(
        label="Smallest radius",
        required=False,
        max_length=60,
        help_text="The sharpest curve that it goes round, as its maker states it or as you found.",
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
            "minimum_radius",
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
        field_classes = {"price": MoneyField, "value": MoneyField}

    def __init__(self, *args, unit: str, used: Iterable[tuple[str, str]] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        self.fields["standard"].choices = standard_choices(used)
        in_plain_words(self)
        if self.instance.pk:
            self.initial["standard"] = f"{self.instance.family}/{self.instance.scale}"
        if self.instance.minimum_radius is not None:
            self.initial["minimum_radius"] = f"{plain(self.instance.minimum_radius)} mm"

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]

    def clean_acquired_on(self):
        return rules.day_acquired(self.cleaned_data["acquired_on"])

    def clean_reporting_mark(self) -> str:
        return rules.marks(self.cleaned_data["reporting_mark"])

    def clean_currency(self) -> str:
        return rules.capitals(self.cleaned_data["currency"])

    def clean(self) -> dict[str, object]:
        data = super().clean()
        data["minimum_radius"] = bench_decimal(self, "minimum_radius", "length", unit=self.unit)
        if "minimum_radius" not in self.errors:
            try:
                rules.radius(data["minimum_radius"])
            except ValidationError as error:
                self.add_error("minimum_radius", error)
        for name, words in rules.missing_beside(data).items():
            self.add_error(name, words)
        return data

    def clean_aar_designation(self) -> str:
        return rules.capitals(self.cleaned_data["aar_designation"])

    def clean_uic_letter(self) -> str:
        return rules.capitals(self.cleaned_data["uic_letter"])


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
        in_plain_words(self)

    def add_twins(self, twin: TwinExists) -> None:
        """Tell of vehicles that are lettered alike."""
        self.twins = twin.twins
        self.add_error("number", str(twin))

    @property
    def running(self) -> Running:
        return Running(
            profile_code=self.cleaned_data["profile_code"],
            wheel_material=self.cleaned_data["wheel_material"],
            coupler=self.cleaned_data["coupler"],
        )


class RetireForm(forms.Form):
    """How a vehicle leaves the stock, when, and for what."""

    how = forms.ChoiceField(
        label="How does it leave?",
        choices=[
            (Vehicle.Retired.SOLD.value, "sold"),
            (Vehicle.Retired.GIVEN.value, "given away"),
            (Vehicle.Retired.SCRAPPED.value, "scrapped, lost or broken up"),
            (Vehicle.Retired.MISTAKEN.value, "it was entered by mistake and never was ours"),
        ],
        widget=forms.RadioSelect,
    )
    on = forms.DateField(
        label="Day", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )
    price = MoneyField(
        label="Price",
        required=False,
        max_digits=10,
        decimal_places=2,
        min_value=Decimal(0),
        widget=forms.TextInput(attrs={"inputmode": "decimal"}),
    )
    currency = forms.CharField(
        label="Currency", required=False, max_length=3, help_text="ISO 4217, such as EUR."
    )
    note = forms.CharField(label="To whom, or what became of it", required=False, max_length=200)

    def __init__(self, *args, vehicle: Vehicle, **kwargs):
        super().__init__(*args, **kwargs)
        self.vehicle = vehicle
        self.initial.setdefault("on", timezone.localdate())
        self.fields["price"].help_text = "What it fetched, where it was sold."
        if vehicle.currency:
            del self.fields["currency"]
            self.fields["price"].label = f"Price in {vehicle.currency}"
        in_plain_words(self)
        self.fields["how"].error_messages["required"] = "Pick how it leaves the stock."

    def clean_on(self) -> date:
        day = self.cleaned_data["on"]
        if day > timezone.localdate() + timedelta(days=1):
            raise ValidationError(f"{day:%Y-%m-%d} is still to come; type the day when it left.")
        got = self.vehicle.acquired_on
        if got is not None and day < got:
            raise ValidationError(
                f"{day:%Y-%m-%d} is before it was acquired, {got:%Y-%m-%d}; type the day when it "
                "left, or edit the other one first."
            )
        return day

    def clean_currency(self) -> str:
        currency = self.cleaned_data["currency"].strip().upper()
        if currency and not re.fullmatch("[A-Z]{3}", currency):
            raise ValidationError("Three capitals as in ISO 4217, such as EUR.")
        return currency

    def clean(self) -> dict[str, object]:
        told = super().clean()
        price = told.get("price")
        if price is not None and told.get("how") not in (None, Vehicle.Retired.SOLD):
            self.add_error("price", "Only what is sold has a price: empty it, or choose sold.")
        is_named = self.vehicle.currency or told.get("currency") or "currency" in self.errors
        if price is not None and not is_named:
            self.add_error("currency", "Name the currency of the price, such as EUR or USD.")
        return told

    @property
    def departure(self) -> Departure:
        told = self.cleaned_data
        return Departure(
            how=told["how"],
            on=told["on"],
            price=told["price"],
            note=told["note"].strip(),
            currency=told.get("currency", ""),
        )


class BringBackForm(forms.Form):
    """Why a retired vehicle comes back."""

    because = forms.CharField(
        label="Why does it come back?",
        max_length=200,
        help_text="Such as: bought back, the buyer returned it, retired by mistake.",
        error_messages={"required": "Write why it comes back; its history says it."},
    )


class WheelsetForm(forms.ModelForm):
    is_exchanged = forms.BooleanField(
        label="Another wheelset was fitted; its old readings no longer count",
        required=False,
    )

    class Meta:
        model = Wheelset
        fields = ["profile_code", "material", "tread_diameter"]
        help_texts = dict.fromkeys(fields, "")


WheelsetFormSet = forms.modelformset_factory(
    Wheelset, form=WheelsetForm, extra=0, edit_only=True, max_num=16, absolute_max=32
)


def exchanged_axles(wheelsets: forms.BaseModelFormSet) -> set[int]:
    """The axles of a valid formset that got another wheelset."""
    return {
        form.instance.axle
        for form in wheelsets.initial_forms
        if form.cleaned_data.get("is_exchanged")
    }


def changed_of(formset: forms.BaseModelFormSet, vehicle: Vehicle) -> list:
    """What was changed of this vehicle's own; a tampered form names nothing else."""
    return [
        form.instance
        for form in formset.initial_forms
        if form.has_changed() and form.instance.vehicle_id == vehicle.pk
    ]


class CouplerForm(forms.ModelForm):
    class Meta:
        model = Coupler
        fields = ["kind", "mounting"]


CouplerFormSet = forms.modelformset_factory(
    Coupler, form=CouplerForm, extra=0, edit_only=True, max_num=2, absolute_max=4
)


def bench_decimal(
    form: forms.BaseForm, name: str, dimension: str, *, unit: str, may_be_negative: bool = False
):
    """A field of bench text as an exact decimal, with the bench's own words for what is wrong."""
    typed = (form.data.get(form.add_prefix(name)) or "").strip()
    try:
        return rules.one_number(typed, dimension, unit, may_be_negative=may_be_negative)
    except ValidationError as error:
        form.add_error(name, error)
        return None


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

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        in_plain_words(self)
        for name in ("max_error", "resolution", "inside_extra"):
            held = getattr(self.instance, name)
            if self.instance.pk and held is not None:
                self.initial[name] = f"{plain(held)} {self._held_in(self.instance.kind)}"
        for name in ("max_error", "resolution"):
            self.fields[name].is_asked = True  # of everything but a gauge

    @staticmethod
    def _held_in(kind: str) -> str:
        return {"scale": "g", "incline": "%"}.get(kind, "mm")

    def clean(self) -> dict[str, object]:
        data = super().clean()
        kind = data.get("kind") or ""
        dimension = {"scale": "mass", "incline": "grade"}.get(kind, "length")
        for name in ("max_error", "resolution", "inside_extra"):
            data[name] = bench_decimal(self, name, dimension, unit=self.unit)
            is_asked = kind != Instrument.Kind.GAUGE and name != "inside_extra"
            if is_asked and data[name] is None and name not in self.errors:
                self.add_error(name, "Type a number, such as 0.03.")
        if data["inside_extra"] is None:
            # DIN 862 for a caliper; nothing else has jaws.
            data["inside_extra"] = Decimal("0.02") if kind == Instrument.Kind.CALIPER else 0
        return data


class HouseLimitForm(forms.ModelForm):
    standard = forms.ChoiceField(label="Scale and standards")
    low = forms.CharField(label="Lower", required=False, max_length=40)
    high = forms.CharField(label="Upper", required=False, max_length=40)

    class Meta:
        model = HouseLimit
        fields = ["quantity", "is_about_sheet", "low", "high", "reason"]

    def __init__(self, *args, unit: str, used: Iterable[tuple[str, str]] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        self.fields["standard"].choices = standard_choices(used)
        self.order_fields(["standard"])
        in_plain_words(self)

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        quantity = QUANTITIES.get(data.get("quantity") or "")
        if quantity is None:
            return data
        is_about = bool(data.get("is_about_sheet"))
        for name in ("low", "high"):
            data[name] = bench_decimal(
                self,
                name,
                quantity.dimension.value,
                unit=self.unit,
                may_be_negative=quantity.may_be_negative and not is_about,
            )
        low, high = data["low"], data["high"]
        if low is None and high is None and not self.errors:
            self.add_error("low", "Give at least one of the two limits.")
        if not is_about:
            self._check_limits(quantity, low, high)
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

    def _check_limits(self, quantity: Quantity, low: Decimal | None, high: Decimal | None) -> None:
        """Both plausible at the scale, and in their order."""
        if not self.instance.scale:
            return
        least, most = quantity.plausible(sheets.scale(self.instance.family, self.instance.scale))
        for name, limit in (("low", low), ("high", high)):
            if limit is not None and not least <= limit <= most:
                self.add_error(
                    name,
                    f"{spell(limit, quantity.unit)} is far from plausible here, "
                    f"{spell(least, quantity.unit, 2)} to {spell(most, quantity.unit, 2)}. "
                    "Was another unit meant?",
                )
        if None not in (low, high) and low > high:
            self.add_error(
                "high",
                f"The upper limit, {spell(high, quantity.unit)}, is below the lower one, "
                f"{spell(low, quantity.unit)}; exchange them.",
            )


class PhotoForm(forms.Form):
    """What is said of a photo."""

    caption = forms.CharField(
        required=False, max_length=200, help_text="Such as: B end, before the new couplers."
    )
    taken_on = forms.DateField(
        label="Taken", widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        in_plain_words(self)

    def clean_caption(self) -> str:
        return "".join(ch for ch in self.cleaned_data["caption"] if ch.isprintable()).strip()

    def clean_taken_on(self):
        day = self.cleaned_data["taken_on"]
        # A day's grace, since the server's day is not everybody's.
        if day and day > timezone.localdate() + timedelta(days=1):
            raise ValidationError(f"{day} is still to come; type the day when it was taken.")
        return day


class NewPhotosForm(PhotoForm):
    """What is said of photos that are added together."""

    caption = forms.CharField(
        required=False,
        max_length=200,
        help_text="For all of them; each can be changed afterwards.",
    )
    taken_on = forms.DateField(
        label="Taken",
        required=False,
        widget=forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"}),
        help_text="Empty: as the camera says, else today.",
    )
