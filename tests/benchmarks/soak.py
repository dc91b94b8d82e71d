"""Several people read and write for a long time on the real server; then everything is checked.

    python -m tests.benchmarks.soak --minutes 30 --people 8

Each person is a thread with a sign-in that logs vehicles, measures, reports trouble and reads
pages, at random but from a printed seed. Afterwards the server is stopped and the record checked:
the engine's own integrity and foreign keys, everything that was answered as kept is there, every
reading has its verdict, and judging everything again changes nothing. The memory of the server is
read from the system once a minute (Linux: /proc).
"""

from __future__ import annotations

import argparse
import os
import random
import re
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from standards.causes import Happening
from tests.servers import A_HOPPER, ROOT, Server, Visitor

PAGES = (
    "/bench/",
    "/stock/",
    "/stock/?q=SOAK",
    "/stock/1/",
    "/trouble/",
    "/trouble/vehicles/1/",
    "/trouble/railways/1/evidence/",
    "/trouble/routine/",
    "/tracks/railways/1/",
    "/tracks/1/",
    "/trackwork/1/",
    "/standards/",
)
HAPPENED = [each.value for each in Happening]


class Someone:
    """One person who works at random and remembers what was answered as kept."""

    def __init__(self, server: Server, name: str, cookies: Visitor, seed: int) -> None:
        self.server, self.name = server, name
        self.browser = Visitor()
        for cookie in cookies.cookies:
            self.browser.cookies.set_cookie(cookie)
        self.random = random.Random(seed)
        self.logged: list[str] = []
        self.read: list[tuple[str, str]] = []
        self.reported = 0
        self.statuses: Counter[int] = Counter()
        self.seconds: dict[str, list[float]] = {"read": [], "write": []}
        self.problems: list[str] = []

    def work(self, until: float, pages: Sequence[str]) -> None:
        deeds = (self.look, self.look, self.look, self.log, self.measure, self.report)
        while time.monotonic() < until:
            deed = self.random.choice(deeds)
            begun = time.monotonic()
            try:
                deed(pages)
            except Exception as error:  # whatever happens to a person is counted, and they go on
                self.problems.append(f"{deed.__name__}: {error!r}")
            kind = "read" if deed == self.look else "write"
            self.seconds[kind].append(time.monotonic() - begun)
            self.statuses[self.browser.status] += 1
            if self.browser.status >= 500:
                self.problems.append(f"{deed.__name__}: {self.browser.status}")

    def look(self, pages: Sequence[str]) -> None:
        self.browser.get(self.server.base + self.random.choice(pages))

    def log(self, _: Sequence[str]) -> None:
        number = f"{self.name}{len(self.logged) + 1}"
        page = f"{self.server.base}/bench/log/"
        self.browser.press(page, reporting_mark="SOAK", number=number, **A_HOPPER)
        if self.browser.status == 200 and "/log/" not in self.browser.address:
            self.logged.append(number)
            self.open = self.browser.address, number

    def measure(self, pages: Sequence[str]) -> None:
        if not self.logged:
            return self.log(pages)
        at, number = self.open
        typed = f"14.{self.random.randrange(300, 600)}"
        self.browser.press(at, **{"typed-back_to_back": typed, "go": "next"})
        if self.browser.status == 200 and self.browser.address != at:
            self.read.append((number, typed))
            self.log(pages)
        return None

    def report(self, pages: Sequence[str]) -> None:
        if not self.logged:
            return self.log(pages)
        page = f"{self.server.base}/trouble/railways/1/report/"
        words = self.browser.get(page)
        first, where = (
            self.random.choice(re.findall(r'value="([^"]+)"', choice))
            for choice in re.findall(
                r'<select name="(?:first|where)".*?</select>', words, re.DOTALL
            )
        )
        self.browser.press(page, first=first, where=where, happened=self.random.choice(HAPPENED))
        if self.browser.status == 200 and "/report/" not in self.browser.address:
            self.reported += 1
        return None


def memory_mb(pid: int) -> float:
    status = Path(f"/proc/{pid}/status")
    if not status.exists():
        return float("nan")
    return int(re.search(r"VmRSS:\s+(\d+)", status.read_text()).group(1)) / 1024


def checked(folder: Path, people: list[Someone], reports_before: int) -> list[str]:
    """What is wrong with the record after all; nothing, if all is well."""
    found = []
    with closing(sqlite3.connect(folder / "record.sqlite3")) as opened:

        def rows(query: str) -> list[tuple]:
            return opened.execute(query).fetchall()

        if rows("PRAGMA integrity_check") != [("ok",)] or rows("PRAGMA foreign_key_check"):
            found.append("the engine finds damage")
        numbers = {n for (n,) in rows("SELECT number FROM stock_vehicle")}
        lost = [n for each in people for n in each.logged if n not in numbers]
        found += [f"{len(lost)} vehicles are lost, {lost[:3]}"] if lost else []
        read = set(
            rows(
                "SELECT v.number, r.typed FROM stock_reading r JOIN stock_inspection i ON "
                "i.id = r.inspection_id JOIN stock_vehicle v ON v.id = i.vehicle_id"
            )
        )
        lost = [key for each in people for key in each.read if key not in read]
        found += [f"{len(lost)} readings are lost, {lost[:3]}"] if lost else []
        reports = rows("SELECT count(*) FROM trouble_incident")[0][0] - reports_before
        if reports < sum(each.reported for each in people):
            found.append(f"{reports} reports of {sum(each.reported for each in people)}")
        unjudged = rows(
            "SELECT count(*) FROM stock_reading r WHERE NOT EXISTS "
            "(SELECT 1 FROM stock_verdict j WHERE j.reading_id = r.id)"
        )[0][0]
        found += [f"{unjudged} readings have no verdict"] if unjudged else []
        halves = rows(
            "SELECT count(*) FROM stock_vehicle v WHERE v.reporting_mark = 'SOAK' AND 4 != "
            "(SELECT count(*) FROM stock_wheelset w WHERE w.vehicle_id = v.id)"
        )[0][0]
        found += [f"{halves} vehicles are there by half"] if halves else []
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--people", type=int, default=8)
    parser.add_argument("--seed", type=int, default=20261125)
    wanted = parser.parse_args()
    with tempfile.TemporaryDirectory() as aside:
        folder = Path(aside) / "record"
        server = Server(folder, "--demo")
        try:
            people, memory, reports_before = soak(server, wanted)
        finally:
            server.stop()
        tell(people, memory, wanted)
        problems = checked(folder, people, reports_before)
        again = rejudged(folder)
    for each in people:
        problems += each.problems[:5]
    print("judging everything again:", again)
    print("problems:", problems or "none")
    sys.exit(1 if problems else 0)


def soak(server: Server, wanted: argparse.Namespace) -> tuple[list[Someone], list[float], int]:
    owner = Visitor()
    owner.press(server.address)
    with closing(sqlite3.connect(server.folder / "record.sqlite3")) as opened:
        reports = opened.execute("SELECT count(*) FROM trouble_incident").fetchone()[0]
    people = [
        Someone(server, f"{chr(65 + n)}-", owner, wanted.seed + n) for n in range(wanted.people)
    ]
    for each in people:
        each.log(PAGES)
    memory = [memory_mb(server.process.pid)]
    until = time.monotonic() + wanted.minutes * 60
    threads = [threading.Thread(target=each.work, args=(until, PAGES)) for each in people]
    for thread in threads:
        thread.start()
    while time.monotonic() < until:
        time.sleep(min(60, max(0.1, until - time.monotonic())))
        memory.append(memory_mb(server.process.pid))
    for thread in threads:
        thread.join(120)
    return people, memory, reports


def tell(people: list[Someone], memory: list[float], wanted: argparse.Namespace) -> None:
    statuses = sum((each.statuses for each in people), Counter())
    print(f"{wanted.people} people for {wanted.minutes:g} minutes, seed {wanted.seed}")
    print("answers by status:", dict(sorted(statuses.items())))
    print(
        f"kept: {sum(len(each.logged) for each in people)} vehicles, "
        f"{sum(len(each.read) for each in people)} readings, "
        f"{sum(each.reported for each in people)} reports"
    )
    for kind in ("read", "write"):
        seconds = sorted(second for each in people for second in each.seconds[kind])
        if len(seconds) > 1:
            late = statistics.quantiles(seconds, n=20)[-1]
            median = statistics.median(seconds)
            print(f"{kind}: {len(seconds)}, median {median:.3f} s, 95th percentile {late:.3f} s")
    print("memory of the server, MB, by the minute:", " ".join(f"{each:.0f}" for each in memory))


def rejudged(folder: Path) -> str:
    done = subprocess.run(
        [sys.executable, "manage.py", "rejudge", "--check"],
        cwd=ROOT,
        env={**os.environ, "CARKNOCKER_DATA": str(folder)},
        capture_output=True,
        text=True,
        check=False,
    )
    return (done.stdout + done.stderr).strip().splitlines()[-1]


if __name__ == "__main__":
    main()
