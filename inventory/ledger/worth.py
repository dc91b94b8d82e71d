"""What the collection comes to: sums of what was stated, exact, and never across currencies.

Amounts are added in Python as exact decimals, because SQLite would add them as floating point.
A vehicle of which no value is stated is counted beside the sum and not as zero. What visitors
brought and what has left the stock is in no sum but that of what was sold, and what was entered
by mistake in none at all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import NamedTuple, TypeVar

from django.db.models import Exists, OuterRef

from inventory.drawing.bars import Bar, Share
from inventory.drawing.marks import tone
from inventory.stock.models import Reading, Vehicle
from inventory.track.models import Home, HomeTrack
from inventory.trouble.models import Hold
from inventory.trouble.routine import number_due
from standards.judging import Service

#: So many groups of one kind are told apart; those with the fewest vehicles are one more.
MOST_GROUPS = 12

NOT_STATED = "not stated"
NO_CURRENCY = "no currency"


# --- Sums -------------------------------------------------------------------------------------


class Holding(NamedTuple):
    """What is stated of one vehicle. year: in which it was acquired."""

    category: str
    kind: str
    year: int | None
    era: str
    maker: str
    home: str
    box: str
    price: Decimal | None
    value: Decimal | None
    currency: str
    service: str


@dataclass(frozen=True)
class Amount:
    """A sum in one currency, and of how many vehicles it is."""

    currency: str
    total: Decimal
    n: int

    @property
    def shown(self) -> str:
        return f"{money(self.total)} {self.currency}"


@dataclass(frozen=True)
class Gain:
    """What was paid against what it is worth now, of those of which both are stated."""

    currency: str
    n: int
    paid: Decimal
    worth: Decimal

    @property
    def difference(self) -> Decimal:
        return self.worth - self.paid

    @property
    def words(self) -> str:
        """The difference: "12.50 USD more"."""
        apart = self.difference
        if not apart:
            return "as much"
        return f"{money(abs(apart))} {self.currency} {'more' if apart > 0 else 'less'}"

    @property
    def paid_shown(self) -> str:
        return f"{money(self.paid)} {self.currency}"

    @property
    def worth_shown(self) -> str:
        return f"{money(self.worth)} {self.currency}"


@dataclass(frozen=True)
class Sum:
    """What some vehicles come to. worth and paid: by currency, that of most vehicles first."""

    n: int
    n_unvalued: int
    n_unpriced: int
    worth: tuple[Amount, ...]
    paid: tuple[Amount, ...]
    gains: tuple[Gain, ...]

    @classmethod
    def of(cls, holdings: Iterable[Holding]) -> Sum:
        """In one pass, since a page asks for some eighty of them."""
        tallies: dict[str, _Tally] = {}
        n = n_unvalued = n_unpriced = 0
        for each in holdings:
            n += 1
            value, price = each.value, each.price
            if value is None:
                n_unvalued += 1
            if price is None:
                n_unpriced += 1
                if value is None:
                    continue
            tally = tallies.get(each.currency)
            if tally is None:
                tally = tallies[each.currency] = _Tally()
            if value is not None:
                tally.n_valued += 1
                tally.worth += value
            if price is not None:
                tally.n_priced += 1
                tally.paid += price
            if value is not None and price is not None:
                tally.n_both += 1
                tally.then += price
                tally.now += value
        named = [(currency or NO_CURRENCY, tally) for currency, tally in tallies.items()]
        return cls(
            n,
            n_unvalued,
            n_unpriced,
            _most_first(Amount(name, t.worth, t.n_valued) for name, t in named),
            _most_first(Amount(name, t.paid, t.n_priced) for name, t in named),
            _most_first(Gain(name, t.n_both, t.then, t.now) for name, t in named),
        )

    def worth_in(self, currency: str) -> Amount | None:
        return next((each for each in self.worth if each.currency == currency), None)


@dataclass(slots=True)
class _Tally:
    """What has been added up so far in one currency."""

    n_valued: int = 0
    worth: Decimal = Decimal(0)
    n_priced: int = 0
    paid: Decimal = Decimal(0)
    n_both: int = 0
    then: Decimal = Decimal(0)
    now: Decimal = Decimal(0)


Summed = TypeVar("Summed", Amount, Gain)


def _most_first(found: Iterable[Summed]) -> tuple[Summed, ...]:
    """Without what nothing is stated of; that of most vehicles first."""
    return tuple(sorted((f for f in found if f.n), key=lambda f: (-f.n, f.currency)))


def money(amount: Decimal) -> str:
    """An amount with two decimals and its thousands apart: 12 345.60."""
    return f"{amount:,.2f}".replace(",", "\N{NARROW NO-BREAK SPACE}")


# --- What is held -----------------------------------------------------------------------------


def holdings() -> list[Holding]:
    """The stock as it is, in three queries."""
    homes = _homes()
    categories = dict(Vehicle.Category.choices)
    rows = Vehicle.objects.order_by("pk").values_list(
        "pk",
        "category",
        "kind",
        "acquired_on",
        "era",
        "maker",
        "storage_box",
        "price",
        "value",
        "currency",
        "service",
    )
    return [
        Holding(
            category=categories.get(category, category),
            kind=kind,
            year=got.year if got else None,
            era=era,
            maker=maker,
            home=homes.get(pk, ""),
            box=box,
            price=price,
            value=value,
            currency=currency,
            service=service,
        )
        for (
            pk, category, kind, got, era, maker, box, price, value, currency, service
        ) in rows.iterator(chunk_size=2000)
    ]  # fmt: skip


def _homes() -> dict[int, str]:
    """By vehicle, where it is at home in one word, so that it is counted once: its industry,
    "several industries", or only a track; with the railway where there are several."""
    at: dict[int, list[tuple[str, str]]] = {}
    for pk, industry, railway in Home.objects.values_list(
        "vehicle", "industry__name", "industry__place__railway__name"
    ):
        at.setdefault(pk, []).append((railway, industry))
    on_track = dict(HomeTrack.objects.values_list("vehicle", "track__place__railway__name"))
    found = {pk: ("only a home track", {railway}) for pk, railway in on_track.items()}
    for pk, listed in at.items():
        industry = listed[0][1] if len(listed) == 1 else "several industries"
        found[pk] = industry, {railway for railway, _ in listed}
    has_many = len({railway for _, railways in found.values() for railway in railways}) > 1
    return {
        pk: f"{name}, {min(railways) if len(railways) == 1 else 'several railways'}"
        if has_many
        else name
        for pk, (name, railways) in found.items()
    }


# --- Groups -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Group:
    """Some vehicles that have something in common, and what they come to."""

    label: str
    sum: Sum
    is_last: bool = False  # the rest, and those of which it is not stated


@dataclass(frozen=True)
class Chart:
    """What the groups are worth in one currency, as bars."""

    currency: str
    rows: tuple[Bar, ...]


@dataclass(frozen=True)
class Breakdown:
    """The whole stock by one thing; every vehicle is in one group.

    is_ordered: whether the groups have an order of their own, such as years.
    """

    slug: str
    title: str
    groups: tuple[Group, ...]
    is_ordered: bool = False

    @property
    def charts(self) -> list[Chart]:
        """One chart a currency: amounts of different ones are never set beside each other."""
        valued: Counter[str] = Counter()
        for group in self.groups:
            valued.update({each.currency: each.n for each in group.sum.worth})
        most_first = sorted(valued, key=lambda currency: (-valued[currency], currency))
        return [Chart(currency, self._rows(currency)) for currency in most_first]

    def _rows(self, currency: str) -> tuple[Bar, ...]:
        found = [
            (group, amount)
            for group in self.groups
            if (amount := group.sum.worth_in(currency)) is not None
        ]
        if not self.is_ordered:
            found.sort(key=lambda pair: (pair[0].is_last, -pair[1].total))
        return tuple(
            Bar(group.label, each.total, money(each.total), f"{each.n} of {group.sum.n}")
            for group, each in found
        )

    @property
    def unvalued(self) -> list[Group]:
        """Groups in which no value at all is stated."""
        return [group for group in self.groups if not group.sum.worth]


def breakdowns(listed: Sequence[Holding]) -> list[Breakdown]:
    """The stock by category, kind, year, era, maker, home and box."""
    return [
        _by("category", "By category", listed, lambda each: each.category),
        _by("kind", "By kind", listed, lambda each: each.kind),
        _by_year(listed),
        _by("era", "By era", listed, lambda each: each.era, is_ordered=True),
        _by("maker", "By maker", listed, lambda each: each.maker),
        _by("home", "By home", listed, lambda each: each.home, "no home"),
        _by("box", "By box", listed, lambda each: each.box, "no box"),
    ]


def _by(
    slug: str,
    title: str,
    listed: Sequence[Holding],
    key: Callable[[Holding], str],
    none: str = NOT_STATED,
    *,
    is_ordered: bool = False,
) -> Breakdown:
    """Words that differ only in their capitals are one group, called as most call it."""
    together: dict[str, list[Holding]] = {}
    spelt: dict[str, Counter[str]] = {}
    for typed, alike in _alike(listed, key).items():
        word = " ".join(typed.split())
        together.setdefault(word.casefold(), []).extend(alike)
        spelt.setdefault(word.casefold(), Counter())[word] += len(alike)
    names = {word: min(spelt[word], key=lambda name: (-spelt[word][name], name)) for word in spelt}
    most_first = sorted(together, key=lambda word: (not word, -len(together[word]), word))
    kept, rest = most_first, []
    if len(most_first) > MOST_GROUPS:
        nameless = [""] if "" in together else []
        named = [word for word in most_first if word]
        room = MOST_GROUPS - 1 - len(nameless)
        kept, rest = named[:room] + nameless, named[room:]
    if is_ordered:
        kept = sorted(kept, key=lambda word: (not word, word))
    groups = [Group(names[word] or none, Sum.of(together[word])) for word in kept if word]
    if rest:
        others = [each for word in rest for each in together[word]]
        groups.append(Group(f"{len(rest)} others", Sum.of(others), is_last=True))
    if "" in kept:
        groups.append(Group(none, Sum.of(together[""]), is_last=True))
    return Breakdown(slug, title, tuple(groups), is_ordered)


def _alike(listed: Sequence[Holding], key: Callable[[Holding], str]) -> dict[str, list[Holding]]:
    found: dict[str, list[Holding]] = {}
    for each in listed:
        found.setdefault(key(each), []).append(each)
    return found


def _by_year(listed: Sequence[Holding]) -> Breakdown:
    years = [each.year for each in listed if each.year is not None]
    width = band_width(years)
    bands: dict[int, list[Holding]] = {}
    for each in listed:
        if each.year is not None:
            bands.setdefault(each.year - each.year % width, []).append(each)
    groups = [
        Group(f"{first}" if width == 1 else f"{first}–{first + width - 1}", Sum.of(bands[first]))
        for first in sorted(bands)
    ]
    undated = [each for each in listed if each.year is None]
    if undated:
        groups.append(Group(NOT_STATED, Sum.of(undated), is_last=True))
    return Breakdown("year", "By year acquired", tuple(groups), is_ordered=True)


def band_width(years: Sequence[int]) -> int:
    """How many years make a band: as few as leave no more than `MOST_GROUPS` of them."""
    for width in (1, 5, 10, 25, 100):
        if len({year // width for year in years}) <= MOST_GROUPS:
            return width
    return 1000


# --- Fit to run, waiting, left ----------------------------------------------------------------


def services(listed: Iterable[Holding]) -> list[Share]:
    """How many are in each state of service, every state named."""
    counted = Counter(each.service for each in listed)
    return [Share(each.value, counted[each.value], tone(each.value)) for each in Service]


@dataclass(frozen=True)
class Waiting:
    """What waits. oldest: the hold that has stood longest, None where nothing is held."""

    awaiting: int
    bad_order: int
    oldest: Hold | None
    never_measured: int
    overdue: int


def waiting(listed: Iterable[Holding]) -> Waiting:
    """What waits for somebody, in a handful of queries."""
    counted = Counter(each.service for each in listed)
    read = Reading.objects.filter(is_current=True, inspection__vehicle=OuterRef("pk"))
    return Waiting(
        counted[Service.AWAITING.value],
        counted[Service.BAD_ORDER.value],
        Hold.objects.filter(released_at__isnull=True, vehicle__isnull=False)
        .select_related("vehicle")
        .first(),
        Vehicle.objects.filter(~Exists(read)).count(),
        number_due(),
    )


@dataclass(frozen=True)
class Left:
    """What left the stock in one year. sold: what it fetched; gains: against what it had cost."""

    year: int
    by_how: tuple[tuple[str, int], ...]
    sold: tuple[Amount, ...]
    n_unpriced: int
    gains: tuple[Gain, ...]

    @property
    def n(self) -> int:
        return sum(n for _, n in self.by_how)


def left_in(year: int) -> Left:
    """What left in a year, without what was entered by mistake; in one query."""
    rows = list(
        Vehicle.everyone.that_ever_were()
        .exclude(retired_as="")
        .filter(retired_on__gte=date(year, 1, 1), retired_on__lte=date(year, 12, 31))
        .order_by("pk")
        .values_list("retired_as", "retired_price", "price", "currency")
    )
    counted = Counter(how for how, *_ in rows)
    # What it fetched stands where its value would: the same sums, against the same price.
    sold = Sum.of(
        Holding("", "", None, "", "", "", "", cost, fetched, currency, "")
        for how, fetched, cost, currency in rows
        if how == Vehicle.Retired.SOLD
    )
    return Left(
        year,
        tuple((each.label, counted[each]) for each in Vehicle.Retired if counted[each]),
        sold.worth,
        sold.n_unvalued,
        sold.gains,
    )
