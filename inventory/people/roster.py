"""The owner's pages: who may come in, as what, and from where they do."""

from __future__ import annotations

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from inventory.people import admitting
from inventory.people.access import owners_only
from inventory.people.admitting import PeopleRefused
from inventory.people.devices import end, end_all
from inventory.people.forms import AmendPersonForm, PersonForm
from inventory.people.links import living_link, take_back
from inventory.people.models import Device, Person
from inventory.people.showing import devices_of, link_page


@owners_only
@never_cache
def people(request: HttpRequest) -> HttpResponse:
    signed_in = Device.objects.signed_in(timezone.now()).order_by().values("person")
    counts = dict(signed_in.annotate(n=Count("pk")).values_list("person", "n"))
    everybody = sorted(Person.objects.all(), key=lambda each: (str(each).casefold(), each.pk))
    shown = [(each, counts.get(each.pk, 0)) for each in everybody]
    return render(
        request,
        "people/people.html",
        {
            "inside": [(each, n) for each, n in shown if each.is_active],
            "outside": [each for each, _ in shown if not each.is_active],
        },
    )


@owners_only
def new_person(request: HttpRequest) -> HttpResponse:
    form = PersonForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        try:
            added = admitting.admit(**form.cleaned_data)
        except PeopleRefused as refused:
            form.add_error(refused.field, str(refused))
        else:
            messages.success(request, f"{added} is added. Make a sign-in link to bring them in.")
            return redirect("people:person", added.pk)
    return render(
        request, "people/new_person.html", {"form": form}, status=422 if form.errors else 200
    )


@owners_only
@never_cache
def person(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody: what they are called, their role, their link, where they are signed in."""
    shown = get_object_or_404(Person, pk=pk)
    initial = {"name": str(shown), "username": shown.username, "role": shown.role}
    form = AmendPersonForm(request.POST or None, initial=initial)
    if request.method == "POST" and form.is_valid():
        try:
            kept = admitting.amend_person(person=shown, **form.cleaned_data)
        except PeopleRefused as refused:
            form.add_error(refused.field, str(refused))
        else:
            messages.success(request, f"Kept: {kept}, {kept.role}.")
            # Whoever is no owner any more may not see this page.
            is_still_mine = kept != request.user or kept.is_owner
            return (
                redirect("people:person", pk) if is_still_mine else redirect("people:preferences")
            )
    return render(
        request,
        "people/person.html",
        {
            "person": shown,
            "form": form,
            "devices": devices_of(shown, request.session.session_key),
            "link": living_link(shown),
            "is_last_owner": admitting.is_last_owner(shown),
        },
        status=422 if form.errors else 200,
    )


@owners_only
@require_POST
def put_out(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person, pk=pk)
    try:
        admitting.put_out(person=shown)
    except PeopleRefused as refused:
        messages.error(request, str(refused))
        return redirect("people:person", pk)
    if shown == request.user:
        request.session.flush()  # or it would be written again, and is not there any more
        return redirect("people:sign-in")
    messages.success(
        request, f"{shown} is put out, but stays in the record; let them in again below."
    )
    return redirect("people:people")


@owners_only
@require_POST
def let_in(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person, pk=pk)
    admitting.let_in(person=shown)
    messages.success(request, f"{shown} may come in again, as {shown.role}.")
    return redirect("people:person", pk)


@owners_only
@require_POST
def take_password(request: HttpRequest, pk: int) -> HttpResponse:
    # Not one's own: for that the present one is asked for, under Preferences.
    shown = get_object_or_404(Person.objects.exclude(pk=request.user.pk), pk=pk)
    admitting.take_password(person=shown)
    messages.success(request, f"{shown} has no password now. Make a sign-in link to let them in.")
    return redirect("people:person", pk)


@owners_only
@never_cache
def link(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person, pk=pk)
    if request.method != "POST":
        return redirect("people:person", pk)
    return link_page(request, shown)


@owners_only
@require_POST
def take_link_back(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person, pk=pk)
    take_back(shown)
    messages.success(request, "Taken back: that address signs nobody in any more.")
    return redirect("people:person", pk)


@owners_only
@require_POST
def end_devices(request: HttpRequest, pk: int) -> HttpResponse:
    """Sign a person out everywhere, but for the device that this is asked from."""
    shown = get_object_or_404(Person, pk=pk)
    end_all(shown, but=request.session.session_key)
    messages.success(request, f"{shown} is signed out everywhere else.")
    return redirect("people:person", pk)


@owners_only
@require_POST
def end_device_of(request: HttpRequest, pk: int, device_pk: int) -> HttpResponse:
    device = get_object_or_404(Device, pk=device_pk, person=pk)
    end(Device.objects.filter(pk=device.pk))
    if device.session_key == request.session.session_key:
        request.session.flush()
        return redirect("people:sign-in")
    messages.success(request, f"{device} is signed out.")
    return redirect("people:person", pk)
