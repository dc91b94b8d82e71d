"""The wheelset standing in a frog: in section, the tightest spot near to, and in plan; to scale.

Letters are those of NMRA S-3.2 and S-4.2: wheelset B, T, D, N; track G gauge, C check gauge,
S span, F flangeway, H flangeway depth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing.profile import positive
from inventory.drawing.shapes import Tyre, Wheelset, placed, wheel_section
from inventory.drawing.svg import (
    ARROW_LENGTH,
    Point,
    arrow_head,
    box,
    circle,
    dimension,
    element,
    figure,
    finite,
    group,
    line,
    path,
    sheet,
    shorten,
    text,
    text_width,
)
from standards.turnouts import frog_angle

WIDTH = 340.0
EDGE = 6.0
SIZE = 12.0
ROOM = WIDTH - 2 * EDGE
MM_PER_INCH = 25.4

HEAD, RAIL = 0.052, 0.1
"""Width of a rail's head and height of a rail, in track gauges; only the looks depend on them."""

USUAL = {
    "back_to_back": 0.87,
    "flange_thickness": 0.046,
    "flange_depth": 0.039,
    "tyre_width": 0.17,
    "check_gauge": 0.925,
    "span": 0.85,
    "flangeway_depth": 0.045,
}
"""Shares of the gauge that stand in for what was not measured. Common practice, no source; such a
part is drawn dashed and said not to be measured."""

USUAL_GAUGE, USUAL_NUMBER = 16.5, 6.0

NAMES = {
    "back_to_back": "back-to-back B",
    "flange_thickness": "flange thickness T",
    "flange_depth": "flange depth D",
    "tyre_width": "tyre width N",
    "track_gauge": "track gauge G",
    "check_gauge": "check gauge C",
    "span": "span S",
    "flangeway": "flangeway at the frog F",
    "flangeway_guard": "flangeway at the guard rail",
    "flangeway_depth": "flangeway depth H",
    "rail_height": "rail height",
    "fastening_height": "fastening height",
    "frog_number": "frog number",
}
WHEEL = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")
FROG = ("span", "flangeway", "flangeway_depth")


@dataclass(frozen=True)
class Relation:
    """One way in which a wheelset can meet the track badly.

    `place` is the stretch of track in section: "frog" at its point, "throat" just before the
    point, "plain" two rails without guard. `uses` are the sizes that are dimensioned for it.
    """

    name: str
    kept: str
    broken: str
    place: str
    uses: tuple[str, ...]
    is_upright: bool = False


RELATIONS = {
    "play": Relation(
        "play",
        "the wheelset stands free between the rails",
        "the wheelset is too wide for the gauge",
        "plain",
        ("B", "G"),
    ),
    "frog-point protection": Relation(
        "frog-point protection",
        "the guard rail keeps the flange off the point",
        "the flange strikes the point",
        "frog",
        ("B", "C"),
    ),
    "span": Relation(
        "span",
        "the wheel backs pass guard and wing rail",
        "the wheels jam on guard and wing rail",
        "frog",
        ("B", "S"),
    ),
    "depth": Relation(
        "depth",
        "the flange runs clear of the flangeway's floor",
        "the flange runs on the flangeway's floor",
        "frog",
        (),
        is_upright=True,
    ),
    "tread support": Relation(
        "tread support",
        "the tread reaches over the gap of the frog",
        "the wheel drops into the gap of the frog",
        "throat",
        (),
    ),
    "drop in": Relation(
        "drop in",
        "the tread reaches over the rail",
        "the wheel drops in between the rails",
        "plain",
        ("B", "G"),
    ),
    "fastenings": Relation(
        "fastenings",
        "the flange passes above the rail's fastenings",
        "the flange runs on the rail's fastenings",
        "plain",
        (),
        is_upright=True,
    ),
}


OTHER_NAMES = {"flangeway depth": "depth", "no drop-in": "drop in"}


def wheelset_in_frog(
    *,
    back_to_back: float | None,
    flange_thickness: float | None,
    flange_depth: float | None,
    tyre_width: float | None,
    track_gauge: float | None,
    check_gauge: float | None = None,
    span: float | None = None,
    flangeway: float | None = None,
    flangeway_guard: float | None = None,
    flangeway_depth: float | None = None,
    frog_number: float | None = None,
    rail_height: float | None = None,
    fastening_height: float | None = None,
    worst: tuple[str, float] | None = None,
    unit: str = "mm",
    has_plan: bool = True,
) -> SafeString:
    """A measured wheelset in a measured frog, all lengths in mm and written in `unit`, mm or in.

    `worst` is the relation with the least margin, one of RELATIONS, and that margin in mm: the
    wheelset is then drawn where that margin shows, and the spot again near to. A check gauge that
    was not measured is the gauge less the guard's flangeway; a span is the check gauge less the
    frog's flangeway, and the other way round. What follows from nothing is drawn dashed in usual
    proportions and named as not measured. Wheel diameter and rail are in proportion only.
    `has_plan` asks for the view from above, where there is a frog.
    """
    given = {
        "back_to_back": back_to_back,
        "flange_thickness": flange_thickness,
        "flange_depth": flange_depth,
        "tyre_width": tyre_width,
        "track_gauge": track_gauge,
        "check_gauge": check_gauge,
        "span": span,
        "flangeway": flangeway,
        "flangeway_guard": flangeway_guard,
        "flangeway_depth": flangeway_depth,
        "rail_height": rail_height,
        "fastening_height": fastening_height,
        "frog_number": frog_number,
    }
    named, margin = worst if worst is not None else ("", 0.0)
    if finite(margin) is None:
        named = ""
    return Meeting(
        Sizes({key: positive(value) for key, value in given.items()}),
        RELATIONS.get(OTHER_NAMES.get(named, named)),
        named,
        float(margin) if named else 0.0,
        "in" if unit == "in" else "mm",
        has_plan,
    ).draw()


class Sizes:
    """Every size that the drawing needs, in mm, and which of them nobody measured."""

    def __init__(self, given: dict[str, float | None]) -> None:
        self.given = given
        self.gauge = given["track_gauge"] or self._gauge_from_wheels(given)
        known = dict(given)
        gauge, guard = known["track_gauge"], known["flangeway_guard"]
        if known["check_gauge"] is None and gauge and guard and guard < gauge:
            known["check_gauge"] = gauge - guard
        check = known["check_gauge"]
        if known["span"] is None and check and known["flangeway"]:
            known["span"] = positive(check - known["flangeway"])
        elif known["flangeway"] is None and check and known["span"]:
            known["flangeway"] = positive(check - known["span"])
        if known["flangeway_guard"] is None and gauge and check:
            known["flangeway_guard"] = positive(gauge - check)
        self.known = known
        self.back = self._or_usual("back_to_back")
        self.thickness = self._or_usual("flange_thickness")
        self.depth = self._or_usual("flange_depth")
        self.width = max(self._or_usual("tyre_width"), 1.05 * self.thickness)
        # Where the rails stand, from the stock rail's gauge face.
        self.guard = self._within(self.gauge - self._or_usual("check_gauge"), 0.004, 0.4)
        flangeway = known["flangeway"] or self.gauge * (USUAL["check_gauge"] - USUAL["span"])
        span = known["span"]
        way = self.gauge - self.guard - span if span else flangeway
        self.way = self._within(way, 0.004, 0.4)
        self.floor = self._or_usual("flangeway_depth")
        self.number = given["frog_number"] or USUAL_NUMBER
        # The other route's flangeway, cut squarely to this one abreast of the point.
        self.far_way = self.way / math.cos(frog_angle(max(1.5, self.number)))
        height = given["rail_height"] or RAIL * self.gauge
        self.height = self._within(height, 0.03, 0.5)
        self.fastening = min(given["fastening_height"] or 0.3 * self.height, 0.98 * self.height)
        self.head = HEAD * self.gauge
        self.nose = 0.3 * self.head

    @staticmethod
    def _gauge_from_wheels(given: dict[str, float | None]) -> float:
        back = given["back_to_back"]
        return back / USUAL["back_to_back"] if back else USUAL_GAUGE

    def _or_usual(self, key: str) -> float:
        return self.known[key] or USUAL[key] * self.gauge

    def _within(self, mm: float, least: float, most: float) -> float:
        """A width that can be drawn between the rails at all."""
        return min(most * self.gauge, max(least * self.gauge, mm))

    def missing(self, keys: Sequence[str]) -> list[str]:
        return [key for key in keys if self.known[key] is None]

    @property
    def tyre(self) -> Tyre:
        return Tyre(self.width, self.thickness, self.depth)


@dataclass(frozen=True)
class Spot:
    """Where a margin lies in the section: between two points, from the stock rail's face and
    from the rail's top down, in mm."""

    first: Point
    second: Point


@dataclass(frozen=True)
class Meeting:
    sizes: Sizes
    relation: Relation | None
    named: str
    margin: float
    unit: str
    has_plan: bool = True

    def draw(self) -> SafeString:
        pieces: list[SafeString] = []
        foot = 0.0
        views: list[Callable[[float], tuple[SafeString, float]]] = [self._section]
        if self.relation is not None:
            views.append(self._detail)
        if self.place != "plain" and self.has_plan:
            views.append(self._plan)
        for view in views:
            piece, foot = view(foot)
            pieces.append(piece)
            foot += 14
        notes = [row for note in self._notes() for row in wrapped(note, ROOM, SIZE)]
        for row, words in enumerate(notes):
            pieces.append(text(EDGE, foot + 10 + row * 16, words, size=SIZE, class_="d-soft"))
        return sheet(
            WIDTH,
            foot + 16 * len(notes) + 4,
            element("desc", self.description()),
            pieces,
            title=self.title(),
            class_="d-frog",
        )

    # --- Numbers and words -----------------------------------------------------------------

    def number(self, mm: float) -> str:
        if self.unit == "mm":
            return figure(mm, 2)
        return figure(mm / MM_PER_INCH, 4).removesuffix("0")

    def say(self, mm: float) -> str:
        return f"{self.number(mm)} {self.unit}"

    def margin_words(self) -> str:
        """The margin with a sign that is never lost: one finer than the sizes in inches."""
        places = 4 if self.unit == "in" else 2
        shown = figure(self.margin / MM_PER_INCH if self.unit == "in" else self.margin, places)
        return f"{shown} {self.unit}"

    @property
    def is_broken(self) -> bool:
        return self.margin < 0

    @property
    def tone(self) -> str:
        return "d-no" if self.is_broken else "d-ink"

    @property
    def place(self) -> str:
        return self.relation.place if self.relation else "frog"

    def verdict(self) -> str:
        if self.relation is None:
            return f"{self.named} {self.margin_words()}" if self.named else ""
        said = self.relation.broken if self.is_broken else self.relation.kept
        if not self.is_broken and not self.margin:
            said += ", but only just"
        return f"{self.relation.name} {self.margin_words()}: {said}"

    def title(self) -> str:
        where = "between the rails" if self.place == "plain" else "in the frog"
        told = self.verdict()
        return f"Wheelset {where}, to scale{'. Least margin, ' + told if told else ''}."

    def description(self) -> str:
        known = self.sizes.known
        shown = [
            f"{name} {self.say(value)}"
            for key, name in NAMES.items()
            if key != "frog_number" and (value := known[key]) is not None
        ]
        if known["frog_number"] is not None:
            shown.append(f"frog number {known['frog_number']:g}")
        lost = [NAMES[key] for key in self._missing()]
        said = [f"Sizes: {', '.join(shown)}."] if shown else []
        if lost:
            said.append(f"Not measured, drawn dashed in usual proportions: {', '.join(lost)}.")
        return " ".join(said)

    def _missing(self) -> list[str]:
        wanted: list[str] = [*WHEEL, "track_gauge"]
        if self.place != "plain":
            wanted += ["check_gauge", "span", "flangeway", "flangeway_depth", "frog_number"]
        if self.relation is not None and self.relation.name == "fastenings":
            wanted += ["rail_height", "fastening_height"]
        return self.sizes.missing(wanted)

    def _notes(self) -> list[str]:
        known = self.sizes.known
        letters = (("T", "flange_thickness"), ("D", "flange_depth"), ("N", "tyre_width"))
        sizes = [(letter, known[key]) for letter, key in letters]
        if self.place != "plain":
            sizes.append(("H", known["flangeway_depth"]))
        told = " · ".join(f"{letter} {self.number(mm)}" for letter, mm in sizes if mm)
        notes = [f"{told}\u00a0{self.unit}" if told else ""]
        lost = [NAMES[key] for key in self._missing()]
        if lost:
            notes.append(f"not measured, dashed in usual proportions: {', '.join(lost)}")
        return [note for note in notes if note]

    # --- Where the wheelset stands ----------------------------------------------------------

    @property
    def left_back(self) -> float:
        """The back of the left wheel, from the stock rail's gauge face."""
        s = self.sizes
        if self.relation is None:
            return (s.gauge - s.back) / 2
        match self.relation.name:
            case "play" | "drop in" | "fastenings":
                return s.thickness
            case "tread support":
                # As far from the point as either the left flange or the wing rail lets it go.
                return max(s.thickness, s.gauge - s.way - s.back)
            case _:
                return s.guard

    @property
    def right_back(self) -> float:
        return self.left_back + self.sizes.back

    @property
    def spot(self) -> Spot:
        s, back = self.sizes, self.right_back
        level = s.tyre.plane
        tip = (back + s.tyre.tip, s.depth)
        match self.relation.name if self.relation else "":
            case "span":
                return Spot((s.gauge - s.way, 0.6 * s.depth), (back, 0.6 * s.depth))
            case "depth":
                return Spot(tip, (tip[0], s.floor))
            case "tread support":
                return Spot((s.gauge + s.far_way, 0.0), (back + s.width, 0.0))
            case "drop in":
                return Spot((s.gauge, 0.0), (back + s.width, 0.0))
            case "fastenings":
                return Spot(tip, (tip[0], s.height - s.fastening))
            case _:
                return Spot((back + s.thickness, level), (s.gauge, level))

    @property
    def wheels_style(self) -> str:
        return " d-dash" if self.sizes.missing(WHEEL) else ""

    # --- The track in section ---------------------------------------------------------------

    def _is_dashed(self, *keys: str) -> str:
        return " d-dash" if self.sizes.missing(keys) else ""

    @property
    def right_edge(self) -> float:
        """How far what lies on the right side of the track reaches."""
        s = self.sizes
        if self.place == "plain":
            return s.gauge + 0.75 * s.head + 0.5 * s.height
        if self.place == "throat":
            return s.gauge + s.far_way + s.head
        return s.gauge + s.nose + s.way + s.head

    @property
    def base(self) -> float:
        """How deep the track reaches below the rail's top."""
        s = self.sizes
        return s.height if self.place == "plain" else max(s.height, 1.25 * s.floor)

    def _casting(self) -> list[Point]:
        """The frog cut through, from the wing rail's outer edge round its right-hand end."""
        s = self.sizes
        left, corner = s.gauge - s.way, min(1.2 * s.tyre.plane, 0.3 * s.head, s.floor)
        outline = [(left - s.head, 0.0), *reversed(rounded(left, corner, -1)), (left, s.floor)]
        if self.place == "frog":
            edge, right = min(corner, 0.4 * s.nose), s.gauge + s.nose
            outline += [(s.gauge, s.floor), *rounded(s.gauge, edge, 1)]
            outline += [*reversed(rounded(right, edge, -1)), (right, s.floor)]
        far = self.right_edge - s.head
        outline += [(far, s.floor), *rounded(far, corner, 1), (far + s.head, 0.0)]
        return [*outline, (far + s.head, self.base), (left - s.head, self.base)]

    def _rail(self, face: float, side: int) -> list[Point]:
        """A rail in section with its gauge face at `face`; side 1 lies to the right of it."""
        s = self.sizes
        h, w = s.height, s.head
        corner = min(1.2 * s.tyre.plane, 0.3 * w, 0.2 * h)
        shape = [*rounded(0.0, corner, 1), (w - 0.2 * corner, 0.0), (w, 0.2 * corner)]
        shape.append((w, 0.28 * h))
        shape += [(0.62 * w, 0.38 * h), (0.62 * w, 0.76 * h), (w + 0.1 * h, 0.9 * h)]
        shape += [(w + 0.1 * h, h), (-0.1 * h, h), (-0.1 * h, 0.9 * h), (0.38 * w, 0.76 * h)]
        shape += [(0.38 * w, 0.38 * h), (0.0, 0.28 * h)]
        return [(face + side * x, y) for x, y in shape]

    def _track(self, at: Callable[[Point], Point]) -> list[SafeString]:
        s = self.sizes
        shapes = [(self._rail(0.0, -1), self._is_dashed("track_gauge"))]
        if self.place == "plain":
            shapes.append((self._rail(s.gauge, 1), self._is_dashed("track_gauge")))
        else:
            shapes.append((self._rail(s.guard, 1), self._is_dashed("check_gauge")))
            shapes.append((self._casting(), self._is_dashed(*FROG)))
        drawn = [
            path([at(point) for point in shape], closed=True, class_=f"d-part{dash}")
            for shape, dash in shapes
        ]
        if self.relation is not None and self.relation.name == "fastenings":
            drawn += [self._fastening(at, face, side) for face, side in ((0.0, 1), (s.gauge, -1))]
        return drawn

    def _fastening(self, at: Callable[[Point], Point], face: float, side: int) -> SafeString:
        """The clip or spike head beside the rail's foot, on the inner side."""
        s = self.sizes
        top, far = s.height - s.fastening, face + side * (0.1 * s.height + 1.5 * s.thickness)
        foot = face - side * 0.3 * s.head
        shape = [(foot, top), (far, top), (far, s.height), (foot, s.height)]
        dash = self._is_dashed("rail_height", "fastening_height")
        return path([at(point) for point in shape], closed=True, class_=f"d-body d-detail{dash}")

    # --- The section ------------------------------------------------------------------------

    def _section(self, top: float) -> tuple[SafeString, float]:
        s = self.sizes
        left = min(-s.head - 0.1 * s.height, self.left_back - s.width)
        right = max(self.right_edge, self.right_back + s.width)
        scale = (ROOM - 56) / (right - left)
        start = EDGE + 28 - left * scale
        radius = 0.19 * s.gauge * scale
        rail_top = top + 66 + 2 * radius
        base = rail_top + self.base * scale

        def at(point: Point) -> Point:
            return start + point[0] * scale, rail_top + point[1] * scale

        middle = (self.left_back + self.right_back) / 2
        axle_length = (s.back + 2 * s.width) * scale + 22
        wheels = Wheelset(
            (at((middle, 0))[0], rail_top - radius),
            s.back * scale,
            s.tyre.scaled(scale),
            radius,
            axle_length,
        )
        where = {
            "frog": "Section at the point of the frog",
            "throat": "Section just before the point of the frog",
            "plain": "Section of plain track",
        }[self.place]
        pieces = [
            heading(where, top),
            box(EDGE, base, ROOM, 8, class_="d-body"),
            *self._track(at),
            wheels.draw(dashed=bool(self.wheels_style)),
            dimension(
                (wheels.backs[0], wheels.centre[1] - 0.5 * radius),
                (wheels.backs[1], wheels.centre[1] - 0.5 * radius),
                at=top + 46,
                label=self._letter("B", "back_to_back"),
                tone=self._tone("B"),
                dashed=bool(s.missing(["back_to_back"])),
            ),
        ]
        if self.relation is not None:
            spot = self.spot
            x, y = at(((spot.first[0] + spot.second[0]) / 2, (spot.first[1] + spot.second[1]) / 2))
            around = min(17.0, max(13.0, 0.6 * (s.way + s.thickness) * scale))
            pieces.append(circle((x, y), around, class_="d-detail d-accent"))
            beyond = min(max(start + right * scale + 10, x + around + 4), WIDTH - EDGE - 9)
            if beyond - x - around > 5:
                leader = (beyond - 2, rail_top)
                pieces.append(line((x + around, y), leader, class_="d-extension d-accent"))
            pieces.append(text(beyond, rail_top + 4, "A", size=13, class_="d-label d-accent"))
        foot = base + 8
        for letter, key, first, second in self._widths():
            foot += 25
            pieces.append(
                dimension(
                    at((first, 0.3 * s.floor)),
                    at((second, 0.3 * s.floor)),
                    at=foot,
                    label=self._letter(letter, key),
                    tone=self._tone(letter),
                    dashed=bool(s.missing([key])),
                )
            )
        return group(pieces), foot + 8

    def _widths(self) -> list[tuple[str, str, float, float]]:
        s = self.sizes
        gauge = ("G", "track_gauge", 0.0, s.gauge)
        if self.place == "plain":
            return [gauge]
        return [
            ("S", "span", s.guard, s.gauge - s.way),
            ("C", "check_gauge", s.guard, s.gauge),
            gauge,
        ]

    def _letter(self, letter: str, key: str) -> str:
        value = self.sizes.known[key]
        return f"{letter} not measured" if value is None else f"{letter} {self.number(value)}"

    def _tone(self, letter: str) -> str:
        if self.relation is not None and letter in self.relation.uses and self.is_broken:
            return "d-no"
        return "d-ink"

    # --- The tightest spot, near to ------------------------------------------------------------

    def _detail(self, top: float) -> tuple[SafeString, float]:
        assert self.relation is not None
        s, spot = self.sizes, self.spot
        face = self.right_back + s.width
        left = min(self.right_back, s.gauge - s.way * (self.place != "plain")) - 1.1 * s.head
        right = max(self.right_edge, face) + 0.1 * s.head
        indent = 92.0 if self.relation.is_upright else 0.0
        deepest = max(self.base, s.depth)
        scale = min((ROOM - indent) / (right - left), 92 / deepest)
        start = EDGE + indent + (ROOM - indent - (right - left) * scale) / 2 - left * scale
        rim = 40.0
        tread = top + 26 + rim + 6
        base = tread + self.base * scale

        def at(point: Point) -> Point:
            return start + point[0] * scale, tread + point[1] * scale

        pieces = [
            heading(f"A, {self._times(scale)} as large", top),
            self._cut_track(at),
            wheel_section(s.tyre, at((self.right_back, 0.0)), scale, rim / scale),
        ]
        if self.is_broken:
            pieces += self._overlaps(at)
        first, second = at(spot.first), at(spot.second)
        label = self.margin_words()
        if self.relation.is_upright:
            gap = dimension(
                first,
                second,
                at=EDGE + 84,
                label=label,
                upright=True,
                side=-1,
                tone=self.tone,
            )
            foot = max(base, second[1], first[1]) + 4
        else:
            foot = max(base, tread + s.depth * scale) + 24
            width = text_width(label, 13, bold=True) + 2 * ARROW_LENGTH + 8
            ends = sorted((first[0], second[0]))
            has_right, has_left = ends[1] + width < WIDTH - EDGE, ends[0] - width > EDGE
            gap = dimension(
                first,
                second,
                at=foot,
                label=label,
                beside=has_right or has_left,
                side=-1 if has_left and not has_right else 1,
                tone=self.tone,
            )
            foot += 9
        pieces.append(gap)
        crossed = [] if self.relation.is_upright else [first[0], second[0]]
        pieces += self._part_names(at, base, crossed)
        for words in wrapped(self.verdict(), ROOM, 13, bold=True):
            foot += 17
            pieces.append(text(EDGE, foot, words, size=13, class_=f"d-label {self.tone}"))
        return group(pieces), foot + 4

    def _part_names(
        self, at: Callable[[Point], Point], base: float, crossed: Sequence[float]
    ) -> list[SafeString]:
        """The parts of the frog by name, where no extension line runs and there is room."""
        s = self.sizes
        if self.place == "plain" or base - at((0.0, s.floor))[1] < SIZE + 6:
            return []
        parts = [
            ("wing", s.gauge - s.way - 0.5 * s.head),
            ("point", s.gauge + 0.5 * s.nose),
            ("wing", self.right_edge - 0.5 * s.head),
        ]
        named = []
        edge = 0.0
        for name, where in parts:
            x, half = at((where, 0.0))[0], text_width(name, SIZE) / 2
            is_free = all(abs(x - line_x) > half + 3 for line_x in crossed)
            if (name != "point" or self.place == "frog") and is_free and x - half > edge:
                named.append(text(x, base - 5, name, size=SIZE, anchor="middle", class_="d-soft"))
                edge = x + half + 6
        return named

    def _times(self, scale: float) -> str:
        """How much larger than the section the detail is."""
        s = self.sizes
        left = min(-s.head - 0.1 * s.height, self.left_back - s.width)
        right = max(self.right_edge, self.right_back + s.width)
        times = scale * (right - left) / (ROOM - 56)
        return f"{figure(times, 1).removesuffix('.0')} times"

    def _cut_track(self, at: Callable[[Point], Point]) -> SafeString:
        """The right-hand side alone, as much of it as there is room for."""
        s = self.sizes
        if self.place == "plain":
            shapes = [(self._rail(s.gauge, 1), self._is_dashed("track_gauge"))]
        else:
            shapes = [(self._casting(), self._is_dashed(*FROG))]
        drawn = [
            path([at(point) for point in shape], closed=True, class_=f"d-part{dash}")
            for shape, dash in shapes
        ]
        if self.relation is not None and self.relation.name == "fastenings":
            drawn.append(self._fastening(at, s.gauge, -1))
        return group(drawn)

    def _overlaps(self, at: Callable[[Point], Point]) -> list[SafeString]:
        """Where metal would have to pass through metal."""
        s = self.sizes
        wheel = placed(s.tyre.outline(s.depth), (self.right_back, 0.0))
        solids = {
            "play": (s.gauge, s.gauge + s.head, 0.0, self.base),
            "frog-point protection": (s.gauge, s.gauge + s.nose, 0.0, self.base),
            "span": (s.gauge - s.way - s.head, s.gauge - s.way, 0.0, self.base),
            "depth": (s.gauge - s.way, s.gauge, s.floor, self.base),
            "fastenings": (
                s.gauge - 0.1 * s.height - 1.5 * s.thickness,
                s.gauge,
                s.height - s.fastening,
                s.height,
            ),
        }
        solid = solids.get(self.relation.name if self.relation else "")
        inside = clipped(wheel, *solid) if solid else []
        if len(inside) < 3:
            return []
        return [path([at(p) for p in inside], closed=True, class_="d-no drawn-over")]

    # --- The plan -----------------------------------------------------------------------------

    def _plan(self, top: float) -> tuple[SafeString, float]:
        return Plan(self, top).draw()


class Plan:
    """The frog from above, the points to the left; x along the straight track in mm."""

    def __init__(self, meeting: Meeting, top: float) -> None:
        self.meeting = meeting
        self.sizes = s = meeting.sizes
        self.angle = frog_angle(max(1.5, s.number))
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
        lost = self.meeting._is_dashed
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
            s.gauge + self.meeting.sizes.width,
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
        m, s = self.meeting, self.sizes
        x = s.nose / self.slope if m.place == "frog" else 0.0
        # The chord that the flange cuts out of the rail's level; the diameter is a usual one.
        half = math.sqrt(s.depth**2 + 0.6 * s.gauge * s.depth)
        dash = m.wheels_style
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
        for back, side in ((m.left_back, -1), (m.right_back, 1)):
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
        said = f"{name} {self.meeting.say(value) if value else 'not measured'}"
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


# --- Words and shapes -------------------------------------------------------------------------


def rounded(face: float, radius: float, side: int) -> list[Point]:
    """The corner of a rail's head, from its upright face up to its top; side 1 has the metal to
    the right of the face."""
    turns = [math.pi / 2 * step / 5 for step in range(6)]
    return [
        (face + side * radius * (1 - math.cos(turn)), radius * (1 - math.sin(turn)))
        for turn in turns
    ]


def heading(words: str, top: float) -> SafeString:
    """What a view shows, at its upper left corner."""
    return text(EDGE, top + 13, shorten(words, ROOM, SIZE), size=SIZE, class_="d-soft")


def wrapped(words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Words in as many lines as they take; a word longer than the room has its own line."""
    lines: list[str] = []
    for word in filter(None, words.split(" ")):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= room:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


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
