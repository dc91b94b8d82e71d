"""Signing in, and what concerns nobody but whoever is signed in."""

from __future__ import annotations

from django.contrib import messages
from django.contrib.auth import login, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.views import LoginView
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from inventory.people.access import visitors_too
from inventory.people.devices import end, end_all, follow, note_link
from inventory.people.forms import PreferencesForm, SignInForm, password_form
from inventory.people.guarding import TooMany, address_of, begin_attempt
from inventory.people.links import living_link, look_up, take_back, use
from inventory.people.models import Person, SignInLink
from inventory.people.showing import devices_of, link_page


class SignIn(LoginView):
    """By name and password."""

    template_name = "people/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def form_invalid(self, form: SignInForm) -> HttpResponse:
        answer = super().form_invalid(form)
        return answer if form.too_many is None else _wait(answer, form.too_many)


def _wait(answer: HttpResponse, refused: TooMany) -> HttpResponse:
    answer.status_code = 429  # RFC 6585, 4
    answer["Retry-After"] = str(refused.seconds)
    return answer


@login_not_required
@visitors_too
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "POST"])
def arrive(request: HttpRequest, token: str) -> HttpResponse:
    """A sign-in address: looking at it shows a button, pressing the button uses it up.

    A look must not use it up, because browsers and messengers fetch addresses ahead of people.
    """
    found = look_up(token)
    if found is None:
        try:
            begin_attempt(name=None, address=address_of(request))
        except TooMany as refused:
            page = render(request, "people/arrive.html", {"refused": refused})
            return _wait(page, refused)
    elif request.method == "POST" and (used := _come_in(request, token)):
        messages.success(request, f"You are signed in as {used.person}.")
        return redirect("bench:start")
    elif request.method == "GET" and found.is_good(timezone.now()):
        return render(request, "people/arrive.html", {"person": found.person})
    return render(request, "people/arrive.html", status=410)


@transaction.atomic
def _come_in(request: HttpRequest, token: str) -> SignInLink | None:
    link = use(token)
    if link is not None:
        login(request, link.person, backend="django.contrib.auth.backends.ModelBackend")
        note_link(request, link)
    return link


# --- One's own --------------------------------------------------------------------------------


@visitors_too
@never_cache
def preferences(request: HttpRequest) -> HttpResponse:
    form = PreferencesForm(request.POST or None, instance=request.user)
    if request.method == "POST" and form.is_valid():
        form.save()
        messages.success(request, "Your preferences are kept.")
        return redirect("people:preferences")
    return _preferences(request, form=form)


def _preferences(request: HttpRequest, **shown) -> HttpResponse:
    me = Person.objects.get(pk=request.user.pk)  # as kept: a form may have been filled into it
    context = {
        "me": me,
        "form": PreferencesForm(instance=me),
        "password": password_form(me),
        "devices": devices_of(me, request.session.session_key),
        "link": living_link(me),
        **shown,
    }
    return render(request, "people/preferences.html", context)


@visitors_too
@require_POST
@sensitive_post_parameters()
def set_password(request: HttpRequest) -> HttpResponse:
    """Set a password; whoever else is signed in by the old one, or has a link, is no more."""
    form = password_form(request.user, request.POST, address=address_of(request))
    if not form.is_valid():
        return _preferences(request, password=form)
    with transaction.atomic():
        form.save()
        update_session_auth_hash(request, form.user)
        follow(request)
        take_back(form.user)
        n_ended = end_all(form.user, but=request.session.session_key)
    ended = f" {_devices(n_ended)} signed out." if n_ended else ""
    messages.success(request, f"The password is set; sign in with it from now on.{ended}")
    return redirect("people:preferences")


def _devices(n: int) -> str:
    return "One other device was" if n == 1 else f"{n} other devices were"


@visitors_too
@never_cache
def phone(request: HttpRequest) -> HttpResponse:
    """A link by which one's own phone comes in; whoever comes back to the page makes it anew."""
    if request.method != "POST":
        return redirect("people:preferences")
    return link_page(request, request.user)


@visitors_too
@require_POST
def take_phone_back(request: HttpRequest) -> HttpResponse:
    take_back(request.user)
    messages.success(request, "Taken back: that address signs nobody in any more.")
    return redirect("people:preferences")


@visitors_too
@require_POST
def end_device(request: HttpRequest, pk: int) -> HttpResponse:
    device = get_object_or_404(request.user.devices, pk=pk)
    is_this = device.session_key == request.session.session_key
    end(request.user.devices.filter(pk=pk))
    if is_this:
        request.session.flush()
        return redirect("people:sign-in")
    messages.success(request, f"{device} is signed out.")
    return redirect("people:preferences")


@visitors_too
@require_POST
def end_others(request: HttpRequest) -> HttpResponse:
    n_ended = end_all(request.user, but=request.session.session_key)
    messages.success(request, f"{_devices(n_ended)} signed out." if n_ended else "No other was.")
    return redirect("people:preferences")
