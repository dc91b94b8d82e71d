"""What comes out of the printer: PDF made by a real Chromium, read back by outside readers.

Sizes and places are read by pdfplumber, the codes by ZXing from the pages as PDFium paints them
at 300 dots an inch: none of the three is ours.
"""

from __future__ import annotations

import base64
import io
import re

import pdfplumber
import pypdfium2
import pytest
import zxingcpp
from django.conf import settings as django_settings
from django.urls import reverse

from inventory.bench.demo import load_demo
from inventory.drawing.qr import LEAST_MODULE_MM
from inventory.paper.layouts import LAYOUTS
from inventory.paper.leaf import A4, LETTER, PAPERS
from inventory.paper.tags import HEIGHT, WIDTH, corners
from inventory.people.models import Person
from inventory.stock.models import Vehicle
from inventory.track.models import Railway
from inventory.trouble.models import Hold
from inventory.trouble.recording import take_out
from tests.factories import make_vehicle, measure

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True, serialized_rollback=True),
]

MM = 25.4 / 72
DPI = 300


class Printer:
    """A browser whose person is signed in, and which prints pages as PDF."""

    def __init__(self, browser, server, client, person: Person) -> None:
        self.browser, self.base = browser, server.url
        client.force_login(person)
        browser.get(f"{self.base}/sign-in/")
        session = client.cookies[django_settings.SESSION_COOKIE_NAME].value
        browser.add_cookie({"name": django_settings.SESSION_COOKIE_NAME, "value": session})

    def open(self, path: str) -> None:
        self.browser.get(self.base + path)

    def pdf(self) -> bytes:
        # The page's own size has to do, as for somebody who prints from the browser's menu.
        asked = {"preferCSSPageSize": True, "printBackground": False}
        told = self.browser.execute_cdp_cmd("Page.printToPDF", asked)
        return base64.b64decode(told["data"])

    def printed(self, path: str) -> Printed:
        self.open(path)
        return Printed(self.pdf())


class Printed:
    """A PDF, in millimetres from the upper left corner of each page."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        with pdfplumber.open(io.BytesIO(data)) as pdf:
            self.sizes = [(float(p.width) * MM, float(p.height) * MM) for p in pdf.pages]
            self.chars = [p.chars for p in pdf.pages]
            self.strokes = [[*p.lines, *p.rects, *p.curves] for p in pdf.pages]
            self.text = [p.extract_text() for p in pdf.pages]

    def __len__(self) -> int:
        return len(self.sizes)

    def level_lines(self, page: int) -> list[tuple[float, float, float]]:
        """Left, right and height of every level line."""
        return [
            (s["x0"] * MM, s["x1"] * MM, s["top"] * MM)
            for s in self.strokes[page]
            if abs(s["bottom"] - s["top"]) * MM < 0.05
        ]

    def upright_lines(self, page: int) -> list[tuple[float, float, float]]:
        """Distance from the left, top and bottom of every upright line."""
        return [
            (s["x0"] * MM, s["top"] * MM, s["bottom"] * MM)
            for s in self.strokes[page]
            if abs(s["x1"] - s["x0"]) * MM < 0.05
        ]

    def codes(self) -> list[tuple[int, str, float, float, float]]:
        """Every code that a reader finds: page, words, its left and top edge and its width."""
        found = []
        document = pypdfium2.PdfDocument(self.data)
        try:
            for number, page in enumerate(document):
                image = page.render(scale=DPI / 72, grayscale=True).to_pil()
                for code in zxingcpp.read_barcodes(image, formats=zxingcpp.BarcodeFormat.QRCode):
                    at = code.position
                    left, top = at.top_left.x * 25.4 / DPI, at.top_left.y * 25.4 / DPI
                    wide = (at.top_right.x - at.top_left.x) * 25.4 / DPI
                    found.append((number, code.text, left, top, wide))
        finally:
            document.close()
        return found


@pytest.fixture
def printer(scripted_phone, live_server, client) -> Printer:
    owner = Person.objects.create_user("owner", role=Person.Role.OWNER, first_name="Ann")
    found = Printer(scripted_phone, live_server, client, owner)
    found.owner = owner
    return found


def check_lines(printed: Printed, page: int) -> list[tuple[float, float]]:
    """From where to where the lines of about 100 mm run that have a stroke at either end."""
    uprights = {round(x, 1) for x, top, low in printed.upright_lines(page) if 3 < low - top < 3.4}
    return [
        (left, right)
        for left, right, _ in printed.level_lines(page)
        if 95 < right - left < 105 and {round(left, 1), round(right, 1)} <= uprights
    ]


def assert_inside_labels(printed: Printed, layout, labels: int, start: int = 1) -> None:
    """Every letter lies within one label, and the labels from `start` on have some."""
    places = list(layout.corners())
    met = set()
    for number, chars in enumerate(printed.chars):
        for char in chars:
            left, right = char["x0"] * MM, char["x1"] * MM
            top, low = char["top"] * MM, char["bottom"] * MM
            inside = [
                index
                for index, (x, y) in enumerate(places)
                if x <= left
                and right <= x + layout.width
                and y <= top
                and low <= y + layout.height
            ]
            assert len(inside) == 1, (number, char["text"], left, right, top, low)
            met.add(number * layout.count + inside[0])
    assert met == set(range(start - 1, start - 1 + labels))


# Chromium takes a page as whole pixels of 1/96 in = 0.265 mm: A4 comes out 209.89 by 297.01 mm
# whatever is asked, Letter exact. What stands on the page is not moved by it.
SIZES = {"a4": (210, 297), "letter": (215.9, 279.4)}


def test_demo_when_printed_then_every_paper_is_of_its_size_and_every_code_reads(printer):
    load_demo(by=printer.owner)
    railway = Railway.objects.get().pk
    take_out(
        subject=Vehicle.objects.get(reporting_mark="HFQ", number="12"),
        reason="x",
        by=printer.owner,
    )
    count = Vehicle.objects.count()
    waiting = Vehicle.objects.awaiting_inspection().count()
    held = Hold.objects.filter(released_at__isnull=True).count()
    for code, paper in PAPERS.items():
        pages = {
            "labels": -(-count // next(x for x in LAYOUTS.values() if x.paper == paper).count),
            "bench": waiting,
            "bench/blank": 1,
            "tags": -(-held // 4),
            "fleet": None,
            f"railways/{railway}/tracks": None,
            f"railways/{railway}/line": 2,
        }
        for name, expected in pages.items():
            printed = printer.printed(f"/paper/{name}/?paper={code}")
            assert expected is None or len(printed) == expected, name
            wide, tall = sorted(SIZES[code], reverse="line" in name)
            for width, height in printed.sizes:
                assert width == pytest.approx(wide, abs=0.12), name
                assert height == pytest.approx(tall, abs=0.12), name
            _no_furniture(printed, paper)
            if name in ("fleet", f"railways/{railway}/tracks"):
                for number, text in enumerate(printed.text, start=1):
                    assert f"page {number} of {len(printed)}" in text
                    assert ("Marks and number" in text) == (name == "fleet")
            if "bench" in name or name == "tags":
                for page in range(len(printed)):
                    ((left, right),) = check_lines(printed, page)
                    assert right - left == pytest.approx(100, abs=0.1), name
            if name == "labels":
                _codes_are(printer, printed, Vehicle.objects.all())
            if name == "tags":
                held_ones = Vehicle.objects.exclude(held_because="")
                _codes_are(printer, printed, held_ones)


def _no_furniture(printed: Printed, paper) -> None:
    """Nothing of the screen is printed, and nothing is left blank."""
    for text in printed.text:
        assert text.strip()
        for word in ("CARKNOCKER", "Sign out", "Print this page", "US Letter"):
            assert word not in text


def _codes_are(printer: Printer, printed: Printed, vehicles) -> None:
    """Each vehicle's address is read exactly once, with modules that telephones read."""
    expected = sorted(f"{printer.base}/v/{vehicle.uid.hex}/" for vehicle in vehicles)
    read = printed.codes()
    assert sorted(words for _, words, *_ in read) == expected
    # 60 bytes or fewer are 33 modules across without the quiet zone, more are 37.
    for _, words, _, _, wide in read:
        modules = 33 if len(words) <= 62 else 37
        assert wide / modules >= LEAST_MODULE_MM - 0.02


@pytest.mark.parametrize("code", ["a4-3x8", "a4-5x13", "letter-3x10"])
def test_labels_when_printed_then_lie_where_the_sheet_has_them(printer, code):
    layout = LAYOUTS[code]
    for number in range(5):
        make_vehicle(printer.owner, number=str(number))
    printed = printer.printed(
        f"/paper/labels/?paper={layout.paper.code}&layout_code={code}&marks=on&start=3"
    )
    frames = sorted(
        (s["top"] * MM, s["x0"] * MM, (s["x1"] - s["x0"]) * MM, (s["bottom"] - s["top"]) * MM)
        for s in printed.strokes[0]
        if abs((s["x1"] - s["x0"]) * MM - layout.width) < 0.5
        and abs((s["bottom"] - s["top"]) * MM - layout.height) < 0.5
    )
    assert len(frames) == layout.count
    for (y, x, width, height), (left, top) in zip(frames, layout.corners(), strict=True):
        # In the order of rows, each from the left.
        assert (x, y) == (pytest.approx(left, abs=0.3), pytest.approx(top, abs=0.3))
        assert width == pytest.approx(layout.width, abs=0.1)
        assert height == pytest.approx(layout.height, abs=0.1)
    assert_inside_labels(printed, layout, 5, start=3)
    places = list(layout.corners())[2:7]
    for (_, words, left, top, wide), (x, y) in zip(
        sorted(printed.codes(), key=lambda code: (round(code[3]), code[2])), places, strict=True
    ):
        assert "/v/" in words
        quiet = 4 * wide / (33 if len(words) <= 62 else 37)
        assert x + quiet - 0.3 <= left <= x + quiet + 0.3
        assert y <= top - quiet + 0.3
        assert top + wide + quiet <= y + layout.height + 0.3


def test_tags_when_printed_then_are_cut_where_they_end(printer):
    for number in range(4):
        car = make_vehicle(printer.owner, number=str(number))
        take_out(subject=car, reason="axle 2 is loose", by=printer.owner)
    for paper in (A4, LETTER):
        printed = printer.printed(f"/paper/tags/?paper={paper.code}")
        assert len(printed) == 1
        xs = {x for x, top, low in printed.upright_lines(0) if abs(low - top - 4) < 0.1}
        ys = {y for left, right, y in printed.level_lines(0) if abs(right - left - 4) < 0.1}
        wanted_x = {x + dx for x, _ in corners(paper) for dx in (0, WIDTH)}
        wanted_y = {y + dy for _, y in corners(paper) for dy in (0, HEIGHT)}
        for found, wanted in ((xs, wanted_x), (ys, wanted_y)):
            assert all(any(abs(a - b) < 0.3 for b in wanted) for a in found)
            assert all(any(abs(a - b) < 0.3 for a in found) for b in wanted)


ODD = [
    {"reporting_mark": "M" * 40, "number": "9" * 24},
    {"reporting_mark": "Königlich Bayerische Staatseisenbahnen", "number": ""},
    {"reporting_mark": "שלום רכבת", "number": "17", "name": "הרכבת של סבא"},
    {"reporting_mark": "قطار الشرق السريع", "number": ""},
    {"reporting_mark": "国鉄", "number": "ワム80000"},
    {"reporting_mark": "W W W W W W W W W W W W", "number": "1", "kind": "w" * 60},
    {"reporting_mark": ".", "number": "", "name": "i" * 60, "storage_box": "l" * 40},
]


@pytest.mark.parametrize("fount", ["", "DejaVu Sans"])
def test_labels_when_words_are_long_or_odd_then_stay_inside_whatever_the_fount(printer, fount):
    for facts in ODD:
        car = make_vehicle(printer.owner, **facts)
        take_out(subject=car, reason="reason " * 25 + "r" * 24, by=printer.owner)
    for code in ("a4-3x8", "a4-5x13", "letter-4x8"):
        layout = LAYOUTS[code]
        printer.open(f"/paper/labels/?paper={layout.paper.code}&layout_code={code}")
        if fount:
            # Somebody who has none of the founts asked for: this one is a seventh wider.
            printer.browser.execute_script(
                "document.styleSheets[2].insertRule("
                f"'.p-sheet text {{ font-family: \"{fount}\" !important }}')"
            )
        printed = Printed(printer.pdf())
        assert_inside_labels(printed, layout, len(ODD))
        assert len(printed.codes()) == len(ODD)


def test_bench_sheet_when_there_are_many_axles_then_goes_over_with_its_number(printer):
    car = make_vehicle(printer.owner, axles=16, has_buffers=True)
    printed = printer.printed(f"/paper/bench/?vehicle={car.pk}")

    assert len(printed) >= 2
    for number, text in enumerate(printed.text, start=1):
        assert f"page {number} of {len(printed)}" in text
    assert "BRV 88" in printed.text[1]
    for (wide, tall), chars in zip(printed.sizes, printed.chars, strict=True):
        assert all(char["x0"] * MM >= 0 and char["x1"] * MM <= wide - 5 for char in chars)
        assert all(char["bottom"] * MM <= tall - 5 for char in chars)


def test_slips_when_printed_then_two_share_a_sheet(printer):
    for number in range(3):
        car = make_vehicle(printer.owner, visitor="Ida", number=str(number))
        measure(car, printer.owner, {("back_to_back", "1"): "14.2"})
    printed = printer.printed("/paper/slips/")

    assert len(printed) == 2
    assert [len(re.findall(r"of Ida", text)) for text in printed.text] == [2, 1]
    cuts = [y for left, right, y in printed.level_lines(0) if abs(right - left - 7) < 0.1]
    assert cuts == pytest.approx([148.5, 148.5], abs=0.3)


def test_code_when_followed_in_the_browser_then_shows_the_vehicle(printer):
    car = make_vehicle(printer.owner)
    ((_, address, *_),) = printer.printed(f"/paper/labels/?vehicle={car.pk}").codes()
    printer.browser.get(address)

    assert printer.browser.current_url.endswith(reverse("stock:vehicle", args=[car.pk]))
    assert "BRV 88" in printer.browser.find_element("css selector", "h1").text


def test_papers_when_it_is_dark_then_are_printed_black_on_white(printer):
    make_vehicle(printer.owner)
    printer.browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia",
        {"features": [{"name": "prefers-color-scheme", "value": "dark"}]},
    )
    printer.open("/paper/fleet/")
    shown = printer.browser.execute_script(
        "const leaf = document.querySelector('.leaf');"
        "return [getComputedStyle(leaf).backgroundColor,"
        " getComputedStyle(leaf.querySelector('text')).fill,"
        " document.documentElement.scrollWidth <= innerWidth]"
    )
    assert shown == ["rgb(255, 255, 255)", "rgb(0, 0, 0)", True]
    document = pypdfium2.PdfDocument(printer.pdf())
    image = document[0].render(scale=1, grayscale=True).to_pil()
    document.close()
    # Mostly white, and somewhere as dark as ink.
    assert image.getextrema()[0] < 60
    assert image.histogram()[255] > 0.8 * image.width * image.height
