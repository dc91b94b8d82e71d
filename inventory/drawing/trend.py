"""A reading's history over its inspections, with the limits as a band."""

import math
from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from django.utils.safestring import SafeString

from inventory.drawing.axis import Axis, axis
from inventory.drawing.svg import (
    Point,
    arrow_head,
    box,
    circle,
    fading,
    figure,
    finite,
    line,
    path,
    sheet,
    shorten,
    spread,
    text,
    text_width,
)

WIDTH, HEIGHT = 340.0, 150.0
TOP, BOTTOM = 14.0, 118.0
EDGE = 4.0
SIZE, LAST_SIZE = 12.0, 13.0
LABEL = 96.0

Reading = tuple[str, Decimal]


def trend(
    points: Sequence[Reading],
    low: Decimal | None,
    high: Decimal | None,
    unit: str,
    *,
    decimals: int | None = None,
) -> SafeString:
    """The readings from left to right, the oldest first, the last one with its value.

    Days written as 2026-11-25 lie in proportion to the time between them; other labels are
    spaced evenly. Without `decimals` every number gets as many as the finest of them has.
    """
    low, high = finite(low), finite(high)
    readings = [(day, Decimal(value)) for day, value in points if math.isfinite(value)]
    if not readings:
        return SafeString("")
    limits = [Decimal(limit) for limit in (low, high) if limit is not None]
    values = [value for _, value in readings]
    places = _decimals([*values, *limits]) if decimals is None else decimals
    last = shorten(f"{figure(values[-1], places)} {unit}".rstrip(), LABEL, LAST_SIZE)

    limit_words = [shorten(figure(limit, places), LABEL, SIZE) for limit in limits]
    if len(limits) == 1:
        limit_words = [f"{'max' if low is None else 'min'} {limit_words[0]}"]
    left = EDGE + max((text_width(word, SIZE) + 6 for word in limit_words), default=4)
    right = WIDTH - EDGE - text_width(last, LAST_SIZE, bold=True) - 10
    scale = axis(low=low, high=high, marks=values, start=BOTTOM, end=TOP)
    across = _across([day for day, _ in readings], left + 6, right)
    spots = [(x, scale.at(value)) for x, value in zip(across, values, strict=True)]

    return sheet(
        WIDTH,
        HEIGHT,
        _band(scale, low, high, left, right + 6),
        _limit_labels(scale, limits, limit_words, left),
        line((left, BOTTOM + 8), (right + 6, BOTTOM + 8), class_="d-axis"),
        (line((x, BOTTOM + 8), (x, BOTTOM + 12), class_="d-axis") for x in across),
        path(spots, class_="d-trace") if len(spots) > 1 else [],
        (
            _spot(spot, scale.beyond(value), last=spot is spots[-1])
            for spot, value in zip(spots, values, strict=True)
        ),
        text(
            spots[-1][0] + 10,
            spots[-1][1] + LAST_SIZE * 0.36,
            last,
            size=LAST_SIZE,
            class_="d-value",
        ),
        _day_labels(readings, spots[0][0], spots[-1][0]),
        title=_title(readings, low, high, unit, places),
        class_="d-trend",
    )


def _spot(spot: Point, beyond: int, *, last: bool) -> SafeString:
    """A reading's dot; one too far out to be drawn to scale is an arrow that way."""
    tone = "d-ink"
    if beyond:
        tip = (spot[0], spot[1] - beyond * 5)
        return arrow_head(tip, (0, -beyond), class_=tone)
    return circle(spot, 5 if last else 3.2, class_=f"d-solid {tone}")


def _across(days: Sequence[str], start: float, end: float) -> list[float]:
    if len(days) == 1:
        return [(start + end) / 2]
    try:
        ranks = [float(date.fromisoformat(day).toordinal()) for day in days]
    except ValueError:
        ranks = []
    if not ranks or ranks != sorted(ranks) or ranks[0] == ranks[-1]:
        ranks = [float(rank) for rank in range(len(days))]
    share = (end - start) / (ranks[-1] - ranks[0])
    return [start + (rank - ranks[0]) * share for rank in ranks]


def _band(
    scale: Axis, low: Decimal | None, high: Decimal | None, left: float, right: float
) -> list[SafeString]:
    if low is None and high is None:
        return []
    if low is not None and high is not None and low > high:
        return []
    top = scale.at(high) if high is not None else TOP - 10
    foot = scale.at(low) if low is not None else BOTTOM + 8
    if high is None:
        pieces = [fading(left, top, right - left, foot - top, towards="up", class_="d-zone")]
    else:
        pieces = [box(left, top, right - left, foot - top, class_="d-zone")]
    pieces.extend(
        line((left, scale.at(limit)), (right, scale.at(limit)), class_="d-limit")
        for limit in (low, high)
        if limit is not None
    )
    return pieces


def _limit_labels(
    scale: Axis, limits: Sequence[Decimal], words: Sequence[str], left: float
) -> list[SafeString]:
    if not limits:
        return []
    downwards = sorted(
        zip((scale.at(limit) for limit in limits), words, strict=True), key=lambda pair: pair[0]
    )
    heights = [SIZE + 2] * len(limits)
    centres = spread([y for y, _ in downwards], heights, start=0, end=HEIGHT - 18, gap=1)
    assert centres is not None, "two lines of text always fit the height"
    return [
        text(left - 6, centre + SIZE * 0.36, word, size=SIZE, anchor="end", class_="d-soft")
        for centre, (_, word) in zip(centres, downwards, strict=True)
    ]


def _day_labels(readings: Sequence[Reading], first: float, last: float) -> list[SafeString]:
    if len(readings) == 1:
        day = shorten(readings[0][0], WIDTH - 2 * EDGE, SIZE)
        half = text_width(day, SIZE) / 2
        centre = max(EDGE + half, min(WIDTH - EDGE - half, first))
        return [text(centre, HEIGHT - 6, day, size=SIZE, anchor="middle", class_="d-soft")]
    room = (WIDTH - 2 * EDGE - 12) / 2
    ends = [shorten(readings[0][0], room, SIZE), shorten(readings[-1][0], room, SIZE)]
    widths = [text_width(word, SIZE) for word in ends]
    centres = spread([first, last], widths, start=EDGE, end=WIDTH - EDGE, gap=12)
    assert centres is not None, "each label was shortened to half the width"
    return [
        text(centre, HEIGHT - 6, word, size=SIZE, anchor="middle", class_="d-soft")
        for centre, word in zip(centres, ends, strict=True)
    ]


def _title(
    readings: Sequence[Reading],
    low: Decimal | None,
    high: Decimal | None,
    unit: str,
    decimals: int,
) -> str:
    day, value = readings[-1]
    words = [f"{figure(value, decimals)} {unit} on {day}"]
    if low is not None and value < low:
        words.append(f"below the lower limit {figure(low, decimals)}")
    elif high is not None and value > high:
        words.append(f"above the upper limit {figure(high, decimals)}")
    elif low is not None and high is not None:
        words.append(f"limits {figure(low, decimals)} to {figure(high, decimals)}")
    elif low is not None:
        words.append(f"limit at least {figure(low, decimals)}")
    elif high is not None:
        words.append(f"limit at most {figure(high, decimals)}")
    if len(readings) > 1:
        before = "; ".join(f"{figure(v, decimals)} on {d}" for d, v in readings[-9:-1])
        words.append(f"before that {before}")
    return "Last reading " + ", ".join(words) + "."


def _decimals(numbers: Sequence[Decimal]) -> int:
    exponents = [number.as_tuple().exponent for number in numbers]
    return max(0, min(4, -min(e for e in exponents if isinstance(e, int))))
