import pytest

from inventory.drawing.jaws import GUIDES, caption, jaws_picture
from inventory.drawing.track_jaws import TRACK_GUIDES
from standards import quantities

QUANTITIES = [
    "back_to_back", "tyre_width", "flange_depth", "flange_thickness", "wheel_diameter",
    "axle_length", "coupler_height", "trip_pin_clearance", "buffer_height", "buffer_spacing",
    "length_over_couplers", "length_over_buffers", "body_length", "body_width", "height",
    "pivot_distance", "bogie_wheelbase", "rigid_wheelbase", "mass", "start_rolling_grade",
]  # fmt: skip

# What is measured on a track: letters of S-3.2, and the sizes that its fastenings and curves need.
TRACK = [
    "track_gauge", "check_gauge", "span", "flangeway", "flangeway_guard", "flangeway_depth",
    "point_spread", "rail_height", "fastening_height", "chord", "mid_ordinate",
]  # fmt: skip
LETTERS = {
    "track_gauge": "G", "check_gauge": "C", "span": "S", "flangeway": "F",
    "flangeway_depth": "H", "point_spread": "P",
}  # fmt: skip


def test_every_quantity_of_a_track_has_a_picture():
    assert sorted(TRACK_GUIDES) == sorted(TRACK)
    assert not set(TRACK_GUIDES) & set(GUIDES)


@pytest.mark.parametrize(("quantity", "letter"), LETTERS.items())
def test_letters_are_those_of_the_track_sheet(read, quantity, letter):
    """NMRA S-3.2: G track gauge, C check gauge, S span, F flangeway, H flange clearance, P."""
    assert letter in read(jaws_picture(quantity)).words


def test_every_quantity_that_is_measured_has_a_picture():
    measured = [q.code for q in quantities.QUANTITIES.values() if not q.is_computed]
    assert sorted(GUIDES) == sorted(QUANTITIES)
    assert sorted(QUANTITIES + TRACK) == sorted(measured)


@pytest.mark.parametrize("quantity", QUANTITIES + TRACK)
def test_every_quantity_has_a_picture_with_its_caption(read, quantity):
    drawing = read(jaws_picture(quantity))
    assert caption(quantity)
    assert caption(quantity) in drawing.words
    assert caption(quantity) in drawing.title
    assert "d-accent" in drawing.classes()
    assert drawing.overlapping_labels() == []
    assert drawing.labels_outside() == []


@pytest.mark.parametrize("quantity", [q for q in QUANTITIES + TRACK if q != "mass"])
def test_every_distance_has_a_dimension_with_two_arrow_heads(read, quantity):
    assert len(read(jaws_picture(quantity)).having("d-head")) >= 2


@pytest.mark.parametrize(
    "quantity",
    # Heights are taken from the rail with the rod; their pictures show the distance alone.
    ["flange_depth"]
    + [q for q in QUANTITIES if quantities.QUANTITIES[q].jaws in ("inside", "outside")],
)
def test_jaws_are_drawn_where_there_are_jaws(read, quantity):
    assert read(jaws_picture(quantity)).having("d-jaw")


@pytest.mark.parametrize("quantity", ["", "colour", "<script>"])
def test_unknown_quantity_has_neither_picture_nor_caption(quantity):
    assert jaws_picture(quantity) == ""
    assert caption(quantity) == ""


@pytest.mark.parametrize("quantity", QUANTITIES + TRACK)
def test_all_pictures_are_the_same_size_so_that_the_page_keeps_still(read, quantity):
    assert read(jaws_picture(quantity)).size == (340, 176)
