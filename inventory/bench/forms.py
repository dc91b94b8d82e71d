"""Forms of the bench: begin, finish, and what the next vehicle starts from."""

from django import forms

from inventory.stock.forms import in_plain_words, split_standard, standard_choices
from inventory.stock.models import Inspection, Vehicle
from standards.judging import STRICTNESS, Service


class BeginForm(forms.Form):
    reason = forms.ChoiceField(choices=Inspection.Reason.choices)
    uses_gauge = forms.BooleanField(required=False)


class RemarksForm(forms.Form):
    """What a person has to say at the end of an inspection."""

    statement = forms.CharField(
        label="Remarks",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What the next person should know.",
    )


class FinishForm(RemarksForm):
    """The outcome that a person states."""

    field_order = ("service", "statement")

    service = forms.ChoiceField(
        label="Outcome",
        choices=[(each.value, each.value) for each in STRICTNESS],
        widget=forms.RadioSelect,
    )

    def __init__(self, *args, proposed: Service, **kwargs):
        super().__init__(*args, initial={"service": proposed.value}, **kwargs)


def defaults_from(last: Vehicle | None) -> dict[str, object]:
    """What the next vehicle most likely shares with the one logged before it."""
    if last is None:
        return {"standard": "nmra/HO", "axles": 4, "category": Vehicle.Category.FREIGHT}
    wheelset = next(iter(last.fitted_wheelsets), None)
    coupler = last.couplers.first()
    return {
        "standard": f"{last.family}/{last.scale}",
        "category": last.category,
        "axles": last.axles,
        "has_buffers": last.has_buffers,
        "maker": last.maker,
        "currency": last.currency,
        "storage_box": last.storage_box,
        "profile_code": wheelset.profile_code if wheelset else None,
        "wheel_material": wheelset.material if wheelset else "",
        "coupler": coupler.kind if coupler else "knuckle",
    }


class VisitorForm(forms.ModelForm):
    """The least that has to be known of a visitor's vehicle to check it."""

    standard = forms.ChoiceField(label="Scale and standards")
    visitor = forms.CharField(
        label="Owner", max_length=60, help_text="Whose it is; the slip says it."
    )

    class Meta:
        model = Vehicle
        fields = ["reporting_mark", "number", "kind", "category", "axles"]
        help_texts = dict.fromkeys(fields, "")

    def __init__(self, *args, used: list[tuple[str, str]], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["standard"].choices = standard_choices(used)
        self.order_fields(["visitor", *self._meta.fields[:-1], "standard", "axles"])
        self.fields["kind"].widget.attrs["list"] = "kinds-known"
        in_plain_words(self)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if data.get("standard"):
            self.instance.family, self.instance.scale = split_standard(data["standard"])
        self.instance.visitor = data.get("visitor", "")
        return data
