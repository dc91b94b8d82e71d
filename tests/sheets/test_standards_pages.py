"""The standards pages: the list, one sheet, the converter and what a wheelset meets."""

import re
from decimal import Decimal
from html import unescape

import pytest
from django.urls import reverse

from inventory.sheets import comparing, converting, tabulating
from inventory.sheets.comparing import Overall
from inventory.sheets.forms import MeetsForm, with_known_gauge
from inventory.sheets.templatetags.published import linked, short_edition
from standards import sheets
from standards.conformity import Outcome, Rule
from standards.units import read

D = Decimal

# A wheelset of RP-25 code 110 in the middle of S-4.2 for HO.
NMRA_HO = {
    "gauge": "16.5",
    "back_to_back": ".570 in",
    "flange_thickness": ".030 in",
    "flange_depth": ".025 in",
    "tyre_width": ".110 in",
}


@pytest.fixture
def reader(client, owner):
    client.force_login(owner)
    return client


def text_of(response) -> str:
    """What a reader sees, every run of white space one space."""
    bare = re.sub(r"<(style|script|title).*?</\1>", "", response.content.decode(), flags=re.S)
    bare = re.sub(r"</(td|th|p|li|dd|dt|div|h\d)>", " ", bare)
    return " ".join(unescape(re.sub(r"<[^>]+>", "", bare)).split())


def page(reader, name, *args, **query) -> str:
    response = reader.get(reverse(f"sheets:{name}", args=args), query)
    assert response.status_code == 200
    return text_of(response)


def gauge(mm="16.5"):
    return comparing.gauge_near(D(mm))


def compared(instrument="exact", code=None, on="16.5", **typed):
    readings = {
        quantity: comparing.measured(quantity, read(text, "length").values, instrument)
        for quantity, text in typed.items()
    }
    rule = comparing.INSTRUMENTS[instrument][2]
    found = comparing.compare(gauge(on), readings, code=code, rule=rule)
    return {(each.family.code, each.scales[0].code): each for each in found}


# --- Who may read -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "address",
    ["/standards/", "/standards/nmra-s-4.2/", "/standards/convert/", "/standards/meets/"],
)
@pytest.mark.django_db
def test_only_for_people_signed_in(client, owner, address):
    response = client.get(address)
    assert response.status_code == 302
    assert response["Location"].startswith("/sign-in/")
    client.force_login(owner)
    assert client.get(address).status_code == 200


@pytest.mark.django_db
def test_a_visitor_reads_too(client):
    from inventory.people.models import Person

    client.force_login(Person.objects.create_user("guest", role=Person.Role.VISITOR))
    assert client.get(reverse("sheets:meets"), NMRA_HO).status_code == 200


# --- The list ---------------------------------------------------------------------------------


def test_the_list_names_every_family_and_sheet(reader):
    response = reader.get(reverse("sheets:list"))
    content = response.content.decode()
    for family in sheets.families().values():
        assert f'id="family-{family.code}"' in content
    for sheet in sheets.all_sheets():
        assert f'href="{reverse("sheets:sheet", args=[sheet.id])}"' in content
    assert reverse("sheets:convert") in content
    assert reverse("sheets:meets") in content
    assert "What these words mean" in content


def test_every_sheet_is_listed_under_all_that_it_holds():
    held = {code: {each.id for each in found} for code, _, found in tabulating.by_holding()}
    for sheet in sheets.all_sheets():
        for code in sheet.holds:
            assert sheet.id in held[code]


# --- One sheet --------------------------------------------------------------------------------


@pytest.mark.parametrize("sheet_id", [each.id for each in sheets.all_sheets()])
def test_every_sheet_can_be_read(reader, sheet_id):
    shown = page(reader, "sheet", sheet_id)
    sheet = sheets.sheet(sheet_id)
    assert sheet.title in shown
    for row in sheet.rows:
        assert " ".join(row.name.split()) in shown
        for limit in row.limits.values():
            for number in limit.printed.values():
                assert f"{number:f}" in shown
    for note in sheet.notes:
        assert " ".join(note.split()) in shown


def test_both_units_the_printed_one_first(reader):
    response = reader.get(reverse("sheets:sheet", args=["nmra-s-4.2"]))
    row = re.search(r'<th scope="row">\s*HO\s*<.*?</tr>', response.content.decode(), re.S)
    assert "0.566 in</b>" in row.group()
    assert '<span class="other-unit">14.376 mm</span>' in row.group()
    assert "at least" in row.group()
    assert "0.605 in" in row.group()
    assert "15.367 mm" in row.group()


def test_what_is_not_printed_by_the_body_is_marked_in_words(reader):
    assert "computed" in page(reader, "sheet", "00-sf")
    assert "inferred" in page(reader, "sheet", "scalefour-s4")
    assert "second-hand" in page(reader, "sheet", "nmra-s-3.1")
    assert "greatest not read" in page(reader, "sheet", "nem-310-2009")


def test_a_row_that_repeats_another_says_so(reader):
    shown = page(reader, "sheet", "nmra-s-4.2")
    assert "as Proto:20.3 of S-4.1" in shown
    assert "On30 as HO" in shown


def test_mass_rules_in_words(reader):
    nmra = page(reader, "sheet", "nmra-rp-20.1")
    assert "Aim at 1 oz (28.3 g) and 0.5 oz (14.2 g) more for every inch of body length." in nmra
    assert "6 in (152.4 mm): 4 oz (113.4 g)" in nmra
    nem = page(reader, "sheet", "nem-302")
    assert "At least 0.4 g for every millimetre of length over buffers" in nem
    assert "No more than 30 % above that. second-hand" in nem


def test_scales_with_ratio_and_gauges(reader):
    nem = page(reader, "sheet", "nem-010")
    assert "H0 1:87 16.5 mm 0.6496 in H0m 12 mm, H0e 9 mm" in nem
    assert "1:87.1, 3.5 mm to the foot" in page(reader, "sheet", "nmra-s-1.2")


def test_contours_are_drawn(reader):
    content = reader.get(reverse("sheets:sheet", args=["nmra-rp-25"])).content.decode()
    assert content.count('class="d-drawing d-profile"') == 8


def test_figures_that_nothing_is_judged_by_stand_apart(reader):
    shown = page(reader, "sheet", "nmra-rp-25")
    assert "Other figures printed, never judged by" in shown
    assert "Gauging point P" in shown
    assert tabulating.figure_name("grade_max_percent") == "Grade max (%)"
    assert tabulating.figure_name("starts_rolling_on_grade_percent_max").endswith("max (%)")
    assert tabulating.figure_name("weight_plus_minus_oz") == "Weight ± (oz)"
    assert tabulating.figure_name("weight_per_mm") == "Weight per mm"
    assert tabulating.figure_name("fillet_radius_r1") == "Fillet radius R1"


def test_addresses_are_links_that_tell_nothing():
    made = linked("see (https://example.org/a?b=1&c=(2)), or <b>https://example.org/x</b>.")
    assert '<a href="https://example.org/a?b=1&amp;c=(2)" rel="noreferrer">' in made
    assert "<b>" not in made
    assert "javascript:" in linked("javascript:alert(1)")
    assert "<a" not in linked("javascript:alert(1)")


def test_short_editions():
    assert short_edition("2011 (replaces 2004), mandatory") == "2011"


@pytest.mark.parametrize("sheet_id", ["nem-999", "../etc", "<script>", "x" * 300])
def test_an_unknown_sheet_is_said_to_be_unknown(reader, sheet_id):
    response = reader.get(f"/standards/{sheet_id.replace('/', '%2F')}/")
    assert response.status_code == 404
    assert "<script>" not in response.content.decode()
    if "/" not in sheet_id:
        assert "No such sheet" in text_of(response)


# --- The converter ----------------------------------------------------------------------------


def test_forty_feet_in_ho(reader):
    shown = page(reader, "convert", length="40 ft", way="to-model")
    assert "1:87.1 (3.5 mm to the foot) 140.000 mm 5.5118 in 5 33/64 in" in shown
    assert "12.192 m" in shown


def test_a_model_taken_to_full_size(reader):
    shown = page(reader, "convert", length="140 mm", way="to-full-size")
    assert "1:87.1 (3.5 mm to the foot) 12.192 m 40 ft" in shown
    assert "1:87 12.180 m 39 ft 11.5 in" in shown


def test_without_a_way_it_goes_to_the_model(reader):
    assert "140.000 mm" in page(reader, "convert", length="40 ft")


def test_ratios_are_named_once():
    labels = [each.label for each in converting.ratios()]
    assert len(labels) == len(set(labels))
    ho = next(each for each in converting.ratios() if "HO" in each.names)
    assert ho.label == "1:87.1 (3.5 mm to the foot)"
    assert "HOn3" in ho.others
    h0 = next(each for each in converting.ratios() if "H0" in each.names)
    assert h0.label == "1:87"


@pytest.mark.parametrize(
    ("mm", "shown"),
    [("25.4", "1 in"), ("0.1", "under 1/64 in"), ("14.2875", "9/16 in"), ("139.7", "5 1/2 in")],
)
def test_nearest_part_of_an_inch(mm, shown):
    assert converting.nearest_part(D(mm)) == shown


@pytest.mark.parametrize(
    ("mm", "shown"),
    [
        ("12344.4", "40 ft 6 in"),
        ("304.8", "1 ft"),
        ("254", "10 in"),
        ("304.79", "1 ft"),
        ("1252.5", "4 ft 1.3 in"),
    ],
)
def test_feet_and_inches(mm, shown):
    assert converting.feet_and_inches(D(mm)) == shown


BAD = ["forty feet", "-12 mm", "🚂", "1" * 500, "12 12.5", "", "1/0", "\x00", "0"]


@pytest.mark.parametrize("length", BAD)
def test_what_cannot_be_converted_is_kept_beside_its_problem(reader, length):
    response = reader.get(reverse("sheets:convert"), {"length": length, "way": "to-full-size"})
    assert response.status_code == 200
    assert 'class="problem"' in response.content.decode()
    form = response.context["form"]
    assert form["length"].value() == length
    assert form["way"].value() == "to-full-size"
    assert "conversions" not in response.context


def test_an_unknown_way_is_refused(reader):
    assert "Choose one of the two ways." in page(reader, "convert", length="40 ft", way="up")


@pytest.mark.parametrize("length", ["999999999999 ft", "0.000001 mm", "1/64 in"])
def test_the_longest_and_the_shortest_length(reader, length):
    for way in ("to-model", "to-full-size"):
        assert "HO" in page(reader, "convert", length=length, way=way)


# --- Which standards does it meet? ------------------------------------------------------------


def test_the_empty_page_explains_itself(reader):
    shown = page(reader, "meets")
    assert "Which standards does this wheelset meet?" in shown
    assert "K = B + T" in shown
    assert "Not compared yet" not in shown


def test_a_good_ho_wheel_meets_the_nmra_and_not_proto87(reader):
    shown = page(reader, "meets", **NMRA_HO)
    assert "It meets NMRA standard scales, HO" in shown
    assert "It looks like RP-25 code 110" in shown
    found = compared(
        "caliper", **{code: text for code, text in NMRA_HO.items() if code != "gauge"}
    )
    assert found["nmra", "HO"].overall is Overall.MEETS
    assert found["p87", "P87"].overall is Overall.FAILS
    assert "back-to-back" in found["p87", "P87"].reason


def test_a_limit_reckoned_from_others_is_called_derived():
    cells = compared(back_to_back="14.5", flange_thickness="0.75")["nmra", "HO"].cells
    assert cells["back_to_back"].is_derived
    assert cells["back_to_back"].high == D("15.367") - D("0.75")
    assert "K max 0.605 in less the measured flange" in cells["back_to_back"].basis
    assert not cells["wheel_check"].is_derived


def test_the_two_editions_of_nem_310_differ():
    found = compared(
        back_to_back="14.35", flange_thickness="0.8", flange_depth="0.9", tyre_width="2.8"
    )
    old, new = found["nem-1977", "H0"], found["nem", "H0"]
    assert old.overall is Overall.MEETS
    assert new.overall is Overall.FAILS
    assert new.reason == "back-to-back outside"


def test_missing_is_never_a_pass():
    found = compared(back_to_back="14.45", flange_thickness="0.75", flange_depth="0.6")
    nmra = found["nmra", "HO"]
    assert nmra.overall is Overall.CANNOT_SAY
    assert nmra.missing == ("tyre_width",)
    assert nmra.reason == "not given: tyre width"
    assert all(each.overall is not Overall.MEETS for each in compared(tyre_width="2.8").values())


def test_a_declared_code_does_not_stand_in_for_a_measured_flange():
    found = compared(back_to_back="14.5", flange_depth="0.6", tyre_width="2.8", code=110)
    nmra = found["nmra", "HO"]
    assert nmra.cells["back_to_back"].outcome is Outcome.WITHIN
    assert nmra.overall is Overall.CANNOT_SAY
    assert nmra.missing == ("flange_thickness",)


def test_a_limit_that_is_printed_but_not_held_is_never_a_pass():
    found = compared(
        back_to_back="14.45", flange_thickness="0.75", flange_depth="0.7", tyre_width="2.8"
    )
    nem = found["nem", "H0"]
    assert nem.overall is Overall.CANNOT_SAY
    assert nem.half_held == ("flange_depth",)
    assert "not held here" in nem.reason


def test_nominal_sizes_alone_say_nothing():
    doga = compared(back_to_back="14.4")["oo-intermediate", "00"]
    assert doga.overall is Overall.CANNOT_SAY
    assert doga.reason == "it prints no limits for the back-to-back"


def test_too_near_a_limit_is_undecided_with_a_caliper():
    typed = {
        "back_to_back": ".567 in",
        "flange_thickness": ".030 in",
        "flange_depth": ".025 in",
        "tyre_width": ".110 in",
    }
    assert compared("vernier", **typed)["nmra", "HO"].overall is Overall.UNDECIDED
    assert compared("exact", **typed)["nmra", "HO"].overall is Overall.MEETS


def test_what_is_met_comes_first():
    found = comparing.compare(
        gauge(),
        {"back_to_back": comparing.measured("back_to_back", [D("14.4")], "exact")},
        rule=Rule.SIMPLE,
    )
    ranks = [list(Overall).index(each.overall) for each in found]
    assert ranks == sorted(ranks)


def test_scales_with_the_same_limits_stand_in_one_line():
    assert [scale.code for scale in compared(back_to_back="14.4")["nem", "H0"].scales] == [
        "H0",
        "Sm",
        "0e",
        "Ii",
        "IIp",
    ]


@pytest.mark.parametrize("each", comparing.gauges(), ids=lambda gauge: str(gauge.mm))
def test_every_gauge_can_be_asked_for(reader, each):
    b = each.mm * D("0.87")
    shown = page(reader, "meets", gauge=str(each.mm), back_to_back=f"{b:f}", code="110")
    assert "Compared with" in shown


def test_gauges_rounded_in_inches_are_one_gauge():
    assert gauge("16.4846").mm == D("16.5")
    assert gauge("16.5").names[:3] == ("HO", "H0", "00")
    assert with_known_gauge("16.4846") == "16.5"
    for nonsense in ("1e400", "1e9999999", "-1e9999999", "sNaN", "Infinity", "-16.5", "0"):
        assert with_known_gauge(nonsense) == nonsense
    assert comparing.gauge_near(D(1000)) is None


def test_families_without_wheel_figures_are_named(reader):
    assert "without figures for wheels" in page(reader, "meets", gauge="12", back_to_back="10.3")


def test_likeness_needs_the_tyre_width_to_tell_codes_apart():
    def wheel(**sizes):
        readings = {
            code: comparing.measured(code, [D(size)], "exact") for code, size in sizes.items()
        }
        return comparing.likeness(readings)

    sure = wheel(tyre_width="2.80", flange_depth="0.64", flange_thickness="0.76")
    assert sure.best.code == 110
    assert sure.rivals == ()
    assert wheel(flange_depth="0.64").rivals
    assert wheel(back_to_back="14.4") is None
    assert not wheel(tyre_width="5.5").best.is_like


def test_a_code_that_the_wheel_does_not_look_like_is_said(reader):
    assert "It is declared as code 88." in page(reader, "meets", **NMRA_HO, code="88")


@pytest.mark.parametrize(
    ("name", "typed", "offered"),
    [
        ("back_to_back", ".566", "0.566 in"),
        ("back_to_back", "566", "566 thou"),
        ("tyre_width", ".110", "0.110 in"),
    ],
)
def test_a_slip_of_the_unit_is_asked_about(reader, name, typed, offered):
    response = reader.get(
        reverse("sheets:meets"), {"gauge": "16.5", name: typed, "with": "vernier"}
    )
    assert f"Make it {offered}" in text_of(response)
    assert "result" not in response.context
    query = response.context["questions"][0].query
    answered = reader.get(f"{reverse('sheets:meets')}?{query}")
    assert answered.context["form"][name].value() == offered
    assert answered.context["form"]["with"].value() == "vernier"
    assert "result" in answered.context


def test_several_slips_are_put_right_at_once(reader):
    response = reader.get(
        reverse("sheets:meets"),
        {"gauge": "16.5", "back_to_back": ".570", "flange_thickness": ".030"},
    )
    answered = reader.get(f"{reverse('sheets:meets')}?{response.context['all_instead']}")
    assert answered.context["result"].readings["back_to_back"].value == D("14.478")
    as_typed = reader.get(f"{reverse('sheets:meets')}?{response.context['query_as_typed']}")
    assert as_typed.context["result"].readings["back_to_back"].value == D("0.570")


def test_repeats_make_one_reading(reader):
    response = reader.get(
        reverse("sheets:meets"), {"gauge": "16.5", "back_to_back": "14.38 14.40 14.42"}
    )
    assert response.context["result"].readings["back_to_back"].value == D("14.40")


@pytest.mark.parametrize("typed", ["wide", "-14.4 mm", "🚂", "1" * 500, "14.4 g", "0", "\x00"])
def test_what_cannot_be_read_is_kept_with_the_rest(reader, typed):
    asked = {**NMRA_HO, "back_to_back": typed, "code": "110", "with": "vernier"}
    response = reader.get(reverse("sheets:meets"), asked)
    assert response.status_code == 200
    assert "Not compared yet" in text_of(response)
    assert list(response.context["form"].errors) == ["back_to_back"]
    for name, value in asked.items():
        assert response.context["form"][name].value() == value
    assert "result" not in response.context


@pytest.mark.parametrize(
    ("name", "value"),
    [("gauge", "17.7"), ("gauge", ""), ("gauge", "NaN"), ("code", "7"), ("with", "eye")],
)
def test_choices_that_are_not_offered_are_refused(reader, name, value):
    response = reader.get(reverse("sheets:meets"), {**NMRA_HO, name: value})
    assert response.status_code == 200
    assert list(response.context["form"].errors) == [name]


def test_a_gauge_alone_only_fills_it_in(reader):
    assert "Type at least one of the four sizes" in page(reader, "meets", gauge="16.4846")


def test_other_pages_may_fill_in_the_code_alone(reader):
    form = reader.get(reverse("sheets:meets"), {"code": "110"}).context["form"]
    assert form["code"].value() == "110"
    assert not form.is_bound


def test_inches_first_for_those_who_read_inches(reader, owner):
    owner.unit = "in"
    owner.save()
    shown = page(reader, "meets", **NMRA_HO)
    assert "0.5700 in 14.478 mm" in shown
    assert "B 0.570" in reader.get(reverse("sheets:meets"), NMRA_HO).content.decode()


def test_what_was_measured_is_drawn(reader):
    content = reader.get(reverse("sheets:meets"), NMRA_HO).content.decode()
    assert 'class="d-drawing d-wheelset"' in content
    assert 'class="d-drawing d-profile"' in content
    alone = reader.get(reverse("sheets:meets"), {"gauge": "16.5", "back_to_back": "14.4"})
    assert 'class="d-drawing d-wheelset"' not in alone.content.decode()


def test_every_quantity_that_is_read_has_a_label():
    form = MeetsForm()
    for code in comparing.READ:
        assert form.fields[code].label
