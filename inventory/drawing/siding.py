"""A siding to scale: its ends, what stands on it, what would still fit, and its lengths below."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from django.utils.safestring import SafeString

from inventory.drawing.svg import (
    Point,
    arrow_head,
    box,
    circle,
    figure,
    finite,
    group,
    hatch,
    line,
    path,
    sheet,
    shorten,
    spread,
    text,
    text_width,
)

Vehicle = tuple[str, float]
"""A label and a length in mm."""

NARROW, WIDE = 340.0, 1060.0
EDGE = 4.0
BODY, LIFT = 38.0, 5.0
RAILS = 5.0
GAP = 8.0
CLEARS_AT = 0.85
"""How far along its curve a turnout is clear of the next track."""

OUTSIDE = {"turnout": 0.0, "buffer stop": 7.0, "joint": 18.0, "table edge": 3.0, "mark": 14.0}
"""Room each kind of end needs past the end of the track."""

UNITS = {"mm": (1.0, 1), "cm": (10.0, 2), "in": (25.4, 2)}
LONGEST = 1e7


def siding(
    *,
    measured_mm: float,
    deductions: Sequence[tuple[str, float]],
    clear_mm: float,
    standing: Sequence[Vehicle],
    fits: Sequence[Vehicle],
    ends: tuple[str, str],
    name: str,
    unit: str = "mm",
    left_mm: float | None = None,
    wide: bool = False,
) -> SafeString:
    """The track from its A end (left) to its B end, drawn by their kinds.

    `deductions` are what the A end and the B end take off the measured length. What stands is
    drawn from the B end inwards, then dashed what would fit. `left_mm` is what is left where
    more than the lengths themselves is taken off, as for slack; without it the difference.
    Lengths are in mm and written in `unit`: mm, cm or in.
    """
    taken_off = [(words, length(mm)) for words, mm in [*deductions, ("", 0.0), ("", 0.0)][:2]]
    clear = length(clear_mm)
    stands = [(label, length(mm)) for label, mm in standing]
    left = finite(left_mm)
    if left is None:
        left = clear - sum(mm for _, mm in stands)
    return Siding(
        measured=length(measured_mm),
        deductions=taken_off,
        clear=clear,
        standing=stands,
        fits=[(label, length(mm)) for label, mm in fits],
        ends=ends,
        name=name,
        unit=unit,
        left=float(left),
        width=WIDE if wide else NARROW,
        size=14.0 if wide else 13.0,
    ).draw()


def length(mm: float | None) -> float:
    """A length that can be drawn: a missing one is nothing, and so is less than a micrometre."""
    drawn = min(LONGEST, float(finite(mm) or 0))
    return drawn if drawn >= 0.001 else 0.0


def spell(mm: float, unit: str) -> str:
    """A length's number in a unit, without needless zeros; an unknown unit stands for mm."""
    size, places = UNITS.get(unit, UNITS["mm"])
    shown = figure(mm / size, places).rstrip("0").rstrip(".")
    return shown or "0"


def known(unit: str) -> str:
    return unit if unit in UNITS else "mm"


@dataclass(frozen=True)
class Spot:
    """A vehicle in its place: from the B end, left and right edge on the sheet."""

    number: int
    label: str
    start: float
    end: float
    stands: bool

    @property
    def centre(self) -> float:
        return (self.start + self.end) / 2

    @property
    def inset(self) -> float:
        return min(1.5, (self.end - self.start) * 0.12)


@dataclass(frozen=True)
class Span:
    """A dimension below the track with its words, which stand above it or beside it.

    side: 1 right of its end, -1 left of its start, 0 above.
    """

    start: float
    end: float
    words: str
    tone: str
    bold: bool = False
    side: int = 0

    @property
    def centre(self) -> float:
        return (self.start + self.end) / 2


@dataclass(frozen=True)
class Box:
    """Room on the sheet that words take."""

    left: float
    right: float
    top: float
    bottom: float


@dataclass(frozen=True)
class Siding:
    measured: float
    deductions: list[tuple[str, float]]
    clear: float
    standing: list[Vehicle]
    fits: list[Vehicle]
    ends: tuple[str, str]
    name: str
    unit: str
    left: float
    width: float
    size: float

    def draw(self) -> SafeString:
        dimensions, foot = self._dimensions()
        return sheet(
            self.width,
            foot,
            self._kinds(),
            self._turnouts(),
            self._rails(),
            self._bodies(),
            self._ends(),
            dimensions,
            self._marks(),
            title=self.title(),
            class_="drawn-wide" if self.width == WIDE else "drawn-narrow",
        )

    # --- Lengths -------------------------------------------------------------------------

    @property
    def stood(self) -> float:
        return sum(mm for _, mm in self.standing)

    @property
    def over(self) -> float:
        """How much too long what stands is; nothing where it would be written as nothing."""
        return -self.left if spell(-self.left, self.unit) != "0" and self.left < 0 else 0.0

    @property
    def inner(self) -> float:
        """Where the clear length ends at the B end, from the A end."""
        return self.measured - self.deductions[1][1]

    @property
    def outer(self) -> float:
        """Where the clear length ends at the A end."""
        return self.inner - self.clear

    @cached_property
    def scale(self) -> tuple[float, float, float]:
        """The sheet's place of the first length, that length, and units per mm."""
        first = min(0.0, self.outer, self.inner - self.stood)
        whole = (self.measured - first) or 1.0
        room = self.width - 2 * EDGE
        margins = []
        for kind, (_, mm) in zip(self.ends, self.deductions, strict=True):
            margin = OUTSIDE.get(kind, OUTSIDE["mark"])
            if kind == "turnout":
                margin = max(0.0, self.lead - mm * room / whole)
            margins.append(margin)
        return EDGE + margins[0], first, (room - sum(margins)) / whole

    def at(self, mm: float) -> float:
        start, first, per_mm = self.scale
        return start + (mm - first) * per_mm

    @cached_property
    def spots(self) -> list[Spot]:
        """Everything that stands or would fit, from the B end inwards."""
        found = []
        edge = self.inner
        for number, (label, mm) in enumerate(self.standing, start=1):
            found.append(Spot(number, label, self.at(edge - mm), self.at(edge), True))
            edge -= mm
        for number, (label, mm) in enumerate(self.fitting, start=len(self.standing) + 1):
            found.append(Spot(number, label, self.at(edge - mm), self.at(edge), False))
            edge -= mm
        return found

    @cached_property
    def fitting(self) -> list[Vehicle]:
        """Those offered to fit, without any that would stand past the clear length."""
        found: list[Vehicle] = []
        room = self.clear - self.stood + 0.05
        for label, mm in self.fits:
            if mm <= room:
                found.append((label, mm))
                room -= mm
        return found

    # --- Words ---------------------------------------------------------------------------

    def say(self, mm: float) -> str:
        return f"{spell(mm, self.unit)} {known(self.unit)}"

    @property
    def rest(self) -> str:
        return f"{self.say(self.over)} too long" if self.over else f"{self.say(self.left)} left"

    def title(self) -> str:
        less = " and ".join(
            f"{self.say(mm)} {words}".rstrip() for words, mm in self.deductions if mm
        )
        said = [
            f"{self.name}, {self.ends[0]} to {self.ends[1]}: {self.say(self.measured)} measured"
            + (f", less {less}" if less else "")
            + f"; {self.say(self.clear)} clear, "
            + (f"overfull: what stands on it is {self.rest}." if self.over else f"{self.rest}.")
        ]
        if self.standing:
            said.append(f"Standing from the {self.ends[1]}: {self._list(self.standing, 1)}.")
        else:
            said.append("Nothing stands on it.")
        if self.fitting:
            said.append(f"Would fit: {self._list(self.fitting, len(self.standing) + 1)}.")
        return " ".join(said)

    def _list(self, vehicles: Sequence[Vehicle], first: int) -> str:
        return ", ".join(
            f"{number}. {label} {self.say(mm) if mm else 'of unknown length'}"
            for number, (label, mm) in enumerate(vehicles, start=first)
        )

    def _kinds(self) -> list[SafeString]:
        room = (self.width - 2 * EDGE - GAP) / 2
        first, last = (shorten(kind, room, self.size) for kind in self.ends)
        return [
            text(EDGE, self.size, first, size=self.size, class_="d-soft"),
            text(
                self.width - EDGE, self.size, last, size=self.size, anchor="end", class_="d-soft"
            ),
        ]

    # --- Vehicles ------------------------------------------------------------------------

    @cached_property
    def lettering(self) -> dict[int, list[str]]:
        """By its number, the lines each vehicle has room for; one without any is counted."""
        found = {spot.number: self._lines(spot) for spot in self.spots}
        cut = Counter(tuple(lines) for lines in found.values() if "…" in "".join(lines))
        for spot in self.spots:
            lines = found[spot.number]
            if not lines or cut[tuple(lines)] > 1:
                number = str(spot.number)
                has_room = text_width(number, self.size) <= spot.end - spot.start - 4
                found[spot.number] = [number] if has_room else []
        return found

    def _lines(self, spot: Spot) -> list[str]:
        return set_in(spot.label, spot.end - spot.start - 8, self.size)

    @cached_property
    def counted(self) -> list[tuple[Spot, float, str]]:
        """Numbers above vehicles too short to hold their own: each, or every second, fifth …"""
        bare = [s for s in self.spots if not self.lettering[s.number] and s.end > s.start]
        shown: list[tuple[Spot, float, str]] = []
        for step in (1, 2, 5, 10, 20):
            wanted = [s for s in bare if s.number == 1 or s.number % step == 0]
            shown = []
            edge = self.width - EDGE
            for spot in wanted:
                half = text_width(str(spot.number), 12) / 2
                if spot.centre + half <= edge and spot.centre - half >= EDGE:
                    shown.append((spot, spot.centre, str(spot.number)))
                    edge = spot.centre - half - 4
            if len(shown) == len(wanted):
                break
        return shown

    @property
    def lead(self) -> float:
        """How much of the sheet a turnout takes at the least, up to its clearance point."""
        return 80.0 if self.width == WIDE else 44.0

    @property
    def rise(self) -> float:
        """How far a diverging track climbs on the sheet: over the vehicles and their numbers."""
        if not self.spots and "turnout" not in self.ends:
            return 24
        return BODY + LIFT + 9 + (17 if self.counted else 0)

    @property
    def rail(self) -> float:
        return self.size + 9 + self.rise

    def _bodies(self) -> list[SafeString]:
        top = self.rail - LIFT - BODY
        pieces = []
        for spot in self.spots:
            start, width = spot.start + spot.inset, spot.end - spot.start - 2 * spot.inset
            if width <= 0:
                continue
            if not spot.stands:
                pieces.append(box(start, top, width, BODY + LIFT - 2, class_="d-dash d-part"))
                continue
            limit = self.at(self.outer)
            past = self.over and spot.start < limit - 0.1
            pieces.append(box(start, top, width, BODY, class_="d-body"))
            if width > 30:
                pieces.extend(
                    circle((x, self.rail - 3.5), 3, class_="d-part d-detail")
                    for x in (start + 9, start + width - 9)
                )
            if past:
                past_width = min(width, max(0.0, limit - start))
                pieces.append(box(start, top, past_width, BODY, class_="d-part d-no"))
                pieces.append(box(start, top, past_width, BODY, class_="d-no drawn-over"))
        return pieces

    def _marks(self) -> list[SafeString]:
        middle = self.rail - LIFT - BODY / 2
        pieces = []
        for spot in self.spots:
            lines = self.lettering[spot.number]
            for row, words in enumerate(lines):
                baseline = middle + 0.36 * self.size + (row - (len(lines) - 1) / 2) * self.pitch
                pieces.append(
                    text(
                        spot.centre,
                        baseline,
                        words,
                        size=self.size,
                        anchor="middle",
                        class_="d-inside" if spot.stands else "d-soft",
                    )
                )
        top = self.rail - LIFT - BODY
        for spot, centre, number in self.counted:
            pieces.append(line((centre, top), (centre, top - 4), class_="d-leader"))
            pieces.append(
                text(centre, top - 6, number, size=12, anchor="middle", class_="d-soft")
                if not spot.stands
                else text(centre, top - 6, number, size=12, anchor="middle")
            )
        return pieces

    @property
    def pitch(self) -> float:
        return self.size + 2.5

    # --- The track -----------------------------------------------------------------------

    def _places(self) -> list[tuple[str, float, float, int]]:
        """Each end's kind, its place, the clear length's limit there, which way is outside."""
        return [
            (self.ends[0], self.at(0), self.at(self.outer), -1),
            (self.ends[1], self.at(self.measured), self.at(self.inner), 1),
        ]

    def _runs_on(self, kind: str, place: float, limit: float, side: int) -> float:
        """Where the rails stop on that side."""
        match kind:
            case "turnout":
                return min(place, limit - self.lead) if side < 0 else max(place, limit + self.lead)
            case "buffer stop" | "table edge":
                return place
            case "joint":
                return place + side * 2.5
            case _:
                return place + side * OUTSIDE["mark"]

    def _rails(self) -> SafeString:
        start, end = (self._on_sheet(self._runs_on(*place)) for place in self._places())
        return group(
            line((start, self.rail + down), (end, self.rail + down), class_="d-detail")
            for down in (0, RAILS)
        )

    def _on_sheet(self, x: float) -> float:
        return max(EDGE, min(self.width - EDGE, x))

    def _turnouts(self) -> list[SafeString]:
        pieces = []
        for kind, place, limit, side in self._places():
            if kind != "turnout":
                continue
            lead = max(self.lead, min(abs(place - limit), 4 * self.lead))
            start = self._on_sheet(limit + side * lead)
            whole = max(1.0, abs(limit - start) / CLEARS_AT)
            tail = min(
                1.0, CLEARS_AT + (abs(self.at(self.inner) - self.at(self.outer)) / 2) / whole
            )
            curve = []
            for step in range(25):
                share = tail * step / 24
                x = self._on_sheet(start - side * share * whole)
                curve.append((x, self.rail - self._climb(share)))
            onward = self._on_sheet(curve[-1][0] - side * min(30, self.clear * self.scale[2] / 4))
            pieces.append(path([*curve, (onward, curve[-1][1])], class_="d-detail"))
            top = self.rail - self._climb(CLEARS_AT)
            hidden = self._behind_vehicles(limit)
            pieces += [
                line((limit, upper), (limit, lower), class_="d-dim d-dash")
                for upper, lower in _unbroken(limit, top - 4, self.rail + RAILS + 6, hidden)
            ]
        return pieces

    def _behind_vehicles(self, x: float) -> list[Box]:
        """What stands on that place, with its number where that is above it."""
        top = self.rail - LIFT - BODY
        found = [Box(s.start, s.end, top, self.rail) for s in self.spots if s.start < x < s.end]
        for _, centre, number in self.counted:
            half = text_width(number, 12) / 2 + 2
            found.append(Box(centre - half, centre + half, top - 18, top))
        return found

    def _climb(self, share: float) -> float:
        return self.rise * (3 * share**2 - 2 * share**3)

    def _ends(self) -> list[SafeString]:
        return [
            self._end(kind, place, side)
            for kind, place, _, side in self._places()
            if kind != "turnout"
        ]

    def _end(self, kind: str, x: float, side: int) -> SafeString:
        rail = self.rail
        match kind:
            case "buffer stop":
                start = x if side > 0 else x - 5
                return box(start, rail - 18, 5, 18 + RAILS + 3, class_="d-solid")
            case "joint":
                onward = [
                    line(
                        (x + side * 2.5, rail + down),
                        (x + side * 16, rail + down),
                        class_="d-leader",
                    )
                    for down in (0, RAILS)
                ]
                lips = [
                    line((x + dx, rail - 4), (x + dx, rail + RAILS + 4), class_="d-tick")
                    for dx in (-2.5, 2.5)
                ]
                gap = box(x - 2.5, rail - 1, 5, RAILS + 2, class_="d-gap")
                return group(onward, gap, lips)
            case "table edge":
                inward = x - side * 22
                top, foot = rail + RAILS, rail + RAILS + 13
                outline: list[Point] = [(inward, top), (x, top), (x, foot), (inward, foot)]
                return group(
                    hatch(outline, spacing=6),
                    path(outline[:3], class_="d-line"),
                    line((x, rail - 4), (x, foot), class_="d-heavy"),
                )
            case _:
                flag = [(x, rail - 20), (x + side * 9, rail - 15.5), (x, rail - 11)]
                # What stands past the mark hides its flag.
                hidden = self._behind_vehicles(x)
                staff = _unbroken(x, rail - 20, rail + RAILS + 4, hidden)
                return group(
                    (line((x, upper), (x, lower), class_="d-dim") for upper, lower in staff),
                    path(flag, closed=True, class_="d-solid")
                    if staff and staff[0][0] < rail - 11
                    else "",
                )

    # --- Dimensions ----------------------------------------------------------------------

    def _rows(self) -> list[list[Span]]:
        start, outer, inner, end = map(self.at, (0, self.outer, self.inner, self.measured))
        measured = Span(start, end, f"{self.say(self.measured)} measured", "d-ink")
        room = self.width - 2 * EDGE
        rows = [[measured], *self._taken_off()]
        tone = "d-no" if self.over else "d-accent"
        words = f"{self.say(self.clear)} clear · {self.rest}"
        if text_width(words, self.size, bold=True) <= room:
            rows.append([Span(outer, inner, words, tone, bold=True)])
        else:
            rows.append([Span(outer, inner, f"{self.say(self.clear)} clear", tone, bold=True)])
            room_left = (
                Span(outer, self.at(self.inner - self.stood), self.rest, tone, bold=True)
                if not self.over
                else Span(self.at(self.inner - self.stood), inner, self.rest, tone, bold=True)
            )
            rows.append([room_left])
        return rows

    def _taken_off(self) -> list[list[Span]]:
        """The deductions: beside each other inside the track, else each in a row of its own."""
        a_to = self.at(self.deductions[0][1])
        b_from, b_to = self.at(self.inner), self.at(self.measured)
        inside = b_from - max(a_to, self.at(self.outer)) - 2 * GAP
        room = self.width - 2 * EDGE
        off = []
        for (words, mm), (start, end), side in zip(
            self.deductions, ((self.at(0), a_to), (b_from, b_to)), (1, -1), strict=True
        ):
            if mm:
                number = self.say(mm)
                left = room - text_width(f" {number}", self.size)
                label = f"{shorten(words, left, self.size)} {number}".strip()
                fits = text_width(label, self.size) <= inside
                off.append(Span(start, end, label, "d-soft", side=side if fits else 0))
        wide = sum(text_width(span.words, self.size) for span in off) + 2 * GAP
        if len(off) == 2 and wide <= inside:
            return [off]
        return [[span] for span in off]

    def _centres(self, spans: Sequence[Span]) -> list[float] | None:
        return spread(
            [span.centre for span in spans],
            [text_width(span.words, self.size, bold=span.bold) for span in spans],
            start=EDGE,
            end=self.width - EDGE,
            gap=2 * GAP,
        )

    def _dimensions(self) -> tuple[list[SafeString], float]:
        """The rows of dimensions; an extension line is broken where it would cross words."""
        spans: list[tuple[Span, float]] = []
        words: list[SafeString] = []
        taken: list[Box] = []
        base = self.rail + RAILS + 17
        foot = base
        hanging = self.rail + RAILS + 8
        rows = self._rows()
        for number, row in enumerate(rows):
            beside = all(span.side for span in row)
            under = number == len(rows) - 1 and not beside and self._is_wider(row[0])
            if beside:
                at = base + self.size / 2 + 4
                label, base = at + 0.36 * self.size, at + self.size / 2 + 5
            elif under:
                at = base + 5
                label, base = at + self.size + 4, at + self.size + 8
            else:
                label, base = base + self.size * 0.75 + 3, base + self.size + 13
                at = label + 6
            spans += [(span, at) for span in row]
            centres = self._centres(row) or [self.width / 2] * len(row)
            for span, centre in zip(row, centres, strict=True):
                spoken = shorten(span.words, self.width - 2 * EDGE, self.size)
                if beside and span.side > 0:
                    x, anchor = max(span.end, self.at(self.outer)) + GAP, "start"
                elif beside:
                    x, anchor = span.start - GAP, "end"
                else:
                    x, anchor = centre, "middle"
                taken.append(self._room_of(spoken, x, label, anchor, is_bold=span.bold))
                words.append(
                    text(
                        x,
                        label,
                        spoken,
                        size=self.size,
                        anchor=anchor,
                        class_=f"d-label {span.tone}" if span.bold else span.tone,
                    )
                )
            foot = at + self.size + 4 if under else at
        lines = [_span(span, hanging, at, taken) for span, at in spans]
        return [*lines, *words], foot + 8

    def _is_wider(self, span: Span) -> bool:
        """Whether the words would reach over the extension lines at both their ends."""
        width = text_width(span.words, self.size, bold=span.bold)
        return width > abs(span.end - span.start) - 2 * GAP

    def _room_of(
        self, words: str, x: float, baseline: float, anchor: str, *, is_bold: bool
    ) -> Box:
        width = text_width(words, self.size, bold=is_bold)
        left = x - {"start": 0.0, "middle": width / 2, "end": width}[anchor]
        return Box(left - 3, left + width + 3, baseline - self.size, baseline + 0.3 * self.size)


def _span(span: Span, top: float, at: float, taken: Sequence[Box]) -> SafeString:
    """A dimension line; one too short for arrows has its two extension lines to show it."""
    start, end = sorted((span.start, span.end))
    tone = span.tone
    hanging = [
        line((x, upper), (x, lower), class_=f"d-extension {tone}")
        for x in (start, end)
        for upper, lower in _unbroken(x, top, at + 4, taken)
    ]
    if end - start < 24:
        return group(hanging, line((start, at), (end, at), class_=f"d-whisker {tone}"))
    return group(
        hanging,
        line((start, at), (end, at), class_=f"d-dim {tone}"),
        arrow_head((start, at), (-1, 0), class_=tone),
        arrow_head((end, at), (1, 0), class_=tone),
    )


def _unbroken(x: float, top: float, bottom: float, taken: Sequence[Box]) -> list[Point]:
    """The stretches of an upright line, from and to, that run through no words."""
    stretches = []
    upper = top
    for each in sorted(taken, key=lambda each: each.top):
        if each.left < x < each.right and each.bottom > upper and each.top < bottom:
            if each.top > upper:
                stretches.append((upper, each.top))
            upper = each.bottom
    if upper < bottom:
        stretches.append((upper, bottom))
    return stretches


def set_in(words: str, room: float, size: float) -> list[str]:
    """Words in one line or two, shortened where their end can stay; none where they cannot."""
    words = " ".join(words.split())
    if not words:
        return []
    if text_width(words, size) <= room:
        return [words]
    parts = words.split(" ")
    splits = [(" ".join(parts[:i]), " ".join(parts[i:])) for i in range(1, len(parts))]
    if splits:
        best = min(splits, key=lambda pair: max(map(len, pair)))
        if text_width(max(best, key=len), size) <= room:
            return list(best)
        head, tail = splits[-1]
        short = shorten(head, room, size)
        if text_width(tail, size) <= room and len(short) >= 4:
            return [short, tail]
    fitting = math.floor(room / text_width("x", size))
    return [shorten(words, room, size)] if fitting >= 6 and not splits else []
