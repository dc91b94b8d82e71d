"""Forms of reports, of what is held, and of running sessions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime, time, timedelta

from django import forms
from django.utils import timezone

from inventory.stock.models import Vehicle
from inventory.stock.picturing import NewPhoto
from inventory.track.fitting import SAME_GAUGE_MM
from inventory.track.models import Place, Railway
from inventory.track.offering import Offer, offer
from inventory.trouble.models import MOST_PASSAGES, Incident, happenings
from inventory.trouble.recording import Seen
from inventory.trouble.spots import Spot


def stock_of(railway: Railway, words: str = "", keep: Iterable[str] = ()) -> Offer:
    """The vehicles that can stand on a railway's rails, as many as are offered: first those that
    do. words, keep: as in `offer`."""
    gauge = railway.standard.gauge_mm
    fleet = Vehicle.objects.filter(scale__in=railway.scales).select_related(
        "standing__track__place"
    )
    found = offer(fleet, words=words, railway=railway, keep=keep)
    able = [
        each for each in found.vehicles if abs(each.standard.gauge_mm - gauge) <= SAME_GAUGE_MM
    ]
    return replace(found, vehicles=sorted(able, key=lambda each: not stands_on(each, railway)))


def stands_on(vehicle: Vehicle, railway: Railway) -> bool:
    standing = getattr(vehicle, "standing", None)
    return standing is not None and standing.track.place.railway_id == railway.pk


def _vehicle_choices(stock: Sequence[Vehicle], railway: Railway) -> list:
    def named(is_on: bool) -> list[tuple[str, str]]:
        return [
            (str(each.pk), f"{each.identity}, {each.kind}")
            for each in stock
            if stands_on(each, railway) is is_on
        ]

    groups = [("On the railway", named(True)), ("Elsewhere", named(False))]
    return [(title, listed) for title, listed in groups if listed]


def _spot_choices(spots: Sequence[Spot]) -> list:
    groups: dict[str, list[tuple[str, str]]] = {}
    for spot in spots:
        name = "somewhere here" if spot.kind == "place" else _short(spot)
        groups.setdefault(spot.place.name, []).append((spot.key, name))
    return list(groups.items())


def _short(spot: Spot) -> str:
    """A spot under the head of its place: "turnout Mill switch"."""
    kind = {"trackwork": "", "turnout": "turnout ", "track": "track "}[spot.kind]
    title = getattr(spot.part, "title", None) or spot.part.name
    return f"{kind}{title}"


class DayField(forms.DateField):
    """A day up to today; a day ahead of ours is still today elsewhere."""

    widget = forms.DateInput(format="%Y-%m-%d", attrs={"type": "date"})

    def clean(self, value: object) -> date | None:
        day = super().clean(value)
        if day is not None and day > timezone.localdate() + timedelta(days=1):
            raise forms.ValidationError(f"{day} is still to come; type the day when it was.")
        return day


class PersonsForm(forms.Form):
    """A form whose faulty fields say so to whoever hears the page."""

    def _sent(self, name: str) -> list[str]:
        """What was sent of a field, before anything is known of it."""
        return self.data.getlist(name) if hasattr(self.data, "getlist") else []

    def full_clean(self) -> None:
        super().full_clean()
        for name in self.errors:
            if name in self.fields:
                self.fields[name].widget.attrs["aria-invalid"] = "true"


class ReportForm(PersonsForm):
    """One report: the first that went, where, and what happened; the rest if there is time."""

    first = forms.ChoiceField(label="Which vehicle went first?")
    where = forms.ChoiceField(label="Where?")
    happened = forms.ChoiceField(
        label="What happened?",
        choices=happenings,
        widget=forms.RadioSelect,
        error_messages={"required": "Pick what happened; “something else” will do."},
    )
    way = forms.ChoiceField(
        label="Through a turnout",
        required=False,
        choices=Incident.Way.choices,
        widget=forms.RadioSelect,
    )
    effort = forms.ChoiceField(
        label="It was being",
        required=False,
        choices=Incident.Effort.choices,
        widget=forms.RadioSelect,
    )
    is_held = forms.BooleanField(
        label="Take it out of service now (bad order)", required=False, initial=True
    )
    ahead = forms.ChoiceField(label="Coupled ahead", required=False)
    behind = forms.ChoiceField(label="Coupled behind", required=False)
    position = forms.IntegerField(
        label="Place in the train",
        required=False,
        min_value=1,
        max_value=500,
        help_text="1 is next to the engine.",
    )
    also = forms.MultipleChoiceField(
        label="Others that went with it",
        required=False,
        widget=forms.SelectMultiple(attrs={"size": 5}),
    )
    on = DayField(label="Day", required=False, help_text="Empty if it was just now.")
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea(attrs={"rows": 3})
    )

    def __init__(self, *args, railway: Railway, spots: Sequence[Spot], words: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.railway = railway
        self.spots = {spot.key: spot for spot in spots}
        names = ("first", "also", "ahead", "behind")
        sent = [key for name in names for key in self._sent(name)]
        self.offer = stock_of(railway, words, [*sent, str(self.initial.get("first", ""))])
        stock = self.offer.vehicles
        self.stock = {str(each.pk): each for each in stock}
        vehicles = _vehicle_choices(stock, railway)
        for name in ("first", "ahead", "behind"):
            self.fields[name].choices = [
                ("", "Pick a vehicle" if name == "first" else "nobody, or not known"),
                *vehicles,
            ]
            self.fields[name].error_messages["invalid_choice"] = (
                f"That vehicle is not of the gauge and scale of {railway}, or not logged; pick "
                "one from the list."
            )
        self.fields["also"].choices = vehicles
        self.fields["where"].choices = [("", "Pick a spot"), *_spot_choices(spots)]
        self.fields["where"].error_messages |= {
            "invalid_choice": f"That spot is not on {railway}; pick one of its own, or report it "
            "on the railway where it lies.",
            "required": "Pick where it happened; “somewhere here” will do.",
        }
        self.fields["first"].error_messages["required"] = "Pick the vehicle that went first."

    @property
    def went_first(self) -> Vehicle:
        """The first to go, once the form is valid."""
        return self.stock[self.cleaned_data["first"]]

    def seen(self, photos: Sequence[NewPhoto] = ()) -> Seen:
        """What was reported, once the form is valid, with the photos that came with it."""
        told = self.cleaned_data
        return Seen(
            spot=self.spots[told["where"]],
            happened=told["happened"],
            happened_at=_moment(told["on"]),
            first=self.went_first,
            also=[self.stock[key] for key in told["also"]],
            ahead=self.stock.get(told["ahead"]),
            behind=self.stock.get(told["behind"]),
            way=told["way"],
            effort=told["effort"],
            position=told["position"],
            note=told["note"].strip(),
            photos=photos,
        )


def _moment(day: date | None) -> datetime:
    """Now, or the noon of an earlier day."""
    now = timezone.now()
    if day is None or day >= timezone.localdate():
        return now
    return timezone.make_aware(datetime.combine(day, time(12)))


class HoldForm(PersonsForm):
    reason = forms.CharField(
        max_length=200,
        label="Why it goes out of service",
        help_text="Its tag says it, and so does every list it is left out of.",
        error_messages={"required": "Write why it goes out of service; its tag says it."},
    )


class ReleaseForm(PersonsForm):
    done = forms.CharField(
        label="What was done",
        max_length=2000,
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="Such as: wheels of axle 2 spread, tried ten times over the mill turnout.",
        error_messages={"required": "Write what was done before it is released."},
    )


class WithdrawForm(PersonsForm):
    because = forms.CharField(
        label="Why it is withdrawn",
        max_length=200,
        error_messages={"required": "Write why, such as: entered twice."},
    )


class RunningForm(PersonsForm):
    """Who ran, about how often, over which places: the least that can be asked."""

    laps = forms.IntegerField(
        label="About how many laps or trips?",
        min_value=1,
        max_value=MOST_PASSAGES,
        help_text="How often each of them passed each place, roughly. Once there and back is two.",
        error_messages={
            "min_value": "0 laps tell nothing; type how often they ran, at least 1.",
            "required": "Type about how many laps, such as 12.",
        },
    )
    who = forms.ChoiceField(label="Who ran?", widget=forms.RadioSelect)
    vehicles = forms.MultipleChoiceField(
        label="Only these", required=False, widget=forms.CheckboxSelectMultiple
    )
    places = forms.MultipleChoiceField(
        label="Over which places?", required=False, widget=forms.CheckboxSelectMultiple
    )
    spots = forms.MultipleChoiceField(
        label="Only these turnouts and tracks", required=False, widget=forms.CheckboxSelectMultiple
    )
    on = DayField(label="Day", initial=timezone.localdate)
    note = forms.CharField(label="Note", required=False, max_length=200)

    def __init__(self, *args, railway: Railway, spots: Sequence[Spot], words: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.all_spots = [spot for spot in spots if not isinstance(spot.part, Place)]
        self.offer = stock_of(railway, words, self._sent("vehicles"))
        stock = self.offer.vehicles
        self.stock = {str(each.pk): each for each in stock}
        self.standing = [each for each in stock if stands_on(each, railway)]
        self.able = [each for each in self.standing if not each.held_because]
        self.fields["who"].choices = [
            ("standing", f"everything standing on the railway that may run ({len(self.able)})"),
            ("picked", "only those ticked below"),
        ]
        self.initial.setdefault("who", "standing" if self.able else "picked")
        self.fields["vehicles"].choices = [
            (key, each.identity) for key, each in self.stock.items()
        ]
        places = list(dict.fromkeys(spot.place for spot in self.all_spots))
        self.fields["places"].choices = [(str(each.pk), each.name) for each in places]
        self.initial.setdefault("places", [str(each.pk) for each in places])
        self.fields["spots"].choices = [(spot.key, spot.name) for spot in self.all_spots]
        for name in ("places", "spots"):
            self.fields[name].error_messages["invalid_choice"] = (
                f"That is not on {railway}; tick its own places."
            )

    def clean(self) -> dict[str, object]:
        told = super().clean()
        if (
            told.get("who") == "picked"
            and not told.get("vehicles")
            and "vehicles" not in self.errors
        ):
            self.add_error("vehicles", "Tick who ran, or choose everything that stands.")
        if not told.get("places") and not told.get("spots") and "places" not in self.errors:
            self.add_error("places", "Tick where they ran.")
        return told

    @property
    def ran(self) -> list[Vehicle]:
        if self.cleaned_data["who"] == "standing":
            return self.able
        return [self.stock[key] for key in self.cleaned_data["vehicles"]]

    @property
    def over(self) -> list[Spot]:
        """The spots ticked by themselves, or all those of the places ticked."""
        ticked = set(self.cleaned_data["spots"])
        if ticked:
            return [spot for spot in self.all_spots if spot.key in ticked]
        places = set(self.cleaned_data["places"])
        return [spot for spot in self.all_spots if str(spot.place.pk) in places]


class RoutineForm(PersonsForm):
    """How often an inspection is due."""

    months = forms.IntegerField(label="Due after months", min_value=1, max_value=600)
    laps = forms.IntegerField(label="or after laps", min_value=1, max_value=1_000_000)
