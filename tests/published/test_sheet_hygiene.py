"""What every sheet must hold to, and the relations that the publications state between them."""

import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from standards import sheets

FOLDER = Path(sheets.__file__).parent / "sheets"
FILES = sorted(FOLDER.glob("*.toml"))
MM_PER_INCH = Decimal("25.4")

QUANTITY_CODES = {
    # wheelset
    "back_to_back",
    "wheel_check",
    "tyre_width",
    "tyre_width_reduced",
    "flange_thickness",
    "flange_depth",
    "over_flanges",
    "wheel_diameter",
    "axle_length",
    # track
    "track_gauge",
    "track_gauge_curve",
    "check_gauge",
    "span",
    "flangeway",
    "flangeway_guard",
    "flangeway_depth",
    "point_spread",
    "point_spread_electrical",
    "free_groove_edge",
    # ends
    "coupler_height",
    "buffer_height",
    "buffer_spacing",
    "pocket_height",
}
HOLDINGS = {"wheelset", "profile", "track", "mass", "coupler", "buffer", "scale", "other"}
LIMIT_KEYS = {"min", "max", "nominal", "plus", "minus"}
LIMIT_WORDS = {"provenance", "basis", "source", "note", "not_held", "coupler"}
NOT_HELD = {"min": "low", "max": "high"}
COUPLERS = {"knuckle", "loop"}
ROW_KEYS = {
    "name",
    "scales",
    "gauge",
    "code",
    "same_as",
    "unit",
    "note",
    "provenance",
    "source",
    "edition",
    "basis",
    "limits",
    "figures",
    "mass",
}
SCALE_ROW_KEYS = {
    "name",
    "scales",
    "ratio",
    "gauge",
    "gauge_m",
    "gauge_e",
    "gauge_i",
    "gauge_p",
    "inch_per_foot",
    "mm_per_foot",
    "prototype_gauge",
    "provenance",
    "note",
}
PROVENANCES = {"published", "second-hand"}
BASES = {"stated", "computed", "inferred"}
UNITS = {"in", "mm", "oz", "g"}


def raw(path: Path) -> dict[str, Any]:
    """A sheet as it stands in its file."""
    with path.open("rb") as file:
        return tomllib.load(file, parse_float=Decimal)


def numbers(value: Any) -> Iterator[Any]:
    """Every number anywhere in a table."""
    if isinstance(value, dict):
        for inner in value.values():
            yield from numbers(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from numbers(inner)
    elif not isinstance(value, (str, bool)):
        yield value


TABLES = [raw(path) | {"file": path.stem} for path in FILES]


def every_row() -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Every raw row with its sheet."""
    for table in TABLES:
        for row in table["row"]:
            yield table, row


def every_limit() -> Iterator[tuple[tuple[str, str, str], sheets.Limit]]:
    """Every limit as it is loaded, with its sheet, row and quantity to name it by."""
    for table in TABLES:
        for row in sheets.sheet(table["id"]).rows:
            for code, limit in row.limits.items():
                yield (table["id"], row.name, code), limit


def test_folder_when_looked_into_then_holds_the_sheets_that_matter() -> None:
    """A folder that was moved or emptied would let every test below pass unseen."""
    held = {path.stem for path in FILES}

    assert held >= {"nmra-s-4.2", "nmra-rp-25", "nmra-rp-20.1", "nem-310-2009", "nem-010"}
    assert len(held) >= 40
    assert len(list(every_row())) > 250
    assert len(list(every_limit())) > 500


def test_sheets_when_read_then_say_whose_they_are_and_where_they_were_read() -> None:
    for table in TABLES:
        assert table["id"] == table["file"]
        for key in ("short", "body", "title", "edition", "source", "unit", "provenance"):
            assert isinstance(table[key], str), (table["id"], key)
            assert table[key].strip(), (table["id"], key)
        assert table["unit"] in UNITS, table["id"]
        assert table["provenance"] in PROVENANCES, table["id"]
        assert table["holds"], table["id"]
        assert set(table["holds"]) <= HOLDINGS, table["id"]
        assert table["row"], table["id"]


def test_sheets_when_their_words_are_read_then_speak_only_the_common_vocabulary() -> None:
    for table, row in every_row():
        here = table["id"], row["name"]
        is_scale_sheet = table["holds"] == ["scale"]
        assert set(row) <= (SCALE_ROW_KEYS if is_scale_sheet else ROW_KEYS), here
        assert row.get("provenance", "published") in PROVENANCES, here
        assert row.get("basis", "stated") in BASES, here
        assert row.get("unit", "mm") in UNITS, here
        assert set(row.get("limits", {})) <= QUANTITY_CODES, here
        for code, limit in row.get("limits", {}).items():
            assert set(limit) <= LIMIT_KEYS | LIMIT_WORDS, (here, code)
            assert set(limit) & LIMIT_KEYS or limit.get("not_held") == "both", (here, code)
            assert limit.get("not_held", "max") in {*NOT_HELD, "both"}, (here, code)
            assert limit.get("coupler", "loop") in COUPLERS, (here, code)
            assert limit.get("provenance", "published") in PROVENANCES, (here, code)
            assert limit.get("basis", "stated") in BASES, (here, code)


def test_sheets_when_their_rows_are_named_then_no_name_comes_twice() -> None:
    for table in TABLES:
        names = [row["name"] for row in table["row"]]
        assert len(names) == len(set(names)), table["id"]


def test_sheets_when_a_row_speaks_then_by_scale_or_by_gauge_but_not_both() -> None:
    for table, row in every_row():
        if table["holds"] != ["scale"]:
            assert ("scales" in row) != ("gauge" in row), (table["id"], row["name"])


def test_sheets_when_read_then_every_figure_is_exact_and_none_is_negative() -> None:
    for table in TABLES:
        for number in numbers(table):
            assert isinstance(number, (int, Decimal)), (table["id"], number)
            assert number >= 0, (table["id"], number)


def test_sheets_when_a_tolerance_is_printed_then_a_nominal_stands_beside_it() -> None:
    toleranced = 0
    for table, row in every_row():
        for code, limit in row.get("limits", {}).items():
            if "plus" in limit or "minus" in limit:
                keys = set(limit) & LIMIT_KEYS
                assert keys == {"nominal", "plus", "minus"}, (table["id"], row["name"], code)
                toleranced += 1
    assert toleranced > 20


def test_sheets_when_loaded_then_no_minimum_is_above_its_maximum() -> None:
    for here, limit in every_limit():
        ends = [end for end in (limit.low, limit.nominal, limit.high) if end is not None]
        assert ends == sorted(ends), here
        assert ends or limit.not_held == "both", here


def test_sheets_when_a_limit_is_not_held_then_none_stands_in_its_place() -> None:
    for here, limit in every_limit():
        if limit.not_held == "both":
            assert not limit.has_bounds, here
        elif limit.not_held:
            lacking = NOT_HELD[limit.not_held]
            held = "low" if lacking == "high" else "high"
            assert getattr(limit, lacking) is None, here
            assert getattr(limit, held) is not None, here


def test_sheets_when_read_in_part_then_say_which_limits_they_lack() -> None:
    """NMRA S-4.1 as read breaks off in Proto:64, the later rows were quoted; so was P4.

    NEM 310:2009 breaks off before D max at 16.5 mm.
    """
    lacking = {
        (table["id"], row["name"], code): limit["not_held"]
        for table, row in every_row()
        for code, limit in row.get("limits", {}).items()
        if "not_held" in limit
    }

    assert lacking == {
        ("nem-310-2009", "16.5", "flange_depth"): "max",
        ("nmra-s-4.1", "Proto:64", "flange_thickness"): "max",
        ("nmra-s-4.1", "Proto:64", "flange_depth"): "both",
        ("nmra-s-4.1", "Proto:64", "over_flanges"): "both",
        ("nmra-s-4.1", "Proto:87.1", "wheel_check"): "min",
        ("nmra-s-4.1", "Fine:HO", "wheel_check"): "min",
        ("nmra-s-4.1", "Fine:HO", "back_to_back"): "both",
        ("nmra-s-4.1", "Fine:HO", "tyre_width"): "both",
        ("nmra-s-4.1", "Fine:HO", "flange_thickness"): "min",
        ("nmra-s-4.1", "Fine:HO", "flange_depth"): "min",
        ("scalefour-p4", "P4 from society forum", "wheel_check"): "max",
        ("scalefour-p4", "P4 from society forum", "back_to_back"): "max",
    }


def test_sheets_when_they_speak_of_one_kind_of_coupler_then_say_so() -> None:
    """NEM 356 and 360 are about loop couplings, NMRA S-2 about knuckle couplers."""
    spoken_of = {
        (sheet.id, limit.coupler)
        for sheet in sheets.all_sheets()
        for row in sheet.rows
        for code, limit in row.limits.items()
        if code == "coupler_height"
    }

    assert spoken_of == {("nem-356", "loop"), ("nem-360", "loop"), ("nmra-s-2", "knuckle")}


def test_sheets_when_a_scale_is_judged_then_by_one_figure_of_each_quantity_and_basis() -> None:
    """Two rows that disagree would otherwise leave the verdict to their order in the file."""
    seen = set()
    for table, row in every_row():
        speaks_for = row["scales"] if "scales" in row else [f"gauge {row['gauge']}"]
        for spoken in speaks_for:
            for code, limit in row.get("limits", {}).items():
                basis = limit.get("basis", row.get("basis", "stated"))
                key = (table["id"], spoken, basis, code)
                assert key not in seen, key
                seen.add(key)
    assert len(seen) > 500


def test_derived_rows_when_loaded_then_are_never_stated() -> None:
    """Arithmetic on published figures is shown as derived, never as a published limit."""
    flagged = 0
    for table, row in every_row():
        basis = row.get("basis", "stated")
        if "derived" in row["name"]:
            assert basis == "computed", row["name"]
        if basis != "stated":
            loaded = sheets.sheet(table["id"]).row(row["name"])
            assert loaded.basis == basis
            assert {limit.basis for limit in loaded.limits.values()} <= {basis}
            flagged += len(loaded.limits)
    assert flagged >= 25


def test_second_hand_sheets_when_loaded_then_no_limit_passes_for_published() -> None:
    """A limit is published only if it, its row or its sheet was read on the body's page."""
    for table, row in every_row():
        loaded = sheets.sheet(table["id"]).row(row["name"])
        provenance = row.get("provenance", table["provenance"])
        for code in row.get("limits", {}):
            own = row["limits"][code].get("provenance", provenance)
            assert loaded.limits[code].provenance == own


def test_rows_when_they_point_at_another_row_then_that_row_is_held() -> None:
    """NMRA S-4.2 and S-3.2 say "same as" for F, Fn3 and On30."""
    pointing = [(table["id"], row["name"]) for table, row in every_row() if "same_as" in row]

    assert sorted(pointing) == [
        ("nmra-s-3.2", "F"),
        ("nmra-s-3.2", "On30"),
        ("nmra-s-4.2", "F"),
        ("nmra-s-4.2", "Fn3"),
        ("nmra-s-4.2", "On30"),
    ]
    for sheet_id, name in pointing:
        assert "wheel_check" in sheets.sheet(sheet_id).row(name).limits or (
            "check_gauge" in sheets.sheet(sheet_id).row(name).limits
        )


# --- Relations between wheel and track ---------------------------------------------------------


def pairs(wheels: str, track: str) -> dict[str, tuple[sheets.Row, sheets.Row]]:
    """Rows of the same name on a wheel sheet and on a track sheet."""
    by_name = {row.name: row for row in sheets.sheet(track).rows}
    return {
        row.name: (row, by_name[row.name])
        for row in sheets.sheet(wheels).rows
        if row.name in by_name
    }


def test_s_4_2_when_set_against_s_3_2_then_k_maximum_is_c_minimum() -> None:
    """NMRA S-4.2 and S-3.2, limit-value editions; S-1 asks for K max <= C min.

    The F rows borrow from S-4.1 and S-3.1, where the printed figures miss by .002 in.
    """
    held = pairs("nmra-s-4.2", "nmra-s-3.2")
    excess = {
        name: wheel.limits["wheel_check"].high - track.limits["check_gauge"].low
        for name, (wheel, track) in held.items()
    }

    assert excess.pop("F") == Decimal(".002") * MM_PER_INCH
    assert len(excess) == 14
    assert set(excess.values()) == {0}


def test_s_4_2_when_set_against_s_3_2_then_b_minimum_clears_s_maximum() -> None:
    """NMRA S-4.2 and S-3.2: .001 to .009 in to spare; HO .566 against .564."""
    spare = {
        name: wheel.limits["back_to_back"].low - track.limits["span"].high
        for name, (wheel, track) in pairs("nmra-s-4.2", "nmra-s-3.2").items()
    }

    assert min(spare.values()) == Decimal(".001") * MM_PER_INCH
    assert max(spare.values()) == Decimal(".009") * MM_PER_INCH
    assert spare["HO"] == Decimal(".002") * MM_PER_INCH


def test_s_4_1_when_set_against_s_3_1_then_misses_c_by_as_much_as_documented() -> None:
    """NMRA S-4.1 and S-3.1 disagree in print: K max over C min, in thousandths of an inch."""
    held = pairs("nmra-s-4.1", "nmra-s-3.1")
    excess = {
        name: (held[name][0].limits["wheel_check"].high - held[name][1].limits["check_gauge"].low)
        / MM_PER_INCH
        * 1000
        for name in ("Proto:20.3", "Proto:20.3n3", "Proto:32", "Proto:32n3", "Proto:48")
    }

    assert excess == {
        "Proto:20.3": 2,
        "Proto:20.3n3": 2,
        "Proto:32": 1,
        "Proto:32n3": 2,
        "Proto:48": 0,
    }


def test_rp_4_when_set_against_rp_3_then_k_maximum_is_c_minimum_and_b_clears_s() -> None:
    """NMRA RP-4 and RP-3, all nine rows."""
    held = pairs("nmra-rp-4", "nmra-rp-3")

    assert len(held) == 9
    for wheel, track in held.values():
        assert wheel.limits["wheel_check"].high == track.limits["check_gauge"].low
        assert wheel.limits["back_to_back"].low > track.limits["span"].high


def test_nem_2009_when_wheel_and_track_are_of_one_edition_then_they_pass_the_frog() -> None:
    """NEM 310 and 110 of 2009 with their supplement: K max <= C min, B min >= S max."""
    held = pairs("nem-310-2009", "nem-110-2009")

    assert sorted(held) == ["12", "6.5", "9"]
    for wheel, track in held.values():
        assert wheel.limits["wheel_check"].high <= track.limits["check_gauge"].low
        assert wheel.limits["back_to_back"].low >= track.limits["span"].high
        assert wheel.limits["flange_depth"].high <= track.limits["flangeway_depth"].low


def test_nem_1977_when_wheel_and_track_are_of_one_edition_then_they_pass_the_frog() -> None:
    """NEM 310 of 1977, all six gauges of the combined sheet."""
    rows = sheets.sheet("nem-310-1977").rows

    assert len(rows) == 6
    for row in rows:
        assert row.limits["wheel_check"].high <= row.limits["check_gauge"].low
        assert row.limits["back_to_back"].low >= row.limits["span"].high
        assert row.limits["flange_depth"].high <= row.limits["flangeway_depth"].low


def test_nem_2009_wheel_when_on_1977_track_at_16_5_then_can_climb_the_frog_point() -> None:
    """NEM supplement of 2009: K max 15.3 of the new wheel against C min 15.2 of the old track."""
    wheel = sheets.sheet("nem-310-2009").row("16.5").limits["wheel_check"]
    track = sheets.sheet("nem-310-1977").row("16.5").limits["check_gauge"]

    assert wheel.high > track.low
    assert wheel.high - track.low == Decimal("0.1")


def test_families_when_built_then_never_mix_the_two_nem_editions() -> None:
    """NEM 110 and 310 of 2009 against NEM 310 of 1977: no family may hold both."""
    for family in sheets.families().values():
        held = set(family.sheets)
        assert not (held & {"nem-310-2009", "nem-110-2009"} and "nem-310-1977" in held)
        assert not held >= {"nmra-s-3.2", "nmra-s-3.2-2010"}
