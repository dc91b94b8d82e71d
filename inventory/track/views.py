"""Adding, editing and removing the parts of a railway."""

from __future__ import annotations

from django.contrib import messages
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
    if request.method != "POST":
        return render(
            request, "track/remove.html", {"shown": shown, "what": what, "back": _above(shown)}
        )
    words, back = f"{shown} is removed.", _above(shown)
    try:
        shown.delete()
    except RestrictedError as used:
        tracks = ", ".join(sorted(each.name for each in used.restricted_objects))
        messages.error(
            request, f"{shown} was not removed: {tracks} ends there. Edit the track first."
        )
    else:
        messages.success(request, words)
    return redirect(back)


def _above(shown: Model) -> str:
    """The page to be on once it is gone."""
    if isinstance(shown, Railway):
        return reverse("track:railways")
    if isinstance(shown, Traffic):
        return shown.industry.get_absolute_url()
    place = shown if isinstance(shown, Place) else shown.place
    return place.railway.get_absolute_url()


# --- Forms ------------------------------------------------------------------------------------


def _edit(request: HttpRequest, form: ModelForm, title: str, back: str, done: str) -> HttpResponse:
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, f"{form.instance} is saved.")
        return redirect(done or form.instance.get_absolute_url())
    what = form._meta.model._meta.model_name
    return render(
        request,
        "track/form.html",
        {
            "form": form,
            "title": title,
            "back": back,
            "remove": form.instance.pk and reverse("track:remove", args=[what, form.instance.pk]),
        },
        status=422 if form.errors else 200,
    )


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
        last = on_railway.places.last()
        shown = Place(railway=on_railway, position=last.position + 1 if last else 1)
    else:
        shown = get_object_or_404(Place.objects.select_related("railway"), pk=pk)
    form = PlaceForm(request.POST or None, instance=shown)
    back = shown.railway.get_absolute_url()
    return _edit(request, form, f"Edit {shown}" if pk else "A place", back, back)


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
    return _edit(request, form, f"Edit {shown}" if pk else "A track", back, "")


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
    return _edit(request, form, f"Edit {shown}" if pk else "An industry", back, "")


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
