"""What may cause each kind of trouble on the line, and what to do about each cause."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path

from standards.quantities import QUANTITIES
from standards.remedies import COMMON_PRACTICE


class Happening(StrEnum):
    """What was seen, in the trade's words."""

    POINTS = "points"
    CLIMBED_FROG = "frog-climb"
    DROPPED_FROG = "frog-drop"
    CLIMBED_CURVE = "curve-climb"
    STRAIGHT = "straight"
    PULLED_OVER = "pulled-over"
    BUFFERS = "buffers"
    UNCOUPLED = "uncoupled"
    SHORT = "short"
    OTHER = "other"

    @property
    def words(self) -> str:
        return _WORDS[self]

    @property
    def is_derailment(self) -> bool:
        """Whether it leaves a vehicle off its rails; what is told as something else may not."""
        return self not in (Happening.UNCOUPLED, Happening.SHORT, Happening.OTHER)


_WORDS = {
    Happening.POINTS: "picked the points",
    Happening.CLIMBED_FROG: "climbed the frog",
    Happening.DROPPED_FROG: "dropped at the frog",
    Happening.CLIMBED_CURVE: "climbed on a curve",
    Happening.STRAIGHT: "left the rails on straight track",
    Happening.PULLED_OVER: "pulled over on the inside of a curve",
    Happening.BUFFERS: "buffers locked",
    Happening.UNCOUPLED: "came uncoupled",
    Happening.SHORT: "short circuit",
    Happening.OTHER: "something else",
}

_BY_VERDICT = f"the limit is the one its verdict names; the rest is {COMMON_PRACTICE}"

WHERE = ("vehicle", "track", "train")


@dataclass(frozen=True)
class Cause:
    """One cause. quantity and too: what confirms it once it was measured; empty where nothing
    that is measured here does. mend: what to do and by how much."""

    happenings: tuple[Happening, ...]
    where: str
    title: str
    why: str
    check: str
    mend: str
    tools: tuple[str, ...]
    caution: str
    source: str
    quantity: str = ""
    too: str = ""

    def is_confirmed_by(self, outside: Mapping[str, set[str]]) -> bool:
        """Whether it was measured and found. outside: by quantity, "small" and "large" where it
        was found too small and too large."""
        return self.too in outside.get(self.quantity, ())


@cache
def causes() -> tuple[Cause, ...]:
    """Every cause, the likeliest first. Raises ValueError naming the entry and what is wrong."""
    with (Path(__file__).parent / "causes.toml").open("rb") as file:
        raw = tomllib.load(file)["cause"]
    return tuple(_cause(entry) for entry in raw)


def _cause(entry: Mapping[str, object]) -> Cause:
    title = entry.get("title", "without a title")
    quantity, too = str(entry.get("quantity", "")), str(entry.get("too", ""))
    if entry["where"] not in WHERE:
        raise ValueError(f"{title}: where is {entry['where']!r}; it is one of {', '.join(WHERE)}.")
    if quantity and quantity not in QUANTITIES:
        raise ValueError(f"{title}: no quantity is called {quantity!r}; see quantities.py.")
    if bool(quantity) != (too in ("small", "large")):
        raise ValueError(f"{title}: a quantity is too small or too large; too is {too!r}.")
    fields = {
        name: str(entry[name]) for name in ("where", "title", "why", "check", "mend", "caution")
    }
    happenings, tools = entry["happenings"], entry["tools"]
    assert isinstance(happenings, list) and isinstance(tools, list)
    return Cause(
        happenings=tuple(Happening(each) for each in happenings),
        tools=tuple(tools),
        source=str(entry.get("source", _BY_VERDICT if quantity else COMMON_PRACTICE)),
        quantity=quantity,
        too=too,
        **fields,
    )


def causes_of(happening: Happening) -> tuple[Cause, ...]:
    """What may have caused it, the likeliest first."""
    return tuple(each for each in causes() if happening in each.happenings)
