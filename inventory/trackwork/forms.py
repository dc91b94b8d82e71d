"""Forms of trackwork, and of the questions that its pages answer."""

from __future__ import annotations

from django import forms

from inventory.track.forms import BenchFields, refuse_twin
from inventory.track.models import Track
from inventory.trackwork.models import Trackwork


class TrackworkForm(BenchFields):
    """A piece of trackwork as declared; a turnout is declared with the tracks."""

    numbers = ("frog_number",)

    class Meta:
        model = Trackwork
        fields = ["name", "kind", "track", "frog_number", "rail_code"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        place = self.instance.place
        self.fields["track"].queryset = Track.objects.filter(place=place).select_related("place")
        self.fields["name"].required = True
        self.fields["kind"].choices = [
            choice for choice in Trackwork.Kind.choices if choice[0] != Trackwork.Kind.TURNOUT
        ]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "Trackwork")
        if data.get("frog_number") and data.get("kind") != Trackwork.Kind.CROSSING:
            self.add_error("frog_number", "Only a crossing has frogs; leave the number empty.")
        return data


class TurnoutPieceForm(forms.ModelForm):
    """What of a turnout is not declared with the tracks."""

    class Meta:
        model = Trackwork
        fields = ["track", "rail_code"]

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        tracks = Track.objects.filter(place=self.instance.place)
        self.fields["track"].queryset = tracks.select_related("place")
