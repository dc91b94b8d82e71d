"""Trains on tracks: where they fit, how often they are drawn, where two of them meet."""

from decimal import Decimal
from itertools import permutations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.track.fitting import Candidate, TrackLimits
from inventory.track.trains import (
    COMMON_PRACTICE,
    Room,
    Train,
    TrainImpossible,
    arrive,
    average_length,
    average_train,
    fit_path,
    fullness,
    meet,
    pulls,
    rotate,
    train_of,
    trains_held,
)

GAUGE = Decimal("16.5")
FREIGHT = Train("Freight", (Decimal(180),), (Decimal(140),) * 6)  # 1020 mm


def vehicle(key: int, length_mm: object, kind: str = "boxcar") -> Candidate:
    length = None if length_mm is None else Decimal(str(length_mm))
    return Candidate(key, f"vehicle {key}", length, kind, "fit to run", GAUGE)


def track(clear_mm: object, name: str = "track") -> TrackLimits:
    return TrackLimits(name, Decimal(str(clear_mm)), GAUGE)


def lengths_of(found) -> list[tuple[int, int, Decimal]]:
    return [(pull.first, pull.cars, pull.length_mm) for pull in found]


# --- How long a train is ----------------------------------------------------------------------


def test_train_when_made_of_vehicles_then_is_as_long_as_they_are() -> None:
    train = train_of("Way freight", [vehicle(1, "180.2")], [vehicle(2, 140), vehicle(3, "152.4")])

    assert train.length_mm == Decimal("472.6")
    assert train.cars_mm == (Decimal(140), Decimal("152.4"))


def test_train_when_vehicles_have_slack_then_each_one_adds_it() -> None:
    train = train_of("Way freight", [vehicle(1, 180)], [vehicle(2, 140)], slack_mm=Decimal("1.5"))

    assert train.length_mm == Decimal("323.0")


def test_train_when_measured_to_hundredths_then_is_rounded_up_vehicle_by_vehicle() -> None:
    assert Train("Drag", (), (Decimal("140.01"),) * 3).length_mm == Decimal("420.3")


def test_train_when_some_have_no_length_then_names_them() -> None:
    with pytest.raises(TrainImpossible, match="of vehicle 1, vehicle 3; measure"):
        train_of("Way freight", [vehicle(1, None)], [vehicle(2, 140), vehicle(3, None)])


def test_train_when_it_has_no_vehicle_then_is_none() -> None:
    with pytest.raises(TrainImpossible, match="neither a locomotive nor a car"):
        Train("Ghost", (), ())


@pytest.mark.parametrize(
    "wrong",
    [
        {"locomotives_mm": (Decimal(0),)},
        {"cars_mm": (Decimal(-1),)},
        {"cars_mm": (Decimal("NaN"),)},
        {"slack_mm": Decimal(-1)},
    ],
)
def test_train_when_a_length_cannot_be_then_refuses(wrong) -> None:
    with pytest.raises(ValueError):
        Train(**{"name": "Freight", "locomotives_mm": (), "cars_mm": (Decimal(140),), **wrong})


def test_average_train_when_asked_then_is_a_locomotive_and_so_many_cars() -> None:
    assert average_train("Plan", Decimal(180), 6, Decimal(140)).length_mm == Decimal("1020.0")
    assert average_train("Light", Decimal(180), 0, Decimal(140)).length_mm == Decimal("180.0")


def test_average_train_when_cars_are_below_zero_then_refuses() -> None:
    with pytest.raises(TrainImpossible, match="cannot have -1 cars"):
        average_train("Plan", Decimal(180), -1, Decimal(140))


def test_average_length_when_some_are_unmeasured_then_is_that_of_the_others_rounded_up() -> None:
    some = [vehicle(1, 140), vehicle(2, None), vehicle(3, 140), vehicle(4, "140.1")]

    assert average_length(some) == Decimal("140.1")
    assert average_length([vehicle(1, 140), vehicle(2, 141)]) == Decimal("140.5")


def test_average_length_when_none_was_measured_then_refuses() -> None:
    with pytest.raises(TrainImpossible, match="of any of them"):
        average_length([vehicle(1, None)])


# --- Along the line ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("clear", "left"),
    [("1020.1", "0.1"), ("1020", "0.0"), ("1019.99", "-0.1"), ("1000", "-20.0")],
)
def test_fit_path_when_track_is_just_over_on_or_under_then_says_what_is_left(clear, left) -> None:
    (fit,) = fit_path(FREIGHT, [track(clear)]).fits

    assert fit.left_mm == Decimal(left)
    assert fit.is_fitting == (Decimal(left) >= 0)


def test_fit_path_when_there_are_several_tracks_then_names_the_limiting_one() -> None:
    path = [track(2000, "loop"), track(1100, "yard"), track(1040, "staging"), track(1040, "spare")]

    found = fit_path(FREIGHT, path)

    assert found.limiting.track.name == "staging"
    assert found.limiting.left_mm == Decimal("20.0")
    assert found.is_fitting
    assert [fit.track.name for fit in found.fits] == ["loop", "yard", "staging", "spare"]


def test_fit_path_when_one_track_is_too_short_then_the_train_does_not_fit() -> None:
    found = fit_path(FREIGHT, [track(2000), track(900, "stub")])

    assert not found.is_fitting
    assert found.limiting.track.name == "stub"
    assert found.limiting.left_mm == Decimal("-120.0")


def test_fit_path_when_there_is_no_track_then_nothing_limits() -> None:
    found = fit_path(FREIGHT, [])

    assert (found.fits, found.limiting, found.is_fitting) == ((), None, True)


SHORT = Train("Local", (Decimal(180),), (Decimal(140),) * 2)  # 460 mm


def test_meet_when_only_the_shorter_fits_the_loop_then_it_holds_and_the_longer_passes() -> None:
    for pair in ((FREIGHT, SHORT), (SHORT, FREIGHT)):
        found = meet(*pair, Decimal(500))

        assert found.is_possible
        assert (found.holds, found.passes) == (SHORT, FREIGHT)
        assert found.left_mm == Decimal("40.0")
        assert not found.is_either


def test_meet_when_both_fit_the_loop_then_either_may_hold() -> None:
    assert meet(FREIGHT, SHORT, Decimal(1020)).is_either


@pytest.mark.parametrize(("loop", "possible"), [("460", True), ("459.9", False)])
def test_meet_when_loop_is_on_or_just_under_the_shorter_then_only_on_lets_them(
    loop, possible
) -> None:
    assert meet(FREIGHT, SHORT, Decimal(loop)).is_possible == possible


def test_meet_when_trains_are_equally_long_then_the_first_holds() -> None:
    twin = Train("Twin", (Decimal(180),), (Decimal(140),) * 2)

    assert meet(twin, SHORT, Decimal(460)).holds is twin


# --- The yard ---------------------------------------------------------------------------------


def test_pulls_when_the_lead_takes_the_train_then_is_one() -> None:
    assert lengths_of(pulls(FREIGHT, Decimal(1020))) == [(1, 6, Decimal("1020.0"))]


def test_pulls_when_the_lead_is_a_tenth_short_then_are_two() -> None:
    assert lengths_of(pulls(FREIGHT, Decimal("1019.9"))) == [
        (1, 5, Decimal("880.0")),
        (6, 1, Decimal("320.0")),
    ]


def test_pulls_when_dividing_lengths_would_say_fewer_then_whole_cars_count() -> None:
    """500 mm of cars over 300 mm beside the locomotive are two pulls by division; no two of
    these cars go together, so they are three."""
    train = Train("Drag", (Decimal(180),), (Decimal(160), Decimal(180), Decimal(160)))

    found = pulls(train, Decimal(480))

    assert [pull.cars for pull in found] == [1, 1, 1]
    assert [pull.first for pull in found] == [1, 2, 3]


def test_pulls_when_order_is_kept_then_may_be_more_than_sorted_cars_would_need() -> None:
    def number(*cars: int) -> int:
        train = Train("Drag", (Decimal(100),), tuple(map(Decimal, cars)))
        return len(pulls(train, Decimal(400)))

    assert number(200, 200, 100, 200, 100) == 3
    assert number(200, 100, 200, 100, 200) == 3
    assert number(200, 200, 200, 100, 100) == 4


def test_pulls_when_a_switcher_does_the_work_then_its_length_counts() -> None:
    assert len(pulls(FREIGHT, Decimal(560))) == 3
    assert len(pulls(FREIGHT, Decimal(560), switcher_mm=Decimal(100))) == 2


def test_pulls_when_vehicles_have_slack_then_the_locomotive_takes_it_too() -> None:
    train = Train("Drag", (Decimal(100),), (Decimal(100),) * 2, slack_mm=Decimal(1))

    assert len(pulls(train, Decimal(303))) == 1
    assert len(pulls(train, Decimal("302.9"))) == 2


def test_pulls_when_the_train_has_no_cars_then_none_is_needed() -> None:
    assert pulls(Train("Light", (Decimal(180),), ()), Decimal(0)) == ()


def test_pulls_when_a_car_does_not_go_with_the_locomotive_then_says_which_and_by_how_much() -> (
    None
):
    train = Train("Drag", (Decimal(180),), (Decimal(140), Decimal("298.5")))

    with pytest.raises(TrainImpossible, match=r"18\.5 mm too short .* with car 2"):
        pulls(train, Decimal(460))


@settings(deadline=None)
@given(
    st.lists(st.integers(40, 300), min_size=1, max_size=9),
    st.integers(340, 1500),
)
def test_pulls_whatever_the_train_then_none_is_needless(cars, lead) -> None:
    """Against every way to part the train: no other needs fewer pulls."""
    train = Train("Drag", (Decimal(40),), tuple(map(Decimal, cars)))

    found = pulls(train, Decimal(lead))

    assert sum(pull.cars for pull in found) == len(cars)
    assert all(pull.length_mm <= lead for pull in found)
    fewest = min(
        bin(parting).count("1") + 1
        for parting in range(1 << len(cars) - 1)
        if all(sum(cut) + 40 <= lead for cut in parted(cars, parting))
    )
    assert len(found) == fewest


def parted(cars: list[int], parting: int) -> list[list[int]]:
    """Cars in their order, parted behind each one whose bit is set."""
    cuts: list[list[int]] = [[]]
    for place, car in enumerate(cars):
        cuts[-1].append(car)
        if parting >> place & 1:
            cuts.append([])
    return [cut for cut in cuts if cut]


def test_arrive_when_there_is_no_arrival_track_then_the_lead_must_take_the_whole_train() -> None:
    """Common practice, no source."""
    assert arrive(FREIGHT, Decimal(1020)).is_whole
    short = arrive(FREIGHT, Decimal("1019.9"))
    assert not short.is_whole
    assert len(short.pulls) == 2
    assert short.basis == COMMON_PRACTICE == "common practice, no source"


def test_arrive_when_an_arrival_track_takes_the_train_then_a_short_lead_only_means_pulls() -> None:
    """Common practice, no source."""
    found = arrive(FREIGHT, Decimal(600), Decimal(1020))

    assert found.is_whole
    assert [pull.cars for pull in found.pulls] == [3, 3]


def test_arrive_when_the_arrival_track_is_too_short_as_well_then_comes_in_cuts() -> None:
    """Common practice, no source."""
    assert not arrive(FREIGHT, Decimal(600), Decimal(1000)).is_whole


@pytest.mark.parametrize(
    ("standing", "room", "percent"),
    [
        ("600", Room.PLENTY, "60.0"),
        ("600.1", Room.ENOUGH, "60.0"),
        ("700", Room.ENOUGH, "70.0"),
        ("700.1", Room.TIGHT, "70.0"),
        ("1000", Room.TIGHT, "100.0"),
        ("1000.1", Room.OVER, "100.0"),
    ],
)
def test_fullness_when_just_on_or_over_a_limit_then_is_decided_exactly(
    standing, room, percent
) -> None:
    """The rule of 60 to 70 percent: common practice, no source."""
    found = fullness([Decimal(standing)], [track(400), track(600)])

    assert (found.room, found.percent) == (room, Decimal(percent))
    assert found.basis == COMMON_PRACTICE


def test_fullness_when_asked_then_says_what_is_left_and_what_may_still_come() -> None:
    found = fullness([Decimal(140)] * 4, [track(400), track(600)], slack_mm=Decimal(1))

    assert found.clear_mm == Decimal("1000.0")
    assert found.standing_mm == Decimal("564.0")
    assert found.left_mm == Decimal("436.0")
    assert found.to_limit_mm == Decimal("136.0")
    assert found.percent == Decimal("56.4")


def test_fullness_when_nothing_stands_there_then_is_empty() -> None:
    assert fullness([], [track(1000)]).percent == 0


@pytest.mark.parametrize("tracks", [[], [track(0)], [track("0.09")]])
def test_fullness_when_there_is_no_clear_length_then_refuses(tracks) -> None:
    with pytest.raises(ValueError, match="neither full nor empty"):
        fullness([], tracks)


# --- Storage ----------------------------------------------------------------------------------


def test_trains_held_when_tracks_are_long_then_several_stand_behind_one_another() -> None:
    rooms = [Decimal(1020), Decimal("1019.9"), Decimal(2040), Decimal("2039.9"), Decimal(-2100)]

    assert trains_held(FREIGHT, rooms) == 1 + 0 + 2 + 1 + 0
    assert trains_held(FREIGHT, rooms, one_a_track=True) == 3
    assert trains_held(FREIGHT, []) == 0


def test_rotate_when_every_train_fits_then_as_many_as_there_are_pieces() -> None:
    """Removable storage rotates as many trains as it has pieces. Common practice, no source."""
    found = rotate([SHORT] * 5, [track(500)] * 3)

    assert len(found.stored) == 3
    assert len(found.left_over) == 2
    assert found.basis == COMMON_PRACTICE


def test_rotate_when_a_train_is_longer_than_its_piece_then_it_is_left_over() -> None:
    """No train is longer than its piece. Common practice, no source."""
    on, under = track(1020, "on"), track("1019.9", "under")

    assert rotate([FREIGHT], [under]).left_over == (FREIGHT,)
    assert rotate([FREIGHT], [under, on]).stored == ((FREIGHT, on),)


def test_rotate_when_a_short_train_could_take_a_long_piece_then_leaves_it_to_the_long_one() -> (
    None
):
    long, short = track(1100, "long"), track(500, "short")

    found = rotate([SHORT, FREIGHT], [long, short])

    assert found.stored == ((SHORT, short), (FREIGHT, long))


@settings(deadline=None)
@given(
    st.lists(st.integers(40, 90), max_size=5),
    st.lists(st.integers(40, 90), max_size=5),
)
def test_rotate_whatever_the_trains_then_stores_as_many_as_can_be(trains, pieces) -> None:
    """Against every order of the trains over the pieces."""
    found = rotate(
        [Train(str(length), (Decimal(length),), ()) for length in trains],
        [track(clear) for clear in pieces],
    )

    most = max(
        sum(train <= piece for train, piece in zip(order, pieces, strict=False))
        for order in permutations([*trains, *[999] * len(pieces)], len(pieces))
    )
    assert len(found.stored) == most
    assert len(found.stored) + len(found.left_over) == len(trains)
    assert all(train.length_mm <= piece.clear_mm for train, piece in found.stored)
