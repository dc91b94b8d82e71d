"""The whole railway as its line: place after place, each with its tracks to one scale."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from django.utils.safestring import SafeString

from inventory.drawing.siding import NARROW, WIDE, known, length, spell
from inventory.drawing.svg import (
    box,
    circle,
    hatch,
    join,
    line,
    path,
    sheet,
    shorten,
    text,
    text_width,
)

EDGE = 4.0
STEM = 12.0
"""From the left of a place's column to its line."""
REACH = 18.0
"""From the line to where a track begins; a detached one begins a little later."""
APART = 8.0
BAR = 13.0
NAME_SIZE, SIZE = 15.0, 13.0
COLUMNS, COLUMN_GAP = 4, 20.0
STUB = 40.0
"""What stands for a track of which no length is known."""


@dataclass(frozen=True)
class TrackLine:
    """clear_mm: None where it cannot be told. is_known: whether all that stands there was
    measured, so that taken_mm is all that it takes."""

    name: str
    duty: str
    clear_mm: float | None
    taken_mm: float
    is_removable: bool = False
    is_known: bool = True


@dataclass(frozen=True)
class Place:
    name: str
    tracks: Sequence[TrackLine]


def line_diagram(
    *, places: Sequence[Place], upright: bool = False, unit: str = "mm"
) -> SafeString:
    """The places from left to right, upright from top to bottom; nothing for no places."""
    if not places:
        return SafeString("")
    return Line(tuple(places), upright, unit).draw()


@dataclass(frozen=True)
class Line:
    """in_one_row: all places side by side, however wide that comes out, as for a wall."""

    places: tuple[Place, ...]
    upright: bool
    unit: str
    in_one_row: bool = False

    def draw(self) -> SafeString:
        return sheet(
            self.width,
            self.height,
            self.pieces(),
            title=self.title(),
            class_="drawn-narrow" if self.upright else "drawn-wide",
        )

    def pieces(self) -> list[SafeString]:
        """What is drawn, for a sheet of somebody else's."""
        pieces: list[SafeString] = []
        top = EDGE
        rows = self._rows()
        for number, row in enumerate(rows):
            pieces.append(self._row(row, top, is_last=number == len(rows) - 1))
            top += max(map(self._height, row))
        if self.upright:
            ends = (EDGE + STEM, EDGE + 2), (EDGE + STEM, top - 4)
            pieces.insert(0, line(*ends, class_="d-heavy"))
        return pieces

    # --- Measures ------------------------------------------------------------------------

    @property
    def width(self) -> float:
        if self.in_one_row:
            column = (WIDE - 2 * EDGE - COLUMN_GAP * (COLUMNS - 1)) / COLUMNS
            return 2 * EDGE + len(self.places) * (column + COLUMN_GAP) - COLUMN_GAP
        return NARROW if self.upright else WIDE

    @property
    def height(self) -> float:
        return EDGE + sum(max(map(self._height, row)) for row in self._rows())

    @property
    def columns(self) -> int:
        """As many as there is room for, or fewer that fill the same number of rows."""
        if self.upright:
            return 1
        if self.in_one_row:
            return len(self.places)
        return math.ceil(len(self.places) / math.ceil(len(self.places) / COLUMNS))

    @property
    def column(self) -> float:
        return (self.width - 2 * EDGE - COLUMN_GAP * (self.columns - 1)) / self.columns

    @property
    def room(self) -> float:
        """For a track's words, and for the longest of all tracks."""
        return self.column - STEM - REACH - APART

    @cached_property
    def per_mm(self) -> float:
        lengths = [
            max(length(track.clear_mm), length(track.taken_mm))
            for place in self.places
            for track in place.tracks
        ]
        return self.room / (max(lengths, default=0) or 1.0)

    @property
    def pitch(self) -> float:
        return 2 * (SIZE + 3) + BAR + 15

    @property
    def head(self) -> float:
        """Of a place: its name, and the line where that runs below it."""
        return NAME_SIZE + (14 if self.upright else 22)

    def _height(self, place: Place) -> float:
        return self.head + (self.pitch * len(place.tracks) or SIZE + 12) + 4

    def _rows(self) -> list[tuple[Place, ...]]:
        return [
            self.places[start : start + self.columns]
            for start in range(0, len(self.places), self.columns)
        ]

    # --- Shapes --------------------------------------------------------------------------

    def _row(self, row: Sequence[Place], top: float, *, is_last: bool) -> SafeString:
        pieces = []
        if not self.upright:
            level = top + self.head - 8
            stop = EDGE + (len(row) - 1) * (self.column + COLUMN_GAP) + self.column
            end = stop if is_last else self.width
            first = EDGE if top == EDGE else 0
            pieces.append(line((first, level), (end, level), class_="d-heavy"))
        for number, place in enumerate(row):
            pieces.append(self._place(place, EDGE + number * (self.column + COLUMN_GAP), top))
        return join(pieces)

    def _place(self, place: Place, left: float, top: float) -> SafeString:
        stem = left + STEM
        if self.upright:
            at, level, room = (
                stem + 12,
                top + NAME_SIZE - NAME_SIZE * 0.36,
                self.column - STEM - 12,
            )
        else:
            at, level, room = left, top + self.head - 8, self.column
        # Bold letters are wider than those that are reckoned with.
        name = shorten(place.name, room * 0.9, NAME_SIZE)
        words = [text(at, top + NAME_SIZE, name, size=NAME_SIZE, class_="d-label")]
        shapes: list[SafeString] = []
        foot = level
        for number, track in enumerate(place.tracks):
            y = top + self.head + number * self.pitch
            bar = y + 2 * (SIZE + 3) + 5
            begin = stem + REACH + (APART if track.is_removable else 0)
            words += self._words(track, stem + REACH, y + SIZE)
            shapes += self._bar(track, begin, bar)
            if not track.is_removable:
                middle = bar + BAR / 2
                bend = [(stem, middle - 12), (stem + 2, middle - 5), (stem + 7, middle - 1)]
                shapes.append(path([*bend, (stem + 12, middle), (begin, middle)], class_="d-line"))
                foot = middle - 12
        if not place.tracks:
            y = top + self.head + SIZE
            words.append(text(stem + REACH, y, "no tracks", size=SIZE, class_="d-soft"))
        if not self.upright and foot > level:
            shapes.insert(0, line((stem, level), (stem, foot), class_="d-line"))
        return join(shapes, circle((stem, level), 5, class_="d-open"), words)

    def _bar(self, track: TrackLine, x: float, y: float) -> list[SafeString]:
        clear, taken = length(track.clear_mm), length(track.taken_mm)
        loose = " d-dash" if track.is_removable else ""
        if track.clear_mm is None:
            return [box(x, y, STUB, BAR, class_="d-part d-dash"), _hatched(x, y, STUB)]
        if not track.is_known:
            whole = max(STUB if not clear else 0.0, clear * self.per_mm)
            return [box(x, y, whole, BAR, class_=f"d-part{loose}"), _hatched(x, y, whole)]
        inside = min(clear, taken) * self.per_mm
        pieces = [box(x, y, clear * self.per_mm, BAR, class_=f"d-part{loose}")]
        if inside:
            pieces.append(box(x, y, inside, BAR, class_=f"d-body{loose}"))
        if taken > clear:
            past = (taken - clear) * self.per_mm
            start = x + clear * self.per_mm
            pieces.append(box(start, y, past, BAR, class_="d-no drawn-over"))
        return pieces

    def _words(self, track: TrackLine, x: float, y: float) -> list[SafeString]:
        name = shorten(track.name, self.room + APART, SIZE)
        lengths = self._lengths(track)
        more = ["removable"] if track.is_removable else []
        words, room = lengths, self.room + APART
        for word in filter(None, [*more, track.duty]):
            if text_width(f"{words} · {word}", SIZE) <= room:
                words = f"{words} · {word}"
            elif text_width(f"{name} · {word}", SIZE) <= room:
                name = f"{name} · {word}"  # whole beside the name sooner than cut off below it
            else:
                short = shorten(word, room - text_width(f"{words} · ", SIZE), SIZE)
                words = f"{words} · {short}" if len(short) > 5 else words
        tone = "d-no" if _over(track) else "d-soft"
        words = shorten(words, room, SIZE)
        return [
            text(x, y, name, size=SIZE),
            text(x, y + SIZE + 3, words, size=SIZE, class_=tone),
        ]

    # --- Words ---------------------------------------------------------------------------

    def _lengths(self, track: TrackLine) -> str:
        if track.clear_mm is None:
            return "length not known"
        if not track.is_known:
            return f"not known of {spell(length(track.clear_mm), self.unit)} {known(self.unit)}"
        taken, clear = (spell(length(mm), self.unit) for mm in (track.taken_mm, track.clear_mm))
        return f"{taken} of {clear} {known(self.unit)}"

    def title(self) -> str:
        said = []
        for place in self.places:
            tracks = "; ".join(map(self._track_in_words, place.tracks)) or "no tracks"
            said.append(f"{place.name}: {tracks}.")
        start, end = ("top", "bottom") if self.upright else ("left", "right")
        return f"The line from {start} to {end}. " + " ".join(said)

    def _track_in_words(self, track: TrackLine) -> str:
        words = [track.name, *([track.duty] if track.duty else [])]
        taken = "" if track.clear_mm is None else " taken"
        words.append(f"{self._lengths(track)}{taken}")
        if _over(track):
            over = length(track.taken_mm) - length(track.clear_mm)
            words.append(f"{spell(over, self.unit)} {known(self.unit)} too long")
        if track.is_removable:
            words.append("removable")
        return ", ".join(words)


def _hatched(x: float, y: float, width: float) -> SafeString:
    corners = [(x, y), (x + width, y), (x + width, y + BAR), (x, y + BAR)]
    return hatch(corners, spacing=6)


def _over(track: TrackLine) -> bool:
    if track.clear_mm is None or not track.is_known:
        return False
    return length(track.taken_mm) - length(track.clear_mm) >= 0.05
