"""The demo railway of fixtures/demo.toml, built through the same writers as the pages.

Everything in it is invented. Dates, order and typed text come from the file, so that every load
makes the same record; only the moment at which verdicts are judged is the clock's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.core.exceptions import ValidationError
from django.db import models, transaction

from inventory.people.models import Person
from inventory.stock.models import Coupler, HouseLimit, Inspection, Instrument, Vehicle, Wheelset
from inventory.stock.photos import PhotoRefused, cleaned
from inventory.stock.picturing import NewPhoto
from inventory.stock.recording import (
    DECLARED,
    Departure,
    Running,
    add_photos,
    amend_running_gear,
    amend_vehicle,
    bring_back,
    finish_inspection,
    log_vehicle,
    open_inspection,
    record,
    retire,
    set_house_limit,
)
from inventory.stock.taking import Doubt, Entry
from inventory.stock.verdicts import standing_proposal
from inventory.track.homes import give_homes, set_home_track, take_homes
from inventory.track.models import Industry, Railway, Track, Traffic, Turnout
from inventory.track.models import Place as LinePlace
from inventory.track.standing import put
from inventory.trackwork import recording as trackwork_recording
from inventory.trackwork.models import Trackwork
from inventory.trackwork.recording import trackwork_of
from inventory.trackwork.steps import steps_for as track_steps_for
from inventory.trouble.models import Incident
from inventory.trouble.recording import Seen, TroubleRefused, note_running, release
from inventory.trouble.recording import add_photos as add_photos_of_report
from inventory.trouble.recording import report as keep_report
from inventory.trouble.spots import Spot, spots_of
from standards.causes import Happening
from standards.conformity import Rule
from standards.judging import GaugeResult, Service
from standards.quantities import BY_RULE, QUANTITIES, Dimension, Place, Quantity
from standards.sheets import UnknownStandard
from standards.units import Unreadable, read

#: From the first look at a vehicle to the readings, and to the stated outcome.
READ_AFTER = timedelta(minutes=12)
FINISHED_AFTER = timedelta(minutes=20)
RELEASED_AFTER = timedelta(minutes=5)

#: From the log to a first home.
HOME_AFTER = timedelta(hours=1)

_USUAL = {Dimension.LENGTH: "Digital caliper", Dimension.MASS: "Scale, 1 g"}
_GAUGE = "Standards gauge"
_NOT_QUANTITIES = {"at", "reason", "by_gauge", "with", "wheels", "open", "outcome", "statement"}


Made = TypeVar("Made", bound=models.Model)


class DemoRefused(Exception):
    """The demo cannot be put into this record, or its file cannot be read; says why, in words."""


@transaction.atomic
def load_demo(*, by: Person) -> int:
    """Put the demo railway into an empty record; the number of vehicles in its stock.

    Everything is logged and measured in the name of `by`, but typed in millimetres and judged by
    the 95 % rule whatever that person prefers, so that every load comes out alike.

    Raises DemoRefused, and writes nothing, when the record holds vehicles already, or a railway
    of the same name.
    """
    held = Vehicle.everyone.of_the_house().count()
    if held:
        vehicles = "1 vehicle" if held == 1 else f"{held} vehicles"
        raise DemoRefused(
            f"This record already holds {vehicles}. The demo goes only into an empty record: name "
            "another folder in CARKNOCKER_DATA and load it there."
        )
    demo = _read_file()
    # A copy that is never saved: the person's own preferences stay as they are.
    hand = Person.objects.get(pk=by.pk)
    hand.unit, hand.rule = Person.Unit.MM, Rule.NINETY_FIVE.value
    _Loading(demo, hand).run()
    return Vehicle.objects.count()


def _fixtures() -> Path:
    return Path(settings.HOME) / "fixtures"


def _read_file() -> dict[str, Any]:
    path = _fixtures() / "demo.toml"
    try:
        with path.open("rb") as file:
            return tomllib.load(file, parse_float=Decimal)
    except FileNotFoundError:
        raise DemoRefused(f"{path} is missing; the demo is read from it.") from None
    except tomllib.TOMLDecodeError as error:
        raise DemoRefused(f"{path} cannot be read: {error}.") from error


class _Loading:
    """One load: what was read from the file, in whose name, and with which instruments."""

    def __init__(self, demo: Mapping[str, Any], hand: Person) -> None:
        self.demo = demo
        self.hand = hand
        self.instruments = {each.name: each for each in Instrument.objects.all()}
        self.fleet: dict[tuple[str, ...], Vehicle] = {}
        self.laid = _noon(date(2024, 2, 1))
        self.doing = "the house limits"

    def run(self) -> None:
        """House limits, then vehicles as they stand in the file, then inspections and what was
        changed by date, then the railway on which they stand, and last who left."""
        try:
            for entry in self.demo.get("house_limit", ()):
                self._limit(entry)
            logged = [(self._log(entry), entry) for entry in self.demo["vehicle"]]
            inspections = [
                (vehicle, each)
                for vehicle, entry in logged
                for each in entry.get("inspection", ())
            ]
            for vehicle, each in sorted(inspections, key=lambda pair: pair[1]["at"]):
                self._inspect(vehicle, each)
            for vehicle, each in _dated(logged, "changed"):
                self._amend(vehicle, each)
            if "railway" in self.demo:
                self.fleet = {tuple(entry["lettered"]): vehicle for vehicle, entry in logged}
                self._lay(self.demo["railway"])
            for vehicle, each in _dated(logged, "left"):
                self._leave(vehicle, each)
        except (
            Unreadable,
            Doubt,
            UnknownStandard,
            ValidationError,
            TroubleRefused,
            PhotoRefused,
            ValueError,
            OSError,
        ) as error:
            raise DemoRefused(f"In fixtures/demo.toml, {self.doing}: {error}") from error
        except KeyError as error:
            raise DemoRefused(
                f"In fixtures/demo.toml, {self.doing}: {error} is missing or not known."
            ) from error

    # House limits ---------------------------------------------------------------------------

    def _limit(self, entry: Mapping[str, Any]) -> None:
        """One house limit, unless the record has one of its own in force in that place."""
        place = {key: entry[key] for key in ("quantity", "family", "scale")}
        if HouseLimit.objects.filter(**place, withdrawn_at__isnull=True).exists():
            return
        dimension = QUANTITIES[entry["quantity"]].dimension.value
        sides = {
            side: read(entry[side], dimension, may_be_zero=True).values[0]
            for side in ("low", "high")
            if side in entry
        }
        limit = HouseLimit(
            **place,
            **sides,
            is_about_sheet=entry.get("about_sheet", False),
            reason=entry["reason"],
        )
        set_house_limit(limit=limit, by=self.hand)
        HouseLimit.objects.filter(pk=limit.pk).update(set_at=_noon(entry["on"]))

    # Vehicles -------------------------------------------------------------------------------

    def _log(self, entry: Mapping[str, Any]) -> Vehicle:
        self.doing = " ".join(entry["lettered"])
        mark, number = entry["lettered"]
        vehicle = Vehicle(
            reporting_mark=mark,
            number=number,
            **{"family": "nmra", "scale": "HO", **entry["what"]},
            **{"currency": "USD", **entry.get("bought", {})},
            storage_box=entry.get("box", ""),
            notes=entry.get("notes", "").strip(),
        )
        vehicle.clean_fields(exclude=["logged_by"])
        wheels, coupler = entry.get("wheels", {}), entry.get("coupler", {})
        running = Running(
            profile_code=wheels.get("code"),
            wheel_material=wheels.get("material", ""),
            tread_diameter=wheels.get("diameter", ""),
            coupler=coupler.get("kind", Coupler.Kind.KNUCKLE),
            mounting=coupler.get("mounting", "body"),
        )
        log_vehicle(vehicle=vehicle, running=running, by=self.hand)
        vehicle.logged_at = _logged_at(vehicle, entry)
        Vehicle.objects.filter(pk=vehicle.pk).update(logged_at=vehicle.logged_at)
        self._hang(entry, add_photos, vehicle=vehicle)
        return vehicle

    def _amend(self, vehicle: Vehicle, entry: Mapping[str, Any]) -> None:
        """What was declared otherwise on a day: its value, its box."""
        self.doing = f"{vehicle}, changed {entry['at']:%Y-%m-%d}"
        now = Vehicle.objects.get(pk=vehicle.pk)
        for name, value in _without(entry, "at").items():
            if name not in DECLARED:
                raise KeyError(name)
            setattr(now, name, value)
        now.clean_fields(exclude=["logged_by"])
        amend_vehicle(vehicle=now, seen_revision=now.revision, by=self.hand, moment=entry["at"])

    def _leave(self, vehicle: Vehicle, entry: Mapping[str, Any]) -> None:
        """How a vehicle left the stock, and why it came back if it did."""
        self.doing = f"{vehicle}, left {entry['at']:%Y-%m-%d}"
        now = Vehicle.objects.get(pk=vehicle.pk)
        left = retire(
            vehicle=now,
            departure=Departure(
                Vehicle.Retired(entry["how"]).value,
                entry["at"].date(),
                entry.get("price"),
                entry.get("note", ""),
            ),
            by=self.hand,
            seen_revision=now.revision,
            moment=entry["at"],
        )
        if "back" in entry:
            bring_back(
                vehicle=left,
                because=entry["because"],
                by=self.hand,
                seen_revision=left.revision,
                moment=entry["back"],
            )

    def _hang(self, entry: Mapping[str, Any], add: Callable[..., object], **of: Any) -> None:
        """The photos of an entry, each added at noon of its day."""
        for each in entry.get("photos", ()):
            with (_fixtures() / "photos" / each["file"]).open("rb") as file:
                photo = NewPhoto(cleaned(file, each["file"]), each["caption"], each["taken_on"])
            add(photos=[photo], by=self.hand, moment=_noon(each["taken_on"]), **of)

    # Inspections ----------------------------------------------------------------------------

    def _inspect(self, vehicle: Vehicle, entry: Mapping[str, Any]) -> None:
        started = entry["at"]
        self.doing = f"{vehicle}, {started:%Y-%m-%d}"
        if "wheels" in entry:
            self._rewheel(vehicle, entry["wheels"], started)
        inspection = open_inspection(
            vehicle=vehicle,
            reason=Inspection.Reason(entry["reason"]),
            by=self.hand,
            uses_gauge=entry.get("by_gauge", False),
            moment=started,
        )
        if inspection.started_at != started:
            raise ValueError("the inspection before it was left open; only the last can be.")
        record(
            inspection=inspection,
            entries=list(self._entries(entry, vehicle.axles)),
            by=self.hand,
            moment=started + READ_AFTER,
        )
        if entry.get("open", False):
            return
        stated = entry.get("outcome")
        service = Service(stated) if stated else standing_proposal(vehicle).service
        finish_inspection(
            inspection=inspection,
            service=service,
            statement=entry.get("statement", ""),
            by=self.hand,
            moment=started + FINISHED_AFTER,
        )
        held = vehicle.holds.filter(released_at__isnull=True).first()
        if held is not None and service in (Service.FIT, Service.ADVICE):
            release(
                held=held,
                done=entry.get("statement") or "Mended, and found within again.",
                by=self.hand,
                moment=started + FINISHED_AFTER + RELEASED_AFTER,
            )

    def _rewheel(self, vehicle: Vehicle, wheels: Mapping[str, Any], moment: datetime) -> None:
        """Other wheelsets, put in since the inspection before."""
        vehicle.refresh_from_db()
        fitted = list(Wheelset.objects.filter(vehicle=vehicle, removed_at__isnull=True))
        for wheelset in fitted:
            wheelset.profile_code = wheels.get("code")
            wheelset.material = wheels.get("material", "")
            wheelset.tread_diameter = wheels.get("diameter", wheelset.tread_diameter)
        amend_running_gear(
            vehicle=vehicle,
            wheelsets=fitted,
            couplers=(),
            exchanged={wheelset.axle for wheelset in fitted},
            seen_revision=vehicle.revision,
            by=self.hand,
            moment=moment,
        )

    def _entries(self, entry: Mapping[str, Any], axles: int) -> Iterator[Entry]:
        taken_with = entry.get("with", {})
        for code, written in entry.items():
            if code in _NOT_QUANTITIES:
                continue
            quantity = QUANTITIES[code]
            for at, typed in _by_place(quantity, written, axles):
                yield self._entry(quantity, at, typed, taken_with)

    def _entry(
        self, quantity: Quantity, at: str, typed: str, taken_with: Mapping[str, str]
    ) -> Entry:
        answer = GaugeResult(typed) if typed in list(GaugeResult) else None
        name = _GAUGE if answer else taken_with.get(quantity.code) or _usual(quantity)
        return Entry(
            quantity.code,
            at,
            self.instruments[name],
            typed="" if answer else typed,
            gauge=answer,
        )

    # The railway ----------------------------------------------------------------------------

    def _lay(self, entry: Mapping[str, Any]) -> None:
        """The railway with its places in the order of the file."""
        self.doing = entry["name"]
        if Railway.objects.filter(name=entry["name"]).exists():
            raise DemoRefused(
                f"This record already holds a railway called {entry['name']}. The demo goes only "
                "into an empty record: name another folder in CARKNOCKER_DATA and load it there."
            )
        parts = ("place", "trackwork", "running", "report", "move", "laid")
        railway = _saved(Railway(**_without(entry, *parts)))
        self.laid = _noon(entry.get("laid", date(2024, 2, 1)))
        for position, each in enumerate(entry["place"], start=1):
            self.doing = each["name"]
            place = _saved(LinePlace(railway=railway, name=each["name"], position=position))
            turnouts = {
                turnout["name"]: _saved(Turnout(place=place, **turnout))
                for turnout in each.get("turnout", ())
            }
            tracks = {
                track["name"]: self._track(place, position_there, track, turnouts)
                for position_there, track in enumerate(each["track"], start=1)
            }
            for industry in each.get("industry", ()):
                self._industry(place, industry, tracks)
        for each in entry.get("trackwork", ()):
            self._trackwork(railway, each)
        for each in sorted(entry.get("move", ()), key=lambda move: move["at"]):
            self._move(railway, each)
        spots = spots_of(railway)
        for each in entry.get("running", ()):
            self._run(railway, each, spots)
        for each in entry.get("report", ()):
            self._report(each, spots)

    def _track(
        self,
        place: LinePlace,
        position: int,
        entry: Mapping[str, Any],
        turnouts: Mapping[str, Turnout],
    ) -> Track:
        self.doing = f"{entry['name']}, {place}"
        track = _saved(
            Track(
                place=place,
                position=position,
                **_end("a", entry["from"], turnouts),
                **_end("b", entry["to"], turnouts),
                **_without(entry, "from", "to", "standing"),
            )
        )
        put(vehicles=self._lettered(entry.get("standing", ())), track=track)
        return track

    def _industry(
        self, place: LinePlace, entry: Mapping[str, Any], tracks: Mapping[str, Track]
    ) -> None:
        self.doing = f"{entry['name']}, {place}"
        industry = _saved(Industry(place=place, name=entry["name"]))
        industry.tracks.set([tracks[name] for name in entry["tracks"]])
        for each in entry.get("traffic", ()):
            _saved(Traffic(industry=industry, **each))
        for vehicle in self._lettered(entry.get("homes", ())):
            since = max(self.laid, vehicle.logged_at + HOME_AFTER)
            give_homes(industry=industry, vehicles=[vehicle], by=self.hand, moment=since)

    def _move(self, railway: Railway, entry: Mapping[str, Any]) -> None:
        """Vehicles that got another home, or another home track."""
        self.doing = f"move of {entry['at']:%Y-%m-%d}"
        vehicles, about = self._lettered(entry["who"]), {"by": self.hand, "moment": entry["at"]}
        for word, write in (("leave", take_homes), ("join", give_homes)):
            if word in entry:
                place, name = entry[word]
                industry = railway.places.get(name=place).industries.get(name=name)
                write(industry=industry, vehicles=vehicles, **about)
        if "track" in entry:
            place, name = entry["track"]
            track = railway.places.get(name=place).tracks.get(name=name)
            for vehicle in vehicles:
                set_home_track(vehicle=vehicle, track=track, **about)

    def _trackwork(self, railway: Railway, entry: Mapping[str, Any]) -> None:
        """A piece of trackwork and what was measured of it."""
        place = railway.places.get(name=entry["place"])
        self.doing = f"{entry.get('turnout') or entry['name']}, {place}"
        if "turnout" in entry:
            piece = trackwork_of(turnout=place.turnouts.get(name=entry["turnout"]))
            piece.rail_code = entry.get("rail_code")
        else:
            declared = _without(entry, "place", "track", "inspection", "photos")
            piece = Trackwork(place=place, **declared)
            piece.track = place.tracks.get(name=entry["track"]) if "track" in entry else None
        _saved(piece)
        self._hang(entry, trackwork_recording.add_photos, trackwork=piece)
        for each in entry.get("inspection", ()):
            self._measure_track(piece, each)

    def _measure_track(self, piece: Trackwork, entry: Mapping[str, Any]) -> None:
        started = entry["at"]
        inspection = trackwork_recording.open_inspection(
            trackwork=piece,
            reason=Inspection.Reason(entry["reason"]),
            by=self.hand,
            uses_gauge=entry.get("by_gauge", False),
            moment=started,
        )
        trackwork_recording.record(
            inspection=inspection,
            entries=[
                self._entry(QUANTITIES[code], step.at, typed, entry.get("with", {}))
                for step in track_steps_for(piece)
                for code, typed in entry.get(step.at or step.slug, {}).items()
            ],
            by=self.hand,
            moment=started + READ_AFTER,
        )
        trackwork_recording.finish_inspection(
            inspection=inspection,
            statement=entry.get("statement", ""),
            by=self.hand,
            moment=started + FINISHED_AFTER,
        )

    # Running and trouble --------------------------------------------------------------------

    def _run(self, railway: Railway, entry: Mapping[str, Any], spots: list[Spot]) -> None:
        self.doing = f"running of {entry['on']}"
        note_running(
            railway=railway,
            held_on=entry["on"],
            passages=entry["laps"],
            vehicles=self._lettered(entry["ran"]),
            spots=[
                spot
                for spot in spots
                if spot.place.name in entry["places"] and spot.kind != "place"
            ],
            by=self.hand,
        )

    def _report(self, entry: Mapping[str, Any], spots: list[Spot]) -> None:
        self.doing = f"report of {entry['at']:%Y-%m-%d %H:%M}"
        kind = "turnout" if "turnout" in entry else "track"
        place, name = entry[kind]
        spot = {
            (each.kind, each.place.name, getattr(each.part, "name", "")): each for each in spots
        }[kind, place, name]
        incident = keep_report(
            seen=Seen(
                spot=spot,
                happened=Happening(entry["happened"]),
                happened_at=entry["at"],
                first=self.fleet[tuple(entry["first"])],
                ahead=self.fleet[tuple(entry["ahead"])] if "ahead" in entry else None,
                way=entry.get("way", ""),
                effort=entry.get("effort", ""),
                note=entry.get("note", ""),
            ),
            by=self.hand,
        )
        Incident.objects.filter(pk=incident.pk).update(reported_at=entry["at"])
        self._hang(entry, add_photos_of_report, incident=incident)

    def _lettered(self, written: Iterable[list[str]]) -> list[Vehicle]:
        return [self.fleet[tuple(each)] for each in written]


# --- Small steps ------------------------------------------------------------------------------


def _by_place(
    quantity: Quantity, written: str | list[str], axles: int
) -> Iterator[tuple[str, str]]:
    """What was written of one quantity as (place, text), without the places left out."""
    if quantity.place is Place.VEHICLE:
        if not isinstance(written, str):
            raise ValueError(f"{quantity.name} is one text, for the whole vehicle.")
        yield "", written
        return
    places = ["A", "B"] if quantity.place is Place.END else [str(n + 1) for n in range(axles)]
    if isinstance(written, str) or len(written) > len(places):
        raise ValueError(
            f"{quantity.name} is a list of at most {len(places)} texts, "
            f"one for each {quantity.place.value}."
        )
    yield from ((at, typed) for at, typed in zip(places, written, strict=False) if typed)


def _saved(made: Made) -> Made:
    made.full_clean()
    made.save()
    return made


def _without(entry: Mapping[str, Any], *keys: str) -> dict[str, Any]:
    return {key: value for key, value in entry.items() if key not in keys}


def _end(
    end: str, written: str | list[str], turnouts: Mapping[str, Turnout]
) -> dict[str, str | Turnout]:
    """What a track was measured from or to, as the fields of its end."""
    if isinstance(written, str):
        return {f"{end}_reference": written}
    reference, turnout, leg = written
    return {f"{end}_reference": reference, f"{end}_turnout": turnouts[turnout], f"{end}_leg": leg}


def _usual(quantity: Quantity) -> str:
    if quantity.code in BY_RULE:
        return "Steel rule"
    return _USUAL.get(quantity.dimension, "Test incline")


def _dated(
    logged: Iterable[tuple[Vehicle, Mapping[str, Any]]], what: str
) -> list[tuple[Vehicle, Mapping[str, Any]]]:
    """What the file tells of that kind of every vehicle, by date."""
    told = [(vehicle, each) for vehicle, entry in logged for each in entry.get(what, ())]
    return sorted(told, key=lambda pair: pair[1]["at"])


def _noon(day: date) -> datetime:
    return datetime.combine(day, time(12), UTC)


def _logged_at(vehicle: Vehicle, entry: Mapping[str, Any]) -> datetime:
    """A vehicle is logged when the file says so, else as its first inspection begins, else on the
    day it was bought."""
    if "logged" in entry:
        return entry["logged"]
    if "inspection" in entry:
        return min(each["at"] for each in entry["inspection"])
    return _noon(vehicle.acquired_on) if vehicle.acquired_on else _noon(date(2024, 2, 1))
