"""Import and export of long lists, against Django's own loaddata and dumpdata in the same run.

    python -m tests.benchmarks.import_rows [rows ...]

Invented vehicles of four axles from a fixed seed, every fact filled in. Each step runs in a
process of its own on a record of its own, so that its peak memory is its own: the greatest
resident set less what stood before the step (ru_maxrss). Beside the seconds stand those of the
processor, which other work on the machine does not lengthen; the ratios are of these.
`import csv` and `import xlsx` read the file, plan every row and write all of it in one
transaction; `preview` plans only; `again` is the import of the same list into the record that
holds it, and `changed` of one with another fact in every row. The rivals load and dump the same
facts, wheelsets and couplers as JSON; loaddata checks nothing and notes nothing.
"""

from __future__ import annotations

import json
import os
import platform
import random
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = (1000, 3000, 10000)
SEED = 1869
STEPS = (
    "fill",
    "dumpdata",
    "export csv",
    "export xlsx",
    "loaddata",
    "import csv",
    "import xlsx",
    "preview csv",
    "again csv",
    "changed csv",
)


def vehicles(number: int):
    """The invented stock."""
    from datetime import date, timedelta
    from decimal import Decimal

    from inventory.stock.models import Vehicle

    chance = random.Random(SEED)
    kinds = ("boxcar", "hopper", "tank car", "gondola", "flat car")
    for index in range(number):
        yield Vehicle(
            reporting_mark=chance.choice(("BRV", "HFQ", "KVPW", "OZN")),
            number=str(1000 + index),
            name=f"No. {index}",
            category="freight",
            kind=chance.choice(kinds),
            family="nmra",
            scale="HO",
            axles=4,
            maker=chance.choice(("Nimbrook Models", "Sixpenny Kits", "Quarry Lane")),
            catalogue_number=f"{chance.randint(0, 99999):05}",
            aar_designation="XM",
            era="1950s",
            minimum_radius=Decimal(chance.randint(3000, 9000)) / 10,
            acquired_on=date(2010, 1, 1) + timedelta(days=chance.randint(0, 5000)),
            price=Decimal(chance.randint(500, 20000)) / 100,
            value=Decimal(chance.randint(500, 20000)) / 100,
            currency="EUR",
            storage_box=f"Box {chance.randint(1, 200)}",
            notes=f"Bought in lot {chance.randint(1, 10**6)}; weathered; one step missing.",
        )


def run(step: str, folder: Path, number: int) -> None:
    """One step, in a process of its own; prints seconds and MB."""
    import django

    django.setup()
    from django.core.management import call_command

    from inventory.people.models import Person

    call_command("migrate", verbosity=0)
    by, _ = Person.objects.get_or_create(username="owner", defaults={"role": "owner"})
    from inventory.ledger.lists import columns, files, incoming, outgoing, writing
    from inventory.stock.models import Vehicle
    from inventory.stock.recording import Newcomer, Wheels, log_vehicles

    given = folder.parent / f"given-{number}"

    def fill() -> None:
        hook = ("knuckle", "body")
        new = [
            Newcomer(v, [Wheels(110, "metal", "33 in")] * 4, {"A": hook, "B": hook})
            for v in vehicles(number)
        ]
        log_vehicles(newcomers=new, by=by)

    # What the first import of anything loads is no part of a step.
    from datetime import date

    incoming.Incoming([], incoming.Terms(None, ()), unit="mm", today=date(2026, 1, 1))
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    began, busy = time.perf_counter(), time.process_time()
    what, _, kind = step.partition(" ")
    if what == "fill":
        fill()
    elif what == "dumpdata":
        call_command(
            "dumpdata",
            "people.person",
            "stock.vehicle",
            "stock.wheelset",
            "stock.coupler",
            output=f"{given}.json",
        )
    elif what == "loaddata":
        call_command("loaddata", f"{given}.json", verbosity=0)
    elif what == "export":
        headings, rows = outgoing.headings(), outgoing.rows(Vehicle.objects.for_list())
        with Path(f"{given}.{kind}").open("wb") as file:
            if kind == "xlsx":
                writing.write_workbook(file, headings, rows, title="Vehicles")
            else:
                for piece in writing.as_csv(headings, rows):
                    file.write(piece)
    elif what in ("import", "preview", "again", "changed"):
        with Path(f"{given}.{kind}").open("rb") as file:
            listed = files.read_list(file)
        terms = incoming.Terms(0, tuple(columns.guess(listed.rows[0].cells)))
        if what == "changed":
            at = terms.columns.index("storage_box")
            listed = files.Listed(
                [
                    listed.rows[0],
                    *(
                        files.Row(r.number, (*r.cells[:at], "Shelf", *r.cells[at + 1 :]))
                        for r in listed.rows[1:]
                    ),
                ]
            )
        new = incoming.Incoming(listed.rows, terms, unit="mm", today=date(2026, 1, 1))
        if what == "preview":
            deeds = {each.deed for each in new.plan()}
            assert deeds == {"new"}, deeds
        else:
            done = new.carry_out(by=by)
            expected = {"import": done.new, "again": done.same, "changed": done.changed}[what]
            assert expected == number, done
    seconds, busy = time.perf_counter() - began, time.process_time() - busy
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
    print(json.dumps({"seconds": seconds, "busy": busy, "grown": grown}))


def measure(step: str, folder: Path, number: int) -> dict[str, float]:
    """One step in a fresh process, on the record in the folder."""
    environment = {k: v for k, v in os.environ.items() if k != "CARKNOCKER_DATABASE"}
    environment |= {
        "CARKNOCKER_DATA": str(folder),
        "DJANGO_SETTINGS_MODULE": "inventory.settings",
    }
    said = subprocess.run(
        [
            sys.executable,
            "-m",
            "tests.benchmarks.import_rows",
            "--step",
            step,
            str(folder),
            str(number),
        ],
        env=environment,
        check=True,
        capture_output=True,
        text=True,
    )
    return json.loads(said.stdout.splitlines()[-1])


#: On whose record a step runs: that which was filled, an empty one, or that of the csv import.
_ON = {"again csv": "import csv", "changed csv": "import csv"}
_RIVALS = {
    "export": "dumpdata",
    "import": "loaddata",
    "preview": "loaddata",
    "again": "loaddata",
    "changed": "loaddata",
}


def main(sizes: tuple[int, ...]) -> None:
    print(f"{platform.python_version()}, {platform.machine()}, SQLite")
    print(
        f"{'rows':>6} {'step':<12} {'seconds':>8} {'CPU':>6} {'rows/s':>8} {'MB':>6}   "
        "beside its rival"
    )
    for number in sizes:
        found: dict[str, dict[str, float]] = {}
        with tempfile.TemporaryDirectory() as place:
            for step in STEPS:
                is_out = step in ("fill", "dumpdata", "export csv", "export xlsx")
                on = "fill" if is_out else _ON.get(step, step)
                told = measure(step, Path(place) / on.replace(" ", "-"), number)
                found[step] = told
                rival = found.get(_RIVALS.get(step.split()[0], ""))
                beside = ""
                if rival:
                    beside = (
                        f"{told['busy'] / rival['busy']:5.2f} x the CPU time, "
                        f"{told['grown'] / max(rival['grown'], 1):5.2f} x the memory"
                    )
                print(
                    f"{number:>6} {step:<12} {told['seconds']:8.2f} {told['busy']:6.2f} "
                    f"{number / told['seconds']:8.0f} {told['grown']:6.0f}   {beside}",
                    flush=True,
                )


if __name__ == "__main__":
    if "--step" in sys.argv:
        at = sys.argv.index("--step")
        run(sys.argv[at + 1], Path(sys.argv[at + 2]), int(sys.argv[at + 3]))
    else:
        main(tuple(int(each) for each in sys.argv[1:]) or ROWS)
