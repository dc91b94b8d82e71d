"""An invented record of any size for the load benchmark.

A hundred vehicles and one railway are made through the product's own writers: every reading is
typed, every verdict is what the pure judging says of it. They are then copied in bulk, row by row
with shifted keys, other marks, numbers and boxes, so that a large record takes minutes and not
days. What a copy holds is what its original was judged to be. A hundred vehicles more bring one
running session and three reports, a thousand one railway more, with its tracks, industries,
measured turnouts and what stands there.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal

from django.db import connection, transaction
from django.db.models import Model
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.models import (
    Coupler,
    Inspection,
    Instrument,
    Reading,
    Vehicle,
    Verdict,
    Wheelset,
)
from inventory.stock.recording import (
    Running,
    finish_inspection,
    log_vehicle,
    open_inspection,
    record,
)
from inventory.stock.taking import Entry
from inventory.track.models import (
    Home,
    HomeTrack,
    Industry,
    Place,
    Railway,
    Standing,
    Track,
    Traffic,
    Turnout,
)
from inventory.trackwork import recording as track_recording
from inventory.trackwork.models import TrackInspection, TrackReading, TrackVerdict, Trackwork
from inventory.trouble.models import Hold, Incident, Involved, RunningSession, Turn
from inventory.trouble.recording import Seen, note_running, report
from inventory.trouble.spots import spots_of
from standards.conformity import Outcome
from standards.judging import Service

SEED = 1879
#: Vehicles that go through the writers; every further hundred is a copy of them.
PATTERN = 100
#: Those of the hundred that were inspected three times.
OFTEN = (7, 17)
#: Keys of a copy are those of its original and a multiple of this.
STEP = 20_000
#: So many hundreds of vehicles share a railway.
HUNDREDS_A_RAILWAY = 10

#: What a vehicle is, how many of a hundred there are, and what happened to them.
_FLEET = (
    # number, category, kind, family, scale, axles, what of it
    (30, "freight", "boxcar", "nmra", "HO", 2, "fit"),
    (14, "freight", "hopper", "nmra", "HO", 4, "fit"),
    (8, "freight", "gondola", "nmra", "HO", 2, "advice"),
    (4, "locomotive", "tank engine", "nmra", "HO", 3, "fit"),
    (2, "freight", "reefer", "nmra", "HO", 2, "bad order"),
    (3, "freight", "stock car", "nmra", "HO", 2, "never"),
    (2, "freight", "tank car", "nmra", "HO", 2, "open"),
    (17, "freight", "covered wagon", "nem", "H0", 2, "fit"),
    (20, "freight", "open wagon", "nmra", "N", 2, "fit"),
)
_WHEELS = {
    "HO": ("14.47", "0.76", "0.62", "2.79"),
    "H0": ("14.45", "0.80", "0.60", "2.90"),
    "N": ("7.65", "0.54", "0.45", "1.75"),
}
_LENGTHS = {"HO": 150, "H0": 140, "N": 80}
_MAKERS = ("Alder & Finch", "Brookside", "Corran", "Dunmore", "Eskdale", "Fell & Son", "Garth", "")


def pattern(owner: Person) -> None:
    """The hundred vehicles and the railway of which all others are copies."""
    chance = random.Random(SEED)
    railway = _railway(owner)
    vehicles, number = [], 0
    for many, *facts in _FLEET:
        for _ in range(many):
            number += 1
            vehicles.append(_vehicle(owner, number, facts, chance))
    _on_the_railway(owner, railway, vehicles)


def _vehicle(owner: Person, number: int, facts: list, chance: random.Random) -> Vehicle:
    category, kind, family, scale_code, axles, state = facts
    vehicle = log_vehicle(
        vehicle=Vehicle(
            reporting_mark=f"BR{'ABCDEFGH'[number % 8]}",
            number=str(number),
            category=category,
            kind=kind,
            family=family,
            scale=scale_code,
            axles=axles,
            maker=_MAKERS[number % 8],
            catalogue_number=str(1000 + number),
            storage_box=str(number // 10),
            minimum_radius=Decimal(300 + 10 * (number % 8)),
            has_buffers=family == "nem",
        ),
        running=Running(profile_code=None if family == "nem" else 110 if axles != 2 else None),
        by=owner,
    )
    if state == "never":
        return vehicle
    moment = timezone.now() - timedelta(days=20 + 5 * number)
    typed = _typed(vehicle, state, number, chance)
    if number in OFTEN:  # inspected three times, its wheels a little narrower each time
        for years, back_to_back in ((3, "14.55"), (2, "14.51")):
            earlier = typed | {("back_to_back", "1"): back_to_back}
            _inspect(owner, vehicle, earlier, state, moment - timedelta(days=365 * years))
    _inspect(owner, vehicle, typed, state, moment)
    return vehicle


def _inspect(
    owner: Person,
    vehicle: Vehicle,
    typed: dict[tuple[str, str], str],
    state: str,
    moment: datetime,
) -> None:
    inspection = open_inspection(vehicle=vehicle, reason="new", by=owner, moment=moment)
    entries = [Entry(*key, _instrument(key[0]), typed=text) for key, text in typed.items()]
    record(inspection=inspection, entries=entries, by=owner, moment=moment)
    if state != "open":
        finish_inspection(
            inspection=inspection,
            service={"advice": Service.ADVICE, "bad order": Service.BAD_ORDER}.get(
                state, Service.FIT
            ),
            statement="As the load benchmark states it.",
            by=owner,
            moment=moment + timedelta(hours=1),
        )


def _instrument(quantity: str) -> Instrument:
    name = "Scale, 1 g" if quantity == "mass" else "Digital caliper"
    return Instrument.objects.get(name=name)


def _typed(
    vehicle: Vehicle, state: str, number: int, chance: random.Random
) -> dict[tuple[str, str], str]:
    back_to_back, flange, depth, width = _WHEELS[vehicle.scale]
    if state == "bad order":
        back_to_back = "14.10"
    typed = {}
    for axle in map(str, range(1, vehicle.axles + 1)):
        typed |= {
            ("back_to_back", axle): back_to_back,
            ("flange_thickness", axle): flange,
            ("flange_depth", axle): depth,
            ("tyre_width", axle): width,
        }
    length = _LENGTHS[vehicle.scale] + chance.randint(-200, 400) / 10
    typed["length_over_couplers", ""] = f"{length:.1f}"
    typed["height", ""] = f"{length / 4:.1f}"
    if number % 10 == 0:  # of one in ten the body was measured too
        typed["body_length", ""] = f"{length - 12:.1f}"
        typed["body_width", ""] = f"{length / 5:.1f}"
        typed["rigid_wheelbase", ""] = f"{length / 2:.1f}"
    typed["mass", ""] = f"{chance.randint(80, 140)} g"
    return typed


# --- The railway ------------------------------------------------------------------------------


def _railway(owner: Person) -> Railway:
    railway = Railway.objects.create(name="Load branch", family="nmra", scale="HO")
    caliper = Instrument.objects.get(name="Digital caliper")
    for position in range(1, 5):
        place = Place.objects.create(railway=railway, name=f"Place {position}", position=position)
        turnout = Turnout.objects.create(place=place, name="East turnout", frog_number=Decimal(6))
        tracks = [
            Track.objects.create(
                place=place,
                name=f"Track {number}",
                position=number,
                measured=Decimal(1800 + 50 * number),
                a_reference="frog" if number == 2 else "clearance mark",
                a_turnout=turnout,
                b_reference="buffer stop",
                duty=("running", "loop", "class", "loading", "storage")[number - 1],
                radius=Decimal(600),
            )
            for number in range(1, 6)
        ]
        industry = Industry.objects.create(place=place, name=f"Mill {position}")
        industry.tracks.set(tracks[3:4])
        Traffic.objects.create(
            industry=industry,
            goods="flour",
            kinds="boxcar, covered wagon",
            cars_per_session=Decimal("1.5"),
            sessions_away=Decimal(4),
        )
        _measured(track_recording.trackwork_of(turnout=turnout), owner, caliper)
    return railway


def _measured(piece: Trackwork, owner: Person, caliper: Instrument) -> None:
    """Lawful by S-3.2 for HO, and agreeing with itself."""
    sizes = {
        "track_gauge": "16.60",
        "check_gauge": "15.44",
        "span": "14.25",
        "flangeway": "1.19",
        "flangeway_guard": "1.16",
        "flangeway_depth": "0.90",
    }
    inspection = track_recording.open_inspection(trackwork=piece, reason="new", by=owner)
    entries = [
        Entry(quantity, leg, caliper, typed=typed)
        for quantity, typed in sizes.items()
        for leg in piece.legs
    ]
    track_recording.record(inspection=inspection, entries=entries, by=owner)
    track_recording.finish_inspection(inspection=inspection, statement="", by=owner)


def _on_the_railway(owner: Person, railway: Railway, vehicles: list[Vehicle]) -> None:
    """Twelve of a hundred stand there, five have a home, six ran, three went off."""
    tracks = list(Track.objects.filter(place__railway=railway).order_by("pk"))
    able = [each for each in vehicles if each.kind in ("boxcar", "hopper")]
    Standing.objects.bulk_create(
        Standing(track=tracks[index % len(tracks)], vehicle=vehicle, position=index + 1)
        for index, vehicle in enumerate(able[::3][:12])
    )
    industries = list(Industry.objects.order_by("pk"))
    Home.objects.bulk_create(
        Home(vehicle=vehicle, industry=industries[index % len(industries)])
        for index, vehicle in enumerate(able[:5])
    )
    HomeTrack.objects.create(vehicle=able[0], track=tracks[0])
    spots = [spot for spot in spots_of(railway) if spot.kind == "turnout"]
    note_running(
        railway=railway,
        held_on=timezone.localdate() - timedelta(days=1),
        passages=12,
        vehicles=able[::3][:6],
        spots=spots,
        by=owner,
    )
    for index, vehicle in enumerate((able[0], able[3], able[6])):
        seen = Seen(
            spot=spots[index % 2],
            happened="frog-climb",
            happened_at=timezone.now() - timedelta(days=1),
            first=vehicle,
            behind=able[9],
        )
        report(seen=seen, by=owner)


# --- Copies -----------------------------------------------------------------------------------

_OF_RAILWAYS: tuple[type[Model], ...] = (
    Railway,
    Place,
    Turnout,
    Track,
    Industry,
    Industry.tracks.through,
    Traffic,
    Trackwork,
    TrackInspection,
    TrackReading,
    TrackVerdict,
)
_OF_VEHICLES: tuple[type[Model], ...] = (
    Vehicle,
    Wheelset,
    Coupler,
    Inspection,
    Reading,
    Verdict,
    Standing,
    Home,
    HomeTrack,
    Incident,
    Involved,
    Hold,
    RunningSession,
    Turn,
    Turn.vehicles.through,
    Turn.turnouts.through,
)
_ITS_RAILWAY = f"(g / {HUNDREDS_A_RAILWAY} * {HUNDREDS_A_RAILWAY})"
#: What a copy has of its own: by table and column, in SQL, of the copy's number g.
_OWN = {
    ("track_railway", "name"): "name || ' ' || g",
    ("stock_vehicle", "uid"): "substr(uid, 1, 20) || printf('%012x', g)",
    ("stock_vehicle", "reporting_mark"): "reporting_mark || (g % 40)",
    ("stock_vehicle", "number"): "CAST(id + 100 * g AS TEXT)",
    ("stock_vehicle", "number_key"): "printf('%08d', id + 100 * g)",
    ("stock_vehicle", "storage_box"): "CAST(CAST(storage_box AS INTEGER) + 10 * g AS TEXT)",
    ("stock_vehicle", "search_text"): (
        "substr(search_text, 1, instr(search_text, char(10))) || lower(reporting_mark || (g % 40) "
        "|| char(10) || CAST(id + 100 * g AS TEXT) || char(10) || char(10) || kind || char(10) || "
        "maker || char(10) || catalogue_number || char(10) || "
        "CAST(CAST(storage_box AS INTEGER) + 10 * g AS TEXT))"
    ),
    ("trouble_runningsession", "held_on"): "date(held_on, '-' || g || ' days')",
    ("track_standing", "position"): "position + 100 * g",
}


@dataclass
class Built:
    """A record as it grows. hundreds: how many copies of the pattern are in it, with it."""

    owner: Person
    hundreds: int = 1
    own: dict = field(default_factory=lambda: dict(_OWN))

    @classmethod
    def begin(cls) -> Built:
        """The first hundred, through the writers."""
        owner = Person.objects.create_user(
            "owner", role=Person.Role.OWNER, is_staff=True, is_superuser=True
        )
        pattern(owner)
        return cls(owner)

    @transaction.atomic
    def grow(self, vehicles: int) -> None:
        """Copy the pattern until there are so many vehicles."""
        hundreds = vehicles // PATTERN
        for model in _OF_RAILWAYS:
            first = -(-self.hundreds // HUNDREDS_A_RAILWAY) * HUNDREDS_A_RAILWAY
            self._copy(model, range(first, hundreds, HUNDREDS_A_RAILWAY))
        for model in _OF_VEHICLES:
            self._copy(model, range(self.hundreds, hundreds))
        self.hundreds = max(self.hundreds, hundreds)

    def _copy(self, model: type[Model], copies: range) -> None:
        """Copy every row of the pattern once for each number of `copies`."""
        if not copies:
            return
        table, columns, values = model._meta.db_table, [], []
        for each in model._meta.concrete_fields:
            columns.append(f'"{each.column}"')
            values.append(self._value(model, each))
        with connection.cursor() as cursor:
            cursor.execute(f"SELECT max(id) FROM {table}")
            if self.hundreds == 1 and (cursor.fetchone()[0] or 0) >= STEP:
                raise RuntimeError(f"{table}: more rows in the pattern than {STEP}.")
            cursor.execute(
                f"INSERT INTO {table} ({', '.join(columns)}) "
                f"WITH RECURSIVE copies(g) AS (SELECT {copies.start} UNION ALL "
                f"SELECT g + {copies.step} FROM copies WHERE g + {copies.step} < {copies.stop}) "
                f"SELECT {', '.join(values)} FROM copies, {table} AS old WHERE old.id < {STEP}"
            )

    def _value(self, model: type[Model], column) -> str:
        """One column of a copy, in SQL."""
        name = f'old."{column.column}"'
        own = self.own.get((model._meta.db_table, column.column))
        if own is not None:
            return own
        target = column.related_model if column.is_relation else None
        if column.primary_key or target in _OF_VEHICLES:
            return f"{name} + {STEP} * g"
        if target in _OF_RAILWAYS:
            inside = model in _OF_RAILWAYS
            return f"{name} + {STEP} * {'g' if inside else _ITS_RAILWAY}"
        return name


def rows() -> dict[str, int]:
    """How many rows the largest tables have."""
    return {
        model._meta.verbose_name_plural: model._base_manager.count()
        for model in (Vehicle, Reading, Verdict, Incident, Hold, Turn, Railway)
    }


def undecided() -> int:
    """How many verdicts of the pattern are undecided."""
    return Verdict.objects.filter(
        inspection__vehicle__lt=STEP, outcome=Outcome.UNDECIDED.value
    ).count()
