"""Cells, headings and harmless text: pure, against written-out examples and other libraries."""

from __future__ import annotations

import string
import subprocess
import sys
from datetime import date
from decimal import Decimal
from pathlib import Path

import openpyxl.utils
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.utils.datetime import from_excel

from inventory.ledger.lists import columns
from inventory.ledger.lists.cells import (
    Amount,
    CellRefused,
    Mark,
    Number,
    Order,
    invisible,
    is_ambiguous,
    join,
    key,
    mark_of,
    order_of,
    read_amount,
    read_day,
    read_whole,
    read_yes,
    split,
)
from inventory.ledger.lists.columns import COLUMNS, Kind, guess, heading_row, letter, unit_of
from inventory.ledger.neutral import neutral, original

HOME = Path(__file__).resolve().parents[2]
NASTY = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


def test_pure_modules_when_imported_then_bring_no_web_framework_along():
    names = ("files", "workbooks", "cells", "columns", "scales", "writing")
    imports = "; ".join(f"import inventory.ledger.lists.{name}" for name in names)
    found = subprocess.run(
        [sys.executable, "-c", f"import sys; {imports}; print('django' in sys.modules)"],
        cwd=HOME,
        capture_output=True,
        text=True,
        check=True,
    )

    assert found.stdout.strip() == "False"


# --- Days ------------------------------------------------------------


def day(text: str, order: Order | None = None) -> date:
    return read_day(text, order, this_year=2026)


@pytest.mark.parametrize(
    "text",
    [
        "2024-03-05",
        "05.03.2024",
        "5.3.24",
        "2024-03-05T14:30:00",
        "5 Mar 2024",
        "5. März 2024",
        "5 mars 2024",
        "20240305",
        "45356",
        "2024/3/5",
    ],
)
def test_day_when_it_can_be_read_in_one_way_then_is_that(text):
    """45356 is 5 March 2024 by openpyxl's own conversion of serial numbers."""
    assert from_excel(45356).date() == date(2024, 3, 5)
    assert day(text) == date(2024, 3, 5)


def test_day_with_strokes_when_nobody_said_which_is_first_then_is_refused():
    assert is_ambiguous("3/5/24") and not is_ambiguous("13/5/24") and not is_ambiguous("5/5/24")
    with pytest.raises(CellRefused, match="may be the 3\\.5\\. or the 5\\.3\\."):
        day("3/5/24")
    assert day("3/5/24", Order.DAY) == date(2024, 5, 3)
    assert day("3/5/24", Order.MONTH) == date(2024, 3, 5)
    assert day("3-5-2024", Order.DAY) == date(2024, 5, 3)
    assert day("5/5/24") == date(2024, 5, 5)
    assert day("25/12/24") == day("12/25/24") == date(2024, 12, 25)


def test_order_when_a_cell_tells_it_then_is_that_and_contradictions_are_named():
    assert order_of(["3/5/24", "4/5/24"]) is None
    assert order_of(["3/5/24", "31/5/24", "x"]) is Order.DAY
    assert order_of(["3/5/24", "5/31/24"]) is Order.MONTH
    with pytest.raises(CellRefused, match="“31/5/24” puts the day first and “5/31/24” the month"):
        order_of(["31/5/24", "5/31/24"])


def test_year_of_two_digits_when_read_then_is_this_year_the_next_or_one_before():
    assert [day(f"1.2.{year}").year for year in ("26", "27", "28", "99", "00")] == [
        2026,
        2027,
        1928,
        1999,
        2000,
    ]


@pytest.mark.parametrize("text", ["31.2.2024", "2024-13-01", "soon", "1987", "", "5.3.", "0.0.00"])
def test_day_when_there_is_none_then_says_what_to_type(text):
    with pytest.raises(CellRefused, match="type one such as 2024-03-05"):
        day(text)


@settings(deadline=None)
@given(st.integers(20_000, 80_000))
def test_serial_when_of_any_day_then_agrees_with_openpyxl(serial):
    assert day(str(serial)) == from_excel(serial).date()
    mac = openpyxl.utils.datetime.CALENDAR_MAC_1904
    assert read_day(str(serial), None, this_year=2026, is_1904=True) == (
        from_excel(serial, mac).date()
    )


# --- Amounts ------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "number", "currency"),
    [
        ("24.50", "24.50", ""),
        ("24,50", "24.50", ""),
        ("1.234,50", "1234.50", ""),
        ("1,234.50", "1234.50", ""),
        ("1'234.50", "1234.50", ""),
        ("1 234,50", "1234.50", ""),
        ("€ 24,50", "24.50", "EUR"),
        ("24.50 EUR", "24.50", "EUR"),
        ("£5", "5", "GBP"),
        ("$19.99", "19.99", ""),
        ("CHF 12.-", "12", "CHF"),
        ("24,-", "24", ""),
        ("1.234.567", "1234567", ""),
        ("-3", "-3", ""),
        ("−3", "-3", ""),
        ("0", "0", ""),
        ("１２,5", "12.5", ""),
    ],
)
def test_amount_when_written_as_people_do_then_is_read(text, number, currency):
    assert read_amount(text, None) == Amount(Decimal(number), currency)


@pytest.mark.parametrize(
    "text",
    [
        "12,5o",
        "abc",
        "1,2,3,4",
        "12.34.5",
        "EUR",
        "1e5",
        "--1",
        "24 EUR GBP",
        "EUR 24 GBP",
        "1.23,45,6",
    ],
)
def test_amount_when_there_is_none_then_says_what_to_type(text):
    with pytest.raises(CellRefused, match=r"is no amount; type one such as 24\.50"):
        read_amount(text, None)


def test_amount_when_a_comma_may_part_thousands_then_the_column_tells_or_it_is_refused():
    with pytest.raises(CellRefused, match="may be 1234 or 1\\.234"):
        read_amount("1,234", None)
    assert mark_of(["1,234", "2,50"]) is Mark.COMMA
    assert mark_of(["1,234", "2.50"]) is Mark.POINT
    assert mark_of(["1,234", "5"]) is None
    assert mark_of(["2,50", "2.50"]) is None
    assert read_amount("1,234", Mark.POINT).number == 1234
    assert read_amount("1,234", Mark.COMMA).number == Decimal("1.234")
    assert read_amount(Number("1.234"), Mark.COMMA).number == Decimal("1.234")


@settings(deadline=None)
@given(st.decimals(0, 10**8, places=2))
def test_amount_when_written_by_python_in_any_habit_then_is_read_back(number):
    point = f"{number:,.2f}"
    swapped = point.translate(str.maketrans(",.", ".,"))

    assert read_amount(point, None).number == number
    assert read_amount(swapped, None).number == number
    assert read_amount(f"{number:f}", None).number == number


# --- The rest ------------------------------------------------------------


def test_yes_and_no_when_in_three_languages_then_are_read():
    assert all(read_yes(word) for word in ("yes", "Ja", "OUI", "x", "TRUE", "1", "wahr", "vrai"))
    assert not any(read_yes(word) for word in ("no", "Nein", "non", "0", "FALSE", "-", "faux"))
    with pytest.raises(CellRefused, match="neither yes nor no"):
        read_yes("perhaps")


def test_whole_number_when_written_as_a_decimal_then_is_whole_or_refused():
    assert read_whole("4") == read_whole("4.0") == read_whole(" 4,00 ") == 4
    for text in ("4.5", "four", "-1", "1e3", ""):
        with pytest.raises(CellRefused):
            read_whole(text)


def test_key_when_letters_differ_only_to_a_machine_then_is_one():
    assert key("Ｄ\u200bB  1") == key("db 1") == key("DB 1\u00a0")
    assert key("\u202eDB") == "db"
    assert key("straße") == key("STRASSE")


def test_invisible_when_there_is_any_then_is_named():
    assert invisible("a\u200bb\x07\u202e") == [
        "ZERO WIDTH SPACE (U+200B)",
        "control character (U+0007)",
        "RIGHT-TO-LEFT OVERRIDE (U+202E)",
    ]
    assert invisible("Übergröße\n\t🚂") == []


@settings(deadline=None)
@given(st.lists(NASTY, min_size=1, max_size=16))
def test_several_values_when_joined_then_split_exactly(values):
    back = split(join(values))

    assert back == values or (len(set(values)) == 1 and back == values[:1])


# --- Harmless text ------------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        "=1+1",
        "+1",
        "-x",
        "@SUM(A1)",
        "\tx",
        "\rx",
        "\nx",
        "＝1",
        "=cmd|' /C calc'!A0",
        "'=1",
        "''-",
    ],
)
def test_formula_when_written_then_begins_harmless_and_comes_back(text):
    """The characters of OWASP, "CSV Injection"."""
    assert neutral(text)[0] == "'"
    assert original(neutral(text)) == text


def test_number_when_negative_then_stays_one():
    assert [neutral(text) for text in ("-5", "-0.25", "-1,5")] == ["-5", "-0.25", "-1,5"]


@settings(deadline=None)
@given(st.text(st.sampled_from("'=+-@\t\r\n5.a＝")) | NASTY)
def test_any_text_when_made_harmless_then_comes_back_and_begins_so(text):
    harmless = neutral(text)

    assert original(harmless) == text
    is_number = harmless[:1] == "-" and harmless[1:2] in set(string.digits)
    assert harmless[:1] not in set("=+-@\t\r\n＝＋－＠") - {""} or is_number


# --- Headings ------------------------------------------------------------


def test_headings_of_our_own_when_read_then_mean_every_column():
    ours = [column.heading for column in COLUMNS.values() if column.is_exported]

    assert guess(ours) == [column.code for column in COLUMNS.values() if column.is_exported]
    assert guess([f"Mass (g) {columns.FOR_READING}"]) == [""]


@pytest.mark.parametrize(
    "heading",
    [
        "Length over buffers",
        "Länge über Puffer",
        "LüP (Puffer)",
        "Longueur hors tampons",
        "Length over couplers",
        "Coupler height",
        "Height of coupling",
        "Weight of wagon type",
        "Gewicht Radsätze",
    ],
)
def test_headings_of_what_is_measured_when_guessed_then_are_left_out(heading):
    assert guess([heading]) == [""]
    assert guess(["Kind of buffers", heading])[0] == "has_buffers"  # words inside still count


@pytest.mark.parametrize(
    "headings",
    [
        [
            "Road name",
            "Road #",
            "Car type",
            "Scale",
            "Mfr",
            "Catalog number",
            "Date purchased",
            "Price paid",
            "Current value",
            "Box",
            "Comments",
        ],
        [
            "Bahnverwaltung",
            "Betriebs-Nr.",
            "Gattung",
            "Spur",
            "Hersteller",
            "Art.-Nr.",
            "Kaufdatum",
            "Kaufpreis (€)",
            "Zeitwert",
            "Lagerort",
            "Bemerkungen",
        ],
        [
            "Compagnie",
            "Numéro",
            "Type de wagon",
            "Échelle",
            "Fabricant",
            "Référence",
            "Date d’achat",
            "Prix d'achat",
            "Valeur actuelle",
            "Rangement",
            "Remarques",
        ],
    ],
    ids=["English", "German", "French"],
)
def test_headings_of_others_when_read_then_are_guessed(headings):
    """Common practice, no source."""
    assert guess(headings) == [
        "reporting_mark",
        "number",
        "kind",
        "scale",
        "maker",
        "catalogue_number",
        "acquired_on",
        "price",
        "value",
        "storage_box",
        "notes",
    ]


def test_headings_when_one_stands_twice_then_means_it_once():
    assert guess(["Number", "Number", "Price", "Purchase price"]) == ["number", "", "price", ""]
    assert columns.repeated(["Number", "NUMBER ", "", "", "x"]) == ["number"]


@settings(deadline=None)
@given(st.lists(NASTY, max_size=12))
def test_headings_when_nasty_then_no_column_is_given_twice(headings):
    codes = [code for code in guess(headings) if code]

    assert len(guess(headings)) == len(headings)
    assert len(codes) == len(set(codes))


def test_heading_row_when_a_title_stands_above_then_is_found():
    assert (
        heading_row(
            [["Our stock"], ["as of", "2024"], ["Marks", "Number", "Kind"], ["DB", "1", "coach"]]
        )
        == 2
    )
    assert heading_row([["Foo", "Bar"], ["1", "2"]]) == 0
    assert heading_row([["DB", "1", "coach"], ["DB", "2", "coach"]]) is None
    assert heading_row([]) is None


def test_unit_when_named_in_brackets_then_is_read():
    assert [unit_of(text) for text in ("Radius (in)", "Radius [mm]", "Radius", "R (x)")] == [
        "in",
        "mm",
        "",
        "",
    ]


@settings(deadline=None)
@given(st.integers(0, 16_383))
def test_letter_when_of_any_column_then_agrees_with_openpyxl(index):
    assert letter(index) == openpyxl.utils.get_column_letter(index + 1)


def test_words_for_choices_when_in_three_languages_then_are_known():
    """Common practice, no source."""
    for word, code in (
        ("Lok", "locomotive"),
        ("Güterwagen", "freight"),
        ("Voiture", "passenger"),
        ("Dienstwagen", "service"),
        ("freight car or wagon", "freight"),
    ):
        assert columns.chosen_word(Kind.CATEGORY, word) == code
    assert columns.chosen_word(Kind.COUPLER, "Bügelkupplung") == "loop"
    assert columns.chosen_word(Kind.MOUNTING, "on the bogie") == "bogie"
    assert columns.chosen_word(Kind.CATEGORY, "zeppelin") == ""
