"""From what was observed on a vehicle to a verdict on each quantity: the one pure function.

The bench, the stored verdicts, `rejudge`, the command line and the standards pages all call
`judge_vehicle`; nothing else in the project decides what is within.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from enum import StrEnum

from standards import conformity
from standards.conformity import Bounds, Judgement, Outcome, Rule
from standards.metrology import Measured, combine_sum
from standards.quantities import QUANTITIES, Place
from standards.sheets import (
    MM_PER_INCH,
    PUBLISHED,
    STATED,
    Limit,
    MassRule,
    Scale,
    limits_for,
    mass_rule_for,
    profiles_for,
    sheet,
)
from standards.units import plain, spell


class GaugeResult(StrEnum):
    """What a go/no-go gauge says."""

    GO = "go"
    TOO_SMALL = "too small"
    TOO_LARGE = "too large"


class Service(StrEnum):
    """Whether a vehicle may run."""

    FIT = "fit to run"
    ADVICE = "fit with advice"
    BAD_ORDER = "bad order"
    AWAITING = "awaiting inspection"


#: Out of these a vehicle still runs: the sheets that hold them are recommendations for good
#: running, not conditions of passing through track. Common practice, no source.
ADVISORY = frozenset({"mass", "start_rolling_grade", "axle_length", "buffer_spacing"})

#: Without these on every axle nothing can be said about running. Common practice, no source.
ESSENTIAL_PER_AXLE = ("back_to_back",)

#: What else of a wheelset a sheet may limit: not measured, it is advice, for it is not a pass.
LIMITED_PER_AXLE = ("flange_thickness", "flange_depth", "tyre_width")


@dataclass(frozen=True)
class Observation:
    """One quantity observed at one place: measured, or tried with a go/no-go gauge.

    at: the axle counted from 1 ("2"), the end ("A", "B"), or "" for the whole vehicle.
    """

    quantity: str
    at: str = ""
    measured: Measured | None = None
    gauge: GaugeResult | None = None


@dataclass(frozen=True)
class HouseRule:
    """A limit of the owner's or the club's own, with its reason.

    low, high: mm, g or %; when `about_sheet` they are distances from the sheet's own figure
    (low below it, high above it), for sheets that print a figure without a tolerance.
    """

    quantity: str
    low: Decimal | None
    high: Decimal | None
    reason: str
    about_sheet: bool = False


@dataclass(frozen=True)
class Subject:
    """What is judged: the scale it is judged at, and what is declared of it.

    declared_codes: the RP-25 code declared for an axle, by the axle's number as text.
    couplers: the kind of coupler declared at an end, by the end's letter; "" or absent if unknown.
    """

    scale: Scale
    axles: int = 0
    is_hauled: bool = True
    has_buffers: bool = False
    declared_codes: Mapping[str, int] = field(default_factory=dict)
    couplers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Side:
    """One limit of a finding: the number in mm, g or %, and where it comes from.

    `is_derived`: arithmetic on printed figures. `is_printed` is False for a figure of a sheet that
    its body never printed as a limit, but that somebody computed or inferred.
    """

    number: Decimal | None = None
    u: float = 0.0
    basis: str = ""
    is_derived: bool = False
    is_printed: bool = True
    provenance: str = PUBLISHED


@dataclass(frozen=True)
class Finding:
    """The verdict on one quantity at one place, with everything that led to it.

    Numbers are in mm, g or %. `nominal` is a figure that the sheet prints without limits about
    it, `nominal_u` its standard uncertainty where it was reckoned from a measured length.
    `not_held` is "min", "max" or "both" where that limit is printed but was not read. `sheets` are
    the ids of the sheets judged by; `note` says in words what a reader has to know;
    `is_judged_by_house` marks a house limit.
    """

    quantity: str
    at: str
    judgement: Judgement
    measured: Measured | None = None
    gauge: GaugeResult | None = None
    low: Side = Side()
    high: Side = Side()
    nominal: Decimal | None = None
    nominal_u: float = 0.0
    nominal_provenance: str = PUBLISHED
    nominal_is_printed: bool = True
    not_held: str = ""
    sheets: tuple[str, ...] = ()
    note: str = ""
    is_judged_by_house: bool = False

    @property
    def outcome(self) -> Outcome:
        """The verdict."""
        return self.judgement.outcome

    @property
    def value(self) -> Decimal | None:
        """The measured value, None for a go/no-go result or when nothing was measured."""
        return self.measured.value if self.measured else None

    @property
    def is_second_hand(self) -> bool:
        """Whether a limit or figure it goes by was only read quoted elsewhere."""
        if self.nominal is not None and self.nominal_provenance != PUBLISHED:
            return True
        return any(
            side.number is not None and side.provenance != PUBLISHED
            for side in (self.low, self.high)
        )

    @property
    def is_derived(self) -> bool:
        """Whether a limit or figure it goes by is arithmetic on printed ones."""
        if self.nominal is not None and not self.nominal_is_printed:
            return True
        return self.low.is_derived or self.high.is_derived

    @property
    def is_advisory(self) -> bool:
        """Whether a vehicle outside still runs: the quantity is one of good running, or the limit
        that it breaks was never printed as one."""
        if self.quantity in ADVISORY:
            return True
        broken = self.low if self.direction < 0 else self.high
        return self.gauge is None and not broken.is_printed

    @property
    def direction(self) -> int:
        """-1 too small, +1 too large, 0 neither known."""
        if self.gauge is not None:
            return {GaugeResult.TOO_SMALL: -1, GaugeResult.TOO_LARGE: 1}.get(self.gauge, 0)
        if self.value is None or self.outcome in (Outcome.WITHIN, Outcome.NOT_JUDGED):
            return 0
        if self.low.number is not None and self.high.number is not None:
            return -1 if self.value < (self.low.number + self.high.number) / 2 else 1
        if self.low.number is not None:
            return -1
        return 1 if self.high.number is not None else 0


_NOT_JUDGED = Judgement(Outcome.NOT_JUDGED, None)


def judge_vehicle(
    subject: Subject,
    observations: Iterable[Observation],
    house: Sequence[HouseRule] = (),
    rule: Rule = Rule.NINETY_FIVE,
    carried: Iterable[Observation] = (),
) -> tuple[Finding, ...]:
    """Judge everything observed on one vehicle by the sheets of its family, and house limits.

    Besides what was observed, the check gauge and the size over flanges of each wheelset are
    computed from its back-to-back and flange thickness (K = B + T, NEM 310 note 2; B + 2T,
    S-4.1), and where a sheet prints no greatest back-to-back it follows from the greatest check
    gauge less the flange (S-4.2). Findings come in the order of axles, ends and the vehicle.

    carried: what is known of the vehicle from earlier inspections. It is not judged again, but
    what was observed now may be judged by it: a mass by an earlier length, a check gauge by an
    earlier flange.

    A quantity of which no sheet of the family and no house limit speaks is not judged; missing
    is never a pass. Raises KeyError for a quantity that is not known.
    """
    seen = {(observation.quantity, observation.at): observation for observation in observations}
    known = {(each.quantity, each.at): each for each in carried}
    by_house = {each.quantity: each for each in house}
    bench = _Bench(subject, seen, {**known, **seen}, by_house, rule)
    findings = [bench.finding(observation) for observation in seen.values()]
    findings += bench.computed()
    return tuple(sorted(findings, key=_order))


_RANK = {code: rank for rank, code in enumerate(QUANTITIES)}


def _order(finding: Finding) -> tuple[int, int, str, int]:
    place = list(Place).index(QUANTITIES[finding.quantity].place)
    axle = int(finding.at) if finding.at.isdigit() else 0
    return place, axle, finding.at, _RANK[finding.quantity]


@dataclass(frozen=True)
class _Bench:
    """Everything one judging needs to look at; lives for one call."""

    subject: Subject
    seen: Mapping[tuple[str, str], Observation]
    known: Mapping[tuple[str, str], Observation]
    house: Mapping[str, HouseRule]
    rule: Rule

    def measured(self, quantity: str, at: str) -> Measured | None:
        observation = self.known.get((quantity, at))
        return observation.measured if observation else None

    # One quantity ---------------------------------------------------------------------------

    def finding(self, observation: Observation) -> Finding:
        quantity, at = observation.quantity, observation.at
        _ = QUANTITIES[quantity]
        stated = self._stated(quantity, at)
        stated = self._by_house(stated)
        if observation.gauge is not None:
            return _with_gauge(stated, observation.gauge)
        if observation.measured is None:
            return stated
        return self._judged(stated, observation.measured)

    def _judged(self, stated: Finding, measured: Measured) -> Finding:
        """The verdict, where being inside the one limit that is known is no pass."""
        finding = _judged(stated, measured, self.rule)
        if finding.quantity == "back_to_back":
            finding = self._not_within_by_half(finding)
        return _not_judged_by_half(finding)

    def _by_house(self, stated: Finding) -> Finding:
        """The house limit of the quantity in place of the sheet's, if there is one."""
        house = self.house.get(stated.quantity)
        if house is None or (stated.quantity == "mass" and not self.subject.is_hauled):
            return stated
        return _by_house(house, stated)

    def _stated(self, quantity: str, at: str) -> Finding:
        """What the sheets say of a quantity, before anything is judged."""
        if quantity == "mass":
            return self._mass(at)
        limit = limits_for(self.subject.scale).get(quantity)
        if limit is None:
            note = "No sheet of this family limits it at this scale."
            if quantity == "back_to_back" and self._greatest_check() is not None:
                return self._back_to_back(Finding(quantity, at, _NOT_JUDGED), at)
            return Finding(quantity, at, _NOT_JUDGED, note=note)
        kind = self.subject.couplers.get(at, "")
        if limit.coupler and kind and kind != limit.coupler:
            name = sheet(limit.sheet).short
            note = f"{name} speaks of {limit.coupler} couplers, and this is declared as {kind}."
            return Finding(quantity, at, _NOT_JUDGED, note=note)
        finding = _from_limit(limit, at)
        if quantity == "back_to_back" and limit.high is None:
            return self._back_to_back(finding, at)
        return finding

    def _greatest_check(self) -> Limit | None:
        check = limits_for(self.subject.scale).get("wheel_check")
        return check if check is not None and check.high is not None else None

    def _back_to_back(self, finding: Finding, at: str) -> Finding:
        """Add the greatest back-to-back that follows from K max less the flange."""
        check = self._greatest_check()
        if check is None or check.high is None:
            return finding
        flange = self.measured("flange_thickness", at)
        if flange is not None:
            thickness, u = flange.value, flange.u
            when = "" if ("flange_thickness", at) in self.seen else ", measured earlier"
            of = f"the measured flange of {spell(thickness, 'mm', 3)}{when}"
        else:
            code = self.subject.declared_codes.get(at)
            nominal = self._nominal_flange(code)
            if nominal is None:
                if code is not None:
                    finding = _add_note(finding, f"RP-25 code {code} is declared, but not held.")
                declare = ", or declare the wheel's RP-25 code"
                return _add_note(
                    finding,
                    "Its upper limit is the greatest check gauge less one flange: measure the "
                    f"flange thickness{declare if profiles_for(self.subject.scale) else ''}.",
                )
            thickness, u = nominal, 0.0
            of = f"the flange of RP-25 code {code}, {spell(thickness, 'in')}, not measured"
        high = Side(
            check.high - thickness,
            u,
            f"{sheet(check.sheet).short} K max {_printed(check, 'max')} less {of}",
            is_derived=True,
            provenance=check.provenance,
        )
        return replace(finding, high=high, sheets=_joined(finding.sheets, (check.sheet,)))

    def _nominal_flange(self, code: int | None) -> Decimal | None:
        for profile in profiles_for(self.subject.scale):
            if code is not None and profile.code == code and "flange_thickness" in profile.limits:
                return profile.limits["flange_thickness"].nominal
        return None

    def _not_within_by_half(self, finding: Finding) -> Finding:
        """A back-to-back whose upper limit cannot be derived is not within by its lower alone."""
        if finding.high.number is None and finding.low.number is not None and not finding.not_held:
            finding = self._without_upper(finding)
        has_both = finding.low.number is not None and finding.high.number is not None
        if has_both or finding.outcome is not Outcome.WITHIN:
            return finding
        finding = replace(finding, judgement=_NOT_JUDGED)
        return _add_note(finding, "Only one of its two limits is held.")

    def _without_upper(self, finding: Finding) -> Finding:
        check = self._greatest_check()
        if check is None:
            return finding
        if finding.outcome is not Outcome.WITHIN or finding.measured is None:
            return finding
        assert check.high is not None
        if finding.measured.value <= check.high:
            return replace(finding, judgement=Judgement(Outcome.UNDECIDED, None))
        # Even a flange of no thickness leaves K at B itself.
        high = Side(
            check.high,
            0.0,
            f"{sheet(check.sheet).short} K max {_printed(check, 'max')}, however thin the flange",
            is_derived=True,
            provenance=check.provenance,
        )
        beyond = replace(finding, high=high, sheets=_joined(finding.sheets, (check.sheet,)))
        return _judged(beyond, finding.measured, self.rule)

    # Mass -----------------------------------------------------------------------------------

    def _mass(self, at: str) -> Finding:
        finding = Finding("mass", at, _NOT_JUDGED)
        mass_rule = mass_rule_for(self.subject.scale)
        if mass_rule is None:
            return _add_note(finding, "No sheet of this family holds a mass rule at this scale.")
        name = sheet(mass_rule.sheet).short
        finding = replace(finding, sheets=(mass_rule.sheet,))
        if not self.subject.is_hauled:
            return _add_note(finding, f"{name} speaks of hauled stock, not of locomotives.")
        asked = self._mass_lengths(mass_rule)
        known = [code for code in asked if self.measured(code, "") is not None]
        length = self.measured(known[0], "") if known else None
        if length is None:
            asked_for = QUANTITIES[asked[0]].name.lower()
            return _add_note(finding, f"{name} goes by the {asked_for}: measure it too.")
        optimum = mass_rule.optimum_g(length.value)
        if optimum is not None:
            per_inch = mass_rule.optimum_g_per_inch or Decimal(0)
            finding = replace(
                finding,
                nominal=optimum,
                nominal_u=float(per_inch / MM_PER_INCH) * length.u,
                nominal_provenance=mass_rule.provenance,
            )
            return _add_note(
                finding,
                f"{name} gives an optimum of {spell(optimum, 'g', 1)} "
                f"({spell(optimum, 'oz', 2)}) for this body and prints no tolerance.",
            )
        low, high = mass_rule.limits_g(length.value)
        per_mm = mass_rule.minimum_g_per_mm or Decimal(0)
        spread = float(per_mm) * length.u
        upper = mass_rule.upper_percent or Decimal(0)
        return replace(
            finding,
            low=Side(
                low,
                spread,
                f"{name}: {plain(per_mm)} g a mm of {QUANTITIES[known[0]].name.lower()}",
                is_derived=True,
                provenance=mass_rule.provenance,
            ),
            high=Side(
                high,
                spread * (1 + float(upper) / 100),
                f"{name}: {plain(upper)} % above the minimum",
                is_derived=True,
                provenance=mass_rule.upper_provenance,
            ),
        )

    def _mass_lengths(self, mass_rule: MassRule) -> tuple[str, ...]:
        """The lengths that a mass rule may go by, the one it names first."""
        if mass_rule.length_quantity == "length_over_buffers" and not self.subject.has_buffers:
            # Stock without buffers has no such length; over its couplers is what comes closest.
            return "length_over_couplers", "length_over_buffers"
        return (mass_rule.length_quantity,)

    # Computed from two readings -------------------------------------------------------------

    def computed(self) -> list[Finding]:
        """What nobody observed by itself, but follows from what was observed now and before.

        K = B + T and B + 2T of every axle of which either was measured now; the back-to-back taken
        earlier, once its flange is measured; and the mass taken earlier, once the length that its
        rule goes by is.
        """
        found = []
        axles = {at for code, at in self.seen if code in ("back_to_back", "flange_thickness")}
        for at in sorted(axles):
            for quantity, flanges in (("wheel_check", 1), ("over_flanges", 2)):
                found += self._sum(quantity, at, flanges)
            found += self._earlier("back_to_back", at, by={"flange_thickness"})
        mass_rule = mass_rule_for(self.subject.scale)
        if mass_rule is not None:
            found += self._earlier("mass", "", by=self._mass_lengths(mass_rule))
        return found

    def _sum(self, quantity: str, at: str, flanges: int) -> list[Finding]:
        limit = limits_for(self.subject.scale).get(quantity)
        if (quantity, at) in self.seen or (limit is None and quantity not in self.house):
            return []
        stated = Finding(quantity, at, _NOT_JUDGED) if limit is None else _from_limit(limit, at)
        stated = self._by_house(stated)
        back, flange = self.measured("back_to_back", at), self.measured("flange_thickness", at)
        if back is None or flange is None:
            is_said_already = (
                quantity not in self.house
                and limit is not None
                and limit.low is None
                and not limit.not_held
            )
            if is_said_already or ("back_to_back", at) not in self.seen:
                return []  # the greatest back-to-back, derived from it, says the same
            return [_add_note(stated, "Needs back-to-back and flange thickness in numbers.")]
        # The two are taken with different jaws, so their errors are counted as independent.
        total = combine_sum(back, _times(flange, flanges))
        return [self._judged(stated, total)]

    def _earlier(self, quantity: str, at: str, *, by: Iterable[str]) -> list[Finding]:
        """What was measured earlier, judged again by what was measured now."""
        measured = self.measured(quantity, at)
        if measured is None or (quantity, at) in self.seen:
            return []
        if not any((code, at) in self.seen for code in by):
            return []
        return [self._judged(self._by_house(self._stated(quantity, at)), measured)]


# --- Small steps ------------------------------------------------------------------------------


def _times(measured: Measured, n: int) -> Measured:
    """One reading that stands for n alike: its error is in the sum n times, not by chance."""
    return replace(measured, value=measured.value * n, u=measured.u * n)


def _add_note(finding: Finding, note: str) -> Finding:
    if note in finding.note:
        return finding
    return replace(finding, note=f"{finding.note} {note}".strip())


def _joined(first: tuple[str, ...], second: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(first + second))


def _printed(limit: Limit, key: str) -> str:
    return f"{plain(limit.printed[key])} {limit.unit}"


def _side(limit: Limit, number: Decimal | None, key: str) -> Side:
    if number is None:
        return Side()
    words = {"min": "least", "max": "greatest"}[key]
    if key in limit.printed:
        figure = _printed(limit, key)
    else:
        sign, part = ("−", "minus") if key == "min" else ("+", "plus")
        figure = f"{_printed(limit, 'nominal')} {sign} {plain(limit.printed[part])}"
    return Side(
        number,
        0.0,
        f"{sheet(limit.sheet).short} {limit.row}: {words} {figure}",
        is_derived=limit.basis != STATED,
        is_printed=limit.basis == STATED,
        provenance=limit.provenance,
    )


def _from_limit(limit: Limit, at: str) -> Finding:
    note, is_printed = limit.note, limit.basis == STATED
    if not limit.has_bounds and limit.nominal is not None:
        figure = f"{sheet(limit.sheet).short}: {_printed(limit, 'nominal')}"
        how = "printed without a tolerance" if is_printed else f"{limit.basis}, not printed"
        figure = figure if limit.not_held else f"{figure}, {how}"
        note = f"{figure}. {note}".strip()
    if not limit.has_bounds and limit.not_held:
        note = f"{note} {_not_held(limit.not_held)}".strip()
    return Finding(
        limit.quantity,
        at,
        _NOT_JUDGED,
        low=_side(limit, limit.low, "min"),
        high=_side(limit, limit.high, "max"),
        nominal=limit.nominal,
        nominal_provenance=limit.provenance,
        nominal_is_printed=is_printed,
        not_held=limit.not_held,
        sheets=(limit.sheet,),
        note=note,
    )


def _by_house(house: HouseRule, stated: Finding) -> Finding:
    """The house limit in place of the sheet's, which stays readable in the note."""
    about = stated.nominal if house.about_sheet else Decimal(0)
    if about is None:
        return _add_note(stated, "The house limit is about the sheet's figure, and there is none.")
    u = stated.nominal_u if house.about_sheet else 0.0
    provenance = stated.nominal_provenance if house.about_sheet else PUBLISHED
    basis = f"House limit: {house.reason}"

    def side(distance: Decimal | None, sign: int, printed: Side) -> Side:
        # A house limit on one side leaves the sheet's other side in force.
        if distance is None:
            return printed
        number = about + sign * distance if house.about_sheet else distance
        return Side(number, u, basis, provenance=provenance)

    finding = replace(
        stated,
        low=side(house.low, -1, stated.low),
        high=side(house.high, 1, stated.high),
        is_judged_by_house=True,
    )
    replaced = [
        printed.basis
        for printed, own in ((stated.low, house.low), (stated.high, house.high))
        if own is not None and printed.number is not None
    ]
    return _add_note(finding, f"In place of {'; '.join(replaced)}.") if replaced else finding


def _judged(stated: Finding, measured: Measured, rule: Rule) -> Finding:
    low, high = stated.low, stated.high
    if low.number is not None and high.number is not None and low.number > high.number:
        return _between_crossed_limits(stated, measured, rule)
    bounds = Bounds(low.number, high.number, low.u, high.u)
    return replace(stated, measured=measured, judgement=conformity.judge(measured, bounds, rule))


def _between_crossed_limits(stated: Finding, measured: Measured, rule: Rule) -> Finding:
    """K max less a thick flange can fall below B min: no back-to-back suits such a wheel.

    It is outside when it breaks one of the limits, or when the flange is too thick for any, as
    surely as the rule asks; else undecided.
    """
    low, high = stated.low, stated.high
    assert low.number is not None
    assert high.number is not None
    overlap = Measured(low.number - high.number, math.hypot(low.u, high.u), math.inf, ())
    verdicts = (
        conformity.judge(measured, Bounds(low.number, None, low.u), rule),
        conformity.judge(measured, Bounds(None, high.number, 0.0, high.u), rule),
        conformity.judge(overlap, Bounds(None, Decimal(0)), rule),
    )
    is_outside = any(verdict.outcome is Outcome.OUTSIDE for verdict in verdicts)
    miss = max((verdict.miss for verdict in verdicts[:2] if verdict.miss), key=abs, default=None)
    judgement = Judgement(
        Outcome.OUTSIDE if is_outside else Outcome.UNDECIDED,
        min(verdict.probability or 0.0 for verdict in verdicts),
        miss=miss,
    )
    finding = replace(stated, measured=measured, judgement=judgement)
    if finding.quantity == "back_to_back" and not finding.is_judged_by_house:
        return _add_note(finding, "With so thick a flange no back-to-back meets both limits.")
    return _add_note(finding, "The lower limit is above the upper one.")


def _not_judged_by_half(finding: Finding) -> Finding:
    """Inside the one limit that is held, of two that are printed: that is not a pass."""
    has_both = finding.low.number is not None and finding.high.number is not None
    if not finding.not_held or has_both or finding.outcome is not Outcome.WITHIN:
        return finding
    finding = replace(finding, judgement=_NOT_JUDGED)
    return _add_note(finding, _not_held(finding.not_held))


def _not_held(which: str) -> str:
    words = {
        "min": "The least that the sheet prints is",
        "max": "The greatest that the sheet prints is",
        "both": "The limits that the sheet prints are",
    }
    return f"{words[which]} not held here."


def _with_gauge(stated: Finding, gauge: GaugeResult) -> Finding:
    judgement = conformity.judge_gauge(gauge is GaugeResult.GO)
    has_both = stated.low.number is not None and stated.high.number is not None
    if not has_both:
        # What the sheet lacks for judging a number does not touch what a gauge says.
        stated = replace(stated, note="By the gauge alone.")
    return replace(stated, gauge=gauge, judgement=judgement)


# --- The whole vehicle ------------------------------------------------------------------------


@dataclass(frozen=True)
class Proposal:
    """What the findings say of the whole vehicle.

    As (quantity, at): of what is essential, `missing` was not observed at all, and `unjudged` was
    observed but nothing here judges it; `unmeasured` is what else the sheets limit on a wheelset
    and nobody observed.
    """

    service: Service
    reasons: tuple[str, ...]
    missing: tuple[tuple[str, str], ...]
    unjudged: tuple[tuple[str, str], ...] = ()
    unmeasured: tuple[tuple[str, str], ...] = ()


#: From the most to the least willing to let a vehicle run.
STRICTNESS = (Service.FIT, Service.ADVICE, Service.AWAITING, Service.BAD_ORDER)


def is_milder(stated: Service, proposed: Service) -> bool:
    """Whether an outcome lets a vehicle run more freely than the findings propose."""
    return STRICTNESS.index(stated) < STRICTNESS.index(proposed)


def propose(subject: Subject, findings: Sequence[Finding]) -> Proposal:
    """The service that follows from the findings.

    Bad order when a binding limit is broken; awaiting inspection while an essential quantity of
    any axle was not judged; fit with advice when something is undecided, an advisory limit broken,
    a limited wheel dimension not measured, or a limited check gauge not judged for want of a
    flange (NEM 310 note 2: the back-to-back alone does not settle it); else fit to run.
    """
    by_key = {(finding.quantity, finding.at): finding for finding in findings}
    essential = [
        (quantity, str(axle))
        for axle in range(1, subject.axles + 1)
        for quantity in ESSENTIAL_PER_AXLE
    ]
    missing = tuple(key for key in essential if key not in by_key)
    unjudged = tuple(
        key for key in essential if key in by_key and by_key[key].outcome is Outcome.NOT_JUDGED
    )
    limits = limits_for(subject.scale)
    unmeasured = tuple(
        (quantity, str(axle))
        for axle in range(1, subject.axles + 1)
        for quantity in LIMITED_PER_AXLE
        if quantity in limits and limits[quantity].has_bounds
        if (quantity, str(axle)) not in by_key
    )
    outside = [finding for finding in findings if finding.outcome is Outcome.OUTSIDE]
    unsettled = [finding for finding in findings if _is_unsettled(finding)]
    broken = [finding for finding in outside if not finding.is_advisory]
    if broken:
        service, why = Service.BAD_ORDER, broken
    elif missing or unjudged or not essential:
        service, why = Service.AWAITING, unsettled
    elif outside or unsettled or unmeasured:
        service, why = Service.ADVICE, outside + unsettled
    else:
        service, why = Service.FIT, []
    reasons = tuple(_reason(finding) for finding in why)
    return Proposal(service, reasons, missing, unjudged, unmeasured)


def _is_unsettled(finding: Finding) -> bool:
    if finding.outcome is Outcome.UNDECIDED:
        return True
    is_limited = finding.low.number is not None or finding.high.number is not None
    return (
        finding.quantity == "wheel_check"
        and finding.outcome is Outcome.NOT_JUDGED
        and finding.value is None
        and is_limited
    )


def _reason(finding: Finding) -> str:
    named = label(finding.quantity, finding.at)
    too = {-1: ", too small", 1: ", too large"}.get(finding.direction, "")
    return f"{named}: {finding.outcome}{too if finding.outcome is Outcome.OUTSIDE else ''}"


def where(quantity: str, at: str) -> str:
    """Where, in words: ", axle 2", ", end B", ", diverging leg", or nothing."""
    if not at:
        return ""
    if QUANTITIES[quantity].place is Place.TRACK:
        return f", {at}"
    return f", {QUANTITIES[quantity].place.value} {at}"


def label(quantity: str, at: str) -> str:
    """A quantity and where it is, in words: "Back-to-back, axle 2"."""
    return f"{QUANTITIES[quantity].name}{where(quantity, at)}"
