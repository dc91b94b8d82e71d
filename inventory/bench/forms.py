from django import forms

from inventory.stock.models import Inspection, Vehicle
from standards.judging import Service

#: From the most to the least willing to let a vehicle run.
STRICTNESS = (Service.FIT, Service.ADVICE, Service.AWAITING, Service.BAD_ORDER)


class BeginForm(forms.Form):
    reason = forms.ChoiceField(choices=Inspection.Reason.choices)
    uses_gauge = forms.BooleanField(required=False)


class FinishForm(forms.Form):
    """The outcome that a person states. A milder one than the findings propose needs a reason."""

    service = forms.ChoiceField(
        label="Outcome",
        choices=[(each.value, each.value) for each in STRICTNESS],
        widget=forms.RadioSelect,
    )
    statement = forms.CharField(
        label="Remarks",
        required=False,
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 2}),
        help_text="What the next person should know.",
    )

    def __init__(self, *args, proposed: Service, **kwargs):
        super().__init__(*args, initial={"service": proposed.value}, **kwargs)
        self.proposed = proposed

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if not data.get("service"):
            return data
        stated = Service(data["service"])
        is_milder = STRICTNESS.index(stated) < STRICTNESS.index(self.proposed)
        if is_milder and not data.get("statement", "").strip():
            self.add_error(
                "statement",
                f"The readings say {self.proposed.value}. To state {stated.value} instead, "
                "write down why.",
            )
        return data


def defaults_from(last: Vehicle | None) -> dict[str, object]:
    """What the next vehicle most likely shares with the one logged before it."""
    if last is None:
        return {"standard": "nmra/HO", "axles": 4, "category": Vehicle.Category.FREIGHT}
    wheelset = last.wheelsets.first()
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
