"""How often the first suspect is the right one, against simple rules in the same run.

    python -m tests.benchmarks.first_suspect [seasons]

Invented seasons from a fixed seed: 12 to 30 cars, 6 to 12 turnouts, 8 sessions of 10 laps. Cars
run unevenly: some are in most trains, some hardly ever leave the yard; every car has a beat of its
own, so that some turnouts see few cars. Everything derails once in 500 passages, the bad car or
the bad turnout 15 times as often, and nobody is told which it is.

The simple rules accuse the one with the most derailments, or with the highest rate of them, and
accuse somebody as soon as anything derailed. Ours ranks everyone in every season, and accuses only
the likelier culprits. First right: whoever comes first is bad. Right: somebody bad was accused;
all: everybody bad was. Innocent: somebody was accused who is not bad. Silent: nobody was accused.
"""

import platform
import random
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from inventory.trouble.evidence import Blame, Kind, Table, suspects

SEASONS = 200
SEED = 1869
SESSIONS, LAPS = 8, 10
BASE, WORSE = 1 / 500, 15
TRUTHS = ("a bad car", "a bad turnout", "both", "none")

Name = tuple[Kind, str]


def season(chance: random.Random, truth: str) -> tuple[Table, set[Name]]:
    """One season's passages and derailments, and who is bad in it."""
    cars = [f"car {number}" for number in range(1, chance.randint(12, 30) + 1)]
    turnouts = [f"turnout {number}" for number in range(1, chance.randint(6, 12) + 1)]
    liked = {car: chance.betavariate(1.2, 1.2) for car in cars}
    main = turnouts[: len(turnouts) // 2]
    beat = {
        (car, turnout): 0.9 if turnout in main else chance.betavariate(0.4, 1.0)
        for car in cars
        for turnout in turnouts
    }
    passages = dict.fromkeys(beat, 0)
    for _ in range(SESSIONS):
        out = [car for car in cars if chance.random() < liked[car]]
        for car in out:
            for turnout in turnouts:
                passages[car, turnout] += sum(
                    chance.random() < beat[car, turnout] for _ in range(LAPS)
                )
    # What never ran or was never run over cannot be found bad by anybody.
    ran = [c for c in cars if any(passages[c, t] for t in turnouts)]
    over = [t for t in turnouts if any(passages[c, t] for c in cars)]
    bad: set[Name] = set()
    if truth in ("a bad car", "both"):
        bad.add((Kind.VEHICLE, chance.choice(ran)))
    if truth in ("a bad turnout", "both"):
        bad.add((Kind.PLACE, chance.choice(over)))
    derailments = {}
    for (car, turnout), runs in passages.items():
        worse = WORSE ** sum(name in bad for name in ((Kind.VEHICLE, car), (Kind.PLACE, turnout)))
        fell = sum(chance.random() < min(0.5, BASE * worse) for _ in range(runs))
        if fell:
            derailments[car, turnout] = fell
    return Table(passages, derailments), bad


def by_rule(table: Table, score: Callable[[int, int], float]) -> list[Name]:
    """Everyone, the highest score first; score takes derailments and passages."""
    every = []
    for kind in Kind:
        passages, derailments = table.seen_by(kind)
        for name, n, x in zip(
            table.names(kind), passages.sum(axis=1), derailments.sum(axis=1), strict=True
        ):
            every.append((-score(int(x), int(n)), kind, name))
    return [(kind, name) for _, kind, name in sorted(every)]


def most(table: Table) -> tuple[list[Name], list[Name]]:
    ranked = by_rule(table, lambda x, n: x)
    return ranked, ranked[:1] if table.events else []


def highest_rate(table: Table) -> tuple[list[Name], list[Name]]:
    ranked = by_rule(table, lambda x, n: x / n)
    return ranked, ranked[:1] if table.events else []


def ours(table: Table) -> tuple[list[Name], list[Name]]:
    found = suspects(table)
    ranked = [(s.kind, s.name) for s in found.suspects]
    return ranked, [(s.kind, s.name) for s in found.of(Blame.CULPRIT)]


RULES = {"ours": ours, "most derailments": most, "highest rate": highest_rate}


@dataclass
class Tally:
    """How one rule did over the seasons of one truth."""

    first: int = 0
    right: int = 0
    everybody: int = 0
    innocent: int = 0
    silent: int = 0
    accused: int = 0
    wrongly: int = 0
    seconds: float = field(default=0.0)

    def add(self, ranked: list[Name], accused: list[Name], bad: set[Name]) -> None:
        self.first += ranked[0] in bad
        self.right += any(each in bad for each in accused)
        self.everybody += bad <= set(accused)
        self.innocent += any(each not in bad for each in accused)
        self.silent += not accused
        self.accused += len(accused)
        self.wrongly += sum(each not in bad for each in accused)


def main() -> int:
    """Print the table, and in how much of it a simple rule did better."""
    seasons = int(sys.argv[1]) if len(sys.argv) > 1 else SEASONS
    print(
        f"Python {platform.python_version()}, NumPy {np.__version__}. {seasons} seasons of each "
        f"truth, seed {SEED}; every rule sees the same seasons."
    )
    titles = ("first right", "right", "all", "innocent", "silent", "of accused", "ms")
    print(f"{'truth':<15}{'rule':<18}" + "".join(f"{each:>13}" for each in titles))
    worse = compared = 0
    for truth in TRUTHS:
        chance = random.Random(f"{SEED} {truth}")
        tallies = {rule: Tally() for rule in RULES}
        events = 0
        for _ in range(seasons):
            table, bad = season(chance, truth)
            events += table.events
            for rule, decide in RULES.items():
                begin = time.process_time()
                ranked, accused = decide(table)
                tallies[rule].seconds += time.process_time() - begin
                tallies[rule].add(ranked, accused, bad)
        for rule, tally in tallies.items():
            shares = [tally.first, tally.right, tally.everybody, tally.innocent, tally.silent]
            cells = [f"{each / seasons:.1%}" for each in shares]
            if truth == "none":
                cells[:3] = ["-"] * 3
            wrongly = f"{tally.wrongly / tally.accused:.1%}" if tally.accused else "-"
            cells += [wrongly, f"{1000 * tally.seconds / seasons:.1f}"]
            print(f"{truth:<15}{rule:<18}" + "".join(f"{each:>13}" for each in cells))
        print(f"{'':<15}{events / seasons:.0f} derailments a season", flush=True)
        mine = tallies["ours"]
        for rule, tally in tallies.items():
            if rule != "ours":
                worse += (tally.first > mine.first) + (tally.innocent < mine.innocent)
                # Where nobody is bad nobody can rightly come first.
                compared += 1 if truth == "none" else 2
    print("Of accused: the share of innocents among all who were accused.")
    print(
        "Who comes first and how many innocents are accused: "
        f"a simple rule did better in {worse} of {compared} comparisons."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
