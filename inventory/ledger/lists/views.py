"""The pages by which lists of vehicles come in and go out."""

from __future__ import annotations

import math
import tempfile
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from django.conf import settings
from django.contrib import messages
from django.core.paginator import Paginator
from django.http import FileResponse, Http404, HttpRequest, HttpResponse, StreamingHttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from inventory.ledger.lists import columns, outgoing, writing
from inventory.ledger.lists.columns import COLUMNS
from inventory.ledger.lists.files import Listed, ListRefused
from inventory.ledger.lists.forms import ExportForm, ReadingForm, TermsForm, UploadForm
from inventory.ledger.lists.incoming import (
    Incoming,
    ListOvertaken,
    RowsRefused,
    Terms,
    headings_of,
)
from inventory.ledger.lists.shelf import Kept, Shelf
from inventory.people.access import writers_only
from inventory.stock import history
from inventory.stock.filters import VehicleFilter
from inventory.stock.models import Vehicle

PER_PAGE = 50
#: What the preview can be narrowed to, in the order in which it matters.
DEEDS = ("error", "new", "changed", "same", "left out")


def shelf() -> Shelf:
    """Where uploaded lists lie."""
    return Shelf(Path(settings.DATA) / "lists")


# --- In -----------------------------------------------------------------------------------------


@writers_only
@never_cache
def bring(request: HttpRequest) -> HttpResponse:
    """Pick a file; what was begun and not finished."""
    form = UploadForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        file = form.cleaned_data["file"]
        try:
            kept = shelf().put(file, file.name, request.user.pk)
        except ListRefused as refused:
            form.add_error("file", str(refused))
        else:
            return _onward(request, kept)
    return render(
        request,
        "ledger/import.html",
        {"form": form, "unfinished": shelf().of(request.user.pk)},
        status=422 if form.errors else 200,
    )


def _onward(request: HttpRequest, kept: Kept) -> HttpResponse:
    """To the columns; past them where these headings were met before and nothing is open."""
    listed = kept.listed()
    terms = _first_terms(request, listed)
    known = shelf().known_terms(_headings(listed, terms.heading_row), request.user.pk)
    if known is not None:
        remembered = Terms.from_dict({**known, "heading_row": terms.heading_row})
        incoming = _incoming(request, listed, remembered)
        if not incoming.missing() and not incoming.question():
            _plan(kept, incoming, remembered)
            return redirect("ledger:look-through", token=kept.token)
        terms = remembered
    kept.note(terms=None, draft=terms.as_dict())
    return redirect("ledger:import-columns", token=kept.token)


def _first_terms(request: HttpRequest, listed: Listed) -> Terms:
    """What the headings tell, before anybody said anything."""
    at = columns.heading_row([row.cells for row in listed.rows[:60]])
    return _guessed(request, listed, at)


def _guessed(request: HttpRequest, listed: Listed, heading_row: int | None) -> Terms:
    codes = tuple(columns.guess(_headings(listed, heading_row)))
    used = history.scales_in_use()
    standard = "" if {"family", "scale"} <= set(codes) or not used else "/".join(used[0])
    constants = {} if "uid" in codes or "axles" in codes else {"axles": "4"}
    return Terms(heading_row, codes, standard, constants)


def _headings(listed: Listed, heading_row: int | None) -> list[str]:
    below = 0 if heading_row is None else heading_row
    width = max((len(row.cells) for row in listed.rows[below:]), default=0)
    return headings_of(listed.rows, heading_row, width)


def _incoming(request: HttpRequest, listed: Listed, terms: Terms) -> Incoming:
    return Incoming(
        listed.rows,
        terms,
        unit=request.user.unit,
        today=timezone.localdate(),
        is_1904=listed.is_1904,
    )


def _plan(kept: Kept, incoming: Incoming, terms: Terms) -> None:
    begun = time.monotonic()
    kept.keep_plan((asdict(each), each.digest) for each in incoming.plan())
    took = time.monotonic() - begun
    kept.note(terms=terms.as_dict(), draft=terms.as_dict(), took=took)


def _taken(request: HttpRequest, token: str) -> Kept | None:
    kept = shelf().take(token, request.user.pk)
    if kept is None:
        messages.error(
            request,
            "That list is not here any more: it was imported already, which the stock list shows, "
            "or lay for more than a day. Upload it again if its vehicles are not there.",
        )
    elif kept.is_being_written:
        messages.error(
            request,
            f"{kept.name} is being imported at this moment: nothing need be pressed again. Its "
            "vehicles are in the stock list as soon as it is through.",
        )
        return None
    return kept


@writers_only
@never_cache
def columns_of(request: HttpRequest, token: str) -> HttpResponse:
    """What each column means, and what the list lacks."""
    kept = _taken(request, token)
    if kept is None:
        return redirect("ledger:import")
    listed = kept.listed()
    draft = kept.facts.get("draft")
    terms = Terms.from_dict(draft) if draft else _first_terms(request, listed)
    reading = ReadingForm(
        request.POST if "reread" in request.POST else None,
        listed=listed,
        heading_row=terms.heading_row,
    )
    if "reread" in request.POST and reading.is_valid():
        return _reread(request, kept, listed, reading)
    headings = _headings(listed, terms.heading_row)
    # Whatever was answered before, so that the answer can be changed.
    unanswered = replace(terms, day_order="")
    asked = _incoming(request, listed, unanswered).question() if terms.columns else ""
    form = _terms_form(request, listed, terms, headings, asked)
    if request.method == "POST" and "reread" not in request.POST and form.is_valid():
        said = form.terms(terms.heading_row)
        incoming = _incoming(request, listed, said)
        problems = incoming.missing() or [each for each in [incoming.check_constants()] if each]
        if problems or incoming.question():
            kept.note(draft=said.as_dict())
            form = _terms_form(request, listed, said, headings, incoming.question() or asked)
            form.is_valid()
            for words in problems:
                form.add_error(None, words)
            if incoming.question():
                form.add_error("day_order", "Say which of the two it is.")
        else:
            _plan(kept, incoming, said)
            shelf().remember(headings, request.user.pk, said.as_dict())
            return redirect("ledger:look-through", token=kept.token)
    is_refused = (form.is_bound and not form.is_valid()) or reading.is_bound
    return render(
        request,
        "ledger/import_columns.html",
        {
            "kept": kept,
            "form": form,
            "reading": reading,
            "repeated": columns.repeated(headings),
            "n_rows": len(listed.rows)
            - (0 if terms.heading_row is None else terms.heading_row + 1),
            "n_hidden": sum(row.is_hidden for row in listed.rows),
        },
        status=422 if is_refused else 200,
    )


def _terms_form(
    request: HttpRequest, listed: Listed, terms: Terms, headings: list[str], asked: str
) -> TermsForm:
    below = 0 if terms.heading_row is None else terms.heading_row + 1
    return TermsForm(
        request.POST if request.method == "POST" and "reread" not in request.POST else None,
        headings=headings,
        samples=[_samples(listed, index, below) for index in range(len(headings))],
        used=history.scales_in_use(),
        terms=terms,
        asks_for_days=asked,
    )


def _samples(listed: Listed, index: int, below: int) -> list[str]:
    """The first three different things in a column."""
    found: dict[str, None] = {}
    for row in listed.rows[below : below + 500]:
        if index < len(row.cells) and row.cells[index].strip():
            found[row.cells[index][:40]] = None
            if len(found) == 3:
                break
    return list(found)


def _reread(
    request: HttpRequest, kept: Kept, listed: Listed, reading: ReadingForm
) -> HttpResponse:
    choice = reading.choice
    is_otherwise = any(name in reading.changed_data for name in ("sheet", "encoding", "delimiter"))
    try:
        if is_otherwise:
            listed = kept.read(choice)
            kept.note(draft=_first_terms(request, listed).as_dict())
        else:
            at = reading.cleaned_data["heading_row"]
            kept.note(draft=_guessed(request, listed, None if at < 0 else at).as_dict())
    except ListRefused as refused:
        messages.error(request, str(refused))
    return redirect("ledger:import-columns", token=kept.token)


@writers_only
@never_cache
def look_through(request: HttpRequest, token: str) -> HttpResponse:
    """What would happen with every row."""
    kept = _taken(request, token)
    if kept is None:
        return redirect("ledger:import")
    if not kept.has_plan:
        return redirect("ledger:import-columns", token=kept.token)
    return _preview(request, kept)


def _preview(request: HttpRequest, kept: Kept, told: str = "", status: int = 200) -> HttpResponse:
    counts = kept.facts["counts"]
    show = request.GET.get("show", "")
    show = show if counts.get(show) else ""
    rows = [each for _, each in kept.plan() if not show or each["deed"] == show]
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    for each in page:
        each["in_short"] = _in_short(each)
    tally = [(deed, counts[deed]) for deed in DEEDS if counts.get(deed)]
    return render(
        request,
        "ledger/import_preview.html",
        {
            "kept": kept,
            "told": told,
            "page": page,
            "pages": page.paginator.get_elided_page_range(page.number, on_each_side=2, on_ends=1),
            "show": show,
            "tally": tally,
            "total": sum(counts.values()),
            "counts": {deed.replace(" ", "_"): counts.get(deed, 0) for deed in DEEDS},
            "n_writes": counts.get("new", 0) + counts.get("changed", 0),
            "seconds": _seconds_to_write(kept),
        },
        status=status,
    )


#: Writing looks at every row again and then keeps it: measured, twice to two and a half times what
#: looking took.
_AS_LONG_AGAIN = 2.5


def _seconds_to_write(kept: Kept) -> int:
    """About how long writing takes here, from how long looking took; 0 where nobody would wait."""
    seconds = math.ceil(kept.facts.get("took", 0) * _AS_LONG_AGAIN)
    return seconds if seconds >= 3 else 0


#: What a line about a new vehicle need not repeat, and what goes without saying.
_SAID = {COLUMNS[code].label for code in ("reporting_mark", "number")}
_USUAL = {("Side buffers", "no")} | {
    (COLUMNS[f"mounting_{end}"].label, "body") for end in ("a", "b")
}


def _in_short(planned: dict[str, Any]) -> list[tuple[str, str]]:
    """What would be kept of a new vehicle, but what its line says already."""
    kept = [(label, after) for label, _, after in planned["differences"]]
    return [each for each in kept if each[0] not in _SAID and each not in _USUAL]


@writers_only
@require_POST
def carry_out(request: HttpRequest, token: str) -> HttpResponse:
    """Do what was shown: all of it or nothing."""
    kept = _taken(request, token)
    if kept is None:
        return redirect("ledger:import")
    if not kept.has_plan:
        return redirect("ledger:import-columns", token=kept.token)
    with kept.claimed() as is_ours:
        if not is_ours:
            _taken(request, token)  # says why
            return redirect("ledger:import")
        return _write(request, kept)


def _write(request: HttpRequest, kept: Kept) -> HttpResponse:
    terms = Terms.from_dict(kept.facts["terms"])
    incoming = _incoming(request, kept.listed(), terms)
    seen = {each["number"]: digest for digest, each in kept.plan()}
    try:
        outcome = incoming.carry_out(
            by=request.user,
            seen=lambda number: seen.get(number, ""),
            leaves_errors_out=request.POST.get("without_errors") == "on",
        )
    except ListOvertaken as overtaken:
        _plan(kept, incoming, terms)
        return _preview(request, kept, str(overtaken), status=409)
    except RowsRefused as refused:
        return _preview(request, kept, str(refused), status=422)
    name = kept.name
    kept.discard()
    said = [
        f"{outcome.new} new" if outcome.new else "",
        f"{outcome.changed} changed" if outcome.changed else "",
        f"{outcome.same} as they were" if outcome.same else "",
        f"{outcome.left_out} left out" if outcome.left_out else "",
    ]
    messages.success(request, f"{name}: {', '.join(part for part in said if part)}.")
    return redirect("stock:vehicle-list")


@writers_only
@require_POST
def discard(request: HttpRequest, token: str) -> HttpResponse:
    """Take an uploaded list away."""
    kept = _taken(request, token)
    if kept is not None:
        kept.discard()
        messages.success(request, "The uploaded list is removed; the record is as it was.")
    return redirect("ledger:import")


# --- Out ----------------------------------------------------------------------------------------


def _chosen(request: HttpRequest, with_retired: bool) -> Any:
    vehicles = Vehicle.everyone.of_the_house() if with_retired else Vehicle.objects.all()
    return VehicleFilter(request.GET, queryset=vehicles.for_list())


def export(request: HttpRequest) -> HttpResponse:
    """Choose what leaves, and how it is written."""
    form = ExportForm(request.GET if "kind" in request.GET else None)
    is_valid = form.is_bound and form.is_valid()
    told = form.cleaned_data if is_valid else {}
    if is_valid and "download" in request.GET:
        query = request.GET.copy()
        query.pop("download")
        kind = query.pop("kind")[-1]
        return redirect(f"{request.path}vehicles.{kind}?{query.urlencode()}")
    chosen = _chosen(request, told.get("with_retired", False))
    return render(
        request,
        "ledger/export.html",
        {"form": form, "filter": chosen, "n_vehicles": chosen.qs.count()},
    )


def download(request: HttpRequest, kind: str) -> HttpResponse:
    """The file itself."""
    form = ExportForm({**request.GET.dict(), "kind": kind})
    if not form.is_valid():
        raise Http404("There is no such export.")
    told = form.cleaned_data
    vehicles = _chosen(request, told["with_retired"]).qs
    headings = outgoing.headings(is_measured=told["is_measured"])
    rows = outgoing.rows(vehicles, is_measured=told["is_measured"])
    name = f"vehicles-{timezone.localdate():%Y-%m-%d}.{kind}"
    if kind == "xlsx":
        file = tempfile.TemporaryFile()  # noqa: SIM115 - the response closes it
        writing.write_workbook(file, headings, rows, title="Vehicles")
        file.seek(0)
        return FileResponse(
            file,
            as_attachment=True,
            filename=name,
            content_type="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
        )
    pieces = writing.as_csv(
        headings, rows, delimiter=told["delimiter"] or ",", has_mark=told["has_mark"]
    )
    answer = StreamingHttpResponse(pieces, content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer
