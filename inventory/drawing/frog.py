"""The wheelset standing in a frog: in section, the tightest spot near to, and in plan; to scale.

Letters are those of NMRA S-3.2 and S-4.2: wheelset B, T, D, N; track G gauge, C check gauge,
S span, F flangeway, H flangeway depth.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from inventory.drawing.frog_plan import Plan
from inventory.drawing.frog_sizes import (
    EDGE,
    FROG,
    MM_PER_INCH,
    NAMES,
    ROOM,
    SIZE,
    WHEEL,
    WIDTH,
    Sizes,
    heading,
    number,
    spelled,
)
from inventory.drawing.profile import positive
from inventory.drawing.shapes import Wheelset, clipped, placed, rounded, wheel_section
from inventory.drawing.svg import (
    ARROW_LENGTH,
    Point,
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
    text,
    text_width,
    wrapped,
)


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
    "flangeway depth": Relation(
        "flangeway depth",
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
    "no drop-in": Relation(
        "no drop-in",
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
        RELATIONS.get(named),
        named,
        float(margin) if named else 0.0,
        "in" if unit == "in" else "mm",
        has_plan,
    ).draw()


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
            f"{name} {spelled(value, self.unit)}"
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
        told = " · ".join(f"{letter} {number(mm, self.unit)}" for letter, mm in sizes if mm)
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
            case "play" | "no drop-in" | "fastenings":
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
            case "flangeway depth":
                return Spot(tip, (tip[0], s.floor))
            case "tread support":
                return Spot((s.gauge + s.far_way, 0.0), (back + s.width, 0.0))
            case "no drop-in":
                return Spot((s.gauge, 0.0), (back + s.width, 0.0))
            case "fastenings":
                return Spot(tip, (tip[0], s.height - s.fastening))
            case _:
                return Spot((back + s.thickness, level), (s.gauge, level))

    # --- The track in section ---

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
        shapes = [(self._rail(0.0, -1), self.sizes.dashed("track_gauge"))]
        if self.place == "plain":
            shapes.append((self._rail(s.gauge, 1), self.sizes.dashed("track_gauge")))
        else:
            shapes.append((self._rail(s.guard, 1), self.sizes.dashed("check_gauge")))
            shapes.append((self._casting(), self.sizes.dashed(*FROG)))
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
        dash = self.sizes.dashed("rail_height", "fastening_height")
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
            wheels.draw(dashed=bool(s.missing(WHEEL))),
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
        return (
            f"{letter} not measured" if value is None else f"{letter} {number(value, self.unit)}"
        )

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
            shapes = [(self._rail(s.gauge, 1), self.sizes.dashed("track_gauge"))]
        else:
            shapes = [(self._casting(), self.sizes.dashed(*FROG))]
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
            "flangeway depth": (s.gauge - s.way, s.gauge, s.floor, self.base),
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
        backs = self.left_back, self.right_back
        is_on_point = self.place == "frog"
        return Plan(self.sizes, backs, top, is_on_point=is_on_point, unit=self.unit).draw()
