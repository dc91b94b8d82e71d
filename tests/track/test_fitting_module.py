"""What fits a track, why the rest does not, and the best cut, to a tenth of a millimetre."""

import random
from dataclasses import replace
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ortools.sat.python import cp_model

from inventory.track.fitting import (
    Candidate,
    Code,
    CutImpossible,
    TrackLimits,
    best_cut,
    doubts,
    fill,
    in_mm,
    refusals,
    taken,
    tenths,
)

BOXCAR = Candidate(
    key=1,
    name="Alder Creek 1104",
    length_mm=Decimal("140.0"),
    kind="boxcar",
    service="fit to run",
    gauge_mm=Decimal("16.5"),
    height_mm=Decimal("51.2"),
    minimum_radius_mm=381.0,
)
SIDING = TrackLimits(name="Mill siding", clear_mm=Decimal(640), gauge_mm=Decimal("16.5"))
ROOM = Decimal(640)


def cars(*lengths_mm: object) -> list[Candidate]:
    """Cars of these lengths in mm, with keys from 1."""
    return [
        replace(
            BOXCAR,
            key=key,
            name=f"car {key}",
            length_mm=None if length is None else Decimal(str(length)),
        )
        for key, length in enumerate(lengths_mm, start=1)
    ]


def codes(found) -> list[Code]:
    return [refusal.code for refusal in found]


# --- Tenths -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length", "up", "down"),
    [
        ("140", 1400, 1400),
        ("140.0", 1400, 1400),
        ("140.01", 1401, 1400),
        ("140.09", 1401, 1400),
        ("140.1", 1401, 1401),
        ("0", 0, 0),
        ("-0.01", 0, -1),
        ("-12.34", -123, -124),
        ("1E+3", 10000, 10000),
        ("640.00000000000000000000000000000000000000001", 6401, 6400),
        ("639.99999999999999999999999999999999999999999", 6400, 6399),
    ],
)
def test_tenths_when_rounded_then_vehicles_go_up_and_tracks_down(length, up, down) -> None:
    assert tenths(Decimal(length), up=True) == up
    assert tenths(Decimal(length), up=False) == down


@pytest.mark.parametrize("length", ["NaN", "Infinity", "-Infinity"])
def test_tenths_when_not_finite_then_refuse(length) -> None:
    with pytest.raises(ValueError, match="is no length"):
        tenths(Decimal(length), up=True)


def test_taken_when_length_and_slack_are_fine_then_rounds_their_sum_once() -> None:
    assert taken(Decimal("140.04"), Decimal("0.06")) == 1401
    assert taken(Decimal("140.04"), Decimal("0.07")) == 1402
    assert taken(Decimal("140.04")) == 1401


def test_taken_when_slack_is_below_zero_then_refuses() -> None:
    with pytest.raises(ValueError, match="no slack of a coupling"):
        taken(Decimal(140), Decimal("-0.1"))


@pytest.mark.parametrize("length", ["0", "-1", "NaN"])
def test_taken_when_length_is_none_of_a_vehicle_then_refuses(length) -> None:
    with pytest.raises(ValueError, match="no length of a vehicle"):
        taken(Decimal(length))


# --- What a vehicle and a track can be --------------------------------------------------------


@pytest.mark.parametrize(
    "wrong",
    [
        {"length_mm": Decimal(0)},
        {"length_mm": Decimal(-140)},
        {"length_mm": Decimal("NaN")},
        {"gauge_mm": Decimal(0)},
        {"height_mm": Decimal("Infinity")},
        {"minimum_radius_mm": float("nan")},
        {"minimum_radius_mm": 0.0},
        {"service": "resting"},
    ],
)
def test_candidate_when_a_figure_cannot_be_then_refuses(wrong) -> None:
    with pytest.raises(ValueError):
        replace(BOXCAR, **wrong)


@pytest.mark.parametrize(
    "wrong",
    [
        {"clear_mm": Decimal(-1)},
        {"clear_mm": Decimal("NaN")},
        {"gauge_mm": Decimal(0)},
        {"radius_mm": Decimal(0)},
        {"height_mm": Decimal(-3)},
        {"spots": -1},
    ],
)
def test_track_limits_when_a_figure_cannot_be_then_refuse(wrong) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        replace(SIDING, **wrong)


# --- Refusals ---------------------------------------------------------------------------------


def test_refusals_when_everything_suits_then_none() -> None:
    limits = replace(
        SIDING,
        radius_mm=Decimal(381),
        height_mm=Decimal("51.2"),
        kinds=frozenset({"boxcar"}),
        spots=1,
    )

    assert refusals(BOXCAR, limits, Decimal("140.0")) == []


@pytest.mark.parametrize(
    ("room", "found"),
    [("140.1", []), ("140.0", []), ("139.99", [Code.NO_ROOM]), ("-20", [Code.NO_ROOM])],
)
def test_refusals_when_room_is_just_over_on_or_under_then_only_under_refuses(room, found) -> None:
    assert codes(refusals(BOXCAR, SIDING, Decimal(room))) == found


def test_refusals_when_too_long_for_the_room_left_then_says_by_how_much() -> None:
    (refusal,) = refusals(BOXCAR, SIDING, Decimal("128.0"))

    assert refusal.code is Code.NO_ROOM
    assert refusal.words == "12.0 mm too long for the room left"
    assert (refusal.miss_mm, refusal.has_mm, refusal.allows_mm) == (
        Decimal("12.0"),
        Decimal("140.0"),
        Decimal("128.0"),
    )


def test_refusals_when_longer_than_the_whole_track_then_says_so_instead() -> None:
    (refusal,) = refusals(BOXCAR, replace(SIDING, clear_mm=Decimal("128.0")), Decimal("60.0"))

    assert refusal.code is Code.TOO_LONG
    assert refusal.words == "12.0 mm too long for the track"
    assert refusal.miss_mm == Decimal("12.0")


def test_refusals_when_slack_is_added_then_counts_against_the_room() -> None:
    (refusal,) = refusals(BOXCAR, SIDING, Decimal(140), slack_mm=Decimal("1.5"))

    assert refusal.miss_mm == Decimal("1.5")


def test_refusals_when_no_length_was_measured_then_says_to_measure() -> None:
    (refusal,) = refusals(replace(BOXCAR, length_mm=None), SIDING, ROOM)

    assert refusal.code is Code.NO_LENGTH
    assert refusal.words == "no length over couplers measured; measure it"
    assert refusal.miss_mm is None


@pytest.mark.parametrize(
    ("service", "because", "code", "words"),
    [
        ("bad order", "", Code.BAD_ORDER, "bad order"),
        ("bad order", "loose coupler", Code.BAD_ORDER, "bad order: loose coupler"),
        ("awaiting inspection", "", Code.AWAITING, "awaiting inspection"),
        ("fit to run", "on show until May", Code.HELD, "held: on show until May"),
    ],
)
def test_refusals_when_not_to_run_then_give_the_reason(service, because, code, words) -> None:
    held = replace(BOXCAR, service=service, held_because=because)

    (refusal,) = refusals(held, SIDING, ROOM)

    assert (refusal.code, refusal.words) == (code, words)


def test_refusals_when_fit_with_advice_then_none() -> None:
    assert refusals(replace(BOXCAR, service="fit with advice"), SIDING, ROOM) == []


def test_refusals_when_gauges_differ_then_name_both() -> None:
    (refusal,) = refusals(replace(BOXCAR, gauge_mm=Decimal(9)), SIDING, ROOM)

    assert refusal.code is Code.GAUGE
    assert refusal.words == "its gauge is 9.0 mm, the track's 16.5 mm"


def test_refusals_when_gauge_has_more_zeros_then_is_the_same_gauge() -> None:
    assert refusals(replace(BOXCAR, gauge_mm=Decimal("16.500")), SIDING, ROOM) == []


@pytest.mark.parametrize(
    ("radius", "found"), [("381.1", []), ("381", []), ("380.9", [Code.RADIUS])]
)
def test_refusals_when_radius_is_just_over_on_or_under_then_only_under_refuses(
    radius, found
) -> None:
    limits = replace(SIDING, radius_mm=Decimal(radius))

    assert codes(refusals(BOXCAR, limits, ROOM)) == found


def test_refusals_when_minimum_radius_has_the_noise_of_a_float_then_it_decides_nothing() -> None:
    noisy = replace(BOXCAR, minimum_radius_mm=381.0 + 1e-9)

    assert refusals(noisy, replace(SIDING, radius_mm=Decimal(381)), ROOM) == []


def test_refusals_when_curve_is_too_tight_then_name_both_radii() -> None:
    (refusal,) = refusals(BOXCAR, replace(SIDING, radius_mm=Decimal("304.8")), ROOM)

    assert refusal.words == "needs a radius of 381.0 mm; the curve has 304.8 mm"
    assert refusal.miss_mm == Decimal("76.2")


@pytest.mark.parametrize(
    ("height", "found"), [("51.21", []), ("51.2", []), ("51.19", [Code.HEIGHT])]
)
def test_refusals_when_door_is_just_over_on_or_under_then_only_under_refuses(
    height, found
) -> None:
    assert codes(refusals(BOXCAR, replace(SIDING, height_mm=Decimal(height)), ROOM)) == found


def test_refusals_when_too_tall_then_says_by_how_much_as_fine_as_measured() -> None:
    (refusal,) = refusals(BOXCAR, replace(SIDING, height_mm=Decimal("51.15")), ROOM)

    assert refusal.words == "0.05 mm too tall for the door of 51.15 mm"


def test_refusals_when_industry_takes_other_kinds_then_name_them() -> None:
    (refusal,) = refusals(BOXCAR, replace(SIDING, kinds=frozenset({"tank car", "hopper"})), ROOM)

    assert refusal.code is Code.KIND
    assert refusal.words == "a boxcar; taken here: hopper, tank car"


def test_refusals_when_kind_is_spelled_in_capitals_then_is_the_same_kind() -> None:
    assert refusals(BOXCAR, replace(SIDING, kinds=frozenset({" Boxcar "})), ROOM) == []


@pytest.mark.parametrize(
    ("spots", "free", "found"),
    [
        (None, None, []),
        (2, None, []),
        (2, 1, []),
        (2, 0, [Code.NO_SPOT]),
        (0, None, [Code.NO_SPOT]),
        (None, 0, [Code.NO_SPOT]),
    ],
)
def test_refusals_when_spots_are_counted_then_only_none_left_refuses(spots, free, found) -> None:
    limits = replace(SIDING, spots=spots)

    assert codes(refusals(BOXCAR, limits, ROOM, free_spots=free)) == found


def test_refusals_when_much_is_wrong_then_give_every_reason() -> None:
    limits = TrackLimits(
        "Cold store",
        Decimal(100),
        Decimal(9),
        radius_mm=Decimal(200),
        height_mm=Decimal(40),
        kinds=frozenset({"reefer"}),
        spots=0,
    )

    assert codes(refusals(replace(BOXCAR, service="bad order"), limits, Decimal(100))) == [
        Code.BAD_ORDER,
        Code.GAUGE,
        Code.TOO_LONG,
        Code.NO_SPOT,
        Code.RADIUS,
        Code.HEIGHT,
        Code.KIND,
    ]


def test_doubts_when_figures_were_never_measured_then_name_what_could_refuse() -> None:
    limits = replace(SIDING, radius_mm=Decimal(381), height_mm=Decimal(52))
    unknown = replace(BOXCAR, height_mm=None, minimum_radius_mm=None)

    assert refusals(unknown, limits, ROOM) == []
    assert codes(doubts(unknown, limits)) == [Code.RADIUS, Code.HEIGHT]
    assert [doubt.words for doubt in doubts(unknown, limits)] == [
        "whether it goes round 381.0 mm is not known",
        "no height measured; the door is 52.0 mm high",
    ]


def test_doubts_when_everything_is_known_or_nothing_limits_then_none() -> None:
    limits = replace(SIDING, radius_mm=Decimal(381), height_mm=Decimal(52))

    assert doubts(BOXCAR, limits) == []
    assert doubts(replace(BOXCAR, height_mm=None, minimum_radius_mm=None), SIDING) == []


# --- The best cut by example ------------------------------------------------------------------


def test_best_cut_when_longest_first_would_fall_short_then_fills_the_siding() -> None:
    cut = best_cut(cars(140, 140, 152, 168, 175, 205, 210, 255, 298), Decimal(640))

    assert [car.length_mm for car in cut.vehicles] == [175, 210, 255]
    assert (cut.taken_mm, cut.left_mm, len(cut)) == (Decimal("640.0"), Decimal("0.0"), 3)


def test_best_cut_when_a_hundredth_is_missing_then_that_cut_does_not_fit() -> None:
    cut = best_cut(cars(175, 210, 255), Decimal("639.99"))

    assert cut.keys == (2, 3)
    assert (cut.room_mm, cut.left_mm) == (Decimal("639.9"), Decimal("174.9"))


def test_best_cut_when_measured_to_hundredths_then_each_vehicle_is_rounded_up() -> None:
    lengths = ("100.01", "100.01", "100.01")

    assert len(best_cut(cars(*lengths), Decimal("300.29"))) == 2
    assert best_cut(cars(*lengths), Decimal("300.3")).taken_mm == Decimal("300.3")


def test_best_cut_when_equally_long_then_takes_fewest_vehicles() -> None:
    assert best_cut(cars(100, 100, 100, 200), Decimal(300)).keys == (1, 4)


def test_best_cut_when_still_equal_then_the_last_vehicle_comes_earliest() -> None:
    assert best_cut(cars(100, 60, 40, 70, 30, 100), Decimal(100)).keys == (1,)
    assert best_cut(cars(60, 30, 70, 40), Decimal(100)).keys == (2, 3)
    assert best_cut(cars(140, 140, 140), Decimal(300)).keys == (1, 2)


def test_best_cut_when_by_count_then_takes_most_vehicles_and_of_those_the_longest() -> None:
    cut = best_cut(cars(300, 100, 110, 90, 120), Decimal(330), by="count")

    assert cut.keys == (2, 3, 5)
    assert cut.left_mm == Decimal("0.0")


def test_best_cut_when_everything_fits_then_takes_everything_that_was_measured() -> None:
    assert best_cut(cars(100, None, 110), Decimal(10**9)).keys == (1, 3)


@pytest.mark.parametrize("by", ["length", "count"])
def test_best_cut_when_there_is_nothing_to_take_then_is_empty(by) -> None:
    assert best_cut([], ROOM, by=by).keys == ()
    assert best_cut(cars(140), Decimal("139.9"), by=by).left_mm == Decimal("139.9")
    assert best_cut(cars(140), Decimal(0), by=by).keys == ()
    assert best_cut(cars(140), ROOM, by=by, most=0).keys == ()


def test_best_cut_when_track_is_overfull_already_then_is_empty_with_that_much_missing() -> None:
    cut = best_cut(cars(140), Decimal("-12.3"))

    assert (cut.keys, cut.left_mm) == ((), Decimal("-12.3"))


def test_best_cut_when_slack_is_given_then_each_vehicle_takes_it_too() -> None:
    assert best_cut(cars(100, 100, 98), Decimal(200)).keys == (1, 2)
    cut = best_cut(cars(100, 100, 98), Decimal(200), slack_mm=Decimal(1))
    assert (cut.keys, cut.taken_mm) == ((1, 3), Decimal("200.0"))


def test_best_cut_when_spots_are_fewer_then_takes_the_longest_that_still_fit() -> None:
    lengths = (140, 140, 152, 168, 175, 205, 210, 255, 298)

    assert best_cut(cars(*lengths), Decimal(640), most=3).left_mm == 0
    assert best_cut(cars(*lengths), Decimal(640), most=2).keys == (8, 9)
    assert best_cut(cars(*lengths), Decimal(540), most=2).keys == (7, 9)
    assert best_cut(cars(*lengths), Decimal(540), most=2, by="count").keys == (7, 9)


def test_best_cut_when_vehicles_must_be_in_it_then_fills_the_rest_best() -> None:
    lengths = (140, 140, 152, 168, 175, 205, 210, 255, 298)

    cut = best_cut(cars(*lengths), Decimal(640), must_include=frozenset({9}))

    # Of the 342 left beside the longest, 152 + 175 take 327; 168 + 175 would be one too many.
    assert (cut.keys, cut.taken_mm) == ((3, 5, 9), Decimal("625.0"))


def test_best_cut_when_those_that_must_be_in_it_do_not_fit_then_says_by_how_much() -> None:
    with pytest.raises(CutImpossible, match=r"12\.5 mm too long together"):
        best_cut(cars("140.5", 140), Decimal(268), must_include=frozenset({1, 2}))


def test_best_cut_when_those_that_must_be_in_it_just_fit_then_they_are_the_cut() -> None:
    cut = best_cut(cars(140, 140, 50), Decimal(280), must_include=frozenset({1, 2}))

    assert (cut.keys, cut.left_mm) == ((1, 2), Decimal("0.0"))


def test_best_cut_when_one_that_must_be_in_it_has_no_length_then_names_it() -> None:
    with pytest.raises(CutImpossible, match=r"was measured of car 2; measure it first"):
        best_cut(cars(140, None), ROOM, must_include=frozenset({2}))


def test_best_cut_when_those_that_must_be_in_it_outnumber_the_spots_then_says_so() -> None:
    with pytest.raises(CutImpossible, match=r"2 vehicles have to be in the cut, with 1 spots"):
        best_cut(cars(40, 40), ROOM, must_include=frozenset({1, 2}), most=1)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"must_include": frozenset({7})}, "No candidates: 7"),
        ({"most": -1}, "at most -1"),
        ({"by": "weight"}, "by length or by count"),
        ({"slack_mm": Decimal(-1)}, "no slack"),
        ({"room_mm": Decimal("NaN")}, "no length"),
    ],
)
def test_best_cut_when_asked_the_impossible_then_refuses_in_words(wrong, words) -> None:
    question = {"room_mm": ROOM, **wrong}

    with pytest.raises(ValueError, match=words):
        best_cut(cars(140), **question)


def test_best_cut_when_two_have_one_key_then_refuses() -> None:
    with pytest.raises(ValueError, match="same key"):
        best_cut([BOXCAR, BOXCAR], ROOM)


# --- The best cut against the outside ---------------------------------------------------------


def tried_out(lengths: list[int], room: int, most: int, by_count: bool) -> list[int]:
    """The best choice by trying every one, ties included."""

    def worth(places: tuple[int, ...]) -> tuple[object, ...]:
        total = sum(lengths[place] for place in places)
        first = (len(places), total) if by_count else (total, -len(places))
        return (*first, [-place for place in reversed(places)])

    choices = (
        places
        for count in range(min(most, len(lengths)) + 1)
        for places in combinations(range(len(lengths)), count)
        if sum(lengths[place] for place in places) <= room
    )
    return list(max(choices, key=worth))


@pytest.mark.parametrize("longest", [4, 12, 60, 3000])
@pytest.mark.parametrize("by_count", [False, True])
def test_fill_when_every_choice_is_tried_then_is_the_same(longest, by_count) -> None:
    some = random.Random(longest + by_count)
    for _ in range(250):
        lengths = [some.randint(1, longest) for _ in range(some.randint(1, 10))]
        room = some.randint(0, sum(lengths) + 1)
        most = some.choice([len(lengths), some.randint(0, len(lengths))])

        expected = tried_out(lengths, room, most, by_count)

        assert fill(lengths, room, most, by_count=by_count) == expected, (lengths, room, most)


def solved(lengths: list[int], room: int, most: int, by_count: bool) -> tuple[int, int]:
    """Number and total of the best choice as CP-SAT of OR-Tools proves it."""
    model = cp_model.CpModel()
    chosen = [model.new_bool_var("") for _ in lengths]
    number = sum(chosen)
    total = cp_model.LinearExpr.weighted_sum(chosen, lengths)
    model.add(total <= room)
    model.add(number <= most)
    if by_count:
        model.maximize(number * (room + 1) + total)
    else:
        model.maximize(total * (len(lengths) + 1) - number)
    solver = cp_model.CpSolver()
    assert solver.solve(model) == cp_model.OPTIMAL
    places = [i for i, variable in enumerate(chosen) if solver.boolean_value(variable)]
    return len(places), sum(lengths[i] for i in places)


@pytest.mark.parametrize("by_count", [False, True])
@pytest.mark.parametrize(
    ("number", "low", "high", "step", "room", "most"),
    [
        (30, 400, 3000, 1, 9973, 30),
        (80, 900, 3200, 1, 20000, 80),
        (80, 900, 3200, 1, 20000, 9),
        (150, 400, 3000, 1, 60000, 150),
        (150, 400, 3000, 1, 60000, 25),
        (150, 40, 300, 10, 59997, 150),
        (40, 20, 60, 35, 19999, 40),
        (300, 1400, 1410, 1, 10000, 6),
    ],
)
def test_fill_when_a_general_solver_is_asked_then_it_agrees(
    number, low, high, step, room, most, by_count
) -> None:
    """Against CP-SAT of Google OR-Tools, which proves its optimum."""
    some = random.Random(number * room + most)
    lengths = [step * some.randint(low, high) for _ in range(number)]

    found = fill(lengths, room, most, by_count=by_count)

    total = sum(lengths[place] for place in found)
    assert (len(found), total) == solved(lengths, room, most, by_count)


# --- The best cut whatever is asked -----------------------------------------------------------

patient = settings(deadline=None)
LENGTHS = st.lists(
    st.decimals(min_value="20", max_value="330", places=2, allow_nan=False), max_size=40
)
ROOMS = st.decimals(min_value="0", max_value="3000", places=2)
SLACKS = st.sampled_from([Decimal(0), Decimal("0.35"), Decimal("1.5")])
WAYS = st.sampled_from(["length", "count"])


@patient
@given(LENGTHS, ROOMS, SLACKS, WAYS, st.none() | st.integers(0, 12))
def test_best_cut_whatever_is_asked_then_never_exceeds_room_or_spots(
    lengths, room, slack, by, most
) -> None:
    cut = best_cut(cars(*lengths), room, slack_mm=slack, by=by, most=most)

    assert sum((car.length_mm + slack for car in cut.vehicles), Decimal(0)) <= cut.taken_mm
    assert cut.taken_mm <= room
    assert most is None or len(cut) <= most
    assert list(cut.keys) == sorted(set(cut.keys))


@patient
@given(LENGTHS, ROOMS, st.decimals(min_value="0", max_value="500", places=2), SLACKS)
def test_best_cut_when_room_grows_then_never_worsens(lengths, room, more, slack) -> None:
    for by, worth in (("length", lambda cut: cut.taken_mm), ("count", len)):
        less = best_cut(cars(*lengths), room, slack_mm=slack, by=by)
        grown = best_cut(cars(*lengths), room + more, slack_mm=slack, by=by)

        assert worth(grown) >= worth(less)


@patient
@given(LENGTHS, ROOMS, st.decimals(min_value="20", max_value="330", places=2), st.integers(0, 9))
def test_best_cut_when_a_vehicle_is_added_then_never_worsens(lengths, room, more, most) -> None:
    before, after = cars(*lengths), cars(*lengths, more)

    assert best_cut(after, room).taken_mm >= best_cut(before, room).taken_mm
    assert best_cut(after, room, most=most).taken_mm >= best_cut(before, room, most=most).taken_mm
    most_before = best_cut(before, room, by="count")
    most_after = best_cut(after, room, by="count")
    assert (len(most_after), most_after.taken_mm) >= (len(most_before), most_before.taken_mm)


@patient
@given(LENGTHS, ROOMS, WAYS, st.data())
def test_best_cut_when_some_must_be_in_it_then_they_are_or_it_says_why(
    lengths, room, by, data
) -> None:
    keys = [0, *range(1, len(lengths) + 1)]
    must = frozenset(data.draw(st.lists(st.sampled_from(keys), max_size=6))) - {0}
    together = sum(taken(lengths[key - 1]) for key in must)

    if must and together > tenths(room, up=False):
        with pytest.raises(CutImpossible, match="too long together"):
            best_cut(cars(*lengths), room, must_include=must, by=by)
        return
    cut = best_cut(cars(*lengths), room, must_include=must, by=by)

    assert must <= set(cut.keys)
    assert cut.taken_mm <= room
    free = best_cut(cars(*lengths), room, by=by)
    assert (cut.taken_mm if by == "length" else len(cut)) <= (
        free.taken_mm if by == "length" else len(free)
    )


@patient
@given(LENGTHS, ROOMS, WAYS)
def test_best_cut_when_asked_twice_then_gives_one_answer_that_needs_only_its_own(
    lengths, room, by
) -> None:
    cut = best_cut(cars(*lengths), room, by=by)

    assert best_cut(cars(*lengths), room, by=by) == cut
    assert best_cut(cut.vehicles, room, by=by) == cut


@pytest.mark.parametrize("by", ["length", "count"])
def test_best_cut_when_there_are_2500_vehicles_then_the_filled_room_is_true(by) -> None:
    some = random.Random(7)
    stock = cars(*(in_mm(some.randint(400, 3000)) for _ in range(2500)))

    cut = best_cut(stock, Decimal(6000), by=by)

    assert cut.taken_mm == sum(car.length_mm for car in cut.vehicles) == 6000
