"""A wheelset standing on its two rails, to scale, seen along the track."""

from django.utils.safestring import SafeString

from inventory.drawing.profile import Lengths, Nominal, positive
from inventory.drawing.shapes import Wheelset, rail
from inventory.drawing.svg import Number, box, dimension, sheet, shorten, text

WIDTH = 340.0
MIDDLE = WIDTH / 2
SPAN = 262.0
TOP = 34.0


def wheelset_in_gauge(
    *,
    back_to_back: Number | None,
    flange_thickness: Number | None,
    tyre_width: Number | None,
    flange_depth: Number | None,
    track_gauge: Number | None,
    unit: str,
    nominal: Nominal | None = None,
) -> SafeString:
    """The wheelset in the middle of the gauge, with B, G and the play that is left.

    `nominal` may have the keys of the four wheelset dimensions and `name`: what was not
    measured is taken from it, dashed and bracketed. Nothing is drawn when a dimension is known
    from neither. The wheels' diameter and the rail's height are only in proportion.
    """
    lengths = Lengths(
        {
            "back_to_back": back_to_back,
            "tyre_width": tyre_width,
            "flange_thickness": flange_thickness,
            "flange_depth": flange_depth,
        },
        nominal,
        unit,
    )
    gauge = positive(track_gauge)
    tyre = lengths.measured_tyre()
    if gauge is None or tyre is None or not lengths.are_complete:
        return SafeString("")
    back = lengths["back_to_back"]
    scale = SPAN / max(back + 2 * tyre.width, 1.14 * gauge)
    radius, height = 0.29 * gauge * scale, 0.12 * gauge * scale
    wheels = Wheelset(
        (MIDDLE, TOP + 0.5 * height + radius),
        back * scale,
        tyre.scaled(scale),
        radius,
        min(WIDTH - 30, (back + 2 * tyre.width) * scale + 36),
    )
    railtop = wheels.tread
    left, right = MIDDLE - gauge * scale / 2, MIDDLE + gauge * scale / 2
    play = gauge - back - 2 * tyre.thickness
    tie = railtop + height
    notes = [_play(lengths, play), lengths.borrowed_note()]
    shown = [shorten(note, WIDTH - 8) for note in notes if note]
    dim = tie + 0.5 * height + 24
    return sheet(
        WIDTH,
        dim + 10 + 17 * len(shown),
        box(left - 40, tie, right - left + 80, 0.5 * height, class_="d-body"),
        rail(left, railtop, height, -1),
        rail(right, railtop, height, 1),
        wheels.draw(dashed=bool(lengths.borrowed)),
        dimension(
            (wheels.backs[0], wheels.centre[1] - radius),
            (wheels.backs[1], wheels.centre[1] - radius),
            at=22,
            label=lengths.label("back_to_back"),
            dashed="back_to_back" in lengths.borrowed,
        ),
        dimension(
            (left, railtop + 0.1 * height),
            (right, railtop + 0.1 * height),
            at=dim - 6,
            label=f"G {lengths.figure(gauge)}",
            tone="d-ink",
        ),
        (
            text(MIDDLE, dim + 14 + 17 * row, note, anchor="middle", class_="d-soft")
            for row, note in enumerate(shown)
        ),
        title=(
            f"Wheelset in the gauge, to scale: {lengths.in_words()}; "
            f"track gauge {lengths.figure(gauge)} {unit}; {_play(lengths, play)}."
        ),
        class_="d-wheelset",
    )


def _play(lengths: Lengths, play: float) -> str:
    size = lengths.figure(abs(play))
    if play < 0:
        return f"{size} {lengths.unit} too wide for the gauge"
    return f"{size} {lengths.unit} of play in the gauge"
