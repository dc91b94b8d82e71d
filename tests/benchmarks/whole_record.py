"""How long the whole record takes out and in again, beside Django's own dump of the same facts.

    python -m tests.benchmarks.whole_record [VEHICLES]

Invented vehicles from a fixed seed, 10,000 unless said otherwise, each with its wheelsets,
couplers, one inspection, readings and verdicts, in a new record in a temporary folder. Each way is
a process of its own: its processor time and its peak memory as the kernel counts them, and the
size of the file. The rival is `dumpdata` and `loaddata` of the same tables in JSON, which know
nothing of other records: their keys have to be free.

Every record that was taken in is written out again and has to be the first one, letter for letter
but for the moment of writing, else the program ends in an error; of the rival it is counted.
"""

from __future__ import annotations

import os
import platform
import random
import subprocess
import sys
import tempfile
import uuid
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path

HOME = Path(__file__).resolve().parents[2]
VEHICLES = 10_000
SEED = 1879
AXLES = 4
BEGINNING = datetime(2025, 1, 1, 9, 0, tzinfo=UTC)
TABLES = ("people.Person", "stock", "track", "trackwork", "trouble")


def generate(vehicles: int) -> None:
    """Put so many invented vehicles with their facts into the record of this process."""
    from inventory.people.models import Person
    from inventory.stock.models import Vehicle
    from inventory.stock.recording import note_last_inspected

    chance = random.Random(SEED)
    person = Person.objects.create_user("generated", role=Person.Role.OWNER)
    made = []
    for number in range(vehicles):
        lettered = str(chance.randrange(1, 99_999))
        made.append(
            Vehicle(
                uid=uuid.UUID(int=chance.getrandbits(128), version=4),
                reporting_mark=chance.choice(["BRV", "HFQ", "NIM", "Ødegård"]),
                number=lettered,
                kind=chance.choice(["boxcar", "hopper", "open wagon", "=tank car"]),
                family="nmra",
                scale="HO",
                axles=AXLES,
                maker=chance.choice(["Alder & Finch", "Nimbrook", ""]),
                acquired_on=date(2020, 1, 1) + timedelta(days=chance.randrange(2000)),
                price=Decimal(chance.randrange(900, 9900)).scaleb(-2),
                currency="EUR",
                notes=f"Invented, number {number}.\r\nA second line, “quoted”.",
                logged_by=person,
            )
        )
    for vehicle in made:
        vehicle.note_words()
    Vehicle.everyone.bulk_create(made)
    # A block at a time, as a person's evenings come.
    for at in range(0, vehicles, 500):
        _measure(made[at : at + 500], person, chance, at)
    note_last_inspected()


def _measure(vehicles: Sequence, person, chance: random.Random, first: int) -> None:
    from inventory.stock.models import Coupler, Inspection, Instrument, Reading, Verdict, Wheelset

    caliper = Instrument.objects.get(name="Digital caliper")
    Wheelset.objects.bulk_create(
        Wheelset(vehicle=each, axle=axle, profile_code=110)
        for each in vehicles
        for axle in range(1, AXLES + 1)
    )
    Coupler.objects.bulk_create(
        Coupler(vehicle=each, end=end) for each in vehicles for end in "AB"
    )
    inspections = Inspection.objects.bulk_create(
        Inspection(
            vehicle=each,
            reason="routine",
            inspector=person,
            rule="95%",
            started_at=BEGINNING + timedelta(minutes=first + at),
            finished_at=BEGINNING + timedelta(minutes=first + at + 9),
            proposed="fit to run",
            service="fit to run",
        )
        for at, each in enumerate(vehicles)
    )
    readings = Reading.objects.bulk_create(
        _reading(Reading, each, quantity, str(axle), caliper, person, chance)
        for each in inspections
        for axle in range(1, AXLES + 1)
        for quantity in ("back_to_back", "flange_depth")
    )
    Verdict.objects.bulk_create(
        Verdict(
            inspection=each.inspection,
            reading=each,
            quantity=each.quantity,
            at=each.at,
            outcome="within",
            value=each.value,
            u=each.u,
            expanded=2 * each.u,
            probability=chance.random(),
            low=Decimal("14.3764"),
            low_basis="S-4.2",
            note="Invented.",
            sheets=[{"id": "nmra-s-4.2", "short": "S-4.2", "edition": "2019"}],
            rule="95%",
            judged_at=each.taken_at + timedelta(seconds=1),
        )
        for each in readings
    )


def _reading(model, inspection, quantity: str, at: str, instrument, person, chance):
    value = Decimal(chance.randrange(1400, 1460)).scaleb(-2)
    return model(
        inspection=inspection,
        quantity=quantity,
        at=at,
        typed=f"{value} mm",
        unit="mm",
        values=[f"{value}"],
        value=value,
        u=chance.random() / 10,
        instrument=instrument,
        max_error=Decimal("0.03"),
        resolution=Decimal("0.01"),
        taken_by=person,
        taken_at=inspection.started_at + timedelta(seconds=chance.randrange(500)),
    )


# --- Measuring --------------------------------------------------------------------------------


def run(folder: Path, *words: str) -> tuple[float, float]:
    """One command on the record in a folder: processor seconds, and its peak memory in MB."""
    env = {**os.environ, "CARKNOCKER_DATA": str(folder)}
    env.pop("CARKNOCKER_DATABASE", None)
    process = subprocess.Popen(
        [sys.executable, str(HOME / "manage.py"), *words], env=env, stdout=subprocess.DEVNULL
    )
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise RuntimeError(f"{' '.join(words)} ended with {process.returncode}.")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def rows_of(folder: Path, aside: Path) -> Path:
    """The whole record as its document says it, in a file."""
    run(folder, "export", str(aside))
    return aside


def unlike(one: Path, other: Path) -> int:
    """How many rows differ, the moment of writing in the first line apart.

    Line by line: what this process holds at its largest would count for those that it starts.
    """
    with one.open("rb") as here, other.open("rb") as there:
        next(here), next(there)
        return sum(a != b for a, b in zip_longest(here, there))


def main() -> int:
    """Print the table."""
    vehicles = int(sys.argv[1]) if len(sys.argv) > 1 else VEHICLES
    print(
        f"Python {platform.python_version()}, {os.cpu_count()} cores, SQLite; {vehicles:,} "
        f"vehicles, {AXLES * 2} readings and verdicts each. Processor seconds, peak memory of the "
        "process, size of the file."
    )
    with tempfile.TemporaryDirectory(prefix="whole-record-") as name:
        home = Path(name)
        first = home / "first"
        run(first, "migrate", "-v0")
        make = f"from tests.benchmarks.whole_record import generate; generate({vehicles})"
        run(first, "shell", "-v0", "-c", make)
        idle_s, idle_mb = run(first, "check")
        print(f"A command that does nothing takes {idle_s:.1f} s and {idle_mb:.0f} MB.")
        whole = rows_of(first, home / "first.json")
        print(
            f"{'':<12}{'out':>9}{'memory':>9}{'size':>10}{'in':>9}{'memory':>9}{'out':>8}{'in':>8}"
        )
        rival: tuple[float, float] | None = None
        ways = ("dumpdata", "json", "zip", "xlsx")
        for way in ways:
            file = home / f"record.{'json' if way == 'dumpdata' else way}"
            again = home / f"again-{way}"
            run(again, "migrate", "-v0")
            if way == "dumpdata":
                out = run(first, "dumpdata", "--all", *TABLES, "-o", str(file))
                # What a new record brings along would be in the way of the keys.
                run(again, "flush", "--no-input", "-v0")
                into = run(again, "loaddata", str(file), "-v0")
                rival = (out[0], into[0])
            else:
                out = run(first, "export", str(file))
                into = run(again, "import", str(file))
            otherwise = unlike(rows_of(again, home / "again.json"), whole)
            if otherwise and way != "dumpdata":
                raise RuntimeError(f"{way}: {otherwise} rows came in otherwise than they went.")
            assert rival is not None
            print(
                f"{way:<12}{out[0]:>7.1f} s{out[1]:>6.0f} MB{file.stat().st_size / 1e6:>7.1f} MB"
                f"{into[0]:>7.1f} s{into[1]:>6.0f} MB{out[0] / rival[0]:>7.2f}x"
                f"{into[0] / rival[1]:>7.2f}x{otherwise:>12,}",
                flush=True,
            )
    print(
        "The last two columns: seconds as a share of the rival's. All came in letter for letter."
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
