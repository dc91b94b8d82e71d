"""Taking readings into an inspection, be it of a vehicle or of trackwork.

Typed text goes through `standards.units` (exact value) and `standards.metrology` (value and
uncertainty) and is kept as it was typed; nothing that stands is overwritten unseen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import TypeVar

from django.db.models import Max, Model, QuerySet
from django.utils import timezone

from inventory.people.models import Person
from inventory.stock.facts import Inspected, Taken
from inventory.stock.models import Instrument
from standards.judging import GaugeResult
from standards.metrology import evaluate
from standards.quantities import BY_GAUGE, QUANTITIES
from standards.sheets import Scale
from standards.units import Typed, likely_slip, read, spell

AnyReading = TypeVar("AnyReading", bound=Taken)
AnyInspection = TypeVar("AnyInspection", bound=Inspected)


class ReadingOvertaken(Exception):
    """Somebody else took this reading since the form was opened. `now` is theirs, or None."""

    def __init__(self, now: Taken | None) -> None:
        self.now = now
        said = now and (now.typed or f"the gauge’s answer, {now.gauge},")
        who = f"{now.taken_by} has entered {said} here" if now else "Somebody has taken it back"
        super().__init__(f"{who} in the meantime.")


class Closed(Exception):
    """The inspection is finished; its readings stand."""


class Doubt(Exception):
    """A value so far from what is plausible that it is asked about before it is kept.

    `understood` is what was read; `suggestion` the likely meaning, or None; `plausible` the range.
    """

    def __init__(self, understood: str, suggestion: str | None, plausible: str) -> None:
        self.understood = understood
        self.suggestion = suggestion
        self.plausible = plausible
        super().__init__(f"{understood} is far from plausible, {plausible}.")


def begin(
    *,
    into: type[AnyInspection],
    of: Model,
    role: str,
    reason: str,
    by: Person,
    uses_gauge: bool,
    moment: datetime | None,
) -> AnyInspection:
    """The open inspection of a subject, begun at `moment` (or now) if there is none.

    role: what the subject is called in `into`. Within a transaction that the caller holds.
    """
    type(of)._base_manager.select_for_update().get(pk=of.pk)
    standing = into.objects.filter(**{role: of}, finished_at__isnull=True).first()
    if standing is not None:
        return standing
    return into.objects.create(
        **{role: of},
        reason=reason,
        inspector=by,
        rule=by.rule,
        uses_gauge=uses_gauge,
        started_at=moment or _after(into.objects.filter(**{role: of})),
    )


def _after(earlier: QuerySet[Inspected]) -> datetime:
    """Now; or just after the last inspection where the clock was set back since, so that the
    latest word stays the one that was said last."""
    now = timezone.now()
    last = earlier.aggregate(last=Max("started_at"))["last"]
    return now if last is None or now > last else last + timedelta(microseconds=1)


def still_open(inspection: AnyInspection, role: str) -> AnyInspection:
    """The inspection as it stands, locked. Raises Closed once it is finished."""
    # Its subject comes along, but only the inspection itself is locked.
    locked = type(inspection).objects.select_for_update(of=("self",)).select_related(role)
    now = locked.get(pk=inspection.pk)
    if not now.is_open:
        subject = getattr(now, role)
        raise Closed(f"The inspection of {subject} is finished; begin another one.")
    return now


def take_back(inspection, quantity: str, at: str, seen: int | None) -> bool:
    """Take back a reading that was a mistake; it is kept, but counts no more.

    One that is taken back already is left at that. Says whether there was one. Raises
    ReadingOvertaken.
    """
    current = inspection.readings.filter(quantity=quantity, at=at, is_current=True).first()
    if current is None:
        return False
    retire(current, seen)
    return True


def bare_unit(dimension: str, unit: str) -> str:
    """The unit in which a number without one is read by somebody who prefers "mm" or "in"."""
    return {"mass": {"mm": "g", "in": "oz"}, "grade": {"mm": "%", "in": "%"}}.get(
        dimension, {}
    ).get(unit, unit)


def understand(
    *, scale: Scale, quantity: str, typed: str, unit: str, is_certain: bool = False
) -> Typed:
    """Read bench text for one quantity at one scale.

    unit: in which a number without a unit is read; "mm" and "in" also stand for g and oz.

    Raises units.Unreadable for text that cannot be read, Doubt for a value that is not plausible
    unless the person is certain.
    """
    what = QUANTITIES[quantity]
    text = read(
        typed,
        what.dimension.value,
        default_unit=bare_unit(what.dimension.value, unit),
        may_be_zero=what.may_be_negative,
        may_be_negative=what.may_be_negative,
        to_scale=scale.from_full_size,
    )
    low, high = what.plausible(scale)
    if not is_certain and not all(low <= value <= high for value in text.values):
        decimals = 0 if what.unit == "g" else 2
        plausible = f"{spell(low, what.unit, decimals)} to {spell(high, what.unit, decimals)}"
        raise Doubt(
            text.as_understood,
            likely_slip(text, low, high, scale.from_full_size),
            f"for {what.name.lower()} in {scale.code}: {plausible}",
        )
    return text


@dataclass(frozen=True)
class Entry:
    """One field of the bench as submitted: bench text, or the answer of a go/no-go gauge.

    seen: the primary key of the reading that stood when the person looked, None if there was
    none. unit: in which a bare number is read, the person's own if empty. is_certain: keep a
    value although it is not plausible.
    """

    quantity: str
    at: str
    instrument: Instrument
    typed: str = ""
    gauge: GaugeResult | None = None
    seen: int | None = None
    unit: str = ""
    is_certain: bool = False


def take(
    *,
    into: type[AnyReading],
    inspection,
    entries: Iterable[Entry],
    scale: Scale,
    by: Person,
    check_place: Callable[[Entry], None],
    moment: datetime | None = None,
) -> list[AnyReading]:
    """Keep readings as typed, within a transaction that the caller holds.

    A reading typed again takes the place of the current one, which is kept. One that arrives
    twice, because a box was sent when it was left and again with its page, is kept once.

    Raises units.Unreadable, Doubt or ReadingOvertaken; ValueError for a place that is not there,
    or an instrument that cannot measure the quantity.
    """
    standing = {
        (reading.quantity, reading.at): reading
        for reading in inspection.readings.filter(is_current=True)
    }
    readings = []
    for entry in entries:
        check_place(entry)
        _check_instrument(entry)
        before = standing.get((entry.quantity, entry.at))
        facts = _facts_of(entry, scale, by)
        if before is not None and before.pk != entry.seen and _is_same(before, entry, facts, by):
            readings.append(before)
            continue
        retire(before, entry.seen)
        reading = into.objects.create(
            inspection=inspection,
            quantity=entry.quantity,
            at=entry.at,
            instrument=entry.instrument,
            taken_by=by,
            taken_at=moment or timezone.now(),
            **facts,
        )
        standing[entry.quantity, entry.at] = reading
        readings.append(reading)
    return readings


def _is_same(standing: Taken, entry: Entry, facts: Mapping[str, object], by: Person) -> bool:
    """Whether what stands is this very entry, that arrived a moment ago."""
    return (standing.instrument_id, standing.taken_by_id) == (entry.instrument.pk, by.pk) and all(
        getattr(standing, name) == facts.get(name, "") for name in ("typed", "unit", "gauge")
    )


def _check_instrument(entry: Entry) -> None:
    quantity = QUANTITIES[entry.quantity]
    if quantity.is_computed:
        raise ValueError(f"{quantity.name} is computed, not measured.")
    if entry.gauge is not None and entry.quantity not in BY_GAUGE:
        raise ValueError(f"A go/no-go gauge cannot answer for {quantity.name.lower()}.")
    if entry.gauge is None and not entry.instrument.suits(quantity):
        raise ValueError(f"{entry.instrument} cannot measure {entry.quantity}.")


def _facts_of(entry: Entry, scale: Scale, by: Person) -> dict[str, object]:
    if entry.gauge is not None:
        return {"gauge": entry.gauge.value}
    text = understand(
        scale=scale,
        quantity=entry.quantity,
        typed=entry.typed,
        unit=entry.unit or by.unit,
        is_certain=entry.is_certain,
    )
    error = entry.instrument.error_for(QUANTITIES[entry.quantity].jaws)
    step = entry.instrument.resolution or Decimal(0)
    measured = evaluate(text.values, max_error=error, resolution=step)
    return {
        "typed": entry.typed.strip(),
        "unit": text.unit,
        "values": [f"{value:f}" for value in text.values],
        "value": measured.value,
        "u": measured.u,
        "dof": None if math.isinf(measured.dof) else measured.dof,
        "max_error": error,
        "resolution": step,
    }


def retire(standing: Taken | None, seen: int | None) -> None:
    """Make room for another reading, if the one that stands is the one that was seen."""
    if (standing.pk if standing else None) != seen:
        raise ReadingOvertaken(standing)
    if standing is not None:
        standing.is_current = False
        standing.save(update_fields=["is_current"])
