"""What may be asked, what is answered, and where it is found: every endpoint, declared once.

A list is read in the order in which things were entered, a page after the last one seen, so that
what comes in meanwhile moves nothing. Every page costs the same number of queries.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db.models import QuerySet
from django.urls import reverse

from inventory.reader.shapes import (
    DAY,
    LINK,
    MEASURE,
    MOMENT,
    NUMBER,
    TEXT,
    UID,
    WHOLE,
    YES_NO,
    Field,
    Schema,
    Shape,
    day,
    given,
    list_of,
    measure,
    moment,
    or_null,
    page_of,
    word,
)
from inventory.stock.filters import VehicleFilter
from inventory.stock.models import Reading, Vehicle, Verdict
from inventory.track.fit import Answer, Stood, answers, stood
from inventory.track.models import Railway, Standing, Track
from inventory.track.standing import candidates
from inventory.trouble.models import Hold, Incident
from inventory.trouble.recording import waits_of
from standards.causes import Happening
from standards.conformity import Outcome
from standards.judging import GaugeResult, Service
from standards.quantities import QUANTITIES

MOST, USUAL = 100, 50


class NotThere(Exception):
    """Nothing of that name; says so in words."""


class Unasked(Exception):
    """A parameter that cannot be understood; says which and what would do, in words."""


# --- Parameters -------------------------------------------------------------------------------


def _text(text: str) -> str:
    if "\0" in text or len(text) > 200:
        raise ValueError(text)
    return text


@dataclass(frozen=True)
class Parameter:
    """What a list can be narrowed by. read: its text -> its value, or raises ValueError."""

    name: str
    schema: Schema
    means: str
    read: Callable[[str], Any] = _text

    def value(self, text: str) -> Any:
        """The value of what was typed. Raises Unasked."""
        words = self.schema.get("enum")
        if words is not None and text not in words:
            raise Unasked(f"{self.name}: “{text[:60]}” is none of {', '.join(words)}.")
        try:
            return self.read(text)
        except ValueError:
            raise Unasked(f"{self.name}: “{text[:60]}” does not do. {self.means}") from None


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and len(text) < 17):
            raise ValueError(text)
        if not low <= int(text) <= high:
            raise ValueError(text)
        return int(text)

    return read


_AFTER = Parameter(
    "after",
    {"type": "integer", "minimum": 0},
    "Where to go on; take it from “next” as it is.",
    _whole(0, 10**15),
)
_LIMIT = Parameter(
    "limit",
    {"type": "integer", "minimum": 1, "maximum": MOST, "default": USUAL},
    f"How many a page, from 1 to {MOST}.",
    _whole(1, MOST),
)
PAGED = (_AFTER, _LIMIT)
_KEY: Schema = {"type": "integer", "minimum": 1}


@dataclass(frozen=True)
class Endpoint:
    """One address that answers.

    path: below the interface, as Django writes it. find: from what was asked to the answer, ready
    to be sent; it takes the parts of the path and the parameters by name.
    """

    path: str
    name: str
    summary: str
    means: str
    answer: Shape
    find: Callable[..., dict[str, Any]]
    parameters: tuple[Parameter, ...] = ()
    parts: Mapping[str, tuple[Schema, str, str]] = field(default_factory=dict)
    example: str = ""


def _page(
    query: QuerySet, asked: Mapping[str, Any], name: str, parts: Mapping[str, Any] | None = None
) -> tuple[list[Any], str | None]:
    """A page of a query by key, and the address of the next one."""
    limit = asked.get("limit", USUAL)
    found = list(query.filter(pk__gt=asked.get("after", 0)).order_by("pk")[: limit + 1])
    if len(found) <= limit:
        return found, None
    found = found[:limit]
    return found, _next(name, asked, found[-1].pk, parts)


def _next(
    name: str, asked: Mapping[str, Any], last: int, parts: Mapping[str, Any] | None = None
) -> str:
    query = {**asked, "after": last}
    return reverse(f"reader:{name}", kwargs=dict(parts or {}), query=query)


# --- Vehicles ---------------------------------------------------------------------------------

_STATES = [each.value for each in Service]


def _price(value: Any, currency: str) -> dict[str, str] | None:
    return None if value is None else {"value": f"{value:f}", "unit": currency}


VEHICLE_NAME = Shape(
    "VehicleName",
    "A vehicle by its lasting name, and as it is lettered.",
    (
        Field("uid", UID, lambda v: str(v.uid), "Its lasting name.",
              "0b6c9a3e-58a7-4b0e-9d0f-2f4f5b1f7a10"),
        Field("identity", TEXT, lambda v: v.identity, "Its marks and number.", "HFQ 7"),
        Field("href", LINK, lambda v: reverse("reader:vehicle", args=[v.uid]),
              "Where all of it is.", "/api/vehicles/0b6c9a3e-58a7-4b0e-9d0f-2f4f5b1f7a10/"),
    ),
)  # fmt: skip

_DECLARED = (
    *VEHICLE_NAME.fields,
    Field("reporting_mark", TEXT, given("reporting_mark"), "Its railway or marks.", "HFQ"),
    Field("number", TEXT, given("number"), "Its running number.", "7"),
    Field("name", TEXT, given("name"), "Its name.", ""),
    Field("category", word(Vehicle.Category.values), given("category"), "What it is.",
          "locomotive"),
    Field("kind", TEXT, given("kind"), "In plain words.", "diesel locomotive"),
    Field("aar_designation", TEXT, given("aar_designation"), "AAR mechanical designation.", ""),
    Field("uic_letter", TEXT, given("uic_letter"), "UIC class letter.", ""),
    Field("family", TEXT, given("family"), "Its family of standards.", "nmra"),
    Field("scale", TEXT, given("scale"), "Its scale, as the family calls it.", "HO"),
    Field("axles", WHOLE, given("axles"), "How many axles.", 4),
    Field("has_buffers", YES_NO, given("has_buffers"), "Whether it has side buffers.", False),
    Field("maker", TEXT, given("maker"), "Who made it.", "Nimbrook Models"),
    Field("catalogue_number", TEXT, given("catalogue_number"), "The maker's number.", "4407"),
    Field("era", TEXT, given("era"), "Its era or epoch.", "1950s"),
    Field("storage_box", TEXT, given("storage_box"), "Where it is kept.", "Drawer 1"),
    Field("minimum_radius", or_null(MEASURE), lambda v: measure(v.minimum_radius, "mm"),
          "The sharpest curve that it goes round.", {"value": "380", "unit": "mm"}),
    Field("acquired_on", or_null(DAY), lambda v: day(v.acquired_on), "When it was acquired.",
          "2024-02-10"),
    Field("price", or_null(MEASURE), lambda v: _price(v.price, v.currency),
          "What it cost; the unit is the currency by ISO 4217.",
          {"value": "94.00", "unit": "USD"}),
    Field("present_value", or_null(MEASURE), lambda v: _price(v.value, v.currency),
          "What it is worth.", {"value": "85.00", "unit": "USD"}),
    Field("service", word(_STATES), given("service"), "Whether it may run.", "fit to run"),
    Field("held_because", TEXT, given("held_because"),
          "Why it is out of service; empty where it is not.", ""),
    Field("visitor", TEXT, given("visitor"), "Whose it is, where it is not ours.", ""),
    Field("retired_as", word(["", *Vehicle.Retired.values]), given("retired_as"),
          "How it left the stock; empty while it has not.", ""),
    Field("retired_on", or_null(DAY), lambda v: day(v.retired_on), "When it left.", None),
    Field("logged_at", MOMENT, lambda v: moment(v.logged_at), "When it was logged.",
          "2024-02-17T19:30:00Z"),
)  # fmt: skip

VEHICLE = Shape("Vehicle", "A vehicle as declared, and whether it may run.", _DECLARED)

WHEELSET = Shape(
    "Wheelset",
    "A wheelset that is in, as declared.",
    (
        Field("axle", WHOLE, given("axle"), "Which axle, from 1.", 1),
        Field("profile_code", or_null(WHOLE), given("profile_code"), "Its RP-25 code.", 110),
        Field("material", TEXT, given("material"), "What it is made of.", "metal"),
        Field("tread_diameter", TEXT, given("tread_diameter"), "As its maker states it.",
              "33 in prototype"),
        Field("fitted_at", or_null(MOMENT), lambda w: moment(w.fitted_at),
              "When it was fitted; null where it came so.", None),
    ),
)  # fmt: skip

COUPLER = Shape(
    "Coupler",
    "The coupler at one end, as declared.",
    (
        Field("end", word(["A", "B"]), given("end"), "At which end.", "A"),
        Field("kind", TEXT, given("kind"), "What it is.", "knuckle"),
        Field("mounting", TEXT, given("mounting"), "What carries it.", "body"),
    ),
)


def _unit(thing: Any) -> str:
    return QUANTITIES[thing.quantity].unit


_GAUGE = or_null(word([each.value for each in GaugeResult]))
_U = or_null(NUMBER)

READING = Shape(
    "Reading",
    "The latest reading of a quantity at a place within an inspection.",
    (
        Field("quantity", TEXT, given("quantity"), "What was measured.", "back_to_back"),
        Field("label", TEXT, given("label"), "The same in words.", "Back-to-back, axle 1"),
        Field("at", TEXT, given("at"), "The axle or end; empty for the whole.", "1"),
        Field("typed", TEXT, given("typed"), "As it was typed.", "14.47"),
        Field("gauge", _GAUGE, lambda r: r.gauge or None, "What a gauge said.", None),
        Field("value", or_null(MEASURE), lambda r: measure(r.value, _unit(r)), "The value.",
              {"value": "14.47", "unit": "mm"}),
        Field("u", _U, given("u"), "Its standard uncertainty, in the same unit.", 0.0291),
        Field("instrument", TEXT, lambda r: r.instrument.name, "What it was taken with.",
              "Digital caliper"),
        Field("taken_at", MOMENT, lambda r: moment(r.taken_at), "When.", "2024-02-17T19:42:00Z"),
        Field("taken_by", TEXT, lambda r: str(r.taken_by), "Who took it.", "bench"),
    ),
)  # fmt: skip

_SOURCE: Schema = {
    "type": "object",
    "properties": {"id": TEXT, "short": TEXT, "edition": TEXT},
    "required": ["id", "short", "edition"],
}

_VERDICT = (
    Field("quantity", TEXT, given("quantity"), "What was judged.", "back_to_back"),
    Field("label", TEXT, given("label"), "The same in words.", "Back-to-back, axle 1"),
    Field("at", TEXT, given("at"), "The axle or end; empty for the whole.", "1"),
    Field("outcome", word([each.value for each in Outcome]), given("outcome"),
          "What was made of it.", "within"),
    Field("value", or_null(MEASURE), lambda v: measure(v.value, _unit(v)), "What was judged.",
          {"value": "14.47", "unit": "mm"}),
    Field("expanded", _U, given("expanded"),
          "Its expanded uncertainty at 95 %, in the same unit.", 0.057),
    Field("gauge", _GAUGE, lambda v: v.gauge or None, "What a gauge said.", None),
    Field("probability", _U, given("probability"),
          "How sure it is that the value lies inside the limits.", 0.998),
    Field("low", or_null(MEASURE), lambda v: measure(v.low, _unit(v)), "The lower limit.",
          {"value": "14.3764", "unit": "mm"}),
    Field("low_basis", TEXT, given("low_basis"), "Where it comes from.", "S-4.2"),
    Field("high", or_null(MEASURE), lambda v: measure(v.high, _unit(v)), "The upper limit.",
          {"value": "14.605", "unit": "mm"}),
    Field("high_basis", TEXT, given("high_basis"), "Where it comes from.", "K max less flange"),
    Field("nominal", or_null(MEASURE), lambda v: measure(v.nominal, _unit(v)),
          "What it should be.", None),
    Field("is_advisory", YES_NO, given("is_advisory"), "Whether it only advises.", False),
    Field("is_by_house", YES_NO, given("is_by_house"), "Whether a house limit judged.", False),
    Field("note", TEXT, given("note"), "What has to be said with it.", ""),
    Field("sheets", list_of(_SOURCE), given("sheets"), "The tables by which it was judged.",
          [{"id": "nmra-s-4.2", "short": "S-4.2", "edition": "2019"}]),
    Field("rule", TEXT, given("rule"), "The decision rule.", "95%"),
    Field("judged_at", MOMENT, lambda v: moment(v.judged_at), "When.", "2024-02-17T19:42:00Z"),
)  # fmt: skip

VERDICT = Shape("Verdict", "The latest word on a quantity at a place of a vehicle.", _VERDICT)

SPOT = Shape(
    "Spot",
    "Where a vehicle stands.",
    (
        Field("track", TEXT, lambda s: s.track.name, "The track.", "House track"),
        Field("place", TEXT, lambda s: s.track.place.name, "The place.", "Sedgeway"),
        Field("railway", TEXT, lambda s: s.track.place.railway.name, "The railway.", "Branch"),
        Field("href", LINK, lambda s: reverse("reader:track", args=[s.track_id]),
              "Where all of that track is.", "/api/tracks/1/"),
    ),
)  # fmt: skip

ONE_VEHICLE = Shape(
    "OneVehicle",
    "A vehicle with its wheels, its latest readings and the verdicts that stand.",
    (
        *_DECLARED,
        Field("notes", TEXT, given("notes"), "Notes.", ""),
        Field("wheelsets", list_of(WHEELSET),
              lambda v: [WHEELSET.say(each) for each in v.fitted_wheelsets],
              "The wheelsets that are in.", [WHEELSET.example]),
        Field("couplers", list_of(COUPLER),
              lambda v: [COUPLER.say(each) for each in v.couplers.all()],
              "The couplers.", [COUPLER.example]),
        Field("readings", list_of(READING), lambda v: [READING.say(r) for r in v.latest],
              "The current readings of all inspections, the earliest first.", [READING.example]),
        Field("verdicts", list_of(VERDICT), lambda v: [VERDICT.say(j) for j in v.standing_now],
              "The verdicts that stand, in the order of the bench.", [VERDICT.example]),
        Field("stands_on", or_null(SPOT), lambda v: v.spot and SPOT.say(v.spot),
              "Where it stands now; null off the railway.", SPOT.example),
    ),
)  # fmt: skip


def _vehicles(asked: Mapping[str, Any]) -> dict[str, Any]:
    query = Vehicle.everyone.all()
    for name, kept in (("retired", "retired_as"), ("visitors", "visitor")):
        how = asked.get(name, "no")
        if how == "no":
            query = query.filter(**{kept: ""})
        elif how == "only":
            query = query.exclude(**{kept: ""})
    for name in ("service", "category", "family", "scale"):
        if name in asked:
            query = query.filter(**{name: asked[name]})
    if "q" in asked:
        query = VehicleFilter(data={}, queryset=query).search(query, "q", asked["q"])
    found, after = _page(query, asked, "vehicles")
    return {"items": [VEHICLE.say(each) for each in found], "next": after}


def _vehicle(asked: Mapping[str, Any], uid: UUID) -> dict[str, Any]:
    found = Vehicle.everyone.for_page().filter(uid=uid).first()
    if found is None:
        raise NotThere("There is no vehicle of that uid.")
    found.latest = list(
        Reading.objects.filter(is_current=True, inspection__vehicle=found)
        .select_related("instrument", "taken_by")
        .order_by("taken_at", "pk")
    )
    found.standing_now = Verdict.objects.standing_for(found)
    found.spot = (
        Standing.objects.filter(vehicle=found).select_related("track__place__railway").first()
    )
    return ONE_VEHICLE.say(found)


# --- Verdicts ---------------------------------------------------------------------------------

OF_VEHICLE = Field(
    "vehicle", VEHICLE_NAME.reference, lambda v: VEHICLE_NAME.say(v.inspection.vehicle),
    "Of which vehicle.", VEHICLE_NAME.example,
)  # fmt: skip

STANDING_VERDICT = Shape(
    "StandingVerdict",
    "The latest word on a quantity at a place, with the vehicle that it is of.",
    (OF_VEHICLE, *_VERDICT),
)


def _verdicts(asked: Mapping[str, Any]) -> dict[str, Any]:
    """A page is of so many vehicles, since what stands is told vehicle by vehicle."""
    query = Vehicle.objects.all()
    if "vehicle" in asked:
        query = Vehicle.everyone.filter(uid=asked["vehicle"])
    narrowed = {name: asked[name] for name in ("quantity", "outcome") if name in asked}
    if narrowed:
        judged = Verdict.objects.current().filter(**narrowed)
        query = query.filter(pk__in=judged.values("inspection__vehicle"))
    found, after = _page(query.prefetch_related("wheelsets"), asked, "verdicts")
    standing = Verdict.objects.standing_for_each(found)
    items = [
        STANDING_VERDICT.say(verdict)
        for vehicle in found
        for verdict in standing[vehicle.pk]
        if all(getattr(verdict, name) == value for name, value in narrowed.items())
    ]
    return {"items": items, "next": after}


# --- Railways and tracks ----------------------------------------------------------------------

PLACE = Shape(
    "Place",
    "A place along the line.",
    (
        Field("name", TEXT, given("name"), "Its name.", "Sedgeway"),
        Field("position", WHOLE, given("position"), "Its order along the line, from 1.", 1),
    ),
)

RAILWAY = Shape(
    "Railway",
    "A layout with its places in order.",
    (
        Field("id", WHOLE, given("pk"), "Its number at this server.", 1),
        Field("name", TEXT, given("name"), "Its name.", "Branch"),
        Field("family", TEXT, given("family"), "Its family of standards.", "nmra"),
        Field("scale", TEXT, given("scale"), "Its scale.", "HO"),
        Field("places", list_of(PLACE), lambda r: [PLACE.say(each) for each in r.places.all()],
              "Its places.", [PLACE.example]),
        Field("tracks", LINK, lambda r: reverse("reader:tracks", args=[r.pk]),
              "Where its tracks are.", "/api/railways/1/tracks/"),
    ),
)  # fmt: skip


def _railways(asked: Mapping[str, Any]) -> dict[str, Any]:
    found, after = _page(Railway.objects.prefetch_related("places"), asked, "railways")
    return {"items": [RAILWAY.say(each) for each in found], "next": after}


@dataclass(frozen=True)
class _OnTrack:
    """A vehicle as the fitting takes it, with its lasting name."""

    uid: UUID
    identity: str
    kind: str
    length: Any


STANDS = Shape(
    "Stands",
    "A vehicle on a track.",
    (
        *VEHICLE_NAME.fields,
        Field("kind", TEXT, given("kind"), "In plain words.", "boxcar"),
        Field("length", or_null(MEASURE), lambda v: measure(v.length, "mm"),
              "Over its couplers or buffers; null while nobody measured it.",
              {"value": "152.4", "unit": "mm"}),
    ),
)  # fmt: skip

_MM = {"value": "612.3", "unit": "mm"}


def _of_track(name: str) -> Callable[[Stood], Any]:
    return lambda here: getattr(here.track, name)


TRACK = Shape(
    "Track",
    "A track with its clear length and what stands there.",
    (
        Field("id", WHOLE, _of_track("pk"), "Its number at this server.", 1),
        Field("href", LINK, lambda h: reverse("reader:track", args=[h.track.pk]),
              "Where it is.", "/api/tracks/1/"),
        Field("fit", LINK, lambda h: reverse("reader:fit", args=[h.track.pk]),
              "Where who fits it is.", "/api/tracks/1/fit/"),
        Field("name", TEXT, _of_track("name"), "Its name.", "House track"),
        Field("place", TEXT, lambda h: h.track.place.name, "Its place.", "Sedgeway"),
        Field("railway", TEXT, lambda h: h.track.place.railway.name, "Its railway.", "Branch"),
        Field("duty", word(Track.Duty.values), _of_track("duty"), "What it is for.", "storage"),
        Field("clear_length", or_null(MEASURE),
              lambda h: measure(None if h.never_clears else h.clearing.clear_mm, "mm"),
              "The length on which vehicles stand clear; null where it cannot be told.", _MM),
        Field("room_left", or_null(MEASURE), lambda h: measure(h.room_mm, "mm"),
              "What is left of it, below zero where they stand foul.", _MM),
        Field("unknown", TEXT, lambda h: str(h.unknown), "Why either cannot be told.", ""),
        Field("sharpest_curve", or_null(MEASURE), lambda h: measure(h.track.radius, "mm"),
              "Radius of the sharpest curve on it.", None),
        Field("door_height", or_null(MEASURE), lambda h: measure(h.track.door_height, "mm"),
              "Above the rail, where a shed limits it.", None),
        Field("grade", or_null(MEASURE), lambda h: measure(h.track.grade_percent, "%"),
              "Its grade.", None),
        Field("spots", or_null(WHOLE), _of_track("most_vehicles"), "How many have a place.", None),
        Field("kinds", list_of(TEXT), lambda h: sorted(h.kinds),
              "The kinds that its industries take; empty where any may stand.", []),
        Field("barred", TEXT, lambda h: h.barred, "Why nobody gets there; empty otherwise.", ""),
        Field("standing", list_of(STANDS), lambda h: [STANDS.say(each) for each in h.on_it],
              "What stands there, from the far end.", [STANDS.example]),
    ),
)  # fmt: skip


class _Shown:
    """A track as it stands, with the lasting names of those on it."""

    def __init__(self, here: Stood, uids: Mapping[int, UUID]) -> None:
        self._here = here
        self.on_it = [
            _OnTrack(uids[each.key], each.name, each.kind, each.length_mm)
            for each in here.standing
        ]

    def __getattr__(self, name: str) -> Any:
        return getattr(self._here, name)


def _shown(tracks: Sequence[Stood]) -> list[_Shown]:
    keys = [each.key for here in tracks for each in here.standing]
    uids = dict(Vehicle.everyone.filter(pk__in=keys).values_list("pk", "uid"))
    return [_Shown(here, uids) for here in tracks]


_TRACKS = Track.objects.select_related("place__railway", "a_turnout", "b_turnout")


def _tracks(asked: Mapping[str, Any], pk: int) -> dict[str, Any]:
    railway = Railway.objects.filter(pk=pk).first()
    if railway is None:
        raise NotThere("There is no railway of that number.")
    query = _TRACKS.filter(place__railway=railway)
    if "duty" in asked:
        query = query.filter(duty=asked["duty"])
    found, after = _page(query, asked, "tracks", {"pk": pk})
    return {"items": [TRACK.say(each) for each in _shown(stood(railway, found))], "next": after}


def _stood_track(pk: int) -> Stood:
    track = _TRACKS.filter(pk=pk).first()
    if track is None:
        raise NotThere("There is no track of that number.")
    (here,) = stood(track.place.railway, [track])
    return here


def _track(asked: Mapping[str, Any], pk: int) -> dict[str, Any]:
    (shown,) = _shown([_stood_track(pk)])
    return TRACK.say(shown)


WHY = Shape(
    "Why",
    "A reason, by a code and in words.",
    (
        Field("code", TEXT, lambda r: r.code.value, "The code.", "no room left"),
        Field("words", TEXT, lambda r: str(r.words), "In words.", "12.4 mm too long"),
    ),
)


@dataclass(frozen=True)
class _Fitted:
    vehicle: _OnTrack
    answer: Answer


FITS = Shape(
    "Fits",
    "Whether a vehicle fits a track now, and why not.",
    (
        Field("vehicle", STANDS.reference, lambda f: STANDS.say(f.vehicle), "Which vehicle.",
              STANDS.example),
        Field("fits", YES_NO, lambda f: f.answer.fits, "Whether nothing is known against it.",
              False),
        Field("why_not", list_of(WHY), lambda f: [WHY.say(r) for r in f.answer.refusals],
              "Every reason against it.", [WHY.example]),
        Field("doubts", list_of(WHY), lambda f: [WHY.say(r) for r in f.answer.doubts],
              "What could not be told.", []),
        Field("unknown", TEXT, lambda f: f.answer.unknown,
              "Why it cannot be told at all; empty where it can.", ""),
    ),
)  # fmt: skip


def _fit(asked: Mapping[str, Any], pk: int) -> dict[str, Any]:
    here = _stood_track(pk)
    query = Vehicle.objects.filter(scale__in=here.track.place.railway.scales).exclude(
        pk__in=[each.key for each in here.standing]
    )
    if "vehicle" in asked:
        query = query.filter(uid=asked["vehicle"])
    found, after = _page(query, asked, "fit", {"pk": pk})
    of = {each.pk: each for each in found}
    told = sorted(answers(here, candidates(found)), key=lambda answer: answer.candidate.key)
    items = [
        FITS.say(_Fitted(_as_on_track(of[each.candidate.key], each), each))
        for each in told
        if "fits" not in asked or each.fits is (asked["fits"] == "yes")
    ]
    return {"items": items, "next": after}


def _as_on_track(vehicle: Vehicle, answer: Answer) -> _OnTrack:
    return _OnTrack(vehicle.uid, vehicle.identity, vehicle.kind, answer.candidate.length_mm)


# --- Trouble ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Held:
    hold: Hold
    waits: list[str]


HELD = Shape(
    "Held",
    "Something that is out of service until somebody releases it.",
    (
        Field("id", WHOLE, lambda h: h.hold.pk, "Its number at this server.", 5),
        Field("what", TEXT, lambda h: str(h.hold.subject), "What is out of service.", "HFQ 7"),
        Field("vehicle", or_null(VEHICLE_NAME),
              lambda h: h.hold.vehicle and VEHICLE_NAME.say(h.hold.vehicle),
              "The vehicle; null where it is trackwork.", VEHICLE_NAME.example),
        Field("reason", TEXT, lambda h: h.hold.reason, "Why.", "picked the points, mill switch"),
        Field("since", MOMENT, lambda h: moment(h.hold.held_at), "Since when.",
              "2026-03-01T19:30:00Z"),
        Field("by", or_null(TEXT), lambda h: h.hold.held_by and str(h.hold.held_by),
              "Who took it out.", "bench"),
        Field("waits_for", list_of(TEXT), given("waits"),
              "What must be found right before it is released.",
              ["Back-to-back, axle 4 to be measured again"]),
    ),
)  # fmt: skip


def _trouble(asked: Mapping[str, Any]) -> dict[str, Any]:
    query = Hold.objects.filter(released_at__isnull=True).select_related(
        "vehicle", "trackwork__place__railway", "trackwork__turnout", "held_by"
    )
    found, after = _page(query.prefetch_related("vehicle__wheelsets"), asked, "trouble")
    waits = waits_of(found)
    items = [HELD.say(_Held(each, waits[each.pk])) for each in found]
    return {"items": items, "next": after}


INVOLVED = Shape(
    "Involved",
    "A vehicle in a report.",
    (
        Field("vehicle", VEHICLE_NAME.reference, lambda i: VEHICLE_NAME.say(i.vehicle),
              "Which vehicle.", VEHICLE_NAME.example),
        Field("part", TEXT, given("part"), "What became of it: first, also, ahead or behind.",
              "first"),
    ),
)  # fmt: skip

REPORT = Shape(
    "Report",
    "A report of trouble as it was seen.",
    (
        Field("id", WHOLE, given("pk"), "Its number at this server.", 2),
        Field("happened", word([each.value for each in Happening]), given("happened"),
              "What happened.", "points"),
        Field("words", TEXT, lambda i: i.get_happened_display(), "The same in words.",
              "picked the points"),
        Field("where", TEXT, given("where"), "Where, as it was called then.", "mill switch"),
        Field("railway", or_null(TEXT), lambda i: i.railway and i.railway.name, "The railway.",
              "Branch"),
        Field("happened_at", MOMENT, lambda i: moment(i.happened_at), "When it happened.",
              "2026-03-01T19:30:00Z"),
        Field("note", TEXT, given("note"), "What else was seen.", ""),
        Field("withdrawn_at", or_null(MOMENT), lambda i: moment(i.withdrawn_at),
              "When it was withdrawn; null where it stands.", None),
        Field("involved", list_of(INVOLVED),
              lambda i: [INVOLVED.say(each) for each in i.involved.all()], "Who was in it.",
              [INVOLVED.example]),
    ),
)  # fmt: skip


def _reports(asked: Mapping[str, Any]) -> dict[str, Any]:
    query = Incident.objects.select_related("railway").prefetch_related("involved__vehicle")
    if "vehicle" in asked:
        query = query.filter(involved__vehicle__uid=asked["vehicle"])
    found, after = _page(query, asked, "reports")
    return {"items": [REPORT.say(each) for each in found], "next": after}


# --- All of them ------------------------------------------------------------------------------

_NO_YES_ALL = ["no", "only", "all"]
_UID = Parameter("vehicle", UID, "The uid of a vehicle.", UUID)
_OF_TRACK = {"pk": (_KEY, "The number of a track at this server.", "1")}
_OF_RAILWAY = {"pk": (_KEY, "The number of a railway at this server.", "1")}

ENDPOINTS = (
    Endpoint(
        "vehicles/", "vehicles", "Vehicles",
        "The fleet, a page at a time; with retired and visitors' vehicles where asked.",
        page_of(VEHICLE), _vehicles,
        (
            Parameter("q", TEXT, "Words that stand in marks, number, kind, maker or box."),
            Parameter("service", word(_STATES), "Whether they may run."),
            Parameter("category", word(Vehicle.Category.values), "What they are."),
            Parameter("family", TEXT, "Their family of standards, such as nmra."),
            Parameter("scale", TEXT, "Their scale, such as HO."),
            Parameter("retired", word(_NO_YES_ALL), "The retired, too; no, unless asked."),
            Parameter("visitors", word(_NO_YES_ALL), "Visitors’, too; no, unless asked."),
            *PAGED,
        ),
        example="vehicles/?service=fit%20to%20run",
    ),
    Endpoint(
        "vehicles/<uuid:uid>/", "vehicle", "One vehicle",
        "With its wheels, readings, standing verdicts and where it stands.",
        ONE_VEHICLE, _vehicle,
        parts={"uid": (UID, "The lasting name of a vehicle.",
                       "0b6c9a3e-58a7-4b0e-9d0f-2f4f5b1f7a10")},
        example="vehicles/0b6c9a3e-58a7-4b0e-9d0f-2f4f5b1f7a10/",
    ),
    Endpoint(
        "verdicts/", "verdicts", "Verdicts that stand",
        "The latest word on each quantity of the fleet. “limit” counts vehicles, and a page holds "
        "all that is asked of them: it may hold more verdicts, or none.",
        page_of(STANDING_VERDICT), _verdicts,
        (
            _UID,
            Parameter("quantity", word(list(QUANTITIES)), "What was judged."),
            Parameter("outcome", word([each.value for each in Outcome]), "What was made of it."),
            *PAGED,
        ),
        example="verdicts/?outcome=within",
    ),
    Endpoint(
        "railways/", "railways", "Railways", "Layouts with their places in order.",
        page_of(RAILWAY), _railways, PAGED, example="railways/",
    ),
    Endpoint(
        "railways/<int:pk>/tracks/", "tracks", "Tracks of a railway",
        "With clear length, room left and what stands there.",
        page_of(TRACK), _tracks,
        (Parameter("duty", word(Track.Duty.values), "What they are for."), *PAGED),
        parts=_OF_RAILWAY, example="railways/1/tracks/?duty=storage",
    ),
    Endpoint(
        "tracks/<int:pk>/", "track", "One track",
        "With clear length, room left and what stands there.",
        TRACK, _track, parts=_OF_TRACK, example="tracks/1/",
    ),
    Endpoint(
        "tracks/<int:pk>/fit/", "fit", "What fits a track",
        "The fleet in its scale, each asked onto the track as it stands now, with every reason "
        "against it. “limit” counts vehicles before “fits” is asked.",
        page_of(FITS), _fit,
        (_UID, Parameter("fits", word(["yes", "no"]), "Only those that fit, or do not."), *PAGED),
        parts=_OF_TRACK, example="tracks/1/fit/?fits=no",
    ),
    Endpoint(
        "trouble/", "trouble", "Out of service",
        "What is out of service, and what each waits for.",
        page_of(HELD), _trouble, PAGED, example="trouble/",
    ),
    Endpoint(
        "reports/", "reports", "Reports of trouble", "As they were seen, withdrawn ones too.",
        page_of(REPORT), _reports, (_UID, *PAGED), example="reports/",
    ),
)  # fmt: skip
