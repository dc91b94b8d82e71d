"""Turnouts: frog number and angle, where two tracks clear each other, and clear length.

One length unit throughout (millimetres in the project), angles in radians.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal

from standards.curves import ImpossibleGeometry
from standards.units import Sentence, Unreadable, plain, straighten

# What a modeller can lay the end of the tape against.
REFERENCES = ("clearance mark", "frog", "points", "buffer stop", "joint", "table edge")
LEGS = ("main", "diverging")

# Outside these no frog is taken: 53 degrees, and half a degree. Our own choice, no source.
SHARPEST_FROG, FLATTEST_FROG = Decimal(1), Decimal(100)
# How far the number of a frog may be from the one that its curve gives: a tenth, since frogs are
# sold by whole numbers. Our own choice, no source.
NUMBER_TOLERANCE = 0.1


def frog_angle(number: float) -> float:
    """Angle of a frog by the centre-line method: 2 atan(1 / 2N). Raises ImpossibleGeometry."""
    if not 0 < number < math.inf:
        raise ImpossibleGeometry(f"A frog number of {number:g} is no frog; type 4, 6, 8 or so.")
    return 2 * math.atan(1 / (2 * number))


def frog_number(angle: float) -> float:
    """Number of a frog by the centre-line method: 1 / (2 tan(theta/2)). Raises
    ImpossibleGeometry."""
    if not 0 < angle < math.pi / 2:
        raise ImpossibleGeometry("A frog angle lies between 0 and 90 degrees.")
    return 1 / (2 * math.tan(angle / 2))


def frog_number_right_angle(angle: float) -> float:
    """Number of a frog by the right-angle method, as in India: cot theta."""
    if not 0 < angle < math.pi / 2:
        raise ImpossibleGeometry("A frog angle lies between 0 and 90 degrees.")
    return 1 / math.tan(angle)


def switch_angle(heel_spread: float, point_thickness: float, length: float) -> float:
    """Angle of a straight switch rail: asin((h - t)/a), US Army TI 850-02 chapter 6.

    heel_spread: between the gauge lines at the heel; point_thickness: of the point; length: of the
    switch rail. Raises ImpossibleGeometry for a point thicker than the spread, or a spread that
    does not fit the length.
    """
    if not 0 <= point_thickness < heel_spread < length:
        raise ImpossibleGeometry(
            f"A switch rail {length:g} long with {heel_spread:g} at its heel and a point "
            f"{point_thickness:g} thick cannot be."
        )
    return math.asin((heel_spread - point_thickness) / length)


def closure_curve(
    *, frog: float, heel: float, gauge: float, toe_spread: float, heel_spread: float
) -> tuple[float, float]:
    """Chord and radius of the curved rail between the heel of the switch and the toe of the frog.

    frog, heel: angles of the frog and of the switch at its heel; the spreads are between gauge
    lines, at the toe of the frog and at the heel of the switch. With q = g - e - h the chord is
    q / sin((F + S)/2) and the radius C / (2 sin((F - S)/2)): US Army TI 850-02 chapter 6. This is
    the sharpest part of a turnout with a straight frog.

    Raises ImpossibleGeometry where the frog is no wider than the switch, or the spreads leave
    nothing of the gauge.
    """
    if not 0 <= heel < frog < math.pi / 2:
        raise ImpossibleGeometry(
            "A frog has to have more of an angle than the heel of its switch, and less than 90 "
            "degrees."
        )
    left = gauge - toe_spread - heel_spread
    if min(toe_spread, heel_spread) < 0 or not left > 0:
        raise ImpossibleGeometry(
            f"Spreads of {toe_spread:g} and {heel_spread:g} leave no room for a curve within a "
            f"gauge of {gauge:g}."
        )
    chord = left / math.sin((frog + heel) / 2)
    return chord, chord / (2 * math.sin((frog - heel) / 2))


def number_of_curve(radius: float, gauge: float, *, is_wye: bool = False) -> float:
    """Number, by the centre-line method, of the frog of a leg that is one curve: sqrt(R / 2G).

    The curve's outer rail, R + G/2 from its centre, crosses the straight's inner rail, R - G/2
    from it, where cos theta = (R - G/2) / (R + G/2), so that tan(theta/2) = sqrt(G / 2R). In a wye
    of two such curves it crosses the axis, R from its centre, where half the angle has
    cos = R / (R + G/2); the number is then R / (2 sqrt(RG + G^2/4)).

    Derived. Raises ImpossibleGeometry for a radius that is not above half the gauge, or a gauge
    not above zero.
    """
    if not gauge > 0 or not gauge / 2 < radius < math.inf:
        raise ImpossibleGeometry(
            f"A curve of radius {radius:g} with a gauge of {gauge:g} has no frog."
        )
    if is_wye:
        return radius / (2 * math.sqrt(radius * gauge + gauge**2 / 4))
    return math.sqrt(radius / (2 * gauge))


def do_agree(number: float, radius: float, gauge: float, *, is_wye: bool = False) -> bool:
    """Whether a frog's number and the radius of a leg that is one curve tell of the same frog,
    within NUMBER_TOLERANCE."""
    of_curve = number_of_curve(radius, gauge, is_wye=is_wye)
    return abs(number - of_curve) <= NUMBER_TOLERANCE * of_curve


# --- A frog as people write it ----------------------------------------------------------------

_NUM = r"\d+(?:[.,]\d+)?"
_AS_NUMBER = re.compile(
    rf"(?P<word>no\.?|nr\.?|n°|number|\#)?\s*(?:(?P<whole>\d+)\s+(?P<top>\d+)/(?P<bottom>\d+)"
    rf"|(?P<number>{_NUM}))",
    re.IGNORECASE | re.ASCII,
)
_AS_RATIO = re.compile(rf"1\s*(?::|/|in)\s*(?P<number>{_NUM})", re.IGNORECASE | re.ASCII)
_AS_ANGLE = re.compile(
    rf"(?P<degrees>{_NUM})\s*(?P<sign>°|º|deg(?:rees?|s)?\.?)?"
    rf"(?:\s*(?P<minutes>{_NUM})\s*(?:'|min(?:utes?)?\.?)(?:\s*(?P<seconds>{_NUM})\s*(?:\"|''))?)?",
    re.IGNORECASE | re.ASCII,
)
_REMEDY = "Type its number such as 6, No. 6 or 1:6, or its angle such as 9.5°."
_LONGEST = 24


@dataclass(frozen=True)
class Frog:
    """A frog as it was written, understood.

    number: by the centre-line method, to six decimals where it was worked out from an angle.
    is_angle: whether the angle was given. is_bare: a number without a word or sign, of which one
    cannot see whether the number or the angle was meant.
    """

    typed: str
    number: Decimal
    is_angle: bool = False
    is_bare: bool = False

    @property
    def degrees(self) -> float:
        return math.degrees(frog_angle(float(self.number)))

    @property
    def words(self) -> str:
        """Number and angle: "No. 6, 9.53°"."""
        return f"No. {_shortly(float(self.number))}, {self.degrees:.2f}°"


def read_frog(typed: str) -> Frog:
    """Read a frog as makers and people write it.

    "6", "4 1/2", "No. 6", "#6", "1:6", "1/6" and "1 in 6" are its number; "9.5°", "9.5 deg",
    "9° 30'" and "9 30'" its angle, as European makers and the NEM give it. Numbers are taken by
    the centre-line method, as in Britain and the USA, 2 tan(theta/2) = 1/N. A continental 1:N is
    the tangent of the angle; it differs by 1/(4N), under one part in a hundred from No. 5 on.

    Raises Unreadable, in words, for text that is none of these and for frogs sharper than
    SHARPEST_FROG or flatter than FLATTEST_FROG.
    """
    text = " ".join(straighten(typed).split())
    if len(text) > _LONGEST:
        raise Unreadable(typed, f"“{text[:_LONGEST]}…” is too long for a frog.", _REMEDY)
    if ratio := _AS_RATIO.fullmatch(text):
        found = Frog(text, _decimal(ratio["number"]))
    elif (written := _AS_NUMBER.fullmatch(text)) and written["bottom"] != "0":
        found = Frog(text, _number_in(written), is_bare=not written["word"])
    elif (angle := _AS_ANGLE.fullmatch(text)) and _is_angle(angle):
        found = Frog(text, _number_at(typed, angle), is_angle=True)
    else:
        raise Unreadable(typed, f"“{text}” is no frog.", _REMEDY)
    if not SHARPEST_FROG <= found.number <= FLATTEST_FROG:
        raise Unreadable(
            typed,
            f"A frog number of {_shortly(float(found.number))} is no frog: "
            f"they go from {SHARPEST_FROG} to {FLATTEST_FROG}.",
            _REMEDY,
        )
    return found


def _decimal(text: str) -> Decimal:
    return Decimal(text.replace(",", "."))


def _is_angle(written: re.Match[str]) -> bool:
    """Not the digits of one number that are taken apart, as 95' into 9 and 5."""
    is_apart = written["minutes"] and written.string[written.end("degrees")] == " "
    return bool(written["sign"] or is_apart)


def _number_in(written: re.Match[str]) -> Decimal:
    if written["whole"]:
        part = Decimal(written["top"]) / Decimal(written["bottom"])
        return Decimal(written["whole"]) + Decimal(plain(round(part, 6)))
    return _decimal(written["number"])


def _number_at(typed: str, angle: re.Match[str]) -> Decimal:
    degrees, minutes, seconds = (
        _decimal(angle[part] or "0") for part in ("degrees", "minutes", "seconds")
    )
    if minutes >= 60 or seconds >= 60 or (minutes and degrees % 1):
        raise Unreadable(
            typed, "An angle has whole degrees and less than 60 minutes.", "Type such as 9° 30'."
        )
    turned = degrees + minutes / 60 + seconds / 3600
    if not 0 < turned < 90:
        raise Unreadable(typed, "A frog angle lies between 0 and 90 degrees.", _REMEDY)
    return Decimal(str(round(frog_number(math.radians(float(turned))), 6)))


def _shortly(number: float) -> str:
    return plain(Decimal(str(round(number, 2))))


# --- Straight and curved legs -----------------------------------------------------------------


def _check_centres(gauge: float, centres: float) -> None:
    if not gauge > 0 or not centres > 0:
        raise ImpossibleGeometry("Gauge and track centres have to be above zero.")
    if centres <= gauge:
        raise ImpossibleGeometry(
            f"Track centres of {centres:g} are within one gauge of {gauge:g}: there is no point "
            "beyond the frog at which the tracks are so close."
        )


def frog_to_clearance(number: float, gauge: float, centres: float) -> tuple[float, float]:
    """From the theoretical frog point to where straight legs are `centres` apart.

    Returns the distance along the main and along the diverging leg:
    C (N - 1/4N) - G N and C (4N^2 + 1)/(4N) - G N, both legs straight beyond the frog, the
    centres measured square to the main. Rule of thumb: N (C - G).
    Raises ImpossibleGeometry for a frog number, gauge or centres that are none.
    """
    frog_angle(number)
    _check_centres(gauge, centres)
    to_frog = gauge * number
    main = centres * (number - 1 / (4 * number)) - to_frog
    diverging = centres * (4 * number**2 + 1) / (4 * number) - to_frog
    return main, diverging


def curved_clearance(radius: float, gauge: float, centres: float) -> tuple[float, float, float]:
    """Where a track that curves away from a straight one clears it, from the tangent point.

    Returns the distance along the straight, sqrt(2RC - C^2), along the curve, R acos(1 - C/R), and
    to the curved frog, sqrt(2RG). Raises ImpossibleGeometry, also when the curve turns back before
    it is that far away.
    """
    _check_centres(gauge, centres)
    if not centres < radius < math.inf:
        raise ImpossibleGeometry(
            f"A curve of radius {radius:g} is never {centres:g} away while it still leads forward."
        )
    straight = math.sqrt(2 * radius * centres - centres**2)
    return straight, radius * math.acos(1 - centres / radius), math.sqrt(2 * radius * gauge)


def wye_to_clearance(number: float, gauge: float, centres: float) -> float:
    """From the frog point to where the legs of a wye are `centres` apart, along either leg.

    Each leg diverges by half the frog's angle, so that points equally far out are measured square
    to the axis: they are 2 s sin(theta/2) apart at s from where the centre lines cross, with
    sin(theta/2) = 1 / sqrt(4N^2 + 1). Abreast of the frog s = G N, as in any turnout of straight
    legs. Hence C sqrt(4N^2 + 1) / 2 - G N. Derived, no published source.

    Raises ImpossibleGeometry as `frog_to_clearance` does.
    """
    frog_angle(number)
    _check_centres(gauge, centres)
    return centres * math.sqrt(4 * number**2 + 1) / 2 - gauge * number


def curved_wye_to_clearance(radius: float, gauge: float, centres: float) -> float:
    """The same where both legs are one curve each, away from their common tangent.

    A leg has left the axis by R (1 - cos phi), so that half the centres are reached at
    phi = acos(1 - C/2R); abreast of the frog it has turned by acos(R / (R + G/2)), see
    `number_of_curve`. The difference times R. Derived, no published source.

    Raises ImpossibleGeometry as `curved_clearance` does.
    """
    _check_centres(gauge, centres)
    if not centres / 2 < radius < math.inf:
        raise ImpossibleGeometry(
            f"Legs of radius {radius:g} are never {centres:g} apart while they still lead forward."
        )
    turned = math.acos(1 - centres / (2 * radius))
    return radius * (turned - math.acos(radius / (radius + gauge / 2)))


# --- Where two tracks clear -------------------------------------------------------------------


def required_centres(
    *, half_width_main: float, half_width_diverging: float, gap: float, end_throw: float = 0.0
) -> float:
    """Track centres at which a vehicle on each leg clears the other, in the unit that went in.

    The half widths of the two vehicles, the gap wanted between them, and how far the end of the
    one on the curve swings out. An end throw below zero, of a short overhang that stays inside,
    gains nothing: the wheels are still where they are. Derived, no published source.

    Raises ImpossibleGeometry for a half width that is not above zero or a gap below zero.
    """
    for name, half in (("main", half_width_main), ("diverging leg", half_width_diverging)):
        if not 0 < half < math.inf:
            raise ImpossibleGeometry(
                f"A half width of {half:g} for the {name} is no width; measure the widest vehicle "
                "and type half of it."
            )
    if not 0 <= gap < math.inf:
        raise ImpossibleGeometry(
            f"A gap of {gap:g} between passing vehicles cannot be; type 0 or more."
        )
    if not math.isfinite(end_throw):
        raise ImpossibleGeometry(
            f"An end throw of {end_throw:g} cannot be; type 0 where both tracks are straight."
        )
    return half_width_main + half_width_diverging + gap + max(0.0, end_throw)


def never_clears(final_centres_mm: float, required_mm: float) -> str | None:
    """Why two parallel tracks are too close ever to clear, or None where they do.

    final_centres_mm: the centres at which they run on side by side; required_mm: those that the
    vehicles need. Just as much as is needed is enough.

    Raises ImpossibleGeometry for centres that are not above zero.
    """
    for centres in (final_centres_mm, required_mm):
        if not 0 < centres < math.inf:
            raise ImpossibleGeometry(
                f"Track centres of {centres:g} mm cannot be; measure from the middle of one track "
                "to the middle of the other."
            )
    if final_centres_mm >= required_mm:
        return None
    return Sentence(
        "The tracks run on ",
        final_centres_mm,
        " apart and ",
        required_mm,
        " is needed: they are too close ever to clear. Spread them, or keep wide vehicles off one "
        "of them.",
    )


# --- Clear length -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Deduction:
    """What does not count as clear length at one end of a track.

    name: from where to where; amount_mm: along that track; why: how it was found, in words.
    Raises ImpossibleGeometry for an amount below zero or without end.
    """

    name: str
    amount_mm: float
    why: str

    def __post_init__(self) -> None:
        if not 0 <= self.amount_mm < math.inf:
            raise ImpossibleGeometry(
                f"{self.amount_mm:g} mm cannot be taken off for “{self.name}”; type 0 or more."
            )


@dataclass(frozen=True)
class ClearLength:
    """A measured length and what comes off it; `clear_length` makes one that makes sense."""

    measured_mm: float
    deductions: tuple[Deduction, ...]

    @property
    def clear_mm(self) -> float:
        """What is left for vehicles, in millimetres."""
        left = math.fsum([self.measured_mm, *(-each.amount_mm for each in self.deductions)])
        # Nine decimals, so that 0.3 less 0.1 and 0.2 is nothing; adding 0.0 drops a minus sign.
        return round(left, 9) + 0.0


def clear_length(measured_mm: float, deductions: Iterable[Deduction]) -> ClearLength:
    """A measured length less what is taken off at its ends, in millimetres.

    Usable length as in the US Army's TI 850-02 chapter 8: a spur from its end to the clearance
    point, a siding between its two clearance points.

    Raises ImpossibleGeometry when the length is not above zero, or when more is taken off than was
    measured; the largest deduction is then named. Nothing left at all is an answer, no error.
    """
    if not 0 < measured_mm < math.inf:
        raise ImpossibleGeometry(
            f"A track of {measured_mm:g} mm was not measured; measure it from end to end."
        )
    found = ClearLength(measured_mm, tuple(deductions))
    if found.clear_mm < 0:
        largest = max(found.deductions, key=lambda each: each.amount_mm)
        taken_off = math.fsum(each.amount_mm for each in found.deductions)
        raise ImpossibleGeometry(
            Sentence(
                "Of ",
                measured_mm,
                " measured, ",
                taken_off,
                f" would come off, most of it “{largest.name}” with ",
                largest.amount_mm,
                ". Nothing stands clear here; see whether both ends were measured from where you "
                "said.",
            )
        )
    return found


def end_deduction(
    *,
    reference: str,
    frog_number: float | None,
    gauge_mm: float,
    centres_mm: float | None,
    leg: str,
    points_to_frog_mm: float | None = None,
    curve_radius_mm: float | None = None,
    buffer_room_mm: float = 0.0,
    is_wye: bool = False,
) -> Deduction:
    """What to take off at one end of a track, by what it was measured from.

    reference: one of REFERENCES. A clearance mark, a joint and a table edge take nothing off, a
        buffer stop the room kept before it; from the frog it is as far as the clearance point
        along that leg, and from the points the lead to the frog besides.
    leg: "main" or "diverging", whichever of the turnout's legs this track is.
    centres_mm: the centres that the vehicles need, see `required_centres`.
    points_to_frog_mm: from the tips of the points to the frog point, along that leg.
    curve_radius_mm: where the diverging leg is one curve from the points to beyond the clearance
        point; the frog number then follows from the curve and is not asked for. Without it both
        legs are straight beyond the frog. Where both are given the one that takes more off counts.
    is_wye: whether both legs diverge alike, so that it does not matter which one it is.

    All in millimetres, measured along the centre line of the leg. Sources of the formulas:
    `frog_to_clearance`, `curved_clearance`, `wye_to_clearance` and `curved_wye_to_clearance`.

    Raises ImpossibleGeometry for something missing, naming what to measure, and for dimensions
    that cannot be; ValueError for a reference or leg that is none.
    """
    if reference not in REFERENCES:
        raise ValueError(
            f"“{reference}” is nothing to measure from; use one of {', '.join(REFERENCES)}."
        )
    if leg not in LEGS:
        raise ValueError(f"“{leg}” is no leg of a turnout; use main or diverging.")
    if reference == "clearance mark":
        return Deduction(reference, 0.0, "Measured from the clearance mark itself.")
    if reference in ("joint", "table edge"):
        return Deduction(reference, 0.0, f"The track begins at the {reference}.")
    if reference == "buffer stop":
        if not 0 <= buffer_room_mm < math.inf:
            raise ImpossibleGeometry(
                f"Room of {buffer_room_mm:g} mm before a buffer stop cannot be; type 0 or more."
            )
        if not buffer_room_mm:
            return Deduction(reference, 0.0, "Nothing is kept free before the buffer stop.")
        kept = Sentence(buffer_room_mm, " is kept free before the buffer stop.")
        return Deduction(reference, buffer_room_mm, kept)
    asked = (gauge_mm, centres_mm, leg, is_wye)
    ways = [
        _frog_to_clearance_of(number, radius, *asked)
        for number, radius in ((frog_number, None), (None, curve_radius_mm))
        if number is not None or radius is not None
    ] or [_frog_to_clearance_of(None, None, *asked)]
    beyond, why = max(ways, key=lambda way: way[0])
    if len(ways) > 1:
        why = Sentence(why, " Of its number and its radius that is the one that takes more.")
    if reference == "frog":
        return Deduction("frog to clearance point", beyond, why)
    if points_to_frog_mm is None:
        raise ImpossibleGeometry(
            "How far the frog is from the points is not known: measure from the tips of the "
            "points to the frog point along this track, or measure the track from the frog."
        )
    if not 0 < points_to_frog_mm < math.inf:
        raise ImpossibleGeometry(
            f"{points_to_frog_mm:g} mm from the points to the frog cannot be; measure from the "
            "tips of the points to the frog point."
        )
    lead = Sentence(points_to_frog_mm, " from the points to the frog. ", why)
    return Deduction("points to clearance point", points_to_frog_mm + beyond, lead)


def _frog_to_clearance_of(
    number: float | None,
    radius: float | None,
    gauge: float,
    centres: float | None,
    leg: str,
    is_wye: bool,
) -> tuple[float, Sentence]:
    """From the frog to the clearance point along one leg, and how that was found."""
    if centres is None:
        raise ImpossibleGeometry(
            "How far apart the tracks have to be is not known: measure the width of the widest "
            "vehicle, or put a clearance mark where two vehicles just pass and measure from there."
        )
    kind = "wye" if is_wye else "turnout"
    if radius is not None:
        how = Sentence(f"a {kind} curved to ", radius, " radius")
        beyond = _beyond_curved_frog(radius, gauge, centres, leg, is_wye)
    elif number is None:
        raise ImpossibleGeometry(
            "The frog number is not known: read it from the turnout's package, or measure how far "
            "it takes from the frog point for its two rails to spread 10 mm and divide by 10."
        )
    else:
        how = Sentence(f"a No. {_shortly(number)} frog{' of a wye' if is_wye else ''}")
        main, diverging = frog_to_clearance(number, gauge, centres)
        beyond = diverging if leg == "diverging" else main
        if is_wye:
            beyond = wye_to_clearance(number, gauge, centres)
    if beyond < 0:
        raise ImpossibleGeometry(
            Sentence(
                "Vehicles that clear at centres of ",
                centres,
                " would do so before the frog; measure the widest vehicle again.",
            )
        )
    along = "either leg" if is_wye else f"the {leg} leg"
    on = (" on a gauge of ", gauge, ", ")
    reached = (centres, " between centres is reached ", beyond, f" beyond it along {along}.")
    return beyond, Sentence("With ", how, *on, *reached)


def _beyond_curved_frog(
    radius: float, gauge: float, centres: float, leg: str, is_wye: bool
) -> float:
    if is_wye:
        return curved_wye_to_clearance(radius, gauge, centres)
    straight, along_curve, straight_to_frog = curved_clearance(radius, gauge, centres)
    if leg == "diverging":
        return along_curve - _curve_to_frog(radius, gauge)
    return straight - straight_to_frog


def _curve_to_frog(radius: float, gauge: float) -> float:
    """From the tangent point to abreast of the frog, along the curved centre line.

    The frog's outer rail crosses the straight's where cos(theta) = (R - G/2) / (R + G/2), which is
    tan(theta/2) = sqrt(G / 2R). On the centre line of the curve that is a little less than the
    sqrt(2RG) along the straight.
    """
    return 2 * radius * math.atan(math.sqrt(gauge / (2 * radius)))
