"""How wheel and track meet: each relation in plain words, with figures of one pair of sheets.

The pair is NMRA S-3.2 and S-4.2 at HO, with the flange of RP-25 code 110, since S-4.2 prints
none. Each relation takes the printed limit that is worst for it. What no sheet prints is chosen
here and said to be.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from standards import sheets
from standards.guidance import Relation, Way, Wheels, margins
from standards.metrology import Measured
from standards.units import to_base

TRACK, WHEELS, CONTOURS = "nmra-s-3.2", "nmra-s-4.2", "nmra-rp-25"
SCALE, CODE = "HO", "code 110"
FROG_NUMBER = 6

WHEEL_SIZES = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")

LETTERS: Mapping[str, str] = {
    "B": "back-to-back of the wheels",
    "T": "flange thickness",
    "D": "flange depth",
    "N": "tyre width",
    "G": "track gauge",
    "C": "check gauge",
    "S": "span over guard and wing rail",
    "F": "flangeway at the frog",
    "H": "flangeway depth",
    "R": "rail height",
    "E": "height of the fastenings",
}


@dataclass(frozen=True)
class Size:
    """One figure: its letter, millimetres, and where it is from, in words."""

    letter: str
    mm: Decimal
    source: str

    @property
    def name(self) -> str:
        """What the letter stands for."""
        return LETTERS[self.letter]


@dataclass(frozen=True)
class Explained:
    """One relation: how to read it, its figures, the margin that is left and its drawing."""

    code: str
    title: str
    formula: str
    plain: str
    broken: str
    measured: str
    source: str
    sizes: tuple[Size, ...]
    margin: Decimal
    drawing: Mapping[str, object]


def _printed(sheet_id: str, row: str, code: str, which: str, said: str) -> tuple[Decimal, str]:
    """A printed limit in mm, and its sheet with what it is."""
    limit = sheets.sheet(sheet_id).row(row).limits[code]
    mm = {"least": limit.low, "greatest": limit.high, "nominal": limit.nominal}[which]
    assert mm is not None, f"{sheet_id} {row} prints no {which} {code}"
    return mm, f"{sheets.sheet(sheet_id).short}, {said}"


def _sizes() -> dict[str, Size]:
    """The figures by a key; a letter with a minus or plus is the least or greatest of two."""
    found: dict[str, tuple[Decimal, str]] = {
        "G-": _printed(TRACK, SCALE, "track_gauge", "least", "least"),
        "G+": _printed(TRACK, SCALE, "track_gauge", "greatest", "greatest"),
        "C": _printed(TRACK, SCALE, "check_gauge", "least", "least"),
        "S": _printed(TRACK, SCALE, "span", "greatest", "greatest"),
        "F": _printed(TRACK, SCALE, "flangeway", "greatest", "greatest"),
        "H": _printed(TRACK, SCALE, "flangeway_depth", "least", "least"),
        "D": _printed(WHEELS, SCALE, "flange_depth", "greatest", "greatest"),
        "N": _printed(WHEELS, SCALE, "tyre_width", "least", "least"),
        "T": _printed(CONTOURS, CODE, "flange_thickness", "nominal", f"{CODE}, nominal"),
    }
    least, _ = _printed(WHEELS, SCALE, "back_to_back", "least", "")
    check, _ = _printed(WHEELS, SCALE, "wheel_check", "greatest", "")
    middle = (least + check - found["T"][0]) / 2
    found["B"] = (middle, "S-4.2, midway")
    found["R"] = (to_base(Decimal("0.083"), "in"), "chosen: rail of code 83")
    found["E"] = (to_base(Decimal("0.040"), "in"), "chosen: spike heads as high as this")
    return {key: Size(key[0], mm, source) for key, (mm, source) in found.items()}


def explained() -> tuple[Explained, ...]:
    """Every relation between a wheelset and the track, in the order in which they are told."""
    sizes = _sizes()
    mm = {key: size.mm for key, size in sizes.items()}
    wheel = {
        "back_to_back": mm["B"],
        "flange_thickness": mm["T"],
        "flange_depth": mm["D"],
        "tyre_width": mm["N"],
    }
    frog = wheel | {
        "track_gauge": mm["G-"],
        "check_gauge": mm["C"],
        "span": mm["S"],
        "flangeway_depth": mm["H"],
        "frog_number": FROG_NUMBER,
    }

    def relation(
        named: Relation, keys: str, drawn: Mapping[str, object], words: tuple[str, ...]
    ) -> Explained:
        used = tuple(sizes[key] for key in keys.split())
        margin = _margin(named, used)
        # The frog from above looks much the same each time: once for each of its ends will do.
        plan = named in (Relation.POINT, Relation.SUPPORT)
        drawing = {**drawn, "worst": (named.value, margin), "has_plan": plan}
        return Explained(named.value, *words, used, margin, drawing)

    return (
        relation(Relation.PLAY, "G- B T", wheel | {"track_gauge": mm["G-"]}, _PLAY),
        relation(Relation.POINT, "C B T", frog, _PROTECTION),
        relation(Relation.SPAN, "B S", frog, _SPAN),
        relation(Relation.DEPTH, "H D", frog, _DEPTH),
        relation(
            Relation.SUPPORT,
            "N T B G- F",
            {key: size for key, size in frog.items() if key != "span"} | {"flangeway": mm["F"]},
            _SUPPORT,
        ),
        relation(Relation.DROP_IN, "B N T G+", wheel | {"track_gauge": mm["G+"]}, _DROP_IN),
        relation(
            Relation.FASTENINGS,
            "R E D",
            wheel | {"track_gauge": mm["G-"], "rail_height": mm["R"], "fastening_height": mm["E"]},
            _FASTENINGS,
        ),
    )


_CODES = {
    "B": "back_to_back",
    "T": "flange_thickness",
    "D": "flange_depth",
    "N": "tyre_width",
    "G": "track_gauge",
    "C": "check_gauge",
    "S": "span",
    "F": "flangeway",
    "H": "flangeway_depth",
    "R": "rail_height",
    "E": "fastening_height",
}


def _margin(named: Relation, sizes: Iterable[Size]) -> Decimal:
    """What the figures leave, in mm to a thousandth, by the sums that judge measured track."""
    exact = {_CODES[size.letter]: Measured(size.mm, 0.0, math.inf, ()) for size in sizes}
    wheels = Wheels(**{code: exact.pop(code) for code in WHEEL_SIZES if code in exact})
    way = Way(frog_number=FROG_NUMBER, **exact)
    found = next(each for each in margins(wheels, way) if each.relation is named)
    assert found.margin is not None, f"{named} needs more than {found.terms}"
    return found.margin.value.quantize(Decimal("0.001"))


# --- The words: title, formula, what it is, what comes of too little, how to measure, source ---

_SHEETS = "The letters of NMRA S-3.2 and S-4.2; what is left is plane geometry."
_NEM = (
    "The supplement of 2009 to NEM 110, 310 and 311: check rail and wing rail guide the backs of"
    " the wheels, K = B + T against C."
)

_PLAY = (
    "Play between the rails",
    "G − (B + 2T)",
    "A wheelset has to lie loosely between the rails. Over both flanges it is B + 2T wide, and"
    " the gauge has to be wider than that.",
    "The flanges bind. The wheelset rides up on the rails, first where a"
    " curve or a rail joint makes the gauge tight.",
    "The gauge with the inside jaws between the heads of the rails, at every joint and in the"
    " middle of curves. B between the wheel backs, T low down on the flange.",
    _SHEETS,
)
_PROTECTION = (
    "Keeping off the frog point",
    "C − (B + T)",
    "At a frog the rail has a gap for the other track, and past the gap stands a sharp point. The"
    " guard rail opposite holds the wheelset by the back of one wheel, so that the flange of the"
    " other misses the point. From that back to the front of the other flange is B + T.",
    "The flange strikes the point, climbs it, or takes the wrong side of it.",
    "C is the gauge less the guard rail's flangeway, taken right at the point.",
    _NEM,
)
_SPAN = (
    "Room over guard and wing rail",
    "B − S",
    "In a turnout both wheels have a rail at their back: the guard rail on one side, the wing rail"
    " on the other. The wheels straddle the two, so B has to be more than S.",
    "The wheels jam on both rails at once. The wheelset lifts or stops dead.",
    "S with the outside jaws over guard rail and wing rail, where both run straight.",
    _NEM,
)
_DEPTH = (
    "Depth of the flangeway",
    "H − D",
    "The flange hangs below the top of the rail and must not touch the floor of the flangeway.",
    "The flange rolls on the floor. The wheel is lifted off the rail, bumps, and"
    " takes up no current. Some frogs are made to carry flanges; they are no fault.",
    "H with the depth rod of the caliper, its beam across the rails; D with the same rod on the"
    " wheel.",
    _SHEETS,
)
_SUPPORT = (
    "Tread over the gap of the frog",
    "N − T − p − F / cos θ",
    "At the gap the rail that carried the wheel bends away to become the wing rail of the other"
    " track. The tread has to be wide enough to stay on it until the point takes over. Worst is a"
    " wheel that stands away from the point by p: all of its play, or as far as the wing rail on"
    " its own side lets it. θ is the angle of the frog.",
    "The wheel drops into the gap and bumps up on the point.",
    "N with the outside jaws over the whole width of the wheel; F with the inside jaws, or with"
    " the thickest drill shank that passes.",
    "Plane geometry; the supplement of 2009 to NEM 110, 310 and 311 has the width needed grow"
    f" with F and with the angle. A No. {FROG_NUMBER} frog was chosen, as the sheets print none.",
)
_DROP_IN = (
    "Not falling in between the rails",
    "B + N + T − G",
    "Push a wheelset against one rail: the tread of the other wheel has to reach over the other"
    " rail still. The gauge must be wide somewhere for this to fail, so its greatest counts.",
    "One wheel falls down inside the rails, mostly in a curve of wide gauge.",
    "The gauge where it is widest, as in the middle of a sharp curve.",
    _SHEETS,
)
_FASTENINGS = (
    "Flange over spikes and chairs",
    "R − E − D",
    "Low rail is held by spikes or chairs of some height beside its foot. The flange passes above"
    " them.",
    "The flanges tick along the spike heads, and the vehicle shakes or lifts.",
    "Rail and fastening with the depth rod, both from the top of the tie.",
    "Plane geometry; heights chosen, as the sheets print none.",
)
