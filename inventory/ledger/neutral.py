"""Cells that a spreadsheet program would take for a formula, made harmless, and back. Pure.

OWASP, "CSV Injection": a cell that begins with = + - @, a tab, a line end, or the full-width
forms of the first four may be carried out as a formula by whoever opens the file; a single quote
before it keeps it text. Plain numbers, negative ones too, are no formulas and stay as they are.
"""

from __future__ import annotations

import re

_DANGER = r"[=+\-@\t\r\n＝＋－＠]"
_NEEDS = re.compile(rf"'*{_DANGER}")
_MADE_SO = re.compile(rf"'+{_DANGER}")
_NUMBER = re.compile(r"-\d+(?:[.,]\d+)?")


def neutral(text: str) -> str:
    """Text that no program carries out. `original` gives exactly the same text back."""
    if _NEEDS.match(text) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def original(text: str) -> str:
    """The text before it was made harmless."""
    return text[1:] if _MADE_SO.match(text) else text
