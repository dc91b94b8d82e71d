"""Lengths from full size to every scale and back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from fractions import Fraction
from functools import cache

from standards.sheets import Scale, families
from standards.units import from_base, plain

_PARTS_OF_AN_INCH = 64
_INCHES_IN_A_FOOT = 12


@dataclass(frozen=True)
class Ratio:
    """One ratio and the scales that share it; `others` are variants of a name in `names`.

    Every scale of a ratio converts alike, so any of them may stand for the rest.
    """

    scale: Scale
    names: tuple[str, ...]
    others: tuple[str, ...]

    @property
    def label(self) -> str:
        """ "1:87.1 (3.5 mm to the foot)", or the ratio alone where it defines the scale."""
        ratio = f"1:{plain(self.scale.ratio)}"
        if self.scale.mm_per_foot is None:
            return ratio
        return f"{ratio} ({plain(self.scale.mm_per_foot)} mm to the foot)"


@cache
def ratios() -> tuple[Ratio, ...]:
    """Every distinct ratio, from the largest models to the smallest."""
    groups: dict[tuple[Decimal, Decimal | None], list[Scale]] = {}
    for family in families().values():
        for scale in family.scales:
            groups.setdefault((scale.ratio, scale.mm_per_foot), []).append(scale)
    found = [_ratio(group) for group in groups.values()]
    return tuple(sorted(found, key=lambda each: (each.scale.ratio, each.names)))


def _ratio(scales: Iterable[Scale]) -> Ratio:
    scales = tuple(scales)
    codes = tuple(dict.fromkeys(scale.code for scale in scales))
    # HOn3 and HO Fine are variants of HO; "1 in" is none of "1", which has another ratio.
    names = tuple(
        code
        for code in codes
        if not any(code != other and code.startswith(other) for other in codes)
    )
    return Ratio(scales[0], names, tuple(code for code in codes if code not in names))


@dataclass(frozen=True)
class Conversion:
    """A length brought to one scale, or taken from it to full size; in mm."""

    ratio: Ratio
    mm: Decimal


def to_every_scale(mm: Decimal) -> tuple[Conversion, ...]:
    """A full-size length in mm as a model at every ratio."""
    return tuple(Conversion(ratio, ratio.scale.from_full_size(mm)) for ratio in ratios())


def from_every_scale(mm: Decimal) -> tuple[Conversion, ...]:
    """A model length in mm as full size, for every ratio that the model could be."""
    return tuple(Conversion(ratio, ratio.scale.to_full_size(mm)) for ratio in ratios())


def nearest_part(mm: Decimal) -> str:
    """A length as a ruler divided to 1/64 in shows it: "5 33/64 in"; not exact."""
    parts = int((from_base(mm, "in") * _PARTS_OF_AN_INCH).to_integral_value(ROUND_HALF_UP))
    if not parts:
        return f"under 1/{_PARTS_OF_AN_INCH} in"
    whole, rest = divmod(Fraction(parts, _PARTS_OF_AN_INCH), 1)
    pieces = [str(whole)] if whole else []
    pieces += [f"{rest.numerator}/{rest.denominator}"] if rest else []
    return f"{' '.join(pieces)} in"


def feet_and_inches(mm: Decimal) -> str:
    """A full-size length in feet and inches, to a tenth of an inch: "40 ft 6 in"."""
    tenth = Decimal("0.1")
    inches = from_base(mm, "in").quantize(tenth, ROUND_HALF_UP)
    feet, rest = divmod(inches, _INCHES_IN_A_FOOT)
    if not feet:
        return f"{plain(rest)} in"
    return f"{plain(feet)} ft {plain(rest)} in" if rest else f"{plain(feet)} ft"
