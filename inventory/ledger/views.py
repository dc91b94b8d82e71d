"""Pages of the ledger: the history of a vehicle, and what the collection comes to."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from inventory.ledger import timeline, worth
from inventory.trouble.routine import LAPS, MONTHS

#: So many events are on one page.
EVENTS = 50


def history(request: HttpRequest, pk: int) -> HttpResponse:
    """Everything that happened to one vehicle, the latest first, by day."""
    shown = get_object_or_404(timeline.vehicles_with_history(), pk=pk)
    events = timeline.events_of(shown)
    asked = request.GET.get("kind", "")
    kind = next((each for each in timeline.Kind if each.slug == asked), None)
    chosen = [event for event in events if kind in (None, event.kind)]
    page = Paginator(chosen, EVENTS).get_page(request.GET.get("page"))
    return render(
        request,
        "ledger/history.html",
        {
            "vehicle": shown,
            "kinds": timeline.by_kind(events),
            "n_events": len(events),
            "kind": kind,
            "page": page,
            "query": f"kind={kind.slug}" if kind else "",
            "days": timeline.by_day(page.object_list),
        },
    )


def overview(request: HttpRequest) -> HttpResponse:
    """What the collection comes to, how much of it is fit to run, what waits and what left."""
    listed = worth.holdings()
    return render(
        request,
        "ledger/overview.html",
        {
            "whole": worth.Sum.of(listed),
            "breakdowns": worth.breakdowns(listed),
            "services": worth.services(listed),
            "waiting": worth.waiting(listed),
            "left": worth.left_in(timezone.localdate().year),
            "months": MONTHS,
            "laps": LAPS,
        },
    )
