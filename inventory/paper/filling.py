"""What the record holds, as the papers take it: plain words and numbers."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

from django.utils import timezone
from django.utils.formats import date_format

from inventory.bench.steps import speaks, steps_for
from inventory.paper.address import House
from inventory.paper.bench_sheets import BenchSheet, Line, Strip, same_limits
from inventory.paper.labels import Label, box_words
from inventory.paper.registers import Entry, PlaceEntry, TrackEntry
from inventory.paper.slips import Slip
from inventory.paper.tags import Tag
from inventory.people.models import Person
from inventory.stock.facts import Judged
from inventory.stock.models import Reading, Vehicle, VehiclePhoto, Verdict
from inventory.stock.places import Step
from inventory.stock.taking import bare_unit
from inventory.stock.templatetags import measures
from inventory.stock.verdicts import (
    house_rules,
    limits_stated,
    observation,
    proposal_from,
)
from inventory.track.fit import Stood
from inventory.track.models import Industry, Railway, Track
from inventory.track.models import Place as LinePlace
from inventory.track.standing import home_tracks
from inventory.trouble.models import Hold
from inventory.trouble.recording import waits_for
from standards.conformity import Outcome
from standards.judging import Finding, HouseRule, Observation, label
from standards.quantities import QUANTITIES, Place
from standards.remedies import mends
from standards.sheets import sheet
from standards.units import brief, in_unit

_LENGTHS = ("length_over_couplers", "length_over_buffers", "body_length")


def day(moment: date | None = None) -> str:
    """A day as paper says it: 5 Nov 2026."""
    return date_format(moment or timezone.localdate(), "j M Y")


# --- Labels and tags ----------------------------------------------------------------------------


def label_of(vehicle: Vehicle, house: House | None) -> Label:
    return Label(
        identity=vehicle.identity,
        name=vehicle.name,
        kind=vehicle.kind,
        scale=vehicle.scale,
        box=vehicle.storage_box,
        trouble=vehicle.held_because or ("see its page" if _is_bad(vehicle) else ""),
        address=house.vehicle(vehicle.uid) if house else "",
    )


def _is_bad(vehicle: Vehicle) -> bool:
    return vehicle.service == "bad order"


def tag_of(hold: Hold, house: House) -> Tag:
    subject = hold.subject
    if isinstance(subject, Vehicle):
        what = ", ".join(filter(None, (subject.kind, subject.standard.label)))
        address = house.vehicle(subject.uid)
    else:
        what = f"{subject.get_kind_display()}, {subject.place.railway}"
        address = house.to(subject.get_absolute_url())
    by = f", taken out by {hold.held_by}" if hold.held_by else ""
    return Tag(
        subject=str(subject),
        what=what,
        reason=hold.reason,
        since=f"Out of service since {day(timezone.localdate(hold.held_at))}{by}",
        waits=waits_for(hold),
        address=address,
    )


# --- Bench sheets -------------------------------------------------------------------------------


def bench_sheets_of(
    vehicles: Sequence[Vehicle], person: Person, house: House | None
) -> list[BenchSheet]:
    """The sheets of several vehicles, whose wheels and couplers are loaded already."""
    lengths = _lengths_of(vehicles)
    rules: dict[tuple[str, str], Sequence[HouseRule]] = {}
    found = []
    for vehicle in vehicles:
        scale = (vehicle.family, vehicle.scale)
        if scale not in rules:
            rules[scale] = house_rules(vehicle.standard)
        kinds = {coupler.end: coupler.kind for coupler in vehicle.couplers.all()}
        steps = steps_for(vehicle, kinds, uses_gauge=False)
        keys = [key for step in steps for key in step.keys]
        stated = limits_stated(
            vehicle, keys, carried=lengths.get(vehicle.pk, ()), house=rules[scale]
        )
        about = (vehicle.kind, vehicle.name, box_words(vehicle.storage_box))
        found.append(
            BenchSheet(
                identity=vehicle.identity,
                about=", ".join(filter(None, about)),
                judged_by=f"{vehicle.standard.label}; judged by {vehicle.family_name}",
                strips=strips_of(vehicle, steps, stated, person),
                address=house.vehicle(vehicle.uid) if house else "",
                held=vehicle.held_because,
            )
        )
    return found


def blank_sheet(vehicle: Vehicle | None, axles: int, has_buffers: bool, person: Person):
    """A sheet for a vehicle that is not logged yet; `vehicle` is an unsaved one that tells the
    scale, None while that is not known either, and then no limits are printed."""
    asked = vehicle or Vehicle(axles=axles, has_buffers=has_buffers)
    steps = steps_for(asked, {}, uses_gauge=False)
    if not has_buffers or vehicle is None:
        # What its couplers are is not known yet: what any of them may need is asked.
        steps = tuple(_with_all_couplers(step) for step in steps)
    keys = [key for step in steps for key in step.keys]
    stated = {}
    if vehicle is not None:
        stated = limits_stated(vehicle, keys, house=house_rules(vehicle.standard))
    judged_by = ""
    if vehicle is not None:
        judged_by = f"Limits for {vehicle.standard.label}, by {vehicle.family_name}"
    return BenchSheet("", "", judged_by, strips_of(vehicle, steps, stated, person))


def _with_all_couplers(step: Step) -> Step:
    if not step.slug.startswith("end"):
        return step
    more = tuple(q for q in ("coupler_height", "trip_pin_clearance") if q not in step.quantities)
    return Step(
        step.slug, step.title, step.at, (*step.quantities[:1], *more, *step.quantities[1:])
    )


def _lengths_of(vehicles: Sequence[Vehicle]) -> dict[int, list[Observation]]:
    """The lengths measured before, which the limits of a mass go by."""
    latest: dict[int, dict[str, Observation]] = {}
    readings = Reading.objects.filter(
        is_current=True,
        gauge="",
        quantity__in=_LENGTHS,
        inspection__vehicle__in=[vehicle.pk for vehicle in vehicles],
    ).select_related("inspection")
    for reading in readings.order_by("inspection__started_at", "pk"):
        known = latest.setdefault(reading.inspection.vehicle_id, {})
        known[reading.quantity] = observation(reading)
    return {pk: list(known.values()) for pk, known in latest.items()}


_TITLES = {Place.AXLE: "Axle", Place.END: "End", Place.VEHICLE: "Whole vehicle"}


def strips_of(
    vehicle: Vehicle | None,
    steps: Sequence[Step],
    stated: dict[tuple[str, str], Finding],
    person: Person,
) -> list[Strip]:
    """The steps of the bench with those that are alike, axles and ends, beside each other."""
    strips = []
    for place in (Place.AXLE, Place.END, Place.VEHICLE):
        here = [step for step in steps if QUANTITIES[step.quantities[0]].place is place]
        codes = list(dict.fromkeys(code for step in here for code in step.quantities))
        lines = []
        for code in codes:
            quantity = QUANTITIES[code]
            asked = [step for step in here if code in step.quantities]
            limits = same_limits(
                {
                    step.at: _limits(vehicle, stated.get((code, step.at)), code, person)
                    for step in asked
                }
            )
            unit = bare_unit(quantity.dimension.value, person.unit)
            lines.append(Line(quantity.name, quantity.letter, unit, *limits))
        gaps = {
            (row, box)
            for row, code in enumerate(codes)
            for box, step in enumerate(here)
            if code not in step.quantities
        }
        if here:
            strips.append(
                Strip(_TITLES[place], [step.at for step in here], lines, frozenset(gaps))
            )
    return strips


def _limits(
    vehicle: Vehicle | None, finding: Finding | None, code: str, person: Person
) -> tuple[str, str]:
    """The limits of one quantity in words, and whose they are."""
    if finding is None:
        return "", ""
    names = ", ".join(sheet(each).short for each in finding.sheets)
    low, high = finding.low.number, finding.high.number
    if finding.is_judged_by_house:
        basis = next(
            side.basis
            for side in (finding.low, finding.high)
            if side.basis.startswith("House limit")
        )
        return _between(low, high, code, person), basis
    if low is not None or high is not None:
        if code == "back_to_back" and high is None:
            # Never half a limit that looks like a whole one.
            return _between(low, high, code, person), f"{names}; at most K max less the flange"
        how = f"{names}, derived" if finding.is_derived else names
        if finding.is_second_hand:
            how += ", quoted"
        return _between(low, high, code, person), how
    if finding.nominal is not None:
        figure = f"{measures.bare({'user': person}, finding.nominal, code)}"
        return f"{figure} {bare_unit(QUANTITIES[code].dimension.value, person.unit)}", (
            f"{names}: a figure without limits"
        )
    if vehicle is not None and speaks(vehicle, code) and code != "flange_thickness":
        return "", finding.note.partition(". ")[0].rstrip(".")
    if code == "flange_thickness" and vehicle is not None and speaks(vehicle, code):
        return "", "gives K = B + T and the upper limit of B"
    return "", "a dimension; no limit"


def _between(low: Decimal | None, high: Decimal | None, code: str, person: Person) -> str:
    return measures.limits({"user": person}, low, high, code)


# --- Registers ----------------------------------------------------------------------------------


def entry_of(vehicle: Vehicle, photo: VehiclePhoto | None = None) -> Entry:
    """A line of the fleet register; its photo small, 320 pixels on 30 mm being 270 an inch."""
    about = ", ".join(filter(None, (vehicle.kind, vehicle.era and f"era {vehicle.era}")))
    return Entry(
        identity=vehicle.identity,
        name=vehicle.name,
        kind=about,
        scale=vehicle.standard.label,
        maker=" ".join(filter(None, (vehicle.maker, vehicle.catalogue_number))),
        acquired=day(vehicle.acquired_on) if vehicle.acquired_on else "",
        price=vehicle.price,
        value=vehicle.value,
        currency=vehicle.currency,
        photo=photo.thumbnail_address if photo else "",
        shape=photo.height / photo.width if photo else 1.0,
    )


def place_entries(railway: Railway, tracks: Sequence[Stood], person: Person) -> list[PlaceEntry]:
    """The places of a railway with their tracks, as the register takes them."""
    fleet = list(Vehicle.objects.order_by("reporting_mark", "number_key", "pk"))
    homes: dict[int, list[str]] = {}
    at_home = home_tracks(vehicle.pk for vehicle in fleet)
    for vehicle in fleet:
        for track in at_home.get(vehicle.pk, ()):
            homes.setdefault(track, []).append(vehicle.identity)
    industries: dict[int, list[Industry]] = {}
    listed = Industry.objects.filter(place__railway=railway).prefetch_related("tracks")
    for industry in listed:
        for track in industry.tracks.all():
            industries.setdefault(track.pk, []).append(industry)
    return [
        PlaceEntry(
            f"{place.position}. {place.name}",
            [
                _track_entry(each, industries.get(each.track.pk, ()), homes, person)
                for each in tracks
                if each.track.place_id == place.pk
            ],
            _place_notes(place),
        )
        for place in railway.places.prefetch_related("turnouts")
    ]


def _place_notes(place: LinePlace) -> list[str]:
    turnouts = [each.name for each in place.turnouts.all()]
    return [f"Turnouts: {', '.join(turnouts)}"] if turnouts else []


def _track_entry(
    here: Stood,
    industries: Iterable[Industry],
    homes: dict[int, list[str]],
    person: Person,
) -> TrackEntry:
    track = here.track
    clear = here.clearing.clear_mm
    said = "" if clear is None else brief(clear, person.unit)
    if here.problem:
        said = f"not known: {in_unit(here.problem, person.unit)}"
    return TrackEntry(
        name=track.name,
        duty=track.get_duty_display(),
        measured=brief(track.measured, person.unit),
        clear=said,
        between=f"{_end(track, 'a')} to {_end(track, 'b')}",
        curve="" if track.radius is None else brief(track.radius, person.unit),
        spots="" if track.most_vehicles is None else str(track.most_vehicles),
        industries=", ".join(each.name for each in industries),
        home=", ".join(homes.get(track.pk, ())),
    )


def _end(track: Track, end: str) -> str:
    turnout = getattr(track, f"{end}_turnout")
    reference = getattr(track, f"{end}_reference")
    return f"{reference} of {turnout.name}" if turnout else reference


# --- Slips --------------------------------------------------------------------------------------

_SAYS = {
    "fit to run": "Pass: it may run.",
    "fit with advice": "Pass, with advice: it may run.",
    "bad order": "Please do not run it yet: what is out stands below.",
}


def slip_of(vehicle: Vehicle, person: Person) -> Slip:
    """The slip of a visitor's vehicle, in the same words as its page."""
    standing = Verdict.objects.standing_for(vehicle)
    proposal = proposal_from(vehicle, standing)
    inspection = vehicle.inspections.select_related("inspector").first()
    limited = sorted((each for each in standing if each.is_limited), key=Verdict.worst_first)
    within = [each.label for each in limited if each.outcome == Outcome.WITHIN.value]
    missing = [label(*key) for key in proposal.missing]
    is_open = inspection is not None and inspection.is_open
    parts = (
        (
            "Out or undecided",
            [_judged(each, person) for each in limited if each.outcome != Outcome.WITHIN.value],
        ),
        (
            "What to do",
            [
                measures.mend_headline({"user": person}, mend)
                for mend in mends(verdict.as_finding() for verdict in standing)
            ],
        ),
        ("Not measured, and not a pass", ["; ".join(missing)] if missing else []),
        ("Within", ["; ".join(within)] if within else []),
    )
    checked = "Not checked yet"
    if inspection is not None:
        how = ", by go/no-go gauge" if inspection.uses_gauge else ""
        when = day(timezone.localdate(inspection.started_at))
        checked = f"Checked {when} by {inspection.inspector}{how}"
    says = _SAYS.get(vehicle.service, "No pass: too little was measured to tell.")
    if inspection is not None and inspection.statement:
        says += f" {inspection.statement}"
    return Slip(
        identity=vehicle.identity,
        about=vehicle.kind,
        owner=vehicle.visitor,
        outcome="not finished" if is_open else vehicle.service,
        says="The check is not finished." if is_open else says,
        parts=parts,
        checked=checked,
        judged_by=f"{vehicle.standard.label}; judged by {vehicle.family_name}",
    )


def _judged(verdict: Judged, person: Person) -> str:
    """A verdict in a line: what, how much, the limits, whose."""
    dimension = QUANTITIES[verdict.quantity].dimension.value
    value = verdict.gauge
    if verdict.value is not None:
        bare = measures.bare({"user": person}, verdict.value, verdict.quantity)
        value = f"{bare} {bare_unit(dimension, person.unit)}"
    limits = _between(verdict.low, verdict.high, verdict.quantity, person)
    by = ", ".join(each["short"] for each in verdict.sheets)
    said = f"{verdict.label}: {value}, {verdict.outcome}"
    if limits:
        said += f"; limits {limits}"
    return f"{said} ({by})" if by else said
