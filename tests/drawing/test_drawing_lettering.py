"""Words on paper: their widths against the font metrics that Adobe published, and that what is
set fits."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

# The outside: the AFM files of the fourteen base fonts, as pdfminer.six carries them.
from pdfminer.fontmetrics import FONT_METRICS

from inventory.drawing import lettering
from inventory.drawing.qr import QUIET, modules, qr

LETTERS = [chr(code) for code in range(32, 127)]


@pytest.mark.parametrize(("font", "bold"), [("Helvetica", False), ("Helvetica-Bold", True)])
def test_widths_when_held_against_the_published_metrics_then_agree(font, bold):
    published = FONT_METRICS[font][1]

    assert {letter: lettering.width_of(letter, 1000, bold=bold) for letter in LETTERS} == {
        letter: published[letter] for letter in LETTERS
    }


@pytest.mark.parametrize("letter", list("éÄñžŐçåÖ–—…×±§£"))
def test_width_of_an_accented_letter_then_is_its_published_one(letter):
    assert lettering.width_of(letter, 1000) == FONT_METRICS["Helvetica"][1].get(
        letter, lettering.width_of(letter, 1000)
    )
    assert lettering.width_of(letter, 1000) > 200


WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1, max_size=90
)


@settings(max_examples=150, deadline=None)
@given(WORDS, st.floats(8, 80), st.integers(1, 4), st.booleans())
def test_fit_when_anything_is_typed_then_no_line_is_longer_than_the_room(words, room, lines, bold):
    found = lettering.fit(words, room, size=6.0, least=1.6, lines=lines, bold=bold)

    assert len(found.lines) <= lines
    assert 1.6 <= found.size <= 6.0
    for line in found.lines:
        assert lettering.width_of(line, found.size, bold=bold) <= room + 1e-9


@settings(max_examples=100, deadline=None)
@given(WORDS, st.floats(10, 60))
def test_broken_when_put_together_again_then_no_letter_is_lost(words, room):
    lines = lettering.broken(words, room, 3.0)

    assert re.sub(r"\s", "", "".join(lines)) == re.sub(r"\s", "", lettering.tidy(words))


def test_fit_when_words_are_short_then_keeps_the_full_size():
    assert lettering.fit("BRV 88", 60, size=6, least=2) == lettering.Set(("BRV 88",), 6)


def test_fit_when_nothing_else_helps_then_cuts_with_an_ellipsis():
    found = lettering.fit("W" * 200, 20, size=6, least=2, lines=2)

    assert found.lines[1].endswith("…")
    assert found.size == 2


def test_text_then_says_how_long_it_has_to_be():
    # 278 + 667 thousandths at 10 mm, from the metrics above.
    assert 'textLength="9.45"' in lettering.text(0, 0, "IA", size=10)


def test_text_when_right_to_left_then_stands_in_the_same_place():
    words = "שלום"
    long = lettering.width_of(words, 10)
    drawn = lettering.text(5, 0, words, size=10)

    assert "p-rtl" in drawn
    # Its start is its right side, so that it reaches back to 5.
    assert f'x="{5 + long:.2f}"'.rstrip("0") in drawn.replace(
        '0"', '"'
    ) or f'x="{5 + long:g}"' in (drawn)


def test_text_when_it_would_turn_the_direction_round_then_loses_that_mark():
    assert "\u202e" not in lettering.text(0, 0, "a\u202eb", size=3)


# --- Codes ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    # Sides of a symbol, 17 + 4 times its version, and the bytes that M holds: ISO/IEC 18004,
    # tables 1 and 7; from memory.
    ("length", "side"),
    [(14, 21), (15, 25), (26, 25), (27, 29), (42, 29), (43, 33), (62, 33), (63, 37), (84, 37)],
)
def test_code_when_so_many_bytes_then_is_of_the_standard_s_size(length, side):
    assert modules("a" * length) == side + 2 * QUIET


def test_code_when_drawn_then_keeps_four_modules_white():
    drawn = qr("http://192.168.1.20:8000/v/", 10, 20, 37)

    # 27 bytes are 29 modules and 8 of quiet zone: a module is 1 mm.
    assert 'transform="translate(14.000 24.000) scale(1.00000)"' in drawn
