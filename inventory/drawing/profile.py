"""A measured wheel contour in section, to scale, against the nominal one it should have."""

from collections.abc import Mapping, Sequence

from django.utils.safestring import SafeString

from inventory.drawing.shapes import Tyre, placed, wheel_section
from inventory.drawing.svg import (
    Number,
    dimension,
    figure,
    finite,
    path,
    sheet,
    shorten,
    text,
)

WIDTH = 340.0
BACK, TREAD = 44.0, 92.0
WIDEST, DEEPEST = 190.0, 78.0
RIM = 44.0

Nominal = Mapping[str, Number | str | None]

NAMES = {
    "tyre_width": "tyre width",
    "flange_thickness": "flange thickness",
    "flange_depth": "flange depth",
    "back_to_back": "back-to-back",
}
LETTERS = {
    "tyre_width": "N",
    "flange_thickness": "T",
    "flange_depth": "D",
    "back_to_back": "B",
}
TYRE_PARTS = ("tyre_width", "flange_thickness", "flange_depth")


class Lengths:
    """Measured lengths, each missing one taken from the nominal ones and marked as such."""

    def __init__(
        self, measured: Mapping[str, Number | None], nominal: Nominal | None, unit: str
    ) -> None:
        self.nominal = nominal or {}
        self.unit = unit
        self.decimals = 3 if unit == "in" else 2
        own = {key: positive(value) for key, value in measured.items()}
        self.lengths = {
            key: positive(self.nominal.get(key)) if value is None else value
            for key, value in own.items()
        }
        self.borrowed = [
            key for key, value in own.items() if value is None and self.lengths[key] is not None
        ]
        self.name = str(self.nominal.get("name") or "nominal contour")

    def __getitem__(self, key: str) -> float:
        length = self.lengths[key]
        assert length is not None, f"no {key} to draw"
        return length

    @property
    def are_complete(self) -> bool:
        return all(value is not None for value in self.lengths.values())

    def figure(self, value: Number) -> str:
        return figure(value, self.decimals)

    def label(self, key: str) -> str:
        """A letter and a number; in brackets, as a draughtsman does, if it was not measured."""
        words = f"{LETTERS[key]} {self.figure(self[key])}"
        return f"({words})" if key in self.borrowed else words

    def in_words(self) -> str:
        return ", ".join(
            f"{NAMES[key]} {self.figure(self[key])} {self.unit}"
            + (" (nominal, not measured)" if key in self.borrowed else "")
            for key in self.lengths
        )

    def measured_tyre(self) -> Tyre | None:
        return _tyre(self.lengths, positive(self.nominal.get("gauging_point")))

    def nominal_tyre(self) -> Tyre | None:
        lengths = {key: positive(self.nominal.get(key)) for key in TYRE_PARTS}
        return _tyre(lengths, positive(self.nominal.get("gauging_point")))

    def borrowed_note(self) -> str:
        letters = ", ".join(LETTERS[key] for key in self.borrowed)
        return f"in brackets: {letters} nominal, not measured" if letters else ""


def positive(value: Number | str | None) -> float | None:
    """A length that can be drawn, or None."""
    if value is None or isinstance(value, str) or finite(value) is None or value <= 0:
        return None
    return float(value)


def _tyre(lengths: Mapping[str, float | None], plane: float | None) -> Tyre | None:
    width, thickness, depth = (lengths.get(key) for key in TYRE_PARTS)
    if width is None or thickness is None or depth is None or thickness >= width:
        return None
    return Tyre(width, thickness, depth, plane)


def wheel_profile(
    *,
    tyre_width: Number | None,
    flange_depth: Number | None,
    flange_thickness: Number | None,
    nominal: Nominal | None,
    unit: str = "mm",
) -> SafeString:
    """The contour as measured, hatched, with the nominal contour dashed over it.

    `nominal` has the same three keys, and may have `gauging_point` (P) and `name`. A dimension
    that was not measured is taken from it and bracketed. Nothing is drawn when one of the three
    is known from neither, or when they make no wheel.
    """
    lengths = Lengths(
        {
            "tyre_width": tyre_width,
            "flange_thickness": flange_thickness,
            "flange_depth": flange_depth,
        },
        nominal,
        unit,
    )
    tyre, design = lengths.measured_tyre(), lengths.nominal_tyre()
    if tyre is None:
        return SafeString("")
    drawn = [part for part in (tyre, design) if part is not None]
    scale = min(
        WIDEST / max(part.width for part in drawn), DEEPEST / max(part.depth for part in drawn)
    )
    lowest = TREAD + scale * max(part.depth for part in drawn)
    notes = _notes(lengths, design)
    bottom = lowest + 34
    return sheet(
        WIDTH,
        bottom + 17 * len(notes) + 2,
        wheel_section(tyre, (BACK, TREAD), scale, RIM / scale),
        _overlay(design, scale),
        _dimensions(lengths, tyre, scale, lowest),
        (
            text(WIDTH / 2, bottom + 17 * row + 12, note, anchor="middle", class_="d-soft")
            for row, note in enumerate(notes)
        ),
        title=_title(lengths, design),
        class_="d-profile",
    )


def _overlay(design: Tyre | None, scale: float) -> SafeString:
    if design is None:
        return SafeString("")
    return path(placed(design.outline(RIM / scale), (BACK, TREAD), scale), class_="d-nominal")


def _dimensions(lengths: Lengths, tyre: Tyre, scale: float, lowest: float) -> list[SafeString]:
    face = BACK + tyre.width * scale
    gauge = TREAD + tyre.plane * scale
    tip = (BACK + tyre.tip * scale, TREAD + tyre.depth * scale)
    return [
        dimension(
            (BACK, TREAD - RIM),
            (face, TREAD - RIM),
            at=TREAD - RIM - 24,
            label=lengths.label("tyre_width"),
            tone="d-ink",
            dashed="tyre_width" in lengths.borrowed,
        ),
        dimension(
            (BACK + tyre.tread * scale, TREAD),
            tip,
            at=BACK + WIDEST + 26,
            label=lengths.label("flange_depth"),
            upright=True,
            tone="d-ink",
            dashed="flange_depth" in lengths.borrowed,
        ),
        dimension(
            (BACK, gauge),
            (BACK + tyre.thickness * scale, gauge),
            at=lowest + 20,
            label=lengths.label("flange_thickness"),
            beside=True,
            tone="d-ink",
            dashed="flange_thickness" in lengths.borrowed,
        ),
    ]


def _notes(lengths: Lengths, design: Tyre | None) -> Sequence[str]:
    first = f"to scale, in {'inches' if lengths.unit == 'in' else lengths.unit}"
    if design is not None:
        first += f"; dashed: {lengths.name}"
    notes = [first, lengths.borrowed_note()]
    return [shorten(note, WIDTH - 8) for note in notes if note]


def _title(lengths: Lengths, design: Tyre | None) -> str:
    against = f", against {lengths.name} dashed" if design is not None else ""
    return f"Wheel contour to scale{against}: {lengths.in_words()}."
