"""The QR code, read by a reader of another hand (zxing-cpp): as drawn, and off a real screen."""

import io
import re

import pytest
import zxingcpp
from django.urls import reverse
from PIL import Image

from inventory.drawing.qr import QUIET, code_on_screen, modules
from inventory.people.models import SignInLink
from tests.journeys.conftest import DESK, PHONE, opened_at

HOUSE = "192.168.178.120:8000"
LONGEST = "[2001:db8:1234:5678:9abc:def0:1234:5678]:65535"  # RFC 3849's, as long as any
ADDRESSES = [
    f"http://{HOUSE}/arrive/{'aZ3_-' * 5}x9/",
    f"http://{LONGEST}/arrive/{'aZ3_-' * 5}x9/",
    "http://clubhouse.local/arrive/x/",
]


def drawn(svg: str, scale: int) -> Image.Image:
    """The drawing as a picture: its path is runs of dark modules, each `M x y h length`."""
    side = int(re.search(r'viewBox="0 0 (\d+) \1"', svg).group(1))
    picture = Image.new("L", (side, side), 255)
    corner = re.search(r"translate\(([\d.]+) ([\d.]+)\) scale\(1\.0+\)", svg)
    left, top = (int(float(each)) for each in corner.groups())
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1H\1z", svg):
        for at in range(int(length)):
            picture.putpixel((left + int(x) + at, top + int(y)), 0)
    return picture.resize((side * scale, side * scale), Image.Resampling.NEAREST)


def read(picture: Image.Image) -> list[str]:
    return [each.text for each in zxingcpp.read_barcodes(picture)]


@pytest.mark.parametrize("address", ADDRESSES)
def test_code_when_read_by_another_hand_is_the_address(address):
    svg = code_on_screen(address, title="x")
    assert read(drawn(svg, 4)) == [address]
    assert f'viewBox="0 0 {modules(address)} {modules(address)}"' in svg


@pytest.mark.parametrize("address", ADDRESSES)
def test_code_has_its_quiet_zone(address):
    """ISO/IEC 18004: four light modules on every side (from memory)."""
    picture = drawn(code_on_screen(address, title="x"), 1)
    dark = Image.eval(picture, lambda value: 255 - value).getbbox()
    side = picture.width
    assert dark == (QUIET, QUIET, side - QUIET, side - QUIET)
    assert QUIET == 4


def test_code_needs_no_style_and_no_script_and_says_what_it_is():
    svg = code_on_screen("http://a/", title='<script>"x"')
    assert svg.startswith("<svg ")
    assert 'role="img"' in svg
    assert "<title>&lt;script&gt;" in svg
    assert "style=" not in svg
    assert "<script" not in svg


@pytest.mark.browser
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
@pytest.mark.parametrize("is_dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("host", [HOUSE, LONGEST])
def test_page_when_seen_in_a_browser_is_read_off_the_screen(
    client, owner, settings, tmp_path, size, is_dark, host
):
    """A module is at least 5 CSS pixels, 1.3 mm at 96 to the inch (CSS Values 4, 6.2, from
    memory), so that the code is some 6 cm across and a phone reads it from ten times that; common
    practice, no source."""
    settings.ALLOWED_HOSTS = ["*"]
    client.force_login(owner)
    page = client.post(reverse("people:phone"), HTTP_HOST=host).content.decode()
    address = re.search(rf"<code>(http://{re.escape(host)}/arrive/[\w-]+/)</code>", page).group(1)
    assert SignInLink.objects.count() == 1
    sheets = (settings.HERE / "static" / "house" / "house.css").read_text(encoding="utf-8")
    ours = settings.HERE / "people" / "static" / "people" / "people.css"
    sheets += ours.read_text(encoding="utf-8")
    saved = tmp_path / "page.html"
    saved.write_text(
        re.sub(r"<script.*?</script>|<link[^>]*>", "", page, flags=re.S).replace(
            "</head>", f"<style>{sheets}</style></head>"
        ),
        encoding="utf-8",
    )
    with opened_at(tmp_path, size, is_dark=is_dark) as browser:
        browser.get(saved.as_uri())
        code = browser.find_element("css selector", "svg.qr")
        assert code.size["width"] / modules(address) >= 5
        browser.execute_script("arguments[0].scrollIntoView()", code)
        screen = Image.open(io.BytesIO(browser.get_screenshot_as_png())).convert("L")
    assert read(screen) == [address]
