"""The published tables as frozen records, and the families in which they belong together.

Every figure keeps the sheet, edition and provenance it came with. A family is the set of sheets
that may be used in one check: editions and bodies are never mixed, because a wheel at one
edition's limit can fail on track built to another's.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

from standards.units import plain, to_base

HERE = Path(__file__).parent
MM_PER_FOOT = to_base(Decimal(1), "ft")
MM_PER_INCH = to_base(Decimal(1), "in")

PUBLISHED = "published"
STATED = "stated"


class UnknownStandard(LookupError):
    """A sheet, family, scale or row that is not held."""


@dataclass(frozen=True)
class Limit:
    """One limited quantity of one row: exact millimetres, and the figures as printed.

    `low`, `high`, `nominal` are in mm; None where the sheet prints none. `basis` is "stated",
    "computed" or "inferred"; `provenance` is "published" or "second-hand". `not_held` is "min",
    "max" or "both" where the sheet prints that limit too, but the copy that was read lacks it.
    `coupler` names the only kind of coupler that the figure speaks of, empty for any.
    """

    quantity: str
    low: Decimal | None
    high: Decimal | None
    nominal: Decimal | None
    sheet: str
    row: str
    unit: str
    printed: Mapping[str, Decimal]
    provenance: str = PUBLISHED
    basis: str = STATED
    source: str = ""
    note: str = ""
    not_held: str = ""
    coupler: str = ""

    @property
    def has_bounds(self) -> bool:
        """Whether anything can be judged against it; a nominal alone cannot."""
        return self.low is not None or self.high is not None


@dataclass(frozen=True)
class MassRule:
    """A published rule for the mass of a car, from the length it names (mm in, g out).

    RP-20.1: optimum = initial + per_inch x body length. NEM 302: at least per_mm x length over
    buffers, and (second-hand) no more than upper_percent above that.
    """

    sheet: str
    row: str
    length_quantity: str
    provenance: str
    initial_g: Decimal = Decimal(0)
    optimum_g_per_inch: Decimal | None = None
    minimum_g_per_mm: Decimal | None = None
    upper_percent: Decimal | None = None
    upper_provenance: str = ""

    def optimum_g(self, length_mm: Decimal) -> Decimal | None:
        """The mass to aim at, in grams; None where the rule gives a minimum instead."""
        if self.optimum_g_per_inch is None:
            return None
        return self.initial_g + self.optimum_g_per_inch * length_mm / MM_PER_INCH

    def limits_g(self, length_mm: Decimal) -> tuple[Decimal | None, Decimal | None]:
        """Least and greatest mass in grams; None where the rule prints no such limit."""
        if self.minimum_g_per_mm is None:
            return None, None
        low = self.minimum_g_per_mm * length_mm
        if self.upper_percent is None:
            return low, None
        return low, low * (100 + self.upper_percent) / 100


@dataclass(frozen=True)
class Row:
    """One line of a published table."""

    name: str
    sheet: str
    scales: tuple[str, ...]
    gauge: Decimal | None
    code: int | None
    unit: str
    basis: str
    provenance: str
    limits: Mapping[str, Limit]
    mass_rule: MassRule | None = None
    figures: Mapping[str, Any] = field(default_factory=dict)
    note: str = ""
    source: str = ""
    same_as: str = ""

    def speaks_for(self, scale: Scale) -> bool:
        """Whether this row is the one for that scale."""
        if self.gauge is not None:
            return self.gauge == scale.gauge_mm
        return scale.code in self.scales


@dataclass(frozen=True)
class Sheet:
    """One published table."""

    id: str
    short: str
    body: str
    title: str
    edition: str
    holds: tuple[str, ...]
    unit: str
    provenance: str
    source: str
    notes: tuple[str, ...]
    rows: tuple[Row, ...]

    def row(self, name: str) -> Row:
        """The row of that printed name. Raises UnknownStandard."""
        for row in self.rows:
            if row.name == name:
                return row
        raise UnknownStandard(f"{self.id} has no row {name!r}")


@dataclass(frozen=True)
class Scale:
    """A scale on a gauge, as one family names it.

    `ratio` is the divisor (87.1 for 1:87.1); `mm_per_foot` is given where the scale is defined by
    it; `gauge_mm` is the gauge, the minimum where the body prints a range.
    """

    code: str
    family: str
    ratio: Decimal
    gauge_mm: Decimal
    mm_per_foot: Decimal | None = None
    provenance: str = PUBLISHED
    note: str = ""

    def from_full_size(self, mm: Decimal) -> Decimal:
        """A full-size length in mm brought to this scale, to a thousandth of a millimetre."""
        model = mm * self.mm_per_foot / MM_PER_FOOT if self.mm_per_foot else mm / self.ratio
        return model.quantize(Decimal("0.001"))

    def to_full_size(self, mm: Decimal) -> Decimal:
        """A model length in mm taken to full size, to a thousandth of a millimetre."""
        full = mm * MM_PER_FOOT / self.mm_per_foot if self.mm_per_foot else mm * self.ratio
        return full.quantize(Decimal("0.001"))

    @property
    def label(self) -> str:
        """For people: "HO, 1:87.1 on 16.5 mm"."""
        gauge = self.gauge_mm
        if gauge != gauge.quantize(Decimal("0.01")):
            gauge = gauge.quantize(Decimal("0.1"))  # inches on the sheet, as .649 in
        return f"{self.code}, 1:{plain(self.ratio)} on {plain(gauge)} mm"


@dataclass(frozen=True)
class Family:
    """Sheets of one body and edition that may be used together in one check."""

    code: str
    name: str
    body: str
    summary: str
    sheets: tuple[str, ...]
    scales: tuple[Scale, ...]

    def scale(self, code: str) -> Scale:
        """The scale of that code. Raises UnknownStandard."""
        for scale in self.scales:
            if scale.code == code:
                return scale
        raise UnknownStandard(f"{self.name} holds no scale {code!r}")


# --- Reading the tables -----------------------------------------------------------------------


def _decimal(number: object) -> Decimal:
    return number if isinstance(number, Decimal) else Decimal(str(number))


def _limit(quantity: str, entry: Mapping[str, Any], row: Row, unit: str) -> Limit:
    printed = {
        key: _decimal(entry[key])
        for key in ("min", "max", "nominal", "plus", "minus")
        if key in entry
    }
    low, high, nominal = printed.get("min"), printed.get("max"), printed.get("nominal")
    if nominal is not None:
        if "minus" in printed:
            low = nominal - printed["minus"]
        if "plus" in printed:
            high = nominal + printed["plus"]

    def mm(number: Decimal | None) -> Decimal | None:
        return None if number is None else to_base(number, unit)

    return Limit(
        quantity,
        mm(low),
        mm(high),
        mm(nominal),
        sheet=row.sheet,
        row=row.name,
        unit=unit,
        printed=printed,
        provenance=entry.get("provenance", row.provenance),
        basis=entry.get("basis", row.basis),
        source=entry.get("source", row.source),
        # What is said of a computed row has to travel with its figures.
        note=entry.get("note", "" if row.basis == STATED else row.note),
        not_held=entry.get("not_held", ""),
        coupler=entry.get("coupler", ""),
    )


def _mass_rule(entry: Mapping[str, Any], row: Row, unit: str, length_basis: str) -> MassRule:
    def grams(key: str) -> Decimal | None:
        return to_base(_decimal(entry[key]), unit) if key in entry else None

    upper = entry.get("upper_percent")
    return MassRule(
        sheet=row.sheet,
        row=row.name,
        length_quantity=length_basis,
        provenance=row.provenance,
        initial_g=grams("initial") or Decimal(0),
        optimum_g_per_inch=grams("per_inch"),
        minimum_g_per_mm=grams("per_mm"),
        upper_percent=None if upper is None else _decimal(upper),
        upper_provenance=entry.get("upper_provenance", row.provenance),
    )


def _row(raw: Mapping[str, Any], table: Mapping[str, Any]) -> Row:
    unit = raw.get("unit", table["unit"])
    row = Row(
        name=str(raw["name"]),
        sheet=table["id"],
        scales=tuple(raw.get("scales", ())),
        gauge=_decimal(raw["gauge"]) if "gauge" in raw and "scales" not in raw else None,
        code=raw.get("code"),
        unit=unit,
        basis=raw.get("basis", STATED),
        provenance=raw.get("provenance", table["provenance"]),
        limits={},
        figures=raw.get("figures", {}),
        note=raw.get("note", ""),
        source=raw.get("source", table["source"]),
    )
    limits = {
        code: _limit(code, entry, row, unit) for code, entry in raw.get("limits", {}).items()
    }
    same = raw.get("same_as")
    label = ""
    if same is not None:
        label = f"{same.get('sheet', table['id'])} {same['row']}"
    rule = None
    if "mass" in raw:
        rule = _mass_rule(
            raw["mass"], row, raw.get("unit", table["unit"]), table.get("length_basis", "")
        )
    return replace(row, limits=limits, mass_rule=rule, same_as=label)


@cache
def _tables() -> Mapping[str, Mapping[str, Any]]:
    """The raw tables by id. Files are read once, in the order of their names."""
    tables = {}
    for path in sorted((HERE / "sheets").glob("*.toml")):
        with path.open("rb") as file:
            table = tomllib.load(file, parse_float=Decimal)
        tables[table["id"]] = table
    return tables


def _follow(row: Row, raw: Mapping[str, Any], table: Mapping[str, Any]) -> Row:
    """A row that says "same as" takes that row's limits, under its own name; its own win."""
    same = raw.get("same_as")
    if same is None:
        return row
    other_table = _tables()[same.get("sheet", table["id"])]
    for other_raw in other_table["row"]:
        if str(other_raw["name"]) == same["row"]:
            other = _follow(_row(other_raw, other_table), other_raw, other_table)
            return replace(row, limits={**other.limits, **row.limits})
    raise UnknownStandard(f"{table['id']} {row.name} points at {same}, which is not held")


@cache
def sheet(sheet_id: str) -> Sheet:
    """The published table of that id. Raises UnknownStandard."""
    try:
        table = _tables()[sheet_id]
    except KeyError:
        raise UnknownStandard(f"no sheet {sheet_id!r} is held") from None
    rows = tuple(_follow(_row(raw, table), raw, table) for raw in table.get("row", ()))
    return Sheet(
        id=table["id"],
        short=table.get("short", table["title"]),
        body=table["body"],
        title=table["title"],
        edition=str(table["edition"]),
        holds=tuple(table["holds"]),
        unit=table["unit"],
        provenance=table["provenance"],
        source=table["source"],
        notes=tuple(table.get("notes", ())),
        rows=rows,
    )


def all_sheets() -> tuple[Sheet, ...]:
    """Every sheet held, by id."""
    return tuple(sheet(sheet_id) for sheet_id in _tables())


# --- Families and scales ----------------------------------------------------------------------


def _scales_of_sheet(family: str, sheet_id: str) -> Iterator[Scale]:
    table = _tables()[sheet_id]
    for raw in table["row"]:
        shared = {
            "family": family,
            "provenance": raw.get("provenance", table["provenance"]),
            "note": raw.get("note", ""),
        }
        ratio = _decimal(raw["ratio"])
        per_foot = _decimal(raw["mm_per_foot"]) if "mm_per_foot" in raw else None
        gauge = to_base(_decimal(raw["gauge"]), table["unit"])
        yield Scale(str(raw["name"]), ratio=ratio, gauge_mm=gauge, mm_per_foot=per_foot, **shared)
        # NEM 010 names narrow gauges by a letter after the size: H0m, H0e, H0i, H0p.
        for letter in ("m", "e", "i", "p"):
            if f"gauge_{letter}" in raw:
                narrow = _decimal(raw[f"gauge_{letter}"])
                yield Scale(f"{raw['name']}{letter}", ratio=ratio, gauge_mm=narrow, **shared)


def _family(raw: Mapping[str, Any]) -> Family:
    code = raw["code"]
    named = tuple(
        Scale(
            entry["code"],
            family=code,
            ratio=_decimal(entry["ratio"]),
            gauge_mm=_decimal(entry["gauge_mm"]),
            mm_per_foot=_decimal(entry["mm_per_foot"]) if "mm_per_foot" in entry else None,
            provenance=entry.get("provenance", PUBLISHED),
            note=entry.get("note", ""),
        )
        for entry in raw.get("scale", ())
    )
    listed = _scales_of_sheet(code, raw["scales_from"]) if "scales_from" in raw else iter(())
    wanted = set(raw.get("only_scales", ()))
    return Family(
        code=code,
        name=raw["name"],
        body=raw["body"],
        summary=raw["summary"],
        sheets=tuple(raw["sheets"]),
        scales=named + tuple(scale for scale in listed if not wanted or scale.code in wanted),
    )


@cache
def families() -> Mapping[str, Family]:
    """Every family by its code, in the order in which they are offered."""
    with (HERE / "families.toml").open("rb") as file:
        raw = tomllib.load(file, parse_float=Decimal)
    return {entry["code"]: _family(entry) for entry in raw["family"]}


def family(code: str) -> Family:
    """The family of that code. Raises UnknownStandard."""
    try:
        return families()[code]
    except KeyError:
        raise UnknownStandard(f"no family of standards {code!r} is held") from None


def scale(family_code: str, scale_code: str) -> Scale:
    """A scale as its family names it. Raises UnknownStandard."""
    return family(family_code).scale(scale_code)


@cache
def sized_like(wanted: Scale) -> frozenset[str]:
    """Codes of the scales, of any family and gauge, whose models are as large to one percent.

    HO at 1:87.1 and H0 at 1:87 are one size under two names. The one percent is common practice,
    no source.
    """
    return frozenset(
        each.code
        for family in families().values()
        for each in family.scales
        if abs(each.ratio / wanted.ratio - 1) < Decimal("0.01")
    )


def _rows_for(wanted: Scale) -> Iterator[Row]:
    """The family's rows for a scale, stated figures before computed and inferred ones."""
    rows = [
        row
        for sheet_id in family(wanted.family).sheets
        for row in sheet(sheet_id).rows
        if row.speaks_for(wanted)
    ]
    yield from (row for row in rows if row.basis == STATED)
    yield from (row for row in rows if row.basis != STATED)


@cache
def limits_for(wanted: Scale) -> Mapping[str, Limit]:
    """What the family's sheets limit at this scale, by quantity code. Absent means not held."""
    found: dict[str, Limit] = {}
    for row in _rows_for(wanted):
        for code, limit in row.limits.items():
            found.setdefault(code, limit)
    return found


@cache
def mass_rule_for(wanted: Scale) -> MassRule | None:
    """The family's mass rule at this scale, if it holds one."""
    return next((row.mass_rule for row in _rows_for(wanted) if row.mass_rule), None)


@cache
def profiles_for(wanted: Scale) -> tuple[Row, ...]:
    """The wheel profiles, by code, that the family's sheets list."""
    return tuple(
        row
        for sheet_id in family(wanted.family).sheets
        for row in sheet(sheet_id).rows
        if row.code is not None
    )
