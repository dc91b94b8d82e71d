"""The stock that a page asks or offers: all that suits it, or as many as a page can hold.

A page that lists vehicles to pick from, or reckons with each of them, cannot take a hundred
thousand. Up to `MOST_OFFERED` nothing is left out; beyond, those of the railway come first, the
page says that there are more, and words typed as in the stock list narrow them.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from django.http import HttpRequest, QueryDict

from inventory.stock.models import IN_ORDER, Vehicle, VehicleQuerySet
from inventory.track.models import Home, HomeTrack, Railway, Standing

#: So many vehicles are offered on one page. Our own choice: more than most owners have of a size.
MOST_OFFERED = 1_000
#: So many railways stand on a page of one vehicle.
RAILWAYS_A_PAGE = 5

#: In the address, the words that narrow what is offered.
AMONG = "among"


@dataclass(frozen=True)
class Offer:
    """Vehicles in the order of the stock list, or those of the railway before the others where
    there are more than a page offers. words: as they were typed to narrow them."""

    vehicles: list[Vehicle]
    has_more: bool = False
    words: str = ""

    @property
    def is_shown(self) -> bool:
        """Whether a page has to say that not all are asked."""
        return self.has_more or bool(self.words)

    def __len__(self) -> int:
        return len(self.vehicles)


def words_in(request: HttpRequest) -> str:
    """What was typed to narrow the stock that a page offers."""
    return request.GET.get(AMONG, "").strip()[:100]


def asked_in(request: HttpRequest) -> QueryDict | None:
    """What a form on a page was sent with, apart from those words; None where it was not."""
    sent = request.GET.copy()
    sent.pop(AMONG, None)
    return sent or None


def offer(
    fleet: VehicleQuerySet,
    *,
    words: str = "",
    railway: Railway | None = None,
    keep: Iterable[str] = (),
) -> Offer:
    """The first vehicles of a fleet, in one query where it holds no more than is offered.

    railway: whose own come first. keep: keys, as a form sends them, of those that are in it
    whatever the words are.
    """
    found = (fleet.searched(words) if words else fleet).order_by(*IN_ORDER)
    listed = list(found[: MOST_OFFERED + 1])
    if len(listed) <= MOST_OFFERED and not words:
        return Offer(listed)
    keys = {int(key) for key in keep if key.isascii() and key.isdigit() and len(key) < 18}
    kept = list(fleet.filter(pk__in=keys).order_by(*IN_ORDER)) if keys else []
    has_more = len(listed) > MOST_OFFERED
    own: list[Vehicle] = []
    if has_more and railway is not None:
        own = list(found.filter(pk__in=_own(railway))[:MOST_OFFERED])
    several = {each.pk: each for each in (*kept, *own, *listed)}
    most = MOST_OFFERED if has_more else len(several)
    return Offer(list(several.values())[:most], has_more, words)


def _own(railway: Railway) -> Collection[int]:
    """Those that stand or are at home on a railway."""
    standing = Standing.objects.filter(track__place__railway=railway).order_by()
    homes = Home.objects.filter(industry__place__railway=railway).order_by()
    tracks = HomeTrack.objects.filter(track__place__railway=railway).order_by()
    return {
        pk for rows in (standing, homes, tracks) for pk in rows.values_list("vehicle", flat=True)
    }
