"""What is typed on the converter and on the page that compares a wheelset."""

from __future__ import annotations

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from inventory.sheets import comparing
from inventory.sheets.comparing import Gauge
from standards.quantities import QUANTITIES
from standards.units import Typed, Unreadable, plain, read, spell


class BenchLength(forms.CharField):
    """A length in bench text: cleaned to what was understood, None if left empty."""

    def __init__(self, *, may_repeat: bool = False, **kwargs):
        kwargs.setdefault("widget", forms.TextInput(attrs={"autocomplete": "off"}))
        super().__init__(**kwargs)
        self.may_repeat = may_repeat

    def clean(self, value: str) -> Typed | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            typed = read(text, "length")
        except Unreadable as unreadable:
            raise ValidationError(str(unreadable)) from unreadable
        if len(typed.values) > 1 and not self.may_repeat:
            raise ValidationError(
                f"Those are {len(typed.values)} lengths: {typed.as_understood}. Type one."
            )
        return typed


class ConvertForm(forms.Form):
    """A length, and which way it is to go."""

    TO_MODEL, TO_FULL_SIZE = "to-model", "to-full-size"

    length = BenchLength(
        label="Length",
        help_text="As you say it: 40 ft 6 in, 12.2 m, 14.38 mm, 9/16 in. "
        "A number alone is in millimetres.",
        error_messages={"required": "Type a length, such as 40 ft 6 in."},
    )
    way = forms.ChoiceField(
        label="It is",
        choices=[
            (TO_MODEL, "a full-size length: show it on models"),
            (TO_FULL_SIZE, "a length on a model: show it full size"),
        ],
        widget=forms.RadioSelect,
        error_messages={
            "invalid_choice": "Choose one of the two ways.",
            "required": "Choose one of the two ways.",
        },
    )


_LABELS = {
    "back_to_back": ("Back-to-back", "Between the backs of the two wheels."),
    "flange_thickness": ("Flange thickness", "Across the flange, low down beside the tread."),
    "flange_depth": ("Flange depth", "From the tread to the tip of the flange."),
    "tyre_width": ("Tyre width", "The whole width of one wheel."),
}


def gauge_label(gauge: Gauge) -> str:
    """A gauge with the scales that run on it: "16.5 mm: HO, H0, 00"."""
    shown = ", ".join(gauge.names[:6])
    return f"{plain(gauge.mm)} mm: {shown}{' and more' if len(gauge.names) > 6 else ''}"


class MeetsForm(forms.Form):
    """A wheelset, the gauge that it stands on and what it was measured with."""

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        gauges = [(plain(gauge.mm), gauge_label(gauge)) for gauge in comparing.gauges()]
        self.fields["gauge"] = forms.TypedChoiceField(
            label="Track gauge",
            choices=[("", "Choose the gauge or a scale that runs on it"), *gauges],
            coerce=lambda text: comparing.gauge_near(Decimal(text)),
            empty_value=None,
            error_messages={
                "required": "Choose the gauge that the wheelset is made for.",
                "invalid_choice": "No standard held here has that gauge; choose one of these.",
            },
        )
        for code in comparing.READ:
            name, help_text = _LABELS[code]
            self.fields[code] = BenchLength(
                label=f"{name}, {QUANTITIES[code].letter}",
                required=False,
                may_repeat=True,
                help_text=help_text,
            )
        codes = [(str(row.code), f"code {row.code}") for row in comparing.profiles()]
        self.fields["code"] = forms.TypedChoiceField(
            label="RP-25 code",
            required=False,
            choices=[("", "Not known"), *codes],
            coerce=int,
            empty_value=None,
            help_text="If the maker states one. It is no substitute for a measured flange.",
            error_messages={"invalid_choice": "RP-25 lists no such code; choose one of these."},
        )
        self.fields["with"] = forms.ChoiceField(
            label="Measured with",
            choices=[(key, label) for key, (label, _, _) in comparing.INSTRUMENTS.items()],
            error_messages={"invalid_choice": "Choose one of these instruments."},
        )


def with_known_gauge(text: str) -> str:
    """A gauge in mm as the form lists it: 16.4846 and 16.50 are both 16.5; else as it was."""
    try:
        number = Decimal(text.strip())
        near = comparing.gauge_near(number) if number.is_finite() and number > 0 else None
    except ArithmeticError:  # no number, or one beyond all reckoning
        return text
    return plain(near.mm) if near else text


def doubt(code: str, typed: Typed, gauge: Gauge) -> str | None:
    """Why a reading cannot be what was meant, in words; None for a plausible one."""
    low, high = comparing.plausible(code, gauge)
    if all(low <= value <= high for value in typed.values):
        return None
    return (
        f"{QUANTITIES[code].name} {typed.as_understood} cannot be right on "
        f"{plain(gauge.mm)} mm, where it lies between {spell(low, 'mm', 1)} and "
        f"{spell(high, 'mm', 1)}."
    )
