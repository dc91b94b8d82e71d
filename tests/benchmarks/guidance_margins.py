"""How long every margin of many vehicles on many turnouts takes, against NumPy in the same run.

    python -m tests.benchmarks.guidance_margins

Invented vehicles of four wheelsets and invented turnouts from a fixed seed, HO by size; wheels and
gauges are measured four times with a caliper, the rest once, so that most margins go by Student's
distribution. Check gauge and span follow from gauge and flangeways.

The rival writes the same seven sums out over whole arrays of floating-point numbers, with the
Student distribution of SciPy; it gets its arrays ready before the clock starts. Ours keeps exact
decimals and finds the worst of each vehicle on each turnout. Every worst margin, its probability
and its outcome have to be the rival's, and for a sample of pairs every margin in full, else the
program ends in an error.
"""

import math
import os
import platform
import random
import sys
import time
from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import numpy.typing as npt
import scipy
from scipy.special import stdtr

from standards.conformity import Outcome
from standards.guidance import Cell, Relation, Way, Wheels, grid, margins
from standards.metrology import Measured, evaluate
from standards.turnouts import frog_angle

SIZES = ((100, 30), (1000, 50))
WHEELSETS = 4
SAMPLE = 500
SEED = 1879
CALIPER = {"max_error": Decimal("0.03"), "resolution": Decimal("0.01")}
FAR, NEAR = 1e-9, 1e-12
"""How far floating point may be from exact decimals in mm, and in a probability."""

Array = npt.NDArray[np.float64]


def measured(chance: random.Random, about: float, scatter: float, times: int) -> Measured:
    """A dimension in mm, measured so many times with a caliper."""
    true = chance.gauss(about, scatter)
    readings = [
        Decimal(round(100 * abs(chance.gauss(true, 0.02)))).scaleb(-2) for _ in range(times)
    ]
    return evaluate(readings, **CALIPER)


def invented(vehicles: int, turnouts: int) -> tuple[list[list[Wheels]], list[Way]]:
    """So many invented vehicles and turnouts."""
    chance = random.Random(SEED)
    stock = [
        [
            Wheels(
                measured(chance, 14.42, 0.06, 4),
                measured(chance, 0.76, 0.03, 4),
                measured(chance, 0.65, 0.05, 4),
                measured(chance, 2.79, 0.04, 4),
            )
            for _ in range(WHEELSETS)
        ]
        for _ in range(vehicles)
    ]
    ways = [
        Way(
            track_gauge=measured(chance, 16.62, 0.08, 4),
            flangeway=measured(chance, 1.20, 0.05, 1),
            flangeway_guard=measured(chance, 1.20, 0.05, 1),
            flangeway_depth=measured(chance, 0.95, 0.08, 1),
            rail_height=measured(chance, 2.11, 0.01, 1),
            fastening_height=measured(chance, 0.70, 0.08, 1),
            frog_number=chance.choice([4, 5, 6, 8]),
        )
        for _ in range(turnouts)
    ]
    return stock, ways


class Dimension:
    """One dimension of everything as three arrays: value, u and degrees of freedom."""

    def __init__(self, of: Sequence[Measured], shape: tuple[int, int]) -> None:
        self.value: Array = np.array([float(each.value) for each in of]).reshape(shape)
        self.u: Array = np.array([each.u for each in of]).reshape(shape)
        self.dof: Array = np.array([each.dof for each in of]).reshape(shape)


Factor = float | Array
Sums = dict[Relation, tuple[Array, Array, Array, Array]]
"""By relation, wheelsets down and turnouts across: margin, u, degrees of freedom, probability."""


def summed(*terms: tuple[Factor, Dimension]) -> tuple[Array, Array, Array, Array]:
    """One sum over whole arrays, by GUM 5.1.2 and G.4.1."""
    value = sum(factor * each.value for factor, each in terms)
    shares = [(factor * each.u) ** 2 for factor, each in terms]
    variance = sum(shares)
    fourth = sum(share**2 / each.dof for share, (_, each) in zip(shares, terms, strict=True))
    with np.errstate(divide="ignore"):
        dof = variance**2 / fourth
    u = np.sqrt(variance)
    return value, u, dof, stdtr(np.minimum(dof, 1e15), value / u)


def arrays(stock: list[list[Wheels]], ways: list[Way]) -> dict[str, Dimension | Array]:
    """Everything measured as arrays; not part of what is timed."""
    every = [wheels for vehicle in stock for wheels in vehicle]
    down, across = (len(every), 1), (1, len(ways))
    wheel = {
        letter: Dimension([getattr(each, code) for each in every], down)
        for letter, code in {
            "B": "back_to_back",
            "T": "flange_thickness",
            "D": "flange_depth",
            "N": "tyre_width",
        }.items()
    }
    track = {
        letter: Dimension([getattr(each, code) for each in ways], across)
        for letter, code in {
            "G": "track_gauge",
            "F": "flangeway",
            "Fg": "flangeway_guard",
            "H": "flangeway_depth",
            "rail": "rail_height",
            "spikes": "fastening_height",
        }.items()
    }
    angles = [math.cos(frog_angle(each.frog_number or 0)) for each in ways]
    return {**wheel, **track, "secant": 1 / np.array(angles).reshape(across)}


def rival(a: dict) -> Sums:
    """Every margin of every wheelset on every turnout."""
    b, t, d, n, g, f, guard = (a[letter] for letter in ("B", "T", "D", "N", "G", "F", "Fg"))
    secant = a["secant"]
    by_play = summed((1, n), (1, b), (1, t), (-1, g), (-secant, f))
    by_wing = summed((1, n), (-1 - secant, f))
    by_rail = summed((1, n), (-1, t), (-secant, f))
    by_wing = tuple(each + np.zeros_like(by_play[0]) for each in by_wing)
    # Equal ones are equal only to rounding here; the first counts among them.
    larger = by_play[0] >= by_wing[0] - FAR
    support = [np.where(larger, x, y) for x, y in zip(by_play, by_wing, strict=True)]
    hard = by_rail[0] < support[0] - FAR
    return {
        Relation.PLAY: summed((1, g), (-1, b), (-2, t)),
        Relation.POINT: summed((1, g), (-1, guard), (-1, b), (-1, t)),
        Relation.SPAN: summed((1, b), (-1, g), (1, guard), (1, f)),
        Relation.DEPTH: summed((1, a["H"]), (-1, d)),
        Relation.SUPPORT: tuple(
            np.where(hard, x, y) for x, y in zip(by_rail, support, strict=True)
        ),
        Relation.DROP_IN: summed((1, b), (1, n), (1, t), (-1, g)),
        Relation.FASTENINGS: summed((1, a["rail"]), (-1, a["spikes"]), (-1, d)),
    }


def worst_of(sums: Sums, vehicles: int, turnouts: int) -> tuple[Array, Array]:
    """Margin and probability of the worst of each vehicle on each turnout."""
    shape = (len(sums), vehicles, WHEELSETS, turnouts)
    values = np.array([each[0] for each in sums.values()]).reshape(shape)
    chances = np.array([each[3] for each in sums.values()]).reshape(shape)
    # Relations and wheelsets in one line, of which the least probability counts.
    values = values.transpose(1, 3, 0, 2).reshape(vehicles, turnouts, -1)
    chances = chances.transpose(1, 3, 0, 2).reshape(vehicles, turnouts, -1)
    at = chances.argmin(axis=2)[..., None]
    return (
        np.take_along_axis(values, at, axis=2)[..., 0],
        np.take_along_axis(chances, at, axis=2)[..., 0],
    )


def check_grid(cells: tuple[tuple[Cell, ...], ...], values: Array, chances: Array) -> None:
    """Raises RuntimeError where the worst of the two differ."""
    for row, in_row, chances_in_row in zip(cells, values, chances, strict=True):
        for cell, value, chance in zip(row, in_row, chances_in_row, strict=True):
            says = Outcome.UNDECIDED
            if chance >= 0.95:
                says = Outcome.WITHIN
            elif chance <= 0.05:
                says = Outcome.OUTSIDE
            is_same = (
                cell.margin is not None
                and cell.probability is not None
                and abs(cell.probability - chance) < NEAR
                and cell.outcome is says
                and abs(float(cell.margin) - value) < FAR
            )
            if not is_same:
                raise RuntimeError(f"{cell} here, {value} mm and {chance} there.")


def check_margins(stock: list[list[Wheels]], ways: list[Way], sums: Sums) -> tuple[int, float]:
    """Every margin of a sample of pairs in full: how many, and in how many seconds.

    Raises RuntimeError where one differs."""
    every = [wheels for vehicle in stock for wheels in vehicle]
    chance = random.Random(SEED)
    pairs = [(chance.randrange(len(every)), chance.randrange(len(ways))) for _ in range(SAMPLE)]
    begin = time.process_time()
    found = [margins(every[at], ways[on]) for at, on in pairs]
    seconds = time.process_time() - begin
    count = 0
    for (at, on), of_pair in zip(pairs, found, strict=True):
        for each in of_pair:
            value, u, dof, chance_there = (part[at, on] for part in sums[each.relation])
            mine = each.margin
            is_same = (
                mine is not None
                and each.probability is not None
                and abs(float(mine.value) - value) < FAR
                and math.isclose(mine.u, u, rel_tol=1e-12)
                and math.isclose(mine.dof, dof, rel_tol=1e-9)
                and abs(each.probability - chance_there) < NEAR
            )
            if not is_same:
                raise RuntimeError(f"{each} here, {value} mm and {chance_there} there.")
            count += 1
    return count, seconds


def broadcast(sums: Sums, shape: tuple[int, int]) -> Sums:
    """Sums that do not depend on one side spread over it."""
    return {
        relation: tuple(np.broadcast_to(part, shape) for part in parts)  # type: ignore[misc]
        for relation, parts in sums.items()
    }


def main() -> int:
    """Print the table."""
    print(
        f"Python {platform.python_version()}, NumPy {np.__version__}, SciPy {scipy.__version__}, "
        f"{os.cpu_count()} cores. Processor time of one run of each; every result "
        "equal."
    )
    rival(arrays(*invented(1, 1)))  # what it loads the first time is not counted
    head = ("vehicles", "turnouts", "margins", "ours, worst", "NumPy, all", "ratio", "in full")
    print("".join(f"{each:>13}" for each in head))
    for vehicles, turnouts in SIZES:
        stock, ways = invented(vehicles, turnouts)
        ready = arrays(stock, ways)

        begin = time.process_time()
        cells = grid(stock, ways)
        ours_s = time.process_time() - begin

        begin = time.process_time()
        sums = broadcast(rival(ready), (vehicles * WHEELSETS, turnouts))
        values, chances = worst_of(sums, vehicles, turnouts)
        rival_s = time.process_time() - begin

        check_grid(cells, values, chances)
        count, seconds = check_margins(stock, ways, sums)
        number = vehicles * WHEELSETS * turnouts * len(sums)
        print(
            f"{vehicles:>13}{turnouts:>13}{number:>13,}{ours_s:>11.2f} s{rival_s:>11.3f} s"
            f"{ours_s / rival_s:>12.1f}x{1e6 * seconds / count:>10.0f} µs",
            flush=True,
        )
        said = [cell.outcome for row in cells for cell in row]
        shares = ", ".join(f"{each} {said.count(each) / len(said):.0%}" for each in Outcome)
        print(f"{'':>13}{shares}")
    print("In full: one margin of `margins`, with its terms and in words.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
