"""Cells of tables: text that no spreadsheet takes for a formula, and that comes back exactly."""

from __future__ import annotations

import re

MOST_IN_A_CELL = 32_000
"""Letters; a cell of a workbook takes 32,767 (ECMA-376 as Excel keeps it)."""


# --- Letters that XML has none of, as ECMA-376 part 1, 22.9.2.19 (ST_Xstring) writes them --------

_NOT_IN_XML = re.compile("[\0-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
_ESCAPED = re.compile("_x([0-9A-Fa-f]{4})_")


def for_xml(text: str) -> str:
    """Text in which letters that XML drops or changes are spelled out."""
    return _NOT_IN_XML.sub(lambda found: f"_x{ord(found.group()):04X}_", text)


def from_xml(text: str) -> str:
    """The other way round."""
    return _ESCAPED.sub(lambda found: chr(int(found.group(1), 16)), text)


def pieces(text: str) -> list[str]:
    """Text in pieces that fit a cell each, however many of its letters have to be spelled out."""
    size = MOST_IN_A_CELL if for_xml(text) == text else MOST_IN_A_CELL // 8
    return [text[at : at + size] for at in range(0, len(text), size)]
