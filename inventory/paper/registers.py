"""Registers: the fleet with its values for the insurer, the tracks of a railway for the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from django.utils.safestring import SafeString

from inventory.drawing import lettering
from inventory.drawing.svg import element, join
from inventory.paper.leaf import (
    CELL_PAD,
    LEFT,
    Block,
    Column,
    Leaf,
    Paper,
    flow,
    paragraph,
    rule,
    spread_columns,
    table_heading,
    table_row,
)

PHOTO_WIDTH, PHOTO_HEIGHT = 30.0, 20.0
NO_CURRENCY = "no currency named"


@dataclass(frozen=True)
class Entry:
    """A vehicle of the fleet register. value, price: as the owner noted them; None for none.
    photo: the address of a picture, empty for none; shape: its height in widths."""

    identity: str
    name: str
    kind: str
    scale: str
    maker: str
    acquired: str
    price: Decimal | None
    value: Decimal | None
    currency: str
    photo: str = ""
    shape: float = PHOTO_HEIGHT / PHOTO_WIDTH

    @property
    def photo_height(self) -> float:
        """In mm on paper, 0 without one."""
        return min(PHOTO_HEIGHT, PHOTO_WIDTH * self.shape) if self.photo else 0.0


def money(amount: Decimal) -> str:
    """An amount with its thousands apart: 12 345.60, by thin blanks as ISO 80000-1 has it."""
    return f"{amount:,.2f}".replace(",", "\u00a0")


def sums(entries: Sequence[Entry]) -> list[tuple[str, Decimal, int]]:
    """Currency, sum of the values and how many vehicles, for each currency by its letters.

    Amounts of different currencies are never added to each other.
    """
    found: dict[str, list[Decimal]] = {}
    for entry in entries:
        if entry.value is not None:
            found.setdefault(entry.currency or NO_CURRENCY, []).append(entry.value)
    return [
        (currency, sum(values, Decimal(0)), len(values))
        for currency, values in sorted(found.items())
    ]


def fleet_leaves(
    entries: Sequence[Entry],
    paper: Paper,
    *,
    owner: str,
    day: str,
    narrowed: str = "",
    with_photos: bool = True,
) -> list[Leaf]:
    """The fleet register: a heading, the sums, and every vehicle with its photo and value."""
    width = paper.width - 2 * LEFT
    has_photos = with_photos and any(entry.photo for entry in entries)
    columns = [
        Column("No.", 9, is_figure=True),
        *([Column("Photo", PHOTO_WIDTH + 2 * CELL_PAD)] if has_photos else []),
        Column("Marks and number", 42, is_bold=True),
        Column("What it is", 38),
        Column("Maker", 34),
        Column("Acquired, price", 29),
        Column("Value", 27, is_figure=True),
    ]
    columns = _keeping_photo(columns, width) if has_photos else spread_columns(columns, width)
    heading = table_heading(columns)
    rows = []
    for number, entry in enumerate(entries, start=1):
        cells: list[Sequence[str] | str] = [str(number)]
        picture = None
        if has_photos:
            cells.append("")
            picture = _photo(entry, LEFT + columns[0].width + CELL_PAD)
        cells += [
            [entry.identity, entry.name],
            [entry.kind, entry.scale],
            entry.maker,
            [entry.acquired, _amount(entry.price, entry.currency)],
            _amount(entry.value, entry.currency) or "not valued",
        ]
        least = max(7.0, entry.photo_height + 2 * CELL_PAD)
        rows.append(
            table_row(columns, cells, heading=heading, least_height=least, besides=picture)
        )
    return flow(
        [heading, *rows] if rows else [],
        paper,
        title=f"Fleet register of {owner}",
        foot=f"Fleet register of {owner}, {day}",
        first=_fleet_head(entries, width, owner, day, narrowed),
        last=_signature(width, owner),
        last_height=17.0,
    )


def _keeping_photo(columns: Sequence[Column], width: float) -> list[Column]:
    """Brought to the width, the photo's column apart."""
    photo = columns[1]
    others = spread_columns([columns[0], *columns[2:]], width - photo.width)
    return [others[0], photo, *others[1:]]


def _photo(entry: Entry, x: float) -> SafeString | None:
    if not entry.photo:
        return None
    return element(
        "image",
        href=entry.photo,
        x=x,
        y=CELL_PAD,
        width=PHOTO_WIDTH,
        height=entry.photo_height,
        preserveAspectRatio="xMidYMid meet",
    )


def _amount(amount: Decimal | None, currency: str) -> str:
    return "" if amount is None else f"{money(amount)} {currency}".strip()


def _fleet_head(
    entries: Sequence[Entry], width: float, owner: str, day: str, narrowed: str
) -> Block:
    pieces: list[SafeString] = []
    title = lettering.fit(f"Fleet register of {owner}", width, size=6.6, least=3.6, lines=2)
    pieces += lettering.Set(title.lines, title.size, bold=False).draw(LEFT, 0.5)
    y = title.height + 4.0
    vehicles = f"{len(entries)} vehicle{'' if len(entries) == 1 else 's'}"
    about = f"{vehicles}, as recorded on {day}."
    if narrowed:
        about += f" Not the whole fleet: {narrowed}."
    for words in lettering.broken(about, width, 3.0):
        pieces.append(lettering.text(LEFT, y + 2.2, words, size=3.0))
        y += 3.7
    y += 1.4
    without = sum(entry.value is None for entry in entries)
    lines = [
        (currency, money(total), f"{count} vehicle{'' if count == 1 else 's'}")
        for currency, total, count in sums(entries)
    ]
    for currency, total, count in lines:
        pieces += [
            lettering.text(LEFT, y + 3.0, f"Present value, {currency}", size=3.2),
            lettering.text(LEFT + 95, y + 3.0, total, size=3.2, bold=True, anchor="end"),
            lettering.text(LEFT + 99, y + 3.0, count, size=2.8, class_="p-soft"),
            rule(LEFT, y + 4.6, LEFT + 125, class_="p-hair"),
        ]
        y += 5.6
    if without:
        is_ = "it is" if without == 1 else "they are"
        words = (
            f"{without} of them without a value: {is_} in no sum."
            if lines
            else "None of them has a value yet."
        )
        pieces.append(lettering.text(LEFT, y + 3.0, words, size=3.0, bold=True))
        y += 5.6
    note = "Values are the owner’s own estimates; what insurers accept as proof is theirs to say."
    pieces += lettering.fit(note, width, size=2.5, least=2.0, lines=2).draw(
        LEFT, y + 0.6, class_="p-soft"
    )
    return Block(y + 7.0, join(pieces))


def _signature(width: float, owner: str) -> SafeString:
    half = width / 2 - 5
    return join(
        rule(LEFT, 11.0, LEFT + half),
        lettering.text(LEFT, 14.2, "Place and day", size=2.4, class_="p-soft"),
        rule(LEFT + half + 10, 11.0, LEFT + width),
        lettering.fit(owner, half, size=2.4, least=1.8).draw(LEFT + half + 10, 12.3),
    )


# --- Tracks -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class TrackEntry:
    """A track of the register, its lengths in the reader's unit with their unit."""

    name: str
    duty: str
    measured: str
    clear: str
    between: str
    curve: str
    spots: str
    industries: str
    home: str


@dataclass(frozen=True)
class PlaceEntry:
    """A place with its tracks. notes: what else lies there, a line each."""

    name: str
    tracks: Sequence[TrackEntry]
    notes: Sequence[str] = ()


def track_leaves(
    places: Sequence[PlaceEntry], paper: Paper, *, railway: str, about: str, day: str
) -> list[Leaf]:
    """The register of a railway's tracks, place by place."""
    width = paper.width - 2 * LEFT
    columns = spread_columns(
        [
            Column("Track", 32, is_bold=True),
            Column("Measured", 17, is_figure=True),
            Column("From and to", 38),
            Column("Clear", 17, is_figure=True),
            Column("Sharpest curve", 17, is_figure=True),
            Column("Spots", 11, is_figure=True),
            Column("Industries", 25),
            Column("At home there", 31),
        ],
        width,
    )
    heading = table_heading(columns)
    blocks: list[Block] = [heading] if places else []
    for place in places:
        blocks.append(
            paragraph(
                place.name, width, size=3.6, before=3.4, bold=True, keeps=True, heading=heading
            )
        )
        if not place.tracks:
            blocks.append(paragraph("No track yet.", width, class_="p-soft"))
            continue
        blocks += [
            table_row(
                columns,
                [
                    [track.name, track.duty],
                    track.measured,
                    track.between,
                    track.clear,
                    track.curve,
                    track.spots,
                    track.industries,
                    track.home,
                ],
                heading=heading,
                size=2.6,
            )
            for track in place.tracks
        ]
        blocks += [
            paragraph(words, width, size=2.5, before=1.0, after=0.4, class_="p-soft")
            for words in place.notes
        ]
    return flow(
        blocks,
        paper,
        title=f"Tracks of {railway}",
        foot=f"Tracks of {railway}, {day}",
        first=_track_head(railway, about, width),
    )


def _track_head(railway: str, about: str, width: float) -> Block:
    title = lettering.fit(f"Tracks of {railway}", width, size=6.6, least=3.6, lines=2)
    said = lettering.fit(about, width, size=3.0, least=2.2, lines=2)
    top = title.height + 2.0
    return Block(
        top + said.height + 2.0,
        join(title.draw(LEFT, 0.5), said.draw(LEFT, top, class_="p-soft")),
    )
