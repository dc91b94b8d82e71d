"""A vehicle on a curve: in plan to scale, and drawn out straight so that its throws can be seen.

Throws are exact and come from standards.curves.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from django.utils.safestring import SafeString

from inventory.drawing.frog_sizes import heading
from inventory.drawing.profile import positive
from inventory.drawing.svg import (
    Point,
    arrow_head,
    circle,
    element,
    figure,
    group,
    line,
    path,
    sheet,
    text,
    wrapped,
)
from standards.curves import (
    Body,
    ImpossibleGeometry,
    body_offset,
    inner_side,
    inner_throw,
    outer_corner,
    outer_throw,
)

WIDTH = 340.0
EDGE = 6.0
SIZE = 12.0
ROOM = WIDTH - 2 * EDGE
MM_PER_INCH = 25.4
HIGHEST = 230.0
LONGEST_TURN = math.radians(200)


def vehicle_on_curve(
    *,
    radius: float | None,
    gauge: float | None,
    vehicle: Body,
    neighbour: Body | None = None,
    second: Body | None = None,
    centres: float | None = None,
    unit: str = "mm",
    is_s_curve: bool = False,
) -> SafeString:
    """A vehicle on a curve of `radius` on `gauge`, all in mm and written in `unit`, mm or in.

    `neighbour` is coupled to its right-hand end: how far the middles of the two ends miss each
    other is dimensioned. `second` stands on a concentric track outside it, `centres` away, its
    middle abreast of the vehicle's other end, where the two come closest. On an S-curve the track
    bends the other way, as sharply, between the vehicle and its neighbour; there is no second
    track then. Nothing is drawn for a radius or gauge that is missing or for vehicles too long
    for the radius.
    """
    radius, gauge, centres = positive(radius), positive(gauge), positive(centres)
    is_s_curve = is_s_curve and neighbour is not None
    if is_s_curve:
        second = None
    if radius is None or gauge is None:
        return SafeString("")
    try:
        curve = Curve(
            radius,
            gauge,
            Car(vehicle, radius, 0.0),
            neighbour,
            Car(second, radius + centres, 0.0) if second and centres else None,
            centres or 0.0,
            "in" if unit == "in" else "mm",
            is_s_curve,
        )
        if curve.turn > LONGEST_TURN:
            return SafeString("")
        return curve.draw()
    except ImpossibleGeometry:
        return SafeString("")


@dataclass(frozen=True)
class Car:
    """A body on its own track; `turn` is where its middle stands, in radians along the curve.

    A mirrored one stands on a curve that bends the other way: its outside is our inside.
    """

    body: Body
    radius: float
    turn: float
    is_mirrored: bool = False

    @cached_property
    def offset(self) -> float:
        return body_offset(self.radius, self.body)

    @property
    def half_turn(self) -> float:
        """The angle from its middle to the middle of an end."""
        return math.atan2(self.body.length / 2, self.offset)

    @property
    def corner_turn(self) -> float:
        """The angle from its middle to an outer corner."""
        return math.atan2(self.body.length / 2, self.offset + self.half_width)

    @property
    def half_width(self) -> float:
        """Half the width, for a body of unknown width that of a line that can be seen."""
        return self.body.width / 2

    def polar(self, along: float, across: float) -> tuple[float, float]:
        """Distance from the curve's centre and the angle of a place on the body, which is given
        from its middle, outwards positive."""
        outward = self.offset + across
        distance = math.hypot(outward, along)
        if self.is_mirrored:
            distance = 2 * self.radius - distance
        return distance, self.turn + math.atan2(along, outward)

    def outline(self, steps: int = 24) -> list[tuple[float, float]]:
        """The body's edge in polar places, its long sides in steps, since they may be bent."""
        half, w = self.body.length / 2, self.half_width
        places = [-half + 2 * half * step / steps for step in range(steps + 1)]
        upper = [self.polar(along, w) for along in places]
        return upper + [self.polar(along, -w) for along in reversed(places)]

    def pivots(self) -> list[tuple[float, float]]:
        half = self.body.pivot_distance / 2
        return [self.polar(-half, 0.0), self.polar(half, 0.0)]


@dataclass(frozen=True)
class Curve:
    radius: float
    gauge: float
    car: Car
    neighbour_body: Body | None
    second_at_zero: Car | None
    centres: float
    unit: str
    is_s_curve: bool = False

    # --- Where everything stands ------------------------------------------------------------

    @cached_property
    def neighbour(self) -> Car | None:
        if self.neighbour_body is None:
            return None
        other = Car(self.neighbour_body, self.radius, 0.0)
        turn = self.car.half_turn + self._between + other.half_turn
        return Car(other.body, self.radius, turn, self.is_s_curve)

    @property
    def _between(self) -> float:
        """The angle between two coupled ends."""
        assert self.neighbour_body is not None
        return 0.05 * (self.car.body.length + self.neighbour_body.length) / self.radius

    @property
    def reversal(self) -> float:
        """The angle at which an S-curve bends the other way; beyond every car without one."""
        return self.car.half_turn + self._between / 2 if self.is_s_curve else math.inf

    @cached_property
    def second(self) -> Car | None:
        at_zero = self.second_at_zero
        return at_zero and Car(at_zero.body, at_zero.radius, -self.car.corner_turn)

    @property
    def cars(self) -> list[Car]:
        return [car for car in (self.car, self.neighbour, self.second) if car is not None]

    @cached_property
    def ends(self) -> tuple[float, float]:
        """The angles from which and to which the track is drawn."""
        first = min(car.turn - car.half_turn for car in self.cars)
        last = max(car.turn + car.half_turn for car in self.cars)
        beyond = 0.06 * (last - first)
        return first - beyond, last + beyond

    @property
    def turn(self) -> float:
        return self.ends[1] - self.ends[0]

    @property
    def tracks(self) -> list[float]:
        return [self.radius] + ([self.second.radius] if self.second else [])

    # --- Figures ------------------------------------------------------------------------------

    @property
    def throw_in(self) -> float:
        return inner_throw(self.radius, self.car.body)

    @property
    def throw_out(self) -> float:
        """How much farther out the corner reaches than the side does on straight track."""
        return outer_corner(self.radius, self.car.body) - self.car.half_width

    @property
    def coupler_offset(self) -> float | None:
        if self.neighbour is None:
            return None
        own, other = (outer_throw(self.radius, c.body) for c in (self.car, self.neighbour))
        return abs(own + other) if self.is_s_curve else abs(own - other)

    @property
    def gap(self) -> float | None:
        """Between the outer corner of the vehicle and the inner side of the second's."""
        if self.second is None:
            return None
        reach = outer_corner(self.radius, self.car.body)
        return self.centres - reach - inner_side(self.second.radius, self.second.body)

    def say(self, mm: float) -> str:
        shown = figure(mm / MM_PER_INCH, 3) if self.unit == "in" else figure(mm, 2)
        return f"{shown} {self.unit}"

    def size(self, mm: float) -> str:
        """A size that went in, without needless zeros."""
        places = 3 if self.unit == "in" else 1
        shown = figure(mm / MM_PER_INCH if self.unit == "in" else mm, places)
        return f"{shown.rstrip('0').rstrip('.')} {self.unit}"

    def legend(self) -> list[tuple[str, str, str]]:
        """Each letter of the drawing, its words and its tone."""
        out = self.say(self.throw_out)
        rows = [
            ("a", f"{self.say(self.throw_in)} inwards at the middle", "d-ink"),
            (
                "b",
                f"{out} outwards at the corner"
                + (", which stays inside" if self.throw_out < 0 else ""),
                "d-ink",
            ),
        ]
        if self.coupler_offset is not None:
            rows.append(
                ("c", f"{self.say(self.coupler_offset)} between the middles of the ends", "d-ink")
            )
        if self.gap is not None:
            words = f"{self.say(self.gap)} between the two vehicles"
            if self.gap < 0:
                words = f"{self.say(self.gap)}: the two vehicles strike each other"
            rows.append(("d", words, "d-no" if self.gap < 0 else "d-ink"))
        return rows

    def title(self) -> str:
        told = "; ".join(words for _, words, _ in self.legend())
        where = "an S-curve" if self.is_s_curve else "a curve"
        return f"Vehicle on {where} of {self.size(self.radius)} radius, to scale: {told}."

    def description(self) -> str:
        said = [
            f"Track gauge {self.size(self.gauge)}.",
            f"The vehicle is {self._body_in_words(self.car.body)}.",
        ]
        if self.neighbour is not None:
            said.append(f"Its neighbour is {self._body_in_words(self.neighbour.body)}.")
        if self.second is not None:
            said.append(
                f"On a second track outside, {self.size(self.centres)} between centres, stands one"
                f" {self._body_in_words(self.second.body)}."
            )
        said.append("Throws are counted from where the sides stand on straight track.")
        return " ".join(said)

    def _body_in_words(self, body: Body) -> str:
        words = f"{self.size(body.length)} long"
        words += f" and {self.size(body.width)} wide" if body.width else ""
        words += f", its pivots {self.size(body.pivot_distance)} apart"
        if body.bogie_wheelbase:
            words += f", its bogies of {self.size(body.bogie_wheelbase)} wheelbase"
        return words

    # --- The drawing --------------------------------------------------------------------------

    def draw(self) -> SafeString:
        plan, foot = self._plan()
        straight, foot = self._straightened(foot + 12)
        pieces = [plan, straight]
        for letter, words, tone in self.legend():
            rows = wrapped(words, ROOM - 18, SIZE)
            pieces.append(text(EDGE, foot + 12, letter, size=13, class_="d-label d-accent"))
            for row in rows:
                foot += 16
                pieces.append(text(EDGE + 18, foot - 4, row, size=SIZE, class_=tone))
        return sheet(
            WIDTH,
            foot + 6,
            element("desc", self.description()),
            pieces,
            title=self.title(),
            class_="d-curve",
        )

    def _arc(self, radius: float) -> list[tuple[float, float]]:
        first, last = self.ends
        return [(radius, first + (last - first) * step / 48) for step in range(49)]

    # --- In plan ------------------------------------------------------------------------------

    def _plan(self) -> tuple[SafeString, float]:
        middle = (self.ends[0] + self.ends[1]) / 2

        def flat(place: tuple[float, float]) -> Point:
            distance, angle = place
            return distance * math.sin(angle - middle), -distance * math.cos(angle - middle)

        def turned(place: tuple[float, float]) -> Point:
            """Beyond the reversal: half a turn about the place where both curves meet."""
            distance, angle = place
            x, y = flat((2 * self.radius - distance, 2 * self.reversal - angle))
            about = flat((self.radius, self.reversal))
            return 2 * about[0] - x, 2 * about[1] - y

        def laid(edge: Iterable[tuple[float, float]]) -> list[Point]:
            return [turned(p) if p[1] > self.reversal else flat(p) for p in edge]

        rails = [
            laid(self._arc(radius + side * self.gauge / 2))
            for radius in self.tracks
            for side in (-1, 1)
        ]
        lines = [laid(self._arc(radius)) for radius in self.tracks]
        bodies = [
            list(map(turned if car.is_mirrored else flat, car.outline())) for car in self.cars
        ]
        everything = [point for edge in [*rails, *bodies] for point in edge]
        left, right, highest, lowest = bounds(everything)
        scale = min(ROOM / (right - left), HIGHEST / (lowest - highest))
        shift = EDGE + (ROOM - (right - left) * scale) / 2 - left * scale
        top = 24.0 - highest * scale

        def on_sheet(point: Point) -> Point:
            return shift + point[0] * scale, top + point[1] * scale

        where = f"In plan, radius {self.size(self.radius)}"
        pieces = [
            heading(f"{where}, both ways" if self.is_s_curve else where, 0),
            (path(map(on_sheet, edge), class_="d-detail") for edge in rails),
            (path(map(on_sheet, edge), class_="d-centre") for edge in lines),
        ]
        for car, outline in zip(self.cars, bodies, strict=True):
            style = "d-body" if car is self.car else "d-part"
            pieces.append(path(map(on_sheet, outline), closed=True, class_=style))
            lie = turned if car.is_mirrored else flat
            pieces.append(self._bogies(car, lambda place, lie=lie: on_sheet(lie(place))))
        return group(pieces), 24 + (lowest - highest) * scale

    def _body(
        self, car: Car, at: Callable[[tuple[float, float]], Point], style: str
    ) -> SafeString:
        return path(map(at, car.outline()), closed=True, class_=style)

    def _bogies(self, car: Car, at: Callable[[tuple[float, float]], Point]) -> SafeString:
        """The wheelbase of each bogie on the rails, and its pivot; axles where there is none."""
        pieces = []
        for distance, angle in car.pivots():
            half = car.body.bogie_wheelbase / 2
            reach = self.gauge / 2
            axles = [angle - half / car.radius, angle + half / car.radius] if half else [angle]
            for axle in axles:
                ends = ((car.radius - reach, axle), (car.radius + reach, axle))
                pieces.append(line(at(ends[0]), at(ends[1]), class_="d-detail"))
            if half:
                bar = ((car.radius, axles[0]), (car.radius, axles[1]))
                pieces.append(line(at(bar[0]), at(bar[1]), class_="d-detail"))
            pieces.append(circle(at((distance, angle)), 2.2, class_="d-part d-detail"))
        return group(pieces)

    # --- Drawn out straight -------------------------------------------------------------------

    def _straightened(self, top: float) -> tuple[SafeString, float]:
        first, last = self.ends
        outlines = [car.outline() for car in self.cars]
        rails = [r + side * self.gauge / 2 for r in self.tracks for side in (-1, 1)]
        out = max([r for edge in outlines for r, _ in edge] + rails) - self.radius
        inside = min([r for edge in outlines for r, _ in edge] + rails) - self.radius
        along = ROOM / (self.radius * (last - first))
        across = (210 if self.second else 130) / (out - inside)
        times = figure(across / along, 1).removesuffix(".0")
        words = f"Drawn out straight, sideways {times} times as large; dashed: on straight track"
        rows = wrapped(words, ROOM, SIZE)
        upper = top + 16 * len(rows) + 30

        def at(place: tuple[float, float]) -> Point:
            distance, angle = place
            return (
                EDGE + (angle - first) * self.radius * along,
                upper + (out - (distance - self.radius)) * across,
            )

        foot = at((self.radius + inside, first))[1]
        pieces: list[SafeString | Iterable[SafeString]] = [
            text(EDGE, top + 12 + 16 * row, words, size=SIZE, class_="d-soft")
            for row, words in enumerate(rows)
        ]
        pieces += [line(at((r, first)), at((r, last)), class_="d-detail") for r in rails]
        pieces += [
            self._body(car, at, "d-body" if car is self.car else "d-part") for car in self.cars
        ]
        pieces += [line(at((r, first)), at((r, last)), class_="d-centre") for r in self.tracks]
        sides = self._as_on_straight_track(at)
        pieces += [line(*side, class_="d-dim d-dash") for side in sides]
        pieces += [
            circle(at(pivot), 2.6, class_="d-part d-detail")
            for car in self.cars
            for pivot in car.pivots()
        ]
        pieces.append(self._letters(at, Letters(foot + 20, sides), foot))
        return group(pieces), foot + 24

    def _as_on_straight_track(
        self, at: Callable[[tuple[float, float]], Point]
    ) -> list[tuple[Point, Point]]:
        """Where both sides of the vehicle would be, had the track no curve."""
        car = self.car
        first, last = car.turn - car.half_turn, car.turn + car.half_turn
        return [
            (at((self.radius + w, first)), at((self.radius + w, last)))
            for w in (-car.half_width, car.half_width)
        ]

    def _letters(
        self, at: Callable[[tuple[float, float]], Point], letters: Letters, foot: float
    ) -> SafeString:
        """The dimensions, each with its letter where no other stands and no line runs."""
        car, half = self.car, self.car.half_width
        middle = at((self.radius - half, car.turn))[0]
        inner = at((self.radius - inner_side(self.radius, car.body), 0))[1]
        side = at((self.radius - half, 0))[1]
        pieces = [letters.dimension(middle, side, inner, "a", below=False)]
        turn = car.corner_turn if self.second else -car.corner_turn
        corner = at(car.polar(math.copysign(car.body.length / 2, turn), half))
        outer_side = at((self.radius + half, 0))[1]
        inward = -1 if self.second else 1
        beyond = (corner[0] + 22 * inward, corner[1])
        pieces.append(line(corner, beyond, class_="d-extension d-accent"))
        x = corner[0] + 16 * inward
        pieces.append(letters.dimension(x, corner[1], outer_side, "b", below=True, side=inward))
        if self.second is not None:
            place = at(car.polar(-car.body.length / 2, half))
            reach = self.second.radius - inner_side(self.second.radius, self.second.body)
            x = place[0] + 10
            pieces.append(line(place, (x + 6, place[1]), class_="d-extension d-accent"))
            pieces.append(letters.dimension(x, at((reach, 0))[1], place[1], "d", below=True))
        if self.neighbour is not None:
            pieces.append(self._coupling(at, foot, letters))
        return group(pieces)

    def _coupling(
        self, at: Callable[[tuple[float, float]], Point], foot: float, letters: Letters
    ) -> SafeString:
        """The middles of the two ends and how far one lies outside the other."""
        assert self.neighbour is not None
        own = at(self.car.polar(self.car.body.length / 2, 0.0))
        other = at(self.neighbour.polar(-self.neighbour.body.length / 2, 0.0))
        x = (own[0] + other[0]) / 2
        return group(
            line(own, (x + 3, own[1]), class_="d-extension d-accent"),
            line(other, (x - 3, other[1]), class_="d-extension d-accent"),
            circle(own, 2.2, class_="d-solid d-accent"),
            circle(other, 2.2, class_="d-solid d-accent"),
            letters.dimension(x, own[1], other[1], "c", below=True, tail_to=foot + 2),
        )


class Letters:
    """Upright dimensions known by letters, none of which stands on another or on a level line."""

    def __init__(self, lowest: float, lines: Sequence[tuple[Point, Point]]) -> None:
        self.lowest = lowest
        self.lines = lines
        self.placed: list[Point] = []

    def dimension(
        self,
        x: float,
        first: float,
        second: float,
        letter: str,
        *,
        below: bool,
        side: int = 1,
        tail_to: float | None = None,
    ) -> SafeString:
        """Heads that find no room between their points stand outside and point inwards.

        The letter stands at the upper or lower end of the tail, or beside a long dimension; where
        that place is taken, at the next that is free.
        """
        upper, lower = sorted((first, second))
        is_narrow = lower - upper < 22
        tail = 15.0 if is_narrow else 0.0
        inward = 1 if is_narrow else -1
        top, foot = upper - tail, lower + tail
        if tail_to is not None:
            foot = max(foot, tail_to)
        wishes = [(x, foot + 11.5), (x, top - 3.5)]
        if not below:
            wishes.reverse()
        if not is_narrow and tail_to is None:
            wishes.insert(0, (x + 10 * side, (upper + lower) / 2 + 4.5))
        middle = (top + foot) / 2
        wishes += [(x + sign * 10 * step, middle) for step in range(1, 9) for sign in (1, -1)]
        place = next(filter(self._is_free, wishes), wishes[0])
        self.placed.append(place)
        return group(
            line((x, top), (x, foot), class_="d-dim d-accent"),
            arrow_head((x, upper), (0, inward), class_="d-accent"),
            arrow_head((x, lower), (0, -inward), class_="d-accent"),
            text(*place, letter, size=13, anchor="middle", class_="d-label d-accent"),
        )

    def _is_free(self, place: Point) -> bool:
        x, y = place
        return (
            x - 5 >= EDGE
            and x + 5 <= WIDTH - EDGE
            and y <= self.lowest
            and not any(
                start[0] - 6 < x < end[0] + 6 and y - 11 < start[1] < y + 2
                for start, end in self.lines
            )
            and all(abs(x - x2) > 10 or abs(y - y2) > 16 for x2, y2 in self.placed)
        )


def bounds(points: Sequence[Point]) -> tuple[float, float, float, float]:
    """Left, right, upper and lower edge of some points; never of no width or height."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), max(max(xs), min(xs) + 1e-9), min(ys), max(max(ys), min(ys) + 1e-9)
