"""Two hundred drawings of random but lawful things, laid out by a real browser.

No label lies on another, none is crossed by the lines of a dimension, none leaves its sheet, on a
phone and at a desk.
"""

from __future__ import annotations

import random
from decimal import Decimal
from pathlib import Path

import pytest

import inventory.drawing
from inventory.drawing.bars import Bar, Share, bars, shares
from inventory.drawing.curve import vehicle_on_curve
from inventory.drawing.frog import RELATIONS, wheelset_in_frog
from inventory.drawing.frog_sizes import USUAL
from inventory.drawing.jaws import GUIDES, jaws_picture
from inventory.drawing.siding import siding
from inventory.drawing.track_jaws import TRACK_GUIDES
from standards.curves import Body
from tests.journeys.conftest import DESK, PHONE

pytestmark = pytest.mark.browser

SEED = 20261125
INVENTORY = Path(inventory.drawing.__file__).parent.parent
SHEETS = ("static/house/house.css", "drawing/static/drawing/drawing.css")

# A line is only looked at where it is straight: dimensions and their extension lines are. The
# box of a text is as high as its font, ink fills it from its capitals' tops down.
FAULTS = """
const found = [];
const say = (svg, what) => found.push(svg.closest('section').dataset.name + ': ' + what);
let shown = 0;
for (const svg of document.querySelectorAll('svg.d-drawing')) {
  const sheet = svg.getBoundingClientRect();
  if (!sheet.width) continue;
  shown += 1;
  const words = [...svg.querySelectorAll('text')].map(node => {
    const box = node.getBoundingClientRect();
    const size = node.getScreenCTM().a * parseFloat(node.getAttribute('font-size'));
    return {said: node.textContent, size, left: box.left, right: box.right,
            top: box.top + 0.13 * box.height, bottom: box.bottom - 0.06 * box.height};
  });
  const lines = [...svg.querySelectorAll('path.d-dim, path.d-extension, path.d-whisker')]
    .filter(node => node.getTotalLength() > 0.5)
    .map(node => {
      const at = node.getScreenCTM();
      const end = length => node.getPointAtLength(length).matrixTransform(at);
      return [end(0), end(node.getTotalLength())];
    });
  words.forEach((one, place) => {
    if (one.size < 11) say(svg, `“${one.said}” is only ${one.size.toFixed(1)} px`);
    if (one.left < sheet.left - 1 || one.right > sheet.right + 1
        || one.top < sheet.top - 1 || one.bottom > sheet.bottom + 1)
      say(svg, `“${one.said}” leaves the sheet`);
    for (const other of words.slice(place + 1))
      if (Math.min(one.right, other.right) - Math.max(one.left, other.left) > 0.5
          && Math.min(one.bottom, other.bottom) - Math.max(one.top, other.top) > 0.5)
        say(svg, `“${one.said}” and “${other.said}” overlap`);
    for (const [a, b] of lines) {
      const steps = 60;
      for (let step = 0; step <= steps; step += 1) {
        const x = a.x + (b.x - a.x) * step / steps, y = a.y + (b.y - a.y) * step / steps;
        if (x > one.left + 1 && x < one.right - 1 && y > one.top + 1 && y < one.bottom - 1) {
          say(svg, `“${one.said}” is crossed by a line`);
          break;
        }
      }
    }
  });
}
return [shown, found];
"""


def some_wheelsets(chance: random.Random, count: int):
    for _ in range(count):
        gauge = chance.choice([6.5, 9, 12, 16.5, 22.42, 32, 45])
        sizes = {
            key: None if chance.random() < 0.12 else gauge * share * chance.uniform(0.96, 1.04)
            for key, share in USUAL.items()
        }
        relation = chance.choice([None, *RELATIONS])
        yield wheelset_in_frog(
            **sizes,
            track_gauge=gauge * chance.uniform(0.99, 1.03),
            flangeway_guard=chance.choice([None, gauge * chance.uniform(0.05, 0.1)]),
            frog_number=chance.choice([None, 4, 5, 6, 7.5, 8, 10, 12]),
            rail_height=gauge * chance.uniform(0.08, 0.15),
            fastening_height=gauge * chance.uniform(0.02, 0.06),
            worst=relation and (relation, gauge * chance.uniform(-0.03, 0.03)),
            unit=chance.choice(["mm", "in"]),
        )


def some_body(chance: random.Random, size: float) -> Body:
    length = size * chance.uniform(0.6, 2)
    return Body(
        length,
        length * chance.uniform(0.45, 0.8),
        chance.choice([0, length * chance.uniform(0.08, 0.18)]),
        size * chance.uniform(0.2, 0.3),
    )


def some_curves(chance: random.Random, count: int):
    for _ in range(count):
        size = chance.choice([45, 80, 140, 200, 400])
        yield vehicle_on_curve(
            radius=size * chance.uniform(2.5, 40),
            gauge=size * chance.uniform(0.1, 0.12),
            vehicle=some_body(chance, size),
            neighbour=chance.choice([None, some_body(chance, size)]),
            second=chance.choice([None, some_body(chance, size)]),
            centres=size * chance.uniform(0.3, 0.5),
            unit=chance.choice(["mm", "in"]),
            is_s_curve=chance.random() < 0.3,
        )


KINDS = ("turnout", "buffer stop", "joint", "table edge", "mark")
TAKEN = {
    "turnout": ("frog to clearance point", 80, 320),
    "buffer stop": ("buffer", 5, 40),
    "joint": ("joint", 0, 0),
    "table edge": ("table edge", 0, 0),
    "mark": ("clearance mark", 0, 0),
}


def some_sidings(chance: random.Random, count: int):
    for _ in range(count):
        ends = chance.choice(KINDS), chance.choice(KINDS)
        taken = [(TAKEN[end][0], round(chance.uniform(*TAKEN[end][1:]), 1)) for end in ends]
        clear = round(chance.uniform(200, 1600), 1)
        standing, room = [], clear * chance.choice([0, 0.5, 1.1])
        while room > 0:
            standing.append((f"T&W {chance.randrange(4000, 4999)}", chance.uniform(90, 320)))
            room -= standing[-1][1]
        drawn = {
            "measured_mm": clear + sum(mm for _, mm in taken),
            "deductions": taken,
            "clear_mm": clear,
            "standing": standing,
            "fits": [("hopper", 175), ("box car", 140)][: chance.randrange(3)],
            "ends": ends,
            "name": "Siding",
            "unit": chance.choice(["mm", "cm", "in"]),
        }
        yield f'<div class="drawn">{siding(**drawn)}{siding(**drawn, wide=True)}</div>'


NAMES = ("boxcar", "ventilated boxcar", "gas-mechanical switcher of the narrow gauge", "III", "X")


def some_bars(chance: random.Random, count: int):
    for _ in range(count):
        amounts = [
            None
            if chance.random() < 0.1
            else Decimal(chance.randrange(10 ** chance.randrange(1, 10)))
            for _ in range(chance.randrange(1, 13))
        ]
        yield bars(
            [
                Bar(
                    f"{chance.choice(NAMES)} {place}",
                    amount,
                    "not stated" if amount is None else f"{amount:,.2f}",
                    chance.choice(["", f"{place} of {place + 3}", "9 999 of 10 000"]),
                )
                for place, amount in enumerate(amounts)
            ],
            title="Worth",
        )


def some_shares(chance: random.Random, count: int):
    for _ in range(count):
        yield shares(
            [
                Share(name, chance.randrange(10 ** chance.randrange(1, 6)) + 1, tone)
                for name, tone in (
                    ("fit to run", "d-ok"),
                    ("fit with advice", "d-maybe"),
                    ("bad order", "d-no"),
                    ("awaiting inspection", "d-none"),
                )
            ],
            title="The stock",
        )


def a_page(tmp_path: Path) -> tuple[Path, int]:
    chance = random.Random(SEED)
    kinds = {
        "frog": some_wheelsets(chance, 75),
        "curve": some_curves(chance, 65),
        "siding": some_sidings(chance, 60),
        "bars": some_bars(chance, 40),
        "shares": some_shares(chance, 20),
        "jaws": map(jaws_picture, [*GUIDES, *TRACK_GUIDES]),
    }
    sections = [
        f'<section class="sheet" data-name="{kind} {place}">{markup}</section>'
        for kind, each in kinds.items()
        for place, markup in enumerate(each)
    ]
    rules = "\n".join((INVENTORY / name).read_text(encoding="utf-8") for name in SHEETS)
    page = tmp_path / "drawings.html"
    page.write_text(
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>Drawings</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{rules}</style><main>{''.join(sections)}</main></html>",
        encoding="utf-8",
    )
    return page, len(sections)


def test_no_label_is_covered_crossed_or_cut(scripted_phone, tmp_path):
    page, count = a_page(tmp_path)
    assert count > 200
    for width, height in (PHONE, DESK):
        scripted_phone.execute_cdp_cmd(
            "Emulation.setDeviceMetricsOverride",
            {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600},
        )
        scripted_phone.get(page.as_uri())
        shown, faults = scripted_phone.execute_script(FAULTS)
        assert shown == count
        assert faults == [], f"at {width} px"
        breadth = scripted_phone.execute_script("return document.documentElement.scrollWidth")
        assert breadth <= width
