"""The places at which an inspection measures, in the order of work."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from standards.quantities import BY_GAUGE


@dataclass(frozen=True)
class Step:
    """One place to measure, with the quantities asked there, in order."""

    slug: str
    title: str
    at: str
    quantities: tuple[str, ...]

    @property
    def keys(self) -> tuple[tuple[str, str], ...]:
        """Its quantities as (quantity, at)."""
        return tuple((quantity, self.at) for quantity in self.quantities)

    @property
    def mark(self) -> str:
        """What stands for it in the row of places: "3", "A", "all", "diverging"."""
        return self.at.split(" leg")[0].replace("spot ", "") or "all"

    @property
    def short(self) -> str:
        """The title as it fits on a button: "axle 3"."""
        return self.slug.replace("-", " ")


def by_gauge(steps: Iterable[Step]) -> tuple[Step, ...]:
    """Only what a go/no-go gauge can answer; nothing that is left out counts as passed."""
    gauged = (
        replace(each, quantities=tuple(q for q in each.quantities if q in BY_GAUGE))
        for each in steps
    )
    return tuple(step for step in gauged if step.quantities)
