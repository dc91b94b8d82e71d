"""The frog from above, to scale, with the wheelset's flanges in its flangeways."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.safestring import SafeString

from inventory.drawing.frog_sizes import (
    EDGE,
    FROG,
    ROOM,
    SIZE,
    WHEEL,
    WIDTH,
    Sizes,
    heading,
    spelled,
)
from inventory.drawing.svg import (
    Point,
    arrow_head,
    circle,
    figure,
    group,
    line,
    path,
    text,
    text_width,
)
from standards.turnouts import frog_angle

STEEPEST = 1.5
"""Frogs of a smaller number would leave the sheet and are drawn like this one."""


class Plan:
    """The frog from above, the points to the left; x along the straight track in mm.

    `backs` are the places of the wheels' backs from the stock rail's face; the wheelset stands
    where the point begins, or abreast of where its two edges would meet.
    """

    def __init__(
        self,
        sizes: Sizes,
        backs: tuple[float, float],
        top: float,
        *,
        is_on_point: bool,
        unit: str,
    ) -> None:
        self.sizes = s = sizes
        self.backs = backs
        self.is_on_point = is_on_point
        self.unit = unit
        self.angle = frog_angle(max(STEEPEST, s.number))
        self.slope = math.tan(self.angle)
        self.scale = 116 / s.gauge
        self.start, self.end = -1.2 * s.gauge, ROOM / self.scale - 1.2 * s.gauge
        self.origin = (EDGE - self.start * self.scale, top + 28 + 1.4 * s.head * self.scale)
        self.top = top

    def at(self, x: float, y: float) -> Point:
        return self.origin[0] + x * self.scale, self.origin[1] + y * self.scale

    def _band(self, points: Sequence[Point], width: float, class_: str) -> SafeString:
        """A rail seen from above: its edge line, and `width` further down."""
        edge = [self.at(*point) for point in points]
        other = [self.at(x, y + width) for x, y in reversed(points)]
        return path([*edge, *other], closed=True, class_=class_)

    def draw(self) -> tuple[SafeString, float]:
        s = self.sizes
        lost = s.dashed
        frog = f"d-body{lost(*FROG, 'frog_number')}"
        slant = s.head / math.cos(self.angle)
        lean = s.way / math.cos(self.angle)
        knee, far_knee = -s.way / self.slope, -lean / self.slope
        knee, far_knee = (max(self.start, x) for x in (knee, far_knee))
        reach = min(self.end - 0.25 * s.gauge, 0.75 * s.gauge)
        flare = 0.12 * s.gauge
        left_wing = [
            (self.start, s.gauge + self.start * self.slope - slant),
            (knee, s.gauge - s.way - s.head),
            (reach, s.gauge - s.way - s.head),
            (reach + flare, s.gauge - s.way - s.head - 0.35 * s.way),
        ]
        right_wing = [
            (self.start, s.gauge),
            (far_knee, s.gauge),
            (reach, s.gauge + reach * self.slope + lean),
            (reach + flare, s.gauge + (reach + flare) * self.slope + lean + 0.35 * s.way),
        ]
        guard_from, guard_to = max(self.start + 0.1 * s.gauge, -0.95 * s.gauge), 0.8 * s.gauge
        guard = [
            (guard_from, s.guard + 0.4 * s.guard),
            (guard_from + flare, s.guard),
            (guard_to - flare, s.guard),
            (guard_to, s.guard + 0.4 * s.guard),
        ]
        dashed_guard = f"d-body{lost('check_gauge')}"
        pieces = [
            heading(f"Plan, {self._frog_words()}", self.top),
            self._band(
                [(self.start, -s.head), (self.end, -s.head)],
                s.head,
                f"d-body{lost('track_gauge')}",
            ),
            self._band(guard, s.head, dashed_guard),
            self._band(left_wing, s.head, frog),
            self._band(right_wing, s.head, frog),
            self._point(frog),
            self._wheels(),
            *self._flangeways(guard_from + 2 * flare, reach),
        ]
        lowest = max(
            s.gauge + self.end * self.slope,
            right_wing[-1][1] + s.head,
            s.gauge + s.width,
        )
        return group(pieces), self.at(0, lowest)[1] + 4

    def _frog_words(self) -> str:
        if self.sizes.known["frog_number"] is None:
            return "frog number not measured"
        number = figure(self.sizes.number, 2).rstrip("0").rstrip(".")
        angle = figure(math.degrees(frog_angle(self.sizes.number)), 1)
        return f"No. {number} frog, {angle}° between tracks"

    def _point(self, style: str) -> SafeString:
        """The point: one piece of metal as far as its two rails touch."""
        s = self.sizes
        slant = s.head / math.cos(self.angle)
        nose, fork = s.nose / self.slope, (s.head + slant) / self.slope
        outline = [(nose, s.gauge), (self.end, s.gauge)]
        low = s.gauge + self.end * self.slope
        if fork < self.end:
            outline += [(self.end, s.gauge + s.head), (fork, s.gauge + s.head)]
            outline.append((self.end, low - slant))
        outline += [(self.end, low), (nose, s.gauge + s.nose)]
        return path([self.at(*point) for point in outline], closed=True, class_=style)

    def _wheels(self) -> SafeString:
        """At rail level: the flanges in their ways, what the treads stand on, and the axle."""
        s = self.sizes
        x = s.nose / self.slope if self.is_on_point else 0.0
        # The chord that the flange cuts out of the rail's level; the diameter is a usual one.
        half = math.sqrt(s.depth**2 + 0.6 * s.gauge * s.depth)
        dash = s.dashed(*WHEEL)
        # The axle, broken off in the middle, where words stand.
        foot = s.gauge + max(s.width, 3.4 * s.head)
        pieces = [
            line(self.at(x, -2.2 * s.head), self.at(x, s.guard + 3 * s.head), class_="d-centre"),
            line(
                self.at(x, s.gauge - s.way - 3 * s.head),
                self.at(x, foot),
                class_="d-centre",
            ),
        ]
        for back, side in zip(self.backs, (-1, 1), strict=True):
            front = back + side * s.thickness
            rim = [(x - half, back), (x - 0.55 * half, front), (x + 0.55 * half, front)]
            rim.append((x + half, back))
            pieces.append(path([self.at(*p) for p in rim], closed=True, class_=f"d-jaw{dash}"))
            face = back + side * s.width
            edges = [(x - 0.55 * half, front), (x - 0.55 * half, face)]
            edges += [(x + 0.55 * half, face), (x + 0.55 * half, front)]
            pieces.append(path([self.at(*p) for p in edges], class_=f"d-detail{dash}"))
        stands = [(-0.5 * s.head), s.gauge + (s.way + 0.5 * s.head + (x and s.nose))]
        for y in stands:
            pieces.append(circle(self.at(x, y), 2.6, class_="d-solid"))
        return group(pieces)

    def _flangeways(self, guard_at: float, frog_at: float) -> list[SafeString]:
        """Both flangeways dimensioned, their words in the free room between the rails."""
        s, known = self.sizes, self.sizes.known
        middle = self.at(0, (s.guard + s.gauge - s.way) / 2)[1]
        upper = self._flangeway(
            "guard flangeway", known["flangeway_guard"], guard_at, (0.0, s.guard), middle - 5, 1
        )
        wing = frog_at - 0.12 * s.gauge
        lower = self._flangeway(
            "flangeway F",
            known["flangeway"],
            wing,
            (s.gauge - s.way, s.gauge),
            middle + SIZE + 3,
            -1,
        )
        return [*upper, *lower]

    def _flangeway(
        self,
        name: str,
        value: float | None,
        x: float,
        edges: tuple[float, float],
        baseline: float,
        side: int,
    ) -> list[SafeString]:
        """Two arrows pointing inwards; the words stand at the end of one's tail, below the
        guard's (side 1) or above the frog's (-1)."""
        said = f"{name} {spelled(value, self.unit) if value else 'not measured'}"
        first, second = (self.at(x, edge) for edge in edges)
        tail = baseline - SIZE if side > 0 else baseline + 4
        ends = (first[1] - 14, tail) if side > 0 else (tail, second[1] + 14)
        words = text_width(said, SIZE)
        wish = first[0] - 8 if side > 0 else first[0] - words + 8
        left = min(max(EDGE, wish), WIDTH - EDGE - words)
        return [
            line((first[0], ends[0]), (first[0], first[1]), class_="d-dim d-accent"),
            line((first[0], second[1]), (first[0], ends[1]), class_="d-dim d-accent"),
            arrow_head(first, (0, 1), class_="d-accent"),
            arrow_head(second, (0, -1), class_="d-accent"),
            text(left, baseline, said, size=SIZE, class_="d-accent"),
        ]
