"""The smallest radius that one vehicle can take, by every rule that speaks of it.

Each rule stands by itself: pure geometry, a published sheet, or a rule of thumb that says so. None
of them assumes a dimension that was not measured; it names it. Lengths in millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields
from decimal import Decimal

from standards.couplings import Buffers, CarEnd, smallest_by_buffers, smallest_by_swing
from standards.curves import (
    Body,
    ImpossibleGeometry,
    flange_lap,
    smallest_by_attack,
    smallest_by_pivots,
    smallest_by_play,
    smallest_of_two_axles,
)
from standards.quantities import QUANTITIES
from standards.sheets import MM_PER_FOOT, PUBLISHED, Row, Scale, sheet
from standards.units import to_base

NEM_111 = "nem-111-2016"
RP_11 = "nmra-rp-11"
#: NEM 111: the greatest angle of attack for a fixed wheelbase, in degrees.
GREATEST_ATTACK_DEG = 12
#: NEM 111 gives metres of standard-gauge stock; a model whose gauge is this much off 1435 mm at
#: its scale is something else. Common practice, no source.
_STANDARD_GAUGE_MM = Decimal(1435)
_ABOUT_STANDARD = Decimal("0.1")

#: What else than a measured quantity can be wanting, in words.
_WORDS = {
    "on_bogies": "whether it runs on bogies",
    "axles_in_frame": "how many axles stand in one frame or bogie",
    "is_hauled": "whether it is hauled or a locomotive",
    "has_buffers": "whether it has buffers",
    "play": "play between flanges and rails: track gauge less width over the flanges",
    "wheel_diameter": "wheel diameter over the tread",
    "flange_depth": "flange depth",
    "buffer_spacing": "buffer spacing",
    "buffer_head_width": "width of a buffer head",
    "buffer_head_radius": "radius to which the buffer heads are domed, or that they are flat",
    "coupler_pivot": "distance from the middle of the body to where the coupler swings",
    "coupler_length": "length of the coupler from where it swings to its face",
    "coupler_swing_deg": "how far the coupler swings to one side, in degrees",
}


@dataclass(frozen=True)
class Measures:
    """What of a vehicle decides which curves it can take; None for what nobody measured. mm.

    on_bogies: False for a vehicle whose axles all stand in its own frame. axles_in_frame: axles
    that stand in one rigid frame, that of a bogie where there are bogies. rigid_wheelbase: of a
    vehicle without bogies, from the first to the last axle in the frame; bogie_wheelbase: the same
    in a bogie. play: track gauge less the width over the flanges, and designed side-play of middle
    axles besides. buffer_head_radius: math.inf for flat heads. coupler_pivot: from the middle of
    the body to where the coupler swings, or to the hook; coupler_length: from there to its face,
    or to the middle of the link. coupler_swing_deg: how far it can swing to one side. The other
    lengths as in `standards.quantities`.

    Raises ImpossibleGeometry for a length that is not above zero, naming it. No play at all is an
    observation and is left to the rules.
    """

    on_bogies: bool | None = None
    axles_in_frame: int | None = None
    is_hauled: bool | None = None
    has_buffers: bool | None = None
    pivot_distance: float | None = None
    bogie_wheelbase: float | None = None
    rigid_wheelbase: float | None = None
    play: float | None = None
    wheel_diameter: float | None = None
    flange_depth: float | None = None
    body_length: float | None = None
    length_over_buffers: float | None = None
    length_over_couplers: float | None = None
    buffer_spacing: float | None = None
    buffer_head_width: float | None = None
    buffer_head_radius: float | None = None
    coupler_pivot: float | None = None
    coupler_length: float | None = None
    coupler_swing_deg: float | None = None

    def __post_init__(self) -> None:
        for each in fields(self):
            value = getattr(self, each.name)
            if value is None or isinstance(value, bool) or each.name == "play":
                continue
            if not value > 0 or (math.isinf(value) and each.name != "buffer_head_radius"):
                raise ImpossibleGeometry(
                    f"{value:g} is no measure of this: {words_for(each.name)}. Measure it again, "
                    "or leave it out."
                )


@dataclass(frozen=True)
class RadiusRule:
    """What one rule says of a vehicle.

    radius_mm: the smallest radius by that rule, math.inf where it allows no curve, None where it
    cannot tell or does not speak of this vehicle; needs: the fields of `Measures` that it wants
    for, empty where it does not speak of it; basis: how it was found or why not, in words; sheet:
    the id of the published table, "" for geometry.
    """

    rule: str
    radius_mm: float | None
    basis: str
    needs: tuple[str, ...] = ()
    is_rule_of_thumb: bool = False
    sheet: str = ""

    @property
    def needs_words(self) -> tuple[str, ...]:
        """What has to be measured or told for the rule to speak, in words."""
        return tuple(words_for(each) for each in self.needs)


def words_for(measure: str) -> str:
    """A field of `Measures` in words."""
    if measure in _WORDS:
        return _WORDS[measure]
    name = QUANTITIES[measure].name
    return name[0].lower() + name[1:]


class _Missing(Exception):
    """Something that a rule needs was not measured."""

    def __init__(self, *needs: str) -> None:
        super().__init__(*needs)
        self.needs = needs


class _Silent(Exception):
    """The rule does not speak of this vehicle; its argument says why."""


def smallest_radius(vehicle: Measures, scale: Scale) -> tuple[RadiusRule, ...]:
    """The smallest radius of a vehicle by every rule held, the rules of thumb last.

    In this order: the pivots, play of the wheels in one frame, the angle of attack, the classes of
    NEM 111, the classes of NMRA RP-11, buffers and coupler swing beside another such vehicle, and
    the multiples of the LDSIG and of Armstrong. The rules are never mixed: what holds for a
    vehicle is for the caller to say, and a rule that cannot tell is not one that allows anything.
    """
    rules: list[tuple[str, str, Callable[[Measures, Scale], tuple[float, str]]]] = [
        ("pivots", "", _by_pivots),
        ("rigid wheelbase", "", _by_play),
        ("angle of attack", NEM_111, _by_attack),
        ("NEM 111", NEM_111, _by_nem_111),
        ("RP-11", RP_11, _by_rp_11),
        ("buffers", "", _by_buffers),
        ("coupler swing", "", _by_swing),
    ]
    found = []
    for name, source, rule in rules:
        try:
            radius, basis = rule(vehicle, scale)
            found.append(RadiusRule(name, radius, basis, sheet=source))
        except _Missing as missing:
            found.append(RadiusRule(name, None, _WANTING, missing.needs, sheet=source))
        except (_Silent, ImpossibleGeometry) as silent:
            found.append(RadiusRule(name, None, str(silent), sheet=source))
    for sheet_id in ("ldsig-curve-radius", "curve-radius-armstrong"):
        found += _by_thumb(vehicle, sheet_id)
    return tuple(found)


_WANTING = "Cannot be told until what is missing has been measured."


def _need(vehicle: Measures, *names: str) -> list[float]:
    """These measures, or all of them that are missing at once."""
    missing = [name for name in names if getattr(vehicle, name) is None]
    if missing:
        raise _Missing(*missing)
    return [getattr(vehicle, name) for name in names]


def _frame(vehicle: Measures) -> str:
    """Which measure is the wheelbase of one rigid frame."""
    if vehicle.on_bogies is None:
        raise _Missing("on_bogies")
    return "bogie_wheelbase" if vehicle.on_bogies else "rigid_wheelbase"


def _body(vehicle: Measures, *also: str) -> tuple[Body, list[float]]:
    """How the vehicle stands on the track, and other measures; only the pivots count of it."""
    frame = _frame(vehicle)
    if frame == "rigid_wheelbase":
        wheelbase, *others = _need(vehicle, "rigid_wheelbase", *also)
        return Body(wheelbase, wheelbase), others
    pivots, wheelbase, *others = _need(vehicle, "pivot_distance", "bogie_wheelbase", *also)
    return Body(pivots, pivots, wheelbase), others


# --- Geometry ---------------------------------------------------------------------------------


def _by_pivots(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    body, _ = _body(vehicle)
    return smallest_by_pivots(body), (
        "At this radius its body would stand on the centre of the curve: a bound of geometry, no "
        "radius to run on."
    )


def _by_play(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    wanted = [_frame(vehicle), "play", "axles_in_frame"]
    if vehicle.axles_in_frame == 1:
        raise _Silent("A single axle has no rigid wheelbase.")
    if vehicle.axles_in_frame == 2:
        wanted += ["wheel_diameter", "flange_depth"]
    wheelbase, play, axles, *flange = _need(vehicle, *wanted)
    if axles > 2:
        return smallest_by_play(wheelbase, play), (
            "w²/(8J) + J/2: the middle axle has to find the versine of the wheelbase in the play "
            "between flanges and rails. Blind tyres in the middle lie outside this rule."
        )
    return smallest_of_two_axles(wheelbase, play, flange_lap(*flange)), (
        "(B + l)²/(8J) for two axles, l the length of the flange at rail level: a textbook rule "
        "for widening the gauge, second-hand, read backwards."
    )


def _by_attack(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    wheelbase, play = _need(vehicle, _frame(vehicle), "play")
    if play <= 0:
        raise _Silent("Its wheels have no play between the rails: it binds on straight track.")
    radius = smallest_by_attack(wheelbase, math.radians(GREATEST_ATTACK_DEG), play)
    return radius, (
        f"NEM 111: the leading wheel is to meet the rail at {GREATEST_ATTACK_DEG}° or less. The "
        "sheet does not say how the frame lies; taken with the last axle at the inner rail, which "
        "needs the larger radius."
    )


# --- Classes ----------------------------------------------------------------------------------

_CONDITIONS = (
    "On its conditions: mass by NEM 302, a transition curve or a straight longer than the longest "
    "vehicle before the opposite curve, buffer heads by NEM 303, sprung buffers, coupled loosely "
    "with more than 0.07 of the gauge between the buffers."
)


def _full_size(length: float, scale: Scale) -> float:
    """A length of the model at full size, mm."""
    return float(scale.to_full_size(Decimal(str(length))))


def _by_nem_111(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    gauge = scale.gauge_mm
    at_full_size = scale.to_full_size(gauge)
    if abs(at_full_size / _STANDARD_GAUGE_MM - 1) > _ABOUT_STANDARD:
        raise _Silent("NEM 111 is written for models of standard-gauge stock.")
    if vehicle.has_buffers is False:
        raise _Silent("These rows of NEM 111 speak of buffers that can touch; it has none.")
    lengths = _nem_111_lengths(vehicle)
    _need(vehicle, "has_buffers", *lengths)
    sizes = {
        figure: _full_size(getattr(vehicle, name), scale) / 1000
        for name, figure in lengths.items()
    }
    for row in sheet(NEM_111).rows:
        if _speaks_of(row, vehicle) and all(
            size <= float(row.figures[figure])
            for figure, size in sizes.items()
            if figure in row.figures
        ):
            multiple = row.figures["radius_min_over_gauge"]
            return float(multiple * gauge), (
                f"NEM 111, {row.name}: {multiple} times the gauge. {_CONDITIONS}"
            )
    raise _Silent("It is longer than the longest vehicle of NEM 111, or has more axles.")


def _nem_111_lengths(vehicle: Measures) -> dict[str, str]:
    """The measures that put a vehicle into a class of NEM 111, and the figures that limit them."""
    lengths = {"length_over_buffers": "length_over_buffers_max_m"}
    if _frame(vehicle) == "bogie_wheelbase":
        return lengths | {
            "body_length": "body_length_max_m",
            "pivot_distance": "pivot_distance_max_m",
        }
    if vehicle.axles_in_frame is None:
        raise _Missing("axles_in_frame", *(name for name in lengths if not _has(vehicle, name)))
    return lengths | {"rigid_wheelbase": "wheelbase_max_m"}


def _has(vehicle: Measures, name: str) -> bool:
    return getattr(vehicle, name) is not None


def _speaks_of(row: Row, vehicle: Measures) -> bool:
    """Whether a row of NEM 111 is for such a running gear."""
    if "pivot_distance_max_m" in row.figures:
        return bool(vehicle.on_bogies)
    if vehicle.on_bogies:
        return False
    allowed = (2, 3) if "three-axle" in row.name else (2,)
    return vehicle.axles_in_frame in allowed


def _by_rp_11(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    """The easiest row of RP-11 that the vehicle falls under; rows without vehicles say nothing."""
    rows = [
        row
        for row in sheet(RP_11).rows
        if row.speaks_for(scale) and "radius_min" in row.figures and row.name[:6] != "class "
    ]
    if not rows:
        raise _Silent(f"What is held of RP-11 does not speak of {scale.code}.")
    (is_hauled,) = _need(vehicle, "is_hauled")
    taking = [row for row in rows if _takes(row, vehicle, bool(is_hauled), scale)]
    if not taking:
        raise _Silent(f"What is held of RP-11 for {scale.code} does not speak of this vehicle.")
    row = min(taking, key=lambda each: Decimal(each.figures["radius_min"]))
    radius = float(to_base(Decimal(row.figures["radius_min"]), row.unit))
    told = "" if row.provenance == PUBLISHED else ", second-hand"
    between = (
        "" if _is_of_a_class(row) else " Classes of less radius that may take it are not held."
    )
    return radius, (
        f"RP-11{told}: {row.name}. For restricted speed; for main-line speed its next class up."
        f"{between}"
    )


def _is_of_a_class(row: Row) -> bool:
    """Whether a row of RP-11 names less than all stock."""
    return "car_length_max_ft" in row.figures


def _takes(row: Row, vehicle: Measures, is_hauled: bool, scale: Scale) -> bool:
    """Whether a row of RP-11 speaks of the vehicle; raises _Missing where that cannot be told."""
    if not _is_of_a_class(row):
        return True
    if not is_hauled:
        return False  # which engines a row means is told in words only
    (length,) = _need(vehicle, "body_length")
    if _full_size(length, scale) > row.figures["car_length_max_ft"] * MM_PER_FOOT:
        return False
    if "axles_per_bogie" not in row.figures:
        return True
    on_bogies, axles = _need(vehicle, "on_bogies", "axles_in_frame")
    return bool(on_bogies) and axles == row.figures["axles_per_bogie"]


# --- Beside another like it -------------------------------------------------------------------


def _by_buffers(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    if vehicle.has_buffers is False:
        raise _Silent("It has no buffers.")
    body, (_, over_buffers, spacing, width, dome, pivot, coupler) = _body(
        vehicle,
        "has_buffers",
        "length_over_buffers",
        "buffer_spacing",
        "buffer_head_width",
        "buffer_head_radius",
        "coupler_pivot",
        "coupler_length",
    )
    end = CarEnd(body, pivot, coupler, Buffers(spacing, over_buffers / 2, width, dome))
    radius = smallest_by_buffers(end, end)
    if radius is None:
        raise _Silent("Beside another like it, its buffers touch on no curve that it goes round.")
    if radius == math.inf:
        return radius, (
            "Coupled to another like it, the buffers touch on straight track already, so that "
            "their springs decide on a curve."
        )
    return radius, (
        "Coupled to another like it, the inner buffer heads touch; springs that give way allow "
        "less. Both ends are taken to be alike."
    )


def _by_swing(vehicle: Measures, scale: Scale) -> tuple[float, str]:
    body, (pivot, length, swing) = _body(
        vehicle, "coupler_pivot", "coupler_length", "coupler_swing_deg"
    )
    radius = smallest_by_swing(CarEnd(body, pivot, length), math.radians(swing))
    return radius, (
        f"Coupled to another like it, the coupler has swung the {swing:g}° that it can. Beside a "
        "shorter vehicle, and where a curve begins, it swings more."
    )


# --- Rules of thumb ---------------------------------------------------------------------------

_MEASURED_HOW = {
    "ldsig-curve-radius": "The car is measured over the couplers.",
    "curve-radius-armstrong": "How the car is measured is not told; taken over the couplers.",
}


def _by_thumb(vehicle: Measures, sheet_id: str) -> list[RadiusRule]:
    """A multiple of the longest car, as if this were the longest."""
    found = []
    length = vehicle.length_over_couplers
    source = sheet(sheet_id)
    for row in source.rows:
        if "radius_over_car_length" not in row.figures:
            continue
        multiple = float(row.figures["radius_over_car_length"])
        says = row.figures.get("permits", f"{row.name[0].upper()}{row.name[1:]}.")
        basis = (
            f"Rule of thumb, second-hand: {multiple:g} times the longest car, as if this were it. "
            f"{says} {_MEASURED_HOW[sheet_id]}"
        )
        found.append(
            RadiusRule(
                f"{source.short}, {row.name}",
                None if length is None else multiple * length,
                basis if length is not None else _WANTING,
                () if length is not None else ("length_over_couplers",),
                is_rule_of_thumb=True,
                sheet=sheet_id,
            )
        )
    return found
