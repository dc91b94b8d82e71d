"""What can be measured, on a vehicle and on track: code, name, unit, where, and what is plausible.

The plausible ranges only catch slips of the keyboard and of the unit; they are wide on purpose
and never judge anything. They are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Protocol

D = Decimal


class Dimension(StrEnum):
    """What kind of number a quantity is, and the unit in which it is held."""

    LENGTH = "length"
    MASS = "mass"
    GRADE = "grade"

    @property
    def unit(self) -> str:
        """The unit in which values are held: millimetre, gram or percent."""
        return {"length": "mm", "mass": "g", "grade": "%"}[self.value]


class Place(StrEnum):
    """Where a quantity is measured: on an axle, an end or the whole of a vehicle, or on track."""

    AXLE = "axle"
    END = "end"
    VEHICLE = "vehicle"
    TRACK = "track"


class Ruler(StrEnum):
    """What a plausible range grows with."""

    GAUGE = "gauge"  # factors of the track gauge
    FULL_SIZE = "full size"  # millimetres on the prototype, divided by the ratio
    BULK = "bulk"  # grams on a 1:1 model, divided by the cube of the ratio
    FIXED = "fixed"


class HasScale(Protocol):
    """All that a plausible range needs of a scale."""

    @property
    def ratio(self) -> Decimal: ...
    @property
    def gauge_mm(self) -> Decimal: ...


class Jaws(StrEnum):
    """Which part of a caliper takes the measure; it decides how far the reading may be wrong."""

    OUTSIDE = "outside"
    INSIDE = "inside"
    DEPTH = "depth"
    NONE = "none"


_JAWS = {
    "back_to_back": Jaws.INSIDE,
    "flange_depth": Jaws.DEPTH,
    "coupler_height": Jaws.DEPTH,
    "trip_pin_clearance": Jaws.DEPTH,
    "buffer_height": Jaws.DEPTH,
    "height": Jaws.DEPTH,
    "track_gauge": Jaws.INSIDE,
    "check_gauge": Jaws.INSIDE,
    "flangeway": Jaws.INSIDE,
    "flangeway_guard": Jaws.INSIDE,
    "flangeway_depth": Jaws.DEPTH,
    "rail_height": Jaws.DEPTH,
    "fastening_height": Jaws.DEPTH,
    "mid_ordinate": Jaws.DEPTH,
} | dict.fromkeys(
    (
        "buffer_spacing",
        "pivot_distance",
        "bogie_wheelbase",
        "rigid_wheelbase",
        "mass",
        "start_rolling_grade",
    ),
    Jaws.NONE,
)


@dataclass(frozen=True)
class Quantity:
    """One thing that can be measured.

    `low` and `high` bound what is plausible, in units of `ruler`. `letter` is the symbol
    printed on the standards' own drawings, where they print one.
    """

    code: str
    name: str
    place: Place
    dimension: Dimension
    decimals: int
    ruler: Ruler
    low: Decimal
    high: Decimal
    letter: str = ""
    may_be_negative: bool = False
    is_computed: bool = False

    @property
    def unit(self) -> str:
        """The unit in which values are held."""
        return self.dimension.unit

    @property
    def jaws(self) -> Jaws:
        """Which part of a caliper takes it."""
        return _JAWS.get(self.code, Jaws.OUTSIDE)

    def plausible(self, scale: HasScale) -> tuple[Decimal, Decimal]:
        """Smallest and largest plausible value at this scale, in the quantity's unit."""
        match self.ruler:
            case Ruler.GAUGE:
                return self.low * scale.gauge_mm, self.high * scale.gauge_mm
            case Ruler.FULL_SIZE:
                return self.low / scale.ratio, self.high / scale.ratio
            case Ruler.BULK:
                return self.low / scale.ratio**3, self.high / scale.ratio**3
            case Ruler.FIXED:
                return self.low, self.high


def _axle(
    code: str,
    name: str,
    letter: str,
    decimals: int,
    low: str,
    high: str,
    *,
    computed: bool = False,
) -> Quantity:
    return Quantity(
        code,
        name,
        Place.AXLE,
        Dimension.LENGTH,
        decimals,
        Ruler.GAUGE,
        D(low),
        D(high),
        letter,
        is_computed=computed,
    )


def _size(
    code: str, name: str, place: Place, low: str, high: str, *, negative: bool = False
) -> Quantity:
    return Quantity(
        code,
        name,
        place,
        Dimension.LENGTH,
        2 if place is Place.END else 1,
        Ruler.FULL_SIZE,
        D(low),
        D(high),
        may_be_negative=negative,
    )


def _track(code: str, name: str, letter: str, low: str, high: str) -> Quantity:
    return Quantity(
        code,
        name,
        Place.TRACK,
        Dimension.LENGTH,
        2,
        Ruler.GAUGE,
        D(low),
        D(high),
        letter,
    )


_ALL = (
    _axle("back_to_back", "Back-to-back", "B", 2, "0.65", "0.99"),
    _axle("flange_thickness", "Flange thickness", "T", 2, "0.01", "0.12"),
    _axle("flange_depth", "Flange depth", "D", 2, "0.01", "0.22"),
    _axle("tyre_width", "Tyre width", "N", 2, "0.05", "0.40"),
    Quantity(
        "wheel_diameter",
        "Wheel diameter over the tread",
        Place.AXLE,
        Dimension.LENGTH,
        2,
        Ruler.FULL_SIZE,
        D(300),
        D(2500),
    ),
    _axle("axle_length", "Axle length over the points", "", 2, "1.05", "2.40"),
    _axle("wheel_check", "Check gauge of the wheelset", "K", 2, "0.66", "1.05", computed=True),
    _axle("over_flanges", "Over the flanges", "", 2, "0.67", "1.10", computed=True),
    _size("coupler_height", "Coupler height", Place.END, "250", "1400"),
    _size("trip_pin_clearance", "Trip-pin clearance", Place.END, "-150", "350", negative=True),
    _size("buffer_height", "Buffer height", Place.END, "450", "1400"),
    _size("buffer_spacing", "Buffer spacing", Place.END, "600", "2300"),
    _size("length_over_couplers", "Length over couplers", Place.VEHICLE, "1500", "50000"),
    _size("length_over_buffers", "Length over buffers", Place.VEHICLE, "1500", "50000"),
    _size("body_length", "Body length", Place.VEHICLE, "1200", "48000"),
    _size("body_width", "Width", Place.VEHICLE, "900", "4600"),
    _size("height", "Height above the rail", Place.VEHICLE, "500", "7500"),
    _size("pivot_distance", "Distance between bogie pivots", Place.VEHICLE, "900", "35000"),
    _size("bogie_wheelbase", "Bogie wheelbase", Place.VEHICLE, "500", "8000"),
    _size("rigid_wheelbase", "Rigid wheelbase", Place.VEHICLE, "500", "12000"),
    Quantity(
        "mass",
        "Mass",
        Place.VEHICLE,
        Dimension.MASS,
        1,
        Ruler.BULK,
        D(6_000_000),
        D(1_500_000_000),
    ),
    Quantity(
        "start_rolling_grade",
        "Grade on which it starts to roll",
        Place.VEHICLE,
        Dimension.GRADE,
        1,
        Ruler.FIXED,
        D("0.1"),
        D(12),
    ),
    _track("track_gauge", "Track gauge", "G", "0.90", "1.15"),
    _track("check_gauge", "Check gauge", "C", "0.80", "1.05"),
    _track("span", "Span over guard and wing rail", "S", "0.70", "1.00"),
    _track("flangeway", "Flangeway at the frog", "F", "0.01", "0.20"),
    _track("flangeway_guard", "Flangeway at the guard rail", "", "0.01", "0.20"),
    _track("flangeway_depth", "Flangeway depth", "H", "0.01", "0.30"),
    _track("point_spread", "Point spread", "P", "0.70", "1.00"),
    _track("rail_height", "Height of the rail", "", "0.03", "0.50"),
    _track("fastening_height", "Height of spikes or chairs", "", "0.001", "0.20"),
    _track("chord", "Chord along the curve", "", "1.0", "60"),
    _track("mid_ordinate", "Mid-ordinate of the chord", "", "0.002", "4"),
)

#: What a sheet-metal standards gauge can answer. Common practice, no source.
BY_GAUGE = frozenset(
    {
        "back_to_back",
        "flange_depth",
        "tyre_width",
        "coupler_height",
        "trip_pin_clearance",
        "buffer_height",
        "track_gauge",
        "check_gauge",
        "span",
        "flangeway",
        "flangeway_guard",
        "flangeway_depth",
        "point_spread",
    }
)

#: Longer than the usual caliper opens, so taken with a rule. Common practice, no source.
BY_RULE = frozenset(
    {"length_over_couplers", "length_over_buffers", "body_length", "pivot_distance", "chord"}
)

QUANTITIES: dict[str, Quantity] = {quantity.code: quantity for quantity in _ALL}

#: Figures of the sheets that are shown but not measured at the bench.
SHEET_ONLY_NAMES: dict[str, str] = {
    "track_gauge_curve": "Track gauge in curves",
    "point_spread_electrical": "Point spread, electrical",
    "free_groove_edge": "Free groove edge to the opposite rail",
    "tyre_width_reduced": "Tyre width where every frog is narrow",
    "pocket_height": "Coupler pocket height",
}


def name_of(code: str) -> str:
    """The name of a quantity or of a figure on a sheet; the code in words if neither knows it."""
    if code in QUANTITIES:
        return QUANTITIES[code].name
    return SHEET_ONLY_NAMES.get(code) or code.replace("_", " ").capitalize()
