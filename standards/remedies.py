"""What to do about a finding, and by how much."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, Decimal
from functools import cache
from pathlib import Path

from standards.conformity import Outcome
from standards.judging import Finding
from standards.quantities import QUANTITIES, Place
from standards.units import spell

_AMOUNT = re.compile(r"(?::(?: on a grade less by)?| by)? \{amount\}")

COMMON_PRACTICE = "common practice, no source"


@dataclass(frozen=True)
class Remedy:
    """One published or customary way to mend a quantity that is too small or too large."""

    quantity: str
    too: str
    headline: str
    how: str
    caution: str
    source: str


@dataclass(frozen=True)
class Mend:
    """One thing to do on one vehicle or piece of track.

    least, most, aim: by how much to change the quantity, in mm, g or %, without sign: to the
    nearest limit, to the farther one, and to the middle or the sheet's own figure; None where it
    is not known. `is_needed` is False for what is only undecided or advisory.
    """

    quantity: str
    at: str
    remedy: Remedy
    least: Decimal | None
    most: Decimal | None
    aim: Decimal | None
    is_needed: bool

    def headline(self, unit: str, decimals: int) -> str:
        """The remedy with its amount in `unit`: "Spread the wheels on axle 2 by 0.16 mm".

        After a go/no-go gauge, which gives no amount, the words for it are left out.
        """
        words = self.remedy.headline
        if self.least is None:
            words = _AMOUNT.sub("", words)
        return words.format(
            where=self._where(),
            amount=self._amount(unit, decimals),
        )

    def _where(self) -> str:
        place = QUANTITIES[self.quantity].place
        if place is not Place.TRACK:
            return f"{place} {self.at}" if self.at else "the vehicle"
        if self.at.startswith("spot"):
            return self.at
        return f"the {self.at}" if self.at else "the track"

    def _amount(self, unit: str, decimals: int) -> str:
        if self.least is None:
            return ""
        # Rounded so that the least printed is enough, and the most is not too much.
        least = spell(self.least, unit, decimals, ROUND_CEILING)
        # "Its flange is 0.14 mm too deep": by how much at the least, there is no most.
        if self.most is None or "{amount} too" in self.remedy.headline:
            return least
        most = spell(self.most, unit, decimals, ROUND_FLOOR)
        if most == least:
            return least
        from_least, to_most = least.split()[0], most.split()[0]
        if Decimal(to_most) < Decimal(from_least):
            # No number of so few digits lies between them.
            return spell((self.least + self.most) / 2, unit, decimals)
        return f"{from_least} to {most}"


@cache
def remedies() -> Mapping[tuple[str, str], Remedy]:
    """Every remedy, by quantity and "small" or "large"."""
    with (Path(__file__).parent / "remedies.toml").open("rb") as file:
        raw = tomllib.load(file)["remedy"]
    return {
        (entry["quantity"], entry["too"]): Remedy(
            entry["quantity"],
            entry["too"],
            entry["headline"],
            entry["how"],
            entry["caution"],
            entry.get("source", COMMON_PRACTICE),
        )
        for entry in raw
    }


def mends(findings: Iterable[Finding]) -> tuple[Mend, ...]:
    """What to mend, needed work first: everything outside, and what is undecided near a limit."""
    found = []
    for finding in findings:
        if finding.outcome not in (Outcome.OUTSIDE, Outcome.UNDECIDED):
            continue
        if _has_crossed_limits(finding):
            # Where a house limit crosses the sheet's, nothing done to the vehicle meets both.
            if finding.quantity == "back_to_back" and not finding.is_judged_by_house:
                found.append(_another_wheelset(finding))
            continue
        too = {-1: "small", 1: "large"}.get(finding.direction)
        remedy = remedies().get((finding.quantity, too)) if too else None
        if remedy is None or (finding.outcome is Outcome.UNDECIDED and not _is_past(finding)):
            continue
        least, most, aim = _amounts(finding)
        needed = finding.outcome is Outcome.OUTSIDE and not finding.is_advisory
        found.append(Mend(finding.quantity, finding.at, remedy, least, most, aim, needed))
    return tuple(sorted(found, key=lambda mend: not mend.is_needed))


def _has_crossed_limits(finding: Finding) -> bool:
    """Whether nothing can meet both limits, as the back-to-back of too thick a flange."""
    low, high = finding.low.number, finding.high.number
    return low is not None and high is not None and low > high


def _another_wheelset(finding: Finding) -> Mend:
    low, high = finding.low.number, finding.high.number
    assert low is not None and high is not None
    remedy = remedies()["flange_thickness", "large"]
    needed = finding.outcome is Outcome.OUTSIDE
    return Mend(finding.quantity, finding.at, remedy, low - high, None, None, needed)


def _is_past(finding: Finding) -> bool:
    """Whether the value itself, uncertainty aside, lies beyond a limit."""
    return bool(finding.judgement.miss)


def _amounts(finding: Finding) -> tuple[Decimal | None, Decimal | None, Decimal | None]:
    value = finding.value
    if value is None:
        return None, None, None
    low, high = finding.low.number, finding.high.number
    near, far = (low, high) if finding.direction < 0 else (high, low)
    if near is None:
        return None, None, None
    least = abs(near - value)
    most = None if far is None else abs(far - value)
    target = _target(low, high, finding.nominal)
    return least, most, None if target is None else abs(target - value)


def _target(low: Decimal | None, high: Decimal | None, nominal: Decimal | None) -> Decimal | None:
    """The sheet's figure, unless a house limit leaves it out; else the middle of the limits."""
    if nominal is not None:
        is_allowed = (low is None or low <= nominal) and (high is None or nominal <= high)
        if is_allowed:
            return nominal
    return None if low is None or high is None else (low + high) / 2
