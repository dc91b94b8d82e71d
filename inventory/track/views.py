"""Adding, editing and removing the parts of a railway."""

from __future__ import annotations

from collections.abc import Callable

from django.contrib import messages
from django.db import IntegrityError, transaction
from django.db.models import Model, RestrictedError
from django.forms import ModelForm
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse

from inventory.people.access import writers_only
from inventory.stock import history
from inventory.track.forms import (
    IndustryForm,
    PlaceForm,
    RailwayForm,
    TrackForm,
    TrafficForm,
    TurnoutForm,
    differences,
    named,
)
from inventory.track.homes import homeless_by
from inventory.track.laying import (
    Overtaken,
    ending_at,
    going_with,
    lay,
    lay_place,
    unsettled_by,
)
from inventory.track.models import Industry, Place, Railway, Track, Traffic, Turnout

#: What a person may remove from a railway, by the word for it in the address.
REMOVABLE: dict[str, type[Model]] = {
    "railway": Railway,
    "place": Place,
    "turnout": Turnout,
    "track": Track,
    "industry": Industry,
    "traffic": Traffic,
}


# --- Removing ---------------------------------------------------------------------------------


@writers_only
def remove(request: HttpRequest, what: str, pk: int) -> HttpResponse:
    """Ask first, then remove a part of a railway; the vehicles stay in the record."""
    if what not in REMOVABLE:
        raise Http404
    shown = get_object_or_404(REMOVABLE[what], pk=pk)
    ends = _ends_at(shown)
    if request.method != "POST":
        standing, industries = unsettled_by(shown)
        return render(
            request,
            "track/remove.html",
            {
                "shown": shown,
                "what": what,
                "back": _above(shown),
                "going": going_with(shown),
                "standing": named(each.identity for each in standing),
                "n_standing": len(standing),
                "industries": named(str(each) for each in industries),
                "n_industries": len(industries),
                "ends": ends,
            },
        )
    words, back = f"{shown} is removed.", _above(shown)
    try:
        with transaction.atomic():
            homeless_by(part=shown, by=request.user)
            shown.delete()
    except RestrictedError:
        messages.error(request, f"{shown} was not removed: {_words_of(ends)}")
    else:
        messages.success(request, words)
    return redirect(back)


def _ends_at(shown: Model) -> list[Track]:
    """Tracks that stay but end at a turnout that would go, so that it cannot."""
    if isinstance(shown, Turnout):
        return ending_at([shown])
    if isinstance(shown, Place):
        return [each for each in ending_at(shown.turnouts.all()) if each.place_id != shown.pk]
    return []


def _words_of(ends: list[Track]) -> str:
    names = named(each.name for each in ends)
    return f"{names} {'ends' if len(ends) == 1 else 'end'} there. Edit the track first."


def _above(shown: Model) -> str:
    """The page to be on once it is gone."""
    if isinstance(shown, Railway):
        return reverse("track:railways")
    if isinstance(shown, Traffic):
        return shown.industry.get_absolute_url()
    place = shown if isinstance(shown, Place) else shown.place
    return place.railway.get_absolute_url()


# --- Forms ------------------------------------------------------------------------------------


def _edit(
    request: HttpRequest,
    form: ModelForm,
    title: str,
    back: str,
    done: str,
    *,
    write: Callable[[int], Model] | None = None,
) -> HttpResponse:
    """Show a form, or save what was typed unless somebody saved the same part meanwhile.

    write: saves it, given the revision that was seen; without it the form's own part is laid.
    """
    part, overtaken = form.instance, None
    shown = {"form": form, "title": title, "back": back, "revision": part.revision}
    if part.pk:
        shown["remove"] = reverse("track:remove", args=[part._meta.model_name, part.pk])
    if request.method == "POST":
        seen = shown["revision"] = _revision(request)
        if form.is_valid():
            try:
                write(seen) if write else lay(part=part, seen_revision=seen)
            except Overtaken as error:
                overtaken = error.now
            except IntegrityError:
                form.add_error("name", "One of that name was added a moment ago; type another.")
            except type(part).DoesNotExist as error:
                raise Http404 from error
            else:
                messages.success(request, f"{part} is saved.")
                return redirect(done or part.get_absolute_url())
    if overtaken is not None:
        shown |= {
            "overtaken": overtaken,
            "differences": differences(form, overtaken),
            "revision": overtaken.revision,
        }
    status = 409 if overtaken is not None else 422 if form.errors else 200
    return render(request, "track/form.html", shown, status=status)


def _revision(request: HttpRequest) -> int:
    text = request.POST.get("revision", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 9 else 0


@writers_only
def edit_railway(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    shown = None if pk is None else get_object_or_404(Railway, pk=pk)
    form = RailwayForm(
        request.POST or None,
        instance=shown,
        unit=request.user.unit,
        used=history.scales_in_use(),
    )
    back = shown.get_absolute_url() if shown else "/tracks/"
    return _edit(request, form, f"Edit {shown}" if shown else "A railway", back, "")


@writers_only
def edit_place(
    request: HttpRequest, railway_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    if pk is None:
        on_railway = get_object_or_404(Railway, pk=railway_pk)
        shown = Place(railway=on_railway, position=1)
    else:
        shown = get_object_or_404(Place.objects.select_related("railway"), pk=pk)
    form = PlaceForm(request.POST or None, instance=shown)
    back = shown.railway.get_absolute_url()

    def write(seen: int) -> Place:
        return lay_place(place=shown, after=form.place_before, seen_revision=seen)

    title = f"Edit {shown}" if pk else "A place"
    return _edit(request, form, title, back, back, write=write)


@writers_only
def edit_turnout(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Turnout(place=get_object_or_404(Place.objects.select_related("railway"), pk=place_pk))
        if pk is None
        else get_object_or_404(Turnout.objects.select_related("place__railway"), pk=pk)
    )
    form = TurnoutForm(request.POST or None, instance=shown, unit=request.user.unit)
    back = shown.place.railway.get_absolute_url()
    return _edit(request, form, f"Edit {shown}" if pk else "A turnout", back, back)


@writers_only
def edit_track(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    if pk is None:
        place = get_object_or_404(Place.objects.select_related("railway"), pk=place_pk)
        shown = Track(place=place, position=place.tracks.count() + 1)
    else:
        shown = get_object_or_404(Track.objects.select_related("place__railway"), pk=pk)
    form = TrackForm(request.POST or None, instance=shown, unit=request.user.unit)
    back = shown.get_absolute_url() if pk else shown.place.railway.get_absolute_url()
    title = f"Edit {shown}" if pk else f"A track at {shown.place.name}"
    return _edit(request, form, title, back, "")


@writers_only
def edit_industry(
    request: HttpRequest, place_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Industry(place=get_object_or_404(Place.objects.select_related("railway"), pk=place_pk))
        if pk is None
        else get_object_or_404(Industry.objects.select_related("place__railway"), pk=pk)
    )
    form = IndustryForm(request.POST or None, instance=shown)
    back = shown.get_absolute_url() if pk else shown.place.railway.get_absolute_url()

    def write(seen: int) -> Industry:
        return lay(part=shown, seen_revision=seen, tracks=form.cleaned_data["tracks"])

    title = f"Edit {shown}" if pk else "An industry"
    return _edit(request, form, title, back, "", write=write)


@writers_only
def edit_traffic(
    request: HttpRequest, industry_pk: int | None = None, pk: int | None = None
) -> HttpResponse:
    shown = (
        Traffic(industry=get_object_or_404(Industry, pk=industry_pk))
        if pk is None
        else get_object_or_404(Traffic.objects.select_related("industry"), pk=pk)
    )
    form = TrafficForm(request.POST or None, instance=shown)
    back = shown.industry.get_absolute_url()
    return _edit(request, form, f"Edit {shown}" if pk else "Traffic", back, back)
