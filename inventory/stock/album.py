"""The pages of photos, the same whatever is on them. Each room has an Album."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from uuid import UUID

from django.contrib import messages
from django.db import models
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import URLPattern, path, reverse
from django.utils.cache import get_conditional_response
from django.views.decorators.http import require_POST

from inventory.people.access import writers_only
from inventory.stock.facts import Pictured
from inventory.stock.forms import NewPhotosForm, PhotoForm
from inventory.stock.models import SetAside
from inventory.stock.photos import PhotoRefused
from inventory.stock.picturing import MOST_AT_ONCE, Chosen, chosen, set_aside

A_YEAR = 365 * 24 * 60 * 60


def as_jpeg(request: HttpRequest, etag: str, jpeg: Callable[[], bytes]) -> HttpResponse:
    """A picture for whoever is signed in. Its address changes with it, so that a browser may keep
    it; one that has it already is told so before the picture is fetched."""
    answer = get_conditional_response(request, etag=f'"{etag}"') or HttpResponse(
        jpeg(), content_type="image/jpeg"
    )
    answer["ETag"] = f'"{etag}"'
    answer["Cache-Control"] = f"private, max-age={A_YEAR}, immutable"
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cross-Origin-Resource-Policy"] = "same-origin"
    return answer


def chosen_with(request: HttpRequest) -> Chosen:
    """The photos that came with a form, those still ticked that waited for it among them."""
    if request.method != "POST":
        return Chosen()
    files, tokens = request.FILES.getlist("photos"), request.POST.getlist("aside")
    return chosen(files, request.user, tokens)


def aside(request: HttpRequest, token: UUID) -> HttpResponse:
    """The thumbnail of a photo that waits for its form, for the one who sent it."""
    waiting = get_object_or_404(SetAside, pk=token, sent_by=request.user)
    return as_jpeg(request, str(token), lambda: bytes(waiting.thumbnail))


@dataclass(frozen=True)
class Album:
    """The pages of one kind of photo.

    subjects: what may be on them. The rest are the room's writers, each called with `photo` or
    the subject under the name of its role, as `stock.recording.add_photos` and its like are.
    """

    kind: type[Pictured]
    subjects: Callable[[], models.QuerySet]
    add: Callable[..., list[Pictured]]
    describe: Callable[..., None]
    move: Callable[..., None]
    remove: Callable[..., None]

    def paths(self, before: str = "") -> list[URLPattern]:
        """Its addresses; those of what is on the photos begin with `before`."""
        return [
            path(f"{before}<int:pk>/photos/", self.photos, name="photos"),
            path("photos/<int:pk>/", self.photo, name="photo"),
            path(
                "photos/<int:pk>/move/", writers_only(require_POST(self.shift)), name="move-photo"
            ),
            path("photos/<int:pk>/remove/", writers_only(self.take_down), name="remove-photo"),
            path("photos/<int:pk>/<str:digest>.jpg", self.picture, name="picture"),
            path("photos/<int:pk>/small/<str:digest>.jpg", self.thumbnail, name="thumbnail"),
        ]

    def _around(self, subject: models.Model) -> dict[str, object]:
        space = self.kind.space
        return {
            "subject": subject,
            "photos": list(subject.photos.all()),
            "space": space,
            "all": reverse(f"{space}:photos", args=[subject.pk]),
        }

    # What is on them ------------------------------------------------------------------------

    def photos(self, request: HttpRequest, pk: int) -> HttpResponse:
        """The photos of something in their order, and more of them added."""
        subject = get_object_or_404(self.subjects(), pk=pk)
        if request.method == "POST":
            return writers_only(self._add)(request, subject)
        return self._photos_page(request, subject, NewPhotosForm(), Chosen())

    def _add(self, request: HttpRequest, subject: models.Model) -> HttpResponse:
        form, found = NewPhotosForm(request.POST), chosen_with(request)
        if not found.photos and not found.refused:
            found.refused.append("Choose at least one photo.")
        if not form.is_valid() or not found.photos:
            return self._photos_page(request, subject, form, found)
        try:
            self.add(
                **{self.kind.role: subject},
                photos=found.described(**form.cleaned_data),
                by=request.user,
            )
        except PhotoRefused as refused:
            return self._photos_page(request, subject, form, Chosen(refused=[str(refused)]))
        n_kept = len(found.photos)
        messages.success(request, f"{n_kept} photo{'' if n_kept == 1 else 's'} kept.")
        for words in found.refused:
            messages.error(request, f"Not kept: {words}")
        return redirect(f"{self.kind.space}:photos", pk=subject.pk)

    def _photos_page(
        self, request: HttpRequest, subject: models.Model, form: NewPhotosForm, found: Chosen
    ) -> HttpResponse:
        is_faulty = bool(found.refused or form.errors)
        if is_faulty:
            set_aside(found, request.user)
        return render(
            request,
            "stock/photos.html",
            {
                **self._around(subject),
                "form": form,
                "chosen": found,
                "most": MOST_AT_ONCE,
                "is_faulty": is_faulty,
            },
            status=422 if is_faulty else 200,
        )

    # One photo ------------------------------------------------------------------------------

    def _photo(self, pk: int) -> Pictured:
        return get_object_or_404(
            self.kind.objects.select_related(self.kind.role, "added_by"), pk=pk
        )

    def photo(self, request: HttpRequest, pk: int) -> HttpResponse:
        """One photo, large, with what is said of it and its neighbours."""
        shown = self._photo(pk)
        form = PhotoForm(
            request.POST if request.method == "POST" else None,
            initial={"caption": shown.caption, "taken_on": shown.taken_on},
        )
        if request.method == "POST":
            return writers_only(self._describe)(request, shown, form)
        return self._photo_page(request, shown, form)

    def _describe(self, request: HttpRequest, shown: Pictured, form: PhotoForm) -> HttpResponse:
        if form.is_valid():
            self.describe(photo=shown, **form.cleaned_data, by=request.user)
            messages.success(request, "What is said of the photo is saved.")
            return redirect(shown)
        return self._photo_page(request, shown, form)

    def _photo_page(self, request: HttpRequest, shown: Pictured, form: PhotoForm) -> HttpResponse:
        around = self._around(shown.subject)
        pks = [each.pk for each in around["photos"]]
        if shown.pk not in pks:  # removed in this very moment
            raise Http404
        here = pks.index(shown.pk)
        return render(
            request,
            "stock/photo.html",
            {
                **around,
                "photo": shown,
                "form": form,
                "number": here + 1,
                "before": around["photos"][here - 1] if here else None,
                "after": around["photos"][here + 1] if here + 1 < len(pks) else None,
            },
            status=422 if form.errors else 200,
        )

    def shift(self, request: HttpRequest, pk: int) -> HttpResponse:
        """One place up or down in the order."""
        photo = self._photo(pk)
        self.move(photo=photo, is_earlier=request.POST.get("way") != "later")
        # To the photo itself: in a long row nobody should have to look for it again.
        photos = reverse(f"{self.kind.space}:photos", args=[photo.subject.pk])
        return redirect(f"{photos}#photo-{photo.pk}")

    def take_down(self, request: HttpRequest, pk: int) -> HttpResponse:
        """Ask first, then remove a photo for good."""
        photo = self._photo(pk)
        if request.method != "POST":
            return render(
                request, "stock/photo_remove.html", {**self._around(photo.subject), "photo": photo}
            )
        subject = photo.subject
        self.remove(photo=photo, by=request.user)
        messages.success(request, "The photo is removed for good.")
        return redirect(f"{self.kind.space}:photos", pk=subject.pk)

    # The pictures themselves ----------------------------------------------------------------

    def picture(self, request: HttpRequest, pk: int, digest: str) -> HttpResponse:
        shown = get_object_or_404(self.kind, pk=pk, digest=digest)
        return as_jpeg(request, digest, lambda: bytes(shown.jpeg))

    def thumbnail(self, request: HttpRequest, pk: int, digest: str) -> HttpResponse:
        shown = get_object_or_404(self.kind, pk=pk, digest=digest)
        return as_jpeg(request, f"{digest}-small", lambda: bytes(shown.thumbnail))
