"""Car or track: what holds of any figures, what bad figures are told, and the words."""

import math
import re
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.trouble.evidence import (
    RATIO_PRIOR,
    Blame,
    EvidenceImpossible,
    Fit,
    Interval,
    Kind,
    Prior,
    Table,
    TwoSided,
    adjusted,
    benjamini_hochberg,
    benjamini_yekutieli,
    compare_rates,
    crossing,
    failure_rate,
    fit_prior,
    passages_to_show,
    poisson_at_least,
    rule_of_three,
    suspects,
)

counts = st.integers(0, 60)
exposures = st.floats(0.5, 1e5)
shares = st.lists(st.floats(0, 1), min_size=1, max_size=30)


@st.composite
def tables(draw: st.DrawFn) -> Table:
    """Small tables with at least one passage."""
    vehicles = [f"car {n}" for n in range(draw(st.integers(1, 4)))]
    places = [f"turnout {n}" for n in range(draw(st.integers(1, 4)))]
    passages, derailments = {}, {}
    for pair in product(vehicles, places):
        passages[pair] = draw(st.integers(0, 40))
        derailments[pair] = draw(st.integers(0, min(4, passages[pair])))
    passages[vehicles[0], places[0]] += 1
    return Table(passages, derailments)


def by_name(table: Table, kind: Kind) -> dict:
    return {each.name: each for each in adjusted(table, kind)}


# --- One rate ---------------------------------------------------------------------------------


@given(counts, exposures)
def test_rate_when_estimated_then_lies_inside_its_intervals(count: int, exposure: float) -> None:
    found = failure_rate(count, exposure)

    assert found.garwood.low <= found.rate <= found.garwood.high
    assert found.jeffreys.low < found.jeffreys_mean < found.jeffreys.high
    # Garwood is the wider: its ends are the gammas of x and x + 1 around that of x + 1/2.
    assert found.garwood.low < found.jeffreys.low
    assert found.jeffreys.high < found.garwood.high
    assert found.rate < found.upper < found.garwood.high


@given(counts, exposures, st.floats(0.1, 10))
def test_rate_when_exposure_is_counted_in_another_unit_then_only_the_unit_changes(
    count: int, exposure: float, factor: float
) -> None:
    here, there = failure_rate(count, exposure), failure_rate(count, exposure * factor)

    assert there.garwood.high * factor == pytest.approx(here.garwood.high)
    assert there.jeffreys.low * factor == pytest.approx(here.jeffreys.low)


@given(st.integers(1, 40), st.floats(0.5, 0.999))
def test_garwood_when_at_its_ends_then_each_tail_is_half_of_the_rest(
    count: int, confidence: float
) -> None:
    found = failure_rate(count, 1.0, confidence=confidence).garwood
    tail = (1 - confidence) / 2

    assert poisson_at_least(count, found.low) == pytest.approx(tail)
    assert 1 - poisson_at_least(count + 1, found.high) == pytest.approx(tail)


# --- Two rates --------------------------------------------------------------------------------


@given(counts, exposures, counts, exposures)
def test_comparison_when_turned_round_then_the_same_the_other_way(
    x: int, e: float, y: int, f: float
) -> None:
    here, there = compare_rates(x, e, y, f), compare_rates(y, f, x, e)

    assert here.p == pytest.approx(there.p, rel=1e-6)
    if x and y:
        assert here.interval.low == pytest.approx(1 / there.interval.high, rel=1e-6)
        assert here.interval.low < here.ratio < here.interval.high
    elif x:
        assert (here.ratio, here.interval.high, there.ratio) == (math.inf, math.inf, 0)
        assert there.interval.low == 0


@given(counts, counts, st.floats(0.05, 20))
def test_central_p_when_below_a_twentieth_then_the_interval_leaves_the_null_out(
    x: int, y: int, null: float
) -> None:
    found = compare_rates(x, 300, y, 700, null_ratio=null)
    inside = found.interval.low <= null <= found.interval.high

    if abs(found.p - 0.05) > 1e-6:
        assert inside == (found.p > 0.05)


def test_comparison_when_nothing_failed_then_there_is_no_ratio_and_no_bound() -> None:
    found = compare_rates(0, 10, 0, 20)

    assert found.ratio is None
    assert found.interval == Interval(0.0, math.inf)
    assert found.p == found.p_greater == 1
    assert compare_rates(0, 10, 0, 20, rule=TwoSided.MINLIKE).p == 1


# --- Shrinkage --------------------------------------------------------------------------------


@given(st.floats(0.1, 50), st.floats(1, 1e4), counts, exposures)
def test_shrunk_when_between_then_own_weight_says_where(
    a: float, b: float, x: int, e: float
) -> None:
    prior = Prior(a, b)
    found = prior.posterior(x, e)

    between = found.own_weight * x / e + (1 - found.own_weight) * prior.mean
    assert found.mean == pytest.approx(between)
    assert prior.probability_above(found.interval.low, x, e) == pytest.approx(0.975)
    assert prior.probability_above(found.interval.high, x, e) == pytest.approx(0.025)


@given(st.floats(0.1, 20), st.floats(1, 100), st.floats(0.1, 50))
def test_prediction_when_summed_then_is_whole_and_has_the_mean(
    a: float, b: float, e: float
) -> None:
    prior = Prior(a, b)
    rest = e / (b + e)
    most = int(50 + 60 * a * e / b + 40 / -math.log(rest))
    found = prior.predictive(most, e)

    assert sum(found) == pytest.approx(1, abs=1e-6)
    assert sum(k * p for k, p in enumerate(found)) == pytest.approx(prior.mean * e, rel=1e-4)


@pytest.mark.parametrize("fit", list(Fit))
def test_prior_when_the_fleet_is_known_then_comes_near_it(fit: Fit) -> None:
    chance = np.random.default_rng(1884)
    ran = chance.uniform(200, 1000, 3000)
    x = chance.poisson(chance.gamma(2.0, 0.01 / 2.0, 3000) * ran)
    found = fit_prior([int(each) for each in x], [float(each) for each in ran], fit=fit)

    assert found.shape == pytest.approx(2.0, rel=0.12)
    assert found.mean == pytest.approx(0.01, rel=0.05)
    assert fit in found.basis


@pytest.mark.parametrize("fit", list(Fit))
def test_prior_when_all_are_alike_then_is_worth_the_whole_record(fit: Fit) -> None:
    found = fit_prior([4, 4, 4, 4], [100, 100, 100, 100], fit=fit)

    assert (found.shape, found.exposure) == (16.0, 400.0)
    assert "no more spread" in found.basis


@pytest.mark.parametrize(
    ("x", "e"), [([0, 0, 0], [50, 60, 0]), ([2, 2], [10, 900]), ([1, 0, 0, 3], [5, 5, 5, 5])]
)
def test_prior_when_there_are_few_data_then_is_weak_and_never_zero(
    x: list[int], e: list[float]
) -> None:
    found = fit_prior(x, e)

    assert found.shape == 2
    assert found.mean == pytest.approx((sum(x) + 0.5) / sum(e))
    assert "too few" in found.basis


def test_prior_when_updated_then_as_though_all_came_at_once() -> None:
    found = Prior(2, 100).updated(1, 50).updated(3, 150)

    assert (found.shape, found.exposure) == (6, 300)


# --- Many at once -----------------------------------------------------------------------------


@given(shares, st.randoms(use_true_random=False))
def test_adjusted_p_when_shuffled_then_follows_its_p(p: list[float], chance) -> None:
    order = list(range(len(p)))
    chance.shuffle(order)
    found, shuffled = benjamini_hochberg(p), benjamini_hochberg([p[at] for at in order])

    assert shuffled == tuple(found[at] for at in order)
    assert all(before <= after <= 1 for before, after in zip(p, found, strict=True))
    assert all(a <= b for a, b in zip(found, benjamini_yekutieli(p), strict=True))


@given(shares, st.floats(0.01, 0.99))
def test_adjusted_p_when_compared_with_q_then_rejects_what_the_rule_of_1995_rejects(
    p: list[float], q: float
) -> None:
    ordered, m = sorted(p), len(p)
    # Away from ties between floats on both sides of the rule.
    if any(abs(each * m / i - q) < 1e-9 for i, each in enumerate(ordered, 1)):
        return
    largest = max((i for i, each in enumerate(ordered, 1) if each <= i * q / m), default=0)

    assert sum(each <= q for each in benjamini_hochberg(p)) == largest


# --- Car or track -----------------------------------------------------------------------------


@given(tables())
@settings(max_examples=60)
def test_expected_when_summed_then_as_many_as_derailed(table: Table) -> None:
    for kind in Kind:
        found = adjusted(table, kind)
        assert sum(each.expected for each in found) == pytest.approx(table.events)
        assert sum(each.crude for each in found) == pytest.approx(table.events)
        assert sum(each.observed for each in found) == table.events


@given(tables())
@settings(max_examples=60)
def test_table_when_turned_then_vehicles_and_places_change_places(table: Table) -> None:
    ran, fell = {}, {}
    for (i, vehicle), (j, place) in product(enumerate(table.vehicles), enumerate(table.places)):
        ran[place, vehicle] = int(table.passages[i, j])
        fell[place, vehicle] = int(table.derailments[i, j])
    turned = by_name(Table(ran, fell), Kind.PLACE)

    for name, each in by_name(table, Kind.VEHICLE).items():
        assert turned[name].p == pytest.approx(each.p, rel=1e-9)
        assert turned[name].expected == pytest.approx(each.expected)
        assert turned[name].crude_p == pytest.approx(each.crude_p)


@given(tables())
@settings(max_examples=40)
def test_exact_p_when_every_outcome_is_counted_then_is_the_same(table: Table) -> None:
    for row, each in enumerate(adjusted(table, Kind.VEHICLE)):
        chances = {0: 1.0}
        for column in range(len(table.places)):
            x = int(table.derailments[:, column].sum())
            share = table.passages[row, column] / table.passages[:, column].sum()
            after: dict[int, float] = {}
            for (so_far, p), k in product(chances.items(), range(x + 1)):
                more = math.comb(x, k) * share**k * (1 - share) ** (x - k)
                after[so_far + k] = after.get(so_far + k, 0.0) + p * more
            chances = after
        expected = sum(p for k, p in chances.items() if k >= each.observed)
        assert each.p == pytest.approx(expected, rel=1e-9)


@given(tables())
@settings(max_examples=100)
def test_suspects_when_asked_then_all_are_there_worst_first_with_words(table: Table) -> None:
    found = suspects(table)
    order = [(list(Blame).index(s.blame), s.figures.p) for s in found.suspects]

    assert len(found.suspects) == len(table.vehicles) + len(table.places)
    assert order == sorted(order)
    assert all(s.words.endswith(".") for s in found.suspects)
    assert found.sentence.endswith(".")
    if table.events == 0:
        assert "nobody is to blame" in found.sentence
        assert {s.blame for s in found.suspects} == {Blame.NOTHING}
    if found.crossing is not None:
        assert found.of(Blame.CANNOT_TELL)
        assert found.crossing.doubt_after < found.crossing.doubt_before


def test_suspects_when_chance_alone_is_at_work_then_seldom_accuses() -> None:
    chance = np.random.default_rng(5)
    accused = 0
    for _ in range(300):
        ran = {
            (f"car {i}", f"turnout {j}"): int(chance.integers(0, 80))
            for i, j in product(range(12), range(6))
        }
        fell = {pair: int(chance.binomial(n, 0.004)) for pair, n in ran.items()}
        accused += bool(suspects(Table(ran, fell)).of(Blame.CULPRIT))

    # Two questions at 5 % each; more than 45 of 300 would be beyond three standard deviations.
    assert accused < 45


EVEN = dict.fromkeys(product(("A", "B", "C", "D"), ("T1", "T2", "T3")), 40)


def test_bad_car_when_it_derails_everywhere_then_is_the_culprit() -> None:
    found = suspects(Table(EVEN, {("D", "T1"): 3, ("D", "T2"): 3, ("D", "T3"): 2, ("A", "T2"): 1}))

    assert found.sentence == "D is the likelier culprit."
    assert found.suspects[0].words == (
        "8 derailments in 120 passages, 2.2 expected for where it ran: more than chance explains."
    )
    assert found.crossing is None


def test_culprit_when_found_then_no_crossed_run_is_asked_for() -> None:
    fell = {(c, "T2"): 5 for c in "ABC"} | {("A", "T1"): 4, ("B", "T3"): 1}
    found = suspects(Table(EVEN, fell), 0.01)

    assert [s.name for s in found.of(Blame.CULPRIT)] == ["T2"]
    assert found.crossing is None


def test_both_when_each_stands_out_then_both_are_named() -> None:
    fell = {("D", t): 6 for t in ("T1", "T3")} | {(c, "T2"): 6 for c in "ABC"} | {("D", "T2"): 12}
    found = suspects(Table(EVEN, fell))

    assert {s.name for s in found.of(Blame.CULPRIT)} == {"D", "T2"}
    assert found.sentence.endswith(
        "are the likelier culprits: each stands out even after allowing for the other."
    )


# D does nearly all that is done at T2, and nothing much elsewhere.
TOGETHER = Table(
    {
        ("D", "T2"): 45,
        ("D", "T1"): 3,
        ("A", "T2"): 5,
        ("A", "T1"): 60,
        ("B", "T1"): 60,
    },
    {("D", "T2"): 6},
)


def test_confounded_when_one_car_did_most_of_a_place_then_says_so_and_which_run_tells() -> None:
    found = suspects(TOGETHER)

    assert found.sentence == (
        "Cannot tell yet whether D or T2 is to blame: "
        "D made 45 of the 50 passages over T2, so one can be taken for the other."
    )
    assert {s.name for s in found.of(Blame.CANNOT_TELL)} == {"D", "T2"}
    assert [(c.vehicle, c.place) for c in found.confounded] == [("D", "T2")]
    assert found.confounded[0].share_of_place == pytest.approx(0.9)
    assert found.crossing is not None
    # 6 in 45 shows itself within 23 passages: 22.5 = 3 / (6 / 45), with 2.9957 for the 3.
    assert found.crossing.words == (
        "Run B over T2 and D over T1, about 23 passages each: so far D made 45 of the 50 "
        "passages over T2. Trouble that follows D is in the vehicle; trouble that stays at T2 "
        "is in the track."
    )


def test_crossing_when_every_swap_is_tried_in_full_then_leaves_the_least_doubt() -> None:
    """Against adding the runs to the table and inverting afresh."""
    chance = np.random.default_rng(8)
    vehicles, places = [f"v{i}" for i in range(5)], [f"p{j}" for j in range(4)]
    for _ in range(10):
        ran = {pair: int(chance.integers(1, 90)) for pair in product(vehicles, places)}
        found = crossing(Table(ran, {("v0", "p0"): 1}), "v0", "p0", passages=25)
        fleet = 1.5 / sum(ran.values())

        def doubt(more: dict, ran: dict = ran, fleet: float = fleet) -> float:
            """Variance of v0 less p0, each passage a row of a weighted regression."""
            rows, worth = [], []
            for (v, p), n in ran.items():
                row = np.zeros(10)
                row[[vehicles.index(v), 5 + places.index(p), 9]] = 1
                rows.append(row)
                worth.append(fleet * (n + more.get((v, p), 0)))
            x = np.array(rows)
            free = np.diag([*[1 / 0.6449340668482264] * 9, 1e-6])  # trigamma of 2, from memory
            v = np.linalg.inv(x.T * np.array(worth) @ x + free)
            return float(v[0, 0] + v[5, 5] - 2 * v[0, 5]) / (2 * 0.6449340668482264)

        tried = {
            (v, p): doubt({(v, "p0"): 25, ("v0", p): 25})
            for v, p in product(vehicles[1:], places[1:])
        }
        assert found is not None
        assert found.doubt_before == pytest.approx(doubt({}), rel=1e-6)
        assert found.doubt_after == pytest.approx(min(tried.values()), rel=1e-6)
        best = tried[found.other_vehicle, found.other_place]
        assert best == pytest.approx(min(tried.values()), rel=1e-6)


def test_crossing_when_there_is_nobody_to_swap_with_then_none() -> None:
    assert crossing(Table({("D", "T1"): 5, ("D", "T2"): 5}, {}), "D", "T1") is None
    assert crossing(Table({("D", "T1"): 5, ("E", "T1"): 5}, {}), "D", "T1") is None


def test_crossing_when_others_are_suspects_then_takes_those_that_are_not() -> None:
    free = crossing(TOGETHER, "D", "T2")
    assert free is not None
    found = crossing(TOGETHER, "D", "T2", avoiding=frozenset({(Kind.VEHICLE, free.other_vehicle)}))

    assert found is not None
    assert {free.other_vehicle, found.other_vehicle} == {"A", "B"}


# --- Words when little is known ---------------------------------------------------------------


def test_no_derailments_when_asked_then_nobody_is_blamed_and_more_running_is_named() -> None:
    found = suspects(Table({("A", "T1"): 400, ("D", "T1"): 80}, {}))

    assert found.sentence == (
        "No derailment in 480 passages: nobody is to blame. On the whole there is less than one "
        "in 160 passages (95 % sure). A vehicle that derails once in 100 passages shows it "
        "within 300; D has run least, and needs 220 more."
    )
    assert found.crossing is None


def test_no_derailments_when_all_ran_enough_then_says_so() -> None:
    found = suspects(Table({("A", "T1"): 400, ("D", "T1"): 300}, {}))

    assert found.sentence.endswith("Every vehicle has run enough to show one in 100.")


def test_one_derailment_when_asked_then_nothing_stands_out() -> None:
    found = suspects(Table(EVEN, {("D", "T2"): 1}))

    assert found.sentence == (
        "Nothing stands out: 1 derailment in 480 passages, spread as chance may spread them."
    )


def test_single_vehicle_when_asked_then_says_that_there_is_nothing_to_compare_with() -> None:
    found = suspects(Table({("D", "T1"): 50, ("D", "T2"): 50}, {("D", "T1"): 1}))

    assert found.sentence.endswith("Only D ran; run another vehicle too, to compare it with.")


def test_a_few_against_one_car_when_among_many_then_too_little_to_accuse() -> None:
    ran = {(f"car {n:02}", t): 40 for n, t in product(range(25), ("T1", "T2"))}
    fell = {("car 07", "T1"): 1, ("car 07", "T2"): 1, ("car 03", "T1"): 1}
    found = suspects(Table(ran, fell))

    assert found.sentence == (
        "Cannot tell yet: car 07 is worst, with 2 derailments where 0.1 would be expected, "
        "too little to accuse it."
    )
    # At T1 X ~ Bin(2, 1/25), at T2 Bin(1, 1/25): 3 / 625 less what is counted twice, by hand.
    assert found.suspects[0].figures.p == pytest.approx((3 * 24 + 1) / 25**3)
    assert found.suspects[0].adjusted_p == pytest.approx(25 * (3 * 24 + 1) / 25**3)


def test_idle_when_never_run_then_is_kept_apart() -> None:
    table = Table({("A", "T1"): 5, ("B", "T1"): 0, ("A", "T9"): 0}, {("B", "T1"): 0})

    assert (table.vehicles, table.places) == (("A",), ("T1",))
    assert table.idle == ((Kind.PLACE, "T9"), (Kind.VEHICLE, "B"))


# --- Bad figures ------------------------------------------------------------------------------

PAIR = ("Mill 7", "T2")


@pytest.mark.parametrize(
    ("passages", "derailments", "words"),
    [
        ({PAIR: 2}, {PAIR: 3}, "Mill 7 at T2: 3 derailments in 2 passages cannot be; add"),
        ({}, {PAIR: 1}, "Mill 7 at T2: 1 derailment in 0 passages cannot be; add"),
        ({PAIR: -1}, {}, "passages of Mill 7 over T2: -1 cannot be; type a whole number"),
        ({PAIR: 1.5}, {}, "passages of Mill 7 over T2: 1.5 cannot be; type a whole number"),
        ({PAIR: True}, {}, "passages of Mill 7 over T2: True cannot be; type a whole number"),
        ({PAIR: 9}, {PAIR: -2}, "derailments of Mill 7 at T2: -2 cannot be; type a whole"),
        ({PAIR: 9}, {PAIR: "2"}, "derailments of Mill 7 at T2: '2' cannot be; type a whole"),
        ({PAIR: 9}, {PAIR: math.nan}, "derailments of Mill 7 at T2: nan cannot be; type a"),
    ],
)
def test_table_when_figures_cannot_be_then_says_which(
    passages: dict, derailments: dict, words: str
) -> None:
    with pytest.raises(EvidenceImpossible, match=re.escape(words)):
        Table(passages, derailments)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: suspects(Table({}, {})), "No passages are recorded; record some running"),
        (lambda: suspects(Table({PAIR: 0}, {})), "No passages are recorded"),
        (lambda: adjusted(Table({}, {}), Kind.PLACE), "No passages are recorded"),
        (lambda: suspects(TOGETHER, 1.0), "q: 1.0 cannot be"),
        (lambda: crossing(TOGETHER, "Z", "T2"), "No passages of the vehicle Z"),
        (lambda: crossing(TOGETHER, "D", "T8"), "No passages of the place T8"),
        (lambda: crossing(TOGETHER, "D", "T2", passages=0), "passages: 0 tell nothing"),
        (lambda: failure_rate(2, 0), "2 failures without any running cannot be"),
        (lambda: failure_rate(0, 0), "exposure: 0 cannot be; give an amount above 0"),
        (lambda: failure_rate(-1, 10), "count: -1 cannot be"),
        (lambda: failure_rate(1, math.inf), "exposure: inf cannot be"),
        (lambda: failure_rate(1, 10, confidence=1), "confidence: 1 cannot be"),
        (lambda: rule_of_three(0), "exposure: 0 cannot be"),
        (lambda: passages_to_show(0), "A rate of 0 never shows"),
        (lambda: compare_rates(1, 10, 1, 10, null_ratio=0), "A null ratio of 0"),
        (lambda: compare_rates(1, 10, 1, 0), "1 failures without any running"),
        (lambda: Prior(0, 1), "A prior's shape cannot be 0"),
        (lambda: Prior(1, math.nan), "A prior's exposure cannot be nan"),
        (lambda: RATIO_PRIOR.posterior(1, 0), "1 failures without any running"),
        (lambda: fit_prior([], []), "one count and one exposure for each"),
        (lambda: fit_prior([1], [2, 3]), "one count and one exposure for each"),
        (lambda: fit_prior([0, 0], [0, 0]), "Nothing of this fleet has run"),
        (lambda: benjamini_hochberg([0.5, 1.2]), "A p of 1.2 cannot be"),
        (lambda: benjamini_hochberg([math.nan]), "A p of nan cannot be"),
        (lambda: poisson_at_least(1, -1), "-1 events cannot be expected"),
    ],
)
def test_figures_when_they_cannot_be_then_the_words_say_which(call, words: str) -> None:
    with pytest.raises(EvidenceImpossible, match=re.escape(words)):
        call()


def test_nothing_when_adjusted_for_many_then_stays_nothing() -> None:
    assert benjamini_hochberg([]) == ()
