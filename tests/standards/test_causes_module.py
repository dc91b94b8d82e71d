"""Causes of trouble as data: complete, checked on loading, and of one mind with the remedies."""

from __future__ import annotations

import re

import pytest

from standards import causes as module
from standards.causes import Happening, causes, causes_of
from standards.quantities import QUANTITIES, Place
from standards.remedies import COMMON_PRACTICE, remedies

DANGERS = {
    # what is named: what its caution has to speak of (the usual caution of the trade)
    r"solder": r"fumes.*moving air|moving air.*fumes",
    r"solvent": r"no flame",
    r"weights": r"lead",
    r"file\b|filing": r"sharp|filings|unplug|Unplug",
    r"polarity|meter": r"licensed person",
}

#: Where the remedy begins with one word, the cause may not say the other.
OPPOSITE = [
    pair
    for one, other in [
        ("spread", "press"),
        ("raise", "lower"),
        ("add weight", "take out weight"),
        ("narrow", "widen"),
        ("bend", "straighten"),
    ]
    for pair in [(one, other), (other, one)]
]


@pytest.mark.parametrize("happening", [each for each in Happening if each != Happening.OTHER])
def test_every_happening_has_a_cause_and_one_beside_the_vehicle(happening) -> None:
    found = causes_of(happening)

    assert found
    assert any(cause.where != "vehicle" for cause in found)


def test_something_else_is_not_guessed_at() -> None:
    assert causes_of(Happening.OTHER) == ()


@pytest.mark.parametrize("cause", causes(), ids=lambda cause: cause.title)
def test_cause_is_whole_and_warns_of_what_can_hurt(cause) -> None:
    assert cause.why and cause.check and cause.mend
    assert COMMON_PRACTICE in cause.source
    named = " ".join([cause.mend, *cause.tools])
    for danger, words in DANGERS.items():
        if re.search(danger, named):
            assert re.search(words, cause.caution), (danger, cause.caution)


@pytest.mark.parametrize("cause", [c for c in causes() if c.quantity], ids=lambda c: c.title)
def test_cause_that_is_measured_agrees_with_the_remedy_of_it(cause) -> None:
    """The remedies were checked against the sheets; a cause may not send the other way."""
    assert (cause.quantity, cause.too) in remedies()
    is_track = QUANTITIES[cause.quantity].place is Place.TRACK
    assert is_track is (cause.where == "track")
    assert cause.is_confirmed_by({cause.quantity: {cause.too}})
    headline = remedies()[cause.quantity, cause.too].headline.lower()
    for one, opposite in OPPOSITE:
        if headline.startswith(one):
            assert opposite not in cause.mend.lower()
    other = {"small": "large", "large": "small"}[cause.too]
    assert not cause.is_confirmed_by({cause.quantity: {other}})
    assert not cause.is_confirmed_by({})


def test_derailments_are_those_that_leave_the_rails() -> None:
    """Common practice, no source: an uncoupling or a short leaves every wheel where it was."""
    assert {each for each in Happening if not each.is_derailment} == {
        Happening.UNCOUPLED,
        Happening.SHORT,
        Happening.OTHER,
    }


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"where": "sky"}, "where is 'sky'"),
        ({"quantity": "radius", "too": "small"}, "no quantity is called 'radius'"),
        ({"quantity": "mass"}, "too small or too large"),
        ({"happenings": ["flew"]}, "flew"),
    ],
)
def test_entry_that_cannot_be_is_refused_in_words(changed, words) -> None:
    entry = {
        "happenings": ["points"],
        "where": "vehicle",
        "title": "A title",
        "why": "w",
        "check": "c",
        "mend": "m",
        "tools": [],
        "caution": "",
    }
    module._cause(entry)

    with pytest.raises(ValueError, match=words):
        module._cause(entry | changed)


def test_reason_of_a_back_to_back_then_is_that_of_the_standard() -> None:
    """NEM 110, 310 and 311, supplement of 2009: too narrow, the wheelset jams between check rail
    and wing rail; too wide, the flange meets the frog point."""
    by = {cause.too: cause.why for cause in causes() if cause.quantity == "back_to_back"}

    assert "jam" in by["small"] and "frog point" not in by["small"]
    assert "frog point" in by["large"] and "jam" not in by["large"]
