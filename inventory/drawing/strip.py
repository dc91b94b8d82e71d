"""A value inside its limits: the zone, the value's mark by verdict, the uncertainty's whisker."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from django.utils.safestring import SafeString

from inventory.drawing.axis import Axis, axis
from inventory.drawing.marks import tone
from inventory.drawing.svg import (
    Point,
    arrow_head,
    box,
    circle,
    fading,
    figure,
    finite,
    group,
    line,
    path,
    sheet,
    shorten,
    spread,
    text,
    text_width,
)

WIDTH = 240.0
START, END = 16.0, 224.0
EDGE = 2.0
VALUE_LINE, AXIS_LINE, LIMIT_LINE, SECOND_LINE = 12.0, 29.0, 54.0, 68.0
ZONE_HALF, TICK_HALF, WHISKER_HALF = 8.0, 12.0, 5.0
SIZE, VALUE_SIZE = 12.0, 13.0
MARK = 6.0
GAP = 8.0


def tolerance_strip(
    *,
    value: Decimal | None,
    low: Decimal | None,
    high: Decimal | None,
    expanded: float | None,
    outcome: str,
    unit: str,
    decimals: int = 3,
    nominal: Decimal | None = None,
) -> SafeString:
    """The strip for one reading, to scale; a value far outside stands at the edge, cut off.

    `expanded` is the expanded uncertainty: the whisker runs from value - expanded to
    value + expanded. `outcome` is the verdict's word. Either limit may be missing.
    """
    strip = Strip(
        value=_decimal(value),
        low=_decimal(low),
        high=_decimal(high),
        expanded=abs(float(finite(expanded) or 0)),
        nominal=_decimal(nominal),
        outcome=outcome,
        unit=unit,
        decimals=decimals,
    )
    return strip.draw()


@dataclass(frozen=True)
class Strip:
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    expanded: float
    nominal: Decimal | None
    outcome: str
    unit: str
    decimals: int

    def draw(self) -> SafeString:
        labels, stacked = self._limit_labels()
        return sheet(
            WIDTH,
            (SECOND_LINE if stacked else LIMIT_LINE) + 5,
            self._zone(),
            line((EDGE, AXIS_LINE), (WIDTH - EDGE, AXIS_LINE), class_="d-axis"),
            self._nominal(),
            (
                line(*_upright(self.axis.at(limit), TICK_HALF), class_="d-tick")
                for limit in self.limits
            ),
            self._value(),
            labels,
            title=self.title(),
            class_="d-strip",
        )

    @property
    def limits(self) -> list[Decimal]:
        """Those there are; once only where both are the same number."""
        both = [limit for limit in (self.low, self.high) if limit is not None]
        return both[:1] if self.low == self.high else both

    @cached_property
    def axis(self) -> Axis:
        whisker: list[float] = []
        if self.value is not None:
            whisker = [float(self.value) - self.expanded, float(self.value) + self.expanded]
        return axis(
            low=self.low,
            high=self.high,
            marks=(self.value, self.nominal),
            wishes=whisker,
            start=START,
            end=END,
        )

    # --- Words ---------------------------------------------------------------------------

    def figure(self, number: Decimal | float) -> str:
        return figure(number, self.places)

    @cached_property
    def places(self) -> int:
        """As many more decimals as it takes to tell the value from a limit it just misses."""
        numbers = [*self.limits, *([] if self.value is None else [self.value])]
        for places in range(self.decimals, self.decimals + 3):
            if len({figure(number, places) for number in numbers}) == len(set(numbers)):
                return places
        return self.decimals + 3

    def title(self) -> str:
        said = self.outcome[:1].upper() + self.outcome[1:]
        if self.value is None:
            reading = "not measured"
        else:
            reading = f"{self.figure(self.value)} {self.unit}"
            if self.expanded:
                reading += f" ± {_uncertainty(self.expanded, self.places)}"
        words = [f"{said}: {reading}", self._limits_in_words()]
        if self.nominal is not None:
            words.append(f"nominal {self.figure(self.nominal)}")
        return ", ".join(words) + "."

    def _limits_in_words(self) -> str:
        low, high = self.low, self.high
        if low is not None and high is not None:
            return f"limits {self.figure(low)} to {self.figure(high)} {self.unit}"
        if low is not None:
            return f"limit at least {self.figure(low)} {self.unit}"
        if high is not None:
            return f"limit at most {self.figure(high)} {self.unit}"
        return "no limit"

    # --- Shapes --------------------------------------------------------------------------

    def _zone(self) -> list[SafeString]:
        if not self.limits:
            return []
        left = self.axis.at(self.low) if self.low is not None else EDGE
        right = self.axis.at(self.high) if self.high is not None else WIDTH - EDGE
        top, height = AXIS_LINE - ZONE_HALF, 2 * ZONE_HALF
        if self.low is not None and self.high is not None:
            return [box(left, top, max(0.0, right - left), height, class_="d-zone")]
        towards, tip, direction = ("right", right, 1) if self.high is None else ("left", left, -1)
        return [
            fading(left, top, right - left, height, towards=towards, class_="d-zone"),
            arrow_head((tip, AXIS_LINE), (direction, 0), class_="d-axis-head"),
        ]

    def _nominal(self) -> list[SafeString]:
        if self.nominal is None or self.axis.beyond(self.nominal):
            return []
        return [line(*_upright(self.axis.at(self.nominal), TICK_HALF), class_="d-centre")]

    def _value(self) -> list[SafeString]:
        if self.value is None:
            return [text(WIDTH / 2, VALUE_LINE, "not measured", anchor="middle", class_="d-soft")]
        colour = tone(self.outcome)
        words = shorten(
            f"{self.figure(self.value)} {self.unit}".rstrip(), WIDTH - 4 * EDGE, VALUE_SIZE
        )
        place = self.axis.at(self.value)
        half = text_width(words, VALUE_SIZE, bold=True) / 2
        centre = max(EDGE + half, min(WIDTH - EDGE - half, place))
        label = text(
            centre,
            VALUE_LINE,
            words,
            size=VALUE_SIZE,
            anchor="middle",
            class_=f"d-value {colour}",
        )
        beyond = self.axis.beyond(self.value)
        if beyond:
            return [label, _cut_off(beyond, self.outcome, colour)]
        return [label, self._whisker(colour), _mark((place, AXIS_LINE), self.outcome, colour)]

    def _whisker(self, colour: str) -> SafeString:
        if not self.expanded or self.value is None:
            return group()
        ends = [float(self.value) - self.expanded, float(self.value) + self.expanded]
        places = [self.axis.at(end) for end in ends]
        if places[1] - places[0] < 2 * MARK:
            return group()  # shorter than the mark is wide: nothing would show but two stubs
        pieces = [
            line((places[0], AXIS_LINE), (places[1], AXIS_LINE), class_=f"d-whisker {colour}")
        ]
        for end, place, side in zip(ends, places, (-1, 1), strict=True):
            if self.axis.beyond(end):
                tip = EDGE if side < 0 else WIDTH - EDGE
                pieces.append(
                    line((place, AXIS_LINE), (tip, AXIS_LINE), class_=f"d-whisker {colour}")
                )
                pieces.append(arrow_head((tip, AXIS_LINE), (side, 0), class_=colour))
            else:
                pieces.append(line(*_upright(place, WHISKER_HALF), class_=f"d-whisker {colour}"))
        return group(pieces)

    def _limit_labels(self) -> tuple[list[SafeString], bool]:
        """The limits' numbers under their ticks, side by side or, too long for that, stacked."""
        if not self.limits:
            bare = text(WIDTH / 2, LIMIT_LINE, "no limit", anchor="middle", class_="d-soft")
            return [bare], False
        words = [shorten(self.figure(limit), WIDTH - 8 * EDGE, SIZE) for limit in self.limits]
        if self.low is not None and self.high is None:
            words = [f"min {words[0]}"]
        elif self.low is None:
            words = [f"max {words[0]}"]
        ticks = [self.axis.at(limit) for limit in self.limits]
        widths = [text_width(word, SIZE) for word in words]
        centres = spread(ticks, widths, start=EDGE, end=WIDTH - EDGE, gap=GAP)
        stacked = centres is None
        if centres is None:
            centres = [
                max(EDGE + width / 2, min(WIDTH - EDGE - width / 2, tick))
                for tick, width in zip(ticks, widths, strict=True)
            ]
        pieces = []
        for row, (tick, centre, word) in enumerate(zip(ticks, centres, words, strict=True)):
            baseline = SECOND_LINE if stacked and row else LIMIT_LINE
            foot = AXIS_LINE + TICK_HALF
            if abs(centre - tick) > 4 and not row * stacked:
                leader = (tick, foot), (centre, baseline - SIZE + 1.5)
                pieces.append(line(*leader, class_="d-leader"))
            pieces.append(text(centre, baseline, word, size=SIZE, anchor="middle"))
        return pieces, stacked


def _mark(at: Point, outcome: str, colour: str) -> SafeString:
    x, y = at
    match outcome:
        case "within":
            return circle(at, 5, class_=f"d-solid {colour}")
        case "outside":
            arms = ((-5.5, -5.5), (5.5, 5.5)), ((-5.5, 5.5), (5.5, -5.5))
            return group(
                line((x + a, y + b), (x + c, y + d), class_=f"d-cross {colour}")
                for (a, b), (c, d) in arms
            )
        case "undecided":
            corners = ((x, y - 7.5), (x + 7.5, y), (x, y + 7.5), (x - 7.5, y))
            return path(corners, closed=True, class_=f"d-solid {colour}")
        case _:
            return circle(at, 4.5, class_=f"d-open {colour}")


def _cut_off(side: int, outcome: str, colour: str) -> SafeString:
    """A value out of the picture: its mark near the edge, an arrow onward, the axis broken."""
    edge = WIDTH - EDGE if side > 0 else EDGE
    place = edge - side * 20
    gap = place - side * 17
    slashes = (
        line((gap + dx - 3, AXIS_LINE + 7), (gap + dx + 3, AXIS_LINE - 7), class_="d-break")
        for dx in (-2.5, 2.5)
    )
    return group(
        box(gap - 2.5, AXIS_LINE - 2, 5, 4, class_="d-gap"),
        slashes,
        line((place, AXIS_LINE), (edge - side * 5, AXIS_LINE), class_=f"d-whisker {colour}"),
        arrow_head((edge, AXIS_LINE), (side, 0), class_=colour),
        _mark((place, AXIS_LINE), outcome, colour),
    )


def _upright(x: float, half: float) -> tuple[Point, Point]:
    return (x, AXIS_LINE - half), (x, AXIS_LINE + half)


def _decimal(value: Decimal | None) -> Decimal | None:
    """The number as a decimal; None for a missing one and for what is not a number."""
    value = finite(value)
    return None if value is None else Decimal(value)


def _uncertainty(expanded: float, decimals: int) -> str:
    """To the strip's decimals, or to the one figure that keeps it from reading as nothing."""
    shown = figure(expanded, decimals)
    return shown if shown.strip("0.") else f"{expanded:.1g}"
