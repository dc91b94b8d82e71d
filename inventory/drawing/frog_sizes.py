"""The sizes of a wheelset and a frog that a drawing needs, and which of them nobody measured."""

from __future__ import annotations

import math
from collections.abc import Sequence

from django.utils.safestring import SafeString

from inventory.drawing.profile import positive
from inventory.drawing.shapes import Tyre
from inventory.drawing.svg import figure, shorten, text
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


def number(mm: float, unit: str) -> str:
    """A size as it is written in drawings: hundredths of a mm, ten-thousandths of an inch."""
    if unit == "mm":
        return figure(mm, 2)
    return figure(mm / MM_PER_INCH, 4).removesuffix("0")


def spelled(mm: float, unit: str) -> str:
    """A size with its unit."""
    return f"{number(mm, unit)} {unit}"


def heading(words: str, top: float) -> SafeString:
    """What a view shows, at its upper left corner."""
    return text(EDGE, top + 13, shorten(words, ROOM, SIZE), size=SIZE, class_="d-soft")


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

    def dashed(self, *keys: str) -> str:
        """The class of what is drawn from these, if one was not measured."""
        return " d-dash" if self.missing(keys) else ""

    @property
    def tyre(self) -> Tyre:
        return Tyre(self.width, self.thickness, self.depth)
