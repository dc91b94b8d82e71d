"""The pages of the whole record: take it with you, bring it back, and how the file is laid out."""

from __future__ import annotations

import tempfile

from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST, require_safe

from inventory.ledger.reading import Unreadable
from inventory.ledger.sections import FORMAT, SECTIONS
from inventory.ledger.shape import SCHEMA_FILE, described, schema_text
from inventory.ledger.taking_in import ImportRefused, take_in
from inventory.ledger.telling import counted
from inventory.ledger.writing import ExportRefused, write
from inventory.people.access import owners_only, writers_only

_TYPES = {
    "json": "application/json",
    "zip": "application/zip",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}


@require_safe
def everything(request: HttpRequest) -> HttpResponse:
    """Out and in again, with what there is."""
    return _page(request)


def _page(request: HttpRequest, status: int = 200, **more: object) -> HttpResponse:
    held = [(section, number) for section, number in counted() if number]
    return render(request, "ledger/everything.html", {"held": held, **more}, status=status)


@writers_only
@require_GET
def export_everything(request: HttpRequest, suffix: str) -> HttpResponse:
    """The whole record as a file. photos=no leaves them out."""
    if suffix not in _TYPES:
        raise Http404
    moment = timezone.now()
    # Closed by the answer, once it was sent.
    aside = tempfile.TemporaryFile()  # noqa: SIM115
    try:
        write(aside, f".{suffix}", moment, with_photos=request.GET.get("photos") != "no")
    except ExportRefused as refused:
        aside.close()
        return _page(request, 422, problems=[str(refused)])
    aside.seek(0)
    name = f"carknocker-{moment:%Y%m%d-%H%M%S}.{suffix}"
    return FileResponse(aside, as_attachment=True, filename=name, content_type=_TYPES[suffix])


@owners_only
@require_POST
def import_everything(request: HttpRequest) -> HttpResponse:
    """Look into a file, or take it in. It brings people and what they may do: owners only."""
    file = request.FILES.get("file")
    if file is None:
        return _page(request, 422, problems=["No file was chosen; choose one that was exported."])
    try:
        done = take_in(file, file.name, by=request.user, is_dry="check" in request.POST)
    except Unreadable as refused:
        return _page(request, 422, problems=[str(refused)], file_name=file.name)
    except ImportRefused as refused:
        return _page(request, 422, problems=refused.lines, file_name=file.name)
    return _page(
        request,
        422 if done.is_refused else 200,
        done=done,
        file_name=file.name,
    )


@require_safe
def shape(request: HttpRequest) -> HttpResponse:
    """Every section and column of the whole record, in words."""
    shown = [(section, described(section)) for section in SECTIONS]
    return render(
        request,
        "ledger/shape.html",
        {"sections": shown, "format": FORMAT, "schema_file": SCHEMA_FILE},
    )


@require_safe
def shape_schema(request: HttpRequest) -> HttpResponse:
    """The JSON Schema of the document."""
    return HttpResponse(schema_text(), content_type="application/schema+json")
