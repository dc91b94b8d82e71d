"""The pages that explain how wheel and track meet, and vehicles on a curve."""

import re
from decimal import Decimal as D
from html import unescape

import pytest
from django.urls import reverse

from inventory.drawing.frog import RELATIONS
from inventory.sheets import curving, meeting

INCH = D("25.4")


@pytest.fixture
def reader(client, owner):
    client.force_login(owner)
    return client


def text_of(response) -> str:
    bare = re.sub(r"<(style|script|title|svg).*?</\1>", "", response.content.decode(), flags=re.S)
    return " ".join(unescape(re.sub(r"<[^>]+>", " ", bare)).split())


# --- Who may read, and where from ---


@pytest.mark.parametrize("name", ["meeting", "curves"])
@pytest.mark.django_db
def test_only_for_people_signed_in_and_linked_from_the_list(client, owner, name):
    address = reverse(f"sheets:{name}")
    assert address == f"/standards/{name}/"
    assert client.get(address).status_code == 302
    client.force_login(owner)
    assert client.get(address).status_code == 200
    assert f'href="{address}"' in client.get(reverse("sheets:list")).content.decode()


# --- The figures ---

# Typed from NMRA S-3.2 (HO: G .649 to .672, C .605, S .564, F .050, H .028), S-4.2 (HO: K .605,
# B .566, N .108, D .028) and RP-25 (code 110: T .030), in inches; B is midway between .566 and
# .605 less .030. Tread support by hand: p is the play, .0185, which is less than F less T; the
# angle of a No. 6 frog is 9 degrees 31 minutes 38 seconds, its cosine .98621.
LEFT = {
    "play": D(".0185"),
    "frog-point protection": D(".0045"),
    "span": D(".0065"),
    "flangeway depth": D("0"),
    "tread support": D(".108") - D(".030") - D(".0185") - D(".050") / D(".98621"),
    "no drop-in": D(".0365"),
    "fastenings": D(".083") - D(".040") - D(".028"),
}


def test_every_relation_is_explained_once():
    assert [each.code for each in meeting.explained()] == list(RELATIONS)


@pytest.mark.parametrize("code", LEFT)
def test_what_is_left_by_the_printed_figures(code):
    found = next(each for each in meeting.explained() if each.code == code)
    assert abs(found.margin - LEFT[code] * INCH) < D("0.001")
    assert found.drawing["worst"] == (code, found.margin)


@pytest.mark.parametrize("each", meeting.explained(), ids=lambda each: each.code)
def test_every_letter_of_a_formula_has_its_figure_and_source(each):
    letters = set(re.findall(r"[A-Z]", each.formula))
    assert letters <= {size.letter for size in each.sizes}
    assert all(size.source and size.mm > 0 for size in each.sizes)
    assert each.plain and each.broken and each.measured and each.source


# --- The pages ---


@pytest.mark.django_db
def test_the_page_shows_both_units_the_sheets_and_a_drawing_each(reader):
    response = reader.get(reverse("sheets:meeting"))
    content = response.content.decode()
    shown = text_of(response)
    assert content.count('class="d-drawing d-frog"') == len(RELATIONS)
    assert content.count('class="d-drawing d-jaws"') == 11
    for sheet in ("nmra-s-3.2", "nmra-s-4.2", "nmra-rp-25"):
        assert reverse("sheets:sheet", args=[sheet]) in content
    assert "16.485 mm 0.6490 in" in shown
    assert "0.114 mm 0.0045 in" in shown
    assert "chosen" in shown
    for each in meeting.explained():
        assert each.title in shown
        assert each.formula in shown


@pytest.mark.django_db
def test_a_reader_of_inches_gets_drawings_in_inches(reader, owner):
    owner.unit = "in"
    owner.save()
    response = reader.get(reverse("sheets:meeting"))
    assert "0.6490 in 16.485 mm" in text_of(response)
    assert "play 0.0185 in" in response.content.decode()
    assert "24 in radius" in reader.get(reverse("sheets:curves")).content.decode()


@pytest.mark.django_db
def test_the_curves_page_shows_its_examples(reader):
    response = reader.get(reverse("sheets:curves"))
    shown = text_of(response)
    assert response.content.decode().count('class="d-drawing d-curve"') == 4
    # By hand for 140 long, 105 between pivots, 19.2 wheelbase, 37 wide on 457.2 mm:
    # h = sqrt(457.2^2 - 52.5^2 - 9.6^2) = 454.0743; R - h = 3.126; corner 20.530 less 18.5.
    assert "3.126 mm" in shown
    assert "2.030 mm" in shown
    # Two cars of 297.7, 208.3 and 28 on 609.6: ends 9.048 out each, on opposite sides.
    assert "18.096 mm" in shown
    for words in ("Throws", "Coupler swing", "S-curves", "Buffers", "chosen for this page"):
        assert words in shown


def test_the_centres_of_the_example_leave_the_gap_it_keeps():
    """By hand: h2 - W/2 - corner of the inner car = 3 mm, see the drawing of it."""
    sizes = curving.passing().sizes
    outer = sizes["radius"] + sizes["centres"]
    pivots = 104.15**2 + 14**2
    inner_side = (outer**2 - pivots) ** 0.5 - 17.45
    corner = (((609.6**2 - pivots) ** 0.5 + 17.45) ** 2 + 148.85**2) ** 0.5
    assert inner_side - corner == pytest.approx(3, abs=1e-6)
