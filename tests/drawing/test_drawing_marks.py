from xml.etree import ElementTree

import pytest

from inventory.drawing.marks import SIGNS, tone, verdict_mark

OUTCOMES = ["within", "outside", "undecided", "not judged"]
SERVICE = ["fit to run", "fit with advice", "bad order", "awaiting inspection"]


@pytest.mark.parametrize("outcome", OUTCOMES + SERVICE)
def test_mark_is_a_hidden_16_by_16_sign(outcome):
    root = ElementTree.fromstring(verdict_mark(outcome))
    assert root.get("viewBox") == "0 0 16 16"
    assert root.get("aria-hidden") == "true"
    assert "style=" not in verdict_mark(outcome)


@pytest.mark.parametrize("words", [OUTCOMES, SERVICE])
def test_each_mark_has_its_own_shape(words):
    assert len({SIGNS[word].strokes for word in words}) == len(words)


def test_unknown_word_has_no_mark_and_a_neutral_tone():
    assert verdict_mark("<script>") == ""
    assert tone("<script>") == "d-none"
    assert tone("outside") == "d-no"
