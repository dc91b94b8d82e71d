"""One cell of somebody's list -> a value. Pure.

People write days, amounts and yes or no in many ways; what is not certain is never guessed. How a
column writes its days and amounts is told by the whole of it, since 3/5/24 alone says neither
March nor May.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from enum import Enum

#: The longest part of a cell that a message repeats.
_SHOWN = 60


class Number(str):
    """A number as a workbook holds it, in plain digits with a decimal point."""

    __slots__ = ()


class Day(str):
    """A day as a workbook holds it, as 2024-03-05."""

    __slots__ = ()


class Fault(str):
    """What stands where a cell holds nothing that could be taken: its text says why, in words."""

    __slots__ = ()


class CellRefused(ValueError):
    """A cell that cannot be read; says why and what to type instead, in words."""


def shown(text: str) -> str:
    """A cell as a message repeats it: in one line, cut, with nothing invisible in it."""
    line = "".join(
        ch if ch.isprintable() else " " if ch.isspace() else f"[U+{ord(ch):04X}]" for ch in text
    )
    return line if len(line) <= _SHOWN else f"{line[:_SHOWN]}…"


def invisible(text: str) -> list[str]:
    """The characters of a cell that nobody can see, by name: "ZERO WIDTH SPACE (U+200B)".

    Line ends, tabs and the joiners that emoji need are no matter.
    """
    found = []
    for ch in dict.fromkeys(text):
        if unicodedata.category(ch) in ("Cc", "Cf", "Co", "Cn") and ch not in "\t\n\r\u200d":
            name = unicodedata.name(ch, "control character")
            found.append(f"{name} (U+{ord(ch):04X})")
    return found


def key(text: str) -> str:
    """What two spellings of one name share: case, width, blanks and invisible characters apart."""
    plain = unicodedata.normalize("NFKC", text)
    seen = "".join(ch for ch in plain if ch.isprintable() or ch.isspace())
    return " ".join(seen.casefold().split())


# --- Days ---------------------------------------------------------------------------------------


class Order(Enum):
    """Which comes first where a day is written with strokes, as in 3/5/24."""

    DAY = "day"
    MONTH = "month"


_TIME = r"(?:[T ]\d{1,2}:\d{2}(?::\d{2}(?:\.\d+)?)?)?"
_ISO = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})" + _TIME)
_DOTS = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4}|\d{2})")
_STROKES = re.compile(r"(\d{1,2})([/-])(\d{1,2})\2(\d{4}|\d{2})")
_WORDS = re.compile(r"(\d{1,2})\.?[ -]?([^\W\d_]{3,9})\.?[ -,]*(\d{4}|\d{2})")
_SERIAL = re.compile(r"\d{5}(?:\.0+)?")
_COMPACT = re.compile(r"(19|20)(\d{2})(\d{2})(\d{2})")
#: Names of months by their first letters: English, German, French.
_MONTHS = {
    1: ("jan", "jän"),
    2: ("feb", "fév", "fev"),
    3: ("mar", "mär", "mrz"),
    4: ("apr", "avr"),
    5: ("may", "mai"),
    6: ("jun", "juin"),
    7: ("jul", "juil"),
    8: ("aug", "aoû", "aou"),
    9: ("sep",),
    10: ("oct", "okt"),
    11: ("nov",),
    12: ("dec", "dez", "déc"),
}
#: Day 1 of a workbook is 1 January 1900, and it takes 1900 for a leap year: ECMA-376, 18.17.4.1.
_DAY_ZERO = date(1899, 12, 30)


def order_of(cells: Iterable[str]) -> Order | None:
    """How a column writes its days: told by any that can be read in one way only.

    None where nothing tells it. Raises CellRefused where two cells contradict each other.
    """
    first: dict[Order, str] = {}
    for cell in cells:
        found = _STROKES.fullmatch(cell.strip())
        if found is None:
            continue
        one, other = int(found[1]), int(found[3])
        if one > 12 >= other:
            first.setdefault(Order.DAY, cell)
        elif other > 12 >= one:
            first.setdefault(Order.MONTH, cell)
    if len(first) == 2:
        raise CellRefused(
            f"“{first[Order.DAY]}” puts the day first and “{first[Order.MONTH]}” the month: "
            "write all of them alike, best as 2024-03-05."
        )
    return next(iter(first), None)


def is_ambiguous(cell: str) -> bool:
    """Whether a cell is a day that two people may read in two ways."""
    found = _STROKES.fullmatch(cell.strip())
    return found is not None and max(int(found[1]), int(found[3])) <= 12 and found[1] != found[3]


def read_day(cell: str, order: Order | None, *, this_year: int, is_1904: bool = False) -> date:
    """A day: 2024-03-05, 05.03.2024, 5/3/2024, 3/5/24, 5 Mar 2024, or a workbook's serial number.

    order: which comes first where strokes are written, None where nobody said.
    this_year: two digits mean this year, the next, or one in the 99 years before.
    is_1904: whether the workbook counts from 1904.

    Raises CellRefused.
    """
    text = cell.strip()
    if found := _ISO.fullmatch(text):
        return _day(cell, int(found[1]), int(found[2]), int(found[3]))
    if found := _DOTS.fullmatch(text):
        return _day(cell, _year(found[3], this_year), int(found[2]), int(found[1]))
    if found := _STROKES.fullmatch(text):
        one, other, year = int(found[1]), int(found[3]), _year(found[4], this_year)
        if order is None and is_ambiguous(cell):
            raise CellRefused(
                f"“{shown(cell)}” may be the {one}.{other}. or the {other}.{one}.: say above "
                "which comes first, or type a day such as 2024-03-05."
            )
        day, month = (other, one) if order is Order.MONTH else (one, other)
        if order is None and month > 12:
            day, month = month, day
        return _day(cell, year, month, day)
    if found := _COMPACT.fullmatch(text):
        return _day(cell, int(found[1] + found[2]), int(found[3]), int(found[4]))
    if (found := _WORDS.fullmatch(text)) and (month := _month(found[2])):
        return _day(cell, _year(found[3], this_year), month, int(found[1]))
    if _SERIAL.fullmatch(text):
        return _DAY_ZERO + timedelta(days=int(text.split(".")[0]) + (1462 if is_1904 else 0))
    raise CellRefused(f"“{shown(cell)}” is no day that can be read; type one such as 2024-03-05.")


def _year(text: str, this_year: int) -> int:
    if len(text) == 4:
        return int(text)
    year = this_year // 100 * 100 + int(text)
    return year - 100 if year > this_year + 1 else year


def _month(word: str) -> int:
    for month, names in _MONTHS.items():
        if word.casefold().startswith(names):
            return month
    return 0


def _day(cell: str, year: int, month: int, day: int) -> date:
    try:
        return date(year, month, day)
    except ValueError as error:
        raise CellRefused(
            f"“{shown(cell)}” is no day of the calendar; type one such as 2024-03-05."
        ) from error


# --- Amounts ------------------------------------------------------------------------------------

_SIGNS = {"€": "EUR", "£": "GBP", "¥": "JPY", "$": ""}
_PRICED = re.compile(
    r"(?P<before>[A-Za-z]{3}|[€£¥$])?\s*(?P<digits>[+-]?\d[\d.,'’ ]*?)\s*"
    r"(?P<after>[A-Za-z]{3}|[€£¥$]|,-|\.-)?"
)


class Mark(Enum):
    """What stands between the whole number and its decimals."""

    POINT = "."
    COMMA = ","


@dataclass(frozen=True)
class Amount:
    """An amount of money. currency: as written beside it, three letters, or empty."""

    number: Decimal
    currency: str


def mark_of(cells: Iterable[str]) -> Mark | None:
    """How a column writes its decimals: told by any amount that can be read in one way only."""
    found = set()
    for cell in cells:
        if isinstance(cell, Number):
            continue
        digits = _digits(cell)
        last = max(digits.rfind("."), digits.rfind(","))
        if last < 0:
            continue
        mark = digits[last]
        is_mixed = ("." in digits) and ("," in digits)
        if digits.count(mark) == 1 and (is_mixed or len(digits) - last - 1 != 3):
            found.add(Mark(mark))
        elif digits.count(mark) > 1:
            found.add(Mark.COMMA if mark == "." else Mark.POINT)
    return found.pop() if len(found) == 1 else None


def _digits(cell: str) -> str:
    text = unicodedata.normalize("NFKC", cell).strip()
    found = _PRICED.fullmatch(text)
    return re.sub(r"['’ ]", "", found["digits"]) if found else ""


def read_amount(cell: str, mark: Mark | None) -> Amount:
    """An amount: 24.50, 24,50, 1.234,50, 1'234.50, € 24, 24.50 EUR.

    mark: what the column puts before its decimals, None where nothing tells. Raises CellRefused.
    """
    refusal = CellRefused(f"“{shown(cell)}” is no amount; type one such as 24.50.")
    if isinstance(cell, Number):
        return Amount(Decimal(cell), "")
    text = unicodedata.normalize("NFKC", cell).replace("−", "-").strip()
    found = _PRICED.fullmatch(text)
    if found is None:
        raise refusal
    digits = re.sub(r"['’ ]", "", found["digits"]).rstrip(".,")
    last = max(digits.rfind("."), digits.rfind(","))
    if last >= 0:
        own = digits[last]
        other = "," if own == "." else "."
        if digits.count(own) > 1:  # only thousands are parted more than once
            mark = Mark(other)
        elif other in digits or len(digits) - last - 1 != 3:
            mark = Mark(own)
        elif mark is None:
            raise CellRefused(
                f"“{shown(cell)}” may be {digits[:last]}{digits[last + 1 :]} or "
                f"{digits[:last]}.{digits[last + 1 :]}: type it without thousands, as 1234.50."
            )
        thousands = "," if mark is Mark.POINT else "."
        whole, _, rest = digits.partition(mark.value)
        if thousands in rest or not re.fullmatch(
            rf"[+-]?(\d+|\d{{1,3}}({re.escape(thousands)}\d{{3}})+)", whole
        ):
            raise refusal
        digits = whole.replace(thousands, "") + (f".{rest}" if rest else "")
    if not re.fullmatch(r"[+-]?\d+(\.\d+)?", digits):
        raise refusal
    words = [each for each in (found["before"], found["after"]) if each and each[-1] != "-"]
    named = {_SIGNS.get(each, each.upper()) for each in words} - {""}
    if len(named) > 1:
        raise refusal
    return Amount(Decimal(digits), named.pop() if named else "")


# --- Whole numbers, yes and no -------------------------------------------------------------------

_YES = {"yes", "y", "true", "1", "x", "✓", "✔", "ja", "j", "wahr", "oui", "o", "vrai", "on"}
_NO = {"no", "n", "false", "0", "-", "–", "nein", "falsch", "non", "faux", "off", "none"}


def read_yes(cell: str) -> bool:
    """Yes or no, in English, German or French. Raises CellRefused."""
    word = key(cell)
    if word in _YES:
        return True
    if word in _NO:
        return False
    raise CellRefused(f"“{shown(cell)}” is neither yes nor no; type one of them.")


def read_whole(cell: str) -> int:
    """A whole number; 4.0 is one. Raises CellRefused."""
    text = unicodedata.normalize("NFKC", cell).strip()
    if not re.fullmatch(r"\d{1,9}([.,]0+)?", text):
        raise CellRefused(f"“{shown(cell)}” is no whole number; type one such as 4.")
    return int(re.split(r"[.,]", text)[0])


# --- Several values in one cell ------------------------------------------------------------------


def join(values: Iterable[str]) -> str:
    """Values of one vehicle's axles as one cell: one where all are alike, else each with a bar
    between, "110 | 110 | 88 | 88". `split` undoes it exactly."""
    escaped = [value.replace("\\", "\\\\").replace("|", "\\|") for value in values]
    if len(set(escaped)) < 2:
        return escaped[0] if escaped else ""
    return " | ".join(escaped)


def split(cell: str) -> list[str]:
    """The values in a cell, one where it holds no bar."""
    parts, part, position = [], "", 0
    while position < len(cell):
        ch = cell[position]
        if ch == "\\" and cell[position + 1 : position + 2] in ("\\", "|"):
            part += cell[position + 1]
            position += 1
        elif ch == "|":
            parts.append(part)
            part = ""
        else:
            part += ch
        position += 1
    parts.append(part)
    if len(parts) == 1:
        return parts
    # One blank on each side of a bar is ours.
    last = len(parts) - 1
    return [
        each.removeprefix(" " if index else "").removesuffix(" " if index < last else "")
        for index, each in enumerate(parts)
    ]
