"""Where the jaws go on the track: a picture and a caption for each of its quantities.

Sections are seen along the track, with the guard rail on the left and the frog on the right, as
the letters G, C, S, F, H and P of NMRA S-3.2 have it.
"""

import math
from collections.abc import Sequence

from django.utils.safestring import SafeString

from inventory.drawing.guide import MIDDLE, Guide
from inventory.drawing.shapes import caliper, rail, wave
from inventory.drawing.svg import (
    Point,
    arrow_head,
    box,
    circle,
    dimension,
    group,
    hatch,
    line,
    path,
    text,
)

TOP, HEIGHT = 106.0, 34.0
TIE = TOP + HEIGHT
LEFT, RIGHT = 76.0, 264.0
WAY, HEAD = 15.0, 15.0


def _tie(top: float = TIE) -> SafeString:
    return box(24, top, 292, 11, class_="d-body")


def _rails(*, height: float = HEIGHT) -> SafeString:
    return group(
        _tie(), rail(LEFT, TIE - height, height, -1), rail(RIGHT, TIE - height, height, 1)
    )


def _frog(left: float, right: float, way: float, top: float, floor: float) -> SafeString:
    """Wing rail, flangeway and point, cut through, with the other wing beyond the point."""
    foot, nose, head = top + HEIGHT, 8.0, HEAD
    far = right + nose + way
    outline: list[Point] = [(left - head, top), (left, top), (left, top + floor)]
    outline += [(right, top + floor), (right, top), (right + nose, top)]
    outline += [(right + nose, top + floor), (far, top + floor), (far, top), (far + head, top)]
    outline += [(far + head, foot), (left - head, foot)]
    return path(outline, closed=True, class_="d-part")


def _turnout() -> SafeString:
    """Stock rail and guard rail on the left, wing rail and point on the right."""
    return group(
        _tie(),
        rail(LEFT, TOP, HEIGHT, -1),
        rail(LEFT + WAY, TOP, HEIGHT, 1),
        _frog(RIGHT - WAY, RIGHT, WAY, TOP, 15),
        text(LEFT + WAY + 26, TOP + 19, "guard rail", size=12, class_="d-soft"),
        text(RIGHT - WAY - HEAD - 8, TOP + 19, "frog", size=12, anchor="end", class_="d-soft"),
    )


def _track_gauge() -> SafeString:
    return group(
        _rails(),
        caliper(LEFT, RIGHT, tip=TOP + 7, root=28, inside=True),
        dimension((LEFT, 74), (RIGHT, 74), at=74, label="G"),
    )


def _check_gauge() -> SafeString:
    guard = LEFT + WAY
    return group(
        _turnout(),
        dimension((LEFT, TOP), (RIGHT, TOP), at=24, label="G", tone="d-ink"),
        dimension((guard, TOP), (RIGHT, TOP), at=60, label="C"),
        dimension((LEFT, TOP + 5), (guard, TOP + 5), at=88, tone="d-ink"),
    )


def _span() -> SafeString:
    guard, wing = LEFT + WAY, RIGHT - WAY
    return group(
        _turnout(),
        caliper(guard, wing, tip=TOP + 9, root=28, inside=False),
        dimension((guard, 74), (wing, 74), at=74, label="S"),
    )


# --- Near to -------------------------------------------------------------------------------------

_FACE, _FAR = 138.0, 198.0
_RAILTOP = 92.0


def _large_rail(face: float, side: int) -> SafeString:
    """The upper part of a rail near to, its web broken off."""
    outline = [(0.0, 0.0), (54.0, 0.0), (54.0, 26.0), (34.0, 34.0), (34.0, 56.0)]
    outline += [(20.0, 56.0), (20.0, 34.0), (0.0, 26.0)]
    shape = [(face + side * x, _RAILTOP + y) for x, y in outline]
    return _cut(shape)


def _cut(shape: Sequence[Point]) -> SafeString:
    return group(
        path(shape, closed=True, class_="d-shape"),
        hatch(shape),
        path(shape, closed=True, class_="d-line"),
    )


def _large_frog() -> SafeString:
    floor, foot = _RAILTOP + 40, _RAILTOP + 62
    shape: list[Point] = [(_FACE - 62, _RAILTOP), (_FACE, _RAILTOP), (_FACE, floor)]
    shape += [(_FAR, floor), (_FAR, _RAILTOP), (_FAR + 34, _RAILTOP), (_FAR + 34, foot)]
    return _cut([*shape, (_FACE - 62, foot)])


def _flangeway() -> SafeString:
    return group(
        _large_frog(),
        caliper(_FACE, _FAR, tip=_RAILTOP + 18, root=22, inside=True),
        dimension((_FACE, 66), (_FAR, 66), at=66, label="F"),
        text(_FACE - 66, _RAILTOP - 8, "wing rail", size=12, class_="d-soft"),
        text(_FAR + 10, _RAILTOP - 8, "point", size=12, class_="d-soft"),
    )


def _flangeway_guard() -> SafeString:
    return group(
        _large_rail(_FACE, -1),
        _large_rail(_FAR, 1),
        caliper(_FACE, _FAR, tip=_RAILTOP + 18, root=22, inside=True),
        dimension((_FACE, 66), (_FAR, 66), at=66),
        text(_FACE - 66, _RAILTOP - 8, "stock rail", size=12, class_="d-soft"),
        text(_FAR + 10, _RAILTOP - 8, "guard rail", size=12, class_="d-soft"),
    )


def _rod(x: float, left: float, right: float, on: float, down: float) -> SafeString:
    """The end of a caliper standing on something, its depth rod reaching down from it."""
    beam = [*wave((left, 14), (right, 14), 2), (right, on), (left, on)]
    return group(
        path(beam, closed=True, class_="d-jaw"),
        (line((x + dx, 14), (x + dx, on), class_="d-scale") for dx in (-3.5, 3.5)),
        box(x - 3.5, on, 7, down - on, class_="d-jaw"),
    )


def _flangeway_depth() -> SafeString:
    floor = _RAILTOP + 40
    return group(
        _large_frog(),
        _rod(168, _FACE - 26, _FAR + 22, _RAILTOP, floor),
        dimension((_FAR + 34, _RAILTOP), (_FAR - 4, floor), at=272, label="H", upright=True),
    )


def _rail_height() -> SafeString:
    shape = _whole_rail()
    return group(
        box(24, 146, 292, 8, class_="d-body"),
        _cut(shape),
        _rod(206, 122, 228, 68, 146),
        dimension((228, 68), (210, 146), at=258, upright=True),
    )


def _whole_rail() -> list[Point]:
    half = [(26.0, 0.0), (26.0, 22.0), (8.0, 30.0), (8.0, 58.0), (40.0, 70.0), (40.0, 78.0)]
    outline = [*half, *[(-x, y) for x, y in reversed(half)]]
    return [(148 + x, 68 + y) for x, y in outline]


def _fastening_height() -> SafeString:
    clip: list[Point] = [(168, 118), (206, 118), (206, 146), (190, 146), (190, 138), (168, 138)]
    return group(
        box(24, 146, 292, 8, class_="d-body"),
        _cut(_whole_rail()),
        path(clip, closed=True, class_="d-part"),
        dimension((206, 118), (210, 146), at=246, upright=True),
        text(256, 92, "spike or", size=12, class_="d-soft"),
        text(256, 107, "chair", size=12, class_="d-soft"),
        line((252, 100), (200, 116), class_="d-leader"),
    )


def _point_spread() -> SafeString:
    gap = 26.0
    blades = [(LEFT, LEFT + 9), (RIGHT - gap - 9, RIGHT - gap)]
    return group(
        _rails(),
        (box(start, TOP + 1, 9, 25, class_="d-body") for start, _ in blades),
        dimension((LEFT, TOP), (RIGHT, TOP), at=24, label="G", tone="d-ink"),
        dimension((LEFT, TOP), (RIGHT - gap, TOP), at=62, label="P"),
        text(LEFT + 15, TOP + 18, "blade", size=12, class_="d-soft"),
        text(RIGHT - gap - 15, TOP + 18, "blade", size=12, anchor="end", class_="d-soft"),
    )


# --- From above ----------------------------------------------------------------------------------

_CENTRE: Point = (MIDDLE, 402.0)
_RADIUS = 352.0
_SWEEP = math.radians(24)


def _arc(radius: float) -> list[Point]:
    turns = [_SWEEP * (step / 20 - 1) for step in range(41)]
    return [
        (_CENTRE[0] + radius * math.sin(turn), _CENTRE[1] - radius * math.cos(turn))
        for turn in turns
    ]


def _curved_track() -> SafeString:
    """Two curved rails on their ties, seen from above."""
    outer, inner = _RADIUS, _RADIUS - 62
    ties = []
    for step in range(-6, 7):
        turn = _SWEEP * step / 6.4
        sin, cos = math.sin(turn), math.cos(turn)
        ends = [(_CENTRE[0] + r * sin, _CENTRE[1] - r * cos) for r in (outer + 12, inner - 12)]
        ties.append(line(ends[0], ends[1], class_="d-leader"))
    bands = [
        path([*_arc(r + 4), *reversed(_arc(r))], closed=True, class_="d-part")
        for r in (outer, inner - 4)
    ]
    return group(ties, bands)


_HALF = 108.0


def _chord_ends() -> tuple[Point, Point, Point]:
    """Where a ruler touches the outer rail's inner face, and that face over its middle."""
    level = _CENTRE[1] - math.sqrt(_RADIUS**2 - _HALF**2)
    return (MIDDLE - _HALF, level), (MIDDLE + _HALF, level), (MIDDLE, _CENTRE[1] - _RADIUS)


def _ruler() -> SafeString:
    first, second, _ = _chord_ends()
    marks = [
        line((x, first[1]), (x, first[1] + 5), class_="d-scale")
        for x in range(int(first[0]) + 12, int(second[0]), 12)
    ]
    return group(
        box(first[0], first[1], second[0] - first[0], 12, class_="d-part"),
        box(first[0], first[1], second[0] - first[0], 12, class_="d-jaw"),
        marks,
    )


def _chord() -> SafeString:
    first, second, _ = _chord_ends()
    return group(
        _curved_track(),
        _ruler(),
        (circle(end, 3, class_="d-solid d-accent") for end in (first, second)),
        dimension(first, second, at=24),
    )


def _mid_ordinate() -> SafeString:
    first, _, top = _chord_ends()
    foot = (MIDDLE, first[1])
    return group(
        _curved_track(),
        _ruler(),
        line((MIDDLE, top[1] - 30), (MIDDLE, first[1] + 34), class_="d-dim d-accent"),
        arrow_head(top, (0, 1), class_="d-accent"),
        arrow_head(foot, (0, -1), class_="d-accent"),
        text(MIDDLE + 8, top[1] - 20, "middle of the ruler", size=12, class_="d-accent"),
    )


TRACK_GUIDES: dict[str, Guide] = {
    "track_gauge": Guide(
        "track gauge", "inside jaws between the heads of the rails", _track_gauge
    ),
    "check_gauge": Guide("check gauge", "track gauge G less the guard's flangeway", _check_gauge),
    "span": Guide("span", "outside jaws over guard rail and wing rail", _span),
    "flangeway": Guide(
        "flangeway at the frog", "inside jaws between wing rail and point", _flangeway
    ),
    "flangeway_guard": Guide(
        "flangeway at the guard rail",
        "inside jaws between the two rails",
        _flangeway_guard,
    ),
    "flangeway_depth": Guide(
        "flangeway depth", "beam on the rails, rod down to the floor", _flangeway_depth
    ),
    "point_spread": Guide("point spread", "over both blades, at their outer faces", _point_spread),
    "rail_height": Guide("rail height", "beam on the rail, rod down to the tie", _rail_height),
    "fastening_height": Guide(
        "fastening height", "tie to the top of the highest spike or chair", _fastening_height
    ),
    "chord": Guide("chord", "where the ruler's ends touch the outer rail", _chord),
    "mid_ordinate": Guide(
        "mid-ordinate", "from the ruler's edge to the outer rail", _mid_ordinate
    ),
}
