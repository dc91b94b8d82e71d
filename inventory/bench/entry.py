"""What one step of the bench shows and takes in: its fields, their answers and their questions."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from inventory.bench.jobs import Job
from inventory.people.models import Person
from inventory.stock.facts import Judged, Taken
from inventory.stock.models import Instrument, Reading, Vehicle
from inventory.stock.places import Step
from inventory.stock.taking import Closed, Doubt, Entry, ReadingOvertaken
from standards.judging import GaugeResult
from standards.profiles import TOLD_BY, tell_code
from standards.quantities import BY_RULE, QUANTITIES, Quantity
from standards.sheets import profiles_for
from standards.units import Unreadable

#: The answer that takes a gauge's answer back.
NOT_TRIED = "not tried"


@dataclass
class Field:
    """One quantity at one place: what is in the box, what stands, and what is asked about it."""

    quantity: Quantity
    at: str
    typed: str = ""
    reading: Taken | None = None
    verdict: Judged | None = None
    instrument: Instrument | None = None
    stood_with: Instrument | None = None
    instruments: list[Instrument] = field(default_factory=list)
    is_judged: bool = True
    problem: str = ""
    doubt: Doubt | None = None
    is_overtaken: bool = False

    @property
    def code(self) -> str:
        return self.quantity.code

    @property
    def is_settled(self) -> bool:
        """Whether there is nothing more to say about what is in the box."""
        return not self.problem and self.doubt is None


@dataclass(frozen=True)
class Instruments:
    """The instruments in use, and what each person last used for a quantity."""

    in_use: list[Instrument]
    last: Mapping[str, int]

    @classmethod
    def of(cls, person: Person) -> Instruments:
        latest = (
            Reading.objects.filter(taken_by=person, instrument__is_retired=False, gauge="")
            .order_by("-pk")
            .values_list("quantity", "instrument_id")[:200]
        )
        last: dict[str, int] = {}
        for quantity, instrument_id in latest:
            last.setdefault(quantity, instrument_id)
        return cls(list(Instrument.objects.filter(is_retired=False)), last)

    def for_numbers(
        self, quantity: Quantity, besides: Instrument | None = None
    ) -> list[Instrument]:
        """Those that can measure it; `besides` stays on offer although it is no longer in use."""
        offered = [each for each in self.in_use if each.suits(quantity)]
        return offered if besides is None or besides in offered else [besides, *offered]

    def preferred(self, quantity: Quantity) -> Instrument | None:
        offered = self.for_numbers(quantity)
        for each in offered:
            if each.pk == self.last.get(quantity.code):
                return each
        if quantity.code in BY_RULE:
            offered.sort(key=lambda each: each.kind != Instrument.Kind.RULE)
        return offered[0] if offered else None

    def gauge(self) -> Instrument | None:
        return next((each for each in self.in_use if each.kind == Instrument.Kind.GAUGE), None)


def fields_of(
    job: Job, step: Step, instruments: Instruments, said: Iterable[Judged] = ()
) -> list[Field]:
    """The fields of a step as they stand, with the verdicts among `said`."""
    readings = {
        reading.quantity: reading
        for reading in job.inspection.readings.filter(at=step.at, is_current=True).select_related(
            "instrument"
        )
    }
    verdicts = verdicts_at(said, step)
    found = []
    for code in step.quantities:
        quantity, reading = QUANTITIES[code], readings.get(code)
        measured_with = reading.instrument if reading and not reading.gauge else None
        found.append(
            Field(
                quantity,
                step.at,
                typed=reading.typed if reading else "",
                reading=reading,
                verdict=verdicts.get(code),
                instrument=measured_with or instruments.preferred(quantity),
                stood_with=measured_with or instruments.preferred(quantity),
                instruments=instruments.for_numbers(quantity, besides=measured_with),
                is_judged=job.speaks(code),
            )
        )
    return found


def said_of(job: Job) -> list[Judged]:
    """The verdicts of the inspection as they stand."""
    return list(job.inspection.verdicts.filter(is_current=True))


def verdicts_at(said: Iterable[Judged], step: Step) -> dict[str, Judged]:
    """The verdicts at one place, by quantity."""
    return {verdict.quantity: verdict for verdict in said if verdict.at == step.at}


def sums_of(said: Iterable[Judged], step: Step) -> list[Judged]:
    """Verdicts at this place that nobody typed: K = B + T, C = G less a flangeway, and so on."""
    return [
        verdict
        for verdict in said
        if verdict.at == step.at and verdict.reading_id is None and verdict.value is not None
    ]


@dataclass(frozen=True)
class Contour:
    """The listed wheel contour that an axle measures like, beside the one declared for it."""

    measured_like: int | None
    declared: int | None
    told_by: tuple[str, ...]

    @property
    def disagrees(self) -> bool:
        return None not in (self.measured_like, self.declared) and (
            self.measured_like != self.declared
        )


def contour_of(job: Job, step: Step, fields: list[Field]) -> Contour | None:
    """What contour the wheels of this axle are, once two of its three dimensions are measured."""
    vehicle = job.subject
    if not isinstance(vehicle, Vehicle):
        return None
    measured = {
        shown.code: shown.reading.value
        for shown in fields
        if shown.code in TOLD_BY and shown.reading and shown.reading.value is not None
    }
    matches = tell_code(measured, profiles_for(vehicle.standard))
    if len(measured) < 2 or not matches:
        return None
    declared = {str(each.axle): each.profile_code for each in vehicle.fitted_wheelsets}
    best = matches[0]
    return Contour(
        best.code if best.is_like else None,
        declared.get(step.at),
        tuple(QUANTITIES[code].name.lower() for code in measured),
    )


def take(
    shown: Field,
    data: Mapping[str, str],
    job: Job,
    instruments: Instruments,
    by: Person,
) -> bool:
    """Take one field of a submitted step into the record; say whether anything was written.

    A field as it stood is left alone; an emptied one takes its reading back. What cannot be kept
    stays in the box with its problem or its question beside it.
    """
    code = shown.code
    gauge = data.get("gauge", "")
    if gauge.partition(":")[0] == code:
        return _take_gauge(shown, gauge.partition(":")[2], data, job, instruments, by)
    if _is_untouched(shown, data):
        return False
    shown.typed = data.get(f"use-{code}") or data.get(f"typed-{code}", shown.typed).strip()
    chosen = data.get(f"with-{code}", "")
    if chosen:
        offered = {str(each.pk): each for each in shown.instruments}
        if chosen not in offered:
            shown.problem = "That instrument is no longer in use for this; pick another."
            return False
        shown.instrument = offered[chosen]
    return _keep(shown, data, job, by)


def _keep(shown: Field, data: Mapping[str, str], job: Job, by: Person) -> bool:
    code, seen = shown.code, _seen(shown, data)
    try:
        if not shown.typed:
            if seen is None:
                return False  # there was nothing here to take back
            job.withdraw(code, shown.at, seen)
            shown.reading = None
            return True
        if shown.instrument is None:
            shown.problem = "No instrument in use can measure this; add one under Set-up."
            return False
        entry = Entry(
            code,
            shown.at,
            shown.instrument,
            typed=shown.typed,
            seen=seen,
            unit=_unit_as_typed(shown),
            is_certain=data.get(f"keep-{code}") == "1",
        )
        shown.reading = job.record([entry], by)[0]
    except Unreadable as unreadable:
        shown.problem = str(unreadable)
        return False
    except Doubt as doubt:
        shown.doubt = doubt
        return False
    except ReadingOvertaken as overtaken:
        _show_overtaken(shown, overtaken)
        return False
    except (Closed, ValueError) as refused:
        shown.problem = str(refused)
        return False
    return True


def _show_overtaken(shown: Field, overtaken: ReadingOvertaken) -> None:
    shown.problem = f"{overtaken} Yours was not kept; save again to replace it."
    shown.reading, shown.is_overtaken = overtaken.now, True
    if not shown.typed and overtaken.now is not None:
        shown.typed = overtaken.now.typed


def _seen(shown: Field, data: Mapping[str, str]) -> int | None:
    """The reading that stood when the person looked."""
    text = data.get(f"seen-{shown.code}", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 18 else None


def _is_untouched(shown: Field, data: Mapping[str, str]) -> bool:
    """Whether the box and its instrument are as the page showed them, whatever stands now."""
    code = shown.code
    if f"use-{code}" in data or data.get(f"keep-{code}") == "1":
        return False
    typed = data.get(f"typed-{code}", shown.typed).strip()
    if f"was-{code}" not in data:
        return _is_as_it_stood(shown, typed, data.get(f"with-{code}", ""))
    is_same_text = typed == data[f"was-{code}"].strip()
    chosen, before = data.get(f"with-{code}", ""), data.get(f"waswith-{code}", "")
    return is_same_text and (not typed or not chosen or chosen == before)


def _unit_as_typed(shown: Field) -> str:
    """A reading that only changes its instrument is read in the unit in which it was typed, even
    when the person before the screen now prefers another."""
    reading = shown.reading
    if reading is None or reading.typed != shown.typed or " " in reading.unit:
        return ""
    return reading.unit


def _take_gauge(
    shown: Field,
    answer: str,
    data: Mapping[str, str],
    job: Job,
    instruments: Instruments,
    by: Person,
) -> bool:
    instrument, seen = instruments.gauge(), _seen(shown, data)
    try:
        if answer == NOT_TRIED:
            job.withdraw(shown.code, shown.at, seen)
            shown.reading = None
            return True
        if instrument is None:
            shown.problem = "No go/no-go gauge is in use; add one under Set-up."
            return False
        if answer not in list(GaugeResult):
            shown.problem = f"“{answer[:20]}” is no answer of a gauge; press one of the keys."
            return False
        entry = Entry(shown.code, shown.at, instrument, gauge=GaugeResult(answer), seen=seen)
        shown.reading = job.record([entry], by)[0]
    except ReadingOvertaken as overtaken:
        _show_overtaken(shown, overtaken)
        return False
    except (Closed, ValueError) as refused:
        shown.problem = str(refused)
        return False
    shown.typed = ""
    return True


def _is_as_it_stood(shown: Field, typed: str, chosen: str) -> bool:
    """The same for a request that does not say what the page showed."""
    reading = shown.reading
    if reading is None or reading.gauge:
        return not typed
    return reading.typed == typed and chosen in ("", str(reading.instrument_id))
