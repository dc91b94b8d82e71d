"""A published sheet laid out to be read by a person: figures with signs, remarks, tables."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal

from inventory.sheets.comparing import NOT_READ
from standards import sheets
from standards.quantities import name_of
from standards.sheets import PUBLISHED, STATED, Family, Limit, MassRule, Row, Scale, Sheet
from standards.units import plain, spell, to_base

#: The unit shown beside the printed one, and its decimals.
_BESIDE = {"mm": ("in", 4), "in": ("mm", 3), "g": ("oz", 3), "oz": ("g", 1)}

#: What a sheet may hold, in the order in which it is listed, and the heading that it gets.
HOLDINGS: Mapping[str, str] = {
    "wheelset": "Wheelsets",
    "profile": "Wheel contours",
    "track": "Track",
    "coupler": "Couplers",
    "buffer": "Buffers",
    "mass": "Mass",
    "scale": "Scales and gauges",
    "other": "Other practice, shown but never judged by",
}


def beside(number: Decimal, unit: str) -> str:
    """A printed figure in the other unit: .566 in as "14.376 mm"."""
    other, decimals = _BESIDE[unit]
    return spell(to_base(number, unit), other, decimals)


# --- Limits -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Figure:
    """One limit of a cell. `sign` is for the eye and `words` for the ear; both may be empty."""

    sign: str
    words: str
    printed: str
    other: str

    @property
    def is_range(self) -> bool:
        """Whether it is long and may be broken over two lines."""
        return not self.sign


_LEAST = ("≥", "at least")
_GREATEST = ("≤", "at most")
_AIM = ("nominal", "nominal")


def figures_of(limit: Limit) -> tuple[Figure, ...]:
    """A limit as printed, every figure with the other unit beside it."""
    printed, unit = limit.printed, limit.unit
    found = []
    if "nominal" in printed:
        found.append(_nominal(printed, unit))
    if "min" in printed and "max" in printed:
        low, high = printed["min"], printed["max"]
        found.append(Figure("", "", f"{low:f} to {high:f}\u00a0{unit}", _range(low, high, unit)))
    elif "min" in printed:
        found.append(_one(_LEAST, printed["min"], unit))
    elif "max" in printed:
        found.append(_one(_GREATEST, printed["max"], unit))
    return tuple(found)


def _one(sign: tuple[str, str], number: Decimal, unit: str) -> Figure:
    return Figure(*sign, f"{number:f} {unit}", beside(number, unit))


def _range(low: Decimal, high: Decimal, unit: str) -> str:
    least, most = beside(low, unit).split()[0], beside(high, unit).replace(" ", "\u00a0")
    return f"{least} to {most}"


def _nominal(printed: Mapping[str, Decimal], unit: str) -> Figure:
    nominal = printed["nominal"]
    plus, minus = printed.get("plus"), printed.get("minus")
    if plus is None and minus is None:
        return _one(_AIM, nominal, unit)
    if plus == minus:
        spread = f"± {plus:f}"
    else:
        parts = (("+", plus), ("−", minus))
        spread = " ".join(f"{sign}{part:f}" for sign, part in parts if part is not None)
    least, most = nominal - (minus or 0), nominal + (plus or 0)
    return Figure("", "", f"{nominal:f} {spread}\u00a0{unit}", _range(least, most, unit))


# --- Remarks ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Remark:
    """What is said of a row, or of one quantity in it, with the source if it has its own."""

    number: int
    row: str
    quantity: str
    text: str
    source: str

    @property
    def about(self) -> str:
        """What it speaks of, in words."""
        return f"{self.row}, {name_of(self.quantity).lower()}" if self.quantity else self.row


def remarks_of(sheet: Sheet) -> tuple[Remark, ...]:
    """Everything said of single rows and figures of a sheet, in the order of its rows."""
    found: list[Remark] = []

    def add(row: Row, quantity: str, text: str, source: str) -> None:
        if text or source:
            found.append(Remark(len(found) + 1, row.name, quantity, text, source))

    for row in sheet.rows:
        add(row, "", row.note, "" if row.source == sheet.source else row.source)
        for limit in _own_limits(row):
            source = "" if limit.source == row.source else limit.source
            add(row, limit.quantity, limit.note, source)
    return tuple(found)


def _own_limits(row: Row) -> list[Limit]:
    """The limits that a row prints itself, without those of a row that it points to."""
    return [
        limit for limit in row.limits.values() if (limit.sheet, limit.row) == (row.sheet, row.name)
    ]


def _remark(remarks: Iterable[Remark], row: Row, quantity: str = "") -> int | None:
    for remark in remarks:
        if (remark.row, remark.quantity) == (row.name, quantity):
            return remark.number
    return None


# --- Rows -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Cell:
    """What a row prints of one quantity. `badges` are words said of this limit alone."""

    quantity: str
    figures: tuple[Figure, ...] = ()
    badges: tuple[str, ...] = ()
    remark: int | None = None

    @property
    def name(self) -> str:
        """The quantity in words."""
        return name_of(self.quantity)


@dataclass(frozen=True)
class Line:
    """One printed row. `same_as` is the sheet and row whose figures it repeats."""

    row: Row
    badges: tuple[str, ...]
    cells: tuple[Cell, ...]
    remark: int | None
    same_as: tuple[Sheet, str] | None

    @property
    def scope(self) -> str:
        """What the row speaks for, where its name does not say it."""
        if self.row.gauge is not None:
            return "mm gauge"
        if self.row.scales and self.row.scales != (self.row.name,):
            return f"for {', '.join(self.row.scales)}"
        return ""


@dataclass(frozen=True)
class Table:
    """The limits of a sheet."""

    quantities: tuple[str, ...]
    lines: tuple[Line, ...]

    @property
    def heads(self) -> tuple[str, ...]:
        """The quantities in words."""
        return tuple(name_of(code) for code in self.quantities)

    @property
    def has_bounds(self) -> bool:
        """Whether anything in it is a limit; else all of it is nominal."""
        return any(limit.has_bounds for line in self.lines for limit in line.row.limits.values())

    @property
    def badges(self) -> frozenset[str]:
        """Every badge that occurs in it, to be explained below."""
        words = {word for line in self.lines for word in line.badges}
        words |= {word for line in self.lines for cell in line.cells for word in cell.badges}
        return frozenset(words)

    @property
    def is_turned(self) -> bool:
        """Whether the quantities run down and the rows across: few rows of many quantities."""
        return len(self.lines) <= 3 and len(self.quantities) > len(self.lines) + 1

    @property
    def across(self) -> tuple[tuple[str, tuple[tuple[Line, Cell], ...]], ...]:
        """For a turned table: each quantity with its cell from every row."""
        return tuple(
            (name_of(code), tuple((line, line.cells[place]) for line in self.lines))
            for place, code in enumerate(self.quantities)
        )


def _badges(sheet: Sheet, row: Row) -> tuple[str, ...]:
    """What is to be known of a row: that it is no printed one, or not read as the rest was."""
    words = [] if row.basis == STATED else [row.basis]
    return (*words, *([] if row.provenance == sheet.provenance else [row.provenance]))


def table_of(sheet: Sheet, remarks: Iterable[Remark]) -> Table | None:
    """The limits of a sheet row by row, None if it prints none."""
    rows = [row for row in sheet.rows if row.limits]
    quantities = tuple(dict.fromkeys(code for row in rows for code in row.limits))
    lines = tuple(
        Line(
            row,
            _badges(sheet, row),
            tuple(_cell(row, code, remarks) for code in quantities),
            _remark(remarks, row),
            _same_as(row),
        )
        for row in rows
    )
    return Table(quantities, lines) if lines else None


def _cell(row: Row, code: str, remarks: Iterable[Remark]) -> Cell:
    limit = row.limits.get(code)
    if limit is None:
        return Cell(code)
    badges = [] if limit.basis == row.basis else [limit.basis]
    badges += [] if limit.provenance == row.provenance else [limit.provenance]
    badges += [f"{NOT_READ[limit.not_held]} not read"] if limit.not_held else []
    return Cell(code, figures_of(limit), tuple(badges), _remark(remarks, row, code))


def _same_as(row: Row) -> tuple[Sheet, str] | None:
    sheet_id, _, name = row.same_as.partition(" ")
    return (sheets.sheet(sheet_id), name) if sheet_id else None


# --- Mass -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class MassLine:
    """A mass rule in words, with an example of a usual length."""

    row: Row
    badges: tuple[str, ...]
    remark: int | None
    words: str
    example: str
    upper: str = ""
    is_upper_second_hand: bool = False


def mass_lines(sheet: Sheet, remarks: Iterable[Remark]) -> tuple[MassLine, ...]:
    """The mass rules of a sheet, in ounces and grams."""
    return tuple(
        _mass_line(row, row.mass_rule, _badges(sheet, row), _remark(remarks, row))
        for row in sheet.rows
        if row.mass_rule is not None
    )


def _both(grams: Decimal, first: str) -> str:
    beside_it = spell(grams, "g", 1) if first == "oz" else spell(grams, "oz", 2)
    return f"{spell(grams, first)} ({_trimmed(beside_it)})"


def _trimmed(spelled: str) -> str:
    number, unit = spelled.split()
    return f"{plain(Decimal(number))} {unit}"


def _mass_line(row: Row, rule: MassRule, badges: tuple[str, ...], remark: int | None) -> MassLine:
    length = name_of(rule.length_quantity).lower()
    if rule.optimum_g_per_inch is not None:
        words = (
            f"Aim at {_both(rule.initial_g, 'oz')} and {_both(rule.optimum_g_per_inch, 'oz')} "
            f"more for every inch of {length}."
        )
        inches = Decimal(6)
        optimum = rule.optimum_g(to_base(inches, "in"))
        assert optimum is not None
        example = f"{inches} in (152.4 mm): {_both(optimum, 'oz')}"
        return MassLine(row, badges, remark, words, example)
    assert rule.minimum_g_per_mm is not None
    per_inch = rule.minimum_g_per_mm * sheets.MM_PER_INCH
    words = (
        f"At least {plain(rule.minimum_g_per_mm)} g for every millimetre of {length} "
        f"({spell(per_inch, 'oz', 2)} an inch)."
    )
    upper = ""
    if rule.upper_percent is not None:
        upper = f"No more than {plain(rule.upper_percent)} % above that."
    low, high = rule.limits_g(Decimal(100))
    assert low is not None
    most = "" if high is None else f", at most {_both(high, 'g')}"
    example = f"100 mm (3.94 in): at least {_both(low, 'g')}{most}"
    is_second_hand = bool(upper) and rule.upper_provenance != PUBLISHED
    return MassLine(row, badges, remark, words, example, upper, is_second_hand)


# --- Scales -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class ScaleLine:
    """A scale as its sheet defines it, with the narrower gauges that it names by a letter."""

    row: Row
    scale: Scale
    badges: tuple[str, ...]
    remark: int | None
    gauge: Figure
    narrow: tuple[tuple[str, Figure], ...]

    @property
    def ratio(self) -> str:
        """ "1:87.1, 3.5 mm to the foot"."""
        per_foot = self.scale.mm_per_foot
        added = "" if per_foot is None else f", {plain(per_foot)} mm to the foot"
        return f"1:{plain(self.scale.ratio)}{added}"


#: NEM 010 names narrow gauges by a letter after the size.
_NARROW = ("m", "e", "i", "p")


def _family_defined_by(sheet: Sheet) -> Family | None:
    """The family whose scales a scale sheet defines: it names every row of it."""
    wanted = {row.name for row in sheet.rows}
    for family in sheets.families().values():
        if family.body == sheet.body and wanted <= {scale.code for scale in family.scales}:
            return family
    return None


def scale_lines(sheet: Sheet, remarks: Iterable[Remark]) -> tuple[ScaleLine, ...]:
    """The scales that a sheet defines; nothing for a sheet of another kind."""
    family = _family_defined_by(sheet) if "scale" in sheet.holds else None
    if family is None:
        return ()
    by_code = {scale.code: scale for scale in family.scales}
    lines = []
    for row in sheet.rows:
        narrow = tuple(
            (name, _gauge_figure(by_code[name], sheet.unit))
            for letter in _NARROW
            if (name := row.name + letter) in by_code
            and by_code[name].ratio == by_code[row.name].ratio
        )
        scale = by_code[row.name]
        badges = _badges(sheet, row)
        gauge = _gauge_figure(scale, sheet.unit)
        lines.append(ScaleLine(row, scale, badges, _remark(remarks, row), gauge, narrow))
    return tuple(lines)


def _gauge_figure(scale: Scale, unit: str) -> Figure:
    other, decimals = _BESIDE[unit]
    return Figure("", "", spell(scale.gauge_mm, unit), spell(scale.gauge_mm, other, decimals))


# --- Contours ---------------------------------------------------------------------------------

_CONTOUR = ("tyre_width", "flange_depth", "flange_thickness")


@dataclass(frozen=True)
class Contour:
    """A listed wheel contour, to be drawn: its sizes in `unit`, and P where it is printed."""

    row: Row
    unit: str
    sizes: Mapping[str, Decimal]
    plane: Mapping[str, Decimal]


def contours_of(sheet: Sheet) -> tuple[Contour, ...]:
    """The contours of a sheet that are known well enough to be drawn."""
    return tuple(contour for row in sheet.rows if (contour := contour_of(row)) is not None)


def contour_of(row: Row) -> Contour | None:
    """A row's contour as printed, None unless it prints all three nominal sizes."""
    limits = [row.limits.get(code) for code in _CONTOUR]
    sizes = {
        limit.quantity: limit.printed["nominal"]
        for limit in limits
        if limit is not None and "nominal" in limit.printed
    }
    if len(sizes) < len(_CONTOUR):
        return None
    plane = row.figures.get("gauging_point_p")
    return Contour(
        row,
        row.limits["tyre_width"].unit,
        sizes,
        {} if plane is None else {"gauging_point": plane},
    )


# --- Other figures ----------------------------------------------------------------------------

_ENDINGS = {
    "mm": "mm",
    "in": "in",
    "m": "m",
    "ft": "ft",
    "oz": "oz",
    "percent": "%",
    "deg": "degrees",
}
#: Symbols of the sheets' own drawings: K, R1, BL3.
_SYMBOL = re.compile(r"[a-z](l?\d)?")


def figure_name(key: str) -> str:
    """The key of an unjudged figure in words: "grade_max_percent" is "Grade max (%)"."""
    words = key.replace("plus_minus", "±").split("_")
    ending = ""
    for place in (len(words) - 1, len(words) - 2):
        is_unit = place > 0 and words[place] in _ENDINGS and words[place - 1] != "per"
        if is_unit and (place == len(words) - 1 or words[-1] in ("min", "max")):
            ending = f" ({_ENDINGS[words.pop(place)]})"
            break
    text = " ".join(word.upper() if _SYMBOL.fullmatch(word) else word for word in words)
    return f"{text[0].upper()}{text[1:]}{ending}"


def figure_value(value: object) -> str:
    """An unjudged figure as printed."""
    if isinstance(value, list):
        return ", ".join(figure_value(each) for each in value)
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


@dataclass(frozen=True)
class Figures:
    """The figures that are printed but never judged by.

    A grid where most rows print the same ones, with the shorter side across; else each row has
    a list of its own.
    """

    heads: tuple[str, ...]
    lines: tuple[tuple[str, tuple[str, ...]], ...]
    lists: tuple[tuple[Row, tuple[tuple[str, str], ...]], ...]
    is_turned: bool = False

    @property
    def is_grid(self) -> bool:
        """Whether it is laid out as a grid."""
        return bool(self.lines)


def figures_table(sheet: Sheet) -> Figures | None:
    """The figures of a sheet that nothing is judged by, None if it prints none."""
    rows = [row for row in sheet.rows if row.figures]
    if not rows:
        return None
    keys = tuple(dict.fromkeys(key for row in rows for key in row.figures))
    filled = sum(len(row.figures) for row in rows)
    if len(rows) < 2 or 2 * filled < len(rows) * len(keys) + len(keys):
        lists = tuple(
            (
                row,
                tuple(
                    (figure_name(key), figure_value(value)) for key, value in row.figures.items()
                ),
            )
            for row in rows
        )
        return Figures((), (), lists)

    def value(row: Row, key: str) -> str:
        return figure_value(row.figures[key]) if key in row.figures else ""

    if len(keys) > len(rows) + 2:
        return Figures(
            tuple(row.name for row in rows),
            tuple((figure_name(key), tuple(value(row, key) for row in rows)) for key in keys),
            (),
            is_turned=True,
        )
    return Figures(
        tuple(figure_name(key) for key in keys),
        tuple((row.name, tuple(value(row, key) for key in keys)) for row in rows),
        (),
    )


def unit_in_words(unit: str) -> str:
    """The unit of a sheet, said."""
    return {"mm": "millimetres", "in": "inches", "g": "grams", "oz": "ounces"}[unit]


# --- The list ---------------------------------------------------------------------------------


def by_holding() -> tuple[tuple[str, str, tuple[Sheet, ...]], ...]:
    """Every sheet under each thing that it holds: the code, its heading and the sheets."""
    return tuple(
        (code, heading, found)
        for code, heading in HOLDINGS.items()
        if (found := tuple(each for each in sheets.all_sheets() if code in each.holds))
    )


def families_using(sheet: Sheet) -> tuple[Family, ...]:
    """The families that judge by a sheet, or take their scales from it."""
    defined = {(line.scale.code, line.scale.ratio) for line in scale_lines(sheet, ())}
    return tuple(
        family
        for family in sheets.families().values()
        if sheet.id in family.sheets
        or (
            family.body == sheet.body
            and defined.intersection((scale.code, scale.ratio) for scale in family.scales)
        )
    )


def families_with_sheets() -> tuple[tuple[Family, tuple[Sheet, ...]], ...]:
    """Every family with its sheets, in the order in which they are offered."""
    return tuple(
        (family, tuple(sheets.sheet(each) for each in family.sheets))
        for family in sheets.families().values()
    )
