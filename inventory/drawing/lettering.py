"""Words on paper, whose room is known in millimetres before anybody prints them.

Every line is told how long it has to be (`textLength`), reckoned by the widths of Helvetica,
which are those of Arial and of the free founts cut to its measure. Where one of these is there,
nothing is stretched; any other fount is brought to the same length, so that no printer's choice
of fount can push a word out of its label.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache

from django.utils.safestring import SafeString

from inventory.drawing.svg import element

# Widths in thousandths of the size, from space to tilde: the font metrics that Adobe published
# for Helvetica and Helvetica-Bold. From memory, and held against another copy by the tests.
_FIRST = " "
_REGULAR = (
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
    1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
    333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
    556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
)  # fmt: skip
_BOLD = (
    278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278,
    556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611,
    975, 722, 722, 722, 722, 667, 611, 778, 722, 278, 556, 722, 611, 833, 722, 778,
    667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584, 556,
    333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611,
    611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584,
)  # fmt: skip
_OTHERS = {
    "–": 556, "—": 1000, "…": 1000, "‘": 222, "’": 222, "“": 333, "”": 333, "·": 278, "•": 350,
    "×": 584, "÷": 584, "±": 584, "−": 584, "°": 400, "µ": 576, "€": 556, "£": 556, "§": 556,
    "ß": 611, "æ": 889, "Æ": 1000, "œ": 944, "Œ": 1000, "ø": 611, "Ø": 778, "ł": 222, "Ł": 556,
    "ı": 278, "đ": 556, "Đ": 722, "\u00a0": 278,
}  # fmt: skip
#: Of letters whose widths are not held: what their scripts need on the average, rounded up.
_BY_CATEGORY = {"Lu": 720, "Ll": 580, "Lo": 600, "Nd": 600}

LEADING = 1.18
"""From one baseline to the next, in sizes."""
ASCENT = 0.74
"""Of capitals and most accents above the baseline, in sizes; 0.22 hang below it."""

# A blank that holds words together stays one.
_BLANKS = re.compile(r"[^\S\u00a0]+")
# Marks that turn the direction round would reach beyond the words they came with.
_TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200E, 0x200F])


@lru_cache(maxsize=4096)
def _thousandths(letter: str, bold: bool) -> int:
    index = ord(letter) - ord(_FIRST)
    table = _BOLD if bold else _REGULAR
    if 0 <= index < len(table):
        return table[index]
    if letter in _OTHERS:
        return _OTHERS[letter]
    category = unicodedata.category(letter)
    if category in ("Mn", "Me", "Cf", "Cc", "Cs", "Cn", "Co"):
        return 0 if category != "Co" else 1000
    base = unicodedata.normalize("NFD", letter)[0]
    if base != letter:
        return _thousandths(base, bold)
    if unicodedata.east_asian_width(letter) in ("W", "F"):
        return 1000
    return _BY_CATEGORY.get(category, 800)


def width_of(words: str, size: float, *, bold: bool = False) -> float:
    """How long words come out at a size, both in the same unit."""
    return sum(_thousandths(letter, bold) for letter in words) * size / 1000


def tidy(words: str) -> str:
    """In one line, without what cannot be printed."""
    return _BLANKS.sub(" ", words.translate(_TURNING)).strip()


def is_right_to_left(words: str) -> bool:
    """Whether the first letter that has a direction runs from right to left."""
    for letter in words:
        direction = unicodedata.bidirectional(letter)
        if direction in ("R", "AL"):
            return True
        if direction == "L":
            return False
    return False


def text(
    x: float,
    baseline: float,
    words: str,
    *,
    size: float,
    bold: bool = False,
    anchor: str = "start",
    class_: str = "",
) -> SafeString:
    """One line on its baseline, exactly as long as `width_of` says; nothing for no words.

    anchor: start, middle or end, as places on the paper; words that run from right to left are
    set in that direction and stand in the same place.
    """
    words = tidy(words)
    if not words:
        return SafeString("")
    room = width_of(words, size, bold=bold)
    classes = f"p-text{' p-bold' * bold} {class_}".strip()
    if is_right_to_left(words):
        # There "start" is the right side.
        x += {"start": room, "middle": 0, "end": 0}[anchor]
        anchor = "start" if anchor != "middle" else anchor
        classes += " p-rtl"
    return element(
        "text",
        words,
        x=x,
        y=baseline,
        font_size=size,
        text_anchor=None if anchor == "start" else anchor,
        textLength=room if room else None,
        lengthAdjust="spacingAndGlyphs" if room else None,
        class_=classes,
    )


# --- Fitting words into their room -------------------------------------------------------------


@dataclass(frozen=True)
class Set:
    """Words set into lines at one size."""

    lines: tuple[str, ...]
    size: float
    bold: bool = False

    @property
    def height(self) -> float:
        """From the top of the first line's capitals to the foot of the last line."""
        return (len(self.lines) * LEADING - (LEADING - 1)) * self.size if self.lines else 0.0

    def draw(
        self, x: float, top: float, *, anchor: str = "start", class_: str = ""
    ) -> list[SafeString]:
        """The lines, the first with its capitals' top at `top`."""
        return [
            text(
                x,
                top + (ASCENT + number * LEADING) * self.size,
                line,
                size=self.size,
                bold=self.bold,
                anchor=anchor,
                class_=class_,
            )
            for number, line in enumerate(self.lines)
        ]


def broken(words: str, room: float, size: float, *, bold: bool = False) -> list[str]:
    """Words in lines no longer than the room: broken between words, and within one that is too
    long by itself."""
    lines: list[str] = []
    for word in tidy(words).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and width_of(longer, size, bold=bold) <= room:
            lines[-1] = longer
            continue
        while word and width_of(word, size, bold=bold) > room:
            head = _head(word, room, size, bold)
            lines.append(head)
            word = word[len(head) :]
        if word:
            lines.append(word)
    return lines


def _head(word: str, room: float, size: float, bold: bool) -> str:
    """As many letters as there is room for, at least one; marks stay with their letter."""
    used = 0.0
    for count, letter in enumerate(word):
        used += _thousandths(letter, bold) * size / 1000
        if used > room and count:
            return word[:count]
    return word


def _sizes(size: float, least: float) -> list[float]:
    """From a size down to the least, each a twentieth smaller."""
    found = [size]
    while found[-1] * 0.95 > least:
        found.append(found[-1] * 0.95)
    return [*found, least] if least < size else found


def fit(
    words: str, room: float, *, size: float, least: float, lines: int = 1, bold: bool = False
) -> Set:
    """Words in the room: as large as they may be, in no more than so many lines.

    They shrink until they fit between words; then words are broken; only what does not fit even
    at the least size is cut, with an ellipsis.
    """
    words = tidy(words)
    if not words:
        return Set((), size, bold)
    longest = max(words.split(" "), key=lambda word: width_of(word, 1, bold=bold))
    for may_break in (False, True):
        for trying in _sizes(size, least):
            if may_break or width_of(longest, trying, bold=bold) <= room:
                found = broken(words, room, trying, bold=bold)
                if len(found) <= lines:
                    return Set(tuple(found), trying, bold)
    kept = broken(words, room, least, bold=bold)[:lines]
    last = kept[-1]
    while last and width_of(f"{last}…", least, bold=bold) > room:
        last = last[:-1]
    return Set((*kept[:-1], f"{last.rstrip()}…"), least, bold)
