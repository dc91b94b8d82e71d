"""Forms of railways, places, turnouts and tracks."""

from __future__ import annotations

from decimal import Decimal

from django import forms

from inventory.stock.forms import bench_decimal, in_plain_words, split_standard, standard_choices
from inventory.track.models import Industry, Place, Railway, Track, Traffic, Turnout
from inventory.track.planning import Run, haul, run
from inventory.track.trains import average_length, average_train, train_of
from standards.curves import ImpossibleGeometry
from standards.turnouts import frog_angle
from standards.units import plain


class BenchFields(forms.ModelForm):
    """Dimensions typed as bench text, in the person's units."""

    lengths: tuple[str, ...] = ()
    grades: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        for name in (*self.lengths, *self.grades, *self.numbers):
            was = self._meta.model._meta.get_field(name)
            field = forms.CharField(
                label=str(was.verbose_name).capitalize(),
                help_text=was.help_text,
                required=False,
                max_length=60,
            )
            field.is_asked = not was.null
            self.fields[name] = field
            held = getattr(self.instance, name)
            if held not in (None, ""):
                suffix = "" if name in self.numbers else " %" if name in self.grades else " mm"
                self.initial[name] = f"{plain(Decimal(held))}{suffix}"
        self.order_fields(self._meta.fields)
        in_plain_words(self)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        for name in self.lengths:
            data[name] = bench_decimal(self, name, "length", unit=self.unit)
        for name in self.grades:
            data[name] = bench_decimal(self, name, "grade", unit=self.unit)
        for name in self.numbers:
            data[name] = self._number(name)
        for name in (*self.lengths, *self.numbers):
            field = self._meta.model._meta.get_field(name)
            if not field.null and data[name] is None and name not in self.errors:
                self.add_error(name, f"{self.fields[name].label} is needed: measure and type it.")
            elif data[name] is not None and data[name] <= 0 and name != "clearance_gap":
                self.add_error(name, f"{plain(data[name])} cannot be; type what you measured.")
        return data

    def _number(self, name: str) -> Decimal | None:
        typed = (self.data.get(self.add_prefix(name)) or "").strip().replace(",", ".")
        if not typed:
            return None
        try:
            number = Decimal(typed)
            frog_angle(float(number))
        except ImpossibleGeometry as impossible:
            self.add_error(name, str(impossible))
        except (ArithmeticError, ValueError):
            self.add_error(name, f"“{typed[:20]}” is no number; type one such as 6.")
        else:
            return number
        return None


class RailwayForm(BenchFields):
    lengths = ("clearance_gap",)
    standard = forms.ChoiceField(label="Scale and standards")

    class Meta:
        model = Railway
        fields = ["name", "standard", "clearance_gap", "notes"]
        widgets = {"notes": forms.Textarea(attrs={"rows": 2})}

    def __init__(self, *args, used=(), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["standard"].choices = standard_choices(used)
        if self.instance.pk:
            self.initial["standard"] = f"{self.instance.family}/{self.instance.scale}"

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]


def refuse_twin(form: forms.ModelForm, word: str) -> None:
    """Say that a place has one of that name already; the form does not ask for the place, so that
    Django does not see it."""
    name = form.cleaned_data.get("name")
    twins = form._meta.model.objects.filter(place=form.instance.place, name=name)
    if name and twins.exclude(pk=form.instance.pk).exists():
        form.add_error("name", f"{word} called {name} is there already.")


class PlaceForm(forms.ModelForm):
    class Meta:
        model = Place
        fields = ["name", "position"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        in_plain_words(self)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        others = Place.objects.filter(railway=self.instance.railway).exclude(pk=self.instance.pk)
        taken = others.filter(position=data.get("position")).first()
        if taken is not None:
            self.add_error(
                "position",
                f"{taken.name} is number {taken.position} already; places stand in one order "
                "along the line, each with a number of its own.",
            )
        if others.filter(name=data.get("name")).exists():
            self.add_error("name", f"A place called {data['name']} is there already.")
        return data


class TurnoutForm(BenchFields):
    lengths = ("diverging_radius", "points_to_frog")
    numbers = ("frog_number",)

    class Meta:
        model = Turnout
        fields = ["name", "hand", "frog_number", "diverging_radius", "points_to_frog"]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "A turnout")
        if data.get("frog_number") is None and data.get("diverging_radius") is None:
            self.add_error(
                "frog_number", "Type the frog number, or the radius of a leg that is one curve."
            )
        return data


class TrackForm(BenchFields):
    lengths = ("measured", "final_centres", "radius", "door_height")
    grades = ("grade_percent",)

    class Meta:
        model = Track
        fields = [
            "name",
            "duty",
            "position",
            "measured",
            "a_reference",
            "a_turnout",
            "a_leg",
            "b_reference",
            "b_turnout",
            "b_leg",
            "most_vehicles",
            "radius",
            "door_height",
            "final_centres",
            "grade_percent",
        ]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        turnouts = Turnout.objects.filter(place__railway=self.instance.place.railway)
        for name in ("a_turnout", "b_turnout"):
            self.fields[name].queryset = turnouts.select_related("place")

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "A track")
        for end in ("a", "b"):
            reference = data.get(f"{end}_reference")
            if reference in ("frog", "points") and data.get(f"{end}_turnout") is None:
                self.add_error(f"{end}_turnout", f"Pick the turnout whose {reference} it is.")
        gauge = self.instance.place.railway.standard.gauge_mm
        centres = data.get("final_centres")
        if centres is not None and centres <= gauge:
            self.add_error(
                "final_centres",
                f"{plain(centres)} mm is not even one gauge, {plain(gauge)} mm; measure from rail "
                "to the same rail of the next track.",
            )
        return data


class IndustryForm(forms.ModelForm):
    class Meta:
        model = Industry
        fields = ["name", "tracks"]
        widgets = {"tracks": forms.CheckboxSelectMultiple}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["tracks"].queryset = Track.objects.filter(place=self.instance.place)
        in_plain_words(self)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "An industry")
        return data


class TrafficForm(forms.ModelForm):
    cars_per_session = forms.DecimalField(
        label="Vehicles a session", min_value=Decimal("0.01"), max_value=100
    )
    sessions_away = forms.DecimalField(
        label="Sessions in the round", min_value=Decimal("0.1"), max_value=1000
    )

    class Meta:
        model = Traffic
        fields = ["direction", "goods", "kinds", "cars_per_session", "sessions_away"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in ("cars_per_session", "sessions_away"):
            self.fields[name].help_text = Traffic._meta.get_field(name).help_text
        in_plain_words(self)

    def clean_kinds(self) -> str:
        words = [word.strip() for word in self.cleaned_data["kinds"].split(",") if word.strip()]
        if not words:
            raise forms.ValidationError("Name at least one kind of vehicle, such as boxcar.")
        return ", ".join(words)


class TrainForm(forms.Form):
    """A locomotive with so many average cars, or named cars, and the tracks that it must use."""

    engine = forms.ChoiceField(label="Locomotive")
    n_cars = forms.IntegerField(
        label="Average cars", min_value=0, max_value=200, required=False, initial=6
    )
    vehicles = forms.MultipleChoiceField(
        label="Or these cars", required=False, widget=forms.CheckboxSelectMultiple
    )
    way = forms.MultipleChoiceField(
        label="Tracks it must fit", required=False, widget=forms.CheckboxSelectMultiple
    )
    lead = forms.ChoiceField(label="Yard lead", required=False)
    loop = forms.ChoiceField(label="Meets another train at", required=False)
    n_other = forms.IntegerField(
        label="Cars of the other train", min_value=0, max_value=200, required=False
    )
    storage = forms.MultipleChoiceField(
        label="Storage", required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args, tracks, engines, cars, weights, **kwargs):
        super().__init__(*args, **kwargs)
        self.weights = weights
        self.tracks = {str(here.track.pk): here for here in tracks}
        self.engines = {str(each.key): each for each in engines}
        self.cars = {str(each.key): each for each in cars}
        named = [
            (key, f"{here.track.name}, {here.track.place}") for key, here in self.tracks.items()
        ]
        self.fields["engine"].choices = [(key, each.name) for key, each in self.engines.items()]
        self.fields["vehicles"].choices = [(key, each.name) for key, each in self.cars.items()]
        self.fields["way"].choices = named
        self.fields["storage"].choices = named
        self.fields["lead"].choices = [("", "none"), *named]
        self.fields["loop"].choices = [("", "nowhere"), *named]
        in_plain_words(self)

    def asked(self) -> Run:
        """The train over its tracks. Raises TrainImpossible, in words."""
        data = self.cleaned_data
        engine = self.engines[data["engine"]]
        chosen = [self.cars[key] for key in data["vehicles"]]
        if chosen:
            train = train_of("the train", [engine], chosen)
        elif engine.length_mm is None or not data["n_cars"]:
            train = train_of("the train", [engine], [])
        else:
            car = average_length(list(self.cars.values()))
            train = average_train("the train", engine.length_mm, data["n_cars"], car)
        named = {name: self.tracks[data[name]] for name in ("lead", "loop") if data[name]}
        way = [self.tracks[key] for key in data["way"]]
        other = None
        if "loop" in named and engine.length_mm is not None:
            car = average_length(list(self.cars.values()))
            other = average_train("the other", engine.length_mm, data["n_other"] or 0, car)
        grades = [here.track.grade_percent for here in way if here.track.grade_percent]
        keys = [each.key for each in chosen] or [each.key for each in self.cars.values()]
        return run(
            train,
            [engine, *chosen],
            [here.limits for here in way],
            lead=named["lead"].limits if "lead" in named else None,
            storage=[self.tracks[key].limits for key in data["storage"]],
            loop=named["loop"].limits if "loop" in named else None,
            other=other,
            hauled=haul(
                self.weights.mass_of(engine.key),
                self.weights.mean_mass(keys),
                max(grades, default=None),
                self.weights.mean_rolling(keys),
            ),
        )


class ArrangeForm(forms.Form):
    """Which vehicles to put on which tracks."""

    tracks = forms.MultipleChoiceField(label="Tracks", widget=forms.CheckboxSelectMultiple)
    vehicles = forms.MultipleChoiceField(label="Vehicles", widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args, tracks, vehicles, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["tracks"].choices = [(str(h.track.pk), str(h.track)) for h in tracks]
        self.fields["vehicles"].choices = [(str(each.key), each.name) for each in vehicles]
        in_plain_words(self)


class CutForm(forms.Form):
    """What the best cut is best by, and what has to be in it."""

    by = forms.ChoiceField(
        label="Fill by",
        choices=[("length", "greatest length"), ("count", "most vehicles")],
        required=False,
    )
    slack = forms.DecimalField(
        label="Slack of each coupling, mm",
        help_text="Added to every vehicle of the cut; nothing if they stand pushed together.",
        min_value=0,
        max_value=100,
        max_digits=6,
        required=False,
        error_messages={
            "invalid": "The slack of a coupling is a number of millimetres, such as 0.8.",
            "min_value": "The slack of a coupling is 0 mm or more.",
            "max_value": "The slack of a coupling is 100 mm at most.",
        },
    )
    must = forms.MultipleChoiceField(
        label="Has to be in it", required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args, names, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["must"].choices = names
