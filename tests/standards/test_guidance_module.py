"""A wheelset through a piece of track: rules that hold for any, what is missing, and refusals.

Oracles: NumPy for ranks and for drawing at random, SciPy for the Student distribution, and the
frog built from its rails line by line.
"""

import dataclasses
import itertools
import math
import random
from decimal import Decimal as D

import numpy as np
import pytest
import scipy.stats
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from standards.conformity import Bounds, Outcome, Rule, judge
from standards.curves import ImpossibleGeometry
from standards.guidance import (
    Cell,
    Margin,
    Relation,
    Way,
    Wheels,
    contradictions,
    flangeway_for_radius,
    grid,
    margins,
    sheets_agree,
    worst,
)
from standards.metrology import Measured
from standards.sheets import Limit

patient = settings(deadline=None)

WHEEL_CODES = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")
# Dimensions of one turnout that agree with each other: C = G - Fg, S = C - F.
FITTING = {
    "track_gauge": D("16.55"),
    "flangeway_guard": D("1.22"),
    "check_gauge": D("15.33"),
    "flangeway": D("1.19"),
    "span": D("14.14"),
    "flangeway_depth": D("0.85"),
    "rail_height": D("2.11"),
    "fastening_height": D("0.70"),
}
WHEELS = {
    "back_to_back": D("14.41"),
    "flange_thickness": D("0.77"),
    "flange_depth": D("0.63"),
    "tyre_width": D("2.79"),
}
LINKED = ("track_gauge", "check_gauge", "span", "flangeway", "flangeway_guard")


def of(value: D | str, u: float = 0.0, dof: float = math.inf) -> Measured:
    return Measured(D(value), u, dof, ())


def wheels(u: float = 0.01, **changes: D | str | None) -> Wheels:
    return Wheels(**{k: None if v is None else of(v, u) for k, v in (WHEELS | changes).items()})


def way(u: float = 0.01, frog_number: float | None = 6, **changes: D | str | None) -> Way:
    dimensions = {k: None if v is None else of(v, u) for k, v in (FITTING | changes).items()}
    return Way(**dimensions, frog_number=frog_number)


def only(frog_number: float | None, *codes: str) -> Way:
    return Way(**{code: of(FITTING[code], 0.01) for code in codes}, frog_number=frog_number)


def by_relation(found: tuple[Margin, ...]) -> dict[Relation, Margin]:
    assert len({each.relation for each in found}) == len(found)
    return {each.relation: each for each in found}


# --- Sums ---------------------------------------------------------------------------------------


def test_margins_when_all_is_measured_then_are_the_sums() -> None:
    found = by_relation(margins(wheels(), way()))

    assert set(found) == set(Relation)
    assert {each: found[each].margin.value for each in found if each != Relation.SUPPORT} == {
        Relation.PLAY: D("0.60"),  # 16.55 - 14.41 - 1.54
        Relation.POINT: D("0.15"),  # 15.33 - 14.41 - 0.77
        Relation.SPAN: D("0.27"),  # 14.41 - 14.14
        Relation.DEPTH: D("0.22"),  # 0.85 - 0.63
        Relation.DROP_IN: D("1.42"),  # 14.41 + 2.79 + 0.77 - 16.55
        Relation.FASTENINGS: D("0.78"),  # 2.11 - 0.70 - 0.63
    }
    # No. 6: 1 / cos th = (4 x 36 + 1) / (4 x 36 - 1); at the wing rail, for 1.19 - 0.77 < 0.60.
    at_wing = 2.79 - 1.19 - 1.19 * 145 / 143
    assert float(found[Relation.SUPPORT].margin.value) == pytest.approx(at_wing, abs=1e-11)
    assert all(each.outcome is Outcome.WITHIN for each in found.values())


def test_margins_when_ordered_then_the_likeliest_to_fail_is_first_and_missing_last() -> None:
    found = margins(
        wheels(0.05, flange_depth=None), way(0.05, track_gauge="15.9", check_gauge="15.0")
    )

    assert [each.relation for each in found][-2:] == [Relation.DEPTH, Relation.FASTENINGS]
    judged = [each for each in found if each.margin is not None]
    assert judged == list(found[:5])
    chances = [each.probability for each in judged]
    assert chances == sorted(chances)
    assert worst(found) is found[0]
    assert found[0].relation is Relation.POINT


def test_worst_when_nothing_was_computed_then_is_none() -> None:
    found = margins(Wheels(), Way(frog_number=6))

    assert len(found) == len(Relation)
    assert {each.outcome for each in found} == {Outcome.NOT_JUDGED}
    assert worst(found) is None
    assert worst(()) is None


LENGTHS = st.decimals(0, 40, places=3)
DOUBTS = st.floats(0, 0.2)
FREEDOM = st.one_of(st.just(math.inf), st.floats(1, 300))
MEASURED = st.builds(lambda v, u, f: Measured(v, u, f, ()), LENGTHS, DOUBTS, FREEDOM)
ANY_WHEELS = st.builds(Wheels, **dict.fromkeys(WHEEL_CODES, MEASURED))
ANY_WAY = st.builds(
    Way,
    **{code: st.one_of(st.none(), MEASURED) for code in FITTING},
    frog_number=st.one_of(st.none(), st.floats(1, 30)),
)


@patient
@given(ANY_WHEELS, ANY_WAY)
def test_margin_when_taken_apart_then_its_terms_add_up_exactly(some_wheels, some_way) -> None:
    for each in margins(some_wheels, some_way):
        if each.margin is None:
            assert each.missing
            continue
        codes = [term.code for term in each.terms]
        assert len(set(codes)) == len(codes)
        assert sum(term.factor * term.measured.value for term in each.terms) == each.margin.value
        for term in each.terms:
            owner = some_wheels if term.owner == "wheel" else some_way
            assert getattr(owner, term.code) is term.measured


@patient
@given(ANY_WHEELS, ANY_WAY, st.decimals("0.001", "0.5", places=3))
def test_margin_when_a_dimension_grows_then_moves_by_its_factor(
    some_wheels, some_way, more
) -> None:
    before = by_relation(margins(some_wheels, some_way))
    for part, code in [(some_wheels, c) for c in WHEEL_CODES] + [(some_way, c) for c in FITTING]:
        measured = getattr(part, code)
        if measured is None:
            continue
        moved = dataclasses.replace(
            part, **{code: dataclasses.replace(measured, value=measured.value + more)}
        )
        pair = (moved, some_way) if part is some_wheels else (some_wheels, moved)
        for relation, after in by_relation(margins(*pair)).items():
            was = before[relation]
            if was.margin is None or after.formula != was.formula:
                continue  # tread support, where another position became the worst
            factor = sum(term.factor for term in was.terms if term.code == code)
            assert after.margin.value - was.margin.value == factor * more


# --- Uncertainty and probability ----------------------------------------------------------------


@patient
@given(ANY_WHEELS, ANY_WAY, st.sampled_from(Rule))
def test_margin_when_judged_then_is_as_a_value_with_a_lower_limit_of_nothing(
    some_wheels, some_way, rule
) -> None:
    for each in margins(some_wheels, some_way, rule):
        if each.margin is None:
            assert each.probability is None
            continue
        judged = judge(each.margin, Bounds(D(0), None), rule)
        assert each.outcome is judged.outcome
        assert each.probability == pytest.approx(judged.probability, rel=1e-12, abs=1e-300)


@patient
@given(ANY_WHEELS, ANY_WAY)
def test_margin_when_uncertain_then_follows_the_gum(some_wheels, some_way) -> None:
    """GUM 5.1.2 and G.4.1 written out; the probability from SciPy's Student distribution."""
    for each in margins(some_wheels, some_way):
        if each.margin is None:
            continue
        parts = [(float(t.factor) * t.measured.u, t.measured.dof) for t in each.terms]
        u = math.sqrt(sum(part**2 for part, _ in parts))
        assume(u > 1e-6 or u == 0)
        assert each.margin.u == pytest.approx(u, rel=1e-12)
        if u == 0:
            assert each.probability == (1 if each.margin.value >= 0 else 0)
            continue
        fourths = sum((part / u) ** 4 / dof for part, dof in parts)
        dof = 1 / fourths if fourths else math.inf
        # As its inverse, which says the same and does not run over.
        assert 1 / each.margin.dof == pytest.approx(fourths, rel=1e-9, abs=1e-300)
        expected = scipy.stats.t.cdf(float(each.margin.value) / u, dof)
        assert each.probability == pytest.approx(expected, rel=1e-7, abs=1e-12)


@pytest.mark.parametrize(
    "codes",
    [
        ("track_gauge", "check_gauge", "span", "flangeway"),
        ("track_gauge", "flangeway_guard", "flangeway"),
        ("track_gauge", "flangeway_guard", "span"),
        ("flangeway_guard", "span", "flangeway"),
    ],
)
def test_margins_when_every_dimension_is_drawn_at_random_then_scatter_as_stated(codes) -> None:
    """The dimensions drawn at random and the missing ones solved from them, two hundred thousand
    times; a standard deviation is then good to 0.2 %."""
    draws = np.random.default_rng(1879)
    doubts = {"back_to_back": 0.03, "flange_thickness": 0.05, "tyre_width": 0.02}
    doubts |= {code: 0.02 + 0.01 * at for at, code in enumerate(codes)}
    drawn = {
        code: draws.normal(float((WHEELS | FITTING)[code]), u, 200_000)
        for code, u in doubts.items()
    }
    # C - G + Fg = 0 and S - C + F = 0, solved for what was not measured.
    identities = np.array([[-1, 1, 0, 0, 1], [0, -1, 1, 1, 0]], dtype=float)
    unknown = [at for at, code in enumerate(LINKED) if code not in codes]
    known = [at for at, code in enumerate(LINKED) if code in codes]
    if len(unknown) == 2:
        rest = -identities[:, known] @ np.array([drawn[LINKED[at]] for at in known])
        solved = np.linalg.solve(identities[:, unknown], rest)
        drawn |= {LINKED[at]: solved[i] for i, at in enumerate(unknown)}
    b, t, n = (drawn[c] for c in ("back_to_back", "flange_thickness", "tyre_width"))
    g, c, s, f = (drawn[code] for code in LINKED[:4])
    secant = 145 / 143
    expected = {
        Relation.PLAY: g - b - 2 * t,
        Relation.POINT: c - b - t,
        Relation.SPAN: b - s,
        Relation.SUPPORT: n - f - f * secant,
        Relation.DROP_IN: b + n + t - g,
    }
    found = by_relation(
        margins(
            Wheels(**{k: of(WHEELS[k], doubts[k]) for k in WHEEL_CODES if k in doubts}),
            Way(**{k: of(FITTING[k], doubts[k]) for k in codes}, frog_number=6),
        )
    )

    for relation, values in expected.items():
        assert found[relation].margin.u == pytest.approx(values.std(), rel=0.01), relation
        assert float(found[relation].margin.value) == pytest.approx(values.mean(), abs=1e-3)


def test_margin_when_flanges_count_twice_then_their_doubt_is_doubled() -> None:
    exact = Wheels(of("14.4"), of("0.8", 0.03), of("0.6"), of("2.8"))
    found = by_relation(margins(exact, Way(track_gauge=of("16.5"))))

    # Two independent flanges would give 0.0424.
    assert found[Relation.PLAY].margin.u == pytest.approx(0.06, rel=1e-12)
    assert found[Relation.DROP_IN].margin.u == pytest.approx(0.03, rel=1e-12)


# --- What is missing ----------------------------------------------------------------------------

NEEDED_OF_WHEELS = {
    Relation.PLAY: {"back_to_back", "flange_thickness"},
    Relation.POINT: {"back_to_back", "flange_thickness"},
    Relation.SPAN: {"back_to_back"},
    Relation.DEPTH: {"flange_depth"},
    Relation.SUPPORT: {"back_to_back", "flange_thickness", "tyre_width"},
    Relation.DROP_IN: {"back_to_back", "flange_thickness", "tyre_width"},
    Relation.FASTENINGS: {"flange_depth"},
}
NEEDED_OF_TRACK = {
    Relation.PLAY: {"track_gauge"},
    Relation.POINT: {"check_gauge"},
    Relation.SPAN: {"span"},
    Relation.DEPTH: {"flangeway_depth"},
    Relation.SUPPORT: {"track_gauge", "flangeway"},
    Relation.DROP_IN: {"track_gauge"},
    Relation.FASTENINGS: {"rail_height", "fastening_height"},
}


def subsets(codes: tuple[str, ...]) -> list[tuple[str, ...]]:
    return [
        chosen for size in range(len(codes) + 1) for chosen in itertools.combinations(codes, size)
    ]


@pytest.mark.parametrize("measured", subsets(WHEEL_CODES), ids="+".join)
def test_margins_when_wheel_dimensions_lack_then_each_is_named(measured) -> None:
    found = by_relation(margins(Wheels(**{c: of(WHEELS[c]) for c in measured}), way()))

    for relation, needed in NEEDED_OF_WHEELS.items():
        lacking = {f"wheel.{code}" for code in needed - set(measured)}
        assert set(found[relation].missing) == lacking
        assert (found[relation].margin is None) == bool(lacking)
        assert (found[relation].outcome is Outcome.NOT_JUDGED) == bool(lacking)


def follows(code: str, measured: tuple[str, ...]) -> bool:
    """Whether a dimension can be had at all: it lies in what was measured and the identities."""
    rows = [[-1, 1, 0, 0, 1], [0, -1, 1, 1, 0]]
    rows += [[int(each == one) for each in LINKED] for one in measured]
    wanted = [int(each == code) for each in LINKED]
    return np.linalg.matrix_rank([*rows, wanted]) == np.linalg.matrix_rank(rows)


@pytest.mark.parametrize("measured", subsets(LINKED), ids="+".join)
def test_margins_when_track_dimensions_lack_then_follow_or_are_named(measured) -> None:
    full = by_relation(margins(wheels(), way()))
    found = by_relation(margins(wheels(), only(6, *measured)))

    for relation, needed in NEEDED_OF_TRACK.items():
        linked = needed & set(LINKED)
        lacking = {code for code in linked if not follows(code, measured)} | (needed - linked)
        assert set(found[relation].missing) == {f"track.{code}" for code in lacking}
        if lacking:
            assert found[relation].outcome is Outcome.NOT_JUDGED
            continue
        assert found[relation].margin.value == full[relation].margin.value
        derived = linked - set(measured)
        assert found[relation].note.count("was not measured") == len(derived)
        assert {term.code for term in found[relation].terms if term.owner == "track"} <= set(
            measured
        )


@pytest.mark.parametrize("measured", subsets(("flangeway_depth", *LINKED[:4])), ids="+".join)
@pytest.mark.parametrize("number", [None, 6])
def test_margins_when_there_is_no_frog_then_its_relations_are_left_out(measured, number) -> None:
    here = only(number, *measured)
    found = by_relation(margins(wheels(), here))

    is_crossing = number is not None or bool({"check_gauge", "span"} & set(measured))
    expected = {Relation.PLAY, Relation.DROP_IN, Relation.FASTENINGS}
    if is_crossing:
        expected |= {Relation.POINT, Relation.SPAN, Relation.SUPPORT, Relation.DEPTH}
    if "flangeway_depth" in measured:
        expected |= {Relation.DEPTH}
    assert set(found) == expected
    assert here.is_crossing is is_crossing
    assert here.has_frog is (number is not None)
    if is_crossing:
        # A frog whose number is not known still has a gap; it is named and not assumed.
        assert ("track.frog_number" in found[Relation.SUPPORT].missing) is (number is None)


def test_margins_when_a_dimension_followed_then_the_note_says_from_what() -> None:
    found = by_relation(margins(wheels(), only(6, "track_gauge", "flangeway_guard", "flangeway")))

    assert "Check gauge was not measured: track gauge 16.550 mm less flangeway at the guard " in (
        found[Relation.POINT].note
    )
    assert "gives 15.330 mm" in found[Relation.POINT].note
    assert "gives 14.140 mm" in found[Relation.SPAN].note
    assert "not measured" not in found[Relation.PLAY].note


def test_margins_when_one_more_dimension_would_do_then_the_note_names_it() -> None:
    found = by_relation(margins(wheels(), only(6, "track_gauge")))

    note = found[Relation.POINT].note
    assert note.startswith("Not measured: check gauge.")
    assert "In place of the check gauge, the flangeway at the guard rail would do." in note


# --- Tread support ------------------------------------------------------------------------------


def carried(n: float, t: float, p: float, f: float, angle: float, x: float) -> tuple[float, float]:
    """Width of tread on the wing rail and on the point, x beyond the theoretical point.

    The rails as lines: the other route's running line through the origin at the frog's angle, and
    the edge of the wing rail a flangeway away from it, found with the line's normal.
    """
    along, normal = (math.cos(angle), math.sin(angle)), (-math.sin(angle), math.cos(angle))
    start = (f * normal[0], f * normal[1])
    edge = start[1] + (x - start[0]) / along[0] * along[1]
    inner, outer = -p, n - t - p
    on_wing = outer - max(edge, 0.0, inner)
    of_point = x / along[0] * along[1]
    on_point = min(outer, of_point) - max(inner, 0.0) if x > 0 else 0.0
    return on_wing, on_point


@patient
@given(
    n=st.integers(1200, 4000),
    t=st.integers(300, 1200),
    b=st.integers(13000, 15500),
    g=st.integers(16000, 17200),
    f=st.integers(400, 1800),
    number=st.floats(2, 14),
)
def test_tread_support_when_the_frog_is_drawn_then_is_the_narrowest_overlap(
    n, t, b, g, f, number
) -> None:
    room = (g - b - 2 * t, f - t)
    assume(min(room) >= 0)
    found = by_relation(
        margins(
            Wheels(of(D(b) / 1000), of(D(t) / 1000), None, of(D(n) / 1000)),
            Way(of(D(g) / 1000), flangeway=of(D(f) / 1000), frog_number=number),
        )
    )[Relation.SUPPORT]
    angle = 2 * math.atan(1 / (2 * number))
    # Wherever the wheelset can stand: neither flange in a rail, nor this back in the wing rail.
    standing = [p / 1000 for p in np.linspace(0, min(room), 9)]
    overlaps = [carried(n / 1000, t / 1000, p, f / 1000, angle, 0.0)[0] for p in standing]

    margin = float(found.margin.value)
    # Where no tread at all reaches the wing rail, the drawing's overlap is a gap: the same number.
    assert margin == pytest.approx(min(overlaps), abs=1e-9)
    # From the wing rail to well on the point: is there always some tread on one of them? A gap
    # ends where the point begins, so the last look before that is taken just there.
    far = 3 * f / 1000 * number
    looks = [*np.linspace(-far, -1e-9, 100), *np.linspace(1e-9, far, 100)]
    is_always_carried = all(
        max(carried(n / 1000, t / 1000, standing[-1], f / 1000, angle, x)) > 0 for x in looks
    )
    if abs(margin) > 1e-3:
        assert is_always_carried is (margin > 0)


@pytest.mark.parametrize(
    ("changes", "formula"),
    [
        ({"back_to_back": "14.60"}, "N + B + T − G − F / cos θ"),  # play 0.41 below F - T = 0.42
        ({"back_to_back": "14.59"}, "N + B + T − G − F / cos θ"),  # play 0.42, the first counts
        ({"back_to_back": "14.58"}, "N − F − F / cos θ"),  # play 0.43
        ({"back_to_back": "15.20"}, "N − T − F / cos θ"),  # wider than the gauge
    ],
)
def test_tread_support_when_play_changes_then_the_worst_position_does(changes, formula) -> None:
    found = by_relation(margins(wheels(**changes), way()))[Relation.SUPPORT]

    assert found.formula == formula


@pytest.mark.parametrize(
    ("width", "back", "expected"),
    [
        # N 2.8, T 0.8, G 16.5, F 1.2: with B 14.4 the play of 0.5 would let the wheel stand
        # farther away than the wing rail does, so 0.4 counts; with B 14.9 there is no play.
        ("2.8", "14.4", "0.383"),
        ("2.8", "14.9", "0.783"),
        ("2.2", "14.4", "-0.217"),
    ],
)
def test_tread_support_when_worked_by_hand_then_is_that(width, back, expected) -> None:
    # F / cos = 1.2 / .98621 = 1.2168.
    wheelset = Wheels(of(back), of("0.8"), None, of(width))
    track = Way(track_gauge=of("16.5"), flangeway=of("1.2"), frog_number=6)
    (found,) = (each for each in margins(wheelset, track) if each.relation is Relation.SUPPORT)
    assert abs(found.margin.value - D(expected)) < D("0.001")


def test_tread_support_when_the_gauge_widens_past_the_wing_rail_then_stays() -> None:
    narrow = by_relation(margins(wheels(), way(track_gauge="16.60")))[Relation.SUPPORT]
    wide = by_relation(margins(wheels(), way(track_gauge="17.20")))[Relation.SUPPORT]

    assert narrow.margin.value == wide.margin.value


# --- Words --------------------------------------------------------------------------------------


def test_play_when_the_wheelset_is_wider_than_the_gauge_then_is_below_nothing_and_said() -> None:
    found = margins(wheels(back_to_back="15.20"), way())

    play = by_relation(found)[Relation.PLAY]
    assert play.margin.value == D("-0.19")
    assert play.outcome is Outcome.OUTSIDE
    assert play.note.startswith("Short by 0.190 mm: the wheelset is wider over the flanges")


@pytest.mark.parametrize("relation", list(Relation))
def test_margin_when_short_then_says_by_how_much_and_what_comes_of_it(relation) -> None:
    tight = Wheels(of("15.5"), of("1.4"), of("2.0"), of("1.0"))
    loose = Wheels(of("11.5"), of("0.4"), of("0.4"), of("1.0"))
    short = [by_relation(margins(each, way(0)))[relation] for each in (tight, loose)]
    short = [each for each in short if each.margin.value < 0]

    assert short
    for each in short:
        assert each.outcome is Outcome.OUTSIDE
        assert each.probability == 0
        assert f"Short by {-each.margin.value:.3f} mm: " in each.note


def test_margin_when_undecided_then_says_how_much_is_left_open() -> None:
    found = by_relation(margins(wheels(0.1), way(0.1)))[Relation.POINT]

    assert found.outcome is Outcome.UNDECIDED
    # Three doubts of 0.1 mm, normal: 1.95996 x 0.17321 = 0.33948.
    assert "±0.339 mm" in found.note


def test_margins_when_acceptance_is_simple_then_the_value_decides() -> None:
    found = by_relation(margins(wheels(0.1), way(0.1), Rule.SIMPLE))[Relation.POINT]

    assert found.outcome is Outcome.WITHIN
    assert found.probability < 0.95


@pytest.mark.parametrize(
    ("back_to_back", "outcome"),
    # Phi(-1.65) = 0.0495, Phi(-1.64) = 0.0505, and the same from one.
    [
        ("13.975", Outcome.OUTSIDE),
        ("13.976", Outcome.UNDECIDED),
        ("14.304", Outcome.UNDECIDED),
        ("14.305", Outcome.WITHIN),
    ],
)
def test_margin_when_near_five_percent_then_is_as_the_rule_says(back_to_back, outcome) -> None:
    found = margins(Wheels(of(back_to_back, 0.1)), Way(span=of("14.14")))

    assert by_relation(found)[Relation.SPAN].outcome is outcome


def test_margin_when_just_nothing_and_certain_then_is_within() -> None:
    exact = by_relation(margins(wheels(0, back_to_back="14.56"), way(0)))[Relation.POINT]

    assert exact.margin.value == 0
    assert exact.outcome is Outcome.WITHIN
    assert exact.probability == 1


# --- Many at once -------------------------------------------------------------------------------


def scattered(chance: random.Random, keeps: float) -> tuple[list[list[Wheels]], list[Way]]:
    """Invented vehicles of none to four wheelsets, and tracks, with gaps in the record."""

    def near(value: D) -> Measured | None:
        if chance.random() > keeps:
            return None
        moved = value + D(chance.randint(-25, 25)) / 100
        return of(
            max(moved, D(0)),
            chance.choice([0.0, 0.02, 0.08]),
            chance.choice([2, 7.5, 40, math.inf]),
        )

    vehicles = [
        [Wheels(**{k: near(v) for k, v in WHEELS.items()}) for _ in range(chance.randint(0, 4))]
        for _ in range(15)
    ]
    ways = [
        Way(**{k: near(v) for k, v in FITTING.items()}, frog_number=chance.choice([None, 4, 6]))
        for _ in range(15)
    ]
    return vehicles, ways


@pytest.mark.parametrize("keeps", [1.0, 0.9, 0.4])
@pytest.mark.parametrize("rule", list(Rule))
def test_grid_when_set_beside_the_margins_then_holds_the_worst_of_them(keeps, rule) -> None:
    vehicles, ways = scattered(random.Random(7), keeps)
    found = grid(vehicles, ways, rule)

    assert [len(row) for row in found] == [len(ways)] * len(vehicles)
    seen = set()
    for vehicle, row in zip(vehicles, found, strict=True):
        for here, cell in zip(ways, row, strict=True):
            every = [(each, at) for at, w in enumerate(vehicle) for each in margins(w, here, rule)]
            lacking = {each.relation for each, _ in every if each.missing}
            assert set(cell.lacking) == lacking
            judged = [pair for pair in every if not pair[0].missing]
            if not judged:
                assert cell == Cell(None, None, None, None, Outcome.NOT_JUDGED, cell.lacking)
                continue
            least, at = min(judged, key=lambda pair: (pair[0].probability, pair[0].margin.value))
            assert (cell.margin, cell.probability) == (least.margin.value, least.probability)
            assert (cell.judged, cell.wheelset) == (least.outcome, at)
            assert cell.relation is worst(margins(vehicle[at], here, rule)).relation
            seen.add(cell.outcome)
    assert Outcome.OUTSIDE in seen
    assert len(seen) >= 2


def test_cell_when_all_are_sure_then_the_smallest_margin_counts() -> None:
    """Both are beyond any doubt; the smaller margin is the better known, and so farther out."""
    vehicle = [Wheels(back_to_back=of("14.41", 0.01), flange_depth=of("0.63", 0.001))]
    cell = grid([vehicle], [Way(span=of("14.14"), flangeway_depth=of("0.85"))])[0][0]

    assert cell.probability == 1
    assert (cell.relation, cell.margin) == (Relation.DEPTH, D("0.22"))


def test_cell_when_something_lacks_then_is_never_within() -> None:
    vehicle = [wheels(flange_depth=None)]
    cell = grid([vehicle], [way()])[0][0]

    assert cell.judged is Outcome.WITHIN
    assert cell.lacking == (Relation.DEPTH, Relation.FASTENINGS)
    assert cell.outcome is Outcome.NOT_JUDGED


def test_grid_when_there_is_no_vehicle_or_no_track_then_is_empty() -> None:
    assert grid([], [way()]) == ()
    assert grid([[wheels()]], []) == ((),)


# --- What does not agree with itself ------------------------------------------------------------


def test_contradictions_when_the_dimensions_agree_then_there_are_none() -> None:
    assert contradictions(way(0)) == ()
    assert contradictions(Way()) == ()


@pytest.mark.parametrize(("apart", "is_found"), [("0.033", False), ("0.034", True)])
@pytest.mark.parametrize("sign", [1, -1])
def test_contradictions_when_apart_by_more_than_the_doubt_then_are_found(
    apart, is_found, sign
) -> None:
    # Three doubts of 0.01 mm: 1.95996 x 0.017321 = 0.033948.
    found = contradictions(way(0.01, span=FITTING["span"] + sign * D(apart)))

    assert bool(found) is is_found
    if is_found:
        assert found[0].code == "span"
        assert found[0].difference.value == sign * D(apart)
        assert found[0].follows == D("14.14")
        assert found[0].codes == ("span", "check_gauge", "flangeway")
        assert "0.034 mm apart" in str(found[0])
        assert "14.140 mm" in str(found[0])


def test_contradictions_when_the_check_gauge_is_off_then_both_sides_of_it_are() -> None:
    found = contradictions(way(0, check_gauge="15.34"))

    assert [(each.code, each.difference.value) for each in found] == [
        ("check_gauge", D("0.01")),
        ("span", D("-0.01")),
    ]


def test_contradictions_when_there_is_no_check_gauge_then_the_span_is_held_against_all() -> None:
    found = contradictions(way(0.01, check_gauge=None, span="14.30"))

    assert [(each.code, each.difference.value) for each in found] == [("span", D("0.16"))]
    assert found[0].codes == ("span", "track_gauge", "flangeway_guard", "flangeway")


@patient
@given(ANY_WAY)
def test_contradictions_when_found_then_are_beyond_the_doubt(some_way) -> None:
    for each in contradictions(some_way):
        assert abs(float(each.difference.value)) > each.difference.expanded
        assert each.measured - each.follows == each.difference.value


# --- Refusals -----------------------------------------------------------------------------------


@pytest.mark.parametrize("number", [0, -6, math.nan, math.inf, 0.5, 0.3])
def test_way_when_the_frog_number_is_none_then_is_refused(number) -> None:
    with pytest.raises(ImpossibleGeometry, match="frog number"):
        Way(frog_number=number)


@pytest.mark.parametrize("number", [math.nextafter(0.5, 1), 0.51, 1e300])
def test_way_when_the_frog_number_is_odd_but_possible_then_is_taken(number) -> None:
    assert by_relation(margins(wheels(), way(frog_number=number)))[Relation.SUPPORT].margin


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: Way(span=of("-14.1")), "Span over guard and wing rail: -14.1 mm is below zero"),
        (lambda: Wheels(flange_depth=of("-0.6")), "Flange depth: -0.6 mm is below zero"),
        (lambda: Way(track_gauge=of("1E+40")), "Track gauge: .* too large"),
        (lambda: Wheels(tyre_width=of("1E-400")), "Tyre width: .* too fine"),
        (lambda: Wheels(tyre_width=of("2.8", 1e200)), "Tyre width: an uncertainty of 1e\\+200"),
    ],
)
def test_dimension_when_it_cannot_be_a_length_then_is_refused_by_name(make, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        make()


def test_dimension_when_zero_then_is_a_value() -> None:
    found = by_relation(margins(wheels(), way(fastening_height="0")))

    assert found[Relation.FASTENINGS].margin.value == D("1.48")


@pytest.mark.parametrize("u", [1e-90, 1e-200])
def test_margin_when_its_doubt_is_vanishing_then_is_still_judged(u) -> None:
    few = Wheels(*(of(value, u, 2.0) for value in WHEELS.values()))

    assert {each.outcome for each in margins(few, way(u))} == {Outcome.WITHIN}


@pytest.mark.parametrize(
    ("given_", "words"),
    [
        ((D(0), D(9), D("0.8"), D("0.9")), "radius"),
        ((D("NaN"), D(9), D("0.8"), D("0.9")), "radius"),
        ((D(500), D(-9), D("0.8"), D("0.9")), "gauge"),
        ((D(500), D("Infinity"), D("0.8"), D("0.9")), "gauge"),
        ((D(500), D(9), D("-0.8"), D("0.9")), "least flangeway"),
        ((D(500), D(9), D("0.9"), D("0.8")), "exchange"),
    ],
)
def test_flangeway_for_radius_when_given_nonsense_then_is_refused(given_, words) -> None:
    with pytest.raises(ImpossibleGeometry, match=words):
        flangeway_for_radius(*given_)


def test_flangeway_for_radius_when_the_least_is_nothing_then_is_nothing() -> None:
    assert flangeway_for_radius(D(500), D(9), D(0), D("0.9")) == 0


def test_flangeway_for_radius_when_the_track_is_straight_then_is_the_least() -> None:
    assert flangeway_for_radius(D("Infinity"), D(9), D("0.8"), D("0.9")) == D("0.8")


# --- Sheets -------------------------------------------------------------------------------------


def limit(code: str, low: str | None = None, high: str | None = None) -> Limit:
    return Limit(
        code,
        None if low is None else D(low),
        None if high is None else D(high),
        None,
        sheet="invented",
        row="invented",
        unit="mm",
        printed={},
    )


def test_sheets_agree_when_nothing_is_held_then_every_limit_is_named() -> None:
    found = {each.relation: each for each in sheets_agree({}, {}, frog_number=6)}

    assert {each.holds for each in found.values()} == {None}
    assert {each.margin for each in found.values()} == {None}
    assert found[Relation.POINT].not_held == ("track.check_gauge min", "wheel.wheel_check max")
    assert found[Relation.PLAY].not_held == (
        "track.track_gauge min",
        "wheel.flange_thickness max",
        "wheel.wheel_check max",
    )
    assert found[Relation.DROP_IN].not_held == (
        "track.track_gauge max",
        "wheel.tyre_width min",
        "wheel.back_to_back min",
        "wheel.flange_thickness min",
    )
    assert found[Relation.SUPPORT].not_held == ("wheel.tyre_width min", "track.flangeway max")


def test_sheets_agree_when_the_flange_is_not_held_then_only_proof_counts() -> None:
    """Without the flange, B min + N min can show that a wheelset spans the gauge, never that it
    does not."""
    wheel = {
        "back_to_back": limit("back_to_back", "14.4"),
        "tyre_width": limit("tyre_width", "2.8"),
    }
    for gauge, holds in (("17.1", True), ("17.2", None), ("17.3", None)):
        track = {"track_gauge": limit("track_gauge", "16.5", gauge)}
        found = {each.relation: each for each in sheets_agree(wheel, track)}[Relation.DROP_IN]
        assert found.holds is holds
        assert found.not_held == (() if holds else ("wheel.flange_thickness min",))


def test_sheets_agree_when_the_gauge_is_just_filled_then_there_is_no_play() -> None:
    wheel = {
        "over_flanges": limit("over_flanges", high="16.5"),
        "tyre_width": limit("tyre_width", "2.8"),
    }
    for gauge, holds in (("16.49", False), ("16.5", False), ("16.51", True)):
        found = sheets_agree(wheel, {"track_gauge": limit("track_gauge", gauge)})
        play = next(each for each in found if each.relation is Relation.PLAY)
        assert play.holds is holds
        assert play.margin == D(gauge) - D("16.5")


def test_sheets_agree_when_the_gauge_is_just_spanned_then_the_wheelset_drops_in() -> None:
    wheel = {
        "wheel_check": limit("wheel_check", "15.1"),
        "tyre_width": limit("tyre_width", "2.8"),
    }
    for gauge, holds in (("17.89", True), ("17.9", False), ("17.91", False)):
        found = sheets_agree(wheel, {"track_gauge": limit("track_gauge", "16.5", gauge)})
        drop_in = next(each for each in found if each.relation is Relation.DROP_IN)
        assert drop_in.holds is holds
        assert drop_in.margin == D("17.9") - D(gauge)
