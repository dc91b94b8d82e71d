"""Backups for people who never open a terminal: made, downloaded, checked and restored."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login
from django.db import connection
from django.http import FileResponse, Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.dateformat import format as date_format
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from inventory.ledger import record
from inventory.ledger.backup import (
    PREFIX,
    BackupRefused,
    Manifest,
    back_up,
    check,
    moment_of,
    restore,
)
from inventory.people.access import owners_only
from inventory.people.links import sign_in_path
from inventory.people.models import Person
from inventory.stock.photos import known_as

_KINDS = {
    "before-upgrade": "before an upgrade",
    "replaced": "what a restore replaced",
}


@dataclass(frozen=True)
class Kept:
    """A backup in the folder, as its row shows it."""

    name: str
    made_at: datetime
    size: int
    kind: str


def _kept() -> list[Kept]:
    """What the folder holds, latest first."""
    now = timezone.localtime()
    found = []
    for file in record.folder().glob(f"{PREFIX}*.zip"):
        kind = next((words for code, words in _KINDS.items() if f"-{code}-" in file.name), "")
        found.append(Kept(file.name, moment_of(file, now), file.stat().st_size, kind))
    return sorted(found, key=lambda each: (each.made_at, each.name), reverse=True)


class RestoreForm(forms.Form):
    """Which backup, and that what it means was understood."""

    name = forms.CharField(required=False)
    file = forms.FileField(label="A backup from elsewhere", required=False, allow_empty_file=True)
    is_meant = forms.BooleanField(
        label="Replace the whole record; everybody signs in anew",
        error_messages={"required": "Tick that you mean it: the whole record is replaced."},
    )

    def clean(self) -> dict[str, object]:
        data = super().clean()
        if not data.get("name") and not data.get("file") and "file" not in self.errors:
            self.add_error("file", "Pick the file of a backup.")
        return data


@owners_only
@never_cache
def backups(request: HttpRequest, form: RestoreForm | None = None) -> HttpResponse:
    return render(
        request,
        "ledger/backups.html",
        {
            "is_in_a_file": record.is_in_a_file(),
            "folder": record.folder(),
            "kept": _kept() if record.is_in_a_file() else [],
            "most": settings.BACKUPS_KEPT,
            "form": form or RestoreForm(),
        },
        status=422 if form else 200,
    )


@owners_only
@require_POST
def back_up_now(request: HttpRequest) -> HttpResponse:
    try:
        made = back_up(record.database(), record.folder(), timezone.localtime())
    except BackupRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(
            request, f"Backed up: {made.name}. Download it, to keep a copy elsewhere."
        )
    return redirect("ledger:backups")


@owners_only
@never_cache
def download(request: HttpRequest, name: str) -> FileResponse:
    return FileResponse(_named(name).open("rb"), as_attachment=True, filename=name)


@owners_only
@require_POST
def check_now(request: HttpRequest, name: str) -> HttpResponse:
    try:
        with _by_name(file := _named(name), name):
            found = check(file, record.known_migrations())
    except BackupRefused as refused:
        messages.error(request, str(refused))
    else:
        messages.success(request, f"{name} is whole, made {_when(found.made_at)}.")
    return redirect("ledger:backups")


@contextmanager
def _by_name(file: Path, name: str) -> Iterator[None]:
    """What is refused is called as people know it: an uploaded file lies in a place of ours."""
    try:
        yield
    except BackupRefused as refused:
        raise BackupRefused(str(refused).replace(str(file), name)) from refused


def _when(made_at: str) -> str:
    """The moment of a backup as the pages write it, 28 Nov 2026 09:44."""
    try:
        moment = datetime.fromisoformat(made_at)
    except ValueError:
        return made_at
    return date_format(timezone.localtime(moment) if moment.tzinfo else moment, "j M Y H:i")


def _named(name: str) -> Path:
    """A backup of the folder by its name: looked up among what is there, so that no name leads
    elsewhere."""
    found = next((each for each in record.folder().glob("*.zip") if each.name == name), None)
    if found is None:
        raise Http404("No backup of that name is in the folder.")
    return found


@owners_only
@require_POST
def restore_now(request: HttpRequest) -> HttpResponse:
    """Put a backup in the place of the record, and sign the owner in to what it holds."""
    form = RestoreForm(request.POST, request.FILES)
    if not form.is_valid():
        return backups(request, form)
    me = request.user.username
    try:
        with tempfile.TemporaryDirectory(dir=settings.DATA, prefix="uploaded-") as aside:
            name, found, replaced = _restored(form, Path(aside))
    except BackupRefused as refused:
        form.add_error("file" if form.cleaned_data.get("file") else None, str(refused))
        return backups(request, form)
    record.settle()
    request.session.flush()
    owners = Person.objects.filter(role=Person.Role.OWNER, is_active=True)
    owner = owners.filter(username=me).first() or owners.order_by("pk").first()
    if owner is None:
        owner = Person.objects.create_user(f"owner-{timezone.now():%Y%m%d%H%M%S}", role="owner")
    if owner.username == me:
        login(request, owner, backend="django.contrib.auth.backends.ModelBackend")
        said = f"Restored from {name}, made {_when(found.made_at)}."
        if replaced:
            said += f" What it replaced is kept as {replaced.name}."
        messages.success(request, said)
        return redirect("ledger:backups")
    return render(
        request,
        "ledger/restored.html",
        {"replaced": replaced, "owner": owner, "path": sign_in_path(owner)},
    )


def _restored(form: RestoreForm, aside: Path) -> tuple[str, Manifest, Path | None]:
    """By what name it was restored, what it is, and where what it replaced is kept."""
    uploaded = form.cleaned_data.get("file")
    if uploaded:
        file, name = aside / "uploaded.zip", known_as(uploaded.name)
        with file.open("wb") as written:
            for piece in uploaded.chunks():
                written.write(piece)
    else:
        file = _named(form.cleaned_data["name"])
        name = file.name
    known, now = record.known_migrations(), timezone.localtime()
    with _by_name(file, name):
        found = check(file, known)
        connection.close()
        return name, found, restore(file, record.database(), record.folder(), now, known)
