"""Reports and running sessions counted into the table that the evidence is drawn from."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from inventory.stock.models import Vehicle
from inventory.track.models import Railway
from inventory.trouble.evidence import Findings, Kind, Suspect, Table, suspects
from inventory.trouble.models import Incident, Involved, Turn
from inventory.trouble.spots import Spot, spots_of

Cell = tuple[int, str]  # key of a vehicle, key of a spot


@dataclass(frozen=True)
class Counted:
    """What a railway's record comes to.

    findings: None while nothing was run and nothing happened. contradictions: what cannot be, in
    words; the running is then taken as often as they derailed, which is the least it can have
    been. n_other: reports that are no derailment, and n_lost: those whose spot is laid no more,
    neither of which count; nor do the n_mistaken derailments, and the running, of vehicles that
    were entered by mistake. names: of vehicles and spots, by key, as the findings call them.
    """

    findings: Findings | None
    contradictions: tuple[str, ...]
    n_other: int
    n_lost: int
    n_mistaken: int
    vehicles: Mapping[int, str]
    spots: Mapping[str, str]

    def vehicle(self, pk: int) -> Suspect | None:
        """What the findings say of a vehicle; None where it never ran."""
        return self._named(Kind.VEHICLE, self.vehicles.get(pk))

    def spot(self, key: str) -> Suspect | None:
        """What the findings say of a spot; None where nobody ever passed."""
        return self._named(Kind.PLACE, self.spots.get(key))

    def _named(self, kind: Kind, name: str | None) -> Suspect | None:
        listed = self.findings.suspects if self.findings else ()
        return next((each for each in listed if (each.kind, each.name) == (kind, name)), None)


def count(railway: Railway) -> Counted:
    """Count a railway's derailments and passages, in a handful of queries.

    The first vehicle that went is counted, since it may have taken the others with it. A vehicle
    that has left the stock counts with all that it did, since what it did to a turnout's record
    stays done; one that was entered by mistake never was.
    """
    spots = spots_of(railway)
    incidents = list(
        railway.incidents.filter(withdrawn_at__isnull=True).select_related("trackwork")
    )
    derailed = [each for each in incidents if each.is_derailment]
    first = dict(
        Involved.objects.filter(incident__in=derailed, part=Involved.Part.FIRST).values_list(
            "incident", "vehicle"
        )
    )
    laid = {spot.key for spot in spots}
    mistaken = set(
        Vehicle.everyone.filter(retired_as=Vehicle.Retired.MISTAKEN).values_list("pk", flat=True)
    )
    fell: Counter[Cell] = Counter()
    n_mistaken = 0
    for each in derailed:
        key = spot_key(each)
        if first.get(each.pk) in mistaken:
            n_mistaken += 1
        elif each.pk in first and key in laid:
            fell[first[each.pk], key] += 1
    vague = {key for _, key in fell if key.startswith("place-")}
    ran = _passages(railway, spots, vague)
    for pk, key in [cell for cell in ran if cell[0] in mistaken]:
        del ran[pk, key]
    known = list(Vehicle.everyone.filter(pk__in={pk for pk, _ in {**ran, **fell}}))
    vehicles = _names(known)
    gone = frozenset(vehicles[each.pk] for each in known if each.is_retired)
    names = {spot.key: spot.name for spot in spots}
    contradictions = []
    for (pk, key), number in sorted(fell.items()):
        if number > ran[pk, key]:
            contradictions.append(
                f"{vehicles[pk]} at {names[key]}: derailed {number} times in {ran[pk, key]} noted "
                "passages. Note the running that is missing, or withdraw what was entered twice."
            )
            ran[pk, key] = number
    return Counted(
        _findings(ran, fell, vehicles, names, gone),
        tuple(contradictions),
        n_other=len(incidents) - len(derailed),
        n_lost=len(derailed) - sum(fell.values()) - n_mistaken,
        n_mistaken=n_mistaken,
        vehicles=vehicles,
        spots=names,
    )


def spot_key(incident: Incident) -> str:
    """The key of the most exact spot that a report names; empty where it is laid no more."""
    if incident.turnout_id:
        return f"turnout-{incident.turnout_id}"
    if incident.trackwork_id:
        turnout = incident.trackwork.turnout_id
        return f"turnout-{turnout}" if turnout else f"trackwork-{incident.trackwork_id}"
    if incident.track_id:
        return f"track-{incident.track_id}"
    return f"place-{incident.place_id}" if incident.place_id else ""


def _findings(
    ran: Mapping[Cell, int],
    fell: Mapping[Cell, int],
    vehicles: Mapping[int, str],
    names: Mapping[str, str],
    gone: frozenset[str],
) -> Findings | None:
    if not ran:
        return None
    named = (
        {(vehicles[pk], names[key]): n for (pk, key), n in cells.items()} for cells in (ran, fell)
    )
    return suspects(Table(*named), gone=gone)


def _passages(railway: Railway, spots: Sequence[Spot], vague: set[str]) -> Counter[Cell]:
    """How often each vehicle passed each spot; a whole place only where it is asked for."""
    turns = dict(Turn.objects.filter(session__railway=railway).values_list("pk", "passages"))
    ran_in: dict[int, list[int]] = {}
    for turn, vehicle in Turn.vehicles.through.objects.filter(turn__in=turns).values_list(
        "turn_id", "vehicle_id"
    ):
        ran_in.setdefault(turn, []).append(vehicle)
    place_of = {spot.key: spot.place.pk for spot in spots}
    passed: dict[int, set[str]] = {}
    for kind in ("turnout", "track", "trackwork"):
        through = getattr(Turn, {"trackwork": kind}.get(kind, f"{kind}s")).through
        rows = through.objects.filter(turn__in=turns).values_list("turn_id", f"{kind}_id")
        for turn, pk in rows:
            key = f"{kind}-{pk}"
            if key in place_of:
                passed.setdefault(turn, set()).add(key)
    ran: Counter[Cell] = Counter()
    for turn, passages in turns.items():
        keys = passed.get(turn, set())
        keys = keys | ({f"place-{place_of[key]}" for key in keys} & vague)
        for vehicle in ran_in.get(turn, ()):
            for key in keys:
                ran[vehicle, key] += passages
    return ran


def _names(vehicles: Iterable[Vehicle]) -> dict[int, str]:
    """What vehicles are called; those that are lettered alike are told apart, and those that have
    left the stock say how."""
    listed = list(vehicles)
    called = {
        each.pk: f"{each.identity} ({each.get_retired_as_display()})"
        if each.is_retired
        else each.identity
        for each in listed
    }
    alike = Counter(called.values())
    return {pk: name if alike[name] == 1 else f"{name} (no. {pk})" for pk, name in called.items()}
