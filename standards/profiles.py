"""Which wheel contour is this? Telling an RP-25 code from what a caliper can reach."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from standards.sheets import Row

TOLD_BY = ("tyre_width", "flange_depth", "flange_thickness")

#: Share of a contour's nominal by which a wheel may differ and still pass for it. The codes lie
#: about a tenth apart in tyre width. Common practice, no source: RP-25 prints no tolerances.
LIKENESS = Decimal("0.08")


@dataclass(frozen=True)
class Match:
    """How well a measured wheel agrees with one listed contour.

    `differences` are measured less nominal in mm, by quantity; `misfit` is the largest of them as
    a share of its nominal; `is_like` says whether all lie inside `LIKENESS`.
    """

    code: int
    differences: Mapping[str, Decimal]
    misfit: Decimal

    @property
    def is_like(self) -> bool:
        """Whether the wheel could pass for this contour."""
        return self.misfit <= LIKENESS


def tell_code(measured: Mapping[str, Decimal], profiles: Sequence[Row]) -> tuple[Match, ...]:
    """The listed contours by how well they agree with a measured wheel, best first.

    measured: mm by quantity code; any of tyre width, flange depth and flange thickness. A wheel is
    as far from a contour as the dimension that differs most from it, as a share of its nominal.
    Returns nothing when none of the three was measured.
    """
    known = [code for code in TOLD_BY if code in measured]
    matches = []
    for profile in profiles:
        differences = {}
        misfit = Decimal(0)
        for quantity in known:
            limit = profile.limits.get(quantity)
            if limit is None or limit.nominal is None:
                continue
            differences[quantity] = measured[quantity] - limit.nominal
            misfit = max(misfit, abs(differences[quantity]) / limit.nominal)
        if differences and profile.code is not None:
            matches.append(Match(profile.code, differences, misfit))
    return tuple(sorted(matches, key=lambda match: (match.misfit, match.code)))
