from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import SetPasswordForm
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from inventory.people.forms import PreferencesForm
from inventory.people.links import person_for
from inventory.people.models import Person


@login_not_required
@never_cache
@require_http_methods(["GET", "POST"])
def arrive(request: HttpRequest, who: str, token: str) -> HttpResponse:
    """A sign-in address: looking at it shows a button, pressing the button uses it up.

    A look must not use it up, because browsers and messengers fetch addresses ahead of people.
    """
    person = person_for(who, token)
    if person is not None and request.method == "POST":
        with transaction.atomic():
            locked = Person.objects.select_for_update().get(pk=person.pk)
            person = locked if person_for(who, token) is not None else None
            if person is not None:
                login(request, locked, backend="django.contrib.auth.backends.ModelBackend")
                return redirect("bench:start")
    return render(
        request,
        "people/arrive.html",
        {"person": person},
        status=200 if person is not None else 410,
    )


def preferences(request: HttpRequest) -> HttpResponse:
    form = PreferencesForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Your preferences are kept.")
        return redirect("people:preferences")
    return render(
        request,
        "people/preferences.html",
        {"form": form, "password": SetPasswordForm(request.user)},
    )


@require_POST
@sensitive_post_parameters()
def set_password(request: HttpRequest) -> HttpResponse:
    form = SetPasswordForm(request.user, request.POST)
    if form.is_valid():
        form.save()
        update_session_auth_hash(request, form.user)
        messages.success(request, "The password is set. You can sign in with it from now on.")
        return redirect("people:preferences")
    return render(
        request,
        "people/preferences.html",
        {"form": PreferencesForm(instance=request.user), "password": form},
    )
