"""Where the jaws go: a picture and a caption for each quantity.

Those of vehicles are here, those of the track in `track_jaws`.
"""

import math

from django.utils.safestring import SafeString

from inventory.drawing.guide import CAPTION_LINE, HEIGHT, MIDDLE, WIDTH, Guide
from inventory.drawing.shapes import (
    Bogie,
    CarCorner,
    CarEnd,
    CarSide,
    Tyre,
    Wheelset,
    caliper,
    jaw_ends,
    push,
    tilted,
    track_side,
    wave,
    wheel_section,
)
from inventory.drawing.svg import box, circle, dimension, group, line, path, sheet, text
from inventory.drawing.track_jaws import TRACK_GUIDES

RAIL = 124.0


def jaws_picture(quantity: str) -> SafeString:
    """The picture for a quantity's code; nothing for a quantity that has none."""
    guide = _guide(quantity)
    if guide is None:
        return SafeString("")
    return sheet(
        WIDTH,
        HEIGHT,
        guide.draw(),
        text(MIDDLE, CAPTION_LINE, guide.caption, size=12.5, anchor="middle", class_="d-caption"),
        title=f"Where to measure the {guide.name}: {guide.caption}.",
        class_="d-jaws",
    )


def caption(quantity: str) -> str:
    """The words under the picture; empty for a quantity that has none."""
    guide = _guide(quantity)
    return guide.caption if guide else ""


def _guide(quantity: str) -> Guide | None:
    return GUIDES.get(quantity) or TRACK_GUIDES.get(quantity)


# --- The wheelset ----------------------------------------------------------------------------


def _wheelset(y: float) -> Wheelset:
    """Proportions of H0, with a flange a little deeper than life so that it can be seen."""
    return Wheelset((MIDDLE, y), 150, Tyre(34, 10, 9), 42, 258)


def _back_to_back() -> SafeString:
    axle = _wheelset(56)
    left, right = axle.backs
    return group(
        axle.draw(),
        caliper(left, right, tip=70, root=134, inside=True),
        dimension((left, 98), (right, 98), at=98, label="B"),
    )


def _wheel_diameter() -> SafeString:
    axle = _wheelset(78)
    top, foot = 78 - axle.radius, axle.tread
    across = axle.points[1] + 5
    return group(
        axle.draw(),
        caliper(
            top,
            foot,
            tip=axle.backs[1] + axle.tyre.tread + 4,
            root=322,
            inside=False,
            upright=True,
        ),
        dimension((across, top), (across, foot), at=across, upright=True),
    )


def _axle_length() -> SafeString:
    axle = _wheelset(88)
    left, right = axle.points
    return group(
        axle.draw(),
        caliper(left, right, tip=96, root=20, inside=False),
        dimension((left, 96), (right, 96), at=151),
    )


# --- The wheel in section, its flange upwards as it is held at the bench -----------------------

_TYRE = Tyre(168, 52, 50, 20)
_BACK, _TREAD = 78.0, 92.0
_FACE = _BACK + _TYRE.width


def _section() -> SafeString:
    return wheel_section(_TYRE, (_BACK, _TREAD), 1, 54, flipped=True)


def _tyre_width() -> SafeString:
    return group(
        _section(),
        caliper(_BACK, _FACE, tip=128, root=18, inside=False),
        dimension((_BACK, 118), (_FACE, 118), at=118, label="N"),
    )


def _flange_depth() -> SafeString:
    tip = _TREAD - _TYRE.depth
    rod = _BACK + _TYRE.tread + 16
    left, right = _BACK + 4, rod + 18
    beam = [*wave((left, 8), (right, 8), 2), (right, tip), (left, tip)]
    return group(
        _section(),
        path(beam, closed=True, class_="d-jaw"),
        (line((x, 8), (x, tip), class_="d-scale") for x in (rod, rod + 7)),
        box(rod, tip, 7, _TREAD - tip, class_="d-jaw"),
        dimension((right, tip), (_FACE - 30, _TREAD), at=280, label="D", upright=True),
    )


def _flange_thickness() -> SafeString:
    plane = _TREAD - _TYRE.plane
    front = _BACK + _TYRE.thickness
    return group(
        _section(),
        line((_BACK - 20, plane), (284, plane), class_="d-centre"),
        dimension(
            (276, plane), (_FACE - 30, _TREAD), at=276, label="P", upright=True, tone="d-ink"
        ),
        caliper(_BACK, front, tip=plane, root=18, inside=False),
        dimension((_BACK, plane), (front, plane), at=plane, label="T", side=-1),
    )


# --- The car -----------------------------------------------------------------------------------


def _from_the_rail(corner: CarCorner, level: float, start: float) -> SafeString:
    """A height over the rail, whose top line runs on under the dimension."""
    return group(
        track_side(8, 236, RAIL),
        corner.draw(),
        line((236, RAIL), (266, RAIL), class_="d-extension d-accent"),
        dimension((258, RAIL), (start, level), at=258, upright=True),
        text(271, RAIL + 4, "rail top", class_="d-soft"),
    )


def _fitting_height(*, is_wagon: bool) -> SafeString:
    corner = CarCorner(14, 166, RAIL, is_wagon=is_wagon)
    x, y = corner.fitting
    return group(
        _from_the_rail(corner, y, x + 6), line((x - 54, y), (x + 14, y), class_="d-centre")
    )


def _trip_pin_clearance() -> SafeString:
    corner = CarCorner(14, 166, RAIL)
    x, foot = corner.pin_foot
    return _from_the_rail(corner, foot, x + 3)


def _side(*, is_wagon: bool = False) -> CarSide:
    return CarSide(52, 288, 110, 24, is_wagon)


def _length(car: CarSide, first: float, second: float, level: float) -> SafeString:
    return group(
        track_side(8, 332, car.rail),
        car.draw(),
        jaw_ends((first, level), (second, level)),
        dimension((first, level + 9), (second, level + 9), at=146),
    )


def _over_ends(*, is_wagon: bool) -> SafeString:
    car = _side(is_wagon=is_wagon)
    return _length(car, *car.faces, car.fitting_line)


def _body_length() -> SafeString:
    car = _side()
    return _length(car, car.left, car.right, 62)


def _pivot_distance() -> SafeString:
    car = _side()
    pivots = [bogie.pivot for bogie in car.bogies]
    first, second = ((x, 136.0) for x in pivots)
    return group(
        track_side(8, 332, car.rail),
        car.draw(),
        (line((x, 66), (x, 136), class_="d-centre d-accent") for x in pivots),
        dimension(first, second, at=146),
    )


def _rigid_wheelbase() -> SafeString:
    car = _side(is_wagon=True)
    return group(track_side(8, 332, car.rail), car.draw(), dimension(*car.axles, at=146))


def _bogie_wheelbase() -> SafeString:
    bogie = Bogie(MIDDLE, 112, 116, 33)
    edge = wave((48, 20), (292, 20), 2.5)
    return group(
        track_side(8, 332, bogie.rail),
        path([*edge, (292, 38), (48, 38)], closed=True, class_="d-shape"),
        path(edge, class_="d-detail"),
        line((48, 38), (292, 38), class_="d-line"),
        box(MIDDLE - 15, 38, 30, 7, class_="d-part"),
        bogie.draw(),
        dimension(*bogie.axles, at=148),
    )


def _buffer_spacing() -> SafeString:
    car = CarEnd(MIDDLE, 134, 4.6, is_wagon=True)
    first, second = car.buffers
    return group(
        car.draw(),
        (line((x, y - 18), (x, y + 20), class_="d-centre") for x, y in car.buffers),
        dimension(first, second, at=first[1] - 34),
    )


def _body_width() -> SafeString:
    car = CarEnd(MIDDLE, 142, 2.9, 37)
    left, right = car.sides
    return group(
        car.draw(),
        caliper(left, right, tip=88, root=18, inside=False),
        dimension((left, 78), (right, 78), at=78),
    )


def _height() -> SafeString:
    car = CarEnd(140, 140, 2.9, 45)
    return group(
        car.draw(),
        line((178, 140), (262, 140), class_="d-extension d-accent"),
        dimension((140, car.top), (254, 140), at=254, upright=True),
        text(267, 144, "rail top", class_="d-soft"),
    )


# --- Mass and rolling ----------------------------------------------------------------------------


def _mass() -> SafeString:
    car = CarSide(70, 270, 110, 34)
    pan = [(34.0, 110.0), (306.0, 110.0), (306.0, 116.0), (34.0, 116.0)]
    base = [(80.0, 122.0), (260.0, 122.0), (276.0, 150.0), (64.0, 150.0)]
    return group(
        push((MIDDLE, 32), 24),
        car.draw(),
        path(pan, closed=True, class_="d-part"),
        box(MIDDLE - 60, 116, 12, 6, class_="d-part d-detail"),
        box(MIDDLE + 48, 116, 12, 6, class_="d-part d-detail"),
        path(base, closed=True, class_="d-body"),
        box(MIDDLE - 34, 127, 68, 18, class_="d-part d-accent"),
        text(MIDDLE + 26, 140.5, "g", anchor="end", class_="d-label d-accent"),
        circle((MIDDLE - 52, 136), 4, class_="d-part d-detail"),
    )


def _start_rolling_grade() -> SafeString:
    hinge, run, rise = (34.0, 120.0), 238.0, 34.0
    slope = math.degrees(math.atan2(rise, run))
    car = CarSide(78, 214, hinge[1] - 4, 54)
    board = box(hinge[0], hinge[1] - 4, math.hypot(run, rise), 4, class_="d-part")
    end = hinge[0] + run, hinge[1] - rise
    return group(
        line((14, hinge[1]), (326, hinge[1]), class_="d-detail"),
        tilted(-slope, hinge, board, car.draw()),
        dimension((end[0], hinge[1]), end, at=290, label="rise", upright=True),
        dimension(hinge, (end[0], hinge[1]), at=146, label="run"),
    )


GUIDES: dict[str, Guide] = {
    "back_to_back": Guide("back-to-back", "inside jaws between the wheel backs", _back_to_back),
    "tyre_width": Guide("tyre width", "outside jaws over the full width of a wheel", _tyre_width),
    "flange_depth": Guide(
        "flange depth", "beam on the flange tip, rod down to the tread", _flange_depth
    ),
    "flange_thickness": Guide(
        "flange thickness",
        "jaw tips on the flange, level with P",
        _flange_thickness,
    ),
    "wheel_diameter": Guide(
        "wheel diameter",
        "outside jaws on the tread, not on the flange",
        _wheel_diameter,
    ),
    "axle_length": Guide("axle length", "outside jaws over the points of the axle", _axle_length),
    "coupler_height": Guide(
        "coupler height",
        "rail top to the coupler's centre line",
        lambda: _fitting_height(is_wagon=False),
    ),
    "trip_pin_clearance": Guide(
        "trip-pin clearance",
        "rail top to the lowest point of the pin",
        _trip_pin_clearance,
    ),
    "buffer_height": Guide(
        "buffer height",
        "rail top to the buffer's centre line",
        lambda: _fitting_height(is_wagon=True),
    ),
    "buffer_spacing": Guide("buffer spacing", "buffer centre to buffer centre", _buffer_spacing),
    "length_over_couplers": Guide(
        "length over couplers",
        "coupler face to coupler face",
        lambda: _over_ends(is_wagon=False),
    ),
    "length_over_buffers": Guide(
        "length over buffers",
        "buffer face to buffer face, not pressed in",
        lambda: _over_ends(is_wagon=True),
    ),
    "body_length": Guide(
        "body length", "over the ends of the body, without couplers", _body_length
    ),
    "body_width": Guide("body width", "outside jaws where the body is widest", _body_width),
    "height": Guide("height", "rail top to the highest point", _height),
    "pivot_distance": Guide("pivot distance", "bogie pivot to bogie pivot", _pivot_distance),
    "bogie_wheelbase": Guide(
        "bogie wheelbase", "first to last axle centre of one bogie", _bogie_wheelbase
    ),
    "rigid_wheelbase": Guide(
        "rigid wheelbase", "first to last axle centre in one frame", _rigid_wheelbase
    ),
    "mass": Guide("mass", "the whole vehicle on the scale, ready to run", _mass),
    "start_rolling_grade": Guide(
        "start-rolling grade",
        "raise one end until it rolls: rise over run",
        _start_rolling_grade,
    ),
}
