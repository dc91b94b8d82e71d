"""The clear length of a track, from what was measured on the layout and on the stock."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, Decimal

from inventory.stock.models import Reading
from inventory.track.models import Railway, Track, Turnout
from standards.curves import Body, ImpossibleGeometry, outer_corner
from standards.turnouts import (
    ClearLength,
    Deduction,
    clear_length,
    end_deduction,
    never_clears,
    required_centres,
)

_MEASURED = ("body_width", "body_length", "pivot_distance", "bogie_wheelbase")


@dataclass(frozen=True)
class Widest:
    """What of the stock decides where two tracks clear: the widest body, and all whose throw can
    be reckoned. Millimetres; `width` is None while no width of the scale was measured."""

    width: float | None
    name: str
    bodies: tuple[tuple[str, Body], ...]

    @classmethod
    def of(cls, railway: Railway) -> Widest:
        """From the latest readings of the stock in the railway's scale, in one query."""
        latest: dict[int, dict[str, float]] = {}
        names: dict[int, str] = {}
        readings = (
            Reading.objects.filter(
                is_current=True,
                gauge="",
                quantity__in=_MEASURED,
                inspection__vehicle__scale__in=railway.scales,
            )
            .select_related("inspection__vehicle")
            .order_by("inspection__started_at", "pk")
        )
        for reading in readings:
            vehicle = reading.inspection.vehicle
            names[vehicle.pk] = vehicle.identity
            latest.setdefault(vehicle.pk, {})[reading.quantity] = float(reading.value)
        bodies = [
            (names[pk], body) for pk, sizes in latest.items() if (body := _body(sizes)) is not None
        ]
        widths = [
            (sizes["body_width"], pk) for pk, sizes in latest.items() if "body_width" in sizes
        ]
        if not widths:
            return cls(None, "", tuple(bodies))
        width, pk = max(widths)
        return cls(width, names[pk], tuple(bodies))

    def centres(self, railway: Railway, radius: float | None) -> float:
        """Centres at which two vehicles clear, one of them on a curve of that radius if any.

        Raises ImpossibleGeometry while no width was measured.
        """
        if self.width is None:
            raise ImpossibleGeometry(
                f"No width of any vehicle in {railway.scale} was measured: measure the widest at "
                "the bench, or measure this track from a clearance mark."
            )
        half = self.width / 2
        throw = 0.0
        if radius is not None:
            throw = max([0.0, *(_beyond(radius, body, half) for _, body in self.bodies)])
        return required_centres(
            half_width_main=half,
            half_width_diverging=half,
            gap=float(railway.clearance_gap),
            end_throw=throw,
        )


def _beyond(radius: float, body: Body, half: float) -> float:
    """How far its corner swings out beyond half the widest; nothing for one that cannot go
    there."""
    try:
        return outer_corner(radius, body) - half
    except ImpossibleGeometry:
        return 0.0


def _body(sizes: dict[str, float]) -> Body | None:
    if not {"body_length", "pivot_distance", "body_width"} <= sizes.keys():
        return None
    try:
        return Body(
            sizes["body_length"],
            sizes["pivot_distance"],
            sizes.get("bogie_wheelbase", 0.0),
            sizes["body_width"],
        )
    except ImpossibleGeometry:
        return None


@dataclass(frozen=True)
class Clearing:
    """A track's clear length with what was taken off, or why it cannot be told."""

    track: Track
    length: ClearLength | None
    problem: str = ""
    warning: str = ""

    @property
    def clear_mm(self) -> Decimal | None:
        """To a tenth of a millimetre, rather too little than too much, as fitting reckons."""
        if self.length is None:
            return None
        # The geometry is in binary floats: what they add in the tenth decimal is no length.
        exact = Decimal(str(round(self.length.clear_mm, 9)))
        return exact.quantize(Decimal("0.1"), rounding=ROUND_FLOOR)

    @property
    def deductions(self) -> tuple[Deduction, ...]:
        return self.length.deductions if self.length else ()


def clearing_of(track: Track, railway: Railway, widest: Widest) -> Clearing:
    """What stands clear on a track."""
    warning = ""
    try:
        deductions = [
            _at_end(track.a_reference, track.a_turnout, track.a_leg, railway, widest),
            _at_end(track.b_reference, track.b_turnout, track.b_leg, railway, widest),
        ]
        if track.final_centres is not None and widest.width is not None:
            warning = never_clears(float(track.final_centres), widest.centres(railway, None)) or ""
        return Clearing(track, clear_length(float(track.measured), deductions), warning=warning)
    except ImpossibleGeometry as impossible:
        return Clearing(track, None, str(impossible))


def _at_end(
    reference: str, turnout: Turnout | None, leg: str, railway: Railway, widest: Widest
) -> Deduction:
    if reference not in ("frog", "points"):
        return end_deduction(
            reference=reference,
            frog_number=None,
            gauge_mm=float(railway.standard.gauge_mm),
            centres_mm=None,
            leg=leg,
        )
    if turnout is None:
        raise ImpossibleGeometry(
            f"It was measured from the {reference}, but no turnout is named: pick the turnout."
        )
    radius = None if turnout.diverging_radius is None else float(turnout.diverging_radius)
    return end_deduction(
        reference=reference,
        frog_number=None if turnout.frog_number is None else float(turnout.frog_number),
        gauge_mm=float(railway.standard.gauge_mm),
        centres_mm=widest.centres(railway, radius),
        leg=leg,
        points_to_frog_mm=None
        if turnout.points_to_frog is None
        else float(turnout.points_to_frog),
        curve_radius_mm=radius,
    )
