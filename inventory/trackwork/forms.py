"""Forms of trackwork, and of the questions that its pages answer."""

from __future__ import annotations

from decimal import Decimal

from django import forms

from inventory.stock.models import Vehicle
from inventory.track.forms import BenchFields, refuse_twin
from inventory.track.models import Track
from inventory.trackwork.models import Trackwork
from inventory.trackwork.rounding import Asked
from standards.sheets import Scale
from standards.turnouts import read_frog
from standards.units import Unreadable, read


class TrackworkForm(BenchFields):
    """A piece of trackwork as declared; a turnout is declared with the tracks."""

    texts = ("frog_number",)

    class Meta:
        model = Trackwork
        fields = ["name", "kind", "track", "frog_number", "rail_code"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        place = self.instance.place
        self.fields["track"].queryset = Track.objects.filter(place=place).select_related("place")
        self.fields["track"].empty_label = "none"
        self.fields["name"].required = True
        self.fields["kind"].choices = [
            choice for choice in Trackwork.Kind.choices if choice[0] != Trackwork.Kind.TURNOUT
        ]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "Trackwork")
        typed = (self.data.get(self.add_prefix("frog_number")) or "").strip()
        data["frog_number"] = self._frog(typed) if typed else None
        if typed and data.get("kind") != Trackwork.Kind.CROSSING:
            self.add_error("frog_number", "Only a crossing has frogs; leave the number empty.")
        return data

    def _frog(self, typed: str) -> Decimal | None:
        try:
            return read_frog(typed).number
        except Unreadable as unreadable:
            self.add_error("frog_number", str(unreadable))
            return None

    def of_scale(self) -> Scale:
        return self.instance.standard


class TurnoutPieceForm(forms.ModelForm):
    """What of a turnout is not declared with the tracks."""

    class Meta:
        model = Trackwork
        fields = ["track", "rail_code"]

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        tracks = Track.objects.filter(place=self.instance.place)
        self.fields["track"].queryset = tracks.select_related("place")
        self.fields["track"].empty_label = "none"


class _Lengths(forms.Form):
    """Lengths typed as bench text, in the person's units; they come out as mm."""

    lengths: tuple[str, ...] = ()

    def __init__(self, *args, unit: str, scale: Scale, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit, self.scale = unit, scale

    def clean(self) -> dict[str, object]:
        data = super().clean()
        for name in self.lengths:
            typed = (data.get(name) or "").strip()
            data[name] = None
            if not typed:
                continue
            try:
                text = read(
                    typed,
                    "length",
                    default_unit=self.unit,
                    may_be_zero=name == "straight",
                    to_scale=self.scale.from_full_size,
                )
            except Unreadable as unreadable:
                self.add_error(name, str(unreadable))
            else:
                if len(text.values) > 1:
                    self.add_error(name, "Type one length here, not several.")
                else:
                    data[name] = float(text.values[0])
        return data


def _length(label: str, help_text: str) -> forms.CharField:
    return forms.CharField(label=label, required=False, max_length=60, help_text=help_text)


_COUPLER = "From where it swings to its face, such as 9 mm. Both are taken alike."


class CurveForm(_Lengths):
    """A vehicle asked onto a curve, alone or with a neighbour."""

    lengths = ("radius", "straight", "coupler", "centres", "head_width", "head_radius")

    radius = _length("Radius of the curve", "To the middle of the track, such as 600 mm or 24 in.")
    neighbour = forms.ModelChoiceField(
        Vehicle.objects.none(),
        required=False,
        empty_label="none",
        label="Coupled to",
        error_messages={"invalid_choice": "Pick a vehicle from the list."},
    )
    coupler = _length("Length of a coupler", _COUPLER)
    straight = _length(
        "Straight between reverse curves", "Where the opposite curve follows; 0 for none."
    )
    centres = _length(
        "Centres to the next track", "Where the other vehicle passes it on a parallel track."
    )
    swing_deg = forms.FloatField(
        label="Swing of a coupler",
        required=False,
        min_value=0.1,
        max_value=89,
        help_text="To one side, in degrees.",
        error_messages={"invalid": "That is no number; type degrees, such as 20."},
    )
    head_width = _length("Width of a buffer head", "Where both have side buffers.")
    head_radius = _length("Dome of a buffer head", "Its radius; empty for a flat head.")

    def __init__(self, *args, neighbours: list[Vehicle], **kwargs):
        super().__init__(*args, **kwargs)
        field = self.fields["neighbour"]
        field.queryset = Vehicle.objects.filter(pk__in=[each.pk for each in neighbours])
        # As they were fetched already, instead of fetching them again.
        field.choices = [("", field.empty_label), *((each.pk, str(each)) for each in neighbours)]

    def asked(self) -> Asked:
        """What was typed; only of a valid form."""
        data = self.cleaned_data
        names = ("radius", "coupler", "centres", "head_width", "head_radius", "swing_deg")
        return Asked(straight=data["straight"] or 0.0, **{name: data[name] for name in names})


class PairForm(_Lengths):
    """Two vehicles asked beside each other, and the curve for all pairs."""

    lengths = ("radius", "coupler")

    first = forms.ChoiceField(required=False, label="One vehicle")
    second = forms.ChoiceField(required=False, label="The other")
    radius = _length("Radius of the curve", "Left empty: the sharpest of the railway’s tracks.")
    coupler = _length("Length of a coupler", _COUPLER)

    def __init__(self, *args, stock: list[Vehicle], **kwargs):
        super().__init__(*args, **kwargs)
        self.stock = {str(each.pk): each for each in stock}
        choices = [("", "none"), *((str(each.pk), each.identity) for each in stock)]
        self.fields["first"].choices = self.fields["second"].choices = choices

    def clean(self) -> dict[str, object]:
        data = super().clean()
        for name in ("first", "second"):
            data[name] = self.stock.get(data.get(name) or "")
        if data["first"] is not None and data["first"] == data["second"]:
            self.add_error("second", "That is the same vehicle; pick another one.")
        return data
