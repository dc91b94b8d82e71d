"""One line of time a vehicle: everything the record holds of it, the latest first.

Nothing is written here and nothing is left out: a report that was withdrawn, a change that was
changed back and a vehicle that was entered by mistake stand with the rest.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from enum import StrEnum
from itertools import groupby
from typing import NamedTuple

from django.core.exceptions import FieldDoesNotExist
from django.db.models import QuerySet
from django.urls import reverse
from django.utils import timezone
from django.utils.dateformat import format as date_format

from inventory.stock.models import Change, Vehicle, Verdict
from inventory.stock.recording import as_noted
from inventory.trouble.models import Incident, Involved, Turn
from standards.conformity import Outcome
from standards.judging import label


class Kind(StrEnum):
    """What an event is about, as the page lets one choose it."""

    CAME = "came and went"
    INSPECTED = "inspections"
    JUDGED = "judged again"
    TROUBLE = "trouble"
    HELD = "out of service"
    GEAR = "wheels and couplers"
    RAN = "running"
    HOME = "homes"
    WORTH = "price and value"
    DECLARED = "other facts"
    PHOTO = "photos"

    @property
    def slug(self) -> str:
        return self.value.replace(" ", "-")


@dataclass(frozen=True)
class Line:
    """One thing that became another. was and now: limits (low, high) of `quantity`, where those
    changed."""

    label: str
    before: str
    after: str
    note: str = ""
    quantity: str = ""
    was: tuple[Decimal | None, Decimal | None] = (None, None)
    now: tuple[Decimal | None, Decimal | None] = (None, None)

    @property
    def has_other_limits(self) -> bool:
        return self.was != self.now


@dataclass(frozen=True)
class Event:
    """Something that happened to a vehicle. has_time: whether more than its day is known.

    by: who did or said it, empty where the record does not know. state: a word of service.
    """

    at: datetime
    kind: Kind
    title: str
    by: str = ""
    words: str = ""
    state: str = ""
    lines: tuple[Line, ...] = ()
    address: str = ""
    has_time: bool = True


@dataclass(frozen=True)
class Day:
    """The events of one day, the latest first."""

    on: date
    events: tuple[Event, ...]


#: Verdicts of one judging again lie no farther apart than this.
ONE_GO = timedelta(seconds=60)

_KIND_OF = {
    Change.Deed.RETIRED: Kind.CAME,
    Change.Deed.BACK: Kind.CAME,
    Change.Deed.WHEELSET: Kind.GEAR,
    Change.Deed.COUPLER: Kind.GEAR,
    Change.Deed.HOME: Kind.HOME,
    Change.Deed.HOME_TRACK: Kind.HOME,
    Change.Deed.STANDING: Kind.HOME,
    Change.Deed.PHOTO: Kind.PHOTO,
    "price": Kind.WORTH,
    "value": Kind.WORTH,
    "currency": Kind.WORTH,
}


def events_of(vehicle: Vehicle) -> list[Event]:
    """Everything that happened to a vehicle, the latest first, in a constant number of queries."""
    verdicts = _verdicts(vehicle)
    changes = list(vehicle.changes.select_related("by").order_by("at", "pk"))
    found = [
        *_beginning(vehicle, changes),
        *_inspections(vehicle, verdicts),
        *_judged_again(verdicts),
        *_trouble(vehicle),
        *_holds(vehicle),
        *_running(vehicle),
        *_changes(vehicle, changes),
    ]
    # Of one moment, what is listed first here came first.
    return sorted(found, key=lambda event: event.at)[::-1]


def by_kind(events: Iterable[Event]) -> list[tuple[Kind, int]]:
    """How many events there are of each kind that occurs."""
    counted = Counter(event.kind for event in events)
    return [(kind, counted[kind]) for kind in Kind if counted[kind]]


def by_day(events: Iterable[Event]) -> list[Day]:
    """Events that come latest first, day by day."""
    return [
        Day(on, tuple(group))
        for on, group in groupby(events, key=lambda event: timezone.localdate(event.at))
    ]


# --- How it began -----------------------------------------------------------------------------


def _beginning(vehicle: Vehicle, changes: Sequence[Change]) -> Iterator[Event]:
    """As it was stated first; what was corrected later is among the changes."""
    first = {each.what: each.before for each in reversed(changes)}

    def stated(name: str) -> str:
        return first.get(name, as_noted(getattr(vehicle, name)))

    if vehicle.acquired_on is not None:
        words = []
        if price := stated("price"):
            words.append(f"for {_money(Decimal(price), stated('currency'))}")
        if maker := stated("maker"):
            words.append(f"{maker} {stated('catalogue_number')}".strip())
        on = _day(vehicle.acquired_on)
        yield Event(on, Kind.CAME, "Acquired", words=", ".join(words), has_time=False)
    yield Event(
        vehicle.logged_at,
        Kind.CAME,
        "Logged",
        str(vehicle.logged_by or ""),
        f"{stated('kind')}, {vehicle.standard.label}",
    )


def _day(on: date) -> datetime:
    return timezone.make_aware(datetime.combine(on, time()))


def _money(amount: Decimal, currency: str) -> str:
    return f"{amount:.2f} {currency}".rstrip()


# --- Measured and judged ----------------------------------------------------------------------


class _Said(NamedTuple):
    """A verdict as the history takes it. has_reading: whether its reading still stands, None for
    what was reckoned from others."""

    inspection: int
    quantity: str
    at: str
    outcome: str
    low: Decimal | None
    high: Decimal | None
    cause: str
    judged_at: datetime
    is_current: bool
    has_reading: bool | None

    @property
    def key(self) -> tuple[int, str, str]:
        return self.inspection, self.quantity, self.at


def _verdicts(vehicle: Vehicle) -> list[_Said]:
    """Every verdict that was ever kept of a vehicle, in the order in which they were judged."""
    rows = (
        Verdict.objects.filter(inspection__vehicle=vehicle)
        .order_by("pk")
        .values_list(
            "inspection",
            "quantity",
            "at",
            "outcome",
            "low",
            "high",
            "cause",
            "judged_at",
            "is_current",
            "reading__is_current",
        )
    )
    return [_Said(*row) for row in rows]


def _inspections(vehicle: Vehicle, verdicts: Sequence[_Said]) -> Iterator[Event]:
    came_out = _as_recorded(verdicts)
    for each in vehicle.inspections.select_related("inspector").order_by("started_at", "pk"):
        outcomes = came_out.get(each.pk, Counter())
        counts = ", ".join(f"{outcomes[word]} {word}" for word in _COUNTED)
        how = f"{each.get_reason_display()}{', by go/no-go gauge' if each.uses_gauge else ''}"
        words = f"{how}; {counts}"
        if each.proposed and each.proposed != each.service:
            words += f"; the readings said {each.proposed}"
        if each.statement:
            words += f". {each.statement}"
        yield Event(
            each.finished_at or each.started_at,
            Kind.INSPECTED,
            "Inspection begun, not finished" if each.is_open else "Inspected",
            str(each.inspector),
            words,
            state=each.service,
            address=reverse("stock:inspection", args=[each.pk]),
        )


_COUNTED = (Outcome.WITHIN.value, Outcome.OUTSIDE.value, Outcome.UNDECIDED.value)


def _as_recorded(verdicts: Iterable[_Said]) -> Mapping[int, Counter[str]]:
    """How the verdicts of each inspection came out at the bench, before anything was judged again;
    without readings that were taken back."""
    recorded: dict[tuple[int, str, str], _Said] = {}
    followed: set[tuple[int, str, str]] = set()
    for verdict in verdicts:
        if verdict.cause == "recorded":
            recorded[verdict.key] = verdict
        else:
            followed.add(verdict.key)
    found: dict[int, Counter[str]] = {}
    for key, verdict in recorded.items():
        if verdict.is_current or verdict.has_reading or key in followed:
            found.setdefault(verdict.inspection, Counter())[verdict.outcome] += 1
    return found


def _judged_again(verdicts: Iterable[_Said]) -> Iterator[Event]:
    """Verdicts that came out otherwise when they were judged again, one event a judging."""
    before: dict[tuple[int, str, str], _Said] = {}
    changes: list[tuple[datetime, Line]] = []
    for verdict in verdicts:
        if verdict.cause == "rejudged":
            changes.append((verdict.judged_at, _rejudged(before.get(verdict.key), verdict)))
        before[verdict.key] = verdict
    changes.sort(key=lambda pair: pair[0])
    for group in _in_one_go(changes):
        lines = [line for _, line in group]
        turned = sum(line.before != line.after for line in lines)
        rest = len(lines) - turned
        words = [f"{turned} came out otherwise"] if turned else []
        words += [f"{rest} by other limits or wording only"] if rest else []
        yield Event(
            group[-1][0],
            Kind.JUDGED,
            "Judged again",
            words=", ".join(words),
            lines=tuple(lines),
        )


def _in_one_go(changes: Iterable[tuple[datetime, Line]]) -> Iterator[list[tuple[datetime, Line]]]:
    group: list[tuple[datetime, Line]] = []
    for change in changes:
        if group and change[0] - group[-1][0] > ONE_GO:
            yield group
            group = []
        group.append(change)
    if group:
        yield group


def _rejudged(before: _Said | None, after: _Said) -> Line:
    return Line(
        label(after.quantity, after.at),
        before.outcome if before else "nothing",
        after.outcome,
        quantity=after.quantity,
        was=(before.low, before.high) if before else (None, None),
        now=(after.low, after.high),
    )


# --- Trouble and running ----------------------------------------------------------------------


def _trouble(vehicle: Vehicle) -> Iterator[Event]:
    parts = (
        vehicle.involvements.select_related("incident__reported_by")
        .prefetch_related("incident__involved__vehicle")
        .order_by("incident__happened_at", "incident_id")
    )
    for each in parts:
        incident = each.incident
        words = [_part_in_words(each, incident)]
        if incident.note:
            words.append(incident.note)
        if incident.withdrawn_at:
            words.append(f"Withdrawn: {incident.withdrawn_because.rstrip('.')}; it counts no more")
        yield Event(
            incident.happened_at,
            Kind.TROUBLE,
            f"{_capital(incident.get_happened_display())}, {incident.where}",
            str(incident.reported_by),
            ". ".join(part.rstrip(".") for part in words),
            address=incident.get_absolute_url(),
        )


def _part_in_words(part: Involved, incident: Incident) -> str:
    if part.part == Involved.Part.FIRST:
        return "It was the first to go"
    first = next(
        (str(each.vehicle) for each in incident.involved.all() if each.part == "first"), ""
    )
    return {
        Involved.Part.ALSO: f"It went with {first}",
        Involved.Part.AHEAD: f"It was coupled ahead of {first}, which went",
        Involved.Part.BEHIND: f"It was coupled behind {first}, which went",
    }[Involved.Part(part.part)]


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _holds(vehicle: Vehicle) -> Iterator[Event]:
    for held in vehicle.holds.select_related("held_by", "released_by"):
        address = held.get_absolute_url()
        yield Event(
            held.held_at,
            Kind.HELD,
            "Out of service",
            str(held.held_by or ""),
            held.reason,
            state="bad order",
            address=address,
        )
        if held.released_at is not None:
            is_mended = not held.done.startswith("retired: ")
            yield Event(
                held.released_at,
                Kind.HELD,
                "Mended and released" if is_mended else "Held no longer",
                str(held.released_by),
                held.done,
                address=address,
            )


def _running(vehicle: Vehicle) -> Iterator[Event]:
    turns = (
        Turn.objects.filter(vehicles=vehicle)
        .select_related("session__railway", "session__noted_by")
        .order_by("session__held_on", "session_id", "pk")
    )
    for session, listed in groupby(turns, key=lambda turn: turn.session):
        passages = sum(turn.passages for turn in listed)
        yield Event(
            _day(session.held_on),
            Kind.RAN,
            f"Ran about {passages} lap{'' if passages == 1 else 's'}",
            str(session.noted_by),
            str(session.railway),
            address=session.get_absolute_url(),
            has_time=False,
        )


# --- Changes ----------------------------------------------------------------------------------


def _changes(vehicle: Vehicle, changes: Sequence[Change]) -> Iterator[Event]:
    """What one person changed of one kind in one go is one event."""
    currencies = _currencies(vehicle, changes)
    together = groupby(changes, key=lambda change: (change.at, change.by_id, _kind_of(change)))
    for (at, _, kind), listed in together:
        group = list(listed)
        lines = [_line(change, currencies[change.pk]) for change in group]
        yield Event(
            at,
            kind,
            _title(kind, group),
            str(group[0].by or ""),
            _words(kind, group),
            lines=() if kind in (Kind.CAME, Kind.PHOTO) else tuple(lines),
        )


def _kind_of(change: Change) -> Kind:
    return _KIND_OF.get(change.what, Kind.DECLARED)


def _title(kind: Kind, group: Sequence[Change]) -> str:
    if kind is Kind.CAME:
        is_back = group[0].what == Change.Deed.BACK
        return "Brought back" if is_back else "Left the stock"
    if kind is Kind.GEAR and any(change.note for change in group):
        return "Wheelset exchanged"
    if kind is Kind.HOME and not any(change.after for change in group):
        return "Gave up where it was at home"
    if kind is Kind.PHOTO:
        return "Photos" if group[0].after else "Photo removed"
    return {
        Kind.GEAR: "Wheels and couplers declared otherwise",
        Kind.HOME: "Moved home",
        Kind.WORTH: "Price and value changed",
    }.get(kind, "Facts changed")


def _words(kind: Kind, group: Sequence[Change]) -> str:
    first = group[0]
    if kind is Kind.CAME and first.what == Change.Deed.BACK:
        return f"It had been {first.before}. {first.note}"
    if kind is Kind.CAME:
        return ": ".join(filter(None, (_capital(_with_days(first.after)), first.note)))
    if kind is Kind.PHOTO:
        told = (", ".join(filter(None, (c.before, c.after, c.note))) for c in group)
        return _capital(_with_days("; ".join(told)))
    return "; ".join(dict.fromkeys(change.note for change in group if change.note))


_DAY = re.compile(r"\b(\d{4}-\d{2}-\d{2})\b")


def _with_days(words: str) -> str:
    """What was noted with days as they are kept, 2026-11-28, with these as pages write them."""
    return _DAY.sub(_written, words)


def _written(found: re.Match[str]) -> str:
    try:
        return date_format(date.fromisoformat(found[1]), "j M Y")
    except ValueError:  # no day of the calendar, from a record that was taken in
        return found[1]


def _currencies(vehicle: Vehicle, changes: Sequence[Change]) -> Mapping[int, tuple[str, str]]:
    """By change, the currency before and after it, worked back from what it is now."""
    found: dict[int, tuple[str, str]] = {}
    currency = vehicle.currency
    for _, group in groupby(reversed(changes), key=lambda change: change.at):
        listed = list(group)
        before = next((each.before for each in listed if each.what == "currency"), currency)
        found |= {each.pk: (before, currency) for each in listed}
        currency = before
    return found


def _line(change: Change, currencies: tuple[str, str]) -> Line:
    named, values = change.what, (change.before, change.after)
    try:
        named = change.label
        field = Vehicle._meta.get_field(change.what)
    except FieldDoesNotExist:
        return Line(_capital(named), *(value or "none" for value in values))
    words = dict(field.flatchoices or ())
    shown = [str(words.get(value, value)) for value in values]
    if change.what in ("price", "value"):
        shown = [
            _money(Decimal(value), currency) if value else ""
            for value, currency in zip(values, currencies, strict=True)
        ]
    if change.what == "minimum_radius":
        shown = [f"{value} mm" if value else "" for value in values]
    return Line(_capital(named), *(value or "not stated" for value in shown))


def vehicles_with_history() -> QuerySet[Vehicle]:
    """Whose history can be read: ours, be they in the stock or not."""
    return Vehicle.everyone.of_the_house().select_related("logged_by")
