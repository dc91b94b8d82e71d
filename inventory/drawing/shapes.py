"""The things a railway is measured on, as line drawings: tyre, wheelset, rail, bogie, car.

Each shape knows where its own measuring points are, so that a dimension never has to be placed
by eye. Sheet coordinates: x to the right, y down.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing.svg import (
    Point,
    arrow_head,
    box,
    circle,
    element,
    group,
    hatch,
    line,
    path,
)

CONE = math.tan(math.radians(3))
"""Slope of the tread: 3 degrees, NEM 311 (RP-25 leaves it at 1 to 3, for the mould's draft)."""

FLANGE_ANGLE = math.radians(72)
"""Lean of the flange's front at the gauge plane; NEM 311 has 70 degrees, RP-25 comes to 73."""


def placed(
    points: Iterable[Point],
    at: Point,
    scale: float = 1.0,
    *,
    mirrored: bool = False,
    flipped: bool = False,
) -> list[Point]:
    """Points moved from their own origin to `at`; mirrored left to right, flipped upside down."""
    across, down = (-scale if mirrored else scale), (-scale if flipped else scale)
    return [(at[0] + across * x, at[1] + down * y) for x, y in points]


def _curve(start: Point, first: Point, second: Point, end: Point, steps: int = 9) -> list[Point]:
    """Points along a cubic curve, without its start."""
    found = []
    for step in range(1, steps + 1):
        t = step / steps
        weights = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
        knots = (start, first, second, end)
        found.append(
            (
                sum(w * knot[0] for w, knot in zip(weights, knots, strict=True)),
                sum(w * knot[1] for w, knot in zip(weights, knots, strict=True)),
            )
        )
    return found


def rounded(face: float, radius: float, side: int) -> list[Point]:
    """The corner of a rail's head, from its upright face up to its top; side 1 has the metal to
    the right of the face."""
    turns = [math.pi / 2 * step / 5 for step in range(6)]
    return [
        (face + side * radius * (1 - math.cos(turn)), radius * (1 - math.sin(turn)))
        for turn in turns
    ]


def clipped(
    shape: Sequence[Point], left: float, right: float, top: float, bottom: float
) -> list[Point]:
    """The part of a closed outline inside an upright rectangle (Sutherland and Hodgman, 1974)."""
    found = list(shape)
    for axis, limit, sign in ((0, left, 1), (0, right, -1), (1, top, 1), (1, bottom, -1)):
        kept: list[Point] = []
        for here, there in zip(found, [*found[1:], *found[:1]], strict=True):
            inside, next_inside = (sign * (p[axis] - limit) >= 0 for p in (here, there))
            if inside:
                kept.append(here)
            if inside != next_inside:
                share = (limit - here[axis]) / (there[axis] - here[axis])
                kept.append(
                    (
                        here[0] + share * (there[0] - here[0]),
                        here[1] + share * (there[1] - here[1]),
                    )
                )
        found = kept
    return found


@dataclass(frozen=True)
class Tyre:
    """The rim of a wheel in section, in any one unit.

    Its own origin is where the back of the wheel meets the level of the tread at the flange;
    x runs to the field side and y away from the axle, to the tip of the flange.
    """

    width: float
    thickness: float
    depth: float
    plane_height: float | None = None

    @property
    def plane(self) -> float:
        """How far from the tread the flange's thickness is taken: P of RP-25 and NEM 310.

        Where it is not given, a third of the thickness, as in most rows of both.
        """
        usual = min(self.thickness / 3, 0.4 * self.depth)
        return min(self.plane_height or usual, 0.6 * self.depth)

    @property
    def tread(self) -> float:
        """Where the fillet ends and the tread begins, from the back of the wheel.

        The fillet of RP-25 reaches about 1.35 times as far along the tread as P goes down it.
        """
        return self.thickness + min(1.35 * self.plane, 0.4 * (self.width - self.thickness))

    @property
    def tip(self) -> float:
        return 0.42 * self.thickness

    def scaled(self, scale: float) -> "Tyre":
        return Tyre(
            self.width * scale, self.thickness * scale, self.depth * scale, self.plane * scale
        )

    def outline(self, rim: float) -> list[Point]:
        """From the back down round the flange, along the tread and up the face; `rim` of wheel
        above the tread at either end, left open there.
        """
        width, depth, plane = self.width, self.depth, self.plane
        bulge = 0.55
        back, tip, gauge = (0.0, 0.28 * depth), (self.tip, depth), (self.thickness, plane)
        slope_x, slope_y = math.cos(FLANGE_ANGLE), math.sin(FLANGE_ANGLE)
        # The curve must not swing back past its own ends, however thin and deep the flange.
        rest = (1 - bulge) / slope_x
        lower = min(bulge * (depth - plane), rest * (gauge[0] - tip[0]))
        upper = min(0.5 * plane, rest * (self.tread - gauge[0]))
        chamfer = min(0.08 * width, plane, 0.5 * (width - self.tread))
        drop = -(width - chamfer - self.tread) * CONE
        flange = _curve(
            back,
            (0.0, back[1] + bulge * (depth - back[1])),
            (tip[0] * (1 - bulge), depth),
            tip,
        )
        front = _curve(
            tip,
            (tip[0] + bulge * (gauge[0] - tip[0]), depth),
            (gauge[0] - slope_x * lower, plane + slope_y * lower),
            gauge,
        )
        fillet = _curve(
            gauge,
            (gauge[0] + slope_x * upper, plane - slope_y * upper),
            (self.tread - bulge * (self.tread - gauge[0]), 0.0),
            (self.tread, 0.0),
        )
        edge = _curve(
            (width - chamfer, drop),
            (width - chamfer * 0.45, drop),
            (width, drop - chamfer * 0.45),
            (width, drop - chamfer),
            steps=5,
        )
        return [
            (0.0, -rim),
            back,
            *flange,
            *front,
            *fillet,
            (width - chamfer, drop),
            *edge,
            (width, -rim),
        ]


def wheel_section(
    tyre: Tyre,
    at: Point,
    scale: float,
    rim: float,
    *,
    mirrored: bool = False,
    flipped: bool = False,
) -> SafeString:
    """A tyre cut through: hatched, its far end broken off."""
    outline = placed(tyre.outline(rim), at, scale, mirrored=mirrored, flipped=flipped)
    cut = wave(outline[-1], outline[0])
    return group(
        path([*outline, *cut[1:-1]], closed=True, class_="d-shape"),
        hatch([*outline, *cut[1:-1]]),
        path(outline, class_="d-line"),
        path(cut, class_="d-detail"),
    )


def wave(start: Point, end: Point, swing: float = 3.0) -> list[Point]:
    """The wavy line where a part is broken off."""
    (x1, y1), (x2, y2) = start, end
    length = math.hypot(x2 - x1, y2 - y1) or 1.0
    across_x, across_y = -(y2 - y1) / length, (x2 - x1) / length
    steps = 24
    waves = max(1, round(length / 70))
    return [
        (
            x1 + (x2 - x1) * step / steps + across_x * swing * math.sin(turn),
            y1 + (y2 - y1) * step / steps + across_y * swing * math.sin(turn),
        )
        for step in range(steps + 1)
        for turn in (2 * math.pi * waves * step / steps,)
    ]


@dataclass(frozen=True)
class Wheelset:
    """Two wheels on their axle, seen along the track; lengths on the sheet."""

    centre: Point
    back_to_back: float
    tyre: Tyre
    radius: float
    axle_length: float

    @property
    def backs(self) -> tuple[float, float]:
        return self.centre[0] - self.back_to_back / 2, self.centre[0] + self.back_to_back / 2

    @property
    def faces(self) -> tuple[float, float]:
        return self.backs[0] - self.tyre.width, self.backs[1] + self.tyre.width

    @property
    def points(self) -> tuple[float, float]:
        return self.centre[0] - self.axle_length / 2, self.centre[0] + self.axle_length / 2

    @property
    def tread(self) -> float:
        """The height of the tread under the wheels."""
        return self.centre[1] + self.radius

    def draw(self, *, dashed: bool = False) -> SafeString:
        x, y = self.centre
        shaft = max(3.0, 0.09 * self.radius)
        overhang = self.axle_length / 2 - self.back_to_back / 2 - self.tyre.width
        cone = min(2.4 * shaft, overhang)
        right = [
            (self.faces[1], -shaft),
            (self.points[1] - cone, -shaft),
            (self.points[1], 0.0),
            (self.points[1] - cone, shaft),
            (self.faces[1], shaft),
        ]
        axle = [
            *[(px, y + py) for px, py in right],
            *[(2 * x - px, y + py) for px, py in reversed(right)],
        ]
        style = "d-body d-dash" if dashed else "d-body"
        return group(
            path(axle, closed=True, class_="d-part"),
            (self._wheel(style, side) for side in (-1, 1)),
            line((self.points[0] - 9, y), (self.points[1] + 9, y), class_="d-centre"),
        )

    def _wheel(self, style: str, side: int) -> SafeString:
        back = self.backs[0] if side < 0 else self.backs[1]
        half = self.tyre.outline(self.radius)
        lower = placed(half, (back, self.tread), mirrored=side < 0)
        upper = [(px, 2 * self.centre[1] - py) for px, py in reversed(lower)]
        root = back + side * self.tyre.tread
        boss_x = self.faces[0] if side < 0 else self.faces[1]
        return group(
            path([*lower[1:-1], *upper[1:-1]], closed=True, class_=style),
            line((root, self.tread), (root, 2 * self.centre[1] - self.tread), class_="d-detail"),
            box(
                min(boss_x, boss_x + side * 3),
                self.centre[1] - 0.22 * self.radius,
                3,
                0.44 * self.radius,
                class_="d-part",
            ),
        )


def rail(gauge_face: float, top: float, height: float, side: int) -> SafeString:
    """A rail in section with its gauge face at `gauge_face`; side -1 is the left-hand rail."""
    head, neck, web, foot = 0.43 * height, 0.3 * height, 0.06 * height, 0.46 * height
    bevel = 0.07 * height
    middle = head / 2
    half = [
        (head - middle - bevel, 0.0),
        (head - middle, bevel),
        (head - middle, neck * 0.8),
        (web + 0.05 * height, neck),
        (web, neck + 0.1 * height),
        (web, 0.76 * height),
        (web + 0.08 * height, 0.84 * height),
        (foot, 0.92 * height),
        (foot, height),
    ]
    outline = [*half, *[(-x, y) for x, y in reversed(half)]]
    centre = gauge_face + side * middle
    return path(placed(outline, (centre, top)), closed=True, class_="d-part")


def track_side(left: float, right: float, top: float) -> SafeString:
    """The track seen from the side: a rail on its ties."""
    ties = int((right - left) // 26)
    first = left + ((right - left) - (ties - 1) * 26) / 2 - 7
    return group(
        (box(first + 26 * tie, top + 10, 14, 5, class_="d-part d-detail") for tie in range(ties)),
        box(left, top, right - left, 4, class_="d-part"),
        line((left, top + 10), (right, top + 10), class_="d-detail"),
    )


def track_end(middle: float, top: float, gauge: float, height: float = 15) -> SafeString:
    """The track seen along it: two rails on a tie."""
    reach = gauge / 2 + 1.9 * height
    return group(
        box(middle - reach, top + height, 2 * reach, 0.55 * height, class_="d-body"),
        rail(middle - gauge / 2, top, height, -1),
        rail(middle + gauge / 2, top, height, 1),
    )


@dataclass(frozen=True)
class Bogie:
    """A two-axle bogie from the side, standing on the rail."""

    pivot: float
    rail: float
    wheelbase: float
    radius: float

    @property
    def axles(self) -> tuple[Point, Point]:
        level = self.rail - self.radius
        return (self.pivot - self.wheelbase / 2, level), (self.pivot + self.wheelbase / 2, level)

    def draw(self) -> SafeString:
        r, half = self.radius, self.wheelbase / 2
        frame = [
            (-half - 0.62 * r, -0.25 * r),
            (-half - 0.45 * r, -0.62 * r),
            (-half + 0.5 * r, -0.66 * r),
            (-0.3 * half, -1.05 * r),
            (0.3 * half, -1.05 * r),
            (half - 0.5 * r, -0.66 * r),
            (half + 0.45 * r, -0.62 * r),
            (half + 0.62 * r, -0.25 * r),
            (half + 0.5 * r, 0.26 * r),
            (half - 0.5 * r, 0.26 * r),
            (0.36 * half, 0.55 * r),
            (-0.36 * half, 0.55 * r),
            (-half + 0.5 * r, 0.26 * r),
            (-half - 0.5 * r, 0.26 * r),
        ]
        window = [(-0.2 * half, -0.55 * r), (0.2 * half, -0.55 * r)]
        window += [(0.2 * half, 0.12 * r), (-0.2 * half, 0.12 * r)]
        coils = [
            ((-0.15 * half, share * r), (0.15 * half, (share - 0.09) * r))
            for share in (-0.38, -0.23, -0.08)
        ]
        at = (self.pivot, self.rail - r)
        return group(
            (circle(axle, r, class_="d-part") for axle in self.axles),
            path(placed(frame, at), closed=True, class_="d-body"),
            path(placed(window, at), closed=True, class_="d-part d-detail"),
            (line(*placed(coil, at), class_="d-detail") for coil in coils),
            (circle(axle, max(1.6, 0.16 * r), class_="d-part d-detail") for axle in self.axles),
        )


def spoked(centre: Point, radius: float) -> SafeString:
    """A wheel from the side, for a vehicle without bogies."""
    return group(
        circle(centre, radius, class_="d-part"),
        circle(centre, 0.76 * radius, class_="d-detail"),
        circle(centre, max(1.8, 0.18 * radius), class_="d-part d-detail"),
    )


def knuckle(at: Point, size: float, *, side: int = 1) -> SafeString:
    """A knuckle coupler from the side; `at` is its face at the height of its centre line."""
    head = [(0.0, -0.8), (0.0, 0.8), (-0.35, 0.95), (-1.0, 0.7), (-1.0, 0.36)]
    head += [(-2.4, 0.36), (-2.4, -0.36), (-1.0, -0.36), (-1.0, -0.7), (-0.35, -0.95)]
    shape = placed(head, at, size, mirrored=side < 0)
    pin = placed([(-0.35, -0.95), (-0.35, 0.95)], at, size, mirrored=side < 0)
    return group(
        path(shape, closed=True, class_="d-part"), line(pin[0], pin[1], class_="d-detail")
    )


def buffer(at: Point, size: float, *, side: int = 1) -> SafeString:
    """A buffer from the side; `at` is the middle of its face."""
    shank = [(-0.3, -0.34), (-1.3, -0.34), (-1.3, -0.55), (-2.4, -0.55)]
    shank += [(x, -y) for x, y in reversed(shank)]
    head = [(0.0, -0.3), (0.0, 0.3), (-0.12, 1.0), (-0.4, 1.0), (-0.4, -1.0), (-0.12, -1.0)]
    return group(
        path(placed(shank, at, size, mirrored=side < 0), closed=True, class_="d-part"),
        path(placed(head, at, size, mirrored=side < 0), closed=True, class_="d-part"),
    )


@dataclass(frozen=True)
class CarSide:
    """A car from the side: bogies and couplers, or two axles and buffers."""

    left: float
    right: float
    rail: float
    top: float
    is_wagon: bool = False

    @property
    def floor(self) -> float:
        return self.rail - 27

    @property
    def fitting_line(self) -> float:
        """The height of the couplers or buffers."""
        return self.floor + (1 if self.is_wagon else 5)

    @property
    def faces(self) -> tuple[float, float]:
        """Coupler or buffer faces, the outermost points of the car."""
        return self.left - 15, self.right + 15

    @property
    def bogies(self) -> tuple[Bogie, Bogie]:
        return (
            Bogie(self.left + 40, self.rail, 36, 10.5),
            Bogie(self.right - 40, self.rail, 36, 10.5),
        )

    @property
    def axles(self) -> tuple[Point, Point]:
        """Of a wagon, whose axles are held in its own frame."""
        return (self.left + 46, self.rail - 12), (self.right - 46, self.rail - 12)

    def draw(self) -> SafeString:
        ends = ((self.faces[0], -1), (self.faces[1], 1))
        fitting = buffer if self.is_wagon else knuckle
        return group(
            (fitting((x, self.fitting_line), 6.5, side=side) for x, side in ends),
            self._frame(),
            self._running_gear(),
            self._body(),
        )

    def _frame(self) -> list[SafeString]:
        if self.is_wagon:
            width = self.right - self.left
            return [box(self.left, self.floor - 3, width, 8, class_="d-part")]
        pockets = (self.left + 2, self.right - 16)
        return [box(x, self.floor, 14, 9, class_="d-part d-detail") for x in pockets]

    def _running_gear(self) -> list[SafeString]:
        if not self.is_wagon:
            return [bogie.draw() for bogie in self.bogies]
        pieces = []
        for x, y in self.axles:
            sole = self.floor + 5 - y
            guard = [(-7.0, sole), (-3.6, 4.0), (3.6, 4.0), (7.0, sole)]
            spring = [(-17.0, sole + 1), (-10.0, sole + 3.5), (0.0, sole + 5)]
            spring += [(-px, py) for px, py in reversed(spring[:-1])]
            pieces.append(spoked((x, y), 12))
            pieces.append(path(placed(guard, (x, y)), closed=True, class_="d-body d-detail"))
            pieces.append(path(placed(spring, (x, y)), class_="d-line"))
        return pieces

    def _body(self) -> SafeString:
        left, right, top = self.left, self.right, self.top
        floor = self.floor - 3 if self.is_wagon else self.floor
        middle, eaves, door = (left + right) / 2, top + 7, 22
        roof = [(left, eaves), (left + 5, top), (right - 5, top), (right, eaves)]
        panels = [left + (right - left) * share for share in (0.1, 0.2, 0.3, 0.7, 0.8, 0.9)]
        return group(
            box(left, eaves, right - left, floor - eaves, class_="d-body"),
            path(roof, closed=True, class_="d-body"),
            (line((x, eaves), (x, floor - 5), class_="d-detail") for x in panels),
            box(middle - door, eaves + 4, 2 * door, floor - eaves - 9, class_="d-part"),
            line((left, floor - 5), (right, floor - 5), class_="d-detail"),
        )


@dataclass(frozen=True)
class CarEnd:
    """A car from its end, on the two rails; in the proportions of H0 at `scale` units a mm.

    A car given no height is broken off above the floor, to show what hangs there larger.
    """

    middle: float
    rail: float
    scale: float
    height: float | None = None
    is_wagon: bool = False

    WIDTH_MM = 33.0
    GAUGE_MM = 16.5
    FLOOR_MM = 13.0
    FITTING_MM = 10.6

    @property
    def width(self) -> float:
        return self.WIDTH_MM * self.scale

    @property
    def floor(self) -> float:
        return self.rail - self.FLOOR_MM * self.scale

    @property
    def top(self) -> float:
        return self.floor - 42 if self.height is None else self.rail - self.height * self.scale

    @property
    def sides(self) -> tuple[float, float]:
        return self.middle - self.width / 2, self.middle + self.width / 2

    @property
    def buffers(self) -> tuple[Point, Point]:
        level, half = self.floor + 1.2 * self.scale, 10.5 * self.scale
        return (self.middle - half, level), (self.middle + half, level)

    def draw(self) -> SafeString:
        s = self.scale
        tyre = Tyre(2.9 * s, 0.9 * s, 0.9 * s)
        wheels = Wheelset((self.middle, self.rail - 4.8 * s), 14.3 * s, tyre, 4.8 * s, 22.6 * s)
        return group(
            track_end(self.middle, self.rail, self.GAUGE_MM * s, 2.6 * s),
            wheels.draw(),
            self._body() if self.height is not None else self._broken_body(),
            self._wagon_end() if self.is_wagon else self._coupler(),
            self._axle_boxes(),
        )

    def _axle_boxes(self) -> SafeString:
        """What holds the axle at its ends: a wagon's axle guards, or the frames of a bogie."""
        s, axle = self.scale, self.rail - 4.8 * self.scale
        top = self.floor + 3.4 * s if self.is_wagon else axle - 2.6 * s
        return group(
            group(
                box(x - 0.8 * s, top, 1.6 * s, axle + 1.4 * s - top, class_="d-body"),
                box(x - 1.3 * s, axle - 1.3 * s, 2.6 * s, 2.6 * s, class_="d-part"),
            )
            for x in (self.middle - 11.4 * s, self.middle + 11.4 * s)
        )

    def _body(self) -> SafeString:
        left, right = self.sides
        crown, eaves = self.top, self.top + 3.6 * self.scale
        rise, bow = 0.8 * self.scale, 7 * self.scale
        ridge = (self.middle, crown)
        roof = [
            (left, eaves),
            *_curve((left, eaves), (left + rise, crown), (left + bow, crown), ridge),
            *_curve(ridge, (right - bow, crown), (right - rise, crown), (right, eaves)),
        ]
        return group(
            box(left, eaves, self.width, self.floor - eaves, class_="d-body"),
            path(roof, closed=True, class_="d-body"),
            self._ladder(left + 3 * self.scale, eaves),
        )

    def _broken_body(self) -> SafeString:
        left, right = self.sides
        edge = wave((left, self.top), (right, self.top))
        return group(
            path([*edge, (right, self.floor), (left, self.floor)], closed=True, class_="d-shape"),
            path(edge, class_="d-detail"),
            path((edge[0], (left, self.floor), (right, self.floor), edge[-1]), class_="d-line"),
        )

    def _ladder(self, x: float, eaves: float) -> SafeString:
        s, foot = self.scale, self.floor
        rungs = int((foot - eaves) / (3 * s))
        return group(
            (
                line(
                    (x, eaves + 3 * s * rung), (x + 5 * s, eaves + 3 * s * rung), class_="d-detail"
                )
                for rung in range(1, rungs + 1)
            ),
            (line((x + dx, eaves), (x + dx, foot), class_="d-detail") for dx in (0, 5 * s)),
        )

    def _coupler(self) -> SafeString:
        s, y = self.scale, self.rail - self.FITTING_MM * self.scale
        x = self.middle
        return group(
            box(x - 3.4 * s, self.floor, 6.8 * s, 1.6 * s, class_="d-part d-detail"),
            box(x - 2.2 * s, y - 2.2 * s, 4.4 * s, 4.4 * s, class_="d-part"),
            line((x + 0.3 * s, y - 2.2 * s), (x + 0.3 * s, y + 2.2 * s), class_="d-detail"),
        )

    def _wagon_end(self) -> SafeString:
        s, left = self.scale, self.sides[0]
        hook_y = self.buffers[0][1]
        return group(
            box(left + s, self.floor - s, self.width - 2 * s, 4.4 * s, class_="d-part"),
            box(self.middle - s, hook_y - s, 2 * s, 2 * s, class_="d-body d-detail"),
            (
                group(circle(at, 3 * s, class_="d-part"), circle(at, 1.1 * s, class_="d-detail"))
                for at in self.buffers
            ),
        )


@dataclass(frozen=True)
class CarCorner:
    """The lower end of a car, near to, on its rail: the rest of the car is broken off."""

    left: float
    end: float
    rail: float
    is_wagon: bool = False

    @property
    def floor(self) -> float:
        return self.rail - 64

    @property
    def fitting(self) -> Point:
        """The face of the coupler or buffer, on its centre line."""
        return self.end + (44 if self.is_wagon else 46), self.rail - (59 if self.is_wagon else 50)

    @property
    def pin_foot(self) -> Point:
        """The lowest point of the coupler's trip pin."""
        return self.fitting[0] - 2, self.rail - 13

    def draw(self) -> SafeString:
        top, x, y = 12.0, *self.fitting
        edge = wave((self.left, top), (self.left, self.floor), 2.5)
        roofline = wave((self.left, top), (self.end, top), 2.5)
        body = [*reversed(edge), *roofline[1:], (self.end, self.floor)]
        wheel = (self.end - 66, self.rail - 25)
        return group(
            self._wagon_frame(wheel) if self.is_wagon else self._bogie_end(wheel),
            "" if self.is_wagon else self._trip_pin(),
            buffer((x, y), 18) if self.is_wagon else knuckle((x, y), 18),
            path(body, closed=True, class_="d-shape"),
            path((edge[-1], (self.end, self.floor), (self.end, top)), class_="d-line"),
            path(edge, class_="d-detail"),
            path(roofline, class_="d-detail"),
            line((self.left, self.floor - 9), (self.end, self.floor - 9), class_="d-detail"),
        )

    def _wagon_frame(self, wheel: Point) -> SafeString:
        sole = self.floor + 14
        guard = [(-15, sole - wheel[1]), (-8, 8), (8, 8), (15, sole - wheel[1])]
        return group(
            spoked(wheel, 25),
            path(placed(guard, wheel), closed=True, class_="d-body"),
            circle(wheel, 4, class_="d-part d-detail"),
            box(self.left, self.floor, self.end - self.left, 14, class_="d-part"),
        )

    def _bogie_end(self, wheel: Point) -> SafeString:
        x, y = wheel
        frame = [(self.left + 4, -20.0), (x - 22, -17.0), (x + 12, -15.0), (x + 18, -6.0)]
        frame += [(x + 12, 7.0), (x - 14, 7.0), (x - 30, 14.0), (self.left + 4, 16.0)]
        end = wave((self.left + 4, y + 16), (self.left + 4, y - 20), 1.5)
        outline = [(px, y + py) for px, py in frame]
        return group(
            circle(wheel, 25, class_="d-part"),
            path([*outline, *end[1:-1]], closed=True, class_="d-shape"),
            path(outline, class_="d-line"),
            path(end, class_="d-detail"),
            circle(wheel, 4, class_="d-part d-detail"),
            box(self.end - 34, self.floor, 34, 24, class_="d-part"),
        )

    def _trip_pin(self) -> SafeString:
        x, foot = self.pin_foot
        start = (x - 14, self.fitting[1] + 14)
        bend = _curve(start, (x - 14, foot - 2), (x - 10, foot), (x, foot))
        return path([start, *bend, (x + 7, foot - 4)], class_="d-heavy")


# --- The caliper -----------------------------------------------------------------------------

BEAM = 8.0


def caliper(
    first: float, second: float, *, tip: float, root: float, inside: bool, upright: bool = False
) -> SafeString:
    """A caliper whose measuring faces lie at `first` and `second`, its beam at `root`.

    The jaws reach from the beam to `tip`. Upright, the faces lie one above the other and the
    roles of x and y change.
    """

    def turned(points: Sequence[Point]) -> list[Point]:
        return [(y, x) for x, y in points] if upright else list(points)

    reach = tip - root
    away = math.copysign(1, -reach)
    outward = -1 if inside else 1
    slim, stout = (4, 8) if inside else (4, 12)

    def jaw(face: float, side: int) -> SafeString:
        back = side * outward
        blade = [(face, tip), (face, root), (face + back * stout, root)]
        blade += [(face + back * stout, root + 0.3 * reach), (face + back * slim, tip)]
        return path(turned(blade), closed=True, class_="d-jaw")

    beam = [(first - 22, root), (second + 34, root)]
    beam += [(second + 34, root + away * BEAM), (first - 22, root + away * BEAM)]
    return group(path(turned(beam), closed=True, class_="d-jaw"), jaw(first, -1), jaw(second, 1))


def jaw_ends(first: Point, second: Point) -> SafeString:
    """The ends of two jaws that come from the reader's side, on either side of a thing."""
    return group(
        box(first[0] - 6, first[1] - 9, 6, 18, class_="d-jaw"),
        box(second[0], second[1] - 9, 6, 18, class_="d-jaw"),
    )


def push(tip: Point, length: float = 22) -> SafeString:
    """An arrow straight down: a weight or a hand."""
    return group(
        line((tip[0], tip[1] - length), (tip[0], tip[1] - 4), class_="d-dim d-accent"),
        arrow_head(tip, (0, 1), class_="d-accent"),
    )


def tilted(angle: float, about: Point, *children: SafeString) -> SafeString:
    """Shapes turned by an angle in degrees, clockwise, about a point."""
    return element("g", *children, transform=f"rotate({angle:g} {about[0]:g} {about[1]:g})")
