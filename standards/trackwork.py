"""Trackwork judged by the sheets: the same judging as of vehicles, with what track adds to it.

Sheets that hold track print gauge G, check gauge C, span S, the flangeway F and its depth H, and
the spread P of the points. Where the check gauge or the span was not measured, it follows from
what was: C = G less the guard flangeway, S = C less the frog flangeway (NMRA S-3.2; NEM 110).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal

from standards.conformity import Rule
from standards.guidance import flangeway_for_radius
from standards.judging import Finding, HouseRule, Observation, Subject, judge_vehicle
from standards.metrology import Measured, combine_sum
from standards.sheets import Scale, limits_for, sheet
from standards.units import plain, spell


@dataclass(frozen=True)
class Stretch:
    """A piece of trackwork as it is declared.

    radii: the radius in mm of each leg or spot that is curved, by its name in the observations.
    """

    scale: Scale
    radii: Mapping[str, Decimal] = field(default_factory=dict)


def judge_track(
    stretch: Stretch,
    observations: Iterable[Observation],
    house: Sequence[HouseRule] = (),
    rule: Rule = Rule.NINETY_FIVE,
    carried: Iterable[Observation] = (),
) -> tuple[Finding, ...]:
    """Judge what was observed on a piece of trackwork by its family's sheets and house limits.

    carried: what is known from earlier inspections; it is not judged again, but a check gauge may
    follow from it. What follows is named so in its note, and only comes up where one of its parts
    was observed now. Raises KeyError for a quantity that is not known.
    """
    seen = {(each.quantity, each.at): each for each in observations}
    known = {(each.quantity, each.at): each for each in carried} | seen
    derived = _derived(seen, known)
    asked = [*seen.values(), *(each for each, _ in derived.values())]
    found = judge_vehicle(Subject(stretch.scale), asked, house, rule)
    return tuple(
        _on_curve(_with_note(each, derived.get((each.quantity, each.at))), stretch)
        for each in found
    )


Derived = tuple[Observation, str]


def _derived(
    seen: Mapping[tuple[str, str], Observation], known: Mapping[tuple[str, str], Observation]
) -> dict[tuple[str, str], Derived]:
    """Check gauge and span where they were not measured but follow from what was."""

    def measured(quantity: str, at: str) -> Measured | None:
        observation = known.get((quantity, at))
        return observation.measured if observation else None

    found: dict[tuple[str, str], Derived] = {}
    for at in dict.fromkeys(at for _, at in seen):
        gauge, guard = measured("track_gauge", at), measured("flangeway_guard", at)
        check, frog = measured("check_gauge", at), measured("flangeway", at)
        touched = {quantity for quantity, where in seen if where == at}
        is_gauged = ("check_gauge", at) in known and check is None
        if check is None and not is_gauged and gauge and guard:
            if touched & {"track_gauge", "flangeway_guard"}:
                words = "Follows from the track gauge less the guard flangeway."
                check_at = Observation("check_gauge", at, measured=_less(gauge, guard))
                found["check_gauge", at] = (check_at, words)
            if ("span", at) not in known and frog and touched - {"flangeway_depth"}:
                words = "Follows from the track gauge less both flangeways."
                span = Observation("span", at, measured=_less(gauge, guard, frog))
                found["span", at] = (span, words)
        elif check and frog and ("span", at) not in known:
            if not touched & {"check_gauge", "flangeway"}:
                continue
            words = "Follows from the check gauge less the frog flangeway."
            found["span", at] = (Observation("span", at, measured=_less(check, frog)), words)
    return found


def _less(whole: Measured, *parts: Measured) -> Measured:
    """A difference, its parts measured apart and so counted as independent."""
    return combine_sum(whole, *(replace(each, value=-each.value) for each in parts))


def _with_note(finding: Finding, derived: Derived | None) -> Finding:
    if derived is None:
        return finding
    return replace(finding, note=f"{derived[1]} {finding.note}".strip())


def _on_curve(finding: Finding, stretch: Stretch) -> Finding:
    """With the frog flangeway that NEM 110 wants by the radius of the leg as its figure."""
    radius = stretch.radii.get(finding.at)
    limit = limits_for(stretch.scale).get("flangeway")
    if finding.quantity != "flangeway" or radius is None or limit is None:
        return finding
    if not limit.sheet.startswith("nem-110") or limit.low is None or limit.high is None:
        return finding
    gauge = stretch.scale.gauge_mm
    wanted = flangeway_for_radius(radius, gauge, limit.low, limit.high)
    over_gauge = plain((radius / gauge).quantize(Decimal("0.1")))
    name = sheet(limit.sheet).short
    if wanted is None:
        words = (
            f"{name} settles flangeways on so sharp a curve, {over_gauge} times the gauge, case "
            "by case where vehicles of long fixed wheelbase run."
        )
        return replace(finding, note=f"{finding.note} {words}".strip())
    words = f"{name} wants {spell(wanted, 'mm')} at a radius of {over_gauge} times the gauge."
    return replace(finding, nominal=wanted, note=f"{finding.note} {words}".strip())
