"""Which standards does a wheelset meet? One wheelset against every family at its gauge."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from functools import cache

from standards import sheets
from standards.conformity import Outcome, Rule
from standards.judging import Finding, Observation, Subject, judge_vehicle
from standards.metrology import USUAL, Instrument, Measured, evaluate
from standards.profiles import Match, tell_code
from standards.quantities import QUANTITIES, name_of
from standards.sheets import PUBLISHED, Family, Limit, Row, Scale, Sheet, limits_for

#: What is read from a wheelset, in the order of the bench.
READ = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")
#: What sheets limit on a wheelset, each with the readings that it needs.
NEEDS: Mapping[str, tuple[str, ...]] = {
    "back_to_back": ("back_to_back",),
    "wheel_check": ("back_to_back", "flange_thickness"),
    "over_flanges": ("back_to_back", "flange_thickness"),
    "flange_thickness": ("flange_thickness",),
    "flange_depth": ("flange_depth",),
    "tyre_width": ("tyre_width",),
}
#: Without a limit for one of these nothing can be said about running through track.
GUIDING = ("back_to_back", "wheel_check", "over_flanges")

#: A family is compared if its gauge lies within this share of the one asked for: wheels are the
#: same on 16.2 and 16.5 mm, and bodies round the same gauge differently. No source.
NEARNESS = Decimal("0.02")
#: Gauges that differ by less than this share are one gauge, rounded in mm or in inches.
_SAME_GAUGE = Decimal("0.005")
#: Gauges of the prototype that count as standard gauge: 1250 to 1700 mm, NEM 010.
_STANDARD_GAUGE = (Decimal(1250), Decimal(1700))
_AXLE = "1"

# "exact" compares the number alone.
INSTRUMENTS: Mapping[str, tuple[str, Instrument, Rule]] = {
    "caliper": ("Digital caliper, ± 0.03 mm", USUAL["digital"], Rule.NINETY_FIVE),
    "vernier": ("Vernier caliper, ± 0.05 mm", USUAL["vernier"], Rule.NINETY_FIVE),
    "exact": (
        "Exact: compare the numbers alone",
        Instrument("nothing in particular", "caliper", Decimal(0), Decimal(0)),
        Rule.SIMPLE,
    ),
}


# --- Gauges -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Gauge:
    """A track gauge, and the scales that run on it."""

    mm: Decimal
    scales: tuple[Scale, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The names of its scales, each once: standard gauge first, and short names first, for
        those are the usual ones (HO before HO Fine and Proto:87.1).
        """
        ranked = sorted(self.scales, key=lambda each: (not _is_standard(each), len(each.code)))
        return tuple(dict.fromkeys(scale.code for scale in ranked))


def _is_standard(scale: Scale) -> bool:
    low, high = _STANDARD_GAUGE
    return low <= scale.gauge_mm * scale.ratio <= high


def _every_scale() -> list[Scale]:
    return [scale for family in sheets.families().values() for scale in family.scales]


@cache
def gauges() -> tuple[Gauge, ...]:
    """Every gauge on which a family names a scale, from the narrowest; .649 in is 16.5 mm."""
    groups: list[list[Scale]] = []
    for scale in sorted(_every_scale(), key=lambda each: each.gauge_mm):
        if groups and scale.gauge_mm - groups[-1][0].gauge_mm < _SAME_GAUGE * scale.gauge_mm:
            groups[-1].append(scale)
        else:
            groups.append([scale])
    return tuple(_gauge(group) for group in groups)


def _gauge(scales: Sequence[Scale]) -> Gauge:
    figures = [scale.gauge_mm for scale in scales]
    usual = max(dict.fromkeys(figures), key=figures.count)
    return Gauge(usual, tuple(scale for scale in _every_scale() if scale in scales))


def gauge_near(mm: Decimal) -> Gauge | None:
    """The gauge nearest to a figure in mm, None if none is near enough to be the one meant."""
    nearest = min(gauges(), key=lambda gauge: abs(gauge.mm - mm))
    return nearest if abs(nearest.mm - mm) <= NEARNESS * nearest.mm else None


def plausible(quantity: str, gauge: Gauge) -> tuple[Decimal, Decimal]:
    """Least and greatest size in mm that a part of a wheelset can have on this gauge."""
    return QUANTITIES[quantity].plausible(gauge.scales[0])


# --- Readings ---------------------------------------------------------------------------------


def measured(quantity: str, readings: Sequence[Decimal], instrument: str) -> Measured:
    """Readings in mm taken with one of `INSTRUMENTS`. Raises KeyError for any other."""
    _, tool, _ = INSTRUMENTS[instrument]
    return evaluate(
        readings,
        max_error=tool.error_for(QUANTITIES[quantity].jaws),
        resolution=tool.resolution,
    )


# --- Comparing --------------------------------------------------------------------------------


class Overall(StrEnum):
    """What a family says of the whole wheelset."""

    MEETS = "meets"
    UNDECIDED = "undecided"
    CANNOT_SAY = "cannot say"
    FAILS = "fails"


#: What of a printed pair of limits was not read, in words.
NOT_READ = {"min": "least", "max": "greatest", "both": "least and greatest"}


@dataclass(frozen=True)
class Cell:
    """One quantity judged by one family.

    `finding` is None for what the family does not limit, and where the readings it needs were
    not given; `limit` is what the family prints, None if nothing.
    """

    quantity: str
    finding: Finding | None
    limit: Limit | None
    missing: tuple[str, ...] = ()

    @property
    def is_limited(self) -> bool:
        """Whether the family limits it at all; a nominal alone limits nothing."""
        if self.finding is not None and self.finding.outcome is not Outcome.NOT_JUDGED:
            return True
        return self.limit is not None and self.limit.has_bounds

    @property
    def not_held(self) -> str:
        """ "least", "greatest" or "least and greatest" where that is printed but was not read."""
        held = "" if self.limit is None else self.limit.not_held
        return NOT_READ.get(held, "")

    @property
    def low(self) -> Decimal | None:
        """The least that is allowed, in mm; derived ones included."""
        if self.finding is not None:
            return self.finding.low.number
        return self.limit.low if self.limit else None

    @property
    def high(self) -> Decimal | None:
        """The greatest that is allowed, in mm; derived ones included."""
        if self.finding is not None:
            return self.finding.high.number
        return self.limit.high if self.limit else None

    @property
    def nominal(self) -> Decimal | None:
        """The size to aim at, in mm."""
        return self.limit.nominal if self.limit else None

    @property
    def outcome(self) -> Outcome:
        """The verdict; not judged where nothing could be."""
        return Outcome.NOT_JUDGED if self.finding is None else self.finding.outcome

    @property
    def basis(self) -> str:
        """Where the limits that it was judged by come from, in words."""
        if self.finding is None:
            return ""
        sides = (self.finding.low, self.finding.high)
        words = [side.basis for side in sides if side.number is not None]
        return f"{'; '.join(words)}." if words else ""

    @property
    def is_derived(self) -> bool:
        """Whether a limit that it was judged by is reckoned from printed ones."""
        return self.finding is not None and self.is_limited and self.finding.is_derived

    @property
    def is_second_hand(self) -> bool:
        """Whether a limit was only read quoted elsewhere."""
        if self.finding is not None:
            return self.finding.is_second_hand
        return self.is_limited and self.limit is not None and self.limit.provenance != PUBLISHED


@dataclass(frozen=True)
class Comparison:
    """One wheelset judged by one family, at all of its scales that limit wheels alike."""

    family: Family
    scales: tuple[Scale, ...]
    cells: Mapping[str, Cell]

    @property
    def name(self) -> str:
        """The family and the first of its scales: "NMRA standard scales, HO"."""
        return f"{self.family.name}, {self.scales[0].code}"

    @property
    def missing(self) -> tuple[str, ...]:
        """The readings that were not given, though something limited needs them."""
        wanted = {code for cell in self.cells.values() for code in cell.missing}
        return tuple(code for code in READ if code in wanted)

    @property
    def found(self) -> tuple[Cell, ...]:
        """What was judged, or could not be for a reason that is worth telling."""
        return tuple(
            cell
            for cell in self.cells.values()
            if cell.finding is not None and (cell.is_limited or cell.limit is not None)
        )

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        """The sheets that limit its wheels."""
        ids = [cell.limit.sheet for cell in self.cells.values() if cell.limit is not None]
        return tuple(sheets.sheet(each) for each in dict.fromkeys(ids))

    @property
    def half_held(self) -> tuple[str, ...]:
        """What was given but not judged, because one of its two printed limits was not read."""
        return tuple(
            code
            for code, cell in self.cells.items()
            if (cell.not_held or cell.is_limited)
            and not cell.missing
            and cell.outcome is Outcome.NOT_JUDGED
        )

    @property
    def _is_guided(self) -> bool:
        return any(self.cells[code].is_limited for code in GUIDING)

    @property
    def overall(self) -> Overall:
        """What can be said of the whole wheelset. Missing is never a pass."""
        outcomes = {cell.outcome for cell in self.cells.values() if cell.is_limited}
        if Outcome.OUTSIDE in outcomes:
            return Overall.FAILS
        if self.missing or self.half_held or not self._is_guided:
            return Overall.CANNOT_SAY
        if Outcome.UNDECIDED in outcomes:
            return Overall.UNDECIDED
        return Overall.MEETS

    @property
    def is_failed(self) -> bool:
        """Whether it fails, whatever else might still be measured."""
        return self.overall is Overall.FAILS

    @property
    def reason(self) -> str:
        """Why it came out so, in words; empty for a wheelset that meets everything."""
        match self.overall:
            case Overall.FAILS:
                return f"{_listed(self._with(Outcome.OUTSIDE))} outside"
            case Overall.UNDECIDED:
                return f"{_listed(self._with(Outcome.UNDECIDED))} too near a limit to tell"
            case Overall.CANNOT_SAY if self.missing:
                return f"not given: {_listed(self.missing)}"
            case Overall.CANNOT_SAY if not self._is_guided:
                return "it prints no limits for the back-to-back"
            case Overall.CANNOT_SAY:
                return f"a limit of the {_listed(self.half_held)} is printed but not held here"
        return ""

    @property
    def is_second_hand(self) -> bool:
        """Whether a figure that it was judged by was only read quoted elsewhere."""
        return any(cell.is_second_hand for cell in self.cells.values())

    def _with(self, outcome: Outcome) -> list[str]:
        return [code for code, cell in self.cells.items() if cell.outcome is outcome]


def _listed(codes: Iterable[str]) -> str:
    return ", ".join(
        "check gauge K" if code == "wheel_check" else name_of(code).lower() for code in codes
    )


def compare(
    gauge: Gauge,
    readings: Mapping[str, Measured],
    *,
    code: int | None = None,
    rule: Rule = Rule.NINETY_FIVE,
) -> tuple[Comparison, ...]:
    """One wheelset by every family that limits wheels near this gauge; those it meets first.

    readings: by quantity code, any of `READ`, in mm. code: the RP-25 code declared for it, which
    bounds the back-to-back where the flange was not measured but never makes up for it.
    """
    compared = [
        _compare(family, alike, readings, code, rule)
        for family in sheets.families().values()
        for alike in _alike(_near(family, gauge))
    ]
    return tuple(sorted(compared, key=lambda each: list(Overall).index(each.overall)))


def without_figures(gauge: Gauge) -> tuple[tuple[Family, tuple[Scale, ...]], ...]:
    """Families that name a scale near this gauge but hold no figure for its wheels."""
    return tuple(
        (family, silent)
        for family in sheets.families().values()
        if (silent := tuple(each for each in _near(family, gauge) if not _wheel_limits(each)))
    )


def _near(family: Family, gauge: Gauge) -> list[Scale]:
    return [
        scale for scale in family.scales if abs(scale.gauge_mm - gauge.mm) <= NEARNESS * gauge.mm
    ]


def _wheel_limits(scale: Scale) -> dict[str, Limit]:
    return {code: limit for code, limit in limits_for(scale).items() if code in NEEDS}


def _alike(scales: Iterable[Scale]) -> list[tuple[Scale, ...]]:
    """Scales whose wheels have the same limits, together; those without any are left out."""
    groups: dict[object, list[Scale]] = {}
    for scale in scales:
        limits = _wheel_limits(scale)
        if limits:
            key = frozenset(
                (code, limit.low, limit.high, limit.nominal, limit.provenance)
                for code, limit in limits.items()
            )
            groups.setdefault(key, []).append(scale)
    return [
        tuple(sorted(group, key=lambda each: not _is_standard(each))) for group in groups.values()
    ]


def _compare(
    family: Family,
    scales: tuple[Scale, ...],
    readings: Mapping[str, Measured],
    code: int | None,
    rule: Rule,
) -> Comparison:
    first = scales[0]
    subject = Subject(first, axles=1, declared_codes={} if code is None else {_AXLE: code})
    given = [
        Observation(quantity, _AXLE, measured=reading) for quantity, reading in readings.items()
    ]
    findings = {finding.quantity: finding for finding in judge_vehicle(subject, given, rule=rule)}
    limits = _wheel_limits(first)
    cells = {}
    for quantity, needs in NEEDS.items():
        limit = limits.get(quantity)
        finding = findings.get(quantity)
        is_limited = limit is not None and limit.has_bounds
        missing = tuple(need for need in needs if is_limited and need not in readings)
        cells[quantity] = Cell(quantity, finding, limit, missing)
    return Comparison(family, scales, cells)


# --- The contour ------------------------------------------------------------------------------


def profiles() -> tuple[Row, ...]:
    """The listed wheel contours, RP-25, the widest tyre first."""
    return tuple(row for row in sheets.sheet("nmra-rp-25").rows if row.code is not None)


def profile(code: int | None) -> Row | None:
    """The listed contour of that code."""
    return next((row for row in profiles() if code is not None and row.code == code), None)


@dataclass(frozen=True)
class Likeness:
    """Which listed contour a wheel looks like.

    `rivals` are other codes it could pass for as well, given what was measured.
    """

    best: Match
    rivals: tuple[int, ...]


def likeness(readings: Mapping[str, Measured]) -> Likeness | None:
    """The listed contour that agrees best with a wheel; None if nothing of it was measured."""
    matches = tell_code({code: each.value for code, each in readings.items()}, profiles())
    if not matches:
        return None
    best = matches[0]
    rivals = tuple(match.code for match in matches[1:] if match.is_like)
    return Likeness(best, rivals if "tyre_width" not in readings else ())
