"""What was, for the pages that show it."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from urllib.parse import urlencode

from django.db import connection
from django.db.models import Count, Q, QuerySet

from inventory.stock.models import Inspection, Vehicle, Verdict
from standards.conformity import Outcome
from standards.judging import Service
from standards.units import plain

COMPARED = ("back_to_back", "flange_thickness", "flange_depth", "tyre_width")


def scales_in_use() -> list[tuple[str, str]]:
    """Families and scales of the stock, the most common first."""
    rows = Vehicle.objects.values_list("family", "scale").annotate(n=Count("pk"))
    return [(family, scale) for family, scale, _ in rows.order_by("-n", "family", "scale")[:6]]


def words_in_use() -> dict[str, list[str]]:
    """Marks, makers and boxes already in the record, to be offered while typing."""
    return {name: each_of(name, 200) for name in ("reporting_mark", "maker", "storage_box")}


def each_of(name: str, most: int = 10_000) -> list[str]:
    """The different words in a field of the stock, in order, the empty one left out.

    Each is looked up as the next after the one before, along an index: in a large stock there are
    few of them, and to read every row for them takes long.
    """
    here = "?after?"
    following = Vehicle.objects.filter(**{f"{name}__gt": here}).order_by(name).values(name)[:1]
    sql, told = following.query.sql_with_params()
    pieces, is_after = sql.split("%s"), [each == here for each in told]
    joined = pieces[0]
    for after, piece in zip(is_after, pieces[1:], strict=True):
        joined += ("found.word" if after else "%s") + piece
    with connection.cursor() as cursor:
        cursor.execute(
            # The SQL is Django's own; every value in it is a parameter.
            "WITH RECURSIVE found(word, n) AS (SELECT CAST('' AS text), 0"  # nosec B608
            f" UNION ALL SELECT CAST(({joined}) AS text), n + 1 FROM found"
            " WHERE word IS NOT NULL AND n < %s)"
            " SELECT word FROM found WHERE word <> '' ORDER BY n",
            [*(each for each in told if each != here), most],
        )
        return [word for (word,) in cursor.fetchall()]


def service_counts() -> list[tuple[str, int]]:
    """How many vehicles are in each state of service, every state named."""
    rows = dict(Vehicle.objects.order_by().values_list("service").annotate(n=Count("pk")))
    return [(each.value, rows.get(each.value, 0)) for each in Service]


def inspections_of(vehicle: Vehicle) -> QuerySet[Inspection]:
    """A vehicle's inspections, latest first, with how their verdicts came out."""

    def outcomes(outcome: Outcome) -> Count:
        return Count(
            "verdicts", filter=Q(verdicts__is_current=True, verdicts__outcome=outcome.value)
        )

    return (
        vehicle.inspections.select_related("inspector")
        .annotate(
            n_within=outcomes(Outcome.WITHIN),
            n_outside=outcomes(Outcome.OUTSIDE),
            n_undecided=outcomes(Outcome.UNDECIDED),
        )
        .order_by("-started_at", "-pk")
    )


@dataclass(frozen=True)
class Trend:
    """One quantity at one place over the inspections."""

    latest: Verdict
    points: list[tuple[str, Decimal]]


def trends_of(vehicle: Vehicle) -> list[Trend]:
    """Every quantity that was measured more than once, in bench order."""
    series: dict[tuple[str, str], list[Verdict]] = {}
    measured = (
        Verdict.objects.current()
        .filter(inspection__vehicle=vehicle, value__isnull=False)
        .select_related("inspection")
        .order_by("inspection__started_at", "pk")
    )
    for verdict in measured:
        series.setdefault(verdict.key, []).append(verdict)
    repeated = [each for each in series.values() if len(each) > 1]
    return [
        Trend(each[-1], [(f"{v.inspection.started_at:%Y-%m-%d}", v.value) for v in each])
        for each in sorted(repeated, key=lambda each: each[-1].bench_order())
    ]


def wheelsets_to_compare(vehicle: Vehicle, standing: list[Verdict]) -> list[tuple[str, str]]:
    """Each measured axle with the query that puts its figures before every family of standards."""
    found = []
    for wheelset in vehicle.fitted_wheelsets:
        at = str(wheelset.axle)
        figures = {
            verdict.quantity: f"{plain(verdict.value.quantize(Decimal('0.0001')))} mm"
            for verdict in standing
            if verdict.at == at and verdict.quantity in COMPARED and verdict.value is not None
        }
        if figures:
            code = {"code": wheelset.profile_code} if wheelset.profile_code else {}
            query = {"gauge": plain(vehicle.standard.gauge_mm), **figures, **code}
            found.append((at, urlencode(query)))
    return found
