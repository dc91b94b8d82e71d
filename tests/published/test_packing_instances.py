"""Packing problems with known answers, told in vehicles and tracks, a unit of theirs to the mm.

The data are those of John Burkardt's collections SUBSET_SUM, PARTITION_PROBLEM and BIN_PACKING
(people.sc.fsu.edu/~jburkardt/datasets). Answers that he does not print were found by trying all
choices, as said beside them.
"""

from decimal import Decimal
from itertools import combinations

import pytest

from inventory.track.assigning import Aim, OpenTrack, assign
from inventory.track.fitting import Candidate, TrackLimits, best_cut

GAUGE = Decimal("16.5")


def cars(lengths: list[int]) -> list[Candidate]:
    return [
        Candidate(key, str(key), Decimal(length), "boxcar", "fit to run", GAUGE)
        for key, length in enumerate(lengths)
    ]


def chosen(lengths: list[int], room: int, **how) -> list[int]:
    """The lengths of the best cut, in the order given."""
    return [int(car.length_mm) for car in best_cut(cars(lengths), Decimal(room), **how).vehicles]


def hits(lengths: list[int], target: int) -> list[tuple[int, ...]]:
    """Every choice, by its places, that makes the target exactly."""
    places = range(len(lengths))
    return [
        choice
        for count in range(len(lengths) + 1)
        for choice in combinations(places, count)
        if sum(lengths[place] for place in choice) == target
    ]


# --- SUBSET_SUM: weights, target, number of choices that hit it, and the one of fewest ---------

SUBSET_SUMS = {
    # Burkardt prints all three: 15+22+16, 22+14+9+8, 15+14+16+8.
    "P01": ([15, 22, 14, 26, 32, 9, 16, 8], 53, 3, [15, 22, 16]),
    # Burkardt prints this one; that it is the only one is by trying all.
    "P02": (
        [267, 493, 869, 961, 1000, 1153, 1246, 1598, 1766, 1922],
        5842,
        1,
        [869, 961, 1000, 1246, 1766],
    ),
    # By trying all: two, which differ in which of the 3s they take.
    "P04": ([41, 34, 21, 20, 8, 7, 7, 4, 3, 3], 50, 2, [21, 8, 7, 7, 4, 3]),
    # By trying all, or from the binary digits of 22.
    "P06": ([1, 2, 4, 8, 16, 32], 22, 1, [2, 4, 16]),
}


@pytest.mark.parametrize("problem", SUBSET_SUMS)
def test_best_cut_when_asked_a_subset_sum_of_burkardt_then_hits_its_target(problem) -> None:
    """SUBSET_SUM, the target as the clear length: the track is filled to the last tenth."""
    weights, target, _, solution = SUBSET_SUMS[problem]

    assert chosen(weights, target) == solution
    assert sum(solution) == target


@pytest.mark.parametrize("problem", SUBSET_SUMS)
def test_subset_sums_of_burkardt_when_all_are_tried_then_have_so_many_solutions(problem) -> None:
    """SUBSET_SUM: guards the data as typed here."""
    weights, target, number, _ = SUBSET_SUMS[problem]

    assert len(hits(weights, target)) == number


def test_best_cut_when_fewest_of_p01_is_barred_then_finds_the_next() -> None:
    """SUBSET_SUM P01, solution 22+14+9+8 as Burkardt prints it, with the 14 and the 9 bound."""
    weights = SUBSET_SUMS["P01"][0]

    assert chosen(weights, 53, must_include=frozenset({2, 5})) == [22, 14, 9, 8]


# --- PARTITION_PROBLEM: half of the whole is hit ------------------------------------------------

PARTITIONS = [
    # Number of solutions as Burkardt prints it, each with its complement counted.
    ([19, 17, 13, 9, 6], 32, 2),
    ([484, 114, 205, 288, 506, 503, 201, 127, 410], 1419, 2),
    ([771, 121, 281, 854, 885, 734, 486, 1003, 83, 62], 2640, 2),
    # By trying all.
    ([2, 10, 3, 8, 5, 7, 9, 5, 3, 2], 27, 46),
    ([3, 4, 3, 1, 3, 2, 3, 2, 1], 11, 48),
]


@pytest.mark.parametrize(("weights", "half", "number"), PARTITIONS)
@pytest.mark.parametrize("by", ["length", "count"])
def test_best_cut_when_asked_a_partition_of_burkardt_then_halves_the_train(
    weights, half, number, by
) -> None:
    """PARTITION_PROBLEM: half of the train fills a track of half its length."""
    solutions = hits(weights, half)
    assert (sum(weights), len(solutions)) == (2 * half, number)

    cut = chosen(weights, half, by=by)

    if by == "length":
        assert sum(cut) == half
        assert len(cut) == min(map(len, solutions))
    else:
        assert len(cut) >= max(map(len, solutions))


@pytest.mark.parametrize(("weights", "half", "number"), PARTITIONS)
def test_assign_when_asked_a_partition_of_burkardt_then_fills_both_tracks(
    weights, half, number
) -> None:
    """PARTITION_PROBLEM: two tracks of half the length hold the whole train."""
    found = assign(tracks(2, half), cars(weights), {}, time_limit_s=60)

    assert found.left_over == ()
    assert set(found.room_left_mm.values()) == {Decimal("0.0")}
    assert found.is_proved_best


# --- BIN_PACKING: the fewest tracks that hold everything ----------------------------------------

BIN_PACKINGS = {
    # capacity, items, fewest bins; the optimum by exhaustive search.
    "P01": (100, [70, 60, 50, 33, 33, 33, 11, 7, 3], 4),
    "P03": (100, [49, 41, 34, 33, 29, 26, 26, 22, 20, 19], 3),
    "P04": (
        524,
        [
            *[442],
            *[252] * 7,
            *[127] * 5,
            *[106] * 4,
            *[85, 84, 46],
            *[37] * 2,
            *[12] * 3,
            *[10] * 6,
            *[9] * 2,
        ],
        7,
    ),
}


def tracks(number: int, room: int) -> list[OpenTrack]:
    return [
        OpenTrack(key, TrackLimits(f"track {key}", Decimal(room), GAUGE), Decimal(room))
        for key in range(number)
    ]


def first_fit_decreasing(items: list[int], capacity: int) -> int:
    """How many bins the usual rule of thumb needs."""
    left: list[int] = []
    for item in sorted(items, reverse=True):
        place = next((place for place, room in enumerate(left) if room >= item), None)
        if place is None:
            left.append(capacity - item)
        else:
            left[place] -= item
    return len(left)


@pytest.mark.parametrize("problem", BIN_PACKINGS)
def test_assign_when_given_the_fewest_bins_of_burkardt_then_places_everything(problem) -> None:
    """BIN_PACKING: as many tracks as the optimum has bins."""
    capacity, items, fewest = BIN_PACKINGS[problem]

    found = assign(tracks(fewest, capacity), cars(items), {}, time_limit_s=60)

    assert found.left_over == ()
    assert len(found.placements) == len(items)
    assert found.is_proved_best


@pytest.mark.parametrize("problem", BIN_PACKINGS)
def test_assign_when_given_one_bin_fewer_then_proves_that_something_is_left_over(problem) -> None:
    """BIN_PACKING: one track fewer than the optimum does not do, and that is proved."""
    capacity, items, fewest = BIN_PACKINGS[problem]

    found = assign(tracks(fewest - 1, capacity), cars(items), {}, time_limit_s=60)

    assert len(found.left_over) >= 1
    assert Aim.PLACED in found.proved


def test_assign_when_given_p04_then_fills_every_track_to_the_last_tenth() -> None:
    """BIN_PACKING P04: the items are seven times the capacity, so no bin has room left."""
    capacity, items, fewest = BIN_PACKINGS["P04"]
    assert (len(items), sum(items)) == (33, fewest * capacity)

    found = assign(tracks(fewest, capacity), cars(items), {}, time_limit_s=60)

    assert set(found.room_left_mm.values()) == {Decimal("0.0")}


def test_assign_when_longest_first_needs_a_fourth_bin_for_p03_then_does_with_three() -> None:
    """BIN_PACKING P03: first-fit-decreasing needs 4, the optimum is 3 (49+29+22, 41+33+26,
    34+26+20+19)."""
    capacity, items, fewest = BIN_PACKINGS["P03"]

    assert first_fit_decreasing(items, capacity) == fewest + 1
    assert assign(tracks(3, capacity), cars(items), {}).left_over == ()


# --- A siding -----------------------------------------------------------------------------------


def test_best_cut_when_asked_to_fill_the_siding_of_640_then_finds_what_longest_first_misses() -> (
    None
):
    """Worked out apart from this program by trying all: 640 = 175 + 210 + 255, where taking the
    longest first stops at 298 + 255 = 553."""
    lengths = [140, 140, 152, 168, 175, 205, 210, 255, 298]

    assert chosen(lengths, 640) == [175, 210, 255]
    assert [choice for choice in hits(lengths, 640) if len(choice) <= 3] == [(4, 6, 7)]
