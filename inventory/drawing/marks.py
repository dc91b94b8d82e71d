"""The small sign beside a verdict's word. Each has its own shape: colour only repeats it."""

from dataclasses import dataclass
from functools import cache

from django.utils.safestring import SafeString

from inventory.drawing.svg import element


@dataclass(frozen=True)
class Sign:
    """Strokes in a 16 by 16 box, and the class that gives them their tone."""

    tone: str
    strokes: tuple[str, ...]


_RING = "M8 1.5a6.5 6.5 0 1 1 0 13a6.5 6.5 0 1 1 0-13Z"
_TICK = "M4.9 8.3l2.2 2.4L11.2 5.6"
_SQUARE = "M1.75 1.75h12.5v12.5h-12.5Z"
_CROSS = "M5 5l6 6M11 5l-6 6"

_WITHIN = Sign("d-ok", (_RING, _TICK))
_OUTSIDE = Sign("d-no", (_SQUARE, _CROSS))

_UNDECIDED = Sign("d-maybe", ("M8 1.25l6.75 6.75L8 14.75L1.25 8Z",))
_AWAITING = Sign("d-none", ("M3 1.75h10M3 14.25h10", "M4.25 2l7.5 12M11.75 2L4.25 14"))

SIGNS: dict[str, Sign] = {
    "within": _WITHIN,
    "outside": _OUTSIDE,
    "undecided": _UNDECIDED,
    "not judged": Sign("d-none", ("M1 8h3.6M6.2 8h3.6M11.4 8H15",)),
    "fit to run": _WITHIN,
    "fit with advice": Sign("d-maybe", (_RING, "M8 4.2v4.9M8 11.2v.6")),
    "bad order": _OUTSIDE,
    "awaiting inspection": _AWAITING,
    "in order": _WITHIN,
    "doubtful": _UNDECIDED,
    "measured in part": _AWAITING,
    "to mend": _OUTSIDE,
    "not inspected": _AWAITING,
}


def tone(outcome: str) -> str:
    """The class that colours a verdict or service state; unknown words are neutral."""
    sign = SIGNS.get(outcome)
    return sign.tone if sign else "d-none"


@cache
def verdict_mark(outcome: str) -> SafeString:
    """The sign for a verdict or a service state, hidden from readers: its word stands beside.

    An unknown word has no sign.
    """
    sign = SIGNS.get(outcome)
    if sign is None:
        return SafeString("")
    return element(
        "svg",
        (element("path", d=strokes) for strokes in sign.strokes),
        xmlns="http://www.w3.org/2000/svg",
        viewBox="0 0 16 16",
        width=16,
        height=16,
        class_=f"d-mark {sign.tone}",
        aria_hidden="true",
        focusable="false",
    )


@cache
def worded_mark(outcome: str) -> SafeString:
    """A verdict or a service state with its sign and its word."""
    return element("span", verdict_mark(outcome), outcome, class_=f"v {outcome.replace(' ', '-')}")
