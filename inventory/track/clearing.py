"""The clear length of a track, from what was measured on the layout and on the stock."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from decimal import ROUND_FLOOR, Decimal

from django.db.models import FloatField, QuerySet
from django.db.models.functions import Cast

from inventory.stock.models import OURS, Reading
from inventory.track.models import Railway, Track, Turnout
from standards.curves import Body, ImpossibleGeometry, outer_corner
from standards.turnouts import (
    ClearLength,
    Deduction,
    clear_length,
    do_agree,
    end_deduction,
    never_clears,
    required_centres,
)
from standards.units import Sentence

#: So many of the widest are looked at, to find one that was not measured again since.
_LOOKED_AT = 20
#: So many vehicles are named in one question, since a database takes no more than so many words.
_ASKED_AT_ONCE = 1000

_WHOSE = (
    "inspection__vehicle",
    "inspection__vehicle__reporting_mark",
    "inspection__vehicle__number",
    "inspection__vehicle__scale",
    *(f"inspection__vehicle__{name}" for name in OURS),
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
        """From the latest readings of the stock in the railway's scale."""
        width, name = _widest(railway)
        return cls(width, name, _bodies(railway))

    def needed(self, railway: Railway, radius: float | None, *, is_wye: bool = False) -> Needed:
        """Centres at which two vehicles clear, one of them on a curve of that radius if any, or
        both in a wye.

        Raises ImpossibleGeometry while no width was measured.
        """
        if self.width is None:
            raise ImpossibleGeometry(
                f"No width of any vehicle in {railway.scale} was measured: measure the widest at "
                "the bench, or measure this track from a clearance mark."
            )
        half = self.width / 2
        throw, name = 0.0, ""
        if radius is not None:
            swings = [(_beyond(radius, body, half), each) for each, body in self.bodies]
            throw, name = max([(0.0, ""), *swings])
        centres = required_centres(
            half_width_main=half,
            half_width_diverging=half,
            gap=float(railway.clearance_gap),
            end_throw=throw * (2 if is_wye else 1),
        )
        gap = railway.clearance_gap
        said = [centres, " between centres: the widest body, ", self.width, f" of {self.name}, "]
        said += ["half of it on either track, and a gap of ", gap]
        if throw:
            said += [", and ", throw, f" by which an end of {name} swings out"]
            said += [" on either leg." if is_wye else "."]
        else:
            said += ["."]
        if radius is not None:
            said += [self._of_throws()]
        return Needed(centres, Sentence(*said))

    def _of_throws(self) -> str:
        """Whose end throw was counted, since an unknown one is not nothing."""
        if not self.bodies:
            return (
                " End throw is not known and not counted: of no vehicle are length, pivot "
                "distance and width of the body all measured. On this curve a long one needs more."
            )
        if len(self.bodies) == 1:
            return f" End throw is known of {self.bodies[0][0]} only; others may need more."
        return f" End throw is known of {len(self.bodies)} vehicles; others may need more."


@dataclass(frozen=True)
class Needed:
    """Centres at which two vehicles clear, in millimetres, and what they are made of."""

    centres: float
    words: Sentence


def _typed(quantity: str) -> QuerySet[Reading]:
    """Every reading of a quantity that counts, of any vehicle."""
    return Reading.objects.filter(is_current=True, gauge="", quantity=quantity)


def _in_the_fleet(railway: Railway) -> set[tuple[str, str, str]]:
    """How `_WHOSE` reads for a vehicle of the railway's size that is in the fleet.

    Which of the readings are theirs is told here and not by the database: told of the vehicles,
    it would begin with all of that size, and of the readings that matter there are few.
    """
    return {(scale, "", "") for scale in railway.scales}


def _widest(railway: Railway) -> tuple[float | None, str]:
    """The largest of the latest widths, and whose it is; None and nobody without any.

    An index holds them by size, and only the first are looked at, as few of many thousands matter.
    One that was measured again since does not count: whether it was is asked of those few.
    """
    by_size = (
        _typed("body_width")
        .annotate(mm=Cast("value", FloatField()))
        .order_by("-mm", "-pk")
        .values_list(*_WHOSE, "value")
    )
    first, size, ours = 0, _LOOKED_AT, _in_the_fleet(railway)
    while some := list(by_size[first : first + size]):
        likely = [row for row in some if row[3:6] in ours]
        again = _typed("body_width").filter(inspection__vehicle__in={row[0] for row in likely})
        # The latest comes last, and stands.
        latest = dict(
            again.order_by("inspection__started_at", "pk").values_list(
                "inspection__vehicle", "value"
            )
        )
        for pk, mark, number, *_, value in likely:
            if latest[pk] == value:
                return float(value), f"{mark} {number}".strip()
        first, size = first + size, size * 4
    return None, ""


def _bodies(railway: Railway) -> tuple[tuple[str, Body], ...]:
    """The vehicles whose throw can be reckoned, which few are measured for."""
    ours = _in_the_fleet(railway)
    on_bogies = {
        row[0]: f"{row[1]} {row[2]}".strip()
        for row in _typed("pivot_distance").order_by().values_list(*_WHOSE)
        if row[3:] in ours
    }
    keys = list(on_bogies)
    latest: dict[int, dict[str, float]] = {}
    for first in range(0, len(keys), _ASKED_AT_ONCE):
        rows = Reading.objects.filter(
            is_current=True,
            gauge="",
            quantity__in=_MEASURED,
            inspection__vehicle__in=keys[first : first + _ASKED_AT_ONCE],
        ).order_by("inspection__started_at", "pk")
        for pk, quantity, value in rows.values_list("inspection__vehicle", "quantity", "value"):
            latest.setdefault(pk, {})[quantity] = float(value)
    return tuple(
        (on_bogies[pk], body) for pk, sizes in latest.items() if (body := _body(sizes)) is not None
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
    """A track's clear length with what was taken off, or why it cannot be told.

    warning: what of it is not as the sum takes it. too_close: why nothing ever clears beside its
    neighbour. Both, problem and the reasons of the deductions may be Sentences, for another unit.
    """

    track: Track
    length: ClearLength | None
    problem: str = ""
    warning: str = ""
    too_close: str = ""

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
    ends = [
        (track.a_reference, track.a_turnout, track.a_leg),
        (track.b_reference, track.b_turnout, track.b_leg),
    ]
    try:
        deductions = [_whole_tenths(_at_end(*end, railway, widest)) for end in ends]
        too_close = ""
        if track.final_centres is not None and widest.width is not None:
            needed = widest.needed(railway, None).centres
            too_close = never_clears(float(track.final_centres), needed) or ""
        doubts = dict.fromkeys(_doubts(ends, float(railway.standard.gauge_mm)))
        joined = [part for each in doubts for part in (" ", each)]
        return Clearing(
            track,
            clear_length(float(track.measured), deductions),
            warning=Sentence(*joined[1:]),
            too_close=too_close,
        )
    except ImpossibleGeometry as impossible:
        return Clearing(track, None, impossible.args[0])


def _doubts(ends: list[tuple[str, Turnout | None, str]], gauge: float) -> list[str]:
    """What of the turnouts that count is not as the sum takes it."""
    found = []
    for reference, turnout, _ in ends:
        if reference not in ("frog", "points") or turnout is None:
            continue
        if turnout.hand == Turnout.Hand.CURVED:
            found.append(
                f"{turnout.name} is a curved turnout and is worked out as if its main leg were "
                "straight: try where two vehicles just pass, and measure from a mark there."
            )
        number, radius = turnout.frog_number, turnout.diverging_radius
        if number is None or radius is None:
            continue
        if not do_agree(float(number), float(radius), gauge, is_wye=turnout.is_wye):
            found.append(
                f"The frog number and the radius of {turnout.name} do not agree; the one that "
                "takes more off counts."
            )
    return found


def _whole_tenths(found: Deduction) -> Deduction:
    """What comes off rounded up to a tenth of a millimetre, so that what is shown adds up."""
    # The geometry is in binary floats: what they add in the tenth decimal is no length.
    tenths = math.ceil(round(found.amount_mm * 10, 8))
    return replace(found, amount_mm=tenths / 10)


def _at_end(
    reference: str, turnout: Turnout | None, leg: str, railway: Railway, widest: Widest
) -> Deduction:
    gauge = float(railway.standard.gauge_mm)
    if reference not in ("frog", "points"):
        return end_deduction(
            reference=reference, frog_number=None, gauge_mm=gauge, centres_mm=None, leg=leg
        )
    if turnout is None:
        raise ImpossibleGeometry(
            f"It was measured from the {reference}, but no turnout is named: pick the turnout."
        )
    radius = None if turnout.diverging_radius is None else float(turnout.diverging_radius)
    needed = widest.needed(railway, radius, is_wye=turnout.is_wye)
    found = end_deduction(
        reference=reference,
        frog_number=None if turnout.frog_number is None else float(turnout.frog_number),
        gauge_mm=gauge,
        centres_mm=needed.centres,
        leg=leg,
        points_to_frog_mm=None
        if turnout.points_to_frog is None
        else float(turnout.points_to_frog),
        curve_radius_mm=radius,
        is_wye=turnout.is_wye,
    )
    return replace(found, why=Sentence(found.why, " ", needed.words))
