"""Forms of railways, places, turnouts and tracks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from django import forms
from django.db.models import Model

from inventory.stock.forms import bench_decimal, in_plain_words, split_standard, standard_choices
from inventory.stock.models import Vehicle
from inventory.track.fitting import SAME_GAUGE_MM, Candidate
from inventory.track.models import Industry, Part, Place, Railway, Track, Traffic, Turnout
from inventory.track.planning import Run, haul, run
from inventory.track.standing import Spot
from inventory.track.trains import Train, average_length, average_train, train_of
from standards.sheets import Scale
from standards.turnouts import Frog, do_agree, number_of_curve, read_frog
from standards.units import (
    LENGTH_UNITS,
    Typed,
    Unreadable,
    brief,
    from_base,
    likely_slips,
    plain,
    read,
    spell,
    to_base,
)

#: Units offered where a length is far from plausible, the likeliest first.
_LIKELY_UNITS = {"mm": ("mm", "cm", "m", "in", "ft"), "in": ("in", "mm", "cm", "ft", "m")}

#: Frog numbers that are not asked about, and from where on a bare number may have been an angle:
#: makers sell frogs of 10 to 30 degrees. Common practice, no source.
_USUAL_FROGS = (Decimal(2), Decimal(25))
_MAY_BE_ANGLE = Decimal(10)


@dataclass(frozen=True)
class Option:
    value: str
    label: str
    is_chosen: bool


@dataclass(frozen=True)
class Question:
    """Something typed that may be a slip: what to answer, without losing anything typed."""

    name: str
    words: str
    options: tuple[Option, ...]


def ask(
    form: forms.BaseForm, field: str, words: str, options: Mapping[str, str], about: str
) -> str:
    """The answer to a question about a field: one of the keys of `options`, or "" so far.

    It is shown at the field, and while it is not answered the form is not valid. about: what was
    typed; an answer holds for that alone.
    """
    asked = form.fields[field]
    before = getattr(asked, "questions", [])
    name = form.add_prefix(f"answer-{field}-{len(before) + 1}")
    posted = form.data.get(name, "")
    chosen = next((key for key in options if posted == f"{key}|{about}"), "")
    shown = tuple(Option(f"{key}|{about}", label, key == chosen) for key, label in options.items())
    asked.questions = [*before, Question(name, words, shown)]
    if not chosen:
        form.add_error(field, "Pick one of the answers.")
    return chosen


def typed_again(value_mm: Decimal, unit: str) -> str:
    """A length as its person would type it: in inches where that is exact, else in mm."""
    if unit == "in":
        inches = round(from_base(value_mm, "in"), 6)
        if to_base(inches, "in") == value_mm:
            return f"{plain(inches)} in"
    return f"{plain(value_mm)} mm"


class NumberField(forms.DecimalField):
    """A number with a decimal point or comma. A text field, since browsers refuse one of them."""

    widget = forms.TextInput

    def widget_attrs(self, widget):
        return {"inputmode": "decimal"}

    def to_python(self, value):
        if isinstance(value, str) and value.count(",") == 1 and "." not in value:
            value = value.replace(",", ".")
        return super().to_python(value)


class BenchFields(forms.ModelForm):
    """Dimensions typed as bench text, in the person's units.

    plausible: the range of each length in metres on the prototype; what lies outside is asked
    about. Our own choice, no source. over_gauge: those that are refused, not asked about, where
    they are not even one gauge. groups: legend, class and fields of each group.
    """

    lengths: tuple[str, ...] = ()
    grades: tuple[str, ...] = ()
    texts: tuple[str, ...] = ()
    may_be_zero: tuple[str, ...] = ()
    empty_is_zero: tuple[str, ...] = ()
    plausible: Mapping[str, tuple[str, str]] = {}
    over_gauge: tuple[str, ...] = ()
    groups: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    inch_help: Mapping[str, str] = {}

    def __init__(self, *args, unit: str, **kwargs):
        super().__init__(*args, **kwargs)
        self.unit = unit
        for name in (*self.lengths, *self.grades, *self.texts):
            was = self._meta.model._meta.get_field(name)
            field = forms.CharField(
                label=str(was.verbose_name).capitalize(),
                help_text=self.inch_help.get(name, was.help_text)
                if unit == "in"
                else was.help_text,
                required=False,
                max_length=60,
            )
            field.is_asked = not was.null and name not in self.empty_is_zero
            self.fields[name] = field
            held = getattr(self.instance, name)
            if held not in (None, ""):
                self.initial[name] = self.as_typed(name, Decimal(held))
        self.order_fields(self._meta.fields)
        in_plain_words(self)

    def as_typed(self, name: str, held: Decimal) -> str:
        """What is held, as this person would type it."""
        if name in self.lengths:
            return typed_again(held, self.unit)
        return f"{plain(held)}{' %' if name in self.grades else ''}"

    @property
    def laid_out(self) -> list[tuple[str, str, list[forms.BoundField]]]:
        """The fields in their groups; empty where they stand in one."""
        return [
            (legend, kind, [self[name] for name in names]) for legend, kind, names in self.groups
        ]

    def of_scale(self) -> Scale | None:
        """The scale that lengths are plausible or not in."""
        raise NotImplementedError

    def clean(self) -> dict[str, object]:
        data = super().clean()
        for name in self.lengths:
            data[name] = bench_decimal(self, name, "length", unit=self.unit)
        for name in self.grades:
            data[name] = bench_decimal(self, name, "grade", unit=self.unit)
        for name in self.lengths:
            field = self._meta.model._meta.get_field(name)
            if name in self.empty_is_zero and data[name] is None and name not in self.errors:
                data[name] = Decimal(0)
            if not field.null and data[name] is None and name not in self.errors:
                self.add_error(name, f"{self.fields[name].label} is needed: measure and type it.")
            elif data[name] is not None and data[name] <= 0 and name not in self.may_be_zero:
                self.add_error(name, f"{plain(data[name])} cannot be; type what you measured.")
            elif data[name] is not None:
                data[name] = self._plausible(name, data[name])
        return data

    def _plausible(self, name: str, value: Decimal) -> Decimal | None:
        """The value, or what was meant by it; None, and a question, where it is far from what
        such a length is on any railway."""
        scale, metres = self.of_scale(), self.plausible.get(name)
        if scale is None or metres is None:
            return value
        low, high = (Decimal(each) * 1000 / scale.ratio for each in metres)
        is_refused = name in self.over_gauge and value <= scale.gauge_mm
        if low <= value <= high or is_refused:
            return value
        text = self.data[self.add_prefix(name)].strip()
        typed = read(text, "length", default_unit=self.unit, may_be_zero=True)
        meant = likely_slips(typed, low, high, _LIKELY_UNITS.get(self.unit, LENGTH_UNITS))[:2]
        label = self.fields[name].label
        said = self._said(typed)
        words = f"{said} is far from what is usual in {scale.code} for “{label}”, "
        words += f"{brief(low, self.unit)} to {brief(high, self.unit)}. "
        words += f"Did you mean {' or '.join(meant)}?" if meant else "Is it so?"
        options = {each: each for each in meant} | {"keep": f"{said}: it is so"}
        chosen = ask(self, name, words, options, text)
        if chosen in meant:
            return read(chosen, "length").values[0]
        return value if chosen else None

    @staticmethod
    def _said(typed: Typed) -> str:
        """What was typed with the unit it was read in."""
        if typed.is_compound:
            return typed.text
        return f"{typed.amounts[0]} {typed.unit}"


class RailwayForm(BenchFields):
    lengths = ("clearance_gap", "coupling_slack")
    may_be_zero = lengths
    empty_is_zero = ("coupling_slack",)
    plausible = {"clearance_gap": ("0", "3"), "coupling_slack": ("0", "0.9")}
    inch_help = {
        "clearance_gap": "How much air two vehicles keep where tracks part, such as 1/8 in."
    }
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

    def of_scale(self) -> Scale | None:
        return self.instance.standard if "standard" in self.cleaned_data else None

    def clean_standard(self) -> str:
        self.instance.family, self.instance.scale = split_standard(self.cleaned_data["standard"])
        return self.cleaned_data["standard"]

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if _is_taken(Railway.objects.exclude(pk=self.instance.pk), data.get("name")):
            self.add_error("name", "A railway of that name is there already; type another.")
        if self.instance.pk and "standard" in self.changed_data and "standard" in data:
            self._ask_about_strangers(data["standard"])
        return data

    def _ask_about_strangers(self, standard: str) -> None:
        """Whether vehicles that are of another size may go on standing there."""
        gauge, scales = self.instance.standard.gauge_mm, self.instance.scales
        strangers = [
            each.identity
            for each in Vehicle.objects.filter(standing__track__place__railway=self.instance)
            if each.scale not in scales or abs(each.standard.gauge_mm - gauge) > SAME_GAUGE_MM
        ]
        if strangers:
            stand = "stands" if len(strangers) == 1 else "stand"
            ask(
                self,
                "standard",
                f"{named(strangers)} {stand} on its tracks and would be of another size than the "
                f"railway then, {self.instance.standard.label}. Change it all the same?",
                {"keep": "Change it; they stay where they stand"},
                standard,
            )


def named(names: Iterable[str], most: int = 5) -> str:
    """Some names, and how many more there are: "A, B and 3 more"."""
    listed = list(names)
    if len(listed) > most:
        return f"{', '.join(listed[: most - 1])} and {len(listed) - most + 1} more"
    return " and ".join(filter(None, [", ".join(listed[:-1]), *listed[-1:]]))


def _is_taken(others: Iterable[Part], name: object) -> bool:
    """Whether one of them is called so, whatever the case."""
    return bool(name) and str(name).casefold() in {each.name.casefold() for each in others}


def refuse_twin(form: forms.ModelForm, word: str) -> None:
    """Say that a place has one of that name already; the form does not ask for the place, so that
    Django does not see it."""
    name = form.cleaned_data.get("name")
    twins = form._meta.model.objects.filter(place=form.instance.place)
    if _is_taken(twins.exclude(pk=form.instance.pk), name):
        form.add_error("name", f"{word} called {name} is there already.")


class PlaceForm(forms.ModelForm):
    after = forms.ChoiceField(
        label="Along the line",
        required=False,
        help_text="Places stand in one order, from one end of the line to the other.",
    )

    class Meta:
        model = Place
        fields = ["name"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.others = list(
            Place.objects.filter(railway=self.instance.railway).exclude(pk=self.instance.pk)
        )
        self.fields["after"].choices = [
            ("", "first on the line"),
            *((str(each.pk), f"after {each.name}") for each in self.others),
        ]
        self.fields["after"].is_asked = True
        self.initial["after"] = self.behind(self.instance)
        in_plain_words(self)

    def behind(self, place: Place) -> str:
        """The key of the place before it; of the last one for a new place."""
        before = [
            each for each in self.others if place.pk is None or each.position < place.position
        ]
        return str(before[-1].pk) if before else ""

    @property
    def place_before(self) -> Place | None:
        chosen = self.cleaned_data["after"]
        return next((each for each in self.others if str(each.pk) == chosen), None)

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if _is_taken(self.others, data.get("name")):
            self.add_error("name", f"A place called {data['name']} is there already.")
        return data


class TurnoutForm(BenchFields):
    lengths = ("diverging_radius", "points_to_frog")
    texts = ("frog_number",)
    over_gauge = ("diverging_radius",)
    plausible = {"diverging_radius": ("12", "3000"), "points_to_frog": ("2", "150")}

    class Meta:
        model = Turnout
        fields = ["name", "hand", "frog_number", "diverging_radius", "points_to_frog"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["frog_number"].help_text = (
            "Its number, as in Britain and the USA: 6, No. 6, 1:6. Or its angle, as European "
            "makers give it: 9.5°, 9° 30'. By the centre-line method, an angle of 9.53° is No. 6."
        )
        self.fields["hand"].help_text = (
            "Of a wye both legs diverge alike, each by half the angle. A curved turnout is worked "
            "out as if its main leg were straight."
        )
        if self.instance.frog_typed:
            self.initial["frog_number"] = self.instance.frog_typed

    def of_scale(self) -> Scale:
        return self.instance.place.railway.standard

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "A turnout")
        typed = (self.data.get(self.add_prefix("frog_number")) or "").strip()
        frog = self._frog(typed) if typed else None
        data["frog_number"] = frog.number if frog else None
        self.instance.frog_typed = frog.typed if frog else ""
        radius = data.get("diverging_radius")
        if not typed and radius is None and "diverging_radius" not in self.errors:
            self.add_error(
                "frog_number", "Type the frog number, or the radius of a leg that is one curve."
            )
        gauge = self.of_scale().gauge_mm
        if radius is not None and radius <= gauge:
            self.add_error(
                "diverging_radius",
                f"{brief(radius, self.unit)} is no radius on a gauge of "
                f"{brief(gauge, self.unit)}; type that of the leg's centre line.",
            )
        elif radius is not None and frog is not None and "diverging_radius" not in self.errors:
            self._ask_which_holds(frog, radius)
        return data

    def _frog(self, typed: str) -> Frog | None:
        """The frog that was meant; None, with a question or a problem, while it is not known."""
        try:
            frog = read_frog(typed)
        except Unreadable as unreadable:
            self.add_error("frog_number", str(unreadable))
            return None
        if frog.is_bare and frog.number >= _MAY_BE_ANGLE:
            options = {"number": frog.words}
            try:
                angle = read_frog(f"{frog.typed}°")
                options["angle"] = f"an angle of {angle.typed}, {angle.words.partition(',')[0]}"
            except Unreadable:
                angle = frog
            words = f"Is {frog.typed} the number of the frog or its angle?"
            chosen = ask(self, "frog_number", words, options, typed)
            return {"number": frog, "angle": angle}.get(chosen)
        least, most = _USUAL_FROGS
        if not least <= frog.number <= most:
            words = f"{frog.typed} is {frog.words}. Few frogs are like that. Is it so?"
            if not ask(self, "frog_number", words, {"keep": "It is so"}, typed):
                return None
        return frog

    def _ask_which_holds(self, frog: Frog, radius: Decimal) -> None:
        """Whether the number or the radius holds, where they tell of different frogs."""
        gauge, is_wye = float(self.of_scale().gauge_mm), self.cleaned_data.get("hand") == "wye"
        if do_agree(float(frog.number), float(radius), gauge, is_wye=is_wye):
            return
        crosses = number_of_curve(float(radius), gauge, is_wye=is_wye)
        curve = brief(radius, self.unit)
        chosen = ask(
            self,
            "diverging_radius",
            f"One curve of {curve} has a frog of about No. {crosses:.1f}, and you typed "
            f"{frog.typed}. Which one holds?",
            {
                "frog": f"The frog, {frog.words}: straight beyond it, the radius is left out",
                "radius": f"The radius, {curve}: one curve through the frog and beyond",
                "both": "Not known: keep both, and the one that takes more length counts",
            },
            f"{plain(frog.number)} {plain(radius)} {is_wye}",
        )
        if chosen == "frog":
            self.cleaned_data["diverging_radius"] = None
        elif chosen == "radius":
            self.cleaned_data["frog_number"] = None
            self.instance.frog_typed = ""


class TrackForm(BenchFields):
    lengths = ("measured", "final_centres", "radius", "door_height")
    grades = ("grade_percent",)
    over_gauge = ("final_centres",)
    plausible = {
        "measured": ("6", "800"),
        "final_centres": ("1", "30"),
        "radius": ("12", "3000"),
        "door_height": ("2", "12"),
    }
    groups = (
        ("", "", ("name", "duty", "position", "measured")),
        ("End A", "end", ("a_reference", "a_turnout", "a_leg")),
        ("End B", "end", ("b_reference", "b_turnout", "b_leg")),
        (
            "Limits",
            "",
            ("most_vehicles", "radius", "door_height", "final_centres", "grade_percent"),
        ),
    )

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
        for end in ("a", "b"):
            turnout, leg = self.fields[f"{end}_turnout"], self.fields[f"{end}_leg"]
            turnout.queryset = turnouts.select_related("place").order_by(
                "place__position", "name", "pk"
            )
            turnout.empty_label = "none"
            turnout.area = leg.area = "of-turnout"
            leg.help_text = "Of a wye either one; both diverge alike."

    def of_scale(self) -> Scale:
        return self.instance.place.railway.standard

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "A track")
        for end in ("a", "b"):
            self._clean_end(end, data)
        turnout = data.get("b_turnout")
        if turnout is not None and (data.get("a_turnout"), data.get("a_leg")) == (
            turnout,
            data.get("b_leg"),
        ):
            leg = self.fields["b_leg"].choices
            self.add_error(
                "b_turnout",
                f"Both ends are on the {dict(leg)[data['b_leg']]} of {turnout.name}; pick another "
                "turnout or leg for one of them.",
            )
        gauge = self.of_scale().gauge_mm
        centres = data.get("final_centres")
        if centres is not None and centres <= gauge:
            self.add_error(
                "final_centres",
                f"{brief(centres, self.unit)} is not even one gauge, {brief(gauge, self.unit)}; "
                "measure from rail to the same rail of the next track.",
            )
        return data

    def _clean_end(self, end: str, data: dict[str, object]) -> None:
        """A turnout where it was measured from one, and none where it was not."""
        reference, turnout = data.get(f"{end}_reference"), data.get(f"{end}_turnout")
        if reference not in ("frog", "points"):
            data[f"{end}_turnout"] = None
            data[f"{end}_leg"] = Track.Leg.DIVERGING
        elif turnout is None:
            if f"{end}_turnout" not in self.errors:
                self.add_error(f"{end}_turnout", f"Pick the turnout whose {reference} it is.")
        elif turnout.place_id not in self._near():
            ask(
                self,
                f"{end}_turnout",
                f"{turnout.name} is at {turnout.place.name}, which is not next to "
                f"{self.instance.place.name}. Does the track end there?",
                {"keep": f"Yes, at {turnout.place.name}"},
                str(turnout.pk),
            )

    def _near(self) -> set[int]:
        """The track's own place and those beside it; the ends of a line may meet in a loop."""
        line = list(
            Place.objects.filter(railway=self.instance.place.railway).values_list("pk", flat=True)
        )
        here = line.index(self.instance.place_id)
        return {line[here - 1], line[here], line[(here + 1) % len(line)]}


class IndustryForm(forms.ModelForm):
    class Meta:
        model = Industry
        fields = ["name", "tracks"]
        widgets = {"tracks": forms.CheckboxSelectMultiple}

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["tracks"].queryset = Track.objects.filter(place=self.instance.place)
        in_plain_words(self)
        self.fields["tracks"].error_messages |= {
            "invalid_pk_value": "“%(pk)s” is no track; tick one of the list.",
        }

    def clean(self) -> dict[str, object]:
        data = super().clean()
        refuse_twin(self, "An industry")
        return data


class TrafficForm(forms.ModelForm):
    cars_per_session = NumberField(
        label="Vehicles a session", min_value=Decimal("0.01"), max_value=100
    )
    sessions_away = NumberField(
        label="Sessions in the round", min_value=Decimal("0.1"), max_value=1000
    )

    class Meta:
        model = Traffic
        fields = ["direction", "goods", "kinds", "cars_per_session", "sessions_away"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        in_plain_words(self)
        for name in ("cars_per_session", "sessions_away"):
            field = self.fields[name]
            field.help_text = Traffic._meta.get_field(name).help_text
            field.error_messages["invalid"] = (
                "That cannot be read; type a number such as 1.5 or 1,5."
            )

    def clean_kinds(self) -> str:
        words = [word.strip() for word in self.cleaned_data["kinds"].split(",") if word.strip()]
        if not words:
            raise forms.ValidationError("Name at least one kind of vehicle, such as boxcar.")
        return ", ".join(words)


# --- Two people at one form -------------------------------------------------------------------


def differences(form: forms.ModelForm, now: Part) -> list[tuple[str, str, str]]:
    """Label, what stands now and what was typed, in words, where they differ."""
    found = []
    for name, field in form.fields.items():
        stands = _told(form, name, _held(form, name, now))
        typed = _told(form, name, form.cleaned_data.get(name))
        if name == "frog_number":
            stands, typed = now.frog_typed or stands, form.instance.frog_typed or typed
        if stands != typed:
            label = field.label or name.replace("_", " ")
            found.append((label[0].upper() + label[1:], stands, typed))
    return found


def _held(form: forms.ModelForm, name: str, now: Part) -> object:
    match name:
        case "standard":
            return f"{now.family}/{now.scale}"
        case "tracks":
            return now.tracks.all()
        case "after":
            return form.behind(now)
    return getattr(now, name)


def _told(form: forms.ModelForm, name: str, value: object) -> str:
    field = form.fields[name]
    if isinstance(value, Decimal):
        return form.as_typed(name, value) if isinstance(form, BenchFields) else plain(value)
    if name == "tracks":
        return ", ".join(sorted(str(each) for each in value or ())) or "nothing"
    if isinstance(field, forms.ChoiceField):
        return _choices_of(field).get(str(value or ""), str(value or "nothing"))
    if isinstance(value, Model) or value not in (None, ""):
        return str(value)
    return "nothing"


def _choices_of(field: forms.ChoiceField) -> dict[str, str]:
    """Values and words of a choice, its groups taken apart."""
    found = {}
    for value, label in field.choices:
        inside = label if isinstance(label, list | tuple) else [(value, label)]
        found.update({str(key): str(words) for key, words in inside})
    return found


# --- Asking -----------------------------------------------------------------------------------


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
