"""How long the best cut takes, against a general solver asked the same question in the same run.

    python -m tests.benchmarks.best_cut

Two sets of invented lengths from a fixed seed: any from 40.0 to 300.0 mm, to a tenth of a
millimetre, of which some cut nearly always fills the room; and awkward ones, multiples of 9.7 mm
and a single vehicle of 40.1 mm, of which none does, so that less than full has to be proved.

The rival is CP-SAT of Google OR-Tools on all cores of the machine. By length it is asked for the
fullest cut and no more, while ours also finds the fewest vehicles and the earliest of equal cuts
in its time; by count both find the most vehicles and among those the fullest cut. For every row
CP-SAT has to prove its optimum and both have to agree on it, else the program ends in an error.
"""

import os
import platform
import random
import statistics
import sys
import time
from collections.abc import Callable
from decimal import Decimal
from typing import Literal

import ortools
from ortools.sat.python import cp_model

from inventory.track.fitting import Candidate, best_cut, in_mm

By = Literal["length", "count"]
Question = Callable[[list[Candidate], int, By], tuple[int, int]]

NUMBERS = (25, 250, 2500)
ROOMS_MM = (500, 1000, 2000, 6000)
SEED = 1879
OURS_REPEATS = 5
MOST_SECONDS = 300.0


def vehicles(number: int, *, are_awkward: bool = False) -> list[Candidate]:
    """So many invented vehicles."""
    lengths = random.Random(SEED)
    in_tenths = [lengths.randint(400, 3000) for _ in range(number)]
    if are_awkward:
        in_tenths = [401, *(97 * lengths.randint(5, 30) for _ in range(number - 1))]
    return [
        Candidate(key, str(key), in_mm(length), "", "fit to run", Decimal(9))
        for key, length in enumerate(in_tenths)
    ]


def ours(candidates: list[Candidate], room_mm: int, by: By) -> tuple[int, int]:
    """Number of vehicles, 0 where it is not asked for, and length in tenths of a millimetre."""
    cut = best_cut(candidates, Decimal(room_mm), by=by)
    return len(cut) if by == "count" else 0, int(cut.taken_mm.scaleb(1))


def rival(candidates: list[Candidate], room_mm: int, by: By) -> tuple[int, int]:
    """The same from CP-SAT. Raises RuntimeError where it does not prove it in time."""
    lengths = [int((candidate.length_mm or Decimal(0)).scaleb(1)) for candidate in candidates]
    room = 10 * room_mm
    # One more vehicle is worth more than any length.
    each = room + 1 if by == "count" else 0
    model = cp_model.CpModel()
    chosen = [model.new_bool_var("") for _ in lengths]
    model.add(cp_model.LinearExpr.weighted_sum(chosen, lengths) <= room)
    worths = [length + each for length in lengths]
    model.maximize(cp_model.LinearExpr.weighted_sum(chosen, worths))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = MOST_SECONDS
    if solver.solve(model) != cp_model.OPTIMAL:
        raise RuntimeError(f"CP-SAT proved no optimum within {MOST_SECONDS:g} s.")
    objective = round(solver.objective_value)
    return divmod(objective, each) if each else (0, objective)


def timed(
    question: Question, candidates: list[Candidate], room_mm: int, by: By, repeats: int
) -> tuple[tuple[int, int], float]:
    """The answer, and the median of the times in milliseconds."""
    times = []
    answer = (0, 0)
    for _ in range(repeats):
        begin = time.perf_counter()
        answer = question(candidates, room_mm, by)
        times.append(1000 * (time.perf_counter() - begin))
    return answer, statistics.median(times)


def compare(title: str, by: By, *, are_awkward: bool) -> None:
    """Print one table, and how ours grows. Raises RuntimeError where the two disagree."""
    print(f"\n{title}")
    print(f"{'vehicles':>8} {'room':>6} {'filled':>10} {'ours':>10} {'CP-SAT':>12} {'ratio':>9}")
    ours_ms: dict[tuple[int, int], float] = {}
    for number in NUMBERS:
        candidates = vehicles(number, are_awkward=are_awkward)
        for room_mm in ROOMS_MM:
            mine, milliseconds = timed(ours, candidates, room_mm, by, OURS_REPEATS)
            proved, rival_ms = timed(rival, candidates, room_mm, by, 1)
            if mine != proved:
                raise RuntimeError(f"{number} into {room_mm} mm: {mine} here, {proved} there.")
            ours_ms[number, room_mm] = milliseconds
            print(
                f"{number:>8} {room_mm / 1000:>4g} m {in_mm(mine[1]):>7} mm "
                f"{milliseconds:>7.1f} ms {rival_ms:>9.1f} ms {rival_ms / milliseconds:>8.1f}x",
                flush=True,
            )
    print("Growth of ours in ms, tenfold the vehicles a line and twelvefold the room across:")
    print(f"{'':>8}" + "".join(f"{room_mm / 1000:>8g} m" for room_mm in ROOMS_MM))
    for number in NUMBERS:
        times = "".join(f"{ours_ms[number, room_mm]:>10.1f}" for room_mm in ROOMS_MM)
        print(f"{number:>8}{times}")


def main() -> int:
    """Print the tables."""
    print(
        f"Python {platform.python_version()}, OR-Tools {ortools.__version__}, "
        f"{os.cpu_count()} cores. Median of {OURS_REPEATS} runs of ours, one of CP-SAT; "
        "every optimum proved and equal."
    )
    rival(vehicles(2), 100, "length")  # what it loads the first time is not counted
    compare("By length, any lengths", "length", are_awkward=False)
    compare("By length, awkward lengths", "length", are_awkward=True)
    compare("By count, any lengths", "count", are_awkward=False)
    return 0


if __name__ == "__main__":
    sys.exit(main())
