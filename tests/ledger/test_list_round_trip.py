"""Out and in again: nothing differs, whatever stands in the record; outside readers agree."""

from __future__ import annotations

import io
from datetime import date
from decimal import Decimal

import openpyxl
import pandas
import pytest
from django.core.management import CommandError, call_command
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from inventory.bench.demo import load_demo
from inventory.ledger.lists import columns, outgoing
from inventory.ledger.lists.facts import as_cells
from inventory.ledger.lists.files import read_list
from inventory.ledger.lists.incoming import Incoming, Terms
from inventory.ledger.lists.writing import Cell, Heading, as_csv, is_kept_exactly, write_workbook
from inventory.people.models import Person
from inventory.stock.forms import VehicleForm
from inventory.stock.models import Change, Reading, Vehicle, Verdict
from inventory.stock.recording import Newcomer, Wheels, bring_back, log_vehicles
from inventory.trouble.models import Hold, Incident, Turn
from tests.factories import make_vehicle

WAYS = ("csv", "semicolon", "xlsx")
TODAY = date(2026, 11, 25)


def written(way: str, *, is_measured: bool = False) -> io.BytesIO:
    raw = io.BytesIO()
    headings = outgoing.headings(is_measured=is_measured)
    vehicles = Vehicle.everyone.of_the_house().for_list()
    rows = outgoing.rows(vehicles, is_measured=is_measured)
    if way == "xlsx":
        write_workbook(raw, headings, rows, title="Vehicles")
    else:
        for piece in as_csv(headings, rows, delimiter=";" if way == "semicolon" else ","):
            raw.write(piece)
    raw.seek(0)
    return raw


def incoming(raw: io.BytesIO) -> Incoming:
    listed = read_list(raw)
    at = columns.heading_row([row.cells for row in listed.rows[:60]])
    assert at == 0
    terms = Terms(at, tuple(columns.guess(listed.rows[0].cells)))
    new = Incoming(listed.rows, terms, unit="in", today=TODAY, is_1904=listed.is_1904)
    assert new.missing() == []
    assert new.question() == ""
    return new


def facts() -> dict[str, dict[str, str]]:
    """Every declared fact of every vehicle, by uid."""
    vehicles = Vehicle.everyone.prefetch_related("wheelsets", "couplers")
    return {str(each.uid): as_cells(each) for each in vehicles}


@pytest.mark.django_db
@pytest.mark.parametrize("way", WAYS)
def test_demo_when_out_and_in_again_then_nothing_differs_and_into_nothing_then_is_the_same(way):
    owner = Person.objects.create_user("owner", role="owner")
    load_demo(by=owner)
    for each in Vehicle.everyone.former():  # which a list neither shows nor changes
        bring_back(vehicle=each, because="a test", by=owner, seen_revision=each.revision)
    before = facts()
    raw = written(way, is_measured=True)

    planned = list(incoming(raw).plan())
    assert {each.deed for each in planned} == {"same"}
    assert len(planned) == len(before) == 53
    n_changes = Change.objects.count()
    assert incoming(raw).carry_out(by=owner).same == 53
    assert Change.objects.count() == n_changes

    for each in (Hold, Incident, Turn, Verdict, Reading):
        each.objects.all().delete()
    Vehicle.everyone.all().delete()
    assert incoming(raw).carry_out(by=owner).new == 53
    assert facts() == before


# What a person may type into the form: no half characters, no NUL.
NASTY = st.text(
    st.one_of(
        st.characters(exclude_categories=["Cs"], exclude_characters="\0"),
        st.sampled_from("'=+-@\t\r\n\",;|\\_x000D_\u200b\u202e\ufeff\ufffe\x07é€🚂"),
    ),
    max_size=24,
)
MONEY = st.none() | st.decimals(0, 10**8 - 1, places=2)


def lines(most: int):
    return NASTY.map(lambda text: text.strip()[:most].strip())


@st.composite
def vehicles(draw):
    family, scale = draw(
        st.sampled_from(
            [
                ("nmra", "HO"),
                ("nem", "H0"),
                ("0-fine", "0-MF"),
                ("nmra-proto-fine", "Proto:87.1"),
                ("nmra", "On30"),
            ]
        )
    )
    amounts = draw(MONEY), draw(MONEY)
    radius = st.none() | st.decimals(Decimal("0.001"), 99999, places=3)
    return {
        "reporting_mark": draw(lines(40)),
        "number": draw(lines(24)),
        "name": draw(lines(60)),
        "category": draw(st.sampled_from(Vehicle.Category.values)),
        "kind": draw(lines(60)) or "car",
        "standard": f"{family}/{scale}",
        "axles": draw(st.integers(1, 16)),
        "has_buffers": draw(st.booleans()),
        "maker": draw(lines(60)),
        "catalogue_number": draw(lines(40) | st.integers(0, 10**9).map(lambda n: f"{n:010}")),
        "aar_designation": draw(st.from_regex(r"\A[A-Z]{0,4}\Z")),
        "uic_letter": draw(st.from_regex(r"\A[A-Z]?\Z")),
        "era": draw(lines(30)),
        "minimum_radius": draw(radius.map(lambda r: "" if r is None else f"{r} mm")),
        "acquired_on": draw(st.none() | st.dates(date(1850, 1, 1), TODAY)),
        "price": amounts[0],
        "value": amounts[1],
        "currency": draw(st.sampled_from(["EUR", "GBP"])),
        "storage_box": draw(lines(40)),
        "notes": draw(lines(80)),
    }


wheels = st.builds(Wheels, st.none() | st.integers(40, 999), lines(40), lines(24))


class RoundTrip(TestCase):
    @settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
    @given(
        st.lists(st.tuples(vehicles(), st.lists(wheels, min_size=16, max_size=16)), max_size=4),
        st.sampled_from(WAYS),
    )
    def test_vehicles_when_nasty_then_come_back_to_the_byte(self, made, way):
        owner = Person.objects.create_user("owner", role="owner")
        new = []
        for typed, gear in made:
            form = VehicleForm(typed, unit="mm")
            if form.is_valid():
                fitted = gear[: form.instance.axles]
                new.append(
                    Newcomer(
                        form.instance, fitted, {"A": ("hook", "pocket"), "B": ("none", "bogie")}
                    )
                )
        log_vehicles(newcomers=new, by=owner)
        before = facts()
        raw = written(way)
        if not new:
            return

        planned = list(incoming(raw).plan())
        assert [each.deed for each in planned] == ["same"] * len(new), planned
        Vehicle.everyone.all().delete()
        outcome = incoming(raw).carry_out(by=owner)
        assert outcome.new == len(new)
        assert facts() == before


# --- Outside readers ------------------------------------------------------------


@pytest.fixture
def stock(owner):
    make_vehicle(
        owner,
        number="007",
        catalogue_number="00123",
        minimum_radius=Decimal("457.2"),
        price=Decimal("24.50"),
        currency="EUR",
        acquired_on=date(2024, 3, 5),
        notes='=HYPERLINK("x")',
    )
    make_vehicle(owner, number="-5", name='Ö, "x"; y\nz', profile_code=None)
    return owner


def test_csv_when_read_by_pandas_then_holds_the_record(stock):
    frame = pandas.read_csv(written("csv"), dtype=str, keep_default_na=False)

    cells = frame.set_index("uid").to_dict("index")
    for uid, told in facts().items():
        row = cells[uid]
        assert row["Number"] == told["number"]  # -5 is a number and stays one
        assert row["Catalogue number"] == told["catalogue_number"]
        assert row["Name"] == told["name"]
        assert row["Smallest radius (mm)"] == told["minimum_radius"]
        assert row["Notes"] == (f"'{told['notes']}" if told["notes"] else "")
    assert not any(str(cell).startswith(("=", "+", "@")) for cell in frame.to_numpy().ravel())


def test_csv_with_semicolons_when_read_by_pandas_then_decimals_have_commas(stock):
    frame = pandas.read_csv(written("semicolon"), sep=";", decimal=",")

    assert frame["Price"].dropna().tolist() == [24.5]
    assert frame["Smallest radius (mm)"].dropna().tolist() == [457.2]


def test_workbook_when_read_by_pandas_and_openpyxl_then_is_typed(stock):
    frame = pandas.read_excel(written("xlsx"), dtype={"Number": str})
    sheet = openpyxl.load_workbook(written("xlsx")).active
    named = {cell.value: cell.column for cell in sheet[1]}
    row = next(number for number in (2, 3) if sheet.cell(number, named["Number"]).value == "007")

    def cell(heading: str):
        return sheet.cell(row, named[heading])

    assert sorted(frame["Number"]) == ["-5", "007"]
    assert frame["Price"].dropna().tolist() == [24.5]
    assert (cell("Price").value, cell("Price").data_type) == (24.5, "n")
    assert cell("Acquired").is_date and cell("Acquired").value.date() == date(2024, 3, 5)
    assert (cell("Catalogue number").value, cell("Catalogue number").data_type) == ("00123", "s")
    assert (cell("Notes").value, cell("Notes").data_type) == ('\'=HYPERLINK("x")', "s")
    assert cell("Axles").value == 2
    assert sheet.freeze_panes == "A2"
    assert sheet.column_dimensions["A"].width == 38


def test_number_when_a_fraction_of_two_would_lose_digits_then_is_text():
    assert is_kept_exactly("0.1") and is_kept_exactly("123456789012.345")
    assert not is_kept_exactly("0.1234567890123456789")
    raw = io.BytesIO()
    headings = [Heading("a", Cell.NUMBER), Heading("b", Cell.DAY)]
    write_workbook(
        raw, headings, [["1234567890.12345678", "1899-01-01"], ["-1.5", "x"]], title="t"
    )

    sheet = openpyxl.load_workbook(raw).active

    assert [[cell.value for cell in row] for row in sheet.iter_rows(min_row=2)] == [
        ["1234567890.12345678", "1899-01-01"],
        [-1.5, "x"],
    ]


def test_export_when_of_many_then_asks_the_database_no_more_for_each(
    stock, django_assert_num_queries
):
    for number in range(60):
        make_vehicle(stock, number=str(number))

    with django_assert_num_queries(4):
        assert len(list(outgoing.rows(Vehicle.objects.for_list(), is_measured=True))) == 62


def test_csv_when_long_then_comes_piece_by_piece():
    pieces = as_csv([Heading("a")], ([f"{'x' * 1000}"] for _ in range(1000)))

    sizes = [len(piece) for piece in pieces]
    assert len(sizes) > 10
    assert max(sizes) < 80_000


# --- The commands ------------------------------------------------------------


@pytest.mark.django_db
@pytest.mark.parametrize("name", ["out.csv", "out.xlsx"])
def test_commands_when_out_and_in_then_say_what_was_done(stock, tmp_path, capsys, name):
    file = tmp_path / name
    call_command("export_vehicles", str(file))
    assert f"2 vehicles: {file}" in capsys.readouterr().out
    call_command("import_vehicles", str(file), "--check")
    assert "It would be: 2 same. Nothing was written." in capsys.readouterr().out

    before = facts()
    Vehicle.everyone.all().delete()
    call_command("import_vehicles", str(file))

    assert "2 new, 0 changed, 0 as they were, 0 left out." in capsys.readouterr().out
    assert facts() == before
    assert list(tmp_path.iterdir()) == [file]


def test_import_command_when_rows_are_wrong_then_names_them_and_fails(stock, tmp_path, capsys):
    file = tmp_path / "list.csv"
    file.write_text("Marks,Number,Kind,Axles,Acquired\nA,1,boxcar,99,3/5/24\nA,2,boxcar,4,\n")
    given = ("--standard", "nmra/HO", "--category", "freight")

    with pytest.raises(CommandError, match="may be read in two ways"):
        call_command("import_vehicles", str(file), *given)
    given = (*given, "--days", "day")
    with pytest.raises(CommandError, match="errors in row 2"):
        call_command("import_vehicles", str(file), *given)
    assert "row 2, A 1: column D (Axles): “99”: That is more than the most allowed here, 16." in (
        capsys.readouterr().err
    )
    assert Vehicle.objects.count() == 2
    call_command("import_vehicles", str(file), *given, "--leave-errors-out")
    assert Vehicle.objects.count() == 3


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("nowhere.csv",), "cannot be read"),
        (("x.csv", "--by", "nobody"), "nobody of that name"),
        (("x.csv", "--sheet", "0"), "the first sheet is 1"),
    ],
)
def test_import_command_when_asked_nonsense_then_says_so(owner, given, said):
    with pytest.raises(CommandError, match=said):
        call_command("import_vehicles", *given)


def test_export_command_when_the_name_has_no_ending_then_says_so(db, tmp_path):
    with pytest.raises(CommandError, match=r"end its name in \.csv or \.xlsx"):
        call_command("export_vehicles", str(tmp_path / "out.pdf"))
    with pytest.raises(CommandError, match="could not be written"):
        call_command("export_vehicles", str(tmp_path / "no" / "out.csv"))
