"""Sheets of labels as plain dimensions: rows and columns, sizes, margins and pitch in mm."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from inventory.paper.leaf import A4, LETTER, Paper

#: Reckoned sums may be off by so much before they are called wrong.
_HAIR = 0.011
LEAST_WIDTH, LEAST_HEIGHT = 20.0, 10.0


class LayoutRefused(ValueError):
    """Sizes that do not fit the sheet; says which, by how much, and what to change."""

    def __init__(self, field: str, words: str) -> None:
        super().__init__(words)
        self.field = field


@dataclass(frozen=True)
class Layout:
    """A sheet of equal labels. left, top: from the edges of the paper to the first label.
    across, down: from one label's edge to the same edge of the next."""

    code: str
    paper: Paper
    columns: int
    rows: int
    width: float
    height: float
    left: float
    top: float
    across: float
    down: float

    @property
    def count(self) -> int:
        return self.columns * self.rows

    @property
    def name(self) -> str:
        return f"{self.columns} × {self.rows} labels of {self.width:g} × {self.height:g} mm"

    def corners(self) -> Iterator[tuple[float, float]]:
        """The upper left corners, row by row."""
        for row in range(self.rows):
            for column in range(self.columns):
                yield self.left + column * self.across, self.top + row * self.down

    def check(self) -> None:
        """Raises LayoutRefused unless every label lies on the paper and none on another."""
        if self.columns < 1 or self.rows < 1 or self.count > 400:
            raise LayoutRefused(
                "columns",
                f"{self.columns} columns of {self.rows} are {self.count} labels; a sheet takes "
                "between 1 and 400.",
            )
        for field, size, least in (
            ("width", self.width, LEAST_WIDTH),
            ("height", self.height, LEAST_HEIGHT),
        ):
            if size < least:
                raise LayoutRefused(
                    field,
                    f"A label {size:g} mm in {field} has no room for words and a code; "
                    f"type {least:g} mm or more.",
                )
        self._check("across", "columns", self.columns, self.width, self.left, self.across)
        self._check("down", "rows", self.rows, self.height, self.top, self.down)

    def _check(
        self, field: str, many: str, count: int, size: float, margin: float, pitch: float
    ) -> None:
        edge = "left" if field == "across" else "top"
        whole = self.paper.width if field == "across" else self.paper.height
        if margin < 0:
            raise LayoutRefused(edge, f"The margin is {margin:g} mm; type 0 or more.")
        if count > 1 and pitch < size - _HAIR:
            raise LayoutRefused(
                field,
                f"From label to label is {pitch:g} mm, but a label takes {size:g} mm: they would "
                f"overlap. Type {size:g} mm or more.",
            )
        reach = margin + (count - 1) * pitch + size
        if reach > whole + _HAIR:
            raise LayoutRefused(
                many,
                f"{count} {many} reach to {reach:.2f} mm, and {self.paper.name} is {whole:g} mm: "
                f"{reach - whole:.2f} mm too far. Type fewer {many}, or smaller sizes.",
            )


def _layout(paper: Paper, columns: int, rows: int, width: float, height: float, **more: float):
    """One whose labels touch and stand in the middle of the sheet, where it is not told else."""
    across, down = more.get("across", width), more.get("down", height)
    left = more.get("left", (paper.width - (columns - 1) * across - width) / 2)
    top = more.get("top", (paper.height - (rows - 1) * down - height) / 2)
    code = f"{paper.code}-{columns}x{rows}"
    return Layout(code, paper, columns, rows, width, height, left, top, across, down)


#: Sizes in which die-cut sheets are sold by many. Common practice, no source: hold a printed
#: sheet against the labels before you use one up.
LAYOUTS = {
    layout.code: layout
    for layout in (
        _layout(A4, 3, 8, 70, 37, top=0.5),
        _layout(A4, 3, 7, 63.5, 38.1, across=66.0),
        _layout(A4, 2, 7, 99.1, 38.1, across=101.6),
        _layout(A4, 2, 5, 90, 50, across=95, down=54),
        _layout(A4, 5, 13, 38.1, 21.2, across=40.6),
        _layout(LETTER, 3, 10, 66.675, 25.4, left=4.7625, top=12.7, across=69.85),
        _layout(LETTER, 2, 10, 101.6, 25.4, left=3.96875, top=12.7, across=106.3625),
        _layout(LETTER, 2, 5, 101.6, 50.8, left=3.96875, top=12.7, across=106.3625),
        _layout(LETTER, 4, 8, 47, 31, across=50, down=32.5),
    )
}
OWN = "own"


def layouts_on(paper: Paper) -> list[Layout]:
    """Those for a size of paper."""
    return [layout for layout in LAYOUTS.values() if layout.paper == paper]
