"""The stretch of a number line that a drawing shows, chosen so that the limits stay readable."""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from inventory.drawing.svg import Number, finite

MARGIN = 0.6
"""What is always shown beyond a limit, in widths of the zone between the limits."""

REACH = 1.6
"""How far beyond a limit a mark may lie, in the same widths, before it is out of the picture."""

AIR = 1.12
"""Room left beyond the outermost mark."""


@dataclass(frozen=True)
class Axis:
    """Values from `low` to `high` laid out on positions from `start` to `end`."""

    low: float
    high: float
    start: float
    end: float

    def at(self, value: Number) -> float:
        """The position of a value; one out of the picture gets the position of that end."""
        share = (float(value) - self.low) / (self.high - self.low)
        return self.start + min(1.0, max(0.0, share)) * (self.end - self.start)

    def beyond(self, value: Number) -> int:
        """-1 or 1 for a value out of the picture below or above, 0 for one in it."""
        return (value > self.high) - (value < self.low)


def axis(
    *,
    low: Number | None,
    high: Number | None,
    marks: Iterable[Number | None],
    wishes: Iterable[Number | None] = (),
    start: float,
    end: float,
) -> Axis:
    """The axis for these limits and the values to mark on it.

    The zone between two limits keeps about a quarter of the width whatever the marks; beside a
    single limit a mark goes out of the picture when it misses by over half the limit. `wishes`
    (the ends of a whisker) widen the picture as far as they may, but never lose a mark.
    """
    shown, wished = _floats(marks), _floats(wishes)
    floor, ceiling = _optional(low), _optional(high)
    if floor is not None and ceiling is not None and floor <= ceiling:
        window = _between(floor, ceiling, shown, wished)
    elif floor is not None:
        window = _above(floor, shown, wished)
    elif ceiling is not None:
        above, below = _above(-ceiling, [-mark for mark in shown], [-wish for wish in wished])
        window = (-below, -above)
    else:
        window = _around(shown + wished)
    return Axis(*window, start=start, end=end)


def _between(
    low: float, high: float, marks: list[float], wishes: list[float]
) -> tuple[float, float]:
    span = high - low
    if span <= _grain(low, high):
        misses = [abs(value - low) for value in marks + wishes]
        span = max([*misses, abs(low) / 100 or 1.0]) / REACH
    sizes = {"least": MARGIN * span, "most": REACH * span, "cut": span}
    return (
        low - _margin([low - mark for mark in marks], [low - wish for wish in wishes], **sizes),
        high + _margin([mark - high for mark in marks], [wish - high for wish in wishes], **sizes),
    )


def _above(limit: float, marks: list[float], wishes: list[float]) -> tuple[float, float]:
    """For a lower limit alone; an upper one is its mirror image."""
    reach = abs(limit) / 2 or math.inf
    misses, wished = [limit - mark for mark in marks], [limit - wish for wish in wishes]
    room = max([abs(miss) for miss in misses if miss <= reach], default=0.0)
    wish = max((abs(miss) for miss in wished if miss <= reach), default=0.0)
    room = max(room, min(wish, 12 * room)) if room > _grain(limit) else wish
    if room <= _grain(limit):
        room = abs(limit) / 10 or 1.0
    margin = _margin(misses, wished, least=0.5 * room, most=reach, cut=0.8 * room)
    return limit - min(margin, AIR * max(room, *misses, 0.0)), limit + AIR * room


def _margin(
    misses: list[float], wishes: list[float], *, least: float, most: float, cut: float
) -> float:
    """Room beyond a limit for what misses it; a set piece when a mark is out of the picture."""
    worst = max([*misses, 0.0])
    if worst > most:
        return cut
    wish = min(max([*wishes, 0.0]), most)
    return max(least, AIR * worst, AIR * wish)


def _around(marks: list[float]) -> tuple[float, float]:
    if not marks:
        return 0.0, 1.0
    low, high = min(marks), max(marks)
    room = high - low if high - low > _grain(low, high) else abs(low) / 10 or 1.0
    return low - room / 2, high + room / 2


def _floats(values: Iterable[Number | None]) -> list[float]:
    return [float(value) for value in values if value is not None and math.isfinite(value)]


def _optional(value: Number | None) -> float | None:
    value = finite(value)
    return None if value is None else float(value)


def _grain(*values: float) -> float:
    """Differences below this are lost in the float's own rounding."""
    return max([abs(value) for value in values] + [1e-9]) * 1e-12
