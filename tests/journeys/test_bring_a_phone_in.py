"""The owner adds somebody at the desk; their phone reads the code off the screen and is in.

The code is read by zxing-cpp from a picture of the whole screen, as a phone's camera would.
"""

from __future__ import annotations

import io

import pytest
import zxingcpp
from PIL import Image

from tests.journeys import conftest
from tests.journeys.conftest import DESK, PHONE, Reader, opened_at
from tests.journeys.test_accessible import problems_of
from tests.servers import Server, Visitor

pytestmark = pytest.mark.browser
HOUSE = "clubhouse.test"  # RFC 6761: a name that is nobody's


@pytest.fixture
def house(tmp_path, monkeypatch):
    """A server that is called by a name, as a house may; the browsers know where that is."""
    rule = f"--host-resolver-rules=MAP {HOUSE} 127.0.0.1"
    monkeypatch.setattr(conftest, "FLAGS", (*conftest.FLAGS, rule))
    monkeypatch.setenv("CARKNOCKER_HOSTS", f"127.0.0.1,{HOUSE}")
    server = Server(tmp_path / "record")
    yield server
    server.stop()


def press(browser, words: str) -> None:
    buttons = browser.find_elements("css selector", "button, a.button")
    next(each for each in buttons if each.text.strip() == words).click()


def test_phone_is_brought_in_by_the_code_on_the_screen(house, tmp_path):
    base = f"http://{HOUSE}:{house.port}"
    (tmp_path / "desk").mkdir()
    (tmp_path / "phone").mkdir()
    with opened_at(tmp_path / "desk", DESK) as desk:
        at_desk = Reader(desk, base)
        desk.get(house.address.replace("127.0.0.1", HOUSE))
        press(desk, "Sign in as owner")
        at_desk.wait(lambda: "You are signed in" in at_desk.words, "the owner is in")
        desk.get(f"{base}/people/new/")
        desk.find_element("name", "name").send_keys("Ida Berg")
        press(desk, "Add")
        at_desk.wait(lambda: "Ida Berg is added" in at_desk.words, "Ida is added")
        press(desk, "Make a sign-in link")
        at_desk.wait(lambda: "Bring in Ida Berg" in at_desk.words, "the code is shown")
        screen = Image.open(io.BytesIO(desk.get_screenshot_as_png()))
        codes = [each.text for each in zxingcpp.read_barcodes(screen)]
        assert len(codes) == 1
        assert codes[0].startswith(f"{base}/arrive/")
        assert problems_of(desk, "the code", DESK[0]) == []

        with opened_at(tmp_path / "phone", PHONE, is_dark=True) as phone:
            in_hand = Reader(phone, base)
            phone.get(codes[0])
            assert problems_of(phone, "the arrival", PHONE[0]) == []
            press(phone, "Sign in as Ida Berg")
            in_hand.wait(lambda: "You are signed in as Ida Berg" in in_hand.words, "she is in")
            phone.get(f"{base}/preferences/")
            assert "by a link that owner made" in in_hand.words

        press(desk, "Done")
        at_desk.wait(lambda: "by a link" in at_desk.words, "the owner sees her phone")
        assert "is still good" not in at_desk.words
    late = Visitor()
    late.get(codes[0].replace(HOUSE, "127.0.0.1"))
    assert late.status == 410
