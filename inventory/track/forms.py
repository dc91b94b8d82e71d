"""Forms of railways, places, turnouts and tracks."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal

from django import forms

from inventory.stock.forms import bench_decimal, in_plain_words, split_standard, standard_choices
from inventory.stock.models import Vehicle
from inventory.track.fitting import Candidate
from inventory.track.models import Industry, Place, Railway, Track, Traffic, Turnout
from inventory.track.planning import Run, haul, run
from inventory.track.standing import Spot
from inventory.track.trains import Train, average_length, average_train, train_of
from standards.curves import ImpossibleGeometry
from standards.turnouts import frog_angle
from standards.units import plain, spell


class BenchFields(forms.ModelForm):
    """Dimensions typed as bench text, in the person's units."""

    lengths: tuple[str, ...] = ()
    grades: tuple[str, ...] = ()
    numbers: tuple[str, ...] = ()
    may_be_zero: tuple[str, ...] = ()
    empty_is_zero: tuple[str, ...] = ()

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
            field.is_asked = not was.null and name not in self.empty_is_zero
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
            if name in self.empty_is_zero and data[name] is None and name not in self.errors:
                data[name] = Decimal(0)
            if not field.null and data[name] is None and name not in self.errors:
                self.add_error(name, f"{self.fields[name].label} is needed: measure and type it.")
            elif data[name] is not None and data[name] <= 0 and name not in self.may_be_zero:
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
    lengths = ("clearance_gap", "coupling_slack")
    may_be_zero = lengths
    empty_is_zero = ("coupling_slack",)
    standard = forms.ChoiceField(label="Scale and standards")

    class Meta:
        model = Railway
        fields = ["name", "standard", "clearance_gap", "coupling_slack", "notes"]
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
        label="Average cars",
        min_value=0,
        max_value=200,
        required=False,
        initial=6,
        help_text="None for the locomotive alone.",
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
        label="Cars of the other train",
        min_value=0,
        max_value=200,
        required=False,
        help_text="Average cars behind a locomotive as long; 0 if it runs alone.",
    )
    storage = forms.MultipleChoiceField(
        label="Storage", required=False, widget=forms.CheckboxSelectMultiple
    )
    empty = forms.BooleanField(
        label="As if the tracks were empty",
        required=False,
        help_text="Otherwise it has only the room beside those that stand there.",
    )

    def __init__(self, *args, tracks, engines, cars, weights, slack_mm, **kwargs):
        super().__init__(*args, **kwargs)
        self.weights, self.slack_mm = weights, slack_mm
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

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if data.get("loop") and data.get("n_other") is None and "n_other" not in self.errors:
            self.add_error(
                "n_other", "Type how many cars the other train has, 0 if it is a locomotive alone."
            )
        return data

    def asked(self) -> Run:
        """The train over its tracks. Raises TrainImpossible, in words."""
        data = self.cleaned_data
        engine = self.engines[data["engine"]]
        chosen = [self.cars[key] for key in data["vehicles"]]
        named = {name: self.tracks[data[name]] for name in ("lead", "loop") if data[name]}
        way = [self.tracks[key] for key in data["way"]]
        other = None
        if "loop" in named and engine.length_mm is not None:
            other = self._of_average_cars("the other", engine, data["n_other"])
        grades = [here.track.grade_percent for here in way if here.track.grade_percent]
        keys = [each.key for each in chosen] or [each.key for each in self.cars.values()]
        return run(
            train_of("the train", [engine], chosen, slack_mm=self.slack_mm)
            if chosen
            else self._of_average_cars("the train", engine, data["n_cars"]),
            [engine, *chosen],
            way,
            lead=named.get("lead"),
            storage=[self.tracks[key] for key in data["storage"]],
            loop=named.get("loop"),
            other=other,
            hauled=haul(
                self.weights.mass_of(engine.key),
                self.weights.mean_mass(keys),
                max(grades, default=None),
                self.weights.mean_rolling(keys),
            ),
            as_if_empty=data["empty"],
        )

    def _of_average_cars(self, name: str, engine: Candidate, n_cars: int | None) -> Train:
        # Alone, no car has to have been measured.
        if engine.length_mm is None or not n_cars:
            return train_of(name, [engine], [], slack_mm=self.slack_mm)
        car = average_length(list(self.cars.values()))
        return average_train(name, engine.length_mm, n_cars, car, slack_mm=self.slack_mm)


class ArrangeForm(forms.Form):
    """Which vehicles to put on which tracks."""

    all_tracks = forms.BooleanField(label="All tracks", required=False)
    tracks = forms.MultipleChoiceField(
        label="Tracks", required=False, widget=forms.CheckboxSelectMultiple
    )
    all_vehicles = forms.BooleanField(label="All vehicles", required=False)
    vehicles = forms.MultipleChoiceField(
        label="Vehicles", required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args, tracks, vehicles, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["tracks"].choices = [(str(h.track.pk), str(h.track)) for h in tracks]
        self.fields["vehicles"].choices = [(str(each.key), each.name) for each in vehicles]
        in_plain_words(self)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        for name, word in (("tracks", "track"), ("vehicles", "vehicle")):
            if data.get(f"all_{name}"):
                data[name] = [key for key, _ in self.fields[name].choices]
            elif not data.get(name) and name not in self.errors:
                self.add_error(name, f"Tick at least one {word}, or all of them.")
        return data


class CutForm(forms.Form):
    """What the best cut is best by, whom it is taken from, and what has to be in it."""

    by = forms.ChoiceField(
        label="Fill by",
        choices=[("length", "greatest length"), ("count", "most vehicles")],
        required=False,
    )
    out_of = forms.ChoiceField(
        label="Take them from",
        choices=[("anywhere", "anywhere on this railway"), ("nowhere", "what stands nowhere")],
        required=False,
    )
    slack = forms.CharField(
        label="Slack of each coupling",
        help_text="Added to every vehicle of the cut; 0 if they stand pushed together.",
        max_length=20,
        required=False,
    )
    kinds = forms.MultipleChoiceField(
        label="Only these kinds",
        help_text="With none ticked: all but locomotives.",
        required=False,
        widget=forms.CheckboxSelectMultiple,
    )
    must = forms.MultipleChoiceField(
        label="Has to be in it", required=False, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args, fitting, railway, unit, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit, self.railway, self.pool = unit, railway, fitting
        kinds = sorted({each.kind for each in fitting}, key=str.casefold)
        self.fields["kinds"].choices = [(kind, kind) for kind in kinds]
        self.fields["must"].choices = [(str(each.key), each.name) for each in fitting]
        self.initial["slack"] = spell(railway.coupling_slack, unit, None if unit == "mm" else 4)
        in_plain_words(self)
        self.fields["must"].error_messages["invalid_choice"] = (
            "not all that has to be in it fits the room left; untick what does not."
        )

    def clean_slack(self) -> Decimal:
        """In millimetres; the railway's own where nothing was typed."""
        if not self.cleaned_data["slack"].strip():
            return self.railway.coupling_slack
        slack = bench_decimal(self, "slack", "length", unit=self.unit)
        if slack is not None and slack > MOST_SLACK_MM:
            raise forms.ValidationError(
                f"that is more than {MOST_SLACK_MM} mm, which no coupling gives; type what you "
                "measured, such as 0.8 mm."
            )
        return slack

    @property
    def problem(self) -> str:
        """The first thing that is wrong with what was asked, and where; empty without any."""
        for name, errors in self.errors.items():
            return f"{self.fields[name].label}: {errors[0]}"
        return ""

    @property
    def slack_mm(self) -> Decimal:
        """The slack to reckon with."""
        return self.cleaned_data["slack"] if self.is_bound else self.railway.coupling_slack

    @property
    def must_include(self) -> frozenset[int]:
        """Keys of the vehicles that have to be in it."""
        return frozenset(int(key) for key in (self.cleaned_data["must"] if self.is_bound else ()))

    def candidates(self, spots: Mapping[int, Spot]) -> list[Candidate]:
        """Whom to take the cut from. spots: where vehicles stand.

        Nobody is taken from another railway, and no locomotive while there is anything else,
        unless it was asked for by kind or by name.
        """
        chosen = self.cleaned_data if self.is_bound else {}
        must, kinds = self.must_include, set(chosen.get("kinds", ()))
        engines = {each.key for each in self.pool if each.category == _LOCOMOTIVE}
        if len(engines) == len(self.pool):
            engines = set()

        def is_asked(each: Candidate) -> bool:
            spot = spots.get(each.key)
            if spot and (chosen.get("out_of") == "nowhere" or spot.railway_pk != self.railway.pk):
                return False
            return each.kind in kinds if kinds else each.key not in engines

        return [each for each in self.pool if each.key in must or is_asked(each)]


#: Far more than any coupling gives; what lies above is a slip of the keyboard.
MOST_SLACK_MM = 100
_LOCOMOTIVE = Vehicle.Category.LOCOMOTIVE.value
