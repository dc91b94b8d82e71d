"""How the pages and commands keep up with a record that grows a hundredfold.

    python -m tests.benchmarks.load
    python -m tests.benchmarks.load --sizes 1000,10000 --pages list,live --seconds 2

Everything happens in a record of its own in a temporary folder, an SQLite file with the product's
own settings; `tests/benchmarks/load_record.py` says how it is filled. Each page is asked through
Django's test client in this process, all middleware included, in the product's own way: signed
in, CSRF checked. Two requests warm up; then as many as --seconds allow, five at least and forty
at most. Shown are the number of queries, the median and the 95th percentile in milliseconds.

Beside them, in the same run over the same record: the changelist of Django's admin with the same
columns, filters, search and sorting; a view that does nothing, and one that keeps a single row;
and, as a floor, the core of the page in SQL written out, read to its last row.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

_FOLDER = tempfile.TemporaryDirectory(prefix="carknocker-load-")
os.environ["CARKNOCKER_DATA"] = _FOLDER.name
os.environ["DJANGO_SETTINGS_MODULE"] = "inventory.settings"
os.environ.pop("CARKNOCKER_DATABASE", None)

import django  # noqa: E402
from django.conf import settings  # noqa: E402

settings.INSTALLED_APPS = [*settings.INSTALLED_APPS, "django.contrib.admin"]
settings.ROOT_URLCONF = "tests.benchmarks.load_rivals"
settings.ALLOWED_HOSTS = ["testserver"]
settings.STORAGES["staticfiles"]["BACKEND"] = (
    "django.contrib.staticfiles.storage.StaticFilesStorage"
)
settings.STATIC_ROOT = settings.HERE / "static"
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import CaptureQueriesContext  # noqa: E402
from django.urls import reverse  # noqa: E402

from inventory.stock.models import Inspection, Reading, Vehicle  # noqa: E402
from inventory.track.models import Industry, Railway, Track  # noqa: E402
from inventory.trackwork.models import Trackwork  # noqa: E402
from inventory.trouble.models import Incident  # noqa: E402
from tests.benchmarks.load_record import Built, rows, undecided  # noqa: E402

SIZES = (1_000, 10_000, 100_000)
LEAST, MOST = 5, 40
#: Seconds after which a page is not asked again.
TOO_LONG = 20


@dataclass(frozen=True)
class Timed:
    """Queries of one request; median and 95th percentile of n, in milliseconds."""

    queries: int
    median: float
    high: float
    n: int


@dataclass(frozen=True)
class Page:
    """Something to be asked again and again. ask: one request. rival: the name of another to set
    it beside; floor: SQL of its core."""

    name: str
    ask: Callable[[], object]
    rival: str = ""
    floor: str = ""
    is_shown: bool = True


#: What the clock of a request is: time as it passes, or that of the processor.
CLOCKS = {"wall": time.perf_counter, "cpu": time.process_time}


def timed(ask: Callable[[], object], seconds: float, clock: Callable[[], float]) -> Timed:
    """Ask again and again for so many seconds; once, where that alone takes very long."""
    start, began = clock(), time.perf_counter()
    ask()
    if time.perf_counter() - began > TOO_LONG:
        took = 1000 * (clock() - start)
        return Timed(0, took, took, 1)
    with CaptureQueriesContext(connection) as caught:
        ask()
        queries = len(caught)  # the next request begins its own count
    times: list[float] = []
    began = time.perf_counter()
    while len(times) < LEAST or (len(times) < MOST and time.perf_counter() - began < seconds):
        start = clock()
        ask()
        times.append(1000 * (clock() - start))
    times.sort()
    high = times[min(len(times) - 1, round(0.95 * (len(times) - 1)))]
    return Timed(queries, statistics.median(times), high, len(times))


# --- What is asked ----------------------------------------------------------------------------


class Asking:
    """Requests of a person who is signed in."""

    def __init__(self, built: Built) -> None:
        self.client = Client(enforce_csrf_checks=True)
        self.client.force_login(built.owner)
        self.client.get(reverse("bench:log"))  # a page with a form, for its CSRF token
        self.token = self.client.cookies["csrftoken"].value

    def get(self, address: str, **query: object) -> Callable[[], object]:
        def ask() -> None:
            answer = self.client.get(address, query)
            if answer.status_code != 200:
                raise RuntimeError(f"{address} {query}: {answer.status_code}")

        return ask

    def post(self, address: str, told: Callable[[], dict[str, str]], **headers: str):
        def ask() -> None:
            data = told() | {"csrfmiddlewaretoken": self.token}
            answer = self.client.post(address, data, headers=headers)
            if answer.status_code != 200:
                raise RuntimeError(f"{address}: {answer.status_code}")

        return ask


def _alternating(inspection: Inspection) -> Callable[[], dict[str, str]]:
    """A reading typed again and again, one time so and the next time otherwise."""

    def told() -> dict[str, str]:
        standing = Reading.objects.get(
            inspection=inspection, quantity="back_to_back", at="1", is_current=True
        )
        typed = "14.46" if standing.typed == "14.47" else "14.47"
        return {
            "typed-back_to_back": typed,
            "was-back_to_back": standing.typed,
            "seen-back_to_back": str(standing.pk),
            "with-back_to_back": str(standing.instrument_id),
        }

    return told


_ROW = (
    "reporting_mark, number, service, kind, scale, maker, storage_box, (SELECT max(finished_at) "
    "FROM stock_inspection i WHERE i.vehicle_id = v.id) FROM stock_vehicle v"
)
_LIKE = " OR ".join(
    f"{name} LIKE '%{{0}}%'"
    for name in (
        "reporting_mark",
        "number",
        "name",
        "kind",
        "maker",
        "catalogue_number",
        "storage_box",
    )
)


def _listed(where: str = "visitor = ''", order: str = "reporting_mark, number_key, id") -> str:
    return (
        f"SELECT count(*) FROM stock_vehicle v WHERE {where}; "
        f"SELECT id, {_ROW} WHERE {where} ORDER BY {order} LIMIT 25"
    )


def pages_of(built: Built) -> Iterator[Page]:
    """Every page, with what to set beside it."""
    asking = Asking(built)
    stock = reverse("stock:vehicle-list")
    admin = reverse("admin:stock_vehicle_changelist")
    last = Vehicle.objects.count() // 25
    fit = Vehicle.objects.filter(kind="boxcar").order_by("pk")[3]
    number = Vehicle.objects.order_by("-pk")[4].number

    yield Page("nothing", asking.get("/nothing/"), is_shown=False)
    yield Page("admin list", asking.get(admin), is_shown=False)
    yield Page("list, first page", asking.get(stock), "admin list", _listed())
    yield Page("admin last", asking.get(admin, p=last), is_shown=False)
    yield Page(
        "list, last page",
        asking.get(stock, page=last),
        "admin last",
        _listed() + f" OFFSET {25 * (last - 1)}",
    )
    for what, words in (
        ("rare", number),
        ("common", "boxcar"),
        ("two", f"BRC {number[:3]}"),
        ("nothing found", "zzyzx"),
    ):
        yield Page(f"admin search {what}", asking.get(admin, q=words), is_shown=False)
        clause = " AND ".join(f"({_LIKE.format(word)})" for word in words.split())
        yield Page(
            f"search, {what}",
            asking.get(stock, q=words),
            f"admin search {what}",
            _listed(f"visitor = '' AND {clause}"),
        )
    yield Page("admin filter", asking.get(admin, service__exact="bad order"), is_shown=False)
    yield Page(
        "list of bad order",
        asking.get(stock, service="bad order"),
        "admin filter",
        _listed("visitor = '' AND service = 'bad order'"),
    )
    for sort, column, order in (
        ("maker", 5, "maker, catalogue_number, id"),
        ("-last_inspected_at", -7, "8 DESC, id DESC"),
    ):
        yield Page(f"admin sort {sort}", asking.get(admin, o=column), is_shown=False)
        floor = _listed(order=order)
        if "last" in sort:
            floor = floor.replace("8 DESC", "9 DESC")
        yield Page(f"list, sort {sort}", asking.get(stock, sort=sort), f"admin sort {sort}", floor)
    yield Page(
        "vehicle page",
        asking.get(fit.get_absolute_url()),
        "nothing",
        f"SELECT * FROM stock_vehicle WHERE id = {fit.pk}; SELECT v.* FROM stock_verdict v JOIN "
        "stock_inspection i ON i.id = v.inspection_id WHERE v.is_current AND i.vehicle_id = "
        f"{fit.pk}",
    )
    yield Page("vehicle edit", asking.get(reverse("stock:edit-vehicle", args=[fit.pk])), "nothing")
    yield Page("bench start", asking.get(reverse("bench:start")), "nothing")
    yield Page("bench log", asking.get(reverse("bench:log")), "nothing")
    yield Page("visitors", asking.get(reverse("bench:visitors")), "nothing")
    opened = Inspection.objects.filter(finished_at__isnull=True).order_by("pk")[1]
    yield Page(
        "bench step", asking.get(reverse("bench:measure", args=[opened.pk, "axle-1"])), "nothing"
    )
    yield Page(
        "one write",
        asking.post("/one-write/", lambda: {"note": str(time.perf_counter())}),
        is_shown=False,
    )
    live = reverse("bench:reading", args=[opened.pk, "axle-1", "back_to_back"])
    htmx = {"HX-Request": "true"}
    yield Page("live verdict", asking.post(live, _alternating(opened), **htmx), "one write")
    yield Page("trouble board", asking.get(reverse("trouble:board")), "nothing")
    yield Page("reports", asking.get(reverse("trouble:reports")), "nothing")
    yield Page("running", asking.get(reverse("trouble:running")), "nothing")
    yield Page("routine", asking.get(reverse("trouble:routine")), "nothing")
    railway = Railway.objects.order_by("pk")[0]
    fell = Incident.objects.order_by("pk")[0].involved.get(part="first").vehicle
    yield from _of_railway(asking, railway, fell, fit)


def _of_railway(asking: Asking, railway: Railway, fell: Vehicle, fit: Vehicle) -> Iterator[Page]:
    def on(name: str, key: int | None = None, **query: object) -> Callable[[], object]:
        return asking.get(reverse(name, args=[key or railway.pk]), **query)

    track = Track.objects.filter(place__railway=railway, duty="storage").order_by("pk")[0]
    industry = Industry.objects.filter(place__railway=railway).order_by("pk")[0]
    piece = Trackwork.objects.filter(place__railway=railway).order_by("pk")[0]
    yield Page("report trouble", on("trouble:report-on"), "nothing")
    yield Page("note running", on("trouble:run-on"), "nothing")
    yield Page("evidence, vehicle", on("trouble:vehicle", fell.pk), "nothing")
    yield Page("evidence, railway", on("trouble:railway"), "nothing")
    yield Page("evidence, piece", on("trouble:trackwork", piece.pk), "nothing")
    yield Page("railways", asking.get(reverse("track:railways")), "nothing")
    yield Page("railway", on("track:railway"), "nothing")
    yield Page("track and its fit", on("track:track", track.pk), "nothing")
    yield Page("industries", on("track:industries"), "nothing")
    yield Page("industry", on("track:industry", industry.pk), "nothing")
    yield Page("trains", on("track:trains"), "nothing")
    yield Page("arrange", on("track:arrange"), "nothing")
    yield Page("planner's report", on("track:report"), "nothing")
    yield Page("where it fits", on("track:for-vehicle", fit.pk), "nothing")
    yield Page("trackwork", on("trackwork:overview"), "nothing")
    yield Page("trackwork, piece", on("trackwork:piece", piece.pk), "nothing")
    yield Page("trackwork, pairs", on("trackwork:pairs"), "nothing")
    yield Page("vehicle on trackwork", on("trackwork:for-vehicle", fit.pk), "nothing")
    yield Page("vehicle on a curve", on("trackwork:curve", fit.pk), "nothing")


def _commands() -> dict[str, Callable[[], object]]:
    def quiet(name: str, *arguments: str) -> Callable[[], object]:
        return lambda: call_command(name, *arguments, stdout=StringIO())

    folder = Path(_FOLDER.name)
    return {
        "rejudge": quiet("rejudge"),
        "backup": quiet("backup", "--to", str(folder / "copies")),
    }


# --- The tables -------------------------------------------------------------------------------


def _floor(sql: str) -> Callable[[], object]:
    def ask() -> None:
        with connection.cursor() as cursor:
            for statement in sql.split("; "):
                cursor.execute(statement)
                cursor.fetchall()

    return ask


def measured(
    built: Built, wanted: list[str], seconds: float, clock: Callable[[], float]
) -> Iterator[tuple[Page, Timed, Timed | None]]:
    """Every page that was asked for and what is set beside it, with its floor."""
    pages = list(pages_of(built))
    chosen = [each for each in pages if any(word in each.name for word in wanted or [""])]
    rivals = {each.rival for each in chosen}
    for page in pages:
        if page in chosen if page.is_shown else page.name in rivals:
            floor = timed(_floor(page.floor), seconds, clock) if page.floor else None
            yield page, timed(page.ask, seconds, clock), floor


def _since(clock: Callable[[], float]) -> Callable[[], float]:
    began = clock()
    return lambda: clock() - began


def print_size(
    built: Built, wanted: list[str], seconds: float, clock: Callable[[], float]
) -> dict[str, tuple[Timed, float | None]]:
    """Print one size's table, and give its figures."""
    print(
        f"{'page':<24}{'queries':>8}{'median':>10}{'95 %':>10}{'of':>4}  "
        f"{'beside it':<22}{'median':>10}{'ratio':>8}{'floor':>10}{'ratio':>8}",
        flush=True,
    )
    found: dict[str, tuple[Timed, float | None]] = {}
    for page, ours, floor in measured(built, wanted, seconds, clock):
        rival = found[page.rival][0] if page.rival else None
        found[page.name] = ours, ours.median / rival.median if rival else None
        print(
            f"{page.name:<24}{ours.queries:>8}{ours.median:>10.1f}{ours.high:>10.1f}{ours.n:>4}  "
            + (
                f"{page.rival:<22}{rival.median:>10.1f}{ours.median / rival.median:>7.2f}x"
                if rival
                else " " * 40
            )
            + (f"{floor.median:>10.2f}{ours.median / floor.median:>7.1f}x" if floor else ""),
            flush=True,
        )
    return found


def print_growth(by_size: dict[int, dict[str, tuple[Timed, float | None]]]) -> None:
    """Print how each page grows from the smallest to the largest."""
    sizes = list(by_size)
    smallest, largest = by_size[sizes[0]], by_size[sizes[-1]]
    print(
        f"\n{'Median in ms by vehicles':<26}"
        + "".join(f"{size:>12,}" for size in sizes)
        + "      growth"
    )
    for name in smallest:
        if name not in largest:
            continue
        medians = "".join(f"{by_size[size][name][0].median:>12.1f}" for size in sizes)
        ratio = largest[name][0].median / smallest[name][0].median
        print(f"{name:<26}{medians}{ratio:>11.2f}x")


def main() -> int:
    """Fill a record, ask, print, and grow it."""
    told = argparse.ArgumentParser(description=__doc__)
    told.add_argument("--sizes", default=",".join(map(str, SIZES)), help="vehicles, with commas")
    told.add_argument("--pages", default="", help="only those whose name holds one of these")
    told.add_argument("--seconds", type=float, default=4.0, help="for each page")
    told.add_argument(
        "--clock", choices=CLOCKS, default="wall", help="cpu where others share the machine"
    )
    told.add_argument("--no-commands", action="store_true", help="leave the commands out")
    told.add_argument(
        "--rejudge-up-to", type=int, default=10_000, help="vehicles; it takes long beyond"
    )
    options = told.parse_args()
    wanted = [word.strip() for word in options.pages.split(",") if word.strip()]
    print(
        f"Python {platform.python_version()}, Django {django.get_version()}, SQLite "
        f"{connection.Database.sqlite_version}, {os.cpu_count()} cores, load "
        f"{os.getloadavg()[0]:.1f} at the start. Milliseconds, {options.clock} clock."
    )
    call_command("migrate", interactive=False, verbosity=0)
    built = Built.begin()
    print(
        f"The first 100 vehicles are judged one by one ({undecided()} verdicts undecided); all "
        "others are copies of them."
    )
    by_size = {}
    for size in map(int, options.sizes.split(",")):
        spent = _since(time.perf_counter)
        built.grow(size)
        print(
            f"\n{size:,} vehicles, built in {spent():.0f} s: "
            + ", ".join(f"{n:,} {name}" for name, n in rows().items())
        )
        by_size[size] = print_size(built, wanted, options.seconds, CLOCKS[options.clock])
        if not options.no_commands:
            for name, command in _commands().items():
                if name == "rejudge" and size > options.rejudge_up_to:
                    continue
                spent = _since(CLOCKS[options.clock])
                command()
                took = 1000 * spent()
                by_size[size][name] = Timed(0, took, took, 1), None
                print(f"{name:<24}{took:>18.1f}   {took / size:.3f} a vehicle", flush=True)
    print_growth(by_size)
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    finally:
        connection.close()
        _FOLDER.cleanup()
