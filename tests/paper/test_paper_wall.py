"""The line for the wall: how many sheets, and that they meet at their crosses."""

from __future__ import annotations

import re
from itertools import pairwise

import pytest

from inventory.drawing.line import Place, TrackLine
from inventory.paper.leaf import A4, LETTER, Leaf
from inventory.paper.wall import MOST_SHEETS, OVERLAP, wall_leaves


def railway(places: int, tracks: int = 3) -> list[Place]:
    return [
        Place(
            f"Place {n}", [TrackLine(f"Track {t}", "storage", 900.0, 300.0) for t in range(tracks)]
        )
        for n in range(places)
    ]


def on_wall(places: list[Place], sheets: int | None = None, paper=A4) -> list[Leaf]:
    return wall_leaves(places, paper.turned, title="Branch", foot="HO", sheets=sheets)


WINDOW = re.compile(
    r'<svg x="([\d.]+)" y="[\d.]+" width="([\d.]+)" height="[\d.]+" '
    r'viewBox="([\d.]+) 0 ([\d.]+) '
)
CROSS = re.compile(r'd="M([\d.]+) [\d.]+L\1 [\d.]+" class="p-cut"')


@pytest.mark.parametrize("paper", [A4, LETTER])
@pytest.mark.parametrize("sheets", [1, 2, 3])
def test_line_when_so_many_sheets_are_asked_then_takes_them(paper, sheets):
    leaves = on_wall(railway(6), sheets, paper)

    assert len(leaves) == sheets
    assert f'width="{paper.height:g}mm" height="{paper.width:g}mm"' in leaves[0].svg


def test_line_when_short_then_one_sheet_is_enough_whatever_was_asked():
    assert len(on_wall(railway(1), 12)) == 1


def test_line_when_very_long_then_stops_at_the_most_sheets():
    assert len(on_wall(railway(200))) == MOST_SHEETS


def test_line_then_crosses_of_neighbours_lie_on_the_same_spot_of_the_drawing():
    seen, windows = [], []
    for leaf in on_wall(railway(6), 3):
        x, width, start, shown = map(float, WINDOW.search(leaf.svg).groups())
        crosses = {float(at) for at in CROSS.findall(leaf.svg)}
        seen.append(sorted(start + (at - x) * shown / width for at in crosses))
        windows.append((start, start + shown, shown / width))

    assert [len(each) for each in seen] == [1, 2, 1]
    assert seen[0][0] == pytest.approx(seen[1][0], abs=0.1)
    assert seen[1][1] == pytest.approx(seen[2][0], abs=0.1)
    # Each sheet shows again what the one before ended with, and nothing between is lost.
    for (_, end, per_mm), (start, _, _) in pairwise(windows):
        assert end - start == pytest.approx(OVERLAP * per_mm, abs=0.1)
    assert windows[0][0] == 0


def test_line_when_a_yard_is_deep_then_is_made_small_enough_for_the_sheet():
    (leaf,) = on_wall(railway(1, tracks=20), 1)
    width, height = map(
        float,
        re.search(r'<svg x="13" y="24" width="([\d.]+)" height="([\d.]+)"', leaf.svg).groups(),
    )

    assert height <= 210 - 24 - 13
    assert width <= 297 - 26
